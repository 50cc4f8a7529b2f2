"""The output formats: one table of what a file can be, what it can hold, and who writes it.

A command says what it has as a `Content`: makers of text, JSON, MIDI, notation or a page, each called only when a file wants
it. The commands, the page's server and the idea book all write through this table.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from fillgen.app.options import OPTIONS, OutputOptions
from fillgen.errors import OptionError, did_you_mean, listed, shorten
from fillgen.writers.look import USUAL, SheetOptions

if TYPE_CHECKING:
    from fillgen.writers.entry import SheetEntry
    from fillgen.writers.handout import Handout

TEXT, JSON = "text", "json"
FOLDER = "/"
"""Stands for a folder among the endings."""


@dataclass(frozen=True, kw_only=True)
class Content:
    """What there is to write, each form made when it's asked for; None where there is no such form.

    `midi` is one MIDI file, `files` are MIDI files by name for a folder, `sheet` are the entries of a sheet of music,
    `handout` is what a class is given, on paper or as a page, `page` is HTML that plays, `score` is MusicXML where it isn't
    made from the sheet's entries. `heard` says what MIDI, sound and sheets hold, where that is something else than the other
    forms.
    """

    text: Callable[[], str] | None = None
    json: Callable[[], str] | None = None
    midi: Callable[[], bytes] | None = None
    files: Callable[[], Mapping[str, bytes]] | None = None
    sheet: Callable[[], Sequence[SheetEntry]] | None = None
    page: Callable[[], bytes] | None = None
    score: Callable[[], bytes] | None = None
    handout: Callable[[], Handout] | None = None
    look: SheetOptions = USUAL
    heard: str = ""

    @property
    def forms(self) -> frozenset[str]:
        """The names of the forms that there are."""
        forms = (each for kind in FORMATS.values() for each in kind.needs)
        return frozenset(each for each in forms if getattr(self, each) is not None)


_Write = Callable[[Content, OutputOptions], bytes]


@dataclass(frozen=True)
class Format:
    """A kind of file: its media type (IANA; W3C for MusicXML), the forms of a content it can be made from, its writer."""

    media: str
    needs: tuple[str, ...]
    write: _Write
    is_sound: bool = False

    def can_hold(self, forms: frozenset[str]) -> bool:
        """Whether a content that has these forms can be written so."""
        return any(form in forms for form in self.needs)

    def is_sheet(self, forms: frozenset[str]) -> bool:
        """Whether a content that has these forms is written as a sheet of music or a handout."""
        return next((form for form in self.needs if form in forms), None) in ("sheet", "handout")


def as_file(text: str) -> bytes:
    """A text as a file holds it: UTF-8, with one line end at its end."""
    return f"{text.rstrip()}\n".encode()


def _text(content: Content, _: OutputOptions) -> bytes:
    assert content.text is not None
    return as_file(content.text())


def _json(content: Content, _: OutputOptions) -> bytes:
    assert content.json is not None
    return as_file(content.json())


def _midi(content: Content, _: OutputOptions) -> bytes:
    assert content.midi is not None
    return content.midi()


def font_for(options: OutputOptions) -> Path | None:
    """The sound font that plays sound files, checked; None where our own voices do."""
    from fillgen.sound.fonts import font_of  # noqa: PLC0415 - as for sound

    return font_of(options.soundfont, options.voices)


def _sound(kind: str) -> _Write:
    def write(content: Content, options: OutputOptions) -> bytes:
        from fillgen.sound.files import to_sound  # noqa: PLC0415 - the synthesizer is loaded for sound only

        return to_sound(_midi(content, options), kind=kind, font=font_for(options))

    return write


def _page(content: Content, options: OutputOptions) -> bytes:
    return content.page() if content.page is not None else _sheet("html")(content, options)


def _score(content: Content, options: OutputOptions) -> bytes:
    return content.score() if content.score is not None else _sheet("musicxml")(content, options)


def _sheet(kind: str) -> _Write:
    def write(content: Content, _: OutputOptions) -> bytes:
        if content.handout is not None:
            from fillgen.writers.handout import render_handout  # noqa: PLC0415 - as for sheets

            return render_handout(content.handout(), content.look, kind)
        from fillgen.writers.sheet import render  # noqa: PLC0415 - the engraver is loaded for sheets only

        assert content.sheet is not None
        return render(content.sheet(), content.look, kind)

    return write


def _packed(content: Content, options: OutputOptions) -> bytes:
    from fillgen.writers.musicxml import packed  # noqa: PLC0415 - for packed scores only

    return packed(_score(content, options))


_MUSIC = ("handout", "sheet")
_MUSICXML = Format("application/vnd.recordare.musicxml+xml", ("score", *_MUSIC), _score)
_HTML = Format("text/html", ("page", *_MUSIC), _page)
_MIDI = Format("audio/midi", ("midi",), _midi)

FORMATS: Mapping[str, Format] = {
    ".mid": _MIDI,
    ".midi": _MIDI,
    ".wav": Format("audio/wav", ("midi",), _sound(".wav"), is_sound=True),
    ".flac": Format("audio/flac", ("midi",), _sound(".flac"), is_sound=True),
    ".musicxml": _MUSICXML,
    ".xml": _MUSICXML,
    ".mxl": Format("application/vnd.recordare.musicxml", ("score", *_MUSIC), _packed),
    ".mei": Format("application/xml", _MUSIC, _sheet("mei")),
    ".svg": Format("image/svg+xml", _MUSIC, _sheet("svg")),
    ".pdf": Format("application/pdf", _MUSIC, _sheet("pdf")),
    ".html": _HTML,
    ".htm": _HTML,
    ".txt": Format("text/plain", ("text",), _text),
    ".json": Format("application/json", ("json",), _json),
}
"""Every kind of file by its ending. To add one, write its writer and its row here."""
_OTHER_NAMES = (".midi", ".xml", ".htm")
_USUAL_SOUND, _USUAL_FILE = ".wav", ".mid"
"""What a folder holds, of sound or of anything else."""


@dataclass(frozen=True)
class Target:
    """A file or folder to be written, and how."""

    path: Path
    ending: str
    given: str

    @property
    def format(self) -> Format:
        return FORMATS[self.ending]

    @property
    def is_folder(self) -> bool:
        return self.ending == FOLDER


def is_folder(output: str) -> bool:
    """Whether an output names a folder, by its end or because there is one."""
    try:
        return output.endswith(("/", os.sep)) or Path(output).is_dir()
    except (OSError, ValueError):
        return False


def targets_of(
    options: OutputOptions, forms: Sequence[str], look: SheetOptions = USUAL
) -> tuple[Target, ...]:
    """The files asked for, checked before any work; `forms` names the forms that the content will have.

    Raises OptionError for an ending that isn't offered or can't hold what there is, where two outputs are one file, and
    where `look` is another than the usual one and no file is a sheet; OutputError where a file is in the way or its folder
    is missing.
    """
    targets = named_targets(options, forms, look)
    refuse_unwritable(targets, options)
    return targets


def named_targets(
    options: OutputOptions, forms: Sequence[str], look: SheetOptions = USUAL
) -> tuple[Target, ...]:
    """The files that are named, by their endings; whether there is room for them isn't looked at.

    Raises OptionError as `targets_of` does.
    """
    usable = frozenset(forms)
    targets = tuple(_target(output, usable) for output in options.output)
    places = [_place(target.path) for target in targets]
    for number, target in enumerate(targets):
        if places[number] in places[:number]:
            raise OptionError(
                f"{shorten(target.given)} is named twice", hint="Give each output a name of its own."
            )
    _check_sound(options, targets)
    if not any(target.format.is_sheet(usable) for target in targets if not target.is_folder):
        refuse_look(look)
    return targets


def refuse_look(look: SheetOptions) -> None:
    """OptionError where a sheet is to look otherwise than usual, but there is no sheet."""
    named = [
        row.flags[-1].split("/")[-1] for name, row in OPTIONS[SheetOptions].items() if _differs(look, name)
    ]
    if named:
        need = "needs" if len(named) == 1 else "need"
        raise OptionError(f"{listed(named, 'and')} {need} a sheet of music", hint="Such as -o NAME.pdf.")


def _differs(look: SheetOptions, name: str) -> bool:
    return bool(getattr(look, name) != getattr(USUAL, name))


def refuse_unwritable(targets: Sequence[Target], options: OutputOptions) -> None:
    """OutputError where a file is in the way or the folder of a file is missing."""
    from fillgen.writers.files import (  # noqa: PLC0415 - only where files are written
        refuse_existing,
        refuse_file,
        refuse_homeless,
    )

    for target in targets:
        if target.is_folder:
            refuse_file(target.path)
        else:
            refuse_existing(target.path, options.overwrite)
            refuse_homeless(target.path)


def _place(path: Path) -> Path:
    """Where a path leads, links followed; the path itself where that can't be said."""
    try:
        return path.resolve()
    except (OSError, ValueError, RuntimeError):
        return path


def _target(output: str, usable: frozenset[str]) -> Target:
    if not output.strip():
        raise OptionError(f"the output {output!r} has no name", hint="Such as -o ideas.pdf.")
    ending = FOLDER if is_folder(output) else Path(output).suffix.lower()
    known = "files" in usable if ending == FOLDER else ending in FORMATS
    if not known:
        name = shorten(f"{Path(output).name or output}{FOLDER if ending == FOLDER else ''}")
        raise OptionError(f"can't tell what to write to {name}", hint=_offered(ending, usable))
    if ending != FOLDER and not FORMATS[ending].can_hold(usable):
        raise OptionError(f"{shorten(output)} can't hold this", hint=_offered("", usable))
    return Target(Path(output), ending, output)


def _offered(ending: str, usable: frozenset[str]) -> str:
    """The endings that can be used, as a hint; the nearest one first."""
    endings = [each for each, kind in FORMATS.items() if each not in _OTHER_NAMES and kind.can_hold(usable)]
    near = did_you_mean(ending, endings) if ending else ""
    words = [*endings, *(["a folder name with / at its end"] if "files" in usable else [])]
    every = f"Use {', '.join(words[:-1])} or {words[-1]}." if len(words) > 1 else f"Use {words[0]}."
    return f"{near} {every}" if near.endswith("?") else every


def _check_sound(options: OutputOptions, targets: Sequence[Target]) -> None:
    """OptionError where sound is asked for that can't be made, or that nothing would be written of."""
    folder = any(target.is_folder for target in targets)
    kinds = [target.ending for target in targets if not target.is_folder and target.format.is_sound]
    if options.audio and not folder:
        raise OptionError(
            "--audio needs a folder",
            hint="Give -o takes/ --audio, or -o idea.wav for one file.",
        )
    kinds += [_USUAL_SOUND] if options.audio else []
    for name, value in (("--soundfont", options.soundfont), ("--voices", options.voices)):
        if value is not None and not kinds:
            raise OptionError(f"{name} needs a sound file", hint="Such as -o idea.wav.")
    if kinds:
        from fillgen.sound.files import check_kind  # noqa: PLC0415

        for kind in kinds:
            check_kind(kind)
        font_for(options)


def printed_as(options: OutputOptions) -> str:
    """What is printed: text or json; OptionError for another word."""
    word = options.format or TEXT
    if word not in (TEXT, JSON):
        raise OptionError(
            f"unknown format {shorten(word)}", hint=did_you_mean(word, (TEXT, JSON)) or "Use text or json."
        )
    return word


@dataclass(frozen=True)
class Delivery:
    """A content, the files it is to be written to, and what those then hold, in words."""

    content: Content
    targets: Sequence[Target]
    what: str = ""


def write_all(
    deliveries: Sequence[Delivery], options: OutputOptions
) -> Iterator[tuple[Delivery, Target, int]]:
    """Write contents to all their targets; each target when it is written, with the number of files.

    Every file is made before the first is written, so that nothing is written where one can't be made; the sound files
    of a folder are made and written one after another.
    """
    from fillgen.writers.files import make_folder, refuse_existing, write_files, write_folder  # noqa: PLC0415

    single = [(each, target) for each in deliveries for target in each.targets if not target.is_folder]
    folders = [(each, target) for each in deliveries for target in each.targets if target.is_folder]
    files = {target.path: _files_of(each.content) for each, target in folders}
    kind = _USUAL_SOUND if options.audio else _USUAL_FILE
    for folder, contents in files.items():
        for name in contents:
            refuse_existing(folder / Path(name).with_suffix(kind), options.overwrite)
    made = {target.path: target.format.write(each.content, options) for each, target in single}
    for path in made:
        refuse_existing(path, options.overwrite)
    for folder in files:
        make_folder(folder)
    write_files(made, overwrite=options.overwrite)
    for each, target in single:
        yield each, target, 1
    for each, target in folders:
        contents = files[target.path]
        if options.audio:
            _write_sounds(target.path, contents, options)
        else:
            write_folder(target.path, contents, overwrite=options.overwrite)
        yield each, target, len(contents)


def _files_of(content: Content) -> Mapping[str, bytes]:
    assert content.files is not None
    return content.files()


def _write_sounds(folder: Path, files: Mapping[str, bytes], options: OutputOptions) -> None:
    """Write MIDI files as sound files into a folder, one after another, each whole."""
    from fillgen.sound.files import to_sound_files  # noqa: PLC0415
    from fillgen.writers.files import clear_drafts, put_file  # noqa: PLC0415

    clear_drafts(folder)
    for name, sound in to_sound_files(files, kind=_USUAL_SOUND, font=font_for(options)):
        put_file(folder / name, sound, overwrite=options.overwrite)


def numbered(targets: Sequence[Target], number: int) -> tuple[Target, ...]:
    """The same files with a number before their endings, such as `tune-2.mid`."""

    def named(path: Path) -> Path:
        return path.with_name(f"{path.stem}-{number}{path.suffix}")

    return tuple(
        replace(target, path=named(target.path), given=str(named(target.path))) for target in targets
    )
