"""Supplied bars and the blanks sawn from them, what goes back on the rack, and bars that what-ifs make longer or shorter."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

import barfuncs as bf
from barfuncs.catalogue.kinds import LAST_BAR_RESTS
from barfuncs.filling.filler import Filled, fill
from barfuncs.templates.model import LOOK, STOP
from barfuncs.templates.quote.costs import WHAT_IFS
from barfuncs.xlsx.sheetxml import CellError

CHARGED, BACK = LAST_BAR_RESTS
JOB = {"units": "in", "material": "Brass C36000", "size": 0.75, "part_length": 2.25, "cutoff_width": 0.125, "face_to_cutoff": 0.25,
       "grip_length": 2.5, "bar_length": "12 ft", "cycle_time": 45, "machine_rate": 80, "material_price": 120, "price_per": "bar"}


def plan(**change: object) -> Filled:
    return fill("job_plan", JOB | {"quantity": 1000} | change)


def quoted(**change: object) -> Filled:
    return fill("quote", JOB | {"quantity_1": 1000, "margin": 0.2} | change)


# --- the functions -------------------------------------------------------------------------------------------------

THOUSANDTHS = st.integers(1, 400_000)


@given(THOUSANDTHS, st.integers(100, 200_000), st.integers(0, 500))
def test_blanks_and_cuts_fit_the_bar_and_no_more_would(supplied, blank, kerf):
    lengths = supplied / 1000, blank / 1000, kerf / 1000
    blanks, cuts = bf.blanks_per_supplied_bar(*lengths), bf.cuts_per_supplied_bar(*lengths)
    between = max(0, blanks - 1)
    assert blanks * blank + between * kerf <= supplied < (blanks + 1) * blank + blanks * kerf
    rest = supplied - blanks * blank - between * kerf
    assert cuts == (0 if not blanks else between if not rest else blanks)
    metric = [length * 25.4 for length in lengths]
    assert (bf.blanks_per_supplied_bar(*metric), bf.cuts_per_supplied_bar(*metric)) == (blanks, cuts)


def test_three_of_48_inches_do_not_come_from_144_with_a_kerf():
    assert bf.blanks_per_supplied_bar(144, 48, 0.125) == 2
    assert bf.blanks_per_supplied_bar(144, 48, 0) == 3
    assert bf.blanks_per_supplied_bar("12 ft", "47.9 in", 0.1, units="in") == 3


@pytest.mark.parametrize(("arguments", "words"), [
    ((144, 48, -0.1), "kerf: -0.1 given"), ((0, 48, 0.1), "supplied_length: 0 given"), ((144, 0, 0.1), "blank_length: 0 given"),
])
def test_impossible_lengths_are_refused(arguments, words):
    for function in (bf.blanks_per_supplied_bar, bf.cuts_per_supplied_bar):
        with pytest.raises(bf.InputError, match=words):
            function(*arguments)


# --- in the templates ----------------------------------------------------------------------------------------------


def sentence(filled: Filled, topic: str) -> tuple[str, str]:
    import io

    import openpyxl

    sheet = openpyxl.load_workbook(io.BytesIO(filled.data), data_only=True).worksheets[0]
    said = next(str(c.value) for row in sheet.iter_rows() for c in row if f"  {topic}: " in str(c.value))
    word, _, words = said.partition("  ")
    return word, words


def test_a_price_per_bar_is_that_of_the_supplied_bar():
    # 57 blanks of nearly 4 ft, three from each bar of 12 ft at 120 a bar.
    a = plan(supplied_length="12 ft", kerf=0.1, bar_length=47.9, quantity=1000, setup_parts=70).answers
    assert (a["bars"], a["blanks_per_supplied"], a["bought"]) == (57, 3, 19)
    assert a["material_cost"] == 19 * 120
    assert a["weight_to_buy"] == pytest.approx(19 * bf.bar_weight("Brass C36000", "round", 0.75, 144), rel=1e-12)
    assert a["cuts"] == 19 * 3
    assert plan(bar_length=47.9, setup_parts=70).answers["material_cost"] == 57 * 120


def test_a_price_per_blank_is_that_of_what_is_loaded_and_the_supplier_saws():
    a = plan(supplied_length="12 ft", kerf=0.1, bar_length=47.9, price_per="blank", material_price=45, setup_parts=70).answers
    assert (a["bought"], a["cuts"], a["material_cost"]) == (57, 0, 57 * 45)


def test_the_last_supplied_bar_is_sawn_no_further_than_the_order_needs():
    a = plan(supplied_length="12 ft", kerf=0.1, bar_length=47.9, quantity=19 * 4, cut_charge=2).answers
    assert (a["bars"], a["bought"]) == (4, 2)
    assert a["cuts"] == 3 + 1
    assert plan(supplied_length="12 ft", kerf=0.1, bar_length=47.9, quantity=19 * 4, cuts_per_bar=2).answers["cuts"] == 4


def test_blanks_that_the_kerf_costs_are_told():
    word, words = sentence(plan(supplied_length="12 ft", kerf=0.125, bar_length=48), "Feeder")
    assert word == LOOK
    assert words == "Feeder: 3 blanks and the cuts between them need 144.25 in: a supplied bar gives 2."


def test_what_does_not_go_together_is_refused_or_stops_the_plan():
    with pytest.raises(bf.InputError, match="bar_length: must not be longer than the supplied bar"):
        plan(supplied_length=100, kerf=0.1)
    with pytest.raises(bf.InputError, match="kerf: is missing"):
        plan(supplied_length=300)
    word, words = sentence(plan(supplied_length=300, kerf=0.1, longest_random_bar=150), "Feeder")
    assert word == STOP
    assert "leave the supplied bar length blank" in words


def test_the_rest_of_the_last_bar_is_charged_or_goes_back():
    # 59 parts use a bar up; the 60th begins another.
    charged = [quoted(quantity_1=n, machine_rate=0, margin=0).answers["cost_each_1"] * n for n in (59, 60)]
    back = [quoted(quantity_1=n, machine_rate=0, margin=0, last_bar_rest=BACK).answers["cost_each_1"] * n for n in (59, 60)]
    assert charged == pytest.approx([120, 240], rel=1e-12)
    assert back == pytest.approx([120, 120 + 120 * 2.375 / 144], rel=1e-12)
    a = quoted(quantity_1=60, last_bar_rest=BACK, chip_price=1.0, remnant_price=1.0).answers
    assert a["rack_length_1"] == pytest.approx(144 - 2.375, rel=1e-12)
    # What goes back brings no credit for scrap.
    per_inch = a["bar_weight"] / 144
    assert a["scrap_credit_1"] == pytest.approx(per_inch * (59 * 0.125 + 3.875 + 0.125), rel=1e-9)


def test_a_rest_that_gives_no_further_part_is_a_remnant():
    # With 58 parts in the last bar there is one more part in it, with 59 none.
    assert plan(quantity=58, last_bar_rest=BACK).answers["rack_length"] == pytest.approx(144 - 58 * 2.375, rel=1e-12)
    assert plan(quantity=59, last_bar_rest=BACK).answers["rack_length"] == 0


def test_spare_blanks_go_back_whole():
    a = plan(supplied_length="12 ft", kerf=0.1, bar_length=47.9, quantity=19, last_bar_rest=BACK).answers
    assert (a["bars"], a["bought"]) == (1, 1)
    assert a["rack_length"] == pytest.approx(2 * 47.9, rel=1e-12)
    assert a["net_material"] == pytest.approx(120 - 120 * 2 * 47.9 / 144, rel=1e-12)


# --- what-ifs ------------------------------------------------------------------------------------------------------


def test_a_longer_bar_costs_more_where_it_is_priced_by_the_bar():
    a = quoted().answers
    assert a["price_longer"] == pytest.approx(120 * (144 + 2.375) / 144, rel=1e-12)
    assert quoted(material_price=4, price_per="lb").answers["price_longer"] == 4


def test_no_bar_is_offered_that_the_feeder_does_not_take():
    a = quoted(feeder_longest_bar=145).answers
    assert isinstance(a["price_if_longer"], CellError)
    assert a["bars_said_longer"] == "the feeder takes no longer bar"
    assert isinstance(a["price_if_shorter"], float)


def test_bars_that_stay_as_many_are_said():
    a = quoted().answers
    assert a["bars_said_now"] == "17 bars"
    assert a["bars_said_longer"] == "still 17 bars"
    assert a["bars_said_bar"] == "18 bars"
    assert set(WHAT_IFS) == {tag.removeprefix("bars_said_") for tag in a if tag.startswith("bars_said_")}
