"""Single sampling plans for normal inspection after ISO 2859-1: code letters by lot size, samples and acceptance numbers.

The tables hold the standard's cells as they stand there, arrows included ("down": the first plan below, "up": the first above).
"""

import functools
from dataclasses import dataclass

from barfuncs.catalogue.kinds import INSPECTION_LEVELS
from barfuncs.text.datafile import builtin_data, table_rows

AQLS = ("0.065", "0.10", "0.15", "0.25", "0.40", "0.65", "1.0", "1.5", "2.5", "4.0", "6.5")
"""The acceptance quality limits of the table, in percent nonconforming, as the standard writes them."""


@dataclass(frozen=True)
class Plan:
    """A row of the table of plans: its letter, its sample, and a cell for each of `AQLS`: a number, "up" or "down"."""

    code: str
    sample_size: int
    cells: tuple[str, ...]
    source: str


@functools.cache
def code_rows() -> tuple[tuple[int, dict[str, str], str], ...]:
    """Smallest lot of each row, its letter at each level, the row's source."""
    columns = ("lot_from", *INSPECTION_LEVELS, "source")
    rows, _ = table_rows(builtin_data(__file__, "sample_codes.csv"), "sample codes", [c.casefold() for c in columns], ())
    return tuple((int(row["lot_from"]), {level: row[level.casefold()] for level in INSPECTION_LEVELS}, row["source"])
                 for _, row in rows)


@functools.cache
def plans() -> tuple[Plan, ...]:
    """The rows of the table of plans, from the smallest sample to the largest."""
    rows, _ = table_rows(builtin_data(__file__, "sampling_plans.csv"), "sampling plans", ("code", "sample_size", *AQLS, "source"), ())
    return tuple(Plan(row["code"], int(row["sample_size"]), tuple(row[aql] for aql in AQLS), row["source"]) for _, row in rows)


def code_of(lot_size: float, level: str) -> str:
    """The code letter of a lot. A lot of one part counts as the smallest.

    >>> code_of(1000, "II"), code_of(1000, "III")
    ('J', 'K')
    """
    return next((letters[level] for lot_from, letters, _ in reversed(code_rows()) if lot_size >= lot_from), code_rows()[0][1][level])


def plan_of(code: str, aql: float) -> tuple[int, int]:
    """Sample size and acceptance number; an arrow leads to another row, whose sample counts too.

    >>> plan_of("J", 1.0), plan_of("F", 1.0), plan_of("G", 1.0)
    ((80, 2), (13, 0), (50, 1))
    """
    column = max((n for n, text in enumerate(AQLS) if float(text) <= aql * (1 + 1e-9)), default=0)
    at = next(n for n, plan in enumerate(plans()) if plan.code == code)
    while not (cell := plans()[at].cells[column]).isdigit():
        at += 1 if cell == "down" else -1
    return plans()[at].sample_size, int(cell)
