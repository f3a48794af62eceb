"""The reading room: what people type becomes numbers and texts that a function takes, or a reason in words why not."""

import decimal
import math
import numbers
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

from barfuncs.catalogue import materials as _materials
from barfuncs.catalogue import units as _units
from barfuncs.catalogue.entry import Entry
from barfuncs.catalogue.kinds import HEAVIEST, LIGHTEST, UNITS, Kind, looks_like_designation, spellings, squeezed
from barfuncs.errors import BarfuncsError, InputError, shown
from barfuncs.text.pattern import pattern

LONGEST_TEXT = 120
"""Characters of a text in a list or a file."""


@dataclass(frozen=True)
class Way:
    """How values are typed: in a call, in a list of jobs, in a file.

    `add_units` is what a message advises where nothing says which unit is meant. With `cells` the values stand in cells:
    a spreadsheet's slips are told, a text is one line, and results are plain numbers, even of quantities.
    """

    add_units: str = 'add units="in" or units="mm"'
    cells: bool = False
    decimal_comma: bool = False
    table: _materials.Materials | None = None


CALL = Way()
CELLS = Way("say whether the units are in or mm", cells=True)


class Named(Protocol):
    """A value that is asked for: an argument of a function, an input of a template."""

    @property
    def name(self) -> str: ...

    @property
    def kind(self) -> Kind: ...


@dataclass
class Reading:
    """Values that were read together, in `units`. What was left out or can't be read stands in none."""

    units: str
    values: dict[str, Any] = field(default_factory=dict)
    problems: list[tuple[str, str]] = field(default_factory=list)
    quantities: bool = False
    only_bare: bool = False
    """Whether numbers were taken as inch with nothing that says so."""


# The rule of units, in one sentence each for the docstrings of the functions.
ANY_UNITS = "A text may carry its unit; bare numbers are in `units`, and next to metric text they need it said."
UNITS_RULE = ("The result is in `units`: \"in\" where nothing else is said. Next to a metric text `units` must be said, so that no "
              "column of results holds two units. A pint quantity gives a quantity, which carries its unit.")


def read_together(items: Iterable[Named], given: Mapping[str, Any], way: Way, stated: Any, has_unit: bool) -> Reading:
    """Read named values, find their units, and hold each against its limits.

    `stated` are the units that somebody said, or None. `has_unit` tells that what comes of it has a unit: next to metric
    text the units must then be said. Raises InputError for bad units alone.
    """
    if stated is not None:
        try:
            stated = read_choice(stated, UNITS)
        except ValueError as error:
            raise InputError("units", [("units", str(error))]) from None
    read: dict[str, tuple[Kind, Any, str | None]] = {}
    problems: list[tuple[str, str]] = []
    systems: set[str] = set()
    bare: list[str] = []
    metric, quantities = None, False
    for item in items:
        value = given.get(item.name)
        if value is None or item.name == "units":
            continue
        try:
            number, system = read_value(item.kind, value, way)
        except ValueError as error:
            problems.append((item.name, str(error)))
            continue
        read[item.name] = item.kind, number, system
        quantities |= _units.is_quantity(value)
        if isinstance(number, Rows):
            quantities |= number.quantities
            systems |= number.systems
            metric = value if "mm" in number.systems and metric is None else metric
            if number.bare:
                bare.append(item.name)
        elif isinstance(number, DensityText):
            metric = value if number.system == "mm" and metric is None else metric
        elif item.kind.two_systems:
            if system:
                systems.add(system)
                metric = value if system == "mm" and metric is None else metric
            elif number:
                bare.append(item.name)
    units = stated or ("mm" if systems == {"mm"} and not bare else "in")
    if stated is None and "mm" in systems and bare:
        problems += [(name, f"has no unit next to values in metric units: {way.add_units}") for name in bare]
    elif stated is None and metric is not None and has_unit and (way.cells or not quantities):
        problems.append(("units", f"is missing: {shown(metric)} is metric, and nothing says what the result is in: {way.add_units}"))
    reading = Reading(units, problems=problems, quantities=quantities,
                      only_bare=stated is None and not systems and bool(bare))
    for name, (kind, value, system) in read.items():
        try:
            reading.values[name] = _settled(kind, value, system, units, given[name])
        except ValueError as error:
            problems.append((name, str(error)))
    return reading


def read_in(kind: Kind, value: Any, units: str, way: Way = CALL) -> Any:
    """Read one value where the units of bare numbers are known: in `units`, within its limits.

    Raises BarfuncsError with a reason in words.

    >>> from typing import get_args
    >>> from barfuncs.catalogue.kinds import Length
    >>> read_in(get_args(Length)[1], "12 ft", "in")
    144.0
    """
    return _settled(kind, *read_value(kind, value, way), units, value)


def _settled(kind: Kind, value: Any, system: str | None, units: str, given: Any) -> Any:
    """A value that was read, in `units` and within its limits."""
    if isinstance(value, Rows):
        return value.settled(units)
    if system and kind.is_number:
        value = in_units(value, kind, system, units)
    if reason := limit_problem(kind, value, units, given):
        raise BarfuncsError(reason)
    return int(value) if kind.whole else value


def read_arguments(entry: Entry, args: Sequence[Any], keywords: Mapping[str, Any],
                   way: Way = CALL) -> tuple[list[Any], str, bool]:
    """Check and read all arguments: (values for the core function, units, whether a quantity was among them).

    Raises InputError naming every bad argument, TypeError for a wrong number or name of arguments.
    """
    bound, units = bind(entry, args, keywords)
    try:
        reading = read_together(entry.arguments, bound, way, bound.get("units", units), entry.result.two_systems)
    except InputError as error:
        raise InputError(entry.name, error.problems) from None
    problems = reading.problems
    values: list[Any] = []
    for a in entry.arguments:
        if a.required and bound.get(a.name) is None:
            problems.append((a.name, f"is missing; allowed is {a.kind.allowed(reading.units)}"))
        values.append(reading.units if a.name == "units" else reading.values.get(a.name, None if a.required else a.default))
    if not problems:
        problems = broken_rules(entry, values)
    if problems:
        order = {a.name: n for n, a in enumerate(entry.arguments)}
        raise InputError(entry.name, sorted(problems, key=lambda p: order.get(p[0], -1)))
    return values, reading.units, reading.quantities


def broken_rules(entry: Entry, values: Sequence[Any]) -> list[tuple[str, str]]:
    plain = [0 if v is None else v for v in values]
    return [(rule.argument, rule.message) for rule in entry.rules if not rule.check(*plain)]


def bind(entry: Entry, args: Sequence[Any], keywords: Mapping[str, Any]) -> tuple[dict[str, Any], Any]:
    """The values by the names of their arguments, and the units of the keyword that a function without such an argument takes.

    Raises TypeError for a wrong number or name of arguments.
    """
    keywords = dict(keywords)
    units = keywords.pop("units", None) if entry.takes_units and not entry.has_units else None
    if len(args) > len(entry.arguments):
        raise TypeError(f"{entry.name}() takes {len(entry.arguments)} arguments, {len(args)} were given")
    bound = {a.name: value for a, value in zip(entry.arguments, args, strict=False)}
    names = [a.name for a in entry.arguments]
    for key, value in keywords.items():
        if key not in names:
            raise TypeError(f"{entry.name}() has no argument {key!r}; it takes {', '.join(names)}")
        if key in bound:
            raise TypeError(f"{entry.name}() got {key!r} twice")
        bound[key] = value
    return bound, units


def limit_problem(kind: Kind, value: Any, units: str | None, given: Any) -> str | None:
    """What is wrong with a value that was read, or None."""
    if kind.is_number and not kind.allows(value):
        return f"{shown(given)} given; allowed is {kind.allowed(units)}"
    if kind.reader == "material" and isinstance(value, float):
        factor, unit = (1.0, "g/cm3") if units == "mm" else (_units.LB_IN3_PER_G_CM3, "lb/in3")
        if not LIGHTEST * factor <= value <= HEAVIEST * factor:
            return (f"{shown(given)} given; a number is a density, from {LIGHTEST * factor:.3g} to {HEAVIEST * factor:.3g} {unit}; "
                    "write a designation as text")
        if looks_like_designation(value, units):
            return (f"{shown(given)} given; it may be a density or a designation: write a density "
                    f"with its unit ({value:g} g/cm3), a designation as text with all its digits ({value:.4f})")
    return None


def read_choice(value: Any, choices: Sequence[str]) -> str:
    """The choice that a text means: written as it is, in another case, without its hyphen, or in other words for it. A number is
    the choice that is written so: a spreadsheet makes a number of 3.1."""
    number = None if isinstance(value, str) else finite_float(value)
    if number is not None and f"{number:g}" in choices:
        return f"{number:g}"
    if isinstance(value, str):
        text = " ".join(value.split()).casefold()
        for choice in choices:
            if choice.casefold() == text:
                return choice
        text = squeezed(text)
        meant = spellings().get(text)
        if meant is not None and meant in choices:
            return meant
        for choice in choices:
            if squeezed(choice) == text:
                return choice
    raise BarfuncsError(f"{shown(value)} given; allowed is one of {', '.join(choices)}")


def in_units(value: float, kind: Kind, system: str, units: str) -> float:
    """A value read in one system's unit, in the unit of `units`."""
    if system == units:
        return value
    factor = {"length": _units.MM_PER_INCH, "weight": _units.KG_PER_LB, "surface_speed": _units.M_PER_FT,
              "feed_rate": _units.MM_PER_INCH, "feed_speed": _units.MM_PER_INCH, "bin_volume": _units.L_PER_GAL,
              "price_by_weight": 1 / _units.KG_PER_LB, "density": 1 / _units.LB_IN3_PER_G_CM3}.get(kind.dimension or "")
    if factor is None:
        return value
    return value * factor if units == "mm" else value / factor


def read_value(kind: Kind, value: Any, way: Way = CALL) -> tuple[Any, str | None]:
    """Read one value of any spelling: (value, "in" or "mm" where it carried a unit, else None).

    Raises BarfuncsError with a reason in words.
    """
    if way.cells:
        _refuse_slips(value)
    if kind.reader == "choice":
        return read_choice(value, kind.choices), None
    if kind.reader == "text" and way.cells:
        return read_text(value, kind.longest), None
    if kind.columns:
        from barfuncs.catalogue.rows import read_rows  # here, since it reads each cell by this function

        return read_rows(kind, value, way), None
    if kind.reader in ("text", "table"):
        return value, None
    if _units.is_quantity(value):
        return _read_quantity(kind, value)
    if kind.reader == "material":
        return read_material(value, way), None
    if isinstance(value, str):
        return _read_text(kind, _units.without_diameter_sign(value) if kind.across else value, way.decimal_comma)
    number = finite_float(value)
    if number is None:
        raise BarfuncsError(f"{shown(value)} given; allowed is {kind.allowed(None)}")
    return number, None


CELL_ERROR = pattern(r"#N/A|#GETTING_DATA|#[A-Z/0]+[!?]")
"""What a cell shows that could not be worked out."""


def _refuse_slips(value: Any) -> None:
    """Raise BarfuncsError for what a spreadsheet program made of a typed value, or could not work out."""
    if isinstance(value, str):
        if value.startswith("#") and CELL_ERROR.fullmatch(value):
            raise BarfuncsError(f"the cell shows the error {value}")
        return
    if value.__class__ in (float, int):
        return
    import datetime  # here, since only a spreadsheet's slips need it

    if isinstance(value, (datetime.datetime, datetime.date)):
        raise BarfuncsError(f"the spreadsheet made the date {value:%Y-%m-%d} of it, as it does of 3/8: format the cell as "
                            "text and type the value again")
    if isinstance(value, (datetime.time, datetime.timedelta)):
        raise BarfuncsError(f"the spreadsheet made the time {value} of it: write for example 80 s or 1 min 20 s")


def read_text(value: Any, longest: int = LONGEST_TEXT) -> str:
    """A text on one line, or a number as people write it. Raises BarfuncsError with a reason in words.

    >>> read_text("  Lathe   2 "), read_text(4711.0)
    ('Lathe 2', '4711')
    """
    if not isinstance(value, str) and finite_float(value) is None:
        raise BarfuncsError(f"{shown(value)} given; allowed is a text")
    text = f"{value:.15g}" if isinstance(value, float) else str(value)
    text = " ".join(text.split())
    if any(unicodedata.category(c) in ("Cc", "Cs") for c in text):
        raise BarfuncsError("has a control character")
    if len(text) > longest:
        raise BarfuncsError(f"has {len(text):,} characters; allowed is at most {longest:,}")
    return text


def finite_float(value: Any) -> float | None:
    """A number of any type as a float; None for what is no number, no finite one, or more than a float holds."""
    if isinstance(value, bool) or not isinstance(value, (numbers.Real, decimal.Decimal)):
        return None
    try:
        number = float(value)
    except (TypeError, ValueError, ArithmeticError):
        return None
    return number if math.isfinite(number) else None


def _read_quantity(kind: Kind, value: Any) -> tuple[Any, str | None]:
    if kind.reader == "material":
        system = _units.quantity_system(value) or "mm"
        return DensityText(_units.from_quantity(value, "density", system), system), None
    if kind.dimension is None:
        raise BarfuncsError(f"{value} given; a plain number is allowed, without a unit")
    system = _units.quantity_system(value) or "in"
    return _units.from_quantity(value, kind.dimension, system), system


@dataclass(frozen=True)
class DensityText:
    """A density that came with its own unit; the core converts it."""

    value: float
    system: str


@dataclass
class Rows:
    """A table that was read row by row: row number, and each cell as its value, its system and what was given."""

    kind: Kind
    rows: list[tuple[int, list[tuple[Any, str | None, Any]]]]
    systems: set[str] = field(default_factory=set)
    bare: bool = False
    quantities: bool = False

    def settled(self, units: str) -> list[tuple[int, tuple[Any, ...]]]:
        """Row number and values in `units`. Raises BarfuncsError naming every row and column that is out of its limits."""
        problems, found = [], []
        for number, cells in self.rows:
            values = []
            for column, (value, system, given) in zip(self.kind.columns, cells, strict=True):
                if given is not None:
                    try:
                        value = _settled(column.kind, value, system, units, given)
                    except BarfuncsError as error:
                        problems.append(f"row {number}, {column.name}: {error}")
                values.append(value)
            found.append((number, tuple(values)))
        if problems:
            raise BarfuncsError("; ".join(problems))
        return found


# A number of a European standard: 1 for steels, 2 for copper and nickel, 3 for light metals. No density is written so.
_EUROPEAN_NUMBER = pattern(r"\s*[1-3][.,][0-9]{4}\s*")


def read_material(value: Any, way: Way = CALL) -> Any:
    """A material's name in the table, or a density: a number in the units of the call, or one that brings its own unit.

    A whole number above all densities is a designation: 303, 4140. Raises BarfuncsError with a reason in words.
    """
    table = way.table or _materials.active()
    number = finite_float(value)
    if way.cells and number is not None and not number.is_integer():
        code = next((c for c in (f"{number:.10g}", f"{number:.4f}") if c in table), None)
        if code:
            raise BarfuncsError(f"{value!r} is a number here; for the material {code}, format the cell as text or type '{code} "
                                "with an apostrophe in front; for a density, write its unit too")
    if number is not None:
        code = f"{number:.0f}" if HEAVIEST < number < 1e9 and number.is_integer() else ""
        if code in table:
            return table[code].name
        if code in table.unclear:
            raise BarfuncsError(table.unknown(code))
        return number
    if not isinstance(value, str) or not value.strip():
        raise BarfuncsError(f"{shown(value)} given; allowed is a material's name or designation, or a density")
    row = table.find(value)
    if row is not None:
        return row.name
    try:
        number, system = _units.parse_density(value, decimal_comma=way.decimal_comma)
    except ValueError:
        raise BarfuncsError(table.unknown(value)) from None
    if system is None:
        if _EUROPEAN_NUMBER.fullmatch(value):
            raise BarfuncsError(f"{shown(value)} is no designation of a known material; if it is a density, write its unit too, "
                             f"such as {number:.10g} g/cm3")
        if number > HEAVIEST:
            raise BarfuncsError(table.unknown(value))
        return number
    if not LIGHTEST <= number * (1 if system == "mm" else 1 / _units.LB_IN3_PER_G_CM3) <= HEAVIEST:
        raise BarfuncsError(f"{shown(value)} given; a density is from {LIGHTEST:g} to {HEAVIEST:g} g/cm3 "
                         f"({LIGHTEST * _units.LB_IN3_PER_G_CM3:.3g} to {HEAVIEST * _units.LB_IN3_PER_G_CM3:.3g} lb/in3)")
    return DensityText(number, system)


_SECONDS = {"seconds": 1, "minutes": 60, "hours": 3600}


def _read_text(kind: Kind, text: str, decimal_comma: bool) -> tuple[float, str | None]:
    if not text.strip():
        raise BarfuncsError("is blank")
    match kind.reader:
        case "length":
            return _units.parse_length(text, decimal_comma=decimal_comma)
        case "weight":
            return _units.parse_weight(text, decimal_comma=decimal_comma)
        case "density":
            return _units.parse_density(text, decimal_comma=decimal_comma)
        case "surface_speed":
            return _units.parse_speed(text, decimal_comma=decimal_comma)
        case "feed_rate":
            return _units.parse_feed(text, decimal_comma=decimal_comma)
        case "feed_speed":
            return _units.parse_feed_speed(text, decimal_comma=decimal_comma)
        case "pitch":
            return _units.parse_pitch(text, decimal_comma=decimal_comma)
        case "spindle_speed":
            return _units.parse_spindle_speed(text, decimal_comma=decimal_comma), None
        case "bin_volume":
            return _units.parse_bin_volume(text, decimal_comma=decimal_comma)
        case "angle":
            return _units.parse_angle(text, decimal_comma=decimal_comma), None
        case "count":
            return float(_units.parse_count(text)), None
        case "fraction":
            return _units.parse_fraction(text, decimal_comma=decimal_comma), None
        case "seconds" | "minutes" | "hours":
            number, has_unit = _units.parse_time(text, decimal_comma=decimal_comma)
            return (number / _SECONDS[kind.reader] if has_unit else number), None
        case _:
            return _units.parse_number(text, decimal_comma=decimal_comma), None
