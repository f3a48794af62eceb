"""The history of the rack, and what is on it by that history.

Each booking is a row; a row is never changed. It holds what was done and what stood there before and after, so that whoever
reads the rows does all of it again and sees whether they agree. Lengths are whole steps and money whole cents: both close
exactly.

Like bars of one owner (`Bar.like`) have a value together, in layers of length and money. What leaves takes its value from the
oldest layer ("first in, first out") or in proportion from all ("average").
"""

import datetime
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any, NoReturn

from barfuncs.catalogue.reading import read_choice
from barfuncs.errors import BarfuncsError, InputError
from barfuncs.rack.bars import (
    CERTIFICATES,
    OF_ONE_HEAT,
    Bar,
    bar_problems,
    length_words,
    money_words,
    same,
)

METHODS = ("first in, first out", "average")
START, RECEIVE, TAKE, RETURN, COUNT, METHOD = ACTIONS = ("start", "receive", "take", "return", "count", "method")
MOST_ENTRIES = 15_000
"""Rows of a history."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One row of the history. What an action does not speak of is blank. The order of the fields is that of the columns."""

    entry: int
    date: datetime.date
    action: str
    units: str
    method: str = ""
    bar: str = ""
    bars: int | None = None
    """Moved, or counted."""
    length: int | None = None
    """Of one bar, in steps."""
    value: int | None = None
    """Cents that came or went with them."""
    job: str = ""
    customer: str = ""
    needs: str = ""
    """The certificate that the job needs."""
    parent: str = ""
    kerf: int | None = None
    """Lost at the saw for each bar that came back."""
    material: str = ""
    shape: str = ""
    size: float | None = None
    thickness: float | None = None
    finish: str = ""
    tolerance: str = ""
    heat: str = ""
    certificate: str = ""
    owner: str = ""
    place: str = ""
    received: datetime.date | None = None
    note: str = ""
    ordered: int | None = None
    """Length that was ordered where the bars came by an order: what the mill sends for it is learnt from that."""
    difference: str = ""
    """Of a count, in words."""
    bars_before: int | None = None
    """Bars of this id."""
    bars_after: int | None = None
    stock_length_before: int | None = None
    """All like bars of this owner."""
    stock_length_after: int | None = None
    stock_value_before: int | None = None
    stock_value_after: int | None = None


ENTRY_FIELDS = tuple(f.name for f in fields(Entry))
LENGTHS = ("length", "kerf", "ordered", "stock_length_before", "stock_length_after")
MONEY = ("value", "stock_value_before", "stock_value_after")
COUNTS = ("entry", "bars", "bars_before", "bars_after")
DATES = ("date", "received")
SIZES = ("size", "thickness")
_OF_BAR = ("material", "shape", "size", "thickness", "finish", "tolerance", "heat", "certificate", "owner", "place", "received")


def share(amount: int, part: int, whole: int) -> int:
    """So much of an amount as a part is of the whole, to the nearest cent; half a cent goes up.

    >>> share(1000, 1, 3), share(5, 1, 2), share(7, 3, 3)
    (333, 3, 7)
    """
    return (2 * amount * part + whole) // (2 * whole)


@dataclass
class Layer:
    """Length that came together, and its money."""

    day: datetime.date
    length: int
    value: int


@dataclass
class Stock:
    """Like bars of one owner: their layers, the oldest first."""

    layers: list[Layer] = field(default_factory=list)
    length: int = 0
    value: int = 0
    """Those of all layers."""

    def put(self, day: datetime.date, length: int, value: int) -> None:
        """A layer in its place by the day it came; of one day, behind those that are there."""
        place = len(self.layers)
        while place and self.layers[place - 1].day > day:
            place -= 1
        self.layers.insert(place, Layer(day, length, value))
        self.length, self.value = self.length + length, self.value + value

    def draw(self, length: int, method: str) -> int:
        """Take a length out; its money."""
        if method == METHODS[1] and len(self.layers) > 1:
            self.layers = [Layer(self.layers[0].day, self.length, self.value)]
        drawn, left = 0, length
        while left:
            layer = self.layers[0]
            part = min(left, layer.length)
            money = share(layer.value, part, layer.length)
            layer.length, layer.value = layer.length - part, layer.value - money
            left, drawn = left - part, drawn + money
            if not layer.length:
                del self.layers[0]
        self.length, self.value = self.length - length, self.value - drawn
        return drawn

    def copy(self) -> "Stock":
        return Stock([replace(layer) for layer in self.layers], self.length, self.value)


@dataclass
class AtJob:
    """What a job has of one bar: length and money taken for it that did not come back."""

    length: int = 0
    value: int = 0


@dataclass
class Job:
    """What is known of a job from its takes."""

    name: str
    customer: str = ""
    needs: str = ""
    has: dict[str, AtJob] = field(default_factory=dict)
    heats: list[str] = field(default_factory=list)


@dataclass
class Sum:
    """A length and the money that goes with it."""

    length: int = 0
    value: int = 0

    def add(self, length: int, value: int) -> None:
        self.length += length
        self.value += value


@dataclass(frozen=True)
class Balance:
    """Where all length and money of a history are. `kerf` and `used` are parts of what jobs kept."""

    received: Sum
    found: Sum
    taken: Sum
    returned: Sum
    written_off: Sum
    left: Sum
    kerf: int
    used: int

    @property
    def closes(self) -> bool:
        kept = Sum(self.taken.length - self.returned.length, self.taken.value - self.returned.value)
        return (kept.length == self.received.length + self.found.length - self.written_off.length - self.left.length
                and kept.value == self.received.value + self.found.value - self.written_off.value - self.left.value
                and kept.length == self.kerf + self.used)


def refuse(problems: Sequence[tuple[str, str]]) -> NoReturn:
    raise InputError("rack", problems)


class Rack:
    """What is on the rack by the rows so far. Each booking is checked first; one that is refused changes nothing."""

    def __init__(self) -> None:
        self.units = self.method = ""
        self.entries = 0
        self.bars: dict[str, Bar] = {}
        """By id in small letters, those that are used up too. Their `value` is what they came with."""
        self.stocks: dict[tuple[Any, ...], Stock] = {}
        self.jobs: dict[str, Job] = {}
        self.owners: dict[str, str] = {}
        self.came: dict[tuple[str, int], list[tuple[int, int]]] = {}
        """By material and ordered length: lengths that came, and how many bars of each."""
        self._heats: dict[str, Bar] = {}
        self._roots: dict[str, str] = {}
        self._sums = {name: Sum() for name in ("received", "found", "taken", "returned", "written_off")}
        self._kerf = 0

    # --- what is there ---------------------------------------------------------------------------------------------

    def bar(self, name: str) -> Bar:
        found = self.bars.get(same(name))
        if found is None:
            refuse([("bar", f"{name!r} is not on this rack")])
        return found

    def present(self) -> list[Bar]:
        """The bars that are there, in the order they came, each with its share of the value of its like."""
        left = {key: stock.copy() for key, stock in self.stocks.items()}
        there = sorted((bar for bar in self.bars.values() if bar.bars), key=lambda bar: bar.received)
        return [replace(bar, value=left[bar.like].draw(bar.bars * bar.length, self.method)) for bar in there]

    def balance(self) -> Balance:
        left = Sum()
        for bar in self.bars.values():
            left.length += bar.bars * bar.length
        for stock in self.stocks.values():
            left.value += stock.value
        used = sum(at.length for job in self.jobs.values() for at in job.has.values())
        return Balance(**{name: replace(found) for name, found in self._sums.items()}, left=left, kerf=self._kerf, used=used)

    def free_id(self, beginning: str = "B") -> str:
        """The first of B1, B2, B3 ... that no bar ever had."""
        number = len(self.bars) + 1 if beginning == "B" else 1
        while same(f"{beginning}{number}") in self.bars:
            number += 1
        return f"{beginning}{number}"

    def returned_id(self, parent: Bar) -> str:
        """Of what comes back from bar B7: B7R1, B7R2 ..., also of what comes back from one of these."""
        return self.free_id(self._roots.get(same(parent.id), parent.id) + "R")

    # --- bookings --------------------------------------------------------------------------------------------------

    def start(self, units: str, method: str, day: datetime.date) -> Entry:
        if self.entries:
            refuse([("action", "a history has one start, its first row")])
        self.units, self.method = units, method
        return self._booked(day, START, method=method)

    def change_method(self, method: str, day: datetime.date) -> Entry:
        self.method = method
        return self._booked(day, METHOD, method=method)

    def receive(self, bar: Bar, day: datetime.date, ordered: int | None = None) -> Entry:
        """Bars come in under a new id; `ordered` is the length that was ordered."""
        bar = self._checked(bar)
        before = self._sight(bar, 0)
        self._add(bar)
        self._stock(bar).put(bar.received, bar.bars * bar.length, bar.value)
        self._sums["received"].add(bar.bars * bar.length, bar.value)
        if ordered is not None:
            self.came.setdefault((bar.material, ordered), []).append((bar.length, bar.bars))
        return self._booked(day, RECEIVE, bar, before, value=bar.value, ordered=ordered, **_said(bar))

    def _checked(self, bar: Bar) -> Bar:
        problems = bar_problems(bar)
        there = self.bars.get(same(bar.id))
        if there is not None:
            problems.append(("id", f"{bar.id!r} is in the history already: {there.described()}; each bar has an id of its own"))
        known = self._heats.get(same(bar.heat)) if bar.heat else None
        if known is not None and known.material != bar.material:
            problems.append(("heat", f"heat {bar.heat!r} is {known.material} in bar {known.id!r}; a heat is one melt of one material. Where "
                                     "two mills have the same number, write the mill before it"))
        if problems:
            refuse(problems)
        return bar if bar.is_own else replace(bar, owner=self.owners.get(same(bar.owner), bar.owner))

    def take(self, name: str, job: str, bars: int = 1, customer: str = "", needs: str = "", *, day: datetime.date,
             note: str = "") -> Entry:
        """Bars go to a job. `customer` is whose job it is and `needs` the certificate it needs; both are remembered of the job."""
        bar, problems = self.bar(name), list[tuple[str, str]]()
        known = self.jobs.get(same(job), Job(job))
        if not job:
            problems.append(("job", "is missing: a bar is taken for a job"))
        if customer and known.customer and same(customer) != same(known.customer):
            problems.append(("customer", f"{customer!r} given; job {known.name!r} is for {known.customer!r}"))
        if needs and known.needs and needs != known.needs:
            problems.append(("needs", f"{needs} given; job {known.name!r} needs {known.needs} since an earlier take"))
        customer, needs = customer or known.customer, needs or known.needs
        if not 1 <= bars <= bar.bars:
            problems.append(("bars", f"{bars} given; of {bar.id!r} there are {bar.bars} on the rack"))
        if not bar.is_own and same(customer) != same(bar.owner):
            whose = f"job {known.name!r} is for {customer!r}" if customer else f"nothing says that job {known.name!r} is theirs"
            problems.append(("bar", f"{bar.id!r} belongs to {bar.owner!r}, and {whose}"))
        if needs:
            problems += certificate_problems(bar, needs, f"job {known.name!r}")
        if problems:
            refuse(problems)
        before, length = self._sight(bar), bars * bar.length
        value = self._stock(bar).draw(length, self.method)
        bar = self.bars[same(bar.id)] = replace(bar, bars=bar.bars - bars)
        self.jobs[same(job)] = known
        known.customer, known.needs = customer, needs
        at = known.has.setdefault(same(bar.id), AtJob())
        at.length, at.value = at.length + length, at.value + value
        if bar.heat not in known.heats:
            known.heats.append(bar.heat)
        self._sums["taken"].add(length, value)
        return self._booked(day, TAKE, bar, before, bars=bars, value=value, job=known.name, customer=customer, needs=needs, note=note)

    def give_back(self, name: str, job: str, length: int | None = None, bars: int = 1, kerf: int = 0, new_id: str = "",
                  value: int | None = None, place: str = "", *, day: datetime.date, note: str = "") -> Entry:
        """Bars come back from a job: shorter, under a new id, or untouched under their own where no length is given.

        Their value is their share of what is still charged to the job, unless another, not higher, is given. The saw cut belongs
        to what the job used.
        """
        parent, problems = self.bar(name), list[tuple[str, str]]()
        known = self.jobs.get(same(job))
        at = known.has.get(same(parent.id), AtJob()) if known else AtJob()
        whole, each = length is None, parent.length if length is None else length
        gone = bars * (each + kerf)
        if known is None or not at.length:
            problems.append(("job", f"job {job!r} has nothing of bar {parent.id!r}"))
        elif bars < 1:
            problems.append(("bars", f"{bars} given; at least 1 comes back"))
        elif whole and (kerf or new_id):
            problems.append(("length", "is missing: without it the bar comes back untouched, under its own id and without a cut"))
        elif not 0 < each <= parent.length - kerf:
            problems.append(("length", f"{length_words(each, self.units)} given; bar {parent.id!r} has {length_words(parent.length, self.units)}"
                                       + (f" and the cut takes {length_words(kerf, self.units)}" if kerf else "")))
        elif gone > at.length:
            problems.append(("length", f"{length_words(gone, self.units)} would come back with the cuts; job {known.name!r} has "
                                       f"{length_words(at.length, self.units)} of {parent.id!r}"))
        most = share(at.value, bars * each, at.length) if at.length and not problems else 0
        if value is not None and not problems and not 0 <= value <= at.value:
            problems.append(("value", f"{money_words(value)} given; job {job!r} was charged {money_words(at.value)} for {parent.id!r}"))
        if problems:
            refuse(problems)
        assert known is not None
        back = most if value is None else value
        bar = parent
        if not whole:
            bar = replace(parent, id=new_id or self.returned_id(parent), parent=parent.id, bars=0, length=each, place=place or parent.place,
                          note=note, value=back)
            bar = self._checked(bar)
        before = self._sight(bar)
        if whole:
            self.bars[same(bar.id)] = bar = replace(bar, bars=bar.bars + bars, place=place or bar.place)
        else:
            bar = replace(bar, bars=bars)
            self._add(bar)
            self._roots[same(bar.id)] = self._roots.get(same(parent.id), parent.id)
        self._stock(bar).put(bar.received, bars * each, back)
        at.length, at.value = at.length - gone, at.value - back
        self._kerf += bars * kerf
        self._sums["returned"].add(bars * each, back)
        more = dict(_said(bar)) if not whole else {"place": place}
        return self._booked(day, RETURN, bar, before, bars=bars, value=back, job=known.name, parent="" if whole else parent.id,
                            kerf=kerf or None, **more | {"note": note})

    def count(self, name: str, bars: int | None = None, length: int | None = None, value: int | None = None, place: str = "", *,
              day: datetime.date, note: str = "") -> Entry:
        """Counted bars, and the measured length of each: what is short is written off at its value; what is over comes in at no
        value, unless one is given."""
        bar, problems = self.bar(name), list[tuple[str, str]]()
        counted, each = bar.bars if bars is None else bars, bar.length if length is None else length
        change = counted * each - bar.bars * bar.length
        if counted < 0:
            problems.append(("bars", f"{bars} given; at least 0 are counted"))
        if value is not None and change <= 0:
            problems.append(("value", "is given, but nothing was found that it could be the value of"))
        if value and not bar.is_own:
            problems.append(("value", f"is given, but the bar belongs to {bar.owner!r}"))
        if problems:
            refuse(problems)
        before, stock = self._sight(bar), self._stock(bar)
        money = 0
        if change < 0:
            money = stock.draw(-change, self.method)
            self._sums["written_off"].add(-change, money)
        elif change > 0:
            money = value or 0
            stock.put(bar.received, change, money)
            self._sums["found"].add(change, money)
        words = self._difference(bar, counted, each)
        self.bars[same(bar.id)] = bar = replace(bar, bars=counted, length=each, place=place or bar.place)
        return self._booked(day, COUNT, bar, before, bars=counted, length=each, value=money, place=place, note=note, difference=words)

    def _difference(self, bar: Bar, counted: int, each: int) -> str:
        words = []
        if counted != bar.bars:
            number = abs(counted - bar.bars)
            words.append(f"{number} bar{'s' if number > 1 else ''} {'missing' if counted < bar.bars else 'more than booked'}")
        if each != bar.length:
            words.append(f"each {length_words(abs(each - bar.length), self.units)} {'shorter' if each < bar.length else 'longer'} than booked")
        return ", ".join(words) or "as booked"

    # --- what all bookings do --------------------------------------------------------------------------------------

    def _stock(self, bar: Bar) -> Stock:
        return self.stocks.setdefault(bar.like, Stock())

    def _sight(self, bar: Bar, bars: int | None = None) -> tuple[int, int, int]:
        stock = self.stocks.get(bar.like, Stock())
        return bar.bars if bars is None else bars, stock.length, stock.value

    def _add(self, bar: Bar) -> None:
        self.bars[same(bar.id)] = bar
        if bar.heat:
            self._heats.setdefault(same(bar.heat), bar)
        self.owners.setdefault(same(bar.owner), bar.owner)

    def _booked(self, day: datetime.date, action: str, bar: Bar | None = None, before: tuple[int, int, int] | None = None,
                **said: Any) -> Entry:
        self.entries += 1
        if bar is not None and before is not None:
            after = self._sight(bar)
            said = {"bar": bar.id, "bars": bar.bars, "length": bar.length} | said | dict(zip(
                ("bars_before", "stock_length_before", "stock_value_before", "bars_after", "stock_length_after", "stock_value_after"),
                before + after, strict=True))
        return Entry(self.entries, day, action, self.units, **said)

    # --- a row of the history, done again --------------------------------------------------------------------------

    def again(self, row: Entry) -> Entry:
        """Do what a row of the history says. Raises InputError where that can't be; what comes of it is compared by `differing`."""
        if row.action not in ACTIONS:
            refuse([("action", f"{row.action!r} given; allowed is one of {', '.join(ACTIONS)}")])
        if not self.entries and row.action != START:
            refuse([("action", "a history begins with a start")])
        return _AGAIN[row.action](self, row)


def certificate_problems(bar: Bar, needs: str, who: str) -> list[tuple[str, str]]:
    """Why a bar does not go where a certificate is needed."""
    if CERTIFICATES.index(bar.certificate) < CERTIFICATES.index(needs):
        has = "no certificate" if bar.certificate == CERTIFICATES[0] else f"a certificate {bar.certificate}"
        return [("bar", f"{bar.id!r} has {has}, and {who} needs {needs}")]
    if needs in OF_ONE_HEAT and not bar.heat:
        return [("bar", f"{bar.id!r} has no heat, and {who} needs a certificate {needs}")]
    return []


def _said(bar: Bar) -> dict[str, Any]:
    return {name: getattr(bar, name) for name in _OF_BAR} | {"note": bar.note}


def _needed(row: Entry, *names: str) -> None:
    missing = [(name, "is missing") for name in names if getattr(row, name) in (None, "")]
    if missing:
        refuse(missing)


def _method(text: str) -> str:
    try:
        return read_choice(text, METHODS)
    except BarfuncsError as error:
        refuse([("method", str(error))])


def _start_again(rack: Rack, row: Entry) -> Entry:
    _needed(row, "method", "units")
    return rack.start(row.units, _method(row.method), row.date)


def _receive_again(rack: Rack, row: Entry) -> Entry:
    _needed(row, "bar", "bars", "length", "value", "material", "shape", "size", "tolerance", "certificate", "owner", "received")
    return rack.receive(Bar(id=row.bar, units=row.units, length=row.length or 0, bars=row.bars or 0, value=row.value or 0,
                            note=row.note, **{name: getattr(row, name) for name in _OF_BAR}), row.date, row.ordered)


def _take_again(rack: Rack, row: Entry) -> Entry:
    _needed(row, "bar", "bars", "job")
    return rack.take(row.bar, row.job, row.bars or 0, row.customer, row.needs, day=row.date, note=row.note)


def _return_again(rack: Rack, row: Entry) -> Entry:
    _needed(row, "bar", "bars", "length", "job", "value")
    length = row.length if row.parent else None
    return rack.give_back(row.parent or row.bar, row.job, length, row.bars or 0, row.kerf or 0, row.bar if row.parent else "", row.value,
                          row.place, day=row.date, note=row.note)


def _count_again(rack: Rack, row: Entry) -> Entry:
    _needed(row, "bar", "bars", "length", "value")
    there = rack.bar(row.bar)
    more = (row.bars or 0) * (row.length or 0) > there.bars * there.length
    return rack.count(row.bar, row.bars, row.length, row.value if more else None, row.place, day=row.date, note=row.note)


_AGAIN: Mapping[str, Callable[[Rack, Entry], Entry]] = {
    START: _start_again, RECEIVE: _receive_again, TAKE: _take_again, RETURN: _return_again, COUNT: _count_again,
    METHOD: lambda rack, row: rack.change_method(_method(row.method), row.date),
}


def differing(row: Entry, reckoned: Entry) -> Iterator[tuple[str, Any, Any]]:
    """The columns in which a row of the history is not what comes of doing it again: column, what it says, what it should."""
    for name in ENTRY_FIELDS:
        said, found = getattr(row, name), getattr(reckoned, name)
        if said != found:
            yield name, said, found
