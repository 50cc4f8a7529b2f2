"""A tune that came as ABC or MIDI, written down as a MusicXML score of its own: measure by measure and note by note."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate
from statistics import fmean
from xml.etree.ElementTree import Element, SubElement

from fillgen.errors import TuneError
from fillgen.readers.lines import Lines, Measure, Signature
from fillgen.readers.melody import Sound
from fillgen.theory.pitch import Key, all_keys, midi_name
from fillgen.writers.musicxml import (
    Harmony,
    attributes,
    final_barline,
    measure,
    tempo_direction,
    to_bytes,
)
from fillgen.writers.notation import Chunk, Symbol, written

_MIDDLE = 57
"""A line whose notes average below this A is written in the bass clef."""


def lines_musicxml(lines: Lines, place: str = "") -> bytes:
    """The lines of a tune as MusicXML 4.0, one part each; TuneError if notes are too short to be written."""
    root = Element("score-partwise", {"version": "4.0"})
    if lines.title:
        SubElement(SubElement(root, "work"), "work-title").text = lines.title
    listed = SubElement(root, "part-list")
    try:
        for number, (name, sounds) in enumerate(lines.voices, 1):
            entry = SubElement(listed, "score-part", {"id": f"P{number}"})
            SubElement(entry, "part-name").text = name
            part = SubElement(root, "part", {"id": f"P{number}"})
            part.extend(_measures(lines, sounds, first=number == 1))
    except (ValueError, KeyError) as error:
        hint = "Use sixteenths and eighth-note triplets."
        raise TuneError("has notes too short to be written", place=place, hint=hint) from error
    return to_bytes(root)


def _measures(lines: Lines, sounds: Sequence[Sound], *, first: bool) -> list[Element]:
    """The measures of a line; the first has the chord symbols and the tempo."""
    clef = "F" if sounds and fmean(sound.midi for sound in sounds) < _MIDDLE else "G"
    starts = list(accumulate((each.length for each in lines.measures), initial=0))
    rows = _rows(lines.measures, sounds)
    found = []
    number = 0
    for place, (own, symbols) in enumerate(zip(lines.measures, rows, strict=True)):
        before = lines.measures[place - 1] if place else None
        lead = _lead(own, before, clef)
        if first and before is None and lines.tempo is not None:
            lead.append(tempo_direction(lines.tempo, 1.0, own.metre))
        begin, end = starts[place : place + 2]
        chords = [Harmony(tick - begin, chord) for tick, chord in lines.chords if begin <= tick < end]
        short = own.length < own.metre.bar
        number += not (short and before is None)
        element = measure(str(number), symbols, chords if first else (), lead, short=short)
        _barlines(element, lines.measures, place)
        found.append(element)
    if found and not lines.measures[-1].signs.closes:
        found[-1].append(final_barline())
    return found


def _rows(measures: Sequence[Measure], sounds: Sequence[Sound]) -> list[list[Symbol]]:
    """The symbols of every measure, with the accidentals that its signature calls for."""
    lengths, metres = [each.length for each in measures], [each.metre for each in measures]
    pickup = lengths[0] < metres[0].bar
    of_key = {}
    for signature in dict.fromkeys(each.signature for each in measures):
        key = _key(signature)
        of_key[signature] = written(_chunks(sounds, key), metres, key, lengths, pickup=pickup)
    return [of_key[each.signature][place] for place, each in enumerate(measures)]


def _chunks(sounds: Sequence[Sound], key: Key) -> list[Chunk]:
    """Notes as they are named by their source, or else in a key. Those that begin together are a chord, as long as its
    highest note; each ends where the next begins.
    """
    found: dict[int, list[Sound]] = {}
    for sound in sorted(sounds, key=lambda sound: (round(sound.onset), sound.midi)):
        found.setdefault(round(sound.onset), []).append(sound)
    limits = [*list(found)[1:], None]
    ends = [
        round(own[-1].end) if limit is None else min(round(own[-1].end), limit)
        for own, limit in zip(found.values(), limits, strict=True)
    ]
    return [
        Chunk(onset, end - onset, tuple(_name(sound, key) for sound in own))
        for (onset, own), end in zip(found.items(), ends, strict=True)
        if end > onset
    ]


def _name(sound: Sound, key: Key) -> str:
    return sound.name.at(sound.midi) if sound.name is not None else midi_name(sound.midi, key)


def _key(signature: Signature) -> Key:
    mode = signature.mode or "major"
    return next(key for key in all_keys() if (key.fifths, key.mode) == (signature.sharps, mode))


def _lead(own: Measure, before: Measure | None, clef: str) -> list[Element]:
    """The signs at the beginning of a measure: all of them in the first, later those that change."""
    signs = attributes(own.metre, _key(own.signature), clef)
    for mode in signs.findall("key/mode") if not own.signature.mode else ():
        signs.find("key").remove(mode)  # type: ignore[union-attr]
    if before is None:
        return [signs]
    changed = {"key": own.signature != before.signature, "time": own.metre != before.metre}
    for sign in list(signs):
        if not changed.get(sign.tag, False):
            signs.remove(sign)
    return [signs] if len(signs) else []


def _barlines(element: Element, measures: Sequence[Measure], place: int) -> None:
    """The repeat signs and endings of a measure."""
    signs = measures[place].signs
    before = measures[place - 1].signs if place else None
    after = measures[place + 1].signs if place + 1 < len(measures) else None
    begins = bool(signs.endings) and (before is None or before.closes or before.endings != signs.endings)
    ends = bool(signs.endings) and (signs.closes or after is None or after.endings != signs.endings)
    numbers = ",".join(map(str, signs.endings))
    if signs.opens or begins:
        left = Element("barline", {"location": "left"})
        if signs.opens:
            SubElement(left, "bar-style").text = "heavy-light"
        if begins:
            SubElement(left, "ending", {"number": numbers, "type": "start"})
        if signs.opens:
            SubElement(left, "repeat", {"direction": "forward"})
        element.insert(0, left)
    if signs.closes or ends:
        right = SubElement(element, "barline", {"location": "right"})
        if signs.closes:
            SubElement(right, "bar-style").text = "light-heavy"
        if ends:
            SubElement(
                right, "ending", {"number": numbers, "type": "stop" if signs.closes else "discontinue"}
            )
        if signs.closes:
            times = {"times": str(signs.times)} if signs.times != 2 else {}
            SubElement(right, "repeat", {"direction": "backward"} | times)
