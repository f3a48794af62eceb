"""The test run itself where a program is missing: counted out loud, or a failure where all of them are asked for."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from conftest import BESIDE, PROGRAMS

TESTS = Path(__file__).parent
NEEDS = {"libreoffice": "test_shop.py::test_a_file_saved_by_libreoffice_reads_the_same",
         "gnumeric": "test_judges.py::test_a_wrong_stored_value_is_found[Gnumeric-another error]",
         "distributed": "test_workers.py::test_a_cluster_makes_the_same_of_a_list",
         "ortools": "test_buying_proofs.py::test_other_solvers[0-cpsat]",
         "instances": "test_buying_proofs.py::test_public_instances_are_proved[0]"}
"""A test that needs each program."""


def run(tmp_path: Path, *tests: str, **variables: str) -> subprocess.CompletedProcess[str]:
    """These tests where no program is on the PATH, no cluster and no other solver among the packages, and nothing beside the project."""
    (tmp_path / "sitecustomize.py").write_text("import sys\nsys.modules['distributed'] = sys.modules['ortools'] = None\n")
    variables["PYTHONPATH"] = os.pathsep.join(filter(None, (str(tmp_path), os.environ.get("PYTHONPATH"))))
    kept = {name: value for name, value in os.environ.items() if name not in ("BARFUNCS_ALL_PROGRAMS", "PYTEST_ADDOPTS")}
    return subprocess.run([sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *(str(TESTS / test) for test in tests)],
                          cwd=TESTS.parent, env={**kept, "PATH": str(tmp_path), "BARFUNCS_INSTANCES": str(tmp_path), **variables}, capture_output=True, text=True, check=False)


@pytest.mark.slow
def test_what_is_skipped_is_counted_out_loud(tmp_path: Path) -> None:
    done = run(tmp_path, *NEEDS.values(), "test_shop.py::test_a_missing_sheet_or_column_is_named")
    assert done.returncode == 0, done.stdout + done.stderr
    end = done.stdout[done.stdout.index("NOT TESTED HERE"):]
    for marker in NEEDS:
        assert f"1 test skipped: {PROGRAMS[marker][0]} not found" in end
    assert f"1 passed, {len(NEEDS)} skipped" in done.stdout.splitlines()[-1]


@pytest.mark.slow
@pytest.mark.parametrize("marker", sorted(NEEDS.keys() - BESIDE))
def test_where_all_programs_are_asked_for_a_missing_one_is_a_failure(tmp_path: Path, marker: str) -> None:
    done = run(tmp_path, NEEDS[marker], BARFUNCS_ALL_PROGRAMS="1")
    assert done.returncode == 1
    assert f"{PROGRAMS[marker][0]} not found, and BARFUNCS_ALL_PROGRAMS=1 asks for it" in done.stdout
    assert "1 error" in done.stdout.splitlines()[-1]


def test_every_program_has_its_marker_and_a_test_here(pytestconfig: pytest.Config) -> None:
    assert PROGRAMS.keys() == NEEDS.keys()
    assert set(PROGRAMS) <= {line.partition(":")[0] for line in pytestconfig.getini("markers")}


def test_the_map_of_the_tests_names_every_file_once() -> None:
    guide = (TESTS.parent / "DEVELOPERS.md").read_text("utf-8")
    rows = guide.partition("| tests, `tests/test_....py` |")[2].partition("\n\n")[0].splitlines()[2:]
    named = [name for row in rows for name in re.findall(r"`(\w+)`", row.split("|")[1])]
    assert sorted(named) == sorted(path.stem.removeprefix("test_") for path in TESTS.glob("test_*.py"))
