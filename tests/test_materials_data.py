"""The materials table as data: its form, its sources, and its densities against published ones."""

import csv
from collections import Counter
from decimal import Decimal
from pathlib import Path

import pytest

import barfuncs
from barfuncs.catalogue import materials
from barfuncs.text import datafile

PATH = Path(barfuncs.__file__).with_name("catalogue") / "materials.csv"
HEADER = ["name", "group", "en", "uns", "aisi", "also", "density_g_cm3", "density_source", "modulus_gpa", "modulus_source",
          "leaded", "caution"]
# Groups of few alloys that cut unlike their neighbors.
SMALL_GROUPS = {"duplex stainless", "nitrogen-strengthened stainless", "heat-resistant alloy", "titanium", "magnesium"}
GROUPS = SMALL_GROUPS | {"free-machining steel", "carbon steel", "alloy steel", "tool steel", "stainless steel", "brass", "bronze",
                         "copper", "aluminum", "nickel alloy", "plastic"}
FROM_MEMORY = "from memory"
MOST_CODES = 4  # the templates have four columns of designations

# Published densities: designation, g/cm3 as stated (one value, or a range), source, and the words by which a row of the
# table cites that source. All were read in copies or excerpts. A row that cites the source must show its value; a row
# that cites another one may differ from it by DIFFERENCE, no more.
CALLISTER = "Callister, Materials Science and Engineering, Appendix B Table B.1"
DATABASE = "Materials Properties Database table (scribd.com 372037000)"
EN = "EN 10088-1, physical properties annex, as quoted at rolextube.com"
ALUMINUM_STRUCTURES = "Kissell & Ferry, Aluminum Structures, Table 4.3"
SUPPLIER = "thyssenkruppaerospace.com/materials/aluminum/aluminum-bar/weight-calculations.html"
PLASTICS = "engineersedge.com plastics table 14630"
GERE = "Gere, Mechanics of Materials, App. H Table H-1"
CDA = "Copper Development Association, Innovations Aug 2001, Table 5"
PUBLISHED = [
    ("440A", "7.80", CALLISTER, "Callister"),
    ("304", "8.00", CALLISTER, "Callister"),
    ("1100", "2.71", CALLISTER, "Callister"),
    ("6061", "2.70", CALLISTER, "Callister"),
    ("2024", "2.77", CALLISTER, "as printed by Callister"),
    ("316", "8.00", DATABASE, "Materials Properties Database"),
    ("C26000", "8.53", DATABASE, "Materials Properties Database"),
    ("1040", "7.845", DATABASE, "Materials Properties Database"),
    ("C11000", "8.89", DATABASE, "Materials Properties Database"),
    ("C36000", "8.50", DATABASE, "Materials Properties Database"),
    ("6061", "2.70", DATABASE, "Materials Properties Database"),
    ("1.4401", "8.0", EN, "EN 10088-1"),
    ("1.4404", "8.0", EN, "EN 10088-1"),
    ("1.4462", "7.8", EN, "EN 10088-1"),
    ("1.4542", "7.8", EN, "EN 10088-1"),
    ("1.4305", "7.9", EN, "EN 10088-1"),
    ("C36000", "8.50", "Copper Development Association value at 68 F, repeated by suppliers", "Copper Development"),
    ("C11000", "8.89", f"{CDA}: IEC standard value of 1913", "IEC standard copper"),
    ("C11000", "8.92", f"{CDA}: typical value at 20 C", "Copper Development"),
    ("C10100", "8.93", "MatWeb, copper (pure) at 20 C", "MatWeb"),
    ("12L14", "7.87", "theworldmaterial.com 12L14", "theworldmaterial.com"),
    ("1045", "7.87", "MatWeb print sheet, guid 193434cf...", "MatWeb"),
    ("1100", "2.71", ALUMINUM_STRUCTURES, "Kissell & Ferry"),
    ("2014", "2.80", ALUMINUM_STRUCTURES, "Kissell & Ferry"),
    ("2024", "2.78", ALUMINUM_STRUCTURES, "Kissell & Ferry"),
    ("5052", "2.68", ALUMINUM_STRUCTURES, "Kissell & Ferry"),
    ("6061", "2.70", "amesweb.info", "amesweb.info"),
    ("7075", "2.81", "amesweb.info", "amesweb.info"),
    ("2011", "2.83", "aluminium-sheet-plate.com", "aluminium-sheet-plate.com"),
    ("2011", "2.82", SUPPLIER, "thyssenkruppaerospace.com"),
    ("6061", "2.71", SUPPLIER, "thyssenkruppaerospace.com"),
    ("EN AW-6082", "2.71", SUPPLIER, "thyssenkruppaerospace.com"),
    ("7075", "2.80", SUPPLIER, "thyssenkruppaerospace.com"),
    ("R56400", "4.43", "repo sandialabs/Payette, Source/Materials/Database/ti_6al_4v.py, quoting MatWeb",
     "sandialabs/Payette"),
    ("R56401", "4.43", "fwmetals.com, Ti-6Al-4V ELI", "fwmetals.com"),
    ("N07718", "8.19", "aeether.com table", "aeether.com"),
    ("POM-C", "1.41", PLASTICS, "engineersedge.com"),
    ("PTFE", "2.19", PLASTICS, "engineersedge.com"),
    ("PA66", "1.14", PLASTICS, "engineersedge.com"),
    ("PA6-G", "1.16", PLASTICS, "engineersedge.com"),
    ("PTFE", "2.14-2.20", "e-uparts", "e-uparts"),
    ("C11000", "8.9", f"{GERE}, copper and alloys", "Gere"),
    ("C36000", "8.4-8.6", f"{GERE}, brass", "Gere"),
    ("C26000", "8.4-8.6", f"{GERE}, brass", "Gere"),
    ("6061", "2.70", f"{GERE}, 6061-T6", "Gere"),
    ("7075", "2.80", f"{GERE}, 7075-T6", "as printed by Gere"),
]
# Recalled, not seen: a row with one of these values must say that it is from memory.
RECALLED = [("1018", "7.87", "7.87"), ("11SMnPb30", "7.85", "7.85"), ("11SMnPb37", "7.85", "7.85"),
            ("PEEK", "1.30", "1.32")]
DIFFERENCE = Decimal("0.0055")


def read_rows():
    with PATH.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, strict=True))


ROWS = read_rows()


def designations(row):
    codes = [code for key in ("en", "uns", "aisi") if row[key] for code in row[key].split("; ")]
    return [row["name"], *codes]


BY_DESIGNATION = {text.casefold(): row for row in ROWS for text in designations(row)}


def cites(row, words):
    return words in row["density_source"] and FROM_MEMORY not in row["density_source"]


def test_file_is_plain_utf8_with_the_agreed_header():
    data = PATH.read_bytes()
    assert not data.startswith(b"\xef\xbb\xbf")
    assert b"\r" not in data
    assert data.endswith(b"\n")
    lines = list(csv.reader(data.decode("utf-8").splitlines(), strict=True))
    assert lines[0] == HEADER
    assert {len(line) for line in lines} == {len(HEADER)}
    assert [line for line in lines[1:] if [c.strip() for c in line] != line] == []


def test_enough_rows_in_every_group():
    assert len(ROWS) >= 45
    count = Counter(row["group"] for row in ROWS)
    assert set(count) == GROUPS
    assert all(count[group] >= 5 for group in GROUPS - SMALL_GROUPS), count


def test_every_designation_names_one_row():
    count = Counter(text.casefold() for row in ROWS for text in designations(row))
    assert [text for text, n in count.items() if n > 1] == []


def test_designations_are_safe_in_lists_and_cells():
    texts = [text for row in ROWS for text in designations(row)]
    assert [t for t in texts if not t or t != t.strip() or set(t) & set(',;*?~="') or t[0] in "+-@"] == []
    assert [row["name"] for row in ROWS if len(designations(row)) - 1 > MOST_CODES] == []


def test_values_are_plausible():
    for row in ROWS:
        assert Decimal("0.8") <= Decimal(row["density_g_cm3"]) <= 12, row["name"]
        assert 0 < Decimal(row["modulus_gpa"]) <= 250, row["name"]
        assert row["leaded"] in ("yes", "no", "trace"), row["name"]


@pytest.mark.parametrize(("group", "low", "high", "modulus_low", "modulus_high"), [
    ("free-machining steel", "7.80", "7.90", 195, 215), ("carbon steel", "7.80", "7.90", 195, 215),
    ("alloy steel", "7.75", "7.90", 195, 215), ("tool steel", "7.60", "8.30", 190, 225),
    ("stainless steel", "7.55", "8.10", 175, 220), ("duplex stainless", "7.70", "7.90", 190, 210),
    ("nitrogen-strengthened stainless", "7.55", "7.95", 175, 205), ("heat-resistant alloy", "7.85", "8.00", 190, 210), ("brass", "8.20", "8.60", 90, 120),
    ("bronze", "7.40", "9.00", 90, 130), ("copper", "8.20", "8.97", 110, 135), ("aluminum", "2.60", "2.90", 65, 75),
    ("titanium", "4.40", "4.60", 95, 125), ("nickel alloy", "8.10", "9.00", 140, 220),
    ("magnesium", "1.70", "1.90", 40, 50), ("plastic", "0.90", "2.25", 0, 5),
])
def test_values_fit_their_group(group, low, high, modulus_low, modulus_high):
    rows = [row for row in ROWS if row["group"] == group]
    assert rows
    assert [(r["name"], r["density_g_cm3"]) for r in rows
            if not Decimal(low) <= Decimal(r["density_g_cm3"]) <= Decimal(high)] == []
    assert [(r["name"], r["modulus_gpa"]) for r in rows
            if not modulus_low <= Decimal(r["modulus_gpa"]) <= modulus_high] == []


def test_every_value_has_a_source():
    assert [row["name"] for row in ROWS if len(row["density_source"]) < 8 or len(row["modulus_source"]) < 8] == []


def test_a_cited_density_is_in_the_published_table():
    cited = {(code.casefold(), words) for code, _, _, words in PUBLISHED}
    for row in ROWS:
        if FROM_MEMORY not in row["density_source"]:
            assert any((text.casefold(), words) in cited and cites(row, words)
                       for text in designations(row) for words in {p[3] for p in PUBLISHED}), row["name"]


@pytest.mark.parametrize(("code", "published", "source", "words"), PUBLISHED)
def test_density_as_published(code, published, source, words):
    row = BY_DESIGNATION[code.casefold()]
    density = Decimal(row["density_g_cm3"])
    low, high = (Decimal(v) for v in (published.split("-") * 2)[:2])
    last_digit = Decimal(1).scaleb(low.as_tuple().exponent)
    if not cites(row, words):
        low, high = low * (1 - DIFFERENCE), high * (1 + DIFFERENCE)
    elif low == high:
        # The row shows the published number itself, so half its last digit is the outer limit, not the aim.
        assert density == low, source
    assert low - last_digit / 2 <= density <= high + last_digit / 2, source


def test_most_published_values_are_the_ones_used():
    used = [code for code, _, _, words in PUBLISHED if cites(BY_DESIGNATION[code.casefold()], words)]
    assert len(used) >= 25
    assert len(set(used)) >= 25


@pytest.mark.parametrize(("code", "low", "high"), RECALLED)
def test_recalled_density_says_so(code, low, high):
    row = BY_DESIGNATION[code.casefold()]
    assert Decimal(low) <= Decimal(row["density_g_cm3"]) <= Decimal(high)
    assert FROM_MEMORY in row["density_source"]


def test_austenitic_row_says_which_of_two_values_it_takes():
    row = BY_DESIGNATION["304"]
    assert Decimal(row["density_g_cm3"]) == 8
    assert "US handbook" in row["density_source"]
    assert "EN gives 7.9" in row["density_source"]


def test_leaded_alloys_and_no_others_are_marked_and_warned_of():
    marked = {row["name"] for row in ROWS if row["leaded"] == "yes"}
    assert marked == {row["name"] for row in ROWS if "Contains lead" in row["caution"]}
    # Alloys with lead in their name or in their standard's composition: common practice.
    leaded = ("12L14", "41L40", "11SMnPb30", "11SMnPb37", "36SMnPb14", "C35300", "C36000", "C37700", "C48500", "CW612N", "CW614N",
              "CW617N", "C54400", "C93200", "2011", "6262", "EN AW-2007")
    assert marked == {BY_DESIGNATION[code.casefold()]["name"] for code in leaded}


# Lead that the standard of an alloy allows though none is added, in percent: from memory, not checked against a source.
TRACES = {"C46400": "0.2", "CW510L": "0.2", "CW724R": "0.1"}


def test_lead_that_a_standard_allows_is_said():
    assert {row["name"] for row in ROWS if row["leaded"] == "trace"} == {BY_DESIGNATION[code.casefold()]["name"] for code in TRACES}
    for code, percent in TRACES.items():
        caution = BY_DESIGNATION[code.casefold()]["caution"]
        assert caution.startswith(f"May hold up to {percent} % lead (REACH names 0.1 %)")
        assert "ask the supplier" in caution
        assert not materials.builtin()[code].leaded


def test_alloys_that_cut_unlike_stainless_have_groups_of_their_own():
    table = materials.builtin()
    assert {code: table[code].group for code in ("A286", "2205", "2507", "XM-19", "S21800", "303", "17-4PH")} == {
        "A286": "heat-resistant alloy", "2205": "duplex stainless", "2507": "duplex stainless", "XM-19": "nitrogen-strengthened stainless",
        "S21800": "nitrogen-strengthened stainless", "303": "stainless steel", "17-4PH": "stainless steel"}


@pytest.mark.parametrize(("code", "words"), [
    ("R50400", "class D"), ("R56400", "class D"), ("R56401", "class D"), ("M11311", "class D"), ("C17200", "toxic"),
    ("PTFE", "overheated"), ("PVC-U", "overheated"), ("C36000", "RoHS"),
])
def test_caution_is_there(code, words):
    assert words in BY_DESIGNATION[code.casefold()]["caution"]


def test_burning_metals_all_carry_the_caution():
    assert [r["name"] for r in ROWS if r["group"] in ("titanium", "magnesium") and "can burn" not in r["caution"]] == []


def own(tmp_path, data):
    path = tmp_path / "own.csv"
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    return materials.read_materials(path)


@pytest.mark.parametrize("data", [
    "name,density_g_cm3\nShop bronze,8.1\n",
    "Name;Density_g_cm3\n\nShop bronze;8.1\n;\n",
    " NAME ,DENSITY_G_CM3,\n  Shop   bronze  ,8.10,\n",
    "name\tdensity_g_cm3\r\nShop bronze\t8.1\r\n".encode("utf-16"),
    "sep=;\nname;density_g_cm3\nShop bronze;8.1\n",
    "\ufeffname,density_g_cm3\nShop bronze,8.1\n",
])
def test_own_materials_in_their_spellings(tmp_path, data):
    assert [(row.name, row.density) for row in own(tmp_path, data)] == [("Shop bronze", 8.1)]


@pytest.mark.parametrize(("data", "message"), [
    ("name,density_g_cm3\nA,8.1,x\n", r"materials file own\.csv: row 2: has more cells than the first row has names"),
    ("name,density_g_cm3,Name\nA,8.1,B\n", r"name: stands twice in the first row"),
    ("name,density\nA,8.1\n", r"density_g_cm3: this column is missing; density: is not a column; known are name"),
    ("", r"name: this column is missing; density_g_cm3: this column is missing"),
    ("name,density_g_cm3\n\nA,1_0\n", r"row 3, density_g_cm3: '1_0' is not a number from 0\.5 to 25"),
    ("name,density_g_cm3\nA,nan\nB,inf\nC,1e1\nD,\uff18\n", r"row 2, .*'nan'.*row 3, .*'inf'.*row 4, .*'1e1'.*row 5, "),
    ("name;density_g_cm3\nA;8,1\n", r"row 2, density_g_cm3: '8,1' is not a number from 0\.5 to 25; write a decimal point"),
    ("name,density_g_cm3\nA,8\n\na,9\n", r"row 4: 'a' stands in row 2 already"),
    ("name,density_g_cm3,uns\nA,8,Z1\nB,9,z1\n", r"row 3: 'z1' stands in row 2 already"),
    ("name,density_g_cm3,leaded\nA,8,perhaps\n", r"row 2, leaded: 'perhaps' given; allowed is yes, no or trace"),
    ("name,density_g_cm3\n,8\nB,\n", r"row 2, name: is blank; row 3, density_g_cm3: is blank"),
    (b"name,density_g_cm3\nM\xfcller,8\n", r"own\.csv: is not a CSV text in UTF-8 \(line 2 has other bytes\); save it as CSV UTF-8"),
    (b"PK\x03\x04", r"own\.csv: is a workbook; save it as CSV UTF-8"),
    ('name,density_g_cm3\n"A,8\n', r"own\.csv: can't be read from row 2 on"),
])
def test_own_materials_that_are_refused(tmp_path, data, message):
    with pytest.raises(barfuncs.InputError, match=message):
        own(tmp_path, data)


def test_an_endless_or_large_materials_file_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(datafile, "_LARGEST_FILE", 30)
    with pytest.raises(barfuncs.InputError, match=r"own\.csv: is larger than 4 MB"):
        own(tmp_path, "name,density_g_cm3\n" + "A,8\n" * 10)


def test_one_material_may_name_itself_twice(tmp_path):
    rows = own(tmp_path, "name,density_g_cm3,uns,en\nC36000,8.5,C36000,c36000\n")
    assert materials.builtin().extended(rows)["c36000"].density == 8.5
