"""Parts given section by section: against exact sums, meshes and figures worked out by hand; what is read and what is refused."""

import math
import random
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import barfuncs as bf
from barfuncs.catalogue.kinds import Sections, kind_of
from barfuncs.catalogue.reading import read_in
from barfuncs.surfaces.cells import EXCEL, CellCall

ROOT3 = math.sqrt(3)

# --- against exact sums ------------------------------------------------------------------------------------------------

SIZES = st.integers(20, 4000).map(lambda n: n / 1000)


@st.composite
def parts(draw, shapes=("round", "hexagon", "square", "thread")):
    """Rows of sections with one bore that runs through some of them, and steps within it."""
    rows = []
    for _ in range(draw(st.integers(1, 16))):
        shape = draw(st.sampled_from(shapes))
        size = 0.5 + draw(SIZES)
        end = size - 0.1 if shape == "thread" else 0.5 + draw(SIZES) if shape == "round" and draw(st.booleans()) else None
        bore = draw(st.sampled_from((None, 0, 0.125, 0.25, 0.399)))
        rows.append([shape, size, draw(SIZES), end, bore, draw(st.sampled_from((None, 0.1, 0.3))) if bore else None])
    return rows


def frustum(length, start, end):
    start, end = Fraction(start), Fraction(end)
    return Fraction(length) * (start**2 + start * end + end**2) / 12


@settings(deadline=None)
@given(parts())
def test_volume_is_the_exact_sum_of_frusta_and_prisms(rows):
    turned, hexagons, squares, outside = Fraction(0), Fraction(0), Fraction(0), 0.0
    for shape, size, length, end, bore, bore_end in rows:
        if shape == "hexagon":
            hexagons += Fraction(length) * Fraction(size) ** 2 / 2
        elif shape == "square":
            squares += Fraction(length) * Fraction(size) ** 2
        else:
            turned += frustum(length, end, end) if shape == "thread" else frustum(length, size, end or size)
        turned -= frustum(length, bore or 0, bore_end or bore or 0)
        outside += length * max(size, end or 0) ** 2
    wanted = float(turned) * math.pi + float(hexagons) * ROOT3 + float(squares)
    assert bf.part_volume(rows) == pytest.approx(wanted, rel=1e-12, abs=1e-14 * outside)
    assert bf.finished_length(rows) == pytest.approx(float(sum(Fraction(row[2]) for row in rows)), rel=1e-15)
    assert bf.finished_weight(rows, "0.25 lb/in3", "in") == pytest.approx(wanted / 4, rel=1e-12, abs=1e-14 * outside)
    assert bf.finished_weight(rows, "8 g/cm3", "mm") == pytest.approx(wanted * 8e-6, rel=1e-12, abs=1e-14 * outside)
    assert bf.part_width(rows) == max({"hexagon": 2 / ROOT3, "square": math.sqrt(2)}.get(row[0], 1)
                                      * max(row[1], row[3] or 0 if row[0] == "round" else 0) for row in rows)


@settings(deadline=None)
@given(parts(), st.integers(0, 15))
def test_turned_round_it_is_the_same_part(rows, cut):
    back = [[shape, *((end, length, size) if shape == "round" and end else (size, length, end)), bore_end or bore, bore if bore_end else None]
            for shape, size, length, end, bore, bore_end in reversed(rows)]
    assert bf.part_volume(back) == pytest.approx(bf.part_volume(rows), rel=1e-12)
    assert bf.part_area(back) == pytest.approx(bf.part_area(rows), rel=1e-12)
    # A straight section cut in two changes nothing.
    shape, size, length, end, bore, bore_end = rows[n := cut % len(rows)]
    if len(rows) < 16 and not bore_end and (end is None or shape == "thread"):
        halves = [*rows[:n], [shape, size, length / 2, end, bore, None], [shape, size, length / 2, end, bore, None], *rows[n + 1:]]
        assert bf.part_volume(halves) == pytest.approx(bf.part_volume(rows), rel=1e-12)
        assert bf.part_area(halves) == pytest.approx(bf.part_area(rows), rel=1e-12)


# --- against meshes ----------------------------------------------------------------------------------------------------


def radii(outline, size, facets):
    """Radius at each of `facets` angles; flats of hexagon and square are parallel at the angle 0."""
    angles = np.arange(facets) * 2 * np.pi / facets
    if outline == "round":
        return np.full(facets, size / 2)
    step = np.pi / 3 if outline == "hexagon" else np.pi / 2
    return size / 2 / np.cos((angles + step / 2) % step - step / 2)


def mesh(rows, facets):
    """The part as a mesh: a ring of points at each corner of its profile, front to rear outside, back within the bore."""
    trimesh = pytest.importorskip("trimesh")
    z, outside, inside = 0.0, [], []
    for shape, size, length, end, bore, bore_end in rows:
        outline, start, stop = ("round", end, end) if shape == "thread" else (shape, size, end or size)
        outside += [(z, radii(outline, start, facets)), (z + length, radii(outline, stop, facets))]
        inside += [(z, radii("round", bore or 0, facets)), (z + length, radii("round", bore_end or bore or 0, facets))]
        z += length
    rings = [*outside, *reversed(inside)]
    angles = np.arange(facets) * 2 * np.pi / facets
    points = np.concatenate([np.column_stack((ring * np.cos(angles), ring * np.sin(angles), np.full(facets, z))) for z, ring in rings])
    i = np.arange(facets)
    j = (i + 1) % facets
    faces = []
    for n in range(len(rings)):
        here, there = n * facets, (n + 1) % len(rings) * facets
        faces += [np.column_stack((here + i, here + j, there + j)), np.column_stack((here + i, there + j, there + i))]
    faces = np.concatenate(faces)
    made = trimesh.Trimesh(points, faces, process=False)
    assert made.is_watertight
    return made


def inscribed(facets):
    """Share of a circle that a polygon of so many facets within it has."""
    return facets / (2 * math.pi) * math.sin(2 * math.pi / facets)


@settings(deadline=None, max_examples=25)
@given(parts(shapes=("round", "thread")))
def test_volume_of_a_revolved_mesh(rows):
    """Facets take the same share of every section, so that share is all that the two differ by: 1e-4 at 240 facets."""
    share = inscribed(240)
    assert 1 - share == pytest.approx(1.142e-4, rel=1e-3)
    assert abs(mesh(rows, 240).volume) / share == pytest.approx(bf.part_volume(rows), rel=1e-9)


@pytest.mark.slow
@settings(deadline=None, max_examples=15)
@given(parts())
def test_volume_and_surface_of_a_mesh_with_hexagons_and_squares(rows):
    """The error of the facets goes with 1 / n^2; what two meshes leave of it is below 1e-6. A face on which a circle crosses
    flats is off by a facet at each crossing: 1e-3 of it at most."""
    fine, finer = mesh(rows, 240), mesh(rows, 480)
    volume = (4 * abs(finer.volume) - abs(fine.volume)) / 3
    assert volume == pytest.approx(bf.part_volume(rows), rel=1e-6)
    assert (4 * finer.area - fine.area) / 3 == pytest.approx(bf.part_area(rows), rel=1e-4)


@pytest.mark.slow
@settings(deadline=None, max_examples=15)
@given(parts(shapes=("round", "thread")))
def test_surface_of_a_revolved_mesh(rows):
    fine, finer = mesh(rows, 240), mesh(rows, 480)
    assert finer.area < bf.part_area(rows) * (1 + 1e-9)
    assert finer.area == pytest.approx(bf.part_area(rows), rel=3e-5)
    assert (4 * finer.area - fine.area) / 3 == pytest.approx(bf.part_area(rows), rel=1e-6)


@pytest.mark.parametrize("outlines", [("round", "hexagon"), ("round", "square"), ("hexagon", "square"), ("hexagon", "hexagon")])
@pytest.mark.parametrize("ratio", [0.5, 0.73, 0.87, 0.95, 1.0, 1.05, 1.1, 1.154, 1.3, 1.42, 2.0])
def test_common_area_is_that_of_the_smaller_radius_all_round(outlines, ratio):
    facets = 120_000
    one, two = radii(outlines[0], 1.0, facets), radii(outlines[1], ratio, facets)
    wanted = math.pi / facets * float(np.sum(np.minimum(one, two) ** 2))
    assert bf.common_area(outlines[0], 1, outlines[1], ratio) == pytest.approx(wanted, rel=2e-8)
    assert bf.common_area(outlines[1], ratio, outlines[0], 1) == pytest.approx(wanted, rel=2e-8)


# --- three parts by hand ---------------------------------------------------------------------------------------------------


def test_a_hexagon_with_a_bore_and_a_taper_by_hand():
    """A nipple of brass, 0.307 lb/in3: a taper from 1/2 to 3/4 in over 1/4 in, then 3/4 in hexagon, 1/2 in long; bored 1/4 in through."""
    part = "round 1/2 to 3/4 x 1/4 bore 1/4; hex 3/4 x 1/2 bore 1/4"
    # Volume. Taper: pi/12 x 0.25 x (0.25 + 0.375 + 0.5625) = 0.261799 x 0.25 x 1.1875 = 0.077722 in3
    # Hexagon: 0.866025 x 0.75^2 x 0.5 = 0.866025 x 0.5625 x 0.5 = 0.243570 in3
    # Bore: 0.785398 x 0.0625 x 0.75 = 0.036816 in3;  0.077722 + 0.243570 - 0.036816 = 0.284476 in3
    assert bf.part_volume(part) == pytest.approx(0.284476, abs=1e-6)
    # Weight: 0.284476 x 0.307 = 0.087334 lb
    assert bf.finished_weight(part, "0.307 lb/in3", "in") == pytest.approx(0.087334, abs=1e-6)
    # Surface. Side of the taper: slant sqrt(0.25^2 + 0.125^2) = 0.279508; pi x 0.625 x 0.279508 = 0.548813
    # Six flats: each 0.75 / 1.732051 = 0.433013 wide; 6 x 0.433013 x 0.5 = 1.299038
    # Bore: pi x 0.25 x 0.75 = 0.589049
    # Front ring: 0.785398 x (0.25 - 0.0625) = 0.147262; rear face: 0.866025 x 0.5625 - 0.785398 x 0.0625 = 0.487139 - 0.049087 = 0.438052
    # Step at the hexagon: the taper ends on the circle within the flats: 0.487139 - 0.785398 x 0.5625 = 0.487139 - 0.441786 = 0.045353
    # Together 0.548813 + 1.299038 + 0.589049 + 0.147262 + 0.438052 + 0.045353 = 3.067567 in2
    assert bf.part_area(part) == pytest.approx(3.067567, abs=2e-6)
    # Length 0.25 + 0.5 = 0.75; across the corners 0.75 / 0.866025 = 0.866025
    assert bf.finished_length(part) == 0.75
    assert bf.part_width(part) == pytest.approx(0.866025, abs=1e-6)
    # Chips from 3/4 in hexagon, 0.75 + 0.125 cut-off + 0.025 facing = 0.9 in each: 0.487139 x 0.9 = 0.438425 in3;
    # 0.438425 - 0.284476 = 0.153949 in3; x 0.307 = 0.047262 lb
    assert bf.chips_per_part(part, "0.307 lb/in3", "hexagon", 0.75, 0.9, units="in") == pytest.approx(0.047262, abs=1e-6)


def test_a_shaft_of_6_inches_by_hand():
    """Steel, 0.2836 lb/in3: a thread 1/2-20 with pitch diameter 0.4675, 0.75 in long, 3/4 in for 1.25 in, 1 in for 4 in."""
    part = [["thread", 0.5, 0.75, 0.4675], ["round", 0.75, 1.25], ["round", 1, 4]]
    # Volume. Thread: 0.785398 x 0.4675^2 x 0.75 = 0.785398 x 0.218556 x 0.75 = 0.128740
    # 0.785398 x 0.5625 x 1.25 = 0.552233;  0.785398 x 1 x 4 = 3.141593;  together 3.822566 in3
    assert bf.part_volume(part) == pytest.approx(3.822566, abs=2e-6)
    # Weight 3.822566 x 0.2836 = 1.084080 lb
    assert bf.finished_weight(part, "0.2836 lb/in3", "in") == pytest.approx(1.084080, abs=2e-6)
    # Surface. Sides: pi x (0.4675 x 0.75 + 0.75 x 1.25 + 1 x 4) = pi x (0.350625 + 0.9375 + 4) = pi x 5.288125 = 16.613135
    # Faces: seen from the front they make up one circle of 1 in, from the rear another: 2 x 0.785398 = 1.570796
    assert bf.part_area(part) == pytest.approx(18.183931, abs=2e-6)
    assert bf.finished_length(part) == 6
    assert bf.part_width(part) == 1


def test_a_pin_of_1_mm_by_hand():
    """Stainless, 8 g/cm3: 1 mm, 8 mm long, both ends chamfered 0.2 mm at 45 degrees, to 0.6 mm."""
    part = "0.6 mm to 1 mm x 0.2 mm; 1 mm x 7.6 mm; 1 mm to 0.6 mm x 0.2 mm"
    # Chamfer: pi/12 x 0.2 x (0.36 + 0.6 + 1) = 0.261799 x 0.2 x 1.96 = 0.102625 mm3, twice 0.205251
    # Cylinder: 0.785398 x 7.6 = 5.969026;  together 6.174277 mm3
    assert bf.part_volume(part, "mm") == pytest.approx(6.174277, abs=2e-6)
    # Weight: 6.174277 mm3 = 0.006174277 cm3; x 8 = 0.049394 g = 4.9394E-5 kg
    assert bf.finished_weight(part, "8 g/cm3", "mm") == pytest.approx(4.9394e-5, abs=1e-9)
    # Surface: pi x 7.6 = 23.876104; chamfers 2 x pi x 0.8 x sqrt(0.2^2 + 0.2^2) = 2 x pi x 0.8 x 0.282843 = 1.421723;
    # ends 2 x 0.785398 x 0.36 = 0.565487;  together 25.863314 mm2
    assert bf.part_area(part, "mm") == pytest.approx(25.863314, abs=2e-6)
    assert bf.finished_length(part, "mm") == pytest.approx(8)
    # The same pin in inches: 6.174277 / 16387.064 in3
    assert bf.part_volume(part, "in") == pytest.approx(6.174277 / 16387.064, rel=1e-6)


# --- how sections are written ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("written", [
    "round 1/2 to 3/8 x 3/4 bore 1/4 to 1/8; hex 3/4 x 3/8; thread 1/2 pd 0.45 x 1/2",
    "1/2to 3/8 x 3/4, bore 1/4 to 1/8\nHEXAGON 0.75×0.375\nThread .5 pitch diameter .45 X .5;",
    "ø 1/2 in to 3/8 in x 19.05 mm bore 1/4 in to 0.125 in; hex. 3/4\" x 3/8\"; thread 1/2 in p.d. 11.43 mm x 1/2 in",
    ["dia 1/2 to 3/8 x 3/4 bore 1/4 to 1/8", "", "hex 3/4 x 3/8", None, "thread 1/2 pd 0.45 x 1/2"],
    [["round", "1/2", 0.75, "3/8", 0.25, "1/8"], ["hex", 0.75, "3/8"], ["thread", 0.5, 0.5, 0.45]],
    (("", 0.5, 0.75, 0.375, 0.25, 0.125), (None,) * 6, ("Hexagon", 0.75, 0.375, "", 0, None), ("thread", 0.5, 0.5, 0.45, None, None)),
    [["Length", "Shape", "Size", "End size", "Bore", "bore_end"], [0.75, None, 0.5, 0.375, 0.25, 0.125], [0.375, "hex", 0.75],
     [0.5, "thread", 0.5, 0.45]],
    [{"size": 0.5, "length": 0.75, "end size": 0.375, "Bore": 0.25, "bore_end": "1/8"}, {"shape": "hex", "size": "3/4", "length": 0.375},
     {"shape": "thread", "size": 0.5, "length": 0.5, "end_size": 0.45}],
    [["round 1/2 to 3/8 x 3/4 bore 1/4 to 1/8"], ["hex 3/4 x 3/8", None], ["thread", 0.5, 0.5, 0.45]],
])
def test_all_that_mean_the_same(written):
    wanted = [("round", 0.5, 0.75, 0.375, 0.25, 0.125), ("hexagon", 0.75, 0.375, None, 0.0, None), ("thread", 0.5, 0.5, 0.45, 0.0, None)]
    read = [values for _, values in read_in(kind_of(Sections), written, "in")]
    assert [row[0] for row in read] == [row[0] for row in wanted]
    for row, right in zip(read, wanted, strict=True):
        assert [v for v in row[1:] if v is not None] == pytest.approx([v for v in right[1:] if v is not None])
        assert [v is None for v in row] == [v is None for v in right]
    assert bf.part_volume(written, units="in") == pytest.approx(bf.part_volume(wanted))


def test_one_row_and_one_mapping_are_a_part():
    assert bf.part_volume(["round", 1, 2]) == bf.part_volume([["round", 1, 2]]) == bf.part_volume({"size": 1, "length": 2})
    assert bf.part_volume(np.array([["round", "1", "2"]])) == bf.part_volume("1 x 2")


def test_a_quantity_in_a_row_gives_a_quantity():
    import pint

    q = pint.get_application_registry().Quantity if hasattr(pint, "get_application_registry") else pint.UnitRegistry().Quantity
    found = bf.part_volume([["round", q(25.4, "mm"), q(2, "inch")]])
    assert found.to("inch**3").magnitude == pytest.approx(math.pi / 2)


BAD = {
    "1 x 1 bore 1": "row 1, bore: the bore must be smaller than the outside",
    "2 x 1; 1 to 0.5 x 1 bore 0.7": "row 2, bore: the bore must be smaller than the outside at the section's end too",
    "1 x 1; 1 x 1 bore 0.5 to 1": "row 2, bore_end: the bore must be smaller than the outside at the section's end too",
    "hex 1 to 0.5 x 1": "row 1, end_size: only a round section tapers: leave the end size of a hexagon or a square out",
    "thread 1/2 x 1": "row 1, end_size: the end size of a thread is its pitch diameter, which is needed and smaller than its size",
    "thread 1/2 pd 0.6 x 1": "row 1, end_size: the end size of a thread is its pitch diameter, which is needed and smaller than its size",
    "1 x 1 bore 0.8; 1/2 x 1": "row 1, bore: the bore must be smaller than the outside of the section beside it too, or the part falls apart",
    "1/2 x 1; 1 x 1 bore 0.8": "row 2, bore: the bore must be smaller than the outside of the section beside it too, or the part falls apart",
    "oval 1 x 1": "row 1, size: 'oval 1' can't be read as a length: it doesn't start with a number",
    "1 x 0": "row 1, length: '0' given; allowed is a number more than 0",
    "1": "row 1: '1' can't be read as a section; write for example round 1/2 to 3/8 x 3/4 bore 1/4",
    "1 x 2 x 3": "row 1: '1 x 2 x 3' can't be read as a section",
    "1 x 2 bore": "row 1: '1 x 2 bore' can't be read as a section",
    "1 x": "row 1: '1 x' can't be read as a section",
    "round 1 pd 0.9 x 1": "row 1: 'round 1 pd 0.9 x 1': a thread has a pitch diameter",
    "thread 1 to 0.9 x 1": "row 1: 'thread 1 to 0.9 x 1': a thread has a pitch diameter",
    " ; ": "give at least one row",
    "1 x 1;" * 17: "row 17: more than 16 rows given",
    "1 x " * 2000: "8,000 characters given; allowed are at most 4,000",
    "1 x 5 mm": "has no unit next to values in metric units: add units",
    7: "7 given; allowed are rows of sections, or a text of them",
    (("round", 1, 1, None, None, None, 3),): "row 1: 7 cells given; the columns are shape, size, length, end_size, bore, bore_end",
    (("round", 1),): "row 1, length: is missing",
    (("round", 1, True),): "row 1, length: True given; allowed is a number",
    (("size", "length", "colour"), (1, 1, "red")): "row 1: 'colour' is no column; known are shape, size, length, end_size, bore, bore_end",
    (("round", 1, 1, None, None, 0.5),): "row 1, bore_end: a bore end needs a bore",
    (("round", 1, 1, 0),): "row 1, end_size: 0 given; allowed is a number more than 0",
    ((1, 1, 1),): "row 1, shape: 1 given; allowed is one of round, hexagon, square, thread",
}


@pytest.mark.parametrize("written", BAD, ids=lambda written: str(written)[:40])
def test_bad_sections_name_row_and_column(written):
    wanted = BAD[written]
    for function in (bf.part_volume, bf.part_area, bf.part_width, bf.finished_length):
        with pytest.raises(bf.InputError) as caught:
            function(written)
        assert any(name == "sections" and wanted in reason for name, reason in caught.value.problems), str(caught.value)


def test_units_of_rows_follow_the_one_rule():
    with pytest.raises(bf.InputError, match="units: is missing: '12 mm x 1 mm' is metric"):
        bf.part_volume("12 mm x 1 mm")
    assert bf.part_volume("12 mm x 1 mm", "mm") == pytest.approx(36 * math.pi)
    assert bf.part_volume("12 x 1", "mm") == pytest.approx(36 * math.pi)
    assert bf.part_volume("1/2 in x 1", "in") == pytest.approx(math.pi / 16)


def test_materials_in_a_column_beside_one_part():
    part = "1/2 x 3/4"
    assert bf.finished_weight(part, ["303", "C36000"]) == [bf.finished_weight(part, "303"), bf.finished_weight(part, "C36000")]
    with pytest.raises(bf.InputError, match="row 2: material: "):
        bf.finished_weight(part, ["303", "unobtainium"])


def test_in_excel_rows_with_blank_cells_and_a_column_beside_them():
    weight, volume = (CellCall(bf.CATALOGUE[name], EXCEL) for name in ("finished_weight", "part_volume"))
    rows = (("round", 0.5, 0.75, None, 0.25, None), (None,) * 6, ("hexagon", 0.75, 0.375, None, None, None), (None,) * 6)
    assert volume(rows) == bf.part_volume([rows[0], rows[2]])
    assert volume((("1 x 1",),)) == volume("1 x 1") == bf.part_volume("1 x 1")
    assert weight(rows, (("303",), (None,), ("bronze?",), ("303",)))[::3] == [[bf.finished_weight([rows[0], rows[2]], "303")]] * 2
    assert volume((("round", 0.5, -2146826246),)) == "#N/A"
    assert volume((("round", 0.5, True),)) == "#VALUE! sections: row 1, length: TRUE given; allowed is a number more than 0 and at most 1,000,000 (in or mm)"
    assert volume((*rows[:2], ("hexagon", 0.75, 0.375, 0.5, None, None))).startswith("#VALUE! sections: row 3, end_size: only a round section tapers")
    assert volume(((None,) * 6,)).startswith("#VALUE! sections: is missing")


def test_chips_need_a_bar_that_the_part_comes_out_of():
    with pytest.raises(bf.InputError, match="size: the part is 1 in wide and does not fit the bar"):
        bf.chips_per_part("1 x 1", "303", "round", 0.9, 2)
    with pytest.raises(bf.InputError, match="bar_per_part: is shorter than the part"):
        bf.chips_per_part("1 x 1", "303", "round", 1, 0.9)
    with pytest.raises(bf.InputError, match="size: the part would weigh more than the bar it is cut from"):
        bf.chips_per_part("1 x 1", "303", "tube", 1, 1, 0.1)
    assert bf.chips_per_part("1 x 1", "303", "round", 1, 1) == 0
    rng = random.Random(4)
    for _ in range(50):
        size, length, extra = rng.uniform(0.1, 3), rng.uniform(0.1, 6), rng.uniform(0, 0.3)
        part = [["round", size * 0.8, length, None, size * 0.2]]
        chips = bf.chips_per_part(part, "303", "round", size, length + extra)
        assert chips + bf.finished_weight(part, "303") == pytest.approx(bf.bar_weight("303", "round", size, length + extra), rel=1e-12)
