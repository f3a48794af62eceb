"""One catalogue: every function is declared once and appears on every surface.

`cell_function` registers a plain Python function on floats. Its annotations say what each argument is (`kinds`), the
glossary says what it means, `formula` is its cell formula in terms of the same argument names, `rules` are conditions
between arguments. From that come the checks and their messages, units, docstrings and guarded cell formulas.
"""

import ast
import decimal
import functools
import inspect
import math
import numbers
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Annotated, Any, Protocol, get_args, get_origin

from barfuncs import materials as _materials
from barfuncs import units as _units
from barfuncs.counting import CELL_MACROS
from barfuncs.errors import BarfuncsError, InputError, shown
from barfuncs.glossary import ARGUMENTS
from barfuncs.kinds import HEAVIEST, LIGHTEST, SPELLINGS, UNITS, Kind, looks_like_designation, squeezed

GROUPS = ("Stock", "Yield", "Quantity", "Sawing", "Time", "Cost", "Safety")
REQUIRED: Any = inspect.Parameter.empty

UNITS_HINT = ': add units="in" or units="mm"'
"""How a message ends for a bare number next to metric text. A cell has no such argument and says it in other words."""

CATALOGUE: dict[str, "Entry"] = {}


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

    def cell_formula(self, refs: Mapping[str, str] | None = None, guard: bool = True,
                     left_out: str = "ISBLANK({x})", known: Mapping[str, Kind] | None = None) -> str:
        """The native cell formula, without the leading `=`.

        `refs` maps arguments to what stands for them in the sheet (a name, a cell, a literal); an argument that is
        left out is taken as a name like its own. With `guard`, a bad argument gives #N/A, never a number.
        `left_out` is the test for an optional argument that is not given. `known` holds the refs that are never blank
        and hold a value of that kind or an error value: only what the kind leaves open is tested again.
        Raises LookupError where the function has no cell formula.
        """
        if self.formula is None:
            raise LookupError(f"{self.cell_name} has no cell formula: {self.no_formula}")
        refs = refs or {}
        used = {a.name: refs.get(a.name, a.name) for a in self.arguments}
        known = known or {}
        values = self.values_in_cell(used, left_out) | {a: ref for a, ref in used.items() if ref in known}
        body = expand(self.formula, values)
        if not guard:
            return body
        conditions = [a.kind.limits_beyond(known[used[a.name]], used[a.name]) if used[a.name] in known
                      else _guard(a, used[a.name], left_out) for a in self.arguments if used[a.name] not in _LITERALS]
        rules = [expand(rule.condition, values) for rule in self.rules]
        tests = ",".join(c for c in conditions if c)
        if rules:
            # A second IF, since AND works out all its parts and a rule may divide by a bad value.
            body = f"IF(AND({','.join(rules)}),{body},NA())"
        return f"IF(AND({tests}),{body},NA())" if tests else body

    def values_in_cell(self, refs: Mapping[str, str], left_out: str) -> dict[str, str]:
        """Cell expressions for the arguments as used: the default where an optional one is left out."""
        return {a.name: _value_in_cell(a, refs[a.name], left_out) for a in self.arguments}

    def cell_tests(self, refs: Mapping[str, str], left_out: str) -> tuple[list[str], list[str]]:
        """Cell expressions that are TRUE where an argument is allowed, one for each, and where a rule is kept, likewise."""
        values = self.values_in_cell(refs, left_out)
        return ([f"AND({_guard(a, refs[a.name], left_out)})" for a in self.arguments],
                [expand(rule.condition, values) for rule in self.rules])


TWO_SYSTEMS = frozenset({"length", "weight", "surface_speed", "feed_rate", "feed_speed"})
"""Dimensions in which a bare number means one thing in inch units and another in metric units."""

_LITERALS = frozenset(f'"{u}"' for u in UNITS) | {"0", "1"}


def _value_in_cell(argument: Argument, ref: str, left_out: str) -> str:
    """A blank cell counts as 0 in arithmetic, so only a default other than 0 needs saying."""
    blank_is_default = left_out == "ISBLANK({x})" and argument.default in (0, None)
    if argument.required or blank_is_default or ref in _LITERALS:
        return ref
    default = f'"{argument.default}"' if isinstance(argument.default, str) else f"{argument.default or 0:g}"
    return f"IF({left_out.replace('{x}', ref)},{default},{ref})"


def _guard(argument: Argument, ref: str, left_out: str) -> str:
    if argument.kind.reader == "material":
        return expand("OR(AND(ISNUMBER({x}),NOT(ISLOGICAL({x}))),ISTEXT({x}))".replace("{x}", ref), {})
    condition = argument.kind.cell_condition(ref)
    if argument.required:
        return condition
    inner = condition if condition.startswith("OR(") else f"AND({condition})"
    return f"OR({left_out.replace('{x}', ref)},{inner})"


_TOKEN = re.compile(r'"[^"]*"|[A-Za-z_][A-Za-z_0-9]*|.', re.DOTALL)


def expand(formula: str, values: Mapping[str, str]) -> str:
    """Put `values` in for argument names, and write out the macros and the other catalogue functions it calls."""
    tokens = _TOKEN.findall(formula)
    out: list[str] = []
    i = 0
    while i < len(tokens):
        token = tokens[i]
        calls = i + 1 < len(tokens) and tokens[i + 1] == "("
        if calls and (token in CELL_MACROS or (token.lower() in CATALOGUE and token.isupper())):
            parts, i = _split_call(tokens, i + 1)
            inner = [expand(p, values) for p in parts]
            if token in CELL_MACROS:
                out.append(CELL_MACROS[token].replace("{x}", inner[0]))
            else:
                entry = CATALOGUE[token.lower()]
                if entry.formula is None:
                    raise ValueError(f"{token} has no cell formula to build on")
                given = {a.name: _atom(x) for a, x in zip(entry.arguments, inner, strict=False)}
                for a in entry.arguments[len(inner):]:
                    given[a.name] = f'"{a.default}"' if isinstance(a.default, str) else f"{a.default or 0:g}"
                out.append(f"({expand(entry.formula, given)})")
        elif calls and token == "IF" and (branch := _left_out_branch(tokens, i + 1, values)):
            text, i = branch
            out.append(text)
        else:
            out.append(values[token] if token in values and not calls else token)
            i += 1
    return "".join(out)


def _left_out_branch(tokens: Sequence[str], start: int, values: Mapping[str, str]) -> tuple[str, int] | None:
    """Of IF(argument=0,first,second) the first, where the argument is left out for good: the second would be dead weight."""
    parts, end = _split_call(tokens, start)
    return (expand(parts[1], values), end) if expand(parts[0], values) == "0=0" else None


def _atom(expression: str) -> str:
    """The expression in parentheses, but for a plain name, number or text, and for what has them around it already."""
    if re.fullmatch(r'\w+|"[^"]*"|[\d.]+', expression):
        return expression
    depth, ends = 0, []
    for n, mark in enumerate(re.sub(r'"[^"]*"', lambda m: "_" * len(m[0]), expression)):
        depth += (mark == "(") - (mark == ")")
        if depth == 0:
            ends.append(n)
    return expression if ends == [len(expression) - 1] else f"({expression})"


def _split_call(tokens: Sequence[str], start: int) -> tuple[list[str], int]:
    depth, parts, i = 0, [""], start
    while True:
        token = tokens[i]
        depth += (token == "(") - (token == ")")
        if depth == 0:
            return parts, i + 1
        if token == "," and depth == 1:
            parts.append("")
        elif not (token == "(" and depth == 1):
            parts[-1] += token
        i += 1


def _python_rule(condition: str, names: Sequence[str]) -> Callable[..., bool]:
    """The rule's cell expression as a Python function, so that a rule is written once."""
    text = condition.replace("<>", "!=")
    text = re.sub(r"(?<![<>!=])=(?!=)", "==", text)
    tree = _Joined().visit(ast.parse(f"lambda {', '.join(names)}: {text}", f"<rule {condition}>", "eval"))
    code = compile(ast.fix_missing_locations(tree), f"<rule {condition}>", "eval")
    check: Callable[..., bool] = eval(code, {"__builtins__": {}})  # noqa: S307 - the text comes from this package's own source
    return check


class _Joined(ast.NodeTransformer):
    """OR(a,b) and AND(a,b) as `a or b` and `a and b`, several times faster than a call."""

    def visit_Call(self, node: ast.Call) -> ast.AST:
        self.generic_visit(node)
        join = {"OR": ast.Or, "AND": ast.And}[node.func.id]  # type: ignore[attr-defined]
        return ast.BoolOp(join(), node.args)


def _kind_of(annotation: Any, where: str) -> Kind:
    for candidate in (annotation, *get_args(annotation)):
        if get_origin(candidate) is Annotated:
            for extra in candidate.__metadata__:
                if isinstance(extra, Kind):
                    return extra
    raise TypeError(f"{where}: annotate with a kind from barfuncs.kinds")


def cell_function(
    *,
    group: str,
    formula: str | None = None,
    no_formula: str | None = None,
    rules: Sequence[tuple[str, str, str]] = (),
) -> Callable[[Callable[..., Any]], CellFunction]:
    """Register a function. Declarations are checked here, at import.

    Parameters
    ----------
    group : str
        One of `GROUPS`.
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
        if (formula is None) == (no_formula is None):
            raise TypeError(f"{name}: give either a formula or the reason why there is none")
        if name in CATALOGUE:
            raise TypeError(f"{name} is registered already")
        if not core.__doc__:
            raise TypeError(f"{name}: a docstring is missing")
        arguments = []
        for parameter in inspect.signature(core).parameters.values():
            where = f"{name}, {parameter.name}"
            if parameter.name not in ARGUMENTS:
                raise TypeError(f"{where}: not in the glossary")
            kind = _kind_of(parameter.annotation, where)
            if kind.is_number and isinstance(parameter.default, (int, float)) and not kind.allows(parameter.default):
                raise TypeError(f"{where}: the default {parameter.default} is outside the limits")
            arguments.append(Argument(parameter.name, kind, ARGUMENTS[parameter.name], parameter.default))
        if any(a.name == "units" for a in arguments[:-1]):
            raise TypeError(f"{name}: units must be the last argument")
        names = [a.name for a in arguments]
        built = []
        for argument, condition, message in rules:
            unknown = set(re.findall(r"[a-z_]\w*", re.sub(r'"[^"]*"', "", condition))) - set(names)
            if argument not in names or unknown:
                raise TypeError(f"{name}: rule {condition!r} speaks of {unknown or argument}")
            built.append(Rule(condition, message, argument, _python_rule(condition, names)))
        if formula is not None:
            unknown = set(re.findall(r"\b[a-z_]\w*", re.sub(r'"[^"]*"', "", formula))) - set(names) - TABLE_NAMES
            if unknown:
                raise TypeError(f"{name}: the formula speaks of {', '.join(sorted(unknown))}")
        entry = Entry(name, group, inspect.getdoc(core).split("\n")[0], tuple(arguments),  # type: ignore[union-attr]
                      _kind_of(inspect.signature(core).return_annotation, f"{name}, result"), core, formula,
                      no_formula, tuple(built))
        CATALOGUE[name] = entry
        return _make_call(entry)

    return register


TABLE_NAMES = frozenset({"material_densities", "material_spellings", "material_spelling_rows", "own_material_names",
                         "own_material_densities"})
"""Names of the materials table in a workbook, which a cell formula may look things up in."""


class _KnownMaterials:
    """Names and designations of the materials table in use, in lower case."""

    def __contains__(self, text: object) -> bool:
        return text in _materials.active()._by_text


def _quick_check(argument: Argument) -> tuple[float, float, Any, bool, bool]:
    """(low, high, texts, whole, may be None) for the fast path: plain floats, ints and exact texts, nothing else."""
    kind, gap = argument.kind, argument.default is None
    if kind.is_number:
        return kind.closed_low, min(kind.closed_high, 1.7e308), (), kind.whole, gap
    texts: Any = frozenset(kind.choices) if kind.choices else _KnownMaterials() if kind.reader == "material" else ()
    return 1.0, 0.0, texts, False, gap


def _make_call(entry: Entry) -> CellFunction:
    core = entry.core
    quick = tuple(_quick_check(a) for a in entry.arguments)
    needed, most = sum(a.required for a in entry.arguments), len(entry.arguments)
    checks = [rule.check for rule in entry.rules]
    padding = tuple(0 if a.default is None or a.required else a.default for a in entry.arguments)

    @functools.wraps(core)
    def call(*args: Any, **keywords: Any) -> Any:
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
    made.__signature__ = inspect.signature(core)
    made.__doc__ = _document(entry)
    made.core = core
    made.entry = entry
    function: CellFunction = made
    return function


def _document(entry: Entry) -> str:
    """The function's docstring with the parts that the catalogue knows: parameters, result, errors."""
    text = inspect.getdoc(entry.core) or ""
    summary, _, rest = text.partition("\n\n")
    lines = [summary, "", "Parameters", "----------"]
    for a in entry.arguments:
        default = "" if a.required else f", default {a.default!r}"
        lines += [f"{a.name} : {a.kind.allowed(None)}{default}", f"    {a.help}."]
    unit = entry.result.unit(None)
    lines += ["", "Returns", "-------", entry.result.name + (f" [{unit}]" if unit else ""), "", "Raises", "------",
              "InputError (a ValueError)", "    A missing, misread or impossible argument; names all of them."]
    lines += [f"    {rule.message[0].upper()}{rule.message[1:]}." for rule in entry.rules]
    return "\n".join(lines) + ("\n\n" + rest if rest else "\n")


# --- the careful path: text, quantities, numpy numbers, anything wrong ---------------------------------------------


def _checked_call(entry: Entry, args: tuple[Any, ...], keywords: dict[str, Any]) -> Any:
    values, units, quantities = read_arguments(entry, args, keywords)
    result = entry.core(*values)
    if quantities and entry.result.dimension:
        return _units.to_quantity(result, entry.result.dimension, units)
    return result


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


def why(name: str, *args: Any, **keywords: Any) -> str:
    """Say in words what is wrong with a function's arguments, or "ok".

    >>> why("PARTS_PER_BAR", 144, 2.25, 0.125, 3)
    'ok'
    >>> why("parts_per_bar", 144, -2, 0.125, 3)
    'part_length: -2 given; allowed is a number more than 0 and at most 1,000,000 (in)'
    """
    entry = find(name)
    try:
        values, _, _ = read_arguments(entry, args, keywords)
        entry.core(*values)  # a text or a list of quantities is read there
    except InputError as error:
        return "; ".join(f"{argument}: {reason}" for argument, reason in error.problems)
    except TypeError as error:
        return str(error)
    return "ok"


def find(name: str) -> Entry:
    """The entry of a function, upper or lower case. Raises InputError with the nearest name."""
    entry = CATALOGUE.get(name.strip().lower()) if isinstance(name, str) else None
    if entry is None:
        import difflib

        close = difflib.get_close_matches(name.lower(), CATALOGUE, n=1) if isinstance(name, str) else []
        hint = f"; did you mean {close[0]!r}?" if close else ""
        raise InputError("barfuncs", [("function", f"{shown(name)} is not known here{hint}")])
    return entry
