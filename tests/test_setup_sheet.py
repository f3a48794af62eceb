"""The set-up sheet: what it shows, when it shows nothing, and which of its lines apply."""

import io
import random
from functools import cache
from typing import Any

import openpyxl
import pytest
from job_generator import GOOD_INPUTS, good_job
from judges import without_values
from libreoffice import convert
from reference_part import with_part
from template_forms import in_the_sheet

import barfuncs as bf
from barfuncs.catalogue import materials
from barfuncs.filling.filler import Filled, fill, filler, read_inputs
from barfuncs.tables import speeds_feeds
from barfuncs.templates import job_plan
from barfuncs.templates.model import LOOK, STOP
from barfuncs.templates.setup_sheet import CAUTIONS, CHECKLIST, TITLE
from barfuncs.templates.shop import Machine, Rates, Shop
from barfuncs.xlsx.engine import Workbook

JOB: dict[str, Any] = {
    "units": "in", "material": "Steel 1018", "shape": "round", "size": 1, "part_length": 2, "cutoff_width": 0.125, "facing": 0.02,
    "end_trim": 0.25, "face_to_cutoff": 0.2, "grip_length": 2, "bar_length": 144, "quantity": 500, "scrap_rate": 0.02, "setup_parts": 5,
    "feeder_longest_bar": 150, "feeder_bars": 4, "cycle_time": 40, "machine_type": "fixed head", "top_speed": 2500}
DO_NOT = "The plan says STOP: do not set up from this sheet."


class Cells(dict[str, Any]):
    """The values of the sheet's cells that are not blank, by where they stand; an empty text where there is none."""

    def __missing__(self, ref: str) -> str:
        return ""


def sheet_of(source: Any) -> Cells:
    """The sheet in a file, or in the bytes of one."""
    book = openpyxl.load_workbook(io.BytesIO(source) if isinstance(source, bytes) else source, data_only=True, read_only=True)
    return Cells({c.coordinate: c.value for row in book[TITLE].iter_rows() for c in row if c.value not in (None, "")})


def made(**change: Any) -> tuple[Filled, Cells]:
    plan = fill("job_plan", JOB | change)
    return plan, sheet_of(plan.data)


def typed(**change: Any) -> Cells:
    """The sheet for inputs that are typed into the template, which `fill` would refuse."""
    return sheet_of(in_the_sheet("job_plan", GOOD_INPUTS["job_plan"] | change).to_bytes())


def printed(sheet: Cells) -> list[Any]:
    """Everything on the printed page."""
    return [value for ref, value in sheet.items() if ref[0] in "BCDEFGHI"]


def beside(sheet: Cells, label: str, column: str = "C") -> Any:
    """What stands in a column of the row with a label, above the cautions."""
    rows = [ref[1:] for ref, value in sheet.items() if value == label and ref[0] in "BG"]
    assert len(rows) == 1, label
    return sheet[column + rows[0]]


def row_of(sheet: Cells, start: str) -> int:
    return next(int(ref[1:]) for ref, value in sheet.items() if ref[0] == "B" and str(value).startswith(start))


def cautions(sheet: Cells) -> dict[str, str]:
    """Topic and text of the cautions, as they stand on the page."""
    first = row_of(sheet, "Cautions") + 1
    lines = [(sheet[f"B{row}"], sheet[f"C{row}"]) for row in range(first, first + len(CAUTIONS))]
    found = {topic: text for topic, text in lines if topic or text}
    assert lines[:len(found)] == list(found.items()), "a gap, or a topic twice"
    assert all(found)
    assert all(found.values())
    return found


def checks(sheet: Cells) -> list[str]:
    """The check list, row by row."""
    first = row_of(sheet, "2  Before")
    cells = [sheet[f"{letter}{row}"] for row in range(first + 1, first + 1 + -(-len(CHECKLIST) // 2)) for letter in "BG"]
    found = [cell for cell in cells if cell]
    assert cells[:len(found)] == found, "a gap"
    return [cell.removeprefix("\u25a1  ") for cell in found]


# --- no inputs, one page ---------------------------------------------------------------------------------------------


def test_the_sheet_takes_no_input_and_its_frames_are_for_the_hand():
    book = openpyxl.load_workbook(io.BytesIO(job_plan.TEMPLATE.build()))
    sheet = book[TITLE]
    assert not [cell.coordinate for row in sheet.iter_rows() for cell in row if not cell.protection.locked]
    assert not sheet.data_validations.dataValidation
    assert not [name for name, item in book.defined_names.items() if item.attr_text.startswith(f"'{TITLE}'")]
    assert sheet.page_setup.fitToHeight == sheet.page_setup.fitToWidth == 1
    framed = [cell.coordinate for row in sheet.iter_rows() for cell in row
              if cell.border.top and cell.border.bottom and cell.border.top.style and cell.border.bottom.style]
    assert len(framed) >= 10
    assert {sheet[ref].value for ref in framed} <= {None, "name", "date", "time"}


def test_the_page_has_a_place_for_every_line_and_a_plan_has_no_other_setters_page():
    book = openpyxl.load_workbook(io.BytesIO(job_plan.TEMPLATE.build()))
    assert "Setter" not in book.sheetnames
    formulas = [cell.value for row in book[TITLE]["B1:I80"] for cell in row if cell.data_type == "f"]
    assert len([f for f in formulas if "MATCH(" in f]) == len(CHECKLIST) + 2 * len(CAUTIONS)


# --- what it shows ---------------------------------------------------------------------------------------------------


def test_the_head_says_what_is_to_be_made_and_where():
    _, sheet = made(drawing="D-204", revision="C", part_number="P-17", job="26-1001", customer="Harrow Pump Works", machine_type="guide bush")
    shown = [beside(sheet, label) for label in ("Drawing number", "Revision", "Part number", "Customer")]
    assert shown == ["D-204", "C", "P-17", "Harrow Pump Works"]
    assert [beside(sheet, label, "H") for label in ("Machine type", "Job")] == ["guide bush", "26-1001"]


@pytest.mark.parametrize(("change", "shown"), [
    ({}, "round, 1.000 in"),
    ({"shape": "hexagon", "size": 0.75}, "hexagon, 0.750 in across flats, corners 0.866 in"),
    ({"shape": "flat", "size": 1.5, "thickness": 0.5}, "flat, 1.500 in x 0.500 in, corners 1.5811 in"),
    ({"shape": "tube", "thickness": 0.1875}, "tube, 1.000 in, wall 0.1875 in"),
    ({"shape": "round", "size": "19 mm", "units": "mm", "part_length": 20, "grip_length": 60, "bar_length": 3000, "feeder_longest_bar": None},
     "round, 19.000 mm"),
])
def test_shape_and_size(change, shown):
    assert beside(made(**change)[1], "Shape and size") == shown


@pytest.mark.parametrize(("change", "words"), [
    ({}, ""),
    ({"supplied_length": 300, "kerf": 0.1}, "sawn from bars of 300.000 in, 2 from each"),
    ({"longest_random_bar": 150}, "the shortest of random lengths; the longest is 150.000 in"),
])
def test_where_the_loaded_length_comes_from(change, words):
    _, sheet = made(**change)
    assert beside(sheet, "Length loaded") == 144
    assert beside(sheet, "Length loaded", "E") == words


@pytest.mark.parametrize("material", ["12L14", "Beryllium copper C17200", "Titanium Grade 5", "Magnesium AZ31B", "PTFE"])
def test_the_materials_own_caution_stands_there_in_full(material):
    row = materials.builtin()[material]
    assert row.caution
    _, sheet = made(material=material)
    assert f"{row.name}: {row.caution}" in printed(sheet)


def test_a_material_that_is_not_known_is_said_to_be_so():
    for material, shown in (("7.85 g/cm3", "7.85 g/cm3"), (0.2836, "not said: only a density is given")):
        _, sheet = made(material=material)
        assert beside(sheet, "Material") == shown
        assert [v for v in printed(sheet) if str(v).startswith(f"{LOOK}  Not in the materials table")]
    assert "No caution in the materials table. Ask for the safety data sheet." in printed(made()[1])


def figures(sheet: Cells) -> dict[str, Any]:
    """The figures of the sheet by the name of the answer that they must equal."""
    together = row_of(sheet, "Together")
    return {
        "first_stickout": sheet[f"C{together}"], "bar_per_part": sheet[f"D{together}"],
        "min_remnant": sheet[f"E{together}"], "parts_to_make": beside(sheet, "Parts to make"), "bars": beside(sheet, "That is"),
        "last_bar_remnant": beside(sheet, "Left of the last bar"), "unattended_hours": beside(sheet, "Its bars last at most"),
    }


def pieces(sheet: Cells, column: str) -> float:
    rows = range(row_of(sheet, "Grip length"), row_of(sheet, "Together"))
    return sum(sheet[f"{column}{row}"] or 0 for row in rows)


@cache
def good_jobs(count: int = 60) -> tuple[Filled, ...]:
    """Plans of generated jobs that no check stops."""
    rng, found = random.Random(21), []
    while len(found) < count:
        try:
            plan = filler("job_plan").fill(read_inputs(good_job(rng)))
        except bf.InputError:
            continue
        if not plan.answers["stopped"]:
            found.append(plan)
    return tuple(found)


@pytest.mark.slow
def test_every_figure_is_the_plans_and_the_pieces_add_up():
    compared = 0
    for plan in good_jobs():
        sheet, a, i = sheet_of(plan.data), plan.answers, plan.inputs
        for name, shown in figures(sheet).items():
            known = isinstance(a[name], float)
            assert shown == (pytest.approx(a[name], rel=1e-12) if known else "-"), name
            compared += known
        for column, name in (("C", "first_stickout"), ("D", "bar_per_part"), ("E", "min_remnant")):
            assert pieces(sheet, column) == pytest.approx(a[name], rel=1e-12)
        assert beside(sheet, "Length loaded") == i["bar_length"]
        assert beside(sheet, "Parts to make", "E").startswith(f"fills the order of {i['quantity']:,.0f} with ")
        assert beside(sheet, "Run limit") == (f"Stop the run after {a['parts_to_make']:,.0f} parts: without a limit it goes on until the "
                                              "bars run out.")
    assert compared > 6 * len(good_jobs())


def test_how_many_in_words():
    plan, sheet = made(confidence=0.999)
    a = plan.answers
    assert beside(sheet, "Parts to make", "E") == "fills the order of 500 with 99.9% confidence"
    assert beside(sheet, "That is", "E") == f"{a['parts_per_bar']:.0f} parts from each bar, {a['last_bar_parts']:.0f} from the last"
    assert beside(sheet, "Planned with") == f"scrap 2%, set-up pieces 5; on average {a['parts_on_average']:.0f} parts would fill the order"
    plan, sheet = made(quantity=10)
    assert beside(sheet, "That is", "E") == f"{plan.answers['last_bar_parts']:.0f} parts from it"


def test_the_rest_of_the_last_bar_goes_where_the_plan_says():
    assert not beside(made()[1], "Left of the last bar", "E")
    plan, sheet = made(last_bar_rest="back on the rack")
    assert plan.answers["rest_length"] > 0
    assert beside(sheet, "Left of the last bar", "E") == "back on the rack, marked with its heat"


SHOP = Shop("in", Rates(), (Machine("Lathe 1", top_speed=5000.0, machine_type="guide bush"), Machine("Lathe 2")), (), speeds_feeds.builtin())


@pytest.mark.slow
@pytest.mark.parametrize(("machine", "speed", "shown", "words"), [
    ("Lathe 1", 2500, 2500, "for this bar; the lowest limit of bar, workholding and feeder holds"),
    ("Lathe 1", None, 5000, f"{LOOK}  the machine's limit; none is set for this bar: ask before you start"),
    ("Lathe 2", None, "-", f"{LOOK}  not set: ask before you start"),
    (None, None, "-", f"{LOOK}  not set: ask before you start"),
])
def test_the_highest_speed_says_whose_limit_it_is(machine, speed, shown, words):
    plan = fill("job_plan", JOB | {"machine": machine, "top_speed": speed, "machine_type": None}, shop=SHOP)
    sheet = sheet_of(plan.data)
    assert (beside(sheet, "Highest spindle speed"), beside(sheet, "Highest spindle speed", "E")) == (shown, words)
    assert (beside(sheet, "Machine", "H"), beside(sheet, "Machine type", "H")) == (machine or "", "guide bush" if machine == "Lathe 1" else "")


@pytest.mark.parametrize(("change", "stop", "lasts"), [
    ({"feeder_bars": None}, "Not known: bars in the feeder are not filled in.", "not known: cycle time or bars in the feeder are not filled in"),
    ({}, "At most 260 parts, 2.9 h: bars used up", "then the lathe stands; 3 loads for the order; 40.0 s a part"),
    ({"longest_random_bar": 150}, "At most 260 parts, 2.9 h: bars used up",
     "then the lathe stands; 3 loads for the order; longer with longer bars; 40.0 s a part"),
    ({"feeder_bars": 60}, "At most 521 parts, 5.8 h: order done", "then the order is done; 40.0 s a part"),
    ({"cycle_time": None}, "At most 260 parts: bars used up", "not known: cycle time or bars in the feeder are not filled in"),
])
def test_what_stops_the_run_first(change, stop, lasts):
    _, sheet = made(**change)
    assert (beside(sheet, "What stops it first"), beside(sheet, "Its bars last at most", "E")) == (stop, lasts)
    assert beside(sheet, "Not counted there") == "tool edges, parts bin, chip bin: not filled in; and stops that nobody planned"
    assert beside(sheet, "Edges to change") == "not known: no tools are filled in"


def test_tools_and_bins_stop_the_run_before_the_feeder_is_empty():
    tools = [{"what": "OD turn", "parts_per_edge": 400, "parts_on_edge": 210}, {"parts_per_edge": 90}]
    plan, sheet = made(tools=tools, parts_bin=300, chip_bin_count=1000, mean_time_between_stops=8)
    # 90 parts are one bar of 65 and 25 of the next, without a bar change time: 3,600 s
    assert plan.answers["first_stop_hours"] == pytest.approx(1)
    assert beside(sheet, "What stops it first") == "At most 90 parts, 1 h: edge of tool 2: set a counter, the lathe does not stop by itself"
    assert beside(sheet, "Not counted there") == ("stops that nobody planned: a broken tool, a jam, a bar that does not feed; chance to get "
                                                  "there without one 88%")
    assert beside(sheet, "Edges to change") == "after so many parts: OD turn: 190; tool 2: 90"
    assert "Before you leave it" in cautions(sheet)


# --- STOP ------------------------------------------------------------------------------------------------------------

STOPPED = [{"feeder_longest_bar": 100.0}, {"bars_on_hand": 1.0}, {"part_weight": 5.0}, {"shape": "tube"}, {"size": None}, {"quantity": 2.5},
           {"bar_length": 4.0}, {"material": "unobtainium"}, {"cycle_time": -1.0}]


@pytest.mark.parametrize("change", STOPPED, ids=lambda c: next(iter(c)))
def test_while_the_plan_says_stop_the_sheet_has_no_figure(change):
    sheet = typed(**change)
    assert sheet["B2"].startswith(STOP)
    assert sheet["B2"].endswith(DO_NOT)
    without_figures(sheet)


def without_figures(sheet: Cells) -> None:
    """What is no label: no numbers, and none in a text; the headings are numbered, and the material's name may have figures."""
    shown = printed(sheet)
    assert not [v for v in shown if not isinstance(v, str)]
    beyond = [v for v in shown if any(c.isdigit() for c in v) and v[1:3] != "  "]
    material = [v for v in beyond if v.startswith(("Steel 1215", "unobtainium"))]
    assert beyond == material
    assert checks(sheet) == [DO_NOT]
    assert cautions(sheet) == {}
    # Nor in the lines that stand beside the page.
    assert not [value for ref, value in sheet.items() if ref[0] > "I" and not isinstance(value, str) and value]


def test_a_plan_without_stop_has_figures():
    sheet = typed()
    assert DO_NOT not in " ".join(map(str, printed(sheet)))
    assert len([v for v in printed(sheet) if not isinstance(v, str)]) > 15
    with pytest.raises(AssertionError):
        without_figures(sheet)


def test_the_empty_template_has_no_figure():
    book = Workbook(job_plan.TEMPLATE.build(), direct=True)
    book.calculate()
    without_figures(sheet_of(book.to_bytes()))


# --- which lines apply -----------------------------------------------------------------------------------------------

ALWAYS = {"Bar out of the rear", "Turning end of the bar", "Sharp ends"}
QUIET = {"size": 0.75, "bar_length": 36, "quantity": 5, "setup_parts": 0, "cycle_time": 20}
"""One light bar that is done in minutes."""


@pytest.mark.parametrize(("change", "topic"), [
    ({}, None),
    ({"quantity": 30}, "The feeder moves"),
    ({"cycle_time": 200}, "Running alone"),
    ({"cycle_time": None, "quantity": 30}, "Running alone"),
    ({"feeder_bars": None, "quantity": 30}, "Running alone"),
    ({"shape": "hexagon"}, "Hexagon bar"), ({"shape": "square"}, "Square bar"), ({"shape": "octagon"}, "Octagon bar"),
    ({"shape": "flat", "size": 1, "thickness": 0.9}, "Flat bar"), ({"shape": "hexagon tube", "size": 1, "thickness": 0.2}, "Hexagon tube bar"),
    ({"size": 3, "bar_length": 48}, "Weight of the load"),
    ({"size": 3, "bar_length": 24, "longest_random_bar": 60}, "Weight of the load"),
    ({"part_length": 3}, "Long stick-out"), ({"part_length": 1.656}, "Long stick-out"),
    ({"shape": "flat", "size": 1, "thickness": 0.5}, "Long stick-out"),
    ({"part_length": 3, "machine_type": None}, "Long stick-out"),
    ({"part_length": 3, "machine_type": "fixed head + second spindle"}, "Long stick-out"),
    ({"material": "Titanium Grade 5"}, "Chips that burn"), ({"material": "Magnesium AZ31B"}, "Chips that burn"),
    ({"material": "12L14"}, "Lead"), ({"material": "CW614N"}, "Lead"),
])
def test_a_caution_stands_there_where_it_applies(change, topic):
    found = cautions(made(**QUIET | {"part_length": 1} | change)[1])
    assert set(found) >= ALWAYS
    if topic is None:
        assert set(found) == ALWAYS
    else:
        assert topic in found


@pytest.mark.parametrize(("change", "topic"), [
    ({"shape": "tube", "thickness": 0.1}, "Hexagon bar"),
    ({"part_length": 1.655}, "Long stick-out"),
    ({"part_length": 3, "machine_type": "guide bush"}, "Long stick-out"),
    ({"part_length": 3, "machine_type": "guide bush + second spindle"}, "Long stick-out"),
    ({"material": "Stainless 303"}, "Lead"), ({"material": "CW510L"}, "Lead"), ({"material": "Beryllium copper C17200"}, "Lead"), ({"material": "PTFE"}, "Chips that burn"),
])
def test_a_caution_that_does_not_apply_is_not_there(change, topic):
    assert topic not in cautions(made(**QUIET | {"part_length": 1} | change)[1])


def expected_topics(plan: Filled) -> set[str]:
    """Which cautions apply, worked out apart from the sheet."""
    i, a = with_part(plan.inputs), plan.answers
    found = set(ALWAYS)
    if a["bars"] > 1:
        found.add("The feeder moves")
    hours = a["unattended_hours"]
    if (hours >= 0.25) if isinstance(hours, float) else a["bars"] > 1:
        found |= {"Running alone", "Before you leave it"}
    if i["shape"] not in ("round", "tube"):
        found.add(f"{i['shape'].capitalize()} bar")
    bars = a["bars"] if i["feeder_bars"] is None else min(a["bars"], i["feeder_bars"])
    longer = (i["longest_random_bar"] or i["bar_length"]) / i["bar_length"]
    if bars * a["bar_weight"] * longer > (23 if i["units"] == "mm" else 51):
        found.add("Weight of the load")
    width = min(i["size"], i["thickness"]) if i["shape"] == "flat" else i["size"]
    if a["first_stickout"] > 3 * width and not str(i["machine_type"]).startswith("guide bush"):
        found.add("Long stick-out")
    if i["material"] in materials.builtin():
        row = materials.builtin()[i["material"]]
        if row.group in ("titanium", "magnesium"):
            found.add("Chips that burn")
        if row.leaded:
            found.add("Lead")
    return found


@pytest.mark.slow
def test_each_caution_stands_there_exactly_where_it_applies():
    seen: dict[str, int] = {}
    for plan in good_jobs():
        sheet = sheet_of(plan.data)
        found = set(cautions(sheet))
        assert found == expected_topics(plan), plan.inputs
        for topic in found:
            seen[topic] = seen.get(topic, 0) + 1
    assert all(0 < seen.get(topic, 0) < len(good_jobs()) for topic in (
        "The feeder moves", "Running alone", "Weight of the load", "Long stick-out", "Chips that burn", "Lead"))


def test_the_weight_names_one_bar_and_the_load_and_who_may_lift_it():
    light, heavy = cautions(made()[1])["Weight of the load"], cautions(made(size=2)[1])["Weight of the load"]
    assert light.startswith("One bar weighs 32.2 lb, the load 128.6 lb: carry it bar by bar")
    assert "one bar is over 51 lb" in heavy
    assert "NIOSH" not in light
    random_lengths = cautions(made(longest_random_bar=150)[1])["Weight of the load"]
    assert random_lengths.startswith("One bar weighs at least 32.2 lb")


def test_the_stick_out_is_given_no_limit():
    text = cautions(made(part_length=5)[1])["Long stick-out"]
    assert text.startswith("The bar stands out 5.6 times its width")
    assert "We know of no public rule that gives a safe number" in text


@pytest.mark.parametrize(("change", "there"), [
    ({"machine_type": None}, set()),
    ({"machine_type": "fixed head"}, set()),
    ({"machine_type": "fixed head + second spindle"}, {"Second spindle"}),
    ({"machine_type": "guide bush"}, {"Guide bush"}),
    ({"machine_type": "guide bush + second spindle"}, {"Guide bush", "Second spindle"}),
    ({"shape": "square"}, {"Guide and workholding"}),
    ({"shape": "tube", "thickness": 0.2}, set()),
    ({"longest_push": 100}, set()),
    ({"longest_push": 1.5}, {"Bar feed programmed in"}),
])
def test_the_check_list_has_what_applies(change, there):
    found = checks(made(**change)[1])
    optional = ("Guide bush", "Guide and workholding", "Second spindle", "Bar feed programmed in")
    assert {word for word in optional if any(line.startswith(word) for line in found)} == there
    assert len(found) == len(CHECKLIST) - len(optional) + len(there)


@pytest.mark.slow
def test_lines_fit_their_cells():
    """Two lines of a caution hold some 210 characters in the widest of the usual fonts."""
    rows = [sheet_of(plan.data) for plan in good_jobs(60)]
    assert max(len(text) for sheet in rows for text in cautions(sheet).values()) <= 215
    assert max(len(line) for sheet in rows for line in checks(sheet)) <= 56


# --- other programs --------------------------------------------------------------------------------------------------

PROGRAM_JOBS = (
    {}, {"shape": "hexagon", "material": "CW614N", "machine_type": "guide bush + second spindle"},
    {"material": "Titanium Grade 5", "part_length": 5, "machine_type": None, "top_speed": None},
    {"longest_random_bar": 150, "size": 2.3, "feeder_bars": None}, {"feeder_longest_bar": 100},
    {"units": "mm", "shape": "flat", "size": 30, "thickness": 7.3, "part_length": 20, "bar_length": 3000, "grip_length": 60,
     "feeder_longest_bar": None},
)


@pytest.mark.slow
@pytest.mark.libreoffice
def test_libreoffice_shows_the_same_sheet(tmp_path):
    files = []
    for n, change in enumerate(PROGRAM_JOBS):
        files.append(tmp_path / f"plan{n}.xlsx")
        files[-1].write_bytes(without_values(fill("job_plan", JOB | change).data))
    compared = 0
    for change, path in zip(PROGRAM_JOBS, convert(files, tmp_path / "out"), strict=True):
        ours, theirs = sheet_of(fill("job_plan", JOB | change).data), sheet_of(path)
        for ref in ours.keys() | theirs.keys():
            want, shown = ours[ref], theirs[ref]
            assert shown == (pytest.approx(want, rel=1e-9) if isinstance(want, float) else want), (change, ref)
            compared += 1
    assert compared > 100 * len(PROGRAM_JOBS)
