"""The only owner of SQLite: what the watch knew, told and still has to do, in one file."""
