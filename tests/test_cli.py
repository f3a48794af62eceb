"""The command line, as a person types it."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


def run(*arguments: str, cwd: Path | None = None) -> subprocess.CompletedProcess:
    return subprocess.run([sys.executable, "-m", "barfuncs", *arguments], capture_output=True, encoding="utf-8", cwd=cwd,
                          check=False)


def test_plan(tmp_path):
    done = run("plan", str(ROOT / "examples" / "jobs.csv"), "--out", str(tmp_path / "plans"))
    assert done.returncode == 0, done.stdout + done.stderr
    assert "32 of 32 jobs planned" in done.stdout
    assert done.stderr == ""
    assert "! LOOK" in done.stdout
    assert "Unexpected" not in done.stdout
    assert max(len(line) for line in done.stdout.splitlines()) <= 80
    assert len(list((tmp_path / "plans").glob("*.xlsx"))) == 33
    again = run("plan", str(ROOT / "examples" / "jobs.csv"), "--out", str(tmp_path / "plans"))
    assert again.returncode == 1
    assert "--replace" in again.stdout
    assert run("plan", str(ROOT / "examples" / "jobs.csv"), "--out", str(tmp_path / "plans"), "--replace").returncode == 0


def test_plan_with_mistakes(tmp_path):
    done = run("plan", str(ROOT / "examples" / "jobs_with_mistakes.csv"), "--out", str(tmp_path))
    assert done.returncode == 1
    assert "3 of 8 jobs planned" in done.stdout
    assert "5 of 8 rows in jobs_with_mistakes.csv have problems" in done.stdout
    assert max(len(line) for line in done.stdout.splitlines()) <= 80


@pytest.mark.parametrize(("arguments", "printed"), [
    (["parts_per_bar", "12 ft", "2.25", "0.125", "3"], "59"),
    (["PARTS_PER_BAR", "3.66 m", "57.15", "3.175", "76.2", "--units", "mm"], "59"),
    (["feed_per_part", "2 1/4", "0.125"], "2.375 in"),
    (["bar_weight", "7.85 g/cm3", "round", "50", "1000", "--units", "mm"], "15.41343896 kg"),
    (["length_in", "1 3/8 in", "mm"], "34.925 mm"),
    (["feed_per_part", "--units", "mm", "1 in", "3", "0.2"], "28.6 mm"),
    (["bar_weight", "Brass C36000", "hexagon", "19", "3000", "", "mm"], "7.972196855 kg"),
    (["starts_for_quantity", "1000", "scrap_rate=3%"], "1,031"),
    (["length_in", "12' 6-1/2\"", "in"], "150.5 in"),
    (["price_breaks", "100,1000", "59", "34.8", "45", "30", "1.5", "80", "margin=0.2"], "363.00"),
])
def test_calc(arguments, printed):
    done = run("calc", *arguments)
    assert done.returncode == 0, done.stderr
    assert printed in done.stdout


def test_price_breaks_are_a_table_with_whole_lines():
    done = run("calc", "price_breaks", "100,1000,25000", "59", "34.8", "45", "30", "1.5", "80", "markup=25%",
               "rounding=nearest 0.0001")
    lines = done.stdout.splitlines()
    assert lines[2].split() == ["quantity", "bars", "material", "machine", "setup", "other", "each", "each", "total",
                                "quantity", "price"]
    assert lines[3].split() == ["100", "2", "69.60", "100.67", "120.00", "0.00", "2.9027", "3.6283", "362.83", "118", "3.2655"]
    assert lines[5].split()[8] == "50,197.50"
    assert len(lines) == 6
    assert max(map(len, lines)) <= 96


@pytest.mark.parametrize(("arguments", "said"), [
    (["calc", "parts_per_bar", "12 ft", "0", "x"], "part_length"),
    (["calc", "part_per_bar", "1"], "did you mean 'parts_per_bar'"),
    (["calc", "feed_per_part", "1", "2", "3", "4", "5"], "takes 3 arguments"),
    (["plan", "none.csv", "--out", "x"], "does not exist"),
    (["functions", "--group", "nothing"], "allowed is one of"),
])
def test_mistakes_are_said_and_exit_with_a_status(arguments, said):
    done = run(*arguments)
    assert done.returncode in (1, 2)
    assert said in done.stderr
    assert "Traceback" not in done.stderr


def test_recalc(tmp_path):
    assert run("templates", str(tmp_path)).returncode == 0
    book = tmp_path / "job_plan.xlsx"
    empty = book.read_bytes()
    done = run("recalc", str(book))
    assert done.returncode == 0
    assert "plan_parts_per_bar" in done.stdout
    assert book.read_bytes() == empty
    assert run("recalc", str(book), "--write").returncode == 0
    assert book.read_bytes() != empty
    out = tmp_path / "copy.xlsx"
    assert run("recalc", str(book), "--out", str(out)).returncode == 0
    refused = run("recalc", str(book), "--out", str(out))
    assert refused.returncode == 1
    assert "use --replace" in refused.stderr
    (tmp_path / "bad.xlsx").write_bytes(b"x")
    assert "is not an xlsx workbook" in run("recalc", str(tmp_path / "bad.xlsx")).stderr


def test_templates_are_not_overwritten(tmp_path):
    assert run("templates", str(tmp_path)).returncode == 0
    assert sorted(p.name for p in tmp_path.iterdir()) == ["functions.xlsx", "job_plan.xlsx", "jobs.csv", "shop.xlsx"]
    refused = run("templates", str(tmp_path))
    assert refused.returncode == 1
    assert "exists already" in refused.stderr
    header = (tmp_path / "jobs.csv").read_text().strip().split(",")
    assert {"job", "part_length", "stop_bars"} <= set(header)


def test_names(tmp_path):
    assert run("templates", str(tmp_path)).returncode == 0
    book, copy = tmp_path / "job_plan.xlsx", tmp_path / "copy.xlsx"
    before = book.read_bytes()
    done = run("names", str(book), "--out", str(copy))
    assert done.returncode == 0
    assert "functions are names in" in done.stdout
    assert book.read_bytes() == before
    refused = run("names", str(book), "--out", str(copy))
    assert refused.returncode == 1
    assert "use --replace" in refused.stderr
    assert run("names", str(book)).returncode == 0
    assert run("recalc", str(book)).returncode == 0
    copy.write_bytes(b"x")
    refused = run("names", str(copy))
    assert refused.returncode == 1
    assert "is not an xlsx workbook" in refused.stderr
    assert copy.read_bytes() == b"x"


def test_functions_lists_every_function():
    import barfuncs

    done = run("functions")
    assert all(f"{name}(" in done.stdout for name in barfuncs.CATALOGUE)
    assert max(len(line) for line in done.stdout.splitlines()) <= 80


def test_materials_of_ones_own(tmp_path):
    own = tmp_path / "own.csv"
    own.write_text("name,density_g_cm3\nShop bronze,8.1\n")
    done = run("calc", "material_density", "shop bronze", "--units", "mm", "--materials", str(own))
    assert done.stdout.strip() == "8.1 g/cm3"
    own.write_text("name,density_g_cm3\nShop bronze,heavy\n")
    done = run("calc", "material_density", "shop bronze", "--materials", str(own))
    assert done.returncode == 1
    assert "line 2, density_g_cm3" in done.stderr


def test_the_wheel_in_an_empty_environment_runs_the_main_job(tmp_path):
    source = tmp_path / "source"
    shutil.copytree(ROOT, source, ignore=shutil.ignore_patterns(".git", ".venv", "build", "*.egg-info", ".*cache", "plans"))
    subprocess.run([sys.executable, "-m", "build", "--wheel", "--outdir", str(tmp_path / "dist"), str(source)], check=True,
                   capture_output=True)
    wheel = next((tmp_path / "dist").glob("*.whl"))
    subprocess.run([sys.executable, "-m", "venv", str(tmp_path / "env")], check=True)
    bin_folder = tmp_path / "env" / ("Scripts" if sys.platform == "win32" else "bin")
    subprocess.run([str(bin_folder / "python"), "-m", "pip", "install", "-q", str(wheel)], check=True, capture_output=True)
    done = subprocess.run([str(bin_folder / "barfuncs"), "plan", str(ROOT / "examples" / "jobs.csv"), "--out",
                           str(tmp_path / "plans")], capture_output=True, encoding="utf-8", cwd=tmp_path, check=False)
    assert done.returncode == 0, done.stderr
    assert "32 of 32 jobs planned" in done.stdout


def test_the_examples_of_the_readme():
    import doctest

    failed, tried = doctest.testfile(str(ROOT / "README.md"), module_relative=False)
    assert tried >= 8
    assert failed == 0
