"""The command `tune`."""

from __future__ import annotations

from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from fillgen.app.contents import TUNE, joined_sheets, tune_content
from fillgen.app.formats import Delivery, Target, named_targets, numbered, refuse_unwritable
from fillgen.app.options import (
    OPTIONS,
    RULES,
    ChordOptions,
    IdeaOptions,
    Option,
    OutputOptions,
    PlayOptions,
    SheetOptions,
)
from fillgen.cli.inputs import pack_of, written_chart
from fillgen.cli.outputs import check_printed, deliver_all, note, show, width_of
from fillgen.cli.signature import grouped
from fillgen.errors import OptionError, many
from fillgen.hands.playing import PARTS, played_as

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from fillgen.fills.fill import Wishes
    from fillgen.readers.musicxml import Tune
    from fillgen.tune import Piece

FILE = Option((), "A tune in MusicXML, plain or packed (.musicxml, .mxl).", Path, metavar="FILE")
INTRO = Option(("--intro",), "Bars of intro, 0 for none.", int)
ENDING = Option(("--ending",), "Bars of ending, 0 for none.", int)
FROM_TUNE = Option(
    ("--from-tune",), "Begin the intro with the tune's own motif, over the intro's chords.", bool
)
FILLS = Option(
    ("--fills",), "Write fills where the tune rests or holds a note, as a part of their own.", bool
)
GAP = Option(
    ("--gap",), "How many beats the tune rests or holds where a fill may come, 1 to 16. [default: 2]", float
)
HOW_MANY = Option(
    ("--how-many",),
    "How many fills: a number, or a share of the places such as 50%. [default: with a bar of the tune between two]",
)
ONLY = Option(("--only",), "Only some of the fills, by number: such as 2,5 or 1-3.")
QUOTE = Option(("--quote",), "Bars from the tune's end to begin the ending with.", int)
CHORDS = Option(("--chords",), "A chart for the tune's bars, if the file has no chord symbols.")
_JOINED = (".pdf", ".svg", ".html", ".htm")
"""Sheets that hold several versions; a score holds one."""


@grouped(
    usual=(IdeaOptions(count=1), PlayOptions(parts=PARTS, close="held")),
    without=(
        *("shape", "low", "high", "purpose", "ends_on", "lead_to", "hand"),
        *("times", "second_set", "second", "bass", "span", "audio", "format"),
    ),
)
def tune(
    *,
    file: Annotated[Path, FILE],
    intro: Annotated[int, INTRO] = 4,
    ending: Annotated[int, ENDING] = 4,
    quote: Annotated[int, QUOTE] = 0,
    from_tune: Annotated[bool, FROM_TUNE] = False,
    fills: Annotated[bool, FILLS] = False,
    gap: Annotated[float | None, GAP] = None,
    how_many: Annotated[str | None, HOW_MANY] = None,
    only: Annotated[str | None, ONLY] = None,
    options: IdeaOptions,
    chords: Annotated[str | None, CHORDS] = None,
    sequence: Annotated[str | None, OPTIONS[ChordOptions]["sequence"]] = None,
    playing: PlayOptions,
    output: OutputOptions,
    look: SheetOptions,
    rules: Annotated[Path | None, RULES] = None,
) -> None:
    """Put an intro and an ending on a tune, and fills into it; every note of the tune stays as it is."""
    from fillgen.readers.confined import read_tune
    from fillgen.tune import MOST_CHOICES, TuneRequest, pieces

    check_printed(output)
    together, apart = _named(output, look, min(options.count, MOST_CHOICES))
    if playing.close == "fading":
        raise OptionError("a tune does not fade", hint="Give --close held or --close button.")
    wished = _fills(gap, how_many, only, wanted=fills)
    pack = pack_of(rules)
    played, sounds = played_as(playing, pack)
    read = read_tune(file)
    request = TuneRequest(
        read,
        intro=intro,
        ending=ending,
        quote=quote,
        count=options.count,
        rhythm=options.rhythm,
        level=options.level,
        busy=options.busy,
        tempo=options.tempo,
        seed=options.seed,
        chords=_repeated(
            written_chart(chords, sequence, str(read.key), read.metre.name), read.bars, sequence
        ),
        close=played.close,
        fills=wished,
        from_tune=from_tune,
        pack=pack,
    )
    found = pieces(request)
    for remark in found[0].ideas.progression.remarks:
        note(remark)
    if len(found) < options.count:
        are = "is" if len(found) == 1 else "are"
        note(f"there {are} {many(len(found), 'version')} with different chords.")
    width = width_of([*together, *chain.from_iterable(apart)])
    contents = [
        tune_content(piece, read, played, sounds, look, number, width=width)
        for number, piece in enumerate(found, 1)
    ]
    show("\n".join(content.text() for content in contents if content.text is not None), output)
    for remark in _remarks(found, read):
        note(remark)
    deliveries = [Delivery(content, targets) for content, targets in zip(contents, apart, strict=False)]
    versions = Delivery(joined_sheets(contents), together, many(len(contents), "version"))
    deliver_all([*deliveries, versions], output)


def _remarks(found: Sequence[Piece], read: Tune) -> Iterator[str]:
    """What there is to say of a tune's repeats, of its fills, and of how it was read."""
    if read.repeats:
        yield f"the repeats are written as they are; MIDI and sound play them out, {many(read.bars, 'bar')} in all."
    yield from dict.fromkeys(remark for piece in found for remark in piece.remarks)
    yield from read.remarks


def _repeated(text: str | None, bars: int, sequence: str | None) -> str | None:
    """The chords of a tune; a stock sequence is played over and over, OptionError unless it comes out even."""
    if text is None or sequence is None:
        return text
    from fillgen.chart.text import parse_chart

    own = len(parse_chart(text).bars)
    if bars % own:
        raise OptionError(
            f"--sequence has {many(own, 'bar')}, the tune {bars}",
            hint="Take a sequence that comes out even with the tune, or give a bar for each with --chords.",
        )
    *head, body = text.splitlines()
    return "\n".join([*head, *[body] * (bars // own)])


def _fills(gap: float | None, how_many: str | None, only: str | None, *, wanted: bool) -> Wishes | None:
    """How fills are asked for, None where they aren't; OptionError for an option that has no fills to choose from."""
    from fillgen.fills.fill import Wishes

    if not wanted:
        options = (("--gap", gap), ("--how-many", how_many), ("--only", only))
        named = next((name for name, value in options if value is not None), None)
        if named is not None:
            raise OptionError(f"{named} is about fills, and none are asked for", hint="Add --fills.")
        return None
    return Wishes(how_many=how_many, only=only) if gap is None else Wishes(gap, how_many, only)


def _named(
    output: OutputOptions, look: SheetOptions, count: int
) -> tuple[list[Target], list[tuple[Target, ...]]]:
    """The files that hold every version, and those of each version, which are numbered where there are several."""
    targets = named_targets(output, TUNE, look)
    together = [target for target in targets if count > 1 and target.ending in _JOINED]
    alone = [target for target in targets if target not in together]
    apart = [numbered(alone, number) if count > 1 else tuple(alone) for number in range(1, count + 1)]
    refuse_unwritable([*together, *(target for each in apart for target in each)], output)
    return together, apart
