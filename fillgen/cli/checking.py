"""A phrase checked and told: what `check` and `listen` share."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import typer

from fillgen.cli.inputs import level_of, optional_pitch, words_of
from fillgen.cli.options import Format
from fillgen.cli.outputs import JSON, TEXT, json_text, put_out, target_of, width_of

if TYPE_CHECKING:
    from fillgen.engine.checked import CheckSettings
    from fillgen.readers.phrases import Reading
    from fillgen.rules.pack import RulePack
    from fillgen.teaching.check import Report


@dataclass(frozen=True)
class Wanted:
    """How a phrase is to be checked, as the options of the command line say it."""

    level: str | None
    tempo: int | None
    rhythm: str | None
    hand: str | None
    low: str | None
    high: str | None
    ends_on: str | None
    lead_to: str | None
    pack: RulePack

    def settings(self, reading: Reading) -> CheckSettings:
        """The settings of the check of a phrase."""
        from fillgen.engine.checked import CheckSettings
        from fillgen.hands.reach import reach

        return CheckSettings(
            tempo=self.tempo if self.tempo is not None else reading.tempo,
            hand=reach(self.hand) if self.hand is not None else None,
            ends_on=words_of(self.ends_on),
            whole=reading.whole,
            lead_to=optional_pitch(self.lead_to, "--lead-to"),
            low=optional_pitch(self.low, "--low"),
            high=optional_pitch(self.high, "--high"),
            swings=self.pack.rhythm(self.rhythm).swing if self.rhythm is not None else reading.swings,
        )


def check_target(output: str | None, wanted: Format | None) -> str:
    """What a check is written as; OptionError where that cannot be."""
    return target_of(output, wanted, {".txt": TEXT, ".json": JSON})


def report_on(reading: Reading, wanted: Wanted) -> Report:
    """What fits and what does not in a phrase; OptionError where the wishes are none that can be met."""
    from fillgen.engine.checked import lowest_level
    from fillgen.teaching.check import check as checked

    settings, pack = wanted.settings(reading), wanted.pack
    if wanted.level == "auto":
        lowest = lowest_level(reading.progression, reading.notes, pack, settings)
        number = max(pack.level_numbers) if lowest is None else lowest
    else:
        number = level_of(wanted.level, pack)
    report = checked(reading.progression, reading.notes, pack.level(number), settings, pack=pack)
    return replace(report, reading=reading.remarks)


def tell_check(reading: Reading, wanted: Wanted, target: str, output: str | None, overwrite: bool) -> None:
    """Check a phrase and print or write what was found; exit with 1 where a rule is broken."""
    from fillgen.writers.checks import check_document, check_text

    report = report_on(reading, wanted)
    answer = json_text(check_document(report)) if target == JSON else check_text(report, width_of())
    put_out(answer, output, overwrite)
    if not report.right:
        raise typer.Exit(1)
