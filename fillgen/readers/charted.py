"""The bars of a tune as a chart: the chords written in it, those given for it, or those proposed for its notes."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from itertools import accumulate

from fillgen.chart.progression import Progression, Span, laid, where_differing
from fillgen.chart.text import parse_chart
from fillgen.errors import TuneError
from fillgen.phrase.note import Note
from fillgen.readers.symbols import has_chords, rows_of
from fillgen.readers.tunes import Tune, stretches
from fillgen.teaching.harmony import MelodyBar, proposed
from fillgen.theory.chords import Chord
from fillgen.theory.metre import Metre
from fillgen.theory.pitch import Key
from fillgen.theory.tonality import keys_of

_Row = Sequence[tuple[Chord, int]]
_ALL_PROPOSED = (
    "the tune has no chord symbols, so chords are proposed, in brackets on a sheet. --chords sets your own."
)
_SOME_PROPOSED = (
    "the chord symbols begin in bar {}: chords are proposed for the bars before, in brackets on a sheet."
)


def body_of(tune: Tune, chords: str | None = None) -> Progression:
    """The full bars of a tune as a progression; `chords` is chart text that replaces the tune's own.

    Bars before the first chord symbol get chords that are proposed, each span marked as such; so do all bars of a tune
    without any. Raises TuneError if the chart text has other bars than the tune.
    """
    if chords is not None:
        return _given(tune, chords)
    first = _first_bar(tune)
    bare = sorted(set(tune.written_bars[: tune.bars if first is None else first]))
    rows: list[_Row] = []
    if first is not None:
        rows += rows_of(tune.chords, tune.timeline, tune.bars, tune.pickup)
    then = next((chord for _, chord in tune.chords if chord.root is not None), None)
    found = _proposals(tune, bare, then)
    marked = {bar for bar, number in enumerate(tune.written_bars) if number in found}
    rows = [found[tune.written_bars[bar]] if bar in marked else rows[bar] for bar in range(tune.bars)]
    remarks = [_ALL_PROPOSED] if first is None else [_SOME_PROPOSED.format(first + 1)] if first else []
    return _progression(tune, rows, marked, remarks)


def _first_bar(tune: Tune) -> int | None:
    """The bar in which the first chord symbol is, counted from 0; None if there is none."""
    if not has_chords(tune.chords):
        return None
    return max(0, tune.timeline.index(max(0, tune.chords[0][0] - tune.pickup)))


def _progression(
    tune: Tune, rows: Sequence[_Row], marked: Collection[int] = (), remarks: Sequence[str] = ()
) -> Progression:
    """Chords for every bar of a tune as a progression, some bars marked as proposed."""
    spans = laid(rows, _heard_keys(rows, tune.bar_keys))
    bars = tuple(
        tuple(replace(span, proposed=True) for span in bar) if number in marked else bar
        for number, bar in enumerate(spans)
    )
    metres = where_differing(tune.bar_metres, tune.metre)
    return Progression(tune.metre, tune.key, bars, tune.title, remarks=tuple(remarks), metres=metres)


def _heard_keys(rows: Sequence[_Row], signed: Sequence[Key]) -> list[Key]:
    """The key at each chord: read anew from each change of the signature on."""
    found: list[Key] = []
    for stretch in stretches(signed):
        chords = [chord for bar in stretch for chord, _ in rows[bar]]
        home = signed[stretch[0]]
        silent = all(chord.root is None for chord in chords)
        found += [home] * len(chords) if silent else keys_of(chords, home=home)
    return found


# Chords given


def _given(tune: Tune, text: str) -> Progression:
    """Chart text for the bars of a tune, as they are played or as they are written."""
    given = parse_chart(text, key=tune.key, metre=tune.metre)
    bars = _played_bars(given, tune)
    if len(set(tune.bar_keys)) == len(set(tune.bar_metres)) == 1:
        return replace(given, bars=_from_start(bars, tune), title=tune.title)
    rows = [_resized(bar, tune.bar_metres[number], number) for number, bar in enumerate(bars)]
    return replace(_progression(tune, rows), sections=given.sections, remarks=given.remarks)


def _played_bars(given: Progression, tune: Tune) -> list[tuple[Span, ...]]:
    """The bars of a chart for each bar of the tune as it is played; the chart may have them as they are written."""
    written = max(tune.written_bars) + 1
    if len(given.bars) not in (tune.bars, written):
        as_written = f"{written}, {tune.bars} with repeats" if tune.bars != written else str(written)
        raise TuneError(
            f"--chords has {len(given.bars)} bars, the tune {as_written}", hint="Give one for each bar."
        )
    places = range(tune.bars) if len(given.bars) == tune.bars else tune.written_bars
    if given.metres and any(
        given.metre_of(at) != own for at, own in zip(places, tune.bar_metres, strict=True)
    ):
        theirs = Progression(tune.metre, tune.key, (), metres=where_differing(tune.bar_metres, tune.metre))
        raise TuneError(
            f"--chords is in {given.metres_in_words}, the tune in {theirs.metres_in_words}",
            hint="Give every bar the metre of the tune.",
        )
    return [given.bars[at] for at in places]


def _from_start(bars: Sequence[tuple[Span, ...]], tune: Tune) -> tuple[tuple[Span, ...], ...]:
    """Bars one after another, each at its place in the tune."""
    starts = [tune.timeline.start(number) for number in range(len(bars))]
    return tuple(
        tuple(replace(span, onset=span.onset + start - bar[0].onset) for span in bar)
        for start, bar in zip(starts, bars, strict=True)
    )


def _resized(bar: Sequence[Span], metre: Metre, number: int) -> _Row:
    """The chords of a bar in a bar of another length: in whole beats, as evenly as they go, the first the longest."""
    if sum(span.length for span in bar) == metre.bar:
        return [(span.chord, span.length) for span in bar]
    beats, more = divmod(metre.beats, len(bar))
    if not beats:
        raise TuneError(f"--chords has {len(bar)} chords in bar {number + 1}, which has {metre.beats} beats")
    return [(span.chord, (beats + (n < more)) * metre.beat) for n, span in enumerate(bar)]


# Chords proposed


def _proposals(tune: Tune, numbers: Sequence[int], then: Chord | None) -> dict[int, _Row]:
    """Chords for some bars by their numbers as they are written, each bar having the notes of its first time through."""
    places = [tune.written_bars.index(number) for number in numbers]
    heard = [MelodyBar(tune.bar_metres[bar], tune.bar_keys[bar], _notes_in(tune, bar)) for bar in places]
    return dict(zip(numbers, proposed(heard, then), strict=True))


def _notes_in(tune: Tune, bar: int) -> tuple[Note, ...]:
    """What sounds in a bar as it is played, in ticks from its start."""
    start = tune.pickup + tune.timeline.start(bar)
    end = start + tune.timeline.size(bar)
    return tuple(
        Note(max(note.onset, start) - start, min(note.end, end) - max(note.onset, start), note.midi)
        for note in tune.notes
        if note.onset < end and note.end > start
    )


def proposed_in(tune: Tune, body: Progression) -> tuple[tuple[tuple[int, Chord], ...], ...]:
    """For each written measure the chords that are proposed in it, with their ticks from its start."""
    starts = accumulate((tune.measures[place] for place in tune.order), initial=-tune.pickup)
    first: dict[int, int] = {}
    for place, start in zip(tune.order, starts, strict=False):
        first.setdefault(place, start)
    spans = [span for span in body.spans if span.proposed]
    return tuple(
        tuple(
            (span.onset - first[place], span.chord)
            for span in spans
            if place in first and first[place] <= span.onset < first[place] + length
        )
        for place, length in enumerate(tune.measures)
    )
