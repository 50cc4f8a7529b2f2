"""Every option once: the groups of options that a player may give, and how each option is given.

A group is a frozen dataclass: it holds the type and the default of every option in it. `IdeaOptions` and `PlayOptions` live
beside the code that uses them; the groups of the application are here. A row of `OPTIONS` says how a field is given: its
flags on the command line (whose first, without dashes, is its name in JSON), its help, and the values a shell can offer.
The commands, the page's server, `batch` and the Python API all take these groups.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fillgen.engine.request import ENDS_ON, MOST_IDEAS, PURPOSES, IdeaOptions
from fillgen.hands.playing import BASSES, CLOSES, ENTRIES, LEFT_STYLES, PARTS, SECONDS, PlayOptions
from fillgen.hands.reach import SIZES
from fillgen.rules.pack import BUSY
from fillgen.theory.metre import METRES
from fillgen.writers.look import PAPERS, VIEWS, SheetOptions

__all__ = [
    "CHART",
    "FIRST_NOTE_ON",
    "HEADINGS",
    "LAST",
    "ONLY",
    "OPTIONS",
    "PART",
    "PHRASE",
    "PORT",
    "RULES",
    "TASTE",
    "BookOptions",
    "CheckOptions",
    "ChordOptions",
    "FillOptions",
    "IdeaOptions",
    "Option",
    "OutputOptions",
    "PlayOptions",
    "SequenceOptions",
    "SheetOptions",
    "VaryOptions",
    "given",
]


@dataclass(frozen=True, slots=True)
class Option:
    """How an option is given.

    `kind` is what one value is read as; `many` options may be given several times, `words` are parted by commas.
    `values` are those a shell can complete; the help lists them unless they're too many to be `listed`, in families where
    there are any. A row without flags is a positional argument, named by `metavar`.
    """

    flags: tuple[str, ...]
    help: str
    kind: type = str
    many: bool = False
    words: bool = False
    values: Callable[[], Sequence[str]] | None = None
    metavar: str | None = None
    listed: bool = True
    families: Callable[[], Mapping[str, Sequence[str]]] | None = None

    @property
    def name(self) -> str:
        """The name in JSON and in messages, such as `ends_on`."""
        name = self.flags[0].split("/")[0].lstrip("-") if self.flags else (self.metavar or "").lower()
        return name.replace("-", "_")


@dataclass(frozen=True, kw_only=True)
class ChordOptions:
    """Which chords: a chart (text, a file, or - for standard input) or a stock sequence by name."""

    chart: str | None = None
    sequence: str | None = None
    key: str | None = None
    metre: str | None = None
    sevenths: bool = False


@dataclass(frozen=True, kw_only=True)
class CheckOptions:
    """How a phrase is checked: at a level, or at the lowest that fits (`auto`), and within which bounds."""

    level: str | None = None
    tempo: int | None = None
    rhythm: str | None = None
    low: str | int | None = None
    high: str | int | None = None
    ends_on: Sequence[str] | None = None
    lead_to: str | int | None = None
    hand: str | None = None
    strict: bool = False


@dataclass(frozen=True, kw_only=True)
class VaryOptions:
    """What is kept of a phrase, and what becomes of the rest."""

    keep: tuple[str, ...] = ()
    mirror: bool = False
    level_as: int | None = None
    move_to: str | None = None
    like: bool = False
    unlike: bool = False
    answer: bool = False


@dataclass(frozen=True, kw_only=True)
class FillOptions:
    """Whether fills are put into a tune, where they may come, how many, and which of them."""

    fills: bool = False
    gap: float | None = None
    how_many: str | None = None
    only: str | None = None


@dataclass(frozen=True, kw_only=True)
class SequenceOptions:
    """Which stock sequences, and how they are spelled: in a key, or led to a chord."""

    purpose: str | None = None
    key: str | None = None
    bars: int | None = None
    metre: str | None = None
    to: str | None = None
    sevenths: bool = False


@dataclass(frozen=True, kw_only=True)
class OutputOptions:
    """Where the answer goes: files by their endings, or printed where none is named."""

    output: tuple[str, ...] = ()
    format: str | None = None
    audio: bool = False
    soundfont: Path | None = None
    voices: str | None = None
    overwrite: bool = False
    no_pager: bool = False


@dataclass(frozen=True, kw_only=True)
class BookOptions:
    """Which idea book is used, if any."""

    book: Path | None = None
    no_book: bool = False


def _rhythms() -> Sequence[str]:
    from fillgen.rules.pack import RulePack  # noqa: PLC0415 - read only when a shell asks

    return tuple(RulePack().rhythm_names)


def _shapes() -> Sequence[str]:
    from fillgen.rules.pack import RulePack  # noqa: PLC0415

    return tuple(RulePack().shapes)


def _sequences() -> Sequence[str]:
    from fillgen.chart.sequences import sequences  # noqa: PLC0415

    return tuple(known.name for known in sequences())


def _sounds() -> Sequence[str]:
    from fillgen.hands.instruments import sound_names  # noqa: PLC0415

    return sound_names()


def _sound_families() -> Mapping[str, Sequence[str]]:
    from fillgen.hands.instruments import sound_families  # noqa: PLC0415

    return sound_families()


CHART = Option(
    (),
    'Chords between bar lines, such as "| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |", a file that holds them, or - for standard '
    "input. Chords of a bar share its beats; / holds a chord one more beat, % repeats a bar. Without any |, each chord is "
    "a bar.",
    metavar="CHART",
)
PHRASE = Option(
    (),
    'A phrase such as "F5q. Eb5e D5h | rq G5q F5h", a file that holds one (text, .mid, .musicxml, .mxl, .abc), or - '
    "for standard input.",
    metavar="PHRASE",
)
RULES = Option(("--rules",), "A rule pack of your own, laid over the built-in ones.", Path)
PART = Option(
    ("--part",), "The part of the file that holds the phrase, by name or number. [default: the highest]"
)
FIRST_NOTE_ON = Option(
    ("--first-note-on",),
    "The beat of the bar on which a MIDI file's first note falls, such as 2 or 1.5. [default: found from the playing]",
    float,
)
PORT = Option(("--port",), "The MIDI output; part of its name is enough. [default: the only one there is]")
ONLY = Option(("--only",), "Only these ideas, by rank, such as 1,4 or 1-6. [default: all]")
TASTE = Option(
    ("--taste",),
    "Rank by what your stars in the idea book say you like, once they say it clearly. The stars are read on this machine "
    "and stay on it; fillgen book taste shows what they say.",
    bool,
)
LAST = Option(
    ("--last",),
    "The numbers are ranks in what was shown last, not numbers of the idea book.",
    bool,
)
_RHYTHM = Option(
    ("--rhythm",),
    "The rhythm; names of several words go in quotes. [default: what suits the metre]",
    values=_rhythms,
)
_TEMPO = Option(("--tempo",), "Quarter notes a minute. [default: the rhythm's own]", int)
_LOW = Option(("--low",), "Lowest note, such as D4. [default: the level's]")
_HIGH = Option(("--high",), "Highest note, such as A5. [default: the level's]")
_ENDS_ON = Option(
    ("--ends-on",),
    f"Where the last note lies in its chord: {', '.join(ENDS_ON)}, or several with commas. [default: root,third]",
    words=True,
    values=lambda: ENDS_ON,
)
_LEAD_TO = Option(
    ("--lead-to",),
    "The tune's first note, such as G5: the last note lies within a third of it. Without an octave, the nearest.",
)
_HAND = Option(
    ("--hand",),
    "Size of hand: small, medium or large. Ideas then stay within its reach, and fingers and stretches are judged by it. "
    "[default: fingers of a medium hand, no limit on reach]",
    values=lambda: SIZES,
)
OPTIONS: Mapping[type, Mapping[str, Option]] = {
    ChordOptions: {
        "chart": CHART,
        "sequence": Option(
            ("--sequence",),
            "A stock chord sequence by name, in place of a chart; fillgen sequences lists them.",
            values=_sequences,
            listed=False,
        ),
        "key": Option(
            ("--key",),
            "Key the chart begins in, such as Eb, 'C minor' or 'F blues'. Found from the chords if left out.",
        ),
        "metre": Option(
            ("--metre",),
            "The metre. [default: the rhythm's, if it has only one, or 4/4]",
            values=lambda: tuple(METRES),
        ),
        "sevenths": Option(("--sevenths",), "Add to triads the sevenths that fit the key.", bool),
    },
    IdeaOptions: {
        "count": Option(("--count", "-n"), f"How many, 1 to {MOST_IDEAS}.", int),
        "seed": Option(("--seed",), "Same seed, same ideas.", int),
        "tempo": _TEMPO,
        "rhythm": _RHYTHM,
        "level": Option(
            ("--level",),
            "1 roots, 2 chord notes, 3 passing notes, 4 syncopation, 5 colour notes. [default: 3]",
            int,
        ),
        "busy": Option(
            ("--busy",), "How many notes: few, some or many. [default: some]", values=lambda: BUSY
        ),
        "shape": Option(("--shape",), "One shape of line only.", values=_shapes),
        "low": _LOW,
        "high": _HIGH,
        "purpose": Option(
            ("--for",),
            f"What it is for: {', '.join(PURPOSES[:-1])} or {PURPOSES[-1]}.",
            values=lambda: PURPOSES,
        ),
        "ends_on": _ENDS_ON,
        "lead_to": _LEAD_TO,
        "hand": _HAND,
    },
    CheckOptions: {
        "level": Option(
            ("--level",), "1 to 5, or auto for the lowest that the phrase fits, 5 if none. [default: 3]"
        ),
        "tempo": Option(
            ("--tempo",), "Quarter notes a minute. [default: the phrase's own if it has one, or 120]", int
        ),
        "rhythm": _RHYTHM,
        "low": _LOW,
        "high": _HIGH,
        "ends_on": _ENDS_ON,
        "lead_to": _LEAD_TO,
        "hand": _HAND,
        "strict": Option(
            ("--strict",), "Count matters of style and of the level as seriously as clashes.", bool
        ),
    },
    VaryOptions: {
        "keep": Option(
            ("--keep",),
            "What to keep: bars (1,2 or 1-3), rhythm, pitches or contour, or several with commas.",
            many=True,
        ),
        "mirror": Option(("--mirror",), "Turn it upside down, in the same rhythm.", bool),
        "level_as": Option(("--as",), "The same phrase, easier or harder: at this level, 1 to 5.", int),
        "move_to": Option(("--move-to",), "Into another key, chords and notes, such as Ab or 'F# minor'."),
        "like": Option(("--like",), "Small changes only.", bool),
        "unlike": Option(("--unlike",), "As different as possible over the same chart.", bool),
        "answer": Option(("--answer",), "Phrases that answer it.", bool),
    },
    PlayOptions: {
        "parts": Option(
            ("--parts",),
            f"Parts that sound: {', '.join(PARTS)}, or several with commas; without right they are a backing track. "
            "[default: right; all four with --for]",
            words=True,
            values=lambda: PARTS,
        ),
        "times": Option(
            ("--times",), "How many times an idea or a backing track is played, without a gap.", int
        ),
        "second_set": Option(
            ("--second-set",), "The left hand plays its second-best voicings every other time.", bool
        ),
        "count_in": Option(
            ("--count-in/--no-count-in",),
            "A bar of clicks first, before each idea, a backing track or a session.",
            bool,
        ),
        "swing": Option(
            ("--swing",),
            "How long the first eighth is compared with the second: 1 even, 2 the usual swing, up to 4. [default: the rhythm's own]",
            float,
        ),
        "feel": Option(
            ("--feel",),
            "How it is played: 0 exactly as it's written, up to 1 loose, in loudness, lengths and timing.",
            float,
        ),
        "close": Option(
            ("--close",),
            "How it closes: the last note held, button (short) or fading (twice more, softer). [default: held with --for ending]",
            values=lambda: CLOSES,
        ),
        "slow_down": Option(("--slow-down",), "Slow down over the last notes.", bool),
        "bass": Option(("--bass",), "Where the bass lies: keyboard or pedals.", values=lambda: BASSES),
        "span": Option(
            ("--span",),
            "How far the left hand reaches, in half steps. [default: 12, for a small hand 9]",
            int,
        ),
        "left": Option(
            ("--left",),
            f"How the left hand plays: {', '.join(LEFT_STYLES[:-1])} or {LEFT_STYLES[-1]}. [default: what suits the "
            "rhythm; held for the sound of an organ or strings, strummed for a guitar]",
            values=lambda: LEFT_STYLES,
        ),
        "enter": Option(
            ("--enter",),
            "How the parts come in: together, or thin, first without bass and drums. [default: thin with --for intro]",
            values=lambda: ENTRIES,
        ),
        "sound": Option(
            ("--sound",),
            "Sound of the right hand, such as flute, or of a part, such as 'left=organ': a name that players say, a "
            "General MIDI name or its number, 1 to 128. May be given several times. [default: Vibraphone]",
            many=True,
            values=_sounds,
            families=_sound_families,
        ),
        "second": Option(
            ("--second",),
            f"Notes under the right hand's line, as far as one hand can play them: {', '.join(SECONDS[:-1])} or {SECONDS[-1]}.",
            values=lambda: SECONDS,
        ),
    },
    SheetOptions: {
        "view": Option(
            ("--view",),
            "What a sheet shows: the right hand with fingering, a lead sheet (line and chord symbols), or two hands.",
            values=lambda: VIEWS,
        ),
        "note_names": Option(("--note-names",), "Print the name of each note under it, for beginners.", bool),
        "fingers": Option(
            ("--fingers/--no-fingers",),
            "Print fingers above the notes. [default: yes, except on a lead sheet]",
            bool,
        ),
        "articulation": Option(
            ("--articulation/--no-articulation",),
            "Print slurs, accents and a dynamic, as they are played. [default: with two hands]",
            bool,
        ),
        "paper": Option(("--paper",), "Paper of a PDF: a4 or letter.", values=lambda: tuple(PAPERS)),
        "title": Option(("--title",), "The title of a sheet. [default: the chart's, if it has one]"),
        "author": Option(("--author",), "The author's name, printed on the sheet."),
        "columns": Option(("--columns",), "Columns of a PDF: 1, or 2 for ideas of up to four bars.", int),
    },
    FillOptions: {
        "fills": Option(
            ("--fills",), "Write fills where the tune rests or holds a note, as a part of their own.", bool
        ),
        "gap": Option(
            ("--gap",),
            "The shortest rest or held note to fill, in beats, 1 to 16. [default: 2]",
            float,
        ),
        "how_many": Option(
            ("--how-many",),
            "How many fills: a number, or a share of the places such as 50%. [default: as many as leave a bar of the tune between two]",
        ),
        "only": Option(("--only",), "Only some of the fills, by number: such as 2,5 or 1-3."),
    },
    SequenceOptions: {
        "purpose": Option(
            ("--for",),
            "Only for an intro, turnaround, ending or vamp.",
            values=lambda: (*PURPOSES, "vamp"),
        ),
        "key": Option(("--key",), "Spell the chords in this key. [default: C, A minor]"),
        "bars": Option(("--bars",), "Only with this many bars.", int),
        "metre": Option(
            ("--metre",), "Only those that can be played in this metre.", values=lambda: tuple(METRES)
        ),
        "to": Option(("--to",), "The tune's first chord, such as Fm7: the last chord then leads there."),
        "sevenths": Option(("--sevenths",), "Add to triads the sevenths that fit the key.", bool),
    },
    OutputOptions: {
        "output": Option(
            ("--output", "-o"),
            "Write to a file by its ending instead, or to a folder (NAME/). May be given several times.",
            many=True,
        ),
        "format": Option(
            ("--format",),
            "How the answer is printed: text or json. [default: text]",
            values=lambda: ("text", "json"),
        ),
        "audio": Option(("--audio",), "Sound files (.wav) into a folder, in place of MIDI files.", bool),
        "soundfont": Option(
            ("--soundfont",),
            "A General MIDI sound font (.sf2, .sf3) that plays sound files, through fluidsynth. "
            "[default: FILLGEN_SOUNDFONT, or one in the usual places]",
            Path,
        ),
        "voices": Option(
            ("--voices",),
            "What plays sound files: font, a sound font, or own, fillgen's voices, the same on every machine. "
            "[default: font where fluidsynth and a font are installed]",
            values=lambda: ("own", "font"),
        ),
        "overwrite": Option(("--overwrite",), "Replace files that exist already.", bool),
        "no_pager": Option(
            ("--no-pager",), "Print a long answer on a terminal in one go, as with an empty PAGER.", bool
        ),
    },
    BookOptions: {
        "book": Option(
            ("--book",),
            "A different idea book. [default: FILLGEN_BOOK, or the user's data folder]",
            Path,
        ),
        "no_book": Option(("--no-book",), "Don't remember what is shown, as with FILLGEN_NO_BOOK set.", bool),
    },
}
"""How each option of each group is given. A field without a row can't be given."""

HEADINGS: Mapping[type, str] = {
    ChordOptions: "Chords",
    IdeaOptions: "The ideas",
    CheckOptions: "How it is judged",
    VaryOptions: "What is kept, what becomes of the rest",
    PlayOptions: "How it is played",
    SheetOptions: "How a sheet looks",
    FillOptions: "Fills",
    SequenceOptions: "Which sequences",
    OutputOptions: "Where it goes",
    BookOptions: "The idea book",
}
"""Under which heading the help lists a group."""


def given(options: Any) -> dict[str, Any]:
    """The options of a group that differ from their defaults, by their names on the command line.

    >>> given(IdeaOptions(seed=4, purpose="intro"))
    {'seed': 4, 'for': 'intro'}
    """
    usual, rows = type(options)(), OPTIONS[type(options)]
    values = {
        row.name: (getattr(options, field), getattr(usual, field)) for field, row in rows.items() if row.flags
    }
    return {name: value for name, (value, default) in values.items() if value != default}
