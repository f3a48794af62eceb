"""The command line: plan a list of jobs, call a function, calculate a workbook."""

import functools
import itertools
import os
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import click

from barfuncs.cli.buy import buy
from barfuncs.cli.common import (
    CAUTION,
    COMMA,
    MATERIALS,
    MOST_PROBLEMS,
    REPLACE,
    SHOP,
    UNITS,
    NewPath,
    fail,
    on_terminal,
    shop_of,
    show_problems,
    table_of,
    write_file,
)
from barfuncs.cli.connect import connect
from barfuncs.cli.connect_calc import calc as connect_calc_command
from barfuncs.cli.rack import rack
from barfuncs.errors import BarfuncsError, InputError
from barfuncs.templates import lines
from barfuncs.templates.lines import Line


class _Commands(click.Group):
    """The group of commands; a full disk or a closed pipe behind the output is said in a sentence."""

    def main(self, *arguments: Any, **options: Any) -> Any:
        if hasattr(sys.stdout, "reconfigure"):
            sys.stdout.reconfigure(errors="replace")  # a terminal that can't show a character is no reason to stop
        try:
            try:
                return super().main(*arguments, **options)
            finally:
                if sys.stdout is not None:
                    sys.stdout.flush()
        except OSError as error:
            # Python would try to write what is left once more at its end.
            os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
            if not isinstance(error, BrokenPipeError):
                click.echo(f"barfuncs: {error.strerror or error}" + (f": {error.filename}" if error.filename else ""), err=True)
            sys.exit(1)


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80})
@click.version_option(package_name="barfuncs")
def main() -> None:
    """Plan, quote and run parts turned from bar.

    \b
    barfuncs plan jobs.csv --out plans         one calculated workbook per job
    barfuncs quote jobs.csv --out quotes --shop shop.xlsx
    barfuncs buy jobs.csv --out buy.xlsx --shop shop.xlsx --rack rack.csv
    barfuncs calc parts_per_bar "12 ft" 2.25 0.125 3
    barfuncs recalc workbook.xlsx              calculate and show named results
    """


connect.add_command(connect_calc_command)
main.add_command(connect)
main.add_command(rack)
main.add_command(buy)

_RESUME = click.option("--resume", is_flag=True, help="Go on where a run stopped, fast: rows that say the same as when their workbook "
                                                      "was made are not even read again.")
_JOBS = click.option("--jobs", "workers", type=click.IntRange(min=1), default=1, metavar="N",
                     help="Calculate in N processes at a time; pays from some 500 rows on.")


class _ListCommand(click.Command):
    """The command of a template on a list of jobs. The template is imported when its command is asked for."""

    def __init__(self, line: Line) -> None:
        self.line = line
        super().__init__(line.command, callback=self.run, short_help=line.summary, params=[
            click.Argument(["jobs"], type=click.Path(exists=True, dir_okay=False)),
            click.Option(["--out"], required=True, type=NewPath(file_okay=False),
                         help="Folder for the workbooks and results."),
            *_params(UNITS, MATERIALS, SHOP, COMMA, REPLACE, _RESUME, _JOBS)])

    @functools.cached_property
    def template(self) -> Any:
        from barfuncs.templates.registry import TEMPLATES

        return TEMPLATES[self.line.name]

    def get_params(self, ctx: click.Context) -> list[click.Parameter]:
        own = [click.Option([spread.option, _destination(spread.option)], help=spread.help) for spread in self.template.spread]
        *others, of_help = super().get_params(ctx)
        return [*others, *own, of_help]

    def format_help_text(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        self.help = f"{self.line.summary}\n\n{self.template.help}"
        super().format_help_text(ctx, formatter)

    def run(self, jobs: str, out: str, **options: Any) -> None:
        given: dict[str, Any] = {}
        for spread in self.template.spread:
            text = options.pop(_destination(spread.option))
            try:
                values = [] if text is None else spread.read(text)
            except BarfuncsError as error:
                fail(error)
            if len(values) > len(spread.inputs):
                few = f"{len(values)} given; a {self.template.title.lower()} has {len(spread.inputs)}"
                fail(InputError(self.line.command, [(spread.option, few)]))
            if values:
                given |= dict(itertools.zip_longest(spread.inputs, values))
        _fill_list(self.line.name, jobs, out, given=given, **options)


def _params(*options: Any) -> list[click.Parameter]:
    """The parameters that option decorators stand for, in their order."""
    def nothing() -> None: ...

    for option in options:
        option(nothing)
    return list(nothing.__click_params__)  # type: ignore[attr-defined]


def _destination(option: str) -> str:
    return option.removeprefix("--").replace("-", "_")


def list_command(line: Line) -> click.Command:
    """The command that fills a template for every row of a list."""
    return _ListCommand(line)


@main.command(short_help="Calculate quotes anew with a new shop file.")
@click.argument("quotes", nargs=-1, required=True, type=click.Path(exists=True))
@click.option("--out", required=True, type=NewPath(file_okay=False), help="Folder for the new workbooks and the table.")
@click.option("--shop", "shop_file", required=True, type=click.Path(exists=True, dir_okay=False), help="The new shop file.")
@MATERIALS
@REPLACE
def requote(quotes: tuple[str, ...], out: str, shop_file: str, materials_file: str | None, replace: bool) -> None:
    """Calculate quotes anew with a new shop file.

    QUOTES are quote workbooks or folders of them: as 'barfuncs quote' writes
    them, or filled by hand. What is typed in a quote stays; what it took from
    its sheet Shop comes from the new file. Nothing of them is overwritten.

    requote.csv and requote.xlsx say for every quantity the old price, the new
    one and what the difference comes from: new prices of material, then new
    rates for an hour, then all the rest of the shop file, each before rounding,
    and what rounding makes of it. The old price is worked out again from the
    quote's own cells. Date and validity stay as they are typed.
    """
    from barfuncs.cli.progress import shown
    from barfuncs.filling.requoting import Interrupted, find_quotes
    from barfuncs.filling.requoting import requote as calculate_anew

    try:
        table = table_of(materials_file)
        shop = shop_of(shop_file)
        with shown(len(find_quotes(quotes)[0])) as ended:
            steps = itertools.count(1)
            done = calculate_anew(quotes, shop, out, replace=replace, table=table,
                                  progress=lambda: ended() if next(steps) % 3 == 0 else None,
                                  tell=lambda text: click.echo(f"barfuncs: {text}", err=True))
        status = 1 if done.outcome.problems or done.outcome.stopped else 0
    except Interrupted as error:
        done, status = error.requoted, 128 + error.signal
    except KeyboardInterrupt:
        click.echo("barfuncs: interrupted; nothing is written", err=True)
        sys.exit(130)
    except (BarfuncsError, OSError) as error:
        fail(error)
        return
    _show_requoted(done, out)
    if done.outcome.stopped:
        click.echo(f"barfuncs: {done.outcome.stopped}; {len(done.outcome.done)} of {done.outcome.total} quotes are written to {out}", err=True)
    if status:
        sys.exit(status)


def _show_requoted(requoted: Any, out: str) -> None:
    """The prices that changed, what asks for a look, and the quotes with problems."""
    from rich.table import Table
    from rich.text import Text

    from barfuncs.filling.folder import FOR_CUSTOMER
    from barfuncs.filling.results import REQUOTE_LINE
    from barfuncs.templates.template import money_shown
    from barfuncs.text.characters import escaped

    console, outcome = on_terminal(), requoted.outcome
    there = {row for row, *_ in (*outcome.done, *outcome.unchanged)}
    told = {row: requoted.compared[row] for row in sorted(there)}
    lines = [(row, dict(zip(REQUOTE_LINE, line, strict=True))) for row, one in told.items() for line in one["lines"]]
    changed = [(row, line) for row, line in lines if line["difference"] != 0]
    if changed:
        table = Table(box=None, header_style="bold", pad_edge=False)
        table.add_column("Quote", no_wrap=True, overflow="ellipsis", max_width=20)
        for head in ("Quantity", "Old", "New", "%", "Material", "Rate", "Other"):
            table.add_column(head, justify="right", no_wrap=True)
        for row, line in changed[:_MOST_SHOWN]:
            percent = "-" if line["difference_percent"] is None else f"{line['difference_percent']:+.1f}"
            shares = ["-" if line[name] is None else f"{line[name]:+,.4f}" if line[name] else "0" for name in ("material", "rate", "other")]
            table.add_row(Text(escaped(requoted.files[row - 1].stem)), f"{line['quantity']:,.0f}", money_shown(line["old_price"]),
                          money_shown(line["new_price"]), percent, *shares)
        console.print(table)
        if len(changed) > _MOST_SHOWN:
            console.print(f"... and {len(changed) - _MOST_SHOWN} more prices, all in requote.csv and requote.xlsx")
        console.print("Price each, and what the change comes from before rounding: material first, then rates, then the rest.\n")
    moved = {way: len({row for row, line in changed if line["difference"] is not None and way * line["difference"] > 0}) for way in (1, -1)}
    same = len(told) - len({row for row, _ in changed})
    console.print(f"Quotes with a higher price: {moved[1]:,}, with a lower one: {moved[-1]:,}, as they were: {same:,}.")
    if typed := sum(bool(one["typed"]) for one in told.values()):
        console.print(f"With prices or rates typed in the quote, which stay: {typed:,} (the column typed of requote.csv).")
    for row, one in [(row, one) for row, one in told.items() if one["note"]][:_MOST_SHOWN]:
        console.print(escaped(f"{requoted.files[row - 1].name}: {one['note']}"), markup=False)
    for path, why in requoted.left_out[:_MOST_SHOWN]:
        console.print(escaped(f"Left out: {why}" if path.name in why else f"Left out: {path.name}: {why}"), markup=False)
    bad = [problem for problem in outcome.problems if problem.row]
    if outcome.problems:
        console.print(f"\n{len({p.row for p in bad})} of {outcome.total} quotes have problems:", style="bold")
        problems = Table(box=None, header_style="bold", pad_edge=False)
        problems.add_column("Quote", overflow="fold", max_width=24)
        problems.add_column("What is wrong", overflow="fold")
        for p in outcome.problems[:MOST_PROBLEMS]:
            problems.add_row(Text(escaped(requoted.files[p.row - 1].name if p.row else "")), Text(escaped(p.reason)))
        console.print(problems)
        if len(outcome.problems) > MOST_PROBLEMS:
            console.print(f"... and {len(outcome.problems) - MOST_PROBLEMS} more")
    _show_earlier(console, outcome)
    _show_by_hand(console, outcome)
    console.print(f"\n{len(outcome.done)} of {outcome.total} quotes calculated anew, in {out}{_there_already(outcome)}", markup=False)
    if outcome.copies:
        console.print(f"Look at date and validity, which stay as typed, then send the file in {Path(out) / FOR_CUSTOMER}.", markup=False)
    console.print(CAUTION, style="italic")


for _line in lines.LINES:
    main.add_command(list_command(_line))


def _fill_list(template: str, jobs: str, out: str, *, units: str | None, materials_file: str | None, shop_file: str | None,
               decimal_comma: bool, replace: bool, resume: bool, workers: int, given: Mapping[str, Any]) -> None:
    """Fill a template for every row of a list, show what came of it, and exit with the status that goes with it."""
    from barfuncs.cli.progress import shown
    from barfuncs.filling.lists import Interrupted, plan_jobs, read_jobs
    from barfuncs.templates.registry import TEMPLATES

    try:
        table = table_of(materials_file)
        shop = shop_of(shop_file)
        if Path(jobs).resolve() in {(Path(out) / f"results{end}").resolve() for end in (".csv", ".xlsx")}:
            raise InputError(template, [("--out", "the results would overwrite the list of jobs; choose another folder")])
        rows = read_jobs(jobs, template)
        for row in rows:
            row.values.update(given)
        with shown(len(rows)) as ended:
            outcome = plan_jobs(rows, out, template=template, source=Path(jobs).name, units=units,
                                decimal_comma=decimal_comma, replace=replace, table=table, shop=shop, progress=ended,
                                tell=lambda text: click.echo(f"barfuncs: {text}", err=True),
                                workers=workers, resume=resume)
        status = 1 if outcome.problems or outcome.stopped else 0
    except Interrupted as error:
        outcome, status = error.outcome, 128 + error.signal
    except KeyboardInterrupt:
        click.echo("barfuncs: interrupted; nothing is written", err=True)
        sys.exit(130)
    except (BarfuncsError, OSError) as error:
        fail(error)
        return
    _show_left_out(rows.notes)
    _show_outcome(outcome, out, TEMPLATES[template],
                  hint="" if shop else _shop_file_hint(outcome, template))
    if outcome.stopped:
        results = ", with their results in results.csv and results.xlsx" if outcome.results_written else ", without results.csv"
        click.echo(f"barfuncs: {outcome.stopped}; {len(outcome.done)} of {outcome.total} jobs are written to {out}"
                   + (results if outcome.done else ""), err=True)
    if status:
        sys.exit(status)


def _shop_file_hint(outcome: Any, template: str) -> str:
    """What to say once where at least half of the rows lack what a shop file gives."""
    from barfuncs.templates.registry import TEMPLATES

    given = {name for name, item in TEMPLATES[template].inputs.items() if item.from_shop}
    lacking = [p for p in outcome.problems if p.column in given and p.reason.startswith("is missing")]
    rows = {p.row for p in lacking}
    if not rows or 2 * len(rows) < outcome.total:
        return ""
    names = ", ".join(dict.fromkeys(p.column for p in lacking))
    return (f"{len(rows)} of {outcome.total} rows lack what a shop file gives all of them ({names}): give --shop shop.xlsx. "
            "'barfuncs templates DIR' writes an example; put your figures into it.")


_MOST_SHOWN = 60


def _done_table(done: Sequence[Any], terminal: Any) -> Any:
    """The jobs that are done, as the template shows them."""
    from rich.table import Table
    from rich.text import Text

    heads, lines = terminal.table_of([values for *_, values in done])
    table = Table(box=None, header_style="bold", pad_edge=False)
    table.add_column("Row", justify="right", min_width=3)
    table.add_column("Job", no_wrap=True, overflow="ellipsis", max_width=16)
    for head in heads:
        table.add_column(head.text, justify="right" if head.right else "left", no_wrap=not head.may_fold,
                         overflow="fold" if head.may_fold else "ellipsis", min_width=5 if head.right else 6)
    for (row, name, _), cells in zip(done, lines, strict=True):
        table.add_row(str(row), Text(name.removesuffix(".xlsx")), *cells)
    return table


def _show_left_out(notes: Sequence[Any]) -> None:
    """What of a list is no job: titles, totals, columns that are no inputs."""
    from rich.text import Text

    from barfuncs.text.characters import escaped

    console = on_terminal()
    for note in notes:
        console.print(Text(escaped(f"Row {note.row} of {note.file}: {note.reason}: {note.value}")))
    if notes:
        console.print()


def _show_outcome(outcome: Any, out: str, template: Any, hint: str) -> None:
    from barfuncs.filling.folder import FOR_CUSTOMER

    console = on_terminal()
    if outcome.done:
        console.print(_done_table(outcome.done[:_MOST_SHOWN], template.terminal))
        if len(outcome.done) > _MOST_SHOWN:
            console.print(f"... and {len(outcome.done) - _MOST_SHOWN} more, all in results.csv and results.xlsx")
        _show_checks(console, outcome.done)
    if outcome.problems:
        rows = len({p.row for p in outcome.problems if p.row})
        console.print(f"\n{rows} of {outcome.total} rows in {outcome.problems[0].file} have problems:", style="bold")
        show_problems(outcome.problems)
    _show_earlier(console, outcome)
    _show_by_hand(console, outcome)
    console.print(f"\n{len(outcome.done)} of {outcome.total} jobs {template.done}, in {out}{_there_already(outcome)}", markup=False)
    if outcome.listed > len(outcome.done) and outcome.results_written:
        console.print(f"results.csv and results.xlsx list all {outcome.listed} workbooks of the folder.")
    if outcome.copies:
        console.print(f"Send the customer the file in {Path(out) / FOR_CUSTOMER}, not the workbook: that holds your costs.",
                      markup=False)
    if hint:
        console.print(f"\n{hint}", markup=False)
    if outcome.taken_as_inch:
        console.print("Bare numbers were read as inch; --units mm reads them as mm.")
    console.print(CAUTION, style="italic")


def _show_checks(console: Any, done: Sequence[Any]) -> None:
    """Which checks say stop or ask for a second look, and in which rows."""
    from barfuncs.templates.template import CHECKS_SAID

    found: dict[tuple[str, str], list[int]] = {}
    for head, word in CHECKS_SAID.items():
        for row, _, values in done:
            for topic in filter(None, str(values.get(head) or "").split(", ")):
                found.setdefault((word, topic), []).append(row)
    if found:
        console.print("\nWhat the checks say stands in each workbook:")
    for (word, topic), rows in found.items():
        few, more = ", ".join(f"{row}" for row in rows[:_MOST_ROWS_NAMED]), len(rows) - _MOST_ROWS_NAMED
        console.print(f"{word}  {topic}: row{'s' if len(rows) > 1 else ''} {few}" + (f" and {more:,} more" if more > 0 else ""), markup=False)


_MOST_ROWS_NAMED = 6


def _there_already(outcome: Any) -> str:
    """How many workbooks are left as they were made, in words that go on a sentence."""
    count = len([file for _, file in outcome.unchanged if file not in outcome.by_hand])
    return f"; {count:,} were there already, unchanged" if count else ""


def _show_by_hand(console: Any, outcome: Any) -> None:
    """Name the workbooks that somebody changed, and what the customer gets instead of what stands in them."""
    from barfuncs.filling.folder import FOR_CUSTOMER
    from barfuncs.text.characters import escaped

    if not outcome.by_hand:
        return
    console.print(f"\nWorkbooks changed by hand since, left as they are: {len(outcome.by_hand):,}", style="bold")
    for file, sent in itertools.islice(outcome.by_hand.items(), _MOST_SHOWN):
        console.print(escaped(f"{file}: " + (f"{FOR_CUSTOMER}/{sent} says what the list says, not what stands in it" if sent else
                                             "the results show what the list says")), markup=False)
    if len(outcome.by_hand) > _MOST_SHOWN:
        console.print(f"... and {len(outcome.by_hand) - _MOST_SHOWN} more, marked in results.csv")
    console.print("--replace makes them anew and moves these to the folder old." + (
        " 'barfuncs quotation' makes a quotation of workbooks as they are." if any(outcome.by_hand.values()) else ""), markup=False)


def _show_earlier(console: Any, outcome: Any) -> None:
    """Name the workbooks of earlier runs that this list does not speak for."""
    from barfuncs.text.characters import escaped

    if outcome.stale:
        console.print(f"\n{len(outcome.stale)} workbooks of earlier runs do not go with the list any more:", style="bold")
        for stale in outcome.stale[:_MOST_SHOWN]:
            console.print(escaped(f"{stale.file}: {stale.why}" + (f"; moved to {stale.moved_to}" if stale.moved_to else "")), markup=False)
        if len(outcome.stale) > _MOST_SHOWN:
            console.print(f"... and {len(outcome.stale) - _MOST_SHOWN} more, marked in results.csv")
        if not all(stale.moved_to for stale in outcome.stale):
            console.print("Those that are still there are marked in results.csv; --replace moves them aside where the job is "
                          "still in the list, under another name or with problems.")
    if outcome.of_other_lists:
        lists = ", ".join(f"{count} of {escaped(name)}" for name, count in outcome.of_other_lists.items())
        console.print(f"\nIn the folder too, from other lists: {lists}.", markup=False)


@main.command()
@click.argument("files", nargs=-1, required=True, type=click.Path(exists=True))
@click.option("--out", required=True, type=NewPath(file_okay=False), help="Folder for the quotations.")
@click.option("--number", default="", help="Quote number of all FILES together, as one quotation.")
@SHOP
@REPLACE
def quotation(files: tuple[str, ...], out: str, number: str, shop_file: str | None, replace: bool) -> None:
    """Make one quotation for the customer of several filled workbooks.

    FILES are quotes of 'barfuncs quote' or filled by hand, quotation.xlsx filled
    by hand, or folders of them. Those with the same quote number become one
    quotation, an xlsx and a PDF, without your costs. Everything is calculated
    anew first. A line that a check stops, or without a price, is refused, and
    nothing is written for its quotation. --shop gives logo, sender and terms
    that a workbook does not say.
    """
    from barfuncs.filling.quotations import quote_files, summary
    from barfuncs.text.characters import escaped

    try:
        done = quote_files(files, out, number=number.strip(), shop=shop_of(shop_file), replace=replace)
    except (BarfuncsError, OSError) as error:
        fail(error)
        return
    for line in summary(done):
        click.echo(escaped(line))
    for name in done.left_out:
        click.echo(f"Left out, no quote: {escaped(name)}")
    failed = [made for made in done.made if made.problems]
    for made in failed:
        what = f"quotation {made.number}" if made.number else f"quotation of {', '.join(made.sources)}" if made.sources else "any quotation"
        click.echo(f"barfuncs: nothing is written for {escaped(what)}:", err=True)
        for where, reason in made.problems[:MOST_PROBLEMS]:
            click.echo(f"  {escaped(where)}: {escaped(reason)}", err=True)
    if failed:
        sys.exit(1)


@main.command(context_settings={"ignore_unknown_options": True})
@click.argument("function")
@click.argument("arguments", nargs=-1, type=click.UNPROCESSED)
@UNITS
@MATERIALS
def calc(function: str, arguments: tuple[str, ...], units: str | None, materials_file: str | None) -> None:
    """Call one FUNCTION.

    ARGUMENTS stand in their order or as name=value (see 'barfuncs functions').
    Rows and lists of values are read from a CSV file too: @ and its name.
    Bare lengths and the result are in inch units unless --units mm; next to a
    metric length say which.

    \b
    barfuncs calc parts_per_bar "12 ft" 2.25 0.125 3
    barfuncs calc bar_weight "Brass C36000" hexagon 19 3000 --units mm
    barfuncs calc parts_to_make 1000 scrap_rate=3%
    barfuncs calc finished_weight "round 1/2 x 3/4 bore 1/4; hex 3/4 x 3/8" 12L14
    barfuncs calc part_volume @part.csv --units mm
    """
    from barfuncs.catalogue import materials
    from barfuncs.catalogue.entry import find
    from barfuncs.catalogue.reading import Way, read_arguments

    try:
        if materials_file:
            materials.use_materials(materials_file)
        entry = find(function)
        positional, named = _named_apart(entry, arguments)
        given: list[Any] = list(positional)
        for n, a in enumerate(entry.arguments):
            if a.kind.reader == "table":
                given[n:n + 1] = map(_from_file, given[n:n + 1])
                if a.name in named:
                    named[a.name] = _from_file(named[a.name])
        last = positional[-1] if entry.has_units and len(positional) == len(entry.arguments) else named.get("units")
        if units and last and last != units:
            raise InputError(entry.name, [("units", f"{last!r} and --units {units} contradict each other")])
        if not last and entry.takes_units and (units or (entry.has_units and entry.arguments[-1].required)):
            named["units"] = units or "in"
        values, read_in, _ = read_arguments(entry, [p or None for p in given], named, Way("add --units in or --units mm"))
        result = entry.core(*values)
    except (BarfuncsError, TypeError, OSError) as error:
        fail(error)
        return
    for line in _result_lines(entry, result, read_in):
        click.echo(line)


def _named_apart(entry: Any, arguments: tuple[str, ...]) -> tuple[list[str], dict[str, Any]]:
    """Arguments by their order, and those written as name=value."""
    names = [a.name for a in entry.arguments]
    positional: list[str] = []
    named: dict[str, Any] = {}
    problems = []
    for argument in arguments:
        name, mark, value = argument.partition("=")
        if not mark or not name.isidentifier():
            positional.append(argument)
        elif name not in names and name != "units":
            problems.append((name, f"is not an argument; it takes {', '.join(names)}"))
        elif name in named:
            problems.append((name, "is given twice"))
        else:
            named[name] = value or None
    if problems:
        raise InputError(entry.name, problems)
    return positional, named


def _from_file(value: Any) -> Any:
    """The rows of the CSV file that `@` names, or the text as it is."""
    if not isinstance(value, str) or not value.startswith("@"):
        return value
    from barfuncs.text.csv_text import read_csv
    from barfuncs.text.datafile import read_file

    rows: list[list[str]] = read_file(value[1:], "calc", lambda data: list(read_csv(data)))
    return rows


_WIDTH = 80


def _result_lines(entry: Any, result: Any, units: str) -> list[str]:
    if isinstance(result, list):
        from barfuncs.functions.cost import TABLE_HEADS

        if entry.name in TABLE_HEADS:
            return _table_lines(TABLE_HEADS[entry.name], [[value if isinstance(value, str) else _money(value) for value in row] for row in result])
        return [line for value in result for line in _value_lines(entry, value, units)]
    return _value_lines(entry, result, units)


def _value_lines(entry: Any, result: Any, units: str) -> list[str]:
    if isinstance(result, str):
        return [result]
    unit = entry.result.unit(units)
    text = f"{result:,d}" if isinstance(result, int) else f"{result:,.10g}"
    return [text + (f" {unit}" if unit else "")]


def _money(value: float) -> str:
    """A count, or an amount with two decimals; small prices have up to four."""
    if isinstance(value, int):
        return f"{value:,d}"
    text = f"{value:,.2f}"
    return text if value >= 100 or float(f"{value:.4f}") == float(f"{value:.2f}") else f"{value:,.4f}"


def _table_lines(heads: tuple[str, ...], rows: list[list[str]]) -> list[str]:
    """A table with its heads on the left and a column for each row, as many side by side as fit."""
    left, wide = max(map(len, heads)), max(len(cell) for row in rows for cell in row)
    together = max(1, (_WIDTH - left) // (wide + 2))
    blocks = [rows[n:n + together] for n in range(0, len(rows), together)]
    lines = [[f"{head:<{left}}" + "".join(f"  {row[n]:>{wide}}" for row in block) for n, head in enumerate(heads)]
             for block in blocks]
    return [line for n, block in enumerate(lines) for line in ([""] if n else []) + block]


@main.command()
@click.argument("workbook", type=click.Path(exists=True, dir_okay=False))
@click.option("--write", is_flag=True, help="Write the calculated values into the workbook.")
@click.option("--out", type=NewPath(dir_okay=False), help="Write them into this file instead.")
@REPLACE
def recalc(workbook: str, write: bool, out: str | None, replace: bool) -> None:
    """Calculate WORKBOOK and show its named results.

    With --write the values go into the file itself, so that a reader that never
    calculates shows them; everything else in the file stays as it is. #N/A is
    what a result that is not known yet shows; any other error in a cell gives
    the exit status 1.
    """
    from rich.table import Table
    from rich.text import Text

    from barfuncs.xlsx.sandbox import calculate

    try:
        if write and out:
            raise InputError("recalc", [("--out", "give either --write or --out")])
        book = calculate(workbook)
    except (BarfuncsError, OSError) as error:
        fail(error)
    if out or write:
        write_file("recalc", out or workbook, lambda: book.data, replace or write)
    table = Table(box=None, header_style="bold", pad_edge=False)
    table.add_column("Name", no_wrap=True)
    table.add_column("Value", justify="right", overflow="fold")
    for name, value in book.results.items():
        table.add_row(name, Text(f"{value:,.10g}" if isinstance(value, float) else "" if value is None else str(value)))
    console = on_terminal()
    if table.row_count:
        console.print(table)
    errors = [(cell, kind) for cell, kind in book.errors if kind != "#N/A"]
    unknown = len(book.errors) - len(errors)
    console.print(f"\n{book.formulas:,} formulas calculated, {unknown:,} not known (#N/A), {len(errors):,} errors"
                  + (f"; written to {out or workbook}" if write or out else ""), markup=False)
    for cell, kind in errors[:_MOST_ERRORS]:
        console.print(f"  {cell}: {kind}" + (" (the formula refers back to itself)" if kind == "#CIRC!" else ""), markup=False)
    if len(errors) > _MOST_ERRORS:
        console.print(f"  ... and {len(errors) - _MOST_ERRORS:,} more")
    if errors:
        sys.exit(1)


_MOST_ERRORS = 10


@main.command()
@click.argument("workbook", type=click.Path(exists=True, dir_okay=False))
@click.option("--out", type=NewPath(dir_okay=False), help="Leave WORKBOOK as it is and write this file.")
@REPLACE
def names(workbook: str, out: str | None, replace: bool) -> None:
    """Add the functions to WORKBOOK as names that need no add-in.

    They work in Excel 2024 or Microsoft 365, on Windows, Mac and the web:
    =PARTS_PER_BAR(144,2.25,0.125,3). Give --out for a new file, or --replace to
    change WORKBOOK itself; everything else in it stays as it is.
    """
    from barfuncs.surfaces.names import add_names, named_functions
    from barfuncs.xlsx.package import pack

    if not out and not replace:
        fail(InputError("names", [("--out", "give a new file, or --replace to change the workbook itself")]))
    write_file("names", out or workbook, lambda: pack(add_names(workbook)), replace)
    click.echo(f"{len(named_functions())} functions are names in {out or workbook} now.")


@main.command()
@click.option("--group", help="Only this group.")
def functions(group: str | None) -> None:
    """List every function with its arguments and meaning."""
    from rich.padding import Padding
    from rich.text import Text

    import barfuncs
    from barfuncs.catalogue.entry import GROUPS

    if group is not None and group.strip().title() not in GROUPS:
        fail(InputError("functions", [("--group", f"{group!r} given; allowed is one of {', '.join(GROUPS)}")]))
    console = on_terminal()
    for name in GROUPS:
        entries = [e for e in barfuncs.CATALOGUE.values() if e.group == name and (group is None or group.strip().title() == name)]
        if not entries:
            if group is not None and group.strip().title() == name:
                console.print(f"The group {name} has no functions yet.")
            continue
        console.print(name, style="bold underline")
        for entry in entries:
            shown = ", ".join(a.name if a.required else f"[{a.name}]" for a in entry.arguments)
            console.print(Padding(Text(f"{entry.name}({shown})", style="bold"), (0, 0, 0, 2)))
            console.print(Padding(Text(entry.summary), (0, 0, 0, 6)))
        console.print()


@main.command()
@click.option("--out", type=NewPath(dir_okay=False), help="Write the page into this file.")
@REPLACE
def reference(out: str | None, replace: bool) -> None:
    """Print all functions as a page, with limits and examples.

    The page is Markdown. --out writes it into a file.
    """
    from barfuncs.surfaces.reference import page

    if out is None:
        click.echo(page(), nl=False)
        return
    write_file("reference", out, lambda: page().encode(), replace)
    click.echo(out)


@main.command()
@click.argument("folder", type=NewPath(file_okay=False))
@SHOP
@REPLACE
def templates(folder: str, shop_file: str | None, replace: bool) -> None:
    """Write the ready workbooks and an empty list into FOLDER.

    With --shop, job plan and quote have your machines, prices and rates to pick
    from. shop.xlsx is an example of such a file: put your own figures into it.
    """
    from barfuncs.surfaces.ready_made import FOR_A_SHOP, READY_MADE
    from barfuncs.templates.registry import TEMPLATES
    from barfuncs.xlsx.package import write_whole

    target = Path(folder)
    header = ",".join(dict.fromkeys(name for t in TEMPLATES.values() for name in t.inputs if name in t.form.inputs)) + "\n"
    try:
        shop = shop_of(shop_file)
        target.mkdir(parents=True, exist_ok=True)
        files = {f"{name}.xlsx": FOR_A_SHOP[name](shop) if name in FOR_A_SHOP else build()
                 for name, build in READY_MADE.items() if not (shop and name == "shop")}
        files["jobs.csv"] = header.encode()
        taken = [name for name in files if (target / name).exists()]
        if taken and not replace:
            raise InputError("templates", [(name, "exists already; use --replace to overwrite it") for name in taken])
        for name, data in files.items():
            write_whole(target / name, data, replace)
            click.echo(target / name)
    except (BarfuncsError, OSError) as error:
        fail(error)
