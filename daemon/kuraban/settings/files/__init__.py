"""What stands in site, course and calendar files: tables, values, and faults in them."""
