"""The reading room: what people type becomes numbers and texts that a function takes, or a reason in words why not."""

import decimal
import math
import numbers
import re
from collections.abc import Mapping, Sequence
from typing import Any

from barfuncs.catalogue import materials as _materials
from barfuncs.catalogue import units as _units
from barfuncs.catalogue.entry import Entry
from barfuncs.catalogue.kinds import HEAVIEST, LIGHTEST, SPELLINGS, UNITS, Kind, looks_like_designation, squeezed
from barfuncs.errors import BarfuncsError, InputError, shown

UNITS_HINT = ': add units="in" or units="mm"'
"""How a message ends for a bare number next to metric text. A cell has no such argument and says it in other words."""

TWO_SYSTEMS = frozenset({"length", "weight", "surface_speed", "feed_rate", "feed_speed"})
"""Dimensions in which a bare number means one thing in inch units and another in metric units."""


def read_arguments(entry: Entry, args: Sequence[Any], keywords: Mapping[str, Any]) -> tuple[list[Any], str, bool]:
    """Check and read all arguments: (values for the core function, units, whether a quantity was among them).

    Raises InputError naming every bad argument, TypeError for a wrong number or name of arguments.
    """
    keywords = dict(keywords)
    outer_units = None if entry.has_units else keywords.pop("units", None)
    bound = _bind(entry, args, keywords)
    stated = bound.get("units", outer_units)
    problems: list[tuple[str, str]] = []
    if stated is not None:
        try:
            stated = read_choice(stated, UNITS)
        except ValueError as error:
            raise InputError(entry.name, [("units", str(error))]) from None
    systems: set[str] = set()
    bare: list[str] = []
    read: dict[str, tuple[Any, str | None]] = {}
    quantities = False
    for a in entry.arguments:
        if bound.get(a.name) is None:
            continue
        value = bound[a.name]
        try:
            number, system = read_value(a.kind, value)
        except ValueError as error:
            problems.append((a.name, str(error)))
            continue
        quantities |= _units.is_quantity(value)
        read[a.name] = (number, system)
        if a.kind.dimension in TWO_SYSTEMS and isinstance(number, float):
            if system:
                systems.add(system)
            elif number:
                bare.append(a.name)
    units = stated or ("mm" if systems == {"mm"} and not bare and not entry.has_units else "in")
    if "mm" in systems and bare and stated is None:
        problems += [(name, f"has no unit next to values in metric units{UNITS_HINT}") for name in bare]
    values = []
    for a in entry.arguments:
        if a.name in read:
            number, system = read[a.name]
            if system and a.kind.is_number:
                number = in_units(number, a.kind, system, units)
            reason = limit_problem(a.kind, number, units, bound[a.name])
            if reason:
                problems.append((a.name, reason))
            values.append(int(number) if a.kind.whole and not reason else number)
        elif a.required:
            if bound.get(a.name) is None:
                problems.append((a.name, f"is missing; allowed is {a.kind.allowed(units)}"))
            values.append(None)
        else:
            values.append(a.default)
    if entry.has_units:
        values[-1] = units
    if not problems:
        problems = broken_rules(entry, values)
    if problems:
        order = {a.name: n for n, a in enumerate(entry.arguments)}
        raise InputError(entry.name, sorted(problems, key=lambda p: order.get(p[0], -1)))
    return values, units, quantities


def broken_rules(entry: Entry, values: Sequence[Any]) -> list[tuple[str, str]]:
    plain = [0 if v is None else v for v in values]
    return [(rule.argument, rule.message) for rule in entry.rules if not rule.check(*plain)]


def _bind(entry: Entry, args: Sequence[Any], keywords: Mapping[str, Any]) -> dict[str, Any]:
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
    return bound


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
    """The choice that a text means: written as it is, in another case, without its hyphen, or in other words for it."""
    if isinstance(value, str):
        text = " ".join(value.split()).casefold()
        for choice in choices:
            if choice.casefold() == text:
                return choice
        text = squeezed(text)
        if SPELLINGS.get(text) in choices:
            return SPELLINGS[text]
        for choice in choices:
            if squeezed(choice) == text:
                return choice
    raise BarfuncsError(f"{shown(value)} given; allowed is one of {', '.join(choices)}")


def in_units(value: float, kind: Kind, system: str, units: str) -> float:
    """A value read in one system's unit, in the unit of `units`."""
    if system == units:
        return value
    factor = {"length": _units.MM_PER_INCH, "weight": _units.KG_PER_LB, "surface_speed": _units.M_PER_FT,
              "feed_rate": _units.MM_PER_INCH, "feed_speed": _units.MM_PER_INCH,
              "density": 1 / _units.LB_IN3_PER_G_CM3}.get(kind.dimension or "")
    if factor is None:
        return value
    return value * factor if units == "mm" else value / factor


def read_value(kind: Kind, value: Any, decimal_comma: bool = False) -> tuple[Any, str | None]:
    """Read one value of any spelling: (value, "in" or "mm" where it carried a unit, else None).

    Raises BarfuncsError with a reason in words.
    """
    if kind.reader == "choice":
        return read_choice(value, kind.choices), None
    if kind.reader in ("text", "table"):
        return value, None
    if _units.is_quantity(value):
        return _read_quantity(kind, value)
    if kind.reader == "material":
        return read_material(value, decimal_comma), None
    if isinstance(value, str):
        return _read_text(kind, _units.without_diameter_sign(value) if kind.across else value, decimal_comma)
    number = finite_float(value)
    if number is None:
        raise BarfuncsError(f"{shown(value)} given; allowed is {kind.allowed(None)}")
    return number, None


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
        return _DensityText(_units.from_quantity(value, "density", system), system), None
    if kind.dimension is None:
        raise BarfuncsError(f"{value} given; a plain number is allowed, without a unit")
    system = _units.quantity_system(value) or "in"
    return _units.from_quantity(value, kind.dimension, system), system


class _DensityText:
    """A density that came with its own unit; the core converts it."""

    def __init__(self, value: float, system: str) -> None:
        self.value, self.system = value, system


# A number of a European standard: 1 for steels, 2 for copper and nickel, 3 for light metals. No density is written so.
_EUROPEAN_NUMBER = re.compile(r"\s*[1-3][.,][0-9]{4}\s*")


def read_material(value: Any, decimal_comma: bool = False, table: _materials.Materials | None = None) -> Any:
    """A material's name in the table, or a density: a number in the units of the call, or one that brings its own unit.

    A whole number above all densities is a designation: 303, 4140. Raises BarfuncsError with a reason in words.
    """
    table = table or _materials.active()
    number = finite_float(value)
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
        number, system = _units.parse_density(value, decimal_comma=decimal_comma)
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
    return _DensityText(number, system)


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
        case "angle":
            return _units.parse_angle(text, decimal_comma=decimal_comma), None
        case "count":
            return float(_units.parse_count(text)), None
        case "fraction":
            return _units.parse_fraction(text, decimal_comma=decimal_comma), None
        case "seconds" | "hours":
            number, has_unit = _units.parse_time(text, decimal_comma=decimal_comma)
            return (number / 3600 if has_unit and kind.reader == "hours" else number), None
        case _:
            return _units.parse_number(text, decimal_comma=decimal_comma), None
