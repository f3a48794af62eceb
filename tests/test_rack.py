"""The rack: its history and file, what is refused, kills and two at once, lists, workbook and labels."""

import contextlib
import csv
import datetime
import errno
import io
import os
import random
import signal
import subprocess
import sys
import time
import zipfile
from collections import deque
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import openpyxl
import pdfplumber
import pytest
from click.testing import CliRunner
from filelock import FileLock
from hostile_lists import write_xlsx
from hypothesis import given, settings
from hypothesis import strategies as st
from judges import JUDGES, content, without_values
from libreoffice import convert

from barfuncs.cli.main import main
from barfuncs.errors import BarfuncsError, InputError, WorkbookError
from barfuncs.filling.results import csv_text
from barfuncs.rack import file, goods_in, labels, listing, workbook
from barfuncs.rack.bars import (
    BY_NAME,
    COLUMNS,
    OWN,
    Bar,
    bar_problems,
    length_words,
    read_bar,
    read_cell,
    read_length,
    read_money,
    same,
)
from barfuncs.rack.file import changing, line_of, read_ledger
from barfuncs.rack.ledger import ENTRY_FIELDS, METHODS, Entry, Rack, Stock, share
from barfuncs.rack.listing import ListError, read_bars
from barfuncs.templates.model import LOOK, NOTE, OK, STOP
from barfuncs.text.limits import MOST_CELLS
from barfuncs.xlsx.engine import Workbook

FIFO, AVERAGE = METHODS
DAY = datetime.date(2026, 3, 2)


def bar(name: str = "B1", **more) -> Bar:
    return replace(Bar(name, "Stainless 303", "round", 1.0, 144_000, "in", DAY, heat="H1", certificate="3.1", bars=4, value=40_000), **more)


def started(method: str = FIFO, *bars: Bar) -> Rack:
    rack = Rack()
    rack.start("in", method, DAY)
    for item in bars:
        rack.receive(item, DAY)
    return rack


def written(rack_entries: list[Entry]) -> bytes:
    return (",".join(ENTRY_FIELDS) + "\r\n").encode("utf-8-sig") + b"".join(map(line_of, rack_entries))


# --- figures by hand -----------------------------------------------------------------------------------------------


def test_a_week_by_hand():
    """Six bars of 144 in for 480.00, that is 80.00 each. Two go to a job, 51.5 in of one comes back: 160.00 x 51.5 / 288 = 28.61.
    Then one is missing: 80.00 of the oldest layer."""
    rack = started(FIFO, bar(bars=6, value=48_000))
    took = rack.take("b1", "J-12", 2, day=DAY)
    assert (took.value, took.bars_before, took.bars_after) == (16_000, 6, 4)
    assert (took.stock_length_before, took.stock_length_after) == (864_000, 576_000)
    assert (took.stock_value_before, took.stock_value_after) == (48_000, 32_000)
    back = rack.give_back("B1", "J-12", 51_500, kerf=100, day=DAY)
    assert (back.bar, back.parent, back.value, back.heat, back.certificate, back.received) == ("B1R1", "B1", 2_861, "H1", "3.1", DAY)
    short = rack.count("B1", bars=3, day=DAY)
    assert (short.value, short.difference) == (8_000, "1 bar missing")
    balance = rack.balance()
    assert balance.closes
    assert (balance.left.length, balance.left.value) == (3 * 144_000 + 51_500, 48_000 - 16_000 + 2_861 - 8_000)
    assert (balance.kerf, balance.used) == (100, 288_000 - 51_500 - 100)


def test_first_in_first_out_and_average_by_hand():
    """2 bars at 10.00 and 2 at 16.00 of the same length. Three go: 10+10+16 = 36.00, or 3 x 13 = 39.00."""
    for method, value, left in ((FIFO, 3_600, 1_600), (AVERAGE, 3_900, 1_300)):
        rack = started(method, bar("N", bars=2, value=3_200, received=DAY + datetime.timedelta(9)), bar("O", bars=2, value=2_000))
        first, second = rack.take("N", "J", 2, day=DAY), rack.take("O", "J", day=DAY)
        assert first.value + second.value == value, method
        assert rack.balance().left.value == left
    assert first.value == 2_600


def test_what_comes_back_keeps_its_day_and_goes_out_before_younger_bars():
    rack = started(FIFO, bar("O", bars=1, value=1_000), bar("N", bars=1, value=9_000, received=DAY + datetime.timedelta(30)))
    rack.take("O", "J", day=DAY)
    assert rack.give_back("O", "J", 72_000, day=DAY).value == 500
    assert rack.take("N", "K", day=DAY).value == 500 + 4_500


def test_the_method_may_change_and_the_value_stays():
    rack = started(FIFO, bar("O", bars=2, value=2_000), bar("N", bars=2, value=3_200, heat="H2"))
    rack.take("O", "J", day=DAY)
    before = rack.balance().left.value
    assert rack.change_method(AVERAGE, DAY).method == AVERAGE
    assert rack.balance().left.value == before == 4_200
    assert rack.take("O", "J", day=DAY).value == 1_400


def test_bars_that_are_not_alike_have_values_of_their_own():
    others = {"size": 1.25, "material": "Steel 12L14", "shape": "hexagon", "finish": "ground", "tolerance": "h9"}
    for name, value in others.items():
        rack = started(AVERAGE, bar("A", bars=1, value=1_000), bar("B", bars=1, value=9_000, heat="X", **{name: value}))
        assert rack.take("B", "J", day=DAY).value == 9_000, name
    alike = {"place": "C7", "note": "x", "certificate": "2.1", "finish": ""}
    rack = started(AVERAGE, bar("A", bars=1, value=1_000), bar("B", bars=1, value=9_000, **alike))
    assert rack.take("B", "J", day=DAY).value == 5_000


def test_a_job_pays_what_it_keeps():
    rack = started(FIFO, bar(bars=2, value=10_001))
    rack.take("B1", "J", 2, day=DAY)
    assert rack.give_back("B1", "J", day=DAY).value == 5_001  # untouched, half a cent up
    assert rack.bar("B1").bars == 1
    assert rack.give_back("B1", "J", 40_000, value=0, day=DAY).value == 0
    assert rack.jobs["j"].has["b1"].value == 5_000
    with pytest.raises(InputError, match=r"would come back with the cuts; job 'J' has 104 in of 'B1'"):
        rack.give_back("B1", "J", 120_000, day=DAY)
    assert rack.give_back("B1", "J", 104_000, day=DAY).value == 5_000
    with pytest.raises(InputError, match="job 'J' has nothing of bar 'B1'"):
        rack.give_back("B1", "J", 1, day=DAY)


def test_a_measured_length_is_booked_as_a_difference():
    rack = started(FIFO, bar(bars=2, value=28_800))
    entry = rack.count("B1", length=143_500, place="D4", day=DAY)
    assert (entry.difference, entry.value, entry.bars_after) == ("each 0.5 in shorter than booked", 100, 2)
    assert rack.bar("B1").place == "D4"
    assert rack.count("B1", bars=3, length=144_000, day=DAY).difference == "1 bar more than booked, each 0.5 in longer than booked"
    assert rack.balance().found.value == 0
    assert rack.count("B1", day=DAY).difference == "as booked"
    assert rack.count("B1", bars=4, value=700, day=DAY).value == 700
    assert rack.balance().closes


def test_ids_of_what_comes_back_stay_short():
    rack = started(FIFO, bar())
    rack.take("B1", "J", 2, day=DAY)
    assert rack.give_back("B1", "J", 90_000, day=DAY).bar == "B1R1"
    rack.take("B1R1", "J", day=DAY)
    assert rack.give_back("B1R1", "J", 60_000, day=DAY).bar == "B1R2"
    assert rack.give_back("B1", "J", 20_000, new_id="rest 7", day=DAY).bar == "rest 7"
    assert (rack.bar("B1R2").parent, rack.bar("REST 7").parent, rack.free_id()) == ("B1R1", "B1", "B5")


def test_share_closes():
    assert [share(100, n, 3) for n in (0, 1, 2, 3)] == [0, 33, 67, 100]
    stock = Stock()
    stock.put(DAY, 3, 100)
    assert [stock.draw(1, FIFO) for _ in range(3)] == [33, 34, 33]
    assert (stock.length, stock.value, stock.layers) == (0, 0, [])


# --- random histories ----------------------------------------------------------------------------------------------

_DEEDS = st.lists(st.tuples(st.sampled_from(("receive", "receive", "take", "take", "take", "return", "return", "count", "count", "method")),
                            st.integers(0, 9), st.integers(1, 5), st.integers(1, 3_000), st.integers(0, 99_999), st.integers(0, 30)),
                  min_size=3, max_size=40)


def do(rack: Rack, number: int, deed: tuple) -> Entry | None:
    """One booking after random numbers, None where it is refused."""
    what, which, bars, length, money, days = deed
    day = DAY + datetime.timedelta(days)
    names = [item.id for item in rack.bars.values()]
    owner = OWN if which % 4 else "Miller Pumps"
    name = names[which % len(names)] if names else "none"
    with contextlib.suppress(InputError):
        match what:
            case "receive":
                return rack.receive(Bar(f"Q{number}", ("Stainless 303", "Steel 12L14")[which % 2], "round", 1.0, length * 10 + 7, "in", day,
                                        heat=f"H{which}" if which else "", owner=owner, bars=bars, value=money if owner == OWN else 0), day)
            case "take":
                return rack.take(name, f"J{which}", bars, "" if which % 3 else "miller PUMPS", day=day)
            case "return":
                jobs = [(job.name, of) for job in rack.jobs.values() for of, at in job.has.items() if at.length]
                job, of = jobs[which % len(jobs)] if jobs else ("J", name)
                return rack.give_back(of, job, None if which == 7 else min(length, rack.bar(of).length), bars if which == 7 else 1, money % 50 if which != 7 else 0,
                                      value=0 if which == 5 else None, day=day)
            case "count":
                there = rack.bar(name)
                return rack.count(name, there.bars + bars - 3 if which % 2 else None, there.length + length - 1_000 if which % 3 == 0 and there.length > 1_000 else None,
                                  day=day)
            case "method":
                return rack.change_method(METHODS[which % 2], day)
    return None


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(METHODS), _DEEDS)
def test_length_and_money_close_after_every_booking(method, deeds):
    rack = Rack()
    entries = [rack.start("in", method, DAY)]
    sums = {}
    for number, deed in enumerate(deeds):
        before = repr(vars(rack))
        entry = do(rack, number, deed)
        if entry is None:
            assert repr(vars(rack)) == before, "what is refused changes nothing"
            continue
        entries.append(entry)
        assert rack.balance().closes
        physical = {}
        for item in rack.bars.values():
            assert item.bars >= 0
            physical[item.like] = physical.get(item.like, 0) + item.bars * item.length
        assert {k: v for k, v in physical.items() if v} == {k: s.length for k, s in rack.stocks.items() if s.length}
        assert all((s.length, s.value) == (sum(layer.length for layer in s.layers), sum(layer.value for layer in s.layers)) for s in rack.stocks.values())
        assert all(layer.length > 0 and layer.value >= 0 for s in rack.stocks.values() for layer in s.layers)
        assert sum(item.value for item in rack.present()) == rack.balance().left.value
        assert all(not item.value for item in rack.present() if not item.is_own)
        if entry.bar:  # each row goes on from where the last one of its like stood
            like = rack.bar(entry.bar).like
            assert (entry.stock_length_before, entry.stock_value_before) == sums.get(like, (0, 0))
            sums[like] = entry.stock_length_after, entry.stock_value_after
            sign = 1 if entry.stock_length_after >= entry.stock_length_before else -1
            assert entry.stock_value_after - entry.stock_value_before == sign * entry.value
    again = file.Ledger()
    file._reckon(again, "rack.csv", written(entries))
    assert again.entries == entries
    assert repr(vars(again.rack)) == repr(vars(rack))


class ExactRack:
    """The same bookings in exact fractions, with layers as a plain list that is sorted anew each time."""

    def __init__(self) -> None:
        self.layers: dict[tuple, list[list]] = {}
        self.jobs: dict[tuple[str, str], list] = {}
        self.lengths: dict[str, int] = {}

    def draw(self, key: tuple, length: int, method: str) -> Fraction:
        layers = self.layers[key] = sorted((layer for layer in self.layers[key] if layer[1]), key=lambda layer: layer[0])
        if method == AVERAGE:
            every, money = sum(layer[1] for layer in layers), sum(layer[2] for layer in layers)
            self.layers[key] = [[layers[0][0], every - length, money - money * length / every]]
            return money * length / every
        drawn = Fraction(0)
        for layer in layers:
            part = min(length, layer[1])
            money = layer[2] * part / layer[1]
            length, drawn = length - part, drawn + money
            layer[1], layer[2] = layer[1] - part, layer[2] - money
        return drawn

    def book(self, entry: Entry, key: tuple, received: datetime.date, method: str, for_nothing: bool) -> Fraction:
        """The exact value of a booking, by what was done alone."""
        if entry.action == "receive":
            value = Fraction(entry.value)
            self.layers.setdefault(key, []).append([received, entry.bars * entry.length, value])
        elif entry.action == "take":
            value = self.draw(key, entry.bars * entry.length, method)
            at = self.jobs.setdefault((entry.job, entry.bar), [0, Fraction(0)])
            at[0], at[1] = at[0] + entry.bars * entry.length, at[1] + value
        elif entry.action == "return":
            at, length = self.jobs[entry.job, entry.parent or entry.bar], entry.bars * entry.length
            value = Fraction(0) if for_nothing else at[1] * length / at[0]
            at[0], at[1] = at[0] - length - entry.bars * (entry.kerf or 0), at[1] - value
            self.layers[key].append([received, length, value])
        else:
            change = entry.bars * entry.length - entry.bars_before * self.lengths[entry.bar]
            value = self.draw(key, -change, method) if change < 0 else Fraction(0)
            if change > 0:
                self.layers[key].append([received, change, Fraction(0)])
        self.lengths[entry.bar] = entry.length
        return value


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(METHODS), _DEEDS)
def test_whole_histories_against_exact_fractions(method, deeds):
    rack, exact, roundings = Rack(), ExactRack(), 0
    rack.start("in", method, DAY)
    for number, deed in enumerate(deeds):
        entry = do(rack, number, deed)
        if entry is None or entry.action == "method":
            continue
        item = rack.bar(entry.bar)
        roundings += 1 + sum(map(len, exact.layers.values()))  # half a cent, once in each layer at most
        value = exact.book(entry, item.like, item.received, rack.method, deed[1] == 5)
        assert abs(value - entry.value) <= Fraction(roundings, 2), entry
        assert sum(layer[1] for layer in exact.layers[item.like]) == entry.stock_length_after
        assert abs(sum(layer[2] for layer in exact.layers[item.like]) - entry.stock_value_after) <= Fraction(roundings, 2)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 40), st.integers(1, 60), st.integers(0, 500), st.integers(1, 200)), min_size=1, max_size=25))
def test_first_in_first_out_against_a_queue_of_single_steps(deeds):
    """Each step of length has a price of whole cents, so that nothing is rounded."""
    stock, queue = Stock(), deque()
    for days, length, price, draw in deeds:
        stock.put(DAY + datetime.timedelta(days), length, length * price)
        queue = deque(sorted([*queue, *([(days, price)] * length)], key=lambda step: step[0]))
        draw = min(draw, len(queue))
        assert stock.draw(draw, FIFO) == sum(queue.popleft()[1] for _ in range(draw))
        assert (stock.length, stock.value) == (len(queue), sum(price for _, price in queue))


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 5_000), st.integers(0, 90_000), st.integers(0, 5_000)), min_size=1, max_size=25))
def test_the_average_against_exact_fractions(deeds):
    stock, length, money, draws = Stock(), 0, Fraction(0), 0
    for came, value, draw in deeds:
        stock.put(DAY, came, value)
        length, money = length + came, money + value
        draw = min(draw, length)
        exact = money * draw / length
        drawn, draws = stock.draw(draw, AVERAGE), draws + 1
        # Half a cent for each draw so far stays in the stock at most.
        assert abs(drawn - exact) <= Fraction(draws, 2)
        length, money = length - draw, money - exact
        assert stock.length == length
        assert abs(stock.value - money) <= Fraction(draws, 2)


# --- what is refused -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("needs", "heat", "certificate", "reason"), [
    ("3.1", "H1", "3.1", None), ("3.1", "H1", "3.2", None), ("2.1", "", "2.2", None), ("", "", "none", None),
    ("3.1", "H1", "2.2", "'B1' has a certificate 2.2, and job 'J' needs 3.1"),
    ("3.1", "", "none", "'B1' has no certificate, and job 'J' needs 3.1"),
    ("2.1", "H1", "none", "'B1' has no certificate, and job 'J' needs 2.1"),
    ("3.2", "H1", "3.1", "'B1' has a certificate 3.1, and job 'J' needs 3.2"),
])
def test_no_bar_without_its_certificate_goes_to_a_job_that_needs_one(needs, heat, certificate, reason):
    rack = started(FIFO, bar(heat=heat, certificate=certificate))
    if reason is None:
        assert rack.take("B1", "J", needs=needs, day=DAY).bars_after == 3
    else:
        with pytest.raises(InputError, match=reason):
            rack.take("B1", "J", needs=needs, day=DAY)


def test_what_a_job_needs_and_whose_it_is_is_remembered():
    rack = started(FIFO, bar(), bar("N", certificate="none"), bar("C", owner="Miller Pumps", value=0), bar("D", owner="Haas Ltd.", value=0))
    rack.take("B1", "J", needs="3.1", customer="Miller pumps", day=DAY)
    for name, more, reason in (("N", {}, "has no certificate, and job 'J' needs 3.1"), ("B1", {"needs": "2.1"}, "needs 3.1 since an earlier"),
                               ("D", {}, "belongs to 'Haas Ltd.', and job 'J' is for 'Miller pumps'"),
                               ("B1", {"customer": "Haas Ltd."}, "job 'J' is for 'Miller pumps'")):
        with pytest.raises(InputError, match=reason):
            rack.take(name, "j", day=DAY, **more)
    assert rack.take("C", "J", day=DAY).customer == "Miller pumps"
    with pytest.raises(InputError, match="nothing says that job 'K' is theirs"):
        rack.take("C", "K", day=DAY)
    assert rack.give_back("C", "J", 10_000, day=DAY).owner == "Miller Pumps"


def refused_by(deed):
    rack = started(FIFO, bar())
    rack.take("B1", "J", day=DAY)
    before = repr(vars(rack))
    with pytest.raises(InputError) as error:
        deed(rack)
    assert repr(vars(rack)) == before
    return str(error.value)


@pytest.mark.parametrize(("deed", "reason"), [
    (lambda r: r.receive(bar("b1"), DAY), "id: 'b1' is in the history already: Stainless 303, round 1 in"),
    (lambda r: r.receive(bar("N", material="Steel 12L14"), DAY), "heat: heat 'H1' is Stainless 303 in bar 'B1'; a heat is one melt"),
    (lambda r: r.receive(bar("N", heat=""), DAY), "heat: is missing: a certificate 3.1 of EN 10204 is of one heat"),
    (lambda r: r.receive(bar("N", owner="X"), DAY), "value: 400.00 given; a bar of a customer"),
    (lambda r: r.receive(bar("N", shape="tube"), DAY), "thickness: a flat, a tube and a hexagon tube need a thickness"),
    (lambda r: r.take("B7", "J", day=DAY), "bar: 'B7' is not on this rack"),
    (lambda r: r.take("B1", "", day=DAY), "job: is missing"),
    (lambda r: r.take("B1", "J", 4, day=DAY), "bars: 4 given; of 'B1' there are 3 on the rack"),
    (lambda r: r.take("B1", "J", 0, day=DAY), "bars: 0 given"),
    (lambda r: r.give_back("B1", "K", 10, day=DAY), "job: job 'K' has nothing of bar 'B1'"),
    (lambda r: r.give_back("B1", "J", 144_001, day=DAY), "length: 144.001 in given; bar 'B1' has 144 in"),
    (lambda r: r.give_back("B1", "J", 144_000, kerf=1, day=DAY), "length: 144 in given; bar 'B1' has 144 in and the cut takes 0.001 in"),
    (lambda r: r.give_back("B1", "J", 0, day=DAY), "length: 0 in given"),
    (lambda r: r.give_back("B1", "J", 9_000, bars=0, day=DAY), "bars: 0 given"),
    (lambda r: r.give_back("B1", "J", 9_000, new_id="b1", day=DAY), "id: 'b1' is in the history already"),
    (lambda r: r.give_back("B1", "J", kerf=5, day=DAY), "length: is missing: without it the bar comes back untouched"),
    (lambda r: r.give_back("B1", "J", 9_000, value=10_001, day=DAY), "value: 100.01 given; job 'J' was charged 100.00"),
    (lambda r: r.count("B1", -1, day=DAY), "bars: -1 given"),
    (lambda r: r.count("B1", 2, value=5, day=DAY), "value: is given, but nothing was found"),
    (lambda r: r.start("in", FIFO, DAY), "action: a history has one start"),
])
def test_what_is_refused_is_named_and_changes_nothing(deed, reason):
    assert f"rack: {reason}" in refused_by(deed)


@pytest.mark.parametrize(("name", "value", "reason"), [
    ("length", "12,5", "'12,5'"), ("length", 0, "0 given"), ("length", 10_000, "below 10,000 in"), ("length", "0.0001", "at least 0.001 in"),
    ("length", datetime.datetime(2026, 3, 8), "made the date"), ("size", -1, "-1 given"), ("material", "unobtanium", "not a known material"),
    ("shape", "pipe", "allowed is one of"), ("certificate", "4.1", "allowed is one of none, 2.1, 2.2, 3.1, 3.2"), ("value", -5, "-5 given"),
    ("value", "12,5", "12,5"), ("received", "3.4.2026", "write a day as 2026-03-31"), ("received", "2026-02-30", "write a day"),
    ("id", "=1", "an id begins with a letter or digit"), ("id", "x" * 25, "at most 24"), ("bars", 0, "0 given"), ("bars", 1.5, "1.5 given"),
    ("tolerance", "h5", "allowed is one of"), ("heat", "#N/A", "shows the error #N/A"), ("note", "x" * 121, "at most 120"),
])
def test_a_bad_cell_says_what_is_wrong(name, value, reason):
    with pytest.raises(BarfuncsError, match=reason):
        read_cell(name, value, "in")
    good = {"id": "A", "material": "303", "shape": "round", "size": 1, "length": 100}
    found, problems = read_bar(good | {name: value}, "in", DAY)
    assert found is None
    assert [column for column, _ in problems] == [name]


def test_lengths_and_money_are_whole_steps_and_cents():
    assert [read_length(v, "in") for v in ("12 ft", 0.1005, "3000 mm", 1 / 3, "1 3/8")] == [144_000, 101, 118_110, 333, 1_375]
    assert [read_length(v, "mm") for v in (0.005, "12 ft", 3000)] == [1, 365_760, 300_000]
    assert [read_money(v) for v in (0.1 + 0.2, "1,234.50", 12.345, 2.675, "$5")] == [30, 123_450, 1_235, 268, 500]
    assert length_words(1_234_500, "mm") == "12,345 mm"
    assert read_cell("certificate", 3.1, "in") == "3.1"
    assert (read_cell("owner", "OWN", "in"), read_cell("owner", " Miller  Pumps ", "in")) == ("own", "Miller Pumps")
    assert read_bar({"id": "A", "material": 303, "shape": "hex", "size": "19 mm", "length": "12 ft"}, "in", DAY)[0] == Bar(
        "A", "Stainless 303", "hexagon", 0.748031, 144_000, "in", DAY)
    assert bar_problems(bar()) == []


# --- the file ------------------------------------------------------------------------------------------------------


@pytest.fixture
def ledger(tmp_path) -> Path:
    path = tmp_path / "rack.csv"
    with changing(path, must_exist=False) as book:
        book.book(book.rack.start("in", FIFO, DAY))
        book.book(book.rack.receive(bar(bars=40), DAY))
        book.book(book.rack.receive(bar("C1", owner="Miller Pumps", value=0, certificate="none", heat="", note="long; =1+1, \"x\""), DAY))
    with changing(path) as book:
        book.book(book.rack.take("B1", "J-1", 2, day=DAY))
        book.book(book.rack.give_back("B1", "J-1", 51_500, kerf=100, day=DAY))
        book.book(book.rack.count("B1", 37, day=DAY))
    return path


def test_a_file_reads_back_and_only_grows(ledger):
    before = ledger.read_bytes()
    assert [e.action for e in read_ledger(ledger).entries] == ["start", "receive", "receive", "take", "return", "count"]
    with changing(ledger) as book:
        book.book(book.rack.take("B1", "J-2", day=DAY))
    after = ledger.read_bytes()
    assert after.startswith(before)
    assert after[len(before):].count(b"\r\n") == 1
    with changing(ledger) as book:
        assert book.rack.bar("B1").bars == 36
    assert ledger.read_bytes() == after
    assert [p.name for p in ledger.parent.iterdir()] == ["rack.csv"]


def test_a_booking_that_fails_leaves_the_file(ledger):
    before = ledger.read_bytes()

    def book_two() -> None:
        with changing(ledger) as book:
            book.book(book.rack.take("B1", "J-2", day=DAY))
            book.book(book.rack.take("B1", "J-2", 99, day=DAY))

    with pytest.raises(InputError, match="there are 36"):
        book_two()
    assert ledger.read_bytes() == before


def columns_changed(ledger: Path, row: int, column: str, value: str) -> None:
    lines = ledger.read_bytes().decode("utf-8-sig").split("\r\n")
    cells = next(csv.reader([lines[row - 1]]))
    cells[ENTRY_FIELDS.index(column)] = value
    text = io.StringIO(newline="")
    csv.writer(text).writerow(cells)
    lines[row - 1] = text.getvalue().rstrip("\r\n")
    ledger.write_text("\r\n".join(lines), "utf-8-sig", newline="")


@pytest.mark.parametrize(("row", "column", "value", "reason"), [
    (5, "value", "19.00", r"row 5, value: says 19.00, where the rows before give 20.00"),
    (5, "stock_length_after", "1", r"row 5, stock_length_after: says 1, where"),
    (7, "bars", "36", "row 7, value: says 10.00"),
    (3, "value", "401.00", r"row 3, stock_value_after: says 400.00, where the rows before give 401.00"),
    (6, "heat", "H2", "row 6, heat: says H2, where the rows before give H1"),
    (6, "length", "60", "row 6, stock_length_after"),
    (6, "parent", "B9", "row 6, bar: 'B9' is not on this rack"),
    (5, "bars", "41", "row 5, bars: 41 given; of 'B1' there are 40"),
    (5, "entry", "9", "row 5, entry: says 9, where the rows before give 4"),
    (5, "date", "03/02/2026", "row 5, date: '03/02/2026' can't be read; the file was changed outside"),
    (5, "date", "", "row 5, date: is missing"),
    (5, "length", "144.0005", "row 5, length: '144.0005' can't be read"),
    (5, "value", "-20", "row 5, value: '-20' can't be read"),
    (5, "value", "1e999999", "row 5, value: '1e999999' can't be read"),
    (5, "units", "ft", "row 5, units: 'ft' given; allowed is one of in, mm"),
    (5, "action", "sell", "row 5, action: 'sell' given"),
    (2, "action", "take", "row 2, action: a history begins with a start"),
    (2, "method", "last", "row 2, method: 'last' given"),
    (3, "bar", "", "row 3, bar: is missing"),
    (5, "bar", "", "row 5, bar: is missing"),
    (4, "units", "mm", "row 4, units: says mm, where the rows before give in"),
])
def test_a_row_that_does_not_follow_from_the_rows_before_is_named(ledger, row, column, value, reason):
    columns_changed(ledger, row, column, value)
    before = ledger.read_bytes()
    with pytest.raises(InputError, match=reason) as error:
        read_ledger(ledger)
    assert error.value.where == "rack.csv"
    with pytest.raises(InputError), changing(ledger) as book:
        book.book(book.rack.count("B1", day=DAY))
    assert ledger.read_bytes() == before


def test_a_row_that_is_taken_away_is_noticed(ledger):
    lines = ledger.read_bytes().split(b"\r\n")
    ledger.write_bytes(b"\r\n".join(lines[:3] + lines[4:]))
    with pytest.raises(InputError, match="row 4, entry: says 4, where the rows before give 3"):
        read_ledger(ledger)


@pytest.mark.parametrize(("data", "kind", "reason"), [
    (b"", WorkbookError, "rack.csv is no history of a rack"),
    (b"job,size\r\n1,2\r\n", WorkbookError, "rack.csv is no history of a rack: its first row has other columns"),
    (",".join(ENTRY_FIELDS[:-1]).encode(), InputError, "stock_value_after: this column is missing"),
    (",".join((*ENTRY_FIELDS, "more")).encode(), InputError, "more: is not a column"),
    (b"PK\x03\x04rest", WorkbookError, "is a workbook; a history is a CSV"),
    (b"\xff\xfe\x00\x01\x02", WorkbookError, "is not a CSV text"),
    (b"entry\0,date", WorkbookError, "is not a CSV text"),
    (b'"' + b"x" * 1_100_000, WorkbookError, "quotation mark never closed"),
    (b"x" * 21_000_000, WorkbookError, "is larger than 20 MB"),
])
def test_what_is_no_history_is_refused_and_kept(tmp_path, data, kind, reason):
    path = tmp_path / "rack.csv"
    path.write_bytes(data)
    with pytest.raises(kind, match=reason):
        read_ledger(path)
    with pytest.raises(kind, match=reason), changing(path, must_exist=False):
        pass
    assert path.read_bytes() == data


def test_a_history_that_a_spreadsheet_saved_with_semicolons_goes_on(ledger):
    rows = list(csv.reader(io.StringIO(ledger.read_bytes().decode("utf-8-sig"), newline="")))
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=";").writerows(rows)
    ledger.write_text(text.getvalue(), "utf-8-sig", newline="")
    with changing(ledger) as book:
        book.book(book.rack.take("B1", "J-3", day=DAY))
    assert len(read_ledger(ledger).entries) == 7


def test_a_history_has_an_end_that_is_said(ledger, monkeypatch):
    monkeypatch.setattr(file, "MOST_ENTRIES", 6)
    with pytest.raises(BarfuncsError, match=r"would have more than 6 rows .* begin a new one with what is there"), changing(ledger) as book:
        book.book(book.rack.take("B1", "J-3", day=DAY))
    assert file.MOST_CELLS == MOST_CELLS
    assert len(read_ledger(ledger).entries) == 6


def test_texts_never_become_formulas(tmp_path):
    nasty = ["=1+1", "+1", "-1", "@x", "a;=1+1", "\uff1d1", "=HYPERLINK(\"http://x\",\"y\")", "\"=1", "'", "x\u202ey"]
    path = tmp_path / "rack.csv"
    with changing(path, must_exist=False) as book:
        book.book(book.rack.start("in", FIFO, DAY))
        for n, text in enumerate(nasty):
            item, problems = read_bar({"id": f"B{n}", "material": "303", "shape": "round", "size": 1, "length": 9, "heat": text, "owner": text,
                                       "place": text, "note": text, "finish": text}, "in", DAY)
            assert item is not None, problems
            book.book(book.rack.receive(item, DAY))
    entries = read_ledger(path).entries
    assert [e.note for e in entries[1:]] == [csv_text(text) for text in nasty]
    for line in path.read_text("utf-8-sig").splitlines()[2:]:
        for separator in ",;\t":
            for cell in line.split(separator):
                assert cell.strip(' "')[:1] not in ("=", "+", "-", "@", "\uff1d"), line


@pytest.mark.slow
@pytest.mark.libreoffice
def test_no_text_of_a_history_is_a_formula_in_a_spreadsheet(tmp_path):
    test_texts_never_become_formulas(tmp_path)
    (tmp_path / "out").mkdir()
    for reading in ("", "CSV:59,34,76,1", "CSV:44/59/9,34,76,1"):
        saved, = convert(tmp_path / "rack.csv", tmp_path / "out", reading=reading)
        cells = [c for row in openpyxl.load_workbook(saved).worksheets[0].iter_rows() for c in row]
        assert len([c for c in cells if c.value is not None]) > 10
        assert [c.value for c in cells if c.data_type == "f"] == []


# --- locks, kills, disks -------------------------------------------------------------------------------------------


def command(*arguments: str, cwd: Path) -> subprocess.Popen:
    return subprocess.Popen([sys.executable, "-m", "barfuncs", "rack", *arguments], cwd=cwd, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                            encoding="utf-8", env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)})


@pytest.mark.slow
def test_several_at_once_are_all_booked(ledger):
    runs = [command("take", "B1", "--job", f"K-{n}", cwd=ledger.parent) for n in range(6)]
    said = [run.communicate(timeout=120) for run in runs]
    assert [run.returncode for run in runs] == [0] * 6, said
    rack = read_ledger(ledger).rack
    assert rack.bar("B1").bars == 31
    assert {f"k-{n}" for n in range(6)} <= set(rack.jobs)


@pytest.mark.slow
def test_the_second_waits_and_says_so(ledger):
    with FileLock(ledger.with_name(".rack.csv.lock")):
        run = command("take", "B1", "--job", "K", cwd=ledger.parent)
        line = run.stderr.readline()
        assert line.startswith("barfuncs: another command is writing rack.csv; waiting for it")
        assert run.poll() is None
        assert len(read_ledger(ledger).entries) == 6
    run.communicate(timeout=60)
    assert run.returncode == 0
    assert len(read_ledger(ledger).entries) == 7


def test_one_that_waits_too_long_gives_up(ledger, monkeypatch):
    from barfuncs.filling import folder

    monkeypatch.setattr(folder, "SOON", 0.01)
    monkeypatch.setattr(folder, "LONGEST_WAIT", 0.05)
    told = []
    with FileLock(ledger.with_name(".rack.csv.lock")), pytest.raises(WorkbookError, match=r"another command is still writing rack\.csv; start again"), \
            changing(ledger, told.append):
        pass
    assert told == ["another command is writing rack.csv; waiting for it (at most 0.05 s)"]


def rack_faults(path: Path, before: bytes, job: str) -> tuple[str, list[str]]:
    """Where a killed command left the history, and what is wrong with it."""
    now = path.read_bytes()
    if now == before:
        return "before", []
    try:
        entries = read_ledger(path).entries
    except BarfuncsError as error:
        return "broken", [str(error)]
    new = len(entries) - before.count(b"\r\n") + 1
    wrong = [] if now.startswith(before) else ["rows that stood there are not the same"]
    if (new, [e.job for e in entries[-2:]]) != (2, [job, job]):
        wrong.append(f"{new} new rows, of two that belong together")
    return "after", wrong


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="there a process has no such signals")
def test_a_killed_command_leaves_the_history_before_or_after(tmp_path):
    """Each command books two rows, a take and what comes back; it is killed at any moment, most often while it has the lock."""
    path, rng = tmp_path / "rack.csv", random.Random(7)
    with changing(path, must_exist=False) as book:
        book.book(book.rack.start("in", FIFO, DAY))
        book.book(book.rack.receive(bar(bars=5_000), DAY))
        for n in range(600):
            book.book(book.rack.take("B1", f"J-{n}", day=DAY))
    lock, left = path.with_name(".rack.csv.lock"), 0
    found = {"before": 0, "after": 0, "broken": 0}
    for n in range(60):
        before = path.read_bytes()
        for old in (lock, *tmp_path.glob(".barfuncs-rack.csv-*")):  # what the last one left would be taken for this one's
            old.unlink(missing_ok=True)
        run = command("take", "B1", "--job", f"K-{n}", "--length", "48", "--kerf", "0.1", cwd=tmp_path)
        if moment := n % 3:
            while run.poll() is None and not lock.exists():
                time.sleep(0.0005)
            while moment == 2 and run.poll() is None and lock.exists() and not list(tmp_path.glob(".barfuncs-rack.csv-*")):
                time.sleep(0.0002)
            time.sleep(rng.choice((0, 0, rng.uniform(0, 0.01), rng.uniform(0, 0.15))))
        else:
            time.sleep(rng.uniform(0, 0.8))
        number = (signal.SIGKILL, signal.SIGKILL, signal.SIGTERM, signal.SIGINT)[n // 3 % 4]
        run.send_signal(number)
        _, said = run.communicate(timeout=60)
        where, wrong = rack_faults(path, before, f"K-{n}")
        found[where] += 1
        left += bool(list(tmp_path.glob(".barfuncs-rack.csv-*")))
        assert wrong == [], (n, where, wrong)
        if "interrupted" in said:
            assert ("nothing is booked" in said) == (where == "before"), said
            # Python 3.11 ends by SIGINT where the stop came while it ran a text as code, as it does to make a dataclass.
            assert run.returncode in (128 + number, -signal.SIGINT), said
    assert found["broken"] == 0
    assert min(found["before"], found["after"]) >= 4, found
    assert left >= 1, "no command was killed while it wrote"
    with changing(path) as book:
        book.book(book.rack.count("B1", day=DAY))
    assert [p.name for p in tmp_path.iterdir()] == ["rack.csv"], "the next command clears away what a killed one left"


def test_the_look_after_a_kill_sees_what_is_wrong(ledger):
    before = ledger.read_bytes()
    assert rack_faults(ledger, before, "J") == ("before", [])
    with changing(ledger) as book:
        book.book(book.rack.take("B1", "J", day=DAY))
        book.book(book.rack.give_back("B1", "J", 100_000, day=DAY))
    after = ledger.read_bytes()
    assert rack_faults(ledger, before, "J") == ("after", [])
    ledger.write_bytes(after[:-30])
    assert rack_faults(ledger, before, "J")[0] == "broken"
    ledger.write_bytes(after[:after[:-2].rindex(b"\r\n") + 2])
    assert rack_faults(ledger, before, "J")[1] == ["1 new rows, of two that belong together"]


def test_a_full_disk_and_a_read_only_file_are_said_in_a_sentence(ledger, monkeypatch):
    before = ledger.read_bytes()

    def full(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(file, "_to_disk", full)
        done = CliRunner().invoke(main, ["rack", "take", "B1", "--job", "J", "--rack", str(ledger)])
    assert (done.exit_code, done.stdout) == (1, "")
    assert "can't be written (No space left on device); nothing is booked" in done.stderr
    ledger.chmod(0o444)
    done = CliRunner().invoke(main, ["rack", "take", "B1", "--job", "J", "--rack", str(ledger)])
    assert done.exit_code == 1
    assert "can't be written (the file is read-only); nothing is booked" in done.stderr
    assert ledger.read_bytes() == before
    assert [p.name for p in ledger.parent.iterdir()] == ["rack.csv"]
    done = CliRunner().invoke(main, ["rack", "value", "--rack", str(ledger)])
    assert done.exit_code == 0, "what only reads works there"


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="there a process has no such limit")
def test_a_file_that_can_grow_no_further_stays_as_it_was(ledger):
    """The system refuses to write the new file at its last byte, as on a disk that is full."""
    import resource

    before = ledger.read_bytes()
    done = subprocess.run([sys.executable, "-m", "barfuncs", "rack", "take", "B1", "--job", "J"], cwd=ledger.parent, capture_output=True, encoding="utf-8",
                          env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path), "PYTHONDONTWRITEBYTECODE": "1"}, check=False,
                          preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (len(before) + 20, len(before) + 20)))
    assert (done.returncode, done.stdout) == (1, "")
    assert "rack.csv can't be written (File too large); nothing is booked" in done.stderr
    assert ledger.read_bytes() == before
    assert [p.name for p in ledger.parent.iterdir()] == ["rack.csv"]


# --- lists ---------------------------------------------------------------------------------------------------------

LIST = """Our rack,,,,,,
Bar id,Bars,Material,Shape,Size,Length,Heat,Certificate,Owner,Value,units
A1,6,C36000,hex,3/4,12 ft,88123,3.1,,"1,612.40",in
A2,,303,rd,1,87.25,H7,3.1,own,,in
A3,2,17-4 PH,round,1 1/4,144,T9,,Miller Pumps,,in
"""


def listed(tmp_path: Path, text: str = LIST) -> Path:
    path = tmp_path / "bars.csv"
    path.write_text(text, "utf-8")
    return path


def test_bars_of_a_list(tmp_path):
    found = read_bars(listed(tmp_path), today=DAY)
    assert (found.units, [(row, item.id, item.bars, item.length, item.value) for row, item in found.bars]) == (
        "in", [(3, "A1", 6, 144_000, 161_240), (4, "A2", 1, 87_250, 0), (5, "A3", 2, 144_000, 0)])


@pytest.mark.parametrize(("old", "new", "kind", "reason"), [
    ("88123,3.1", ",3.1", ListError, r"row 3, Heat \(G\): is missing: a certificate 3.1"),
    ("87.25", "12,5", InputError, "row 4"),
    ("A2,,303", "A2,0,303", ListError, r"row 4, Bars \(B\): '0' given"),
    ("303,rd", "unobtanium,rd", ListError, r"row 4, Material \(C\): 'unobtanium' is not a known material"),
    ("Miller Pumps,,in", "Miller Pumps,5,in", ListError, r"row 5, Value \(J\): 5.00 given; a bar of a customer"),
    ("Miller Pumps,,in", "Miller Pumps,,mm", ListError, "both units in one list"),
    ("own,,in", "own,,", ListError, r"row 4, Units: nothing says what the lengths are in"),
    ("own,,in", "own,,ft", ListError, r"row 4, Units: 'ft' given"),
    ("Length,Heat", "Long,Heat", WorkbookError, "is no list of bars"),
    ("Heat,", "Melt,", InputError, r"row 2, G: 'Melt' is not a column of a list of bars"),
    ("Owner,", "Heat,", InputError, "row 2, I: 'Heat' stands twice"),
    ("Material", "Note", InputError, "row 2: the column 'Material' is missing"),
    (LIST[LIST.index("A1"):], "", WorkbookError, "has no bars below its headings"),
])
def test_a_bad_list_is_named_with_row_and_column(tmp_path, old, new, kind, reason):
    assert old in LIST
    with pytest.raises(kind, match=reason):
        read_bars(listed(tmp_path, LIST.replace(old, new, 1)))


def test_lists_made_to_hang_or_fill_a_machine_are_refused(tmp_path):
    bomb = tmp_path / "bomb.xlsx"
    write_xlsx(bomb, extra={"xl/media/x.bin": b"0" * 300_000_000})
    with pytest.raises(WorkbookError, match="unpacks to more than 200 MB"):
        read_bars(bomb)
    entity = tmp_path / "entity.xlsx"
    write_xlsx(entity, before=b'<!DOCTYPE x [<!ENTITY a "aaaa">]>')
    with pytest.raises(WorkbookError, match="document type declaration"):
        read_bars(entity)
    (tmp_path / "old.xlsx").write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"0" * 99)
    with pytest.raises(WorkbookError, match=r"old \.xls file"):
        read_bars(tmp_path / "old.xlsx")
    with zipfile.ZipFile(tmp_path / "empty.xlsx", "w"):
        pass
    with pytest.raises(WorkbookError, match="is not an xlsx workbook"):
        read_bars(tmp_path / "empty.xlsx")


# --- the workbook --------------------------------------------------------------------------------------------------

_GOOD_ROW = {"id": "A1", "bars": 2, "material": "Stainless 303", "shape": "round", "size": 1, "length": 144, "heat": "H1", "certificate": "3.1",
             "value": 100, "received": 46_000}


def put(book: Workbook, row: int, cells: dict) -> None:
    for name, value in cells.items():
        book.set(f"Bars!{workbook._LETTERS[name]}{workbook._FIRST + row}", value)


def marks_of(*rows: dict, units: str = "in") -> tuple[Workbook, list[str]]:
    book = Workbook(workbook.build(), direct=True)
    book.set("Bars!C3", units)
    for n, cells in enumerate(rows):
        put(book, n, cells)
    book.calculate()
    return book, [str(book.value(f"Bars!{workbook._MARK}{workbook._FIRST + n}")) for n in range(len(rows))]


BAD_ROWS = [
    ({"id": None}, "the bar id is missing"), ({"bars": 0}, "bars:"), ({"bars": 1.5}, "bars:"), ({"bars": "x"}, "bars:"),
    ({"material": None}, "the material is missing"), ({"shape": "pipe"}, "shape:"), ({"size": "x"}, "size:"), ({"size": 0}, "size:"),
    ({"thickness": 0.1}, "thickness:"), ({"shape": "tube"}, "thickness:"), ({"shape": "tube", "thickness": 0.5}, "the wall"),
    ({"length": None}, "length:"), ({"length": 0}, "length:"), ({"length": 10_000}, "length:"), ({"length": "12 ft"}, "length:"),
    ({"heat": None}, "a certificate 3.1 or 3.2 without a heat"), ({"heat": None, "certificate": 3.2}, "a certificate 3.1 or 3.2"),
    ({"value": -1}, "value:"), ({"value": "x"}, "value:"), ({"owner": "Miller Pumps"}, "a customer's bar"),
]


@pytest.mark.parametrize(("change", "words"), BAD_ROWS)
def test_a_row_with_something_wrong_is_marked_and_counted_nowhere(change, words):
    cells = {k: v for k, v in (_GOOD_ROW | change).items() if v is not None}
    book, (mark, good) = marks_of(cells, _GOOD_ROW | {"id": "A2", "heat": "H2"})
    assert mark.startswith(f"\u2715 {words}")
    assert good == ""
    assert (book.value("rack_own_bars"), book.value("rack_own_length"), book.value("rack_own_value")) == (2, 288, 100)
    assert (book.value("rack_wrong"), book.value("rack_rows"), book.value("rack_kinds")) == (1, 2, 1)
    assert str(book.value("Bars!E3")) == "\u2715 1 row has something wrong"
    # What the sheet marks the command refuses too, and the other way round.
    read, _ = read_bar({k: v for k, v in cells.items() if k != "received"}, "in", DAY)
    assert read is None or (change.get("length") == "12 ft")


def test_rows_that_contradict_each_other_are_marked_both():
    twice = _GOOD_ROW | {"heat": "H2"}
    _, marks = marks_of(_GOOD_ROW, twice, _GOOD_ROW | {"id": "a1"}, _GOOD_ROW | {"id": "A4", "heat": "*"})
    assert marks == ["\u2715 this bar id stands twice"] * 3 + [""]
    _, marks = marks_of(_GOOD_ROW, _GOOD_ROW | {"id": "A2", "material": "Steel 12L14"}, _GOOD_ROW | {"id": "A3", "heat": "H3"})
    assert marks == ["\u2715 this heat stands with another material too"] * 2 + [""]
    _, marks = marks_of(_GOOD_ROW, {"note": "only a note"}, units="ft")
    assert marks == ["\u2715 say in or mm beside Units"] * 2
    _, marks = marks_of(_GOOD_ROW | {"length": 600}, _GOOD_ROW | {"id": "A2"})
    assert marks == ["! longer than 40 ft: in the right unit?", ""]
    _, marks = marks_of(_GOOD_ROW | {"length": 6000, "size": 25}, units="mm")
    assert marks == [""]


def many_bars() -> list[Bar]:
    rng, bars = random.Random(3), []
    for n in range(70):
        material = rng.choice(("Stainless 303", "Steel 12L14", "Brass C36000"))
        own = rng.random() < 0.7
        shape = rng.choice(("round", "hexagon", "tube"))
        bars.append(Bar(f"R{n}", material, shape, rng.choice((0.5, 0.75, 1.0, 1.25)), rng.randint(9_000, 144_000), "in",
                        DAY + datetime.timedelta(rng.randint(0, 300)), thickness=0.1 if shape == "tube" else None,
                        heat=f"{material[-3:]}-{rng.randint(1, 9)}", certificate=rng.choice(("none", "2.1", "3.1")),
                        owner=OWN if own else rng.choice(("Miller Pumps", "Haas Ltd.")), bars=rng.randint(1, 9),
                        value=rng.randint(0, 99_999) if own else 0, note=rng.choice(("", "=1+1", "x"))))
    return bars


def test_totals_are_those_of_the_bars():
    bars = many_bars()
    book = Workbook(workbook.filled(bars, "in"))
    book.calculate()
    kinds: dict = {}
    for item in bars:
        found = kinds.setdefault((item.material, item.shape, item.size, item.thickness or "", item.owner), [0, 0, 0])
        found[0], found[1], found[2] = found[0] + item.bars, found[1] + item.bars * item.length, found[2] + item.value
    assert book.value("rack_kinds") == len(kinds) > 30
    head = next(row for row in range(1, 40) if book.value(f"Totals!B{row}") == "Material")
    for row, (kind, (number, length, cents)) in enumerate(kinds.items(), start=head + 1):
        cells = [book.value(f"Totals!{letter}{row}") for letter in "BCDEFGHI"]
        assert tuple(cells[:5]) == kind
        assert cells[5:7] == [number, pytest.approx(length / 1_000)]
        assert cells[7] == (pytest.approx(cents / 100) if kind[4] == OWN else "not ours")
    assert book.value("rack_own_value") == pytest.approx(sum(item.value for item in bars) / 100)
    assert book.value("rack_customer_bars") == sum(item.bars for item in bars if not item.is_own)
    assert str(book.value("Bars!E3")).startswith("\u2713 70 rows looked at")


def test_what_is_written_into_the_workbook_reads_back(tmp_path):
    bars = many_bars()
    path = tmp_path / "rack.xlsx"
    path.write_bytes(workbook.filled(bars, "in"))
    found = read_bars(path)
    assert [replace(item, note=csv_text(item.note)) for item in bars] == [item for _, item in found.bars]
    assert found.bars[0][0] == workbook._FIRST
    cells = [c for row in openpyxl.load_workbook(path)["Bars"].iter_rows(min_row=workbook._FIRST, max_col=17) for c in row]
    assert not [c for c in cells if c.data_type == "f"]
    with pytest.raises(BarfuncsError, match=r"has 2,001 ids; a workbook takes at most 2,000"):
        workbook.filled([bars[0]] * 2_001, "in")


@pytest.mark.slow
@pytest.mark.libreoffice
def test_a_workbook_saved_by_libreoffice_reads_the_same(tmp_path):
    path = tmp_path / "rack.xlsx"
    path.write_bytes(workbook.filled(many_bars(), "in"))
    (tmp_path / "out").mkdir()
    saved, = convert(path, tmp_path / "out")
    assert read_bars(saved) == read_bars(path)
    assert len(read_bars(saved).bars) == 70


def test_the_blank_workbook_has_no_bars_and_says_so(tmp_path):
    path = tmp_path / "rack.xlsx"
    path.write_bytes(workbook.build())
    with pytest.raises(WorkbookError, match="has no bars below its headings"):
        read_bars(path)
    book = Workbook(workbook.build())
    book.calculate()
    assert str(book.value("Bars!E3")) == "no bars yet"
    assert [error for _, error in book.errors()] == []
    assert [c.label for c in COLUMNS] == [BY_NAME[name].label for name in workbook._LETTERS]


def test_every_input_cell_is_open_framed_and_prompts():
    book = openpyxl.load_workbook(io.BytesIO(workbook.build()))
    sheet = book["Bars"]
    cells = [c for row in sheet.iter_rows() for c in row if not c.protection.locked]
    assert len(cells) == 1 + len(COLUMNS) * workbook.ROWS
    checks = sheet.data_validations.dataValidation
    ranges = [r for v in checks for r in v.sqref.ranges]
    for cell in (cells[0], *cells[1:1 + len(COLUMNS)], *cells[-len(COLUMNS):]):
        assert cell.border.left.style
        assert any(r.min_row <= cell.row <= r.max_row and r.min_col <= cell.column <= r.max_col for r in ranges), cell.coordinate
    assert all(v.showInputMessage and v.prompt and len(v.prompt) <= 255 for v in checks)
    assert all(s.protection.sheet and s.print_area for s in book)
    formulas = [c.value for s in book for row in s.iter_rows() for c in row if c.data_type == "f"]
    assert max(map(len, formulas)) < 3_000
    assert all(len(text) <= 255 for f in formulas for text in f.split('"')[1::2])


def test_only_functions_that_every_program_has():
    from test_templates import NEW, VOLATILE, functions_of

    used = functions_of("rack")
    assert used <= {"IF", "IFERROR", "SUMPRODUCT", "COUNTIF", "COUNTA", "MAX", "MATCH", "INDEX", "OR", "AND", "NOT", "ISNUMBER", "INT", "LEFT",
                    "ISERROR"}
    assert not used & {*NEW, *VOLATILE}


def judged_book() -> bytes:
    """Good rows, all the bad ones, texts that may be taken for wildcards or numbers, and an error in a cell's place."""
    book = Workbook(workbook.build(), direct=True)
    rows = [_GOOD_ROW | {"id": f"G{n}", "heat": f"K{n % 4}", "size": 1 + n % 3 / 8, "owner": ("own", "Miller Pumps", "MILLER pumps", "")[n % 4],
                         "value": 0 if n % 4 in (1, 2) else 33.33} for n in range(14)]
    rows += [_GOOD_ROW | {"id": f"X{n}"} | change for n, (change, _) in enumerate(BAD_ROWS)]
    rows += [_GOOD_ROW | {"id": "*", "heat": "?"}, _GOOD_ROW | {"id": "12"}, _GOOD_ROW | {"id": 12}, _GOOD_ROW | {"id": "g1"}, {}, {"note": "x"},
             _GOOD_ROW | {"id": "T1", "shape": "tube", "thickness": 0.1}, _GOOD_ROW | {"id": "T2", "shape": "Tube", "thickness": 0.1}]
    cells = {}
    for n, row in enumerate(rows):
        for name, value in row.items():
            if value not in (None, ""):
                cells[f"Bars!{workbook._LETTERS[name]}{workbook._FIRST + n}"] = value
    for ref, value in cells.items():
        book.set(ref, value)
    book.calculate()
    return book.to_bytes(cells)


@pytest.mark.slow
@pytest.mark.parametrize("program", [pytest.param(p, marks=[getattr(pytest.mark, p.lower())] if p in ("LibreOffice", "Gnumeric") else [])
                                     for p in JUDGES])
def test_other_programs_calculate_the_same(program):
    books = {"judged": judged_book(), "filled": workbook.filled(many_bars(), "in"), "blank": workbook.filled([], "mm")}
    theirs = JUDGES[program]({name: without_values(data) for name, data in books.items()})
    for name, data in books.items():
        ours = content(data).stored
        assert len(ours) > 1_500
        wrong = [(cell, value, theirs[name].get(cell)) for cell, value in ours.items()
                 if theirs[name].get(cell) != value and not (isinstance(value, float) and theirs[name].get(cell) == pytest.approx(value))]
        assert wrong[:5] == []
    marks = [v for c, v in content(books["judged"]).stored.items() if c.startswith(f"Bars!{workbook._MARK}") and v]
    assert len(marks) > 20


# --- goods in ------------------------------------------------------------------------------------------------------

ORDER = """Order line,Bars,Material,Shape,Size,Tolerance class,Finish,Length,Certificate,Shortest,Jobs,Units
10,10,303,round,1,h9,ground,144,3.1,143,"J-12: 4, J-13: 6",in
20,3,12L14,hex,3/4,,drawn,144,,,J-14: 3,in
"""
DELIVERED = """Order line,Bar id,Bars,Material,Shape,Size,Length,Heat,Certificate,Finish,Smallest size,Largest size,Value,Units
10,,7,303,round,1,144.25,H81,3.1,,0.999,1,400,in
10,P7,3,303,round,1,143.5,H81,3.1,ground,0.9995,1,160,in
20,,3,12L14,hex,3/4,144,L1,,,0.749,0.75,90,in
"""


def compared(tmp_path: Path, *changes: tuple[str, str], order: str = ORDER) -> list[tuple[str, str, str]]:
    came = DELIVERED
    for old, new in changes:
        assert old in came
        came = came.replace(old, new, 1)
    (tmp_path / "order.csv").write_text(order, "utf-8")
    (tmp_path / "came.csv").write_text(came, "utf-8")
    units, lines = goods_in.read_ordered(tmp_path / "order.csv")
    assert units == "in"
    found = goods_in.compare(lines, goods_in.read_came(tmp_path / "came.csv", lines, today=DAY)[1])
    assert found.is_right == all(f.word != STOP for f in found.findings)
    return [(f.line, f.word, f.text) for f in found.findings]


def test_a_delivery_that_is_right(tmp_path):
    assert compared(tmp_path) == [
        ("10", OK, "10 bars as ordered: count, material, shape, size, measured size, length and certificate."),
        ("10", NOTE, "lengths: 143.5 to 144.25 in, on average 144.025 in; ordered 144 in."),
        ("20", OK, "3 bars as ordered: count, material, shape, size, measured size, length and certificate."),
        ("20", NOTE, "lengths: 144 in; ordered 144 in."),
    ]


@pytest.mark.parametrize(("changes", "line", "word", "text"), [
    ([("10,,7", "10,,4")], "10", STOP, "3 bars short of 10: job J-13 gets 3 of 6 bars."),
    ([("10,,7", "10,,1"), ("P7,3", "P7,1")], "10", STOP, "8 bars short of 10: job J-12 gets 2 of 4 bars; job J-13 gets none of 6 bars."),
    ([("20,,3,12L14,hex,3/4,144,L1,,,0.749,0.75,90,in\n", "")], "20", STOP, "nothing came: job J-14 gets none of 3 bars."),
    ([("10,,7", "10,,8")], "10", LOOK, "1 bar more than the 10 ordered."),
    ([("303", "304")], "10", STOP, "7 bars set aside (row 2): material Stainless 304, ordered Stainless 303."),
    ([("hex,3/4", "rd,3/4")], "20", STOP, "3 bars set aside (row 4): shape round, ordered hexagon."),
    ([("hex,3/4", "hex,7/8")], "20", STOP, "3 bars set aside (row 4): size 0.875, ordered 0.75."),
    ([("143.5", "142.9")], "10", STOP, "3 bars set aside (P7): 142.9 in long, 0.1 in shorter than the jobs need."),
    ([("H81,3.1", "H81,2.2")], "10", STOP, "7 bars set aside (row 2): a certificate 2.2, and line 10 needs 3.1."),
    ([("0.999,1,", "0.9979,1,")], "10", STOP, "7 bars set aside (row 2): measured 0.9979, h9 allows 0.9980 to 1.0000."),
    ([("0.999,1,", "0.999,1.0001,")], "10", STOP, "7 bars set aside (row 2): measured 1.0001, h9 allows 0.9980 to 1.0000."),
    ([("0.999,1,", ",,")], "10", LOOK, "row 2: the size was not measured."),
    ([("H81", "H80")], "10", LOOK, "2 heats came, H80, H81; taken in this order, job J-13 has more than one."),
    ([("10,,7", "10,,4"), ("P7,3", "P7,6"), ("H81", "H80")], "10", NOTE, "2 heats came, H80, H81."),
    ([("H81,3.1,,", "H81,3.1,drawn,")], "10", LOOK, "row 2 is drawn, ordered was ground."),
])
def test_what_is_short_or_wrong_is_named_with_what_it_does(tmp_path, changes, line, word, text):
    found = compared(tmp_path, *changes)
    assert (line, word, text) in found
    other = "20" if line == "10" else "10"
    assert [w for n, w, _ in found if n == other] == [OK, NOTE]
    assert (word == NOTE) == ((line, OK) in [(n, w) for n, w, _ in found])


@pytest.mark.parametrize(("changes", "order", "reason"), [
    ([("10,,7", "11,,7")], ORDER, r"row 2, Order line \(A\): '11' is no line of the order; it has 10, 20"),
    ([("10,,7", ",,7")], ORDER, r"row 2, Order line \(A\): is missing"),
    ([("0.999,1,", "1,0.999,")], ORDER, r"row 2, Smallest size \(K\): is more than the largest size"),
    ([("H81,3.1", ",3.1")], ORDER, r"row 2, Heat \(H\): is missing: a certificate 3.1"),
    ([("144.25", "x")], ORDER, r"row 2, Length \(G\)"),
    ([], ORDER.replace("\n20,", "\n10,"), r"row 3, Order line \(A\): '10' stands in row 2 too"),
    ([], ORDER.replace("J-13: 6", "J-13: 7"), r"row 2, Jobs \(K\): want 11 bars together, 10 are ordered"),
    ([], ORDER.replace("J-13: 6", "J-13"), r"row 2, Jobs \(K\): 'J-13' given; write each job with its bars"),
    ([], ORDER.replace(",143,", ",145,"), r"row 2, Shortest \(J\): is longer than the 144 in ordered"),
    ([], ORDER.replace("10,10,", "10,0,"), r"row 2, Bars \(B\): '0' given"),
])
def test_a_bad_order_or_delivery_is_named_with_row_and_column(tmp_path, changes, order, reason):
    with pytest.raises(ListError, match=reason):
        compared(tmp_path, *changes, order=order)


def test_goods_in_books_what_can_be_used_and_learns_the_lengths(ledger, monkeypatch):
    monkeypatch.chdir(ledger.parent)
    compared(ledger.parent, ("20,,3", "20,,2"))
    before = ledger.read_bytes()
    assert "1 bar short of 3: job J-14 gets 2 of 3 bars" in invoked("goods-in", "order.csv", "came.csv", status=1)
    assert "No bars have come by an order yet" in invoked("lengths")
    assert ledger.read_bytes() == before
    said = invoked("goods-in", "order.csv", "came.csv", "--book", status=1)
    assert "P7: 3 bars received for line 10" in said
    rack = read_ledger(ledger).rack
    assert [(b.id, b.bars, b.length, b.tolerance, b.finish) for b in rack.present()[-3:]] == [
        ("B4", 7, 144_250, "h9", "ground"), ("P7", 3, 143_500, "h9", "ground"), ("B6", 2, 144_000, "standard", "drawn")]
    assert ["Stainless", "303", "144", "10", "143.5", "144.025", "144.25"] in [line.split() for line in invoked("lengths").splitlines()]
    assert "'P7' is in the history already" in " ".join(invoked("goods-in", "order.csv", "came.csv", "--book", status=1).split())
    (ledger.parent / "came.csv").write_text(DELIVERED.replace(",in", ",mm"), "utf-8")
    assert "the order is in one unit and what came in the other" in " ".join(invoked("goods-in", "order.csv", "came.csv", status=1).split())


# --- labels --------------------------------------------------------------------------------------------------------


def test_labels_say_what_is_needed_on_the_rack():
    bars = [bar(f"L{n}", note="=1", owner="=cmd" if n == 3 else OWN, heat="" if n == 2 else "H1", certificate="none", value=0, place="A7")
            for n in range(11)]
    sheet = openpyxl.load_workbook(io.BytesIO(labels.pages(bars))).worksheets[0]
    cells = [c for row in sheet.iter_rows() for c in row if c.value is not None]
    texts = [c.value for c in cells]
    assert {f"L{n}" for n in range(11)} <= set(texts)
    for words in ("Stainless 303, round 1 in", "4 bars, each 144 in", "H1", "not known", "none", "own", "=cmd", "A7   received 2026-03-02"):
        assert words in texts
    assert not [c for c in cells if c.data_type == "f"]
    assert next(c for c in cells if c.value == "L0").font.size >= 28
    assert [b.id for b in sheet.row_breaks.brk] == [32]
    assert not sheet.sheet_properties.pageSetUpPr.fitToPage, "a program that fits pages passes over the breaks"


def test_labels_as_a_pdf_say_the_same(tmp_path):
    bars = [bar(f"L{n}", owner="Miller Pumps " * 9 if n == 3 else OWN, heat="" if n == 2 else "H1", certificate="none", value=0, place="A7")
            for n in range(11)]
    data = labels.made(bars, "x.PDF")
    assert data == labels.pdf(bars)
    with pdfplumber.open(io.BytesIO(data)) as book:
        assert [len(page.rects) for page in book.pages] == [8, 3]
        for page, of in zip(book.pages, (bars[:8], bars[8:]), strict=True):
            for item, box in zip(of, page.rects, strict=True):
                inside = page.within_bbox((box["x0"], box["top"], box["x1"], box["bottom"]))
                text = " ".join(inside.extract_text().split())
                for heading, words in labels.lines_of(item):
                    assert heading in text
                    assert " ".join(words.split()) in text or (len(words) > 80 and "Miller Pumps Mill…" in text)
            assert all(0 < box["x0"] < box["x1"] < page.width and 0 < box["top"] < box["bottom"] < page.height for box in page.rects)
            assert sum(len(page.within_bbox((b["x0"], b["top"], b["x1"], b["bottom"])).chars) for b in page.rects) == len(page.chars)
    with pytest.raises(BarfuncsError, match=r"the font of the PDF has no 鋼 U\+92FC; write labels as a workbook"):
        labels.pdf([bar(owner="鋼", value=0)])


@pytest.mark.slow
@pytest.mark.libreoffice
def test_eight_labels_are_one_page(tmp_path):
    for number, wanted in ((8, 1), (9, 2)):
        path = tmp_path / f"labels{number}.xlsx"
        path.write_bytes(labels.pages([bar(f"L{n}") for n in range(number)]))
        (tmp_path / str(number)).mkdir()
        pdf, = convert(path, tmp_path / str(number), to="pdf")
        assert pdf.read_bytes().count(b"/Type/Page\n") + pdf.read_bytes().count(b"/Type /Page\n") + pdf.read_bytes().count(b"/Type/Page/") == wanted


# --- the command line ----------------------------------------------------------------------------------------------


def invoked(*arguments: str, status: int = 0) -> str:
    done = CliRunner().invoke(main, ["rack", *arguments])
    assert done.exit_code == status, done.output
    assert not isinstance(done.exception, Exception) or isinstance(done.exception, SystemExit), done.exception
    assert max(map(len, done.stdout.splitlines()), default=0) <= 80
    return done.stdout if not status else done.stdout + done.stderr


FIRST = ("receive", "--material", "303", "--shape", "round", "--size", "1", "--length", "12 ft", "--bars", "6", "--heat", "H7712",
         "--certificate", "3.1", "--value", "480", "--date", "2026-03-02")


def test_a_day_on_the_command_line(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert "say once what this rack is kept in, in or mm" in invoked(*FIRST, status=1)
    assert list(tmp_path.iterdir()) == []
    assert "B1: 6 bars received, Stainless 303, round 1 in, 480.00" in invoked(*FIRST, "--units", "in")
    assert "B2: 6 bars received" in invoked(*FIRST)
    assert "B1: 2 bars of 144 in for J-12, 160.00" in invoked("take", "b1", "--job", "J-12", "--bars", "2", "--needs", "3.1")
    assert "after:  1 of B1R1, 1,491.5 in of its like, worth 828.61" in invoked(
        "return", "B1", "--job", "j-12", "--length", "51 1/2", "--kerf", "0.1", "--labels", "label.xlsx")
    assert openpyxl.load_workbook("label.xlsx").worksheets[0]["B1"].value == "B1R1"
    said = invoked("take", "B2", "--job", "J-13", "--length", "48", "--kerf", "0.1", "--labels", "more.xlsx")
    assert "B2R1: 1 bar of B2 back from J-13, 95.9 in, cut 0.1 in, 53.28" in said
    assert "B1: 1 bar missing, 80.00 written off" in invoked("count", "B1", "--bars", "3")
    said = invoked("value")
    assert "Of what jobs kept, 284.4 in were used and 0.2 in sawn away." in said
    assert [line.split() for line in said.splitlines() if line.startswith("= On")] == [["=", "On", "the", "rack", "1,299.4", "721.89"]]
    assert "12" not in invoked("value", "--method", "average").splitlines()[0]
    assert "B1R1" in invoked("list")
    invoked("list", "--out", "now.xlsx")
    assert "exists already; use --replace" in invoked("list", "--out", "now.xlsx", status=1)
    invoked("list", "--out", "now.xlsx", "--replace")
    assert "5 ids" not in invoked("labels", "--out", "all.xlsx")
    assert "10 bars received under 4 ids from now.xlsx, 721.89" in invoked("receive", "--from", "now.xlsx", "--rack", "new.csv")
    there, again = read_ledger("rack.csv").rack, read_ledger("new.csv").rack
    assert {b.id: (b.bars, b.length, b.heat, b.received) for b in there.present()} == {
        b.id: (b.bars, b.length, b.heat, b.received) for b in again.present()}
    assert there.balance().left == again.balance().left
    said = invoked("receive", "--from", "now.xlsx", "--rack", "new.csv", status=1)
    assert "is in the history already" in " ".join(said.split())
    assert "now.xlsx: nothing is booked" in said


@pytest.mark.parametrize(("arguments", "reason"), [
    (("take", "B9", "--job", "J"), "rack: bar: 'B9' is not on this rack"),
    (("take", "B1", "--job", "J", "--bars", "x"), "rack: --bars: 'x'"),
    (("take", "B1", "--job", "J", "--kerf", "0.1"), "--kerf: is given without --length"),
    (("take", "B1", "--job", "J", "--length", "144"), "so that nothing is left of it"),
    (("take", "B1", "C1", "--job", "J"), "'C1' belongs to 'Miller Pumps'"),
    (("take", "B1", "--job", "J", "--date", "2.3.2026"), "rack: --date: '2.3.2026' given; write a day as 2026-03-31"),
    (("return", "B1", "--job", "J-1", "--length", "x"), "rack: --length: 'x'"),
    (("count", "B1", "--value", "5"), "value: is given, but nothing was found"),
    (("receive", "--length", "12 ft"), "--material: is missing"),
    (("receive", "--units", "mm", *FIRST[1:]), "--units: is in mm; this rack is kept in in"),
    (("receive", "--method", "average", *FIRST[1:]), "this rack is valued first in, first out"),
    (("receive", "--from", "bars.csv", "--heat", "X"), "--heat: is given beside --from"),
    (("return", "B1", "--job", "J-1", "--length", "9", "--labels", "bars.csv"), "bars.csv exists already; nothing is booked"),
])
def test_a_bad_command_says_why_and_books_nothing(ledger, monkeypatch, arguments, reason):
    monkeypatch.chdir(ledger.parent)
    listed(ledger.parent)
    before = ledger.read_bytes()
    assert reason in " ".join(invoked(*arguments, status=1).split())
    assert ledger.read_bytes() == before


def test_a_bad_list_books_nothing_and_is_a_table(ledger, monkeypatch):
    monkeypatch.chdir(ledger.parent)
    listed(ledger.parent, LIST.replace("87.25", "x", 1).replace("A3,2", "A3,-2", 1))
    before = ledger.read_bytes()
    said = invoked("receive", "--from", "bars.csv", status=1)
    assert "Length (F)" in said
    assert "Bars (B)" in said
    assert "bars.csv: nothing is booked; correct these cells and start again" in said
    listed(ledger.parent, LIST.replace("A3,", "B1,").replace("88123", "H1"))
    said = invoked("receive", "--from", "bars.csv", status=1)
    assert "'B1' is in the history already" in " ".join(said.split())
    assert "a heat is one melt" in " ".join(said.split())
    assert ledger.read_bytes() == before


def test_two_heats_of_a_job_are_said(ledger, monkeypatch):
    monkeypatch.chdir(ledger.parent)
    assert "NOTE" not in invoked("take", "B1", "--job", "M", "--customer", "Miller Pumps")
    assert "NOTE: M has bars of 2 heats now: H1, none known" in invoked("take", "C1", "--job", "M")
    assert "interrupted" not in invoked("take", "B1", "--job", "M")


def test_there_is_no_rack(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for arguments in (("value",), ("list",), ("take", "B1", "--job", "J"), ("labels", "--out", "x.xlsx")):
        assert "rack.csv: there is no such rack; 'barfuncs rack receive' begins one" in invoked(*arguments, status=1)
    assert list(tmp_path.iterdir()) == []
    assert same("A  b") == "a b"
    assert listing.UNITS_LABEL == "Units"
