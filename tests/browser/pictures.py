"""The README's picture of the page: `python -m tests.browser.pictures [FOLDER]` writes page.png, into shared/pictures.

What is seen is a page as `fillgen ideas ... -o NAME.html` writes it, over a chart of our own, in the moment in which a note
of the first idea lights up.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import fillgen
from fillgen.hands.playing import PARTS, Playing
from fillgen.page import build
from tests.browser.conftest import ARGUMENTS, chromium, driver

CHART = "title: Lantern Steps\n| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |"
FOLDER = Path(__file__).resolve().parents[2] / "shared" / "pictures"
WIDTH, HEIGHT = 1280, 860
LARGEST = 300_000
MOMENT = """() => {
    for (const number of [1, 3]) document.querySelector(`#card-1-${number} .star`).click();
    fillgen.light({ key: "1-1", ids: ["idea-1-n4"], note: 4 }, true);
    document.activeElement.blur();
}"""


def taken(page: bytes) -> bytes:
    """A page as it looks on a screen, as a PNG."""
    with tempfile.TemporaryDirectory() as folder, driver().sync_playwright() as play:
        path = Path(folder) / "ideas.html"
        path.write_bytes(page)
        browser = play.chromium.launch(executable_path=chromium(), args=list(ARGUMENTS))
        tab = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT}, color_scheme="light")
        tab.goto(path.as_uri())
        tab.evaluate(MOMENT)
        picture: bytes = tab.screenshot()
        browser.close()
    return picture


def main() -> int:
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER
    ideas = fillgen.ideas(CHART, rhythm="foxtrot", count=50, seed=3)
    picture = taken(build(ideas, Playing(parts=PARTS)))
    if len(picture) > LARGEST:
        print(f"the picture has {len(picture):,} bytes, more than {LARGEST:,}", file=sys.stderr)
        return 1
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "page.png").write_bytes(picture)
    print(f"{folder / 'page.png'}: {len(picture):,} bytes")
    return 0


if __name__ == "__main__":
    sys.exit(main())
