"""Every formula of filled workbooks in other spreadsheet programs: all cells of all sheets, not only the named ones.

The stored values, which the headless engine has worked out, must be what each program gives: numbers within 1e-9, texts
alike, errors of the same kind. `differences` and `judges` do the work; here they are shown to be alive as well.
"""

import fnmatch
import io
import math
import random
import re
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from agreement import sets_of
from formula_cases import OWN_FILE
from job_generator import BAD_IN_A_QUOTE, BAD_VALUES, GOOD_INPUTS, good_job, good_quote
from judges import JUDGES, MARKED, Content, Values, content, named_cells, without_values
from template_forms import in_the_sheet

import barfuncs as bf
from barfuncs.errors import InputError
from barfuncs.filling.filler import fill
from barfuncs.filling.lists import plan_jobs, read_jobs
from barfuncs.surfaces import names
from barfuncs.surfaces.ready_made import READY_MADE
from barfuncs.templates import shop
from barfuncs.templates.registry import TEMPLATES
from barfuncs.templates.shop import Shop, read_shop
from barfuncs.xlsx.engine import Workbook
from barfuncs.xlsx.package import pack, read_parts, worksheets
from barfuncs.xlsx.sheetxml import CellError, SheetXML, Value

EXAMPLES = Path(__file__).parent.parent / "examples"
REL = 1e-9

SMALL_DIFFERENCES = {
    "plan_length_balance": ("use_bar_length", "lengths that cancel out: what is left are last bits"),
    "plan_weight_balance": ("plan_total_weight", "weights that cancel out: what is left are last bits"),
    "quote_change_share_*": (1.0, "a share of the price, for the same reason"),
    "quote_change_*": ("quote_price_if_now", "a difference of two prices that are nearly the same"),
    "quote_scrap_credit_*": ("quote_material_cost_*", "bar that is neither part nor remnant nor chip: last bits times a price"),
    "quote_margin_[1-6]": (1.0, "1 less a quotient: near 0 for a price at cost"),
}
"""Where a difference of numbers that are nearly alike is judged by what it is made of: by name, by what, and why."""



@dataclass(frozen=True)
class Book:
    """A workbook with its stored values, and what each program is given."""

    data: bytes
    bare: bytes
    content: Content
    scales: dict[str, float]

    @classmethod
    def of(cls, data: bytes) -> "Book":
        names = named_cells(data)
        found, scales = content(data), {}
        for name, cell in names.items():
            pattern = next((p for p in SMALL_DIFFERENCES if fnmatch.fnmatchcase(name, p)), None)
            if pattern:
                of = SMALL_DIFFERENCES[pattern][0]
                value = of if isinstance(of, float) else found.stored[names[of.replace("*", name.removeprefix(pattern.rstrip("*")))]]
                # A what-if without a price has a return all the same: it is judged by a unit of money.
                scales[cell] = value if isinstance(value, float) else 1.0
        return cls(data, without_values(data), found, scales)


def differences(book: Book, theirs: Values) -> list[str]:
    """The cells whose stored value is not what a program gives."""
    ours = book.content.stored
    return [f"{cell}: stored {ours.get(cell)!r}, calculated {theirs.get(cell)!r}, ={book.content.formulas.get(cell)}"
            for cell in sorted({*ours, *theirs})
            if cell not in ours or cell not in theirs or not same(ours[cell], theirs[cell], book.scales.get(cell, 0.0))]


def same(ours: Value, theirs: Value, scale: float) -> bool:
    if isinstance(ours, float) and isinstance(theirs, float):
        return math.isclose(ours, theirs, rel_tol=REL, abs_tol=REL * abs(scale))
    return type(ours) is type(theirs) and ours == theirs


# --- the workbooks -------------------------------------------------------------------------------------------------


@cache
def the_shop() -> Shop:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "shop.xlsx"
        path.write_bytes(shop.build())
        return read_shop(path)


@cache
def examples() -> dict[str, Book]:
    """The example jobs planned, the example quotes with the shop file."""
    books: dict[str, Book] = {}
    with tempfile.TemporaryDirectory() as folder:
        for template, file, own_shop in (("job_plan", "jobs.csv", None), ("quote", "quotes.csv", the_shop())):
            outcome = plan_jobs(read_jobs(EXAMPLES / file, template), Path(folder) / template, template=template, shop=own_shop)
            assert not outcome.problems
            books |= {path.name: Book.of(path.read_bytes()) for path in sorted((Path(folder) / template).glob("*.xlsx"))
                      if path.name != "results.xlsx"}
    return books


@cache
def generated() -> dict[str, Book]:
    """50 plans and 50 quotes, half of them from the shop file."""
    rng, books = random.Random(2026), {}
    while len(books) < 100:
        n = len(books)
        template, own_shop = ("job_plan", "quote")[n % 2], the_shop() if n // 2 % 2 else None
        job = good_job(rng) if template == "job_plan" else good_quote(rng)
        try:
            filled = fill(template, from_shop(rng, job, own_shop) if own_shop else job, shop=own_shop)
        except InputError:  # no whole part fits, or the shop has no price for it
            continue
        books[f"{template} {n}"] = Book.of(filled.data)
    return books


SHOP_GIVES = ("face_to_cutoff", "grip_length", "feeder_longest_bar", "bar_change_time", "machine_rate", "setup_rate", "material_price",
              "price_per", "chip_price", "remnant_price", "margin", "markup", "rounding", "scrap_rate", "efficiency", "minimum_charge",
              "cut_charge", "other_per_part", "other_per_order", "tooling", "top_speed", "max_feed", "feeder_bars")


def from_shop(rng: random.Random, job: dict[str, Any], own_shop: Shop) -> dict[str, Any]:
    """The job on a lathe of the shop, in a material that it has a price for; most of what the shop knows is left blank."""
    price, machine = rng.choice(own_shop.prices), rng.choice(own_shop.machines)
    job = {n: v for n, v in job.items() if n not in (*SHOP_GIVES, "part_weight")
           or (n not in ("material_price", "price_per", "margin", "markup", "part_weight") and rng.random() < 0.2)}
    job |= {"machine": machine.name, "material": price.material}
    if price.size and rng.random() < 0.6:
        job |= {"shape": price.shape or "round", "size": price.size * (25.4 if job["units"] == "mm" else 1)}
        job.pop("thickness", None)
        if job["shape"] in ("flat", "tube", "hexagon tube"):
            job["thickness"] = job["size"] / 4
    return job


@cache
def odd() -> dict[str, Book]:
    """The blank templates, and sheets with a bad value in a cell."""
    books = {}
    for name in ("shop", "rack", *TEMPLATES):
        book = Workbook(READY_MADE[name](), direct=True)
        book.calculate()
        books[f"blank {name}"] = book.to_bytes()
    unusual = {"material": (0.284,), "machine": ("Lathe 77",), "size": (0.1 + 0.2,)}
    alone = {"tool_2_parts_on_edge": (300.0, -1.0, True), "parts_bin": ("x",), "chip_bin_count": (20.0,)}
    for template, bad in (("job_plan", BAD_VALUES), ("quote", BAD_IN_A_QUOTE), ("job_plan", unusual), ("quote", unusual), ("job_plan", alone)):
        for name, value in ((n, v) for n, values in bad.items() for v in values):
            put = GOOD_INPUTS[template] | {name: value}
            books[f"{template}, {name} {value!r}"] = in_the_sheet(template, put).to_bytes({TEMPLATES[template].form.cells[n]: v for n, v in put.items()})
    return {label: Book.of(data) for label, data in books.items()}


SETS: dict[str, Callable[[], dict[str, Book]]] = {"examples": examples, "odd": odd, "generated": generated}


# --- what the programs say -----------------------------------------------------------------------------------------


class Verdicts:
    """What the programs say to each set of workbooks. They work side by side: most of the time is theirs."""

    def __init__(self, pool: ThreadPoolExecutor, programs: list[str]) -> None:
        self._pool, self._programs = pool, programs
        self._asked: dict[str, dict[str, Future[dict[str, Values]]]] = {}

    def of(self, program: str, label: str) -> dict[str, Values]:
        if label not in self._asked:
            bare = {name: book.bare for name, book in SETS[label]().items()}
            self._asked[label] = {p: self._pool.submit(JUDGES[p], bare) for p in self._programs}
        return self._asked[label][program].result()


@pytest.fixture(scope="module")
def verdicts(request: pytest.FixtureRequest) -> Iterator[Verdicts]:
    from conftest import PROGRAMS

    there = [p for p in JUDGES if p.lower() not in PROGRAMS or PROGRAMS[p.lower()][1]()]
    asked = {item.callspec.params.get("program") for item in request.session.items if hasattr(item, "callspec")}
    there = [p for p in there if p in asked]
    with ThreadPoolExecutor(len(JUDGES)) as pool:
        yield Verdicts(pool, there)


# --- the tests -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("label", ["examples", *(pytest.param(label, marks=pytest.mark.slow) for label in ("odd", "generated"))])
@pytest.mark.parametrize("program", MARKED)
def test_every_stored_value_is_what_another_program_gives(program: str, label: str, verdicts: Verdicts) -> None:
    books, theirs = SETS[label](), verdicts.of(program, label)
    assert list(theirs) == list(books)
    found = {name: differences(book, theirs[name]) for name, book in books.items()}
    assert {name: lines[:20] for name, lines in found.items() if lines} == {}


@pytest.mark.parametrize(("label", "least"), [("examples", 12_000), *(
    pytest.param(*case, marks=pytest.mark.slow) for case in (("odd", 15_000), ("generated", 40_000)))])
def test_every_formula_has_a_value_and_the_programs_get_none(label: str, least: int) -> None:
    books = SETS[label]()
    assert sum(len(book.content.stored) for book in books.values()) > least
    for name, book in books.items():
        assert None not in book.content.stored.values(), name
        bare = content(book.bare)
        assert set(bare.stored.values()) <= {None}, name
        assert (bare.formulas, bare.plain) == (book.content.formulas, book.content.plain), name


@pytest.mark.slow
def test_what_is_stored_is_no_leftover_of_the_engine() -> None:
    """A formula that is put in and not calculated reads #ERROR! in the engine: as a text, which no error check notices."""
    for book in (*examples().values(), *odd().values()):
        texts = [v for v in book.content.stored.values() if isinstance(v, str) and not isinstance(v, CellError)]
        assert [t for t in texts if t.startswith("#")] == []


@pytest.mark.slow
def test_the_books_are_worth_something() -> None:
    """Numbers, texts, blank texts and errors, in every template."""
    for template in TEMPLATES:
        values = [v for name, book in {**examples(), **odd()}.items() for v in book.content.stored.values()
                  if template in name or (template == "quote") == name.startswith("27-")]
        kinds = {type(v) for v in values}
        assert {float, str, CellError} <= kinds
        assert "" in values
    errors = {v for book in odd().values() for v in book.content.stored.values() if isinstance(v, CellError)}
    assert "#N/A" in errors


IN_DIFFERENT_WAYS = {
    "N": "of a blank cell it is 0, or an error", "T": "of a blank cell it is a blank text, or a blank cell",
    "TEXT": "its format is read in the language of the program, and half a step goes up or down",
}
"""Functions of which programs make different things, and what."""


@pytest.mark.parametrize("name", ["shop", "rack", "buy_list", *TEMPLATES])
def test_no_formula_rests_on_what_programs_take_in_different_ways(name: str) -> None:
    formulas = content(READY_MADE[name]()).formulas
    plain = {cell: re.sub(r'"(?:[^"]|"")*"', '""', formula) for cell, formula in formulas.items()}
    for function, reason in IN_DIFFERENT_WAYS.items():
        assert [cell for cell, formula in plain.items() if re.search(rf"(?<![\w.]){function}\(", formula)] == [], reason
    # A rounded number that is joined to a text shows up to 20 digits: number_text and fixed_text of model.py instead.
    assert {cell: formula for cell, formula in plain.items() if "&ROUND(" in formula} == {}


def test_every_small_difference_that_is_listed_is_there() -> None:
    names = {name for template in TEMPLATES for name in named_cells(READY_MADE[template]())}
    for pattern, (of, reason) in SMALL_DIFFERENCES.items():
        assert fnmatch.filter(names, pattern), pattern
        assert isinstance(of, float) or fnmatch.filter(names, of)
        assert len(reason) > 20


# --- the functions as names ----------------------------------------------------------------------------------------


def with_brackets(data: bytes) -> bytes:
    """Optional parameters of LAMBDA as people type them, [x]. A file has _xlop.x there, which formulon does not know."""
    parts = read_parts(data)
    parts["xl/workbook.xml"] = re.sub(rb"_xlop\.(\w+)", rb"[_xlpm.\1]", parts["xl/workbook.xml"])
    return pack(parts)


def calls_of_names() -> bytes:
    """Good and bad calls of every function that can be a name; what is None is left out between its commas."""
    book = openpyxl.Workbook()
    cases = []
    for entry in names.named_functions():
        of_kind = {kind: [s.case for s in sets_of(entry) if s.kind == kind] for kind in ("good", "missing", "bad")}
        cases += [*of_kind["good"][:15], *of_kind["missing"][:5], *of_kind["bad"][:8]]
    for row, case in enumerate(cases, start=1):
        arguments = ",".join("" if v is None else '"' + v.replace('"', '""') + '"' if isinstance(v, str) else repr(v) for v in case.values)
        book.worksheets[0].cell(row, 1, f"={case.entry.cell_name}({arguments})")
    buffer = io.BytesIO()
    book.save(buffer)
    return pack(names.add_names(buffer.getvalue()))


@pytest.fixture
def own_material(tmp_path: Path) -> Iterator[None]:
    """What the sets are drawn with; those with the material of its own are left out again."""
    (tmp_path / "own.csv").write_text(OWN_FILE, encoding="utf-8")
    bf.use_materials(tmp_path / "own.csv")
    yield
    bf.use_materials(None)


@pytest.mark.slow
@pytest.mark.usefixtures("own_material")
@pytest.mark.parametrize("build", [READY_MADE["function_tour"], calls_of_names], ids=["function tour", "calls"])
def test_the_names_give_in_another_program_what_they_give_in_the_engine(build: Callable[[], bytes]) -> None:
    """LibreOffice 7.4 and Gnumeric know no LAMBDA."""
    engine = Workbook(build())
    engine.calculate()
    book = Book.of(engine.to_bytes())
    kinds = Counter(type(value) for value in book.content.stored.values())
    assert kinds[float] > 40
    theirs = JUDGES["formulon"]({"names": with_brackets(book.bare)})["names"]
    assert differences(book, theirs)[:20] == []


# --- the check is alive --------------------------------------------------------------------------------------------

_Fault = tuple[Callable[[Value], bool], Callable[[Any], Value]]


def _number(value: Value) -> bool:
    return isinstance(value, float) and value > 1


def _error(value: Value) -> bool:
    return isinstance(value, CellError)


def _words(value: Value) -> bool:
    return isinstance(value, str) and len(value) > 3 and not _error(value)


FAULTS: dict[str, _Fault] = {
    "a number off by 1e-8": (_number, lambda v: v * (1 + 1e-8)),
    "a number as text": (_number, lambda v: f"{v:.15g}"),
    "an error for a number": (_number, lambda _: CellError("#N/A")),
    "a number for an error": (_error, lambda _: 0.0),
    "another error": (_error, lambda _: CellError("#VALUE!")),
    "an error as text": (_error, str),
    "a letter more": (_words, lambda v: f"{v}."),
    "a text for a blank one": (lambda v: v == "", lambda _: " "),
    "a zero for a blank text": (lambda v: v == "", lambda _: 0.0),
}
"""Of which values each fault is made, and how."""
PLANTED = "27-0102_KM-8-031.xlsx"


def planted(fault: str) -> tuple[Book, str]:
    """An example with one wrong stored value, and the cell."""
    book, (fits, change) = examples()[PLANTED], FAULTS[fault]
    cell = random.Random(fault).choice([c for c, v in book.content.stored.items() if fits(v) and c not in book.scales])
    parts = read_parts(book.data)
    title, _, ref = cell.rpartition("!")
    part = next(sheet.part for sheet in worksheets(PLANTED, parts) if sheet.name == title)
    parts[part] = SheetXML(parts[part]).with_values({ref: change(book.content.stored[cell])})
    return Book.of(pack(parts, level=1)), cell


def cells_of(found: list[str]) -> list[str]:
    return [line.partition(": ")[0] for line in found]


@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("program", MARKED)
def test_a_wrong_stored_value_is_found(program: str, fault: str, verdicts: Verdicts) -> None:
    book, cell = planted(fault)
    assert cells_of(differences(book, verdicts.of(program, "examples")[PLANTED])) == [cell]


def test_a_cell_too_many_or_too_few_is_found() -> None:
    book = examples()[PLANTED]
    stored = book.content.stored
    first, *others = stored
    assert differences(book, stored) == []
    assert cells_of(differences(book, {cell: stored[cell] for cell in others})) == [first]
    assert cells_of(differences(book, {**stored, "Costing!Z99": 1.0})) == ["Costing!Z99"]


@pytest.mark.parametrize("program", MARKED)
def test_a_program_shows_nothing_that_was_stored_and_calculates_the_formulas_it_gets(program: str) -> None:
    stored, cell = planted("a number off by 1e-8")
    price = named_cells(stored.data)["quote_price_1"]
    title, _, ref = price.rpartition("!")
    parts = read_parts(stored.bare)
    part = next(sheet.part for sheet in worksheets("bare", parts) if sheet.name == title)
    parts[part], count = re.subn(rb'(<c r="%s"[^<>]*><f>)' % ref.encode(), rb"\g<1>1+", parts[part])
    assert count == 1
    theirs = JUDGES[program]({"stored": stored.bare, "formula": pack(parts)})
    assert cells_of(differences(stored, theirs["stored"])) == [cell]
    found = differences(examples()[PLANTED], theirs["formula"])
    assert price in cells_of(found)
    assert 1 < len(found) < 60  # the price and what rests on it
