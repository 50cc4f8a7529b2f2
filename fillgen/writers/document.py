"""Ideas as JSON: the keys that other programs may rely on."""

from __future__ import annotations

import json
from typing import Any

from fillgen.chart.progression import Progression, Span
from fillgen.phrase.idea import Idea, IdeaNote, Ideas
from fillgen.teaching.ranking import ranking
from fillgen.teaching.sentences import reasons
from fillgen.theory.metre import TICKS


def to_json(ideas: Ideas) -> str:
    """Ideas with their chart as JSON text. Onsets and durations are quarter notes, straight (before swing)."""
    return json.dumps(document(ideas), ensure_ascii=False, indent=1) + "\n"


def document(ideas: Ideas) -> dict[str, Any]:
    """Ideas with their chart as plain dictionaries and lists."""
    return {
        "chart": chart_document(ideas.progression, ideas.tempo),
        "rhythm": ideas.rhythm,
        "level": ideas.level,
        "space": {"phrases": ideas.phrases, "rhythms": ideas.rhythms, "returning": ideas.returning},
        "seed": ideas.seed,
        "ranked_by": "taste" if ideas.usual else "default",
        "weights": dict(ideas.weights),
        "remarks": [remark.text for remark in ideas.remarks],
        "ideas": [_idea(idea, ideas) for idea in ideas],
    }


def chart_document(progression: Progression, tempo: int) -> dict[str, Any]:
    """A progression as plain dictionaries; a chord's onset counts from the start of its bar.

    A bar has its `section` where the chart names sections, and its `metre` where bars have several; a chord is `proposed`
    where it was found for a tune's notes.
    """
    bars = [
        {
            "bar": index + progression.first,
            **({"section": section} if (section := progression.section_of(index)) else {}),
            **({"metre": progression.metre_of(index).name} if progression.metres else {}),
            "chords": [_chord(span, bar[0].onset) for span in bar],
        }
        for index, bar in enumerate(progression.bars)
    ]
    return {"key": str(progression.key), "metre": progression.metre.name, "tempo": tempo, "bars": bars}


def _chord(span: Span, start: int) -> dict[str, Any]:
    return {
        "symbol": span.chord.symbol,
        "onset": quarters(span.onset - start),
        "duration": quarters(span.length),
        "tones": [str(tone.name) for tone in span.chord.tones],
        "key": str(span.key),
        **({"proposed": True} if span.proposed else {}),
    }


def _idea(idea: Idea, ideas: Ideas) -> dict[str, Any]:
    why = reasons(ideas.progression, idea.phrase)
    return {
        "rank": idea.rank,
        "score": idea.score,
        "terms": dict(idea.terms),
        "shape": idea.shape,
        "form": idea.form,
        "text": idea.text,
        "notes": [{**_idea_note(note), "why": each} for note, each in zip(idea.notes, why, strict=True)],
        **({"second": [_idea_note(note) for note in idea.second]} if idea.second else {}),
        "why": list(ranking(idea, ideas)),
    }


def _idea_note(note: IdeaNote) -> dict[str, Any]:
    return {**note_document(note), "role": note.role, "degree": note.degree, "finger": note.finger}


def note_document(note: IdeaNote) -> dict[str, Any]:
    """When and where a note sounds, as plain values: bar, onset and duration in quarter notes, pitch and name."""
    return {
        "bar": note.bar,
        "onset": quarters(note.note.onset),
        "duration": quarters(note.note.length),
        "midi": note.note.midi,
        "name": note.name,
    }


def quarters(ticks: int) -> int | float:
    """Ticks as quarter notes; a whole number of them is an int."""
    whole, rest = divmod(ticks, TICKS)
    return whole if not rest else round(ticks / TICKS, 6)
