"""The data of a page as plain values for JSON: chords, strokes before swing, ideas with their pictures, other keys."""

from __future__ import annotations

import hashlib
import json
import xml.etree.ElementTree as ET
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from typing import Any

from fillgen.chart.progression import Progression
from fillgen.chart.text import chart_text
from fillgen.engine.request import seconds_of
from fillgen.errors import printable
from fillgen.hands.closing import closed_ideas, slowing
from fillgen.hands.fingering import difficulty
from fillgen.hands.instruments import PART_SETUPS, program, sound_names
from fillgen.hands.playing import PARTS, Playing, check_playing
from fillgen.hands.reach import reach
from fillgen.hands.stroke import Stroke
from fillgen.hands.take import Ensemble, Take, clicks, swing_of
from fillgen.page.keys import SHIFTS, can_move, chords_at
from fillgen.page.systems import engraved
from fillgen.phrase.idea import Idea, IdeaNote, Ideas
from fillgen.sound.synth.recipes import DRUMS, recipes, shared_words, voice_of
from fillgen.tables import table
from fillgen.teaching.cautions import CAUTIONS
from fillgen.teaching.sentences import reasons
from fillgen.theory.metre import TICKS
from fillgen.theory.pitch import key_at
from fillgen.vary.transposition import ideas_at
from fillgen.version import __version__
from fillgen.writers.document import chart_document, note_document
from fillgen.writers.entry import SheetEntry, about, entries_of, in_words, score_of
from fillgen.writers.musicxml import harmony_element
from fillgen.writers.notation import Score, ScoreBar, ScoreSymbol, note_ids

FORMAT = 1
"""The version of the data format."""
Strokes = list[list[int]]
"""Rows of tick, ticks of length, MIDI pitch and velocity."""


class Stage:
    """All data of a page for some ideas; whatever they share is computed once.

    `playing` is how the page plays at first; repeats and a second set of voicings are up to the page. Its
    strokes are as loud as they are played, at the places where they are written. OptionError
    for an invalid way of playing or sound.

    >>> import fillgen
    >>> stage = Stage(fillgen.ideas("| C | G7 |", count=1))
    >>> stage.whole()["key"], stage.whole()["keys"][0]
    ('C major', {'name': 'G major', 'shift': -5})
    """

    def __init__(
        self, ideas: Ideas, playing: Playing | None = None, sounds: Mapping[str, str] | None = None
    ) -> None:
        self.playing = playing or Playing()
        self.ideas = closed_ideas(ideas, self.playing.close)
        self.sounds = dict(sounds or {})
        check_playing(self.playing)
        exact = replace(self.playing, parts=PARTS, times=1, second_set=False, count_in=False, swing=1.0)
        self._ensemble = Ensemble(ideas, exact, on_paper=True)
        self._without_bass = Ensemble(ideas, replace(exact, parts=("left",)), on_paper=True)
        self._written = {idea.rank: idea for idea in self.ideas}
        self._entries = dict(
            zip(self._written, entries_of(self.ideas, self.playing.swing, self.playing), strict=True)
        )

    @property
    def progression(self) -> Progression:
        return self.ideas.progression

    @cached_property
    def _first_take(self) -> Take | None:
        return self._ensemble.take(self.ideas[0]) if len(self.ideas) else None

    @property
    def _passes(self) -> int:
        return len(self._first_take.chords) // len(self.progression.spans) if self._first_take else 1

    # All ideas together

    def whole(self) -> dict[str, Any]:
        """The data that all ideas share, without the ideas."""
        ideas, progression = self.ideas, self.progression
        metre = progression.metre
        found = {
            "format": FORMAT,
            "version": __version__,
            "title": printable(progression.title),
            "about": self._about(progression),
            **chords_document(progression, ideas.tempo),
            "metre": metre.name,
            "ticks": TICKS,
            "bar_ticks": metre.bar,
            "beat_ticks": metre.beat,
            **_metres(progression),
            "first": progression.first,
            "passes": self._passes,
            "length": self._first_take.length if self._first_take else progression.length,
            "tempo": ideas.tempo,
            "swing": self._swing(),
            "rhythm": ideas.rhythm,
            "level": ideas.level,
            "seed": ideas.seed,
            "hand": ideas.hand,
            "count": len(ideas),
            "remarks": [remark.text for remark in ideas.remarks],
            "keys": self.keys(),
            "parts": self._parts(),
            "playing": {"parts": list(self.playing.parts), "count_in": self.playing.count_in},
            "second": self.playing.second,
            "clicks": rows(clicks(metre)),
            "backing": self._backing(),
            "sounds": offered_sounds(),
            "cautions": list(CAUTIONS),
        }
        return {"id": _digest(found), **found}

    def keys(self) -> list[dict[str, Any]]:
        """The keys to choose from, with the semitones to each; only the page's own if notes would leave the MIDI range."""
        shifts = SHIFTS if can_move(self.ideas.ideas) else (0,)
        return [{"name": str(key_at(self.progression.key, shift)), "shift": shift} for shift in shifts]

    def _about(self, progression: Progression) -> str:
        first = next(iter(self._entries.values()), None)
        return about(replace(first, progression=progression)) if first is not None else ""

    def _swing(self) -> dict[str, Any]:
        """How the ratio of swung eighths follows from the tempo, or the `fixed` ratio."""
        swing = table("swing")
        chosen = self.playing.swing
        follows = chosen is None and self.ideas.swing and self.progression.metre.beat % TICKS == 0
        return {
            "fixed": None if follows else swing_of(self.ideas, chosen),
            "short": swing["short-note"],
            "largest": swing["largest"],
            "smallest": swing["smallest"],
        }

    def _parts(self) -> list[dict[str, Any]]:
        found = []
        for part in PARTS:
            setup = PART_SETUPS[part]
            sound = self.sounds.get(part, setup.sound)
            found.append(
                {
                    "part": part,
                    "name": setup.name,
                    "channel": setup.channel,
                    "volume": setup.volume,
                    "pan": setup.pan,
                    "sound": sound_names()[program(sound)] if sound else "",
                    "program": program(sound) if sound else 0,
                    "voice": voice_of(sound) if sound else DRUMS,
                }
            )
        return found

    def _backing(self) -> dict[str, Any]:
        """The strokes of the other parts by what ideas have in common: where they close, and for the left hand their
        lowest note.
        """
        closing = {self._stop(idea): idea for idea in reversed(self.ideas.ideas)}
        found: dict[str, Any] = {
            part: {stop: rows(self._ensemble.take(closing[stop]).strokes[part]) for stop in sorted(closing)}
            for part in ("bass", "drums")
        }
        lowest = {self._under(idea): idea for idea in reversed(self.ideas.ideas)}
        found["left"] = {under: self._left(lowest[under]) for under in sorted(lowest)}
        return found

    def _stop(self, idea: Idea) -> str:
        return str(self._ensemble.stop(idea.phrase))

    def _under(self, idea: Idea) -> str:
        return f"{idea.lowest}@{self._stop(idea)}"

    def _left(self, idea: Idea) -> dict[str, Strokes]:
        """The left hand under an idea, where a bass has the roots and where it plays by itself."""
        ways = {"with_bass": self._ensemble, "alone": self._without_bass}
        return {way: rows(ensemble.take(idea).strokes["left"]) for way, ensemble in ways.items()}

    def _slowing(self, idea: Idea) -> list[list[float]]:
        """Where the tempo of an idea changes, in ticks of the take, and the share of it that holds from there on."""
        start = (self._passes - 1) * self.progression.length
        shares = slowing(self.progression, idea.phrase) if self.playing.slow_down else ()
        return [[start + tick, share] for tick, share in shares]

    # Ideas

    def idea(self, idea: Idea) -> dict[str, Any]:
        """One idea with its picture, and the glyphs of the picture."""
        found = self.some([idea])
        return {**found["ideas"][0], "glyphs": found["glyphs"]}

    def some(self, ideas: Sequence[Idea]) -> dict[str, Any]:
        """Some ideas with their pictures, and the glyphs of all of them."""
        ideas = [self._written[idea.rank] for idea in ideas]
        entries = [self._entries[idea.rank] for idea in ideas]
        scores = [_score(entry) for entry in entries]
        drawn = engraved(scores)
        documents = [self._document(*each) for each in zip(ideas, entries, scores, strict=True)]
        for document in documents:
            document["systems"] = list(drawn.systems[document["id"]])
        return {"ideas": documents, "glyphs": dict(drawn.glyphs)}

    def _document(self, idea: Idea, entry: SheetEntry, score: Score) -> dict[str, Any]:
        return {
            "id": entry.name,
            "rank": idea.rank,
            "score": idea.score,
            "shape": idea.shape,
            "form": idea.form,
            "density": round(len(idea.notes) / len(self.progression.bars), 3),
            "hard": self._hard(idea, entry.swing),
            "text": idea.text,
            "words": printable(in_words(entry)),
            "terms": dict(idea.terms),
            "notes": [_note(note, ids) for note, ids in zip(idea.notes, note_ids(score), strict=True)],
            "strokes": self._right(idea),
            "left": self._under(idea),
            "stop": self._stop(idea),
            "slowing": self._slowing(idea),
            "written": _written(score, self.progression),
            "signs": _signs(score),
            "below": _below(idea),
        }

    def _hard(self, idea: Idea, swing: float) -> float:
        onsets = [each.note.onset for each in idea.notes]
        seconds = seconds_of(onsets, self.ideas.tempo, swing)
        return round(difficulty([each.note.midi for each in idea.notes], seconds, reach(self.ideas.hand)), 3)

    def _right(self, idea: Idea) -> Strokes:
        """The strokes of an idea, each with the number of its note."""
        number = {each.note.onset: index for index, each in enumerate(idea.notes)}
        once = self.progression.length
        strokes = self._ensemble.take(idea).strokes["right"]
        return [
            [*row, number[stroke.tick % once]] for row, stroke in zip(rows(strokes), strokes, strict=True)
        ]

    def reasons(self, idea: Idea) -> list[str]:
        """For each note of an idea why it fits, in a sentence or two."""
        return list(reasons(self.progression, self._written[idea.rank].phrase))

    # Other keys

    def look(self, shift: int, ideas: Sequence[Idea] | None = None) -> dict[str, Any]:
        """Some ideas, or all, in the key `shift` semitones away: pictures with the same ids, names and fingers."""
        chosen = self.ideas.ideas if ideas is None else tuple(self._written[idea.rank] for idea in ideas)
        progression = chords_at(self.progression, shift)
        moved = ideas_at(chosen, progression, shift, self.ideas.hand)
        scores = [
            _score(
                replace(
                    self._entries[idea.rank], progression=progression, notes=idea.notes, second=idea.second
                )
            )
            for idea in moved
        ]
        drawn = engraved(scores)
        looks = {
            score.id: {
                "names": [each.name for each in idea.notes],
                "fingers": [each.finger for each in idea.notes],
                "signs": _signs(score),
                "below": _below(idea),
                "systems": list(drawn.systems[score.id]),
            }
            for score, idea in zip(scores, moved, strict=True)
        }
        chords = chords_document(progression, self.ideas.tempo)
        head = {"shift": shift, "about": self._about(progression), **chords}
        return {**head, "glyphs": dict(drawn.glyphs), "ideas": looks}


def chords_document(progression: Progression, tempo: int) -> dict[str, Any]:
    """The chords of a page in one key; `harmonies` are those of MusicXML, one for each chord."""
    chart = chart_document(progression, tempo)
    return {
        "chart": chart_text(progression),
        "key": chart["key"],
        "heard": progression.keys_in_words,
        "fifths": progression.key.fifths,
        "bars": chart["bars"],
        "spans": [[span.onset, span.length, span.chord.symbol] for span in progression.spans],
        "harmonies": [
            ET.tostring(harmony_element(span.chord), encoding="unicode") for span in progression.spans
        ],
    }


def _metres(progression: Progression) -> dict[str, Any]:
    """Where bars have several metres: the tick at which each begins, and its metre."""
    if not progression.metres:
        return {}
    return {"metres": [[progression.start_of(bar), own.name] for bar, own in enumerate(progression.metres)]}


def offered_sounds() -> list[dict[str, Any]]:
    """A General MIDI sound for each voice, the one with the most similar name, ordered by number.

    >>> [offered["sound"] for offered in offered_sounds()][:3]
    ['Acoustic Grand Piano', 'Electric Piano 1', 'Vibraphone']
    """
    known = recipes()
    best: dict[str, tuple[int, int, str]] = {}
    for number, sound in enumerate(sound_names()):
        voice = voice_of(sound)
        if voice in known:
            rank = (-shared_words(sound, voice), number, sound)
            best[voice] = min(best.get(voice, rank), rank)
    ordered = sorted((number, sound, voice) for voice, (_, number, sound) in best.items())
    return [{"sound": sound, "program": number, "voice": voice} for number, sound, voice in ordered]


def rows(strokes: Iterable[Stroke]) -> Strokes:
    """Strokes as rows of numbers."""
    return [[s.tick, s.length, s.midi, s.velocity] for s in strokes]


def json_text(document: object) -> str:
    """A document as compact JSON that is safe inside a page."""
    text = json.dumps(document, ensure_ascii=False, separators=(",", ":"))
    for letter, written in (("<", "\\u003c"), ("\u2028", "\\u2028"), ("\u2029", "\\u2029")):
        text = text.replace(letter, written)
    return text


def _digest(document: object) -> str:
    return hashlib.sha256(json_text(document).encode()).hexdigest()[:16]


def _below(idea: Idea) -> list[list[list[Any]]]:
    """The notes struck with each note of an idea, from the highest down, each as its name and its finger; [] where it has none."""
    return [[[each.name, each.finger] for each in low] for low in idea.below()] if idea.second else []


def _note(note: IdeaNote, ids: Sequence[str]) -> dict[str, Any]:
    return {
        **note_document(note),
        "degree": note.degree,
        "role": note.role,
        "finger": note.finger,
        "ids": list(ids),
    }


# Notation


def _score(entry: SheetEntry) -> Score:
    """An entry as a score with fingers, without the heading, which the page shows itself."""
    return score_of(replace(entry, heading=""))


def _signs(score: Score) -> list[str]:
    """The printed accidentals of each written part of a note and of those struck with it, with commas between them.

    A courtesy is in brackets.
    """
    symbols = [each.symbol for bar in score.bars for each in bar.staves[0] if not each.symbol.is_rest]
    return [
        ",".join(
            sign or (f"({courtesy})" if courtesy else "")
            for sign, courtesy in zip(symbol.accidentals, symbol.courtesies, strict=True)
        )
        for symbol in symbols
    ]


def _written(score: Score, progression: Progression) -> list[dict[str, Any]]:
    """The bars of a score as rows, with their symbols and chords."""
    note, at = -1, progression.length - sum(bar.length for bar in score.bars)
    bars = []
    for bar in score.bars:
        symbols = []
        for each in bar.staves[0]:
            note += not each.symbol.is_rest and not each.symbol.tied_from
            symbols.append(_row(each, note))
        bars.append(
            {
                "number": bar.number,
                "length": bar.length,
                "short": score.is_short(bar),
                **({"slows": bar.slows} if bar.slows is not None else {}),
                **({"metre": score.metre_of(bar).name} if progression.metres else {}),
                "symbols": symbols,
                "chords": _chords(bar, at, progression),
            }
        )
        at += bar.length
    return bars


def _row(each: ScoreSymbol, note: int) -> list[Any]:
    symbol = each.symbol
    return [
        symbol.tick,
        symbol.length,
        symbol.letters,
        -1 if symbol.is_rest else note,
        int(symbol.tied_from),
        int(symbol.tied_to),
        list(symbol.beams),
        symbol.group,
        *([each.close] if each.close else []),
    ]


def _chords(bar: ScoreBar, start: int, progression: Progression) -> list[list[int]]:
    """The chords over a bar: the tick of the bar, and the number of the chord in the progression."""
    numbers = {span.onset: number for number, span in enumerate(progression.spans)}
    sounding = {number for number, span in enumerate(progression.spans) if span.onset <= start < span.end}
    return [[tick, numbers.get(start + tick, min(sounding, default=0))] for tick, _ in bar.chords]
