"""The bar for a part: the smallest size that leaves it, why not the next smaller, and whether the one filled in does."""

from collections.abc import Iterable

from openpyxl.styles import Alignment

from barfuncs.catalogue import kinds
from barfuncs.functions.stock_size import INCH_CLASSES, NO_STANDARD, ROUND_STAINLESS, WIDEST_H11
from barfuncs.templates import layout
from barfuncs.templates.bar_data_sheet import APART, USUAL
from barfuncs.templates.cell_text import UNIT_SUFFIX, number_text
from barfuncs.templates.form import Form
from barfuncs.templates.model import LOOK, NOTE, OK, STOP, Answer, Check, make_input
from barfuncs.templates.page import Page
from barfuncs.templates.shop_sheet import FITTING_STOCK

BAR_FOR_PART = (
    make_input("finished_size", "Largest width of the part", kinds.Size, blank=0,
               help_text="largest diameter of the finished part, or its width across flats where the bar has the same flats; of a hexagon "
                         "or square from round bar its width across corners; left blank, that of the sections"),
    make_input("surface", "Its surface", kinds.BarSurface,
               help_text="turned all over, or as drawn: left as the bar is; left blank, turned, but the flats of a hexagon or square section "
                         "stay as drawn on bar of the same shape"),
    make_input("tolerance_class", "Size tolerance of the bar", kinds.ToleranceClass, kinds.TOLERANCE_CLASSES[0]),
    make_input("defect_class", "Surface defects of the bar", kinds.DefectClass, kinds.DEFECT_CLASSES[0]),
    make_input("clean_up", "Clean-up a side", kinds.Length, 0),
    make_input("steel", "Straightness of the bar: steel", kinds.Steel,
               help_text="group of steel that the straightness of drawn bar depends on; left blank, it is not asked for"),
)
_LEFT, _NEAR = "bar_must_leave", "1E-9"
_ROOM = "bar_asked=0"
_SOLID = 'OR(shape="round",shape="hexagon",shape="square")'


def _tolerance(size: str) -> str:
    """Cell expression: the tolerance of a size of bar; an error where the table has none."""
    return f"IFERROR((0+INDEX(tolerance_values,MATCH(bar_class_start+MIN({size}*unit_mm,{APART - 1}),tolerance_sizes,1)))/unit_mm,NA())"


def _needs(tolerance: str) -> str:
    """Cell expression: the smallest bar with this tolerance that leaves the part."""
    return f"SMALLEST_BAR({_LEFT},{tolerance},defect_class,clean_up,units)"


def _leaves(size: str, tolerance: str) -> str:
    return f"MAX(0,{size}-{tolerance}-2*DEFECT_DEPTH({size},defect_class,units)-2*clean_up)"


def _usual(formula: str) -> str:
    """Cell expression: of the usual steps for the job's units and shape."""
    inch, mm, hexagon = (formula.format(USUAL[key][0]) for key in ("in", "mm", "hexagon"))
    return f'IF(units="mm",IF(shape="hexagon",{hexagon},{mm}),{inch})'


def _sizes_below(size: str) -> str:
    # A text, which stands where there is no size, is more than any number.
    return f"SUMPRODUCT(--({FITTING_STOCK}<{size}*(1-{_NEAR})))"


def _at_least(size: str) -> str:
    """Cell expression: the smallest size that can be had and is not smaller; an error where there is none."""
    usual = _usual(f"INDEX({{0}},MATCH({size}*(1-{_NEAR}),{{0}},1)+1)")
    return f"IFERROR(IF(COUNT({FITTING_STOCK})>0,SMALL({FITTING_STOCK},{_sizes_below(size)}+1),{usual}),NA())"


def _next_smaller(size: str) -> str:
    """Cell expression: the largest size that can be had and is smaller; 0 where there is none."""
    below = _sizes_below(size)
    usual = _usual(f"INDEX({{0}},MATCH({size}*(1-{_NEAR}),{{0}},1))")
    return f"IF(COUNT({FITTING_STOCK})>0,IF({below}=0,0,SMALL({FITTING_STOCK},{below})),{usual})"


def _of_groups(groups: Iterable[str]) -> str:
    """Cell expression: TRUE where the material is one of these groups of the table."""
    return "OR(" + ",".join(f'material_group="{group}"' for group in groups) + ")"


_STEELS = (*(group for groups in INCH_CLASSES.values() for group in groups), *ROUND_STAINLESS[1], "tool steel")
"""Groups that EN 10278 is for; in inch not all of them have a class here."""
_MAY_BE_STEEL = _of_groups(("", *_STEELS))
"""A material that is not in the table may be steel: who asks for the straightness of steel says so."""
_IDEA = '", an idea: no standard here is for this bar"'
_INCH_CLASS = f'IF(AND(shape="round",{_of_groups(ROUND_STAINLESS[1])}),"{ROUND_STAINLESS[0]}",' + "".join(
    f'IF({_of_groups(groups)},"{name}",' for name, groups in INCH_CLASSES.items()) + f'"{NO_STANDARD}"' + ")" * (len(INCH_CLASSES) + 1)


def _figure(x: str) -> str:
    return number_text(x, 4)


_BOTH_WAYS = 'OR(bar_class="A484",bar_class="EN 10060",bar_class="common practice")'
_DRAWN = (f'{_figure("bar_at_least")}&{UNIT_SUFFIX}&IF(IF(tolerance_class="none",TRUE,ISERROR(bar_drawn_tolerance))," stays as drawn, with whatever tolerance it has",'
          f'" stays as drawn: "&{_figure("(bar_at_least-bar_drawn_tolerance)")}&" to "'
          f'&{_figure(f"(bar_at_least+IF({_BOTH_WAYS},bar_drawn_tolerance,0))")}&" ("&bar_class&bar_idea&")")')
_ALLOWED = (f'IF(tolerance_class="none","no tolerance",bar_class&bar_idea)&IF(defect_class="none",", no defects",", defects "&defect_class)'
            f'&IF(clean_up=0,"",", "&{_figure("clean_up")}&" clean-up a side")')
_TURNED = (f'{_figure("bar_two")}&{UNIT_SUFFIX}&" leaves "&{_figure("bar_two_leaves")}&"; "&IF(bar_smaller=0,"no smaller size is in the list",'
           f'{_figure("bar_smaller")}&{UNIT_SUFFIX}&" leaves "&{_figure("bar_smaller_leaves")}&", less than "&{_figure(_LEFT)})&" ("&{_ALLOWED}&")"')
_WHY = (f'IF({_ROOM},"",IF(bar_stays=1,{_DRAWN},IF(bar_drawn=1,"no "&{_figure(_LEFT)}&{UNIT_SUFFIX}&" in the list to stay as drawn, so it '
        f'is turned: ","")&IF(ISTEXT(bar_size_needed),"no size in the list leaves "&{_figure(_LEFT)},{_TURNED})))')

STEPS = (
    Answer(_LEFT, "size that the bar must leave, 0 for none", "length", "length",
           formula="IF(LEN(units)>0,IF(finished_size>0,finished_size,IF(part_sections>0,MAX(section_takes),0)))"),
    Answer("bar_asked", "1 where a bar is looked for", "count",
           formula=f'IF({_LEFT}>0,IF({_SOLID},1,0),0)'),
    # Of a hexagon or square part nobody turns the flats: they stay unless somebody says otherwise.
    Answer("bar_drawn", "1 where the surface stays as drawn", "count",
           formula=f'IF({_ROOM},0,IF(ISBLANK(surface),IF(OR(shape="round",NOT(ISBLANK(finished_size))),0,IF(SUMPRODUCT((section_shape=shape)*(section_size={_LEFT}))>0,1,0)),'
                   'IF(surface="as drawn",1,0)))'),
    # What is standard depends on the steel in inch; of what is no steel nobody here knows a standard.
    Answer("bar_class_meant", "class of tolerance that is meant", "text", "",
           formula=f'IF({_ROOM},"",IF(tolerance_class<>"standard",tolerance_class,IF(units="mm","standard",{_INCH_CLASS})))'),
    Answer("bar_idea", "what is said of a class that is an idea", "text", "",
           formula=f'IF({_ROOM},"",IF(tolerance_class<>"standard","",IF({_of_groups(_STEELS)},IF(bar_class_meant="{NO_STANDARD}",{_IDEA},""),{_IDEA})))'),
    Answer("bar_class_start", "where the tolerances of the class begin", "count",
           formula=f'IF({_ROOM},0,INDEX(tolerance_starts,MATCH(bar_class_meant&" "&shape&IF(bar_class_meant="standard"," mm",""),'
                   'tolerance_names,0)))'),
    Answer("bar_at_least", "smallest bar as wide as the part", "length", "length", formula=f"IF({_ROOM},0,{_at_least(_LEFT)})"),
    Answer("bar_stays", "1 where the part stays as the bar is drawn", "count",
           formula=f'IF({_ROOM},0,IF(bar_drawn=1,IF(IFERROR(ABS(bar_at_least-{_LEFT})<={_NEAR}*{_LEFT},FALSE),1,0),0))'),
    Answer("bar_drawn_tolerance", "tolerance of that bar", "length", "length", formula=f"IF(bar_stays=0,0,{_tolerance('bar_at_least')})"),
    # The tolerance of a larger bar may be wider. Two steps find the smallest bar, since bands are wider than tolerances.
    Answer("bar_tolerance_own", "tolerance of a bar of the part's own size", "length", "length", formula=f"IF({_ROOM},0,{_tolerance(_LEFT)})"),
    Answer("bar_one_needs", "smallest bar with it", "length", "length", formula=f"IF({_ROOM},0,{_needs('bar_tolerance_own')})"),
    Answer("bar_one", "size for it", "length", "length", formula=f"IF({_ROOM},0,{_at_least('bar_one_needs')})"),
    Answer("bar_tolerance_one", "tolerance of that size", "length", "length", formula=f"IF({_ROOM},0,{_tolerance('bar_one')})"),
    Answer("bar_two_needs", "smallest bar with that one", "length", "length", formula=f"IF({_ROOM},0,{_needs('bar_tolerance_one')})"),
    Answer("bar_two", "size for it", "length", "length", formula=f"IF({_ROOM},0,{_at_least('bar_two_needs')})"),
    Answer("bar_two_leaves", "what it leaves", "length", "length", formula=f"IF({_ROOM},0,{_leaves('bar_two', _tolerance('bar_two'))})"),
    Answer("bar_smaller", "next smaller size, 0 for none", "length", "length", formula=f"IF({_ROOM},0,{_next_smaller('bar_two')})"),
    Answer("bar_smaller_leaves", "what that one leaves", "length", "length",
           formula=f"IF({_ROOM},0,IF(bar_smaller=0,0,{_leaves('bar_smaller', _tolerance('bar_smaller'))}))"),
    Answer("bar_tolerance", "tolerance of the bar filled in, or none", "text", "",
           formula=f'IF({_ROOM},0,IF(LEN(tolerance_class)*size>0,IFERROR({_tolerance("size")},"none")))'),
    Answer("bar_class", "class of the bar's tolerance", "text", "",
           formula=f'IF({_ROOM},"",IF(IF(bar_stays=1,bar_at_least,bar_two)>0,IF(bar_class_meant="standard",'
                   f'IF(shape="round","h10",IF(IF(bar_stays=1,bar_at_least,bar_two)<={WIDEST_H11:g}*(1+{_NEAR}),"h11","h12")),bar_class_meant)))'),
)
ANSWERS = (
    Answer("bar_size_needed", "Smallest bar for the part", "length", "length",
           formula=f'IF({_ROOM},"-",IF(bar_stays=1,bar_at_least,IF(LEN(tolerance_class)*LEN(defect_class)>0,IF(bar_drawn+clean_up>=0,'
                   f'IFERROR(IF(bar_two_leaves>={_LEFT}*(1-{_NEAR}),bar_two,"none"),"none")))))'),
    Answer("bar_leaves", "The bar filled in leaves", "length", "length",
           formula=f'IF({_ROOM},"-",IF(ISTEXT(bar_tolerance),"-",{_leaves("size", "bar_tolerance")}))'),
    Answer("bar_why", "Why this size", "text", "", formula=_WHY),
    # Where the table has no bar of this shape and width nothing is known.
    Answer("bar_bow", "Bar out of straight, at most", "length", "length",
           formula=f'IF({_SOLID},IF(ISBLANK(steel),"-",IF(size*bar_length*unit_mm>0,IF(AND({_MAY_BE_STEEL},OR(shape="round",size*unit_mm<=75*(1+{_NEAR}))),'
                   'BAR_STRAIGHTNESS(size,bar_length,steel,shape,units),"-"))),"-")'),
)


_BOW_SAID = f'"In the middle of "&{number_text("use_bar_length", 3)}&{UNIT_SUFFIX}&", drawn bar, EN 10278 as read in a copy"'


def put_bar(page: Page, form: Form, last: str) -> None:
    """What the part asks of the bar beside what follows: the last columns of the page, and its first ones."""
    page.heading(f"B:{last}", "The bar for the part")
    left, right = page.beside(page.row), page.beside(page.row)
    for item in BAR_FOR_PART:
        right.next_row()
        form.put_input(right, item.name, ("F", last, "J"))
    for name in ("bar_size_needed", "bar_leaves", "bar_bow"):
        left.next_row()
        form.put_answer(left, name, "BCD", bold=name == "bar_size_needed")
    layout.quiet_errors(page.sheet, f"C{left.row - 2}:C{left.row}")
    left.next_row()
    left.put("B:D", f'=IF(ISBLANK(steel),"",IF({form.prefix}bar_bow="-","No straightness is known for bar of this shape, size and material.",{_BOW_SAID}))',
             size=9, color=layout.SOFT, shrink=True)
    layout.quiet_errors(page.sheet, f"B{left.row}")
    page.row = right.row
    page.next_row(30)
    page.put("B", "Why this size", color=layout.SOFT)
    ref = page.take(f"C:{last}")
    first = ref.partition(":")[0]
    layout.style_answer(page.sheet, first, "text")
    page.sheet[first].value = "=" + form.formula(form.answers["bar_why"])
    page.sheet[first].alignment = Alignment(horizontal="left", vertical="center", wrap_text=True)
    page.sheet.merge_cells(ref)
    page.name(form.prefix + "bar_why", first)
    layout.quiet_errors(page.sheet, first)


RESULTS = ("bar_size_needed", "bar_why", "bar_leaves", "bar_bow")
CHECK = Check("Bar for the part", (
    (f"{_LEFT}=0", NOTE, '"Neither sections nor the largest width of the part are filled in on the sheet Part: nothing says whether the bar leaves it."'),
    ("bar_asked=0", NOTE, '"Sizes are worked out for round, hexagon and square bar."'),
    (f"{_LEFT}>size*(1+{_NEAR})", STOP, f'"The part is wider, "&{_figure(_LEFT)}&", than the bar, "&{_figure("size")}&{UNIT_SUFFIX}&". "&bar_why&"."'),
    (f'IF(bar_drawn=1,ABS(size-{_LEFT})<={_NEAR}*size,FALSE)', OK, f'"The bar stays as drawn at "&{_figure("size")}&{UNIT_SUFFIX}&"."'),
    ("ISTEXT(bar_leaves)", LOOK, '"No tolerance is known for a bar of this class, shape and size: nothing says whether it leaves the part."'),
    (f"bar_leaves<{_LEFT}*(1-{_NEAR})", LOOK,
     f'"The bar may leave only "&{_figure("bar_leaves")}&", the part is "&{_figure(_LEFT)}&{UNIT_SUFFIX}&" wide. "&bar_why&"."'),
    (f"IF(ISNUMBER(bar_size_needed),bar_size_needed<size*(1-{_NEAR}),FALSE)", NOTE, '"A smaller bar would do: "&bar_why&"."'),
    ("TRUE", OK, f'"The bar leaves "&{_figure("bar_leaves")}&", the part is "&{_figure(_LEFT)}&{UNIT_SUFFIX}&" wide; no smaller size does."'),
), long=True)
