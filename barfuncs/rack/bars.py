"""A bar on the rack: what is known of it, how that is typed, and the exact numbers that it is kept in."""

import datetime
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import Annotated, Any

from barfuncs.catalogue import kinds, materials
from barfuncs.catalogue.entry import CATALOGUE
from barfuncs.catalogue.kinds import LONGEST_ON_A_FORM, Kind
from barfuncs.catalogue.reading import Way, broken_rules, finite_float, read_in, read_text
from barfuncs.errors import BarfuncsError, shown
from barfuncs.filling.results import csv_text
from barfuncs.templates.model import Column, make_column

STEPS = {"in": 1000, "mm": 100}
"""Steps of length in one unit: a length on the rack is a whole number of 0.001 in or 0.01 mm."""
CERTIFICATES = kinds.CERTIFICATES
OF_ONE_HEAT = CERTIFICATES[3:]
OWN = "own"
MOST_BARS = 10_000

_Bars = Annotated[int, Kind("count", "count", None, 1, MOST_BARS, whole=True)]

COLUMNS = (
    make_column("id", "Bar id", kinds.Text, "what is written on the bar, each once: a letter or digit first, at most 24 signs", needed=True,
                width=11),
    make_column("bars", "Bars", _Bars, "bars that are alike in everything and have one id; blank is 1", unit="bars", width=7),
    make_column("material", "Material", kinds.Text, "name or designation from the materials table", needed=True, width=18),
    make_column("shape", "Shape", kinds.Shape, needed=True, width=10),
    make_column("size", "Size", kinds.Size, needed=True, width=9),
    make_column("thickness", "Thickness", kinds.PositiveLength, width=10),
    make_column("finish", "Finish", kinds.Text, "how the bar was made: drawn, ground, peeled, rolled", width=9),
    make_column("tolerance", "Tolerance class", kinds.ToleranceClass, "size tolerance of the bar; left blank, that of every bar", width=15),
    make_column("length", "Length", kinds.PositiveLength, "length of one bar", needed=True, width=10),
    make_column("heat", "Heat", kinds.Text, "number of the melt that the bar is of", width=10),
    make_column("certificate", "Certificate", kinds.Certificate, "inspection document after EN 10204 that came with the bar; blank is none", width=11),
    make_column("owner", "Owner", kinds.Text, "own, or the customer whose bar it is; blank is own", width=13),
    make_column("place", "Place", kinds.Text, "where it lies", width=8),
    make_column("received", "Received", kinds.Text, "the day it came, as year-month-day", width=11),
    make_column("value", "Value", kinds.Money, "what was paid for all bars of the row; a customer's bar has none", unit="all bars", width=11),
    make_column("note", "Note", kinds.Text, "anything else", width=18),
)
"""What is typed of a bar: on the sheet Bars, in a list, on the command line."""
BY_NAME: Mapping[str, Column] = {c.name: c for c in COLUMNS}
_ID = re.compile(r"[^\W_](?:[\w.\-/# ]{0,22}[\w.\-/#])?")
_WAY = Way("say --units in or --units mm", cells=True)
_SIZE_DIGITS = {"in": 6, "mm": 4}


@dataclass(frozen=True, slots=True)
class Bar:
    """Bars of one id, alike in everything. `length` is that of one, in steps (`STEPS`); `value` is that of all, in cents."""

    id: str
    material: str
    shape: str
    size: float
    length: int
    units: str
    received: datetime.date
    thickness: float | None = None
    finish: str = ""
    tolerance: str = kinds.TOLERANCE_CLASSES[0]
    heat: str = ""
    certificate: str = CERTIFICATES[0]
    owner: str = OWN
    place: str = ""
    note: str = ""
    parent: str = ""
    bars: int = 1
    value: int = 0

    @property
    def like(self) -> tuple[Any, ...]:
        """What bars must have in common to be worth the same for each inch."""
        return (same(self.owner), self.material, self.shape, self.size, self.thickness or 0.0, same(self.finish), self.tolerance)

    @property
    def is_own(self) -> bool:
        return self.owner == OWN

    def described(self, unit: bool = True) -> str:
        """Material, shape and size in words."""
        thick = f" x {number_words(self.thickness)}" if self.thickness else ""
        return f"{self.material}, {self.shape} {number_words(self.size)}{thick}" + (f" {self.units}" if unit else "")


def same(text: str) -> str:
    """A text as it is compared: small and capital letters are alike.

    >>> same("Miller  Pumps") == same("MILLER pumps")
    True
    """
    return " ".join(text.split()).casefold()


def number_words(number: float) -> str:
    return f"{number:,.10g}"


def length_words(steps: int, units: str, unit: bool = True) -> str:
    """A length in steps as people read it.

    >>> length_words(143875, "in"), length_words(300000, "mm", unit=False)
    ('143.875 in', '3,000')
    """
    return f"{Decimal(steps) / STEPS[units]:,f}" + (f" {units}" if unit else "")


def money_words(cents: int) -> str:
    return f"{Decimal(cents) / 100:,.2f}"


# --- reading -------------------------------------------------------------------------------------------------------


def read_cell(name: str, value: Any, units: str) -> Any:
    """One cell of a bar as it is kept. Raises BarfuncsError with a reason in words.

    >>> read_cell("length", "12 ft", "in"), read_cell("certificate", 3.1, "in"), read_cell("value", "1,250.5", "in")
    (144000, '3.1', 125050)
    """
    match name:
        case "length":
            return read_length(value, units)
        case "value":
            return read_money(value)
        case "received":
            return read_date(value)
        case "id":
            return read_id(value)
        case "material":
            return _material(value)
        case "owner":
            owner = plain_text(value)
            return OWN if same(owner) == OWN else owner
    column = BY_NAME[name]
    read = read_in(column.kind, value, units, _WAY)
    if name in ("size", "thickness"):
        return round(read, _SIZE_DIGITS[units])
    return csv_text(read) if isinstance(read, str) else read


def plain_text(value: Any) -> str:
    """A text on one line, with an apostrophe in front where a spreadsheet would take it for a formula."""
    return csv_text(read_text(value))


def read_id(value: Any) -> str:
    text = read_text(value)
    if not _ID.fullmatch(text):
        raise BarfuncsError(f"{shown(text)} given; an id begins with a letter or digit and has at most 24 letters, digits and . - / # _")
    return text


def read_length(value: Any, units: str, least: int = 1) -> int:
    """A length in whole steps, as near as a step goes."""
    kind = (BY_NAME["length"] if least else _KERF).kind
    steps = int((Decimal(repr(read_in(kind, value, units, _WAY))) * STEPS[units]).quantize(0, ROUND_HALF_UP))
    most = LONGEST_ON_A_FORM[units]
    if not least <= steps < most * STEPS[units]:
        raise BarfuncsError(f"{shown(value)} given; a length on the rack is at least {length_words(1, units)} and below {most:,} {units}")
    return steps


_KERF = make_column("kerf", "Kerf", kinds.Length)


def read_money(value: Any) -> int:
    """An amount in whole cents."""
    number = read_in(BY_NAME["value"].kind, value, "in", _WAY)
    return int((Decimal(repr(float(number))) * 100).quantize(0, ROUND_HALF_UP))


def read_date(value: Any) -> datetime.date:
    if isinstance(value, datetime.datetime):
        return value.date()
    if isinstance(value, datetime.date):
        return value
    text = read_text(value)
    try:
        day = datetime.date.fromisoformat(text) if re.fullmatch(r"\d{4}-\d{2}-\d{2}", text) else None
    except ValueError:
        day = None
    if day is None:
        raise BarfuncsError(f"{shown(text)} given; write a day as 2026-03-31")
    return day


def _material(value: Any) -> str:
    table = materials.active()
    number = finite_float(value)
    text = f"{number:.10g}" if number is not None else read_text(value)
    row = table.find(text)
    if row is None:
        raise BarfuncsError(table.unknown(text))
    return row.name


def read_bar(cells: Mapping[str, Any], units: str, today: datetime.date) -> tuple[Bar | None, list[tuple[str, str]]]:
    """A bar from what was typed of it, and what is wrong: (column, reason). Blank cells are left out or None."""
    values: dict[str, Any] = {}
    problems: list[tuple[str, str]] = []
    for name, column in BY_NAME.items():
        value = cells.get(name)
        if value is None or (isinstance(value, str) and not value.strip()):
            if column.needed:
                problems.append((name, "is missing"))
            continue
        try:
            values[name] = read_cell(name, value, units)
        except BarfuncsError as error:
            problems.append((name, str(error)))
    if problems:
        return None, problems
    values.setdefault("received", today)
    bar = Bar(units=units, **values)
    problems = bar_problems(bar)
    return (None if problems else bar), problems


def bar_problems(bar: Bar) -> list[tuple[str, str]]:
    """What contradicts itself within one bar."""
    entry = CATALOGUE["section_area"]
    shape = {"shape": bar.shape, "size": bar.size, "thickness": bar.thickness, "units": bar.units}
    found = broken_rules(entry, [shape[a.name] for a in entry.arguments])
    if bar.certificate in OF_ONE_HEAT and not bar.heat:
        found.append(("heat", f"is missing: a certificate {bar.certificate} of EN 10204 is of one heat"))
    if bar.value and not bar.is_own:
        found.append(("value", f"{money_words(bar.value)} given; a bar of a customer ({bar.owner}) is worth nothing to us: leave it blank"))
    return found
