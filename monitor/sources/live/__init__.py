"""Live loggers: bytes as they arrive → rows. One transport or instrument a file, all behind one protocol."""
