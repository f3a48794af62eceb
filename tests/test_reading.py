"""Reading what people write: digits of all kinds, choices and materials in other words, and nothing but our own errors."""

import decimal
import functools
import math
import re
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import barfuncs as bf
from barfuncs.catalogue import kinds, materials, units
from barfuncs.catalogue.entry import find
from barfuncs.catalogue.kinds import Kind
from barfuncs.catalogue.reading import Way, read_choice, read_value
from barfuncs.errors import BarfuncsError, InputError, shown
from barfuncs.filling.filler import read_inputs
from barfuncs.tables import speeds_feeds

HUGE = 10**400
HUGEST = 10**5000  # more digits than Python writes out

# --- no error but our own ------------------------------------------------------------------------------------------

_PIECES = st.sampled_from([
    "1", "3", "8", "12", "0", "400", ".", ",", "/", "-", "\u2013", " ", "\u00a0", "'", '"', "in", "in.", "ft", "ft.", "mm", "m",
    "thou", "lb", "oz", "kg", "g/cm3", "g/cm\u00b3", "sfm", "m/min", "rpm", "tpi", "sec", "min", "h", "%", "$", "pcs", "\u00d8", "dia",
    "e9", "e99", "\u00bd", "\u00b2", "\u00b3", "\u2079", "\u2083", "\u0663", "\uff11", "\u2460", "\u216b", "303", "stainless", "C360", "T6", "alloy", "lb/in", "x", "\n",
    "\x00", "\ud800",
])
TEXTS = st.one_of(st.lists(_PIECES, max_size=8).map("".join), st.text(max_size=80))
WHOLE = st.one_of(st.integers(), st.sampled_from([HUGE, -HUGE, HUGEST, -HUGEST, 10**308, 10**309]))
DECIMALS = st.one_of(st.decimals(), st.sampled_from([Decimal("sNaN"), Decimal("-Infinity"), Decimal("1E+999999"), Decimal("1E-999999")]))
FRACTIONS = st.one_of(st.fractions(), st.sampled_from([Fraction(HUGE), Fraction(1, HUGE), Fraction(HUGEST, 3)]))
ANYTHING = st.one_of(TEXTS, WHOLE, DECIMALS, FRACTIONS, st.floats(), st.booleans(), st.none(), st.binary(max_size=4),
                     st.complex_numbers(), st.lists(st.integers(), max_size=2))

KINDS = {name: kind for name in dir(kinds) for kind in getattr(getattr(kinds, name), "__metadata__", ()) if isinstance(kind, Kind)}
PARSERS = {name: getattr(units, name) for name in dir(units) if name.startswith("parse_")}


def test_the_kinds_and_the_parsers_are_all_there():
    assert {kind.reader for kind in KINDS.values()} >= {"length", "count", "fraction", "material", "choice", "pitch", "hours"}
    assert len(PARSERS) >= 11


@settings(deadline=None, max_examples=800, derandomize=True)
@given(st.sampled_from(sorted(KINDS)), ANYTHING, st.booleans())
def test_a_reader_gives_a_value_or_our_own_error(name, value, decimal_comma):
    kind = KINDS[name]
    try:
        read, system = read_value(kind, value, Way(decimal_comma=decimal_comma))
    except BarfuncsError:
        return
    assert system in (None, "in", "mm")
    if kind.is_number:
        assert type(read) is float
        assert math.isfinite(read)


@settings(deadline=None, max_examples=800, derandomize=True)
@given(st.sampled_from(sorted(PARSERS)), ANYTHING, st.booleans())
def test_a_parser_gives_a_number_or_our_own_error(name, value, decimal_comma):
    options = {} if name == "parse_count" else {"decimal_comma": decimal_comma}
    try:
        read = PARSERS[name](value, **options)
    except BarfuncsError:
        return
    assert isinstance(value, str)
    assert math.isfinite(read[0] if isinstance(read, tuple) else read)


SOME = {
    "length": 2.5, "weight": 3.0, "density": 8.0, "seconds": 30.0, "minutes": 15.0, "hours": 2.0, "surface_speed": 300.0, "feed_rate": 0.005,
    "spindle_speed": 900.0, "pitch": 0.05, "angle": 118.0, "number": 2.0, "count": 3, "fraction": 0.5, "material": "303",
    "text": "1 in", "table": [100], "bin_volume": 40.0,
}


def usual(argument):
    if argument.name == "price_brackets":
        return [[1, 53], [50, 51.5]]
    if argument.name == "offers":
        return "144: 2.4"
    if argument.kind.columns:
        return "0.25 x 0.5"
    return argument.kind.choices[0] if argument.kind.choices else SOME[argument.kind.reader]


@pytest.mark.slow
@settings(deadline=None, max_examples=800, derandomize=True)
@given(st.sampled_from(sorted(bf.CATALOGUE)), st.data())
def test_a_function_gives_a_finite_result_or_an_input_error(name, data):
    entry = bf.CATALOGUE[name]
    argument = data.draw(st.sampled_from(entry.arguments))
    values = {a.name: usual(a) for a in entry.arguments if a.required} | {argument.name: data.draw(ANYTHING)}
    try:
        result = getattr(bf, name)(**values)
    except InputError:
        assert bf.why(name, **values) != "ok"
        return
    flat = [x for row in result for x in row] if isinstance(result, list) and result and isinstance(result[0], tuple) else [result]
    assert all(math.isfinite(x) for x in flat if not isinstance(x, (list, str)))
    assert all(x.isprintable() for x in flat if isinstance(x, str))


JOB = {"material": "303", "size": 1, "part_length": 2, "cutoff_width": 0.1, "face_to_cutoff": 0.2, "grip_length": 2,
       "bar_length": 144, "quantity": 100}


@settings(deadline=None, max_examples=200, derandomize=True)
@given(st.sampled_from(["job", "units", "material", "shape", "size", "quantity", "scrap_rate", "cycle_time", "price_per"]), ANYTHING)
def test_a_job_is_read_or_refused_by_name(name, value):
    problems: tuple[tuple[str, str], ...] = ((name, ""),)
    try:
        read_inputs(JOB | {name: value})
    except InputError as error:
        problems = error.problems
    assert {column for column, _ in problems} & {name, "thickness"}


@pytest.mark.parametrize("call", [
    lambda: bf.parts_per_bar(HUGE, 2, 0.1, 3), lambda: bf.parts_per_bar(144, 2, 0.1, HUGEST), lambda: bf.material_density(HUGE),
    lambda: bf.material_density(HUGEST, "mm"), lambda: bf.bar_weight(Fraction(HUGE), "round", 1, 144),
    lambda: bf.material_density(Decimal("1e9999")), lambda: bf.section_area(HUGEST, 1), lambda: bf.length_in(HUGEST, "in"),
    lambda: bf.price_breaks(HUGEST, 59, 34.8, 45, 30, 1.5, 80, markup=0), lambda: bf.price_breaks([HUGE], 59, 34.8, 45, 30, 1.5, 80, markup=0), lambda: read_inputs(JOB | {"material": HUGE}),
    lambda: read_inputs(JOB | {"job": HUGEST}), lambda: read_inputs(JOB | {"size": Fraction(HUGEST)}), lambda: read_inputs(HUGEST),
    lambda: units.from_quantity(units.registry().Quantity(HUGE, "inch"), "length", "in"), lambda: find(HUGEST),
])
def test_a_number_of_hundreds_of_digits_is_refused_in_words(call):
    with pytest.raises(BarfuncsError, match=r"given|expected|not known here|can't be read"):
        call()


def test_how_a_message_shows_a_value():
    assert shown("12,5") == "'12,5'"
    assert shown(HUGEST) == "a number of 5001 digits"
    assert len(shown("x" * 200)) == 60


# --- digits that are none ------------------------------------------------------------------------------------------

ODD_DIGITS = ["\u00b9", "\u00b2", "\u00b3", "\u2070", "\u2079", "\u2080", "\u2083", "\uff13", "\u0663", "\u0969", "\u2462", "\u2162", "\u3007",
              "\U0001d7da"]


@pytest.mark.parametrize("digit", ODD_DIGITS)
@pytest.mark.parametrize("name", sorted(PARSERS))
def test_a_digit_of_another_kind_is_no_digit(name, digit):
    for text in (f"1{digit}", f"{digit}5", f"1{digit}/8", f"1 {digit}/8", f"{digit}"):
        with pytest.raises(units.TextError, match=r"is no plain digit|means nothing here"):
            PARSERS[name](text)


def test_a_raised_three_is_read_in_a_unit_only():
    assert units.parse_density("7.85 g/cm\u00b3") == (7.85, "mm")
    assert units.parse_density("0.284 lb/in\u00b3") == (0.284, "in")
    for text in ("7\u00b3/8", "7.8\u00b3 g/cm3", "7.85 g/cm3\u00b3"):
        with pytest.raises(units.TextError, match="'\u00b3' is no plain digit"):
            units.parse_density(text)


# --- choices -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("choice", "texts"), [
    ("round", ["rd", "Rnd", "rd.", "round bar", "ROUND BAR", "round stock", "round rod"]),
    ("hexagon", ["hex", "HEX", "hex bar", "hex. bar", "hexagonal", "hexagon bar"]),
    ("square", ["sq", "sq.", "SQ BAR", "square bar"]), ("octagon", ["oct", "octagonal", "oct. bar"]),
    ("flat", ["flat bar", "rect", "rectangle", "rectangular bar"]), ("tube", ["tubing", "Tubes", "round tube"]),
    ("hexagon tube", ["hex tube", "HEX TUBING", "hexagonal tube", "hex-tube", "hexagon  tube"]),
])
def test_shapes_in_other_words(choice, texts):
    assert [read_choice(text, kinds.SHAPES) for text in texts] == [choice] * len(texts)


@pytest.mark.parametrize(("choices", "choice", "texts"), [
    (kinds.OPERATIONS, "cut-off", ["cutoff", "Cut Off", "cut\u2011off", "CUT_OFF", "parting off", "part off"]),
    (kinds.OPERATIONS, "threading", ["thread", "Threads"]), (kinds.OPERATIONS, "drilling", ["drill", "DRILL"]),
    (kinds.OPERATIONS, "turning", ["turn"]), (kinds.OPERATIONS, "facing", ["face"]),
    (kinds.PRICE_BASES, "lb", ["per lb", "/lb", "each lb", "$/lb", "LBS", "per pound", "lb."]),
    (kinds.PRICE_BASES, "100 lb", ["100lb", "per 100 lbs"]), (kinds.PRICE_BASES, "ft", ["per foot", "/ft", "feet"]),
    (kinds.PRICE_BASES, "kg", ["per kg", "kilo"]), (kinds.PRICE_BASES, "blank", ["per blank", "blanks"]),
    (tuple(kinds.ROUNDINGS), "nearest 0.01", ["Nearest .01", "to the nearest 0.01", "nearest-0.01"]),
    (tuple(kinds.ROUNDINGS), "up to next 0.05", ["up to the next .05", "Up to next 0.05"]),
    (tuple(kinds.ROUNDINGS), "none", ["None", "no rounding"]),
    (kinds.UNITS, "in", ["inch", "Inches", "IN"]), (kinds.UNITS, "mm", ["metric", "millimeters"]),
    (speeds_feeds.TOOLS, "high-speed steel", ["HSS", "high speed steel"]),
])
def test_choices_in_other_words(choices, choice, texts):
    assert [read_choice(text, choices) for text in texts] == [choice] * len(texts)


@pytest.mark.parametrize(("choices", "text"), [
    (kinds.SHAPES, "pipe"), (kinds.SHAPES, "bar"), (kinds.SHAPES, "rod"), (kinds.SHAPES, "hexa gon nut"), (kinds.SHAPES, "lb"),
    (kinds.PRICE_BASES, "each"), (kinds.PRICE_BASES, "piece"), (kinds.PRICE_BASES, "pc"), (kinds.PRICE_BASES, "cwt"), (kinds.PRICE_BASES, "ton"), (kinds.PRICE_BASES, "hex"),
    (kinds.OPERATIONS, "broaching"), (kinds.OPERATIONS, "chamfer"), (kinds.SPINDLES, "left"), (kinds.UNITS, "ft"), (kinds.SHAPES, ""), (kinds.SHAPES, "-"),
    (tuple(kinds.ROUNDINGS), "nearest 0.02"), (tuple(kinds.ROUNDINGS), "nearest 0"),
])
def test_what_may_mean_two_things_is_no_choice(choices, text):
    with pytest.raises(BarfuncsError, match=re.escape(f"{text!r} given; allowed is one of {choices[0]}, ")):
        read_choice(text, choices)


def test_every_other_spelling_is_squeezed_and_a_choice():
    lists = (kinds.SHAPES, kinds.OPERATIONS, kinds.PRICE_BASES, tuple(kinds.ROUNDINGS), kinds.UNITS, kinds.SPINDLES, speeds_feeds.TOOLS,
             kinds.PROCESS_BASES, tuple(kinds.PRICED_PER), kinds.INSPECTION_LEVELS)
    shared = {*kinds.PRICE_BASES, *kinds.PRICED_PER} & set(kinds.PROCESS_BASES)  # a pound is a pound
    for text, choice in kinds.spellings().items():
        assert kinds.squeezed(text) == text
        assert sum(choice in choices for choices in lists) == 1 + (choice in shared), choice
    for choices in lists:
        assert len({kinds.squeezed(choice) for choice in choices}) == len(choices)
        assert [read_choice(choice.upper(), choices) for choice in choices] == list(choices)


def test_a_function_takes_choices_in_other_words():
    assert bf.section_area("hex", 1) == bf.section_area("hexagon", 1)
    assert bf.material_cost(10, 2.4, "per lb", 144, 20) == bf.material_cost(10, 2.4, "lb", 144, 20)
    assert read_inputs(JOB | {"shape": "Hex bar", "price_per": "/lb"})["shape"] == "hexagon"


# --- diameter signs ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("text", "inches"), [
    ("\u00d8 1/2", 0.5), ("\u00d81/2 in", 0.5), ("\u2300 25.4 mm", 1), ("\u22051", 1), ("\u03a6 1", 1), ("dia 1/2", 0.5), ("Dia. 1 3/8", 1.375),
    ("DIAMETER .5", 0.5), ("1/2 dia", 0.5), ('1/2" dia.', 0.5), ("1.25dia", 1.25), ("1 OD", 1), ("1 in O.D.", 1), ("25.4 mm \u00d8", 1),
    ("1 3/8 diam.", 1.375), ("od 1", 1), ("1-3/8 diameter", 1.375),
])
def test_a_size_may_carry_a_diameter_sign(text, inches):
    if "mm" not in text:
        assert bf.across_corners("round", text) == inches
    assert read_inputs(JOB | {"size": text, "units": "in"})["size"] == inches
    assert bf.spindle_speed(400, text, units="in") == pytest.approx(bf.spindle_speed(400, inches), rel=1e-12)


@pytest.mark.parametrize("text", ["dia", "\u00d8", "1 diamond", "1 rod", "dia 1 in 2", "1 d"])
def test_a_diameter_sign_needs_a_size(text):
    with pytest.raises(InputError, match="size: "):
        bf.across_corners("round", text)


def test_a_length_has_no_diameter_sign():
    for name in ("part_length", "bar_length"):
        with pytest.raises(InputError, match=f"{name}: .*can't be read as a length"):
            read_inputs(JOB | {name: "\u00d8 100"})


# --- materials -----------------------------------------------------------------------------------------------------

EVERYDAY = {
    "Stainless 303": "303 stainless|303 stainless steel|Stainless Steel 303|SS303|303 SS|303-SS|S.S. 303|303 S.S.|Type 303|T-303|AISI 303|303 sst|"
                     "X8CrNiS18-9|1.4305|S30300|UNS S30300|303 annealed|303 stainless bar, annealed|stainless-303",
    "Stainless 304": "304|304 SS|1.4301|X5CrNi18-10", "Stainless 304/304L": "304/304L|304/304L stainless|304 / 304L|dual certified 304/304L",
    "Stainless 316L": "316L|316 L|SS 316L|316L stainless bar", "Stainless 316/316L": "316/316L",
    "Stainless 416": "416|416 stainless|1.4005", "Stainless 440C": "440C|440-C|440C annealed",
    "Stainless 17-4PH": "17-4PH|17-4 PH|17-4|17\u20114 PH|17\u20134PH|17-4 stainless|stainless 17-4 PH|17-4PH H1025|17-4 H900|17-4 PH cond. A|S17400|AISI 630|630 stainless|type 630",
    "Stainless 15-5PH": "15-5PH|15-5 PH|15-5 stainless", "Stainless 2205": "2205|duplex 2205|2205 duplex", "Stainless 2507": "2507|super duplex 2507",
    "Stainless A286": "A286|A-286|alloy A286|S66286|AISI 660", "Stainless XM-19": "XM-19|XM19|XM 19|S20910",
    "Steel 12L14": "12L14|12L14 steel|steel 12L14|12l14|AISI 12L14", "Steel 1215": "1215|1215 steel|SAE 1215|1215 CF",
    "Steel 1018": "1018|1018 CRS|1018 CF|1018 steel|1018 cold rolled steel|1018 cold drawn|C1018 CRS".removesuffix("|C1018 CRS"),
    "Steel 1045": "1045|1045 HR|1045 hot rolled steel", "Steel 4140": "4140|4140 prehard|4140 HT|4140 pre-hard|4140 alloy steel|AISI 4140 Q&T|4140 annealed",
    "Steel 11SMnPb30": "11SMnPb30|1.0718", "Tool steel A2": "A2|A-2|A2 tool steel|tool steel A2|A2 steel", "Tool steel O1": "O1|O-1|O1 tool steel",
    "Tool steel H13": "H13|H-13", "Tool steel M2": "M2|M2 tool steel",
    "Brass C36000": "C36000|C360|360|360 brass|brass 360|C360 brass|CDA 360|CDA360|alloy 360|free-cutting brass|free machining brass 360|UNS C36000|C36000 H02",
    "Brass C37700": "C377|forging brass", "Naval brass C46400": "C464|naval brass|464 naval brass|naval brass C464|C46400 naval brass",
    "Brass C26000": "C260|cartridge brass|260 brass",
    "Bearing bronze C93200": "bronze 932|932 bronze|C932|C93200|bearing bronze 932|SAE 660|660 bronze|bronze SAE 660",
    "Aluminum bronze C95400": "954 bronze|C954|aluminum bronze 954", "Phosphor bronze C51000": "C510|510 bronze|phosphor bronze 510",
    "Copper C11000": "C110|110 copper|copper 110|ETP copper", "Tellurium copper C14500": "C145|tellurium copper|copper 145",
    "Aluminum 6061": "6061|6061-T6|6061 T6|6061T6|6061-T6511|6061 aluminum|aluminum 6061-T6|6061-T6 aluminum|aluminium 6061|AL 6061|AL6061-T6|EN AW-6061|EN AW 6061|6061-T651 bar|alum. 6061",
    "Aluminum 2024": "2024-T351|2024|2024-T3511 aluminum|2024-T4", "Aluminum 7075": "7075-T6|7075|7075-T7351|7075 alum", "Aluminum 2011": "2011-T3|2011 T3|2011",
    "Titanium Grade 2": "CP titanium grade 2|grade 2 titanium|Ti grade 2|titanium gr. 2|R50400|CP2",
    "Titanium Grade 5": "Grade 5 titanium|Ti-6Al-4V|Ti 6Al-4V|Ti6Al4V|Ti 6Al 4V annealed|titanium gr 5|6-4 titanium|Ti64|R56400|Gr 5 Ti",
    "Titanium Grade 23": "Ti-6Al-4V ELI|titanium grade 23",
    "Nickel alloy 718": "nickel 718|718|alloy 718|718 nickel alloy|N07718|UNS N07718|2.4668", "Nickel alloy 625": "625|alloy 625",
    "Nickel alloy 400": "alloy 400|nickel 400", "Nickel alloy C276": "C276|C-276|alloy C-276", "Nickel alloy K500": "K500|K-500|alloy K500",
    "Nickel-iron alloy 36": "alloy 36|36 alloy|K93600|1.3912",
    "Acetal (POM)": "acetal|POM", "Acetal copolymer (POM-C)": "acetal copolymer|POM-C", "Nylon (PA)": "nylon", "Nylon 6/6 extruded (PA66)": "nylon 6/6|nylon 66|PA66",
    "Nylon 6 cast (PA6-G)": "cast nylon", "PEEK unfilled": "PEEK|peek", "PTFE unfilled": "PTFE", "Polyethylene UHMW (PE-UHMW)": "UHMW", "PVC rigid (PVC-U)": "PVC",
}
PAIRS = [(text, name) for name, texts in EVERYDAY.items() for text in texts.split("|")]


@pytest.mark.parametrize(("text", "name"), PAIRS, ids=[text for text, _ in PAIRS])
def test_an_everyday_spelling_finds_its_material(text, name):
    row = materials.builtin().find(text)
    assert row is not None
    assert row.name == name
    assert bf.material_density(text) == bf.material_density(name)
    assert read_inputs(JOB | {"material": text})["material"] == name


@pytest.mark.parametrize("text", [
    "303 brass", "brass 303", "stainless 4140", "steel 360", "6061 stainless", "aluminum C360", "330 stainless", "Stainless 330", "174",
    "C3600", "brass c3600", "316Ti", "303Se", "304H", "A37", "4140L", "1214", "nickel 200", "stainless", "steel", "aluminum", "titanium",
    "brass", "bronze", "grade 5", "303 hex", "303 round", "4140-T6", "303-T6", "C360-T6", "303 stainless brass", "free machining", "1.4600", "630", "660", "5", "alloy", "annealed", "T6", "-", "*", "30?",
])
def test_what_names_no_material_or_two_is_none(text):
    assert materials.builtin().find(text) is None
    assert text not in materials.builtin()
    if text != "5":
        with pytest.raises(InputError, match="material: "):
            bf.material_density(text)


@pytest.mark.parametrize(("text", "name"), [
    ("303 stainles", "Stainless 303"), ("303 stanless", "Stainless 303"), ("brss c36000", "Brass C36000"), ("6061 aluminim", "Aluminum 6061"),
    ("acetl", "Acetal (POM)"), ("4140 anealed", "Steel 4140"), ("Ti6AI4V", "Titanium Grade 5"),
])
def test_a_slip_in_the_letters_gets_a_question(text, name):
    with pytest.raises(InputError, match=re.escape(f"material: {text!r} is not a known material; do you mean {name!r}?")):
        bf.material_density(text)


def test_no_other_number_is_ever_offered():
    table = materials.builtin()
    numbers = {tuple(re.findall("[0-9]+", key)) for key in table._by_key}
    for text in ("303 brass", "330 stainless", "C3600", "1214", "4140L", "431 stainles", "6601", "7O75", "3O3", "unobtainium", "1.4600"):
        words = table.unknown(text)
        if "do you mean" in words:
            offered = words.split("do you mean ")[1]
            assert set(re.findall("[0-9]+", offered)) <= set(re.findall("[0-9]+", text)), words
        else:
            assert words.endswith("look its name up on the sheet Materials of a template, or write its density, such as 7.85 g/cm3")
    assert len(numbers) > 100


def test_a_number_with_two_owners_names_both():
    for text in ("630", 630):
        with pytest.raises(InputError, match="'630' may be 'Stainless 17-4PH' or 'Aluminum bronze C63000': write which"):
            bf.material_density(text)


@pytest.mark.parametrize(("number", "name"), [
    (303, "Stainless 303"), (303.0, "Stainless 303"), (Decimal(303), "Stainless 303"), (1018, "Steel 1018"), (4140, "Steel 4140"),
    (6061, "Aluminum 6061"), (360, "Brass C36000"), (52100, "Steel 52100"), (718, "Nickel alloy 718"),
])
@pytest.mark.parametrize("system", ["in", "mm"])
def test_a_whole_number_above_all_densities_is_a_designation(number, name, system):
    assert bf.material_density(number, system) == bf.material_density(name, system)
    assert read_inputs(JOB | {"material": number, "units": system})["material"] == name


@pytest.mark.parametrize(("number", "system"), [(7850, "mm"), (999, "in"), (26, "mm"), (25.5, "mm"), (303.5, "in"), (174, "in"), (1.4305, "in"),
                                                (1.4305, "mm"), (2.0401, "mm"), (3, "in"), (-303, "in")])
def test_another_number_is_a_density_or_refused(number, system):
    with pytest.raises(InputError, match="material: "):
        bf.material_density(number, system)


def test_a_text_of_a_european_number_is_no_density():
    assert bf.material_density("1.46", "mm") == 1.46
    assert bf.material_density("1.4600 g/cm3", "mm") == 1.46
    assert bf.material_density("0.2833", "in") == 0.2833
    for text in ("1.4600", "2.0400", "3.1000", " 1.4600 "):
        with pytest.raises(InputError, match="is no designation of a known material; if it is a density, write its unit too"):
            bf.material_density(text, "mm")
        with pytest.raises(InputError, match="is no designation of a known material"):
            read_inputs(JOB | {"material": text, "units": "mm"})


def test_own_materials_come_before_everyday_spellings(tmp_path):
    path = tmp_path / "own.csv"
    path.write_text("name,density_g_cm3,uns,also\nShop 303,7.95,SS303,\nBrass C36000,8.4,,our brass; 361\n", "utf-8")
    table = materials.builtin().extended(materials.read_materials(path))
    assert table["SS 303"].name == "Shop 303"
    assert table["303"].name == "Stainless 303"
    assert table["360 brass"].density == table["our brass"].density == table["361"].density == 8.4


def test_two_own_materials_with_the_same_spelling_are_told_apart_or_refused(tmp_path):
    path = tmp_path / "own.csv"
    path.write_text("name,density_g_cm3\nShop A,7.95\nShopA,8.4\n", "utf-8")
    table = materials.builtin().extended(materials.read_materials(path))
    assert (table["shop a"].density, table["shopa"].density) == (7.95, 8.4)
    assert table.find("Shop  A") is None
    assert "may be 'Shop A' or 'ShopA'" in table.unknown("Shop  A")


@functools.cache
def spelled():
    return dict(materials.builtin().spelling_rows())


def test_the_spellings_of_a_workbook_are_those_of_python():
    table = materials.builtin()
    assert 1000 < len(spelled()) < 2000
    for key, row in spelled().items():
        assert table.find(key) is table.rows[row - 1], key
        assert key == materials.key_of(key)
        assert not set(key) & set('*?~#" ')
    first = {key for key, _ in table.spelling_rows()[: len(table) + 10]}
    assert {materials.key_of(row.name) for row in table.rows} <= first  # the names are found soonest


def test_most_everyday_spellings_are_found_in_a_workbook_too():
    found = [text for text, _ in PAIRS if materials.key_of(text) in spelled()]
    print(len(found), "of", len(PAIRS))
    assert len(found) >= 0.8 * len(PAIRS)


def test_decimal_contexts_do_not_matter():
    with decimal.localcontext() as context:
        context.prec = 3
        context.traps[decimal.Inexact] = True
        assert bf.parts_per_bar(Decimal("144.0001"), Decimal("2.25"), Decimal("0.125"), Decimal("3")) == 59
