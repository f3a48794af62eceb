"""The rack on the command line: bars come in, go to jobs, come back, are counted and valued."""

import datetime
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

import click

from barfuncs.cli.common import MATERIALS, fail, on_terminal, show_problems, write_file
from barfuncs.errors import BarfuncsError, InputError

_METHODS = {"fifo": 0, "average": 1}
_F = TypeVar("_F", bound=Callable[..., Any])
_Made = Callable[[_F], _F]


@click.group()
def rack() -> None:
    """The shop's own stock of bar, as a history.

    receive, take, return, count, value --method and goods-in --book write new
    rows of it, in rack.csv unless --rack says otherwise; no row is ever changed.

    \b
    barfuncs rack receive --material 303 --shape round --size 1
      --length "12 ft" --bars 6 --heat H7712 --certificate 3.1 --value 480
      --units in
    barfuncs rack receive --from rack.xlsx
    barfuncs rack take B1 --job J-12 --bars 2 --needs 3.1
    barfuncs rack return B1 --job J-12 --length 51.5 --labels label.xlsx
    barfuncs rack count B2 --bars 5
    barfuncs rack value
    barfuncs rack list --out rack.xlsx
    """


def _text(name: str, help_text: str, **more: Any) -> _Made[Any]:
    return click.option(f"--{name}", help=help_text, **more)


_RACK = click.option("--rack", "path", type=click.Path(dir_okay=False), default="rack.csv", show_default=True, help="The history.")
_DATE = _text("date", "The day of it, as 2026-03-31; today unless given.")
_NOTE = _text("note", "Anything else.")
_PLACE = _text("place", "Where it lies.")
_JOB = _text("job", "The job.", required=True)
_KERF = _text("kerf", "What the saw cut takes.")
_LABELS = click.option("--labels", type=click.Path(dir_okay=False), help="Write a label into this new file, .xlsx or .pdf.")
_METHOD = click.option("--method", type=click.Choice(list(_METHODS)), help="How what leaves is valued: first in, first out, or average.")
_UNITS = click.option("--units", type=click.Choice(["in", "mm"]), help="What the rack is kept in; said once, when it begins.")
_OUT = click.option("--out", type=click.Path(dir_okay=False), help="Write a workbook.")
_REPLACE = click.option("--replace", is_flag=True, help="Overwrite a file that exists.")


def _of_bar(command: _F) -> _F:
    """An option for everything that is typed of a bar."""
    options = (("id", "What is written on it; the next of B1, B2, B3 ... unless given."), ("bars", "How many, alike in everything."),
               ("material", "Name or designation."), ("shape", "round, hexagon, square, flat, tube ..."),
               ("size", "Diameter or width across flats."), ("thickness", "Of a flat or of a tube's wall."),
               ("finish", "How it was made: drawn, ground, peeled."), ("tolerance", "Class of its size tolerance."),
               ("length", "Of one bar."), ("heat", "Number of the melt."), ("certificate", "none, 2.1, 2.2, 3.1 or 3.2 of EN 10204."),
               ("owner", "own, or the customer whose it is."), ("place", "Where it lies."), ("received", "The day it came."),
               ("value", "What was paid for all of these bars."), ("note", "Anything else."))
    for name, help_text in reversed(options):
        command = click.option(f"--{name}", f"bar_{name}", help=help_text)(command)
    return command


# --- what all commands do ------------------------------------------------------------------------------------------


class _Running:
    """A history that is being changed, and what is to be said once it is written."""

    def __init__(self, ledger: Any) -> None:
        self.ledger = ledger
        self.rack = ledger.rack
        self.said: list[str] = []

    def book(self, entry: Any, *said: str) -> Any:
        self.said += [*said, *_before_and_after(entry)]
        return self.ledger.book(entry)

    def length(self, value: str | None, name: str = "length") -> int | None:
        from barfuncs.rack.bars import read_length

        return None if value is None else _one(name, lambda: read_length(value, self.rack.units, least=name == "length"))


def _one(name: str, read: Callable[[], Any]) -> Any:
    """What one option says; a mistake names the option."""
    try:
        return read()
    except InputError:
        raise
    except BarfuncsError as error:
        raise InputError("rack", [(f"--{name}", str(error))]) from None


def _number(name: str, value: str | None, otherwise: int = 1) -> int:
    from barfuncs.catalogue.kinds import Count, kind_of
    from barfuncs.catalogue.reading import read_in

    return otherwise if value is None else int(_one(name, lambda: read_in(kind_of(Count), value, "in")))


def _money(value: str | None) -> int | None:
    from barfuncs.rack.bars import read_money

    return None if value is None else _one("value", lambda: read_money(value))


def _plain(name: str, value: str | None) -> str:
    from barfuncs.rack.bars import plain_text

    return "" if value is None else _one(name, lambda: plain_text(value))


def _day(value: str | None) -> datetime.date:
    from barfuncs.rack.bars import read_date

    return datetime.date.today() if value is None else _one("date", lambda: read_date(value))


@contextmanager
def _changing(path: str, must_exist: bool = True) -> Iterator[_Running]:
    """Bookings that are written together when all are made, or not at all; what came of them is then said."""
    from barfuncs.filling.stopping import Stopping
    from barfuncs.rack.file import changing

    running: list[_Running] = []
    with Stopping() as stopping:
        try:
            with changing(path, lambda text: click.echo(f"barfuncs: {text}", err=True), must_exist, stopping.held) as ledger:
                running.append(_Running(ledger))
                yield running[0]
            _say(running[0].said)
        except KeyboardInterrupt:
            booked = bool(running) and running[0].ledger.kept
            click.echo(f"barfuncs: interrupted; {'it' if booked else 'nothing'} is booked", err=True)
            sys.exit(128 + (stopping.signal or 2))
        except (BarfuncsError, OSError) as error:
            _problems(error)
            if running and running[0].ledger.kept and isinstance(error, OSError):
                error = OSError(error.errno, f"{error.strerror}; it is booked")
            fail(error)


def _problems(error: Exception) -> None:
    """The cells of a list in which something is wrong, as a table; then the command ends."""
    from barfuncs.rack.listing import ListError

    if not isinstance(error, ListError):
        return
    from barfuncs.text.characters import escaped

    show_problems(error.cells)
    click.echo(f"barfuncs: {escaped(error.where)}: nothing is booked; correct these cells and start again", err=True)
    sys.exit(1)


def _say(lines: Sequence[str]) -> None:
    from rich.text import Text

    from barfuncs.text.characters import escaped

    console = on_terminal()
    for line in lines:
        console.print(Text(escaped(line)))
    sys.stdout.flush()


def _before_and_after(entry: Any) -> list[str]:
    from barfuncs.rack.bars import length_words, money_words

    if entry.bars_before is None:
        return []
    length = [length_words(steps, entry.units) for steps in (entry.stock_length_before, entry.stock_length_after)]
    money = [money_words(cents) for cents in (entry.stock_value_before, entry.stock_value_after)]
    return [f"  before: {entry.bars_before} of {entry.bar}, {length[0]} of its like, worth {money[0]}",
            f"  after:  {entry.bars_after} of {entry.bar}, {length[1]} of its like, worth {money[1]}"]


def _bars(number: int) -> str:
    return f"{number} bar" + ("" if number == 1 else "s")


def _own_materials(path: str | None) -> None:
    from barfuncs.catalogue import materials

    if path:
        materials.use_materials(path)


# --- the commands --------------------------------------------------------------------------------------------------


@rack.command()
@_RACK
@click.option("--from", "source", type=click.Path(exists=True, dir_okay=False), help="Take the bars of a list: rack.xlsx, or another "
                                                                                  "workbook or CSV with such headings.")
@_of_bar
@_UNITS
@_METHOD
@MATERIALS
@_DATE
def receive(path: str, source: str | None, units: str | None, method: str | None, materials_file: str | None, date: str | None,
            **typed: str | None) -> None:
    """Bars come in.

    Either one id by options, or all bars of a list by --from. The first receipt
    begins the history and says --units, or its list does; --method says how what
    leaves is valued, first in, first out unless given.
    """
    from barfuncs.rack.bars import money_words, read_bar
    from barfuncs.rack.ledger import METHODS, Rack
    from barfuncs.rack.listing import Listed, ListError, Problem, read_bars

    given = {name.removeprefix("bar_"): value for name, value in typed.items() if value is not None}

    def incoming(there: Rack, day: datetime.date) -> Listed:
        wanted = there.units or units
        if source:
            if given:
                raise InputError("rack receive", [(f"--{name}", "is given beside --from; give one of them") for name in given])
            return read_bars(source, wanted, day)
        if not wanted:
            raise InputError("rack receive", [("--units", "is missing: say once what this rack is kept in, in or mm")])
        bar, problems = read_bar({"id": there.free_id()} | given, wanted, day)
        if bar is None:
            raise InputError("rack receive", [(f"--{name}", reason) for name, reason in problems])
        return Listed("", wanted, ((0, bar),))

    with _changing(path, must_exist=False) as running:
        _own_materials(materials_file)
        day, there = _day(date), running.rack
        came = incoming(there, day)
        for wanted, what in ((units, "--units"), (came.units, came.name)):
            if there.units and wanted and wanted != there.units:
                raise InputError("rack receive", [(what, f"is in {wanted}; this rack is kept in {there.units}")])
        if units and units != came.units:
            raise InputError("rack receive", [("--units", f"{units} given; {came.name} is in {came.units}")])
        if there.units and method and METHODS[_METHODS[method]] != there.method:
            raise InputError("rack receive", [("--method", f"this rack is valued {there.method}; 'barfuncs rack value --method' changes that")])
        if not there.units:
            running.book(there.start(came.units, METHODS[_METHODS[method or "fifo"]], day),
                         f"{path} begins: lengths in {'inch' if came.units == 'in' else 'mm'}, valued {METHODS[_METHODS[method or 'fifo']]}")
        problems: list[Problem] = []
        for row, bar in came.bars:
            try:
                entry = there.receive(bar, day)
            except InputError as error:
                if not came.name:
                    raise
                problems += [Problem(row, column, str(getattr(bar, column, "")), reason) for column, reason in error.problems]
                continue
            said = f"{entry.bar}: {_bars(bar.bars)} received, {bar.described()}, {money_words(bar.value)}"
            if came.name:
                running.ledger.book(entry)
            else:
                running.book(entry, said)
        if problems:
            raise ListError(came.name, problems)
        if came.name:
            own = sum(bar.value for _, bar in came.bars)
            running.said.append(f"{_bars(sum(bar.bars for _, bar in came.bars))} received under {len(came.bars)} ids from {came.name}, "
                                f"{money_words(own)}")


@rack.command()
@click.argument("ids", nargs=-1, required=True, metavar="BAR...")
@_JOB
@_RACK
@_text("bars", "How many of each id; 1 unless given.", metavar="N")
@_text("customer", "Whose job it is; needed where a bar is the customer's own.")
@click.option("--needs", type=click.Choice(["2.1", "2.2", "3.1", "3.2"]), help="The certificate of EN 10204 that the job needs.")
@_text("length", "Saw only this off; the rest comes back at once.")
@_KERF
@_LABELS
@_NOTE
@_DATE
def take(ids: tuple[str, ...], job: str, path: str, bars: str | None, customer: str | None, needs: str | None, length: str | None,
         kerf: str | None, labels: str | None, note: str | None, date: str | None) -> None:
    """Bars, named by their ids, go to a job.

    What a job needs and whose it is, is remembered: no bar without heat or
    certificate goes to a job that needs a 3.1, and no customer's bar to the job
    of another.
    """
    from barfuncs.rack.bars import length_words, money_words, same

    back: list[str] = []
    with _labelled(labels, back), _changing(path) as running:
        there, day, number = running.rack, _day(date), _number("bars", bars)
        job, customer, note = _plain("job", job), _plain("customer", customer), _plain("note", note)
        off, cut = running.length(length), running.length(kerf, "kerf") or 0
        if cut and off is None:
            raise InputError("rack take", [("--kerf", "is given without --length: a whole bar is not cut")])
        if labels and off is None:
            raise InputError("rack take", [("--labels", "is given without --length: nothing comes back")])
        for name in ids:
            entry = there.take(name, job, number, customer, needs or "", day=day, note=note)
            running.book(entry, f"{entry.bar}: {_bars(number)} of {length_words(entry.length or 0, entry.units)} for {entry.job}, "
                                f"{money_words(entry.value or 0)}")
            if off is not None:
                left = (entry.length or 0) - off - cut
                if left < 1:
                    raise InputError("rack take", [("--length", f"{length_words(off, entry.units)} given; bar {entry.bar!r} has "
                                                                f"{length_words(entry.length or 0, entry.units)}, so that nothing is left of it")])
                _come_back(running, there.give_back(name, job, left, number, cut, day=day), back)
        known = there.jobs[same(job)]
        if len(known.heats) > 1:
            running.said.append(f"NOTE: {known.name} has bars of {len(known.heats)} heats now: "
                                + ", ".join(heat or "none known" for heat in known.heats))


@rack.command(name="return")
@click.argument("bar")
@_JOB
@_RACK
@_text("length", "Of one bar that comes back; without it the bar is untouched and keeps its id.")
@_text("bars", "How many; 1 unless given.", metavar="N")
@_KERF
@_text("id", "Of what comes back; B7R1, B7R2 ... of bar B7 unless given.")
@_text("value", "Of what comes back, not more than its job was charged; its share of that unless given. 0 is allowed.")
@_PLACE
@_LABELS
@_NOTE
@_DATE
def give_back(bar: str, job: str, path: str, length: str | None, bars: str | None, kerf: str | None, id: str | None,
              value: str | None, place: str | None, labels: str | None, note: str | None, date: str | None) -> None:
    """What is left of BAR comes back from a job.

    It gets an id of its own and keeps heat, certificate, owner and the day that
    its bar was received.
    """
    from barfuncs.rack.bars import read_id

    back: list[str] = []
    with _labelled(labels, back), _changing(path) as running:
        entry = running.rack.give_back(
            bar, _plain("job", job), running.length(length), _number("bars", bars), running.length(kerf, "kerf") or 0,
            _one("id", lambda: read_id(id)) if id else "", _money(value), _plain("place", place), day=_day(date), note=_plain("note", note))
        _come_back(running, entry, back)


def _come_back(running: _Running, entry: Any, back: list[str]) -> None:
    from barfuncs.rack.bars import length_words, money_words

    of = f" of {entry.parent}" if entry.parent else ""
    cut = f", cut {length_words(entry.kerf, entry.units)}" if entry.kerf else ""
    running.book(entry, f"{entry.bar}: {_bars(entry.bars)}{of} back from {entry.job}, {length_words(entry.length, entry.units)}"
                        f"{' each' if entry.bars > 1 else ''}{cut}, {money_words(entry.value)}")
    back.append(entry.bar)


@rack.command()
@click.argument("bar")
@_RACK
@_text("bars", "Counted bars of this id.", metavar="N")
@_text("length", "Measured length of one.")
@_text("value", "Of what was found more than booked; nothing unless given.")
@_PLACE
@_NOTE
@_DATE
def count(bar: str, path: str, bars: str | None, length: str | None, value: str | None, place: str | None, note: str | None,
          date: str | None) -> None:
    """BAR was counted or measured.

    What is short is written off at its value; what is over comes in without one.
    """
    from barfuncs.rack.bars import money_words

    with _changing(path) as running:
        number = _number("bars", bars) if bars is not None else None
        entry = running.rack.count(bar, number, running.length(length), _money(value), _plain("place", place), day=_day(date),
                                   note=_plain("note", note))
        less = entry.stock_length_after < entry.stock_length_before
        worth = "" if entry.stock_length_after == entry.stock_length_before else \
            f", {money_words(entry.value or 0)} {'written off' if less else 'added'}"
        running.book(entry, f"{entry.bar}: {entry.difference}{worth}")


@rack.command()
@_RACK
@_METHOD
@_DATE
def value(path: str, method: str | None, date: str | None) -> None:
    """What the rack is worth, by material and owner.

    --method books another way of valuing what leaves, from now on.
    """
    from barfuncs.rack.ledger import METHODS

    if method:
        with _changing(path) as running:
            running.book(running.rack.change_method(METHODS[_METHODS[method]], _day(date)))
            running.said.append(f"What leaves is valued {running.rack.method} from now on.")
    _show_value(_read(path))


def _read(path: str) -> Any:
    from barfuncs.rack.file import read_ledger

    try:
        return read_ledger(path).rack
    except BarfuncsError as error:
        fail(error)


def _show_value(there: Any) -> None:
    from rich.table import Table
    from rich.text import Text

    from barfuncs.rack.bars import length_words, money_words
    from barfuncs.text.characters import escaped

    console, unit = on_terminal(), there.units
    worth: dict[tuple[bool, str, str], list[int]] = {}
    for bar in there.present():
        found = worth.setdefault((not bar.is_own, bar.owner, bar.material), [0, 0, 0])
        found[0], found[1], found[2] = found[0] + bar.bars, found[1] + bar.bars * bar.length, found[2] + bar.value
    table = Table(box=None, header_style="bold", pad_edge=False)
    for head in ("Material", "Owner"):
        table.add_column(head, overflow="fold", max_width=26)
    for head in ("Bars", f"Length ({unit})", "Value"):
        table.add_column(head, justify="right", no_wrap=True)
    for (theirs, owner, material), (bars, length, cents) in sorted(worth.items()):
        table.add_row(Text(escaped(material)), Text(escaped(owner)), f"{bars:,}", length_words(length, unit, unit=False),
                      "not ours" if theirs else money_words(cents))
    balance = there.balance()
    table.add_row("Together", "", f"{sum(found[0] for found in worth.values()):,}", length_words(balance.left.length, unit, unit=False),
                  money_words(balance.left.value))
    console.print(table)
    console.print(f"\nValued {there.method}. Where all of it is:\n")
    lines = (("Received", balance.received, 1), ("Found in counts", balance.found, 1), ("Taken by jobs", balance.taken, -1),
             ("Come back from jobs", balance.returned, 1), ("Written off in counts", balance.written_off, -1), ("On the rack", balance.left, 0))
    closing = Table(box=None, header_style="bold", pad_edge=False)
    closing.add_column("")
    for head in (f"Length ({unit})", "Value"):
        closing.add_column(head, justify="right", no_wrap=True)
    for label, found, sign in lines:
        mark = {1: "+ ", -1: "- ", 0: "= "}[sign]
        closing.add_row(mark + label, length_words(found.length, unit, unit=False), money_words(found.value))
    console.print(closing)
    console.print(f"\nOf what jobs kept, {length_words(balance.used, unit)} were used and {length_words(balance.kerf, unit)} sawn away.")


@rack.command(name="goods-in")
@click.argument("ordered", type=click.Path(exists=True, dir_okay=False))
@click.argument("came", type=click.Path(exists=True, dir_okay=False))
@_RACK
@click.option("--book", is_flag=True, help="Receive the bars that can be used; what is set aside is not booked.")
@click.option("--units", type=click.Choice(["in", "mm"]), help="What bare numbers are in where a list does not say.")
@MATERIALS
@_DATE
def goods_in(ordered: str, came: str, path: str, book: bool, units: str | None, materials_file: str | None, date: str | None) -> None:
    """What CAME against what was ORDERED, both CSV or xlsx.

    Looked at are count, material, shape, size, measured size against its
    tolerance, length, heat and certificate; what is short or wrong is named with
    what it does to which job, and gives the exit status 1.

    \b
    ORDERED: Order line, Bars, Material, Shape, Size, Length and, where there
    are any, Thickness, Finish, Tolerance class, Certificate, Shortest, Jobs
    CAME: Order line, the headings of a list of bars, Smallest size, Largest
    size: a row for each length and heat
    """
    from dataclasses import replace

    from barfuncs.rack import goods_in

    try:
        _own_materials(materials_file)
        day = _day(date)
        said, lines = goods_in.read_ordered(ordered, units)
        delivery = goods_in.compare(lines, goods_in.read_came(came, lines, said, day)[1])
    except (BarfuncsError, OSError) as error:
        _problems(error)
        fail(error)
    if book and delivery.good:
        with _changing(path) as running:
            there = running.rack
            if there.units != said:
                raise InputError("rack goods-in", [(ordered, f"is in {said}; this rack is kept in {there.units}")])
            for row, length in delivery.good:
                bar = row.bar if row.named else replace(row.bar, id=there.free_id())
                running.ledger.book(there.receive(bar, day, length))
                running.said.append(f"{bar.id}: {_bars(bar.bars)} received for line {row.line}")
    _say([f"{finding.word}  {finding.line}: {finding.text}" for finding in delivery.findings])
    if not delivery.is_right:
        sys.exit(1)


@rack.command()
@_RACK
def lengths(path: str) -> None:
    """What the mill sends for a length: as ordered and as it came."""
    from rich.table import Table
    from rich.text import Text

    from barfuncs.rack.bars import length_words
    from barfuncs.text.characters import escaped

    there = _read(path)
    table = Table(box=None, header_style="bold", pad_edge=False)
    for n, head in enumerate(("Material", f"Ordered ({there.units})", "Bars", "Shortest", "Average", "Longest")):
        table.add_column(head, justify="right" if n else "left", overflow="fold")
    for (material, ordered), came in sorted(there.came.items()):
        bars = sum(number for _, number in came)
        figures = (min(came)[0], round(sum(each * number for each, number in came) / bars), max(came)[0])
        table.add_row(Text(escaped(material)), length_words(ordered, there.units, unit=False), f"{bars:,}",
                      *(length_words(figure, there.units, unit=False) for figure in figures))
    on_terminal().print(table if there.came else "No bars have come by an order yet ('barfuncs rack goods-in --book').")


@rack.command(name="list")
@_RACK
@_OUT
@_REPLACE
def list_bars(path: str, out: str | None, replace: bool) -> None:
    """The bars that are there; --out writes them into the workbook rack.xlsx."""
    from rich.table import Table
    from rich.text import Text

    from barfuncs.rack.bars import length_words, money_words
    from barfuncs.text.characters import escaped

    there = _read(path)
    bars = there.present()
    if out:
        from barfuncs.rack.workbook import filled

        write_file("rack list", out, lambda: filled(bars, there.units), replace)
        click.echo(f"{len(bars)} ids, {sum(bar.bars for bar in bars)} bars: {out}")
        return
    table = Table(box=None, header_style="bold", pad_edge=False)
    for head, right, wide in (("Bar", False, 10), ("Bars", True, 5), ("What", False, 24), (f"Length ({there.units})", True, 11), ("Heat", False, 9),
                              ("Owner", False, 8), ("Value", True, 9)):
        table.add_column(head, justify="right" if right else "left", overflow="fold", max_width=wide)
    for bar in bars:
        table.add_row(*map(Text, map(escaped, (
            bar.id, f"{bar.bars:,}", bar.described(unit=False), length_words(bar.length, there.units, unit=False),
            bar.heat + (f" {bar.certificate}" if bar.certificate != "none" else ""), bar.owner,
            money_words(bar.value) if bar.is_own else "not ours"))))
    on_terminal().print(table)


@rack.command()
@click.argument("ids", nargs=-1, metavar="[BAR]...")
@_RACK
@click.option("--out", type=click.Path(dir_okay=False), required=True, help="The file to write, .xlsx or .pdf.")
@_REPLACE
def labels(ids: tuple[str, ...], path: str, out: str, replace: bool) -> None:
    """Labels to print, eight on a page.

    Of the bars named, or else of all that are there.
    """
    from barfuncs.rack.labels import made

    there = _read(path)
    try:
        wanted = [there.bar(name) for name in ids] or there.present()
    except InputError as error:
        fail(error)
    write_file("rack labels", out, lambda: made(wanted, out), replace)
    click.echo(f"{len(wanted)} labels: {out}")


@contextmanager
def _labelled(out: str | None, back: list[str]) -> Iterator[None]:
    """Labels of what came back, written when the booking is."""

    if out and Path(out).exists():
        fail(InputError("rack", [("--labels", f"{out} exists already; nothing is booked")]))
    yield
    if out and back:
        from barfuncs.rack.labels import made

        there = _read(click.get_current_context().params["path"])
        write_file("rack", out, lambda: made([there.bar(name) for name in back], out))
        click.echo(f"label: {out}")
