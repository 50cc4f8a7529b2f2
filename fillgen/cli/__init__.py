"""The command line. This is the one package that knows typer; each command has a module of its own."""

from fillgen.cli import (
    batch,
    book,
    check,
    ideas,
    listen,
    notes,
    page,
    play,
    ports,
    practice,
    rules,
    sequences,
    sheet,
    tune,
    vary,
    voicings,
)
from fillgen.cli.app import app, main

__all__ = ["app", "main"]

for _command in (
    ideas.ideas,
    notes.notes,
    voicings.voicings,
    check.check,
    vary.vary,
    practice.practice,
    sheet.sheet,
    page.page,
    play.play,
    listen.listen,
    ports.ports,
    batch.batch,
    sequences.sequences,
    tune.tune,
    rules.rules,
):
    app.command()(_command)

app.add_typer(book.app)
