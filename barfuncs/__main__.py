"""`python -m barfuncs` is the command line."""

from barfuncs.cli.main import main

main(prog_name="barfuncs")
