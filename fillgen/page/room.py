"""Room for fingers and chord symbols: what the engraver lets touch in a narrow system is moved apart, upwards only.

Places are in units of the drawing, 180 between two staff lines, y downwards. The sizes of glyphs are those of the music
font's signs in staff spaces, rounded up.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import NamedTuple

from fillgen.writers.engraver import FINGER_HALF, STEM

_GAP = 45
"""What is left free between two signs."""
_FINGER_HIGH = 225
"""The height of a finger's number."""
_LETTER, _SYMBOL_HIGH, _SYMBOL_LOW = 245, 310, 95
"""The width that a letter of a chord symbol has at most, one letter being added for wide ones, and how far a symbol reaches above and below its line."""
_FINGER = re.compile(r'(<g class="fing"><text x="(-?\d+)" y=")(-?\d+)(")')
_SYMBOL = re.compile(r'(<g class="harm"><text x="(-?\d+)" y=")(-?\d+)("[^>]*>)(.*?)(</text>)')
_GLYPH = re.compile(r'xlink:href="#(\w+)-\w+" transform="translate\((-?\d+), (-?\d+)\)')
_POLYGON = re.compile(r'<polygon points="([^"]*)"')
_CURVE = re.compile(r'<g class="(?:tie|lv|slur)"[^>]*><path d="([^"]*)"')
_NUMBERS = re.compile(r"-?\d+(?:\.\d+)?")
_TAG = re.compile(r"<[^>]*>")
_SIZES = {
    "E240": (0, 0, 240, 610),
    "E241": (0, -610, 270, 20),
    "E242": (0, -60, 240, 660),
    "E243": (0, -660, 270, 60),
    "E0A2": (0, -110, 330, 110),
    "E0A3": (0, -110, 250, 110),
    "E0A4": (0, -110, 250, 110),
    "E260": (-20, -330, 190, 140),
    "E261": (-20, -260, 160, 260),
    "E262": (-20, -270, 210, 270),
    "E4C0": (-60, -260, 500, 20),
}
"""The boxes of flags, note heads, accidentals and the fermata: left, top, right and bottom from their place."""


class Box(NamedTuple):
    """A rectangle."""

    left: float
    top: float
    right: float
    bottom: float

    def touches(self, other: Box) -> bool:
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )


def with_room(inside: str) -> str:
    """The inside of a system with fingers clear of notes and of each other, and chord symbols clear of both.

    >>> stem = '<g class="stem"><path d="M100 500 L100 1100" stroke-width="18"/></g>'
    >>> with_room(stem + '<g class="fing"><text x="60" y="620">3</text></g>').removeprefix(stem)
    '<g class="fing"><text x="60" y="445">3</text></g>'
    """
    taken = list(_music(inside))
    inside = _FINGER.sub(lambda found: _raised(found, taken), inside)
    return _symbols_raised(inside, taken)


def _music(inside: str) -> Iterator[Box]:
    """The boxes of everything that belongs to notes."""
    for x, start, end in (map(int, found) for found in STEM.findall(inside)):
        yield Box(x - 20, min(start, end), x + 20, max(start, end))
    for name, x, y in _GLYPH.findall(inside):
        if name in _SIZES:
            left, top, right, bottom = _SIZES[name]
            yield Box(int(x) + left, int(y) + top, int(x) + right, int(y) + bottom)
    for points in (*_POLYGON.findall(inside), *_CURVE.findall(inside)):
        numbers = [float(number) for number in _NUMBERS.findall(points)]
        yield from _strips(numbers[::2], numbers[1::2])


def _strips(across: list[float], down: list[float]) -> Iterator[Box]:
    """The box of a beam or a tie; a slanting one is cut into a few, so that the room above its low end stays free."""
    left, right = min(across), max(across)
    first = [y for x, y in zip(across, down, strict=True) if x < (left + right) / 2]
    last = [y for x, y in zip(across, down, strict=True) if x >= (left + right) / 2]
    if not first or not last:
        yield Box(left, min(down), right, max(down))
        return
    steps = 4
    for step in range(steps):
        a, b = step / steps, (step + 1) / steps
        tops = [min(first) + (min(last) - min(first)) * share for share in (a, b)]
        feet = [max(first) + (max(last) - max(first)) * share for share in (a, b)]
        yield Box(left + (right - left) * a, min(tops), left + (right - left) * b, max(feet))


def _raised(found: re.Match[str], taken: list[Box]) -> str:
    """A finger as low as it has room; its place is taken from then on."""
    x, y = int(found[2]), int(found[3])
    box = _clear(Box(x - FINGER_HALF, y - _FINGER_HIGH, x + FINGER_HALF, y + 10), taken)
    taken.append(box)
    return f"{found[1]}{round(box.bottom) - 10}{found[4]}"


def _clear(box: Box, taken: Iterable[Box]) -> Box:
    """A box moved up until nothing touches it."""
    high = box.bottom - box.top
    others = sorted(taken, key=lambda each: -each.bottom)
    moved = True
    while moved:
        moved = False
        for other in others:
            if box.touches(other):
                bottom = other.top - _GAP
                box, moved = Box(box.left, bottom - high, box.right, bottom), True
    return box


def _symbols_raised(inside: str, taken: Iterable[Box]) -> str:
    """Chord symbols, all on one line, raised together as far as one of them needs."""
    lift = 0.0
    for found in _SYMBOL.finditer(inside):
        x, y = int(found[2]), int(found[3])
        wide = _LETTER * (1 + len(_TAG.sub("", found[5])))
        box = Box(x, y - _SYMBOL_HIGH, x + wide, y + _SYMBOL_LOW)
        lift = max(lift, box.bottom - _clear(box, taken).bottom)
    if not lift:
        return inside
    return _SYMBOL.sub(
        lambda found: f"{found[1]}{int(found[3]) - round(lift)}{found[4]}{found[5]}{found[6]}", inside
    )
