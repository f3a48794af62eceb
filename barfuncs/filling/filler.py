"""Fill a template from Python: read the inputs, calculate, put inputs and answers into the file.

The template is built and cut into pieces once; each job then costs one recalculation and one write.
"""

import functools
import threading
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, NamedTuple

from barfuncs.catalogue import materials
from barfuncs.catalogue.entry import CATALOGUE
from barfuncs.catalogue.kinds import Kind, Text, kind_of
from barfuncs.catalogue.reading import CELLS, DensityText, in_units, read_together, read_value
from barfuncs.errors import InputError, shown
from barfuncs.filling.customer_copy import CustomerPage
from barfuncs.filling.headings import Names, names
from barfuncs.templates.layout import PAPERS, on_papers
from barfuncs.templates.model import STOP, WRONG, Input, Table
from barfuncs.templates.registry import TEMPLATES
from barfuncs.templates.shop import Shop, paper_for
from barfuncs.xlsx.engine import Address, Workbook, address_on, column_letters
from barfuncs.xlsx.package import DEFLATED_END, Packed, deflated, packed, write_whole, zip_of
from barfuncs.xlsx.sheetxml import Cell, SheetXML, Value, cell_xml

_MATERIAL = Kind("material", "material")
JOB = replace(CELLS, add_units="fill in units (in a list the column units): in or mm")
"""How the inputs of a job are typed."""


class _Slot(NamedTuple):
    """A cell that changes: where it stands, and its input's name or None."""

    cell: Cell
    address: Address
    name: str | None


class _Stretch:
    """Some cells that change, one after the other, with the pieces of XML between them. What was written of them last is kept:
    of one job to the next most cells stay as they are, in many a stretch all, and to deflate them takes longer than all else.
    """

    __slots__ = ("_calculated", "_kept", "_names", "_slots")

    def __init__(self, pieces: list[bytes | _Slot]) -> None:
        slots = [(piece, n) for n, piece in enumerate(pieces) if isinstance(piece, _Slot)]
        slots.sort(key=lambda slot: slot[0].name is None)  # inputs first, as their values come
        self._slots = [(slot.cell, n) for slot, n in slots]
        self._names = [slot.name for slot, _ in slots if slot.name is not None]
        self._calculated = [slot.address for slot, _ in slots if slot.name is None]
        xml = [cell_xml(piece.cell, None) if isinstance(piece, _Slot) else piece for piece in pieces]
        whole = b"".join(xml)
        # Without cells it stays for good, and is worth the best packing.
        values: list[Value] = [None] * len(slots)
        self._kept = values, list(map(type, values)), xml, whole, deflated(whole, 1 if slots else 9)

    def packed(self, book: Workbook, inputs: Mapping[str, Value]) -> tuple[bytes, bytes]:
        """The XML with these inputs and the workbook's values, and its deflated bytes."""
        values = [inputs[name] for name in self._names] + book.values_at(self._calculated)
        classes = list(map(type, values))  # for 1 and TRUE are equal, but not the same in a cell
        kept_values, kept_classes, xml, whole, small = self._kept
        if values != kept_values or classes != kept_classes:
            xml = xml.copy()
            for (cell, n), value, kept, a, b in zip(self._slots, values, kept_values, classes, kept_classes, strict=True):
                if a is not b or value != kept:
                    xml[n] = cell_xml(cell, value)
            whole = b"".join(xml)
            small = deflated(whole, 1)
            # In one step: Ctrl-C in between must not leave values with the XML of others.
            self._kept = values, classes, xml, whole, small
        return whole, small


_STRETCH, _STILL = 48_000, 2_000
"""Bytes of a stretch, and of a piece that makes one by itself. Many short stretches make a larger file, since what is packed
refers to nothing before its stretch; in few long ones there is always a cell that differs."""


def _stretches(pieces: list[bytes], slots: list[_Slot]) -> list[_Stretch]:
    """A sheet in stretches. Where they begin depends on the template alone, so that the same job gives the same bytes."""
    cut: list[list[bytes | _Slot]] = [[]]
    size = 0
    for n, piece in enumerate(pieces):
        if len(piece) >= _STILL:
            cut += [[piece], []]
            size = 0
        else:
            cut[-1].append(piece)
        if n < len(slots):
            cut[-1].append(slots[n])
            size += len(piece) + len(slots[n].cell.formula or b"")
        if size >= _STRETCH:
            cut.append([])
            size = 0
    return [_Stretch(xml) for xml in cut if xml]


class _Cut(NamedTuple):
    """One sheet that changes: its part, its XML in stretches, and by paper the end of it, with its deflated bytes."""

    part: str
    stretches: list[_Stretch]
    ends: dict[str, tuple[bytes, bytes]]


def _cut_up(part: str, pieces: list[bytes], slots: list[_Slot]) -> _Cut:
    last, at, end = pieces[-1].partition(b"<pageSetup")
    ends = {paper: (xml, deflated(xml, 9)) for paper, xml in on_papers(at + end).items()}
    return _Cut(part, _stretches([*pieces[:-1], last], slots), ends)


@functools.cache
def customer_page(template: str) -> CustomerPage | None:
    """The empty page for the customer, or None where the template has none."""
    book = TEMPLATES[template].customer_page()
    return None if book is None else CustomerPage(book)


@dataclass(frozen=True)
class Filled:
    """A filled and calculated workbook.

    `inputs` and `answers` are keyed by name (answers without the prefix plan_ or quote_); an answer that is not known because
    an input is blank is a `CellError`. `data` is the xlsx file.
    """

    template: str
    inputs: Mapping[str, Value]
    answers: Mapping[str, Value]
    data: bytes = field(repr=False)
    page: Mapping[str, Value] = field(default_factory=dict, repr=False)
    """The cells of the customer's page, where the template has one."""
    paper: str = "letter"
    """What it is printed on: letter or A4."""
    checks: Mapping[str, str] = field(default_factory=dict, repr=False)
    """By topic the word that each check says."""

    @property
    def is_ready(self) -> bool:
        """Whether nothing is missing and no check says stop."""
        return not str(self.answers["status"]).startswith(STOP)

    def customer_copy(self) -> bytes:
        """The page for the customer as an xlsx file of its own: values alone, nothing of the costs. Send this one.

        Raises InputError where the template has no such page, or the workbook is not ready to be sent.
        """
        page = customer_page(self.template)
        if page is None:
            raise InputError("customer_copy", [("template", f"{self.template} has no page for a customer")])
        if not self.is_ready:
            status = str(self.answers["status"]).removeprefix(STOP).strip()
            raise InputError("customer_copy", [("job", f"not ready to be sent: {status}")])
        return page.copy(self.page, self.paper)

    def save(self, path: str | Path, replace: bool = False) -> Path:
        """Write the file whole or not at all. Raises FileExistsError unless `replace`."""
        write_whole(path, self.data, replace)
        return Path(path)


def fill(template: str, values: Mapping[str, Any], path: str | Path | None = None, *, units: str | None = None,
         replace: bool = False, decimal_comma: bool = False, own_materials: materials.Materials | None = None,
         shop: Shop | None = None) -> Filled:
    """Fill one template and calculate it.

    Parameters
    ----------
    template : str
        Name of the template: "job_plan" or "quote".
    values : mapping
        Input name to value: numbers, text with units, quantities. A blank (None or "") takes the shop's value, or else the
        template's default.
    path : str or Path, optional
        Where to save the file; it is not overwritten without `replace`.
    units : "in" or "mm", optional
        What bare numbers are in, and the results, where `values` has no units of its own. With a metric text or quantity among
        the values one of the two must say so; without one they are in inch.
    shop : Shop, optional
        The shop's machines, prices and rates, from `barfuncs.templates.shop.read_shop`.

    Raises
    ------
    InputError
        Names every unknown, missing or impossible input.

    Examples
    --------
    >>> plan = fill("job_plan", {"material": "Brass C36000", "size": 0.75, "part_length": "2 1/4 in",
    ...     "cutoff_width": 0.125, "face_to_cutoff": 0.25, "grip_length": 2.5, "bar_length": "12 ft", "quantity": 1000})
    >>> plan.answers["parts_per_bar"], plan.answers["bars"]
    (59.0, 17.0)
    """
    if not isinstance(template, str) or template not in TEMPLATES:
        raise InputError("fill", [("template", f"{template!r} given; allowed is one of {', '.join(TEMPLATES)}")])
    if own_materials is not None and not isinstance(own_materials, materials.Materials):
        raise InputError("fill", [("own_materials", "give a table: builtin().extended(read_materials(path))")])
    table = own_materials or materials.active()
    inputs = read_inputs(values, template, units=units, decimal_comma=decimal_comma, table=table, shop=shop)
    filled = filler(template, shop).fill(inputs, table)
    if path is not None:
        filled.save(path, replace)
    return filled


@functools.cache
def names_of(template: str) -> Names:
    """What the inputs of a template may be called in a list."""
    made = TEMPLATES[template]
    in_words = {t.name: Input(t.name, t.label, kind_of(Text), t.label, draws=t.draws) for t in made.form.tables if t.in_words}
    return names({**made.inputs, **in_words}, [item for t in TEMPLATES.values() for item in t.inputs.values()], made.aliases)


_MOST_NAMED = 20


def unknown_inputs(given: Iterable[str], template: str) -> list[tuple[str, str]]:
    """What to say of names that are not inputs of a template; of the first ones also what to write instead."""
    given = list(given)
    said = [(name, names_of(template).problem(name)) for name in given[:_MOST_NAMED]]
    more = len(given) - len(said)
    return said + ([(f"{more:,} more", "are not inputs of this template either")] if more else [])


def read_inputs(values: Mapping[str, Any], template: str = "job_plan", *, units: str | None = None,
                decimal_comma: bool = False, table: materials.Materials | None = None,
                shop: Shop | None = None) -> dict[str, Value]:
    """All inputs of a job, read and checked, in the job's units.

    Raises InputError naming every bad input.
    """
    return read_job(values, template, units=units, decimal_comma=decimal_comma, table=table, shop=shop)[0]


def read_job(values: Mapping[str, Any], template: str = "job_plan", *, units: str | None = None,
             decimal_comma: bool = False, table: materials.Materials | None = None,
             shop: Shop | None = None) -> tuple[dict[str, Value], bool]:
    """The inputs as `read_inputs` gives them, and whether bare numbers were taken as inch with nothing that says so."""
    if not isinstance(values, Mapping):
        raise InputError(template, [("values", f"{shown(values)} given; give input names with their values")])
    made = TEMPLATES[template]
    known = made.inputs
    values, problems = _with_rows_spread(values, made.form.tables)
    problems += unknown_inputs([str(name) for name in values if name not in known], template)
    given = {name: value for name, value in values.items() if name in known and not _blank(value)}
    way = replace(JOB, decimal_comma=decimal_comma, table=table)
    try:
        reading = read_together(known.values(), given, way, given.get("units", units), has_unit=True)
    except InputError as error:
        raise InputError(template, [*problems, *error.problems]) from None
    drawn = any(known[name].draws for name in given)
    elsewhere = [name for name, item in known.items() if (shop and item.from_shop) or (drawn and item.from_part)]
    elsewhere += [table.name for table in made.form.tables if table.draws and drawn]
    problems += [(item.name, "is missing") for item in known.values()
                 if item.name not in given and item.name != "units" and item.needed and item.default is None
                 and item.name not in elsewhere]
    problems += reading.problems
    inputs: dict[str, Any] = {}
    for item in known.values():
        value: Any = reading.values.get(item.name) if item.name in given else None if item.origin else item.default
        # A cell has no whole numbers of its own, so that what stands in it compares as a float.
        inputs[item.name] = (_density_name(value) if isinstance(value, DensityText) else
                             float(value) if value.__class__ is int else value)
    inputs["units"] = reading.units
    for rule in made.rules:
        problems += rule.problems(inputs, {name for name, _ in problems})
    for rows in made.form.tables:
        problems += rows.problems(inputs, {name for name, _ in problems}, elsewhere)
    if problems:
        order = {name: n for n, name in enumerate(values)}
        raise InputError(template, sorted(problems, key=lambda p: order.get(p[0], len(order))))
    return inputs, reading.only_bare


def _with_rows_spread(values: Mapping[str, Any], tables: Iterable[Table]) -> tuple[Mapping[str, Any], list[tuple[str, str]]]:
    """The values of a job with the rows of each table as inputs of their own: {"operations": [{"length": 1}]} is op_1_length."""
    problems: list[tuple[str, str]] = []
    for table in tables:
        if table.name in values:
            spread, wrong = table.spread(values[table.name])
            twice = [name for name in spread if not _blank(values.get(name))]
            problems += [*wrong, *((name, f"is given twice, here and in {table.name}") for name in twice)]
            values = {**{name: value for name, value in values.items() if name != table.name}, **spread}
    return values, problems


def _blank(value: Any) -> bool:
    return value is None or (isinstance(value, str) and not value.strip())


def _density_name(density: DensityText) -> str:
    """What a density with its unit is called in the sheet, where it stands among the shop's own materials."""
    return f"{density.value:.12g} {'g/cm3' if density.system == 'mm' else 'lb/in3'}"


def _g_cm3(density: DensityText) -> float:
    return in_units(density.value, CATALOGUE["material_density"].result, density.system, "mm")


MOST_FILLERS = 8
"""Templates kept ready to be filled, each with one shop; the one that was used least lately makes room for a new one."""
_making = threading.Lock()


def filler(template: str, shop: Shop | None = None) -> "Filler":
    """The template ready to be filled with this shop's data."""
    with _making:  # threads that start together wait for one filler instead of making one each
        return _filler(template, shop)


@functools.lru_cache(maxsize=MOST_FILLERS)
def _filler(template: str, shop: Shop | None) -> "Filler":
    return Filler(template, shop)


class Filler:
    """A template that is calculated and cut once, then filled many times. Several threads may share it; they take turns,
    since the engine works for one of them at a time anyway.
    """

    def __init__(self, template: str, shop: Shop | None = None) -> None:
        self.template, self.shop = template, shop
        self._turn = threading.Lock()
        made = TEMPLATES[template]
        self.objections, self.prefix = made.objections, made.form.prefix
        self.book = Workbook(made.build(shop), direct=True)
        self.book.calculate()
        self.book.check_supported()
        self.inputs: dict[str, Address] = {name: self.book.address(made.form.cells[name]) for name in made.inputs}
        self.own_name = self.book.first_cell("own_material_names")
        self.own_density = self.book.first_cell("own_material_densities")
        self.answers: dict[str, Address] = {name: self.book.address(ref) for name, ref in made.form.answer_cells().items()}
        tables = {table.name for table in made.form.tables}  # of a table each row speaks for itself
        self.marks: list[tuple[str, str, Address]] = [
            (name, label, self.book.address(f"{self.prefix}marks[{n}]"))
            for n, (name, label) in enumerate(made.form.marked, start=1) if name not in tables]
        """What may be wrong: the input, what it is called, and the cell that says so."""
        self.rows: list[tuple[str, Address]] = [
            (f"{table.item}_{n}", self.book.address(f"{table.marks}[{n}]"))
            for table in made.form.tables for n in range(1, table.rows + 1)]
        self.checks: dict[str, Address] = {check.topic: self.book.address(f"{self.prefix}check_words[{n}]") for n, check in enumerate(made.checks, start=1)}
        page = customer_page(template)
        self.page: dict[str, Address] = {} if page is None else {
            ref: self.book.address(f"{page.title}!{ref}") for ref in page.cells}
        self._cut({self.book.sheets.index(title) for title in made.still_sheets})

    def _cut(self, still: set[int]) -> None:
        """Cut the sheets at the cells that change; zip everything else once."""
        parts = dict(self.book.parts)
        inputs = {**{a: name for name, a in self.inputs.items()}, self.own_name: "own_name", self.own_density: "own_density"}
        self.sheets: list[_Cut] = []
        self.own_sheets: list[_Cut] = []
        for index, part in self.book.sheet_parts().items():
            xml = SheetXML(parts[part])
            input_refs = {f"{column_letters(c)}{r}": name for (s, r, c), name in inputs.items() if s == index}
            changing = set(input_refs) | xml.calculated()
            if not changing:
                continue
            pieces, cells = xml.slots(changing)
            slots = [_Slot(c, address_on(index, c.ref), input_refs.get(c.ref)) for c in cells]
            # The materials table changes only for a material of the shop's own; otherwise it is zipped once.
            if index in still:
                parts[part] = xml.with_values({slot.cell.ref: self.book.value_at(slot.address) for slot in slots})
            elif index == self.own_name[0]:
                self.own_sheets.append(_cut_up(part, pieces, slots))
                blank = {slot.cell.ref: self.book.value_at(slot.address) for slot in slots if slot.name is None}
                parts[part] = xml.with_values(blank)
            else:
                self.sheets.append(_cut_up(part, pieces, slots))
        for cut in self.sheets:
            del parts[cut.part]
        self.fixed: dict[str, list[Packed]] = {paper: [] for paper in PAPERS}
        for part, data in parts.items():
            printed = on_papers(data)
            alike = {text: packed(part, text) for text in printed.values()}
            for paper, text in printed.items():
                self.fixed[paper].append(alike[text])

    def fill(self, inputs: Mapping[str, Value], table: materials.Materials | None = None) -> Filled:
        """Fill with inputs that were read by `read_inputs`.

        Raises InputError where the inputs together give no answer.
        """
        values = self._values(inputs, table)
        with self._turn:
            answers, problems = self._worked_out(inputs, values)
            if problems:
                raise InputError(self.template, problems)
            page = dict(zip(self.page, self.book.values_at(self.page.values()), strict=True))
            paper = str(inputs.get("paper") or paper_for(str(inputs["units"]), self.shop))
            checks = dict(zip(self.checks, map(str, self.book.values_at(self.checks.values())), strict=True))
            return Filled(self.template, dict(inputs), answers, self._write(values, paper), page, paper, checks)

    def _values(self, inputs: Mapping[str, Value], table: materials.Materials | None) -> dict[str, Value]:
        """What goes into the cells: the inputs, and the job's material where it is the shop's own."""
        values: dict[str, Value] = dict(inputs)
        values["own_name"] = values["own_density"] = None
        material = inputs.get("material")
        if isinstance(material, str):
            table = table or materials.active()
            if material not in table:
                values["own_name"], values["own_density"] = material, _g_cm3(read_value(_MATERIAL, material)[0])
            elif table[material] not in materials.builtin().rows:
                values["own_name"], values["own_density"] = table[material].name, table[material].density
        return values

    def _worked_out(self, inputs: Mapping[str, Value], values: Mapping[str, Value]) -> tuple[dict[str, Value], list[tuple[str, str]]]:
        """The answers, and why the inputs together give none."""
        book = self.book
        for name, address in self.inputs.items():
            book.set_at(address, values[name])
        book.set_at(self.own_name, values["own_name"])
        book.set_at(self.own_density, values["own_density"])
        book.calculate()
        answers = dict(zip(self.answers, book.values_at(self.answers.values()), strict=True))
        problems = self._problems(inputs) if answers["problems"] else []
        return answers, problems or self.objections(inputs, answers)

    def _problems(self, inputs: Mapping[str, Value]) -> list[tuple[str, str]]:
        """The inputs that the template calls missing or wrong, and why."""
        value_at, found = self.book.value_at, []
        for name, label, address in self.marks:
            said = str(value_at(address) or "").removesuffix(", ")
            if not said:
                continue
            more = said[len(label):].strip(" ()")
            if name not in inputs:
                found.append(("job", f"fill in or correct: {said}"))
            elif inputs[name] is None:
                found.append((name, "is missing" + (f" ({more})" if more else "")))
            else:
                found.append((name, f"is not allowed here ({more or 'see the limits in the template'})"))
        for name, address in self.rows:
            said = str(value_at(address) or "")
            if said.startswith(WRONG):
                found.append((name, said.removeprefix(WRONG).strip()))
        return found

    def _write(self, values: Mapping[str, Value], paper: str) -> bytes:
        changed = self.sheets if values["own_name"] is None else [*self.sheets, *self.own_sheets]
        written = {cut.part for cut in changed}
        parts = [part for part in self.fixed[paper] if part.name not in written]
        for name, stretches, ends in changed:
            crc = size = 0
            out: list[bytes] = []
            for stretch in stretches:
                xml, packed_xml = stretch.packed(self.book, values)
                crc, size = zlib.crc32(xml, crc), size + len(xml)
                out.append(packed_xml)
            xml, packed_xml = ends[paper]
            crc, size = zlib.crc32(xml, crc), size + len(xml)
            out.append(packed_xml)
            parts.append(Packed(name, crc, size, b"".join([*out, DEFLATED_END])))
        return zip_of(parts)
