"""The sheet Part of plan and quote: its totals, what it stands in for, its marks and checks, lists with sections alone."""

import csv
import html
import math
import random
import re

import openpyxl
import pytest
from job_generator import GOOD_INPUTS, good_job
from libreoffice import convert
from reference_part import rows_of
from template_forms import in_the_sheet

import barfuncs as bf
from barfuncs.filling.filler import fill, filler, read_inputs
from barfuncs.filling.lists import plan_jobs, read_jobs
from barfuncs.templates.model import LOOK, NOTE, OK, STOP
from barfuncs.templates.part_sheet import PART_CHECK, SECTIONS
from barfuncs.templates.registry import TEMPLATES
from barfuncs.templates.shop import Machine, Rates, Shop
from barfuncs.xlsx.sheetxml import CellError

NAMES = ("job_plan", "quote")
PART = "1/2 to 5/8 x 1/16; 5/8 x 1 bore 1/4; hex 3/4 x 1/2 bore 1/4 to 1/8"


def job(template, **more):
    """A good job without a length and weight of its part."""
    good = {name: value for name, value in GOOD_INPUTS[template].items() if name not in ("part_length", "part_weight")}
    return good | {name: value for name, value in more.items() if value is not None}


def typed(rows):
    """Sections as they are typed into the cells."""
    return {SECTIONS.cell(n, name): value for n, row in enumerate(rows, 1) for name, value in row.items()}


def check_of(template, book):
    """The word and the sentence of the check on the part."""
    prefix = TEMPLATES[template].form.prefix
    topics = [check.topic for check in TEMPLATES[template].checks]
    sheet, row, column = book.first_cell(f"{prefix}check_words")
    row += topics.index(PART_CHECK.topic)
    return book.value_at((sheet, row, column)), book.value_at((sheet, row, column + 1))


def sheet_with(template, rows, **more):
    form = TEMPLATES[template].form
    book = in_the_sheet(template, {name: value for name, value in job(template, **more).items() if name in form.cells})
    for ref, value in typed(rows).items():
        book.set(ref, value)
    book.calculate()
    return book


@pytest.mark.libreoffice
@pytest.mark.slow
@pytest.mark.parametrize("units", ["in", "mm"])
@pytest.mark.parametrize("template", NAMES)
def test_a_part_of_some_milligrams_shows_three_digits_of_its_weight(template, units, tmp_path):
    """A pin of 0.9 x 1 mm at 7.87 g/cm3 weighs 5.007 mg, 0.00001104 lb; what it uses of a bar of 1 mm is 1.5 mm, so 4.265 mg are chips."""
    unit = 1 if units == "mm" else 1 / 25.4
    order = {"quantity": 5000} if template == "job_plan" else {"quantity_1": 5000, "material_price": 5, "price_per": "kg", "machine_rate": 60,
                                                              "cycle_time": 5, "margin": 0.2}
    pin = {"units": units, "material": "Steel 1215", "size": unit, "cutoff_width": 0.5 * unit, "face_to_cutoff": 5 * unit, "grip_length": 30 * unit,
           "bar_length": 3000 * unit, "sections": [{"size": 0.9 * unit, "length": unit}]}
    part, chips = ("0.00000501", "0.00000426") if units == "mm" else ("0.00001104", "0.00000940")
    for name, job in (("drawn", pin | order), ("typed", pin | order | {"part_weight": 5e-6})):
        (tmp_path / f"{name}.xlsx").write_bytes(fill(template, job).data)
    for page in convert([tmp_path / "drawn.xlsx", tmp_path / "typed.xlsx"], tmp_path, "html"):
        rows = [[html.unescape(re.sub("<[^>]*>", "", cell)).strip() for cell in re.findall("<td.*?</td>", row, re.DOTALL)]
                for row in re.findall("<tr.*?</tr>", page.read_text("utf-8"), re.DOTALL)]
        text = [[cell for cell in row if cell] for row in rows]
        weight = "kg" if units == "mm" else "lb"
        assert ["Finished weight", part, weight] in [row[:3] for row in text]
        assert ["Chips of one part", chips, weight] in [row[:3] for row in text]
        of_part = [row[1] for row in text if row[0:1] == ["Weight of a finished part"]]
        assert of_part[0] == (f"{weight}  Part: {part}" if page.stem == "drawn" else "0.000005")
        assert of_part[1] == part  # what stands in for a blank cell
        assert [row[1] for row in text if row[0:1] == ["weight of a finished part"]] == ([] if template == "job_plan" else
                                                                                         [part if page.stem == "drawn" else "0.00000500"])


# --- against Python ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("template", NAMES)
def test_each_row_and_the_whole_agree_with_the_functions(template):
    rng, compared = random.Random(11), 0
    while compared < 60:
        drawn = {n: v for n, v in good_job(rng).items() if n.startswith("section_") or n in ("units", "material", "shape", "size", "thickness")}
        if "section_1_size" not in drawn:
            continue
        inputs = read_inputs(job(template) | {"thickness": None, **drawn}, template)
        rows = rows_of(inputs)
        book = filler(template).book
        for name, address in filler(template).inputs.items():
            book.set_at(address, inputs[name])
        book.calculate()
        value = {name: book.value_at(address) for name, address in filler(template).answers.items()}
        before = None
        for n, row in enumerate(rows, 1):
            shape, size, length, end, bore, bore_end = row
            shape, bore = shape or "round", bore or 0
            assert value[f"section_{n}_volume"] == pytest.approx(bf.section_volume(shape, size, length, end, bore, bore_end), rel=1e-12)
            round_too = "round" if shape == "thread" else shape
            front = (round_too, end if shape == "thread" else size, bore)
            faces = bf.step_area(*front, *(before or ())) + (bf.step_area(round_too, end or size, bore_end or bore) if n == len(rows) else 0)
            sides = bf.outside_area(shape, size, length, end) + bf.bore_area(bore, length, bore_end)
            assert value[f"section_{n}_surface"] == pytest.approx(sides + faces, rel=1e-11)
            before = (round_too, end or size, bore_end or bore)
        assert value["part_area"] == pytest.approx(bf.part_area(rows), rel=1e-11)
        assert value["part_volume"] == pytest.approx(bf.part_volume(rows), rel=1e-11)
        assert value["part_width"] == pytest.approx(bf.part_width(rows), rel=1e-12)
        compared += 1


@pytest.mark.parametrize("template", NAMES)
def test_length_and_weight_stand_in_for_blank_cells(template):
    drawn = fill(template, job(template, sections=PART))
    by_hand = fill(template, job(template, part_length=bf.finished_length(PART), part_weight=bf.finished_weight(PART, "Steel 1215")))
    part = {"drawn_length", "part_volume", "finished_weight", "part_area", "part_width", "largest_round", "chips_each", "part_sections", "part_scale",
            "largest_bore", "least_section", "rear_width", "thread_size"}
    for name, value in by_hand.answers.items():
        if name not in part and not name.startswith("section_") and isinstance(value, float):
            assert drawn.answers[name] == pytest.approx(value, rel=1e-12), name
    assert drawn.is_ready
    assert isinstance(by_hand.answers["drawn_length"], CellError)


@pytest.mark.parametrize("template", NAMES)
def test_the_page_says_where_the_length_comes_from(template, tmp_path):
    fill(template, job(template, sections=PART), tmp_path / "a.xlsx")
    sheet = openpyxl.load_workbook(tmp_path / "a.xlsx", data_only=True).worksheets[0]
    said = {row[2].value: (row[3].value, row[4].value) for row in sheet.iter_rows(max_col=5) if row[2].value}
    assert said["Part length *"] == (None, "in  Part: 1.5625")
    assert said["Weight of a finished part"] == (None, f"lb  Part: {bf.finished_weight(PART, 'Steel 1215'):.4f}")


@pytest.mark.parametrize("template", NAMES)
def test_a_job_without_sections_is_what_it_was(template):
    filled = fill(template, GOOD_INPUTS[template])
    for name in ("drawn_length", "part_volume", "finished_weight", "part_area", "part_width", "largest_round", "chips_each"):
        assert isinstance(filled.answers[name], CellError), name
    assert filled.is_ready
    with pytest.raises(bf.InputError, match="part_length: is missing"):
        fill(template, job(template))
    assert check_of(template, sheet_with(template, [], part_length=2.0)) == (NOTE, "Part: No sections are filled in on the sheet Part.")


# --- three parts by hand ---------------------------------------------------------------------------------------------------


HAND = {"units": "in", "material": "Steel 1215", "size": 1.0, "cutoff_width": 0.1, "face_to_cutoff": 0.2, "grip_length": 2.0, "bar_length": 144.0,
        "supplied_length": 300.0, "kerf": 0.1, "material_price": 2.0, "price_per": "lb", "quantity": 100}


def test_a_hexagon_with_bore_and_taper_a_shaft_and_a_pin_in_the_plan():
    # The steps to these figures stand in test_part.
    nipple = fill("job_plan", HAND | {"sections": "1/2 to 3/4 x 1/4 bore 1/4; hex 3/4 x 1/2 bore 1/4", "shape": "hexagon", "size": 0.75, "material": "0.307 lb/in3",
                                  "material_price": 3.0})
    assert nipple.answers["finished_weight"] == pytest.approx(0.087334, abs=1e-6)
    assert nipple.answers["part_area"] == pytest.approx(3.067567, abs=2e-6)
    # 0.75 + cut-off 0.1 = 0.85 in of bar each; 0.487139 x 0.85 = 0.414068 in3; - 0.284476 = 0.129592; x 0.307 = 0.039785 lb of chips
    assert nipple.answers["chips_each"] == pytest.approx(0.039785, abs=1e-6)
    # 144 in bars less 2.2 in of remnant: 141.8 / 0.85 = 166 parts; 100 parts with 0 % scrap: 1 bar, sawn from one supplied bar of 300 in
    assert (nipple.answers["parts_per_bar"], nipple.answers["bars"], nipple.answers["bought"]) == (166, 1, 1)
    # That bar weighs 0.487139 x 300 x 0.307 = 44.865502 lb and costs 3 x 44.865502 = 134.60
    assert nipple.answers["material_cost"] == pytest.approx(134.5965, abs=1e-3)
    # Parts 100 x 0.087334 = 8.7334 lb
    assert nipple.answers["parts_weight"] == pytest.approx(8.7334, abs=1e-4)

    shaft = fill("job_plan", HAND | {"sections": "thread 1/2 pd 0.4675 x 3/4; 3/4 x 1 1/4; 1 x 4", "material": "0.2836 lb/in3"})
    assert shaft.answers["finished_weight"] == pytest.approx(1.084080, abs=2e-6)
    assert (shaft.answers["drawn_length"], shaft.answers["part_width"], shaft.answers["largest_round"]) == (6, 1, 1)
    # 6 + 0.1 = 6.1 in each; 141.8 / 6.1 = 23 parts; 100 / 23 = 5 bars
    assert (shaft.answers["parts_per_bar"], shaft.answers["bars"]) == (23, 5)

    pin = fill("job_plan", HAND | {"units": "mm", "sections": "0.6 to 1 x 0.2; 1 x 7.6; 1 to 0.6 x 0.2", "size": 1.0, "material": "8 g/cm3", "bar_length": 3000.0,
                               "cutoff_width": 1.0, "grip_length": 50.0, "face_to_cutoff": 1.0, "supplied_length": 3000.0, "kerf": 0.5, "feeder_longest_bar": 3200.0})
    assert pin.answers["finished_weight"] == pytest.approx(4.9394e-5, abs=1e-9)
    # 8 + 1 = 9 mm each; (3000 - 51) / 9 = 327 parts
    assert pin.answers["parts_per_bar"] == 327
    # The bar over 9 mm: 0.785398 x 9 = 7.068583 mm3; - 6.174277 = 0.894306 mm3 of chips; x 8E-6 kg/mm3
    assert pin.answers["chips_each"] == pytest.approx(0.894306 * 8e-6, rel=1e-5)


# --- marks and checks ----------------------------------------------------------------------------------------------------

ONE = {"size": 0.5, "length": 1.0}
MARKS = {
    "size is missing": [{"length": 1.0}],
    "length is missing": [{"size": 1.0}],
    "size is not allowed here": [{"size": -1.0, "length": 1.0}],
    "length is not allowed here": [{"size": 0.5, "length": 46_000.0}],  # a typed 3/4 that became a date
    "size can't be read": [{"size": "1 3/8", "length": 1.0}],
    "shape is not allowed here": [{"shape": "oval", "size": 1.0, "length": 1.0}],
    "end size is missing": [{"shape": "thread", "size": 0.5, "length": 1.0}],
    "end size does not go with the rest": [{"shape": "hexagon", "size": 0.5, "end_size": 0.4, "length": 1.0}],
    "bore does not go with the rest": [{"size": 0.5, "bore": 0.5, "length": 1.0}],
    "bore end does not go with the rest": [{"size": 0.5, "bore_end": 0.2, "length": 1.0}],
    "stands below a blank row": [ONE, {}, ONE],
    "bore larger than the outside beside it": [{"size": 1.0, "length": 1.0, "bore": 0.6}, ONE],
}


@pytest.mark.parametrize("template", NAMES)
@pytest.mark.parametrize("words", MARKS)
def test_a_row_says_what_is_wrong_and_no_answer_is_a_number(template, words):
    rows = MARKS[words]
    book, prefix = sheet_with(template, rows), TEMPLATES[template].form.prefix
    marks = [book.value(f"{SECTIONS.marks}[{n}]") for n in range(1, len(rows) + 1)]
    assert "\u2715 " + words in marks
    for name in ("part_volume", "finished_weight", "part_area", "part_width", "part_sections", "parts_per_bar"):
        assert isinstance(book.value(prefix + name), CellError), name
    assert "sections of the part" in str(book.value(f"{prefix}problems"))
    assert "part length" not in str(book.value(f"{prefix}problems"))  # which is missing for that reason alone
    assert str(book.value(f"{prefix}status")).startswith(STOP)
    # The same in a list.
    given = {SECTIONS.row_name(n, name): value for n, row in enumerate(rows, 1) for name, value in row.items()}
    if words != "size can't be read":  # a list reads a text
        with pytest.raises(bf.InputError, match="section_"):
            fill(template, job(template) | given)


@pytest.mark.parametrize("template", NAMES)
@pytest.mark.parametrize(("more", "word", "said"), [
    ({}, OK, "The part, 1 in long and 0.5 in wide, comes out of the bar; its weight is 25 % of the bar's over its length."),
    ({"size": 0.4}, STOP, "The part does not fit the bar: it is 0.5 in wide and 0.5 in where it is round; the bar is 0.4 in wide and gives 0.4 in round."),
    ({"shape": "hexagon", "size": 0.49}, STOP, "the bar is 0.566 in wide and gives 0.49 in round."),
    ({"shape": "tube", "thickness": 0.25}, STOP, "The part does not fit the bar: the tube's bore, 0.5 in, is larger than that of a section."),
    ({"part_length": 1.2}, LOOK, "The part length that is filled in counts, 1.2 in; the sections together are 1 in."),
    ({"part_length": 1.001}, OK, "comes out of the bar"),
    ({"part_weight": 0.1}, LOOK, "The weight that is filled in counts, 0.1000 lb; the sections weigh 0.0558 lb."),
])
def test_the_check_on_the_part(template, more, word, said):
    assert check_of(template, sheet_with(template, [ONE], **more))[0] == word
    assert said in check_of(template, sheet_with(template, [ONE], **more))[1]


@pytest.mark.parametrize("template", NAMES)
def test_a_part_longer_than_the_bar_stops(template):
    book = sheet_with(template, [{"size": 0.5, "length": 200.0}])
    assert check_of(template, book) == (STOP, "Part: The part, 200 in long, is longer than the bar.")
    with pytest.raises(bf.InputError, match="no whole part fits this bar"):
        fill(template, job(template, sections="1/2 x 200"))


def test_a_quote_of_a_part_that_does_not_fit_is_a_problem(tmp_path):
    rows = [job("quote", job="A", sections="1/2 x 1"), job("quote", job="B", sections="1.5 x 1")]
    columns = sorted({name for row in rows for name in row})
    with open(tmp_path / "jobs.csv", "w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, columns)
        writer.writeheader()
        writer.writerows(rows)
    outcome = plan_jobs(read_jobs(tmp_path / "jobs.csv", "quote"), tmp_path / "out", template="quote")
    assert [done.values["job"] for done in outcome.done] == ["A"]
    assert "does not fit the bar" in str(outcome.problems)


# --- lists ---------------------------------------------------------------------------------------------------------------

SHOP = Shop("in", Rates(), (Machine("Big", feeder_longest_bar=150.0, largest_size=2.0), Machine("Small", feeder_longest_bar=150.0, largest_size=0.5),
                            Machine("Short", feeder_longest_bar=48.0, largest_size=2.0), Machine("Unknown"), Machine("Any length", largest_size=1.0)), (), ())
ROW = {"job": "J1", "units": "in", "material": "Steel 1215", "size": "1", "bar_length": "144", "cutoff_width": "0.1", "face_to_cutoff": "0.2",
       "grip_length": "2", "quantity": "100"}


@pytest.mark.parametrize("given", [
    {"sections": PART},
    {"Sections": "12.7 mm to 15.875 mm x 1.5875 mm; 15.875 mm x 25.4 mm bore 1/4 in; hex 3/4 in x 1/2 in bore 1/4 in to 1/8 in"},
    {"section_1_size": "1/2", "section_1_end_size": "5/8", "section_1_length": "1/16", "section_2_size": "5/8", "section_2_length": "1",
     "section_2_bore": "1/4", "section_3_shape": "hex", "section_3_size": "3/4", "section_3_length": "1/2", "section_3_bore": "1/4",
     "section_3_bore_end": "1/8", "section_3_note": "head"},
])
def test_a_row_with_the_sections_alone_gives_weight_area_and_machines(tmp_path, given):
    with open(tmp_path / "jobs.csv", "w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, [*ROW, *given])
        writer.writeheader()
        writer.writerow(ROW | given)
    outcome = plan_jobs(read_jobs(tmp_path / "jobs.csv"), tmp_path / "out", shop=SHOP)
    assert outcome.problems == []
    (line,) = (done.values for done in outcome.done)
    assert line["finished_weight"] == pytest.approx(bf.finished_weight(PART, "Steel 1215"))
    assert line["part_area"] == pytest.approx(bf.part_area(PART))
    assert line["part_volume"] == pytest.approx(bf.part_volume(PART))
    assert line["drawn_length"] == pytest.approx(1.5625)
    assert line["part_width"] == pytest.approx(0.75 * 2 / math.sqrt(3))
    assert line["machines_that_fit"] == "Big, Any length"
    header = (tmp_path / "out" / "results.csv").read_text("utf-8-sig").splitlines()[0]
    assert "part_area" in header


@pytest.mark.parametrize(("sections", "said"), [
    ("1/2 x", "sections: row 1: '1/2 x' can't be read as a section"),
    ("1 x 1;" * 17, "there is room for 16"),
    ("1/2 x 1 bore 1/2", "section_1_bore: the bore must be smaller than the outside"),
    ("thread 1/2 x 1", "section_1_end_size: the end size of a thread is its pitch diameter"),
    ("1/2 x 1; wide x 1", "section_2_size: 'wide' can't be read as a length"),
    ("", "part_length: is missing"),
])
def test_bad_sections_of_a_job_are_named(sections, said):
    with pytest.raises(bf.InputError) as caught:
        fill("job_plan", job("job_plan", sections=sections))
    assert said in str(caught.value)


def test_machines_of_a_shop_that_do_not_take_the_bar():
    assert fill("job_plan", job("job_plan", sections="1/2 x 1", size=2.5), shop=SHOP).answers["machines_that_fit"] == "none on the sheet Shop"
    assert fill("job_plan", job("job_plan", sections="1/2 x 1"), shop=SHOP).answers["machines_that_fit"] == "Big, Any length"


# --- the operation list ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("operation", "start"), [("turning", 1.0), ("facing", 1.0), ("cut-off", 0.75 * 2 / math.sqrt(3)), ("drilling", 0.25),
                                                  ("threading", 0.625)])
def test_a_blank_start_diameter_is_that_of_the_part(operation, start):
    part = "thread 5/8 pd 0.58 x 1 bore 1/4; hex 3/4 x 1/2 bore 1/8"
    row = {"operation": operation, "length": 0.5, "surface_speed": 300.0, "feed_rate": 0.005, "top_speed": 3000.0}
    blank = {name: value for name, value in job("quote", sections=part).items() if not name.startswith("op_")}
    drawn = fill("quote", blank | {"operations": [row]})
    by_hand = fill("quote", blank | {"operations": [row | {"start_diameter": start}]})
    assert drawn.answers["op_1_time"] == pytest.approx(by_hand.answers["op_1_time"], rel=1e-12)
    assert drawn.answers["cycle"] == pytest.approx(by_hand.answers["cycle"], rel=1e-12)
    said = str(drawn.answers["op_1_mark"])  # what asks for a second look, or holds the cut back, is said first
    assert said == f"i start dia. {start:.4g} by the sheet Part" or said.startswith(("!", "i held at"))
    without = {name: value for name, value in blank.items() if name != "sections"} | {"part_length": 1.5}
    with pytest.raises(bf.InputError, match="op_1_start_diameter"):
        fill("quote", without | {"operations": [row]})


def test_a_start_diameter_that_the_part_does_not_tell_is_missing():
    blank = {name: value for name, value in job("quote", sections="1/2 x 1").items() if not name.startswith("op_")}
    for operation in ("drilling", "threading"):
        row = {"operation": operation, "length": 0.5, "surface_speed": 300.0, "feed_rate": 0.005}
        with pytest.raises(bf.InputError, match=r"op_1: start dia\. is missing"):
            fill("quote", blank | {"operations": [row]})


# --- the drawing -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("template", NAMES)
def test_the_profile_is_drawn_to_one_scale(template, tmp_path):
    fill(template, job(template, sections="1 x 2 bore 1/4; 1/2 to 3/4 x 4"), tmp_path / "a.xlsx")
    sheet = openpyxl.load_workbook(tmp_path / "a.xlsx", data_only=True)["Part"]
    (head,) = (cell for row in sheet.iter_rows() for cell in row if cell.value == "Corners of the drawing")
    corners = [tuple(cell.value for cell in row) for row in sheet.iter_rows(head.row + 2, head.row + 2 + 33, head.column, head.column + 2)]
    scale = 0.98 * min(3 / 6, 1 / 1)
    left = (3 - 6 * scale) / 2
    wanted = [(0, 0, 0), (0, 0.5, 0.125), (2, 0.5, 0.125), (2, 0.25, 0), (6, 0.375, 0), *[(6, 0, 0)] * 29]
    assert len(corners) == len(wanted)
    for corner, (along, outside, bore) in zip(corners, wanted, strict=True):
        assert corner == pytest.approx((left + along * scale, outside * scale, bore * scale))
    (chart,) = openpyxl.load_workbook(tmp_path / "a.xlsx")["Part"]._charts
    assert chart.anchor.ext.width / chart.anchor.ext.height == pytest.approx(3, rel=1e-4)
