"""Runs that are killed leave nothing broken. The long form: python tests/kill_runs.py 300"""

import sys

import pytest
from kill_runs import HEADS, SIGNALS, faults_after_the_next_run, faults_now, kill_runs, references, table

from barfuncs.filling.folder import FOR_CUSTOMER


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="there a process has no such signals")
def test_killed_runs_leave_nothing_broken_and_nothing_behind():
    counts, faults = kill_runs(12, rows=6, seed=5, templates=("job_plan", "job_plan", "job_plan", "quote"))
    assert faults == []
    assert {name: counts[name, "runs"] for name in SIGNALS} == dict.fromkeys(SIGNALS, 4)
    assert sum(counts[name, "next runs"] for name in SIGNALS) >= 6
    assert all(head in table(counts) for head in HEADS)


def test_the_looks_see_what_is_wrong(tmp_path):
    wanted = references(tmp_path, 3)
    versions = [wanted["quote", 1], wanted["quote", 2]]
    out = tmp_path / "quote1" / "out"
    assert (faults_now(out, versions), faults_after_the_next_run(out, versions[0])) == ([], [])
    assert faults_after_the_next_run(out, versions[1])
    copy, other = out / FOR_CUSTOMER / "Quotation K0.xlsx", tmp_path / "quote2" / "out"
    kept = copy.read_bytes()
    copy.write_bytes((other / FOR_CUSTOMER / "Quotation K0.xlsx").read_bytes())
    assert faults_now(out, versions) == ["copy of another quote: Quotation K0.xlsx"]
    copy.write_bytes(kept)
    kept = (out / "K1.xlsx").read_bytes()
    (out / "K1.xlsx").write_bytes((other / "K1.xlsx").read_bytes())
    found = faults_now(out, versions)
    assert all(any(fault.startswith(f"{name} has other values than K1.xlsx (") and "quantity_1" in fault for fault in found)
               for name in ("results.csv", "results.xlsx"))
    (out / "K1.xlsx").write_bytes(kept[:-9])
    assert "broken: K1.xlsx" in faults_now(out, versions)
    (out / "K1.xlsx").unlink()
    assert "results.csv lists K1.xlsx, which is not there" in faults_now(out, versions)
    (out / "K1.xlsx").write_bytes(kept)
    (out / ".barfuncs-run-x.part").write_bytes(b"")
    assert faults_now(out, versions) == []
    assert faults_after_the_next_run(out, versions[0]) == ["left over: .barfuncs-run-x.part"]
    (out / ".barfuncs-run-x.part").unlink()
    rows = (out / "results.csv").read_text("utf-8-sig")
    for note in ("the list has other values now", "made up"):
        (out / "results.csv").write_text(rows.replace(",\n", f",{note}\n", 1), "utf-8-sig")
        assert [fault for fault in faults_now(out, versions) if "(note)" in fault] == (
            [] if note != "made up" else ["results.csv has other values than K0.xlsx (note)"])
        assert faults_after_the_next_run(out, versions[0]) == ["results.csv is not that of the folder"]
