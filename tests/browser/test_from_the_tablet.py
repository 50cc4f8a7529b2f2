"""The shared page in a browser on another host: over plain HTTP it is no secure context, and plays all the same.

What browsers keep for secure contexts (W3C, Secure Contexts): Web MIDI, the clipboard, AudioWorklet. The hosts are network
namespaces (`tests.hosts`).
"""

from __future__ import annotations

from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from tests.browser.conftest import ARGUMENTS, chromium
from tests.browser.engines import HEIGHT, WIDTH, Chromium, Tab
from tests.browser.test_three_engines import (
    CARDS,
    CHORDS,
    DRAWN,
    ENDED,
    FIND,
    FLOOR,
    LIT,
    PLAY,
    READ_CHORDS,
    READY,
    SOUND,
)
from tests.hosts import served, two_hosts


def test_a_tablet_finds_and_plays(browser: Any, tmp_path: Path) -> None:
    with two_hosts() as (study, tablet), served(study, "--share") as page:
        start = tmp_path / "chromium"
        start.write_text(f'#!/bin/sh\nexec {" ".join(tablet.command(chromium()))} "$@"\n')
        start.chmod(0o755)
        away = browser.browser_type.launch(executable_path=str(start), args=list(ARGUMENTS))
        tab = Tab(Chromium(away.new_context(viewport={"width": WIDTH, "height": HEIGHT}).new_page()))
        tab.open(page.lan)
        tab.wait(READY)
        assert tab.evaluate("[isSecureContext, location.host]") == [False, urlsplit(page.lan).netloc]
        assert tab.evaluate(
            "navigator.requestMIDIAccess === undefined && !('audioWorklet' in new AudioContext())"
        )
        tab.fill(CHORDS, "| Dm7 | Gm7 | A7 | Dm |")
        tab.wait(f"{READ_CHORDS} === 4")
        tab.click(FIND)
        tab.wait(f"{CARDS} === 50 && {ENDED}")
        tab.wait(DRAWN)
        tab.click(PLAY)
        tab.wait(LIT)
        tab.wait(f"{SOUND} > {FLOOR}")
        away.close()
