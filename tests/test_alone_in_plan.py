"""What stops the lathe first, in the job plan: by hand, with what is not known, with bad rows of tools, and what the check says."""

import io

import openpyxl
import pytest
from job_generator import GOOD_INPUTS
from test_job_plan import check_sentences

import barfuncs as bf
from barfuncs.filling.filler import fill
from barfuncs.templates.job_plan import FORM, TEMPLATE
from barfuncs.templates.model import LOOK, NOTE, OK, STOP
from barfuncs.xlsx.engine import Workbook
from barfuncs.xlsx.sheetxml import CellError

# 4 bars of 144 in: (144 - 2.2) / 2.1 is 67 parts each, 268 on a full feeder; 100 parts ordered, 1,200 here.
JOB = {"units": "in", "material": "Steel 1215", "size": 1, "part_length": 2, "cutoff_width": 0.1, "face_to_cutoff": 0.2, "grip_length": 2,
       "bar_length": 144, "quantity": 1200, "feeder_bars": 4, "cycle_time": 40, "bar_change_time": 30, "part_weight": 0.2}
TOOLS = [{"what": "OD turn", "parts_per_edge": 400, "parts_on_edge": 210}, {"what": "drill", "parts_per_edge": 300}]


def answers(**change):
    return fill("job_plan", JOB | change).answers


def sentence(book, topic):
    return next(s for s in check_sentences(book) if s.startswith(f"{topic}: "))


def test_by_hand():
    a = answers(tools=TOOLS, parts_bin=260, chip_bin_count=5000, mean_time_between_stops=10)
    assert a["parts_per_bar"] == 67
    assert [a[name] for name in ("until_order", "until_bars", "until_edge", "until_parts_bin", "until_chip_bin")] == [1200, 268, 190, 260, 5000]
    assert (a["first_stop_parts"], a["first_stop"]) == (190, "edge of OD turn")
    # 190 parts are 2 bars of 67 and 56 of a third: 190 * 40 s + 2 * 30 s = 7,660 s
    assert a["first_stop_hours"] == pytest.approx(7660 / 3600)
    assert a["chance_alone"] == pytest.approx(bf.chance_to_run(7660 / 3600, 10))
    assert a["hours_alone"] == pytest.approx(bf.expected_hours(7660 / 3600, 10))
    assert a["edges_to_change"] == "OD turn: 190; drill: 300"
    assert a["stops_not_known"] == ""


@pytest.mark.parametrize(("change", "parts", "what"), [
    ({}, "-", "-"),  # bars for 1,200 parts are 18; the order is done with them
    ({"feeder_bars": 4}, 536, "bars used up"),  # 268 on a full feeder, and as many again
    ({"feeder_bars": 4, "tools": [{"what": "drill", "parts_per_edge": 300}]}, 300, "edge of drill"),
    ({"feeder_bars": 4, "tools": [{"parts_per_edge": 100, "parts_on_edge": 40}]}, 160, "edge of tool 1"),  # 60, and a new edge
    ({"feeder_bars": 4, "tools": [{"parts_per_edge": 100, "parts_on_edge": 40}], "parts_bin": 90}, 90, "parts bin full"),
    ({"feeder_bars": 4, "tools": [{"parts_per_edge": 100, "parts_on_edge": 100}]}, 100, "edge of tool 1"),  # used up: changed first
    ({"feeder_bars": 4, "parts_bin": 134}, 268, "bars used up, parts bin full"),
    ({"feeder_bars": 4, "quantity": 300}, 300, "order done"),
])
def test_what_comes_second(change, parts, what):
    a = answers(**{"feeder_bars": 60, "quantity": 1200} | change)
    assert (a["second_stop_parts"], a["second_stop"]) == (parts, what)
    if parts != "-":
        assert a["second_stop_hours"] == pytest.approx((parts * 40 + (-(-parts // 67) - 1) * 30) / 3600)


def test_what_the_sheet_says_of_it():
    data = fill("job_plan", JOB | {"tools": TOOLS, "parts_bin": 260, "mean_time_between_stops": 10}).data
    said = {str(cell.value) for row in openpyxl.load_workbook(io.BytesIO(data), data_only=True)["Running alone"].iter_rows() for cell in row}
    assert "With that put right, then at most 260 parts in all, 2.9 h of running: parts bin full." in said
    assert "Chance to get to the first stop without an unplanned one before it: about 81 %, if such stops come at random, 10 h apart on average " \
           "(exponential distribution)." in said
    sheet = openpyxl.load_workbook(io.BytesIO(data), data_only=True)["Set-up"]
    row = next(r for r in range(1, 60) if sheet.cell(r, 2).value == "What stops it next")
    assert sheet.cell(row, 3).value == "With that put right, then at most 260 parts in all, 2.9 h of running: parts bin full"


def test_chips_by_hand():
    a = answers(chip_bin=55, bulk_factor=9, end_trim=0.5)
    # Steel 1215 at 7.87 g/cm3 is 0.2843 lb/in3. A bar gives 67 parts still: 144 - 2.2 - 0.5 = 141.3 in of 2.1 in each. Per part
    # it loses pi/4 * (2.1 + 0.5 / 67) in3 less the part's 0.2 lb / density.
    density = bf.material_density("Steel 1215")
    chips = 0.7853981633974483 * (2.1 + 0.5 / 67) - 0.2 / density
    assert a["chip_volume"] == pytest.approx(chips, rel=1e-9)
    assert a["until_chip_bin"] == int(55 * 231 / (chips * 9))
    assert a["until_chip_bin"] == bf.chip_bin_parts(55, chips, 9)


def test_a_part_as_heavy_as_its_bar_fills_no_chip_bin():
    weight = bf.weight_per_length("Steel 1215", "round", 1) / 12 * 2
    a = answers(cutoff_width=0, part_weight=weight, chip_bin=55, bulk_factor=9)
    assert a["until_chip_bin"] == "-"


def test_without_any_of_it_the_hours_are_those_of_a_full_feeder():
    for change in ({}, {"feeder_bars": 60}, {"quantity": 100}):
        a = answers(**change)
        assert a["first_stop_hours"] == pytest.approx(a["unattended_hours"], rel=1e-15)
    assert answers()["first_stop"] == "bars used up"
    assert answers(feeder_bars=60)["first_stop"] == "order done"
    assert answers(quantity=268, scrap_rate=0.02)["first_stop"] == "bars used up"  # 268 good parts need a few more
    assert answers(quantity=268)["first_stop"] == "order done, bars used up"


@pytest.mark.parametrize(("change", "missing"), [
    ({}, "tool edges, parts bin, chip bin"),
    ({"tools": TOOLS}, "parts bin, chip bin"),
    ({"parts_bin": 100}, "tool edges, chip bin"),
    ({"tools": TOOLS, "parts_bin": 100, "chip_bin": 55}, "chip bin (give the bulk factor)"),
    ({"tools": TOOLS, "parts_bin": 100, "chip_bin": 55, "bulk_factor": 9, "part_weight": None}, "chip bin (give the weight of a part)"),
    ({"tools": TOOLS, "parts_bin": 100, "chip_bin": 55, "part_weight": None}, "chip bin (give bulk factor and weight of a part)"),
    ({"tools": TOOLS, "parts_bin": 100, "chip_bin": 55, "part_weight": None, "sections": "round 3/4 x 2"}, "chip bin (give the bulk factor)"),
    ({"tools": TOOLS, "parts_bin": 100, "chip_bin": 55, "bulk_factor": 9, "part_weight": None, "sections": "round 3/4 x 2"}, ""),
    ({"tools": TOOLS, "parts_bin": 100, "chip_bin_count": 300}, ""),
    ({"tools": TOOLS, "parts_bin": 100, "chip_bin": 55, "bulk_factor": 9}, ""),
])
def test_what_is_not_known_is_named(change, missing):
    assert answers(**change)["stops_not_known"] == missing


def test_the_feeder_alone_leaves_it_open():
    a = answers(feeder_bars=None, tools=TOOLS)
    assert all(isinstance(a[name], CellError) for name in ("first_stop_parts", "first_stop_hours", "first_stop", "until_bars"))
    assert a["until_edge"] == 190
    assert a["status"].startswith(OK)


@pytest.mark.parametrize(("change", "status", "words"), [
    ({"parts_bin": None}, OK, "Alone at most 102 parts, 1.1 h: order done. Not known and not counted: parts bin."),
    ({}, OK, "Alone at most 102 parts, 1.1 h: order done. Compared: order, bars, tool edges, parts bin, chip bin."),
    ({"cycle_time": None}, OK, "Alone at most 102 parts: order done. Compared: "),
    ({"parts_bin": 20.0}, OK, "Alone at most 20 parts, 0.2 h: parts bin full. Compared: "),
    ({"tool_parts_on_edge[2]": 300.0}, LOOK, "The edge of tool 2 is used up: change it before the run."),
    ({"tool_parts_on_edge[2]": 301.0, "tool_what[2]": "Drill 8.5"}, LOOK, "The edge of Drill 8.5 is used up: change it before the run."),
    ({"feeder_bars": None}, OK, "Not known: bars the feeder holds are not filled in."),
])
def test_what_the_check_says(change, status, words):
    cells = {FORM.cells[name]: value for name, value in GOOD_INPUTS["job_plan"].items()}
    named = {FORM.cells.get(name, name): value for name, value in change.items()}
    book = _typed(cells | named)
    assert str(book.value("plan_status")).startswith(status)
    assert words in sentence(book, "First stop")


def _typed(cells):
    book = Workbook(TEMPLATE.build(), direct=True)
    for cell, value in cells.items():
        book.set(cell, value)
    book.calculate()
    return book


def test_the_unknown_is_never_a_tick():
    note = check_words(_typed({FORM.cells[n]: v for n, v in GOOD_INPUTS["job_plan"].items() if not n.startswith("tool_")}))
    assert note["First stop"] == NOTE
    good = check_words(_typed({FORM.cells[n]: v for n, v in GOOD_INPUTS["job_plan"].items()}))
    assert good["First stop"] == OK
    empty = check_words(_typed({}))
    assert empty["First stop"] in (NOTE, "\u00b7 \u00b7 \u00b7")


def check_words(book):
    sheet = openpyxl.load_workbook(io.BytesIO(book.to_bytes()), data_only=True)["Notes"]
    return {str(sheet.cell(r, 3).value).partition(":")[0]: sheet.cell(r, 2).value for r in range(1, sheet.max_row + 1)}


@pytest.mark.parametrize("column", ["parts_per_edge", "parts_on_edge"])
@pytest.mark.parametrize("value", [-1.0, 2.5, 1e12, "x", True])
def test_a_bad_row_of_tools_leaves_no_number(column, value):
    cells = {FORM.cells[name]: v for name, v in GOOD_INPUTS["job_plan"].items()}
    book = _typed(cells | {f"tool_{column}[4]": value, **({} if column == "parts_per_edge" else {"tool_parts_per_edge[4]": 100.0})})
    assert str(book.value("plan_status")).startswith(f"{STOP}  Fill in or correct: tools")
    assert str(book.value("tool_marks[4]")) == f"\u2715 {'parts per edge' if column == 'parts_per_edge' else 'made on it already'} is not allowed here"
    for name in ("until_edge", "first_stop_parts", "first_stop_hours", "first_stop", "chance_alone", "hours_alone"):
        assert isinstance(book.value(f"plan_{name}"), CellError), name


def test_a_row_with_parts_made_alone_lacks_the_parts_per_edge():
    book = _typed({FORM.cells[name]: v for name, v in GOOD_INPUTS["job_plan"].items()} | {"tool_parts_on_edge[4]": 10.0})
    assert str(book.value("tool_marks[4]")) == "\u2715 parts per edge is missing"
    with pytest.raises(bf.InputError, match="tool_4_parts_per_edge: is missing"):
        fill("job_plan", JOB | {"tool_4_parts_on_edge": 10})


def test_a_text_alone_makes_no_row():
    a = answers(tool_1_what="drill")
    assert a["until_edge"] == "-"
    assert a["edges_to_change"] == ""


def test_liters_and_gallons():
    inch = answers(chip_bin="200 l", bulk_factor=9)
    assert inch["until_chip_bin"] == bf.chip_bin_parts("200 l", inch["chip_volume"], 9, units="in")
    metric = {"units": "mm", "size": 25.4, "part_length": 50.8, "cutoff_width": 2.54, "face_to_cutoff": 5.08, "grip_length": 50.8,
              "bar_length": 3657.6, "part_weight": 0.2 * 0.45359237}
    a = answers(**metric, chip_bin=200, bulk_factor=9)
    assert a["chip_volume"] == pytest.approx(inch["chip_volume"] * 25.4**3)
    assert a["until_chip_bin"] == inch["until_chip_bin"]
