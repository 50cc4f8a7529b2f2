"""The rules as text: a list of all, and one of them explained."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from fillgen.engine.never import never_in
from fillgen.errors import OptionError, did_you_mean, listed, many, shorten
from fillgen.hands.instruments import program, said_names, sound_names
from fillgen.rules.pack import Level, Rhythm, RulePack, Shape
from fillgen.rules.rule import Example, Rule
from fillgen.rules.rulebook import RULES
from fillgen.teaching.clashes import CLASHES
from fillgen.theory.pitch import C_MAJOR, midi_name
from fillgen.writers.lines import TEXT_WIDTH, wrapped


def listing(pack: RulePack, width: int = TEXT_WIDTH) -> str:
    """Levels, rules, rhythms, shapes and sounds, a paragraph each."""
    levels = [pack.level(number) for number in pack.level_numbers]
    rhythms = [pack.rhythm(name) for name in pack.rhythm_names]
    groups: list[tuple[str, list[tuple[str, str]]]] = [
        ("Levels", [(str(level.number), f"{level.name}: {level.says}") for level in levels]),
        (
            "Rules, with the numbers of the highest level that uses them",
            [(rule.kind, _sentence(rule, pack)) for rule in RULES.values()],
        ),
        ("What clashes at every level", [(rule.name, rule.says) for rule in CLASHES.values()]),
        ("Rhythms", [(rhythm.name, f"{', '.join(rhythm.metres)}. {rhythm.says}") for rhythm in rhythms]),
        ("Shapes", [(shape.name, shape.says) for shape in pack.shapes.values()]),
        (
            "Terms of the score, with their weights",
            [(n, f"{w:g}. {pack.says(n)}") for n, w in pack.weights.items()],
        ),
        (
            "Forms",
            [
                (many(bars, "bar"), ", ".join(" ".join(f.letters) for f in fs))
                for bars, fs in pack.forms.items()
            ],
        ),
        ("Sounds, with their names in General MIDI", _sounds()),
        ("Rule packs", [("built-in", f"{len(levels)} levels, {len(rhythms)} rhythms"), *_own(pack)]),
    ]
    parts = ["\n".join([title, *(_item(*row, width) for row in rows)]) for title, rows in groups]
    return "\n\n".join([wrapped(_summary(pack), width), *parts])


def _sounds() -> list[tuple[str, str]]:
    """What players say, and the other sounds of each family."""
    said = [(name, f"{sound} ({program(sound) + 1})") for name, sound in said_names().items()]
    return [*said, ("by number, 1 to 128", ", ".join(sound_names()))]


def _summary(pack: RulePack) -> str:
    counts = (len(pack.level_numbers), "level"), (len(RULES), "rule"), (len(pack.rhythm_names), "rhythm")
    some = ", ".join(many(count, what) for count, what in counts)
    return f"{some} and {many(len(pack.shapes), 'shape')}. fillgen rules NAME explains one of them, or a term of the score."


def _own(pack: RulePack) -> list[tuple[str, str]]:
    """A player's own pack, if there is one, with its place and fingerprint."""
    return [(pack.place, f"your own pack on top, fingerprint {pack.digest}")] if pack.own else []


def _item(name: str, says: str, width: int) -> str:
    return textwrap.fill(f"  {name:<20} {says}", width, subsequent_indent=" " * 23)


def _sentence(rule: Rule, pack: RulePack) -> str:
    """A rule with the numbers of the highest level that uses it."""
    for number in reversed(pack.level_numbers):
        for use in pack.level(number).uses:
            if use.rule is rule:
                return use.text
    return rule.on_request


def explain(name: str, pack: RulePack, width: int = TEXT_WIDTH) -> str:
    """One rule, level, rhythm, shape or term of the score in full; OptionError with the nearest name for an unknown one."""
    lines = _explained(name, pack, width).splitlines()
    return "\n".join(line if len(line) <= width else wrapped(line, width) for line in lines)


def _explained(name: str, pack: RulePack, width: int) -> str:
    wanted = name.strip().lower()
    wanted = wanted.removeprefix("level").strip() if wanted.startswith("level ") else wanted
    if wanted in RULES:
        return _rule(RULES[wanted], pack)
    if wanted in CLASHES:
        return "\n".join([wanted, f"  every level: {CLASHES[wanted].says}", f"Why: {CLASHES[wanted].reason}"])
    numbers = {str(number): number for number in pack.level_numbers}
    if wanted in numbers:
        return _level(pack.level(numbers[wanted]), width)
    if wanted in pack.weights:
        return (
            f"{wanted}, a term of the score from 0 to 1, weight {pack.weights[wanted]:g}\n{pack.says(wanted)}"
        )
    if wanted in pack.shapes:
        return _shape(pack.shapes[wanted])
    try:
        return _rhythm(pack.rhythm(wanted), width)
    except OptionError:
        known = [*RULES, *CLASHES, *pack.weights, *pack.shapes, *pack.rhythm_names]
        hint = did_you_mean(wanted, known) or "fillgen rules lists them all."
        raise OptionError(
            f"there is no rule, level, rhythm, shape or term {shorten(name)}", hint=hint
        ) from None


def _rule(rule: Rule, pack: RulePack) -> str:
    uses = [
        f"  level {number}: {use.text}"
        for number in pack.level_numbers
        for use in pack.level(number).uses
        if use.rule is rule
    ]
    keys = ", ".join(rule.settings) or "none"
    return "\n".join(
        [
            rule.kind,
            *(uses or [f"  on request: {rule.on_request}"]),
            f"Why: {rule.reason}",
            f"Source: {rule.source}.",
            f"Settings in a rule pack: {keys}.",
            f"Keeps it:  {_example(rule.keeps)}",
            f"Breaks it: {_example(rule.breaks)}",
        ]
    )


def _example(example: Example) -> str:
    lead = f" (the tune starts on {midi_name(example.lead, C_MAJOR)})" if example.lead >= 0 else ""
    return f"{example.phrase}  over  {example.chart}{lead}"


def _level(level: Level, width: int) -> str:
    low, high = (midi_name(pitch, C_MAJOR) for pitch in (level.low, level.high))
    rules = [_item(use.rule.kind, use.text, width) for use in level.uses]
    features: list[tuple[bool, str]] = [
        (level.one_a_chord, "one note a chord"),
        (level.syncopation, "syncopated rhythms"),
        (level.light_syncopation, "one syncopated note a bar in rhythms built on syncopation"),
        (level.pushes, "notes pushed over the bar line"),
        (level.triplets, "triplets"),
    ]
    if level.devices:
        features.append((True, f"every idea with one of {listed(level.devices)}"))
    extra = ", ".join(feature for on, feature in features if on)
    return "\n".join(
        [
            f"Level {level.number}, {level.name}: {level.says}",
            f"Range {low} to {high}{f'; {extra}' if extra else ''}.",
            *rules,
        ]
    )


def _rhythm(rhythm: Rhythm, width: int) -> str:
    low, high = rhythm.tempo_range
    lines = [
        f"{rhythm.name}: {rhythm.says}",
        f"Tempo {rhythm.tempo} quarter notes a minute, {low} to {high}. Source: {rhythm.source}.",
        f"Eighths are {'swung' if rhythm.swing else 'straight'}.",
    ]
    lines += [*_idiom(rhythm), _KEY]
    for (metre, busy), cells in rhythm.cells.items():
        lines += _cells(f"  {metre} {busy}:", [cell.text for cell in cells], width)
    return "\n".join(lines)


_KEY = (
    "Bars of its phrases, by metre and by how many notes they have. w h q e s: whole note to sixteenth; . dotted, "
    "t triplet, r rest, ~ held on."
)


def _cells(head: str, cells: Sequence[str], width: int) -> list[str]:
    """Rhythm cells after a head, in lines that are broken between cells only."""
    lines = [f"{head} {cells[0]}"]
    for cell in cells[1:]:
        if len(lines[-1]) + len(cell) + 3 <= width:
            lines[-1] += f"   {cell}"
        else:
            lines.append(f"      {cell}")
    return lines


def _idiom(rhythm: Rhythm) -> list[str]:
    """How syncopated a rhythm is, where it closes, what its lines lean to, and what is never played in it."""
    idiom = rhythm.idiom
    shares = [
        (idiom.light, "syncopated bars at level 3"),
        (idiom.free, "from level 4 up"),
        (idiom.pushes, "pushed over the bar line"),
        (idiom.off_beat_closes, "closes off the beat"),
    ]
    parts = [f"{share:.0%} {what}" for share, what in shares if share is not None]
    toward = [name for name, value in idiom.leanings.items() if value > 0]
    away = [name for name, value in idiom.leanings.items() if value < 0]
    lines = [f"Idiom: {', '.join(parts)}."] if idiom.free is not None else []
    if toward or away:
        liked = [f"Its lines like {listed([*map(_leaning, toward)], 'and')}"] if toward else []
        avoided = (
            [f"{'they' if toward else 'Its lines'} avoid {listed([*map(_leaning, away)], 'and')}"]
            if away
            else []
        )
        lines.append(f"{'; '.join([*liked, *avoided])}. Source: {idiom.source}.")
    return [*lines, f"Never: {', '.join(never_in(rhythm.name))}."]


def _leaning(name: str) -> str:
    """What a leaning is to, in words.

    >>> _leaning("semitone down"), _leaning("on ninth")
    ('half steps down', 'the ninth of the chord')
    """
    if name in _LEANINGS:
        return _LEANINGS[name]
    if name.startswith("on "):
        return f"the {name[3:]} of the chord"
    if name.startswith("close on "):
        return f"a last note on the {name[9:]}"
    interval, _, way = name.partition(" ")
    return f"{_INTERVALS.get(interval, f'{interval}s')} {way}".rstrip()


_LEANINGS = {
    "repeat": "repeated notes",
    "neighbour": "neighbour notes",
    "guide tone": "guide tones (third and seventh) on strong beats",
    "third": "leaps of a third",
}
_INTERVALS = {"semitone": "half steps", "tone": "whole steps"}


def _shape(shape: Shape) -> str:
    points = ", ".join(f"{height:g} at {time:g}" for time, height in shape.points)
    return f"{shape.name}: {shape.says}\nHeights from 0 to 1 over time from 0 to 1: {points}."
