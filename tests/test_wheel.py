"""What is handed out: the source distribution and the wheel that is built from it. Both hold all there is, and run."""

import email
import os
import shutil
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from dataclasses import dataclass
from pathlib import Path

import pytest

import barfuncs

ROOT = Path(__file__).parent.parent
pytestmark = pytest.mark.slow
NOT_SOURCE = shutil.ignore_patterns(".git", ".venv", "build", "dist", "*.egg-info", ".*cache", "__pycache__", ".hypothesis", "plans")
QUICK_PART = ("tests/test_published_values.py", "tests/test_remembered_values.py", "tests/test_cli.py::test_plan",
              "tests/test_cli.py::test_the_examples_of_the_readme", "tests/test_function_tour.py::test_links_of_the_pages_lead_somewhere",
              "tests/test_function_tour.py::test_the_page_shows_the_guard_of_the_tour", "barfuncs/functions")
"""Tests that read the examples, README, built templates and the package itself."""


@dataclass(frozen=True)
class Built:
    source: Path
    sdist: Path
    wheel: Path

    def files(self, folder: str = "") -> set[str]:
        """What the source holds."""
        return {path.relative_to(self.source).as_posix() for path in (self.source / folder).rglob("*") if path.is_file()}


@pytest.fixture(scope="module")
def built(tmp_path_factory) -> Built:
    folder = tmp_path_factory.mktemp("built")
    shutil.copytree(ROOT, folder / "source", ignore=NOT_SOURCE)
    shutil.copytree(folder / "source", folder / "used")  # building leaves files behind
    subprocess.run([sys.executable, "-m", "build", "--outdir", str(folder / "dist"), str(folder / "used")], check=True,
                   capture_output=True)
    return Built(folder / "source", next((folder / "dist").glob("*.tar.gz")), next((folder / "dist").glob("*.whl")))


def test_the_wheel_holds_every_file_of_the_package_and_no_other(built):
    names = set(zipfile.ZipFile(built.wheel).namelist())
    info = {name for name in names if name.split("/")[0].endswith(".dist-info")}
    assert names - info == built.files("barfuncs")
    assert {"barfuncs/py.typed", "barfuncs/__init__.pyi", "barfuncs/catalogue/materials.csv"} <= names


def test_the_source_distribution_holds_every_file_and_no_other(built):
    with tarfile.open(built.sdist) as archive:
        names = {name.partition("/")[2] for name in archive.getnames() if archive.getmember(name).isfile()}
    made = {name for name in names if name in ("PKG-INFO", "setup.cfg") or name.startswith("barfuncs.egg-info/")}
    assert names - made == built.files()
    assert {"tests/test_wheel.py", "tests/shop_lists/week.csv", "examples/jobs.csv", "workbook_templates/quote.xlsx", ".ci/run"} <= names


def test_the_version_is_said_once(built):
    project = tomllib.loads((built.source / "pyproject.toml").read_text("utf-8"))["project"]
    assert "version" not in project
    with zipfile.ZipFile(built.wheel) as archive:
        name = next(name for name in archive.namelist() if name.endswith(".dist-info/METADATA"))
        metadata = email.message_from_bytes(archive.read(name))
    assert metadata["Version"] == barfuncs.__version__
    assert built.sdist.name == f"barfuncs-{barfuncs.__version__}.tar.gz"


def test_the_source_distribution_runs_its_own_tests(built, tmp_path):
    with tarfile.open(built.sdist) as archive:
        archive.extractall(tmp_path, filter="data")
    unpacked = next(tmp_path.iterdir())
    environment = {**os.environ, "PYTHONPATH": str(unpacked)}
    where = subprocess.run([sys.executable, "-c", "import barfuncs; print(barfuncs.__file__)"], capture_output=True, encoding="utf-8",
                           cwd=unpacked, env=environment, check=True)
    assert Path(where.stdout.strip()) == unpacked / "barfuncs" / "__init__.py"
    done = subprocess.run([sys.executable, "-m", "pytest", "-q", *QUICK_PART], capture_output=True, encoding="utf-8", cwd=unpacked,
                          env=environment, check=False)
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-1000:]
    assert int(done.stdout.split(" passed")[0].split()[-1]) > 100


def test_the_wheel_in_an_empty_environment_runs_the_main_job(built, tmp_path):
    subprocess.run([sys.executable, "-m", "venv", str(tmp_path / "env")], check=True)
    bin_folder = tmp_path / "env" / ("Scripts" if sys.platform == "win32" else "bin")
    subprocess.run([str(bin_folder / "python"), "-m", "pip", "install", "-q", str(built.wheel)], check=True, capture_output=True)
    done = subprocess.run([str(bin_folder / "barfuncs"), "plan", str(ROOT / "examples" / "jobs.csv"), "--out",
                           str(tmp_path / "plans")], capture_output=True, encoding="utf-8", cwd=tmp_path, check=False)
    assert done.returncode == 0, done.stderr
    assert "32 of 32 jobs planned" in done.stdout
