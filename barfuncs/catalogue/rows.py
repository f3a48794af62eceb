"""Tables that are given row by row: a range of cells, rows or mappings, or one text; each cell is read by its column.

>>> from barfuncs.catalogue.kinds import Sections, kind_of
>>> read_rows(kind_of(Sections), "round 1/2 x 3/4 bore 1/4; hex 3/4 x 3/8").settled("in")
[(1, ('round', 0.5, 0.75, None, 0.25, None)), (2, ('hexagon', 0.75, 0.375, None, 0.0, None))]
"""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from barfuncs.catalogue import units as _units
from barfuncs.catalogue.kinds import SECTION_SHAPES, Kind
from barfuncs.catalogue.reading import CALL, Rows, Way, read_choice, read_value
from barfuncs.errors import BarfuncsError, shown

_MOST_NAMED = 8
_LONGEST_TEXT = 4000
_MOST_LOOKED_AT = 5000
"""Rows of a range; a whole column has a million, nearly all blank."""


def read_rows(kind: Kind, value: Any, way: Way = CALL) -> Rows:
    """Read a table. Raises BarfuncsError naming row and column of what can't be read.

    Blank rows are passed over, but counted, so that row n is row n of a range. A first row of headings tells which
    column is which; without one the columns stand in their order.
    """
    read, problems = Rows(kind, []), []
    for number, row in _numbered(kind, value):
        if len(read.rows) == kind.most_rows:
            raise BarfuncsError(f"row {number}: more than {kind.most_rows} rows given")
        cells: list[tuple[Any, str | None, Any]] = []
        for column in kind.columns:
            given = row.get(column.name)
            if given is None:
                if column.needed:
                    problems.append(f"row {number}, {column.name}: is missing")
                cells.append((column.default, None, None))
                continue
            try:
                item, system = read_value(column.kind, given, way)
            except ValueError as error:
                problems.append(f"row {number}, {column.name}: {error}")
                continue
            if column.kind.two_systems:
                read.quantities |= _units.is_quantity(given)
                if system:
                    read.systems.add(system)
                elif item:
                    read.bare = True
            cells.append((item, system, given))
        read.rows.append((number, cells))
    if not read.rows:
        raise BarfuncsError("give at least one row")
    if problems:
        more = len(problems) - _MOST_NAMED
        raise BarfuncsError("; ".join(problems[:_MOST_NAMED] + ([f"and {more} more"] if more > 0 else [])))
    return read


def rows_in_words(kind: Kind, text: str) -> list[dict[str, Any]]:
    """The rows that a text gives, each value as it is written. Raises BarfuncsError for a text that can't be taken apart.

    >>> from barfuncs.catalogue.kinds import Sections, kind_of
    >>> rows_in_words(kind_of(Sections), "1/2 x 3/4; hex 19 mm x 10 mm")
    [{'size': '1/2', 'length': '3/4'}, {'shape': 'hexagon', 'size': '19 mm', 'length': '10 mm'}]
    """
    return [row for _, row in _numbered(kind, text)]


def _numbered(kind: Kind, value: Any) -> Iterator[tuple[int, dict[str, Any]]]:
    """The filled rows by their number, as mappings."""
    is_row, from_text = _TEXTS[kind.name]
    if hasattr(value, "tolist") and not _units.is_quantity(value):
        value = value.tolist()  # an array
    if isinstance(value, Mapping):
        value = [value]
    if isinstance(value, str):
        value = _pieces(value)
    elif not isinstance(value, (list, tuple)):
        raise BarfuncsError(f"{shown(value)} given; allowed are {kind.name}, or a text of them")
    elif not any(isinstance(row, (list, tuple, Mapping)) for row in value) and not all(map(is_row, filter(None, value))):
        value = [value]  # one row of cells
    names: list[str] | None = None
    for number, row in enumerate(value, start=1):
        if number > _MOST_LOOKED_AT:
            raise BarfuncsError(f"more than {_MOST_LOOKED_AT:,} rows given")
        if isinstance(row, (list, tuple)) and sum(not _is_blank(cell) for cell in row) == 1:
            row = next((cell for cell in row if is_row(cell)), row)  # a row in words within a column of cells
        if isinstance(row, Mapping):
            made = {_name_of(key): cell for key, cell in row.items()}
            _refuse_unknown(kind, made, number)
        elif isinstance(row, str):
            made = from_text(row, number) if row.strip() else {}
        elif isinstance(row, (list, tuple)):
            if names is None:
                names = _heading(kind, row)
                if names:
                    _refuse_unknown(kind, dict.fromkeys(filter(None, names)), number)
                    continue
                if all(map(_is_blank, row)):
                    names = None  # a heading may follow
                    continue
                names = [c.name for c in kind.columns]
            if any(not _is_blank(cell) for cell in row[len(names):]):
                raise BarfuncsError(f"row {number}: {len(row)} cells given; the columns are {', '.join(c.name for c in kind.columns)}")
            made = dict(zip(names, row, strict=False))
        elif row is None:
            continue
        else:
            raise BarfuncsError(f"row {number}: {shown(row)} given; a row has {', '.join(c.name for c in kind.columns)}")
        made = {name: cell for name, cell in made.items() if not _is_blank(cell)}
        if made:
            yield number, made


def _is_blank(cell: Any) -> bool:
    return cell is None or (isinstance(cell, str) and not cell.strip())


def _name_of(heading: Any) -> str:
    return re.sub(r"[\s_-]+", "_", str(heading).strip().casefold())


def _heading(kind: Kind, row: Sequence[Any]) -> list[str] | None:
    """The names of the columns where the row is one of headings: the needed columns are all among them."""
    names = [_name_of(cell) if isinstance(cell, str) else "" for cell in row]
    return names if all(c.name in names for c in kind.columns if c.needed) else None


def _refuse_unknown(kind: Kind, names: Mapping[str, Any], number: int) -> None:
    known = [c.name for c in kind.columns]
    if unknown := [name for name in names if name not in known]:
        raise BarfuncsError(f"row {number}: {', '.join(map(shown, unknown[:_MOST_NAMED]))} is no column; known are {', '.join(known)}")


# --- sections in words -----------------------------------------------------------------------------------------------

_TIMES = re.compile("[x×]", re.IGNORECASE)
_TO = re.compile(r"(?<![a-z])(to|pitch diameter|p\.?d\.?)(?=[\s.0-9])", re.IGNORECASE)
_BORE = re.compile(r",?\s*(?<![a-z])bore\b", re.IGNORECASE)
_WORD = re.compile(r"\s*([a-z]{2,})\b\.?", re.IGNORECASE)
_HOW = "write for example round 1/2 to 3/8 x 3/4 bore 1/4"


def _pieces(text: str) -> list[str]:
    if len(text) > _LONGEST_TEXT:
        raise BarfuncsError(f"{len(text):,} characters given; allowed are at most {_LONGEST_TEXT:,}")
    return re.split(r"[;\r\n]", text)


def _is_section(value: Any) -> bool:
    return isinstance(value, str) and len(_TIMES.split(_without_shape(value)[1])) == 2


def _without_shape(text: str) -> tuple[str | None, str]:
    """The shape that a text begins with, and the rest of it."""
    if word := _WORD.match(text):
        try:
            return read_choice(word[1], SECTION_SHAPES), text[word.end():]
        except BarfuncsError:
            pass  # a word for the diameter, or none
    return None, text


def _section(text: str, number: int) -> dict[str, Any]:
    """One section in words: its shape (round where none stands), its size, `to` its end size (or a thread's `pd`), `x` its
    length, `bore`, `to` its end. The texts of the lengths are read later."""
    shape, rest = _without_shape(text)
    parts = _TIMES.split(rest)
    across = _TO.split(parts[0])
    along = _BORE.split(parts[-1])
    inner = _TO.split(along[1]) if len(along) == 2 else []
    if len(parts) != 2 or len(across) not in (1, 3) or len(along) > 2 or len(inner) not in (0, 1, 3) or not all(
            piece.strip() for piece in (*across, *along, *inner)):
        raise BarfuncsError(f"row {number}: {shown(text.strip())} can't be read as a section; {_HOW}")
    if len(across) == 3 and (across[1].casefold() != "to") is not (shape == "thread"):
        raise BarfuncsError(f"row {number}: {shown(text.strip())}: a thread has a pitch diameter (thread 1/2 pd 0.45 x 3/4), other "
                            "sections taper to an end size")
    return {"shape": shape, "size": across[0].strip(), "length": along[0].strip(),
            "end_size": across[2].strip() if len(across) == 3 else None, "bore": inner[0].strip() if inner else None,
            "bore_end": inner[2].strip() if len(inner) == 3 else None}


# --- offers in words -------------------------------------------------------------------------------------------------

_FROM = re.compile(r"\bfrom\b", re.IGNORECASE)


def _is_offer(value: Any) -> bool:
    return isinstance(value, str) and value.count(":") == 1


def _offer(text: str, number: int) -> dict[str, Any]:
    """One offer in words: its length, `from` the quantity that its price holds from, a colon, the price. Texts are read later."""
    pieces = text.split(":")
    bought = _FROM.split(pieces[0])
    if len(pieces) != 2 or len(bought) > 2 or not all(piece.strip() for piece in (*pieces, *bought)):
        raise BarfuncsError(f"row {number}: {shown(text.strip())} can't be read as an offer; write for example 12 ft from 200: 2.10")
    return {"length": bought[0].strip(), "price": pieces[1].strip(), "from_quantity": bought[1].strip() if len(bought) == 2 else None}


_TEXTS: dict[str, tuple[Callable[[Any], bool], Callable[[str, int], dict[str, Any]]]] = {
    "rows of sections": (_is_section, _section), "rows of offers": (_is_offer, _offer)}
"""By the kind of a table: whether a text is a row of it, and how it is read."""
