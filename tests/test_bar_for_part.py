"""The bar for a part in plan and quote: from sections or a width, from usual steps or the shop's own list, against the functions."""

import io
import random
import re

import openpyxl
import pytest
from job_generator import GOOD_INPUTS
from reference_part import standard_class
from template_forms import in_the_sheet

import barfuncs as bf
from barfuncs.catalogue import kinds
from barfuncs.filling.filler import fill
from barfuncs.tables import speeds_feeds, tolerances
from barfuncs.templates.bar_data_sheet import APART, TITLE, tolerance_key
from barfuncs.templates.model import LOOK, NOTE, OK, STOP
from barfuncs.templates.registry import TEMPLATES
from barfuncs.templates.shop import Rates, Shop, StockSize, read_shop
from barfuncs.templates.shop import build as shop_file
from barfuncs.xlsx.engine import Workbook

MATERIALS = ("Steel 1215", "Steel 4140", "303", "17-4 PH", "2205", "Tool steel O1", "Brass C36000", "6061", 7.0)
SIZES = (10.0, 12.0, 12.05, 16.0, 17.0, 18.0, 18.05, 19.0, 25.0, 27.0, 30.0, 30.1, 30.2, 45.0, 80.0, 81.0, 130.0)


def random_bar(rng):
    units = rng.choice(["in", "mm"])
    unit = 25.4 if units == "mm" else 1
    size = round(rng.uniform(0.1, 3) * unit, 3)
    finished = round(size * rng.uniform(0.7, 1.02), 3)
    if rng.random() < 0.4:  # at an edge of a band, a size that is kept, one that is too large
        finished = rng.choice([0.5, 1, 1.25, 2, 9, 13] if units == "in" else [10, 17.97, 18, 25, 29.98, 30, 41, 79.9, 315, 330])
    return {"units": units, "shape": rng.choice(kinds.BAR_SHAPES), "size": size, "finished_size": finished, "surface": rng.choice(kinds.BAR_SURFACES),
            "tolerance_class": rng.choice(["standard", *kinds.TOLERANCE_CLASSES]), "material": rng.choice(MATERIALS), "defect_class": rng.choice(kinds.DEFECT_CLASSES),
            "clean_up": rng.choice([0, 0, round(rng.uniform(0, 0.05) * unit, 3)])}


IDEA = ", an idea: no standard here is for this bar"


def by_function(bar, sizes=None):
    """What the functions give for it: size, why, what the bar that is filled in leaves."""
    keywords = {name: bar[name] for name in ("surface", "tolerance_class", "defect_class", "clean_up", "units")}
    idea = False
    if bar["tolerance_class"] == "standard":
        keywords["tolerance_class"], idea = standard_class(bar.get("material", "Steel 1215"), bar["shape"], bar["units"])
    keywords |= {"part_shape": bar["shape"], "bar_shape": bar["shape"]}
    try:
        found = [bf.bar_size_for(bar["finished_size"], sizes, **keywords), bf.bar_size_reason(bar["finished_size"], sizes, **keywords)]
    except bf.InputError:
        found = ["none", None]
    if idea and found[1]:
        found[1] = re.sub(r"(\((?:h1[012]|common practice))", rf"\1{IDEA}", found[1])
    del keywords["surface"], keywords["part_shape"]
    try:
        return [*found, bf.size_left(bar["size"], **keywords)]
    except bf.InputError:
        return [*found, "-"]


def shown(book, prefix):
    return [book.value(f"{prefix}{name}") for name in ("bar_size_needed", "bar_why", "bar_leaves")]


def same(found, wanted):
    why = found[1] == wanted[1] or (wanted[1] is None and "no size in the list leaves " in found[1])
    return why and all(a == b if isinstance(b, str) else a == pytest.approx(b, rel=1e-12) for a, b in zip(found[::2], wanted[::2], strict=True))


@pytest.mark.parametrize(("template", "count"), [("job_plan", 150), pytest.param("quote", 60, marks=pytest.mark.slow)])
def test_the_sheet_gives_what_the_functions_give(template, count):
    rng = random.Random(f"bar {template}")
    for _ in range(count):
        bar = random_bar(rng)
        book = in_the_sheet(template, GOOD_INPUTS[template] | bar)
        found = shown(book, TEMPLATES[template].form.prefix)
        assert same(found, by_function(bar)), (bar, found, by_function(bar))


def test_a_wrong_size_would_be_noticed():
    bar = random_bar(random.Random(1)) | {"finished_size": 1.0, "units": "in"}
    size, why, left = by_function(bar)
    assert not same([size * 1.01, why, left], [size, why, left])
    assert not same([size, f"{why} ", left], [size, why, left])


def own(units="mm", shape=None):
    stock = [StockSize(size, shape) for size in SIZES] + [StockSize(22.0, "hexagon")]
    return Shop("mm", Rates(), (), (), speeds_feeds.builtin(), tuple(stock)).in_units(units)


def test_the_shops_own_sizes_come_before_the_usual_steps():
    book = Workbook(TEMPLATES["job_plan"].build(own()), direct=True)
    rng = random.Random("own sizes")
    for _ in range(80):
        bar = random_bar(rng)
        for name, value in (GOOD_INPUTS["job_plan"] | bar).items():
            book.set(TEMPLATES["job_plan"].form.cells[name], value)
        book.calculate()
        sizes = own().in_units(bar["units"]).stock_sizes(bar["shape"])
        assert (22.0 in own().stock_sizes(bar["shape"])) == (bar["shape"] == "hexagon")
        assert same(shown(book, "plan_"), by_function(bar, sizes)), bar


JOB = {"units": "mm", "material": "Steel 1215", "cutoff_width": 3, "face_to_cutoff": 4, "grip_length": 50, "bar_length": 3000, "quantity": 500}
PRICED = {"material_price": 2.0, "price_per": "kg", "cycle_time": 40, "machine_rate": 60, "margin": 0.2, "quantity_1": 500}


@pytest.mark.parametrize("template", TEMPLATES)
def test_a_row_with_sections_alone_gives_the_bar(template):
    job = JOB | {"sections": "25 x 10; 18 x 30"} | (PRICED if template == "quote" else {})
    if template == "quote":
        job.pop("quantity")
    answers = fill(template, job).answers
    assert (answers["bar_size_needed"], answers["bar_why"]) == (27.0, "27 mm leaves 25.836; 26 mm leaves 24.876, less than 25 (h10, defects class 1)")
    assert answers["bar_weight"] == pytest.approx(bf.bar_weight("Steel 1215", "round", 27, 3000, units="mm"))
    assert fill(template, job, shop=own()).answers["bar_size_needed"] == 27.0
    assert fill(template, job | {"surface": "as drawn"}).answers["bar_size_needed"] == 25.0
    assert fill(template, job | {"size": 30}).answers["bar_weight"] == pytest.approx(bf.bar_weight("Steel 1215", "round", 30, 3000, units="mm"))


def test_hexagon_bar_for_a_part_with_flats():
    job = JOB | {"shape": "hexagon", "sections": "hexagon 19 x 10; 12 x 30", "surface": "as drawn"}
    answers = fill("job_plan", job).answers
    assert answers["bar_size_needed"] == 19
    assert answers["bar_why"] == "19 mm stays as drawn: 18.87 to 19 (h11)"
    del job["surface"]  # the flats stay as drawn unless it says turned
    assert fill("job_plan", job).answers["bar_why"] == answers["bar_why"]
    assert fill("job_plan", job | {"surface": "turned"}).answers["bar_size_needed"] == bf.bar_size_for(
        19, part_shape="hexagon", bar_shape="hexagon", units="mm") > 19
    assert fill("job_plan", job | {"sections": "18 x 10; 12 x 30"}).answers["bar_size_needed"] == bf.bar_size_for(
        18, part_shape="hexagon", bar_shape="hexagon", units="mm") > 18
    job["surface"] = "as drawn"
    # of round bar: across corners, and turned
    round_bar = fill("job_plan", job | {"shape": "round"}).answers
    assert round_bar["bar_must_leave"] == pytest.approx(19 * 2 / 3**0.5)
    assert round_bar["bar_size_needed"] == bf.bar_size_for(19, part_shape="hexagon", units="mm", surface="as drawn") == 23


def test_without_sections_a_size_is_still_asked_for():
    with pytest.raises(bf.InputError, match="size: is missing"):
        fill("job_plan", JOB | {"part_length": 40})
    with pytest.raises(bf.InputError, match="size"):  # no size of bar is as large
        fill("job_plan", JOB | {"sections": "400 x 10"})


@pytest.mark.parametrize(("change", "word", "words"), [
    ({"finished_size": None}, NOTE, "Neither sections nor the largest width"),
    ({"shape": "octagon"}, NOTE, "round, hexagon and square bar"),
    ({"finished_size": 1.01}, STOP, "The part is wider, 1.01, than the bar, 1 in. 1.0625 in leaves"),
    ({"finished_size": 1.0}, LOOK, "The bar may leave only 0.957, the part is 1 in wide. 1.0625 in leaves 1.017"),
    ({"finished_size": 1.0, "surface": "as drawn"}, OK, "The bar stays as drawn at 1 in."),
    ({"finished_size": 0.95}, OK, "The bar leaves 0.957, the part is 0.95 in wide; no smaller size does."),
    ({"finished_size": 0.7}, NOTE, "A smaller bar would do: 0.75 in leaves"),
    ({"finished_size": 0.9, "tolerance_class": "A484", "shape": "hexagon"}, LOOK, "No tolerance is known for a bar of this class"),
])
def test_the_check_of_the_bar(change, word, words):
    book = in_the_sheet("job_plan", GOOD_INPUTS["job_plan"] | change)
    topics = [check.topic for check in TEMPLATES["job_plan"].checks]
    sheet, row, column = book.first_cell("plan_check_words")
    row += topics.index("Bar for the part")
    mark, said = (str(book.value_at((sheet, row, column + n))) for n in (0, 1))
    assert mark == word
    assert words in said


@pytest.mark.parametrize(("material", "shape", "units", "said"), [
    ("Steel 1215", "round", "in", "(A108 to 0.55% C, defects"), ("1018", "hexagon", "in", "(A108 to 0.55% C, defects"), ("Steel 4140", "round", "in", "(A108 over 0.55% C, defects"),
    ("303", "round", "in", "(A484, defects"), ("17-4 PH", "round", "in", "(A484, defects"), ("2205", "round", "in", "(A484, defects"),
    ("303", "hexagon", "in", f"(common practice{IDEA}, defects"), ("Tool steel O1", "round", "in", f"(common practice{IDEA}, defects"),
    ("Brass C36000", "round", "in", f"(common practice{IDEA}, defects"), ("6061", "square", "in", f"(common practice{IDEA}, defects"),
    (0.2, "round", "in", f"(common practice{IDEA}, defects"),
    ("303", "round", "mm", "(h10, defects"), ("Tool steel O1", "hexagon", "mm", "(h11, defects"), ("Brass C36000", "round", "mm", f"(h10{IDEA}, defects"),
    ("6061", "square", "mm", f"(h11{IDEA}, defects"),
])
def test_the_standard_class_goes_by_the_material(material, shape, units, said):
    unit = 25.4 if units == "mm" else 1
    bar = {"material": material, "shape": shape, "units": units, "size": 1.25 * unit, "finished_size": 0.9 * unit, "surface": "turned"}
    lengths = ("part_length", "cutoff_width", "face_to_cutoff", "grip_length", "bar_length", "supplied_length", "kerf", "feeder_longest_bar", "rear_hold")
    job = GOOD_INPUTS["job_plan"] | {name: GOOD_INPUTS["job_plan"][name] * unit for name in lengths} | {"part_weight": None}
    assert said in str(in_the_sheet("job_plan", job | bar).value("plan_bar_why"))
    # What is chosen is no idea of ours.
    for chosen in ("h9", "common practice"):
        assert f"({chosen}, defects" in str(in_the_sheet("job_plan", job | bar | {"tolerance_class": chosen}).value("plan_bar_why"))


@pytest.mark.parametrize(("change", "bow", "said"), [
    ({}, 0.144, "In the middle of 144 in, drawn bar, EN 10278 as read in a copy"),
    ({"steel": "carbon from 0.25% or alloy"}, 0.216, "In the middle of 144 in"), ({"steel": "carbon from 0.25% or alloy", "shape": "hexagon"}, 0.288, "In the middle"),
    ({"bar_length": 72.0}, 0.072, "In the middle of 72 in"), ({"steel": None}, "-", None),
    ({"shape": "square", "size": 3.0, "finished_size": None}, "-", "No straightness is known"), ({"shape": "octagon"}, "-", "No straightness is known"),
    ({"material": "Brass C36000"}, "-", "No straightness is known for bar of this shape, size and material."), ({"material": 0.28}, 0.144, "In the middle"),
    ({"material": "303"}, 0.144, "In the middle"),
])
def test_straightness_of_the_loaded_bar_where_it_is_asked_for(change, bow, said):
    """1 mm in a metre for carbon steel below 0.25 %, 1.5 from there on, 2 for its hexagon."""
    book = in_the_sheet("job_plan", GOOD_INPUTS["job_plan"] | change)
    assert book.value("plan_bar_bow") == (bow if isinstance(bow, str) else pytest.approx(bow, rel=1e-12))
    sheet, row, column = book.first_cell("plan_bar_bow")
    text = book.value_at((sheet, row + 1, column - 1)) or None
    assert text is said is None or str(text).startswith(said)


def test_the_sheet_with_the_data_has_no_formula_and_the_tolerances_of_the_function():
    for template in TEMPLATES:
        book = openpyxl.load_workbook(io.BytesIO(TEMPLATES[template].build()))
        sheet = book[TITLE]
        assert not [c for row in sheet.iter_rows() for c in row if c.data_type == "f"]

        def column(name):
            return [cell.value for cell, in sheet[book.defined_names[name].attr_text.partition("!")[2].replace("$", "")]]  # noqa: B023

        starts = dict(zip(column("tolerance_names"), column("tolerance_starts"), strict=True))
        sizes, values = column("tolerance_sizes"), column("tolerance_values")
        assert sizes == sorted(sizes)
        rng = random.Random(7)
        for name in kinds.TOLERANCE_CLASSES:
            for shape in kinds.BAR_SHAPES:
                for units in ("in", "mm"):
                    start = starts[tolerance_key(name, shape, units)]
                    band = [(size - start, value) for size, value in zip(sizes, values, strict=True) if start <= size < start + APART]
                    for size in (*(r.up_to * tolerances.MM[r.unit] for r in tolerances.size_tolerances()), *(rng.uniform(0.2, 400) for _ in range(20))):
                        value = [v for at, v in band if at <= size][-1]
                        try:
                            wanted = bf.size_tolerance(size if units == "mm" else size / 25.4, name, shape, units) * (1 if units == "mm" else 25.4)
                        except bf.InputError:
                            assert value == "none", (name, shape, units, size)
                        else:
                            assert value == pytest.approx(wanted, abs=1e-12), (name, shape, units, size)


# --- the shop file -------------------------------------------------------------------------------------------------


def with_stock(path, rows, drop=False):
    path.write_bytes(shop_file())
    book = openpyxl.load_workbook(path)
    if drop:
        del book["Stock sizes"]
    else:
        sheet = book["Stock sizes"]
        for row, values in enumerate(rows, start=6):
            for letter, value in zip("BCD", values, strict=False):
                sheet[f"{letter}{row}"] = value
    book.save(path)
    return path


def test_sizes_are_read_from_the_shop_file(tmp_path):
    shop = read_shop(with_stock(tmp_path / "shop.xlsx", [(1, "round", "by the bundle"), ("3/4", "hex"), ("20 mm", None), (0.5, "round")]))
    assert shop.stock == (StockSize(1.0, "round", "by the bundle"), StockSize(0.75, "hexagon"), StockSize(20 / 25.4), StockSize(0.5, "round"))
    assert shop.stock_sizes("round") == [0.5, 20 / 25.4, 1.0]
    assert shop.stock_sizes("square") == [20 / 25.4]
    assert shop.in_units("mm").stock_sizes("hexagon") == pytest.approx([0.75 * 25.4, 20])


def test_a_shop_file_of_before_has_no_such_sheet(tmp_path):
    assert read_shop(with_stock(tmp_path / "shop.xlsx", [], drop=True)).stock == ()


def test_bad_sizes_are_named(tmp_path):
    with pytest.raises(bf.InputError) as caught:
        read_shop(with_stock(tmp_path / "shop.xlsx", [("wide",), (-1,), (1, "triangle"), (None, "round")]))
    assert [place for place, _ in caught.value.problems] == ["Stock sizes, B6 (Size)", "Stock sizes, B7 (Size)", "Stock sizes, C8 (Shape)", "Stock sizes, B9 (Size)"]
    with pytest.raises(bf.InputError, match="Stock sizes, row 7: says the same as row 6"):
        read_shop(with_stock(tmp_path / "twice.xlsx", [(1, "round"), ("1 in", "round")]))


def test_a_bad_size_on_the_sheet_shop_stops_the_plan():
    book = Workbook(TEMPLATES["job_plan"].build(own()), direct=True)
    for name, value in GOOD_INPUTS["job_plan"].items():
        book.set(TEMPLATES["job_plan"].form.cells[name], value)
    book.calculate()
    assert book.value("plan_shop_problems") == 0
    assert str(book.value("plan_status")).startswith((OK, LOOK))
    sheet, row, column = book.first_cell("stock_size")
    book.set_at((sheet, row, column), -3.0)
    book.calculate()
    assert book.value("plan_shop_problems") == 1
    assert "sheet Shop" in str(book.value("plan_status"))
