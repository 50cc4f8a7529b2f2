"""Ideas as files to download."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from fillgen.app.contents import IDEAS, ideas_content, look_of
from fillgen.app.formats import FORMATS, Content, Format
from fillgen.app.options import OutputOptions, PlayOptions, SheetOptions
from fillgen.errors import OptionError, did_you_mean, shorten
from fillgen.hands.playing import played_as
from fillgen.page.keys import can_move, chords_at
from fillgen.phrase.idea import Ideas
from fillgen.phrase.text import phrase_text
from fillgen.rules.pack import RulePack
from fillgen.server.frames import Reply
from fillgen.vary.transposition import ideas_at


def taken_along(ideas: Ideas, ending: str, shift: int, playing: PlayOptions, look: SheetOptions) -> Reply:
    """Ideas, moved by so many semitones, as a file; OptionError for an ending, a part or a key that isn't offered."""
    kind = format_of(ending, IDEAS)
    played, sounds = played_as(playing, RulePack())
    content = ideas_content(shifted(ideas, shift), played, sounds, look_of(look, playing, played))
    return file_reply(content, kind, ending)


def format_of(ending: str, forms: Sequence[str]) -> Format:
    """The format of an ending without its dot, such as `pdf`, for a content of some forms; OptionError for another."""
    known = [name[1:] for name, kind in FORMATS.items() if kind.can_hold(frozenset(forms))]
    if ending not in known:
        hint = did_you_mean(ending, known)
        raise OptionError(f"unknown kind of file {shorten(ending)}", place="ending", hint=hint)
    return FORMATS[f".{ending}"]


def file_reply(content: Content, kind: Format, ending: str) -> Reply:
    """A content as a file."""
    return Reply(kind.media, [kind.write(content, OutputOptions())], f"ideas.{ending}")


def shifted(ideas: Ideas, shift: int) -> Ideas:
    """Ideas and their chords in the key some semitones away; OptionError where notes would leave what MIDI has."""
    if not shift:
        return ideas
    if not can_move(ideas.ideas):
        raise OptionError("these ideas can't be transposed that far", place="shift")
    progression = chords_at(ideas.progression, shift)
    moved = []
    for idea in ideas_at(ideas.ideas, progression, shift, ideas.hand):
        text = phrase_text(idea.phrase, progression, [each.name for each in idea.notes])
        moved.append(replace(idea, text=text))
    return replace(ideas, progression=progression, ideas=tuple(moved))
