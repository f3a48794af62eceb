"""A worked example of every function as a cell shows it: taken from the docstrings, whose examples are tested."""

import ast
import doctest
import functools
from dataclasses import dataclass
from typing import Any

import barfuncs
from barfuncs.catalogue.entry import CATALOGUE, GROUPS, Argument, Entry
from barfuncs.catalogue.reading import read_arguments
from barfuncs.functions.cost import TABLE_HEADS
from barfuncs.surfaces.cells import zero_is_unclear


@dataclass(frozen=True)
class Example:
    """A call with plain numbers and texts, and the number or text it gives."""

    entry: Entry
    given: dict[str, Any]
    result: float | str

    @property
    def call(self) -> str:
        """As it is typed into a cell, without the `=`. Of a table the call picks one cell.

        >>> example(CATALOGUE["parts_per_bar"]).call
        'PARTS_PER_BAR(144,2.25,0.125,3)'
        """
        last = max(n for n, a in enumerate(self.entry.arguments) if a.name in self.given)
        parts = [literal(a, self.given.get(a.name)) for a in self.entry.arguments[: last + 1]]
        call = f"{self.entry.cell_name}({','.join(parts)})"
        if self.entry.result.reader != "table":
            return call
        table = getattr(barfuncs, self.entry.name)(**self.given)
        columns = len(table[0]) if isinstance(table[0], (tuple, list)) else 1
        return f"INDEX({call},{2 if self.entry.name in TABLE_HEADS else 1},{columns})"


def literal(argument: Argument, value: Any) -> str:
    """A value as it stands in a formula. A 0 that might be taken for a blank cell is -0, which every program reads."""
    if value is None:
        return ""
    if isinstance(value, (list, tuple)):
        return "{" + ";".join(literal(argument, v) for v in value) + "}"
    if isinstance(value, str):
        return '"' + value.replace('"', '""') + '"'
    if value == 0 and zero_is_unclear(argument):
        return "-0"
    return f"{value:.15g}".upper()


@functools.cache
def example(entry: Entry) -> Example:
    """The first example of a function's docstring. Raises LookupError where it has none."""
    for found in doctest.DocTestParser().get_examples(entry.core.__doc__ or ""):
        for node in ast.walk(ast.parse(found.source)):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == entry.name:
                return _example(entry, [_value(a) for a in node.args], {str(k.arg): _value(k.value) for k in node.keywords})
    raise LookupError(f"{entry.name} has no example in its docstring")


def _value(node: ast.expr) -> Any:
    """A literal, or arithmetic such as 1 / 20."""
    return eval(compile(ast.Expression(node), "<example>", "eval"), {"__builtins__": {}})  # noqa: S307 - our own docstring


def _example(entry: Entry, args: list[Any], keywords: dict[str, Any]) -> Example:
    names = [a.name for a in entry.arguments]
    given = dict(zip(names, args, strict=False)) | keywords
    values, units, _ = read_arguments(entry, args, keywords)
    # A text with a unit becomes a number in the units of the call, since a cell formula reads no such text.
    plain = {a.name: given[a.name] if a.kind.columns else getattr(value, "value", value)
             for a, value in zip(entry.arguments, values, strict=True) if a.name in given}
    if units == "mm" and entry.has_units:
        plain["units"] = units
    result: Any = getattr(barfuncs, entry.name)(**plain)
    if entry.result.reader == "table":
        first = result[0]
        result = first[-1] if isinstance(first, (tuple, list)) else first
    return Example(entry, plain, result if isinstance(result, str) else float(result))


def default_words(argument: Argument) -> str:
    """What counts where an argument is left out."""
    if argument.required:
        return "needed"
    if argument.default is None:
        return "may be left out"
    return f"{argument.default:g}" if isinstance(argument.default, (int, float)) else str(argument.default)


def allowed_words(argument: Argument) -> str:
    """Limits and unit."""
    words = argument.kind.allowed(None)
    return words + (" (lb/in3 or g/cm3)" if argument.kind.reader == "material" else "")


def entries_by_group() -> dict[str, list[Entry]]:
    """The functions under the headings of their groups, in the catalogue's order."""
    groups: dict[str, list[Entry]] = {}
    for entry in sorted(CATALOGUE.values(), key=lambda e: GROUPS.index(e.group)):
        groups.setdefault(entry.group, []).append(entry)
    return groups


def result_shown(shown: Example) -> str:
    """The result of an example as it stands in a line of text."""
    return shown.result if isinstance(shown.result, str) else f"{shown.result:.10g}"


def result_words(entry: Entry) -> str:
    unit = entry.result.unit(None)
    return entry.result.name + (f" ({unit})" if unit else "")
