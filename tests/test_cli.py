"""The command line, as a person types it."""

import csv
import os
import signal
import subprocess
import sys
from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner

import barfuncs
from barfuncs.cli import progress
from barfuncs.cli.main import main
from barfuncs.filling import folder, lists
from barfuncs.surfaces.ready_made import READY_MADE
from barfuncs.templates import shop
from barfuncs.xlsx.package import pack, read_parts

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
    assert again.returncode == 0
    assert "0 of 32 jobs planned" in again.stdout
    assert "32 were there already, unchanged" in " ".join(again.stdout.split())
    (tmp_path / "shop.xlsx").write_bytes(shop.build())
    other = run("plan", str(ROOT / "examples" / "jobs.csv"), "--out", str(tmp_path / "plans"), "--shop", str(tmp_path / "shop.xlsx"))
    assert other.returncode == 1
    assert "--replace" in other.stdout


def _but_progress(text: str) -> list[str]:
    """What stands there beside how far a run is, which a slow machine says."""
    return [line for line in text.splitlines() if " rows after " not in line]


@pytest.mark.slow
def test_which_checks_ask_for_a_second_look_is_said_with_their_rows(tmp_path):
    """And which say stop; a long list of rows is cut."""
    book = "material,size,part_length,cutoff_width,face_to_cutoff,grip_length,bar_length,quantity,job,feeder_longest_bar,scrap_rate\n"
    rows = [f"303,1,2,.125,.25,2.5,144,1000,J{n},{120 if n == 3 else 150},40%" for n in range(1, 10)]
    (tmp_path / "list.csv").write_text(book + "\n".join(rows))
    done = CliRunner().invoke(main, ["plan", str(tmp_path / "list.csv"), "--out", str(tmp_path / "out")])
    with (tmp_path / "out" / "results.csv").open(encoding="utf-8-sig", newline="") as file:
        listed = list(csv.DictReader(file))
    assert [line["checks_stop"] for line in listed] == ["", "", "Feeder", *[""] * 6]
    said = {line.split(": row")[0]: line for line in done.output.splitlines() if ": row" in line}
    assert said.pop("\u2715 STOP  Feeder") == "\u2715 STOP  Feeder: row 4"
    topics = {topic for line in listed for topic in line["checks_look"].split(", ") if topic}
    assert topics
    assert said == {f"! LOOK  {topic}": f"! LOOK  {topic}: rows 2, 3, 4, 5, 6, 7 and 3 more" for topic in topics}
    for line in listed:
        with_marks = openpyxl.load_workbook(tmp_path / "out" / line["file"], data_only=True)
        words = [with_marks["Notes"][f"B{row}"].value for row in range(1, with_marks["Notes"].max_row + 1)]
        assert (words.count("! LOOK"), words.count("\u2715 STOP")) == (len(line["checks_look"].split(", ")), bool(line["checks_stop"]))


def test_plan_with_two_processes_goes_on_where_it_stopped(tmp_path):
    command = ["plan", str(ROOT / "examples" / "jobs.csv"), "--out", str(tmp_path / "plans")]
    done = run(*command, "--jobs", "2")
    assert (done.returncode, _but_progress(done.stderr)) == (0, [])
    assert "32 of 32 jobs planned" in done.stdout
    for path in sorted((tmp_path / "plans").glob("26-*.xlsx"))[3:5]:
        path.unlink()
    again = run(*command, "--resume", "--jobs", "2")
    assert (again.returncode, _but_progress(again.stderr)) == (0, [])
    assert "2 of 32 jobs planned" in again.stdout
    assert "30 were there already, unchanged" in " ".join(again.stdout.split())
    assert len(list((tmp_path / "plans").glob("26-*.xlsx"))) == 32


def test_a_long_run_into_a_file_says_how_far_it_is(tmp_path, monkeypatch):
    for name in ("SECONDS", "_SHARE"):
        monkeypatch.setattr(progress, name, 0.0)
    done = CliRunner().invoke(main, ["plan", str(ROOT / "examples" / "jobs.csv"), "--out", str(tmp_path)])
    lines = done.stderr.splitlines()
    assert [line.partition(" rows")[0] for line in lines] == [f"barfuncs: {n} of 32" for n in range(1, 32)]
    assert "rows after" not in done.stdout


@pytest.mark.slow
def test_plan_with_mistakes(tmp_path):
    done = run("plan", str(ROOT / "examples" / "jobs_with_mistakes.csv"), "--out", str(tmp_path))
    assert done.returncode == 1
    assert "3 of 8 jobs planned" in done.stdout
    assert "5 of 8 rows in jobs_with_mistakes.csv have problems" in done.stdout
    assert max(len(line) for line in done.stdout.splitlines()) <= 80


@pytest.mark.parametrize(("arguments", "printed"), [
    (["parts_per_bar", "12 ft", "2.25", "0.125", "3"], "59"),
    (["PARTS_PER_BAR", "3.66 m", "57.15", "3.175", "76.2", "--units", "mm"], "59"),
    (["bar_per_part", "2 1/4", "0.125"], "2.375 in"),
    (["bar_weight", "7.85 g/cm3", "round", "50", "1000", "--units", "mm"], "15.41343896 kg"),
    (["length_in", "1 3/8 in", "mm"], "34.925 mm"),
    (["bar_per_part", "--units", "mm", "1 in", "3", "0.2"], "28.6 mm"),
    (["bar_weight", "Brass C36000", "hexagon", "19", "3000", "", "mm"], "7.972196855 kg"),
    (["parts_to_make", "1000", "scrap_rate=3%"], "1,031"),
    (["length_in", "12' 6-1/2\"", "in"], "150.5 in"),
    (["price_breaks", "100 1000", "59", "34.8", "45", "30", "1.5", "80", "margin=0.2"], "363.00"),
    (["price_breaks", "quantities=1,000", "parts_per_bar=59", "bar_cost=34.8", "cycle_time=45", "bar_change_time=30",
      "setup_hours=1.5", "machine_rate=80"], "bars                      17"),
    (["price_breaks", "100,1000", "59", "34.8", "45", "30", "1.5", "80", "margin=0.2"], "363.00"),
])
def test_calc(arguments, printed):
    done = run("calc", *arguments)
    assert done.returncode == 0, done.stderr
    assert printed in done.stdout


def test_price_breaks_are_a_table_with_a_column_for_each_quantity():
    done = run("calc", "price_breaks", "100,1000,25000", "59", "34.8", "45", "30", "1.5", "80", "markup=25%",
               "rounding=nearest 0.0001")
    lines = done.stdout.splitlines()
    assert len(lines) == 11
    assert lines[0].split() == ["quantity", "100", "1,000", "25,000"]
    assert lines[7].split() == ["price", "each", "3.6283", "2.1528", "2.0079"]
    assert lines[8].split()[-1] == "50,197.50"


@pytest.mark.slow
@pytest.mark.parametrize(("arguments", "said"), [
    (["calc", "parts_per_bar", "12 ft", "0", "x"], "part_length"),
    (["calc", "part_per_bar", "1"], "did you mean 'parts_per_bar'"),
    (["calc", "bar_per_part", "1", "2", "3", "4", "5"], "takes 3 arguments"),
    (["plan", "none.csv", "--out", "x"], "does not exist"),
    (["plan", "examples/jobs.csv", "--out", "x", "--jobs", "0"], "Invalid value for '--jobs': 0 is not in the range x>=1"),
    (["functions", "--group", "nothing"], "allowed is one of"),
    (["functions", "--group", ""], "allowed is one of"),
    (["calc", "price_breaks", "1,500", "59", "34.8", "45", "30", "1.5", "80"],
     "quantities: '1,500' may be one quantity or 2; write 1500, or 1;500"),
    (["calc", "bar_per_part", "1", "2", "facing=1", "facing=2"], "facing: is given twice"),
    (["calc", "bar_per_part", "1", "2", "3", "facing=2"], "got 'facing' twice"),
    (["calc", "bar_per_part", "1", "2", "facng=2"], "facng: is not an argument; it takes part_length, cutoff_width, facing"),
    (["calc", "length_in", "units"], "text: 'units' can't be read as a length"),
    (["plan", "README.md", "--out", ""], "Invalid value for '--out': a name is needed"),
    (["recalc", "workbook_templates/job_plan.xlsx", "--out", " "], "Invalid value for '--out': a name is needed"),
    (["recalc", "workbook_templates/job_plan.xlsx", "--write", "--out", "x.xlsx"], "give either --write or --out"),
    (["names", "workbook_templates/job_plan.xlsx"], "give a new file, or --replace to change the workbook itself"),
    (["templates", ""], "a name is needed"),
])
def test_mistakes_are_said_and_exit_with_a_status(arguments, said):
    done = run(*arguments, cwd=ROOT)
    assert done.returncode in (1, 2)
    assert said in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.slow
def test_calc_reads_rows_from_a_text_or_a_csv(tmp_path):
    (tmp_path / "part.csv").write_text("shape,length,size,bore\nround,3/4,1/2,1/4\nhex,3/8,3/4,\n", "utf-8")
    (tmp_path / "quantities.csv").write_text("100\n1000\n", "utf-8")
    for sections in ("round 1/2 x 3/4 bore 1/4; hex 3/4 x 3/8", f"@{tmp_path / 'part.csv'}", f"sections=@{tmp_path / 'part.csv'}"):
        assert run("calc", "part_volume", sections).stdout == "0.2931238503 in3\n"
    assert run("calc", "finished_weight", f"@{tmp_path / 'part.csv'}", "303", "--units", "in").stdout.endswith(" lb\n")
    rest = ("59", "34.8", "45", "30", "1.5", "80")
    assert run("calc", "price_breaks", f"@{tmp_path / 'quantities.csv'}", *rest).stdout == run("calc", "price_breaks", "100 1000", *rest).stdout
    (tmp_path / "part.csv").write_text("shape,length,size,bore\nround,3/4,1/2,1/2\noval,3/8,3/4,\n", "utf-8")
    refused = run("calc", "part_volume", f"@{tmp_path / 'part.csv'}")
    assert refused.returncode == 1
    assert "sections: row 3, shape: 'oval' given" in refused.stderr
    assert "No such file" in run("calc", "part_volume", "@nothing.csv").stderr


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


def workbook(path: Path, **cells: object) -> Path:
    book = openpyxl.Workbook()
    for ref, value in cells.items():
        book.active[ref] = value
    book.save(path)
    return path


def test_recalc_tells_errors_from_what_is_not_known(tmp_path):
    done = run("recalc", str(workbook(tmp_path / "a.xlsx", A1="=NA()", A2="=1+1")))
    assert done.returncode == 0
    assert "2 formulas calculated, 1 not known (#N/A), 0 errors" in done.stdout
    done = run("recalc", str(workbook(tmp_path / "b.xlsx", A1="=NA()", A2="=1/0", A3="=A4", A4="=A3")))
    assert done.returncode == 1
    assert "4 formulas calculated, 1 not known (#N/A), 3 errors" in done.stdout
    assert "  Sheet!A2: #DIV/0!\n" in done.stdout
    assert "  Sheet!A3: #CIRC! (the formula refers back to itself)\n" in done.stdout
    done = run("recalc", str(workbook(tmp_path / "c.xlsx", **{f"A{n}": "=1/0" for n in range(1, 15)})))
    assert "  ... and 4 more" in done.stdout


def test_recalc_survives_a_workbook_that_ends_the_engine(tmp_path):
    for formula, said in (("=" + "(" * 3000 + "1" + ")" * 3000, "has a formula nested more than 64 deep"),
                          ("=" + "1^" * 4000 + "1", "can't be calculated: the engine gave up")):
        done = run("recalc", str(workbook(tmp_path / "a.xlsx", A1=formula)))
        assert done.returncode == 1
        assert said in done.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="files have no such mode there")
def test_writing_in_place_keeps_mode_and_link(tmp_path):
    book, link = workbook(tmp_path / "a.xlsx", A1="=1+1"), tmp_path / "link.xlsx"
    book.chmod(0o600)
    link.symlink_to(book)
    for command in (["recalc", str(link), "--write"], ["names", str(link), "--replace"]):
        before = book.read_bytes()
        assert run(*command).returncode == 0
        assert link.is_symlink()
        assert (book.stat().st_mode & 0o777, book.read_bytes() != before) == (0o600, True)


def test_a_read_only_workbook_is_not_changed(tmp_path):
    book = workbook(tmp_path / "a.xlsx", A1="=1+1")
    book.chmod(0o444)
    before = book.read_bytes()
    for command in (["recalc", str(book), "--write"], ["recalc", str(book), "--out", str(book), "--replace"], ["names", str(book), "--replace"]):
        done = run(*command)
        assert (done.returncode, book.read_bytes() == before) == (1, True)
        assert "the file is read-only" in done.stderr
    book.chmod(0o644)


@pytest.mark.parametrize("part", ["xl/worksheets/sheet1.xml", "xl/styles.xml"])
def test_names_leaves_a_damaged_workbook_alone(tmp_path, part):
    book = workbook(tmp_path / "a.xlsx", A1=1)
    parts = read_parts(book)
    book.write_bytes(pack(parts | {part: parts[part][:-30]}))
    before = book.read_bytes()
    done = run("names", str(book), "--replace")
    assert done.returncode == 1
    assert f"a.xlsx is damaged: its part {part} is no good XML" in done.stderr
    assert book.read_bytes() == before


def test_names_refuses_parts_in_another_encoding(tmp_path):
    book = workbook(tmp_path / "a.xlsx", A1=1)
    parts = read_parts(book)
    text = '<?xml version="1.0" encoding="UTF-16"?>' + parts["xl/workbook.xml"].decode().partition("?>")[2] \
        if parts["xl/workbook.xml"].startswith(b"<?xml") else parts["xl/workbook.xml"].decode()
    book.write_bytes(pack(parts | {"xl/workbook.xml": text.encode("utf-16")}))
    done = run("names", str(book), "--replace")
    assert done.returncode == 1
    assert "xl/workbook.xml is not in UTF-8" in done.stderr


@pytest.mark.slow
@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
@pytest.mark.parametrize("arguments", [["plan", "examples/jobs_with_mistakes.csv"], ["functions"], ["--help"],
                                       ["calc", "bar_per_part", "1", "2"]])
def test_output_that_cannot_be_written_is_said(tmp_path, arguments):
    if arguments[0] == "plan":
        arguments = [*arguments, "--out", str(tmp_path)]
    with open("/dev/full", "w") as full:
        done = subprocess.run([sys.executable, "-m", "barfuncs", *arguments], stdout=full, stderr=subprocess.PIPE,
                              encoding="utf-8", cwd=ROOT, check=False)
    assert (done.returncode, done.stderr) == (1, "barfuncs: No space left on device\n")


@pytest.mark.slow
def test_a_terminal_without_a_character_is_no_reason_to_stop(tmp_path):
    head, first = (ROOT / "examples" / "jobs.csv").read_text("utf-8").splitlines()[:2]
    (tmp_path / "jobs.csv").write_text(f"{head}\n{first.replace('26-1001', 'Łódka')}\n", "utf-8")
    done = subprocess.run([sys.executable, "-m", "barfuncs", "plan", str(tmp_path / "jobs.csv"), "--out", str(tmp_path / "out")],
                          capture_output=True, env=os.environ | {"PYTHONIOENCODING": "ascii"}, check=False)
    assert done.returncode == 0, done.stderr
    assert b"?dka" in done.stdout


@pytest.mark.skipif(sys.platform == "win32", reason="there a process can't send itself such a signal")
@pytest.mark.parametrize(("number", "status"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_plan_interrupted(tmp_path, monkeypatch, number, status):
    class Interrupted(lists.Staged):
        count = 0

        def place(self):
            super().place()
            Interrupted.count += 1
            if Interrupted.count == 2:  # it comes within a job, which is finished
                os.kill(os.getpid(), number)

    monkeypatch.setattr(lists, "Staged", Interrupted)
    done = CliRunner().invoke(main, ["plan", str(ROOT / "examples" / "jobs.csv"), "--out", str(tmp_path)])
    assert done.exit_code == status
    assert f"interrupted; 2 of 32 jobs are written to {tmp_path}, with their results in results.csv" in done.output
    assert len(list(tmp_path.glob("26-*.xlsx"))) == 2


@pytest.mark.slow
def test_plan_waits_for_another_run_and_says_so(tmp_path):
    (tmp_path / "jobs.csv").write_text("job,units,material,size,part_length,cutoff_width,face_to_cutoff,grip_length,bar_length,quantity\n"
                                       "A,in,303,1,2,.125,.2,2,144,100\n")
    with folder.held(tmp_path / "out"):
        second = subprocess.Popen([sys.executable, "-m", "barfuncs", "plan", str(tmp_path / "jobs.csv"), "--out", str(tmp_path / "out")],
                                  stdout=subprocess.PIPE, stderr=subprocess.PIPE, encoding="utf-8")
        said = second.stderr.readline()
        assert not list((tmp_path / "out").glob("*.xlsx"))
    out, rest = second.communicate()
    assert (second.returncode, rest) == (0, "")
    assert said.startswith("barfuncs: another run is writing into ")
    assert "1 of 1 jobs planned" in out


@pytest.mark.slow
def test_what_does_not_go_with_the_list_any_more_is_said(tmp_path):
    def plan(name: str, *rows: str, arguments: tuple[str, ...] = ()) -> tuple[int, str]:
        (tmp_path / name).write_text("\n".join((
            "job,units,material,size,part_length,cutoff_width,face_to_cutoff,grip_length,bar_length,quantity", *rows)))
        done = run("plan", str(tmp_path / name), "--out", "plans", *arguments, cwd=tmp_path)
        assert max(map(len, done.stdout.splitlines())) <= 80
        return done.returncode, " ".join(done.stdout.split())

    row = "{},in,303,1,{},.125,.2,2,144,100"
    assert plan("jobs.csv", *(row.format(*job) for job in (("A", 2), ("B", 3), ("C", 4), ("D", 5))))[0] == 0
    changed = [row.format("A", 2), row.format("Bolt", 3), row.format("C", "long")]
    status, said = plan("jobs.csv", *changed)
    assert status == 1
    for sentence in ("3 workbooks of earlier runs do not go with the list any more: B.xlsx: its job has another name now C.xlsx: its row "
                     "has problems now D.xlsx: not in the list any more Those that are still there are marked in results.csv",
                     "1 of 3 jobs planned, in plans; 1 were there already, unchanged",
                     "results.csv and results.xlsx list all 5 workbooks of the folder."):
        assert sentence in said
    status, said = plan("jobs.csv", *changed, arguments=("--replace",))
    assert "B.xlsx: its job has another name now; moved to old/B.xlsx C.xlsx: its row has problems now; moved to old/C.xlsx D.xlsx" in said
    status, said = plan("more.csv", row.format("E", 2))
    assert (status, "In the folder too, from other lists: 3 of jobs.csv." in said, "earlier runs" in said) == (0, True, False)


def test_an_interrupt_while_the_list_is_read_is_said(tmp_path, monkeypatch):
    def interrupted(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(lists, "read_jobs", interrupted)
    done = CliRunner().invoke(main, ["plan", str(ROOT / "examples" / "jobs.csv"), "--out", str(tmp_path / "out")])
    assert (done.exit_code, done.stderr) == (130, "barfuncs: interrupted; nothing is written\n")
    assert not (tmp_path / "out").exists()


@pytest.mark.slow
def test_plan_says_when_bare_numbers_were_read_as_inch(tmp_path):
    path = tmp_path / "jobs.csv"
    path.write_text("job,material,size,part_length,cutoff_width,face_to_cutoff,grip_length,bar_length,quantity\n"
                    "A,303,1,2,.125,.2,2,144,100\n")
    said = "Bare numbers were read as inch; --units mm reads them as mm."
    done = run("plan", str(path), "--out", str(tmp_path / "a"))
    assert done.returncode == 0
    assert said in done.stdout
    assert said not in run("plan", str(path), "--out", str(tmp_path / "b"), "--units", "in").stdout


def test_price_breaks_fit_the_terminal():
    done = run("calc", "price_breaks", "100 250 500 1000 2500 10000 1000000", "59", "34000.8", "45", "30", "1.5", "80")
    lines = done.stdout.splitlines()
    assert max(map(len, lines)) <= 80
    assert [line.split() for line in lines if line.startswith("quantity")] == [
        ["quantity", "100", "250", "500"], ["quantity", "1,000", "2,500", "10,000"], ["quantity", "1,000,000"]]
    assert lines[-1].split() == ["whole", "bar", "price", "577.30"]


def test_a_group_without_functions_says_so(monkeypatch):
    kept = {name: entry for name, entry in barfuncs.CATALOGUE.items() if entry.group != "Sawing"}
    monkeypatch.setattr(barfuncs, "CATALOGUE", kept)
    done = CliRunner().invoke(main, ["functions", "--group", "sawing"])
    assert (done.exit_code, done.output) == (0, "The group Sawing has no functions yet.\n")


@pytest.mark.slow
def test_templates_are_not_overwritten(tmp_path):
    assert run("templates", str(tmp_path)).returncode == 0
    assert {p.name for p in tmp_path.iterdir()} == {f"{name}.xlsx" for name in READY_MADE} | {"jobs.csv"}
    refused = run("templates", str(tmp_path))
    assert refused.returncode == 1
    assert "exists already" in refused.stderr
    header = (tmp_path / "jobs.csv").read_text().strip().split(",")
    assert {"job", "part_length", "machine_type"} <= set(header)


@pytest.mark.slow
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
    assert run("names", str(book), "--replace").returncode == 0
    assert run("recalc", str(book)).returncode == 0
    copy.write_bytes(b"x")
    refused = run("names", str(copy), "--replace")
    assert refused.returncode == 1
    assert "is not an xlsx workbook" in refused.stderr
    assert copy.read_bytes() == b"x"


def test_functions_lists_every_function():
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
    assert "row 2, density_g_cm3" in done.stderr


def test_the_examples_of_the_readme():
    import doctest

    failed, tried = doctest.testfile(str(ROOT / "README.md"), module_relative=False)
    assert tried >= 8
    assert failed == 0
