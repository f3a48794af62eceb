"""Kill runs over a list at random moments and look at what they leave: python tests/kill_runs.py 300

A run is started as a person starts it, into a fresh folder or one that earlier runs were killed in, with one process or two,
and gets KILL, TERM or INT, alone or with the processes that it started; or one of those gets KILL. What is there then must be
whole and the results true; the next run, with --resume or without, must leave nothing but what belongs there, and one that goes
on says how many workbooks it kept. Prints a table and exits with 1 where anything was wrong.
"""

import argparse
import contextlib
import csv
import hashlib
import io
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import openpyxl

sys.path.insert(0, str(Path(__file__).parent))

from barfuncs.filling.folder import FOR_CUSTOMER, LOCK
from barfuncs.filling.lists import plan_jobs, read_jobs
from barfuncs.filling.record import RECORD, RESULT_FILES, RUN
from barfuncs.filling.results import csv_cell
from barfuncs.xlsx.package import PART, read_parts

SIGNALS = {"KILL": signal.SIGKILL, "TERM": signal.SIGTERM, "INT": signal.SIGINT} if sys.platform != "win32" else {}
TEMPLATES = {"job_plan": "plan", "quote": "quote"}
VARIANTS = (1, 2)
_NOTES = ("", "the list has other values now")
"""What the results may say of a workbook: a run without leave to replace marks those that its list has other values for."""


@dataclass
class Wanted:
    """What the runs of one template and list make: digests of workbooks and copies, and lines of results, by file."""

    list: Path
    workbooks: dict[str, str] = field(default_factory=dict)
    copies: dict[str, str] = field(default_factory=dict)
    lines: dict[str, dict[str, str]] = field(default_factory=dict)


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def csv_lines(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(path.read_text("utf-8-sig"), newline=""), strict=True))


def xlsx_lines(path: Path) -> list[dict[str, str]]:
    """The lines of results.xlsx, as they stand in results.csv."""
    read_parts(path)  # refuses what is no zip or no good XML
    heads, *rows = openpyxl.load_workbook(path).active.iter_rows(values_only=True)
    return [dict(zip(heads, (value if isinstance(value, str) else csv_cell(value) for value in row), strict=True)) for row in rows]


def write_list(path: Path, rows: int, variant: int) -> None:
    """A list for plans and quotes alike; each variant has other quantities and prices, and the same names."""
    heads = ("job", "units", "material", "size", "part_length", "cutoff_width", "face_to_cutoff", "grip_length", "bar_length", "quantity",
             "cycle_time", "machine_rate", "material_price", "price_per", "margin", "seller", "part_description", "quote_number", "currency")
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(heads)
        for n in range(rows):
            writer.writerow((f"K{n}", "in", "303", 0.5 + n / 100, 1 + n / 50, 0.125, 0.2, 2, 144, 100 * variant + n, 20 + n, 70 + variant,
                             3.2, "lb", "20%", "Sample Turning", f"Part {n}", f"N{n // 3}" if n % 3 else "", "$"))


def references(folder: Path, rows: int) -> dict[tuple[str, int], Wanted]:
    wanted = {}
    for template, command in TEMPLATES.items():
        for variant in VARIANTS:
            # One name for all variants, as when a person corrects a list.
            made, place = Wanted(folder / f"{command}{variant}" / "jobs.csv"), folder / f"{command}{variant}" / "out"
            made.list.parent.mkdir()
            write_list(made.list, rows, variant)
            outcome = plan_jobs(read_jobs(made.list, template), place, template=template, source=made.list.name)
            assert not outcome.problems, outcome.problems
            made.workbooks = {name: digest(place / name) for _, name, _ in outcome.done}
            made.copies = {p.name: digest(p) for p in (place / FOR_CUSTOMER).glob("*")}
            made.lines = {line["file"]: line for line in csv_lines(place / "results.csv")}
            wanted[template, variant] = made
    return wanted


def other_columns(line: dict, wanted: dict, notes: tuple[str, ...] = ("",)) -> str:
    """The columns in which a line of the results is not as it should be."""
    differing = [name for name in wanted if name not in ("run", "note") and line[name] != wanted[name]]
    return ", ".join(differing + ([] if line["note"] in notes else ["note"]))


def faults_now(out: Path, versions: list[Wanted]) -> list[str]:
    """What is wrong with a folder right after a run was killed: broken files, and results that are not true of the files."""
    if not out.exists():
        return []
    faults = []
    version_of = {}
    for path in out.iterdir():
        if path.suffix == ".xlsx" and path.name not in RESULT_FILES:
            version_of[path.name] = next((v for v in versions if v.workbooks.get(path.name) == digest(path)), None)
            if version_of[path.name] is None:
                faults.append(f"broken: {path.name}")
        elif path.name not in (*RESULT_FILES, RECORD, LOCK, FOR_CUSTOMER) and not (path.name.startswith(RUN) and path.suffix == PART):
            faults.append(f"unknown: {path.name}")
    for path in (out / FOR_CUSTOMER).glob("*"):
        if path.suffix == PART:
            continue
        version = next((v for v in versions if v.copies.get(path.name) == digest(path)), None)
        # Of a quotation with several lines all workbooks must be of the same version.
        lines = [file for file, line in version.lines.items() if line["for_customer"] == f"{path.stem}.xlsx"] if version else []
        if not lines or any(version_of.get(file) is not version for file in lines):
            faults.append(f"copy of another quote: {path.name}")
    for name, read in zip(RESULT_FILES, (csv_lines, xlsx_lines), strict=True):
        if not (out / name).exists():
            continue
        try:
            lines = read(out / name)
        except Exception as error:  # whatever a broken file makes its readers say
            faults.append(f"broken: {name} ({error})")
            continue
        for line in lines:
            version = version_of.get(str(line["file"]))
            if version is None:
                faults.append(f"{name} lists {line['file']}, which is not there")
            else:
                # A quotation comes last, when all of its lines are there.
                to_come = not line.get("for_customer") and not (out / FOR_CUSTOMER / (version.lines[line["file"]].get("for_customer") or "-")).exists()
                told = {"for_customer": version.lines[line["file"]].get("for_customer", "")} if to_come else {}
                columns = other_columns({**line, **told}, version.lines[line["file"]], _NOTES)
            if version is not None and columns:
                faults.append(f"{name} has other values than {line['file']} ({columns})")
    return faults


def faults_after_the_next_run(out: Path, wanted: Wanted) -> list[str]:
    """What is wrong with a folder after a run that came to its end: it must be as if nothing had happened before."""
    expected = {**wanted.workbooks, **{f"{FOR_CUSTOMER}/{name}": d for name, d in wanted.copies.items()}}
    found = {p.relative_to(out).as_posix(): p for p in out.rglob("*") if p.is_file()}
    faults = [f"left over: {name}" for name in sorted(set(found) - set(expected) - {RECORD, *RESULT_FILES})]
    faults += [f"not as it should be: {name}" for name, d in expected.items() if name not in found or digest(found[name]) != d]
    if not faults:
        lines = {line["file"]: line for line in csv_lines(out / "results.csv")}
        if set(lines) != set(wanted.lines) or any(other_columns(lines[name], line) for name, line in wanted.lines.items()):
            faults.append("results.csv is not that of the folder")
        if [line["file"] for line in xlsx_lines(out / "results.xlsx")] != list(lines):
            faults.append("results.xlsx is not that of the folder")
    return faults


def started(template: str, wanted: Wanted, out: Path, *options: str) -> subprocess.Popen:
    """A run in a session of its own, so that it and the processes that it starts can be told something at once."""
    command = [sys.executable, "-m", "barfuncs", TEMPLATES[template], str(wanted.list), "--out", str(out), *options]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, start_new_session=True)


def chosen_options(rng: random.Random, replace: float) -> list[str]:
    """Options of a run; --replace with so much chance."""
    options = [["--replace"], ["--resume"], ["--jobs", "2"]]
    return [word for words, chance in zip(options, (replace, 0.5, 0.5), strict=True) if rng.random() < chance for word in words]


def workers_of(run: subprocess.Popen) -> list[int]:
    """The processes that work on a run's rows, where the system tells."""
    try:
        children = Path(f"/proc/{run.pid}/task/{run.pid}/children").read_text().split()
        return [int(pid) for pid in children if b"spawn_main" in Path(f"/proc/{pid}/cmdline").read_bytes()]
    except OSError:
        return []


def announced(out: Path) -> int:
    """How many workbooks the record of a folder tells of, old ones and new ones."""
    try:
        return (out / RECORD).read_bytes().count(b'"made_from"')
    except OSError:
        return 0


def kill_runs(count: int, rows: int, seed: int = 1, templates: tuple[str, ...] = tuple(TEMPLATES)) -> tuple[Counter, list[str]]:
    """Kill so many runs; counts for the table by (signal, what), and everything that was wrong."""
    signal.signal(signal.SIGINT, signal.default_int_handler)  # else a run would inherit that it is ignored
    rng, counts, faults = random.Random(seed), Counter(), []
    with tempfile.TemporaryDirectory(prefix="barfuncs-kill-") as place:
        wanted = references(Path(place), rows)
        lasts = dict.fromkeys(TEMPLATES, 0.5 + rows * 0.02)
        for n in range(count):
            name, number = list(SIGNALS.items())[n % len(SIGNALS)]
            template = rng.choice(templates)
            fresh = rng.random() < 0.5
            out = Path(place) / (f"fresh {n}" if fresh else f"again {template}")
            versions = [wanted[template, v] for v in VARIANTS]
            chosen = rng.choice(versions)
            before = announced(out)
            options = chosen_options(rng, 0.7)
            run = started(template, chosen, out, *options)
            moment = rng.choice(("any", "working", "writing", "writing"))
            if moment != "any":
                while run.poll() is None and not (out / LOCK).exists():
                    time.sleep(0.002)
            if moment == "writing":
                wanted_lines = before + rng.randint(1, rows)
                while run.poll() is None and announced(out) < wanted_lines:
                    time.sleep(0.001)
            time.sleep(rng.uniform(0, 0.03 if moment == "writing" else lasts[template]))
            ended_first = run.poll() is not None
            whom = rng.choice(("it alone", "all of them", "a worker"))
            workers = workers_of(run)
            with contextlib.suppress(ProcessLookupError):
                if whom == "a worker" and workers:
                    os.kill(rng.choice(workers), signal.SIGKILL)
                elif whom == "all of them":
                    os.killpg(run.pid, number)
                else:
                    run.send_signal(number)
            said = run.communicate(timeout=120)[1].decode()  # ends when all processes did, which hold the pipes
            if moment == "working":  # so that the moments are spread over the whole work, however fast the machine is
                lasts[template] = 0.8 * lasts[template] if ended_first else min(8.0, 1.1 * lasts[template])
            done = sum(path.is_file() and digest(path) == d for name, d in chosen.workbooks.items() for path in [out / name])
            counts[name, "runs"] += 1
            counts[name, "into a fresh folder"] += fresh
            counts[name, "with two processes"] += "--jobs" in options
            counts[name, "with --resume"] += "--resume" in options
            worker_killed = run.returncode == 1 and "a worker ended before its work was done" in said
            counts[name, "a worker killed, and the run said so"] += worker_killed
            counts[name, "ended first"] += ended_first
            counts[name, "killed before the first workbook"] += not ended_first and not done
            counts[name, "killed between the first and the last"] += not ended_first and 0 < done < rows
            counts[name, "killed with all of them there"] += not ended_first and done == rows
            wrong = faults_now(out, versions)
            in_order = run.returncode == {"TERM": 143, "INT": 130}.get(name) or worker_killed
            if in_order and out.exists():  # it had time to write its results
                counts[name, "ended in order"] += 1
                listed = {line["file"] for line in csv_lines(out / "results.csv")} if (out / "results.csv").exists() else set()
                there = {p.name for p in out.glob("*.xlsx")} - set(RESULT_FILES)
                wrong += [f"not in the results: {file}" for file in there - listed]
                wrong += [f"left over: {p.name}" for p in out.glob(".barfuncs*") if p.name != RECORD]
            wrong += ["a traceback"] if "Traceback" in said and in_order else []
            if fresh or rng.random() < 0.5:
                last, options = rng.choice(versions), chosen_options(rng, 1.0)
                there = sum(path.is_file() and digest(path) == d for file, d in last.workbooks.items() for path in [out / file])
                there = there if template == "job_plan" else None  # a quote whose copy is missing is made again
                ending = started(template, last, out, *options)
                told, said = (text.decode() for text in ending.communicate(timeout=120))
                counts[name, "next runs"] += 1
                counts[name, "next runs with --resume"] += "--resume" in options
                kept = re.search(r"; (\d+) were there", " ".join(told.split()))
                if there is not None and there != (int(kept[1]) if kept else 0):
                    wrong.append(f"the next run kept {kept and kept[1]} workbooks of {there}")
                wrong += [f"the next run ended with {ending.returncode}: {said}"] if ending.returncode else []
                after = faults_after_the_next_run(out, last)
                counts[name, "next runs with something left over or wrong"] += bool(after)
                wrong += after
            counts[name, "runs with a broken file or untrue results"] += bool(wrong)
            faults += [f"run {n}, {name}, {template}: {fault}" for fault in wrong[:3]]
            faults += [f"run {n}: and {len(wrong) - 3} more"] if len(wrong) > 3 else []
            if fresh:
                shutil.rmtree(out, ignore_errors=True)
    return counts, faults


HEADS = ("runs", "into a fresh folder", "ended first", "killed before the first workbook", "killed between the first and the last",
         "killed with all of them there",
         "with two processes", "with --resume", "a worker killed, and the run said so",
         "ended in order", "runs with a broken file or untrue results", "next runs", "next runs with --resume",
         "next runs with something left over or wrong")


def table(counts: Counter) -> str:
    lines = [f"{'':46}" + "".join(f"{name:>7}" for name in (*SIGNALS, "all"))]
    for head in HEADS:
        cells = [counts[name, head] for name in SIGNALS]
        lines.append(f"{head:46}" + "".join(f"{cell:>7}" for cell in (*cells, sum(cells))))
    return "\n".join(lines)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("count", type=int, nargs="?", default=300)
    parser.add_argument("--rows", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    counts, faults = kill_runs(chosen.count, chosen.rows, chosen.seed)
    print(table(counts))
    print(*faults[:50], sep="\n")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
