"""Blocks become stands and drives; one detector a file; the engine strings them together."""
