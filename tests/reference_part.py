"""The part of a job worked out in plain Python with the functions over a range: what the sheet Part must agree with."""

import re
from typing import Any

import barfuncs as bf
from barfuncs.catalogue import materials

COLUMNS = ("shape", "size", "length", "end_size", "bore", "bore_end")
SECTIONS = range(1, 17)
TOTALS = ("drawn_length", "part_volume", "finished_weight", "part_area", "part_width", "largest_round", "chips_each")


def rows_of(i: dict[str, Any]) -> list[tuple[Any, ...]]:
    """The sections of a job as rows."""
    rows = [tuple(i.get(f"section_{n}_{name}") for name in COLUMNS) for n in SECTIONS]
    return [row for row in rows if any(value is not None for value in row)]


def with_part(i: dict[str, Any]) -> dict[str, Any]:
    """The inputs with length, weight and surface of the part that is drawn, and the smallest bar for it, where they are left blank."""
    rows = rows_of(i)
    if not rows:
        return i
    drawn = {"part_length": bf.finished_length(rows), "part_weight": bf.finished_weight(rows, i["material"], i["units"]),
             "surface_area": bf.part_area(rows, i["units"])}
    if i.get("size") is None:
        drawn["size"] = bar_for_part(i | {"size": 1.0})["bar_size_needed"]
    return i | {name: value for name, value in drawn.items() if i.get(name) is None}


def largest_round(rows: list[tuple[Any, ...]]) -> float:
    return max((max(size, end or 0) if shape != "thread" else size for shape, size, _, end, *_ in rows if shape in ("round", "thread", None)), default=0)


STAINLESS = ("stainless steel", "duplex stainless", "nitrogen-strengthened stainless")
STEEL = ("free-machining steel", "carbon steel", "alloy steel", "tool steel", *STAINLESS)


def standard_class(material: Any, shape: str, units: str) -> tuple[str, bool]:
    """The class that "standard" means for a bar, and whether it is no more than an idea."""
    table = materials.active()
    group = table[material].group if isinstance(material, str) and material in table else ""
    if units == "mm":
        return "standard", group not in STEEL
    if group in STAINLESS and shape == "round":
        return "A484", False
    found = {"free-machining steel": "A108 to 0.55% C", "carbon steel": "A108 to 0.55% C", "alloy steel": "A108 over 0.55% C"}.get(group)
    return found or "common practice", found is None


BAR = ("bar_size_needed", "bar_leaves", "bar_why", "bar_bow")
CLASSES = {"tolerance_class": "standard", "defect_class": "class 1", "clean_up": 0}


def bar_for_part(i: dict[str, Any]) -> dict[str, Any]:
    """The smallest bar for the part, why, and what the bar that is filled in leaves."""
    shape, units, rows = i["shape"], i["units"], rows_of(i)
    wide = i.get("finished_size")
    if not wide and rows:
        wide = max(max(size, end or 0) if (own or "round") == shape else bf.part_width([(own, size, length, end, *more)], units)
                   for own, size, length, end, *more in rows)
    if not wide or shape not in ("round", "hexagon", "square"):
        return {"bar_size_needed": "-", "bar_leaves": "-", "bar_why": "", "bar_bow": bow(i)}
    given = {name: i.get(name) or default for name, default in CLASSES.items()}
    idea = False
    if given["tolerance_class"] == "standard":
        given["tolerance_class"], idea = standard_class(i["material"], shape, units)
    flats = not i.get("finished_size") and shape != "round" and any(row[:2] == (shape, wide) for row in rows)
    given["surface"] = i.get("surface") or ("as drawn" if flats else "turned")
    bar = {"bar_shape": shape, "units": units} | {name: given[name] for name in ("tolerance_class", "defect_class", "clean_up")}
    found: dict[str, Any] = {}
    try:
        wanted = {"surface": given["surface"], "part_shape": shape, **bar}
        found["bar_size_needed"] = bf.bar_size_for(wide, **wanted)
        found["bar_why"] = bf.bar_size_reason(wide, **wanted)
        if idea:  # behind the class
            found["bar_why"] = re.sub(r"(\((?:h1[012]|common practice))", r"\1, an idea: no standard here is for this bar", found["bar_why"])
    except bf.InputError:
        shown = f"{wide:.4f}".rstrip("0").rstrip(".")
        drawn = f"no {shown} {units} in the list to stay as drawn, so it is turned: " if given["surface"] == "as drawn" else ""
        found |= {"bar_size_needed": "none", "bar_why": f"{drawn}no size in the list leaves {shown}"}
    try:
        found["bar_leaves"] = bf.size_left(i["size"], **bar)
    except bf.InputError:
        found["bar_leaves"] = "-"
    return found | {"bar_bow": bow(i)}


def bow(i: dict[str, Any]) -> Any:
    """How far the bar that is loaded may be off straight, by the figures of EN 10278 for each metre."""
    size_mm = i["size"] * (1 if i["units"] == "mm" else 25.4)
    per_metre = {"carbon from 0.25% or alloy": {"round": 1.5, "hexagon": 2, "square": 2}}.get(i.get("steel"), {"round": 1, "hexagon": 1, "square": 1})
    table = materials.active()
    group = table[i["material"]].group if isinstance(i["material"], str) and i["material"] in table else ""
    if not i.get("steel") or group not in ("", *STEEL) or i["shape"] not in per_metre or (i["shape"] != "round" and size_mm > 75 * (1 + 1e-12)):
        return "-"
    return per_metre[i["shape"]] * i["bar_length"] / 1000


def part(i: dict[str, Any], bar_per_part_weight: float) -> dict[str, Any]:
    """The answers of the sheet Part; None where there are no sections."""
    rows = rows_of(i)
    if not rows:
        return dict.fromkeys(TOTALS) | {"machines_that_fit": "-"}
    units = i["units"]
    weight = bf.finished_weight(rows, i["material"], units)
    return {"drawn_length": bf.finished_length(rows), "part_volume": bf.part_volume(rows, units), "finished_weight": weight,
            "part_area": bf.part_area(rows, units), "part_width": bf.part_width(rows, units), "largest_round": largest_round(rows),
            "chips_each": bar_per_part_weight - weight, "machines_that_fit": "-"}


def drawn_start(i: dict[str, Any], operation: str) -> float:
    """Where an operation starts that has no start diameter of its own; 0 where the part does not tell."""
    rows = rows_of(i)
    if not rows:
        return 0
    if operation in ("turning", "facing"):
        return bf.across_corners(i["shape"] or "round", i["size"], i.get("thickness"))
    if operation == "cut-off":
        return bf.part_width([rows[-1]])
    if operation in ("drilling", "boring", "reaming"):
        return max(value or 0 for row in rows for value in row[4:])
    threads = [size for shape, size, *_ in rows if shape == "thread"]
    return threads[0] if operation == "threading" and len(threads) == 1 else 0
