"""The second checker checked: right documents pass, and each rule broken alone is caught by name.

Phrases are written as text; a note's role stands after it in brackets and is a chord tone otherwise.
"""

from __future__ import annotations

import re
from typing import Any

import pytest
from music21 import harmony

from tests.outside.second_checker import (
    KINDS,
    STRONG,
    Limits,
    accents_agree,
    bar_length,
    chord_tones,
    degree_semitones,
    faults,
    height,
    music21_reads,
    pitch_class,
    read_text,
    scale_letters,
)

ALL_ROLES = frozenset({"chord tone", "passing", "neighbour", "anticipation", "approach", "appoggiatura"})
PLAIN_ROLES = frozenset({"chord tone", "passing", "neighbour"})
LIMITS = Limits(low=60, high=84, leap=9, roles=ALL_ROLES)
PLAIN = Limits(low=60, high=84, leap=9, roles=PLAIN_ROLES)

TONES = {
    "C": "C E G",
    "Cmaj7": "C E G B",
    "C7#9": "C E G Bb D#",
    "C13": "C E G Bb D A",
    "C/E": "C E G",
    "Csus4": "C F G",
    "C5": "C G",
    "Dm7": "D F A C",
    "G7": "G B D F",
    "G7b9": "G B D F Ab",
    "Cm": "C Eb G",
    "Cm7": "C Eb G Bb",
    "Ebmaj7": "Eb G Bb D",
    "Bb7": "Bb D F Ab",
    "N.C.": "",
}
DEGREES = ("1", "b9", "9", "b3", "3", "11", "#11", "5", "b13", "13", "b7", "7")


def entry(symbol: str, onset: float, duration: float) -> dict[str, Any]:
    """A chord of the chart: onset in its bar and duration in quarter notes."""
    return {"symbol": symbol, "onset": onset, "duration": duration, "tones": TONES[symbol].split()}


def chart_of(chords: str, metre: str, key: str) -> dict[str, Any]:
    """A chart from text: bars parted by ``|``, a chord as ``symbol`` or ``symbol@onset`` (quarter notes)."""
    bars = []
    for number, written in enumerate(chords.split("|"), 1):
        placed = [(word + "@0").split("@")[:2] for word in written.split()]
        entries = [entry(symbol, float(onset), bar_length(metre) - float(onset)) for symbol, onset in placed]
        bars.append({"bar": number, "chords": entries})
    return {"key": key, "metre": metre, "tempo": 120, "bars": bars}


def root_at(chart: dict[str, Any], onset: float) -> int:
    """The root (pitch class) of the chord at an onset in quarter notes; silences are passed over."""
    length = bar_length(chart["metre"])
    chords = [(n * length + e["onset"], e) for n, bar in enumerate(chart["bars"]) for e in bar["chords"]]
    sounding = [(start, e["symbol"]) for start, e in chords if e["symbol"] != "N.C."]
    heard = [symbol for start, symbol in sounding if start <= onset + 0.01] or [sounding[0][1]]
    found = re.match(r"[A-G][#b]?", heard[-1])
    return pitch_class(found[0]) if found else 0


def idea_of(phrase: str, chart: dict[str, Any], rank: int = 1) -> dict[str, Any]:
    """An idea from a phrase text with its roles in brackets."""
    text = re.sub(r"\([^)]*\)", "", phrase)
    named = [word for word in re.findall(r"\S+?\([^)]*\)|\S+", phrase) if word[0] in "ABCDEFG"]
    starts = [word for before, word in zip(["", *named], named, strict=False) if "~" not in before]
    roles = [(re.findall(r"\(([^)]*)\)", word) or ["chord tone"])[0] for word in starts]
    length = bar_length(chart["metre"])
    notes = []
    for written, role in zip(read_text(text, length), roles, strict=True):
        midi = height(written.name) or 0
        times = {"onset": round(written.onset, 6), "duration": round(written.duration, 6)}
        degree = DEGREES[(midi - root_at(chart, written.onset)) % 12]
        bar = int((written.onset + 0.01) // length) + 1
        heard = {"midi": midi, "name": written.name, "role": role, "degree": degree}
        notes.append({"bar": bar, **times, **heard})
    judged = {"rank": rank, "score": 1 - rank / 10, "terms": {"line": 0.8}}
    return {**judged, "shape": "arch", "text": text, "notes": notes}


def document(chords: str, *phrases: str, metre: str = "4/4", key: str = "C major") -> dict[str, Any]:
    """A whole document of ideas over one chart."""
    chart = chart_of(chords, metre, key)
    ideas = [idea_of(phrase, chart, rank) for rank, phrase in enumerate(phrases, 1)]
    return {"chart": chart, "space": {"phrases": 1000}, "seed": 7, "ideas": ideas}


def caught(rule: str, found: list[str]) -> bool:
    """Whether there are faults, and every one of them names the rule."""
    return bool(found) and all(f"{rule}: " in fault for fault in found)


def single(phrase: str, chords: str = "C") -> dict[str, Any]:
    """A document of one idea in C major and 4/4."""
    return document(chords, phrase)


def with_note(place: int, **changes: Any) -> dict[str, Any]:
    """A right document of one idea, with fields of one note changed."""
    made = single("C5q E5q G5q rq | E5h C5h", "C | C")
    made["ideas"][0]["notes"][place].update(changes)
    return made


def with_text(text: str) -> dict[str, Any]:
    """A right document of one idea, with another text."""
    made = single("C5h E5h")
    made["ideas"][0]["text"] = text
    return made


RIGHT = {
    "chord tones": ("C", "C5q E5q G5q E5q", "4/4", "C major"),
    "passing": ("C", "C5e D5e(passing) E5q G5q E5q", "4/4", "C major"),
    "neighbour": ("C", "E5q F5q(neighbour) E5h", "4/4", "C major"),
    "approach from above": ("C", "C5q C#5q(approach) C5h", "4/4", "C major"),
    "approach from below": ("C", "E5q D#5q(approach) E5h", "4/4", "C major"),
    "enclosure": ("C", "G5q F5e(approach) D5e(approach) E5h", "4/4", "C major"),
    "appoggiatura": ("C", "E5h A5q(appoggiatura) G5e E5e", "4/4", "C major"),
    "struck anticipation": ("G7 | C", "G5q F5q D5q C5q(anticipation) | C5w", "4/4", "C major"),
    "held anticipation": ("C | Dm7", "C5q E5q C5q. D5e~(anticipation) | D5w", "4/4", "C major"),
    "held no longer": ("G7 | C", "G5q F5q D5q. C5e~(anticipation) | C5e E5e rh.", "4/4", "C major"),
    "two chords": ("Dm7 G7@2 | C", "D5e E5e(passing) F5q G5e F5e D5q | E5h. re E5e", "4/4", "C major"),
    "a rest ends no obligation": ("C", "C5e rs D5s(passing) re E5e E5h", "4/4", "C major"),
    "triplets": ("C", "C5et D5et(passing) E5et G5q E5h", "4/4", "C major"),
    "silence goes on": ("C | N.C.", "C5q E5q G5h | E5h C5h", "4/4", "C major"),
    "silence at the start": ("N.C. | C", "C5q E5q G5h | E5h C5h", "4/4", "C major"),
    "slash bass": ("C/E", "C5h E5h", "4/4", "C major"),
    "suspended end": ("Csus4", "C5h F5h", "4/4", "C major"),
    "no third": ("C5", "C5h C5h", "4/4", "C major"),
    "thinner thirteenth": ("C13", "G5q A5q G5q E5q", "4/4", "C major"),
    "step spelled as a third": ("C7#9", "D#5q F5q(passing) G5q E5q", "4/4", "C major"),
    "minor key": ("Cm7", "C5q D5q(passing) Eb5q C5q", "4/4", "C minor"),
    "chord bends the scale": ("G7b9 | C", "G5q Ab5q G5q F5q | E5w", "4/4", "C major"),
    "flat roots": ("Bb7", "Bb4e C5e(passing) D5q Bb4h", "4/4", "Eb major"),
    "three four": ("C", "C5q D5q(passing) E5q", "3/4", "C major"),
    "two four": ("C", "C5q E5q", "2/4", "C major"),
    "two two": ("C", "C5q D5q(passing) E5h", "2/2", "C major"),
    "six eight": ("C", "C5e D5e(passing) E5e G5q E5e", "6/8", "C major"),
    "a whole beat's clash in six eight": ("C | C", "E5e F5q(neighbour) E5q. | E5h.", "6/8", "C major"),
    "five four": ("C", "C5q D5q(passing) E5q G5q E5q", "5/4", "C major"),
    "tie over the bar": ("C | C", "C5h E5h~ | E5h C5h", "4/4", "C major"),
}

BROKEN = [
    ("strong beat", single("E5h D5q(neighbour) E5q"), LIMITS),
    ("strong beat", single("E5w | D5q(neighbour) E5h.", "C | C"), LIMITS),
    ("strong beat", document("C", "C5q. D5e(passing) E5q", metre="6/8"), LIMITS),
    ("strong beat", document("C", "C5h. D5q(passing) E5q", metre="5/4"), LIMITS),
    ("strong beat", document("C", "C5h D5q(passing) E5q", metre="2/2"), LIMITS),
    ("strong beat", single("E5q D5q(neighbour) E5h", "C C/E@1"), LIMITS),
    ("held note", single("C5q D5h(passing) E5q"), LIMITS),
    ("held note", single("G5q F5q D5h~ | D5q E5h.", "G7 | C"), LIMITS),
    ("role", single("C5q F5q(passing) E5h"), LIMITS),
    ("role", single("C5q D5q(neighbour) E5h"), LIMITS),
    ("role", single("E5q D5q(anticipation) E5h"), LIMITS),
    ("role", single("E5q D5q(approach) C5h"), LIMITS),
    ("role", single("C5q A5q(appoggiatura) G5q E5q"), LIMITS),
    ("role", single("C5h D5q(appoggiatura) E5q"), LIMITS),
    ("role", single("E5h A5q(appoggiatura) B5e C6e", "Cmaj7"), LIMITS),
    ("role", single("G5h A5q(appoggiatura) G5e E5e"), LIMITS),
    ("role", single("C5q D5q(passing) C5h"), LIMITS),
    ("role", single("C5q E5q(passing) C5h"), LIMITS),
    ("role", single("C5q D5q E5h"), LIMITS),
    ("role allowed", single("E5q D#5q(approach) E5h"), PLAIN),
    ("role allowed", single("C5q D5q(ornament) E5h"), LIMITS),
    ("scale", single("E5q F#5q(passing) G5q E5q"), LIMITS),
    ("scale", document("Cm", "G5q A5q(neighbour) G5q Eb5q", key="C minor"), LIMITS),
    ("scale", single("G5q A5q(neighbour) G5q F5q | E5w", "G7b9 | C"), LIMITS),
    ("semitone above", single("C5h F5q(appoggiatura) E5q"), LIMITS),
    ("semitone above", document("C", "E5e F5h(neighbour) E5e", metre="3/4"), LIMITS),
    ("range", single("C4q B3q(neighbour) C4h"), LIMITS),
    ("range", single("C6q D6q(neighbour) C6h"), LIMITS),
    ("largest leap", single("C5q C6q G5q E5q"), LIMITS),
    ("turn back", single("C5q G5q G5q E5q"), LIMITS),
    ("turn back", single("C5q G5q B5q C6q", "Cmaj7"), LIMITS),
    ("turn back", single("G5h C5h"), LIMITS),
    ("ending", single("E5h G5h"), LIMITS),
    ("ending", single("E5h F5h", "C G7@2"), LIMITS),
    ("ending", single("C5h G4h", "C5"), LIMITS),
    ("ending", single("C5h E5h"), Limits(60, 84, 9, ALL_ROLES, ("1",))),
]

CHANGED = [
    ("bar number", with_note(3, bar=1)),
    ("degree", with_note(1, degree="b3")),
    ("degree", with_note(1, degree="third")),
    ("text", with_text("C5h F5h")),
    ("text", with_text("C5h E5q rq")),
    ("text", with_text("C5h E5q E5q")),
    ("text", with_text("C5h E5q")),
    ("text", with_text("C5h E5q. E5q")),
    ("text", with_text("C5h E5x")),
    ("text", with_text("C5h~ E5h")),
    ("text", with_text("C5h~ rh")),
    ("text", with_text("C5h E5h~")),
    ("text", with_text("C5h Fb5h")),
]


@pytest.mark.parametrize(("chords", "phrase", "metre", "key"), RIGHT.values(), ids=RIGHT.keys())
def test_right_phrase_has_no_fault(chords: str, phrase: str, metre: str, key: str) -> None:
    """Phrases that keep every rule."""
    assert faults(document(chords, phrase, metre=metre, key=key), LIMITS) == []


@pytest.mark.parametrize(("rule", "broken", "limits"), BROKEN)
def test_broken_rule_alone_is_caught(rule: str, broken: dict[str, Any], limits: Limits) -> None:
    """Phrases that break one rule of the notes."""
    assert caught(rule, faults(broken, limits))


@pytest.mark.parametrize(("rule", "changed"), CHANGED)
def test_changed_field_alone_is_caught(rule: str, changed: dict[str, Any]) -> None:
    """Documents whose fields contradict each other."""
    assert caught(rule, faults(changed, LIMITS))


def rules_named(found: list[str]) -> set[str]:
    """The rules that some faults name."""
    return {fault.split(": ")[1] for fault in found}


def test_wrong_name_is_caught_with_the_text_it_contradicts() -> None:
    """A name that is not the MIDI number cannot agree with the text either."""
    assert rules_named(faults(with_note(1, name="F5"), LIMITS)) == {"name", "text"}


def test_overlap_is_caught_with_the_text_it_contradicts() -> None:
    """A text cannot write an overlap, so it reads otherwise."""
    assert rules_named(faults(with_note(0, duration=1.5), LIMITS)) == {"overlap", "text"}


def test_note_without_length_is_caught() -> None:
    """A note lasts."""
    assert rules_named(faults(with_note(0, duration=0), LIMITS)) == {"overlap", "text"}


def test_note_outside_the_bars_is_caught() -> None:
    """A note must end with the chart at the latest."""
    assert rules_named(faults(with_note(4, duration=3), LIMITS)) == {"inside the bars", "text"}


def test_empty_idea_is_caught() -> None:
    """An idea without notes has no ending."""
    assert caught("ending", faults(single("rw"), LIMITS))


def pair() -> dict[str, Any]:
    """A right document of two ideas."""
    return document("C", "C5h E5h", "G5h E5h")


def test_right_pair_has_no_fault() -> None:
    """Two different ideas in order."""
    assert faults(pair(), LIMITS) == []


def test_wrong_rank_is_caught() -> None:
    """Ranks count from 1 without gaps."""
    made = pair()
    made["ideas"][1]["rank"] = 3
    assert caught("rank", faults(made, LIMITS))


def test_rising_score_is_caught() -> None:
    """Scores do not rise."""
    made = pair()
    made["ideas"][1]["score"] = 0.99
    assert caught("score", faults(made, LIMITS))


@pytest.mark.parametrize("term", [-0.1, 1.2, float("nan")])
def test_term_outside_its_bounds_is_caught(term: float) -> None:
    """Terms lie between 0 and 1."""
    made = pair()
    made["ideas"][0]["terms"]["line"] = term
    assert caught("terms", faults(made, LIMITS))


def test_equal_ideas_are_caught() -> None:
    """No two ideas are equal."""
    assert caught("twins", faults(document("C", "C5h E5h", "C5h E5h"), LIMITS))


@pytest.mark.parametrize("tones", ["C E", "C E G B", "C Eb G"])
def test_wrong_chord_tones_are_caught(tones: str) -> None:
    """The chart's tones are those of the symbol."""
    made = single("C5h C5h")
    made["chart"]["bars"][0]["chords"][0]["tones"] = tones.split()
    assert caught("chord tones", faults(made, LIMITS))


def test_unknown_symbol_is_caught() -> None:
    """A symbol that cannot be read is a fault of the chart."""
    made = single("C5h C5h")
    made["chart"]["bars"][0]["chords"][0]["symbol"] = "Cwrong"
    assert caught("chord tones", faults(made, LIMITS))


def test_chart_of_silence_is_caught() -> None:
    """Nothing can be judged where no chord ever sounds."""
    made = single("C5h C5h")
    made["chart"]["bars"][0]["chords"] = [entry("N.C.", 0, 4)]
    assert caught("chord tones", faults(made, LIMITS))


def test_unknown_metre_is_caught() -> None:
    """A metre without strong beats of its own is a fault of the chart."""
    assert caught("metre", faults(document("C", "C5w E5w E5h E5q", metre="11/4"), LIMITS))


def test_message_names_idea_bar_beat_and_rule() -> None:
    """A fault can be found on the page."""
    found = faults(single("C5q E5q G5q E5q | C5q. D5e(neighbour) E5h", "C | C"), LIMITS)
    assert found == ["idea 1, bar 2, beat 2.5, D5: role: it is no neighbour over C"]


def test_beats_are_dotted_in_compound_metre() -> None:
    """Beat 2 of 6/8 is the second dotted quarter."""
    found = faults(document("C", "C5q. D5e(passing) E5q", metre="6/8"), LIMITS)
    assert found == ["idea 1, bar 1, beat 2, D5: strong beat: not a tone of C"]


@pytest.mark.parametrize("metre", STRONG)
def test_music21_stresses_the_strong_beats(metre: str) -> None:
    """music21 weighs the strong places above all others."""
    assert accents_agree(metre)


FIGURES = {"": "C", "m7b5": "Cm7b5", "7": "C7", "maj7": "Cmaj7", "dim7": "Cdim7", "7sus4": "C7sus4"}


@pytest.mark.parametrize(("suffix", "figure"), FIGURES.items())
def test_chord_tones_are_those_music21_reads(suffix: str, figure: str) -> None:
    """The formulas give what music21's own reading of a plain figure gives."""
    assert chord_tones("C" + suffix) == {tone.pitchClass for tone in harmony.ChordSymbol(figure).pitches}


@pytest.mark.parametrize(
    ("symbol", "tones"),
    [
        ("Bb7", {10, 2, 5, 8}),
        ("F#m7b5", {6, 9, 0, 4}),
        ("C6/9", {0, 4, 7, 9, 2}),
        ("Am7/G", {9, 0, 4, 7}),
        ("C6/9/E", {0, 4, 7, 9, 2}),
        ("Cmaj9", {0, 4, 7, 11, 2}),
        ("G7b9", {7, 11, 2, 5, 8}),
        ("C13b9", {0, 4, 7, 10, 1, 5, 9}),
        ("Ebmaj7#11", {3, 7, 10, 2, 9}),
        ("Cm(maj7)", {0, 3, 7, 11}),
        ("Bb5", {10, 5}),
    ],
)
def test_chord_tones_of_a_symbol(symbol: str, tones: set[int]) -> None:
    """Symbols that are easily misread."""
    assert chord_tones(symbol) == tones


@pytest.mark.parametrize("suffix", KINDS)
def test_every_kind_holds_its_root(suffix: str) -> None:
    """Every suffix can be read and keeps the root."""
    assert 5 in chord_tones("F" + suffix)


def test_unknown_symbol_raises() -> None:
    """A symbol that cannot be read is not guessed at."""
    with pytest.raises(ValueError, match="not known"):
        chord_tones("H7")


@pytest.mark.parametrize(
    ("degree", "semitones"),
    [("1", 0), ("b9", 1), ("#9", 3), ("#4", 6), ("bb7", 9), ("b13", 8), ("13", 9), ("7", 11), ("0", None)],
)
def test_degree_semitones(degree: str, semitones: int | None) -> None:
    """Degrees over the root."""
    assert degree_semitones(degree) == semitones


def test_minor_scale_is_natural() -> None:
    """C minor has Eb, Ab and Bb."""
    assert set(scale_letters("C minor").values()) == {0, 2, 3, 5, 7, 8, 10}


def test_ties_join_over_the_bar_line() -> None:
    """A note tied twice is one note."""
    written = read_text("rh Bbb4q. Bbb4e~ | Bbb4h~ Bbb4ht F#5qt", 4)
    assert [(note.name, round(note.duration, 3)) for note in written] == [
        ("Bbb4", 1.5),
        ("Bbb4", 3.833),
        ("F#5", 0.667),
    ]


def test_a_step_of_three_semitones_is_music21s_alone() -> None:
    """An augmented second passes for a step in music21; the rule of one or two semitones stands."""
    assert music21_reads("passing", "G5", "Ab5", "B5")
    made = document("Cm", "G5q Ab5q(passing) B5e(approach) C6e G5e Eb5e", key="C minor")
    assert "it is no passing" in faults(made, LIMITS)[0]


def test_spelling_music21_cannot_follow_is_caught() -> None:
    """Heights that pass, spelled as a turn back: the name, the text and music21 all object."""
    made = single("C5q D5q(passing) E5h")
    made["ideas"][0]["notes"][2]["name"] = "C5"
    assert rules_named(faults(made, LIMITS)) == {"name", "text", "music21"}


def test_music21_reads_seconds_as_we_do() -> None:
    """Passing and neighbour notes spelled in seconds."""
    assert music21_reads("passing", "E5", "F5", "G5")
    assert music21_reads("neighbour", "G5", "F#5", "G5")
    assert not music21_reads("passing", "E5", "F5", "E5")
