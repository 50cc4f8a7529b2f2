"""Chords over bars: read, written, found and enriched."""
