"""Bars of one kind into blanks for several jobs, at the least money, with a bound on how much less money could do.

Patterns (ways to saw one bar) are priced by `Knapsack` against the duals of a linear program over the patterns known so far, until
no pattern would lower it: its value is then a bound that no plan beats. Whole numbers come from diving (fix some bars, price again
for what is left) and from an integer program over all patterns found.

Lengths are whole numbers of one unit. The linear and integer programs are solved by HiGHS.
"""

import heapq
import itertools
import math
import random
import time
from collections import Counter
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import highspy
import numpy as np
from numpy.typing import NDArray

from barfuncs.buying.highs import add_column, add_row, quiet_model
from barfuncs.buying.knapsack import Cut, Knapsack

_INF = highspy.kHighsInf
_COARSE = 4000
"""Units of the longest bar in the first pricing, which finds most patterns at a fraction of the cost."""
_Values = NDArray[np.float64]
_now = time.monotonic
_EARLY = 0.1
"""Share of the time for each integer program over the patterns of the linear program."""
_SHARE = 0.6
"""Share of the time that the linear program may take."""
_SHARE_MANY = 0.75
"""The same with many sources, which leave it little that is not whole."""
_DEEPEST = 2
"""So many times the rest of a problem is made a problem of its own."""
_MOST_PATTERNS = 3000
_FEW = 40
"""Bars of which each one counts, so that the bound is raised first."""
_MORE = 12
"""Patterns beside the best that one pricing of a source may add."""
_NEAR = 1e-6
"""The linear program is good enough where it can't fall by more than this share of it."""
_NEAR_COARSE = 1e-5
"""The same in coarse units."""
_NEAR_MANY = 5e-5
"""The same with many sources."""
_MANY = 24
"""With more sources than this the prices are smoothed, and sources of few bars get one pattern at a time."""
_MANY_BLANKS = 4
"""Of one job in a bar, that are not reckoned one by one."""
_STRETCHED = -1
"""The reach of blanks that fill a bar."""
_SMOOTH = 0.5
"""So far from the latest prices to the best ones."""


@dataclass(frozen=True, slots=True)
class Source:
    """Bars that are all alike: on the rack, or on offer."""

    length: int
    """What of it may be blanks, kerfs between them and what is left over: trim at its ends is off."""
    cost: float
    """Of one bar."""
    count: int | None = None
    """How many there are; None: as many as wanted."""
    offered: bool = True
    """Bought, so that the terms below count; otherwise it lies on the rack."""
    heat: Hashable = None
    """Bars of one heat have the same."""
    jobs: frozenset[int] | None = None
    """Jobs that may be made from it; None: all."""
    left_value: float = 0
    """Of a left-over, for one unit of length."""
    least_left: int = 0
    """A shorter left-over is worth nothing."""
    bundle: int = 1
    """Bought in multiples of so many."""
    line_minimum: float = 0
    line_fee: float = 0
    """Once for all bars bought: certificate."""
    weight: float = 0
    """Of one bar, for `Problem.least_weights`."""
    priced_with: int = 0
    """Bars with the same number reach a weight in `Problem.least_weights` together."""

    def takes(self, job: int) -> bool:
        return self.jobs is None or job in self.jobs

    def surplus_pays(self, cut_cost: float) -> bool:
        """Whether more parts than are needed may save money: where a rest is worth less than the cut that parts the blanks from it."""
        return self.left_value * max(1, self.least_left) < cut_cost

    def value_left(self, left: int) -> float:
        return self.left_value * left if left and left >= self.least_left else 0.0


@dataclass(frozen=True, slots=True)
class Task:
    """What one job needs: so many parts, in blanks as `cut` says."""

    cut: Cut
    demand: int
    one_heat: bool = False
    """All its parts from bars of one heat."""
    longest: int = 0
    """Of a blank, without kerf: up to this, blanks of a bar keep what is left over where that is too short for the rack. 0: none does."""


@dataclass(frozen=True, slots=True)
class Problem:
    sources: tuple[Source, ...]
    tasks: tuple[Task, ...]
    kerf: int = 0
    cut_cost: float = 0
    least_weights: tuple[float, ...] = ()
    """Of all that is bought with one `priced_with`, for its price to hold; 0 where nothing need be bought."""


@dataclass(frozen=True, slots=True)
class Pattern:
    """One way to saw one bar of a source: job and parts of each blank."""

    source: int
    blanks: tuple[tuple[int, int], ...]

    def parts(self) -> Counter[int]:
        found: Counter[int] = Counter()
        for job, parts in self.blanks:
            found[job] += parts
        return found

    def used(self, problem: Problem) -> int:
        """Length of all blanks with a kerf each."""
        return sum(problem.tasks[job].cut.length(parts) for job, parts in self.blanks)

    def left(self, problem: Problem) -> int:
        return max(0, problem.sources[self.source].length - self.used(problem))

    def cuts(self, problem: Problem) -> int:
        """One behind each blank, but behind the last one where nothing is left, or where the blanks keep what is left."""
        return len(self.blanks) - (self.kept(problem) is not None)

    def kept(self, problem: Problem) -> tuple[int, ...] | None:
        """How much longer each blank is so that all of the bar is in them, and its last cut saved; None where the last cut is made.

        What is left then is too short for the rack, and no blank gets longer than it may be.
        """
        source = problem.sources[self.source]
        rest = source.length + problem.kerf - self.used(problem)
        if max(0, rest - problem.kerf) >= max(1, source.least_left) or (rest and not any(problem.tasks[job].longest for job, _ in self.blanks)):
            return None
        more = []
        for job, parts in self.blanks:
            task = problem.tasks[job]
            more.append(max(0, min(rest, task.longest - task.cut.length(parts) + problem.kerf)))
            rest -= more[-1]
        return None if rest else tuple(more)

    def money(self, problem: Problem) -> float:
        """What sawing costs, less the value of what is left over; without the bar."""
        return self.cuts(problem) * problem.cut_cost - problem.sources[self.source].value_left(self.left(problem))


@dataclass(frozen=True)
class Plan:
    """How often each pattern is sawn, and how many bars of each source are bought."""

    patterns: tuple[tuple[Pattern, int], ...]
    bought: tuple[int, ...]
    cost: float
    bound: float
    seconds: float = 0

    @property
    def gap(self) -> float:
        return max(0.0, self.cost - self.bound) / max(abs(self.cost), 1e-12)


class NoPlanError(Exception):
    """No plan that meets all demands was found; `jobs` are those that lack bars, `bound` is what none costs less than, and `proved`
    says that there is none."""

    def __init__(self, jobs: Sequence[int], bound: float = -math.inf, proved: bool = False) -> None:
        super().__init__(f"not enough bars for job {', '.join(str(job) for job in jobs)}")
        self.jobs, self.bound, self.proved = tuple(jobs), bound, proved


def cost_of(problem: Problem, patterns: Sequence[tuple[Pattern, int]], bought: Sequence[int]) -> float:
    """Money of a plan, worked out anew from nothing but its patterns."""
    used = _used(patterns)
    total = sum(times * pattern.money(problem) for pattern, times in patterns)
    for number, source in enumerate(problem.sources):
        if not source.offered:
            total += used[number] * source.cost
        elif bought[number]:
            total += max(source.line_minimum, bought[number] * source.cost) + source.line_fee
            total -= (bought[number] - used[number]) * source.value_left(source.length)
    return total


def free_up_to_minimum(source: Source) -> int:
    """Bars that the minimum of a line pays anyway, in whole bundles, where a bar that is left whole is worth something."""
    if not source.offered or source.cost <= 0 or not source.value_left(source.length):
        return 0
    bars = math.floor(source.line_minimum / source.cost + 1e-9)
    if source.count is not None:
        bars = min(bars, source.count)
    return bars // source.bundle * source.bundle


def least_bought(problem: Problem, patterns: Sequence[tuple[Pattern, int]]) -> list[int]:
    """Bars to buy of each source so that the patterns can be sawn and the price holds: whole bundles, the weight reached, and what
    the minimum of a line pays anyway."""
    used = _used(patterns)
    bought = [-(-used[n] // s.bundle) * s.bundle if s.offered else 0 for n, s in enumerate(problem.sources)]
    for n, source in enumerate(problem.sources):
        if bought[n]:
            bought[n] = max(bought[n], free_up_to_minimum(source))
    for group, least in enumerate(problem.least_weights):
        offered = [n for n, s in enumerate(problem.sources) if s.offered and s.weight > 0 and s.priced_with == group]
        lacking = least - sum(bought[n] * problem.sources[n].weight for n in offered)
        if lacking <= 1e-9 or not offered:
            continue

        def more(n: int, lacking: float = lacking) -> tuple[float, int]:
            s = problem.sources[n]
            bars = math.ceil(lacking / s.weight / s.bundle - 1e-9) * s.bundle
            if s.count is not None and bought[n] + bars > s.count:
                return math.inf, 0
            new = 0 if bought[n] else s.line_fee + max(0.0, s.line_minimum - bars * s.cost)
            return bars * (s.cost - s.value_left(s.length)) + new, bars

        cheapest = min(offered, key=lambda n: more(n)[0])
        bought[cheapest] += more(cheapest)[1]
    for n, source in enumerate(problem.sources):
        # The bars that lift a line over its minimum are paid in part only.
        below, after = bought[n] * source.cost, (bought[n] + source.bundle) * source.cost
        if 0 < below < source.line_minimum < after and (source.count is None or bought[n] + source.bundle <= source.count) and \
                after - source.line_minimum < source.bundle * source.value_left(source.length) - 1e-9:
            bought[n] += source.bundle
    return bought


def heat_of(problem: Problem, source: int) -> Hashable:
    """Which bars are of one heat; where none is said, those of a source."""
    heat = problem.sources[source].heat
    return ("bars", source) if heat is None else heat


def _parts(patterns: Iterable[tuple[Pattern, int]]) -> Counter[int]:
    """By job the parts that patterns give, each sawn so many times."""
    made = Counter[int]()
    for pattern, times in patterns:
        for job, parts in pattern.parts().items():
            made[job] += parts * times
    return made


def _used(patterns: Iterable[tuple[Pattern, int]]) -> Counter[int]:
    """By source the bars that patterns take."""
    used = Counter[int]()
    for pattern, times in patterns:
        used[pattern.source] += times
    return used


def _made(problem: Problem, patterns: Sequence[tuple[Pattern, int]]) -> Counter[tuple[int, Hashable]]:
    made: Counter[tuple[int, Hashable]] = Counter()
    for pattern, times in patterns:
        for job, parts in pattern.parts().items():
            made[job, heat_of(problem, pattern.source)] += parts * times
    return made


def of_one_heat(problem: Problem, patterns: Sequence[tuple[Pattern, int]]) -> list[tuple[Pattern, int]]:
    """The same patterns without blanks of a job from other heats than one that gives all its parts."""
    chosen: dict[int, Hashable] = {}
    for (job, heat), parts in sorted(_made(problem, patterns).items(), key=lambda made: made[1]):
        if problem.tasks[job].one_heat and parts >= problem.tasks[job].demand:
            chosen.setdefault(job, heat)
    total: Counter[Pattern] = Counter()
    for pattern, times in patterns:
        heat = heat_of(problem, pattern.source)
        kept = tuple(blank for blank in pattern.blanks if chosen.get(blank[0], heat) == heat)
        if kept:
            total[Pattern(pattern.source, kept)] += times
    return list(total.items())


def feasible(problem: Problem, patterns: Sequence[tuple[Pattern, int]]) -> bool:
    """Whether every demand is met from no more bars than there are, and of one heat where that is asked for."""
    parts, bars = _parts(patterns), _used(patterns)
    heats = Counter(job for job, _ in _made(problem, patterns))
    return all(parts[job] >= task.demand and (heats[job] == 1 or not task.one_heat) for job, task in enumerate(problem.tasks)) and all(
        source.count is None or bars[number] <= source.count for number, source in enumerate(problem.sources))


def can_be_bought(problem: Problem, bought: Sequence[int]) -> bool:
    """Whether there are so many bars, and their prices hold."""
    weights = Counter[int]()
    for number, source in enumerate(problem.sources):
        if source.offered:
            weights[source.priced_with] += bought[number] * source.weight  # type: ignore[assignment]
    return all(weights[group] >= least - 1e-9 for group, least in enumerate(problem.least_weights)) and all(
        source.count is None or bought[number] <= source.count for number, source in enumerate(problem.sources))


def without_surplus(problem: Problem, patterns: Sequence[tuple[Pattern, int]]) -> list[tuple[Pattern, int]]:
    """The same patterns without parts that no job needs; what that saves is left over."""
    total = Counter(dict(patterns))
    parts_of = _parts(patterns)
    for job, task in enumerate(problem.tasks):
        over = parts_of[job] - task.demand
        while over > 0:
            holding = [p for p, times in total.items() if times and any(j == job for j, _ in p.blanks)]
            if not holding:
                break
            # A blank less saves its ends too; of equal ones that where most is left already gives the longest left-over.
            pattern, blank = max(((p, b) for p in holding for b in p.blanks if b[0] == job),
                                 key=lambda pair: (pair[1][1] <= over, pair[0].left(problem), pair[1][1], pair[0].blanks))
            kept = max(0, blank[1] - over)
            if kept and not task.cut.holds(kept):
                kept = task.cut.least_parts
            fewer = blank[1] - kept
            if fewer <= 0:
                break
            blanks = list(pattern.blanks)
            blanks.remove(blank)
            blanks += [(job, kept)] if kept else []
            changed = Pattern(pattern.source, tuple(sorted(blanks, key=lambda b: (b[0], -b[1]))))
            total[pattern] -= 1
            if changed.blanks:
                total[changed] += 1
            over -= fewer
    return [(p, times) for p, times in total.items() if times]


@dataclass(frozen=True)
class _Ways:
    """To saw a bar: as long as their parts are, and where that may save the last cut, with blanks that fill the bar."""

    knapsack: Knapsack
    stretched: Knapsack | None
    pieces: bool
    """Whether there are blanks that keep nothing of what is left."""

    def blanks(self, used: int, reach: int) -> tuple[tuple[int, int], ...]:
        if reach == _STRETCHED:
            assert self.stretched is not None
            return self.stretched.blanks(used)
        return self.knapsack.blanks(used, reach)


class _Master:
    """The linear program over the patterns known so far."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.patterns: list[Pattern] = []
        self._known: set[Pattern] = set()
        model = self.model = quiet_model()
        dearest = max((s.cost for s in problem.sources), default=1.0)
        self.lack_cost = 1000 * (dearest + sum(s.line_minimum + s.line_fee for s in problem.sources) + 1)
        self._most: dict[int, int] = {}
        self.row_of: dict[tuple[int, Hashable], int] = {}
        self.heat_column: dict[tuple[int, Hashable], int] = {}
        self.source_row: dict[int, int] = {}
        self.integers: list[int] = []
        self.value = 0.0
        self._build()
        lp = model.getLp()
        self.limits = {c: (float(lp.col_lower_[c]), float(lp.col_upper_[c])) for c in self.integers}
        """Between which each of `integers` may lie."""
        self.first = model.getNumCol()
        """The column of the first pattern."""

    def heat_of(self, source: int) -> Hashable:
        return heat_of(self.problem, source)

    def _column(self, cost: float, lower: float, upper: float, rows: Sequence[int] = (), values: Sequence[float] = ()) -> int:
        return add_column(self.model, cost, lower, upper, rows, values)

    def _row(self, lower: float, upper: float, columns: Sequence[int] = (), values: Sequence[float] = ()) -> int:
        return add_row(self.model, lower, upper, columns, values)

    def _build(self) -> None:
        problem = self.problem
        self.lacks = []
        for job, task in enumerate(problem.tasks):
            able = list(dict.fromkeys(self.heat_of(n) for n, s in enumerate(problem.sources) if s.takes(job)))
            lack = self._column(self.lack_cost, 0, _INF)
            self.lacks.append(lack)
            if task.one_heat and len(able) > 1:
                chosen = []
                for heat in able:
                    z = self.heat_column[job, heat] = self._column(0, 0, 1)
                    self.integers.append(z)
                    chosen.append(z)
                    self.row_of[job, heat] = self._row(0, _INF, [z], [-task.demand])
                self._row(1, _INF, [*chosen, lack], [1] * len(chosen) + [1 / task.demand])
            else:
                row = self._row(task.demand, _INF, [lack], [1])
                for heat in able:
                    self.row_of[job, heat] = row
        weight_rows = {group: self._row(least, _INF) for group, least in enumerate(problem.least_weights) if least > 0}
        for number, source in enumerate(problem.sources):
            row = self.source_row[number] = self._row(-_INF, 0)
            rows, values = [row], [-float(source.bundle)]
            if source.offered and source.priced_with in weight_rows:
                rows.append(weight_rows[source.priced_with])
                values.append(source.weight * source.bundle)
            most = self.most_bars(number)
            each = source.cost - (source.value_left(source.length) if source.offered else 0)
            n = self._column(each * source.bundle, 0, most // source.bundle, rows, values)
            self.integers.append(n)
            if source.line_minimum > 0 or source.line_fee > 0:
                u = self._column(source.line_fee, 0, 1)
                self.integers.append(u)
                self._row(-_INF, 0, [n, u], [1, -(most // source.bundle)])
                if source.line_minimum > 0:
                    more = self._column(1, 0, _INF)
                    self._row(0, _INF, [more, n, u], [1, source.cost * source.bundle, -source.line_minimum])

    def most_bars(self, number: int) -> int:
        """No plan that costs least buys more bars of a source than this."""
        if number not in self._most:
            self._most[number] = self._most_bars(number)
        return self._most[number]

    def _most_bars(self, number: int) -> int:
        problem, source = self.problem, self.problem.sources[number]
        bars = 0
        for job, task in enumerate(problem.tasks):
            if not source.takes(job):
                continue
            # Each bar that is sawn holds a part at least; fewer, fuller bars may cost more, by cuts or by what is left over.
            bars += task.demand if task.cut.most_within(source.length + problem.kerf) else 0
        if source.offered and source.weight > 0 and problem.least_weights:
            bars += math.ceil(problem.least_weights[source.priced_with] / source.weight)
        bars += free_up_to_minimum(source) + (source.bundle if source.line_minimum else 0)
        bundles = -(-bars // source.bundle)
        return source.bundle * (bundles if source.count is None else min(bundles, source.count // source.bundle))

    def most_money(self) -> float:
        """No plan that costs least costs more than this: what costs more lacks bars."""
        cuts = sum(task.demand for task in self.problem.tasks) * self.problem.cut_cost
        return cuts + sum(self.most_bars(n) * s.cost + s.line_minimum + s.line_fee for n, s in enumerate(self.problem.sources))

    def add(self, pattern: Pattern) -> bool:
        """Whether the pattern is new."""
        if pattern in self._known:
            return False
        self._known.add(pattern)
        self.patterns.append(pattern)
        rows, values, cost = self._entries(pattern)
        self._column(cost, 0, _INF, rows, values)
        return True

    def _entries(self, pattern: Pattern) -> tuple[list[int], list[float], float]:
        """Rows, values and cost of a pattern in the linear program."""
        source = self.problem.sources[pattern.source]
        heat = self.heat_of(pattern.source)
        rows = [self.source_row[pattern.source]]
        values = [1.0]
        for job, parts in pattern.parts().items():
            rows.append(self.row_of[job, heat])
            values.append(float(parts))
        return rows, values, pattern.money(self.problem) + (source.value_left(source.length) if source.offered else 0)

    def solve(self) -> float:
        self.model.run()
        self.value = float(self.model.getInfo().objective_function_value)
        return self.value

    def values(self) -> NDArray[np.float64]:
        return np.asarray(self.model.getSolution().col_value)

    def lacking(self) -> list[int]:
        values = self.values()
        return [job for job, column in enumerate(self.lacks) if values[column] > 1e-7]

    def whole(self) -> int | None:
        """The column farthest from whole of those that a plan needs whole, but for the patterns; None where all are."""
        values = self.values()
        column = max(self.integers, key=lambda c: abs(values[c] - round(float(values[c]))), default=None)
        return None if column is None or abs(values[column] - round(float(values[column]))) < 1e-6 else column

    def bound_between(self, limits: Mapping[int, tuple[float, float]]) -> None:
        """These limits of columns, and no others."""
        for column, (lower, upper) in self.limits.items():
            self.model.changeColBounds(column, *limits.get(column, (lower, upper)))

    def fix(self, column: int, at: float) -> None:
        """At least so many of a pattern from now on."""
        self.model.changeColBounds(column, at, _INF)

    def free(self) -> None:
        for column in range(self.first, self.model.getNumCol()):
            self.model.changeColBounds(column, 0, _INF)
        self.bound_between({})

    def kinds_of_source(self) -> Iterator[tuple[Hashable, frozenset[int], list[int]]]:
        """Sources of one heat (where heats matter) that take the same jobs: they share a knapsack."""
        heats_matter = bool(self.heat_column)
        groups: dict[tuple[Hashable, frozenset[int]], list[int]] = {}
        everything = frozenset(range(len(self.problem.tasks)))
        for number, source in enumerate(self.problem.sources):
            heat = self.heat_of(number) if heats_matter else None
            groups.setdefault((heat, everything if source.jobs is None else source.jobs), []).append(number)
        for (_, jobs), numbers in groups.items():
            yield self.heat_of(numbers[0]), jobs, numbers

    def _knapsacks(self, duals: NDArray[np.float64], unit: int = 1, demands: Sequence[int] | None = None,
                   down: bool = False, every: bool = False) -> Iterator[tuple[list[int], _Ways | None, list[int]]]:
        """Sources that share a knapsack, that, and the jobs that its numbers stand for; None where no job is worth anything.

        Jobs that are worth nothing are in it for a bound where they may save a cut, and where `every` pattern is looked for.
        """
        problem = self.problem
        for heat, jobs, numbers in self.kinds_of_source():
            values, cuts, who = [], [], []
            for job in sorted(jobs):
                row = self.row_of.get((job, heat))
                if row is None:
                    continue
                task = problem.tasks[job]
                demand = task.demand if demands is None else demands[job]
                if demand <= 0 or (duals[row] <= 1e-12 and not every and not (problem.cut_cost and (down or unit == 1))):
                    continue
                surplus = any(problem.sources[n].surplus_pays(problem.cut_cost) for n in numbers)
                cut = task.cut if surplus else _for_demand(task.cut, demand)
                for same in (cut,) if every else _full_first(cut):
                    who.append(job)
                    values.append(max(0.0, float(duals[row])))
                    cuts.append(same.scaled(unit, down) if unit > 1 else same)
            longest = max(problem.sources[n].length for n in numbers) + problem.kerf
            if not cuts:
                yield numbers, None, who
                continue
            capacity = (longest + (unit - 1 if down else 0)) // unit
            stretched = reaches = None
            # A rest that is worth less than a cut can't be kept where it is long enough for the rack, which a stretched blank does not know.
            if every or any(problem.sources[n].surplus_pays(problem.cut_cost) for n in numbers):
                reaches = self._reaches(who)
            elif problem.cut_cost and any(problem.tasks[job].longest for job in who):
                most = [task.longest + problem.kerf if (task := problem.tasks[job]).longest else 0 for job in who]
                stretched = Knapsack(cuts, values, capacity, problem.cut_cost,
                                     longest=[(length + (unit - 1 if down else 0)) // unit for length in most])
            yield numbers, _Ways(Knapsack(cuts, values, capacity, problem.cut_cost, reaches, longest), stretched,
                               any(not problem.tasks[job].longest for job in who)), who

    def _reaches(self, jobs: Sequence[int]) -> list[int] | None:
        """How long a blank of each job may be with what it keeps of a bar, and a kerf; None where no cut is saved by that.

        Beside pieces, which keep nothing, one blank is taken to reach far enough, as the length of those is not told apart.
        """
        problem = self.problem
        if not problem.cut_cost or not any(problem.tasks[job].longest for job in jobs):
            return None
        far = max(s.length for s in problem.sources) + problem.kerf
        pieces = any(not problem.tasks[job].longest for job in jobs)
        return [(far if pieces else min(far, longest + problem.kerf)) if (longest := problem.tasks[job].longest) else 0 for job in jobs]

    def _worth(self, source: Source, ways: _Ways | None, unit: int = 1, down: bool = False) -> dict[int, _Values]:
        """What each length taken off a bar of a source is worth at most, by what its blanks reach: they, what is left, and a cut saved."""
        room = source.length + self.problem.kerf
        end = (room + (unit - 1 if down else 0)) // unit + 1
        by_reach = {0: np.array([0.0])} if ways is None else {reach: best[:end] for reach, best in ways.knapsack.by_reach.items()}
        used = np.arange(len(by_reach[0])) * unit
        left = np.maximum(0, source.length - used)
        beside = np.where(left >= max(1, source.least_left), left * source.left_value, 0.0)
        missing = unit * _most_missing(ways.knapsack) if down and ways else 0
        worth = {}
        if ways and ways.stretched:
            # Lengths of blanks that fill a bar can be rounded so that they fill it still, but for those of pieces.
            full = (used > room - max(missing if ways.pieces else 0, unit)) & (used > 0)
            worth[_STRETCHED] = np.where(full, ways.stretched.best[:end] + self.problem.cut_cost, -np.inf)
        for reach, best in by_reach.items():
            saved = left < max(1, source.least_left) + missing if reach >= room else used >= room - (0 if worth else missing)
            saved[0] = False
            worth[reach] = best + beside + saved * self.problem.cut_cost
        return worth

    def add_all(self, most_reduced: float, deadline: float) -> bool:
        """Add every pattern that raises the linear program by no more than `most_reduced`: whether all are known now."""
        problem = self.problem
        duals = np.asarray(self.model.getSolution().row_dual).copy()
        found: list[Pattern] = []
        for numbers, ways, who in self._knapsacks(duals, every=True):
            for number in numbers:
                source = problem.sources[number]
                if ways is None:
                    continue
                knapsack = ways.knapsack
                worth = np.maximum.reduce(list(self._worth(source, ways).values()))
                base = source.value_left(source.length) if source.offered else 0.0
                least = base - float(duals[self.source_row[number]]) - most_reduced
                for at in np.nonzero(worth >= least)[0]:
                    for blanks in knapsack.all_from(int(at), least - float(worth[at] - knapsack.best[at])):
                        if blanks:
                            found.append(Pattern(number, tuple((who[job], parts) for job, parts in blanks)))
                    if len(found) > _MOST_PATTERNS or _now() > deadline:
                        return False
        for pattern in found:
            self.add(pattern)
        return True

    def duals(self) -> _Values:
        return np.asarray(self.model.getSolution().row_dual)

    def price(self, unit: int, demands: Sequence[int] | None = None, down: bool = False, at: "_Prices | None" = None) -> tuple[int, float]:
        """Add the best pattern of each source that lowers the linear program; how many, and by how much at most it could fall.

        In a coarser `unit` patterns are found but no bound, or a bound but no patterns (`down`). `at` are other prices than those of the
        linear program: patterns and fall are reckoned at them, and only patterns that lower the linear program are added.
        """
        problem = self.problem
        own = self.duals()
        duals = own if at is None else at.duals
        added, fall, share = 0, 0.0, 0.0
        many = len(problem.sources) > _MANY
        for numbers, ways, who in self._knapsacks(duals, unit, demands, down):
            quick = None if down or ways is None else _Uses(ways, unit, problem)
            for number in numbers:
                source = problem.sources[number]
                base = source.value_left(source.length) if source.offered else 0.0
                row = self.source_row[number]
                if quick is None:
                    best, most = 0, max(float(worth.max()) for worth in self._worth(source, ways, unit, down).values())
                else:
                    most, best, reach = quick.best(source)
                reduced = base - duals[row] - most
                if reduced < 0:
                    each = source.cost - source.value_left(source.length)
                    if source.offered and each > 0:
                        share = min(share, reduced / each)
                    else:
                        fall += reduced * self.most_bars(number)
                if down or ways is None or best == 0:
                    continue
                if at is None and reduced >= -1e-9 * max(1.0, abs(base)):
                    continue
                uses = [(best, reach)]
                if not many or source.count is None:
                    by_reach = self._worth(source, ways, unit)
                    uses += _spread(by_reach, best, base - float(duals[row]))
                for used, reach in uses:
                    pattern = Pattern(number, tuple((who[job], parts) for job, parts in ways.blanks(used, reach)))
                    if at is None or self.reduced(pattern, own) < -1e-9 * max(1.0, abs(base)):
                        added += self.add(pattern)
        # No plan spends more on bars than the linear program does, but for what left-overs of the rack are worth.
        spent = self.value + sum(
            (s.count or 0) * max(0.0, s.value_left(s.length) - s.cost) for s in problem.sources if not s.offered)
        return added, fall + share * spent

    def reduced(self, pattern: Pattern, duals: _Values) -> float:
        """By how much one bar of a pattern raises the linear program, at these prices."""
        rows, values, cost = self._entries(pattern)
        return cost - sum(float(duals[row]) * value for row, value in zip(rows, values, strict=True))


@dataclass(frozen=True)
class _Prices:
    """Prices of the rows, and what the linear program is worth at them when no pattern lowers it."""

    duals: _Values
    value: float

    def towards(self, other: "_Prices", share: float) -> "_Prices":
        """Between these and others. What they are worth is concave in them, so it is no less than between."""
        return _Prices(self.duals + share * (other.duals - self.duals), self.value + share * (other.value - self.value))


class _Uses:
    """The best use of bars of any length, at the values of one knapsack."""

    def __init__(self, ways: "_Ways", unit: int, problem: Problem) -> None:
        self._stretched = None if ways.stretched is None else ways.stretched.best
        self._unit, self._problem = unit, problem
        # Where less of a bar is worth as much, more of it is worth no more with what is left.
        self._steps = {}
        for reach, values in ways.knapsack.by_reach.items():
            before = np.maximum.accumulate(values)
            at = np.nonzero(values[1:] > before[:-1])[0] + 1
            if values[0] > -np.inf:
                at = np.concatenate(([0], at))
            self._steps[reach] = values, at, values[at]

    def best(self, source: Source) -> tuple[float, int, int]:
        """What a bar is worth at most, how much of it is used for that, and what its blanks reach."""
        unit, cut_cost = self._unit, self._problem.cut_cost
        room = source.length + self._problem.kerf
        end = room // unit + 1
        least = max(1, source.least_left)
        # Before this much is used what is left is worth something.
        kept = min(end, max(0, (source.length - least) // unit + 1))
        found = (source.value_left(source.length), 0, 0)
        for reach, (values, at, worth) in self._steps.items():
            if (many := int(np.searchsorted(at, kept))) and (source.left_value or kept == end):
                beside = worth[:many] + (source.length - unit * at[:many]) * source.left_value
                n = int(beside.argmax())
                found = max(found, (float(beside[n]), int(at[n]), reach))
            elif many:
                found = max(found, (float(worth[many - 1]), int(at[many - 1]), reach))
            if (start := max(1, kept)) < end:
                n = start + int(values[start:end].argmax())
                found = max(found, (float(values[n]) + (cut_cost if reach >= room else 0.0), n, reach))
                if (end - 1) * unit >= room:
                    found = max(found, (float(values[end - 1]) + cut_cost, end - 1, reach))
        if self._stretched is not None and end > 1:
            found = max(found, (float(self._stretched[end - 1]) + cut_cost, end - 1, _STRETCHED))
        return found


def _spread(by_reach: Mapping[int, _Values], best: int, least: float) -> Iterator[tuple[int, int]]:
    """The next best lengths to use beside the best one, where they lower the program too, with what their blanks reach."""
    worth = np.maximum.reduce(list(by_reach.values()))
    many = min(_MORE, len(worth) - 1)
    if many > 0:
        others = np.argpartition(worth, -many)[-many:]
        for at in others[np.argsort(worth[others])[::-1]]:
            if at != best and worth[at] > least + 1e-9 * max(1.0, abs(least)):
                yield int(at), max(by_reach, key=lambda reach, at=at: by_reach[reach][at])  # type: ignore[misc]


def _most_missing(knapsack: Knapsack) -> int:
    """Units by which the blanks of a bar may be longer than their lengths in units that were rounded down."""
    shares = [(1 if cut.single else 1 + max(0, cut.most_parts - cut.least_parts)) / max(1, cut.shortest) for cut in knapsack.cuts]
    return math.ceil(max(shares, default=0.0) * (knapsack.capacity + 1))


def _full_first(cut: Cut) -> tuple[Cut, ...]:
    """The full blanks of a job, and at most two others: of more than that parts can go from one to another until two of the least are
    one, which is shorter and saves as much as any."""
    if cut.single or cut.most_blanks < _MANY_BLANKS or 2 * cut.least_parts > cut.most_parts:
        return (cut,)
    return replace(cut, least_parts=cut.most_parts, most_blanks=cut.most_blanks - 1, padded=None), replace(cut, most_blanks=2)


def _for_demand(cut: Cut, demand: int) -> Cut:
    """No blank holds more parts than are needed."""
    if demand >= cut.most_parts * cut.most_blanks:
        return cut
    most = min(cut.most_parts, max(cut.least_parts, demand))
    return replace(cut, most_parts=most, most_blanks=min(cut.most_blanks, -(-demand // most)))


@dataclass
class _Search:
    problem: Problem
    deadline: float
    best: Plan | None = None
    bound: float = -math.inf
    raised: Sequence[float] = ()
    """By pattern, by how much one bar of it raises the linear program."""
    _grain: float = field(init=False)

    def __post_init__(self) -> None:
        self._grain = grain(self.problem)

    def found(self, patterns: Sequence[tuple[Pattern, int]]) -> None:
        patterns = of_one_heat(self.problem, patterns)
        # A part less may cost a cut, where the rest gets too long for a blank to keep it.
        for ways in (without_surplus(self.problem, patterns), patterns):
            self._found(ways)

    def _found(self, patterns: Sequence[tuple[Pattern, int]]) -> None:
        if not feasible(self.problem, patterns):
            return
        bought = least_bought(self.problem, patterns)
        if not can_be_bought(self.problem, bought):
            return
        cost = cost_of(self.problem, patterns, bought)
        if self.best is None or cost < self.best.cost - 1e-9:
            self.best = Plan(tuple(patterns), tuple(bought), cost, self.bound)

    def bounded(self, value: float) -> None:
        if self._grain and math.isfinite(value):
            value = math.ceil(value / self._grain - 1e-6) * self._grain
        self.bound = max(self.bound, value)

    def over(self) -> bool:
        """Whether the best plan is proved, or the time is up."""
        return _now() > self.deadline or (self.best is not None and self.best.cost <= self.bound + 1e-9 * max(1, abs(self.bound)))


def grain(problem: Problem) -> float:
    """Every plan's money is a multiple of this; 0 where it is not known to be."""
    if any(s.left_value for s in problem.sources):
        return 0.0
    money = [problem.cut_cost, *(value for s in problem.sources for value in (s.cost, s.line_minimum, s.line_fee))]
    cents = [round(value * 100) for value in money]
    if any(abs(value * 100 - whole) > 1e-6 for value, whole in zip(money, cents, strict=True)):
        return 0.0
    return math.gcd(*cents) / 100


def solve(problem: Problem, seconds: float = 10, cutoff: float = math.inf, _depth: int = 0) -> Plan:
    """The cheapest plan found within a time, and a bound that no plan beats. Raises NoPlanError where demands can't be met.

    Where no plan costs less than `cutoff` it is not looked for: what comes back may have no patterns and cost infinity.
    """
    start = _now()
    problem = problem if _depth else in_largest_unit(problem)
    search = _Search(problem, start + seconds)
    master = _Master(problem)
    for pattern in _first_patterns(problem):
        master.add(pattern)
    if alone := plain(problem):
        search.found(alone)
    units = _units(problem)
    many = len(problem.sources) > _MANY
    search.bounded(_relax(master, units, start + (_SHARE_MANY if many else _SHARE) * seconds))
    if search.bound >= cutoff:
        return replace(search.best or Plan((), (), math.inf, 0.0), bound=search.bound)
    relaxed = [float(x) for x in master.values()[master.first:]]
    search.raised = [float(x) for x in np.asarray(master.model.getSolution().col_dual)[master.first:]]
    # With many sources each dive takes long, and a program that has any of its bars to choose anew.
    for unit in units[:1] if many else units[:-1] or units:
        if not search.over():
            _dive(master, search, unit)
    # Heats that the linear program mixes must come apart, so nothing of it is kept then.
    for freedom in () if master.heat_column else (0,) if many else (0, 1, 3):
        if not search.over():
            _integers(master, search, relaxed, freedom, min(_EARLY * seconds, (search.deadline - _now()) / 4))
    few = sum(relaxed) < _FEW
    if few and not search.over():
        _all_patterns(master, search, start + _SHARE * seconds)
    for unit in units[-3:] if few else ():
        _branch(master, search, unit, (search.deadline - _now()) / 3)
    if not search.over() and _depth < _DEEPEST:
        _rest(master, search, relaxed, 0, seconds / 4, None, _depth)
    if not search.over():
        # Heats that the linear program mixes must come apart, so nothing of it is kept then.
        _integers(master, search, relaxed, None if master.heat_column else 0, seconds / 10)
    if not few:
        _branch(master, search, units[-1], (search.deadline - _now()) / 2)
    chance = random.Random(0)  # noqa: S311
    for turn in itertools.count(1):
        if search.over():
            break
        before = len(master.patterns), search.best and search.best.cost
        if _depth == _DEEPEST or not _rest(master, search, relaxed, turn, (search.deadline - _now()) / 4, chance, _depth):
            for unit in units[-2:]:
                _dive(master, search, unit, chance)
        if not search.over() and (len(master.patterns), search.best and search.best.cost) != before:
            _integers(master, search, relaxed, None if master.heat_column else chance.choice((0, 1, 4)), (search.deadline - _now()) / 4)
    if search.best is None:
        master.free()
        master.solve()
        raise NoPlanError(master.lacking() or range(len(problem.tasks)), search.bound, search.bound > master.most_money())
    return replace(search.best, bound=min(search.bound, search.best.cost), seconds=_now() - start)


def in_largest_unit(problem: Problem) -> Problem:
    """The same problem in the largest unit that all its lengths are whole numbers of: there is less to reckon, and patterns stay."""
    cuts = [task.cut for task in problem.tasks]
    unit = math.gcd(problem.kerf, *(s.length for s in problem.sources), *(t.longest for t in problem.tasks),
                    *(length for c in cuts for length in (c.step, c.start, *(c.padded or ())[:1])))
    if unit <= 1:
        return problem
    sources = tuple(replace(s, length=s.length // unit, left_value=s.left_value * unit, least_left=-(-s.least_left // unit)) for s in problem.sources)
    tasks = tuple(replace(task, longest=task.longest // unit, cut=replace(
        task.cut, step=task.cut.step // unit, start=task.cut.start // unit,
        padded=task.cut.padded and (task.cut.padded[0] // unit, task.cut.padded[1]))) for task in problem.tasks)
    return replace(problem, sources=sources, tasks=tasks, kerf=problem.kerf // unit)


def relaxed(problem: Problem, deadline: float, known: Iterable[Pattern] = ()) -> tuple[float, tuple[list[float], float]]:
    """What the linear program says that no plan beats, where each job has one heat: also what of it each job adds, and the rest.

    `known` patterns, of another such program, are there from the beginning.
    """
    master = _Master(problem)
    for pattern in itertools.chain(_first_patterns(problem), known):
        master.add(pattern)
    bound = _relax(master, _units(problem), deadline)
    duals = np.asarray(master.model.getSolution().row_dual)
    each = [task.demand * float(max((duals[row] for (j, _), row in master.row_of.items() if j == job), default=0.0))
            for job, task in enumerate(problem.tasks)]
    # A bound from other prices than these says nothing of fewer jobs.
    beside = master.value + master.price(1)[1] if math.isfinite(bound) else -math.inf
    return bound, (each, min(bound, beside) - sum(each))


def _rest(master: _Master, search: _Search, relaxed: Sequence[float], freedom: int, seconds: float,
          chance: random.Random | None, depth: int) -> bool:
    """What the linear program wants whole, and the rest as a problem of its own: whether there was anything whole."""
    problem = search.problem
    base = [(p, whole) for p, x in zip(master.patterns, relaxed, strict=False)
            if (whole := math.floor(x + 1e-6) - (chance.randint(0, min(freedom, 3)) if chance else 0)) > 0]
    if not base:
        return False
    made, used = _parts(base), _used(base)
    heats: dict[int, set[Hashable]] = {}
    for job, heat in _made(problem, base):
        heats.setdefault(job, set()).add(heat)
    if any(task.one_heat and len(heats.get(job, ())) > 1 for job, task in enumerate(problem.tasks)):
        return False
    left = [(job, replace(task, demand=task.demand - made[job])) for job, task in enumerate(problem.tasks) if task.demand > made[job]]
    if not left:
        search.found(base)
        return True
    number_of = {job: n for n, (job, _) in enumerate(left)}
    sources = []
    for number, source in enumerate(problem.sources):
        jobs = frozenset(number_of[job] for job, task in left if source.takes(job) and not (
            task.one_heat and job in heats and master.heat_of(number) not in heats[job]))
        paid = used[number] > 0
        sources.append(replace(source, jobs=jobs, heat=master.heat_of(number),
                               count=None if source.count is None else max(0, source.count - used[number]), bundle=1,
                               line_minimum=0.0 if paid else source.line_minimum, line_fee=0.0 if paid else source.line_fee))
    # What the bars of the whole patterns weigh is not known to the rest, so the weight is left to `least_bought`.
    rest = Problem(tuple(sources), tuple(task for _, task in left), problem.kerf, problem.cut_cost)
    try:
        plan = solve(rest, seconds, _depth=depth + 1)
    except NoPlanError:
        return True
    own = [job for job, _ in left]
    total = Counter(dict(base))
    for pattern, times in plan.patterns:
        same = Pattern(pattern.source, tuple((own[job], parts) for job, parts in pattern.blanks))
        master.add(same)
        total[same] += times
    search.found(list(total.items()))
    return True


def _units(problem: Problem) -> list[int]:
    """Units in which lengths are reckoned, from coarse to exact."""
    longest = max(s.length for s in problem.sources) + problem.kerf
    units = [1]
    while longest // units[-1] > _COARSE:
        units.append(units[-1] * 4)
    return list(reversed(units))


def _relax(master: _Master, units: Sequence[int], deadline: float, enough: float = math.inf) -> float:
    """Solve the linear program over all patterns, from coarse units to exact ones: a bound on it, `enough` being no need for more."""
    value, bound = master.solve(), -math.inf
    many = len(master.problem.sources) > _MANY
    for unit in units:
        near = _NEAR_MANY if many else _NEAR if unit == 1 else _NEAR_COARSE
        centre, lowest = _Prices(master.duals(), value), -math.inf
        smooth = False
        while _now() < deadline:
            prices = _Prices(master.duals(), value)
            at = prices.towards(centre, _SMOOTH) if smooth else prices
            added, fall = master.price(unit, at=at if smooth else None)
            if at.value + fall > lowest:
                centre, lowest = at, at.value + fall
            if unit == 1:
                bound = max(bound, lowest)
            if lowest >= value - near * abs(value) or (unit == 1 and bound >= enough):
                break
            if not added and not smooth:
                break
            # What has just been added moves the prices far; between the best ones and those most of that is spared.
            smooth = many and bool(added)
            if added:
                value = master.solve()
        if unit > 1:
            bound = max(bound, centre.value + master.price(unit, down=True, at=centre)[1])
        if bound >= value - (_NEAR_MANY if many else _NEAR) * abs(value) or bound >= enough:
            break
    return bound


def _all_patterns(master: _Master, search: _Search, deadline: float) -> None:
    """A plan cheaper than the best has only patterns that raise the linear program by less than the gap: where those are few enough to
    be all known, the integer program over them is the whole problem."""
    if search.best is None:
        return
    value = master.solve()
    if master.lacking() or search.bound < value - max(1e-6 * abs(value), 1e-9):
        return
    if master.add_all(search.best.cost - value + 1e-7, deadline):
        _integers(master, search, [], None, max(0.1, deadline - _now()), whole=True)


def _branch(master: _Master, search: _Search, unit: int, seconds: float) -> None:
    """Raise the bound: in every plan the bars of a source, and the heats of a job, are whole, so each node has them below or above."""
    nodes: list[tuple[float, int, dict[int, tuple[float, float]]]] = [(search.bound, 0, {})]
    count, leaf = 0, math.inf
    deadline = _now() + seconds
    while nodes and not search.over() and _now() < deadline:
        known, _, limits = heapq.heappop(nodes)
        if known >= leaf:
            heapq.heappush(nodes, (known, 0, limits))
            break
        master.bound_between(limits)
        best = math.inf if search.best is None else search.best.cost
        # Where bars seem to lack, a finer unit may find them: what they would cost is in the bound as far as it is known.
        bound = max(known, _relax(master, [unit], deadline, best))
        if bound < best:
            column = master.whole()
            if column is None:
                leaf = min(leaf, bound)
                _integers(master, search, [], 0, (deadline - _now()) / 2, limits)
            else:
                value = master.values()[column]
                lower, upper = limits.get(column, master.limits[column])
                for below in ((lower, math.floor(value)), (math.ceil(value), upper)):
                    count += 1
                    heapq.heappush(nodes, (bound, count, limits | {column: below}))
        lowest = min(leaf, nodes[0][0] if nodes else math.inf)
        search.bounded(min(lowest, math.inf if search.best is None else search.best.cost))
    master.free()


def _first_patterns(problem: Problem) -> Iterator[Pattern]:
    """Each job alone on each source, as many parts as go."""
    for number, source in enumerate(problem.sources):
        for job, task in enumerate(problem.tasks):
            if source.takes(job) and (blanks := blanks_within(task.cut, source.length + problem.kerf, task.demand)):
                yield Pattern(number, tuple((job, parts) for parts in blanks))


def blanks_within(cut: Cut, room: int, demand: int) -> list[int]:
    """The parts of each blank of one job that go into a room, kerf included, the fullest first, until the demand is met."""
    blanks: list[int] = []
    while demand > 0 and len(blanks) < cut.most_blanks:
        most = cut.most_within(room)
        if not most:
            break
        parts = min(most, demand)
        if not cut.holds(parts):
            parts = cut.least_parts
        blanks.extend(cut.apart(parts))
        room -= cut.length(parts)
        demand -= parts
        if cut.single:
            break
    return blanks


def plain(problem: Problem) -> list[tuple[Pattern, int]] | None:
    """Each job by itself from the bars on offer that cost least for it; None where a job finds none."""
    found: list[tuple[Pattern, int]] = []
    for job, task in enumerate(problem.tasks):
        ways = []
        for number, source in enumerate(problem.sources):
            if source.offered and source.count is None and source.takes(job):
                blanks = blanks_within(task.cut, source.length + problem.kerf, task.demand)
                if parts := sum(blanks):
                    times, rest = divmod(task.demand, parts)
                    way = [(Pattern(number, tuple((job, p) for p in blanks)), times)] if times else []
                    if rest:
                        last = blanks_within(task.cut, source.length + problem.kerf, rest)
                        way.append((Pattern(number, tuple((job, p) for p in last)), 1))
                    ways.append((cost_of(problem, way, [times + (rest > 0) if n == number else 0 for n in range(len(problem.sources))]), way))
        if not ways:
            return None
        found += min(ways, key=lambda way: way[0])[1]
    return found


def _dive(master: _Master, search: _Search, unit: int, chance: random.Random | None = None) -> None:
    """Fix what is whole in the linear program, then the largest part of one; price again for what is left; until all is whole."""
    problem = master.problem
    fixed: dict[int, int] = {}
    master.solve()
    _choose_heats(master, search, unit)
    while True:
        values = master.values()
        shares = {c: values[c] - fixed.get(c, 0) for c in range(master.first, len(values)) if values[c] - fixed.get(c, 0) > 1e-6}
        if not shares:
            break
        # By chance one of a pattern is left to be found again.
        whole = {c: math.floor(share + 1e-6) - bool(share > 2 and chance is not None and chance.random() < 0.3)
                 for c, share in shares.items() if share >= 1 - 1e-6}
        if not whole:
            largest = max(shares, key=lambda c: (shares[c] * (chance.uniform(0.5, 1) if chance else 1), -c))
            whole = {largest: 1}
        for column, more in whole.items():
            fixed[column] = fixed.get(column, 0) + more
            master.fix(column, fixed[column])
        master.solve()
        made = _parts((master.patterns[column - master.first], times) for column, times in fixed.items())
        demands = [max(0, task.demand - made[job]) for job, task in enumerate(problem.tasks)]
        if not any(demands):
            break
        for _ in range(10):
            if search.over() or not master.price(unit, demands)[0]:
                break
            master.solve()
        if search.over():
            master.free()
            return
    patterns = [(p, times) for n, p in enumerate(master.patterns) if (times := fixed.get(master.first + n, 0))]
    if not master.lacking():
        search.found(patterns)
    master.free()


def _choose_heats(master: _Master, search: _Search, unit: int) -> None:
    """Settle on one heat for each job that wants one: that which the linear program leans to most, the surest jobs first."""
    of_job: dict[int, dict[int, Hashable]] = {}
    for (job, heat), column in master.heat_column.items():
        of_job.setdefault(job, {})[column] = heat
    while of_job:
        values = master.values()
        leaning = {job: max(columns, key=lambda c: values[c]) for job, columns in of_job.items()}
        surest = max(values[c] for c in leaning.values())
        settled = [job for job, c in leaning.items() if values[c] >= min(0.9, surest) or _now() > search.deadline]
        for job in settled:
            for column in of_job.pop(job):
                master.model.changeColBounds(column, float(column == leaning[job]), float(column == leaning[job]))
        master.solve()
        if _now() < search.deadline and of_job and master.price(unit)[0]:
            master.solve()


def _integers(master: _Master, search: _Search, relaxed: Sequence[float], freedom: int | None, seconds: float,
              limits: Mapping[int, tuple[float, float]] = {}, whole: bool = False) -> None:
    """The best whole plan over the patterns known, each sawn at least as often as the linear program wants, less `freedom`."""
    model = master.model
    master.bound_between(limits)
    if freedom is not None:
        for n, value in enumerate(relaxed):
            # A plan cheaper than the best has no pattern that raises the linear program by more than the gap.
            dear = search.best is not None and n < len(search.raised) and search.raised[n] > search.best.cost - search.bound + 1e-6
            model.changeColBounds(master.first + n, least := max(0, math.floor(value + 1e-6) - freedom), least if dear else _INF)
    columns = [*master.integers, *range(master.first, model.getNumCol())]
    for column in columns:
        model.changeColIntegrality(column, highspy.HighsVarType.kInteger)
    model.setOptionValue("time_limit", max(0.1, seconds))
    model.setOptionValue("mip_rel_gap", 1e-7)
    if math.isfinite(search.bound):
        model.setOptionValue("objective_target", search.bound + 1e-7 * max(1, abs(search.bound)))
    model.run()
    if math.isfinite(model.getInfo().objective_function_value) and len(values := master.values()):
        patterns = [(p, round(values[master.first + n])) for n, p in enumerate(master.patterns)]
        if not master.lacking():
            search.found([(p, times) for p, times in patterns if times])
    if whole and search.best is not None:
        # All that may be cheaper was in this program.
        search.bounded(min(search.best.cost, float(model.getInfo().mip_dual_bound)))
    for column in columns:
        model.changeColIntegrality(column, highspy.HighsVarType.kContinuous)
    model.setOptionValue("time_limit", _INF)
    master.free()
