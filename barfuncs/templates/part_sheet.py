"""The sheet Part: the part section by section from its front, what follows from it, and its profile drawn to scale."""

from typing import Any

from openpyxl import Workbook
from openpyxl.styles import Alignment
from openpyxl.utils import column_index_from_string, get_column_letter

from barfuncs.catalogue import kinds
from barfuncs.templates import bar_for_part, layout
from barfuncs.templates.cell_text import WEIGHT_SUFFIX, length_text, number_text, part_weight_text
from barfuncs.templates.form import Form, table_widths
from barfuncs.templates.model import (
    LOOK,
    NOTE,
    OK,
    STOP,
    Answer,
    Check,
    Problems,
    RowAnswer,
    Table,
    Values,
    make_column,
)
from barfuncs.templates.page import Page, add_page

TITLE = "Part"
A_LITTLE, A_LITTLE_WEIGHT = 0.005, 0.03
"""Shares by which what is typed may differ from what is drawn: common practice, no source."""

_ROUND = 'OR(section_shape="round",section_shape="thread")'


def _outline(row: str = "") -> str:
    """Cell expression: the outline of a section's face, a thread's is round; `row` is "above_" for the section before."""
    return f'IF({row}section_shape="thread","round",{row}section_shape)'


_FRONT = 'IF(section_shape="thread",section_end_size,section_size)'


def _rear(row: str = "") -> str:
    return f"IF({row}section_end_size>0,{row}section_end_size,{row}section_size)"


def _hole(row: str = "") -> str:
    """Cell expression: the bore at a section's rear."""
    return f"IF({row}section_bore_end>0,{row}section_bore_end,{row}section_bore)"


_LENGTH: dict[str, Any] = {"blank": 0, "width": 10.5, "fractions": False}
SECTIONS = Table(
    "sections", "section", "Sections of the part, from its front", "Section",
    (
        make_column("note", "What", kinds.Text, "what the section is, for the reader", width=24),
        make_column("shape", "Shape", kinds.SectionShape, "round, hexagon, square or thread; left blank, round", blank="round", width=11),
        make_column("size", "Size", kinds.Size, "diameter, of a thread the outer one; width across flats", needed=True, **_LENGTH),
        make_column("length", "Length", kinds.PositiveLength, "length of the section along the axis", needed=True, **_LENGTH),
        make_column("end_size", "End size", kinds.Size, "diameter at the rear where a round section tapers or is chamfered; of a thread "
                    "the pitch diameter", **_LENGTH),
        make_column("bore", "Bore", kinds.Length, "diameter of the bore at the section's front; left blank, none", **_LENGTH),
        make_column("bore_end", "Bore end", kinds.Size, "diameter of the bore at the section's rear; left blank, as at its front", **_LENGTH),
    ),
    kinds.MOST_SECTIONS,
    answers=(
        RowAnswer("volume", "Volume", "blank_or_figure", "volume",
                  'IF(section_filled,IF(LEFT(section_mark,1)="\u2715",NA(),'
                  "SECTION_VOLUME(section_shape,section_size,section_length,section_end_size,section_bore,section_bore_end)),0)",
                  "section_volume", (("end_size", "section_end_size"), ("bore", "section_bore"), ("bore_end", "section_bore_end")), width=12),
        # Each face counts with the section behind it, the last one with the last section.
        RowAnswer("surface", "Surface", "blank_or_figure", "area",
                  "IF(section_volume,OUTSIDE_AREA(section_shape,section_size,section_length,section_end_size)"
                  "+BORE_AREA(section_bore,section_length,section_bore_end)"
                  f"+STEP_AREA({_outline()},{_FRONT},section_bore,{_outline('above_')},{_rear('above_')},{_hole('above_')})"
                  f"+IF(below_section_filled=0,STEP_AREA({_outline()},{_rear()},{_hole()}),0),0)", width=12),
        RowAnswer("width", "Width", "length", "length",
                  "IF(section_volume,SECTION_WIDTH(section_shape,section_size,section_end_size),0)", aside=True),
        # Flats may be those of the bar; of any other outline the bar must hold the corners.
        RowAnswer("takes", "Bar it takes", "length", "length", "IF(section_volume,IF(section_shape=shape,MAX(section_size,section_end_size),section_width),0)",
                  aside=True),
        RowAnswer("round", "Round diameter", "length", "length", f"IF(section_width,IF({_ROUND},section_width,0),0)", aside=True),
    ),
    calls="section_volume",
    wrong_if=(
        ("above_section_filled=0", "stands below a blank row"),
        (f"IFERROR(IF(above_section_size>0,OR(section_bore>={_rear('above_')},{_hole('above_')}>={_FRONT}),FALSE),FALSE)",
         "bore larger than the outside beside it"),
    ),
    marks_width=36,
    in_words=kinds.kind_of(kinds.Sections),
    draws=True,
)


def _drawn(formula: str) -> str:
    """Cell expression: the formula where sections are drawn, else not known."""
    return f"IF(part_sections>0,{formula},NA())"


TOTALS = (
    Answer("drawn_length", "Length", "length", "length", formula=_drawn("SUM(section_length)")),
    Answer("part_volume", "Volume", "figure", "volume", formula=_drawn("SUM(section_volume)")),
    Answer("finished_weight", "Finished weight", "part_weight", "weight", formula='part_volume*density*IF(units="mm",0.000001,1)'),
    Answer("part_area", "Surface, outer and inner", "figure", "area", formula=_drawn("SUM(section_surface)")),
    Answer("part_width", "Largest width, across corners", "length", "length", formula=_drawn("MAX(section_width)")),
    Answer("largest_round", "Largest round diameter", "length", "length", formula=_drawn("MAX(section_round)")),
    Answer("chips_each", "Chips of one part", "part_weight", "weight",
           formula="IF(section_weight*bar_per_part>=finished_weight*(1-1E-9),MAX(0,section_weight*bar_per_part-finished_weight),NA())"),
)
"""What is known of the whole part; it goes into the results."""
RESULTS = (*(a.name for a in TOTALS), "machines_that_fit")


def steps(prefix: str) -> tuple[Answer, ...]:
    """Answers that the page does not list among the totals."""
    last = f"INDEX({prefix}machines_fits,ROWS({prefix}machines_fits))"
    return (
        Answer("part_sections", "sections of the part", "count", formula="SUMPRODUCT(--(section_volume>0))"),
        Answer("part_scale", "scale of the drawing", "general", formula=f"IF(part_sections>0,{_FULL}*MIN({_LONG}/drawn_length,1/part_width),0)"),
        Answer("machines_that_fit", "Machines that take this bar", "text",
               formula=f'IF(COUNTA(machines_name)=0,"-",IF({last}="","none on the sheet Shop",LEFT({last},LEN({last})-2)))'),
    )


THREADS = '--(section_shape="thread")'
STARTS = (
    Answer("largest_bore", "largest bore of the part", "length", "length", formula="IF(part_sections>0,MAX(section_bore,section_bore_end),0)"),
    Answer("thread_size", "size of the thread of the part, where it has one alone", "length", "length",
           formula=f"IF(part_sections>0,IF(SUMPRODUCT({THREADS})=1,SUMPRODUCT({THREADS},section_size),0),0)"),
    Answer("rear_width", "width of the last section", "length", "length", formula="IF(part_sections>0,INDEX(section_width,part_sections),0)"),
)
"""What the diameters of an operation start from where a part is drawn."""
START = ('IFERROR(IF(part_sections=0,0,IF(OR(op_operation="turning",op_operation="facing"),across_corners,IF(op_operation="cut-off",rear_width,'
         'IF(OR(op_operation="drilling",op_operation="boring",op_operation="reaming"),largest_bore,IF(op_operation="threading",thread_size,0))))),0)')
"""Cell expression: the start diameter of a row that leaves it blank: turning and facing begin at the bar, cutting off at the last
section, a drill, a reamer and boring are as large as the largest bore, a thread as the only one there is."""
START_LOOK = ("IF(ISBLANK(op_start_diameter),op_start_diameter>0,FALSE)",
              f'"i start dia. "&{number_text("op_start_diameter", 4)}&" by the sheet Part"')

_LONG, _FULL = 3, 0.98
"""Length of the drawing in heights, and how much of it the part fills."""
_BAR_ACROSS = 'IF(shape="flat",MIN(size,thickness),size)'
_TUBE_BORE = "(size-2*thickness)*(1-1E-9)"
_NARROWER = (f"SUMPRODUCT(--(section_length>0),--(section_bore<{_TUBE_BORE}))"
             f"+SUMPRODUCT(--(section_bore_end>0),--(section_bore_end<{_TUBE_BORE}))")
"""Cell expression: sections whose bore is narrower than that of the tube."""

PART_CHECK = Check("Part", (
    ("part_sections=0", NOTE, '"No sections are filled in on the sheet Part."'),
    (f"OR(part_width>across_corners*(1+1E-9),largest_round>{_BAR_ACROSS}*(1+1E-9))", STOP,
     f'"The part does not fit the bar: it is "&{length_text("part_width")}&" wide and "&{length_text("largest_round")}&" where it is round; the '
     f'bar is "&{length_text("across_corners")}&" wide and gives "&{length_text(_BAR_ACROSS)}&" round."'),
    (f'IF(OR(shape="tube",shape="hexagon tube"),{_NARROWER}>0,FALSE)', STOP,
     f'"The part does not fit the bar: the tube\'s bore, "&{length_text("size-2*thickness")}&", is larger than that of a section."'),
    ("drawn_length>bar_length", STOP, f'"The part, "&{length_text("drawn_length")}&" long, is longer than the bar."'),
    ("finished_weight>section_weight*drawn_length*(1+1E-9)", STOP,
     f'"The part that is drawn, "&{part_weight_text("finished_weight")}&{WEIGHT_SUFFIX}&", would weigh more than the bar over its length."'),
    (f"ABS(part_length-drawn_length)>{A_LITTLE}*drawn_length", LOOK,
     f'"The part length that is filled in counts, "&{length_text("part_length")}&"; the sections together are "&{length_text("drawn_length")}&"."'),
    (f"IF(part_weight,ABS(part_weight-finished_weight)>{A_LITTLE_WEIGHT}*finished_weight,FALSE)", LOOK,
     f'"The weight that is filled in counts, "&{part_weight_text("part_weight")}&{WEIGHT_SUFFIX}&"; the sections weigh "&{part_weight_text("finished_weight")}&{WEIGHT_SUFFIX}&"."'),
    ("TRUE", OK, f'"The part, "&{length_text("part_length")}&" long and "&{length_text("part_width")}&" wide, comes out of the bar; its weight is "'
                 f'&{number_text("100*finished_weight/(section_weight*drawn_length)", 0)}&" % of the bar\'s over its length."'),
), long=True)


def objections(answers: Values, weight: str) -> Problems:
    """Why the part that is drawn gives no job, where the answer `weight` is not known."""
    if not answers["part_sections"] or not isinstance(answers["finished_weight"], float) or isinstance(answers[weight], float):
        return []
    wide, bar = answers["part_width"], answers["across_corners"]
    too_wide = isinstance(wide, float) and isinstance(bar, float) and wide > bar * (1 + 1e-9)
    return [(SECTIONS.name, "the part does not fit the bar: it is wider" if too_wide else "would weigh more than the bar over the length of the part")]


def part_sheet(book: Workbook, form: Form) -> None:
    """One page: the sections, the whole part, its profile to scale."""
    page = add_page(book, TITLE, table_widths(SECTIONS), landscape=True)
    sheet = page.sheet
    page.title("The part, section by section")
    page.put("F:J", '=IFERROR(IF(job="","",job&"   ")&IF(part_number="","",part_number),"")', size=12, bold=True, shrink=True)
    page.remark("One row for each section, from the front of the part; leave the rest blank, or all of it. A chamfer is a short section with an "
                "end size. It stands in for what is blank: part length, part weight, in a quote start diameters.")
    page.skip()
    last = form.put_table(page, SECTIONS)
    first = int(book.defined_names[SECTIONS.marks].attr_text.rpartition("$")[0].rpartition(":")[0].rpartition("$")[2])
    page.skip()
    right = page.beside(page.row)
    form.put_answers(page, {"The whole part": (*TOTALS, form.answers["machines_that_fit"])}, "BCD")
    sheet[f"C{page.row}"].alignment = Alignment(horizontal="left", vertical="center")
    layout.quiet_errors(sheet, f"C{page.row - len(TOTALS)}:C{page.row}")
    page.skip()
    form.follow_on |= {**dict.fromkeys(("part_length", "surface_area", "size"), "IFERROR(part_sections,-1)<0"),
                       "part_weight": "OR(IFERROR(part_sections,-1)<0,ISERROR(density))"}
    page.next_row()
    page.put("B", "What stands in for a blank cell of the job:", size=9, color=layout.SOFT)
    for item in (i for i in form.inputs.values() if i.from_part):
        page.next_row()
        page.put("B", item.label, size=9, color=layout.SOFT)
        ref = page.put("C", f'=IF({form.prefix}part_sections=0,"",{_STANDS_IN[item.name][0].format(form.prefix)})', size=9, color=layout.SOFT,
                       align="right", number=_STANDS_IN[item.name][1])
        page.name(item.stand_in, ref)
    layout.quiet_errors(sheet, f"C{page.row - 3}:C{page.row}")
    right.heading(f"F:{last}", "Its profile to scale, front to the left")
    _profile(right, form, first, last)
    page.row = max(page.row, right.row + 13)
    page.skip()
    bar_for_part.put_bar(page, form, last)
    page.print_to(last)


_STANDS_IN = {"part_length": ("{0}drawn_length", "length"), "part_weight": ("{0}finished_weight", "part_weight"),
              "size": ('IF(ISNUMBER({0}bar_size_needed),{0}bar_size_needed,"")', "length"), "surface_area": ("{0}part_area", "figure")}


def _profile(page: Page, form: Form, first: int, last: str) -> None:
    """Upper and lower edge of the outside and of the bore as lines over the axis. The corners stand beside the page, in heights
    of the drawing; the axes are fixed, so that lengths and diameters have one scale."""
    sheet, prefix = page.sheet, form.prefix
    columns = [get_column_letter(sheet.max_column + n) for n in range(2, 5)]
    x = columns[0]
    cell = {name: _column_of(page, prefix + "section_width") if name == "width" else _column_of(page, f"use_section_{name}")
            for name in ("shape", "size", "length", "end_size", "bore", "bore_end", "width")}
    corners = page.beside(first - 3)
    corners.next_row()
    corners.put(x, "Corners of the drawing", size=9, color=layout.SOFT)
    corners.next_row()
    for column, head in zip(columns, ("along", "outside", "bore"), strict=True):
        corners.put(column, head, size=9, color=layout.SOFT)
    k = f"{prefix}part_scale"

    def corner(*formulas: str) -> None:
        corners.next_row()
        for column, formula in zip(columns, formulas, strict=True):
            corners.put(column, f"={formula}", size=9, color=layout.SOFT)

    corner(f"IF({k}>0,({_LONG}-{k}*{prefix}drawn_length)/2,0)", "0", "0")
    top = corners.row
    for n in range(SECTIONS.rows):
        shape, size, length, end, bore, bore_end, width = (f"${letter}{first + n}" for letter in cell.values())
        corner(f"{x}{corners.row}", f'{k}/2*IF({shape}="round",{size},{width})', f"{k}/2*{bore}")
        corner(f"{x}{corners.row}+{k}*{length}", f'{k}/2*IF({shape}="round",IF({end}>0,{end},{size}),{width})',
               f"{k}/2*IF({bore_end}>0,{bore_end},{bore})")
    corner(f"{x}{corners.row}", "0", "0")
    layout.quiet_errors(sheet, f"{x}{top}:{columns[-1]}{corners.row}")
    layout.profile(sheet, [column_index_from_string(c) for c in columns], top, corners.row, f"F{page.row + 1}", 16.2, 16.2 / _LONG, _LONG)


def _column_of(page: Page, name: str) -> str:
    """The column of named cells of this sheet."""
    return str(page.book.defined_names[name].attr_text).split("$")[1]
