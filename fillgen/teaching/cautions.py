"""The usual cautions: short turns, pain, loudness."""

from __future__ import annotations

TURNS = "Warm up slowly, play in turns of a few minutes, and let your hands hang loose between them."
PAIN = "Stop when a finger, wrist, arm or shoulder hurts, tingles or feels weak. Do not play through it."
LOUDNESS = (
    "Set the volume, most of all in headphones, so low that you would still hear someone speak beside you."
)
CAUTIONS = (
    TURNS,
    PAIN,
    "The fingers given here come from a model, not from your hand: take others where a stretch strains you.",
    LOUDNESS,
    "What your teacher says goes before whatever stands here.",
    "See a doctor or another clinician about pain, numbness or ringing ears that do not go away.",
)
"""What to mind while practising: the usual cautions, common practice."""
