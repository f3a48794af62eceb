"""shop.xlsx: what a shop fills in once - machines, material prices, rates and charges, speeds and feeds, its letterhead.

Each table is declared once, as columns; the workbook is built from them and read by them.
"""

import functools
import hashlib
import io
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

from openpyxl import Workbook
from openpyxl.styles import Alignment
from openpyxl.worksheet.worksheet import Worksheet

from barfuncs.catalogue import kinds, materials
from barfuncs.catalogue.entry import CATALOGUE
from barfuncs.catalogue.formula import cell_formula
from barfuncs.catalogue.glossary import ARGUMENTS
from barfuncs.catalogue.kinds import Kind
from barfuncs.catalogue.reading import CELLS, broken_rules, in_units, read_in
from barfuncs.catalogue.units import KG_PER_LB
from barfuncs.errors import InputError, WorkbookError, shown
from barfuncs.tables import speeds_feeds
from barfuncs.tables.speeds_feeds import SpeedsFeeds
from barfuncs.templates import layout
from barfuncs.templates.cell_text import unit_text
from barfuncs.templates.model import Column, make_column
from barfuncs.xlsx import pictures
from barfuncs.xlsx.package import file_bytes, pack, read_parts, read_xml
from barfuncs.xlsx.sheetxml import legal_text

MOST_ROWS = 2_000
_MOST_COLUMNS = 40
MOST_LOGO_BYTES, MOST_LOGO_PIXELS = 2_000_000, 4_000
_HEAD_WITHIN = 30  # rows in which the head of a table is looked for
MACHINE_TYPE_HELP = "whether the bar is held in a fixed head or runs through a guide bush, and whether there is a second spindle"


MACHINES = (
    make_column("name", "Machine", kinds.Text, "the shop's name of the lathe", needed=True, width=22),
    make_column("feeder_longest_bar", "Longest bar", kinds.PositiveLength, "longest bar that the feeder takes, from its manual"),
    make_column("largest_size", "Largest size", kinds.Size,
            "largest bar that goes through the spindle, from the machine's manual"),
    make_column("grip_length", "Grip length", kinds.Length),
    make_column("face_to_cutoff", "Face to cut-off", kinds.Length),
    make_column("bar_change_time", "Bar change", kinds.Seconds),
    make_column("top_speed", "Max. speed", kinds.SpindleSpeed),
    make_column("max_feed", "Max. feed", kinds.FeedSpeed),
    make_column("feeder_bars", "Bars in the feeder", kinds.PositiveCount, "bars that a full feeder holds", unit="bars", width=17),
    make_column("machine_rate", "Machine rate", kinds.Money, unit="per hour", width=13),
    make_column("setup_rate", "Set-up rate", kinds.Money, "the shop's rate for setting; the machine rate where left blank",
            unit="per hour"),
    make_column("rear_hold", "Rear hold", kinds.Length, "bar that the gripper or pusher at the rear keeps from being used up"),
    make_column("longest_push", "Longest push", kinds.PositiveLength, width=13),
    make_column("tool_change_time", "Tool change", kinds.Seconds),
    make_column("rapid_time", "Rapid moves", kinds.Seconds, "rapid moves of one part together, as usual on this lathe"),
    make_column("bar_feed_time", "Bar feed", kinds.Seconds),
    make_column("handover_time", "Clamp, hand-over", kinds.Seconds, width=16),
    make_column("chip_bin", "Chip bin", kinds.BinVolume, "volume of the chip bin, as far as it may be filled"),
    make_column("mean_time_between_stops", "Mean time between stops", kinds.PositiveHours, width=16),
    make_column("machine_type", "Machine type", kinds.MachineType, MACHINE_TYPE_HELP, width=28),
)
SHORTEST_BAR = make_column("shortest_blank", "Shortest bar", kinds.Length, "shortest bar that the feeder takes, from its manual; buying goes by it",
                           width=13)
"""A column of the shop file alone: no template asks for it."""
PRICES = (
    make_column("material", "Material", kinds.Text, "name or designation from the materials table", needed=True, width=26),
    make_column("shape", "Shape", kinds.Shape, "left blank, the price holds for every shape"),
    make_column("size", "Size", kinds.Size, "left blank, the price holds for every size that has no row of its own"),
    make_column("material_price", "Material price", kinds.Money, "price of the bar for one of the unit beside it", needed=True),
    make_column("price_per", "Material price is per", kinds.PricePer, needed=True),
    make_column("supplied_length", "Supplied length", kinds.PositiveLength,
            "length in which it is supplied, where blanks are sawn from it; left blank, it is asked for with each job", width=15),
    make_column("chip_price", "Credit for chips", kinds.Money, unit="per_weight", width=16),
    make_column("remnant_price", "Credit for remnants", kinds.Money, unit="per_weight", width=19),
    make_column("material_surcharge", "Surcharge", kinds.Money, "what is charged on top of this price for each lb or kg, such as for alloy",
                unit="per_weight"),
    make_column("note", "Note", kinds.Text, "supplier, date of the price", width=34),
)
RATES = (
    make_column("currency", "Currency symbol", kinds.Text, "what stands beside the prices on a quote"),
    make_column("margin", "Margin", kinds.Margin, "profit as a share of the price; fill in this or the markup"),
    make_column("markup", "Markup", kinds.Markup, "profit as a share of the cost; fill in this or the margin"),
    make_column("rounding", "Price each is rounded", kinds.PriceRounding),
    make_column("minimum_charge", "Minimum charge", kinds.Money, unit="order"),
    make_column("cut_charge", "Charge per cut", kinds.Money, unit="each"),
    make_column("certificate_fee", "Certificate fee", kinds.Money, unit="order"),
    make_column("material_freight", "Freight of the material", kinds.Money, unit="order"),
    make_column("kerf", "Saw kerf", kinds.Length),
    make_column("last_bar_rest", "Rest of the last bar", kinds.LastBarRest,
            "charged to the job, or back on the rack: then the job pays for what it uses"),
    make_column("chip_price", "Credit for chips", kinds.Money,
            "what the scrap buyer pays where the material has no figure of its own", unit="per_weight"),
    make_column("remnant_price", "Credit for remnants", kinds.Money,
            "what the scrap buyer pays where the material has no figure of its own", unit="per_weight"),
    make_column("tooling", "Tooling", kinds.Money, "charge for tooling, where every order has one", unit="order"),
    make_column("other_per_order", "Other costs per order", kinds.Money, unit="order"),
    make_column("other_per_part", "Other costs per part", kinds.Money, unit="each"),
    make_column("scrap_rate", "Scrap rate", kinds.ScrapRate),
    make_column("confidence", "Confidence", kinds.Confidence, "how sure the parts to make must be to fill an order"),
    make_column("efficiency", "Efficiency", kinds.Efficiency),
    make_column("inspection_rate", "Rate for inspection", kinds.Money, unit="per hour"),
    make_column("priced_per", "Price is for", kinds.PricedPer),
    make_column("minimum_order", "Minimum order value", kinds.Money, unit="order"),
)
BUYING = (
    make_column("bar_trim", "Trim at each bar end", kinds.Length, "what the saw takes off each end of a supplied bar first"),
    make_column("least_left", "Shortest left-over kept", kinds.PositiveLength, "a left-over as long as that goes back on the rack; a shorter one is scrap"),
    make_column("left_share", "What a left-over is worth", kinds.Share, "share of what that length of bar cost; left blank, half"),
    make_column("brackets_over", "Price bracket by weight of", kinds.BracketsOver,
                "bars of one material, shape, size and condition, or all that is ordered; left blank, the first"),
    make_column("rack_worth", "Bars on the rack count as", kinds.RackWorth, "what taking one costs beside buying one; left blank, their value"),
)
"""Lines of the rates for buying alone, which files of an earlier version have not; no template asks for them."""
_MAY_LACK = frozenset({"inspection_rate", "priced_per", "minimum_order", "certificate_fee", "material_freight"})
"""Lines that files of an earlier version have not."""
LETTERHEAD = (
    make_column("seller", "Your company", kinds.Text, "your company, as it stands on a quotation"),
    make_column("seller_address", "Your address", kinds.Text, "in one line"),
    make_column("seller_contact", "Contact", kinds.Text, "who to ask: name, telephone, mail"),
    make_column("logo", "Logo file", kinds.Text, "name of a PNG or JPEG file that lies beside this shop file"),
    make_column("valid_days", "Valid for", kinds.Days, "days from the date of a quotation on which its prices lapse", unit="days"),
    make_column("terms", "Terms", kinds.LongText, "terms of payment and delivery"),
    make_column("tax_wording", "What you say of tax", kinds.LongText, "what you say of tax"),
    make_column("quotation_notes", "Notes below the quotation", kinds.LongText, "what stands below every quotation"),
    make_column("paper", "Paper", kinds.Paper, "left blank, letter for parts in inch and A4 for those in mm"),
)
"""What a quotation says to every customer. What is left blank is not said."""
SPEEDS = (
    make_column("group", "Material group", kinds.Text, "group of the materials table, or a name of your own", needed=True, width=22),
    Column("operation", "Operation", Kind("operation", "choice", choices=speeds_feeds.CUTS), ARGUMENTS["operation"], needed=True),
    Column("tool", "Tool", Kind("tool", "choice", choices=speeds_feeds.TOOLS), "what the edge is made of", needed=True, width=17),
    *(Column(name, label, speeds_feeds.KINDS[what], ARGUMENTS[what],
             unit=kinds.UNIT_TEXT[what][kinds.UNITS.index(system)] if system else "of its dia.", width=max(12, len(label) + 2))
      for (name, (what, system)), label in zip(speeds_feeds.NUMBERS.items(), (
          "Speed", "Speed, metric", "Feed", "Feed, metric", "Feed of a drill"), strict=True)),
    make_column("source", "Source", kinds.Text, "where the values come from", width=30),
    make_column("note", "Note", kinds.Text, "what the values hold for", width=36),
)
STOCK = (
    make_column("size", "Size", kinds.Size, "diameter of a bar that you or your supplier keep, or its width across flats", needed=True),
    make_column("shape", "Shape", kinds.BarShape, "left blank, the size is kept in every shape"),
    make_column("note", "Note", kinds.Text, "supplier, material", width=34),
)
SUPPLIED = (
    make_column("material", "Material", kinds.Text, "name or designation from the materials table", needed=True, width=20),
    make_column("shape", "Shape", kinds.Shape, needed=True),
    make_column("size", "Size", kinds.Size, needed=True, width=10),
    make_column("thickness", "Thickness", kinds.PositiveLength, "of a flat, or of the wall of a tube", width=10),
    make_column("finish", "Finish", kinds.Text, "how the bar was made: drawn, ground, peeled, rolled", width=10),
    make_column("tolerance", "Tolerance class", kinds.ToleranceClass, "size tolerance of the bar; left blank, that of every bar", width=15),
    make_column("length", "Length", kinds.PositiveLength, "length of one bar as it is supplied", needed=True, width=10),
    make_column("price", "Price", kinds.Money, "price of the bar for one of the unit beside it", needed=True, width=10),
    make_column("price_per", "Price is per", kinds.PricePer, needed=True),
    make_column("from_weight", "From weight", kinds.Weight, "weight from which this price holds: one row for each price bracket; left blank, from the first bar", width=12),
    make_column("material_surcharge", "Surcharge", kinds.Money, "what is charged on top of the price for each lb or kg", unit="per_weight", width=11),
    make_column("certificate", "Certificate", kinds.Certificate, "inspection document after EN 10204 that can come with these bars; left blank, none", width=11),
    make_column("certificate_fee", "Certificate fee", kinds.Money, "once for the line, where a job wants the certificate; left blank, that of the rates", width=14),
    make_column("bundle", "Bars in a bundle", kinds.PositiveCount, "only whole bundles are sold; left blank, single bars", unit="bars", width=15),
    make_column("line_minimum", "Line minimum", kinds.Money, "least that is invoiced for these bars; left blank, none", width=13),
    make_column("available", "Bars available", kinds.Count, "left blank, as many as wanted", unit="bars", width=14),
    make_column("lead_days", "Lead time", kinds.Count, "days from the order until the bars are here; left blank, 0", unit="days", width=10),
    make_column("supplier", "Supplier", kinds.Text, "who sells them", width=20),
    make_column("note", "Note", kinds.Text, "date of the price", width=30),
)
_UNITS = make_column("units", "Units", kinds.Units, "what a number without a unit is in, on all sheets but the speeds and feeds: "
                                                "in (inch, lb) or mm (mm, kg)", needed=True)
SUPPLIED_SHEET = "Supplied bars"
TABLES: dict[str, tuple[Column, ...]] = {"Machines": (*MACHINES, SHORTEST_BAR), "Materials and prices": PRICES, "Speeds and feeds": SPEEDS,
                                        "Stock sizes": STOCK, SUPPLIED_SHEET: SUPPLIED}
MAY_BE_MISSING = ("Stock sizes", SUPPLIED_SHEET)
"""Sheets that a shop file can do without."""
RATES_SHEET = "Rates and charges"
LETTERHEAD_SHEET = "Letterhead"


# --- what was read -------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class ShopFile:
    """Which file a shop was read from: its name, the day on which it says that it was saved (blank where it says none), and
    the SHA-256 of its bytes."""

    name: str
    saved: str
    digest: str

    def __str__(self) -> str:
        name = " ".join(legal_text(self.name).split())
        if len(name) > _LONGEST_NAME:
            name = f"{name[:_LONGEST_NAME - 20]}...{name[-17:]}"
        return f"{name}{f', saved {self.saved}' if self.saved else ''}, SHA-256 {self.digest[:12]}"


_LONGEST_NAME = 60


@dataclass(frozen=True)
class Machine:
    """A lathe with its feeder. What was left blank is None."""

    name: str
    feeder_longest_bar: float | None = None
    largest_size: float | None = None
    grip_length: float | None = None
    face_to_cutoff: float | None = None
    bar_change_time: float | None = None
    top_speed: float | None = None
    feeder_bars: int | None = None
    machine_rate: float | None = None
    setup_rate: float | None = None
    machine_type: str | None = None
    max_feed: float | None = None
    rear_hold: float | None = None
    longest_push: float | None = None
    tool_change_time: float | None = None
    rapid_time: float | None = None
    bar_feed_time: float | None = None
    handover_time: float | None = None
    chip_bin: float | None = None
    mean_time_between_stops: float | None = None
    shortest_blank: float | None = field(default=None, compare=False)
    """Buying alone goes by it, so that no template is made anew for it."""


@dataclass(frozen=True)
class StockPrice:
    """What a material costs, and what its scrap brings."""

    material: str
    material_price: float
    price_per: str
    shape: str | None = None
    size: float | None = None
    supplied_length: float | None = None
    chip_price: float | None = None
    remnant_price: float | None = None
    note: str | None = None
    material_surcharge: float | None = None


@dataclass(frozen=True)
class StockSize:
    """A size of bar that is kept; without a shape in every shape."""

    size: float
    shape: str | None = None
    note: str | None = None


@dataclass(frozen=True)
class SuppliedBar:
    """Bars of one length that can be bought, at one price. What was left blank is None."""

    material: str
    shape: str
    size: float
    length: float
    price: float
    price_per: str
    thickness: float | None = None
    finish: str | None = None
    tolerance: str | None = None
    from_weight: float | None = None
    material_surcharge: float | None = None
    certificate: str | None = None
    certificate_fee: float | None = None
    bundle: int | None = None
    line_minimum: float | None = None
    available: int | None = None
    lead_days: int | None = None
    supplier: str | None = None
    note: str | None = None
    row: int = 0
    """Of the sheet."""


@dataclass(frozen=True)
class BuyingRates:
    """Rates that buying alone goes by. What was left blank is None."""

    bar_trim: float | None = None
    least_left: float | None = None
    left_share: float | None = None
    brackets_over: str | None = None
    rack_worth: str | None = None


@dataclass(frozen=True)
class Rates:
    """Rates and charges that hold for every quote. What was left blank is None."""

    currency: str | None = None
    margin: float | None = None
    markup: float | None = None
    rounding: str | None = None
    minimum_charge: float | None = None
    cut_charge: float | None = None
    kerf: float | None = None
    last_bar_rest: str | None = None
    chip_price: float | None = None
    remnant_price: float | None = None
    tooling: float | None = None
    other_per_order: float | None = None
    other_per_part: float | None = None
    scrap_rate: float | None = None
    confidence: float | None = None
    efficiency: float | None = None
    inspection_rate: float | None = None
    priced_per: str | None = None
    minimum_order: float | None = None
    certificate_fee: float | None = None
    material_freight: float | None = None


@dataclass(frozen=True)
class Letterhead:
    """What a quotation says to every customer. What was left blank is None."""

    seller: str | None = None
    seller_address: str | None = None
    seller_contact: str | None = None
    logo: str | None = None
    valid_days: int | None = None
    terms: str | None = None
    tax_wording: str | None = None
    quotation_notes: str | None = None
    paper: str | None = None
    picture: bytes | None = field(default=None, repr=False)
    """The logo file, a PNG or JPEG."""


@dataclass(frozen=True)
class Shop:
    """A shop file: lengths and prices by weight in `units`."""

    units: str
    rates: Rates
    machines: tuple[Machine, ...]
    prices: tuple[StockPrice, ...]
    speeds: SpeedsFeeds
    stock: tuple[StockSize, ...] = ()
    letterhead: Letterhead = Letterhead()
    file: ShopFile | None = None
    supplied: tuple[SuppliedBar, ...] = field(default=(), compare=False)
    """With `buying` for buying alone: two shops that differ in nothing else give the same templates."""
    buying: BuyingRates = field(default=BuyingRates(), compare=False)

    def without_file(self) -> "Shop":
        """The same shop, wherever it was read."""
        return replace(self, file=None)

    def stock_sizes(self, shape: str) -> list[float]:
        """The sizes of bar that are kept in a shape; none where the shop file lists none."""
        return sorted({item.size for item in self.stock if item.shape in (None, shape)})

    def machine(self, name: str) -> Machine:
        """The machine of that name, upper and lower case alike. Raises InputError with the names there are."""
        for machine in self.machines:
            if isinstance(name, str) and machine.name.casefold() == " ".join(name.split()).casefold():
                return machine
        there_are = ", ".join(m.name for m in self.machines) or "none"
        raise InputError("shop", [("machine", f"{shown(name)} is not a machine of the shop file; there are {there_are}")])

    def price(self, material: str, shape: str | None = None, size: float | None = None) -> StockPrice | None:
        """The price for a bar: the row of its material that says most about it; None where there is none.

        A row with a size or a shape holds for that one only; the row with both comes before the one with the size, that
        before the one with the shape, that before the one for all. The size is in the shop's units. Credits that the
        row leaves blank are those of the rates.
        """
        name = _known_material(material)
        fitting = [p for p in self.prices if p.material == name and p.shape in (None, shape)
                   and (p.size is None or (size is not None and abs(p.size - size) <= 1e-6 * size))]
        if not fitting:
            return None
        best = max(fitting, key=lambda p: (p.size is not None, p.shape is not None))
        return replace(best, chip_price=self.rates.chip_price if best.chip_price is None else best.chip_price,
                       remnant_price=self.rates.remnant_price if best.remnant_price is None else best.remnant_price)

    def in_units(self, units: str) -> "Shop":
        """The same shop with lengths and prices by weight in other units."""
        if units == self.units:
            return self

        def turned(record: Any, columns: Sequence[Column]) -> Any:
            values = asdict(record)
            for column in columns:
                if values[column.name] is not None:
                    values[column.name] = _turned(values[column.name], column, self.units, units)
            return type(record)(**values)

        return Shop(units, turned(self.rates, RATES), tuple(turned(m, TABLES["Machines"]) for m in self.machines),
                    tuple(turned(p, PRICES) for p in self.prices), self.speeds, tuple(turned(s, STOCK) for s in self.stock), self.letterhead,
                    self.file, tuple(turned(b, SUPPLIED) for b in self.supplied), turned(self.buying, BUYING))


def _turned(value: Any, column: Column, system: str, units: str) -> Any:
    if column.unit == "per_weight":
        return value / KG_PER_LB if units == "mm" else value * KG_PER_LB
    return in_units(value, column.kind, system, units)


def paper_for(units: str, shop: "Shop | None") -> str:
    """The paper that pages are printed on: the shop's choice, or else letter for parts in inch and A4 for those in mm."""
    return (shop.letterhead.paper if shop else None) or ("A4" if units == "mm" else "letter")


def _known_material(text: str) -> str:
    """The name in the materials table, so that a designation finds the same price."""
    table = materials.active()
    if isinstance(text, str) and text in table:
        return table[text].name
    reason = table.unknown(text) if isinstance(text, str) else f"{shown(text)} given; a text is allowed"
    raise InputError("shop", [("material", reason)])


# --- reading -------------------------------------------------------------------------------------------------------

_Rows = list[tuple[int, list[Any]]]


def read_shop(path: str | Path) -> Shop:
    """Read a shop file.

    Numbers are in the file's units; a text may carry its own ("12 ft", "19 mm", "5%").

    Raises
    ------
    InputError
        Names every bad cell with its sheet.
    WorkbookError
        The file is not a workbook, is damaged, or too large.
    """
    path = Path(path)
    data = file_bytes(path)
    parts = read_parts(data, path.name)
    sheets = _sheets(path, parts)
    wanted = (RATES_SHEET, *TABLES)
    missing = [(title, f"this sheet is missing; the file has {', '.join(sheets)}") for title in wanted
               if title not in sheets and title not in MAY_BE_MISSING]
    if missing:
        raise InputError(path.name, missing)
    problems: list[tuple[str, str]] = []
    units, rates, buying = _read_rates(sheets[RATES_SHEET], problems)
    letterhead = _read_letterhead(path.parent, sheets.get(LETTERHEAD_SHEET, []), problems)
    tables = {title: list(_read_table(title, columns, sheets[title], problems)) if title in sheets else []
              for title, columns in TABLES.items()}
    machines = [Machine(**_numbers(row, TABLES["Machines"], units, problems)) for row in tables["Machines"]]
    prices = [StockPrice(**_numbers(row, PRICES, units, problems)) for row in tables["Materials and prices"]]
    stock = [StockSize(**_numbers(row, STOCK, units, problems)) for row in tables["Stock sizes"]]
    supplied = [SuppliedBar(**_numbers(row, SUPPLIED, units, problems), row=row.number) for row in tables[SUPPLIED_SHEET]]
    speeds = _speeds(tables["Speeds and feeds"], problems)
    if not problems:
        _check_doubles("Machines", tables["Machines"], [m.name.casefold() for m in machines], problems)
        _check_doubles("Stock sizes", tables["Stock sizes"], [(round(s.size, 6), s.shape) for s in stock], problems)
        prices = _check_prices(tables["Materials and prices"], prices, problems)
        supplied = _check_supplied(tables[SUPPLIED_SHEET], supplied, units, problems)
    if problems:
        raise InputError(path.name, problems)
    return Shop(units, rates, tuple(machines), tuple(prices), speeds_feeds.builtin().extended(speeds), tuple(stock), letterhead,
                ShopFile(path.name, _saved(parts), hashlib.sha256(data).hexdigest()), tuple(supplied), buying)


def _saved(parts: Mapping[str, bytes]) -> str:
    """The day on which the program that wrote the file says that it did. The file system's date would be another after a copy
    or a mail, and the same file would then give another workbook."""
    texts: list[str] = []
    inside = False

    def tag(name: str, is_open: bool) -> None:
        nonlocal inside
        inside = is_open and name == "modified"

    read_xml([parts.get("docProps/core.xml", b"<none/>")], lambda name, _: tag(name, True), lambda name: tag(name, False),
             lambda text: texts.append(text) if inside else None)
    day = "".join(texts).strip()[:10]
    return day if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", day) else ""


def _sheets(path: Path, parts: dict[str, bytes]) -> dict[str, _Rows]:
    """The cells of every sheet, row by row, in which a formula without a value is told from a blank."""
    import openpyxl

    data = pack(parts, level=1)
    found: dict[str, _Rows] = {}
    try:
        books = [openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=only, keep_links=False)
                 for only in (True, False)]
        for sheet in books[0].worksheets:
            rows = []
            for number, (values, texts) in enumerate(zip(*(
                    book[sheet.title].iter_rows(values_only=True, max_row=MOST_ROWS + _HEAD_WITHIN + 1, max_col=_MOST_COLUMNS)
                    for book in books), strict=True), start=1):
                rows.append((number, [_NO_VALUE if v is None and t is not None else v
                                      for v, t in zip(values, texts, strict=True)]))
            if len(rows) > MOST_ROWS + _HEAD_WITHIN:
                raise WorkbookError(f"{path.name}, {sheet.title}: more than {MOST_ROWS:,} rows")
            found[sheet.title] = rows
    except (KeyError, ValueError, TypeError, IndexError, AttributeError) as error:
        if isinstance(error, WorkbookError):
            raise
        raise WorkbookError(f"{path.name} can't be read as a workbook ({error})") from None
    return found


class _NoValue:
    def __repr__(self) -> str:
        return "a formula without a value"


_NO_VALUE = _NoValue()


@dataclass(frozen=True)
class _Row:
    """A row of a table: its number, its cells by column name, and the letter of each column."""

    sheet: str
    number: int
    cells: Mapping[str, Any]
    letters: Mapping[str, str]
    labels: Mapping[str, str]

    def place(self, column: str) -> str:
        letter = self.letters.get(column)
        return f"{self.sheet}, {letter}{self.number} ({self.labels[column]})" if letter else f"{self.sheet}, row {self.number}"


def _label(value: Any) -> str:
    return " ".join(str(value).rstrip("* ").split()).casefold() if isinstance(value, str) else ""


def _blank(value: Any) -> bool:
    return value is None or (isinstance(value, str) and not value.strip())


def _letter(index: int) -> str:
    from openpyxl.utils import get_column_letter

    return str(get_column_letter(index + 1))


def _read_table(sheet: str, columns: Sequence[Column], rows: _Rows, problems: list[tuple[str, str]]) -> Iterator[_Row]:
    """The filled rows under the head, which is the row that holds the label of the first column."""
    by_label = {_label(c.label): c for c in columns}
    first = _label(columns[0].label)
    head = next((n for n, (_, cells) in enumerate(rows[:_HEAD_WITHIN]) if any(_label(v) == first for v in cells)), None)
    if head is None:
        problems.append((sheet, f"no head: none of the first {_HEAD_WITHIN} rows has a cell {columns[0].label!r}"))
        return
    number, cells = rows[head]
    places: dict[str, int] = {}
    for index, value in enumerate(cells):
        if _blank(value):
            continue
        column = by_label.get(_label(value))
        where = f"{sheet}, {_letter(index)}{number}"
        if column is None:
            problems.append((where, f"{value!r} is not a column; known are {', '.join(c.label for c in columns)}"))
        elif column.name in places:
            problems.append((where, f"{column.label!r} stands twice in the head"))
        else:
            places[column.name] = index
    problems += [(f"{sheet}, row {number}", f"the column {c.label!r} is missing") for c in columns
                 if c.needed and c.name not in places]
    letters, labels = {name: _letter(i) for name, i in places.items()}, {c.name: c.label for c in columns}
    for number, cells in rows[head + 1:]:
        named = {c.name: cells[places[c.name]] if c.name in places and places[c.name] < len(cells) else None for c in columns}
        stray = [i for i, v in enumerate(cells) if not _blank(v) and i not in places.values()]
        problems += [(f"{sheet}, {_letter(i)}{number}", "stands outside the columns of the table") for i in stray]
        if not all(_blank(v) for v in named.values()):
            yield _Row(sheet, number, named, letters, labels)


def _read_cell(value: Any, kind: Kind, units: str) -> Any:
    """The value of a cell in the file's units. Raises ValueError with a reason in words."""
    if value is _NO_VALUE:
        raise ValueError("has a formula without a value; open the file in a spreadsheet program and save it")
    return read_in(kind, value, units, CELLS)


def _one(value: Any, column: Column, units: str, place: str, problems: list[tuple[str, str]]) -> Any:
    """One cell in the file's units; None where it is blank or bad, which `problems` then says."""
    if _blank(value):
        if column.needed:
            problems.append((place, "is blank"))
        return None
    try:
        return _read_cell(value, column.kind, units)
    except ValueError as error:
        problems.append((place, str(error)))
        return None


def _numbers(row: _Row, columns: Sequence[Column], units: str, problems: list[tuple[str, str]]) -> dict[str, Any]:
    return {c.name: _one(row.cells[c.name], c, units, row.place(c.name), problems) for c in columns}


def _lines(sheet: str, rows: _Rows, columns: Sequence[Column], problems: list[tuple[str, str]]) -> dict[str, tuple[Any, str]]:
    """Labels, each with its value in the next cell to the right: by name that cell, and where it stands."""
    by_label = {_label(c.label): c for c in columns}
    found: dict[str, tuple[Any, str]] = {}
    for number, cells in rows:
        for index, value in enumerate(cells):
            column = by_label.get(_label(value))
            if column is None:
                continue
            place = f"{sheet}, {_letter(index + 1)}{number} ({column.label})"
            if column.name in found:
                problems.append((place, "stands twice on this sheet"))
            else:
                found[column.name] = (cells[index + 1] if index + 1 < len(cells) else None, place)
            break
    return found


def _read_letterhead(folder: Path, rows: _Rows, problems: list[tuple[str, str]]) -> Letterhead:
    found = _lines(LETTERHEAD_SHEET, rows, LETTERHEAD, problems)
    values = {c.name: _one(found[c.name][0], c, "in", found[c.name][1], problems) for c in LETTERHEAD if c.name in found}
    picture = None
    if values.get("logo"):
        try:
            picture = read_logo(folder, values["logo"])
        except ValueError as error:
            problems.append((found["logo"][1], str(error)))
    return Letterhead(**values, picture=picture)


def read_logo(folder: Path, name: str) -> bytes:
    """The picture of that name in a folder. Raises ValueError with a reason in words."""
    if set(name) & set("/\\:\0") or name in (".", ".."):
        raise ValueError(f"{shown(name)}: give the name of a file that lies beside the shop file, without its folder")
    path = folder / name
    try:
        if not path.is_file():
            raise ValueError(f"there is no file {name} beside the shop file")
        if path.stat().st_size > MOST_LOGO_BYTES:
            raise ValueError(f"{name} is larger than {MOST_LOGO_BYTES // 1_000_000} MB")
        data = path.read_bytes()
    except OSError as error:
        raise ValueError(f"{name} can't be read ({error.strerror})") from None
    size = pictures.size_of(data)
    if size is None:
        raise ValueError(f"{name} is neither a PNG nor a JPEG")
    if min(size) < 1 or max(size) > MOST_LOGO_PIXELS:
        raise ValueError(f"{name} has {size[0]:,} x {size[1]:,} pixels; allowed is at most {MOST_LOGO_PIXELS:,} a side")
    return data


def _read_rates(rows: _Rows, problems: list[tuple[str, str]]) -> tuple[str, Rates, BuyingRates]:
    found = _lines(RATES_SHEET, rows, (_UNITS, *RATES, *BUYING), problems)
    problems += [(RATES_SHEET, f"the line {c.label!r} is missing") for c in (_UNITS, *RATES) if c.name not in found and c.name not in _MAY_LACK]
    units = _one(*found["units"][:1], _UNITS, "in", found["units"][1], problems) if "units" in found else None
    units = units or "in"
    rates, buying = (record(**{c.name: _one(found[c.name][0], c, units, found[c.name][1], problems) for c in columns if c.name in found})
                     for record, columns in ((Rates, RATES), (BuyingRates, BUYING)))
    assert isinstance(rates, Rates)
    assert isinstance(buying, BuyingRates)
    if rates.margin and rates.markup:
        problems.append((found["markup"][1], "fill in the margin or the markup, not both"))
    return units, rates, buying


def _speeds(rows: Sequence[_Row], problems: list[tuple[str, str]]) -> list[speeds_feeds.SpeedFeed]:
    found, where = [], []
    for row in rows:
        bad: list[tuple[str, str]] = []
        cells = {c.name: _text_or_as_it_is(row, c, bad) for c in SPEEDS}
        speed, more = (None, []) if bad else speeds_feeds.read_row(cells, row.place)
        problems += bad + more
        if speed is not None:
            found.append(speed)
            where.append(row)
    _check_doubles("Speeds and feeds", where, [s.key for s in found], problems)
    if len(found) > speeds_feeds.MOST_OWN_ROWS:
        problems.append(("Speeds and feeds", f"has {len(found):,} rows; allowed is at most {speeds_feeds.MOST_OWN_ROWS}"))
    return found


def _text_or_as_it_is(row: _Row, column: Column, problems: list[tuple[str, str]]) -> Any:
    value = row.cells[column.name]
    if _blank(value):
        return None
    try:
        return _read_cell(value, column.kind if column.kind.reader == "text" else _ANY, "in")
    except ValueError as error:
        problems.append((row.place(column.name), str(error)))
        return None


_ANY = Kind("any value", "table")


def _check_doubles(sheet: str, rows: Sequence[_Row], keys: Sequence[Any], problems: list[tuple[str, str]]) -> None:
    seen: dict[Any, _Row] = {}
    for row, key in zip(rows, keys, strict=True):
        if key in seen:
            problems.append((f"{sheet}, row {row.number}", f"says the same as row {seen[key].number}; one of them must go"))
        seen.setdefault(key, row)


def _check_prices(rows: Sequence[_Row], prices: Sequence[StockPrice], problems: list[tuple[str, str]]) -> list[StockPrice]:
    """The prices with the materials' names of the table."""
    named = []
    for row, price in zip(rows, prices, strict=True):
        try:
            named.append(replace(price, material=_known_material(price.material)))
        except InputError as error:
            problems.append((row.place("material"), error.problems[0][1]))
    if len(named) == len(prices):
        keys = [(p.material, p.shape, p.size and round(p.size, 6)) for p in named]
        _check_doubles("Materials and prices", rows, keys, problems)
    return named


def _check_supplied(rows: Sequence[_Row], bars: Sequence[SuppliedBar], units: str, problems: list[tuple[str, str]]) -> list[SuppliedBar]:
    """The bars with the materials' names of the table, each of a section that there is."""
    named = []
    for row, bar in zip(rows, bars, strict=True):
        try:
            bar = replace(bar, material=_known_material(bar.material))
        except InputError as error:
            problems.append((row.place("material"), error.problems[0][1]))
        given = {"shape": bar.shape, "size": bar.size, "thickness": bar.thickness, "units": units}
        entry = CATALOGUE["section_area"]
        problems += [(row.place(name), reason) for name, reason in broken_rules(entry, [given[a.name] for a in entry.arguments])]
        if bar.price_per == "blank":
            problems.append((row.place("price_per"), "'blank' given; a bar is priced here as it is supplied, by weight, length or bar"))
        named.append(bar)
    return named


# --- the workbook --------------------------------------------------------------------------------------------------

_EXAMPLE_RATES = {"currency": "$", "markup": 0.35, "rounding": "up to next 0.01", "minimum_charge": 75, "cut_charge": 2.5, "certificate_fee": None, "material_freight": None, "kerf": 0.1,
                  "last_bar_rest": kinds.LAST_BAR_RESTS[0],
                  "chip_price": 0.12, "remnant_price": 0.15, "tooling": None, "other_per_order": 18, "other_per_part": None,
                  "scrap_rate": 0.02, "confidence": 0.95, "efficiency": 0.9,
                  "inspection_rate": 60, "priced_per": None, "minimum_order": None}
_EXAMPLE_BUYING = {"bar_trim": 0.25, "least_left": 12, "left_share": 0.5, "brackets_over": kinds.BRACKETS_OVER[0],
                   "rack_worth": kinds.RACK_WORTH[0]}
_EXAMPLES: dict[str, tuple[tuple[Any, ...], ...]] = {
    "Machines": (
        ("Lathe 1", 144, 1.25, 2.5, 0.2, 35, 6000, 200, 18, 82, 70, None, 24, 1.5, 4, 2, 1, 55, 12, "fixed head", 12),
        ("Lathe 2", 144, 2, 3.25, 0.25, 45, 5000, 200, 10, 88, 70, None, 24, 1.8, 5, 2, 3, 55, 10, "fixed head + second spindle", 12),
        ("Sliding head 3", 144, 0.7875, 6.5, 0.1, 30, 10000, None, 24, 95, None, 4, 8, 0.8, 3, 1.5, 2.5, 30, 16, "guide bush + second spindle", 36),
    ),
    "Materials and prices": (
        ("Brass C36000", None, None, 4.6, "lb", None, 2.1, 2.4, None, "invented price"),
        ("Brass C36000", "hexagon", 0.75, 5.1, "lb", None, 2.1, 2.4, None, "invented price"),
        ("12L14", "round", None, 1.15, "lb", None, None, None, None, "invented price"),
        ("303", "round", None, 3.4, "lb", None, 0.35, 0.4, 0.45, "invented price"),
        ("303", "round", 1, 3.2, "lb", None, 0.35, 0.4, 0.45, "invented price, by the bundle"),
        ("6061", "round", None, 2.9, "lb", None, 0.5, 0.55, None, "invented price"),
    ),
    "Speeds and feeds": tuple(
        (row.group, row.operation, row.tool, row.surface_speed, None, row.feed_rate, None, row.drill_feed, row.source,
         row.note or None)
        for row in speeds_feeds.builtin().rows),
    "Stock sizes": (),
    SUPPLIED_SHEET: tuple(
        (material, shape, size, None, None, None, length, price, "lb", start, surcharge, "3.1", 25, bundle, 60, None, 4, None, "invented")
        for material, shape, size, length, price, start, surcharge, bundle in (
            ("Brass C36000", "hexagon", 0.75, 144, 5.1, None, None, None), ("Brass C36000", "hexagon", 0.75, 144, 4.85, 250, None, None),
            ("12L14", "round", 1, 144, 1.15, None, None, 5), ("303", "round", 1, 144, 3.2, None, 0.35, None),
            ("303", "round", 1, 240, 3.1, None, 0.35, None))),
}
_SPARE = {"Machines": 17, "Materials and prices": 34, "Speeds and feeds": 30, "Stock sizes": 60, SUPPLIED_SHEET: 30}
_SAID = {
    "Machines": "One row a lathe with its feeder. Take lengths and speeds from the manuals; what is left blank is asked for with each job.",
    "Materials and prices": "One row a material; a row with a shape or a size comes before the one without. All prices here are invented.",
    "Speeds and feeds": "Starting values, yours to change: all from memory and marked so. Give a speed and a feed in inch or metric, "
                        "not both. The feed of a drill is a share of its diameter; a thread has none here: its pitch.",
    "Stock sizes": "Sizes of bar that you or your supplier keep, in any order: the bar for a part is picked from them. Left blank, usual "
                   "steps are taken (common practice, from memory).",
    SUPPLIED_SHEET: "Optional. What can be bought, for 'barfuncs buy': one row a length and price bracket. Where a bar has no row here, its price and supplied "
                    "length of the sheet Materials and prices hold. All invented.",
}


def unit_formula(column: Column) -> str | None:
    """What stands over a column: its unit, after the units of the file."""
    return unit_text(column.unit, "shop_units") if column.unit else None


def number_format(column: Column) -> str:
    """The format of a column's cells, by its name in `layout`."""
    return "text" if column.number == "typed" else column.aligned


def validate(sheet: Worksheet, ref: str, column: Column) -> None:
    """A prompt for each cell of a column, and a list where there are choices."""
    layout.validate(sheet, ref, column.kind, column.label, column.help)
    # A number with its unit, such as 12 ft, is a text, which a check for numbers would turn away.
    sheet.data_validations.dataValidation[-1].showErrorMessage = bool(column.kind.choices)


def _rates_sheet(book: Workbook) -> None:
    sheet = layout.add_sheet(book, RATES_SHEET, {"A": 1.5, "B": 26, "C": 20, "D": 11, "E": 70})
    layout.put(sheet, "B1", "Shop file", size=18, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[1].height = 26
    layout.put(sheet, "B2", "What your shop fills in once: rates here, machines, materials and speeds on the next sheets. "
                            "All figures are invented: put yours in the framed cells.", size=9, color=layout.SOFT)
    layout.heading(sheet, "B", "E", 4, "Units of this file")
    row = 5
    headings = {RATES[0].name: RATES_SHEET, BUYING[0].name: "Buying"}
    for column in (_UNITS, *RATES, *BUYING):
        if column.name in headings:
            row += 1
            layout.heading(sheet, "B", "E", row, headings[column.name])
            row += 1
        layout.put(sheet, f"B{row}", column.label + (" *" if column.needed else ""))
        layout.style_input(sheet, f"C{row}", number_format(column))
        sheet[f"C{row}"].value = (_EXAMPLE_RATES | _EXAMPLE_BUYING).get(column.name, "in" if column is _UNITS else None)
        layout.put(sheet, f"D{row}", unit_formula(column), size=9, color=layout.SOFT, indent=1)
        layout.put(sheet, f"E{row}", column.help[:1].upper() + column.help[1:] + ".", size=9, color=layout.SOFT)
        validate(sheet, f"C{row}", column)
        sheet.row_dimensions[row].height = 16
        row += 1
    layout.name_cell(book, "shop_units", sheet, "C5")
    sheet.print_area = f"A1:E{row}"


_EXAMPLE_LETTERHEAD = {"seller": "Bellwether Turning", "seller_address": "4 Mill Lane, Northford",
                       "seller_contact": "R. Vance, quotes@bellwether.example", "valid_days": 30}


def _letterhead_sheet(book: Workbook) -> None:
    sheet = layout.add_sheet(book, LETTERHEAD_SHEET, {"A": 1.5, "B": 25, "C": 70, "D": 7, "E": 58}, landscape=True)
    layout.put(sheet, "B1", LETTERHEAD_SHEET, size=18, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[1].height = 26
    layout.put(sheet, "B2", "Optional. What every quotation says; what is left blank is not said, and a quote's own words come first.", size=9,
               color=layout.SOFT)
    layout.heading(sheet, "B", "E", 4, "Sender and terms")
    for row, column in enumerate(LETTERHEAD, start=5):
        layout.put(sheet, f"B{row}", column.label)
        layout.style_input(sheet, f"C{row}", column.number)
        sheet[f"C{row}"].value = _EXAMPLE_LETTERHEAD.get(column.name)
        sheet[f"C{row}"].alignment = Alignment(horizontal="left", vertical="center", wrap_text=column.kind.longest > 400)
        layout.put(sheet, f"D{row}", unit_formula(column), size=9, color=layout.SOFT, indent=1)
        layout.put(sheet, f"E{row}", column.help[:1].upper() + column.help[1:] + ".", size=9, color=layout.SOFT)
        validate(sheet, f"C{row}", column)
        sheet.row_dimensions[row].height = 48 if column.kind.longest > 400 else 16
    sheet.print_area = f"A1:E{row}"


def _table_sheet(book: Workbook, title: str, columns: Sequence[Column]) -> None:
    letters = [_letter(n) for n in range(1, len(columns) + 1)]
    sheet: Worksheet = layout.add_sheet(book, title, {"A": 1.5} | {x: c.width for x, c in zip(letters, columns, strict=True)},
                                        landscape=True)
    sheet.page_setup.fitToHeight = 0
    if len(columns) > 15:
        sheet.page_setup.fitToWidth = 2
        sheet.print_title_cols = "A:B"
    layout.put(sheet, "B1", title, size=18, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[1].height = 26
    layout.put(sheet, "B2", _SAID[title], size=9, color=layout.SOFT)
    units_row, head = 4, 5
    last = head + len(_EXAMPLES[title]) + _SPARE[title]
    layout.heading(sheet, "B", letters[-1], head, "")
    for letter, column in zip(letters, columns, strict=True):
        right = "left" if number_format(column) == "text" else "right"
        layout.put(sheet, f"{letter}{units_row}", unit_formula(column), size=9, color=layout.SOFT, align=right)
        layout.put(sheet, f"{letter}{head}", column.label + (" *" if column.needed else ""), bold=True,
                   color=layout.ACCENT, align=right, indent=int(right == "left"))
        for row in range(head + 1, last + 1):
            layout.style_input(sheet, f"{letter}{row}", number_format(column))
            if right == "left":
                sheet[f"{letter}{row}"].alignment = Alignment(horizontal="left", vertical="center", indent=1)
        validate(sheet, f"{letter}{head + 1}:{letter}{last}", column)
    for row, values in enumerate(_EXAMPLES[title], start=head + 1):
        for letter, value in zip(letters, values, strict=True):
            sheet[f"{letter}{row}"].value = value
    sheet.freeze_panes = f"C{head + 1}"
    sheet.print_title_rows = f"{units_row}:{head}"
    sheet.print_area = f"A1:{letters[-1]}{last}"


RATE_SHEET = "Machine-hour rate"
_RATE_LINES: tuple[tuple[str, str, str, tuple[float | None, ...]], ...] = (
    ("replacement_value", "Replacement value", "", (185_000, 240_000, 310_000)),
    ("life_years", "Life", "years", (8, 8, 8)),
    ("hours_a_year", "Hours run in a year", "h", (2_400, 3_000, 4_200)),
    ("interest_rate", "Interest in a year", "", (0.06, 0.06, 0.06)),
    ("floor_area", "Floor, feeder included", "m2 or ft2", (18, 22, 24)),
    ("floor_cost", "Cost of it in a year", "per m2 or ft2", (110, 110, 110)),
    ("power", "Power drawn on average", "kW", (7, 9, 8)),
    ("energy_price", "Price of energy", "per kWh", (0.22, 0.22, 0.22)),
    ("yearly_maintenance", "Maintenance in a year", "", (5_500, 7_200, 9_300)),
    ("yearly_other", "Other fixed costs in a year", "", (1_200, 1_500, 1_800)),
)
_MINDING_LINES: tuple[tuple[str, str, str, tuple[float | None, ...]], ...] = (
    ("wage_rate", "Person, with all costs", "per hour", (42, 42, 42)),
    ("attended_share", "Share of the hours attended", "", (0.9, 0.7, 0.4)),
    ("lathes_shared", "Lathes minded together", "", (1, 3, 3)),
    ("run_time", "From one call to the next", "s", (600, 600, 900)),
    ("service_time", "Person at the lathe for a call", "s", (60, 60, 60)),
)
_RATE_COLUMNS = "CDEFGH"
_RATE_KINDS = {a.name: a.kind for name in ("machine_hour_rate", "lathe_rate", "lathes_running") for a in CATALOGUE[name].arguments}


def _rate_sheet(book: Workbook) -> None:
    """What an hour of each lathe costs, from the shop's figures. It stands in the shop file and not in each quote: a rate is worked
    out once a year, and a quote takes it from the sheet Machines. Nothing reads this sheet."""
    sheet = layout.add_sheet(book, RATE_SHEET, {"A": 1.5, "B": 31, **dict.fromkeys(_RATE_COLUMNS, 14), "I": 15}, landscape=True)
    layout.put(sheet, "B1", RATE_SHEET, size=18, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[1].height = 26
    layout.put(sheet, "B2", "Optional. What an hour of a lathe costs, after the scheme of VDI 3258; type the rate with the person into the sheet Machines "
                            "if you want it. All figures are invented.", size=9, color=layout.SOFT)
    row = 4
    at: dict[str, int] = {}

    def heading(text: str) -> None:
        nonlocal row
        layout.heading(sheet, "B", "I", row, text)
        row += 1

    def line(name: str, label: str, unit: str) -> None:
        nonlocal row
        at[name] = row
        layout.put(sheet, f"B{row}", label)
        layout.put(sheet, f"I{row}", unit, size=9, color=layout.SOFT, indent=1)
        row += 1

    def inputs(lines: Sequence[tuple[str, str, str, tuple[float | None, ...]]]) -> None:
        for name, label, unit, values in lines:
            line(name, label, unit)
            kind = _RATE_KINDS[name]
            for n, column in enumerate(_RATE_COLUMNS):
                ref = f"{column}{row - 1}"
                layout.style_input(sheet, ref, "percent" if kind.reader == "fraction" else "count" if kind.whole else "general")
                sheet[ref].value = values[n] if n < len(values) else None
            layout.validate(sheet, f"C{row - 1}:H{row - 1}", kind, label, ARGUMENTS[name])
            sheet.data_validations.dataValidation[-1].showErrorMessage = False  # a wrong figure makes the rate #N/A

    def answers(name: str, label: str, unit: str, number: str, formula: Callable[[Mapping[str, str]], str], bold: bool = False) -> None:
        line(name, label, unit)
        sheet[f"B{row - 1}"].font = layout.font(bold=bold)
        for column in _RATE_COLUMNS:
            ref = f"{column}{row - 1}"
            layout.style_answer(sheet, ref, number, bold=bold)
            sheet[ref].value = f'=IF({column}{at["replacement_value"]}="","",{formula({n: f"{column}{r}" for n, r in at.items()})})'

    def of(function: str, **others: str) -> Callable[[Mapping[str, str]], str]:
        return lambda refs: cell_formula(CATALOGUE[function], {**refs, **{a: refs.get(b, b) for a, b in others.items()}})

    heading("The lathes of the sheet Machines, in its order")
    layout.put(sheet, f"B{row}", "Lathe")
    for n, column in enumerate(_RATE_COLUMNS, start=6):
        layout.put(sheet, f"{column}{row}", f'=IF(Machines!B{n}="","",Machines!B{n})', bold=True, align="right", shrink=True)
    row += 1
    inputs(_RATE_LINES)
    answers("hour_rate", "Machine-hour rate", "per hour", "money", of("machine_hour_rate"), bold=True)
    row += 1
    heading("The person who minds it")
    inputs(_MINDING_LINES)
    answers("busy", "Person busy with these lathes", "", "percent",
            lambda r: f'IF({r["run_time"]}="","",{cell_formula(CATALOGUE["lathes_running"], {**r, "lathes": r["lathes_shared"], "people": "1"})}'
                      f'*{r["service_time"]}/{r["run_time"]})')
    answers("not_waiting", "Lathe does not wait for the person", "", "percent",
            lambda r: f'IF({r["run_time"]}="","",{cell_formula(CATALOGUE["minding_efficiency"], {**r, "lathes": r["lathes_shared"], "people": "1"})})')
    answers("lathe_rate", "Rate with the person", "per hour", "money", of("lathe_rate"), bold=True)
    answers("unattended_rate", "Rate while it runs alone", "per hour", "money", lambda r: r["hour_rate"])
    line("used_rate", "Rate on the sheet Machines", "per hour")
    column_of = _letter(next(n for n, c in enumerate(MACHINES) if c.name == "machine_rate") + 1)
    for n, column in enumerate(_RATE_COLUMNS, start=6):
        ref = f"{column}{row - 1}"
        layout.style_answer(sheet, ref, "money")
        sheet[ref].value = f'=IF(Machines!{column_of}{n}="","",Machines!{column_of}{n})'
    row += 1
    for text in ("Depreciation and interest on half the replacement value, floor, maintenance and other costs over the hours run; energy by the hour.",
                 "Calls of a lathe come at random, so that several at once must wait: the share of waiting is lost beside the efficiency of a job.",
                 "Percent of the hours attended: only then the person costs the lathe anything, shared among the lathes minded together."):
        layout.put(sheet, f"B{row}", text, size=9, color=layout.SOFT)
        row += 1
    sheet.print_area = f"A1:I{row}"


@functools.cache
def build() -> bytes:
    """The workbook with invented example data, as the bytes of an xlsx file."""
    book = layout.new_workbook("Shop file")
    _rates_sheet(book)
    _letterhead_sheet(book)
    for title, columns in TABLES.items():
        _table_sheet(book, title, columns)
    _rate_sheet(book)
    layout.select_first_inputs(book)
    return pack(layout.parts_of(book))
