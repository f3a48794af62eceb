"""Forty jobs as shops write them down: headings, fractions, units and materials as they come. Invented, like all examples."""

from collections import Counter
from pathlib import Path

import pytest

import barfuncs as bf
from barfuncs.filling.lists import Outcome, plan_jobs, read_jobs

LISTS = Path(__file__).parent / "shop_lists"


def planned(name: str, folder: Path) -> Outcome:
    path = LISTS / f"{name}.csv"
    metric = name == "semicolons"  # its headings say mm, which says nothing of the results
    return plan_jobs(read_jobs(path), folder / name, source=path.name, decimal_comma=metric, units="mm" if metric else None)


# For each list how many jobs are planned, and what is wrong with the others: a time that may be hours, a shape in another
# language, a length with two readings, a quantity that is none.
@pytest.mark.parametrize(("name", "done", "problems"), [
    ("week", 11, {(11, "cycle_time"): "may be hours and minutes or minutes and seconds"}),
    ("semicolons", 7, {(5, "shape"): "allowed is one of round"}),
    ("sawn", 8, {}),
    ("mixed", 7, {(7, "bar_length"): "write 3ft 25in or 3ft 0.25in", (8, "quantity"): "can't be read as a count"}),
])
def test_jobs_as_shops_write_them_are_planned_or_refused_for_a_true_mistake(tmp_path, name, done, problems):
    outcome = planned(name, tmp_path)
    assert len(outcome.done) == done
    assert {(p.row, p.column) for p in outcome.problems} == set(problems)
    for problem in outcome.problems:
        assert problems[problem.row, problem.column] in problem.reason


def test_headings_with_two_meanings_are_refused_each_with_what_to_write():
    with pytest.raises(bf.InputError, match=r"Part: can mean two things.*Bar: can mean several things: write bar_length"):
        read_jobs(LISTS / "headings.csv")


def test_everyday_names_find_the_material_that_is_meant(tmp_path):
    materials = Counter(done.values["material"] for name in ("week", "sawn", "mixed")
                        for done in planned(name, tmp_path).done)
    assert materials["Stainless 303"] == 2
    assert {"Brass C36000", "Stainless 17-4PH", "Titanium Grade 5", "Steel 1018", "Stainless 316L", "Steel 12L14"} <= set(materials)


def test_a_job_that_stands_twice_is_told(tmp_path):
    path = tmp_path / "twice.csv"
    path.write_text("job,material,shape,size,part_length,cutoff_width,face_to_cutoff,grip_length,bar_length,quantity\n"
                    "A-1,303,rd,1,2,.125,.15,2.5,12 ft,100\nA-1,303,rd,1,2,.125,.15,2.5,12 ft,250\nA-1,303,rd,1,2,.125,.15,2.5,12 ft,100\n")
    (note,) = read_jobs(path).notes
    assert (note.row, note.value, note.reason) == (4, "A-1", "says the same as row 2, and is planned once more")
