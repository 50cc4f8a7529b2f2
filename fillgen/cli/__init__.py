"""The command line. This is the one package that knows typer; each command has a module of its own."""

from fillgen.cli import ideas, notes, rules, sequences, tune, voicings
from fillgen.cli.app import app, main

__all__ = ["app", "main"]

for _command in (
    ideas.ideas,
    notes.notes,
    voicings.voicings,
    sequences.sequences,
    tune.tune,
    rules.rules,
):
    app.command()(_command)
