"""Tables of the vehicle file that only the service reads; one table a file."""
