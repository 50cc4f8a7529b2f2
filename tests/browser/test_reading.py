"""The page read by everybody: on paper, by keyboard, by a screen reader, on any screen, in light and in dark.

axe-core checks what can be checked of the Web Content Accessibility Guidelines 2.2 (W3C), levels A and AA.
"""

from __future__ import annotations

import re
from itertools import pairwise
from typing import Any

import pytest

import fillgen
from tests.browser.conftest import Open, Tab
from tests.effort import one_in

SCREENS = [(360, "light"), (800, "dark"), (1400, "light")]
OTHER_SCREENS = [(360, "dark"), (800, "light"), (1400, "dark")]


@pytest.mark.parametrize("screens", one_in(2, [SCREENS, OTHER_SCREENS]), ids=["some", "others"])
def test_no_fault_is_found(
    open_page: Open, ideas: fillgen.Ideas, axe: str, screens: list[tuple[int, str]]
) -> None:
    """With all groups open, a card's files open, a star given, note names shown, and something playing; on every screen."""
    tab = open_page(ideas, viewport=(360, 800), bypass_csp=True)
    tab.unfold()
    tab.page.check("[name=names]")
    tab.page.check("[name=loop]")
    tab.page.click("#card-idea-2 .star")
    tab.page.click("#card-idea-2 summary")
    tab.page.click("#card-idea-1 .play")
    tab.wait("document.querySelector('.lit')")
    for width, scheme in screens:
        tab.page.set_viewport_size({"width": width, "height": 800})
        tab.page.emulate_media(color_scheme=scheme)
        assert tab.faults(axe) == [], (width, scheme)
    assert tab.tell("fillgen.player.playing") == "idea-1"
    tab.page.keyboard.press("Escape")


def test_the_controls_leave_room_for_the_ideas(open_page: Open, ideas: fillgen.Ideas) -> None:
    """On a wide screen all controls are open and the first idea is in sight; on others they are folded."""
    heights = {}
    for width in (360, 800, 1400):
        tab = open_page(ideas, viewport=(width, 800))
        heights[width] = tab.tell("document.getElementById('controls').offsetHeight")
        assert tab.page.locator(".panel[open]").count() == (3 if width == 1400 else 0)
        assert tab.page.locator("#card-idea-1 .play").bounding_box()["y"] < 800
    assert heights[1400] <= 260
    assert heights[800] <= 140


@pytest.mark.parametrize("width", [360, 800, 1400])
def test_tab_leads_through_the_page_as_it_is_read(open_page: Open, ideas: fillgen.Ideas, width: int) -> None:
    """From the first control to the last card, from top to bottom and from left to right, nothing left out."""
    tab = open_page(ideas, viewport=(width, 900))
    tab.unfold()
    seen = []
    tab.page.keyboard.press("Tab")
    while (told := tab.page.evaluate(PLACE)) and told["name"] != "Files … of 6":
        seen.append(told)
        assert len(seen) < 120
        tab.page.keyboard.press("Tab")
    assert seen[0]["name"] == "To the ideas"
    expected = tab.tell("document.querySelectorAll('#controls :is(input, select, button, summary)').length")
    assert sum(each["inside"] == "controls" for each in seen) == expected
    assert sum(each["inside"] == "ideas" for each in seen) == 3 * len(ideas) - 1
    rows = [each["card"] for each in seen if each["card"]]
    assert rows == sorted(rows)
    _downwards([each for each in seen if each["inside"] == "controls"])


PLACE = """() => {
    const held = document.activeElement;
    if (held === document.body) return null;
    const box = held.getBoundingClientRect();
    const card = held.closest("article")?.dataset.id.replace("idea-", "");
    const told = held.innerText ?? held.name;
    return {
        name: held.matches("summary") && card ? `Files … of ${card}` : told.trim(), card: Number(card ?? 0),
        inside: held.closest("#controls, #ideas")?.id ?? "", left: box.left, top: box.top + scrollY, foot: box.bottom + scrollY,
    };
}"""


def _downwards(places: list[dict[str, Any]]) -> None:
    """Each stands below the one before, or to the right of it in the same row."""
    for before, after in pairwise(places):
        right = after["left"] > before["left"] and after["foot"] > before["top"]
        assert right or after["top"] >= before["top"], (before["name"], after["name"])


def test_it_is_used_from_the_keyboard_alone(open_page: Open, ideas: fillgen.Ideas) -> None:
    tab = open_page(ideas, viewport=(1400, 900))
    press = tab.page.keyboard.press
    press("Tab")
    press("Enter")
    assert tab.tell("document.activeElement.id") == "ideas"
    press("Tab")
    press("Enter")
    tab.wait("fillgen.player.playing === 'idea-1'")
    assert tab.page.locator("#card-idea-1 .play").inner_text().startswith("Stop")
    press("Enter")
    assert tab.tell("fillgen.player.playing") is None
    press("Tab")
    press("Space")
    assert tab.tell("fillgen.stars()") == ["idea-1"]
    assert tab.page.locator("#status").inner_text().startswith("Idea 1: ")
    tab.page.focus("[name=key]")
    press("ArrowDown")
    tab.wait("fillgen.shift === 1")


def _pages(tab: Tab) -> int:
    return len(re.findall(rb"/Type\s*/Page\b", tab.page.pdf()))


def test_only_what_is_starred_comes_out_of_the_printer(open_page: Open) -> None:
    """Three ideas make one page, twenty make more, in the page's own order; no control is printed."""
    found = fillgen.ideas("| G | Em7 | Am7 | D7 |", metre="3/4", count=20, seed=8)
    tab = open_page(found)
    for number in (2, 5, 7):
        tab.page.click(f"#card-idea-{number} .star")
    tab.page.emulate_media(media="print")
    assert tab.page.locator("article:visible h2").all_inner_texts() == [
        f"Idea {number}: {found[number - 1].shape}" for number in (2, 5, 7)
    ]
    assert tab.page.locator("button:visible, input:visible, select:visible, summary:visible").count() == 0
    assert _pages(tab) == 1
    tab.page.emulate_media(media="screen")
    for number in {*range(1, 21)} - {2, 5, 7}:
        tab.tell(f"document.querySelector('#card-idea-{number} .star').click()")
    assert _pages(tab) > 1


def test_nothing_moves_for_those_who_want_it_still(open_page: Open, ideas: fillgen.Ideas) -> None:
    tab = open_page(ideas, reduced_motion="reduce")
    moving = """[...document.querySelectorAll('*')].filter((each) => {
        const { animationName, transitionDuration, scrollBehavior } = getComputedStyle(each);
        return animationName !== 'none' || transitionDuration !== '0s' || scrollBehavior === 'smooth';
    }).length"""
    assert tab.tell(moving) == 0
