"""Who is told what and when: the ladder, messages to people, the two words of the day."""
