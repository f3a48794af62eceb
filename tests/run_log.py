"""A third template, as small as one can be: a log of a run, a table of rows with units, a material and a status."""

from dataclasses import replace

from openpyxl import Workbook

from barfuncs.catalogue import kinds
from barfuncs.templates.every_order import (
    BAR,
    DENSITY,
    JOB,
    MATERIAL_NAME,
    MATERIAL_ROW,
    SECTION_WEIGHT,
    WEIGHT_PER_LENGTH,
)
from barfuncs.templates.form import Form, table_widths
from barfuncs.templates.materials_sheet import materials_sheet
from barfuncs.templates.model import LOOK, OK, Answer, Check, RowAnswer, Table, make_column
from barfuncs.templates.notes_sheet import notes_sheet
from barfuncs.templates.page import add_page
from barfuncs.templates.shop import Shop
from barfuncs.templates.template import Template, Terminal, TerminalColumn, number_shown, status_word

BARS = Table(
    name="bars",
    item="bar",
    label="Bars",
    row_label="Bar",
    rows=40,
    columns=(
        make_column("heat", "Heat", kinds.Text, "number on the certificate"),
        make_column("parts", "Parts", kinds.Count, "parts that came from it", needed=True),
        make_column("scrapped", "Scrapped", kinds.Count, "parts of them that were scrapped", blank=0),
        make_column("left", "Left over", kinds.Length, "length that was left of the bar", blank=0),
        make_column("stop", "Stop", kinds.Seconds, "time that the lathe stood", blank=0),
    ),
    answers=(RowAnswer("good", "Good", "count", "parts", "IF(ISBLANK(bar_parts),0,bar_parts-bar_scrapped)"),),
    wrong_if=(("bar_scrapped>bar_parts", "more scrapped than made"),),
    looks=(("bar_scrapped>bar_parts/4", '"! "&bar_scrapped&" of "&bar_parts&" scrapped"'),),
)
_INPUTS = (*(i for i in JOB if i.name == "job"),
           # No sheet Part stands in for the size here.
           *(replace(i, from_part=False) for i in BAR if i.name in ("units", "material", "shape", "size", "thickness")))
_ANSWERS = (
    MATERIAL_ROW, MATERIAL_NAME, DENSITY, WEIGHT_PER_LENGTH, SECTION_WEIGHT,
    Answer("section_area", "Area of the section", "general", "area", calls="section_area"),
    Answer("good", "Good parts", "count", "parts", formula="SUM(bar_good)"),
    Answer("left_weight", "Weight left over", "weight", "weight", formula="section_weight*SUM(bar_left)"),
    Answer("looks", "rows to look at", "count", formula=BARS.to_look_at),
)
_CHECKS = (Check("Scrap", (("looks>0", LOOK, '"A bar gave much scrap, see the mark beside it."'),
                           ("TRUE", OK, '"No bar gave more than a quarter of scrap."'))),)
FORM = Form("log_", _INPUTS, _ANSWERS, (BARS,))


def _draw(book: Workbook, shop: Shop | None) -> None:
    page = add_page(book, "Log", {**table_widths(BARS), "B": 24, "C": 18, "D": 14})
    page.title("Run log")
    page.next_row(30)
    FORM.put_status(page, "B:H", "log")
    for item in _INPUTS:
        page.next_row()
        FORM.put_input(page, item.name, "BCD")
    for name in ("good", "left_weight"):
        page.next_row()
        FORM.put_answer(page, name, "BCD")
    FORM.put_checks(page, _CHECKS)
    page.skip()
    FORM.put_table(page, BARS)
    page.print_to("H")
    materials_sheet(book)
    notes_sheet(book, FORM, (), ("good", "left_weight"), ())


TEMPLATE = Template(
    name="run_log",
    title="Run log",
    form=FORM,
    checks=_CHECKS,
    draw=_draw,
    results=("good", "left_weight"),
    done="logged",
    aliases={"job": "log sheet, log no", "bar_1_parts": "parts of the first bar"},
    terminal=Terminal((
        TerminalColumn("Good\nparts", lambda line: number_shown(line["good"])),
        TerminalColumn("Checks", lambda line: status_word(line), right=False),
    )),
    help="The first row of JOBS names the inputs.",
)
