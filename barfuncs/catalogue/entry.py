"""What the catalogue knows of a function: its arguments, result, formula and rules. `function` fills it."""

import functools
import inspect
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Protocol

from barfuncs.catalogue.kinds import Kind
from barfuncs.errors import InputError, shown

GROUPS = ("Stock", "Part", "Yield", "Quantity", "Sawing", "Time", "Tools", "Cost", "Inspection", "Safety")
GEOMETRY, COMMON_PRACTICE = "geometry", "common practice, no source"
"""Where a formula comes from that no publication needs to vouch for, or none is known to."""
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
    make: Callable[[], Callable[..., bool]] = field(compare=False, repr=False)

    @functools.cached_property
    def check(self) -> Callable[..., bool]:
        """The condition as a Python function, made where it is first asked for: importing makes none."""
        return self.make()


@dataclass(frozen=True)
class Entry:
    """A function of the catalogue."""

    name: str
    group: str
    summary: str
    source: str
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
        """Whether `units` is an argument of its own."""
        return bool(self.arguments) and self.arguments[-1].name == "units"

    @property
    def takes_units(self) -> bool:
        """Whether an argument or the result is in one unit of two; `units` is then an argument of its own or a keyword."""
        return self.has_units or self.result.two_systems or any(a.kind.two_systems for a in self.arguments)


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
