"""What a command answers with: printed, or written to files whole."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

import fillgen
from fillgen.cli.options import Format
from fillgen.errors import OptionError, shorten

if TYPE_CHECKING:
    from fillgen.arrange import Playing

TEXT, JSON, MIDI, HTML, SVG = "text", "json", "midi", "html", "svg"
FOLDER = "/"
"""Stands for a folder among the endings of outputs."""
ENDINGS = {".mid": MIDI, ".midi": MIDI, ".txt": TEXT, ".json": JSON, FOLDER: MIDI}
"""What ideas can be written to, by the ending of the name."""


def target_of(output: str | None, wanted: Format | None, endings: Mapping[str, str] = ENDINGS) -> str:
    """What is to be made, from the name of the output and the format asked for; text where neither says."""
    if output is None:
        return wanted.value if wanted else TEXT
    if not output.strip():
        raise OptionError(f"the output {output!r} is no name", hint=f"Such as -o ideas{next(iter(endings))}.")
    ending = Path(output).suffix.lower()
    by_name = endings.get(FOLDER if is_folder(output) else ending)
    if by_name is None and (wanted is None or ending or is_folder(output)):
        raise OptionError(f"cannot tell what to write to {shorten(output)}", hint=_usable(endings))
    if wanted is not None and by_name not in (None, wanted.value):
        raise OptionError(f"--format {wanted.value} does not go with {shorten(output)}")
    return by_name or (wanted.value if wanted else TEXT)


def _usable(endings: Mapping[str, str]) -> str:
    """The names that outputs may have, as a sentence."""
    words = [ending for ending in endings if ending not in (FOLDER, ".midi")]
    if FOLDER in endings:
        words.append("a folder name with / at its end")
    return f"Use {', '.join(words[:-1])} or {words[-1]}."


def width_of() -> int:
    """The width of the terminal, 100 where there is none."""
    return max(60, shutil.get_terminal_size((100, 24)).columns if sys.stdout.isatty() else 100)


def put_out(answer: str, output: str | None, overwrite: bool) -> None:
    """Print an answer, or write it to the file asked for and say so."""
    from fillgen.render.files import write_file

    if output is None:
        typer.echo(answer.rstrip())
        return
    write_file(Path(output), f"{answer.rstrip()}\n".encode(), overwrite=overwrite)
    typer.echo(f"written to {output}", err=True)


def is_folder(output: str) -> bool:
    """Whether an output names a folder, by its end or because there is one."""
    try:
        return output.endswith(("/", os.sep)) or Path(output).is_dir()
    except (OSError, ValueError):
        return False


def rendered(found: fillgen.Ideas, target: str) -> str:
    """Ideas as text, as wide as the terminal, or as JSON."""
    if target == JSON:
        from fillgen.render.document import to_json

        return to_json(found)
    from fillgen.render.text import to_text

    return to_text(found, width=width_of())


def explained(found: fillgen.Ideas, number: int) -> str:
    """Why the notes of an idea may stand where they do, and why it ranks there."""
    from fillgen.render.checks import explain_text

    notes = "".join(f"\nNote: {remark}" for remark in found.remarks)
    return f"{explain_text(found, number, width_of())}{notes}"


def json_text(document: dict[str, Any]) -> str:
    """A document as JSON text."""
    import json

    return json.dumps(document, ensure_ascii=False, indent=1)


def show_ideas(
    found: fillgen.Ideas,
    output: str | None,
    target: str,
    played: tuple[Playing, dict[str, str]] | None,
    overwrite: bool,
) -> None:
    """Print ideas, or write them to the file or folder asked for."""
    if output is None:
        typer.echo(rendered(found, target), nl=False)
    else:
        write_ideas(found, output, target, played, overwrite)
    for remark in found.remarks if output is not None or target != TEXT else ():
        typer.echo(f"Note: {remark}", err=True)


def write_ideas(
    found: fillgen.Ideas,
    output: str,
    target: str,
    played: tuple[Playing, dict[str, str]] | None,
    overwrite: bool,
) -> None:
    """Write ideas to the file or folder asked for, whole or not at all, and say so."""
    from fillgen.render.files import write_file, write_folder

    if target != MIDI:
        write_file(Path(output), rendered(found, target).encode(), overwrite=overwrite)
    elif played is not None:
        from fillgen.midi import to_midi, to_midi_files

        playing, sounds = played
        if is_folder(output):
            write_folder(Path(output), to_midi_files(found, playing, sounds), overwrite=overwrite)
        else:
            write_file(Path(output), to_midi(found, playing, sounds), overwrite=overwrite)
    what = "idea" if len(found) == 1 else "ideas"
    typer.echo(f"{len(found)} {what} in {output}", err=True)
    older = _older(Path(output), len(found)) if is_folder(output) else 0
    if older:
        typer.echo(f"Note: {older} older files named idea-*.mid lie in {output} as well.", err=True)


def _older(folder: Path, written: int) -> int:
    """How many files of earlier ideas lie in a folder beside those just written."""
    return len(list(folder.glob("idea-*.mid"))) - written
