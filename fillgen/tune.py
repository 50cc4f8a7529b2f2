"""The best intros and endings for a tune, and fills in it; the tune stays unchanged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import accumulate, pairwise

from fillgen.chart.progression import Progression, Span, cut_out, moved, where_differing
from fillgen.chart.sequences import Sequence as ChordSequence
from fillgen.chart.sequences import find, to_chord
from fillgen.chart.text import parse_chart
from fillgen.engine.generate import Gather, generate
from fillgen.engine.request import MOST_VERSIONS, Request
from fillgen.errors import FillgenError, NoPhraseError, OptionError, many
from fillgen.fills.choice import Fill, Filled, check_fill_request, fills_of
from fillgen.fills.fill import FillRequest, rhythm_in
from fillgen.fills.motif import beginning_with, motif_of
from fillgen.fills.rooms import Run
from fillgen.hands.closing import closed_idea
from fillgen.phrase.idea import Idea, IdeaNote, Ideas
from fillgen.phrase.note import Note, Phrase
from fillgen.readers.charted import body_of
from fillgen.readers.tunes import Tune
from fillgen.rules.pack import RulePack
from fillgen.theory.chords import Chord
from fillgen.theory.metre import Metre

_AT_HOME = 0.3
"""The weight of chords in the tune's own key against the right hand's score."""
_SIXTEENTH = 120
_GROUPS = {"intro": ("intro", "turnaround"), "ending": ("ending",)}
_BELOW, _ABOVE = 3, 16
"""The range in semitones around a low or high first note."""
_TRIED = 12
"""Ideas generated over each chord sequence, which is ranked by the best of them."""


@dataclass(frozen=True)
class TuneRequest:
    """A request: bars of intro and ending (0 for none), bars of the tune to quote in the ending, number of choices.

    `close` is how the ending's last note closes. `fills` are the options for fills, None for none; an intro `from_tune`
    begins with the tune's own motif.
    """

    tune: Tune
    intro: int = 4
    ending: int = 4
    quote: int = 0
    count: int = 1
    rhythm: str | None = None
    level: int | None = None
    busy: str | None = None
    tempo: int | None = None
    seed: int = 0
    chords: str | None = None
    close: str | None = None
    fills: FillRequest | None = None
    from_tune: bool = False
    pack: RulePack = field(default_factory=RulePack)

    def bars(self, purpose: str) -> int:
        """The new bars of an intro or ending, without those quoted from the tune."""
        return self.intro if purpose == "intro" else self.ending - self.quote


@dataclass(frozen=True)
class Piece:
    """A tune with its intro, its ending and its fills: all bars as one progression, and the right hand over them.

    `first` is the bar at which the tune begins, `last` the bar after its end, both counted from 0. `remarks` are about its
    fills.
    """

    ideas: Ideas
    first: int
    last: int
    intro: Idea | None
    ending: Idea | None
    names: tuple[str, str]
    quoted: int = 0
    close: str | None = None
    fills: tuple[Fill, ...] = ()
    remarks: tuple[str, ...] = ()

    @property
    def idea(self) -> Idea:
        return self.ideas[0]


def pieces(request: TuneRequest) -> tuple[Piece, ...]:
    """The tune with its best intros and endings, best first, each with fills of its own.

    Raises TuneError if the tune has no chords, OptionError if no sequence of that length fits.
    """
    _check(request)
    body = body_of(request.tune, request.chords)
    intros = _sections(request, body, "intro") if request.intro else [None]
    endings = _sections(request, body, "ending") if request.ending else [None]
    count = min(request.count, max(len(intros), len(endings)))
    return tuple(
        _joined(
            replace(request, seed=request.seed + n), body, intros[n % len(intros)], endings[n % len(endings)]
        )
        for n in range(count)
    )


def _check(request: TuneRequest) -> None:
    if not 1 <= request.count <= MOST_VERSIONS:
        raise OptionError(f"{request.count} versions", hint=f"Ask for 1 to {MOST_VERSIONS}.")
    for name, bars in (("intro", request.intro), ("ending", request.ending)):
        if not 0 <= bars <= 12:
            raise OptionError(f"an {name} of {bars} bars", hint="Give 0 (none) to 12 bars.")
    if not request.intro and not request.ending and request.fills is None:
        raise OptionError("both intro and ending have 0 bars", hint="Use --intro 4, --ending 4 or --fills.")
    if request.fills is not None:
        check_fill_request(request.fills)
    if request.from_tune and not request.intro:
        raise OptionError("no intro to make from the tune", hint="Use --intro 4.")
    if request.quote and not 0 < request.quote < request.ending:
        raise OptionError(
            f"{request.quote} bars to quote in an ending of {request.ending}",
            hint="Leave at least one bar of the ending after the quotation.",
        )
    if request.quote > request.tune.bars:
        raise OptionError(f"the tune has only {request.tune.bars} bars to quote")


# Intros and endings


@dataclass(frozen=True)
class _Section:
    """An intro or ending: its sequence, its progression and its best idea."""

    name: str
    progression: Progression
    idea: Idea

    @property
    def worth(self) -> float:
        """The idea's score, plus a bonus for chord tones in the tune's key."""
        inside = [
            tone.name.pitch_class in {name.pitch_class for name in span.key.scale}
            for span in self.progression.spans
            for tone in span.heard.tones
        ]
        return self.idea.score + _AT_HOME * sum(inside) / len(inside)


def _sections(request: TuneRequest, body: Progression, purpose: str) -> list[_Section]:
    """The best idea over each chord sequence that fits, best first."""
    bars = request.bars(purpose)
    found = []
    refused: list[FillgenError] = []
    for sequence in _sequences(purpose, bars, body):
        try:
            found.append(_section(request, body, purpose, sequence))
        except (OptionError, NoPhraseError) as error:
            refused.append(error)
    if not found and refused:
        raise refused[0]
    if not found:
        lengths = sorted({sequence.bars for sequence in _candidates(purpose, body)})
        hint = f"In {_side(body, purpose).metre.name} there are sequences of {', '.join(map(str, lengths))} bars."
        raise OptionError(f"no chord sequence fits an {purpose} of {many(bars, 'bar')}", hint=hint)
    return sorted(found, key=lambda section: (-section.worth, section.name))


def _side(body: Progression, purpose: str) -> Progression:
    """The bar of the tune that an intro leads to, or that an ending follows; it sets their metre."""
    first = 0 if purpose == "intro" else len(body.bars) - 1
    return cut_out(body, first, first + 1)


def _candidates(purpose: str, body: Progression) -> list[ChordSequence]:
    """The sequences of any length for a purpose in the mode and metre that the tune has there."""
    mode = (body.key if purpose == "intro" else body.end_key).signature_mode
    metre = _side(body, purpose).metre
    return [found for name in _GROUPS[purpose] for found in find(name, mode, None, metre)]


def _sequences(purpose: str, bars: int, body: Progression) -> list[ChordSequence]:
    """The sequences of a length in the tune's mode and metre; an intro may also be a turnaround.

    If none has that length, an intro uses the end of a longer one and an ending holds the last chord of a shorter one.
    """
    every = _candidates(purpose, body)
    exact = [found for found in every if found.bars == bars]
    exact = [found for found in exact if found.metre == _side(body, purpose).metre] or exact
    near = [
        found
        for found in every
        if (found.bars > bars) == (purpose == "intro") and abs(found.bars - bars) <= 4
    ]
    return exact or near


def _sized(progression: Progression, bars: int) -> Progression:
    """A progression of a number of bars: cut to its last bars, or extended by its last chord."""
    if len(progression.bars) > bars:
        return cut_out(progression, len(progression.bars) - bars, len(progression.bars))
    held = list(progression.bars)
    last, bar = progression.spans[-1], progression.metre.bar
    while len(held) < bars:
        held.append((Span(last.chord, len(held) * bar, bar, last.heard, last.key),))
    return replace(progression, bars=tuple(held))


def _section(request: TuneRequest, body: Progression, purpose: str, sequence: ChordSequence) -> _Section:
    side = _side(body, purpose)
    goal = side.spans[0].heard if purpose == "intro" else _tonic_of(body)
    key = body.key if purpose == "intro" else None
    progression = to_chord(sequence, goal, key, side.metre)
    progression = replace(progression, key=body.key if purpose == "intro" else request.tune.keys[-1])
    progression = _sized(progression, request.bars(purpose))
    tune = request.tune
    lead = tune.notes[0].midi if purpose == "intro" and tune.notes else None
    leave = -(-tune.pickup // _SIXTEENTH) * _SIXTEENTH if purpose == "intro" else 0
    wanted = replace(_request(request, progression), purpose=purpose, lead_to=lead, leave=leave)
    gather = beginning_with(_motif(request)) if purpose == "intro" and request.from_tune else None
    try:
        found = generate(wanted, gather)
    except NoPhraseError:
        if lead is None:
            raise
        found = _near(wanted, lead, gather)
        return _Section(
            sequence.name, progression, min(found, key=lambda idea: abs(idea.phrase[-1].midi - lead))
        )
    close = request.close if purpose == "ending" else None
    return _Section(sequence.name, progression, closed_idea(progression, found[0], close))


def _near(wanted: Request, lead: int, gather: Gather | None) -> Ideas:
    """Ideas around a first note outside the usual range; if there are none, ideas that don't lead to it."""
    try:
        return generate(replace(wanted, low=max(0, lead - _BELOW), high=min(127, lead + _ABOVE)), gather)
    except (NoPhraseError, OptionError):
        return generate(replace(wanted, lead_to=None), gather)


def _motif(request: TuneRequest) -> Phrase:
    """The tune's first two bars, or its first where the intro is shorter than three."""
    return motif_of(
        tuple(_placed(request.tune, request.tune.notes, 0)),
        request.tune.metre.bar,
        2 if request.intro > 2 else 1,
    )


def _tonic_of(body: Progression) -> Chord:
    """The chord that an ending closes on: the tune's last chord if it is a tonic, else the key's tonic."""
    last = body.last
    if last.root == body.end_key.tonic:
        return last
    return parse_chart("| I |" if body.end_key.signature_mode == "major" else "| i |", key=body.end_key).last


def _request(request: TuneRequest, progression: Progression) -> Request:
    return Request(
        progression,
        count=_TRIED,
        seed=request.seed,
        level=request.level,
        rhythm=rhythm_in(progression.metre, request.tune.metre, request.rhythm, request.pack),
        tempo=request.tempo or request.tune.tempo,
        busy=request.busy,
        pack=request.pack,
    )


# All together


def _joined(
    request: TuneRequest, body: Progression, intro: _Section | None, ending: _Section | None
) -> Piece:
    """Intro, tune and ending as one progression with one right hand."""
    tune = request.tune
    quoted = _quotation(request, body) if ending is not None and request.quote else None
    lead = intro.progression if intro else _silent_bar(body) if tune.pickup else None
    whole = _chain([part for part in (lead, body, quoted, ending and ending.progression) if part], body)
    first = len(lead.bars) if lead else 0
    last = first + tune.bars
    start, end = whole.start_of(first), whole.start_of(last)
    notes: list[Note] = list(intro.idea.phrase) if intro else []
    notes += _placed(tune, tune.notes, start)
    if quoted is not None:
        notes += _quoted_notes(tune, start, end - quoted.length, end)
    if ending is not None:
        shift = end + (quoted.length if quoted else 0)
        notes += [replace(note, onset=note.onset + shift) for note in ending.idea.phrase]
    filled = _filled(request, whole, start)
    return Piece(
        _as_ideas(request, whole, tuple(notes), _placed(tune, tune.below, start), filled.fills),
        first,
        last,
        intro.idea if intro else None,
        ending.idea if ending else None,
        (intro.name if intro else "", ending.name if ending else ""),
        request.quote if quoted else 0,
        request.close,
        filled.fills,
        filled.remarks,
    )


def _filled(request: TuneRequest, whole: Progression, start: int) -> Filled:
    """The fills of the tune, whose first full bar begins at a tick of the whole piece, if fills are requested."""
    if request.fills is None:
        return Filled(())
    wanted = replace(
        request.fills,
        rhythm=request.rhythm,
        level=request.level,
        busy=request.busy,
        tempo=request.tempo or request.tune.tempo,
        seed=request.seed,
        pack=request.pack,
    )
    line = tuple(_placed(request.tune, request.tune.notes, start))
    return fills_of(whole, line, _runs(request.tune, start - request.tune.pickup), wanted)


def _runs(tune: Tune, start: int) -> tuple[Run, ...]:
    """The order in which the tune's measures are played, from the tick at which it begins."""
    written = list(accumulate(tune.measures, initial=0))
    found: list[Run] = []
    at = start
    for before, number in pairwise((-2, *tune.order)):
        length = tune.measures[number]
        if number == before + 1:
            found[-1] = replace(found[-1], end=at + length)
        else:
            found.append(Run(at, at + length, written[number]))
        at += length
    return tuple(found)


def _placed(tune: Tune, notes: Phrase, start: int) -> list[Note]:
    """Notes of a tune, moved so that its first full bar begins at a tick."""
    return [replace(note, onset=note.onset - tune.pickup + start) for note in notes]


def _silent_bar(body: Progression) -> Progression:
    first = body.spans[0]
    silent = replace(first, chord=Chord("N.C.", None, None), onset=0, length=body.size_of(0))
    return replace(body, bars=((silent,),), metres=())


def _quotation(request: TuneRequest, body: Progression) -> Progression:
    """The tune's last bars with their chords, to quote at the beginning of the ending."""
    return cut_out(body, len(body.bars) - request.quote, len(body.bars))


def _quoted_notes(tune: Tune, start: int, begin: int, end: int) -> list[Note]:
    """The notes of a tune that begins at a tick, from some tick on, moved to its end."""
    sounding = [
        replace(n, onset=max(n.onset, begin), length=n.end - max(n.onset, begin))
        for n in _placed(tune, tune.notes, start)
    ]
    return [replace(n, onset=n.onset - begin + end) for n in sounding if n.length > 0]


def _chain(parts: Sequence[Progression], body: Progression) -> Progression:
    """Progressions one after another, in the key of the tune and with its sections."""
    bars: list[tuple[Span, ...]] = []
    metres: list[Metre] = []
    sections: tuple[tuple[int, str], ...] = ()
    start = 0
    for part in parts:
        if part is body:
            sections = tuple((len(bars) + at, name) for at, name in body.sections)
        bars += moved(part.bars, start)
        metres += [part.metre_of(bar) for bar in range(len(part.bars))]
        start += part.length
    return replace(body, bars=tuple(bars), sections=sections, metres=where_differing(metres, body.metre))


def _as_ideas(
    request: TuneRequest, whole: Progression, phrase: Phrase, below: Sequence[Note], fills: Sequence[Fill]
) -> Ideas:
    """The whole right hand as one idea, so that an ensemble can play it."""
    rhythm = request.pack.rhythm(request.rhythm or request.pack.rhythm_for(whole.metre))
    notes, second = (
        tuple(IdeaNote(whole.bar_index(n.onset) + 1, n, "", "", "") for n in each) for each in (phrase, below)
    )
    tempo = request.tempo or request.tune.tempo or rhythm.tempo
    played = [note for fill in fills for once in fill.played() for note in once]
    filled = tuple(sorted(played, key=lambda each: each.note.onset))
    idea = Idea(1, 1.0, {}, "tune", "", notes, second=second, fills=filled)
    swung = rhythm.swing and request.rhythm is not None
    return Ideas(whole, rhythm.name, 0, tempo, swung, request.seed, 0, (idea,))
