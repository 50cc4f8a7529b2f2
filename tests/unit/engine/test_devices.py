"""Devices of the highest level: each is told by its notes, and every idea of the level shows one."""

from __future__ import annotations

import numpy as np
import pytest

import fillgen
from fillgen import RulePack
from fillgen.chart.progression import Progression
from fillgen.chart.text import parse_chart
from fillgen.engine.devices import DEVICES, Drawn, showing, triplets
from fillgen.phrase.note import Phrase
from fillgen.phrase.place import places
from fillgen.phrase.text import parse_phrase
from fillgen.rules import pack


def drawn(chart: str, phrase: str, key: str = "Bb") -> Drawn:
    """A phrase as the one candidate over its rhythm."""
    progression = parse_chart(chart, key=key)
    return drawn_over(progression, parse_phrase(phrase, progression.metre))


def drawn_over(progression: Progression, phrase: Phrase) -> Drawn:
    rhythm = [(note.onset, note.length) for note in phrase]
    pitches = np.array([[note.midi for note in phrase]], dtype=np.int16)
    return Drawn(rhythm, places(progression, rhythm), pitches, progression.metre.beat)


SHOWN = [
    ("appoggiatura", "| Bb | F7 |", "F5q D5q A5q. F5e | C5h A4h", False),
    ("appoggiatura", "| Bb | F7 |", "D5q F5q C5q D5q | C5h A4h", True),
    ("appoggiatura", "| Bb | F7 |", "D5q F5q C5q Bb4q | C5h A4h", False),
    ("appoggiatura", "| Bb | F7 |", "D5q. F5e Bb4q D5q | C5h A4h", False),
    ("chromatic approach", "| Bb | F7 |", "D5q C#5e D5e F5h | A4w", True),
    ("chromatic approach", "| Bb | F7 |", "D5q C5e D5e F5h | A4w", False),
    ("chromatic approach", "| Bb | F7 |", "D5q C#5e Bb4e F5h | A4w", False),
    ("enclosure", "| Bb | F7 |", "F5h. Eb5e C#5e | D5w", False),
    ("enclosure", "| Bb | Bb |", "F5h. Eb5e C#5e | D5w", True),
    ("enclosure", "| Bb | Bb |", "F5q Eb5e C#5q D5e D5q | D5w", False),
    ("aimed triplet", "| Bb | Bb |", "F5q Bb4et C5et C#5et D5h | Bb4w", True),
    ("aimed triplet", "| Bb | Bb |", "F5q Bb4et F5et C5et D5h | Bb4w", False),
    ("aimed triplet", "| Bb | Bb |", "F5q Bb4et C5et D5et rh | Bb4w", False),
    ("aimed triplet", "| Bb | Bb |", "F5q Bb4e C5e D5h | Bb4w", False),
    ("guide tones", "| F7 | Bb |", "F5h A4h | Bb4w", True),
    ("guide tones", "| F7 | Bb |", "F5h Eb5h | D5w", True),
    ("guide tones", "| F7 | Bb |", "F5h A4h | F4w", False),
    ("guide tones", "| F | Bb |", "F5h A4h | Bb4w", False),
    ("broken chord", "| F7 | Bb |", "F4e A4e C5e Eb5e C5h | Bb4w", True),
    ("broken chord", "| F7 | Bb |", "C5e A4e F4e C4e A4h | Bb4w", True),
    ("broken chord", "| F7 | Bb |", "F4e A4e C5e A4e C5h | Bb4w", False),
    ("broken chord", "| F7 | Bb |", "F4e G4e A4e C5e Eb5h | D5w", False),
]


@pytest.mark.parametrize(("name", "chart", "phrase", "shown"), SHOWN)
def test_devices_are_told_by_their_notes(name: str, chart: str, phrase: str, shown: bool) -> None:
    """Each device is found where it is, and nowhere else."""
    assert bool(DEVICES[name](drawn(chart, phrase))[0]) is shown


def test_every_device_has_both_kinds_of_example() -> None:
    """The table above covers every device, shown and not shown, and packs may name them all."""
    assert {(name, shown) for name, _, _, shown in SHOWN} == {(n, s) for n in DEVICES for s in (True, False)}
    assert tuple(DEVICES) == pack.DEVICES


def test_without_a_device_named_everything_shows() -> None:
    """A level that asks for none takes every candidate."""
    assert showing(drawn("| F |", "F4w"), ()).all()


def test_triplets_are_found_whole() -> None:
    """Three equal triplet notes on a beat are a triplet; a broken one isn't."""
    assert triplets([(480, 160), (640, 160), (800, 160), (960, 960)]) == [0]
    assert triplets([(0, 320), (320, 320), (640, 320), (960, 160), (1120, 160), (1280, 160)]) == [0, 3]
    assert triplets([(480, 160), (640, 160), (960, 960)]) == []
    assert triplets([(640, 160), (800, 160), (960, 160)]) == []


@pytest.mark.costly
@pytest.mark.parametrize("rhythm", ["swing", "ballad", "march", "bossa nova", "polka"])
@pytest.mark.parametrize("busy", ["few", "some", "many"])
def test_every_idea_of_level_5_shows_a_device(rhythm: str, busy: str) -> None:
    """Asked of the ideas as they are told: an appoggiatura, an approach note, or a triplet."""
    metre = "2/4" if rhythm == "polka" else "4/4"
    found = fillgen.ideas("| Ab | Fm7 | Bbm7 | Eb7 |", metre=metre, rhythm=rhythm, busy=busy, level=5)
    assert len(found) == 50
    for idea in found:
        roles = {each.role for each in idea.notes}
        assert roles & {"appoggiatura", "approach"} or any(n.length % 60 for n in idea.phrase), idea.text


def test_guide_tones_lead_on_more_often_on_level_5() -> None:
    """On the level with devices more ideas lead from the dominant by its third or its seventh than one level below."""
    chart = "| Bb | F7 | Bb | F7 |"
    shares = []
    for level in (4, 5):
        ideas = fillgen.ideas(chart, level=level, rhythm="ballad", busy="many", seed=3)
        shares.append(sum(bool(DEVICES["guide tones"](drawn(chart, idea.text))[0]) for idea in ideas))
    assert shares[1] > 1.3 * shares[0]


def test_only_known_devices_are_taken() -> None:
    """A pack's level may name devices, but only those there are."""
    level = {"number": 7, "low": "C4", "high": "C6", "rule": [{"kind": "non-chord-note", "allow": []}]}
    assert RulePack({"level": [{**level, "devices": ["enclosure"]}]}).level(7).devices == ("enclosure",)
    with pytest.raises(fillgen.PackError, match=r"'enclosures'.*Did you mean 'enclosure'"):
        RulePack({"level": [{**level, "devices": ["enclosures"]}]}).level(7)
