"""The command `tune`."""

from __future__ import annotations

from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from fillgen.app.contents import TUNE, joined_sheets, tune_content
from fillgen.app.fills import fill_request
from fillgen.app.formats import Delivery, Target, named_targets, numbered, refuse_unwritable
from fillgen.app.options import (
    OPTIONS,
    RULES,
    ChordOptions,
    FillOptions,
    IdeaOptions,
    Option,
    OutputOptions,
    PlayOptions,
    SheetOptions,
)
from fillgen.cli.inputs import named_chart, pack_of, written_chart
from fillgen.cli.outputs import check_printed, deliver_all, note, show, width_of
from fillgen.cli.signature import grouped
from fillgen.engine.request import MOST_VERSIONS
from fillgen.errors import OptionError, many
from fillgen.hands.playing import PARTS, played_as

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from fillgen.readers.tunes import Tune
    from fillgen.tune import Piece

FILE = Option((), "A tune in MusicXML, ABC or MIDI (.musicxml, .mxl, .abc, .mid).", Path, metavar="FILE")
INTRO = Option(("--intro",), "Bars of intro, 0 for none.", int)
ENDING = Option(("--ending",), "Bars of ending, 0 for none.", int)
COUNT = Option(("--count", "-n"), f"How many versions, 1 to {MOST_VERSIONS}.", int)
FROM_TUNE = Option(("--from-tune",), "Begin the intro with the tune's motif, over the intro's chords.", bool)
QUOTE = Option(("--quote",), "Begin the ending with this many of the tune's last bars.", int)
CHORDS = Option(
    ("--chords",),
    "A chart to play the tune over, instead of its own or proposed chords. Symbols of its own stay on sheets.",
)
_JOINED = (".pdf", ".svg", ".html", ".htm")
"""Use sheets for several versions; a score holds one."""


@grouped(
    usual=(PlayOptions(parts=PARTS, close="held"),),
    without=(
        *("count", "shape", "low", "high", "purpose", "ends_on", "lead_to", "hand"),
        *("times", "second_set", "second", "bass", "span", "audio", "format"),
    ),
    defaults={"tempo": "the tune's, or the rhythm's", "enter": "together", "title": "the tune's"},
)
def tune(
    *,
    file: Annotated[Path, FILE],
    intro: Annotated[int, INTRO] = 4,
    ending: Annotated[int, ENDING] = 4,
    quote: Annotated[int, QUOTE] = 0,
    from_tune: Annotated[bool, FROM_TUNE] = False,
    count: Annotated[int, COUNT] = 1,
    fills: FillOptions,
    options: IdeaOptions,
    chords: Annotated[str | None, CHORDS] = None,
    sequence: Annotated[str | None, OPTIONS[ChordOptions]["sequence"]] = None,
    playing: PlayOptions,
    output: OutputOptions,
    look: SheetOptions,
    rules: Annotated[Path | None, RULES] = None,
) -> None:
    """Add an intro, an ending and fills to a tune. Every note of the tune stays as it is."""
    from fillgen.app.tunes import open_tune
    from fillgen.tune import TuneRequest, pieces

    check_printed(output)
    together, apart = _named(output, look, min(count, MOST_VERSIONS))
    if playing.close == "fading":
        raise OptionError("--close fading isn't for tunes", hint="Give --close held or --close button.")
    pack = pack_of(rules)
    played, sounds = played_as(playing, pack)
    read = open_tune(file)
    request = TuneRequest(
        read,
        intro=intro,
        ending=ending,
        quote=quote,
        count=count,
        rhythm=options.rhythm,
        level=options.level,
        busy=options.busy,
        tempo=options.tempo,
        seed=options.seed,
        chords=_chords_for(read, chords, sequence),
        close=played.close,
        fills=fill_request(fills),
        from_tune=from_tune,
        pack=pack,
    )
    with named_chart(chords):
        found = pieces(request)
    for remark in _first_remarks(found, count):
        note(remark)
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


def _first_remarks(found: Sequence[Piece], count: int) -> Iterator[str]:
    """What there is to say of a tune's chords, and of versions that are fewer than asked for."""
    yield from map(str, found[0].ideas.progression.remarks)
    if len(found) < count:
        are = "is" if len(found) == 1 else "are"
        yield f"there {are} {many(len(found), 'version')} with different chords."


def _remarks(found: Sequence[Piece], read: Tune) -> Iterator[str]:
    """What there is to say of a tune's repeats, of its fills, and of how it was read."""
    if read.repeats:
        yield f"the repeats are written as they are; MIDI and sound play them out, {many(read.bars, 'bar')} in all."
    yield from dict.fromkeys(remark for piece in found for remark in piece.remarks)
    yield from read.remarks


def _chords_for(read: Tune, chords: str | None, sequence: str | None) -> str | None:
    """The chords given for a tune; a stock sequence is played over and over, OptionError unless it comes out even."""
    text, bars = written_chart(chords, sequence, str(read.key), read.metre.name), read.bars
    if text is None or sequence is None:
        return text
    from fillgen.chart.text import parse_chart

    own = len(parse_chart(text).bars)
    if bars % own:
        raise OptionError(
            f"--sequence has {many(own, 'bar')}, the tune {bars}",
            hint="Use a sequence that divides the tune evenly, or give a chart of the same length with --chords.",
        )
    *head, body = text.splitlines()
    return "\n".join([*head, *[body] * (bars // own)])


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
