"""Where a product is going, and how long it has: slopes, crossings, hours in hand."""
