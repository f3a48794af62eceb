"""The template quote against plain Python, in the headless engine; prices, what-ifs, bad inputs."""

import contextlib
import io
import random
import re
from functools import cache

import openpyxl
import pytest
from job_generator import BAD_IN_A_QUOTE, GOOD_INPUTS, good_quote
from judges import content
from reference_part import TOTALS, with_part
from reference_quote import quote as reference
from template_forms import answer_cell, in_the_sheet, never_given, resting_on

import barfuncs as bf
from barfuncs.catalogue import kinds
from barfuncs.catalogue.kinds import LAST_BAR_RESTS
from barfuncs.filling.filler import Filled, fill, filler, read_inputs
from barfuncs.functions.cost import PRICE_BREAK_COLUMNS
from barfuncs.templates import bar_for_part, plausible, quote
from barfuncs.templates.model import LOOK, OK, STOP
from barfuncs.templates.quote import more_costs
from barfuncs.templates.quote.brackets import BRACKETS
from barfuncs.templates.quote.costs import WHAT_IFS
from barfuncs.templates.quote.inputs import LETTER, OF_THE_SHOP
from barfuncs.templates.quote.more_costs import PROCESSES
from barfuncs.templates.quote.operations import OPERATIONS
from barfuncs.xlsx.engine import Workbook
from barfuncs.xlsx.sheetxml import CellError

GOOD = GOOD_INPUTS["quote"]
WITHOUT_BRACKETS = dict.fromkeys(name for name in GOOD if name.startswith("bracket_"))
BREAKS = range(1, 7)
LINES = ("material_used", "machine_cost", "setup_cost", "beside_lathe")


@cache
def quotes(count: int, seed: int = 3) -> list[Filled]:
    """Generated quotes, filled."""
    rng, found = random.Random(seed), []
    while len(found) < count:
        inputs = read_inputs(good_quote(rng), "quote")
        if whole_part_fits(inputs):
            found.append(filler("quote").fill(inputs))
    return found


SAID = {*(f"{name}_said" for name in (*OF_THE_SHOP, "valid", "material", "priced", "paper")), "freight_line"}
"""What the customer's page says beside prices; see test_quotation."""


def whole_part_fits(inputs: dict) -> bool:
    return bf.parts_per_bar(inputs["bar_length"], with_part(inputs)["part_length"], inputs["cutoff_width"],
                            inputs["grip_length"] + inputs["face_to_cutoff"], inputs["facing"], inputs["end_trim"]) > 0


def asked(filled: Filled) -> list[int]:
    """The numbers of the quantities that are filled in."""
    return [n for n in BREAKS if filled.inputs[f"quantity_{n}"] is not None]


# --- against Python ------------------------------------------------------------------------------------------------


def scale(name: str, want: float, inputs: dict, wanted: dict) -> float:
    """What the error of an answer is judged by. A difference of large numbers is judged by what it is made of."""
    if name.startswith(("change_share", "margin")):
        return 1
    if name == "remnant":
        return inputs["bar_length"]
    if name == "chips_each":
        return wanted["gross_weight"]
    if name.startswith("change_"):
        return max(abs(want), wanted["price_if_now"])
    if name.startswith("scrap_credit"):
        tag = name.removeprefix("scrap_credit_")
        price = max(inputs["chip_price"] or 0, inputs["remnant_price"] or 0)
        return max(abs(want), wanted[f"bars_{tag}"] * wanted["bar_weight"] * price)
    return abs(want)


def disagreements(inputs: dict, answers: dict) -> list[str]:
    wanted, found = reference(dict(inputs)), []
    for name, want in wanted.items():
        got = answers[name]
        if want is None:
            same = isinstance(got, CellError)
        elif isinstance(want, str):
            same = (got or "") == want
        else:
            same = isinstance(got, float) and abs(got - want) <= 1e-9 * scale(name, want, inputs, wanted)
        if not same:
            found.append(f"{name}: sheet {got!r}, Python {want!r}, for {inputs}")
    return found


def test_every_named_answer_agrees_with_python_in_the_engine():
    for filled in quotes(300):
        assert disagreements(filled.inputs, filled.answers) == []


def test_the_reference_names_every_answer():
    in_rows = {OPERATIONS.row_name(n, name) for n in range(1, OPERATIONS.rows + 1) for name in ("time", "speed", "limit", "usual_edge", "edge_share", "side")}
    in_rows |= {BRACKETS.row_name(n, name) for n in range(1, BRACKETS.rows + 1) for name in ("bars", "cost")}
    in_rows |= {PROCESSES.row_name(n, name) for n in range(1, PROCESSES.rows + 1) for name in ("first", "each", "lot")}
    assert set(reference(dict(quotes(300)[0].inputs))) == (set(quote.TEMPLATE.form.answers) | in_rows) - {
        "operation_looks", "not_counted", "more_looks", "value_said", *SAID, "like_dollars", "machine_wrong", *(step.name for step in bar_for_part.STEPS), *(step.name for step in plausible.STEPS), *(f"bars_said_{tag}" for tag in WHAT_IFS)}  # see their own tests


def test_the_generated_quotes_give_every_input_and_column():
    assert never_given("quote", [filled.inputs for filled in quotes(300)]) == set()


def test_the_generated_quotes_cover_what_a_quote_can_be():
    inputs = [filled.inputs for filled in quotes(300)]
    for name in ("units", "shape", "rounding", "price_per", "tool"):
        assert {i[name] for i in inputs} >= set(quote.TEMPLATE.inputs[name].kind.choices), name
    assert {i[f"op_{n}_operation"] for i in inputs for n in range(1, 13)} == {*kinds.OPERATIONS, None}
    assert {len(asked(filled)) for filled in quotes(300)} == {*BREAKS}
    assert any(i["margin"] for i in inputs)
    assert any(i["markup"] for i in inputs)
    for name in ("part_weight", "cycle_time", "setup_rate", "cut_charge", "minimum_charge", "chip_price", "remnant_price", "what_if_quantity",
                 "tooling", "other_per_part", "other_per_order", "efficiency", "end_trim", "top_speed", "max_feed"):
        assert 20 < sum(i[name] is None for i in inputs) < 280 or quote.TEMPLATE.inputs[name].default is not None, name
    assert [asked(filled) for filled in quotes(300) if asked(filled) != [*range(1, len(asked(filled)) + 1)]]  # gaps
    assert [i for i in inputs if i["quantity_2"] and i["quantity_2"] < i["quantity_1"]]  # not sorted


@pytest.mark.parametrize("name", ["bars_1", "price_1", "cost_each_whole_1", "change_cycle", "op_1_time", "costs_more", "material_row"])
def test_the_comparison_notices_a_wrong_value(name):
    filled = quotes(300)[0]
    answers = dict(filled.answers)
    answers[name] += max(1e-7, abs(answers[name]) * 1e-8, 1e-8 * answers["price_if_now"] if name.startswith("change") else 0)
    assert [d.split(":")[0] for d in disagreements(filled.inputs, answers)] == [name]
    assert disagreements(filled.inputs, answers | {name: CellError("#N/A")}) != []


@pytest.mark.parametrize(("name", "value"), [(n, v) for n, values in BAD_IN_A_QUOTE.items() for v in values])
def test_a_bad_input_shows_no_price(name, value):
    """What other programs make of such a sheet, test_judges.py compares."""
    book = in_the_sheet("quote", GOOD | {name: value})
    assert str(book.value("quote_status")).startswith(STOP)
    assert isinstance(book.value("quote_price_1"), CellError)
    banner, numbers = page_of(book)
    assert banner.startswith(f"{STOP}  Not ready to send")
    assert numbers == []


def printed(page) -> list[list]:
    """The cells that are printed, row by row."""
    return [list(row) for row in page[page.print_area.rpartition("!")[2]]]


def numbers_on(page) -> list:
    return [c.value for row in printed(page) for c in row if isinstance(c.value, (int, float))]


# --- prices --------------------------------------------------------------------------------------------------------


def test_the_spilled_table_of_price_breaks_is_the_templates():
    # Those price breaks know nothing of what a supplier adds to the price, of price brackets, of first parts scrapped, of edges and of more costs.
    more = ("proc_", "bracket_", "inspection_", "box_")
    without = ("material_surcharge", "certificate_fee", "material_freight", "first_parts_scrapped", "first_off", "every", "aql", "priced_per",
               "setup_priced", *(name for name in quote.TEMPLATE.inputs if name.startswith(more) or name.endswith(("_edge_cost", "_edge_change_time"))))
    whole_bars = []
    for filled in quotes(300):
        if filled.inputs["supplied_length"] is None and filled.inputs["last_bar_rest"] != LAST_BAR_RESTS[1] and len(whole_bars) < 60:
            with contextlib.suppress(bf.InputError):  # chips and remnants may bring more than a bar at so low a price costs
                whole_bars.append(filler("quote").fill({**filled.inputs, **dict.fromkeys(without)}))
    assert len(whole_bars) > 40
    for filled in whole_bars:
        i = {**filled.inputs, **{n: filled.inputs[n] or 0 for n in (
            "scrap_rate", "bar_change_time", "cut_charge", "minimum_charge", "chip_price", "remnant_price", "other_per_part",
            "other_per_order", "tooling")}}
        a = filled.answers
        bar_cost = bf.material_cost(1, i["material_price"], i["price_per"], i["bar_length"], a["bar_weight"], units=i["units"])
        profit = {name: i[name] for name in ("margin", "markup") if i[name]} or {"margin": i["margin"]}
        table = bf.price_breaks(
            [int(i[f"quantity_{n}"]) for n in asked(filled)], a["parts_per_bar"], bar_cost, a["cycle"], i["bar_change_time"],
            i["setup_hours"], i["machine_rate"], i["scrap_rate"], i["setup_parts"], i["setup_rate"], i["other_per_part"],
            i["other_per_order"], i["minimum_charge"], **profit, rounding=i["rounding"] or "nearest 0.01", efficiency=i["efficiency"] or 1,
            cuts_per_bar=i["cuts_per_bar"] or 0, cut_charge=i["cut_charge"], tooling=i["tooling"], chip_price=i["chip_price"],
            remnant_price=i["remnant_price"], bar_weight=a["bar_weight"], gross_weight=a["gross_weight"], part_weight=a["each_weight"],
            trim_weight=a["trim_weight"])
        assert len(table) == len(asked(filled))
        for n, row in zip(asked(filled), table, strict=True):
            sheet = {"quantity": i[f"quantity_{n}"], "material": a[f"material_cost_{n}"] - a[f"scrap_credit_{n}"],
                     "price_each": a[f"price_{n}"], "order_total": a[f"total_{n}"], "whole_bar_quantity": a[f"whole_{n}"],
                     "whole_bar_price": a[f"price_whole_{n}"], "machine": a[f"machine_cost_{n}"], "setup": a[f"setup_cost_{n}"],
                     "other": a[f"other_cost_{n}"], "bars": a[f"bars_{n}"], "cost_each": a[f"cost_each_{n}"]}
            assert row == pytest.approx([sheet[c] for c in PRICE_BREAK_COLUMNS], rel=1e-9, abs=1e-9 * a[f"material_cost_{n}"])


def test_cost_lines_add_up_and_totals_agree_with_prices():
    for filled in quotes(300):
        a = filled.answers
        for tag in [f"{kind}{n}" for n in asked(filled) for kind in ("", "whole_")]:
            lines = sum(a[f"{line}_{tag}"] for line in LINES)
            if tag.isdigit():
                assert a[f"beside_lathe_{tag}"] == pytest.approx(a[f"other_cost_{tag}"] + a[f"tool_cost_{tag}"] + sum(a[f"{line}_{tag}"] for line in more_costs.LINES))
            assert a[f"material_used_{tag}"] == pytest.approx(a[f"material_cost_{tag}"] - a[f"rack_value_{tag}"], rel=1e-12)
            quantity = a[tag] if tag.startswith("whole") else filled.inputs[f"quantity_{tag}"]
            assert a[f"order_cost_{tag}"] == pytest.approx(lines - a[f"scrap_credit_{tag}"], rel=1e-9, abs=1e-9 * lines)
            assert a[f"cost_each_{tag}"] * quantity + a["own_lines_cost"] == pytest.approx(a[f"order_cost_{tag}"], rel=1e-12)
            assert round(a[f"total_{tag}"] * 100) == pytest.approx(a[f"total_{tag}"] * 100, rel=1e-12)
            assert abs(a[f"total_{tag}"] - quantity * a[f"price_{tag}"]) <= 0.005 + 1e-9 * a[f"total_{tag}"]


def test_prices_keep_their_rounding_rule_and_their_margin():
    steps = kinds.ROUNDINGS
    for filled in quotes(300):
        i, a = filled.inputs, filled.answers
        for n in asked(filled):
            cost, price = a[f"cost_each_{n}"], a[f"price_{n}"]
            exact = bf.price_at_markup(cost, i["markup"]) if i["markup"] else bf.price_at_margin(cost, i["margin"] or 0)
            exact, price = exact * a["priced_parts"], price * a["priced_parts"]  # rounded where it is shown
            count, up = steps[i["rounding"] or "nearest 0.01"]
            if count:
                assert round(price * count) == pytest.approx(price * count, rel=1e-14, abs=1e-6)
                assert (-1e-9 * exact if up else -0.5 / count - 1e-9) <= price - exact <= (1 if up else 0.5) / count + 1e-9
            elif not i["markup"]:
                assert a[f"margin_{n}"] == pytest.approx(i["margin"] or 0, abs=1e-9)


@pytest.mark.slow
def test_a_larger_quantity_costs_more_each_only_where_whole_bars_or_parts_force_it_and_the_sheet_says_so():
    said = 0
    for filled in quotes(300):
        i, a = filled.inputs, filled.answers
        pairs = [(m, n) for m in asked(filled) for n in asked(filled) if i[f"quantity_{m}"] < i[f"quantity_{n}"]
                 and a[f"cost_each_{n}"] > a[f"cost_each_{m}"] * (1 + 1e-9)]
        for m, n in pairs:
            # Bars loaded or bought, bar changes or parts to start, for each good part, or what goes back of the bars.
            assert any((a[f"{what}_{n}"] - less) / i[f"quantity_{n}"] > (a[f"{what}_{m}"] - less) / i[f"quantity_{m}"]
                       for what, less in (("bars", 0), ("bars", 1), ("parts_to_make", 0), ("bought", 0))) or (
                a[f"rack_length_{n}"] / i[f"quantity_{n}"] < a[f"rack_length_{m}"] / i[f"quantity_{m}"]) or any(
                a[f"{line}_{n}"] / i[f"quantity_{n}"] > a[f"{line}_{m}"] / i[f"quantity_{m}"] for line in more_costs.LINES)
            assert a[f"costs_more_{n}"] > 0
        assert a["costs_more"] == len(pairs)
        word, sentence = check(filled.data, "Quantities")
        assert word == LOOK if pairs else "A larger quantity" not in sentence
        said += bool(pairs)
    assert 3 < said < 290


def check(data: bytes, topic: str) -> tuple[str, str]:
    """Word and sentence of one check."""
    stored = content(data, "Notes").stored
    cells = [cell for cell, value in stored.items() if cell.startswith("Notes!C") and str(value).startswith(f"{topic}: ")]
    cell = min(cells, key=lambda cell: int(cell.removeprefix("Notes!C")))  # further down stand those that say stop
    return stored[cell.replace("!C", "!B")], stored[cell]


# --- what if -------------------------------------------------------------------------------------------------------


def changed(filled: Filled, **change) -> Filled:
    """The quote at the quantity of the what-ifs, before rounding, with inputs changed."""
    inputs = {**filled.inputs, **{f"quantity_{n}": None for n in BREAKS}, "quantity_1": filled.answers["what_if"], "rounding": "none"}
    return filler("quote").fill(inputs | change)


@pytest.mark.slow
def test_what_ifs_are_quotes_with_that_input_changed():
    skipped: set[str] = set()
    for filled in quotes(60):
        i, a = filled.inputs, filled.answers
        held = {f"bracket_{n}_price": i[f"bracket_{n}_price"] for n in range(1, 7) if i[f"bracket_{n}_price"]}
        brackets = {tag: {name: price * factor if isinstance(factor, float) else price for name, price in held.items()}
                    for tag, factor in (("price", 1.1), ("longer", a["factor_longer"]), ("shorter", a["factor_shorter"]))}
        cases = {"now": {}, "cycle": {"cycle_time": a["cycle"] + 1}, "scrap": {"scrap_rate": (i["scrap_rate"] or 0) + 0.01},
                 "price": {"material_price": i["material_price"] * 1.1, "material_surcharge": (i["material_surcharge"] or 0) * 1.1}, "longer": {"bar_length": i["bar_length"] + a["bar_per_part"], "material_price": a["price_longer"]},
                 "shorter": {"bar_length": i["bar_length"] - a["bar_per_part"], "material_price": a["price_shorter"]}}
        now = changed(filled).answers["price_1"]
        for tag, change in cases.items():
            length = change.get("bar_length", i["bar_length"])
            if (tag == "shorter" and a["good_per_bar_shorter"] == 0) or (tag in ("longer", "shorter") and (
                    length > (i["feeder_longest_bar"] or length) or length > (i["supplied_length"] or length))):
                assert isinstance(a[f"price_if_{tag}"], CellError)
                skipped.add(tag)
                continue
            other = changed(filled, **change, **brackets.get(tag, {})).answers
            assert a[f"price_if_{tag}"] == pytest.approx(other["price_1"], rel=1e-9), tag
            assert a[f"change_{tag}"] == pytest.approx(other["price_1"] - now, abs=1e-9 * now), tag
            assert a[f"change_share_{tag}"] == pytest.approx(other["price_1"] / now - 1, abs=1e-9), tag
            assert a[f"bars_if_{tag}"] == other["bars_1"], tag


def test_one_bar_more_costs_a_bar_less_what_its_scrap_brings():
    job = {**GOOD, **WITHOUT_BRACKETS, "supplied_length": None, "minimum_charge": 10.0, "cuts_per_bar": 1.0, "cut_charge": 2.0, "end_trim": 0.5, "chip_price": 0.1, "remnant_price": 0.3}
    a = fill("quote", job).answers
    weight, trim = a["bar_weight"], a["section_weight"] * 0.5
    more = weight * 2.0 + 2.0 - (weight - trim) * 0.3 - trim * 0.1
    assert a["bars_if_bar"] == a["bars_if_now"] + 1
    assert a["order_cost_if_bar"] - a["order_cost_if_now"] == pytest.approx(more, rel=1e-9)
    assert a["change_bar"] == pytest.approx(more / 250 / 0.8, rel=1e-9)


# --- bad inputs ----------------------------------------------------------------------------------------------------


def page_of(book: Workbook) -> list:
    """Banner, and the numbers that the customer's page shows."""
    values = [book.value(f"Quotation!{column}{row}") for row in range(1, 40) for column in "ABCDE"]
    return [book.value("Quotation!B6"), [v for v in values if isinstance(v, float)]]


NUMBERS = [i.name for i in quote.TEMPLATE.inputs.values() if i.kind.is_number]
CHOICES = [i.name for i in quote.TEMPLATE.inputs.values() if i.kind.choices]
NEEDED = [i.name for i in quote.TEMPLATE.inputs.values() if i.needed and i.default is None]


OTHERWISE = {"machine_rate": "setup_rate", "top_speed": "op_2_top_speed", "quantity_1": "what_if_quantity", "markup": "margin"}
"""Inputs that another one stands in for: without that one, everything rests on them."""


@pytest.fixture(scope="module")
def book() -> Workbook:
    book = Workbook(quote.TEMPLATE.build(), direct=True)
    return book


def put(book: Workbook, inputs: dict) -> None:
    for name, item in quote.TEMPLATE.inputs.items():
        book.set(quote.TEMPLATE.form.cells[name], inputs.get(name, None if item.from_shop else item.default))
    book.calculate()


@pytest.mark.slow
@pytest.mark.parametrize("name", [*NUMBERS, *CHOICES, "material"])
def test_no_answer_that_rests_on_a_bad_input_is_a_number(book, name):
    answers = resting_on("quote", name) - {"not_counted", "operation_looks", "long_stickout", "more_looks", "value_said"}
    answers -= {"not_turned", "not_reached"} if name.startswith("section_") else {"not_turned", "not_reached", "least_section"}  # no part is drawn
    answers -= {f"offer_{n}" for n in BREAKS}  # a text; the customer's page shows none of them
    answers -= {"material_said"}  # a text, on a page that says it is not ready
    answers -= {f"proc_{n}_{what}" for n in range(1, 7) for what in ("first", "each", "lot") if not name.startswith(f"proc_{n}_")}
    answers -= {f"bracket_{n}_{what}" for n in range(3, 7) for what in ("bars", "cost")}  # blank rows
    answers -= {f"op_{n}_{what}" for n in range(1, 13) for what in ("usual_speed", "usual_feed", "usual_passes", "usual_edge", "like", "speeds_row", "cut_time")}
    answers -= {f"op_{n}_{what}" for n in range(1, 13) for what in ("time", "speed", "edge_share", "side", "turns_to")
                if n not in (2, 5) and not name.startswith(f"op_{n}_")}
    answers -= {f"op_{n}_limit" for n in range(1, 13)}  # what holds a spindle back is known without the cut
    answers -= {"main_changes"} if name != "tool_changes" else set()  # they are typed
    answers -= {a for a in answers if re.match(r"section_[0-9]", a)}  # no row is filled in but the bad one; test_part_sheet has its marks
    answers -= {"shape": {"bar_must_leave"}, "tolerance_class": {"bar_drawn_tolerance"}}.get(name, set())  # given as it is; no bar stays as drawn
    given = {n: value for n, value in GOOD.items() if not (name.startswith("section_") and n in ("part_length", "part_weight", "surface_area", "size", "finished_size"))}
    assert answers or name in ("feeder_longest_bar", "machine_type", "offer_whole_bars")
    labels = {"bracket_": "price brackets of the material", "op_": "operation list", "proc_": "outside and second operations", "section_": "sections of the part"}
    label = next((words for start, words in labels.items() if name.startswith(start)), quote.TEMPLATE.inputs[name].label.lower())
    for value in {"material": ("unobtainium", -7.85, 99.0, 0.0, True)}.get(name, (-1.0, 1e12, "x", True)):
        put(book, given | {OTHERWISE.get(name, name): None} | {name: value})
        status = str(book.value("quote_status"))
        assert status.startswith(f"{STOP}  Fill in or correct: "), (value, status)
        assert label in status
        assert [a for a in answers if not isinstance(book.value(answer_cell("quote", a)), CellError)] == [], value
        banner, numbers = page_of(book)
        assert banner.startswith(f"{STOP}  Not ready to send. Fill in or correct: ")
        assert numbers == []


def test_a_machine_that_the_shop_has_not_stops_the_quote(book):
    put(book, GOOD | {"machine": "Lathe 9"})
    assert book.value("quote_status") == f"{STOP}  Fill in or correct: machine (not on the sheet Shop)."
    assert page_of(book)[1] == []


def test_every_answer_but_a_text_is_a_number_where_all_inputs_are_good(book):
    put(book, GOOD)
    texts = {"material_name", "material_caution", "material_group", "currency_shown", "not_counted", "value_said", "cheaper_said", "bar_class_meant", "bar_idea", "bar_class", "bar_why", "not_turned", "not_reached", "taylor_work",
             *SAID - {"freight_line"}, *TOTALS, "machines_that_fit",  # nothing is drawn, see test_part_sheet
             *(f"offer_{n}" for n in BREAKS), *(f"bars_said_{tag}" for tag in WHAT_IFS)}
    assert {a for a in quote.TEMPLATE.form.answers if not isinstance(book.value(f"quote_{a}"), float)} == texts
    assert book.value("quote_not_known") == book.value("quote_problems") == ""
    banner, numbers = page_of(book)
    assert banner == ""
    assert len(numbers) == 20  # six quantities, prices and totals, set-up and freight as lines of their own


@pytest.mark.parametrize("name", [i.name for i in quote.TEMPLATE.inputs.values() if (i.default is not None or i.blank is not None)
                                  and not i.needed and i.kind.reader != "text"])
def test_a_cleared_cell_counts_as_its_default(book, name):
    item = quote.TEMPLATE.inputs[name]
    good = {n: v for n, v in GOOD.items() if n not in ("margin", "part_weight")} | {"margin": 0.0, "markup": 0.0}
    put(book, good | {name: item.default if item.default is not None else None if name in ("part_weight", "thickness", "finished_size", "aql", "box_weight", "box_parts") else item.blank})
    names = quote.TEMPLATE.form.answers.keys() - {"not_counted"}  # a 0 is given, a blank is not
    default = {answer: book.value(f"quote_{answer}") for answer in names}
    put(book, good | {name: None})
    assert {answer: book.value(f"quote_{answer}") for answer in names} == default


def test_every_input_that_is_a_number_bears_on_a_price():
    # The width of the part and its clean-up bear on the bar that it needs, which a size that is filled in stands for.
    aside = {"valid_days", "freight_charged", "finished_size", "clean_up", "confidence", "feeder_longest_bar", "what_if_quantity", "minimum_order", *(f"quantity_{n}" for n in range(2, 7))}
    assert [n for n in NUMBERS if n not in aside and "price_1" not in resting_on("quote", n)] == []
    for n in range(2, 7):
        assert f"total_{n}" in resting_on("quote", f"quantity_{n}")
    assert {f"value_{n}" for n in BREAKS} <= resting_on("quote", "minimum_order")


@pytest.mark.parametrize("name", NEEDED)
def test_what_is_missing_is_named_instead_of_a_price(name):
    assert name in ("quantity_1", "material_price", "price_per", "machine_rate") or not name.startswith(("price", "quantity", "machine"))
    book = in_the_sheet("quote", GOOD | {name: None})
    label = quote.TEMPLATE.inputs[name].label.lower()
    assert str(book.value("quote_problems")) in (f"{label}, ", f"{label}, operation list, ")
    assert isinstance(book.value("quote_price_1"), CellError)
    assert page_of(book)[1] == []


@pytest.mark.parametrize(("change", "words"), [
    ({"margin": None}, "Fill in or correct: margin (or markup; 0 % counts)."),
    ({f"op_{n}_{c}": None for n in (2, 5) for c in (c.name for c in OPERATIONS.columns if c.name != "note")}, "Fill in or correct: cycle time (or the operation list)."),
    ({"op_2_surface_speed": None}, "Fill in or correct: operation list."),
    ({"op_2_end_diameter": 1.0}, "Fill in or correct: operation list."),
    ({"op_5_length": None}, "Fill in or correct: operation list."),
    ({"op_5_operation": None}, "Fill in or correct: operation list."),
    ({"op_7_passes": 2.0}, "Fill in or correct: operation list."),
    ({"op_2_top_speed": None, "top_speed": None}, "Fill in or correct: operation list."),
    ({"markup": 0.25}, "See the checks."),
    ({"part_weight": 0.5}, "See the checks."),
    ({"chip_price": 50.0, "material_price": 0.1}, "See the checks."),
    ({"bar_length": 4.0}, "See the checks."),
    ({"shape": "tube"}, "See the checks."),
    ({"thickness": 0.2}, "See the checks."),
    ({"quantity_3": 9_999_999.0, "scrap_rate": 0.5}, "These can't be worked out from the inputs: price each at quantity 3."),
])
def test_inputs_that_do_not_go_together_give_no_price(change, words):
    book = in_the_sheet("quote", GOOD | change)
    assert book.value("quote_status") == f"{STOP}  {words}"
    assert isinstance(book.value("quote_price_3"), CellError)
    assert page_of(book)[1] == []
    assert page_of(book)[0].startswith(f"{STOP}  Not ready to send")


@pytest.mark.parametrize(("change", "column", "reason"), [
    ({"margin": None}, "margin", "is missing (or markup; 0 % counts)"),
    ({"markup": 0.25}, "markup", "give a margin or a markup, not both"),
    ({"material_price": None}, "material_price", "is missing"),
    ({"price_per": None}, "price_per", "is missing"),
    ({"machine_rate": None}, "machine_rate", "is missing"),
    ({f"op_{n}_{c}": None for n in (2, 5) for c in (c.name for c in OPERATIONS.columns if c.name != "note")}, "cycle_time", "is missing (or the operation list)"),
    ({"op_5_length": None}, "op_5_length", "every operation along the bar needs a length"),
    ({"op_5_operation": None}, "op_5_operation", "is missing"),
    ({"op_2_end_diameter": 1.0}, "op_2_end_diameter", "facing, grooving, cut-off and tapers end at a smaller diameter than they start"),
    ({"op_2_top_speed": None, "top_speed": None}, "op_2_top_speed", "facing, grooving and cut-off need a top speed"),
    ({"op_2_passes": 0.5}, "op_2_passes", "allowed is a whole number"),
    ({"quantity_1": None}, "quantity_1", "is missing"),
    ({"quantity_4": 2.5}, "quantity_4", "allowed is a whole number"),
    ({"machine": "Lathe 9"}, "machine", "not on the sheet Shop"),
    ({"part_weight": 0.5}, "part_weight", "is more than the bar over the length of the part weighs"),
    ({"chip_price": 50.0, "material_price": 0.1}, "quantity_1", "chips and remnants would bring more than everything else costs"),
    ({"quantity_3": 9_999_999.0, "scrap_rate": 0.5}, "quantity_3", "has no price"),
    ({"bar_length": 4.0}, "part_length", "no whole part fits"),
    ({"shape": "tube"}, "thickness", "need a thickness above 0"),
    ({"quantity": 5}, "quantity", "is not an input of this template; did you mean"),
])
def test_fill_says_what_is_wrong_with_a_quote(change, column, reason):
    with pytest.raises(bf.InputError, match=f"^quote: .*{re.escape(reason)}") as caught:
        fill("quote", GOOD | change)
    assert type(caught.value) is bf.InputError
    assert column in dict(caught.value.problems)


def test_a_return_that_is_more_than_the_costs_is_said_in_a_check():
    book = in_the_sheet("quote", GOOD | {"chip_price": 50.0, "material_price": 0.1})
    word, sentence = check(book.to_bytes(), "Price")
    assert word == STOP
    assert "chips and remnants would bring more than everything else costs" in sentence


def test_a_check_says_nothing_of_prices_that_are_not_known():
    book = in_the_sheet("quote", GOOD | {"material_price": None})
    assert check(book.to_bytes(), "Quantities") == ("\u00b7 \u00b7 \u00b7", "Quantities: not known yet.")


# --- the customer's page -------------------------------------------------------------------------------------------


def test_no_formula_on_the_customers_page_refers_to_a_cost():
    book = openpyxl.load_workbook(io.BytesIO(quote.TEMPLATE.build()))
    page = book["Quotation"]
    formulas = [c.value for row in page.iter_rows() for c in row if c.data_type == "f"]
    words = {w for f in formulas for w in re.findall(r"[a-z_]\w*", re.sub(r'"[^"]*"', "", f))}
    allowed = {f"quote_{name}_{n}" for name in ("shown", "value", "offer") for n in BREAKS}
    allowed |= {f"quote_{name}" for name in SAID}
    allowed |= {"quote_setup_line", "quote_tooling_line", "quote_value_said", "use_size", "use_priced_per", "use_offer_whole_bars", "quote_problems", "quote_status", "quote_currency_shown", *(f"use_quantity_{n}" for n in BREAKS),
                *(f"quantity_{n}" for n in BREAKS), "units", "material", "shape", "size", "thickness", "customer", "part_number",
                "drawing", "revision", *(i.name for i in LETTER)}
    shop_words = {w for w in words if w.startswith("shop_")}
    assert shop_words <= {f"shop_{i.name}" for i in LETTER if i.from_shop}
    assert words - allowed - shop_words == set()
    assert not [f for f in formulas if "Costing!" in f or "Prices!" in f or "Notes!" in f]
    assert not page._charts


def test_what_is_filled_in_for_the_customers_page_stands_outside_what_is_printed():
    book = openpyxl.load_workbook(io.BytesIO(quote.TEMPLATE.build()))
    page = book["Quotation"]
    on_paper = {c.coordinate for row in printed(page) for c in row}
    for item in LETTER:
        sheet, _, ref = book.defined_names[item.name].attr_text.rpartition("!")
        assert sheet.strip("'") == "Quotation"
        assert ref.replace("$", "") not in on_paper
    shown = [c.coordinate for row in page.iter_rows() for c in row if c.data_type == "f" and re.search(r"quote_(shown|value)_\d", c.value)]
    assert len(shown) == 12
    assert set(shown) <= on_paper


@pytest.mark.slow
def test_the_customers_page_shows_the_quantities_and_prices_asked_for():
    for filled in quotes(20):
        page = openpyxl.load_workbook(io.BytesIO(filled.data), data_only=True)["Quotation"]
        rows = [[c.value for c in row[1:4]] for row in printed(page) if isinstance(row[1].value, (int, float))]
        if filled.answers["status"].startswith(STOP):
            assert rows == []
            assert page["B6"].value.startswith(f"{STOP}  Not ready to send")
            continue
        assert not page["B6"].value
        a = filled.answers
        assert rows == [[filled.inputs[f"quantity_{n}"], a[f"shown_{n}"], a[f"value_{n}"]] for n in asked(filled)]
        offers = [row[4].value or "" for row in printed(page) if isinstance(row[1].value, (int, float))]
        assert offers == [a[f"offer_{n}"] or "" for n in asked(filled)]
        once = [(row[1].value, row[3].value) for row in printed(page) if str(row[1].value).endswith(", once")]
        assert once == [(label, a[name]) for label, name in (("Set-up, once", "setup_line"), ("Tooling, once", "tooling_line"), ("Freight, once", "freight_line"))
                        if a[name] not in ("", 0)]


@pytest.mark.slow
def test_a_text_on_the_customers_page_never_becomes_a_formula():
    texts = {i.name: "=1+1" for i in LETTER if i.kind.reader == "text"} | {"customer": "=1+1", "op_1_note": "=1+1"}
    book = Workbook(fill("quote", GOOD | texts).data, direct=True)
    book.calculate()
    assert {name: book.value(quote.TEMPLATE.form.cells[name]) for name in texts} == texts
    page = openpyxl.load_workbook(io.BytesIO(book.to_bytes()), data_only=True)["Quotation"]
    assert page["B1"].value == "=1+1"


@pytest.mark.slow
@pytest.mark.parametrize(("change", "word", "sentence"), [
    ({"cycle_time": 1, "material_price": 0.001, "machine_rate": 5, "margin": 0.1, "quantity_1": 100_000}, STOP, "rounded down to nothing"),
    ({"machine_rate": 0}, LOOK, "the machine rate is 0"), ({"rounding": "none"}, LOOK, "is not rounded"),
    ({"setup_hours": 0}, LOOK, "No set-up time is counted"), ({"margin": 0.0001, "quantity_1": 90}, LOOK, "below the cost"),
])
def test_prices_that_ask_for_a_second_look(change, word, sentence):
    job = {"units": "in", "material": "303", "shape": "round", "size": 1, "bar_length": 144, "part_length": 2, "cutoff_width": 0.125,
           "face_to_cutoff": 0.2, "grip_length": 2, "machine_rate": 80, "material_price": 3, "price_per": "lb", "margin": 0.3, "quantity_1": 97,
           "setup_hours": 0.01, "cycle_time": 60}
    filled = fill("quote", job | change)
    assert filled.answers["status"].startswith(word)
    page = openpyxl.load_workbook(io.BytesIO(filled.data), data_only=True)["Notes"]
    assert any(page.cell(row, 2).value == word and sentence in page.cell(row, 3).value for row in range(1, page.max_row + 1))


@pytest.mark.parametrize(("scrap_rate", "word"), [(None, LOOK), (0, OK), (0.02, OK)])
def test_a_scrap_rate_that_is_not_filled_in_is_said(scrap_rate, word):
    book = in_the_sheet("quote", GOOD | dict.fromkeys(f"quantity_{n}" for n in range(2, 7)) | {"scrap_rate": scrap_rate, "setup_parts": None})
    number = [check.topic for check in quote.TEMPLATE.checks].index("Quantities") + 1
    assert book.value(f"quote_check_words[{number}]") == word
    assert (book.value(f"quote_check_sentences[{number}]") == "Quantities: The scrap rate is not filled in: no scrap is counted. Where there is none, fill in 0.") == (
        scrap_rate is None)
