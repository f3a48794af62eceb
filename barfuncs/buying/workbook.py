"""buy_list.xlsx: a plan for buying and sawing as pages for those who sell, saw, plan, keep the rack and pay.

The blank workbook and a filled one are built by the same code: what a buyer types into the one, a plan types into the other, and all
totals and checks are formulas of the workbook.
"""

import dataclasses
import datetime
import functools
import itertools
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from openpyxl import Workbook

from barfuncs.buying.booking_sheet import booking_sheet
from barfuncs.buying.grid import Pen
from barfuncs.buying.money_sheet import MONEY, MoneyPlaces, money_sheet, notes_sheet
from barfuncs.buying.order_sheets import GOODS_IN, ORDER, OrderPlaces, goods_sheet, order_sheet
from barfuncs.buying.records import (
    CERTIFICATES,
    OWN,
    BarStock,
    BuyingPlan,
    Demand,
    Offer,
    OrderLine,
    RackBar,
    Sawing,
    Terms,
    describe,
    finish_and_tolerance,
)
from barfuncs.buying.saw_sheets import (
    JOBS,
    RACK,
    SAW,
    JobPlaces,
    RackPlaces,
    SawPlaces,
    jobs_sheet,
    rack_sheet,
    saw_sheet,
)
from barfuncs.catalogue.kinds import TOLERANCE_CLASSES
from barfuncs.errors import BarfuncsError
from barfuncs.rack.goods_in import ORDERED
from barfuncs.templates import layout
from barfuncs.templates.shop import paper_for
from barfuncs.xlsx import engine
from barfuncs.xlsx.package import pack
from barfuncs.xlsx.sheetxml import Value, legal_text

MOST_LINES = 300
MOST_SAWING = 400
"""Ways to saw a bar, each of which is drawn."""
MOST_BLANKS = 3_000
"""Rows of blanks of all of them."""
MOST_JOBS = MOST_RACK = 2_000
_EPOCH = datetime.date(1899, 12, 30)
_LONGEST_JOBS = ORDERED[-1].kind.longest
_OTHERS = "other jobs"


@dataclass(frozen=True)
class Sizes:
    """How many rows the workbook has for what is typed."""

    pages: tuple[int, ...] = (4,) * 6
    """Lines of each page of the order."""
    sawing: tuple[int, ...] = (4,) * 20
    """Rows of blanks of each way to saw a bar."""
    jobs: tuple[int, ...] = (4,) * 30
    """Rows of blanks of each job."""
    rack: int = 60
    back: int = 20
    """Rows for left-overs that go back on the rack."""
    whole: int = 4
    """Rows for order lines of which bars are not sawn."""
    notes: int = 2


@dataclass(frozen=True)
class _Places:
    order: OrderPlaces
    goods: list[str]
    saw: SawPlaces
    jobs: JobPlaces
    rack: RackPlaces
    money: MoneyPlaces


def build(sizes: Sizes | None = None, paper: str = "letter") -> bytes:
    """The blank workbook, as the bytes of an xlsx file."""
    return _built(sizes or Sizes(), paper)[0]


@functools.lru_cache(maxsize=2)
def _built(sizes: Sizes, paper: str) -> tuple[bytes, _Places]:
    book = layout.new_workbook("Buying and sawing")
    pen = Pen(book)
    lines = sum(sizes.pages)
    order = order_sheet(pen, sizes.pages)
    saw = saw_sheet(pen, sizes.sawing)
    jobs = jobs_sheet(pen, sizes.jobs)
    rack = rack_sheet(pen, sizes.rack, sizes.back, sizes.whole)
    booking_sheet(pen, saw)
    money = money_sheet(pen, lines, sizes.notes)
    notes_sheet(pen)
    goods = goods_sheet(pen, order)
    pen.done()
    _check_names(book)
    for sheet in book.worksheets:
        sheet.page_setup.paperSize = layout.PAPERS[paper]
    layout.print_when_asked_for(book, book[GOODS_IN])
    layout.select_first_inputs(book)
    return pack(layout.parts_of(book)), _Places(order, goods, saw, jobs, rack, money)


_NAME = re.compile(r"\bbuy_\w+")


def _check_names(book: Workbook) -> None:
    """Raise ValueError where a formula speaks of a name that no cell has: a count of such a name would be 0, and no error."""
    known = set(book.defined_names)
    for sheet in book.worksheets:
        for cell in sheet._cells.values():
            if cell.data_type == "f" and (strange := set(_NAME.findall(str(cell.value))) - known):
                raise ValueError(f"{sheet.title}!{cell.coordinate}: no cell is named {', '.join(sorted(strange))}")


def buy_list(plan: BuyingPlan, demands: Sequence[Demand], offers: Sequence[Offer], rack: Sequence[RackBar], terms: Terms, *,
             currency: str = "$", buyer: str = "", deliver_to: str = "", order_number: str = "", today: datetime.date | None = None) -> bytes:
    """A plan and what it was made from as the workbook, with all values calculated: the bytes of an xlsx file.

    The sheets are Order (a page for each kind of bar and supplier, without costs or jobs), Saw, Jobs, Rack, Book, Money, Notes, and Goods in,
    which `barfuncs rack goods-in` reads.

    Parameters
    ----------
    plan : BuyingPlan
        What `plan_buying` gave for the other four.
    demands, offers, rack, terms
        What the plan was made from.
    currency : str
        What stands beside money.
    buyer, deliver_to, order_number : str
        What the order says on each of its pages.
    today : datetime.date, optional
        The day of the order where `terms` has none.

    Raises
    ------
    BarfuncsError
        The plan has more order lines, ways to saw, blanks, jobs or rack bars than a workbook takes.
    """
    for what, number, most in (("order lines", len(plan.lines), MOST_LINES), ("ways to saw a bar", len(plan.sawing), MOST_SAWING),
                               ("rows of blanks", sum(len(set(row.blanks)) for row in plan.sawing), MOST_BLANKS), ("jobs", len(demands), MOST_JOBS),
                               ("rack bars", len(rack), MOST_RACK)):
        if number > most:
            raise BarfuncsError(f"the plan has {number:,} {what}; a workbook takes at most {most:,}")
    filled = _Filled(plan, demands, offers, rack, terms)
    data, places = _built(filled.sizes(), paper_for(terms.units, None))
    cells = dict(filled.cells(places))
    day = terms.order_date or today
    head = {"buyer": buyer, "deliver_to": deliver_to, "number": order_number, "order_date": day, "units": terms.units, "currency": currency}
    cells |= {f"{ORDER}!{places.order.head[name]}": value for name, value in head.items()}
    put = {ref: value for ref, value in ((ref, _in_cell(value)) for ref, value in cells.items()) if value is not None}
    book = engine.Workbook(data, direct=True)
    for ref, value in put.items():
        book.set(ref, value)
    book.calculate()
    return book.to_bytes(put)


def _in_cell(value: Any) -> Value:
    """A value as a cell holds it; a text stays one, whatever it begins with."""
    if isinstance(value, datetime.date):
        return (value - _EPOCH).days
    if isinstance(value, str):
        return legal_text(value) or None
    return value  # type: ignore[no-any-return]


class _Filled:
    """What a plan types into the workbook."""

    def __init__(self, plan: BuyingPlan, demands: Sequence[Demand], offers: Sequence[Offer], rack: Sequence[RackBar], terms: Terms) -> None:
        self.plan, self.demands, self.offers, self.rack, self.terms = plan, demands, offers, rack, terms
        self.pages = _pages(plan.lines, offers)
        self.line_number = {line.offer: n for n, line in enumerate(itertools.chain(*self.pages), 1)}
        self.sawing = sorted(plan.sawing, key=self._in_turn)

    def sizes(self) -> Sizes:
        rows = Counter(demand for row in self.sawing for demand, _, _ in _alike(row))
        # Columns of two rows at least: of one cell alone, Gnumeric's INDEX gives #REF!.
        pages = [len(page) for page in self.pages] or [1]
        jobs = [max(1, rows[n]) for n in range(len(self.demands))]
        return Sizes((*pages[:-1], max(pages[-1], 3 - len(pages))), tuple(len(_alike(row)) for row in self.sawing) or (1,), (*jobs[:-1], max(jobs[-1], 3 - len(jobs))),
                     max(2, len(self.rack)), sum(row.back for row in self.sawing) + 1, sum(line.spare > 0 for line in self.plan.lines) + 1, max(1, len(self.plan.notes)))

    def cells(self, places: _Places) -> Iterator[tuple[str, Any]]:
        """Every cell that is typed, with its value."""
        yield from self._order(places)
        yield from self._saw(places.saw)
        yield from self._jobs(places.jobs)
        yield from self._rack(places.rack)
        yield from self._money(places.money)

    def _in_turn(self, row: Sawing) -> tuple[Any, ...]:
        """Kinds of bar one after the other, in them like lengths beside one another."""
        lengths = [-blank[2] for blank in _alike(row)]
        return (*_by_name(row.bar(self.offers, self.rack).stock), lengths, row.offer is None, row.offer or 0, row.rack or 0)

    def _order(self, places: _Places) -> Iterator[tuple[str, Any]]:
        lines = iter(zip(places.order.lines, places.goods, strict=True))
        for cells, page in zip(places.order.pages, self.pages, strict=False):
            stock = self.offers[page[0].offer].stock
            finish, tolerance = finish_and_tolerance(stock.condition)
            said = {"material": stock.material, "shape": stock.shape, "size": stock.size, "thickness": stock.thickness, "finish": finish,
                    "tolerance": tolerance if tolerance != TOLERANCE_CLASSES[0] else None, "supplier": self.offers[page[0].offer].supplier}
            yield from ((f"{ORDER}!{cells[name]}", value) for name, value in said.items())
            for line in page:
                at, jobs = next(lines)
                yield from ((f"{ORDER}!{at[name]}", value) for name, value in self._line(line).items())
                yield f"{GOODS_IN}!{jobs}", self._jobs_of(line)

    def _line(self, line: OrderLine) -> dict[str, Any]:
        offer = self.offers[line.offer]
        jobs = [self.demands[blank.demand] for row in self._rows_of(line) for blank in row.blanks]
        fee = round(line.money - max(offer.line_minimum, line.bars * line.price), 9)
        wanted = fee > 0 or any(job.certificate != CERTIFICATES[0] for job in jobs)
        start = next((start for start, price in reversed(offer.prices) if price == line.price), 0)
        over = " of the order" if self.terms.brackets_over == "order" else ""
        weight = "kg" if self.terms.units == "mm" else "lb"
        notes = ([f"full bundles of {offer.bundle}"] if offer.bundle > 1 else []) + ([f"price from {start:,g} {weight}{over} on"] if start else [])
        return {"bars": line.bars, "length": offer.length, "weight": offer.weight or None, "price": line.price, "minimum": offer.line_minimum or None,
                "fee": fee or None, "certificate": offer.certificate if wanted else CERTIFICATES[0], "need_by": min((job.need_by for job in jobs if job.need_by), default=None),
                "lead_days": offer.lead_days or None, "note": "; ".join(notes)}

    def _rows_of(self, line: OrderLine) -> list[Sawing]:
        return [row for row in self.sawing if row.offer == line.offer]

    def _jobs_of(self, line: OrderLine) -> str:
        """Whom the bars of a line are for, the most urgent first, as goods-in reads it. A bar that several jobs share names them all."""
        bars: Counter[tuple[datetime.date, str]] = Counter()
        for row in self._rows_of(line):
            jobs = [self.demands[n] for n in dict.fromkeys(blank.demand for blank in row.blanks)]
            name = " + ".join(dict.fromkeys(" ".join(legal_text(job.job).replace(",", ";").split()) for job in jobs))
            bars[min(job.need_by or datetime.date.max for job in jobs), name] += row.bars
        texts: list[str] = []
        others = 0
        for (_, name), number in sorted(bars.items()):
            text = f"{name}: {number}"
            if others or len(", ".join([*texts, text, f"{_OTHERS}: 99999"])) > _LONGEST_JOBS:
                others += number
            else:
                texts.append(text)
        return ", ".join([*texts, *([f"{_OTHERS}: {others}"] if others else [])])

    def _saw(self, places: SawPlaces) -> Iterator[tuple[str, Any]]:
        for row, cells, blanks in zip(self.sawing, places.rows, places.blanks, strict=False):
            said = {"bars": row.bars, "line": None if row.offer is None else self.line_number[row.offer], "rack": None if row.rack is None else row.rack + 1,
                    "left": row.left}
            yield from ((f"{SAW}!{cells[name]}", value) for name, value in said.items())
            for ((demand, parts, length), pieces), at in zip(_alike(row).items(), blanks, strict=True):
                blank = {"pieces": pieces, "length": length, "parts": parts, "job": demand + 1}
                yield from ((f"{SAW}!{at[name]}", value) for name, value in blank.items())

    def _jobs(self, places: JobPlaces) -> Iterator[tuple[str, Any]]:
        for demand, cells in zip(self.demands, places.rows, strict=True):
            piece = demand.piece_length is not None
            said = {"name": demand.job, "customer": demand.customer, "kind": describe(demand.stock), "need": demand.quantity, "certificate": demand.certificate,
                    "heats": "mixed" if demand.mixed_heats else "one", "need_by": demand.need_by, "each": demand.piece_length if piece else demand.bar_per_part,
                    "lost": None if piece else demand.blank_extra, "shortest": None if piece else demand.shortest_blank or None,
                    "longest": None if piece else demand.longest_blank}
            yield from ((f"{JOBS}!{cells[name]}", value) for name, value in said.items())

    def _rack(self, places: RackPlaces) -> Iterator[tuple[str, Any]]:
        for bar, cells in zip(self.rack, places.rows, strict=False):
            own = bar.owner == OWN
            said = {"id": bar.id, "kind": describe(bar.stock), "length": bar.length, "heat": bar.heat, "certificate": bar.certificate, "owner": bar.owner, "place": bar.place,
                    "count": bar.count, "value": bar.value if own else None}
            yield from ((f"{RACK}!{cells[name]}", value) for name, value in said.items())

    def _money(self, places: MoneyPlaces) -> Iterator[tuple[str, Any]]:
        terms, plan = self.terms, self.plan
        said = {"kerf": terms.kerf, "trim": terms.trim, "cut_cost": terms.cut_cost, "least": terms.least_left, "left_share": terms.left_share,
                "rack_costs": "yes" if terms.rack_has_value else "no", "brackets": terms.brackets_over, "freight_typed": terms.freight, "plan_total": plan.cost,
                "bound": plan.bound, "seconds": round(plan.seconds, 2)}
        yield from ((f"{MONEY}!{places.cells[name]}", value) for name, value in said.items())
        yield from ((f"{MONEY}!{ref}", note) for ref, note in zip(places.notes, plan.notes, strict=False))


def _by_name(stock: BarStock) -> tuple[Any, ...]:
    return tuple(value if value is not None else 0.0 for value in dataclasses.astuple(stock))


def _pages(lines: Sequence[OrderLine], offers: Sequence[Offer]) -> list[list[OrderLine]]:
    """The lines of each page: those of one kind of bar that one supplier sells."""
    def page(line: OrderLine) -> tuple[Any, ...]:
        return (*_by_name(offers[line.offer].stock), offers[line.offer].supplier)

    ordered = sorted(lines, key=lambda line: (page(line), offers[line.offer].length, line.offer))
    return [list(group) for _, group in itertools.groupby(ordered, key=page)]


def _alike(row: Sawing) -> dict[tuple[int, int, float], int]:
    """The blanks of a bar by job, parts and length, the longest first, with how many there are of each."""
    found = Counter((blank.demand, blank.parts, blank.length) for blank in row.blanks)
    return dict(sorted(found.items(), key=lambda item: (-item[0][2], item[0][0], item[0][1])))
