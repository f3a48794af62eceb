"""The sheet with what bar is like: size tolerances, depth of defects and straightness with their sources, usual sizes; no formula is on it."""

from openpyxl import Workbook

from barfuncs.catalogue.kinds import BAR_SHAPES, TOLERANCE_CLASSES
from barfuncs.functions.stock_size import class_in_force
from barfuncs.tables import tolerances
from barfuncs.tables.tolerances import MM, SizeTolerance
from barfuncs.templates import layout
from barfuncs.templates.page import Page, add_page

TITLE = "Bar data"
USUAL = {"in": ("usual_in", "round"), "mm": ("usual_mm", "round"), "hexagon": ("usual_mm_hexagon", "hexagon")}
"""Names of the cells with the usual sizes, which begin with 0, and the shape that they are for."""
APART = 10_000
"""The sizes of each class in mm begin at a multiple of this, in one column that is in order."""
_HAIR = 1e-6


def _cells_of(text: str) -> int:
    return -(-len(text) // 78)


def _bands(name: str, shape: str, units: str) -> list[tuple[float, float | str]]:
    """From which size in mm on which tolerance in mm holds; a text where the table has none."""
    def rows(of: str) -> list[SizeTolerance]:
        return [r for r in tolerances.size_tolerances() if r.tolerance_class == of and r.shape in ("any", shape)]

    found: list[tuple[float, float | str]] = [(0.0, "none")]
    if name == "none":
        return [(0.0, 0.0)]
    for row in (r for of in _all_in_force(name, shape, units) for r in rows(of)):
        if class_in_force(name, row.up_to * MM[row.unit] / MM[units], shape, units) == row.tolerance_class:
            end = row.up_to * MM[row.unit]
            found[-1] = (found[-1][0], row.minus * MM[row.unit])
            found.append((end - _HAIR if row.open_end else end + _HAIR, "none"))
    return found


def _all_in_force(name: str, shape: str, units: str) -> list[str]:
    sizes = (1.0, 1000.0)
    return list(dict.fromkeys(class_in_force(name, size, shape, units) for size in sizes))


def tolerance_key(name: str, shape: str, units: str) -> str:
    """What a class is looked up by, for bar of a shape."""
    return f"{name} {shape}" + (f" {units}" if name == "standard" else "")


def _lookup(page: Page) -> None:
    """The tolerances once more, as formulas look them up: beside what is printed."""
    names, bands = page.beside(3), page.beside(3)
    for column, text in zip("LM", ("Class, shape", "begins at"), strict=True):
        names.put(column, text, size=9, color=layout.SOFT)
    for column, text in zip("NO", ("from, mm", "minus, mm"), strict=True):
        bands.put(column, text, size=9, color=layout.SOFT)
    first = names.row + 1
    starts: dict[tuple[tuple[float, float | str], ...], int] = {}  # classes and shapes that are alike share their rows
    for name in TOLERANCE_CLASSES:
        for shape in BAR_SHAPES:
            for units in MM if name == "standard" else ("mm",):
                names.next_row()
                found = tuple(_bands(name, shape, units))
                start = starts.get(found, APART * (len(starts) + 1))
                names.put("L", tolerance_key(name, shape, units), size=9, color=layout.SOFT)
                names.put("M", start, size=9, color=layout.SOFT)
                if found in starts:
                    continue
                starts[found] = start
                for size, minus in found:
                    bands.next_row()
                    bands.put("N", start + size, size=9, color=layout.SOFT)
                    bands.put("O", minus, size=9, color=layout.SOFT)
    for name, column, last in (("tolerance_names", "L", names.row), ("tolerance_starts", "M", names.row),
                               ("tolerance_sizes", "N", bands.row), ("tolerance_values", "O", bands.row)):
        page.name_rows(name, column, first, last)


def _usual(page: Page) -> None:
    for key, column in zip(USUAL, "QRS", strict=True):
        (name, shape), aside = USUAL[key], page.beside(3)
        unit = "in" if key == "in" else "mm"
        aside.put(column, f"Usual {unit}" + (f", {shape}" if key == shape else ""), size=9, color=layout.SOFT)
        first = aside.row + 1
        for size in (0, *tolerances.stock_steps(unit, shape)):
            aside.next_row()
            aside.put(column, size, size=9, color=layout.SOFT)
        aside.name_rows(name, column, first)


def bar_data_sheet(book: Workbook) -> None:
    page = add_page(book, TITLE, {"A": 1.5, "B": 30, "C": 11, "D": 9, "E": 9, "F": 7, "G": 10, "H": 10, "I": 72, "L": 34}, landscape=True)
    page.sheet.page_setup.fitToHeight = 0
    page.title("Bar data")
    page.remark("What a bar may be off: the sheet's formulas take it from here. Each row says where it was read, or that it is from memory; "
                "your supplier's figures come first.")
    page.next_row()
    _lookup(page)
    _usual(page)
    page.heading("B:I", "Size tolerance")
    page.next_row()
    for column, text in zip("BCDEFGHI", ("Class", "Shape", "Over", "Up to", "Unit", "Minus", "Plus", "Source"), strict=True):
        page.put(column, text, bold=True, color=layout.ACCENT, align="right" if column in "DEGH" else "left")
    for row, said in zip(tolerances.size_tolerances(), tolerances.sources("size_tolerances.csv"), strict=True):
        page.next_row(3 + 12 * _cells_of(said))
        for column, value in zip("BCDEFGHI", (row.tolerance_class, row.shape, row.over, row.up_to, row.unit, row.minus, row.plus, said),
                                 strict=True):
            page.put(column, value, size=9, align="right" if column in "DEGH" else "left", wrap=column == "I")
    page.skip()
    page.heading("B:I", "Depth of surface defects")
    page.next_row()
    for column, text in zip("BDEGI", ("Class", "Least mm", "Share", "Most mm", "Source"), strict=True):
        page.put(column, text, bold=True, color=layout.ACCENT, align="right" if column in "DEG" else "left")
    for depth, said in zip(tolerances.defect_depths().values(), tolerances.sources("defect_depths.csv"), strict=True):
        page.next_row(3 + 12 * _cells_of(said))
        for column, value in zip("BDEGI", (depth.defect_class, depth.least_mm, depth.share, depth.most_mm, said), strict=True):
            page.put(column, value, size=9, align="right" if column in "DEG" else "left", wrap=column == "I")
    page.skip()
    page.heading("B:I", "Straightness of drawn bar")
    page.next_row()
    for column, text in zip("BCEGI", ("Steel", "Shape", "Up to mm", "mm a metre", "Source"), strict=True):
        page.put(column, text, bold=True, color=layout.ACCENT, align="right" if column in "EG" else "left")
    for bow, said in zip(tolerances.straightness(), tolerances.sources("straightness.csv"), strict=True):
        page.next_row(3 + 12 * _cells_of(said))
        for column, value in zip("BCEGI", (bow.steel, bow.shape, bow.up_to_mm, bow.mm_per_m, said), strict=True):
            page.put(column, value, size=9, align="right" if column in "EG" else "left", wrap=column == "I")
    page.print_to("I")
