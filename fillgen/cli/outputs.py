"""What a command answers with: printed, or written to files whole."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

import fillgen
from fillgen.cli.inputs import now, optional_pitch
from fillgen.cli.options import Format
from fillgen.errors import FillgenError, OptionError, did_you_mean, many, shorten
from fillgen.version import __version__

if TYPE_CHECKING:
    from fillgen.cli.audio import SoundWish
    from fillgen.hands.take import Playing
    from fillgen.rules.pack import RulePack
    from fillgen.writers.entry import SheetEntry, SheetSettings

TEXT, JSON, MIDI, HTML, SVG = "text", "json", "midi", "html", "svg"
FOLDER = "/"
"""Stands for a folder among the endings of outputs."""
SOUND_ENDINGS = {".wav": MIDI, ".flac": MIDI}
"""Sound files are MIDI that is played: whatever holds for MIDI holds for them."""
_SHEETS = (".pdf", ".svg", ".musicxml", ".mei")
ENDINGS = {
    ".mid": MIDI,
    ".midi": MIDI,
    ".html": HTML,
    ".txt": TEXT,
    ".json": JSON,
    **SOUND_ENDINGS,
    FOLDER: MIDI,
}
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
        raise OptionError(f"cannot tell what to write to {shorten(output)}", hint=_way_to(ending, endings))
    if wanted is not None and by_name not in (None, wanted.value):
        raise OptionError(f"--format {wanted.value} does not go with {shorten(output)}")
    return by_name or (wanted.value if wanted else TEXT)


def _way_to(ending: str, endings: Mapping[str, str]) -> str:
    """What to do about an ending that a command does not write."""
    if ending in _SHEETS:
        return f"--sheet, or fillgen sheet, writes {ending} as a sheet of music. {_usable(endings)}"
    near = did_you_mean(ending, endings) if ending else ""
    return f"{near} {_usable(endings)}".strip()


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
    from fillgen.writers.files import write_file

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
        from fillgen.writers.document import to_json

        return to_json(found)
    from fillgen.writers.text import to_text

    return to_text(found, width=width_of())


def explained(found: fillgen.Ideas, number: int) -> str:
    """Why the notes of an idea may stand where they do, and why it ranks there."""
    from fillgen.writers.checks import explain_text

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
    heard: SoundWish | None = None,
) -> None:
    """Print ideas, or write them to the file or folder asked for."""
    if output is None:
        typer.echo(rendered(found, target), nl=False)
    else:
        write_ideas(found, output, target, played, overwrite, heard)
    for remark in found.remarks if output is not None or target != TEXT else ():
        typer.echo(f"Note: {remark}", err=True)


def write_ideas(
    found: fillgen.Ideas,
    output: str,
    target: str,
    played: tuple[Playing, dict[str, str]] | None,
    overwrite: bool,
    heard: SoundWish | None = None,
) -> None:
    """Write ideas to the file or folder asked for, whole or not at all, and say so."""
    from fillgen.writers.files import write_file, write_folder

    if target == HTML:
        _write_page(found, output, played, overwrite)
    elif target != MIDI:
        write_file(Path(output), rendered(found, target).encode(), overwrite=overwrite)
    elif played is not None and heard is not None:
        _write_sound(found, output, played, heard, overwrite)
    elif played is not None:
        from fillgen.writers.midi import to_midi, to_midi_files

        playing, sounds = played
        if is_folder(output):
            write_folder(Path(output), to_midi_files(found, playing, sounds), overwrite=overwrite)
        else:
            write_file(Path(output), to_midi(found, playing, sounds), overwrite=overwrite)
    what = "idea" if len(found) == 1 else "ideas"
    typer.echo(f"{len(found)} {what} in {output}", err=True)
    kind = heard.kind if heard is not None else ".mid"
    older = _older(Path(output), len(found), kind) if is_folder(output) else 0
    if older:
        typer.echo(f"Note: {older} older files named idea-*{kind} lie in {output} as well.", err=True)


def _write_page(
    found: fillgen.Ideas, output: str, played: tuple[Playing, dict[str, str]] | None, overwrite: bool
) -> None:
    """Write ideas as a page that is one file, and say what of the wishes it leaves to the reader."""
    from fillgen.page import build
    from fillgen.writers.files import refuse_existing, write_file

    refuse_existing(Path(output), overwrite)
    write_file(Path(output), build(found, *(played or ())), overwrite=overwrite)
    if played is not None and (played[0].times > 1 or played[0].feel or played[0].second_set):
        told = "Note: the page plays an idea once, exactly, with one set of voicings; it can loop."
        typer.echo(told, err=True)


def _write_sound(
    found: fillgen.Ideas,
    output: str,
    played: tuple[Playing, dict[str, str]],
    heard: SoundWish,
    overwrite: bool,
) -> None:
    """Write ideas as one sound file, or as one an idea into a folder."""
    from fillgen.cli.audio import put_sound, put_sounds
    from fillgen.writers.midi import to_midi, to_midi_files

    if is_folder(output):
        put_sounds(Path(output), to_midi_files(found, *played), heard, overwrite=overwrite)
    else:
        put_sound(Path(output), to_midi(found, *played), heard, overwrite=overwrite)


def _older(folder: Path, written: int, kind: str) -> int:
    """How many files of earlier ideas lie in a folder beside those just written."""
    return len(list(folder.glob(f"idea-*{kind}"))) - written


def sheet_path(sheet: str | None, output: str | None, overwrite: bool) -> Path | None:
    """The file for a sheet of music; refused before any work where it cannot be written or is the other output."""
    if sheet is None:
        return None
    from fillgen.writers.files import refuse_existing, refuse_homeless
    from fillgen.writers.sheet import kind_of

    kind_of(sheet)
    if output is not None and Path(output) == Path(sheet):
        raise OptionError(f"--output and --sheet both name {shorten(sheet)}", hint="Give one file to each.")
    for name in (sheet, output):
        if name is not None and not is_folder(name):
            refuse_existing(Path(name), overwrite)
            refuse_homeless(Path(name))
    return Path(sheet)


def write_sheet(
    path: Path | None,
    entries: Sequence[SheetEntry],
    settings: SheetSettings | None,
    overwrite: bool,
    what: str = "phrase",
) -> None:
    """Write a sheet of music where one is asked for, and say so."""
    if path is None:
        return
    from fillgen.writers.entry import USUAL
    from fillgen.writers.sheet import kind_of, unshown, write

    write(path, entries, settings or USUAL, overwrite=overwrite)
    typer.echo(f"{many(len(entries), what)} on the sheet {path}", err=True)
    _tell_unshown(unshown(entries, settings or USUAL, kind_of(str(path))))


_TOLD = 8
"""So many letters are named."""


def _tell_unshown(letters: str) -> None:
    if letters:
        named = f"{' '.join(letters[:_TOLD])}{' ...' if len(letters) > _TOLD else ''}"
        typer.echo(f"Note: the PDF cannot show {named} and has ? there; .svg and .html keep it.", err=True)


def ideas_sheet(
    path: Path | None, found: fillgen.Ideas, parts: str | None, swing: float | None, overwrite: bool
) -> None:
    """Write the sheet of ideas; with the left hand below where its part is asked for."""
    if path is None:
        return
    from fillgen.writers.entry import SheetSettings, entries_of

    both = parts is not None and "left" in parts
    write_sheet(path, entries_of(found, swing), SheetSettings(staves=2 if both else 1), overwrite)


def keep_in_book(
    found: fillgen.Ideas,
    command: str,
    options: Mapping[str, Any],
    pack: RulePack,
    file: Path | None,
    *,
    firm: bool = False,
) -> None:
    """Remember ideas that were shown, and say under which numbers.

    A book that cannot be written is told, and is an error only where `firm` or where it is named and not just busy.
    """
    from fillgen.book.door import SHORT_WAIT, Book, BusyError
    from fillgen.book.place import book_path
    from fillgen.book.store import remember, runs

    given = {name: value for name, value in options.items() if value is not None and value is not False}
    try:
        with Book(book_path(file), wait=SHORT_WAIT) as book:
            numbers = remember(
                book,
                found,
                now(),
                command=command,
                options=given,
                rules=pack.digest,
                version=__version__,
            )
    except FillgenError as error:
        if firm or (file is not None and not isinstance(error, BusyError)):
            raise
        typer.echo(f"Note: the ideas are not remembered: {' '.join(str(error).split())}", err=True)
    else:
        if numbers:
            typer.echo(f"In the idea book: {runs(numbers)}.", err=True)


def book_wish(file: Path | None, no_book: bool, *, fresh: bool = False) -> bool:
    """Whether what is shown is to be remembered; OptionError where the options contradict one another.

    BookError for a book that is named and cannot be used; the usual book is looked at only when ideas were shown.
    """
    from fillgen.book.place import OFF, is_off

    if file is not None and (no_book or is_off()):
        raise OptionError(f"--book and {'--no-book' if no_book else OFF} do not go together")
    if fresh and (no_book or is_off()):
        hint = "What was shown before stands in the idea book."
        raise OptionError(f"--fresh and {'--no-book' if no_book else OFF} do not go together", hint=hint)
    if file is not None:
        from fillgen.book.door import refuse_unusable

        refuse_unusable(file)
    return not no_book and not is_off()


def fresh_ideas(
    progression: fillgen.Progression, settings: Mapping[str, Any], pack: RulePack, file: Path | None
) -> fillgen.Ideas:
    """Ideas over a progression that the book does not know, by the settings of `fillgen.ideas`."""
    from fillgen.book.door import Book
    from fillgen.book.fresh import fresh, shown
    from fillgen.book.place import book_path

    pitches = {name: optional_pitch(settings[name], f"--{name.replace('_', '-')}") for name in _PITCHES}
    request = fillgen.Request(progression, pack=pack, **{**settings, **pitches})
    with Book(book_path(file)) as book:
        return fresh(request, shown(book, progression))


_PITCHES = ("low", "high", "lead_to")
"""The settings of ideas that are pitches by name."""
