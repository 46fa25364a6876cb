"""What the watch keeps: its turns written, its messages safe though the disk is full, old readings
made small. Only the watch loop calls here; what is written and how is the business of `store`."""
