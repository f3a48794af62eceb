"""Generated jobs, good and bad, the same in every run."""

import random
from typing import Any

from reference_part import drawn_start, with_part

import barfuncs as bf
from barfuncs.catalogue.kinds import (
    BAR_SHAPES,
    BAR_SURFACES,
    DEFECT_CLASSES,
    INSPECTION_LEVELS,
    LAST_BAR_RESTS,
    LAST_FEEDS,
    MACHINE_TYPES,
    NO_YES,
    OPERATIONS,
    PRICE_BASES,
    PRICED_PER,
    PROCESS_BASES,
    ROUNDINGS,
    SETUP_PRICED,
    SPINDLES,
    STEELS,
    TIMED_OPERATIONS,
    TOLERANCE_CLASSES,
)
from barfuncs.templates.registry import TEMPLATES

MATERIALS = ("Brass C36000", "Stainless 303", "Steel 1215", "Titanium grade 5", "7.85 g/cm3")


def good_job(rng: random.Random) -> dict[str, Any]:
    """A job for which at least one whole part fits."""
    units = rng.choice(["in", "mm"])
    unit = 25.4 if units == "mm" else 1.0
    digits = 2 if units == "mm" else 4

    def length(low: float, high: float) -> float:
        return round(rng.uniform(low, high) * unit, digits)

    shape = rng.choice(["round", "hexagon", "square", "octagon", "flat", "tube", "hexagon tube"])
    size = length(0.25, 4)
    job: dict[str, Any] = {
        "units": units, "material": rng.choice(MATERIALS), "shape": shape, "size": size,
        "part_length": length(0.1, 8), "cutoff_width": length(0.03, 0.2), "face_to_cutoff": length(0, 0.5),
        "grip_length": length(0.5, 4), "bar_length": length(36, 240), "quantity": rng.choice([1, 2, 7, 100, 999, 25_000]),
    }
    if shape in ("flat", "tube", "hexagon tube"):
        job["thickness"] = round(size * rng.uniform(0.05, 0.45), digits) or size / 4
    optional = {
        "finished_size": round(size * rng.choice([1, 1, rng.uniform(0.7, 1), rng.uniform(0.9, 1)]), digits),
        "surface": rng.choice(BAR_SURFACES), "tolerance_class": rng.choice(["standard", *TOLERANCE_CLASSES]),
        "defect_class": rng.choice(["class 1", *DEFECT_CLASSES]), "clean_up": length(0, 0.02), "steel": rng.choice(STEELS),
        "facing": length(0, 0.06), "end_trim": length(0, 0.5), "scrap_rate": rng.choice([0, 0.01, 0.03, 0.125]),
        "setup_parts": rng.randint(0, 12), "material_price": round(rng.uniform(0.4, 60), 2),
        "price_per": rng.choice(PRICE_BASES),
        "cuts_per_bar": rng.randint(0, 2), "cut_charge": round(rng.uniform(0, 4), 2),
        "material_surcharge": round(rng.uniform(0, 3), 3), "certificate_fee": rng.choice([0, 25, 60.5]), "material_freight": round(rng.uniform(0, 150), 2),
        "minimum_charge": rng.choice([0, 75, 100_000]), "chip_price": round(rng.uniform(0, 2), 2),
        "remnant_price": round(rng.uniform(0, 2), 2), "cycle_time": round(rng.uniform(4, 900), 1),
        "bar_change_time": rng.randint(0, 90), "efficiency": rng.choice([1, 0.85, 0.9]),
        "setup_hours": rng.choice([0, 0.5, 3]), "machine_rate": rng.choice([60, 95.5]), "feeder_bars": rng.randint(1, 40),
        "feeder_longest_bar": length(60, 160), "bars_on_hand": rng.randint(0, 300),
        "machine_type": rng.choice(MACHINE_TYPES), "top_speed": rng.choice([800, 2500, 6000]),
        "setup_rate": rng.choice([0, 45]), "last_bar_rest": rng.choice(LAST_BAR_RESTS), "confidence": rng.choice([0.5, 0.9, 0.95, 0.999]),
    }
    for name, value in optional.items():
        if rng.random() < 0.6:
            job[name] = value
    rarer = {
        "rear_hold": length(0, 6), "second_spindle_stock": length(0.05, 0.6), "first_parts_scrapped": rng.randint(0, 3),
        "parts_per_feed": rng.randint(1, 5), "last_feed": rng.choice(LAST_FEEDS),
    }
    job |= {name: value for name, value in rarer.items() if rng.random() < 0.3}
    alone = {"parts_bin": rng.choice([40, 500, 8000]), "chip_bin_count": rng.choice([60, 900, 20_000]),
             "chip_bin": rng.choice([10, 55, 200]) * (3.8 if units == "mm" else 1), "bulk_factor": rng.choice([5, 8.5, 30]),
             "mean_time_between_stops": rng.choice([2.5, 20, 150])}
    job |= {name: value for name, value in alone.items() if rng.random() < 0.45}
    if rng.random() < 0.5:
        for n in rng.sample(range(1, 11), rng.randint(1, 4)):
            job |= {f"tool_{n}_parts_per_edge": rng.choice([1, 60, 250, 4000]), f"tool_{n}_what": rng.choice(["drill", "OD turn", "cut-off"])}
            if rng.random() < 0.5:
                job[f"tool_{n}_parts_on_edge"] = rng.choice([0, 20, 60, 300])
            if rng.random() < 0.3:
                del job[f"tool_{n}_what"]
    if rng.random() < 0.4:
        job["kerf"] = length(0, 0.15)
        blanks = rng.randint(1, 4)
        job["supplied_length"] = round(blanks * (job["bar_length"] + job["kerf"]) + rng.choice([0, length(0, 20)]), digits + 2)
    elif rng.random() < 0.5:
        job["longest_random_bar"] = round(job["bar_length"] * rng.uniform(1, 1.3), digits) + 1
    if rng.random() < 0.3:
        job["part_weight"] = heaviest_part(job) * rng.choice([0.3, 0.8, 1])
    apart = random.Random(repr(job))  # what is drawn for the rest of the jobs stays as it was
    if apart.random() < 0.35:
        job |= sections(apart, job, digits)
        drawn = with_part(job)
        if apart.random() < 0.8 or drawn["part_weight"] > heaviest_part(drawn):
            job["part_length"] = None
            job.pop("part_weight", None)
        without = {name: value for name, value in job.items() if name != "finished_size"} | {"size": None}
        if shape in BAR_SHAPES and job["part_length"] is None and apart.random() < 0.5 and with_part(without)["size"] != "none":
            job = without
    if good_per_bar(with_part(job)) < 1:  # of a part or two nothing is left
        for name in ("first_parts_scrapped", "last_feed", "second_spindle_stock", "rear_hold"):
            job.pop(name, None)
    if apart.random() < 0.3:
        job["longest_push"] = round(apart.uniform(0.5, 12) * (25.4 if units == "mm" else 1.0), digits)
    return job


def good_per_bar(job: dict[str, Any]) -> int:
    """Parts of a bar without its first ones that are scrapped."""
    def given(name: str) -> Any:
        return job.get(name) or 0

    keeps = bf.min_remnant(job["grip_length"], job["face_to_cutoff"], given("rear_hold"))
    fit = bf.parts_per_bar(job["bar_length"], job["part_length"], job["cutoff_width"], keeps,
                           given("facing") + given("second_spindle_stock"), given("end_trim"))
    per_feed = given("parts_per_feed") or 1
    return bf.parts_in_full_feeds(fit, per_feed if given("last_feed") == LAST_FEEDS[1] else 1) - given("first_parts_scrapped")


def sections(rng: random.Random, job: dict[str, Any], digits: int) -> dict[str, Any]:
    """A part that comes out of the bar, section by section."""
    across = min(job["size"], job["thickness"]) if job["shape"] == "flat" else job["size"]
    tube = job["size"] - 2 * job["thickness"] if "tube" in job["shape"] else 0.0
    bore = tube + rng.uniform(0.05, 0.2) * (across - tube) if tube or rng.random() < 0.5 else 0.0
    rows: dict[str, Any] = {}
    count = rng.choice([1, 2, 3, 5, 16])
    for n in range(1, count + 1):
        shape = rng.choice(["round", None, "thread", "hexagon", "square"])
        widest = across * (1 if shape not in ("hexagon", "square") else 0.999 if shape == job["shape"] else 0.866 if shape == "hexagon" else 0.707)
        if widest < bore * 1.02:
            shape, widest = None, across
        size = rng.uniform(max(bore * 1.02, widest * 0.5), widest)
        row: dict[str, Any] = {"shape": shape, "size": size, "length": job["part_length"] / count * rng.uniform(0.7, 1.3)}
        if shape == "thread":
            row["end_size"] = bore + (size - bore) * rng.uniform(0.8, 0.95)
        elif shape in ("round", None) and rng.random() < 0.4:
            row["end_size"] = rng.uniform(max(bore * 1.02, across * 0.4), across)
        if bore and (tube or rng.random() < 0.7):
            row["bore"] = bore
            if not tube and rng.random() < 0.3:
                row["bore_end"] = bore * rng.uniform(0.3, 0.9)
        rows |= {f"section_{n}_{name}": float(f"{value:.10g}") if isinstance(value, float) else value for name, value in row.items()}
    return rows


def heaviest_part(job: dict[str, Any]) -> float:
    """The weight of the bar over the part's length."""
    weight = bf.weight_per_length(job["material"], job["shape"], job["size"], job.get("thickness"), job["units"])
    return weight / (1000 if job["units"] == "mm" else 12) * job["part_length"]


BAD_VALUES: dict[str, tuple[Any, ...]] = {
    "units": ("cm",), "material": ("unobtainium", -7.85, 99.0, 0.0, None), "shape": ("rhombus", 3.0, None),
    "size": (None, -1.0, 0.0, "wide", 2e6), "part_length": (None, 0.0, -2.0, "two", 1e9), "cutoff_width": (None, -0.1, "x"),
    "facing": (-0.01, "x"), "end_trim": (-0.5, "x"), "face_to_cutoff": (None, -1.0, "x"), "grip_length": (None, -1.0, "x"),
    "bar_length": (None, 0.0, -144.0, "x"), "quantity": (None, 0.0, -5.0, 2.5, "many"),
    "scrap_rate": (-0.01, 0.96, 3.0, "x"), "setup_parts": (-1.0, 0.5, "x"),
}
"""Values that reach the yield and quantity answers and must not give numbers there."""


BAD_IN_A_QUOTE: dict[str, tuple[Any, ...]] = {
    "margin": (1.0,), "markup": (0.2,), "material_price": (True,), "machine_rate": ("80",), "price_per": (None, "dozen"),
    "op_2_end_diameter": (True,), "op_5_feed_rate": (None,), "op_2_operation": (None,), "quantity_1": (None, 2.5), "units": ("cm",),
    "size": ("wide",), "cycle_time": (-1.0,), "part_weight": (9.0,), "material": (1.4305,),
}
"""Values that must leave a quote without a price, put one at a time into good inputs."""


def operations(rng: random.Random, unit: float, size: float, top_speed: bool, idea: float) -> dict[str, Any]:
    """Some rows of an operation list that fit a bar, in any lines of it. Without `top_speed` each row has its own; up to the
    surface speed `idea`, in ft/min, an edge may do without a count."""
    speed = 0.3048 if unit > 1 else 1.0
    rows: dict[str, Any] = {}
    for n in sorted(rng.sample(range(1, 13), rng.randint(1, 6))):
        operation = rng.choice(OPERATIONS)
        row: dict[str, Any] = {"operation": operation}
        if operation in TIMED_OPERATIONS:
            row["extra_time"] = round(rng.uniform(0.5, 20), 1)
        else:
            diameter = round(size * rng.uniform(0.3, 1), 4)
            row |= {"start_diameter": diameter, "surface_speed": round(rng.uniform(60, 600) * speed, 1),
                    "feed_rate": round(rng.uniform(0.001, 0.01) * unit, 4)}
            if operation in ("facing", "grooving", "cut-off", "taper turning"):
                row["end_diameter"] = rng.choice([0, round(diameter * rng.uniform(0, 0.8), 4)])
            if operation not in ("facing", "grooving", "cut-off"):
                row["length"] = round(rng.uniform(0.2, 3) * unit, 3)
            if rng.random() < 0.5 or not top_speed:
                row["top_speed"] = rng.choice([800, 2500, 6000])
            if rng.random() < 0.4:
                row["extra_time"] = round(rng.uniform(0, 3), 1)
        if rng.random() < 0.4:
            row["passes"] = rng.randint(1, 6)
        if rng.random() < 0.3:
            row["spindle"] = rng.choice(SPINDLES)
        if rng.random() < 0.4:
            row |= rng.choice(({"edge_cost": 3.5}, {"edge_change_time": 90}, {"edge_cost": 8, "edge_change_time": 240}))
            if operation not in ("turning", "facing", "boring") or row["surface_speed"] > idea * speed or rng.random() < 0.5:
                row["parts_per_edge"] = rng.randint(5, 2000)
        rows |= {f"op_{n}_{name}": value for name, value in row.items()}
        rows[f"op_{n}_note"] = f"Step {n}"
    return rows


def processes(rng: random.Random, area: bool) -> dict[str, Any]:
    """Some rows of outside and second operations, in any lines of the table."""
    rows: dict[str, Any] = {}
    for n in sorted(rng.sample(range(1, 7), rng.randint(1, 4))):
        per = rng.choice([per for per in PROCESS_BASES if area or not per.endswith("2")])
        row: dict[str, Any] = {"rate_per": per, "rate": round(rng.uniform(0, 3), 3) if per != "hour" else 38.5}
        if per == "hour":
            row["time_each"] = round(rng.uniform(1, 40), 1)
        for name, most in (("minimum", 150), ("freight", 40)):
            if rng.random() < 0.5:
                row[name] = rng.randint(0, most)
        rows |= {f"proc_{n}_{name}": value for name, value in row.items()} | {f"proc_{n}_note": f"Process {n}"}
    return rows


def brackets(rng: random.Random, job: dict[str, Any]) -> dict[str, Any]:
    """Some price brackets of the material, of which the quantities buy less, as much or more."""
    starts = sorted(rng.sample([1, 2, 10, 20, 35, 100, 250.5, 500, 1000, 2500, 10_000], rng.randint(1, 6)))
    price, rows = job["material_price"], {}
    for n, start in enumerate(starts, 1):
        price *= rng.uniform(0.6, 0.99)
        rows |= {f"bracket_{n}_from": start, f"bracket_{n}_price": round(price, 4)}
    return rows


def leave_start_to_the_part(job: dict[str, Any]) -> None:
    """Blank the start diameter of every second operation that takes it from the part that is drawn."""
    apart = random.Random(repr(job))
    for n in range(1, 13):
        operation = job.get(f"op_{n}_operation")
        start = drawn_start(with_part(job), operation) if operation else 0
        if start and job[f"op_{n}_feed_rate"] * 2 <= start and apart.random() < 0.5:
            job[f"op_{n}_start_diameter"] = None
            if job.get(f"op_{n}_end_diameter"):
                job[f"op_{n}_end_diameter"] = min(job[f"op_{n}_end_diameter"], start / 2)


def good_quote(rng: random.Random) -> dict[str, Any]:
    """A quote for which at least one whole part fits, with a cycle time, an operation list, or both."""
    job = good_job(rng)
    unit = 25.4 if job["units"] == "mm" else 1.0
    not_asked = ("quantity", "longest_random_bar", "feeder_bars", "bars_on_hand", "longest_push")
    job = {name: value for name, value in job.items() if name in TEMPLATES["quote"].inputs and name not in not_asked}
    per_bar = good_per_bar(with_part(job))
    usual = [1, 2, 7, 40, 100, 101, 250, 999, 1000, 5000, 25_000, 120_000]
    if per_bar > 0:  # one part more than some bars give
        usual += [bf.whole_bar_quantity(q, per_bar, job.get("scrap_rate", 0), job.get("setup_parts", 0)) + 1 for q in (1, 20, 300)]
    for n, quantity in enumerate(rng.sample(sorted({*usual}), rng.randint(1, 6)), 1):
        job[f"quantity_{n}"] = quantity
    if rng.random() < 0.3:
        job.pop("quantity_2", None)  # a gap
    job |= {"material_price": round(rng.uniform(0.4, 60), 2), "price_per": rng.choice(PRICE_BASES),
            "machine_rate": rng.choice([60, 95.5, 120]),
            "rounding": rng.choice([*ROUNDINGS])}
    job |= rng.choice([{"margin": 0.25}, {"margin": 0}, {"markup": 0.4}, {"markup": 0}, {"margin": 0.6, "markup": 0}])
    optional: dict[str, Any] = {
        "setup_rate": rng.choice([45, 0]), "other_per_part": round(rng.uniform(0, 3), 3), "other_per_order": rng.randint(0, 200),
        "tooling": rng.randint(0, 500), "what_if_quantity": rng.choice([1, 60, 3000]), "top_speed": rng.choice([1500, 4000]), "max_feed": rng.choice([60, 500]) * unit,
        "tool_changes": rng.randint(0, 8), "tool_change_time": round(rng.uniform(0, 6), 1),
        "rapid_time": round(rng.uniform(0, 9), 1), "bar_feed_time": round(rng.uniform(0, 5), 1),
        "first_off": rng.choice([0, 1, 3]), "every": rng.choice([1, 20, 500]), "aql": rng.choice([0.065, 0.15, 0.25, 0.65, 1.0, 1.5, 4.0, 6.5]),
        "inspection_level": rng.choice(INSPECTION_LEVELS), "inspection_time": rng.choice([20, 180]), "box_parts": rng.choice([1, 40, 500]),
        "box_cost": rng.choice([0.8, 4.25]), "surface_area": round(rng.uniform(0.5, 40) * unit * unit, 3), "priced_per": rng.choice([*PRICED_PER]),
        "minimum_order": rng.choice([0, 150, 2500]), "setup_priced": rng.choice(SETUP_PRICED), "offer_whole_bars": rng.choice(NO_YES),
        "longest_push": round(rng.uniform(1, 20) * unit, 2), "handover_time": round(rng.uniform(0, 6), 1),
        "tool": rng.choice(["carbide", "high-speed steel"]), "currency": "\u20ac", "terms": "Net 14 days.",
    }
    job |= {name: value for name, value in optional.items() if rng.random() < 0.5}
    # There are usual constants of tool life for these; with high-speed steel an edge does not last a part at every speed.
    idea = 0 if job["material"] not in ("Brass C36000", "Steel 1215") else 120 if job.get("tool") == "high-speed steel" else 600
    if rng.random() < 0.6:
        job |= operations(rng, unit, with_part(job)["size"], "top_speed" in job, idea)
    if "section_1_size" in job:
        leave_start_to_the_part(job)
    if rng.random() < 0.6:
        job |= processes(rng, "surface_area" in job or "section_1_size" in job)
    if rng.random() < 0.4:
        job |= brackets(rng, job)
    if "inspection_time" in job or rng.random() < 0.2:
        job["inspection_rate"] = rng.choice([45, 62.5])
    if rng.random() < 0.4 and job["part_length"]:
        job["box_weight"] = heaviest_part(with_part(job)) * rng.choice([1, 7.5, 250])
    solid = (job["material"], job["shape"], with_part(job)["size"])
    bar_weight = bf.bar_weight(*solid, job["bar_length"], job.get("thickness"), job["units"])
    bar_cost = bf.material_cost(1, job["material_price"], job["price_per"], job["bar_length"], bar_weight, units=job["units"])
    job |= {name: rng.uniform(0, 0.8) * bar_cost / bar_weight for name in ("chip_price", "remnant_price") if name in job}
    apart = random.Random(repr(job))  # which leaves all else as it is
    job |= {name: value for name, value in (("freight_charged", 35.5), ("valid_days", 30), ("paper", "letter")) if apart.random() < 0.3}
    if not any(name.startswith("op_") for name in job) or rng.random() < 0.3:
        job["cycle_time"] = round(rng.uniform(4, 900), 1)
    else:
        job.pop("cycle_time", None)
    return job


_PLAN = {"units": "in", "material": "Steel 1215", "size": 1.0, "part_length": 2.0, "cutoff_width": 0.1, "face_to_cutoff": 0.2, "grip_length": 2.0,
         "bar_length": 144.0, "supplied_length": 300.0, "kerf": 0.1, "material_price": 2.0, "price_per": "lb", "machine_rate": 80.0, "part_weight": 0.2, "finished_size": 0.9, "steel": "carbon below 0.25%",
         "feeder_longest_bar": 160.0, "machine_type": "guide bush", "top_speed": 4000.0, "rear_hold": 3.0, "first_parts_scrapped": 1.0}
GOOD_INPUTS: dict[str, dict[str, Any]] = {
    "job_plan": {**_PLAN, "quantity": 100.0, "feeder_bars": 4.0, "cycle_time": 40.0, "parts_bin": 400.0, "chip_bin": 55.0, "bulk_factor": 9.0,
                 "mean_time_between_stops": 20.0, "longest_push": 24.0, "tool_2_parts_per_edge": 300.0, "tool_2_parts_on_edge": 20.0},
    "quote": {**_PLAN, **{f"quantity_{n}": q for n, q in enumerate((500.0, 100.0, 1000.0, 2500.0, 60.0, 5000.0), 1)},
              "margin": 0.2, "what_if_quantity": 250.0, "setup_rate": 60.0, "setup_hours": 1.5, "longest_push": 24.0, "tool_changes": 3.0,
              "op_2_operation": "facing", "op_2_start_diameter": 1.0, "op_2_end_diameter": 0.25, "op_2_length": 1.0,
              "op_2_surface_speed": 400.0, "op_2_feed_rate": 0.005, "op_2_top_speed": 3000.0, "op_2_passes": 2.0,
              "op_2_extra_time": 1.5, "op_5_operation": "turning", "op_5_start_diameter": 1.0, "op_5_length": 1.75,
              "op_5_surface_speed": 400.0, "op_5_feed_rate": 0.006,
              "proc_1_rate": 0.85, "proc_1_rate_per": "lb", "proc_1_minimum": 20.0, "proc_1_freight": 30.0, "proc_2_rate": 38.0,
              "proc_2_rate_per": "hour", "proc_2_time_each": 12.0, "proc_4_rate": 0.9, "proc_4_rate_per": "ft2", "surface_area": 7.5,
              "first_off": 2.0, "every": 50.0, "aql": 1.0, "inspection_time": 90.0, "inspection_rate": 60.0, "box_weight": 35.0,
              "box_parts": 160.0, "box_cost": 4.2, "minimum_order": 50.0,
              "bracket_1_from": 20.0, "bracket_1_price": 1.9, "bracket_2_from": 2000.0, "bracket_2_price": 1.5,
              "setup_priced": "lines of their own", "freight_charged": 40.0, "valid_days": 30.0, "paper": "letter"},
}
"""For each template inputs with every optional one filled in that has no default, but for the thickness, which a round bar has
not; for the plan's bars on the shelf, without which the run rests on the order; and for the quote's cycle time, without which the
operation list counts, and its markup, since it has a margin."""
