"""The engine: facts in, turns out. It owns order and time; the rooms below decide."""
