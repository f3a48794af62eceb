"""A finished plan made easier to work by, at the same money: fewer heats in a job, then fewer ways to saw a bar, then what is left over
in few long pieces rather than in many short ones.

An integer program chooses among the patterns of the plan and others near them: the same blanks on another bar, a blank moved or parts
of it, two patterns made alike. Its answer gives new neighbours, until none is better or the time is up.
"""

import itertools
import math
import time
from collections import Counter
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import highspy
import numpy as np
from numpy.typing import NDArray

from barfuncs.buying.cutting import Pattern, Plan, Problem, can_be_bought, cost_of, feasible, heat_of, least_bought
from barfuncs.buying.highs import add_column, add_row, quiet_model

_INF = highspy.kHighsInf
SAME_MONEY = 1e-5
"""Sums that differ by less are the same: it is the rounding of sums."""
_WINDOWS = (3, 6)
"""Patterns that are chosen anew together: few first, which takes little time."""
_MOST_NODES = 50
"""Of the search of one integer program: where it is long, that ends it, and not the clock."""
_MOST_OVER = 0.02
"""Of the parts that a job needs, so many more may be made so that patterns are alike."""
_LEAST_TIME = 0.02
_now = time.monotonic

Patterns = tuple[tuple[Pattern, int], ...]
Blanks = tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True, order=True)
class Aims:
    """What a plan is judged by at the same money, the first first; less is better."""

    heats: int
    """Of each job, added up."""
    patterns: int
    """Ways to saw a bar, each bar of the rack with an id of its own counted by itself."""
    scattered: int
    """Less the squares of the lengths that go back on the rack, added up: one of 80 counts more than two of 40."""


def aims_of(problem: Problem, plan: Plan) -> Aims:
    """The aims of a plan, worked out from nothing but its patterns."""
    heats = {(job, heat_of(problem, pattern.source)) for pattern, _ in plan.patterns for job, _ in pattern.blanks}
    return Aims(len(heats), len({pattern for pattern, _ in plan.patterns}),
                -sum(times * left * left for left, times in _left_overs(problem, plan.patterns, plan.bought)))


def usable_left(problem: Problem, plan: Plan) -> int:
    """Length of all that goes back on the rack."""
    return sum(times * left for left, times in _left_overs(problem, plan.patterns, plan.bought))


def _left_overs(problem: Problem, patterns: Iterable[tuple[Pattern, int]], bought: Sequence[int]) -> Iterator[tuple[int, int]]:
    """Each length that goes back on the rack and how often, bars that are bought and not sawn included."""
    spare = list(bought)
    for pattern, times in patterns:
        yield _back(problem, pattern), times
        spare[pattern.source] -= times
    for source, bars in zip(problem.sources, spare, strict=True):
        if source.offered and source.length >= source.least_left:
            yield source.length, bars


def _back(problem: Problem, pattern: Pattern) -> int:
    """What of a bar goes back on the rack."""
    left = pattern.left(problem)
    return left if left >= problem.sources[pattern.source].least_left else 0


def tidied(problem: Problem, plan: Plan, seconds: float) -> Plan:
    """The plan, or one that costs no more, leaves no less on the rack and is better by its `Aims`; its bound is the same."""
    end = _now() + seconds
    plan = _merged(problem, plan)
    cost, usable = plan.cost, usable_left(problem, plan)

    def no_worse(other: Plan) -> bool:
        return (other.cost <= cost + SAME_MONEY and usable_left(problem, other) >= usable and aims_of(problem, other) < aims_of(problem, plan)
                and feasible(problem, other.patterns) and can_be_bought(problem, other.bought))

    for size in _WINDOWS:
        turn = idle = 0
        while idle < len(plan.patterns) and _now() < end - _LEAST_TIME:
            window = _window(problem, plan, turn, size)
            found = _chosen(problem, plan, window, end)
            if no_worse(found):
                plan, idle = found, 0
            else:
                turn, idle = turn + 1, len(plan.patterns) if len(window) == len(plan.patterns) else idle + 1
    return replace(plan, patterns=tuple(sorted(plan.patterns, key=lambda row: (row[0].source, row[0].blanks))))


def _merged(problem: Problem, plan: Plan) -> Plan:
    """The plan with each way to saw a bar once, its blanks in one order."""
    total = Counter[Pattern]()
    for pattern, times in plan.patterns:
        total[_pattern(pattern.source, pattern.blanks)] += times
    patterns = tuple(total.items())
    return replace(plan, patterns=patterns, cost=cost_of(problem, patterns, plan.bought))


def _pattern(source: int, blanks: Iterable[tuple[int, int]]) -> Pattern:
    return Pattern(source, tuple(sorted(blanks, key=lambda blank: (blank[0], -blank[1]))))


# --- neighbours ------------------------------------------------------------------------------------------------------


def _window(problem: Problem, plan: Plan, turn: int, size: int) -> list[Pattern]:
    """Patterns to choose anew together: one, and those that have most to do with it."""
    used = [pattern for pattern, _ in plan.patterns]
    if len(used) <= size:
        return used
    one = used[turn % len(used)]
    jobs, heat = {job for job, _ in one.blanks}, heat_of(problem, one.source)

    def near(other: Pattern) -> tuple[int, int]:
        return (other == one, len(jobs & {job for job, _ in other.blanks}) + (other.source == one.source) + (heat_of(problem, other.source) == heat))

    return sorted(used, key=near, reverse=True)[:size]


def _neighbours(problem: Problem, plan: Plan, window: Sequence[Pattern]) -> list[Pattern]:
    """Patterns near those of a window, these among them."""
    times = dict(plan.patterns)
    heats = _heats(problem, plan)
    pool = dict.fromkeys(window)

    def add(sources: Iterable[int], blanks: Blanks) -> bool:
        """Whether one of these can be."""
        any_ = False
        for source in sources if blanks else ():
            pattern = _pattern(source, blanks)
            if pattern in pool or _can_be(problem, pattern, heats):
                pool[pattern] = None
                any_ = True
        return any_

    sources = _sources(problem, plan, window)
    for pattern in window:
        add(sources, pattern.blanks)
        for job in dict.fromkeys(job for job, _ in pattern.blanks):
            add(sources, tuple(blank for blank in pattern.blanks if blank[0] == job))
            add(sources, tuple(blank for blank in pattern.blanks if blank[0] != job))
    for job in sorted({job for pattern in window for job, _ in pattern.blanks if problem.tasks[job].cut.single}):
        for count in range(1, problem.tasks[job].demand + 1):
            if not add(sources, ((job, 1),) * count):
                break
    for source in sources:
        for blanks in _alike(problem, [(p, times[p]) for p in window if p.source == source]):
            add((source,), blanks)
    for one, other in itertools.combinations(window, 2):
        both = dict.fromkeys((one.source, other.source))
        for blanks in itertools.chain(_alike(problem, [(one, times[one]), (other, times[other])]), _exchanged(problem, one, other)):
            add(both, blanks)
    return list(pool)


def _heats(problem: Problem, plan: Plan) -> Mapping[int, Hashable]:
    """The heat of each job that is to have one."""
    return {job: heat_of(problem, pattern.source) for pattern, _ in plan.patterns for job, _ in pattern.blanks if problem.tasks[job].one_heat}


def _can_be(problem: Problem, pattern: Pattern, heats: Mapping[int, Hashable]) -> bool:
    source, heat = problem.sources[pattern.source], heat_of(problem, pattern.source)
    return (all(problem.tasks[job].cut.holds(parts) and source.takes(job) and heats.get(job, heat) == heat for job, parts in pattern.blanks)
            and pattern.used(problem) <= source.length + problem.kerf)


def _sources(problem: Problem, plan: Plan, window: Sequence[Pattern]) -> list[int]:
    """The sources of a window, others of their heats, and what is bought."""
    heats = {heat_of(problem, pattern.source) for pattern in window}
    return [n for n, source in enumerate(problem.sources)
            if heat_of(problem, n) in heats or (source.offered and plan.bought[n])]


def _alike(problem: Problem, patterns: Sequence[tuple[Pattern, int]]) -> Iterator[Blanks]:
    """One way to saw all the bars of these patterns, that gives what they give: each job's parts spread evenly over the bars."""
    bars = sum(times for _, times in patterns)
    if len(patterns) < 2:
        return
    parts, blanks = Counter[int](), Counter[int]()
    for pattern, times in patterns:
        for job, count in pattern.blanks:
            parts[job] += count * times
            blanks[job] += times
    ways: list[list[Blanks]] = []
    for job in sorted(parts):
        cut, each = problem.tasks[job].cut, -(-parts[job] // bars)
        of_job: list[Blanks] = []
        for count in {blanks[job] // bars, -(-blanks[job] // bars)} - {0}:
            if cut.single:
                of_job.append(((job, 1),) * each)
            else:
                low, more = divmod(each, count)
                of_job.append(((job, low + 1),) * more + ((job, low),) * (count - more))
        ways.append(list(dict.fromkeys(of_job)))
    for chosen in itertools.islice(itertools.product(*ways), 16):
        yield tuple(itertools.chain.from_iterable(chosen))


def _exchanged(problem: Problem, one: Pattern, other: Pattern) -> Iterator[Blanks]:
    """Two patterns with a blank moved from one to the other, two blanks exchanged, or parts moved from a blank to another."""
    for a, b in ((one, other), (other, one)):
        for blank in dict.fromkeys(a.blanks):
            without = _without(a.blanks, blank)
            yield without
            yield (*b.blanks, blank)
            for back in dict.fromkeys(b.blanks):
                if back != blank:
                    yield (*without, back)
    for a, b in ((one, other), (other, one)):
        room = problem.sources[a.source].length + problem.kerf - a.used(problem)
        for blank, back in itertools.product(dict.fromkeys(a.blanks), dict.fromkeys(b.blanks)):
            job, parts = blank
            cut = problem.tasks[job].cut
            if back[0] != job or cut.single or not cut.step:
                continue
            # As many parts as this bar has room for, or the other blank has to spare, or can be without it.
            for moved in {min(room // cut.step, cut.most_parts - parts, back[1] - cut.least_parts), min(cut.most_parts - parts, back[1])}:
                if moved > 0:
                    yield (*_without(a.blanks, blank), (job, parts + moved))
                    yield (*_without(b.blanks, back), *(((job, back[1] - moved),) if back[1] > moved else ()))


def _without(blanks: Blanks, blank: tuple[int, int]) -> Blanks:
    at = blanks.index(blank)
    return blanks[:at] + blanks[at + 1:]


# --- the integer program ---------------------------------------------------------------------------------------------


class _Choice:
    """What to saw in place of the patterns of a window, all else and all that is bought being as in the plan."""

    def __init__(self, problem: Problem, plan: Plan, window: Sequence[Pattern]) -> None:
        self.problem, self.plan = problem, plan
        model = self.model = quiet_model()
        for option, value in (("mip_rel_gap", 0.0), ("mip_abs_gap", 1e-9), ("mip_max_nodes", _MOST_NODES), ("mip_allow_restart", False)):
            model.setOptionValue(option, value)
        self.kept = {pattern: times for pattern, times in plan.patterns if pattern not in window}
        self.before = {pattern: times for pattern, times in plan.patterns if pattern in window}
        jobs = {job for pattern in window for job, _ in pattern.blanks}
        near = _neighbours(problem, plan, window)
        # What is sawn anyway may be sawn more often.
        near += [p for p in self.kept if p not in near and jobs.issuperset(job for job, _ in p.blanks)]
        made, used = self._parts(self.kept), Counter[int]()
        for pattern, times in self.kept.items():
            used[pattern.source] += times
        self.needed = {job: problem.tasks[job].demand - made[job] for job in sorted(jobs)}
        self.there = {n: None if there is None else there - used[n] for n, source in enumerate(problem.sources)
                      for there in (plan.bought[n] if source.offered else source.count,)}
        limits = {pattern: self._most(pattern) for pattern in near}
        self.pool = [pattern for pattern in near if limits[pattern] > 0]
        self.x = [self._column(0, limits[pattern]) for pattern in self.pool]
        self.y = {n: self._column(0, 1) for n, pattern in enumerate(self.pool) if pattern not in self.kept}
        known = {(job, heat_of(problem, p.source)) for p in self.kept for job, _ in p.blanks}
        self.h: dict[tuple[int, Hashable], int] = {}
        for n, y in self.y.items():
            self._row(-_INF, 0, [self.x[n], y], [1, -limits[self.pool[n]]])
            heat = heat_of(problem, self.pool[n].source)
            for job in dict.fromkeys(job for job, _ in self.pool[n].blanks):
                if not problem.tasks[job].one_heat and (job, heat) not in known:
                    if (job, heat) not in self.h:
                        self.h[job, heat] = self._column(0, 1)
                    self._row(-_INF, 0, [y, self.h[job, heat]], [1, -1])
        rows: dict[int, list[tuple[int, int]]] = {job: [] for job in self.needed}
        bars: dict[int, list[int]] = {}
        for x, pattern in zip(self.x, self.pool, strict=True):
            for job, parts in pattern.parts().items():
                rows[job].append((x, parts))
            bars.setdefault(pattern.source, []).append(x)
        of_plan = self._parts(self.before)
        for job, terms in rows.items():
            most = max(of_plan[job], self.needed[job] + math.floor(_MOST_OVER * problem.tasks[job].demand))
            self._row(self.needed[job], most, [c for c, _ in terms], [parts for _, parts in terms])
        for number, columns in bars.items():
            if (there := self.there[number]) is not None:
                self._row(-_INF, there, columns, [1] * len(columns))
        # A spare bar that is sawn goes back no more.
        money = [p.money(problem) + (s.value_left(s.length) if (s := problem.sources[p.source]).offered else s.cost) for p in self.pool]
        self._row(-_INF, self._of_plan(money) + SAME_MONEY / 2, self.x, money)
        length = max(source.length for source in problem.sources)
        usable = [(_back(problem, p) - self._spare(p)) / length for p in self.pool]
        self._row(self._of_plan(usable), _INF, self.x, usable)
        self.squares = [-(_back(problem, p) ** 2 - self._spare(p) ** 2) / length ** 2 for p in self.pool]

    @staticmethod
    def _parts(patterns: Mapping[Pattern, int]) -> Counter[int]:
        made = Counter[int]()
        for pattern, times in patterns.items():
            for job, parts in pattern.parts().items():
                made[job] += parts * times
        return made

    def _of_plan(self, values: Sequence[float]) -> float:
        return sum(value * self.before.get(pattern, 0) for pattern, value in zip(self.pool, values, strict=True))

    def _most(self, pattern: Pattern) -> int:
        """The window has no use for the pattern more often."""
        most = max(-(-self.needed[job] // parts) for job, parts in pattern.parts().items())
        there = self.there[pattern.source]
        return max(self.before.get(pattern, 0), most if there is None else min(most, there))

    def _spare(self, pattern: Pattern) -> int:
        """What goes back of a bar of the pattern where it is bought and not sawn."""
        source = self.problem.sources[pattern.source]
        return source.length if source.offered and source.length >= source.least_left else 0

    def _column(self, lower: float, upper: float) -> int:
        column = add_column(self.model, 0.0, lower, upper)
        self.model.changeColIntegrality(column, highspy.HighsVarType.kInteger)
        return column

    def _row(self, lower: float, upper: float, columns: Sequence[int], values: Sequence[float]) -> None:
        add_row(self.model, lower, upper, columns, values)

    def best(self, end: float) -> Patterns:
        """The best choice by each aim in turn, and all else that is sawn."""
        values = np.zeros(self.model.getNumCol())
        for n, pattern in enumerate(self.pool):
            if pattern in self.before:
                values[self.x[n]], values[self.y[n]] = self.before[pattern], 1
                for job, _ in pattern.blanks:
                    if (column := self.h.get((job, heat_of(self.problem, pattern.source)))) is not None:
                        values[column] = 1
        objectives = [(list(self.h.values()), [1.0] * len(self.h)), (list(self.y.values()), [1.0] * len(self.y)), (self.x, self.squares)]
        for turn, (columns, weights) in enumerate(objectives):
            if not columns:
                continue
            values = self._least(columns, weights, values, end)
            if turn < len(objectives) - 1:
                self._row(-_INF, float(np.dot(values[columns], weights)) + 1e-6, columns, weights)
        total = Counter(self.kept)
        for pattern, column in zip(self.pool, self.x, strict=True):
            total[pattern] += round(float(values[column]))
        return tuple((pattern, times) for pattern, times in total.items() if times)

    def _least(self, columns: Sequence[int], weights: Sequence[float], start: NDArray[np.float64], end: float) -> NDArray[np.float64]:
        model = self.model
        for column in range(model.getNumCol()):
            model.changeColCost(column, 0.0)
        for column, weight in zip(columns, weights, strict=True):
            model.changeColCost(column, weight)
        solution = highspy.HighsSolution()
        solution.col_value = list(start)
        model.setSolution(solution)
        model.setOptionValue("time_limit", max(_LEAST_TIME, end - _now()))
        model.run()
        values = np.asarray(model.getSolution().col_value)
        if len(values) and math.isfinite(model.getInfo().objective_function_value):
            return np.round(values)
        return start


def _chosen(problem: Problem, plan: Plan, window: Sequence[Pattern], end: float) -> Plan:
    """The best plan with something else in place of a window of its patterns."""
    patterns = _Choice(problem, plan, window).best(end)
    ways = [plan.bought]
    fewer = tuple(least_bought(problem, patterns))
    if all(new <= old for new, old in zip(fewer, plan.bought, strict=True)):
        ways.append(fewer)
    bought = min(ways, key=lambda way: cost_of(problem, patterns, way))
    return replace(plan, patterns=patterns, bought=bought, cost=cost_of(problem, patterns, bought))
