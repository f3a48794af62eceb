"""Bars for a few jobs: a small problem, solved to its end.

Every way to saw a bar of a source is a column of arrays, made once: so pricing against the duals of the linear program is one product
of matrices. The bars of each source and the blanks of each job are whole numbers in every plan: branching on those raises the bound to
little below the cheapest plan, and an integer program over the ways that can still be in a cheaper one settles the rest. The heat of a
job that mixes none is branched on too.
"""

import heapq
import math
import time
from collections import Counter
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import highspy
import numpy as np
from numpy.typing import NDArray

from barfuncs.buying.cutting import (
    Pattern,
    Problem,
    Task,
    can_be_bought,
    cost_of,
    feasible,
    free_up_to_minimum,
    grain,
    heat_of,
    least_bought,
    of_one_heat,
    without_surplus,
)
from barfuncs.buying.highs import add_column, add_row, quiet_model
from barfuncs.buying.knapsack import Cut

_INF = highspy.kHighsInf
_MOST_WAYS = 300_000
"""To saw one bar, that are held in arrays."""
_AT_ONCE = 12
"""Columns that one pricing of a source may add."""
_MOST_COLUMNS = 1000
"""Of an integer program that is to end soon; where there are more, the nearest few are tried. Both double with each effort."""
_FEW_COLUMNS = 250
_MOST_EFFORT = 4
_MOST_WANTED = 40_000
"""Ways that are looked through for what the last bars of a plan may hold; where there are more, corners must do."""
_ANY = 10**9
_SOON = 0.2
"""Seconds for it."""
_AT_LEAST = 0.4
"""Seconds that the first linear program and the first plan have each, as what is broken off there is lost."""
_DIVES = frozenset(2 ** n for n in range(1, 12))
"""Nodes at which a plan is looked for."""
_TRIED = frozenset(3 * 2 ** n for n in range(2, 10))
"""Nodes at which one is looked for by an integer program."""
_CLOSE = 1e-6
_now = time.monotonic
_Floats = NDArray[np.float64]
_Ints = NDArray[np.int64]


class TooManyWaysError(Exception):
    """A bar can be sawn in more ways than are held in arrays."""


@dataclass(frozen=True)
class _Ways:
    """Ways to saw a bar of one length: by job (rows) and way (columns) parts and blanks, by way what is used and what the blanks reach."""

    parts: _Ints
    blanks: _Ints
    used: _Ints
    reach: _Ints
    corners: _Ints
    """Ways that lie between no two others, which is all that a linear program needs."""
    whole: bool
    """Whether the others are here too."""


@lru_cache(maxsize=4096)
def choices(cut: Cut, demand: int, room: int) -> _Ints:
    """How one job may share in a bar: parts, blanks and length, each number of parts in as few blanks and as short as can be; no more parts
    than `demand`, or the next number that blanks can hold."""
    rows, shortest = [(0, 0, 0)], dict[int, int]()
    for blanks in range(1, demand + 1 if cut.single else cut.most_blanks + 1):
        if cut.single:
            if blanks > cut.most_parts * cut.most_blanks or blanks * cut.step > room:
                break
            rows.append((blanks, blanks, blanks * cut.step))
            continue
        for parts, length in sorted(_lengths(cut, blanks, room).items()):
            if length < shortest.get(parts, room + 1):
                shortest[parts] = length
                rows.append((parts, blanks, length))
                if parts >= demand:
                    break
    return np.array(sorted(rows, key=lambda row: (row[2], row[0])), dtype=np.int64)


def _lengths(cut: Cut, blanks: int, room: int) -> dict[int, int]:
    """By parts the shortest length of so many blanks."""
    found = dict[int, int]()
    for padded in range(blanks + 1 if cut.padded else 1):
        plain = blanks - padded
        wide, many = cut.padded or (0, 0)
        if plain and cut.most_parts < cut.least_parts:
            continue
        at_least, at_most = plain * cut.least_parts, plain * cut.most_parts
        base = padded * wide + plain * cut.start
        for parts in range(at_least + padded, at_most + padded * many + 1):
            plain_parts = max(at_least, parts - padded * many)
            length = base + plain_parts * cut.step
            if length > room:
                break
            if length < found.get(parts, room + 1):
                found[parts] = length
    return found


def _blanks_of(cut: Cut, parts: int, blanks: int, length: int) -> tuple[int, ...]:
    """The parts of each of so many blanks that are so long together."""
    if cut.single:
        return (1,) * parts
    for padded in range(blanks + 1 if cut.padded else 1):
        plain = blanks - padded
        wide, many = cut.padded or (0, 0)
        plain_parts = max(plain * cut.least_parts, parts - padded * many)
        if plain_parts > plain * cut.most_parts or padded * wide + plain * cut.start + plain_parts * cut.step != length:
            continue
        rest = parts - plain_parts
        if padded <= rest <= padded * many:
            each = [rest // padded + (n < rest % padded) for n in range(padded)]
            return (*(cut.spread(plain_parts, plain) if plain else ()), *each)
    raise ValueError(f"no {blanks} blanks of {parts} parts are {length} long")


def _between(choices: _Ints, step: int) -> NDArray[np.bool_]:
    """Which choices lie in the middle of two others: a part more and a part less in as many blanks."""
    found = np.zeros(len(choices), dtype=np.bool_)
    more = np.diff(choices, axis=0)
    linear = (more[:, 0] == 1) & (more[:, 1] == 0) & (more[:, 2] == step)
    found[1:-1] = linear[:-1] & linear[1:]
    return found


@lru_cache(maxsize=256)
def _all_ways(tasks: tuple[tuple[Cut, int, int], ...], room: int, kerf: int, back: int, most_jobs: int) -> _Ways:
    """Every way to saw a bar for up to `most_jobs` jobs at once, of these: cut, demand and longest blank of each; where up to `back` is
    used a rest goes back on the rack.

    Where those are too many, all that a linear program could need. Raises TooManyWaysError.
    """
    all_choices = [choices(cut, demand, room) for cut, demand, _ in tasks]
    order = sorted(range(len(tasks)), key=lambda n: len(all_choices[n]))
    used, rows = np.zeros(1, dtype=np.int64), np.zeros((0, 1), dtype=np.int64)
    held, whole = np.zeros(1, dtype=np.int64), most_jobs >= len(tasks)
    for place, n in enumerate(order):
        lengths = all_choices[n][:, 2]
        last = np.searchsorted(lengths, room - used, side="right")
        if most_jobs < len(tasks):
            # The first choice is none of a job.
            last = np.where(held < most_jobs, last, np.minimum(last, 1))
        if last.sum() <= _MOST_WAYS:
            before = np.repeat(np.arange(len(used)), last)
            chosen = np.arange(len(before)) - np.repeat(np.cumsum(last) - last, last)
        elif place == len(order) - 1 and len(used) <= _MOST_WAYS:
            whole = False
            before, chosen = _corners(all_choices[n], tasks[n][0].step, used, last, back)
            if len(before) > 3 * _MOST_WAYS:
                raise TooManyWaysError
        else:
            raise TooManyWaysError
        rows = np.vstack([rows[:, before], chosen])
        used, held = used[before] + lengths[chosen], held[before] + (chosen > 0)
    keep = used > 0
    used, rows = used[keep], rows[:, keep]
    parts, blanks = (np.zeros((len(tasks), len(used)), dtype=np.int64) for _ in range(2))
    reach = np.zeros(len(used), dtype=np.int64)
    corner = np.ones(len(used), dtype=np.bool_)
    for row, n in zip(rows, order, strict=True):
        cut, _, longest = tasks[n]
        each = all_choices[n][row]
        parts[n], blanks[n] = each[:, 0], each[:, 1]
        reach += np.maximum(each[:, 2], each[:, 1] * (longest + kerf)) if longest else each[:, 2]
        less, more = used - cut.step, used + cut.step
        corner &= ~(_between(all_choices[n], cut.step)[row] & np.where(used <= back, more <= back, (less > back) & (more < room)))
    return _Ways(parts, blanks, used, reach, np.nonzero(corner)[0], whole)


def _corners(choices: _Ints, step: int, used: _Ints, last: _Ints, back: int) -> tuple[_Ints, _Ints]:
    """Beside what is used, the choices of the last job that lie between no two others of one kind: first and last of each number of
    blanks, and those next to where a bar ends, or its rest does not go back."""
    always = np.nonzero(~_between(choices, step))[0]
    edge = np.searchsorted(choices[:, 2], back - used, side="right")
    found = np.concatenate([np.broadcast_to(always, (len(used), len(always))), np.stack([last - 2, last - 1, edge - 1, edge], axis=1)], axis=1)
    found.sort(axis=1)
    fits = (found >= 0) & (found < last[:, None])
    fits[:, 1:] &= found[:, 1:] != found[:, :-1]
    before, which = np.nonzero(fits)
    return before, found[before, which]


class _Bars:
    """The bars of one source with all ways to saw one for the jobs that it takes."""

    def __init__(self, problem: Problem, number: int, jobs: Sequence[int], most_jobs: int) -> None:
        source = problem.sources[number]
        self.number, self.source, self.jobs = number, source, jobs
        # Parts that nobody needs may save a cut that costs more than the rest is worth.
        self.most = [_ANY if source.surplus_pays(problem.cut_cost) else problem.tasks[job].demand for job in jobs]
        tasks = tuple((problem.tasks[job].cut, most, problem.tasks[job].longest) for job, most in zip(jobs, self.most, strict=True))
        room = source.length + problem.kerf
        self.ways = _all_ways(tasks, room, problem.kerf, source.length - max(1, source.least_left), most_jobs)
        left = np.maximum(0, source.length - self.ways.used)
        scrap = left < max(1, source.least_left)
        cuts = self.ways.blanks.sum(axis=0) - (scrap & (self.ways.reach >= room))
        self.whole = source.value_left(source.length) if source.offered else 0.0
        """What a bar is worth that is left whole."""
        self.cost = cuts * problem.cut_cost - np.where(scrap, 0.0, left * source.left_value) + self.whole
        # As `Cell._build` counts them: blanks by job, cuts, rests that go back, bars that hold a job.
        self.rows = np.vstack([self.ways.parts, self.ways.blanks, cuts, ~scrap, self.ways.blanks > 0]).astype(np.float64)
        many = len(problem.tasks)
        of_jobs = np.array(jobs)
        self.model_rows = np.concatenate([of_jobs, many + of_jobs, [2 * many, 2 * many + 1], 2 * many + 2 + of_jobs])
        self.corner_rows, self.corner_cost = np.ascontiguousarray(self.rows[:, self.ways.corners]), self.cost[self.ways.corners]

    def pattern(self, problem: Problem, way: int) -> Pattern:
        blanks: list[tuple[int, int]] = []
        for row, job in enumerate(self.jobs):
            if count := int(self.ways.blanks[row, way]):
                cut, parts = problem.tasks[job].cut, int(self.ways.parts[row, way])
                length = min(length for p, k, length in choices(cut, self.most[row], problem.sources[self.number].length + problem.kerf)
                             if p == parts and k == count)
                blanks += [(job, p) for p in _blanks_of(cut, parts, count, int(length))]
        return Pattern(self.number, tuple(sorted(blanks, key=lambda blank: (blank[0], -blank[1]))))


class Cell:
    """A problem of which all ways to saw a bar are held: best plan so far, and a bound.

    With `most_jobs` bars are sawn for no more jobs at once, and the bound is of such plans alone. Raises TooManyWaysError.
    """

    def __init__(self, problem: Problem, most_jobs: int = _ANY) -> None:
        self.problem = problem
        tasks = problem.tasks
        self.bars = []
        for number, source in enumerate(problem.sources):
            if jobs := [job for job in range(len(tasks)) if source.takes(job) and tasks[job].cut.most_within(source.length + problem.kerf)]:
                self.bars.append(_Bars(problem, number, jobs, most_jobs))
        # Nothing costs less than nothing, where no bar is worth more left whole than it costs.
        least = 0.0 if all(s.value_left(s.length) <= s.cost for s in problem.sources) else -math.inf
        self.bound, self.cost = least, math.inf
        self.patterns: tuple[tuple[Pattern, int], ...] = ()
        self.worth: tuple[list[float], float] = [0.0] * len(tasks), least
        """What each job adds to the linear program, and what it costs beside: without some of the jobs no plan costs less than the rest."""
        self._grain = grain(problem)
        self._open: list[tuple[float, int, dict[int, tuple[float, float]]]] = []
        self._leaves: list[tuple[float, int, dict[int, tuple[float, float]], int]] = []
        """Nodes that can't be branched on, and how often they were looked at."""
        self._count = self._nodes = 0
        self._latest = -math.inf
        """The bound of the linear program that was solved last."""
        self._columns: list[tuple[int, int]] = []
        self._known: set[tuple[int, int]] = set()
        self._build()
        self.started = False

    @property
    def closed(self) -> bool:
        return self.cost <= self.bound + _CLOSE * max(1.0, abs(self.bound)) or self.bound == math.inf

    @property
    def stuck(self) -> bool:
        """Whether no work raises the bound."""
        if not self.started or self.closed:
            return self.started
        return self._leaves[0][3] > _MOST_EFFORT if self._leaves and self._leaves[0][0] <= self._next else not self._open

    def _build(self) -> None:
        problem = self.problem
        model = self._model = quiet_model()
        dearest = max((s.cost for s in problem.sources), default=1.0)
        lack = 1000 * (dearest + problem.cut_cost + sum(s.line_minimum + s.line_fee for s in problem.sources) + 1)
        self._lacks = []
        self._integers: list[int] = []
        self._limits: dict[int, tuple[float, float]] = {}
        heats = [self._heats(job) for job in range(len(problem.tasks))]
        for task, able in zip(problem.tasks, heats, strict=True):
            # Of a job whose heat is to be chosen: that one is.
            row = add_row(model, 1 if able else task.demand, _INF)
            self._lacks.append(self._column(lack, 0, _INF, [row], [1 / task.demand if able else 1]))

        def counted(least: float, most: float) -> int:
            """What is a whole number in every plan: a row, whose ways are added later, and its column. The ways known so far may lack some."""
            row = add_row(model, 0, 0)
            self._lacks.extend(self._column(lack, 0, _INF, [row], [sign]) for sign in (1, -1))
            return self._whole(0.0, least, most, [row], [-1])

        # A blank has a part at least.
        blanks = [counted(self._least_blanks(task, job), task.demand) for job, task in enumerate(problem.tasks)]
        cuts, back = counted(0, _INF), counted(0, _INF)
        holding = [counted(0, task.demand) for task in problem.tasks]
        self._own = list(zip(blanks, holding, strict=True))
        chosen: list[int] = []
        for job, able in enumerate(heats):
            for heat, enough in able.items():
                row = add_row(model, 0, _INF)
                chosen.append(self._whole(0.0, 0, float(enough), [job, row], [1, -problem.tasks[job].demand]))
                for bars in self.bars:
                    if job in bars.jobs and heat_of(problem, bars.number) == heat:
                        bars.model_rows[bars.jobs.index(job)] = row
        weights: dict[int, int] = {}
        for group, least in enumerate(problem.least_weights):
            if least > 0:
                weights[group] = add_row(model, least, _INF)
                self._lacks.append(self._column(lack, 0, _INF, [weights[group]], [1]))
        bought: list[int] = []
        self._bar_rows: list[int] = []
        for bars in self.bars:
            source = bars.source
            row = add_row(model, -_INF, 0)
            self._bar_rows.append(row)
            bundle = source.bundle if source.offered else 1
            rows, values, most = [row], [-float(bundle)], self._most(bars) // bundle
            if source.offered and source.weight > 0 and source.priced_with in weights:
                rows.append(weights[source.priced_with])
                values.append(source.weight * bundle)
                most += math.ceil(problem.least_weights[source.priced_with] / source.weight / bundle)
                if source.count is not None:
                    most = min(most, source.count // bundle)
            n = self._whole((source.cost - bars.whole) * bundle, 0, most, rows, values)
            bought.append(n)
            if source.offered and (source.line_fee or source.line_minimum):
                u = self._whole(source.line_fee, float(len(self.bars) == 1), 1)
                bought.append(u)
                add_row(model, -_INF, 0, [n, u], [1.0, -most])
                if source.line_minimum:
                    more = self._column(1, 0, _INF)
                    add_row(model, 0, _INF, [more, n, u], [1.0, source.cost * bundle, -source.line_minimum])
        self._first = int(model.getNumCol())
        # What weighs most is branched on first.
        self._in_turn = [chosen, [*bought, cuts], [back], blanks, holding]

    def _heats(self, job: int) -> dict[Hashable, bool]:
        """The heats that one has to be chosen of, and whether each has bars enough; none where the job may be made from all bars that take it."""
        task, parts = self.problem.tasks[job], dict[Hashable, float]()
        for bars in self.bars:
            if job in bars.jobs:
                heat = heat_of(self.problem, bars.number)
                each = int(bars.ways.parts[bars.jobs.index(job)].max())
                parts[heat] = parts.get(heat, 0) + (math.inf if bars.source.count is None else each * bars.source.count)
        return {heat: there >= task.demand for heat, there in parts.items()} if task.one_heat and len(parts) > 1 else {}

    def _least_blanks(self, task: Task, job: int) -> int:
        """No plan has fewer blanks of a job."""
        each = max((int((bars.ways.parts[row] / np.maximum(1, bars.ways.blanks[row])).max(initial=0.0) + 1e-9)
                    for bars in self.bars for row, j in enumerate(bars.jobs) if j == job), default=0)
        return -(-task.demand // each) if each else 0

    def _most(self, bars: _Bars) -> int:
        """No plan takes more bars of a source, each with a part at least, but for those that are free."""
        most = sum(self.problem.tasks[job].demand for job in bars.jobs) + free_up_to_minimum(bars.source)
        bundle = bars.source.bundle if bars.source.offered else 1
        most = (-(-most // bundle) + (bars.source.line_minimum > 0)) * bundle
        return most if bars.source.count is None else min(most, bars.source.count // bundle * bundle)

    def _column(self, cost: float, lower: float, upper: float, rows: Sequence[int] = (), values: Sequence[float] = ()) -> int:
        return add_column(self._model, cost, lower, upper, rows, values)

    def _whole(self, cost: float, lower: float, upper: float, rows: Sequence[int] = (), values: Sequence[float] = ()) -> int:
        column = self._column(cost, lower, upper, rows, values)
        self._integers.append(column)
        self._limits[column] = (lower, upper)
        return column

    def _add(self, place: int, way: int) -> bool:
        if (place, way) in self._known:
            return False
        self._known.add((place, way))
        self._columns.append((place, way))
        bars = self.bars[place]
        some = np.nonzero(bars.rows[:, way])[0]
        rows = [self._bar_rows[place], *(int(row) for row in bars.model_rows[some])]
        self._column(float(bars.cost[way]), 0, _INF, rows, [1.0, *bars.rows[some, way]])
        return True

    def _reduced(self, place: int, duals: _Floats, corners: bool = False) -> _Floats:
        """By how much each way raises the linear program, or each of the corners."""
        bars = self.bars[place]
        cost, rows = (bars.corner_cost, bars.corner_rows) if corners else (bars.cost, bars.rows)
        return np.asarray(cost - duals[bars.model_rows] @ rows - duals[self._bar_rows[place]])

    def _bound_between(self, limits: Mapping[int, tuple[float, float]]) -> None:
        for column, usual in self._limits.items():
            self._model.changeColBounds(column, *limits.get(column, usual))

    def _relax(self, deadline: float, enough: float, wanted: _Ints | None = None) -> tuple[float, _Floats]:
        """A bound from the linear program within the limits set, and its columns' values. With `wanted` (by job the parts that are still
        needed) no way is added that gives more."""
        bound = -math.inf
        while True:
            self._model.run()
            status = self._model.getModelStatus()
            solution = self._model.getSolution()
            if status == highspy.HighsModelStatus.kInfeasible:
                return math.inf, np.asarray(solution.col_value)
            # Anything else that is no optimum bounds nothing.
            value = float(self._model.getInfo().objective_function_value) if status == highspy.HighsModelStatus.kOptimal else -math.inf
            duals = np.asarray(solution.row_dual)
            fall, added = 0.0, 0
            for place, bars in enumerate(self.bars):
                corners = wanted is None or len(bars.cost) > _MOST_WANTED
                reduced = self._reduced(place, duals, corners)
                if wanted is not None:
                    parts = bars.ways.parts[:, bars.ways.corners] if corners else bars.ways.parts
                    reduced = np.where((parts > wanted[np.array(bars.jobs)][:, None]).any(axis=0), 1.0, reduced)
                many = min(_AT_ONCE, len(reduced))
                best = np.argpartition(reduced, many - 1)[:many] if many < len(reduced) else np.arange(len(reduced))
                lowest = float(reduced[best].min())
                if lowest < 0:
                    fall += lowest * self._most(bars)
                if lowest < -1e-8:
                    ways = [int(way) for way in best if reduced[way] < -1e-8]
                    added += sum(self._add(place, int(bars.ways.corners[way]) if corners else way) for way in ways)
            self._latest = value + fall
            bound = max(bound, self._latest)
            if not added or bound >= enough or _now() > deadline:
                # HiGHS keeps to its rows and signs by some 1e-7.
                return bound - 1e-7 * max(1.0, abs(bound)), np.asarray(solution.col_value)

    def _fraction(self, values: _Floats) -> int | None:
        """The column to branch on, the farthest from whole of those that weigh most; None where all are whole."""
        def off(column: int) -> float:
            return abs(float(values[column]) - round(float(values[column])))

        for columns in self._in_turn:
            farthest = max(columns, key=off, default=None)
            if farthest is not None and off(farthest) > 1e-6:
                return farthest
        return None

    def _dive(self, values: _Floats, deadline: float) -> None:
        """A plan from the linear program within the limits set: fix what is whole of it, then the largest part of one; price again for
        what is left."""
        model, tasks = self._model, self.problem.tasks
        fixed = Counter[int]()
        needed = np.array([task.demand for task in tasks])
        while _now() < deadline:
            shares = {n: share for n, value in enumerate(values[self._first:]) if (share := float(value) - fixed[n]) > 1e-6}
            if not shares:
                break
            whole = {n: math.floor(share + 1e-6) for n, share in shares.items() if share >= 1 - 1e-6}
            for n, more in (whole or {max(shares, key=lambda n: (shares[n], -n)): 1}).items():
                fixed[n] += more
                place, way = self._columns[n]
                bars = self.bars[place]
                needed[np.array(bars.jobs)] -= more * bars.ways.parts[:, way]
                model.changeColBounds(self._first + n, fixed[n], _INF)
            needed = np.maximum(needed, 0)
            _, values = self._relax(deadline, -math.inf if not needed.any() else math.inf, needed)
            if not needed.any():
                break
        # The last ways may give parts that nobody needs, and so more blanks than the limits let be: the plan without those parts counts.
        if not needed.any():
            self._found([(n, times) for n, times in fixed.items() if times])
        for n in fixed:
            model.changeColBounds(self._first + n, 0, _INF)

    def start(self, deadline: float) -> None:
        """The linear program."""
        self.started = True
        bound, _ = self._relax(max(deadline, _now() + _AT_LEAST), math.inf)
        if bound > self.bound and not self.problem.least_weights and not any(task.one_heat for task in self.problem.tasks):
            solution = self._model.getSolution()
            rows, columns, values = (np.asarray(part) for part in (solution.row_dual, solution.col_dual, solution.col_value))
            # Bounds of the counts of its blanks and bars are a job's own too.
            each = [float(rows[job] * task.demand + sum(columns[c] * values[c] for c in self._own[job]))
                    for job, task in enumerate(self.problem.tasks)]
            # Of the prices that hold now, and not of an earlier and better bound.
            self.worth = each, min(bound, self._latest - 1e-7 * max(1.0, abs(self._latest))) - sum(each)
        self.raise_bound(bound)
        self._open = [(self.bound, 0, {})]

    def _lacking(self, values: _Floats) -> bool:
        return any(values[column] > 1e-7 for column in self._lacks)

    def known(self) -> list[Pattern]:
        """The ways that the linear program has looked at."""
        return [self.bars[place].pattern(self.problem, way) for place, way in self._columns]

    def raise_bound(self, value: float) -> None:
        if self._grain and math.isfinite(value):
            value = math.ceil(value / self._grain - 1e-5) * self._grain
        self.bound = max(self.bound, value)

    def work(self, deadline: float, cutoff: float = math.inf, nodes: int = 1000) -> None:
        """Raise the bound and look for plans, until they meet, no plan is below `cutoff`, or so many nodes are done."""
        if not self.started:
            self.start(deadline)
        if math.isinf(self.cost) and not self.closed and _now() < deadline:
            self._bound_between({})
            later = max(deadline, _now() + _AT_LEAST)
            _, values = self._relax(later, math.inf)
            if not self._lacking(values):
                self._dive(values, later)
        while nodes > 0 and not self.closed and self.bound < cutoff and not self.stuck and _now() < deadline:
            nodes -= 1
            best = min(self.cost, cutoff)
            if self._leaves and self._leaves[0][0] <= self._next:
                known, _, limits, effort = heapq.heappop(self._leaves)
            else:
                known, _, limits = heapq.heappop(self._open)
                effort = 0
            self._bound_between(limits)
            bound, values = self._relax(deadline, best)
            bound = max(bound, known)
            column = self._fraction(values) if bound < best - _CLOSE else None
            if _now() > deadline:
                self._push(bound, limits)
            elif column is not None:
                self._branch(bound, limits, values, column, deadline)
            elif bound < best - _CLOSE:
                self._settle(bound, limits, values, effort, best, deadline)
            elif bound < self.cost - _CLOSE:
                # No plan below the cutoff, which may be higher another time.
                self._push(bound, limits)
            self.raise_bound(min(self.cost, self._next, self._leaves[0][0] if self._leaves else math.inf))
        self._bound_between({})

    @property
    def _next(self) -> float:
        """The least bound of the nodes that can be branched on."""
        return self._open[0][0] if self._open else math.inf

    def _branch(self, bound: float, limits: dict[int, tuple[float, float]], values: _Floats, column: int, deadline: float) -> None:
        self._nodes += 1
        if self._nodes in _DIVES and not self._lacking(values):
            self._dive(values, deadline)
        if self._nodes in _TRIED:
            self._integer_program(bound, self.cost, 0, deadline)
        value = float(values[column])
        lower, upper = limits.get(column, self._limits[column])
        for below in ((lower, math.floor(value)), (math.ceil(value), upper)):
            self._push(bound, limits | {column: below})

    def _settle(self, bound: float, limits: dict[int, tuple[float, float]], values: _Floats, effort: int, best: float, deadline: float) -> None:
        """Look for what is cheapest where all that can be branched on is whole, with more effort each time."""
        if effort == 0 and not self._lacking(values):
            self._dive(values, deadline)
            self._bound_between(limits)
            self._model.run()
        bound = max(bound, self._integer_program(bound, min(best, self.cost), effort, deadline))
        if bound < self.cost - _CLOSE:
            self._count += 1
            heapq.heappush(self._leaves, (bound, self._count, limits, effort + 1))

    def _push(self, bound: float, limits: dict[int, tuple[float, float]]) -> None:
        self._count += 1
        heapq.heappush(self._open, (bound, self._count, limits))

    def _integer_program(self, bound: float, best: float, effort: int, deadline: float) -> float:
        """Look for the cheapest plan within the limits set, of those ways that may be in one below `best`: what none within them costs less
        than, `bound` being what is known of that from the linear program, which has just been solved."""
        model = self._model
        duals = np.asarray(model.getSolution().row_dual).copy()
        if math.isinf(best):
            best = bound + 0.02 * abs(bound) + self.problem.cut_cost
        near = [self._reduced(place, duals) for place in range(len(self.bars))]
        found = [(float(reduced[way]), place, int(way)) for place, reduced in enumerate(near)
                 for way in np.nonzero(reduced <= best - bound + _CLOSE)[0]]
        few = len(found) <= _MOST_COLUMNS << effort
        settles = few and all(bars.ways.whole for bars in self.bars)
        for _, place, way in found if few else heapq.nsmallest(_FEW_COLUMNS << effort, found):
            self._add(place, way)
        columns = [*self._integers, *range(self._first, model.getNumCol())]
        for column in columns:
            model.changeColIntegrality(column, highspy.HighsVarType.kInteger)
        model.setOptionValue("time_limit", max(0.02, min(_SOON * 2 ** effort, deadline - _now())))
        model.setOptionValue("mip_rel_gap", 1e-7)
        model.setOptionValue("mip_abs_gap", 1e-5)
        if math.isfinite(self.bound):
            model.setOptionValue("objective_target", self.bound + 1e-7 * max(1, abs(self.bound)))
        model.run()
        info = model.getInfo()
        solution = np.asarray(model.getSolution().col_value)
        none = model.getModelStatus() == highspy.HighsModelStatus.kInfeasible
        # A plan with other ways costs `best` at least.
        proved = min(best, math.inf if none else float(info.mip_dual_bound)) if settles else -math.inf
        if math.isfinite(info.objective_function_value) and len(solution) and not self._lacking(solution):
            self._found([(n, times) for n in range(len(self._columns)) if (times := round(float(solution[self._first + n])))])
        for column in columns:
            model.changeColIntegrality(column, highspy.HighsVarType.kContinuous)
        model.setOptionValue("time_limit", _INF)
        model.setOptionValue("objective_target", -_INF)
        return proved

    def _found(self, columns: Sequence[tuple[int, int]]) -> None:
        """A plan: columns, and how often each is sawn."""
        problem = self.problem
        total = Counter[Pattern]()
        for n, times in columns:
            place, way = self._columns[n]
            total[self.bars[place].pattern(problem, way)] += times
        sawn = of_one_heat(problem, list(total.items()))
        for patterns in (without_surplus(problem, sawn), sawn):
            bought = least_bought(problem, patterns)
            if feasible(problem, patterns) and can_be_bought(problem, bought):
                cost = cost_of(problem, patterns, bought)
                if cost < self.cost - 1e-9:
                    self.cost, self.patterns = cost, tuple(patterns)
