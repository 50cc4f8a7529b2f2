"""How fills inside a tune are asked for."""

from __future__ import annotations

from dataclasses import replace

from fillgen.app.options import OPTIONS, FillOptions
from fillgen.errors import OptionError
from fillgen.fills.fill import FillRequest


def fill_request(options: FillOptions) -> FillRequest | None:
    """The options of fills, None where no fills are asked for; OptionError for an option about fills without --fills."""
    if options.fills:
        request = FillRequest(how_many=options.how_many, only=options.only)
        return request if options.gap is None else replace(request, gap=options.gap)
    rows = OPTIONS[FillOptions]
    for name in ("gap", "how_many", "only"):
        if getattr(options, name) is not None:
            raise OptionError(f"{rows[name].flags[0]} needs --fills", hint="Add --fills.")
    return None
