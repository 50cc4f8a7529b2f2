"""Writers: ideas, lessons, charts and takes as text, JSON, web pages, sheets of music, MIDI and files."""
