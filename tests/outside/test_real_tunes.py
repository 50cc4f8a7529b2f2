"""Real tunes read as phrases of a player's own: more than a thousand of them, every note with exactly one role.

The tunes are the Essen folk songs in the installed music21 package (ABC by S. Schlien), read where they lie.
"""

from __future__ import annotations

from collections import Counter

import pytest

from fillgen.chart.text import MOST_BARS
from fillgen.errors import FillgenError
from fillgen.phrase.idea import CHORD_TONE
from fillgen.phrase.place import places
from fillgen.phrase.text import parse_phrase, phrase_text
from fillgen.readers.phrases import Reading, find_phrase, line_up
from fillgen.rules.pack import RulePack
from fillgen.rules.tones import EMBELLISHMENTS
from fillgen.teaching.check import check
from fillgen.teaching.line import Line
from fillgen.teaching.naming import FURTHER_TONES, kinds
from fillgen.teaching.sentences import reasons
from fillgen.teaching.wider import WIDER_TONES
from tests.effort import one_in
from tests.outside.melodies import names_and_texts

CHUNKS, SHARES = 192, 32
"""Into so many chunks the tunes are divided for their roles, and for how many of them are read."""
ONE_IN = 5
"""One tune in so many of the collection is read."""
READ = 0.65
"""The least share of tunes that can be read: others change their metre, have none, or one that fillgen has not."""
CHART = "| C | F | Am | G7 |"
ROLES = {CHORD_TONE, *EMBELLISHMENTS, ""}
LEVEL = RulePack().level(5)


def tunes(chunk: int, chunks: int = CHUNKS) -> list[tuple[str, str]]:
    """The names and ABC texts of one share of the tunes."""
    return list(names_and_texts("essen"))[::ONE_IN][chunk::chunks]


def read(text: str) -> Reading | FillgenError:
    """A tune lined up with the chart, or why it is refused."""
    try:
        return line_up(find_phrase("-", stdin=text.encode), CHART)
    except FillgenError as error:
        return error


def check_roles(reading: Reading) -> Counter[str]:
    """Every note of a reading has one role, which says chord tone where it is one; how many have which."""
    progression, notes = reading.progression, reading.notes
    where = places(progression, [(note.onset, note.length) for note in notes])
    report = check(progression, notes, LEVEL)
    roles = [told.role for told in report.notes]
    assert len(roles) == len(notes) == len(kinds(Line(progression, notes, where)))
    assert set(roles) <= ROLES
    assert set(kinds(Line(progression, notes, where))) <= ROLES | FURTHER_TONES.keys() | WIDER_TONES.keys()
    for note, role in zip(notes, roles, strict=True):
        assert (role == CHORD_TONE) == (
            progression.span_at(note.onset).heard.tone_at(note.midi % 12) is not None
        )
    assert all(reasons(progression, notes, where))
    assert parse_phrase(phrase_text(notes, progression), progression.metre) == notes
    return Counter(roles)


@pytest.mark.parametrize("chunk", one_in(CHUNKS, range(CHUNKS)))
def test_every_note_of_a_real_tune_has_one_role(chunk: int) -> None:
    """A tune that can be read is judged and written back."""
    told: Counter[str] = Counter()
    for _, text in tunes(chunk):
        answer = read(text)
        if not isinstance(answer, FillgenError):
            assert len(answer.progression.bars) <= MOST_BARS + 1
            told += check_roles(answer)
    assert {CHORD_TONE, "passing", "neighbour"} <= set(told)


@pytest.mark.parametrize("share", one_in(SHARES, range(SHARES)))
def test_nearly_all_real_tunes_are_read(share: int) -> None:
    """The others are refused with a reason."""
    some = tunes(share, SHARES)
    answers = [(name, read(text)) for name, text in some]
    refused = [(name, str(answer)) for name, answer in answers if isinstance(answer, FillgenError)]
    assert len(refused) <= (1 - READ) * len(some), refused
    assert all("metre" in told or "bar" in told or "Metres" in told for _, told in refused)


@pytest.mark.slow
def test_there_are_more_than_a_thousand() -> None:
    """Even without those that may be refused, a thousand tunes are read."""
    assert READ * sum(len(tunes(chunk)) for chunk in range(CHUNKS)) >= 1000
