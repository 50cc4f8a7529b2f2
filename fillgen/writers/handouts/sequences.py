"""Stock sequences as a handout: each as block chords on a bass staff, with its purpose."""

from __future__ import annotations

from collections.abc import Iterable

from fillgen.chart.progression import Progression
from fillgen.chart.sequences import Sequence, spelled
from fillgen.errors import OptionError, many
from fillgen.hands.voicing import best_paths
from fillgen.theory.chords import Chord
from fillgen.theory.pitch import Key
from fillgen.writers.handout import Handout, titled
from fillgen.writers.handouts.staves import Written, metred_score, pictures
from fillgen.writers.layout import Cell, Row, Words, column_pixels, in_rows
from fillgen.writers.look import PAPERS, USUAL, SheetOptions
from fillgen.writers.mei import signed
from fillgen.writers.notation import Score
from fillgen.writers.sequences import LEADS, Played, key_for

_WHAT = "Chord sequences"
_COLUMNS = 2
_SIGNS = str.maketrans({"b": "♭", "#": "♯"})
_HOW = "Block chords for the left hand, least movement; below each chord its Roman numeral."


def sequences_handout(
    found: Iterable[Sequence],
    key: Key | None = None,
    played: Played = spelled,
    goal: Chord | None = None,
    look: SheetOptions = USUAL,
) -> Handout:
    """Sequences with their chords on a staff, in a key as in `fillgen.writers.sequences.sequences_text`.

    >>> from fillgen.chart.sequences import sequence
    >>> from fillgen.theory.keys import read_key
    >>> handout = sequences_handout([sequence("plagal close")], read_key("Ab"))
    >>> [[chord.symbol for _, chord in bar.chords] for bar in handout.scores[0].bars]
    [['Db'], ['Ab']]
    """
    rows = [Row(((Words(_HOW),),), leads=True)]
    scores, cells = [], []
    pixels = column_pixels(_COLUMNS, PAPERS[look.paper])
    for number, sequence in enumerate(found, 1):
        shown = played(sequence, key_for(sequence, key))
        score = _score(sequence, shown, number)
        scores.append(score)
        cells.append(_card(sequence, shown, goal, score, pixels))
    return Handout(titled(look, "", _WHAT), (*rows, *in_rows(cells, _COLUMNS)), tuple(scores))


def _score(sequence: Sequence, shown: Progression, number: int) -> Score:
    """The chords held by the left hand; by name alone where it can't hold them."""
    numerals = _numerals(sequence, shown)
    try:
        (path,) = best_paths(shown, count=1)[:1]
    except OptionError:
        chords: list[Written | None] = [None for _ in shown.spans]
    else:
        chords = [
            None if voicing is None else Written(voicing.names, below=numeral)
            for voicing, numeral in zip(path.voicings, numerals, strict=True)
        ]
    return metred_score(f"sequence-{number}", sequence.name, shown, chords)


def _numerals(sequence: Sequence, shown: Progression) -> list[str]:
    """The numeral of each chord; none if chords were changed or divided anew."""
    words: list[str] = []
    bar: list[str] = []
    for text in sequence.chords.strip("| ").split("|"):
        bar = bar if text.strip() == "%" else [_signed(word) for word in text.split() if word != "/"]
        words += bar
    usual = spelled(sequence, shown.key, shown.metre).spans
    same = [a.chord.root == b.chord.root for a, b in zip(usual, shown.spans, strict=False)]
    if len(words) != len(shown.spans) or len(usual) != len(words) or not all(same):
        return [""] * len(shown.spans)
    return words


def _signed(numeral: str) -> str:
    """A numeral with a real flat or sharp before it.

    >>> _signed("bVII7"), _signed("#iv°7"), _signed("ii7b5")
    ('♭VII7', '♯iv°7', 'ii7b5')
    """
    return numeral[0].translate(_SIGNS) + numeral[1:]


def _card(sequence: Sequence, shown: Progression, goal: Chord | None, score: Score, pixels: int) -> Cell:
    key = shown.key
    to = goal or sequence.goal(key)
    bars = f"{many(len(shown.bars), 'bar')} of {shown.metre.name}"
    about = f"{sequence.purpose.capitalize()} in {signed(str(key))}, {bars}; {LEADS[sequence.purpose]} {signed(to.symbol)}"
    chords = ", ".join(signed(span.chord.symbol) for span in shown.spans)
    name = f"{sequence.name[0].upper()}{sequence.name[1:]}"
    return (
        Words(name, 3),
        Words(about),
        *pictures(score, pixels, f"{chords}."),
        Words(sequence.says),
    )
