"""How long the Calc functions take in LibreOffice, as ratios to native formulas. Run: python tests/benchmarks/calc_calls.py

Each figure is the best of three: enter the formulas, calculate, calculate everything again; timed is the last.
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from calc_office import Office

from barfuncs.catalogue.entry import CATALOGUE
from barfuncs.catalogue.formula import cell_formula

CALLS = 10_000
CELLS = 100_000
AIM = 20e-6


def main() -> None:
    native = cell_formula(CATALOGUE["parts_per_bar"],
        {"bar_length": "A#", "part_length": "B#", "cutoff_width": "0.125", "min_remnant": "3", "facing": "0", "end_trim": "0"})
    native = "=" + native.replace(",", ";")
    calls = {
        "native INT formula": "=INT((A#-3)/(B#+0.125)+1E-9)",
        "native guarded formula": native,
        "PARTS_PER_BAR": "=PARTS_PER_BAR(A#;B#;0.125;3)",
        "PARTS_PER_BAR, 6 arguments": "=PARTS_PER_BAR(A#;B#;0.125;3;0.01;0.5)",
        "PARTS_PER_BAR, text": '=PARTS_PER_BAR("12 ft";B#;0.125;3)',
        "PARTS_PER_BAR, refused": "=PARTS_PER_BAR(A#;-B#;0.125;3)",
        "BAR_WEIGHT": '=BAR_WEIGHT("1.4305";"round";B#;A#)',
    }
    arrays = {
        "native array formula": f"{{=INT((A1:A{CELLS}-3)/(B1:B{CELLS}+0.125)+1E-9)}}",
        "PARTS_PER_BAR, array": f"{{=PARTS_PER_BAR(A1:A{CELLS};B1:B{CELLS};0.125;3)}}",
    }
    with Office() as office:
        office.do("open")
        office.do("fill", rows=CELLS)
        best: dict[str, float] = {}
        for _ in range(3):
            for block, formulas in ((f"D1:D{CALLS}", calls), (f"E1:E{CELLS}", arrays)):
                for name, formula in formulas.items():
                    best[name] = min(best.get(name, 1e9), office.do("time", block=block, formula=formula))
    for formulas, count, base in ((calls, CALLS, "native INT formula"), (arrays, CELLS, "native array formula")):
        print(f"\n{count:,} {'formulas' if formulas is calls else 'cells in one array formula'}")
        for name in formulas:
            each = best[name] / count
            print(f"  {name:28} {best[name] * 1000:8.1f} ms {each * 1e6:7.2f} us each {best[name] / best[base]:7.1f} x native")
    each = best["PARTS_PER_BAR"] / CALLS
    print(f"\n{each * 1e6:.1f} us a call, the aim is below {AIM * 1e6:.0f} us")
    sys.exit(each > AIM)


if __name__ == "__main__":
    main()
