"""The operation list of a quote: suggestions, marks beside a row, limits of the lathe, and what the list leaves out."""

import functools
import itertools
import re

import pytest
from judges import JUDGES, MARKED, Content, Values, content, without_values
from reference_speeds import suggested, values

import barfuncs as bf
from barfuncs.filling.filler import fill
from barfuncs.functions.machining import THREAD_PASSES
from barfuncs.tables import speeds_feeds
from barfuncs.templates import quote, speeds_sheet
from barfuncs.templates.model import LOOK, NOTE, OK
from barfuncs.templates.quote.operations import OPERATIONS
from barfuncs.xlsx.engine import Workbook
from barfuncs.xlsx.sheetxml import CellError

JOB = {"units": "in", "material": "303", "shape": "round", "size": 1, "bar_length": 144, "part_length": 2, "cutoff_width": 0.125,
       "face_to_cutoff": 0.2, "grip_length": 2, "machine_rate": 80, "material_price": 3, "price_per": "lb", "margin": 0.3, "quantity_1": 100,
       "setup_hours": 1, "top_speed": 5000}
TURN = {"operation": "turning", "start_diameter": 1, "length": 1.5, "surface_speed": 300, "feed_rate": 0.006}
FACE = {"operation": "facing", "start_diameter": 1, "end_diameter": 0, "surface_speed": 200, "feed_rate": 0.004}
DRILL = {"operation": "drilling", "start_diameter": 0.25, "length": 1, "surface_speed": 180, "feed_rate": 0.003}
THREAD = {"operation": "threading", "start_diameter": 0.5, "length": 0.8, "surface_speed": 150, "feed_rate": 1 / 13, "passes": 12}
TAPER = TURN | {"operation": "taper turning", "end_diameter": 0.5}
TAP = {"operation": "tapping", "start_diameter": 0.25, "length": 0.6, "surface_speed": 40, "feed_rate": 0.05}
HEXAGON = {"shape": "hexagon", "size": 0.75}
SPEED_COLUMNS = ("group", "operation", "tool", "surface_speed", "feed_rate", "drill_feed")


def row(cut: dict, n: int = 1) -> dict:
    """A row of the operation list as inputs."""
    return {f"op_{n}_{name}": value for name, value in cut.items()}


@pytest.fixture(scope="module")
def book():
    return Workbook(quote.TEMPLATE.build(), direct=True)


def put(book: Workbook, inputs: dict, own: tuple = ()) -> Workbook:
    """The template with these inputs and these rows of the shop's own on the sheet Speeds; nothing of before."""
    for name, item in quote.TEMPLATE.inputs.items():
        value = inputs.get(name, None if item.from_shop else item.default)
        book.set(quote.TEMPLATE.form.cells[name], float(value) if isinstance(value, int) else value)
    for line in range(15):
        values = own[line] if line < len(own) else ()
        for n, column in enumerate("BCDEFG"):
            book.set(f"{speeds_sheet.TITLE}!{column}{6 + line}", values[n] if n < len(values) else None)
    book.calculate()
    return book


def marks(book: Workbook) -> list[str]:
    return [str(book.value(f"op_marks[{n}]") or "") for n in range(1, OPERATIONS.rows + 1)]


# --- suggestions ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("units", ["in", "mm"])
@pytest.mark.parametrize("tool", speeds_feeds.TOOLS)
def test_the_sheet_suggests_what_python_suggests(book, units, tool):
    size = 25.4 if units == "mm" else 1
    for material in ("303", "Brass C36000", "Titanium grade 5"):
        cuts = [(operation, diameter * size) for operation in speeds_feeds.CUTS for diameter in (1 / 16, 0.5, 1.25)]
        for some in (cuts[:12], cuts[12:]):
            rows: dict = {}
            for n, (operation, diameter) in enumerate(some, start=1):
                rows |= row({"operation": operation, "start_diameter": diameter}, n)
            put(book, JOB | {"units": units, "material": material, "tool": tool} | rows)
            for n, (operation, diameter) in enumerate(some, start=1):
                speed, feed = values(suggested(material, operation, tool), units, diameter)
                # Half of the last digit, and a hair where a half goes the other way.
                assert book.value(f"quote_op_usual_speed[{n}]") == pytest.approx(speed, rel=0, abs=0.5000001)
                if feed is None:
                    assert book.value(f"quote_op_usual_feed[{n}]") == ""
                else:
                    assert book.value(f"quote_op_usual_feed[{n}]") == pytest.approx(feed, rel=0, abs=0.50001 * (1e-3 if units == "mm" else 1e-4))


def test_a_drill_is_fed_by_its_diameter(book):
    drills = (1 / 16, 1 / 8, 1 / 4, 1 / 2, 1, 2)
    rows: dict = {}
    for n, diameter in enumerate(drills, start=1):
        rows |= row({"operation": "drilling", "start_diameter": diameter}, n)
    put(book, JOB | rows | row({"operation": "drilling"}, 7))
    feeds = [book.value(f"quote_op_usual_feed[{n}]") for n in range(1, 8)]
    assert feeds == [0.0007, 0.0014, 0.0028, 0.0055, 0.011, 0.011, ""]  # 1.1 % of the diameter, from 1 in up no more


OWN = ("stainless steel", "turning", "carbide", 500.0, 0.009, None)


def test_a_row_of_the_shops_own_comes_before_the_table(book):
    put(book, JOB | row(TURN))
    assert (book.value("quote_op_usual_speed[1]"), book.value("quote_op_usual_feed[1]")) == (320, 0.005)
    put(book, JOB | row(TURN), (OWN,))
    assert (book.value("quote_op_usual_speed[1]"), book.value("quote_op_usual_feed[1]")) == (500, 0.009)
    assert book.value("Speeds!J6") == "counts before the table"


def test_of_two_rows_of_the_shops_own_the_upper_one_counts(book):
    put(book, JOB | row(TURN), (OWN, ("brass", "turning", "carbide", 900.0, 0.01, None), (*OWN[:3], 111.0, 0.002, None), OWN))
    assert (book.value("quote_op_usual_speed[1]"), book.value("quote_op_usual_feed[1]")) == (500, 0.009)
    twice = "! stands twice among your rows: the upper one counts"
    assert [book.value(f"Speeds!J{line}") for line in (6, 7, 8, 9, 10)] == [twice, "counts before the table", twice, twice, ""]


def test_of_two_rows_of_the_table_the_upper_one_counts(book):
    put(book, JOB | row(TURN))
    first, last = 21, 20 + len(speeds_feeds.builtin().rows)
    for line, speed in ((first + 20, 222.0), (last, 333.0)):
        for column, value in zip("BCDEF", (*OWN[:3], speed, 0.001), strict=True):
            book.set(f"Speeds!{column}{line}", value)
    book.calculate()
    assert (book.value("quote_op_usual_speed[1]"), book.value("quote_op_usual_feed[1]")) == (222, 0.001)
    book.__init__(quote.TEMPLATE.build(), direct=True)  # the table as it was


@pytest.mark.parametrize(("own", "mark"), [
    (("stainless steel", "milling", "carbide", 500.0, 0.009), "\u2715 pick an operation and a tool"),
    (("stainless steel", "turning", "carbide", None, 0.009), "\u2715 group, speed or feed is missing"),
    (("stainless steel", "drilling", "carbide", 100.0, 0.009), "\u2715 group, speed or feed is missing"),
    (("stainless steel", "drilling", "carbide", 100.0, None, 0.02), "counts before the table"),
    (("stainless steel", "threading", "carbide", 100.0), "counts before the table"),
    (("stainless steel", "tapping", "high-speed steel", 15.0), "counts before the table"),
    (("stainless steel", "reaming", "carbide", 100.0, 0.009), "\u2715 group, speed or feed is missing"),
    (("stainless steel", "reaming", "carbide", 100.0, None, 0.02), "counts before the table"),
    (("stainles steel", "turning", "carbide", 500.0, 0.009), "! no material of the table is of this group"),
])
def test_a_row_of_the_shops_own_says_what_is_wrong_with_it(book, own, mark):
    put(book, JOB | row(TURN), (own,))
    assert book.value("Speeds!J6") == mark


@pytest.mark.slow
def test_a_shop_files_rows_stand_in_the_table_before_the_built_in_ones():
    own = speeds_feeds.SpeedFeed(*OWN[:5], "ours")
    shop = quote_shop(speeds_feeds.builtin().extended([own]))
    filled = Workbook(quote.TEMPLATE.build(shop), direct=True)
    put(filled, JOB | row(TURN))
    assert (filled.value("quote_op_usual_speed[1]"), filled.value("quote_op_usual_feed[1]")) == (500, 0.009)


def quote_shop(speeds):
    from barfuncs.templates.shop import Machine, Rates, Shop

    return Shop("in", Rates(), (Machine("Lathe 1", top_speed=4000.0, max_feed=120.0),), (), speeds)


# --- what holds a cut back -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("units", ["in", "mm"])
def test_the_highest_feed_of_the_lathe_holds_a_thread_back(book, units):
    inch = 25.4 if units == "mm" else 1
    thread = {"operation": "threading", "start_diameter": 0.25 * inch, "length": 0.75 * inch, "feed_rate": 0.05 * inch, "passes": 7,
              "surface_speed": 480 * (0.3048 if units == "mm" else 1)}
    sheet = JOB | {"units": units, "material": "Brass C36000", "top_speed": None} | {
        name: JOB[name] * inch for name in ("size", "bar_length", "part_length", "cutoff_width", "face_to_cutoff", "grip_length")} | row(thread)
    free = put(book, sheet).value("quote_op_speed[1]")
    assert free == pytest.approx(7334, abs=0.5)
    assert marks(book)[0] == ("! thread at 9314 mm/min: can the lathe?" if units == "mm" else "! thread at 367 in/min: can the lathe?")
    put(book, sheet | {"max_feed": 100 * inch})
    assert book.value("quote_op_speed[1]") == pytest.approx(2000, rel=1e-12)
    assert marks(book)[0] == "i held at 2000 rpm by the max. feed"
    assert book.value("quote_op_time[1]") == pytest.approx(60 * 7 * 0.75 / 100, rel=1e-12)
    assert book.value("quote_op_time[1]") == pytest.approx(bf.operation_time(
        "threading", thread["start_diameter"], 0, thread["length"], thread["surface_speed"], thread["feed_rate"], 2000, 7, units=units), rel=1e-12)
    put(book, sheet | {"max_feed": 100 * inch, "top_speed": 1500})
    assert (book.value("quote_op_speed[1]"), marks(book)[0]) == (1500, "i held at 1500 rpm by the max. speed")
    put(book, sheet | {"max_feed": 400 * inch})
    assert (book.value("quote_op_speed[1]"), marks(book)[0]) == (free, "")


def test_facing_is_not_held_back_by_the_feed_and_needs_its_max_speed(book):
    put(book, JOB | {"max_feed": 40, "top_speed": None} | row(FACE))
    assert isinstance(book.value("quote_op_time[1]"), CellError)
    put(book, JOB | {"max_feed": 40} | row(FACE))
    assert book.value("quote_op_time[1]") == pytest.approx(bf.facing_time(1, 0, 200, 0.004, 5000), rel=1e-12)


@pytest.mark.slow
def test_a_machine_of_the_shop_brings_its_highest_feed():
    shop = quote_shop(speeds_feeds.builtin())
    job = {name: value for name, value in JOB.items() if name != "top_speed"} | {"machine": "Lathe 1"}
    thread = row({"operation": "threading", "start_diameter": 0.25, "length": 0.75, "surface_speed": 480, "feed_rate": 0.05, "passes": 7})
    assert fill("quote", job | thread, shop=shop).answers["op_1_speed"] == pytest.approx(120 / 0.05, rel=1e-12)
    lengths = ("size", "bar_length", "part_length", "cutoff_width", "face_to_cutoff", "grip_length")
    metric = job | {name: JOB[name] * 25.4 for name in lengths} | {"units": "mm"} | thread | {
        "op_1_start_diameter": 6.35, "op_1_length": 19.05, "op_1_feed_rate": 1.27, "op_1_surface_speed": 146.3}
    assert fill("quote", metric, shop=shop).answers["op_1_speed"] == pytest.approx(120 / 0.05, rel=1e-12)
    with pytest.raises(bf.InputError, match=r"max_feed: 5 given; allowed is a number 40 or more"):
        fill("quote", metric | {"max_feed": 5}, shop=shop)
    assert fill("quote", metric | {"max_feed": "5 m/min"}, shop=shop).answers["op_1_speed"] == pytest.approx(
        bf.spindle_speed(146.3, 6.35, 5000 / 1.27, "mm"))


# --- marks ---------------------------------------------------------------------------------------------------------

DRAWN_THREAD = {"section_1_shape": "thread", "section_1_size": 0.5, "section_1_end_size": 0.45, "section_1_length": 1}
MARKS = [
    (TURN, {}, ""), (FACE, {}, ""), (DRILL, {}, ""), (THREAD, {}, ""), ({"operation": "other", "extra_time": 4}, {}, ""), ({}, {}, ""),
    ({"length": 1}, {}, "\u2715 operation is missing"),
    (TURN | {"length": None}, {}, "\u2715 length is missing"),
    (TURN | {"start_diameter": 1.01}, {}, "! larger than the bar"),
    (DRILL | {"start_diameter": 1, "feed_rate": 0.01, "length": 0.5}, {}, "! hole as large as the bar"),
    (DRILL | {"start_diameter": 0.5, "feed_rate": 0.006}, {"shape": "flat", "size": 2, "thickness": 0.5}, "! hole as large as the bar"),
    (DRILL | {"start_diameter": 0.49, "feed_rate": 0.006}, {"shape": "flat", "size": 2, "thickness": 0.5}, ""),
    (DRILL | {"start_diameter": 0.75, "feed_rate": 0.008}, {"shape": "tube", "thickness": 0.25}, ""),
    (TURN | {"length": 50}, {}, "! longer than the part"),
    (TURN | {"top_speed": 6000}, {}, "! above the max. speed"),
    (TURN | {"top_speed": 6000}, {"top_speed": None}, ""),
    # A figure of the other system, and one that is only slow or fine.
    (TURN | {"feed_rate": 0.15}, {}, "! feed 30 x the suggestion: right unit?"),
    (TURN | {"feed_rate": 0.0002}, {}, "! feed a 25th of the suggestion: right unit?"),
    (TURN | {"feed_rate": 0.001}, {}, ""),
    (DRILL | {"start_diameter": 1 / 16, "feed_rate": 0.004, "length": 0.5}, {}, "! feed 6 x the suggestion: right unit?"),
    (TURN | {"surface_speed": 1000}, {}, "! speed 3.1 x the suggestion: right unit?"),
    (TURN | {"surface_speed": 900}, {}, ""),
    (TURN | {"surface_speed": 60}, {}, ""),  # high-speed steel
    (TURN | {"surface_speed": 1000, "feed_rate": 0.15}, {"material": "7.85 g/cm3"}, ""),  # nothing to compare with
    (THREAD | {"feed_rate": 0.2, "length": 1}, {}, "! pitch in the right unit?"),
    (THREAD | {"feed_rate": 0.002, "length": 1}, {}, "! pitch in the right unit?"),
    (THREAD | {"feed_rate": 0.125, "length": 1, "passes": 16}, {}, ""),  # 1/2 - 8
    # Threads in too few passes.
    (THREAD | {"passes": None}, {}, "! passes: single point usually 12 at this pitch"),
    (THREAD | {"passes": 1}, {}, "! passes: single point usually 12 at this pitch"),
    (THREAD | {"passes": 5}, {}, "! passes: single point usually 12 at this pitch"),
    (THREAD | {"passes": 6}, {}, ""),
    (THREAD | {"passes": 1, "note": "Tap 1/2-13"}, {}, ""),
    (THREAD | {"passes": 1, "note": "die head"}, {}, ""),
    (THREAD | {"passes": 1, "note": "thread rolling"}, {}, ""),
    (THREAD | {"passes": 1, "note": "Taper thread"}, {}, "! passes: single point usually 12 at this pitch"),
    # Speeds that the spindle or the slide may not have.
    (DRILL | {"start_diameter": 1 / 16, "surface_speed": 450, "feed_rate": 0.001, "length": 0.5}, {"top_speed": None},
     "! 27502 rpm: max. speed?"),
    (DRILL | {"start_diameter": 1 / 16, "surface_speed": 450, "feed_rate": 0.001, "length": 0.5}, {}, "i held at 5000 rpm by the max. speed"),
    (THREAD | {"surface_speed": 570}, {"top_speed": None}, "! thread at 335 in/min: can the lathe?"),
    (THREAD | {"surface_speed": 300}, {"top_speed": None}, ""),
    # Deep holes.
    (DRILL | {"start_diameter": 0.125, "feed_rate": 0.0015, "surface_speed": 100, "length": 1.3}, {}, "! 10 diameters deep: time for pecks?"),
    (DRILL | {"start_diameter": 0.125, "feed_rate": 0.0015, "surface_speed": 100, "length": 1.3, "extra_time": 2}, {}, ""),
    (DRILL | {"start_diameter": 0.125, "feed_rate": 0.0015, "surface_speed": 100, "length": 1.2}, {}, ""),
    # Bars with corners.
    (FACE | {"start_diameter": 0.75}, HEXAGON, "! starts at the corners: 0.866"),
    (FACE | {"start_diameter": 0.75}, HEXAGON | {"shape": "octagon"}, "! starts at the corners: 0.812"),
    (FACE | {"start_diameter": 0.75}, HEXAGON | {"shape": "square"}, "! starts at the corners: 1.061"),
    (FACE | {"operation": "cut-off", "start_diameter": 0.8, "feed_rate": 0.002}, HEXAGON, "! starts at the corners: 0.866"),
    (TURN | {"start_diameter": 0.75}, HEXAGON, "! starts at the corners: 0.866"),
    (FACE | {"start_diameter": 0.866}, HEXAGON, ""),
    (FACE | {"start_diameter": 0.5}, HEXAGON, ""),  # on a turned diameter
    # Where the part is drawn.
    (DRILL | {"start_diameter": None}, {"section_1_size": 0.5, "section_1_length": 2, "section_1_bore": 0.3}, "i start dia. 0.3 by the sheet Part"),
    (TAPER | {"start_diameter": 0.75, "end_diameter": 0.5}, HEXAGON, "! starts at the corners: 0.866"),
    # More operations.
    (TURN | {"operation": "boring"}, {}, "! hole as large as the bar"),
    (TURN | {"operation": "boring", "start_diameter": 0.6}, {}, ""),
    (TAPER, {}, ""),
    (TAPER | {"feed_rate": 0.06}, {}, "! feed 12 x the suggestion: right unit?"),  # that of turning
    (FACE | {"operation": "grooving", "end_diameter": 0.8, "feed_rate": 0.003}, {}, ""),
    ({"operation": "reaming", "start_diameter": 0.25, "length": 1, "surface_speed": 60, "feed_rate": 0.008}, {}, ""),
    ({"operation": "reaming", "start_diameter": 1, "length": 1, "surface_speed": 60, "feed_rate": 0.008}, {}, "! hole as large as the bar"),
    (TAP, {}, ""),
    (TAP | {"feed_rate": 0.1}, {}, "! pitch in the right unit?"),
    (TAP | {"surface_speed": 900}, {"top_speed": None, "material": "7.85 g/cm3"}, "! thread at 688 in/min: can the lathe?"),
    (TAP | {"surface_speed": 200}, {}, "! speed 5.7 x the suggestion: right unit?"),
    ({"operation": "reaming", "start_diameter": 0.25, "length": 1, "surface_speed": 60, "feed_rate": 0.05}, {}, "! feed 9 x the suggestion: right unit?"),
    # A thread's pitch diameter against its pitch: that of 1/2-13 is 0.4500.
    (THREAD, DRAWN_THREAD, ""),
    (THREAD, DRAWN_THREAD | {"section_1_end_size": 0.4435}, ""),  # as small as 2A allows
    (THREAD, DRAWN_THREAD | {"section_1_end_size": 0.4056}, "! pitch diameter: about 0.45 at this pitch"),  # the minor one
    (THREAD | {"feed_rate": 0.05}, DRAWN_THREAD, "! pitch diameter: about 0.4675 at this pitch"),
    (THREAD, DRAWN_THREAD | {"section_1_size": 0.55}, ""),  # the thread that is cut is another one
    (TAP | {"start_diameter": 0.5, "feed_rate": 0.05}, DRAWN_THREAD, ""),  # inside
    ({"operation": "milling", "extra_time": 12}, {}, ""),
    # The second spindle.
    (TURN | {"spindle": "second"}, {}, ""),
    (TURN | {"spindle": "second"}, {"machine_type": "guide bush + second spindle"}, ""),
    (TURN | {"spindle": "second"}, {"machine_type": "fixed head"}, "! the lathe has no second spindle"),
    (FACE | {"operation": "cut-off", "feed_rate": 0.002, "spindle": "second"}, {}, "! cut-off at the second spindle?"),
    # Edges.
    (TURN | {"edge_cost": 3.5}, {}, "\u2715 parts per edge are missing"),
    (TURN | {"edge_cost": 3.5, "parts_per_edge": 400}, {}, ""),
    (TURN | {"edge_cost": 420, "parts_per_edge": 400}, {}, "! edge costs 420: a whole tool, or cents?"),
    (TURN | {"edge_cost": 420, "parts_per_edge": 400}, {"currency": "Kc"}, ""),  # worth less than a dollar
    (TURN | {"edge_cost": 3.5}, {"material": "1018"}, "i parts per edge: an idea, 2864"),
    (TURN | {"parts_per_edge": 400}, {"material": "1018"}, ""),
]


@pytest.mark.parametrize(("cut", "change", "mark"), MARKS, ids=range(len(MARKS)))
def test_a_row_is_marked_where_it_does_not_look_like_this_part(book, cut, change, mark):
    put(book, JOB | change | row(cut))
    assert marks(book) == [mark] + [""] * 11
    assert book.value("quote_operation_looks") == mark.startswith("!")


def test_every_mark_is_among_the_cases():
    words = set(re.findall(r'"([!i] [a-z]+|! )', " ".join(said for _, said in OPERATIONS.looks)))
    assert words == {re.match(r"[!i] ([a-z]+)?", mark)[0] for _, _, mark in MARKS if mark[:1] in ("!", "i")}


@pytest.mark.parametrize(("pitch", "passes"), [
    # Sumitomo technical guidance page, external metric threads
    (0.75, 4), (1, 5), (1.25, 7), (1.5, 8), (1.75, 10), (2, 12), (2.5, 14), (3, 16),
])
def test_the_usual_passes_of_a_thread_are_the_published_ones(book, pitch, passes):
    for units, factor in (("mm", 1), ("in", 1 / 25.4)):
        put(book, JOB | {"units": units} | row(THREAD | {"feed_rate": pitch * factor}))
        assert book.value("quote_op_usual_passes[1]") == passes
    put(book, JOB | row(TURN))
    assert book.value("quote_op_usual_passes[1]") == ""


def test_between_two_published_pitches_the_nearer_one_counts():
    published = (0.75, 1, 1.25, 1.5, 1.75, 2, 2.5, 3)
    assert [limit for limit, _ in THREAD_PASSES] == [(a + b) / 2 for a, b in itertools.pairwise(published)]


# --- what the list leaves out --------------------------------------------------------------------------------------

BESIDE = {"tool_changes": 3, "tool_change_time": 2, "rapid_time": 4, "bar_feed_time": 1.5}
_MISSING = "Operations: Sheet Operations: the list is not the whole cycle. Not given there or on the sheet Shop: "


@pytest.mark.parametrize(("change", "word", "sentence"), [
    ({}, LOOK, _MISSING + "rapid moves, bar feed. Where there is none, fill in 0."),  # one tool is not changed
    (row(FACE, 2), LOOK, _MISSING + "time of a tool change, rapid moves, bar feed. Where there is none, fill in 0."),
    (BESIDE, OK, "Operations: Diameters, lengths and spindle speeds were held against bar, part and machine, speeds and feeds against the sheet Speeds."),
    (BESIDE | {"bar_feed_time": None}, LOOK, _MISSING + "bar feed."),
    ({"op_1_extra_time": 3}, LOOK, _MISSING + "rapid moves, bar feed."),
    (BESIDE | {"machine_type": "guide bush + second spindle"}, LOOK, _MISSING + "hand-over to the second spindle."),
    (BESIDE | row(FACE | {"spindle": "second"}, 2), LOOK, _MISSING + "hand-over to the second spindle."),
    (BESIDE | {"machine_type": "guide bush + second spindle", "handover_time": 0}, OK, "were held against bar"),
    (dict.fromkeys(BESIDE, 0), OK, "were held against bar"),
    (BESIDE | {"tool_change_time": 0}, LOOK, "Operations: Sheet Operations: 3 tool changes at 0 s each."),
    (BESIDE | {"tool_changes": 0}, LOOK, "Operations: Sheet Operations: a tool change takes 2 s, but none is counted."),
    (BESIDE | {"tool_changes": None}, OK, "were held against bar"),
    (BESIDE | {"material": "1018", "op_1_edge_cost": 3}, LOOK,
     "how many parts an edge makes is an idea from usual constants of tool life in 1 row: count your own."),
    (BESIDE | {"material": "1018", "op_1_edge_cost": 3, "op_1_parts_per_edge": 400}, OK, "were held against bar"),
    (BESIDE | {"material": "7.85 g/cm3"}, OK, "no speeds and feeds to compare with are known for this material."),
    ({"cycle_time": 60}, OK, "were held against bar"),
    (BESIDE | {"op_1_length": 50}, LOOK, "a row does not look like this part"),
    ({**dict.fromkeys(row(TURN)), "cycle_time": 60}, NOTE, "Operations: There is no operation list; the cycle time is as filled in."),
])
def test_the_check_of_the_operations(book, change, word, sentence):
    put(book, JOB | row(TURN) | change)
    sheet, first, column = book.first_cell("quote_check_words")
    lines = range(first, first + len(quote.TEMPLATE.checks))
    checks = [(book.value_at((sheet, line, column)), str(book.value_at((sheet, line, column + 1)))) for line in lines]
    words = {said_word: said for said_word, said in checks if said.startswith("Operations: ")}
    assert list(words) == [word]
    assert sentence in words[word]


# --- other programs ------------------------------------------------------------------------------------------------


OWN_ROWS = (OWN, OWN, ("brass", "drilling", "carbide", 300.0, None, 0.02), ("brass", "turning", "wood"))


@functools.cache
def every_mark() -> dict[str, bytes]:
    """Quotes whose operation lists and own speeds show every case above, calculated."""
    by_job: dict[str, tuple[dict, list[dict]]] = {}
    for cut, change, _ in MARKS:
        by_job.setdefault(repr(sorted(change.items())), (change, []))[1].append(cut)
    found = {}
    for number, (change, cuts) in enumerate(by_job.values()):
        for part in range(0, len(cuts), 12):
            inputs: dict = {name: None if item.from_shop else item.default for name, item in quote.TEMPLATE.inputs.items()} | JOB | change
            for n, cut in enumerate(cuts[part:part + 12], start=1):
                inputs |= row(cut, n)
            made = put(Workbook(quote.TEMPLATE.build(), direct=True), inputs, OWN_ROWS)
            own = {f"{speeds_sheet.TITLE}!{column}{line}": value for line, values in enumerate(OWN_ROWS, start=6)
                   for column, value in zip("BCDEFG", values, strict=False)}
            cells = {quote.TEMPLATE.form.cells[name]: value for name, value in inputs.items()}
            found[f"case{number}-{part}"] = made.to_bytes(cells | own)
    return found


@pytest.fixture(scope="module")
def cases() -> dict[str, Content]:
    return {label: content(data) for label, data in every_mark().items()}


def differing(ours: Content, theirs: Values) -> list[tuple]:
    """The cells of the operation list, its check and the sheet Speeds that another program gives another value."""
    mine = {cell: value for cell, value in ours.stored.items()
            if cell.startswith(("Operations!", "Speeds!")) or str(value).startswith("Operations: ")}
    assert len(mine) > 100
    return [(cell, value, theirs[cell]) for cell, value in mine.items() if not (
        value == pytest.approx(theirs[cell], rel=1e-9) if isinstance(value, float) and isinstance(theirs[cell], float)
        else value == theirs[cell])]


@pytest.mark.parametrize("judge", MARKED)
def test_marks_and_suggestions_agree_with_other_programs(cases, judge):
    made = every_mark()
    found = JUDGES[judge]({label: without_values(data) for label, data in made.items()})
    for label, ours in cases.items():
        assert (label, differing(ours, found[label])) == (label, [])
    first = next(iter(made))
    assert differing(cases[first], dict.fromkeys(found[first], "other")) != []


# --- what of the part no row makes ------------------------------------------------------------------------------------

PLAIN = {"section_1_size": 0.6, "section_1_length": 1}
BORED = PLAIN | {"section_1_size": 1, "section_1_bore": 0.25}
FLATS = PLAIN | {"section_1_shape": "hexagon", "section_1_note": "the hexagon"}
REACHED = [
    (PLAIN, (DRILL, FACE), "turns down to section 1, 0.6"),  # facing to the center is no turning
    (PLAIN, (TURN,), ""),  # nothing says how far
    (PLAIN, (TURN | {"end_diameter": 0.6},), ""),
    (PLAIN, (TURN | {"end_diameter": 0.7},), "turns down to section 1, 0.6"),
    (PLAIN, (TURN | {"end_diameter": 0.7}, FACE | {"operation": "grooving", "end_diameter": 0.55}), ""),
    (PLAIN, (FACE | {"end_diameter": 0.55},), ""),
    (PLAIN, (THREAD,), "turns down to section 1, 0.6"),
    (PLAIN | {"section_1_size": 0.996}, (DRILL,), ""),  # the bar but for its skin
    (PLAIN | {"section_2_size": 0.4, "section_2_length": 0.5, "section_2_note": "spigot"}, (TURN | {"end_diameter": 0.6},), "turns down to spigot, 0.4"),
    (PLAIN | DRAWN_THREAD, (THREAD,), ""),
    (PLAIN | DRAWN_THREAD, (DRILL,), "turns or threads section 1, 0.5"),
    (FLATS, (TURN,), "mills the flats of the hexagon, 0.6"),
    (FLATS, (TURN, {"operation": "milling", "extra_time": 9}), ""),
    (FLATS | {"shape": "hexagon", "size": 0.6}, (TURN,), ""),  # those of the bar
    (BORED, (TURN,), "makes the bore"),
    (BORED, (TURN, DRILL), ""),
    (BORED, (TURN | {"operation": "boring", "start_diameter": 0.25},), ""),
    (BORED | {"section_1_bore": 0.5, "shape": "tube", "thickness": 0.25}, (TURN,), ""),  # that of the tube
    (BORED | {"section_1_size": 0.6}, (FACE,), "turns down to section 1, 0.6; no row makes the bore"),
    (BORED, (), ""),
    ({}, (FACE,), ""),
]


@pytest.mark.parametrize(("part", "cuts", "said"), REACHED, ids=range(len(REACHED)))
def test_a_section_that_no_row_reaches_is_named(book, part, cuts, said):
    rows: dict = {}
    for n, cut in enumerate(cuts, start=1):
        rows |= row(cut | {"start_diameter": min(cut["start_diameter"], part.get("size", 1))} if "start_diameter" in cut else cut, n)
    put(book, JOB | dict.fromkeys(("tool_change_time", "rapid_time", "bar_feed_time", "handover_time"), 0) | part | rows)
    assert (book.value("quote_not_reached") or "") == said
    number = [check.topic for check in quote.TEMPLATE.checks].index("Operations") + 1
    check = book.value(f"quote_check_sentences[{number}]")
    if not book.value("quote_operation_looks"):  # which the check names first
        assert (check == f"Operations: Sheet Operations: no row {said}.") == bool(said)
