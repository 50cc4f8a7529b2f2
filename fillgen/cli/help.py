"""The command `help`: the player's guide in the terminal."""

from __future__ import annotations

from typing import Annotated

from fillgen.app.options import OPTIONS, Option, OutputOptions
from fillgen.cli.outputs import show, width_of
from fillgen.cli.signature import grouped

TOPIC = Option((), "A page of the guide, or a command. Left out, the pages are listed.", metavar="TOPIC")


@grouped()
def help(  # noqa: A001 - the name of the command
    *,
    topic: Annotated[str | None, TOPIC] = None,
    no_pager: Annotated[bool, OPTIONS[OutputOptions]["no_pager"]] = False,
) -> None:
    """The player's guide: a page for each task, each with examples to copy."""
    from fillgen.writers.guide import page_text, topics_text

    width = width_of()
    text = page_text(topic, width) if topic is not None else _LIST.format(topics_text(width))
    show(text, OutputOptions(no_pager=no_pager))


_LIST = """\
The player's guide. fillgen help TOPIC shows a page:

{}

The options of a command: fillgen COMMAND --help"""
