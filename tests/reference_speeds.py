"""What the table of speeds and feeds suggests, looked up in Python: the second opinion on the formulas of the sheets."""

from barfuncs.catalogue import materials
from barfuncs.tables.speeds_feeds import WIDEST_DRILL, SpeedFeed, SpeedsFeeds, builtin

MM = 25.4
FEET_IN_A_METER = 1 / 0.3048


def suggested(material: str, operation: str, tool: str = "carbide", table: SpeedsFeeds | None = None) -> SpeedFeed:
    """The row for a material by name or designation, or for a group."""
    known = materials.active()
    group = (known[material].group if material in known else material).casefold()
    [row] = [row for row in (table or builtin()).rows if (row.group.casefold(), row.operation, row.tool) == (group, operation, tool)]
    return row


def values(row: SpeedFeed, units: str = "in", diameter: float | None = None) -> tuple[float, float | None]:
    """Surface speed and feed in ft/min and in/rev, or m/min and mm/rev; a drill's feed needs its diameter, in `units` too."""
    metric = units == "mm"
    speed = row.surface_speed / FEET_IN_A_METER if metric else row.surface_speed
    if row.drill_feed is not None and diameter is not None:
        return speed, row.drill_feed * min(diameter, WIDEST_DRILL * (MM if metric else 1))
    return speed, row.feed_rate * MM if metric and row.feed_rate is not None else row.feed_rate
