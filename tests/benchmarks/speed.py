"""Speed, as ratios side by side. Run on an idle machine: python tests/benchmarks/speed.py

Nothing here passes or fails; the figures are for reading.
"""

import io
import math
import pickle
import random
import shutil
import subprocess
import sys
import tempfile
import time
import timeit
from pathlib import Path
from typing import Any

import openpyxl

sys.path.insert(0, str(Path(__file__).parent.parent))
from job_generator import good_job, good_quote
from judges import without_values

import barfuncs as bf
from barfuncs.errors import InputError
from barfuncs.filling.filler import filler, read_inputs
from barfuncs.filling.lists import Job, plan_jobs
from barfuncs.filling.quotation_data import Quotation, QuotedLine, QuotedQuantity
from barfuncs.filling.quotation_pdf import pdf
from barfuncs.templates import job_plan


def bare(bar_length, part_length, cutoff_width, min_remnant, facing=0.0, end_trim=0.0):
    return max(0, math.floor((bar_length - end_trim - min_remnant) / (part_length + cutoff_width + facing) + 1e-9))


def best(function, number: int, repeat: int = 5) -> float:
    return min(timeit.repeat(function, number=number, repeat=repeat)) / number


def line(name: str, value: float, unit: str, base: float | None = None) -> None:
    ratio = "" if base is None else f"   x {value / base:,.1f}"
    print(f"  {name:<62}{value:>10,.2f} {unit}{ratio}")


def calls() -> None:
    import pint

    ureg = pint.UnitRegistry()
    quantities = [ureg.Quantity(x, "inch") for x in (144.0, 2.25, 0.125, 3.0)]
    base = best(lambda: bare(144.0, 2.25, 0.125, 3.0), 100_000) * 1e6
    print("One call of parts_per_bar")
    line("bare formula", base, "us", base)
    line("barfuncs, plain numbers (checked)", best(lambda: bf.parts_per_bar(144.0, 2.25, 0.125, 3.0), 100_000) * 1e6, "us", base)
    line("barfuncs, text with units", best(lambda: bf.parts_per_bar("12 ft", "2 1/4 in", "1/8 in", "3 in"), 3_000) * 1e6, "us", base)
    line("barfuncs, pint quantities", best(lambda: bf.parts_per_bar(*quantities), 3_000) * 1e6, "us", base)


def columns(rows: int = 1_000_000) -> None:
    import numpy as np

    rng = random.Random(5)
    lengths = [rng.uniform(1, 5) for _ in range(rows)]
    array, bars, cutoffs = np.array(lengths), [144.0] * rows, [0.125] * rows
    texts = [f"{length:.2f} in" for length in lengths]
    base = best(lambda: [bare(144.0, length, 0.125, 3.0) for length in lengths], 1, 3)
    print(f"\nA column of {rows:,} rows of parts_per_bar")
    line("bare formula in a loop", base, "s", base)
    line("barfuncs, a list of numbers", best(lambda: bf.parts_per_bar(144.0, lengths, 0.125, 3.0), 1, 3), "s", base)
    line("barfuncs, a numpy array", best(lambda: bf.parts_per_bar(144.0, array, 0.125, 3.0), 1, 3), "s", base)
    line("barfuncs, three lists", best(lambda: bf.parts_per_bar(bars, lengths, cutoffs, 3.0), 1, 3), "s", base)
    line("barfuncs, a list, and texts that go with all rows", best(lambda: bf.parts_per_bar("12 ft", lengths, "1/8 in", "3 in"), 1, 3), "s", base)
    line("barfuncs, a list of texts", best(lambda: bf.parts_per_bar(144.0, texts, 0.125, 3.0), 1, 1), "s", base)
    line("barfuncs, one call a row", best(lambda: [bf.parts_per_bar(144.0, length, 0.125, 3.0) for length in lengths], 1, 1), "s", base)


def confidence() -> None:
    random_lengths = {"shortest_bar": 120.0, "longest_bar": 144.0, "bar_per_part": 2.375, "min_remnant": 2.75, "scrap_rate": 0.02}
    print("\nOne call with a confidence")
    for quantity in (1_000, 20_000, 1_000_000):
        line(f"parts_to_make, {quantity:,} parts", best(lambda q=quantity: bf.parts_to_make(q, 0.02, 5, 0.95), 200) * 1e3, "ms")
    for quantity in (1_000, 20_000, 1_000_000):
        line(f"bars_for_confidence, {quantity:,} parts",
             best(lambda q=quantity: bf.bars_for_confidence(q, **random_lengths), 50) * 1e3, "ms")
    line("bars_for_confidence, 20,000 parts, 0.5 in each",
         best(lambda: bf.bars_for_confidence(20_000, **random_lengths | {"bar_per_part": 0.5}), 50) * 1e3, "ms")


def start_up() -> None:
    def run(*arguments: str) -> float:
        return min(timeit.repeat(lambda: subprocess.run([sys.executable, *arguments], capture_output=True, check=True),
                                 number=1, repeat=9)) * 1e3

    empty = run("-c", "pass")
    print("\nStart-up, best of 9")
    line("python -c pass", empty, "ms")
    line("import barfuncs, over an empty start", run("-c", "import barfuncs") - empty, "ms")
    line("barfuncs --help, whole", run("-m", "barfuncs", "--help"), "ms")


def job_list(count: int) -> list[dict[str, Any]]:
    """Good jobs, every tenth of them from bars of random lengths."""
    rng, jobs, fill = random.Random(5), [], filler("job_plan")
    while len(jobs) < count:
        job = good_job(rng) | {"longest_random_bar": None}
        if len(jobs) % 10 == 0:
            job["longest_random_bar"] = job["bar_length"] * 1.2
            job.pop("supplied_length", None)
        try:
            fill.fill(read_inputs(job))
        except InputError:
            continue
        jobs.append(job)
    return jobs


def workbooks(count: int = 400) -> None:
    rows = job_list(count)
    jobs, fill = [read_inputs(job) for job in rows], filler("job_plan")
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder)
        start = time.perf_counter()
        for n, inputs in enumerate(jobs):
            fill.fill(inputs).save(out / f"{n}.xlsx")
        ours = count / (time.perf_counter() - start)
        template = job_plan.TEMPLATE.build()
        start = time.perf_counter()
        for n in range(20):
            book = openpyxl.load_workbook(io.BytesIO(template))
            book.save(out / f"o{n}.xlsx")
        plain = 20 / (time.perf_counter() - start)
        print("\nFilled, calculated, value-carrying job plans on one core")
        line("barfuncs fill", ours, "a second")
        start = time.perf_counter()
        outcome = plan_jobs([Job(n, values) for n, values in enumerate(rows, start=2)], out / "list")
        line("barfuncs jobs, a list with random lengths in every tenth row", len(outcome.done) / (time.perf_counter() - start), "a second")
        line("openpyxl load and save, nothing calculated", plain, "a second")
        print(f"  {'ratio to openpyxl':<58}{ours / plain:>10,.1f} times")
        program = shutil.which("soffice")
        if not program:
            print("  LibreOffice is not here: that ratio is not measured")
            return
        sources = [str(out / f"o{n}.xlsx") for n in range(20)]
        command = [program, f"-env:UserInstallation=file://{folder}/profile", "--headless", "--convert-to", "xlsx",
                   "--outdir", str(out / "lo")]
        subprocess.run([*command, sources[0]], capture_output=True, check=True)  # makes the profile
        start = time.perf_counter()
        subprocess.run([*command, *sources], capture_output=True, check=True)
        many = 20 / (time.perf_counter() - start)
        start = time.perf_counter()
        for source in sources[:5]:
            subprocess.run([*command, source], capture_output=True, check=True)
        single = 5 / (time.perf_counter() - start)
        line("LibreOffice converting 20 files in one start", many, "a second")
        line("LibreOffice converting one file a start", single, "a second")
        print(f"  {'ratio to LibreOffice, one start for all':<58}{ours / many:>10,.1f} times")
        print(f"  {'ratio to LibreOffice, one start each':<58}{ours / single:>10,.1f} times")


def quotes(count: int = 200) -> None:
    """Quotes at six quantities each, against LibreOffice working out the same files."""
    rng, jobs, fill = random.Random(5), [], filler("quote")
    while len(jobs) < count:
        try:
            six = {f"quantity_{n}": quantity for n, quantity in enumerate(rng.sample(range(1, 20_000), 6), start=1)}
            inputs = read_inputs(good_quote(rng) | six, "quote")
            fill.fill(inputs)
        except InputError:
            continue
        jobs.append(inputs)
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder)
        steps = {"calculating": fill.book.calculate, "filling, calculating, writing": lambda: fill.fill(jobs[0])}
        start = time.perf_counter()
        for n, inputs in enumerate(jobs):
            fill.fill(inputs).save(out / f"{n}.xlsx")
        ours = count / (time.perf_counter() - start)
        print(f"\n{count} filled, calculated, value-carrying quotes at six quantities on one core")
        line("barfuncs fill, calculate, save", ours, "a second")
        for name, step in steps.items():
            line(f"one of them, {name}", best(step, 20) * 1e3, "ms")
        program = shutil.which("soffice")
        if not program:
            print("  LibreOffice is not here: that ratio is not measured")
            return
        (out / "bare").mkdir()
        for n in range(count):
            (out / "bare" / f"{n}.xlsx").write_bytes(without_values((out / f"{n}.xlsx").read_bytes()))  # nothing to take over unworked
        sources = [str(out / "bare" / f"{n}.xlsx") for n in range(count)]
        command = [program, f"-env:UserInstallation=file://{folder}/profile", "--headless", "--convert-to", "xlsx",
                   "--outdir", str(out / "lo")]
        subprocess.run([*command, sources[0]], capture_output=True, check=True)  # makes the profile
        start = time.perf_counter()
        subprocess.run([*command, *sources], capture_output=True, check=True)
        many = count / (time.perf_counter() - start)
        assert len(list((out / "lo").glob("*.xlsx"))) == count
        start = time.perf_counter()
        for source in sources[:10]:
            subprocess.run([*command, source], capture_output=True, check=True)
        single = 10 / (time.perf_counter() - start)
        line(f"LibreOffice converting the {count} files in one start", many, "a second")
        line("LibreOffice converting one file a start, 10 of them", single, "a second")
        print(f"  {'ratio to LibreOffice, one start for all':<58}{ours / many:>10,.1f} times")
        print(f"  {'ratio to LibreOffice, one start each':<58}{ours / single:>10,.1f} times")


def ten_lines() -> Quotation:
    """Ten parts at four quantities each."""
    lines = tuple(QuotedLine(f"Guide pin {n}", f"GP-{n}", f"D-{n}", "A", "Alloy steel, round 3/4 in", "Certificate with the delivery", quantities=tuple(
        QuotedQuantity(quantity, price + n, round(quantity * (price + n), 2), "4 weeks") for quantity, price in ((100, 4.85), (250, 3.9125), (1000, 2.455), (5000, 1.98))))
        for n in range(1, 11))
    return Quotation("Q-1", "2026-01-02", "EUR", lines, seller="Sample Turned Parts", customer="Sample Customer", terms="30 days net", freight=40)


def quotations() -> None:
    """A quotation of ten lines as a PDF, against LibreOffice making one of a workbook with the same words and numbers."""
    said = ten_lines()
    start = time.perf_counter()
    pdf(said)
    first = (time.perf_counter() - start) * 1e3
    ours = best(lambda: pdf(said), 20) * 1e3
    print("\nA quotation of ten lines as a PDF")
    line("barfuncs, the first, which imports what it needs", first, "ms")
    line("barfuncs, each after that", ours, "ms")
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "said").write_bytes(pickle.dumps(said))
        code = "import pickle; from barfuncs.filling.quotation_pdf import pdf; pdf(pickle.load(open('said', 'rb')))"
        own = best(lambda: subprocess.run([sys.executable, "-c", code], cwd=folder, check=True), 1, 5) * 1e3
        line("barfuncs, a process of its own", own, "ms")
        program = shutil.which("soffice")
        if not program:
            print("  LibreOffice is not here: that ratio is not measured")
            return
        book = openpyxl.Workbook()
        for number, part in enumerate(said.lines, start=1):
            for one in part.quantities:
                book.active.append([number, part.description, part.part_number, part.drawing, part.material, one.quantity, one.price, one.total, one.lead_time])
        book.save(Path(folder) / "q.xlsx")
        command = [program, f"-env:UserInstallation=file://{folder}/profile", "--headless", "--convert-to", "pdf", "--outdir", folder, f"{folder}/q.xlsx"]
        subprocess.run(command, capture_output=True, check=True)  # makes the profile
        theirs = best(lambda: subprocess.run(command, capture_output=True, check=True), 1, 5) * 1e3
        line("LibreOffice converting the workbook, one start", theirs, "ms")
        print(f"  {'of its time, a process of its own':<62}{own / theirs:>10,.3f}")
        print(f"  {'of its time, each after the first':<62}{ours / theirs:>10,.3f}")
        many = [shutil.copy(f"{folder}/q.xlsx", f"{folder}/{n}.xlsx") for n in range(30)]
        thirty = best(lambda: subprocess.run([*command[:-1], *many], capture_output=True, check=True), 1, 3) * 1e3
        line("LibreOffice converting 30 of them in one start, each", thirty / 30, "ms")
        print(f"  {'of its time, each after the first':<62}{ours / thirty * 30:>10,.3f}")


if __name__ == "__main__":
    calls()
    columns()
    confidence()
    start_up()
    workbooks()
    quotes()
    quotations()
