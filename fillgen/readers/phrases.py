"""A player's own phrase, read from text, MIDI, MusicXML or ABC and lined up with its chart.

What was played into a MIDI file is written as it would be on paper: straight sixteenths and eighth-note triplets.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate, pairwise
from pathlib import Path
from statistics import fmean
from typing import TYPE_CHECKING

from fillgen.chart.progression import Progression, laid, where_differing
from fillgen.chart.text import MOST_BARS, MOST_TEXT, chart_text, parse_chart, stated_metre
from fillgen.errors import (
    OptionError,
    OutputError,
    PhraseError,
    TuneError,
    did_you_mean,
    shorten,
)
from fillgen.incoming import decoded, from_stdin, read_bytes
from fillgen.phrase.note import Note, Phrase
from fillgen.phrase.text import written_phrase, wrong_bar
from fillgen.readers.confined import read_abc, read_score
from fillgen.readers.melody import Sheet, Sound, Voice, top_line
from fillgen.readers.musicxml import MOST_BYTES
from fillgen.readers.played import MOST_PLAYED, Played, beaten
from fillgen.readers.symbols import chart_of, has_chords
from fillgen.readers.timing import Beats, is_dotted, is_on_grid, is_writable, on_places, settled
from fillgen.readers.tunes import full_bars
from fillgen.theory.chords import NO_CHORD, Chord
from fillgen.theory.keys import read_key, read_metre
from fillgen.theory.metre import METRES, TICKS, Metre
from fillgen.theory.pitch import Key

if TYPE_CHECKING:  # mido is loaded for MIDI files only
    from fillgen.readers.midi import Recording

_ENDINGS = (".txt", ".phrase", ".mid", ".midi", ".musicxml", ".xml", ".mxl", ".abc")
_FORMS = "Give phrase text such as 'F5q. Eb5e D5h', or the name of a MIDI, MusicXML, ABC or text file."
_USUAL_TEMPO = 120
"""The tempo of a MIDI file that names none, in quarter notes a minute (Standard MIDI Files 1.0)."""


@dataclass(frozen=True)
class Hints:
    """What a player knows of a recording: its tempo in quarter notes a minute, the beat on which its first note falls."""

    tempo: int | None = None
    first_note_on: float | None = None


NO_HINTS = Hints()


@dataclass(frozen=True)
class Found:
    """A melody as written in its source, before a chart is known.

    `notes` count ticks from the start of the first written bar, `written` are the ticks of each written bar, none
    where the source marks no bars. `metre` is None if the source names none; `tempo` is in quarter notes a
    minute; `part` is the name of the part that was taken; `place` is where an error is, empty for text; `swings`
    says whether swing was found in a played file, and taken out. `played` is a performance whose beat and bar are
    found when its chart is known. `chords` are the chord symbols of a score with their ticks, `key` is the key it signs.
    """

    notes: Phrase
    metre: Metre | None
    written: tuple[int, ...] = ()
    tempo: int | None = None
    title: str = ""
    part: str = ""
    remarks: tuple[str, ...] = ()
    place: str = ""
    swings: bool = False
    played: Played | None = None
    chords: tuple[tuple[int, Chord], ...] = ()
    key: Key | None = None

    @property
    def pickup(self) -> int:
        """Ticks of a short first bar that the source itself marks, else 0."""
        whole = self.metre.bar if self.metre is not None else MOST_TEXT * TICKS
        is_short = self.written[:1] < (min(whole, max(self.written[1:], default=0)),)
        return self.written[0] if self.written and is_short else 0

    @property
    def bars(self) -> int | None:
        """Bars the source says it has after its pick-up, None if it marks none."""
        return len(self.written) - bool(self.pickup) if self.written else None


@dataclass(frozen=True)
class Reading:
    """A phrase lined up with its chart: notes count ticks from the start of the progression.

    A pick-up is in a bar of its own before the chart, number 0. `whole` says whether the phrase goes to
    the chart's end; `swings` whether swing was found in a played file, whose notes are straight on paper. An idea of
    fillgen's own has its `rhythm`.
    """

    progression: Progression
    notes: Phrase
    tempo: int | None
    title: str
    remarks: tuple[str, ...]
    whole: bool
    swings: bool = False
    rhythm: str = ""


# Sources


def find_phrase(
    source: str,
    *,
    part: str | None = None,
    metre: str | Metre | None = None,
    hints: Hints = NO_HINTS,
    stdin: Callable[[], bytes] | None = None,
) -> Found:
    """The melody of a source: phrase text, a file's name, or `-` for standard input.

    `part` names a track, voice or channel, or counts them from 1; without it the highest is taken. `metre` is the one
    to read a MIDI file in where it names none or another, `hints` are what is known of how it was played. Raises OutputError if a file cannot be read, PhraseError
    or TuneError if it holds no melody that can be used, OptionError if it has no such part.

    >>> found = find_phrase("Bb4q | F5q. Eb5e D5h")
    >>> found.pickup, found.bars, len(found.notes)
    (480, 1, 4)
    """
    metre = read_metre(metre) if isinstance(metre, str) else metre
    if source == "-":
        content = stdin() if stdin is not None else from_stdin(MOST_BYTES)
        return _hinted(_found(content, "standard input", "", part, metre), hints)
    path = _file(source)
    if path is None:
        return _hinted(_text_phrase(source, "", part), hints)
    content = read_bytes(path, MOST_BYTES)
    return _hinted(_found(content, str(path), path.suffix.lower(), part, metre), hints)


def _hinted(found: Found, hints: Hints) -> Found:
    """A melody with what the player knows of it; OptionError if the first note's beat is given and is written already."""
    if found.played is not None:
        played = replace(found.played, asked=hints.tempo, first=hints.first_note_on)
        return replace(found, played=played)
    if hints.first_note_on is not None:
        hint = "In text and scores the bar lines show it: begin with a short bar for a pick-up, or with a full one and a rest."
        raise OptionError("--first-note-on needs a MIDI file", place=found.place, hint=hint)
    return found


def _file(source: str) -> Path | None:
    """The file that a source names, None if it is phrase text; OutputError if the file doesn't exist."""
    if "|" in source or "\n" in source:
        return None
    path = Path(source)
    try:
        is_folder = path.is_dir()
        if path.exists() and not is_folder:
            return path
    except (OSError, ValueError):
        return None
    if source and is_folder:
        raise OutputError("is a folder", place=source[:80], hint=_FORMS)
    if path.suffix.lower() in _ENDINGS:
        raise OutputError("no such file", place=source[:80], hint=_nearest(path))
    return None


def _nearest(path: Path) -> str:
    """The file of that folder whose name is nearest to a wrong one, or another hint."""
    try:
        names = sorted(other.name for other in path.parent.iterdir() if other.suffix.lower() in _ENDINGS)
    except OSError:
        return f"There is no folder {shorten(str(path.parent))}."
    hint = did_you_mean(path.name, names[:1000])
    return hint if hint.startswith("Did") else _FORMS


def _found(content: bytes, place: str, ending: str, part: str | None, metre: Metre | None) -> Found:
    """The melody in some bytes, whose kind is known by what they begin with, then by the file's ending."""
    if len(content) > MOST_BYTES:
        raise PhraseError(f"larger than {MOST_BYTES // 1_000_000} MB", place=place)
    if content[:4] == b"MThd" or ending in (".mid", ".midi"):
        from fillgen.readers.midi import read_midi  # noqa: PLC0415 - mido is loaded for MIDI files only

        return _played(read_midi(content, place), place, part, metre)
    if _is_score(content) or ending in (".musicxml", ".xml", ".mxl"):
        return _scored(read_score(content, place), place, part)
    text = _decoded(content, place)
    if ending == ".abc" or any(line.startswith(("X:", "K:")) for line in text.splitlines()):
        return _scored(read_abc(text, place), place, part)
    return _text_phrase(text, place, part)


def _is_score(content: bytes) -> bool:
    """Whether bytes begin as packed or plain XML does, in whatever encoding."""
    bare = content[:64].lstrip(b"\xef\xbb\xbf\xfe\xff\x00 \t\r\n")
    return content[:2] == b"PK" or bare.startswith(b"<")


def _decoded(content: bytes, place: str) -> str:
    if not content.strip():
        raise PhraseError("is empty", place=place, hint="Write notes like F5q.")
    text = decoded(content, place, _FORMS)
    if len(text) > MOST_TEXT:
        raise PhraseError(f"has {len(text)} characters; the limit is {MOST_TEXT}", place=place)
    return text


def _text_phrase(text: str, place: str, part: str | None) -> Found:
    _part_of([Voice("the phrase", ())], part, place)
    try:
        written = written_phrase(text)
    except PhraseError as error:
        if not place and len(text.split()) == 1 and ("/" in text or "." in text.rstrip(".")):
            error.hint += " There is no file with that name."
        raise error.within(place) from None
    return Found(written.notes, None, written.bars, place=place)


# Parts


def _part_of(voices: Sequence[Voice], part: str | None, place: str) -> tuple[Voice, tuple[str, ...]]:
    """The requested part, or the highest, and remarks about it."""
    if part is not None:
        return voices[_part_number(voices, part, place)], ()
    if len(voices) == 1:
        return voices[0], ()
    taken = max(voices, key=lambda voice: fmean(sound.midi for sound in voice.sounds))
    others = ", ".join(repr(voice.name) for voice in voices[:12] if voice is not taken)
    return taken, (f"The highest part was used: {taken.name!r}. There are also {others}.",)


def _part_number(voices: Sequence[Voice], part: str, place: str) -> int:
    """The index of a part named in full, counted from 1, or named by a beginning that only it has."""
    wanted = _folded(part)
    names = [_folded(voice.name) for voice in voices]
    if wanted in names:
        return names.index(wanted)
    if wanted.isdecimal() and len(wanted) < 6 and 1 <= int(wanted) <= len(voices):
        return int(wanted) - 1
    begun = [number for number, name in enumerate(names) if wanted and name.startswith(wanted)]
    if len(begun) == 1:
        return begun[0]
    there = ", ".join(f"{number} {voice.name!r}" for number, voice in enumerate(voices[:24], 1))
    near = did_you_mean(part, [voice.name for voice in voices])
    near = f"{near} " if near.startswith("Did") else ""
    what = "more than one part begins with" if begun else "no part"
    raise OptionError(f"{what} {shorten(part)}", place=place, hint=f"{near}The parts are {there}.")


def _folded(name: str) -> str:
    """A name without case and spaces."""
    return "".join(name.split()).casefold()


# Scores


def _scored(sheet: Sheet, place: str, part: str | None) -> Found:
    voice, remarks = _part_of(sheet.voices, part, place)
    metre = _signed(voice.metres, place, voice.bars)
    notes = _rounded(top_line(voice.sounds))
    if not notes:
        raise TuneError("has no notes", place=place)
    remarks = (*remarks, *sheet.remarks)
    return Found(
        notes,
        metre,
        voice.bars,
        sheet.tempo,
        sheet.title,
        voice.name,
        remarks,
        place,
        chords=sheet.chords,
        key=sheet.key,
    )


def _rounded(sounds: Sequence[Sound]) -> Phrase:
    """Sounds at the nearest ticks; what has no length left is left out."""
    notes = (Note(round(s.onset), round(s.end) - round(s.onset), s.midi, s.name) for s in sounds)
    return tuple(note for note in notes if note.length > 0)


def _signed(metres: Sequence[tuple[int, str]], place: str, bars: Sequence[int] = ()) -> Metre | None:
    """The one metre that is signed, None if none is; PhraseError if there are two, or an unsupported one."""
    for tick, name in metres[1:]:
        if name != metres[0][1]:
            number = bisect_right([0, *accumulate(bars)], tick) if bars else _bar_number(tick, metres[0][1])
            message = f"the metre changes from {metres[0][1]} to {name}"
            hint = "Give a phrase that stays in one metre; over a chart whose metre changes, give it as text."
            raise PhraseError(shorten(message, 80)[1:-1], place=f"{place}, bar {number}", hint=hint)
    if not metres:
        return None
    if metres[0][1] not in METRES:
        hint = f"Metres that work: {', '.join(METRES)}."
        raise PhraseError(f"is in {shorten(metres[0][1])[1:-1]}", place=place, hint=hint)
    return METRES[metres[0][1]]


def _bar_number(tick: int, name: str) -> int:
    """The number of the bar that a tick begins, where bars are those of a metre from the start."""
    return tick // METRES[name].bar + 1 if name in METRES else 1


# Played files


def _played(sheet: Recording, place: str, part: str | None, metre: Metre | None) -> Found:
    """A melody of a MIDI file, written in the requested metre, its own, or 4/4."""
    voice, remarks = _part_of(sheet.voices, part, place)
    line = top_line(voice.sounds)
    if not line:
        raise TuneError("has no notes", place=place)
    tempo, changes = sheet.tempo_from(line[0].onset, line[-1].end)
    metres, pickup = _pickup_at(voice.metres, line[0].onset, metre)
    start, own = _metre_at(metres, line[0].onset, line[-1].end, place, asked=metre is not None)
    line = tuple(replace(s, onset=s.onset - start, end=s.end - start) for s in line)
    timing = settled(line, metre or own or METRES["4/4"])
    if timing.notes[-1].end > MOST_BARS * (metre or own or METRES["4/4"]).bar:
        raise PhraseError(f"has more than {MOST_BARS} bars", place=place)
    notes, written = _after_pickup(timing.notes, own, pickup)
    said = (*changes, *timing.remarks(tempo or _USUAL_TEMPO))
    if timing.swing is None and is_dotted(timing.notes, metre or own or METRES["4/4"]):
        said = (*said, _PERHAPS_SWUNG)
    swings = timing.swing is not None
    exact = is_on_grid(line, metre or own or METRES["4/4"]) or timing.moved <= _NEARLY
    played = None if written else Played(line, tempo, exact=exact, remarks=(*remarks, *changes))
    every = (*remarks, *said)
    return Found(notes, own, written, tempo, sheet.title, voice.name, every, place, swings, played)


_NEARLY = 12
"""If no note is more than this many ticks off the grid, the file counts as the phrase is written."""
_PERHAPS_SWUNG = (
    "All notes off the beat come at three quarters of it: the file may be swung 3 to 1, and is read as written, in "
    "dotted figures. --rhythm or --swing settles which it is."
)


def _pickup_at(
    metres: Sequence[tuple[int, str]], first: float, asked: Metre | None
) -> tuple[Sequence[tuple[int, str]], int]:
    """The metres signed, and the ticks of a pick-up that a signature of its own marks, else 0.

    Programs that write music down sign a pick-up, say, 1/4 and the bar after it 3/4: a signature that holds for less
    than a bar of the next is no metre. It is replaced by the next one, from a bar before that.
    """
    for (tick, _), (following, name) in pairwise(metres):
        metre = METRES.get(name)
        is_asked = asked is None or (metre is not None and asked.bar == metre.bar)
        if metre and is_asked and tick <= first < following < tick + metre.bar:
            rest = [sign for sign in metres if sign[0] > following]
            return [(following - metre.bar, name), *rest], following - tick
    return metres, 0


def _after_pickup(notes: Phrase, metre: Metre | None, pickup: int) -> tuple[Phrase, tuple[int, ...]]:
    """Notes counted from a full bar, counted from a pick-up of some ticks instead; and the bars that this marks."""
    if not pickup or metre is None or notes[0].onset < metre.bar - pickup:
        return notes, ()
    notes = _moved(notes, pickup - metre.bar)
    bars = -(-(notes[-1].end - pickup) // metre.bar)
    return notes, (pickup, *[metre.bar] * bars) if bars > 0 else ()


def _metre_at(
    metres: Sequence[tuple[int, str]], first: float, end: float, place: str, *, asked: bool
) -> tuple[int, Metre | None]:
    """The metre of a melody, and the tick at which it begins to count bars.

    What is signed before the first note gives way to what comes later; what is signed after the last does not matter.
    """
    before = [sign for sign in metres if sign[0] <= first]
    start = before[0][0] if before else 0
    for (_, old), (tick, name) in pairwise(before):
        start = tick if name != old else start
    inside = [(tick - start, name) for tick, name in metres if first < tick < end]
    if asked and not inside:
        return start, METRES.get(before[-1][1]) if before else None
    return start, _signed([(0, before[-1][1]), *inside] if before else inside, place)


# A phrase and its chart


def own_chart(found: Found, *, key: str | Key | None = None, metre: str | Metre | None = None) -> str:
    """The chart that the chord symbols of a score make, as text; TuneError for a source without chord symbols."""
    if not has_chords(found.chords):
        kind = "a MIDI file has" if found.played is not None else "has" if found.part else "the phrase has"
        raise TuneError(f"{kind} no chord symbols", place=found.place, hint=_GIVE_A_CHART)
    the_metre = _agreed_metre(found, "", metre)
    laying = _on_written_bars(found, the_metre)
    home = read_key(key) if isinstance(key, str) else key or found.key
    return chart_text(
        chart_of(
            found.chords,
            the_metre,
            laying.bars,
            pickup=found.written[0] if laying.pickup else 0,
            key=home,
            title=found.title,
        )
    )


_GIVE_A_CHART = 'Give the chart before it, such as "| Ebmaj7 | Bb7 |".'


def line_up(
    found: Found, chart: str, *, key: str | Key | None = None, metre: str | Metre | None = None
) -> Reading:
    """A melody lined up with a chart, given as text.

    The chart repeats as often as a long phrase needs it, and cut where the phrase is shorter. Raises ChartError
    for a chart that cannot be read, OptionError for metres that contradict each other, PhraseError or TuneError with
    the bar where the phrase does not fit its metre.

    >>> reading = line_up(find_phrase("Bb4q | G4h Bb4h | D5w"), "| Ebmaj7 | Bb7 |")
    >>> reading.progression.first, len(reading.progression.bars), reading.whole
    (0, 3, True)
    """
    the_metre = _agreed_metre(found, chart, metre)
    progression = parse_chart(chart, key=key, metre=the_metre)
    if progression.metres:
        laying = _on_bars_of_chart(found, progression)
    elif found.played is None:
        laying = _laid_out(found, the_metre, len(progression.bars))
    else:
        found, laying = _from_file(found, found.played, the_metre, progression)
    if laying.bars > MOST_BARS:
        raise PhraseError(f"the phrase has more than {MOST_BARS} bars", place=found.place)
    played, whole, remarks = _as_long(progression, laying.bars, pickup=laying.pickup)
    notes, moved = _written(laying.notes, played, found)
    every = (*progression.remarks, *laying.top, *found.remarks, *laying.remarks, *remarks, *moved)
    title = found.title or progression.title
    return Reading(played, notes, found.tempo, title, every, whole, found.swings)


def _agreed_metre(found: Found, chart: str, asked: str | Metre | None) -> Metre:
    """The requested metre, or the one chart and phrase agree on; 4/4 if neither names one."""
    if asked is not None:
        metre = read_metre(asked) if isinstance(asked, str) else asked
        if found.metre is not None and found.written and found.metre.bar != metre.bar:
            raise OptionError(
                f"the phrase is in {found.metre.name}, but you asked for {metre.name}", place=found.place
            )
        return metre
    of_chart = stated_metre(chart)
    if of_chart is not None and found.metre is not None and of_chart != found.metre:
        hint = "Set --metre if one of them is wrong."
        message = f"the chart is in {of_chart.name}, the phrase in {found.metre.name}"
        raise OptionError(message, place=found.place, hint=hint)
    return of_chart or found.metre or METRES["4/4"]


@dataclass(frozen=True)
class _Laying:
    """A melody on the bars of its metre: the number of its bars after a pick-up, and whether there is one.

    Its notes count ticks from the bar of the pick-up, or else from the first. `top` are remarks that come first.
    """

    notes: Phrase
    bars: int
    pickup: bool
    remarks: tuple[str, ...] = ()
    top: tuple[str, ...] = ()


_PERHAPS_A_PICKUP = (
    "The phrase is one bar longer than the chart and begins after the first beat, so that its first bar may be a "
    "pick-up. It is read as bar 1; text with a short first bar, such as 'Bb4h. | D5w', is read as a pick-up."
)


def _laid_out(found: Found, metre: Metre, chart: int) -> _Laying:
    """A melody on the bars of a metre, for a chart of a number of bars."""
    if not found.written:
        laying = _without_empty_bars(found.notes, metre, chart)
    elif _lacks_a_rest(found, metre, chart):
        laying = _with_a_rest(found, metre)
    else:
        laying = _on_written_bars(found, metre)
    if laying.pickup or chart == 1 or laying.bars % chart != 1 or laying.bars == 1:
        return laying
    if laying.notes[0].onset < metre.bar / 2:
        late = laying.notes[0].onset >= metre.beat
        return replace(laying, remarks=(*laying.remarks, _PERHAPS_A_PICKUP)) if late else laying
    if laying.notes[0].onset >= metre.bar:
        remark = "The first bar is empty and was left out: the phrase is one bar longer than the chart."
        notes = _moved(laying.notes, -metre.bar)
        return _Laying(notes, laying.bars - 1, pickup=False, remarks=(*laying.remarks, remark))
    remark = "The first bar holds a pick-up: the phrase is one bar longer than the chart."
    return replace(laying, bars=laying.bars - 1, pickup=True, remarks=(*laying.remarks, remark))


def _from_file(found: Found, played: Played, metre: Metre, progression: Progression) -> tuple[Found, _Laying]:
    """A melody of a MIDI file on the bars of its chart, as the file has it or as it was played."""
    chart, first = len(progression.bars), played.first_tick(metre)
    if not played.exact:
        if len(played.sounds) > MOST_PLAYED:
            hint = "Give fewer bars of it, or quantize it to sixteenths or triplets."
            message = f"was played freely and has {len(played.sounds):,} notes; the limit is {MOST_PLAYED:,}"
            raise PhraseError(message, place=found.place, hint=hint)
        return _as_played(found, played, metre, progression)
    if first is None:
        return found, _laid_out(found, metre, chart)
    notes = _moved(found.notes, first - found.notes[0].onset)
    return found, _on_counted_bars(notes, metre, chart, pickup=False)


def _as_played(found: Found, played: Played, metre: Metre, progression: Progression) -> tuple[Found, _Laying]:
    """A performance on the bars of its chart: beat, bar and tempo are found from its onsets."""
    beat = beaten(played, metre, progression)
    before = -min(0, int(beat.sounds[0].onset // metre.bar)) * metre.bar
    sounds = [replace(sound, onset=sound.onset + before, end=sound.end + before) for sound in beat.sounds]
    timing = replace(on_places(sounds, Beats(sounds, metre, beat.turn)), moved=beat.moved)
    tempo = round(beat.tempo)
    remarks = (*played.remarks, *beat.remarks(metre), *timing.remarks(beat.tempo))
    tempo_ = found.tempo if beat.named and played.asked is None else tempo
    found = replace(found, notes=timing.notes, tempo=tempo_, remarks=remarks, swings=timing.swing is not None)
    laying = _on_counted_bars(timing.notes, metre, len(progression.bars), pickup=before > 0)
    return found, laying


def _on_counted_bars(notes: Phrase, metre: Metre, chart: int, *, pickup: bool) -> _Laying:
    """Notes whose bars are known, of which the first may be a pick-up: where the phrase is one bar longer than its chart."""
    begun = notes[-1].onset // metre.bar + 1
    pickup = pickup or (notes[0].onset >= metre.beat and chart > 1 and begun > 1 and begun % chart == 1)
    begun -= pickup
    bars = -(-notes[-1].end // metre.bar) - pickup
    if begun >= bars or begun % chart:
        return _Laying(notes, bars, pickup)
    end = (begun + pickup) * metre.bar
    held = replace(notes[-1], length=end - notes[-1].onset)
    return _Laying((*notes[:-1], held), begun, pickup, (_HELD_ON,))


_HELD_ON = "The last note is held past the end of the chart; it is cut there."


def _moved(notes: Phrase, ticks: int) -> Phrase:
    return tuple(replace(note, onset=note.onset + ticks) for note in notes)


def _lacks_a_rest(found: Found, metre: Metre, chart: int) -> bool:
    """Whether a text has as many bars as its chart, and only the first lacks less than half of its beats.

    A note that is held over the bar line leaves no place for a rest.
    """
    first, *others = found.written
    is_short = metre.bar / 2 < first < metre.bar == max(others, default=0)
    held = any(note.onset < first < note.end for note in found.notes)
    is_text = found.metre is None and not found.part
    return is_text and is_short and not held and len(found.written) == chart


def _with_a_rest(found: Found, metre: Metre) -> _Laying:
    """A text on its bars, with a rest at the end of the first."""
    first, *others = found.written
    missing = metre.bar - first
    notes = tuple(n if n.onset < first else replace(n, onset=n.onset + missing) for n in found.notes)
    laying = _on_written_bars(replace(found, notes=notes, written=(metre.bar, *others)), metre)
    remark = f"The first bar lacks {_quarters(missing)}, which a rest fills: the phrase has as many bars as the chart."
    return replace(laying, remarks=(remark, *laying.remarks))


def _on_written_bars(found: Found, metre: Metre) -> _Laying:
    """A melody whose source marks bars: all must be full but the first and the last."""
    first, others = found.written[0], found.written[1:]
    pickup = first < metre.bar and first < max(others, default=0)
    return _on_bars(found, [metre] * len(found.written[pickup:]), metre.bar, pickup=pickup)


def _on_bars_of_chart(found: Found, progression: Progression) -> _Laying:
    """A melody on the bars of a chart whose metre changes, all of which except the first and the last must be full."""
    if found.metre is not None or not found.written:
        message = f"the chart changes metre ({progression.metres_in_words})"
        raise PhraseError(
            message, place=found.place, hint="Give the phrase as text, with | between its bars."
        )
    first, chart = found.written[0], len(progression.bars)
    size = progression.size_of(0)
    pickup = (
        first < size and len(found.written) > 1 and not (len(found.written) == chart and first > size / 2)
    )
    metres = [progression.metre_of(number % chart) for number in range(len(found.written[pickup:]))]
    return _on_bars(found, metres, size, pickup=pickup)


def _on_bars(found: Found, metres: Sequence[Metre], size: int, *, pickup: bool) -> _Laying:
    """A melody on its written bars, of a metre each; a pick-up before them is the end of a bar of `size` ticks."""
    bars = _full_bars(found, found.written[pickup:], metres, 1 + pickup)
    remarks = []
    if pickup:
        remarks.append(_short_first(found.written[0]))
    if bars[-1] < metres[-1].bar:
        remarks.append(_short_last(bars[-1]))
    notes = _moved(found.notes, size - found.written[0]) if pickup else found.notes
    return _Laying(notes, len(bars), pickup, tuple(remarks))


def _short_first(ticks: int) -> str:
    return f"The first bar is short ({_quarters(ticks)}): it is read as a pick-up."


def _short_last(ticks: int) -> str:
    return f"The last bar is short ({_quarters(ticks)}): a rest follows."


def _full_bars(found: Found, bars: Sequence[int], metres: Sequence[Metre], first: int) -> list[int]:
    """The ticks of the bars, of a metre each; in a score two short measures at a repeat make one bar together."""
    if found.part:
        return [ticks for _, ticks in full_bars(bars, metres, found.place)]
    for number, (ticks, metre) in enumerate(zip(bars, metres, strict=True), first):
        if ticks > metre.bar or ticks <= 0 or (ticks < metre.bar and number < first + len(bars) - 1):
            raise wrong_bar(number, ticks, metre).within(found.place)
    return list(bars)


def _quarters(ticks: int) -> str:
    count = f"{ticks / TICKS:.4g}"
    return f"{count} quarter note{'' if count == '1' else 's'}"


def _without_empty_bars(notes: Phrase, metre: Metre, chart: int) -> _Laying:
    """A melody without bars of its own, on bars counted from its start, without the empty ones of a count-in."""
    late_start = _started_late(notes, metre, chart)
    if late_start is not None:
        return late_start
    remarks = []
    bars, empty = -(-notes[-1].end // metre.bar), notes[0].onset // metre.bar
    late = notes[0].onset % metre.bar >= metre.bar / 2
    if empty and _fits_better(bars - empty, bars, chart, late=late):
        some = "The first bar is" if empty == 1 else f"The first {empty} bars are"
        remarks.append(f"{some} empty and left out, like a count-in.")
        notes, bars = _moved(notes, -empty * metre.bar), bars - empty
    begun = notes[-1].onset // metre.bar + 1
    before = int(late and chart > 1 and begun % chart == 1)
    if before < begun < bars and (begun - before) % chart == 0:
        held = replace(notes[-1], length=begun * metre.bar - notes[-1].onset)
        notes, bars = (*notes[:-1], held), begun
        remarks.append(_HELD_ON)
    return _Laying(notes, bars, pickup=False, remarks=tuple(remarks))


def _started_late(notes: Phrase, metre: Metre, chart: int) -> _Laying | None:
    """A melody that fills the chart exactly from the beat of its first note, which is no bar line; None for another."""
    start = notes[0].onset // metre.beat * metre.beat
    if start % metre.bar == 0 or notes[-1].end - start != chart * metre.bar:
        return None
    remark = (
        f"The phrase begins {_quarters(start)} after the start of its file and fills the chart from there: its first "
        "note is read as beat 1 of bar 1. If it is a pick-up, give it as text with a short first bar."
    )
    return _Laying(_moved(notes, -start), chart, pickup=False, top=(remark,))


def _fits_better(bars: int, with_empty: int, chart: int, *, late: bool) -> bool:
    """Whether a phrase fits its chart without its empty bars, with a pick-up if it begins late, or is longer anyway."""
    if bars % chart == 0 or (late and chart > 1 and bars % chart == 1):
        return bars >= chart
    return with_empty % chart != 0 and bars >= chart


def _as_long(
    progression: Progression, bars: int, *, pickup: bool
) -> tuple[Progression, bool, tuple[str, ...]]:
    """The progression for a number of bars of phrase, after a bar for its pick-up; whether it is played to its end; remarks."""
    chart = len(progression.bars)
    rows = [[(span.chord, span.length) for span in bar] for bar in progression.bars]
    before = [[(Chord(NO_CHORD, None, None), progression.size_of(0))]] if pickup else []
    rounds = -(-bars // chart)
    keys = [span.key for span in progression.spans]
    played = laid([*before, *(rows * rounds)], [keys[0]] * pickup + keys * rounds)[: len(before) + bars]
    starts = range(len(before), len(before) + rounds * chart, chart)
    sections = tuple((start + at, name) for start in starts for at, name in progression.sections)
    remarks: tuple[str, ...] = ()
    if bars < chart:
        counts = "bar is used" if bars == 1 else f"{bars} bars are used"
        remarks = (f"The phrase has {_bars(bars)}, the chart {chart}: the chart's first {counts}.",)
    elif bars > chart:
        remarks = (f"The phrase has {_bars(bars)}, the chart {chart}: the chart repeats.",)
    sections = tuple(each for each in sections if each[0] < len(played))
    metres = (progression.metre_of(0),) * pickup + progression.metres * rounds if progression.metres else ()
    played_as = replace(
        progression,
        bars=played,
        first=0 if pickup else 1,
        sections=sections,
        metres=where_differing(metres[: len(played)], progression.metre),
    )
    return played_as, bars % chart == 0, remarks


def _bars(number: int) -> str:
    return "1 bar" if number == 1 else f"{number} bars"


def _written(notes: Phrase, progression: Progression, found: Found) -> tuple[Phrase, tuple[str, ...]]:
    """The notes as they can be written in the metre of a progression, and what had to be moved."""
    end = progression.length
    notes = tuple(replace(n, length=min(n.end, end) - n.onset) for n in notes if 0 <= n.onset < end)
    if not notes:
        raise PhraseError("has no notes in its bars", place=found.place)
    if is_writable(notes, progression.timeline):
        return notes, ()
    sounds = [Sound(note.onset, note.end, note.midi, note.name) for note in notes]
    timing = on_places(sounds, Beats(sounds, progression.metre, None))
    if not is_writable(timing.notes, progression.timeline) or timing.notes[-1].end > progression.length:
        hint = "Use sixteenths and eighth-note triplets."
        raise PhraseError(f"doesn't fit the beats of {progression.metre.name}", place=found.place, hint=hint)
    return timing.notes, timing.remarks(found.tempo or _USUAL_TEMPO)
