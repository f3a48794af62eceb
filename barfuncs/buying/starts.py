"""A first plan, made in no time: each job goes to the heat that takes it at the least money beside the others, and fills what is left of
bars that are sawn already before it begins new ones. Then jobs change their heats as long as that saves money.

It is what a careful buyer does by hand, and a little more. It knows nothing of how far from the best it is.
"""

import time
from collections import Counter
from collections.abc import Hashable, Sequence
from dataclasses import replace

from barfuncs.buying.cutting import (
    Pattern,
    Problem,
    blanks_within,
    can_be_bought,
    cost_of,
    feasible,
    heat_of,
    least_bought,
    without_surplus,
)

_ANY: Hashable = ("any heat",)
_now = time.monotonic

Patterns = list[tuple[Pattern, int]]
_Choice = dict[int, Hashable]
_Bars = Counter[tuple[int, tuple[tuple[int, int], ...]]]


def first_plan(problem: Problem, seconds: float) -> tuple[Patterns, list[int]] | None:
    """Patterns with their times, and the bars to buy; None where no heat takes all jobs in that order, which does not mean that none can,
    or where the time is up before each job has one."""
    end = _now() + seconds
    start = _Start(problem)
    # The longest jobs first: the short ones then fill what those leave.
    order = sorted(range(len(problem.tasks)), key=lambda job: -problem.tasks[job].demand * problem.tasks[job].cut.step)
    chosen: _Choice = {}
    for job in order:
        ways: list[tuple[float, Hashable]] = []
        for heat in start.heats_of(job):
            if _now() > end:
                return None
            if (cost := start.cost(chosen | {job: heat})) is not None:
                ways.append((cost, heat))
        if not ways:
            return None
        chosen[job] = min(ways, key=lambda way: way[0])[1]
    best = start.cost(chosen)
    assert best is not None
    changed = True
    while changed and _now() < end:
        changed = False
        for job in order:
            for heat in start.heats_of(job):
                if heat != chosen[job] and _now() < end:
                    cost = start.cost(chosen | {job: heat})
                    if cost is not None and cost < best - 1e-9:
                        chosen, best, changed = chosen | {job: heat}, cost, True
    return start.plan(chosen)


class _Start:
    """What plans come of a choice of heats."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self._known: dict[tuple[tuple[int, Hashable], ...], tuple[float, Patterns, list[int]] | None] = {}
        by_heat: dict[Hashable, list[int]] = {}
        for number in range(len(problem.sources)):
            by_heat.setdefault(heat_of(problem, number), []).append(number)
        self._sources = {_ANY: list(range(len(problem.sources))), **by_heat}
        self._heats = [[heat for heat, sources in self._sources.items() if (heat != _ANY or not task.one_heat) and self._is_enough(job, sources)]
                       for job, task in enumerate(problem.tasks)]

    def heats_of(self, job: int) -> list[Hashable]:
        """Those that are enough for a job, and any, where it may mix them."""
        return self._heats[job]

    def _is_enough(self, job: int, sources: Sequence[int]) -> bool:
        task, parts = self.problem.tasks[job], 0
        for source in (self.problem.sources[s] for s in sources):
            if source.takes(job) and parts < task.demand:
                each = sum(blanks_within(task.cut, source.length + self.problem.kerf, task.demand))
                parts += each * (task.demand if source.count is None else source.count)
        return parts >= task.demand

    def cost(self, chosen: _Choice) -> float | None:
        found = self._found(chosen)
        return None if found is None else found[0]

    def plan(self, chosen: _Choice) -> tuple[Patterns, list[int]] | None:
        found = self._found(chosen)
        return None if found is None else found[1:]

    def _found(self, chosen: _Choice) -> tuple[float, Patterns, list[int]] | None:
        key = tuple(sorted(chosen.items(), key=lambda one: one[0]))
        if key not in self._known:
            self._known[key] = self._made(chosen)
        return self._known[key]

    def _made(self, chosen: _Choice) -> tuple[float, Patterns, list[int]] | None:
        """The jobs one after the other, those with the longest blanks first."""
        problem = self.problem
        bars: _Bars = Counter()
        taken: Counter[int] = Counter()
        order = sorted(chosen, key=lambda job: -problem.tasks[job].cut.length(_most_parts(problem, job)))
        for job in order:
            sources = [s for s in self._sources[chosen[job]] if problem.sources[s].takes(job)]
            left = self._into_rests(job, sources, bars)
            if left and not self._into_bars(job, left, sources, bars, taken):
                return None
        patterns = [(Pattern(source, blanks), times) for (source, blanks), times in bars.items()]
        part = problem if len(chosen) == len(problem.tasks) else replace(
            problem, tasks=tuple(replace(task, demand=task.demand if job in chosen else 0) for job, task in enumerate(problem.tasks)))
        ways = [(way, least_bought(problem, way)) for way in (patterns, without_surplus(part, patterns))]
        cost, patterns, bought = min(((cost_of(problem, way, bars), way, bars) for way, bars in ways), key=lambda way: way[0])
        if not can_be_bought(problem, bought) or (part is problem and not feasible(problem, patterns)):
            return None
        return cost, patterns, bought

    def _into_rests(self, job: int, sources: Sequence[int], bars: _Bars) -> int:
        """Parts of a job that are lacking still when what is left of bars that are sawn already is filled, the tightest first."""
        problem = self.problem
        task = problem.tasks[job]
        lacking = task.demand
        allowed = set(sources)
        rests = sorted((problem.sources[source].length + problem.kerf - Pattern(source, blanks).used(problem), source, blanks)
                       for source, blanks in bars if source in allowed)
        for rest, source, blanks in rests:
            more = blanks_within(task.cut, rest, lacking)
            if lacking <= 0 or not more:
                continue
            parts = sum(more)
            times = min(bars[source, blanks], max(1, lacking // parts))
            bars[source, blanks] -= times
            bars[source, (*blanks, *((job, p) for p in more))] += times
            lacking -= times * parts
        for bar in [bar for bar, times in bars.items() if not times]:
            del bars[bar]
        return max(0, lacking)

    def _into_bars(self, job: int, lacking: int, sources: Sequence[int], bars: _Bars, taken: Counter[int]) -> bool:
        """New bars for a job, those first that cost least for a part: whether there were enough."""
        problem = self.problem
        task = problem.tasks[job]
        while lacking > 0:
            best: tuple[float, int, tuple[tuple[int, int], ...], int] | None = None
            for number in sources:
                source = problem.sources[number]
                there = lacking if source.count is None else source.count - taken[number]
                if there <= 0 or not (blanks := blanks_within(task.cut, source.length + problem.kerf, lacking)):
                    continue
                pattern = Pattern(number, tuple((job, p) for p in blanks))
                parts = min(lacking, sum(blanks))
                each = (source.cost + pattern.money(problem)) / parts
                if best is None or each < best[0]:
                    best = each, number, pattern.blanks, min(there, max(1, lacking // sum(blanks)))
            if best is None:
                return False
            _, number, cut, times = best
            bars[number, cut] += times
            taken[number] += times
            lacking -= times * sum(parts for _, parts in cut)
        return True


def _most_parts(problem: Problem, job: int) -> int:
    cut = problem.tasks[job].cut
    if cut.single:
        return 1
    return cut.most_parts if cut.most_parts >= cut.least_parts else cut.padded[1] if cut.padded else cut.most_parts
