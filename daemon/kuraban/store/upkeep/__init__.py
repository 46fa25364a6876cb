"""The journal as a whole: is it sound, its second copy, what becomes of it as it grows old."""
