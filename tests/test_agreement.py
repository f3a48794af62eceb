"""The agreement matrix is made anew and compared with the committed one; a planted fault is noticed."""

import dataclasses
import random

import agreement
import formula_cases
import pytest
from agreement import KINDS, PAGE, REFUSED, ROWS, SURFACES, Accepted, Outcome, Set

from barfuncs.catalogue.entry import CATALOGUE

libreoffice = pytest.mark.libreoffice


@pytest.fixture(scope="module")
def accepted() -> list[Accepted]:
    return agreement.accepted_differences()


@pytest.fixture(scope="module")
def outcome(accepted: list[Accepted]) -> Outcome:
    return agreement.run(tuple(CATALOGUE.values()), accepted)


@pytest.mark.slow
@libreoffice
def test_every_function_agrees_on_every_surface(outcome: Outcome) -> None:
    assert outcome.differences == []


@pytest.mark.slow
@libreoffice
def test_every_accepted_difference_occurs(outcome: Outcome, accepted: list[Accepted]) -> None:
    assert agreement.unused(outcome, accepted) == []


@pytest.mark.slow
@libreoffice
def test_the_committed_table_is_up_to_date(outcome: Outcome, accepted: list[Accepted]) -> None:
    assert PAGE.read_text("utf-8") == agreement.page(outcome, accepted), "run: python tests/agreement.py"


@pytest.mark.slow
@libreoffice
def test_thousands_of_sets_and_no_surface_left_out(outcome: Outcome) -> None:
    assert sum(n for (_, surface), n in outcome.compared.items() if surface == "python") > 4000
    for e in CATALOGUE.values():
        sets = outcome.compared[e.name, "python"]
        assert 20 <= outcome.refused[e.name] <= sets - 20, e.name
        for surface in SURFACES:
            ranges = ROWS if e.result.reader != "table" else 0
            wanted = sets if surface in ("xlwings", "addin") else sets - ranges if e.formula else 0
            assert outcome.compared[e.name, surface] == wanted, (e.name, surface)


def test_accepted_differences_are_told_whole(accepted: list[Accepted]) -> None:
    assert len({(a.surface, a.kind, a.shows) for a in accepted}) == len(accepted)
    for a in accepted:
        assert a.surface in SURFACES
        assert a.kind in KINDS
        assert a.shows in ("number", REFUSED)
        assert len(a.reason) > 20
        assert a.preferred


def test_sets_are_the_same_every_time() -> None:
    entry = CATALOGUE["bar_weight"]
    first = agreement.sets_of(entry)
    random.seed(7)
    assert agreement.sets_of(entry) == first


# --- the matrix is alive -------------------------------------------------------------------------------------------


def test_a_wrong_formula_is_noticed(monkeypatch: pytest.MonkeyPatch, accepted: list[Accepted]) -> None:
    entry = CATALOGUE["parts_left"]
    wrong = dataclasses.replace(entry, formula=entry.formula.replace("min_remnant", "0.999*min_remnant"))
    monkeypatch.setitem(CATALOGUE, entry.name, wrong)
    found = agreement.run([wrong], accepted, ["names", "native"]).differences
    assert any(line.startswith("names, good: parts_left") for line in found)
    assert any(line.startswith("native, good: parts_left") for line in found)


def test_a_formula_without_its_guard_is_noticed(monkeypatch: pytest.MonkeyPatch, accepted: list[Accepted]) -> None:
    entry = CATALOGUE["bar_per_part"]
    monkeypatch.setattr(formula_cases, "cell_formula", lambda entry, refs: "+".join(refs[a.name] for a in entry.arguments))
    found = agreement.run([entry], accepted, ["native"]).differences
    assert any(line.startswith("native, bad: bar_per_part") for line in found)


def test_a_wrong_result_through_xlwings_is_noticed(monkeypatch: pytest.MonkeyPatch, accepted: list[Accepted]) -> None:
    from barfuncs.surfaces import cells

    monkeypatch.setattr(cells, "EXCEL", dataclasses.replace(cells.EXCEL, number=lambda value: float(value) * (1 + 1e-11)))
    found = agreement.run([CATALOGUE["bar_per_part"]], accepted, ["xlwings"]).differences
    assert {line.split(":")[0] for line in found} == {"xlwings, good", "xlwings, text", "xlwings, zero", "xlwings, range"}


@pytest.mark.parametrize("surface", SURFACES)
@pytest.mark.parametrize("fault", ["a value off by 1e-11", "an error for a number", "a number for an error"])
def test_one_wrong_value_among_all_is_noticed(surface: str, fault: str, accepted: list[Accepted]) -> None:
    sets = [s for s in agreement.sets_of(CATALOGUE["remnant_length"]) if s.kind in ("good", "bad")]
    shown = [agreement.python_result(s.case) for s in sets]
    refused = fault.startswith("a number")
    n = next(n for n, s in enumerate(sets) if (shown[n] == REFUSED) == refused and (refused or shown[n] > 0.5 * s.case.values[0]))
    shown[n] = 1.0 if refused else REFUSED if fault.startswith("an error") else shown[n] * (1 + 1e-11)
    outcome = Outcome()
    agreement.compare(outcome, surface, sets, shown, accepted)
    assert len(outcome.differences) == 1
    assert str(sets[n].case) in outcome.differences[0]


def test_an_accepted_difference_that_no_longer_occurs_is_noticed() -> None:
    gone = Accepted("names", "good", REFUSED, "it was so once upon a time", "Python")
    outcome = Outcome()
    item: Set = agreement.sets_of(CATALOGUE["stickout_ratio"])[0]
    agreement.compare(outcome, "names", [item], [agreement.python_result(item.case)], [gone])
    assert outcome.differences == []
    assert agreement.unused(outcome, [gone]) == ["accepted, but does not occur: names, good, shows refused"]
