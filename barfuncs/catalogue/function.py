"""One catalogue: every function is declared once and appears on every surface.

`cell_function` registers a plain Python function on floats. Its annotations say what each argument is (`kinds`), the
glossary says what it means, `formula` is its cell formula in terms of the same argument names, `rules` are conditions
between arguments. From that come the checks and their messages, units, docstrings and guarded cell formulas.
"""

import functools
import inspect
import re
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from barfuncs.catalogue import units as _units
from barfuncs.catalogue.entry import (
    CATALOGUE,
    COMMON_PRACTICE,
    GROUPS,
    REQUIRED,
    Argument,
    CellFunction,
    Entry,
    Rule,
    find,
)
from barfuncs.catalogue.formula import TABLE_NAMES, python_rule
from barfuncs.catalogue.glossary import ARGUMENTS
from barfuncs.catalogue.kinds import kind_of
from barfuncs.catalogue.quick import Quick, is_column
from barfuncs.catalogue.reading import ANY_UNITS, UNITS_RULE, bind, read_arguments
from barfuncs.errors import InputError

if TYPE_CHECKING:
    from barfuncs.catalogue.columns import Columns

_CALLS: dict[str, CellFunction] = {}


def cell_function(
    *,
    group: str,
    source: str,
    formula: str | None = None,
    no_formula: str | None = None,
    rules: Sequence[tuple[str, str, str]] = (),
) -> Callable[[Callable[..., Any]], CellFunction]:
    """Register a function. Declarations are checked here, at import.

    Parameters
    ----------
    group : str
        One of `GROUPS`.
    source : str
        Where the formula comes from: a publication, `GEOMETRY`, or `COMMON_PRACTICE`.
    formula : str, optional
        Cell formula in the argument names; may call COUNT_DOWN, COUNT_UP and functions registered before.
    no_formula : str, optional
        Why there is no cell formula; needed where `formula` is missing.
    rules : sequence of (argument, condition, message)
        Conditions between arguments as cell expressions with comparisons, OR and AND only.
    """

    def register(core: Callable[..., Any]) -> CellFunction:
        name = core.__name__
        if group not in GROUPS:
            raise TypeError(f"{name}: group {group!r} is not one of {', '.join(GROUPS)}")
        if not source.strip():
            raise TypeError(f"{name}: a source is missing; where there is none write {COMMON_PRACTICE!r}")
        if (formula is None) == (no_formula is None):
            raise TypeError(f"{name}: give either a formula or the reason why there is none")
        if name in CATALOGUE:
            raise TypeError(f"{name} is registered already")
        if not core.__doc__:
            raise TypeError(f"{name}: a docstring is missing")
        arguments = []
        names = core.__code__.co_varnames[:core.__code__.co_argcount]  # a tenth of what inspect.signature takes
        defaults = core.__defaults__ or ()
        for argument, default in zip(names, (*[REQUIRED] * (len(names) - len(defaults)), *defaults), strict=True):
            where = f"{name}, {argument}"
            if argument not in ARGUMENTS:
                raise TypeError(f"{where}: not in the glossary")
            kind = kind_of(core.__annotations__.get(argument), where)
            if kind.is_number and isinstance(default, (int, float)) and not kind.allows(default):
                raise TypeError(f"{where}: the default {default} is outside the limits")
            arguments.append(Argument(argument, kind, ARGUMENTS[argument], default))
        if any(a.name == "units" for a in arguments[:-1]):
            raise TypeError(f"{name}: units must be the last argument")
        built = []
        for argument, condition, message in rules:
            unknown = set(re.findall(r"[a-z_]\w*", re.sub(r'"[^"]*"', "", condition))) - set(names)
            if argument not in names or unknown:
                raise TypeError(f"{name}: rule {condition!r} speaks of {unknown or argument}")
            built.append(Rule(condition, message, argument, functools.partial(python_rule, condition, names)))
        if formula is not None:
            unknown = set(re.findall(r"\b[a-z_]\w*", re.sub(r'"[^"]*"', "", formula))) - set(names) - TABLE_NAMES
            if unknown:
                raise TypeError(f"{name}: the formula speaks of {', '.join(sorted(unknown))}")
        entry = Entry(name, group, core.__doc__.strip().split("\n")[0], source, tuple(arguments),
                      kind_of(core.__annotations__.get("return"), f"{name}, result"), core, formula,
                      no_formula, tuple(built))
        CATALOGUE[name] = entry
        _CALLS[name] = _make_call(entry)
        return _CALLS[name]

    return register


def _make_call(entry: Entry) -> CellFunction:
    core = entry.core
    quick = tuple((q.low, q.high, q.texts, q.whole, q.gap) for q in map(Quick, entry.arguments))
    needed, most = sum(a.required for a in entry.arguments), len(entry.arguments)
    checks: tuple[Callable[..., bool], ...] | None = None if entry.rules else ()
    padding = tuple(0 if a.default is None or a.required else a.default for a in entry.arguments)

    @functools.wraps(core)
    def call(*args: Any, **keywords: Any) -> Any:
        nonlocal checks
        if not keywords and needed <= len(args) <= most:
            for value, (low, high, texts, whole, gap) in zip(args, quick):  # noqa: B905 - strict costs time on the hot path
                kind = value.__class__
                if kind is float:
                    if low <= value <= high and not whole:
                        continue
                elif kind is int:
                    if low <= value <= high:
                        continue
                elif kind is str:
                    if value in texts:
                        continue
                elif gap and value is None:
                    continue
                break
            else:
                if checks is None:
                    checks = tuple(rule.check for rule in entry.rules)
                if not checks:
                    return core(*args)
                plain = [0 if v is None else v for v in args]
                plain += padding[len(args):]
                for check in checks:
                    if not check(*plain):
                        break
                else:
                    return core(*args)
        return _checked_call(entry, args, keywords)

    made: Any = call
    made.__signature__ = _signature(entry)
    made.__annotations__ = {}
    made.__doc__ = _document(entry)
    made.core = core
    made.entry = entry
    function: CellFunction = made
    return function


def _signature(entry: Entry) -> inspect.Signature:
    """The arguments as people give them; the kinds on the core's annotations are for the catalogue."""
    parameters = [inspect.Parameter(a.name, inspect.Parameter.POSITIONAL_OR_KEYWORD, default=a.default) for a in entry.arguments]
    if entry.takes_units and not entry.has_units:
        parameters.append(inspect.Parameter("units", inspect.Parameter.KEYWORD_ONLY, default=None))
    return inspect.Signature(parameters)


def units_rule(entry: Entry) -> str:
    """What the function's docstring says about the units of its texts, bare numbers and result; blank where nothing has a unit."""
    if not entry.takes_units:
        return ""
    return ANY_UNITS + (f" {UNITS_RULE}" if entry.result.two_systems else "")


def _document(entry: Entry) -> str:
    """The function's docstring with the parts that the catalogue knows: parameters, result, errors."""
    text = inspect.getdoc(entry.core) or ""
    summary, _, rest = text.partition("\n\n")
    lines = [summary, "", "Parameters", "----------"]
    for a in entry.arguments:
        default = "" if a.required else f", default {a.default!r}"
        lines += [f"{a.name} : {a.kind.allowed(None)}{default}", f"    {a.help}."]
    if entry.takes_units and not entry.has_units:
        lines += ["units : one of in, mm, a keyword, default in", "    what bare numbers and the result are in."]
    unit = entry.result.unit(None)
    lines += ["", "Returns", "-------", entry.result.name + (f" [{unit}]" if unit else "")]
    if entry.result.reader != "table":
        lines.append("    A column (list, tuple, array, Series) among the arguments gives a column, one result a row.")
    lines += ["", "Raises", "------", "InputError (a ValueError)", "    A missing, misread or impossible argument; names all of them."]
    lines += [f"    {rule.message[0].upper()}{rule.message[1:]}." for rule in entry.rules]
    lines += ["", "Source", "------", f"{entry.source[0].upper()}{entry.source[1:]}."]
    if said := units_rule(entry):
        lines += ["", "Units", "-----", *_lines(said)]
    return "\n".join(lines) + ("\n\n" + rest if rest else "\n")


@functools.cache
def _lines(text: str) -> list[str]:
    import textwrap

    return textwrap.wrap(text, 118)


# --- the careful path: text, quantities, numpy numbers, anything wrong ---------------------------------------------


def _checked_call(entry: Entry, args: tuple[Any, ...], keywords: dict[str, Any]) -> Any:
    if any(map(is_column, args)) or any(map(is_column, keywords.values())):
        bound, units = bind(entry, args, keywords)
        if any(is_column(bound.get(a.name)) for a in entry.arguments if a.kind.reader != "table"):
            return _columns(entry.name)(bound, units)
    values, units, quantities = read_arguments(entry, args, keywords)
    result = entry.core(*values)
    if quantities and entry.result.dimension:
        return _units.to_quantity(result, entry.result.dimension, units)
    return result


@functools.cache
def _columns(name: str) -> "Columns":
    """Where the first column turns up: most that import barfuncs have none."""
    from barfuncs.catalogue.columns import Columns

    return Columns(find(name), _CALLS[name])


def why(name: str, *args: Any, **keywords: Any) -> str:
    """Say in words what is wrong with a function's arguments, or "ok".

    >>> why("PARTS_PER_BAR", 144, 2.25, 0.125, 3)
    'ok'
    >>> why("parts_per_bar", 144, -2, 0.125, 3)
    'part_length: -2 given; allowed is a number more than 0 and at most 1,000,000 (in)'
    """
    entry = find(name)
    try:
        _CALLS[entry.name](*args, **keywords)
    except InputError as error:
        return "; ".join(f"{argument}: {reason}" for argument, reason in error.problems)
    except TypeError as error:
        return str(error)
    return "ok"
