"""Rows on pages: nothing beyond the edge, nothing lost, headings with what they head."""

from __future__ import annotations

import pytest

from fillgen.writers.engraver import Drawing
from fillgen.writers.layout import Layout, Picture, PlacedDrawing, PlacedLine, Row, Words, in_rows


def measure(text: str, size: float, bold: bool) -> float:
    """A font whose letters are all half as wide as high."""
    return len(text) * size / 2


LAYOUT = Layout(400.0, 300.0, measure)


def placed(rows: list[Row]) -> list[list[tuple[float, float, str]]]:
    return [
        [(item.x, item.y, item.text) for item in page if isinstance(item, PlacedLine)]
        for page in LAYOUT.pages(rows)
    ]


def test_words_are_wrapped_and_none_is_lost() -> None:
    """A paragraph goes over lines that fit; its words come out in order."""
    text = " ".join(f"word{number}" for number in range(60))
    (page,) = placed([Row(((Words(text),),))])
    assert " ".join(line for *_, line in page) == text
    assert all(measure(line, 9, False) <= 400 for *_, line in page)
    assert len({y for _, y, _ in page}) == len(page) > 3


def test_a_word_without_end_is_cut() -> None:
    """What has no blank is cut at the edge, and says so."""
    (page,) = placed([Row(((Words("x" * 5000),),))])
    ((_, _, line),) = page
    assert line.endswith("…")
    assert measure(line, 9, False) <= 400


@pytest.mark.parametrize("columns", [1, 2, 3, 4])
def test_cells_stand_in_their_columns(columns: int) -> None:
    """As many cells as there are come out, row by row, each inside its column."""
    cells = [(Words(f"cell {number}"),) for number in range(7)]
    (page,) = placed(in_rows(cells, columns))
    assert [line for *_, line in page] == [f"cell {number}" for number in range(7)]
    assert len({x for x, *_ in page}) == min(columns, 7)
    assert all(0 <= x < 400 for x, *_ in page)


def test_rows_go_over_pages_whole() -> None:
    """A row that doesn't fit begins the next page, and a heading goes with it."""
    tall = Drawing("", 840, 300)
    rows = []
    for number in range(6):
        rows.append(Row(((Words(f"head {number}", 2),),), leads=True))
        rows.append(Row(((Picture(tall, "Picture", "none"),),)))
    pages = LAYOUT.pages(rows)
    for page in pages:
        heads = [item for item in page if isinstance(item, PlacedLine)]
        pictures = [item for item in page if isinstance(item, PlacedDrawing)]
        assert len(heads) == len(pictures) > 0
        for head, picture in zip(heads, pictures, strict=True):
            assert head.y < picture.y
            assert picture.y + 300 * picture.scale <= 300
    assert sum(len(page) for page in pages) == 12


def test_drawings_share_one_scale() -> None:
    """A drawing is as large in a column as on the whole page, and smaller only where it would go beyond its column."""
    small, wide = Drawing("", 100, 50), Drawing("", 800, 50)
    (page,) = LAYOUT.pages([Row(((Picture(small, "a", ""),), (Picture(wide, "b", ""),)), 2)])
    first, second = (item for item in page if isinstance(item, PlacedDrawing))
    assert first.scale == pytest.approx(400 / 840)
    assert second.x + 800 * second.scale == pytest.approx(400)


def test_words_beside_a_picture_keep_clear_of_it() -> None:
    """They stand to its right, and the next piece below both."""
    picture = Picture(Drawing("", 210, 40), "Keys", "", tuple(Words(f"line {n}") for n in range(8)))
    (page,) = LAYOUT.pages([Row(((picture, Words("below")),))])
    beside = [item for item in page if isinstance(item, PlacedLine) and item.text.startswith("line")]
    (below,) = [item for item in page if isinstance(item, PlacedLine) and item.text == "below"]
    assert all(item.x > 100 for item in beside)
    assert below.y > max(item.y for item in beside)
