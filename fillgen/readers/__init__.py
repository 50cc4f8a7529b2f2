"""Phrases and tunes from outside: text, MIDI, MusicXML, ABC."""
