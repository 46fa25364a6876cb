"""The decision core: what comes in, what it means, who is told. No clock, file or network."""
