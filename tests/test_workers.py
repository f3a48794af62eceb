"""Lists planned by several processes, by executors, and by a cluster: what comes of them is the same, whatever happens."""

import csv
import errno
import io
import multiprocessing
import os
import pickle
import re
import signal
import subprocess
import sys
import time
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from pathlib import Path

import pytest
from list_runs import same_folders

import barfuncs as bf
from barfuncs.catalogue import materials
from barfuncs.filling import folder, lists, workers
from barfuncs.filling.lists import Interrupted, Job, Outcome, plan_jobs
from barfuncs.filling.record import RECORD
from barfuncs.templates import shop

GOOD = {"units": "in", "material": "303", "shape": "round", "size": 1.0, "part_length": 2.0, "cutoff_width": 0.125,
        "face_to_cutoff": 0.2, "grip_length": 2.0, "bar_length": 144.0, "quantity": 100.0}
BARE = {name: value for name, value in GOOD.items() if name != "units"}
QUOTE = {**{k: v for k, v in GOOD.items() if k != "quantity"}, "quantity_1": 500.0, "cycle_time": 45.0, "machine_rate": 80.0,
         "material_price": 3.2, "price_per": "lb", "margin": 0.2}
LONG = 3 * workers.ROWS_IN_A_CHUNK + 1
"""Rows for several chunks, the last of them not full."""


def listed(count: int, base: dict = GOOD, **changes: dict) -> list[Job]:
    """A list of jobs J0, J1, ...; `changes` says what is other in the row of a name."""
    return [Job(n + 2, {**base, "job": f"J{n}", "size": 1.0 + n / 100, **changes.get(f"J{n}", {})}) for n in range(count)]


def result_names(out: Path) -> list[str]:
    text = (out / "results.csv").read_text("utf-8-sig")
    return [row["file"] for row in csv.DictReader(io.StringIO(text, newline=""))]


def said(outcome: Outcome) -> tuple[object, ...]:
    return ([(d.row, d.file, dict(d.values)) for d in outcome.done], outcome.problems, outcome.unchanged,
            outcome.taken_as_inch, outcome.copies, outcome.listed, outcome.stopped)


MIXED = listed(LONG, J3={"size": "wide"}, J9={"longest_random_bar": 160.0}, J11={"part_length": 200.0}, J17={"job": "J5"}) + [
    Job(90, {"job": "shifted"}, "has a value in column B, which has no heading")]


@pytest.fixture(scope="module")
def alone(tmp_path_factory) -> tuple[Path, tuple[object, ...]]:
    """What one process makes of the mixed list."""
    out = tmp_path_factory.mktemp("alone")
    return out, said(plan_jobs(MIXED, out))


def test_two_processes_make_the_same_of_a_list(tmp_path, alone):
    steps = []
    outcome = plan_jobs(MIXED, tmp_path, workers=2, progress=lambda: steps.append(1))
    assert said(outcome) == alone[1]
    assert same_folders(tmp_path, alone[0]) == []
    assert [d.row for d in outcome.done] == [job.row for job in MIXED if job.row not in (5, 13, 90)]
    assert {p.row for p in outcome.problems} == {5, 13, 90}
    assert {d.row for d in outcome.done if "bars_of_random_lengths" in d.values} == {11}
    assert len(steps) == len(MIXED)


@pytest.mark.parametrize("pool", [ThreadPoolExecutor, lambda n: ProcessPoolExecutor(n, multiprocessing.get_context("spawn"))],
                         ids=["threads", "processes"])
def test_any_executor_makes_the_same_of_a_list_and_is_left_running(tmp_path, alone, pool):
    with pool(2) as executor:
        outcome = plan_jobs(MIXED, tmp_path, executor=executor)
        assert executor.submit(len, "abc").result() == 3
    assert said(outcome) == alone[1]
    assert same_folders(tmp_path, alone[0]) == []


@pytest.mark.distributed
@pytest.mark.filterwarnings("ignore")
def test_a_cluster_makes_the_same_of_a_list(tmp_path, alone):
    from distributed import Client, LocalCluster

    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=":0") as cluster, Client(cluster) as client:
        outcome = plan_jobs(MIXED, tmp_path, executor=client.get_executor(), workers=2)
        assert len(client.scheduler_info()["workers"]) == 2
    assert said(outcome) == alone[1]
    assert same_folders(tmp_path, alone[0]) == []


@pytest.mark.slow
@pytest.mark.distributed
@pytest.mark.filterwarnings("ignore")
def test_a_cluster_that_loses_its_workers_is_reported(tmp_path):
    import dask
    from distributed import Client, LocalCluster

    rows = listed(LONG, J12={"customer": Deadly()})
    with dask.config.set({"distributed.scheduler.allowed-failures": 0}), \
            LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address=":0") as cluster, Client(cluster) as client:
        outcome = plan_jobs(rows, tmp_path, executor=client.get_executor())
    assert outcome.stopped == "stopped: a worker ended before its work was done (KilledWorker); run the list again for the rest"
    assert len(outcome.done) < LONG
    assert not list(tmp_path.glob(".barfuncs-run*"))


@pytest.mark.slow
def test_quotes_of_two_processes_have_their_copies(tmp_path):
    rows = listed(LONG, QUOTE)
    one, two = tmp_path / "one", tmp_path / "two"
    assert plan_jobs(rows, one, template="quote").copies == LONG
    assert plan_jobs(rows, two, template="quote", workers=2).copies == LONG
    assert same_folders(one, two) == []
    assert len(list((two / folder.FOR_CUSTOMER).iterdir())) == LONG


@pytest.mark.slow
def test_shop_and_own_materials_reach_the_workers(tmp_path):
    (tmp_path / "shop.xlsx").write_bytes(shop.build())
    (tmp_path / "own.csv").write_text("name,density_g_cm3\nShop bronze,8.1\n")
    own = {"shop": shop.read_shop(tmp_path / "shop.xlsx"), "table": materials.builtin().extended(materials.read_materials(tmp_path / "own.csv"))}
    rows = listed(LONG, {**GOOD, "material": "Shop bronze"})
    one, two = tmp_path / "one", tmp_path / "two"
    assert not plan_jobs(rows, one, **own).problems
    outcome = plan_jobs(rows, two, workers=2, **own)
    assert (outcome.problems, outcome.done[0].values["material"]) == ([], "Shop bronze")
    assert same_folders(one, two) == []
    assert plan_jobs(rows, tmp_path / "none", workers=2).problems[0].column == "material"


def test_workers_that_serve_two_lists_mix_nothing_up(tmp_path):
    (tmp_path / "own.csv").write_text("name,density_g_cm3\nShop bronze,8.1\n")
    own = materials.builtin().extended(materials.read_materials(tmp_path / "own.csv"))
    rows = listed(2, {**GOOD, "material": "Shop bronze"})
    with ThreadPoolExecutor(1) as executor:
        counts = [len(plan_jobs(rows, tmp_path / str(n), table=table, executor=executor).done)
                  for n, table in enumerate((own, materials.builtin(), own))]
    assert counts == [2, 0, 2]


def test_rows_without_a_unit_wait_for_the_last_row(tmp_path, monkeypatch):
    started = []
    pool = workers.ProcessPoolExecutor
    monkeypatch.setattr(workers, "ProcessPoolExecutor", lambda *arguments: started.append(1) or pool(*arguments))
    rows = listed(LONG, BARE, J1={"units": "in"}, **{f"J{LONG - 1}": {"units": "mm", "size": "30 mm", "part_length": "50 mm", "cutoff_width": "3 mm",
                  "face_to_cutoff": "4 mm", "grip_length": "50 mm", "bar_length": "3 m"}})
    for options in ({}, {"workers": 2}):
        out = tmp_path / str(len(options))
        outcome = plan_jobs(rows, out, **options)
        assert [d.row for d in outcome.done] == [3, LONG + 1]
        assert [p.row for p in outcome.problems] == [2, *range(4, LONG + 1)]
        assert all(f"row {LONG + 1} is in mm" in p.reason for p in outcome.problems)
        assert not outcome.taken_as_inch
        outcome = plan_jobs(rows[:-1], out, **options)
        assert (len(outcome.done), len(outcome.unchanged), outcome.taken_as_inch, outcome.problems) == (LONG - 2, 1, True, [])
    assert len(started) == 2  # one for each run, though its rows are looked at twice


# --- workers that fail


def die_elsewhere(than: int) -> "Deadly":
    if os.getpid() != than:
        os._exit(9)
    return Deadly()


class Deadly:
    """A value that ends every other process that takes it out of its parcel."""

    def __reduce__(self):
        return die_elsewhere, (os.getpid(),)


@pytest.mark.slow
def test_a_worker_that_dies_is_reported_and_what_is_done_is_in_the_results(tmp_path):
    rows = listed(10 * workers.ROWS_IN_A_CHUNK)
    rows[-3].values["customer"] = Deadly()
    began = time.monotonic()
    outcome = plan_jobs(rows, tmp_path, workers=2)
    assert time.monotonic() - began < 120
    assert outcome.stopped == ("stopped: a worker ended before its work was done (BrokenProcessPool); run the list again for the rest")
    assert outcome.total > len(outcome.done) >= 5 * workers.ROWS_IN_A_CHUNK
    assert result_names(tmp_path) == [d.file for d in outcome.done]
    assert not list(tmp_path.glob(".barfuncs-run*"))
    rows[-3].values["customer"] = "Sample Works"
    again = plan_jobs(rows, tmp_path)
    assert (len(again.done) + len(again.unchanged), again.problems) == (len(rows), [])


def test_an_executor_that_takes_no_work_is_reported(tmp_path):
    executor = ThreadPoolExecutor(1)
    executor.shutdown()
    outcome = plan_jobs(listed(3), tmp_path, executor=executor)
    assert outcome.stopped == "stopped: a worker ended before its work was done (RuntimeError); run the list again for the rest"
    assert outcome.done == []


class Forgetful(Executor):
    """Gives all work back."""

    def submit(self, *_: object) -> Future:
        future: Future = Future()
        future.cancel()
        return future


def test_an_executor_that_gives_work_back_is_reported(tmp_path):
    assert "(CancelledError)" in plan_jobs(listed(3), tmp_path, executor=Forgetful()).stopped


def test_what_nobody_foresaw_is_raised_with_its_row(tmp_path, monkeypatch):
    work_on = workers.work_on

    def fails(setup, task):
        if task.row == 7:
            raise ZeroDivisionError("planted")
        return work_on(setup, task)

    monkeypatch.setattr(workers, "work_on", fails)
    with ThreadPoolExecutor(2) as executor, pytest.raises(ZeroDivisionError, match=r"^planted") as caught:
        plan_jobs(listed(LONG), tmp_path, executor=executor)
    assert caught.value.__notes__[0].startswith("while working on row 7:\nTraceback")
    assert not (tmp_path / folder.LOCK).exists()


def test_the_number_of_workers_is_checked(tmp_path):
    with pytest.raises(bf.InputError, match=r"^plan_jobs: workers: 0 given; allowed is 1 or more$"):
        plan_jobs(listed(1), tmp_path, workers=0)


# --- the folder, with several processes


def full_after(monkeypatch: pytest.MonkeyPatch, count: int) -> None:
    class Full(lists.Staged):
        made = 0

        def __init__(self, *arguments, **options):
            Full.made += 1
            if Full.made > count:
                raise OSError(errno.ENOSPC, "No space left on device")
            super().__init__(*arguments, **options)

    monkeypatch.setattr(lists, "Staged", Full)


@pytest.mark.slow
def test_a_full_disk_stops_all_of_them(tmp_path, monkeypatch):
    full_after(monkeypatch, 11)
    outcome = plan_jobs(listed(8 * workers.ROWS_IN_A_CHUNK), tmp_path, workers=2)
    assert outcome.stopped == "stopped: No space left on device"
    assert [d.row for d in outcome.done] == list(range(2, 13))
    assert result_names(tmp_path) == [d.file for d in outcome.done]


@pytest.mark.slow
def test_read_only_files_are_kept_whoever_made_the_new_ones(tmp_path):
    plan_jobs(listed(LONG), tmp_path)
    path = tmp_path / "J2.xlsx"
    before = path.read_bytes()
    path.chmod(0o444)
    outcome = plan_jobs(listed(LONG, {**GOOD, "quantity": 7.0}), tmp_path, workers=2, replace=True)
    path.chmod(0o644)
    assert [(p.row, p.reason) for p in outcome.problems] == [(4, "J2.xlsx can't be written (the file is read-only)")]
    assert path.read_bytes() == before
    assert len(outcome.done) == LONG - 1


on_this_system = pytest.mark.skipif(sys.platform == "win32", reason="there a process can't send itself such a signal")


@pytest.mark.slow
@on_this_system
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_an_interrupt_leaves_whole_workbooks_and_true_results(tmp_path, monkeypatch, number):
    class Interrupting(lists.Staged):
        placed = 0

        def place(self):
            super().place()
            Interrupting.placed += 1
            if Interrupting.placed == 10:
                os.kill(os.getpid(), number)

    monkeypatch.setattr(lists, "Staged", Interrupting)
    with pytest.raises(Interrupted) as caught:
        plan_jobs(listed(LONG), tmp_path, workers=2)
    assert caught.value.signal == number
    assert len(caught.value.outcome.done) == 10
    assert result_names(tmp_path) == [d.file for d in caught.value.outcome.done]
    assert sorted(p.name for p in tmp_path.glob(".*")) == [RECORD]


def start(tmp_path: Path, *options: str, rows: int = 400, **how: object) -> subprocess.Popen:
    path = tmp_path / "jobs.csv"
    heads = ["job", *GOOD]
    path.write_text("\n".join([",".join(heads), *(",".join(str(job.values[name]) for name in heads) for job in listed(rows))]))
    return subprocess.Popen([sys.executable, "-m", "barfuncs", "plan", str(path), "--out", str(tmp_path / "out"), *options],
                            stdout=subprocess.PIPE, stderr=subprocess.PIPE, encoding="utf-8", **how)


def wait_for(seen, run: subprocess.Popen) -> None:
    until = time.monotonic() + 120
    while not seen():
        assert run.poll() is None, run.communicate()
        assert time.monotonic() < until
        time.sleep(0.005)


@on_this_system
def test_the_processes_end_with_the_one_that_started_them(tmp_path):
    run = start(tmp_path, "--jobs", "2")
    wait_for(lambda: list((tmp_path / "out").glob("J*.xlsx")), run)
    run.kill()
    run.communicate(timeout=30)  # they hold the other ends of the pipes: this ends when all of them did
    assert run.returncode == -signal.SIGKILL
    assert len(list((tmp_path / "out").glob("J*.xlsx"))) < 400


@pytest.mark.slow
@on_this_system
@pytest.mark.parametrize("moment", ["at the start", "while working"])
def test_ctrl_c_on_a_terminal_is_heard_by_all_and_heeded_by_one(tmp_path, moment):
    run = start(tmp_path, "--jobs", "2", start_new_session=True)
    wait_for(lambda: (tmp_path / "out" / folder.LOCK).exists(), run)
    if moment == "while working":
        wait_for(lambda: list((tmp_path / "out").glob("J*.xlsx")), run)
    else:
        time.sleep(0.15)
    os.killpg(run.pid, signal.SIGINT)
    _, error = run.communicate(timeout=60)
    assert run.returncode == 130
    assert re.fullmatch(r"barfuncs: interrupted; \d+ of 400 jobs are written to .*\n", error)


# --- memory


def test_an_outcome_holds_no_files(tmp_path):
    rows = listed(40)
    outcome = plan_jobs(rows, tmp_path)
    assert len(outcome.done) == 40
    assert len(pickle.dumps(outcome)) < 40 * 3_000
    assert (tmp_path / "J0.xlsx").stat().st_size > 30_000


_PEAK = """
import sys
sys.path.insert(0, {tests!r})
from peak_memory import peak_mb
from barfuncs.filling.lists import Job, plan_jobs
good = {good!r}
jobs = [Job(n, {{**good, "job": f"J{{n}}", "size": 1 + n / 10_000}}) for n in range(2, int(sys.argv[1]) + 2)]
assert len(plan_jobs(jobs, sys.argv[2]).done) == len(jobs)
print(peak_mb())
"""


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="there is no such count")
def test_a_long_list_takes_little_more_memory_than_a_short_one(tmp_path):
    def peak(rows: int) -> float:
        script = [sys.executable, "-c", _PEAK.format(good=GOOD, tests=str(Path(__file__).parent)), str(rows), str(tmp_path / str(rows))]
        return float(subprocess.run(script, capture_output=True, check=True, text=True).stdout)

    short, long = peak(100), peak(1_600)
    assert long - short < 1_500 * 0.010, f"{short:.0f} MB for 100 rows, {long:.0f} MB for 1,600"
    assert short < 120
