"""What buying is planned from, and the plan: plain typed records. Lengths in `Terms.units`, weights in lb or kg, money as it is."""

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, field

from barfuncs.catalogue.kinds import TOLERANCE_CLASSES
from barfuncs.errors import BarfuncsError
from barfuncs.rack.bars import CERTIFICATES, OF_ONE_HEAT, OWN, STEPS

__all__ = ["CERTIFICATES", "OF_ONE_HEAT", "OWN", "STEPS", "BarStock", "Blank", "BuyingError", "BuyingPlan", "Demand", "Offer", "OrderLine", "RackBar",
           "Sawing", "Terms", "condition_of", "describe", "finish_and_tolerance"]


@dataclass(frozen=True, slots=True)
class BarStock:
    """A kind of bar: bars of one kind stand in for one another."""

    material: str
    shape: str
    size: float
    thickness: float | None = None
    condition: str = ""
    """Finish and tolerance class, as `condition_of` writes them."""


def condition_of(finish: str, tolerance: str = TOLERANCE_CLASSES[0]) -> str:
    """Finish and tolerance class as one text; the class that every bar has is not said.

    >>> condition_of("drawn", "h9"), condition_of("drawn"), condition_of("", "h9")
    ('drawn, h9', 'drawn', 'h9')
    """
    return ", ".join(text for text in (finish, tolerance if tolerance != TOLERANCE_CLASSES[0] else "") if text)


def finish_and_tolerance(condition: str) -> tuple[str, str]:
    """The two texts that `condition_of` put together.

    >>> finish_and_tolerance("drawn, h9"), finish_and_tolerance("peeled, oiled"), finish_and_tolerance("h9")
    (('drawn', 'h9'), ('peeled, oiled', 'standard'), ('', 'h9'))
    """
    finish, _, tolerance = condition.rpartition(", ")
    return (finish, tolerance) if tolerance in TOLERANCE_CLASSES else (condition, TOLERANCE_CLASSES[0])


def describe(stock: BarStock) -> str:
    """A kind of bar in words.

    >>> describe(BarStock("Brass C36000", "hexagon", 0.75, condition="drawn"))
    'Brass C36000, hexagon 0.75, drawn'
    """
    thick = f" x {stock.thickness:g}" if stock.thickness else ""
    return f"{stock.material}, {stock.shape} {stock.size:g}{thick}" + (f", {stock.condition}" if stock.condition else "")


@dataclass(frozen=True, slots=True)
class Demand:
    """What one job needs: parts, whose blanks are chosen, or pieces of a fixed length."""

    job: str
    stock: BarStock
    quantity: int
    """Parts to make (scrap and set-up pieces in), or pieces."""
    piece_length: float | None = None
    """Of a fixed piece; None: parts."""
    bar_per_part: float = 0
    blank_extra: float = 0
    """Of each blank beside its parts: end trim and minimum remnant."""
    shortest_blank: float = 0
    longest_blank: float | None = None
    """That the feeder takes; None: any."""
    certificate: str = CERTIFICATES[0]
    customer: str = ""
    mixed_heats: bool = False
    """Whether its parts may be of several heats."""
    larger_up_to: float | None = None
    """A larger size up to this may stand in."""
    need_by: datetime.date | None = None
    parts_per_feed: int = 1
    """Where a feed gives all its parts or none: the parts of a blank are a multiple of these."""


@dataclass(frozen=True, slots=True)
class Offer:
    """Bars of one length that can be bought."""

    stock: BarStock
    length: float
    prices: tuple[tuple[float, float], ...]
    """From which weight on, what one bar costs: ascending, the first from 0."""
    weight: float = 0
    """Of one bar."""
    certificate: str = CERTIFICATES[0]
    certificate_fee: float = 0
    """Once, where it is bought with a certificate that a job of this stock wants."""
    bundle: int = 1
    line_minimum: float = 0
    available: int | None = None
    lead_days: int = 0
    supplier: str = ""


@dataclass(frozen=True, slots=True)
class RackBar:
    """Bars on the rack that are alike and have one id."""

    id: str
    stock: BarStock
    length: float
    heat: str = ""
    certificate: str = CERTIFICATES[0]
    owner: str = OWN
    value: float = 0
    """Of one bar."""
    place: str = ""
    count: int = 1


@dataclass(frozen=True, slots=True)
class Terms:
    """How the shop saws and reckons."""

    units: str = "in"
    kerf: float = 0
    trim: float = 0
    """Off each end of a bar before it is sawn."""
    cut_cost: float = 0
    least_left: float = 0
    """A shorter left-over is scrap."""
    left_share: float = 0.5
    """What a left-over of a bought bar is worth, as a share of what that length of bar cost."""
    rack_has_value: bool = True
    """False: what lies on the rack costs nothing."""
    brackets_over: str = "group"
    """Whether the weight of one kind of bar or that of the whole order says which price holds: group or order."""
    freight: float = 0
    """Of an order, once."""
    order_date: datetime.date | None = None
    seconds: float = 10


@dataclass(frozen=True, slots=True)
class Blank:
    """A blank or piece for a job."""

    demand: int
    parts: int
    length: float


@dataclass(frozen=True, slots=True)
class Sawing:
    """Bars that are sawn alike."""

    bars: int
    offer: int | None
    """Number of the offer that they are bought from, or None."""
    rack: int | None
    """Number of the rack bar, or None."""
    blanks: tuple[Blank, ...]
    left: float
    """Length left over of each bar."""
    back: bool
    """Whether that goes back on the rack."""
    cuts: int

    def bar(self, offers: Sequence[Offer], rack: Sequence[RackBar]) -> Offer | RackBar:
        """What is sawn."""
        if self.offer is not None:
            return offers[self.offer]
        assert self.rack is not None
        return rack[self.rack]


@dataclass(frozen=True, slots=True)
class OrderLine:
    offer: int
    bars: int
    weight: float
    price: float
    """Of one bar."""
    money: float
    """Of the line: not less than its minimum, with the certificate."""
    spare: int = 0
    """Bars of these that no job needs: they fill a bundle, or reach a lower price."""


@dataclass(frozen=True)
class BuyingPlan:
    lines: tuple[OrderLine, ...]
    sawing: tuple[Sawing, ...]
    freight: float
    cut_money: float
    rack_money: float
    """Value of the rack bars that are taken."""
    left_money: float
    """What goes back on the rack is worth."""
    bound: float
    """No plan costs less."""
    seconds: float
    notes: tuple[str, ...] = field(default=())

    @property
    def cost(self) -> float:
        return sum(line.money for line in self.lines) + self.freight + self.cut_money + self.rack_money - self.left_money

    @property
    def gap(self) -> float:
        """Share of the cost by which a better plan might be cheaper, at most."""
        return max(0.0, self.cost - self.bound) / self.cost if self.cost > 0 else 0.0

    @property
    def proof(self) -> str:
        """How good the plan is, in words."""
        if self.cost - self.bound < 0.005 + 1e-9 * abs(self.cost):
            return "proved best"
        return f"within {max(self.gap, 0.0001):.2%} of the best possible"


class BuyingError(BarfuncsError):
    """What keeps a plan from being made: where (jobs, offers, rack, terms), row from 1, column, reason."""

    def __init__(self, problems: list[tuple[str, int, str, str]]) -> None:
        self.problems = tuple(problems)
        super().__init__("; ".join(f"{where} {row}, {column}: {reason}" if row else f"{where}, {column}: {reason}"
                                   for where, row, column, reason in problems))


class SolverError(BarfuncsError):
    """The solver is not installed, or ended before it had found a plan."""
