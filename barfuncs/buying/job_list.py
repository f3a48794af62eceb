"""Jobs for buying from a list: the columns that it may have, and each row as what the job needs of the bar."""

import functools
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import barfuncs as bf
from barfuncs.buying.records import Demand
from barfuncs.buying.stocks import Stocks, length_in
from barfuncs.catalogue import kinds
from barfuncs.catalogue.entry import CATALOGUE
from barfuncs.catalogue.reading import DensityText, broken_rules, read_together
from barfuncs.errors import BarfuncsError, InputError
from barfuncs.filling.filler import JOB as AS_JOBS_ARE_TYPED
from barfuncs.filling.filler import fill
from barfuncs.filling.headings import Names, is_blank, names
from barfuncs.filling.lists import Job, Problem, read_listed, says_mm, value_shown
from barfuncs.rack.bars import BY_NAME, read_cell, read_date
from barfuncs.templates.bar_for_part import BAR_FOR_PART
from barfuncs.templates.every_order import BAR, JOB, LATHE, ORDER, PART, PRICE
from barfuncs.templates.model import Input, make_input
from barfuncs.templates.part_sheet import SECTIONS
from barfuncs.templates.registry import TEMPLATES
from barfuncs.templates.shop import Shop

_OF_A_PLAN = {i.name: i for i in (*JOB, *BAR, *PART, *ORDER, *LATHE, *PRICE)}
_FROM_PLAN = ("job", "customer", "part_number", "units", "material", "shape", "size", "thickness", "supplied_length", "kerf", "part_length",
              "cutoff_width", "facing", "end_trim", "second_spindle_stock", "first_parts_scrapped", "parts_per_feed", "last_feed", "quantity",
              "scrap_rate", "setup_parts", "confidence", "machine", "face_to_cutoff", "grip_length", "rear_hold", "feeder_longest_bar",
              "material_price", "price_per", "material_surcharge")
_OF_PARTS = ("part_length", "cutoff_width", "face_to_cutoff", "grip_length")
"""Needed of parts, whose blanks are chosen; fixed pieces do without."""
_FROM_MACHINE = ("face_to_cutoff", "grip_length", "rear_hold", "feeder_longest_bar", "shortest_blank")
_FROM_RATES = ("scrap_rate", "confidence")
CHOSEN_ANEW = ("bar_length", "longest_random_bar")
"""Columns of a plan's list that say what is loaded, which is chosen here."""
_BY_THE_RACK = {"finish": "finish", "tolerance_class": "tolerance", "certificate": "certificate"}
"""Columns that are read as those of the rack, by the name that they have there. The class goes by the name that it has in a plan."""
_FOR_THE_PART = tuple(i for i in BAR_FOR_PART if i.name in ("finished_size", "surface", "defect_class", "clean_up"))
"""What the size of a bar goes by where a row leaves it to the sections."""
_DRAWING = {i.name: i for i in TEMPLATES["job_plan"].inputs.values() if i.draws}
_SECTIONS = Input(SECTIONS.name, SECTIONS.label, kinds.kind_of(kinds.Text), "part section by section from its front; gives the part length, and the size of "
                  "the bar where that is left blank", draws=True)
_SIZED_BY = (*_DRAWING, *(i.name for i in _FOR_THE_PART), "tolerance_class", "shape", "size", "thickness", "part_length")
_FROM_PART = ("part_length", "size")
_LOADED = {"in": 500.0, "mm": 12_700.0}
"""Length of the bar that a part is drawn on; no bar is as long, so that no part is too long for it."""
_OWN = (
    *(Input(name, BY_NAME[column].label, BY_NAME[column].kind, BY_NAME[column].help) for name, column in _BY_THE_RACK.items() if name != "certificate"),
    make_input("certificate", "Certificate", kinds.Certificate, help_text="inspection document after EN 10204 that the job needs: none, 2.1, 2.2, 3.1 or 3.2"),
    make_input("mixed_heats", "Mixed heats allowed", kinds.NoYes, kinds.NO_YES[0], help_text="whether the parts of the job may be of several heats"),
    make_input("larger_size", "Larger size allowed up to", kinds.Size, help_text="a larger bar, up to this size, may be taken for the job"),
    make_input("need_by", "Bars needed by", kinds.Text, help_text="day on which the bars must be here, as 2027-03-31; left blank, any"),
    make_input("shortest_blank", "Shortest bar the feeder takes", kinds.Length, help_text="shortest bar that the feeder takes, from its manual"),
    make_input("piece_length", "Piece length", kinds.PositiveLength,
               help_text="length of pieces that are sawn to it, instead of parts; the quantity is then that of the pieces, as ordered"),
)
INPUTS: dict[str, Input] = {i.name: i for i in (
    *(replace(_OF_A_PLAN[name], from_part=name == "size", from_shop=False, needed=_OF_A_PLAN[name].needed and name not in _OF_PARTS) for name in _FROM_PLAN),
    *(replace(_OF_A_PLAN[name], needed=False, from_part=False) for name in CHOSEN_ANEW), *_OWN, _SECTIONS, *_FOR_THE_PART, *_DRAWING.values())}
"""What a list for buying may have. Of `CHOSEN_ANEW` the first is read where a row has a price and no supplied length: it is the bar that is bought then, as in a plan."""
ALIASES = {
    "certificate": "cert, certs, certificate needed, cert needed, mill cert, mill certificate, material certificate, inspection document",
    "mixed_heats": "mixed heats, heats may be mixed, several heats",
    "larger_size": "larger size up to, larger size, larger bar up to, substitute up to",
    "need_by": "need by, needed by, material needed by, required by, needed on",
    "shortest_blank": "shortest bar, shortest blank, feeder shortest bar, feeder min length, min bar length of feeder",
    "piece_length": "piece len, pc length, sawn length, length of piece, length of pieces, length (piece)",
    "tolerance_class": "tolerance, size tolerance, bar tolerance, tolerance of bar",
    "finish": "bar finish, surface of bar, condition of bar",
}
_A_LITTLE = 1e-6
_TOGETHER = tuple(item for name, item in INPUTS.items() if name not in (*CHOSEN_ANEW[1:], *_BY_THE_RACK, "need_by", _SECTIONS.name))


@functools.cache
def called() -> Names:
    """What the columns may be called. Those of the templates that buying does not ask for are left aside."""
    return names(INPUTS, [item for t in TEMPLATES.values() for item in t.inputs.values()], ALIASES)


@dataclass(frozen=True)
class Need:
    """One row as it was read: its number, its values in its own `units`, and the cells as they are."""

    row: int
    units: str
    values: Mapping[str, Any]
    cells: Mapping[str, Any]


@dataclass
class Needs:
    """The rows of a list. `problems` say what is wrong with the others, `notes` what was left out."""

    file: str
    rows: list[Need]
    problems: list[Problem]
    notes: list[Problem]
    taken_as_inch: bool = False
    lengths_given: bool = False
    """Whether the list says what is loaded, which is chosen anew."""


def read_needs(path: str | Path, *, units: str | None = None, decimal_comma: bool = False, shop: Shop | None = None) -> Needs:
    """The rows of a list, each read in its own units. `units` are those of bare numbers where a row does not say.

    Raises InputError for headings that can't be used, WorkbookError for a file that can't be read.
    """
    path = Path(path)
    jobs = read_listed(path, called())
    needs = Needs(path.name, [], [], list(jobs.notes), lengths_given=any(not is_blank(job.values.get(n)) for job in jobs for n in CHOSEN_ANEW))
    metric = next((job.row for job in jobs if says_mm(job)), None)
    bare: list[Job] = []
    shops = in_both_units(shop)
    for job in jobs:
        try:
            if job.problem:
                raise InputError("buy", [("", job.problem)])
            need, only_bare, drawn = _read(job, units, decimal_comma, shops)
        except InputError as error:
            needs.problems += [Problem(path.name, job.row, column, value_shown(job.values.get(column)), _with_comma(job, column, reason, decimal_comma))
                               for column, reason in error.problems]
            continue
        needs.rows.append(need)
        if drawn and abs(drawn - need.values.get("part_length", drawn)) > _A_LITTLE * drawn:
            needs.notes.append(Problem(path.name, job.row, "part_length", value_shown(job.values.get("part_length")),
                                       f"the part length counts; the sections together are {drawn:.6g} {need.units}"))
        if only_bare:
            bare.append(job)
    if metric is not None:
        needs.problems += [Problem(path.name, job.row, "units", "", f"nothing says whether the numbers are inch or mm, and row {metric} is in mm: "
                                                                   "fill in the column units, or give --units") for job in bare]
    needs.taken_as_inch = bool(bare) and metric is None
    return needs


def in_both_units(shop: Shop | None) -> dict[str, Shop]:
    """By its units, the shop in each: turned once, not for every row."""
    return {} if shop is None else {units: shop.in_units(units) for units in kinds.UNITS}


def _with_comma(job: Job, column: str, reason: str, decimal_comma: bool) -> str:
    value = job.values.get(column)
    comma = not decimal_comma and isinstance(value, str) and "," in value and "a comma" in reason
    return reason + (" (--decimal-comma reads 12,5 as twelve and a half)" if comma else "")


def _read(job: Job, units: str | None, decimal_comma: bool, shops: Mapping[str, Shop]) -> tuple[Need, bool, float | None]:
    """The row, whether nothing says what its numbers are in, and how long the part is by its sections."""
    given = {name: value for name, value in job.values.items() if name in INPUTS and not is_blank(value)}
    if "supplied_length" in given or "material_price" not in given:
        given.pop(CHOSEN_ANEW[0], None)  # it matters for the bar that is bought at the row's own price alone
    way = replace(AS_JOBS_ARE_TYPED, decimal_comma=decimal_comma)
    spread, problems = SECTIONS.spread(str(given[_SECTIONS.name])) if _SECTIONS.name in given else ({}, [])
    problems += [(name, f"is given twice, here and in {_SECTIONS.name}") for name in spread if name in given]
    reading = read_together(_TOGETHER, spread | given, way, given.get("units", units), has_unit=True)
    problems += reading.problems
    values = dict(reading.values)
    for name in (*_BY_THE_RACK, "need_by"):
        if name in given:
            try:
                values[name] = read_date(given[name]) if name == "need_by" else read_cell(_BY_THE_RACK[name], given[name], reading.units)
            except BarfuncsError as error:
                problems.append((name, str(error)))
    bad = {name for name, _ in problems}
    if "machine" not in bad:
        problems += _take_from_shop(values, bad, shops.get(reading.units))
    drawn = None
    undrawn = bool(_SECTIONS.name in given or _DRAWING.keys() & given.keys())
    if _DRAWING.keys() & values.keys() and not bad & {*_SIZED_BY, "material", _SECTIONS.name}:
        drawn, found = _take_from_part(values, reading.units, shops.get(reading.units))
        problems += found
        undrawn = drawn is None
    problems = [(_SECTIONS.name, f"{_of_section(name)}: {reason}") if _of_drawing(name) != name and _SECTIONS.name in given and name not in given else (name, reason) for name, reason in problems]
    bad = {_of_drawing(name) for name, _ in problems}
    pieces = "piece_length" in given
    if pieces and "part_length" in given:
        problems.append(("piece_length", "is given beside part_length: give the one for pieces sawn to a length, the other for parts"))
    needed = [item.name for item in INPUTS.values() if item.needed and item.default is None and item.name != "units"]
    problems += [(name, "is missing") for name in (*needed, *(() if pieces else _OF_PARTS))
                 if name not in values and name not in bad and not (undrawn and name in _FROM_PART)]
    if not problems:
        problems += _contradictions(values, reading.units, shops.get(reading.units))
    if problems:
        raise InputError("buy", problems)
    return Need(job.row, reading.units, values, job.values), reading.only_bare, drawn


def _of_section(name: str) -> str:
    """Row and column of the part that an input like section_2_length is of, or the row alone."""
    _, row, *column = name.split("_", 2)
    return ", ".join([f"row {row}", *column])


def _of_drawing(name: str) -> str:
    return _SECTIONS.name if name.startswith(f"{SECTIONS.item}_") else name


def _take_from_part(values: dict[str, Any], units: str, shop: Shop | None) -> tuple[float | None, Collection[tuple[str, str]]]:
    """Put in part length and bar size as the sheet Part of a plan has them, where a row leaves them blank; how long the part is, and what is wrong."""
    told = {name: values[name] for name in _SIZED_BY if name in values}
    # What the part and its bar do not depend on must be there all the same.
    rest = {"cutoff_width": 0.0, "face_to_cutoff": 0.0, "grip_length": 0.0, "quantity": 1, "bar_length": _LOADED[units]}
    material = {"material": material_name(values["material"], units)} if "material" in values else {"material": 1.0}
    try:
        part = fill("job_plan", told | material | rest, units=units, shop=shop).answers
    except InputError as error:
        return None, [problem for problem in error.problems if problem[0] in (*_SIZED_BY, _SECTIONS.name)] or error.problems
    length, size = part["drawn_length"], part["bar_size_needed"]
    if not isinstance(length, float):
        return None, [(_SECTIONS.name, "can't be drawn; see the sheet Part of a plan")]
    values.setdefault("part_length", length)
    if "size" not in values:
        if not isinstance(size, float):
            return length, [("size", "is missing")]
        values["size"] = size
    return length, []


def _take_from_shop(values: dict[str, Any], bad: set[str], shop: Shop | None) -> Iterable[tuple[str, str]]:
    """Put in what the machine and the rates of the shop file say of what a row leaves blank."""
    records: list[tuple[tuple[str, ...], Any]] = []
    if "machine" in values:
        if shop is None:
            return [("machine", "no shop file says what this machine takes: give --shop")]
        try:
            records.append((_FROM_MACHINE, shop.machine(values["machine"])))
        except InputError as error:
            return error.problems
    if shop is not None:
        records.append((_FROM_RATES, shop.rates))
    for taken, record in records:
        for name in taken:
            if name not in bad and getattr(record, name) is not None:
                values.setdefault(name, getattr(record, name))
    return []


def _contradictions(values: Mapping[str, Any], units: str, shop: Shop | None) -> list[tuple[str, str]]:
    """What does not go together within a row."""
    entry = CATALOGUE["section_area"]
    shape = {"shape": "round", **values, "units": units}
    found = broken_rules(entry, [shape.get(a.name) for a in entry.arguments])
    if not found and "machine" in values and shop is not None:
        largest = shop.machine(values["machine"]).largest_size
        across = bf.across_corners(shape["shape"], values["size"], values.get("thickness"))
        if largest is not None and across > largest * (1 + 1e-9):
            found.append(("size", f"the bar is {across:.6g} {units} wide; through the spindle of {values['machine']} goes {largest:.6g}"))
        elif largest is not None and values.get("larger_size", 0) > values["size"] and \
                bf.across_corners(shape["shape"], values["larger_size"], values.get("thickness")) > largest * (1 + 1e-9):
            found.append(("larger_size", f"a bar of that size does not go through the spindle of {values['machine']}, which takes {largest:.6g} {units}"))
    if values.get("larger_size", values["size"]) < values["size"]:
        found.append(("larger_size", f"{values['larger_size']:.10g} given; smaller than the size of {values['size']:.10g}"))
    return found


def demand_of(need: Need, stocks: Stocks) -> Demand:
    """What a row needs, in the units of the stocks, by the functions that a job plan goes by."""
    values, units = need.values, need.units

    def get(name: str, otherwise: Any = None) -> Any:
        default = INPUTS[name].default if otherwise is None else otherwise
        return values.get(name, default)

    def length(value: float) -> float:
        return length_in(value, units, stocks.units)

    larger = values.get("larger_size")
    common = Demand(
        get("job") or f"row {need.row}",
        stocks.of(material_name(values["material"], units), get("shape"), values["size"], values.get("thickness"), values.get("finish"),
                  values.get("tolerance_class"), units),
        values["quantity"], certificate=values.get("certificate", kinds.CERTIFICATES[0]), customer=get("customer") or "",
        mixed_heats=get("mixed_heats") == kinds.NO_YES[1], larger_up_to=None if larger is None else stocks.size(larger, units),
        need_by=values.get("need_by"))
    if "piece_length" in values:
        return replace(common, piece_length=length(values["piece_length"]))
    each = bf.bar_per_part(values["part_length"], values["cutoff_width"], get("facing") + get("second_spindle_stock"))
    remnant = bf.min_remnant(values["grip_length"], values["face_to_cutoff"], get("rear_hold", 0))
    feed = get("parts_per_feed") if get("last_feed") == kinds.LAST_FEEDS[1] else 1
    # The first parts of every blank are no good parts; where feeds are whole, so are those that give them.
    first = -(-get("first_parts_scrapped") // feed) * feed
    longest = values.get("feeder_longest_bar")
    return replace(
        common, quantity=bf.parts_to_make(values["quantity"], get("scrap_rate"), get("setup_parts"), get("confidence")), bar_per_part=length(each),
        blank_extra=length(get("end_trim") + remnant + first * each), shortest_blank=length(get("shortest_blank", 0)),
        longest_blank=None if longest is None else length(longest), parts_per_feed=feed)


def material_name(material: str | float | DensityText, units: str) -> str:
    """A material's name in the table, or a density with its unit."""
    if isinstance(material, str):
        return material
    value, system = (material.value, material.system) if isinstance(material, DensityText) else (material, units)
    return f"{value:.12g} {'g/cm3' if system == 'mm' else 'lb/in3'}"


def columns_of(name: str) -> str:
    """The column of a list that something of a demand comes from."""
    return {"larger_up_to": "larger_size", "longest_blank": "feeder_longest_bar", "bar_per_part": "part_length", "blank_extra": "grip_length"}.get(name, name)
