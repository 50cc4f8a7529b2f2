"""Arguments and options that several commands share."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer


class Format(StrEnum):
    """What the answer is printed as."""

    text = "text"
    json = "json"


_CHART_HELP = (
    'Chords between bar lines, such as "| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |", a file that holds them, or - to read them '
    "from standard input. Chords of a bar share its beats; / holds a chord one more beat, % repeats a bar."
)


def rhythm_names() -> list[str]:
    """The rhythms by name, for the shell to complete."""
    from fillgen.rules.pack import RulePack

    return list(RulePack().rhythm_names)


def shape_names() -> list[str]:
    """The shapes by name, for the shell to complete."""
    from fillgen.rules.pack import RulePack

    return list(RulePack().shapes)


def sequence_names() -> list[str]:
    """The stock sequences by name, for the shell to complete."""
    from fillgen.chart.sequences import sequences as every

    return [known.name for known in every()]


def beginning(names: Callable[[], Sequence[str]]) -> Callable[[str], list[str]]:
    """A completion for the shell: the names that begin as what is typed."""
    return lambda incomplete: [name for name in names() if name.startswith(incomplete.lower())]


Chart = Annotated[str, typer.Argument(metavar="CHART", help=_CHART_HELP)]


OptionalChart = Annotated[
    str | None,
    typer.Argument(metavar="CHART", help=f"{_CHART_HELP} Left out where --sequence gives the chords."),
]


KeyOption = Annotated[
    str | None,
    typer.Option("--key", help="Key, such as Eb, 'C minor' or F#m. Found from the chords if left out."),
]


MetreOption = Annotated[
    str | None, typer.Option("--metre", help="4/4, 3/4, 2/4, 2/2, 5/4, 6/8, 9/8 or 12/8. [default: 4/4]")
]


RulesOption = Annotated[
    Path | None, typer.Option("--rules", help="A rule pack of your own, laid over the built-in ones.")
]


FormatOption = Annotated[
    Format | None, typer.Option("--format", help="How the answer is printed. [default: text]")
]


OverwriteOption = Annotated[bool, typer.Option("--overwrite", help="Replace files that exist already.")]


SeventhsOption = Annotated[
    bool, typer.Option("--sevenths", help="Add to triads the sevenths that fit the key.")
]


SlowDownOption = Annotated[bool, typer.Option("--slow-down", help="Slow down over the last bar.")]


RhythmOption = Annotated[
    str | None,
    typer.Option(
        "--rhythm",
        help="Such as swing, waltz or 'bossa nova'. [default: what suits the metre]",
        autocompletion=beginning(rhythm_names),
    ),
]


LevelOption = Annotated[
    int | None,
    typer.Option(
        "--level",
        help="1 roots, 2 chord notes, 3 passing notes, 4 syncopation, 5 colour notes. [default: 3]",
    ),
]


BusyOption = Annotated[
    str | None,
    typer.Option(
        "--busy",
        help="How many notes: few, some or many. [default: some]",
        autocompletion=beginning(lambda: ("few", "some", "many")),
    ),
]


HandOption = Annotated[
    str | None,
    typer.Option(
        "--hand",
        help="Size of hand: small, medium or large. Ideas then lie well for it, and nothing is out of its reach. "
        "[default: fingers for a medium hand, and no more]",
        autocompletion=beginning(lambda: ("small", "medium", "large")),
    ),
]
SwingOption = Annotated[
    float | None,
    typer.Option("--swing", help="First eighth to second, 1 straight to 4. [default: the rhythm's own]"),
]


FeelOption = Annotated[
    float, typer.Option("--feel", help="Small differences of timing and loudness, 0 none to 1 loose.")
]


SoundOption = Annotated[
    list[str] | None,
    typer.Option(
        "--sound",
        help="General MIDI sound of the right hand, by name or number 1 to 128, or of a part, such as "
        "'left=Drawbar Organ'. May be given several times. [default: Vibraphone]",
    ),
]
EndsOnOption = Annotated[
    str | None,
    typer.Option(
        "--ends-on",
        help="Where the last note lies in its chord: root, third, fifth, or several with commas. "
        "[default: root,third]",
    ),
]
LeadToOption = Annotated[
    str | None,
    typer.Option(
        "--lead-to", help="The tune's first note, such as G5: the last note lies within a third of it."
    ),
]
LowOption = Annotated[
    str | None, typer.Option("--low", help="Lowest note, such as D4. [default: the level's]")
]
HighOption = Annotated[
    str | None, typer.Option("--high", help="Highest note, such as A5. [default: the level's]")
]
ShapeOption = Annotated[
    str | None,
    typer.Option(
        "--shape",
        help="One shape only: arch, rise, fall, valley, wave ...",
        autocompletion=beginning(shape_names),
    ),
]
SeedOption = Annotated[
    int, typer.Option("--seed", help="Another number gives other ideas; the same, the same.")
]
TempoOption = Annotated[
    int | None, typer.Option("--tempo", help="Quarter notes a minute. [default: the rhythm's own]")
]
PhraseArgument = Annotated[
    str,
    typer.Argument(
        metavar="PHRASE",
        help='A phrase such as "F5q. Eb5e D5h | rq G5q F5h", a file that holds one (text, .mid, .musicxml, .mxl, .abc), '
        "or - to read it from standard input.",
    ),
]
PartOption = Annotated[
    str | None,
    typer.Option(
        "--part", help="The part of the file that holds the phrase, by name or number. [default: the highest]"
    ),
]
PortOption = Annotated[
    str | None,
    typer.Option(
        "--port", help="The MIDI output; a part of its name is enough. [default: the only one there is]"
    ),
]
SheetOption = Annotated[
    str | None,
    typer.Option(
        "--sheet", help="Write a sheet of music as well: .svg, .pdf, .html, .musicxml or .mei by the ending."
    ),
]
BookOption = Annotated[
    Path | None,
    typer.Option(
        "--book",
        help="Another idea book than the usual one. [default: FILLGEN_BOOK, or the user's data folder]",
    ),
]
NoBookOption = Annotated[
    bool, typer.Option("--no-book", help="Do not remember what is shown, as with FILLGEN_NO_BOOK set.")
]
SoundfontOption = Annotated[
    Path | None,
    typer.Option(
        "--soundfont",
        help="A General MIDI sound font (.sf2, .sf3) that plays a sound file, through fluidsynth. "
        "[default: voices of our own]",
    ),
]
AudioOption = Annotated[
    bool, typer.Option("--audio", help="Sound files (.wav) into a folder, in the place of MIDI files.")
]
