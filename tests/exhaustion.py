"""The cheapest plan for a few jobs by trying everything, in exact fractions, from what the records mean. Nothing of the planner is used.

What is tried: which heat each job is from, how many bars of each offer are bought (also more than are sawn), and every way to saw
each bar. What is taken for granted: a blank holds no more feeds than its job needs.
"""

import itertools
import math
from collections.abc import Iterator, Sequence
from datetime import timedelta
from fractions import Fraction
from typing import NamedTuple

from weeks import Week

from barfuncs.buying.records import CERTIFICATES, OF_ONE_HEAT, OWN, BarStock, Demand, Offer, RackBar, Terms

_Made = tuple[int, ...]
"""Parts of each job, no more than it needs."""


def exact(value: float) -> Fraction:
    """The number as it was typed."""
    return Fraction(str(value))


class Way(NamedTuple):
    """One way to saw a bar: jobs in it, what it makes, cuts, and the length that goes back on the rack."""

    jobs: frozenset[int]
    made: _Made
    cuts: int
    back: Fraction


def fits_stock(demand: Demand, stock: BarStock) -> bool:
    own = demand.stock
    if (own.material, own.shape, own.thickness, own.condition) != (stock.material, stock.shape, stock.thickness, stock.condition):
        return False
    return stock.size == own.size or bool(demand.larger_up_to and own.size < stock.size <= demand.larger_up_to)


def proved_by(demand: Demand, certificate: str) -> bool:
    return CERTIFICATES.index(certificate) >= CERTIFICATES.index(demand.certificate)


def may_be_bought(demand: Demand, offer: Offer, terms: Terms) -> bool:
    late = demand.need_by and terms.order_date and terms.order_date + timedelta(days=offer.lead_days) > demand.need_by
    return fits_stock(demand, offer.stock) and proved_by(demand, offer.certificate) and not late


def may_be_taken(demand: Demand, bar: RackBar) -> bool:
    heat_known = bar.heat or demand.certificate not in OF_ONE_HEAT
    ours = bar.owner == OWN or bar.owner.casefold() == demand.customer.casefold()
    return bool(fits_stock(demand, bar.stock) and proved_by(demand, bar.certificate) and heat_known and ours)


def blanks_of(demand: Demand, longest_bar: Fraction) -> list[tuple[int, Fraction, Fraction]]:
    """Parts and length of every blank that the job may have, and the length up to which it may be left longer."""
    if demand.piece_length is not None:
        return [(1, length := exact(demand.piece_length), length)]
    longest = longest_bar if demand.longest_blank is None else exact(demand.longest_blank)
    found = []
    feed = demand.parts_per_feed
    for parts in range(feed, demand.quantity + feed, feed):
        length = max(exact(demand.shortest_blank), exact(demand.blank_extra) + parts * exact(demand.bar_per_part))
        if length <= longest:
            found.append((parts, length, longest))
    return found


def ways_to_saw(length: float, demands: Sequence[Demand], able: Sequence[int], terms: Terms, longest_bar: Fraction) -> list[Way]:
    """Every way to saw a bar, of those that make the same only those that no other beats."""
    kerf, usable = exact(terms.kerf), exact(length) - 2 * exact(terms.trim)
    options = [(job, *blank) for job in able for blank in blanks_of(demands[job], longest_bar)]
    best: dict[tuple[frozenset[int], _Made], list[tuple[int, Fraction]]] = {}

    def go_on(first: int, room: Fraction, chosen: list[int]) -> None:
        """`room` is what is left of the bar without a cut behind the last blank."""
        if chosen:
            made = [0] * len(demands)
            for n in chosen:
                made[options[n][0]] += options[n][1]
            jobs = frozenset(options[n][0] for n in chosen)
            known = best.setdefault((jobs, tuple(min(m, d.quantity) for m, d in zip(made, demands, strict=True))), [])
            known.append(_end(room, kerf, exact(terms.least_left), [options[n] for n in chosen], len(chosen)))
        for n in range(first, len(options)):
            after = room - options[n][2] - (kerf if chosen else 0)
            if after >= 0:
                go_on(n, after, [*chosen, n])

    go_on(0, usable, [])
    return [Way(jobs, made, cuts, back) for (jobs, made), ends in best.items() for cuts, back in set(ends)
            if not any(c <= cuts and b >= back and (c, b) != (cuts, back) for c, b in ends)]


def _end(rest: Fraction, kerf: Fraction, least_left: Fraction, blanks: Sequence[tuple[int, int, Fraction, Fraction]],
         count: int) -> tuple[int, Fraction]:
    """Cuts, and what goes back: a rest too short for the rack may stay on blanks that may be longer, which saves its cut."""
    if rest == 0:
        return count - 1, Fraction(0)
    left = max(Fraction(0), rest - kerf)
    if left >= least_left and left > 0:
        return count, left
    kept = sum(longest - length for _, _, length, longest in blanks) >= rest
    return count - kept, Fraction(0)


class _Bars:
    """Bars of an offer or a row of the rack, and what any number of them can make at the least money."""

    def __init__(self, ways: list[Way], most: int) -> None:
        self.ways, self.most = ways, most

    def tables(self, allowed: frozenset[int], each: Fraction, back_value: Fraction, cut: Fraction, demands: Sequence[Demand]) -> Iterator[
            dict[_Made, Fraction]]:
        """For 0, 1, 2 ... bars: what can be made from exactly so many, and its money."""
        one: dict[_Made, Fraction] = {}
        for way in self.ways:
            if way.jobs <= allowed:
                money = each + way.cuts * cut - way.back * back_value
                one[way.made] = min(money, one.get(way.made, money))
        table = {(0,) * len(demands): Fraction(0)}
        for _ in range(self.most + 1):
            yield table
            table = together(table, one, demands)
            if not table:
                return


def together(a: dict[_Made, Fraction], b: dict[_Made, Fraction], demands: Sequence[Demand]) -> dict[_Made, Fraction]:
    """What two sets of bars can make, of those that make as much only the cheapest."""
    most = [d.quantity for d in demands]
    found: dict[_Made, Fraction] = {}
    for (x, cost), (y, more) in itertools.product(a.items(), b.items()):
        made = tuple(min(i + j, m) for i, j, m in zip(x, y, most, strict=True))
        money = cost + more
        if made not in found or money < found[made]:
            found[made] = money
    return found


def best_of(tables: Sequence[dict[_Made, Fraction]]) -> dict[_Made, Fraction]:
    found: dict[_Made, Fraction] = {}
    for table in tables:
        for made, money in table.items():
            found[made] = min(money, found.get(made, money))
    return found


def least_cost(week: Week) -> Fraction | None:
    """The money of the cheapest plan; None where there is none."""
    demands, offers, rack, terms = week.demands, week.offers, week.rack, week.terms
    longest_bar = max((exact(bar.length) for bar in [*offers, *rack]), default=Fraction(0))
    needed = sum(d.quantity for d in demands)
    share, cut = exact(terms.left_share), exact(terms.cut_cost)
    buyers = [[n for n, d in enumerate(demands) if may_be_bought(d, offer, terms)] for offer in offers]
    takers = [[n for n, d in enumerate(demands) if may_be_taken(d, bar)] for bar in rack]
    bought = [_Bars(ways_to_saw(o.length, demands, able, terms, longest_bar), needed) for o, able in zip(offers, buyers, strict=True)]
    taken = [_Bars(ways_to_saw(b.length, demands, able, terms, longest_bar), min(needed, b.count)) for b, able in zip(rack, takers, strict=True)]
    heats: list[object] = [("offer", n) for n in range(len(offers))] + [b.heat.casefold() or ("bar", n) for n, b in enumerate(rack)]
    able_heats = []
    for job, demand in enumerate(demands):
        found = {heats[n] for n, able in enumerate([*buyers, *takers]) if job in able}
        able_heats.append([None] if demand.mixed_heats else sorted(found, key=str))
    best: Fraction | None = None
    for choice in itertools.product(*able_heats):
        best = _cheapest(week, buyers, bought, taken, [
            frozenset(job for job, heat in enumerate(choice) if heat is None or heat == heats[n]) for n in range(len(heats))], share, cut, best)
    return best


def most_bought(offer: Offer, needed: int, dearest_start: float) -> int:
    """More than these are never bought: enough for every part, for every bracket and for the minimum of a line."""
    reach = math.ceil(exact(dearest_start) / exact(offer.weight)) if offer.weight else 0
    price = min(exact(price) for _, price in offer.prices)
    filling = math.ceil(exact(offer.line_minimum) / price) if price else 0
    most = math.ceil(max(needed, reach, filling) / offer.bundle) * offer.bundle
    return most if offer.available is None else min(most, offer.available)


def _cheapest(week: Week, buyers: list[list[int]], bought: list[_Bars], taken: list[_Bars], allowed: list[frozenset[int]], share: Fraction,
              cut: Fraction, best: Fraction | None) -> Fraction | None:
    demands, offers, rack, terms = week.demands, week.offers, week.rack, week.terms
    whole = tuple(d.quantity for d in demands)
    from_rack = {(0,) * len(demands): Fraction(0)}
    for n, (bar, bars) in enumerate(zip(rack, taken, strict=True)):
        value = exact(bar.value) if terms.rack_has_value and bar.owner == OWN else Fraction(0)
        from_rack = together(from_rack, best_of(list(bars.tables(allowed[len(offers) + n], value, value / exact(bar.length), cut, demands))), demands)
    tables: dict[tuple[int, Fraction], list[dict[_Made, Fraction]]] = {}
    starts = {start for offer in offers for start, _ in offer.prices}
    needed = sum(whole)
    counts = [range(0, most_bought(o, needed, max(starts)) + 1, o.bundle) for o in offers]
    for numbers in itertools.product(*counts):
        lines = []
        for offer in offers:
            weight = sum(n * exact(o.weight) for o, n in zip(offers, numbers, strict=True)
                         if terms.brackets_over == "order" or o.stock == offer.stock)
            lines.append([exact(price) for start, price in offer.prices if exact(start) <= weight][-1])
        money = exact(terms.freight) if any(numbers) else Fraction(0)
        spare_values = []
        for n, (offer, number, price) in enumerate(zip(offers, numbers, lines, strict=True)):
            usable = exact(offer.length) - 2 * exact(terms.trim)
            spare_values.append(share * price * usable / exact(offer.length) if usable >= exact(terms.least_left) else Fraction(0))
            if number:
                # The fee is asked where a job that may be made from these bars wants a certificate.
                fee = exact(offer.certificate_fee) if any(demands[job].certificate != CERTIFICATES[0] for job in buyers[n]) else 0
                money += max(exact(offer.line_minimum), number * price) + fee
        if best is not None and money - sum(n * share * p for n, p in zip(numbers, lines, strict=True)) >= best:
            continue
        made = from_rack
        for n, (offer, number, price) in enumerate(zip(offers, numbers, lines, strict=True)):
            if not number:
                continue
            if (n, price) not in tables:
                tables[n, price] = list(bought[n].tables(allowed[n], Fraction(0), share * price / exact(offer.length), cut, demands))
            made = together(made, best_of([{m: c - (number - used) * spare_values[n] for m, c in table.items()}
                                           for used, table in enumerate(tables[n, price][:number + 1])]), demands)
        if whole in made and (best is None or money + made[whole] < best):
            best = money + made[whole]
    return best


