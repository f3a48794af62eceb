"""Quotes that were made before, once more with another shop file: their own inputs, new prices, and what became of each price."""

import datetime
import itertools
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import Any

from barfuncs.catalogue import materials
from barfuncs.errors import BarfuncsError, InputError, WorkbookError, shown
from barfuncs.filling import lists
from barfuncs.filling.filler import read_inputs
from barfuncs.filling.lists import MOST_ROWS, Job, Outcome, plan_jobs
from barfuncs.filling.one_row import OwnMaterials, with_own
from barfuncs.filling.record import REQUOTE_FILES, RESULT_FILES
from barfuncs.filling.weighing import Scales, Weighed, scales
from barfuncs.functions.cost import price_at_margin, price_at_markup
from barfuncs.templates.model import LOOK
from barfuncs.templates.registry import TEMPLATES
from barfuncs.templates.shop import RATES, Shop
from barfuncs.templates.shop_sheet import names_of_sheet, read_sheet
from barfuncs.xlsx.named_cells import NamedCells, read_all
from barfuncs.xlsx.sheetxml import CellError, Value
from barfuncs.xlsx.typed_formulas import alike, stored_otherwise
from barfuncs.xlsx.typed_formulas import shown as amount

TEMPLATE = "quote"
MATERIAL_RATES = ("chip_price", "remnant_price", "minimum_charge", "cut_charge", "certificate_fee", "material_freight")
"""Rates that count as the price of material, besides the sheet Materials and prices."""
HOUR_RATES = ("machine_rate", "setup_rate", "inspection_rate")
"""Rates for an hour, of the machine or of the shop."""
_OF_THE_SHOP = tuple(dict.fromkeys(("material_price", "material_surcharge", *HOUR_RATES, *(c.name for c in RATES))))
"""Inputs that are prices, rates and rules of the shop, in which a quote's own cell keeps the shop's figure out."""
_QUANTITIES = range(1, 7)
_OWN_NAMES, _OWN_DENSITIES = "own_material_names", "own_material_densities"
_DIGITS = 6


@dataclass(frozen=True)
class OldQuote:
    """What a quote workbook holds: what is typed into it, its own sheet Shop and materials, and the prices that are stored."""

    path: Path
    inputs: Mapping[str, Value]
    own: OwnMaterials
    shop: Shop
    shop_file: str
    stored: Mapping[int, Value]
    formulas: tuple[str, ...]


@dataclass
class Requoted:
    """What came of a run: the outcome as of any list, its quotes by row with how they compare (None where one has problems),
    and workbooks of folders that are no quotes."""

    outcome: Outcome
    files: Sequence[Path]
    compared: Mapping[int, Mapping[str, Any]]
    left_out: Sequence[tuple[Path, str]]


class Interrupted(lists.Interrupted):
    """As that of lists; `requoted` has besides how the quotes compare."""

    def __init__(self, requoted: Requoted, number: int) -> None:
        super().__init__(requoted.outcome, number)
        self.requoted = requoted


class NotAQuote(WorkbookError):  # noqa: N818 - as its message goes on
    """A workbook that is something else."""


def find_quotes(given: Iterable[str | Path]) -> tuple[list[Path], set[Path]]:
    """The workbooks that are named, and those of the folders that are; the latter once more in the set.

    Raises InputError where there are none.
    """
    found: dict[Path, Path] = {}
    in_folders: set[Path] = set()
    for path in map(Path, given):
        if path.is_dir():
            here = sorted(p for p in path.iterdir() if p.is_file() and p.suffix.lower() == ".xlsx" and not p.name.startswith(("~$", "."))
                          and p.name.casefold() not in (*RESULT_FILES, *REQUOTE_FILES))
            if not here:
                raise InputError("requote", [("QUOTES", f"{path} holds no workbooks (.xlsx)")])
            in_folders |= {p for p in here if p.resolve() not in found}
        else:
            here = [path]
        for one in here:
            found.setdefault(one.resolve(), one)
    if not found:
        raise InputError("requote", [("QUOTES", "give quote workbooks, or folders of them")])
    if len(found) > MOST_ROWS:
        raise InputError("requote", [("QUOTES", f"{len(found):,} workbooks given; allowed are {MOST_ROWS:,}")])
    return list(found.values()), in_folders


def requote(quotes: Iterable[str | Path], shop: Shop, out: str | Path, *, replace: bool = False, table: materials.Materials | None = None,
            progress: Callable[[], None] | None = None, tell: Callable[[str], None] | None = None) -> Requoted:
    """Calculate quotes anew with another shop file: new workbooks in `out`, and the table requote.csv and requote.xlsx.

    What is typed into a quote stays; what it took from its own sheet Shop comes from `shop`. The old price is that of the
    quote's inputs and sheet Shop, worked out now. A quote that can't be read, or that a check stops, is among the problems.

    Parameters
    ----------
    quotes : paths
        Quote workbooks, or folders of them.
    progress : callable, optional
        Called three times for each workbook: when it is read, compared and written.

    Raises Interrupted as `plan_jobs` does, and WorkbookError where the folder can't be used.
    """
    quotes = list(quotes)
    paths, in_folders = find_quotes(quotes)
    folders = {path.resolve().parent for path in paths}
    if Path(out).resolve() in folders:
        raise InputError("requote", [("--out", "the quotes lie in this folder; choose another one")])
    table = table or materials.active()
    step = progress or (lambda: None)
    jobs: list[Job] = []
    read: dict[int, OldQuote] = {}
    left_out: list[tuple[Path, str]] = []
    files: list[Path] = []
    for path, told in zip(paths, read_all(paths, _wanted(), step), strict=True):
        try:
            if isinstance(told, WorkbookError):
                raise told
            quote = _old_quote(path, told, table)
        except NotAQuote as error:
            if path in in_folders:
                left_out.append((path, str(error)))
                continue
            quote, problem = None, str(error)
        except BarfuncsError as error:
            quote, problem = None, _in_words(error)
        files.append(path)
        if quote:
            read[len(files)] = quote
        else:
            jobs.append(Job(len(files), {}, problem or "", stem=path.stem))
    compared = _compare_all(read, shop, table, jobs, step)
    jobs.sort(key=lambda job: job.row)
    source = " ".join(dict.fromkeys(Path(quote).resolve().name for quote in quotes))[:_LONGEST_SOURCE]
    try:
        outcome = plan_jobs(jobs, out, template=TEMPLATE, source=f"requote of {source}", replace=replace, table=table, shop=shop,
                            progress=step, tell=tell)
    except lists.Interrupted as error:
        raise Interrupted(Requoted(error.outcome, files, compared, left_out), error.signal) from None
    return Requoted(outcome, files, compared, left_out)


_LONGEST_SOURCE = 60


def _wanted() -> list[str]:
    form = TEMPLATES[TEMPLATE].form
    columns = [f"{t.item}_{c.name}" for t in form.tables for c in t.columns]
    return [*form.inputs, *columns, *names_of_sheet(form), _OWN_NAMES, _OWN_DENSITIES, "quote_status", "plan_status",
            *(f"quote_price_{n}" for n in _QUANTITIES)]


# --- reading ---------------------------------------------------------------------------------------------------------


def _old_quote(path: Path, told: NamedCells, table: materials.Materials) -> OldQuote:
    form, cells = TEMPLATES[TEMPLATE].form, told.cells
    if "quote_status" not in cells or "quote_price_1" not in cells:
        if "plan_status" in cells:
            raise NotAQuote(f"{path.name} is a job plan, not a quote")
        raise NotAQuote(f"{path.name} is not a quote workbook: it has none of a quote's cells")
    values: dict[str, Any] = {}
    formulas: list[str] = []
    empty: list[str] = []
    places = {name: (form.cells[name], item) for name, item in form.all_inputs.items()}
    for name, (cell, item) in places.items():
        column, _, number = cell.rstrip("]").partition("[")
        held, n = cells.get(column, ()), int(number or 1) - 1
        value = _plain(held[n] if n < len(held) else None, item.kind.reader == "text", told.from_1904)
        if (column, n) in told.formulas:
            (empty if value is None else formulas).append(item.label.lower())
        values[name] = value
    problems = [("formulas", f"no value is stored for that in {label}: open the file in a spreadsheet program and save it") for label in empty]
    for table_ in form.tables:
        more = max((len(cells.get(f"{table_.item}_{c.name}", ())) for c in table_.columns), default=0)
        if any(v is not None for c in table_.columns for v in list(cells.get(f"{table_.item}_{c.name}", ()))[table_.rows:more]):
            problems.append((table_.label, f"has more than {table_.rows} rows"))
    if problems:
        raise InputError(path.name, problems)
    own = _own_materials(cells)
    full = with_own(table, own)
    named = {name for name in ("material",) if isinstance(values.get(name), str)}
    job = full[values["material"]].name if named and values["material"] in full else None
    plain = {name: [_plain(v, False, told.from_1904) for v in held] for name, held in cells.items()}
    shop = read_sheet(form, plain, full, leave_out=[name for name, _ in own if name != job])
    inputs = read_inputs({name: value for name, value in values.items() if value is not None}, TEMPLATE, table=full, shop=shop)
    said = str(plain.get("shop_file", [None])[0] or "").removeprefix("Worked out ").removeprefix("with the shop file ").rstrip(".")
    stored = {n: _plain((cells.get(f"quote_price_{n}") or [None])[0], False, told.from_1904) for n in _QUANTITIES}
    return OldQuote(path, inputs, own, shop, said, stored, tuple(formulas))


def _plain(value: Any, text: bool, from_1904: bool) -> Any:
    """What a cell holds, as a job's inputs take it: a day is a text where one is asked for, else its number."""
    if not isinstance(value, dict):
        return value
    if "error" in value:
        return CellError(value["error"])
    if "date" in value:
        return str(value["date"])[:10] if text else value["date"]
    if not text:
        return value["day"]
    from openpyxl.utils import datetime as dates

    try:
        day = dates.from_excel(value["day"], dates.CALENDAR_MAC_1904 if from_1904 else dates.CALENDAR_WINDOWS_1900)
    except (ValueError, OverflowError):
        return value["day"]
    return day.strftime("%Y-%m-%d") if isinstance(day, datetime.datetime) else str(value["day"])


def _own_materials(cells: Mapping[str, Sequence[Any]]) -> OwnMaterials:
    found = []
    for n, (name, density) in enumerate(zip(cells.get(_OWN_NAMES, ()), cells.get(_OWN_DENSITIES, ()), strict=False), start=1):
        if name is None and density is None:
            continue
        if not isinstance(name, str) or isinstance(density, (bool, str, dict)) or density is None:
            raise InputError("Materials", [(f"row {n} of your own", f"{shown(name)}, {shown(density)}: give a name and a density in g/cm3")])
        found.append((name, float(density)))
    return tuple(found)


def _in_words(error: Exception) -> str:
    if not isinstance(error, InputError):
        return str(error)
    return "; ".join(f"{name}: {reason}" for name, reason in error.problems)


# --- comparing -------------------------------------------------------------------------------------------------------


def steps(old: Shop, new: Shop) -> tuple[Shop, Shop, Shop, Shop]:
    """The old shop, with the new prices of material, with the new rates too, and the new shop."""
    like_old = new.in_units(old.units)
    material = replace(old, prices=like_old.prices, rates=replace(old.rates, **{n: getattr(like_old.rates, n) for n in MATERIAL_RATES}))
    new_machines = {m.name.casefold(): m for m in like_old.machines}

    def with_rates(machine: Any) -> Any:
        same = new_machines.get(str(machine.name).casefold())
        return replace(machine, machine_rate=same.machine_rate, setup_rate=same.setup_rate) if same else machine

    rate = replace(material, machines=tuple(map(with_rates, material.machines)),
                   rates=replace(material.rates, inspection_rate=like_old.rates.inspection_rate))
    return old, material, rate, new


def _compare_all(quotes: Mapping[int, OldQuote], new: Shop, table: materials.Materials, jobs: list[Job],
                 step: Callable[[], None]) -> dict[int, Mapping[str, Any]]:
    """How each quote compares, by row; for each its job is added."""
    compared: dict[int, Mapping[str, Any]] = {}
    if not quotes:
        return compared
    weighed_on = scales(TEMPLATE, [new, *(quote.shop for quote in quotes.values())], ("markup",))
    # Quotes of the same shop one after the other: what is in the cells stays there.
    for row in sorted(quotes, key=lambda row: (repr(quotes[row].shop.rates), row)):
        quote = quotes[row]
        given = {name: value for name, value in quote.inputs.items() if value is not None}
        try:
            compared[row] = compare(weighed_on, quote, new, table)
            jobs.append(Job(row, given, "", quote.own, quote.path.stem, json.dumps(compared[row])))
        except InputError as error:
            jobs.append(Job(row, given, _in_words(error), quote.own, quote.path.stem))
        step()
    return compared


def compare(on: Scales, quote: OldQuote, new: Shop, table: materials.Materials) -> dict[str, Any]:
    """How the prices of a quote change. Raises InputError where there is no price then or now."""
    full = with_own(table, quote.own)
    shops = steps(quote.shop, new)
    found: list[Weighed] = []
    for n, shop in enumerate(shops):
        same = found and shop.without_file() == replace(shops[n - 1], file=None, speeds=shop.speeds, letterhead=shop.letterhead)
        found.append(found[-1] if same else on.weigh(quote.inputs, shop, full))
    old, last = found[0], found[-1]
    if old.problems:
        raise InputError(TEMPLATE, [(name, f"{reason} (in the quote as it is)") for name, reason in old.problems])
    if missing := _not_there(quote, old, last, new):
        raise InputError(TEMPLATE, missing)
    if last.problems:
        raise InputError(TEMPLATE, [(name, f"{reason} (with the new shop file)") for name, reason in last.problems])
    currencies = [str(weighed.answers["currency_shown"] or "") for weighed in (old, last)]
    said = [currency for currency in dict.fromkeys(currencies) if currency]
    another = len(said) > 1
    if another and (amounts := _amounts_typed(quote)):
        raise InputError(TEMPLATE, [("currency", f"{currencies[0]} then, {currencies[1]} now, but typed in the quote are amounts in {currencies[0]}: "
                                                 f"{', '.join(amounts)}; nothing is converted")])
    lines, looks = [], []
    for n in _QUANTITIES:
        if quote.inputs[f"quantity_{n}"] is None:
            continue
        lines.append(_line(n, quote, found, not another))
        if otherwise := stored_otherwise(quote.stored[n], old.answers[f"price_{n}"]):
            looks.append(f"price at quantity {n}: {otherwise}")
    notes = [f"{LOOK} {'; '.join(looks)}"] if looks else []
    if another:
        notes.append(f"{LOOK} {currencies[0]} then, {currencies[1]} now: not compared")
    elif currencies[0] != currencies[1]:
        notes.append(f"{LOOK} {currencies[0] or 'no currency'} then, {currencies[1] or 'none'} now: compared as the same")
    for name, label in (("setup_line", "set-up, once"), ("tooling_line", "tooling, once")):
        if not alike(old.answers[name], last.answers[name]):
            notes.append(f"{label}: {amount(old.answers[name])} then, {amount(last.answers[name])} now")
    if any(weighed.problems for weighed in found[1:-1]):
        notes.append("what changed can't be told apart")
    if quote.formulas:
        notes.append(f"typed as a formula, taken as its value: {', '.join(quote.formulas)}")
    typed = _typed(quote, last, new)
    return {**{name: quote.inputs[name] for name in ("job", "quote_number", "customer", "part_number")}, "quote": quote.path.name,
            "currency": " ".join(said) or None,
            "typed": f"{', '.join(typed)}: typed in the quote, not changed" if typed else None, "note": "; ".join(notes) or None,
            "shop_file": quote.shop_file or None, "lines": lines}


def _line(n: int, quote: OldQuote, found: Sequence[Weighed], same_currency: bool) -> list[float | None]:
    """Prices then and now, and what of the difference comes from what: each share before rounding, one after the other, and
    what rounding makes of them. The shares as they are written add up to the difference."""
    old, last = found[0].answers, found[-1].answers
    was, now = (Decimal(repr(round(float(a[f"price_{n}"]), 10))) for a in (old, last))  # type: ignore[arg-type]
    totals = [float(a[f"value_{n}"]) for a in (old, last)]  # type: ignore[arg-type]
    quantity = float(quote.inputs[f"quantity_{n}"])  # type: ignore[arg-type]
    shares: list[float | None] = [None] * 6
    if same_currency:
        difference = now - was
        shares = [float(difference), round(float(100 * difference / was), 4) if was else None, None, None, None, None]
        exact = [_before_rounding(weighed, n) for weighed in found]
        if None not in exact:
            parts = [Decimal(repr(round(b - a, _DIGITS))) for a, b in itertools.pairwise(exact)]  # type: ignore[operator]
            shares[2:] = [float(part) + 0.0 for part in (*parts, difference - sum(parts))]
    return [quantity, float(was), float(now), *shares, *totals]


def _before_rounding(weighed: Weighed, n: int) -> float | None:
    """The price each before it is rounded, or None where there is none."""
    cost, margin, markup = weighed.answers[f"cost_each_{n}"], weighed.answers["margin_counted"], weighed.used["markup"]
    if not all(isinstance(value, float) for value in (cost, margin, markup)):
        return None
    return float(price_at_markup(price_at_margin(cost, margin), markup))


def _not_there(quote: OldQuote, old: Weighed, last: Weighed, new: Shop) -> list[tuple[str, str]]:
    """What the quote takes from its shop and the new one does not have. No other is offered."""
    name = new.file.name if new.file else "the new shop"
    found = []
    machine = quote.inputs["machine"]
    if machine is not None and not last.answers["machine_row"]:
        found.append(("machine", f"{machine} is not in {name}"))
    if quote.inputs["material_price"] is None and old.offered["price_row"] and not last.offered["price_row"]:
        bar = f"{quote.inputs['shape']} {quote.inputs['size'] or ''}".strip()
        found.append(("material", f"{quote.inputs['material']}, {bar}, has no price in {name}"))
    return found


def _typed(quote: OldQuote, last: Weighed, new: Shop) -> list[str]:
    """Prices and rates that are typed in the quote though the new shop has another one."""
    items = TEMPLATES[TEMPLATE].form.inputs
    found = []
    for name in _OF_THE_SHOP:
        item, value, offered = items[name], quote.inputs[name], last.offered[name]
        if value is None:
            continue
        if name in ("margin", "markup"):  # each keeps the other out
            pair = (quote.inputs["margin"] or 0, quote.inputs["markup"] or 0)
            shops = (new.rates.margin or 0, new.rates.markup or 0)
            other = any(shops) and pair != shops
        elif name == "material_price" and last.offered["price_row"] and offered == "":
            other = True  # by another basis
        else:
            other = offered != "" and not isinstance(offered, CellError) and not alike(offered, value)
        if other:
            found.append(item.label.lower())
    if quote.inputs.get("bracket_1_price") is not None and last.offered["price_row"]:
        found.append("price brackets of the material")
    return found


def _amounts_typed(quote: OldQuote) -> list[str]:
    """Amounts of money that stand in the quote's own cells."""
    items = TEMPLATES[TEMPLATE].inputs
    return list(dict.fromkeys(items[name].label.lower() for name, value in quote.inputs.items() if value and items[name].kind.name == "money"))
