"""Bytes, records and files become blocks; one logger dialect a file."""
