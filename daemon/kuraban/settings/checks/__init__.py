"""What must hold between the tables, and what will be missed in the night."""
