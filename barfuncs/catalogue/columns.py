"""Columns: lists, tuples, numpy arrays and pandas Series as arguments, one result a row.

Each row is a call of its own, by the same rules. Where a column holds plain numbers and known texts only, its rows are
checked all together, which takes a fraction of the time.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from itertools import repeat
from typing import Any

from barfuncs.catalogue import materials as _materials
from barfuncs.catalogue import units as _units
from barfuncs.catalogue.entry import Entry
from barfuncs.catalogue.kinds import UNITS, Kind
from barfuncs.catalogue.quick import Quick, is_column
from barfuncs.catalogue.reading import in_units, read_choice, read_value
from barfuncs.errors import InputError

_MOST_TEXTS = 1000
_MOST_NAMED = 10
_MOST_BAD = 1000


class Texts:
    """Numbers in place of texts that mean the same, so that the quick path of a call takes them. Remembers what it read."""

    def __init__(self, entry: Entry) -> None:
        self._readers = [(n, a.kind, _text_reader(a.kind)) for n, a in enumerate(entry.arguments)
                         if a.kind.is_number or a.kind.reader == "material"]

    def without(self, given: Sequence[Any], stated: str | None) -> Sequence[Any]:
        """The values in the stated units, or in inch units where nobody said any.

        Where a text can't be read, or metric text stands without stated units, all stay as they are: the function says
        what is wrong.
        """
        if stated is not None and stated not in UNITS:
            return given
        values = list(given)
        for n, kind, read in self._readers:
            if n >= len(given):
                break
            value = given[n]
            if value.__class__ is str:
                number, system = read(value)
                if number is None or (system == "mm" and stated is None):
                    return given
                if system is not None:
                    number = in_units(number, kind, system, stated or "in")
                values[n] = number
        return values


def _text_reader(kind: Kind) -> Callable[[str], tuple[Any, str | None]]:
    """Reads a text as what the quick path of a call takes, and the system of its unit; (None, None) where that can't be.

    A material is its name in lower case.
    """
    known: dict[str, tuple[Any, str | None]] = {}

    def read(text: str) -> tuple[Any, str | None]:
        found = known.get(text)
        if found is None:
            try:
                number, system = read_value(kind, text)
                found = (int(number) if kind.whole and number == int(number) else number), system
            except (ValueError, OverflowError):
                found = None, None
            if len(known) >= _MOST_TEXTS:
                known.clear()
            known[text] = found
        return found

    return _known_material if kind.reader == "material" else read


def _known_material(text: str) -> tuple[str | None, None]:
    row = _materials.active().find(text)
    return (row.name.casefold() if row else None), None


def _is_series(value: Any) -> bool:
    return hasattr(value, "index") and hasattr(value, "isna")


def _rows(value: Any) -> list[Any]:
    """The rows of a column as plain Python values. A missing value of a Series is None: it has no other way to say so."""
    if isinstance(value, (list, tuple)):
        return list(value)
    rows: list[Any] = value.tolist()
    if _is_series(value):
        return [None if missing else v for v, missing in zip(rows, value.isna().tolist(), strict=True)]
    return rows


class Columns:
    """A function called with columns. `call` is the function for one row."""

    def __init__(self, entry: Entry, call: Callable[..., Any]) -> None:
        self._entry, self._call = entry, call
        self._quick = [Quick(a) for a in entry.arguments]
        self._texts = Texts(entry)

    def __call__(self, bound: Mapping[str, Any], units: Any) -> Any:
        """One result for each row, in a column of the kind that was given; `units` are those that a keyword said."""
        given = {a.name: bound[a.name] for a in self._entry.arguments
                 if a.kind.reader != "table" and is_column(bound.get(a.name))}
        self._check(given)
        columns = {name: self._whole(name, _rows(value)) for name, value in given.items()}
        if units is not None:
            units = self._read_units(units)
        results = self._together(bound, columns, units)
        if results is None:
            results = self._one_by_one(bound, columns, units)
        return _like(given.values(), results)

    def _check(self, given: Mapping[str, Any]) -> None:
        """Refuse columns that do not go together."""
        problems = []
        first, *others = given.items()
        if self._entry.result.reader == "table":
            problems = [(name, "a column given; allowed is one value") for name in given]
        for name, value in given.items():
            if getattr(value, "ndim", 1) > 1:
                problems.append((name, f"{value.ndim} dimensions given; allowed is one column"))
        for name, value in others:
            if len(value) != len(first[1]):
                problems.append((name, f"{_count(len(value))} given next to {_count(len(first[1]))} of {first[0]}; columns must have the "
                                       "same length"))
        series = [(name, value) for name, value in given.items() if _is_series(value)]
        for name, value in series[1:]:
            if len(value) == len(series[0][1]) and not value.index.equals(series[0][1].index):
                problems.append((name, f"its index is not that of {series[0][0]}"))
        if problems:
            raise InputError(self._entry.name, problems)

    def _whole(self, name: str, rows: list[Any]) -> list[Any]:
        """Counts that an array holds as floats, as ints."""
        kind = next(a.kind for a in self._entry.arguments if a.name == name)
        if not kind.whole or float not in set(map(type, rows)):
            return rows
        return [int(v) if v.__class__ is float and v.is_integer() else v for v in rows]

    def _read_units(self, units: Any) -> str:
        try:
            return read_choice(units, UNITS)
        except ValueError as error:
            raise InputError(self._entry.name, [("units", str(error))]) from None

    def _together(self, bound: Mapping[str, Any], columns: Mapping[str, list[Any]], units: str | None) -> list[Any] | None:
        """The results where all values are plain and right, or None."""
        arguments = self._entry.arguments
        single: Sequence[Any] = [None if a.name in columns else bound.get(a.name) for a in arguments]
        if "units" not in columns:
            single = self._texts.without(single, single[-1] if self._entry.has_units else units)
        values: list[Any] = []
        for a, value, quick in zip(arguments, single, self._quick, strict=True):
            rows = columns.get(a.name)
            if rows is not None:
                if None in rows and not a.required and a.default is not None:
                    rows = [a.default if v is None else v for v in rows]
                if not quick.takes(rows):
                    return None
                values.append(rows)
                continue
            if value is None and not a.required:
                value = a.default
            elif not quick.takes([value]):
                return None
            values.append(repeat(value))
        if self._entry.rules:
            plain = [[0 if v is None else v for v in rows] if rows.__class__ is list else repeat(next(rows) or 0) for rows in values]
            if not all(all(map(rule.check, *plain)) for rule in self._entry.rules):
                return None
        try:
            return list(map(self._entry.core, *values))
        except InputError:
            return None  # row by row tells which

    def _one_by_one(self, bound: Mapping[str, Any], columns: Mapping[str, list[Any]], units: str | None) -> list[Any]:
        arguments = self._entry.arguments
        many = [columns[a.name] if a.name in columns else repeat(bound.get(a.name)) for a in arguments]
        results: list[Any] = []
        bad: list[tuple[int, InputError]] = []
        for number, row in enumerate(zip(*many), start=1):  # noqa: B905 - repeat has no end
            try:
                results.append(self._row(row, units))
            except InputError as error:
                bad.append((number, error))
                if len(bad) == _MOST_BAD:
                    break
        if bad:
            raise InputError(self._entry.name, _named(bad))
        return results

    def _row(self, row: Sequence[Any], units: str | None) -> Any:
        """One row: by the quick path of the call where that can be."""
        last = max((n for n, value in enumerate(row, 1) if value is not None), default=0)
        given = [a.default if value is None and a.name != "units" and not a.required and a.default is not None else value
                 for a, value in zip(self._entry.arguments, row[:last], strict=False)]
        stated = units
        if self._entry.has_units:
            stated = given[-1] if last == len(self._entry.arguments) else None
        plain = self._texts.without(given, stated)
        # Bare numbers alone are in the stated units; a quantity brings its own and needs to be told of them.
        if units is None or not any(map(_units.is_quantity, plain)):
            try:
                return self._call(*plain)
            except InputError:
                pass  # said anew below, by what was given
        return self._call(*given) if units is None else self._call(*given, units=units)


def _named(bad: Sequence[tuple[int, InputError]]) -> list[tuple[str, str]]:
    """Problems that name the first bad rows, and how many more there are."""
    problems = [(f"row {number}", "; ".join(f"{argument}: {reason}" for argument, reason in error.problems))
                for number, error in bad[:_MOST_NAMED]]
    more = len(bad) - len(problems)
    if more:
        at_least = "at least " if len(bad) == _MOST_BAD else ""
        problems.append((f"{at_least}{_count(more).replace(' row', ' more row')}", "also refused"))
    return problems


def _count(rows: int) -> str:
    return f"{rows:,} row" + ("s" if rows != 1 else "")


def _like(given: Iterable[Any], results: list[Any]) -> Any:
    """The results as a Series, an array or a list: the first of these that is among the columns given."""
    arrays = [value for value in given if not isinstance(value, (list, tuple))]
    series = next((value for value in arrays if _is_series(value)), None)
    if series is not None:
        return type(series)(results, index=series.index)
    if not arrays:
        return results
    import numpy as np

    if not set(map(type, results)) <= {int, float, str}:
        made = np.empty(len(results), dtype=object)  # quantities, which numpy would take apart
        made[:] = results
        return made
    return np.array(results) if results else np.array(results, dtype=float)
