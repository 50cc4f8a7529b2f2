"""The look of a sheet of music."""

from __future__ import annotations

from dataclasses import dataclass

from fillgen.errors import OptionError, did_you_mean, shorten

PAPERS = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}
"""Paper sizes in points, 72 to the inch (ISO 216; ANSI Y14.1)."""


@dataclass(frozen=True)
class SheetOptions:
    """The look of a sheet. With 2 `staves` the left hand is below the right, and reaches `span` semitones;
    `rootless` leaves the roots to a bass that plays as well.

    `note_names` prints names under the notes, `fingers` fingers above them; `paper` is a4 or letter, of whose pages a PDF
    has 1 or 2 `columns`; the default `title` is the progression's, `author` is whoever a file names as such.
    OptionError for any other number of staves or columns, or paper.
    """

    staves: int = 1
    note_names: bool = False
    fingers: bool = True
    paper: str = "a4"
    span: int = 12
    rootless: bool = False
    title: str = ""
    author: str = ""
    columns: int = 1

    def __post_init__(self) -> None:
        if self.staves not in (1, 2):
            raise OptionError(f"{self.staves} staves", hint="Give 1, or 2 for the left hand as well.")
        if self.columns not in (1, 2):
            raise OptionError(f"{self.columns} columns", hint="Give 1, or 2 for ideas of up to four bars.")
        object.__setattr__(self, "paper", self.paper.strip().lower())
        if self.paper not in PAPERS:
            raise OptionError(f"unknown paper {shorten(self.paper)}", hint=did_you_mean(self.paper, PAPERS))


USUAL = SheetOptions()
