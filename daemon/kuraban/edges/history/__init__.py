"""The long history: journal rows as line protocol to a time-series engine."""
