"""Sound files: what is asked for, and how it is written."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

import typer

from fillgen.cli.outputs import SOUND_ENDINGS, is_folder
from fillgen.errors import OptionError

_USUAL_KIND = ".wav"


@dataclass(frozen=True, slots=True)
class SoundWish:
    """A sound file that is asked for: its ending, and the sound font that plays it, None for our own voices."""

    kind: str
    font: Path | None


def sound_wish(output: str | None, soundfont: Path | None, *, audio: bool = False) -> SoundWish | None:
    """The sound that an output asks for; refused before any work where it cannot be made.

    `audio` asks for sound files in a folder, where there would be MIDI files.
    """
    folder = output is not None and is_folder(output)
    ending = Path(output).suffix.lower() if output is not None and not folder else ""
    if audio and not folder:
        hint = "Such as -o takes/ --audio; or all in one file with -o idea.wav."
        raise OptionError("--audio goes with a folder", hint=hint)
    kind = _USUAL_KIND if audio else ending if ending in SOUND_ENDINGS else None
    if kind is None:
        if soundfont is not None:
            raise OptionError("--soundfont goes with a sound file", hint="Such as -o idea.wav.")
        return None
    from fillgen.sound.files import check_font, check_kind

    check_kind(kind)
    if soundfont is not None:
        check_font(soundfont)
    return SoundWish(kind, soundfont)


def sound_bytes(midi: bytes, wish: SoundWish) -> bytes:
    """A MIDI file as the sound file asked for."""
    from fillgen.sound.files import to_sound

    return to_sound(midi, kind=wish.kind, font=wish.font)


def put_sound(path: Path, midi: bytes, wish: SoundWish, *, overwrite: bool) -> None:
    """Write a MIDI file as a sound file, whole or not at all; nothing is rendered where it is refused."""
    from fillgen.writers.files import refuse_existing, write_file

    refuse_existing(path, overwrite)
    write_file(path, sound_bytes(midi, wish), overwrite=overwrite)
    tell_stand_ins([midi], wish)
    tell_caution()


def put_sounds(folder: Path, files: Mapping[str, bytes], wish: SoundWish, *, overwrite: bool) -> None:
    """Write MIDI files by name as sound files into a folder, one after another, each whole."""
    from fillgen.sound.files import to_sound_files
    from fillgen.writers.files import clear_drafts, make_folder, put_file, refuse_existing

    for name in files:
        refuse_existing(folder / Path(name).with_suffix(wish.kind), overwrite)
    make_folder(folder)
    clear_drafts(folder)
    for name, content in to_sound_files(files, kind=wish.kind, font=wish.font):
        put_file(folder / name, content, overwrite=overwrite)
    tell_stand_ins(files.values(), wish)
    tell_caution()


def tell_stand_ins(midi: Iterable[bytes], wish: SoundWish) -> None:
    """Which sounds were played by the nearest of our voices, since none of them is that sound."""
    from fillgen.sound.files import stand_ins

    if wish.font is None:
        for sound, voice in dict(pair for each in midi for pair in stand_ins(each)).items():
            typer.echo(f"Note: no voice of ours is {sound}; {voice} is heard in its place.", err=True)


def tell_caution() -> None:
    """What to mind before listening, in the words of the lessons."""
    from fillgen.teaching.cautions import LOUDNESS

    typer.echo(f"Note: {LOUDNESS}", err=True)
