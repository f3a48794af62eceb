"""Whether a plan for buying keeps its rules and its sums, in exact fractions from records and plan; nothing of the planner or its check."""

from collections import Counter, defaultdict
from fractions import Fraction

from exhaustion import exact, may_be_bought, may_be_taken
from weeks import Week

from barfuncs.buying.records import CERTIFICATES, OWN, BuyingPlan, Sawing

NEAR = Fraction(1, 200000)
"""Of a length: floats of lengths in whole steps are nearer than this to them."""
CENT = Fraction(1, 200)


def broken(week: Week, plan: BuyingPlan) -> list[str]:
    """What is wrong, in words."""
    return [*_met(week, plan), *(fault for row in plan.sawing for fault in _sawn(week, row)), *_heats(week, plan), *_bars(week, plan),
            *_money(week, plan)]


def _met(week: Week, plan: BuyingPlan) -> list[str]:
    made = Counter[int]()
    for row in plan.sawing:
        for blank in row.blanks:
            made[blank.demand] += row.bars * blank.parts
    return [f"demand: {made[n]} of {d.quantity}" for n, d in enumerate(week.demands) if made[n] < d.quantity]


def _sawn(week: Week, row: Sawing) -> list[str]:
    terms = week.terms
    found = []
    bar = week.offers[row.offer] if row.offer is not None else week.rack[row.rack or 0]
    usable, kerf = exact(bar.length) - 2 * exact(terms.trim), exact(terms.kerf)
    blanks = sum(exact(blank.length) for blank in row.blanks)
    rest = usable - blanks - (len(row.blanks) - 1) * kerf
    if rest < -NEAR:
        found.append(f"overfilled by {float(-rest)}")
    # Behind the last blank nothing is left, or a cut takes its kerf, as far as there is any, and what lies behind is left over.
    saved = len(row.blanks) - row.cuts
    if saved not in (0, 1):
        found.append(f"cuts: {row.cuts} for {len(row.blanks)} blanks")
    lost = Fraction(0) if saved else min(rest, kerf)
    if abs(rest - lost - exact(row.left)) > NEAR:
        found.append(f"length: {float(rest - lost - exact(row.left))} of a bar of {bar.length} is nowhere")
    if row.back != (row.left > 0 and row.left >= terms.least_left - float(NEAR)):
        found.append(f"left over: {row.left} goes to the wrong place")
    for blank in row.blanks:
        demand = week.demands[blank.demand]
        able = may_be_bought(demand, week.offers[row.offer], terms) if row.offer is not None else may_be_taken(demand, week.rack[row.rack or 0])
        if not able:
            found.append(f"bar: {demand.job} may not be made from it")
        length = exact(blank.length)
        if demand.piece_length is not None:
            wrong = blank.parts != 1 or abs(length - exact(demand.piece_length)) > NEAR
        else:
            # What is made in a blank: whole feeds, their ends, and no longer or shorter than the feeder takes.
            parts = exact(demand.blank_extra) + blank.parts * exact(demand.bar_per_part)
            wrong = (blank.parts < 1 or blank.parts % demand.parts_per_feed != 0 or length < parts - NEAR or length < exact(demand.shortest_blank) - NEAR
                     or (demand.longest_blank is not None and length > exact(demand.longest_blank) + NEAR))
        if wrong:
            found.append(f"blank: {demand.job} gets {blank.length} for {blank.parts} parts")
    return found


def _heats(week: Week, plan: BuyingPlan) -> list[str]:
    heats: dict[int, set[object]] = defaultdict(set)
    for row in plan.sawing:
        heat: object = ("offer", row.offer) if row.offer is not None else week.rack[row.rack or 0].heat.casefold() or ("rack", row.rack)
        for blank in row.blanks:
            heats[blank.demand].add(heat)
    return [f"heats: {week.demands[n].job} has {len(h)}" for n, h in heats.items() if len(h) > 1 and not week.demands[n].mixed_heats]


def _bars(week: Week, plan: BuyingPlan) -> list[str]:
    taken, sawn = Counter[int](), Counter[int]()
    for row in plan.sawing:
        if row.rack is not None:
            taken[row.rack] += row.bars
        if row.offer is not None:
            sawn[row.offer] += row.bars
    found = [f"rack: {bars} of {week.rack[n].count}" for n, bars in taken.items() if bars > week.rack[n].count]
    bought = {line.offer: line for line in plan.lines}
    for n in {*sawn, *bought}:
        offer, bars = week.offers[n], bought[n].bars if n in bought else 0
        if bars < sawn[n] or bars < 1 or bars % offer.bundle or (offer.available is not None and bars > offer.available):
            found.append(f"bought: {bars} bars, {sawn[n]} sawn, bundles of {offer.bundle}, {offer.available} there")
        elif bought[n].spare != bars - sawn[n]:
            found.append(f"spare: {bought[n].spare} of {bars}, {sawn[n]} sawn")
    return found


def _money(week: Week, plan: BuyingPlan) -> list[str]:
    terms = week.terms
    found = []
    weights: dict[object, Fraction] = defaultdict(Fraction)
    for line in plan.lines:
        weights[week.offers[line.offer].stock] += line.bars * exact(week.offers[line.offer].weight)
    total = exact(terms.freight) if plan.lines else Fraction(0)
    each, spare = {}, Fraction(0)
    for line in plan.lines:
        offer = week.offers[line.offer]
        weight = sum(weights.values()) if terms.brackets_over == "order" else weights[offer.stock]
        price = each[line.offer] = [exact(p) for start, p in offer.prices if exact(start) <= weight][-1]
        wanted = any(d.certificate != CERTIFICATES[0] and may_be_bought(d, offer, terms) for d in week.demands)
        money = max(exact(offer.line_minimum), line.bars * price) + (exact(offer.certificate_fee) if wanted else 0)
        if abs(money - exact(line.money)) > CENT:
            found.append(f"line: {line.money}, reckoned {float(money)}")
        total += money
        usable = exact(offer.length) - 2 * exact(terms.trim)
        if usable >= exact(terms.least_left):
            spare += line.spare * exact(terms.left_share) * price * usable / exact(offer.length)
    total -= spare
    for row in plan.sawing:
        total += row.bars * row.cuts * exact(terms.cut_cost)
        if row.offer is not None:
            worth, length = exact(terms.left_share) * each.get(row.offer, Fraction(0)), exact(week.offers[row.offer].length)
        else:
            bar = week.rack[row.rack or 0]
            worth, length = exact(bar.value) if bar.owner == OWN and terms.rack_has_value else Fraction(0), exact(bar.length)
            total += row.bars * worth
        if row.back:
            total -= row.bars * worth * exact(row.left) / length
    if abs(total - exact(plan.cost)) > CENT:
        found.append(f"money: {plan.cost}, reckoned {float(total)}")
    if plan.bound > plan.cost + float(CENT):
        found.append(f"bound: {plan.bound} above {plan.cost}")
    return found
