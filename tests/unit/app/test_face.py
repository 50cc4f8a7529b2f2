"""The public face: what a script can call, with the options of the commands as typed keywords."""

from __future__ import annotations

import inspect
import json
import subprocess
import sys
from dataclasses import fields
from pathlib import Path

import mido
import pytest

import fillgen
from fillgen.app.formats import FORMATS
from fillgen.app.options import CheckOptions, IdeaOptions, VaryOptions

CHART = "| Ab | Eb7 |"
PHRASE = "C5q Bb4q Ab4h | G4q Bb4q Eb5h"


@pytest.mark.parametrize("name", fillgen.__all__)
def test_every_name_is_there_and_documented(name: str) -> None:
    value = getattr(fillgen, name)
    assert value is not None
    if callable(value):
        assert inspect.getdoc(value)


def test_a_name_that_is_not_there() -> None:
    with pytest.raises(AttributeError, match="nonesuch"):
        fillgen.nonesuch  # noqa: B018 - asking is the point


@pytest.mark.parametrize(
    ("call", "groups"),
    [
        (fillgen.ideas, [IdeaOptions]),
        (fillgen.variants, [IdeaOptions, VaryOptions]),
        (fillgen.check, [CheckOptions]),
    ],
)
def test_every_option_is_a_keyword(call: object, groups: list[type]) -> None:
    """Nobody lists the options again: the signature is that of their groups."""
    parameters = inspect.signature(call).parameters  # type: ignore[arg-type]
    wanted = {field.name for group in groups for field in fields(group)}
    assert wanted <= set(parameters)
    with pytest.raises(TypeError):
        call(CHART, colour="blue")  # type: ignore[operator]


def test_variants_are_found_again_and_again() -> None:
    """A package of the same trade as a function must not take its place."""
    first = fillgen.variants(CHART, PHRASE, keep=("1",), count=2)
    notes = fillgen.parse_phrase(PHRASE, first.progression.metre)
    second = fillgen.variants(CHART, notes, keep=("1",), count=2)
    assert [idea.text for idea in first] == [idea.text for idea in second]


def test_a_phrase_is_checked_as_text_and_as_notes() -> None:
    progression = fillgen.parse_chart(CHART)
    text = fillgen.check(CHART, PHRASE)
    notes = fillgen.check(progression, fillgen.parse_phrase(PHRASE, progression.metre))
    assert text.right == notes.right
    assert fillgen.check(CHART, "A4w | G4w").right is False


@pytest.mark.costly
@pytest.mark.parametrize("ending", [ending for ending in FORMATS if ending not in (".wav", ".flac")])
def test_ideas_are_written_as_every_format(ending: str, tmp_path: Path) -> None:
    found = fillgen.ideas(CHART, count=2)
    path = tmp_path / f"two{ending}"
    fillgen.write(found, path)
    assert path.stat().st_size > 100
    with pytest.raises(fillgen.OutputError):
        fillgen.write(found, path)
    fillgen.write(found, path, overwrite=True)


def test_parts_and_folders(tmp_path: Path) -> None:
    found = fillgen.ideas(CHART, count=2)
    fillgen.write(found, f"{tmp_path}/takes/", playing=fillgen.PlayOptions(parts=("right", "left")))
    files = sorted((tmp_path / "takes").iterdir())
    assert len(files) == 2
    channels = {m.channel for track in mido.MidiFile(files[0]).tracks for m in track if m.type == "note_on"}
    assert channels == {0, 1}
    with pytest.raises(fillgen.OptionError, match="docx"):
        fillgen.write(found, tmp_path / "two.docx")


def test_json_holds_what_was_found(tmp_path: Path) -> None:
    found = fillgen.ideas(CHART, count=3, seed=5)
    fillgen.write(found, tmp_path / "three.json")
    document = json.loads((tmp_path / "three.json").read_text())
    assert [idea["text"] for idea in document["ideas"]] == [idea.text for idea in found]


def test_types_follow_an_option_from_a_script(tmp_path: Path) -> None:
    """A type checker sees a wrong keyword and a wrong type of an option of `ideas`."""
    script = tmp_path / "script.py"
    script.write_text('import fillgen\nfillgen.ideas("| C |", hand=3)\nfillgen.ideas("| C |", hnd="small")\n')
    command = [sys.executable, "-m", "mypy", "--strict", "--cache-dir", str(tmp_path / "cache"), str(script)]
    said = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False).stdout
    assert 'script.py:2: error: Argument "hand"' in said
    assert 'script.py:3: error: Unexpected keyword argument "hnd"' in said
