"""The README's pictures: `python -m tests.browser.pictures [FOLDER]` writes page.png and stand.png, into shared/pictures.

What is seen is a page as `fillgen ideas ... -o NAME.html` writes it, over a chart of our own, in the moment in which a note
of the first idea lights up; and that idea on the music stand.
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
SIZES = {"page": (1280, 860), "stand": (900, 640)}
"""Width and height by the name of a picture."""
LARGEST = 300_000
MOMENTS = {
    "page": """() => {
    for (const number of [1, 3]) document.querySelector(`#card-1-${number} .star`).click();
    fillgen.playing.light({ key: "1-1", ids: ["idea-1-n4"], note: 4 }, true);
    document.activeElement.blur();
}""",
    "stand": """() => {
    document.querySelector("#card-1-1 [data-act='stand']").click();
    fillgen.playing.light({ key: "1-1", ids: ["idea-1-n4"], note: 4 }, true);
    document.activeElement.blur();
}""",
}


def taken(page: bytes) -> dict[str, bytes]:
    """A page as it looks on a screen, as PNGs by their names."""
    with tempfile.TemporaryDirectory() as folder, driver().sync_playwright() as play:
        path = Path(folder) / "ideas.html"
        path.write_bytes(page)
        browser = play.chromium.launch(executable_path=chromium(), args=list(ARGUMENTS))
        pictures = {}
        for name, (width, height) in SIZES.items():
            tab = browser.new_page(viewport={"width": width, "height": height}, color_scheme="light")
            tab.goto(path.as_uri())
            tab.wait_for_selector("body[data-ready]")
            tab.evaluate(MOMENTS[name])
            pictures[name] = tab.screenshot()
        browser.close()
    return pictures


def main() -> int:
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER
    ideas = fillgen.ideas(CHART, rhythm="foxtrot", count=50, seed=3)
    pictures = taken(build(ideas, Playing(parts=PARTS)))
    large = [
        f"{name}.png has {len(picture):,} bytes"
        for name, picture in pictures.items()
        if len(picture) > LARGEST
    ]
    if large:
        print(f"{', '.join(large)}; at most {LARGEST:,} are wanted", file=sys.stderr)
        return 1
    folder.mkdir(parents=True, exist_ok=True)
    for name, picture in pictures.items():
        (folder / f"{name}.png").write_bytes(picture)
        print(f"{folder / name}.png: {len(picture):,} bytes")
    return 0


if __name__ == "__main__":
    sys.exit(main())
