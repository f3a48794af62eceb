"""The same job in several shops: a template in which the shop's data are put in like a job's inputs, and which is never saved."""

import functools
import threading
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from barfuncs.catalogue import materials
from barfuncs.filling.filler import Filler
from barfuncs.tables import speeds_feeds
from barfuncs.templates.registry import TEMPLATES
from barfuncs.templates.shop import Machine, Rates, Shop, StockPrice, StockSize
from barfuncs.templates.shop_sheet import cells_of
from barfuncs.xlsx.engine import Address
from barfuncs.xlsx.sheetxml import Value


@dataclass(frozen=True)
class Weighed:
    """What a job comes to in a shop: its answers, why it gives none (or nothing), and by input what the sheet Shop offers for it."""

    answers: Mapping[str, Value]
    problems: list[tuple[str, str]]
    offered: Mapping[str, Value]
    used: Mapping[str, Value]
    """By input the value as used, of those that were asked for."""


def scales(template: str, shops: Iterable[Shop], used: tuple[str, ...] = ()) -> "Scales":
    """Scales for these shops, which are kept for the next ones."""
    shops = list(shops)
    rows = (max(len(shop.machines) for shop in shops), max(len(shop.prices) for shop in shops), max(len(shop.stock) for shop in shops))
    with _making:
        return _scales(template, *(-(-count // _STEP) * _STEP for count in rows), used)


_making = threading.Lock()
_STEP = 20


@functools.lru_cache(maxsize=2)
def _scales(template: str, machines: int, prices: int, stock: int, used: tuple[str, ...]) -> "Scales":
    return Scales(template, machines, prices, stock, used)


class Scales(Filler):
    """Calculates a template with one shop after the other, without building it anew for each: that takes seconds."""

    def __init__(self, template: str, machines: int, prices: int, stock: int, used: Iterable[str] = ()) -> None:
        # With so many rows; what they hold is taken out again.
        shop = Shop("in", Rates(), (Machine("-"),) * machines, (StockPrice("-", 0, "lb"),) * prices, speeds_feeds.builtin(), (StockSize(1),) * stock)
        super().__init__(template, shop)
        self._form, self._rows = TEMPLATES[template].form, {"machines": machines, "prices": prices, "stock": stock}
        self._refs: dict[str, Address] = {ref: self.book.address(ref) for ref in cells_of(self._form, shop, self._rows)}
        self._now: dict[str, Any] = {}
        self._offered = {name: self.book.address(item.stand_in) for name, item in self._form.inputs.items() if item.from_shop}
        self._offered["price_row"] = self.book.address("shop_price_row")
        self._used = {name: self.book.address(self._form.inputs[name].used) for name in used}

    def _cut(self, still: set[int]) -> None:
        """Nothing is written of it."""

    def weigh(self, inputs: Mapping[str, Value], shop: Shop, table: materials.Materials | None = None) -> Weighed:
        """What inputs that were read by `read_inputs` come to in a shop."""
        values = self._values(inputs, table)
        with self._turn:
            for ref, value in cells_of(self._form, shop, self._rows).items():
                if ref not in self._now or self._now[ref] != value:
                    self.book.set_at(self._refs[ref], value)
                    self._now[ref] = value
            answers, problems = self._worked_out(inputs, values)
            stops = answers["stops"]
            if not problems and TEMPLATES[self.template].stop_is_problem and stops:
                problems = [("job", str(stops).strip())]
            return Weighed(answers, problems, dict(zip(self._offered, self.book.values_at(self._offered.values()), strict=True)),
                           dict(zip(self._used, self.book.values_at(self._used.values()), strict=True)))
