"""A line of notes, and what a note may be before it has a pitch."""
