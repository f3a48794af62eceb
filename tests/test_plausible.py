"""The checks that see slips: each slip with its sentence, jobs that must not be spoken of, ticks, and the two rates."""

import re

import pytest
import slips
from slips import Job, words
from template_forms import in_the_sheet

from barfuncs.tables.speeds_feeds import builtin
from barfuncs.templates.model import LOOK, NOTE, OK, STOP
from barfuncs.templates.registry import TEMPLATES
from barfuncs.templates.shop import Machine, Rates, Shop, StockPrice
from barfuncs.xlsx.engine import Workbook

INCH: Job = {
    "units": "in", "material": "Steel 1215", "size": 1.0, "bar_length": 144.0, "part_length": 2.25, "cutoff_width": 0.125, "facing": 0.015,
    "end_trim": 0.25, "face_to_cutoff": 0.2, "grip_length": 2.5, "feeder_longest_bar": 150.0, "cycle_time": 45.0, "bar_change_time": 30.0,
    "efficiency": 0.9, "setup_hours": 2.0, "machine_rate": 80.0, "scrap_rate": 0.02, "setup_parts": 5.0, "material_price": 1.5,
    "price_per": "lb", "chip_price": 0.1,
}
METRIC: Job = {
    "units": "mm", "material": "Steel 1215", "size": 25.0, "bar_length": 3000.0, "part_length": 60.0, "cutoff_width": 3.0, "facing": 0.5,
    "end_trim": 5.0, "face_to_cutoff": 5.0, "grip_length": 60.0, "feeder_longest_bar": 3200.0, "cycle_time": 45.0, "bar_change_time": 30.0,
    "efficiency": 0.9, "setup_hours": 2.0, "machine_rate": 80.0, "scrap_rate": 0.02, "setup_parts": 5.0, "material_price": 2.5,
    "price_per": "kg", "chip_price": 0.2,
}
PLAN: Job = {"quantity": 1000.0}
QUOTE: Job = {"quantity_1": 500.0, "quantity_2": 1000.0, "margin": 0.25, "seller": "Invented Turning Co.", "currency": "USD"}
LISTED: Job = {"cycle_time": None, "tool_changes": 3, "tool_change_time": 2, "rapid_time": 4, "bar_feed_time": 2, "handover_time": 0,
                "op_1_operation": "turning", "op_1_start_diameter": 1, "op_1_length": 2, "op_1_surface_speed": 400, "op_1_feed_rate": 0.005,
                "op_1_edge_cost": 12, "op_1_parts_per_edge": 300, "op_2_operation": "cut-off", "op_2_start_diameter": 1, "op_2_end_diameter": 0,
                "op_2_surface_speed": 250, "op_2_feed_rate": 0.003, "top_speed": 4000}
_LENGTHS = {n for n in INCH if n not in ("efficiency", "cycle_time") and isinstance(INCH[n], float)} & {
    "size", "bar_length", "part_length", "cutoff_width", "facing", "end_trim", "face_to_cutoff", "grip_length", "feeder_longest_bar"}


def checks(template: str, inputs: Job) -> dict[str, tuple[str, str]]:
    """Word and sentence of every check, for inputs typed into the sheet."""
    book = in_the_sheet(template, {name: float(v) if isinstance(v, int) else v for name, v in inputs.items()})
    sheet, row, column = book.first_cell(f"{TEMPLATES[template].form.prefix}check_words")
    lines = range(row, row + len(TEMPLATES[template].checks))
    said = [(str(book.value_at((sheet, n, column))), str(book.value_at((sheet, n, column + 1)))) for n in lines]
    return {sentence.partition(": ")[0]: (word, sentence.partition(": ")[2]) for word, sentence in said}


@pytest.mark.parametrize("job", [INCH, METRIC], ids=["inch", "metric"])
def test_a_usual_job_is_not_spoken_of(job):
    assert words("job_plan", job | PLAN) == {}
    assert words("quote", job | QUOTE) == {}


def test_a_tick_says_what_was_compared():
    said = checks("job_plan", INCH | PLAN)
    assert said["Units"] == (OK, "A bar 144 in long, 1 in across and 32.16 lb in weight is within what is usual.")
    assert said["Lengths"] == (OK, "Cut-off, facing, trim, grip and gap go with size 1 in and part length 2.250 in.")
    assert said["Times"] == (OK, "A cycle of 45 s is between 5 s and 20 min, what parts of this size take.")
    assert said["Prices and rates"] == (OK, "Material at 1.500 per lb costs 1.50 per lb; that and the rates are within what is usual.")
    assert said["Section"] == (OK, "Shape, size and thickness go together: round, 0.785 in2.")


SLIPS = [
    # The whole sheet in the other unit.
    (INCH | {n: METRIC[n] for n in _LENGTHS}, {}, "Units", STOP, "Bar length 3000 in is 250 ft, longer than any bar; 3000 mm is 118.11 in."),
    (METRIC | {n: INCH[n] for n in _LENGTHS}, {}, "Units", LOOK, "Bar length 144 mm is short for a bar; 144 in is 3657.6 mm."),
    # Size, bar, feeder.
    (INCH, {"size": 19}, "Units", STOP, "Size 19 in is large for a bar: is it in mm?"),
    (INCH, {"size": 10}, "Units", LOOK, "Size 10 in is large for a bar: is it in mm?"),
    (METRIC, {"size": 0.75}, "Units", LOOK, "Size 0.750 mm is small for a bar: is it in inches?"),
    (INCH, {"bar_length": 12}, "Units", LOOK, "Bar length 12 in is short for a bar; 12 ft is 144 in."),
    (METRIC, {"bar_length": 12, "end_trim": 0, "grip_length": 9, "face_to_cutoff": 0.5, "part_length": 0.9, "cutoff_width": 0.8}, "Units", LOOK,
     "Bar length 12 mm is short for a bar; 12 ft is 3657.6 mm."),
    (METRIC, {"bar_length": 3, "end_trim": 0}, "Units", LOOK, "Bar length 3 mm is short for a bar; 3 m is 3000 mm."),
    (INCH, {"bar_length": 1728}, "Units", STOP, "Bar length 1728 in is 144 ft, longer than any bar; 1728 mm is 68.03 in."),
    (INCH, {"bar_length": 300, "feeder_longest_bar": None}, "Units", LOOK, "Bar length 300 in is 25 ft, long for a bar; 300 mm is 11.81 in."),
    (METRIC, {"bar_length": 9000}, "Units", LOOK, "Bar length 9000 mm is 9 m, long for a bar: is it converted twice?"),
    (INCH, {"feeder_longest_bar": 1800}, "Units", LOOK, "Longest bar the feeder takes is 1800 in: is it in another unit?"),
    (METRIC, {"feeder_longest_bar": 126}, "Units", LOOK, "Longest bar the feeder takes is 126 mm: is it in another unit?"),
    (INCH, {"supplied_length": 6000, "kerf": 0.1}, "Units", LOOK, "Supplied bar length 6000 in is long: is it in mm?"),
    (INCH, {"size": 6.5, "bar_length": 240, "feeder_longest_bar": None, "cutoff_width": 0.25}, "Units", LOOK, "One bar weighs 2264 lb"),
    # One length among the others.
    (INCH, {"cutoff_width": 0}, "Lengths", LOOK, "Cut-off width is 0"),
    (INCH, {"grip_length": 0}, "Lengths", LOOK, "Grip length is 0"),
    (INCH, {"cutoff_width": 2.25, "part_length": 0.125}, "Lengths", LOOK,
     "Cut-off width 2.250 in is no less than part length 0.125 in: are they swapped, or in two units?"),
    (METRIC, {"part_length": 2.36}, "Lengths", LOOK, "Cut-off width 3 mm is no less than part length 2.360 mm"),
    (INCH, {"cutoff_width": 0.4}, "Lengths", LOOK, "Cut-off width 0.400 in is wide: is it in mm?"),
    (METRIC, {"cutoff_width": 0.118}, "Lengths", LOOK, "Cut-off width 0.118 mm is narrow: is it in inches?"),
    (METRIC, {"size": 1, "machine_type": "guide bush", "part_length": 20}, "Lengths", LOOK, "Cut-off width 3 mm is wide for size 1 mm"),
    (INCH, {"size": 4, "cutoff_width": 0.0625}, "Lengths", LOOK,
     "Cut-off width 0.063 in is narrow for size 4 in: is one in another unit, or the size swapped?"),
    (INCH, {"facing": 0.2, "cutoff_width": 0.125}, "Lengths", LOOK, "Facing 0.200 in is more than cut-off width 0.125 in: are they swapped?"),
    (INCH, {"facing": 0.2, "cutoff_width": 0.25}, "Lengths", LOOK, "Facing 0.200 in is large: is it in mm?"),
    (METRIC, {"facing": 0.015}, "Lengths", LOOK, "Facing 0.015 mm is small: is it in inches?"),
    (INCH, {"end_trim": 6}, "Lengths", LOOK, "End trim 6 in is large: is it in mm?"),
    (METRIC, {"end_trim": 0.25}, "Lengths", LOOK, "End trim 0.250 mm is small: is it in inches?"),
    (INCH, {"supplied_length": 300, "kerf": 2.5}, "Lengths", LOOK, "Saw kerf 2.500 in does not look right: is it in another unit?"),
    (METRIC, {"supplied_length": 6100, "kerf": 0.1}, "Lengths", LOOK, "Saw kerf 0.100 mm does not look right: is it in another unit?"),
    (INCH, {"grip_length": 40}, "Lengths", LOOK, "Grip length 40 in is long: is it in mm?"),
    (METRIC, {"grip_length": 6}, "Lengths", LOOK, "Grip length 6 mm is short: is it in inches?"),
    (METRIC, {"grip_length": 30, "machine_type": "guide bush"}, "Lengths", LOOK, "Grip length 30 mm is short"),
    (INCH, {"grip_length": 0.5, "face_to_cutoff": 2}, "Lengths", LOOK,
     "Face to cut-off tool 2 in is more than grip length 0.500 in: are they swapped?"),
    (INCH, {"size": 3, "face_to_cutoff": 2.51, "grip_length": 3}, "Lengths", LOOK, "Face to cut-off tool 2.510 in is wide for this bar: is it in mm?"),
    (METRIC, {"size": 5, "face_to_cutoff": 25.4, "cutoff_width": 1}, "Lengths", LOOK, "Face to cut-off tool 25.400 mm is wide"),
    (METRIC, {"face_to_cutoff": 25.4, "machine_type": "guide bush"}, "Lengths", LOOK, "Face to cut-off tool 25.400 mm is wide"),
    (METRIC, {"face_to_cutoff": 0.2}, "Lengths", LOOK, "Face to cut-off tool 0.200 mm is narrow: is it in inches?"),
    (METRIC, {"face_to_cutoff": 0.6, "machine_type": "fixed head"}, "Lengths", LOOK, "Face to cut-off tool 0.600 mm is narrow"),
    (INCH, {"part_length": 0.03, "cutoff_width": 0.0299}, "Lengths", LOOK, "Part length 0.030 in is 0.03 times the size: is one in another unit?"),
    (METRIC, {"part_length": 0.7, "cutoff_width": 0.5, "size": 6}, "Lengths", LOOK, "Part length 0.700 mm is 0.12 times the size"),
    (METRIC, {"part_length": 3.9, "cutoff_width": 3.1, "size": 100}, "Lengths", LOOK, "Part length 3.900 mm is 0.04 times the size"),
    (INCH, {"part_length": 70}, "Lengths", LOOK, "Part length 70 in is 70 times the size: is one in another unit?"),
    (INCH, {"shape": "flat", "thickness": 10}, "Lengths", LOOK, "Thickness 10 in is 10 times the size: is one in another unit?"),
    (METRIC, {"shape": "flat", "thickness": 0.5}, "Lengths", LOOK, "Thickness 0.500 mm is 0.020 times the size"),
    (METRIC, {"shape": "tube", "thickness": 0.125}, "Lengths", LOOK, "Thickness 0.125 mm is 0.005 times the size"),
    (INCH, {"part_weight": 0.01}, "Lengths", LOOK, "A finished part weighs 0.0100 lb, 1.99 % of the bar over its length"),
    (INCH, {"bar_length": 24, "grip_length": 12.5}, "Lengths", LOOK, "Grip and the gap to the cut-off tool keep back 53 % of the bar."),
    # Stick-out by the thin side.
    (INCH, {"shape": "flat", "thickness": 0.2, "machine_type": "fixed head"}, "Stick-out", LOOK,
     "The first stick-out, 2.840 in, is long, 14.2 times the thin side, 0.200 in: support it, or check the part length."),
    (INCH, {"shape": "tube", "thickness": 0.06, "part_length": 6}, "Stick-out", LOOK,
     "A tube with a wall of 0.060 in sticks out 6.590 in: think about chatter and clamping."),
    (INCH, {"part_length": 31}, "Stick-out", LOOK, "31.6 times the size: does it run through a guide bush?"),
    (INCH, {"size": 3, "part_length": 50, "grip_length": 4}, "Stick-out", LOOK, "16.9 times the size: support it, or check the part length."),
    (INCH, {"part_length": 26, "machine_type": "fixed head + second spindle"}, "Stick-out", LOOK, "26.6 times the size"),
    # Times.
    (INCH, {"cycle_time": 1.5}, "Times", LOOK, "A cycle of 1.50 s is short for a part of this size; 1.50 min is 90 s."),
    (INCH, {"cycle_time": 2700}, "Times", LOOK, "A cycle of 2700 s is 45 min, long for a part of this size."),
    (INCH, {"bar_change_time": 0.5}, "Times", LOOK, "Bar change 0.500 s is short; 0.500 min is 30 s."),
    (INCH, {"bar_change_time": 1800}, "Times", LOOK, "Bar change 1800 s is 30 min, long."),
    (INCH, {"setup_hours": 90}, "Times", LOOK, "Set-up time 90 h is long; 90 min is 1.50 h."),
    (INCH, {"setup_hours": 0.03}, "Times", LOOK, "Set-up time 0.030 h is 1.8 min, short."),
    (INCH, {"efficiency": 0.05}, "Times", LOOK, "Efficiency 5 % means that the lathe stands most of the time."),
    # Money.
    (INCH, {"machine_rate": 1}, "Prices and rates", LOOK, "Machine rate 1 an hour is low; 1 a minute is 60 an hour."),
    (INCH, {"machine_rate": 5000}, "Prices and rates", LOOK, "Machine rate 5000 an hour is high."),
    (INCH, {"setup_rate": 1.2}, "Prices and rates", LOOK, "Set-up rate 1.20 an hour is low"),
    (INCH, {"material_price": 48}, "Prices and rates", LOOK, "Material at 48 per lb costs 48 per lb, much for it. Is the price for another unit?"),
    (INCH, {"material_price": 2, "price_per": "100 lb"}, "Prices and rates", LOOK, "costs 0.02 per lb, little for it."),
    (INCH, {"material_price": 900, "price_per": "bar"}, "Prices and rates", LOOK, "Material at 900 per bar costs 27.99 per lb, much for it."),
    (METRIC, {"material": "Titanium Grade 5", "material_price": 0.9}, "Prices and rates", LOOK, "costs 0.90 per kg, little for it."),
    (METRIC, {"material": 8.1, "material_price": 400}, "Prices and rates", LOOK, "costs 400 per kg, much for it."),
    (INCH, {"chip_price": 1.4}, "Prices and rates", LOOK, "For their weight, chips or remnants bring 93 % of what the bar costs."),
]


@pytest.mark.parametrize(("job", "change", "topic", "word", "sentence"), SLIPS, ids=[f"{s[2]}-{s[4][:44]}" for s in SLIPS])
@pytest.mark.parametrize("template", ["job_plan", "quote"])
def test_a_slip_is_named_with_its_figure(template, job, change, topic, word, sentence):
    said = checks(template, job | (PLAN if template == "job_plan" else QUOTE) | change)
    assert said[topic][0] == word, said
    assert sentence in said[topic][1]


@pytest.mark.parametrize(("template", "change", "topic", "word", "sentence"), [
    ("job_plan", {"mean_time_between_stops": 540}, "First stop", LOOK, "Mean time between stops, 540 h, is long; 540 min is 9 h."),
    ("job_plan", {"bulk_factor": 1}, "First stop", LOOK, "Bulk factor 1 is that of solid metal: loose chips take many times the volume."),
    ("job_plan", {"bulk_factor": 200}, "First stop", LOOK, "Bulk factor 200 is high: is it a percentage?"),
    ("job_plan", {"chip_bin": 4000}, "First stop", LOOK, "Volume of the chip bin, 4000 gal, is large: is it in in3?"),
    ("job_plan", {"chip_bin": 0.5}, "First stop", LOOK, "Volume of the chip bin, 0.500 gal, is small: is it in ft3?"),
    ("job_plan", {"mean_time_between_stops": 180, "bulk_factor": 3, "chip_bin": 700}, "First stop", NOTE, "bars the feeder holds are not filled in"),
    ("quote", {"inspection_time": 2, "every": 20, "inspection_rate": 50}, "More costs", LOOK,
     "Time to inspect one part, 2 s, is short; 2 min is 120 s."),
    ("quote", {"inspection_time": 9000, "every": 20, "inspection_rate": 50}, "More costs", LOOK, "Time to inspect one part, 9000 s, is 2.5 h, long."),
    ("quote", {"box_weight": 16_000, "box_cost": 3}, "More costs", LOOK, "A box of 16000 lb is heavier than a pallet takes: is it in grams or ounces?"),
    ("quote", {"box_weight": 2000, "box_cost": 3, "inspection_time": 6, "every": 20, "inspection_rate": 50}, "More costs", OK, "In every price"),
    ("quote", LISTED | {"tool_change_time": 0.05}, "Operations", LOOK, "A tool change of 0.050 s is short; 0.050 min is 3 s."),
    ("quote", LISTED | {"tool_change_time": 90}, "Operations", LOOK, "A tool change of 90 s is long: is it the change of a worn edge?"),
    ("quote", LISTED | {"op_1_edge_cost": 420}, "Operations", LOOK, "see the mark beside it"),
    ("quote", LISTED | {"op_1_edge_cost": 120}, "Operations", OK, "were held against bar"),
    ("quote", LISTED | {"op_1_edge_cost": 420, "currency": "\u00a5"}, "Operations", OK, "were held against bar"),
    ("job_plan", {"scrap_rate": 0.5}, "Order", LOOK, "Scrap rate 50 % is high. Is it 0.500 %?"),
    ("job_plan", {"scrap_rate": 0.0002}, "Order", LOOK, "Scrap rate 0.02 % is low. Is it 2 %?"),
    ("job_plan", {"setup_parts": 8, "quantity": 5}, "Order", LOOK, "8 set-up pieces"),
    ("job_plan", {"quantity": 1, "scrap_rate": 0.1, "setup_parts": 0}, "Order", LOOK, "2 parts to make for 1 ordered, 100 % more"),
    ("job_plan", {"scrap_rate": 0.12}, "Order", LOOK,
     "1162 parts to make for 1000 ordered, 16 % more: 5 set-up pieces, 157 for a scrap rate of 12 %, 95 % sure."),
    ("job_plan", {"quantity": 1000, "first_parts_scrapped": 10, "scrap_rate": 0.02}, "Order", LOOK, "28 for a scrap rate of 2 %, 95 % sure, 220 first parts of bars."),
    ("job_plan", {"quantity": 40}, "Order", NOTE, "48 parts to make for 40 ordered, 20 % more: 5 set-up pieces, 3 for a scrap rate of 2 %, 95 % sure."),
    ("job_plan", {"quantity": 100_000, "cycle_time": 400}, "Times", LOOK, "more than a year of days and nights"),
    ("quote", {"scrap_rate": 0.5}, "Quantities", LOOK, "Scrap rate 50 % is high. Is it 0.500 %?"),
    ("quote", {"quantity_2": 500}, "Quantities", LOOK, "Quantity 500 stands twice."),
    ("quote", {"quantity_1": 4}, "Quantities", LOOK, "Set-up pieces, 5, are more than the smallest quantity, 4."),
    ("quote", {"scrap_rate": 0.13}, "Quantities", LOOK, "1155 parts to make for 1000 ordered, 16 % more: 5 set-up pieces, 150 for a scrap rate of 13 %."),
    ("quote", {"margin": None, "markup": 5}, "Price", LOOK, "Markup 500 % makes the price 6 times the cost. Is it 5 %?"),
    ("quote", {"margin": 0.95}, "Price", LOOK, "Margin 95 % makes the price 20 times the cost. Is it 0.950 %?"),
    ("quote", {"margin": 0.0025}, "Price", LOOK, "Margin 0.25 % is low. Is it 25 %?"),
    ("quote", {"margin": None, "markup": 0.003}, "Price", LOOK, "Markup 0.30 % is low. Is it 30 %?"),
    ("quote", {"setup_hours": 0}, "Times", LOOK, "No set-up time is counted."),
    ("quote", {"quote_date": "2027-03-10", "valid_until": "2027-03-01"}, "Quotation", STOP, "Valid until 2027-03-01 is before the date, 2027-03-10."),
    ("quote", {"quote_date": 46456.0, "valid_until": 46447.0}, "Quotation", STOP, "Valid until 2027-3-1 is before the date, 2027-3-10."),
    ("quote", {"quote_date": 46456.0, "valid_until": "2027-03-01"}, "Quotation", STOP, "Valid until 2027-03-01 is before the date, 2027-3-10."),
    ("quote", {"quote_date": "2027-03-10", "valid_until": "2027-03-10"}, "Quotation", OK, "names its sender"),
    ("quote", {"quote_date": "10 March", "valid_until": "for 30 days"}, "Quotation", OK, "names its sender"),
    ("quote", {"seller": None, "customer": "Example Valves"}, "Quotation", LOOK, "The customer's page names no sender"),
    ("quote", {"seller": None}, "Quotation", NOTE, "Nothing is filled in on the sheet Quotation."),
    ("quote", {"currency": None}, "Quotation", NOTE, "The customer's page names no currency"),
    ("quote", {"seller": None, "customer": "Example Valves", "size": None}, "Quotation", NOTE, "Not ready yet."),
])
def test_what_one_template_alone_sees(template, change, topic, word, sentence):
    said = checks(template, INCH | (PLAN if template == "job_plan" else QUOTE) | change)
    assert said[topic][0] == word, said
    assert sentence in said[topic][1]


def test_a_quote_that_lapses_before_its_date_shows_the_customer_no_price():
    book = in_the_sheet("quote", INCH | QUOTE | {"quote_date": "2027-03-10", "valid_until": "2027-03-01"})
    assert "Valid until 2027-03-01 is before the date" in str(book.value("quote_stops"))
    assert str(book.value("Quotation!B6")).startswith(f"{STOP}  Not ready to send")


def test_a_size_that_became_a_date_is_said():
    book = in_the_sheet("job_plan", INCH | PLAN | {"size": 46085.0})
    assert "3/4 became a date" in str(book.value("plan_status"))


# --- what must not be said -----------------------------------------------------------------------------------------

@pytest.mark.parametrize(("change", "sentence"), [
    ({}, "2.8 times the size. The machine's manual says what it may be."),
    ({"size": 0.5, "cutoff_width": 0.1}, "5.6 times the size"),
    ({"part_length": 40, "machine_type": "guide bush"}, "held at the guide bush"),
    ({"shape": "flat", "thickness": 0.5}, "5.7 times the thin side, 0.500 in"),
    ({"shape": "tube", "thickness": 0.25}, "2.9 times a solid bar that bends as much, 0.984 in"),
])
def test_a_stick_out_is_told_and_never_ticked(change, sentence):
    word, said = checks("job_plan", INCH | PLAN | change)["Stick-out"]
    assert word == NOTE
    assert sentence in said


def test_nothing_is_said_of_remnants_and_no_longer_bar_is_offered():
    said = checks("job_plan", INCH | PLAN | {"grip_length": 6})
    assert not [s for _, s in said.values() if ("emnant" in s and "add up" not in s) or "longer by" in s]


@pytest.mark.parametrize("template", ["job_plan", "quote"])
@pytest.mark.parametrize(("change", "root"), [
    ({"material": "unobtainium"}, "material"), ({"material": None}, "material"), ({"size": None}, "size"), ({"units": None}, "units"),
    ({"machine": "Lathe 9", **dict.fromkeys(("face_to_cutoff", "grip_length", "feeder_longest_bar", "machine_rate", "bar_change_time"))},
     "machine (not on the sheet Shop)"),
])
def test_the_status_names_the_root_alone(template, change, root):
    job = INCH | (PLAN if template == "job_plan" else QUOTE) | change
    assert in_the_sheet(template, job).value(f"{TEMPLATES[template].form.prefix}status") == f"{STOP}  Fill in or correct: {root}."
    assert {topic for topic, (word, _) in checks(template, job).items() if word == STOP} == set()


@pytest.mark.slow
def test_a_price_that_waits_for_the_material_is_not_missing():
    prices = (StockPrice("Brass C36000", 4.6, "lb"),)
    shop = Shop("in", Rates(margin=0.2), (Machine("Lathe 1", machine_rate=80.0),), prices, builtin())
    book = Workbook(TEMPLATES["quote"].build(shop), direct=True)
    for name, value in (INCH | QUOTE | {"material": "unobtainium", "material_price": None, "price_per": None}).items():
        book.set(name, value)
    book.calculate()
    assert book.value("quote_status") == f"{STOP}  Fill in or correct: material."
    book.set("material", "Steel 1215")
    book.calculate()
    assert book.value("quote_status") == f"{STOP}  Fill in or correct: material price, material price is per."


def test_a_machine_with_a_bad_row_is_named_once():
    shop = Shop("in", Rates(), (Machine("Lathe 1", grip_length=2.0), Machine("Lathe 1", grip_length=3.0)), (), builtin())
    book = Workbook(TEMPLATES["job_plan"].build(shop), direct=True)
    for name, value in (INCH | PLAN | {"machine": "Lathe 1", "grip_length": None}).items():
        book.set(name, value)
    book.calculate()
    assert re.fullmatch(rf"{STOP}  Fill in or correct: (machine|sheet Shop) \([^)]*\)(, sheet Shop \([^)]*\))?\.", str(book.value("plan_status")))


def test_amounts_in_another_currency_are_not_judged():
    job = INCH | QUOTE | {"machine_rate": 9000.0, "material_price": 400.0, "chip_price": 10.0}
    assert checks("quote", job)["Prices and rates"][0] == LOOK
    assert checks("quote", job | {"currency": "\u20ac"})["Prices and rates"][0] == LOOK
    assert checks("quote", job | {"currency": "\u00a5"})["Prices and rates"][0] == OK
    assert checks("quote", job | {"currency": "\u00a5", "chip_price": 390.0})["Prices and rates"][0] == LOOK  # one against the other


def test_thin_bar_may_cost_by_the_meter():
    pin = METRIC | PLAN | {"size": 1.0, "part_length": 12.0, "cutoff_width": 0.6, "facing": 0.1, "end_trim": 1.0, "face_to_cutoff": 1.0,
                           "machine_type": "guide bush", "grip_length": 150.0, "material_price": 3.0, "price_per": "bar", "chip_price": None,
                           "cycle_time": 12.0}
    assert words("job_plan", pin) == {}
    assert "much for it" in words("job_plan", pin | {"material_price": 90.0})["Prices and rates"][1]


@pytest.mark.parametrize("change", [
    {"size": 6.0, "cutoff_width": 0.187, "part_length": 20.0, "grip_length": 5.0, "cycle_time": 1500.0},
    {"bar_length": 24.0, "grip_length": 10.0, "part_length": 1.0, "machine_type": "guide bush"},
    {"bar_length": 240.0, "feeder_longest_bar": None},
    {"facing": 0.0, "end_trim": 0.0, "bar_change_time": 0.0, "face_to_cutoff": 0.0},
    {"size": 0.0625, "cutoff_width": 0.03, "part_length": 1.5, "facing": 0.004, "end_trim": 0.04, "face_to_cutoff": 0.04, "grip_length": 7.0,
     "cycle_time": 15.0, "machine_type": "guide bush", "material_price": 8.0},
    {"part_length": 0.16, "cutoff_width": 0.079, "cycle_time": 6.0},
])
def test_work_at_either_end_of_the_trade_is_not_spoken_of(change):
    assert words("job_plan", INCH | PLAN | change) == {}


# --- the rates -----------------------------------------------------------------------------------------------------

@pytest.mark.slow
def test_slips_are_seen_and_jobs_without_one_are_left_alone(capsys):
    seen, wrong = slips.main(show=False)
    tables = capsys.readouterr().out
    assert seen >= 0.95, tables
    assert wrong <= 0.05, tables
    assert all(int(line.split()[-2]) > 0 for line in tables.splitlines()[1:1 + len(slips.SLIPS)]), tables
