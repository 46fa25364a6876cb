"""One library each: the doors through which messages come in and words go out."""
