"""A shop's week as files: jobs, the bars of the rack and the shop file of `examples/`, all invented, the same in every run.

python tests/week_files.py writes them anew.
"""

import csv
import datetime
import io
import random
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import openpyxl
from weeks import CUSTOMERS, PRICE_OF_LB, STOCKS, TODAY, rack_of

from barfuncs.buying.records import OF_ONE_HEAT, OWN
from barfuncs.rack.bars import BY_NAME
from barfuncs.templates import layout, shop
from barfuncs.xlsx.package import pack

EXAMPLES = Path(__file__).parent.parent / "examples"
JOBS, RACK, SHOP = "week.csv", "week_rack.csv", "week_shop.xlsx"
_SHORT_FEEDER = ("Lathe 4", 48, 1.75, 2.5, 0.2, 40, 5000, 200, 12, 78, 65, None, None, 1.5, 4, 2, 1, 55, 12, "fixed head", 16)
_JOBS, _BARS = 30, 60


def jobs() -> list[dict[str, Any]]:
    """Rows of the list: 30 jobs of 12 sizes, most of one heat, some with certificates, some pieces sawn to a length."""
    draw, rows = random.Random("jobs of a week"), []
    for n in range(_JOBS):
        stock = STOCKS[n] if n < len(STOCKS) else draw.choice(STOCKS)
        row: dict[str, Any] = {
            "job": f"27-{1101 + n}", "customer": draw.choice(CUSTOMERS), "units": "in", "material": stock.material, "shape": stock.shape, "size": stock.size,
            "quantity": draw.choice([60, 120, 250, 400, 600, 1000, 1500]), "certificate": draw.choice(["", "", "", "2.1", "3.1"]),
            "mixed_heats": draw.choice(["", "yes"]), "need_by": TODAY + datetime.timedelta(days=draw.choice([5, 7, 10, 14]))}
        larger = sorted(s.size for s in STOCKS if (s.material, s.shape) == (stock.material, stock.shape) and s.size > stock.size)
        if n % 10 == 9:
            row |= {"quantity": draw.randint(4, 40), "piece_length": draw.choice(["8 1/4", "14.5", "22"])}
        else:
            part = draw.choice([0.375, 0.625, 0.75, 1.125, 1.375, 1.75, 2.25, 3.0])
            row |= {"machine": draw.choice([m for m, largest in (("Lathe 1", 1.25), ("Lathe 2", 2), ("Lathe 4", 1.75)) if stock.size <= largest]),
                    "part_length": draw.choice([part, part, f"{part * 25.4:.1f} mm"]), "cutoff_width": 0.125, "facing": draw.choice([0.01, 0.02]),
                    "end_trim": 0.25, "setup_parts": draw.choice([4, 6, 10]),
                    "larger_size": larger[0] if larger and larger[0] <= 1.25 and draw.random() < 0.4 else ""}
        rows.append(row)
    return rows


def rack() -> list[dict[str, Any]]:
    """Rows of a list of bars, as 'barfuncs rack receive --from' takes them."""
    bars = rack_of(random.Random("rack of a week"), list(STOCKS), _BARS)
    return [{"Bar id": bar.id, "Bars": bar.count, "Material": bar.stock.material, "Shape": bar.stock.shape, "Size": bar.stock.size, "Length": bar.length,
             "Heat": bar.heat, "Certificate": bar.certificate, "Owner": bar.owner, "Place": bar.place, "Received": TODAY - datetime.timedelta(days=30 + n),
             "Value": f"{bar.value * bar.count:.2f}" if bar.owner == OWN else "", "Units": "in"} for n, bar in enumerate(bars)]


def supplied() -> list[dict[str, Any]]:
    """Rows of the sheet Supplied bars: two lengths of each size, two price brackets."""
    draw, rows = random.Random("supply of a week"), []
    for stock in STOCKS:
        pound = PRICE_OF_LB[stock.material] * draw.uniform(0.9, 1.1)
        for length, dearer in ((144, 1.0), draw.choice([(72, 1.12), (120, 1.03), (240, 1.02)])):
            for start, share in ((None, 1.0), (300, 0.94)):
                rows.append({"material": stock.material, "shape": stock.shape, "size": stock.size, "length": length, "price": round(pound * dearer * share, 2),
                             "price_per": "lb", "from_weight": start, "certificate": OF_ONE_HEAT[0], "certificate_fee": 25, "line_minimum": 60,
                             "lead_days": draw.choice([2, 3, 5]), "supplier": "Supplier A", "note": "invented"})
    return [row | {"lead_days": rows[n - n % 2]["lead_days"]} for n, row in enumerate(rows)]


def shop_file(bars: Sequence[Mapping[str, Any]], rates: Mapping[str, Any]) -> bytes:
    """The example shop file with a lathe more, other bars that can be bought, and some rates changed."""
    book = openpyxl.load_workbook(io.BytesIO(shop.build()))
    sheet = book["Machines"]
    first = next(row for row in range(6, 40) if sheet.cell(row, 2).value is None)
    for column, value in enumerate(_SHORT_FEEDER, start=2):
        sheet.cell(first, column).value = value
    sheet = book[shop.SUPPLIED_SHEET]
    for n in range(max(len(bars), 10)):
        for column, item in enumerate(shop.SUPPLIED, start=2):
            sheet.cell(6 + n, column).value = bars[n].get(item.name) if n < len(bars) else None
    labels = {column.label: column.name for column in (*shop.RATES, *shop.BUYING)}
    for row in book[shop.RATES_SHEET].iter_rows(min_col=2, max_col=3):
        name = labels.get(str(row[0].value))
        if name in rates:
            row[1].value = rates[name]
    return pack(layout.parts_of(book))


def week_shop() -> bytes:
    return shop_file(supplied(), {"material_freight": 45, "cut_charge": 1.2, "least_left": 18})


def csv_of(rows: Iterable[Mapping[str, Any]]) -> str:
    rows = list(rows)
    text = io.StringIO()
    writer = csv.DictWriter(text, list(dict.fromkeys(name for row in rows for name in row)), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


if __name__ == "__main__":
    assert {column.label for column in BY_NAME.values()} >= {*rack()[0]} - {"Units"}
    (EXAMPLES / JOBS).write_text(csv_of(jobs()), "utf-8")
    (EXAMPLES / RACK).write_text(csv_of(rack()), "utf-8")
    (EXAMPLES / SHOP).write_bytes(week_shop())
