"""The command line. This is the one package that knows typer; each command has a module of its own."""

from fillgen.cli.app import main, program

__all__ = ["main", "program"]
