"""MIDI: files written, read and made ready to be played, and ports. This is the one package that knows mido.

What needs ports imports `fillgen.midi.ports`, what plays a file `fillgen.midi.playback`: a command that only writes or
reads files loads neither.
"""

from fillgen.midi.files import SEATS, Recording, read_midi, to_midi, to_midi_files, to_practice

__all__ = ["SEATS", "Recording", "read_midi", "to_midi", "to_midi_files", "to_practice"]
