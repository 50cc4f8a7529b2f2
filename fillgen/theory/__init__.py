"""What holds in any music: pitches, keys, metres, chords, numerals and swing."""
