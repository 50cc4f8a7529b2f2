"""Every rule tells itself: its examples keep and break it, and it says what it asks, why, and who says so."""

from __future__ import annotations

import pytest

from fillgen import Phrase, Progression, RulePack, parse_chart, parse_phrase
from fillgen.judge import breaches, roles
from fillgen.music import Place, places
from fillgen.rules import EMBELLISHMENTS, RULES, Example, Rule, RuleUse, Seen

PACK = RulePack()
LEVELS = {number: PACK.level(number) for number in PACK.level_numbers}
every_rule = pytest.mark.parametrize("rule", RULES.values(), ids=lambda rule: rule.kind)


def uses_of(rule: Rule) -> dict[int, RuleUse]:
    """The uses of a rule by level."""
    return {number: use for number, level in LEVELS.items() for use in level.uses if use.rule is rule}


WITH_A_HAND = {"in-reach": {"semitones": 11, "seconds": 0.2}}
"""The rules that no level switches on: they come with a hand, here a small one."""


def highest_use(rule: Rule) -> RuleUse:
    """The rule with the settings of the highest level that uses it."""
    uses = uses_of(rule)
    return uses[max(uses)] if uses else RuleUse(rule, WITH_A_HAND[rule.kind])


def parsed(example: Example) -> tuple[Progression, Phrase]:
    """The chart and the phrase of an example."""
    chart = parse_chart(example.chart, key="C major")
    return chart, parse_phrase(example.phrase, chart.metre)


def places_of(example: Example) -> tuple[Place, ...]:
    """The places of the notes of an example."""
    chart, phrase = parsed(example)
    rhythm = [(note.onset, note.length) for note in phrase]
    onsets = [note.onset for note in phrase]
    quarters = [after - before for before, after in zip([0, *onsets], onsets, strict=False)]
    since = [ticks * 125 // example.tempo for ticks in quarters] if example.tempo else []
    return places(chart, rhythm, ("root", "third"), example.lead, since=since)


def broken(example: Example, use: RuleUse) -> list[int]:
    """The notes of an example, counted from 0, at which a rule is broken."""
    _, phrase = parsed(example)
    return [breach.index for breach in breaches([use], places_of(example), [note.midi for note in phrase])]


@every_rule
def test_rule_is_used(rule: Rule) -> None:
    """Every rule is switched on by some level, or comes with a hand."""
    assert uses_of(rule) or rule.kind in WITH_A_HAND


@every_rule
def test_keeping_example_keeps_the_rule(rule: Rule) -> None:
    """The phrase that is shown as keeping a rule breaks it at no note."""
    assert broken(rule.keeps, highest_use(rule)) == []


@every_rule
def test_breaking_example_breaks_the_rule(rule: Rule) -> None:
    """The phrase that is shown as breaking a rule breaks it at one note at least."""
    assert broken(rule.breaks, highest_use(rule)) != []


@every_rule
def test_examples_last_as_long_as_their_chart(rule: Rule) -> None:
    """The phrase of an example is as long as its chart."""
    for example in (rule.keeps, rule.breaks):
        chart, _ = parsed(example)
        assert example.phrase.count("|") + 1 == len(chart.bars)


@every_rule
def test_rule_has_reason_and_source(rule: Rule) -> None:
    """Every rule gives a reason in a sentence and names its source."""
    assert rule.reason.endswith(".")
    assert len(rule.reason) > 20
    assert len(rule.source) > 5


@every_rule
def test_rule_says_itself_with_its_numbers(rule: Rule) -> None:
    """At each level a rule is one plain sentence that holds the numbers and words of its settings."""
    for use in uses_of(rule).values():
        said = use.told()
        assert said[0].isupper()
        assert said.endswith(".")
        assert not set("{}[]|") & set(said)
        told = [
            word
            for value in use.settings.values()
            for word in (value if isinstance(value, tuple) else [value])
        ]
        assert [word for word in told if str(word) not in said] == []


@every_rule
def test_settings_lie_within_their_limits(rule: Rule) -> None:
    """The settings that levels give a rule are known to it and lie within what it allows."""
    for use in uses_of(rule).values():
        assert set(use.settings) <= set(rule.settings)
        for key, value in use.settings.items():
            limits = rule.settings[key]
            if limits.words:
                assert set(value) <= set(limits.words)
            else:
                assert limits.low <= value <= limits.high


@every_rule
def test_rule_about_a_note_alone_is_no_stricter_than_the_rule(rule: Rule) -> None:
    """What a rule decides of a note alone never forbids a note that the whole rule would let stand."""
    use = highest_use(rule)
    for example in (rule.keeps, rule.breaks):
        _, phrase = parsed(example)
        where = places_of(example)
        for index in set(range(len(phrase))) - set(broken(example, use)):
            assert bool(rule.may_stand(Seen(where[index], phrase[index].midi), use.settings))


# What a note can be


@pytest.mark.parametrize(
    ("chart", "phrase", "named"),
    [
        ("| C |", "C5q D5q E5h", ["chord tone", "passing", "chord tone"]),
        ("| C |", "E5q D5q C5h", ["chord tone", "passing", "chord tone"]),
        ("| C |", "E5q F5q E5h", ["chord tone", "neighbour", "chord tone"]),
        ("| C |", "C5q D5q G5h", ["chord tone", "", "chord tone"]),
        ("| C | F |", "C5h. F5q | F5w", ["chord tone", "anticipation", "chord tone"]),
        ("| C | F |", "E5h. F5e~ F5e | F5w", ["chord tone", "anticipation", "chord tone"]),
        ("| C | F |", "G5h. A5q~ | A5w", ["chord tone", "anticipation"]),
        ("| C |", "C5q F#5q G5h", ["chord tone", "approach", "chord tone"]),
        ("| C |", "C5q A5e F#5e G5h", ["chord tone", "approach", "approach", "chord tone"]),
        ("| C |", "E5h A5q G5q", ["chord tone", "appoggiatura", "chord tone"]),
        ("| C |", "C5h F5q E5q", ["chord tone", "", "chord tone"]),
        ("| C |", "C5q D#5q E5h", ["chord tone", "approach", "chord tone"]),
    ],
)
def test_what_each_note_is(chart: str, phrase: str, named: list[str]) -> None:
    """Each note is called what theory calls it; a note that nothing justifies is called nothing."""
    example = Example(chart, phrase)
    _, notes = parsed(example)
    assert roles(places_of(example), [note.midi for note in notes]) == named


@pytest.mark.parametrize("kind", EMBELLISHMENTS)
def test_rule_of_foreign_notes_allows_what_it_names_only(kind: str) -> None:
    """A kind of note outside the chord is refused where the rule does not name it, and stands where it does."""
    examples = {
        "passing": Example("| C |", "C5q D5q E5h"),
        "neighbour": Example("| C |", "E5q D5q E5h"),
        "anticipation": Example("| C | F |", "C5h. F5q | F5w"),
        "approach": Example("| C |", "C5q F#5q G5h"),
        "appoggiatura": Example("| C |", "E5h A5q G5q"),
    }
    rule = RULES["non-chord-note"]
    others = tuple(name for name in EMBELLISHMENTS if name != kind)
    assert broken(examples[kind], RuleUse(rule, {"allow": (kind,)})) == []
    assert broken(examples[kind], RuleUse(rule, {"allow": others})) != []


def test_a_raised_seventh_leads_up_in_minor() -> None:
    """In a minor key the raised seventh passes and neighbours on its way up to the tonic, and no other way."""
    chart = parse_chart("| Gm |", key="G minor")

    def told(text: str) -> list[str]:
        phrase = parse_phrase(text, chart.metre)
        where = places(chart, [(note.onset, note.length) for note in phrase])
        return roles(where, [note.midi for note in phrase])

    assert told("G4q F#4q G4h") == ["chord tone", "neighbour", "chord tone"]
    assert told("D4q. F#4e G4h")[1] != "passing"
    assert told("G4q F4e F#4e G4h")[2] == "passing"
    assert told("G4q F#4q F4h")[1] == ""
    assert parse_chart("| G |", key="G major").leading == 0
