"""A plan for buying and sawing, from the records of jobs, offers and rack."""

import dataclasses
import datetime
import itertools
import math
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from barfuncs.buying import cutting, tidying
from barfuncs.buying.check import faults
from barfuncs.buying.cutting import NoPlanError, Pattern, Problem, Source, Task
from barfuncs.buying.heats import Heats, Share, can_share, few_ways, material
from barfuncs.buying.knapsack import Cut
from barfuncs.buying.reading import problems_of
from barfuncs.buying.records import (
    CERTIFICATES,
    OF_ONE_HEAT,
    OWN,
    STEPS,
    BarStock,
    Blank,
    BuyingError,
    BuyingPlan,
    Demand,
    Offer,
    OrderLine,
    RackBar,
    Sawing,
    Terms,
    describe,
)
from barfuncs.buying.starts import first_plan

_NEAR_STEP = 1e-4
"""Of a step: what is nearer to a whole step than this is that step, and not the next."""
_MOST_LEVELS = 64
"""Of prices that are tried: one kind of bar has six at most, several that stand in for one another have their products."""
_USUAL = Terms()
_BEGIN = 0.1
"""Share of the time in which every group gets a first plan, at most."""
_QUICK = 0.35
"""Share of the time in which every group is looked at once."""
_TIDY, _LONGEST_TIDY = 0.2, 0.3
"""Share of the time that is kept for making the plan easier to work by, and what that takes at most where the rest is not needed."""
_SHORT_TIDY = 0.4
"""Seconds; it takes no longer than these or than the plan took."""
_LEAST_TIME = 0.05
_LONGER = 0.2
"""Seconds for which a group is looked at again at least; where it has had more, for as long again or more."""
_SLICES = 6
"""Of that, each for the level of prices that is then the least known."""
_SKETCHED = 3
"""Nodes of the first plan."""
_UNKNOWN = 1e11
"""Money from which on a quick bound says nothing."""
_CENT = 0.005
_now = time.monotonic


def plan_here(demands: Sequence[Demand], offers: Sequence[Offer] = (), rack: Sequence[RackBar] = (), terms: Terms = _USUAL,
              found: Callable[[BuyingPlan], None] | None = None) -> BuyingPlan:
    """What `apart.plan_buying` gives, worked out in this process, which can't be stopped while the solver works.

    `found` is told each better whole plan: of less money, or with a higher bound. Raises BuyingError as `apart.plan_buying` does. Each
    plan has passed an independent check before it is told or returned.
    """
    if problems := problems_of(demands, offers, rack, terms):
        raise BuyingError(problems)
    started = _now()
    groups = list(_groups(demands, offers, rack, terms))
    lacking = [("jobs", job + 1, "quantity", f"no bar on the rack or on offer that {demands[job].job} may be made from is long enough")
               for group in groups for job in group.unable()]
    if lacking:
        raise BuyingError(lacking)
    if terms.brackets_over == "order":
        groups = [_joined(groups)]

    def checked(plan: BuyingPlan) -> BuyingPlan:
        if broken := faults(demands, offers, rack, terms, plan):
            raise AssertionError("a plan that breaks its own rules: " + "; ".join(broken))
        return plan

    def better(solved: Sequence[_Solved]) -> None:
        if found is not None:
            plan = _written(demands, offers, rack, terms, solved, _now() - started)
            found(checked(replace(plan, bound=plan.bound - plan.freight) if alone else plan))

    # Whether the rack alone might do, so that no freight is sure.
    alone = bool(terms.freight) and all(group.rack_alone() is not None for group in groups)
    solved: Sequence[_Solved] = _solve_all(groups, started + (1 - _TIDY) * terms.seconds, better)
    plan = _written(demands, offers, rack, terms, solved, _now() - started)
    if alone and plan.lines:
        plan, solved = _without_buying(demands, offers, rack, terms, solved, plan, started)
        if found is not None:
            found(checked(plan))
    took = _now() - started
    end = min(started + terms.seconds, _now() + min(_LONGEST_TIDY * terms.seconds, max(_SHORT_TIDY, took)))
    tidier = _tidied(demands, offers, rack, terms, solved, plan, end)
    return checked(replace(tidier, seconds=_now() - started))


def steps(length: float, units: str) -> int:
    """A length in whole steps, upwards.

    >>> steps(2.375, "in"), steps(2.3751, "in"), steps(0.1 + 0.2, "in")
    (2375, 2376, 300)
    """
    return math.ceil(length * STEPS[units] - _NEAR_STEP)


def whole_steps(length: float, units: str) -> int:
    """The whole steps of what is there: rounded up, a bar would be longer than it is.

    >>> whole_steps(143.9999, "in"), whole_steps(0.1 + 0.2, "in")
    (143999, 300)
    """
    return math.floor(length * STEPS[units] + _NEAR_STEP)


Level = tuple[float, ...] | None
"""Of prices: the weight of each kind of bar from which they hold. None: the lowest there are, whatever is bought, for a bound."""


@dataclass(frozen=True)
class _Group:
    """Jobs and bars that have to do with one another, and no others."""

    demands: Sequence[Demand]
    offers: Sequence[Offer]
    rack: Sequence[RackBar]
    terms: Terms
    jobs: tuple[int, ...]
    offered: tuple[int, ...]
    racked: tuple[int, ...]

    def starts(self) -> list[list[float]]:
        """Weights from which other prices hold, for each kind of bar that is priced by itself."""
        starts: list[set[float]] = [{0.0} for _ in self.priced()]
        for number in self.offered:
            starts[self._priced_with(number)].update(start for start, _ in self.offers[number].prices)
        return [sorted(each) for each in starts]

    def level_at(self, weights: Mapping[int, float]) -> tuple[float, ...]:
        """The level that these weights reach."""
        return tuple(max(start for start in starts if start <= weights.get(n, 0.0) * (1 + 1e-9)) for n, starts in enumerate(self.starts()))

    def priced(self) -> list[BarStock | None]:
        """The kinds of bar whose weights count by themselves; one for all where those of the whole order do."""
        if self.terms.brackets_over == "order":
            return [None]
        return list(dict.fromkeys(self.offers[number].stock for number in self.offered))

    def _priced_with(self, number: int) -> int:
        return 0 if self.terms.brackets_over == "order" else self.priced().index(self.offers[number].stock)

    def price(self, number: int, level: Level) -> float:
        if level is None:
            return min(price for _, price in self.offers[number].prices)
        return [price for start, price in self.offers[number].prices if start <= level[self._priced_with(number)]][-1]

    def lowest(self) -> tuple[float, ...]:
        return (0.0,) * len(self.priced())

    def unable(self) -> list[int]:
        """The jobs of which not one blank comes from any bar."""
        problem = self.problem(self.lowest())
        return [job for n, job in enumerate(self.jobs) if not any(
            s.takes(n) and problem.tasks[n].cut.most_within(s.length + problem.kerf) for s in problem.sources)]

    def problem(self, level: Level, buy: bool = True) -> Problem:
        terms, units = self.terms, self.terms.units
        kerf, trim = steps(terms.kerf, units), 2 * steps(terms.trim, units)
        least_left = steps(terms.least_left, units)
        lengths = [*(self.offers[n].length for n in self.offered), *(self.rack[n].length for n in self.racked)]
        longest = max((steps(length, units) for length in lengths), default=0)
        tasks = [task_of(self.demands[number], units, kerf, longest) for number in self.jobs]
        sources = []
        for number in self.offered if buy else ():
            offer = self.offers[number]
            jobs = frozenset(n for n, job in enumerate(self.jobs) if may_buy(self.demands[job], offer, terms))
            length = whole_steps(offer.length, units)
            cost = self.price(number, level)
            # Below its minimum a line costs the same at any price, and what is left is worth more at a high one: in proportion it is not.
            dearest = max(price for _, price in offer.prices)
            minimum = offer.line_minimum * cost / dearest if level is None and dearest else offer.line_minimum
            wants = any(self.demands[self.jobs[n]].certificate != CERTIFICATES[0] for n in jobs)
            sources.append(Source(max(0, length - trim), cost, offer.available, True, ("offer", number), jobs,
                                  terms.left_share * cost / length, least_left, offer.bundle, minimum,
                                  offer.certificate_fee if wants else 0.0, offer.weight, self._priced_with(number)))
        for number in self.racked:
            bar = self.rack[number]
            length = whole_steps(bar.length, units)
            value = bar.value if terms.rack_has_value and bar.owner == OWN else 0.0
            jobs = frozenset(n for n, job in enumerate(self.jobs) if may_take(self.demands[job], bar))
            sources.append(Source(max(0, length - trim), value, bar.count, False,
                                  ("heat", bar.heat.casefold()) if bar.heat else ("bar", number), jobs, value / length, least_left))
        return Problem(tuple(sources), tuple(tasks), kerf, terms.cut_cost, level or ())

    def source(self, number: int, buy: bool = True) -> tuple[int | None, int | None]:
        """The offer or the rack bar that a source of the problem is."""
        offered = self.offered if buy else ()
        return (offered[number], None) if number < len(offered) else (None, self.racked[number - len(offered)])

    def rack_alone(self) -> Problem | None:
        """The problem without anything bought, unless some job surely can't do without."""
        problem = self.problem(self.lowest(), buy=False)
        return problem if all(any(s.takes(n) for s in problem.sources) for n in range(len(problem.tasks))) else None


@dataclass(frozen=True)
class _Solved:
    group: _Group
    problem: Problem
    plan: cutting.Plan
    bound: float
    buy: bool = True


def task_of(demand: Demand, units: str, kerf: int, longest: int) -> Task:
    """What a demand needs, in steps, from bars of at most `longest`. Parts are counted in whole feeds."""
    if demand.piece_length is not None:
        length = steps(demand.piece_length, units)
        return Task(Cut(length + kerf, 0, 1, max(1, (longest + kerf) // (length + kerf)), 1, single=True), demand.quantity, not demand.mixed_heats)
    feed = demand.parts_per_feed
    step, extra = steps(feed * demand.bar_per_part, units), steps(demand.blank_extra, units)
    limit = longest if demand.longest_blank is None else whole_steps(demand.longest_blank, units)
    shortest = steps(demand.shortest_blank, units)
    quantity = -(-demand.quantity // feed)
    most = min((min(limit, longest) - extra) // step, quantity)
    least = max(1, -(-(shortest - extra) // step))
    short = (shortest - extra) // step
    padded = (shortest + kerf, min(short, quantity)) if shortest <= limit and short >= 1 and (short < least or quantity < least) else None
    blanks = max(1, (longest + kerf) // (max(shortest, extra + step) + kerf))
    return Task(Cut(step, extra + kerf, least, max(most, least - 1), blanks, padded), quantity, not demand.mixed_heats, limit)


def may_buy(demand: Demand, offer: Offer, terms: Terms) -> bool:
    """Whether a job may be made from bars of an offer."""
    if not suits(demand, offer.stock) or CERTIFICATES.index(offer.certificate) < CERTIFICATES.index(demand.certificate):
        return False
    if demand.need_by and terms.order_date:
        return terms.order_date + datetime.timedelta(days=offer.lead_days) <= demand.need_by
    return True


def may_take(demand: Demand, bar: RackBar) -> bool:
    """Whether a job may be made from a bar of the rack."""
    if not suits(demand, bar.stock) or (bar.owner != OWN and bar.owner.casefold() != demand.customer.casefold()):
        return False
    if demand.certificate == CERTIFICATES[0]:
        return True
    heat_known = bool(bar.heat) or demand.certificate not in OF_ONE_HEAT
    return heat_known and CERTIFICATES.index(bar.certificate) >= CERTIFICATES.index(demand.certificate)


def suits(demand: Demand, stock: BarStock) -> bool:
    """Whether a job may be made from a kind of bar: its own, or a larger one that stands in."""
    if demand.stock == stock:
        return True
    larger = demand.larger_up_to
    return larger is not None and dataclasses.replace(stock, size=demand.stock.size) == demand.stock and \
        demand.stock.size < stock.size <= larger


def _groups(demands: Sequence[Demand], offers: Sequence[Offer], rack: Sequence[RackBar], terms: Terms) -> Iterator[_Group]:
    group_of: dict[BarStock, int] = {}
    stocks = list(dict.fromkeys([*(d.stock for d in demands), *(o.stock for o in offers), *(b.stock for b in rack)]))
    for number, stock in enumerate(stocks):
        group_of[stock] = number
    for demand in demands:
        if demand.larger_up_to is not None:
            own = group_of[demand.stock]
            for stock in stocks:
                if suits(demand, stock) and group_of[stock] != own:
                    other = group_of[stock]
                    group_of.update({s: own for s, g in group_of.items() if g == other})
    for group in dict.fromkeys(group_of[d.stock] for d in demands):
        mine = {stock for stock, g in group_of.items() if g == group}
        yield _Group(demands, offers, rack, terms, tuple(n for n, d in enumerate(demands) if d.stock in mine),
                     tuple(n for n, o in enumerate(offers) if o.stock in mine), tuple(n for n, b in enumerate(rack) if b.stock in mine))


def _joined(groups: Sequence[_Group]) -> _Group:
    return replace(groups[0], jobs=tuple(n for g in groups for n in g.jobs), offered=tuple(n for g in groups for n in g.offered),
                   racked=tuple(n for g in groups for n in g.racked))


class _Levels:
    """A group at each level of prices, a level holding where the weight bought reaches it: the best plan so far, and bounds."""

    def __init__(self, group: _Group) -> None:
        self.group = group
        self.bounds: dict[Level, float] = dict.fromkeys(_in_turn(group), -math.inf)
        self.best: _Solved | None = None
        self.lacking: Sequence[int] = ()
        self.impossible: set[Level] = set()
        """Levels at which there surely is no plan."""
        self.spent = self._end = 0.0
        self._seen: set[Level] = set()
        for level in self.bounds:
            # Where time is up before a level is looked at, it has this.
            if abs(least := material(group.problem(level))) < _UNKNOWN:
                self.bounds[level] = least
        self._shared = can_share(group.problem(group.lowest()))
        self._ended: dict[Level, float] = {}
        """Levels at which sharing jobs out finds nothing more, and the seconds that the general search has there next."""
        self._heats: dict[Level, Heats] = {}
        self._known: dict[Problem, Share] = {}

    @property
    def cost(self) -> float:
        return math.inf if self.best is None else self.best.plan.cost

    @property
    def bound(self) -> float:
        return min(self.cost, *self.bounds.values())

    @property
    def patience(self) -> int:
        """How many times longer it is worked on than before: what begins anew each time needs more."""
        return 1 if self._shared else 4

    @property
    def to_save(self) -> float:
        """The money that more time may save at most."""
        lowest = min((self.bounds[level] for level in self._open()), default=self.cost)
        # Of a level that nothing is known of, what is paid may be saved; that does not come before all other groups.
        return self.cost - (lowest if math.isfinite(lowest) else min(0.0, self.cost))

    def begin(self) -> None:
        """Each job by itself from bars on offer, which takes no time; nothing where some job finds none."""
        problem = self.group.problem(self.group.lowest())
        patterns = cutting.without_surplus(problem, cutting.plain(problem) or [])
        bought = cutting.least_bought(problem, patterns)
        if cutting.feasible(problem, patterns) and cutting.can_be_bought(problem, bought):
            self._found(problem, cutting.Plan(tuple(patterns), tuple(bought), math.inf, 0.0))

    def begin_by_hand(self, seconds: float) -> None:
        """What a careful buyer would do, at each level of prices, as far as the time goes."""
        end = _now() + seconds
        levels = [level for level in self.bounds if level is not None]
        for turn, level in enumerate(levels):
            problem = self.group.problem(level)
            if start := first_plan(problem, (end - _now()) / (len(levels) - turn)):
                patterns, bought = start
                self._found(problem, cutting.Plan(tuple(patterns), tuple(bought), math.inf, 0.0))

    def work(self, seconds: float) -> None:
        """Look again at the levels that may yet hold a cheaper plan."""
        start = _now()
        if self._shared:
            self._work_on_lowest(start + seconds)
        else:
            if not self.spent:
                self._sketch(start + seconds / 2)
            open_ = self._open()
            for turn, level in enumerate(open_):
                self._work_on(level, max(_LEAST_TIME, (start + seconds - _now()) / (len(open_) - turn)))
        self.spent += _now() - start

    def _sketch(self, deadline: float) -> None:
        """A plan of bars for few jobs at once, which takes little time: next to its cost most levels need not be looked at."""
        problem = self.group.problem(next(iter(self.bounds)))
        if (cell := few_ways(problem)) is not None:
            cell.work(deadline, nodes=_SKETCHED)
            if cell.patterns:
                self._found(problem, cutting.Plan(cell.patterns, tuple(cutting.least_bought(problem, cell.patterns)), cell.cost, 0.0))

    def _open(self) -> list[Level]:
        return [level for level, bound in self.bounds.items() if bound < self.cost - 1e-6]

    def _work_on_lowest(self, end: float) -> None:
        """Always that level whose bound is lowest goes on from where it was, a little."""
        self._end = end
        slice_ = max(_LEAST_TIME, (end - _now()) / _SLICES)
        while _now() < end and (open_ := self._open()):
            # Each is looked at once first.
            level = min(open_, key=lambda level: (level in self._seen, self.bounds[level]))
            start, first = _now(), level not in self._seen
            self._seen.add(level)
            self._work_on(level, _LEAST_TIME if first else min(slice_, max(_LEAST_TIME, end - start)))
            if first or _now() - start >= slice_ / 2:
                continue
            if self.bounds[level] < self.cost - 1e-6 and level not in self._ended:
                self._ended[level] = _LONGER

    def _work_on(self, level: Level, seconds: float) -> None:
        problem = self.group.problem(level)
        try:
            plan = self._solve(level, problem, seconds)
        except NoPlanError as error:
            self.lacking = error.jobs
            if error.proved:
                self.impossible.add(level)
            self.bounds[level] = max(self.bounds[level], error.bound)
            return
        self.bounds[level] = max(self.bounds[level], plan.bound)
        if plan.patterns:
            self._found(problem, plan)

    def _found(self, problem: Problem, plan: cutting.Plan) -> None:
        """Keep a plan that is the cheapest so far, at the prices that hold for what it buys."""
        weights = Counter[int]()
        for source, bars in zip(problem.sources, plan.bought, strict=True):
            weights[source.priced_with] += bars * source.weight  # type: ignore[assignment]
        problem = self.group.problem(self.group.level_at(weights))
        cost = cutting.cost_of(problem, plan.patterns, plan.bought)
        if cost < self.cost - 1e-9:
            self.best = _Solved(self.group, problem, replace(plan, cost=cost), 0.0)

    def without_plan(self) -> Iterator[tuple[int, str]]:
        """The jobs that keep it from having a plan, and what is known of them."""
        sure = len(self.impossible) == len(self.bounds)
        for number in self.lacking:
            job = self.group.jobs[number]
            name = self.group.demands[job].job
            yield job, f"not enough bars for {name}" if sure else (
                f"no plan found in {self.group.terms.seconds:g} seconds: too few bars for {name}, or it takes more time to find how they do")

    def _solve(self, level: Level, problem: Problem, seconds: float) -> cutting.Plan:
        if not self._shared:
            return cutting.solve(problem, seconds, cutoff=self.cost)
        if level in self._ended:
            seconds, self._ended[level] = self._ended[level], 2 * self._ended[level]
            return cutting.solve(problem, min(seconds, max(_LEAST_TIME, self._end - _now())), cutoff=self.cost)
        if level not in self._heats:
            self._heats[level] = Heats(problem, self._known)
        return self._heats[level].work(seconds, self.cost)

    def solved(self) -> "_Solved":
        assert self.best is not None
        return replace(self.best, bound=self.bound)


def _solve_all(groups: Sequence[_Group], end: float, better: Callable[[Sequence[_Solved]], None]) -> list[_Solved]:
    """Every group a little, then those longest where most money may still be saved; `better` is told what there is, when that changes."""
    all_levels = [_Levels(group) for group in groups]
    known: tuple[float, float] | None = None

    def tell() -> None:
        nonlocal known
        if all(levels.best is not None for levels in all_levels):
            worth = sum(levels.cost for levels in all_levels), -sum(max(0.0, levels.bound) for levels in all_levels)
            if known is None or worth < known:
                known = worth
                better([levels.solved() for levels in all_levels])

    for levels in all_levels:
        levels.begin()
    tell()
    begin = (end - _now()) * _BEGIN / len(groups)
    for levels in all_levels:
        levels.begin_by_hand(begin)
    tell()
    # One group alone has all the time: what begins anew loses what it had found.
    quick = (end - _now()) * (_QUICK / len(groups) if len(groups) > 1 else 1.0)
    for levels in all_levels:
        levels.work(quick)
        if levels.best is None:
            levels.work(max(_LEAST_TIME, (end - _now()) / 2))
        if levels.best is None:
            raise BuyingError([("jobs", job + 1, "quantity", reason) for job, reason in levels.without_plan()])
        tell()
    while (left := end - _now()) > 2 * _LEAST_TIME:
        levels = max(all_levels, key=lambda levels: levels.to_save / (levels.spent + _LEAST_TIME))
        if levels.to_save < _CENT:
            break
        levels.work(min(left, max(_LONGER, levels.spent * levels.patience)))
        tell()
    return [levels.solved() for levels in all_levels]


def _in_turn(group: _Group) -> list[Level]:
    """The levels of prices, that first which the need reaches by itself: next to its cost most others need not be looked at.

    Where there are very many, only those nearest to the need, and None for a bound on the rest.
    """
    starts = group.starts()
    weights = dict.fromkeys(range(len(starts)), 0.0)
    if any(len(each) > 1 for each in starts):
        problem = group.problem(group.lowest())
        for pattern, times in cutting.plain(problem) or ():
            source = problem.sources[pattern.source]
            weights[source.priced_with] += times * source.weight
    left_out = False
    while math.prod(map(len, starts)) > _MOST_LEVELS:
        number = max(range(len(starts)), key=lambda n: len(starts[n]))
        starts[number].remove(max(starts[number][1:], key=lambda start: abs(start - weights[number])))
        left_out = True
    levels = sorted(itertools.product(*starts), key=lambda level: (any(start > weights[n] for n, start in enumerate(level)),
                                                                   sum(abs(start - weights[n]) for n, start in enumerate(level))))
    return [*levels, None] if left_out else [*levels]


def _without_buying(demands: Sequence[Demand], offers: Sequence[Offer], rack: Sequence[RackBar], terms: Terms,
                    solved: Sequence[_Solved], plan: BuyingPlan, started: float) -> tuple[BuyingPlan, Sequence[_Solved]]:
    """The plan from the rack alone where that saves more than the freight, which the bound of a plan that buys has in it."""
    from_rack = []
    for group in (one.group for one in solved):
        problem = group.rack_alone()
        assert problem is not None
        try:
            alone = cutting.solve(problem, max(_LEAST_TIME, terms.seconds / len(solved) / 2))
        except NoPlanError as error:
            return replace(plan, bound=min(plan.bound, error.bound)), solved
        from_rack.append(_Solved(group, problem, alone, alone.bound, buy=False))
    other = _written(demands, offers, rack, terms, from_rack, _now() - started)
    bound = min(plan.bound, other.bound)
    return (replace(other, bound=bound), from_rack) if other.cost < plan.cost else (replace(plan, bound=bound), solved)


def _tidied(demands: Sequence[Demand], offers: Sequence[Offer], rack: Sequence[RackBar], terms: Terms, solved: Sequence[_Solved],
            plan: BuyingPlan, end: float) -> BuyingPlan:
    """The same plan easier to work by, where that costs no more and passes the check."""
    tidier = []
    for number, one in enumerate(solved):
        seconds = (end - _now()) / (len(solved) - number)
        tidier.append(replace(one, plan=tidying.tidied(one.problem, one.plan, seconds)))
    other = _written(demands, offers, rack, terms, tidier, plan.seconds)
    other = replace(other, bound=min(plan.bound, other.cost))
    dearer = other.cost > plan.cost + tidying.SAME_MONEY or (plan.proof != other.proof and other.cost > plan.cost)
    return plan if dearer or faults(demands, offers, rack, terms, other) else other


def _written(demands: Sequence[Demand], offers: Sequence[Offer], rack: Sequence[RackBar], terms: Terms, solved: Sequence[_Solved],
             seconds: float) -> BuyingPlan:
    """The plan in the words of the records."""
    unit = STEPS[terms.units]
    lines, sawing, notes = [], [], []
    rack_money = left_money = cut_money = bound = 0.0
    for one in solved:
        group, problem = one.group, one.problem
        bound += float(max(0.0, one.bound))  # what is left over is never worth more than what was paid
        used = Counter[int]()
        for pattern, times in one.plan.patterns:
            used[pattern.source] += times
            source = problem.sources[pattern.source]
            offer, bar = group.source(pattern.source, one.buy)
            left = pattern.left(problem) if pattern.kept(problem) is None else 0
            back = left > 0 and left >= source.least_left
            sawing.append(Sawing(times, offer, bar, tuple(_blanks(pattern, problem, group, unit)), left / unit, back, pattern.cuts(problem)))
            cut_money += times * pattern.cuts(problem) * problem.cut_cost
            left_money += times * source.value_left(left)
            if not source.offered:
                rack_money += times * source.cost
        for number, source in enumerate(problem.sources):
            bars = one.plan.bought[number]
            offer, _ = group.source(number, one.buy)
            if not bars or offer is None:
                continue
            spare = bars - used[number]
            left_money += spare * source.value_left(source.length)
            lines.append(OrderLine(offer, bars, bars * source.weight, source.cost,
                                   max(source.line_minimum, bars * source.cost) + source.line_fee, spare))
            if spare:
                notes.append(f"{spare} of {bars} bars of {describe(offers[offer].stock)}, {offers[offer].length:g} {terms.units}, "
                             "are needed by no job: they fill a bundle, reach a lower price, or the minimum of the line pays them")
    lines.sort(key=lambda line: line.offer)
    freight = terms.freight if lines else 0.0
    return BuyingPlan(tuple(lines), tuple(sawing), freight, cut_money, rack_money, left_money, bound + freight, seconds, tuple(notes))


def _blanks(pattern: Pattern, problem: Problem, group: _Group, unit: int) -> Iterator[Blank]:
    more = pattern.kept(problem) or (0,) * len(pattern.blanks)
    for (job, parts), kept in zip(pattern.blanks, more, strict=True):
        length = problem.tasks[job].cut.length(parts) - problem.kerf + kept
        demand = group.demands[group.jobs[job]]
        yield Blank(group.jobs[job], parts * (demand.parts_per_feed if demand.piece_length is None else 1), length / unit)
