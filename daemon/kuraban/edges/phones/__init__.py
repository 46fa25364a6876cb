"""Messages to people's phones, and what became of each."""
