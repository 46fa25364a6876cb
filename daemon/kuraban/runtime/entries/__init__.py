"""What the journal keeps beside entries for a start: the course of each batch, what was decided."""
