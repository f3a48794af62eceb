"""The sheet "Set-up" of a job plan: what goes to the lathe, in the order in which the setter works.

It has no inputs. While the plan says STOP it shows no length, no count and no weight.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from openpyxl import Workbook
from openpyxl.styles import Alignment

from barfuncs.catalogue import materials
from barfuncs.templates import layout
from barfuncs.templates.alone_sheet import HOURS, THEN
from barfuncs.templates.cell_text import HAIR, UNIT_SUFFIX, WEIGHT_SUFFIX, fixed_text, number_text, unit_text
from barfuncs.templates.form import Form
from barfuncs.templates.model import LOOK, STOP, Answer
from barfuncs.templates.page import Page

TITLE = "Set-up"
STOPPED = Answer("stopped", "1 while the plan says STOP, or else 0", "count",
                 formula=f'IF(LEFT(plan_status,{len(STOP)})="{STOP}",1,0)')
LIFT = {"in": 51, "mm": 23}
"""lb or kg; more is not one person's lift, even at best."""
ONE_PERSON = f'IF(units="mm",{LIFT["mm"]},{LIFT["in"]})'
"""Cell expression: what one person lifts at most, at best; see SOURCE."""
SOURCE = ("23 kg or 51 lb for one person's lift in the best posture: load constant of the revised NIOSH lifting "
          "equation, NIOSH publication 94-110; a long bar is no such lift.")

_WIDTHS = {"A": 1.5, "B": 25, "C": 14, "D": 14, "E": 15, "F": 2, "G": 19, "H": 19, "I": 19, "J": 3,
           "K": 3, "L": 30, "M": 4, "N": 3, "O": 18, "P": 30, "Q": 4}
_ALL = "B:I"
_CHARACTERS_IN_A_LINE = 125


@dataclass(frozen=True)
class Line:
    """A line of a list that stands there only where it applies; all three are cell expressions."""

    text: str
    when: str = "TRUE"
    topic: str = '""'


def _weight(x: str) -> str:
    """Cell expression: a weight with its unit."""
    return f"FIXED({x}{HAIR},IF({x}<1,4,1))&{WEIGHT_SUFFIX}"


def _length(x: str) -> str:
    """Cell expression: a length with its unit."""
    return f"FIXED({x}{HAIR},3+(ROUND({x}*10000,0)<>10*ROUND({x}*1000,0)))&{UNIT_SUFFIX}"


def _count(x: str) -> str:
    return fixed_text(x, 0)


def _group_is(group: str) -> str:
    """Cell expression: TRUE where a material belongs to a group, or its name says so."""
    return f'OR(material_group="{group}",ISNUMBER(SEARCH("{group}",material_name)))'


_CORNERS = "OR(" + ",".join(f'shape="{s}"' for s in ("hexagon", "square", "octagon", "flat", "hexagon tube")) + ")"
# A machine type that is not known is an error value, so that no guide bush is taken for granted.
_GUIDE_BUSH = 'IFERROR(LEFT(machine_type,10)="guide bush",FALSE)'
_SECOND_SPINDLE = 'IFERROR(RIGHT(machine_type,14)="second spindle",FALSE)'
_CHIPS_BURN = f"OR({_group_is('titanium')},{_group_is('magnesium')})"
# Where it may hold a trace of lead its own caution says so.
_HOLDS_LEAD = 'ISNUMBER(SEARCH("contains lead",material_caution))'
_ALONE = "IF(ISNUMBER(unattended_hours),unattended_hours>=0.25,bars>1)"
_LOAD = "IF(ISNUMBER(load_weight),load_weight,total_weight)"
# Weights rest on the shortest of random lengths.
_LONGER = "IF(ISBLANK(longest_random_bar),1,longest_random_bar/bar_length)"
_AT_LEAST = 'IF(ISBLANK(longest_random_bar),""," at least")'
_WIDTH = 'IF(shape="flat",MIN(size,thickness),size)'
_SECTION = (
    f'shape&", "&{_length("size")}&IF(OR(shape="round",shape="tube",shape="flat"),""," across flats")'
    f'&IF(ISBLANK(thickness),"",IF(shape="flat"," x ",", wall ")&{_length("thickness")})'
    f'&IF(across_corners>size*(1+1E-9),", corners "&{_length("across_corners")},"")'
)

CHECKLIST = (
    Line('"Material, size and heat checked against the certificate"'),
    Line('"Every bar straight; its ends chamfered and deburred"'),
    Line('"Liner or guide channel for this size is in"'),
    Line('"Workholding for this size is in; speed limit read"'),
    Line('"Guide bush for this size is in, adjusted to this bar"', _GUIDE_BUSH),
    Line('"Guide and workholding fit the corners of the bar"', _CORNERS),
    Line('"Second spindle: workholding for this part is in"', _SECOND_SPINDLE),
    Line('"Cut-off tool measured: as wide as in the table below"'),
    Line('"Catcher for the remnant in; stays until new bar is in"'),
    Line('"Guards and doors shut, rear of the spindle covered"'),
    Line(f'"Bar feed programmed in "&strokes&" strokes, "&{_length("longest_push")}&" at most"', "strokes>1"),
    Line('"Counters at zero, run limit set"'),
    Line('"First bar at low speed: listen before you raise it"'),
)
CAUTIONS = (
    Line('"Nothing unsupported out of the rear of the spindle, however short the job: a bar that turns free bends out, '
         'whips, can kill. Enclose all of it, also while the feeder is pushed back."', topic='"Bar out of the rear"'),
    Line('"Even a short end that turns in the open catches cloth and winds it up in a moment. Never touch it; no '
         'gloves, loose sleeves, hair or rags near it, at any speed."', topic='"Turning end of the bar"'),
    Line('"It loads the next bar by itself, without a warning. Guards shut, hands out; before you reach in, stop it '
         'and lock it out as its manual says."', "bars>1", '"The feeder moves"'),
    Line('"Nobody sees a jam or a fire: chips and cutting oil burn. Leave the lathe alone only as the shop\'s rules '
         'allow. A class D extinguisher is for metal chips, not for oil."', _ALONE, '"Running alone"'),
    Line('"Chip bin, parts bin and filters empty, coolant and oil full, worn edges changed, long chips cleared: they wind up '
         'and burn. Hours are at most. Who comes back stops it first, then reaches in."', _ALONE, '"Before you leave it"'),
    Line('"It does not fill a round guide, runs out of balance and hammers. Use the guide for its shape, start slowly, '
         'listen; a speed that round bar takes may be too high."', _CORNERS,
         'UPPER(LEFT(shape,1))&MID(shape,2,20)&" bar"'),
    Line(f'"One bar weighs"&{_AT_LEAST}&" "&{_weight("bar_weight")}&", the load "&{_weight(_LOAD)}'
         f'&IF(bar_weight*{_LONGER}>{ONE_PERSON},": one bar is over "&{ONE_PERSON}&{WEIGHT_SUFFIX}'
         '&", which is for one person at best (NIOSH). Use a hoist or lift together",'
         '": carry it bar by bar, use a hoist for a bundle")&"; keep the way clear, long bars swing."',
         f"{_LOAD}*{_LONGER}>{ONE_PERSON}", '"Weight of the load"'),
    Line(f'"The bar stands out "&{fixed_text(f"first_stickout/{_WIDTH}", 1)}&" times its width before the first part: it can '
         'bend, chatter and throw the part. We know of no public rule that gives a safe number: see the manual."',
         f"AND(first_stickout>3*{_WIDTH}*(1+1E-9),NOT({_GUIDE_BUSH}))", '"Long stick-out"'),
    # One line for both, so that the list has a place for every line: no alloy needs both.
    Line(f'IF({_CHIPS_BURN},"Fine chips catch fire, and water makes it worse: never put water on them. Class D '
         'extinguisher at hand, tools sharp, chip pan empty; follow the shop\'s fire rules.",'
         '"This alloy holds lead, which gets in by hand and mouth: no food or smoking at the lathe, wash hands before '
         'eating; dust and fume down, chips apart.")',
         f"OR({_CHIPS_BURN},{_HOLDS_LEAD})", f'IF({_CHIPS_BURN},"Chips that burn","Lead")'),
    Line('"Remnants, sawn ends and chips cut. Gloves only while everything stands still, never near a turning spindle; '
         'take chips away with a hook, not by hand."', topic='"Sharp ends"'),
)
_NOT_FROM_THIS = "The plan says STOP: do not set up from this sheet."
_FIRST_OF_ALL = ("Cautions. The manuals of machine and feeder, the shop's rules, local codes and licensed practice "
                 "come before this sheet")

_PIECES = (("Grip length", "grip_length", "E"), ("More for the rear hold", "MAX(0,rear_hold-grip_length-face_to_cutoff)", "E"), ("Face to cut-off tool", "face_to_cutoff", "CE"),
           ("Cut-off width", "cutoff_width", "CD"), ("Part length", "part_length", "CD"), ("Facing", "facing", "CD"),
           ("Stock for the second spindle", "second_spindle_stock", "CD"),
           ("Further parts of one feed", "(parts_per_feed-1)*bar_per_part", "C"), ("End trim of a new bar", "end_trim", "C"))
"""What the three lengths are made of: label, cell expression, and the columns in which it counts."""
_TOTALS = (("C", "first_stickout", "First stick-out", "front of the bar to the face, before the first part"),
           ("D", "bar_per_part", "Bar per part", "what each part takes"),
           ("E", "min_remnant", "Minimum remnant", "what must be left at least"))


def setup_sheet(book: Workbook, form: Form) -> None:
    """One page: head, bar, check list, lengths, how many, running, cautions."""
    page = _SetupPage(book, form)
    _head(page)
    _bar(page)
    _check_list(page)
    _lengths(page)
    _how_many(page)
    _running(page)
    _cautions(page)
    page.print_to("I")
    layout.keep_in_view(page.sheet, "A3")


class _SetupPage(Page):
    """A page of one plan, on which figures are a dash or blank while the plan says STOP."""

    def __init__(self, book: Workbook, form: Form) -> None:
        super().__init__(book, layout.add_sheet(book, TITLE, _WIDTHS))
        self.form = form

    def next_row(self, height: float | None = layout.CLOSE) -> int:
        return super().next_row(height)

    def heading(self, columns: str, text: str, height: float | None = 18, size: float = 11) -> None:
        super().heading(columns, text, height, size)
        self.sheet[f"{columns[0]}{self.row}"].alignment = Alignment(vertical="bottom")

    def number(self, columns: str, expression: str, number: str, size: float = 10, bold: bool = False) -> None:
        """A figure; a dash where it is not known."""
        formula = self.form.expression(f'IF(stopped=1,"-",IFERROR({expression},"-"))')
        self.put(columns, f"={formula}", align="right", number=number, size=size, bold=bold)

    def words(self, columns: str, expression: str, bold: bool = False, shrink: bool = False) -> None:
        """A sentence with figures in it."""
        formula = self.form.expression(f'IF(stopped=1,"",IFERROR({expression},""))')
        self.put(columns, f"={formula}", bold=bold, shrink=shrink, indent=1)

    def label(self, column: str, text: str) -> None:
        self.put(column, text, color=layout.SOFT)

    def figure(self, label: str, expression: str, number: str, unit: str, size: float = 11) -> None:
        """A row with one figure: label, figure, unit."""
        self.next_row(18 if size > 11 else layout.CLOSE)
        self.label("B", label)
        self.number("C", expression, number, size, bold=True)
        self.put("D", unit, color=layout.SOFT, indent=1)

    def given(self, columns: str, formula: str, size: float = 11, bold: bool = True) -> None:
        """What is known already, on a line on which it can be written where it is not."""
        ref = self.put(columns, formula, size=size, bold=bold, shrink=True)
        layout.underline(self.sheet, ref)

    def frame(self, columns: str, what: str = "") -> None:
        """A frame to be written into by hand, with a small word on what goes there."""
        ref = self.put(columns, what or None, size=9, color=layout.SOFT, wrap=True)
        layout.style_blank(self.sheet, ref)

    def applying(self, columns: str, lines: Sequence[Line]) -> tuple[str, str]:
        """Cell expressions of the topic and the text of the line that applies as number `{n}`; an error after the last.

        The lines stand beside the page, in three columns: topic, text, and how many apply up to this one.
        """
        topic, text, count = tuple(columns)
        self.take(f"{topic}:{count}", len(lines))
        first, last = self.row, self.row + len(lines) - 1
        for row, line in enumerate(lines, start=first):
            for letter, expression in ((topic, line.topic), (text, line.text)):
                self._aside(f"{letter}{row}", _plain_text(expression)
                            or self._formula(f'IF(stopped=1,"",IF({line.when},{expression},""))'))
            before = f"{count}{row - 1}+" if row > first else ""
            applies = "1" if line.when == "TRUE" else f"IF({line.when},1,0)"
            self._aside(f"{count}{row}", self._formula(f"IF(stopped=1,0,{before}{applies})"))
        number = f"MATCH({{n}},${count}${first}:${count}${last},0)"
        return f"INDEX(${topic}${first}:${topic}${last},{number})", f"INDEX(${text}${first}:${text}${last},{number})"

    def _formula(self, expression: str) -> str:
        return "=" + self.form.expression(expression)

    def _aside(self, ref: str, value: str) -> None:
        layout.put(self.sheet, ref, value, size=8, color=layout.SOFT)


def _plain_text(expression: str) -> str | None:
    """The text of an expression that is nothing but a text, or None."""
    found = re.fullmatch('"([^"]*)"', expression)
    return found[1] if found else None


def _typed(name: str) -> str:
    return f'=IF({name}="","",{name})'


def _head(page: _SetupPage) -> None:
    page.next_row(24)
    page.put("B:E", "Set-up sheet", size=18, bold=True, color=layout.ACCENT)
    page.next_row(28)
    status = page.put(_ALL, f'=plan_status&IF(plan_stopped=1,"  {_NOT_FROM_THIS}","")', size=11, bold=True, wrap=True)
    page.sheet.conditional_formatting.add(status, layout.rule_where("plan_stopped=1", border=layout.box()))
    for left, name, right, shown in (
        ("Drawing number", "drawing", "Machine", _typed("machine")),
        ("Revision", "revision", "Machine type", '=IFERROR(use_machine_type,"")'),
        ("Part number", "part_number", "Job", _typed("job")),
    ):
        page.next_row(15)
        page.label("B", left)
        page.given("C:E", _typed(name))
        page.label("G", right)
        page.given("H:I", shown)
    page.next_row(18)
    page.label("B", "Customer")
    page.given("C:E", _typed("customer"), size=9, bold=False)
    page.label("G", "Set up by, date")
    page.frame("H", "name")
    page.frame("I", "date")


def _bar(page: _SetupPage) -> None:
    page.heading(_ALL, "1  The bar")
    page.next_row(18)
    page.label("B", "Material")
    page.given("C:E", '=IF(ISBLANK(material),"",IF(ISNUMBER(material),"not said: only a density is given",'
                      'plan_material_name))', size=12)
    page.label("G", "Heat number")
    page.frame("H:I")
    page.next_row(18)
    page.label("B", "Shape and size")
    page.given("C:E", "=" + page.form.expression(f'IF(stopped=1,"-",{_SECTION})'))
    page.label("G", "Certificate")
    page.frame("H:I")
    page.figure("Length loaded", "bar_length", "length", unit_text("length"))
    page.words("E:I", f'IF(ISBLANK(supplied_length),"","sawn from bars of "&{_length("supplied_length")}&", "'
                      f'&{_count("blanks_per_supplied")}&" from each")&IF(ISBLANK(longest_random_bar),"",'
                      f'"the shortest of random lengths; the longest is "&{_length("longest_random_bar")})')
    longest = max(len(f"{item.name}: {item.caution}") for item in materials.builtin().rows)
    page.next_row(3 + 13 * -(-longest // _CHARACTERS_IN_A_LINE))
    page.put(_ALL, "=" + page.form.expression(
        f'IF(ISBLANK(material),"",IFERROR(IF(material_row=0,"{LOOK}  Not in the materials table: nothing is known here '
        'of what it does to people. Ask for the safety data sheet.",IF(material_caution="","No caution in the '
        'materials table. Ask for the safety data sheet.",material_name&": "&material_caution)),""))'),
             bold=True, wrap=True)


def _check_list(page: _SetupPage) -> None:
    page.heading(_ALL, "2  Before the first bar")
    _, text = page.applying("KLM", CHECKLIST)
    for n in range(1, len(CHECKLIST) + 1, 2):
        page.next_row(15.5)
        for columns, number in (("B:E", n), ("G:I", n + 1))[:len(CHECKLIST) - n + 1]:
            instead = f'IF(plan_stopped=1,"{_NOT_FROM_THIS}","")' if number == 1 else '""'
            page.put(columns, f'=IFERROR("\u25a1  "&{text.format(n=number)},{instead})', size=11, shrink=True)


def _lengths(page: _SetupPage) -> None:
    page.heading(_ALL, "3  Lengths")
    page.next_row(14)
    for column, _, name, _ in _TOTALS:
        page.put(column, name, size=9, bold=True, align="right", shrink=True)
    page.put("G:I", "In front of the workholding's face, to scale", size=9, color=layout.SOFT)
    page.next_row(36)
    page.put("B", f'="All in"&{UNIT_SUFFIX}', size=9, color=layout.SOFT)
    for column, _, _, meaning in _TOTALS:
        page.put(column, meaning, size=9, color=layout.SOFT, align="right", wrap=True)
    anchor = page.take("G:I", len(_PIECES) + 2).partition(":")[0]
    first = page.row + 1
    for name, length, columns in _PIECES:
        page.next_row()
        page.label("B", name)
        for column in columns:
            page.number(column, length, "length")
    # The grip and the rear hold are behind the face.
    layout.stacked_bar(page.sheet, first + 2, page.row, anchor, 9.9, 5.4,
                       ("FFFFFF", "9C8F9A", layout.ACCENT, "D9CBD6", "B9AFC0", "C98F7A", "E9DDC3"), share=0.24)
    page.next_row(16)
    page.put("B", "Together", bold=True)
    for column, length, _, _ in _TOTALS:
        page.number(column, length, "length", size=12, bold=True)


def _how_many(page: _SetupPage) -> None:
    page.heading(_ALL, "4  How many")
    page.figure("Parts to make", "parts_to_make", "count", "parts", size=14)
    page.words("E:I", f'"fills the order of "&{_count("quantity")}&" with "&{number_text("100*confidence", 2)}&"% confidence"')
    page.figure("That is", "bars", "count", "bars", size=14)
    page.words("E:I", f'IF(bars=1,"",{_count("parts_per_bar")}&" parts from each bar"&IF(first_parts_scrapped=0,", "," (the first "&first_parts_scrapped&" scrapped), "))&{_count("last_bar_parts")}'
                      '&IF(bars=1," parts from it"," from the last")'
                      '&IF(ISBLANK(longest_random_bar),"","; fewer where bars are longer")')
    page.figure("Left of the last bar", "last_bar_remnant", "length", unit_text("length"))
    page.words("E:I", 'IF(rest_length>0,"back on the rack, marked with its heat","")')
    page.next_row()
    page.label("B", "Planned with")
    page.words("C:I", f'"scrap "&{number_text("100*scrap_rate", 1)}&"%, set-up pieces "&{_count("setup_parts")}&"; on average "'
                      f'&{_count("parts_on_average")}&" parts would fill the order"')
    page.next_row(14)
    page.label("B", "Run limit")
    page.words("C:I", f'"Stop the run after "&{_count("parts_to_make")}&" parts: without a limit it goes on until the '
                      'bars run out."', bold=True)


def _running(page: _SetupPage) -> None:
    page.heading(_ALL, "5  Running")
    page.figure("Highest spindle speed", "top_speed", "count", "rpm", size=14)
    # The cell itself before its value as used: a limit of the machine is none of this bar.
    page.put("E:I", '=IF(plan_stopped=1,"",IF(ISNUMBER(top_speed),"for this bar; the lowest limit of bar, workholding '
                    f'and feeder holds",IF(ISNUMBER(use_top_speed),"{LOOK}  the machine\'s limit; none is set for this '
                    f'bar: ask before you start","{LOOK}  not set: ask before you start")))', bold=True, indent=1)
    page.figure("A full load", "MIN(feeder_bars,bars)", "count", "bars")
    page.words("E:I", f'"one bar weighs"&{_AT_LEAST}&" "&{_weight("bar_weight")}&IF(ISNUMBER(load_weight),", the load "'
                      f'&{_weight("load_weight")},", the load is not known: bars in the feeder are not filled in")')
    page.figure("Its bars last at most", "unattended_hours", "hours", "h")
    page.words("E:I", 'IF(ISNUMBER(unattended_hours),IF(feeder_bars<bars,"then the lathe stands; "&feeder_loads&" '
                      'loads for the order"&IF(ISBLANK(longest_random_bar),"","; longer with longer bars"),"then the '
                      f'order is done")&"; "&{fixed_text("cycle_time", 1)}&" s a part","not known: cycle time or bars in '
                      'the feeder are not filled in")')
    page.next_row()
    page.label("B", "What stops it first")
    # A number of parts alone, so that it stands there without a cycle time too.
    page.words("C:I", 'IF(NOT(ISNUMBER(feeder_bars)),"Not known: bars in the feeder are not filled in.",'
                      f'"At most "&{_count("first_stop_parts")}&" parts"&{HOURS}&": "&first_stop'
                      '&IF(first_stop_parts<MIN(until_order,until_bars),": set a counter, the lathe does not stop by itself",""))', bold=True)
    page.next_row()
    page.label("B", "What stops it next")
    page.words("C:I", f'IF(ISNUMBER(second_stop_parts),{THEN},"")')
    page.next_row()
    page.label("B", "Not counted there")
    page.words("C:I", 'IF(stops_not_known="","stops that nobody planned: a broken tool, a jam, a bar that does not feed",'
                      'stops_not_known&": not filled in; and stops that nobody planned")'
                      f'&IF(ISNUMBER(chance_alone),"; chance without one "&{number_text("100*chance_alone", 0)}&"%","")', shrink=True)
    page.next_row(26)
    page.put("B", "Edges to change", color=layout.SOFT, wrap=True)
    page.put("C:I", "=" + page.form.expression('IF(stopped=1,"",IFERROR(IF(edges_to_change="","not known: no tools are filled in",'
             '"after so many parts: "&edges_to_change),""))'), wrap=True, indent=1)
    page.next_row(22)
    page.label("B", "First-off is good")
    page.frame("C:D", "name")
    page.frame("E", "time")
    page.label("G", "Last-off is good")
    page.frame("H", "name")
    page.frame("I", "time")


def _cautions(page: _SetupPage) -> None:
    page.heading(_ALL, _FIRST_OF_ALL)
    topic, text = page.applying("OPQ", CAUTIONS)
    for n in range(1, len(CAUTIONS) + 1):
        page.next_row(26)
        page.put("B", f'=IFERROR({topic.format(n=n)},"")', bold=True, wrap=True)
        page.put("C:I", f'=IFERROR({text.format(n=n)},"")', wrap=True)
