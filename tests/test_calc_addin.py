"""The add-in for LibreOffice Calc: in LibreOffice itself, every function against Python."""

import ast
import io
import math
import os
import random
import re
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import click.testing
import openpyxl
import pytest
from calc_office import Office
from formula_cases import TEXTS
from libreoffice import convert
from openpyxl.worksheet.formula import ArrayFormula

import barfuncs as bf
from barfuncs.catalogue import materials
from barfuncs.catalogue.entry import CATALOGUE, Argument, Entry
from barfuncs.cli import connect_calc
from barfuncs.cli.main import main
from barfuncs.functions.cost import TABLE_HEADS
from barfuncs.surfaces.calc import build
from barfuncs.surfaces.examples import example
from barfuncs.surfaces.names import add_names
from barfuncs.xlsx.engine import Workbook
from barfuncs.xlsx.package import pack, read_parts

REL = 1e-12
REFUSED = "refused"
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
SCALAR = [e for e in CATALOGUE.values() if e.result.reader != "table"]
TABLES = [e for e in CATALOGUE.values() if e.result.reader == "table"]


# --- the file ------------------------------------------------------------------------------------------------------


def test_the_file_is_the_same_every_time(tmp_path: Path) -> None:
    code = "import sys; from barfuncs.surfaces.calc.build import build; sys.stdout.buffer.write(build())"
    runs = [subprocess.run([sys.executable, "-c", code], capture_output=True, check=True,
                           env={"PYTHONPATH": str(Path(bf.__file__).parents[1]), "PYTHONHASHSEED": seed}).stdout
            for seed in ("1", "2")]
    assert runs[0] == runs[1] == build.build()


def test_the_core_in_the_file_needs_no_package(tmp_path: Path) -> None:
    with zipfile.ZipFile(io.BytesIO(build.build())) as package:
        package.extractall(tmp_path)
        names = package.namelist()
    assert not [n for n in names if re.search("barfuncs/(cli|filling|templates|xlsx)/|build.py", n)]
    assert [n for n in names if n.endswith("catalogue/materials.csv")]
    code = ("import barfuncs.surfaces.cells as c, barfuncs; call = c.CellCall(barfuncs.CATALOGUE['bar_weight'], c.CALC);"
            "print(barfuncs.__file__); print(call('1.4305', 'round', '1 in', 144.0, None, None))")
    done = subprocess.run([sys.executable, "-S", "-E", "-s", "-c", f"import sys; sys.path.insert(0, 'pythonpath'); {code}"],
                          cwd=tmp_path, capture_output=True, text=True, check=True)
    where, weight = done.stdout.split("\n")[:2]
    assert (tmp_path / where).resolve().is_relative_to(tmp_path.resolve())
    assert float(weight) == bf.bar_weight("1.4305", "round", "1 in", 144)
    # LibreOffice may bring Python 3.10.
    for path in (tmp_path / "pythonpath").rglob("*.py"):
        ast.parse(path.read_text("utf-8"), feature_version=(3, 10))
    # An older one must get as far as the message.
    ast.parse((tmp_path / "barfuncs_addin.py").read_text("utf-8"), feature_version=(3, 7))


def test_every_function_is_in_the_file_with_help_for_every_argument() -> None:
    files = build.files()
    registry = ElementTree.fromstring(files["CalcAddIns.xcu"])
    name = "{http://openoffice.org/2001/registry}name"
    found = {}
    for node in registry.iter("node"):
        parameters = next((n for n in node.findall("node") if n.get(name) == "Parameters"), None)
        if parameters is not None:
            found[node.get(name)] = [n.findtext("prop/value") for n in parameters.findall("node")]
    expected = {e.cell_name: [a.name for a in e.arguments] for e in CATALOGUE.values()}
    assert found == expected | {"WHY": ["function_name", "arguments"]}
    methods = set(re.findall(r">\s(\w+)\(", files["XFunctions.idl"].decode()))
    assert methods == set(found)
    for text in files.values():
        if text.startswith(b"<?xml"):
            ElementTree.fromstring(text)


# --- connect -------------------------------------------------------------------------------------------------------


def test_connect_writes_the_file_alone(tmp_path: Path) -> None:
    done = click.testing.CliRunner().invoke(connect_calc.calc, ["--build", str(tmp_path / "new")])
    assert done.exit_code == 0, done.output
    assert (tmp_path / "new" / "barfuncs.oxt").read_bytes() == build.build()
    assert "barfuncs.oxt written" in done.output


def test_connect_says_when_libreoffice_is_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "")
    monkeypatch.setattr(connect_calc, "_USUAL_PLACES", ())
    done = click.testing.CliRunner().invoke(connect_calc.calc, [])
    assert done.exit_code == 1
    assert "LibreOffice was not found" in done.output
    assert "Traceback" not in done.output


def test_connect_refuses_a_libreoffice_with_an_old_python(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "python-core-3.8.10").mkdir()
    for program in ("soffice", "unopkg"):
        (tmp_path / program).write_text("#!/bin/sh\nexit 0\n")
        (tmp_path / program).chmod(0o755)
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(connect_calc.ConnectError, match=r"brings Python 3\.8; barfuncs needs 3\.10"):
        connect_calc.connect_calc(None)
    (tmp_path / "python-core-3.8.10").rmdir()
    assert "installed" in connect_calc.connect_calc(None)[0]
    (tmp_path / "unopkg").write_text("#!/bin/sh\necho the profile is locked >&2\nexit 1\n")
    with pytest.raises(connect_calc.ConnectError, match="the profile is locked"):
        connect_calc.connect_calc(None)


# --- argument sets -------------------------------------------------------------------------------------------------

_UNREADABLE = ("about 3", "8 mil", "12,5", "1/0", "x" * 70)


def _number(a: Argument, rng: random.Random) -> float:
    kind = a.kind
    low = max(kind.low, 1 if kind.whole else 1e-3)
    high = min(kind.high, 500 if kind.whole else 200)
    value = math.exp(rng.uniform(math.log(low), math.log(high)))
    if kind.whole:
        return float(round(value))
    return min(max(value if rng.random() < 0.5 else round(value, 3), low), kind.closed_high)


def _good(a: Argument, rng: random.Random) -> Any:
    if not a.required and rng.random() < 0.4:
        return None
    if a.kind.choices:
        return rng.choice(a.kind.choices)
    if a.kind.reader == "material":
        row = rng.choice(materials.builtin().rows)
        return rng.choice((row.name, row.texts[-1].upper(), "7.85 g/cm3", 0.284, 0.1))
    if a.name == "offers":
        return rng.choice(("144: 2.4; 240: 2.2", "12 ft: 2.4; 12 ft from 5: 1.9; 400: 2", "200 from 100: 30"))
    if a.kind.columns:
        return rng.choice(("1/2 x 3/4; hex 3/4 x 1/4", "round 0.4 to 0.3 x 1 bore 0.1"))
    if a.name == "stock_sizes":
        return rng.choice(("0.5; 1; 2; 5; 8", "1/2; 1 1/8; 3.5", "20 25 30 100 190", "3 in", "metric"))
    if a.name == "price_brackets":
        return rng.choice(("1: 53; 50: 51.5", "1: $4.40; 1,000: 4", "100: 3"))
    if a.kind.reader == "table":
        return [_number_of_parts(rng) for _ in range(rng.randint(1, 4))]
    if a.kind.reader in TEXTS and (a.kind.reader == "text" or rng.random() < 0.2):
        return rng.choice(TEXTS[a.kind.reader])
    return _number(a, rng)


def _number_of_parts(rng: random.Random) -> Any:
    return rng.choice((float(rng.randint(1, 5000)), "250 pcs"))


def _odd(a: Argument, rng: random.Random) -> Any:
    """At a limit, outside it, of the wrong kind or missing."""
    kind = a.kind
    if kind.columns:
        return rng.choice((0.0, "many", "1 x 1 bore 1", None))
    if a.name == "stock_sizes":
        return rng.choice(("many", "0", "-1; 3", "3; ; 4", 2.5, None))
    if a.name == "price_brackets":
        return rng.choice(("many", "0: 3", "1: 5; 1: 4", "1: -2", 2.5, None))
    if kind.reader == "table":
        return rng.choice(([], [0.0], ["many"], [10.5, 100.0], None))
    values: list[Any] = [None, -0.0, *_UNREADABLE[:3], rng.choice(_UNREADABLE), "  "]
    if kind.is_number:
        values += [-1.0, 0.0, kind.low, kind.low + (1e-3 if kind.open_low else 0), kind.low - 1e-6, 1e300, 2.5]
        if math.isfinite(kind.high):
            values += [kind.closed_high, kind.high, kind.high * (1 + 1e-9), kind.high + 1]
        values += list(TEXTS.get(kind.reader, ()))
    else:
        values += [0.0, 7.0, -1.0, "*", *(c.upper() for c in kind.choices)]
    return rng.choice(values)


def _fit(entry: Entry, values: list[Any]) -> None:
    """Make a shape and its thickness go together, and bars long enough."""
    named = {a.name: n for n, a in enumerate(entry.arguments)}
    if {"shape", "thickness"} <= set(named):
        shape, size = values[named["shape"]], values[named["size"]]
        hollow = shape in ("flat", "tube", "hexagon tube")
        values[named["thickness"]] = size * 0.2 if hollow and isinstance(size, float) else None
    if "parts_on_edge" in named and values[named["parts_on_edge"]]:
        values[named["parts_per_edge"]] = 400.0
    if "longest_bar" in named:
        for name, value in (("shortest_bar", 120.0), ("longest_bar", 144.5), ("bar_per_part", 2.375), ("min_remnant", 3.0)):
            values[named[name]] = value


    if "longest_blank" in named:
        for name, value in (("supplied_length", 144.0), ("longest_blank", 47.5), ("kerf", 0.125), ("bar_per_part", 2.375), ("min_remnant", 3.0),
                            ("end_trim", 0.1), ("shortest_blank", 20.0), ("trim", 0.5), ("price_per", "lb"), ("weight_per_length", 4.0)):
            if name in named and values[named[name]] is not None:
                values[named[name]] = value
    if "box_weight" in named:
        values[named["part_weight"]], values[named["box_weight"]] = 0.25, 40.0
    if "rate_per" in named:
        for name, value in (("part_weight", 0.16), ("part_area", 7.5), ("time_each", 20.0)):
            values[named[name]] = value
    if "service_time" in named:
        values[named["run_time"]], values[named["service_time"]] = 600.0, 45.0
    if "lot_size" in named and "sample_size" in named:
        values[named["lot_size"]], values[named["sample_size"]] = 5000.0, 80.0
    if "trim_weight" in named:
        for name, value in (("parts_to_make", 1000.0), ("bars", 20.0), ("parts_per_bar", 59.0), ("bar_weight", 31.5),
                            ("gross_weight", 0.5), ("part_weight", 0.3), ("trim_weight", 0.25)):
            if name in named:
                values[named[name]] = value
    if "stock_sizes" in named:
        for name in ("part_shape", "bar_shape"):
            values[named[name]] = "round"
        if isinstance(values[named["finished_size"]], float):
            values[named["finished_size"]] = min(values[named["finished_size"]], 6.0)
    if {"margin", "markup"} <= set(named):
        values[named["markup"]] = None
    if "operation" in named:
        for name, value in (("start_diameter", 0.75), ("end_diameter", 0.25), ("length", 1.5), ("feed_rate", 0.006),
                            ("surface_speed", 400.0), ("top_speed", 4000.0), ("extra_time", 1.5)):
            values[named[name]] = value


def argument_sets(entry: Entry, count: int, seed: str) -> list[list[Any]]:
    rng = random.Random(f"{entry.name} {seed}")
    sets = []
    for n in range(count):
        values = [_good(a, rng) for a in entry.arguments]
        _fit(entry, values)
        for index in rng.sample(range(len(values)), min(len(values), (0, 1, 1, 2)[n % 4])):
            values[index] = _odd(entry.arguments[index], rng)
        sets.append(values)
    return sets


def unclear(a: Argument, value: Any) -> bool:
    """A single 0 may be a blank cell, and a blank cell would mean something else than 0."""
    return value == 0 and math.copysign(1, value) > 0 and (a.kind.is_number if a.required else a.default != 0)


def expected(entry: Entry, values: list[Any], single: bool = True) -> Any:
    """What Python gives, or REFUSED. `single`: the values are single cells, in which a 0 may be unclear."""
    if single and any(unclear(a, value) for a, value in zip(entry.arguments, values, strict=True)):
        return REFUSED
    try:
        result = getattr(bf, entry.name)(*values)
    except (ValueError, TypeError, ArithmeticError):
        return REFUSED
    if isinstance(result, (list, str)):
        return result
    return float(result) if math.isfinite(result) else REFUSED


def agrees(shown: Any, wanted: Any) -> bool:
    if wanted == REFUSED:
        return isinstance(shown, dict) and shown["error"] in (502, 503, 519, 32767)
    if isinstance(wanted, str):
        return bool(shown == wanted)
    return isinstance(shown, float) and math.isclose(shown, wanted, rel_tol=REL, abs_tol=1e-300)


def literal(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, list):
        return "{" + "|".join(map(literal, value)) + "}"
    return '"' + value.replace('"', '""') + '"' if isinstance(value, str) else repr(value)


def formula(entry: Entry, parts: list[str]) -> str:
    return f"={entry.cell_name}({';'.join(parts)})"


def disagreements(cases: list[tuple[str, Any, Any]]) -> list[tuple[str, Any, Any]]:
    return [case for case in cases if not agrees(case[1], case[2])]


# --- in LibreOffice ------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def office() -> Iterator[Office]:
    with Office() as running:
        yield running


@pytest.fixture
def sheet(office: Office) -> Office:
    office.do("open")
    return office


libreoffice = pytest.mark.libreoffice


@libreoffice
def test_every_function_agrees_with_python_on_values_in_the_formula(sheet: Office) -> None:
    todo = [(e, values) for e in SCALAR for values in argument_sets(e, 60, "literals")]
    formulas = [formula(e, [literal(v) for v in values]) for e, values in todo]
    wanted = [expected(e, values) for e, values in todo]
    shown = sheet.do("evaluate", formulas=formulas)
    assert not disagreements(list(zip(formulas, shown, wanted, strict=True)))
    for e in SCALAR:  # the sets are worth something: some are calculated, some refused
        mine = [w for (entry, _), w in zip(todo, wanted, strict=True) if entry is e]
        assert sum(w == REFUSED for w in mine) >= 5, e.name
        assert sum(w != REFUSED for w in mine) >= 5, e.name


@libreoffice
def test_every_function_agrees_with_python_on_values_in_cells(sheet: Office) -> None:
    """Single references; a blank is referred to as a range of one cell, which tells it from 0."""
    todo = [(e, values) for e in SCALAR for values in argument_sets(e, 20, "cells")]
    content: dict[str, Any] = {}
    formulas = []
    for row, (e, values) in enumerate(todo, 1):
        names = [f"{letter}{row}" for letter in LETTERS[: len(values)]]
        content |= {name: v for name, v in zip(names, values, strict=True) if v is not None}
        formulas.append(formula(e, [f"{n}:{n}" if v is None else n for n, v in zip(names, values, strict=True)]))
    sheet.do("write", cells=content)
    shown = sheet.do("evaluate", formulas=formulas)
    wanted = [expected(e, values) for e, values in todo]
    assert not disagreements(list(zip(formulas, shown, wanted, strict=True)))


@libreoffice
@pytest.mark.parametrize("entry", SCALAR, ids=lambda e: e.name)
def test_ranges_give_one_result_for_each_row(sheet: Office, entry: Entry) -> None:
    """Two or more columns of 12 rows, good and bad and blank, the other arguments as single values."""
    rng = random.Random(entry.name)
    count = len(entry.arguments)
    sets = argument_sets(entry, 12, "ranges")
    cells = [n for n, a in enumerate(entry.arguments) if a.kind.reader != "table"]
    ranged = set(rng.sample(cells, max(1, len(cells) // 2)))
    single = [_good(a, rng) for a in entry.arguments]
    _fit(entry, single)
    rows = [[row[n] if n in ranged else single[n] for n in range(count)] for row in sets]
    content, parts = {}, []
    for n in range(count):
        if n not in ranged:
            parts.append(literal(single[n]))
            continue
        content |= {f"{LETTERS[n]}{r}": row[n] for r, row in enumerate(rows, 1) if row[n] is not None}
        parts.append(f"{LETTERS[n]}1:{LETTERS[n]}12")
    sheet.do("write", cells=content)
    sheet.do("write", cells={"Z1:Z12": formula(entry, parts)})
    shown = sheet.do("read", names=[f"Z{r}" for r in range(1, 13)])
    wanted = [expected(entry, row, single=False) for row in rows]
    assert not disagreements(list(zip(map(str, rows), shown, wanted, strict=True))), formula(entry, parts)


@libreoffice
def test_a_range_of_sections(sheet: Office) -> None:
    """Rows with blank cells, a blank row between and headings above, as one range; a row in words; what is wrong in one."""
    rows = [["Shape", "Size", "Length", "End size", "Bore", "Bore end"], ["round", 0.5, 0.75, None, 0.25, None], [None] * 6,
            ["hexagon", 0.75, 0.375, None, 0.25, 0.2]]
    sheet.do("write", cells={f"{LETTERS[c]}{r}": v for r, row in enumerate(rows, 1) for c, v in enumerate(row) if v is not None})
    wanted = bf.part_volume(rows)
    shown = sheet.do("evaluate", formulas=["=PART_VOLUME(A1:F4)", "=PART_VOLUME(A2:F4)", "=PART_VOLUME(A2:F20)", "=PART_VOLUME(A2:E3)",
                                           '=FINISHED_WEIGHT(A1:F4;"303";"in")', "=PART_AREA(A2:F4)", "=PART_WIDTH(B2:C4)"])
    assert shown[:3] == pytest.approx([wanted] * 3, rel=1e-12)
    assert shown[3:6] == pytest.approx([bf.part_volume([rows[1]]), bf.finished_weight(rows, "303"), bf.part_area(rows)], rel=1e-12)
    assert agrees(shown[6], REFUSED)  # a size is no shape
    sheet.do("write", cells={"E4": 0.75})
    assert sheet.do("evaluate", formulas=['=WHY("PART_VOLUME";A1:F4)'])[0] == bf.why("part_volume", [*rows[:3], ["hexagon", 0.75, 0.375, None, 0.75, 0.2]])


@libreoffice
@pytest.mark.parametrize("entry", TABLES, ids=lambda e: e.name)
def test_tables_agree_with_python(sheet: Office, entry: Entry) -> None:
    heads = [TABLE_HEADS[entry.name]] if entry.name in TABLE_HEADS else []
    good = 0
    for values in argument_sets(entry, 40, "tables"):
        wanted = expected(entry, values)
        text = formula(entry, [literal(v) if v != [] else "AB1:AB3" for v in values])
        sheet.do("open")
        if wanted == REFUSED:
            assert agrees(sheet.do("evaluate", formulas=[text])[0], REFUSED), text
            continue
        good += 1
        wanted = [row if isinstance(row, tuple) else (row,) for row in wanted]
        width, height = len(wanted[0]), len(wanted) + len(heads)
        sheet.do("write", cells={f"A1:{LETTERS[width - 1]}{height}": text})
        names = [[f"{letter}{row}" for letter in LETTERS[:width]] for row in range(1, height + 1)]
        assert [tuple(sheet.do("read", names=row)) for row in names[: len(heads)]] == list(heads)
        for row, want in zip(names[len(heads):], wanted, strict=True):
            shown = sheet.do("read", names=row)
            assert not disagreements([(text, s, w if isinstance(w, str) else float(w)) for s, w in zip(shown, want, strict=True)])
    assert good >= 10


@libreoffice
def test_a_range_of_offers(sheet: Office) -> None:
    rows = [["Length", "Price", "From quantity"], [144.0, 2.4, None], [None] * 3, [144.0, 1.75, 180.0], ["20 ft", 2.4, None]]
    sheet.do("write", cells={f"{LETTERS[c]}{r}": v for r, row in enumerate(rows, 1) for c, v in enumerate(row) if v is not None})
    sheet.do("write", cells={"E1:O3": '=STOCK_CHOICE(A1:C6;160;"lb";47.5;0.125;2.375;3;;;;;4)', "Q1:Q4": "=BLANK_LENGTHS(144;47.5;0.125;2.375;3)"})
    assert sheet.do("read", names=["E1", "H2", "N2", "O2", "E3", "H3", "N3", "Q1", "Q4"]) == [
        "length", 4.0, "cheapest", "buy 1 bar (48 lb) more than needed and pay 9.60 less", 240.0, 2.0, "", 36.25, 33.875]


@libreoffice
def test_a_range_of_quantities_is_read_whole(sheet: Office) -> None:
    sheet.do("write", cells={"A1": 100, "A3": "1,000 pcs", "D1:L3": "=PRICE_BREAKS(A1:B3;59;34.8;45;30;1.5;80;;;;;;;0.2)"})
    assert sheet.do("read", names=["D1", "L1", "D2", "L2", "D3", "L3"]) == [
        "quantity", "order total", 100.0, 363.0, 1000.0, 2150.0]
    assert sheet.do("evaluate", formulas=["=PRICE_BREAKS(A1:A3;A1:A3;34.8;45;30;1.5;80)"]) == [{"error": 502}]


@libreoffice
def test_ranges_of_unequal_size_are_an_error_and_never_an_outer_product(sheet: Office) -> None:
    sheet.do("write", cells={"A1": 144, "A2": 120, "A3": 100, "B1": 2, "B2": 3, "C1": 3,
                             "F1:G3": "=PARTS_PER_BAR(A1:A3;B1:C1;0.125;3)"})
    assert sheet.do("read", names=["F1", "F2", "G3"]) == [{"error": 502}] * 3
    assert sheet.do("evaluate", formulas=["=SUM(PARTS_PER_BAR(A1:A3;B1:B2;0.125;3))", "=PARTS_PER_BAR(A1:A3;B1:B2;0.125;3)",
                                          '=WHY("PARTS_PER_BAR";A1:A3;B1:B2;0.125;3)']) == [
        {"error": 502}, {"error": 502},
        "part_length: 2 rows by 1 column given next to 3 rows by 1 column of bar_length; ranges must have the same size"]


@libreoffice
def test_results_work_inside_other_formulas(sheet: Office) -> None:
    sheet.do("write", cells={"A1": 144, "A2": "12 ft", "A3": 120, "C1": 1, "C2": 2, "C3": 3,
                             "E1:E3": "=C1:C3*PARTS_PER_BAR(144;2.25;0.125;3)",
                             "F1:F3": "=IF(C1:C3>1;PARTS_PER_BAR(A1:A3;2.25;0.125;3);0)"})
    per_bar = "PARTS_PER_BAR(144;2.25;0.125;3)"
    cases = {
        f"={per_bar}*2+1": 119.0,
        "=SUM(PARTS_PER_BAR(A1:A3;2.25;0.125;3))": 167.0,
        f"=SUMPRODUCT(C1:C3*{per_bar})": 354.0,
        f"=BARS_FOR_QUANTITY(1000;{per_bar};3%;5)": 18.0,
        f'=IF({per_bar}>58;"yes";"no")&" "&{per_bar}': "yes 59",
        "=IFERROR(PARTS_PER_BAR(144;-1;0;0);-7)": -7.0,
        "=SUM(C1:C3;PARTS_PER_BAR(144;-1;0;0))": {"error": 502},
    }
    assert dict(zip(cases, sheet.do("evaluate", formulas=list(cases)), strict=True)) == cases
    assert sheet.do("read", names=["E1", "E2", "E3", "F1", "F2", "F3"]) == [59.0, 118.0, 177.0, 0.0, 59.0, 49.0]


@libreoffice
def test_blank_cells(sheet: Office) -> None:
    """Z1 is blank and arrives as 0; Z1:Z1 arrives as blank."""
    cases = {
        "=PARTS_PER_BAR(144;;0.125;3)": {"error": 502},
        "=PARTS_PER_BAR(144;Z1;0.125;3)": {"error": 502},
        "=PARTS_PER_BAR(Z1:Z1;2.25;0.125;3)": {"error": 502},
        "=PARTS_PER_BAR(144;2.25;Z1;3)": {"error": 502},
        "=PARTS_PER_BAR(144;2.25;0.125;Z1)": {"error": 502},
        "=MIN_REMNANT(2.5;Z1)": {"error": 502},
        "=PARTS_TO_MAKE(Z1)": {"error": 502},
        "=PARTS_PER_BAR(144;2.25;0.125;3;;1)": 58.0,
        "=PARTS_PER_BAR(144;2.25;0.125;3;Z1;Z1)": 59.0,
        "=RUN_HOURS(1036;45;59;30;Z1)": {"error": 502},
        "=RUN_HOURS(1036;45;59;30;Z1:Z1)": bf.run_hours(1036, 45, 59, 30),
        '=BAR_WEIGHT("1.4305";"round";1;144;Z1)': {"error": 502},
        '=BAR_WEIGHT("1.4305";"round";1;144;Z1:Z1;Z1:Z1)': bf.bar_weight("1.4305", "round", 1, 144),
        '=BAR_WEIGHT("1.4305";"round";1;144;;"mm")': bf.bar_weight("1.4305", "round", 1, 144, units="mm"),
        '=BAR_WEIGHT("1.4305";Z1;1;144)': {"error": 502},
        "=INDEX(PRICE_BREAKS(100;59;34.8;45;30;1.5;80;;;Z1:Z1);2;5)": 120.0,
        "=PRICE_BREAKS(100;59;34.8;45;30;1.5;80;;;Z1)": {"error": 502},
    }
    assert dict(zip(cases, sheet.do("evaluate", formulas=list(cases)), strict=True)) == cases


@libreoffice
def test_a_zero_that_may_be_a_blank_cell_gives_no_number(sheet: Office) -> None:
    """A single 0 counts where a blank means the same; a real 0 elsewhere is written -0 or as a range of one cell."""
    sheet.do("write", cells={"A1": 0})
    cases = {
        "=MIN_REMNANT(2.5;0)": {"error": 502},
        "=MIN_REMNANT(2.5;A1)": {"error": 502},
        "=MIN_REMNANT(2.5;-0)": 2.5,
        "=MIN_REMNANT(2.5;{0})": 2.5,
        '=MIN_REMNANT(2.5;"0")': 2.5,
        "=MIN_REMNANT(2.5;A1:A1)": 2.5,
        "=PARTS_PER_BAR(144;2.25;0.125;3;A1;0)": 59.0,
        "=RUN_HOURS(1036;45;59;30;0)": {"error": 502},
        "=RUN_HOURS(1036;45;59;30;-0)": {"error": 502},  # the efficiency can't be 0
        '=WHY("MIN_REMNANT";2.5;A1)': "face_to_cutoff: 0 given, or a blank cell, which arrives here as 0; fill the cell, or "
                                           "write -0 for a real 0, or A2:A2 for its cell",
        '=WHY("MIN_REMNANT";A1;-1)': "grip_length: 0 given, or a blank cell, which arrives here as 0; fill the cell, "
                                          "or write -0 for a real 0, or A2:A2 for its cell; face_to_cutoff: -1 given; allowed "
                                          "is a number 0 or more and at most 1,000,000 (in)",
        '=WHY("RUN_HOURS";1036;45;59;30;A1)': "efficiency: 0 given, or a blank cell, which arrives here as 0; fill the "
                                              "cell, leave the argument out, or write A2:A2 for its cell",
    }
    assert dict(zip(cases, sheet.do("evaluate", formulas=list(cases)), strict=True)) == cases
    for e in SCALAR:  # of every function: each argument blank by itself
        values = next(v for v in argument_sets(e, 200, "blank") if expected(e, v) != REFUSED)
        parts = [literal(v) for v in values]
        formulas = {a.name: formula(e, [*parts[:n], "Z1", *parts[n + 1:]]) for n, a in enumerate(e.arguments)}
        shown = dict(zip(formulas, sheet.do("evaluate", formulas=list(formulas.values())), strict=True))
        for a in e.arguments:
            if a.required or a.default != 0:
                assert shown[a.name] == {"error": 502} or (a.kind.reader == "text" and "error" in shown[a.name]), formulas[a.name]


@libreoffice
def test_each_kind_of_error_has_its_number(sheet: Office) -> None:
    sheet.do("write", cells={"A1": 144, "A2": "=1/0"})
    cases = {
        "=PARTS_PER_BAR(144;-2.25;0.125;3)": 502,
        "=PARTS_PER_BAR(144;2.25)": 502,
        '=PARTS_PER_BAR("8 mil";2.25;0.125;3)': 519,
        '=SECTION_AREA("triangle";1)': 519,
        '=LENGTH_IN("12,5";"mm")': 519,
        '=PRICE_BREAKS("many";59;34.8;45;30;1.5;80)': 519,
        '=MATERIAL_DENSITY("unobtainium")': 32767,
        "=MATERIAL_DENSITY(30)": 502,
        "=PARTS_PER_BAR(A2;2.25;0.125;3)": 532,  # an error that comes in goes out
        "=PARTS_PER_BAR(A1:A2;2.25;0.125;3)": 504,  # but one cell of a range spoils the range
        "=PARTS_PER_BAR(144;2.25;0.125;3;0;0;0)": 504,
    }
    assert dict(zip(cases, [s["error"] for s in sheet.do("evaluate", formulas=list(cases))], strict=True)) == cases


@libreoffice
def test_why_says_in_words_what_is_wrong(sheet: Office) -> None:
    todo = [(e, values) for e in SCALAR for values in argument_sets(e, 12, "why")]
    texts = [";".join(literal(v) for v in values).rstrip(";") for _, values in todo]
    words = sheet.do("evaluate", formulas=[f'=WHY("{e.cell_name}";{text})' for (e, _), text in zip(todo, texts, strict=True)])
    shown = sheet.do("evaluate", formulas=[f"={e.cell_name}({text})" for (e, _), text in zip(todo, texts, strict=True)])
    for (e, values), word, value in zip(todo, words, shown, strict=True):
        assert isinstance(word, str)
        given = isinstance(value, str if e.result.reader == "text" else float)
        assert (word == "ok") == given, (e.name, values, word, value)
    cases = {
        '=WHY("PARTS_PER_BAR";144;-2;0.125;3)': bf.why("parts_per_bar", 144, -2, 0.125, 3),
        '=WHY("parts_per_bar";144;;"8 mil";3)': bf.why("parts_per_bar", 144, None, "8 mil", 3),
        '=WHY("PRICE_BREAKS";{100|"many"};59;34.8;45;30;1.5;80)': bf.why("price_breaks", [100, "many"], 59, 34.8, 45, 30, 1.5, 80),
        '=WHY("LENGTH_IN";"12,5";"mm")': bf.why("length_in", "12,5", "mm"),
        "=WHY()": 'function_name is missing; write for example "PARTS_PER_BAR"',
        '=WHY("PARTS_LEFT";1;1;1;1)': "PARTS_LEFT takes 3 arguments, 4 were given",
        '=WHY("PARTS_LEFT";"1 m";5;"20 mm")': "bar_per_part: has no unit next to values in metric units: write its unit in the cell too, such as 3 mm",
    }
    assert dict(zip(cases, sheet.do("evaluate", formulas=list(cases)), strict=True)) == cases
    assert "did you mean PARTS_PER_BAR" in sheet.do("evaluate", formulas=['=WHY("PARTS_PR_BAR")'])[0]
    sheet.do("write", cells={"A1": 144, "A2": -1, "C1:C2": '=WHY("PARTS_PER_BAR";A1:A2;2.25;0.125;3)'})
    assert sheet.do("read", names=["C1", "C2"]) == ["ok", bf.why("parts_per_bar", -1, 2.25, 0.125, 3)]


@libreoffice
def test_the_function_wizard_shows_every_function_and_argument(sheet: Office) -> None:
    shown = sheet.do("descriptions")
    for e in CATALOGUE.values():
        found = shown[e.cell_name]
        assert found["description"] == e.summary
        assert found["category"] == 11  # Add-in
        assert [name for name, _, _ in found["arguments"]] == [a.name for a in e.arguments]
        for (_, text, _), a in zip(found["arguments"], e.arguments, strict=True):
            assert text.startswith(f"needed: {a.help_with_unit()}" if a.required else a.help_with_unit())
    assert [name for name, _, _ in shown["WHY"]["arguments"]] == ["function_name", "arguments"]


# --- files ---------------------------------------------------------------------------------------------------------

RESULTS = ["B1", "B2", "B3", "B4", "C1", "C2", "C3", "C4", "D1", "D2", "D3"]


def _workbook(path: Path, prefix: str) -> list[Any]:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row, value in enumerate((144, "12 ft", 120, "8 mil"), 1):
        sheet.cell(row, 1, value)
        sheet.cell(row, 2, f"={prefix}PARTS_PER_BAR(A{row},2.25,0.125,3)")
    sheet["C1"] = ArrayFormula("C1:C4", f"={prefix}PARTS_PER_BAR(A1:A4,2.25,0.125,3)")
    sheet["D1"] = f'="parts_per_bar("&SUM(B1:B3)&{prefix}WHY("parts_to_make",-1)'
    sheet["D2"] = "=SUM(B1:B3)"
    sheet["D3"] = f'=IF({prefix}RUN_HOURS(1036,45,59,30)>13,"long","short")'
    locked = book.create_sheet("Locked")
    locked["A1"] = f"={prefix}PARTS_TO_MAKE(1000,0.03,5)"
    locked.protection.sheet = True
    locked.protection.set_password("secret")
    book.save(path)
    error = {"error": 519}
    return [59.0, 59.0, 49.0, error, 59.0, 59.0, 49.0, error, "parts_per_bar(167" + bf.why("parts_to_make", -1),
            167.0, "long"]


def _check(office: Office, wanted: list[Any]) -> None:
    assert office.do("read", names=RESULTS) == wanted
    assert office.do("read", names=["A1"], sheet=1) == [1036.0]


@libreoffice
@pytest.mark.parametrize("prefix", ["BARFUNCS.", ""], ids=["full name", "bare name"])
def test_a_workbook_survives_loading_and_saving(office: Office, tmp_path: Path, prefix: str) -> None:
    wanted = _workbook(tmp_path / "first.xlsx", prefix)
    office.do("open", url=(tmp_path / "first.xlsx").as_uri())
    assert not office.do("modified")
    _check(office, wanted)
    office.do("calculate")
    _check(office, wanted)
    for name, kind in (("second.xlsx", "Calc MS Excel 2007 XML"), ("second.ods", "calc8")):
        office.do("save", url=(tmp_path / name).as_uri(), filter_name=kind)
    for name in ("second.xlsx", "second.ods"):
        office.do("open", url=(tmp_path / name).as_uri())
        _check(office, wanted)
        office.do("calculate")
        _check(office, wanted)
    office.do("close")
    saved = openpyxl.load_workbook(tmp_path / "second.xlsx", data_only=True).worksheets[0]
    assert [saved[name].value for name in RESULTS] == ["#VALUE!" if isinstance(w, dict) else w for w in wanted]


@libreoffice
@pytest.mark.parametrize("prefix", ["BARFUNCS.", ""], ids=["full name", "bare name"])
def test_every_function_survives_loading_and_saving(office: Office, tmp_path: Path, prefix: str) -> None:
    """Written by openpyxl, calculated, saved as xlsx and ods, loaded again."""
    book = openpyxl.Workbook()
    wanted = []
    for row, e in enumerate(CATALOGUE.values(), 1):
        shown = example(e)
        book.worksheets[0].cell(row, 1, "=" + shown.call.replace(f"{e.cell_name}(", f"{prefix}{e.cell_name}("))
        wanted.append(shown.result if isinstance(shown.result, str) else pytest.approx(shown.result, rel=REL))
    book.save(tmp_path / "first.xlsx")
    cells = [f"A{row}" for row in range(1, len(wanted) + 1)]
    office.do("open", url=(tmp_path / "first.xlsx").as_uri())
    office.do("calculate")
    assert office.do("read", names=cells) == wanted
    for name, kind in (("second.xlsx", "Calc MS Excel 2007 XML"), ("second.ods", "calc8")):
        office.do("save", url=(tmp_path / name).as_uri(), filter_name=kind)
    for name in ("second.xlsx", "second.ods"):
        office.do("open", url=(tmp_path / name).as_uri())
        assert office.do("read", names=cells) == wanted
        office.do("calculate")
        assert office.do("read", names=cells) == wanted


def _with_values(path: Path, formula: str, named: bool) -> None:
    """A workbook as a program with the functions saves it: formulas with their values."""
    book = openpyxl.Workbook()
    sheet = book.worksheets[0]
    sheet["A1"], sheet["B1"], sheet["C1"] = 144, formula, "=B1*2"
    book.save(path)
    parts = read_parts(path)
    xml = parts["xl/worksheets/sheet1.xml"].decode()
    for ref, value in (("B1", 59), ("C1", 118)):
        xml, count = re.subn(rf'(<c r="{ref}"[^>]*><f>[^<]*</f>)<v ?(?:/>|></v>)', rf"\g<1><v>{value}</v>", xml)
        assert count == 1
    parts["xl/worksheets/sheet1.xml"] = xml.encode()
    path.write_bytes(pack(add_names(parts) if named else parts))


@pytest.mark.slow
@libreoffice
@pytest.mark.parametrize(("formula", "named", "shows", "saved"), [
    ("=PARTS_PER_BAR(A1,2.25,0.125,3)", False, "59", 59),
    ("=BARFUNCS.PARTS_PER_BAR(A1,2.25,0.125,3)", False, "59", 59),
    ("=PARTS_PER_BAR(A1,2.25,0.125,3)", True, "Err:509", "#VALUE!"),
], ids=["bare name", "full name", "name of the workbook"])
def test_the_way_back(office: Office, tmp_path: Path, formula: str, named: bool, shows: str, saved: Any) -> None:
    """Without the add-in LibreOffice keeps the last values, but for a LAMBDA name; with the add-in all is right again."""
    path = tmp_path / "used.xlsx"
    _with_values(path, formula, named)
    for kind in ("csv", "xlsx", "ods"):
        (tmp_path / kind).mkdir()
        convert(path, tmp_path / kind, to=kind)
    assert (tmp_path / "csv" / "used.csv").read_text("utf-8").split() == [f"144,{shows},118"]
    kept = openpyxl.load_workbook(tmp_path / "xlsx" / "used.xlsx", data_only=True).worksheets[0]
    assert (kept["B1"].value, kept["C1"].value) == (saved, 118)
    for damaged in (path, tmp_path / "xlsx" / "used.xlsx", tmp_path / "ods" / "used.ods"):
        office.do("open", url=damaged.as_uri())
        assert office.do("read", names=["B1", "C1"]) == [59.0, 118.0], damaged
        office.do("calculate")
        assert office.do("read", names=["B1", "C1"]) == [59.0, 118.0], damaged
    office.do("close")
    if "BARFUNCS" not in formula:  # and as names, renewed where LibreOffice spoilt them
        again = Workbook(pack(add_names(tmp_path / "xlsx" / "used.xlsx")))
        again.calculate()
        assert (again.value("B1"), again.value("C1")) == (59.0, 118.0)


def test_a_reader_that_does_not_calculate_shows_the_last_values(tmp_path: Path) -> None:
    _with_values(tmp_path / "used.xlsx", "=PARTS_PER_BAR(A1,2.25,0.125,3)", named=False)
    sheet = openpyxl.load_workbook(tmp_path / "used.xlsx", data_only=True).worksheets[0]
    assert (sheet["B1"].value, sheet["C1"].value) == (59, 118)
    before = (tmp_path / "used.xlsx").read_bytes()
    done = click.testing.CliRunner().invoke(main, ["recalc", str(tmp_path / "used.xlsx"), "--write"])
    assert done.exit_code == 1
    assert "the engine does not know a function or name in Sheet!B1" in done.output
    assert (tmp_path / "used.xlsx").read_bytes() == before


@libreoffice
def test_bare_names_beside_stored_values_are_bound_when_the_workbook_is_loaded(office: Office, tmp_path: Path) -> None:
    """A file from another program carries values, so that no cell shows an error until it is calculated."""
    wanted = _workbook(tmp_path / "first.xlsx", "BARFUNCS.")
    office.do("open", url=(tmp_path / "first.xlsx").as_uri())
    office.do("save", url=(tmp_path / "full.xlsx").as_uri(), filter_name="Calc MS Excel 2007 XML")
    office.do("close")
    with zipfile.ZipFile(tmp_path / "full.xlsx") as full, zipfile.ZipFile(tmp_path / "bare.xlsx", "w") as bare:
        for name in full.namelist():
            bare.writestr(name, full.read(name).replace(b"BARFUNCS.", b""))
    office.do("open", url=(tmp_path / "bare.xlsx").as_uri())
    assert all("BARFUNCS." in f for f in office.do("formulas", names=[n for n in RESULTS if n != "D2"]))
    office.do("calculate")
    _check(office, wanted)


@pytest.mark.slow
@libreoffice
def test_the_installer_takes_the_add_in() -> None:
    unopkg = connect_calc.find_unopkg()
    with tempfile.TemporaryDirectory(prefix="barfuncs-installer-") as folder:
        path = build.write(Path(folder))
        user: dict[str, Any] = {"env": os.environ | {"HOME": folder}, "cwd": folder}
        if hasattr(os, "geteuid") and os.geteuid() == 0:  # the installer refuses root
            os.chown(folder, 65534, -1)
            user |= {"user": 65534, "group": 65534, "extra_groups": []}
        profile = f"-env:UserInstallation={(Path(folder) / 'profile').as_uri()}"
        done = subprocess.run([unopkg, "add", "--force", profile, path], capture_output=True, text=True, timeout=120,
                              check=False, **user)
        assert done.returncode == 0, done.stdout + done.stderr
        listed = subprocess.run([unopkg, "list", profile], check=True, capture_output=True, text=True, timeout=120, **user)
    assert "org.barfuncs.calc" in listed.stdout
    assert "is registered: yes" in listed.stdout


@libreoffice
def test_a_text_is_compared_with_an_empty_one_joined_to_it(sheet: Office) -> None:
    """As SPREADSHEETS.md says. Without it LibreOffice 7.4 finds no text of an add-in equal to another."""
    call = "FIRST_STOP(12;59;1036;400;150)"
    assert sheet.do("evaluate", formulas=[f"={call}", f'={call}&""="tool edge"', f'={call}&""="bars used up"']) == ["tool edge", 1.0, 0.0]
