"""The sheets Money and Notes of buy_list.xlsx: the whole reckoning for the buyer, the terms, how good the plan is, and the checks."""

from dataclasses import dataclass, field

from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter as letters
from openpyxl.worksheet.worksheet import Worksheet

from barfuncs.buying.grid import Pen, break_pages, scaled, validate_all
from barfuncs.buying.order_sheets import CURRENCY, UNITS, U
from barfuncs.catalogue import kinds
from barfuncs.templates import layout
from barfuncs.templates.cell_text import fixed_text, number_text
from barfuncs.templates.model import LOOK, NOTE, OK, STOP, WRONG, Check, Column, first_of, make_column

MONEY, NOTES = "Money", "Notes"

TERMS = (
    make_column("kerf", "Kerf", kinds.Length, "width that each cut of the saw turns to chips", unit="length"),
    make_column("trim", "Trim", kinds.Length, "off each end of every bar, its cut included", unit="length"),
    make_column("cut_cost", "Price of a cut", kinds.Money, "what one cut costs"),
    make_column("least", "Shortest left-over kept", kinds.Length, "a shorter left-over is scrap", unit="length"),
    make_column("left_share", "Worth of a left-over", kinds.Money, "share of what its length of the bar cost, 0 to 1: 0.5 is half"),
    make_column("rack_costs", "Rack bars have their value", kinds.Text, "yes, or no: what lies on the rack costs nothing"),
    make_column("brackets", "Prices hold by the weight of", kinds.Text, "group: one kind of bar, or order: the whole of it"),
    make_column("freight_typed", "Freight of an order", kinds.Money, "once, where anything is ordered"),
)
PROOF = (
    make_column("plan_total", "The plan said", kinds.Money, "total of the plan that these pages are of; left blank, nothing is compared"),
    make_column("bound", "No plan costs less than", kinds.Money, "proved bound of the plan"),
    make_column("seconds", "Seconds of looking", kinds.Money, "how long was looked for a better plan"),
)
NOTE_ROW = make_column("notes", "Notes of the plan", kinds.LongText, "what the plan says beside its figures")

CHECKS = (
    Check("Order", (
        (f'COUNTIF(buy_order_marks,"{WRONG}*")>0', STOP, f'"Wrong lines: "&COUNTIF(buy_order_marks,"{WRONG}*")&", the first: "&MID(INDEX(buy_order_marks,MATCH("{WRONG}*",buy_order_marks,0)),3,99)&"."'),
        ("SUMPRODUCT(--(buy_order_sawn>buy_order_counted))>0", STOP, '"More bars are sawn than ordered on "&SUMPRODUCT(--(buy_order_sawn>buy_order_counted))&IF(SUMPRODUCT(--(buy_order_sawn>buy_order_counted))=1," line."," lines.")'),
        ("SUM(buy_order_line)=0", NOTE, '"Nothing is ordered."'),
        ("SUM(buy_order_spare)>0", LOOK, f'{number_text("SUM(buy_order_spare)", 0)}&IF(SUM(buy_order_spare)=1," bar is"," bars are")&" ordered that no row of the saw uses."'),
        ("TRUE", OK, f'{number_text("SUM(buy_order_line)", 0)}&IF(SUM(buy_order_line)=1," line"," lines")&": as many bars are ordered as are sawn."'),
    )),
    Check("Dates", (
        ("SUM(buy_order_late)>0", STOP, f'{number_text("SUM(buy_order_late)", 0)}&IF(SUM(buy_order_late)=1," line comes after the day on which it is needed."," lines come after the day on which they are needed.")'),
        ("COUNT(buy_order_need_by)=0", NOTE, '"No line says when it is needed."'),
        ("NOT(ISNUMBER(buy_order_date))", LOOK, '"The order has no date: deliveries are not compared."'),
        ("TRUE", OK, f'{number_text("COUNT(buy_order_need_by)", 0)}&IF(COUNT(buy_order_need_by)=1," line comes, by its days of delivery, when it is needed or before."," lines come, by their days of delivery, when they are needed or before.")'),
    )),
    Check("Saw", (
        (f'COUNTIF(buy_saw_bad,"{WRONG}*")>0', STOP, f'"Wrong rows of the saw: "&COUNTIF(buy_saw_bad,"{WRONG}*")&", the first: "&MID(INDEX(buy_saw_bad,MATCH("{WRONG}*",buy_saw_bad,0)),3,99)&"."'),
        ("SUM(buy_saw_bars)=0", NOTE, '"Nothing is sawn."'),
        ("TRUE", OK, f'"Bar = blanks + kerf + trim + left over in each way to saw, "&{number_text("SUM(buy_saw_bars)", 0)}&" bars."'),
    )),
    Check("Jobs", (
        (f'COUNTIF(buy_job_mark,"{WRONG}*")>0', STOP, f'"Marks on the sheet Jobs: "&COUNTIF(buy_job_mark,"{WRONG}*")&", the first: "&MID(INDEX(buy_job_mark,MATCH("{WRONG}*",buy_job_mark,0)),3,99)&"."'),
        ("COUNT(buy_job_need)=0", NOTE, '"No jobs."'),
        ("TRUE", OK, f'{number_text("COUNT(buy_job_need)", 0)}&IF(COUNT(buy_job_need)=1," job"," jobs")&": each gets its parts; heats, certificates, owners and lengths of blanks are right."'),
    )),
    Check("Rack", (
        (f'COUNTIF(buy_rack_mark,"{WRONG}*")>0', STOP, f'"Marks on the sheet Rack: "&COUNTIF(buy_rack_mark,"{WRONG}*")&", the first: "&MID(INDEX(buy_rack_mark,MATCH("{WRONG}*",buy_rack_mark,0)),3,99)&"."'),
        ("SUM(buy_rack_count)=0", NOTE, '"No bars on the rack."'),
        ("TRUE", OK, f'"No bar is taken twice: "&{number_text("buy_taken_bars", 0)}&" of "&{number_text("SUM(buy_rack_count)", 0)}&IF(buy_taken_bars=1," is taken."," are taken.")'),
    )),
    Check("Money", (
        ('buy_plan_total=""', NOTE, '"There is no plan whose total could be compared."'),
        ("NOT(ISNUMBER(buy_plan_total))", STOP, '"The total of the plan is no number."'),
        ("ABS(buy_total-buy_plan_total)>=0.005", STOP, f'"These pages come to "&{fixed_text("buy_total", 2)}&", the plan said "&{fixed_text("buy_plan_total", 2)}&"."'),
        ("TRUE", OK, '"Order, freight, cuts and rack less left-overs come to what the plan said, to the cent."'),
    )),
)


@dataclass
class MoneyPlaces:
    cells: dict[str, str] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)


def money_sheet(pen: Pen, lines: int, notes: int) -> MoneyPlaces:
    """One page: what it costs, how good it is, terms, lengths, checks; the lines of the order below."""
    sheet = layout.add_sheet(pen.book, MONEY, {"A": 1.5, "B": 30, "C": 13, "D": 10, "E": 2, "F": 11, "G": 26, "H": 14, "I": 13, "J": 11, "K": 11, "L": 11, "M": 13},
                             landscape=True)
    scaled(sheet, 79)
    layout.put(sheet, "B1", "Money and checks", size=18, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[1].height = 26
    layout.put(sheet, "B2", f'=IF(buy_stops>0,"{STOP}  "&buy_stops&IF(buy_stops=1," check"," checks")&" of {len(CHECKS)}: see the sheet Money",'
                            f'IF(SUM(buy_order_line)+SUM(buy_saw_bars)=0,"nothing is typed yet",IF(buy_looks>0,"{LOOK}  "&buy_looks&IF(buy_looks=1," check"," checks")&" to look at",'
                            f'"{OK}  checked: order, dates, saw, jobs, rack and money")))', bold=True)
    layout.name_cell(pen.book, "buy_status", sheet, "B2")
    places = MoneyPlaces()
    bottom = _left(pen, sheet, places, notes)
    _checks(pen, sheet)
    last = _lines(pen, sheet, bottom + 2, lines)
    break_pages(sheet, [(3, bottom), (bottom + 2, last)], 2)
    sheet.print_title_rows = "1:2"
    sheet.print_area = f"A1:M{last}"
    layout.keep_in_view(sheet, "A3", 90)
    return places


def _figure(pen: Pen, sheet: Worksheet, row: int, name: str, label: str, formula: str, number: str = "money", bold: bool = False, unit: str = "") -> None:
    pen.put(sheet, row, 2, label, bold=bold)
    layout.name_cell(pen.book, f"buy_{name}", sheet, pen.answer(sheet, row, 3, formula, number, bold=bold))
    pen.put(sheet, row, 4, unit or None, size=9, color=layout.SOFT, indent=1)


def _typed(pen: Pen, sheet: Worksheet, row: int, column: Column, places: MoneyPlaces, unit: str = "") -> None:
    pen.put(sheet, row, 2, column.label)
    ref = pen.framed(sheet, row, 3, column)
    layout.name_cell(pen.book, f"buy_{column.name}", sheet, ref)
    validate_all(sheet, [ref], column)
    pen.put(sheet, row, 4, unit or None, size=9, color=layout.SOFT, indent=1)
    places.cells[column.name] = ref


def _left(pen: Pen, sheet: Worksheet, places: MoneyPlaces, notes: int) -> int:
    row = 4
    layout.heading(sheet, "B", "D", row, "What it costs")
    for name, label, formula in (
        ("cost_metal", "Bars at their prices", "SUM(buy_order_metal)"), ("cost_minimums", "Line minimums add", "SUM(buy_order_added)"),
        ("cost_certificates", "Certificates", "SUM(buy_order_fees)"), ("cost_freight", "Freight", "IF(SUM(buy_order_line)>0,IF(ISNUMBER(buy_freight_typed),buy_freight_typed,0),0)"),
        ("cost_cuts", "Cuts", "SUMPRODUCT(buy_saw_bars*buy_saw_cuts)*IF(ISNUMBER(buy_cut_cost),buy_cut_cost,0)"), ("cost_rack_taken", "Rack bars that are taken", "SUM(buy_rack_money)"),
        ("cost_left_back", "- left over, back on the rack", "-SUM(buy_saw_value)"), ("cost_left_whole", "- bought and not sawn", "-SUM(buy_order_worth)"),
    ):
        row += 1
        _figure(pen, sheet, row, name, label, formula, unit=CURRENCY)
    row += 1
    _figure(pen, sheet, row, "total", "Total", f"SUM(C5:C{row - 1})", bold=True, unit=CURRENCY)
    _typed(pen, sheet, row + 1, PROOF[0], places, CURRENCY)
    row += 3
    layout.heading(sheet, "B", "D", row, "How good it is")
    _typed(pen, sheet, row + 1, PROOF[1], places, CURRENCY)
    _figure(pen, sheet, row + 2, "gap", "Better by, at most", 'IF(buy_bound="","",IF(buy_total>0,MAX(0,buy_total-buy_bound)/buy_total,0))', "percent_fine")
    _typed(pen, sheet, row + 3, PROOF[2], places, "s")
    pen.put(sheet, row + 4, 2, f'=IF(buy_bound="","",IF(buy_total-buy_bound<0.005+0.000000001*ABS(buy_total),"Proved best: no plan costs less by these terms.",'
                               f'"Within "&{fixed_text("100*MAX(buy_gap,0.0001)", 2)}&" % of the best possible by these terms."))', bold=True)
    row += 6
    layout.heading(sheet, "B", "D", row, "Terms")
    for column in TERMS:
        row += 1
        _typed(pen, sheet, row, column, places, U if column.unit else "of its price" if column.name == "left_share" else CURRENCY if column.kind.reader == "number" else "")
    for name, formula in (("steps", f'IF({UNITS}="mm",100,1000)'), ("trim_whole", "-INT(-buy_trim*buy_steps+0.0001)/buy_steps"),
                          ("share", "IF(ISNUMBER(buy_left_share),buy_left_share,0)"), ("rack_counts", 'IF(buy_rack_costs="no",0,1)')):
        row += 1
        label = {"steps": "Steps of length in one unit", "trim_whole": "Trim in whole steps", "share": "Share as used", "rack_counts": "1 where rack bars have a value"}[name]
        pen.put(sheet, row, 2, label, size=8, color=layout.SOFT)
        layout.name_cell(pen.book, f"buy_{name}", sheet, pen.put(sheet, row, 3, f"={formula}", size=8, color=layout.SOFT, align="right"))
    row += 2
    layout.heading(sheet, "B", "M", row, NOTE_ROW.label)
    for _ in range(notes):
        row += 1
        ref = pen.framed(sheet, row, (2, 13), NOTE_ROW)
        sheet[ref].alignment = Alignment(horizontal="left", vertical="center", wrap_text=True, indent=1)
        sheet.row_dimensions[row].height = 26
        places.notes.append(ref)
    validate_all(sheet, places.notes, NOTE_ROW)
    return row


def _checks(pen: Pen, sheet: Worksheet) -> None:
    row = 4
    layout.heading(sheet, "F", "M", row, "Checks")
    first = row + 1
    for check in CHECKS:
        row += 1
        formula = first_of([(condition, f'"{word}  "&{text}') for condition, word, text in check.cases], '""')
        pen.put(sheet, row, 6, check.topic, bold=True)
        pen.put(sheet, row, (7, 13), f'=IFERROR({formula},"{STOP}  A cell that this rests on shows an error.")', size=9, shrink=True)
    marks = f"G{first}:G{row}"
    sheet.conditional_formatting.add(marks, layout.rule_where(f'LEFT(G{first},1)="{WRONG}"', font=Font(bold=True)))
    for name, word, label in (("stops", STOP, "Checks that say STOP"), ("looks", LOOK, "Checks that say LOOK")):
        row += 1
        pen.put(sheet, row, 6, label, size=8, color=layout.SOFT)
        layout.name_cell(pen.book, f"buy_{name}", sheet, pen.put(sheet, row, 8, f'=COUNTIF({marks},"{word}*")', size=8, color=layout.SOFT, align="right"))
    row += 2
    layout.heading(sheet, "F", "I", row, "Lengths on the saw")
    for name, label, formula in (
        ("in", "Bars", "SUMPRODUCT(buy_saw_bars*buy_saw_long)"), ("blanks", "- blanks", "-SUMPRODUCT(buy_saw_bars*buy_saw_sum)"),
        ("kerfs", "- kerf", "-SUMPRODUCT(buy_saw_bars*buy_saw_cuts)*buy_kerf"), ("trims", "- trim", "-2*buy_trim*SUM(buy_saw_bars)"),
        ("kept", "- left over, rack", "-SUMPRODUCT(buy_saw_bars*buy_saw_left*(buy_saw_back=1))"), ("scrap", "- left over, scrap", "-SUMPRODUCT(buy_saw_bars*buy_saw_left*(buy_saw_back=0))"),
    ):
        row += 1
        pen.put(sheet, row, 6, label)
        layout.name_cell(pen.book, f"buy_length_{name}", sheet, pen.answer(sheet, row, 8, formula, "length"))
        pen.put(sheet, row, 9, U, size=9, color=layout.SOFT, indent=1)
    row += 1
    pen.put(sheet, row, 6, "Ends not sawn off", bold=True)
    ref = pen.answer(sheet, row, 8, f"ROUND(SUM(H{row - 6}:H{row - 1}),6)", "length", bold=True)
    layout.name_cell(pen.book, "buy_length_rest", sheet, ref)
    pen.put(sheet, row, 9, U, size=9, color=layout.SOFT, indent=1)
    pen.put(sheet, row + 1, 6, "A last blank that is not sawn off stays longer by up to a kerf.", size=9, color=layout.SOFT)
    pen.put(sheet, row + 3, 6, f'="Share of the bars that becomes blanks: "&IF(buy_length_in>0,{fixed_text("-100*buy_length_blanks/buy_length_in", 1)}&" %","")', size=9)
    pen.put(sheet, row + 4, 6, f'="Kept on the rack: "&IF(buy_length_in>0,{fixed_text("-100*buy_length_kept/buy_length_in", 1)}&" %","")', size=9)


_LINE_COLUMNS = (("Line", 2, "", "no"), ("All bars", 3, "length", ""), ("Bars", 4, "count", "counted"), ("Length", 6, "length", "long"), ("Kind", 7, "text", "kind"),
                 ("At the price", 8, "money", "metal"), ("Minimum adds", 9, "money", "added"), ("Certificate", 10, "money", "fees"), ("Sawn", 11, "count", "sawn"),
                 ("Not sawn", 12, "count", "spare"), ("Money", 13, "money", ""))


def _lines(pen: Pen, sheet: Worksheet, row: int, lines: int) -> int:
    """The lines of the order once more, for the buyer alone."""
    layout.heading(sheet, "B", "M", row, "Lines of the order")
    row += 1
    for label, column, number, _ in _LINE_COLUMNS:
        left = number in ("text", "")
        unit = {"length": U, "money": CURRENCY}.get(number)
        said = f'="{label}"&IF({unit[1:]}="",""," ("&{unit[1:]}&")")' if unit else label
        pen.put(sheet, row, column, said, size=9, bold=True, color=layout.ACCENT, align="left" if left else "right", indent=int(number == "text"), shrink=True)
    first = row + 1
    for n in range(1, lines + 1):
        row += 1
        at = f"MATCH({n},buy_order_no,0)"
        for _, column, number, name in _LINE_COLUMNS:
            if name == "no":
                pen.put(sheet, row, column, n, align="left", color=layout.SOFT)
                continue
            formula = f"INDEX(buy_order_{name},{at})" if name else f"D{row}*F{row}" if column == 3 else f"H{row}+I{row}+J{row}"
            pen.answer(sheet, row, column, f'IF(INDEX(buy_order_line,{at})=0,"",{formula})', number)
    row += 1
    pen.put(sheet, row, 2, "All", bold=True)
    for column, number in ((3, "length"), (4, "count"), (8, "money"), (9, "money"), (10, "money"), (11, "count"), (12, "count"), (13, "money")):
        pen.answer(sheet, row, column, f"SUM({letters(column)}{first}:{letters(column)}{row - 1})", number, bold=True)
    return row


# --- notes ---------------------------------------------------------------------------------------------------------

_SAID = (
    "#Which page is for whom",
    "Order: a page for each kind of bar and supplier, to print and send. It says bars, lengths, weights and the prices agreed, and nothing of jobs, customers or the shop's own costs.",
    "Send the printed page or a PDF of it, never this file, which has all other sheets in it. The last page, All pages, stays with the buyer.",
    "Saw: for who saws. Jobs: for who plans and turns. Rack and Book: for who keeps the rack. Money: for the buyer.",
    "Goods in: barfuncs rack goods-in THIS_FILE CAME reads it as what was ordered. It is not printed, since it names jobs.",
    "",
    "#How the pages hang together",
    "Framed cells are typed, or filled by the plan; all other figures are formulas over them and follow each change. Lines, rows of the saw, jobs and rack rows go by their numbers.",
    "By hand: type lines on Order, jobs on Jobs, bars on Rack and terms on Money; then on Saw how many bars of which order line or rack row are sawn, and the blanks of one bar.",
    "Left over may stay blank: it is bar - trim - blanks - kerf. What is as long as Money says goes back on the rack, the rest is scrap.",
    "A change here is not planned anew: the total then differs from what the plan said, and Money says so.",
    "",
    "#How the saw works by its page",
    "Trim first, where Money has a trim. Set the stop to the length, saw so many pieces, go on to the next row. Rows follow one another by kind of bar and length, so that the stop is moved rarely.",
    "One box is ticked off for each bar. A left-over for the rack gets its label at once: length, heat, owner. Without a heat it is worth less.",
    "What was taken and what came back is booked by the sheet Book; nothing of this file books itself.",
    "",
    "#What is not known",
    "Lengths of bars as they come: mills cut with a tolerance, often longer. Measure the first bars; what is shorter than the length ordered may lack its last blank.",
    "Heats of bought bars: the bars of one line may come of several. A job that must be of one heat then takes bars of one of them; write the heat on the page of the saw.",
    "Shape of the sawn end, and a kerf other than the one of Money: both take from the last blank. Where a blank is not sawn off, it stays longer by up to a kerf.",
    "Prices are those that were typed, with the weight from which they hold; what a supplier confirms goes before them.",
    "",
    "#Cautions",
    "A bundle of bars rolls and kills: open it in a cradle, from the side, as the shop's rules say. Long bars swing and bend; use a hoist and a helper; nobody under a load.",
    "Saw by its manual. The blade is still before a hand goes near it. Both sides of the bar are carried and clamped. Ends are sharp and hot; chips of some metals burn.",
    "A heat that is lost can't be found again: mark before you saw, and mark both pieces. A part of the wrong heat may fail where somebody trusts it.",
)


def notes_sheet(pen: Pen) -> None:
    sheet = layout.add_sheet(pen.book, NOTES, {"A": 1.5, "B": 125}, landscape=True)
    layout.put(sheet, "B1", "Notes", size=18, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[1].height = 26
    row = 3
    for text in _SAID:
        title = text.startswith("#")
        layout.put(sheet, f"B{row}", text.removeprefix("#") or None, size=11 if title else 10, bold=title, color=layout.ACCENT if title else layout.INK, wrap=not title)
        sheet.row_dimensions[row].height = 8 if not text else 18 if title else 14 * -(-len(text) // 125)
        row += 1
    sheet.print_area = f"A1:B{row - 1}"
