"""The template job_plan against plain Python, in the headless engine and in LibreOffice; bad inputs; the built file."""

import io
import random
import re

import openpyxl
import pytest
from job_generator import BAD_VALUES, GOOD_INPUTS, good_job, good_per_bar
from reference_part import BAR, TOTALS, with_part
from reference_plan import plan
from template_forms import in_the_sheet, never_given, resting_on

import barfuncs as bf
from barfuncs.catalogue.units import LB_IN3_PER_G_CM3, registry
from barfuncs.filling.filler import fill, filler, read_inputs
from barfuncs.templates import job_plan
from barfuncs.templates.model import LOOK, NOTE, OK, STOP
from barfuncs.xlsx.engine import Workbook
from barfuncs.xlsx.sheetxml import CellError


def jobs(count: int, seed: int = 7) -> list[dict]:
    rng, found = random.Random(seed), []
    while len(found) < count:
        job = good_job(rng)
        inputs = read_inputs(job)
        if plan_fits(inputs):
            found.append(inputs)
    return found


def plan_fits(inputs: dict) -> bool:
    return good_per_bar(with_part(inputs)) > 0


def disagreements(inputs: dict, answers: dict) -> list[str]:
    found = []
    for name, want in plan(inputs).items():
        got = answers[name]
        if want is None:
            same = isinstance(got, CellError)
        elif isinstance(want, str):
            same = got == want
        else:
            # Differences of large numbers lose digits: their error is judged by what they are made of.
            scale = max(abs(want), {"remnant": inputs["bar_length"], "last_bar_remnant": inputs["bar_length"]}.get(name, 0))
            if name in ("chips_each", "chips_weight", "remnants_weight", "scrap_credit", "net_material", "material_each"):
                scale = max(scale, answers["total_weight"])
            same = isinstance(got, float) and abs(got - want) <= 1e-9 * scale
        if not same:
            found.append(f"{name}: sheet {got!r}, Python {want!r}, for {inputs}")
    return found


def test_every_named_answer_agrees_with_python_in_the_engine():
    checked = 0
    for inputs in jobs(400):
        answers = filler("job_plan").fill(inputs).answers
        assert disagreements(inputs, answers) == []
        checked += len(plan(inputs))
        assert abs(answers["length_balance"]) < 1e-6
        assert abs(answers["weight_balance"]) <= 1e-9 * (1 + answers["total_weight"])
    assert checked >= 400 * 30


def test_the_generated_jobs_give_every_input():
    assert never_given("job_plan", jobs(400)) == set()


def test_the_reference_names_every_answer():
    answers = plan(jobs(1)[0])
    steps = {a.name for a in job_plan._STEPS} - {"bought_length", "strokes", "second_stop_hours", "machines_that_fit", *TOTALS, *BAR}
    assert set(answers) == set(job_plan.TEMPLATE.form.answers) - steps


def test_the_comparison_notices_a_wrong_value():
    inputs = jobs(1)[0]
    answers = dict(filler("job_plan").fill(inputs).answers)
    answers["bars"] += 1
    assert len(disagreements(inputs, answers)) == 1


GOOD = GOOD_INPUTS["job_plan"]


@pytest.mark.parametrize(("name", "value"), [
    *((n, v) for n, values in BAD_VALUES.items() for v in values),
    *((i.name, v) for i in job_plan.FORM.inputs.values() if i.kind.is_number for v in (-1.0, 1e12, "x", True)),
    ("price_per", "dozen"), ("price_per", 3.0), ("units", None), ("feeder_bars", 0.0), ("efficiency", 0.0), ("machine_type", "robot"),
])
def test_no_answer_that_rests_on_a_bad_input_is_a_number(name, value):
    book = in_the_sheet("job_plan", GOOD | {name: value})
    label = job_plan.TEMPLATE.inputs[name].label.lower()
    assert str(book.value("plan_status")).startswith(STOP + "  Fill in or correct: ")
    assert label in str(book.value("plan_problems"))
    # The width that the bar must leave is given by itself.
    answers = (resting_on("job_plan", name) - {"long_stickout", *({"bar_must_leave"} if name == "shape" else ())}) & set(job_plan.TEMPLATE.form.answers)
    assert answers or name in ("feeder_longest_bar", "bars_on_hand", "top_speed", "machine_type"), f"no answer rests on {name}"
    assert [a for a in answers if not isinstance(book.value(f"plan_{a}"), CellError)] == []


def test_every_answer_but_a_text_is_a_number_where_all_inputs_are_good():
    # What is drawn is tested in test_part_sheet.
    book = in_the_sheet("job_plan", GOOD)
    assert [a for a in job_plan.TEMPLATE.form.answers if a not in (*TOTALS, "machines_that_fit") and not isinstance(book.value(f"plan_{a}"), float)] == [
        "fewest_bars", "first_stop", "second_stop_parts", "second_stop", "material_name", "material_caution", "material_group", "bar_class_meant", "bar_idea", "bar_class", "bar_why", "edges_to_change", "next_edge", "second_stop_hours", "stops_not_known"]
    assert book.value("plan_not_known") == book.value("plan_problems") == ""


@pytest.mark.parametrize("name", [i.name for i in job_plan.TEMPLATE.inputs.values() if i.default is not None and not i.needed])
def test_a_cleared_cell_counts_as_its_default(name):
    given = GOOD | {name: job_plan.TEMPLATE.inputs[name].default}
    default, cleared = in_the_sheet("job_plan", given), in_the_sheet("job_plan", given | {name: None})
    for answer in job_plan.TEMPLATE.form.answers:
        assert cleared.value(f"plan_{answer}") == default.value(f"plan_{answer}"), answer


@pytest.mark.parametrize(("change", "sentence"), [
    ({"part_weight": 1.0}, "can't weigh more than the bar over its length, 0.4466 lb"),
    ({"longest_random_bar": 100.0}, "is shorter than the bar length"),
])
def test_inputs_that_contradict_each_other_stop_the_plan(change, sentence):
    book = in_the_sheet("job_plan", GOOD | change)
    assert book.value("plan_status") == f"{STOP}  See the checks."
    assert sentence in " ".join(check_sentences(book))


def check_sentences(book: Workbook) -> list[str]:
    sheet = openpyxl.load_workbook(io.BytesIO(book.to_bytes()), data_only=True)["Notes"]
    return [str(sheet.cell(r, 3).value) for r in range(1, sheet.max_row + 1)]


def test_an_answer_that_cannot_be_worked_out_is_named():
    book = in_the_sheet("job_plan", GOOD | {"part_length": 1e-6, "cutoff_width": 0.0, "part_weight": None, "first_parts_scrapped": 0.0})
    assert book.value("plan_parts_per_bar") == 1.41e8
    assert str(book.value("plan_status")).startswith(f"{STOP}  These can't be worked out from the inputs: bars to load, ")


def test_a_number_that_may_be_a_designation_is_told_to_be_typed_as_text():
    for number in (1.4305, 99.0, 174.0, 7850.0):
        assert "type a designation with an apostrophe" in str(in_the_sheet("job_plan", GOOD | {"material": number}).value("plan_status"))


@pytest.mark.parametrize(("name", "density", "mark"), [
    ("Shop alloy", 8500.0, "from 0.5 to 25"), ("Shop alloy", "8.5", "from 0.5 to 25"), ("Shop alloy", None, "from 0.5 to 25"),
    (303.0, 8.0, "as text"), (None, 8.0, "as text"),
])
def test_a_bad_row_of_own_materials_is_marked_and_stops_the_plan(name, density, mark):
    book = Workbook(job_plan.TEMPLATE.build(), direct=True)
    for key, number in GOOD.items():
        book.set(job_plan.FORM.cells[key], number)
    sheet, row, column = book.first_cell("own_material_names")
    book.set_at((sheet, row, column), name)
    book.set_at((sheet, row, book.first_cell("own_material_densities")[2]), density)
    book.calculate()
    assert mark in str(book.value_at((sheet, row, book.first_cell("own_material_marks")[2])))
    assert book.value("plan_status") == f"{STOP}  See the checks."


def test_a_name_that_stands_twice_among_own_materials_is_marked():
    book = Workbook(job_plan.TEMPLATE.build(), direct=True)
    sheet, row, column = book.first_cell("own_material_names")
    for line in (row, row + 1):
        book.set_at((sheet, line, column), "Shop alloy")
        book.set_at((sheet, line, book.first_cell("own_material_densities")[2]), 8.0)
    book.calculate()
    assert "stands twice" in str(book.value_at((sheet, row, book.first_cell("own_material_marks")[2])))
    assert book.value("plan_own_problems") == 2


def test_a_full_feeder_that_holds_the_order_runs_alone_as_long_as_the_order():
    few = in_the_sheet("job_plan", GOOD | {"feeder_bars": 40.0})
    assert few.value("plan_unattended_hours") == few.value("plan_run_hours")
    assert few.value("plan_load_weight") == few.value("plan_total_weight")


def test_the_empty_template_shows_no_number_and_says_what_to_fill_in():
    book = Workbook(job_plan.TEMPLATE.build(), direct=True)
    book.calculate()
    for name in job_plan.TEMPLATE.form.answers.keys() - {"machine_row", "largest_size", "own_problems", "shop_problems", "stopped", "machine_wrong", "part_sections",
                                                        "part_scale", "front_stock", "strokes"}:  # 0 where none is there, one push of the feed
        assert isinstance(book.value(f"plan_{name}"), (CellError, str)), name
    assert str(book.value("plan_status")).startswith(STOP + "  Fill in or correct: units, material, size")


@pytest.mark.parametrize(("change", "column", "reason"), [
    ({"part_length": 150}, "part_length", "no whole part fits"),
    ({"part_weight": 40}, "part_weight", "is more than the bar over the length"),
    ({"thickness": 0.1}, "thickness", "a solid round"),
    ({"shape": "tube"}, "thickness", "need a thickness"),
    ({"shape": "tube", "thickness": 0.6}, "thickness", "thinner than half the size"),
    ({"longest_random_bar": 100}, "longest_random_bar", "must not be shorter"),
    ({"quantity": None}, "quantity", "is missing"),
    ({"quantity": "12,5"}, "quantity", "12,5"),
    ({"part_lenght": 3}, "part_lenght", "did you mean 'part_length'"),
    ({"job": "x" * 121}, "job", "121 characters"),
    ({"units": "cm"}, "units", "allowed is one of in, mm"),
    ({"bar_length": "3 m"}, "part_length", "has no unit next to values in metric units"),
    ({"material": "brss c36000"}, "material", "is not a known material; do you mean 'Brass C36000'?"),
    ({"material": "brass c3600"}, "material", "is not a known material: look its name up on the sheet Materials"),
])
def test_fill_refuses_by_name(change, column, reason):
    good = {"material": "Steel 1215", "size": 1, "part_length": 2, "cutoff_width": 0.1, "face_to_cutoff": 0.2, "grip_length": 2,
            "bar_length": 144, "quantity": 100}
    with pytest.raises(bf.InputError, match=re.escape(reason)) as caught:
        fill("job_plan", good | change)
    assert type(caught.value) is bf.InputError
    assert column in dict(caught.value.problems)


def test_fill_names_every_bad_input_at_once():
    with pytest.raises(bf.InputError) as caught:
        fill("job_plan", {"size": -1, "part_length": "abc", "shape": "rhombus"})
    named_inputs = dict(caught.value.problems)
    assert {"size", "part_length", "shape", "material", "cutoff_width", "quantity", "bar_length"} <= set(named_inputs)


def test_fill_reads_units_and_quantities(tmp_path):
    import pint

    ureg = pint.UnitRegistry()
    metric = fill("job_plan", {
        "units": "mm", "material": "303", "size": 20 * ureg.mm, "part_length": "1 3/8 in", "cutoff_width": "3 mm",
        "face_to_cutoff": 5, "grip_length": 60, "bar_length": "3 m", "quantity": "1,000", "scrap_rate": "3%", "cycle_time": "1 min"})
    assert metric.inputs["part_length"] == pytest.approx(34.925, rel=1e-15)
    assert metric.inputs["material"] == "Stainless 303"
    assert metric.answers["parts_per_bar"] == bf.parts_per_bar(3000, 34.925, 3, 65)
    assert metric.inputs["cycle_time"] == 60


def test_a_text_never_becomes_a_formula(tmp_path):
    texts = {"job": "=1+1", "customer": '=HYPERLINK("http://example.invalid")', "part_number": "@SUM(A1)"}
    path = tmp_path / "x.xlsx"
    fill("job_plan", {"material": "Steel 1215", "size": 1, "part_length": 2, "cutoff_width": 0.1, "face_to_cutoff": 0.2,
                      "grip_length": 2, "bar_length": 144, "quantity": 100, **texts}, path)
    book = openpyxl.load_workbook(path)
    for name, text in texts.items():
        sheet, _, ref = book.defined_names[name].attr_text.rpartition("!")
        cell = book[sheet.strip("'")][ref.replace("$", "")]
        assert (cell.value, cell.data_type) == (text, "s") or cell.data_type == "inlineStr"
    again = Workbook(path)
    again.calculate()
    assert again.value("job") == "=1+1"


def test_a_material_of_the_shops_own(tmp_path):
    table = tmp_path / "own.csv"
    table.write_text("name,density_g_cm3\nShop bronze 7,8.1\nSteel 1215,7.8\n")
    from barfuncs.catalogue import materials

    own = materials.builtin().extended(materials.read_materials(table))
    job = {"units": "mm", "material": "shop bronze 7", "size": 20, "part_length": 50, "cutoff_width": 3, "face_to_cutoff": 5,
           "grip_length": 60, "bar_length": 3000, "quantity": 100}
    for name, density in (("Shop bronze 7", 8.1), ("Steel 1215", 7.8)):
        filled = fill("job_plan", job | {"material": name}, own_materials=own)
        assert filled.answers["density"] == density
        again = Workbook(filled.data, direct=True)
        again.calculate()
        assert again.value("plan_density") == density
    assert fill("job_plan", job | {"material": "Steel 1215"}).answers["density"] != 7.8
    # The shop's own row answers to the designations of the one it replaces.
    assert fill("job_plan", job | {"material": "G12150"}, own_materials=own).answers["density"] == 7.8


def test_the_trade_fact_of_forty_parts():
    """Common practice, no source: 36 in bar, 0.825 in a part, 1 3/8 in out before the first part, 2 in left to grip."""
    job = {"material": "Steel 1215", "size": 0.5, "part_length": 0.7, "cutoff_width": 0.125, "face_to_cutoff": 0.4, "end_trim": 0.15,
           "grip_length": 2, "bar_length": 36, "quantity": 200}
    answers = fill("job_plan", job).answers
    assert answers["first_stickout"] == pytest.approx(1.375)
    assert answers["parts_per_bar"] == 40
    assert answers["bars"] == 5


@pytest.mark.parametrize(("change", "word", "sentence"), [
    ({"size": 0.5}, NOTE, "4.8 times the size"),
    ({"feeder_longest_bar": 100}, STOP, "longer than the feeder takes by 44 in"),
    ({"bars_on_hand": 1}, STOP, "bars; 1 are there"),
    ({"material": "12L14"}, LOOK, "lead"),
    ({"feeder_bars": 10}, NOTE, "Over 51 lb it is not one person's lift"),
    ({"feeder_bars": 10, "bar_length": 48}, OK, "One bar weighs 42.9 lb, not more than 51 lb"),
    ({}, NOTE, "No cycle time is filled in: no hours"),
    ({}, NOTE, "no material cost"),
])
def test_checks_speak_plainly(change, word, sentence):
    good = {"material": "Steel 1215", "size": 2, "part_length": 2, "cutoff_width": 0.125, "face_to_cutoff": 0.25, "grip_length": 2,
            "bar_length": 144, "quantity": 100}
    book = Workbook(fill("job_plan", good | change).data, direct=True)
    book.calculate()
    sheet = openpyxl.load_workbook(io.BytesIO(book.to_bytes()), data_only=True)["Notes"]
    rows = [(sheet.cell(r, 2).value, sheet.cell(r, 3).value or "") for r in range(1, sheet.max_row + 1)]
    assert any(w == word and sentence in str(s) for w, s in rows), rows[-16:]


@pytest.mark.parametrize(("given", "shown", "density"), [
    ("1.4123 g/cm3", "1.4123 g/cm3", 1.4123), ("0.0976 lb/in3", "0.0976 lb/in3", 0.0976 / LB_IN3_PER_G_CM3),
    ("7850 kg/m3", "7.85 g/cm3", 7.85), (registry().Quantity(7.85, "g/cm**3"), "7.85 g/cm3", 7.85),
])
def test_a_density_with_its_unit_stands_among_the_shops_own_materials(given, shown, density):
    filled = fill("job_plan", GOOD | {"units": "mm", "material": given, "part_weight": None})
    assert filled.inputs["material"] == shown
    assert filled.answers["density"] == pytest.approx(density, rel=1e-12)
    inch = Workbook(filled.data, direct=True)
    inch.set("units", "in")  # a number would now mean lb/in3
    inch.calculate()
    assert inch.value("plan_density") == pytest.approx(density * LB_IN3_PER_G_CM3, rel=1e-12)
