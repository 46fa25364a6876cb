"""What a careful colleague would ask back before an entry is told to the watch."""
