"""The agreement matrix: every function on every surface gives the same value, or an error on all.

Run: python tests/agreement.py. It prints the table and writes it to agreement.md. The sets are seeded, so the table is the
same every time. Where a surface can't do what Python does, accepted_differences.toml says so, with the reason; what is
listed there and does not occur is a failure as well.
"""

import math
import random
import sys
import tempfile
import tomllib
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import openpyxl
from calc_office import Office
from excel_stub import MISSING, Cells, excel
from formula_cases import OWN_FILE, OWN_NAME, TEXTS, Case, bad_cases, book_of, good_cases, saved, scale
from libreoffice import convert

import barfuncs as bf
from barfuncs.catalogue.entry import CATALOGUE, Entry
from barfuncs.catalogue.reading import broken_rules, read_arguments
from barfuncs.functions.cost import TABLE_HEADS
from barfuncs.surfaces import names
from barfuncs.surfaces.cells import zero_is_unclear
from barfuncs.xlsx.engine import Workbook, column_letters
from barfuncs.xlsx.package import pack, read_parts
from barfuncs.xlsx.sheetxml import CellError

REL = 1e-12
PAGE = Path(__file__).with_name("agreement.md")
ACCEPTED = Path(__file__).with_name("accepted_differences.toml")
REFUSED = "refused"
GOOD, BAD, MISSING_SETS, TEXT, ZERO, ROWS = 120, 56, 16, 24, 12, 24
MOST_PARTS = 2000
"""Where a function has no formula its work may grow with the quantity."""

SURFACES = {"xlwings": "xlwings", "addin": "Calc add-in", "names": "names, ironcalc", "native": "formula, ironcalc",
            "native_libreoffice": "formula, LibreOffice"}
KINDS = ("good", "bad", "missing", "logical", "text", "zero", "range")


@dataclass(frozen=True)
class Set:
    """One call, and what it is about."""

    case: Case
    kind: str

    @property
    def entry(self) -> Entry:
        return self.case.entry


@dataclass(frozen=True)
class Block:
    """A call with ranges: one row for each set, some arguments the same in all of them."""

    rows: tuple[Set, ...]
    ranged: tuple[int, ...]


@dataclass(frozen=True)
class Accepted:
    """A difference that is known: on a surface, for sets of one kind, what shows there instead of Python's result."""

    surface: str
    kind: str
    shows: str
    reason: str
    preferred: str


@dataclass
class Outcome:
    """What came out, by function and surface."""

    compared: Counter[tuple[str, str]] = field(default_factory=Counter)
    refused: Counter[str] = field(default_factory=Counter)
    accepted: Counter[tuple[str, str]] = field(default_factory=Counter)
    used: Counter[Accepted] = field(default_factory=Counter)
    differences: list[str] = field(default_factory=list)


def accepted_differences() -> list[Accepted]:
    return [Accepted(**entry) for entry in tomllib.loads(ACCEPTED.read_text("utf-8"))["difference"]]


# --- the sets ------------------------------------------------------------------------------------------------------


def _usable(case: Case) -> bool:
    # The add-in carries the built-in materials only.
    if any(isinstance(v, str) and v.lower() == OWN_NAME.lower() for v in case.values):
        return False
    counts = [v for a, v in zip(case.entry.arguments, case.values, strict=True)
              if a.name == "quantity" and isinstance(v, (int, float))]
    return case.entry.formula is not None or all(v <= MOST_PARTS for v in counts)


def _some(make: Callable[[int], list[Case]], count: int) -> list[Case]:
    found: list[Case] = []
    while len(found) < count:
        found += [case for case in map(_in_15_digits, make(count)) if _usable(case) and not on_the_edge(case)]
    return found[:count]


def on_the_edge(case: Case) -> bool:
    """Whether a hair decides if a rule is kept: 1e-12 of a value, which a spreadsheet takes for equal and Python does not."""
    if not case.entry.rules:
        return False
    try:
        values, _, _ = read_arguments(case.entry, case.values, {})
    except (ValueError, TypeError) as error:
        if not any(rule.message in str(error) for rule in case.entry.rules):
            return False
        values = [v if v is not None else a.default for a, v in zip(case.entry.arguments, case.values, strict=True)]
    for n, value in enumerate(values):
        if isinstance(value, float):
            nudged = [[*values[:n], value * factor, *values[n + 1:]] for factor in (1 - REL, 1, 1 + REL)]
            if len({tuple(broken_rules(case.entry, v)) for v in nudged}) > 1:
                return True
    return False


def _in_15_digits(case: Case) -> Case:
    """A formula and a file hold no more digits, so that every surface gets the same numbers."""
    return Case(case.entry, tuple(float(f"{v:.15g}") if isinstance(v, float) else v for v in case.values))


def sets_of(entry: Entry) -> list[Set]:
    """Sets for one function: good and at the limits, bad, missing, logical, text with units, a 0 by itself."""
    rng = random.Random(f"agreement {entry.name}")
    found = [Set(case, "good") for case in _some(lambda n: good_cases(entry, rng, n), GOOD)]
    for case in _some(lambda n: bad_cases(entry, rng, n), BAD):
        found.append(Set(case, "logical" if any(isinstance(v, bool) for v in case.values) else "bad"))
    needed = [n for n, a in enumerate(entry.arguments) if a.required]
    for case in _some(lambda n: good_cases(entry, rng, n), MISSING_SETS if needed else 0):
        n = rng.choice(needed)
        found.append(Set(Case(entry, (*case.values[:n], None, *case.values[n + 1:])), "missing"))
    readable = [n for n, a in enumerate(entry.arguments) if a.kind.reader in TEXTS]
    for case in _some(lambda n: good_cases(entry, rng, n), TEXT if readable else 0):
        values = list(case.values)
        for n in rng.sample(readable, rng.randint(1, min(3, len(readable)))):
            values[n] = rng.choice(TEXTS[entry.arguments[n].kind.reader])
        found.append(Set(Case(entry, tuple(values)), "text"))
    unclear = [n for n, a in enumerate(entry.arguments) if zero_is_unclear(a) and a.kind.is_number]
    for case in _some(lambda n: good_cases(entry, rng, n), ZERO if unclear else 0):
        n = rng.choice(unclear)
        found.append(Set(Case(entry, (*case.values[:n], 0, *case.values[n + 1:])), "zero"))
    return found


def block_of(entry: Entry) -> Block | None:
    """Rows for one call with ranges; None where the function gives a table."""
    if entry.result.reader == "table":
        return None
    rng = random.Random(f"agreement ranges {entry.name}")
    cases = _some(lambda n: good_cases(entry, rng, n), ROWS // 2) + _some(lambda n: bad_cases(entry, rng, n), ROWS // 2)
    cases = [c if not any(isinstance(v, bool) for v in c.values) else cases[0] for c in cases]
    count = len(entry.arguments)
    single_cells = [n for n in range(count) if entry.arguments[n].kind.reader != "table"]
    ranged = tuple(sorted(rng.sample(single_cells, (len(single_cells) + 1) // 2)))
    single = cases[0].values
    return Block(tuple(Set(Case(entry, tuple(c.values[n] if n in ranged else single[n] for n in range(count))), "range")
                       for c in cases), ranged)


def _sum(rows: Iterable[Any]) -> float:
    """The sum of a table's numbers, as SUM reckons it."""
    return math.fsum(v for row in rows for v in (row if isinstance(row, (tuple, list)) else (row,)) if not isinstance(v, str))


def python_result(case: Case) -> Any:
    """A number or a text, for a table the sum of its numbers, or REFUSED."""
    try:
        result = getattr(bf, case.entry.name)(*[list(v) if isinstance(v, tuple) else v for v in case.values])
    except (ValueError, TypeError, ArithmeticError):
        return REFUSED
    if case.entry.result.reader == "table":
        return _sum(result)
    if isinstance(result, str):
        return result
    return float(result) if math.isfinite(result) else REFUSED


# --- the surfaces: each gives a number, a text or REFUSED for every set ------------------------------------------------------


def _as_excel(value: Any, single: bool = True) -> Any:
    if isinstance(value, tuple) and isinstance(value[0], tuple):
        return Cells(tuple(tuple(None if v == "" else v for v in row) for row in value))
    if isinstance(value, tuple):
        return Cells(tuple((_as_excel(v, False),) for v in value)) if len(value) > 1 else Cells(_as_excel(value[0], False))
    if value is None:
        return MISSING if single else None
    return float(value) if isinstance(value, int) and not isinstance(value, bool) else value


def _excel_result(entry: Entry, result: Any) -> Any:
    if isinstance(result, str):
        return REFUSED if result.startswith("#") else result
    if isinstance(result, list):  # xlwings hands a column of one cell over as one value
        rows = result[1:] if entry.name in TABLE_HEADS else result
        return _sum(rows)
    return float(result)


def through_xlwings(sets: Sequence[Set], blocks: Sequence[Block]) -> tuple[list[Any], list[list[Any]]]:
    """xlwings' own conversion code, under a stub of the Windows part."""
    with excel() as host:
        single = [_excel_result(s.entry, host.call(s.entry.cell_name, *map(_as_excel, s.case.values))) for s in sets]
        ranges = []
        for block in blocks:
            entry = block.rows[0].entry
            args = [Cells(tuple((_as_excel(s.case.values[n], False),) for s in block.rows)) if n in block.ranged
                    else _as_excel(block.rows[0].case.values[n]) for n in range(len(entry.arguments))]
            ranges.append([_excel_result(entry, row[0]) for row in host.call(entry.cell_name, *args)])
    return single, ranges


def _literal(value: Any, real_zero: bool = False) -> str:
    if value is None:
        return ""
    if isinstance(value, tuple) and isinstance(value[0], tuple):
        return "{" + "|".join(";".join(map(_literal, row)) for row in value) + "}"
    if isinstance(value, tuple):
        return "{" + "|".join(_literal(v) for v in value) + "}"
    if isinstance(value, str):
        return '"' + value.replace('"', '""') + '"'
    if isinstance(value, bool):
        return f"{str(value).upper()}()"
    return "-0" if real_zero and value == 0 else repr(value)


def _calc_arguments(item: Set, values: Sequence[Any]) -> list[str]:
    return [_literal(v, zero_is_unclear(a) and item.kind != "zero") for a, v in
            zip(item.entry.arguments, values, strict=True)]


def _whole(item: Set, call: str) -> str:
    """The call so that Calc hands an array in it over whole: alone in a cell only the array's first value arrives."""
    if not any(isinstance(v, tuple) for v in item.case.values):
        return f"SUM({call})" if item.entry.result.reader == "table" else call
    return f'TEXTJOIN("";TRUE();{call})' if item.entry.result.reader == "text" else f"SUM({call})"


def through_addin(sets: Sequence[Set], blocks: Sequence[Block]) -> tuple[list[Any], list[list[Any]]]:
    """The add-in in LibreOffice."""
    formulas = []
    for s in sets:
        call = f"{s.entry.cell_name}({';'.join(_calc_arguments(s, s.case.values))})"
        formulas.append(f"={_whole(s, call)}")
    with Office() as office:
        office.do("open")
        single = office.do("evaluate", formulas=formulas)
        ranges = []
        for block in blocks:
            item, last = block.rows[0], len(block.rows)
            office.do("open")
            parts = _calc_arguments(item, item.case.values)
            content = {}
            for n in block.ranged:
                letter = column_letters(n + 1)
                content |= {f"{letter}{r}": s.case.values[n] for r, s in enumerate(block.rows, 1) if s.case.values[n] is not None}
                parts[n] = f"{letter}1:{letter}{last}"
            office.do("write", cells=content)
            office.do("write", cells={f"AZ1:AZ{last}": f"={item.entry.cell_name}({';'.join(parts)})"})
            ranges.append(office.do("read", names=[f"AZ{r}" for r in range(1, last + 1)]))
    def plain(value: Any) -> Any:
        return REFUSED if isinstance(value, dict) else value
    return [plain(v) for v in single], [[plain(v) for v in block] for block in ranges]


def _engine_values(data: bytes, count: int) -> list[Any]:
    book = Workbook(data)
    book.calculate()
    return [v if isinstance(v, (float, str)) and not isinstance(v, CellError) else REFUSED for v in (book.value_at((0, row, 1)) for row in range(1, count + 1))]


def through_names(sets: Sequence[Set]) -> list[Any]:
    """The LAMBDA names in ironcalc."""
    book = openpyxl.Workbook()
    for row, s in enumerate(sets, start=1):
        arguments = ",".join(_literal(v) for v in s.case.values)
        book.worksheets[0].cell(row, 1, f"={s.entry.cell_name}({arguments})")
    return _engine_values(pack(names.add_names(read_parts(saved(book)))), len(sets))


def native(sets: Sequence[Set]) -> tuple[list[Any], bytes]:
    """The cell formulas over cells in ironcalc, and the workbook for LibreOffice."""
    data = book_of([s.case for s in sets])
    return _engine_values(data, len(sets)), data


def through_libreoffice(data: bytes, count: int) -> list[Any]:
    """The same workbook in LibreOffice."""
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "formulas.xlsx").write_bytes(data)
        (Path(folder) / "out").mkdir()
        done, = convert(Path(folder) / "formulas.xlsx", Path(folder) / "out")
        sheet = openpyxl.load_workbook(done, data_only=True).worksheets[0]
        values = [sheet.cell(row, 1).value for row in range(1, count + 1)]
    return [float(v) if isinstance(v, (int, float)) and not isinstance(v, bool)
            else v if isinstance(v, str) and not v.startswith("#") else REFUSED for v in values]


# --- the comparison --------------------------------------------------------------------------------------------------


def same(case: Case, python: Any, shown: Any) -> bool:
    """Within 1e-12 of the result, or of what it was subtracted from."""
    if REFUSED in (python, shown) or isinstance(python, str):
        return bool(python == shown)
    if not isinstance(shown, float):
        return False
    if math.isclose(shown, python, rel_tol=REL):
        return True
    values, _, _ = read_arguments(case.entry, case.values, {})  # texts as numbers
    return abs(shown - python) <= REL * scale(Case(case.entry, tuple(values)))


def compare(outcome: Outcome, surface: str, sets: Iterable[Set], shown: Iterable[Any], accepted: Sequence[Accepted]) -> None:
    for item, value in zip(sets, shown, strict=True):
        python = python_result(item.case)
        outcome.compared[item.entry.name, surface] += 1
        if same(item.case, python, value):
            continue
        shows = REFUSED if value == REFUSED else "number"  # or a text
        known = next((a for a in accepted if (a.surface, a.kind, a.shows) == (surface, item.kind, shows)), None)
        if known is None:
            outcome.differences.append(f"{surface}, {item.kind}: {item.case}: Python {python!r}, here {value!r}")
        else:
            outcome.used[known] += 1
            outcome.accepted[item.entry.name, surface] += 1


def unused(outcome: Outcome, accepted: Sequence[Accepted]) -> list[str]:
    return [f"accepted, but does not occur: {a.surface}, {a.kind}, shows {a.shows}" for a in accepted if not outcome.used[a]]


def run(entries: Sequence[Entry], accepted: Sequence[Accepted], surfaces: Iterable[str] = tuple(SURFACES)) -> Outcome:
    """Every set of the functions through the surfaces."""
    outcome = Outcome()
    with tempfile.TemporaryDirectory() as folder:
        own = Path(folder) / "own.csv"
        own.write_text(OWN_FILE, encoding="utf-8")
        bf.use_materials(own)
        try:
            sets = [s for e in entries for s in sets_of(e)]
            blocks = [b for e in entries if (b := block_of(e)) is not None]
            _run(outcome, sets, blocks, accepted, set(surfaces))
        finally:
            bf.use_materials(None)
    return outcome


def _run(outcome: Outcome, sets: list[Set], blocks: list[Block], accepted: Sequence[Accepted], surfaces: set[str]) -> None:
    rows = [s for b in blocks for s in b.rows]
    for s in [*sets, *rows]:
        outcome.compared[s.entry.name, "python"] += 1
        outcome.refused[s.entry.name] += python_result(s.case) == REFUSED
    for surface, through in (("xlwings", through_xlwings), ("addin", through_addin)):
        if surface in surfaces:
            single, ranges = through(sets, blocks)
            compare(outcome, surface, [*sets, *rows], [*single, *(v for block in ranges for v in block)], accepted)
    formulas = [s for s in sets if s.entry.formula is not None]
    if "names" in surfaces:
        compare(outcome, "names", formulas, through_names(formulas), accepted)
    if surfaces & {"native", "native_libreoffice"}:
        values, data = native(formulas)
        compare(outcome, "native", formulas, values, accepted)
        if "native_libreoffice" in surfaces:
            compare(outcome, "native_libreoffice", formulas, through_libreoffice(data, len(formulas)), accepted)


def page(outcome: Outcome, accepted: Sequence[Accepted]) -> str:
    """The table in Markdown."""
    lines = ["# Agreement of the surfaces", "",
             "Generated by `tests/agreement.py`. For every function, sets of arguments (good and at the limits, bad, missing,",
             "TRUE or FALSE, text with units, a 0 by itself, ranges) through each surface, compared with Python: the same value",
             "to 1e-12, or an error on both. A number alone: all agree. `+ n`: so many more differ in an accepted way, see below.",
             "Left out are sets in which 1e-12 of a value decides whether a rule between arguments is kept.",
             "", "| function | sets | of them refused | " + " | ".join(SURFACES.values()) + " |",
             "|---|--:|--:|" + "--:|" * len(SURFACES)]

    def line(name: str, functions: Sequence[str]) -> str:
        cells = []
        for surface in SURFACES:
            compared = sum(outcome.compared[f, surface] for f in functions)
            differ = sum(outcome.accepted[f, surface] for f in functions)
            cells.append("-" if not compared else f"{compared - differ:,}" + (f" + {differ:,}" if differ else ""))
        sets = sum(outcome.compared[f, "python"] for f in functions)
        return f"| {name} | {sets:,} | {sum(outcome.refused[f] for f in functions):,} | {' | '.join(cells)} |"

    functions = sorted({f for f, _ in outcome.compared})
    lines += [line(f, [f]) for f in functions] + [line("all", functions), "", "## Accepted differences", "",
                                                  "| surface | sets | times | shows | instead of Python's | better | reason |",
                                                  "|---|---|--:|---|---|---|---|"]
    lines += [f"| {SURFACES[a.surface]} | {a.kind} | {outcome.used[a]:,} | {'an error' if a.shows == REFUSED else 'a number'} | "
              f"{'number' if a.shows == REFUSED else 'error'} | {a.preferred} | {a.reason} |" for a in accepted]
    lines += ["", "A `-` stands where a function has no cell formula:", ""]
    lines += [f"- {e.name}: {e.no_formula}" for e in CATALOGUE.values() if e.formula is None]
    return "\n".join(lines) + "\n"


def main() -> None:
    accepted = accepted_differences()
    outcome = run(tuple(CATALOGUE.values()), accepted)
    text = page(outcome, accepted)
    print(text)
    faults = outcome.differences + unused(outcome, accepted)
    for fault in faults:
        print(fault)
    print(f"{len(faults)} faults")
    if faults:
        sys.exit(1)
    PAGE.write_text(text, "utf-8")


if __name__ == "__main__":
    main()
