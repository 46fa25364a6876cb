"""Who is asking, and what stands before every page."""
