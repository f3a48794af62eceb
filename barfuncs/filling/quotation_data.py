"""What one quotation says to the customer, and nothing else: the workbook and the PDF are both written from this."""

import dataclasses
import math

FREIGHT, MINIMUM = "Freight, once", "Minimum order value"
"""What the lines below the table are called."""


@dataclasses.dataclass(frozen=True, slots=True)
class QuotedQuantity:
    """One quantity of a line, with its price as shown."""

    quantity: float
    price: float
    """Price as shown: each, or for 100 or 1000 parts (`QuotedLine.priced_per`)."""
    total: float
    lead_time: str = ""
    offer: str = ""
    """What the same bars give, where the shop offers it."""
    note: str = ""
    """Said below the price: that the total is the minimum order value."""


@dataclasses.dataclass(frozen=True, slots=True)
class QuotedLine:
    """One part of the quotation."""

    description: str
    part_number: str = ""
    drawing: str = ""
    revision: str = ""
    material: str = ""
    certificate: str = ""
    priced_per: str = "part"
    quantities: tuple[QuotedQuantity, ...] = ()
    setup: float = 0
    """Set-up charged once, as a line of its own; 0 where it is in the price."""
    tooling: float = 0
    remark: str = ""


@dataclasses.dataclass(frozen=True, slots=True)
class Quotation:
    """A quotation as the customer reads it. A blank text is not shown; nothing is promised that nobody typed."""

    number: str
    date: str
    """As year-month-day."""
    currency: str
    lines: tuple[QuotedLine, ...]
    seller: str = ""
    seller_address: str = ""
    seller_contact: str = ""
    logo: bytes | None = None
    """A PNG or JPEG file."""
    customer: str = ""
    customer_address: str = ""
    attention: str = ""
    reference: str = ""
    """The customer's: of the enquiry."""
    valid_until: str = ""
    delivery: str = ""
    freight: float | None = None
    """Once for the whole quotation. None: no line; 0: free."""
    minimum: float = 0
    """Minimum order value of the whole order; 0 where there is none, or where it is said with the quantities."""
    terms: str = ""
    tax_note: str = ""
    notes: str = ""
    remark: str = ""
    paper: str = "A4"
    """A4 or letter."""


def total_of(quotation: Quotation) -> float | None:
    """What all lines and the freight come to; None where a line has several quantities to choose from, where a minimum order value
    comes before the sum of the lines, or there is nothing to add."""
    if any(len(line.quantities) != 1 or line.quantities[0].note for line in quotation.lines):
        return None
    amounts = [a for line in quotation.lines for a in (line.quantities[0].total, line.setup, line.tooling) if a]
    if math.fsum(amounts) < quotation.minimum * (1 - 1e-9):
        return None
    amounts += [quotation.freight] if quotation.freight else []
    return round(math.fsum(amounts), 2) if len(amounts) > 1 else None
