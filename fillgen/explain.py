"""Why each note of a phrase may stand where it stands, what textbooks call it, and why an idea ranks where it does.

Sentences are for a player who begins: spelled names, beats as they are counted, chords as they are written. What a
note is, the rules decide (`fillgen.rules.role`); here it is only said.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache, partial
from statistics import fmean

from fillgen import judge
from fillgen.chords import Chord, mask_of
from fillgen.errors import listed
from fillgen.metre import Metre
from fillgen.music import CHORD_TONE, Idea, Ideas, Note, Phrase, Place, Progression, places, spell
from fillgen.notefit import degree_in_words
from fillgen.pitch import LETTERS, interval_in_words
from fillgen.rulepack import RulePack
from fillgen.rules import BEAT, FOURTH, FURTHER_TONES, STEP, Embellishment, Seen, Window, leaning, role

KEPT_OVER = ("suspension", "retardation")
"""What a note kept into the next chord is called where it moves on by step."""
_FIGURES = ("9-8", "7-6", "4-3", "7-8")
"""How suspensions and retardations are counted above the bass, as far as players say so."""
_ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth")
_HELD_OVER_NOTHING = 0xFFF
"""What `Place.held` is where a note is held across no strong beat."""
_ANY_CLOSE = ("root", "third", "fifth")
"""The degrees on which a phrase may close where no level says which."""
_NEAR = 4
"""How far a chord tone may lie from a note to be offered in its place, in semitones."""


# Words for beats and intervals


def beat_number(metre: Metre, tick: int) -> float:
    """Where a tick lies in its bar, in beats counted from 1; `tick` counts from the start of the phrase.

    >>> from fillgen.metre import METRES
    >>> beat_number(METRES["4/4"], 2640), beat_number(METRES["6/8"], 720)
    (2.5, 2.0)
    """
    return round(1 + tick % metre.bar / metre.beat, 4)


@lru_cache(maxsize=1024)
def beat_words(metre: Metre, tick: int) -> str:
    """Where a tick lies in its bar, as it is counted; `tick` counts from the start of the phrase.

    >>> from fillgen.metre import METRES
    >>> [beat_words(METRES["4/4"], tick) for tick in (960, 720, 360, 1120)]
    ['beat 3', 'the second half of beat 2', 'the fourth sixteenth of beat 1', 'the second triplet note of beat 3']
    >>> beat_words(METRES["6/8"], 960)
    'the second eighth of beat 2'
    """
    beat, inside = divmod(tick % metre.bar, metre.beat)
    whole = f"beat {beat + 1}"
    if not inside:
        return whole
    if 2 * inside == metre.beat and metre.beat % 480 == 0:
        return f"the second half of {whole}"
    for unit, name in ((240, "eighth"), (160, "triplet note"), (120, "sixteenth"), (80, "triplet sixteenth")):
        if inside % unit == 0 and inside // unit < len(_ORDINALS):
            return f"the {_ORDINALS[inside // unit]} {name} of {whole}"
    return f"{inside / metre.beat:.2f} of a beat after {whole}"


def _degree(chord: Chord, midi: int) -> str:
    """What a tone is in its chord, in words; what it lacks a word for is a note."""
    tone = chord.tone_at(midi % 12)
    return f"the {degree_in_words(tone.degree)} of {chord.symbol}" if tone else f"a note over {chord.symbol}"


def _toward(rise: int) -> str:
    return "up" if rise > 0 else "down"


def _beside(rise: int) -> str:
    return "above" if rise > 0 else "below"


# A phrase note by note


@lru_cache(maxsize=256)
def _places(progression: Progression, rhythm: tuple[tuple[int, int], ...]) -> tuple[Place, ...]:
    """The places of a whole phrase; ideas share their rhythms, so they are kept."""
    return places(progression, rhythm, _ANY_CLOSE)


class Line:
    """A phrase over its chart as it is told: names, roles, textbook kinds, and a sentence for each note.

    Notes are counted from 0. `where` are the places of the notes; without them the phrase is a whole one.
    """

    def __init__(self, progression: Progression, notes: Phrase, where: Sequence[Place] | None = None) -> None:
        self.progression = progression
        self.notes = notes
        rhythm = tuple((note.onset, note.length) for note in notes)
        self.where = tuple(where) if where is not None else _places(progression, rhythm)

    @cached_property
    def names(self) -> tuple[str, ...]:
        """The spelled names, such as Eb5."""
        return spell(self.progression, self.notes)

    @cached_property
    def windows(self) -> list[Window]:
        return list(judge.windows(self.where, [note.midi for note in self.notes]))

    @cached_property
    def roles(self) -> list[str]:
        """The role of each note by the rules, empty where nothing justifies it."""
        return [role(window) for window in self.windows]

    @cached_property
    def kinds(self) -> tuple[str, ...]:
        """What textbooks call each note; told at `naming`."""
        return _kinds(self)

    def before(self, index: int) -> Note | None:
        return self.notes[index - 1] if index else None

    def after(self, index: int) -> Note | None:
        return self.notes[index + 1] if index + 1 < len(self.notes) else None

    def into(self, index: int) -> int:
        """The semitones by which the line rises to a note from the one before; 0 at the beginning."""
        return self.notes[index].midi - self.notes[index - 1].midi if index else 0

    def out(self, index: int) -> int:
        """The semitones by which the line rises from a note to the next; 0 at the end."""
        return self.into(index + 1) if index + 1 < len(self.notes) else 0

    def chord(self, index: int) -> Chord:
        """The chord the ear has where a note begins."""
        return self.progression.span_at(self.notes[index].onset).heard

    def at(self, index: int) -> str:
        """A note with where it begins: `G5 on beat 1`."""
        return f"{self.names[index]} on {beat_words(self.progression.metre, self.notes[index].onset)}"

    def held_into(self, index: int) -> tuple[int, Chord] | None:
        """The other chord into which a note is held, and the tick: the first that lacks it, otherwise the last."""
        note, own = self.notes[index], self.chord(index)
        ticks = self.progression.strong_between(note.onset, note.end)
        others = [(tick, self.progression.span_at(tick).heard) for tick in ticks]
        others = [(tick, chord) for tick, chord in others if chord.mask != own.mask]
        lacking = [(tick, chord) for tick, chord in others if chord.tone_at(note.midi % 12) is None]
        return next(iter(lacking or others[-1:]), None)

    def near(self, index: int) -> list[str]:
        """The chord tones nearest to a note, one below it and one above, by name."""
        chord, midi = self.chord(index), self.notes[index].midi
        found = []
        for way in (-1, 1):
            rises = (midi + way * size for size in range(1, 12))
            tone = next((m for m in rises if chord.tone_at(m % 12) and 0 <= m <= 127), None)
            if tone is not None:
                found.append(tone)
        close = [tone for tone in found if abs(tone - midi) <= _NEAR] or found
        return [_named(chord, tone) for tone in close]

    def goals(self, index: int) -> list[str]:
        """The chord tones within a step to which a note reached by step could go instead, by name."""
        before, note, after = self.windows[index]
        if after is None or not 1 <= abs(self.into(index)) <= STEP:
            return []
        chord = self.chord(index + 1)
        steps = [note.midi + rise for rise in (-2, -1, 1, 2) if 0 <= note.midi + rise <= 127]
        tones = [midi for midi in steps if chord.tone_at(midi % 12) and midi != after.midi]
        kinds = [(midi, role((before, note, Seen(after.place, midi)))) for midi in tones]
        plain = [midi for midi, kind in kinds if kind in ("passing", "neighbour")]
        return [_named(chord, midi) for midi in plain or [midi for midi, kind in kinds if kind]]

    def says(self, index: int) -> str:
        """What a note is, in one sentence."""
        return _SAYS[self.kinds[index]](self, index)

    def sentence(self, index: int) -> str:
        """What a note is and what else matters about it: leap, tie, rest, ending."""
        return " ".join([self.says(index), *_besides(self, index)])


def _named(chord: Chord, midi: int) -> str:
    tone = chord.tone_at(midi % 12)
    assert tone is not None
    return tone.name.at(midi)


def reasons(progression: Progression, notes: Phrase, where: Sequence[Place] | None = None) -> tuple[str, ...]:
    """For each note why it may stand where it stands, or what it lacks, in a sentence or two.

    `where` are the places of the notes; without them the phrase is a whole one, and may close on any tone of a triad.

    >>> from fillgen.parse import parse_chart, parse_phrase
    >>> chart = parse_chart("| C | G7 |", key="C")
    >>> for sentence in reasons(chart, parse_phrase("C5q D5q E5h | G5h B4h", chart.metre)):
    ...     print(sentence)
    C5 on beat 1 is the root of C: a chord note on a strong beat.
    D5 on beat 2 is a passing note between C5 and E5, a step from each, off the strong beats.
    E5 on beat 3 is the third of C: a chord note on a strong beat.
    G5 on beat 1 is the root of G7, which begins here.
    B4 on beat 3 is the third of G7: a chord note on a strong beat. The leap of a minor sixth down to it is not turned
    back before the end. The phrase can close on it.
    """
    line = Line(progression, notes, where)
    return tuple(line.sentence(index) for index in range(len(notes)))


# What textbooks call a note


def naming(
    progression: Progression,
    notes: Phrase,
    where: Sequence[Place] | None = None,
    *,
    either_way: bool = False,
) -> tuple[str, ...]:
    """What textbooks call each note, empty where they have no name for it.

    Chord tones and the kinds of `fillgen.rules.EMBELLISHMENTS` first, then those of `FURTHER_TONES`. A tone held into
    a chord that lacks it and left by step is a suspension or a retardation. `either_way` takes the wider appoggiatura,
    which goes on in the direction of its leap as well.

    >>> from fillgen.parse import parse_chart, parse_phrase
    >>> chart = parse_chart("| F | C |", key="C")
    >>> naming(chart, parse_phrase("C5q G5q F5h~ | F5h E5h", chart.metre))
    ('chord tone', 'incomplete neighbour', 'suspension', 'chord tone')
    """
    return _kinds(Line(progression, notes, where), either_way=either_way)


def _kinds(line: Line, *, either_way: bool = False) -> tuple[str, ...]:
    table = dict(FURTHER_TONES)
    if either_way:
        table["appoggiatura"] = partial(leaning, either_way=True)
    return tuple(_kind(line, index, table) for index in range(len(line.notes)))


def _kind(line: Line, index: int, table: Mapping[str, Embellishment]) -> str:
    """What one note is called. A tie tells more of a chord tone, and a pair of notes more of an approach note."""
    found = line.roles[index]
    if found == CHORD_TONE:
        asked: Sequence[str] = KEPT_OVER if line.where[index].ahead else ()
    elif found == "approach" and _leads(line, index):
        asked = ("double neighbour",)
    else:
        found = "" if found == "approach" else found
        asked = () if found else tuple(table)
    further = (
        name for name in asked if bool(table[name](*line.windows[index])) and _bears(line, index, name)
    )
    return next(further, found)


def _leads(line: Line, index: int) -> bool:
    """Whether an approach note does go to its chord tone, alone or as one of two that enclose it."""
    after = line.windows[index][2]
    assert after is not None
    if bool(after.tone):
        return abs(line.out(index)) == 1 or _closes(line, index)
    return index + 2 < len(line.notes) and _closes(line, index + 1)


def _bears(line: Line, index: int, kind: str) -> bool:
    """Whether the notes farther off bear out what three notes tell."""
    if kind == "double neighbour":
        return any(_is_double(line, first) for first in (index - 1, index))
    return kind not in KEPT_OVER or _is_lighter(line, index)


def _is_double(line: Line, first: int) -> bool:
    """Whether a note and the next one lie a step above and below the note that comes before and after them both."""
    if first < 1 or first + 2 >= len(line.notes) or line.roles[first] not in ("", "approach"):
        return False
    pair = (first, first + 1)
    returns = line.notes[first - 1].midi == line.notes[first + 2].midi
    return returns and all(bool(FURTHER_TONES["double neighbour"](*line.windows[each])) for each in pair)


def _is_lighter(line: Line, index: int) -> bool:
    """Whether a note kept over resolves on a lighter place than that on which it is kept."""
    held, after = line.held_into(index), line.notes[index + 1].onset
    kept = held[0] if held and line.roles[index] == CHORD_TONE else line.notes[index].onset
    metre = line.progression.metre
    return not line.progression.is_strong(after) or metre.accent(after) < metre.accent(kept)


# What each kind of note is, in a sentence


def _chord_tone(line: Line, index: int) -> str:
    note, onset = line.notes[index], line.notes[index].onset
    told = f"{line.at(index)} is {_degree(line.chord(index), note.midi)}"
    if onset and onset in line.progression.changes:
        return f"{told}, which begins here."
    if line.where[index].strong:
        return f"{told}: a chord note on a strong beat."
    if index and not line.into(index):
        return f"{told}, struck again."
    return f"{told}: a chord note may stand on any beat."


def _passing(line: Line, index: int) -> str:
    between = f"{line.names[index - 1]} and {line.names[index + 1]}"
    told = f"{line.at(index)} is a passing note between {between}, a step from each, off the strong beats."
    return f"{told}{_rub(line, index)}"


def _neighbour(line: Line, index: int) -> str:
    main = line.names[index - 1]
    told = f"{line.at(index)} is a neighbour note: a step {_beside(line.into(index))} {main} and back, off the strong beats."
    return f"{told}{_rub(line, index)}"


def _rub(line: Line, index: int) -> str:
    """What is to be said of a note a semitone above a chord tone."""
    place, note = line.where[index], line.notes[index]
    if not place.avoid >> note.midi % 12 & 1:
        return ""
    below = _named(line.chord(index), note.midi - 1)
    told = f" It lies a half step above {below}, a note of {line.chord(index).symbol}"
    quick = place.length * 2 <= BEAT and not place.strong
    return f"{told}, and moves on quickly." if quick else f"{told}, and rubs against it while it lasts."


def _anticipation(line: Line, index: int) -> str:
    note, after = line.notes[index], line.after(index)
    held = line.held_into(index)
    if held and note.end > held[0]:
        goal = _degree(held[1], note.midi)
        return f"{line.at(index)} comes before its chord: it anticipates {goal} and is held into it."
    assert after is not None
    goal = _degree(line.chord(index + 1), after.midi)
    return f"{line.at(index)} comes before its chord: it anticipates {goal}, which is struck next."


def _approach(line: Line, index: int) -> str:
    after, goal = line.windows[index][2], line.names[index + 1]
    assert after is not None
    told = f"{line.at(index)} is an approach note"
    if not bool(after.tone):
        return f"{told}: with {goal} after it, it encloses {line.names[index + 2]}."
    if abs(line.out(index)) == 1:
        degree = _degree(line.chord(index + 1), after.midi)
        return f"{told}: a half step {_beside(-line.out(index))} {goal}, {degree}."
    return f"{told}: with {line.names[index - 1]} before it, it encloses {goal}."


def _closes(line: Line, index: int) -> bool:
    """Whether a note and the one before it lie on either side of the chord tone that follows."""
    after = line.windows[index][2]
    one, two = line.out(index), line.out(index) + line.into(index)
    apart = abs(line.into(index)) > STEP and one * two < 0
    return after is not None and bool(after.tone) and apart and max(abs(one), abs(two)) <= STEP


def _appoggiatura(line: Line, index: int) -> str:
    came = f"reached by a leap from {line.names[index - 1]}"
    told = f"{line.at(index)} is an appoggiatura: {came}, it leans on the strong beat and steps {_toward(line.out(index))} to {line.names[index + 1]}."
    return f"{told}{_rub(line, index)}"


def _kept_over(line: Line, index: int) -> str:
    kind, goal = line.kinds[index], line.names[index + 1]
    way = _toward(line.out(index))
    end = f"it steps {way} to {goal}: a {kind}{_figure(line, index)}."
    held = line.held_into(index)
    if line.roles[index] == CHORD_TONE and held:
        told = f"{line.at(index)} is {_degree(line.chord(index), line.notes[index].midi)}"
        return f"{told} and is held over into {held[1].symbol}, which lacks it; from there {end}"
    return f"{line.at(index)} stays from {line.chord(index - 1).symbol} over {line.chord(index).symbol}, which lacks it; {end}"


def _figure(line: Line, index: int) -> str:
    """How a suspension is counted above the bass, where players say so."""
    chord = line.chord(index + 1)
    bass = chord.bass or chord.root
    if bass is None:
        return ""
    letters = [LETTERS.index(line.names[each][0]) for each in (index, index + 1)]
    counted = [(letter - bass.letter) % 7 + 1 for letter in letters]
    figure = "-".join(str(number + 7 if number <= 2 else number) for number in counted)
    return f" ({figure})" if figure in _FIGURES else ""


def _double(line: Line, index: int) -> str:
    first = index if _is_double(line, index) else index - 1
    main, other = line.names[first - 1], line.names[first + (first == index)]
    return (
        f"{line.at(index)} is one half of a double neighbour: with {other} it lies a step above and a step below {main}, "
        "which comes before and after them."
    )


def _accented_passing(line: Line, index: int) -> str:
    between = f"{line.names[index - 1]} to {line.names[index + 1]}"
    return f"{line.at(index)} passes from {between} by step, but on a strong beat: an accented passing note.{_rub(line, index)}"


def _accented_neighbour(line: Line, index: int) -> str:
    told = f"a step {_beside(line.into(index))} {line.names[index - 1]} and back"
    return f"{line.at(index)} is {told}, but on a strong beat: an accented neighbour note.{_rub(line, index)}"


def _chromatic_passing(line: Line, index: int) -> str:
    between = f"{line.names[index - 1]} to {line.names[index + 1]}"
    return f"{line.at(index)} passes from {between} by step, but lies outside the scale over {line.chord(index).symbol}: a chromatic passing note."


def _chromatic_neighbour(line: Line, index: int) -> str:
    told = f"a step {_beside(line.into(index))} {line.names[index - 1]} and back"
    return f"{line.at(index)} is {told}, but lies outside the scale over {line.chord(index).symbol}: a chromatic neighbour note."


def _escape(line: Line, index: int) -> str:
    came = f"a step {_toward(line.into(index))} from {line.names[index - 1]}"
    return f"{line.at(index)} is an escape tone: {came}, then a leap {_toward(line.out(index))} to {line.names[index + 1]}."


def _incomplete(line: Line, index: int) -> str:
    came = f"reached by a leap from {line.names[index - 1]}"
    goal = f"a step {_beside(-line.out(index))} {line.names[index + 1]} on the strong beat after it"
    return f"{line.at(index)} is an incomplete neighbour: {came}, {goal}."


def _unexplained(line: Line, index: int) -> str:
    """A note that nothing justifies: what it lacks, and where it could go or what it could be."""
    told = f"{line.at(index)} is outside {line.chord(index).symbol}"
    if line.roles[index] == "approach":
        pair = f"{line.names[index]} and {line.names[index + 1]}"
        return f"{told} and opens an enclosure, but {pair} do not go to a chord note between them."
    instead = f"it could be {listed(line.near(index))}"
    if line.where[index].strong:
        return f"{told} and stands on a strong beat; {instead}."
    if not index:
        return f"{told}, with no note before it to step from; {instead}."
    if line.after(index) is None:
        return f"{told}, with no note after it to go to; {instead}."
    goals = line.goals(index)
    if goals:
        instead = f"it could go to {listed(goals)}"
    return f"{told}, is reached {_came(line, index)} and left {_left(line, index)}; {instead}."


def _came(line: Line, index: int) -> str:
    return f"{_by(line.into(index))} from {line.names[index - 1]}" if line.into(index) else "by repetition"


def _left(line: Line, index: int) -> str:
    rest = " over a rest" if line.where[index].before_rest else ""
    if not line.out(index):
        return f"to the same note{rest}"
    return f"{_by(line.out(index))} to {line.names[index + 1]}{rest}"


def _by(rise: int) -> str:
    return "by step" if abs(rise) <= STEP else "by a leap"


_SAYS: dict[str, Callable[[Line, int], str]] = {
    CHORD_TONE: _chord_tone,
    "passing": _passing,
    "neighbour": _neighbour,
    "anticipation": _anticipation,
    "approach": _approach,
    "appoggiatura": _appoggiatura,
    "suspension": _kept_over,
    "retardation": _kept_over,
    "double neighbour": _double,
    "accented passing": _accented_passing,
    "accented neighbour": _accented_neighbour,
    "chromatic passing": _chromatic_passing,
    "chromatic neighbour": _chromatic_neighbour,
    "escape tone": _escape,
    "incomplete neighbour": _incomplete,
    "": _unexplained,
}


# What else matters about a note


def _besides(line: Line, index: int) -> Iterator[str]:
    yield from _silence(line, index)
    yield from _leap(line, index)
    yield from _tie(line, index)
    yield from _rest(line, index)
    yield from _ending(line, index)


def _silence(line: Line, index: int) -> Iterator[str]:
    span = line.progression.span_at(line.notes[index].onset)
    if span.chord.root is None:
        first = all(each.chord.root is None for each in line.progression.spans if each.onset <= span.onset)
        goes_on = "is the one to come" if first else "goes on in the ear"
        yield f"No chord is played here: {span.heard.symbol} {goes_on}."


def _leap(line: Line, index: int) -> Iterator[str]:
    into, out = line.into(index), line.out(index)
    if abs(into) <= FOURTH:
        return
    told = f"The leap of {interval_in_words(into)} {_toward(into)} to it"
    if line.after(index) is None:
        yield f"{told} is not turned back before the end."
    elif into * out < 0:
        yield f"{told} turns back to {line.names[index + 1]}."
    elif out:
        yield f"{told} goes on to {line.names[index + 1]} the same way, and does not turn back."
    else:
        yield f"{told} does not turn back: the same note follows."


def _tie(line: Line, index: int) -> Iterator[str]:
    told_already = line.kinds[index] in (*KEPT_OVER, "anticipation")
    held = None if told_already or line.where[index].held == _HELD_OVER_NOTHING else line.held_into(index)
    if held is None:
        return
    tick, chord = held
    if chord.tone_at(line.notes[index].midi % 12):
        yield f"It is held on as {_degree(chord, line.notes[index].midi)}."
    else:
        beat = beat_words(line.progression.metre, tick)
        yield f"It is held into {chord.symbol}, which lacks it; it could end before {beat}."


def _rest(line: Line, index: int) -> Iterator[str]:
    if not line.where[index].before_rest or line.after(index) is None:
        return
    if line.roles[index] == CHORD_TONE:
        yield "It can stay in the ear over the rest that follows."
    elif line.kinds[index] not in ("", "anticipation"):
        yield f"It waits over a rest for {line.names[index + 1]}."


def _ending(line: Line, index: int) -> Iterator[str]:
    place, note = line.where[index], line.notes[index]
    if not place.ends:
        return
    if place.ends >> note.midi % 12 & 1:
        yield "The phrase can close on it."
        return
    tones = [
        tone.name for tone in line.progression.last.tones if mask_of([tone.name.pitch_class]) & place.ends
    ]
    yield f"The phrase ends on it; it would close on {listed([str(name) for name in tones])}."


# Why an idea ranks where it does


@dataclass(frozen=True, slots=True)
class Share:
    """What a term gives a score: its value from 0 to 1, its weight, its points and the most it can give.

    The points of all terms add up to the score. `mean` and `best` are the points it gives the ideas shown.
    """

    term: str
    value: float
    weight: float
    points: float
    most: float
    mean: float
    best: float


def shares(idea: Idea, ideas: Ideas) -> tuple[Share, ...]:
    """What each term gives the score of an idea, held against the ideas it is shown with."""
    weights = ideas.weights or RulePack().weights
    whole = sum(weights[term] for term in idea.terms) or 1.0
    told = []
    for term, value in idea.terms.items():
        most = weights[term] / whole
        others = [each.terms.get(term, 0.0) * most for each in ideas] or [value * most]
        told.append(Share(term, value, weights[term], value * most, most, fmean(others), max(others)))
    return tuple(told)


def ranking(idea: Idea, ideas: Ideas) -> tuple[str, ...]:
    """Why an idea ranks where it does among the ideas it is shown with, in the score's own terms.

    A sentence for each term, then what lifts the idea most, what costs it most, and why it stands after the one
    before it.

    >>> import fillgen
    >>> found = fillgen.ideas("| C | Am | F | G7 |", count=3)
    >>> ranking(found[0], found)[-1]
    'It stands first: no idea shown has a higher score.'
    """
    told = shares(idea, ideas)
    return (
        f"Idea {idea.rank} scores {idea.score:.3f}: the points of its {len(told)} terms together.",
        *(_term(share, len(ideas)) for share in told),
        _lifts(told),
        _costs(told),
        _standing(idea, ideas),
    )


def _term(share: Share, shown: int) -> str:
    says = RulePack().says(share.term).split(":")[0].rstrip(".")
    says = says[:1].lower() + says[1:]
    told = f"`{share.term}`, {says}, gives {share.points:.3f} of {share.most:.3f} points ({share.value:.2f} x weight {share.weight:g})"
    if shown < 2:
        return f"{told}."
    return f"{told}; the {shown:,} ideas shown have {share.mean:.3f} on average and {share.best:.3f} at best."


def _lifts(told: Sequence[Share]) -> str:
    above = sorted(told, key=lambda share: share.mean - share.points)[:2]
    above = [share for share in above if share.points - share.mean >= 0.0005]
    if not above:
        return "No term lifts it above the mean of the ideas shown."
    points = [f"`{share.term}` by {share.points - share.mean:.3f}" for share in above]
    return f"It is lifted most above the mean of the ideas shown by {listed(points, 'and')}."


def _costs(told: Sequence[Share]) -> str:
    short = sorted(told, key=lambda share: share.points - share.most)[:2]
    short = [share for share in short if share.most - share.points >= 0.0005]
    if not short:
        return "No term costs it anything: all give what they can."
    points = [f"`{share.term}` {share.most - share.points:.3f}" for share in short]
    return f"It loses most by what its terms do not give: {listed(points, 'and')}."


def _standing(idea: Idea, ideas: Ideas) -> str:
    if ideas.order != "best first":
        return f"The ideas are shown {ideas.order}, not by their scores."
    before = next((each for each in ideas if each.rank == idea.rank - 1), None)
    if before is None:
        return "It stands first: no idea shown has a higher score."
    behind = before.score - idea.score
    theirs = {share.term: share.points for share in shares(before, ideas)}
    gaps = [(share.term, share.points - theirs.get(share.term, 0.0)) for share in shares(idea, ideas)]
    gaps = [(term, gap) for term, gap in sorted(gaps, key=lambda each: each[1]) if abs(gap) >= 0.0005]
    lost = [f"`{term}` {-gap:.3f}" for term, gap in gaps[:2] if gap < 0]
    won = [f"`{term}` {gap:.3f}" for term, gap in gaps[-1:] if gap > 0]
    parts = [f"{listed(each, 'and')} {word}" for each, word in ((lost, "less"), (won, "more")) if each]
    if behind < 0.0005:
        told = f"It stands after idea {before.rank} with nearly the same score"
    else:
        told = f"It stands after idea {before.rank}, which has {behind:.3f} more"
    return (
        f"{told}; here the terms give {listed(parts, 'and')}."
        if parts
        else f"{told}; no term tells them apart."
    )
