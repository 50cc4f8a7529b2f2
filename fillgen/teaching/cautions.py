"""The usual cautions: short turns, pain, loudness."""

from __future__ import annotations

TURNS = "Warm up slowly, play for a few minutes at a time, and let your hands hang loose in between."
PAIN = "Stop if a finger, wrist, arm or shoulder hurts, tingles or feels weak. Do not play through it."
LOUDNESS = "Keep the volume, above all in headphones, low enough to hear someone speak beside you."
CAUTIONS = (
    TURNS,
    PAIN,
    "The fingering comes from a model, not from your hand: use other fingers if a stretch strains you.",
    LOUDNESS,
    "Your teacher's advice comes before anything written here.",
    "See a doctor or another clinician about pain, numbness or ringing ears that do not go away.",
)
"""What to mind while practising: the usual cautions, common practice."""
