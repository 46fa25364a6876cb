"""What helps whoever sets a house up."""
