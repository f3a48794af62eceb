"""Stock size: what a bar of a size surely leaves, and the smallest one that will do."""

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any

from barfuncs.catalogue.entry import COMMON_PRACTICE, GEOMETRY
from barfuncs.catalogue.function import cell_function
from barfuncs.catalogue.kinds import (
    BarShape,
    BarSurface,
    DefectClass,
    Length,
    PositiveLength,
    Size,
    Steel,
    StockSizes,
    Text,
    ToleranceClass,
    Units,
    kind_of,
)
from barfuncs.catalogue.reading import read_in
from barfuncs.catalogue.units import MM_PER_INCH
from barfuncs.errors import InputError, shown
from barfuncs.functions.stock import across_corners
from barfuncs.tables import tolerances
from barfuncs.tables.tolerances import MM, SizeTolerance

_NEAR = 1e-9
"""A size that is an edge of a band but for rounding noise, in one unit or the other, is that edge."""
_SHAPES = ("round", "hexagon", "square")
WIDEST_H11 = 80.0
"""mm. Drawn hexagon and square: h11 up to this width, h12 above (EN 10278)."""
STANDARD_INCH = "A108 to 0.55% C"

INCH_CLASSES = {"A108 over 0.55% C": ("alloy steel",), STANDARD_INCH: ("free-machining steel", "carbon steel")}
"""By class of an inch bar the groups of materials that it is for where nothing was agreed."""
ROUND_STAINLESS = ("A484", ("stainless steel", "duplex stainless", "nitrogen-strengthened stainless"))
"""The class of round stainless, and the groups that are that."""
NO_STANDARD = "common practice"
"""The class of what no standard here is for."""


def class_in_force(tolerance_class: str, size: float, bar_shape: str, units: str) -> str:
    """The class that is meant by "standard"."""
    if tolerance_class != "standard":
        return tolerance_class
    if units == "in":
        return STANDARD_INCH
    return "h10" if bar_shape == "round" else "h11" if size <= WIDEST_H11 * (1 + _NEAR) else "h12"


def _top(row: SizeTolerance) -> float:
    """The first size that the row is not for, in its unit."""
    return row.up_to * (1 - _NEAR if row.open_end else 1 + _NEAR)


def tolerance_row(tolerance_class: str, size: float, bar_shape: str, units: str) -> SizeTolerance | None:
    """The row of the table for a size, or None where it has none."""
    name = class_in_force(tolerance_class, size, bar_shape, units)
    for row in tolerances.size_tolerances():
        if row.tolerance_class == name and row.shape in ("any", bar_shape) and size * (MM[units] / MM[row.unit]) < _top(row):
            return row
    return None


# --- the table as a cell formula ------------------------------------------------------------------------------------


def _number(value: float) -> str:
    return f"{value:.12g}"


def _array(rows: Iterable[Iterable[str]]) -> str:
    return "{" + ";".join(",".join(row) for row in rows) + "}"


def _texts(names: Iterable[str]) -> str:
    return _array([f'"{name}"' for name in names] for _ in range(1))


_PER_MM = f"1/{MM_PER_INCH!r}"


def _band_formula(names: Sequence[str], shape: str, row_number: str) -> str:
    """Cell expression: the minus tolerance for classes with the same bands, looked up in an array by class and by size."""
    rows = {name: [r for r in tolerances.size_tolerances() if r.tolerance_class == name and r.shape in ("any", shape)]
            for name in names}
    longest = max(rows.values(), key=len)
    unit = longest[0].unit
    edges = ["0", *(_number(_top(r)) for r in longest[:-1])]
    values = [[_number(r.minus) for r in rows[name]] + ["0"] * (len(longest) - len(rows[name])) for name in names]
    into, back = (f"{MM_PER_INCH!r}", _PER_MM) if unit == "mm" else (_PER_MM, f"{MM_PER_INCH!r}")
    return (f'INDEX({_array(values)},{row_number},MATCH(size*IF(units="{unit}",1,{into}),{_array([edges])},1))'
            f'*IF(units="{unit}",1,{back})')


_H = ("h6", "h7", "h8", "h9", "h10", "h11", "h12")
_A108 = ("A108 to 0.28% C", "A108 to 0.55% C", "A108 to 0.55% C stress relieved", "A108 over 0.55% C", "common practice")
"""Classes with bands alike; what is an idea was given theirs."""


def _is_one_of(names: Iterable[str]) -> str:
    return ",".join(f'tolerance_class="{name}"' for name in names)


def _tolerance_formula() -> str:
    standard = f'IF(bar_shape="round",5,IF(size<={_number(WIDEST_H11 * (1 + _NEAR))},6,7))'
    metric = _band_formula(_H, "round", f'IF(tolerance_class="standard",{standard},MATCH(tolerance_class,{_texts(_H)},0))')
    row = f'IF(tolerance_class="standard",{_A108.index(STANDARD_INCH) + 1},MATCH(tolerance_class,{_texts(_A108)},0))'
    first, second, third = (_band_formula(_A108, shape, row) for shape in _SHAPES)
    return (f'IF(tolerance_class="none",0,IF(OR(AND(tolerance_class="standard",units="mm"),{_is_one_of(_H)}),{metric},'
            f'IF(tolerance_class="A484",{_band_formula(("A484",), "round", "1")},'
            f'IF(tolerance_class="EN 10060",{_band_formula(("EN 10060",), "round", "1")},'
            f'IF(bar_shape="round",{first},IF(bar_shape="hexagon",{second},{third}))))))')


def _within_the_table() -> str:
    """Cell expression: TRUE where the table has a tolerance for the class, the shape and the size."""
    parts = ['tolerance_class="none"']
    largest: dict[tuple[str, str], SizeTolerance] = {}
    for row in tolerances.size_tolerances():
        for shape in _SHAPES if row.shape == "any" else (row.shape,):
            largest[row.tolerance_class, shape] = row
    groups: dict[tuple[float, str, tuple[str, ...]], list[str]] = {}
    for name in dict.fromkeys(name for name, _ in largest):
        shapes: dict[tuple[float, str], list[str]] = {}
        for shape in _SHAPES:
            if (name, shape) in largest:
                row = largest[name, shape]
                shapes.setdefault((_top(row), row.unit), []).append(shape)
        for (top, unit), of in shapes.items():
            groups.setdefault((top, unit, tuple(of)), []).append(name)
    for (top, unit, shapes_of), names in groups.items():
        classes = [f'tolerance_class="{name}"' for name in names]
        if "h10" in names:
            classes.append('AND(tolerance_class="standard",units="mm")')
        if STANDARD_INCH in names:
            classes.append('AND(tolerance_class="standard",units="in")')
        shape = "" if len(shapes_of) == len(_SHAPES) else f",{_any('bar_shape', shapes_of)}"
        # Short, and without IF, since it is a rule in Python too.
        parts.append(f'AND({_joined("OR", classes)}{shape},size*((units="mm")+{MM_PER_INCH!r}*(units="in"))<{_number(top * MM[unit])})')
    return f"OR({','.join(parts)})"


def _any(argument: str, choices: Sequence[str]) -> str:
    return _joined("OR", [f'{argument}="{choice}"' for choice in choices])


def _joined(join: str, parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{join}({','.join(parts)})"


_TOLERANCE_RULE = ("tolerance_class", _within_the_table(), "the table of this class has no bar of that shape and size")
_BARE = "finished_size+minus_tolerance+2*clean_up"
_IN_UNITS = f'IF(units="mm",1,{_PER_MM})'


def _by_defect_class(value: Callable[[tolerances.DefectDepth], str], without: str) -> str:
    """Cell expression: what `value` says for the defect class, or `without` where there are no defects."""
    text = without
    for row in reversed(tolerances.defect_depths().values()):
        if row.least_mm or row.share:
            text = f'IF(defect_class="{row.defect_class}",{value(row)},{text})'
    return text


def _depth_formula(row: tolerances.DefectDepth) -> str:
    text = f"{row.share:g}*size"
    if row.least_mm:
        text = f"MAX({row.least_mm:g}*{_IN_UNITS},{text})"
    return text if row.most_mm is None else f"MIN({row.most_mm:g}*{_IN_UNITS},{text})"


def _needed_formula(row: tolerances.DefectDepth) -> str:
    text = f"({_BARE})/{1 - 2 * row.share:.12g}"
    if row.least_mm:
        text = f"MAX({_BARE}+{2 * row.least_mm:g}*{_IN_UNITS},{text})"
    return text if row.most_mm is None else f"MIN({_BARE}+{2 * row.most_mm:g}*{_IN_UNITS},{text})"


def _straightness_formula() -> str:
    last, *others = reversed(tolerances.straightness())
    text = f"{last.mm_per_m:g}"
    for row in others:
        text = f'IF(AND(steel="{row.steel}",bar_shape="{row.shape}"),{row.mm_per_m:g},{text})'
    return f"{text}*length/1000"


# --- one bar --------------------------------------------------------------------------------------------------------


@cell_function(
    group="Stock",
    source="EN 10278 with ISO 286, ASTM A108 and A484, EN 10060, as read in copies or from memory, common practice: each row of size_tolerances.csv says which",
    formula=_tolerance_formula(),
    rules=(_TOLERANCE_RULE,),
)
def size_tolerance(size: Size, tolerance_class: ToleranceClass, bar_shape: BarShape = "round", units: Units = "in") -> Length:
    """How much thinner than its size a bar may be, by the class of its tolerance.

    Notes
    -----
    h6 to h8 is bar that is ground, as a guide bush may want it; h9 to h12 is drawn, turned or ground bar (EN 10278). A108 is
    cold finished carbon steel by its carbon, "over 0.55% C" also heat treated and alloy bar; A484 is cold finished
    stainless, which may be thicker by as much; EN 10060 is hot rolled; "common practice" is an idea for what none of them is for, such
    as brass and aluminum. "standard" is what EN 10278 gives where nothing was agreed; in inch, where that depends on the steel, the
    tolerance of A108 up to 0.55 % carbon. The sheet Part goes by the material of the job there.

    Examples
    --------
    >>> size_tolerance(25, "h10", units="mm")
    0.084
    >>> size_tolerance(1.25, "A108 to 0.28% C")
    0.002
    """
    row = tolerance_row(tolerance_class, size, bar_shape, units)
    return row.minus * (MM[row.unit] / MM[units]) if row else 0.0


@cell_function(
    group="Stock",
    source="EN 10277-1 as read in copies, and shares of the size from the trade: each row of defect_depths.csv says which",
    formula=_by_defect_class(_depth_formula, "0"),
)
def defect_depth(size: Size, defect_class: DefectClass = "class 1", units: Units = "in") -> Length:
    """How deep a defect of the bar's surface may be: as much must come off each side for a surface without one.

    Notes
    -----
    Class 1 is what EN 10277-1 gives where nothing was agreed; class 4 has no cracks from manufacture. 1.6% a side is the
    usual allowance for hot rolled bar, 2.4% (from memory) that for resulphurized bar.

    Examples
    --------
    >>> defect_depth(30, "class 1", "mm")
    0.6
    """
    row = tolerances.defect_depths()[defect_class]
    depth = max(row.least_mm / MM[units], row.share * size)
    return depth if row.most_mm is None else min(depth, row.most_mm / MM[units])


@cell_function(
    group="Stock",
    source=f"{GEOMETRY}; tolerances and depths as of `size_tolerance` and `defect_depth`",
    formula="MAX(0,size-SIZE_TOLERANCE(size,tolerance_class,bar_shape,units)-2*DEFECT_DEPTH(size,defect_class,units)-2*clean_up)",
    rules=(_TOLERANCE_RULE,),
)
def size_left(size: Size, tolerance_class: ToleranceClass, defect_class: DefectClass = "class 1",
              clean_up: Length = 0, bar_shape: BarShape = "round", units: Units = "in") -> Length:
    """Largest size that surely comes clean out of a bar: its size less tolerance, and less defects and clean-up on two sides.

    Examples
    --------
    >>> round(size_left(27, "h10", "class 1", units="mm"), 3), round(size_left(26, "h10", "class 1", units="mm"), 3)
    (25.836, 24.876)
    """
    off = 2 * defect_depth.core(size, defect_class, units) + 2 * clean_up
    return float(max(0.0, size - size_tolerance.core(size, tolerance_class, bar_shape, units) - off))


@cell_function(
    group="Stock",
    source=f"{GEOMETRY}; depths as of `defect_depth`",
    formula=_by_defect_class(_needed_formula, _BARE),
)
def smallest_bar(finished_size: Size, minus_tolerance: Length = 0, defect_class: DefectClass = "class 1",
                 clean_up: Length = 0, units: Units = "in") -> Length:
    """Smallest bar that leaves a finished size, whatever sizes can be had: `size_left` the other way round.

    Notes
    -----
    The minus tolerance is that of the bar, from `size_tolerance` or the supplier.

    Examples
    --------
    >>> round(smallest_bar(25, 0.084, "class 1", units="mm"), 4)
    26.1292
    >>> round(smallest_bar(6, 0, "1.6% a side"), 3)
    6.198
    """
    row = tolerances.defect_depths()[defect_class]
    left = finished_size + minus_tolerance + 2 * clean_up
    size = max(left + 2 * row.least_mm / MM[units], left / (1 - 2 * row.share))
    return float(size if row.most_mm is None else min(size, left + 2 * row.most_mm / MM[units]))


@cell_function(
    group="Stock",
    source="EN 10278 as read in a copy (straightness.csv)",
    formula=_straightness_formula(),
    rules=(("size", 'OR(bar_shape="round",AND(units="mm",size<=75),AND(units="in",size<=2.952755905512))',
            "hexagon and square are in the table up to 75 mm"),),
)
def bar_straightness(size: Size, length: Length, steel: Steel = "carbon from 0.25% or alloy", bar_shape: BarShape = "round",
                     units: Units = "in") -> Length:
    """How far a drawn bar may be off straight over a length, in its middle.

    Examples
    --------
    >>> bar_straightness(20, 3000, units="mm")
    4.5
    """
    row = next(r for r in tolerances.straightness() if r.steel == steel and r.shape == bar_shape)
    return row.mm_per_m * length / 1000


# --- the pick among sizes -------------------------------------------------------------------------------------------

_SIZE_RULES = (
    ("bar_shape", 'OR(part_shape="round",bar_shape="round",part_shape=bar_shape)',
     "a hexagon part is made from round or hexagon bar, a square one from round or square bar"),
    ("surface", 'OR(surface="turned",bar_shape="round",part_shape=bar_shape)',
     "a round part from hexagon or square bar is turned all over"),
)
_NO_FORMULA = "the sizes that can be had are a list; a sheet looks them up in its own"


@cell_function(
    group="Stock",
    source=f"{COMMON_PRACTICE}; tolerances and depths as of `size_tolerance` and `defect_depth`, usual steps from memory",
    no_formula=_NO_FORMULA,
    rules=_SIZE_RULES,
)
def bar_size_for(finished_size: Size, stock_sizes: StockSizes | None = None, surface: BarSurface = "turned",
                 tolerance_class: ToleranceClass = "standard", defect_class: DefectClass = "class 1", clean_up: Length = 0,
                 part_shape: BarShape = "round", bar_shape: BarShape = "round", units: Units = "in") -> Length:
    """Smallest stock size for a finished size: one that leaves it clean, or the size itself where it stays as drawn.

    Notes
    -----
    What a bar leaves is `size_left`. A hexagon or square from round bar needs its width across corners, sharp. As drawn is
    the size itself where it can be had; where not, the part is turned from the next one. Without a list of sizes the usual
    steps of the unit count (common practice, from memory): what your supplier keeps may differ. A size that the table of
    the class does not cover is passed over.

    Examples
    --------
    >>> bar_size_for(25, [24, 25, 26, 27, 28], tolerance_class="h10", units="mm")
    27.0
    >>> bar_size_for(25, surface="as drawn", units="mm"), bar_size_for(6, tolerance_class="none", defect_class="1.6% a side")
    (25.0, 6.25)
    """
    return _picked("bar_size_for", finished_size, stock_sizes, surface, tolerance_class, defect_class, clean_up, part_shape,
                   bar_shape, units)[0]


@cell_function(
    group="Stock",
    source="as of `bar_size_for`",
    no_formula=_NO_FORMULA,
    rules=_SIZE_RULES,
)
def bar_size_reason(finished_size: Size, stock_sizes: StockSizes | None = None, surface: BarSurface = "turned",
                    tolerance_class: ToleranceClass = "standard", defect_class: DefectClass = "class 1", clean_up: Length = 0,
                    part_shape: BarShape = "round", bar_shape: BarShape = "round", units: Units = "in") -> Text:
    """Why `bar_size_for` gives this size and not the next smaller one, in words.

    Examples
    --------
    >>> bar_size_reason(25, [24, 25, 26, 27, 28], tolerance_class="h10", units="mm")
    '27 mm leaves 25.836; 26 mm leaves 24.876, less than 25 (h10, defects class 1)'
    >>> bar_size_reason(25, surface="as drawn", units="mm")
    '25 mm stays as drawn: 24.916 to 25 (h10)'
    """
    size, smaller, needed, drawn = _picked("bar_size_reason", finished_size, stock_sizes, surface, tolerance_class,
                                           defect_class, clean_up, part_shape, bar_shape, units)
    of = [size, tolerance_class, defect_class, clean_up, bar_shape, units]

    def plain(value: float) -> str:
        return f"{math.floor(value * 1.000000000001 * 10_000 + 0.5) / 10_000:.4f}".rstrip("0").rstrip(".")

    force = class_in_force(tolerance_class, size, bar_shape, units)
    if drawn:
        row = tolerance_row(tolerance_class, size, bar_shape, units)
        if row is None:
            return f"{plain(size)} {units} stays as drawn, with whatever tolerance it has"
        factor = MM[row.unit] / MM[units]
        return f"{plain(size)} {units} stays as drawn: {plain(size - row.minus * factor)} to {plain(size + row.plus * factor)} ({force})"
    allowed = "no tolerance" if force == "none" else force
    allowed += ", no defects" if defect_class == "none" else f", defects {defect_class}"
    if clean_up:
        allowed += f", {plain(clean_up)} clean-up a side"
    text = f"{plain(size)} {units} leaves {plain(size_left.core(*of))}; "
    if smaller is None:
        text += "no smaller size is in the list"
    else:
        text += f"{plain(smaller)} {units} leaves {plain(size_left.core(smaller, *of[1:]))}, less than {plain(needed)}"
    if surface == "as drawn":
        text = f"no {plain(needed)} {units} in the list to stay as drawn, so it is turned: {text}"
    return f"{text} ({allowed})"


def _picked(name: str, finished_size: float, stock_sizes: Any, surface: str, tolerance_class: str, defect_class: str,
            clean_up: float, part_shape: str, bar_shape: str, units: str) -> tuple[float, float | None, float, bool]:
    """The size, the next smaller one, the size that must be left, and whether it stays as drawn."""
    needed = across_corners.core(part_shape, finished_size) if bar_shape != part_shape != "round" else float(finished_size)
    sizes = read_stock_sizes(stock_sizes, bar_shape, units, name)
    if surface == "as drawn":
        for size in sizes:
            if math.isclose(size, needed, rel_tol=_NEAR):
                return size, None, needed, True
    smaller = None
    for size in sizes:
        if tolerance_class != "none" and tolerance_row(tolerance_class, size, bar_shape, units) is None:
            continue
        left = size_left.core(size, tolerance_class, defect_class, clean_up, bar_shape, units)
        if left >= needed * (1 - _NEAR):
            return size, smaller, needed, False
        smaller = size
    if smaller is None:
        raise InputError(name, [("tolerance_class", "the table of this class has none of these sizes of bar")])
    left = size_left.core(smaller, tolerance_class, defect_class, clean_up, bar_shape, units)
    raise InputError(name, [("stock_sizes", f"the largest that counts, {smaller:.10g} {units}, leaves {left:.6g}, less than {needed:.6g}")])


def read_stock_sizes(sizes: Any, bar_shape: str, units: str, where: str) -> list[float]:
    """Sizes of bar in `units`, ascending: from a number, a sequence of them, or one text; without any, the usual steps.

    In a text, sizes stand apart by semicolons, or by blanks or commas where each is one word: "20 22 25", "1/2; 1 1/8".
    "inch" and "metric" are the usual steps of either, in whatever unit they are asked for.

    >>> read_stock_sizes("1-1/8 1 3/4", "round", "in", "here")
    Traceback (most recent call last):
    ...
    barfuncs.errors.InputError: here: stock_sizes: '1-1/8 1 3/4' may mean more than one thing; put a semicolon between two sizes
    >>> read_stock_sizes("1-1/8; 1; 3/4", "round", "in", "here")
    [0.75, 1.0, 1.125]
    """
    system = {"inch": "in", "in": "in", "metric": "mm", "mm": "mm"}.get(sizes.strip().casefold()) if isinstance(sizes, str) else None
    if sizes is None or system:
        return [size * (MM[system or units] / MM[units]) for size in tolerances.stock_steps(system or units, bar_shape)]
    if not isinstance(sizes, str) and hasattr(sizes, "tolist") and not hasattr(sizes, "units"):
        sizes = sizes.tolist()  # a numpy array
    kind, found, problems = kind_of(Size), set(), []
    try:
        for item in _each(sizes):
            try:
                found.add(float(read_in(kind, item, units)))
            except ValueError as error:
                problems.append(("stock_sizes", str(error)))
    except ValueError as error:
        problems.append(("stock_sizes", str(error)))
    if not found and not problems:
        problems.append(("stock_sizes", "give at least one size"))
    if problems:
        raise InputError(where, problems)
    return sorted(found)


def _each(sizes: Any) -> Iterator[Any]:
    if isinstance(sizes, str):
        yield from _size_texts(sizes)
    elif isinstance(sizes, Sequence) and not isinstance(sizes, (bytes, bytearray)):
        for item in sizes:
            if isinstance(item, (list, tuple)):
                yield from _each(item)
            elif item is not None and item != "":
                yield item
    else:
        yield sizes


def _size_texts(text: str) -> list[str]:
    if not text.strip():
        raise ValueError("is blank")
    if ";" in text:
        pieces = [piece.strip() for piece in text.split(";")]
        if "" in pieces:
            raise ValueError(f"{shown(text)} has nothing between two separators")
        return pieces
    words = text.replace(", ", " ").split()
    if len(words) == 1 and "," not in text:
        return words
    plain = [word for piece in words for word in piece.split(",")]
    # "1 1/8" may be one size or two, "25 mm 30 mm" has units as words of their own.
    if any(not word[:1].isdigit() and word[:1] != "." for word in plain):
        try:
            read_in(kind_of(PositiveLength), text, "in")
        except ValueError:
            raise ValueError(f"{shown(text)} can't be taken apart; put a semicolon between two sizes") from None
        return [text]
    if any("/" in word and "-" not in word for word in plain[1:]):
        raise ValueError(f"{shown(text)} may mean more than one thing; put a semicolon between two sizes")
    return plain
