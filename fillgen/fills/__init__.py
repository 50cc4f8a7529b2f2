"""Fills in a tune: what a player puts where the melody rests or holds a note."""
