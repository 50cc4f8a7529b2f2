"""Keyboard pictures: keys where a player finds them, and marks that differ in shape."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from itertools import pairwise

import pytest

from fillgen.writers.engraver import Drawing
from fillgen.writers.keys import CROSS, DOT, RING, KeyMark, keys_drawing, mark_drawing


def tree(drawing: Drawing) -> ET.Element:
    return ET.fromstring(f"<svg>{drawing.inside}</svg>")


def test_keys_lie_where_a_player_finds_them() -> None:
    """Seven white keys side by side, five black ones over the lines between them, drawn last."""
    boxes = [
        (float(box.get("x", "")), float(box.get("width", "")), float(box.get("height", "")))
        for box in tree(keys_drawing(60, 71, {})).iter("rect")
    ]
    whites, blacks = boxes[:7], boxes[7:]
    assert len(blacks) == 5
    assert all(left + wide == pytest.approx(right) for (left, wide, _), (right, _, _) in pairwise(whites))
    middles = [left + wide / 2 for left, wide, _ in blacks]
    assert middles == pytest.approx([whites[at][0] for at in (1, 2, 4, 5, 6)], abs=0.1)
    assert max(high for *_, high in blacks) < min(high for *_, high in whites)


def test_a_black_key_at_an_end_has_its_white_neighbour() -> None:
    """From Eb to Ab there are the white keys from D to A."""
    assert len(list(tree(keys_drawing(63, 68, {})).iter("rect"))) == 5 + 3


def test_each_mark_lies_on_its_key() -> None:
    """Every marked key has one mark, inside the key's own box, with its name and its finger."""
    marks = {
        60: KeyMark(DOT, "C", "5"),
        61: KeyMark(RING, "D♭"),
        64: KeyMark(CROSS, "E"),
        66: KeyMark(DOT, "F♯", "1"),
    }
    root = tree(keys_drawing(60, 71, marks))
    boxes = list(root.iter("rect"))
    whites = [60, 62, 64, 65, 67, 69, 71]
    order = [*whites, 61, 63, 66, 68, 70]
    found = {int(group.get("data-key", "")): group for group in root.iter("g")}
    assert {midi: group.get("data-mark") for midi, group in found.items()} == {
        60: DOT,
        61: RING,
        64: CROSS,
        66: DOT,
    }
    for midi, group in found.items():
        box = boxes[order.index(midi)]
        left, right = float(box.get("x", "")), float(box.get("x", "")) + float(box.get("width", ""))
        shape = group[0]
        xs = (
            [float(shape.get("cx", "nan"))]
            if shape.tag == "ellipse"
            else [float(x) for x in re.findall(r"[ML]([\d.]+)", shape.get("d", ""))]
        )
        assert all(left < x < right for x in xs)
        words = [text.text for text in group.iter("text")]
        assert words == [each for each in (marks[midi].inside, marks[midi].name) if each]


def test_marks_differ_in_shape() -> None:
    """Without any colour a full dot, an open ring and a cross are three things."""
    dot, ring, cross = (tree(mark_drawing(shape))[0] for shape in (DOT, RING, CROSS))
    assert (dot.tag, ring.tag, cross.tag) == ("ellipse", "ellipse", "path")
    assert dot.get("fill") == dot.get("stroke")
    assert ring.get("fill") == "none"
    assert mark_drawing("").inside == ""


def luminance(colour: str) -> float:
    """The relative luminance of `#rrggbb`, as W3C, WCAG 2.2, defines it."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("shape", [DOT, RING, CROSS])
def test_marks_stand_out_from_their_keys(shape: str) -> None:
    """A mark has a contrast of 3 to 1 at least with its key, and a finger 4.5 to 1 with its dot (WCAG 2.2, 1.4.11, 1.4.3)."""
    root = tree(keys_drawing(60, 62, {60: KeyMark(shape, "", "1"), 61: KeyMark(shape, "", "2")}))
    fills = [box.get("fill", "") for box in root.iter("rect")]
    white, black = fills[0], fills[-1]
    for key, group in zip((white, black), root.iter("g"), strict=True):
        ink = group[0].get("stroke", "")
        assert contrast(ink, key) >= 3
        if shape == DOT:
            assert contrast(group[1].get("fill", ""), ink) >= 4.5


def test_keys_fit_their_room() -> None:
    """Where there is little room the keys are narrower; the Cs are named if asked for."""
    drawing = keys_drawing(48, 71, {}, room=200, octaves=True)
    assert drawing.wide <= 200
    assert [text.text for text in tree(drawing).iter("text")] == ["C3", "C4"]
