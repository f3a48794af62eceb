"""The quote worked out in plain Python with the library's functions: what the template must agree with.

Prices are built up from `price_at_margin`, `price_at_markup` and `rounded_price`, returns from weights of parts and
remnants, what-ifs from inputs changed before anything else is worked out: not the ways of the template.
"""

import math
from typing import Any

from reference_part import bar_for_part, drawn_start, part, rows_of, with_part
from reference_plan import parts_of, supply

import barfuncs as bf
from barfuncs.catalogue import materials

BREAKS = range(1, 7)
OPERATIONS = range(1, 13)
BLANK_COUNTS_AS = {
    "scrap_rate": 0, "bar_change_time": 0, "efficiency": 1, "cut_charge": 0, "minimum_charge": 0, "material_surcharge": 0, "certificate_fee": 0, "material_freight": 0, "chip_price": 0,
    "remnant_price": 0, "other_per_part": 0, "other_per_order": 0, "tooling": 0, "margin": 0, "markup": 0,
    "tool_changes": None, "tool_change_time": 0, "rapid_time": 0, "bar_feed_time": 0, "handover_time": 0, "rear_hold": 0,
    "rounding": "nearest 0.01", "first_off": 0, "priced_per": "part", "setup_priced": "in the price", "inspection_level": "II", "currency": "", "last_bar_rest": "charged to the job", "confidence": 0.95,
}
"""What a blank counts as where there is no shop file."""
COLUMNS = ("start_diameter", "end_diameter", "length", "surface_speed", "feed_rate", "top_speed", "passes", "extra_time")


def order(i: dict[str, Any], quantity: float, cycle: float, bars_more: int = 0) -> dict[str, Any]:
    """The cost of one order, line by line."""
    trim, units, first = i["end_trim"], i["units"], i["first_parts_scrapped"]
    feed = i["part_length"] + i["cutoff_width"] + i["facing"] + i["second_spindle_stock"]
    per_bar = parts_of(i, i["bar_length"])
    remnant = i["bar_length"] - trim - per_bar * feed
    to_make = bf.parts_to_make(quantity, i["scrap_rate"], i["setup_parts"])
    bars = -(-to_make // (per_bar - first))
    to_make, bars = to_make + first * bars, bars + bars_more
    solid = (i["material"], i["shape"], i["size"])
    per_unit = bf.weight_per_length(*solid, i["thickness"], units) / (1000 if units == "mm" else 12)
    weight = bf.bar_weight(*solid, i["bar_length"], i["thickness"], units)
    each = i["part_weight"] if i["part_weight"] is not None else per_unit * i["part_length"]
    last = to_make - (bars - 1 - bars_more) * per_bar
    remnants = per_unit * ((bars - 1 - bars_more) * remnant + i["bar_length"] - trim - last * feed
                           + bars_more * (i["bar_length"] - trim))
    a: dict[str, Any] = {"parts_to_make": to_make, "bars": bars}
    bought = supply(i, bars)
    a |= {"bought": bought["bought"], "cuts": bought["cuts"]}
    length = bought["bought_length"]
    a["material_at"] = price = price_held(i, a["bought"] * counted_by_brackets(i, length, per_unit * length))
    per_bought = bf.material_cost(1, price, i["price_per"], length, per_unit * length, units=units) + i["material_surcharge"] * per_unit * length
    a["material_cost"] = max(i["minimum_charge"], a["bought"] * per_bought + a["cuts"] * i["cut_charge"]) + i["certificate_fee"] + i["material_freight"]
    to_rack = i["last_bar_rest"] == "back on the rack"
    a["last_rest"] = i["bar_length"] - trim - last * feed
    useful = a["last_rest"] >= (max(i["grip_length"] + i["face_to_cutoff"], i["rear_hold"]) + feed + trim) * (1 - 1e-9)
    a["rest_length"] = a["last_rest"] if to_rack and useful else 0
    blanks = 1 if i["price_per"] == "blank" else bought["blanks_per_supplied"]
    a["rack_length"] = a["rest_length"] + (a["bought"] * blanks - bars) * i["bar_length"] * to_rack
    a["rack_value"] = per_bought * a["rack_length"] / length
    a["material_used"] = a["material_cost"] - a["rack_value"]
    a["rack_weight"] = per_unit * a["rest_length"]
    a["scrap_credit"] = bf.scrap_credit(bars, weight, to_make * each, remnants - a["rack_weight"], i["chip_price"], i["remnant_price"],
                                        a["rack_weight"])
    a["machine_cost"] = (to_make * cycle / i["efficiency"] + max(0, -(-to_make // per_bar) - 1) * i["bar_change_time"]) / 3600 \
        * i["machine_rate"]
    a["setup_cost"] = i["setup_hours"] * (i["machine_rate"] if i["setup_rate"] is None else i["setup_rate"])
    a["other_cost"] = quantity * i["other_per_part"] + i["other_per_order"] + i["tooling"]
    a["tool_cost"] = to_make * i["tool_each"]
    a |= beside_the_lathe(i, quantity, to_make, each)
    a["beside_lathe"] = a["other_cost"] + a["tool_cost"] + a["process_cost"] + a["inspection_cost"] + a["packing_cost"]
    a["order_cost"] = a["material_used"] - a["scrap_credit"] + a["machine_cost"] + a["setup_cost"] + a["beside_lathe"]
    if a["order_cost"] < 0:  # scrap that brings more than the order costs is a mistake somewhere
        return a | {"order_cost": None, "cost_each": None, "before_rounding": None}
    once = a["setup_cost"] + i["tooling"] if i["setup_priced"] == "lines of their own" else 0
    if a["order_cost"] < once:
        return a | {"cost_each": None, "before_rounding": None}
    a["cost_each"] = (a["order_cost"] - once) / quantity
    a["before_rounding"] = bf.price_at_markup(bf.price_at_margin(a["cost_each"], i["margin"]), i["markup"])
    return a


COUNTED = {"lb": 1, "100 lb": 100, "112 lb": 112, "2000 lb": 2000, "kg": 1, "100 kg": 100, "tonne": 1000}
"""How many lb or kg a price by weight is for: brackets count single ones."""


def brackets_of(i: dict[str, Any]) -> list[tuple[float, float]]:
    return [(i[f"bracket_{n}_from"], i[f"bracket_{n}_price"]) for n in range(1, 7) if i[f"bracket_{n}_from"] is not None]


def counted_by_brackets(i: dict[str, Any], length: float, weight: float) -> float:
    """How many lb, kg, ft, m, bars or blanks a bar is."""
    mm, kg = (1, 1) if i["units"] == "mm" else (25.4, 0.45359237)
    per = i["price_per"]
    if per in ("bar", "blank"):
        return 1
    if per in ("ft", "m"):
        return length * mm / {"ft": 304.8, "m": 1000}[per]
    return weight * kg / (1 if per in ("kg", "100 kg", "tonne") else 0.45359237)


def price_held(i: dict[str, Any], amount: float) -> float:
    """The price that holds for what is bought: that of the last bracket which begins there or before."""
    return [i["material_price"], *(price for start, price in brackets_of(i) if start <= amount * (1 + 1e-9))][-1]


def bought_by_brackets(i: dict[str, Any], a: dict[str, Any], n: int) -> dict[str, Any]:
    """What a quantity buys, and how many larger brackets cost less for the fewest bars that they hold for."""
    each = counted_by_brackets(i, a["bought_length"], a["bought_weight"])
    pack = COUNTED.get(i["price_per"], 1)
    if not brackets_of(i):
        return {"buys": 0, "bars_cost": 0, "cheaper": 0}

    def cost(bars: float, price: float) -> float:
        return bars * (each / pack * price + i["material_surcharge"] * a["bought_weight"])

    bars, cuts = a[f"bought_{n}"], a[f"cuts_{n}"] * i["cut_charge"]
    now = cost(bars, a[f"material_at_{n}"])
    starts = [(math.ceil(start / each * (1 - 1e-12) - 1e-9), price) for start, price in brackets_of(i)]
    cheaper = [price for more, price in starts if more > bars and max(i["minimum_charge"], cost(more, price) + cuts)
               < max(i["minimum_charge"], now + cuts) - 1e-9 * now]
    return {"buys": bars * each, "bars_cost": now, "cheaper": len(cheaper)}


# ISO 2859-1 by its rule instead of its tables: what is in a sample and how many of it may be bad, by the letter's place and the
# AQL's, both counted from 1.
_LOTS = (9, 16, 26, 51, 91, 151, 281, 501, 1201, 3201, 10001, 35001, 150001, 500001)
_STEPS = {"II": _LOTS, "III": _LOTS, "I": tuple(lot for lot in _LOTS if lot not in (9, 51)), "S-1": (51, 501, 35001),
          "S-2": (26, 151, 1201, 35001), "S-3": (16, 51, 151, 501, 3201, 35001, 500001),
          "S-4": (16, 26, 91, 151, 501, 1201, 10001, 35001, 500001)}
_SIZES = (2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000)
_AQLS = (0.065, 0.1, 0.15, 0.25, 0.4, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5)
_ACCEPTED = {12: 0, 15: 1, 16: 2, 17: 3, 18: 5, 19: 7, 20: 10, 21: 14, 22: 21}


def sample(i: dict[str, Any], lot: float) -> tuple[int, int]:
    """Parts in the sample of a lot, and the acceptance number."""
    if i["aql"] is None:
        return 0, 0
    letter = 1 + sum(lot >= first for first in _STEPS[i["inspection_level"]]) + (i["inspection_level"] == "III")
    column = sum(aql <= i["aql"] for aql in _AQLS)
    plan = min(_ACCEPTED, key=lambda p: (p < letter + column if letter + column == 14 else abs(p - letter - column), p))
    return min(int(lot), _SIZES[plan - column - 1]), _ACCEPTED[plan]


def inspected(i: dict[str, Any], quantity: float, to_make: int) -> int:
    every = i["every"] or 0
    running = [n for n in range(1, int(to_make) + 1) if n <= i["first_off"] or (every and not (n - i["first_off"]) % every)] \
        if to_make < 3000 else range(int(i["first_off"] + ((to_make - i["first_off"]) // every if every else 0)))
    return min(to_make, len(running) + sample(i, quantity)[0])


def parts_in_box(i: dict[str, Any], each: float) -> int:
    room = i["box_parts"] or 10**7
    by_weight = int(i["box_weight"] / each + 1e-9) if i["box_weight"] is not None else 10**7
    return min(room, by_weight) if i["box_parts"] or i["box_weight"] is not None else 0


IN_LINES = ("process_cost", "inspection_cost", "packing_cost")
"""Shown at each quantity alone."""


def beside_the_lathe(i: dict[str, Any], quantity: float, to_make: int, each: float) -> dict[str, float]:
    """Outside work, inspection and packing of an order."""
    metric = i["units"] == "mm"
    kg, m2 = each * (1 if metric else 0.45359237), (i["surface_area"] or 0) * (1e-6 if metric else 0.00064516)
    processes = 0.0
    for n in range(1, 7):
        per, rate = i[f"proc_{n}_rate_per"], i[f"proc_{n}_rate"]
        if per is None:
            continue
        units = {"part": quantity, "100 parts": quantity / 100, "1000 parts": quantity / 1000, "lot": 1, "kg": quantity * kg,
                 "hour": quantity * (i[f"proc_{n}_time_each"] or 0) / 3600, "lb": quantity * kg / 0.45359237, "100 kg": quantity * kg / 100,
                 "100 lb": quantity * kg / 45.359237, "m2": quantity * m2, "dm2": quantity * m2 * 100, "ft2": quantity * m2 / 0.09290304,
                 "in2": quantity * m2 / 0.00064516}[per]
        processes += max(i[f"proc_{n}_minimum"] or 0, rate * units) + (i[f"proc_{n}_freight"] or 0)
    looked_at = inspected(i, quantity, to_make) * (i["inspection_time"] or 0) / 3600 * (i["inspection_rate"] or 0)
    box = parts_in_box(i, each)
    return {"process_cost": processes, "inspection_cost": looked_at, "packing_cost": -(-quantity // box) * (i["box_cost"] or 0) if box else 0}


def priced(i: dict[str, Any], quantity: float, cycle: float) -> dict[str, Any]:
    a = order(i, quantity, cycle)
    exact = a.pop("before_rounding")
    if exact is None:
        return a | {"price": None, "total": None}
    shown_for = {"part": 1, "100 parts": 100, "1000 parts": 1000}[i["priced_per"]]
    a["price"] = bf.rounded_price(exact * shown_for, i["rounding"]) / shown_for
    a["total"] = bf.rounded_price(quantity * a["price"], "nearest 0.01")
    return a


TIMED = ("knurling", "milling", "cross drilling", "other")
TAYLOR = {("carbide", "steel"): (0.25, 500, 1500), ("carbide", "easy"): (0.25, 900, 2700),
          ("high-speed steel", "steel"): (0.125, 70, 200), ("high-speed steel", "easy"): (0.125, 120, 350)}
WORK = {"free-machining steel": "steel", "carbon steel": "steel", "brass": "easy", "aluminum": "easy"}


def edges(i: dict[str, Any], n: int, seconds: float, group: str) -> tuple[Any, float]:
    """The idea of parts per edge of a row, and the share of an edge that one part uses."""
    idea: Any = ""
    cut = seconds - (i[f"op_{n}_passes"] or 1) * (i[f"op_{n}_extra_time"] or 0)
    if group in WORK and cut > 0 and i[f"op_{n}_operation"] in ("facing", "turning", "taper turning", "boring"):
        exponent, metric, inch = TAYLOR[i["tool"], WORK[group]]
        minutes = ((metric if i["units"] == "mm" else inch) / i[f"op_{n}_surface_speed"]) ** (1 / exponent)
        idea = math.floor(minutes * 60 / cut * (1 + 1e-15) + 1e-9)
    if not i[f"op_{n}_edge_cost"] and not i[f"op_{n}_edge_change_time"]:
        return idea, 0
    return idea, 1 / (i[f"op_{n}_parts_per_edge"] or idea)


def cycle_of(i: dict[str, Any], a: dict[str, Any]) -> dict[str, Any]:
    """The cycle time from the operation list, side by side."""
    found: dict[str, Any] = {}
    rows = {n: i[f"op_{n}_operation"] for n in OPERATIONS if i[f"op_{n}_operation"] is not None}
    second = {n for n in rows if i[f"op_{n}_spindle"] == "second"}
    tools = [len([n for n in side if rows[n] != "other"]) for side in (set(rows) - second, second)]
    changes = [count if count > 1 else 0 for count in tools]
    found["main_changes"] = changes[0] if i["tool_changes"] is None else i["tool_changes"]
    found["second_changes"] = changes[1]
    found["second_cutting"] = sum(a[f"op_{n}_time"] for n in second)
    strokes = 1 if i["longest_push"] is None else math.ceil(a["bar_per_part"] * i["parts_per_feed"] / i["longest_push"] - 1e-9)
    found["strokes"] = strokes
    found["feed_each"] = i["bar_feed_time"] * strokes / i["parts_per_feed"]
    found["main_side"] = (a["cutting_time"] - found["second_cutting"] + found["main_changes"] * i["tool_change_time"] + i["rapid_time"]
                          + found["feed_each"])
    found["second_side"] = found["second_cutting"] + found["second_changes"] * i["tool_change_time"]
    group = a["material_group"]
    exponent, metric, inch = TAYLOR[i["tool"], WORK[group]] if group in WORK else (0, 0, 0)
    found["taylor_work"] = {"steel": "mild steel", "easy": "brass or aluminum", None: ""}[WORK.get(group)]
    found["taylor_n"], found["taylor_c"] = exponent, metric if i["units"] == "mm" else inch
    found["edge_change_each"], found["tool_each"], found["edge_ideas"] = 0, 0, 0
    for n in OPERATIONS:
        idea, share = edges(i, n, a[f"op_{n}_time"], group)
        found |= {f"op_{n}_usual_edge": idea, f"op_{n}_edge_share": share,
                  f"op_{n}_side": 0 if rows.get(n) in (None, "other") else 2 if n in second else 1}
        found["edge_change_each"] += share * (i[f"op_{n}_edge_change_time"] or 0)
        found["tool_each"] += share * (i[f"op_{n}_edge_cost"] or 0)
        found["edge_ideas"] += share > 0 and not i[f"op_{n}_parts_per_edge"]
    longer = max(found["main_side"], found["second_side"])
    found["listed_cycle"] = longer + i["handover_time"] + found["edge_change_each"] if a["cutting_time"] else None
    return found


def reached(i: dict[str, Any], listed: bool) -> dict[str, Any]:
    """Whether the operation list makes the thinnest section of the part that is drawn, and its bore."""
    part = rows_of(i)
    threads = [row for row in part if row[0] == "thread"]
    found: dict[str, Any] = {"least_section": 0, "not_turned": "", "not_reached": "",
                             "thread_pitch_size": threads[0][3] if len(threads) == 1 else 0}
    if not part or not listed:
        return found
    at, (shape, least, *_) = min(enumerate(part, start=1), key=lambda row: row[1][1])
    found["least_section"] = least
    rows = [(i[f"op_{n}_operation"], i[f"op_{n}_end_diameter"] or 0) for n in OPERATIONS if i[f"op_{n}_operation"]]
    turned = any(end <= least * 1.005 for operation, end in rows
                 if operation in ("turning", "taper turning", "grooving") or (operation == "facing" and end > 0))
    names = {operation for operation, _ in rows}
    if shape in (None, "round"):
        made, words = turned, "turns down to"
    elif shape == "thread":
        made, words = turned or "threading" in names, "turns or threads"
    else:
        made, words = bool(names & {"milling", "other"}), "mills the flats of"
    across = min(i["size"], i["thickness"]) if i["shape"] == "flat" else i["size"]
    said = []
    if least < across * 0.995 and not made:
        size = f"{least:.4f}".rstrip("0").rstrip(".")
        said.append(f"{words} {i[f'section_{at}_note'] or f'section {at}'}, {size}")
        found["not_turned"] = said[0]
    bored = any((row[4] or 0) > 0 for row in part)
    if bored and "tube" not in i["shape"] and not names & {"drilling", "reaming", "boring"}:
        said.append("makes the bore")
    found["not_reached"] = "; no row ".join(said)
    return found


def operation(i: dict[str, Any], n: int) -> tuple[float, float, float]:
    """Top speed, time and spindle speed at the start of one row of the operation list."""
    row = {name: i[f"op_{n}_{name}"] for name in COLUMNS}
    if row["start_diameter"] is None and i[f"op_{n}_operation"]:
        row["start_diameter"] = drawn_start(i, i[f"op_{n}_operation"]) or None
    limit = row["top_speed"] if row["top_speed"] is not None else i["top_speed"]
    what = i[f"op_{n}_operation"]
    if i["max_feed"] is not None and row["feed_rate"] is not None and what not in ("facing", "grooving", "cut-off"):
        followed = min(1e6, i["max_feed"] / row["feed_rate"])
        limit = followed if limit is None else min(limit, followed)
    if what is None:
        return limit or 0, 0, 0
    given = {name: value for name, value in (row | {"top_speed": limit}).items() if value is not None}
    speed = bf.spindle_speed(row["surface_speed"], row["start_diameter"], limit, i["units"]) if what not in TIMED else 0
    return limit or 0, bf.operation_time(what, **given, units=i["units"]), speed


def quote(i: dict[str, Any]) -> dict[str, Any]:
    """Answers by name; None where the template must show an error. `i` are inputs as `read_inputs` gives them."""
    i = {**i, **{name: default if i[name] is None else i[name] for name, default in BLANK_COUNTS_AS.items()}}
    i = with_part(i)
    units, trim, facing = i["units"], i["end_trim"], i["facing"] + i["second_spindle_stock"]
    a_first = i["first_parts_scrapped"]
    solid = (i["material"], i["shape"], i["size"])
    a: dict[str, Any] = bar_for_part(i)
    a["bar_per_part"] = bf.bar_per_part(i["part_length"], i["cutoff_width"], facing)
    a["min_remnant"] = max(i["grip_length"] + i["face_to_cutoff"], i["rear_hold"])
    a["front_stock"] = facing
    a["parts_per_bar"] = per_bar = parts_of(i, i["bar_length"])
    a["good_per_bar"] = per_bar - a_first
    a["remnant"] = i["bar_length"] - trim - per_bar * a["bar_per_part"]
    a["bar_use"] = per_bar * i["part_length"] / i["bar_length"]
    a["first_stickout"] = i["face_to_cutoff"] + i["parts_per_feed"] * a["bar_per_part"] + trim
    a["stickout_ratio"] = bf.stickout_ratio(a["first_stickout"], i["size"])
    a["section_area"] = bf.section_area(i["shape"], i["size"], i["thickness"])
    a["across_corners"] = bf.across_corners(i["shape"], i["size"], i["thickness"])
    a["weight_per_length"] = bf.weight_per_length(*solid, i["thickness"], units)
    a["bar_weight"] = bf.bar_weight(*solid, i["bar_length"], i["thickness"], units)
    a["section_weight"] = per_unit = a["weight_per_length"] / (1000 if units == "mm" else 12)
    a["each_weight"] = i["part_weight"] if i["part_weight"] is not None else per_unit * i["part_length"]
    a |= part(i, per_unit * a["bar_per_part"])
    a["part_sections"] = len(rows_of(i))
    a["largest_bore"], a["rear_width"], a["thread_size"] = (drawn_start(i, operation) for operation in ("drilling", "cut-off", "threading"))
    a["part_scale"] = 0.98 * min(3 / a["drawn_length"], 1 / a["part_width"]) if rows_of(i) else 0
    a["gross_weight"], a["trim_weight"] = per_unit * a["bar_per_part"], per_unit * trim
    table = materials.active()
    listed = i["material"] in table
    found = table[i["material"]] if listed else None
    a["density"] = bf.material_density(i["material"], units)
    a["material_row"] = [row.name for row in materials.builtin().rows].index(found.name) + 1 if found else 0
    a["material_name"] = found.name if found else i["material"]
    a["material_caution"], a["material_group"] = (found.caution or "", found.group) if found else ("", "")
    a["machine_row"] = a["largest_size"] = a["own_problems"] = a["shop_problems"] = 0
    a["currency_shown"] = i["currency"]
    a["margin_counted"] = i["margin"]
    bought = supply(i, 1)
    a["blanks_per_supplied"], a["cuts_per_supplied"] = bought["blanks_per_supplied"], bought["cuts_per_supplied"]
    a["bought_as_blanks"] = int(i["price_per"] == "blank")
    a["blanks_each"] = 1 if a["bought_as_blanks"] else a["blanks_per_supplied"]
    a["bought_length"] = bought["bought_length"]
    a["bought_weight"] = per_unit * a["bought_length"]
    a["parts_per_bought"] = a["good_per_bar"] * a["blanks_each"]
    a["setting_rate"] = i["machine_rate"] if i["setup_rate"] is None else i["setup_rate"]
    a["speed_allowed"], a["feed_allowed"] = i["top_speed"] or 0, i["max_feed"] or 0
    for n in OPERATIONS:
        a[f"op_{n}_limit"], a[f"op_{n}_time"], a[f"op_{n}_speed"] = operation(i, n)
    a["cutting_time"] = sum(a[f"op_{n}_time"] for n in OPERATIONS)
    a |= cycle_of(i, a) | reached(i, a["cutting_time"] > 0)
    a["cycle"] = cycle = a["listed_cycle"] if i["cycle_time"] is None else i["cycle_time"]
    i["tool_each"] = a["tool_each"]
    for n in range(1, 7):
        row = {name: i[f"proc_{n}_{name}"] for name in ("rate", "rate_per", "time_each", "minimum", "freight")}
        alone = i | {f"proc_{m}_rate_per": None for m in range(1, 7) if m != n} | {f"proc_{n}_minimum": 0, f"proc_{n}_freight": 0}
        charged = [beside_the_lathe(alone, q, 1, a["each_weight"])["process_cost"] for q in (1, i["quantity_1"])]
        a[f"proc_{n}_each"] = 0 if row["rate_per"] == "lot" else charged[0]
        a[f"proc_{n}_lot"] = charged[0] if row["rate_per"] == "lot" else 0
        a[f"proc_{n}_first"] = max(row["minimum"] or 0, charged[1]) + (row["freight"] or 0)
    a["brackets_used"] = len(brackets_of(i))
    a["brackets_pack"] = COUNTED.get(i["price_per"], 1) if brackets_of(i) else 1
    a["brackets_each"] = counted_by_brackets(i, a["bought_length"], a["bought_weight"]) if brackets_of(i) else 0
    for n in range(1, 7):
        start, price = i[f"bracket_{n}_from"], i[f"bracket_{n}_price"]
        bars = 0 if start is None else math.ceil(start / a["brackets_each"] * (1 - 1e-12) - 1e-9)
        a[f"bracket_{n}_bars"] = bars
        a[f"bracket_{n}_cost"] = bars * (price * a["brackets_each"] / a["brackets_pack"] + i["material_surcharge"] * a["bought_weight"]) if bars else 0
    a["parts_in_box"] = parts_in_box(i, a["each_weight"])
    a["process_used"] = sum(a[f"proc_{n}_each"] + a[f"proc_{n}_lot"] + (i[f"proc_{n}_minimum"] or 0) + (i[f"proc_{n}_freight"] or 0)
                            for n in range(1, 7))
    a["more_used"] = a["process_used"] + (i["inspection_time"] or 0) + a["parts_in_box"]
    a["priced_parts"] = shown_for = {"part": 1, "100 parts": 100, "1000 parts": 1000}[i["priced_per"]]
    once = {"setup_line": i["setup_hours"] * a["setting_rate"], "tooling_line": i["tooling"]}
    apart = i["setup_priced"] == "lines of their own"
    a["own_lines_cost"] = sum(once.values()) if apart else 0
    a |= {name: bf.rounded_price(bf.price_at_markup(bf.price_at_margin(cost, i["margin"]), i["markup"])) if apart else 0
          for name, cost in once.items()}
    for n in BREAKS:
        quantity = i[f"quantity_{n}"]
        at_it = ("margin", "whole", "sure", "order_parts", "sample", "accepted", "inspected", "boxes", "shown", "value", "buys", "bars_cost")
        names = [*priced(i, 1, cycle), *at_it, *(f"{name}_whole" for name in priced(i, 1, cycle) if name not in IN_LINES)]
        a |= {f"{name}_{n}": None for name in names} | {f"offer_{n}": "", f"cheaper_{n}": 0, f"accepted_{n}": "" if i["aql"] is None else None}
        if not brackets_of(i):
            a[f"material_at_{n}"] = a[f"material_at_whole_{n}"] = i["material_price"]
        a[f"setup_cost_{n}"] = a[f"setup_cost_whole_{n}"] = i["setup_hours"] * a["setting_rate"]
        if quantity is None:
            continue
        a |= {f"{name}_{n}": value for name, value in priced(i, quantity, cycle).items()}
        a[f"order_parts_{n}"] = sure = bf.parts_to_make(quantity, i["scrap_rate"], i["setup_parts"], i["confidence"])
        a[f"sure_{n}"] = sure + a_first * -(-sure // a["good_per_bar"])
        a[f"margin_{n}"] = (a[f"price_{n}"] - a[f"cost_each_{n}"]) / a[f"price_{n}"] if a[f"price_{n}"] else None
        a[f"whole_{n}"] = whole = bf.whole_bar_quantity(quantity, a["parts_per_bought"], i["scrap_rate"], i["setup_parts"])
        a |= {f"{name}_whole_{n}": value for name, value in priced(i, whole, cycle).items() if name not in IN_LINES}
        a[f"sample_{n}"], a[f"accepted_{n}"] = sample(i, quantity)
        if i["aql"] is None:
            a[f"accepted_{n}"] = ""
        a[f"inspected_{n}"] = inspected(i, quantity, a[f"parts_to_make_{n}"])
        a |= {f"{name}_{n}": value for name, value in bought_by_brackets(i, a, n).items()}
        a[f"boxes_{n}"] = -(-quantity // a["parts_in_box"]) if a["parts_in_box"] else 0
        price, offered = a[f"price_{n}"], a[f"price_whole_{n}"]
        a[f"shown_{n}"] = None if price is None else price * shown_for
        a[f"value_{n}"] = None if price is None else max(i["minimum_order"] or 0, a[f"total_{n}"] + a["setup_line"] + a["tooling_line"])
        more = i["offer_whole_bars"] == "yes" and whole > quantity
        a[f"offer_{n}"] = "" if not more else None if offered is None else f"{whole:,.0f} at " + money(offered * shown_for)
    each = {i[f"quantity_{n}"]: a[f"cost_each_{n}"] for n in BREAKS if i[f"quantity_{n}"] is not None}
    for n in BREAKS:
        quantity = i[f"quantity_{n}"]
        a[f"costs_more_{n}"] = 0 if quantity is None else sum(
            other < quantity and each[other] < each[quantity] * (1 - 1e-9) for other in each)
    a["costs_more"] = sum(a[f"costs_more_{n}"] for n in BREAKS)
    a["cheaper_said"] = "".join(f"{i[f'quantity_{n}']:,.0f} and " for n in BREAKS if a[f"cheaper_{n}"])
    asked = [n for n in BREAKS if i[f"quantity_{n}"] is not None]
    a["minimum_said"] = i["minimum_order"] or 0
    a["below_minimum"] = sum(a[f"total_{n}"] + a["setup_line"] + a["tooling_line"] < (i["minimum_order"] or 0) * (1 - 1e-9) for n in asked)
    a["price_is_nothing"] = sum(a[f"price_{n}"] == 0 for n in asked)
    a["below_cost"] = sum(a[f"price_{n}"] < a[f"cost_each_{n}"] * (1 - 1e-9) and i["margin"] + i["markup"] > 0 for n in asked)
    return a | what_ifs(i, a, cycle)


def money(amount: float) -> str:
    """To two decimals, or four where that says more; half a step goes up."""
    digits = 2 if math.floor(amount * 1e2 + 0.5) * 100 == math.floor(amount * 1e4 + 0.5) else 4
    return f"{math.floor(amount * (1 + 1e-12) * 10**digits + 0.5) / 10**digits:,.{digits}f}"


def prices_times(i: dict[str, Any], factor: float) -> dict[str, Any]:
    """The material's price and those of its brackets, all changed alike."""
    names = ("material_price", *(f"bracket_{n}_price" for n in range(1, 7)))
    return {name: None if i[name] is None else i[name] * factor for name in names}


def what_ifs(i: dict[str, Any], a: dict[str, Any], cycle: float) -> dict[str, Any]:
    quantity = i["quantity_1"] if i["what_if_quantity"] is None else i["what_if_quantity"]
    feed = a["bar_per_part"]
    longer, shorter = i | {"bar_length": i["bar_length"] + feed}, i | {"bar_length": i["bar_length"] - feed}
    found: dict[str, Any] = {"what_if": quantity, "cycle_longer": cycle + 1, "scrap_more": i["scrap_rate"] + 0.01,
                             "price_more": i["material_price"] * 1.1,
                             "surcharge_more": i["material_surcharge"] * 1.1}
    for tag, other in (("longer", longer), ("shorter", shorter)):
        too_long = i["feeder_longest_bar"] is not None and other["bar_length"] > i["feeder_longest_bar"] * (1 + 1e-9)
        if too_long or other["bar_length"] <= 0:
            found |= {f"{name}_{tag}": None for name in ("bar_length", "bar_weight", "parts_per_bar", "blanks_each",
                      "cuts_per_supplied", "bought_length", "bought_weight")}
            found |= dict.fromkeys((f"price_{tag}", f"factor_{tag}"))
            found[f"brackets_each_{tag}"] = 0 if not brackets_of(i) else 1 if i["price_per"] in ("bar", "blank") else None
            found |= {f"blanks_each_{tag}": None, f"parts_per_bar_{tag}": None, f"good_per_bar_{tag}": None}
            continue
        bought = supply(other, 1) if i["supplied_length"] is None or other["bar_length"] <= i["supplied_length"] else None
        found[f"bar_length_{tag}"] = other["bar_length"]
        found[f"bar_weight_{tag}"] = a["section_weight"] * other["bar_length"]
        found[f"blanks_each_{tag}"] = 1 if a["bought_as_blanks"] else bought["blanks_per_supplied"] if bought else 0
        found[f"cuts_per_supplied_{tag}"] = bought["cuts_per_supplied"] if bought else 0
        length = bought["bought_length"] if bought else other["bar_length"] if a["bought_as_blanks"] else None
        found[f"bought_length_{tag}"] = length
        found[f"bought_weight_{tag}"] = None if length is None else a["section_weight"] * length
        by_bar = i["price_per"] in ("bar", "blank")
        found[f"factor_{tag}"] = factor = None if length is None else length / a["bought_length"] if by_bar else 1
        found[f"price_{tag}"] = None if factor is None else i["material_price"] * factor
        found[f"brackets_each_{tag}"] = 0 if not brackets_of(i) else 1 if by_bar else \
            None if length is None else counted_by_brackets(i, length, a["section_weight"] * length)
        other |= {"material_price": None} if factor is None else prices_times(i, factor)
        found[f"parts_per_bar_{tag}"] = parts_of(i, other["bar_length"])
        found[f"good_per_bar_{tag}"] = max(0, found[f"parts_per_bar_{tag}"] - i["first_parts_scrapped"])
    cases: dict[str, tuple[dict[str, Any], float, int]] = {
        "now": (i, cycle, 0), "cycle": (i, cycle + 1, 0), "scrap": (i | {"scrap_rate": i["scrap_rate"] + 0.01}, cycle, 0),
        "price": (i | prices_times(i, 1.1) | {"material_surcharge": i["material_surcharge"] * 1.1}, cycle, 0), "longer": (longer, cycle, 0), "bar": (i, cycle, 1),
        "shorter": (shorter, cycle, 0),
    }
    for tag, (inputs, seconds, more) in cases.items():
        if tag in ("longer", "shorter") and not (found[f"good_per_bar_{tag}"] and found[f"blanks_each_{tag}"]):
            lines = dict.fromkeys(order(i, quantity, cycle))
            lines |= {name: order(i, quantity, cycle)[name] for name in ("setup_cost", "other_cost")}
            lines["material_at"] = None if brackets_of(i) else found[f"price_{tag}"]
            made = ("parts_to_make", "tool_cost", "beside_lathe")
            if not i["first_parts_scrapped"]:  # then they do not rest on the bar
                lines |= {name: order(i, quantity, cycle)[name] for name in made}
            if found[f"good_per_bar_{tag}"]:  # too long to be sawn from the supplied bar, but loaded all the same
                told = order(inputs | {"supplied_length": None, "material_price": 0}, quantity, seconds)
                lines |= {name: told[name] for name in (*made, "bars", "last_rest", "rest_length", "rack_weight", "machine_cost",
                                                       "scrap_credit")}
        else:
            lines = order(inputs, quantity, seconds, more)
        found |= {f"{name}_if_{tag}": value for name, value in lines.items() if name not in ("before_rounding", *IN_LINES)}
        price, now = lines["before_rounding"], found.get("price_if_now")
        found[f"price_if_{tag}"] = price
        now = price if now is None else now
        found[f"change_{tag}"] = None if price is None else price - now
        found[f"change_share_{tag}"] = None if price is None or not now else (price - now) / now
    return found
