"""Plans over charts whose metre changes: each bar has a cell of its own metre."""

from __future__ import annotations

from itertools import islice

import pytest

from fillgen import OptionError, RulePack, parse_chart
from fillgen.dice import Dice
from fillgen.engine.plans import plans, stock
from fillgen.rules.pack import BUSY, fitted_cells
from fillgen.theory.metre import METRES

PACK = RulePack()
SONG = parse_chart("| Ab | Fm7 | 2/4 Bbm7 | 4/4 Eb7 | Ab | 3/4 Db | 4/4 Eb7 | Ab |")


@pytest.mark.parametrize("busy", BUSY)
@pytest.mark.parametrize("rhythm", ["foxtrot", "swing", "march", "bossa nova"])
def test_bars_have_cells_of_their_own_metre(rhythm: str, busy: str) -> None:
    """The rhythm's cells of that metre where it has them, else those of 4/4 cut off; the last bar has a close."""
    own = PACK.rhythm(rhythm)
    if "4/4" not in own.metres:
        return
    level = PACK.level(3)
    known = {}
    for name in ("4/4", "3/4", "2/4"):
        has = (name, busy) in own.cells
        cells = [*own.cells[name if has else "4/4", busy], *own.closes[name if has else "4/4", busy]]
        known[name] = {
            cell.notes for cell in (cells if has else fitted_cells(cells, METRES["4/4"], METRES[name]))
        }
    made = plans(SONG, level, own, busy, tuple(PACK.shapes.values()), PACK, lambda _bar, _cell: True, Dice(4))
    for plan in islice(made, 12):
        for bar, metre in enumerate(SONG.metres):
            start, end = SONG.start_of(bar), SONG.start_of(bar + 1)
            notes = tuple((onset - start, length) for onset, length in plan.rhythm if start <= onset < end)
            assert notes in known[metre.name], (bar, notes)


def test_a_close_leaves_time_in_its_own_bar() -> None:
    """The ticks that stay free are those at the end of a last bar of another metre; closes of other bars are whole."""
    chart = parse_chart("| Ab | Eb7 | 2/4 Ab |")
    level, rhythm = PACK.level(3), PACK.rhythm("foxtrot")
    last, usual = (
        stock(chart, level, rhythm, "some", leave=480, metre=METRES[name])[1] for name in ("2/4", "4/4")
    )
    assert all(onset + length <= 480 for cell in last for onset, length in cell.notes)
    assert any(onset + length > 960 for cell in usual for onset, length in cell.notes)


def test_a_rhythm_must_be_played_in_the_metre_of_the_chart() -> None:
    """One that knows only the metre of some bars is refused with what it is played in."""
    made = plans(
        SONG, PACK.level(3), PACK.rhythm("waltz"), "some", (), PACK, lambda _bar, _cell: True, Dice(1)
    )
    with pytest.raises(OptionError, match=r"waltz isn't played in 4/4"):
        next(made)
