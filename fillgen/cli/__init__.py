"""The command line. This is the one package that knows typer; each command has a module of its own."""

from fillgen.cli import batch, check, ideas, notes, practice, rules, sequences, tune, vary, voicings
from fillgen.cli.app import app, main

__all__ = ["app", "main"]

for _command in (
    ideas.ideas,
    notes.notes,
    voicings.voicings,
    check.check,
    vary.vary,
    practice.practice,
    batch.batch,
    sequences.sequences,
    tune.tune,
    rules.rules,
):
    app.command()(_command)
