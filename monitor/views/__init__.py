"""Terminal text; views show findings, they compute none."""
