"""The function tour and the reference page: every function, its example right, and a total that tells."""

import io
import re
from pathlib import Path

import click.testing
import openpyxl
import pytest
from calc_office import Office

from barfuncs.catalogue.entry import CATALOGUE
from barfuncs.cli.main import main
from barfuncs.surfaces import function_tour, reference
from barfuncs.surfaces.examples import example, result_shown
from barfuncs.xlsx.engine import Workbook
from barfuncs.xlsx.sheetxml import CellError

TEMPLATES = Path(__file__).parents[1] / "workbook_templates"
NAMES = {e.cell_name for e in CATALOGUE.values()}


def sheet(name: str = "Tour", values: bool = True):
    return openpyxl.load_workbook(io.BytesIO(function_tour.build()), data_only=values)[name]


def about(result, rel):
    """A number to so many digits, a text as it is."""
    return result if isinstance(result, str) else pytest.approx(result, rel=rel)


def function_rows() -> dict[str, int]:
    return {row[0].value: row[0].row for row in sheet().iter_rows(min_col=2, max_col=2) if row[0].value in NAMES}


def test_the_file_holds_every_function_with_its_value_stored():
    rows, tour = function_rows(), sheet()
    assert set(rows) == NAMES
    for entry in CATALOGUE.values():
        row = rows[entry.cell_name]
        below = [tour.cell(row + n, 2).value for n in range(1, len(entry.arguments) + 1)]
        assert below == [a.name for a in entry.arguments]
        assert tour[f"D{row}"].value == example(entry).call
        assert tour[f"G{row}"].value == about(example(entry).result, 1e-14)
        if entry.formula is None:
            assert (tour[f"F{row}"].value, tour[f"H{row}"].value) == (function_tour.NEEDS_ADD_IN,) * 2
        else:
            assert tour[f"F{row}"].value == about(example(entry).result, 1e-12)
            assert tour[f"H{row}"].value == "✓ right"
    missing = sum(e.formula is None for e in CATALOGUE.values())
    assert tour["B6"].value == f"{len(NAMES) - missing} of {len(NAMES)} examples are right, {missing} need an add-in, 0 differ"


def test_a_wrong_value_is_marked():
    book = Workbook(function_tour.build())
    row, text = function_rows()["PARTS_PER_BAR"], function_rows()["FIRST_STOP"]
    book.set(f"G{row}", 60.0)
    book.calculate()
    assert book.value(f"H{row}") == "✗ differs"
    assert book.value(f"H{text}") == "✓ right"
    book.set(f"G{row}", 59.0)
    book.set(f"G{text}", "tool edges")
    book.calculate()
    assert book.value(f"H{text}") == "✗ differs"
    assert str(book.value("B6")).endswith("1 differ")


def test_a_guarded_total_shows_what_a_plain_one_skips():
    book = Workbook(function_tour.build())
    assert str(book.value("Totals!E10")).startswith("#VALUE! size: -1.5 given")
    good = [book.value(f"Totals!E{row}") for row in (7, 8, 9, 11)]
    assert book.value("Totals!E13") == pytest.approx(sum(good))
    assert isinstance(book.value("Totals!E14"), CellError)
    assert book.value("Totals!E15") == "✗ 1 of 5 rows are no number: look above"
    book.set("Totals!C10", 1.5)
    book.calculate()
    assert book.value("Totals!E14") == book.value("Totals!E13") > sum(good)
    assert book.value("Totals!E15") == "✓ all rows are numbers"


@pytest.mark.slow
@pytest.mark.libreoffice
def test_every_example_is_right_with_the_add_in(tmp_path):
    """The names of the workbook, which LibreOffice can't calculate, don't stand in the add-in's way."""
    (tmp_path / "tour.xlsx").write_bytes(function_tour.build())
    rows = list(function_rows().values())
    with Office() as office:
        office.do("open", url=(tmp_path / "tour.xlsx").as_uri())
        office.do("calculate")
        assert office.do("read", names=[f"H{row}" for row in rows]) == ["✓ right"] * len(NAMES)
        assert office.do("read", names=["E14", "E15"], sheet=1) == [{"error": 32767}, "✗ 1 of 5 rows are no number: look above"]
        assert not office.do("modified")


# --- the reference page --------------------------------------------------------------------------------------------


def test_the_committed_page_is_up_to_date():
    assert (TEMPLATES / "REFERENCE.md").read_text("utf-8") == reference.page()


def test_the_page_has_every_function_and_argument():
    page = reference.page()
    for entry in CATALOGUE.values():
        part = page.split(f"\n### {entry.name}\n")[1].split("\n### ")[0]
        assert entry.summary in part
        assert f"`={example(entry).call}` gives {result_shown(example(entry))}\n" in part
        assert [line.split(" | ")[0].strip("| ") for line in part.splitlines() if line.startswith("| ")][1:] == [
            a.name for a in entry.arguments]
        assert part.count("\nRule: ") == len(entry.rules)
    assert "### why" in page


def test_reference_on_the_command_line(tmp_path):
    run = click.testing.CliRunner().invoke
    assert run(main, ["reference"]).output == reference.page()
    path = tmp_path / "page.md"
    assert run(main, ["reference", "--out", str(path)]).exit_code == 0
    assert path.read_text("utf-8") == reference.page()
    again = run(main, ["reference", "--out", str(path)])
    assert again.exit_code == 1
    assert "exists already; use --replace" in again.output


# --- the page about spreadsheet programs ---------------------------------------------------------------------------


def test_links_of_the_pages_lead_somewhere():
    for page in ("SPREADSHEETS.md", "REFERENCE.md"):
        text = (TEMPLATES / page).read_text("utf-8")
        links = re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", text)
        assert links
        assert [link for link in links if not (TEMPLATES / link).is_file()] == []


def test_the_page_shows_the_guard_of_the_tour():
    tour = sheet("Totals", values=False)
    guard = tour["E14"].value.replace("E7:E11", "A1:A9")
    assert guard in (TEMPLATES / "SPREADSHEETS.md").read_text("utf-8")
    assert guard in (TEMPLATES.parent / "README.md").read_text("utf-8")
