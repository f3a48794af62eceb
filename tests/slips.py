"""Realistic jobs without a slip, and the slips that people make in them; run it to print both tables.

Sizes, times and prices are those of invented jobs as a bar shop has them, from 1 mm pins through a guide bush to 6 in shafts.
"""

import random
import re
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from barfuncs import across_corners, weight_per_length
from barfuncs.catalogue.units import KG_PER_LB
from barfuncs.errors import InputError
from barfuncs.filling.filler import filler, read_inputs
from barfuncs.templates.model import LOOK, STOP
from barfuncs.templates.registry import TEMPLATES

Job = dict[str, Any]

MATERIALS = {  # dollars per kg, lowest and highest
    "Steel 1215": (1.6, 4.5), "Steel 1018": (1.2, 4.0), "Steel 4140": (1.8, 6.0), "11SMn30": (1.0, 3.0), "12L14": (1.5, 5.0),
    "Stainless 303": (4.0, 11.0), "Stainless 316L": (5.0, 15.0), "S17400": (8.0, 22.0), "Brass C36000": (7.0, 14.0),
    "Aluminum 6061": (4.5, 12.0), "Aluminum 7075": (8.0, 18.0), "Tellurium copper C14500": (11.0, 24.0), "Titanium Grade 5": (45.0, 140.0),
    "Nickel alloy 718": (40.0, 110.0), "Acetal copolymer (POM-C)": (5.0, 14.0), "PEEK unfilled": (110.0, 260.0),
}


@dataclass(frozen=True)
class Family:
    """A kind of work: sizes, lengths, times in mm and seconds, low and high."""

    size: tuple[float, float]
    part_in_sizes: tuple[float, float]
    bar: tuple[float, float]
    cutoff: tuple[float, float]
    grip: tuple[float, float]
    gap: tuple[float, float]
    facing: tuple[float, float]
    trim: tuple[float, float]
    cycle: tuple[float, float]
    quantity: tuple[int, int]
    machine_type: str
    shapes: str


FAMILIES = {
    "guide-bush pins": (2, Family((1, 6), (1.5, 14), (2000, 3200), (0.6, 1.2), (120, 250), (0.5, 2), (0.1, 0.25), (1, 4), (5, 75),
                                  (500, 60_000), "guide bush", "round")),
    "guide-bush parts": (3, Family((7, 32), (0.5, 7), (2500, 3700), (1.4, 2.5), (130, 280), (1, 3), (0.1, 0.4), (2, 8), (18, 240),
                                   (100, 15_000), "guide bush + second spindle", "round round round hexagon square")),
    "fittings": (4, Family((8, 42), (0.3, 3), (900, 3700), (2, 3.2), (25, 90), (3, 14), (0.2, 0.8), (2, 12), (14, 180),
                           (50, 20_000), "fixed head", "round round hexagon hexagon square flat octagon tube")),
    "bodies": (3, Family((42, 80), (0.3, 3), (900, 3700), (3, 4), (45, 120), (5, 25), (0.3, 1.5), (3, 20), (60, 900),
                         (10, 2000), "fixed head + second spindle", "round round round hexagon tube tube hexagon_tube")),
    "shafts": (2, Family((80, 152), (0.4, 4), (800, 3000), (4.5, 7), (70, 200), (10, 45), (0.5, 2), (5, 30), (240, 2700),
                         (2, 300), "fixed head", "round round round tube")),
    "long shafts": (1, Family((16, 60), (9, 25), (2500, 4800), (2.5, 4), (60, 150), (5, 30), (0.3, 1), (3, 20), (150, 1100),
                              (5, 500), "fixed head + second spindle", "round")),
}


def _between(rng: random.Random, ends: tuple[float, float]) -> float:
    """More often near the low end, as sizes and quantities are."""
    low, high = ends
    return low * (high / low) ** rng.random()


def _round_to(value: float, step: float) -> float:
    return round(max(step, round(value / step) * step), 6)


def _price(rng: random.Random, material: str, kg_per_m: float, bar_m: float, units: str) -> tuple[float, str]:
    per_kg = _between(rng, MATERIALS[material])
    basis = rng.choice(("lb", "lb", "ft", "bar") if units == "in" else ("kg", "kg", "100 kg", "m", "bar"))
    worth = {"lb": KG_PER_LB, "kg": 1.0, "100 kg": 100.0, "ft": kg_per_m * 0.3048, "m": kg_per_m, "bar": kg_per_m * bar_m}[basis]
    return max(0.01, round(per_kg * worth, 2)), basis


def clean_job(rng: random.Random, template: str) -> Job:
    """One realistic job for a template, with nothing wrong in it."""
    names = [name for name, (share, _) in FAMILIES.items() for _ in range(share)]
    family = FAMILIES[rng.choice(names)][1]
    units = rng.choice(["in", "mm"])
    mm = 1.0 if units == "mm" else 1 / 25.4
    size_mm = _between(rng, family.size)
    shape = rng.choice(family.shapes.split()).replace("_", " ")
    step = {"in": 1 / 16 if size_mm > 6 else 1 / 64, "mm": 1.0 if size_mm > 10 else 0.5}[units]
    size = _round_to(size_mm * mm, step)
    if size / mm > 152.4:
        size = 6.0 if units == "in" else 150.0
    fine = 3 if units == "in" else 1

    def length(ends: tuple[float, float], digits: int = fine) -> float:
        return max(round(_between(rng, ends) * mm, digits), 10.0**-digits)

    cut_share = (size_mm - family.size[0]) / (family.size[1] - family.size[0])
    cutoff = round((family.cutoff[0] + (family.cutoff[1] - family.cutoff[0]) * cut_share * rng.uniform(0.7, 1.1)) * mm, fine)
    bars = {"in": (24, 36, 48, 72, 96, 120, 144, 150, 192), "mm": (600, 1000, 1200, 2000, 2500, 3000, 3600, 4000, 5000)}[units]
    fitting = [b for b in bars if family.bar[0] * 0.95 <= b / mm <= family.bar[1] * 1.05]
    bar = float(rng.choice(fitting))
    job: Job = {
        "units": units, "material": rng.choice(list(MATERIALS)), "shape": shape, "size": size, "bar_length": bar, "cutoff_width": cutoff,
        "part_length": max(round(_between(rng, family.part_in_sizes) * size, fine), round(mm, fine) or 0.04),
        "grip_length": length(family.grip, 2 if units == "in" else 0), "face_to_cutoff": length(family.gap),
    }
    if shape == "flat":
        job["thickness"] = _round_to(size * rng.uniform(0.25, 0.8), step)
    elif "tube" in shape:
        job["thickness"] = _round_to(size * rng.uniform(0.08, 0.3), 1 / 32 if units == "in" else 0.5)
    if rng.random() < 0.7:
        job["facing"] = length(family.facing, 3 if units == "in" else 2)
    if rng.random() < 0.6:
        job["end_trim"] = length(family.trim, 2 if units == "in" else 0)
    if rng.random() < 0.6:
        job["machine_type"] = family.machine_type
    if rng.random() < 0.6:
        longest = rng.choice([b for b in bars if b >= bar])
        job["feeder_longest_bar"] = longest + round(rng.choice([0, 2, 6]) * 25.4 * mm, 0)
    quantity = _quantity(rng, family)
    made = {"cycle_time": round(_between(rng, family.cycle) * (0.6 if size_mm < family.size[0] * 1.3 else 1), 1)}
    optional: Job = {
        "scrap_rate": rng.choice([0.005, 0.01, 0.02, 0.03, 0.05]), "setup_parts": rng.choice([2, 3, 5, 8]) if quantity > 40 else 1,
        "bar_change_time": rng.choice([15, 20, 30, 45, 60, 90, 120]), "efficiency": rng.choice([0.75, 0.8, 0.85, 0.9, 0.95]),
        "setup_hours": rng.choice([0.5, 1, 1.5, 2, 3, 4, 6, 8]), "machine_rate": rng.choice([45, 60, 75, 82.5, 95, 110, 140]),
        "setup_rate": rng.choice([45, 60, 70]),
    }
    job |= made | {name: value for name, value in optional.items() if rng.random() < 0.75}
    kg_per_m = _kg_per_m(job, mm)
    if template == "quote" or rng.random() < 0.8:
        job["material_price"], job["price_per"] = _price(rng, job["material"], kg_per_m, bar / mm / 1000, units)
        if rng.random() < 0.4:
            low = MATERIALS[job["material"]][0] * (KG_PER_LB if units == "in" else 1)
            job["chip_price"] = round(low * rng.uniform(0.08, 0.35), 3)
    if rng.random() < 0.3:
        solid = kg_per_m * job["part_length"] / mm / 1000 / (KG_PER_LB if units == "in" else 1)
        job["part_weight"] = round(solid * rng.uniform(0.25, 0.9), 7) or 1e-6
    if template == "quote":
        return _quoted(rng, job, family, quantity)
    if rng.random() < 0.4:
        job |= {"mean_time_between_stops": rng.choice([4, 8, 12, 20, 40, 80]), "bulk_factor": rng.choice([6, 8, 10, 20, 40]),
                "chip_bin": rng.choice([15, 30, 55, 100, 300] if units == "in" else [60, 120, 200, 400, 1100])}
    return job | {"quantity": quantity} | ({"feeder_bars": rng.randint(2, 30)} if rng.random() < 0.5 else {})


def _kg_per_m(job: Job, mm: float) -> float:
    thickness = job.get("thickness")
    return weight_per_length(job["material"], job["shape"], job["size"] / mm, thickness and thickness / mm, "mm")


def _quantity(rng: random.Random, family: Family) -> int:
    value = int(_between(rng, family.quantity))
    return value if value < 30 else round(value, -1) if value < 300 else round(value, -2)


def _quoted(rng: random.Random, job: Job, family: Family, quantity: int) -> Job:
    breaks = sorted({max(1, int(quantity * f)) for f in rng.sample([0.25, 0.5, 1, 2, 2.5, 5], rng.randint(1, 5))} | {quantity})
    job |= {f"quantity_{n}": q for n, q in enumerate(breaks, 1)}
    job |= {"machine_rate": job.get("machine_rate", 80), "setup_hours": job.get("setup_hours", 2), "seller": "Invented Turning Co."}
    job |= rng.choice([{"margin": rng.choice([0.1, 0.15, 0.25, 0.3, 0.4])}, {"markup": rng.choice([0.1, 0.2, 0.35, 0.5, 0.8])}])
    if rng.random() < 0.5:
        day = rng.randint(1, 27)
        job |= {"customer": "Example Valves", "quote_date": f"2027-03-{day:02d}", "valid_until": f"2027-0{rng.randint(4, 6)}-{day:02d}"}
    if rng.random() < 0.3:
        job |= {"every": rng.choice([20, 50]), "inspection_time": rng.choice([15, 30, 90, 240]), "inspection_rate": 50}
    if rng.random() < 0.3:
        kg = _kg_per_m(job, mm := 1.0 if job["units"] == "mm" else 1 / 25.4) * job["part_length"] / mm / 1000
        most = max(rng.choice([9, 14, 20]), 3 * kg)
        job |= {"box_weight": round(most if job["units"] == "mm" else most / KG_PER_LB, 1), "box_cost": rng.choice([1.2, 3.5])}
    if rng.random() < 0.35 and job["size"] > 8 * (1.0 if job["units"] == "mm" else 1 / 25.4):
        job.pop("cycle_time")
        job |= _operations(rng, job)
    return job


_SPEEDS = {"Stainless": (70, 120), "S17400": (60, 90), "Brass": (150, 250), "Aluminum": (180, 300), "Tellurium": (120, 200),
           "Titanium": (40, 60), "Nickel": (20, 35), "Acetal": (150, 250), "PEEK": (120, 200)}
"""Surface speed of turning, m/min, by how the material's name begins; steel otherwise."""


def _operations(rng: random.Random, job: Job) -> Job:
    """Face, turn, drill, cut off; tool changes and rapid moves."""
    metric = job["units"] == "mm"
    turning = rng.uniform(*next((ends for start, ends in _SPEEDS.items() if job["material"].startswith(start)), (90, 160)))
    feed = rng.choice([0.06, 0.08, 0.1, 0.12])
    outer = round(across_corners(job["shape"], job["size"], job.get("thickness")), 3 if metric else 4)
    inner = job["size"] - 2 * job["thickness"] if "tube" in job["shape"] else 0.0
    rows: list[Job] = [
        {"operation": "facing", "start_diameter": outer, "end_diameter": inner},
        {"operation": "turning", "start_diameter": outer, "length": round(job["part_length"] * rng.uniform(0.4, 1), 3), "passes": rng.choice([1, 2])},
        {"operation": "cut-off", "start_diameter": outer, "end_diameter": inner},
    ]
    if not inner and rng.random() < 0.6:
        depth = min(job["part_length"], job["size"] * 1.5)
        rows.insert(2, {"operation": "drilling", "start_diameter": round(job["size"] * 0.3, 3), "length": round(depth, 3)})
    listed: Job = {"tool_changes": len(rows), "tool_change_time": 1.5, "rapid_time": 4.0, "bar_feed_time": 2.0, "top_speed": 4000}
    for n, row in enumerate(rows, 1):
        speed = turning * {"drilling": 0.5, "cut-off": 0.6}.get(row["operation"], 1)
        row |= {"surface_speed": round(speed if metric else speed * 3.28), "feed_rate": feed if metric else round(feed / 25.4, 4)}
        if n == 2 and rng.random() < 0.6:
            row |= {"edge_cost": rng.choice([3, 4.2, 8, 18, 45]), "parts_per_edge": rng.choice([60, 200, 700]), "edge_change_time": 90}
        listed |= {f"op_{n}_{name}": value for name, value in row.items()}
    return listed


# --- slips ---------------------------------------------------------------------------------------------------------

_LENGTHS = ("size", "bar_length", "part_length", "cutoff_width", "grip_length", "face_to_cutoff", "facing", "end_trim", "thickness",
            "feeder_longest_bar")
_SWAPS = (("cutoff_width", "part_length"), ("size", "bar_length"), ("grip_length", "face_to_cutoff"), ("facing", "cutoff_width"),
          ("part_length", "bar_length"), ("size", "part_length"), ("scrap_rate", "efficiency"), ("cycle_time", "setup_hours"),
          ("cycle_time", "quantity"), ("machine_rate", "material_price"))


def _one_of(rng: random.Random, job: Job, names: tuple[str, ...]) -> str | None:
    there = [n for n in names if job.get(n)]
    return rng.choice(there) if there else None


def _times(names: tuple[str, ...], factor: float) -> Callable[[random.Random, Job], Job | None]:
    def slip(rng: random.Random, job: Job) -> Job | None:
        name = _one_of(rng, job, names)
        return None if name is None else job | {name: round(job[name] * factor, 6), "_slip": name}
    return slip


def _weight_in_grams(rng: random.Random, job: Job) -> Job | None:
    return _times(("box_weight",), 1000 if job["units"] == "mm" else 1000 * KG_PER_LB)(rng, job)


def _bin_in_small_units(rng: random.Random, job: Job) -> Job | None:
    return _times(("chip_bin",), 1000 if job["units"] == "mm" else 231)(rng, job)


def _solid_chips(rng: random.Random, job: Job) -> Job | None:
    return job | {"bulk_factor": 1, "_slip": "bulk_factor"} if job.get("bulk_factor") else None


def _one_length(rng: random.Random, job: Job) -> Job | None:
    return _times(_LENGTHS, 1 / 25.4 if job["units"] == "mm" else 25.4)(rng, job)


def _sheet(rng: random.Random, job: Job) -> Job:
    return job | {"units": "in" if job["units"] == "mm" else "mm", "_slip": "units"}


def _swap(rng: random.Random, job: Job) -> Job | None:
    there = [pair for pair in _SWAPS if all(job.get(n) for n in pair) and not 0.6 < job[pair[0]] / job[pair[1]] < 1.7]
    if not there:
        return None
    a, b = rng.choice(there)
    return job | {a: job[b], b: job[a], "_slip": f"{a} <-> {b}"}


def _date(rng: random.Random, job: Job) -> Job | None:
    if job.get("valid_until") and rng.random() < 0.3:
        return job | {"valid_until": job["quote_date"], "quote_date": job["valid_until"], "_slip": "valid_until"}
    name = _one_of(rng, job, ("size", "part_length", "cutoff_width", "facing", "face_to_cutoff", "thickness"))
    return job | {name: float(rng.randint(46_030, 46_760)), "_slip": name}


SLIPS: dict[str, tuple[Callable[[random.Random, Job], Job | None], int]] = {
    "whole sheet in the other unit": (_sheet, 20),
    "one length in the other unit": (_one_length, 50),
    "feet for inches": (_times(("bar_length", "feeder_longest_bar"), 1 / 12), 15),
    "inches for feet": (_times(("bar_length", "feeder_longest_bar"), 12), 10),
    "minutes for seconds": (_times(("cycle_time", "bar_change_time"), 1 / 60), 20),
    "seconds for minutes": (_times(("cycle_time", "bar_change_time"), 60), 10),
    "minutes for hours": (_times(("setup_hours", "machine_rate"), 60), 10),
    "hours for minutes": (_times(("setup_hours", "machine_rate"), 1 / 60), 10),
    "a percentage as a whole number": (_times(("scrap_rate", "margin", "markup", "efficiency"), 100), 15),
    "a percentage of a percentage": (_times(("scrap_rate", "margin", "markup", "efficiency"), 0.01), 10),
    "two cells swapped": (_swap, 20),
    "a date": (_date, 10),
    "minutes for seconds, small times": (_times(("inspection_time", "tool_change_time"), 1 / 60), 8),
    "minutes for hours between stops": (_times(("mean_time_between_stops",), 60), 4),
    "a box's weight in grams": (_weight_in_grams, 4),
    "a chip bin in cm3 or in3": (_bin_in_small_units, 4),
    "loose chips as solid metal": (_solid_chips, 4),
    "cents, or a whole tool, for an edge": (_times(("op_2_edge_cost",), 100), 4),
}


# --- what the checks say -------------------------------------------------------------------------------------------

def words(template: str, job: Job) -> dict[str, tuple[str, str]]:
    """The checks that say LOOK or STOP: topic to word and sentence. A refused job is a STOP."""
    fill = filler(template)
    try:
        filled = fill.fill(read_inputs({n: v for n, v in job.items() if n[0] != "_"}, template))
    except InputError as error:
        return {"refused": (STOP, str(error))}
    del filled
    sheet, row, column = fill.book.first_cell(f"{fill.prefix}check_words")
    found = {}
    for line in range(row, row + len(TEMPLATES[template].checks)):
        word, sentence = (str(fill.book.value_at((sheet, line, c))) for c in (column, column + 1))
        if word in (LOOK, STOP):
            topic, _, rest = sentence.partition(": ")
            found[topic] = (word, rest)
    return found


_FIGURES = re.compile(r"[\d.,]+")


def is_true(topic: str, job: Job) -> bool:
    """Whether a LOOK about a job without slip says something that is so, and worth a look."""
    if topic == "Material":
        return True  # a caution from the materials table
    if topic == "Stick-out":
        return job["part_length"] > 8 * min(job["size"], job.get("thickness") or job["size"]) and "guide" not in job.get("machine_type", "")
    if topic == "Quantities":
        return "quantity_2" in job  # a larger quantity that costs more each: tests/test_quote.py compares it with the costs
    return False


def clean_jobs(count: int, seed: int) -> list[tuple[str, Job]]:
    rng, jobs = random.Random(seed), []
    while len(jobs) < count:
        template = "quote" if len(jobs) % 5 > 2 else "job_plan"
        job = clean_job(rng, template)
        if "refused" not in words(template, job):
            jobs.append((template, job))
    return jobs


def slipped_jobs(count: int, seed: int) -> list[tuple[str, str, Job, Job]]:
    """Kind of slip, template, the job without it, the job with it."""
    rng = random.Random(seed)
    kinds = [kind for kind, (_, share) in SLIPS.items() for _ in range(share)]
    jobs: list[tuple[str, str, Job, Job]] = []
    for n in range(count):
        kind = kinds[n % len(kinds)]
        while True:
            template = rng.choice(list(TEMPLATES))
            clean = clean_job(rng, template)
            slip = None if "refused" in words(template, clean) else SLIPS[kind][0](rng, clean)
            if slip is not None:
                jobs.append((kind, template, clean, slip))
                break
    return jobs


def caught(template: str, clean: Job, slip: Job) -> bool:
    """Whether a check says something of the job with the slip that it doesn't say, with other figures, of the one without."""
    before, after = words(template, clean), words(template, slip)
    return bool({(topic, _FIGURES.sub("", said[1])) for topic, said in after.items()}
                - {(topic, _FIGURES.sub("", said[1])) for topic, said in before.items()})


def main(count: int = 228, seed: int = 20270304, show: bool = True) -> tuple[float, float]:
    """Print the two tables; the share of slips that are seen, and of clean jobs with a LOOK that is not true."""
    seen, of, missed = Counter[str](), Counter[str](), []
    for kind, template, clean, slip in slipped_jobs(count, seed):
        of[kind] += 1
        if caught(template, clean, slip):
            seen[kind] += 1
        else:
            missed.append((kind, slip["_slip"], template, slip))
    print(f"{'slip':<36}{'seen':>6}{'of':>6}")
    for kind in SLIPS:
        print(f"{kind:<36}{seen[kind]:>6}{of[kind]:>6}")
    print(f"{'all':<36}{seen.total():>6}{count:>6}  {seen.total() / count:.1%}\n")
    false, true, jobs = Counter[str](), Counter[str](), clean_jobs(count, seed)
    wrong = 0
    for template, job in jobs:
        said = words(template, job)
        wrong += any(not is_true(topic, job) for topic in said)
        for topic, (_, sentence) in said.items():
            (true if is_true(topic, job) else false)[topic] += 1
            if show and not is_true(topic, job):
                print("  not true:", template, topic, sentence, {k: v for k, v in job.items() if k[:3] != "op_"})
    print(f"{'LOOK or STOP on a job without slip':<36}{'true':>6}{'not':>6}")
    for topic in sorted(true | false):
        print(f"{topic:<36}{true[topic]:>6}{false[topic]:>6}")
    print(f"{'jobs with one that is not true':<36}{'':>6}{wrong:>6}  of {count}, {wrong / count:.1%}")
    if show:
        for item in missed:
            print("  not seen:", *item[:3], {k: v for k, v in item[3].items() if k[:3] != "op_"})
    return seen.total() / count, wrong / count


if __name__ == "__main__":
    import sys

    main(int(sys.argv[1]) if len(sys.argv) > 1 else 228, int(sys.argv[2]) if len(sys.argv) > 2 else 20270304)
