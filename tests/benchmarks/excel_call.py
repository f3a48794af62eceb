"""Cost of one call from Excel, without Excel's own share. Run: python tests/benchmarks/excel_call.py"""

import contextlib
import functools
import sys
from collections.abc import Callable
from pathlib import Path
from time import perf_counter
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

CALLS = [
    ("parts_per_bar", (144.0, 2.25, 0.125, 3.0)),
    ("parts_per_bar", (144.0, "57.15 mm", 0.125, -3.0)),
    ("bars_for_quantity", (1000.0, 59.0, 0.03, 5.0)),
    ("weight_per_length", ("1.4305", "hexagon", 19.0, None, "mm")),
    ("material_cost", (18.0, 2.40, "lb", 144.0, 14.5)),
]


def microseconds(call: Callable[[], Any]) -> float:
    """Best of seven runs, each of at least 20 ms."""
    count = 1
    while True:
        start = perf_counter()
        for _ in range(count):
            call()
        if perf_counter() - start > 0.02:
            break
        count *= 2
    best = float("inf")
    for _ in range(7):
        start = perf_counter()
        for _ in range(count):
            call()
        best = min(best, perf_counter() - start)
    return best / count * 1e6


def python_call(entry: Any, args: tuple[Any, ...]) -> Callable[[], Any]:
    import barfuncs

    function = getattr(barfuncs, entry.name)
    bare = [int(v) if a.kind.whole else v for a, v in zip(entry.arguments, args, strict=False)]

    def call() -> None:
        with contextlib.suppress(ValueError):
            function(*bare)

    return call


def main() -> None:
    from excel_stub import MISSING, Cells, excel

    import barfuncs

    print(f"{'':<52}{'xlwings, us':>12}{'ours, us':>10}{'Python, us':>11}{'ratio':>7}")
    with excel() as host:
        for name, args in CALLS:
            entry = barfuncs.CATALOGUE[name]
            ranges = [Cells(v) for v in args] + [MISSING] * (len(entry.arguments) - len(args))
            whole = microseconds(functools.partial(host.call, entry.cell_name, *ranges))
            ours = microseconds(functools.partial(getattr(host.module, entry.cell_name), *args))
            alone = microseconds(python_call(entry, args))
            print(f"{entry.cell_name + str(args):<52.52}{whole:>12.1f}{ours:>10.1f}{alone:>11.2f}{whole / alone:>7.0f}")
        rows = 10_000
        column = Cells(tuple((2.0 + n / rows,) for n in range(rows)))
        each = microseconds(functools.partial(host.call, "PARTS_PER_BAR", 144.0, column, 0.125, 3.0)) / rows
        print(f"{f'PARTS_PER_BAR of a column of {rows:,}, each row':<52}{each:>12.2f}")


if __name__ == "__main__":
    main()
