"""The look of a sheet of music."""

from __future__ import annotations

from dataclasses import dataclass

from fillgen.errors import OptionError, did_you_mean, shorten

PAPERS = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}
"""Paper sizes in points, 72 to the inch (ISO 216; ANSI Y14.1)."""
WRITTEN = ("right", "left", "bass")
"""The parts that a sheet can show; drums are heard only."""


@dataclass(frozen=True)
class SheetOptions:
    """The look of a sheet. It shows those of the `parts` that are written; with 2 `staves` the left hand in any case.

    The left hand reaches `span` semitones, and leaves the roots to a bass that plays as well; `bass` is where that lies.
    `note_names` prints names under the notes, `fingers` fingers above them; `paper` is a4 or letter, of whose pages a PDF
    has 1 or 2 `columns`; the default `title` is the progression's, `author` is whoever a file names as such.
    OptionError for any other number of staves or columns, or paper.
    """

    staves: int = 1
    note_names: bool = False
    fingers: bool = True
    paper: str = "a4"
    span: int = 12
    parts: tuple[str, ...] = ("right",)
    bass: str = "keyboard"
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

    @property
    def written(self) -> tuple[str, ...]:
        """The parts that have a staff each, from the highest down.

        >>> SheetOptions(staves=2).written, SheetOptions(parts=("drums", "bass", "left")).written
        (('right', 'left'), ('left', 'bass'))
        """
        every = {*self.parts, "left"} if self.staves == 2 else {*self.parts}
        return tuple(part for part in WRITTEN if part in every)


USUAL = SheetOptions()
