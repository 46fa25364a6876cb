"""What becomes of an entry: who may make it alone, what waits, what counts, and what is known."""
