"""Units and text: every spelling that reads, every one that is refused, published values, pint traps."""

import contextlib
import math
import subprocess
import sys
from fractions import Fraction

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from barfuncs.catalogue import units as u
from barfuncs.catalogue.units import TextError, UnitError
from barfuncs.errors import BarfuncsError

NBSP, THIN, NARROW = "\u00a0", "\u2009", "\u202f"

LENGTHS = [
    ("12 ft", 144, "in"), ("12ft", 144, "in"), ("12 feet", 144, "in"), ("1 foot", 12, "in"), ("12 ft.", 144, "in"),
    ("12'", 144, "in"), ("12.5'", 150, "in"), ("12 1/2 ft", 150, "in"), ("12 FT", 144, "in"), ("2 yd", 72, "in"),
    ("12' 6-1/2\"", 150.5, "in"), ("12'6\"", 150, "in"), ("12'-6 1/2\"", 150.5, "in"), ("12' - 6\"", 150, "in"),
    ("12'-6-1/2\"", 150.5, "in"), ("12'–6\"", 150, "in"), ("12 ft 6 in", 150, "in"), ("12ft6in", 150, "in"),
    ("12ft 6in.", 150, "in"), ("12 feet 6 inches", 150, "in"), ("12' 6", 150, "in"), ("12'6", 150, "in"),
    ("12' 6.25\"", 150.25, "in"), ("12' 11 7/8\"", 155.875, "in"), ("17 ft .5 in", 204.5, "in"), ("17 ft. 5 in", 209, "in"), ("3' 3/4", 36.75, "in"), ("3' 3/4\"", 36.75, "in"),
    ("0' 6\"", 6, "in"), ("12 ft 6", 150, "in"), ("12 FT 6 IN", 150, "in"),
    ("12′ 6″", 150, "in"), ("12’ 6”", 150, "in"), ("12’ 6“", 150, "in"), ("12' 6''", 150, "in"), ("6''", 6, "in"),
    ("12‘6’’", 150, "in"), ("6\"", 6, "in"), ("6 \"", 6, "in"), ("6”", 6, "in"),
    ("1 3/8", 1.375, None), ("1-3/8", 1.375, None), ("3/4", 0.75, None), ("9/8", 1.125, None), ("1‑3/8", 1.375, None),
    ("1 - 3/8", 1.375, None), ("1 -3/8", 1.375, None), ("1- 3/8 in", 1.375, "in"), ("1–3/8", 1.375, None), ("1 – 3/8\"", 1.375, "in"),
    ("1—3/8", 1.375, None), ("1−3/8", 1.375, None), ("1–½", 1.5, None), ("1 – ½ in", 1.5, "in"), ("12' 6–1/2\"", 150.5, "in"),
    ("1-3/8\"", 1.375, "in"), ("1 3/8\"", 1.375, "in"), ("3/4 in", 0.75, "in"), ("3 / 4 in", 0.75, "in"),
    ("3⁄4 in", 0.75, "in"), ("21 23/64 in", 21.359375, "in"), ("9/8 in", 1.125, "in"),
    (".750", 0.75, None), (".75\"", 0.75, "in"), ("0.75", 0.75, None), ("12", 12, None), ("5.", 5, None),
    ("0", 0, None),
    ("2.25 inch", 2.25, "in"), ("2.25 inches", 2.25, "in"), ("2.25 in.", 2.25, "in"), ("2.25in", 2.25, "in"),
    ("2.25 IN", 2.25, "in"), ("2.25 Inch", 2.25, "in"), ("825 thou", 0.825, "in"), ("825thou", 0.825, "in"),
    ("19 mm", 19, "mm"), ("19mm", 19, "mm"), ("19 MM", 19, "mm"), ("19 mm.", 19, "mm"), ("3.66 m", 3660, "mm"),
    ("365 cm", 3650, "mm"), ("1.5e3 mm", 1500, "mm"), ("1.5E3", 1500, None), ("3 meter", 3000, "mm"),
    ("3 meters", 3000, "mm"), ("3 metre", 3000, "mm"), ("3 metres", 3000, "mm"), ("19 millimetre", 19, "mm"),
    ("19 millimetres", 19, "mm"), ("19 millimeter", 19, "mm"), ("19 millimeters", 19, "mm"), ("3 M", 3000, "mm"),
    ("½", 0.5, None), ("¼ in", 0.25, "in"), ("¾\"", 0.75, "in"), ("⅜ in", 0.375, "in"), ("1½\"", 1.5, "in"),
    ("1 ½", 1.5, None), ("1-½\"", 1.5, "in"), ("12' 6½\"", 150.5, "in"), ("12'½\"", 144.5, "in"),
    ("1⅞ in", 1.875, "in"),
    (f"19{NBSP}mm", 19, "mm"), (f"19{THIN}mm", 19, "mm"), (f"19{NARROW}mm", 19, "mm"), (f"1{NBSP}3/8", 1.375, None),
    (f"{NBSP}19 mm ", 19, "mm"), ("  12   ft  6\tin ", 150, "in"), ("19 mm\n", 19, "mm"),
]


@pytest.mark.parametrize(("text", "value", "system"), LENGTHS)
def test_length_reads(text, value, system):
    assert u.parse_length(text) == (value, system)


def test_every_fraction_sign_reads_as_its_fraction():
    for sign, fraction in u._FRACTION_SIGNS.items():
        assert u.parse_length(f"2{sign} in")[0] == float(2 + Fraction(fraction))


@pytest.mark.parametrize(("text", "words"), [
    ("8 mil", "write thou or mm"), ("8 mils", "write thou or mm"), ("8MIL", "write thou or mm"),
    ("12,5", "comma may be"), ("1,375", "comma may be"), ("12,5 mm", "comma may be"), ("1,250.5", "comma may be"),
    ("1,250.5 mm", "comma may be"), ("12 ft, 6 in", "comma may be"),
    ("5' 30 mm", "ft next to a metric unit"), ("5 ft 30 cm", "ft next to a metric unit"),
    ("2 in 5 mm", "in next to a metric unit"), ("1 m 6\"", "in next to a metric unit"),
    ("1'200 mm", "ft next to a metric unit"),
    ("-5 mm", "a sign is not allowed"), ("−5 mm", "a sign is not allowed"), ("–5 mm", "a sign is not allowed"),
    ("+5 mm", "a sign is not allowed"), ("-1/2", "a sign is not allowed"), ("-½", "a sign is not allowed"),
    ("3/0", "zero below the line"), ("1 0/0 in", "zero below the line"), ("1/2/3", "more than one '/'"),
    ("½/2", "more than one '/'"), ("½½", "two numbers"), ("½5", "two numbers"), ("1/2½", "two numbers"),
    ("", "blank"), ("   ", "blank"), (NBSP, "blank"),
    ("nan", "doesn't start with a number"), ("inf", "doesn't start with a number"), ("Infinity", "doesn't start"),
    ("nan mm", "doesn't start"), ("abc", "doesn't start"), ("$5", "doesn't start"), ("in", "doesn't start"),
    ("12 6", "two numbers with no unit"), ("1.5 3/8", "two numbers with no unit"),
    ("1.2.3", "two numbers with no unit"),
    ("12-6", "two numbers with no unit"), ("12-6 in", "two numbers with no unit"), ("1 250 mm", "two numbers"),
    ("1 3", "two numbers"), ("1 - 3", "two numbers"), ("1–3", "character '–'"), ("1 3/8 - 1 1/2", "write for example"),
    ("3ft.25in", "the point may end the unit or begin the number: write 3ft 25in or 3ft 0.25in"),
    ("17ft.5in", "write 17ft 5in or 17ft 0.5in"), ("17 ft.5 in", "write 17 ft 5 in or 17 ft 0.5 in"), ("3ft.6", "write 3ft 6 or 3ft 0.6"),
    ("3' 14\"", "14 in .* write 50 in"), ("3' 12\"", "write 48 in"), ("3 ft 12.5 in", "write 48.5 in"), ("3ft 25in", "write 61 in"),
    ("1³/8", "character '³' is no plain digit"), ("1 ³/8", "no plain digit"), ("1³/₈", "no plain digit"),
    ("12 furlong", "'furlong' is unknown; known are in, ft, yd, thou, mm, cm, m"), ("5 lb", "'lb' is unknown"),
    ("0x10", "'x' is unknown|write for example"), ("1_000", "write for example"), ("12 um", "'um' is unknown"),
    ("\"6", "goes after the number"), ("'6", "goes after the number"), ("”6", "goes after the number"),
    ("1 9/8 in", "must be less than 1"), ("1-3/3", "must be less than 1"), ("12' 6 9/8\"", "must be less than 1"),
    ("12.5' 6\"", "must be a whole number"), ("12 1/2' 6\"", "must be a whole number"),
    ("1'200", "second number has no unit"), ("12' 14", "second number has no unit"),
    ("5 ft2", "second number has no unit"), ("3 m 20 cm", "only ft then in"), ("6\" 12'", "only ft then in"),
    ("12 ft 6 ft", "only ft then in"), ("2 yd 1 ft", "only ft then in"), ("3 m 5", "only ft then in"),
    ("6\" 1/2\"", "only ft then in"), ("5 m2", "only ft then in"), ("5 ft 6 in 2", "write for example"),
    ("١٢ mm", "character '١'"), ("\uff11\uff12 mm", "character"), ("5²", "character '²'"), ("19 µm", "character"),
    ("5–6 mm", "character '–'"), ("1.5e300 mm", "write for example"), ("1e999999999 mm", "write for example"),
    ("12\n6", "more than one line"), ("1\r3/8", "more than one line"),
    ("1" * 65, "longer than 64"), ("1 " * 5000, "longer than 64"), (" " * 100 + "5 mm", "longer than 64"),
    ("3 mm x 4", "write for example"), ("=1+1", "write for example"), ("6'''", "write for example"),
])
def test_length_refused(text, words):
    with pytest.raises(TextError, match=words):
        u.parse_length(text)


def test_message_names_the_text_and_what_to_write():
    with pytest.raises(TextError) as caught:
        u.parse_length("8 mil")
    assert str(caught.value) == ("'8 mil' can't be read as a length: 'mil' is a thousandth of an inch to some and a "
                                 "millimeter to others: write thou or mm")
    assert isinstance(caught.value, BarfuncsError)
    with pytest.raises(TextError) as caught:
        u.parse_length("9" * 10_000)
    assert len(str(caught.value)) < 250


def test_not_a_text_is_refused():
    with pytest.raises(TextError, match="not a text"):
        u.parse_length(5)


@pytest.mark.parametrize(("text", "value", "system"), [
    ("12,5", 12.5, None), ("12,5 mm", 12.5, "mm"), ("1,375", 1.375, None), ("3,66 m", 3660, "mm"),
    (",75 in", 0.75, "in"),
    ("12' 6,5\"", 150.5, "in"), ("12,5 in.", 12.5, "in"), ("12.5 mm", 12.5, "mm"), ("0.125", 0.125, None),
    ("1 3/8", 1.375, None), ("1,5e3 mm", 1500, "mm"),
])
def test_length_with_decimal_comma(text, value, system):
    assert u.parse_length(text, decimal_comma=True) == (value, system)


@pytest.mark.parametrize(("text", "words"), [
    ("1.250,5", "thousands separator"), ("1,250.5", "one decimal comma"), ("1,2,3", "one decimal comma"),
    ("1.250", "thousands separator"), ("2.125 in", "thousands separator"),
])
def test_length_refused_with_decimal_comma(text, words):
    with pytest.raises(TextError, match=words):
        u.parse_length(text, decimal_comma=True)


@pytest.mark.parametrize(("text", "decimal_comma", "value"), [
    ("12", False, 12), ("12.5", False, 12.5), (".5", False, 0.5), ("1e3", False, 1000), ("-5", False, -5),
    ("+5", False, 5),
    ("$12.50", False, 12.5), ("$ 12.50", False, 12.5), ("€12.50", False, 12.5), ("£12", False, 12),
    ("¥1200", False, 1200),
    ("1,250.00", False, 1250), ("$1,250,000", False, 1250000), ("1,250,000.5", False, 1250000.5),
    ("1.375", False, 1.375),
    ("1.250,00", True, 1250), ("1.250.000", True, 1250000), ("12,5", True, 12.5), ("1,375", True, 1.375),
    ("12.5", True, 12.5), (f" 12{NBSP}", False, 12),
])
def test_number_reads(text, decimal_comma, value):
    assert u.parse_number(text, decimal_comma=decimal_comma) == value


@pytest.mark.parametrize(("text", "decimal_comma", "words"), [
    ("1,375", False, "comma may be"), ("12,5", False, "comma may be"), ("0,375", False, "comma may be"),
    ("12,50.0", False, "comma may be"), ("1,2,3", False, "comma may be"), ("1.250", True, "thousands separator"),
    ("1,250.00", True, "one decimal comma"), ("nan", False, "plain decimal"), ("inf", False, "plain decimal"),
    ("-inf", False, "plain decimal"), ("0x1F", False, "plain decimal"), ("1_000", False, "plain decimal"),
    ("12 in", False, "without a unit"), ("1 3/8", False, "plain decimal"), ("--5", False, "plain decimal"),
    ("$", False, "no digits"), ("", False, "blank"), ("-", False, "plain decimal"), ("١٢", False, "character"),
    ("1e999", False, "plain decimal"), ("TRUE", False, "plain decimal"), ("$$5", False, "plain decimal"),
])
def test_number_refused(text, decimal_comma, words):
    with pytest.raises(TextError, match=words):
        u.parse_number(text, decimal_comma=decimal_comma)


@pytest.mark.parametrize(("text", "value"), [
    ("12", 12), ("1,200", 1200), ("1,200,000", 1200000), ("12.0", 12), ("12.", 12), ("1e3", 1000), ("0", 0),
    ("1,200 pcs", 1200), ("12 pieces", 12), ("12 parts", 12), ("12 bars", 12), ("12 ea", 12), ("12ea.", 12),
    ("12 PCS", 12), ("1 pc", 1), ("1 piece", 1), ("12 each", 12), ("2,500 parts", 2500),
])
def test_count_reads(text, value):
    count = u.parse_count(text)
    assert count == value
    assert type(count) is int


@pytest.mark.parametrize(("text", "words"), [
    ("12.5", "not a whole number"), ("12,5", "write a whole number"), ("1,20", "write a whole number"),
    ("0,200", "write a whole number"), ("1.200", "thousands separator"), ("1.000", "thousands separator"),
    ("-5", "a sign is not allowed"), ("", "blank"), ("pcs", "write a whole number"), ("12 mm", "plain decimal"),
    ("nan", "plain decimal"), ("1 200", "plain decimal"), ("1'200", "plain decimal"), ("1/2", "plain decimal"),
    ("1_000", "plain decimal"),
])
def test_count_refused(text, words):
    with pytest.raises(TextError, match=words):
        u.parse_count(text)


@pytest.mark.parametrize(("text", "decimal_comma", "value"), [
    ("3%", False, 0.03), ("3 %", False, 0.03), ("0.03", False, 0.03), (f"3{NARROW}%", False, 0.03),
    ("2.5%", False, 0.025),
    ("2,5 %", True, 0.025), ("0", False, 0), ("100%", False, 1), (".03", False, 0.03),
])
def test_fraction_reads(text, decimal_comma, value):
    assert u.parse_fraction(text, decimal_comma=decimal_comma) == value


@pytest.mark.parametrize(("text", "words"), [
    ("%", "no digits"), ("3%%", "plain decimal"), ("3/100", "plain decimal"), ("2,5%", "comma may be"),
    ("nan%", "plain"),
    ("3 percent", "plain decimal"), ("%3", "plain decimal"), ("", "blank"),
])
def test_fraction_refused(text, words):
    with pytest.raises(TextError, match=words):
        u.parse_fraction(text)


@pytest.mark.parametrize(("text", "value", "has_unit"), [
    ("45 s", 45, True), ("45 sec", 45, True), ("45s", 45, True), ("45 seconds", 45, True), ("1.5 min", 90, True),
    ("1 min 20 s", 80, True), ("1min20s", 80, True), ("2 h", 7200, True), ("2 hr", 7200, True), ("2 hours", 7200, True),
    ("1 h 30 min", 5400, True), ("1 h 30 min 15 s", 5415, True), ("1 h 15 s", 3615, True), ("1/2 h", 1800, True),
    ("1 1/2 min", 90, True), ("2 HRS.", 7200, True), ("80", 80, False), ("1.5", 1.5, False),
    ("1 min 2.5 s", 62.5, True),
])
def test_time_reads(text, value, has_unit):
    assert u.parse_time(text) == (value, has_unit)


@pytest.mark.parametrize(("text", "words"), [
    ("1:30", "hours and minutes or minutes and seconds"), ("00:01:30", "hours and minutes"), ("-5 s", "a sign"),
    ("1 h 30", "last number has no unit"), ("30 s 1 min", "go together"), ("1 min 2 min", "go together"),
    ("1.5 h 30 min", "go together"), ("5 m", "write min"), ("1 h 30 m", "write min"), ("5 days", "known are h, min, s"),
    ("1'20\"", "write for example"), ("45\"", "write for example"), ("5 6", "write for example"), ("", "blank"),
    ("nan", "doesn't start"), ("1,5 min", "comma may be"), ("5 6 s", "write for example"),
    ("5 s-", "write for example"), ("1min.5s", "write 1min 5s or 1min 0.5s"), ("1 min.30 s", "write 1 min 30 s or 1 min 0.30 s"),
])
def test_time_refused(text, words):
    with pytest.raises(TextError, match=words):
        u.parse_time(text)


@pytest.mark.parametrize(("text", "value", "system"), [
    ("250 lb", 250, "in"), ("250 lbs", 250, "in"), ("250 LB.", 250, "in"), ("2 pounds", 2, "in"), ("12 oz", 0.75, "in"),
    ("5 lb 4 oz", 5.25, "in"), ("120 kg", 120, "mm"), ("250 g", 0.25, "mm"), ("1.2 t", 1200, "mm"),
    ("2 tonnes", 2000, "mm"),
    ("40", 40, None), ("1/2 lb", 0.5, "in"),
])
def test_weight_reads(text, value, system):
    assert u.parse_weight(text) == (value, system)


@pytest.mark.parametrize(("text", "words"), [
    ("2 ton", "2000 lb, 2240 lb or 1000 kg"), ("2 tons", "2240"), ("3 cwt", "100 lb or 112 lb"), ("-3 kg", "a sign"),
    ("3 mm", "known are lb, oz, kg, g, t"), ("5 lb 3", "no unit"), ("5 lb 3 kg", "next to a metric unit"),
    ("1,200 lb", "comma may be"), ("", "blank"), ("nan", "doesn't start"), ("5 lb 16 oz", "write 96 oz"),
    ("5lb.4oz", "write 5lb 4oz or 5lb 0.4oz"),
])
def test_weight_refused(text, words):
    with pytest.raises(TextError, match=words):
        u.parse_weight(text)


@pytest.mark.parametrize(("text", "value", "system"), [
    ("7.85 g/cm3", 7.85, "mm"), ("7.85 g/cm³", 7.85, "mm"), ("7.85 g/cc", 7.85, "mm"), ("7.85g/cm^3", 7.85, "mm"),
    ("7.85 g/cm**3", 7.85, "mm"), ("7850 kg/m3", 7.85, "mm"), ("7850 kg/m³", 7.85, "mm"), ("7.85 kg/dm3", 7.85, "mm"),
    ("7.85 t/m3", 7.85, "mm"), ("0.284 lb/in3", 0.284, "in"), ("0.284 lb/in³", 0.284, "in"),
    (".284 lb/cu in", 0.284, "in"),
    (".284 lb/cu. in.", 0.284, "in"), ("0.284 lbs/in^3", 0.284, "in"), ("0.284 lb per cubic inch", 0.284, "in"),
    ("0.284 LB/IN3", 0.284, "in"), ("432 lb/ft3", 0.25, "in"), ("490 lb/ft3", 490 / 1728, "in"),
    ("432 lb/cu ft", 0.25, "in"), ("7.85", 7.85, None),
])
def test_density_reads(text, value, system):
    assert u.parse_density(text) == (value, system)


@pytest.mark.parametrize(("text", "words"), [
    ("7.85 g", "known are g/cm3, kg/m3, lb/in3, lb/ft3"), ("7.85 g/mm3", "unknown"), ("-7.85", "a sign"), ("", "blank"),
    ("7,85 g/cm3", "comma may be"), ("steel", "doesn't start"), ("nan", "doesn't start"),
    ("7.85 / 2", "write for example"),
])
def test_density_refused(text, words):
    with pytest.raises(TextError, match=words):
        u.parse_density(text)


@pytest.mark.parametrize(("text", "value", "system"), [
    ("400 sfm", 400, "in"), ("400 SFM", 400, "in"), ("400 ft/min", 400, "in"), ("400 fpm", 400, "in"),
    ("120 m/min", 120, "mm"), ("120m/min", 120, "mm"), ("2 m/s", 120, "mm"), ("400", 400, None),
    ("400 feet per minute", 400, "in"),
])
def test_speed_reads(text, value, system):
    assert u.parse_speed(text) == (value, system)


@pytest.mark.parametrize("text", ["400 rpm", "400 mm/min", "400 ft", "-400 sfm", "fast", "", "1,200 sfm"])
def test_speed_refused(text):
    with pytest.raises(TextError, match=r"can't be read as a surface speed: .+"):
        u.parse_speed(text)


@pytest.mark.parametrize(("text", "value", "system"), [
    ("0.004 in/rev", 0.004, "in"), ("0.004 ipr", 0.004, "in"), (".004 IPR", 0.004, "in"), ("0.004 in", 0.004, "in"),
    ('.004"', 0.004, "in"), ('.004"/rev', 0.004, "in"), ("0.004 inch per rev", 0.004, "in"), ("4 thou", 0.004, "in"),
    ("0.004 in./rev.", 0.004, "in"), ("4 thou/rev", 0.004, "in"), ("1/64 in", 0.015625, "in"),
    ("0.1 mm", 0.1, "mm"), ("0.1mm/rev", 0.1, "mm"), ("0.1 mm / rev", 0.1, "mm"), ("0.1 mm/r", 0.1, "mm"),
    ("0.1 mm per revolution", 0.1, "mm"), ("0.1 mm/turn", 0.1, "mm"), ("0.1", 0.1, None),
])
def test_feed_reads(text, value, system):
    assert u.parse_feed(text) == (value, system)


@pytest.mark.parametrize(("text", "words"), [
    ("150 mm/min", "unit 'mm/min' is unknown; known are in/rev, thou/rev, mm/rev"), ("6 ipm", "unknown"),
    ("4 mil", "unknown"), ("0,1 mm", "comma may be"), ("-0.1 mm", "a sign"), ("", "blank"), ("fine", "doesn't start"),
    ("0.1 cm/rev", "unknown"), ("5 rpm", "unknown"),
])
def test_feed_refused(text, words):
    with pytest.raises(TextError, match=words):
        u.parse_feed(text)


@pytest.mark.parametrize(("text", "value", "system"), [
    ("20 tpi", 0.05, "in"), ("20TPI", 0.05, "in"), ("11 1/2 tpi", 2 / 23, "in"), ("11.5 tpi", 2 / 23, "in"),
    ("20 threads per inch", 0.05, "in"), ("20 threads/in.", 0.05, "in"), ("0.05 in", 0.05, "in"),
    ("1/20 in", 0.05, "in"), ("1.5 mm", 1.5, "mm"), ("1.5", 1.5, None), ("1/20", 0.05, None),
])
def test_pitch_reads(text, value, system):
    assert u.parse_pitch(text) == (value, system)


@pytest.mark.parametrize(("text", "words"), [
    ("0 tpi", "no threads have no pitch"), ("tpi", "doesn't start"), ("-20 tpi", "a sign"),
    ("11,5 tpi", "comma may be"),
    ("1/0 tpi", "zero below the line"), ("20 30 tpi", "write for example"), ("20 tpm", "unknown"), ("", "blank"),
    ("M10x1.5", "doesn't start"), ("1/4-20", "write for example"), ("²0 tpi", "character"),
])
def test_pitch_refused(text, words):
    with pytest.raises(TextError, match=words):
        u.parse_pitch(text)


@pytest.mark.parametrize(("text", "value"), [
    ("2500 rpm", 2500), ("2500 rev/min", 2500), ("2500 r/min", 2500), ("2500 min-1", 2500), ("2500 min^-1", 2500),
    ("40 rev/s", 2400), ("2500 revolutions per minute", 2500), ("2500", 2500),
])
def test_spindle_speed_reads(text, value):
    assert u.parse_spindle_speed(text) == value


@pytest.mark.parametrize(("text", "decimal_comma", "speed"), [
    ("2,500 rpm", False, 2500), ("2,500", False, 2500), ("1,200,000", False, 1_200_000), (" 2,500rpm", False, 2500), ("2.500 rpm", True, 2500),
    ("950,5", True, 950.5), ("2500.5", False, 2500.5), ("2500 RPM", False, 2500), ("2500 r.p.m.", False, 2500),
])
def test_spindle_speed_with_thousands(text, decimal_comma, speed):
    assert u.parse_spindle_speed(text, decimal_comma=decimal_comma) == speed


@pytest.mark.parametrize(("text", "decimal_comma", "words"), [
    ("2.500 rpm", False, "the point before three digits may be"), ("2,500", True, "the comma before three digits may be"),
    ("2,50", False, "comma may be"), ("2,500.5", False, "comma may be"), ("2,5000", False, "comma may be"), ("0,500", False, "comma may be"),
])
def test_spindle_speed_with_a_sign_that_is_unclear(text, decimal_comma, words):
    with pytest.raises(TextError, match=words):
        u.parse_spindle_speed(text, decimal_comma=decimal_comma)


@pytest.mark.parametrize(("text", "value", "system"), [
    ("200 in/min", 200, "in"), ("200 ipm", 200, "in"), ("15 ft/min", 180, "in"), ("5 m/min", 5000, "mm"), ("5000 mm/min", 5000, "mm"),
    ("5000 mm per minute", 5000, "mm"), ("5000", 5000, None),
])
def test_feed_per_minute_reads(text, value, system):
    assert u.parse_feed_speed(text) == (value, system)


@pytest.mark.parametrize("text", ["0.1 mm/rev", "200 rpm", "400 sfm", "-200 in/min", "fast", "", "200 in"])
def test_feed_per_minute_refused(text):
    with pytest.raises(TextError, match=r"can't be read as a feed per minute: .+"):
        u.parse_feed_speed(text)


@pytest.mark.parametrize("text", ["400 sfm", "-2500 rpm", "fast", "", "40 hz"])
def test_spindle_speed_refused(text):
    with pytest.raises(TextError, match=r"can't be read as a spindle speed: .+"):
        u.parse_spindle_speed(text)


@pytest.mark.parametrize(("text", "value"), [
    ("118", 118), ("118 deg", 118), ("118°", 118), ("118 °", 118), ("118 degrees", 118), ("117.5 deg.", 117.5),
])
def test_angle_reads(text, value):
    assert u.parse_angle(text) == value


@pytest.mark.parametrize("text", ["2 rad", "118 mm", "-118", "118,5", "", "118°30", 118])
def test_angle_refused(text):
    with pytest.raises(TextError, match=r"can't be read as an angle: .+"):
        u.parse_angle(text)


# --- published values ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("text", "mm"), [
    # Machinery's Handbook 27 (123doc 2062990)
    ("21 23/64 in", 542.528125), ("33/64 in", 13.096875), ("17/32 in", 13.49375), ("9/16 in", 14.2875),
    ("5/8 in", 15.875),
    ("41/64 in", 16.271875),
    # 16 CFR 500.19: 1 inch = 2.54 cm*, 1 foot = 30.48 cm* (*exactly)
    ("1 in", 25.4), ("1 ft", 304.8),
])
def test_published_lengths(text, mm):
    value, system = u.parse_length(text)
    assert system == "in"
    assert value * u.MM_PER_INCH == pytest.approx(mm, rel=1e-15)


def test_published_factors():
    # Machinery's Handbook 27; 16 CFR 500.19: 1 inch = 25.4 mm exactly, 1 foot = 304.8 mm exactly
    assert u.MM_PER_INCH == 25.4
    assert u.M_PER_FT == 0.3048
    # 1959 yard-pound agreement: 1 lb = 0.45359237 kg exactly
    assert u.KG_PER_LB == 0.45359237
    # exact: 25.4^3/(453.59237*1000) = 0.03612729200008776 lb/in3 for 1 g/cm3
    assert pytest.approx(0.03612729200008776, rel=1e-15) == u.LB_IN3_PER_G_CM3
    # ashmoreandallen.co.uk/data.htm: 1 kg/m = 0.6720 lb/ft, 1 lb/ft = 1.4882 kg/m
    assert pytest.approx(0.6720, abs=5e-5) == u.M_PER_FT / u.KG_PER_LB
    assert pytest.approx(1.4882, abs=5e-5) == u.KG_PER_LB / u.M_PER_FT


# --- generated texts -----------------------------------------------------------------------------------------------


@given(
    feet=st.integers(0, 500), inches=st.integers(0, 11), exponent=st.integers(1, 6), data=st.data(),
    marks=st.sampled_from([("'", '"'), ("′", "″"), ("’", "”"), (" ft", " in"), ("ft", "in."), (" FEET", " INCHES"),
                           ("'", "''")]),
    gap=st.sampled_from([" ", "-", " - ", NBSP, "  "]), joint=st.sampled_from([" ", "-", THIN]),
)
def test_feet_inch_fraction_reads_back(feet, inches, exponent, data, marks, gap, joint):
    bottom = 2**exponent
    top = data.draw(st.integers(1, bottom - 1))
    text = f"{feet}{marks[0]}{gap}{inches}{joint}{top}/{bottom}{marks[1]}"
    assert u.parse_length(text) == (feet * 12 + inches + top / bottom, "in")


LIKELY = st.lists(st.sampled_from([*"0123456789", " ", "-", "/", ".", ",", "'", '"', "½", "e", "in", "ft", "mm", "m",
"h",
                                   "min", "s", "kg", "lb", "/cm3", "%", "$", "nan", "inf", "−", "\n", NBSP]),
                                   max_size=14)


@given(st.one_of(st.text(max_size=70), LIKELY.map("".join)), st.booleans())
def test_any_text_reads_as_a_sound_value_or_is_refused(text, decimal_comma):
    for parse in (u.parse_length, u.parse_weight, u.parse_density, u.parse_bin_volume, u.parse_speed, u.parse_feed, u.parse_pitch,
                  u.parse_time):
        try:
            value = parse(text, decimal_comma=decimal_comma)[0]
        except TextError:
            continue
        assert isinstance(value, float)
        assert 0 <= value < math.inf
    for parse in (u.parse_spindle_speed, u.parse_angle):
        with contextlib.suppress(TextError):
            assert 0 <= parse(text, decimal_comma=decimal_comma) < math.inf
    for parse in (u.parse_number, u.parse_fraction):
        try:
            assert math.isfinite(parse(text, decimal_comma=decimal_comma))
        except TextError:
            continue
    with contextlib.suppress(TextError):
        assert u.parse_count(text) >= 0


# --- pint ----------------------------------------------------------------------------------------------------------

OWN = pint.UnitRegistry()


@pytest.mark.slow
@pytest.mark.parametrize(("value", "unit", "dimension", "units", "expected"), [
    (12, "ft", "length", "in", 144), (3.66, "m", "length", "mm", 3660), (3, "thou", "length", "in", 0.003),
    (25.4, "mm", "length", "in", 1), (1, "inch", "length", "mm", 25.4), (1, "lb", "weight", "mm", 0.45359237),
    (2, "kg", "weight", "mm", 2), (30, "minute", "hours", "in", 0.5), (1.5, "minute", "seconds", "mm", 90),
    (2, "foot**2", "area", "in", 288), (7850, "kg/m**3", "density", "mm", 7.85),
    (400, "ft/min", "surface_speed", "in", 400), (5, "m/min", "feed_speed", "mm", 5000), (200, "inch/min", "feed_speed", "in", 200),
    (1000, "rpm", "spindle_speed", "in", 1000), (1000, "revolution/minute", "spindle_speed", "mm", 1000),
    (1000, "1/minute", "spindle_speed", "in", 1000), (10, "hertz", "spindle_speed", "in", 600),
    (0.1, "mm/revolution", "feed_rate", "mm", 0.1), (0.1, "mm", "feed_rate", "mm", 0.1),
    (118, "degree", "angle", "in", 118), (0.25, "turn", "angle", "mm", 90),
])
def test_quantity_of_any_registry(value, unit, dimension, units, expected):
    for registry in (OWN, u.registry(), pint.UnitRegistry(cache_folder=None)):
        assert u.from_quantity(registry.Quantity(value, unit), dimension, units) == expected


def test_quantity_factors_that_are_no_short_decimal():
    assert u.from_quantity(OWN.Quantity(1, "kg/m"), "weight_per_length", "in") == pytest.approx(0.3048 / 0.45359237)
    assert u.from_quantity(OWN.Quantity(1, "g/cm**3"), "density", "in") == pytest.approx(u.LB_IN3_PER_G_CM3)
    speed = u.from_quantity(OWN.Quantity(10, "radian/second"), "spindle_speed", "in")
    assert speed == pytest.approx(600 / (2 * math.pi))


@pytest.mark.parametrize(("unit", "dimension", "words"), [
    ("mil", "length", "'mil' is an angle"), ("mil", "weight", "'mil' is an angle"), ("pcs", "length", "pcs' as parsec"),
    ("mm*turn", "length", "revolution as"), ("rpm*mm", "surface_speed", "revolution as"),
    ("mm/turn", "length", "revolution as"),
    ("turn*mm", "feed_rate", "inch/turn expected"), ("kg", "length", "inch expected, 'kilogram' given"),
    ("mm", "weight", "pound expected, 'millimeter' given"), ("degF", "length", "'degree_Fahrenheit' given"),
    ("lbf", "weight", "pound expected"), ("dimensionless", "length", "inch expected"),
    ("inch**2", "length", "inch \\*\\* 2"),
    ("dimensionless", "angle", "degree expected"), ("mm", "angle", "degree expected"), ("1/degree", "angle", "degree"),
    ("second", "length", "inch expected"), ("radian**2/second", "spindle_speed", "turn/minute expected"),
])
def test_quantity_of_the_wrong_kind(unit, dimension, words):
    with pytest.raises(UnitError, match=words):
        u.from_quantity(OWN.Quantity(3, unit), dimension, "in")


def test_quantity_in_a_unit_of_ones_own():
    own = pint.UnitRegistry()
    own.define("bar_length = 12 foot")
    with pytest.raises(UnitError, match="'bar_length' is unknown; convert it first"):
        u.from_quantity(own.Quantity(1, "bar_length"), "length", "in")
    assert u.from_quantity(own.Quantity(1, "bar_length").to("inch"), "length", "in") == pytest.approx(144)


def test_quantity_with_short_unit_format():
    own = pint.UnitRegistry()
    own.formatter.default_format = "~P"
    assert u.from_quantity(own.Quantity(2, "foot**2"), "area", "in") == 288


def test_quantity_magnitudes():
    numpy = pytest.importorskip("numpy")
    assert u.from_quantity(OWN.Quantity(numpy.float64(12), "ft"), "length", "in") == 144
    assert u.from_quantity(OWN.Quantity(numpy.array(12.0), "ft"), "length", "in") == 144
    assert type(u.from_quantity(OWN.Quantity(numpy.float64(12), "ft"), "length", "in")) is float
    for magnitude in (numpy.array([1.0, 2.0]), numpy.array(True), 1 + 2j):
        with pytest.raises(UnitError, match="one number in inch expected"):
            u.from_quantity(OWN.Quantity(magnitude, "ft"), "length", "in")
    for magnitude in (math.nan, math.inf):
        with pytest.raises(UnitError, match="finite number in inch"):
            u.from_quantity(OWN.Quantity(magnitude, "ft"), "length", "in")


def test_boolean_magnitude():
    class Odd:
        magnitude = True
        units = "inch"

    with pytest.raises(UnitError, match="quantity of bool given"):
        u.from_quantity(Odd(), "length", "in")


def test_speed_times_feed_has_no_factor_of_two_pi():
    product = u.to_quantity(1000, "spindle_speed", "mm") * u.to_quantity(0.1, "feed_rate", "mm")
    assert product.to("mm/min").magnitude == pytest.approx(100)


@pytest.mark.parametrize(("unit", "system"), [
    ("inch", "in"), ("foot", "in"), ("thou", "in"), ("yard", "in"), ("pound", "in"), ("ounce", "in"),
    ("lb/in**3", "in"),
    ("foot/minute", "in"), ("ton", "in"), ("mm", "mm"), ("metric_ton", "mm"), ("kg/m", "mm"), ("g/cm**3", "mm"),
    ("second", None), ("rpm", None), ("dimensionless", None),
])
def test_quantity_system(unit, system):
    assert u.quantity_system(OWN.Quantity(1, unit)) == system


def test_is_quantity():
    assert u.is_quantity(OWN.Quantity(1, "mm"))
    assert u.is_quantity(u.registry().Quantity(1, "mm"))
    for other in (1, 1.0, "1 mm", None, [1], OWN.mm):
        assert not u.is_quantity(other)


@pytest.mark.parametrize("dimension", u.UNIT_NAMES)
@pytest.mark.parametrize("units", ["in", "mm"])
def test_quantity_there_and_back(dimension, units):
    q = u.to_quantity(2.25, dimension, units)
    assert u.from_quantity(q, dimension, units) == 2.25


def test_results_combine_with_the_application_registry():
    total = u.to_quantity(1, "length", "in") + pint.get_application_registry().Quantity(25.4, "mm")
    assert total.to("inch").magnitude == pytest.approx(2)
    assert u.registry() is u.registry()


def test_pint_is_not_imported():
    code = ("import sys, barfuncs.catalogue.units as u; u.parse_length('12 ft'); u.is_quantity(1.0); "
            "sys.exit('pint' in sys.modules)")
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
