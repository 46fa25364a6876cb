"""The kept state of the watch: data alone, written and read back without running any of it."""
