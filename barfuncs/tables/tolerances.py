"""What bar is like: size tolerances, depth of surface defects, straightness, and the steps that sizes come in.

Each row of the CSV files names its source, or says that it is from memory. The functions build their cell formulas from
these rows when barfuncs is imported, so the numbers are read without the csv module, which costs more than all the rest.
"""

import functools
from dataclasses import dataclass

from barfuncs.text.datafile import builtin_data

MM = {"mm": 1.0, "in": 25.4}


@dataclass(frozen=True)
class SizeTolerance:
    """How far a bar's size may be off, for sizes over `over` and up to `up_to` of `unit`. With `open_end`, up_to itself is
    in the next row."""

    tolerance_class: str
    shape: str
    unit: str
    over: float
    up_to: float
    open_end: bool
    minus: float
    plus: float


@dataclass(frozen=True)
class DefectDepth:
    """Depth of the deepest defect: a share of the size, at least `least_mm` and at most `most_mm`."""

    defect_class: str
    least_mm: float
    share: float
    most_mm: float | None


@dataclass(frozen=True)
class Straightness:
    """Deviation from straight for each metre, of sizes up to `up_to_mm`."""

    steel: str
    shape: str
    up_to_mm: float | None
    mm_per_m: float


def _cells(name: str, columns: int) -> list[list[str]]:
    """The first columns of a table, in which no cell is quoted; sources and notes stand behind them."""
    lines = builtin_data(__file__, name).decode("utf-8").splitlines()[1:]
    return [line.split(",", columns)[:columns] for line in lines if line]


def sources(name: str) -> list[str]:
    """Of each row of a table where it comes from, and its note."""
    from barfuncs.text.csv_text import read_csv

    head, *rows = read_csv(builtin_data(__file__, name))
    found = [dict(zip(head, row, strict=False)) for row in rows]
    return [row["source"] + (f". {row['note'][:1].upper()}{row['note'][1:]}" if row.get("note") else "") for row in found]


@functools.cache
def size_tolerances() -> tuple[SizeTolerance, ...]:
    return tuple(SizeTolerance(name, shape, unit, float(over), float(up_to), upper == "excluded", float(minus), float(plus))
                 for name, shape, unit, over, up_to, upper, minus, plus in _cells("size_tolerances.csv", 8))


@functools.cache
def defect_depths() -> dict[str, DefectDepth]:
    return {name: DefectDepth(name, float(least), float(share), float(most) if most else None)
            for name, least, share, most in _cells("defect_depths.csv", 4)}


@functools.cache
def straightness() -> tuple[Straightness, ...]:
    return tuple(Straightness(steel, shape, float(up_to) if up_to else None, float(mm))
                 for steel, shape, up_to, mm in _cells("straightness.csv", 4))


@functools.cache
def stock_steps(unit: str, shape: str) -> tuple[float, ...]:
    """Usual sizes of bar in inch or in mm, ascending. Common practice, no source: what a supplier keeps differs."""
    found = set()
    for system, of, first, last, step in _cells("stock_steps.csv", 5):
        if system == unit and of in ("any", shape):
            low, wide = float(first), float(step)
            found |= {low + n * wide for n in range(round((float(last) - low) / wide) + 1)}
    return tuple(sorted(found))
