"""What becomes of one row of a list: read, calculated, filled in. It touches no folder, so any process can do it."""

import functools
import io
import json
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import barfuncs
from barfuncs.catalogue import materials
from barfuncs.errors import InputError
from barfuncs.filling.filler import filler, read_job
from barfuncs.filling.record import digest_of
from barfuncs.templates.registry import TEMPLATES
from barfuncs.templates.shop import Shop
from barfuncs.xlsx.sheetxml import Value

OwnMaterials = tuple[tuple[str, float], ...]
"""Names of materials with their densities in g/cm3."""


def with_own(table: materials.Materials, own: OwnMaterials) -> materials.Materials:
    """The table with materials that come before those of the same name."""
    rows = [materials.MaterialRow(name, "", (), density, "your own", None, "", False, "") for name, density in own]
    return table.extended(rows) if rows else table


@dataclass(frozen=True, eq=False)
class Setup:
    """What all rows of a list have in common: the template's name, and what their values are read with."""

    template: str
    shop: Shop | None
    table: materials.Materials
    units: str | None
    decimal_comma: bool

    @functools.cached_property
    def ground(self) -> str:
        """A digest of all this."""
        said = [_template_digest(self.template, self.shop), digest_of(repr(self.table.rows).encode()), self.units, self.decimal_comma]
        return digest_of(json.dumps(said).encode())

    def said_by(self, values: Mapping[str, Any], own: OwnMaterials = ()) -> str:
        """A digest of what a row says, before anybody reads it, and of all this."""
        return digest_of(json.dumps([self.ground, values, *own], sort_keys=True, default=repr).encode())

    def with_own(self, own: OwnMaterials) -> "Setup":
        """The same with the materials that a row brings along."""
        return replace(self, table=with_own(self.table, own)) if own else self


@dataclass(frozen=True, slots=True)
class Task:
    """A row to work on. `kept` is what the workbook was made from that is there already, "" for none; `settled` says that
    bare numbers without a word on their unit are inches."""

    row: int
    values: Mapping[str, Any]
    kept: str = ""
    settled: bool = False
    own: OwnMaterials = ()


@dataclass(slots=True)
class Answer:
    """What became of a row: its problems, or the workbook's content and what is to be told of it.

    Without either, the workbook that is there is made from the same, or, where `waits`, the unit of the row's numbers
    depends on the other rows. `number` is that of the quotation which the row is a line of, `quoted` what it says there, as JSON. `units` is "" where the row could not be read; `crash` is what nobody foresaw.
    """

    row: int
    units: str = ""
    as_inch: bool = False
    waits: bool = False
    problems: list[tuple[str, str]] = field(default_factory=list)
    said: str = ""
    made_from: str = ""
    but_name: str = ""
    data: bytes = b""
    digest: str = ""
    copy: bytes = b""
    copy_digest: str = ""
    number: str = ""
    quoted: str = ""
    values: dict[str, Value] = field(default_factory=dict)
    crash: BaseException | None = None


def work_on(setup: Setup, task: Task) -> Answer:
    """Read a row, and fill and calculate its workbook unless that is there already or has to wait."""
    answer = Answer(task.row)
    given, setup = setup, setup.with_own(task.own)
    try:
        inputs, answer.as_inch = read_job(task.values, setup.template, units=setup.units, decimal_comma=setup.decimal_comma,
                                          table=setup.table, shop=setup.shop)
        answer.units = str(inputs["units"])
        if answer.as_inch and not task.settled:
            answer.waits = True
            return answer
        answer.said = given.said_by(task.values, task.own)
        answer.made_from, answer.but_name = _ground_of(setup, inputs)
        if answer.made_from != task.kept:
            _fill(setup, inputs, answer)
    except InputError as error:
        answer.problems = list(error.problems)
    return answer


def _fill(setup: Setup, inputs: Mapping[str, Value], answer: Answer) -> None:
    filled = filler(setup.template, setup.shop).fill(inputs, setup.table)
    template = TEMPLATES[setup.template]
    if template.stop_is_problem and filled.answers["stops"]:
        raise InputError(setup.template, [("job", str(filled.answers["stops"]).strip())])
    answer.values = template.values_for_results(filled.inputs, filled.answers, filled.checks, setup.shop)
    says = template.for_customer
    answer.number = str(filled.inputs.get(says.number) or "") if says else ""
    if says and answer.number:
        answer.quoted = json.dumps(says.said(filled.inputs, filled.answers)) if filled.is_ready else ""
    else:
        answer.copy = filled.customer_copy() if filled.page and filled.is_ready else b""
    answer.copy_digest = digest_of(answer.copy) if answer.copy else ""
    answer.data, answer.digest = filled.data, digest_of(filled.data)


def _ground_of(setup: Setup, inputs: Mapping[str, Value]) -> tuple[str, str]:
    """What a workbook is made from, as a digest; and the same without what the job is called."""
    material = str(inputs.get("material"))
    known = repr(setup.table[material]) if material in setup.table else ""

    def digest(values: Mapping[str, Value]) -> str:
        return digest_of(json.dumps([_template_digest(setup.template, setup.shop), known, values], sort_keys=True).encode())

    return digest(inputs), digest({name: value for name, value in inputs.items() if name not in TEMPLATES[setup.template].names_file})


@functools.lru_cache(maxsize=8)
def _template_digest(template: str, shop: Shop | None) -> str:
    """A digest of the blank template with the shop's data in it."""
    with zipfile.ZipFile(io.BytesIO(TEMPLATES[template].build(shop))) as archive:
        parts = [(name, digest_of(archive.read(name))) for name in archive.namelist()]
    return digest_of(json.dumps([barfuncs.__version__, parts]).encode())
