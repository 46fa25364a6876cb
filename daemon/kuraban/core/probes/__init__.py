"""What each probe says, and whether it can be believed."""
