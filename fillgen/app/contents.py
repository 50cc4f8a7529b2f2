"""What there is to write of an answer: ideas, a tune with its intro and ending, a session, a lesson."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from fillgen.app.charts import chosen
from fillgen.app.formats import Content
from fillgen.app.options import CheckOptions, PlayOptions
from fillgen.hands.closing import closed_ideas
from fillgen.hands.playing import Playing
from fillgen.phrase.idea import Ideas
from fillgen.phrase.remark import ALL_IDEAS, on_reading
from fillgen.rules.pack import RulePack
from fillgen.writers.lines import TEXT_WIDTH
from fillgen.writers.look import USUAL, SheetOptions

if TYPE_CHECKING:
    from fillgen.app.sequences import FoundSequences
    from fillgen.book.entries import Entry as BookEntry
    from fillgen.chart.progression import Progression
    from fillgen.hands.voicing import VoicingPath
    from fillgen.readers.phrases import Reading
    from fillgen.readers.tunes import Tune
    from fillgen.teaching.check import Report
    from fillgen.teaching.lesson import Lesson
    from fillgen.teaching.practice import Session
    from fillgen.theory.pitch import Key
    from fillgen.tune import Piece
    from fillgen.writers.entry import SheetEntry
    from fillgen.writers.handout import Handout

IDEAS = ("text", "json", "midi", "files", "sheet", "page")
"""The forms that ideas have."""


def ideas_content(
    found: Ideas,
    playing: Playing,
    sounds: Mapping[str, str],
    look: SheetOptions = USUAL,
    *,
    width: int = TEXT_WIDTH,
    hint: str = "",
    original: str = "",
) -> Content:
    """Ideas, in all forms: text of some width with a hint in its head, JSON, MIDI, notation and the page that plays them.

    The text of variants begins with their `original`. What can be read shows how the last note closes; MIDI and the page
    play it so.
    """
    found = in_two_voices(found, playing)
    written = closed_ideas(found, playing.close)

    def text() -> str:
        from fillgen.writers.text import to_text  # noqa: PLC0415 - each form loads what it needs alone

        return to_text(written, width=width, hint=hint, original=original)

    def json() -> str:
        from fillgen.writers.document import to_json  # noqa: PLC0415

        return to_json(written)

    def midi() -> bytes:
        from fillgen.writers.midi import to_midi  # noqa: PLC0415

        return to_midi(found, playing, sounds)

    def files() -> Mapping[str, bytes]:
        from fillgen.writers.midi import to_midi_files  # noqa: PLC0415

        return to_midi_files(found, playing, sounds)

    def page() -> bytes:
        from fillgen.page import build  # noqa: PLC0415

        return build(found, playing, sounds)

    def sheet() -> tuple[SheetEntry, ...]:
        from fillgen.writers.entry import backing_entry, entries_of  # noqa: PLC0415

        if heard_as(playing):
            return (backing_entry(written, playing),)
        return entries_of(written, playing.swing, playing)

    return Content(
        text=text,
        json=json,
        midi=midi,
        files=files,
        sheet=sheet,
        page=page,
        look=look,
        heard=heard_as(playing),
    )


def heard_as(playing: Playing) -> str:
    """What is in a file of music, where it isn't the ideas themselves."""
    return "" if playing.has_right else "a backing track"


def in_two_voices(found: Ideas, playing: Playing) -> Ideas:
    """Ideas with the second voice that is asked for, if any is."""
    if playing.second is None:
        return found
    from fillgen.hands.second import with_second  # noqa: PLC0415 - what has one voice needs no voicings

    return with_second(found, playing.second, playing.swing)


def look_of(look: SheetOptions, asked: PlayOptions, playing: Playing) -> SheetOptions:
    """How a sheet looks on which the parts asked for are; those that only play for a purpose aren't on it."""
    parts = look.parts if asked.parts is None else playing.parts
    return replace(look, parts=parts, span=playing.span, bass=playing.bass)


def only_some(found: Ideas, only: str | None) -> Ideas:
    """The ideas of some ranks; what there is to say about all of them is left out."""
    if only is None:
        return found
    remarks = tuple(each for each in found.remarks if each.kind not in ALL_IDEAS)
    return replace(found, ideas=chosen(found.ideas, only), remarks=remarks)


def own_answer(
    reading: Reading,
    pack: RulePack,
    *,
    rhythm: str | None = None,
    tempo: int | None = None,
    hand: str | None = None,
) -> Ideas:
    """A phrase of the player's own in the place of ideas, with what there is to say of how it was read."""
    from fillgen.teaching.practice import own_ideas  # noqa: PLC0415

    own = own_ideas(
        reading.progression,
        reading.notes,
        rhythm=rhythm,
        tempo=tempo if tempo is not None else reading.tempo,
        hand=hand,
        pack=pack,
    )
    return replace(own, remarks=on_reading(reading.remarks))


CHECKED = ("text", "json", "midi", "sheet")
"""The forms that a checked phrase has: its report as text and JSON, the phrase itself as music."""


def checked_content(
    report: Report,
    reading: Reading,
    options: CheckOptions,
    pack: RulePack,
    playing: Playing,
    sounds: Mapping[str, str],
    look: SheetOptions,
    *,
    width: int = TEXT_WIDTH,
    explain: bool = False,
) -> Content:
    """A phrase with its report: the report in words, note by note if asked, the phrase as notes and MIDI."""
    from fillgen.writers.checks import check_document, check_text  # noqa: PLC0415

    def music() -> Content:
        own = own_answer(reading, pack, rhythm=options.rhythm, tempo=options.tempo, hand=options.hand)
        return ideas_content(own, playing, sounds)

    def sheet() -> tuple[SheetEntry, ...]:
        made = music().sheet
        assert made is not None
        return tuple(replace(entry, heading="") for entry in made())

    def midi() -> bytes:
        made = music().midi
        assert made is not None
        return made()

    def json() -> str:
        return document_text(check_document(report))

    title = look.title or reading.progression.title or reading.title
    return Content(
        text=lambda: check_text(report, width, explain=explain),
        json=json,
        midi=midi,
        sheet=sheet,
        look=replace(look, title=title),
    )


TUNE = ("text", "json", "midi", "sheet", "score")
"""The forms that a tune with its intro and ending has."""


def tune_content(
    piece: Piece,
    tune: Tune,
    playing: Playing,
    sounds: Mapping[str, str],
    look: SheetOptions,
    number: int,
    *,
    width: int = TEXT_WIDTH,
) -> Content:
    """A tune with its intro and ending: in words, as JSON, as MIDI, as a score and as notes."""
    from fillgen.writers.tunes import piece_document, piece_text, tune_midi, tune_musicxml  # noqa: PLC0415

    def sheet() -> tuple[SheetEntry, ...]:
        from fillgen.writers.sheet import tune_entry  # noqa: PLC0415

        return (tune_entry(piece, tune, playing.swing, number, slow_down=playing.slow_down),)

    return Content(
        text=lambda: piece_text(piece, number, width),
        json=lambda: document_text(piece_document(piece)),
        midi=lambda: tune_midi(piece, playing, sounds),
        score=lambda: tune_musicxml(piece, tune, swing=playing.swing, slow_down=playing.slow_down),
        sheet=sheet,
        look=look,
    )


def joined_sheets(contents: Sequence[Content]) -> Content:
    """Several contents on one sheet of music."""

    def sheet() -> tuple[SheetEntry, ...]:
        return tuple(entry for content in contents if content.sheet is not None for entry in content.sheet())

    return Content(sheet=sheet, look=contents[0].look)


PRACTICE = ("text", "midi", "sheet", "handout")
"""The forms that practice has: loops and calls are heard, lessons are read."""


def session_content(
    session: Session,
    playing: Playing,
    sounds: Mapping[str, str],
    look: SheetOptions,
    *,
    width: int = TEXT_WIDTH,
) -> Content:
    """A session that loops or calls: in words, as MIDI, and its ideas as notes."""
    from fillgen.writers.lessons import session_text  # noqa: PLC0415

    def midi() -> bytes:
        from fillgen.writers.midi import to_practice  # noqa: PLC0415

        return to_practice(session, playing, sounds)

    def sheet() -> tuple[SheetEntry, ...]:
        from fillgen.writers.entry import backing_entry, entries_of  # noqa: PLC0415

        seen = replace(playing, parts=look.parts)
        rows = [
            (backing_entry(shown, seen),) if heard_as(seen) else entries_of(shown, seen.swing, seen)
            for shown in session.by_key
        ]
        if len(rows) == 1:
            return rows[0]
        return tuple(
            replace(entry, name=f"{entry.name}-key-{number}")
            for number, row in enumerate(rows, 1)
            for entry in row
        )

    return Content(text=lambda: session_text(session, width), midi=midi, sheet=sheet, look=look)


def lesson_content(
    course: Lesson, swing: float | None, pack: RulePack, look: SheetOptions, *, width: int = TEXT_WIDTH
) -> Content:
    """A lesson that goes up the ladder of levels: in words, and as a handout with its phrases as notes."""
    from fillgen.writers.lessons import lesson_text  # noqa: PLC0415

    @cache
    def handout() -> Handout:
        from fillgen.theory.swing import swing_at  # noqa: PLC0415
        from fillgen.writers.handouts.lessons import lesson_handout  # noqa: PLC0415

        own = swing_at(course.progression.metre, course.tempo, pack.rhythm(course.rhythm).swing)
        return lesson_handout(course, own if swing is None else swing, look)

    return Content(text=lambda: lesson_text(course, width), handout=handout, look=look)


NOTES = ("text", "json", "handout")
"""The forms that the notes of chords have."""


def notes_content(
    progression: Progression, look: SheetOptions, *, dorian_sixth: bool = False, width: int = TEXT_WIDTH
) -> Content:
    """Which notes fit each chord: in words, as JSON, and as a handout."""
    from fillgen.writers.notes import notes_document, notes_text  # noqa: PLC0415

    @cache
    def handout() -> Handout:
        from fillgen.writers.handouts.notes import notes_handout  # noqa: PLC0415

        return notes_handout(progression, look, dorian_sixth=dorian_sixth)

    return Content(
        text=lambda: notes_text(progression, dorian_sixth=dorian_sixth, width=width),
        json=lambda: document_text(notes_document(progression, dorian_sixth=dorian_sixth)),
        handout=handout,
        look=look,
    )


VOICINGS = ("text", "json", "midi", "handout")
"""The forms that the left hand's ways through a chart have."""


def voicings_content(
    progression: Progression,
    paths: Sequence[VoicingPath],
    tempo: int,
    look: SheetOptions,
    *,
    width: int = TEXT_WIDTH,
) -> Content:
    """The left hand's ways through a chart: in words, as JSON, as a handout, and as MIDI, one after another."""
    from fillgen.writers.voicings import voicings_document, voicings_text  # noqa: PLC0415

    def midi() -> bytes:
        from fillgen.writers.midi import to_block_chords  # noqa: PLC0415

        return to_block_chords(progression, paths, tempo)

    @cache
    def handout() -> Handout:
        from fillgen.writers.handouts.voicings import voicings_handout  # noqa: PLC0415

        return voicings_handout(progression, paths, look)

    return Content(
        text=lambda: voicings_text(progression, paths, width=width),
        json=lambda: document_text(voicings_document(progression, paths, tempo)),
        midi=midi,
        handout=handout,
        look=look,
    )


SEQUENCES = ("text", "json", "handout")
"""The forms that stock sequences have."""


def sequences_content(listed: FoundSequences, look: SheetOptions, *, width: int = TEXT_WIDTH) -> Content:
    """Stock sequences: in words, as JSON, and as a handout."""
    from fillgen.writers.sequences import sequences_document, sequences_text  # noqa: PLC0415

    @cache
    def handout() -> Handout:
        from fillgen.writers.handouts.sequences import sequences_handout  # noqa: PLC0415

        return sequences_handout(listed.found, listed.key, listed.played, listed.goal, look)

    return Content(
        text=lambda: sequences_text(listed.found, listed.key, listed.played, listed.goal, width=width),
        json=lambda: document_text(sequences_document(listed.found, listed.key, listed.played)),
        handout=handout,
        look=look,
    )


def document_text(document: Mapping[str, Any]) -> str:
    """A document as JSON text."""
    import json  # noqa: PLC0415 - what prints text needs none

    return json.dumps(document, ensure_ascii=False, indent=1)


_RIGHT_ALONE = Playing()
_USUAL_SOUNDS: Mapping[str, str] = MappingProxyType({})
BOOK = ("text", "json", "midi", "files", "sheet")
"""The forms that ideas of the book have."""


def book_content(
    entries: Sequence[BookEntry],
    key: Key | None,
    look: SheetOptions,
    played: tuple[Playing, Mapping[str, str]] = (_RIGHT_ALONE, _USUAL_SOUNDS),
    *,
    width: int = TEXT_WIDTH,
) -> Content:
    """Ideas of the book, in their own key or another: JSON that another book takes in, text, MIDI, and notes.

    `played` is how they are played, and the sounds of the parts; JSON has them as they are in the book.
    """
    from fillgen.book.listing import entries_text, one_ground, sheet_entries, singly  # noqa: PLC0415

    def json() -> str:
        from fillgen.book.exchange import in_other_key, to_json  # noqa: PLC0415

        return to_json([in_other_key(entry, key) for entry in entries])

    def midi() -> bytes:
        from fillgen.writers.midi import to_midi  # noqa: PLC0415

        return to_midi(one_ground(entries, key, playing.second), *played)

    def files() -> Mapping[str, bytes]:
        from fillgen.writers.midi import to_midi  # noqa: PLC0415

        what = "backing" if heard_as(playing) else "idea"
        every = singly(entries, key, playing.second)
        return {f"{what}-{entry.id}.mid": to_midi(ideas, *played) for entry, ideas in every}

    playing = played[0]
    return Content(
        text=lambda: entries_text(entries, key, width, second=playing.second, close=playing.close),
        json=json,
        midi=midi,
        files=files,
        sheet=lambda: sheet_entries(entries, key, playing),
        look=replace(look, parts=playing.parts, span=playing.span, bass=playing.bass),
        heard=heard_as(playing),
    )
