"""Variants of a phrase, by the options of a player."""

from __future__ import annotations

from dataclasses import replace

from fillgen.app.options import VaryOptions
from fillgen.chart.progression import Progression
from fillgen.engine.request import IdeaOptions, Request, Weights, lead_of
from fillgen.errors import OptionError
from fillgen.phrase.idea import Ideas
from fillgen.phrase.remark import on_reading
from fillgen.readers.phrases import Reading
from fillgen.rules.pack import RulePack
from fillgen.theory.keys import read_key
from fillgen.vary import Variation, read_keep, vary


def variants(
    reading: Reading,
    varying: VaryOptions,
    options: IdeaOptions,
    pack: RulePack,
    weights: Weights | None = None,
) -> Ideas:
    """Variants of a phrase, with what there is to say of how it was read; `weights` rank in place of the pack's.

    Raises OptionError where options contradict one another, PhraseError where the phrase doesn't fit its chart, and
    NoPhraseError where nothing can be found.
    """
    variation = variation_of(varying, options)
    if options.lead_to is not None:
        options = replace(options, lead_to=lead_of(options.lead_to, reading.notes[-1].midi))
    options = in_own_rhythm(options, reading.rhythm, reading.tempo, reading.progression, pack)
    request = Request.over(reading.progression, options, pack)
    request = replace(request, closes=reading.whole, weights=weights)
    found = vary(request, reading.notes, variation)
    return replace(found, remarks=(*on_reading(reading.remarks), *found.remarks))


def in_own_rhythm(
    options: IdeaOptions, rhythm: str, tempo: int | None, progression: Progression, pack: RulePack
) -> IdeaOptions:
    """Options with the rhythm and the tempo of a phrase, where none are asked for; another rhythm brings its own tempo."""
    if options.rhythm is None:
        options = replace(options, rhythm=pack.known_rhythm(rhythm, progression.metre))
    elif rhythm and options.rhythm != rhythm:
        tempo = None
    return replace(options, tempo=tempo if options.tempo is None else options.tempo)


def variation_of(varying: VaryOptions, options: IdeaOptions) -> Variation:
    """What is to be varied, checked as far as the options alone say; OptionError where they contradict one another."""
    near = [word for word in ("like", "unlike", "answer") if getattr(varying, word)]
    if len(near) > 1:
        raise OptionError(f"use --{near[0]} or --{near[1]}, not both")
    if varying.level_as is not None and options.level is not None:
        raise OptionError("use --as or --level, not both", hint="--as sets the level.")
    return replace(
        read_keep(",".join(varying.keep)) if varying.keep else Variation(),
        mirror=varying.mirror,
        level_as=varying.level_as,
        key=read_key(varying.move_to) if varying.move_to is not None else None,
        near="".join(near),
    )
