"""The job plan worked out in plain Python with the library's functions: what the template must agree with."""

import math
from typing import Any

from reference_part import bar_for_part, part, with_part

import barfuncs as bf

NOT_KNOWN = None
FROM_SHOP = {"scrap_rate": 0, "bar_change_time": 0, "efficiency": 1, "cut_charge": 0, "minimum_charge": 0, "material_surcharge": 0, "certificate_fee": 0, "material_freight": 0, "chip_price": 0,
             "remnant_price": 0, "confidence": 0.95, "last_bar_rest": "charged to the job"}
"""What a blank counts as where there is no shop file: such an input stays blank in the filled sheet."""


def supply(i: dict[str, Any], bars: int) -> dict[str, Any]:
    """What is bought for so many bars to load."""
    blanks, cuts, sawn = 1, 0, i["supplied_length"] is not None
    if sawn:
        left, blanks = i["supplied_length"], 0
        while left >= i["bar_length"] * (1 - 1e-9):  # saw one blank after the other
            left -= i["bar_length"]
            blanks += 1
            if left > 1e-9 * i["bar_length"]:
                cuts += 1
            left -= i["kerf"]
    bought = -(-bars // (1 if i["price_per"] == "blank" else blanks))
    last = bars - (bought - 1) * blanks
    if i["cuts_per_bar"] is not None:
        paid = bought * i["cuts_per_bar"]
    else:
        paid = 0 if i["price_per"] == "blank" else (bought - 1) * cuts + min(cuts, last)
    length = i["bar_length"] if i["price_per"] == "blank" or not sawn else i["supplied_length"]
    return {"blanks_per_supplied": blanks, "bought": bought, "cuts": paid, "bought_length": length,
            "cuts_per_supplied": cuts}


def parts_of(i: dict[str, Any], length: float) -> int:
    """Parts of a bar of a length, feed after feed."""
    left = length - (i["end_trim"] or 0) - bf.min_remnant(i["grip_length"], i["face_to_cutoff"], i["rear_hold"] or 0)
    each = i["part_length"] + i["cutoff_width"] + (i["facing"] or 0) + (i["second_spindle_stock"] or 0)
    fit = max(0, math.floor(left / each + 1e-9))
    return fit - fit % (i["parts_per_feed"] or 1) if i["last_feed"] == "full feeds only" else fit


def plan(i: dict[str, Any]) -> dict[str, Any]:
    """Answers by name; None where the template must show an error. `i` are inputs as `read_inputs` gives them."""
    i = with_part({**i, **{name: i[name] or default for name, default in FROM_SHOP.items()}})
    units = i["units"]
    solid = (i["material"], i["shape"], i["size"])
    trim, facing = i["end_trim"] or 0, (i["facing"] or 0) + (i["second_spindle_stock"] or 0)
    first = i["first_parts_scrapped"] or 0
    scrap, setup = i["scrap_rate"] or 0, i["setup_parts"] or 0
    a: dict[str, Any] = bar_for_part(i)
    a["bar_per_part"] = bf.bar_per_part(i["part_length"], i["cutoff_width"], facing)
    a["min_remnant"] = bf.min_remnant(i["grip_length"], i["face_to_cutoff"], i["rear_hold"] or 0)
    feed = (i["parts_per_feed"] or 1) * a["bar_per_part"]
    a["strokes"] = 1 if i["longest_push"] is None else math.ceil(feed / i["longest_push"] - 1e-9)
    a["parts_per_bar"] = n = parts_of(i, i["bar_length"])
    a["remnant"] = i["bar_length"] - trim - n * a["bar_per_part"]
    a["bar_use"] = n * i["part_length"] / i["bar_length"]
    a["first_stickout"] = i["face_to_cutoff"] + (i["parts_per_feed"] or 1) * a["bar_per_part"] + trim
    a["stickout_ratio"] = bf.stickout_ratio(a["first_stickout"], i["size"])
    for name, sure in (("parts_on_average", None), ("parts_to_make", i["confidence"])):
        good = bf.parts_to_make(i["quantity"], scrap, setup, sure)
        a[name] = good + first * math.ceil(good / (n - first))
    a["bars"] = math.ceil(a["parts_to_make"] / n)
    a |= supply(i, a["bars"])
    del a["cuts_per_supplied"]
    a["last_bar_parts"] = a["parts_to_make"] - (a["bars"] - 1) * n
    a["last_bar_remnant"] = i["bar_length"] - trim - a["last_bar_parts"] * a["bar_per_part"]
    a["whole_bar_quantity"] = max(i["quantity"], math.floor((a["bars"] * (n - first) - setup) * (1 - scrap) + 1e-9))
    to_rack = i["last_bar_rest"] == "back on the rack"
    rest = a["last_bar_remnant"] if to_rack and a["last_bar_remnant"] >= (a["min_remnant"] + a["bar_per_part"] + trim) * (1 - 1e-9) else 0
    blanks = 1 if i["price_per"] == "blank" else a["blanks_per_supplied"]
    a["rack_length"] = rest + (a["bought"] * blanks - a["bars"]) * i["bar_length"] * to_rack
    if i["longest_random_bar"] is None:
        a["fewest_bars"] = "-"
    else:
        most = parts_of(i, i["longest_random_bar"]) - first
        good = bf.parts_to_make(i["quantity"], scrap, setup, i["confidence"])
        a["fewest_bars"] = math.ceil(good / most)
    a["weight_per_length"] = bf.weight_per_length(*solid, i["thickness"], units)
    a["bar_weight"] = bf.bar_weight(*solid, i["bar_length"], i["thickness"], units)
    a["weight_to_buy"] = a["bought"] * a["bar_weight"] / i["bar_length"] * a["bought_length"]
    a["total_weight"] = a["bars"] * a["bar_weight"]
    per_unit = a["weight_per_length"] / (1000 if units == "mm" else 12)
    a |= part(i, per_unit * a["bar_per_part"])
    each = i["part_weight"] if i["part_weight"] is not None else per_unit * i["part_length"]
    a["parts_weight"] = a["parts_to_make"] * each
    a["chips_weight"] = per_unit * (a["parts_to_make"] * a["bar_per_part"] + a["bars"] * trim) - a["parts_weight"]
    a["remnants_weight"] = per_unit * ((a["bars"] - 1) * a["remnant"] + a["last_bar_remnant"] - rest)
    a["load_weight"] = None if i["feeder_bars"] is None else min(i["feeder_bars"], a["bars"]) * a["bar_weight"]
    if i["material_price"] is None or i["price_per"] is None:
        for name in ("material_cost", "rack_value", "net_material", "material_each"):
            a[name] = NOT_KNOWN
        a["scrap_credit"] = bf.scrap_credit(a["bars"], a["bar_weight"], a["parts_weight"], a["remnants_weight"],
                                            i["chip_price"], i["remnant_price"], per_unit * rest)
    else:
        per_bar = bf.material_cost(1, i["material_price"], i["price_per"], a["bought_length"], per_unit * a["bought_length"], units=units)
        per_bar += i["material_surcharge"] * per_unit * a["bought_length"]
        a["material_cost"] = max(i["minimum_charge"], a["bought"] * per_bar + a["cuts"] * i["cut_charge"]) \
            + i["certificate_fee"] + i["material_freight"]
        a["rack_value"] = per_bar * a["rack_length"] / a["bought_length"]
        a["scrap_credit"] = bf.scrap_credit(a["bars"], a["bar_weight"], a["parts_weight"], a["remnants_weight"],
                                            i["chip_price"], i["remnant_price"], per_unit * rest)
        a["net_material"] = a["material_cost"] - a["rack_value"] - a["scrap_credit"]
        a["material_each"] = a["net_material"] / i["quantity"]
    timed = i["cycle_time"] is not None
    a["run_hours"] = bf.run_hours(a["parts_to_make"], i["cycle_time"], n, i["bar_change_time"], i["efficiency"]) if timed else None
    a["total_hours"] = i["setup_hours"] + a["run_hours"] if timed else None
    a["parts_per_hour"] = a["parts_to_make"] / a["run_hours"] if timed else None
    setting = i["machine_rate"] if i["setup_rate"] is None else i["setup_rate"]
    a["machine_cost"] = (i["setup_hours"] * setting + a["run_hours"] * i["machine_rate"]
                         if timed and i["machine_rate"] is not None else None)
    a["unattended_hours"] = None
    if timed and i["feeder_bars"] is not None:
        if i["feeder_bars"] < a["bars"]:
            a["unattended_hours"] = bf.unattended_hours(i["feeder_bars"], n, i["cycle_time"], i["bar_change_time"])
        else:  # the feeder holds the whole order
            a["unattended_hours"] = (a["parts_to_make"] * i["cycle_time"] + (a["bars"] - 1) * i["bar_change_time"]) / 3600
    a |= alone(i, a)
    a["feeder_loads"] = None if i["feeder_bars"] is None else math.ceil(a["bars"] / i["feeder_bars"])
    return a


def alone(i: dict[str, Any], a: dict[str, Any]) -> dict[str, Any]:
    """What stops the lathe first, each limit by itself, then the least of those that are known."""
    until: dict[str, Any] = {"until_order": a["parts_to_make"], "until_bars": None, "until_edge": "-", "until_parts_bin": "-", "until_chip_bin": "-"}
    if i["feeder_bars"] is not None:
        until["until_bars"] = min(i["feeder_bars"], a["bars"]) * a["parts_per_bar"]
    edges = {}
    for n in range(1, 11):
        each = i.get(f"tool_{n}_parts_per_edge")
        if each is not None:
            edges[n] = max(0, each - (i.get(f"tool_{n}_parts_on_edge") or 0))
    if edges:
        until["until_edge"] = min(edges.values())
    if i["parts_bin"] is not None:
        until["until_parts_bin"] = i["parts_bin"]
    if i["chip_bin_count"] is not None:
        until["until_chip_bin"] = i["chip_bin_count"]
    elif None not in (i["chip_bin"], i["bulk_factor"], i["part_weight"]):
        # By weight, where the sheet goes by volume: what a bar loses but its parts, over the parts that it gives.
        density = bf.material_density(i["material"], i["units"])
        per_length = a["weight_per_length"] / (1000 if i["units"] == "mm" else 12)
        lost = per_length * (a["parts_per_bar"] * a["bar_per_part"] + i["end_trim"]) / a["parts_per_bar"] - i["part_weight"]
        loose = i["chip_bin"] * (density if i["units"] == "mm" else density * 231) / i["bulk_factor"]  # kg/L and lb/gal of chips
        if lost > 1e-6 * density:
            until["until_chip_bin"] = math.floor(loose / lost + 1e-9)
    a = {**a, **until, "first_stop_parts": None, "first_stop_hours": None, "first_stop": None, "chance_alone": None, "hours_alone": None,
         "second_stop_parts": None, "second_stop": None, "second_stop_hours": None}
    found = {name: a[name] for name in (*until, "first_stop_parts", "first_stop_hours", "first_stop", "chance_alone", "hours_alone",
                                        "second_stop_parts", "second_stop", "second_stop_hours")}
    if i["feeder_bars"] is None:
        return found
    parts = min(v for v in until.values() if isinstance(v, (int, float)))
    first = [n for n, left in edges.items() if left == parts][:1]
    names = {"until_order": "order done", "until_bars": "bars used up", "until_parts_bin": "parts bin full", "until_chip_bin": "chip bin full",
             "until_edge": "edge of " + (i.get(f"tool_{first[0]}_what") or f"tool {first[0]}") if first else ""}
    found["first_stop_parts"] = parts
    found["first_stop"] = ", ".join(names[name] for name in until if until[name] == parts)
    # What is worn, full or used up at a stop is seen to there, and comes round again.
    rounds = [(until["until_order"], "order done")] + [
        (n * until[name], names[name]) for name in ("until_bars", "until_parts_bin", "until_chip_bin") if until[name] != "-" for n in (1, 2)]
    rounds += [(left + n * i[f"tool_{tool}_parts_per_edge"], "edge of " + (i.get(f"tool_{tool}_what") or f"tool {tool}"))
               for tool, left in edges.items() for n in (0, 1)]
    found["second_stop_parts"] = found["second_stop"] = "-"
    found["second_stop_hours"] = None if i["cycle_time"] is None else "-"
    if parts < until["until_order"]:
        found["second_stop_parts"] = second = min(at for at, _ in rounds if at > parts)
        found["second_stop_hours"] = None
        found["second_stop"] = ", ".join(list(dict.fromkeys(name for at, name in rounds if at == second and name[:4] != "edge"))
                                         + [name for at, name in rounds if at == second and name[:4] == "edge"][:1])
        if i["cycle_time"] is not None:
            found["second_stop_hours"] = (second * i["cycle_time"] + (math.ceil(second / a["parts_per_bar"]) - 1) * i["bar_change_time"]) / 3600
    if i["cycle_time"] is not None:
        changes = max(0, math.ceil(parts / a["parts_per_bar"]) - 1)
        found["first_stop_hours"] = hours = (parts * i["cycle_time"] + changes * i["bar_change_time"]) / 3600
        if i["mean_time_between_stops"] is not None:
            mean = i["mean_time_between_stops"]
            found["chance_alone"] = math.exp(-hours / mean)
            found["hours_alone"] = mean * (1 - math.exp(-hours / mean))
    return found
