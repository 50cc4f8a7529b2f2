"""The names and numbers of the sounds against the published list of General MIDI.

Source: General MIDI System Level 1, sound set (MIDI Manufacturers Association), as pretty_midi lists it: 128 names,
sixteen families of eight, programs 0 to 127 on the wire and numbers 1 to 128 on paper.
"""

from __future__ import annotations

import pretty_midi
import pytest
from music21 import instrument

from fillgen.errors import OptionError
from fillgen.hands.instruments import program, said_names, sound_names
from fillgen.sound.synth.recipes import recipes, voice_of
from fillgen.tables import table

PUBLISHED: list[str] = pretty_midi.constants.INSTRUMENT_MAP
FAMILIES: list[str] = pretty_midi.constants.INSTRUMENT_CLASSES

SPELLED_OTHERWISE: dict[str, str] = {}
"""Sounds whose letters and digits differ from those of pretty_midi's list; there is none."""

WELL_KNOWN = {
    "Acoustic Grand Piano": (0, 1),
    "Vibraphone": (11, 12),
    "Drawbar Organ": (16, 17),
    "Accordion": (21, 22),
    "Acoustic Bass": (32, 33),
    "Violin": (40, 41),
    "String Ensemble 1": (48, 49),
    "Trumpet": (56, 57),
    "Alto Sax": (65, 66),
    "Clarinet": (71, 72),
    "Flute": (73, 74),
    "Gunshot": (127, 128),
}
"""Some sounds with the program on the wire and the number on paper."""


def plain(name: str) -> str:
    """A name's letters and digits, in small letters."""
    return "".join(letter for letter in name.lower() if letter.isalnum())


def test_the_names_are_the_published_ones() -> None:
    """The 128 names are those of the published list, in its order."""
    differing = {
        ours: theirs
        for ours, theirs in zip(sound_names(), PUBLISHED, strict=True)
        if plain(ours) != plain(theirs)
    }
    assert differing == SPELLED_OTHERWISE
    assert len(sound_names()) == 128


def test_no_two_sounds_share_a_name() -> None:
    """Every name stands for one sound, however it is typed."""
    assert len({plain(name) for name in sound_names()}) == 128


def test_the_families_are_the_published_ones() -> None:
    """The sounds stand in the sixteen published families of eight."""
    families = table("sounds")["family"]
    assert [plain(family["name"]) for family in families] == [plain(name) for name in FAMILIES]
    assert {len(family["sounds"]) for family in families} == {8}


def test_names_that_players_say() -> None:
    """Each stands for a published sound and hides none of their names; those of our own voices are played by them."""
    assert set(said_names().values()) <= set(sound_names())
    assert not {plain(name) for name in said_names()} & {plain(name) for name in sound_names()}
    for name, sound in said_names().items():
        assert program(name) == program(sound)
    for voice in recipes():
        assert voice_of(voice) == voice


@pytest.mark.parametrize("sound", WELL_KNOWN)
def test_numbers_of_well_known_sounds(sound: str) -> None:
    """A sound has its program on the wire, and the number on paper one above it."""
    wire, paper = WELL_KNOWN[sound]
    assert program(sound) == program(str(paper)) == wire
    assert sound_names()[wire] == sound


def test_every_published_name_is_read() -> None:
    """Every published name, in any case and with any signs, is read as its program."""
    for wire, name in enumerate(PUBLISHED):
        assert [program(name), program(name.upper()), program(plain(name))] == [wire] * 3
        assert pretty_midi.instrument_name_to_program(name) == wire


def test_every_number_is_read() -> None:
    """The numbers 1 to 128 are the programs 0 to 127."""
    assert [program(str(number)) for number in range(1, 129)] == list(range(128))


@pytest.mark.parametrize(
    ("sound", "made"),
    [
        ("vibraphone", instrument.Vibraphone),
        ("violin", instrument.Violin),
        ("flute", instrument.Flute),
        ("marimba", instrument.Marimba),
        ("trumpet", instrument.Trumpet),
        ("celesta", instrument.Celesta),
    ],
)
def test_music21_gives_the_same_program(sound: str, made: type[instrument.Instrument]) -> None:
    """An instrument of music21 has the program of the sound of its name."""
    assert made().midiProgram == program(sound)


@pytest.mark.parametrize("sound", ["0", "129", "1000", "Vibrafone", "", "-1", "12.5"])
def test_what_is_no_sound_is_refused(sound: str) -> None:
    """A number outside 1 to 128 and an unknown name are refused."""
    with pytest.raises(OptionError):
        program(sound)
