"""The public face of the package, as scripts use it: `fillgen` hands out the names of `__all__`."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from fillgen.app.keywords import with_keywords, with_two_and_keywords
from fillgen.app.options import CheckOptions, IdeaOptions, PlayOptions, SheetOptions, VaryOptions
from fillgen.chart.progression import Progression
from fillgen.chart.text import chart_text, parse_chart
from fillgen.engine.generate import generate
from fillgen.engine.melody import MelodyScore, melody_score
from fillgen.engine.request import Request
from fillgen.errors import (
    ChartError,
    FillgenError,
    NoPhraseError,
    OptionError,
    OutputError,
    PackError,
    PhraseError,
)
from fillgen.phrase.idea import Idea, IdeaNote, Ideas
from fillgen.phrase.note import Note, Phrase
from fillgen.phrase.text import parse_phrase, phrase_text
from fillgen.rules.pack import RulePack
from fillgen.theory.pitch import Key, read_pitch

if TYPE_CHECKING:
    from fillgen.hands.voicing import VoicingPath
    from fillgen.readers.phrases import Reading
    from fillgen.teaching.check import Report
    from fillgen.teaching.notefit import ChordNotes

__all__ = [
    "ChartError",
    "CheckOptions",
    "FillgenError",
    "Idea",
    "IdeaNote",
    "IdeaOptions",
    "Ideas",
    "Key",
    "MelodyScore",
    "NoPhraseError",
    "Note",
    "OptionError",
    "OutputError",
    "PackError",
    "Phrase",
    "PhraseError",
    "PlayOptions",
    "Progression",
    "Request",
    "RulePack",
    "SheetOptions",
    "VaryOptions",
    "chart_text",
    "check",
    "generate",
    "ideas",
    "melody_score",
    "notes_that_fit",
    "parse_chart",
    "parse_phrase",
    "phrase_text",
    "read_pitch",
    "variants",
    "voicings",
    "write",
]


@dataclass(frozen=True, kw_only=True)
class _Ground:
    """How a chart is read, and by which rules: options that `ideas`, `variants` and `check` take besides their own."""

    key: str | Key | None = None
    metre: str | None = None
    rules: str | Path | RulePack | None = None

    @property
    def pack(self) -> RulePack:
        """The built-in rules, with those of the player laid over them."""
        if isinstance(self.rules, RulePack):
            return self.rules
        return RulePack.read(Path(self.rules)) if self.rules is not None else RulePack()

    def progression(self, chart: str | Progression, rhythm: str | None = None) -> Progression:
        """A chart that is parsed already, or its text; a rhythm that knows one metre brings it."""
        if not isinstance(chart, str):
            return chart
        from fillgen.app.charts import progression_of
        from fillgen.app.options import ChordOptions

        key = None if self.key is None else str(self.key)
        return progression_of(ChordOptions(chart=chart, key=key, metre=self.metre), rhythm, self.pack)


@dataclass(frozen=True, kw_only=True)
class _IdeasCall(IdeaOptions, _Ground):
    """What `ideas` takes."""


@dataclass(frozen=True, kw_only=True)
class _VaryCall(VaryOptions, IdeaOptions, _Ground):
    """What `variants` takes."""

    count: int = 10


@dataclass(frozen=True, kw_only=True)
class _CheckCall(CheckOptions, _Ground):
    """What `check` takes."""


@with_keywords(_IdeasCall)
def ideas(chart: str | Progression, options: _IdeasCall) -> Ideas:
    """Right-hand ideas over a chart, best first: the main job in one call.

    Parameters
    ----------
    chart : chart text such as `| F | Gm7 | C7 | F |`, or a parsed progression
    key, metre : how a chart text is read; found from the chords and 4/4 where they're left out
    rules : a rule pack, or the file of one, laid over the built-in rules
    and every field of `IdeaOptions` as a keyword: `count`, `seed`, `tempo` in quarter notes a minute, `rhythm`, `level`,
    `busy`, `shape`, `low`, `high` and `lead_to` as pitch names or MIDI numbers, `purpose`, `ends_on`, `hand`.

    Returns
    -------
    Ideas, a sequence of `Idea`, with the number of all phrases that keep the rules in `phrases`.

    Raises
    ------
    ChartError for a chart that can't be read, OptionError for an option outside what is offered, PackError for a wrong
    rule pack, NoPhraseError where rules, range and chart leave no phrase.

    >>> waltz = ideas("| F | Gm7 | C7 | F |", metre="3/4", purpose="ending", count=2, seed=4)
    >>> waltz.rhythm, [idea.rank for idea in waltz]
    ('waltz', [1, 2])
    """
    return generate(Request.over(options.progression(chart, options.rhythm), options, options.pack))


@with_two_and_keywords(_VaryCall)
def variants(chart: str | Progression, phrase: str | Phrase, options: _VaryCall) -> Ideas:
    """Keep some of a phrase and find the rest anew; turn it, move it, make it easier or harder, or answer it.

    Parameters
    ----------
    chart : as for `ideas`
    phrase : phrase text such as `F5q. Eb5e D5h`, or notes
    keep : what stays: bars (`1`, `1-3`), `rhythm`, `pitches` or `contour`
    mirror, like, unlike, answer : what becomes of the rest
    level_as : the same phrase, easier or harder: at this level
    move_to : another key
    and every keyword of `ideas`; `count` is 10 where it's left out.

    Returns
    -------
    Ideas, best first, or nearest first where they're near to the phrase.

    Raises
    ------
    PhraseError where the phrase doesn't fit the chart, OptionError where options contradict one another or nothing is
    asked for, NoPhraseError where nothing can be found, and what `ideas` raises.

    >>> found = variants("| Eb | Bb7 |", "G4q Ab4e Bb4e G4h | D4q F4q Bb4h", keep=("1",), count=3)
    >>> {idea.text.split(" | ")[0] for idea in found}
    {'G4q Ab4e Bb4e G4h'}
    """
    from fillgen.app import varying

    return varying.variants(_reading(options, chart, phrase), options, options, options.pack)


@with_two_and_keywords(_CheckCall)
def check(chart: str | Progression, phrase: str | Phrase, options: _CheckCall) -> Report:
    """What clashes in a phrase of one's own, what is a matter of style or beyond the level, and how to mend it.

    Parameters
    ----------
    chart, phrase : as for `variants`
    level : a level as text, or `auto` for the lowest that the phrase fits
    and every other field of `CheckOptions` as a keyword, with `key`, `metre` and `rules` as for `ideas`.

    Returns
    -------
    A report: `verdict` in a sentence, `right` (nothing clashes; with `strict`, nothing at all is amiss), the `faults` with
    their kinds and places, what `works`, and how the phrase can be mended.

    Raises
    ------
    PhraseError where the phrase doesn't fit the chart, OptionError and PackError as `ideas` does.

    >>> report = check("| Eb | Bb7 |", "G4q Ab4e Bb4e G4h | C5q Bb4q F4h")
    >>> report.right, [(fault.kind, fault.rule) for fault in report.faults]
    (True, [('level', 'strong-beat'), ('level', 'non-chord-note'), ('style', 'final-note')])
    """
    from fillgen.app.checking import report_on

    return report_on(_reading(options, chart, phrase), options, options.pack)


def _reading(ground: _VaryCall | _CheckCall, chart: str | Progression, phrase: str | Phrase) -> Reading:
    """A phrase over its chart, as every way in reads it."""
    from fillgen.app.charts import aligned
    from fillgen.app.options import ChordOptions
    from fillgen.readers.phrases import Reading, find_phrase

    progression = ground.progression(chart, ground.rhythm)
    if not isinstance(phrase, str):
        return Reading(progression, phrase, None, "", progression.remarks, whole=True)
    chords = ChordOptions(
        chart=chart_text(progression), key=str(progression.key), metre=progression.metre.name
    )
    reading = aligned(find_phrase(phrase, metre=progression.metre), chords)
    return replace(reading, remarks=(*progression.remarks, *reading.remarks))


def notes_that_fit(
    chart: str | Progression, *, key: str | Key | None = None, metre: str | None = None
) -> tuple[ChordNotes, ...]:
    """Which notes fit each chord of a chart and why, and the nearest way into the next chord.

    Raises ChartError and OptionError as `ideas` does.

    >>> first, second = notes_that_fit("| Bbmaj7 | Eb7 |")
    >>> [str(tone.name) for tone in first.tones]
    ['Bb', 'D', 'F', 'A']
    """
    from fillgen.teaching.notefit import chord_notes

    return chord_notes(_Ground(key=key, metre=metre).progression(chart))


def voicings(
    chart: str | Progression, *, count: int = 3, key: str | Key | None = None, metre: str | None = None
) -> tuple[VoicingPath, ...]:
    """The left hand's ways through a chart that move least from chord to chord, best first.

    Raises ChartError and OptionError as `ideas` does, and OptionError where the hand can hold no voicing of a chord.

    >>> best, *_ = voicings("| Bb | Dm | Eb | F7 |")
    >>> [" ".join(voicing.names) for voicing in best.voicings][0]
    'F3 Bb3 D4'
    """
    from fillgen.hands.voicing import best_paths

    return best_paths(_Ground(key=key, metre=metre).progression(chart), count=count)


_PLAYED, _LOOK = PlayOptions(), SheetOptions()


def write(
    found: Ideas,
    path: str | Path,
    *,
    playing: PlayOptions = _PLAYED,
    look: SheetOptions = _LOOK,
    overwrite: bool = False,
) -> None:
    """Write ideas to a file by its ending, whole or not at all, or MIDI files into a folder (a path that ends in `/`).

    Parameters
    ----------
    found : ideas, or some of them: `replace(found, ideas=found[:3])`
    path : .mid .wav .flac .musicxml .mei .svg .pdf .html .txt or .json
    playing : which parts sound, how often, how they swing ... in MIDI, sound, sheets and the page
    look : view, note names, fingers, paper and title of a sheet
    overwrite : replace a file that is there

    Raises
    ------
    OptionError for an ending or an option that isn't offered, OutputError where the file can't be written.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write(ideas("| Ab | Eb7 |", count=2), f"{folder}/two.mid")
    ...     (Path(folder) / "two.mid").read_bytes()[:4]
    b'MThd'
    """
    from fillgen.app.contents import IDEAS, ideas_content, look_of
    from fillgen.app.formats import Delivery, targets_of, write_all
    from fillgen.app.options import OutputOptions
    from fillgen.hands.playing import played_as

    output = OutputOptions(output=(str(path),), overwrite=overwrite)
    targets = targets_of(output, IDEAS)
    played, sounds = played_as(playing, RulePack())
    content = ideas_content(found, played, sounds, look_of(look, playing, played))
    list(write_all([Delivery(content, targets)], output))
