"""Ideas as files to take along."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from fillgen.errors import OptionError, did_you_mean, shorten
from fillgen.hands.playing import PARTS, Playing, check_playing
from fillgen.page.keys import can_move, chords_at, notes_at
from fillgen.phrase.idea import Ideas
from fillgen.phrase.text import phrase_text
from fillgen.server.frames import Reply
from fillgen.writers.entry import SheetEntry, entries_of
from fillgen.writers.look import SheetOptions
from fillgen.writers.sheet import render

KINDS = {
    "midi": ("audio/midi", "mid"),
    "musicxml": ("application/vnd.recordare.musicxml+xml", "musicxml"),
    "pdf": ("application/pdf", "pdf"),
    "svg": ("image/svg+xml", "svg"),
    "mei": ("application/xml", "mei"),
}
"""The kinds of files, each with its media type (IANA; W3C for MusicXML) and the ending of its name."""


def taken_along(ideas: Ideas, kind: str, shift: int, parts: Sequence[str] | None, title: str | None) -> Reply:
    """Ideas, moved by so many semitones, as a file; OptionError for a kind, a part or a key that is not offered."""
    media, ending = kind_of(kind)
    moved = shifted(ideas, shift)
    both = parts is not None and "left" in parts
    playing = Playing(parts=tuple(dict.fromkeys(parts)) if parts else PARTS[:1])
    check_playing(playing)
    if kind == "midi":
        from fillgen.writers.midi import to_midi  # noqa: PLC0415 - mido is loaded for MIDI only

        return Reply(media, [to_midi(moved, playing)], f"ideas.{ending}")
    return sheet_reply(entries_of(moved), kind, SheetOptions(staves=2 if both else 1, title=title or ""))


def kind_of(kind: str) -> tuple[str, str]:
    """The media type and the ending of a kind of file; OptionError for another kind."""
    if kind not in KINDS:
        raise OptionError(
            f"unknown kind of file {shorten(kind)}", place="kind", hint=did_you_mean(kind, KINDS)
        )
    return KINDS[kind]


def sheet_reply(entries: Sequence[SheetEntry], kind: str, settings: SheetOptions) -> Reply:
    """A sheet of music as a file."""
    media, ending = kind_of(kind)
    return Reply(media, [render(entries, settings, kind)], f"ideas.{ending}")


def shifted(ideas: Ideas, shift: int) -> Ideas:
    """Ideas and their chords in the key some semitones away; OptionError where notes would leave what MIDI has."""
    if not shift:
        return ideas
    if not can_move(ideas.ideas):
        raise OptionError("these ideas cannot be moved there", place="shift")
    progression = chords_at(ideas.progression, shift)
    lines = notes_at(ideas.ideas, progression, shift, ideas.hand)
    moved = []
    for idea, notes in zip(ideas, lines, strict=True):
        text = phrase_text(tuple(told.note for told in notes), progression, [told.name for told in notes])
        moved.append(replace(idea, notes=notes, text=text))
    return replace(ideas, progression=progression, ideas=tuple(moved))
