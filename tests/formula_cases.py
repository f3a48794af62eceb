"""Argument sets for every function, and a workbook that calculates its cell formula for each of them."""

import io
import math
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import openpyxl
from openpyxl.workbook.defined_name import DefinedName

import barfuncs as bf
from barfuncs.catalogue import materials
from barfuncs.catalogue.entry import CATALOGUE, Entry
from barfuncs.catalogue.formula import cell_formula
from barfuncs.catalogue.kinds import Kind, Quantities, kind_of
from barfuncs.errors import InputError
from barfuncs.xlsx.engine import column_letters

OWN_NAME, OWN_DENSITY = "Shop alloy 7", 6.125
OWN_FILE = f"name,density_g_cm3\n{OWN_NAME},{OWN_DENSITY}\n"
SOLID = ("round", "hexagon", "square", "octagon")
REL = 1e-12

WITH_FORMULA = tuple(e for e in CATALOGUE.values() if e.formula is not None)

# What a shop would give, (lowest, highest); where 0 is allowed it comes up too, and so do the declared limits.
_USUAL: dict[str, tuple[float, float]] = {
    "bar_length": (20, 6000), "length": (20, 6000), "length_left": (1, 4000), "part_length": (0.05, 300),
    "cutoff_width": (0.02, 6), "facing": (0.005, 2), "end_trim": (0.05, 20), "min_remnant": (0.5, 350),
    "grip_length": (0.5, 200), "face_to_cutoff": (0.05, 50), "size": (0.06, 100), "thickness": (0.01, 60),
    "bar_per_part": (0.1, 300), "stickout": (0.05, 200), "quantity": (1, 50_000), "parts_to_make": (1, 60_000),
    "parts_per_bar": (1, 900), "bars": (1, 800), "bars_loaded": (1, 60), "setup_parts": (1, 40), "cuts": (1, 500),
    "passes": (1, 12), "tool_changes": (1, 20), "gross_weight": (0.01, 5), "part_weight": (0.01, 4), "trim_weight": (0.01, 2),
    "finished_size": (0.06, 5), "demand": (1, 100_000), "clean_up": (0.001, 0.1), "minus_tolerance": (0.001, 0.1),
    "lathes": (1, 20), "people": (1, 4), "life_years": (1, 20), "hours_a_year": (500, 8000), "lathes_shared": (0.5, 12), "aql": (0.07, 6.4),
    "every": (1, 500), "first_off": (1, 10), "sample": (1, 200), "lot_size": (1, 600_000),
    "parts_on_edge": (1, 2000), "parts_bin": (1, 5000), "chip_bin_parts": (1, 5000), "bulk_factor": (1, 60),
    "chip_volume": (0.01, 5000), "part_volume": (0.01, 5000),
    "confidence": (0.5, 0.9999), "rear_hold": (0.5, 300), "parts_per_feed": (1, 12), "feed_strokes": (1, 5), "first_parts_scrapped": (1, 5),
    "parts_per_edge": (1, 2000), "parts_counted": (1, 2000), "edges": (1, 8), "regrinds": (1, 12), "longest_push": (2, 60), "taylor_exponent": (0.1, 0.6), "start_diameter": (0.05, 100), "end_diameter": (0.01, 90),
}
_USUAL_BY_READER: dict[str, tuple[float, float]] = {
    "length": (0.01, 5000), "weight": (0.01, 4000), "density": (0.05, 22), "seconds": (0.5, 2500), "minutes": (0.5, 300), "hours": (0.1, 200),
    "surface_speed": (5, 1500), "feed_rate": (0.001, 0.5), "spindle_speed": (50, 12_000), "pitch": (0.2, 6),
    "angle": (60, 150), "bin_volume": (1, 500), "number": (0.01, 5000), "count": (1, 5000), "fraction": (0.001, 0.9),
}


LENGTHS = ("12 ft", "1-3/8 in", "3/4", "19 mm", "2' 6-1/2\"", "825 thou", "3.66 m")
TEXTS: dict[str, tuple[str, ...]] = {
    "length": LENGTHS, "weight": ("12 lb", "8 oz", "3.5 kg"), "seconds": ("45 s", "1 min 20 s"), "minutes": ("15 min", "90 s"), "hours": ("90 min", "2 h"),
    "count": ("12 pcs", "1,200"), "fraction": ("3%", "0.25"), "number": ("$12.50",), "text": LENGTHS,
    "density": ("7.85 g/cm3",), "surface_speed": ("120 m/min", "400 sfm"), "spindle_speed": ("1200 rpm",),
    "feed_rate": ("0.1 mm/rev", "0.004 ipr"), "pitch": ("1.5 mm", "20 tpi"), "angle": ("118 deg",),
    "bin_volume": ("55 gal", "200 l"),
    "material": ("7.85 g/cm3", "0.284 lb/in3"),
}
"""Texts with a unit, by what reads them."""


@dataclass(frozen=True)
class Case:
    """One call: a function and its arguments in order, None for a blank cell."""

    entry: Entry
    values: tuple[Any, ...]

    def expected(self) -> Any:
        """What the Python function gives, or InputError (the class) where it refuses."""
        try:
            return getattr(bf, self.entry.name)(*self.values)
        except InputError:
            return InputError

    def __str__(self) -> str:
        return f"{self.entry.name}{self.values!r}"


def good_number(name: str, kind: Kind, rng: random.Random) -> float:
    low, high = _USUAL.get(name, _USUAL_BY_READER[kind.reader])
    if kind.reader == "fraction":
        low, high = max(low, kind.low), min(high, kind.closed_high)
    draw = rng.random()
    if draw < 0.08:
        return max(kind.closed_low, 1e-6) if kind.open_low else kind.low
    if draw < 0.10 and kind.high < 1e5:
        return kind.high if not kind.open_high else kind.high - 1e-6
    if draw < 0.12 and math.isfinite(kind.high) and kind.reader not in ("weight", "fraction"):
        return int(kind.high) if kind.whole else kind.high
    value = math.exp(rng.uniform(math.log(low), math.log(high)))
    if kind.whole:
        return max(round(value), int(kind.low))
    spelling = rng.randrange(4)
    if spelling == 0:
        value = max(round(value * 64), 1) / 64
    elif spelling == 1:
        value = max(round(value, 3), 0.001)
    elif spelling == 2:
        value = round(value, 3) / 25.4 * 25.4 or value
    return min(max(value, low), high) if kind.reader == "fraction" else value


def _good_material(units: str | None, rng: random.Random) -> Any:
    draw = rng.random()
    if draw < 0.1:
        return OWN_NAME
    if draw < 0.3:
        density = rng.choice((25.0, 0.5, rng.uniform(4, 22), round(rng.uniform(0.5, 22), 2), round(rng.uniform(4, 22), 4)))
        return density if (units or "").lower() == "mm" else min(max(density * 0.0361, 0.01807), 0.903)
    if draw < 0.4:
        return rng.choice((303, 304.0, 1018, 4140.0, 6061, 360))
    if draw < 0.55:
        return rng.choice(materials.builtin().spelling_rows())[0]  # what people write, such as 303stainless
    text = rng.choice(rng.choice(materials.builtin().rows).texts)
    return rng.choice((text, text.upper(), text.lower()))


def _one_set(entry: Entry, rng: random.Random, fitted: bool) -> tuple[Any, ...]:
    """A set in which each argument is good by itself; `fitted` also makes them go together."""
    found: dict[str, Any] = {}
    for a in reversed(entry.arguments):  # units come last and decide what a density in numbers may be
        if not a.required and rng.random() < 0.35:
            found[a.name] = None
        elif a.kind.reader == "choice":
            found[a.name] = rng.choice(a.kind.choices)
            if rng.random() < 0.1:
                found[a.name] = found[a.name].upper()
        elif a.kind.reader == "material":
            found[a.name] = _good_material(found.get("units"), rng)
        elif a.kind.reader == "text":
            found[a.name] = rng.choice(LENGTHS)
        elif a.name == "offers":
            found[a.name] = some_offers(rng)
        elif a.kind.columns:
            found[a.name] = some_part(rng)
        elif a.kind.reader == "table":
            found[a.name] = tuple(rng.randint(1, 5000) for _ in range(rng.randint(1, 4)))
        else:
            found[a.name] = good_number(a.name, a.kind, rng)
    if fitted:
        _fit(found, rng)
    return tuple(found[a.name] for a in entry.arguments)


def some_offers(rng: random.Random) -> tuple[tuple[Any, ...], ...]:
    """Rows of offers; now and then two of a length, at two prices."""
    rows: list[tuple[Any, ...]] = []
    for length in rng.sample((72.0, 120.0, 144.0, 240.0, 3000.0, 6000.0), rng.randint(1, 3)):
        rows.append((length, round(rng.uniform(0.5, 60), 2), ""))
        if rng.random() < 0.5:
            rows.append((length, round(rng.uniform(0.5, 50), 2), float(rng.choice((5, 50, 200, 1000)))))
    return tuple(rows)


def some_part(rng: random.Random) -> tuple[tuple[Any, ...], ...]:
    """Rows of sections that hang together; blank cells are None. Every row has as many cells, as an array must."""
    bore, rows = rng.choice((0.0, 0.0, rng.uniform(0.05, 5))), []
    for _ in range(rng.randint(1, 6)):
        shape = rng.choice(("round", "round", "hexagon", "square", "thread", "ROUND"))
        size = bore + rng.uniform(0.5, 40)
        end = size - rng.uniform(0.01, 0.3) if shape == "thread" else bore + rng.uniform(0.5, 40) if shape == "round" and rng.random() < 0.4 else ""
        narrow = bore * rng.uniform(0.1, 0.9) if bore and rng.random() < 0.3 else ""
        rows.append((shape, size, rng.uniform(0.01, 50), end, bore if bore else "", narrow))
    return tuple(rows)


def _fit(found: dict[str, Any], rng: random.Random) -> None:
    if "section_size" in found:
        _fit_section(found, rng)
    if "bar_per_part" in found and isinstance(found.get("sections"), tuple):
        found["bar_per_part"] = sum(row[2] for row in found["sections"]) * rng.choice((1.0, 1.1, 2.5))
        found["shape"], found["thickness"] = rng.choice(("round", "octagon", "hexagon")), None
        found["size"] = max(max(row[1], row[3] or 0) for row in found["sections"]) * rng.uniform(1.5, 4)
    if "longest_blank" in found:
        _fit_blanks(found, rng)
    if "shape" in found and "thickness" in found:
        shape = found["shape"].lower()
        if shape in SOLID:
            found["thickness"] = None
        elif shape == "flat":
            found["thickness"] = found["thickness"] or rng.uniform(0.1, 60)
        else:
            found["thickness"] = found["size"] * rng.choice((0.001, 0.25, 0.4999, rng.uniform(0.01, 0.49)))
    if "price_brackets" in found:
        found["price_brackets"] = tuple(v for start in rng.sample((1, 5, 20, 50, 100, 400, 2000), 3) for v in (start, round(rng.uniform(1, 60), 2)))
        if found.get("quantity") is not None:
            found["quantity"] = max(found["quantity"], min(found["price_brackets"][::2]))
    if found.get("stock_sizes") is not None:
        size = round(min(found["finished_size"], 2), 3) or 1.0
        found["finished_size"] = size
        found["stock_sizes"] = tuple(rng.sample([round(size * share, 3) or 1.0 for share in (0.5, 0.9, 1, 1.1, 1.5, 2, 4)], 4))
    if "parts_weight" in found:
        whole = found["bars"] * found["bar_weight"]
        share = rng.choice((0.0, 1.0, rng.random()))
        found["parts_weight"] = whole * share
        found["remnant_weight"] = whole * (1 - share) * rng.choice((0.0, 1.0, rng.random()))
    if "operation" in found:
        _fit_operation(found, rng)
    elif "feed_rate" in found:
        widest = next(name for name in ("outer_diameter", "start_diameter", "diameter") if name in found)
        found[widest] = max(found[widest], 2 * found["feed_rate"])
        if "inner_diameter" in found:
            found["inner_diameter"] = found[widest] * rng.choice((0.0, 0.5, 0.999, rng.uniform(0, 0.99)))
        if "end_diameter" in found:
            found["end_diameter"] = found[widest] * rng.choice((0.0, 0.5, 0.999, rng.uniform(0, 0.99)))
    if "rate_per" in found:
        for name, value in (("part_weight", 0.16), ("part_area", 7.5), ("time_each", 20.0)):
            if not found[name] and rng.random() < 0.9:
                found[name] = value
    if "box_weight" in found:
        found["part_weight"] = found["box_weight"] and found["box_weight"] / rng.choice((1.0, 7.0, 12.5, rng.uniform(1, 3000)))
        if not found["box_weight"] and not found["box_parts"]:
            found["box_parts"] = 50
    if "lot_size" in found and "sample_size" in found and found["lot_size"]:
        found["sample_size"] = min(found["sample_size"], found["lot_size"])
    if "service_time" in found:
        found["service_time"] = min(found["service_time"], 1000 * found["run_time"] * rng.choice((1.0, 0.001, 0.0001)))
    if "first_parts_scrapped" in found and "parts_to_make" in found and found["first_parts_scrapped"]:
        found["parts_per_bar"] = max(found["parts_per_bar"], found["first_parts_scrapped"] + rng.choice((1, 2, 40)))
    if "trim_weight" in found:
        feed = found["gross_weight"] or 0
        found["part_weight"] = found["part_weight"] and min(found["part_weight"], feed)
        if "bars" in found:
            found["bars"] = max(found["bars"], 1)
            whole = found["parts_to_make"] * feed / found["bars"] + (found["trim_weight"] or 0)
        else:
            whole = found["parts_per_bar"] * feed + (found["trim_weight"] or 0)
        found["bar_weight"] = min(whole * rng.choice((1.0, 1.5, rng.uniform(1, 20))), 1e9)
    if "markup" in found and "margin" in found and rng.random() < 0.9:
        found[rng.choice(("margin", "markup"))] = rng.choice((None, 0))
    if "scrap_credit" in found and found["scrap_credit"] is not None:
        costs = sum(found[name] or 0 for name in ("material_cost", "machine_cost", "setup_cost", "other_cost"))
        found["scrap_credit"] = min(costs * rng.choice((0.0, 1.0, rng.random())), 1e9)
    # Exact fits in tenths and thousandths, where floating point is a hair off the whole count.
    if rng.random() < 0.4:
        digits, count = rng.randint(1, 3), rng.randint(0, 400)
        if "bar_length" in found and "part_length" in found:
            feed = 0.0
            for name in ("part_length", "cutoff_width", "facing"):
                if found[name] is not None:
                    found[name] = max(round(min(found[name], 1000), digits), 0.1)
                    feed += found[name]
            lost = found["min_remnant"] + (found["end_trim"] or 0)
            found["bar_length"] = min(round(lost + count * feed, digits), 1e6)
        elif "length_left" in found:
            found["bar_per_part"] = max(round(min(found["bar_per_part"], 1000), digits), 0.1)
            found["length_left"] = min(round(found["min_remnant"] + count * found["bar_per_part"], digits), 1e6)
        elif "scrap_rate" in found and "quantity" in found:
            found["scrap_rate"] = round(rng.uniform(0, 0.5), 2)
            found["quantity"] = max(round(count * (1 - found["scrap_rate"])), 1)


def _fit_blanks(found: dict[str, Any], rng: random.Random) -> None:
    """Blanks of a few parts to some hundred, from a bar of up to a few dozen blanks; lengths in thousandths, some of them exact fits."""
    if rng.random() < 0.1:
        return
    part = round(rng.choice((2.375, 0.1, 12.6, rng.uniform(0.05, 40))), 3)
    rest, trim = round(part * rng.uniform(0, 12), 3), round(part * rng.uniform(0, 1), 3)
    found["bar_per_part"], found["min_remnant"] = part, rest
    found["end_trim"] = found["end_trim"] and trim
    found["kerf"] = round(part * rng.choice((0.0, 0.05, rng.uniform(0, 2))), 3)
    lost = rest + (found["end_trim"] or 0)
    longest = found["longest_blank"] = round(lost + part * rng.choice((1, 20, rng.uniform(0.9, 5), rng.uniform(1, 150))), 3)
    short = rng.choice((longest, lost + part * rng.uniform(0, 3), longest - part * rng.uniform(0, 2)))
    found["shortest_blank"] = found["shortest_blank"] and min(max(round(short, 3), 0), longest)
    if "supplied_length" in found:
        found["supplied_length"] = max(round(longest * rng.choice((1, 2, 5, rng.uniform(0.5, 30))), 3), 0.001)
        found["trim"] = found["trim"] and round(found["supplied_length"] * rng.choice((0.001, 0.02, 0.5)), 4)
    elif found["trim"]:
        found["trim"] = round(rng.uniform(0.01, 2), 3)
    if "price_per" in found and rng.random() < 0.8:
        found["price_per"], found["weight_per_length"] = rng.choice(("lb", "100 kg", "ft", "bar")), 4.0


def _fit_section(found: dict[str, Any], rng: random.Random) -> None:
    """Make a section, or two that meet, go together. Sometimes something is wrong all the same."""
    size = found["section_size"]
    if rng.random() < 0.05:
        return
    if "section_shape" in found:
        shape = found["section_shape"].lower()
        if shape == "thread":
            found["end_size"] = size * rng.uniform(0.7, 0.99)
        elif shape in ("hexagon", "square"):
            found["end_size"] = None
        elif found["end_size"] is not None:
            found["end_size"] = min(size * rng.choice((0.1, 0.9, 1.0, 1.5)), 1e6)
        inside = min(size, found["end_size"] or size)
    else:
        near = rng.choice((1.0, 0.7, 0.8, 0.9, 1.1, 1.2, 1.3, rng.uniform(0.3, 3)))
        found["next_size"] = found["next_size"] and max(min(size * near, 1e6), 1e-6)
        inside = min(size, found["next_size"] or size)
    for name in ("bore", "bore_end", "next_bore"):
        if found.get(name) is not None:
            found[name] = inside * rng.choice((0.01, 0.5, 0.999))
    if "bore_end" in found and found["bore"] is None:
        found["bore_end"] = None


def _fit_operation(found: dict[str, Any], rng: random.Random) -> None:
    """What the operation needs, each diameter and pitch within the cut. Sometimes one is left blank all the same."""
    for name, value in (("start_diameter", 20.0), ("length", 12.5), ("surface_speed", 150.0), ("feed_rate", 0.01),
                        ("top_speed", 3000.0), ("extra_time", 2.5)):
        if found[name] is None and rng.random() < 0.9:
            found[name] = value
    if found["start_diameter"] and found["feed_rate"]:
        found["start_diameter"] = max(found["start_diameter"], 2 * found["feed_rate"])
        found["end_diameter"] = found["start_diameter"] * rng.choice((0.0, 0.5, 0.999, rng.uniform(0, 0.99)))
    if found["length"] and found["feed_rate"]:
        found["length"] = max(found["length"], found["feed_rate"])


def good_cases(entry: Entry, rng: random.Random, count: int) -> list[Case]:
    cases: list[Case] = []
    while len(cases) < count:
        case = Case(entry, _one_set(entry, rng, fitted=True))
        if case.expected() is not InputError:
            cases.append(case)
        else:
            assert entry.rules, f"{case} is refused though each argument is within its limits"
    return cases


def is_counts(kind: Kind) -> bool:
    """Whether a table of this kind holds counts."""
    return kind == kind_of(Quantities)


def bad_values(kind: Kind, required: bool) -> list[Any]:
    """Everything that one argument must not be."""
    bad: list[Any] = [True]
    if required:
        bad.append(None)
    if kind.choices:
        return [*bad, "triangle", 1, 0]
    if kind.reader == "material":
        return [*bad, "unobtainium", "*", "?*", 0, -1, 0.01, 25.001, 174, 303.5, 630, 7850, "30*", "174", "303 brass", "1.4600"]
    if kind.reader == "text":
        return [*bad, "abc", "8 mil", "12,5", 7]
    if kind.name == "rows of offers":
        return [*bad, ((0.0, 1.0, ""),), ((144.0, -1.0, ""),), ((144.0, "", ""),), ((144.0, 1.0, -1.0),), ((144.0, 1.0, ""), (144.0, 2.0, "")),
                ((144.0, 1.0, ""),) * (kind.most_rows + 1)]
    if kind.columns:
        return [*bad, (("round", 0.0, 1.0, "", "", ""),), (("round", 1.0, -1.0, "", "", ""),), (("oval", 1.0, 1.0, "", "", ""),),
                (("round", 1.0, 1.0, "", 1.0, ""),), (("hexagon", 1.0, 1.0, 0.5, "", ""),), (("thread", 1.0, 1.0, "", "", ""),),
                (("round", "", 1.0, "", "", ""),), (("round", 1.0, 1.0, "", "", 0.5),),
                (("round", 1.0, 1.0, "", "", ""),) * (kind.most_rows + 1),
                (("round", 1.0, 1.0, "", 0.6, ""), ("round", 0.5, 1.0, "", "", ""))]
    if kind.reader == "table":
        return [*bad, (0,), (10, -5), *(((2.5,),) if is_counts(kind) else ()), ("many", 10)]
    bad += ["abc", "n/a", -1, -1e-9, -1e7, *((kind.low, kind.closed_low * 0.99) if kind.open_low else (kind.low - 1e-6,))]
    if math.isfinite(kind.high):
        bad += [kind.high if kind.open_high else kind.high * 1.000001 + kind.whole, kind.high * 10]
    if kind.whole:
        bad += [kind.low + 0.5, 2.25, 7 + 1e-6]
    return bad


def bad_cases(entry: Entry, rng: random.Random, count: int) -> list[Case]:
    """Sets with one bad argument each, and sets whose arguments break a rule between them."""
    breaking = count // 4 if entry.rules else 0
    todo = [(n, bad) for n, a in enumerate(entry.arguments) for bad in bad_values(a.kind, a.required)]
    rng.shuffle(todo)
    cases: list[Case] = []
    for n, bad in (todo * (count // len(todo) + 1))[:count - breaking]:
        values = list(good_cases(entry, rng, 1)[0].values)
        values[n] = bad
        cases.append(Case(entry, tuple(values)))
    while len(cases) < count:
        case = Case(entry, _one_set(entry, rng, fitted=False))
        if case.expected() is InputError:
            cases.append(case)
    return cases


def all_cases(good: int, bad: int, seed: int) -> list[Case]:
    rng, cases = random.Random(seed), []
    for entry in WITH_FORMULA:
        cases += good_cases(entry, rng, good) + bad_cases(entry, rng, bad)
    return cases


def blank_book() -> openpyxl.Workbook:
    """A workbook with the materials table and one material of the shop's own."""
    book = openpyxl.Workbook()
    sheet = book.create_sheet("Materials")
    sheet.append([OWN_NAME, OWN_DENSITY])
    sheet.append([None, None])
    rows = materials.builtin().rows
    for row in rows:
        sheet.append([row.name, row.density])
    spellings = materials.builtin().spelling_rows()
    for n, spelling in enumerate(spellings, start=1):
        sheet.cell(n, 3, spelling[0])
        sheet.cell(n, 4, spelling[1])
    first, last = 3, 2 + len(rows)
    for name, column, top, bottom in (
        ("own_material_names", "A", 1, 2), ("own_material_densities", "B", 1, 2), ("material_densities", "B", first, last),
        ("material_spellings", "C", 1, len(spellings)), ("material_spelling_rows", "D", 1, len(spellings)),
    ):
        book.defined_names[name] = DefinedName(name, attr_text=f"Materials!${column}${top}:${column}${bottom}")
    return book


def book_of(cases: Sequence[Case]) -> bytes:
    """One case in each row: the formula in column A of the first sheet, the arguments from column B on."""
    book = blank_book()
    sheet = book.worksheets[0]
    for row, case in enumerate(cases, start=1):
        refs = {}
        for column, (argument, value) in enumerate(zip(case.entry.arguments, case.values, strict=True), start=2):
            refs[argument.name] = f"{column_letters(column)}{row}"
            if value is not None:
                sheet.cell(row, column, value)
        sheet.cell(row, 1, "=" + cell_formula(case.entry, refs))
    return saved(book)


def saved(book: openpyxl.Workbook) -> bytes:
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def scale(case: Case) -> float:
    """Size of the figures that a result comes from by subtraction; 0 where nothing is subtracted."""
    named = dict(zip((a.name for a in case.entry.arguments), case.values, strict=True))
    match case.entry.name:
        case "remnant_length":
            return float(named["bar_length"])
        case "margin_of":
            return max(1.0, named["cost"] / named["price"])
        case "lathes_waiting":
            return float(named["lathes"])
        case "waiting_time":
            return float(named["lathes"] * (named["run_time"] + named["service_time"]))
        case "expected_hours":  # 1 less what is nearly 1
            return float(named["mean_time_between_stops"])
        case "price_at_margin":  # 1 less a margin of 0.999999 has 10 digits
            return float(named["cost"] / (1 - named["margin"]) ** 2)
        case "order_credit":
            return float(named["bars"] * named["bar_weight"] * max(named["chip_price"] or 0, named["remnant_price"] or 0))
        case "order_cost":
            return float(sum(value or 0 for value in case.values))
        case "scrap_credit":
            return float(named["bars"] * named["bar_weight"] * max(named["chip_price"] or 0, named["remnant_price"] or 0))
        case "section_volume":
            return float(max(named["section_size"], named["end_size"] or 0) ** 2 * named["section_length"])
        case "step_area":
            return float(max(named["section_size"], named["next_size"] or 0) ** 2)
        case "chips_per_part":
            return float(named["size"] ** 2 * named["bar_per_part"] * 0.9)
    return 0.0


def differences(cases: Sequence[Case], in_cell: Sequence[Any], is_error: Callable[[Any], bool]) -> list[str]:
    """Cases in which a cell and Python disagree by more than 1e-12 of the result, or show another text.

    A result that comes from a subtraction may be off by 1e-12 of what it was subtracted from, since that is as good as
    floating point makes it: a remnant of 2 out of a bar of 1,000,000 has 10 digits.
    """
    found = []
    for case, cell in zip(cases, in_cell, strict=True):
        expected = case.expected()
        if expected is InputError:
            agrees = is_error(cell)
        elif isinstance(expected, str):
            agrees = cell == expected
        else:
            agrees = (isinstance(cell, (int, float)) and not isinstance(cell, bool)
                      and math.isclose(cell, expected, rel_tol=REL, abs_tol=REL * scale(case)))
        if not agrees:
            name = "refused" if expected is InputError else repr(expected)
            found.append(f"{case}: Python {name}, cell {cell!r}")
    return found
