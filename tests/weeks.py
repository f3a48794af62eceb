"""Generated weeks of a shop, the same in every run: jobs, what suppliers offer, the rack, and how the shop reckons. All invented.

`shop_week` is a real week in size; `bar_problem` and `rack_problem` are single kinds of bar with many parts; `small_week` has all that
the records can say in a few jobs.
"""

import dataclasses
import datetime
import importlib
import random
import sys
import time
from dataclasses import dataclass
from types import ModuleType

import barfuncs as bf
from barfuncs.buying.records import CERTIFICATES, OF_ONE_HEAT, OWN, BarStock, Demand, Offer, RackBar, Terms

CUSTOMERS = ("Harrow Pump Works", "Kestrel Motion", "Ostrava Valve", "Lindqvist Instruments", "Tall Pine Hydraulics")
TODAY = datetime.date(2027, 1, 11)
PRICE_OF_LB = {"Brass C36000": 4.1, "Steel 12L14": 1.35, "Stainless 303": 3.6, "Aluminum 6061": 3.9, "Steel 4140": 1.6}
STOCKS = tuple(BarStock(material, shape, size) for material, shape, size in [
    ("Brass C36000", "round", 0.5), ("Brass C36000", "round", 0.75), ("Brass C36000", "hexagon", 0.625), ("Steel 12L14", "round", 0.375),
    ("Steel 12L14", "round", 0.625), ("Steel 12L14", "round", 1.0), ("Steel 12L14", "hexagon", 0.75), ("Stainless 303", "round", 0.5),
    ("Stainless 303", "round", 1.25), ("Aluminum 6061", "round", 1.0), ("Aluminum 6061", "round", 1.5), ("Steel 4140", "round", 1.125)])
LENGTHS = (72.0, 120.0, 144.0, 240.0)


def with_clocks() -> list[ModuleType]:
    """The modules of the planner that keep time."""
    # Another solver brings a HiGHS of its own, which does not load beside the planner's: so only here.
    importlib.import_module("barfuncs.buying.plan")
    return [module for name, module in sys.modules.items() if name.startswith("barfuncs.buying.") and hasattr(module, "_now")]


def limit_processor_time() -> None:
    """From now on the planner's limits in this process are of processor time, so that a busy machine gives the same plans."""
    for module in with_clocks():
        module._now = time.process_time  # type: ignore[attr-defined]


@dataclass(frozen=True)
class Week:
    demands: list[Demand]
    offers: list[Offer]
    rack: list[RackBar]
    terms: Terms

    def with_terms(self, **changes: object) -> "Week":
        return dataclasses.replace(self, terms=dataclasses.replace(self.terms, **changes))

    def without_rack(self) -> "Week":
        """The week with an empty rack."""
        return dataclasses.replace(self, rack=[])


def weight_of(stock: BarStock, length: float) -> float:
    return round(bf.bar_weight(stock.material, stock.shape, stock.size, length), 3)


def _offers(draw: random.Random, stock: BarStock, lengths: list[float], brackets: bool) -> list[Offer]:
    pound = PRICE_OF_LB[stock.material] * draw.uniform(0.9, 1.1)
    certificate = draw.choice(["3.1", "3.1", "2.1"])
    found = []
    for length in sorted(lengths):
        weight = weight_of(stock, length)
        # Short bars and very long ones cost more for each pound.
        each = pound * {72.0: 1.12, 120.0: 1.03, 144.0: 1.0, 240.0: 1.02}[length] * weight
        steps = [(0.0, 1.0), (100.0, 0.93), (500.0, 0.85)] if brackets else [(0.0, 1.0)]
        found.append(Offer(stock, length, tuple((start, round(each * share, 2)) for start, share in steps), weight, certificate,
                           25.0 if certificate == "3.1" else 0.0, 1, 75.0, lead_days=draw.choice([2, 3, 5])))
    return found


def shop_week(seed: int, jobs: int = 30, sizes: int = 12, rack_bars: int = 60, *, brackets: bool = True, mixed_heats: bool = False,
              seconds: float = 10) -> Week:
    """A week: jobs of 50 to 5,000 parts, price brackets, certificates, one heat a job unless `mixed_heats`, bars of the rack with heats."""
    draw = random.Random(f"week {seed}")
    stocks = draw.sample(STOCKS, sizes)
    offers = [offer for stock in stocks for offer in _offers(draw, stock, [144.0, *draw.sample([72.0, 120.0, 240.0], 1)], brackets)]
    demands = []
    for n in range(jobs):
        stock = stocks[n] if n < len(stocks) else draw.choice(stocks)
        able = [offer.certificate for offer in offers if offer.stock == stock]
        certificate = draw.choice([CERTIFICATES[0], CERTIFICATES[0], CERTIFICATES[0], able[0]])
        common = {"certificate": certificate, "customer": draw.choice(CUSTOMERS), "mixed_heats": mixed_heats,
                  "need_by": TODAY + datetime.timedelta(days=draw.choice([5, 7, 10, 14]))}
        if n % 10 == 9:
            demands.append(Demand(f"J-{n + 1:02}", stock, draw.randint(4, 40), piece_length=round(draw.uniform(6, 60), 2), **common))
            continue
        larger = [s.size for s in stocks if s.size > stock.size and dataclasses.replace(s, size=stock.size) == stock]
        part = round(min(6.0, draw.lognormvariate(0.2, 0.6)), 3)
        demands.append(Demand(
            f"J-{n + 1:02}", stock, round(min(5000, max(50, draw.lognormvariate(5.9, 1.1)))), bar_per_part=round(part + 0.145, 3),
            blank_extra=round(draw.uniform(2.5, 6), 3), shortest_blank=draw.choice([12.0, 18.0, 24.0]),
            longest_blank=draw.choice([47.5, 47.5, 72.0, 144.0]), larger_up_to=min(larger) if larger and draw.random() < 0.3 else None, **common))
    return Week(demands, offers, rack_of(draw, stocks, rack_bars),
                Terms(kerf=0.1, trim=0.25, cut_cost=1.2, least_left=18, freight=45, order_date=TODAY, seconds=seconds))


def rack_of(draw: random.Random, stocks: list[BarStock], bars: int) -> list[RackBar]:
    """Left-overs and whole bars, some with a heat and certificate, some a customer's."""
    found = []
    for n in range(bars):
        stock = draw.choice(stocks)
        length = draw.choice([144.0, 144.0, round(draw.uniform(16, 143), 2), round(draw.uniform(16, 143), 2), round(draw.uniform(16, 143), 2)])
        heat = draw.choice(["", f"H{STOCKS.index(stock):02}{draw.choice('ABC')}", f"H{STOCKS.index(stock):02}{draw.choice('ABC')}"])
        owner = draw.choice(CUSTOMERS) if draw.random() < 0.15 else OWN
        value = round(PRICE_OF_LB[stock.material] * weight_of(stock, length) * draw.choice([0.5, 0.8, 1.0]), 2) if owner == OWN else 0.0
        found.append(RackBar(f"R-{n + 1:03}", stock, length, heat, draw.choice(["2.1", *OF_ONE_HEAT[:1] * 2]) if heat else CERTIFICATES[0], owner,
                             value, f"A{n % 9 + 1}", draw.choice([1, 1, 1, 2, 4]) if length == 144 else 1))
    return found


def bar_problem(seed: int, parts: int = 20, most: int = 5000, *, pieces: bool = False, seconds: float = 2) -> Week:
    """One kind of bar in three lengths, many part numbers with up to so many parts: blanks, or fixed pieces."""
    draw = random.Random(f"bars {seed}")
    stock = STOCKS[1]
    offers = [Offer(stock, length, ((0, round(length * price, 2)),), weight_of(stock, length))
              for length, price in ((72.0, 0.36), (120.0, 0.335), (144.0, 0.33))]
    demands = []
    for n in range(parts):
        quantity = draw.randint(20, most)
        if pieces:
            demands.append(Demand(f"J-{n + 1:02}", stock, quantity, piece_length=round(draw.uniform(1.5, 30), 3), mixed_heats=True))
        else:
            demands.append(Demand(f"J-{n + 1:02}", stock, quantity, bar_per_part=round(draw.uniform(0.3, 4), 3),
                                  blank_extra=round(draw.uniform(2, 6), 3), shortest_blank=12, longest_blank=draw.choice([47.5, 72.0]),
                                  mixed_heats=True))
    return Week(demands, offers, [], Terms(kerf=0.125, trim=0.25, seconds=seconds))


def rack_problem(seed: int, parts: int = 20, rack_bars: int = 200, *, pieces: bool = False, seconds: float = 10) -> Week:
    """One kind of bar in six lengths, and so many odd bars of it on the rack."""
    draw = random.Random(f"rack {seed}")
    stock = STOCKS[1]
    offers = [Offer(stock, length, ((0, round(length * price, 2)),), weight_of(stock, length))
              for length, price in ((48.0, 0.37), (72.0, 0.36), (96.0, 0.345), (120.0, 0.335), (144.0, 0.33), (240.0, 0.332))]
    demands = [dataclasses.replace(demand, quantity=draw.randint(10, 1000), longest_blank=None if pieces else demand.longest_blank)
               for demand in bar_problem(seed, parts, pieces=pieces).demands]
    rack = [RackBar(f"R-{n + 1:03}", stock, length := round(draw.uniform(14, 143), 2), value=round(length * 0.33 * 0.6, 2))
            for n in range(rack_bars)]
    return Week(demands, offers, rack, Terms(kerf=0.125, trim=0.25, cut_cost=0.5, least_left=12, seconds=seconds))


def small_week(seed: int, *, seconds: float = 0.3) -> Week:
    """A few jobs with anything that the records can say: what one week in hundreds has, each of these has often."""
    draw = random.Random(f"small {seed}")
    units = draw.choice(["in", "in", "mm"])
    scale, digits = (1.0, 3) if units == "in" else (25.4, 2)

    def length(low: float, high: float) -> float:
        return round(draw.uniform(low, high) * scale, digits)

    base = draw.choice(STOCKS)
    stocks = [base, dataclasses.replace(base, size=base.size + 0.125)][:draw.choice([1, 1, 2])]
    if draw.random() < 0.3:
        stocks.append(draw.choice([s for s in STOCKS if s.material != base.material]))
    offers = []
    for stock in stocks:
        for bar in draw.sample([72.0, 96.0, 120.0, 144.0], draw.choice([1, 2, 2])):
            price = bar * draw.uniform(0.3, 0.5)
            starts = draw.choice([(0,), (0,), (0, 60), (0, 60, 150)])
            prices = tuple((float(start), round(price * share, 2)) for start, share in zip(starts, (1.0, 0.9, 0.78), strict=False))
            offers.append(Offer(stock, round(bar * scale, digits), prices, round(bar / 12, 2), draw.choice(["none", "2.1", "3.1", "3.1"]),
                                draw.choice([0.0, 20.0]), draw.choice([1, 1, 1, 3, 5]), draw.choice([0.0, 0.0, 80.0]),
                                draw.choice([None, None, None, 30]), draw.choice([0, 3, 8])))
    demands = []
    for n in range(draw.randint(2, 5)):
        stock = draw.choice(stocks)
        larger = max(s.size for s in stocks if s.material == stock.material and s.shape == stock.shape)
        # Wanted of the bars to buy, so that most weeks have a plan.
        able = [o for o in offers if o.stock == stock and o.available is None] or [o for o in offers if o.stock == stock]
        certificate = draw.choice(["none", "none", draw.choice(able).certificate])
        soonest = max(o.lead_days for o in able)
        common = {"certificate": certificate, "customer": draw.choice(CUSTOMERS[:2]), "mixed_heats": draw.random() < 0.4,
                  "larger_up_to": larger if larger > stock.size and draw.random() < 0.5 else None,
                  "need_by": TODAY + datetime.timedelta(days=draw.choice([soonest, 10])) if draw.random() < 0.4 else None}
        if draw.random() < 0.3:
            demands.append(Demand(f"J-{n + 1}", stock, draw.randint(1, 20), piece_length=length(4, 60), **common))
            continue
        bar_per_part, extra = length(0.4, 6), draw.choice([0.0, length(1, 5)])
        shortest = draw.choice([0.0, length(6, 20)])
        feed = draw.choice([1, 1, 1, 2, 3])
        longest = draw.choice([None, round(max(shortest, feed * bar_per_part + extra) + length(0, 60), digits)])
        demands.append(Demand(f"J-{n + 1}", stock, draw.choice([1, 7, 40, 150]), bar_per_part=bar_per_part, blank_extra=extra,
                              shortest_blank=shortest, longest_blank=longest, parts_per_feed=feed, **common))
    rack = []
    for n in range(draw.choice([0, 2, 4, 7])):
        stock = draw.choice(stocks)
        heat = draw.choice(["", f"h{stocks.index(stock)}{n // 2}"])
        owner = draw.choice([OWN, OWN, CUSTOMERS[0]])
        rack.append(RackBar(f"R-{n + 1}", stock, length(10, 144), heat, draw.choice(["2.1", "3.1", "3.1"]) if heat else draw.choice(["none", "2.1"]),
                            owner, round(draw.uniform(0, 40), 2) if owner == OWN else 0.0, count=draw.choice([1, 1, 3])))
    return Week(demands, offers, rack, Terms(
        units, draw.choice([0.0, length(0.05, 0.2)]), draw.choice([0.0, length(0.1, 0.5)]), draw.choice([0.0, 0.5, 1.5]),
        draw.choice([0.0, length(6, 24)]), draw.choice([0.0, 0.5, 0.9]), draw.random() < 0.7, draw.choice(["group", "group", "order"]),
        draw.choice([0.0, 0.0, 35.0]), TODAY, seconds))
