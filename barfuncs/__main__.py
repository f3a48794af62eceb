"""`python -m barfuncs` is the command line."""

from barfuncs.cli import main

main(prog_name="barfuncs")
