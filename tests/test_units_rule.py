"""One rule of units: a result with a unit needs `units` said next to metric text, on every surface with the same words."""

import re

import pint
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

import barfuncs as bf
from barfuncs.catalogue.entry import CATALOGUE
from barfuncs.catalogue.function import units_rule
from barfuncs.catalogue.reading import ANY_UNITS, UNITS_RULE
from barfuncs.catalogue.units import MM_PER_INCH
from barfuncs.cli.main import main
from barfuncs.filling.filler import fill, read_inputs
from barfuncs.filling.lists import plan_jobs, read_jobs
from barfuncs.surfaces import cells
from barfuncs.surfaces.examples import example

ENTRIES = tuple(CATALOGUE.values())
METRIC = {"length": "50 mm", "weight": "3 kg", "surface_speed": "100 m/min", "feed_rate": "0.1 mm", "pitch": "1.5 mm"}
WITH_LENGTHS = [e for e in ENTRIES if any(a.kind.reader in METRIC for a in e.arguments)]
UNITS_MISSING = re.escape("is metric, and nothing says what the result is in: ")

JOB = {"job": "J1", "material": "303", "size": "19 mm", "part_length": "30 mm", "cutoff_width": "3 mm", "face_to_cutoff": "5 mm",
       "grip_length": "60 mm", "bar_length": "3 m"}
QUOTE = {"quantity_1": 100, "machine_rate": 80, "material_price": 3, "price_per": "kg"}


def in_metric_text(entry):
    """The function's example with every length, weight, speed and feed as a metric text."""
    factors = {"length": (MM_PER_INCH, "mm"), "weight": (0.45359237, "kg"), "surface_speed": (0.3048, "m/min"),
               "feed_rate": (MM_PER_INCH, "mm"), "pitch": (MM_PER_INCH, "mm")}
    shown = example(entry)
    given = {name: value for name, value in shown.given.items() if name != "units"}
    metric = shown.given.get("units") == "mm"
    for a in entry.arguments:
        value = given.get(a.name)
        if a.kind.reader in factors and value is not None:
            factor, unit = factors[a.kind.reader]
            given[a.name] = f"{value * (1 if metric else factor):.12f} {unit}"
        if a.kind.reader == "material" and isinstance(value, float):
            given[a.name] = f"{value * (1 if metric else 27.6799):.9f} g/cm3"
    return given


@pytest.mark.parametrize("entry", WITH_LENGTHS, ids=[e.name for e in WITH_LENGTHS])
def test_metric_text_needs_units_where_the_result_has_one(entry):
    function, given = getattr(bf, entry.name), in_metric_text(entry)
    metric = example(entry).given.get("units") == "mm"
    if entry.result.two_systems:
        # Sections stay bare numbers, which are what lacks a unit then.
        missing = rf"units: is missing: '.* {UNITS_MISSING}" if "sections" not in given else "sections: has no unit next to values in metric units: "
        with pytest.raises(bf.InputError, match=rf"^{entry.name}: {missing}add units="):
            function(**given)
        result = function(**given, units="mm" if metric else "in")
        assert (result[0] if isinstance(result, list) else result) == pytest.approx(example(entry).result, rel=1e-5)
    elif prices := [a.name for a in entry.arguments if a.kind.dimension == "price_by_weight" and a.name in given]:
        with pytest.raises(bf.InputError, match=rf"^{entry.name}: {prices[0]}: has no unit next to values in metric units: add units="):
            function(**given)
        assert function(**given, units="in") == pytest.approx(example(entry).result, rel=1e-5)
    elif "offers" in given:
        with pytest.raises(bf.InputError, match=rf"^{entry.name}: offers: has no unit next to values in metric units: add units="):
            function(**given)
        assert function(**given, units="in")[0][-1] == example(entry).result
    else:
        result = function(**given)
        if isinstance(result, str):
            assert result == example(entry).result
            return
        assert result == function(**given, units="in") or result == pytest.approx(function(**given, units="in"), rel=1e-12)
        shown = result[0] if isinstance(result, list) else result
        shown = shown[-1] if isinstance(shown, tuple) else shown
        assert shown == (example(entry).result if isinstance(shown, str) else pytest.approx(example(entry).result, rel=1e-5))


@pytest.mark.parametrize("entry", ENTRIES, ids=[e.name for e in ENTRIES])
def test_the_docstring_says_the_rule_where_it_holds(entry):
    said = " ".join(getattr(bf, entry.name).__doc__.split())
    has_length = any(a.kind.two_systems for a in entry.arguments)
    assert (ANY_UNITS in said) == (has_length or entry.result.two_systems)
    assert (UNITS_RULE in said) == entry.result.two_systems
    assert bool(units_rule(entry)) == (has_length or entry.result.two_systems)


def test_the_two_calls_that_differed():
    with pytest.raises(bf.InputError, match=f"^bar_weight: units: is missing: '19 mm' {UNITS_MISSING}"):
        bf.bar_weight("303", "round", "19 mm", "3 m")
    with pytest.raises(bf.InputError, match=f"^bar_per_part: units: is missing: '57 mm' {UNITS_MISSING}"):
        bf.bar_per_part("57 mm", "3 mm")
    assert bf.bar_per_part("57 mm", "3 mm", units="mm") == 60
    assert bf.bar_per_part("57.15 mm", 0.125, units="in") == pytest.approx(2.375)
    assert bf.bar_weight("303", "round", "19 mm", "3 m", units="mm") == pytest.approx(bf.bar_weight("303", "round", 19, 3000, units="mm"))


def test_a_metric_density_is_metric_text():
    with pytest.raises(bf.InputError, match=f"^bar_weight: units: is missing: '7.85 g/cm3' {UNITS_MISSING}"):
        bf.bar_weight("7.85 g/cm3", "round", 1, 144)
    assert bf.bar_weight("0.2836 lb/in3", "round", 1, 144) == pytest.approx(bf.bar_weight("7.85 g/cm3", "round", 1, 144, units="in"), rel=1e-3)


def test_what_is_not_metric_text_needs_nothing():
    assert bf.bar_per_part("2 1/4 in", 0.125) == 2.375
    assert bf.parts_per_bar("3 m", "57 mm", "3 mm", "75 mm") == 48
    assert bf.run_hours(10, "45 s", 5) == 0.125
    assert bf.spindle_speed("120 m/min", "19 mm") == pytest.approx(2010.38, rel=1e-5)
    with pytest.raises(bf.InputError, match=r"^parts_per_bar: min_remnant: has no unit next to values in metric units: add units="):
        bf.parts_per_bar("3 m", "57 mm", "3 mm", 75)
    assert bf.parts_per_bar("3 m", "57 mm", "3 mm", 0) == 50


def test_a_quantity_carries_its_unit():
    q = pint.UnitRegistry().Quantity
    metric = bf.bar_per_part(q(57, "mm"), q(3, "mm"))
    assert (metric.magnitude, str(metric.units)) == (60, "millimeter")
    assert str(bf.bar_weight("303", "round", q(19, "mm"), q(3, "m")).units) == "kilogram"
    assert str(bf.bar_per_part(q(57, "mm"), "3 mm").units) == "millimeter"
    assert str(bf.bar_per_part(q(57, "mm"), "1/8 in").units) == "inch"
    assert str(bf.bar_per_part(q(57, "mm"), q(3, "mm"), units="in").units) == "inch"


@given(st.floats(0.1, 1000), st.floats(0.01, 50))
def test_stated_units_decide_alone(part, cutoff):
    """A text in another unit gives the same as the number of that unit."""
    text, number = bf.bar_per_part(f"{part!r} mm", f"{cutoff!r} mm", units="in"), bf.bar_per_part(part / MM_PER_INCH, cutoff / MM_PER_INCH)
    assert text == pytest.approx(number, rel=1e-12)
    assert bf.bar_per_part(f"{part!r} in", f"{cutoff!r} in", units="mm") == pytest.approx((part + cutoff) * MM_PER_INCH, rel=1e-12)


# --- cells, the command line ---------------------------------------------------------------------------------------


def test_in_cells():
    weight, per_part = (cells.CellCall(CATALOGUE[name], cells.EXCEL) for name in ("bar_weight", "bar_per_part"))
    assert weight("303", "round", "19 mm", "3 m") == ("#VALUE! units: is missing: '19 mm' is metric, and nothing says what the "
                                                      'result is in: give the last argument, units: "in" or "mm"')
    assert weight("303", "round", "19 mm", "3 m", None, "mm") == pytest.approx(6.719, abs=0.01)
    assert per_part("57 mm", "3 mm") == ("#VALUE! units: is missing: '57 mm' is metric, and nothing says what the result is in: give "
                                         'plain numbers in one unit; LENGTH_IN("3 mm","in") makes a number of a text')
    assert per_part((("2 in",), ("57 mm",)), 0.5)[0] == [2.5]
    assert per_part((("2 in",), ("57 mm",)), "0.5 in")[1][0].startswith("#VALUE! units: is missing: '57 mm' is metric")


def test_on_the_command_line():
    def run(*words):
        done = CliRunner().invoke(main, ["calc", *words])
        return done.exit_code, done.output

    code, words = run("bar_per_part", "57 mm", "3 mm")
    assert code == 1
    assert "'57 mm' is metric, and nothing says what the result is in: add --units in or --units mm" in " ".join(words.split())
    assert run("bar_per_part", "57 mm", "3 mm", "--units", "mm") == (0, "60 mm\n")
    assert run("bar_per_part", "57 mm", "3 mm", "units=mm") == (0, "60 mm\n")
    assert run("parts_per_bar", "3 m", "57 mm", "3 mm", "75 mm") == (0, "48\n")


# --- jobs ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("template", ["job_plan", "quote"])
def test_a_job_with_metric_text_says_its_units(template):
    metric = JOB | (QUOTE if template == "quote" else {"quantity": 100})
    with pytest.raises(bf.InputError, match=rf"units: is missing: '.*' {UNITS_MISSING}fill in units \(in a list the column units\): in or mm"):
        read_inputs(metric, template)
    assert read_inputs(metric | {"units": "mm"}, template)["size"] == 19
    assert read_inputs(metric, template, units="in")["size"] == pytest.approx(19 / MM_PER_INCH)
    inch = {name: value for name, value in metric.items() if not str(value).endswith("m")}
    with pytest.raises(bf.InputError, match=r"size: has no unit next to values in metric units: fill in units \(in a list"):
        read_inputs(metric | {"size": 0.75}, template)
    inch |= {"size": "3/4", "part_length": 1.25, "cutoff_width": 0.1, "face_to_cutoff": 0.2, "grip_length": 2, "bar_length": "12 ft"}
    assert read_inputs(inch, template)["units"] == "in"
    with pytest.raises(bf.InputError, match=f"units: is missing: '7.85 g/cm3' {UNITS_MISSING}"):
        read_inputs(inch | {"material": "7.85 g/cm3"}, template)


def test_a_quantity_in_a_job_needs_units_since_answers_are_numbers():
    q = pint.UnitRegistry().Quantity
    job = {name: q(value) if str(value).endswith("m") else value for name, value in JOB.items()} | {"quantity": 100}
    with pytest.raises(bf.InputError, match=UNITS_MISSING):
        fill("job_plan", job)
    assert fill("job_plan", job, units="mm").answers["parts_per_bar"] == 88


def test_in_a_list(tmp_path):
    path = tmp_path / "jobs.csv"
    job = JOB | {"quantity": "100"}
    path.write_text(",".join(job) + "\n" + ",".join(job.values()) + "\n", "utf-8")
    (problem,) = plan_jobs(read_jobs(path), tmp_path / "out").problems
    assert (problem.row, problem.column) == (2, "units")
    assert "in a list the column units" in problem.reason
    assert not plan_jobs(read_jobs(path), tmp_path / "mm", units="mm").problems
