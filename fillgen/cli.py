"""The command line. This is the one module that knows typer."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer

import fillgen
from fillgen.errors import FillgenError, OptionError, OutputError, shorten

app = typer.Typer(
    name="fillgen",
    help="Right-hand ideas for a chord chart: intros, turnarounds, endings and fills that fit every chord.",
    epilog="Practise in short turns, stop when a hand hurts, and keep headphones low. "
    "Ask a teacher or a doctor about pain that stays.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

_TEXT, _JSON, _MIDI = "text", "json", "midi"
_ENDINGS = {".txt": _TEXT, ".json": _JSON, ".mid": _MIDI, ".midi": _MIDI}


class Format(StrEnum):
    """What the answer is printed as."""

    text = "text"
    json = "json"


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"fillgen {fillgen.__version__}")
        raise typer.Exit


@app.callback()
def _fillgen(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Take the options that stand before a command."""


Chart = Annotated[
    str,
    typer.Argument(
        metavar="CHART",
        help='Chords between bar lines, such as "| C | Am7 | Dm7 | G7 |", a file that holds them, or - to read '
        "them from standard input. Chords of a bar share its beats; / holds a chord one more beat, % repeats a bar.",
    ),
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


@app.command()
def ideas(
    chart: Chart,
    count: Annotated[int, typer.Option("--count", "-n", help="How many ideas, 1 to 1000.")] = 50,
    seed: Annotated[
        int, typer.Option("--seed", help="Another number gives other ideas; the same, the same.")
    ] = 0,
    key: KeyOption = None,
    metre: MetreOption = None,
    tempo: Annotated[
        int | None, typer.Option("--tempo", help="Quarter notes a minute. [default: the rhythm's own]")
    ] = None,
    rhythm: Annotated[
        str | None,
        typer.Option(
            "--rhythm", help="Such as swing, waltz or 'bossa nova'. [default: what suits the metre]"
        ),
    ] = None,
    level: Annotated[
        int | None,
        typer.Option(
            "--level",
            help="1 roots, 2 chord notes, 3 passing notes, 4 syncopation, 5 colour notes. [default: 3]",
        ),
    ] = None,
    busy: Annotated[
        str | None, typer.Option("--busy", help="How many notes: few, some or many. [default: some]")
    ] = None,
    shape: Annotated[
        str | None, typer.Option("--shape", help="One shape only: arch, rise, fall, valley, wave ...")
    ] = None,
    low: Annotated[
        str | None, typer.Option("--low", help="Lowest note, such as D4. [default: the level's]")
    ] = None,
    high: Annotated[
        str | None, typer.Option("--high", help="Highest note, such as A5. [default: the level's]")
    ] = None,
    purpose: Annotated[
        str | None, typer.Option("--for", help="What it is for: intro, turnaround or ending.")
    ] = None,
    ends_on: Annotated[
        str | None,
        typer.Option(
            "--ends-on",
            help="Where the last note lies in its chord: root, third, fifth, or several with commas. "
            "[default: root,third]",
        ),
    ] = None,
    lead_to: Annotated[
        str | None,
        typer.Option(
            "--lead-to", help="The tune's first note, such as G5: the last note lies within a third of it."
        ),
    ] = None,
    sound: Annotated[
        str | None,
        typer.Option("--sound", help="General MIDI sound, by name or number 1 to 128. [default: Vibraphone]"),
    ] = None,
    format_: Annotated[
        Format | None, typer.Option("--format", help="How the answer is printed. [default: text]")
    ] = None,
    output: Annotated[
        str | None,
        typer.Option(
            "--output",
            "-o",
            help="Write to a file instead: .mid all ideas in one file, .txt, .json; or FOLDER/ for one MIDI file an "
            "idea.",
        ),
    ] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace files that exist already.")] = False,
    rules: RulesOption = None,
) -> None:
    """Fifty right-hand ideas over a chart, best first.

    Every idea keeps the rules of its level: chord notes on the strong beats, passing notes that go somewhere, and a
    last note from which the tune can begin.
    """
    target = _target(output, format_)
    found = fillgen.ideas(
        _chart_text(chart),
        key=key,
        metre=metre,
        count=count,
        seed=seed,
        tempo=tempo,
        rhythm=rhythm,
        level=level,
        busy=busy,
        shape=shape,
        low=low,
        high=high,
        purpose=purpose,
        ends_on=ends_on.split(",") if ends_on is not None else None,
        lead_to=lead_to,
        rules=rules,
    )
    if output is None:
        typer.echo(_rendered(found, target), nl=False)
    else:
        _write(found, output, target, sound, overwrite)
    for remark in found.remarks if output is not None or target != _TEXT else ():
        typer.echo(f"Note: {remark}", err=True)


def _target(output: str | None, wanted: Format | None) -> str:
    """What is to be made: text, json or midi, from the name of the output and the format asked for."""
    if output is None:
        return wanted.value if wanted else _TEXT
    ending = Path(output).suffix.lower()
    by_name = _MIDI if _is_folder(output) else _ENDINGS.get(ending)
    if by_name is None and (wanted is None or ending):
        hint = "Use .mid, .txt, .json, or a folder name with / at its end."
        raise OptionError(f"cannot tell what to write to {shorten(output)}", hint=hint)
    if wanted is not None and by_name not in (None, wanted.value):
        raise OptionError(f"--format {wanted.value} does not go with {shorten(output)}")
    return by_name or (wanted.value if wanted else _TEXT)


def _is_folder(output: str) -> bool:
    return output.endswith(("/", os.sep)) or Path(output).is_dir()


def _rendered(found: fillgen.Ideas, target: str) -> str:
    if target == _JSON:
        from fillgen.render.document import to_json

        return to_json(found)
    from fillgen.render.text import to_text

    width = shutil.get_terminal_size((100, 24)).columns if sys.stdout.isatty() else 100
    return to_text(found, width=max(60, width))


def _write(found: fillgen.Ideas, output: str, target: str, sound: str | None, overwrite: bool) -> None:
    from fillgen.render.files import write_file, write_folder

    if target != _MIDI:
        write_file(Path(output), _rendered(found, target).encode(), overwrite=overwrite)
    else:
        from fillgen.render.midi import to_midi, to_midi_files
        from fillgen.rulepack import RulePack
        from fillgen.sounds import program

        number = program(sound or RulePack().default("sound"))
        if _is_folder(output):
            write_folder(Path(output), to_midi_files(found, number), overwrite=overwrite)
        else:
            write_file(Path(output), to_midi(found, number), overwrite=overwrite)
    what = "idea" if len(found) == 1 else "ideas"
    typer.echo(f"{len(found)} {what} in {output}", err=True)


@app.command()
def rules(
    name: Annotated[
        str | None, typer.Argument(metavar="[NAME]", help="A rule, level, rhythm or shape to explain.")
    ] = None,
    check: Annotated[
        Path | None, typer.Option("--check", help="Check a rule pack of your own, and say what it adds.")
    ] = None,
    rules: RulesOption = None,
) -> None:
    """List the levels, rules, rhythms and shapes, or explain one of them."""
    from fillgen.render.rulebook import explain, listing
    from fillgen.rulepack import RulePack

    if check is not None:
        pack = RulePack.read(check)
        told = ", ".join(f"{len(rows)} {group}" for group, rows in pack.own.items()) or "nothing"
        typer.echo(f"{check} is a sound rule pack. It gives: {told}.")
    pack = RulePack.read(rules) if rules is not None else RulePack()
    if name is not None:
        typer.echo(explain(name, pack))
    elif check is None:
        typer.echo(listing(pack))


# Input


def _chart_text(chart: str) -> str:
    """The text of a chart that is given as text, as a file name, or as - for standard input."""
    if chart == "-":
        return _decoded(sys.stdin.buffer.read(_limit() + 1), "standard input")
    if "|" in chart or "\n" in chart:
        return chart
    try:
        is_file = Path(chart).is_file()
    except (OSError, ValueError):
        is_file = False
    if is_file:
        return _file_text(Path(chart))
    if Path(chart).suffix.lower() in {
        ".txt",
        ".chart",
        ".chords",
        ".md",
        ".mid",
        ".json",
        ".xml",
        ".musicxml",
    }:
        raise OutputError(
            "no such file", place=chart[:80], hint="Give chart text or the name of a chart file."
        )
    return chart


def _file_text(path: Path) -> str:
    try:
        with path.open("rb") as file:
            return _decoded(file.read(_limit() + 1), str(path))
    except OSError as error:
        raise OutputError(f"cannot be read: {error.strerror}", place=str(path)) from error


def _decoded(content: bytes, place: str) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise OutputError(
            f"not text (byte {error.start} is not UTF-8)", place=place, hint="A chart is a plain text file."
        ) from None


def _limit() -> int:
    from fillgen.parse import MOST_TEXT

    return 4 * MOST_TEXT


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line; exit with 2 and a message for bad input."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure: Any = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")
    try:
        app(args=list(arguments) if arguments is not None else None)
    except FillgenError as error:
        typer.echo(f"fillgen: {error}", err=True)
        sys.exit(2)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(141)
