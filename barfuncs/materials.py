"""The materials table: names, designations, density, Young's modulus and where each value comes from."""

import functools
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from barfuncs.datafile import builtin_data, read_file, table_rows
from barfuncs.errors import InputError
from barfuncs.kinds import HEAVIEST, LIGHTEST

if TYPE_CHECKING:  # see datafile
    from pathlib import Path

COLUMNS = ("name", "group", "en", "uns", "aisi", "density_g_cm3", "density_source", "modulus_gpa", "modulus_source",
           "leaded", "caution")
REQUIRED_COLUMNS = ("name", "density_g_cm3")
_FILE = "materials file"
OWN_ROWS = 20
"""Rows for materials of the shop's own in a workbook's materials table."""


@dataclass(frozen=True)
class MaterialRow:
    """One bar material. Density in g/cm3, Young's modulus in GPa (None where unknown)."""

    name: str
    group: str
    designations: tuple[str, ...]
    density: float
    density_source: str
    modulus: float | None
    modulus_source: str
    leaded: bool
    caution: str

    @property
    def texts(self) -> tuple[str, ...]:
        """Everything that identifies this material."""
        return (self.name, *self.designations)


class Materials:
    """Materials by name or designation, upper and lower case alike.

    >>> table = builtin()
    >>> table["1.4305"].name == table["uns s30300"].name if "uns s30300" in table else True
    True
    """

    def __init__(self, rows: Iterable[MaterialRow]) -> None:
        self.rows: tuple[MaterialRow, ...] = tuple(rows)
        self._by_text: dict[str, MaterialRow] = {}
        for row in self.rows:
            for text in row.texts:
                key = text.casefold()
                if key in self._by_text and self._by_text[key] is not row:
                    raise InputError("materials", [(text, f"names both {self._by_text[key].name} and {row.name}")])
                self._by_text[key] = row

    def __contains__(self, text: str) -> bool:
        return text.strip().casefold() in self._by_text

    def __getitem__(self, text: str) -> MaterialRow:
        return self._by_text[text.strip().casefold()]

    def __len__(self) -> int:
        return len(self.rows)

    def nearest(self, text: str) -> str | None:
        """The known name or designation that looks most like `text`."""
        import difflib

        close = difflib.get_close_matches(text.strip().casefold(), self._by_text, n=1)
        if not close:
            return None
        return next(t for t in self._by_text[close[0]].texts if t.casefold() == close[0])

    def extended(self, rows: Iterable[MaterialRow]) -> "Materials":
        """A table in which `rows` come first and win.

        A row with a known name takes that one's place, and its designations where it has none of its own. A designation
        that a row claims is taken from the one that had it.
        """
        known = {row.name.casefold(): row for row in self.rows}
        own = tuple(
            replace(row, designations=known[row.name.casefold()].designations)
            if not row.designations and row.name.casefold() in known else row
            for row in rows)
        taken = {text.casefold() for row in own for text in row.texts}
        kept = []
        for row in self.rows:
            if row.name.casefold() in taken:
                continue
            left = tuple(d for d in row.designations if d.casefold() not in taken)
            kept.append(replace(row, designations=left))
        return Materials((*own, *kept))


_NUMBER_COLUMNS = {"density_g_cm3": (LIGHTEST, HEAVIEST), "modulus_gpa": (0.001, 1500.0)}


def _read_number(text: str, low: float, high: float) -> float:
    import re

    # float() would also take 1_0, nan and digits of other scripts.
    if not re.fullmatch(r"[0-9]+(\.[0-9]*)?|\.[0-9]+", text) or not low <= float(text) <= high:
        comma = "; write a decimal point" if "," in text else ""
        raise ValueError(f"{text!r} is not a number from {low:g} to {high:g}{comma}")
    return float(text)


def _read_row(row: int, cells: Mapping[str, str]) -> MaterialRow:
    problems = []
    numbers: dict[str, float | None] = {}
    for key, (low, high) in _NUMBER_COLUMNS.items():
        numbers[key] = None
        try:
            if cells[key]:
                numbers[key] = _read_number(cells[key], low, high)
            elif key in REQUIRED_COLUMNS:
                raise ValueError("is blank")
        except ValueError as error:
            problems.append((f"row {row}, {key}", str(error)))
    if not cells["name"]:
        problems.append((f"row {row}, name", "is blank"))
    if cells["leaded"].casefold() not in ("yes", "no", ""):
        problems.append((f"row {row}, leaded", f"{cells['leaded']!r} given; allowed is yes or no"))
    if problems:
        raise InputError(_FILE, problems)
    designations = [d.strip() for key in ("en", "uns", "aisi") for d in cells[key].split(";")]
    density = numbers["density_g_cm3"]
    assert density is not None
    return MaterialRow(cells["name"], cells["group"] or "own",
                       tuple(dict.fromkeys(d for d in designations if d)), density,
                       cells["density_source"] or "the shop's own", numbers["modulus_gpa"],
                       cells["modulus_source"] or "the shop's own", cells["leaded"].casefold() == "yes",
                       cells["caution"])


def _parse(data: bytes) -> list[MaterialRow]:
    rows, problems = table_rows(data, _FILE, COLUMNS, REQUIRED_COLUMNS)
    read: list[MaterialRow] = []
    seen: dict[str, int] = {}
    for n, cells in rows:
        try:
            row = _read_row(n, cells)
        except InputError as error:
            problems += error.problems
            continue
        for text in {t.casefold(): t for t in row.texts}.values():
            first = seen.setdefault(text.casefold(), n)
            if first != n:
                problems.append((f"row {n}", f"{text!r} stands in row {first} already"))
        read.append(row)
    if problems:
        raise InputError(_FILE, problems)
    return read


@functools.cache
def builtin() -> Materials:
    """The table that comes with barfuncs (`materials.csv`)."""
    return Materials(_parse(builtin_data("materials.csv")))


def read_materials(path: "str | Path") -> list[MaterialRow]:
    """Read a materials file of your own: CSV with at least the columns name and density_g_cm3.

    Raises InputError for a missing, unknown or doubled column, a bad row (all of them at once) or a file over 4 MB.
    """
    return read_file(path, _FILE, _parse)


_active: Materials | None = None


def active() -> Materials:
    """The table in use: the built-in one, or the one set by `use_materials`."""
    return _active if _active is not None else builtin()


def use_materials(path: "str | Path | None") -> Materials:
    """Add the materials of your own file to the built-in ones, yours first. None goes back to the built-in table."""
    global _active
    _active = None if path is None else builtin().extended(read_materials(path))
    return active()
