"""The command line. This is the one module that knows typer."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable, Sequence
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer

import fillgen
from fillgen.errors import FillgenError, OptionError, OutputError, did_you_mean, shorten

if TYPE_CHECKING:
    from fillgen.arrange import Playing
    from fillgen.chords import Chord
    from fillgen.rulepack import RulePack
    from fillgen.scores import Tune
    from fillgen.sequences import Sequence as Stock
    from fillgen.tune import Piece

app = typer.Typer(
    name="fillgen",
    help="Right-hand ideas for a chord chart: intros, turnarounds, endings and fills that fit every chord.",
    epilog="Practise in short turns, stop when a hand hurts, and keep headphones low. "
    "Ask a teacher or a doctor about pain that stays.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

_TEXT, _JSON, _MIDI = "text", "json", "midi"
_ENDINGS = {".txt": _TEXT, ".json": _JSON, ".mid": _MIDI, ".midi": _MIDI}


class Format(StrEnum):
    """What the answer is printed as."""

    text = "text"
    json = "json"


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"fillgen {fillgen.__version__}")
        raise typer.Exit


@app.callback()
def _fillgen(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Take the options that stand before a command."""


_CHART_HELP = (
    'Chords between bar lines, such as "| C | Am7 | Dm7 | G7 |", a file that holds them, or - to read them from '
    "standard input. Chords of a bar share its beats; / holds a chord one more beat, % repeats a bar."
)


def _rhythm_names() -> list[str]:
    from fillgen.rulepack import RulePack

    return list(RulePack().rhythm_names)


def _shape_names() -> list[str]:
    from fillgen.rulepack import RulePack

    return list(RulePack().shapes)


def _sequence_names() -> list[str]:
    from fillgen.sequences import sequences as every

    return [known.name for known in every()]


def _beginning(names: Callable[[], Sequence[str]]) -> Callable[[str], list[str]]:
    """A completion for the shell: the names that begin as what is typed."""
    return lambda incomplete: [name for name in names() if name.startswith(incomplete.lower())]


Chart = Annotated[str, typer.Argument(metavar="CHART", help=_CHART_HELP)]
OptionalChart = Annotated[
    str | None,
    typer.Argument(metavar="CHART", help=f"{_CHART_HELP} Left out where --sequence gives the chords."),
]
KeyOption = Annotated[
    str | None,
    typer.Option("--key", help="Key, such as Eb, 'C minor' or F#m. Found from the chords if left out."),
]
MetreOption = Annotated[
    str | None, typer.Option("--metre", help="4/4, 3/4, 2/4, 2/2, 5/4, 6/8, 9/8 or 12/8. [default: 4/4]")
]
RulesOption = Annotated[
    Path | None, typer.Option("--rules", help="A rule pack of your own, laid over the built-in ones.")
]

FormatOption = Annotated[
    Format | None, typer.Option("--format", help="How the answer is printed. [default: text]")
]
OverwriteOption = Annotated[bool, typer.Option("--overwrite", help="Replace files that exist already.")]
SeventhsOption = Annotated[
    bool, typer.Option("--sevenths", help="Add to triads the sevenths that fit the key.")
]
SlowDownOption = Annotated[bool, typer.Option("--slow-down", help="Slow down over the last bar.")]
RhythmOption = Annotated[
    str | None,
    typer.Option(
        "--rhythm",
        help="Such as swing, waltz or 'bossa nova'. [default: what suits the metre]",
        autocompletion=_beginning(_rhythm_names),
    ),
]
LevelOption = Annotated[
    int | None,
    typer.Option(
        "--level",
        help="1 roots, 2 chord notes, 3 passing notes, 4 syncopation, 5 colour notes. [default: 3]",
    ),
]
BusyOption = Annotated[
    str | None,
    typer.Option(
        "--busy",
        help="How many notes: few, some or many. [default: some]",
        autocompletion=_beginning(lambda: ("few", "some", "many")),
    ),
]
SwingOption = Annotated[
    float | None,
    typer.Option("--swing", help="First eighth to second, 1 straight to 4. [default: the rhythm's own]"),
]
FeelOption = Annotated[
    float, typer.Option("--feel", help="Small differences of timing and loudness, 0 none to 1 loose.")
]
SoundOption = Annotated[
    list[str] | None,
    typer.Option(
        "--sound",
        help="General MIDI sound of the right hand, by name or number 1 to 128, or of a part, such as "
        "'left=Drawbar Organ'. May be given several times. [default: Vibraphone]",
    ),
]


@app.command()
def ideas(
    chart: OptionalChart = None,
    count: Annotated[int, typer.Option("--count", "-n", help="How many ideas, 1 to 1000.")] = 50,
    seed: Annotated[
        int, typer.Option("--seed", help="Another number gives other ideas; the same, the same.")
    ] = 0,
    key: KeyOption = None,
    metre: MetreOption = None,
    tempo: Annotated[
        int | None, typer.Option("--tempo", help="Quarter notes a minute. [default: the rhythm's own]")
    ] = None,
    rhythm: RhythmOption = None,
    level: LevelOption = None,
    busy: BusyOption = None,
    shape: Annotated[
        str | None,
        typer.Option(
            "--shape",
            help="One shape only: arch, rise, fall, valley, wave ...",
            autocompletion=_beginning(_shape_names),
        ),
    ] = None,
    low: Annotated[
        str | None, typer.Option("--low", help="Lowest note, such as D4. [default: the level's]")
    ] = None,
    high: Annotated[
        str | None, typer.Option("--high", help="Highest note, such as A5. [default: the level's]")
    ] = None,
    purpose: Annotated[
        str | None,
        typer.Option(
            "--for",
            help="What it is for: intro, turnaround or ending.",
            autocompletion=_beginning(lambda: ("intro", "turnaround", "ending")),
        ),
    ] = None,
    ends_on: Annotated[
        str | None,
        typer.Option(
            "--ends-on",
            help="Where the last note lies in its chord: root, third, fifth, or several with commas. "
            "[default: root,third]",
        ),
    ] = None,
    lead_to: Annotated[
        str | None,
        typer.Option(
            "--lead-to", help="The tune's first note, such as G5: the last note lies within a third of it."
        ),
    ] = None,
    sequence: Annotated[
        str | None,
        typer.Option(
            "--sequence",
            help="A stock chord sequence by name, in the place of a chart.",
            autocompletion=_beginning(_sequence_names),
        ),
    ] = None,
    sevenths: SeventhsOption = False,
    parts: Annotated[
        str | None,
        typer.Option(
            "--parts",
            help="Parts of a MIDI file: right, left, bass, drums, or several with commas. [default: right; all four "
            "with --for]",
        ),
    ] = None,
    times: Annotated[int, typer.Option("--times", help="How often an idea is played over in MIDI.")] = 1,
    second_set: Annotated[
        bool,
        typer.Option("--second-set", help="The left hand takes its second-best voicings every other time."),
    ] = False,
    count_in: Annotated[bool, typer.Option("--count-in", help="A bar of clicks before each idea.")] = False,
    swing: SwingOption = None,
    feel: FeelOption = 0.0,
    close: Annotated[
        str | None,
        typer.Option(
            "--close",
            help="How it closes: held, button (short) or fading (twice more, softer). "
            "[default: held with --for ending]",
        ),
    ] = None,
    slow_down: SlowDownOption = False,
    bass: Annotated[
        str, typer.Option("--bass", help="Where the bass lies: keyboard or pedals.")
    ] = "keyboard",
    span: Annotated[int, typer.Option("--span", help="How far the left hand reaches, in semitones.")] = 12,
    sound: SoundOption = None,
    format_: FormatOption = None,
    output: Annotated[
        str | None,
        typer.Option(
            "--output",
            "-o",
            help="Write to a file instead: .mid all ideas in one file, .txt, .json; or FOLDER/ for one MIDI file an "
            "idea.",
        ),
    ] = None,
    overwrite: OverwriteOption = False,
    rules: RulesOption = None,
) -> None:
    """Fifty right-hand ideas over a chart, best first.

    Every idea keeps the rules of its level: chord notes on the strong beats, passing notes that go somewhere, and a
    last note from which the tune can begin.
    """
    target = _target(output, format_)
    wishes: dict[str, Any] = {
        "times": times,
        "second_set": second_set,
        "count_in": count_in,
        "swing": swing,
        "feel": feel,
        "close": close,
        "slow_down": slow_down,
        "bass": bass,
        "span": span,
    }
    playing = (
        _playing(parts, purpose, sound, rules, wishes)
        if target == _MIDI or _is_special(parts, sound, wishes)
        else None
    )
    found = fillgen.ideas(
        _progression(chart, sequence, key, metre, sevenths),
        count=count,
        seed=seed,
        tempo=tempo,
        rhythm=rhythm,
        level=level,
        busy=busy,
        shape=shape,
        low=low,
        high=high,
        purpose=purpose,
        ends_on=ends_on.split(",") if ends_on is not None else None,
        lead_to=lead_to,
        rules=_pack(rules),
    )
    if output is None:
        typer.echo(_rendered(found, target), nl=False)
    else:
        _write(found, output, target, playing, overwrite)
    for remark in found.remarks if output is not None or target != _TEXT else ():
        typer.echo(f"Note: {remark}", err=True)


_USUAL: dict[str, Any] = {
    "times": 1,
    "second_set": False,
    "count_in": False,
    "swing": None,
    "feel": 0.0,
    "close": None,
    "slow_down": False,
    "bass": "keyboard",
    "span": 12,
}


def _is_special(parts: str | None, sound: Sequence[str] | None, wishes: dict[str, Any]) -> bool:
    """Whether anything is asked for that only MIDI shows; it is checked all the same."""
    return parts is not None or bool(sound) or wishes != _USUAL


def _progression(
    chart: str | None, sequence: str | None, key: str | None, metre: str | None, sevenths: bool
) -> fillgen.Progression:
    """The progression of a chart or of a stock sequence, with sevenths if they are asked for."""
    if (chart is None) == (sequence is None):
        raise OptionError(
            "give either a chart or --sequence", hint='Such as: fillgen ideas "| C | Am | Dm7 | G7 |".'
        )
    if sequence is None:
        assert chart is not None
        found = fillgen.parse_chart(_chart_text(chart), key=key, metre=metre)
    else:
        from fillgen.parse import read_key, read_metre
        from fillgen.sequences import sequence as stock
        from fillgen.sequences import spelled

        chosen = stock(sequence)
        wanted = read_key(key or ("C" if chosen.mode == "major" else "A minor"))
        found = spelled(chosen, wanted, read_metre(metre) if metre is not None else None)
    if sevenths:
        from fillgen.sequences import with_sevenths

        found = with_sevenths(found)
    return found


def _target(output: str | None, wanted: Format | None) -> str:
    """What is to be made: text, json or midi, from the name of the output and the format asked for."""
    if output is None:
        return wanted.value if wanted else _TEXT
    if not output.strip():
        raise OptionError(f"the output {output!r} is no name", hint="Such as -o ideas.mid.")
    ending = Path(output).suffix.lower()
    by_name = _MIDI if _is_folder(output) else _ENDINGS.get(ending)
    if by_name is None and (wanted is None or ending):
        hint = "Use .mid, .txt, .json, or a folder name with / at its end."
        raise OptionError(f"cannot tell what to write to {shorten(output)}", hint=hint)
    if wanted is not None and by_name not in (None, wanted.value):
        raise OptionError(f"--format {wanted.value} does not go with {shorten(output)}")
    return by_name or (wanted.value if wanted else _TEXT)


def _is_folder(output: str) -> bool:
    """Whether an output names a folder, by its end or because there is one."""
    try:
        return output.endswith(("/", os.sep)) or Path(output).is_dir()
    except (OSError, ValueError):
        return False


def _rendered(found: fillgen.Ideas, target: str) -> str:
    if target == _JSON:
        from fillgen.render.document import to_json

        return to_json(found)
    from fillgen.render.text import to_text

    width = shutil.get_terminal_size((100, 24)).columns if sys.stdout.isatty() else 100
    return to_text(found, width=max(60, width))


def _playing(
    parts: str | None,
    purpose: str | None,
    sound: Sequence[str] | None,
    rules: Path | None,
    wishes: dict[str, Any],
) -> tuple[Playing, dict[str, str]]:
    """How MIDI is played, and with which sounds: all parts for an intro, a turnaround or an ending, else one."""
    from fillgen.arrange import PARTS, Playing, check_playing

    usual = PARTS if purpose else PARTS[:1]
    if purpose == "ending" and wishes["close"] is None:
        wishes = {**wishes, "close": "held"}
    named = tuple(dict.fromkeys(part.strip() for part in parts.split(","))) if parts is not None else usual
    pack = _pack(rules)
    playing = Playing(parts=named, pack=pack, **wishes)
    check_playing(playing)
    return playing, _sounds(sound)


def _pack(path: Path | None) -> RulePack:
    """The built-in rules, with a pack of the player's own laid over them."""
    from fillgen.accompaniment import read_pack
    from fillgen.rulepack import RulePack

    return read_pack(path) if path is not None else RulePack()


def _sounds(given: Sequence[str] | None) -> dict[str, str]:
    """The sounds asked for, by part; a sound without a part is the right hand's."""
    from fillgen.arrange import PARTS
    from fillgen.sounds import program

    sounds = {}
    for text in given or ():
        part, equals, sound = text.partition("=")
        named = part.strip() if equals else "right"
        if named not in PARTS[:3]:
            raise OptionError(f"unknown part {named!r} in --sound", hint=did_you_mean(named, PARTS[:3]))
        sounds[named] = sound.strip() if equals else text
        program(sounds[named])
    return sounds


def _write(
    found: fillgen.Ideas,
    output: str,
    target: str,
    played: tuple[Playing, dict[str, str]] | None,
    overwrite: bool,
) -> None:
    from fillgen.render.files import write_file, write_folder

    if target != _MIDI:
        write_file(Path(output), _rendered(found, target).encode(), overwrite=overwrite)
    elif played is not None:
        from fillgen.render.midi import to_midi, to_midi_files

        playing, sounds = played
        if _is_folder(output):
            write_folder(Path(output), to_midi_files(found, playing, sounds), overwrite=overwrite)
        else:
            write_file(Path(output), to_midi(found, playing, sounds), overwrite=overwrite)
    what = "idea" if len(found) == 1 else "ideas"
    typer.echo(f"{len(found)} {what} in {output}", err=True)
    older = _older(Path(output), len(found)) if _is_folder(output) else 0
    if older:
        typer.echo(f"Note: {older} older files named idea-*.mid lie in {output} as well.", err=True)


def _older(folder: Path, written: int) -> int:
    """How many files of earlier ideas lie in a folder beside those just written."""
    return len(list(folder.glob("idea-*.mid"))) - written


@app.command()
def voicings(
    chart: Chart,
    count: Annotated[
        int, typer.Option("--count", "-n", help="How many ways through the chart, 1 to 20.")
    ] = 3,
    key: KeyOption = None,
    metre: MetreOption = None,
    span: Annotated[
        int, typer.Option("--span", help="How far the hand reaches, in semitones; 12 is an octave.")
    ] = 12,
    low: Annotated[str, typer.Option("--low", help="Lowest key.")] = "C3",
    high: Annotated[str, typer.Option("--high", help="Highest key.")] = "E4",
    thin: Annotated[
        bool, typer.Option("--thin", help="Three keys at most, for small hands: the fifth is left out first.")
    ] = False,
    spread: Annotated[bool, typer.Option("--spread", help="Spread forms as well, up to a tenth.")] = False,
    format_: FormatOption = None,
) -> None:
    """Left-hand inversions that move least from chord to chord, with a small keyboard for each."""
    from fillgen.render.voicings import voicings_document, voicings_text
    from fillgen.voicing import Hand, best_paths

    if _pitch(low, "--low") > _pitch(high, "--high"):
        raise OptionError(f"the lowest key {low} lies above the highest, {high}")
    if not 1 <= count <= _MOST_PATHS:
        raise OptionError(f"the count is {count}", hint=f"Ask for 1 to {_MOST_PATHS} ways.")
    progression = fillgen.parse_chart(_chart_text(chart), key=key, metre=metre)
    hand = Hand(_pitch(low, "--low"), _pitch(high, "--high"), span, thin, spread)
    paths = best_paths(progression, hand, count)
    if format_ is Format.json:
        typer.echo(_json(voicings_document(progression, paths)))
    else:
        typer.echo(voicings_text(progression, paths).rstrip())


_MOST_PATHS = 20


def _pitch(text: str, option: str) -> int:
    try:
        return fillgen.read_pitch(text.strip())
    except ValueError:
        raise OptionError(
            f"unknown pitch {shorten(text)} for {option}", hint="Write it like C3 or Eb4."
        ) from None


def _json(document: dict[str, Any]) -> str:
    import json

    return json.dumps(document, ensure_ascii=False, indent=1)


@app.command()
def notes(
    chart: Chart,
    key: KeyOption = None,
    metre: MetreOption = None,
    dorian_sixth: Annotated[
        bool,
        typer.Option("--dorian-sixth", help="Leave the sixth over ii7 quickly as well, as some teachers do."),
    ] = False,
    format_: FormatOption = None,
    output: Annotated[
        str | None,
        typer.Option(
            "--output", "-o", help="Write to a file instead: .html a page, .svg a picture, .txt, .json."
        ),
    ] = None,
    overwrite: Annotated[
        bool, typer.Option("--overwrite", help="Replace a file that exists already.")
    ] = False,
) -> None:
    """Which notes fit each chord and why, and the nearest way into the next chord."""
    from fillgen.render import notes as told
    from fillgen.render.files import write_file

    ending = Path(output).suffix.lower() if output is not None else ""
    if output is not None and ending not in {".html", ".svg", ".txt", ".json"}:
        raise OptionError(
            f"cannot tell what to write to {shorten(output)}", hint="Use .html, .svg, .txt or .json."
        )
    if output is not None and format_ is not None and _ENDINGS.get(ending) != format_.value:
        raise OptionError(f"--format {format_.value} does not go with {shorten(output)}")
    progression = fillgen.parse_chart(_chart_text(chart), key=key, metre=metre)
    if ending == ".html":
        answer = told.notes_html(progression, dorian_sixth=dorian_sixth)
    elif ending == ".svg":
        answer = told.notes_svg(progression, dorian_sixth=dorian_sixth)
    elif ending == ".json" or format_ is Format.json:
        answer = _json(told.notes_document(progression, dorian_sixth=dorian_sixth))
    else:
        answer = told.notes_text(progression, dorian_sixth=dorian_sixth)
    if output is None:
        typer.echo(answer.rstrip())
    else:
        write_file(Path(output), f"{answer.rstrip()}\n".encode(), overwrite=overwrite)
        typer.echo(f"written to {output}", err=True)


@app.command()
def sequences(
    purpose: Annotated[
        str | None, typer.Option("--for", help="Only for an intro, turnaround, ending or vamp.")
    ] = None,
    key: Annotated[
        str | None, typer.Option("--key", help="Spell the chords in this key. [default: C, A minor]")
    ] = None,
    bars: Annotated[int | None, typer.Option("--bars", help="Only of so many bars.")] = None,
    metre: Annotated[
        str | None, typer.Option("--metre", help="Only such as can be played in this metre.")
    ] = None,
    to: Annotated[
        str | None,
        typer.Option("--to", help="The tune's first chord, such as Fm7: the last chord then leads there."),
    ] = None,
    sevenths: SeventhsOption = False,
    changes: Annotated[
        str | None,
        typer.Option(
            "--changes", metavar="NAME|CHART", help="Richer chords for a sequence or chart, with reasons."
        ),
    ] = None,
    format_: FormatOption = None,
) -> None:
    """Chord sequences for intros, turnarounds, endings and vamps, in any key."""
    from fillgen.chords import read_chord
    from fillgen.parse import read_key, read_metre
    from fillgen.render.sequences import proposals_text, sequences_document, sequences_text
    from fillgen.sequences import find, spelled, to_chord, with_sevenths

    wanted = read_key(key) if key is not None else None
    if changes is not None:
        by_name = "|" not in changes
        progression = _progression(
            None if by_name else changes, changes if by_name else None, key, metre, sevenths
        )
        typer.echo(proposals_text(progression).rstrip())
        return
    found = find(
        purpose, wanted.mode if wanted else None, bars, read_metre(metre) if metre is not None else None
    )
    if not found:
        raise OptionError("no sequence is like that", hint="fillgen sequences lists them all.")
    goal = read_chord(to) if to is not None else None

    def played(stock: Stock, in_key: fillgen.Key) -> fillgen.Progression:
        shown = to_chord(stock, goal, wanted) if goal is not None else spelled(stock, in_key)
        return with_sevenths(shown) if sevenths else shown

    if goal is not None:
        found = tuple(stock for stock in found if _can_lead(stock, goal, wanted))
    if format_ is Format.json:
        typer.echo(_json(sequences_document(found, wanted, played)))
    else:
        typer.echo(sequences_text(found, wanted, played, goal).rstrip())


def _can_lead(stock: Stock, goal: Chord, key: fillgen.Key | None) -> bool:
    """Whether a sequence can lead to a chord, or close on it."""
    from fillgen.sequences import to_chord

    try:
        to_chord(stock, goal, key)
    except OptionError:
        return False
    return True


@app.command()
def tune(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="A tune in MusicXML, plain or packed (.musicxml, .mxl).")
    ],
    intro: Annotated[int, typer.Option("--intro", help="Bars of intro, 0 for none.")] = 4,
    ending: Annotated[int, typer.Option("--ending", help="Bars of ending, 0 for none.")] = 4,
    quote: Annotated[
        int, typer.Option("--quote", help="Bars from the tune's end to begin the ending with.")
    ] = 0,
    count: Annotated[int, typer.Option("--count", "-n", help="How many different versions.")] = 1,
    rhythm: RhythmOption = None,
    level: LevelOption = None,
    busy: BusyOption = None,
    tempo: Annotated[
        int | None, typer.Option("--tempo", help="Quarter notes a minute. [default: the tune's]")
    ] = None,
    seed: Annotated[int, typer.Option("--seed", help="Another number gives other ideas.")] = 0,
    chords: Annotated[
        str | None,
        typer.Option("--chords", help="A chart for the tune's bars, if the file has no chord symbols."),
    ] = None,
    parts: Annotated[str | None, typer.Option("--parts", help="Parts of a MIDI file. [default: all]")] = None,
    swing: SwingOption = None,
    feel: FeelOption = 0.0,
    close: Annotated[str, typer.Option("--close", help="held, button or fading.")] = "held",
    slow_down: SlowDownOption = False,
    count_in: Annotated[bool, typer.Option("--count-in", help="A bar of clicks first.")] = False,
    sound: SoundOption = None,
    output: Annotated[
        str | None,
        typer.Option("--output", "-o", help="Where to write: .musicxml or .mid. [default: only tell]"),
    ] = None,
    overwrite: OverwriteOption = False,
    rules: RulesOption = None,
) -> None:
    """Put an intro and an ending on a tune; every bar of the tune stays as it is."""
    from fillgen.scores import read_tune
    from fillgen.tune import TuneRequest, pieces

    written = _tune_files(output, count)
    wishes = {
        **_USUAL,
        "swing": swing,
        "feel": feel,
        "close": close,
        "slow_down": slow_down,
        "count_in": count_in,
    }
    if close == "fading":
        raise OptionError("a tune does not fade", hint="Give --close held or --close button.")
    played = _playing("right,left,bass,drums" if parts is None else parts, None, sound, rules, wishes)
    read = read_tune(file)
    request = TuneRequest(
        read,
        intro=intro,
        ending=ending,
        quote=quote,
        count=count,
        rhythm=rhythm,
        level=level,
        busy=busy,
        tempo=tempo,
        seed=seed,
        chords=_chart_text(chords) if chords is not None else None,
        pack=_pack(rules),
    )
    from fillgen.render.tunes import piece_text

    found = pieces(request)
    if len(found) < count:
        typer.echo(f"Note: there are {len(found)} versions with different chords.", err=True)
    for number, piece in enumerate(found, 1):
        typer.echo(piece_text(piece, number))
    if read.repeats:
        typer.echo("Note: in a MIDI file the repeats of the tune are not played out.", err=True)
    if written:
        _write_tunes(list(zip(written, found, strict=False)), read, played, overwrite)


def _tune_files(output: str | None, count: int) -> list[Path]:
    """The files to be written: one, or one for each version with its number before the ending."""
    if output is None:
        return []
    path = Path(output)
    if path.suffix.lower() not in _SCORES | {".mid", ".midi"}:
        raise OptionError(f"cannot tell what to write to {shorten(output)}", hint="Use .musicxml or .mid.")
    if count <= 1:
        return [path]
    return [path.with_name(f"{path.stem}-{number}{path.suffix}") for number in range(1, count + 1)]


_SCORES = {".musicxml", ".xml"}


def _write_tunes(
    versions: Sequence[tuple[Path, Piece]],
    read: Tune,
    played: tuple[Playing, dict[str, str]],
    overwrite: bool,
) -> None:
    from fillgen.render.files import write_files
    from fillgen.render.tunes import tune_midi, tune_musicxml

    playing, sounds = played
    contents = {}
    for path, piece in versions:
        is_score = path.suffix.lower() in _SCORES
        contents[path] = (
            tune_musicxml(piece, read, swing=playing.swing) if is_score else tune_midi(piece, playing, sounds)
        )
    write_files(contents, overwrite=overwrite)
    for path in contents:
        typer.echo(f"written to {path}", err=True)


@app.command()
def rules(
    name: Annotated[
        str | None, typer.Argument(metavar="[NAME]", help="A rule, level, rhythm or shape to explain.")
    ] = None,
    check: Annotated[
        Path | None, typer.Option("--check", help="Check a rule pack of your own, and say what it adds.")
    ] = None,
    rules: RulesOption = None,
) -> None:
    """List the levels, rules, rhythms and shapes, or explain one of them."""
    from fillgen.accompaniment import read_pack
    from fillgen.render.rulebook import explain, listing

    if check is not None:
        pack = read_pack(check)
        told = ", ".join(f"{len(rows)} {group}" for group, rows in pack.own.items()) or "nothing"
        typer.echo(f"{check} is a sound rule pack. It gives: {told}.")
    pack = _pack(check or rules)
    if name is not None:
        typer.echo(explain(name, pack))
    elif check is None:
        typer.echo(listing(pack))


# Input


def _chart_text(chart: str) -> str:
    """The text of a chart that is given as text, as a file name, or as - for standard input."""
    if chart == "-":
        return _decoded(sys.stdin.buffer.read(_limit() + 1), "standard input")
    if "|" in chart or "\n" in chart:
        return chart
    try:
        is_file = Path(chart).is_file()
    except (OSError, ValueError):
        is_file = False
    if is_file:
        return _file_text(Path(chart))
    if Path(chart).suffix.lower() in {
        ".txt",
        ".chart",
        ".chords",
        ".md",
        ".mid",
        ".json",
        ".xml",
        ".musicxml",
    }:
        raise OutputError(
            "no such file", place=chart[:80], hint="Give chart text or the name of a chart file."
        )
    return chart


def _file_text(path: Path) -> str:
    try:
        with path.open("rb") as file:
            return _decoded(file.read(_limit() + 1), str(path))
    except OSError as error:
        raise OutputError(f"cannot be read: {error.strerror}", place=str(path)) from error


def _decoded(content: bytes, place: str) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise OutputError(
            f"not text (byte {error.start} is not UTF-8)", place=place, hint="A chart is a plain text file."
        ) from None


def _limit() -> int:
    from fillgen.parse import MOST_TEXT

    return 4 * MOST_TEXT


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line; exit with 2 and a message of a line or two for bad input."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure: Any = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")
    try:
        given = list(arguments) if arguments is not None else None
        code = app(args=given, prog_name="fillgen", standalone_mode=False)
    except FillgenError as error:
        _fail(f"fillgen: {error}")
    except OSError as error:
        if not isinstance(error, BrokenPipeError):
            _fail(f"fillgen: cannot go on: {error.strerror or error}.")
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(141)
    except Exception as error:
        told = getattr(error, "format_message", None)
        if told is None:
            raise
        _fail(told() if "Usage:" in told() else f"fillgen: {told()}")
    else:
        sys.exit(code if isinstance(code, int) else 0)


def _fail(message: str) -> NoReturn:
    typer.echo(message, err=True)
    sys.exit(2)
