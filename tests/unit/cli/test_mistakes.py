"""Mistakes on the command line itself: what is wrong, what is expected, and the nearest right word."""

from __future__ import annotations

import re

import pytest

from tests.commands import Call, all_commands, refused


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (("ideas", "C", "--rythm", "waltz"), "there is no option --rythm. Did you mean --rhythm?"),
        (("vary", "3", "--explain"), "there is no option --explain. fillgen vary --help lists them."),
        (("ideas", "C", "-level", "3"), "Long option names begin with two dashes"),
        (("book", "shwo"), "there is no command 'shwo'. Did you mean 'show'?"),
        (("voicing",), "there is no command 'voicing'. Did you mean 'voicings'?"),
        (("ideas", "C", "--count", "ten"), "--count takes a whole number, not 'ten'."),
        (("ideas", "C", "--swing", "much"), "--swing takes a number, not 'much'."),
        (("ideas", "C", "--count"), "--count needs a value after it."),
        (("ideas", "C", "--overwrite=yes"), "--overwrite takes no value."),
        (("ideas", "Cm7", "F7"), "'F7' is left over. Put a chart, and a name of several words, in quotes."),
        (("ports", "extra"), "'extra' is left over. fillgen ports takes nothing more."),
        (("book", "star"), "ID is missing. fillgen book star --help says what that is."),
        (("tune",), "FILE is missing. fillgen tune --help says what that is."),
        (("batch", "charts"), "--output is missing. fillgen batch --help says what that is."),
    ],
)
def test_mistakes_are_said_in_a_line(call: Call, given: tuple[str, ...], said: str) -> None:
    refused(call(*given), said)


@pytest.mark.parametrize("words", sorted(all_commands()))
def test_an_option_has_one_default(call: Call, words: tuple[str, ...]) -> None:
    """What a command takes where an option isn't given stands once in its help."""
    said = " ".join(call(*words, "--help").out.split())
    assert re.search(r"\[default: [^\]]*\] \[default", said) is None


def test_a_command_says_its_own_defaults(call: Call) -> None:
    """A phrase that is varied brings its rhythm and its tempo; without --for there is nothing that --for decides."""
    said = " ".join(call("vary", "--help").out.split())
    assert "[default: the idea's own, or what suits the metre]" in said
    assert "with --for" not in said
