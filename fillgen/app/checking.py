"""A phrase checked by the options of a player."""

from __future__ import annotations

from dataclasses import replace

from fillgen.app.options import CheckOptions
from fillgen.engine.checked import CheckSettings, lowest_level
from fillgen.engine.request import lead_of
from fillgen.errors import OptionError, shorten
from fillgen.hands.reach import reach
from fillgen.phrase.ranks import whole_number
from fillgen.readers.phrases import Reading
from fillgen.rules.pack import RulePack
from fillgen.teaching.check import Report, check
from fillgen.theory.pitch import pitch_of


def report_on(reading: Reading, options: CheckOptions, pack: RulePack) -> Report:
    """What clashes and what works in a phrase; OptionError where the options ask for something that isn't offered."""
    settings = _settings(reading, options, pack)
    number = _level(reading, options, pack, settings)
    report = check(reading.progression, reading.notes, pack.level(number), settings, pack=pack)
    return replace(report, reading=reading.remarks)


def _settings(reading: Reading, options: CheckOptions, pack: RulePack) -> CheckSettings:
    def pitch(value: str | int | None, what: str) -> int | None:
        return None if value is None else pitch_of(value, what)

    return CheckSettings(
        tempo=options.tempo if options.tempo is not None else reading.tempo,
        hand=reach(options.hand) if options.hand is not None else None,
        ends_on=tuple(options.ends_on) if options.ends_on is not None else None,
        whole=reading.whole,
        lead_to=None if options.lead_to is None else lead_of(options.lead_to, reading.notes[-1].midi),
        low=pitch(options.low, "the lowest note"),
        high=pitch(options.high, "the highest note"),
        swings=pack.rhythm(options.rhythm).swing if options.rhythm is not None else reading.swings,
        strict=options.strict,
    )


def _level(reading: Reading, options: CheckOptions, pack: RulePack, settings: CheckSettings) -> int:
    """The number of a level: the usual one, the one named, or for `auto` the lowest that fits, else the highest."""
    if options.level is None:
        return int(pack.default("level"))
    if options.level == "auto":
        lowest = lowest_level(reading.progression, reading.notes, pack, settings)
        return max(pack.level_numbers) if lowest is None else lowest
    number = whole_number(options.level)
    if number is None:
        known = ", ".join(map(str, pack.level_numbers))
        raise OptionError(
            f"unknown level {shorten(options.level)}",
            place="level",
            hint=f"The levels are {known}, and auto.",
        )
    return pack.level(number).number
