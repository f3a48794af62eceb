"""Going on where a run stopped: what is kept without being read, and what is not."""

import json
from pathlib import Path

import pytest
from list_runs import same_folders

from barfuncs.catalogue import materials
from barfuncs.filling import folder, lists, one_row
from barfuncs.filling.lists import Interrupted, Job, plan_jobs
from barfuncs.filling.record import RECORD, Record
from barfuncs.templates import shop

GOOD = {"units": "in", "material": "303", "shape": "round", "size": 1.0, "part_length": 2.0, "cutoff_width": 0.125,
        "face_to_cutoff": 0.2, "grip_length": 2.0, "bar_length": 144.0, "quantity": 100.0}
BARE = {name: value for name, value in GOOD.items() if name != "units"}
QUOTE = {**{k: v for k, v in GOOD.items() if k != "quantity"}, "quantity_1": 500.0, "cycle_time": 45.0, "machine_rate": 80.0,
         "material_price": 3.2, "price_per": "lb", "margin": 0.2}


def listed(*names: str, base: dict = GOOD, **changes: dict) -> list[Job]:
    return [Job(row, {**base, "job": name, **changes.get(name, {})}) for row, name in enumerate(names, start=2)]


@pytest.fixture
def read(monkeypatch) -> list[str]:
    """The jobs that are read, in their order."""
    seen: list[str] = []
    read_job = one_row.read_job

    def reading(values, *arguments, **options):
        seen.append(str(values.get("job")))
        return read_job(values, *arguments, **options)

    monkeypatch.setattr(one_row, "read_job", reading)
    return seen


def resumed(jobs: list[Job], out: Path, read: list[str], **options: object) -> tuple[list[str], list[str], list[str]]:
    """The names that a run that goes on reads, writes and keeps."""
    read.clear()
    outcome = plan_jobs(jobs, out, resume=True, **options)
    return read[:], [d.file.removesuffix(".xlsx") for d in outcome.done], [name.removesuffix(".xlsx") for _, name in outcome.unchanged]


def test_rows_that_are_done_are_not_even_read(tmp_path, read):
    plan_jobs(listed("A", "B"), tmp_path)
    assert resumed(listed("A", "B", "C"), tmp_path, read) == (["C"], ["C"], ["A", "B"])
    assert resumed(listed("A", "B", "C"), tmp_path, read) == ([], [], ["A", "B", "C"])
    read.clear()
    outcome = plan_jobs(listed("A", "B", "C"), tmp_path)  # the same without: every row is read, none is calculated
    assert (read, outcome.done, len(outcome.unchanged)) == (["A", "B", "C"], [], 3)


@pytest.mark.slow
@pytest.mark.parametrize("workers", [1, 2])
def test_a_run_that_was_stopped_and_goes_on_leaves_what_one_run_leaves(tmp_path, monkeypatch, read, workers):
    names = [f"J{n}" for n in range(30)]
    plan_jobs(listed(*names), tmp_path / "whole")

    class Stopped(lists.Staged):
        placed = 0

        def place(self):
            super().place()
            Stopped.placed += 1
            if Stopped.placed == 13:
                raise KeyboardInterrupt

    monkeypatch.setattr(lists, "Staged", Stopped)
    with pytest.raises(Interrupted):
        plan_jobs(listed(*names), tmp_path / "out")
    monkeypatch.undo()
    outcome = plan_jobs(listed(*names), tmp_path / "out", resume=True, workers=workers)
    assert len(outcome.unchanged) in (12, 13)
    assert len(outcome.done) == 30 - len(outcome.unchanged)
    assert same_folders(tmp_path / "out", tmp_path / "whole") == []


def test_a_changed_row_is_read_and_is_a_problem_without_leave_to_replace(tmp_path, read):
    plan_jobs(listed("A", "B"), tmp_path)
    changed = listed("A", "B", B={"quantity": 250.0})
    assert resumed(changed, tmp_path, read) == (["B"], [], ["A"])
    assert resumed(changed, tmp_path, read, replace=True) == (["B"], ["B"], ["A"])
    assert resumed(changed, tmp_path, read, replace=True) == ([], [], ["A", "B"])


def test_a_row_that_says_the_same_in_other_words_is_read_once(tmp_path, read):
    plan_jobs(listed("A"), tmp_path)
    same = listed("A", A={"size": "1 in", "bar_length": "12 ft"})
    assert resumed(same, tmp_path, read) == (["A"], [], ["A"])
    assert resumed(same, tmp_path, read) == ([], [], ["A"])


def test_another_shop_file_table_or_option_is_no_reason_to_trust(tmp_path, read):
    (tmp_path / "shop.xlsx").write_bytes(shop.build())
    (tmp_path / "own.csv").write_text("name,density_g_cm3\nShop bronze,8.1\n")
    own = materials.builtin().extended(materials.read_materials(tmp_path / "own.csv"))
    out = tmp_path / "out"
    plan_jobs(listed("A"), out)
    assert resumed(listed("A"), out, read, table=own) == (["A"], [], ["A"])  # nothing that this row is made from has changed
    assert resumed(listed("A"), out, read, table=own, units="in") == (["A"], [], ["A"])
    assert resumed(listed("A"), out, read, table=own, units="in", decimal_comma=True) == (["A"], [], ["A"])
    assert resumed(listed("A"), out, read, shop=shop.read_shop(tmp_path / "shop.xlsx")) == (["A"], [], [])


def test_another_version_is_no_reason_to_trust(tmp_path, read, monkeypatch):
    plan_jobs(listed("A"), tmp_path)
    monkeypatch.setattr(one_row.barfuncs, "__version__", "99")
    one_row._template_digest.cache_clear()
    try:
        assert resumed(listed("A"), tmp_path, read, replace=True) == (["A"], ["A"], [])
    finally:
        monkeypatch.undo()
        one_row._template_digest.cache_clear()


def test_what_somebody_changed_or_took_away_is_seen(tmp_path, read):
    plan_jobs(listed("A", "B", "C"), tmp_path)
    made = (tmp_path / "A.xlsx").read_bytes()
    (tmp_path / "A.xlsx").write_bytes(b"by hand")
    (tmp_path / "B.xlsx").unlink()
    assert resumed(listed("A", "B", "C"), tmp_path, read) == (["B"], ["B"], ["A", "C"])
    assert Record.read(tmp_path).entries["a.xlsx"].note == "changed by hand since"
    assert resumed(listed("A", "B", "C"), tmp_path, read, replace=True) == (["A"], ["A"], ["B", "C"])
    assert (tmp_path / "A.xlsx").read_bytes() == made
    assert (tmp_path / folder.OLD / "A.xlsx").read_bytes() == b"by hand"


def test_a_missing_copy_for_the_customer_is_made_again(tmp_path, read):
    rows = listed("A", "B", base=QUOTE)
    plan_jobs(rows, tmp_path, template="quote")
    (tmp_path / folder.FOR_CUSTOMER / "Quotation A.xlsx").unlink()
    assert resumed(rows, tmp_path, read, template="quote") == (["A"], ["A"], ["B"])
    assert (tmp_path / folder.FOR_CUSTOMER / "Quotation A.xlsx").exists()


def test_rows_taken_as_inch_are_kept_only_while_no_row_is_metric(tmp_path, read):
    plan_jobs(listed("A", "B", base=BARE), tmp_path)
    outcome = plan_jobs(listed("A", "B", base=BARE), tmp_path, resume=True)
    assert (len(outcome.unchanged), outcome.taken_as_inch) == (2, True)
    metric = {"units": "mm", "size": 25.0, "part_length": 50.0, "cutoff_width": 3.0, "face_to_cutoff": 4.0, "grip_length": 50.0, "bar_length": 3000.0}
    in_words = {name: f"{value} mm" if name != "units" else value for name, value in metric.items()}
    for other in (metric, in_words):
        rows = listed("A", "B", "C", base=BARE, C=other)
        plain = plan_jobs(rows, tmp_path / "plain")
        outcome = plan_jobs(rows, tmp_path, resume=True, replace=True)
        assert [(p.row, p.reason) for p in outcome.problems] == [(p.row, p.reason) for p in plain.problems]
        assert [p.row for p in outcome.problems] == [2, 3]
        assert (outcome.unchanged, outcome.taken_as_inch) in (([], False), ([(4, "C.xlsx")], False))
        again = plan_jobs(rows, tmp_path, resume=True)  # and a metric row that is kept counts too
        assert ([p.row for p in again.problems], again.unchanged) == ([2, 3], [(4, "C.xlsx")])


def test_a_record_of_an_earlier_version_is_read_and_its_rows_too(tmp_path, read):
    plan_jobs(listed("A"), tmp_path)
    lines = [json.loads(line) for line in (tmp_path / RECORD).read_text().splitlines()]
    for line in lines:
        line.pop("said", None)
        line.pop("as_inch", None)
    (tmp_path / RECORD).write_text("\n".join(map(json.dumps, lines)))
    assert resumed(listed("A"), tmp_path, read) == (["A"], [], ["A"])
    assert resumed(listed("A"), tmp_path, read) == ([], [], ["A"])


def test_into_an_empty_folder_it_is_a_run_like_any_other(tmp_path, read):
    assert resumed(listed("A", "B"), tmp_path / "out", read) == (["A", "B"], ["A", "B"], [])
