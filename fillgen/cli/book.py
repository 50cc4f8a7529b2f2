"""The commands of the idea book: `fillgen book` and its subcommands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fillgen.app.contents import BOOK, book_content, document_text, own_answer
from fillgen.app.formats import JSON, Content, Target, targets_of
from fillgen.app.memory import now, numbers_of
from fillgen.app.options import (
    LAST,
    OPTIONS,
    RULES,
    BookOptions,
    ChordOptions,
    IdeaOptions,
    Option,
    OutputOptions,
    PlayOptions,
    SheetOptions,
)
from fillgen.cli.inputs import (
    chart_text,
    file_text,
    named_chart,
    pack_of,
    progression_of,
    reading_of,
    written_chart,
)
from fillgen.cli.outputs import answer, check_printed, print_out, width_of
from fillgen.cli.outputs import note as say_note
from fillgen.cli.outputs import show as show_text
from fillgen.cli.signature import PLAYED_PLAINLY, Strict, StrictGroup, grouped
from fillgen.errors import OptionError, OutputError, many, shorten
from fillgen.hands.playing import Playing, played_as
from fillgen.rules.pack import RulePack

if TYPE_CHECKING:
    from fillgen.book.door import Book
    from fillgen.book.entries import Entry
    from fillgen.chart.progression import Progression

app = typer.Typer(
    name="book",
    help="The idea book: list and search the ideas that were shown, mark, keep, share and print them.",
    rich_markup_mode=None,
)

IDS = Option((), "Numbers of ideas, such as 12, 3,5 or 20-24.", many=True, metavar="ID...")
ID = Option((), "The number of an idea.", metavar="ID")
FILE = OPTIONS[BookOptions]["book"]
KEY = OPTIONS[ChordOptions]["key"]
METRE = OPTIONS[ChordOptions]["metre"]
SEQUENCE = OPTIONS[ChordOptions]["sequence"]
CHART = Option(("--chart",), "Over these chords, in any key: a chart or its file; or part of a title.")
OF_CHART = Option(("--chart",), "The chords of the phrase you import.")
IN_KEY = Option(("--key",), "In this key, chords and notes. [default: as they were shown]")
SHOWN_KEY = Option(("--key",), "Shown in this key.")
RHYTHM = Option(("--rhythm",), "In this rhythm.", values=OPTIONS[IdeaOptions]["rhythm"].values)
LEVEL = Option(("--level",), "Of this level.", int)
SHAPE = Option(("--shape",), "Of this shape.", values=OPTIONS[IdeaOptions]["shape"].values)
TAG = Option(("--tag",), "With this tag.")
WORDS = Option(("--words",), "With these words in the name, the note or the title.")
SINCE = Option(("--since",), "Last shown on this day or later, such as 2026-11-01.")
UNTIL = Option(("--until",), "Last shown on this day or earlier.")
AT_LEAST = Option(("--stars",), "With this many stars or more.", int)
LISTED = Option(("--count", "-n"), "How many to list.", int)
STARS = Option(
    ("--stars",), "How many, 1 to 5; 0 removes them. [default: 1; an idea that has more keeps them]", int
)
TAG_NAME = Option((), "The tag, a word or a few.", metavar="TAG")
REMOVE_TAG = Option(("--remove",), "Remove the tag.", bool)
TEXT = Option((), "The note, or - to read it from standard input; '' removes it.", metavar="TEXT")
NAME = Option((), "The name; '' removes it.", metavar="NAME")
SET_NAME = Option((), "The name of the set. Leave it out to list the sets.", metavar="NAME")
REMOVE = Option(("--remove",), "Take the ideas out of the set; without numbers, all of them.", bool)
SET = Option(("--set",), "The ideas of this set.")
ALL = Option(("--all",), "All ideas.", bool)
SOURCES = Option(
    (), "JSON of another book or of fillgen ideas; .mid, .musicxml, .abc, .txt.", many=True, metavar="FILE..."
)
OTHERS = Option((), "The other books; they aren't changed.", Path, many=True, metavar="BOOK...")

FORGET_TASTE = Option(
    ("--forget",), "Begin anew: the stars so far stay, but no longer count for your taste.", bool
)
RECALL_TASTE = Option(("--recall",), "Let all stars count again.", bool)


@app.callback(cls=StrictGroup, invoke_without_command=True)
@grouped()
def book(
    *,
    context: typer.Context,
    chart: Annotated[str | None, CHART] = None,
    sequence: Annotated[str | None, SEQUENCE] = None,
    key: Annotated[str | None, SHOWN_KEY] = None,
    rhythm: Annotated[str | None, RHYTHM] = None,
    level: Annotated[int | None, LEVEL] = None,
    shape: Annotated[str | None, SHAPE] = None,
    tag: Annotated[str | None, TAG] = None,
    words: Annotated[str | None, WORDS] = None,
    since: Annotated[str | None, SINCE] = None,
    until: Annotated[str | None, UNTIL] = None,
    stars: Annotated[int | None, AT_LEAST] = None,
    count: Annotated[int, LISTED] = 20,
    format_: Annotated[str | None, OPTIONS[OutputOptions]["format"]] = None,
    no_pager: Annotated[bool, OPTIONS[OutputOptions]["no_pager"]] = False,
    file: Annotated[Path | None, FILE] = None,
) -> None:
    """List and search the ideas you have been shown, most recent first."""
    if context.invoked_subcommand is not None:
        _refuse_before(context)
        return
    from fillgen.book.listing import list_document, list_text
    from fillgen.book.search import Wanted, read_day, search
    from fillgen.book.store import entries
    from fillgen.theory.keys import read_key

    printed = OutputOptions(format=format_, no_pager=no_pager)
    check_printed(printed)
    if count < 1:
        raise OptionError(f"the count is {count}", hint="Ask for 1 or more.")
    progression, title = _chart_or_title(chart, sequence)
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
    content = Content(
        text=lambda: list_text(found, total, width_of()),
        json=lambda: document_text(list_document(found, total)),
    )
    print_out(content, printed)
    if format_ != JSON and not total and not book.exists:
        say_note(f"there is no book yet. It will be at {book.path}.")


def _refuse_before(context: typer.Context) -> None:
    """Options that stand before another command of the book would be passed over in silence."""
    usual = {"count": 20, "no_pager": False}
    given = [name for name, value in context.params.items() if value != usual.get(name)]
    if given:
        option = {"file": "book", "format_": "format"}.get(given[0], given[0]).replace("_", "-")
        raise OptionError(
            f"--{option} stands before {context.invoked_subcommand}", hint="Put it after the command."
        )


def _chart_or_title(chart: str | None, sequence: str | None) -> tuple[Progression | None, str | None]:
    if sequence is not None:
        return progression_of(ChordOptions(chart=chart, sequence=sequence)), None
    if chart is None:
        return None, None
    text = chart_text(chart)
    if "|" not in text:
        return None, text
    with named_chart(chart):
        return progression_of(ChordOptions(chart=text)), None


def opened(file: Path | None, *, writes: bool = True) -> Book:
    """The idea book, opened to be written or only to be read."""
    from fillgen.book.door import Book
    from fillgen.book.place import book_path

    return Book(book_path(file), writes=writes)


def at_hand(file: Path | None) -> Book:
    """The idea book, opened to be changed; where there is none, none is begun for a change that must fail."""
    from fillgen.book.place import book_path

    return opened(file, writes=book_path(file).exists())


def _chosen(book: Book, numbers: Sequence[int], last: bool) -> list[int]:
    """Numbers of ideas, or the numbers of those that had these ranks when ideas were shown last."""
    from fillgen.book.store import of_last

    return of_last(book, numbers) if last else list(numbers)


def _said(what: str, numbers: Sequence[int]) -> None:
    typer.echo(f"{many(len(numbers), 'idea')} {what}")


@app.command(cls=Strict)
@grouped()
def show(
    *,
    ids: Annotated[list[str], IDS],
    last: Annotated[bool, LAST] = False,
    no_pager: Annotated[bool, OPTIONS[OutputOptions]["no_pager"]] = False,
    file: Annotated[Path | None, FILE] = None,
) -> None:
    """Show ideas in full, with their notes and tags."""
    from fillgen.book.listing import entries_text
    from fillgen.book.store import entries

    with opened(file, writes=False) as book:
        found = entries(book, _chosen(book, numbers_of(ids), last))
    show_text(entries_text(found, width=width_of()), OutputOptions(no_pager=no_pager))


@app.command(cls=Strict)
@grouped()
def star(
    *,
    ids: Annotated[list[str], IDS],
    stars: Annotated[int | None, STARS] = None,
    last: Annotated[bool, LAST] = False,
    file: Annotated[Path | None, FILE] = None,
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


@app.command(cls=Strict)
@grouped()
def tag(
    *,
    word: Annotated[str, TAG_NAME],
    ids: Annotated[list[str], IDS],
    remove: Annotated[bool, REMOVE_TAG] = False,
    last: Annotated[bool, LAST] = False,
    file: Annotated[Path | None, FILE] = None,
) -> None:
    """Put a tag on ideas, or take it off."""
    from fillgen.book import store

    with at_hand(file) as book:
        numbers = _chosen(book, numbers_of(ids), last)
        written = store.untag(book, numbers, word) if remove else store.tag(book, numbers, word)
    _said(f"{'no longer ' if remove else ''}tagged {shorten(written)}", numbers)


@app.command(cls=Strict)
@grouped()
def note(
    *,
    idea: Annotated[str, ID],
    text: Annotated[str, TEXT],
    last: Annotated[bool, LAST] = False,
    file: Annotated[Path | None, FILE] = None,
) -> None:
    """Give an idea a note, such as where it was played and how it went."""
    from fillgen.book import store

    wanted = numbers_of([idea])
    content = chart_text("-") if text == "-" else text
    with at_hand(file) as book:
        numbers = _chosen(book, wanted, last)
        store.annotate(book, numbers, content)
    _said("with the note" if content.strip() else "without a note", numbers)


@app.command(cls=Strict)
@grouped()
def rename(
    *,
    idea: Annotated[str, ID],
    name: Annotated[str, NAME],
    last: Annotated[bool, LAST] = False,
    file: Annotated[Path | None, FILE] = None,
) -> None:
    """Give an idea a name."""
    from fillgen.book import store

    with at_hand(file) as book:
        numbers = _chosen(book, numbers_of([idea]), last)
        store.rename(book, numbers, name)
    _said(f"named {shorten(name)}" if name else "without a name", numbers)


@app.command(cls=Strict)
@grouped()
def forget(
    *,
    ids: Annotated[list[str], IDS],
    last: Annotated[bool, LAST] = False,
    file: Annotated[Path | None, FILE] = None,
) -> None:
    """Delete ideas from the book. --fresh may show them again."""
    from fillgen.book import store

    with at_hand(file) as book:
        numbers = _chosen(book, numbers_of(ids), last)
        store.forget(book, numbers)
    _said("forgotten", numbers)


@app.command(name="set", cls=Strict)
@grouped(without=("audio", "soundfont", "voices", "format", "title"), defaults=PLAYED_PLAINLY)
def set_(
    *,
    name: Annotated[str | None, SET_NAME] = None,
    ids: Annotated[list[str] | None, IDS] = None,
    remove: Annotated[bool, REMOVE] = False,
    key: Annotated[str | None, IN_KEY] = None,
    output: OutputOptions,
    look: SheetOptions,
    last: Annotated[bool, LAST] = False,
    file: Annotated[Path | None, FILE] = None,
) -> None:
    """Group ideas for a lesson or a gig, and print them as one sheet."""
    _refuse_no_ranks(ids, last)
    targets = targets_of(output, BOOK, look)
    if name is None:
        if remove or key is not None or targets:
            raise OptionError("the name of a set is missing", hint="fillgen book set lists the sets.")
        _list_sets(file, output)
    elif ids or remove:
        _change_set(name, numbers_of(ids or ()), remove, last, file)
        if targets:
            _put_set(name, key, output, targets, look, file)
    else:
        _put_set(name, key, output, targets, look, file)


def _list_sets(file: Path | None, output: OutputOptions) -> None:
    from fillgen.book.store import sets

    with opened(file, writes=False) as book:
        found = sets(book)
    lines = [f"{name}: {many(count, 'idea')}" for name, count in found]
    show_text("\n".join(lines) or "No sets yet. Make one with fillgen book set NAME ID...", output)


def _refuse_no_ranks(ids: Sequence[str] | None, last: bool) -> None:
    if last and not ids:
        raise OptionError("--last needs ranks", hint="Such as --last 1,3.")


def _change_set(name: str, wanted: Sequence[int], remove: bool, last: bool, file: Path | None) -> None:
    from fillgen.book import store

    with at_hand(file) as book:
        numbers = _chosen(book, wanted, last)
        (store.take_from_set if remove else store.put_in_set)(book, name, numbers)
    which = many(len(numbers), "idea") if numbers else "all ideas"
    typer.echo(f"{which} {'taken out of' if remove else 'put into'} {shorten(name)}")


def _put_set(
    name: str,
    key: str | None,
    output: OutputOptions,
    targets: Sequence[Target],
    look: SheetOptions,
    file: Path | None,
) -> None:
    from fillgen.book.store import entries, set_members

    with opened(file, writes=False) as book:
        found = entries(book, set_members(book, name))
    _put(found, key, output, targets, replace(look, title=name))


@app.command(cls=Strict)
@grouped(without=("audio", "soundfont", "voices", "format", "title"), defaults=PLAYED_PLAINLY)
def export(
    *,
    ids: Annotated[list[str] | None, IDS] = None,
    name: Annotated[str | None, SET] = None,
    tag: Annotated[str | None, TAG] = None,
    every: Annotated[bool, ALL] = False,
    key: Annotated[str | None, IN_KEY] = None,
    output: OutputOptions,
    look: SheetOptions,
    playing: PlayOptions,
    last: Annotated[bool, LAST] = False,
    file: Annotated[Path | None, FILE] = None,
) -> None:
    """Write ideas to a file: MIDI, MusicXML, a sheet, text, or JSON for another book."""
    from fillgen.book.search import Wanted, search
    from fillgen.book.store import entries, set_members

    targets = targets_of(output, BOOK, look)
    if playing.second is not None and any(target.ending == ".json" for target in targets):
        raise OptionError("a book stores one voice only", hint="Leave --second out for a .json file.")
    if sum((bool(ids), name is not None, tag is not None, every)) != 1:
        raise OptionError("say which ideas: give numbers, --set, --tag or --all", hint="Use one of these.")
    _refuse_no_ranks(ids, last)
    played = played_as(playing, RulePack())
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
    _put(found, key, output, targets, replace(look, title=name or ""), played)


def _put(
    found: Sequence[Entry],
    key: str | None,
    output: OutputOptions,
    targets: Sequence[Target],
    look: SheetOptions,
    played: tuple[Playing, dict[str, str]] | None = None,
) -> None:
    """Print ideas of the book, or write them to files."""
    from fillgen.theory.keys import read_key

    wanted = read_key(key) if key is not None else None
    content = book_content(found, wanted, look, played or (Playing(), {}), width=width_of(targets))
    answer(content, targets, output, many(len(found), "idea"))


@app.command(name="import", cls=Strict)
@grouped()
def import_(
    *,
    sources: Annotated[list[str], SOURCES],
    chart: Annotated[str | None, OF_CHART] = None,
    sequence: Annotated[str | None, SEQUENCE] = None,
    key: Annotated[str | None, KEY] = None,
    metre: Annotated[str | None, METRE] = None,
    rhythm: Annotated[str | None, OPTIONS[IdeaOptions]["rhythm"]] = None,
    file: Annotated[Path | None, FILE] = None,
) -> None:
    """Import ideas from JSON, or your own phrases from files."""
    from fillgen.book.store import add

    entries = []
    with named_chart(chart):
        chords = written_chart(chart, sequence, key, metre)
        for source in sources:
            entries += _read(source, chords, key, metre, rhythm)
    with opened(file) as book:
        numbers, new = add(book, entries)
    _tell_taken(len(numbers), new)
    if len(numbers) == 1:
        typer.echo(f"It is idea {numbers[0]}.")


def _tell_taken(count: int, new: int) -> None:
    known = count - new
    also = f", {many(known, 'idea')} already in the book" if known else ""
    typer.echo(f"{many(new, 'new idea')}{also}")


def _read(
    source: str, chart: str | None, key: str | None, metre: str | None, rhythm: str | None
) -> list[Entry]:
    """The ideas of a file: JSON, or a phrase over the chart given."""
    from fillgen.book.exchange import from_json, from_phrase

    path = Path(source)
    if path.suffix.lower() == ".json":
        return from_json(file_text(path, most=_most_bytes()), source, now())
    _refuse_other(path, source)
    chords = ChordOptions(chart=chart, key=key, metre=metre)
    reading = reading_of(chords, source)
    for remark in reading.remarks:
        say_note(remark)
    return [from_phrase(own_answer(reading, RulePack(), rhythm=rhythm), now())]


_PHRASES = (".mid", ".midi", ".musicxml", ".xml", ".mxl", ".abc", ".txt", ".phrase", "")


def _refuse_other(path: Path, source: str) -> None:
    """OutputError for a file that is neither a phrase nor ideas, by its name or its first bytes."""
    from fillgen.book.exchange import is_book

    ending = path.suffix.lower()
    if ending in _PHRASES[:-1]:
        return
    if is_book(path):
        raise OutputError("is an idea book", place=source, hint=f"Merge it: fillgen book merge {source}.")
    if ending not in _PHRASES:
        raise OutputError(
            "is a PDF; fillgen can't read phrases from one"
            if ending == ".pdf"
            else "isn't a phrase file, going by its name",
            place=source,
            hint="fillgen takes .json of a book or of fillgen ideas, and phrases in .mid, .musicxml, .mxl, .abc and .txt.",
        )


def _most_bytes() -> int:
    from fillgen.book.exchange import MOST_BYTES

    return MOST_BYTES


@app.command(cls=Strict)
@grouped()
def merge(
    *,
    others: Annotated[list[Path], OTHERS],
    file: Annotated[Path | None, FILE] = None,
) -> None:
    """Merge other books into this one. Nothing is lost, and the others aren't changed."""
    from fillgen.book.exchange import merge as merged

    with opened(file) as book, book.writing():
        taken = [merged(book, other) for other in others]
    _tell_taken(sum(count for count, _ in taken), sum(new for _, new in taken))


@app.command(cls=Strict)
@grouped()
def check(*, file: Annotated[Path | None, FILE] = None) -> None:
    """Check that the book is intact, and say where it is."""
    from fillgen.book import store
    from fillgen.book.place import book_path

    path = book_path(file)
    with opened(file, writes=False) as book:
        count = store.check(book)
    typer.echo(
        f"{path}: whole and readable, {many(count, 'idea')}" if path.exists() else f"{path}: no book yet"
    )


@app.command(cls=Strict)
@grouped()
def taste(
    *,
    forget: Annotated[bool, FORGET_TASTE] = False,
    recall: Annotated[bool, RECALL_TASTE] = False,
    format_: Annotated[str | None, OPTIONS[OutputOptions]["format"]] = None,
    no_pager: Annotated[bool, OPTIONS[OutputOptions]["no_pager"]] = False,
    file: Annotated[Path | None, FILE] = None,
    rules: Annotated[Path | None, RULES] = None,
) -> None:
    """Show what your stars say you like: how starred ideas differ from those shown beside them.

    ideas --taste and vary --taste rank by it. It is worked out from the stars each time; nothing leaves this machine.
    """
    from fillgen.app.taste import taste_of
    from fillgen.writers.tastes import taste_document, taste_text

    printed = OutputOptions(format=format_, no_pager=no_pager)
    check_printed(printed)
    if forget and recall:
        raise OptionError("use --forget or --recall, not both")
    if forget or recall:
        if format_ is not None:
            raise OptionError(f"--{'forget' if forget else 'recall'} can't be used with --format")
        _change_taste(file, forget=forget)
        return
    pack = pack_of(rules)
    found, aside = taste_of(file, pack)
    content = Content(
        text=lambda: taste_text(found, aside, pack, width_of()),
        json=lambda: document_text(taste_document(found, aside)),
    )
    print_out(content, printed)


def _change_taste(file: Path | None, *, forget: bool) -> None:
    """Leave the stars so far out of your taste, or count them all again."""
    from fillgen.book.taste import set_aside, take_back

    with at_hand(file) as book:
        count = set_aside(book) if forget else take_back(book)
    stars = f"The stars of {many(count, 'idea')}"
    if forget:
        typer.echo(
            f"{stars} no longer count for your taste. They stay in the book; --recall counts them again."
        )
    else:
        typer.echo(f"{stars} count again.")
