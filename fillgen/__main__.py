"""`python -m fillgen` is the command line."""

from fillgen.cli import main

main()
