"""The README and the contributors' guide say what is so."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
import typer

import fillgen
from fillgen.cli import main, program
from fillgen.theory.chords import kinds, spellings
from fillgen.theory.pitch import Key, Name, midi_name

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    """The code blocks of the README in a language."""
    return re.findall(rf"```{language}\n(.*?)```", README, re.DOTALL)


COMMANDS = [line for block in blocks("sh") for line in block.splitlines() if line.startswith("fillgen ")]

SERVED = [line for block in blocks("shell") for line in block.splitlines()]


@pytest.fixture
def workplace(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the demo charts and the README's own rule pack."""
    (tmp_path / "shared").symlink_to(ROOT / "shared")
    (tmp_path / "my-rules.toml").write_text(blocks("toml")[0], encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(command: str) -> int:
    """The exit code of a command line."""
    with pytest.raises(SystemExit) as ended:
        main(shlex.split(command)[1:])
    return int(ended.value.code or 0)


@pytest.mark.parametrize("command", COMMANDS)
def test_commands_of_the_readme_run(command: str, workplace: Path) -> None:
    """Every fillgen command of the README does its job."""
    assert run(command) == 0
    for written in re.findall(r"-o (\S+)", command):
        assert (workplace / written).exists(), written


@pytest.mark.parametrize("command", SERVED)
def test_commands_that_go_on_are_understood(command: str) -> None:
    """The README's commands that serve, play or listen until they are stopped are commands with their options."""
    name, *arguments = shlex.split(command.removeprefix(".venv/bin/"))[1:]
    group = typer.main.get_command(program())
    assert group.commands[name].make_context(name, arguments).params  # type: ignore[attr-defined]


def test_output_shown_is_the_real_output(capsys: pytest.CaptureFixture[str]) -> None:
    """What the README shows under a command is what the command prints."""
    (shown,) = blocks("console")
    command, _, output = shown.partition("\n")
    assert run(command.removeprefix("$ ")) == 0
    assert capsys.readouterr().out == output


def test_python_of_the_readme_gives_the_ideas_of_the_command(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """The README's lines of Python run: as many ideas as they ask for, the best one first, a sheet, and a checked phrase."""
    monkeypatch.chdir(tmp_path)
    (code,) = blocks("python")
    exec(compile(code, "README", "exec"), {})
    lines = capsys.readouterr().out.splitlines()
    found = fillgen.ideas("| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |", rhythm="foxtrot", count=5)
    *shown, last = lines
    assert all(line.endswith(idea.text) for line, idea in zip(shown, found, strict=True))
    assert last.startswith("True 0.")
    assert (tmp_path / "five.pdf").read_bytes()[:5] == b"%PDF-"


def test_main_command_is_the_first_code_block() -> None:
    """The set-up commands come first: the main job, then the tests, which CI runs with the same words."""
    first, second = blocks("sh")[:2]
    assert "fillgen ideas" in first
    test_command = "-m pytest -n auto\n"
    assert test_command in second
    assert test_command in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


def test_numbers_of_the_readme_are_true() -> None:
    """Kinds, spellings, and the ladder's ranges and leaps are those of the tables."""
    assert f"{len(kinds())} kinds in {len(spellings())}\nspellings" in README
    pack, key = fillgen.RulePack(), Key(Name(0, 0), "major")
    leaps = {7: "a fifth", 9: "a major sixth", 12: "an octave"}
    for number in pack.level_numbers:
        level = pack.level(number)
        widest = next(u.settings["semitones"] for u in level.uses if u.rule.kind == "leap-limit")
        ends = f"{midi_name(level.low, key)} to {midi_name(level.high, key)} | {leaps[widest]} |"
        assert re.search(rf"^\| {number} {level.name} \|.*\| {re.escape(ends)}$", README, re.MULTILINE), ends


def test_changelog_names_the_version() -> None:
    """The newest entry of the changelog is this version."""
    changelog = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    assert re.findall(r"^## (\S+)", changelog, re.MULTILINE)[0] == fillgen.__version__
