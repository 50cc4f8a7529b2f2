"""The commands of the idea book: `fillgen book` and what stands behind it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fillgen.cli.inputs import chart_text, file_text, now, progression_of, reading_of
from fillgen.cli.options import BookOption, Format, FormatOption, KeyOption, MetreOption, OverwriteOption
from fillgen.cli.outputs import JSON, MIDI, TEXT, is_folder, json_text, put_out, target_of, width_of
from fillgen.errors import OptionError, OutputError, many, shorten

if TYPE_CHECKING:
    from fillgen.book.door import Book
    from fillgen.book.entries import Entry
    from fillgen.chart.progression import Progression
    from fillgen.theory.pitch import Key

app = typer.Typer(
    name="book",
    help="The idea book: list and search the ideas that were shown, mark, keep, share and print them.",
    rich_markup_mode=None,
)

SHEET = "sheet"
_ENDINGS = {
    ".mid": MIDI,
    ".midi": MIDI,
    ".txt": TEXT,
    ".json": JSON,
    ".svg": SHEET,
    ".pdf": SHEET,
    ".html": SHEET,
    ".musicxml": SHEET,
    ".mei": SHEET,
    "/": MIDI,
}
_MOST_NUMBERS = 100_000
_DIGITS = 18
"""Numbers of ideas have no more digits, so that they fit the file."""

Numbers = Annotated[
    list[str], typer.Argument(metavar="ID...", help="Numbers of ideas, such as 12, 3,5 or 20-24.")
]
OneNumber = Annotated[str, typer.Argument(metavar="ID", help="The number of an idea.")]
LastOption = Annotated[
    bool, typer.Option("--last", help="The numbers are ranks of the ideas that were shown last.")
]
OptionalNumbers = Annotated[
    list[str] | None, typer.Argument(metavar="[ID...]", help="Numbers of ideas, such as 12, 3,5 or 20-24.")
]


@app.callback(invoke_without_command=True)
def book(
    context: typer.Context,
    chart: Annotated[
        str | None,
        typer.Option(
            "--chart", help="Over these chords, in any key: a chart or its file; or part of a title."
        ),
    ] = None,
    key: Annotated[str | None, typer.Option("--key", help="Shown in this key.")] = None,
    rhythm: Annotated[str | None, typer.Option("--rhythm", help="In this rhythm.")] = None,
    level: Annotated[int | None, typer.Option("--level", help="Of this level.")] = None,
    shape: Annotated[str | None, typer.Option("--shape", help="Of this shape.")] = None,
    tag: Annotated[str | None, typer.Option("--tag", help="With this tag.")] = None,
    words: Annotated[
        str | None, typer.Option("--words", help="With these words in the name, the note or the title.")
    ] = None,
    since: Annotated[
        str | None, typer.Option("--since", help="Last shown on this day or later, such as 2026-11-01.")
    ] = None,
    until: Annotated[str | None, typer.Option("--until", help="Last shown on this day or earlier.")] = None,
    stars: Annotated[int | None, typer.Option("--stars", help="With so many stars or more.")] = None,
    count: Annotated[int, typer.Option("--count", "-n", help="How many are listed.")] = 20,
    format_: FormatOption = None,
    file: BookOption = None,
) -> None:
    """List and search the ideas that were shown, those last shown first."""
    if context.invoked_subcommand is not None:
        _refuse_before(context)
        return
    from fillgen.book.search import Wanted, read_day, search
    from fillgen.book.store import entries
    from fillgen.book.telling import list_document, list_text
    from fillgen.theory.keys import read_key

    if count < 1:
        raise OptionError(f"the count is {count}", hint="Ask for 1 or more.")
    progression, title = _chart_or_title(chart)
    wanted = Wanted(
        progression=progression,
        title=title,
        key=str(read_key(key)) if key is not None else None,
        rhythm=rhythm,
        level=level,
        shape=shape,
        tag=tag,
        words=words,
        since=read_day(since, "--since") if since is not None else None,
        until=read_day(until, "--until") if until is not None else None,
        stars=stars,
    )
    with opened(file, writes=False) as book:
        numbers, total = search(book, wanted, count)
        found = entries(book, numbers)
    if format_ == Format.json:
        typer.echo(json_text(list_document(found, total)))
    else:
        typer.echo(list_text(found, total, width_of()).rstrip())
        if not total and not book.exists:
            typer.echo(f"Note: there is no book yet; it would be {book.path}.", err=True)


def _refuse_before(context: typer.Context) -> None:
    """Options that stand before another command of the book would be passed over in silence."""
    usual = {"count": 20}
    given = [name for name, value in context.params.items() if value != usual.get(name)]
    if given:
        option = {"file": "book", "format_": "format"}.get(given[0], given[0])
        raise OptionError(
            f"--{option} stands before {context.invoked_subcommand}", hint="Write it at the end."
        )


def _chart_or_title(chart: str | None) -> tuple[Progression | None, str | None]:
    if chart is None:
        return None, None
    text = chart_text(chart)
    if "|" not in text:
        return None, text
    return progression_of(chart, None, None, None, False), None


def opened(file: Path | None, *, writes: bool = True) -> Book:
    """The idea book, opened to be written or only to be read."""
    from fillgen.book.door import Book
    from fillgen.book.place import book_path

    return Book(book_path(file), writes=writes)


def at_hand(file: Path | None) -> Book:
    """The idea book, opened to be changed; where there is none, none is begun for a change that must fail."""
    from fillgen.book.place import book_path

    return opened(file, writes=book_path(file).exists())


def numbers_of(texts: Sequence[str]) -> list[int]:
    """Numbers of ideas, given singly, with commas or as a first and a last one; OptionError where they are none."""
    found: list[int] = []
    for word in [word.strip() for text in texts for word in text.split(",")]:
        first, dash, last = word.partition("-")
        ends = [first, last if dash else first]
        if not all(end.isascii() and end.isdecimal() and len(end) <= _DIGITS for end in ends):
            hint = "Numbers of ideas are given like 12, 3,5 or 20-24."
            raise OptionError(f"{shorten(word)} is no number of an idea", hint=hint)
        low, high = map(int, ends)
        if high < low or high - low >= _MOST_NUMBERS:
            raise OptionError(f"{shorten(word)} names no ideas", hint="The first number is the lower one.")
        found += range(low, high + 1)
    return list(dict.fromkeys(found))


def _chosen(book: Book, numbers: Sequence[int], last: bool) -> list[int]:
    """Numbers of ideas, or the numbers of those that had these ranks when ideas were shown last."""
    from fillgen.book.store import of_last

    return of_last(book, numbers) if last else list(numbers)


def _said(what: str, numbers: Sequence[int]) -> None:
    typer.echo(f"{many(len(numbers), 'idea')} {what}")


@app.command()
def show(ids: Numbers, last: LastOption = False, file: BookOption = None) -> None:
    """Show ideas in full, with what was noted."""
    from fillgen.book.store import entries
    from fillgen.book.telling import entries_text

    with opened(file, writes=False) as book:
        found = entries(book, _chosen(book, numbers_of(ids), last))
    typer.echo(entries_text(found, width=width_of()).rstrip())


@app.command()
def star(
    ids: Numbers,
    stars: Annotated[
        int | None,
        typer.Option(
            "--stars", help="How many, 1 to 5; 0 takes them away. [default: 1, or as many more as it has]"
        ),
    ] = None,
    last: LastOption = False,
    file: BookOption = None,
) -> None:
    """Give ideas stars."""
    from fillgen.book import store

    with at_hand(file) as book:
        numbers = _chosen(book, numbers_of(ids), last)
        if stars is None:
            store.star_at_least(book, numbers)
        else:
            store.star(book, numbers, stars)
        found = {entry.id: entry.stars for entry in store.entries(book, numbers)}
    for each in sorted(set(found.values()), reverse=True):
        some = [number for number, own in found.items() if own == each]
        have = "Idea {} has" if len(some) == 1 else "Ideas {} have"
        typer.echo(f"{have.format(store.runs(some))} {many(each, 'star')}.")


@app.command()
def tag(
    word: Annotated[str, typer.Argument(metavar="TAG", help="A word or a few.")],
    ids: Numbers,
    remove: Annotated[bool, typer.Option("--remove", help="Take the tag off.")] = False,
    last: LastOption = False,
    file: BookOption = None,
) -> None:
    """Put a tag on ideas, or take it off."""
    from fillgen.book import store

    with at_hand(file) as book:
        numbers = _chosen(book, numbers_of(ids), last)
        told = store.untag(book, numbers, word) if remove else store.tag(book, numbers, word)
    _said(f"{'no longer ' if remove else ''}tagged {shorten(told)}", numbers)


@app.command()
def note(
    idea: OneNumber,
    text: Annotated[str, typer.Argument(metavar="TEXT", help="The note, or - to read it; '' takes it away.")],
    last: LastOption = False,
    file: BookOption = None,
) -> None:
    """Give an idea a note, such as where it was played and how it went."""
    from fillgen.book import store

    wanted = numbers_of([idea])
    told = chart_text("-") if text == "-" else text
    with at_hand(file) as book:
        numbers = _chosen(book, wanted, last)
        store.annotate(book, numbers, told)
    _said("with the note" if told.strip() else "without a note", numbers)


@app.command()
def rename(
    idea: OneNumber,
    name: Annotated[str, typer.Argument(metavar="NAME", help="The name; '' takes it away.")],
    last: LastOption = False,
    file: BookOption = None,
) -> None:
    """Give an idea a name."""
    from fillgen.book import store

    with at_hand(file) as book:
        numbers = _chosen(book, numbers_of([idea]), last)
        store.rename(book, numbers, name)
    _said(f"named {shorten(name)}" if name else "without a name", numbers)


@app.command()
def forget(ids: Numbers, last: LastOption = False, file: BookOption = None) -> None:
    """Take ideas out of the book, for good; --fresh may show them again."""
    from fillgen.book import store

    with at_hand(file) as book:
        numbers = _chosen(book, numbers_of(ids), last)
        store.forget(book, numbers)
    _said("forgotten", numbers)


@app.command(name="set")
def set_(
    name: Annotated[
        str | None, typer.Argument(metavar="[NAME]", help="The set. Left out, the sets are listed.")
    ] = None,
    ids: OptionalNumbers = None,
    remove: Annotated[
        bool, typer.Option("--remove", help="Take the ideas out of the set; without numbers all of them.")
    ] = False,
    key: KeyOption = None,
    output: Annotated[
        str | None,
        typer.Option(
            "--output", "-o", help="Write the set as one sheet: .svg .pdf .html .musicxml .mei .txt .json."
        ),
    ] = None,
    overwrite: OverwriteOption = False,
    last: LastOption = False,
    file: BookOption = None,
) -> None:
    """Group ideas for a lesson or a gig, and print them as one sheet."""
    _refuse_no_ranks(ids, last)
    if name is None:
        _list_sets(file)
    elif ids or remove:
        _change_set(name, numbers_of(ids or ()), remove, last, file)
        if output is not None:
            _put_set(name, key, output, overwrite, file)
    else:
        _put_set(name, key, output, overwrite, file)


def _list_sets(file: Path | None) -> None:
    from fillgen.book.store import sets

    with opened(file, writes=False) as book:
        found = sets(book)
    lines = [f"{name}: {many(count, 'idea')}" for name, count in found]
    typer.echo("\n".join(lines) or "There is no set yet. fillgen book set NAME ID... makes one.")


def _refuse_no_ranks(ids: Sequence[str] | None, last: bool) -> None:
    if last and not ids:
        raise OptionError("--last needs the ranks of ideas", hint="Such as --last 1,3.")


def _change_set(name: str, wanted: Sequence[int], remove: bool, last: bool, file: Path | None) -> None:
    from fillgen.book import store

    with at_hand(file) as book:
        numbers = _chosen(book, wanted, last)
        (store.take_from_set if remove else store.put_in_set)(book, name, numbers)
    told = many(len(numbers), "idea") if numbers else "all ideas"
    typer.echo(f"{told} {'taken out of' if remove else 'put into'} {shorten(name)}")


def _put_set(name: str, key: str | None, output: str | None, overwrite: bool, file: Path | None) -> None:
    from fillgen.book.store import entries, set_members

    with opened(file, writes=False) as book:
        found = entries(book, set_members(book, name))
    _put(found, key, output, overwrite, name)


@app.command()
def export(
    ids: OptionalNumbers = None,
    name: Annotated[str | None, typer.Option("--set", help="The ideas of this set.")] = None,
    tag: Annotated[str | None, typer.Option("--tag", help="The ideas with this tag.")] = None,
    every: Annotated[bool, typer.Option("--all", help="All ideas.")] = False,
    key: Annotated[
        str | None, typer.Option("--key", help="In this key, chords and notes. [default: as they were shown]")
    ] = None,
    output: Annotated[
        str | None,
        typer.Option(
            "--output",
            "-o",
            help="Where to: .mid, .musicxml, .svg, .pdf, .html, .mei, .txt, or .json, which another book takes in; "
            "FOLDER/ for one MIDI file an idea.",
        ),
    ] = None,
    overwrite: OverwriteOption = False,
    last: LastOption = False,
    file: BookOption = None,
) -> None:
    """Write ideas to a file: MIDI, MusicXML, a sheet, text, or JSON for another book."""
    from fillgen.book.search import Wanted, search
    from fillgen.book.store import entries, set_members

    if sum((bool(ids), name is not None, tag is not None, every)) != 1:
        raise OptionError("say which ideas: give numbers, --set, --tag or --all", hint="One of them.")
    _refuse_no_ranks(ids, last)
    with opened(file, writes=False) as book:
        if name is not None:
            numbers = set_members(book, name)
        elif ids:
            numbers = _chosen(book, numbers_of(ids), last)
        else:
            numbers = sorted(search(book, Wanted(tag=tag))[0])
        found = entries(book, numbers)
    if not found:
        raise OptionError("the book is empty", hint="fillgen ideas fills it.")
    _put(found, key, output, overwrite, name or "")


def _put(found: Sequence[Entry], key: str | None, output: str | None, overwrite: bool, title: str) -> None:
    """Print ideas of the book, or write them to a file."""
    from fillgen.book.telling import entries_text
    from fillgen.theory.keys import read_key

    wanted = read_key(key) if key is not None else None
    target = target_of(output, None, _ENDINGS)
    if target == JSON:
        from fillgen.book.exchange import in_other_key, to_json

        put_out(to_json([in_other_key(entry, wanted) for entry in found]), output, overwrite)
    elif target == TEXT or output is None:
        put_out(entries_text(found, wanted, width_of()), output, overwrite)
    elif target == SHEET:
        _write_sheet(found, wanted, Path(output), overwrite, title)
    else:
        _write_midi(found, wanted, output, overwrite)


def _write_sheet(found: Sequence[Entry], key: Key | None, output: Path, overwrite: bool, title: str) -> None:
    from fillgen.book.telling import sheet_entries
    from fillgen.writers.entry import Settings
    from fillgen.writers.sheet import write

    write(output, sheet_entries(found, key), Settings(title=title), overwrite=overwrite)
    typer.echo(f"{many(len(found), 'idea')} in {output}", err=True)


def _write_midi(found: Sequence[Entry], key: Key | None, output: str, overwrite: bool) -> None:
    from fillgen.book.telling import one_ground, singly
    from fillgen.writers.files import write_file, write_folder
    from fillgen.writers.midi import to_midi

    if is_folder(output):
        files = {f"idea-{entry.id}.mid": to_midi(ideas) for entry, ideas in singly(found, key)}
        write_folder(Path(output), files, overwrite=overwrite)
    else:
        write_file(Path(output), to_midi(one_ground(found, key)), overwrite=overwrite)
    typer.echo(f"{many(len(found), 'idea')} in {output}", err=True)


@app.command(name="import")
def import_(
    sources: Annotated[
        list[str],
        typer.Argument(
            metavar="FILE...", help="JSON of another book or of fillgen ideas; .mid, .musicxml, .abc, .txt."
        ),
    ],
    chart: Annotated[
        str | None, typer.Option("--chart", help="The chords of a phrase that is brought in.")
    ] = None,
    key: KeyOption = None,
    metre: MetreOption = None,
    rhythm: Annotated[str | None, typer.Option("--rhythm", help="The rhythm of a phrase.")] = None,
    file: BookOption = None,
) -> None:
    """Take in ideas from JSON, or phrases of your own from files."""
    from fillgen.book.store import add

    entries = []
    for source in sources:
        entries += _read(source, chart, key, metre, rhythm)
    with opened(file) as book:
        numbers, new = add(book, entries)
    _tell_taken(len(numbers), new)
    if len(numbers) == 1:
        typer.echo(f"It is idea {numbers[0]}.")


def _tell_taken(count: int, new: int) -> None:
    known = count - new
    told = f", {many(known, 'idea')} known already" if known else ""
    typer.echo(f"{many(new, 'new idea')}{told}")


def _read(
    source: str, chart: str | None, key: str | None, metre: str | None, rhythm: str | None
) -> list[Entry]:
    """The ideas of a file: JSON, or a phrase over the chart given."""
    from fillgen.book.exchange import from_json, from_phrase
    from fillgen.teaching.practice import own_ideas

    path = Path(source)
    if path.suffix.lower() == ".json":
        return from_json(file_text(path, most=_most_bytes()), source, now())
    _refuse_other(path, source)
    reading = reading_of(_chart_in(path) if chart is None else chart, source, key, metre, None)
    for remark in reading.remarks:
        typer.echo(f"Note: {remark}", err=True)
    found = own_ideas(reading.progression, reading.notes, rhythm=rhythm, tempo=reading.tempo)
    return [from_phrase(found, now())]


_SCORES = (".musicxml", ".xml", ".mxl")
_PHRASES = (".mid", ".midi", *_SCORES, ".abc", ".txt", ".phrase", "")


def _refuse_other(path: Path, source: str) -> None:
    """OutputError for a file that is neither a phrase nor ideas, by its name or its first bytes."""
    from fillgen.book.exchange import is_book

    ending = path.suffix.lower()
    if ending in _PHRASES[:-1]:
        return
    if is_book(path):
        raise OutputError("is an idea book", place=source, hint=f"Join it: fillgen book merge {source}.")
    if ending not in _PHRASES:
        raise OutputError(
            "is a PDF, and no phrase can be read from it"
            if ending == ".pdf"
            else "is no phrase, by its name",
            place=source,
            hint="Taken are .json of a book or of fillgen ideas, and phrases in .mid, .musicxml, .mxl, .abc and .txt.",
        )


def _chart_in(path: Path) -> str:
    """The chart that a score's chord symbols make; OptionError for a file that has none."""
    missing = "the chords of the phrase are missing"
    hint = 'Give them with --chart "| C | G7 |".'
    if path.suffix.lower() not in _SCORES:
        raise OptionError(missing, hint=hint)
    from fillgen.chart.text import chart_text as told
    from fillgen.readers.musicxml import read_tune
    from fillgen.tune import body_of

    tune = read_tune(path)
    if not any(chord.root is not None for _, chord in tune.chords):
        raise OptionError(f"{missing}: the score has no chord symbols", hint=hint)
    return told(body_of(tune))


def _most_bytes() -> int:
    from fillgen.book.exchange import MOST_BYTES

    return MOST_BYTES


@app.command()
def merge(
    others: Annotated[
        list[Path], typer.Argument(metavar="BOOK...", help="Books of others; they stay as they are.")
    ],
    file: BookOption = None,
) -> None:
    """Join other books into this one: both are kept, and nothing is lost."""
    from fillgen.book.exchange import merge as merged

    with opened(file) as book, book.writing():
        taken = [merged(book, other) for other in others]
    _tell_taken(sum(count for count, _ in taken), sum(new for _, new in taken))


@app.command()
def check(file: BookOption = None) -> None:
    """Read the whole book, and say whether it is sound and where it lies."""
    from fillgen.book import store
    from fillgen.book.place import book_path

    path = book_path(file)
    with opened(file, writes=False) as book:
        count = store.check(book)
    typer.echo(f"{path}: sound, {many(count, 'idea')}" if path.exists() else f"{path}: there is no book yet")
