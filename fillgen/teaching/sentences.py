"""Why each note of a phrase may be where it is, in sentences.

Sentences are for a player who begins: spelled names, beats as they are counted, chords as they are written. What a
note is, the rules decide (`fillgen.rules.tones.role`); here it is only said.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from fillgen.chart.progression import Progression
from fillgen.errors import listed
from fillgen.phrase.idea import CHORD_TONE
from fillgen.phrase.note import Phrase
from fillgen.phrase.place import Place
from fillgen.rules.rule import BEAT, FOURTH, STEP
from fillgen.rules.tones import blue
from fillgen.teaching.line import Line, tone_name
from fillgen.teaching.naming import KEPT_OVER, is_double, kinds
from fillgen.teaching.notefit import degree_in_words
from fillgen.teaching.words import beat_words
from fillgen.theory.chords import Chord, mask_of
from fillgen.theory.pitch import LETTERS, interval_in_words

_FIGURES = ("9-8", "7-6", "4-3", "7-8")
"""How suspensions and retardations are counted above the bass, for those that players count."""
_HELD_OVER_NOTHING = 0xFFF
"""What `Place.held` is where a note is held across no strong beat."""


def _degree(chord: Chord, midi: int) -> str:
    """What a tone is in its chord, in words; what it lacks a word for is a note."""
    tone = chord.tone_at(midi % 12)
    return f"the {degree_in_words(tone.degree)} of {chord.symbol}" if tone else f"a note over {chord.symbol}"


def _toward(rise: int) -> str:
    return "up" if rise > 0 else "down"


def _beside(rise: int) -> str:
    return "above" if rise > 0 else "below"


# What each kind of note is, in a sentence


def _chord_tone(line: Line, index: int) -> str:
    note, onset = line.notes[index], line.notes[index].onset
    start = f"{line.at(index)} is {_degree(line.chord(index), note.midi)}"
    if onset and onset in line.progression.changes:
        return f"{start}, which begins here."
    if line.where[index].strong:
        return f"{start}: a chord note on a strong beat."
    if index and not line.into(index):
        return f"{start}, struck again."
    return f"{start}: a chord note can fall on any beat."


def _from(line: Line, index: int) -> str:
    """The note of another pitch that comes before."""
    before = line.other_before(index)
    assert before is not None
    return line.names[before]


def _to(line: Line, index: int) -> str:
    """The note of another pitch that comes after."""
    after = line.other_after(index)
    assert after is not None
    return line.names[after]


def _passing(line: Line, index: int) -> str:
    between = f"{_from(line, index)} and {_to(line, index)}"
    start = f"{line.at(index)} is a passing note between {between}, a step from each, off the strong beats."
    return f"{start}{_rub(line, index)}"


def _neighbour(line: Line, index: int) -> str:
    motion = f"a step {_beside(line.approach(index))} {_from(line, index)} and back"
    start = f"{line.at(index)} is a neighbour note: {motion}, off the strong beats."
    return f"{start}{_rub(line, index)}"


def _rub(line: Line, index: int) -> str:
    """What is to be said of a note a semitone above a chord tone."""
    place, note = line.where[index], line.notes[index]
    if not place.avoid >> note.midi % 12 & 1:
        return ""
    below = tone_name(line.chord(index), note.midi - 1)
    start = f" It lies a half step above {below}, a note of {line.chord(index).symbol}"
    quick = place.length * 2 <= BEAT and not place.strong
    return f"{start}, and moves on quickly." if quick else f"{start}, and rubs against it while it lasts."


def _anticipation(line: Line, index: int) -> str:
    note, after = line.notes[index], line.after(index)
    held = line.held_into(index)
    if held and note.end > held[0]:
        goal = _degree(held[1], note.midi)
        return f"{line.at(index)} comes before its chord: it anticipates {goal} and is held into it."
    assert after is not None
    struck = next(i for i in range(index + 1, len(line.notes)) if line.roles[i] == CHORD_TONE)
    goal = _degree(line.chord(struck), after.midi)
    return f"{line.at(index)} comes before its chord: it anticipates {goal}, which is struck next."


def _free_anticipation(line: Line, index: int) -> str:
    goal = _degree(line.chord(index + 1), line.notes[index].midi)
    start = f"{line.at(index)} comes before its chord: it is {goal}, the next chord"
    return f"{start}, over which the line goes on with {line.names[index + 1]}: a free anticipation."


def _approach(line: Line, index: int) -> str:
    _, note, after = line.windows[index]
    goal = line.names[index + 1]
    assert after is not None
    if bool(blue(note, after)):
        which = "third" if bool(note.among(note.place.blue_third)) else "fifth"
        return f"{line.at(index)} is the blue {which}: it slides {_toward(line.out(index))} to {goal}."
    start = f"{line.at(index)} is an approach note"
    if not bool(after.tone):
        return f"{start}: with {goal} after it, it encloses {line.names[index + 2]}."
    if abs(line.out(index)) == 1:
        degree = _degree(line.chord(index + 1), after.midi)
        return f"{start}: a half step {_beside(-line.out(index))} {goal}, {degree}."
    return f"{start}: with {line.names[index - 1]} before it, it encloses {goal}."


def _appoggiatura(line: Line, index: int) -> str:
    goes = f"it leans on the strong beat and steps {_toward(line.departure(index))} to {_to(line, index)}"
    return f"{line.at(index)} is an appoggiatura: {_reached(line, index)}{goes}.{_rub(line, index)}"


def _reached(line: Line, index: int) -> str:
    """How the line comes to a note from another one; nothing if the phrase begins with it."""
    into = line.approach(index)
    return f"reached {_by(into)} from {_from(line, index)}, " if into else ""


def _kept_over(line: Line, index: int) -> str:
    kind, goal = kinds(line)[index], _resolution(line, index)
    way = _toward(line.notes[goal].midi - line.notes[index].midi)
    detour = f" after {line.names[goal - 1]}" if line.notes[goal - 1].midi != line.notes[index].midi else ""
    end = f"it steps {way} to {line.names[goal]}{detour}: a {kind}{_figure(line, index, goal)}."
    held = line.held_into(index)
    if line.roles[index] == CHORD_TONE and held:
        start = f"{line.at(index)} is {_degree(line.chord(index), line.notes[index].midi)}"
        return f"{start} and is held over into {held[1].symbol}, which lacks it; from there {end}"
    return f"{line.at(index)} stays from {line.chord(index - 1).symbol} over {line.chord(index).symbol}, which lacks it; {end}"


def _resolution(line: Line, index: int) -> int:
    """The note to which a note kept over moves by step, directly or after one other note."""
    after = line.other_after(index)
    assert after is not None
    return after if abs(line.departure(index)) <= STEP else after + 1


def _pedal(line: Line, index: int) -> str:
    if line.roles[index] != CHORD_TONE:
        return f"{line.at(index)} stays while the chords change, a chord note before and after: a pedal."
    start = f"{line.at(index)} is {_degree(line.chord(index), line.notes[index].midi)}"
    return f"{start} and is held while the chords change, until it belongs to its chord again: a pedal."


def _figure(line: Line, index: int, goal: int) -> str:
    """How a suspension is counted above the bass, where players say so."""
    chord = line.chord(goal)
    bass = chord.bass or chord.root
    if bass is None:
        return ""
    letters = [LETTERS.index(line.names[each][0]) for each in (index, goal)]
    counted = [(letter - bass.letter) % 7 + 1 for letter in letters]
    figure = "-".join(str(number + 7 if number <= 2 else number) for number in counted)
    return f" ({figure})" if figure in _FIGURES else ""


def _double(line: Line, index: int) -> str:
    first = index if is_double(line, index) else index - 1
    main, other = line.names[first - 1], line.names[first + (first == index)]
    return (
        f"{line.at(index)} is one half of a double neighbour: with {other} it lies a step above and a step below {main}, "
        "which comes before and after them."
    )


def _accented_passing(line: Line, index: int) -> str:
    between = f"{_from(line, index)} to {_to(line, index)}"
    return f"{line.at(index)} passes from {between} by step, on a strong beat: an accented passing note.{_rub(line, index)}"


def _accented_neighbour(line: Line, index: int) -> str:
    motion = f"a step {_beside(line.approach(index))} {_from(line, index)} and back"
    return f"{line.at(index)} is {motion}, on a strong beat: an accented neighbour note.{_rub(line, index)}"


def _chromatic_passing(line: Line, index: int) -> str:
    between = f"{_from(line, index)} to {_to(line, index)}"
    return f"{line.at(index)} passes from {between} by step, but lies outside the scale over {line.chord(index).symbol}: a chromatic passing note."


def _chromatic_neighbour(line: Line, index: int) -> str:
    motion = f"a step {_beside(line.approach(index))} {_from(line, index)} and back"
    return f"{line.at(index)} is {motion}, but lies outside the scale over {line.chord(index).symbol}: a chromatic neighbour note."


def _escape(line: Line, index: int) -> str:
    came = f"a step {_toward(line.into(index))} from {line.names[index - 1]}"
    return f"{line.at(index)} is an escape tone: {came}, then a leap {_toward(line.out(index))} to {line.names[index + 1]}."


def _incomplete(line: Line, index: int) -> str:
    goal = f"a step {_beside(-line.departure(index))} {_to(line, index)} after it"
    return f"{line.at(index)} is an incomplete neighbour: {_reached(line, index)}{goal}."


def _changing(line: Line, index: int) -> str:
    after = line.other_after(index)
    assert after is not None
    pair = f"with {line.names[after]} it lies on either side of {line.names[after + 1]}, to which they go"
    return f"{line.at(index)} is a changing note: {pair}."


def _cambiata(line: Line, index: int) -> str:
    into = line.approach(index)
    came = f"a step {_toward(into)} from {_from(line, index)}"
    goes = f"a third the same way to {_to(line, index)}, from which the line turns back"
    return f"{line.at(index)} is a cambiata: {came}, then {goes}."


def _pentatonic(line: Line, index: int) -> str:
    between = f"{_from(line, index)} to {_to(line, index)}"
    return f"{line.at(index)} passes from {between} by a step and a minor third, as in five-note scales: a pentatonic passing note."


def _unexplained(line: Line, index: int) -> str:
    """A note that nothing justifies: what it lacks, and where it could go or what it could be."""
    start = f"{line.at(index)} is outside {line.chord(index).symbol}"
    if line.roles[index] == "approach":
        pair = f"{line.names[index]} and {line.names[index + 1]}"
        return f"{start} and opens an enclosure, but {pair} do not go to a chord note between them."
    instead = f"it could be {listed(line.near(index))}"
    if line.where[index].strong:
        return f"{start} and falls on a strong beat; {instead}."
    if not index:
        return f"{start}, with no note before it to step from; {instead}."
    if line.after(index) is None:
        return f"{start}, with no note after it to go to; {instead}."
    goals = line.goals(index)
    if goals:
        instead = f"it could go to {listed(goals)}"
    return f"{start}, is reached {_came(line, index)} and left {_left(line, index)}; {instead}."


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
    "pedal": _pedal,
    "free anticipation": _free_anticipation,
    "changing note": _changing,
    "cambiata": _cambiata,
    "pentatonic passing": _pentatonic,
    "": _unexplained,
}


def says(line: Line, index: int) -> str:
    """What a note is, in one sentence."""
    return _SAYS[kinds(line)[index]](line, index)


def sentence(line: Line, index: int) -> str:
    """What a note is and what else matters about it: leap, tie, rest, ending."""
    return " ".join([says(line, index), *_besides(line, index)])


def reasons(progression: Progression, notes: Phrase, where: Sequence[Place] | None = None) -> tuple[str, ...]:
    """For each note why it fits where it is, or what it lacks, in a sentence or two.

    `where` are the places of the notes; without them the phrase is a whole one, and may close on any tone of a triad.

    >>> from fillgen.chart.text import parse_chart
    >>> from fillgen.phrase.text import parse_phrase
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
    return tuple(sentence(line, index) for index in range(len(notes)))


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
        goes_on = "is next" if first else "lingers in the ear"
        yield f"No chord is played here: {span.heard.symbol} {goes_on}."


def _leap(line: Line, index: int) -> Iterator[str]:
    into, out = line.into(index), line.out(index)
    if abs(into) <= FOURTH:
        return
    start = f"The leap of {interval_in_words(into)} {_toward(into)} to it"
    if line.after(index) is None:
        yield f"{start} is not turned back before the end."
    elif into * out < 0:
        yield f"{start} turns back to {line.names[index + 1]}."
    elif out:
        yield f"{start} goes on to {line.names[index + 1]} the same way, and does not turn back."
    else:
        yield f"{start} does not turn back: the same note follows."


def _tie(line: Line, index: int) -> Iterator[str]:
    already_said = kinds(line)[index] in (*KEPT_OVER, "anticipation", "pedal")
    held = None if already_said or line.where[index].held == _HELD_OVER_NOTHING else line.held_into(index)
    if held is None:
        return
    tick, chord = held
    if chord.tone_at(line.notes[index].midi % 12):
        yield f"It is held on as {_degree(chord, line.notes[index].midi)}."
    else:
        beat = beat_words(line.progression.timeline, tick)
        yield f"It is held into {chord.symbol}, which lacks it; it could end before {beat}."


def _rest(line: Line, index: int) -> Iterator[str]:
    if not line.where[index].before_rest or line.after(index) is None:
        return
    if line.roles[index] == CHORD_TONE:
        yield "It can stay in the ear over the rest that follows."
    elif kinds(line)[index] not in ("", "anticipation"):
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
