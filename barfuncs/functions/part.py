"""Part: what a part is made up of, section by section from its front: volume, weight, surface, length, width, chips."""

import itertools
import math
from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

from barfuncs.catalogue.entry import GEOMETRY
from barfuncs.catalogue.function import cell_function
from barfuncs.catalogue.kinds import (
    Area,
    Length,
    Material,
    Outline,
    PositiveLength,
    Sections,
    SectionShape,
    Shape,
    Size,
    Units,
    Volume,
    Weight,
)
from barfuncs.catalogue.reading import broken_rules
from barfuncs.errors import InputError
from barfuncs.functions.stock import across_corners, bar_weight, material_density

_ROWS = "it takes rows of sections; on the sheet Part of the templates each row is worked out by the functions for one section"

_END = "IF(end_size=0,section_size,end_size)"
_BORE_END = "IF(bore_end=0,bore,bore_end)"
_TAPER_RULES = (
    ("end_size", 'OR(end_size=0,section_shape="round",section_shape="thread")',
     "only a round section tapers: leave the end size of a hexagon or a square out"),
    ("end_size", 'OR(section_shape<>"thread",AND(end_size>0,end_size<section_size))',
     "the end size of a thread is its pitch diameter, which is needed and smaller than its size"),
)
_BORE_RULES = (
    ("bore_end", "OR(bore_end=0,bore>0)", "a bore end needs a bore"),
    ("bore", 'AND(bore<section_size,OR(section_shape<>"thread",bore<end_size))', "the bore must be smaller than the outside"),
    ("bore", "OR(bore_end>0,end_size=0,bore<end_size)", "the bore must be smaller than the outside at the section's end too"),
    ("bore_end", "AND(OR(bore_end=0,end_size>0,bore_end<section_size),OR(bore_end=0,end_size=0,bore_end<end_size))",
     "the bore must be smaller than the outside at the section's end too"),
)


@cell_function(
    group="Part", source=f"{GEOMETRY}: frustum of a cone, prism",
    formula='section_length*(IF(section_shape="hexagon",SQRT(3)/2*section_size^2,IF(section_shape="square",section_size^2,'
            'IF(section_shape="thread",PI()/4*end_size^2,'
            f'PI()/12*(section_size^2+section_size*{_END}+{_END}^2))))-PI()/12*(bore^2+bore*{_BORE_END}+{_BORE_END}^2))',
    rules=(*_TAPER_RULES, *_BORE_RULES),
)
def section_volume(section_shape: SectionShape, section_size: Size, section_length: PositiveLength, end_size: Size | None = None,
                   bore: Length = 0, bore_end: Size | None = None) -> Volume:
    """Volume of one section of a part: a frustum, a prism or a thread, less its bore.

    Notes
    -----
    Round: pi/12 L (d^2 + d e + e^2) from diameter d to e; hexagon sqrt(3)/2 s^2 L; square s^2 L; a thread counts as a
    cylinder on its pitch diameter. The bore is a frustum too. A chamfer is a short taper. What ends in a point (a cone,
    the point of a drill) has a small end, such as 0.001: 0 is refused, since a blank cell is one.

    Examples
    --------
    >>> round(section_volume("round", 1, 2, 0.5), 6), round(section_volume("hexagon", 19, 12, bore=8, units="mm"), 1)
    (0.916298, 3148.4)
    """
    if section_shape == "hexagon":
        outside = math.sqrt(3) / 2 * section_size**2
    elif section_shape == "square":
        outside = section_size**2
    elif section_shape == "thread":
        assert end_size is not None
        outside = math.pi / 4 * end_size**2
    else:
        end = end_size or section_size
        outside = math.pi / 12 * (section_size**2 + section_size * end + end**2)
    bore_end = bore_end or bore
    return section_length * (outside - math.pi / 12 * (bore**2 + bore * bore_end + bore_end**2))


@cell_function(
    group="Part", source=f"{GEOMETRY}: side of a frustum (Pappus), of a prism",
    formula='IF(section_shape="hexagon",2*SQRT(3)*section_size*section_length,IF(section_shape="square",4*section_size*section_length,'
            'IF(section_shape="thread",PI()*end_size*section_length,'
            f"PI()/2*(section_size+{_END})*SQRT(section_length^2+((section_size-{_END})/2)^2))))",
    rules=_TAPER_RULES,
)
def outside_area(section_shape: SectionShape, section_size: Size, section_length: PositiveLength, end_size: Size | None = None) -> Area:
    """Outer surface of one section, without its faces.

    Notes
    -----
    Round: pi/2 (d + e) times the slant length; hexagon 2 sqrt(3) s L; square 4 s L. A thread counts as a cylinder on its
    pitch diameter: the flanks have more, about twice that for a sharp thread of 60 degrees.

    Examples
    --------
    >>> round(outside_area("round", 1, 2), 4), round(outside_area("hexagon", 1, 2), 4)
    (6.2832, 6.9282)
    """
    if section_shape == "hexagon":
        return 2 * math.sqrt(3) * section_size * section_length
    if section_shape == "square":
        return 4 * section_size * section_length
    if section_shape == "thread":
        assert end_size is not None
        return math.pi * end_size * section_length
    return _frustum_side(section_size, end_size or section_size, section_length)


def _frustum_side(start: float, end: float, length: float) -> float:
    return math.pi / 2 * (start + end) * math.sqrt(length**2 + ((start - end) / 2) ** 2)


@cell_function(
    group="Part", source=f"{GEOMETRY}: side of a frustum (Pappus)",
    formula=f"PI()/2*(bore+{_BORE_END})*SQRT(section_length^2+((bore-{_BORE_END})/2)^2)",
    rules=_BORE_RULES[:1],
)
def bore_area(bore: Length, section_length: PositiveLength, bore_end: Size | None = None) -> Area:
    """Surface of the bore of one section.

    Examples
    --------
    >>> round(bore_area(0.5, 2), 4)
    3.1416
    """
    return _frustum_side(bore, bore_end or bore, section_length)


_ROUND = 'IF(outline="round",section_size,next_size)'
_FLATS = 'IF(outline="round",next_size,section_size)'
_SIDES = 'IF(OR(outline="hexagon",next_shape="hexagon"),6,4)'
_SQUARE = 'IF(outline="square",section_size,next_size)/2'
_HEXAGON = 'IF(outline="hexagon",section_size,next_size)/2'
_HEIGHT = "(MIN(section_size,next_size)/2)"
_CUT = f"MAX(0,MIN({_HEIGHT},2*{_HEXAGON}-SQRT(3)*{_SQUARE}))"
_SAME = 'IF(outline="round",PI()/4,IF(outline="hexagon",SQRT(3)/2,1))'


@cell_function(
    group="Part", source=f"{GEOMETRY}: circle less its segments",
    formula=f"IF(outline=next_shape,MIN(section_size,next_size)^2*{_SAME},"
            'IF(OR(outline="round",next_shape="round"),'
            f"IF({_ROUND}<={_FLATS},PI()/4*{_ROUND}^2,IF({_ROUND}*COS(PI()/{_SIDES})>={_FLATS},{_SIDES}/4*TAN(PI()/{_SIDES})*{_FLATS}^2,"
            f"PI()/4*{_ROUND}^2-{_SIDES}/4*({_ROUND}^2*ATAN(SQRT(({_ROUND}-{_FLATS})*({_ROUND}+{_FLATS}))/{_FLATS})"
            f"-{_FLATS}*SQRT(({_ROUND}-{_FLATS})*({_ROUND}+{_FLATS}))))),"
            f"4*({_SQUARE}*{_CUT}+(2*{_HEXAGON}*({_HEIGHT}-{_CUT})-({_HEIGHT}^2-{_CUT}^2)/2)/SQRT(3))))",
)
def common_area(outline: Outline, section_size: Size, next_shape: Outline, next_size: Size) -> Area:
    """Area that two outlines on one axis have in common: what of a face is covered where two sections meet.

    Notes
    -----
    A circle and a polygon: the circle less the segments beyond its flats, the whole of one where it lies within the
    other. A hexagon and a square are taken with one pair of flats parallel.

    Examples
    --------
    >>> round(common_area("round", 1, "hexagon", 0.9), 4), round(common_area("round", 0.5, "round", 0.75), 4)
    (0.6973, 0.1963)
    """
    if outline == next_shape:
        return _outline_area(outline, min(section_size, next_size))
    if "round" in (outline, next_shape):
        round_size, flats, polygon = (section_size, next_size, next_shape) if outline == "round" else (next_size, section_size, outline)
        sides = 6 if polygon == "hexagon" else 4
        if round_size <= flats:
            return _outline_area("round", round_size)
        if round_size * math.cos(math.pi / sides) >= flats:
            return _outline_area(polygon, flats)
        chord = math.sqrt((round_size - flats) * (round_size + flats))
        return _outline_area("round", round_size) - sides / 4 * (round_size**2 * math.atan(chord / flats) - flats * chord)
    hexagon, square = (section_size / 2, next_size / 2) if outline == "hexagon" else (next_size / 2, section_size / 2)
    height = min(hexagon, square)
    # Up to this height the flats of the square bound what is common, from there on the slanting flats of the hexagon.
    cut = max(0.0, min(height, 2 * hexagon - math.sqrt(3) * square))
    return 4 * (square * cut + (2 * hexagon * (height - cut) - (height**2 - cut**2) / 2) / math.sqrt(3))


def _outline_area(outline: str, size: float) -> float:
    return size**2 * (math.pi / 4 if outline == "round" else math.sqrt(3) / 2 if outline == "hexagon" else 1.0)


_FALLS_APART = "the bore must be smaller than the outside of the section beside it too, or the part falls apart"


@cell_function(
    group="Part", source=GEOMETRY,
    formula=f"section_size^2*{_SAME}+IF(next_size=0,-PI()/4*bore^2,"
            f'next_size^2*{_SAME.replace("outline", "next_shape")}-2*COMMON_AREA(outline,section_size,next_shape,next_size)'
            "+PI()/4*ABS(bore^2-next_bore^2))",
    rules=(
        ("next_shape", 'OR(next_size=0,next_shape="round",next_shape="hexagon",next_shape="square")', "a next section needs its outline"),
        ("bore", "bore<section_size", "the bore must be smaller than the outside"),
        ("next_bore", "OR(next_size=0,next_bore<next_size)", "the bore must be smaller than the outside"),
        ("bore", "OR(next_size=0,bore<next_size)", _FALLS_APART),
        ("next_bore", "OR(next_size=0,next_bore<section_size)", _FALLS_APART),
    ),
)
def step_area(outline: Outline, section_size: Size, bore: Length = 0, next_shape: Outline | None = None, next_size: Size | None = None,
              next_bore: Length = 0) -> Area:
    """Faces that show where two sections meet: shoulders outside and within the bore; without a next section the end's face.

    Notes
    -----
    What one of the two has and the other has not, either way: A1 + A2 - 2 x their common area, and the ring between the
    two bores. Sizes are those at the face: of a taper its end, of a thread its pitch diameter.

    Examples
    --------
    >>> round(step_area("round", 1, 0.25, "round", 0.75, 0.5), 4), round(step_area("round", 1, 0.25), 4)
    (0.4909, 0.7363)
    """
    ring = _outline_area(outline, section_size)
    if not next_size:
        return ring - math.pi / 4 * bore**2
    assert next_shape is not None
    common: float = common_area.core(outline, section_size, next_shape, next_size)
    return ring + _outline_area(next_shape, next_size) - 2 * common + math.pi / 4 * abs(bore**2 - next_bore**2)


@cell_function(
    group="Part", source=GEOMETRY,
    formula='IF(section_shape="hexagon",2/SQRT(3)*section_size,IF(section_shape="square",SQRT(2)*section_size,'
            'IF(section_shape="thread",section_size,MAX(section_size,end_size))))',
    rules=_TAPER_RULES,
)
def section_width(section_shape: SectionShape, section_size: Size, end_size: Size | None = None) -> Length:
    """Largest width of one section: its larger diameter, a thread's outer one, across the corners of a hexagon or a square.

    Examples
    --------
    >>> round(section_width("hexagon", 0.75), 4), section_width("round", 0.5, 0.625)
    (0.866, 0.625)
    """
    if section_shape == "hexagon":
        return 2 / math.sqrt(3) * section_size
    if section_shape == "square":
        return math.sqrt(2) * section_size
    return max(section_size, end_size or 0.0) if section_shape == "round" else section_size


# --- the whole part ----------------------------------------------------------------------------------------------------


class Section(NamedTuple):
    """One section as it was read; None for what was left out."""

    shape: str
    size: float
    length: float
    end_size: float | None
    bore: float
    bore_end: float | None

    @property
    def front(self) -> tuple[str, float, float]:
        """Outline, size and bore of its front."""
        if self.shape == "thread":
            assert self.end_size is not None
            return "round", self.end_size, self.bore
        return self.shape, self.size, self.bore

    @property
    def rear(self) -> tuple[str, float, float]:
        outline, size, bore = self.front
        return outline, self.end_size or size, self.bore_end or bore


def _part(where: str, rows: Sequence[tuple[int, tuple[Any, ...]]]) -> list[Section]:
    """The sections of a part. Raises InputError naming row and column of what does not go together."""
    part = [(number, Section(*values)) for number, values in rows]
    problems = [(number, argument, message) for number, section in part
                for argument, message in broken_rules(section_volume.entry, section)]
    if not problems:
        for (number, section), (next_number, after) in itertools.pairwise(part):
            for argument, _ in broken_rules(step_area.entry, (*section.rear, *after.front)):
                problems.append((number, "bore", _FALLS_APART) if argument == "bore" else (next_number, "bore", _FALLS_APART))
    if problems:
        raise InputError(where, [("sections", f"row {number}, {argument}: {message}") for number, argument, message in problems])
    return [section for _, section in part]


def _volume(part: Sequence[Section]) -> float:
    return math.fsum(section_volume.core(*section) for section in part)


def _faces(part: Sequence[Section]) -> Iterator[float]:
    """Area of the faces: front, each step, rear."""
    yield step_area.core(*part[0].front)
    for section, after in itertools.pairwise(part):
        yield step_area.core(*section.rear, *after.front)
    yield step_area.core(*part[-1].rear)


@cell_function(group="Part", source=f"{GEOMETRY}: the sum of `section_volume`", no_formula=_ROWS)
def part_volume(sections: Sections, units: Units = "in") -> Volume:
    """Volume of a part, given section by section from its front.

    Notes
    -----
    A row has the columns shape (round, hexagon, square, thread; blank is round), size, length, end size, bore, bore end.
    The size is the diameter or the width across flats, of a thread the outer diameter. The end size is blank where a
    section does not taper; of a thread it is the pitch diameter, on which its volume counts. Bore blank: none. Bore end
    blank: as the bore. Sections are a range of cells, rows in lists or mappings, or a text: `round 1/2 to 3/8 x 3/4 bore
    1/4 to 3/16; hex 3/4 x 3/8; thread 1/2 pd 0.45 x 1/2`. A first row of headings may give the columns in another order.

    Examples
    --------
    >>> round(part_volume("round 1/2 x 3/4 bore 1/4; hex 3/4 x 3/8"), 5)
    0.29312
    >>> round(part_volume([["round", 0.5, 0.75, None, 0.25], ["hexagon", 0.75, 0.375]]), 5)
    0.29312
    """
    return _volume(_part("part_volume", sections))


@cell_function(group="Part", source=f"{GEOMETRY} and density; agrees with the masses of plain washers, DIN 125-1, as read in a copy",
               no_formula=_ROWS)
def finished_weight(sections: Sections, material: Material, units: Units = "in") -> Weight:
    """Weight of a finished part, given section by section from its front as in `part_volume`.

    Examples
    --------
    >>> round(finished_weight("round 12 x 1.6 bore 6.4", "7.85 g/cm3", units="mm") * 1000, 2)
    1.02
    """
    return float(_volume(_part("finished_weight", sections)) * material_density.core(material, units) * (1e-6 if units == "mm" else 1))


@cell_function(group="Part", source=f"{GEOMETRY}: the sum of `outside_area`, `bore_area` and `step_area`", no_formula=_ROWS)
def part_area(sections: Sections, units: Units = "in") -> Area:
    """Whole surface of a part, outer and inner, shoulders and end faces too, given section by section as in `part_volume`.

    Examples
    --------
    >>> round(part_area("1 x 2; 1/2 x 1"), 4), round(part_area([{"size": 1, "length": 2}]), 4)
    (9.4248, 7.854)
    """
    part = _part("part_area", sections)
    sides = [outside_area.core(*section[:4]) + bore_area.core(section.bore, section.length, section.bore_end) for section in part]
    return math.fsum([*sides, *_faces(part)])


@cell_function(group="Part", source=GEOMETRY, no_formula=_ROWS)
def finished_length(sections: Sections, units: Units = "in") -> Length:
    """Length of a part: its sections together, given as in `part_volume`.

    Examples
    --------
    >>> finished_length("round 1/2 x 3/4; hex 3/4 x 3/8")
    1.125
    """
    return math.fsum(section.length for section in _part("finished_length", sections))


@cell_function(group="Part", source=GEOMETRY, no_formula=_ROWS)
def part_width(sections: Sections, units: Units = "in") -> Length:
    """Largest width of a part, across the corners of a hexagon or a square: what a round bar must give at least.

    Examples
    --------
    >>> round(part_width("round 1/2 x 3/4; hex 3/4 x 3/8"), 4)
    0.866
    """
    return float(max(section_width.core(*section[:2], section.end_size) for section in _part("part_width", sections)))


@cell_function(group="Part", source=f"{GEOMETRY}: the bar that a part uses, less the part", no_formula=_ROWS)
def chips_per_part(sections: Sections, material: Material, shape: Shape, size: Size, bar_per_part: PositiveLength,
                   thickness: PositiveLength | None = None, units: Units = "in") -> Weight:
    """Weight of the chips that one part makes: the bar it uses, cut-off and facing included, less the finished part.

    Examples
    --------
    >>> round(chips_per_part("round 1/2 x 3/4 bore 1/4; hex 3/4 x 3/8", "0.2836 lb/in3", "hexagon", 0.75, 1.25, units="in"), 4)
    0.0896
    """
    part = _part("chips_per_part", sections)
    broken = broken_rules(bar_weight.entry, (material, shape, size, bar_per_part, thickness, units))
    if broken:
        raise InputError("chips_per_part", broken)
    widest = max(section_width.core(*section[:2], section.end_size) for section in part)
    if widest > across_corners.core(shape, size, thickness) * (1 + 1e-9):
        raise InputError("chips_per_part", [("size", f"the part is {widest:.6g} {'mm' if units == 'mm' else 'in'} wide and does not fit the bar")])
    if math.fsum(section.length for section in part) > bar_per_part * (1 + 1e-9):
        raise InputError("chips_per_part", [("bar_per_part", "is shorter than the part")])
    gross = bar_weight.core(material, shape, size, bar_per_part, thickness, units)
    chips = float(gross - _volume(part) * material_density.core(material, units) * (1e-6 if units == "mm" else 1))
    if chips < -1e-9 * gross:
        raise InputError("chips_per_part", [("size", "the part would weigh more than the bar it is cut from")])
    return max(chips, 0.0)

