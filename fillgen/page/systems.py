"""Many ideas engraved at once, each as a few systems: pictures of a line of music that a page puts below one another.

All ideas go through the engraver as one score, which takes half as long as one by one, and share their glyphs. Systems
have the width of a phone; the page enlarges them if there is room.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from fillgen.page.room import with_room
from fillgen.theory.metre import TICKS
from fillgen.writers.engraver import one_sheet
from fillgen.writers.mei import to_mei
from fillgen.writers.notation import LINE, Score, ScoreBar, bars_in_line, line_starts
from fillgen.writers.sheet import NARROW

_ROOM = 8300
"""The width of the bars, by `_natural`, that fit into a system in any key; a single bar may be wider."""
_STEP = 100
_GLYPHS = "fillgen"
"""The suffix of the ids of shared glyphs."""
_WIDE, _SIDE = 9588, 120
"""The width of a system and its side margins, in units of the drawing, 25 to a pixel."""
_STAFF = 720
_LETTER, _GLYPH, _CLEF, _EDGE = 400, 270, 300, 70
"""How far letters, glyphs and clefs reach beyond their places, and the margin above and below, in these units."""
_FILLER = '<measure><staff n="1"><layer n="1"><mSpace/></layer></staff></measure>'
_MEASURE = re.compile(r'<measure xml:id="([^"]*)"')
_BEGIN = re.compile(r'<g id="[^"]*" class="system">')
_OWNER = re.compile(r'<g id="([^"]*)-b\d+" class="measure">')
_END = re.compile(r'<g id="[^"]*" class="pageMilestoneEnd')
_DEFINED = re.compile(r'<g id="(\w+)-\w+">(.*?)</g>')
_NAMELESS = re.compile(r' id="[^"-]*"')
_HEIGHTS = re.compile(
    r'translate\(-?\d+, (-?\d+)\)|<text x="-?\d+" y="(-?\d+)"|<path d="([^"]*)"|points="([^"]*)"'
)
_POINT = re.compile(r"-?\d+(?:\.\d+)?[ ,](-?\d+)")


@dataclass(frozen=True, slots=True)
class Engraved:
    """Systems as `svg` elements by the id of their score, and the glyphs they use: name and inside of a `g` element."""

    systems: Mapping[str, tuple[str, ...]]
    glyphs: Mapping[str, str]


def engraved(scores: Sequence[Score]) -> Engraved:
    """Scores of one staff as systems; their ids are prefixes of all ids inside. OutputError if engraving fails.

    A page needs one `g` element for each glyph, with the id `NAME-fillgen`.

    >>> from fillgen.theory.metre import METRES
    >>> from fillgen.writers.notation import Symbol, ScoreSymbol
    >>> from fillgen.theory.pitch import Key, Name
    >>> bar = ScoreBar(1, 1920, ((ScoreSymbol(Symbol(0, 1920, ("C5",), "w"), "a-n0"),),))
    >>> found = engraved([Score("a", METRES["4/4"], Key(Name(0, 0), "major"), (bar,))])
    >>> [system.count('id="a-n0"') for system in found.systems["a"]], sorted(found.glyphs)
    ([1], ['E050', 'E084', 'E0A2'])
    """
    if not scores:
        return Engraved({}, {})
    text = _broken(to_mei(scores), scores)
    head, *parts = _BEGIN.split(one_sheet(text, "the ideas of a page", _GLYPHS, NARROW))
    found: dict[str, list[str]] = {score.id: [] for score in scores}
    for part in parts:
        inside = _END.split(part)[0]
        owner = _OWNER.search(inside)
        if owner is not None:
            found[owner[1]].append(_system(with_room(_NAMELESS.sub("", inside))))
    return Engraved({name: tuple(each) for name, each in found.items()}, dict(_DEFINED.findall(head)))


# Breaks


def _broken(text: str, scores: Sequence[Score]) -> str:
    """The MEI of scores with a break before each bar that begins a system, and the metre at the front of each score.

    A change of metre is announced at the end of the system before it: an extra system takes that announcement.
    """
    before = dict.fromkeys((name for score in scores for name in _breaks(score)), "<sb/>")
    before[_first(scores[0])] = "<sb/>"
    for score in scores[1:]:
        count, unit = score.metres[0].count, score.metres[0].unit
        metre = f'<scoreDef><meterSig count="{count}" unit="{unit}"/></scoreDef>'
        before[_first(score)] = f"{_FILLER}<sb/>{metre}"
    return _MEASURE.sub(lambda bar: before.get(bar[1], "") + bar[0], text)


def _first(score: Score) -> str:
    return f"{score.id}-b{score.bars[0].number}"


def _breaks(score: Score) -> Iterator[str]:
    """The ids of the bars that begin a new system, except the first bar."""
    pickup = score.bars[0].number == 0
    changes = [own != before for before, own in pairwise((score.metres[0], *score.metres))]
    widths = [_natural(bar) + _METRE * change for bar, change in zip(score.bars, changes, strict=True)]
    sections = [number for number, bar in enumerate(score.bars) if bar.section]
    for line in _lines(widths, sections, pickup=pickup)[1:]:
        yield f"{score.id}-b{score.bars[line[0]].number}"


def _lines(widths: Sequence[int], sections: Collection[int] = (), *, pickup: bool = False) -> list[list[int]]:
    """Bars, by their numbers from 0, in as few lines as possible, filled evenly; many bars by fours or by twos.

    Each of the `sections` begins a line of a long score. A pick-up goes with the first line and doesn't count.

    >>> _lines([3500, 3900, 2800, 3000]), _lines([2700] * 4), _lines([9000, 900])
    ([[0, 1], [2, 3]], [[0, 1], [2, 3]], [[0], [1]])
    >>> _lines([2000] * 8), _lines([900, *[2700] * 6], pickup=True)
    ([[0, 1, 2, 3], [4, 5, 6, 7]], [[0, 1, 2], [3, 4], [5, 6]])
    """

    def by(bars: int) -> list[list[int]]:
        starts = line_starts(len(widths), bars, sections, pickup)
        return [list(range(first, after)) for first, after in pairwise(starts)]

    if len(widths) - pickup > LINE:
        bars = bars_in_line(lambda count: all(sum(widths[n] for n in line) <= _ROOM for line in by(count)))
        if bars > 1:
            return by(bars)
    fewest = _filled(widths, _ROOM)
    for most in range(max(widths), _ROOM, _STEP):
        tighter = _filled(widths, most)
        if len(tighter) == len(fewest):
            return tighter
    return fewest


def _filled(widths: Sequence[int], most: int) -> list[list[int]]:
    lines: list[list[int]] = [[]]
    room = most
    for number, width in enumerate(widths):
        if lines[-1] and width > room:
            lines.append([])
            room = most
        lines[-1].append(number)
        room -= width
    return lines


_METRE = 700
"""What a change of metre adds to the width of its bar."""


def _natural(bar: ScoreBar) -> int:
    """An estimate of the width the engraver gives a bar by itself, fitted to 1,104 bars of all metres and levels."""
    symbols = [each.symbol for each in bar.staves[0]]
    lengths = sum(float((symbol.length / TICKS) ** 0.6) for symbol in symbols)
    signs = sum(any(symbol.accidentals) or any(symbol.courtesies) for symbol in symbols)
    letters = sum(len(chord.symbol) for _, chord in bar.chords)
    return round(430 + 680 * lengths + 85 * signs + 80 * letters - 280 * len(bar.chords))


# Pictures


def _system(inside: str) -> str:
    """A system as a picture that is just as high as its content."""
    low, high = _extent(inside)
    box = f"{-_SIDE} {low} {_WIDE + 2 * _SIDE} {high - low}"
    # the opening tag of the system's group was split off, its closing tag is still inside
    return f'<svg class="system" viewBox="{box}" aria-hidden="true" focusable="false"><g>{inside}</svg>'


def _extent(inside: str) -> tuple[int, int]:
    """The top and the bottom of a drawing, y downwards."""
    tops, feet = [], []
    staff = re.search(r"<path d=\"M-?\d+ (-?\d+)", inside)
    if staff is not None:
        tops.append(int(staff[1]) - _CLEF)
        feet.append(int(staff[1]) + _STAFF + _CLEF)
    for glyph, letters, path, points in _HEIGHTS.findall(inside):
        if glyph:
            tops.append(int(glyph) - _GLYPH)
            feet.append(int(glyph) + _GLYPH)
        elif letters:
            tops.append(int(letters) - _LETTER)
            feet.append(int(letters) + _LETTER // 3)
        else:
            heights = [int(y) for y in _POINT.findall(path or points)]
            tops += heights
            feet += heights
    return min(tops) - _EDGE, max(feet) + _EDGE
