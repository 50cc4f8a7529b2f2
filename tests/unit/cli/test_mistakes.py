"""Mistakes on the command line itself: what is wrong, what is expected, and the nearest right word."""

from __future__ import annotations

import pytest

from tests.commands import Call, refused


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (("ideas", "C", "--rythm", "waltz"), "fillgen ideas has no option --rythm. Did you mean --rhythm?"),
        (("vary", "3", "--explain"), "fillgen vary has no option --explain. fillgen vary --help lists them."),
        (("book", "shwo"), "fillgen book has no command 'shwo'. Did you mean 'show'?"),
        (("voicing",), "fillgen has no command 'voicing'. Did you mean 'voicings'?"),
        (("ideas", "C", "--count", "ten"), "--count takes a whole number, not 'ten'."),
        (("ideas", "C", "--swing", "much"), "--swing takes a number, not 'much'."),
        (("ideas", "C", "--count"), "--count needs a value after it."),
        (("ideas", "C", "--overwrite=yes"), "--overwrite takes no value."),
        (("ideas", "Cm7", "F7"), "'F7' is left over. Put a chart, and a name of several words, in quotes."),
        (("tune",), "fillgen tune needs FILE. fillgen tune --help says what that is."),
        (("batch", "charts"), "fillgen batch needs --output. fillgen batch --help says what that is."),
    ],
)
def test_mistakes_are_said_in_a_line(call: Call, given: tuple[str, ...], said: str) -> None:
    refused(call(*given), said)
