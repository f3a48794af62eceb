"""The job plan worked out in plain Python with the library's functions: what the template must agree with."""

import math
from typing import Any

from reference_part import bar_for_part, part, with_part

import barfuncs as bf

NOT_KNOWN = None
FROM_SHOP = {"scrap_rate": 0, "bar_change_time": 0, "efficiency": 1, "cut_charge": 0, "minimum_charge": 0, "chip_price": 0,
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


def plan(i: dict[str, Any]) -> dict[str, Any]:
    """Answers by name; None where the template must show an error. `i` are inputs as `read_inputs` gives them."""
    i = with_part({**i, **{name: i[name] or default for name, default in FROM_SHOP.items()}})
    units = i["units"]
    solid = (i["material"], i["shape"], i["size"])
    trim, facing = i["end_trim"] or 0, i["facing"] or 0
    scrap, setup = i["scrap_rate"] or 0, i["setup_parts"] or 0
    a: dict[str, Any] = bar_for_part(i)
    a["bar_per_part"] = bf.bar_per_part(i["part_length"], i["cutoff_width"], facing)
    a["min_remnant"] = bf.min_remnant(i["grip_length"], i["face_to_cutoff"])
    bar = (i["bar_length"], i["part_length"], i["cutoff_width"], a["min_remnant"], facing, trim)
    a["parts_per_bar"] = n = bf.parts_per_bar(*bar)
    a["remnant"] = bf.remnant_length(*bar)
    a["bar_use"] = bf.bar_use(*bar)
    a["first_stickout"] = bf.first_stickout(i["part_length"], i["cutoff_width"], i["face_to_cutoff"], facing, trim)
    a["stickout_ratio"] = bf.stickout_ratio(a["first_stickout"], i["size"])
    a["parts_on_average"] = bf.parts_to_make(i["quantity"], scrap, setup)
    a["parts_to_make"] = bf.parts_to_make(i["quantity"], scrap, setup, i["confidence"])
    a["bars"] = math.ceil(a["parts_to_make"] / n)
    a |= supply(i, a["bars"])
    del a["cuts_per_supplied"]
    a["last_bar_parts"] = a["parts_to_make"] - (a["bars"] - 1) * n
    a["last_bar_remnant"] = i["bar_length"] - trim - a["last_bar_parts"] * a["bar_per_part"]
    a["whole_bar_quantity"] = max(i["quantity"], math.floor((a["bars"] * n - setup) * (1 - scrap) + 1e-9))
    to_rack = i["last_bar_rest"] == "back on the rack"
    rest = a["last_bar_remnant"] if to_rack and a["last_bar_remnant"] >= (a["min_remnant"] + a["bar_per_part"] + trim) * (1 - 1e-9) else 0
    blanks = 1 if i["price_per"] == "blank" else a["blanks_per_supplied"]
    a["rack_length"] = rest + (a["bought"] * blanks - a["bars"]) * i["bar_length"] * to_rack
    if i["longest_random_bar"] is None:
        a["fewest_bars"] = "-"
    else:
        most = bf.parts_per_bar(i["longest_random_bar"], *bar[1:])
        a["fewest_bars"] = math.ceil(a["parts_to_make"] / most)
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
    a["feeder_loads"] = None if i["feeder_bars"] is None else math.ceil(a["bars"] / i["feeder_bars"])
    return a
