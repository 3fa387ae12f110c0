"""A vehicle with known faults: blocks, and the truth about them."""
