"""Pages of a PDF out of strips: rows of words, as wide as the page, one below the other. A strip is never parted."""

import functools
import io
import itertools
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from reportlab.pdfbase.ttfonts import TTFont

SMALL, BODY = 8.0, 9.0
"""The smallest size of type, and that of most of it."""
ROW = 12.0
"""Height of a strip of such type."""
_LEAST = 2
"""So many strips of a block that is parted stay on either page, at least."""
_FILES = {False: "DejaVuSansCondensed.ttf", True: "DejaVuSansCondensed-Bold.ttf"}


@functools.cache
def typeface(bold: bool = False) -> "TTFont":
    """The type, with its widths and which characters it has."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    path = Path(__file__).parent / "fonts" / _FILES[bold]
    font = TTFont(f"barfuncs-{path.stem}", str(path))
    pdfmetrics.registerFont(font)
    return font


@functools.cache
def characters() -> frozenset[int]:
    """The numbers of all characters that both fonts have."""
    plain, bold = (typeface(bold).face.charToGlyph for bold in (False, True))
    return frozenset(plain) & frozenset(bold)


@functools.lru_cache(maxsize=4096)
def width(text: str, size: float = BODY, bold: bool = False) -> float:
    return float(typeface(bold).stringWidth(text, size))


def wrap(text: str, room: float, size: float = BODY, bold: bool = False) -> list[str]:
    """A text in lines that are no wider than the room. A word that is wider breaks behind a hyphen or slash, or anywhere."""
    lines: list[str] = []
    gap = width(" ", size, bold)
    for paragraph in text.split("\n"):
        line, used = "", 0.0
        for word in paragraph.split(" "):
            if not word:
                continue
            wide = width(word, size, bold)
            if line and used + gap + wide <= room:
                line, used = f"{line} {word}", used + gap + wide
                continue
            if line:
                lines.append(line)
            *full, line = _pieces(word, room, size, bold) if wide > room else [word]
            lines += full
            used = width(line, size, bold)
        lines.append(line)
    while lines and not lines[-1]:
        lines.pop()
    return lines


def _pieces(word: str, room: float, size: float, bold: bool) -> list[str]:
    """A word that is wider than the room, in pieces that are not."""
    pieces, piece, used = [], "", 0.0
    for part in re.findall(r"[^-/_.,;]*[-/_.,;]+|[^-/_.,;]+", word):
        wide = width(part, size, bold)
        for bit in [part] if wide <= room else part:
            wide = width(bit, size, bold)
            if piece and used + wide > room + 1e-6:
                pieces.append(piece)
                piece, used = "", 0.0
            piece, used = piece + bit, used + wide
    return [*pieces, piece]


def clipped(text: str, room: float, size: float) -> str:
    """The beginning of a text that stands in full elsewhere."""
    if width(text, size) <= room:
        return text
    while text and width(text + "…", size) > room:
        text = text[:-1]
    return text.rstrip() + "…"


@dataclass(frozen=True, slots=True)
class Words:
    """Words on one line, from `x` on, or up to it where they stand right."""

    x: float
    text: str
    size: float = BODY
    bold: bool = False
    color: str = ""
    right: bool = False


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture that hangs from the top of its strip, at the left; strips below it leave room."""

    image: Any
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class Rule:
    color: str
    weight: float
    above: float = 0
    """How far above the strip's lower edge."""
    wide: float | None = None
    """From the left; the whole width where it is None."""


@dataclass(frozen=True, slots=True)
class Strip:
    words: tuple[Words, ...] = ()
    height: float = ROW
    rule: Rule | None = None
    picture: Picture | None = None


@dataclass(frozen=True, slots=True)
class Block:
    """Strips that belong together: on one page where they go on one, if it is `whole`."""

    strips: tuple[Strip, ...]
    whole: bool = True
    again: tuple[Strip, ...] = ()
    """What stands above the rest of it on the next page."""
    last: int = _LEAST
    """How many strips at its end no page parts."""


@dataclass(frozen=True, slots=True)
class Section:
    """Blocks below a head that is said again on each page."""

    blocks: tuple[Block, ...]
    head: tuple[Strip, ...] = ()


def beside(*columns: Sequence[Iterable[Words]], height: float = ROW) -> list[Strip]:
    """Columns of lines of words, side by side in strips."""
    return [Strip(tuple(itertools.chain.from_iterable(row)), height) for row in itertools.zip_longest(*columns, fillvalue=())]


def _tall(strips: Iterable[Strip]) -> float:
    return sum(strip.height for strip in strips)


@dataclass
class _Pages:
    """Strips put on pages from the top down."""

    room: float
    running: tuple[Strip, ...]
    """The head of each page but the first."""
    pages: list[list[Strip]] = field(default_factory=lambda: [[]])
    left: float = 0
    fresh: bool = True
    """Whether the page has nothing but heads so far."""
    head: tuple[Strip, ...] | None = None
    """The head of the section that stands on the page."""

    def __post_init__(self) -> None:
        self.left = self.room

    def turn(self) -> None:
        self.pages.append(list(self.running))
        self.left, self.fresh, self.head = self.room - _tall(self.running), True, None

    def put(self, strips: Iterable[Strip]) -> None:
        for strip in strips:
            self.pages[-1].append(strip)
            self.left -= strip.height

    def add(self, block: Block, head: tuple[Strip, ...]) -> None:
        missing = 0.0 if self.head is head else _tall(head)
        once = _tall(block.strips) + _tall(head)
        if not self.fresh and block.whole and missing + _tall(block.strips) > self.left and once <= self.room - _tall(self.running):
            self.turn()
        rest, above = block.strips, tuple[Strip, ...]()
        while rest:
            above_all = (() if self.head is head else head) + above
            fits = self._fitting(rest, self.left - _tall(above_all))
            if fits < len(rest):
                fits = min(fits, len(rest) - block.last)
                if not self.fresh and fits < _LEAST:
                    self.turn()
                    continue
                fits = max(fits, 1)
            self.put(above_all)
            self.put(rest[:fits])
            self.head, self.fresh = head, False
            rest, above = rest[fits:], block.again
            if rest:
                self.turn()

    @staticmethod
    def _fitting(strips: Sequence[Strip], room: float) -> int:
        for n, strip in enumerate(strips):
            room -= strip.height
            if room < -1e-6:
                return n
        return len(strips)


@dataclass(frozen=True, slots=True)
class Paper:
    """A page's size and margins, in points."""

    width: float
    height: float
    side: float = 51
    top: float = 48
    bottom: float = 60

    @property
    def room(self) -> float:
        """From the left margin to the right one."""
        return self.width - 2 * self.side


def write(paper: Paper, sections: Iterable[Section], *, running: tuple[Strip, ...], footer: Callable[[int, int], Strip],
          ink: str, title: str, author: str, date: str) -> bytes:
    """The file: the same bytes for the same strips. `date` is that of its making, as year-month-day; `footer` takes page and pages."""
    from reportlab.lib.colors import HexColor
    from reportlab.pdfgen.canvas import Canvas

    color = functools.cache(HexColor)
    made = _Pages(paper.height - paper.top - paper.bottom, running)
    for section in sections:
        for block in section.blocks:
            made.add(block, section.head)
    buffer = io.BytesIO()
    first: Any = typeface().fontName  # or the file names a font that it does not hold
    canvas = Canvas(buffer, pagesize=(paper.width, paper.height), pageCompression=1, invariant=1, lang="en", initialFontName=first)
    canvas.setTitle(title)
    canvas.setAuthor(author)
    canvas.setSubject("")
    canvas.setCreator("barfuncs")
    canvas.setViewerPreference("DisplayDocTitle", "true")
    canvas.setDateFormatter(lambda *_: f"D:{date.replace('-', '')}000000Z")
    for number, page in enumerate(made.pages, start=1):
        y = paper.height - paper.top
        for strip in page:
            y -= strip.height
            _draw(canvas, strip, paper, y, ink, color)
        _draw(canvas, footer(number, len(made.pages)), paper, paper.bottom - 2.5 * ROW, ink, color)
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _draw(canvas: Any, strip: Strip, paper: Paper, y: float, ink: str, color: Callable[[str], Any]) -> None:
    if strip.picture:
        picture = strip.picture
        canvas.drawImage(picture.image, paper.side, y + strip.height - picture.height, picture.width, picture.height)
    if strip.rule:
        canvas.setStrokeColor(color(f"#{strip.rule.color}"))
        canvas.setLineWidth(strip.rule.weight)
        end = paper.room if strip.rule.wide is None else strip.rule.wide
        canvas.line(paper.side, y + strip.rule.above, paper.side + end, y + strip.rule.above)
    if not strip.words:
        return
    text = canvas.beginText()
    look: tuple[bool, float] | None = None
    shade = ""
    for words in strip.words:
        if look != (look := (words.bold, words.size)):
            text.setFont(typeface(words.bold).fontName, words.size)
        if shade != (shade := words.color or ink):
            text.setFillColor(color(f"#{shade}"))
        x = paper.side + words.x - (width(words.text, words.size, words.bold) if words.right else 0)
        text.setTextOrigin(x, y + words.size * 0.3)
        text.textOut(words.text)
    canvas.drawText(text)
