"""Questions about the koji room, coolers and heaters."""
