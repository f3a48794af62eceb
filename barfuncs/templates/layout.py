"""The shared look of the workbooks: quiet, printable, told apart by shape and word as well as by colour."""

import io
import re
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from openpyxl import Workbook
from openpyxl.chart import BarChart, Reference, ScatterChart, Series
from openpyxl.chart.layout import Layout, ManualLayout
from openpyxl.chart.marker import Marker
from openpyxl.chart.shapes import GraphicalProperties
from openpyxl.drawing.line import LineProperties
from openpyxl.formatting.rule import FormulaRule
from openpyxl.styles import Alignment, Border, Font, PatternFill, Protection, Side
from openpyxl.utils import get_column_letter
from openpyxl.utils.indexed_list import IndexedList
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet
from openpyxl.writer.theme import theme_xml

from barfuncs.catalogue.kinds import Kind
from barfuncs.templates.colors import ACCENT as ACCENT
from barfuncs.templates.colors import INK as INK
from barfuncs.templates.colors import RULE as RULE
from barfuncs.templates.colors import SOFT as SOFT
from barfuncs.xlsx.package import read_parts

GROUND = "FFFFFF"
"""The color of the sheet: what is written in it does not show."""
INPUT_FILL = "FBF4E4"
FAMILY = "Arial"
"""A font that is as wide in every program, for Linux has one of the same measures: a page prints as large everywhere."""
CLOSE = 12.75
"""Height of a row on a page that must hold many."""

FORMATS = {
    "length": "#,##0.000#",
    "weight": "[=0]0.00;[<1]0.0000;#,##0.00",
    # A part may weigh 5 mg: three digits of that, and no more than needed of a heavy one.
    "part_weight": "[<0.0001]0.00000000;[<0.01]0.000000;#,##0.0000",
    "weight_per_length": "#,##0.0000",
    "typed_weight": "[>=0.0001]General;0.00######",
    "density": "0.00#",
    "count": "#,##0",
    "money": "#,##0.00",
    "money_each": "#,##0.0000",
    "price": "#,##0.00##",
    "hours": "#,##0.00",
    "rate": "#,##0.0",
    "percent": "0.0%",
    "percent_fine": "0.00%",
    "ratio": "0.00",
    "figure": "#,##0.0000",
    "blank_or_seconds": "0.00;-0.00;",
    "blank_or_figure": "#,##0.0000;-#,##0.0000;",
    "blank_or_money": "#,##0.00;-#,##0.00;",
    "blank_or_count": "#,##0;-#,##0;",
    "hidden_number": ";;;@",
    "text": "@",
    "general": "General",
}

_thin = Side(style="thin", color=RULE)
_strong = Side(style="thin", color=SOFT)
_accent = Side(style="medium", color=ACCENT)
_frame = Side(style="thin", color=INK)


def font(size: float = 10, bold: bool = False, color: str = INK, italic: bool = False) -> Font:
    return Font(name=FAMILY, size=size, bold=bold, color=color, italic=italic)


def new_workbook(title: str) -> Workbook:
    """An empty workbook that asks for a full calculation on load and carries no date of its own making."""
    book = Workbook()
    book.remove(book.worksheets[0])
    book.properties.title = title
    book.properties.creator = "barfuncs"
    book.properties.created = book.properties.modified = datetime(2026, 1, 1)
    book.calculation.fullCalcOnLoad = True
    # Column widths are counted in digits of the standard font.
    book.loaded_theme = re.sub("Calibri|Cambria", FAMILY, theme_xml)
    book._fonts = IndexedList([font()])  # type: ignore[attr-defined]
    book._named_styles["Normal"].font = font()  # type: ignore[attr-defined]
    return book


PAPERS = {"A4": 9, "letter": 1}
"""By paper the number that a sheet has for it."""


def add_sheet(book: Workbook, title: str, widths: dict[str, float], landscape: bool = False) -> Worksheet:
    """A sheet without grid lines that prints on one page wide and one tall; formula cells are locked, no password."""
    sheet: Worksheet = book.create_sheet(title)
    sheet.sheet_view.showGridLines = False
    for column, width in widths.items():
        sheet.column_dimensions[column].width = width
    sheet.page_setup.orientation = "landscape" if landscape else "portrait"
    sheet.page_setup.paperSize = PAPERS["letter"]
    sheet.page_setup.errors = "blank"
    sheet.page_setup.fitToWidth = 1
    sheet.page_setup.fitToHeight = 1
    sheet.sheet_properties.pageSetUpPr.fitToPage = True  # type: ignore[union-attr]
    sheet.page_margins.left = sheet.page_margins.right = sheet.page_margins.top = 0.3
    sheet.page_margins.bottom, sheet.page_margins.header, sheet.page_margins.footer = 0.4, 0.2, 0.2
    sheet.print_options.horizontalCentered = True
    footer: Any = sheet.oddFooter
    footer.left.text = "&F  -  &A"
    footer.right.text = "printed &D"
    sheet.protection.sheet = True
    sheet.protection.formatColumns = False
    sheet.protection.formatRows = False
    return sheet


def goes_to_customer(sheet: Worksheet) -> None:
    """A page that a customer gets: neither the file's name nor the day of the print is printed on it."""
    footer: Any = sheet.oddFooter
    footer.left.text = footer.right.text = None


def keep_in_view(sheet: Worksheet, above: str, zoom: int = 100) -> None:
    """All above and left of a cell stays where it is when the sheet is scrolled."""
    sheet.freeze_panes = above
    sheet.sheet_view.zoomScale = sheet.sheet_view.zoomScaleNormal = zoom


def select_first_inputs(book: Workbook) -> None:
    """Each sheet is looked at first with its first framed cell selected, or the upper left one."""
    for sheet in book.worksheets:
        rows = sheet.iter_rows() if sheet.sheet_state == "visible" else ()
        first = next((cell.coordinate for row in rows for cell in row if not cell.protection.locked), "A1")
        for selection in sheet.sheet_view.selection:
            selection.activeCell = selection.sqref = first


def print_when_asked_for(book: Workbook, sheet: Worksheet) -> None:
    """Leave a sheet out when the workbook is printed: its print area becomes the blank cell A1, for programs print no blank page.
    What it would print has a name, and a line on the sheet says how it is printed."""
    area = str(sheet.print_area).rpartition("!")[2].replace("$", "") or f"A1:{get_column_letter(sheet.max_column)}{sheet.max_row}"
    name = "print_" + re.sub("[^a-z]+", "_", sheet.title.lower())
    name_cell(book, name, sheet, area)
    free = (f"B{row}" for row in range(2, 6) if not any(sheet.cell(row, column).value for column in range(1, 8)))
    at = next(free, "E1")
    assert sheet[at].value is sheet["A1"].value is None, f"{sheet.title} has no room to say how it is printed"
    put(sheet, at, f"Printed when asked for: type {name} into the box left of the formula line, Enter, then print the selection.",
        size=9, color=SOFT)
    sheet.print_area = "A1"


def name_cell(book: Workbook, name: str, sheet: Worksheet, ref: str) -> None:
    """Give a cell or range a workbook-wide name. Raises ValueError where another has it."""
    if name in book.defined_names:
        raise ValueError(f"{sheet.title}: {name} is named already, {book.defined_names[name].attr_text}")
    absolute = ":".join(f"${''.join(c for c in r if c.isalpha())}${''.join(c for c in r if c.isdigit())}"
                        for r in ref.split(":"))
    book.defined_names[name] = DefinedName(name, attr_text=f"'{sheet.title}'!{absolute}")


def put(sheet: Worksheet, ref: str, value: Any, *, size: float = 10, bold: bool = False, color: str = INK,
        italic: bool = False, align: str = "left", wrap: bool = False, number: str = "general", indent: int = 0,
        shrink: bool = False) -> None:
    cell = sheet[ref]
    cell.value = value
    cell.font = font(size, bold, color, italic)
    cell.alignment = Alignment(horizontal=align, vertical="top" if wrap else "center", wrap_text=wrap,
                               indent=indent, shrink_to_fit=shrink)
    cell.number_format = FORMATS[number]


def heading(sheet: Worksheet, first: str, last: str, row: int, text: str, size: float = 11) -> None:
    put(sheet, f"{first}{row}", text, size=size, bold=True, color=ACCENT)
    for column in range(ord(first), ord(last) + 1):
        sheet[f"{chr(column)}{row}"].border = Border(bottom=_accent)


def overline(sheet: Worksheet, columns: Sequence[str], row: int) -> None:
    """A rule above cells of a row, where a group begins."""
    for column in columns:
        sheet[f"{column}{row}"].border = Border(top=_accent)


def style_input(sheet: Worksheet, ref: str, number: str) -> None:
    """Inputs are told apart by a fill and by a border, and are the only cells that are not locked."""
    cell = sheet[ref]
    cell.font = font()
    cell.fill = PatternFill("solid", start_color=INPUT_FILL)
    cell.border = Border(left=_strong, right=_strong, top=_strong, bottom=_strong)
    words = number in ("text", "typed")
    cell.alignment = Alignment(horizontal="left" if words else "right", vertical="center", shrink_to_fit=words)
    cell.protection = Protection(locked=False)
    # What people type as a text stays one: 0012, 1-12. A choice or a material may be a number as well.
    cell.number_format = FORMATS[number] if number not in ("text", "typed") else "@" if number == "typed" else "General"


def style_answer(sheet: Worksheet, ref: str, number: str, bold: bool = False) -> None:
    cell = sheet[ref]
    cell.font = font(bold=bold)
    cell.alignment = Alignment(horizontal="left" if number == "text" else "right", vertical="center")
    cell.border = Border(bottom=_thin)
    cell.number_format = FORMATS[number] if number != "text" else "General"


def box() -> Border:
    """A thin line all around, the only one that a conditional format can draw."""
    return Border(left=_frame, right=_frame, top=_frame, bottom=_frame)


def underline(sheet: Worksheet, ref: str) -> None:
    """A line below cells of one row."""
    for row in _rows(sheet, ref):
        for cell in row:
            cell.border = Border(bottom=_thin)


def _rows(sheet: Worksheet, ref: str) -> tuple[tuple[Any, ...], ...]:
    return sheet[ref] if ":" in ref else ((sheet[ref],),)


def style_blank(sheet: Worksheet, ref: str) -> None:
    """A framed blank in one row that is written into by hand, on paper."""
    for row in _rows(sheet, ref):
        for cell in row:
            cell.border = Border(left=_frame if cell is row[0] else None, right=_frame if cell is row[-1] else None,
                                 top=_frame, bottom=_frame)


def rule_where(formula: str, **style: Any) -> Any:
    """A conditional format for the cells where a formula is TRUE."""
    return FormulaRule(formula=[formula], **style)  # type: ignore[no-untyped-call]


def quiet_errors(sheet: Worksheet, area: str) -> None:
    """An error value stays an error, but does not show: the status line says in words what is missing."""
    first = area.split(":")[0]
    sheet.conditional_formatting.add(area, rule_where(f"ISERROR({first})", font=Font(color=GROUND)))


def stacked_bar(sheet: Worksheet, first_row: int, last_row: int, anchor: str, width: float, height: float,
                fills: tuple[str, ...], share: float = 0.5, column: int = 2) -> None:
    """Lengths one behind the other, to scale, in that share of the height; the rest is for their names, which stand in the column
    before the lengths. Outlines keep the pieces apart in black and white."""
    chart = BarChart()
    chart.type, chart.grouping, chart.overlap, chart.gapWidth = "bar", "stacked", 100, 30
    chart.style = 2
    for row in range(first_row, last_row + 1):
        chart.add_data(Reference(sheet, min_col=column, max_col=column + 1, min_row=row), from_rows=True, titles_from_data=True)
    for series, fill in zip(chart.series, fills, strict=True):
        series.graphicalProperties = GraphicalProperties(solidFill=fill)
        series.graphicalProperties.line.solidFill = INK
        series.graphicalProperties.line.width = 9525
        series.invertIfNegative = False
    chart.legend.position = "b"
    chart.y_axis.delete = False
    chart.x_axis.delete = True
    chart.y_axis.majorGridlines = None
    chart.y_axis.scaling.min = 0
    chart.y_axis.number_format = "#,##0.##"
    chart.layout = Layout(manualLayout=ManualLayout(xMode="edge", yMode="edge", x=0.03, y=0.08, w=0.94, h=share))
    chart.width, chart.height = width, height  # type: ignore[assignment]
    sheet.add_chart(chart, anchor)


def profile(sheet: Worksheet, columns: list[int], first: int, last: int, anchor: str, width: float, height: float, long: float) -> None:
    """Lines above and below an axis, drawn to one scale: x in the first column, from 0 to `long`, and y in the others, up to 0.5:
    the outside, and dashed the bore. The lines below are the same cells on an axis that runs down."""
    def half(down: bool) -> ScatterChart:
        chart = ScatterChart()
        chart.style, chart.scatterStyle = 2, "lineMarker"
        for column in columns[1:]:
            outside = column == columns[1]
            series = Series(Reference(sheet, min_col=column, min_row=first, max_row=last),
                            Reference(sheet, min_col=columns[0], min_row=first, max_row=last))
            series.marker = Marker("none")
            series.smooth = False
            series.graphicalProperties.line.solidFill = INK if outside else ACCENT
            series.graphicalProperties.line.width = 19050 if outside else 9525
            series.graphicalProperties.line.dashStyle = "solid" if outside else "dash"
            chart.series.append(series)
        for axis, low, high in ((chart.x_axis, 0, long), (chart.y_axis, -0.5, 0.5)):
            axis.scaling.min, axis.scaling.max = low, high
            axis.majorGridlines = None
            axis.delete = False  # LibreOffice draws nothing on a second axis that is deleted
            axis.number_format = ";;;"
            axis.graphicalProperties = GraphicalProperties(ln=LineProperties(noFill=True))
        if down:
            chart.y_axis.axId, chart.y_axis.scaling.orientation, chart.y_axis.crosses = 200, "maxMin", "max"
        return chart

    chart = half(down=False)
    chart += half(down=True)
    chart.legend = None
    chart.layout = Layout(manualLayout=ManualLayout(layoutTarget="inner", xMode="edge", yMode="edge", x=0.02, y=0.02, w=0.96, h=0.96))
    chart.width, chart.height = width, height  # type: ignore[assignment]
    sheet.add_chart(chart, anchor)


def validate(sheet: Worksheet, ref: str, kind: Kind, label: str, help_text: str, source: str = "") -> None:
    """A prompt and a plain message for a wrong entry."""
    common: dict[str, Any] = {"allow_blank": True}
    if kind.choices or source:
        listed = source or '"' + ",".join(kind.choices) + '"'
        check = DataValidation(type="list", formula1=listed, **common)
    elif kind.is_number:
        if kind.high < 1e300:
            check = DataValidation(type="whole" if kind.whole else "decimal", operator="between",
                                   formula1=_number(kind.closed_low, kind.low), formula2=_number(kind.closed_high, kind.high),
                                   **common)
        else:
            check = DataValidation(type="decimal", operator="greaterThanOrEqual", formula1=f"{kind.low:g}", **common)
    else:
        check = DataValidation(type="textLength", operator="lessThanOrEqual", formula1=str(kind.longest), **common)
    check.promptTitle = label[:32]
    check.prompt = (help_text[:1].upper() + help_text[1:])[:255]
    check.showInputMessage = True
    check.errorTitle = label[:32]
    allowed = kind.allowed(None) if kind.reader != "text" else f"at most {kind.longest} characters"
    check.error = f"{label}: allowed is {allowed}."[:255]
    check.showErrorMessage = kind.reader != "material"
    sheet.add_data_validation(check)
    check.add(ref)


def validate_length(sheet: Worksheet, ref: str, kind: Kind, label: str, help_text: str) -> None:
    """The same for a length, which may be a text: a fraction is read, and what can't be read the status line names."""
    low = _number(kind.closed_low, kind.low)
    check = DataValidation(type="custom", allow_blank=True,
                           formula1=f"OR(ISTEXT({ref}),AND(ISNUMBER({ref}),{ref}>={low},{ref}<longest_length))")
    check.promptTitle = check.errorTitle = label[:32]
    check.prompt = (help_text[:1].upper() + help_text[1:])[:255]
    check.error = f"{label}: allowed is {kind.allowed(None)}. A typed 3/4 becomes a date: type 0 3/4 or =3/4."[:255]
    check.showInputMessage = check.showErrorMessage = True
    sheet.add_data_validation(check)
    check.add(ref)


def _number(closed: float, stated: float) -> str:
    """A bound that is itself refused moves in by a hair, in a form that every program reads."""
    if closed == stated:
        return f"{stated:.10g}"
    return f"{stated + (1e-9 if closed > stated else -1e-9):.10g}"


def parts_of(book: Workbook) -> dict[str, bytes]:
    """The parts of a built workbook without the time of saving, and with blank cells that no reader takes for 0."""
    buffer = io.BytesIO()
    book.save(buffer)
    parts = read_parts(buffer.getvalue())
    core = parts["docProps/core.xml"]
    parts["docProps/core.xml"] = re.sub(rb"(<dcterms:modified[^>]*>)[^<]*", rb"\g<1>2026-01-01T00:00:00Z", core)
    for name, data in parts.items():
        if name.startswith("xl/worksheets/"):
            data = re.sub(rb"<v ?/>|<v></v>", b"", data)
            parts[name] = re.sub(rb'(<c\b[^<>]*?) t="n"([^<>]*?)(?: ?/>|></c>)', rb"\1\2/>", data)
    return parts


_PAPER = re.compile(rb'(<pageSetup\b[^<>]*\bpaperSize=")[0-9]+')


def on_papers(xml: bytes) -> dict[str, bytes]:
    """By paper the XML of a sheet that is printed on it."""
    return {paper: _PAPER.sub(rb"\g<1>%d" % number, xml) for paper, number in PAPERS.items()}
