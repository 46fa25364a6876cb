"""Words in both languages from facts. Nothing is decided here."""
