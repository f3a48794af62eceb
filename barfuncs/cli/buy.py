"""What to take from the rack, what to buy and how to saw it for a list of jobs."""

import contextlib
import datetime
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import click

from barfuncs.cli.common import (
    CAUTION,
    COMMA,
    MATERIALS,
    REPLACE,
    SHOP,
    UNITS,
    NewPath,
    fail,
    on_terminal,
    shop_of,
    show_problems,
    write_file,
)
from barfuncs.errors import BarfuncsError, InputError

_MOST_SHOWN = 40
_WIDEST = 30


@click.command(short_help="Which bars to take, buy and saw for many jobs.")
@click.argument("jobs", type=click.Path(exists=True, dir_okay=False))
@SHOP
@click.option("--rack", type=click.Path(exists=True, dir_okay=False), help="The bars there are: rack.csv of 'barfuncs rack', or a list such as rack.xlsx.")
@click.option("--out", required=True, type=NewPath(dir_okay=False), help="The workbook to write, .xlsx.")
@click.option("--kerf", help="What a saw cut takes; that of the shop file unless given.")
@click.option("--seconds", type=click.FloatRange(0.5, 3600), default=10, show_default=True, help="How long it may be looked for a better plan.")
@click.option("--order-date", help="The day of the order, as 2027-03-31; today unless given.")
@UNITS
@MATERIALS
@COMMA
@REPLACE
def buy(jobs: str, shop_file: str | None, rack: str | None, out: str, kerf: str | None, seconds: float, order_date: str | None, units: str | None,
        materials_file: str | None, decimal_comma: bool, replace: bool) -> None:
    """Which bars to take, buy and saw for many jobs.

    JOBS is a list as 'barfuncs plan' reads it, one row a job, without bar
    lengths: the blanks are chosen, each of whole parts and within what the
    feeder takes. Jobs share bars of the same material, shape, size, finish and
    tolerance class. The plan is that of least money found in the time, and how
    much less money could do at most is said.

    \b
    Besides the columns of a plan there may be:
      Finish, Tolerance class    of the bar that the job needs
      Certificate                none, 2.1, 2.2, 3.1 or 3.2 of EN 10204
      Mixed heats allowed        yes or no; no unless said
      Larger size allowed up to  a larger bar may be taken
      Bars needed by             a day, as 2027-03-31
      Shortest bar the feeder takes
      Piece length               pieces sawn to a length, instead of parts

    What can be bought says the sheet Supplied bars of the shop file; where it
    has no row for a bar, the supplied length and material price of the job's
    row, or of the sheet Materials and prices. Kerf, freight, charge per cut and
    the lines under Buying are those of its sheet Rates and charges.

    --out gets the order, the saw's pages, each job's blanks and the rack before
    and after. Nothing is written where a row has a mistake.
    """
    try:
        from barfuncs.buying.from_files import HINT, NOT_THERE, FilesError, read_files
        from barfuncs.buying.workbook import buy_list
    except ModuleNotFoundError as error:
        if error.name not in ("highspy", "numpy"):
            raise
        fail(InputError("buy", [("highspy", 'is not installed: pip install "barfuncs[buying]"')]))
    from barfuncs.catalogue import materials
    from barfuncs.filling.stopping import Stopping
    from barfuncs.rack.bars import read_date

    with Stopping() as stopping:
        try:
            _check_out(out, replace, [path for path in (jobs, shop_file, rack, materials_file) if path])
            day = datetime.date.today()
            if order_date is not None:
                try:
                    day = read_date(order_date)
                except BarfuncsError as error:
                    raise InputError("buy", [("--order-date", str(error))]) from None
            if materials_file:
                materials.use_materials(materials_file)
            shop = shop_of(shop_file)
            files = read_files(jobs, shop, rack, units=units, decimal_comma=decimal_comma, kerf=kerf, seconds=seconds, order_date=day)
            with _waiting(f"Choosing bars for {len(files.demands)} jobs, up to {seconds:g} s") as found:
                plan = files.plan(found)
            head = shop.letterhead if shop else None
            data = _pages(buy_list, plan, files.demands, files.offers, files.rack, files.terms, currency=(shop.rates.currency if shop else None) or "",
                            buyer=(head.seller if head else None) or "", deliver_to=(head.seller_address if head else None) or "", today=day)
            with stopping.held():
                write_file("buy", out, lambda: data, replace)
        except KeyboardInterrupt:
            click.echo("barfuncs: interrupted; nothing is written", err=True)
            sys.exit(128 + (stopping.signal or 2))
        except FilesError as error:
            rows = len({(p.file, p.row) for p in error.problems if p.row})
            show_problems(error.problems, with_file=len({p.file for p in error.problems}) > 1)
            if any(NOT_THERE in p.reason for p in error.problems):
                on_terminal().print(HINT)
            where = ", ".join(dict.fromkeys(p.file for p in error.problems))
            which = f"{where}: {rows} row{' has' if rows == 1 else 's have'} problems; " if rows else ""
            click.echo(f"barfuncs: {which}nothing is planned or written", err=True)
            sys.exit(1)
        except (BarfuncsError, OSError) as error:
            fail(error)
    _show(files, plan, out)


def _pages(buy_list: Callable[..., bytes], *records: Any, **said: Any) -> bytes:
    """The workbook; where it does not hold the plan, also what to do."""
    try:
        return buy_list(*records, **said)
    except BarfuncsError as error:
        raise BarfuncsError(f"{error}; split the list, or give it more --seconds") from None


def _check_out(out: str, replace: bool, inputs: Sequence[str]) -> None:
    """What is known before anything is planned: nobody waits for a plan that can't be written."""
    path = Path(out)
    if path.suffix.lower() != ".xlsx":
        raise InputError("buy", [("--out", f"{out} given; the workbook is an .xlsx file")])
    if path.resolve() in {Path(name).resolve() for name in inputs}:
        raise InputError("buy", [("--out", f"{out} is read here too; choose another name")])
    if path.exists() and not replace:
        raise InputError("buy", [("--out", f"{out} exists already; use --replace to overwrite it")])
    if not path.parent.is_dir():
        raise InputError("buy", [("--out", f"there is no folder {path.parent}")])


@contextlib.contextmanager
def _waiting(text: str) -> Iterator[Callable[[Any], None]]:
    """On a terminal what is waited for, and the best plan so far; elsewhere nothing."""
    from rich.console import Console

    console = Console(stderr=True)
    if not console.is_terminal:
        yield lambda plan: None
        return
    with console.status(text) as status:
        yield lambda plan: status.update(f"{text}; the best so far costs {plan.cost:,.2f}")


# --- what came of it -----------------------------------------------------------------------------------------------


def _show(files: Any, plan: Any, out: str) -> None:
    """The plan on the terminal: order, rack, what comes back, money, and what is to be looked at."""
    from rich.text import Text

    from barfuncs.text.characters import escaped

    console = on_terminal()
    for note in files.needs.notes:
        console.print(Text(escaped(f"Row {note.row} of {note.file}: {note.reason}: {note.value}")))
    for text in files.notes:
        console.print(Text(escaped(text)))
    if files.needs.notes or files.notes:
        console.print()
    terms = files.terms
    weight_unit = "kg" if terms.units == "mm" else "lb"
    if plan.lines:
        _show_table(f"To buy ({len(plan.lines)} line{'' if len(plan.lines) == 1 else 's'})",
                    ("What", "Bars", f"Each ({terms.units})", f"Weight ({weight_unit})", "Money", "Supplier"), [
            (_described(files.offers[line.offer].stock), f"{line.bars:,}", _length(files.offers[line.offer].length), f"{line.weight:,.1f}",
             f"{line.money:,.2f}", files.offers[line.offer].supplier) for line in plan.lines], "lrrrrl")
    else:
        console.print("Nothing is to be bought: the rack has it.\n")
    taken = [row for row in plan.sawing if row.rack is not None]
    if taken:
        _show_table("From the rack", ("Bar", "What", "Bars", f"Each ({terms.units})", "For"), [
            (files.rack[n].id, _described(files.rack[n].stock), f"{bars:,}", _length(files.rack[n].length), ", ".join(jobs))
            for n, bars, jobs in _of_rack(taken, files.demands)], "llrrl")
    back = _back(files, plan)
    if back:
        _show_table("Goes back on the rack", ("What", "Pieces", f"Each ({terms.units})"), [
            (_described(stock), f"{bars:,}", _length(length)) for (stock, length), bars in back.items()], "lrr")
    _show_money(files, plan, weight_unit)
    for note in (*plan.notes, *_cautions(files, plan)):
        console.print(Text(escaped(note)))
    jobs = len(files.demands)
    console.print(f"\n{jobs} job{'' if jobs == 1 else 's'} of {files.needs.file}: order, saw, blanks and rack are in {out}", markup=False)
    console.print(CAUTION, style="italic")


def _described(stock: Any) -> str:
    from barfuncs.buying.records import describe

    return describe(stock)


def _length(value: float) -> str:
    return f"{value:,.3f}".rstrip("0").rstrip(".")


def _show_table(title: str, heads: Sequence[str], rows: Sequence[Sequence[str]], sides: Sequence[str]) -> None:
    """A table whose columns that are blank all down are left out."""
    from rich.table import Table
    from rich.text import Text

    from barfuncs.text.characters import escaped

    console = on_terminal()
    filled = [n for n in range(len(heads)) if any(row[n] for row in rows)]
    heads, sides, rows = [heads[n] for n in filled], [sides[n] for n in filled], [[row[n] for n in filled] for row in rows]
    table = Table(box=None, header_style="bold", pad_edge=False)
    for head, side in zip(heads, sides, strict=True):
        table.add_column(head, justify="right" if side == "r" else "left", no_wrap=side == "r", overflow="fold",
                         max_width=None if side == "r" else _WIDEST)
    for row in rows[:_MOST_SHOWN]:
        table.add_row(*(Text(escaped(cell)) for cell in row))
    console.print(title, style="bold")
    console.print(table)
    if len(rows) > _MOST_SHOWN:
        console.print(f"... and {len(rows) - _MOST_SHOWN} more, all in the workbook")
    console.print()


def _of_rack(taken: Sequence[Any], demands: Sequence[Any]) -> Iterator[tuple[int, int, list[str]]]:
    """By rack bar, how many are taken and for which jobs."""
    for number in dict.fromkeys(row.rack for row in taken):
        rows = [row for row in taken if row.rack == number]
        yield number, sum(row.bars for row in rows), list(dict.fromkeys(demands[b.demand].job for row in rows for b in row.blanks))


def _back(files: Any, plan: Any) -> Mapping[tuple[Any, float], int]:
    """Left-overs that are kept and bars that no job needs, by kind and length."""
    found: dict[tuple[Any, float], int] = {}
    for row in plan.sawing:
        if row.back:
            key = row.bar(files.offers, files.rack).stock, round(row.left, 3)
            found[key] = found.get(key, 0) + row.bars
    for line in plan.lines:
        if line.spare:
            key = files.offers[line.offer].stock, files.offers[line.offer].length
            found[key] = found.get(key, 0) + line.spare
    return dict(sorted(found.items(), key=lambda item: (_described(item[0][0]), -item[0][1])))


def _show_money(files: Any, plan: Any, weight_unit: str) -> None:
    from rich.table import Table

    console = on_terminal()
    cuts = sum(row.bars * row.cuts for row in plan.sawing)
    bars = sum(line.bars for line in plan.lines)
    lines = [(f"Order: {bars:,} bar{'' if bars == 1 else 's'}, {sum(line.weight for line in plan.lines):,.1f} {weight_unit}", sum(line.money for line in plan.lines), "")]
    if plan.freight:
        lines.append(("Freight", plan.freight, ""))
    lines += [(f"Saw: {cuts:,} cut{'' if cuts == 1 else 's'}", plan.cut_money, ""),
              ("Bars of the rack that are taken", plan.rack_money, "" if files.terms.rack_has_value else "count as nothing"),
              ("Less: left-overs back on the rack", -plan.left_money, ""), ("Cost", plan.cost, ""),
              ("No plan costs less than", plan.bound, f"so this one is {plan.proof}; {plan.seconds:.1f} s")]
    table = Table(box=None, show_header=False, pad_edge=False)
    table.add_column()
    table.add_column(justify="right", no_wrap=True)
    table.add_column(overflow="fold")
    for label, money, more in lines:
        table.add_row(label, f"{money:,.2f}", more, style="bold" if label == "Cost" else None)
    console.print(table)
    console.print()


def _cautions(files: Any, plan: Any) -> Iterator[str]:
    """What can hurt somebody who carries or saws these bars."""
    from barfuncs.buying.supply import weight_of_bar
    from barfuncs.catalogue import materials
    from barfuncs.templates.setup_sheet import LIFT

    units = files.terms.units
    bars = {(bar.stock, bar.length) for bar in (row.bar(files.offers, files.rack) for row in plan.sawing)}
    heaviest = max((weight_of_bar(stock, length, units) for stock, length in bars), default=0.0)
    if heaviest > LIFT[units]:
        unit = "kg" if units == "mm" else "lb"
        yield (f"CAUTION: a bar weighs up to {heaviest:,.0f} {unit}; over {LIFT[units]} {unit} it is not one person's lift, even at best, and a long bar is no such "
               "lift. Use two people or a hoist.")
    yield "CAUTION: clamp both sides of the cut and support long bars; sawn ends are sharp. The saw's manual comes first."
    table = materials.active()
    found: dict[str, list[str]] = {}
    for material in sorted({stock.material for stock, _ in bars}):
        if material in table and table[material].caution:
            found.setdefault(table[material].caution, []).append(material)
    for caution, of in found.items():
        yield f"CAUTION: {', '.join(of)}: {caution}"
