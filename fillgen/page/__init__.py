"""The page for a browser: ideas to see, hear, filter, star, print and export in every key.

`build` makes a single file that works offline; `shell` is the same page without data, for a server.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping
from functools import lru_cache
from html import escape
from importlib.resources import files
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fillgen.hands.playing import Playing
    from fillgen.page.looks import Looks
    from fillgen.phrase.idea import Ideas

_MOST_IN_ALL_KEYS = 800
"""With more bars in all ideas together, they are engraved in their own key only: the page would grow too large to open."""
_FONT = "music-font.css"
_MEDIA = {".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8"}


def build(ideas: Ideas, playing: Playing | None = None, sounds: Mapping[str, str] | None = None) -> bytes:
    """Ideas as a single web page that loads nothing from anywhere.

    `playing` and `sounds` are as for `fillgen.writers.midi.to_midi`; parts and count-in are those that the page plays at
    first. OptionError for an invalid way of playing or sound.

    >>> import fillgen
    >>> page = build(fillgen.ideas("| C | G7 |", count=1, shape="arch"))
    >>> page[:15], b"http-equiv" in page
    (b'<!DOCTYPE html>', True)
    """
    from fillgen.page.data import Stage  # noqa: PLC0415 - the engraver is loaded here
    from fillgen.page.looks import looks, packed_text  # noqa: PLC0415
    from fillgen.page.voices import bank_text  # noqa: PLC0415

    stage = Stage(ideas, playing, sounds)
    whole = stage.whole()
    if len(ideas) * len(ideas.progression.bars) > _MOST_IN_ALL_KEYS:
        whole["keys"] = [key for key in whole["keys"] if key["shift"] == 0]
        whole["remarks"].append(f"With more than {_MOST_IN_ALL_KEYS} bars in all the page has one key only.")
    made = looks(stage, [key["shift"] for key in whole["keys"]])
    script = _script()
    data = [
        _block("fillgen-data", f'"{packed_text(_data(whole, made))}"'),
        _block("fillgen-bank", f'"{packed_text(bank_text())}"'),
        *(_block(f"fillgen-look-{shift}", f'"{look}"') for shift, look in made.packed.items()),
    ]
    title = whole["title"] or "Right-hand ideas"
    head = (
        f'<meta http-equiv="Content-Security-Policy" content="{_policy(script)}">\n<title>{escape(title)}</title>\n'
        f"<style>{_text(_FONT)}{_text('page.css')}</style>\n"
    )
    foot = "\n".join([*data, f"<script>{script}</script>"])
    return _page(head, "", foot).encode()


def _data(whole: Mapping[str, Any], made: Looks) -> str:
    from fillgen.page.data import json_text  # noqa: PLC0415

    return json_text({"whole": whole, "ideas": made.ideas, "glyphs": made.glyphs})


def shell(head: str = "", body: str = "") -> str:
    """The page without data, style or script of its own, for a server that serves `ASSETS` under `assets/`.

    `head` goes into its head, `body` into its workshop; both are HTML and are not escaped.

    >>> 'src="assets/main.js"' in shell()
    True
    """
    links = (
        "<title>fillgen</title>\n"
        f'<link rel="stylesheet" href="assets/{_FONT}">\n<link rel="stylesheet" href="assets/page.css">\n'
        '<link rel="icon" href="data:,">\n<link rel="stylesheet" href="assets/workshop/workshop.css">\n'
        '<script type="module" src="assets/main.js"></script>\n'
        f'<script type="module" src="assets/workshop/main.js"></script>\n{head}'
    )
    return _page(links, body, "")


def asset(name: str) -> bytes:
    """The content of `assets/NAME`; KeyError for a name that isn't in `ASSETS`.

    >>> asset("music.js")[:2]
    b'//'
    """
    if name not in ASSETS:
        raise KeyError(name)
    return _text(name).encode()


@lru_cache(maxsize=64)
def _text(name: str) -> str:
    if name == _FONT:
        from fillgen.writers.sheet import text_font_css  # noqa: PLC0415 - the engraver is loaded here

        return text_font_css()
    return files(__package__).joinpath("assets", *name.split("/")).read_text(encoding="utf-8")


def _names() -> tuple[str, ...]:
    """The names of all assets: the page's own, and those of the workshop."""
    assets = files(__package__).joinpath("assets")
    own = sorted(each.name for each in assets.iterdir() if each.name.endswith(tuple(_MEDIA)))
    inside = sorted(each.name for each in assets.joinpath("workshop").iterdir())
    return (_FONT, *own, *(f"workshop/{name}" for name in inside if name.endswith(tuple(_MEDIA))))


ASSETS: Mapping[str, str] = {name: _MEDIA["." + name.rpartition(".")[2]] for name in _names()}
"""The names served under `assets/`, and their media types."""


@lru_cache(maxsize=1)
def _script() -> str:
    from fillgen.page.bundle import bundled  # noqa: PLC0415

    return bundled("main.js", _text)


def _policy(script: str) -> str:
    """The content security policy of the single file: this one script, nothing from anywhere."""
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode("ascii")
    return (
        f"default-src 'none'; script-src 'sha256-{digest}'; style-src 'unsafe-inline'; font-src data:; "
        "img-src data:; base-uri 'none'; form-action 'none'"
    )


def _block(name: str, text: str) -> str:
    return f'<script type="application/json" id="{name}">{text}</script>'


def _page(head: str, workshop: str, foot: str) -> str:
    place = (
        f'<section id="workshop" aria-label="Workshop"{"" if workshop else " hidden"}>{workshop}</section>'
    )
    return (
        _text("page.html")
        .replace("<!--HEAD-->", head)
        .replace("<!--WORKSHOP-->", place)
        .replace("<!--FOOT-->", foot)
    )
