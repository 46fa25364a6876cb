"""The work due: its page, and the same for programs and for the calendars of phones."""
