"""How much is tried: little each time, many times as much with the benches."""

from __future__ import annotations

import os

EFFORT = int(os.environ.get("FILLGEN_EFFORT", "1"))
"""So many times as many examples, requests and kills are tried as usual."""
