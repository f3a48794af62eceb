"""What can be bought, from a shop file and from rows of a list, and the bars of the rack, as records for buying."""

import datetime
import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import barfuncs as bf
from barfuncs.buying.job_list import Need, in_both_units
from barfuncs.buying.plan import suits
from barfuncs.buying.records import CERTIFICATES, BarStock, Demand, Offer, RackBar, describe
from barfuncs.buying.stocks import Stocks, length_in
from barfuncs.catalogue import materials
from barfuncs.filling.lists import Problem
from barfuncs.rack.bars import STEPS, Bar
from barfuncs.rack.file import is_history, read_ledger
from barfuncs.rack.listing import read_bars
from barfuncs.templates.shop import SUPPLIED, SUPPLIED_SHEET, Shop, SuppliedBar

_LABELS = {c.name: c.label for c in SUPPLIED}
_WEIGHT_DIGITS = 4
_NAMED = 3
_ONCE = ("certificate_fee", "bundle", "line_minimum", "available", "lead_days")
"""What price brackets of the same bar have in common: one of their rows may say it for all."""


@dataclass(frozen=True)
class Place:
    """Where a record comes from: the file, its row (0 for none), and what stands before a column there."""

    file: str
    row: int
    before: str = ""

    def problem(self, column: str, reason: str, value: str = "") -> Problem:
        return Problem(self.file, self.row, f"{self.before}{column}", value, reason)


@dataclass(frozen=True)
class Offered:
    """Offers, where each comes from, what is wrong, and what is to be said."""

    offers: tuple[Offer, ...]
    places: tuple[Place, ...]
    problems: tuple[Problem, ...]
    notes: tuple[str, ...]


def offers_for(demands: Sequence[Demand], needs: Sequence[Need], stocks: Stocks, shop: Shop | None, jobs_file: str) -> Offered:
    """Bars that the jobs may be made from: those of the sheet Supplied bars, and for a kind of bar that has none there the supplied length
    and price of the rows of the list or of the sheet Materials and prices."""
    found: list[tuple[Offer, Place]] = []
    problems: list[Problem] = []
    notes: list[str] = []
    as_loaded: list[str] = []
    if shop is not None:
        problems += _from_sheet(demands, stocks, shop, found)
    there, shops = {offer.stock for offer, _ in found}, in_both_units(shop)
    for stock in dict.fromkeys(demand.stock for demand in demands):
        if stock not in there:
            mine = [n for n, demand in enumerate(demands) if demand.stock == stock]
            problems += _from_rows([(demands[n], needs[n]) for n in mine], stock, stocks, shops, jobs_file, found, notes, as_loaded)
    if as_loaded:
        notes.append(f"Bars are bought in the bar length of the rows, since nothing says a supplied length: {'; '.join(as_loaded[:_NAMED])}"
                     + (f" and {len(as_loaded) - _NAMED} more" if len(as_loaded) > _NAMED else ""))
    return Offered(tuple(offer for offer, _ in found), tuple(place for _, place in found), tuple(problems), tuple(notes))


def price_of_bar(price: float, price_per: str, surcharge: float, stock: BarStock, length: float, units: str) -> tuple[float, float]:
    """What one bar costs with its surcharge, to the cent, so that what stands on the order adds up; and what it weighs."""
    weight = weight_of_bar(stock, length, units)
    money = bf.material_line_cost(1, price, price_per, length, weight, material_surcharge=surcharge, units="mm" if units == "mm" else "in")
    return round(money, 2), round(weight, _WEIGHT_DIGITS)


def weight_of_bar(stock: BarStock, length: float, units: str) -> float:
    return bf.bar_weight(stock.material, stock.shape, stock.size, length, stock.thickness, "mm" if units == "mm" else "in")


def _from_sheet(demands: Sequence[Demand], stocks: Stocks, shop: Shop, found: list[tuple[Offer, Place]]) -> Iterator[Problem]:
    file = shop.file.name if shop.file else "shop file"
    brackets: dict[tuple[BarStock, float, str, str], list[SuppliedBar]] = {}
    for bar in shop.in_units(stocks.units).supplied:
        stock = stocks.of(bar.material, bar.shape, bar.size, bar.thickness, bar.finish, bar.tolerance, stocks.units)
        if any(suits(demand, stock) for demand in demands):
            key = stock, round(bar.length, 4), (bar.supplier or "").casefold(), bar.certificate or CERTIFICATES[0]
            brackets.setdefault(key, []).append(bar)
    for (stock, *_), bars in brackets.items():
        place = Place(file, bars[0].row, f"{SUPPLIED_SHEET}, ")
        wrong = [*_contradicting(bars, file)]
        starts = [bar.from_weight or 0.0 for bar in bars]
        prices = []
        for bar in sorted(bars, key=lambda bar: bar.from_weight or 0.0):
            price, weight = price_of_bar(bar.price, bar.price_per, bar.material_surcharge or 0.0, stock, bar.length, stocks.units)
            prices.append((bar.from_weight or 0.0, price))
        if min(starts) > 0:
            wrong.append(place.problem(_LABELS["from_weight"], f"no price holds below {min(starts):.6g}: leave the weight of the first bracket blank",
                                       f"{min(starts):.6g}"))
        said = {name: next((getattr(bar, name) for bar in bars if getattr(bar, name) is not None), None) for name in _ONCE}
        fee = said["certificate_fee"] if said["certificate_fee"] is not None else shop.rates.certificate_fee
        yield from wrong
        if not wrong:
            found.append((Offer(stock, bars[0].length, tuple(prices), weight, bars[0].certificate or CERTIFICATES[0], fee or 0.0, said["bundle"] or 1,
                                said["line_minimum"] or 0.0, said["available"], said["lead_days"] or 0, bars[0].supplier or ""), place))


def _contradicting(bars: Sequence[SuppliedBar], file: str) -> Iterator[Problem]:
    """Brackets of one bar that say different things, or twice the same."""
    first: dict[str, SuppliedBar] = {}
    weights: dict[float, SuppliedBar] = {}
    for bar in bars:
        place = Place(file, bar.row, f"{SUPPLIED_SHEET}, ")
        before = weights.setdefault(bar.from_weight or 0.0, bar)
        if before is not bar:
            yield place.problem(_LABELS["from_weight"], f"this bar has a price from there in row {before.row} too: {before.price:.6g} there, "
                                                      f"{bar.price:.6g} here", "" if bar.from_weight is None else f"{bar.from_weight:.6g}")
        for name in _ONCE:
            value = getattr(bar, name)
            if value is not None and value != (other := getattr(first.setdefault(name, bar), name)):
                yield place.problem(_LABELS[name], f"{value:.6g} given; row {first[name].row} says {other:.6g} of the same bar", f"{value:.6g}")


def _from_rows(mine: Sequence[tuple[Demand, Need]], stock: BarStock, stocks: Stocks, shops: Mapping[str, Shop], jobs_file: str,
               found: list[tuple[Offer, Place]], notes: list[str], as_loaded_kinds: list[str]) -> Iterator[Problem]:
    """Offers of a kind of bar that has no row on the sheet Supplied bars. What a row says comes before what the shop file does.
    Where neither says a supplied length, a row's price is that of a bar as it is loaded, which is then what is bought."""
    wanted = max((demand.certificate for demand, _ in mine), key=CERTIFICATES.index)
    offers: dict[float, tuple[float, Place]] = {}
    loaded = 0
    for _, need in mine:
        of_shop = shops[need.units].price(stock.material, stock.shape, need.values["size"]) if shops and stock.material in materials.active() else None
        own = "material_price" in need.values
        length = need.values.get("supplied_length", of_shop.supplied_length if of_shop else None)
        if as_loaded := length is None and own:
            length = need.values.get("bar_length")
        if length is None:
            continue
        price = need.values.get("material_price", of_shop.material_price if of_shop else None)
        per = need.values.get("price_per", of_shop.price_per if of_shop else None)
        place = Place(jobs_file, need.row)
        if price is None or per is None:
            yield place.problem("price_per" if own else "material_price", f"is missing: nothing says what a bar of {describe(stock)}, {length:.6g} {need.units}, costs")
            continue
        if per == "blank" and as_loaded:
            per = "bar"
        if per == "blank":
            yield place.problem("price_per", "'blank' given; bars are bought here as they are supplied, by weight, length or bar", "blank")
            continue
        loaded += as_loaded
        surcharge = need.values.get("material_surcharge", 0.0 if own or of_shop is None else of_shop.material_surcharge or 0.0)
        stock_here = replace(stock, size=need.values["size"], thickness=need.values.get("thickness"))
        money, _ = price_of_bar(price, per, surcharge, stock_here, length, need.units)
        length = round(length_in(length, need.units, stocks.units), 6)
        before = offers.setdefault(length, (money, place))
        if abs(before[0] - money) > 1e-6 * max(1.0, money):
            yield place.problem("material_price", f"makes {money:,.2f} for a bar of {length:.6g} {stocks.units}, of which row {before[1].row} makes "
                                                  f"{before[0]:,.2f}: one bar has one price", f"{price:.6g}")
    if loaded:
        as_loaded_kinds.append(describe(stock))
    rates = shops[stocks.units].rates if shops else None
    for length, (money, place) in offers.items():
        weight = round(weight_of_bar(stock, length, stocks.units), _WEIGHT_DIGITS)
        fee = (rates.certificate_fee or 0.0) if rates and wanted != CERTIFICATES[0] else 0.0
        found.append((Offer(stock, length, ((0.0, money),), weight, wanted, fee), place))
    if offers and wanted != CERTIFICATES[0]:
        notes.append(f"{describe(stock)}: order the bars with {wanted}; the shop file's sheet {SUPPLIED_SHEET} does not say what comes with them")


# --- the rack ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Racked:
    bars: tuple[RackBar, ...]
    places: tuple[Place, ...]


def rack_bars(path: str | Path, stocks: Stocks, day: datetime.date) -> Racked:
    """The bars of a rack: a history as 'barfuncs rack' keeps it, or a list of bars such as the workbook rack.xlsx.

    Raises ListError naming bad cells, InputError or WorkbookError for a file that can't be used.
    """
    path = Path(path)
    if is_history(path):
        bars: Iterable[tuple[int, Bar]] = [(0, bar) for bar in read_ledger(path).rack.present()]
    else:
        bars = read_bars(path, stocks.units, day).bars
    found, places = [], []
    for row, bar in bars:
        stock = stocks.of(bar.material, bar.shape, bar.size, bar.thickness, bar.finish, bar.tolerance, bar.units)
        found.append(RackBar(bar.id, stock, length_in(bar.length / STEPS[bar.units], bar.units, stocks.units), bar.heat, bar.certificate, bar.owner,
                             bar.value / 100 / bar.bars, bar.place, bar.bars))
        places.append(Place(path.name, row, "" if row else f"{bar.id}, "))
    return Racked(tuple(found), tuple(places))


def left_aside(demands: Sequence[Demand], racked: Racked) -> Iterator[str]:
    """Bars of the rack of the right material, shape and size that no job may take since finish or tolerance class differ."""
    wanted = {replace(demand.stock, condition=""): demand.stock for demand in demands}
    stocks = {demand.stock for demand in demands}
    other = [bar for bar in racked.bars if bar.stock not in stocks and replace(bar.stock, condition="") in wanted]
    for stock, bars in itertools.groupby(sorted(other, key=lambda bar: describe(bar.stock)), key=lambda bar: bar.stock):
        asked = sorted({demand.stock.condition or "none" for demand in demands if replace(demand.stock, condition="") == replace(stock, condition="")})
        number = sum(bar.count for bar in bars)
        yield (f"{number} bar{'' if number == 1 else 's'} of {describe(replace(stock, condition=''))} on the rack are not taken: their finish and tolerance "
               f"class is {stock.condition or 'none'}, the jobs ask for {' or '.join(asked)}")
