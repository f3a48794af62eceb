"""Suggested surface speeds and feeds by material group: starting values, for the shop to replace by its own.

The table's numbers are in ft/min and inch per revolution; metric values are the same ones, converted. A drill's feed is a
share of its diameter, since a thin drill breaks at the feed of a thick one; so is a reamer's.
"""

import functools
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from barfuncs.catalogue import kinds
from barfuncs.catalogue.kinds import UNITS, Kind
from barfuncs.catalogue.reading import CELLS, in_units, read_choice, read_in
from barfuncs.errors import InputError
from barfuncs.text.datafile import builtin_data, read_file, table_rows

if TYPE_CHECKING:  # see datafile
    from pathlib import Path

MOST_OWN_ROWS = 500
"""Of a shop file."""
TOOLS = kinds.TOOLS
CUTS = ("turning", "facing", "cut-off", "drilling", "threading", "reaming", "tapping")
"""The operations that have starting values; boring and taper turning take those of turning, grooving those of cut-off."""

BY_DIAMETER, BY_PITCH = ("drilling", "reaming"), ("threading", "tapping")
"""Operations whose feed is a share of the diameter, and those whose feed is the pitch."""

REQUIRED_COLUMNS = ("group", "operation", "tool")
# One speed is needed, in either unit. A drill's or a reamer's feed is a share of its diameter, a thread's is its pitch; all
# others have a feed in either unit.
NUMBERS = {"surface_speed_ft_min": ("surface_speed", "in"), "surface_speed_m_min": ("surface_speed", "mm"),
           "feed_in_rev": ("feed_rate", "in"), "feed_mm_rev": ("feed_rate", "mm"), "drill_feed": ("drill_feed", "")}
COLUMNS = (*REQUIRED_COLUMNS, *NUMBERS, "source", "note")
_FILE = "speeds and feeds file"
KINDS = {"surface_speed": kinds.kind_of(kinds.SurfaceSpeed), "feed_rate": kinds.kind_of(kinds.FeedRate),
         "drill_feed": Kind("feed of a drill", "fraction", None, 0, 0.1, open_low=True, smallest=1e-4)}
WIDEST_DRILL = 1.0
"""Inch. A wider drill is fed like this one: from there on the feed no longer grows with the diameter (common practice)."""


@dataclass(frozen=True)
class SpeedFeed:
    """A starting value. Surface speed in ft/min; feed in inch per revolution, for a drill or a reamer instead as a share of
    its diameter (`drill_feed`), for a thread neither: its pitch.
    """

    group: str
    operation: str
    tool: str
    surface_speed: float
    feed_rate: float | None
    source: str
    note: str = ""
    drill_feed: float | None = None

    @property
    def key(self) -> tuple[str, str, str]:
        return self.group.casefold(), self.operation, self.tool


class SpeedsFeeds:
    """Starting values by material group, operation and tool."""

    def __init__(self, rows: Iterable[SpeedFeed]) -> None:
        self.rows: tuple[SpeedFeed, ...] = tuple(rows)
        keys = set()
        for row in self.rows:
            if row.key in keys:
                raise InputError("speeds and feeds", [(row.group, f"{row.operation} with {row.tool} stands there twice")])
            keys.add(row.key)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, SpeedsFeeds) and self.rows == other.rows

    def __hash__(self) -> int:
        return hash(self.rows)

    def extended(self, rows: Iterable[SpeedFeed]) -> "SpeedsFeeds":
        """A table in which `rows` come first and take the place of those for the same group, operation and tool."""
        own = tuple(rows)
        taken = {row.key for row in own}
        return SpeedsFeeds((*own, *(row for row in self.rows if row.key not in taken)))


def read_row(cells: Mapping[str, Any], place: Callable[[str], str]) -> tuple[SpeedFeed | None, list[tuple[str, str]]]:
    """One row of a table: the value and what is wrong with it. `place` says where a column's cell stands.

    A number is in its column's unit; a text may carry another one.
    """
    problems, texts = [], {}
    for column, choices in (("operation", CUTS), ("tool", TOOLS)):
        try:
            texts[column] = read_choice(cells[column], choices)
        except ValueError as error:
            problems.append((place(column), str(error)))
    if not cells["group"]:
        problems.append((place("group"), "is blank"))
    found: dict[str, float] = {}
    for column, (what, column_system) in NUMBERS.items():
        given = cells[column]
        if given is None or given == "":
            continue
        if what in found:
            problems.append((place(column), "is given in both units; leave one blank"))
            continue
        kind = KINDS[what]
        try:
            found[what] = in_units(read_in(kind, given, column_system or UNITS[0], CELLS), kind, column_system, UNITS[0])
        except ValueError as error:
            found[what] = 0
            problems.append((place(column), str(error)))
    if "surface_speed" not in found:
        problems.append((place("surface_speed_ft_min"), "is blank"))
    problems += [(place(column), reason) for column, reason in _feed_problems(texts.get("operation"), found)]
    if problems:
        return None, problems
    return SpeedFeed(cells["group"], texts["operation"], texts["tool"], found["surface_speed"], found.get("feed_rate"),
                     cells["source"] or "the shop's own", cells["note"] or "", found.get("drill_feed")), []


def _feed_problems(operation: str | None, found: Mapping[str, float]) -> list[tuple[str, str]]:
    """What is wrong with the feeds of a row, each with its column; nothing where the operation is not known."""
    feed, drill = "feed_rate" in found, "drill_feed" in found
    if operation in BY_DIAMETER:
        tool = "drill" if operation == "drilling" else "reamer"
        if not drill:
            return [("drill_feed", f"is blank: give the feed as a share of the {tool}'s diameter, such as 1.5%")]
        return [("feed_in_rev", f"must be blank: a {tool}'s feed is a share of its diameter")] if feed else []
    problems = [("drill_feed", "must be blank: it is for drilling and reaming only")] if drill and operation else []
    if operation in BY_PITCH and feed:
        problems.append(("feed_in_rev", "must be blank: a thread's feed is its pitch"))
    elif operation not in BY_PITCH and not feed:
        problems.append(("feed_in_rev", "is blank"))
    return problems


def _parse(data: bytes) -> list[SpeedFeed]:
    rows, problems = table_rows(data, _FILE, COLUMNS, REQUIRED_COLUMNS)
    found: list[SpeedFeed] = []
    first: dict[tuple[str, str, str], int] = {}
    for n, cells in rows:
        row, wrong = read_row(cells, lambda column, n=n: f"row {n}, {column}")  # type: ignore[misc]
        problems += wrong
        if row is None:
            continue
        if first.setdefault(row.key, n) != n:
            problems.append((f"row {n}", f"says the same as row {first[row.key]}; one of them must go"))
        found.append(row)
    if problems:
        raise InputError(_FILE, problems)
    return found


@functools.cache
def builtin() -> SpeedsFeeds:
    """The table that comes with barfuncs (`speeds_feeds.csv`)."""
    return SpeedsFeeds(_parse(builtin_data(__file__, "speeds_feeds.csv")))


def read_speeds_feeds(path: "str | Path") -> SpeedsFeeds:
    """The built-in table with the rows of a file of your own in front: CSV with at least group, operation, tool and a speed.

    Columns are group, operation, tool, surface_speed_ft_min or surface_speed_m_min, feed_in_rev or feed_mm_rev,
    drill_feed (the feed of a drill or a reamer as a share of its diameter: 1.5%), source, note. A row takes the place of the built-in one for the same group, operation and tool.
    Raises InputError that names every bad cell by row and column.
    """
    return builtin().extended(read_file(path, _FILE, _parse))
