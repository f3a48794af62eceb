"""The catalogue: declarations checked at import, docstrings, limits, messages, and what importing the package costs."""

import importlib
import inspect
import io
import math
import pkgutil
import re
import subprocess
import sys
from typing import Annotated, get_args

import openpyxl
import pytest

import barfuncs as bf
from barfuncs import functions
from barfuncs.catalogue import kinds
from barfuncs.catalogue.entry import CATALOGUE, GROUPS, find
from barfuncs.catalogue.formula import cell_formula, expand
from barfuncs.catalogue.function import cell_function, why
from barfuncs.catalogue.glossary import ARGUMENTS
from barfuncs.catalogue.kinds import Count, Kind, Length, PositiveLength, ScrapRate, Units
from barfuncs.errors import BarfuncsError, InputError
from barfuncs.templates.registry import TEMPLATES
from barfuncs.templates.shop import RATES, TABLES
from barfuncs.xlsx.engine import Workbook

ENTRIES = tuple(CATALOGUE.values())
IDS = [e.name for e in ENTRIES]
NUMBER_KINDS = {
    name: extra for name, alias in vars(kinds).items() for extra in get_args(alias)[1:]
    if isinstance(extra, Kind) and extra.is_number
}

# --- declarations -------------------------------------------------------------------------------------------------


def plain(size: Length, length: PositiveLength = 1, scrap_rate: ScrapRate = 0) -> Length:
    """A function for these tests."""
    return size


def not_in_glossary(sizes: Length) -> Length:
    """A function for these tests."""
    return sizes


def bad_default(size: Length, scrap_rate: ScrapRate = 0.96) -> Length:
    """A function for these tests."""
    return size


def fraction_default(size: Length, bars: Count = 1.5) -> Length:
    """A function for these tests."""
    return size


def units_first(units: Units, size: Length) -> Length:
    """A function for these tests."""
    return size


def no_kind(size: float) -> Length:
    """A function for these tests."""
    return size


def other_annotation(size: Annotated[float, "length"]) -> Length:
    """A function for these tests."""
    return size


def no_result_kind(size: Length) -> float:
    """A function for these tests."""
    return size


def no_docstring(size: Length) -> Length:
    return size


def parts_per_bar(size: Length) -> Length:
    """A function for these tests, its name taken."""
    return size


GOOD = {"group": "Yield", "source": "geometry", "formula": "size"}

BAD_DECLARATIONS = {
    "unknown group": (plain, {**GOOD, "group": "Yields"}, r"plain: group 'Yields' is not one of Stock, Part, Yield,"),
    "formula and reason": (plain, {**GOOD, "no_formula": "none"}, r"plain: give either a formula or the reason why"),
    "neither formula nor reason": (plain, {"group": "Yield", "source": "geometry"}, r"plain: give either a formula or the reason why"),
    "blank source": (plain, {**GOOD, "source": " "}, r"plain: a source is missing; where there is none write 'common practice, no source'"),
    "argument not in the glossary": (not_in_glossary, GOOD, r"not_in_glossary, sizes: not in the glossary"),
    "default out of limits": (bad_default, GOOD, r"bad_default, scrap_rate: the default 0\.96 is outside the limits"),
    "fraction for whole default": (fraction_default, GOOD, r"fraction_default, bars: the default 1\.5 is outside"),
    "units not last": (units_first, GOOD, r"units_first: units must be the last argument"),
    "no kind": (no_kind, GOOD, r"no_kind, size: annotate with a kind"),
    "annotation without kind": (other_annotation, GOOD, r"other_annotation, size: annotate with a kind"),
    "result without kind": (no_result_kind, GOOD, r"no_result_kind, result: annotate with a kind"),
    "no docstring": (no_docstring, GOOD, r"no_docstring: a docstring is missing"),
    "doubled name": (parts_per_bar, GOOD, r"parts_per_bar is registered already"),
    "rule with unknown name": (plain, {**GOOD, "rules": (("size", "size<width", "m"),)},
                               r"plain: rule 'size<width' speaks of \{'width'\}"),
    "rule about unknown argument": (plain, {**GOOD, "rules": (("width", "size<length", "m"),)},
                                    r"plain: rule 'size<length' speaks of width"),
    "formula with unknown name": (plain, {**GOOD, "formula": "size*diameter+width"},
                                  r"plain: the formula speaks of diameter, width"),
}


@pytest.mark.parametrize(("core", "keywords", "message"), BAD_DECLARATIONS.values(), ids=BAD_DECLARATIONS)
def test_wrong_declaration_fails_at_import(core, keywords, message):
    before = dict(CATALOGUE)
    with pytest.raises(TypeError, match=f"^{message}"):
        cell_function(**keywords)(core)
    assert dict(CATALOGUE) == before


def test_right_declaration_registers_and_works():
    before = dict(CATALOGUE)
    try:
        made = cell_function(**GOOD, rules=(("length", "length<=size", "too long"),))(plain)
        assert set(CATALOGUE) - set(before) == {"plain"}
        assert made(3.0, 2.0) == 3.0
        with pytest.raises(InputError, match=r"^plain: length: too long$"):
            made(3.0, 4.0)
    finally:
        CATALOGUE.pop("plain", None)
    assert dict(CATALOGUE) == before


# --- every entry --------------------------------------------------------------------------------------------------


def sections(doc):
    """Text of each underlined section of a docstring."""
    parts = re.split(r"^(\w+)\n-+\n", doc, flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


@pytest.mark.parametrize("entry", ENTRIES, ids=IDS)
def test_docstring_agrees_with_signature(entry):
    function = getattr(bf, entry.name)
    found = sections(function.__doc__)
    documented = re.findall(r"^(\w+) : ", found["Parameters"], flags=re.MULTILINE)
    keyword = ["units"] if entry.takes_units and not entry.has_units else []
    assert documented == list(inspect.signature(function).parameters) == [*(a.name for a in entry.arguments), *keyword]
    for argument in entry.arguments:
        assert f"    {ARGUMENTS[argument.name]}." in found["Parameters"]
        line = next(x for x in found["Parameters"].splitlines() if x.startswith(f"{argument.name} : "))
        assert argument.required == (", default" not in line)
    assert found["Returns"].strip()
    assert "InputError" in found["Raises"]
    for rule in entry.rules:
        assert rule.message[1:] in found["Raises"]
    assert ">>> " in found["Examples"]
    assert f"{entry.name}(" in found["Examples"]


@pytest.mark.parametrize("entry", ENTRIES, ids=IDS)
def test_docstring_names_the_units(entry):
    found = sections(getattr(bf, entry.name).__doc__)
    for argument in entry.arguments:
        unit = argument.kind.unit(None)
        line = next(x for x in found["Parameters"].splitlines() if x.startswith(f"{argument.name} : "))
        assert not unit or f"({unit})" in line
    unit = entry.result.unit(None)
    assert not unit or f"[{unit}]" in found["Returns"]


@pytest.mark.parametrize("entry", ENTRIES, ids=IDS)
def test_entry_is_public_and_complete(entry):
    function = getattr(bf, entry.name)
    assert entry.name in bf.__all__
    assert function.entry is entry
    assert function.core is entry.core
    assert function.__name__ == entry.name
    assert entry.group in GROUPS
    assert entry.summary.endswith(".")
    assert find(entry.cell_name) is entry


def test_a_source_left_out_is_refused_at_import():
    with pytest.raises(TypeError, match="missing 1 required keyword-only argument: 'source'"):
        cell_function(group="Yield", formula="size")(plain)


@pytest.mark.parametrize("entry", ENTRIES, ids=IDS)
def test_the_source_stands_in_the_docstring_once(entry):
    doc = getattr(bf, entry.name).__doc__
    assert " ".join(sections(doc)["Source"].split()) == f"{entry.source[0].upper()}{entry.source[1:]}."
    assert doc.count(entry.source[1:]) == 1
    named = re.findall(r"`(\w+)`", entry.source)
    assert all(CATALOGUE[name].source for name in named), "a source refers to functions of the catalogue"


def test_all_is_whole_and_holds_nothing_else():
    assert len(bf.__all__) == len(set(bf.__all__))
    assert all(hasattr(bf, name) for name in bf.__all__)
    others = {"CATALOGUE", "BarfuncsError", "InputError", "WorkbookError", "__version__", "use_materials", "why"}
    assert set(bf.__all__) - others == set(CATALOGUE)


def test_every_decorated_function_is_in_the_catalogue():
    made = {}
    for module in pkgutil.iter_modules(functions.__path__):
        found = vars(importlib.import_module(f"barfuncs.functions.{module.name}"))
        made |= {name: value for name, value in found.items() if hasattr(value, "entry")}
    assert set(made) == set(CATALOGUE)


def test_no_formula_has_a_reason():
    for entry in ENTRIES:
        assert (entry.formula is None) != (entry.no_formula is None)
    without = [e for e in ENTRIES if e.formula is None]
    assert without
    for entry in without:
        assert len(entry.no_formula.split()) >= 5
        with pytest.raises(LookupError, match=re.escape(f"{entry.cell_name} has no cell formula: {entry.no_formula}")):
            cell_formula(entry)


def test_glossary_has_no_argument_without_a_function():
    used = {a.name for e in ENTRIES for a in e.arguments}
    in_templates = {name for template in TEMPLATES.values() for name in template.inputs}
    in_shop = {column.name for columns in (RATES, *TABLES.values()) for column in columns}
    assert used <= set(ARGUMENTS) <= used | in_templates | in_shop


def test_formulas_need_no_new_function_of_a_spreadsheet():
    known = {"IF", "AND", "OR", "INT", "MAX", "MIN", "ISNUMBER", "ISTEXT", "ISBLANK", "NA", "PI", "SQRT", "COS", "ABS", "ROUND",
             "SUMPRODUCT", "SUBSTITUTE", "TEXT", "NOT", "ISLOGICAL", "TAN", "ATAN", "EXP", "NORMSINV", "BETADIST", "INDEX", "MATCH", "IFERROR", "MID", "FIND", "CHOOSE"}
    for entry in ENTRIES:
        if entry.formula is not None:
            text = re.sub(r'"[^"]*"', '""', cell_formula(entry))
            assert set(re.findall(r"([A-Z_]+)\(", text)) <= known, entry.name
            assert len(cell_formula(entry)) <= 8192, entry.name
            assert text.count("(") == text.count(")"), entry.name


# --- guards -------------------------------------------------------------------------------------------------------


def in_cells(conditions, values):
    """Each condition, evaluated with its value in a cell."""
    book = openpyxl.Workbook()
    for row, (condition, value) in enumerate(zip(conditions, values, strict=True), start=1):
        book.active.cell(row, 2, value)
        book.active.cell(row, 1, f"=AND({condition.format(row=row)})")
    buffer = io.BytesIO()
    book.save(buffer)
    calc = Workbook(buffer.getvalue())
    calc.calculate()
    return [calc.value_at((0, row, 1)) for row in range(1, len(values) + 1)]


def around(kind):
    """Values at, just inside and just outside each limit."""
    found = [0.0, 1.0, 2.0, 1.5, -1.0]
    if kind.smallest:  # the engine takes numbers that are less than 2E-16 apart for equal
        found += [kind.smallest, kind.smallest * (1 - 1e-6), kind.smallest * (1 + 1e-6)]
    for limit in (kind.low, kind.high):
        if math.isfinite(limit):
            step = 1e-9 * max(1.0, abs(limit))
            found += [limit, limit - step, limit + step, limit - 1, limit + 1, limit - 0.5, limit + 0.5]
    return found


@pytest.mark.parametrize("kind", NUMBER_KINDS.values(), ids=NUMBER_KINDS)
def test_cell_condition_agrees_with_python_at_the_limits(kind):
    values = around(kind)
    allowed = [kind.allows(v) for v in values]
    assert in_cells([kind.cell_condition("B{row}")] * len(values), values) == allowed
    assert True in allowed
    assert False in allowed


def test_open_and_closed_limits():
    assert NUMBER_KINDS["Length"].allows(0)
    assert not NUMBER_KINDS["PositiveLength"].allows(0)
    assert not NUMBER_KINDS["PositiveLength"].allows(1e-300)
    assert NUMBER_KINDS["PositiveLength"].allows(1e-6)
    assert NUMBER_KINDS["Density"].allows(0.5)
    assert not NUMBER_KINDS["Density"].allows(0.284)
    assert not NUMBER_KINDS["Margin"].allows(1)
    assert NUMBER_KINDS["Margin"].allows(math.nextafter(1, 0))
    assert NUMBER_KINDS["ScrapRate"].allows(0.95)
    assert not NUMBER_KINDS["ScrapRate"].allows(math.nextafter(0.95, 1))
    assert not NUMBER_KINDS["Count"].allows(1.5)
    assert not NUMBER_KINDS["Length"].allows(math.nan)


def test_condition_of_a_choice():
    values = ["in", "mm", "IN", "cm", "", None, 1, True]
    kind = get_args(Units)[1]
    assert in_cells([kind.cell_condition("B{row}")] * len(values), values) == [True] * 3 + [False] * 5


def test_guard_of_an_optional_argument_lets_a_blank_through():
    positive, closed = NUMBER_KINDS["PositiveLength"].cell_condition, NUMBER_KINDS["Length"].cell_condition
    assert cell_formula(CATALOGUE["bar_per_part"]) == (
        f"IF(AND({positive('part_length')},{closed('cutoff_width')},OR(ISBLANK(facing),AND({closed('facing')}))),"
        "part_length+cutoff_width+facing,NA())")
    assert cell_formula(CATALOGUE["bar_per_part"], guard=False) == "part_length+cutoff_width+facing"
    assert cell_formula(CATALOGUE["bar_per_part"], {"facing": "0"}, guard=False) == "part_length+cutoff_width+0"


# --- expand -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("formula", "values", "expected"), [
    ("size*2", {"size": "B2"}, "B2*2"),
    ("size*sizes", {"size": "B2"}, "B2*sizes"),
    ('IF(size="size",size,0)', {"size": "B2"}, 'IF(B2="size",B2,0)'),
    ("COUNT_DOWN(size/feed)", {"size": "B2"}, "INT((B2/feed)*(1+1E-15)+1E-9)"),
    ("COUNT_UP(size)", {"size": "B2"}, "-INT(1E-9-(B2)*(1-1E-15))"),
    ("BAR_PER_PART(a,b,c)", {"a": "B1", "b": "B2", "c": "B3"}, "(B1+B2+B3)"),
    ("BAR_PER_PART(a,b)", {}, "(a+b+0)"),
    ("BAR_PER_PART(a+1,MAX(b,c))*2", {}, "((a+1)+(MAX(b,c))+0)*2"),
    ("MIN_REMNANT(BAR_PER_PART(a,b),c)", {}, "(MAX((a+b+0)+c,0))"),
    ("COUNT_UP(PARTS_TO_MAKE(n)/p)", {}, "-INT(1E-9-((-INT(1E-9-(n/(1-0))*(1-1E-15))+0)/p)*(1-1E-15))"),
    ("STICKOUT_RATIO(stickout,width)", {"stickout": "size", "size": "stickout"}, "(size/width)"),
])
def test_expand(formula, values, expected):
    assert expand(formula, values) == expected


def test_expand_fills_in_the_defaults_of_a_nested_function():
    assert "IF(\"in\"=\"mm\",1," in expand('MATERIAL_DENSITY("Brass")', {})
    assert "/1+" in expand("RUN_HOURS(a,b,c,d)", {})


def test_nested_formulas_of_the_catalogue_are_written_out_and_calculate():
    weight = cell_formula(CATALOGUE["bar_weight"], {"material": "0.28", "shape": '"round"', "size": "2", "length": "100",
                                                   "thickness": "0", "units": '"in"'}, guard=False)
    assert not re.search(r"WEIGHT_PER_LENGTH|SECTION_AREA|MATERIAL_DENSITY|COUNT_", weight)
    feed = expand("REMNANT_LENGTH(144,BAR_PER_PART(2,0.25),0.125,MIN_REMNANT(2.5,0.5))", {})
    assert in_cells([f"ABS({feed}-B{{row}})<1E-12"], [bf.remnant_length(144, 2.25, 0.125, 3)]) == [True]


def test_expand_refuses_a_function_without_formula():
    with pytest.raises(ValueError, match=r"^LENGTH_IN has no cell formula to build on$"):
        expand("LENGTH_IN(a,b)", {})


# --- messages -----------------------------------------------------------------------------------------------------

MESSAGES = [
    ("parts_per_bar", (-1, 0, "abc", 3), {},
     "parts_per_bar: bar_length: -1 given; allowed is a number 0 or more and at most 1,000,000 (in); "
     "part_length: 0 given; allowed is a number more than 0 and at most 1,000,000 (in); "
     "cutoff_width: 'abc' can't be read as a length: it doesn't start with a number; "
     "write for example 12' 6-1/2\", 1 3/8 in or 19 mm"),
    ("section_area", ("triangle", -1), {"units": "mm"},
     "section_area: shape: 'triangle' given; allowed is one of round, hexagon, square, octagon, flat, tube, "
     "hexagon tube; size: -1 given; allowed is a number more than 0 and at most 1,000,000 (mm)"),
    ("parts_to_make", (10.5, 0.96, -1), {},
     "parts_to_make: quantity: 10.5 given; allowed is a whole number 0 or more and at most 10,000,000; "
     "scrap_rate: 0.96 given; allowed is a number 0 or more and at most 0.95; "
     "setup_parts: -1 given; allowed is a whole number 0 or more and at most 10,000,000"),
    ("run_hours", (10, "45 s", 0, 1e7, 0), {},
     "run_hours: parts_per_bar: 0 given; allowed is a whole number 1 or more and at most 10,000,000; "
     "bar_change_time: 10000000.0 given; allowed is a number 0 or more and at most 1,000,000 (s); "
     "efficiency: 0 given; allowed is a number more than 0 and at most 1"),
    ("material_density", (7.85,), {},
     "material_density: material: 7.85 given; a number is a density, from 0.0181 to 0.903 lb/in3; write a designation as "
     "text"),
    ("material_density", (1.4305, "mm"), {},
     "material_density: material: 1.4305 given; it may be a density or a designation: write a density with its unit "
     "(1.4305 g/cm3), a designation as text with all its digits (1.4305)"),
    ("section_area", ("tube", 10, 5), {"units": "mm"},
     "section_area: thickness: the wall must be thinner than half the size"),
    ("bars_for_confidence", (100, 14, 12, 20, 1), {},
     "bars_for_confidence: longest_bar: the longest bar must not be shorter than the shortest"),
    ("section_area", ("round", 1), {"units": "cm"}, "section_area: units: 'cm' given; allowed is one of in, mm"),
    ("price_at_margin", (100, 1), {}, "price_at_margin: margin: 1 given; allowed is a number 0 or more and below 1"),
]


@pytest.mark.parametrize(("name", "args", "keywords", "message"), MESSAGES, ids=[m[0] for m in MESSAGES])
def test_message_names_every_bad_argument(name, args, keywords, message):
    with pytest.raises(InputError, match=f"^{re.escape(message)}$") as caught:
        getattr(bf, name)(*args, **keywords)
    assert isinstance(caught.value, BarfuncsError)
    assert isinstance(caught.value, ValueError)
    assert caught.value.where == name
    assert why(name.upper(), *args, **keywords) == message.removeprefix(f"{name}: ")


def test_missing_argument_is_named_once():
    with pytest.raises(InputError) as caught:
        bf.parts_per_bar(144, 2.25, None)
    assert [name for name, _ in caught.value.problems] == ["cutoff_width", "min_remnant"]


@pytest.mark.parametrize("args", [(144, 2.25), ()])
def test_left_out_arguments_are_named(args):
    with pytest.raises(InputError) as caught:
        bf.parts_per_bar(*args)
    names = ["bar_length", "part_length", "cutoff_width", "min_remnant"]
    assert caught.value.problems == tuple(
        (n, f"is missing; allowed is {CATALOGUE['parts_per_bar'].arguments[k].kind.allowed('in')}")
        for k, n in enumerate(names) if k >= len(args))


def test_bare_numbers_next_to_metric_text_need_units():
    reason = 'has no unit next to values in metric units: add units="in" or units="mm"'
    message = f"parts_per_bar: bar_length: {reason}; cutoff_width: {reason}; min_remnant: {reason}"
    with pytest.raises(InputError, match=f"^{re.escape(message)}$"):
        bf.parts_per_bar(144, "57.15 mm", 0.125, 3)
    with pytest.raises(InputError, match=r"^bar_weight: length: has no unit next to"):
        bf.bar_weight("7.85 g/cm3", "round", "19 mm", 144)
    assert bf.parts_per_bar(144, "57.15 mm", 0.125, 3, units="in") == 59
    assert bf.parts_per_bar(3657.6, "2.25 in", 3.175, 76.2, units="mm") == 59
    assert bf.parts_per_bar("3657.6 mm", "57.15 mm", "3.175 mm", "76.2 mm") == 59
    assert bf.parts_per_bar("144 in", 2.25, "1/8 in", 3) == 59
    assert bf.parts_per_bar("3657.6 mm", "57.15 mm", "3.175 mm", "76.2 mm", 0, 0) == 59


def test_wrong_number_or_name_of_arguments():
    with pytest.raises(TypeError, match=r"^stickout_ratio\(\) takes 2 arguments, 3 were given$"):
        bf.stickout_ratio(1, 2, 3)
    with pytest.raises(TypeError, match=r"^stickout_ratio\(\) has no argument 'sizes'; it takes stickout, size$"):
        bf.stickout_ratio(1, sizes=2)
    with pytest.raises(TypeError, match=r"^stickout_ratio\(\) got 'stickout' twice$"):
        bf.stickout_ratio(1, stickout=2)


def test_unknown_function_is_refused_with_the_nearest_name():
    with pytest.raises(InputError, match=r"^barfuncs: function: 'PARTS_PER_BARS' is not known here; "
                                         r"did you mean 'parts_per_bar'\?$"):
        find("PARTS_PER_BARS")


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, True, {1}, {}, object(), 1j, b"x", b"1"])
def test_value_that_is_no_number_is_refused(value):
    with pytest.raises(InputError) as caught:
        bf.bar_per_part(value, 0.125)
    assert [name for name, _ in caught.value.problems] == ["part_length"]


@pytest.mark.parametrize(("name", "args"), [
    ("parts_per_bar", (1, 5e-324, 0, 0)), ("parts_left", (1, 5e-324, 0)), ("stickout_ratio", (1e6, 5e-324)),
    ("margin_of", (5e-324, 1e9)), ("run_hours", (10, 1e6, 1, 0, 5e-324)), ("across_corners", ("flat", 5e-324, 1.0)),
    ("bars_for_hours", (1e6, 1, 5e-324, 0)),
])
def test_number_too_small_to_divide_by_never_gives_a_result_without_end(name, args):
    try:
        result = getattr(bf, name)(*args)
    except InputError:
        return
    assert math.isfinite(result)


# --- what importing costs -----------------------------------------------------------------------------------------

HEAVY = ("pint", "openpyxl", "ironcalc", "rich", "click")


def loaded_after(code):
    script = f"import sys\n{code}\nprint(*[m for m in {HEAVY!r} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True, timeout=60)
    return done.stdout.split()


def test_import_loads_no_heavy_package():
    assert loaded_after("import barfuncs") == []


def test_plain_call_does_not_import_pint():
    assert loaded_after("import barfuncs as bf\nassert bf.parts_per_bar(144, 2.25, 0.125, 3) == 59\n"
                        "assert bf.parts_per_bar(144, 2.25, 0.125, min_remnant=3) == 59\n"
                        "bf.bar_weight('1.4305', 'round', 20, 3000, units='mm')") == []


def test_text_with_units_and_refusal_do_not_import_pint():
    assert loaded_after("import barfuncs as bf\nassert bf.parts_per_bar('12 ft', '57.15 mm', 0.125, 3, units='in') == 59\n"
                        "try:\n    bf.parts_per_bar(-1, 2, 3, 4)\nexcept bf.InputError:\n    pass") == []


def test_the_check_for_heavy_packages_is_alive():
    assert loaded_after("import pint") == ["pint"]
