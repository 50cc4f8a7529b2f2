"""A tune with its intro, ending and fills as MusicXML and MIDI, the tune's own bars unchanged between them."""

from __future__ import annotations

import copy
import xml.etree.ElementTree as ET
from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import Any
from xml.etree.ElementTree import Element, SubElement

from fillgen.chart.progression import Progression, Span, cut_out
from fillgen.errors import TuneError
from fillgen.fills.choice import Fill
from fillgen.hands.closing import slows_from
from fillgen.hands.playing import Playing
from fillgen.hands.take import left_paths, swing_of
from fillgen.hands.voicing import VoicingPath
from fillgen.phrase.note import Phrase
from fillgen.phrase.spelling import spell
from fillgen.readers.charted import proposed_in
from fillgen.readers.tunes import Tune
from fillgen.theory.metre import TICKS, Metre
from fillgen.theory.pitch import Key
from fillgen.tune import Piece
from fillgen.writers.document import chart_document, note_document
from fillgen.writers.lines import TEXT_WIDTH
from fillgen.writers.midi import to_midi
from fillgen.writers.musicxml import (
    Harmony,
    as_cue,
    attributes,
    close_last,
    final_barline,
    measure,
    tempo_direction,
    to_bytes,
)
from fillgen.writers.notation import Chunk, Symbol, written
from fillgen.writers.proposed import enter_proposed
from fillgen.writers.text import bar_rows

_LEFT, _FILLS = "Left hand", "Fills"
_BRACE = "9"
"""The number of the group that the brace before melody and left hand makes."""
_BARS = " " * 7
"""Comes before the bars of an intro or ending."""
_BEHIND_CLEF = ("staff-details", "transpose", "for-part", "directive", "measure-style")
"""The elements that come after a clef among the attributes of MusicXML."""
ET.register_namespace("xlink", "http://www.w3.org/1999/xlink")


def tune_midi(piece: Piece, playing: Playing, sounds: Mapping[str, str]) -> bytes:
    """The whole piece as MIDI, with markers at the beginning of intro, tune and ending."""
    start_of = piece.ideas.progression.start_of
    markers = [(start_of(piece.first), piece.ideas.progression.title or "Tune")]
    if piece.intro:
        markers.insert(0, (0, "Intro"))
    if piece.ending:
        markers.append((start_of(piece.last), "Ending"))
    return to_midi(piece.ideas, playing, sounds, markers)


def tune_musicxml(piece: Piece, tune: Tune, *, swing: float | None = None, slow_down: bool = False) -> bytes:
    """The whole piece as MusicXML 4.0: right and left hand on two staves, every bar of the tune unchanged. Fills are a part
    of their own above them, in small notes.

    The other parts of the score rest during the intro and the ending. A repeat that goes back to the beginning of
    the tune gets a forward repeat sign there. Where it is to `slow_down`, the ending says from where. TuneError if notes
    are too short to be written.
    """
    try:
        return _whole_score(tune, _Added(piece, tune, swing, slow_down=slow_down))
    except ValueError as error:
        reason = "has notes too short to be written beside an intro or an ending"
        raise TuneError(reason, hint="Write a .mid file instead, or quote fewer bars.") from error


def _whole_score(tune: Tune, added: _Added) -> bytes:
    root = ET.fromstring(tune.xml)  # noqa: S314 - scores.read_xml has refused entities and deep or large files
    root.set("version", "4.0")
    melody = _melody_part(root, tune)
    for part in root.findall("part"):
        _guard_repeats(part, added)
    enter_proposed(melody, proposed_in(tune, added.body))
    left = _left_part(melody, added, _fresh_id(root, "L"))
    fills = _fills_part(melody, added, _fresh_id(root, "F")) if added.piece.fills else None
    for part in root.findall("part"):
        if part is not melody:
            _frame(part, *added.rests(part))
    _frame(melody, added.intro(melody), added.ending())
    _enter_left_part(root, melody, left)
    if fills is not None:
        _enter_fills_part(root, melody, fills)
    return to_bytes(root)


def piece_text(piece: Piece, number: int = 1, width: int = TEXT_WIDTH) -> str:
    """The intro and ending of a tune as text: the chord sequences with their chords, and the right hand."""
    lines = [f"{number:>3}  {piece.ideas.progression.title or 'the tune'}"]
    bars = piece.ideas.progression.bars
    parts = (
        ("intro", piece.names[0], piece.intro, bars[: piece.first]),
        ("ending", piece.names[1], piece.ending, bars[piece.last :]),
    )
    for what, name, idea, own in parts:
        if idea is not None:
            chords = " | ".join(" ".join(span.chord.symbol for span in bar) for bar in own)
            lines.append(f"     {what}: {name}")
            lines += bar_rows(f"| {chords} |", width, _BARS)
            quoted = "(the tune's own) | " * (piece.quoted if what == "ending" else 0)
            lines += bar_rows(f"| {quoted}{idea.text} |", width, _BARS)
    return "\n".join([*lines, *_own_chords(piece, width), *_fill_lines(piece, width)])


def piece_document(piece: Piece) -> dict[str, Any]:
    """A tune with its intro and ending as plain dictionaries: the bars of each, all chords, and the right hand's notes."""
    ideas = piece.ideas
    bars = len(ideas.progression.bars)
    parts = (
        ("intro", piece.names[0], piece.intro and (1, piece.first)),
        ("tune", ideas.progression.title, (piece.first + 1, piece.last)),
        ("ending", piece.names[1], piece.ending and (piece.last + 1, bars)),
    )
    return {
        "chart": chart_document(ideas.progression, ideas.tempo),
        "rhythm": ideas.rhythm,
        "parts": [{"part": what, "name": name, "bars": list(own)} for what, name, own in parts if own],
        "notes": [note_document(note) for note in piece.idea.notes],
        "fills": [
            {"number": fill.number, "text": fill.text, "notes": [note_document(note) for note in fill.notes]}
            for fill in piece.fills
        ],
    }


def _own_chords(piece: Piece, width: int) -> list[str]:
    """The chords of the tune's own bars where some of them are proposed, those in brackets."""
    own = piece.ideas.progression.bars[piece.first : piece.last]
    if not any(span.proposed for bar in own for span in bar):
        return []
    chords = " | ".join(" ".join(_symbol(span) for span in bar) for bar in own)
    return ["     tune: [chords] are proposed", *bar_rows(f"| {chords} |", width, _BARS)]


def _symbol(span: Span) -> str:
    return f"[{span.chord.symbol}]" if span.proposed else span.chord.symbol


def _fill_lines(piece: Piece, width: int) -> list[str]:
    """The fills as text: for each its number, the bars of the tune in which it begins, and its notes under their chords."""
    lines = ["     fills, in the bars of the tune as it is played:"] if piece.fills else []
    for fill in piece.fills:
        progression = piece.ideas.progression
        first = progression.bar_index(fill.notes[0].note.onset)
        last = progression.bar_index(fill.notes[-1].note.onset)
        bars = [progression.bar_index(once[0].note.onset) - piece.first + 1 for once in fill.played()]
        where = f"{'bars' if len(bars) > 1 else 'bar'} {' and '.join(map(str, bars))}"
        chords = " | ".join(
            " ".join(span.chord.symbol for span in bar) for bar in progression.bars[first : last + 1]
        )
        lines.append(f"     {fill.number:>2}  {where}, over {chords}, to {_goes_on(piece, fill)}")
        lines += bar_rows(f"| {fill.text} |", width, _BARS)
    return lines


def _goes_on(piece: Piece, fill: Fill) -> str:
    """The notes with which the tune continues after a fill."""
    notes = tuple(note for note in piece.idea.phrase)
    names = dict(zip(((n.onset, n.midi) for n in notes), spell(piece.ideas.progression, notes), strict=True))
    return " or ".join(dict.fromkeys(names[gap.next.onset, gap.next.midi] for gap in fill.room.gaps))


# The added bars


class _Added:
    """The bars before and after the tune, for each staff."""

    def __init__(self, piece: Piece, tune: Tune, swing: float | None, *, slow_down: bool = False) -> None:
        self.piece, self.tune = piece, tune
        self.progression = piece.ideas.progression
        self.swing = swing_of(piece.ideas, swing)
        self.before = piece.first if piece.intro else 0
        self.after = len(self.progression.bars) - piece.last if piece.ending else 0
        slows = max(slows_from(self.progression, piece.idea.phrase), self.progression.start_of(piece.last))
        self.slows = slows if slow_down and self.after else -1

    @property
    def body(self) -> Progression:
        """The tune's own bars."""
        return cut_out(self.progression, self.piece.first, self.piece.last)

    def metre(self, *, ending: bool) -> Metre:
        """The metre of the added bars: that in which the tune begins or ends."""
        return self.progression.metre_of(len(self.progression.bars) - 1 if ending else 0)

    def key(self, *, ending: bool) -> Key:
        """The key of the signature over the added bars."""
        return self.tune.keys[-1 if ending else 0]

    def lengths(self, *, ending: bool) -> list[int]:
        """The ticks of the added bars; the last of an intro leaves room for the pick-up."""
        bar = self.metre(ending=ending).bar
        if ending:
            return [bar] * self.after
        return [bar] * (self.before - 1) + [bar - self.tune.pickup] if self.before else []

    def intro(self, melody: Element) -> list[Element]:
        symbols = self._symbols(self._right_chunks(0, self.before), ending=False)
        head = [*self._signs(melody), tempo_direction(self.piece.ideas.tempo, self.swing)]
        return self._measures(symbols, 0, head)

    def _signs(self, part: Element) -> list[Element]:
        """The attributes at the beginning of a part, with our own divisions."""
        first = part.find("measure/attributes")
        sign = copy.deepcopy(first) if first is not None else self._own_signs()
        _set_divisions(sign)
        if sign.find("clef") is None and sign.find("staves") is None:
            later = [n for n, child in enumerate(sign) if child.tag in _BEHIND_CLEF]
            sign.insert(min(later, default=len(sign)), self._own_signs()[-1])
        return [sign]

    def _own_signs(self) -> Element:
        return attributes(self.metre(ending=False), self.key(ending=False))

    def ending(self) -> list[Element]:
        start = self.piece.last
        symbols = self._symbols(self._right_chunks(start, self.after), ending=True)
        found = self._measures(symbols, start, [self._divisions()] if symbols else [])
        if found and self.piece.close == "button":
            close_last(found)
        return self._filler() + self._finished(found)

    def _finished(self, found: list[Element]) -> list[Element]:
        """Bars with the final bar line, over which the last chord is held unless it closes short."""
        if found:
            found[-1].append(final_barline(fermata=self.piece.close != "button"))
        return found

    def left(self, *, ending: bool) -> list[Element]:
        """The left hand's added bars, chords held as long as they last."""
        start, count = (self.piece.last, self.after) if ending else (0, self.before)
        return self.plain(self._left_chunks(start, count), ending=ending)

    def plain(self, chunks: Sequence[Chunk], *, ending: bool) -> list[Element]:
        """Added bars of a part of our own, without signs at their beginning; no chunks are rests."""
        symbols = self._symbols(chunks, ending=ending)
        found = [measure("", bar, short=self._is_short(bar, ending=ending)) for bar in symbols]
        return self._filler() + self._finished(found) if ending else found

    def fills(self) -> list[Chunk]:
        """The fills where they are written, in ticks from the beginning of the tune."""
        return [
            Chunk(
                fill.room.first.written + each.note.onset - fill.room.first.before.onset,
                each.note.length,
                (each.name,),
            )
            for fill in sorted(self.piece.fills, key=lambda fill: fill.room.first.written)
            for each in fill.notes
        ]

    def rests(self, part: Element) -> tuple[list[Element], list[Element]]:
        """Bars of rest for another part, before and after the tune."""
        before = self._measures(self._symbols([], ending=False), None, self._signs(part))
        after = self._measures(
            self._symbols([], ending=True), None, [self._divisions()] if self.after else []
        )
        return before, (self._filler() + after if after else [])

    def _filler(self) -> list[Element]:
        """A short bar of rest that completes the tune's last bar before an ending."""
        if not self.tune.shortage or not self.after:
            return []
        metre, key = self.metre(ending=True), self.key(ending=True)
        (rests,) = written([], metre, key, [self.tune.shortage])
        return [measure("", rests, (), [self._divisions()], short=True)]

    def _divisions(self) -> Element:
        found = Element("attributes")
        _set_divisions(found)
        return found

    def _symbols(self, chunks: Sequence[Chunk], *, ending: bool) -> list[list[Symbol]]:
        metre, key = self.metre(ending=ending), self.key(ending=ending)
        return written(chunks, metre, key, self.lengths(ending=ending))

    def _measures(
        self, bars: Sequence[list[Symbol]], start: int | None, head: list[Element]
    ) -> list[Element]:
        found = []
        for number, symbols in enumerate(bars):
            harmonies = self._harmonies(start + number) if start is not None else []
            lead = head if number == 0 else []
            short = self._is_short(symbols, ending=start == self.piece.last)
            slows = self._slows_in(start, number)
            found.append(measure("", symbols, harmonies, lead, short=short, slows=slows))
        return found

    def _slows_in(self, start: int | None, number: int) -> int | None:
        """The tick of an added bar of the melody at which it begins to slow down."""
        if start is None:
            return None
        tick = self.slows - self.progression.start_of(start + number)
        return tick if 0 <= tick < self.progression.size_of(start + number) else None

    def _is_short(self, symbols: Sequence[Symbol], *, ending: bool) -> bool:
        return sum(symbol.length for symbol in symbols) < self.metre(ending=ending).bar

    def _harmonies(self, bar: int) -> list[Harmony]:
        start = self.progression.start_of(bar)
        return [Harmony(span.onset - start, span.chord, span.proposed) for span in self.progression.bars[bar]]

    def _right_chunks(self, start: int, count: int) -> list[Chunk]:
        first, end = self.progression.start_of(start), self.progression.start_of(start + count)
        phrase: Phrase = self.piece.idea.phrase
        named = zip(phrase, spell(self.progression, phrase), strict=True)
        return [Chunk(n.onset - first, n.length, (name,)) for n, name in named if first <= n.onset < end]

    @cached_property
    def _left_path(self) -> VoicingPath:
        """The left hand's best path through the whole piece, below the lowest note of the right."""
        return left_paths(self.progression, min(n.midi for n in self.piece.idea.phrase))[0]

    def _left_chunks(self, start: int, count: int) -> list[Chunk]:
        first, end = self.progression.start_of(start), self.progression.start_of(start + count)
        chunks = []
        for span, voicing in zip(self.progression.spans, self._left_path.voicings, strict=True):
            if first <= span.onset < end and voicing is not None:
                pairs = zip(voicing.tones, voicing.pitches, strict=True)
                names = tuple(tone.name.at(midi) for tone, midi in pairs)
                chunks.append(Chunk(span.onset - first, span.length, names))
        return chunks


# The score


def _melody_part(root: Element, tune: Tune) -> Element:
    parts = root.findall("part")
    named = [part for part in parts if part.get("id") == tune.part]
    pitched = [part for part in parts if part.find("measure/note/pitch") is not None]
    return (named or pitched or parts)[0]


def _frame(part: Element, before: Sequence[Element], after: Sequence[Element]) -> None:
    """Put bars before and after a part's own, and renumber all of them."""
    if after:
        _soften(part)
    if before:
        _unrepeat(part)
    for place, element in enumerate(before):
        part.insert(place, element)
    part.extend(after)
    _number(part)


def _number(part: Element) -> None:
    for number, element in enumerate(part.findall("measure"), 1):
        element.set("number", str(number))


def _unrepeat(part: Element) -> None:
    """Remove the signs at the beginning of the tune that the intro already shows: metre, key, clef, tempo."""
    first = part.find("measure")
    if first is None:
        return
    for attribute in first.findall("attributes")[:1]:
        for tag in ("key", "time", "clef"):
            for sign in attribute.findall(tag):
                attribute.remove(sign)
    for direction in first.findall("direction"):
        kinds = [child.tag for kind in direction.findall("direction-type") for child in kind]
        if kinds == ["metronome"]:
            first.remove(direction)


def _soften(part: Element) -> None:
    """The tune's own final bar line becomes a double one, since the ending follows."""
    for barline in part.findall("measure/barline"):
        style = barline.find("bar-style")
        if style is not None and style.text == "light-heavy" and barline.find("repeat") is None:
            style.text = "light-light"


def _guard_repeats(part: Element, added: _Added) -> None:
    """Keep a repeat to the beginning within the tune, by a forward repeat sign where the tune begins."""
    signs = [repeat.get("direction") for repeat in part.findall("measure/barline/repeat")]
    first = part.find("measure")
    if not added.before or first is None or "backward" not in signs:
        return
    if signs[0] == "backward":
        barline = Element("barline", {"location": "left"})
        SubElement(barline, "bar-style").text = "heavy-light"
        SubElement(barline, "repeat", {"direction": "forward"})
        first.insert(0, barline)


def _set_divisions(attribute: Element) -> None:
    divisions = attribute.find("divisions")
    if divisions is None:
        divisions = Element("divisions")
        attribute.insert(0, divisions)
    divisions.text = str(TICKS)


def _left_part(melody: Element, added: _Added, name: str) -> Element:
    """A part for the left hand that rests during the tune."""
    part = Element("part", {"id": name})
    part.extend(added.left(ending=False))
    part.extend(_tune_bars(melody, added, []))
    part.extend(added.left(ending=True))
    return _headed(part, attributes(added.tune.metre, added.tune.key, "F"))


def _fills_part(melody: Element, added: _Added, name: str) -> Element:
    """A part for the fills, in small notes; it rests in intro and ending."""
    part = Element("part", {"id": name})
    part.extend(added.plain([], ending=False))
    bars = _tune_bars(melody, added, added.fills())
    for bar in bars:
        as_cue(bar)
    part.extend(bars)
    part.extend(added.plain([], ending=True))
    return _headed(part, attributes(added.tune.metre, added.tune.key))


def _tune_bars(melody: Element, added: _Added, chunks: Sequence[Chunk]) -> list[Element]:
    """The bars of a part of our own during the tune, with the repeat signs of the melody and its changes of key and metre."""
    tune = added.tune
    rows = written(chunks, tune.measure_metres, tune.key, tune.measures)
    bars = []
    for number, (tune_bar, own) in enumerate(zip(melody.findall("measure"), rows, strict=True)):
        lead = _changed_signs(tune, number)
        bar = measure("", own, lead=lead, short=tune.measures[number] < tune.measure_metres[number].bar)
        _copy_repeats(tune_bar, bar)
        bars.append(bar)
    return bars


def _headed(part: Element, signs: Element) -> Element:
    """A part of our own with numbered bars, and the signs at its beginning."""
    _number(part)
    first = part.find("measure")
    assert first is not None
    first.insert(0, signs)
    return part


def _changed_signs(tune: Tune, number: int) -> list[Element]:
    """The key and metre of a measure of a tune, where they are others than in the measure before."""
    if not number:
        return []
    metres, keys = tune.measure_metres[number - 1 : number + 1], tune.keys[number - 1 : number + 1]
    changed = [tag for tag, pair in (("key", keys), ("time", metres)) if pair[0] != pair[1]]
    signs = attributes(metres[1], keys[1])
    for sign in list(signs):
        if sign.tag not in changed:
            signs.remove(sign)
    return [signs] if changed else []


def _copy_repeats(tune_bar: Element, bar: Element) -> None:
    """The repeat signs and endings of a bar of the tune, for a bar of the left hand."""
    for barline in tune_bar.findall("barline"):
        if barline.find("repeat") is not None or barline.find("ending") is not None:
            copied = copy.deepcopy(barline)
            bar.insert(0, copied) if barline.get("location") == "left" else bar.append(copied)


def _fresh_id(root: Element, letter: str) -> str:
    taken = {part.get("id") for part in root.findall("part")}
    return next(name for number in range(1, 999) if (name := f"{letter}{number}") not in taken)


def _enter_left_part(root: Element, melody: Element, left: Element) -> None:
    """The left hand under the melody, the two joined by a brace."""
    parts = root.find("part-list")
    assert parts is not None
    entry = next(e for e in parts.findall("score-part") if e.get("id") == melody.get("id"))
    place = list(parts).index(entry)
    score_part = _entry(left, _LEFT)
    start = Element("part-group", {"number": _BRACE, "type": "start"})
    SubElement(start, "group-symbol").text = "brace"
    parts.insert(place, start)
    parts.insert(place + 2, score_part)
    parts.insert(place + 3, Element("part-group", {"number": _BRACE, "type": "stop"}))
    root.insert(list(root).index(melody) + 1, left)


def _enter_fills_part(root: Element, melody: Element, fills: Element) -> None:
    """The fills above the melody, outside the brace that joins it to the left hand."""
    parts = root.find("part-list")
    assert parts is not None
    brace = next(e for e in parts if e.tag == "part-group" and e.get("number") == _BRACE)
    parts.insert(list(parts).index(brace), _entry(fills, _FILLS))
    root.insert(list(root).index(melody), fills)


def _entry(part: Element, name: str) -> Element:
    """A part of our own in the list of parts."""
    found = Element("score-part", {"id": part.get("id") or ""})
    SubElement(found, "part-name").text = name
    return found
