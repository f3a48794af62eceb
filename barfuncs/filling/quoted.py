"""Several quotes as one quotation: what holds for all of it must not differ between its lines."""

import datetime
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

from barfuncs.errors import InputError
from barfuncs.filling.quotation_data import Quotation, QuotedLine, QuotedQuantity
from barfuncs.templates.quote.inputs import OF_THE_SHOP
from barfuncs.templates.shop import Letterhead

Said = Mapping[str, Any]
"""What one source says, by the names of a quotation, with its lines as `lines`."""

MOST_LINES = 200
MOST_QUANTITIES = 20
_NAMES = tuple(f.name for f in fields(Quotation) if f.name not in ("lines", "logo", "paper", "remark", "minimum"))
_CALLED = {"number": "quote number", "seller": "your company", "seller_address": "your address", "seller_contact": "contact",
           "customer_address": "customer's address", "reference": "customer's reference", "valid_until": "valid until",
           "freight": "freight charged", "tax_note": "tax"}


@dataclass(frozen=True)
class Source:
    """A file or a row of a list, what it says, and what in it asks for a second look."""

    name: str
    said: Said
    looks: tuple[str, ...] = ()


def quotation_of(sources: Sequence[Source], letterhead: Letterhead | None = None, number: str = "") -> Quotation:
    """One quotation of all lines, in their order. A `letterhead` stands in for what none of them says; `number` comes before theirs.

    Raises InputError where they say different things of what stands once on a quotation, or where there is nothing to quote.
    """
    problems: list[tuple[str, str]] = []
    whole: dict[str, Any] = {}
    for name in _NAMES:
        found = _different(name, sources) if not (name == "number" and number) else []
        if len(found) > 1:
            said = "; ".join(f"{_shown(value)} in {source}" for value, source in found[:4])
            problems.append((_CALLED.get(name, name), f"differs: {said}"))
        whole[name] = found[0][0] if found else None if name == "freight" else ""
    if number:
        whole["number"] = number
    lines = [line for source in sources for line in _lines(source, problems)]
    if not lines and not problems:
        problems.append(("lines", "there is no line to quote"))
    if len(lines) > MOST_LINES:
        problems.append(("lines", f"{len(lines):,} lines; allowed is at most {MOST_LINES}"))
    if not whole["currency"] and not problems:
        problems.append(("currency", "is missing: fill it in, or give a shop file that names it"))
    if problems:
        raise InputError(f"quotation {whole['number']}".strip(), problems)
    minimums = {source.said.get("minimum") or 0 for source in sources}
    if len(minimums) == 1 and (minimum := minimums.pop()):  # of all alike: said once
        whole["minimum"] = minimum
        lines = [replace(line, quantities=tuple(replace(quantity, note="") for quantity in line.quantities)) for line in lines]
    remarks = {line.remark for line in lines}
    remark = _first("remark", sources)
    if len(remarks) == 1 and not remark:  # of one line, or the same of all: said once
        remark = remarks.pop()
        lines = [replace(line, remark="") for line in lines]
    paper = _first("paper", sources)
    logo = None
    if letterhead:
        for source, name in OF_THE_SHOP.items():
            whole[name] = whole[name] or getattr(letterhead, source) or ""
        whole["valid_until"] = whole["valid_until"] or _days_after(whole["date"], letterhead.valid_days)
        paper, logo = paper or letterhead.paper or "", letterhead.picture
    return Quotation(**whole, lines=tuple(lines), remark=remark, paper=paper or _first("usual_paper", sources) or "A4", logo=logo)


def _first(name: str, sources: Sequence[Source]) -> str:
    return str(next((source.said[name] for source in sources if source.said.get(name)), ""))


def _different(name: str, sources: Sequence[Source]) -> list[tuple[Any, str]]:
    """The values that there are for something that stands once on a quotation, each with the first source that says it."""
    found: dict[Any, str] = {}
    for source in sources:
        value = source.said.get(name)
        if value not in (None, ""):
            found.setdefault(value, source.name)
    return list(found.items())


def _lines(source: Source, problems: list[tuple[str, str]]) -> list[QuotedLine]:
    lines = []
    for said in source.said["lines"]:
        quantities = tuple(QuotedQuantity(**quantity) for quantity in said["quantities"])
        line = QuotedLine(**{**said, "quantities": quantities})
        if not quantities:
            problems.append((source.name, "has no quantity to quote"))
        elif len(quantities) > MOST_QUANTITIES:
            problems.append((source.name, f"has a line with {len(quantities)} quantities; allowed is at most {MOST_QUANTITIES}"))
        elif any(quantity.price <= 0 for quantity in quantities):
            problems.append((source.name, "has a quantity without a price"))
        if not line.description and not line.part_number and not line.drawing:
            problems.append((source.name, "does not say what the part is: fill in the part, its number or its drawing"))
        lines.append(line)
    return lines


def _shown(value: Any) -> str:
    return repr(value[:60] if isinstance(value, str) else value)


def _days_after(date: str, days: int | None) -> str:
    if not days or not re.fullmatch(r"\d{4}-\d\d-\d\d", date):
        return ""
    try:
        return (datetime.date.fromisoformat(date) + datetime.timedelta(days=int(days))).isoformat()
    except (ValueError, OverflowError):
        return ""
