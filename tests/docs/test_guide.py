"""The player's guide says what is so: its examples are run, and its pages are found."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.docs.samples import DOCUMENTS, ROOT, renewed

GUIDE = tuple(path for path in DOCUMENTS if path.parent.name == "guide")
PAGES = tuple(path for path in GUIDE if path.stem != "README")


@pytest.mark.parametrize("page", PAGES, ids=lambda path: path.stem)
def test_examples_are_what_is_printed(page: Path) -> None:
    """Every command of a page does its job, and prints what stands below it; `python -m tests.docs.samples --write` brings it up to date."""
    text = page.read_text(encoding="utf-8")
    assert renewed(text) == text


@pytest.mark.parametrize("page", PAGES, ids=lambda path: path.stem)
def test_a_page_begins_with_an_example(page: Path) -> None:
    """A title, then something to try; no page is long."""
    title, blank, fence, *more = page.read_text(encoding="utf-8").splitlines()
    assert title.startswith("# ")
    assert blank == ""
    assert fence.startswith("```")
    assert 20 <= len(more) <= 125


def test_every_page_is_in_the_list() -> None:
    """The list names every page once, and no other."""
    listed = re.findall(
        r"^- \[.*?\]\((.*?)\.md\): ", (ROOT / "shared/guide/README.md").read_text(), re.MULTILINE
    )
    assert sorted(listed) == sorted(path.stem for path in PAGES)
