"""Whether a plan keeps all rules, from its records alone: another way of reckoning than the one that made it."""

from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import timedelta
from fractions import Fraction

from barfuncs.buying.records import (
    CERTIFICATES,
    OF_ONE_HEAT,
    OWN,
    STEPS,
    BarStock,
    BuyingPlan,
    Demand,
    Offer,
    RackBar,
    Sawing,
    Terms,
)

_MONEY = 0.005


def faults(demands: Sequence[Demand], offers: Sequence[Offer], rack: Sequence[RackBar], terms: Terms, plan: BuyingPlan) -> list[str]:
    """What is wrong with a plan, in words; nothing where all is right."""
    return [*_demand_faults(demands, plan), *(fault for row in plan.sawing for fault in _sawing_faults(row, demands, offers, rack, terms)),
            *_heat_faults(demands, rack, plan), *_bought_faults(offers, plan, terms), *_rack_faults(rack, plan),
            *_money_faults(demands, offers, rack, terms, plan)]


def _demand_faults(demands: Sequence[Demand], plan: BuyingPlan) -> Iterator[str]:
    made = Counter[int]()
    for row in plan.sawing:
        for blank in row.blanks:
            made[blank.demand] += blank.parts * row.bars
    for number, demand in enumerate(demands):
        if made[number] < demand.quantity:
            yield f"{demand.job} gets {made[number]} of {demand.quantity}"


def _stock_of(row: Sawing, offers: Sequence[Offer], rack: Sequence[RackBar]) -> tuple[BarStock, float]:
    if row.offer is not None:
        return offers[row.offer].stock, offers[row.offer].length
    assert row.rack is not None
    return rack[row.rack].stock, rack[row.rack].length


def _sawing_faults(row: Sawing, demands: Sequence[Demand], offers: Sequence[Offer], rack: Sequence[RackBar], terms: Terms) -> Iterator[str]:
    if (row.offer is None) == (row.rack is None) or row.bars < 1 or not row.blanks:
        yield "a row of the saw has no bar, or two"
        return
    stock, bar_length = _stock_of(row, offers, rack)
    step = Fraction(1, STEPS[terms.units])
    length, kerf, trim = Fraction(bar_length), Fraction(terms.kerf), Fraction(terms.trim)
    taken = sum((Fraction(blank.length) for blank in row.blanks), Fraction(0))
    cuts_between = len(row.blanks) - 1
    rest = length - 2 * trim - taken - cuts_between * kerf
    if rest < -step:
        yield f"{float(taken)} and {cuts_between} cuts are more than a bar of {bar_length}"
    after = rest - kerf if row.left > 0 else rest
    # Lengths are kept in whole steps, the kerf is rounded up to one: a step for each cut and end.
    if abs(after - Fraction(row.left)) > step * (len(row.blanks) + 3) and not (row.left == 0 and 0 <= after <= kerf + step):
        yield f"a bar of {bar_length} leaves {float(after)}, the plan says {row.left}"
    if row.back != (row.left > 0 and row.left >= terms.least_left - float(step)):
        yield f"a left-over of {row.left} goes to the wrong place"
    for blank in row.blanks:
        demand = demands[blank.demand]
        yield from _blank_faults(demand, blank.parts, Fraction(blank.length), step)
        if not _same_or_larger(demand, stock):
            yield f"{demand.job} is made from {stock}"
        if row.offer is not None:
            offer = offers[row.offer]
            document = offer.certificate
            if _late(demand, offer, terms):
                yield f"{demand.job} is needed before its bars come"
        else:
            assert row.rack is not None
            bar = rack[row.rack]
            document = bar.certificate
            if bar.owner.casefold() not in (OWN, demand.customer.casefold()):
                yield f"{demand.job} of {demand.customer} takes a bar of {bar.owner}"
            if demand.certificate in OF_ONE_HEAT and not bar.heat:
                yield f"{demand.job} wants {demand.certificate} and takes a bar without a heat"
        if not _documented(demand, document):
            yield f"{demand.job} wants {demand.certificate} and takes a bar with {document}"


def _late(demand: Demand, offer: Offer, terms: Terms) -> bool:
    return bool(demand.need_by and terms.order_date and terms.order_date + timedelta(days=offer.lead_days) > demand.need_by)


def _documented(demand: Demand, certificate: str) -> bool:
    return CERTIFICATES.index(certificate) >= CERTIFICATES.index(demand.certificate)


def _blank_faults(demand: Demand, parts: int, length: Fraction, step: Fraction) -> Iterator[str]:
    if demand.piece_length is not None:
        if parts != 1 or length < Fraction(demand.piece_length) - step / 1000:
            yield f"{demand.job} gets a piece of {float(length)}"
        return
    if parts < 1 or length < Fraction(demand.blank_extra) + parts * Fraction(demand.bar_per_part) - step * Fraction(parts + 1, 1000):
        yield f"{demand.job} gets a blank of {float(length)} for {parts} parts"
    if parts % demand.parts_per_feed:
        yield f"{demand.job} gets a blank for {parts} parts, no whole feeds of {demand.parts_per_feed}"
    if length < Fraction(demand.shortest_blank) - step:
        yield f"{demand.job} gets a blank of {float(length)}, shorter than the feeder takes"
    if demand.longest_blank is not None and length > Fraction(demand.longest_blank) + step:
        yield f"{demand.job} gets a blank of {float(length)}, longer than the feeder takes"


def _same_or_larger(demand: Demand, stock: BarStock) -> bool:
    own = demand.stock
    if (own.material, own.shape, own.thickness, own.condition) != (stock.material, stock.shape, stock.thickness, stock.condition):
        return False
    return own.size == stock.size or (demand.larger_up_to is not None and own.size < stock.size <= demand.larger_up_to)


def _heat_faults(demands: Sequence[Demand], rack: Sequence[RackBar], plan: BuyingPlan) -> Iterator[str]:
    heats: dict[int, set[object]] = {}
    for row in plan.sawing:
        if row.offer is not None:
            heat: object = ("offer", row.offer)
        else:
            assert row.rack is not None
            heat = rack[row.rack].heat.casefold() or ("bar", row.rack)
        for blank in row.blanks:
            heats.setdefault(blank.demand, set()).add(heat)
    for number, found in heats.items():
        if len(found) > 1 and not demands[number].mixed_heats:
            yield f"{demands[number].job} is made from {len(found)} heats"


def _bought_faults(offers: Sequence[Offer], plan: BuyingPlan, terms: Terms) -> Iterator[str]:
    sawn = Counter[int]()
    for row in plan.sawing:
        if row.offer is not None:
            sawn[row.offer] += row.bars
    bought = Counter({line.offer: line.bars for line in plan.lines})
    if len(bought) != len(plan.lines):
        yield "an offer is on two lines"
    weights: Counter[object] = Counter()
    for line in plan.lines:
        weights[_scope(offers[line.offer], terms)] += line.bars * offers[line.offer].weight  # type: ignore[assignment]
    for number in {*sawn, *bought}:
        offer = offers[number]
        if sawn[number] > bought[number]:
            yield f"{sawn[number]} bars are sawn, {bought[number]} bought"
        if bought[number] % offer.bundle:
            yield f"{bought[number]} bars are no whole bundles of {offer.bundle}"
        if offer.available is not None and bought[number] > offer.available:
            yield f"{bought[number]} bars are bought of {offer.available}"
    for line in plan.lines:
        offer = offers[line.offer]
        weight = weights[_scope(offer, terms)]
        allowed = [price for start, price in offer.prices if start <= weight * (1 + 1e-9)]
        if line.price != allowed[-1]:
            yield f"the price {line.price} does not hold at {weight}"


def _scope(offer: Offer, terms: Terms) -> object:
    return "order" if terms.brackets_over == "order" else offer.stock


def _rack_faults(rack: Sequence[RackBar], plan: BuyingPlan) -> Iterator[str]:
    taken = Counter[int]()
    for row in plan.sawing:
        if row.rack is not None:
            taken[row.rack] += row.bars
    for number, bars in taken.items():
        if bars > rack[number].count:
            yield f"{bars} bars of {rack[number].id} are taken, there are {rack[number].count}"


def _money_faults(demands: Sequence[Demand], offers: Sequence[Offer], rack: Sequence[RackBar], terms: Terms,
                  plan: BuyingPlan) -> Iterator[str]:
    for line in plan.lines:
        offer = offers[line.offer]
        # The certificate is asked for where a job that may be made from these bars wants one.
        wanted = any(d.certificate != CERTIFICATES[0] and _same_or_larger(d, offer.stock) and _documented(d, offer.certificate)
                     and not _late(d, offer, terms) for d in demands)
        money = max(offer.line_minimum, line.bars * line.price) + (offer.certificate_fee if wanted else 0)
        if abs(line.money - money) > _MONEY:
            yield f"a line of {line.bars} bars at {line.price} costs {line.money}"
    if abs(plan.cut_money - sum(row.cuts * row.bars for row in plan.sawing) * terms.cut_cost) > _MONEY:
        yield f"the cuts cost {plan.cut_money}"
    taken = sum(row.bars * rack[row.rack].value for row in plan.sawing
                if row.rack is not None and rack[row.rack].owner == OWN and terms.rack_has_value)
    if abs(plan.rack_money - taken) > _MONEY:
        yield f"the rack bars are worth {taken}, the plan says {plan.rack_money}"
    left = 0.0
    for row in plan.sawing:
        if row.back:
            if row.offer is not None:
                price = next(line.price for line in plan.lines if line.offer == row.offer)
                left += row.bars * terms.left_share * price * row.left / offers[row.offer].length
            elif row.rack is not None and rack[row.rack].owner == OWN and terms.rack_has_value:
                left += row.bars * rack[row.rack].value * row.left / rack[row.rack].length
    for line in plan.lines:
        usable = offers[line.offer].length - 2 * terms.trim
        if usable >= terms.least_left:
            left += line.spare * terms.left_share * line.price * usable / offers[line.offer].length
    if abs(plan.left_money - left) > _MONEY + 1e-4 * left:
        yield f"what is left is worth {left}, the plan says {plan.left_money}"
    if plan.freight != (terms.freight if plan.lines else 0):
        yield f"the freight is {plan.freight}"
    if plan.bound > plan.cost + _MONEY:
        yield f"the plan costs {plan.cost}, less than its bound {plan.bound}"
