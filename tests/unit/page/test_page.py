"""The one-file page: what it holds, that it holds together, and that what it would play is what MIDI files have."""

from __future__ import annotations

import base64
import gzip
import hashlib
import io
import json
import os
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import mido
import pytest

import fillgen
from fillgen.hands.fingering import best_of_many
from fillgen.hands.playing import PARTS, Playing
from fillgen.hands.second import with_second
from fillgen.hands.stroke import Stroke
from fillgen.hands.take import apart
from fillgen.page import ASSETS, asset, build, bundle, looks, shell, voices
from fillgen.page.data import Stage, json_text, offered_sounds
from fillgen.page.keys import SHIFTS
from fillgen.page.systems import engraved
from fillgen.rules.pack import RulePack
from fillgen.sound.synth.mix import DRUM_GAIN, GAIN
from fillgen.sound.synth.recipes import DRUMS, recipes
from fillgen.theory.metre import METRES, swung
from fillgen.theory.pitch import key_at, read_pitch
from fillgen.theory.swing import swing_ratio
from fillgen.writers.midi import to_midi
from fillgen.writers.notation import Score, ScoreBar, ScoreSymbol, Symbol
from tests.commands import Call, refused
from tests.effort import each_once

CHART = "title: Lantern Steps\n| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |"


@pytest.fixture(scope="module", autouse=True)
def _own_cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """No test keeps a bank among the user's caches."""
    before = os.environ.get("XDG_CACHE_HOME")
    os.environ["XDG_CACHE_HOME"] = str(tmp_path_factory.mktemp("cache"))
    voices.bank_text.cache_clear()
    yield
    if before is None:
        del os.environ["XDG_CACHE_HOME"]
    else:
        os.environ["XDG_CACHE_HOME"] = before


@pytest.fixture(scope="module")
def ideas() -> fillgen.Ideas:
    return fillgen.ideas(CHART, rhythm="swing", count=4, seed=3)


@pytest.fixture(scope="module")
def stage(ideas: fillgen.Ideas) -> Stage:
    return Stage(ideas)


class Reader(HTMLParser):
    """The elements of a page, and the text inside its scripts."""

    def __init__(self, page: bytes) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.scripts: dict[str, str] = {}
        self._name: str | None = None
        self.feed(page.decode())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self._name = (dict(attrs).get("id") or "main") if tag == "script" else None

    def handle_endtag(self, _: str) -> None:
        self._name = None

    def handle_data(self, data: str) -> None:
        if self._name:
            self.scripts[self._name] = self.scripts.get(self._name, "") + data

    def data(self) -> Any:
        return self._unpacked("fillgen-data")

    def look(self, shift: int) -> Any:
        return self._unpacked(f"fillgen-look-{shift}")

    def _unpacked(self, name: str) -> Any:
        packed = json.loads(self.scripts[name])
        return json.loads(gzip.decompress(base64.b64decode(packed)))


@pytest.fixture(scope="module")
def page(ideas: fillgen.Ideas) -> bytes:
    return build(ideas)


# The file


def test_page_asks_for_nothing(page: bytes) -> None:
    """No element, style or script of the page names another place to load something from."""
    reader = Reader(page)
    loading = [
        (tag, value)
        for tag, attributes in reader.tags
        for name, value in attributes.items()
        if name in ("src", "href", "srcset", "action", "data", "poster") and not str(value).startswith("#")
    ]
    assert loading == []
    style = re.findall(rb"url\(\s*['\"]?([^'\")]{0,40})", page)
    assert style
    assert all(each.startswith((b"data:", b"#")) for each in style)
    assert not any(b"@import" in each for each in re.findall(rb"<style.*?</style>", page, re.DOTALL))
    script = reader.scripts["main"]
    assert re.findall(r"fetch\(([^)]*)\)", script) == [
        '"assets/bank.json"'
    ]  # only where no bank is in the page


def test_policy_allows_the_one_script(page: bytes) -> None:
    """The content security policy names the digest of the only script that runs, and lets nothing be fetched."""
    reader = Reader(page)
    policy = next(a["content"] for t, a in reader.tags if t == "meta" and a.get("http-equiv"))
    digest = base64.b64encode(hashlib.sha256(reader.scripts["main"].encode()).digest()).decode()
    assert policy is not None
    assert f"script-src 'sha256-{digest}'" in policy
    assert "default-src 'none'" in policy
    assert "connect-src" not in policy
    running = [a for t, a in reader.tags if t == "script" and a.get("type") != "application/json"]
    assert len(running) == 1


def test_same_ideas_same_bytes(ideas: fillgen.Ideas, page: bytes) -> None:
    assert build(ideas) == page


def test_processes_change_nothing(stage: Stage) -> None:
    """One process and two engrave the same."""
    assert looks.looks(stage, (0, 2), processes=2) == looks.looks(stage, (0, 2), processes=1)


def test_dead_processes_are_made_up_for(stage: Stage, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where a worker process dies, what it had to do is done here."""
    monkeypatch.setattr(looks, "_work", _die)
    assert looks.looks(stage, (0, 2), processes=2) == looks.looks(stage, (0, 2), processes=1)


def _die(piece: object) -> None:
    os._exit(1)


def test_fifty_ideas_stay_small() -> None:
    """Fifty ideas in twelve keys with all sounds take less than 6 MB."""
    found = fillgen.ideas(CHART, rhythm="swing", level=5, busy="many")
    stage = Stage(found)
    own = len(json_text(stage.some(found.ideas)))
    other = len(looks.packed(stage.look(6)))  # twelve of these were 0.5 MB apart at most
    assert len(found) == 50
    assert len(voices.bank_text()) + own + 12 * other + 100_000 < 6_000_000


def test_hostile_title_stays_text() -> None:
    """Whatever a chart's title holds, it comes out as text, and no element is added."""
    title = "</script><img src=x onerror=alert(1)> <!-- & \"'"
    plain = Reader(build(fillgen.ideas("| C | G7 |", count=1)))
    odd = Reader(build(fillgen.ideas(f"title: {title}\n| C | G7 |", count=1)))
    assert [tag for tag, _ in odd.tags] == [tag for tag, _ in plain.tags]
    assert odd.data()["whole"]["title"].startswith("</script><img src=x onerror=alert(1)> <!--")


def test_too_many_bars_have_one_key(ideas: fillgen.Ideas, monkeypatch: pytest.MonkeyPatch) -> None:
    """Very many bars come in their own key only, and the page says so."""
    monkeypatch.setattr("fillgen.page._MOST_IN_ALL_KEYS", 4 * len(ideas) - 1)
    reader = Reader(build(ideas))
    whole = reader.data()["whole"]
    assert [key["shift"] for key in whole["keys"]] == [0]
    assert whole["remarks"][-1].endswith("bars in all the page has one key only.")
    assert not [name for name in reader.scripts if "look" in name]


def test_long_scores_are_whole() -> None:
    """A score far longer than any sheet is there whole, each bar once and in order."""
    line = [ScoreSymbol(Symbol(0, 1920, ("C5",), "w"), f"long-n{number}") for number in range(900)]
    bars = tuple(ScoreBar(number, 1920, ((each,),)) for number, each in enumerate(line, 1))
    made = engraved([Score("long", METRES["4/4"], fillgen.parse_chart("| C |").key, bars)])
    assert _ids(list(made.systems["long"])) == [each.id for each in line]


def test_notes_at_the_edge_of_midi_stay() -> None:
    """Where a key would move a note out of the MIDI numbers, the page has only its own."""
    high = fillgen.ideas("| C | G7 |", count=1, low=118, high=127, level=2)
    assert [key["shift"] for key in Stage(high).whole()["keys"]] == [0]
    assert build(high)


def test_sounds_and_parts_asked_for(ideas: fillgen.Ideas) -> None:
    whole = Stage(ideas, Playing(parts=("right", "bass"), count_in=True), {"right": "17"}).whole()
    assert whole["playing"] == {"parts": ["right", "bass"], "count_in": True}
    assert next((p["part"], p["sound"], p["voice"]) for p in whole["parts"]) == (
        "right",
        "Drawbar Organ",
        "drawbar organ",
    )
    with pytest.raises(fillgen.OptionError, match="unknown sound"):
        Stage(ideas, None, {"left": "Kazoo"}).whole()
    with pytest.raises(fillgen.OptionError, match="unknown part"):
        Stage(ideas, Playing(parts=("middle",)))


# What sounds


def _notes(track: mido.MidiTrack) -> list[tuple[int, int, int, int]]:
    """The notes of a track: tick, ticks, pitch, velocity."""
    at, held, found = 0, {}, []
    for message in track:
        at += message.time
        if message.type == "note_on":
            held[message.note] = (at, message.velocity)
        elif message.type == "note_off":
            start, velocity = held.pop(message.note)
            found.append((start, at - start, message.note, velocity))
    return sorted(found)


def _page_plays(
    whole: dict[str, Any], idea: dict[str, Any], part: str, tempo: int, parts: Sequence[str] = PARTS
) -> list[tuple[int, ...]]:
    """The strokes of a part as the page's music.js makes them from its data, told again in Python."""
    left = whole["backing"]["left"][idea["left"]]
    straight = {
        "right": [row[:4] for row in idea["strokes"]],
        "left": left["with_bass" if "bass" in parts else "alone"],
    }
    fixed = whole["swing"]["fixed"]
    ratio = swing_ratio(tempo) if fixed is None else fixed
    moved = []
    for tick, length, midi, velocity in straight.get(part) or whole["backing"][part][idea["stop"]]:
        start, end = swung(tick, ratio), swung(tick + length, ratio)
        moved.append(Stroke(start, min(max(1, end - start), whole["length"] - start), midi, velocity))
    return sorted((s.tick, s.length, s.midi, s.velocity) for s in apart(moved))


def _rhythms() -> list[tuple[str, str]]:
    pack = RulePack()
    return [
        (rhythm, metre)
        for rhythm in pack.rhythm_names
        for metre in METRES
        if metre in pack.rhythm_row(rhythm).get("cells", {})
    ]


@pytest.mark.costly
@pytest.mark.parametrize(("rhythm", "metre"), each_once(_rhythms()))
def test_page_plays_what_the_midi_file_has(rhythm: str, metre: str) -> None:
    """Every rhythm in every metre: the same strokes in all four parts; where it swings slow and fast ones as well."""
    found = fillgen.ideas("| E | G#m | A | B7 |", rhythm=rhythm, metre=metre, count=1, level=5)
    for tempo in (found.tempo, 60, 230) if found.swing else (found.tempo,):
        _check_plays(replace(found, tempo=tempo), Playing(parts=PARTS))


@pytest.mark.costly
@pytest.mark.parametrize(
    "playing",
    [
        Playing(parts=PARTS, close="held", slow_down=True),
        Playing(parts=PARTS, close="button"),
        Playing(parts=PARTS, close="fading"),
        Playing(parts=PARTS, swing=3.0, bass="pedals"),
        Playing(parts=PARTS, swing=1.0, span=9),
        Playing(parts=("right", "left")),
    ],
    ids=["held", "button", "fading", "swing 3", "straight", "without a bass"],
)
def test_page_plays_closes_and_swing_as_asked(playing: Playing) -> None:
    found = fillgen.ideas("| Dm7 | G7 | C6 | C6 |", rhythm="swing", purpose="ending", count=2, seed=5)
    _check_plays(found, playing)


def _check_plays(found: fillgen.Ideas, playing: Playing) -> None:
    stage = Stage(found, playing)
    whole = stage.whole()
    documents = stage.some(found.ideas)["ideas"]
    file = mido.MidiFile(file=io.BytesIO(to_midi(found, playing)))
    bar = found.progression.metre.bar
    for number, part in enumerate(playing.parts):
        at = 0
        written = _notes(file.tracks[1 + number])
        for document in documents:
            inside = [(t - at, *rest) for t, *rest in written if at <= t < at + whole["length"]]
            assert inside == _page_plays(whole, document, part, found.tempo, playing.parts)
            assert inside
            at += whole["length"] + bar
    signs = [message for message in file.tracks[0] if message.type == "set_tempo"]
    assert len(signs) == 1 + sum(len(each["slowing"]) + bool(each["slowing"]) for each in documents)


def test_each_stroke_knows_its_note(stage: Stage, ideas: fillgen.Ideas) -> None:
    for idea, document in zip(ideas, stage.some(ideas.ideas)["ideas"], strict=True):
        told = [(row[0], row[2], row[4]) for row in document["strokes"]]
        notes = [(note.note.onset, note.note.midi, index) for index, note in enumerate(idea.notes)]
        assert told == notes


def test_every_voice_is_in_the_bank() -> None:
    bank = json.loads(voices.bank_text())
    assert set(bank["voices"]) == {*recipes(), DRUMS}
    assert {sound["voice"] for sound in offered_sounds()} == set(recipes())
    for voice in bank["voices"].values():
        for sample in voice["samples"]:
            count = len(base64.b64decode(sample["pcm"])) // 2
            assert sample["loop"] is None or 0 < sample["loop"][0] < sample["loop"][1] <= count


def test_bank_tells_how_files_are_mixed() -> None:
    """The page's gains and its releases are those of sound files: at half of a release the gain is a quarter, -12 dB."""
    mix = json.loads(voices.bank_text())["mix"]
    assert (mix["gain"], mix["drums"]) == (GAIN, DRUM_GAIN)
    assert (mix["fall"][0], mix["fall"][32], mix["fall"][-1]) == (1.0, 0.25, 0.0)
    assert mix["fall"] == sorted(mix["fall"], reverse=True)


# The bank that is kept


@pytest.fixture
def small_bank(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[list[int]]:
    """A bank that is made at once, and counts how often."""
    made: list[int] = []
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setattr(voices, "bank_document", lambda: {"made": made.append(1) or "once"})
    voices.bank_text.cache_clear()
    yield made
    voices.bank_text.cache_clear()


def test_bank_is_made_once(small_bank: list[int]) -> None:
    first = voices.bank_text()
    voices.bank_text.cache_clear()
    assert voices.bank_text() == first
    assert len(small_bank) == 1


@pytest.mark.parametrize("harm", [b"", b"cut", None])
def test_damaged_bank_is_made_anew(small_bank: list[int], harm: bytes | None) -> None:
    """A kept bank that is empty, cut off or changed is not believed."""
    first = voices.bank_text()
    kept = voices.cache_path()
    assert kept is not None
    whole = kept.read_bytes()
    kept.write_bytes(whole[:-1] + b"!" if harm is None else harm)
    voices.bank_text.cache_clear()
    assert voices.bank_text() == first
    assert kept.read_bytes() == whole
    assert len(small_bank) == 2


def test_other_banks_are_cleared_away(small_bank: list[int]) -> None:
    kept = voices.cache_path()
    assert kept is not None
    kept.parent.mkdir(parents=True)
    old = kept.with_name("sounds-0123456789abcdef.bank")
    old.write_bytes(b"old")
    voices.bank_text()
    assert kept.exists()
    assert not old.exists()


def test_bank_without_a_place_is_made_all_the_same(
    small_bank: list[int], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "file"))
    assert json.loads(voices.bank_text()) == {"made": "once"}


# Pictures and keys


def _ids(systems: list[str]) -> list[str]:
    return re.findall(r'id="([^"]*-n\d+(?:t\d+)?)"', "".join(systems))


@pytest.mark.costly
@pytest.mark.parametrize("metre", METRES)
def test_pictures_hold_every_note_once(metre: str) -> None:
    """In every metre the systems of an idea hold each written note once, its bars in order, and its metre once."""
    found = fillgen.ideas("| Am | Dm | E7 | Am |", metre=metre, level=5, busy="many", count=3)
    stage = Stage(found)
    made = stage.some(found.ideas)
    for document in made["ideas"]:
        ids = [each for note in document["notes"] for each in note["ids"]]
        assert sorted(_ids(document["systems"])) == sorted(ids)
        assert len(document["signs"]) == len(ids)
        bars = re.findall(r'id="idea-\d+-b(\d+)"', "".join(document["systems"]))
        assert bars == ["1", "2", "3", "4"]
        metres = [system.count('class="meterSig"') for system in document["systems"]]
        assert metres == [1] + [0] * (len(metres) - 1)
        used = set(re.findall(r'xlink:href="#(\w+)-fillgen"', "".join(document["systems"])))
        assert used <= set(made["glyphs"])
    assert "<style" not in json_text(made)
    assert "style=" not in json_text(made)


@pytest.mark.parametrize("kind", ["thirds", "chord"])
def test_a_second_voice_is_seen_heard_and_moved(kind: str) -> None:
    """Names, signs, strokes and words of what lies below each note; in another key the same keys, so many semitones on."""
    plain = fillgen.ideas("| Ebm7 | Ab7 | Dbmaj7 | % |", rhythm="swing", level=4, count=3, seed=5)
    found = with_second(plain, kind)
    stage = Stage(found)
    made, moved = stage.some(found.ideas)["ideas"], stage.look(3)["ideas"]
    for idea, document in zip(found, made, strict=True):
        sizes = [len(low) for low in idea.below()]
        assert any(sizes)
        assert [[name for name, _ in low] for low in document["below"]] == [
            [each.name for each in low] for low in idea.below()
        ]
        numbers = [stroke[4] for stroke in document["strokes"]]
        assert [numbers.count(number) - 1 for number in range(len(sizes))] == sizes
        parts = [sizes[number] for number, note in enumerate(document["notes"]) for _ in note["ids"]]
        assert [sign.count(",") for sign in document["signs"]] == parts
        assert document["words"].count(" with ") >= sum(map(bool, sizes))
        assert int(document["left"].split("@")[0]) == min(
            each.note.midi for each in (*idea.notes, *idea.second)
        )
        keys = [[read_pitch(name) - 3 for name, _ in low] for low in moved[document["id"]]["below"]]
        assert keys == [[each.note.midi for each in low] for low in idea.below()]
        assert all(1 <= finger <= 4 for low in moved[document["id"]]["below"] for _, finger in low)
    assert all(document["below"] == [] for document in Stage(plain).some(plain.ideas)["ideas"])


def test_engraver_has_nothing_to_warn_of(capfd: pytest.CaptureFixture[str]) -> None:
    """Crowded bars get systems of their own, so that nothing is squeezed."""
    for metre, busy in (("4/4", "many"), ("12/8", "many"), ("5/4", "some"), ("2/4", "few"), ("9/8", "many")):
        found = fillgen.ideas("| Gb | Ebm7 | Abm7 | Db7 |", metre=metre, busy=busy, level=5, count=3)
        Stage(found).look(-1)
        Stage(found).some(found.ideas)
    assert capfd.readouterr() == ("", "")


def test_no_ideas_no_pictures() -> None:
    assert engraved(()).systems == {}


def test_twelve_keys(stage: Stage) -> None:
    keys = stage.whole()["keys"]
    assert [key["shift"] for key in keys] == list(range(-5, 7))
    assert len({key["name"] for key in keys}) == 12


def test_keys_have_few_signs() -> None:
    for mode, home in (("major", "Gb"), ("minor", "G#m"), ("major", "C#"), ("minor", "A minor")):
        chart = fillgen.parse_chart("| C | F |", key=home)
        keys = [key_at(chart.key, shift) for shift in SHIFTS]
        assert keys[SHIFTS.index(0)] == chart.key
        assert all(abs(key.fifths) <= 6 for key, shift in zip(keys, SHIFTS, strict=True) if shift)
        assert {key.mode for key in keys} == {mode}
        assert len({key.tonic.pitch_class for key in keys}) == 12


def test_looks_move_every_note(stage: Stage, ideas: fillgen.Ideas, page: bytes) -> None:
    """In every key the names stand for pitches moved by the key's distance, under the same ids, fingered anew."""
    reader = Reader(page)
    for shift in (each for each in SHIFTS if each):
        look = reader.look(shift)
        assert look["key"] == next(k["name"] for k in stage.whole()["keys"] if k["shift"] == shift)
        phrases = [[note.midi + shift for note in idea.phrase] for idea in ideas]
        for idea, phrase, fingers in zip(ideas, phrases, best_of_many(phrases), strict=True):
            told = look["ideas"][f"idea-{idea.rank}"]
            assert [read_pitch(name) for name in told["names"]] == phrase
            assert told["fingers"] == list(fingers)
            home = next(each for each in reader.data()["ideas"] if each["rank"] == idea.rank)
            assert sorted(_ids(told["systems"])) == sorted(
                each for note in home["notes"] for each in note["ids"]
            )


def test_looks_are_packed_alike_on_every_system(page: bytes) -> None:
    """RFC 1952, section 2.3.1: after method and flags come four bytes of time (0: none), then the level and the system."""
    for shift in (each for each in SHIFTS if each):
        packed = base64.b64decode(json.loads(Reader(page).scripts[f"fillgen-look-{shift}"]))
        assert packed[:4] == b"\x1f\x8b\x08\x00"
        assert packed[4:8] == bytes(4)
        assert packed[9] == 255


def test_look_says_what_is_played(stage: Stage) -> None:
    """In another key the heading names that key, and all else as before."""
    own = stage.whole()["about"]
    assert own.startswith("E♭ major, 4/4, swing, ")
    assert stage.look(2, ())["about"] == own.replace("E♭ major", "F major")


def test_look_chords_read_back(stage: Stage) -> None:
    """The chart of another key is that of a chart typed there."""
    moved = stage.look(2, ())
    typed = fillgen.parse_chart("title: Lantern Steps\n| Fmaj7 | Am7 D7 | Gm7 | C7 |")
    assert fillgen.parse_chart(moved["chart"]) == typed
    assert len(moved["harmonies"]) == len(typed.spans)


# Modules


def test_assets_are_there() -> None:
    assert {"page.css", "music-font.css", "main.js", "player.js"} <= set(ASSETS)
    assert all(asset(name) for name in ASSETS)
    with pytest.raises(KeyError):
        asset("../data.py")


def test_modules_import_what_others_export() -> None:
    """Every name that a module imports is exported by the module it names."""
    exported = {
        name: set(re.findall(r"^export (?:async )?(?:function\*?|const|class) (\w+)", text, re.MULTILINE))
        for name in ASSETS
        if name.endswith(".js")
        for text in [asset(name).decode()]
    }
    found = 0
    for name in exported:
        for names, other in re.findall(
            r'^import \{ ([^}]*) \} from "([^"]*)";$', asset(name).decode(), re.MULTILINE
        ):
            assert {each.strip() for each in names.split(",")} <= exported[bundle.path_of(name, other)]
            found += 1
    assert found > 5


@pytest.mark.parametrize(
    ("modules", "told"),
    [
        (
            {"a.js": 'import { b } from "./b.js";\n', "b.js": 'import { a } from "./a.js";\n'},
            "import each other",
        ),
        ({"a.js": 'import b from "./b.js";\n'}, "cannot bundle"),
        ({"a.js": "export default 3;\n"}, "cannot bundle"),
        ({"a.js": 'const a = "</Script>";\n'}, "cannot hold"),
    ],
)
def test_bundle_refuses_what_it_cannot_do(modules: dict[str, str], told: str) -> None:
    with pytest.raises(ValueError, match=told):
        bundle.bundled("a.js", modules.__getitem__)


def test_bundle_finds_modules_in_folders() -> None:
    modules = {
        "a.js": 'import { b } from "./in/b.js";\n',
        "in/b.js": 'import { c } from "../c.js";\nexport const b = c;\n',
        "c.js": "export const c = 1;\n",
    }
    assert bundle.in_order("a.js", modules.__getitem__) == ["c.js", "in/b.js", "a.js"]


def test_shell_has_no_script_or_style_of_its_own() -> None:
    """The served page can forbid inline scripts and styles altogether."""
    reader = Reader(shell(body="<p>here</p>").encode())
    assert not reader.scripts
    assert not any(tag == "style" or "style" in attributes for tag, attributes in reader.tags)
    assert not any(name.startswith("on") for _, attributes in reader.tags for name in attributes)
    named = [a.get("src") or a.get("href") for t, a in reader.tags if t in ("script", "link")]
    assert all(str(each).removeprefix("assets/") in ASSETS for each in named if each != "data:,")
    assert "<p>here</p>" in shell(body="<p>here</p>")


def test_labels_name_every_field() -> None:
    """Each field of the page has a label, and each label's field is there."""
    text = asset_page()
    for name in re.findall(r'<label for="([^"]*)"', text):
        assert f'id="{name}"' in text
    for field in re.findall(r"<(?:input|select)[^>]*>", text):
        own = re.search(r'id="([^"]*)"', field)
        labelled = own is not None and f'for="{own[1]}"' in text
        around = text[: text.index(field)].rpartition("<label")[2]
        assert labelled or "</label>" not in around


def asset_page() -> str:
    return shell()


# The command line


def test_ideas_and_variations_are_written_as_pages(call: Call, tmp_path: Path) -> None:
    path = tmp_path / "ideas.html"
    answer = call("ideas", "| G | Bm | C | D7 |", "-n", "2", "--for", "intro", "-o", str(path))
    assert (answer.code, answer.out) == (0, "")
    assert answer.err.startswith(f"2 ideas in {path}\n")
    whole = Reader(path.read_bytes()).data()["whole"]
    assert whole["playing"]["parts"] == list(PARTS)
    phrase = "G4q A4q B4h | D5q. E5e F#5h | E5q D5q C5h | A4h F#4h"
    varied = tmp_path / "varied.html"
    answer = call("vary", "| G | Bm | C | D7 |", phrase, "--keep", "1", "-n", "2", "-o", str(varied))
    assert answer.code == 0
    assert all(
        idea["text"].startswith("G4q A4q B4h |") for idea in Reader(varied.read_bytes()).data()["ideas"]
    )


def test_page_says_what_it_leaves_to_the_reader(call: Call, tmp_path: Path) -> None:
    path = tmp_path / "ideas.html"
    answer = call("ideas", "| C | G7 |", "-n", "1", "--times", "3", "-o", str(path))
    assert (
        "Note: the page plays each idea once, at one tempo, with one set of voicings; you can loop it there."
        in answer.err
    )


def test_page_refuses_what_it_cannot_do(call: Call, tmp_path: Path) -> None:
    path = tmp_path / "ideas.html"
    refused(call("ideas", "| C | G7 |", "-n", "1", "--explain", "-o", str(path)), "--explain")
    path.write_text("mine", encoding="utf-8")
    refused(call("ideas", "| C | G7 |", "-n", "1", "-o", str(path)), "exists already")
    assert path.read_text(encoding="utf-8") == "mine"
