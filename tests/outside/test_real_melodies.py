"""The score against real melodies: folk songs and airs that took no part in the tuning of its weights.

The tunes are read from the installed music21 package (see `melodies.py`); the full figures are those of
`python -m tests.bench.real_melodies`. Nothing here is a published value: the fact tested is that people sang and
played these phrases, and none of their rivals.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fillgen.dice import Dice
from fillgen.engine.melody import MELODY_TERMS, melody_score
from fillgen.phrase.note import Note
from fillgen.rules.pack import RulePack
from fillgen.theory.metre import METRES
from fillgen.theory.pitch import Name
from tests.outside import melodies
from tests.outside.melodies import Tune, pitches_of, texts, tune_of
from tests.outside.rivals import (
    RIVALS,
    backwards,
    bar_exchanged,
    bars_permuted,
    chart_of,
    drawn,
    in_bars,
    markov,
    reversed_in_time,
    rhythms_permuted,
    sample,
    scale_walk,
    shuffled,
    two_notes,
    walk,
    with_pitches,
)
from tests.outside.trials import Trial, against, bounds, share_won, trial, whole

SONG = """X:1
M:3/4
L:1/4
K:Gm
D|GAB|^F2F-|^FGA|B3|c2d|d2 (c|B)A2|G2D|GAB|"""
"""A tune of our own: a pick-up, an accidental that lasts through its bar, a tie over the bar line, a slur."""


@pytest.fixture(scope="module")
def tunes() -> list[Tune]:
    """A fixed sample of the tunes that were kept from the tuning."""
    return list(sample(held_out=True))


@pytest.fixture(scope="module")
def tried(tunes: list[Tune]) -> list[Trial]:
    """The first two phrases of each tune against their rivals."""
    return [trial(tune, number) for tune in tunes for number in range(len(tune.phrases[:2]))]


# What the score prefers


LEAST = {
    "shuffled": 0.94,
    "walk": 0.94,
    "scale walk": 0.88,
    "two notes": 0.81,
    "markov": 0.69,
    "rhythms permuted": 0.74,
    "backwards": 0.75,
    "reversed": 0.77,
    "bar exchanged": 0.69,
    "bars permuted": 0.78,
    "drawn": 0.85,
}
"""What the real phrase wins at the least, at the lower end of the bounds of this sample: the shares of all unseen tunes, less
what a sample of 170 tunes may miss."""


@pytest.mark.parametrize(("rival", "least"), LEAST.items())
def test_real_melodies_score_above_their_rivals(tried: list[Trial], rival: str, least: float) -> None:
    """At the lower end of the 95 % bounds the real phrase still wins the share of pairs that was promised."""
    ahead, of = against(tried, rival)
    low, high = bounds(whole(ahead), of)
    assert least <= low <= share_won(whole(ahead)) <= high


def test_the_library_tells_real_tunes_from_shuffled_ones(tunes: list[Tune]) -> None:
    """`melody_score`, as anybody may call it, prefers nine real tunes in ten, in a major or minor key by its name."""
    dice, ahead = Dice(11), []
    for tune in tunes:
        if tune.mode in ("maj", "min"):
            key = f"{tune.tonic} {'major' if tune.mode == 'maj' else 'minor'}"
            mixed = [with_pitches(phrase, shuffled(phrase, dice)) for phrase in tune.phrases[:2]]
            lines = [*tune.phrases[:2], *mixed]
            scores = [each.score for each in melody_score(lines, tune.metre, key)]
            ahead += [real - other for real, other in zip(scores, scores[len(mixed) :], strict=False)]
    assert len(ahead) >= 250
    assert share_won(np.array(ahead)) > 0.9


def test_the_bench_weighs_as_the_library_does(tunes: list[Tune], tried: list[Trial]) -> None:
    """The whole of a phrase's own terms is its score."""
    keyed = [tune for tune in tunes if tune.mode == "maj"][:20]
    for tune in keyed:
        own = next(each.own for each in tried if each.tune == tune.name)
        score = melody_score(tune.phrases[0], tune.metre, f"{tune.tonic} major").score
        assert whole(own[None, :]).tolist() == [score]


def test_every_rival_has_its_least() -> None:
    """No kind of rival is left out."""
    assert tuple(LEAST) == RIVALS


@pytest.mark.parametrize("rival", ["shuffled", "walk", "scale walk"])
def test_the_key_is_not_all_that_the_score_hears(tried: list[Trial], rival: str) -> None:
    """Without the term that knows the scale real phrases win as well."""
    ahead, of = against(tried, rival)
    assert bounds(whole(ahead, without=["key"]), of)[0] > 0.6


@pytest.mark.parametrize("term", [term for term in MELODY_TERMS if RulePack().weights[term]])
def test_each_term_knows_real_melodies_from_some_rival(tried: list[Trial], term: str) -> None:
    """Alone, each term that counts prefers real phrases to one kind of rival at least."""
    column = MELODY_TERMS.index(term)
    shares = {rival: share_won(against(tried, rival)[0][:, column]) for rival in RIVALS}
    assert max(shares.values()) > 0.5, shares


@pytest.mark.parametrize("term", ["habit", "steps", "flow", "motif"])
def test_terms_are_full_where_the_upper_quarter_of_real_phrases_begins(tried: list[Trial], term: str) -> None:
    """Some 15 to 35 % of real phrases have the term in full: an idea need be no smoother than they are."""
    column = MELODY_TERMS.index(term)
    assert 0.15 < np.mean([each.own[column] == 1 for each in tried]) < 0.35


def test_the_sample_is_as_large_as_is_told(tunes: list[Tune], tried: list[Trial]) -> None:
    """Both collections, both modes and the common metres are in the sample, and only held-out tunes."""
    assert 150 <= len(tunes) <= 250
    assert len(tried) >= 1.5 * len(tunes)
    assert all(tune.held_out for tune in tunes)
    assert {tune.collection for tune in tunes} == {"essen", "aird"}
    assert {tune.mode for tune in tunes} >= {"maj", "min"}
    assert {tune.metre for tune in tunes} >= {"2/4", "3/4", "4/4", "6/8"}


def test_halves_share_no_tune() -> None:
    """The tuning half and the held-out half are about as large and have no tune in common."""
    tuning = {name for name, _ in texts(held_out=False)}
    held_out = {name for name, _ in texts(held_out=True)}
    assert not tuning & held_out
    assert len(tuning | held_out) == 9_694
    assert 0.48 < len(tuning) / 9_694 < 0.52


def test_trials_can_be_repeated(tunes: list[Tune]) -> None:
    """The same phrase meets the same rivals each time."""
    one, other = trial(tunes[0], 0), trial(tunes[0], 0)
    assert all(np.array_equal(one.ahead[rival], other.ahead[rival]) for rival in RIVALS if rival in one.ahead)


# How the tunes are read


def test_song_is_read() -> None:
    """The pick-up is left out, accidentals last to the bar line, ties join notes, slurs do not."""
    tune = tune_of("own/song/1", SONG)
    assert tune is not None
    assert (tune.metre, str(tune.tonic), tune.mode, len(tune.phrases)) == ("3/4", "G", "min", 2)
    first, second = tune.phrases
    assert [(note.onset, note.length, note.midi) for note in first] == [
        (0, 480, 67),
        (480, 480, 69),
        (960, 480, 70),
        (1440, 960, 66),
        (2400, 960, 66),
        (3360, 480, 67),
        (3840, 480, 69),
        (4320, 1440, 70),
    ]
    assert [note.midi for note in second] == [72, 74, 74, 72, 70, 69, 67, 62]
    assert tune.scale == sum(1 << (7 + above) % 12 for above in (0, 2, 3, 5, 7, 8, 10, 11))


@pytest.mark.parametrize(
    ("old", "new"),
    [("M:3/4", "M:3/8"), ("c2d|", "[M:4/4]c2d|"), ("K:Gm", "K:Hp"), ("B3|c2d|", "B2|"), ("c2d|", "[ce]2d|")],
)
def test_what_cannot_be_used_is_left_out(old: str, new: str) -> None:
    """Other metres and keys, changes of metre, bars of a wrong length and chords: no phrase holds them."""
    tune = tune_of("own/song/1", SONG.replace(old, new))
    assert tune is None or len(tune.phrases) == 1


def test_mode_is_heard_where_none_is_written() -> None:
    """Where K: names a tonic only, the third that sounds longer tells the mode."""
    tune = tune_of("own/song/1", SONG.replace("K:Gm", "K:G").replace("B", "_B"))
    assert tune is not None
    assert tune.mode == "min"


def test_measures_cut_in_two_are_joined() -> None:
    """A bar cut by a repeat sign after a pick-up is one bar."""
    tune = tune_of("own/song/1", SONG.replace("c2d|", "c2:|d|"))
    whole_one = tune_of("own/song/1", SONG)
    assert tune == whole_one


# How the rivals are made

PHRASE = tuple(
    Note(onset, 480, midi)
    for onset, midi in zip(range(0, 3840, 480), [67, 69, 71, 72, 74, 72, 69, 67], strict=True)
)
TUNE = Tune("own/song/1", "2/4", Name.read("G"), "maj", (PHRASE,))


def test_rivals_are_made_of_the_phrase() -> None:
    """A shuffle keeps the notes, a walk the intervals, a walk in the scale stays in it, backwards is backwards."""
    own = pitches_of(PHRASE)
    assert sorted(shuffled(PHRASE, Dice(1))) == sorted(own)
    walked = walk(PHRASE, Dice(1))
    assert walked[0] == own[0]
    assert sorted(np.diff(walked)) == sorted(np.diff(own))
    stays = scale_walk(TUNE, PHRASE, Dice(1))
    assert stays is not None
    assert all(TUNE.scale >> int(pitch) % 12 & 1 for pitch in stays)
    assert (stays[0], stays[-1]) == (own[0], own[-1])
    assert backwards(PHRASE).tolist() == own.tolist()[::-1]
    turned = reversed_in_time(TUNE, (*PHRASE[:-1], Note(3360, 240, 67)))
    assert turned[0] == Note(240, 240, 67)
    assert turned[-1] == Note(3360, 480, 67)


def test_rivals_that_know_bars_and_scale() -> None:
    """Two notes are moved by a step of the scale, a chain stays in it, bars change places whole or by rhythm alone."""
    own = pitches_of(PHRASE)
    moved = two_notes(TUNE, PHRASE, Dice(2))
    assert moved is not None
    assert np.count_nonzero(moved != own) == 2
    assert np.abs(moved - own).max() <= 2
    chained = markov(TUNE, PHRASE, Dice(2))
    assert chained is not None
    assert chained[0] == own[0]
    assert all(TUNE.scale >> int(pitch) % 12 & 1 for pitch in chained)
    assert bars_permuted(TUNE, PHRASE, Dice(2)) not in (None, PHRASE)
    assert rhythms_permuted(TUNE, PHRASE, Dice(2)) is None, "all bars have the same rhythm"
    uneven = (Note(0, 960, 67), *PHRASE[2:])
    turned = rhythms_permuted(TUNE, uneven, Dice(2))
    assert turned is not None
    assert [note.midi for note in turned] == [note.midi for note in uneven]
    assert turned != uneven
    lent = bar_exchanged(TUNE, PHRASE, Dice(2))
    assert lent is not None
    bars, others = in_bars(PHRASE, 960), in_bars(lent, 960)
    assert bars is not None
    assert others is not None
    assert sum(one != other for one, other in zip(bars, others, strict=True)) == 1


def test_notes_over_bar_lines_leave_bars_whole() -> None:
    """A phrase with a note held over a bar line has no rivals made of its bars."""
    held = (Note(0, 1440, 67), *PHRASE[3:])
    assert in_bars(held, 960) is None
    for make in (bars_permuted, rhythms_permuted, bar_exchanged):
        assert make(TUNE, held, Dice(2)) is None


def test_walk_in_the_scale_needs_the_scale() -> None:
    """A phrase with a note outside the scale has no walk in it."""
    assert scale_walk(TUNE, (Note(0, 480, 68), *PHRASE[1:]), Dice(1)) is None


def test_chart_is_fitted() -> None:
    """Each bar has that of the three chords which sounds longest, strong notes twice; of equals the first named."""
    assert [str(bar[0].chord.symbol) for bar in chart_of(TUNE, PHRASE).bars] == ["G", "G", "G", "D"]
    minor = Tune("own/song/1", "2/4", Name.read("G"), "min", (PHRASE,))
    assert [str(bar[0].chord.symbol) for bar in chart_of(minor, PHRASE).bars] == ["Gm", "Cm", "Gm", "D"]


def test_draw_keeps_the_rules() -> None:
    """A rival drawn from our rules has the phrase's rhythm, lies about its range, and has chord tones on strong beats."""
    found = drawn(TUNE, PHRASE, Dice(3))
    assert found is not None
    assert len(found) == len(PHRASE)
    assert found.min() >= 65
    assert found.max() <= 77
    for index, note in enumerate(PHRASE):
        if note.onset % METRES["2/4"].bar in METRES["2/4"].strong:
            chord = chart_of(TUNE, PHRASE).span_at(note.onset).chord
            assert chord.mask >> int(found[index]) % 12 & 1


# How shares are counted


def test_shares_and_bounds() -> None:
    """A win counts one, a tie a half; bounds close in on the share as tunes grow in number."""
    assert share_won(np.array([0.5, -0.1, 0.0, 0.2])) == 0.625
    ahead = np.array([1.0, 1.0, 1.0, -1.0] * 50)
    few = bounds(ahead[:20], [f"t{i}" for i in range(20)])
    many = bounds(ahead, [f"t{i}" for i in range(200)])
    assert few[0] < many[0] < 0.75 < many[1] < few[1]
    together = bounds(ahead, [f"t{i // 4}" for i in range(200)])
    assert together == (0.75, 0.75)


# Nothing of the collections is kept here


def test_no_tune_is_copied_into_the_repository() -> None:
    """No line of any tune's notes stands in a file of ours."""
    theirs = {
        line.strip()
        for held_out in (False, True)
        for _, text in texts(held_out=held_out)
        for line in text.splitlines()
        if len(line.strip()) >= 16 and line[1:2] != ":"
    }
    assert len(theirs) > 10_000
    root = Path(melodies.__file__).parents[2]
    ours = [path for part in ("fillgen", "rules", "shared", "tests") for path in (root / part).rglob("*.*")]
    for path in ours:
        if path.suffix in {".py", ".toml", ".txt", ".md", ".json", ".abc", ".musicxml"}:
            lines = path.read_text(encoding="utf-8").splitlines()
            assert not theirs & {line.strip() for line in lines}, path
