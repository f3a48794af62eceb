"""Which jobs are made from which heat, where no job mixes heats: the cheapest way to share out the jobs, each heat's share being a
small problem by itself.

What a share costs is bounded first by the linear program of all jobs that a heat could take, then by its own, then by branching; always
the shares of the cheapest sharing so far are looked at more closely, until those are known exactly. So most shares never are.

A weight that has to be bought for prices to hold joins the heats. Where the cheapest sharing does not reach it, all bars that are
bought are taken to cost no more than they are worth whole, beside the least money that so much weight takes.
"""

import contextlib
import math
import time
from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from barfuncs.buying import cutting
from barfuncs.buying.cells import Cell, TooManyWaysError, choices
from barfuncs.buying.cutting import NoPlanError, Pattern, Plan, Problem, cost_of, heat_of, least_bought

_MOST_JOBS = 12
_MOST_SHARES = 4000
_MOST_MIXED, _MOST_SOURCES = 9, 24
"""Jobs of which some may mix heats, and sources for them, of one problem that is solved as a whole."""
_LEAST_TIME, _AT_LEAST = 0.2, 0.4
_NODES = 24
"""Of one share at a time."""
_CLOSE = 1e-6
_now = time.monotonic


class _Slow:
    """A share whose bars can be sawn in more ways than a `Cell` holds: plans come from a cell of bars for few jobs at once first, the bound from
    the general search."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.bound, self.cost = -math.inf, math.inf
        self.patterns: tuple[tuple[Pattern, int], ...] = ()
        self.worth: tuple[list[float], float] = [0.0] * len(problem.tasks), -math.inf
        self.started = False
        self._seconds, self._looked = 0.1, 0
        self._few = few_ways(problem)

    @property
    def closed(self) -> bool:
        return self.cost <= self.bound + _CLOSE * max(1.0, abs(self.bound))

    @property
    def stuck(self) -> bool:
        return self.closed or self._seconds > 10

    def start(self, deadline: float) -> None:
        self.started = True
        if self._few is not None:
            self._few.start(deadline)
        # What is broken off here is lost.
        self.bound, self.worth = cutting.relaxed(self.problem, max(deadline, _now() + _AT_LEAST), self._few.known() if self._few is not None else ())

    def work(self, deadline: float, cutoff: float = math.inf, nodes: int = 0) -> None:
        if not self.started:
            self.start(deadline)
        self._looked += 1
        if self._few is not None and self._looked % 2 and not self._few.stuck:
            self._few.work(min(deadline, _now() + self._seconds), min(cutoff, self.cost), nodes)
            if self._few.cost < self.cost:
                self.cost, self.patterns = self._few.cost, self._few.patterns
            return
        seconds = min(self._seconds, deadline - _now())
        self._seconds *= 2
        if seconds <= 0:
            return
        try:
            plan = cutting.solve(self.problem, seconds, min(cutoff, self.cost))
        except NoPlanError as error:
            self.bound = max(self.bound, error.bound)
            return
        self.bound = max(self.bound, min(plan.bound, self.cost))
        if plan.patterns and plan.cost < self.cost:
            self.cost, self.patterns = plan.cost, plan.patterns


def few_ways(problem: Problem) -> Cell | None:
    """A problem with bars for two jobs at once, or one where that is too many ways."""
    for most_jobs in (2, 1):
        with contextlib.suppress(TooManyWaysError):
            return Cell(problem, most_jobs)
    return None


Share = Cell | _Slow


def _share_of(problem: Problem) -> Share:
    try:
        return Cell(problem)
    except TooManyWaysError:
        return _Slow(problem)


@dataclass
class _Heat:
    """Bars of one heat, and the jobs that may be made from them."""

    sources: list[int]
    jobs: list[int]
    shares: dict[int, float] = field(default_factory=dict)
    """By set of jobs (a bit each) what it costs at least."""
    bars: dict[int, int] = field(default_factory=dict)
    """By set of jobs the bars that it takes at least."""


class Heats:
    """A problem whose jobs are each of one heat: the best plan so far, and a bound. It may be worked on again and again."""

    def __init__(self, problem: Problem, known: dict[Problem, Share]) -> None:
        self.problem, self._known = problem, known
        self.cost, self.bound = math.inf, -math.inf
        self.plan: Plan | None = None
        by_heat: dict[Hashable, list[int]] = {}
        mixed = self._whole = _mixes(problem)
        for number in range(len(problem.sources)):
            by_heat.setdefault(None if mixed else heat_of(problem, number), []).append(number)
        self._sources = list(by_heat.values())
        self._modes: dict[frozenset[int], list[_Heat]] = {}
        """By the kinds of bar that are bought for their weight: what the shares cost."""
        self._covers: dict[tuple[int, int, int], float] = {}
        self._short = frozenset[int]()
        """The kinds of bar that the latest plan buys for their weight."""
        if alone := cutting.plain(problem):
            self._take(alone)

    def work(self, seconds: float, cutoff: float = math.inf) -> Plan:
        """As `cutting.solve`."""
        start = _now()
        deadline = start + seconds
        while True:
            known = self._sharings()
            # What the last look found counts where the time is up too.
            self.bound = max(self.bound, min(known[0][0], self.cost))
            best = min(self.cost, cutoff)
            if known[0][0] >= best - _CLOSE or _now() >= deadline or not any(
                    self._look(total, filling, chosen, deadline, best) for total, chosen, filling in known):
                break
        if self.cost - self.bound < _CLOSE * max(1.0, abs(self.cost)):
            self.bound = self.cost
        if self.plan is None:
            if math.isfinite(cutoff):
                return Plan((), (), math.inf, self.bound)
            return cutting.solve(self.problem, max(_LEAST_TIME, deadline - _now()))
        return replace(self.plan, bound=min(self.bound, self.cost), seconds=_now() - start)

    def _sharings(self) -> list[tuple[float, list[tuple[_Heat, int]], frozenset[int]]]:
        """By the kinds of bar that are taken to be bought for their weight: the least cost, and who shares it. Each is a bound, the highest first."""
        found: list[tuple[float, list[tuple[_Heat, int]], frozenset[int]]] = [(*self._cheapest(self._mode(frozenset())), frozenset[int]())]
        if self._short:
            found += [(total + sum(self._least_for_weight(group) for group in self._short), chosen, self._short)
                      for total, chosen in self._cheapest_filled()]
        return sorted(found, key=lambda one: -one[0])

    def _look(self, total: float, filling: frozenset[int], chosen: Sequence[tuple[_Heat, int]], deadline: float, best: float) -> bool:
        """Look at the shares of a sharing more closely: whether there was anything to look at."""
        shares = [self._share(heat, mask, filling) for heat, mask in chosen]
        news = False
        for (heat, mask), share in zip(chosen, shares, strict=True):
            if not share.started:
                share.start(deadline)
                news = True
            # It may be known from another level.
            news |= share.bound > heat.shares[mask] + _CLOSE
            self._learn(heat, mask, share)
            heat.shares[mask] = max(heat.shares[mask], share.bound)
        if news:
            return True
        if all(share.patterns for share in shares):
            self._found(chosen, shares)
        open_ = [share for share in shares if not share.stuck]
        if not open_:
            return False
        share = max(open_, key=lambda s: min(s.cost, 1e9) - s.bound)
        share.work(deadline, best - (total - share.bound), _NODES)
        if all(share.patterns for share in shares):
            self._found(chosen, shares)
        for (heat, mask), share in zip(chosen, shares, strict=True):
            heat.shares[mask] = max(heat.shares[mask], share.bound)
        return True

    def _mode(self, filling: frozenset[int]) -> list[_Heat]:
        if filling not in self._modes:
            self._modes[filling] = [heat for sources in self._sources if (heat := self._heat(sources, filling)).jobs]
        return self._modes[filling]

    def _heat(self, sources: list[int], filling: frozenset[int]) -> _Heat:
        problem = self.problem
        jobs = []
        for job, task in enumerate(problem.tasks):
            parts = 0.0
            for s in sources:
                source = problem.sources[s]
                if source.takes(job) and task.cut.most_within(source.length + problem.kerf):
                    # No bar gives more than its length holds.
                    parts += math.inf if source.count is None else source.count * ((source.length + problem.kerf) // task.cut.step)
            if parts >= task.demand:
                jobs.append(job)
        heat = _Heat(sources, jobs)
        everything = (1 << len(jobs)) - 1
        # Where there is one heat alone, it has all jobs.
        for chosen in range(1, everything + 1) if len(self._sources) > 1 else (everything,):
            picked = [job for n, job in enumerate(jobs) if chosen >> n & 1]
            cost = material(_part(problem, sources, picked, filling))
            if math.isfinite(cost):
                heat.shares[sum(1 << job for job in picked)] = cost
        return heat

    def _share(self, heat: _Heat, mask: int, filling: frozenset[int]) -> Share:
        jobs = [job for job in heat.jobs if mask >> job & 1]
        problem = self.problem if self._whole else _part(self.problem, heat.sources, jobs, filling)
        if problem not in self._known:
            self._known[problem] = _share_of(problem)
        return self._known[problem]

    def _learn(self, heat: _Heat, mask: int, share: Share) -> None:
        """What a part costs with some jobs, it costs with fewer too: none of their ways to saw a bar is new."""
        jobs = [job for job in heat.jobs if mask >> job & 1]
        each, beside = share.worth
        worth = {1 << job: money for job, money in zip(jobs, each, strict=True)}
        for fewer in heat.shares:
            if fewer & mask == fewer:
                heat.shares[fewer] = max(heat.shares[fewer], beside + sum(money for bit, money in worth.items() if fewer & bit))

    def _cheapest_filled(self) -> Iterator[tuple[float, list[tuple[_Heat, int]]]]:
        """As `_cheapest`, beside the least money for the weight of the kinds of bar that are bought for it: as such, and with what it
        costs more where one heat gives the bars at least that its share takes."""
        heats = self._mode(self._short)
        yield self._cheapest(heats)
        for heat in heats:
            source = self.problem.sources[heat.sources[0]]
            if source.offered and source.priced_with in self._short and source.weight > 0:
                group = source.priced_with
                least = self._least_for_weight(group)
                shares = {mask: cost + self._least_for_weight(group, heat.sources[0], self._least_bars(heat, mask)) - least
                          for mask, cost in heat.shares.items()}
                yield self._cheapest([replace(heat, shares=shares) if other is heat else other for other in heats], heats)

    def _least_bars(self, heat: _Heat, mask: int) -> int:
        """No plan makes these jobs from fewer bars of a heat that has one source."""
        if (known := heat.bars.get(mask)) is None:
            source = self.problem.sources[heat.sources[0]]
            room, most = source.length + self.problem.kerf, 0
            length = 0
            for job in heat.jobs:
                if mask >> job & 1:
                    cut, demand = self.problem.tasks[job].cut, self.problem.tasks[job].demand
                    blanks = 0 if cut.single else -(-demand // max(cut.most_parts, cut.padded[1] if cut.padded else 1))
                    length += demand * cut.step + blanks * cut.start
                    alone = int(choices(cut, 10**9, room)[:, 0].max())
                    most = max(most, -(-demand // alone) if alone else 0)
            known = heat.bars[mask] = max(most, -(-length // room))
        return known

    def _cheapest(self, heats: Sequence[_Heat], known_as: Sequence[_Heat] = ()) -> tuple[float, list[tuple[_Heat, int]]]:
        """The cheapest sharing by what is known of the shares: a bound, and each heat's jobs."""
        everything = (1 << len(self.problem.tasks)) - 1
        masks = np.arange(everything + 1)
        best = np.full(everything + 1, np.inf)
        best[0] = 0
        chosen: list[NDArray[np.int64]] = []
        for heat in heats:
            after, choice = best.copy(), np.zeros(everything + 1, dtype=np.int64)
            for mask, cost in heat.shares.items():
                without = masks[(masks & mask) == 0]
                cheaper = best[without] + cost < after[without | mask]
                after[(without | mask)[cheaper]] = best[without[cheaper]] + cost
                choice[(without | mask)[cheaper]] = mask
            best = after
            chosen.append(choice)
        if not math.isfinite(best[everything]):
            return math.inf, []
        found, mask = [], everything
        for heat, choice in zip(reversed(known_as or heats), reversed(chosen), strict=True):
            if share := int(choice[mask]):
                found.append((heat, share))
                mask ^= share
        return float(best[everything]), found

    def _found(self, chosen: Sequence[tuple[_Heat, int]], shares: Sequence[Share]) -> None:
        """A plan of the shares' plans."""
        patterns = []
        for (heat, mask), share in zip(chosen, shares, strict=True):
            jobs = [job for job in heat.jobs if mask >> job & 1]
            patterns += [(Pattern(heat.sources[p.source], tuple((jobs[job], parts) for job, parts in p.blanks)), times) for p, times in share.patterns]
        self._take(patterns)

    def _take(self, patterns: Sequence[tuple[Pattern, int]]) -> None:
        problem = self.problem
        needed = least_bought(replace(problem, least_weights=()), patterns)
        # A problem that is solved as a whole has the weight in it.
        self._short = frozenset() if self._whole else frozenset(group for group, least in enumerate(problem.least_weights) if least > 1e-9 + sum(
            s.weight * n for s, n in zip(problem.sources, needed, strict=True) if s.offered and s.priced_with == group))
        bought = least_bought(problem, patterns)
        if cutting.can_be_bought(problem, bought) and cutting.feasible(problem, patterns):
            cost = cost_of(problem, patterns, bought)
            if cost < self.cost - 1e-9:
                self.cost, self.plan = cost, Plan(tuple(patterns), tuple(bought), cost, self.bound)

    def _least_for_weight(self, group: int, number: int = -1, bars: int = 0) -> float:
        """What the bars cost at least that reach the weight, beside what they are worth whole; so many of one source are among them."""
        if (known := self._covers.get((group, number, bars))) is None:
            each = [((s.cost - s.value_left(s.length)) * s.bundle, s.weight * s.bundle) for s in self.problem.sources
                    if s.offered and s.priced_with == group and s.weight > 0]
            weight, surely = self.problem.least_weights[group], 0.0
            if bars:
                source = self.problem.sources[number]
                bars = -(-bars // source.bundle) * source.bundle
                weight -= bars * source.weight
                surely = bars * max(0.0, source.cost - source.value_left(source.length))
            known = self._covers[group, number, bars] = surely + _least_cover(each, weight)
        return known


def material(problem: Problem) -> float:
    """A quick bound on the cost of a share, from the length and number of its blanks; infinity where there is not so much length."""
    length = blanks = 0
    for task in problem.tasks:
        cut = task.cut
        count = task.demand if cut.single else -(-task.demand // max(cut.most_parts, cut.padded[1] if cut.padded else 1))
        length += task.demand * cut.step + count * cut.start
        blanks += count
    there, each_length, each_blank = 0.0, math.inf, math.inf
    for source in problem.sources:
        room = source.length + problem.kerf
        there += math.inf if source.count is None else room * source.count
        # What a bar costs beside the worth of what is used of it; its last cut may be saved.
        whole = source.cost - source.left_value * source.length - problem.cut_cost
        each_length = min(each_length, (source.left_value * source.length + max(0.0, whole)) / room)
        each_blank = min(each_blank, problem.cut_cost + min(0.0, whole))
    if length > there:
        return math.inf
    if each_blank < 0:  # bars that are worth more left whole than they cost
        return -1e12
    fee = problem.sources[0].line_fee if len(problem.sources) == 1 and problem.sources[0].offered else 0.0
    return each_length * length + each_blank * blanks + fee


def can_share(problem: Problem) -> bool:
    """Whether the jobs can be shared out among heats, or the problem can be solved as a whole where some may mix heats."""
    if _mixes(problem):
        return len(problem.tasks) <= _MOST_MIXED and len(problem.sources) <= _MOST_SOURCES and isinstance(_share_of(problem), Cell)
    heats: dict[Hashable, set[int]] = {}
    for job in range(len(problem.tasks)):
        for heat in _able(problem, job):
            heats.setdefault(heat, set()).add(job)
    return len(problem.tasks) <= _MOST_JOBS and sum(1 << len(jobs) for jobs in heats.values()) <= _MOST_SHARES


def _able(problem: Problem, job: int) -> set[Hashable]:
    """The heats that a job may be made from."""
    return {heat_of(problem, n) for n, s in enumerate(problem.sources) if s.takes(job)}


def _mixes(problem: Problem) -> bool:
    """Whether some job may be of several heats at once."""
    return any(not task.one_heat and len(_able(problem, job)) > 1 for job, task in enumerate(problem.tasks))


def _part(problem: Problem, sources: Sequence[int], jobs: Sequence[int], filling: frozenset[int]) -> Problem:
    """These jobs from these sources alone; both are numbered anew. Bars of the kinds that fill a weight are paid with that."""
    number_of = {job: n for n, job in enumerate(jobs)}
    kept = []
    for s in sources:
        source = problem.sources[s]
        source = replace(source, jobs=frozenset(number_of[j] for j in jobs if source.takes(j)))
        if source.offered and source.priced_with in filling:
            source = replace(source, cost=source.value_left(source.length), line_minimum=0.0)
        kept.append(source)
    return Problem(tuple(kept), tuple(replace(problem.tasks[j], one_heat=False) for j in jobs), problem.kerf, problem.cut_cost)


def _least_cover(each: Sequence[tuple[float, float]], weight: float) -> float:
    """The least money for whole numbers of things, each with money and weight, that weigh so much together; not more than that."""
    if weight <= 0 or not each:
        return 0.0
    if len(each) > 3 or math.prod(weight / w + 2 for _, w in each[1:]) > 20_000:
        return max(0.0, min(money / w for money, w in each) * weight)
    money, heavy = each[0]
    if len(each) == 1:
        return max(0.0, money) * math.ceil(weight / heavy - 1e-6)
    return min(max(0.0, money) * n + _least_cover(each[1:], weight - n * heavy) for n in range(math.ceil(weight / heavy) + 1))
