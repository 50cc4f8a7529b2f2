"""A checked phrase, and an explained idea, as text and as plain dictionaries."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Any

from fillgen.chart.progression import Progression
from fillgen.errors import OptionError
from fillgen.phrase.idea import IdeaNote, Ideas
from fillgen.phrase.text import phrase_text
from fillgen.teaching.check import Report
from fillgen.teaching.faults import Fault
from fillgen.teaching.mend import Mend
from fillgen.teaching.ranking import ranking
from fillgen.teaching.sentences import reasons
from fillgen.teaching.words import beat_number, beat_words
from fillgen.writers.document import chart_document, quarters
from fillgen.writers.text import staff

_INDENT = "  "
_NARROWEST = 40


# Text


def check_text(report: Report, width: int = 100) -> str:
    """A report as text of about a width in characters: verdict, how the phrase was read, staff, faults, mend, and at the end what works.

    >>> from fillgen.teaching.check import check
    >>> from fillgen.chart.text import parse_chart
    >>> from fillgen.phrase.text import parse_phrase
    >>> from fillgen.rules.pack import RulePack
    >>> chart = parse_chart("| C |", key="C")
    >>> report = check(chart, parse_phrase("C5q D5q G5h", chart.metre), RulePack().level(3))
    >>> print(check_text(report).split("  The rule")[0].rstrip())
    C major, 4/4, level 3 (passing notes)
    2 notes break the rules of level 3.
    <BLANKLINE>
      beat | 1   2   3   4 |
     chord | C             |
     notes | C5q D5q G5h   |
           | 1   ?   5     |
    finger | 1   2   5     |
    <BLANKLINE>
    What breaks the rules
      bar 1, beat 2: D5
        non-chord-note: D5 on beat 2 is outside C, is reached by step from C5 and left by a leap to G5; it
          could go to C5 or E5.
    """
    sections = [
        "\n".join(
            [_heading(report), _verdict(report), *(_wrapped(line, 0, width) for line in report.reading)]
        ),
        "\n".join(staff(report.notes, report.progression, width)),
        *_faults(report, width),
        *_mend(report.mend, width),
        *_section("What holds", [f"{kind}: {told}" for kind, told in report.holds], width),
        *_section("Note by note", list(_by_bar(report)), width),
        *_section("Also", report.remarks, width),
        *_section("What works", report.works, width),
    ]
    return "\n\n".join(sections) + "\n"


def _heading(report: Report) -> str:
    return f"{_chart_words(report.progression)}, level {report.level} ({report.level_name})"


def _chart_words(progression: Progression) -> str:
    title = f"{progression.title}: " if progression.title else ""
    return f"{title}{progression.key}, {progression.metre.name}"


def _verdict(report: Report) -> str:
    wrong = len({fault.index for fault in report.faults})
    if not wrong:
        return f"The phrase keeps every rule of level {report.level}."
    return f"{wrong} note{' breaks' if wrong == 1 else 's break'} the rules of level {report.level}."


def _section(title: str, lines: Sequence[str], width: int) -> list[str]:
    """A title with its lines below it; nothing where there are none."""
    return ["\n".join([title, *(_wrapped(line, 1, width) for line in lines)])] if lines else []


def _wrapped(line: str, depth: int, width: int) -> str:
    """A line indented so many times, and once more where it runs on."""
    first = _INDENT * depth
    return textwrap.fill(
        line,
        max(_NARROWEST, width),
        initial_indent=first,
        subsequent_indent=first + _INDENT,
        break_long_words=False,
        break_on_hyphens=False,
    )


def _faults(report: Report, width: int) -> list[str]:
    """The faults note by note: what is wrong with it, and why the rule is asked."""
    if not report.faults:
        return []
    lines = ["What breaks the rules"]
    explained: set[str] = set()
    for _, group in groupby(report.faults, key=lambda fault: fault.index):
        notes = list(group)
        first = notes[0]
        beat = beat_words(report.progression.metre, report.notes[first.index].note.onset)
        lines.append(f"{_INDENT}bar {first.bar}, {beat}: {first.name}")
        for sentence in dict.fromkeys(fault.sentence for fault in notes):
            broken = [fault for fault in notes if fault.sentence == sentence]
            kinds = ", ".join(fault.kind for fault in broken)
            lines.append(_wrapped(f"{kinds}: {sentence}", 2, width))
            lines += [_wrapped(line, 2, width) for line in _asked(broken, explained)]
    return ["\n".join(lines)]


def _asked(broken: Sequence[Fault], explained: set[str]) -> Iterator[str]:
    """What broken rules ask and why, where it has not been said yet."""
    for fault in broken:
        if fault.kind not in explained:
            explained.add(fault.kind)
            yield f"The rule: {fault.says} {fault.reason}"


def _mend(mend: Mend | None, width: int) -> list[str]:
    if mend is None:
        return []
    count = len(mend.changed)
    lines = [
        f"The smallest change that mends it: {count} note{'' if count == 1 else 's'}",
        _INDENT + mend.text,
        *(_wrapped(sentence, 1, width) for sentence in mend.sentences),
    ]
    return ["\n".join(lines)]


def _by_bar(report: Report) -> Iterator[str]:
    for told, reason in zip(report.notes, report.reasons, strict=True):
        yield f"bar {told.bar}: {reason}"


# An idea explained


def explain_text(ideas: Ideas, number: int, width: int = 100) -> str:
    """One of the ideas shown, counted from 1, as text: its staff, its notes one by one, and why it ranks there.

    Raises OptionError for a number that is not shown.

    >>> import fillgen
    >>> found = fillgen.ideas("| C | G7 |", level=1, count=2)
    >>> print(explain_text(found, 1).split("Why it ranks")[0].splitlines()[0])
    C major, 4/4, foxtrot at 116 quarter notes a minute, level 1, idea 1 of 2
    """
    if not 1 <= number <= len(ideas):
        raise OptionError(f"there is no idea {number}", hint=f"The ideas shown are 1 to {len(ideas)}.")
    idea, progression = ideas[number - 1], ideas.progression
    why = reasons(progression, idea.phrase)
    told = [f"bar {note.bar}: {sentence}" for note, sentence in zip(idea.notes, why, strict=True)]
    heading = (
        f"{_chart_words(progression)}, {ideas.rhythm} at {ideas.tempo} quarter notes a minute, level {ideas.level}, "
        f"idea {number} of {len(ideas)}"
    )
    sections = [
        heading,
        "\n".join(
            [f"{idea.rank:>4}  {idea.score:.3f}  {idea.shape}", *staff(idea.notes, progression, width)]
        ),
        *_section("Note by note", told, width),
        *_section("Why it ranks there", ranking(idea, ideas), width),
    ]
    return "\n\n".join(sections) + "\n"


# Plain dictionaries


def check_document(report: Report) -> dict[str, Any]:
    """A report as plain dictionaries and lists.

    Onsets and durations are quarter notes from the start of the phrase, beats count from 1; `note` of a fault and
    `changed` of a mend count notes from 0. A role is empty where no rule justifies the note, a kind where textbooks have
    no name for it. `tempo` and `lowest` are null where they were not asked for.
    """
    chart = chart_document(report.progression, report.tempo or 0)
    notes = zip(report.notes, report.names, report.reasons, strict=True)
    return {
        "chart": {**chart, "tempo": report.tempo},
        "level": report.level,
        "lowest": report.lowest,
        "right": report.right,
        "reading": list(report.reading),
        "text": phrase_text(report.phrase, report.progression, [told.name for told in report.notes]),
        "notes": [_note(report.progression, *each) for each in notes],
        "faults": [_fault(fault) for fault in report.faults],
        "mend": _mend_document(report.mend),
        "holds": [{"rule": kind, "says": told} for kind, told in report.holds],
        "remarks": list(report.remarks),
        "works": list(report.works),
    }


def _note(progression: Progression, told: IdeaNote, kind: str, why: str) -> dict[str, Any]:
    return {
        "bar": told.bar,
        "beat": beat_number(progression.metre, told.note.onset),
        "onset": quarters(told.note.onset),
        "duration": quarters(told.note.length),
        "midi": told.note.midi,
        "name": told.name,
        "role": told.role,
        "kind": kind,
        "degree": told.degree,
        "finger": told.finger,
        "why": why,
    }


def _fault(fault: Fault) -> dict[str, Any]:
    return {
        "rule": fault.kind,
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
