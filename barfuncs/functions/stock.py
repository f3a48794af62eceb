"""Stock: section, density and weight of bar."""

import math

from barfuncs.catalogue import materials
from barfuncs.catalogue.entry import GEOMETRY
from barfuncs.catalogue.function import cell_function
from barfuncs.catalogue.kinds import (
    HEAVIEST,
    LIGHTEST,
    NOT_A_DESIGNATION,
    Area,
    Density,
    Length,
    Material,
    PositiveLength,
    Shape,
    Size,
    Text,
    Units,
    Weight,
    WeightPerLength,
)
from barfuncs.catalogue.reading import DensityText
from barfuncs.catalogue.units import LB_IN3_PER_G_CM3, MM_PER_INCH, parse_length
from barfuncs.errors import InputError, shown

_HEXAGON = math.sqrt(3) / 2
_OCTAGON = 2 * (math.sqrt(2) - 1)

_SECTION_RULES = (
    ("thickness", 'OR(AND(shape<>"flat",shape<>"tube",shape<>"hexagon tube"),thickness>0)',
     "a flat, a tube and a hexagon tube need a thickness above 0"),
    ("thickness", 'OR(shape="flat",shape="tube",shape="hexagon tube",thickness=0)',
     "a solid round, hexagon, square or octagon has no thickness: leave it out"),
    ("thickness", 'OR(AND(shape<>"tube",shape<>"hexagon tube"),2*thickness<size)',
     "the wall must be thinner than half the size"),
)

_BORE = "PI()/4*(size-2*thickness)^2"
_AREA = (
    'IF(shape="round",PI()/4*size^2,IF(shape="hexagon",SQRT(3)/2*size^2,IF(shape="square",size^2,'
    'IF(shape="octagon",2*(SQRT(2)-1)*size^2,IF(shape="flat",size*thickness,'
    f'IF(shape="tube",PI()*thickness*(size-thickness),SQRT(3)/2*size^2-{_BORE}))))))'
)


@cell_function(group="Stock", source=f"{GEOMETRY}; hexagon and octagon agree with Machinery's Handbook 31, section property pages", formula=_AREA, rules=_SECTION_RULES)
def section_area(shape: Shape, size: Size, thickness: PositiveLength | None = None,
                 units: Units = "in") -> Area:
    """Area of the bar's section, square inches or square millimetres.

    Notes
    -----
    Round pi/4 d^2; hexagon sqrt(3)/2 s^2; square s^2; octagon 2 (sqrt(2) - 1) s^2; flat s t; tube pi t (d - t);
    hexagon tube: hexagon less a round bore of s - 2 t. Sharp corners are assumed.

    Examples
    --------
    >>> round(section_area("hexagon", 27, units="mm"), 3)
    631.333
    """
    if shape == "round":
        return math.pi / 4 * size**2
    if shape == "hexagon":
        return _HEXAGON * size**2
    if shape == "square":
        return size**2
    if shape == "octagon":
        return _OCTAGON * size**2
    assert thickness is not None
    if shape == "flat":
        return size * thickness
    if shape == "tube":
        return math.pi * thickness * (size - thickness)
    return _HEXAGON * size**2 - math.pi / 4 * (size - 2 * thickness) ** 2


@cell_function(
    group="Stock",
    source=GEOMETRY,
    formula='size*IF(OR(shape="round",shape="tube"),1,IF(OR(shape="hexagon",shape="hexagon tube"),2/SQRT(3),'
            'IF(shape="square",SQRT(2),IF(shape="octagon",1/COS(PI()/8),SQRT(1+(thickness/size)^2)))))',
    rules=(("thickness", 'OR(shape<>"flat",thickness>0)', "a flat needs a thickness above 0"),),
)
def across_corners(shape: Shape, size: Size, thickness: PositiveLength | None = None) -> Length:
    """Largest width of the bar, corner to corner: what must pass the spindle and the feeder's tube.

    Examples
    --------
    >>> round(across_corners("hexagon", 0.75), 4)
    0.866
    """
    if shape in ("round", "tube"):
        return size * 1.0
    if shape in ("hexagon", "hexagon tube"):
        return size * 2 / math.sqrt(3)
    if shape == "square":
        return size * math.sqrt(2)
    if shape == "octagon":
        return size / math.cos(math.pi / 8)
    assert thickness is not None
    return size * math.sqrt(1 + (thickness / size) ** 2)


def material_row(x: str) -> str:
    """Cell expression: the row of the materials table that the text or the whole number `x` names, or an error.

    MATCH would take `*`, `?` and `~` for wildcards; no spelling holds the sign that takes their place.
    """
    key = f'SUBSTITUTE({x}," ","")'
    for wildcard in "*?~":
        key = f'SUBSTITUTE({key},"{wildcard}","#")'
    return f"INDEX(material_spelling_rows,MATCH({key},material_spellings,0))"


def own_density(name: str, otherwise: str) -> str:
    """Cell expression: the density of the material called `name` among the shop's own, or `otherwise` where there is none.

    A row with a bad density, or two rows of one name, is an error and not a reason to take the table's value. Text is more
    than any number, so the two bounds also keep text out of the densities. Dividing by FALSE makes an error.
    """
    named = f"SUMPRODUCT(--(own_material_names={name}))"
    good = (f"SUMPRODUCT(--(own_material_names={name}),--(own_material_densities>={LIGHTEST:g}),"
            f"--(own_material_densities<={HEAVIEST:g}){{}})")
    return (f"IF({named}>0,{good.format(',own_material_densities')}/({named}=1)/({good.format('')}=1),{otherwise})")


IS_DENSITY = f"IF(ISNUMBER(material),material<={HEAVIEST:g},FALSE)"
"""Cell expression: TRUE where `material` is a number that can only be a density. A larger one names a material: 303."""


def _in_either(g_cm3: float) -> str:
    """Cell expression: a density in the unit of `units`."""
    return f'IF(units="mm",{g_cm3:g},{g_cm3 * LB_IN3_PER_G_CM3!r})'


_DENSITY_RANGE = f"AND(material>={_in_either(LIGHTEST)},material<={_in_either(HEAVIEST)})"


def density_formula(table_density: str = f"INDEX(material_densities,{material_row('material')})") -> str:
    """Cell expression for the density of `material`. `table_density` finds it in the materials table, in g/cm3; a
    workbook that knows the material's row already has a shorter way."""
    return (f"IF({IS_DENSITY},IF(AND({_DENSITY_RANGE},{NOT_A_DESIGNATION}),material,NA()),"
            f'{own_density("material", table_density)}*IF(units="mm",1,{LB_IN3_PER_G_CM3!r}))')


@cell_function(group="Stock", source="the materials table, which names the source of each value or says that it is from memory", formula=density_formula())
def material_density(material: Material, units: Units = "in") -> Density:
    """Density of a material, lb/in3 or g/cm3.

    Notes
    -----
    The materials table names the source of each value; sources differ by up to 1 or 2 percent. A number is a density
    in `units` and comes back as it is; a text such as "7.85 g/cm3" carries its own unit (in Python, not in a cell).
    A whole number above all densities names a material (303, 6061). A number that may be a density or a designation
    (1.4305, 2.0401) is refused: write a designation as text.

    Examples
    --------
    >>> material_density("1.4305", "mm")
    7.9
    >>> round(material_density("7.85 g/cm3", "in"), 4)
    0.2836
    """
    value: object = material
    if isinstance(value, str):
        table = materials.active()
        return table[value].density * (1 if units == "mm" else LB_IN3_PER_G_CM3)
    if isinstance(value, DensityText):
        if value.system == units:
            return value.value
        return value.value * LB_IN3_PER_G_CM3 if units == "in" else value.value / LB_IN3_PER_G_CM3
    assert isinstance(value, float)
    return value


@cell_function(
    group="Stock",
    source=f"{GEOMETRY} and density; steel agrees with EN 10060, EN 10059 and EN 10061, Table 1, as read in copies",
    formula='SECTION_AREA(shape,size,thickness,units)*MATERIAL_DENSITY(material,units)*IF(units="mm",0.001,12)',
    rules=_SECTION_RULES,
)
def weight_per_length(material: Material, shape: Shape, size: Size,
                      thickness: PositiveLength | None = None, units: Units = "in") -> WeightPerLength:
    """Weight of bar per foot (lb/ft) or per metre (kg/m).

    Examples
    --------
    >>> round(weight_per_length("7.85 g/cm3", "round", 50, units="mm"), 2)
    15.41
    """
    return _weight_per_length(material, shape, size, thickness, units)


@cell_function(
    group="Stock",
    source=f"{GEOMETRY} and density; agrees with the masses that `weight_per_length` names",
    formula='WEIGHT_PER_LENGTH(material,shape,size,thickness,units)*length/IF(units="mm",1000,12)',
    rules=_SECTION_RULES,
)
def bar_weight(material: Material, shape: Shape, size: Size, length: Length,
               thickness: PositiveLength | None = None, units: Units = "in") -> Weight:
    """Weight of one bar, lb or kg.

    Examples
    --------
    >>> round(bar_weight("0.2833 lb/in3", "round", 1, 144), 2)
    32.04
    """
    return _weight_per_length(material, shape, size, thickness, units) * length / (1000 if units == "mm" else 12)


@cell_function(group="Stock", source="an inch is exactly 25.4 mm: 16 CFR 500.19", no_formula="a cell formula can't read a length as people write it")
def length_in(text: Text, units: Units) -> Length:
    """Read a length as people write it, in inch or mm.

    Examples
    --------
    >>> length_in("12' 6-1/2\\"", "in")
    150.5
    >>> length_in("1 3/8 in", "mm")
    34.925
    """
    if not isinstance(text, str):
        raise InputError("length_in", [("text", f"{shown(text)} given; allowed is a text such as 12 ft or 19 mm")])
    try:
        value, system = parse_length(text)
    except ValueError as error:
        raise InputError("length_in", [("text", str(error))]) from None
    if system is None or system == units:
        return value
    return value * MM_PER_INCH if units == "mm" else value / MM_PER_INCH


def _weight_per_length(material: object, shape: str, size: float, thickness: float | None, units: str) -> float:
    density = material_density.core(material, units)
    area = section_area.core(shape, size, thickness, units)
    return float(area * density * (0.001 if units == "mm" else 12))

