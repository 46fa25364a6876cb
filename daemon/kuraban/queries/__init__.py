"""Questions to the watch from outside: its journal is read, nothing written, nobody disturbed."""
