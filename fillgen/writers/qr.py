"""An address as a QR code (ISO/IEC 18004) for a terminal. This is the one module that knows segno."""

from __future__ import annotations

import io

import segno

_QUIET = 4
"""Light modules round the code, as the standard asks for."""
_COLOURS = "\x1b[97;40m{}\x1b[0m"
"""White on black (ECMA-48, SGR), so that what is light in the code is light on every terminal."""


def qr_text(address: str, *, colours: bool = False) -> str:
    """A QR code as lines of half blocks, light modules drawn; with `colours` for terminals of any colour.

    >>> len(qr_text("http://192.168.7.20:61753/fern/").splitlines())
    17
    """
    drawn = io.StringIO()
    segno.make(address, micro=False).terminal(drawn, border=_QUIET, compact=True)
    lines = drawn.getvalue().splitlines()
    return "\n".join(_COLOURS.format(line) if colours else line for line in lines)
