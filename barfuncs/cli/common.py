"""What all commands do: options, mistakes in words, files that are written, how the terminal is written to."""

import sys
from collections.abc import Callable
from typing import Any

import click

from barfuncs.errors import BarfuncsError, InputError

MOST_PROBLEMS = 200
"""Rows of a table of mistakes."""
MATERIALS = click.option("--materials", "materials_file", type=click.Path(exists=True, dir_okay=False),
                          help="Your own materials (CSV), added to the built-in ones.")


def fail(error: Exception) -> None:
    from barfuncs.filling.headings import HeadingError
    from barfuncs.text.characters import escaped

    text = str(error)
    if isinstance(error, OSError) and error.strerror:
        text = error.strerror + (f": {error.filename}" if error.filename else "")
    lines = [text.removeprefix("barfuncs: ")]
    if isinstance(error, HeadingError):
        lines = [f"{error.where}: these columns can't be read:", *(f"  {name}: {reason}" for name, reason in error.problems)]
    click.echo("barfuncs: " + "\n".join(map(escaped, lines)), err=True)
    sys.exit(1)


def write_file(command: str, out: str, make: Callable[[], bytes], replace: bool = False) -> None:
    """Write a new file, whole or not at all; what keeps it from being written ends the command."""
    from barfuncs.xlsx.package import write_whole

    try:
        write_whole(out, make(), replace)
    except FileExistsError as error:
        fail(InputError(command, [("--out", f"{error}; use --replace to overwrite it")]))
    except (BarfuncsError, OSError) as error:
        fail(error)


def table_of(materials_file: str | None) -> Any:
    """The materials, with those of a file of the shop's own."""
    from barfuncs.catalogue import materials

    table = materials.builtin()
    return table.extended(materials.read_materials(materials_file)) if materials_file else table


def on_terminal() -> Any:
    """What tables and sentences are printed by."""
    from rich.console import Console

    # A pipe or a file gets 80 columns, so that what is saved reads as what is seen.
    return Console(highlight=False, width=None if sys.stdout is not None and sys.stdout.isatty() else 80)
