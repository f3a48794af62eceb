"""Quotations from workbooks that come from outside: filled quotes, and quotations filled in by hand, one or several together.

What stands in them is calculated anew, in a process of its own: a value that a file has stored may be older than its inputs.
"""

import functools
import os
import re
import threading
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from xml.sax.saxutils import unescape

from barfuncs.errors import BarfuncsError, InputError, WorkbookError
from barfuncs.filling.lists import place_together, safe_name
from barfuncs.filling.quotation_data import Quotation
from barfuncs.filling.quotation_files import files_of, free_stem
from barfuncs.filling.quoted import Source, quotation_of
from barfuncs.templates import quotation as by_hand
from barfuncs.templates.model import LOOK, STOP
from barfuncs.templates.registry import TEMPLATES
from barfuncs.templates.shop import Shop
from barfuncs.templates.template import ForCustomer, Template
from barfuncs.text.characters import in_words, unfit
from barfuncs.xlsx import sandbox
from barfuncs.xlsx.package import LARGEST_FILE, read_parts, worksheets
from barfuncs.xlsx.sheetxml import CellError, SheetXML, Value
from barfuncs.xlsx.typed_formulas import stored_otherwise

SECONDS, MEMORY = 20, 1_000_000_000
"""For one workbook."""
MOST_FILES = 1_000
_AT_A_TIME = 4
_DAYS_TO_1904 = 1462
_MOST_DOUBTS = 10
_DAYS = ("quote_date", "valid_said", "valid_until")


class NoQuote(WorkbookError):  # noqa: N818 - what a file is, not what is wrong with it
    """A workbook that is neither a quote nor a quotation."""


@dataclass
class Made:
    """One quotation: its number, the files that it was made from, the files that it became, what is wrong, and what asks for a second
    look; both of the latter by file."""

    number: str
    sources: list[str] = field(default_factory=list)
    files: list[Path] = field(default_factory=list)
    lines: int = 0
    unchanged: bool = False
    problems: list[tuple[str, str]] = field(default_factory=list)
    looks: list[tuple[str, str]] = field(default_factory=list)


@dataclass
class Quoted:
    """What became of all files; `left_out` are those of folders that are neither quotes nor quotations."""

    made: list[Made] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)


def quote_files(paths: Iterable[str | Path], out: str | Path, *, number: str = "", shop: Shop | None = None,
                replace: bool = False) -> Quoted:
    """Write one quotation, as xlsx and as PDF, for each quote number of these workbooks and of those in these folders.

    `number` is that of all of them together; `shop` gives logo, sender and terms where a workbook says none. Where something is wrong
    with a line, nothing is written of its quotation; where a file can't be read, nobody knows whose lines are missing, and nothing
    is written at all.

    Raises InputError for arguments that can't be used.
    """
    number = " ".join(number.split())
    if strange := unfit(number):
        raise InputError("quotation", [("number", f"has the character {strange}, which can't be seen and which no workbook can hold")])
    quoted = Quoted()
    found: list[tuple[Path, str, Source | None, list[tuple[str, str]]]] = []
    unreadable = Made("")
    files = list(_files(paths))
    # Each is read in a process of its own, for which a thread only waits.
    with ThreadPoolExecutor(min(_AT_A_TIME, os.cpu_count() or 1)) as pool:
        for (path, named), read in zip(files, pool.map(_read_or_not, (path for path, _ in files)), strict=True):
            if not isinstance(read, WorkbookError):
                found.append((path, *read))
            elif isinstance(read, NoQuote) and not named:
                quoted.left_out.append(path.name)
            else:
                unreadable.problems.append((path.name, _without(path, read)))
    if unreadable.problems:
        quoted.made.append(unreadable)
        return quoted
    groups: dict[str, list[tuple[Path, str, Source | None, list[tuple[str, str]]]]] = {}
    for path, of, source, problems in found:
        key = number.casefold() if number else of.casefold() or f"\0{path.absolute()}"
        groups.setdefault(key, []).append((path, of, source, problems))
    if not groups:
        raise InputError("quotation", [("files", "there is no quote and no quotation in them")])
    taken: set[str] = set()
    for group in groups.values():
        made = Made(number or group[0][1], [path.name for path, *_ in group])
        made.problems = [problem for *_, problems in group for problem in problems]
        stem = free_stem(safe_name(made.number or group[0][0].stem), taken)
        quoted.made.append(made)
        if made.problems:
            continue
        try:
            quotation = quotation_of([source for _, _, source, _ in group if source], shop.letterhead if shop else None, made.number)
        except InputError as error:
            made.problems = list(error.problems)
            continue
        made.lines = len(quotation.lines)
        made.looks = [(source.name, look) for _, _, source, _ in group if source for look in source.looks]
        _write(made, Path(out), stem, quotation, replace)
    return quoted


def _read_or_not(path: Path) -> tuple[str, Source | None, list[tuple[str, str]]] | WorkbookError:
    try:
        return read_quote(path)
    except WorkbookError as error:
        return error


def _without(path: Path, error: Exception) -> str:
    return str(error).removeprefix(path.name).lstrip(": ")


def _files(paths: Iterable[str | Path]) -> Iterator[tuple[Path, bool]]:
    """Each workbook, those of a folder by name; and whether it was named itself."""
    seen: set[Path] = set()
    count = 0
    for given in map(Path, paths):
        if given.is_dir():
            inside = sorted((p for p in given.iterdir() if p.suffix.lower() == ".xlsx" and p.is_file() and not p.name.startswith((".", "~$"))),
                            key=lambda p: [int(part) if part.isdigit() else part.casefold() for part in re.split(r"(\d+)", p.name)])
            listed = [(path, False) for path in inside]
        else:
            listed = [(given, True)]
        for path, named in listed:
            resolved = path.resolve()
            if resolved in seen:
                continue  # its lines would stand twice
            seen.add(resolved)
            count += 1
            if count > MOST_FILES:
                raise InputError("quotation", [("files", f"more than {MOST_FILES:,} workbooks")])
            yield path, named


def _templates() -> list[Template]:
    return [*(t for t in TEMPLATES.values() if t.for_customer), by_hand.TEMPLATE]


def read_quote(path: Path) -> tuple[str, Source | None, list[tuple[str, str]]]:
    """The quote number of a filled workbook, what it says to the customer, and what is wrong with it.

    Raises NoQuote for a workbook that says nothing to a customer, WorkbookError for one that can't be read.
    """
    if not path.is_file():
        raise WorkbookError(f"{path.name}: there is no such file")
    if path.stat().st_size > LARGEST_FILE:
        raise WorkbookError(f"{path.name} is larger than {LARGEST_FILE // 1_000_000} MB")
    known = [(template, template.for_customer) for template in _templates() if template.for_customer]
    names: set[str] = set()
    formulas: set[str] = set()
    filled_in: set[str] = set()
    for template, says in known:
        names |= set(_cells_of(template, says).values())
        formulas |= set(template.form.answer_cells().values())
        formulas |= {item.used for item in template.form.inputs.values()}
        filled_in |= _filled_in(template)
    cells = sandbox.cells(path, names, formulas, filled_in, SECONDS, MEMORY)
    for template, says in known:
        if f"{template.form.prefix}status" in cells.values:
            return _read(path.name, template, says, cells)
    raise NoQuote(f"{path.name} is neither a filled quote nor a filled quotation")


def _own_formulas(template: Template, cells: sandbox.Cells) -> dict[str, frozenset[str]]:
    """By sheet the cells in which the template has a formula. Sheets on which a name stands elsewhere than in the template are left out:
    those of a shop with more rows."""
    targets, formulas = _drawn(template)
    there = {name: _plain_target(target) for name, target in cells.targets.items()}
    moved = {target.rpartition("!")[0] for name, target in targets.items() if there.get(name) != target}
    return {sheet: refs for sheet, refs in formulas.items() if sheet not in moved and sheet in cells.formulas}


def _typed_over(template: Template, cells: sandbox.Cells) -> list[str]:
    """Cells without a name in which the template has a formula and the workbook none."""
    return [f"{sheet}!{ref}" for sheet, refs in _own_formulas(template, cells).items()
            for ref in sorted(refs - cells.formulas[sheet], key=lambda ref: (len(ref), ref))]


def _in_doubt(template: Template, cells: sandbox.Cells) -> list[str]:
    """What is wrong with formulas that somebody typed. Those of the template are known to be worked out alike, as long as they are its."""
    own = _own_formulas(template, cells)
    doubts = ((doubt, doubt.ref in own.get(doubt.sheet, ())) for doubt in cells.doubts)
    return [str(doubt) for doubt, is_own in doubts if (doubt.unknown if is_own else doubt.counts and not doubt.is_settled)]


def _filled_in(template: Template) -> set[str]:
    """The names of cells that people type into: those of a column, in which the template has no formula."""
    targets, formulas = _drawn(template)
    split = ((name, *target.rpartition("!")) for name, target in targets.items())
    return {name for name, sheet, _, cells in split if _OF_A_COLUMN.fullmatch(cells) and cells.partition(":")[0] not in formulas.get(sheet, ())}


_OF_A_COLUMN = re.compile(r"([A-Z]+)[0-9]+(?::\1[0-9]+)?")


_drawing = threading.Lock()


def _drawn(template: Template) -> tuple[dict[str, str], dict[str, frozenset[str]]]:
    """What the names of a blank template stand for, and by sheet its cells with formulas."""
    with _drawing:
        return _drawn_once(template)


@functools.cache
def _drawn_once(template: Template) -> tuple[dict[str, str], dict[str, frozenset[str]]]:
    data = template.build()
    parts = read_parts(data)
    named = re.findall(r'<definedName (?![^>]*localSheetId)[^>]*?name="([^"]+)"[^>]*>([^<]*)<', parts["xl/workbook.xml"].decode())
    formulas = {sheet.name: frozenset(SheetXML(parts[sheet.part]).calculated()) for sheet in worksheets(template.name, parts)}
    return {name: _plain_target(unescape(target)) for name, target in named if "!" in target}, formulas


def _plain_target(target: str) -> str:
    return target.replace("$", "").replace("'", "").lstrip("=")


_OF_THE_STATUS = ("status", "problems", "not_known", "stops")


def _cells_of(template: Template, says: ForCustomer) -> dict[str, str]:
    """By input or answer the name of its cell; of the answers with the prefix, so that none is called like an input."""
    form = template.form
    answers = form.answer_cells()
    return {name: form.cells[name] for name in says.inputs} | {
        form.prefix + name: answers[name] for name in (*says.answers, *_OF_THE_STATUS)}


def _read(file: str, template: Template, says: ForCustomer, cells: sandbox.Cells) -> tuple[str, Source | None, list[tuple[str, str]]]:
    where = _cells_of(template, says)
    missing = sorted({cell.partition("[")[0] for cell in where.values() if cell not in cells.values})
    if missing:
        raise WorkbookError(f"{file} has no cell {', '.join(missing[:4])}: it was made by another version, or its names were changed; fill the "
                            "present template")
    values = {name: _day(name, cells.values[cell], cells) for name, cell in where.items()}
    inputs = {name: values[name] for name in says.inputs}
    prefix = template.form.prefix
    answers = {name: values[prefix + name] for name in (*says.answers, *_OF_THE_STATUS)}
    number = in_words(inputs.get(says.number))
    if typed := [name for name in cells.typed if name.startswith((prefix, "use_"))] or _typed_over(template, cells):
        return number, None, [(file, f"{', '.join(typed[:4])}: a typed value stands in place of a formula, and may be older than the inputs; "
                                     "fill the template anew")]
    if doubts := _in_doubt(template, cells):
        return number, None, [(file, doubt) for doubt in doubts[:_MOST_DOUBTS]]
    if wrong := _stopped(answers):
        return number, None, [(file, wrong)]
    try:
        return number, Source(file, says.said(inputs, answers), _stored_otherwise(template, says, cells)), []
    except ValueError as error:
        return number, None, [(file, str(error))]


def _stored_otherwise(template: Template, says: ForCustomer, cells: sandbox.Cells) -> tuple[str, ...]:
    """What is said of prices that the file has stored otherwise than they are worked out: whoever looked at them saw others."""
    where = _cells_of(template, says)
    prices = [(called, where[template.form.prefix + name]) for name, called in says.prices]
    if all(cells.stored[cell] is None for _, cell in prices):
        return ("no price is stored in it; all are worked out again",)
    found = ((called, stored_otherwise(cells.stored[cell], cells.values[cell])) for called, cell in prices)
    return tuple(f"{called}: {otherwise}" for called, otherwise in found if otherwise)


def _day(name: str, value: Value, cells: sandbox.Cells) -> Value:
    is_day = name.endswith(_DAYS) and isinstance(value, float)
    return value + _DAYS_TO_1904 if is_day and cells.from_1904 and isinstance(value, float) else value


def _stopped(answers: Any) -> str:
    """Why a workbook is not ready to be sent, or an empty text."""
    status = answers["status"]
    if not isinstance(status, str) or isinstance(status, CellError) or not status:
        return "can't be calculated here"
    if not status.startswith(STOP):
        return ""
    stops = str(answers["stops"] or "").strip()
    return stops or status.removeprefix(STOP).strip()


def _write(made: Made, out: Path, stem: str, quotation: Quotation, replace: bool) -> None:
    contents = {out / f"{stem}{end}": data for end, data in files_of(quotation).items()}
    try:
        out.mkdir(parents=True, exist_ok=True)
        new = {path: data for path, data in contents.items() if not path.exists() or path.read_bytes() != data}
        there = [path for path in new if path.exists()]
        if there and not replace:
            made.problems = [(path.name, "exists already; --replace overwrites it") for path in there]
            return
        made.unchanged = not new
        place_together(new, replace)
        made.files = list(contents)
    except (OSError, BarfuncsError) as error:
        reason = f"can't be written ({error.strerror or error})" if isinstance(error, OSError) else str(error)
        made.problems = [(f"{stem}.xlsx", reason)]


def summary(quoted: Quoted) -> Sequence[str]:
    """What became of the files, line by line."""
    lines = []
    for made in quoted.made:
        if not made.problems:
            count = f"{made.lines} line" + ("" if made.lines == 1 else "s")
            was = ", there already, unchanged" if made.unchanged else ""
            lines += [f"{made.files[0].stem}: {count}{was}; " + ", ".join(str(path) for path in made.files)]
            lines += [f"{LOOK} {file}: {look}" for file, look in made.looks]
    return lines
