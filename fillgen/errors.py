"""What can go wrong, each with a place and a way on.

```
FillgenError            everything this package raises on purpose
├── ChartError          a chart that cannot be read
├── PhraseError         a phrase that cannot be read
├── PackError           a rule pack that contradicts itself or names what is not there
├── OptionError         a setting outside what is offered
├── TuneError           a tune file that cannot be used
├── NoPhraseError       rules, range and chart leave no phrase at all
└── OutputError         a file that cannot be read or written
```
"""

from __future__ import annotations

from collections.abc import Iterable


class FillgenError(Exception):
    """The root of every error this package raises on purpose.

    >>> print(ChartError("unknown chord 'Hm7'", place="bar 3", hint="Did you mean 'Bm7'?"))
    bar 3: unknown chord 'Hm7'. Did you mean 'Bm7'?
    """

    def __init__(self, message: str, *, place: str = "", hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.place = place
        self.hint = hint

    def __str__(self) -> str:
        told = f"{self.place}: {self.message}" if self.place else self.message
        if not told.endswith((".", "?", "!")):
            told += "."
        return f"{told} {self.hint}".rstrip()


class ChartError(FillgenError):
    """A chart that cannot be read."""


class PhraseError(FillgenError):
    """A phrase that cannot be read."""


class PackError(FillgenError):
    """A rule pack that contradicts itself or names what is not there."""


class OptionError(FillgenError):
    """A setting outside what is offered."""


class TuneError(FillgenError):
    """A tune file that cannot be used."""


class NoPhraseError(FillgenError):
    """Rules, range and chart together leave no phrase at all."""


class OutputError(FillgenError):
    """A file that cannot be read or written."""


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """The known words nearest to a wrong one, as a question; all of them where they are few.

    >>> did_you_mean("foxtrott", ["waltz", "foxtrot"])
    "Did you mean 'foxtrot'?"
    """
    words = list(dict.fromkeys(known))
    if word in words:
        return f"Did you mean {word!r}?"
    by_small = {name.lower(): name for name in reversed(words)}
    import difflib  # noqa: PLC0415 - needed for a wrong word only

    near = difflib.get_close_matches(word.lower(), by_small, n=3, cutoff=0.6)
    if near:
        return f"Did you mean {' or '.join(repr(by_small[name]) for name in near)}?"
    return f"It is one of: {', '.join(words)}." if words and len(words) <= 24 else ""


def many(count: int, what: str) -> str:
    """A number with its word.

    >>> many(1, "idea"), many(1200, "phrase")
    ('1 idea', '1,200 phrases')
    """
    return f"{count:,} {what}{'' if count == 1 else 's'}"


def listed(words: Iterable[str], last: str = "or") -> str:
    """Words in a row as a sentence has them.

    >>> listed(["C5", "E5", "G5"]), listed(["B4"])
    ('C5, E5 or G5', 'B4')
    """
    *most, end = words
    return f"{', '.join(most)} {last} {end}" if most else end


def shorten(text: str, width: int = 40) -> str:
    """A wrong word cut to a length that can be shown in a message, as Python would quote it."""
    return repr(text if len(text) <= width else text[: width - 1] + "…")


def printable(text: str) -> str:
    r"""A text without the control characters that no page or terminal may meet, every kind of blank a plain one.

    >>> printable("Har\x08bour\u00a0Lamps")
    'Harbour Lamps'
    """
    if text.isprintable():
        return text
    plain = (" " if letter.isspace() else letter for letter in text)
    return "".join(letter for letter in plain if letter.isprintable())
