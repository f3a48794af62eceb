"""What is wrong with records for buying, by row and column, before anything is planned."""

import itertools
import math
from collections.abc import Iterator, Sequence

from barfuncs.buying.records import CERTIFICATES, OF_ONE_HEAT, OWN, STEPS, Demand, Offer, RackBar, Terms

_Problem = tuple[str, int, str, str]
_LONGEST = {"in": 1000.0, "mm": 25400.0}
_MOST_PARTS, _MOST_ROWS = 10**7, 2000
_MOST_PER_FEED = 1000


def problems_of(demands: Sequence[Demand], offers: Sequence[Offer], rack: Sequence[RackBar], terms: Terms) -> list[_Problem]:
    """Where (jobs, offers, rack, terms), row from 1, column, and what is wrong."""
    if terms.units not in STEPS:
        return [("terms", 0, "units", f"{terms.units!r} given; allowed are in and mm")]
    found = [*_terms(terms)]
    for where, rows in (("jobs", demands), ("offers", offers), ("rack", rack)):
        if len(rows) > _MOST_ROWS:
            found.append((where, 0, "rows", f"{len(rows):,} given; at most {_MOST_ROWS:,}"))
    if not demands:
        found.append(("jobs", 0, "rows", "none given"))
    if found:
        return found
    for n, demand in enumerate(demands, 1):
        found += [("jobs", n, column, reason) for column, reason in _demand(demand, terms.units)]
    for n, offer in enumerate(offers, 1):
        found += [("offers", n, column, reason) for column, reason in _offer(offer, terms.units)]
    for n, bar in enumerate(rack, 1):
        found += [("rack", n, column, reason) for column, reason in _rack_bar(bar, terms.units)]
    return [*found, *_twice(demands, offers, rack)]


def _number(value: object, least: float, most: float, above: bool = False) -> str | None:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        return f"{value!r} given; a number is needed"
    if value < least or value > most or (above and value <= least):
        return f"{value:,.12g} given; allowed is {'more than' if above else 'at least'} {least:,.12g} and at most {most:,.12g}"
    return None


def _checked(values: Sequence[tuple[str, object, float, float, bool]]) -> Iterator[tuple[str, str]]:
    for column, value, least, most, above in values:
        if reason := _number(value, least, most, above):
            yield column, reason


def _terms(terms: Terms) -> Iterator[_Problem]:
    longest = _LONGEST[terms.units]
    for column, reason in _checked([("kerf", terms.kerf, 0, longest / 100, False), ("trim", terms.trim, 0, longest, False),
                                    ("cut_cost", terms.cut_cost, 0, 1e6, False), ("least_left", terms.least_left, 0, longest, False),
                                    ("left_share", terms.left_share, 0, 1, False), ("freight", terms.freight, 0, 1e9, False),
                                    ("seconds", terms.seconds, 0, 3600, True)]):
        yield "terms", 0, column, reason
    if terms.brackets_over not in ("group", "order"):
        yield "terms", 0, "brackets_over", f"{terms.brackets_over!r} given; allowed are group and order"


def _demand(demand: Demand, units: str) -> Iterator[tuple[str, str]]:
    longest = _LONGEST[units]
    step = 1 / STEPS[units]
    if reason := _number(demand.quantity, 1, _MOST_PARTS):
        yield "quantity", reason
    elif demand.quantity % 1:
        yield "quantity", f"{demand.quantity!r} given; a whole number is needed"
    if demand.certificate not in CERTIFICATES:
        yield "certificate", f"{demand.certificate!r} given; allowed are {', '.join(CERTIFICATES)}"
    if demand.piece_length is not None:
        yield from _checked([("piece_length", demand.piece_length, step, longest, False)])
        return
    if isinstance(demand.parts_per_feed, bool) or not isinstance(demand.parts_per_feed, int) or not 1 <= demand.parts_per_feed <= _MOST_PER_FEED:
        yield "parts_per_feed", f"{demand.parts_per_feed!r} given; a whole number from 1 to {_MOST_PER_FEED:,} is needed"
        return
    numbers = [("bar_per_part", demand.bar_per_part, step, longest, False), ("blank_extra", demand.blank_extra, 0, longest, False),
               ("shortest_blank", demand.shortest_blank, 0, longest, False)]
    if demand.longest_blank is not None:
        numbers.append(("longest_blank", demand.longest_blank, 0, longest, True))
    wrong = list(_checked(numbers))
    yield from wrong
    if not wrong and demand.longest_blank is not None:
        if demand.longest_blank < demand.shortest_blank:
            yield "longest_blank", f"{demand.longest_blank:g} given; shorter than the shortest blank of {demand.shortest_blank:g}"
        elif demand.longest_blank < (least := demand.blank_extra + demand.parts_per_feed * demand.bar_per_part) - step / 1000:
            one = "one part" if demand.parts_per_feed == 1 else "the parts of one feed"
            yield "longest_blank", f"{demand.longest_blank:g} given; {one} and what each blank loses take {least:g}"
    if demand.larger_up_to is not None and demand.larger_up_to < demand.stock.size:
        yield "larger_up_to", f"{demand.larger_up_to:g} given; smaller than the size of {demand.stock.size:g}"


def _offer(offer: Offer, units: str) -> Iterator[tuple[str, str]]:
    yield from _checked([("length", offer.length, 1 / STEPS[units], _LONGEST[units], False), ("weight", offer.weight, 0, 1e6, False),
                         ("certificate_fee", offer.certificate_fee, 0, 1e6, False), ("bundle", offer.bundle, 1, 10_000, False),
                         ("line_minimum", offer.line_minimum, 0, 1e9, False), ("lead_days", offer.lead_days, 0, 10_000, False)])
    if offer.available is not None:
        yield from _checked([("available", offer.available, 0, _MOST_PARTS, False)])
    if offer.certificate not in CERTIFICATES:
        yield "certificate", f"{offer.certificate!r} given; allowed are {', '.join(CERTIFICATES)}"
    if not offer.prices:
        yield "price", "none given"
    starts = [start for start, _ in offer.prices]
    for start, price in offer.prices:
        yield from _checked([("price", price, 0, 1e9, False), ("price_from", start, 0, 1e9, False)])
    if starts and (starts[0] != 0 or sorted(set(starts)) != starts):
        yield "price_from", "the weights from which prices hold must rise, from 0"
    for (_, price), (start, other) in itertools.pairwise(offer.prices):
        if other > price:
            yield "price", f"{other:g} given from {start:g} on; more than {price:g} for less than that"
    if len(starts) > 1 and not offer.weight:
        yield "weight", "a price by weight needs the weight of a bar"


def _rack_bar(bar: RackBar, units: str) -> Iterator[tuple[str, str]]:
    yield from _checked([("length", bar.length, 1 / STEPS[units], _LONGEST[units], False), ("value", bar.value, 0, 1e9, False),
                         ("bars", bar.count, 1, 10_000, False)])
    if bar.certificate not in CERTIFICATES:
        yield "certificate", f"{bar.certificate!r} given; allowed are {', '.join(CERTIFICATES)}"
    elif bar.certificate in OF_ONE_HEAT and not bar.heat:
        yield "heat", f"none given; a bar with {bar.certificate} has the number of its heat"
    if bar.owner != OWN and bar.value:
        yield "value", f"{bar.value:g} given; the bar of {bar.owner} is not ours"
    if not bar.id:
        yield "id", "none given"


def _twice(demands: Sequence[Demand], offers: Sequence[Offer], rack: Sequence[RackBar]) -> Iterator[_Problem]:
    ids: dict[str, int] = {}
    heats: dict[str, RackBar] = {}
    for n, bar in enumerate(rack, 1):
        before = ids.setdefault(bar.id.casefold(), n)
        if before != n:
            yield "rack", n, "id", f"{bar.id} is in row {before} too"
        if bar.heat:
            first = heats.setdefault(bar.heat.casefold(), bar)
            if first.stock.material != bar.stock.material:
                yield "rack", n, "heat", f"{bar.heat} is {bar.stock.material} here and {first.stock.material} at {first.id}"
    stocks: dict[tuple[object, ...], int] = {}
    for n, offer in enumerate(offers, 1):
        before = stocks.setdefault((offer.stock, offer.length, offer.supplier, offer.certificate), n)
        if before != n:
            yield "offers", n, "length", f"{offer.length:g} of the same bar is in row {before} too"
