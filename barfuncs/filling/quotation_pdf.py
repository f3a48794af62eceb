"""A quotation as a PDF: what the data class says, and nothing else."""

import dataclasses
import datetime
import math
import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from barfuncs.errors import InputError
from barfuncs.filling import logo
from barfuncs.filling.quotation_data import FREIGHT, MINIMUM, Quotation, QuotedLine, QuotedQuantity, total_of
from barfuncs.filling.strips import (
    BODY,
    ROW,
    SMALL,
    Block,
    Paper,
    Picture,
    Rule,
    Section,
    Strip,
    Words,
    beside,
    characters,
    clipped,
    width,
    wrap,
    write,
)
from barfuncs.templates.colors import ACCENT, INK, RULE, SOFT

PAPERS = {"a4": Paper(595.2756, 841.8898), "letter": Paper(612, 792)}
_ONE_OF = {"lines": "line", "quantities": "quantity"}
_LOGO = (190.0, 56.0)
_GAP = 9.0
_LABELS = 92.0
"""Room for the labels in front of terms and notes."""
_UNSEEN = dict.fromkeys((0xAD, *range(0x200B, 0x2010), 0x2060, 0xFEFF))
"""Marks for breaking and direction that nobody sees: left out."""
_TO_BREAKS = {0x2028: "\n", 0x2029: "\n", 0x0B: "\n", 0x0C: "\n", 0x85: "\n", 0x09: " "}


def pdf(quotation: Quotation) -> bytes:
    """The file; the same quotation gives the same bytes.

    Raises InputError that names everything that can't be shown: a character that the font lacks, a number that is none, a logo
    that can't be read, a quotation or a line with nothing in it.
    """
    problems: list[tuple[str, str]] = []
    said: Quotation = _cleaned(quotation, "", problems)
    _judge(said, problems)
    picture = None
    if said.logo is not None:
        try:
            picture = logo.read(said.logo)
        except ValueError as error:
            problems.append(("logo", str(error)))
    if problems:
        raise InputError("quotation", problems)
    paper = PAPERS[said.paper.lower()]
    table = _Table(said, paper.room)
    sections = [Section(tuple(_letterhead(said, paper.room, picture))), Section(tuple(table.blocks()), tuple(table.head())),
                Section(tuple(_closing(said, paper.room)))]
    return write(paper, _signed(sections, said), running=_running(said, paper.room), footer=lambda n, of: _footer(said, paper.room, n, of),
                 ink=INK, title=_title(said), author=_one_line(said.seller), date=_day(said.date))


# What may be said


def _cleaned(part: Any, where: str, problems: list[tuple[str, str]]) -> Any:
    """The same with texts in the characters of the font; notes what can't be shown."""
    changes: dict[str, Any] = {}
    for item in dataclasses.fields(part):
        value, label = getattr(part, item.name), where + item.name.replace("_", " ")
        if isinstance(value, str):
            changes[item.name] = _text(value, label, problems)
        elif isinstance(value, tuple):
            changes[item.name] = tuple(_cleaned(one, f"{where}{_ONE_OF[item.name]} {n}, ", problems)
                                       for n, one in enumerate(value, start=1))
        elif isinstance(value, (int, float)):
            _judge_number(value, label, item.name, problems)
    return dataclasses.replace(part, **changes)


def _text(value: str, label: str, problems: list[tuple[str, str]]) -> str:
    text = unicodedata.normalize("NFC", value).replace("\r\n", "\n").replace("\r", "\n").translate(_TO_BREAKS | _UNSEEN)
    strange = sorted(set(map(ord, text)) - characters() - {10})
    if strange:
        named = ", ".join(f"{chr(c) if chr(c).isprintable() else ''} U+{c:04X}".strip() for c in strange[:5])
        problems.append((label, f"the font of the PDF has no {named}{' ...' if len(strange) > 5 else ''}; write it in other letters, "
                                "or print the workbook"))
    return "\n".join(line.rstrip(" ") for line in text.split("\n")).strip(" \n")


def _judge_number(value: float, label: str, name: str, problems: list[tuple[str, str]]) -> None:
    """A price may be 0; what is more than 0 must not show as 0."""
    most, least = (1e9, 0.0001) if name == "quantity" else (1e12, 0.0001 if name == "price" else 0.01)
    if not math.isfinite(value):
        problems.append((label, "is no number"))
    elif not (least / 2 <= value < most or (value == 0 and name != "quantity")):
        problems.append((label, f"{value:g}; allowed is {'' if name == 'quantity' else '0, or '}{least:g} or more, below {most:,.0f}"))


def _judge(said: Quotation, problems: list[tuple[str, str]]) -> None:
    """Notes what is missing."""
    if said.paper.lower() not in PAPERS:
        problems.append(("paper", f"{said.paper[:20]!r}; allowed is A4, letter"))
    if not said.lines:
        problems.append(("lines", "there is none"))
    for n, line in enumerate(said.lines, start=1):
        if not (line.description or line.part_number or line.drawing):
            problems.append((f"line {n}", "has neither a description nor a part number nor a drawing"))
        if not (line.quantities or line.setup or line.tooling):
            problems.append((f"line {n}", "has no quantity with a price"))


def _day(text: str) -> str:
    """A date as year-month-day; that of no day in particular, always the same, for what is none."""
    try:
        return datetime.date.fromisoformat(text).isoformat()
    except ValueError:
        return "2026-01-01"


# Numbers as the workbook shows them


def _rounded(value: float, places: int) -> str:
    return f"{Decimal(f'{value:.15g}').quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP):,f}"


def shown_price(value: float) -> str:
    """With as many decimals as it has: two to four.

    >>> shown_price(1234.5), shown_price(0.1234), shown_price(0.125)
    ('1,234.50', '0.1234', '0.125')
    """
    text = _rounded(value, 4)
    return text[:-2] + text[-2:].rstrip("0")


def shown_amount(value: float) -> str:
    return _rounded(value, 2)


def shown_quantity(value: float) -> str:
    text = _rounded(value, 4)
    return text.rstrip("0").rstrip(".")


# The letterhead


def _title(said: Quotation) -> str:
    return f"Quotation {_one_line(said.number)}".strip()


def _one_line(text: str) -> str:
    return re.sub(r"\s*\n\s*", ", ", text)


def _column(x: float, text: str, room: float, *, size: float = BODY, bold: bool = False, color: str = "") -> list[tuple[Words, ...]]:
    """A text as lines of words from `x` on."""
    return [(Words(x, line, size, bold, color),) if line else () for line in wrap(text, room, size, bold)] if text else []


def _labelled(pairs: Iterable[tuple[str, str]], x: float, labels: float, room: float) -> list[tuple[Words, ...]]:
    """Labels with their texts beside them; a blank text is not shown."""
    lines: list[tuple[Words, ...]] = []
    for label, text in pairs:
        said = _column(x + labels, text, room - labels)
        if said:
            lines += [(Words(x, label, color=SOFT), *said[0]), *said[1:]]
    return lines


def _letterhead(said: Quotation, room: float, picture: Any) -> Iterator[Block]:
    side = room * 0.58
    own = _column(side, said.seller_address, room - side, color=SOFT) + _column(side, said.seller_contact, room - side, color=SOFT)
    name: list[tuple[Words, ...]] = []
    if picture is None:
        for line in wrap(said.seller, side - 2 * _GAP, 15, True):
            name += [(), (Words(0, line, 15, True, ACCENT),)]
    else:
        own = _column(side, said.seller, room - side, bold=True, color=ACCENT) + own
    strips = beside(name, own)
    if picture is not None:
        scale = min(_LOGO[0] / picture.width, _LOGO[1] / picture.height)
        wide, high = picture.width * scale, picture.height * scale
        strips += [Strip() for _ in range(math.ceil(high / ROW) - len(strips))]
        from reportlab.lib.utils import ImageReader

        strips[0] = dataclasses.replace(strips[0], picture=Picture(ImageReader(picture), wide, high))
    if strips:
        yield Block((*strips, Strip(height=10, rule=Rule(ACCENT, 1.2, 2)), Strip(height=14)), whole=False)

    address = _column(0, said.customer, side - 2 * _GAP, bold=True) + _column(0, said.customer_address, side - 2 * _GAP)
    if said.attention:
        address += [(), *_column(0, f"Attention: {said.attention}", side - 2 * _GAP)]
    facts = _labelled((("Number", said.number), ("Date", said.date), ("Valid until", said.valid_until), ("Your reference", said.reference)),
                      side, 78, room - side)
    yield Block((*beside(address, facts), Strip(height=22)), whole=False)
    yield Block((Strip((Words(0, "Quotation", 17, True),), 22), Strip(height=8)))


# The table of lines


class _Table:
    """The lines, their quantities in columns as wide as what stands in them."""

    def __init__(self, said: Quotation, room: float) -> None:
        self.said, self.room = said, room
        every = [one for line in said.lines for one in line.quantities]
        prices = [shown_price(one.price) for one in every]
        totals = [shown_amount(value) for value in self._amounts(every)]
        money = f", {_one_line(said.currency)}" if said.currency else ""
        asked = {line.priced_per for line in said.lines if line.quantities}
        self.mixed = len(asked) > 1
        price = "Price" if self.mixed or not asked else _price_of(asked.pop())
        whole, cents = max(map(_before, prices), default=0), max(map(_behind, prices), default=0)
        price_wide = max(whole + cents, 58, min(width(price + money, SMALL, True), 76))
        total_wide = max(max((width(t) for t in totals), default=0), 58)
        quantity_wide = max(max((width(shown_quantity(one.quantity)) for one in every), default=0), width("Quantity", SMALL, True))
        leads = [width(line) for one in every for line in one.lead_time.split("\n")]
        self.lead_wide = min(max(leads, default=0), 84.0) if any(leads) else 0.0
        if self.lead_wide:
            self.lead_wide = max(self.lead_wide, width("Lead time", SMALL, True))
        self.lead = room - self.lead_wide
        self.total = self.lead - (2 * _GAP if self.lead_wide else 0)
        self.price = self.total - total_wide - 1.5 * _GAP
        self.point = self.price - cents
        """Where the decimal points of the prices stand, from the left."""
        self.quantity = self.price - price_wide - 1.5 * _GAP
        self.number_wide = max(width(str(len(said.lines))), width("No.", SMALL, True))
        self.text = self.number_wide + _GAP
        self.text_wide = self.quantity - quantity_wide - 1.5 * _GAP - self.text
        self.right = self.quantity - quantity_wide
        """Where the columns of numbers begin."""
        self.heads = ((self.quantity, "Quantity", quantity_wide), (self.price, price + money, price_wide), (self.total, "Total" + money, total_wide))

    def _amounts(self, every: Sequence[QuotedQuantity]) -> Iterator[float]:
        yield from (one.total for one in every)
        yield from (value for line in self.said.lines for value in (line.setup, line.tooling))
        yield from (self.said.freight or 0, self.said.minimum)
        yield total_of(self.said) or 0

    def head(self) -> list[Strip]:
        """Names of the columns, the last lines of all at one height."""
        def cells(x: float, text: str, room: float, right: bool) -> list[tuple[Words, ...]]:
            return [(Words(x, line, SMALL, True, ACCENT, right),) for line in wrap(text, room, SMALL, True)]

        columns = [cells(0, "No.", self.number_wide, False), cells(self.text, "Part", self.text_wide, False),
                   *(cells(x, text, room, True) for x, text, room in self.heads)]
        if self.lead_wide:
            columns.append(cells(self.lead, "Lead time", self.lead_wide, False))
        deep = max(map(len, columns))
        strips = beside(*([()] * (deep - len(column)) + column for column in columns), height=10.5)
        return [*strips, Strip(height=7, rule=Rule(ACCENT, 1, 5))]

    def blocks(self) -> Iterator[Block]:
        for number, line in enumerate(self.said.lines, start=1):
            yield Block((*self._line(number, line), Strip(height=9, rule=Rule(RULE, 0.5, 5))),
                        again=(Strip((Words(0, str(number)), Words(self.text, "continued", SMALL, color=SOFT))),))
        freight = self.said.freight
        said = [(MINIMUM, shown_amount(self.said.minimum))] if self.said.minimum else []
        said += [(FREIGHT, shown_amount(freight) if freight else "free")] if freight is not None else []
        for label, amount in said:
            yield Block((Strip((Words(self.text, label), Words(self.total, amount, right=True))), Strip(height=9, rule=Rule(RULE, 0.5, 5))))
        total = total_of(self.said)
        if total is not None:
            yield Block((Strip((Words(self.text, "Total", bold=True), Words(self.total, shown_amount(total), bold=True, right=True))),
                         Strip(height=9, rule=Rule(ACCENT, 1, 5))))

    def _line(self, number: int, line: QuotedLine) -> list[Strip]:
        drawing = ", ".join(text for text in (line.drawing, line.revision and f"revision {line.revision}") if text)
        name = line.description or line.part_number or line.drawing
        certificate = "" if line.certificate.casefold().startswith("certificate") else "Certificate"  # not the word twice
        facts = (("Part number", line.part_number if line.description else ""), ("Drawing" if line.drawing else "", drawing),
                 ("Material", line.material), (certificate, line.certificate))
        left = _column(self.text, name, self.text_wide, bold=True)
        for label, text in facts:
            left += _column(self.text, f"{label}: {text}".removeprefix(": ") if text else "", self.text_wide, size=8.5)
        numbers = list(self._numbers(line))
        remark = _column(self.text, line.remark, self.text_wide, size=8.5)
        if len(left) + len(remark) > len(numbers):  # it has no room beside the numbers
            remark = _column(self.text, line.remark, self.room - self.text, size=8.5)
            left += [()] * (len(numbers) - len(left))
        return beside([(Words(0, str(number)),)], left + remark, numbers)

    def _numbers(self, line: QuotedLine) -> Iterator[tuple[Words, ...]]:
        """What stands right of the part, row by row."""
        if self.mixed and line.quantities:
            for text in wrap(_price_of(line.priced_per), self.price - self.right, SMALL):
                yield (Words(self.price, text, SMALL, color=SOFT, right=True),)
        for one in line.quantities:
            price = shown_price(one.price)
            first = (Words(self.quantity, shown_quantity(one.quantity), right=True), Words(self.point - _before(price), price),
                     Words(self.total, shown_amount(one.total), right=True))
            leads = _column(self.lead, one.lead_time, self.lead_wide) if self.lead_wide else []
            yield first + (leads[0] if leads else ())
            yield from leads[1:]
            for text in (one.note, one.offer and f"From the same bars: {one.offer}"):
                yield from _column(self.right, text, self.room - self.right, size=SMALL, color=SOFT)
        for label, amount in (("Set-up, once", line.setup), ("Tooling, once", line.tooling)):
            if amount:
                yield (Words(self.price, label, right=True), Words(self.total, shown_amount(amount), right=True))


def _price_of(priced_per: str) -> str:
    return "Price each" if priced_per == "part" else f"Price for {priced_per}"


def _before(number: str) -> float:
    """How wide a number is before its decimal point."""
    return width(number.partition(".")[0])


def _behind(number: str) -> float:
    return width(number) - _before(number)


# Terms, signature, heads and feet


def _closing(said: Quotation, room: float) -> Iterator[Block]:
    yield Block((Strip(height=10),))
    for label, text in (("Delivery", said.delivery), ("Terms", said.terms), ("Tax", said.tax_note), ("Remark", said.remark), ("Notes", said.notes)):
        strips = beside(_labelled([(label, text)], 0, _LABELS, room))
        if strips:
            yield Block((*strips, Strip(height=5)), whole=len(strips) <= 8)


def _signed(sections: list[Section], said: Quotation) -> list[Section]:
    """The line to sign on goes with the last block, so that it is on no page alone."""
    line = Strip((Words(0, "Date, signature", SMALL, color=SOFT),), 52, Rule(INK, 0.6, 11, 210))
    *before, last = sections
    *blocks, end = last.blocks
    name = [Strip((Words(0, text, SMALL, color=SOFT),), 10.5) for text in wrap(_one_line(said.seller), 210, SMALL)[:2]]
    signed = dataclasses.replace(end, strips=(*end.strips, line, *name), last=len(name) + 4)
    return [*before, Section((*blocks, signed), last.head)]


def _running(said: Quotation, room: float) -> tuple[Strip, ...]:
    date = width(said.date, SMALL)
    return (Strip((Words(0, clipped(_title(said), room - date - _GAP, SMALL), SMALL, color=SOFT),
                   Words(room, said.date, SMALL, color=SOFT, right=True))), Strip(height=8))


def _footer(said: Quotation, room: float, number: int, of: int) -> Strip:
    page = f"Page {number} of {of}"
    seller = clipped(_one_line(said.seller), room - width(page, SMALL) - _GAP, SMALL)
    return Strip((Words(0, seller, SMALL, color=SOFT), Words(room, page, SMALL, color=SOFT, right=True)), ROW, Rule(RULE, 0.5, ROW))
