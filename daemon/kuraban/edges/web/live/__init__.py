"""What changed, to pages that are open."""
