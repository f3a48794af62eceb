"""What the catalogue knows of a function: its arguments, result, formula and rules. `function` fills it."""

import inspect
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Protocol

from barfuncs.catalogue.kinds import Kind
from barfuncs.errors import InputError, shown

GROUPS = ("Stock", "Yield", "Quantity", "Sawing", "Time", "Cost", "Safety")
REQUIRED: Any = inspect.Parameter.empty


class CellFunction(Protocol):
    """A public function: takes plain numbers, text with units or quantities. `core` is the bare function on floats."""

    core: Callable[..., Any]
    entry: "Entry"
    __name__: str

    def __call__(self, *args: Any, **keywords: Any) -> Any: ...


@dataclass(frozen=True)
class Argument:
    """One argument: its name, what it is, what it means and its default (`REQUIRED` where there is none)."""

    name: str
    kind: Kind
    help: str
    default: Any

    @property
    def required(self) -> bool:
        return self.default is REQUIRED

    def help_with_unit(self) -> str:
        unit = self.kind.unit(None)
        return f"{self.help} [{unit}]" if unit else self.help


@dataclass(frozen=True)
class Rule:
    """A condition between arguments, written as a cell expression, and the sentence that tells when it is broken."""

    condition: str
    message: str
    argument: str
    check: Callable[..., bool] = field(compare=False)


@dataclass(frozen=True)
class Entry:
    """A function of the catalogue."""

    name: str
    group: str
    summary: str
    arguments: tuple[Argument, ...]
    result: Kind
    core: Callable[..., Any]
    formula: str | None
    no_formula: str | None
    rules: tuple[Rule, ...]

    @property
    def cell_name(self) -> str:
        return self.name.upper()

    @property
    def has_units(self) -> bool:
        return bool(self.arguments) and self.arguments[-1].name == "units"


CATALOGUE: dict[str, Entry] = {}
"""Every function by its name, in the order of declaration."""


def find(name: str) -> Entry:
    """The entry of a function, upper or lower case. Raises InputError with the nearest name."""
    entry = CATALOGUE.get(name.strip().lower()) if isinstance(name, str) else None
    if entry is None:
        import difflib

        close = difflib.get_close_matches(name.lower(), CATALOGUE, n=1) if isinstance(name, str) else []
        hint = f"; did you mean {close[0]!r}?" if close else ""
        raise InputError("barfuncs", [("function", f"{shown(name)} is not known here{hint}")])
    return entry
