"""Intros that begin with a tune's own motif."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from fillgen import parse_chart
from fillgen.engine.generate import generate
from fillgen.engine.request import Request
from fillgen.fills.motif import beginning_with, motif_of
from fillgen.phrase.note import Note, Phrase
from fillgen.phrase.text import parse_phrase

TUNE = "G5q. Ab5e Bb5q G5q | F5q D5q Eb5q F5q | Eb5w | Eb5w"
INTRO = parse_chart("| Eb | Cm7 | Fm7 | Bb7 |")


def ups_and_downs(notes: Phrase) -> list[int]:
    """Whether the line rises, falls or stays, note by note."""
    return [int(np.sign(b.midi - a.midi)) for a, b in pairwise(notes)]


def test_a_motif_is_cut_off_at_its_end() -> None:
    """The motif of a bar has the notes that begin in it, none of which sounds on into the next."""
    line = parse_phrase("G5h F5h~ | F5q Eb5h.", INTRO.metre)
    assert motif_of(line, 1920, 1) == (Note(0, 960, 79), Note(960, 960, 77))


def test_an_intro_takes_up_the_motif() -> None:
    """The best intros have the rhythm and the ups and downs of the tune's first two bars, over chords of their own."""
    motif = motif_of(parse_phrase(TUNE, INTRO.metre), 1920, 2)
    request = Request(INTRO, count=5, purpose="intro", lead_to="F5")
    for idea in generate(request, beginning_with(motif)):
        own = idea.phrase[: len(motif)]
        assert [(n.onset, n.length) for n in own] == [(n.onset, n.length) for n in motif]
        assert ups_and_downs(own) == ups_and_downs(motif)
        assert all(each.role for each in idea.notes)
        assert abs(idea.phrase[-1].midi - 77) <= 4


def test_without_the_motif_intros_are_others() -> None:
    """The rhythm of the motif isn't what intros have anyway."""
    motif = motif_of(parse_phrase(TUNE, INTRO.metre), 1920, 2)
    rhythms = [
        [(n.onset, n.length) for n in idea.phrase[: len(motif)]]
        for idea in generate(Request(INTRO, count=5, purpose="intro", lead_to="F5"))
    ]
    assert [(n.onset, n.length) for n in motif] not in rhythms
