"""The table of suggested speeds and feeds: whole, plausible, honest about its sources; a shop's own rows."""

import pytest
from reference_speeds import suggested, values

import barfuncs as bf
from barfuncs.catalogue import materials
from barfuncs.tables import speeds_feeds
from barfuncs.tables.speeds_feeds import CUTS, TOOLS, SpeedFeed, SpeedsFeeds, builtin, read_speeds_feeds
from barfuncs.text.datafile import builtin_data

ROWS = builtin().rows
BY_KEY = {(r.group, r.operation, r.tool): r for r in ROWS}
GROUPS = tuple(dict.fromkeys(row.group for row in materials.builtin().rows))


def test_every_group_of_the_materials_table_has_every_operation_and_tool():
    assert set(BY_KEY) == {(g, o, t) for g in GROUPS for o in CUTS for t in TOOLS}
    assert len(ROWS) == len(BY_KEY)


def test_every_row_says_where_its_values_come_from():
    # No published value is among the project's check values, so none may claim a source.
    assert {row.source for row in ROWS} == {"common practice, from memory, no source"}


@pytest.mark.parametrize("row", ROWS, ids=lambda r: f"{r.group}-{r.operation}-{r.tool}")
def test_values_are_within_what_a_lathe_does(row):
    assert 10 <= row.surface_speed <= 1500
    if row.operation in ("threading", "tapping"):
        assert row.feed_rate is None
    elif row.operation in ("drilling", "reaming"):
        assert row.feed_rate is None
        assert 0.007 <= row.drill_feed / (2 if row.operation == "reaming" else 1) <= 0.02
    else:
        assert 0.001 <= row.feed_rate <= 0.01
    assert (row.drill_feed is not None) == (row.operation in ("drilling", "reaming"))
    feed = values(row, "in", 1)[1] or 0.05
    assert bf.operation_time(row.operation, 1, 0, 1, row.surface_speed, feed, 4000) > 0


@pytest.mark.parametrize("group", GROUPS)
def test_order_of_the_values_within_a_group(group):
    for operation in CUTS:
        carbide, steel = (BY_KEY[group, operation, tool] for tool in TOOLS)
        assert carbide.surface_speed > steel.surface_speed
    for tool in TOOLS:
        turning, facing, cutoff, drilling, threading, reaming, tapping = (BY_KEY[group, operation, tool] for operation in CUTS)
        assert tapping.surface_speed < reaming.surface_speed < drilling.surface_speed
        assert reaming.surface_speed == pytest.approx(drilling.surface_speed * 2 / 3, abs=2.5)
        assert reaming.drill_feed == pytest.approx(2 * drilling.drill_feed)
        assert turning.surface_speed == facing.surface_speed > cutoff.surface_speed == threading.surface_speed
        assert drilling.surface_speed < turning.surface_speed
        assert cutoff.feed_rate < facing.feed_rate <= turning.feed_rate


def test_hard_to_cut_groups_are_slower():
    speeds = [BY_KEY[g, "turning", "carbide"].surface_speed
              for g in ("nickel alloy", "titanium", "tool steel", "alloy steel", "carbon steel", "free-machining steel",
                        "brass", "aluminum")]
    assert speeds == sorted(speeds)


@pytest.mark.parametrize("group", ["duplex stainless", "nitrogen-strengthened stainless", "heat-resistant alloy"])
def test_alloys_that_cut_unlike_stainless_are_slower(group):
    for operation in CUTS:
        for tool in TOOLS:
            speeds = [BY_KEY[g, operation, tool].surface_speed for g in ("nickel alloy", group, "stainless steel")]
            assert speeds == sorted(speeds)
            assert speeds[1] < 0.75 * speeds[2]


@pytest.mark.parametrize(("low", "high", "least", "most"), [
    # Feeds of drills "as a general guide", the lower ones for harder materials, US Navy training manual for mechanics, as
    # reproduced at enginemechanics.tpub.com/14345 (Holding the work, page 93): thousandths of an inch in one turn
    (1 / 8, 1 / 4, 0.002, 0.004), (1 / 4, 1 / 2, 0.004, 0.007), (1 / 2, 1, 0.007, 0.015),
])
@pytest.mark.parametrize("group", ["free-machining steel", "carbon steel", "alloy steel", "stainless steel", "aluminum", "brass"])
def test_the_feed_of_a_drill_is_within_published_ranges(group, low, high, least, most):
    row = BY_KEY[group, "drilling", "high-speed steel"]
    assert least <= values(row, "in", (low + high) / 2)[1] <= most


@pytest.mark.parametrize(("group", "least", "most"), [
    # Tapping speeds in ft/min, "only starting points": a maker's technical data as reproduced at
    # lavallee-ide.com/catalog/technical_data_taps_dies_speedsinfo.php
    ("aluminum", 50, 150), ("brass", 50, 200), ("bronze", 50, 100), ("copper", 30, 60), ("magnesium", 75, 200), ("plastic", 50, 100),
    ("free-machining steel", 40, 80), ("stainless steel", 5, 35), ("titanium", 10, 40),
    # HSS taps, a maker's guidelines as read at tap-die.com (Tapping speed, feed and lubricant for taps)
    ("carbon steel", 20, 50), ("tool steel", 15, 25), ("nickel alloy", 10, 12),
])
def test_tapping_is_within_published_ranges(group, least, most):
    assert least <= BY_KEY[group, "tapping", "high-speed steel"].surface_speed <= most


@pytest.mark.parametrize(("group", "hss", "carbide"), [
    # Reaming in ft/min as read at protocutter.com (Speed & feed rates): steels 1212 to 1214, 1018, 4140; O1 and 304, annealed
    ("free-machining steel", (75, 85), (350, 400)), ("carbon steel", (45, 65), (200, 300)), ("alloy steel", (40, 60), (200, 250)),
    ("tool steel", (20, 35), (80, 200)), ("stainless steel", (30, 45), (125, 200)),
])
def test_reaming_is_no_faster_than_published(group, hss, carbide):
    assert hss[0] <= BY_KEY[group, "reaming", "high-speed steel"].surface_speed <= hss[1]
    # With carbide the table starts lower than the published ones, for a sliding head and a long reamer.
    assert 0.4 * carbide[0] <= BY_KEY[group, "reaming", "carbide"].surface_speed <= carbide[1]


def test_the_feed_of_a_drill_follows_its_diameter():
    row = SpeedFeed("brass", "drilling", "carbide", 450, None, "x", drill_feed=0.016)
    assert [values(row, "in", diameter)[1] for diameter in (0.0625, 0.5, 1, 2.5)] == pytest.approx([0.001, 0.008, 0.016, 0.016], rel=1e-12)
    assert [values(row, "mm", diameter)[1] for diameter in (1, 25.4, 60)] == pytest.approx([0.016, 0.4064, 0.4064], rel=1e-12)
    assert values(row, "in") == (450, None)
    assert values(SpeedFeed("brass", "turning", "carbide", 450, 0.005, "x"), "in", 3) == (450, 0.005)


def test_a_file_of_the_shops_own_wins(tmp_path):
    path = tmp_path / "own.csv"
    path.write_text("group,operation,tool,surface_speed_m_min,feed_mm_rev\nBrass,Turning,carbide,200,0.2\n"
                    "house alloy,threading,carbide,60,\n", encoding="utf-8")
    table = read_speeds_feeds(path)
    assert values(suggested("Brass C36000", "turning", table=table), "mm") == (pytest.approx(200), pytest.approx(0.2))
    assert suggested("brass", "turning", table=table).source == "the shop's own"
    assert values(suggested("house alloy", "threading", table=table), "mm") == (pytest.approx(60), None)
    assert suggested("brass", "facing", table=table) == BY_KEY["brass", "facing", "carbide"]
    assert len(table.rows) == len(ROWS) + 1
    path.write_text("group,operation,tool,surface_speed_ft_min,feed_in_rev\nbrass,turning,carbide,200 m/min,0.2 mm/rev\n")
    assert values(suggested("brass", "turning", table=read_speeds_feeds(path)), "mm") == (pytest.approx(200), pytest.approx(0.2))
    assert builtin().rows is ROWS


HEAD = "group,operation,tool,surface_speed_ft_min,surface_speed_m_min,feed_in_rev,feed_mm_rev\n"
DRILLS = "group,operation,tool,surface_speed_ft_min,feed_in_rev,drill_feed\n"


@pytest.mark.parametrize(("text", "message"), [
    ("group,operation\nbrass,turning\n", "tool: this column is missing"),
    ("group,operation,tool,speed\n", "speed: is not a column; known are group, operation, tool, surface_speed_ft_min"),
    (HEAD + ",turning,carbide,500,,0.005,\n", "row 2, group: is blank"),
    (HEAD + "brass,milling,carbide,500,,0.005,\n", "row 2, operation: 'milling' given; allowed is one of turning"),
    (HEAD + "brass,turning,wood,500,,0.005,\n", "row 2, tool: 'wood' given"),
    (HEAD + "brass,turning,carbide,,,0.005,\n", "row 2, surface_speed_ft_min: is blank"),
    (HEAD + "brass,turning,carbide,500,,,\n", "row 2, feed_in_rev: is blank"),
    (HEAD + "brass,turning,carbide,500,150,0.005,\n", "row 2, surface_speed_m_min: is given in both units; leave one blank"),
    (HEAD + "brass,turning,carbide,0,,0.005,\n", "row 2, surface_speed_ft_min: '0' given; allowed is a number 0.001 or more"),
    (HEAD + "brass,turning,carbide,nan,,0.005,\n", "row 2, surface_speed_ft_min: 'nan'"),
    (HEAD + "brass,turning,carbide,fast,,0.005,\n", "row 2, surface_speed_ft_min: 'fast' can't be read"),
    (HEAD + "brass,turning,carbide,500,,-1,\n", "row 2, feed_in_rev: '-1'"),
    (HEAD + "brass,threading,carbide,500,,0.05,\n", "row 2, feed_in_rev: must be blank: a thread's feed is its pitch"),
    (HEAD + "brass,turning,carbide,500,,0.005,,x\n", "row 2: has more cells than the first row has names"),
    (HEAD + "brass,drilling,carbide,500,,0.005,\n", "row 2, drill_feed: is blank: give the feed as a share of the drill's diameter"),
    (DRILLS + "brass,reaming,carbide,300,,\n", "row 2, drill_feed: is blank: give the feed as a share of the reamer's diameter"),
    (HEAD + "brass,tapping,carbide,100,,0.05,\n", "row 2, feed_in_rev: must be blank: a thread's feed is its pitch"),
    (DRILLS + "brass,drilling,carbide,500,0.005,1.5%\n", "row 2, feed_in_rev: must be blank: a drill's feed is a share of its diameter"),
    (DRILLS + "brass,drilling,carbide,500,,1.5\n", "row 2, drill_feed: '1.5' given; allowed is a number more than 0 and at most 0.1"),
    (DRILLS + "brass,turning,carbide,500,0.005,1.5%\n", "row 2, drill_feed: must be blank: it is for drilling and reaming only"),
])
def test_a_bad_file_is_refused_with_line_and_column(tmp_path, text, message):
    path = tmp_path / "own.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(bf.InputError, match=f"^speeds and feeds file own.csv: {message}"):
        read_speeds_feeds(path)


def test_a_drills_feed_is_read_as_a_share(tmp_path):
    path = tmp_path / "own.csv"
    path.write_text(DRILLS + "brass,drilling,carbide,500,,2%\nbronze,drilling,carbide,400,,0.012\n", encoding="utf-8")
    table = read_speeds_feeds(path)
    assert [suggested(group, "drilling", table=table).drill_feed for group in ("brass", "bronze")] == [0.02, 0.012]


def test_a_row_that_stands_there_twice_is_refused(tmp_path):
    path = tmp_path / "own.csv"
    path.write_text(HEAD + "brass,turning,carbide,500,,0.005,\nBRASS,turning,carbide,400,,0.005,\n", encoding="utf-8")
    with pytest.raises(bf.InputError, match="row 3: says the same as row 2; one of them must go"):
        read_speeds_feeds(path)
    with pytest.raises(bf.InputError, match="brass: turning with carbide stands there twice"):
        SpeedsFeeds([BY_KEY["brass", "turning", "carbide"]] * 2)


def test_all_bad_cells_are_named_at_once(tmp_path):
    path = tmp_path / "own.csv"
    path.write_text(HEAD + "brass,turning,wood,0,,0.005,\nbrass,facing,carbide,400,,,\n", encoding="utf-8")
    with pytest.raises(bf.InputError) as caught:
        read_speeds_feeds(path)
    assert [place for place, _ in caught.value.problems] == ["row 2, tool", "row 2, surface_speed_ft_min", "row 3, feed_in_rev"]


@pytest.mark.parametrize(("data", "message"), [
    (b"group,operation,tool\n\xff\n", r"speeds and feeds file: own\.csv: is not a CSV text in UTF-8"),
    (b"PK\x03\x04", r"speeds and feeds file: own\.csv: is a workbook; save it as CSV UTF-8"),
    (b"x" * 4_000_001, r"speeds and feeds file: own\.csv: is larger than 4 MB"),
])
def test_what_is_no_csv_text_is_refused(tmp_path, data, message):
    path = tmp_path / "own.csv"
    path.write_bytes(data)
    with pytest.raises(bf.InputError, match=f"^{message}"):
        read_speeds_feeds(path)


def test_the_table_is_in_the_package():
    assert builtin_data(speeds_feeds.__file__, "speeds_feeds.csv").startswith(b"group,operation,tool,surface_speed_ft_min,feed_in_rev,drill_feed,source")
