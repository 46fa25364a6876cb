"""One page a file: its routes and what it shows."""
