"""The README and the contributors' guide say what is so."""

from __future__ import annotations

import re
from pathlib import Path

import fillgen
from fillgen.theory.metre import METRES
from fillgen.theory.pitch import Key, Name, midi_name
from tests.docs.samples import blocks, renewed

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_examples_are_what_is_printed() -> None:
    """Every fillgen command does its job and prints what is shown; `python -m tests.docs.samples --write` renews it."""
    assert renewed(README) == README


def test_it_is_short() -> None:
    """A reader comes to the end of it."""
    assert len(README.splitlines()) <= 180


def test_main_command_is_the_first_code_block() -> None:
    """The set-up commands come first: the main job, then the tests, which CI runs with the same words; on Windows alike."""
    first, second = blocks(README, "sh")[:2]
    assert README.index("```") == README.index(f"```sh\n{first}")
    assert "fillgen ideas" in first
    test_command = "-m pytest -n auto\n"
    assert test_command in second
    assert test_command in (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    (windows,) = blocks(README, "powershell")
    here = windows.replace("\\Scripts\\", "/bin/").replace("py -m", "python3 -m")
    assert here == first + second


def test_no_command_has_a_comment_behind_it() -> None:
    """What is copied is the command, in whatever shell."""
    for language in ("sh", "shell", "console", "powershell"):
        for block in blocks(README, language):
            assert [line for line in block.splitlines() if " # " in line] == []


def test_tables_of_the_readme_are_true() -> None:
    """Each rhythm stands under its metres with its tempo; the ladder's ranges and leaps are those of the levels."""
    pack, key = fillgen.RulePack(), Key(Name(0, 0), "major")
    rhythms = [pack.rhythm(name) for name in pack.rhythm_names]
    for metre in METRES:
        known = [each for each in rhythms if metre in {own for own, _ in each.cells}]
        names = ", ".join(
            f"{each.name} {each.tempo}" for each in sorted(known, key=lambda r: (r.tempo, r.name))
        )
        assert f"\n| {metre} | {names} |\n" in README
    leaps = {7: "a fifth", 9: "a major sixth", 12: "an octave"}
    for number in pack.level_numbers:
        level = pack.level(number)
        widest = next(u.settings["semitones"] for u in level.uses if u.rule.kind == "leap-limit")
        ends = f"{midi_name(level.low, key)} to {midi_name(level.high, key)} | {leaps[widest]} |"
        assert re.search(rf"^\| {number} {level.name} \|.*\| {re.escape(ends)}$", README, re.MULTILINE), ends


def test_links_lead_somewhere() -> None:
    """Every file that the README or the guide links to is there."""
    for path in (ROOT / "README.md", *(ROOT / "shared" / "guide").glob("*.md")):
        for link in re.findall(r"\]\((?!https?:)([^)#]+)\)", path.read_text(encoding="utf-8")):
            assert (path.parent / link).exists(), (path.name, link)


def test_changelog_names_the_version() -> None:
    """The newest entry of the changelog is this version."""
    changelog = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    assert re.findall(r"^## (\S+)", changelog, re.MULTILINE)[0] == fillgen.__version__
