"""The headings of a list: which input a column is, also where it is called as shops call it every day.

A heading that can mean two things is refused with what to write instead, never guessed.
"""

import difflib
import functools
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from barfuncs.catalogue.kinds import PRICE_BASES
from barfuncs.catalogue.reading import read_value
from barfuncs.errors import InputError
from barfuncs.templates.model import Input
from barfuncs.text.characters import escaped

EVERYDAY: dict[str, str] = {
    "job": "job no, job number, job #, job id, work order, work order no, work order #, wo, w/o, wo #, wo no, traveler, "
           "traveler no, shop order",
    "customer": "cust, customer name, cust name, client",
    "part_number": "part #, part no, part nr, part nbr, part num, part id, p/n, pn",
    "drawing": "dwg, dwg #, dwg no, dwg number, drawing, drawing #, drawing no, print, print #, print no, drg, drg no",
    "revision": "rev, rev #, rev no, rev level, revision level, drawing revision, dwg rev",
    "units": "in/mm, inch/mm, inch or mm, in or mm, units of the job",
    "material": "mat'l, matl, mat, material grade, mat'l grade, matl grade, grade, alloy, material type, mat'l type, "
                "matl type, bar material, raw material, stock material",
    "shape": "bar shape, shape of bar, stock shape, section, cross section, profile",
    "size": "dia, diam, diameter, od, outside diameter, bar size, bar dia, bar diameter, bar od, stock size, stock dia, "
            "stock diameter, stock od, material size, mat'l size, matl size, material dia, mat'l dia, matl dia, a/f, af, "
            "across flats, width across flats, flats, hex, hex size, hex a/f, size across flats, ø, ⌀, bar ø, bar stock size, "
            "bar stock dia, bar stock diameter",
    "thickness": "thk, thick, wall, wall thickness, wall thk",
    "bar_length": "bar len, bar lg, length of bar, length (bar), bar lgth",
    "supplied_length": "supplied length, supplied bar, mill length, purchased length, purchased bar length, bought length",
    "longest_random_bar": "longest random length, longest random bar length",
    "part_length": "part len, part lg, part lgth, length of part, length (part), oal, overall length, part oal, finished length, finish length",
    "cutoff_width": "cut-off, cut-off tool, cut-off tool width, width of cut-off, width of cut-off tool, cut-off width of tool, "
                    "parting, parting width, parting tool, parting tool width, part-off, part-off tool, part-off width, part-off tool width",
    "facing": "face, facing stock, face stock, facing allowance, facing allow, face allowance, facing per part, stock faced off",
    "end_trim": "trim, bar trim, front trim, bar end trim, bar-end trim, crop, end crop, trim cut",
    "second_spindle_stock": "stock for second spindle, sub-spindle stock, sub spindle stock, stock for sub-spindle",
    "first_parts_scrapped": "first parts scrapped, first parts of bar scrapped, scrapped first parts, first parts per bar scrapped",
    "parts_per_feed": "parts per feed, parts per bar feed, pcs per feed, parts from one feed",
    "last_feed": "last feed, last feed of bar",
    "part_weight": "part wt, weight each, wt each, weight per part, wt per part, finished weight, finished part weight, "
                   "piece weight, pc weight, net weight each",
    "quantity": "qty, # pcs, # of pcs, # parts, # of parts, order qty, qty ordered, ordered qty, quantity ordered, quantity required, qty required, qty req'd, "
                "required qty, pcs, pieces, no of parts, no of pieces, no of pcs, number of parts, number of pieces, "
                "parts required, parts ordered, lot size, lot qty, batch size, batch qty",
    "surface_area": "part surface, surface per part, plating area, area per part",
    "first_off": "first-off, first offs, first-off parts, first article parts",
    "inspection_time": "inspection time per part, time per inspection",
    "box_weight": "box weight, max box weight, weight per box, carton weight",
    "box_parts": "pcs per box, parts per box, qty per box, pcs per carton",
    "box_cost": "box cost, cost per box, carton cost",
    "minimum_order": "minimum order, min order, minimum order value, min order value",
    "priced_per": "price for, quoted per",
    "scrap_rate": "scrap, scrap allowance, reject, rejects, reject rate",
    "setup_parts": "setup pcs, setup pieces, setup parts, set-up pcs, set-up pieces, pieces for setup, parts for setup",
    "bars_on_hand": "bars in stock, bars in rack, bars on rack, bars available, stock bars, on hand",
    "machine": "mach, machine no, machine #, mach #, machine name, lathe, work center, workcenter, m/c",
    "face_to_cutoff": "face to cut-off, collet face to cut-off, collet to cut-off, chuck to cut-off, gap to cut-off, "
                      "face to cut-off distance, gap to cut-off tool",
    "grip_length": "grip, gripping length, collet grip, chuck grip, clamp length, clamping length, chucking length, length gripped",
    "rear_hold": "gripper hold, pusher reach, gripper length, rear gripper hold",
    "feeder_longest_bar": "feeder length, feeder max length, feeder max bar, feeder max, max bar of feeder, bar feeder length, "
                          "longest bar in feeder, max feeder length",
    "feeder_bars": "bars in feeder, bars per load, bars loaded, loaded bars",
    "cycle_time": "cycle, cyc, cyc time, c/t, time per part, cycle time per part, time each",
    "bar_change_time": "bar change, bar change time, bar load, bar load time, bar loading, bar loading time, bar reload",
    "efficiency": "eff, uptime, utilization",
    "setup_hours": "set-up time, setup hrs, setup hours, set-up hrs, setup hr, s/u time, s/u hrs",
    "machine_rate": "mach rate, machine hourly rate, machine hour rate, hourly rate, shop rate, rate per hour, rate/hr, $/hr",
    "setup_rate": "set-up rate, setup hourly rate, set-up rate per hour, setup rate/hr",
    "material_price": "mat'l price, matl price, raw material price, price of material",
    "price_per": "price basis, price unit, priced per, priced by, material priced per, mat'l price per, matl price per",
    "cuts_per_bar": "cuts, saw cuts, cuts per bar, cuts/bar",
    "cut_charge": "cost per cut, price per cut, cutting charge, saw charge, charge per saw cut",
    "minimum_charge": "min charge, min order charge, minimum order charge, material minimum",
    "material_surcharge": "surcharge, alloy surcharge, metal surcharge, scrap surcharge, surcharge per lb, surcharge per kg, mat'l surcharge, matl surcharge",
    "certificate_fee": "certificate charge, certificate cost, cert fee, cert charge, cert cost, mill cert fee, mill certificate fee, test certificate fee",
    "material_freight": "material freight, freight of material, inbound freight, freight in, bar freight, mat'l freight, matl freight",
    "chip_price": "chip credit, chips credit, credit for chips, swarf credit, turnings credit",
    "remnant_price": "remnant credit, credit for remnants, bar-end credit",
    "kerf": "saw kerf, width of saw cut, saw cut width",
    "confidence": "confidence level",
    "parts_bin": "parts bin, parts catcher, parts per bin, parts in bin, bin holds",
    "chip_bin": "chip bin, chip bin volume, chip hopper",
    "chip_bin_count": "parts per chip bin, parts until chip bin full, parts till chip bin full",
    "bulk_factor": "chip bulk factor, bulk factor of chips",
    "mean_time_between_stops": "mean time between stops, hours between stops, mtbs",
    "max_feed": "max feed, maximum feed, max feed of lathe, max feed per minute",
    "top_speed": "max speed, max rpm, max spindle speed, speed limit, rpm limit",
    "margin": "profit margin, gross margin",
    "markup": "mark-up",
    "tooling": "tooling charge, tooling cost, special tooling",
    "other_per_part": "other cost per part, other costs per part, outside cost per part",
    "other_per_order": "other cost per order, other costs per order",
    "part_description": "description, desc, part name, part description, part desc",
    "quote_number": "quote #, quote no, quotation #, quotation no, quotation number",
    "valid_until": "valid to, quote valid until, expires",
    "lead_time": "lead time, leadtime, delivery time",
    "customer_address": "customer address, cust address, address of customer",
    "reference": "customer reference, customer ref, cust ref, your reference, rfq, rfq #, rfq no, rfq number, enquiry no, inquiry no",
    "freight_charged": "shipping, shipping charge, freight charge, freight to customer",
    "certificate_line": "certificate, certs, cert",
}
"""What shops write over a column, by input. A % or a unit in the heading is read by itself and needs no entry."""

TWO_MEANINGS: dict[str, tuple[tuple[str, str], ...]] = {
    "length, len, lg, lgth, cut length": (("of the part", "part_length"), ("of the bar", "bar_length")),
    "blank, blank length, blank len": (("of what goes into the feeder", "bar_length"), ("of the part", "part_length")),
    "stock length, raw length, material length, mat'l length, matl length": (
        ("of what goes into the feeder", "bar_length"), ("of the bar as bought, before sawing", "supplied_length")),
    "longest bar, max bar, max bar length, maximum bar length": (
        ("that the feeder takes", "feeder_longest_bar"), ("of random lengths", "longest_random_bar")),
    "price, unit price, price each, price per piece, price per part, cost, unit cost, cost per piece, cost per part, $": (
        ("of the material", "material_price"), ("of the part, which a quote works out", "")),
    "material cost, mat'l cost, matl cost, bar price, price of bar, bar cost, cost of bar": (
        ("of one lb, kg, ft, m or bar, with price_per beside it", "material_price"), ("of the order, which is worked out", "")),
    "kerf": (("of the saw", "kerf"), ("of the cut-off tool", "cutoff_width")),
    "collet, collet length": (("length of bar that it grips", "grip_length"), ("its size or number, which is not needed", "")),
    "rate": (("of the machine per hour", "machine_rate"), ("of scrap", "scrap_rate")),
    "setup, set up, set-up, s/u": (("time in hours", "setup_hours"), ("pieces lost", "setup_parts"), ("rate per hour", "setup_rate")),
    "setup cost, set-up cost, setup charge, set-up charge": (
        ("time in hours", "setup_hours"), ("rate per hour", "setup_rate"), ("an amount, which is worked out", "")),
    "weight, wt, mass": (("of one finished part", "part_weight"), ("of the bars, which is worked out", "")),
    "width": (("across the flats of the bar", "size"), ("of the cut-off tool", "cutoff_width")),
    "time, run time, machining time": (("for one part", "cycle_time"), ("to set the machine up", "setup_hours"),
                                       ("for the order, which is worked out", "")),
    "bars, no of bars, number of bars": (("there are for this run", "bars_on_hand"), ("in a full feeder", "feeder_bars"),
                                         ("for the order, which is worked out", "")),
    "bar": (("its length", "bar_length"), ("its size", "size"), ("what it is made of", "material")),
    "stock, bar stock": (("its size", "size"), ("what it is made of", "material"), ("its length", "bar_length"), ("bars there are", "bars_on_hand")),
    "part, part name or number, item": (("its number", "part_number"), ("what it is", "part_description")),
    "remnant, bar end, remnant length, min remnant, minimum remnant": (
        ("what is held", "grip_length"), ("the gap in front of it", "face_to_cutoff"),
        ("what is left of a bar, which follows from the two", "")),
    "scrap price, scrap value, scrap credit": (("for chips", "chip_price"), ("for remnants", "remnant_price")),
    "speed, rpm": (("the highest allowed", "top_speed"), ("of one operation", "op_1_surface_speed")),
}
"""Headings that can mean two things: for each what it may be, and the input to write then ("" where there is none)."""

ASIDE = "(column of another template)"

_SHOWN = 60
_MOST_NAMED = 20
"""Headings for which it is said what to write instead."""
_MOST_UNKNOWN = 100
"""Headings for which a nearest name is sought; a list with more unknown ones is refused."""
_LONGEST_HEADING = 200
_NEAR, _NEAR_EVERYDAY = 0.7, 0.88
_MISTYPED = 0.75


def key(text: str) -> str:
    """A heading as it is compared: letters and digits of any alphabet, and # % / $.

    >>> key("Cut-Off Width *"), key("Part No."), key("MAT'L"), key("Scrap %")
    ('cutoffwidth', 'partno', 'matl', 'scrap%')
    """
    return "".join(c for c in text.casefold() if c.isalnum() or c in "#%/$⌀")


def _by_key(table: Mapping[str, Any]) -> dict[str, Any]:
    return {key(heading): value for headings, value in table.items() for heading in headings.split(", ")}


ALIASES = {key(heading): name for name, headings in EVERYDAY.items() for heading in headings.split(", ")}
AMBIGUOUS: dict[str, tuple[tuple[str, str], ...]] = _by_key(TWO_MEANINGS)


class HeadingError(InputError):
    """Headings of a list that can't be used, each with what to write instead."""


@dataclass(frozen=True)
class Column:
    """One column: the input it is ("" for none, ASIDE for one of another template), what its heading says of the unit of
    bare numbers, and the heading."""

    name: str = ""
    unit: str = ""
    heading: str = ""


@dataclass(frozen=True)
class Headings:
    """The columns of a list, and the headings that were left aside since they resemble no input."""

    columns: tuple[Column, ...]
    aside: tuple[str, ...] = ()

    def values(self, cells: Sequence[Any]) -> tuple[dict[str, Any], str]:
        """The filled cells of a row by input, bare numbers with the unit of their heading, and what is wrong with it."""
        values: dict[str, Any] = {}
        problems = []
        for n, column in self._read:
            cell = cells[n] if n < len(cells) else None
            if is_blank(cell):
                continue
            try:
                values[column.name] = _with_unit(cell, column.unit) if column.unit else cell
            except ValueError as error:
                problems.append(f"{escaped(column.heading)}: {error}")
        problems += self._price_basis(values)
        return values, "; ".join(problems)

    @functools.cached_property
    def _read(self) -> list[tuple[int, Column]]:
        return [(n, column) for n, column in enumerate(self.columns) if column.name not in ("", ASIDE)]

    def _price_basis(self, values: dict[str, Any]) -> list[str]:
        """A heading such as Price ($/lb) says what the price is per."""
        column = next((c for c in self.columns if c.name == "material_price"), None)
        if column is None or not column.unit or "material_price" not in values:
            return []
        basis = column.unit.removeprefix("per ")
        said = values.setdefault("price_per", basis)
        if key(str(said)) == key(basis):
            return []
        return [f"{escaped(column.heading)}: the heading says per {basis} and price_per {escaped(str(said)[:_SHOWN])!r}"]


def is_blank(cell: Any) -> bool:
    return cell is None or (isinstance(cell, str) and not cell.strip())


@dataclass(frozen=True)
class Names:
    """What one template's inputs may be called over a column."""

    known: Mapping[str, Input]
    exact: Mapping[str, str]
    """By key: names and labels of the template."""
    others: Mapping[str, str]
    """The same of the other templates: one list serves all, and each leaves the others' columns aside."""

    @functools.cached_property
    def needed(self) -> frozenset[str]:
        """Inputs that every row must have, whatever the shop file gives; what the units are, may be said for all."""
        return frozenset(name for name, item in self.known.items()
                         if item.needed and item.default is None and not item.origin and name != "units")

    def find(self, heading: str) -> Column | None:
        """The input that a heading is, with or without a unit in it; None where it is none or can mean two things."""
        if len(heading) > _LONGEST_HEADING:
            return None
        text = _tidy(heading)
        name = self._plain(text)
        if name:
            return Column(name, "", heading)
        basis, time_each = _PER_BASIS.fullmatch(text), _TIME_EACH.fullmatch(text)
        if basis and self._is_price(key(basis[1])):
            return Column(self._own("material_price"), f"per {_BASES[basis[2].casefold()]}", heading)
        if time_each:
            return Column(self._own("cycle_time"), time_each[1].casefold(), heading)
        for base, unit, in_brackets in _parts(text):
            column = self._with_unit(base, unit, heading, in_brackets)
            if column:
                return column
        return None

    def _plain(self, text: str) -> str:
        """The input that a heading without a unit is."""
        compared = key(text)
        if compared in AMBIGUOUS:
            here = [self._own(name) for _, name in AMBIGUOUS[compared] if name]
            return ASIDE if here and set(here) == {ASIDE} else ""
        return self.exact.get(compared) or self._own(self._everyday(compared))

    def _everyday(self, compared: str) -> str:
        numbered = re.fullmatch(r"(.*?)([1-9])", compared)
        if numbered and numbered[1] in ALIASES:
            return f"{ALIASES[numbered[1]]}_{numbered[2]}"
        return ALIASES.get(compared) or self.others.get(compared, "")

    def _own(self, name: str) -> str:
        """The name where it is an input here, or the first of several such as quantity_1; ASIDE for another template's."""
        found = next((n for n in (name, f"{name}_1") if n in self.known), "")
        return found or (ASIDE if name in self.others.values() else "")

    def _is_price(self, compared: str) -> bool:
        meanings = [name for _, name in AMBIGUOUS.get(compared, ())]
        if compared.endswith("$") and compared != "$":
            meanings.append({"material": "material_price"}.get(self._plain(compared[:-1]), ""))
        return not compared or "material_price" in (*meanings, self.exact.get(compared), ALIASES.get(compared))

    def _with_unit(self, base: str, unit: str, heading: str, in_brackets: bool) -> Column | None:
        name = self._plain(base)
        if not name and key(base) in AMBIGUOUS:
            # A unit may tell: of a set-up in min only the time can be meant, of a length in mm any.
            fits = [n for _, n in AMBIGUOUS[key(base)] if not n or n not in self.known or self._tells(n, unit)]
            if any(n and self._unit(n, unit) not in (None, "", unit) for n in fits if n in self.known):
                fits = [n for n in fits if n]
            name = fits[0] if len(fits) == 1 and fits[0] in self.known else ""
        if name == ASIDE:
            return Column(ASIDE, "", heading)
        put = self._unit(name, unit, in_brackets) if name else None
        return None if put is None else Column(name, put, heading)

    def _tells(self, name: str, unit: str) -> bool:
        """Whether a unit makes an input likely. A currency alone does not, since many amounts are no inputs."""
        return self._unit(name, unit) is not None and (self.known[name].kind.reader != "number" or bool(_PER.search(unit.casefold())))

    def _unit(self, name: str, unit: str, in_brackets: bool = False) -> str | None:
        if self.known[name].kind.reader in ("text", "choice", "material"):
            return "" if in_brackets else None  # a remark
        return unit_of(self.known[name], unit)

    def ambiguous(self, heading: str) -> str:
        """The heading without its unit, as it is compared, where it can mean two things, or ""."""
        if len(heading) > _LONGEST_HEADING:
            return ""
        text = _tidy(heading)
        if key(text) in AMBIGUOUS:
            return key(text)
        for base, unit, in_brackets in _parts(text):
            meanings = [name for _, name in AMBIGUOUS.get(key(base), ()) if name in self.known]
            if meanings and (in_brackets or any(self._unit(name, unit) is not None for name in meanings)):
                return key(base)
        return ""

    def problem(self, heading: str) -> str:
        """What to say of a heading or name that is no input, and what to write instead."""
        ambiguous = self.ambiguous(heading)
        if ambiguous:
            return self._meanings(ambiguous)
        of_another_unit = self.of_another_unit(heading)
        if of_another_unit:
            return of_another_unit
        column = self.find(heading)
        nearest = column.name if column and column.name in self.known else self.nearest(heading)
        return "is not an input of this template" + (f"; did you mean {nearest!r}?" if nearest else "")

    def of_another_unit(self, heading: str) -> str:
        """What to say of an input's heading with something in brackets that is no unit of it, or ""."""
        if len(heading) > _LONGEST_HEADING or self.find(heading):
            return ""
        for base, unit, in_brackets in _parts(_tidy(heading)):
            name = self._plain(base)
            if in_brackets and name in self.known:
                return f"is {name}, but {escaped(unit)!r} is no unit that it is read in; write the heading without it"
        return ""

    def _meanings(self, compared: str) -> str:
        meanings = [(what, name if name in self.known or name in self.others.values() else "") for what, name in AMBIGUOUS[compared]]
        ways = [f"{name} ({what})" for what, name in meanings if name]
        ways += [f"leave the column out ({what})" for what, name in meanings if not name]
        return f"can mean {'two' if len(ways) == 2 else 'several'} things: write " + ", or ".join(ways)

    def nearest(self, heading: str) -> str:
        """The input with the nearest name, label or everyday name, or ""."""
        compared = key(heading)
        return next((self._sought[text][0] for text in self._close(heading, 5) if text in self.exact
                     or difflib.SequenceMatcher(None, text, compared).ratio() >= _NEAR_EVERYDAY), "")

    def mistyped(self, heading: str) -> bool:
        """Whether a heading looks like a name or label with a slip in a word. One with a word more is something else, and
        one like an everyday name may well be another word: plating is no parting."""
        words = _words(heading)
        close = {text: self._sought[text][1] for text in self._close(heading, 5) if text in self.exact}
        return any((len(known) == len(words) and all(map(_like, words, known)))
                   or (len(words) == 1 and _like(key(heading), text)) for text, known in close.items())

    def _close(self, heading: str, many: int) -> list[str]:
        return difflib.get_close_matches(key(heading), self._sought, many, _NEAR) if len(heading) <= _LONGEST_HEADING else []

    @functools.cached_property
    def _sought(self) -> dict[str, tuple[str, list[str]]]:
        """By key: an input and the words that it may be called by."""
        called = [(heading, name) for name, headings in EVERYDAY.items() for heading in headings.split(", ") if len(key(heading)) > 5]
        called += [(item.label, item.name) for item in self.known.values()]
        called += [(name, name) for name in (*self.others.values(), *self.known)]
        own = [(heading, self._own(name)) for heading, name in called if not re.match(r"(?:op|tool)_(?!1_)\d", name)]
        return {key(heading): (name, _words(heading)) for heading, name in own if name in self.known}


def _words(heading: str) -> list[str]:
    parted = re.sub("(?<=[a-z])(?=[A-Z])", " ", heading)
    return re.findall(r"[^\W_]+", parted.casefold())


def _like(word: str, known: str) -> bool:
    return word == known or (min(len(word), len(known)) > 3 and difflib.SequenceMatcher(None, word, known).ratio() >= _MISTYPED)


def names(known: Mapping[str, Input], others: Iterable[Input], aliases: Mapping[str, str] | None = None) -> Names:
    """What inputs may be called over a column; `aliases` are everyday names of this template's own, separated by ", "."""
    own = {key(heading): name for name, headings in (aliases or {}).items() for heading in headings.split(", ")}
    return Names(known, own | _names_and_labels(known.values()), _names_and_labels(i for i in others if i.name not in known))


def _names_and_labels(inputs: Iterable[Input]) -> dict[str, str]:
    inputs = list(inputs)
    found: dict[str, str] = {}
    for item in inputs:
        for text in (item.label, item.label.partition(" (")[0]):
            found.setdefault(key(text), item.name)
    return found | {key(item.name): item.name for item in inputs}


# --- units in a heading --------------------------------------------------------------------------------------------

_IN_BRACKETS = re.compile(r"(?P<base>.+?),? ?[(\[] ?(?P<unit>[^()\[\]]+?) ?[)\]]")
_WITH_UNIT = (re.compile(r"(?P<base>[^,]+?) ?, ?(?P<unit>[^,]+)"), re.compile(r"(?P<unit>%) ?(?P<base>.+)"),
              re.compile(r"(?P<base>.+?) ?(?P<unit>%)"), re.compile(r"(?P<base>.+?) in (?P<unit>[^ ]+)"),
              re.compile(r"(?P<base>.+) (?P<unit>[^ ]+)"))


def _tidy(heading: str) -> str:
    return " ".join(heading.split()).rstrip("*: ")


def _parts(text: str) -> Iterator[tuple[str, str, bool]]:
    """A heading taken apart in all ways that leave a unit: what is before it, the unit, and whether it is in brackets."""
    for pattern in (_IN_BRACKETS, *_WITH_UNIT):
        match = pattern.fullmatch(text)
        if match:
            yield match["base"], match["unit"], pattern is _IN_BRACKETS


_BASES = {basis: basis for basis in PRICE_BASES} | {"lbs": "lb", "pound": "lb", "foot": "ft", "meter": "m"}
_PER_BASIS = re.compile(rf"(.*?) ?(?:/|\bper\b) ?({'|'.join(map(re.escape, sorted(_BASES, key=len, reverse=True)))})", re.IGNORECASE)
_TIME_EACH = re.compile(r"(s|secs?|seconds|mins?|minutes) ?(?:/|\bper\b) ?(?:pc|piece|part|ea|each)", re.IGNORECASE)
_CURRENCY = re.compile(r"[$€£]|\b(?:usd|eur|gbp|dollars|euros)\b")
_PER = re.compile(r"(?:/|per) ?(.+)")
_MONEY_PER = {"per_hour": ("h", "hr", "hour"), "each": ("each", "ea", "part", "pc", "piece", "cut"), "order": ("order", "lot", "job")}
_COUNTED = ("pcs", "pc", "pieces", "parts", "ea", "each", "bars", "no", "nos", "count", "cuts")


def unit_of(item: Input, text: str) -> str | None:
    """What a unit in a heading puts behind the bare numbers of its column, "" for nothing, or None where the input has no
    such unit. `per lb` is what a price is per.

    >>> from barfuncs.templates.job_plan import FORM
    >>> [unit_of(FORM.inputs["part_length"], text) for text in ("mm", "in", "kg")]
    ['mm', 'in', None]
    >>> unit_of(FORM.inputs["material_price"], "$/lb"), unit_of(FORM.inputs["machine_rate"], "$/h"), unit_of(FORM.inputs["quantity"], "pcs")
    ('per lb', '', '')
    """
    plain = " ".join(text.casefold().split()).rstrip(".")
    match item.kind.reader:
        case "fraction":
            return "%" if plain in ("%", "percent", "pct") else None
        case "count":
            return "" if plain in _COUNTED else None
        case "number":
            return _money_per(item, _CURRENCY.sub("", plain).strip())
        case "text" | "choice" | "material":
            return None
    try:
        read_value(item.kind, f"1 {plain}")
    except ValueError:
        return None
    return plain


def _money_per(item: Input, text: str) -> str | None:
    if not text:
        return ""
    per = _PER.fullmatch(text)
    unit = per[1] if per else text
    if item.unit == "price_per":
        return f"per {_BASES[unit]}" if unit in _BASES else None
    return "" if unit in _MONEY_PER.get(item.unit, ()) and (per or unit in ("each", "ea")) else None


_MARKS = "%°'\"′″‘’“”"


def _with_unit(cell: Any, unit: str) -> Any:
    """A cell with the unit of its heading, unless it has its own."""
    if unit.startswith("per ") or isinstance(cell, bool) or not isinstance(cell, (int, float, str)):
        return cell
    text = str(cell).strip()
    if isinstance(cell, str) and any(c.isalpha() or c in _MARKS for c in text):
        return cell
    if unit == "%" and re.fullmatch(r"0?[.,][0-9]*[1-9][0-9]*", text):
        raise ValueError(f"{text} under a heading in % can mean {text} % or {text} of all; write it with its % sign")
    # With a decimal comma, a point before three digits would be taken for a thousands separator.
    return f"{text}0 {unit}" if isinstance(cell, float) and re.search(r"\.[0-9]{3}$", text) else f"{text} {unit}"


# --- the row of headings -------------------------------------------------------------------------------------------

def row_of_headings(called: Names, rows: Sequence[Sequence[Any]]) -> int:
    """Which of the first rows names the most inputs. A title above it names none."""
    counts = [sum(_is_heading(called, _text(cell)) for cell in cells) for cells in rows]
    return counts.index(max(counts))


def _text(cell: Any) -> str:
    return "" if cell is None else str(cell).strip()


def _is_heading(called: Names, text: str) -> bool:
    return bool(text) and (called.find(text) is not None or bool(called.ambiguous(text)))


def read_headings(file: str, called: Names, cells: Sequence[Any]) -> Headings:
    """What each column is.

    Raises HeadingError for headings that can mean two things, that stand twice or that are nearly an input's name. Others
    that are no input are left aside where the list has all that a job needs; else they are refused too, since what is
    missing may be among them.
    """
    texts = [_text(cell) for cell in cells]
    found = [called.find(text) if text else Column() for text in texts]
    taken = {column.name for column in found if column}
    columns: list[Column] = []
    problems: list[tuple[str, str]] = []
    unknown: list[str] = []
    for text, column in zip(texts, found, strict=True):
        column = column or _by_elimination(called, text, taken)
        twice = next((c for c in columns if c.name == column.name), None) if column and column.name not in ("", ASIDE) else None
        if column is None:
            if called.ambiguous(text) or called.of_another_unit(text):
                problems.append((_label(text), called.problem(text)))
            else:
                unknown.append(text)
        elif twice:
            same = key(twice.heading) == key(text)
            problems.append((_label(text), "stands twice in the row of headings" if same else
                             f"means the same as {_label(twice.heading)} ({twice.name}); keep one of them"))
        columns.append(column or Column(ASIDE, "", text))
    given = {column.name for column in columns}
    drawn = any(item.draws for name, item in called.known.items() if name in given)
    missing = [name for name, item in called.known.items()
               if name not in given and (name in called.needed or (item.needed and item.from_part and not drawn))]
    refused = unknown
    if not missing and len(unknown) <= _MOST_UNKNOWN:
        refused = [text for text in unknown if called.mistyped(text)]
    problems += [(_label(text), called.problem(text)) for text in refused[:_MOST_NAMED]]
    if len(refused) > _MOST_NAMED:
        problems.append((f"{len(refused) - _MOST_NAMED:,} more", "are not inputs of this template either"))
    if problems and missing:
        problems.append(("a job needs", f"{', '.join(missing)} too, which no heading names"))
    if problems:
        raise HeadingError(file, problems)
    while columns and not columns[-1].name:
        columns.pop()
    return Headings(tuple(columns), tuple(_label(text) for text in unknown))


def _label(text: str) -> str:
    return escaped(text[:_SHOWN])


def _by_elimination(called: Names, text: str, taken: set[str]) -> Column | None:
    """The input called exactly so, where all else that it can mean has a column of its own."""
    name = called.exact.get(key(text), "")
    others = {other for _, other in AMBIGUOUS.get(key(text), ()) if other != name}
    return Column(name, "", text) if name and others and others <= taken else None
