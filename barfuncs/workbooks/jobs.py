"""A list of jobs: read from CSV or xlsx, planned row by row, with one file for each and a table of results."""

import csv
import io
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, cast

from barfuncs import materials
from barfuncs.errors import InputError, WorkbookError
from barfuncs.quantity import bars_for_confidence
from barfuncs.workbooks import job_plan
from barfuncs.workbooks.fill import Filled, filler, read_inputs, unknown_input
from barfuncs.workbooks.package import LARGEST_FILE, pack, read_parts, write_whole
from barfuncs.workbooks.sheetxml import CellError, Value

MOST_ROWS = 20_000
RESULT_NAMES = tuple(name for group in job_plan.ANSWERS.values() for name in (a.name for a in group))


@dataclass(frozen=True)
class Job:
    """One row of a list: where it stands and what it says."""

    row: int
    values: dict[str, Any]


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
    """What became of a list: (row, file name, workbook) of the good rows, and the problems."""

    done: list[tuple[int, str, Filled]] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    random_bars: dict[int, int | None] = field(default_factory=dict)


def read_jobs(path: str | Path) -> list[Job]:
    """Read a list of jobs; the first row names the inputs, by name or by label.

    Raises InputError for an unknown or doubled column (with the nearest name), WorkbookError for a file that can't be read.
    """
    path = Path(path)
    if not path.is_file():
        raise WorkbookError(f"{path.name}: there is no such file")
    if path.stat().st_size > LARGEST_FILE:
        raise WorkbookError(f"{path.name} is larger than {LARGEST_FILE // 1_000_000} MB")
    rows = _xlsx_rows(path) if path.suffix.lower() in (".xlsx", ".xlsm") else _csv_rows(path)
    header: list[str] | None = None
    jobs: list[Job] = []
    for number, cells in rows:
        if not any(c is not None and str(c).strip() for c in cells):
            continue
        if header is None:
            header = _read_header(path.name, cells)
            continue
        extra = [c for c in cells[len(header):] if c is not None and str(c).strip()]
        values = {name: value for name, value in zip(header, cells, strict=False) if name}
        if extra:
            # Kept, so that the row is refused and not read with shifted cells.
            values[""] = extra
        jobs.append(Job(number, values))
        if len(jobs) > MOST_ROWS:
            raise WorkbookError(f"{path.name} has more than {MOST_ROWS:,} rows; split it")
    if header is None:
        raise WorkbookError(f"{path.name} is empty: the first row must name the inputs")
    return jobs


def _read_header(file: str, cells: Sequence[Any]) -> list[str]:
    by_label = {_key(i.label): i.name for i in job_plan.ALL_INPUTS.values()}
    header, problems = [], []
    for cell in cells:
        text = "" if cell is None else str(cell).strip()
        key = _key(text)
        name = key if key in job_plan.ALL_INPUTS else by_label.get(key, "")
        if text and not name:
            problems.append((text[:60], unknown_input(text)))
        elif name and name in header:
            problems.append((text[:60], "stands twice in the first row"))
        header.append(name)
    if problems:
        raise InputError(file, problems)
    return header


def _key(text: str) -> str:
    return re.sub(r"[\s-]+", "_", text.strip().rstrip("*").strip().lower())


def _csv_rows(path: Path) -> Iterator[tuple[int, list[Any]]]:
    try:
        text = path.read_text("utf-8-sig")
    except UnicodeDecodeError:
        raise WorkbookError(f"{path.name} is neither an .xlsx file nor a CSV text in UTF-8") from None
    if "\0" in text:
        raise WorkbookError(f"{path.name} is not a CSV text")
    first = text.split("\n", 1)[0]
    delimiter = max(",;\t", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    try:
        for cells in reader:
            yield reader.line_num, cells
    except csv.Error as error:
        raise WorkbookError(f"{path.name}, line {reader.line_num}: {error}") from None


def _xlsx_rows(path: Path) -> Iterator[tuple[int, list[Any]]]:
    import openpyxl

    data = pack(read_parts(path), level=1)
    try:
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True, keep_links=False)
        sheet = book.worksheets[0]
        for number, cells in enumerate(sheet.iter_rows(values_only=True, max_row=MOST_ROWS + 2), start=1):
            yield number, list(cells)
    except (KeyError, ValueError, TypeError, IndexError, AttributeError) as error:
        raise WorkbookError(f"{path.name} can't be read as a workbook ({error})") from None


_TAKEN = "exists already; allow replacing (--replace) or choose another folder"


def plan_jobs(jobs: Iterable[Job], out: str | Path, *, source: str = "jobs", units: str | None = None,
              decimal_comma: bool = False, replace: bool = False, table: materials.Materials | None = None,
              progress: Callable[[], None] | None = None) -> Outcome:
    """Fill one job plan for each job, then write results.csv and results.xlsx. Bad rows are listed, good rows are done."""
    out = Path(out)
    out.mkdir(parents=True, exist_ok=True)
    table = table or materials.active()
    outcome = Outcome()
    taken = {"results.csv", "results.xlsx", source.casefold()}
    for job in jobs:
        try:
            if "" in job.values:
                raise InputError(source, [("", "the row has more cells than the first row has names")])
            inputs = read_inputs(job.values, units=units, decimal_comma=decimal_comma, table=table)
            filled = filler("job_plan").fill(inputs, table)
            random_bars = _bars_of_random_lengths(filled)
            name = _file_name(inputs, job.row, taken)
            filled.save(out / name, replace)
            outcome.random_bars[job.row] = random_bars
            outcome.done.append((job.row, name, filled))
        except InputError as error:
            for column, reason in error.problems:
                value = job.values.get(column)
                outcome.problems.append(Problem(source, job.row, column, "" if value is None else str(value)[:60], reason))
        except FileExistsError:
            outcome.problems.append(Problem(source, job.row, "", "", f"{name} {_TAKEN}"))
        except OSError as error:
            outcome.problems.append(Problem(source, job.row, "", "", f"{name} can't be written ({error.strerror})"))
        if progress:
            progress()
    if outcome.done:
        _write_results(out, source, outcome, replace)
    return outcome


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


def _write_results(out: Path, source: str, outcome: Outcome, replace: bool) -> None:
    heads = ["row", "file", "job", "customer", "part_number", "units", "material", "shape", "size", "quantity",
             *RESULT_NAMES, "bars_at_95_percent", "status"]
    lines = []
    for row, name, filled in outcome.done:
        known = {**filled.inputs, **{n: filled.answers[n] for n in RESULT_NAMES}, "status": filled.answers["status"]}
        known.update(row=row, file=name, bars_at_95_percent=outcome.random_bars[row])
        if known["fewest_bars"] == "-":
            known["fewest_bars"] = None
        lines.append([None if isinstance(known[h], CellError) else known[h] for h in heads])
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(heads)
    writer.writerows([_csv_cell(c) for c in line] for line in lines)
    for name, data in (("results.csv", text.getvalue().encode("utf-8-sig")), ("results.xlsx", _results_xlsx(heads, lines))):
        try:
            write_whole(out / name, data, replace)
        except FileExistsError:
            outcome.problems.append(Problem(source, 0, "", "", f"{name} {_TAKEN}"))


def _bars_of_random_lengths(filled: Filled) -> int | None:
    """Bars to buy of a lot of random lengths: a sum over all lengths, which no cell formula of the template works out."""
    i, a = filled.inputs, filled.answers
    if i["longest_bar"] is None:
        return None
    bars: int = bars_for_confidence(int(cast(float, a["starts"])), i["bar_length"], i["longest_bar"], a["feed"],
                                    a["min_remnant"], i["end_trim"] or 0)
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
