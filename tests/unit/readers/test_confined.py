"""A score that takes too long or too much is refused, and the next one is read."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from fillgen.errors import TuneError
from fillgen.readers import confined
from fillgen.readers.confined import command, read_abc, read_score, read_tune
from tests.unit.readers.test_bounds import score

METRE = b"</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"
ABC = "X:1\nM:4/4\nL:1/4\nK:Bb\nBcdf|\n"


@contextmanager
def reader_that(does: str) -> Iterator[confined._Reader]:
    """A reader whose process does something else with what it is given, a second at most, once it is told to."""
    *python, code = command("fillgen.readers.confined")
    patched = code.replace(
        "; main()",
        "\nfrom fillgen.readers import confined as c\n"
        "c.MOST_SECONDS = 0\n"
        "usual = c._TASKS['abc']\n"
        f"def does(content, place):\n    if place == 'again': return usual(content, place)\n    {does}\n"
        "c._TASKS['abc'] = does\nmain()",
    )
    assert patched != code
    reader = confined._Reader([*python, patched])
    try:
        yield reader
    finally:
        reader.end()


@pytest.mark.parametrize(
    ("does", "why"),
    [
        ("while True: pass", "takes too long"),
        ("return bytes(10**9)", "takes more memory"),
        ("import os; os._exit(3)", "takes too long"),
        ("import os, signal; os.kill(os.getpid(), signal.SIGKILL)", "takes too long"),
    ],
    ids=["computes", "grows", "ends", "is killed"],
)
@pytest.mark.skipif(sys.platform != "linux", reason="limits of time and memory are those of Linux")
def test_what_a_score_takes_is_bounded_and_the_next_one_is_read(does: str, why: str) -> None:
    with reader_that(does) as reader:
        with pytest.raises(TuneError, match=why) as refused:
            reader.ask("abc", ABC, "big.abc")
        assert refused.value.place == "big.abc"
        assert refused.value.hint
        assert len(reader.ask("abc", ABC, "again").voices[0].sounds) == 4


def test_errors_and_answers_are_those_of_the_reader_itself(tmp_path: Path) -> None:
    assert [sound.midi for sound in read_abc(ABC, "a tune").voices[0].sounds] == [70, 72, 74, 77]
    with pytest.raises(TuneError) as refused:
        read_score(b"<score-partwise/>", "empty.musicxml")
    assert refused.value.place == "empty.musicxml"
    path = tmp_path / "fern.musicxml"
    path.write_bytes(whole := score().replace(b"</divisions>", METRE))
    tune = read_tune(path)
    assert tune.notes
    assert tune.xml == whole


def test_what_libraries_print_or_warn_of_reaches_nobody(capfd: pytest.CaptureFixture[str]) -> None:
    with reader_that(
        "import os; os.write(1, b'out'); os.write(2, b'err'); return usual(content, place)"
    ) as reader:
        assert reader.ask("abc", ABC, "a tune").voices
    assert capfd.readouterr() == ("", "")


def test_a_fault_of_ours_is_seen_as_one() -> None:
    with reader_that("raise KeyError('B flat')") as reader:
        with pytest.raises(RuntimeError, match="KeyError: 'B flat'"):
            reader.ask("abc", ABC, "a tune")
        assert reader.ask("abc", ABC, "again").voices


def test_the_process_is_kept_for_the_next_score() -> None:
    """However large the process is that asks: what counts is what the reader itself holds."""
    ballast = bytearray(b"x" * 400_000_000)
    reader = confined._Reader(command("fillgen.readers.confined"))
    try:
        reader.ask("abc", ABC, "one")
        first = reader._process
        reader.ask("abc", ABC, "two")
        assert reader._process is first is not None
    finally:
        reader.end()
    assert ballast
