"""From files to a plan for buying: a list of jobs, a shop file and a rack become records; what is wrong is named by file, row and column."""

import datetime
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from barfuncs.buying.apart import plan_buying
from barfuncs.buying.job_list import Needs, columns_of, demand_of, read_needs
from barfuncs.buying.plan import may_buy, may_take, steps, suits, task_of
from barfuncs.buying.records import CERTIFICATES, BuyingError, BuyingPlan, Demand, Offer, RackBar, Terms, describe
from barfuncs.buying.stocks import Stocks, length_in
from barfuncs.buying.supply import Offered, Racked, left_aside, offers_for, rack_bars
from barfuncs.catalogue import kinds
from barfuncs.catalogue.kinds import Length, kind_of
from barfuncs.catalogue.reading import CELLS, read_in
from barfuncs.errors import BarfuncsError
from barfuncs.filling.lists import Problem, value_shown
from barfuncs.rack.bars import OWN
from barfuncs.rack.listing import ListError
from barfuncs.templates.shop import RATES_SHEET, SUPPLIED_SHEET, BuyingRates, Shop

LEAST_LEFT = {"in": 12.0, "mm": 300.0}
"""Shortest left-over that is kept where the shop file does not say."""
NOT_THERE = "is on offer or on the rack"
HINT = (f"What can be bought, the shop file says on its sheet {SUPPLIED_SHEET}, or on the sheet Materials and prices with a supplied length; or a row says it "
        "itself in supplied_length, material_price and price_per.")
"""What to do where a bar is neither on offer nor on the rack."""
_SEVERAL = 5


_WORDS = {"in": "inch", "mm": "mm"}


class FilesError(BarfuncsError):
    """What keeps files from being planned; nothing of them is used then."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("; ".join(f"{p.file}{f' row {p.row}' if p.row else ''}, {p.column}: {p.reason}" for p in self.problems))


@dataclass(frozen=True)
class Files:
    """What was read, as records, and where each comes from. `demands` go with the rows of `needs`."""

    needs: Needs
    demands: tuple[Demand, ...]
    offered: Offered
    racked: Racked
    terms: Terms
    notes: tuple[str, ...]
    """What is to be said of the input."""

    @property
    def offers(self) -> tuple[Offer, ...]:
        return self.offered.offers

    @property
    def rack(self) -> tuple[RackBar, ...]:
        return self.racked.bars

    def plan(self, found: Callable[[BuyingPlan], None] | None = None) -> BuyingPlan:
        """The plan for buying; `found` is told each better one. Raises FilesError naming every row that keeps it from being made, and
        else as `plan_buying` does."""
        try:
            return plan_buying(self.demands, self.offers, self.rack, self.terms, found=found)
        except BuyingError as error:
            raise FilesError(self._problem(*problem) for problem in error.problems) from None

    def _problem(self, where: str, row: int, column: str, reason: str) -> Problem:
        """A problem of the records, as one of the files."""
        if where == "terms" or not row:
            return Problem(self.needs.file, 0, column, "", reason)
        if where == "offers":
            return self.offered.places[row - 1].problem(column.replace("price_from", "from weight"), reason)
        if where == "rack":
            for n in range(len(self.rack), 0, -1):
                reason = reason.replace(f"row {n} too", f"row {self.racked.places[n - 1].row or n} too")
            return self.racked.places[row - 1].problem(column, reason)
        need, demand = self.needs.rows[row - 1], self.demands[row - 1]
        column = columns_of(column)
        if column == "quantity" and (" bar" in reason):
            column = "piece_length" if demand.piece_length is not None else "part_length"
            column, reason = next(self._lacking(demand), (column, reason))
        elif column == "feeder_longest_bar" and column not in need.values:
            column = "machine"
        return Problem(self.needs.file, need.row, column, value_shown(need.cells.get(column)), reason)

    def _lacking(self, demand: Demand) -> Iterator[tuple[str, str]]:
        """Why no bar will do for a job: the column that says so, and the reason in words."""
        what, units = describe(demand.stock), self.terms.units
        offers = [offer for offer in self.offers if suits(demand, offer.stock)]
        bars = [bar for bar in self.rack if suits(demand, bar.stock)]
        if not offers and not bars:
            same = [*dict.fromkeys(describe(stock) for stock in (*(o.stock for o in self.offers), *(b.stock for b in self.rack))
                                   if (stock.material, stock.shape) == (demand.stock.material, demand.stock.shape))]
            yield "size", f"no bar of {what} {units} {NOT_THERE}" + (f"; there is {'; '.join(same[:_SEVERAL])}" if same else "")
        mine = [bar for bar in bars if bar.owner == OWN or bar.owner.casefold() == demand.customer.casefold()]
        if not offers and not mine:
            yield "customer", f"all bars of {what} on the rack belong to {', '.join(sorted({bar.owner for bar in bars}))}, and none is on offer"
        best = max([CERTIFICATES.index(o.certificate) for o in offers] + [CERTIFICATES.index(b.certificate) for b in mine], default=0)
        if best < CERTIFICATES.index(demand.certificate):
            yield "certificate", f"no bar of {what} with {demand.certificate} is on offer or on the rack; the best that comes with one is {CERTIFICATES[best]}"
        taken: list[Offer | RackBar] = [*(o for o in offers if may_buy(demand, o, self.terms)), *(b for b in mine if may_take(demand, b))]
        if not taken and demand.need_by and self.terms.order_date and offers:
            soonest = min((o.lead_days for o in offers if o.certificate >= demand.certificate), default=min(o.lead_days for o in offers))
            yield "need_by", (f"{demand.need_by} is too soon: ordered on {self.terms.order_date}, the first bars of {what} come on "
                              f"{self.terms.order_date + datetime.timedelta(days=soonest)}")
        trim, kerf = 2 * self.terms.trim, steps(self.terms.kerf, units)
        longest = max((bar.length for bar in taken), default=0.0)
        task = task_of(demand, units, kerf, steps(longest, units))
        if taken and not task.cut.most_within(steps(longest - trim, units) + kerf if longest > trim else 0):
            least = demand.piece_length if demand.piece_length is not None else max(
                demand.shortest_blank, demand.blank_extra + demand.parts_per_feed * demand.bar_per_part)
            whole = "a piece takes" if demand.piece_length is not None else "the shortest blank takes"
            ends = f", of which {trim:.6g} are trimmed off its ends" if trim else ""
            yield ("piece_length" if demand.piece_length is not None else "part_length",
                   f"{whole} {least:.6g} {units}; the longest bar of {what} is {longest:.6g}{ends}")
        there = Counter[str]()
        for bar in mine:
            there["on the rack"] += bar.count
        for offer in offers:
            there["on offer"] += offer.available or 0
        if taken:
            one = "" if demand.mixed_heats else ", and all parts must be of one heat (mixed_heats says yes where they need not)"
            yield "quantity", (f"there are not enough bars of {what} for all jobs: {', '.join(f'{n:,} {where}' for where, n in there.items()) or 'none'}"
                               f"{one}")


def read_files(jobs: str | Path, shop: Shop | None = None, rack: str | Path | None = None, *, units: str | None = None, decimal_comma: bool = False,
               kerf: str | float | None = None, seconds: float = 10, order_date: datetime.date | None = None) -> Files:
    """Jobs, offers, rack and terms from files. All is in `units`, or else in those of the shop file, or else of the first row; what is in the
    others is converted.

    Raises
    ------
    FilesError
        Names every bad cell with its file, row and column.
    InputError, WorkbookError
        Headings or a file that can't be used.
    """
    needs = read_needs(jobs, units=units, decimal_comma=decimal_comma, shop=shop)
    wanted = units or (shop.units if shop else None) or (needs.rows[0].units if needs.rows else "in")
    stocks, day = Stocks(wanted), order_date or datetime.date.today()
    problems = list(needs.problems)
    terms, found = _terms(needs, shop, wanted, kerf, seconds, day, decimal_comma)
    problems += found
    racked = Racked((), ())
    demands = tuple(demand_of(need, stocks) for need in needs.rows)
    if rack is not None:
        try:
            racked = rack_bars(rack, stocks, day)
        except ListError as error:
            problems += [Problem(error.where, cell.row, cell.column, cell.value, cell.reason) for cell in error.cells]
    offered = offers_for(demands, needs.rows, stocks, shop, needs.file)
    problems += offered.problems
    if problems:
        raise FilesError(sorted(problems, key=lambda p: (p.file != needs.file, p.file, p.row)))
    return Files(needs, demands, offered, racked, terms, tuple(_notes(needs, demands, racked, offered, terms, shop, rack)))


def _terms(needs: Needs, shop: Shop | None, units: str, kerf: str | float | None, seconds: float, day: datetime.date,
           decimal_comma: bool) -> tuple[Terms, list[Problem]]:
    problems: list[Problem] = []
    turned = shop.in_units(units) if shop else None
    cut: Any = turned.rates.kerf if turned else None
    if kerf is not None:
        try:
            cut = read_in(kind_of(Length), kerf, units, replace(CELLS, decimal_comma=decimal_comma))
        except BarfuncsError as error:
            problems.append(Problem("--kerf", 0, "", str(kerf), str(error)))
    elif cut is None:
        said = {round(length_in(need.values["kerf"], need.units, units), 9): need for need in needs.rows if "kerf" in need.values}
        if len(said) > 1:
            first, other = list(said.values())[:2]
            problems.append(Problem(needs.file, other.row, "kerf", value_shown(other.cells.get("kerf")),
                                    f"row {first.row} says {value_shown(first.cells.get('kerf'))}: one saw has one kerf; give --kerf"))
        elif said:
            cut = next(iter(said))
        elif not needs.problems:
            problems.append(Problem(needs.file, 0, "kerf", "", f"is missing: give --kerf, or fill in the saw kerf on the shop file's sheet {RATES_SHEET}"))
    buying = turned.buying if turned else BuyingRates()
    rates = turned.rates if turned else None
    return Terms(
        units, cut or 0.0, buying.bar_trim or 0.0, (rates.cut_charge if rates else None) or 0.0,
        LEAST_LEFT[units] if buying.least_left is None else buying.least_left, Terms().left_share if buying.left_share is None else buying.left_share,
        buying.rack_worth != kinds.RACK_WORTH[1], "order" if buying.brackets_over == kinds.BRACKETS_OVER[1] else "group",
        (rates.material_freight if rates else None) or 0.0, day, seconds), problems


def _notes(needs: Needs, demands: Sequence[Demand], racked: Racked, offered: Offered, terms: Terms, shop: Shop | None,
           rack: str | Path | None) -> Iterator[str]:
    units = terms.units
    other = [need for need in needs.rows if need.units != units]
    if other:
        yield (f"All is planned in {_WORDS[units]}; {len(other)} of {len(needs.rows)} rows are in {_WORDS[other[0].units]} and were converted exactly "
               "(1 in is 25.4 mm). 19 mm and 3/4 in are two sizes.")
    if needs.taken_as_inch:
        yield "Bare numbers were read as inch; --units mm reads them as mm."
    if needs.lengths_given:
        yield "Bar lengths in the list are those of a plan; here the blanks are chosen anew."
    if shop is None or shop.buying.least_left is None:
        yield f"A left-over from {terms.least_left:.6g} {units} on is kept: the shop file does not say how short one may be."
    free = sum(demand.longest_blank is None and demand.piece_length is None for demand in demands)
    if free:
        yield (f"For {free} of {len(demands)} jobs nothing says which bars the feeder takes (machine or feeder_longest_bar): their blanks may be as long as "
               "the bar. Look at them before the saw does.")
    yield from offered.notes
    if rack is not None:
        yield from left_aside(demands, racked)
    doubled = [name for name, number in Counter(demand.job.casefold() for demand in demands).items() if number > 1]
    if doubled:
        names = [next(d.job for d in demands if d.job.casefold() == name) for name in doubled]
        yield f"Several rows have the same job: {', '.join(names[:_SEVERAL])}{', ...' if len(names) > _SEVERAL else ''}."
