"""Lines of ABC and MIDI on written measures."""

from __future__ import annotations

import pytest

from fillgen.errors import TuneError
from fillgen.readers.abc import AbcTune
from fillgen.readers.melody import Sound, Voice
from fillgen.readers.midi import Recording
from fillgen.readers.midi_lines import lines_of
from fillgen.readers.musicxml import read_abc_lines

HEAD = "X:1\nT:Wicker Gate\nM:3/4\nL:1/4\nK:Gm\n"


def signs(text: str) -> list[tuple[bool, bool, int, tuple[int, ...]]]:
    found = [measure.signs for measure in read_abc_lines(HEAD + text, "a tune").measures]
    return [(each.opens, each.closes, each.times, each.endings) for each in found]


@pytest.mark.parametrize(
    ("text", "closing", "endings"),
    [
        ("|:G3|A3:|", [False, True], [(), ()]),
        ("|:G3|1 A3:|2 B3|]", [False, True, False], [(), (1,), (2,)]),
        ("|:G3|[1,2 A3:|[3 B3||c3|]", [False, True, False, False], [(), (1, 2), (3,), ()]),
        ("G3::A3:|", [True, True], [(), ()]),
        ("|:G3|1-3 A3:|4 B3|]", [False, True, False], [(), (1, 2, 3), (4,)]),
    ],
)
def test_repeats_of_abc(text: str, closing: list[bool], endings: list[tuple[int, ...]]) -> None:
    """Repeats and endings as ABC 2.1 (abcnotation.com, 2011) has them in 4.8 and 4.9."""
    assert [each[1] for each in signs(text)] == closing
    assert [each[3] for each in signs(text)] == endings


def test_three_times() -> None:
    """A repeat with two colons is played three times."""
    assert signs("|::G3|A3::|")[1][2] == 3


def test_changes_of_key_and_metre() -> None:
    """A change holds from its measure on, and a mode that is no major or minor key leaves its signature alone."""
    found = read_abc_lines(HEAD + "G3|[K:Bb]B3|[M:2/4]d2|[K:Ddor]d2|]", "a tune").measures
    assert [each.metre.name for each in found] == ["3/4", "3/4", "2/4", "2/4"]
    keys = [(each.signature.sharps, each.signature.mode) for each in found]
    assert keys == [(-2, "minor"), (-2, "major"), (-2, "major"), (0, "")]


def test_an_ending_for_many_times_is_bounded() -> None:
    tune = AbcTune("a tune")
    tune.line("G3|1-999 A3:|")
    assert tune.voice is not None
    assert max(map(len, tune.voice.marks.endings.values())) <= 9


def recording(
    *sounds: tuple[float, float, int], metres: tuple[tuple[int, str], ...] = ((0, "4/4"),)
) -> Recording:
    return Recording((Voice("track 1", tuple(Sound(*each) for each in sounds), metres),))


def test_a_silent_beginning_is_a_pickup() -> None:
    """Notes that begin in the second half of the first bar are a pick-up; empty bars before are left out."""
    lines = lines_of(recording((3360, 3840, 67), (3840, 5760, 72)), "a file")
    assert [measure.length for measure in lines.measures] == [480, 1920]
    assert [sound.onset for sound in lines.voices[0][1]] == [0, 480]


def test_metres_of_midi() -> None:
    """Each time signature makes bars of its own; a short one at the start is a pick-up."""
    metres = ((0, "1/4"), (480, "3/4"), (1920, "4/4"))
    lines = lines_of(recording((0, 480, 67), (480, 1920, 71), (1920, 3840, 72), metres=metres), "a file")
    found = [(measure.length, measure.metre.name) for measure in lines.measures]
    assert found == [(480, "3/4"), (1440, "3/4"), (1920, "4/4")]


def test_free_playing_is_refused() -> None:
    """Notes far from any place are no tune yet."""
    sounds = [(n * 517.0 + 61 * (n % 3), n * 517.0 + 400, 60 + n % 5) for n in range(12)]
    with pytest.raises(TuneError, match="freely"):
        lines_of(recording(*sounds), "a file")


def test_numbers_are_bounded() -> None:
    """A signature far away makes no more bars than a tune may have."""
    far = recording((0, 480, 67), (9_000_000, 9_000_480, 67))
    with pytest.raises(TuneError, match="more than"):
        lines_of(far, "a file")
