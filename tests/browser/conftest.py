"""A real browser for the tests of the page: Debian's chromium, driven by playwright.

Where there is none the tests are skipped, with the line that installs it; where the environment variable CI is set they
fail instead. All pages of a session play from one bank of sounds, which lies in the cache folder of the tests.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from importlib import import_module
from importlib.resources import files
from pathlib import Path
from typing import Any, NoReturn

import pytest

import fillgen
from fillgen.page import build
from fillgen.page.voices import bank_text

CHART = "title: Lantern Steps & Co\n| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |"
ARGUMENTS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--autoplay-policy=no-user-gesture-required",
)
GUIDELINES = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice")
"""The rules of axe-core that are asked: those of the Web Content Accessibility Guidelines 2.2, A and AA, and its own advice."""
PATIENCE = 30_000
"""Milliseconds after which something that should have happened counts as missing."""
_PULSE = 50


def not_here(what: str, remedy: str) -> NoReturn:
    words = f"{what}; install it with: {remedy}"
    if os.environ.get("CI"):
        pytest.fail(words)
    pytest.skip(words)


def chromium() -> str:
    """Where the browser lies; a test that asks ends here where there is none."""
    named = os.environ.get("CHROMIUM")
    found = named or shutil.which("chromium") or shutil.which("chromium-browser")
    if not found:
        not_here("there is no chromium on the path", "bash .ci/system (or: apt-get install chromium)")
    return found


def driver() -> Any:
    """What drives the browser."""
    try:
        return import_module("playwright.sync_api")
    except ImportError:
        not_here("playwright is not installed", "pip install -e '.[dev]'")


def expect(what: Any) -> Any:
    """What is to hold of something on a page, waited for as long as it takes within reason."""
    return driver().expect(what)


@pytest.fixture(scope="package")
def browser() -> Iterator[Any]:
    """One for all tests here; its driver runs an event loop, which tests elsewhere must not find running."""
    path = chromium()
    with driver().sync_playwright() as started:
        running = started.chromium.launch(executable_path=path, args=list(ARGUMENTS))
        yield running
        running.close()


@pytest.fixture(scope="package")
def shared(browser: Any) -> Iterator[Any]:
    """A tab that tests borrow one after another: one of its own for each is most of the work that a page makes."""
    page = browser.new_context().new_page()
    yield page
    page.context.close()


@contextlib.contextmanager
def borrowed(page: Any, width: int = 1280, height: int = 720) -> Iterator[Tab]:
    """The shared tab as if it were new; nothing that is done in it is left for the next who borrows it."""
    page.set_viewport_size({"width": width, "height": height})
    tab = Tab(page)
    try:
        yield tab
    finally:
        tab.leave()
        page.evaluate(FORGET)
        page.goto("about:blank")
        page.unroute_all()
        page.emulate_media(media="null", color_scheme="null", reduced_motion="null")
        page.context.clear_cookies()


FORGET = "() => { try { localStorage.clear(); sessionStorage.clear(); } catch { /* a page that may keep nothing */ } }"


@pytest.fixture(scope="session")
def axe() -> str:
    """The script of axe-core, which the rest of the trade checks pages with."""
    try:
        return files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8")
    except ImportError:
        not_here("axe-core is not installed", "pip install -e '.[dev]'")


@pytest.fixture(scope="session", autouse=True)
def _one_bank() -> None:
    """The sounds are made once, before the first page or server needs them."""
    bank_text()


OUT_OF_SIGHT = """(selector) => {
    const each = document.querySelector(selector);
    if (!each.checkVisibility({ contentVisibilityAuto: true })) return true;
    const own = each.getBoundingClientRect();
    return [...document.querySelectorAll(".playbar, .sheetbar")].some((bar) => {
        const box = bar.getBoundingClientRect();
        return own.top < box.bottom && own.bottom > box.top;
    });
}"""


@dataclass
class Tab:
    """A page that is open, with what it complained of and the addresses that it asked for."""

    page: Any
    trouble: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.page.set_default_timeout(PATIENCE)
        self._listeners: dict[str, Callable[[Any], None]] = {
            "console": lambda message: self.trouble.append(message.text),
            "pageerror": lambda error: self.trouble.append(str(error)),
            "request": lambda request: self.asked.append(request.url),
        }
        for event, listener in self._listeners.items():
            self.page.on(event, listener)

    def leave(self) -> None:
        """Listen no longer."""
        for event, listener in self._listeners.items():
            self.page.remove_listener(event, listener)

    def tell(self, question: str) -> Any:
        """The value of a JavaScript expression."""
        return self.page.evaluate(f"() => ({question})")

    def wait(self, question: str) -> None:
        """Until a JavaScript expression holds; the page's policy forbids the browser's own way of waiting."""
        for _ in range(PATIENCE // _PULSE):
            if self.tell(f"Boolean({question})"):
                return
            self.page.wait_for_timeout(_PULSE)
        raise AssertionError(f"never came true: {question}")

    def rest(self) -> None:
        """Until the page no longer scrolls."""
        self.page.evaluate(
            """async () => {
                for (let before = NaN; before !== scrollY; ) {
                    before = scrollY;
                    await new Promise((done) => setTimeout(done, 100));
                }
            }"""
        )

    def download(self, act: Callable[[], None]) -> tuple[str, bytes]:
        """The name and the content of the file that an act gives."""
        with self.page.expect_download() as found:
            act()
        return found.value.suggested_filename, Path(found.value.path()).read_bytes()

    def faults(self, axe: str, context: str = "document") -> list[str]:
        """What axe-core finds, and whether anything is wider than the window."""
        if not self.tell("'axe' in window"):
            self.page.evaluate(f"() => {{ {axe}\n }}")
        told = self.page.evaluate(
            f"(tags) => axe.run({context}, {{ runOnly: tags, resultTypes: ['violations'] }})",
            list(GUIDELINES),
        )
        found = []
        for each in told["violations"]:
            nodes = [node["target"] for node in each["nodes"]]
            if each["id"] == "target-size":
                # a button under a bar, or of a card that isn't laid out, is small only there
                nodes = [node for node in nodes if not self.page.evaluate(OUT_OF_SIGHT, node[0])]
            found += [f"{each['id']}: {node}" for node in nodes[:1]]
        wide = self.tell("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        return [*found, f"{wide} px too wide"] if wide > 0 else found


Open = Callable[..., Tab]
_built: dict[str, bytes] = {}


def _page(ideas: fillgen.Ideas, *arguments: Any) -> bytes:
    """The page of some ideas, made once."""
    name = repr((ideas, arguments))
    if name not in _built:
        _built[name] = build(ideas, *arguments)
    return _built[name]


@pytest.fixture
def open_page(browser: Any, shared: Any, tmp_path: Path) -> Iterator[Open]:
    """Opens a page of ideas from its file, in a window of a size; what was open before is closed.

    `begin` is a script that runs before the page's own; with it, or where the context is to be like something, the tab is
    one of its own. At the end nothing may have been complained of, and nothing asked for but the file itself.
    """
    tabs: list[Tab] = []
    path = tmp_path / "ideas.html"
    with contextlib.ExitStack() as stack:

        def opened(
            ideas: fillgen.Ideas,
            *arguments: Any,
            begin: str = "",
            viewport: tuple[int, int] = (1280, 720),
            **context: Any,
        ) -> Tab:
            path.write_bytes(_page(ideas, *arguments))
            stack.close()
            if begin or context:
                tab = Tab(browser.new_context(**context).new_page())
                stack.callback(tab.page.context.close)
                tab.page.set_viewport_size({"width": viewport[0], "height": viewport[1]})
            else:
                tab = stack.enter_context(borrowed(shared, *viewport))
            tabs.append(tab)
            if begin:
                tab.page.add_init_script(begin)
            tab.page.goto(path.as_uri())
            tab.wait("document.querySelector('.picture svg')")
            return tab

        yield opened
    for tab in tabs:
        assert tab.trouble == []
        own = (path.as_uri(), "data:", "blob:")
        assert [address for address in tab.asked if not address.startswith(own)] == []


@pytest.fixture(scope="session")
def ideas() -> fillgen.Ideas:
    return fillgen.ideas(CHART, rhythm="swing", count=6, seed=3)


class Server:
    """The local page as the command serves it, with an idea book of its own."""

    def __init__(self, folder: Path, more: Sequence[str] = ()) -> None:
        command = [sys.executable, "-m", "fillgen", "page", "--no-browser", *more]
        surroundings = {**os.environ, "FILLGEN_BOOK": str(folder / "ideas.book")}
        self.process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=surroundings, text=True
        )
        assert self.process.stdout is not None
        self.address = self.process.stdout.readline().strip()
        assert self.address, "the server did not begin"

    def stop(self) -> None:
        """As Ctrl-C stops it."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
            with contextlib.suppress(subprocess.TimeoutExpired):
                self.process.wait(10)
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        assert self.process.stdout is not None
        self.process.stdout.close()


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    made = Server(tmp_path_factory.mktemp("server"))
    yield made
    made.stop()
