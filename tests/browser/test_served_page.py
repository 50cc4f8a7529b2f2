"""The served page as a player uses it: what is at hand at once, what is found, kept, varied, checked, and what stays."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.browser.conftest import Server, Tab, expect
from tests.effort import one_in

READY = "document.body.dataset.ready === 'true'"


@pytest.fixture
def tab(browser: Any, server: Server) -> Iterator[Tab]:
    """The page, open for the first time; at the end it has asked no other place for anything, and complained of nothing."""
    made = Tab(browser.new_context(viewport={"width": 1400, "height": 900}).new_page())
    made.page.goto(server.address)
    made.wait(READY)
    yield made
    made.page.context.close()
    own = (server.address, "blob:", "data:")
    assert [address for address in made.asked if not address.startswith(own)] == []
    assert [each for each in made.trouble if "400 (Bad Request)" not in each] == []  # a refusal is an answer


def found(tab: Tab, chart: str, key: str) -> None:
    """Looks for ideas over a chart, typed as it stands; `key` is the idea that comes last."""
    tab.page.fill("#chart", chart)
    tab.page.click(".find")
    tab.page.locator(f"#card-{key}").wait_for(state="attached")
    tab.wait("fillgen.workshop.search.under === null")


def test_the_first_ten_seconds(tab: Tab, axe: str) -> None:
    """An example is there and plays with one press; the button and the first music lie above the fold, on a phone as well."""
    page = tab.page
    for width, height in ((360, 740), (1400, 900)):
        page.set_viewport_size({"width": width, "height": height})
        bar = page.locator("#playbar").bounding_box()["y"]
        for what in (".find", "#card-1-1 .picture svg >> nth=0"):
            box = page.locator(what).bounding_box()
            assert box["y"] + box["height"] <= bar, (width, what)
        assert tab.faults(axe) == []
    page.click("#play")
    tab.wait("fillgen.player.playing === '1-1'")
    assert tab.tell("fillgen.tray.kept.size") == 0
    page.keyboard.press("Escape")
    # the chart is drawn as bars while it is typed, and a press on a chord tells its notes
    page.fill("#chart", "bb gm7 eb f7")
    expect(page.locator(".chart-bars")).to_have_text("B♭Gm7E♭F7")
    page.click(".chart-bars .chord >> nth=1")
    expect(page.locator("#answer h2")).to_contain_text("Gm7")
    assert tab.faults(axe) == []
    page.keyboard.press("Escape")
    # what is wrong is said at its place, with a way to mend it
    page.fill("#chart", "Bb Hm7")
    page.get_by_role("button", name="Write Bm7").click()
    expect(page.locator(".chart-bars")).to_have_text("B♭Bm7")
    page.click(".more-wishes summary")
    assert tab.faults(axe) == []


def test_nothing_is_lost(tab: Tab, server: Server) -> None:
    """Ideas, variations, stars, kept bars, key, tempo and place survive another search, reload, back and a closed tab."""
    page = tab.page
    found(tab, "| Gmaj7 | Em7 | Am7 | D7 |", "2-50")
    tab.tell("fillgen.settings.set({ shift: 2, tempo: 96 })")
    tab.wait("fillgen.lookOf(fillgen.current).own.shift === 2")
    page.click("#card-2-3 .star")
    page.click("#card-2-5 .vary")
    page.click("#card-2-5 .bar-keep[data-bar='1']")
    page.click(
        "#card-2-5 .picture svg >> nth=1", position={"x": 300, "y": 50}
    )  # a press on the music keeps a bar too
    kept = tab.tell("[...fillgen.entries.get('2-5').bars].sort()")
    assert len(kept) == 2
    texts = tab.tell("fillgen.entries.get('2-5').idea.text.split(' | ')")
    page.click("#card-2-5 .vary-find")
    page.locator(".variations .idea >> nth=1").wait_for(state="attached")
    tab.wait("fillgen.workshop.search.under === null")
    varied = tab.tell("fillgen.rounds[1].entries.map(({ idea }) => idea.text.split(' | '))")
    assert all(each[bar - 1] == texts[bar - 1] for each in varied for bar in kept)
    assert page.locator("#card-2-5 + .variations").count() == 1
    assert page.locator("#card-3-1 .bar-frame.new").count() == 4 - len(kept)
    assert (tab.tell("fillgen.settings.shift"), page.locator("#tempo").inner_text()) == (2, "96")
    state = """[fillgen.listed().map(({ idea, round }) => [idea.text, round.kept]), [...fillgen.tray.kept.keys()], fillgen.settings.shift,
        fillgen.settings.kept.tempo, document.getElementById("chart").value, fillgen.rounds[0].entries.map(({ bars }) => [...bars])]"""
    before = tab.tell(state)
    page.click("#card-2-5 .vary")  # its panel is closed
    tab.tell("document.getElementById('card-3-1').scrollIntoView({ behavior: 'instant', block: 'center' })")
    place = tab.tell("document.getElementById('card-3-1').getBoundingClientRect().top")
    tab.tell("fillgen.workshop.sheets.placed()")
    page.reload()
    tab.wait(READY)
    assert tab.tell(state) == before
    tab.wait(
        f"Math.abs(document.querySelector('.variations .idea').getBoundingClientRect().top - {place}) < 60"
    )
    page.go_back()
    tab.wait(f"fillgen.listed().length === 50 && {READY}")
    page.go_forward()
    tab.wait(f"fillgen.listed().length === {len(before[0])} && {READY}")
    # a closed tab, at the plain address
    other = Tab(page.context.new_page())
    other.page.goto(server.address)
    other.wait(READY)
    assert other.tell(state) == before
    page.bring_to_front()  # what lies behind is drawn rarely, and a press waits for that
    # the tray goes on through searches, from tab to tab, and undo brings back what a search replaced
    found(tab, "F7 Bb7", f"{tab.tell('fillgen.made') + 1}-50")
    last = tab.tell("fillgen.rounds[0].entries[6].key")
    page.click(f"#card-{last} .star")
    other.wait("fillgen.tray.kept.size === 2")
    page.click("#tray-button")
    expect(page.locator("#tray .idea")).to_have_count(2)
    files = []
    page.on("download", lambda each: files.append(each.suggested_filename))
    page.click("#all-midi")
    tab.wait("document.getElementById('status').textContent.includes('ready')")
    page.click("#tray-close")
    page.click(".undo")  # the star
    page.click(".undo")  # the search
    tab.wait(f"fillgen.listed().length === {len(before[0])}")
    assert len(files) == 2  # one for each chart
    # what starts to play in one tab ends in the other
    page.click("#play")
    tab.wait("fillgen.player.playing !== null")
    other.page.click("#play")
    other.wait("fillgen.player.playing !== null")
    tab.wait("fillgen.player.playing === null")
    other.page.close()
    assert other.trouble == []


def test_checked_phrases_and_the_book_are_music(tab: Tab) -> None:
    page = tab.page
    found(tab, "| Bb | Gm7 | Cm7 | F7 |", "2-50")
    tab.page.click("#panel-check summary")
    page.fill("#panel-check textarea", "D5q E5q B4h | D5q C5q Bb4h | G4q Bb4q Eb5h | C5h A4h")
    page.get_by_role("button", name="Check the phrase").click()
    page.locator(".check-music .note-mark.clash").first.wait_for()
    expect(page.locator(".check-music .mark-word").first).to_have_text("clashes")
    expect(page.locator(".check-music h3")).to_have_text(["Your phrase", "Mended"])
    # the music of an idea below doesn't take the reader away from the panel
    card = "document.getElementById('card-2-41').getBoundingClientRect()"
    tab.tell("fillgen.playing.follow(fillgen.rounds[0].entries[40], 1)")
    tab.rest()
    assert tab.tell(f"{card}.top > innerHeight")
    page.locator(".check-music .idea").first.locator(".play").click()
    tab.wait("fillgen.player.playing !== null")
    tab.wait("document.querySelector('.check-music .lit')")
    tab.rest()  # the page follows the music
    page.locator(".check-music .idea").first.locator(".note").first.click(force=True)
    expect(page.locator("#answer p")).to_contain_text("D5 on beat 1")
    page.click("#answer button")
    page.click("#panel-check summary")
    page.click("#panel-book summary")
    page.locator(".book-music .picture svg").first.wait_for()
    page.locator(".book-music .play").first.click()
    tab.wait("fillgen.player.playing !== null")
    # fewer wishes that cannot be met are said where they are
    page.click("#panel-book summary")
    page.click(".more-wishes summary")
    page.fill("[name=lead_to]", "H9")
    page.click(".find")
    expect(page.locator(".wishes .mistake").last).not_to_be_empty()
    assert page.locator("[name=lead_to]").get_attribute("aria-invalid") == "true"


def press(selector: str) -> Callable[[Tab], None]:
    return lambda tab: tab.page.click(selector)


def key(name: str) -> Callable[[Tab], None]:
    return lambda tab: tab.page.keyboard.press(name)


def varied(tab: Tab) -> None:
    tab.page.click("#card-1-1 .star")
    tab.page.click("#card-1-1 .vary")
    tab.page.click("#card-1-1 .bar-keep[data-bar='1']")
    tab.page.click("#card-1-1 .vary-find")
    tab.page.locator(".variations .idea >> nth=1").wait_for(state="attached")
    tab.wait("fillgen.workshop.search.under === null")


def checked(tab: Tab) -> None:
    tab.page.fill("#panel-check textarea", "B4q F#5q G5q A5q | G5q F5q E5h | C5q D#5q E5q C5q | D5w")
    tab.page.get_by_role("button", name="Check the phrase").click()
    tab.page.locator(".check-music .note-mark").first.wait_for()


def asked_on_the_stand(tab: Tab) -> None:
    tab.tell("document.querySelector('#stand-picture .note').focus()")
    tab.page.keyboard.press("Enter")
    expect(tab.page.locator("#answer h2")).to_contain_text("Why does")


def refused(tab: Tab) -> None:
    tab.page.fill("#chart", "Bb Hm7")
    tab.page.get_by_role("button", name="Write Bm7").wait_for()


STATES: dict[str, tuple[Callable[[Tab], None], str]] = {
    "opened": (lambda _: None, "document"),
    "varied": (varied, "{ include: [['#card-1-1'], ['.variations']] }"),
    "starred": (press("#tray-button"), "'#tray'"),
    "more": (press(".more-wishes summary"), "'.more-wishes'"),
    "looked at": (press("#view summary"), "'#view'"),
    "heard": (press("#sound summary"), "'#sound'"),
    "helped": (key("?"), "'#help'"),
    "enlarged": (press("#card-1-1 [data-act='stand']"), "'#stand'"),
    "explained": (asked_on_the_stand, "'#answer'"),
    "phrase": (press("#panel-check summary"), "'#panel-check'"),
    "checked": (checked, "'#panel-check'"),
    "book": (press("#panel-book summary"), "'#panel-book'"),
    "refused": (refused, "document"),
}
"""The states of the page, each reached from the one before, and what is new in each."""
LEFT = {
    "starred": press("#tray-close"),
    "more": press(".more-wishes summary"),
    "looked at": press("#view summary"),
    "heard": key("Escape"),
    "helped": key("Escape"),
    "explained": press("#stand-close"),
    "checked": press("#panel-check summary"),
    "book": press("#panel-book summary"),
}
"""How a state is left that would be in the way of the next."""


@pytest.mark.parametrize(
    ("width", "height", "zoom", "scheme"),
    one_in(
        8,
        [
            (width, height, zoom, scheme)
            for scheme in ("light", "dark")
            for width, height, zoom in ((360, 740, 1), (800, 1100, 1), (1400, 900, 1), (700, 450, 2))
        ],
    ),
)
def test_every_state_is_accessible(
    browser: Any, server: Server, axe: str, width: int, height: int, zoom: int, scheme: str
) -> None:
    """On a phone, a tablet, a desk and a desk at 200 %: axe finds nothing, and nothing is wider than the window."""
    context = browser.new_context(
        viewport={"width": width, "height": height}, device_scale_factor=zoom, color_scheme=scheme
    )
    tab = Tab(context.new_page())
    tab.page.goto(server.address)
    tab.wait(READY)
    wrong = {}
    for name, (reach, new) in STATES.items():
        reach(tab)
        tab.wait("document.getAnimations().every(({ playState }) => playState !== 'running')")
        wrong[name] = tab.faults(axe, new)
        if name in LEFT:
            LEFT[name](tab)
    context.close()
    assert {name: faults for name, faults in wrong.items() if faults} == {}


def test_a_filter_hides_no_new_search(tab: Tab) -> None:
    tab.page.click("#view summary")
    tab.page.select_option("#view [name=show]", "starred")
    expect(tab.page.locator("#count")).to_have_text("0 of 12 ideas")
    tab.page.click("#view summary")
    found(tab, "Ab Bb7 Eb", "2-50")
    expect(tab.page.locator("#count")).to_have_text("50 ideas")
    tab.page.click(".more-wishes summary")
    tab.page.check("[name=below]")
    tab.page.click(".find")
    tab.page.locator("#card-3-50").wait_for(state="attached")
    expect(tab.page.locator("#count")).to_have_text("100 ideas")


def test_a_server_that_stops(browser: Any, tmp_path: Path) -> None:
    """It is said in words what happened and what to do; what is on the page still plays."""
    server = Server(tmp_path)
    tab = Tab(browser.new_context().new_page())
    tab.page.goto(server.address)
    tab.wait(READY)
    tab.page.evaluate("() => fillgen.player.loadBank().then(() => null)")
    server.process.kill()
    server.stop()
    tab.page.click(".find")
    expect(tab.page.locator(".gone")).to_contain_text("no longer running")
    tab.page.click("#play")
    tab.wait("fillgen.player.playing === '1-1'")
    tab.page.context.close()
    assert [each for each in tab.trouble if "ERR_" not in each] == []


def test_a_network_that_fails_at_first(browser: Any, server: Server) -> None:
    """The page says so, asks again by itself, and opens."""
    tab = Tab(browser.new_context().new_page())
    tab.page.route("**/api/start", lambda asked: asked.abort("connectionreset"), times=1)
    tab.page.goto(server.address)
    expect(tab.page.locator(".gone")).to_contain_text("no longer running")
    tab.wait(READY)
    expect(tab.page.locator(".gone")).to_be_hidden()
    expect(tab.page.locator("#card-1-1")).to_be_visible()
    tab.page.context.close()
