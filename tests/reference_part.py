"""The part of a job worked out in plain Python with the functions over a range: what the sheet Part must agree with."""

from typing import Any

import barfuncs as bf

COLUMNS = ("shape", "size", "length", "end_size", "bore", "bore_end")
SECTIONS = range(1, 17)
TOTALS = ("drawn_length", "part_volume", "finished_weight", "part_area", "part_width", "largest_round", "chips_each")


def rows_of(i: dict[str, Any]) -> list[tuple[Any, ...]]:
    """The sections of a job as rows."""
    rows = [tuple(i.get(f"section_{n}_{name}") for name in COLUMNS) for n in SECTIONS]
    return [row for row in rows if any(value is not None for value in row)]


def with_part(i: dict[str, Any]) -> dict[str, Any]:
    """The inputs with length, weight and surface of the part that is drawn where they are left blank."""
    rows = rows_of(i)
    if not rows:
        return i
    drawn = {"part_length": bf.finished_length(rows), "part_weight": bf.finished_weight(rows, i["material"], i["units"]),
             "surface_area": bf.part_area(rows, i["units"])}
    return i | {name: value for name, value in drawn.items() if i.get(name) is None}


def part(i: dict[str, Any], bar_per_part_weight: float) -> dict[str, Any]:
    """The answers of the sheet Part; None where there are no sections."""
    rows = rows_of(i)
    if not rows:
        return dict.fromkeys(TOTALS) | {"machines_that_fit": "-"}
    units = i["units"]
    weight = bf.finished_weight(rows, i["material"], units)
    rounds = [max(size, end or 0) if shape != "thread" else size for shape, size, _, end, *_ in rows if shape in ("round", "thread", None)]
    return {"drawn_length": bf.finished_length(rows), "part_volume": bf.part_volume(rows, units), "finished_weight": weight,
            "part_area": bf.part_area(rows, units), "part_width": bf.part_width(rows, units), "largest_round": max(rounds, default=0),
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
