"""Bytes to facts or refusals: payload forms, topics, entries and what must hold. No state."""
