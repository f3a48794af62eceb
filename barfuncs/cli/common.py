"""What all commands do: options, mistakes in words, files that are written, how the terminal is written to."""

import sys
from collections.abc import Callable, Sequence
from typing import Any

import click

from barfuncs.errors import BarfuncsError, InputError

MOST_PROBLEMS = 200
"""Rows of a table of mistakes."""
CAUTION = "The machine's manual, the shop's rules and local codes come before any value shown here."
UNITS = click.option("--units", type=click.Choice(["in", "mm"]), help="What bare numbers are in.")
REPLACE = click.option("--replace", is_flag=True, help="Overwrite files that exist.")
COMMA = click.option("--decimal-comma", is_flag=True, help="Read 12,5 as twelve and a half.")
SHOP = click.option("--shop", "shop_file", type=click.Path(exists=True, dir_okay=False),
                    help="Your shop file: machines, prices, rates.")
MATERIALS = click.option("--materials", "materials_file", type=click.Path(exists=True, dir_okay=False),
                          help="Your own materials (CSV), added to the built-in ones.")


class NewPath(click.Path):
    """A path to write to, which must not be blank."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        if not str(value).strip():
            self.fail("a name is needed, a blank one was given", param, ctx)
        return super().convert(value, param, ctx)


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


def show_problems(problems: Sequence[Any], with_file: bool = False) -> None:
    """Mistakes as a table: where, what stands there, what is wrong. Each has row (0 for none), column, value and reason, and file."""
    from rich.table import Table
    from rich.text import Text

    from barfuncs.text.characters import escaped

    console = on_terminal()
    table = Table(box=None, header_style="bold", pad_edge=False)
    if with_file:
        table.add_column("File", overflow="fold", max_width=16)
    for head in ("Row", "Column", "Value", "What is wrong"):
        table.add_column(head, justify="right" if head == "Row" else "left", overflow="fold",
                         max_width={"Value": 14, "Column": 16}.get(head))
    for p in problems[:MOST_PROBLEMS]:
        table.add_row(*([Text(escaped(p.file))] if with_file else []), str(p.row) if p.row else "",
                      *(Text(escaped(said)) for said in (p.column, p.value, p.reason)))
    console.print(table)
    if len(problems) > MOST_PROBLEMS:
        console.print(f"... and {len(problems) - MOST_PROBLEMS} more")


def shop_of(path: str | None) -> Any:
    """The shop file, where one is given."""
    from barfuncs.templates.shop import read_shop

    return read_shop(path) if path else None


def on_terminal() -> Any:
    """What tables and sentences are printed by."""
    from rich.console import Console

    # A pipe or a file gets 80 columns, so that what is saved reads as what is seen.
    return Console(highlight=False, width=None if sys.stdout is not None and sys.stdout.isatty() else 80)
