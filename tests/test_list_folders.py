"""A folder of workbooks over several runs: what is kept, replaced, moved aside, and what the results say of it."""

import csv
import dataclasses
import errno
import io
import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import openpyxl
import pytest

import barfuncs as bf
from barfuncs.catalogue import materials
from barfuncs.filling import folder, lists
from barfuncs.filling.filler import fill
from barfuncs.filling.lists import Interrupted, Job, Outcome, plan_jobs
from barfuncs.filling.record import RECORD, Record
from barfuncs.filling.stopping import Stopping
from barfuncs.templates import shop
from barfuncs.xlsx.package import write_whole

GOOD = {"units": "in", "material": "303", "shape": "round", "size": 1.0, "part_length": 2.0, "cutoff_width": 0.125,
        "face_to_cutoff": 0.2, "grip_length": 2.0, "bar_length": 144.0, "quantity": 100.0}
QUOTE = {**{k: v for k, v in GOOD.items() if k != "quantity"}, "quantity_1": 500.0, "cycle_time": 45.0, "machine_rate": 80.0,
         "material_price": 3.2, "price_per": "lb", "margin": 0.2}


def listed(*names: str, **changes: dict) -> list[Job]:
    """A list with a row for each name; `changes` says what is other in the row of a name."""
    return [Job(row, {**GOOD, "job": name, **changes.get(name, {})}) for row, name in enumerate(names, start=2)]


def run(jobs_: list[Job], out: Path, source: str = "jobs.csv", **options: object) -> Outcome:
    return plan_jobs(jobs_, out, source=source, **options)


def results(out: Path) -> dict[str, dict[str, str]]:
    """The rows of results.csv by file; results.xlsx has the same ones."""
    rows = list(csv.DictReader(io.StringIO((out / "results.csv").read_text("utf-8-sig"), newline="")))
    sheet = openpyxl.load_workbook(out / "results.xlsx").active
    assert [[("" if c is None else str(c)) for c in row[:2]] for row in sheet.iter_rows(min_row=2, values_only=True)] == [
        [row["row"], row["file"]] for row in rows]
    return {row["file"]: row for row in rows}


def files(out: Path) -> list[str]:
    return sorted(p.relative_to(out).as_posix() for p in out.rglob("*") if p.is_file())


def contents(out: Path) -> dict[str, bytes]:
    return {name: (out / name).read_bytes() for name in files(out)}


def notes(out: Path) -> dict[str, str]:
    return {file.removesuffix(".xlsx"): row["note"] for file, row in results(out).items()}


BAD = {"size": "wide"}
OTHER = {"quantity": 250.0}


# --- what a second run finds


def test_a_second_run_leaves_alone_what_is_there_and_changes_no_byte(tmp_path):
    run(listed("A", "B"), tmp_path)
    before = contents(tmp_path)
    for replace in (False, True):
        outcome = run(listed("A", "B"), tmp_path, replace=replace)
        assert (outcome.done, outcome.problems, outcome.stale) == ([], [], [])
        assert outcome.unchanged == [(2, "A.xlsx"), (3, "B.xlsx")]
        assert contents(tmp_path) == before


@pytest.mark.parametrize("replace", [False, True])
def test_after_a_correction_the_results_cover_the_folder(tmp_path, replace):
    first = run(listed("A", "B", "C", B=BAD), tmp_path)
    assert [name for _, name, _ in first.done] == ["A.xlsx", "C.xlsx"]
    second = run(listed("A", "B", "C"), tmp_path, replace=replace)
    assert [name for _, name, _ in second.done] == ["B.xlsx"]
    assert [name for _, name in second.unchanged] == ["A.xlsx", "C.xlsx"]
    assert second.listed == 3
    assert list(results(tmp_path)) == ["A.xlsx", "B.xlsx", "C.xlsx"]
    assert {row["list"] for row in results(tmp_path).values()} == {"jobs.csv"}


def test_a_list_of_the_mended_rows_alone_adds_to_the_folder(tmp_path):
    run(listed("A", "B", "C", B=BAD), tmp_path)
    outcome = run(listed("B"), tmp_path, source="mended.csv")
    assert (outcome.listed, outcome.of_other_lists, outcome.stale) == (3, {"jobs.csv": 2}, [])
    table = results(tmp_path)
    assert {file: (row["list"], row["row"]) for file, row in table.items()} == {
        "A.xlsx": ("jobs.csv", "2"), "C.xlsx": ("jobs.csv", "4"), "B.xlsx": ("mended.csv", "2")}
    assert set(notes(tmp_path).values()) == {""}


def test_the_results_say_which_run_made_a_workbook(tmp_path):
    run(listed("A", B=BAD), tmp_path)
    lines = [line for line in (tmp_path / RECORD).read_text().splitlines() if '"A.xlsx"' in line]
    made = results(tmp_path)["A.xlsx"]["run"]
    assert len(lines) == 1
    (tmp_path / RECORD).write_text((tmp_path / RECORD).read_text().replace(made, "2026-01-02 03:04:05"))
    run(listed("A", "B"), tmp_path)
    assert results(tmp_path)["A.xlsx"]["run"] == "2026-01-02 03:04:05"
    assert results(tmp_path)["B.xlsx"]["run"] >= made


def test_a_row_with_other_values_is_a_problem_until_it_may_replace(tmp_path):
    run(listed("A", "B"), tmp_path)
    before = contents(tmp_path)
    outcome = run(listed("A", "B", B=OTHER), tmp_path)
    assert [(p.row, p.reason) for p in outcome.problems] == [
        (3, "B.xlsx exists already, made from other values or with another shop file or version; allow replacing (--replace) "
            "or choose another folder")]
    assert (tmp_path / "B.xlsx").read_bytes() == before["B.xlsx"]
    assert notes(tmp_path) == {"A": "", "B": "the list has other values now"}
    outcome = run(listed("A", "B", B=OTHER), tmp_path, replace=True)
    assert [name for _, name, _ in outcome.done] == ["B.xlsx"]
    assert notes(tmp_path) == {"A": "", "B": ""}
    assert results(tmp_path)["B.xlsx"]["bars"] == f"{outcome.done[0].values['bars']:g}"
    assert "old/B.xlsx" not in files(tmp_path)


def test_another_shop_file_or_density_makes_another_workbook(tmp_path):
    (tmp_path / "shop.xlsx").write_bytes(shop.build())
    tables = []
    for density in (8.1, 8.2):
        (tmp_path / "own.csv").write_text(f"name,density_g_cm3\nShop bronze,{density}\n")
        tables.append(materials.builtin().extended(materials.read_materials(tmp_path / "own.csv")))
    out, rows = tmp_path / "out", listed("A", A={"material": "Shop bronze"})
    run(rows, out, table=tables[0])
    assert not run(rows, out, table=tables[0]).problems
    for other in ({"table": tables[1]}, {"table": tables[0], "shop": shop.read_shop(tmp_path / "shop.xlsx")}):
        assert "made from other values or with another shop file" in run(rows, out, **other).problems[0].reason


def test_a_workbook_of_the_same_bytes_is_taken_for_what_it_is(tmp_path):
    """Whatever became of the record."""
    run(listed("A"), tmp_path)
    for name in (RECORD, "results.csv", "results.xlsx"):
        (tmp_path / name).unlink()
    assert not run(listed("A"), tmp_path).problems
    assert list(results(tmp_path)) == ["A.xlsx"]


def test_rows_may_move_within_the_list(tmp_path):
    run(listed("A", "B"), tmp_path)
    outcome = run(listed("N", "B", "A"), tmp_path)
    assert [name for _, name, _ in outcome.done] == ["N.xlsx"]
    assert {file: row["row"] for file, row in results(tmp_path).items()} == {"N.xlsx": "2", "B.xlsx": "3", "A.xlsx": "4"}


def test_a_row_with_problems_keeps_its_name(tmp_path):
    """So that two jobs of one name do not change places when the first is mended."""
    rows = [Job(2, {**GOOD, "job": "A", "size": "wide"}), Job(3, {**GOOD, "job": "A"})]
    assert [name for _, name, _ in run(rows, tmp_path).done] == ["A row 3.xlsx"]
    rows[0].values["size"] = 1.25
    outcome = run(rows, tmp_path)
    assert ([name for _, name, _ in outcome.done], [name for _, name in outcome.unchanged]) == (["A.xlsx"], ["A row 3.xlsx"])


def test_the_folder_of_another_template_is_refused(tmp_path):
    run(listed("A"), tmp_path)
    with pytest.raises(bf.WorkbookError, match=r"holds workbooks of the template job_plan \(A\.xlsx\); choose another folder for quote"):
        run([Job(2, {**QUOTE, "job": "B"})], tmp_path, template="quote")
    assert "B.xlsx" not in files(tmp_path)


# --- workbooks that do not go with the list any more


def test_a_job_that_went_bad_is_named_and_with_leave_moved_aside(tmp_path):
    run(listed("A", "B"), tmp_path)
    outcome = run(listed("A", "B", B=BAD), tmp_path)
    assert [(s.file, s.why, s.moved_to) for s in outcome.stale] == [("B.xlsx", "its row has problems now", "")]
    assert notes(tmp_path) == {"A": "", "B": "its row has problems now"}
    workbook = (tmp_path / "B.xlsx").read_bytes()
    outcome = run(listed("A", "B", B=BAD), tmp_path, replace=True)
    assert [(s.file, s.moved_to) for s in outcome.stale] == [("B.xlsx", "old/B.xlsx")]
    assert (tmp_path / "old" / "B.xlsx").read_bytes() == workbook
    assert "B.xlsx" not in files(tmp_path)
    assert notes(tmp_path) == {"A": ""}


def test_a_renamed_job_leaves_no_second_workbook_behind(tmp_path):
    run(listed("A", "B", B=OTHER), tmp_path)
    outcome = run(listed("A", "New", New=OTHER), tmp_path)
    assert [(s.file, s.why) for s in outcome.stale] == [("B.xlsx", "its job has another name now")]
    assert notes(tmp_path) == {"A": "", "New": "", "B": "its job has another name now"}
    outcome = run(listed("A", "New", New=OTHER), tmp_path, replace=True)
    assert [s.moved_to for s in outcome.stale] == ["old/B.xlsx"]
    assert notes(tmp_path) == {"A": "", "New": ""}


def test_a_job_that_left_the_list_is_marked_and_stays(tmp_path):
    run(listed("A", "B", B=OTHER), tmp_path)
    outcome = run(listed("A"), tmp_path, replace=True)
    assert [(s.file, s.why, s.moved_to) for s in outcome.stale] == [("B.xlsx", "not in the list any more", "")]
    assert notes(tmp_path) == {"A": "", "B": "not in the list any more"}
    run(listed("A", "B", B=OTHER), tmp_path)
    assert notes(tmp_path) == {"A": "", "B": ""}


def test_a_folder_from_which_all_was_moved_aside_has_no_results(tmp_path):
    run(listed("A"), tmp_path)
    run(listed("A", A=BAD), tmp_path, replace=True)
    assert files(tmp_path) == ["old/A.xlsx"]


def test_two_versions_moved_aside_get_two_names(tmp_path):
    for _ in range(2):
        run(listed("A"), tmp_path)
        run(listed("A", A=BAD), tmp_path, replace=True)
    assert files(tmp_path) == ["old/A (2).xlsx", "old/A.xlsx"]


def test_a_workbook_taken_away_by_hand_is_made_again(tmp_path):
    run(listed("A", "B"), tmp_path)
    (tmp_path / "A.xlsx").unlink()
    outcome = run(listed("B"), tmp_path)
    assert list(results(tmp_path)) == ["B.xlsx"]
    assert outcome.stale == []
    assert [name for _, name, _ in run(listed("A", "B"), tmp_path).done] == ["A.xlsx"]


# --- files that people changed


def test_a_workbook_changed_by_hand_is_kept_and_with_leave_to_replace_moved_aside(tmp_path):
    run(listed("A"), tmp_path)
    made = (tmp_path / "A.xlsx").read_bytes()
    (tmp_path / "A.xlsx").write_bytes(b"by hand")
    outcome = run(listed("A"), tmp_path)
    assert (outcome.problems, outcome.unchanged, outcome.by_hand) == ([], [(2, "A.xlsx")], {"A.xlsx": ""})
    assert notes(tmp_path) == {"A": "changed by hand since"}
    outcome = run(listed("A"), tmp_path, replace=True)
    assert [name for _, name, _ in outcome.done] == ["A.xlsx"]
    assert (tmp_path / "A.xlsx").read_bytes() == made
    assert (tmp_path / "old" / "A.xlsx").read_bytes() == b"by hand"
    assert notes(tmp_path) == {"A": ""}


def test_a_file_of_unknown_making_is_a_problem_and_with_leave_to_replace_moved_aside(tmp_path):
    (tmp_path / "A.xlsx").write_bytes(b"mine")
    outcome = run(listed("A"), tmp_path)
    assert outcome.problems[0].reason == "A.xlsx exists already; allow replacing (--replace) or choose another folder"
    assert files(tmp_path) == ["A.xlsx"]
    run(listed("A"), tmp_path, replace=True)
    assert (tmp_path / "old" / "A.xlsx").read_bytes() == b"mine"
    assert list(results(tmp_path)) == ["A.xlsx"]


@pytest.mark.parametrize("name", ["results.csv", "results.xlsx"])
def test_results_changed_by_hand_are_not_lost(tmp_path, name):
    run(listed("A"), tmp_path)
    (tmp_path / name).write_bytes(b"by hand")
    outcome = run(listed("A", "B"), tmp_path)
    assert [p.reason for p in outcome.problems] == [f"{name} exists already; allow replacing (--replace) or choose another folder"]
    assert (tmp_path / name).read_bytes() == b"by hand"
    assert not run(listed("A", "B"), tmp_path, replace=True).problems
    assert (tmp_path / "old" / name).read_bytes() == b"by hand"
    assert list(results(tmp_path)) == ["A.xlsx", "B.xlsx"]


def test_read_only_files_are_not_replaced(tmp_path):
    run(listed("A", "B"), tmp_path)
    before = contents(tmp_path)
    marked = [tmp_path / name for name in ("A.xlsx", "results.csv")]
    for path in marked:
        path.chmod(0o444)
    outcome = run(listed("A", "B", A=OTHER, B=OTHER), tmp_path, replace=True)
    assert [p.reason for p in outcome.problems] == [
        "A.xlsx can't be written (the file is read-only)", "results.csv can't be written (the file is read-only)"]
    assert [(tmp_path / name).read_bytes() == before[name] for name in ("A.xlsx", "B.xlsx", "results.csv")] == [True, False, True]
    for path in marked:
        path.chmod(0o644)
    assert not run(listed("A", "B", B=OTHER), tmp_path, replace=True).problems
    assert notes(tmp_path) == {"A": "", "B": ""}


def test_a_read_only_file_is_not_replaced_by_hand_either(tmp_path):
    path = tmp_path / "A.xlsx"
    path.write_bytes(b"mine")
    path.chmod(0o444)
    with pytest.raises(PermissionError, match="the file is read-only"):
        write_whole(path, b"new", replace=True)
    path.chmod(0o644)
    assert (files(tmp_path), path.read_bytes()) == (["A.xlsx"], b"mine")
    write_whole(path, b"new", replace=True)
    assert path.read_bytes() == b"new"


def test_read_only_results_are_not_replaced(tmp_path):
    run(listed("A"), tmp_path)
    before = (tmp_path / "results.xlsx").read_bytes()
    (tmp_path / "results.xlsx").chmod(0o444)
    try:
        outcome = run(listed("A", "B"), tmp_path)
    finally:
        (tmp_path / "results.xlsx").chmod(0o644)
    assert [p.reason for p in outcome.problems] == ["results.xlsx can't be written (the file is read-only)"]
    assert (tmp_path / "results.xlsx").read_bytes() == before


@pytest.mark.parametrize("damage", [
    lambda text: text[:len(text) // 2], lambda text: text.replace("A.xlsx", "../A.xlsx"), lambda text: text.replace('"row": 2', '"row": "2"'),
    lambda text: "[" * 100_000 + text.replace("\n", ""), lambda _: "\0\ufffd", lambda text: text.replace('"file"', '"fold"'),
])
def test_a_damaged_record_loses_no_file(tmp_path, damage):
    out = tmp_path / "out"
    run(listed("A"), out)
    made = (out / "A.xlsx").read_bytes()
    (tmp_path / "A.xlsx").write_bytes(made)  # beside the folder, where a record must not lead to
    text = (out / RECORD).read_text().splitlines()[0] + "\n"
    (out / RECORD).write_text(damage(text), "utf-8")
    outcome = run(listed("A", A=OTHER), out)
    assert outcome.problems[0].reason.startswith("A.xlsx exists already; allow")
    outcome = run(listed("A", "B", A=BAD), out, replace=True)
    assert outcome.stale == []
    assert [(folder_ / "A.xlsx").read_bytes() == made for folder_ in (tmp_path, out)] == [True, True]


# --- runs that end early


class Breaking(lists.Staged):
    """Lets something happen when so many files have been placed."""

    after, count = 0, 0

    def place(self) -> None:
        super().place()
        Breaking.count += 1
        if Breaking.count == Breaking.after:
            self.happen()

    def happen(self) -> None:
        raise NotImplementedError


def break_after(monkeypatch: pytest.MonkeyPatch, count: int, happen) -> None:
    Breaking.after, Breaking.count = count, 0
    monkeypatch.setattr(Breaking, "happen", lambda _: happen())
    monkeypatch.setattr(lists, "Staged", Breaking)


on_this_system = pytest.mark.skipif(sys.platform == "win32", reason="there a process can't send itself such a signal")


@on_this_system
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, getattr(signal, "SIGHUP", None)])
def test_an_interrupted_list_has_the_results_of_what_is_done(tmp_path, monkeypatch, number):
    before = signal.getsignal(number)
    break_after(monkeypatch, 2, lambda: os.kill(os.getpid(), number))
    with pytest.raises(Interrupted) as caught:
        run(listed("A", "B", "C", "D"), tmp_path)
    assert caught.value.signal == number
    assert caught.value.outcome.stopped == "interrupted"
    assert [name for _, name, _ in caught.value.outcome.done] == ["A.xlsx", "B.xlsx"]
    assert files(tmp_path) == [RECORD, "A.xlsx", "B.xlsx", "results.csv", "results.xlsx"]
    assert list(results(tmp_path)) == ["A.xlsx", "B.xlsx"]
    assert signal.getsignal(number) is before
    outcome = run(listed("A", "B", "C", "D"), tmp_path)
    assert (len(outcome.unchanged), len(outcome.done), outcome.listed) == (2, 2, 4)


@on_this_system
def test_a_second_signal_does_not_cut_the_results(tmp_path, monkeypatch):
    write = lists.write_whole

    def writing(path, *arguments, **options):
        os.kill(os.getpid(), signal.SIGTERM)
        os.kill(os.getpid(), signal.SIGINT)
        write(path, *arguments, **options)

    monkeypatch.setattr(lists, "write_whole", writing)
    break_after(monkeypatch, 1, lambda: os.kill(os.getpid(), signal.SIGINT))
    with pytest.raises(Interrupted) as caught:
        run(listed("A", "B"), tmp_path)
    assert caught.value.signal == signal.SIGINT
    assert list(results(tmp_path)) == ["A.xlsx"]


@on_this_system
def test_being_told_to_stop_twice_stops_once():
    with Stopping() as stopping:
        with pytest.raises(KeyboardInterrupt):
            os.kill(os.getpid(), signal.SIGTERM)
        os.kill(os.getpid(), signal.SIGINT)
        with stopping.held():
            os.kill(os.getpid(), signal.SIGTERM)
    assert stopping.signal == signal.SIGTERM


@on_this_system
def test_a_handler_of_the_program_itself_is_left_alone(tmp_path, monkeypatch):
    seen = []
    before = signal.signal(signal.SIGTERM, lambda *_: seen.append(1))
    try:
        break_after(monkeypatch, 1, lambda: os.kill(os.getpid(), signal.SIGTERM))
        assert len(run(listed("A", "B"), tmp_path).done) == 2
    finally:
        signal.signal(signal.SIGTERM, before)
    assert seen == [1]


def test_an_interrupted_run_does_not_judge_the_rows_it_never_reached(tmp_path, monkeypatch):
    run(listed("A", "B", "C"), tmp_path)

    def interrupt():
        raise KeyboardInterrupt

    break_after(monkeypatch, 1, interrupt)
    with pytest.raises(Interrupted):
        run(listed("A", "B", "C", A=OTHER, B=OTHER, C=BAD), tmp_path, replace=True)
    assert set(notes(tmp_path).values()) == {""}
    assert "old/C.xlsx" not in files(tmp_path)


def full(*_: object) -> None:
    raise OSError(errno.ENOSPC, "No space left on device")


def test_a_full_disk_stops_the_list_and_says_what_is_written(tmp_path, monkeypatch):
    class Full(lists.Staged):
        count = 0

        def __init__(self, *arguments, **options):
            Full.count += 1
            if Full.count == 2:
                full()
            super().__init__(*arguments, **options)

    monkeypatch.setattr(lists, "Staged", Full)
    outcome = run(listed("A", "B", "C", "D"), tmp_path)
    assert Full.count == 2
    assert outcome.stopped == "stopped: No space left on device"
    assert (len(outcome.done), outcome.total) == (1, 4)
    assert "B.xlsx can't be written (No space left on device)" in outcome.problems[0].reason
    assert outcome.results_written
    assert list(results(tmp_path)) == ["A.xlsx"]


def test_without_space_for_the_results_nothing_is_begun(tmp_path, monkeypatch):
    monkeypatch.setattr(folder.os, "fsync", full)
    outcome = run(listed("A"), tmp_path)
    assert (outcome.stopped, outcome.done) == ("stopped: No space left on device", [])
    assert files(tmp_path) == []


def can_mount() -> bool:
    return sys.platform == "linux" and os.geteuid() == 0 and shutil.which("mount") is not None


@pytest.fixture
def small_disk(tmp_path):
    """A disk of 3 MB, where this user may make one."""
    place = tmp_path / "disk"
    place.mkdir()
    if not can_mount() or subprocess.run(["mount", "-t", "tmpfs", "-o", "size=3m", "tmpfs", str(place)], check=False,
                                         capture_output=True).returncode:
        pytest.skip("a small disk can't be mounted here; the tests with a made-up error remain")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def test_the_results_survive_a_disk_that_is_full(small_disk):
    out = small_disk / "out"
    rows = listed(*(f"J{n}" for n in range(120)))
    outcome = run(rows, out)
    assert outcome.stopped == "stopped: No space left on device"
    assert 5 < len(outcome.done) < 100
    assert outcome.results_written
    assert list(results(out)) == [name for _, name, _ in outcome.done]
    assert [name for name in files(out) if not name.endswith((".xlsx", ".csv"))] == [RECORD]
    for name in files(out)[:len(outcome.done) // 2]:  # somebody makes room
        if name.startswith("J"):
            (out / name).unlink()
    fewer = len(outcome.done) - 2
    again = run(rows[:fewer], out)
    assert not again.problems
    assert set(results(out)) >= {f"J{n}.xlsx" for n in range(fewer)}


# --- one run at a time, and nothing left behind


def test_runs_at_the_same_time_take_turns(tmp_path):
    told: list[str] = []
    with ThreadPoolExecutor(4) as pool:
        outcomes = list(pool.map(lambda n: run(listed("A", "B", "C", f"T{n}"), tmp_path, source=f"{n}.csv", tell=told.append), range(4)))
    assert sorted(len(o.done) for o in outcomes) == [1, 1, 1, 4]
    assert not any(o.problems for o in outcomes)
    assert sorted(results(tmp_path)) == ["A.xlsx", "B.xlsx", "C.xlsx", *(f"T{n}.xlsx" for n in range(4))]
    assert folder.LOCK not in files(tmp_path)


def test_a_second_run_says_that_it_waits_and_then_gives_up(tmp_path, monkeypatch):
    monkeypatch.setattr(folder, "SOON", 0.05)
    monkeypatch.setattr(folder, "LONGEST_WAIT", 0.1)
    told: list[str] = []
    with folder.held(tmp_path), ThreadPoolExecutor(1) as pool:
        second = pool.submit(run, listed("A"), tmp_path, tell=told.append)
        with pytest.raises(bf.WorkbookError, match=r"another run is still writing into .*; start again when it is done"):
            second.result()
    assert told == [f"another run is writing into {tmp_path}; waiting for it (at most 0.1 s)"]
    assert files(tmp_path) == []
    assert len(run(listed("A"), tmp_path).done) == 1


def test_a_waiting_run_goes_on_when_the_first_ends(tmp_path, monkeypatch):
    monkeypatch.setattr(folder, "SOON", 0.05)
    told = threading.Event()
    with ThreadPoolExecutor(1) as pool:
        with folder.held(tmp_path):
            second = pool.submit(run, listed("A"), tmp_path, tell=lambda _: told.set())
            assert told.wait(60)
            assert not second.done()
        assert len(second.result().done) == 1


def test_the_next_run_sweeps_what_a_killed_run_left(tmp_path):
    for place in (tmp_path, tmp_path / folder.FOR_CUSTOMER):
        place.mkdir(exist_ok=True)
        (place / ".barfuncs-run-abc.part").write_bytes(b"x")
        (place / ".barfuncs-old.part").write_bytes(b"x")
        os.utime(place / ".barfuncs-old.part", (time.time() - 7200,) * 2)
    (tmp_path / folder.RESERVE).write_bytes(b"x")
    (tmp_path / folder.LOCK).write_bytes(b"")
    (tmp_path / ".barfuncs-now.part").write_bytes(b"another program writes this one")
    run(listed("A"), tmp_path)
    assert files(tmp_path) == [".barfuncs-now.part", RECORD, "A.xlsx", "results.csv", "results.xlsx"]
    assert not (tmp_path / folder.FOR_CUSTOMER).exists()


def test_half_a_line_of_a_killed_run_spoils_no_other(tmp_path):
    run(listed("A"), tmp_path)
    with (tmp_path / RECORD).open("a") as record:
        record.write('{"file": "B.xl')
    record = Record.read(tmp_path)
    (tmp_path / "C.xlsx").write_bytes((tmp_path / "A.xlsx").read_bytes())
    record.announce(dataclasses.replace(record.entries["a.xlsx"], file="C.xlsx"))
    assert list(Record.read(tmp_path).entries) == ["a.xlsx", "c.xlsx"]
    assert [name for _, name, _ in run(listed("A", "B"), tmp_path).done] == ["B.xlsx"]


def test_what_was_announced_and_never_written_is_not_there(tmp_path):
    run(listed("A"), tmp_path)
    entry = Record.read(tmp_path).entries["a.xlsx"]
    record = Record.read(tmp_path)
    record.announce(dataclasses.replace(entry, digest="0" * 64, made_from="x", run="later"))
    record.announce(dataclasses.replace(entry, file="N.xlsx"))
    assert Record.read(tmp_path).entries == {"a.xlsx": entry}
    (tmp_path / "A.xlsx").write_bytes(b"by hand")  # and now nothing tells what it was before
    assert Record.read(tmp_path).entries["a.xlsx"].made_from == ""


# --- the customer's copies of quotes


def quotes(*names: str, **changes: dict) -> list[Job]:
    return [Job(row, {**QUOTE, "job": name, **changes.get(name, {})}) for row, name in enumerate(names, start=2)]


def customer_copy(**changes: object) -> bytes:
    return fill("quote", {**QUOTE, **changes}).customer_copy()


def test_every_quote_has_a_copy_for_the_customer(tmp_path):
    outcome = run(quotes("A", "B"), tmp_path, template="quote")
    assert [n for n in files(tmp_path) if n.startswith("for_customer")] == [
        "for_customer/Quotation A.xlsx", "for_customer/Quotation B.xlsx"]
    assert outcome.copies == 2
    for (_, name, _), row in zip(outcome.done, results(tmp_path).values(), strict=True):
        assert row["for_customer"] == f"Quotation {name}"
        assert (tmp_path / "for_customer" / row["for_customer"]).read_bytes() == customer_copy(job=name.removesuffix(".xlsx"))


def test_plans_have_no_column_for_copies(tmp_path):
    run(listed("A"), tmp_path)
    assert "for_customer" not in results(tmp_path)["A.xlsx"]


def test_a_copy_goes_with_its_quote(tmp_path):
    run(quotes("A", "B"), tmp_path, template="quote")
    first = contents(tmp_path)
    (tmp_path / "for_customer" / "Quotation A.xlsx").unlink()
    outcome = run(quotes("A", "B"), tmp_path, template="quote")
    assert ([n for _, n, _ in outcome.done], [n for _, n in outcome.unchanged]) == (["A.xlsx"], ["B.xlsx"])
    again = contents(tmp_path)
    assert {n: again[n] for n in again if n.startswith(("A", "B", "for"))} == {n: first[n] for n in first if n.startswith(("A", "B", "for"))}
    run(quotes("A", "B", A={"margin": 0.4}, B=BAD), tmp_path, template="quote", replace=True)
    assert [n for n in files(tmp_path) if n.endswith(".xlsx")] == [
        "A.xlsx", "for_customer/Quotation A.xlsx", "old/B.xlsx", "old/Quotation B.xlsx", "results.xlsx"]
    assert (tmp_path / "for_customer" / "Quotation A.xlsx").read_bytes() != first["for_customer/Quotation A.xlsx"]


def test_a_copy_changed_by_hand_is_not_lost(tmp_path):
    run(quotes("A"), tmp_path, template="quote")
    copy = tmp_path / "for_customer" / "Quotation A.xlsx"
    copy.write_bytes(b"by hand")
    assert run(quotes("A"), tmp_path, template="quote").unchanged == [(2, "A.xlsx")]
    assert copy.read_bytes() == b"by hand"
    run(quotes("A", A={"margin": 0.4}), tmp_path, template="quote", replace=True)
    assert copy.read_bytes() == customer_copy(job="A", margin=0.4)
    assert (tmp_path / "old" / "Quotation A.xlsx").read_bytes() == b"by hand"


def test_an_old_copy_is_gone_before_the_new_workbook_stands(tmp_path, monkeypatch):
    run(quotes("A"), tmp_path, template="quote")
    seen = []

    def stop():
        seen.append(files(tmp_path))
        raise OSError(errno.EIO, "Input/output error")

    break_after(monkeypatch, 1, stop)
    outcome = run(quotes("A", A={"margin": 0.4}), tmp_path, template="quote", replace=True)
    assert "A.xlsx can't be written (Input/output error)" in outcome.problems[0].reason
    assert not [name for name in seen[0] if name.startswith(("for_customer/Quotation", "results"))]
    monkeypatch.undo()
    outcome = run(quotes("A", A={"margin": 0.4}), tmp_path, template="quote")
    assert not outcome.problems
    assert (tmp_path / "for_customer" / "Quotation A.xlsx").read_bytes() == customer_copy(job="A", margin=0.4)
