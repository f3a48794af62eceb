"""Long lists: python tests/benchmarks/scale.py [ROWS ...]

The command line plans lists of so many rows (100, 1,000 and 10,000 unless others are given) with one and two processes, and
goes on with a run that was killed at a random moment; openpyxl loads and saves filled plans for comparison. Nothing here passes
or fails. On a machine that others use too, read the seconds that processors worked beside those on the clock.
"""

import csv
import io
import json
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import openpyxl

sys.path.insert(0, str(Path(__file__).parent.parent))
from job_generator import good_job
from list_runs import same_folders

from barfuncs.filling.filler import fill

SIZES = (100, 1_000, 10_000)
AGAINST = 150
"""Workbooks that openpyxl loads and saves."""

# The command line as its own process, which writes what it and the processes that it started used: MB of the largest,
# seconds of processor time of itself and of all of them.
_MEASURED = """
if __name__ == "__main__":
    import atexit, json, resource, sys
    sys.path.insert(0, TESTS)
    from peak_memory import peak_mb
    def tell(path=sys.argv.pop(1)):
        used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
        child = used[1].ru_maxrss / (1e6 if sys.platform == "darwin" else 1e3)
        with open(path, "w") as file:
            json.dump([*zip((peak_mb(), child), (u.ru_utime + u.ru_stime for u in used))], file)
    atexit.register(tell)
    from barfuncs.cli.main import main
    main(prog_name="barfuncs")
"""


@dataclass
class Used:
    """What a run took: seconds on the clock, seconds that processors worked, MB of the command and of its largest child."""

    seconds: float
    worked: float
    own: float
    child: float
    said: str


def write_list(path: Path, rows: int) -> None:
    rng = random.Random(3)
    jobs = [good_job(rng) | {"longest_random_bar": None, "job": f"B{n}"} for n in range(rows)]
    heads = list(dict.fromkeys(name for job in jobs for name in job))
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, heads)
        writer.writeheader()
        writer.writerows(jobs)


def command(folder: Path, *arguments: str) -> list[str]:
    script = folder / "measured.py"
    script.write_text(_MEASURED.replace("TESTS", repr(str(Path(__file__).parent.parent))))
    return [sys.executable, str(script), str(folder / "used.json"), "plan", str(folder / "jobs.csv"), "--out", *arguments]


def run(folder: Path, *arguments: str) -> Used:
    began = time.perf_counter()
    done = subprocess.run(command(folder, *arguments), capture_output=True, text=True, check=False)
    seconds = time.perf_counter() - began
    (own, worked), (child, children_worked) = json.loads((folder / "used.json").read_text())
    said = re.search(r"[0-9]+ of [0-9]+ jobs planned.*?(?=results\.csv|The machine)", " ".join(done.stdout.split()))
    assert done.returncode == 0, done.stderr + done.stdout[-2000:]
    assert said is not None, done.stdout
    return Used(seconds, worked + children_worked, own, child, said[0].strip())


def kill_at_random(folder: Path, out: Path, longest: float, *arguments: str) -> float:
    """Kill a run after a random share of the seconds that a whole one took."""
    started = subprocess.Popen(command(folder, str(out), *arguments), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    moment = random.Random().uniform(0.25, 0.85) * longest
    time.sleep(moment)
    started.send_signal(signal.SIGTERM if sys.platform == "win32" else signal.SIGKILL)
    started.wait()
    return moment


_SPIN = "import time\nend = time.perf_counter() + 1.5\nwhile time.perf_counter() < end: pass\nprint(time.process_time())"


def free_processors() -> float:
    """How many of two processors other programs leave to this one at this moment."""
    spinning = [subprocess.Popen([sys.executable, "-c", _SPIN], stdout=subprocess.PIPE, text=True) for _ in range(2)]
    return sum(float(process.communicate()[0]) for process in spinning) / 1.5


def openpyxl_seconds() -> tuple[float, float]:
    """Seconds on the clock and worked for openpyxl to load and save the workbooks."""
    rng = random.Random(3)
    books = [fill("job_plan", good_job(rng) | {"longest_random_bar": None}).data for _ in range(3)]
    clock, work = time.perf_counter(), time.process_time()
    for n in range(AGAINST):
        openpyxl.load_workbook(io.BytesIO(books[n % len(books)])).save(io.BytesIO())
    return time.perf_counter() - clock, time.process_time() - work


HEADS = f"{'rows':>6}  {'run':<42}{'clock s':>8}{'CPU s':>8}{'rows/CPU s':>11}{'MB':>6}{'MB child':>9}"


def line(rows: int, name: str, used: Used) -> None:
    print(f"{rows:>6,}  {name:<42}{used.seconds:>8.1f}{used.worked:>8.1f}{rows / used.worked:>11,.0f}{used.own:>6.0f}{used.child:>9.0f}",
          flush=True)


def one_size(rows: int, say: Callable[[str], None] = print) -> Used:
    with tempfile.TemporaryDirectory(prefix="barfuncs-scale-") as place:
        folder = Path(place)
        write_list(folder / "jobs.csv", rows)
        one, two, killed = folder / "one", folder / "two", folder / "killed"
        single = run(folder, str(one))
        line(rows, "one process", single)
        free = free_processors()
        double = run(folder, str(two), "--jobs", "2")
        free = (free + free_processors()) / 2
        line(rows, "two processes", double)
        line(rows, "the same list again", run(folder, str(one)))
        line(rows, "the same list again, --resume", run(folder, str(one), "--resume"))
        moment = kill_at_random(folder, killed, double.seconds, "--jobs", "2")
        there = len(list(killed.glob("B*.xlsx")))
        resumed = run(folder, str(killed), "--resume", "--jobs", "2")
        line(rows, f"killed at {moment:.1f} s with {there:,} there, --resume", resumed)
        say(f"        {resumed.said.replace(str(folder), '...')}")
        problems = [*same_folders(one, two), *same_folders(one, killed)]
        say(f"        all three folders are the same: {'yes' if not problems else problems[:3]}")
        say(f"        two processes are {single.seconds / double.seconds:.2f} times as fast as one on the clock, with "
            f"{double.worked / single.worked - 1:+.0%} processor time: at most {2 * single.worked / double.worked:.2f} times, of 2 processors {free:.1f} were free")
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
        return single


def main() -> None:
    sizes = [int(text.replace(",", "")) for text in sys.argv[1:]] or list(SIZES)
    print(HEADS)
    used = {rows: one_size(rows) for rows in sizes}
    clock, worked = openpyxl_seconds()
    print(f"\nopenpyxl loads and saves {AGAINST} filled plans, nothing calculated, in {clock:.1f} s, {worked:.1f} s of processor time")
    for rows, run_of in used.items():
        print(f"  {rows:,} plans took {run_of.worked / worked:.2f} times that processor time; "
              f"{(rows / run_of.worked) / (AGAINST / worked):.0f} plans in the time of one")


if __name__ == "__main__":
    main()
