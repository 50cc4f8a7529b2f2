"""The look of a sheet of music."""

from __future__ import annotations

from dataclasses import dataclass

from fillgen.errors import OptionError, did_you_mean, shorten

PAPERS = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}
"""Paper sizes in points, 72 to the inch (ISO 216; ANSI Y14.1)."""
VIEWS = ("right-hand", "lead-sheet", "two-hands")
"""What a sheet is for: the line to be played, with its fingers; the line and the chords alone; both hands, with slurs and accents."""
WRITTEN = ("right", "left", "bass")
"""The parts that a sheet can show; drums are heard only."""


@dataclass(frozen=True)
class SheetOptions:
    """The look of a sheet. It shows those of the `parts` that are written; the `view` of two hands has the left one in any
    case. It also decides whether `fingers` are printed above the notes, and slurs, accents and a dynamic as they are played
    (`articulation`), where neither is said.

    The left hand reaches `span` semitones, and leaves the roots to a bass that plays as well; `bass` is where that lies.
    `note_names` prints names under the notes; `paper` is a4 or letter, of whose pages a PDF
    has 1 or 2 `columns`; the default `title` is the progression's, `author` is whoever a file names as such.
    OptionError for any other view, number of columns or paper.
    """

    view: str = "right-hand"
    note_names: bool = False
    fingers: bool | None = None
    articulation: bool | None = None
    paper: str = "a4"
    span: int = 12
    parts: tuple[str, ...] = ("right",)
    bass: str = "keyboard"
    title: str = ""
    author: str = ""
    columns: int = 1

    def __post_init__(self) -> None:
        if self.view not in VIEWS:
            raise OptionError(f"unknown view {shorten(self.view)}", hint=did_you_mean(self.view, VIEWS))
        if self.columns not in (1, 2):
            raise OptionError(f"{self.columns} columns", hint="Give 1, or 2 for ideas of up to four bars.")
        object.__setattr__(self, "paper", self.paper.strip().lower())
        if self.paper not in PAPERS:
            raise OptionError(f"unknown paper {shorten(self.paper)}", hint=did_you_mean(self.paper, PAPERS))

    @property
    def written(self) -> tuple[str, ...]:
        """The parts that have a staff each, from the highest down.

        >>> SheetOptions("two-hands").written, SheetOptions(parts=("drums", "bass", "left")).written
        (('right', 'left'), ('left', 'bass'))
        """
        every = {*self.parts, "left"} if self.view == "two-hands" else {*self.parts}
        return tuple(part for part in WRITTEN if part in every)

    @property
    def is_fingered(self) -> bool:
        """Whether fingers are printed: as it is said, else everywhere but on a lead sheet.

        >>> SheetOptions("lead-sheet").is_fingered, SheetOptions("lead-sheet", fingers=True).is_fingered
        (False, True)
        """
        return self.view != "lead-sheet" if self.fingers is None else self.fingers

    @property
    def is_articulated(self) -> bool:
        """Whether slurs, accents and a dynamic are printed: as it is said, else where both hands are."""
        return self.view == "two-hands" if self.articulation is None else self.articulation


USUAL = SheetOptions()
