"""The version of the program."""

__version__ = "0.4.0"
