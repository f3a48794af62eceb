"""The materials table: names, designations, density, Young's modulus and where each value comes from."""

import functools
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from barfuncs.catalogue.kinds import HEAVIEST, LIGHTEST
from barfuncs.errors import InputError, shown
from barfuncs.text.datafile import builtin_data, read_file, table_rows
from barfuncs.text.pattern import pattern

if TYPE_CHECKING:  # see datafile
    from pathlib import Path

COLUMNS = ("name", "group", "en", "uns", "aisi", "also", "density_g_cm3", "density_source", "modulus_gpa", "modulus_source",
           "leaded", "caution")
REQUIRED_COLUMNS = ("name", "density_g_cm3")
_FILE = "materials file"
OWN_ROWS = 20
"""Rows for materials of the shop's own in a workbook's materials table."""
LEADED = {"yes": True, "no": False, "": False, "trace": False}
"""The column `leaded`. "trace" is the lead that a standard allows in an alloy without lead as an addition."""


@dataclass(frozen=True)
class MaterialRow:
    """One bar material. Density in g/cm3, Young's modulus in GPa (None where unknown)."""

    name: str
    group: str
    designations: tuple[str, ...]
    density: float
    density_source: str
    modulus: float | None
    modulus_source: str
    leaded: bool
    caution: str
    spellings: tuple[str, ...] = ()
    """What people write for it besides its name and designations, as keys (see `key_of`)."""

    @property
    def texts(self) -> tuple[str, ...]:
        """Everything that identifies this material by a standard: its name and designations."""
        return (self.name, *self.designations)

    @property
    def keys(self) -> frozenset[str]:
        """Everything that people write for it, as keys."""
        return frozenset((*self.spellings, *(key for text in self.texts for key in keys_of(text))))


# --- what people write ---------------------------------------------------------------------------------------------

_DASHES_AND_SPACES = str.maketrans(dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2212", "-"))
_HYPHEN = pattern(r"(?<![0-9])-|-(?![0-9])")


def key_of(text: str) -> str:
    """A material's text in lower case without spaces. A cell formula makes the same of it.

    >>> key_of("Stainless 303"), key_of("17-4 PH")
    ('stainless303', '17-4ph')
    """
    return "".join(text.translate(_DASHES_AND_SPACES).split()).casefold()


def keys_of(text: str) -> tuple[str, ...]:
    """The key of a text, and the one without its hyphens, save those between digits: 17-4 is not 174.

    >>> keys_of("Ti-6Al-4V"), keys_of("6061-T6")
    (('ti-6al-4v', 'ti6al4v'), ('6061-t6', '6061t6'))
    """
    key = key_of(text)
    return tuple(dict.fromkeys((key, _HYPHEN.sub("", key))))


_STAINLESS = ("stainless", "ss", "sst", "stainless steel")
_STEEL_GROUPS = ("free-machining steel", "carbon steel", "alloy steel", "tool steel")
_STAINLESS_GROUPS = ("stainless steel", "duplex stainless", "nitrogen-strengthened stainless", "heat-resistant alloy")
_GROUP_WORDS: dict[str, tuple[str, ...]] = {
    **dict.fromkeys(_STEEL_GROUPS, ("steel",)),
    "tool steel": ("tool steel", "steel"),
    **dict.fromkeys(_STAINLESS_GROUPS, _STAINLESS),
    "brass": ("brass",), "bronze": ("bronze",), "copper": ("copper",),
    "aluminum": ("aluminum", "aluminium", "alum", "al"),
    "titanium": ("titanium", "ti"), "nickel alloy": ("nickel", "nickel alloy"), "magnesium": ("magnesium",),
}
"""The words that stand before or behind a designation, by group."""
_GROUP_MARKS: dict[str, tuple[str, ...]] = {
    **dict.fromkeys(_STEEL_GROUPS, ("AISI", "SAE")),
    "tool steel": ("AISI",),
    **dict.fromkeys(_STAINLESS_GROUPS, ("AISI", "type", "T", "T-")),
    "nickel alloy": ("alloy",), "heat-resistant alloy": ("alloy",), "aluminum": ("AA", "alloy"),
}
"""What stands before a designation only."""
_GROUP_ENDS: dict[str, tuple[str, ...]] = {
    "carbon steel": ("CRS", "CD", "CF", "HR"), "free-machining steel": ("CRS", "CD", "CF"),
    "alloy steel": ("annealed", "prehard", "HT"), "stainless steel": ("annealed",),
}
"""What stands behind a designation only."""
_COPPER_GROUPS = ("brass", "bronze", "copper")
_SHORT_COPPER = pattern(r"C([0-9]{3})00")
_IS_CODE = pattern(r"[^ ]*[0-9][^ ]*")


def _everyday(group: str, codes: Iterable[str], uns: Iterable[str], also: Iterable[str]) -> tuple[str, ...]:
    """The everyday spellings that follow from a material's numbers and its group, as keys."""
    texts = [*also, *(f"UNS {code}" for code in uns)]
    numbers = [*codes, *(text for text in also if _IS_CODE.fullmatch(text))]
    if group in _COPPER_GROUPS:
        shorts = [short[1] for code in uns if (short := _SHORT_COPPER.fullmatch(code))]
        numbers += [f"{letter}{short}" for short in shorts for letter in ("", "C")]
        texts += [f"{word}{code}" for code in uns for word in ("CDA", "alloy")]
        texts += [f"{word}{short}" for short in shorts for word in ("CDA", "alloy")]
        numbers += uns
    for number in numbers:
        texts.append(number)
        words = _GROUP_WORDS.get(group, ())
        for word in words[:1] if number in also else words:  # fewer for a temper, of which there are many
            texts += [f"{word} {number}", f"{number} {word}"]
        if number not in also:
            texts += [f"{mark}{number}" for mark in _GROUP_MARKS.get(group, ())]
            texts += [f"{number}{end}" for end in _GROUP_ENDS.get(group, ())]
    return tuple(dict.fromkeys(key for text in texts for key in keys_of(text)))


# Words that a material's text may hold besides its designation and the words of its group: the standard, the form, the
# condition. They do not change the density. A shape is none of them, since a shape has a cell of its own.
_NEUTRAL = frozenset((
    "alloy", "grade", "gr", "type", "free", "machining", "cutting", "free-machining", "free-cutting", "aisi",
    "sae", "aa", "uns", "en", "aw", "din", "cda", "bar", "bars", "rod", "rods", "barstock", "stock", "material",
    "annealed", "ann", "normalized", "cold", "hot", "drawn", "finished", "rolled", "ground", "turned",
    "polished", "cd", "cf", "crs", "cr", "hr", "hrs", "cg", "tgp", "heat", "treated", "ht", "pre", "hard",
    "prehard", "prehardened", "hardened", "half", "full", "quenched", "tempered", "qt", "q&t", "stress",
    "relieved", "solution", "sa", "dual", "certified", "cert",
))
_CONDITION = pattern(r"\b(?:condition|cond\.?) ?a\b")
_TEMPER = pattern(r"(.*[0-9a-z])-?(t[0-9]{1,5}|h[0-9]{2,4}|-o|-f)")
_TEMPERED = frozenset(("aluminum", *_COPPER_GROUPS, *_STAINLESS_GROUPS))
_WORDS_OF = {group: frozenset(" ".join(words).split()) for group, words in _GROUP_WORDS.items()}
_WORD_GROUPS = {word: frozenset(group for group, words in _WORDS_OF.items() if word in words)
                for words in _WORDS_OF.values() for word in words}
_WORD_GROUPS["steel"] = frozenset((*_STEEL_GROUPS, *_STAINLESS_GROUPS))
_SPLIT = pattern(r"[\s,()]+")
_LONGEST_TEXT = 64
_MOST_FOUND = 2000


class Materials:
    """Materials by name, designation or everyday spelling, upper and lower case alike.

    >>> table = builtin()
    >>> table["1.4305"].name, table["303 stainless"].name, table["6061-T6 aluminum bar"].name
    ('Stainless 303', 'Stainless 303', 'Aluminum 6061')
    >>> "303 brass" in table
    False
    """

    def __init__(self, rows: Iterable[MaterialRow]) -> None:
        self.rows: tuple[MaterialRow, ...] = tuple(rows)
        self._by_text: dict[str, MaterialRow] = {}
        for row in self.rows:
            for text in row.texts:
                key = text.casefold()
                if key in self._by_text and self._by_text[key] is not row:
                    raise InputError("materials", [(text, f"names both {self._by_text[key].name} and {row.name}")])
                self._by_text[key] = row
        self._by_key: dict[str, MaterialRow] = {}
        self.unclear: dict[str, tuple[MaterialRow, ...]] = {}
        """Keys that two materials have, and so none of them."""
        # Names first, then designations, which come before everyday spellings. A workbook finds the first ones soonest.
        self._claim([keys_of(row.name) for row in self.rows])
        self._claim([[key for text in row.designations for key in keys_of(text)] for row in self.rows])
        self._claim([row.spellings for row in self.rows])
        self._name_words: dict[str, set[str]] = {}
        for row in self.rows:
            for word in re.findall("[a-z]{3,}", row.name.casefold()):
                self._name_words.setdefault(word, set()).add(row.name)
        self._found: dict[str, MaterialRow | None] = {}

    def _claim(self, keys: Iterable[Iterable[str]]) -> None:
        """Give each row its keys, save those that are taken; a key that two rows claim at once goes to neither."""
        claimed: dict[str, list[MaterialRow]] = {}
        for row, own in zip(self.rows, keys, strict=True):
            for key in dict.fromkeys(own):
                if key not in self._by_key:
                    claimed.setdefault(key, []).append(row)
        for key, rows in claimed.items():
            if len(rows) == 1:
                self._by_key[key] = rows[0]
            else:
                self.unclear.setdefault(key, tuple(rows))

    def find(self, text: str) -> MaterialRow | None:
        """The material that a text names; None where it names none, or may name two."""
        row = self._by_text.get(text.strip().casefold())
        if row is not None:
            return row
        if text not in self._found:
            if len(self._found) >= _MOST_FOUND:
                self._found.clear()
            self._found[text] = self._search(text) if len(text) <= _LONGEST_TEXT else None
        return self._found[text]

    def _lookup(self, text: str) -> MaterialRow | None:
        return next((self._by_key[key] for key in keys_of(text) if key in self._by_key), None)

    def _search(self, text: str) -> MaterialRow | None:
        if row := self._lookup(text):
            return row
        if any(key in self.unclear for key in keys_of(text)):
            return None
        plain = _CONDITION.sub(" ", text.translate(_DASHES_AND_SPACES).casefold())
        words = [word for word in _SPLIT.split(plain) if _bare(word) not in _NEUTRAL]
        said = [_bare(word) for word in words if _bare(word) in _WORD_GROUPS or _bare(word) in self._name_words]
        rest = [word for word in words if _bare(word) not in said]
        for left in (words, rest):
            row = self._lookup("".join(left)) or self._without_temper("".join(left))
            # The words left out must be those of its group or its name: there is no 303 brass.
            if row and (left is words or all(row.group in _WORD_GROUPS.get(word, ()) or row.name in self._name_words.get(word, ())
                                             for word in said)):
                return row
        return None

    def _without_temper(self, text: str) -> MaterialRow | None:
        temper = _TEMPER.fullmatch(text)
        row = self._lookup(temper[1]) if temper else None
        if row is None or temper is None or row.group not in _TEMPERED or (temper[2][0] == "t" and row.group != "aluminum"):
            return None
        return row

    def __contains__(self, text: str) -> bool:
        return self.find(text) is not None

    def __getitem__(self, text: str) -> MaterialRow:
        row = self.find(text)
        if row is None:
            raise KeyError(text)
        return row

    def __len__(self) -> int:
        return len(self.rows)

    def unknown(self, text: str) -> str:
        """What to say of a text that names no material here. No other number than the one that was written is offered.

        >>> builtin().unknown("303 stainles")
        "'303 stainles' is not a known material; do you mean 'Stainless 303'?"
        """
        two = next((self.unclear[key] for key in keys_of(text) if key in self.unclear), ())
        if two:
            return f"{shown(text)} may be {' or '.join(repr(row.name) for row in two)}: write which"
        near = self._near(text)
        if near is not None:
            return f"{shown(text)} is not a known material; do you mean {near.name!r}?"
        return (f"{shown(text)} is not a known material: look its name up on the sheet Materials of a template, or write "
                "its density, such as 7.85 g/cm3")

    def _near(self, text: str) -> MaterialRow | None:
        """The material with the same numbers and nearly the same letters; None where there is none, or more than one."""
        import difflib

        if len(text) > _LONGEST_TEXT:
            return None
        numbers, letters = _apart(text)
        found = {row.name: row for key, row in self._by_key.items()
                 if _apart(key)[0] == numbers and difflib.SequenceMatcher(None, _apart(key)[1], letters).ratio() >= 0.8}
        return next(iter(found.values())) if len(found) == 1 else None

    def extended(self, rows: Iterable[MaterialRow]) -> "Materials":
        """A table in which `rows` come first and win.

        A row with a known name takes that one's place, and its designations where it has none of its own. A designation
        that a row claims is taken from the one that had it.
        """
        known = {row.name.casefold(): row for row in self.rows}

        def with_known(row: MaterialRow) -> MaterialRow:
            same = known.get(row.name.casefold())
            if same is None:
                return row
            return replace(row, designations=row.designations or same.designations,
                           spellings=(*row.spellings, *same.spellings))

        own = tuple(map(with_known, rows))
        taken = {text.casefold() for row in own for text in row.texts}
        keys = {key for row in own for key in row.keys}
        kept = []
        for row in self.rows:
            if row.name.casefold() in taken:
                continue
            kept.append(replace(row, designations=tuple(d for d in row.designations if d.casefold() not in taken),
                                spellings=tuple(key for key in row.spellings if key not in keys)))
        return Materials((*own, *kept))

    def spelling_rows(self) -> list[tuple[str, int]]:
        """Every key that finds a material, with the number of its row from 1 on: what a workbook looks a text up in."""
        number = {row.name: n for n, row in enumerate(self.rows, start=1)}
        return [(key, number[row.name]) for key, row in self._by_key.items()]


def _apart(text: str) -> tuple[list[str], str]:
    """The numbers in a text, and its letters in lower case."""
    return re.findall("[0-9]+", text), "".join(re.findall("[a-z]", text.casefold()))


def _bare(word: str) -> str:
    """A word without its points: S.S. and alum."""
    return word.replace(".", "")


_NUMBER_COLUMNS = {"density_g_cm3": (LIGHTEST, HEAVIEST), "modulus_gpa": (0.001, 1500.0)}


def _read_number(text: str, low: float, high: float) -> float:
    # float() would also take 1_0, nan and digits of other scripts.
    if not re.fullmatch(r"[0-9]+(\.[0-9]*)?|\.[0-9]+", text) or not low <= float(text) <= high:
        comma = "; write a decimal point" if "," in text else ""
        raise ValueError(f"{text!r} is not a number from {low:g} to {high:g}{comma}")
    return float(text)


def _read_row(row: int, cells: Mapping[str, str]) -> MaterialRow:
    problems = []
    numbers: dict[str, float | None] = {}
    for key, (low, high) in _NUMBER_COLUMNS.items():
        numbers[key] = None
        try:
            if cells[key]:
                numbers[key] = _read_number(cells[key], low, high)
            elif key in REQUIRED_COLUMNS:
                raise ValueError("is blank")
        except ValueError as error:
            problems.append((f"row {row}, {key}", str(error)))
    if not cells["name"]:
        problems.append((f"row {row}, name", "is blank"))
    if cells["leaded"].casefold() not in LEADED:
        problems.append((f"row {row}, leaded", f"{cells['leaded']!r} given; allowed is yes, no or trace"))
    if problems:
        raise InputError(_FILE, problems)
    lists = {key: [d.strip() for d in cells[key].split(";") if d.strip()] for key in ("en", "uns", "aisi", "also")}
    density = numbers["density_g_cm3"]
    assert density is not None
    return MaterialRow(cells["name"], cells["group"] or "own",
                       tuple(dict.fromkeys((*lists["en"], *lists["uns"], *lists["aisi"]))), density,
                       cells["density_source"] or "the shop's own", numbers["modulus_gpa"],
                       cells["modulus_source"] or "the shop's own", LEADED[cells["leaded"].casefold()],
                       cells["caution"], _everyday(cells["group"], lists["aisi"], lists["uns"], lists["also"]))


def _parse(data: bytes) -> list[MaterialRow]:
    rows, problems = table_rows(data, _FILE, COLUMNS, REQUIRED_COLUMNS)
    read: list[MaterialRow] = []
    seen: dict[str, int] = {}
    for n, cells in rows:
        try:
            row = _read_row(n, cells)
        except InputError as error:
            problems += error.problems
            continue
        for text in {t.casefold(): t for t in row.texts}.values():
            first = seen.setdefault(text.casefold(), n)
            if first != n:
                problems.append((f"row {n}", f"{text!r} stands in row {first} already"))
        read.append(row)
    if problems:
        raise InputError(_FILE, problems)
    return read


@functools.cache
def builtin() -> Materials:
    """The table that comes with barfuncs (`materials.csv`)."""
    return Materials(_parse(builtin_data(__file__, "materials.csv")))


def read_materials(path: "str | Path") -> list[MaterialRow]:
    """Read a materials file of your own: CSV with at least the columns name and density_g_cm3.

    Raises InputError for a missing, unknown or doubled column, a bad row (all of them at once) or a file over 4 MB.
    """
    return read_file(path, _FILE, _parse)


_active: Materials | None = None


def active() -> Materials:
    """The table in use: the built-in one, or the one set by `use_materials`."""
    return _active if _active is not None else builtin()


def use_materials(path: "str | Path | None") -> Materials:
    """Add the materials of your own file to the built-in ones, yours first. None goes back to the built-in table."""
    global _active
    _active = None if path is None else builtin().extended(read_materials(path))
    return active()
