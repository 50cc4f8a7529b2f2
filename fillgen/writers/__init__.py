"""What the values look like outside: text, JSON, MIDI, sheets, files."""
