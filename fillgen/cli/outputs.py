"""What a command answers with: printed, or written to files whole."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import typer

from fillgen.app.formats import JSON, Content, Delivery, Target, font_for, printed_as, write_all
from fillgen.app.options import BookOptions, OutputOptions
from fillgen.cli.pager import paged
from fillgen.errors import OptionError, OutputError
from fillgen.writers.lines import TEXT_WIDTH

if TYPE_CHECKING:
    from fillgen.phrase.idea import Ideas
    from fillgen.rules.pack import RulePack


_NARROWEST, _WIDEST = 60, 120
"""The lines of text fit a terminal that is not narrower, and are no longer on a wider one, in characters."""


def width_of(targets: Sequence[Target] = ()) -> int:
    """The width of the terminal; the usual one where there is none, or where the text goes to a file."""
    if sys.stdout is None or not sys.stdout.isatty() or any(target.ending == ".txt" for target in targets):
        return TEXT_WIDTH
    return min(max(_NARROWEST, shutil.get_terminal_size((TEXT_WIDTH, 24)).columns), _WIDEST)


def note(text: object) -> None:
    """Say something beside the answer."""
    typer.echo(f"Note: {text}", err=True)


def answer(content: Content, targets: Sequence[Target], options: OutputOptions, what: str = "") -> None:
    """Print a content, or write it to the files asked for and say so; `what` is what they hold, such as `50 ideas`."""
    if targets:
        deliver(content, targets, options, what)
    else:
        print_out(content, options)


def print_out(content: Content, options: OutputOptions) -> None:
    """Print a content as text or JSON."""
    form = content.json if printed_as(options) == JSON else content.text
    assert form is not None
    if sys.stdout is None:
        raise _closed()
    show(form(), options)


def show(text: str, options: OutputOptions) -> None:
    """Print a text, through the pager where it is longer than the terminal."""
    if sys.stdout is None:
        raise _closed()
    printed = text.rstrip()
    if options.no_pager or not paged(printed):
        typer.echo(printed)


def _closed() -> OutputError:
    return OutputError("is closed", place="standard output", hint="Write to a file with -o instead.")


def check_printed(options: OutputOptions) -> None:
    """OptionError for an unknown format, and where one is named for files, which say it by their endings."""
    printed_as(options)
    if options.format is not None and options.output:
        raise OptionError(
            "--format is for printed output", hint="A file's ending sets its format, such as -o NAME.json."
        )


def deliver(content: Content, targets: Sequence[Target], options: OutputOptions, what: str = "") -> None:
    """Write a content to files, each whole or not at all, and say so."""
    deliver_all([Delivery(content, targets, what)], options)


def deliver_all(deliveries: Sequence[Delivery], options: OutputOptions) -> None:
    """Write several contents to their files, none where one can't be made, and say so."""
    for each, target, _ in write_all(deliveries, options):
        is_heard = target.is_folder or "midi" in target.format.needs or _is_sheet(target, each.content)
        what = each.content.heard if is_heard and each.content.heard else each.what
        typer.echo(f"{what} in {target.given}" if what else f"written to {target.given}", err=True)
        if target.ending == ".pdf":
            _say_unshown(each.content)
    if any(
        "drums" in each.content.look.parts and any(_is_sheet(target, each.content) for target in each.targets)
        for each in deliveries
    ):
        note("the sheet leaves out the drums.")
    sounding = [each for each in deliveries if any(_sounds(target, options) for target in each.targets)]
    if sounding:
        _say_sound([each.content for each in sounding], options)


def _is_sheet(target: Target, content: Content) -> bool:
    return not target.is_folder and target.format.is_sheet(content.forms)


def _sounds(target: Target, options: OutputOptions) -> bool:
    return options.audio if target.is_folder else target.format.is_sound


def _say_sound(contents: Sequence[Content], options: OutputOptions) -> None:
    """What played, which sounds were played by another voice, and what to mind before listening."""
    from fillgen.sound.files import stand_ins
    from fillgen.teaching.cautions import LOUDNESS

    font = font_for(options)
    if font is not None:
        note(f"played with the sound font {font.name}; --voices own is the same on every machine.")
    else:
        played = [each.midi() for each in contents if each.midi is not None]
        for sound, voice in dict(pair for midi in played for pair in stand_ins(midi)).items():
            note(f"fillgen has no voice for {sound}; {voice} plays in its place.")
    note(LOUDNESS)


_NAMED = 8
"""So many letters are named."""


def _say_unshown(content: Content) -> None:
    """Which letters a PDF can't show."""
    from fillgen.writers.sheet import unshown

    if content.handout is not None:
        from fillgen.writers.pdf import shapeless

        letters = shapeless(content.handout().title)
    else:
        assert content.sheet is not None
        letters = unshown(content.sheet(), content.look, "pdf")
    if letters:
        named = f"{' '.join(letters[:_NAMED])}{' ...' if len(letters) > _NAMED else ''}"
        note(f"the PDF cannot show {named} and has ? there; .svg and .html keep it.")


def say_older(targets: Sequence[Target], written: int, options: OutputOptions) -> None:
    """Say where a folder holds files of earlier ideas as well."""
    kind = ".wav" if options.audio else ".mid"
    for target in targets:
        older = len(list(target.path.glob(f"idea-*{kind}"))) - written if target.is_folder else 0
        if older > 0:
            note(f"{target.given} also has {older} older files named idea-*{kind}.")


def keep_in_book(
    found: Ideas,
    book: BookOptions,
    *,
    command: str,
    options: Mapping[str, Any],
    pack: RulePack,
    must: bool = False,
) -> None:
    """Remember ideas that were shown, and say under which numbers, or why not."""
    from fillgen.app.memory import remember
    from fillgen.book.store import runs

    numbers, fault = remember(found, book.book, command=command, options=options, pack=pack, must=must)
    if fault:
        note(fault[0].lower() + fault[1:])
    elif numbers:
        typer.echo(f"In the idea book: {runs(numbers)}.", err=True)
