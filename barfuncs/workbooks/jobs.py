"""A list of jobs: read from CSV or xlsx, planned row by row, with one file for each and a table of results."""

import collections
import csv
import datetime
import errno
import io
import itertools
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from barfuncs import materials
from barfuncs.characters import unfit
from barfuncs.errors import InputError, WorkbookError
from barfuncs.quantity import bars_for_confidence
from barfuncs.workbooks.engine import column_letters
from barfuncs.workbooks.fill import TEMPLATES, Filled, filler, names_of, read_job
from barfuncs.workbooks.headings import Headings, Names, is_blank, read_headings, row_of_headings
from barfuncs.workbooks.package import write_whole
from barfuncs.workbooks.rows import read_rows
from barfuncs.workbooks.sheetxml import CellError, Value
from barfuncs.workbooks.shop import Shop

MOST_ROWS = 20_000
_CONFIDENCE = 0.95
"""Of the bars to buy of a lot of random lengths."""


@dataclass(frozen=True)
class Job:
    """One row of a list: where it stands, what it says, and why its cells can't be told apart (or nothing)."""

    row: int
    values: dict[str, Any]
    problem: str = ""


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong with a list: file, row (0 for the list as a whole), column, value, reason."""

    file: str
    row: int
    column: str
    value: str
    reason: str


@dataclass
class Outcome:
    """What became of a list: (row, file name, workbook) of the good rows, and the problems.

    `stopped` says why the rest of the list was left; `taken_as_inch` that bare numbers were read as inch since nothing
    said what they are in.
    """

    done: list[tuple[int, str, Filled]] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    random_bars: dict[int, int | None] = field(default_factory=dict)
    total: int = 0
    stopped: str = ""
    results_written: bool = False
    taken_as_inch: bool = False


class Interrupted(KeyboardInterrupt):
    """Ctrl-C while a list is planned. The results of what is done are written; `outcome` says what that is."""

    def __init__(self, outcome: Outcome) -> None:
        self.outcome = outcome
        super().__init__()


class Jobs(list[Job]):
    """The jobs of a list, and in `notes` what of it was left out: titles above the headings, totals, columns that are no
    inputs."""

    notes: tuple[Problem, ...] = ()


_HEADINGS_WITHIN = 20
"""Rows in which the headings are looked for, blank ones not counted."""
_TOTAL = re.compile(r"(?:(?:grand|sub)[ -]?)?(?:totals?|sums?)"
                    r"(?: (?:parts|pcs|pieces|qty|quantity|jobs|orders|bars|weight|hours|amount|cost))?:?", re.IGNORECASE)
_AMOUNT = re.compile(r"[-+(]?[$€£]? ?[0-9][0-9.,' ]*[%)]?")


def read_jobs(path: str | Path, template: str = "job_plan") -> Jobs:
    """Read a list of jobs for a template; a row near its beginning names the inputs, by name, label or everyday name.

    One list serves all templates: columns of another template are left aside, and a quote takes `quantity` for its first.

    Raises InputError for headings that can't be used (with what to write instead), WorkbookError for a file that can't be
    read.
    """
    path = Path(path)
    rows = ((number, cells) for number, cells in read_rows(path) if not all(map(is_blank, cells)))
    first = list(itertools.islice(rows, _HEADINGS_WITHIN))
    if not first:
        raise WorkbookError(f"{path.name} is empty: the first row must name the inputs")
    called = names_of(template)
    at = row_of_headings(called, [cells for _, cells in first])
    headings = read_headings(path.name, called, first[at][1])
    notes = [_left_out(path.name, number, cells, f"above the headings in row {first[at][0]}") for number, cells in first[:at]]
    if headings.aside:
        few = ", ".join(headings.aside[:_MOST_COLUMNS_NAMED]) + (", ..." if len(headings.aside) > _MOST_COLUMNS_NAMED else "")
        notes.append(Problem(path.name, first[at][0], "", few, f"{_columns(len(headings.aside))} left out: no input is called so"))
    jobs = Jobs()
    last: collections.deque[tuple[Job, list[Any]]] = collections.deque(maxlen=_MOST_TOTALS)
    for number, cells in itertools.chain(first[at + 1:], rows):
        if cells == first[at][1]:
            notes.append(_left_out(path.name, number, cells, "the headings once more"))
            continue
        values, problem = headings.values(cells)
        jobs.append(Job(number, values, _shifted(headings, cells) or problem or _unfit(values)))
        last.append((jobs[-1], cells))
        if len(jobs) > MOST_ROWS:
            raise WorkbookError(f"{path.name} has more than {MOST_ROWS:,} rows; split it")
    while last and _is_total(*last[-1], called):
        job, cells = last.pop()
        notes.append(_left_out(path.name, job.row, cells, "a total of the rows above"))
        jobs.pop()
    if not jobs:
        raise WorkbookError(f"{path.name} has no jobs, only the row with the names")
    jobs.notes = tuple(sorted(notes, key=lambda note: note.row))
    return jobs


_MOST_TOTALS, _MOST_COLUMNS_NAMED = 5, 20


def _left_out(file: str, row: int, cells: Sequence[Any], why: str) -> Problem:
    texts = [str(cell).strip() for cell in cells if not is_blank(cell)]
    return Problem(file, row, "", " | ".join(texts)[:60], f"left out: {why}")


def _columns(number: int) -> str:
    return f"{number:,} column" + ("s" if number > 1 else "")


def _shifted(headings: Headings, cells: Sequence[Any]) -> str:
    """Why the cells of a row may have shifted against the headings. Such a row is refused and not read."""
    filled = [n for n, cell in enumerate(cells) if not is_blank(cell)]
    if filled[-1] >= len(headings.columns):
        return "the row has more cells than there are headings"
    nameless = [column_letters(n + 1) for n in filled if not headings.columns[n].name]
    return f"has a value in column {', '.join(nameless[:5])}, which has no heading" if nameless else ""


def _unfit(values: Mapping[str, Any]) -> str:
    """What no workbook can hold."""
    found = ((name, unfit(value)) for name, value in values.items() if isinstance(value, str))
    return next((f"{name} has the character {character}, which can't be seen and which no workbook can hold; remove it"
                 for name, character in found if character), "")


def _is_total(job: Job, cells: Sequence[Any], called: Names) -> bool:
    """Whether a row says Total and numbers, and is too little for a job."""
    filled = [cell for cell in cells if not is_blank(cell)]
    return bool(not called.needed <= job.values.keys() and isinstance(filled[0], str) and _TOTAL.fullmatch(filled[0].strip())
                and all(isinstance(c, (int, float, CellError)) or (isinstance(c, str) and _AMOUNT.fullmatch(c.strip()))
                        for c in filled[1:]))


_TAKEN = "exists already; allow replacing (--replace) or choose another folder"


def plan_jobs(jobs: Iterable[Job], out: str | Path, *, template: str = "job_plan", source: str = "jobs",
              units: str | None = None, decimal_comma: bool = False, replace: bool = False,
              table: materials.Materials | None = None, shop: Shop | None = None,
              progress: Callable[[], None] | None = None) -> Outcome:
    """Fill one workbook for each job, then write results.csv and results.xlsx. Bad rows are listed, good rows are done.

    Raises Interrupted on Ctrl-C, after writing the results of what is done.
    """
    out = Path(out)
    out.mkdir(parents=True, exist_ok=True)
    table = table or materials.active()
    jobs = list(jobs)
    outcome = Outcome(total=len(jobs))
    plan = _Planner(template, shop, out, source, units, decimal_comma, replace, table, outcome)
    try:
        for job, read in plan.with_units_settled([(job, plan.read(job)) for job in jobs]):
            if read is not None:
                plan.plan(job, read[0])
            if progress:
                progress()
    except OSError as error:  # a full disk: the rows that follow would fail alike
        outcome.stopped = f"stopped: {error.strerror or error}"
    except KeyboardInterrupt:
        outcome.stopped = "interrupted"
        plan.finish()
        raise Interrupted(outcome) from None
    plan.finish()
    return outcome


Read = tuple[dict[str, Value], bool]
"""What `read_job` gives: the inputs, and whether bare numbers were taken as inch."""


class _Planner:
    """Reads and plans the rows of one list into one folder."""

    def __init__(self, template: str, shop: Shop | None, out: Path, source: str, units: str | None, decimal_comma: bool, replace: bool,
                 table: materials.Materials, outcome: Outcome) -> None:
        self.template, self.shop = template, shop
        self.out, self.source, self.units, self.decimal_comma = out, source, units, decimal_comma
        self.replace, self.table, self.outcome = replace, table, outcome
        self.taken = {"results.csv", "results.xlsx", source.casefold()}

    def problem(self, row: int, reason: str, column: str = "", value: Any = None) -> None:
        self.outcome.problems.append(Problem(self.source, row, column, _shown(value), reason))

    def refuse(self, job: Job, error: InputError) -> None:
        for column, reason in error.problems:
            value = job.values.get(column)
            if not self.decimal_comma and isinstance(value, str) and re.search(r"\d,\d", value) and "a comma" in reason:
                reason += " (--decimal-comma reads 12,5 as twelve and a half)"
            self.problem(job.row, reason, column, value)

    def read(self, job: Job) -> Read | None:
        if job.problem:
            self.problem(job.row, job.problem)
            return None
        try:
            return read_job(job.values, self.template, units=self.units, decimal_comma=self.decimal_comma,
                            table=self.table, shop=self.shop)
        except InputError as error:
            self.refuse(job, error)
            return None

    def with_units_settled(self, rows: list[tuple[Job, Read | None]]) -> list[tuple[Job, Read | None]]:
        """Bare numbers without a word on their unit are inches, but not in a list where other rows are metric."""
        metric = next((job.row for job, read in rows if (read is not None and read[0]["units"] == "mm")
                       or str(job.values.get("units") or "").strip().casefold() == "mm"), None)
        if metric is None:
            self.outcome.taken_as_inch = any(read is not None and read[1] for _, read in rows)
            return rows
        settled: list[tuple[Job, Read | None]] = []
        for job, read in rows:
            if read is not None and read[1]:
                self.problem(job.row, f"nothing says whether the numbers are inch or mm, and row {metric} is in mm: fill in "
                                      "the column units, or give --units", "units")
                read = None
            settled.append((job, read))
        return settled

    def plan(self, job: Job, inputs: dict[str, Value]) -> None:
        name = ""
        try:
            filled = filler(self.template, self.shop).fill(inputs, self.table)
            if self.template == "quote" and filled.answers["stops"]:
                # A plan that a check stops is still of use; a price is not, and nobody may look before it is sent.
                raise InputError("quote", [("job", str(filled.answers["stops"]).strip())])
            if self.template == "job_plan":
                self.outcome.random_bars[job.row] = _bars_of_random_lengths(filled, self.shop)
            name = _file_name(inputs, job.row, self.taken)
            try:
                filled.save(self.out / name, self.replace)
            except KeyboardInterrupt:
                path = self.out / name
                if path.is_file() and path.read_bytes() == filled.data:  # it came between the writing and the noting
                    self.outcome.done.append((job.row, name, filled))
                raise
            self.outcome.done.append((job.row, name, filled))
        except InputError as error:
            self.refuse(job, error)
        except FileExistsError:
            self.problem(job.row, f"{name} {_TAKEN}")
        except OSError as error:
            self.problem(job.row, f"{name} can't be written ({error.strerror or error})")
            if error.errno in (errno.ENOSPC, errno.EDQUOT):
                raise

    def finish(self) -> None:
        """Write the results of what is done."""
        self.outcome.problems.sort(key=lambda p: p.row)
        if not self.outcome.done:
            return
        for name, data in _results(self.outcome).items():
            try:
                write_whole(self.out / name, data, self.replace)
                self.outcome.results_written = True
            except FileExistsError:
                self.problem(0, f"{name} {_TAKEN}")
            except OSError as error:
                self.problem(0, f"{name} can't be written ({error.strerror or error})")


def _shown(value: Any) -> str:
    if isinstance(value, datetime.datetime) and value.time() == datetime.time():
        value = value.date()
    return "" if value is None else str(value)[:60]


_RESERVED = re.compile(r"(con|prn|aux|nul|com[0-9\u00b9\u00b2\u00b3]|lpt[0-9\u00b9\u00b2\u00b3])(\..*)?", re.IGNORECASE)


def safe_name(text: str) -> str:
    """A file name that every system takes: no path parts, no reserved names, not too long.

    >>> safe_name("../../etc/passwd"), safe_name("CON"), safe_name("Valve 3/8 : A")
    ('etc_passwd', '_CON', 'Valve 3_8 _ A')
    """
    text = "".join(c if c.isalnum() or c in " ._-()+" else "_" for c in text)
    text = re.sub(r"_+", "_", text).strip(" ._")[:80].strip(" ._")
    return f"_{text}" if _RESERVED.fullmatch(text) else text


def _file_name(inputs: dict[str, Value], row: int, taken: set[str]) -> str:
    stem = safe_name("_".join(str(inputs[n]) for n in ("job", "part_number") if inputs.get(n))) or f"row {row}"
    name, again = f"{stem}.xlsx", 1
    while name.casefold() in taken:
        name = f"{stem} row {row}.xlsx" if again == 1 else f"{stem} row {row}-{again}.xlsx"
        again += 1
    taken.add(name.casefold())
    return name


def _results(outcome: Outcome) -> dict[str, bytes]:
    """The files of results, by name."""
    template = outcome.done[0][2].template
    answers = TEMPLATES[template].RESULTS
    heads = ["row", "file", "job", "customer", "part_number", "units", "material", "shape", "size",
             *(n for n in TEMPLATES[template].ALL_INPUTS if n.startswith("quantity")),
             *answers, *(["bars_at_95_percent"] if outcome.random_bars else []), "status"]
    lines = []
    for row, name, filled in outcome.done:
        known = {**filled.inputs, **{n: filled.answers[n] for n in answers}, "status": filled.answers["status"]}
        known.update(row=row, file=name, bars_at_95_percent=outcome.random_bars.get(row))
        known = {k: None if v == "-" else v for k, v in known.items()}
        lines.append([None if isinstance(known[h], CellError) else known[h] for h in heads])
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(heads)
    writer.writerows([_csv_cell(c) for c in line] for line in lines)
    return {"results.csv": text.getvalue().encode("utf-8-sig"), "results.xlsx": _results_xlsx(heads, lines)}


def _bars_of_random_lengths(filled: Filled, shop: Shop | None) -> int | None:
    """Bars to buy of a lot of random lengths: a sum over all lengths, which no cell formula of the template works out."""
    i, a = filled.inputs, filled.answers
    if i["longest_random_bar"] is None:
        return None
    scrap_rate = i["scrap_rate"]
    if scrap_rate is None and shop:  # left blank, it is the shop's, as in the template
        scrap_rate = shop.rates.scrap_rate
    bars: int = bars_for_confidence(i["quantity"], i["bar_length"], i["longest_random_bar"], a["bar_per_part"], a["min_remnant"],
                                    i["end_trim"] or 0, scrap_rate or 0, i["setup_parts"] or 0, _CONFIDENCE)
    return bars


def _csv_cell(value: Value) -> Any:
    """A text that a spreadsheet would take for a formula gets an apostrophe in front."""
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r"):
        return "'" + value
    if isinstance(value, float):
        return int(value) if value.is_integer() and abs(value) < 1e15 else round(value, 10)
    return "" if value is None else value


def _results_xlsx(heads: list[str], lines: list[list[Value]]) -> bytes:
    from openpyxl.worksheet.table import Table, TableStyleInfo

    from barfuncs.workbooks import layout

    book = layout.new_workbook("Results")
    sheet = book.create_sheet("Results")
    sheet.append(heads)
    for row, line in enumerate(lines, start=2):
        for column, value in enumerate(line, start=1):
            cell = sheet.cell(row, column, value)
            if isinstance(value, str):
                cell.data_type = "s"
            elif isinstance(value, float) and not value.is_integer():
                cell.number_format = "#,##0.00##"
    for column, head in enumerate(heads, start=1):
        sheet.cell(1, column).font = layout.font(bold=True, color=layout.ACCENT)
        sheet.column_dimensions[sheet.cell(1, column).column_letter].width = max(11, min(34, len(head) + 2))
    for column in (2, 4, 7):
        sheet.column_dimensions[sheet.cell(1, column).column_letter].width = 28
    table = Table(displayName="results", ref=f"A1:{sheet.cell(1, len(heads)).column_letter}{len(lines) + 1}")
    table.tableStyleInfo = TableStyleInfo(name="TableStyleLight1", showRowStripes=True)
    sheet.add_table(table)
    sheet.freeze_panes = "C2"
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()
