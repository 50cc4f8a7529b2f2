"""The player's guide in a terminal: its topics, and its pages laid out as plain text.

The pages are Markdown, as little of it as they need: headings, paragraphs, lists, tables and fenced code.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby

from fillgen.errors import OptionError, did_you_mean, shorten
from fillgen.tables import folder
from fillgen.writers.lines import TEXT_WIDTH, wrapped

_LISTED = re.compile(
    r"^- \[(?P<title>.+?)\]\((?P<name>.+?)\.md\): (?P<says>.+?)(?: \((?P<commands>`.+`)\))?$"
)
_MARKUP = re.compile(r"\*\*(?P<strong>.+?)\*\*|\[(?P<link>.+?)\]\(.+?\)|`(?P<code>[^`]+)`")
_COLUMN = re.compile(r"(?<!\\)\|")
_WORD = re.compile(r"[a-z]+")
_FENCE = "```"
_COMMANDS = ("fillgen ", "$ fillgen ")
_WIDEST = 34
"""The widest first column of a table, in characters; what is wider stands on a line of its own."""


@dataclass(frozen=True, slots=True)
class Topic:
    """A page of the guide: its name, its title, what it's about, and the commands that it's about besides its namesake."""

    name: str
    title: str
    says: str
    commands: tuple[str, ...]


@lru_cache(maxsize=1)
def topics() -> tuple[Topic, ...]:
    """The pages of the guide in order, as its list names them.

    >>> topics()[0].name
    'charts'
    """
    lines = (folder("guide") / "README.md").read_text(encoding="utf-8").splitlines()
    found = [match for line in lines if (match := _LISTED.match(line))]
    return tuple(
        Topic(
            each["name"], each["title"], each["says"], tuple(re.findall(r"`(\w+)`", each["commands"] or ""))
        )
        for each in found
    )


def topic_of(command: str) -> Topic | None:
    """The page about a command, if there is one.

    >>> topic_of("vary").name
    'varying'
    """
    return next((each for each in topics() if command in (each.name, *each.commands)), None)


def topics_text(width: int = TEXT_WIDTH) -> str:
    """The list of topics."""
    return "\n".join(
        _columns([[each.name, f"{each.title}: {each.says}"] for each in topics()], width, indent=2)
    )


def page_text(name: str, width: int = TEXT_WIDTH) -> str:
    """A page of the guide, by its name or by a command; OptionError with the nearest names for an unknown one."""
    wanted = "-".join(name.lower().split())
    topic = topic_of(wanted)
    if topic is None:
        known = [word for each in topics() for word in (each.name, *each.commands)]
        hint = did_you_mean(wanted, known)
        raise OptionError(
            f"the guide has no page {shorten(name)}",
            hint=hint if hint.startswith("Did") else "fillgen help lists its pages.",
        )
    text = (folder("guide") / f"{topic.name}.md").read_text(encoding="utf-8")
    return "\n".join(_laid_out(text, width))


def _laid_out(text: str, width: int) -> Iterator[str]:
    """The lines of a page: code as it is, the rest without markup and as wide as the terminal."""
    is_code = False
    for fenced, lines in groupby(text.splitlines(), lambda line: line.startswith(_FENCE)):
        if fenced:
            is_code ^= bool(sum(1 for _ in lines) % 2)
        elif is_code:
            yield from _code(list(lines), width)
        else:
            for filled, paragraph in groupby(lines, bool):
                yield from _paragraph(list(paragraph), width) if filled else ("",)


def _code(lines: Sequence[str], width: int) -> Iterator[str]:
    """Code, set in where what is printed has room; commands are long lines, left whole to be copied."""
    printed = [line for line in lines if not line.startswith(_COMMANDS)]
    indent = "  " if max(map(len, printed), default=0) + 2 <= width else ""
    yield from (f"{indent}{line}".rstrip() for line in lines)


def _paragraph(lines: Sequence[str], width: int) -> Iterator[str]:
    """A heading, a table, a list or a paragraph."""
    if lines[0].startswith("#"):
        level, _, title = lines[0].partition(" ")
        yield _plain(title)
        yield ("=" if level == "#" else "-") * len(_plain(title))
    elif lines[0].startswith("|"):
        rows = [[_cell(cell) for cell in _COLUMN.split(line)[1:-1]] for line in (lines[0], *lines[2:])]
        yield from _columns(rows, width, indent=2)
    elif lines[0].startswith("- "):
        for item in re.split(r"\n(?=- )", "\n".join(lines)):
            yield wrapped(_plain(" ".join(item.split())), width)
    else:
        yield wrapped(_plain(" ".join(lines)), width, hang=0)


def _cell(cell: str) -> str:
    return _plain(cell.strip().replace("\\|", "|"), quoted=False)


def _plain(text: str, *, quoted: bool = True) -> str:
    """A text without markup; a single word that was marked as code is `quoted`, as it could be read as one of the text."""

    def plain(found: re.Match[str]) -> str:
        word = found["strong"] or found["link"] or found["code"]
        return f"'{word}'" if quoted and found["code"] and _WORD.fullmatch(word) else word

    return _MARKUP.sub(plain, text)


def _columns(rows: Sequence[Sequence[str]], width: int, indent: int) -> Iterator[str]:
    """Rows in columns, the last of which is broken where the terminal ends."""
    *fixed, _ = (max(map(len, column)) for column in zip(*rows, strict=True))
    fixed = [min(each, _WIDEST, width // 2) for each in fixed]
    left = indent + sum(fixed) + 2 * len(fixed)
    for *head, last in rows:
        line = " " * indent + "".join(f"{cell:<{wide}}  " for cell, wide in zip(head, fixed, strict=True))
        if len(line) > left:
            yield line.rstrip()
            line = " " * left
        first, *more = textwrap.wrap(last, width - left, break_long_words=False) or [""]
        yield f"{line}{first}".rstrip()
        yield from (f"{' ' * left}{each}" for each in more)
