"""A checked phrase, and an explained idea, as text and as plain dictionaries."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

from fillgen.chart.progression import Progression
from fillgen.errors import OptionError, many
from fillgen.phrase.idea import IdeaNote, Ideas
from fillgen.phrase.text import phrase_text
from fillgen.teaching.check import Report
from fillgen.teaching.faults import Fault, FaultKind
from fillgen.teaching.mend import Mend
from fillgen.teaching.ranking import ranking
from fillgen.teaching.sentences import reasons
from fillgen.teaching.words import beat_number
from fillgen.writers.document import chart_document, note_document
from fillgen.writers.lines import TEXT_WIDTH, wrapped
from fillgen.writers.text import bar_rows, chart_heading, staff

_INDENT = "  "


# Text


_SECTIONS: dict[FaultKind, str] = {"clash": "Clashes", "style": "Style", "level": "Beyond level {level}"}
"""The kinds of faults in order, with their titles."""


def check_text(report: Report, width: int = TEXT_WIDTH, *, explain: bool = False) -> str:
    """A report as text of about `width` characters: verdict, how the phrase was read, staff, places, mend, what works.

    With `explain` it adds the notes one by one, and the rules that hold.

    >>> from fillgen.teaching.check import check
    >>> from fillgen.chart.text import parse_chart
    >>> from fillgen.phrase.text import parse_phrase
    >>> from fillgen.rules.pack import RulePack
    >>> chart = parse_chart("| Bb |", key="Bb")
    >>> report = check(chart, parse_phrase("Bb4q C5q F5h", chart.metre), RulePack().level(3))
    >>> print(check_text(report, 80).split("Style")[0].rstrip())
    1 note clashes; 1 note is a matter of style.
    Bb major, 4/4, level 3 (passing notes)
    <BLANKLINE>
      beat | 1    2   3   4 |
     chord | Bb             |
     notes | Bb4q C5q F5h   |
           | 1    ?   5     |
    finger | 2    3   5     |
    <BLANKLINE>
    Clashes
      bar 1: C5 on beat 2 is outside Bb, is reached by step from Bb4 and left by a
        leap to F5; it could go to Bb4 or D5.
      The rule: A note outside its chord comes from somewhere and goes somewhere: it
        passes, returns, leans on the next note, is held over from the chord before
        or comes early for the next. If it leaps away or stops, it sounds like a
        slip.
    """
    sections = [
        "\n".join(
            [
                wrapped(report.verdict, width),
                wrapped(_heading(report), width),
                *(wrapped(line, width) for line in report.reading),
            ]
        ),
        "\n".join(staff(_named(report), report.progression, width)),
        *(section for kind in _SECTIONS for section in _faults(report, kind, width)),
        *_mend(report.mend, width),
        *_section("What works", report.works, width),
        *(_explained(report, width) if explain else ()),
        *_section("Also", report.remarks, width),
    ]
    return "\n\n".join(sections) + "\n"


def _named(report: Report) -> list[IdeaNote]:
    """The notes, those without a role by what textbooks call them."""
    named = zip(report.notes, report.names, strict=True)
    return [note if note.role else replace(note, role=name) for note, name in named]


def _heading(report: Report) -> str:
    return f"{chart_heading(report.progression)}, level {report.level} ({report.level_name})"


def _explained(report: Report, width: int) -> Iterator[str]:
    """Every note, and every rule that holds."""
    yield from _section("Note by note", list(_by_bar(report)), width)
    yield from _section("What holds", [f"{kind}: {statement}" for kind, statement in report.holds], width)


def _section(title: str, lines: Sequence[str], width: int) -> list[str]:
    """A title with its lines below it; nothing if there are no lines."""
    return ["\n".join([title, *(wrapped(line, width, 1) for line in lines)])] if lines else []


def _faults(report: Report, kind: FaultKind, width: int) -> list[str]:
    """The faults of one kind: every place with what is wrong there, then each rule once."""
    faults = report.of_kind(kind)
    places = dict.fromkeys(f"bar {fault.bar}: {fault.sentence}" for fault in faults)
    rules = dict.fromkeys(f"The rule: {fault.says} {fault.reason}" for fault in faults)
    return _section(_SECTIONS[kind].format(level=report.level), [*places, *rules], width)


def _mend(mend: Mend | None, width: int) -> list[str]:
    if mend is None:
        return []
    lines = [
        f"The smallest change that mends the clashes: {many(len(mend.changed), 'note')}",
        *bar_rows(mend.text, width, _INDENT),
        *(wrapped(sentence, width, 1) for sentence in mend.sentences),
    ]
    return ["\n".join(lines)]


def _by_bar(report: Report) -> Iterator[str]:
    for note, reason in zip(report.notes, report.reasons, strict=True):
        yield f"bar {note.bar}: {reason}"


# An idea explained


def explain_text(ideas: Ideas, number: int, width: int = TEXT_WIDTH) -> str:
    """One of the ideas, counted from 1, as text: its staff, its notes one by one, and why it ranks there.

    Raises OptionError if there is no idea of that number.

    >>> import fillgen
    >>> found = fillgen.ideas("| C | G7 |", level=1, count=2)
    >>> print(explain_text(found, 1).split("Why it ranks")[0].splitlines()[0])
    C major, 4/4, foxtrot at 116 quarter notes a minute, level 1, idea 1 of 2
    """
    if not 1 <= number <= len(ideas):
        raise OptionError(f"there is no idea {number}", hint=f"The ideas shown are 1 to {len(ideas)}.")
    idea, progression = ideas[number - 1], ideas.progression
    why = reasons(progression, idea.phrase)
    by_note = [f"bar {note.bar}: {sentence}" for note, sentence in zip(idea.notes, why, strict=True)]
    heading = (
        f"{chart_heading(progression)}, {ideas.rhythm} at {ideas.tempo} quarter notes a minute, level {ideas.level}, "
        f"idea {number} of {len(ideas)}"
    )
    sections = [
        wrapped(heading, width),
        "\n".join(
            [f"{idea.rank:>4}  {idea.score:.3f}  {idea.shape}", *staff(idea.notes, progression, width)]
        ),
        *_section("Note by note", by_note, width),
        *_section("Why it ranks there", ranking(idea, ideas), width),
    ]
    return "\n\n".join(sections) + "\n"


# Plain dictionaries


def check_document(report: Report) -> dict[str, Any]:
    """A report as plain dictionaries and lists.

    Onsets and durations are quarter notes from the start of the phrase, beats count from 1; `note` of a fault and
    `changed` of a mend count notes from 0. A fault's kind is clash, style or level; `right` says that nothing clashes, in a
    strict check that there is no fault. A note's role is empty if no rule justifies the note, its kind if textbooks have no
    name for it. `tempo` and `lowest` are null if they weren't requested.
    """
    chart = chart_document(report.progression, report.tempo or 0)
    notes = zip(report.notes, report.names, report.reasons, strict=True)
    return {
        "chart": {**chart, "tempo": report.tempo},
        "level": report.level,
        "lowest": report.lowest,
        "verdict": report.verdict,
        "right": report.right,
        "reading": list(report.reading),
        "text": phrase_text(report.phrase, report.progression, [note.name for note in report.notes]),
        "notes": [_note(report.progression, *each) for each in notes],
        "faults": [_fault(fault) for fault in report.faults],
        "mend": _mend_document(report.mend),
        "holds": [{"rule": kind, "says": statement} for kind, statement in report.holds],
        "remarks": list(report.remarks),
        "works": list(report.works),
    }


def _note(progression: Progression, note: IdeaNote, kind: str, why: str) -> dict[str, Any]:
    return {
        "bar": note.bar,
        "beat": beat_number(progression.timeline, note.note.onset),
        **note_document(note),
        "role": note.role,
        "kind": kind,
        "degree": note.degree,
        "finger": note.finger,
        "why": why,
    }


def _fault(fault: Fault) -> dict[str, Any]:
    return {
        "kind": fault.kind,
        "rule": fault.rule,
        "note": fault.index,
        "bar": fault.bar,
        "beat": fault.beat,
        "name": fault.name,
        "what": fault.sentence,
        "says": fault.says,
        "reason": fault.reason,
    }


def _mend_document(mend: Mend | None) -> dict[str, Any] | None:
    if mend is None:
        return None
    return {
        "text": mend.text,
        "changed": list(mend.changed),
        "pitches": [note.midi for note in mend.notes],
        "sentences": list(mend.sentences),
    }
