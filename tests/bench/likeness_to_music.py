"""Do the ideas look like music? `python -m tests.bench.likeness_to_music` prints how they compare with real phrases.

Real: phrases of four bars of all tunes of the Essen folk songs and Aird's Airs that `melodies.py` can read (not
stored here). Ideas: the ranked fifty of 204 charts, in all rhythms, levels 3 and 4, few, some and many notes, 24 keys and all stock
sequences of four bars. It takes about four minutes on two cores.
"""

from __future__ import annotations

import os
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from multiprocessing import get_context

import numpy as np

from fillgen.chart.sequences import find, spelled
from fillgen.engine.generate import generate
from fillgen.engine.request import Request
from fillgen.rules.pack import BUSY, RulePack
from fillgen.theory.metre import METRES
from fillgen.theory.pitch import Name, key_on
from tests.bench.surroundings import figure, told
from tests.outside.likeness import (
    CHORD_TONES,
    FIGURES,
    RISING,
    SHAPES,
    Counts,
    Figure,
    chord_counts,
    counts,
    shape_of,
)
from tests.outside.melodies import COLLECTIONS, names_and_texts, tune_of

FIFTIES = 204
BARS = 4
_TONICS = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
ENOUGH = (10, 4)
"""A tune tells about a figure where so many intervals, notes or bars were counted for it, or so many phrases."""
PUBLISHED = {
    "repeated notes": (10.3, 22.2),
    "steps (1-2 semitones)": (45.4, 53.1),
    "skips (3-4)": (15.8, 25.9),
    "leaps (5 and more)": (11.7, 16.5),
    "turns back after a leap, where it moves": (71.3, 76.7),
    "turns back after a step, where it moves": (38.6, 40.8),
    "range of four bars": (9.6, 12.8),
}
"""The least and the greatest of Western collections as wholes, counted elsewhere: European Essen songs, Aird's Airs, other
folk songs of music21, the Nottingham database, songs and chorales as MIDI."""
PUBLISHED_RISING = {1: 42.5, 2: 39.2, 3: 46.7, 4: 52.7, 5: 69.1, 7: 55.3, 9: 75.1, 12: 60.6}
"""Share of rising intervals by size in semitones: European Essen songs, counted elsewhere with another reader."""
PUBLISHED_CHORD_TONES = (91.0, 83.8, 74.8, 62.1)
"""Nottingham Music Database, 1,016 tunes with chord symbols, counted elsewhere: no package carries it whole."""
PUBLISHED_SHAPES = (38.66, 28.81, 19.24, 9.77, 1.20, 0.83, 0.55, 0.48, 0.46)
"""European Essen songs, 41,885 phrases; Huron (1996) gives 38.6, 28.8, 19.4 and 9.7 for his 36,075 (from memory)."""


# Ideas


def asked(number: int, first_seed: int = 0) -> Request:
    """The request of that number: rhythms, levels, keys, sequences and busy-ness go round, each at its own pace."""
    pack = RulePack()
    played = [(name, metre) for name in pack.rhythm_names for metre in pack.rhythm(name).metres]
    rhythm, metre = played[number % len(played)]
    mode = ("major", "minor")[number // 12 % 2]
    fitting = find(mode=mode, bars=BARS, metre=METRES[metre]) or find(bars=BARS, metre=METRES[metre])
    sequence = fitting[number * 7 % len(fitting)]
    key = key_on(Name.read(_TONICS[number * 5 % 12]), sequence.mode)
    progression = spelled(sequence, key, METRES[metre])
    level, busy = 3 + number // 3 % 2, BUSY[number % 3]
    return Request(progression, seed=first_seed + number, level=level, rhythm=rhythm, busy=busy)


def counted(number: int) -> tuple[str, Counts]:
    """How busy the fifty of that number are, and what is counted in them."""
    found = generate(asked(number))
    phrases = [idea.phrase for idea in found]
    own = counts(phrases, found.progression.metre.bar)
    own.update(chord_counts(phrases, found.progression))
    own["idea"] = len(found)
    return BUSY[number % 3], own


# Real tunes


def tune_counts(name_and_text: tuple[str, str]) -> Counts | None:
    """What is counted in all phrases of a tune; None where it cannot be read."""
    tune = tune_of(*name_and_text)
    return counts(tune.phrases, METRES[tune.metre].bar) if tune is not None else None


def essen_lines() -> Iterator[list[int]]:
    """The pitches of each text line of the European Essen songs, which are written a phrase a line; ties joined.

    A small reader of its own, so that the method of the shapes is held against figures found elsewhere.
    """
    for name, text in names_and_texts("essen"):
        if name.split("/")[1].startswith("han"):
            continue
        signs = _signature(text)
        held: dict[str, int] = {}
        for line in text.splitlines():
            if line[1:2] == ":" or not line.strip():
                continue
            pitches = _line(line, signs, held)
            if len(pitches) > 1:
                yield pitches


_STEPS = dict(zip("CDEFGAB", (0, 2, 4, 5, 7, 9, 11), strict=True))
_ON_THE_LINE = {"m": -3, "min": -3, "dor": -2, "mix": -1, "phr": -4, "lyd": 1, "maj": 0, "": 0}
_ABC_NOTE = re.compile(r"(\||\[[A-Z]:[^]]*\])|([\^_=]*)([A-Ga-g])([,']*)[\d/]*(-?)")


def _signature(text: str) -> dict[str, int]:
    """The signs of a key signature by letter."""
    found = re.search(r"^K: *([A-G])([b#]?) *([A-Za-z]{0,3})", text, re.MULTILINE)
    if found is None:
        return {}
    sharps = "FCGDAEB"
    fifths = sharps.index(found[1]) - 1 + 7 * ((found[2] == "#") - (found[2] == "b"))
    fifths += _ON_THE_LINE.get(found[3].lower(), 0)
    order = sharps if fifths > 0 else sharps[::-1]
    return {order[n % 7]: (1 if fifths > 0 else -1) for n in range(abs(fifths))}


def _line(line: str, signs: dict[str, int], held: dict[str, int]) -> list[int]:
    """The pitches of a line; signs before notes last to the end of the bar."""
    pitches: list[int] = []
    tied = False
    for bar, sign, letter, octaves, tie in _ABC_NOTE.findall(line.split("%", maxsplit=1)[0]):
        if bar:
            held.clear()
            continue
        height = (12 if letter.islower() else 0) + 12 * (octaves.count("'") - octaves.count(","))
        place = f"{letter.upper()}{height}"
        if sign:
            held[place] = sign.count("^") - sign.count("_")
        alter = held.get(place, signs.get(letter.upper(), 0))
        pitch = 60 + _STEPS[letter.upper()] + height + alter
        if not (tied and pitches[-1] == pitch):
            pitches.append(pitch)
        tied = bool(tie)
    return pitches


# Tables


def band(figure: Figure, tunes: Sequence[Counts]) -> tuple[float, float]:
    """The middle 80 % of tunes, those in which enough was counted to tell."""
    values = [figure.of(each) for each in tunes if each[figure.under] >= ENOUGH[figure.under == "phrase"]]
    low, high = np.quantile(values, [0.1, 0.9])
    return float(low), float(high)


def mean(figure: Figure, fifties: Sequence[Counts]) -> float:
    """The mean of a figure over fifties."""
    return float(np.mean([figure.of(each) for each in fifties if each[figure.under]]))


def row(figure: Figure, groups: Sequence[Sequence[Counts]], tunes: Sequence[Counts]) -> str:
    """A line of the table: the mean over fifties, all and by how busy they are (bold: not among the tunes); other collections."""
    means = [mean(figure, group) for group in groups]
    low, high = band(figure, tunes)
    told_means = [f"{each:.1f}" if low <= each <= high else f"**{each:.1f}**" for each in means]
    cells = [figure.name, *told_means, f"{low:.1f} to {high:.1f}"]
    cells += [
        f"{figure.of(sum(tunes, Counter())):.1f}",
        "inside" if low <= means[0] <= high else "**outside**",
    ]
    least, most = PUBLISHED.get(figure.name, (0, 0))
    where = (
        "" if not most else "inside" if least <= means[0] <= most else "above" if means[0] > most else "below"
    )
    cells += [f"{least} to {most}, {where}" if most else ""]
    return f"| {' | '.join(cells)} |"


def print_figures(fifties: Sequence[tuple[str, Counts]], tunes: Sequence[Counts]) -> None:
    groups = [[own for busy, own in fifties if wanted in ("all", busy)] for wanted in ("all", *BUSY)]
    print(
        f"\n| figure | ideas | {' | '.join(BUSY)} | 80 % of tunes | all tunes | | elsewhere |\n|---|{'---:|' * 6}---|---|"
    )
    inside = 0
    for each in FIGURES:
        print(row(each, groups, tunes))
        low, high = band(each, tunes)
        inside += low <= mean(each, groups[0]) <= high
    told_of = f"{len(FIGURES)}"
    figure("figures of ideas inside 80 % of tunes", f"{inside}", told_of, inside == len(FIGURES))


def print_rising(ideas: Counts, tunes: Counts) -> None:
    print(
        "\n| interval | ideas that rise, % | all tunes | European Essen, counted elsewhere |\n|---|---:|---:|---:|"
    )
    for each, published in zip(RISING, PUBLISHED_RISING.values(), strict=True):
        print(f"| {each.name} | {each.of(ideas):.1f} | {each.of(tunes):.1f} | {published} |")


def print_chord_tones(ideas: Counts) -> None:
    print(
        "\n| place in the bar | ideas: notes of the chord, % | Nottingham, counted elsewhere |\n|---|---:|---:|"
    )
    for each, published in zip(CHORD_TONES, PUBLISHED_CHORD_TONES, strict=True):
        print(f"| {each.name} | {each.of(ideas):.1f} | {published} |")


def print_shapes(lines: Iterable[Sequence[int]]) -> None:
    """The method of the shapes on text lines of Essen songs."""
    found = Counter(shape_of(line) for line in lines)
    every = sum(found.values())
    print(
        f"\n| shape, {every} lines of European Essen songs | here, % | counted elsewhere |\n|---|---:|---:|"
    )
    for shape, published in zip(SHAPES, PUBLISHED_SHAPES, strict=True):
        print(f"| {shape} | {100 * found[shape] / every:.2f} | {published} |")


def main() -> None:
    print(told(["music21"]))
    texts = [tune for collection in COLLECTIONS for tune in names_and_texts(collection)]
    with get_context("spawn").Pool(os.cpu_count()) as pool:
        fifties = pool.map(counted, range(FIFTIES), chunksize=6)
        tunes = [found for found in pool.map(tune_counts, texts, chunksize=100) if found is not None]
    ideas, real = (sum(each, Counter()) for each in ([own for _, own in fifties], tunes))
    print(f"{ideas['idea']} ideas in {len(fifties)} fifties; {real['phrase']} phrases of {len(tunes)} tunes")
    print_figures(fifties, tunes)
    print_rising(ideas, real)
    print_chord_tones(ideas)
    print_shapes(essen_lines())


if __name__ == "__main__":
    main()
