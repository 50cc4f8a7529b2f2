"""Second voices as others read them: scales in thirds and sixths, chords in MusicXML, keys struck together in MIDI.

Sources: music21's own scales and its readers of MusicXML; mido's reader of MIDI. That a major scale goes in parallel
thirds and sixths of its own notes is common practice.
"""

from __future__ import annotations

import io
from collections import defaultdict
from functools import cache
from pathlib import Path

import mido
import pytest
from music21 import chord, converter, note, pitch, scale

import fillgen
from fillgen import Ideas, PlayOptions, parse_chart, parse_phrase, write
from fillgen.hands.second import with_second
from fillgen.teaching.practice import own_ideas
from fillgen.writers.midi import to_midi


@cache
def swinging(kind: str) -> Ideas:
    """Four ideas with a second voice, with ties over bar lines and flats."""
    plain = fillgen.ideas("| Abmaj7 | Fm7 | Bbm7 | Eb7 |", rhythm="swing", level=4, count=4, seed=3)
    return with_second(plain, kind)


@pytest.mark.parametrize(("kind", "letters"), [("thirds", 2), ("sixths", 5)])
@pytest.mark.parametrize("tonic", ["A-", "B-", "G", "A"])
def test_a_scale_goes_in_parallel_with_itself(kind: str, letters: int, tonic: str) -> None:
    """From the third up to the sixth over the tonic chord, in quarters: each note of the scale has the one below it.

    The second degree would have the seventh below, which grates on the bass, or the fourth, which may not lie under it:
    they are left out of this check. On strong beats are the third and the fifth of the chord.
    """
    own = scale.MajorScale(tonic).getPitches(f"{tonic}4", f"{tonic}6")
    line = [own[number] for number in (9, 10, 11, 10)]
    text = " ".join(f"{each.nameWithOctave.replace('-', 'b')}q" for each in line)
    progression = parse_chart(f"| {tonic.replace('-', 'b')} |")
    ideas = with_second(own_ideas(progression, parse_phrase(text, progression.metre), tempo=80), kind)
    below = [pitch.Pitch(each.name.replace("b", "-")) for each in ideas[0].second]
    expected = [own[number - letters] for number in (9, 10, 11, 10)]
    if kind == "sixths":  # the sixth below the fifth is the seventh: the root is nearest to it
        expected[2] = own[11 - 4]
    assert [each.nameWithOctave for each in below] == [each.nameWithOctave for each in expected]


@pytest.mark.parametrize("kind", ["thirds", "chord"])
def test_a_sheet_has_chords_on_the_stems(kind: str, tmp_path: Path) -> None:
    """Note by note: the pitches, by their names, of each note or chord of the staff, tied ones once."""
    plain = fillgen.ideas("| Abmaj7 | Fm7 | Bbm7 | Eb7 |", rhythm="swing", level=4, count=1, seed=3)
    path = tmp_path / "two.musicxml"
    write(plain, path, playing=PlayOptions(second=kind))
    (idea,) = with_second(plain, kind)
    read = converter.parse(path)
    found = [
        sorted(each.nameWithOctave for each in one.pitches)
        for one in read.recurse().getElementsByClass((note.Note, chord.Chord))
        if "Symbol" not in type(one).__name__ and (one.tie is None or one.tie.type == "start")
    ]
    names = [
        [each.name, *(low.name for low in under)]
        for each, under in zip(idea.notes, idea.below(), strict=True)
    ]
    assert found == [sorted(name.replace("b", "-") for name in keys) for keys in names]
    assert any(len(keys) > 1 for keys in found)
    fingers = [
        mark.fingerNumber
        for one in read.recurse().notes
        for mark in one.articulations
        if "Fingering" in type(mark).__name__
    ]
    assert len(fingers) == len(idea.notes) + len(idea.second)


@pytest.mark.parametrize("kind", ["sixths", "chord"])
def test_a_midi_file_strikes_the_keys_together(kind: str) -> None:
    """On the right hand's channel, at one tick, the line with the keys below it, which are softer."""
    ideas = swinging(kind)
    for idea in ideas:
        alone = Ideas(**{**vars(ideas), "ideas": (idea,)})
        file = mido.MidiFile(file=io.BytesIO(to_midi(alone)))
        struck: dict[int, list[tuple[int, int]]] = defaultdict(list)
        sounding: set[int] = set()
        for track in file.tracks:
            at = 0
            for message in track:
                at += message.time
                if message.type == "note_on" and message.velocity:
                    assert message.channel == 0
                    assert message.note not in sounding
                    sounding.add(message.note)
                    struck[at].append((message.note, message.velocity))
                elif message.type in ("note_off", "note_on"):
                    sounding.remove(message.note)
        assert not sounding
        keys = [sorted(keys, reverse=True) for _, keys in sorted(struck.items())]
        assert [[key for key, _ in each] for each in keys] == [
            [each.note.midi, *(low.note.midi for low in under)]
            for each, under in zip(idea.notes, idea.below(), strict=True)
        ]
        assert all(loud > soft for (_, loud), *lower in keys for _, soft in lower)
