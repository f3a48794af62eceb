"""Generated jobs, good and bad, the same in every run."""

import random
from typing import Any

from barfuncs.kinds import ROUNDINGS

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
        "part_length": length(0.1, 8), "cutoff_width": length(0.03, 0.2), "standoff": length(0, 0.5),
        "grip_length": length(0.5, 4), "bar_length": length(36, 240), "quantity": rng.choice([1, 2, 7, 100, 999, 25_000]),
    }
    if shape in ("flat", "tube", "hexagon tube"):
        job["thickness"] = round(size * rng.uniform(0.05, 0.45), digits) or size / 4
    optional = {
        "facing": length(0, 0.06), "end_trim": length(0, 0.5), "scrap_rate": rng.choice([0, 0.01, 0.03, 0.125]),
        "setup_parts": rng.randint(0, 12), "price": round(rng.uniform(0.4, 60), 2),
        "price_per": rng.choice(["lb", "kg", "100 lb", "100 kg", "ft", "m", "bar", "piece"]),
        "cuts_per_bar": rng.randint(0, 2), "cut_charge": round(rng.uniform(0, 4), 2),
        "minimum_charge": rng.choice([0, 75, 100_000]), "chip_price": round(rng.uniform(0, 2), 2),
        "remnant_price": round(rng.uniform(0, 2), 2), "cycle_time": round(rng.uniform(4, 900), 1),
        "bar_change_time": rng.randint(0, 90), "efficiency": rng.choice([1, 0.85, 0.9]),
        "setup_hours": rng.choice([0, 0.5, 3]), "machine_rate": rng.choice([60, 95.5]), "feeder_bars": rng.randint(1, 40),
        "longest_feeder_bar": length(60, 160), "bars_on_hand": rng.randint(0, 300), "stop_parts": rng.randint(0, 5000),
        "stop_bars": rng.choice([1, 5, 99]), "stop_length": length(0, 3000),
    }
    for name, value in optional.items():
        if rng.random() < 0.6:
            job[name] = value
    if rng.random() < 0.3:
        job["longest_bar"] = round(job["bar_length"] * rng.uniform(1, 1.3), digits) + 1
    return job


BAD_VALUES: dict[str, tuple[Any, ...]] = {
    "units": ("cm",), "material": ("unobtainium", -7.85, 99.0, 0.0, None), "shape": ("rhombus", 3.0, None),
    "size": (None, -1.0, 0.0, "wide", 2e6), "part_length": (None, 0.0, -2.0, "two", 1e9), "cutoff_width": (None, -0.1, "x"),
    "facing": (-0.01, "x"), "end_trim": (-0.5, "x"), "standoff": (None, -1.0, "x"), "grip_length": (None, -1.0, "x"),
    "bar_length": (None, 0.0, -144.0, "x"), "quantity": (None, 0.0, -5.0, 2.5, "many"),
    "scrap_rate": (-0.01, 0.96, 3.0, "x"), "setup_parts": (-1.0, 0.5, "x"),
}
"""Values that reach the yield and quantity answers and must not give numbers there."""


def operations(rng: random.Random, unit: float, size: float, top_speed: bool) -> dict[str, Any]:
    """Some rows of an operation list that fit a bar, in any lines of it. Without `top_speed` each row has its own."""
    speed = 0.3048 if unit > 1 else 1.0
    rows: dict[str, Any] = {}
    for n in sorted(rng.sample(range(1, 13), rng.randint(1, 6))):
        operation = rng.choice(["turning", "facing", "cut-off", "drilling", "threading", "other"])
        row: dict[str, Any] = {"operation": operation}
        if operation == "other":
            row["extra_time"] = round(rng.uniform(0.5, 20), 1)
        else:
            diameter = round(size * rng.uniform(0.3, 1), 4)
            row |= {"start_diameter": diameter, "surface_speed": round(rng.uniform(60, 600) * speed, 1),
                    "feed_rate": round(rng.uniform(0.001, 0.01) * unit, 4)}
            if operation in ("facing", "cut-off"):
                row["end_diameter"] = rng.choice([0, round(diameter * rng.uniform(0, 0.8), 4)])
            else:
                row["length"] = round(rng.uniform(0.2, 3) * unit, 3)
            if rng.random() < 0.5 or not top_speed:
                row["top_speed"] = rng.choice([800, 2500, 6000])
            if rng.random() < 0.4:
                row["extra_time"] = round(rng.uniform(0, 3), 1)
        if rng.random() < 0.4:
            row["passes"] = rng.randint(1, 6)
        rows |= {f"op_{n}_{name}": value for name, value in row.items()}
        rows[f"op_{n}_note"] = f"Step {n}"
    return rows


def good_quote(rng: random.Random) -> dict[str, Any]:
    """A quote for which at least one whole part fits, with a cycle time, an operation list, or both."""
    job = good_job(rng)
    unit = 25.4 if job["units"] == "mm" else 1.0
    not_asked = ("quantity", "longest_bar", "feeder_bars", "bars_on_hand", "stop_parts", "stop_bars", "stop_length")
    job = {name: value for name, value in job.items() if name not in not_asked}
    for n, quantity in enumerate(rng.sample([1, 2, 7, 40, 100, 101, 250, 999, 1000, 5000, 25_000, 120_000], rng.randint(1, 6)), 1):
        job[f"quantity_{n}"] = quantity
    if len(job) % 3 == 0 and "quantity_2" in job:
        del job["quantity_2"]  # a gap
    job |= {"price": round(rng.uniform(0.4, 60), 2), "price_per": rng.choice(["lb", "kg", "100 lb", "100 kg", "ft", "m", "bar", "piece"]),
            "machine_rate": rng.choice([60, 95.5, 120]),
            "rounding": rng.choice([*ROUNDINGS])}
    job |= rng.choice([{"margin": 0.25}, {"margin": 0}, {"markup": 0.4}, {"markup": 0}, {"margin": 0.6, "markup": 0}])
    optional: dict[str, Any] = {
        "setup_rate": rng.choice([45, 0]), "other_per_part": round(rng.uniform(0, 3), 3), "other_per_order": rng.randint(0, 200),
        "tooling": rng.randint(0, 500), "what_if_quantity": rng.choice([1, 60, 3000]), "top_speed": rng.choice([1500, 4000]),
        "tool_changes": rng.randint(0, 8), "tool_change_time": round(rng.uniform(0, 6), 1),
        "rapid_time": round(rng.uniform(0, 9), 1), "bar_feed_time": round(rng.uniform(0, 5), 1),
        "tool": rng.choice(["carbide", "high-speed steel"]), "currency": "\u20ac", "terms": "Net 14 days.",
    }
    job |= {name: value for name, value in optional.items() if rng.random() < 0.5}
    if rng.random() < 0.6:
        job |= operations(rng, unit, job["size"], "top_speed" in job)
    if not any(name.startswith("op_") for name in job) or rng.random() < 0.3:
        job["cycle_time"] = round(rng.uniform(4, 900), 1)
    else:
        job.pop("cycle_time", None)
    return job
