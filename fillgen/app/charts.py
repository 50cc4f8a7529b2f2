"""Charts, sequences and phrases as they are given: read once for every way in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from fillgen.app.options import ChordOptions
from fillgen.chart.progression import Progression
from fillgen.chart.text import chart_text, parse_chart, stated_metre
from fillgen.errors import OptionError, many, shorten
from fillgen.phrase.idea import Idea
from fillgen.phrase.ranks import range_of
from fillgen.rules.pack import RulePack
from fillgen.theory.keys import read_key, read_metre
from fillgen.theory.metre import Metre

if TYPE_CHECKING:
    from fillgen.readers.phrases import Found, Hints, Reading


def progression_of(
    options: ChordOptions, rhythm: str | None = None, pack: RulePack | None = None
) -> Progression:
    """The progression of a chart text or of a stock sequence, with sevenths if they are asked for.

    A `rhythm` that is played in one metre only brings that metre where none is named. Raises OptionError where neither
    chart nor sequence is given or both are, and for an unknown rhythm; ChartError where the chart can't be read.

    >>> str(progression_of(ChordOptions(chart="| Ebmaj7 | Bb7 |")).key)
    'Eb major'
    >>> progression_of(ChordOptions(chart="| Ebmaj7 | Bb7 |"), "waltz").metre.name
    '3/4'
    """
    brought = _brought(options, rhythm, pack)
    if brought is not None:
        found = _progression(replace(options, metre=brought.name))
        return replace(found, remarks=(*found.remarks, _bringing(rhythm, brought)))
    return _progression(options)


def _brought(options: ChordOptions, rhythm: str | None, pack: RulePack | None) -> Metre | None:
    """The metre of a rhythm that knows no other, where neither chart nor player name one; None where nothing changes."""
    if rhythm is None or options.metre is not None:
        return None
    metres = (pack or RulePack()).rhythm(rhythm).metres
    own = "4/4"
    if options.sequence is not None:
        from fillgen.chart.sequences import sequence  # noqa: PLC0415 - the table is large

        own = sequence(options.sequence).metre.name
    elif options.chart is None or stated_metre(options.chart) is not None:
        return None
    return read_metre(metres[0]) if len(metres) == 1 and metres[0] != own else None


def _bringing(rhythm: str | None, metre: Metre) -> str:
    return f"No metre given, so {rhythm} sets {metre.name}."


def _progression(options: ChordOptions) -> Progression:
    if options.chart is None and options.sequence is None:
        raise OptionError(
            'give a chart, such as "| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |" in quotes, or --sequence NAME'
        )
    if options.chart is not None and options.sequence is not None:
        raise OptionError("use a chart or --sequence, not both")
    if options.sequence is None:
        assert options.chart is not None
        found = parse_chart(options.chart, key=options.key, metre=options.metre)
    else:
        from fillgen.chart.sequences import sequence, spelled  # noqa: PLC0415 - the table is large

        stock = sequence(options.sequence)
        key = read_key(options.key or ("C" if stock.mode == "major" else "A minor"))
        found = spelled(stock, key, read_metre(options.metre) if options.metre is not None else None)
    if not options.sevenths:
        return found
    from fillgen.chart.enrich import with_sevenths  # noqa: PLC0415

    return with_sevenths(found)


def reading_of(
    options: ChordOptions,
    phrase: str,
    part: str | None = None,
    rhythm: str | None = None,
    pack: RulePack | None = None,
    hints: Hints | None = None,
) -> Reading:
    """A phrase (text, a file's name, or - for standard input) lined up with its chart.

    A rhythm brings its metre, as in `progression_of`, unless the phrase has one. `hints` say how a file was played.
    """
    from fillgen.readers.phrases import NO_HINTS, find_phrase  # noqa: PLC0415 - for phrases of a player's own

    found = find_phrase(phrase, part=part, metre=options.metre, hints=hints or NO_HINTS)
    brought = _brought(options, rhythm, pack) if found.metre is None else None
    if brought is None:
        return aligned(found, options)
    reading = aligned(found, replace(options, metre=brought.name))
    return replace(reading, remarks=(_bringing(rhythm, brought), *reading.remarks))


def aligned(found: Found, options: ChordOptions) -> Reading:
    """A phrase that was found, lined up with its chart; a sequence is written out as a chart first.

    Where neither chart nor sequence is given, the chord symbols of a score are its chart; TuneError where it has none.
    """
    from fillgen.readers.phrases import line_up, own_chart  # noqa: PLC0415

    if options.chart is None and options.sequence is None:
        options = replace(options, chart=own_chart(found, key=options.key, metre=options.metre))
    if options.chart is not None and options.sequence is None and not options.sevenths:
        return line_up(found, options.chart, key=options.key, metre=options.metre)
    progression = progression_of(options)
    reading = line_up(found, chart_text(progression), key=str(progression.key), metre=progression.metre)
    return replace(reading, remarks=(*progression.remarks, *reading.remarks))


def ranks_of(only: str, count: int) -> tuple[int, ...]:
    """The ranks that a text such as `1,3-5` names, in the order given; OptionError where there is no such rank.

    >>> ranks_of("4,1-2", 50)
    (4, 1, 2)
    """
    ranks: dict[int, None] = {}
    for word in only.split(","):
        named = range_of(word)
        if named is None:
            raise OptionError(f"{shorten(word.strip())} is not a rank", hint="Give ranks like 1,4 or 1-6.")
        if named[0] < 1 or named[-1] > count:
            are = "is" if count == 1 else "are"
            hint = f"There {are} {many(count, 'idea')}.{' Ranks begin at 1.' * (named[0] == 0)}"
            raise OptionError(f"there is no idea {shorten(word.strip())}", hint=hint)
        ranks.update(dict.fromkeys(named))
    return tuple(ranks)


def chosen(ideas: Sequence[Idea], only: str | None) -> tuple[Idea, ...]:
    """The ideas of some ranks, in the order asked for; all where none are named."""
    return tuple(ideas) if only is None else tuple(ideas[rank - 1] for rank in ranks_of(only, len(ideas)))
