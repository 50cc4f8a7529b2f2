"""Every rule tells itself: its examples keep and break it, and it says what it asks, why, and who says so."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fillgen import Phrase, Progression, RulePack, parse_chart, parse_phrase
from fillgen.chart.progression import leading_mask
from fillgen.phrase.place import Place, places
from fillgen.rules.judge import breaches, roles
from fillgen.rules.rule import Example, Rule, RuleUse, Seen
from fillgen.rules.rulebook import RULES
from fillgen.rules.tones import EMBELLISHMENTS
from fillgen.teaching.naming import FURTHER_TONES
from fillgen.theory.keys import read_key

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
        said = use.text
        assert said[0].isupper()
        assert said.endswith(".")
        assert not set("{}[]|") & set(said)
        numbers = [
            word
            for value in use.settings.values()
            for word in (value if isinstance(value, tuple) else [value])
        ]
        assert [word for word in numbers if str(word) not in said] == []


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

    def names(text: str) -> list[str]:
        phrase = parse_phrase(text, chart.metre)
        where = places(chart, [(note.onset, note.length) for note in phrase])
        return roles(where, [note.midi for note in phrase])

    assert names("G4q F#4q G4h") == ["chord tone", "neighbour", "chord tone"]
    assert names("D4q. F#4e G4h")[1] != "passing"
    assert names("G4q F4e F#4e G4h")[2] == "passing"
    assert names("G4q F#4q F4h")[1] == ""
    assert leading_mask(chart.last, read_key("G major")) == 0


# The numbers


@pytest.mark.parametrize(
    ("kind", "settings", "chart", "at_the_edge", "beyond"),
    [
        ("leap-limit", {"semitones": 7}, "| C |", "C5h G5h", "C5h Ab5h"),
        ("leap-limit", {"semitones": 7}, "| C |", "G5h C5h", "Ab5h C5h"),
        ("leap-turns-back", {"over": 5}, "| C |", "C5q F5q G5h", "C5q F#5q G5h"),
        ("leap-turns-back", {"over": 5}, "| C |", "G5q D5q C5h", "G5q C#5q C5h"),
        ("leap-turns-back", {"over": 5}, "| C |", "C5q G5q E5h", "C5q G5q G5h"),
        ("non-chord-length", {"beats": 1}, "| C |", "C5h D5q E5q", "C5q. D5q. E5q"),
        ("non-chord-length", {"beats": 1, "chromatic": 0.5}, "| C |", "C5q D#5e E5q. G5q", "C5q D#5q E5h"),
        ("avoid-note", {"beats": 0.5}, "| Cmaj7 |", "G5q F5e E5q. E5q", "G5q F5q E5h"),
        ("avoid-note", {"beats": 1}, "| Cmaj7 |", "G5q F5q E5h", "G5e F5q. E5h"),
        ("repeat-limit", {}, "| C |", "E5q E5q D5q E5q", "D5q E5q E5q E5q"),
        ("enclosure-closes", {}, "| C |", "C5q A5e F#5e G5h", "C5q A5e F#5e A5h"),
        ("settled-before-rest", {}, "| C |", "E5q rq D5q E5q", "D5q rq D5q E5q"),
        ("lead-in", {"semitones": 2}, "| C | G7 |", "E5w | D5w", "E5w | D#5w"),
    ],
)
def test_a_rule_bites_just_beyond_its_number(
    kind: str, settings: dict[str, float], chart: str, at_the_edge: str, beyond: str
) -> None:
    """A rule lets stand what lies just within its number and nothing beyond."""
    use = RuleUse(RULES[kind], settings)
    assert broken(Example(chart, at_the_edge, lead=72), use) == []
    assert broken(Example(chart, beyond, lead=72), use) != []


def test_two_far_notes_need_their_time() -> None:
    """A wide move at the very time that is asked for is in reach, a millisecond sooner it is not."""
    use = RuleUse(RULES["in-reach"], {"semitones": 7, "seconds": 0.25})
    place = places_of(Example("| C |", "C5h G5h"))[0]
    for semitones, since, good in (
        (8, 250, True),
        (8, 249, False),
        (7, 1, True),
        (-8, 249, False),
        (8, 0, True),
    ):
        window = Seen(place, 72), Seen(replace(place, since=since), 72 + semitones), None
        assert bool(use.holds(window)) is good


def test_settings_that_a_pack_may_give() -> None:
    """The numbers that a pack may give each rule, as `fillgen rules` tells them."""
    numbers = {
        (kind, key): (setting.low, setting.high, setting.needed)
        for kind, rule in RULES.items()
        for key, setting in rule.settings.items()
        if not setting.words
    }
    assert numbers == {
        ("avoid-note", "beats"): (0.25, 16, True),
        ("non-chord-length", "beats"): (0.25, 16, True),
        ("non-chord-length", "chromatic"): (0.25, 16, False),
        ("leap-limit", "semitones"): (1, 36, True),
        ("in-reach", "semitones"): (1, 36, True),
        ("in-reach", "seconds"): (0.0, 4.0, True),
        ("leap-turns-back", "over"): (1, 36, True),
        ("lead-in", "semitones"): (0, 12, True),
    }


@pytest.mark.parametrize(
    ("chart", "phrase", "index", "name"),
    [
        ("| C |", "C5q D5e B4e C5h", 1, "double neighbour"),
        ("| C |", "C5q D5e B4e C5h", 2, "double neighbour"),
        ("| C |", "E5q D5e F5e E5h", 2, "double neighbour"),
        ("| C |", "E5h D5q C5q", 1, "accented passing"),
        ("| C |", "E5h D5q E5q", 1, "accented neighbour"),
        ("| C |", "G5q F#5q F5h", 1, "chromatic passing"),
        ("| C |", "G5q Ab5q G5h", 1, "chromatic neighbour"),
        ("| C |", "C5q D5q G4h", 1, "escape tone"),
        ("| C |", "G4q D5q E5h", 1, "incomplete neighbour"),
        ("| C |", "C5q D5q G5h", 1, ""),
        ("| C |", "G4h F5q E5q", 1, "appoggiatura"),
        ("| C | G7 |", "C5w | C5h B4h", 1, "suspension"),
        ("| G7 | C |", "B4w | B4h C5h", 1, "retardation"),
    ],
)
def test_what_textbooks_name_besides(chart: str, phrase: str, index: int, name: str) -> None:
    """A note of no kind that a level allows has the first name of the textbooks that fits it.

    Definitions: Open Music Theory, Embellishing tones.
    """
    example = Example(chart, phrase)
    _, notes = parsed(example)
    seen = [None, *(Seen(p, n.midi) for p, n in zip(places_of(example), notes, strict=True)), None]
    window = seen[index], seen[index + 1], seen[index + 2]
    fits = [name for name, is_one in FURTHER_TONES.items() if bool(is_one(*window))]
    assert (fits[0] if fits else "") == name
