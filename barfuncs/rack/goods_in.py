"""Goods in: what came against what was ordered, and what a short or wrong delivery does to which job."""

import datetime
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from barfuncs.catalogue import kinds
from barfuncs.errors import BarfuncsError, InputError, shown
from barfuncs.functions.stock_size import tolerance_row
from barfuncs.rack.bars import (
    BY_NAME,
    CERTIFICATES,
    COLUMNS,
    Bar,
    length_words,
    number_words,
    plain_text,
    read_bar,
    read_cell,
    read_length,
    same,
)
from barfuncs.rack.ledger import certificate_problems
from barfuncs.rack.listing import read_list
from barfuncs.tables.tolerances import MM
from barfuncs.templates.model import LOOK, NOTE, OK, STOP, make_column

GOODS_IN = "Goods in"
"""The sheet that has the order in a workbook of several sheets; in any other it is the first one."""
_LINE = make_column("line", "Order line", kinds.Text, "number or name of the line of the order", needed=True)
ORDERED = (
    _LINE, *(replace(BY_NAME[name], needed=name in ("bars", "material", "shape", "size", "length")) for name in (
        "bars", "material", "shape", "size", "thickness", "finish", "tolerance", "length", "certificate")),
    make_column("shortest", "Shortest", kinds.PositiveLength, "shortest length that the jobs can do with; left blank, the length ordered"),
    make_column("jobs", "Jobs", kinds.Text, "whom the bars are for, the most urgent first: J-12: 3, J-13: 2"),
)
"""What is typed of a line of an order."""
CAME = (
    _LINE, *(replace(c, needed=False) if c.name == "id" else c for c in COLUMNS),
    make_column("smallest", "Smallest size", kinds.Size, "smallest size measured on these bars"),
    make_column("largest", "Largest size", kinds.Size, "largest size measured on these bars"),
)
"""What is typed of bars that came: a row for each length and heat."""


@dataclass(frozen=True)
class Ordered:
    """One line of an order. Lengths are in steps."""

    line: str
    bar: Bar
    shortest: int
    jobs: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True)
class Came:
    """Bars that came for a line; `named` where they brought an id of their own."""

    line: str
    bar: Bar
    smallest: float | None = None
    largest: float | None = None
    named: bool = True


@dataclass(frozen=True)
class Finding:
    """What is to be said of a line: a word (STOP, LOOK, NOTE, OK) and a sentence."""

    line: str
    word: str
    text: str


@dataclass
class Delivery:
    """What came of a comparison: what is said, the bars that may be used, and the rows that are set aside."""

    findings: list[Finding] = field(default_factory=list)
    good: list[tuple[Came, int]] = field(default_factory=list)
    """With the length that was ordered."""
    aside: list[tuple[Came, str]] = field(default_factory=list)

    @property
    def is_right(self) -> bool:
        return all(finding.word != STOP for finding in self.findings)


# --- reading -------------------------------------------------------------------------------------------------------


def read_ordered(path: str | Path, units: str | None = None) -> tuple[str, list[Ordered]]:
    """The lines of an order and their units. Raises as `read_bars` does, also for a line that stands twice."""
    seen: dict[str, int] = {}

    def read(cells: Mapping[str, Any], own: str, row: int) -> tuple[Ordered | None, list[tuple[str, str]]]:
        bar, problems = read_bar({**{n: v for n, v in cells.items() if n in BY_NAME}, "id": f"row {row}", "certificate": None}, own, datetime.date.min)
        line, more, found = _extra(cells, own, {"line": plain_text, "jobs": _jobs, "certificate": lambda v: read_cell("certificate", v, own),
                                                "shortest": lambda v: read_length(v, own)})
        problems = [p for p in problems if p[0] != "id"] + more
        if line and same(line) in seen:
            problems.append(("line", f"{line!r} stands in row {seen[same(line)]} too"))
        seen.setdefault(same(line), row)
        jobs = found.get("jobs", ())
        if bar is not None and sum(number for _, number in jobs) > bar.bars:
            problems.append(("jobs", f"want {sum(number for _, number in jobs)} bars together, {bar.bars} are ordered"))
        if bar is not None and found.get("shortest", 0) > bar.length:
            problems.append(("shortest", f"is longer than the {length_words(bar.length, own)} ordered"))
        if problems or bar is None:
            return None, problems
        bar = replace(bar, certificate=found.get("certificate", CERTIFICATES[0]))
        return Ordered(line, bar, found.get("shortest", bar.length), jobs), []

    _, rows, said = read_list(path, "ordered bars", ORDERED, ("line", "length"), units, read, GOODS_IN)
    return said, [item for _, item in rows]


def read_came(path: str | Path, ordered: Sequence[Ordered], units: str | None = None, today: datetime.date | None = None) -> tuple[str, list[Came]]:
    """The bars that came and their units. Raises as `read_bars` does, also for a line that was not ordered."""
    known = {same(item.line): item for item in ordered}
    day = today or datetime.date.today()

    def read(cells: Mapping[str, Any], own: str, row: int) -> tuple[Came | None, list[tuple[str, str]]]:
        line, more, found = _extra(cells, own, {"line": plain_text, "smallest": lambda v: read_cell("size", v, own),
                                                "largest": lambda v: read_cell("size", v, own)})
        # What the delivery does not say of finish and tolerance class is what was ordered.
        said = {name: getattr(known[same(line)].bar, name) or None for name in ("finish", "tolerance")} if same(line) in known else {}
        bar, problems = read_bar({"id": f"row {row}"} | said | {n: v for n, v in cells.items() if n in BY_NAME}, own, day)
        problems += more
        if line and same(line) not in known:
            problems.append(("line", f"{line!r} is no line of the order; it has {', '.join(item.line for item in known.values())}"))
        if found.get("smallest", 0) > found.get("largest", float("inf")):
            problems.append(("smallest", "is more than the largest size"))
        if problems or bar is None:
            return None, problems
        return Came(known[same(line)].line, bar, found.get("smallest"), found.get("largest"), "id" in cells), []

    _, rows, said = read_list(path, "bars that came", CAME, ("line", "length"), units, read)
    return said, [item for _, item in rows]


def _extra(cells: Mapping[str, Any], units: str, readers: Mapping[str, Any]) -> tuple[str, list[tuple[str, str]], dict[str, Any]]:
    """The cells that are none of a bar: the line, what is wrong, and the others."""
    found: dict[str, Any] = {}
    problems = []
    for name, reader in readers.items():
        if name in cells:
            try:
                found[name] = reader(cells[name])
            except BarfuncsError as error:
                problems.append((name, str(error)))
        elif name == "line":
            problems.append((name, "is missing"))
    return found.pop("line", ""), problems, found


def _jobs(value: Any) -> tuple[tuple[str, int], ...]:
    """Jobs with their bars.

    >>> _jobs("J-12: 3, J-13: 2")
    (('J-12', 3), ('J-13', 2))
    """
    found = []
    for part in plain_text(value).split(","):
        match = re.fullmatch(r"\s*(\S.*?)\s*:\s*([1-9][0-9]{0,4})\s*", part)
        if match is None:
            raise BarfuncsError(f"{shown(part.strip())} given; write each job with its bars: J-12: 3, J-13: 2")
        found.append((match[1], int(match[2])))
    return tuple(found)


# --- comparing -----------------------------------------------------------------------------------------------------


def compare(ordered: Iterable[Ordered], came: Iterable[Came]) -> Delivery:
    """What came against what was ordered, line by line. Raises InputError where they are in two units."""
    ordered, came = list(ordered), list(came)
    if len({line.bar.units for line in ordered} | {row.bar.units for row in came}) > 1:
        raise InputError("goods in", [("units", "the order is in one unit and what came in the other; write both in one")])
    delivery = Delivery()
    for line in ordered:
        _compare_line(line, [row for row in came if row.line == line.line], delivery)
    return delivery


def _compare_line(line: Ordered, rows: Sequence[Came], delivery: Delivery) -> None:
    units, wanted = line.bar.units, line.bar
    good: list[Came] = []
    found: list[Finding] = []
    for row in rows:
        reasons = wrong_with(line, row)
        if reasons:
            delivery.aside.append((row, "; ".join(reasons)))
            found.append(Finding(line.line, STOP, f"{_bars(row.bar.bars)} set aside ({row.bar.id}): {'; '.join(reasons)}."))
        else:
            good.append(row)
            delivery.good.append((row, wanted.length))
            if same(row.bar.finish) != same(wanted.finish) and wanted.finish:
                found.append(Finding(line.line, LOOK, f"{row.bar.id} is {row.bar.finish or 'of no stated finish'}, ordered was {wanted.finish}."))
            if row.smallest is None and row.largest is None:
                found.append(Finding(line.line, LOOK, f"{row.bar.id}: the size was not measured."))
    number = sum(row.bar.bars for row in good)
    if number < wanted.bars:
        nothing = "nothing came" if not rows else f"{_bars(wanted.bars - number)} short of {wanted.bars}"
        found.append(Finding(line.line, STOP, f"{nothing}{_what_it_does(line, number)}."))
    elif number > wanted.bars:
        found.append(Finding(line.line, LOOK, f"{_bars(number - wanted.bars)} more than the {wanted.bars} ordered."))
    found += _heats(line, good)
    if good:
        lengths = [row.bar.length for row in good]
        mean = round(sum(row.bar.length * row.bar.bars for row in good) / number)
        spread = length_words(lengths[0], units) if min(lengths) == max(lengths) else \
            f"{length_words(min(lengths), units, unit=False)} to {length_words(max(lengths), units)}, on average {length_words(mean, units)}"
        found.append(Finding(line.line, NOTE, f"lengths: {spread}; ordered {length_words(wanted.length, units)}."))
    if all(finding.word == NOTE for finding in found):
        found.insert(0, Finding(line.line, OK, f"{_bars(number)} as ordered: count, material, shape, size, measured size, length and certificate."))
    delivery.findings += found


def wrong_with(line: Ordered, row: Came) -> list[str]:
    """Why bars can't be used for a line."""
    wanted, bar, units = line.bar, row.bar, line.bar.units
    reasons = [f"{BY_NAME[name].label.lower()} {getattr(bar, name)}, ordered {getattr(wanted, name)}" for name in ("material", "shape")
               if getattr(bar, name) != getattr(wanted, name)]
    reasons += [f"{name} {number_words(getattr(bar, name) or 0)}, ordered {number_words(getattr(wanted, name) or 0)}" for name in ("size", "thickness")
                if abs((getattr(bar, name) or 0) - (getattr(wanted, name) or 0)) > 1e-4 * (1 if units == "in" else 25)]
    if not reasons:
        reasons += _out_of_tolerance(wanted, row)
    if bar.length < line.shortest:
        reasons.append(f"{length_words(bar.length, units)} long, {length_words(line.shortest - bar.length, units)} shorter than the jobs need")
    reasons += [reason.partition(" has ")[2] for _, reason in certificate_problems(bar, wanted.certificate, f"line {line.line}")
                ] if wanted.certificate != CERTIFICATES[0] else []
    return reasons


def _out_of_tolerance(wanted: Bar, row: Came) -> list[str]:
    """Measured sizes against the tolerance class that was ordered, where its table has the size and the shape."""
    if wanted.shape not in kinds.BAR_SHAPES or wanted.tolerance == "none":
        return []
    limits = tolerance_row(wanted.tolerance, wanted.size, wanted.shape, wanted.units)
    if limits is None:
        return []
    factor = MM[limits.unit] / MM[wanted.units]
    low, high = wanted.size - limits.minus * factor, wanted.size + limits.plus * factor
    hair = 1e-9 * wanted.size
    return [f"measured {number_words(size)}, {wanted.tolerance} allows {low:.4f} to {high:.4f}" for size in (row.smallest, row.largest)
            if size is not None and not low - hair <= size <= high + hair]


def _what_it_does(line: Ordered, number: int) -> str:
    """Who of the jobs gets how many of the bars that are there, the first named first."""
    words, left = [], number
    for job, need in line.jobs:
        gets = min(need, left)
        left -= gets
        if gets < need:
            words.append(f"job {job} gets {gets or 'none'} of {_bars(need)}")
    return ": " + "; ".join(words) if words else ", of which no job is short" if line.jobs else ""


def _heats(line: Ordered, good: Sequence[Came]) -> list[Finding]:
    """Where bars of several heats came: jobs that would get more than one of them."""
    heats = list(dict.fromkeys(row.bar.heat or "none known" for row in good))
    if len(heats) < 2:
        return []
    each = [row.bar.heat or "none known" for row in good for _ in range(row.bar.bars)]
    mixed, at = [], 0
    for job, need in line.jobs:
        if len(set(each[at:at + need])) > 1:
            mixed.append(job)
        at += need
    jobs = f"; taken in this order, job {', '.join(mixed)} has more than one" if mixed else ""
    return [Finding(line.line, LOOK if mixed else NOTE, f"{len(heats)} heats came, {', '.join(heats)}{jobs}.")]


def _bars(number: int) -> str:
    return f"{number} bar" + ("" if number == 1 else "s")
