"""What an argument or a result is: its unit, its limits, its choices. Limits are declared here and nowhere else."""

import functools
import math
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Annotated, Any, Literal, get_args, get_origin

SHAPES = ("round", "hexagon", "square", "octagon", "flat", "tube", "hexagon tube")
PRICE_BASES = ("lb", "kg", "100 lb", "100 kg", "ft", "m", "bar", "blank", "112 lb", "tonne", "2000 lb")
LAST_BAR_RESTS = ("charged to the job", "back on the rack")
LAST_FEEDS = ("as many parts as fit", "full feeds only")
UNITS = ("in", "mm")
MACHINE_TYPES = ("fixed head", "fixed head + second spindle", "guide bush", "guide bush + second spindle")
OPERATIONS = ("turning", "taper turning", "facing", "boring", "grooving", "cut-off", "drilling", "reaming", "threading", "tapping",
              "knurling", "milling", "cross drilling", "other")
TIMED_OPERATIONS = ("knurling", "milling", "cross drilling", "other")
"""Those that are given as a time alone."""
SPINDLES = ("main", "second")
OUTLINES = ("round", "hexagon", "square")
SECTION_SHAPES = (*OUTLINES, "thread")
PROCESS_BASES = ("part", "100 parts", "1000 parts", "hour", "lb", "kg", "100 lb", "100 kg", "in2", "ft2", "dm2", "m2", "lot")
PRICED_PER = {"part": 1, "100 parts": 100, "1000 parts": 1000}
"""What a price is shown for, and how many parts that is."""
INSPECTION_LEVELS = ("I", "II", "III", "S-1", "S-2", "S-3", "S-4")
SETUP_PRICED = ("in the price", "lines of their own")
NO_YES = ("no", "yes")
PAPERS = ("A4", "letter")
BAR_SHAPES = ("round", "hexagon", "square")
BAR_SURFACES = ("turned", "as drawn")
TOLERANCE_CLASSES = ("standard", "h6", "h7", "h8", "h9", "h10", "h11", "h12", "A108 to 0.28% C", "A108 to 0.55% C",
                     "A108 to 0.55% C stress relieved", "A108 over 0.55% C", "A484", "EN 10060", "common practice", "none")
"""Size tolerances of bar: `tables/size_tolerances.csv`. "standard" is what a bar has where nothing was agreed."""
CERTIFICATES = ("none", "2.1", "2.2", "3.1", "3.2")
"""Inspection documents of EN 10204. Each says all that those before it say; those from 3.1 on are of one heat."""
BRACKETS_OVER = ("each kind of bar", "the whole order")
"""Whose weight says which price of a supplier holds."""
RACK_WORTH = ("their value", "nothing")
"""What bars on the rack count as where others might be bought."""
DEFECT_CLASSES = ("class 1", "class 2", "class 3", "class 4", "1.6% a side", "2.4% a side", "none")
"""How deep defects of a bar's surface may be: `tables/defect_depths.csv`."""
STEELS = ("carbon below 0.25%", "carbon from 0.25% or alloy", "stainless or tool or bearing")
TOOLS = ("carbide", "high-speed steel")
"""What the edge of a tool is made of."""
WORKS = ("mild steel", "brass or aluminum")
"""Kinds of work that tool life has usual constants for."""

ROUNDINGS = {
    "none": (0, False),
    "nearest 0.0001": (10000, False),
    "nearest 0.001": (1000, False),
    "nearest 0.01": (100, False),
    "up to next 0.01": (100, True),
    "up to next 0.05": (20, True),
    "up to next 0.1": (10, True),
    "up to next 0.25": (4, True),
    "up to next 1": (1, True),
}
"""How a price is rounded: (steps in one unit of the currency, whether always up)."""

# What people write for a choice. Each means one thing only, in any case, with or without spaces and hyphens. A pipe is no
# tube (its size is a name), a hundredweight has two weights and a ton three, "each" and "piece" may be a bar, a blank or a part: none of them stands here.
_SHAPE_WORDS = {
    "round": ("round", "rounds", "rd", "rnd"),
    "hexagon": ("hexagon", "hexagonal", "hex"),
    "square": ("square", "sq"),
    "octagon": ("octagon", "octagonal", "oct"),
    "flat": ("flat", "flats", "rectangle", "rectangular", "rect"),
}
_BASIS_WORDS = {
    "lb": ("lb", "lbs", "pound", "pounds"),
    "kg": ("kg", "kgs", "kilo", "kilos", "kilogram", "kilograms"),
    "100 lb": ("100lb", "100lbs", "100pounds"),
    "100 kg": ("100kg", "100kgs"),
    "ft": ("ft", "foot", "feet"),
    "m": ("m", "meter", "meters", "metre", "metres"),
    "bar": ("bar", "bars"),
    "blank": ("blank", "blanks"),
    "112 lb": ("112lb", "112lbs", "112pounds"),
    "tonne": ("tonne", "tonnes", "metricton", "metrictons", "1000kg", "1,000kg"),
    "2000 lb": ("2000lb", "2000lbs", "2,000lb", "2,000lbs", "2000pounds", "shortton", "shorttons"),
}
_PROCESS_WORDS = {
    "part": ("part", "pc", "pcs"),
    "100 parts": ("100", "100pcs", "hundred"),
    "1000 parts": ("1000", "1000pcs", "thousand", "1,000", "1,000parts"),
    "hour": ("hour", "hours", "h", "hr"),
    "in2": ("sqin", "squareinch"),
    "ft2": ("sqft", "squarefoot"),
    "dm2": ("sqdm",),
    "m2": ("sqm", "squaremeter", "squaremetre"),
    "lot": ("lot", "order", "batch"),
}
_OTHER_WORDS = {
    "in": ("inch", "inches"),
    "mm": ("millimeter", "millimeters", "millimetre", "millimetres", "metric"),
    "turning": ("turn",),
    "taper turning": ("taper", "turn taper", "turning a taper"),
    "boring": ("bore",),
    "grooving": ("groove", "grooves"),
    "reaming": ("ream",),
    "tapping": ("tap",),
    "knurling": ("knurl",),
    "milling": ("mill",),
    "cross drilling": ("cross drill", "cross hole"),
    "main": ("main spindle",),
    "second": ("second spindle", "sub", "sub-spindle", "2nd", "2nd spindle"),
    "facing": ("face",),
    "cut-off": ("cutting off", "parting", "parting off", "part off"),
    "drilling": ("drill",),
    "threading": ("thread", "threads"),
    "tube": ("tubes", "tubing", "round tube", "round tubing"),
    "hexagon tube": tuple(f"{hexagon} {tube}" for hexagon in _SHAPE_WORDS["hexagon"] for tube in ("tube", "tubing")),
    "high-speed steel": ("hss",),
    "none": ("no rounding",),
}


def squeezed(text: str) -> str:
    """A choice without what people write in more than one way: case, spaces, hyphens, points that end a word.

    >>> squeezed("Cut off"), squeezed("rd."), squeezed("Nearest .01")
    ('cutoff', 'rd', 'nearest0.01')
    """
    bare = re.sub(r"[\s_\-\u2010-\u2015]+", "", text.casefold())
    return re.sub(r"(?<![0-9])\.(?=[0-9])", "0.", re.sub(r"\.(?![0-9])", "", bare))


def _spellings() -> Iterator[tuple[str, Iterable[str]]]:
    yield from _OTHER_WORDS.items()
    for shape, words in _SHAPE_WORDS.items():
        yield shape, [f"{word}{end}" for word in words for end in ("", "bar", "bars", "rod", "stock", "barstock")]
    for basis, words in (*_BASIS_WORDS.items(), *_PROCESS_WORDS.items()):
        yield basis, [f"{start}{word}" for word in words for start in ("", "per", "each", "/", "$/", "$per")]
    for level in INSPECTION_LEVELS:
        which = "special" if level[0] == "S" else "general"
        yield level, [f"{start}level{level}" for start in ("", which, f"{which}inspection", "inspection")]
    for rule in ROUNDINGS:
        the = re.sub("nearest|next", r"the \g<0>", rule)
        yield rule, [f"{start}{words}" for words in (rule, the) for start in ("", "to ")]


@functools.cache
def spellings() -> dict[str, str]:
    """Other spellings of choices, squeezed, and the choice that each means."""
    return {squeezed(text): choice for choice, texts in _spellings() for text in texts}


Reader = Literal["length", "weight", "density", "seconds", "minutes", "hours", "surface_speed", "feed_rate", "feed_speed", "spindle_speed",
                 "pitch", "angle", "bin_volume", "number", "count", "fraction", "choice", "material", "text", "table"]


@dataclass(frozen=True)
class Column:
    """One column of a table that is given row by row."""

    name: str
    kind: "Kind"
    needed: bool = False
    default: Any = None


@dataclass(frozen=True)
class Kind:
    """What one argument is.

    `low` and `high` bound a number; with `open_low` / `open_high` the bound itself is refused. `smallest` keeps what
    divides from being so near 0 that the result overflows; people are told "more than 0". `dimension` is a key of
    `units.UNIT_NAMES` for values that carry a unit. With `across` a text may carry a diameter sign. A table with `columns`
    is read row by row, at most `most_rows`; without, it is a list. `longest` is the most characters of a text.
    """

    name: str
    reader: Reader
    dimension: str | None = None
    low: float = 0.0
    high: float = math.inf
    open_low: bool = False
    open_high: bool = False
    whole: bool = False
    choices: tuple[str, ...] = ()
    smallest: float = 0.0
    across: bool = False
    columns: tuple[Column, ...] = ()
    most_rows: int = 0
    longest: int = 120

    @property
    def is_number(self) -> bool:
        return self.reader not in ("choice", "material", "text", "table")

    @property
    def two_systems(self) -> bool:
        """Whether a bare number means one thing in inch units and another in metric units."""
        inch, metric = UNIT_TEXT.get(self.dimension or "", ("", ""))
        return inch != metric

    @property
    def closed_low(self) -> float:
        """The smallest allowed float, so that one `<=` serves both kinds of bound."""
        if self.smallest:
            return self.smallest
        return math.nextafter(self.low, math.inf) if self.open_low else self.low

    @property
    def closed_high(self) -> float:
        return math.nextafter(self.high, -math.inf) if self.open_high else self.high

    def allows(self, value: float) -> bool:
        return self.closed_low <= value <= self.closed_high and (not self.whole or value == int(value))

    def unit(self, units: str | None) -> str:
        """Unit as people write it, or an empty text. Without `units`, both are shown."""
        both = UNIT_TEXT.get(self.dimension or "", ("", ""))
        if units is None:
            return both[0] if both[0] == both[1] else f"{both[0]} or {both[1]}"
        return both[UNITS.index(units)]

    def allowed(self, units: str | None) -> str:
        """The limits in words."""
        if self.choices:
            return "one of " + ", ".join(self.choices)
        if not self.is_number:
            return self.name
        noun = "a whole number" if self.whole else "a number"
        low = f"more than {_plain(self.low)}" if self.open_low else f"{_plain(self.low)} or more"
        parts = [noun, low]
        if self.high < 1e5:
            parts.append(f"below {_plain(self.high)}" if self.open_high else f"at most {_plain(self.high)}")
        elif math.isfinite(self.high):
            parts.append(f"at most {self.high:,.0f}")
        unit = self.unit(units)
        return f"{parts[0]} {parts[1]}" + (f" and {parts[2]}" if len(parts) > 2 else "") + (f" ({unit})" if unit else "")

    def cell_condition(self, x: str) -> str:
        """Cell expression of what must hold for `x` to be allowed: arguments of an AND."""
        if self.choices:
            return "OR(" + ",".join(f'{x}="{choice}"' for choice in self.choices) + ")"
        # LibreOffice takes TRUE for a number.
        conditions = [f"ISNUMBER({x})", f"NOT(ISLOGICAL({x}))"]
        if self.smallest:
            conditions.append(f"{x}>={_plain(self.smallest)}")
        elif not math.isinf(self.low):
            conditions.append(f"{x}{'>' if self.open_low else '>='}{_plain(self.low)}")
        if not math.isinf(self.high):
            conditions.append(f"{x}{'<' if self.open_high else '<='}{_plain(self.high)}")
        if self.whole:
            conditions.append(f"IFERROR({x}=INT({x}),FALSE)")  # of a text INT is an error, which AND hands on
        return ",".join(conditions)

    def cell_test(self, x: str, *more: str) -> str:
        """The same as one expression, which is TRUE where what `more` says holds too."""
        condition = self.cell_condition(x)
        return condition if self.choices and not more else f"AND({','.join((condition, *more))})"

    def limits_beyond(self, known: "Kind", x: str) -> str:
        """Cell expression for what `known`, the kind of the value in `x`, leaves open; blank where nothing."""
        conditions = []
        if self.choices or not self.is_number:
            return "" if self == known else self.cell_condition(x)
        low, high = self.smallest or self.low, self.high
        if (known.smallest or known.low) < low or (self.open_low and not self.smallest and not known.open_low):
            conditions.append(f"{x}{'>' if self.open_low and not self.smallest else '>='}{_plain(low)}")
        if known.high > high or (self.open_high and not known.open_high):
            conditions.append(f"{x}{'<' if self.open_high else '<='}{_plain(high)}")
        if self.whole and not known.whole:
            conditions.append(f"{x}=INT({x})")
        return ",".join(conditions)


def kind_of(annotation: Any, where: str = "kind_of") -> Kind:
    """The kind that one of the aliases below stands for; it may be optional. Raises TypeError, beginning with `where`."""
    for candidate in (annotation, *get_args(annotation)):
        if get_origin(candidate) is Annotated:
            for extra in candidate.__metadata__:
                if isinstance(extra, Kind):
                    return extra
    raise TypeError(f"{where}: annotate with a kind from barfuncs.catalogue.kinds")


def _plain(number: float) -> str:
    return f"{number:.10g}".upper().replace("E+0", "E").replace("E+", "E")


UNIT_TEXT = {
    "length": ("in", "mm"),
    "area": ("in2", "mm2"),
    "volume": ("in3", "mm3"),
    "weight": ("lb", "kg"),
    "weight_per_length": ("lb/ft", "kg/m"),
    "density": ("lb/in3", "g/cm3"),
    "surface_speed": ("ft/min", "m/min"),
    "price_by_weight": ("per lb", "per kg"),
    "seconds": ("s", "s"),
    "minutes": ("min", "min"),
    "hours": ("h", "h"),
    "spindle_speed": ("rpm", "rpm"),
    "feed_rate": ("in/rev", "mm/rev"),
    "feed_speed": ("in/min", "mm/min"),
    "angle": ("degrees", "degrees"),
    "bin_volume": ("gal", "L"),
}

LONGEST_ON_A_FORM = {"in": 10_000, "mm": 36_000}
"""No length of a job is as long. Dates from 1930 on are larger numbers than the first, from 2000 on than the second: a
spreadsheet makes 1932 of a typed 3/32, and of 3/4 a day of this year."""

_LONGEST = 1e6
_MOST = 1e7

Length = Annotated[float, Kind("length", "length", "length", 0, _LONGEST)]
PositiveLength = Annotated[float, Kind("length", "length", "length", 0, _LONGEST, open_low=True, smallest=1e-6)]
Size = Annotated[float, Kind("length", "length", "length", 0, _LONGEST, open_low=True, smallest=1e-6, across=True)]
Area = Annotated[float, Kind("area", "number", "area")]
Volume = Annotated[float, Kind("volume", "number", "volume")]
SurfaceArea = Annotated[float, Kind("area", "number", "area", 0, 1e10)]
Weight = Annotated[float, Kind("weight", "weight", "weight", 0, 1e9)]
PositiveWeight = Annotated[float, Kind("weight", "weight", "weight", 0, 1e9, open_low=True, smallest=1e-9)]
WeightPerLength = Annotated[float, Kind("weight per length", "number", "weight_per_length")]
BarWeightPerLength = Annotated[float, Kind("weight per length", "number", "weight_per_length", 0, 1e6)]
# The same limits in either unit catch a figure in the wrong one: 7.85 is no lb/in3, 0.284 no g/cm3.
LIGHTEST, HEAVIEST = 0.5, 25.0
"""g/cm3; no bar that is turned is lighter or heavier."""


def looks_like_designation(material: float, units: str | None) -> bool:
    """Whether a number for the material may be a designation such as 1.4305, which a spreadsheet turned into a number.

    Such a designation lies below 4 and has four decimals, of which a spreadsheet drops a last 0. No density in g/cm3
    needs to be written so; one in lb/in3 does, and is too low to be mistaken.
    """
    return (units == "mm" and material < 4 and abs(material * 10000 - round(material * 10000)) <= 1e-6
            and abs(material * 100 - round(material * 100)) >= 1e-6)


NOT_A_DESIGNATION = ('OR(units<>"mm",material>=4,ABS(material*10000-ROUND(material*10000,0))>1E-6,'
                     "ABS(material*100-ROUND(material*100,0))<1E-6)")
"""The same as a cell expression, the other way round."""

Density = Annotated[float, Kind("density", "density", "density", LIGHTEST, HEAVIEST)]
Count = Annotated[int, Kind("count", "count", None, 0, _MOST, whole=True)]
PositiveCount = Annotated[int, Kind("count", "count", None, 1, _MOST, whole=True)]
Ratio = Annotated[float, Kind("ratio", "number")]
ScrapRate = Annotated[float, Kind("fraction", "fraction", None, 0, 0.95)]
Margin = Annotated[float, Kind("fraction", "fraction", None, 0, 1, open_high=True)]
# Above 10 it is 35 typed for 35%.
Markup = Annotated[float, Kind("fraction", "fraction", None, 0, 10)]
Efficiency = Annotated[float, Kind("fraction", "fraction", None, 0, 1, open_low=True, smallest=1e-3)]
Confidence = Annotated[float, Kind("fraction", "fraction", None, 0.5, 0.9999)]
Share = Annotated[float, Kind("fraction", "fraction", None, 0, 1)]
Money = Annotated[float, Kind("money", "number", None, 0, 1e9)]
PriceByWeight = Annotated[float, Kind("money", "number", "price_by_weight", 0, 1e9)]
Amount = Annotated[float, Kind("amount", "number", None, 0, 1e9, open_low=True, smallest=1e-6)]
PositiveMoney = Annotated[float, Kind("money", "number", None, 0, 1e9, open_low=True, smallest=1e-9)]
Seconds = Annotated[float, Kind("time", "seconds", "seconds", 0, 1e6)]
PositiveSeconds = Annotated[float, Kind("time", "seconds", "seconds", 0, 1e6, open_low=True, smallest=1e-6)]
# An edge that lasts longer is beyond what tool life was ever tried for.
Minutes = Annotated[float, Kind("time", "minutes", "minutes", 0, 1e6)]
PositiveMinutes = Annotated[float, Kind("time", "minutes", "minutes", 0, 1e6, open_low=True, smallest=1e-6)]
Hours = Annotated[float, Kind("time", "hours", "hours", 0, 1e6)]
PositiveHours = Annotated[float, Kind("time", "hours", "hours", 0, 1e6, open_low=True, smallest=1e-3)]
# The lower limits of what a time is divided by keep it a finite number; no lathe works below them. The upper limit of
# the feed holds off a feed per minute.
Diameter = Annotated[float, Kind("length", "length", "length", 0.001, _LONGEST, across=True)]
Pitch = Annotated[float, Kind("pitch", "pitch", "length", 0.001, 100)]
SurfaceSpeed = Annotated[float, Kind("surface speed", "surface_speed", "surface_speed", 0.001, 50000)]
FeedRate = Annotated[float, Kind("feed per revolution", "feed_rate", "feed_rate", 0.0001, 25)]
# No lathe's highest feed is below 40 in either unit; a figure in m/min is.
FeedSpeed = Annotated[float, Kind("feed per minute", "feed_speed", "feed_speed", 40, 100_000)]
SpindleSpeed = Annotated[float, Kind("spindle speed", "spindle_speed", "spindle_speed", 0.001, 1e6)]
PositiveVolume = Annotated[float, Kind("volume", "number", "volume", 0, 1e12, open_low=True, smallest=1e-9)]
BinVolume = Annotated[float, Kind("volume", "bin_volume", "bin_volume", 0, 1e6)]
# Loose chips never take less room than the metal that they were.
BulkFactor = Annotated[float, Kind("factor", "number", None, 1, 500)]
TaylorExponent = Annotated[float, Kind("exponent", "number", None, 0.05, 1)]
PointAngle = Annotated[float, Kind("angle", "angle", "angle", 30, 180)]
Shape = Annotated[str, Kind("shape", "choice", choices=SHAPES)]
PricePer = Annotated[str, Kind("price basis", "choice", choices=PRICE_BASES)]
LastBarRest = Annotated[str, Kind("what happens to the rest", "choice", choices=LAST_BAR_RESTS)]
CuttingTool = Annotated[str, Kind("tool", "choice", choices=TOOLS)]
Work = Annotated[str, Kind("work", "choice", choices=WORKS)]
LastFeed = Annotated[str, Kind("what the last feed of a bar gives", "choice", choices=LAST_FEEDS)]
Operation = Annotated[str, Kind("operation", "choice", choices=OPERATIONS)]
Spindle = Annotated[str, Kind("spindle", "choice", choices=SPINDLES)]
PriceRounding = Annotated[str, Kind("rounding rule", "choice", choices=tuple(ROUNDINGS))]
Outline = Annotated[str, Kind("outline", "choice", choices=OUTLINES)]
SectionShape = Annotated[str, Kind("section shape", "choice", choices=SECTION_SHAPES)]
ProcessPer = Annotated[str, Kind("basis of a rate", "choice", choices=PROCESS_BASES)]
PricedPer = Annotated[str, Kind("what a price is for", "choice", choices=tuple(PRICED_PER))]
SetupPriced = Annotated[str, Kind("where set-up and tooling stand", "choice", choices=SETUP_PRICED)]
NoYes = Annotated[str, Kind("no or yes", "choice", choices=NO_YES)]
Paper = Annotated[str, Kind("paper", "choice", choices=PAPERS)]
InspectionLevel = Annotated[str, Kind("inspection level", "choice", choices=INSPECTION_LEVELS)]
AQL_RANGE = (0.065, 6.5)
Aql = Annotated[float, Kind("percent nonconforming", "number", None, *AQL_RANGE)]
Years = Annotated[float, Kind("years", "number", None, 0.5, 100)]
HoursAYear = Annotated[float, Kind("hours a year", "number", None, 1, 8784)]
Lathes = Annotated[int, Kind("count", "count", None, 1, 20, whole=True)]
LathesMinded = Annotated[float, Kind("lathes", "number", None, 0.1, 100)]
Units = Annotated[str, Kind("units", "choice", choices=UNITS)]
BarShape = Annotated[str, Kind("bar shape", "choice", choices=BAR_SHAPES)]
BarSurface = Annotated[str, Kind("bar surface", "choice", choices=BAR_SURFACES)]
ToleranceClass = Annotated[str, Kind("tolerance class", "choice", choices=TOLERANCE_CLASSES)]
DefectClass = Annotated[str, Kind("defect class", "choice", choices=DEFECT_CLASSES)]
Steel = Annotated[str, Kind("steel", "choice", choices=STEELS)]
Certificate = Annotated[str, Kind("certificate", "choice", choices=CERTIFICATES)]
BracketsOver = Annotated[str, Kind("whose weight counts", "choice", choices=BRACKETS_OVER)]
RackWorth = Annotated[str, Kind("what bars on the rack count as", "choice", choices=RACK_WORTH)]
MachineType = Annotated[str, Kind("machine type", "choice", choices=MACHINE_TYPES)]
Material = Annotated[str | float, Kind("a material's name or designation, or a density", "material")]
Text = Annotated[str, Kind("text", "text")]
LongText = Annotated[str, Kind("text", "text", longest=1000)]
"""Words of a page that is sent: terms, notes, a remark."""
Days = Annotated[int, Kind("days", "count", None, 1, 3650, whole=True)]
Quantities = Annotated[Any, Kind("one or more order quantities", "table")]
MOST_SECTIONS = 16
Sections = Annotated[Any, Kind("rows of sections", "table", most_rows=MOST_SECTIONS, columns=(
    Column("shape", kind_of(SectionShape), default="round"), Column("size", kind_of(Size), needed=True),
    Column("length", kind_of(PositiveLength), needed=True), Column("end_size", kind_of(Size)),
    Column("bore", kind_of(Length), default=0.0), Column("bore_end", kind_of(Size))))]
"""A part, section by section from its front."""
MOST_OFFERS = 60
Offers = Annotated[Any, Kind("rows of offers", "table", most_rows=MOST_OFFERS, columns=(
    Column("length", kind_of(PositiveLength), needed=True), Column("price", kind_of(Money), needed=True),
    Column("from_quantity", Kind("amount", "number", None, 0, 1e9), default=0.0)))]
"""Lengths of bar that can be bought, with prices by quantity."""
StockSizes = Annotated[Any, Kind("one or more sizes of bar", "table")]
PriceBrackets = Annotated[Any, Kind("quantities and prices in turn", "table")]
Table = Annotated[Any, Kind("table", "table")]
CountColumn = Annotated[Any, Kind("column of counts", "table", whole=True)]
LengthColumn = Annotated[Any, Kind("column of lengths", "table", "length")]
