"""The quotation as a PDF: everything that was said is on its pages, nothing lies over anything else, and nothing else is in the file."""

import dataclasses
import functools
import hashlib
import io
import random
import re
import subprocess
import sys
import unicodedata
from collections import Counter, defaultdict
from pathlib import Path

import pdfplumber
import pypdf
import pytest
from fontTools.ttLib import TTFont
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw

import barfuncs
from barfuncs.errors import InputError
from barfuncs.filling import logo, quotation_pdf, strips
from barfuncs.filling.quotation_data import Quotation, QuotedLine, QuotedQuantity
from barfuncs.filling.quotation_pdf import pdf, shown_amount, shown_price, shown_quantity

FONTS = Path(barfuncs.__file__).parent / "filling" / "fonts"
PER = {"part": 1, "100 parts": 100, "1000 parts": 1000}


def prices(*pairs: tuple[float, float], lead: str = "4 weeks", per: str = "part") -> tuple[QuotedQuantity, ...]:
    return tuple(QuotedQuantity(quantity, price, round(quantity * price / PER[per] + 1e-9, 2), lead) for quantity, price in pairs)


PIN = QuotedLine("Guide pin, hardened", "GP-2041", "D-2041", "C", "4140 alloy steel, round 3/4 in", "Material certificate with the delivery",
                 quantities=(QuotedQuantity(100, 4.85, 500, "3 weeks", note="Minimum order value 500.00"),
                             QuotedQuantity(250, 3.9125, 978.13, "4 weeks", offer="271 at 3.61"), *prices((1000, 2.455), (5000, 1.98))),
                 setup=120, tooling=85.5, remark="Hardness 52 to 56 HRC.")
BUSHING = QuotedLine("Spacer bushing", "SB-77", "77-1008", material="Brass, hexagon 1/2 in", priced_per="100 parts",
                     quantities=prices((500, 112.5), (1000, 98.2), (2500, 90.125), (10_000, 81), per="100 parts"))
SPINDLE = QuotedLine("Ventilspindel Größe 2, geschliffen", "VS-2", "4711", "B", "1.4305, rund ⌀12 mm", "3.1 nach EN 10204",
                     quantities=prices((50, 12.4), (100, 10.9), (200, 9.75), (400, 9.1)))
QUOTATION = Quotation(
    number="Q-2026-0114", date="2026-11-26", currency="EUR", lines=(PIN, BUSHING, SPINDLE), seller="Drehteile Müller & Söhne GmbH",
    seller_address="Industriestraße 12\n12345 Beispielstadt", seller_contact="Tel. +49 000 1234567\nangebot@example.com",
    customer="Łódź Maszyny Sp. z o.o.", customer_address="ul. Żółta 5\n00-000 Przykład", attention="Frau Ďurišová <b>", reference="4500012345",
    valid_until="2026-12-31", delivery="To your site, packed in boxes of 250", freight=48, terms="30 days net", tax_note="Without tax; 5 € a box.",
    notes="Quantities may differ by up to 5 %.", remark="Ωμέγα: the drawing asks for Ra 0.4 µm on the seat.")
LETTER = dataclasses.replace(QUOTATION, paper="letter", currency="USD", freight=0, lines=(PIN,))


def picture(mode: str = "RGBA", kind: str = "PNG", size: tuple[int, int] = (600, 200)) -> bytes:
    image = Image.new("RGBA", size, (0, 0, 0, 0))
    ImageDraw.Draw(image).ellipse((10, 10, size[1] - 10, size[1] - 10), fill=(91, 58, 86, 255))
    buffer = io.BytesIO()
    image.convert(mode).save(buffer, kind)
    return buffer.getvalue()


# What is on the pages


def squeezed(text: str) -> str:
    return "".join(unicodedata.normalize("NFC", text).split())


def page_texts(data: bytes) -> list[str]:
    return [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages]


@dataclasses.dataclass(frozen=True)
class Piece:
    """Words that were drawn in one go."""

    page: int
    x0: float
    x1: float
    top: float
    bottom: float
    size: float
    text: str


@functools.lru_cache(maxsize=4)
def pieces(data: bytes) -> list[Piece]:
    found: list[Piece] = []
    with pdfplumber.open(io.BytesIO(data)) as document:
        for number, page in enumerate(document.pages, start=1):
            for char in page.chars:
                last = found[-1] if found else None
                if last and last.page == number and last.top == char["top"] and last.size == char["size"] and abs(last.x1 - char["x0"]) < 0.01:
                    found[-1] = dataclasses.replace(last, x1=char["x1"], text=last.text + char["text"])
                else:
                    found.append(Piece(number, char["x0"], char["x1"], char["top"], char["bottom"], char["size"], char["text"]))
    return [piece for piece in found if piece.text.strip()]


def columns(data: bytes) -> list[str]:
    """What stands below each other from the same place on, over all pages, without white space."""
    stacks: dict[float, list[str]] = defaultdict(list)
    feet = {piece.page: piece.top for piece in pieces(data)}
    for piece in pieces(data):
        if not (piece.top == feet[piece.page] or piece.text in ("continued", "Part") or piece.text.startswith("Quotation ")):  # said again on each page
            stacks[round(piece.x0, 1)].append(piece.text)
    return [squeezed("".join(stack)) for stack in stacks.values()]


def overlaps(data: bytes) -> list[tuple[str, str]]:
    found = pieces(data)
    return [(one.text, other.text) for n, one in enumerate(found) for other in found[n + 1:] if one.page == other.page
            and min(one.x1, other.x1) - max(one.x0, other.x0) > 0.1 and min(one.bottom, other.bottom) - max(one.top, other.top) > 0.1]


def outside(data: bytes) -> list[str]:
    """Words beyond the margins."""
    width = float(pypdf.PdfReader(io.BytesIO(data)).pages[0].mediabox.width)
    height = float(pypdf.PdfReader(io.BytesIO(data)).pages[0].mediabox.height)
    paper = quotation_pdf.PAPERS["a4"]
    return [piece.text for piece in pieces(data) if piece.x0 < paper.side - 0.1 or piece.x1 > width - paper.side + 0.1
            or piece.top < paper.top - 6 or piece.bottom > height - paper.bottom + 3 * strips.ROW]


def texts_of(part: object) -> list[str]:
    """Every text of the data class, but for those that say how others are shown."""
    found: list[str] = []
    for item in dataclasses.fields(part):
        value = getattr(part, item.name)
        if isinstance(value, str) and item.name not in ("paper", "priced_per"):
            found.append(value)
        elif isinstance(value, tuple):
            found += [text for one in value for text in texts_of(one)]
    return [text for text in found if text]


def numbers_of(said: Quotation) -> list[str]:
    found = [shown_amount(said.freight)] if said.freight else []
    for line in said.lines:
        found += [shown_amount(value) for value in (line.setup, line.tooling) if value]
        for one in line.quantities:
            found += [shown_quantity(one.quantity), shown_price(one.price), shown_amount(one.total)]
    return found


def changed(**changes: object) -> Quotation:
    return dataclasses.replace(QUOTATION, **changes)


MANY = changed(lines=tuple(dataclasses.replace(line, part_number=f"{line.part_number}/{n}") for n in range(5) for line in (PIN, BUSHING, SPINDLE))[:14])
LONG = changed(remark="The quick shop turns parts, 1,234 of them. " * 233 + "The end.")
CASES = {"A4": QUOTATION, "letter": LETTER, "logo": changed(logo=picture()), "14 lines": MANY, "long remark": LONG,
         "300 characters": changed(remark="Measured and written down. " * 11 + "End"), "bare": Quotation("7", "2026-01-02", "USD", (PIN,)),
         "tooling alone": changed(lines=(QuotedLine("Gauge", tooling=75),)),
         "large numbers": changed(lines=(QuotedLine("M" * 90, quantities=(QuotedQuantity(999_999_999, 999_999_999_999.1234, 999_999_999_999.99, "1" * 60),)),
                                         BUSHING))}


@pytest.fixture(scope="module", params=CASES)
def case(request) -> tuple[Quotation, bytes]:
    return CASES[request.param], pdf(CASES[request.param])


def test_every_text_is_on_the_pages(case):
    said, data = case
    there = columns(data)
    assert [text for text in texts_of(said) if not any(squeezed(text) in column for column in there)] == []


def test_every_number_is_on_the_pages(case):
    said, data = case
    there = [piece.text for piece in pieces(data)]
    for number in numbers_of(said):
        there.remove(number)  # each as often as it was said


def test_nothing_lies_over_anything_else_or_beyond_the_margins(case):
    _, data = case
    assert overlaps(data) == []
    assert outside(data) == []


def test_type_is_never_below_8_points(case):
    _, data = case
    assert min(piece.size for piece in pieces(data)) >= 8 - 1e-9


def test_pages_are_numbered(case):
    _, data = case
    texts = page_texts(data)
    assert [re.findall(r"Page \d+ of \d+", text) for text in texts] == [[f"Page {n} of {len(texts)}"] for n in range(1, len(texts) + 1)]


def test_the_checks_find_what_is_wrong():
    """Words planted one over another, beyond the margin and too small."""
    paper = quotation_pdf.PAPERS["a4"]
    planted = strips.Strip((strips.Words(0, "one over"), strips.Words(20, "another"), strips.Words(paper.room - 5, "beyond", size=7)))
    section = strips.Section((strips.Block((planted,)),))
    data = strips.write(paper, [section], running=(), footer=lambda n, of: strips.Strip(), ink="000000", title="", author="", date="2026-01-01")
    assert overlaps(data) == [("one over", "another")]
    assert outside(data) == ["beyond"]
    assert min(piece.size for piece in pieces(data)) == pytest.approx(7)


# Pages


def test_paper():
    sizes = {case: {tuple(map(float, page.mediabox[2:])) for page in pypdf.PdfReader(io.BytesIO(pdf(said))).pages}
             for case, said in (("A4", MANY), ("letter", dataclasses.replace(MANY, paper="Letter")))}
    assert sizes["letter"] == {(612, 792)}
    assert [[round(side / 72 * 25.4) for side in size] for size in sizes["A4"]] == [[210, 297]]


def test_lines_over_pages_have_the_heads_again_and_stay_whole():
    data = pdf(MANY)
    texts = page_texts(data)
    assert len(texts) == 3
    heads = [[piece.text for piece in pieces(data) if piece.page == page].count("Lead time") for page in (1, 2, 3)]
    assert heads == [1, 1, 1]
    assert ["Quotation Q-2026-0114" in text for text in texts] == [False, True, True]
    where = {piece.text: piece.page for piece in pieces(data)}
    for number, line in enumerate(MANY.lines, start=1):
        last = line.quantities[-1]
        assert where[str(number)] == where[f"Part number: {line.part_number}"]
        assert shown_amount(last.total) in texts[where[str(number)] - 1]


def test_blocks_stay_whole_or_are_parted_with_two_strips_on_either_page():
    """Blocks of 1 to 100 strips, of which 60 go on a page."""
    rng, paper = random.Random(9), quotation_pdf.PAPERS["a4"]
    parted = 0
    for _ in range(4):
        sizes = [(rng.choice((1, 2, 20, 59, 60, 61, 62, 100)), rng.random() < 0.5) for _ in range(15)]
        blocks = tuple(strips.Block(tuple(strips.Strip((strips.Words(0, f"{n}/{k}"),)) for k in range(size)), whole) for n, (size, whole) in enumerate(sizes))
        data = strips.write(paper, [strips.Section(blocks, (strips.Strip((strips.Words(0, "head"),)),))], running=(),
                            footer=lambda n, of: strips.Strip(), ink="000000", title="", author="", date="2026-01-01")
        found = pieces(data)
        assert [piece.text for piece in found if piece.text != "head"] == [f"{n}/{k}" for n, (size, _) in enumerate(sizes) for k in range(size)]
        last = max(piece.page for piece in found)
        assert [piece.page for piece in found if piece.text == "head"] == list(range(1, last + 1))
        for n, (size, whole) in enumerate(sizes):
            shares = Counter(piece.page for piece in found if piece.text.startswith(f"{n}/"))
            assert len(shares) == 1 or (min(shares.values()) >= 2 and not (whole and size <= 60)), (n, size, whole, shares)
            parted += len(shares) > 1
    assert parted > 10


def test_heads_are_not_repeated_where_no_line_follows():
    data = pdf(changed(remark="word " * 2500))
    assert [["Lead time" in text] for text in page_texts(data)] == [[True], [False], [False], [False]]


@pytest.mark.slow
def test_the_signature_is_on_no_page_alone():
    """Whatever the length of the remark, words of it or of the last line are on the page of the signature."""
    for words in range(0, 420, 7):
        *_, last = page_texts(pdf(changed(remark="remarkable " * words)))
        assert "Date, signature" in last
        assert "remarkable" in last or "Quantities may differ" in last, words


@pytest.mark.parametrize("long", [{"description": "a long text " * 900}, {"remark": "a long text " * 900},
                                  {"quantities": prices(*((n, 1 + n / 100) for n in range(1, 121)))}])
def test_a_line_longer_than_a_page_goes_on(long):
    said = changed(lines=(BUSHING, dataclasses.replace(PIN, **long), SPINDLE))
    data = pdf(said)
    assert len(page_texts(data)) >= 3
    assert overlaps(data) == outside(data) == []
    assert "continued" in [piece.text for piece in pieces(data)]
    there = columns(data)
    assert [text for text in texts_of(said) if not any(squeezed(text) in column for column in there)] == []


def test_decimal_points_stand_in_line():
    data = pdf(changed(lines=(SPINDLE, PIN)))
    found = pieces(data)
    points = set()
    for price in (shown_price(one.price) for line in (SPINDLE, PIN) for one in line.quantities):
        piece = next(piece for piece in found if piece.text == price)
        points.add(round(piece.x0 + strips.width(price.partition(".")[0]), 1))
    assert len(points) == 1
    assert len({round(piece.x1, 1) for piece in found if piece.text in {shown_amount(one.total) for one in PIN.quantities}}) == 1


def test_what_the_price_is_for():
    assert "Price each, EUR" in page_texts(pdf(changed(lines=(PIN,))))[0]
    assert {"Price for 100", "parts, EUR"} <= {piece.text for piece in pieces(pdf(changed(lines=(BUSHING,))))}
    both = page_texts(pdf(changed(lines=(PIN, BUSHING))))[0]
    assert all(words in both for words in ("Price, EUR", "Price each", "Price for 100 parts"))


def test_nothing_shows_that_nobody_typed():
    there = " ".join(page_texts(pdf(Quotation("7", "2026-01-02", "USD", (dataclasses.replace(SPINDLE, quantities=prices((5, 2), lead="")),)))))
    for label in ("Valid until", "Your reference", "Attention", "Freight, once", "Delivery", "Terms", "Tax", "Notes", "Remark", "Lead time", "Set-up", "Tooling"):
        assert label not in there
    assert "free" in " ".join(page_texts(pdf(LETTER)))


def test_the_word_certificate_stands_once():
    for words, shown in (("Certificate 3.1 after EN 10204", "Certificate 3.1 after EN 10204"), ("3.1 after EN 10204", "Certificate: 3.1 after EN 10204")):
        there = {piece.text for piece in pieces(pdf(changed(lines=(dataclasses.replace(PIN, certificate=words),))))}
        assert {text for text in there if "10204" in text} == {shown}


@pytest.mark.parametrize(("value", "shown"), [(1234.5, "1,234.50"), (0.1234, "0.1234"), (0.125, "0.125"), (2, "2.00"), (1.005, "1.005"),
                                              (0.12345, "0.1235"), (1e6, "1,000,000.00"), (0, "0.00")])
def test_prices_have_two_to_four_decimals(value, shown):
    assert shown_price(value) == shown


def test_amounts_and_quantities():
    assert [shown_amount(value) for value in (1.005, 2253.125, 9)] == ["1.01", "2,253.13", "9.00"]
    assert [shown_quantity(value) for value in (10_000, 2.5, 100)] == ["10,000", "2.5", "100"]


# Nothing is lost


LETTERS = st.sampled_from(sorted(chr(number) for number in strips.characters() - {0xAD}))
TEXTS = st.one_of(st.text(LETTERS, max_size=200), st.text(st.sampled_from("abc -/.\n\tÄ€"), max_size=400), st.text("MW", min_size=100, max_size=300))


@pytest.mark.slow
@settings(max_examples=60, deadline=None, phases=(Phase.explicit, Phase.reuse, Phase.generate))  # a smaller example takes minutes
@given(st.data())
def test_no_text_is_lost(data):
    def filled(part, **more):
        names = [item.name for item in dataclasses.fields(part) if isinstance(getattr(part, item.name), str)
                 and item.name not in ("date", "paper", "priced_per", "number", "description", "currency")]
        return dataclasses.replace(part, **{name: data.draw(TEXTS, name) for name in names}, **more)

    quantity = filled(QuotedQuantity(100, 1.25, 125))
    line = filled(QuotedLine("Pin", quantities=(quantity, *prices((7, 0.5)))))
    said = filled(QUOTATION, lines=(line, PIN), paper=data.draw(st.sampled_from(["A4", "letter"])))
    made = pdf(said)
    there = columns(made)
    assert [text for text in texts_of(said) if not any(squeezed(text) in column for column in there)] == []
    assert overlaps(made) == outside(made) == []


@settings(max_examples=300, deadline=None)
@given(TEXTS, st.floats(12, 400), st.sampled_from([8.0, 9.0, 15.0]), st.booleans())
def test_wrapped_lines_fit_and_lose_nothing(text, room, size, bold):
    lines = strips.wrap(text, max(room, 1.5 * size), size, bold)
    assert "".join("".join(lines).split()) == "".join(text.split())
    assert all(strips.width(line, size, bold) <= max(room, 1.5 * size) + 1e-6 for line in lines)


def test_a_long_number_breaks_behind_hyphens_first():
    assert strips.wrap("AB-1234-5678-9012", strips.width("AB-1234-5678-")) == ["AB-1234-5678-", "9012"]


@pytest.mark.parametrize(("field", "typed", "named"), [
    ("customer", "漢字", "customer: the font of the PDF has no 字 U+5B57, 漢 U+6F22"),
    ("remark", "right \u202eto left", "remark: the font of the PDF has no U+202E"),
    ("terms", "30 days \U0001F600", "terms: the font of the PDF has no \U0001F600 U+1F600"),
    ("notes", "a\x07b", "notes: the font of the PDF has no U+0007"),
    ("seller_address", "מ", "seller address: the font of the PDF has no מ U+05DE"),
])
def test_a_character_that_the_font_lacks_is_refused(field, typed, named):
    with pytest.raises(InputError, match=re.escape(named)):
        pdf(changed(**{field: typed}))


def test_it_says_where():
    with pytest.raises(InputError, match=r"line 2, quantity 1, lead time: the font of the PDF has no 漢"):
        pdf(changed(lines=(PIN, dataclasses.replace(PIN, quantities=(QuotedQuantity(1, 1, 1, "漢"),)))))


def test_marks_that_nobody_sees_are_left_out():
    typed = changed(customer="A\u00adB\u200bC\ufeff", terms="one\r\ntwo\u2028three", remark="A\u0308pfel")
    there = columns(pdf(typed))
    for text in ("ABC", "onetwothree", "Äpfel"):
        assert any(text in column for column in there)


def test_the_fonts():
    for name in ("DejaVuSansCondensed.ttf", "DejaVuSansCondensed-Bold.ttf"):
        assert (FONTS / name).stat().st_size < 150_000
        font = TTFont(FONTS / name)
        assert set(map(ord, "ÄöüßẞŁłąęśżřěšůőűΑΩαωЖя€£₺Ø⌀±°µ≤×½⅜″→–„“…²³")) <= set(font.getBestCmap())
        advances = {font["hmtx"][font.getBestCmap()[ord(digit)]][0] for digit in "0123456789"}
        assert len(advances) == 1  # figures stand below each other
    assert "Bitstream" in (FONTS / "LICENSE.txt").read_text("utf-8")
    assert not [chr(n) for n in strips.characters() if unicodedata.bidirectional(chr(n)) in ("R", "AL") or unicodedata.combining(chr(n))]


# What is refused


@pytest.mark.parametrize(("said", "named"), [
    (changed(lines=()), "lines: there is none"),
    (changed(paper="A3"), "paper: 'A3'; allowed is A4, letter"),
    (changed(freight=float("nan")), "freight: is no number"),
    (changed(freight=-1.0), "freight: -1; allowed is 0, or 0.01 or more"),
    (changed(lines=(QuotedLine("Pin"),)), "line 1: has no quantity with a price"),
    (changed(lines=(dataclasses.replace(PIN, description=" ", part_number="", drawing=""),)), "line 1: has neither a description nor"),
    (changed(lines=(PIN, dataclasses.replace(PIN, tooling=float("inf")))), "line 2, tooling: is no number"),
    *((changed(lines=(QuotedLine("Pin", quantities=(QuotedQuantity(*numbers),)),)), f"line 1, quantity 1, {named}") for numbers, named in (
        ((0, 1, 1), "quantity: 0; allowed is 0.0001 or more, below 1,000,000,000"), ((-5, 1, 1), "quantity: -5"), ((1, float("nan"), 1), "price: is no"),
        ((1, 0.00001, 1), "price: 1e-05; allowed is 0, or 0.0001 or more"), ((1, 1, 1e12), "total: 1e+12"), ((1, 1, float("-inf")), "total: is no"))),
])
def test_what_is_no_quotation_is_refused(said, named):
    with pytest.raises(InputError, match=re.escape(named)):
        pdf(said)


def test_all_that_is_wrong_is_named_at_once():
    with pytest.raises(InputError) as caught:
        pdf(changed(paper="", lines=(), logo=b"GIF89a", customer="漢"))
    assert [name for name, _ in caught.value.problems] == ["customer", "paper", "lines", "logo"]


# The logo


@pytest.mark.parametrize(("mode", "kind"), [("RGBA", "PNG"), ("LA", "PNG"), ("P", "PNG"), ("1", "PNG"), ("I;16", "PNG"), ("RGB", "JPEG"), ("L", "JPEG"),
                                            ("CMYK", "JPEG")])
def test_pictures_of_every_kind(mode, kind):
    if mode == "I;16":
        buffer = io.BytesIO()
        Image.new("I;16", (600, 200), 65535).save(buffer, "PNG")
        data = buffer.getvalue()
    else:
        data = picture(mode, kind)
    assert logo.read(data).mode == "RGB"
    with pdfplumber.open(io.BytesIO(pdf(changed(logo=data)))) as document:
        [image] = document.pages[0].images
        assert (round(image["x0"]), round(image["top"])) == (51, 48)
        assert image["width"] / image["height"] == pytest.approx(3)
        assert image["width"] <= 190
        assert image["height"] <= 56
        words = [piece for piece in pieces(pdf(changed(logo=data))) if piece.x0 < image["x1"] and piece.page == 1]
        assert min(word.top for word in words) > image["bottom"]


def test_what_is_clear_in_a_picture_is_white_paper():
    seen = logo.read(picture())
    assert seen.getpixel((599, 199)) == (255, 255, 255)
    assert seen.getpixel((100, 100)) == (91, 58, 86)


def test_16_bits_of_grey_stay_grey():
    buffer = io.BytesIO()
    Image.new("I;16", (60, 20), 0x8000).save(buffer, "PNG")
    assert logo.read(buffer.getvalue()).getpixel((5, 5)) == (128, 128, 128)


def test_a_large_picture_is_made_smaller():
    data = picture(size=(4000, 1000))
    assert logo.read(data).size == (1200, 300)
    assert len(pdf(changed(logo=data))) < 100_000


def png_of_a_size(wide: int, high: int) -> bytes:
    """A file that says it has this size, and has not."""
    data = bytearray(picture())
    data[16:24] = wide.to_bytes(4, "big") + high.to_bytes(4, "big")
    import zlib

    data[29:33] = zlib.crc32(data[12:29]).to_bytes(4, "big")
    return bytes(data)


@pytest.mark.parametrize(("data", "reason"), [
    (b"", "is neither a PNG nor a JPEG picture"),
    (b"GIF89a" + bytes(50), "is neither a PNG nor a JPEG picture"),
    (b"%PDF-1.4", "is neither a PNG nor a JPEG picture"),
    (picture()[:200], "can't be read"),
    (picture("RGB", "JPEG")[:700], "can't be read"),
    (picture()[:60] + bytes(200) + picture()[260:], "can't be read"),
    (png_of_a_size(100_000, 100_000), "has more than 25,000,000 pixels; save it smaller"),
    (png_of_a_size(6_000, 5_000), "has more than 25,000,000 pixels; save it smaller"),
    (b"\x89PNG\r\n\x1a\n" + bytes(logo.MOST_BYTES), "has more than 5,000,000 bytes"),
])
def test_a_logo_that_is_none_is_refused_by_name(data, reason):
    with pytest.raises(InputError, match=f"logo: {re.escape(reason)}"):
        pdf(changed(logo=data))


def reason_against(data: bytes) -> str:
    try:
        logo.read(data)
    except ValueError as error:
        return str(error)
    return ""


@pytest.mark.parametrize("kind", ["PNG", "JPEG"])
def test_broken_pictures_are_refused_or_read(kind):
    """Bytes changed anywhere: an answer in words or a picture, nothing else."""
    rng, good = random.Random(4), picture("RGB", kind)
    reasons = set()
    for _ in range(200):
        data = bytearray(good)
        for _ in range(rng.randint(1, 6)):
            data[rng.randrange(len(data))] = rng.randrange(256)
        reasons.add(reason_against(bytes(data)).partition(":")[0])
    assert "can't be read" in reasons
    assert reasons <= {"", "can't be read", "is neither a PNG nor a JPEG picture", "has more than 25,000,000 pixels; save it smaller"}


# The file


def test_what_the_file_says_of_itself():
    reader = pypdf.PdfReader(io.BytesIO(pdf(QUOTATION)))
    information = reader.metadata
    assert information.title == "Quotation Q-2026-0114"
    assert information.author == "Drehteile Müller & Söhne GmbH"
    assert information["/CreationDate"] == information["/ModDate"] == "D:20261126000000Z"
    assert information["/Creator"] == "barfuncs"
    assert not information["/Subject"]
    assert not information["/Keywords"]
    assert set(information) == {"/Title", "/Author", "/Subject", "/Creator", "/Producer", "/Keywords", "/CreationDate", "/ModDate", "/Trapped"}
    root = reader.trailer["/Root"]
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert "/Annots" not in reader.pages[0]


@pytest.mark.parametrize(("date", "made"), [("", "20260101"), ("26.11.2026", "20260101"), ("2026-02-30", "20260101"), ("2025-12-31", "20251231")])
def test_a_quotation_without_number_or_with_another_date(date, made):
    data = pdf(changed(number="", date=date))
    information = pypdf.PdfReader(io.BytesIO(data)).metadata
    assert (information.title, information["/CreationDate"]) == ("Quotation", f"D:{made}000000Z")
    texts = [piece.text for piece in pieces(data)]
    assert "Number" not in texts
    assert texts.count(date) == (date != "")
    assert ("Date" in texts) == (date != "")


def inside(data: bytes) -> bytes:
    """The file, with all its streams unpacked."""
    reader = pypdf.PdfReader(io.BytesIO(data))
    streams = [found.get_data() for number in range(1, int(reader.trailer["/Size"])) if hasattr(found := reader.get_object(number), "get_data")]
    return data + b"\n".join(streams)


def test_fonts_are_inside_and_no_trace_of_this_machine():
    data = inside(pdf(changed(logo=picture())))
    for trace in (str(FONTS.parent), str(Path.home()), sys.prefix, "Helvetica"):
        assert trace.encode() not in data
    assert data.count(b"/FontFile2") == 2
    assert len(pdf(QUOTATION)) < 60_000


MAKE = """
import hashlib, sys
sys.path[:0] = [{tests!r}, {root!r}]
from test_quotation_pdf import MANY, changed, picture
from barfuncs.filling.quotation_pdf import pdf
print(*(hashlib.sha256(pdf(said)).hexdigest() for said in (MANY, changed(logo=picture()))))
"""


def test_the_same_quotation_gives_the_same_bytes(tmp_path):
    here = [hashlib.sha256(pdf(said)).hexdigest() for said in (MANY, changed(logo=picture()))]
    assert [hashlib.sha256(pdf(said)).hexdigest() for said in (MANY, changed(logo=picture()))] == here
    code = MAKE.format(tests=str(Path(__file__).parent), root=str(FONTS.parents[2]))
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, env={"PYTHONHASHSEED": "7", "TZ": "Asia/Tokyo"}, capture_output=True, text=True,
                          check=True)
    assert done.stdout.split() == here


def test_the_library_is_imported_when_a_pdf_is_written():
    code = "import sys, barfuncs.cli.main, barfuncs.filling.quotation_pdf; print('reportlab' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
