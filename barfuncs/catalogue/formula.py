"""Native cell formulas: a function's own, with its guard against bad arguments, and functions called within formulas."""

import re
from collections.abc import Callable, Mapping, Sequence

from barfuncs.catalogue.counting import CELL_MACROS
from barfuncs.catalogue.entry import CATALOGUE, Argument, Entry
from barfuncs.catalogue.kinds import UNITS, Kind
from barfuncs.text.pattern import pattern

TABLE_NAMES = frozenset({"material_densities", "material_spellings", "material_spelling_rows", "own_material_names",
                         "own_material_densities"})
"""Names of the materials table in a workbook, which a cell formula may look things up in."""


def cell_formula(entry: Entry, refs: Mapping[str, str] | None = None, guard: bool = True,
                 left_out: str = "ISBLANK({x})", known: Mapping[str, Kind] | None = None) -> str:
    """The native cell formula, without the leading `=`.

    `refs` maps arguments to what stands for them in the sheet (a name, a cell, a literal); an argument that is
    left out is taken as a name like its own. With `guard`, a bad argument gives #N/A, never a number.
    `left_out` is the test for an optional argument that is not given. `known` holds the refs that are never blank
    and hold a value of that kind or an error value: only what the kind leaves open is tested again.
    Raises LookupError where the function has no cell formula.
    """
    if entry.formula is None:
        raise LookupError(f"{entry.cell_name} has no cell formula: {entry.no_formula}")
    refs = refs or {}
    used = {a.name: refs.get(a.name, a.name) for a in entry.arguments}
    known = known or {}
    values = values_in_cell(entry, used, left_out) | {a: ref for a, ref in used.items() if ref in known}
    body = expand(entry.formula, values)
    if not guard:
        return body
    conditions = [a.kind.limits_beyond(known[used[a.name]], used[a.name]) if used[a.name] in known
                  else _guard(a, used[a.name], left_out) for a in entry.arguments if used[a.name] not in _LITERALS]
    rules = [expand(rule.condition, values) for rule in entry.rules]
    tests = ",".join(c for c in conditions if c)
    if rules:
        # A second IF, since AND works out all its parts and a rule may divide by a bad value.
        body = f"IF(AND({','.join(rules)}),{body},NA())"
    return f"IF(AND({tests}),{body},NA())" if tests else body


def values_in_cell(entry: Entry, refs: Mapping[str, str], left_out: str) -> dict[str, str]:
    """Cell expressions for the arguments as used: the default where an optional one is left out."""
    return {a.name: _value_in_cell(a, refs[a.name], left_out) for a in entry.arguments}


def cell_tests(entry: Entry, refs: Mapping[str, str], left_out: str) -> tuple[list[str], list[str]]:
    """Cell expressions that are TRUE where an argument is allowed, one for each, and where a rule is kept, likewise."""
    values = values_in_cell(entry, refs, left_out)
    return ([f"AND({_guard(a, refs[a.name], left_out)})" for a in entry.arguments],
            [expand(rule.condition, values) for rule in entry.rules])


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
    if argument.required:
        return argument.kind.cell_condition(ref)
    return f"OR({left_out.replace('{x}', ref)},{argument.kind.cell_test(ref)})"


_TOKEN = pattern(r'"[^"]*"|[A-Za-z_][A-Za-z_0-9]*|.', re.DOTALL)


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


def python_rule(condition: str, names: Sequence[str]) -> Callable[..., bool]:
    """The rule's cell expression as a Python function, so that a rule is written once."""
    code = compile(f"lambda {', '.join(names)}: {_in_python(condition)}", f"<rule {condition}>", "eval")
    check: Callable[..., bool] = eval(code, {"__builtins__": {}})  # noqa: S307 - the text comes from this package's own source
    return check


_RULE_TOKEN = pattern(r'"[^"]*"|(?:OR|AND)\(|\w+|<>|<=|>=|.', re.DOTALL)
_INSTEAD = {"<>": "!=", "=": "=="}
_JOINS = {"OR(": " or ", "AND(": " and ", "(": ","}


def _in_python(condition: str) -> str:
    """A condition as Python writes it: OR(a,b) and AND(a,b) as `(a or b)` and `(a and b)`, several times faster than a call."""
    out: list[str] = []
    joins: list[str] = []
    for token in _RULE_TOKEN.findall(condition):
        if token in _JOINS:
            joins.append(_JOINS[token])
            token = "("
        elif token == ",":
            token = joins[-1]
        elif token == ")":
            joins.pop()
        out.append(_INSTEAD.get(token, token))
    return "".join(out)
