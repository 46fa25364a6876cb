"""What the house means to do: what runs where, under which plan, as people's entries leave it."""
