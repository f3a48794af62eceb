"""The solver in its own process: it hangs, dies, is interrupted or loses its parent, and the best plan is kept and no process left."""

import dataclasses
import os
import signal
import subprocess
import sys
import time
from itertools import pairwise
from pathlib import Path

import pytest
from test_buying import week

from barfuncs.buying import apart, plan_buying
from barfuncs.buying.plan import plan_here
from barfuncs.buying.records import BarStock, BuyingError, BuyingPlan, Demand, Offer, RackBar, SolverError, Terms

BRASS = BarStock("Brass C36000", "round", 0.75)
WIDE, WIDEST = dataclasses.replace(BRASS, size=1.0), dataclasses.replace(BRASS, size=1.25)
JOBS = [Demand("J-1", BRASS, 40, piece_length=17.25, mixed_heats=True), Demand("J-2", BRASS, 23, piece_length=31.5, mixed_heats=True),
        Demand("J-3", WIDE, 9, piece_length=17.25), Demand("J-4", WIDEST, 66, bar_per_part=2, blank_extra=3, longest_blank=48)]
OFFERS = [Offer(BRASS, 144, ((0, 50.0),), 20, "3.1"), Offer(BRASS, 120, ((0, 43.0),), 17, "3.1"),
          Offer(WIDE, 144, ((0, 90.0), (60, 80.0)), 35), Offer(WIDEST, 141.75, ((0, 120.0),), 53)]
RACK = [RackBar("R-1", BRASS, 61, "H1", "3.1", value=12.0), RackBar("R-2", BRASS, 50.5, "H2", value=9.0, count=2)]
TERMS = Terms(kerf=0.125, trim=0.25, cut_cost=1.5, least_left=12, seconds=10)
WEEK = (JOBS, OFFERS, RACK, TERMS)
SHORT = (*WEEK[:3], dataclasses.replace(TERMS, seconds=0.5))


def process_of(plan: BuyingPlan) -> int:
    return next(int(note.removeprefix("process ")) for note in plan.notes if note.startswith("process "))


def is_there(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    return True


def stubbed(monkeypatch, name: str, grace: float = 5) -> None:
    monkeypatch.setattr(apart, "_WORK", f"buying_stubs:{name}")
    monkeypatch.setattr(apart, "_GRACE", grace)
    monkeypatch.setattr(apart, "_ENDING", 0.2)


@pytest.mark.parametrize("hashes", ["1", "2"])
def test_the_other_process_plans_as_this_one_does_whatever_its_hashes(monkeypatch, hashes):
    monkeypatch.setenv("PYTHONHASHSEED", hashes)
    seen: list[BuyingPlan] = []
    plan = plan_buying(*WEEK, found=seen.append)
    assert plan.proof == "proved best"  # so that no clock had a say
    assert dataclasses.replace(plan, seconds=0) == dataclasses.replace(plan_here(*WEEK), seconds=0)
    assert len(seen) >= 2
    assert all(new.cost < old.cost - 1e-9 or (new.cost < old.cost + 1e-9 and new.bound > old.bound) for old, new in pairwise(seen))
    assert seen[-1].cost == pytest.approx(plan.cost)


def test_the_first_plans_have_a_bound_too():
    demands, offers, rack, terms = week(0)
    seen: list[BuyingPlan] = []
    plan = plan_buying(demands, offers, rack, dataclasses.replace(terms, seconds=0.3), found=seen.append)
    assert {type(one.bound) for one in seen} == {float}
    assert 0 <= seen[0].bound <= seen[-1].bound <= plan.cost <= seen[0].cost


def test_one_that_overruns_its_time_is_stopped_and_its_best_plan_kept(monkeypatch):
    stubbed(monkeypatch, "hangs", 0.2)
    start = time.monotonic()
    plan = plan_buying(*SHORT)
    assert time.monotonic() - start < 30
    assert plan.notes[-1] == "the solver was stopped since it overran its 0.5 s; this is the best plan that it had found"
    assert plan.cost == pytest.approx(plan_here(*WEEK).cost, rel=0.05)
    assert not is_there(process_of(plan))


def test_one_that_dies_leaves_its_best_plan(monkeypatch):
    stubbed(monkeypatch, "crashes")
    plan = plan_buying(*SHORT)
    assert plan.notes[-1] == f"the solver gave up (status {-signal.SIGSEGV}); this is the best plan that it had found"
    assert not is_there(process_of(plan))


def test_one_that_fills_the_memory_leaves_its_best_plan(monkeypatch):
    stubbed(monkeypatch, "fills_the_memory")
    plan = plan_buying(*SHORT, memory=600_000_000)
    assert plan.notes[-1] == "the solver ran out of memory (status 1); this is the best plan that it had found"


@pytest.mark.parametrize(("name", "words"), [
    ("crashes_at_once", rf"^the solver gave up \(status {-signal.SIGKILL}\) before it had found a plan$"),
    ("waits", r"^the solver was stopped since it overran its 0\.5 s before it had found a plan$"),
])
def test_where_it_had_found_nothing_that_is_said(monkeypatch, name, words):
    stubbed(monkeypatch, name, 0.2)
    with pytest.raises(SolverError, match=words):
        plan_buying(*SHORT)


def test_a_plan_that_is_wrong_is_not_returned(monkeypatch):
    stubbed(monkeypatch, "is_wrong")
    with pytest.raises(AssertionError, match="a plan that breaks its own rules: a line of"):
        plan_buying(*SHORT)


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_ctrl_c_stays_one_and_leaves_no_process(monkeypatch, number):
    stubbed(monkeypatch, "hangs", 60)
    seen: list[BuyingPlan] = []

    def stop(plan: BuyingPlan) -> None:
        seen.append(plan)
        signal.raise_signal(number)

    before, start = signal.getsignal(number), time.monotonic()
    with pytest.raises(KeyboardInterrupt):
        plan_buying(*SHORT, found=stop)
    assert time.monotonic() - start < 30
    assert len(seen) == 1
    assert not is_there(process_of(seen[0]))
    assert signal.getsignal(number) == before


def test_ctrl_c_may_leave_the_best_plan(monkeypatch):
    stubbed(monkeypatch, "hangs")
    plan = plan_buying(*SHORT, found=lambda _: signal.raise_signal(signal.SIGINT), keep_best=True)
    assert plan.notes[-1] == "the solver was interrupted; this is the best plan that it had found"
    assert not is_there(process_of(plan))


def test_ctrl_c_before_there_is_a_plan_stays_one(monkeypatch):
    stubbed(monkeypatch, "waits")
    begun = apart.start

    def start(*arguments):
        process = begun(*arguments)
        signal.raise_signal(signal.SIGINT)
        started.append(process)
        return process

    started: list[subprocess.Popen[bytes]] = []
    monkeypatch.setattr(apart, "start", start)
    with pytest.raises(KeyboardInterrupt):
        plan_buying(*SHORT, keep_best=True)
    assert started[0].returncode == -signal.SIGTERM


PROGRAM = """
import sys
sys.path.insert(0, {tests!r})
import test_buying_apart as here
from barfuncs.buying import apart, plan_buying
{setup}
plan = plan_buying(*here.WEEK, found={found})
print(plan.cost, sorted(set(sys.modules) & {{"numpy", "highspy"}}))
"""


def program(tmp_path: Path, setup: str = "", found: str = "None") -> list[str]:
    """A program that plans as its first act, without a guard."""
    path = tmp_path / "program.py"
    path.write_text(PROGRAM.format(tests=str(Path(__file__).parent), setup=setup, found=found))
    return [sys.executable, str(path)]


def test_a_program_needs_no_guard_and_loads_no_solver(tmp_path):
    text = (tmp_path / "buyer.py")
    text.write_text("from barfuncs.buying import plan_buying\nfrom barfuncs.buying.records import *\n"
                    f"plan = plan_buying({JOBS!r}, {OFFERS!r}, {RACK!r}, {TERMS!r})\n"
                    "import sys; print(plan.cost, sorted(set(sys.modules) & {'numpy', 'highspy'}))\n")
    done = subprocess.run([sys.executable, text], capture_output=True, text=True, timeout=120, check=True)
    assert done.stdout == f"{plan_here(*WEEK).cost} []\n"


@pytest.mark.skipif(sys.platform == "win32", reason="a pipe that closes ends it there, once the solver lets a thread have a turn")
def test_its_end_comes_with_its_parents(tmp_path):
    command = program(tmp_path, "apart._WORK = 'buying_stubs:hangs'", "lambda plan: print(here.process_of(plan), flush=True)")
    # What a process that is killed leaves goes with the test.
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=os.environ | {"TMPDIR": str(tmp_path)}) as parent:
        assert parent.stdout is not None
        process = int(parent.stdout.readline())
        assert is_there(process)
        parent.kill()
    end = time.monotonic() + 20
    while is_there(process) and time.monotonic() < end:
        time.sleep(0.05)
    assert not is_there(process)


@pytest.mark.skipif(sys.platform == "win32", reason="a terminal stops another group of processes there")
def test_ctrl_c_in_a_terminal_is_the_parents(tmp_path):
    """It goes to both. The solver's process leaves it to its parent, which ends it."""
    command = program(tmp_path, "apart._WORK = 'buying_stubs:hangs'", "lambda plan: print(here.process_of(plan), flush=True)")
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True) as parent:
        assert parent.stdout is not None
        process = int(parent.stdout.readline())
        os.kill(process, signal.SIGINT)
        time.sleep(0.5)
        assert is_there(process)
        os.killpg(parent.pid, signal.SIGINT)
        said = parent.communicate(timeout=60)[1]
    assert (parent.returncode, said.splitlines()[-1]) == (-signal.SIGINT, "KeyboardInterrupt")
    assert not is_there(process)


def test_what_is_refused_there_is_refused_here():
    with pytest.raises(BuyingError, match=r"^jobs 1, quantity: not enough bars for J-1$") as refused:
        plan_buying([dataclasses.replace(JOBS[0], quantity=500)], (), RACK, SHORT[3])
    assert refused.value.problems == (("jobs", 1, "quantity", "not enough bars for J-1"),)


def test_without_the_solver_it_is_said_how_to_install_it(monkeypatch):
    monkeypatch.setitem(sys.modules, "highspy", None)
    with pytest.raises(SolverError, match=r'^highspy not installed; planning needs: pip install "barfuncs\[buying\]"$'):
        plan_buying(*WEEK)


def test_no_plan_told_has_a_bound_above_the_best():
    """A bar for 50 is cheaper than one of the rack for 80, but comes with a freight of 60."""
    seen: list[BuyingPlan] = []
    plan = plan_here([Demand("J-1", BRASS, 1, piece_length=140)], [Offer(BRASS, 144, ((0, 50.0),))], [RackBar("R-1", BRASS, 144, value=80)],
                     Terms(freight=60, least_left=12), seen.append)
    assert (plan.cost, plan.proof) == (80, "proved best")
    assert [(one.cost, pytest.approx(one.bound, abs=0.001)) for one in seen[-2:]] == [(110, 50), (80, 80)]
