"""What a careful buyer plans by hand: each job by itself. To compare with, on the same weeks and by the same money.

His rules:

1. Jobs in the order of the list, each alone; no bar serves two jobs, but what is left over goes back on the rack as it does for us.
2. Equal blanks: of all numbers of equal blanks in a bar he takes the one with most parts, then the fewest blanks. A job's last bar gets only
   what is still needed, and a rest too short for the rack stays on the blanks where the feeder takes them longer.
3. The rack first: a job of one heat takes it where one heat has enough for all of the job, and costs no more than buying; a job that may be mixed
   takes each bar, most parts for its value first, that costs no more for a part than buying. Of bars that cost the same the shortest goes first.
4. He buys one length for a job: the one that costs least for all its good parts at the first price, sawing in, left-overs off, of its own size;
   larger sizes only where its own can't be had.
5. Prices hold on the sum of all bars of a kind (or of the order): he adds up all jobs before he looks at the brackets, and buys bars more where
   that reaches a bracket and saves money. Bundles are filled up; minimum, certificate and freight are paid.

Not by hand: blanks of unequal length, two jobs on one bar, two lengths for one job, changing a job's length for a bracket.
"""

import math
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from exhaustion import exact, may_be_bought, may_be_taken
from weeks import Week

from barfuncs.buying.records import CERTIFICATES, OWN, Blank, BuyingPlan, Demand, Offer, OrderLine, Sawing, Terms


class NotByHandError(Exception):
    """A job that this buyer finds no bars for."""


@dataclass(frozen=True)
class _Bar:
    """One bar for one job, sawn."""

    offer: int | None
    rack: int | None
    parts: int
    sawing: Sawing
    money: Fraction
    """Bar and cuts, less what is left over."""


def _length_of(demand: Demand, parts: int) -> Fraction:
    if demand.piece_length is not None:
        return exact(demand.piece_length)
    return max(exact(demand.shortest_blank), exact(demand.blank_extra) + parts * exact(demand.bar_per_part))


def _equal_blanks(demand: Demand, usable: Fraction, kerf: Fraction, needed: int) -> tuple[int, int]:
    """How many blanks of how many parts each: most parts, then fewest blanks; none where no blank fits."""
    best = (0, 0)
    for blanks in range(1, needed + 1):
        room = (usable - (blanks - 1) * kerf) / blanks
        if demand.piece_length is not None:
            parts = int(room >= exact(demand.piece_length))
        else:
            if demand.longest_blank is not None:
                room = min(room, exact(demand.longest_blank))
            feed = demand.parts_per_feed
            parts = max(0, (room - exact(demand.blank_extra)) // (feed * exact(demand.bar_per_part))) * feed
            parts = min(parts, math.ceil(needed / feed) * feed)
            if room < exact(demand.shortest_blank):
                parts = 0
        if parts == 0:
            break
        if blanks * parts > best[0] * best[1]:
            best = blanks, parts
        if blanks * parts >= needed:
            break
    return best


def _sawn(week: Week, job: int, length: float, needed: int) -> tuple[list[Blank], Fraction, int]:
    """Blanks from one bar, what is left over, cuts."""
    demand, terms = week.demands[job], week.terms
    usable, kerf = exact(length) - 2 * exact(terms.trim), exact(terms.kerf)
    count, parts = _equal_blanks(demand, usable, kerf, needed)
    feed = demand.parts_per_feed if demand.piece_length is None else 1
    each: list[int] = []
    while count and parts and len(each) < count and sum(each) < needed:
        each.append(min(parts, math.ceil((needed - sum(each)) / feed) * feed))
    if not each:
        return [], Fraction(0), 0
    lengths = [_length_of(demand, n) for n in each]
    rest = usable - sum(lengths) - (len(each) - 1) * kerf
    left, cuts = max(Fraction(0), rest - kerf), len(each)
    if left < exact(terms.least_left) or left == 0:
        longest = (exact(length) if demand.longest_blank is None else exact(demand.longest_blank)) if demand.piece_length is None else Fraction(0)
        more = [max(Fraction(0), longest - own) for own in lengths]
        if sum(more) >= rest:
            left, cuts = Fraction(0), cuts - 1
            for n, room in enumerate(more):
                lengths[n] += min(room, rest)
                rest -= min(room, rest)
    return [Blank(job, n, float(own)) for n, own in zip(each, lengths, strict=True)], left, cuts


def _bar(week: Week, job: int, needed: int, offer: int | None = None, rack: int | None = None) -> _Bar | None:
    terms = week.terms
    if offer is not None:
        length, value, share = week.offers[offer].length, exact(week.offers[offer].prices[0][1]), exact(terms.left_share)
    else:
        assert rack is not None
        bar = week.rack[rack]
        length, share = bar.length, Fraction(1)
        value = exact(bar.value) if terms.rack_has_value and bar.owner == OWN else Fraction(0)
    blanks, left, cuts = _sawn(week, job, length, needed)
    if not blanks:
        return None
    back = left > 0 and left >= exact(terms.least_left)
    sawing = Sawing(1, offer, rack, tuple(blanks), float(left), back, cuts)
    returned = share * value * left / exact(length) if back else 0
    return _Bar(offer, rack, sum(b.parts for b in blanks), sawing, value + cuts * exact(terms.cut_cost) - returned)


def _bought(week: Week, job: int, needed: int, most: Counter[int]) -> list[_Bar]:
    """The job from the one length that costs least for it."""
    ways = []
    for n, offer in enumerate(week.offers):
        if not may_be_bought(week.demands[job], offer, week.terms):
            continue
        full = _bar(week, job, needed, offer=n)
        if full is None:
            continue
        bars = [full] * (needed // full.parts)
        if rest := needed - full.parts * len(bars):
            last = _bar(week, job, rest, offer=n)
            assert last is not None
            bars.append(last)
        if offer.available is None or math.ceil((most[n] + len(bars)) / offer.bundle) * offer.bundle <= offer.available:
            ways.append((offer.stock != week.demands[job].stock, sum(bar.money for bar in bars), n, bars))
    return min(ways, key=lambda way: way[:3])[3] if ways else []


def _from_rack(week: Week, job: int, there: Counter[int], bought: list[_Bar]) -> list[_Bar]:
    """Bars of the rack for all of a job, or of one that may be mixed for as much as is worth it."""
    demand = week.demands[job]
    by_heat: dict[object, list[int]] = defaultdict(list)
    for n, bar in enumerate(week.rack):
        if there[n] and may_be_taken(demand, bar):
            by_heat["any" if demand.mixed_heats else bar.heat.casefold() or ("bar", n)].extend([n] * there[n])
    price = sum(bar.money for bar in bought)
    ways: list[tuple[Fraction, list[_Bar]]] = []
    for numbers in by_heat.values():
        cut = [(n, bar) for n in numbers if (bar := _bar(week, job, demand.quantity, rack=n))]
        cut.sort(key=lambda pair: (pair[1].money / pair[1].parts, week.rack[pair[0]].length))
        chosen: list[_Bar] = []
        for n, bar in cut:
            needed = demand.quantity - sum(b.parts for b in chosen)
            if needed <= 0:
                break
            whole = bar if bar.parts <= needed else _bar(week, job, needed, rack=n)
            if whole and not (bought and demand.mixed_heats and whole.money / min(whole.parts, needed) > price / demand.quantity):
                chosen.append(whole)
        enough = sum(b.parts for b in chosen) >= demand.quantity
        money = sum((b.money for b in chosen), Fraction(0))
        if (enough and (not bought or money <= price)) or (demand.mixed_heats and chosen and bought):
            ways.append((money, chosen))
    return min(ways, key=lambda way: way[0])[1] if ways else []


def _lines(week: Week, used: Counter[int]) -> tuple[list[OrderLine], Fraction]:
    """Bars to buy with their prices, and what spare ones are worth."""
    offers, terms = week.offers, week.terms
    bars = {n: math.ceil(count / offers[n].bundle) * offers[n].bundle for n, count in used.items()}
    scopes: dict[object, list[int]] = defaultdict(list)
    for n in bars:
        scopes["order" if terms.brackets_over == "order" else offers[n].stock].append(n)

    def money(counts: dict[int, int], numbers: Sequence[int]) -> tuple[Fraction, list[OrderLine], Fraction]:
        weight = sum(counts[n] * exact(offers[n].weight) for n in numbers)
        lines, spare = [], Fraction(0)
        for n in numbers:
            offer: Offer = offers[n]
            price = [p for start, p in offer.prices if exact(start) <= weight][-1]
            usable = exact(offer.length) - 2 * exact(terms.trim)
            if usable >= exact(terms.least_left):
                spare += (counts[n] - used[n]) * exact(terms.left_share) * exact(price) * usable / exact(offer.length)
            wanted = any(d.certificate != CERTIFICATES[0] and may_be_bought(d, offer, terms) for d in week.demands)
            paid = max(exact(offer.line_minimum), counts[n] * exact(price)) + (exact(offer.certificate_fee) if wanted else 0)
            lines.append(OrderLine(n, counts[n], counts[n] * offer.weight, price, float(paid), counts[n] - used[n]))
        # Left-overs of used bars are worth less at a lower price too: about as much as all that is bought is cheaper.
        return sum((exact(line.money) for line in lines), Fraction(0)) - spare, lines, spare

    found: list[OrderLine] = []
    worth = Fraction(0)
    for numbers in scopes.values():
        ways = [money(bars, numbers)]
        weight = sum(bars[n] * exact(offers[n].weight) for n in numbers)
        for start in {exact(start) for n in numbers for start, _ in offers[n].prices if exact(start) > weight}:
            for n in numbers:
                if not offers[n].weight:
                    continue
                more = math.ceil((start - weight) / exact(offers[n].weight) / offers[n].bundle) * offers[n].bundle
                limit = offers[n].available
                if limit is None or bars[n] + more <= limit:
                    ways.append(money({**bars, n: bars[n] + more}, numbers))
        best = min(ways, key=lambda way: way[0])
        found += best[1]
        worth += best[2]
    return sorted(found, key=lambda line: line.offer), worth


def by_hand(week: Week) -> BuyingPlan:
    """The plan. Raises NotByHandError for a job that he finds no bars for."""
    there = Counter({n: bar.count for n, bar in enumerate(week.rack)})
    used: Counter[int] = Counter()
    all_bars: list[_Bar] = []
    for job, demand in enumerate(week.demands):
        bought = _bought(week, job, demand.quantity, used)
        bars = _from_rack(week, job, there, bought)
        if (rest := demand.quantity - sum(bar.parts for bar in bars)) > 0:
            bars = bars + _bought(week, job, rest, used)
        if sum(bar.parts for bar in bars) < demand.quantity:
            raise NotByHandError(demand.job)
        for bar in bars:
            if bar.rack is not None:
                there[bar.rack] -= 1
            else:
                assert bar.offer is not None
                used[bar.offer] += 1
        all_bars += bars
    lines, spare = _lines(week, used)
    price = {line.offer: exact(line.price) for line in lines}
    rack_money, left = Fraction(0), spare
    terms: Terms = week.terms
    for bar in all_bars:
        if bar.rack is not None:
            own = week.rack[bar.rack]
            value = exact(own.value) if terms.rack_has_value and own.owner == OWN else Fraction(0)
            rack_money += value
            left += value * exact(bar.sawing.left) / exact(own.length) if bar.sawing.back else 0
        elif bar.sawing.back:
            assert bar.offer is not None
            left += exact(terms.left_share) * price[bar.offer] * exact(bar.sawing.left) / exact(week.offers[bar.offer].length)
    rows = Counter(bar.sawing for bar in all_bars)
    cuts = sum(bar.sawing.cuts for bar in all_bars)
    return BuyingPlan(tuple(lines), tuple(replace(row, bars=count) for row, count in rows.items()), terms.freight if lines else 0.0,
                      float(cuts * exact(terms.cut_cost)), float(rack_money), float(left), 0.0, 0.0)
