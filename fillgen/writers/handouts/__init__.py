"""Handouts for a class: notes, voicings, sequences and lessons engraved on a page or two."""
