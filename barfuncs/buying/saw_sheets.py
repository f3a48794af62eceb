"""The sheets Saw, Jobs and Rack of buy_list.xlsx: which bar is sawn how, what each job gets of it, what the rack has before and after."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from openpyxl.styles import Border, Font, PatternFill, Side
from openpyxl.utils import get_column_letter as letters
from openpyxl.worksheet.worksheet import Worksheet

from barfuncs.buying.grid import Pen, break_pages, scaled, validate_all
from barfuncs.buying.order_sheets import CURRENCY, UNITS, U
from barfuncs.catalogue import kinds
from barfuncs.rack.bars import OF_ONE_HEAT, OWN
from barfuncs.templates import layout
from barfuncs.templates.cell_text import number_text
from barfuncs.templates.model import WRONG, Column, first_wrong, make_column

SAW, JOBS, RACK = "Saw", "Jobs", "Rack"
ROWS_OF_A_JOB = 10_000
"""More than the rows of blanks that a job has: keys are its number times this and the number of the row."""
BOXES = 96
"""Boxes that a bar is drawn in."""
UNIT = f'IF({UNITS}="mm"," mm"," in")'


def length_words(x: str) -> str:
    """Cell expression: a length with its unit, in words."""
    return f"{number_text(x, 3)}&{UNIT}"


# --- the saw -------------------------------------------------------------------------------------------------------

SAWING = (
    make_column("bars", "Bars", kinds.PositiveCount, "bars that are sawn in this way"),
    make_column("line", "Order line", kinds.PositiveCount, "number of the order's line that these bars are bought by, or"),
    make_column("rack", "Rack row", kinds.PositiveCount, "number of the row of the sheet Rack that these bars are"),
)
BLANK = (
    make_column("pieces", "Pieces", kinds.PositiveCount, "blanks alike that one bar is sawn into"),
    make_column("length", "Length to set", kinds.PositiveLength, "length of each of these blanks"),
    make_column("parts", "Parts each", kinds.PositiveCount, "parts that one of these blanks gives"),
    make_column("job", "Job no.", kinds.PositiveCount, "number of the job on the sheet Jobs"),
)
LEFT = make_column("left", "Left over", kinds.Length, "length left over of each bar; left blank, it is reckoned")
_PLACES = {"bars": (6, 11), "line": (22, 28), "rack": (29, 35), "pieces": (6, 11), "length": (12, 21), "parts": (22, 28), "job": (29, 35), "left": (12, 21)}
_NO, _TEXT, _ALL = (2, 5), 36, 76
_ASIDE = {name: BOXES + 4 + n for n, name in enumerate((
    "no", "bars", "line", "rack", "long", "sum", "pieces", "rest", "left", "cuts", "back", "open", "value", "rank", "used", "longest", "code", "bad", "text", "heat", "owner", "certificate",
    "source", "kind", "short", "blank_job", "blank_pieces", "blank_length", "blank_parts", "start", "step", "before", "letter", "blank_bad", "blank_all", "blank_made", "key", "way"))}
_BOX = BOXES + 5 + len(_ASIDE)
"""The first column of those that say which blank each box of a drawing is of."""
_HEADED = 6
"""Rows that stand on every page."""
_STEPS_ROW = 7
LIGHT, DARK, GRAY = "E8DCE6", "F7F1E3", "8A848A"


@dataclass
class SawPlaces:
    """Of each row of sawing its cells, and those of its blanks."""

    rows: list[dict[str, str]] = field(default_factory=list)
    blanks: list[list[dict[str, str]]] = field(default_factory=list)


def saw_sheet(pen: Pen, sheets: tuple[int, ...]) -> SawPlaces:
    """The page of the saw, with so many rows of blanks for each way to saw a bar."""
    widths = {"A": 1} | {letters(n): 1.43 for n in range(2, BOXES + 2)} | {letters(n): 8.0 for n in range(BOXES + 4, BOXES + 4 + len(_ASIDE))}
    sheet = layout.add_sheet(pen.book, SAW, widths, landscape=True)
    scaled(sheet, 95)
    _saw_head(pen, sheet)
    places = SawPlaces()
    row, blocks, strips = _STEPS_ROW + 1, [], []
    for no, blanks in enumerate(sheets, 1):
        last = row + 3 + blanks
        _sawing(pen, sheet, row, no, blanks, places)
        strips.append(row + 1)
        blocks.append((row, last))
        row = last + 1
    top, bottom = _STEPS_ROW + 1, row - 1
    for name, column in _ASIDE.items():
        layout.name_cell(pen.book, f"buy_saw_{name}", sheet, f"{letters(column)}{top}:{letters(column)}{bottom}")
    first, end = letters(2), letters(BOXES + 1)
    area = " ".join(f"{first}{strip}:{end}{strip}" for strip in strips)
    at, before = f"{first}{strips[0]}", f"A{strips[0]}"
    edge = Border(top=Side(style="thin", color=layout.INK), bottom=Side(style="thin", color=layout.INK))
    for condition, color in ((f"IF(ISTEXT({at}),IF(ISNUMBER({before}),{before}=1,FALSE),{at}=1)", LIGHT),
                             (f"IF(ISTEXT({at}),IF(ISNUMBER({before}),{before}=2,FALSE),{at}=2)", DARK),
                             (f"{at}=3", GRAY), (f"ISTEXT({at})", layout.GROUND)):
        sheet.conditional_formatting.add(area, layout.rule_where(condition, fill=PatternFill("solid", bgColor=color), border=edge))
    for item in (*SAWING, LEFT):
        validate_all(sheet, [cells[item.name] for cells in places.rows], item)
    for item in BLANK:
        validate_all(sheet, [cells[item.name] for found in places.blanks for cells in found], item)
    break_pages(sheet, blocks, _HEADED)
    sheet.print_title_rows = f"1:{_HEADED}"
    sheet.print_area = f"A1:{end}{bottom}"
    layout.keep_in_view(sheet, f"A{_STEPS_ROW + 1}", 90)
    return places


_CAUTIONS = (
    "The saw's manual and the shop's rules come before this page. Clamp before each cut; carry a long bar on both sides of the blade, the piece that is cut off too;",
    "keep the way clear where a bar swings. Blade still before you reach in; no gloves near it while it runs; chips and sawn ends are hot and sharp. Lift as the shop's rules say.",
)


def _saw_head(pen: Pen, sheet: Worksheet) -> None:
    sheet.row_dimensions[1].height = 24
    pen.put(sheet, 1, 2, '="Saw"&IF(ISBLANK(buy_number),"",", order "&buy_number)', size=18, bold=True, color=layout.ACCENT)
    pen.put(sheet, 1, 40, f'=IF(LEFT(buy_status,1)="{WRONG}","{WRONG} STOP  Do not saw from this page: see the sheet Money.","")', bold=True)
    for row, text in enumerate(_CAUTIONS, 2):
        sheet.row_dimensions[row].height = 12
        pen.put(sheet, row, 2, text, size=8.5)
    sheet.row_dimensions[4].height = 14
    pen.put(sheet, 4, 2, f'="Kerf "&{length_words("buy_kerf")}&IF(buy_trim>0,"; first trim "&{length_words("buy_trim")}&" off each end of every bar, its cut included","; no trim of the ends")'
                         '&". A, B, C: blanks as listed, drawn to one scale on all pages; dark: trim; / goes back on the rack; x scrap."', size=9, bold=True)
    for row, labels in ((5, (("", _NO), ("Bars", _PLACES["bars"]), ("Order line", _PLACES["line"]), ("Rack row", _PLACES["rack"]), ("Bar", (_TEXT, _ALL - 1)))),
                        (6, (("", _NO), ("Pieces", _PLACES["pieces"]), ("Length to set", _PLACES["length"]), ("Parts each", _PLACES["parts"]), ("Job no.", _PLACES["job"]),
                             ("Job", (_TEXT, _ALL - 1)), ("In all", (_ALL, BOXES + 1))))):
        sheet.row_dimensions[row].height = 12
        for label, (first, last) in labels:
            left = first >= _TEXT
            pen.put(sheet, row, (first, last), label, size=8, bold=True, color=layout.ACCENT, align="left" if left else "right", indent=int(left), shrink=True)
    for name, column in _ASIDE.items():
        pen.put(sheet, _HEADED, column, name.replace("_", " "), size=8, color=layout.SOFT, align="right", shrink=True)
    sheet.row_dimensions[_STEPS_ROW].hidden = True
    for n in range(BOXES):
        pen.put(sheet, _STEPS_ROW, n + 2, f"={n + 0.5}*buy_saw_box", size=8)
    ref = pen.put(sheet, 3, BOXES + 4, f"=MAX(buy_saw_long)/{BOXES}", size=8, color=layout.SOFT)
    layout.name_cell(pen.book, "buy_saw_box", sheet, ref)
    pen.put(sheet, 3, BOXES + 5, "length of one box of the drawing", size=8, color=layout.SOFT)


def _absolute(column: int, row: int, last: int | None = None) -> str:
    letter = letters(column)
    return f"${letter}${row}" + (f":${letter}${last}" if last else "")


def _sawing(pen: Pen, sheet: Worksheet, row: int, no: int, blanks: int, places: SawPlaces) -> None:
    """A way to saw: its bar, the drawing, what to tick off, the blanks and what is left over."""
    first, last, left_row = row + 2, row + 1 + blanks, row + 2 + blanks
    sheet.row_dimensions[row].height = 18
    sheet.row_dimensions[row + 1].height = 17
    sheet.row_dimensions[left_row + 1].height = 20
    h = {name: _absolute(column, row) for name, column in _ASIDE.items()}
    pen.put(sheet, row, _NO, no, size=12, bold=True, color=layout.ACCENT, align="left")
    cells = {c.name: pen.framed(sheet, row, _PLACES[c.name], c) for c in SAWING}
    pen.put(sheet, row, 12, f'=IF({h["bars"]}=1,"bar of:",IF({h["bars"]}>1,"bars, each:",""))', size=9, color=layout.SOFT, indent=1)
    pen.put(sheet, row, _TEXT, f'=IF({h["bars"]}=0,"",{h["text"]}&{_kind_and_place(h)})', size=11, bold=True, indent=1)
    cells["left"] = pen.framed(sheet, left_row, _PLACES["left"], LEFT)
    found = []
    for n, at in enumerate(range(first, last + 1)):
        pen.put(sheet, at, _NO, _letter(n), bold=True, align="right")
        found.append({c.name: pen.framed(sheet, at, _PLACES[c.name], c) for c in BLANK})
        _blank(pen, sheet, at, n, first, h, found[-1])
    places.rows.append(cells)
    places.blanks.append(found)

    def column(name: str) -> str:
        return _absolute(_ASIDE[name], first, last)

    starts = _absolute(_ASIDE["start"], first, left_row)
    typed = f'COUNTA({cells["bars"]},{cells["line"]},{cells["rack"]},{cells["left"]},{found[0]["pieces"]}:{found[-1]["job"]})'
    of_line = f'MATCH({h["line"]},buy_order_no,0)'
    of_rack = f'MATCH({h["rack"]},buy_rack_no,0)'
    whole = 'NOT(IF(ISNUMBER({0}),IF({0}>=1,{0}=INT({0}),FALSE),FALSE))'.format
    tolerance = f"(({h['pieces']}+3)/buy_steps+0.000001)"
    wrong = (
        (whole(cells["bars"]), "bars: a whole number, 1 or more"),
        (f'({h["line"]}>0)+({h["rack"]}>0)<>1', "say an order line or a rack row"),
        (f'{h["long"]}=0', "there is no such bar"),
        (f'SUM({column("blank_bad")})>0', "a blank lacks pieces, length, parts or job"),
        (f'{h["pieces"]}=0', "no blanks"),
        (f'{h["rest"]}<-{tolerance}', "blanks and kerfs are longer than the bar"),
        (f'{h["open"]}=1', "bar = blanks + kerf + trim + left over does not add up"),
    )
    formulas = {
        "no": str(no),
        "bars": f'IF(ISNUMBER({cells["bars"]}),{cells["bars"]},0)',
        "line": f'IF(ISNUMBER({cells["line"]}),{cells["line"]},0)',
        "rack": f'IF(ISNUMBER({cells["rack"]}),{cells["rack"]},0)',
        "long": f'IF({h["line"]}>0,IFERROR(INDEX(buy_order_long,{of_line}),0),IF({h["rack"]}>0,IFERROR(INDEX(buy_rack_long,{of_rack}),0),0))',
        "sum": f'SUMPRODUCT({column("blank_pieces")}*{column("blank_length")})',
        "pieces": f'SUM({column("blank_pieces")})',
        "rest": f'IF({h["pieces"]}=0,0,{h["long"]}-2*buy_trim-{h["sum"]}-({h["pieces"]}-1)*buy_kerf)',
        "left": f'IF({cells["left"]}="",IF({h["rest"]}>buy_kerf+0.5/buy_steps,{h["rest"]}-buy_kerf,0),IF(ISNUMBER({cells["left"]}),{cells["left"]},0))',
        "cuts": f'IF({h["pieces"]}=0,0,{h["pieces"]}-1+({h["left"]}>0))',
        "back": f'IF({h["left"]}>0,IF({h["left"]}>=buy_least-0.000001,1,0),0)',
        "open": f'IF({h["pieces"]}=0,0,IF({h["left"]}>0,IF(ABS({h["rest"]}-buy_kerf-{h["left"]})>{tolerance},1,0),IF({h["rest"]}>buy_kerf+{tolerance},1,0)))',
        "value": f'IF({h["back"]}=0,0,{h["bars"]}*{h["left"]}*IF({h["line"]}>0,IFERROR(INDEX(buy_order_each,{of_line}),0),IFERROR(INDEX(buy_rack_each,{of_rack}),0)))',
        "rank": f'IF({h["back"]}=1,MAX({_absolute(_ASIDE["rank"], _HEADED)}:{_absolute(_ASIDE["rank"], row - 1)})+1,0)',
        "used": f'ROUND({h["long"]}-{h["left"]},6)',
        "longest": f'IF({h["line"]}>0,IF(COUNTIFS(buy_saw_line,{h["line"]},buy_saw_used,">"&{h["used"]})=0,{h["line"]},0),0)',
        "code": f'IF({h["left"]}>0,IF({h["back"]}=1,"/","x"),3)',
        "bad": f'IF({typed}=0,"",IFERROR({first_wrong(wrong)},"{WRONG} a cell shows an error"))',
        "text": f'IF({h["line"]}>0,"bought, "&{length_words(h["long"])}&", order line "&{number_text(h["line"], 0)},'
                f'IF({h["rack"]}>0,"rack bar "&IFERROR(INDEX(buy_rack_id,{of_rack})&"","?")&", "&{length_words(h["long"])},""))',
        "short": f'IF({h["line"]}>0,"order line "&{number_text(h["line"], 0)},IF({h["rack"]}>0,"rack "&IFERROR(INDEX(buy_rack_id,{of_rack})&"","?"),""))&", "&{length_words(h["long"])}',
        "heat": f'IF({h["rack"]}>0,IFERROR(INDEX(buy_rack_heat,{of_rack})&"",""),"")',
        "owner": f'IF({h["rack"]}>0,IFERROR(INDEX(buy_rack_owner,{of_rack})&"",""),"{OWN}")',
        "certificate": f'IF({h["line"]}>0,IFERROR(INDEX(buy_order_certificate,{of_line})&"",""),IF({h["rack"]}>0,IFERROR(INDEX(buy_rack_certificate,{of_rack})&"",""),""))',
        "source": f'IF({h["line"]}>0,"order "&{number_text(h["line"], 0)},IF({h["heat"]}="","bar "&{number_text(h["rack"], 0)},"heat "&{h["heat"]}))',
        "kind": f'IF({h["line"]}>0,IFERROR(INDEX(buy_order_kind,{of_line}),""),IF({h["rack"]}>0,IFERROR(INDEX(buy_rack_kind,{of_rack})&"",""),""))',
    }
    for name, formula in formulas.items():
        pen.put(sheet, row, _ASIDE[name], f"={formula}", size=8, color=layout.SOFT, align="right")
    pen.put(sheet, left_row, _ASIDE["start"], f"={_absolute(_ASIDE['start'], last)}+{_absolute(_ASIDE['blank_pieces'], last)}*{_absolute(_ASIDE['step'], last)}",
            size=8, color=layout.SOFT, align="right")
    _strip(pen, sheet, row + 1, blanks, h, starts, first, last)
    pen.put(sheet, left_row, 2, "Left over", bold=True)
    pen.put(sheet, left_row, 22, f'=IF({h["bars"]}=0,"",IF({h["bad"]}<>"",{h["bad"]},IF({h["left"]}=0,"Nothing: no cut behind the last blank"&IF({h["rest"]}>0.5/buy_steps,", which stays "&{length_words(h["rest"])}&" longer","")&".",'
            f'{length_words(h["left"])}&IF({h["back"]}=1," of each bar goes back on the rack: label it, "&IF({h["line"]}>0,"with the heat of its bar",'
            f'"heat "&IF({h["heat"]}="","not known",{h["heat"]})&", owner "&{h["owner"]}),": scrap"))))', size=9, bold=True, indent=1)
    boxes = f"IF({h['bars']}<=40,1,IF({h['bars']}<=400,10,IF({h['bars']}<=4000,100,100000)))"
    pen.put(sheet, left_row + 1, 2, f'=IF({h["bars"]}=0,"","Tick off "&IF({boxes}=1,"each bar","one box for "&{number_text(boxes, 0)}&" bars")&":  "&REPT("\u25a1 ",-INT(-{h["bars"]}/{boxes}))'
            f'&IF({h["line"]}>0,"   heat of the bars: ____________",""))', size=10)
    layout.underline(sheet, f"{letters(2)}{left_row + 1}:{letters(BOXES + 1)}{left_row + 1}")


def _kind_and_place(h: dict[str, str]) -> str:
    of_rack = f'MATCH({h["rack"]},buy_rack_no,0)'
    return (f'&"  \u2014  "&{h["kind"]}&IF({h["rack"]}>0,IF({h["heat"]}="","; heat not known","; heat "&{h["heat"]})'
            f'&IFERROR(IF(INDEX(buy_rack_place,{of_rack})="","","; place "&INDEX(buy_rack_place,{of_rack})),"")&IF({h["owner"]}="{OWN}","","; owner "&{h["owner"]}),"")')[1:]


def _letter(n: int) -> str:
    """A sign for each row of blanks of a bar."""
    return chr(65 + n) if n < 26 else chr(71 + n) if n < 52 else "*"


def _blank(pen: Pen, sheet: Worksheet, at: int, n: int, first: int, h: dict[str, str], typed: dict[str, str]) -> None:
    b = {name: _absolute(column, at) for name, column in _ASIDE.items()}
    of_job = f'MATCH({b["blank_job"]},buy_job_no,0)'
    above = {name: _absolute(column, at - 1) for name, column in _ASIDE.items()}
    formulas = {
        "blank_job": f'IF(ISNUMBER({typed["job"]}),{typed["job"]},0)',
        "blank_pieces": f'IF(ISNUMBER({typed["pieces"]}),IF(ISNUMBER({typed["length"]}),IF(ISNUMBER({typed["parts"]}),'
                        f'IF(ISNUMBER(IFERROR({of_job},"")),IF({typed["length"]}>0,IF({typed["pieces"]}>=1,INT({typed["pieces"]}),0),0),0),0),0),0)',
        "blank_length": f'IF({b["blank_pieces"]}>0,{typed["length"]},0)',
        "blank_parts": f'IF({b["blank_pieces"]}>0,{typed["parts"]},0)',
        "start": "buy_trim" if n == 0 else f'{above["start"]}+{above["blank_pieces"]}*{above["step"]}',
        "step": f'{b["blank_length"]}+buy_kerf',
        "before": "0" if n == 0 else f'{above["before"]}+{above["blank_pieces"]}',
        "blank_bad": f'IF(COUNTA({typed["pieces"]}:{typed["job"]})=0,0,IF({b["blank_pieces"]}>0,0,1))',
        "blank_all": f'{h["bars"]}*{b["blank_pieces"]}',
        "blank_made": f'{b["blank_all"]}*{b["blank_parts"]}',
        "key": f'IF({b["blank_all"]}>0,{b["blank_job"]}*{ROWS_OF_A_JOB}+COUNTIF({letters(_ASIDE["blank_job"])}${_STEPS_ROW + 1}:{letters(_ASIDE["blank_job"])}{at},{b["blank_job"]}),0)',
    }
    for name, formula in formulas.items():
        pen.put(sheet, at, _ASIDE[name], f"={formula}", size=8, color=layout.SOFT, align="right")
    for name, constant in (("letter", _letter(n)), ("way", first - 2 - _STEPS_ROW)):
        pen.put(sheet, at, _ASIDE[name], constant, size=8, color=layout.SOFT, align="right")
    pen.put(sheet, at, _TEXT, f'=IF({b["blank_job"]}=0,"",IFERROR(INDEX(buy_job_name,{of_job})&"","{WRONG} no such job"))', bold=True, indent=1)
    pen.put(sheet, at, _ALL, f'=IF({b["blank_all"]}=0,"",{number_text(b["blank_all"], 0)}&IF({b["blank_all"]}=1," piece, "," pieces, ")&{number_text(b["blank_made"], 0)}'
                             f'&IF({b["blank_made"]}=1," part"," parts")&IF(IFERROR(INDEX(buy_job_heats,{of_job})&"","")="mixed","","; job of one heat"))', size=9, indent=1)


def _strip(pen: Pen, sheet: Worksheet, row: int, blanks: int, h: dict[str, str], starts: str, first: int, last: int) -> None:
    """The bar drawn in boxes: 1 and 2 in turn for blanks, their letter in the middle, 3 for trim, a sign for what is left over."""
    for n in range(BOXES):
        at, k = f"{letters(n + 2)}${_STEPS_ROW}", f"{letters(_BOX + n)}{row}"
        # However thin the trim, it has a box at each end.
        edge = "buy_trim>0" if n == 0 else f'IF(buy_trim>0,OR({at}<buy_trim,{at}>={h["long"]}-MAX(buy_trim,buy_saw_box)),FALSE)'
        pen.put(sheet, row, _BOX + n, f'=IF({h["bars"]}*{h["pieces"]}=0,0,IF({at}>={h["long"]},0,IF({edge},-1,MATCH({at},{starts},1))))', size=8, color=layout.SOFT)

        def of(name: str, k: str = k) -> str:
            return f"INDEX({_absolute(_ASIDE[name], first, last + 1)},{k})"  # of one cell alone, Gnumeric's INDEX gives #REF!

        nth = f"INT(({at}-{of('start')})/{of('step')}+0.000000001)"
        middle = f"INT(({of('start')}+{nth}*{of('step')}+{of('blank_length')}/2)/buy_saw_box+0.000001)={n}"
        blank = f"IF(IF({of('blank_length')}>=3*buy_saw_box,{middle},FALSE),{of('letter')},1+MOD({of('before')}+{nth},2))"
        pen.put(sheet, row, n + 2, f'=IF({k}<1,-3*{k},IF({k}>{blanks},{h["code"]},{blank}))', size=8, bold=True, align="center", number="hidden_number")


# --- jobs ----------------------------------------------------------------------------------------------------------

JOB = (
    make_column("name", "Job", kinds.Text, "number or name of the job"),
    make_column("customer", "Customer", kinds.Text, "whose job it is; only this customer's own bars may go into it"),
    make_column("kind", "Bar", kinds.Text, "material, shape and size that it is made from"),
    make_column("need", "To make", kinds.PositiveCount, "parts to make, scrap and set-up pieces included"),
    make_column("certificate", "Certif.", kinds.Text, "inspection document after EN 10204 that its bars must have: none, 2.1, 2.2, 3.1 or 3.2"),
    make_column("heats", "Heats", kinds.Text, "one: all its parts from one heat; mixed: from several"),
    make_column("need_by", "Needed by", kinds.Text, "the day on which its bars must be there", instead="date"),
)
JOB_LENGTHS = (
    make_column("each", "Bar per part", kinds.Length, "part length + cut-off width + facing; of pieces, their length"),
    make_column("lost", "Lost of a blank", kinds.Length, "of each blank beside its parts: end trim and minimum remnant"),
    make_column("shortest", "Shortest blank", kinds.Length, "that the feeder takes"),
    make_column("longest", "Longest blank", kinds.Length, "that the feeder takes"),
)
_JOB_AT = {"no": 2, "name": 3, "customer": 4, "kind": 5, "need": 6, "made": 7, "certificate": 8, "heats": 9, "need_by": 10, "pieces": 11, "length": 12,
           "parts": 13, "all": 14, "text": 15, "heat": 16, "mark": 17, "each": 19, "lost": 20, "shortest": 21, "longest": 22, "row": 23, "way": 24}
_JOB_LABELS = {"no": "No.", "made": "Come out", "pieces": "Blanks", "length": "Length", "parts": "Each", "all": "Parts", "text": "From", "heat": "Heat", "mark": "Look",
               "row": "Row of blanks", "way": "Row of its bar"}
_JOB_WIDTHS = {"A": 1.5, "B": 5, "C": 11, "D": 17, "E": 25, "F": 7.5, "G": 9, "H": 9.5, "I": 6.5, "J": 10.5, "K": 6.5, "L": 9.5, "M": 8, "N": 8, "O": 22, "P": 9,
               "Q": 16, "R": 2, "S": 11, "T": 11, "U": 11, "V": 11, "W": 9, "X": 9}


@dataclass
class JobPlaces:
    rows: list[dict[str, str]] = field(default_factory=list)


def rank_of(cell: str) -> str:
    """Cell expression: a certificate as a number, so that a better one is larger."""
    steps = "0"
    for text in ("2.1", "2.2", "3.1", "3.2"):
        steps = f'IF({cell}="{text}",{text},{steps})'
    return f"IF(ISNUMBER({cell}),{cell},{steps})"


def jobs_sheet(pen: Pen, sheets: tuple[int, ...]) -> JobPlaces:
    """Each job with so many rows of blanks."""
    sheet = layout.add_sheet(pen.book, JOBS, _JOB_WIDTHS, landscape=True)
    layout.put(sheet, "B1", "Jobs", size=18, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[1].height = 26
    layout.put(sheet, "B2", "What each job needs, and the blanks that it gets from the sheet Saw.", size=9, color=layout.SOFT)
    head = 4
    labels = {c.name: c.label for c in (*JOB, *JOB_LENGTHS)} | _JOB_LABELS
    layout.heading(sheet, "B", "Q", head, "")
    for name, column in _JOB_AT.items():
        left = name in ("name", "customer", "kind", "certificate", "heats", "text", "heat", "mark")
        if name in ("length", "each", "lost", "shortest", "longest"):
            pen.put(sheet, head - 1, column, U, size=8, color=layout.SOFT, align="right")
        pen.head(sheet, head, column, labels[name], left)
    places = JobPlaces()
    row, blocks = head + 1, []
    for no, blanks in enumerate(sheets, 1):
        top = {name: _absolute(column, row) for name, column in _JOB_AT.items()}
        pen.put(sheet, row, _JOB_AT["no"], no, align="right", color=layout.SOFT)
        places.rows.append({c.name: pen.framed(sheet, row, _JOB_AT[c.name], c) for c in (*JOB, *JOB_LENGTHS)})
        pen.answer(sheet, row, _JOB_AT["made"], f'IF({top["need"]}="","",SUMIF(buy_saw_blank_job,{no},buy_saw_blank_made))', "count", bold=True)
        for n in range(1, blanks + 1):
            _blank_of_job(pen, sheet, row + n - 1, no, n, blanks, top)
        blocks.append((row, row + blanks - 1))
        row += blanks
        layout.underline(sheet, f"B{row - 1}:B{row - 1}")
    for name, column in _JOB_AT.items():
        layout.name_cell(pen.book, f"buy_job_{name}", sheet, f"{letters(column)}{head + 1}:{letters(column)}{row - 1}")
    for item in (*JOB, *JOB_LENGTHS):
        validate_all(sheet, [cells[item.name] for cells in places.rows], item)
    scaled(sheet, 73)
    break_pages(sheet, blocks, head)
    sheet.print_title_rows = f"{head - 1}:{head}"
    sheet.print_area = f"A1:Q{row - 1}"
    layout.keep_in_view(sheet, f"D{head + 1}", 90)
    sheet.conditional_formatting.add(f"Q{head + 1}:Q{row - 1}", layout.rule_where(f'LEFT(Q{head + 1},1)="{WRONG}"', font=Font(bold=True)))
    return places


def _blank_of_job(pen: Pen, sheet: Worksheet, row: int, no: int, n: int, blanks: int, top: dict[str, str]) -> None:
    at = {name: f"${letters(column)}{row}" for name, column in _JOB_AT.items()}
    pen.put(sheet, row, _JOB_AT["row"], f"=IFERROR(MATCH({no * ROWS_OF_A_JOB + n},buy_saw_key,0),0)", size=8, color=layout.SOFT, align="right")

    pen.put(sheet, row, _JOB_AT["way"], f'=IF({at["row"]}=0,0,INDEX(buy_saw_way,{at["row"]}))', size=8, color=layout.SOFT, align="right")

    def saw(name: str) -> str:
        return f"INDEX(buy_saw_{name},{at['way']})"

    for name, source, number in (("pieces", "blank_all", "count"), ("length", "blank_length", "length"), ("parts", "blank_parts", "count"), ("all", "blank_made", "count")):
        pen.answer(sheet, row, _JOB_AT[name], f'IF({at["row"]}=0,"",INDEX(buy_saw_{source},{at["row"]}))', number)
    for name, source in (("text", "short"), ("heat", "heat")):
        pen.answer(sheet, row, _JOB_AT[name], f'IF({at["row"]}=0,"",{saw(source)}&"")', "text")
    step = "(1/buy_steps)"
    want, has = rank_of(top["certificate"]), rank_of(saw("certificate"))
    wrong = [
        (f'IF({top["heats"]}="mixed",FALSE,{saw("source")}<>INDEX(buy_saw_source,{top["way"]}))', "another heat"),
        (f"{has}<{want}", "certificate is less than wanted"),
        (f'IF({want}>={OF_ONE_HEAT[0]},IF({saw("heat")}="",LEFT({saw("source")},5)<>"order",FALSE),FALSE)', "no heat is known"),
        (f'IF({saw("owner")}="{OWN}",FALSE,{saw("owner")}<>{top["customer"]}&"")', "another customer's bar"),
        (f'IF(ISNUMBER({top["each"]}),{at["length"]}<{at["parts"]}*{top["each"]}+{top["lost"]}-{step},FALSE)', "too short for its parts"),
        (f'IF(ISNUMBER({top["shortest"]}),{at["length"]}<{top["shortest"]}-{step},FALSE)', "too short for the feeder"),
        (f'IF(ISNUMBER({top["longest"]}),{at["length"]}>{top["longest"]}+{step},FALSE)', "too long for the feeder"),
    ]
    mark = f'IF({at["row"]}=0,"",{first_wrong(wrong)})'
    if n == 1:
        short = f'{top["made"]}<{top["need"]}'
        mark = (f'IF({top["need"]}="",IF(COUNTA({top["name"]}:{top["kind"]},{top["certificate"]}:{top["need_by"]})=0,"","{WRONG} parts to make are missing"),'
                f'IF(NOT(ISNUMBER({top["need"]})),"{WRONG} to make: a number",IF({short},"{WRONG} "&{number_text(top["need"] + "-" + top["made"], 0)}&" parts short",'
                f'IF(COUNTIF(buy_saw_blank_job,{no})>{blanks},"! more blanks than rows here",{mark}))))')
    pen.put(sheet, row, _JOB_AT["mark"], f'=IFERROR({mark},"{WRONG} a cell shows an error")', size=9, indent=1, shrink=True)


# --- the rack ------------------------------------------------------------------------------------------------------

RACK_BAR = (
    make_column("id", "Bar id", kinds.Text, "what is written on the bar"),
    make_column("kind", "Bar", kinds.Text, "material, shape and size"),
    make_column("length", "Length", kinds.PositiveLength, "length of one bar"),
    make_column("heat", "Heat", kinds.Text, "number of the melt that the bar is of"),
    make_column("certificate", "Certificate", kinds.Text, "inspection document after EN 10204: none, 2.1, 2.2, 3.1 or 3.2"),
    make_column("owner", "Owner", kinds.Text, "own, or the customer whose bar it is; blank is own"),
    make_column("place", "Place", kinds.Text, "where it lies"),
    make_column("count", "Bars", kinds.PositiveCount, "bars that are alike and have this id; blank is 1"),
    make_column("value", "Value of one", kinds.Money, "what one bar is worth; a customer's bar has none"),
)
_RACK_AT = {"no": 2, "id": 3, "kind_typed": 4, "length": 5, "heat": 6, "certificate": 7, "owner_typed": 8, "place": 9, "count_typed": 10, "value_typed": 11, "taken": 12, "stays": 13,
            "money": 14, "mark": 15, "count": 17, "long": 18, "owner": 19, "value": 20, "each": 21, "kind": 22}
_RACK_WIDTHS = {"A": 1.5, "B": 5, "C": 13, "D": 30, "E": 11, "F": 11, "G": 10, "H": 18, "I": 10, "J": 7, "K": 11, "L": 8, "M": 8, "N": 12, "O": 26, "P": 2} | {
    letters(n): 10 for n in range(17, 23)}
_RACK_LABELS = {"no": "Row", "id": "Bar id", "kind_typed": "Bar", "length": "Length", "heat": "Heat", "certificate": "Certificate", "owner_typed": "Owner", "place": "Place",
                "count_typed": "Bars", "value_typed": "Value of one", "taken": "Taken", "stays": "Stay", "money": "Value", "mark": "Look", "count": "Bars counted",
                "long": "Length", "owner": "Owner as used", "value": "Value of one", "each": "Value of a length", "kind": "Kind"}


@dataclass
class RackPlaces:
    rows: list[dict[str, str]] = field(default_factory=list)


def rack_sheet(pen: Pen, bars: int, back: int, whole: int) -> RackPlaces:
    """So many bars before, what is taken of them, rows for what comes `back` and for what stays `whole`, and the balance."""
    sheet = layout.add_sheet(pen.book, RACK, _RACK_WIDTHS, landscape=True)
    scaled(sheet, 73)
    layout.put(sheet, "B1", "Rack, before and after", size=18, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[1].height = 26
    head = 3
    _rack_headings(pen, sheet, head)
    blocks = [(head + 1, head + 2)]
    pen.put(sheet, head + 1, 2, "Bars on the rack before", size=11, bold=True, color=layout.ACCENT)
    first = head + 2
    places = RackPlaces()
    for n in range(1, bars + 1):
        places.rows.append(_rack_bar(pen, sheet, first + n - 1, n))
        blocks.append((first + n, first + n))
    last = first + bars - 1
    for name, column in _RACK_AT.items():
        layout.name_cell(pen.book, f"buy_rack_{name}", sheet, f"{letters(column)}{first}:{letters(column)}{last}")
    for item in RACK_BAR:
        validate_all(sheet, [cells[item.name] for cells in places.rows], item)
    sheet.conditional_formatting.add(f"O{first}:O{last}", layout.rule_where(f'LEFT(O{first},1)="{WRONG}"', font=Font(bold=True)))
    blocks.pop()
    for table, rows in ((_back, back), (_not_sawn, whole)):
        row = last + 2
        last = table(pen, sheet, row, rows)
        blocks += [(row - 1, row + 1), *((n, n) for n in range(row + 2, last + 1))]
    blocks.append((last + 1, _balance(pen, sheet, last + 2)))
    break_pages(sheet, blocks, head)
    sheet.print_title_rows = f"1:{head}"
    sheet.print_area = f"A1:O{blocks[-1][1]}"
    layout.keep_in_view(sheet, f"A{head + 1}", 90)
    return places


def _rack_headings(pen: Pen, sheet: Worksheet, row: int) -> None:
    """The labels of all tables of the sheet, which stand on each of its pages."""
    layout.heading(sheet, "B", "O", row, "")
    for name, column in _RACK_AT.items():
        unit = {"length": U, "value_typed": CURRENCY, "money": CURRENCY}.get(name)
        if unit:
            pen.put(sheet, row - 1, column, unit, size=8, color=layout.SOFT, align="right")
        left = name in ("id", "kind_typed", "heat", "certificate", "owner_typed", "place", "mark")
        if column <= _RACK_AT["mark"]:
            pen.head(sheet, row, column, _RACK_LABELS[name], left)
        else:
            pen.put(sheet, row, column, _RACK_LABELS[name], size=8, color=layout.SOFT, align="right", shrink=True)


def _rack_bar(pen: Pen, sheet: Worksheet, row: int, n: int) -> dict[str, str]:
    at = {name: f"${letters(column)}{row}" for name, column in _RACK_AT.items()}
    pen.put(sheet, row, _RACK_AT["no"], n, align="right", color=layout.SOFT)
    found = {}
    for column in RACK_BAR:
        name = column.name if column.name in _RACK_AT and column.name not in ("kind", "owner", "count", "value") else f"{column.name}_typed"
        found[column.name] = pen.framed(sheet, row, _RACK_AT[name], column)
    typed = f"COUNTA({at['id']}:{at['value_typed']})"
    pen.answer(sheet, row, _RACK_AT["taken"], f'IF({typed}=0,"",SUMIF(buy_saw_rack,{n},buy_saw_bars))', "blank_or_count", bold=True)
    pen.answer(sheet, row, _RACK_AT["stays"], f'IF({typed}=0,"",{at["count"]}-{at["taken"]})', "blank_or_count")
    pen.answer(sheet, row, _RACK_AT["money"], f'IF({typed}=0,"",{at["taken"]}*{at["value"]})', "blank_or_money")
    wrong = (
        (f'{at["id"]}=""', "the bar id is missing"),
        (f"SUMPRODUCT(--(buy_rack_id={at['id']}))>1", "this bar id stands twice"),
        (f'NOT(IF(ISNUMBER({at["length"]}),{at["length"]}>0,FALSE))', "length: a number above 0"),
        (f'NOT(IF({at["count_typed"]}="",TRUE,IF(ISNUMBER({at["count_typed"]}),IF({at["count_typed"]}>=1,{at["count_typed"]}=INT({at["count_typed"]}),FALSE),FALSE)))', "bars: a whole number"),
        (f'NOT(IF({at["value_typed"]}="",TRUE,IF(ISNUMBER({at["value_typed"]}),{at["value_typed"]}>=0,FALSE)))', "value: a number, 0 or more"),
        (f'{at["taken"]}>{at["count"]}', "more taken than there are"),
    )
    mark = first_wrong(wrong, f'IF({at["taken"]}=0,"",IF({at["stays"]}=0,"taken","some taken"))')
    pen.put(sheet, row, _RACK_AT["mark"], f'=IF({typed}=0,"",IFERROR({mark},"{WRONG} a cell shows an error"))', size=9, indent=1)
    aside = {
        "count": f'IF({typed}=0,0,IF({at["count_typed"]}="",1,IF(ISNUMBER({at["count_typed"]}),{at["count_typed"]},0)))',
        "long": f'IF(ISNUMBER({at["length"]}),{at["length"]},0)',
        "owner": f'IF({at["owner_typed"]}="","{OWN}",{at["owner_typed"]}&"")',
        "value": f'IF({at["owner"]}="{OWN}",IF(ISNUMBER({at["value_typed"]}),{at["value_typed"]},0),0)*buy_rack_counts',
        "each": f'IF({at["long"]}>0,{at["value"]}/(INT({at["long"]}*buy_steps+0.0001)/buy_steps),0)',
        "kind": f'{at["kind_typed"]}&""',
    }
    for name, formula in aside.items():
        pen.put(sheet, row, _RACK_AT[name], f"={formula}", size=8, color=layout.SOFT, align="right")
    return found


def _back(pen: Pen, sheet: Worksheet, row: int, rows: int) -> int:
    """What comes back from the saw, one row for each way to saw that leaves something."""
    def cells(saw: Callable[[str], str]) -> tuple[tuple[str, str, str], ...]:
        return (
            ("id", f'IF({saw("line")}>0,"order line "&{number_text(saw("line"), 0)},INDEX(buy_rack_id,MATCH({saw("rack")},buy_rack_no,0))&"")', "text"),
            ("kind_typed", saw("kind"), "text"), ("length", saw("left"), "length"),
            ("heat", f'IF({saw("line")}>0,"of its bar",IF({saw("heat")}="","not known",{saw("heat")}))', "text"),
            ("certificate", f'{saw("certificate")}&""', "text"), ("owner_typed", saw("owner"), "text"), ("count_typed", saw("bars"), "count"),
            ("value_typed", f'{saw("value")}/{saw("bars")}', "money"), ("money", saw("value"), "money"))

    return _ranked(pen, sheet, row, rows, "buy_saw", "Left over, back on the rack (row of the saw, from which bar)", cells,
                   lambda saw: f'"label it; row "&{number_text(saw("no"), 0)}&" of the saw"')


def _not_sawn(pen: Pen, sheet: Worksheet, row: int, rows: int) -> int:
    """Bars that are bought and not sawn, a row for each line of the order that has some."""
    return _ranked(pen, sheet, row, rows, "buy_order", "Bought and not sawn, whole on the rack (line of the order)", lambda order: (
        ("kind_typed", order("kind"), "text"), ("length", order("long"), "length"), ("count_typed", order("spare"), "count"),
        ("money", order("worth"), "money")))


def _ranked(pen: Pen, sheet: Worksheet, head: int, rows: int, source: str, title: str,
            cells: Callable[[Callable[[str], str]], Sequence[tuple[str, str, str]]], mark: Callable[[Callable[[str], str]], str] | None = None) -> int:
    """The rows of another sheet that have a rank there, one after the other; the last row says what had no room. `cells` (column, formula
    and format) and `mark` are given what makes a cell expression of a name of that sheet."""
    pen.put(sheet, head, 2, title, size=11, bold=True, color=layout.ACCENT)
    for n in range(1, rows + 1):
        at = head + n
        place = f"$Q{at}"

        def of(name: str, place: str = place) -> str:
            return f"INDEX({source}_{name},{place})"

        pen.put(sheet, at, _RACK_AT["count"], f"=IFERROR(MATCH({n},{source}_rank,0),0)", size=8, color=layout.SOFT, align="right")
        pen.put(sheet, at, _RACK_AT["no"], f'=IF({place}=0,"",{of("no")})', align="right", color=layout.SOFT)
        for name, formula, number in cells(of):
            pen.answer(sheet, at, _RACK_AT[name], f'IF({place}=0,"",{formula})', number)
        if mark is not None:
            pen.put(sheet, at, _RACK_AT["mark"], f'=IF({place}=0,"",{mark(of)})', size=9, indent=1)
    ranks, row = f"{source}_rank", head + rows + 1
    pen.put(sheet, row, 2, f'=IF(MAX({ranks})>{rows},"! and "&{number_text(f"MAX({ranks})-{rows}", 0)}&" more, counted in the balance","")', size=9, bold=True)
    return row


def _balance(pen: Pen, sheet: Worksheet, row: int) -> int:
    """Bars, length and value before and after: own bars and customers'; its last row."""
    pen.put(sheet, row, 2, "Balance", size=11, bold=True, color=layout.ACCENT)
    for column, label in ((5, "Own length"), (10, "All bars"), (14, "Value"), (8, "Customers' length")):
        pen.put(sheet, row, column, label, size=9, bold=True, color=layout.ACCENT, align="right")
    layout.underline(sheet, f"B{row}:N{row}")
    own, others = f'(buy_rack_owner="{OWN}")', f'(buy_rack_owner<>"{OWN}")'
    saw_own, saw_others = f'(buy_saw_owner="{OWN}")', f'(buy_saw_owner<>"{OWN}")'
    lines = (
        ("before", "Before", f"SUMPRODUCT({own}*buy_rack_count*buy_rack_long)", f"SUMPRODUCT({others}*buy_rack_count*buy_rack_long)", "SUM(buy_rack_count)",
         "SUMPRODUCT(buy_rack_count*buy_rack_value)"),
        ("taken", "- taken", f"SUMPRODUCT((buy_saw_rack>0)*{saw_own}*buy_saw_bars*buy_saw_long)", f"SUMPRODUCT((buy_saw_rack>0)*{saw_others}*buy_saw_bars*buy_saw_long)",
         "SUMPRODUCT((buy_saw_rack>0)*buy_saw_bars)", "SUM(buy_rack_money)"),
        ("back", "+ left over, back", f"SUMPRODUCT((buy_saw_back=1)*{saw_own}*buy_saw_bars*buy_saw_left)", f"SUMPRODUCT((buy_saw_back=1)*{saw_others}*buy_saw_bars*buy_saw_left)",
         "SUMPRODUCT((buy_saw_back=1)*buy_saw_bars)", "SUM(buy_saw_value)"),
        ("whole", "+ bought and not sawn", "SUMPRODUCT(buy_order_spare*buy_order_long)", "0", "SUM(buy_order_spare)", "SUM(buy_order_worth)"),
    )
    for name, label, length, theirs, bars, value in lines:
        row += 1
        pen.put(sheet, row, 2, label)
        for what, column, formula, number in (("length", 5, length, "length"), ("theirs", 8, theirs, "length"), ("bars", 10, bars, "count"), ("value", 14, value, "money")):
            layout.name_cell(pen.book, f"buy_{name}_{what}", sheet, pen.answer(sheet, row, column, formula, number))
    row += 1
    pen.put(sheet, row, 2, "After", bold=True)
    for what, column, number in (("length", 5, "length"), ("theirs", 8, "length"), ("bars", 10, "count"), ("value", 14, "money")):
        ref = pen.answer(sheet, row, column, f"buy_before_{what}-buy_taken_{what}+buy_back_{what}+buy_whole_{what}", number, bold=True)
        layout.name_cell(pen.book, f"buy_after_{what}", sheet, ref)
    return row


__all__ = ["BLANK", "JOB", "JOBS", "JOB_LENGTHS", "LEFT", "RACK", "RACK_BAR", "SAW", "SAWING", "Column", "JobPlaces", "RackPlaces", "SawPlaces", "jobs_sheet",
           "rack_sheet", "saw_sheet"]
