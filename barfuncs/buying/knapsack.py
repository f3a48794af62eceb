"""The most valuable way to saw one bar, exactly: blanks of several jobs, each a whole number of parts.

Lengths are whole numbers of some small unit, kerf included with each blank. A job's blanks are reckoned one after the other; how
many parts the next blank holds is a choice of at most `most_parts`, which a running maximum over steps of one part settles for all
lengths at once.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

_Values = NDArray[np.float64]
_CLOSE = 1e-9
_MOST_STATES = 8
"""Different reaches that are told apart; more are taken as the next longer one, so no value is too low."""
_FEW_JOBS = 8
"""With more jobs fewer reaches are told apart, as each costs as much as all did together."""


@dataclass(frozen=True, slots=True)
class Cut:
    """How one job takes its blanks: `start + parts * step` long, kerf included, with at most `most_parts` parts.

    Pieces of a fixed length are each a blank of one part (`single`); reckoned together they are one blank of `most_parts`. `padded`
    is a blank that the feeder takes only at its shortest length, where that holds fewer parts than any blank of its own length: its
    length with kerf, and its parts.
    """

    step: int
    start: int = 0
    least_parts: int = 1
    most_parts: int = 1
    most_blanks: int = 1
    padded: tuple[int, int] | None = None
    single: bool = False

    def apart(self, parts: int) -> tuple[int, ...]:
        """The parts of each blank, of parts that are reckoned as one."""
        return (1,) * parts if self.single else (parts,)

    def holds(self, parts: int) -> bool:
        """Whether there is a blank of so many parts."""
        return self.least_parts <= parts <= self.most_parts or (self.padded is not None and 0 < parts <= self.padded[1])

    def length(self, parts: int) -> int:
        """Length of a blank with kerf. Raises ValueError for parts that no blank has."""
        if self.least_parts <= parts <= self.most_parts:
            return self.start + parts * self.step
        if self.padded and self.holds(parts):
            return self.padded[0]
        raise ValueError(f"no blank has {parts} parts")

    @property
    def shortest(self) -> int:
        """Length of the shortest blank, kerf included."""
        return self.padded[0] if self.padded else self.start + self.least_parts * self.step

    def most_within(self, room: int) -> int:
        """Parts of the fullest blank that is no longer than that, kerf included; 0 where none is."""
        parts = min(self.most_parts, (room - self.start) // self.step)
        if parts >= self.least_parts:
            return parts
        return self.padded[1] if self.padded and self.padded[0] <= room else 0

    def spread(self, parts: int, blanks: int) -> tuple[int, ...]:
        """Parts of each of so many blanks: the last as few as can be, since a short one may keep a rest of the bar."""
        over, room = parts - blanks * self.least_parts, self.most_parts - self.least_parts
        each = [self.least_parts + min(room, max(0, over - n * room)) for n in range(blanks)]
        return tuple(p for n in each for p in self.apart(n))

    def scaled(self, unit: int, down: bool = False) -> "Cut":
        """In a coarser unit: no shorter, so that what fits there fits here, or (`down`) no longer. Blanks of most parts, which
        count most, are rounded least."""
        def rounded(length: int) -> int:
            return length // unit if down else -(-length // unit)

        padded = self.padded and (rounded(self.padded[0]), self.padded[1])
        if self.start == 0:
            return replace(self, step=max(1, rounded(self.step)), padded=padded)
        step = max(1, -(-self.step // unit) if down else self.step // unit)
        start = rounded(self.start + self.most_parts * self.step) - self.most_parts * step
        if start + self.least_parts * step < 1:
            step = self.step // unit
            start = rounded(self.start + self.least_parts * self.step) - self.least_parts * step
        return replace(self, step=step, start=start, padded=padded)


@dataclass(frozen=True, slots=True)
class _Stage:
    """The blanks of one job, put behind what is known of the jobs before it."""

    job: int
    before: _Values
    """Best value of exactly so much, whatever it reaches."""
    layers: dict[int, list[_Values]]
    """By what the blanks before reach: the best values with 0, 1, ... blanks of this job."""
    ways: dict[int, list[tuple[int, int]]]
    """By what is reached then: from which reach with how many blanks."""


class Knapsack:
    """The best value for every length up to `capacity`, at a value for a part of each job and a cost of each blank.

    Where `reaches` says how long a blank of each job may be, kerf included, when it keeps what is left of the bar (0: it can't), values
    are known by what the blanks of a pattern reach together, up to `far`: the rest of a bar that is no longer stays on them.

    Where `longest` says how long a blank of each job may be, kerf included (0: just as long as its parts), each blank takes any length
    from that of its parts up to this.
    """

    def __init__(self, cuts: Sequence[Cut], values: Sequence[float], capacity: int, blank_cost: float = 0,
                 reaches: Sequence[int] | None = None, far: int = 0, longest: Sequence[int] | None = None) -> None:
        self._longest = longest or [0] * len(cuts)
        self.cuts, self.values, self.capacity, self.blank_cost = cuts, values, capacity, blank_cost
        best = np.full(capacity + 1, -np.inf)
        best[0] = 0
        self.by_reach: dict[int, _Values] = {0: best}
        """Most value of blanks that take exactly so much, and reach so far; minus infinity where no blanks do."""
        self._stages: list[_Stage] = []
        # What a part of a job is worth, and a blank costs.
        self._worth: dict[int, tuple[float, float]] = {}
        self._known_spreads: dict[tuple[int, int], list[tuple[tuple[tuple[int, int], ...], int, float]]] = {}
        most_states = _MOST_STATES if len(cuts) <= _FEW_JOBS else _MOST_STATES // 2
        for job, (cut, value) in enumerate(zip(cuts, values, strict=True)):
            value = value - blank_cost if cut.single else value
            # A blank worth less than its cut may still fill a bar so that its last cut is saved.
            if cut.start + cut.least_parts * cut.step > capacity and not cut.padded:
                continue
            reach = reaches[job] if reaches else 0
            all_layers: dict[int, list[_Values]] = {}
            ways: dict[int, list[tuple[int, int]]] = {}
            for start, before in self.by_reach.items():
                layers = all_layers[start] = [before]
                for _ in range(cut.most_blanks):
                    following = self._next_blank(layers[-1], cut, value, 0.0 if cut.single else blank_cost, self._longest[job])
                    if not np.isfinite(following).any():
                        break
                    layers.append(following)
                for count in range(len(layers)):
                    ways.setdefault(min(start + count * reach, max(start, far)), []).append((start, count))
            _join(ways, most_states)
            self._stages.append(_Stage(job, self.best, all_layers, ways))
            self.by_reach = {reached: np.maximum.reduce([all_layers[start][count] for start, count in from_])
                             for reached, from_ in ways.items()}
            self._worth[job] = value, 0.0 if cut.single else blank_cost

    @property
    def best(self) -> _Values:
        """Most value of blanks that take exactly so much, whatever they reach."""
        arrays = list(self.by_reach.values())
        return arrays[0] if len(arrays) == 1 else np.maximum.reduce(arrays)

    def _next_blank(self, before: _Values, cut: Cut, value: float, blank_cost: float, longest: int) -> _Values:
        after = np.full(self.capacity + 1, -np.inf)
        # What no blanks before take, none takes with this one.
        least = int(np.isfinite(before).argmax())
        before, end = before[least:], after[least:]
        first = cut.start + cut.least_parts * cut.step
        choices = cut.most_parts - cut.least_parts + 1
        worth = cut.least_parts * value - blank_cost
        if choices > 0:
            most = worth + max(0.0, (choices - 1) * value)
            if not cut.step:  # a part that is shorter than a unit
                _put(end, before, first, max(first, longest), most)
            elif not longest:
                _put(end, _choices(before, cut.step, value, choices), first, first, worth)
            else:
                # A blank that is as long as one part more has that part, but for the one of most parts.
                if choices > 1 and first < len(before):
                    _put(end, _choices(_most_of_last(before, cut.step), cut.step, value, choices - 1), first, first, worth)
                _put(end, before, full := first + (choices - 1) * cut.step, max(full, longest), worth + (choices - 1) * value)
        if cut.padded:
            length, parts = cut.padded
            if parts:
                _put(end, before, length, max(length, longest), parts * value - blank_cost)
        return after

    def blanks(self, used: int, reach: int | None = None) -> tuple[tuple[int, int], ...]:
        """Job and parts of each blank of the best way to take exactly `used`, of those that reach so far."""
        found: list[tuple[int, int]] = []
        at = int(used)
        state = max(self.by_reach, key=lambda s: self.by_reach[s][at]) if reach is None else reach
        wanted = self.by_reach[state][at]
        for stage in reversed(self._stages):
            cut, (value, blank_cost) = self.cuts[stage.job], self._worth[stage.job]
            state, count = next(way for way in stage.ways[state]
                                if stage.layers[way[0]][way[1]][at] >= wanted - _CLOSE * (1 + abs(wanted)))
            layers = stage.layers[state]
            for n in range(count, 0, -1):
                back = self._stretch_back if self._longest[stage.job] else self._step_back
                at, parts = back(layers[n - 1], layers[n][at], at, cut, value, blank_cost, self._longest[stage.job])
                found.extend((stage.job, p) for p in cut.apart(parts))
            wanted = layers[0][at]
        assert at == 0
        return tuple(sorted(found, key=lambda blank: (blank[0], -blank[1])))

    def all_from(self, used: int, least: float) -> Iterator[tuple[tuple[int, int], ...]]:
        """Every way to take exactly `used` that is worth at least so much, but for how a job's parts are spread over its blanks."""
        yield from self._all(len(self._stages), used, least, ())

    def _all(self, stage: int, at: int, least: float, blanks: tuple[tuple[int, int], ...]) -> Iterator[tuple[tuple[int, int], ...]]:
        if stage == 0:
            if at == 0:
                yield tuple(sorted(blanks, key=lambda blank: (blank[0], -blank[1])))
            return
        job, before = self._stages[stage - 1].job, self._stages[stage - 1].before
        if before[at] >= least:
            yield from self._all(stage - 1, at, least, blanks)
        for count in range(1, max(map(len, self._stages[stage - 1].layers.values()))):
            for spread, length, value in self._spreads(job, count):
                if length > at:
                    break
                if before[at - length] + value >= least:
                    yield from self._all(stage - 1, at - length, least - value, blanks + spread)

    def _spreads(self, job: int, count: int) -> list[tuple[tuple[tuple[int, int], ...], int, float]]:
        """So many blanks of a job: each number of parts once, with its blanks, length and value, shortest first."""
        if (job, count) not in self._known_spreads:
            cut, (value, blank_cost) = self.cuts[job], self._worth[job]
            found = []
            for padded in range(count + 1 if cut.padded else 1):
                plain = count - padded
                wide = cut.padded or (0, 0)
                if plain and cut.most_parts < cut.least_parts:
                    continue
                for parts in range(plain * cut.least_parts, plain * cut.most_parts + 1):
                    blanks = tuple((job, p) for p in cut.spread(parts, plain)) + ((job, wide[1]),) * padded
                    total = parts + padded * wide[1]
                    length = plain * cut.start + parts * cut.step + padded * wide[0]
                    found.append((blanks, length, total * value - count * blank_cost))
            self._known_spreads[job, count] = sorted(found, key=lambda spread: spread[1])
        return self._known_spreads[job, count]

    def _stretch_back(self, before: _Values, wanted: float, at: int, cut: Cut, value: float, blank_cost: float,
                      longest: int) -> tuple[int, int]:
        """Where the last blank began, which may be longer than its parts, and its parts."""
        padded, padded_parts = cut.padded or (0, 0)
        first = cut.start + cut.least_parts * cut.step
        whole = cut.most_parts >= cut.least_parts
        lengths = np.arange(cut.shortest, min(at, max(longest, padded, cut.start + cut.most_parts * cut.step)) + 1)
        parts = np.minimum(cut.most_parts, (lengths - cut.start) // cut.step) if cut.step else np.full(len(lengths), cut.most_parts)
        plain = (lengths >= first) & whole
        parts = np.where(plain, parts, padded_parts)
        reached = before[at - lengths] + parts * value - blank_cost
        good = np.nonzero((plain | (padded_parts > 0)) & (reached >= wanted - _CLOSE * (1 + abs(wanted))))[0]
        return at - int(lengths[good[-1]]), int(parts[good[-1]])

    def _step_back(self, before: _Values, wanted: float, at: int, cut: Cut, value: float, blank_cost: float,
                   _longest: int) -> tuple[int, int]:
        parts = np.arange(cut.least_parts, cut.most_parts + 1)
        starts = at - cut.start - parts * cut.step
        parts, starts = parts[starts >= 0], starts[starts >= 0]
        reached = before[starts] + parts * value - blank_cost
        good = np.nonzero(reached >= wanted - _CLOSE * (1 + abs(wanted)))[0]
        if len(good):
            return int(starts[good[-1]]), int(parts[good[-1]])
        assert cut.padded
        return at - cut.padded[0], cut.padded[1]


def _put(after: _Values, before: _Values, shortest: int, longest: int, worth: float) -> None:
    """A blank of that much worth, of any length between these, behind what is before."""
    if (room := len(before) - shortest) > 0:
        np.maximum(after[shortest:], _most_of_last(before[:room], longest - shortest + 1) + worth, out=after[shortest:])


def _choices(before: _Values, step: int, value: float, choices: int) -> _Values:
    """At u the most of before[u - n * step] + n * value over n = 0 .. choices - 1, by doubling."""
    chosen, done = before.copy(), 1
    while done < choices:
        more = min(done, choices - done)
        shift = more * step
        if shift >= len(chosen):
            break
        moved = chosen[:-shift] + more * value
        np.maximum(chosen[shift:], moved, out=chosen[shift:])
        done += more
    return chosen


def _most_of_last(values: _Values, width: int) -> _Values:
    """At each place the most of the last so many, it among them, by doubling."""
    done = 1
    while done < width:
        more = min(done, width - done)
        if more >= len(values):
            break
        wider = values.copy()
        np.maximum(values[more:], values[:-more], out=wider[more:])
        values, done = wider, done + more
    return values


def _join(ways: dict[int, list[tuple[int, int]]], most: int) -> None:
    """Take reaches that are close as the longer one until there are no more than so many; none reaches nothing by that."""
    while len(ways) > most:
        reaches = sorted(reach for reach in ways if reach)
        shorter, longer = min(pairwise(reaches), key=lambda pair: pair[1] - pair[0])
        ways[longer] += ways.pop(shorter)
