"""The command `ports`."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

from fillgen.app.contents import document_text
from fillgen.app.formats import Content
from fillgen.app.options import OPTIONS, OutputOptions
from fillgen.cli.outputs import check_printed, print_out
from fillgen.cli.signature import grouped


@grouped()
def ports(*, format_: Annotated[str | None, OPTIONS[OutputOptions]["format"]] = None) -> None:
    """MIDI ports of this machine: inputs for listen, outputs for play.

    For --port and --input, any part of a name that only one port has is enough.
    """
    from fillgen.sound.ports import port_names

    printed = OutputOptions(format=format_)
    check_printed(printed)
    names = port_names()
    text = [
        *_lines("outputs, for play --port", names.outputs),
        *_lines("inputs, for listen --input", names.inputs),
    ]
    content = Content(
        text=lambda: "\n".join(text),
        json=lambda: document_text({"inputs": list(names.inputs), "outputs": list(names.outputs)}),
    )
    print_out(content, printed)


def _lines(what: str, names: Sequence[str]) -> list[str]:
    return [what, *(f"  {name}" for name in names or ("none",))]
