"""The errors that this package raises, each with its place and a hint, and the words that messages are made of."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from difflib import SequenceMatcher
    from typing import Self


class FillgenError(Exception):
    r"""The base of every error this package raises on purpose.

    A message may quote a file or another library: it stays printable, and a long text is cut in the middle.

    >>> print(ChartError("unknown chord 'Hm7'", place="bar 3", hint="Did you mean\x1b 'Bm7'?"))
    bar 3: unknown chord 'Hm7'. Did you mean 'Bm7'?
    """

    def __init__(self, message: str, *, place: str = "", hint: str = "") -> None:
        self.message, self.place, self.hint = map(_bounded, (message, place, hint))
        super().__init__(self.message)

    def within(self, place: str) -> Self:
        """The same error, with what its place lies in before it.

        >>> print(ChartError("unknown chord 'Hm7'", place="bar 3").within("lamps.txt"))
        lamps.txt, bar 3: unknown chord 'Hm7'.
        """
        self.place = _bounded(", ".join(filter(None, (place, self.place))))
        return self

    def __str__(self) -> str:
        sentence = f"{self.place}: {self.message}" if self.place else self.message
        if not sentence.endswith((".", "?", "!")):
            sentence += "."
        return f"{sentence} {self.hint}".rstrip()


_LONGEST = 500
"""The most characters of a message, of its place and of its hint."""


def _bounded(text: str) -> str:
    """A text that is printable, the middle left out where it is long."""
    half = _LONGEST // 2
    text = text if len(text) <= _LONGEST else f"{text[: half - 1]}…{text[-half:]}"
    return printable(text)


class ChartError(FillgenError):
    """A chart that cannot be read."""


class PhraseError(FillgenError):
    """A phrase that cannot be read."""


class PackError(FillgenError):
    """A rule pack that contradicts itself or uses an unknown name."""


class OptionError(FillgenError):
    """An option with an invalid value."""


class TuneError(FillgenError):
    """A tune file that cannot be used."""


class NoPhraseError(FillgenError):
    """Rules, range and chart together leave no phrase at all."""


class OutputError(FillgenError):
    """A file that cannot be read or written."""


def invalid_name(kind: str, path: object) -> OutputError:
    r"""The error for a path that no file or folder can have.

    >>> print(invalid_name("file", "tune\0.mid"))
    'tune\x00.mid': is not a name for a file.
    """
    return OutputError(f"is not a name for a {kind}", place=shorten(str(path), 80))


_MANY = 28
"""The longest list of words that is named whole in a hint."""


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """The known words nearest to a wrong one, as a question; if none is near, all of them unless they are many.

    >>> did_you_mean("foxtrott", ["waltz", "foxtrot"])
    "Did you mean 'foxtrot'?"
    """
    words = list(dict.fromkeys(known))
    if word in words:
        return f"Did you mean {word!r}?"
    by_small: dict[str, list[str]] = {}
    for name in words:
        by_small.setdefault(name.lower(), []).append(name)
    import difflib  # noqa: PLC0415 - needed for a wrong word only

    near = difflib.get_close_matches(word.lower(), by_small, n=3, cutoff=0.6)
    if near:
        as_typed = difflib.SequenceMatcher(b=word)
        best = [max(by_small[small], key=lambda name: _likeness(as_typed, name)) for small in near]
        return f"Did you mean {' or '.join(map(repr, best))}?"
    return f"Use one of: {', '.join(words)}." if words and len(words) <= _MANY else ""


def _likeness(word: SequenceMatcher[str], name: str) -> float:
    """How much of a name is like a word, capitals counting."""
    word.set_seq1(name)
    return word.ratio()


def many(count: int, what: str) -> str:
    """A number with its noun, in the plural if needed.

    >>> many(1, "idea"), many(1200, "phrase")
    ('1 idea', '1,200 phrases')
    """
    return f"{count:,} {what}{'' if count == 1 else 's'}"


def listed(words: Iterable[str], last: str = "or") -> str:
    """Words as a list within a sentence.

    >>> listed(["C5", "E5", "G5"]), listed(["B4"])
    ('C5, E5 or G5', 'B4')
    """
    *most, end = words
    return f"{', '.join(most)} {last} {end}" if most else end


def cut(text: str, width: int) -> str:
    """A text cut to a number of letters, the last of them an ellipsis if anything is missing.

    >>> cut("Harbour Lamps", 8), cut("Lamps", 8)
    ('Harbour…', 'Lamps')
    """
    return text if len(text) <= width else f"{text[: width - 1]}…"


def shorten(text: str, width: int = 40) -> str:
    """A wrong word in quotes, cut to a length that fits into a message."""
    return repr(cut(text, width))


def printable(text: str) -> str:
    r"""A text without the control characters that upset pages and terminals, and with plain spaces only.

    >>> printable("Har\x08bour\u00a0Lamps")
    'Harbour Lamps'
    """
    if text.isprintable():
        return text
    plain = (" " if letter.isspace() else letter for letter in text)
    return "".join(letter for letter in plain if letter.isprintable())
