"""What must not be lost: the journal (SQLite), the archive of closed days (Parquet), and cursors over them."""
