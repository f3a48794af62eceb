"""An xlsx file as a zip of parts: read within limits, written whole or not at all."""

import errno
import io
import os
import posixpath
import stat
import struct
import tempfile
import zipfile
import zlib
from collections.abc import Callable, Container, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.parsers import expat

from barfuncs.errors import WorkbookError

MOST_PARTS = 5_000
MOST_BYTES = 200_000_000
LARGEST_FILE = 50_000_000
DEEPEST_XML = 200
OLD_FILE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
"""How an .xls file, and an .xlsx behind a password, begins."""
_NEEDED = ("[Content_Types].xml", "xl/workbook.xml", "xl/_rels/workbook.xml.rels")
_DATE = (2026, 1, 1, 0, 0, 0)


def read_parts(source: str | Path | bytes, label: str = "") -> dict[str, bytes]:
    """All parts of an xlsx file, in order; their XML has been read through once. `label` is as in `open_parts`.

    Raises WorkbookError for a file that is not an xlsx, is damaged, protected by a password or larger than the limits.
    """
    name, archive = open_parts(source, label)
    with archive:
        parts = {info.filename: b"".join(part_chunks(name, archive, info)) for info in archive.infolist()}
    for part, data in parts.items():
        if part.endswith((".xml", ".rels")):
            reason = xml_problem(data)
            if reason:
                raise WorkbookError(f"{name} is damaged: its part {part} {reason}")
    return parts


def open_parts(source: str | Path | bytes, label: str = "") -> tuple[str, zipfile.ZipFile]:
    """What messages call an xlsx file (its name unless `label` says otherwise), and its parts, not unpacked yet.

    Raises WorkbookError for a file that is not an xlsx, is protected by a password or larger than the limits.
    """
    name = label or ("workbook" if isinstance(source, bytes) else Path(source).name)
    if not isinstance(source, bytes):
        source = file_bytes(source, name)
    if source.startswith(OLD_FILE):
        raise WorkbookError(f"{name} is an old .xls file or protected by a password; save it as .xlsx without one")
    # Counted before the zip's directory is read, whose entries would fill the memory.
    if source.count(_ENTRY) > MOST_PARTS:
        raise WorkbookError(f"{name} has more than {MOST_PARTS:,} parts")
    try:
        archive = zipfile.ZipFile(io.BytesIO(source))
    except MemoryError:
        raise
    except Exception as error:  # zipfile lets through whatever struct and codecs raise on damaged bytes
        raise WorkbookError(f"{name} is not an xlsx workbook, or is damaged ({error})") from None
    if sum(info.file_size for info in archive.infolist()) > MOST_BYTES:
        raise WorkbookError(f"{name} unpacks to more than {MOST_BYTES // 1_000_000} MB")
    parts = {info.filename for info in archive.infolist()}
    if "content.xml" in parts:
        raise WorkbookError(f"{name} is an OpenDocument file; save it as .xlsx")
    if "xl/workbook.bin" in parts:
        raise WorkbookError(f"{name} is a binary workbook (.xlsb); save it as .xlsx")
    missing = [part for part in _NEEDED if part not in parts]
    if missing:
        raise WorkbookError(f"{name} is not an xlsx workbook, or is damaged ({', '.join(missing)} missing)")
    return name, archive


def file_bytes(path: str | Path, label: str = "") -> bytes:
    """The bytes of a file that may be a workbook. Raises WorkbookError for one that can't be read or is larger than the limit."""
    path = Path(path)
    name = label or path.name
    try:
        if path.exists() and not path.is_file():
            raise WorkbookError(f"{name} is not a file")
        if path.stat().st_size > LARGEST_FILE:
            raise WorkbookError(f"{name} is larger than {LARGEST_FILE // 1_000_000} MB")
        return path.read_bytes()
    except FileNotFoundError:
        raise WorkbookError(f"{name}: there is no such file") from None
    except OSError as error:
        raise WorkbookError(f"{name} can't be read ({error.strerror})") from None


_ENTRY = b"PK\x01\x02"
_CHUNK = 65_536


def part_chunks(name: str, archive: zipfile.ZipFile, part: zipfile.ZipInfo) -> Iterator[bytes]:
    """The bytes of one part, unpacked piece by piece. Raises WorkbookError where they are damaged."""
    if part.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise WorkbookError(f"{name} is not an xlsx workbook, or is damaged (its part {part.filename} is packed in another way)")
    left = MOST_BYTES  # the size in the directory may lie
    try:
        with archive.open(part) as file:
            while piece := file.read(_CHUNK):
                left -= len(piece)
                if left < 0:
                    raise WorkbookError(f"{name} unpacks to more than {MOST_BYTES // 1_000_000} MB")
                yield piece
    except (WorkbookError, MemoryError):
        raise
    except Exception as error:  # zipfile lets through whatever zlib and struct raise on damaged bytes
        raise WorkbookError(f"{name} is not an xlsx workbook, or is damaged ({error})") from None


LONGEST_TAG = 1_000_000
"""Bytes of one tag or comment of an XML part. The parser begins anew with each piece of a long one."""


class BadXML(ValueError):  # noqa: N818 - what is wrong with the text, in the words that follow its name
    """An XML text that is damaged or beyond the limits."""


def read_xml(chunks: Iterable[bytes], start: Callable[[str, dict[str, str]], None] | None = None,
             end: Callable[[str], None] | None = None, text: Callable[[str], None] | None = None) -> None:
    """Read an XML text through once, handing out tags, without their namespace, and texts.

    Raises BadXML for a text that is damaged, has a document type declaration or is nested too deep.
    """
    parser = xml_parser()
    local: dict[str, str] = {}
    depth = 0

    def on_start(tag: str, attributes: dict[str, str]) -> None:
        nonlocal depth
        depth += 1
        check_depth(depth)
        if start:
            start(local.get(tag) or local.setdefault(tag, local_name(tag)), attributes)

    def on_end(tag: str) -> None:
        nonlocal depth
        depth -= 1
        if end:
            end(local.get(tag) or local_name(tag))

    parser.StartElementHandler, parser.EndElementHandler = on_start, on_end
    if text:
        parser.CharacterDataHandler = text
    feed_xml(parser, chunks)


def local_name(tag: str) -> str:
    """A tag as `xml_parser` hands it out, without its namespace."""
    return tag.rpartition(" ")[2]


def check_depth(depth: int) -> None:
    if depth > DEEPEST_XML:
        raise BadXML(f"is nested more than {DEEPEST_XML} deep")


def xml_parser() -> Any:
    """A parser for `feed_xml`; it refuses a document type declaration, which could hold entities that fill the memory."""
    def refuse(*_: object) -> None:
        raise BadXML("has a document type declaration, which is not allowed")

    # With namespaces, so that a prefix that stands for nothing is an error.
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.buffer_text = True
    parser.StartDoctypeDeclHandler = refuse
    return parser


def feed_xml(parser: Any, chunks: Iterable[bytes]) -> None:
    """Raises BadXML for a text that is damaged."""
    fed = 0
    try:
        for chunk in chunks:
            parser.Parse(chunk, False)
            fed += len(chunk)
            if fed - parser.CurrentByteIndex > LONGEST_TAG:
                raise BadXML(f"has a tag or comment of more than {LONGEST_TAG:,} bytes")
        parser.Parse(b"", True)
    except BadXML:
        raise
    except (expat.ExpatError, UnicodeError, LookupError) as error:
        if str(error).startswith("out of memory"):
            raise MemoryError from None
        raise BadXML(f"is no good XML ({error})") from None


def xml_problem(data: bytes) -> str | None:
    """What is wrong with an XML text, or None.

    >>> xml_problem(b"<a><b></a>"), xml_problem(b"<!DOCTYPE a><a/>"), xml_problem(b"<a/>")
    ('is no good XML (mismatched tag: line 1, column 8)', 'has a document type declaration, which is not allowed', None)
    """
    try:
        read_xml(data[n:n + _CHUNK] for n in range(0, len(data), _CHUNK))
    except BadXML as error:
        return str(error)
    return None


@dataclass(frozen=True)
class Sheet:
    """A worksheet of a file: its name, whether it is shown, and its part."""

    name: str
    visible: bool
    part: str


@dataclass(frozen=True)
class Listed:
    """What a workbook says of its parts: worksheets in their order, texts and styles ("" where there are none), and
    whether its days count from 1904."""

    sheets: list[Sheet]
    texts: str
    styles: str
    from_1904: bool


def worksheets(label: str, parts: Mapping[str, bytes]) -> list[Sheet]:
    """The worksheets in their order; sheets that only hold a chart are left out.

    Raises WorkbookError where one of them is missing from the file.
    """
    return listed_parts(label, [parts["xl/_rels/workbook.xml.rels"]], [parts["xl/workbook.xml"]], parts).sheets


def listed_parts(label: str, links: Iterable[bytes], workbook: Iterable[bytes], parts: Container[str]) -> Listed:
    """What the workbook's own part and the links from it say.

    Raises WorkbookError where a worksheet is missing from the file, BadXML where one of the two parts is damaged.
    """
    targets: dict[str, tuple[str, str]] = {}
    sheets: list[Sheet] = []
    from_1904 = False

    def add_link(tag: str, attributes: dict[str, str]) -> None:
        if tag == "Relationship":
            part = posixpath.normpath(posixpath.join("/xl", attributes.get("Target", ""))).lstrip("/")
            targets[attributes.get("Id", "")] = attributes.get("Type", "").rpartition("/")[2], part
            if len(targets) > MOST_PARTS:
                raise WorkbookError(f"{label} has more than {MOST_PARTS:,} parts")

    def add_sheet(tag: str, attributes: dict[str, str]) -> None:
        nonlocal from_1904
        if tag == "workbookPr":
            from_1904 = attributes.get("date1904") in ("1", "true")
        if tag != "sheet":
            return
        name = attributes.get("name", "")
        kind, part = targets.get(next((v for k, v in attributes.items() if k.rpartition(" ")[2] == "id"), ""), ("", ""))
        if kind and kind != "worksheet":
            return
        if part not in parts:
            raise WorkbookError(f"{label}: sheet {name} is missing from the file")
        sheets.append(Sheet(name, attributes.get("state", "visible") == "visible", part))
        if len(sheets) > MOST_PARTS:
            raise WorkbookError(f"{label} has more than {MOST_PARTS:,} sheets")

    read_xml(links, add_link)
    read_xml(workbook, add_sheet)
    others = dict(targets.values())
    return Listed(sheets, others.get("sharedStrings", ""), others.get("styles", ""), from_1904)


def pack(parts: Mapping[str, bytes], level: int = 6) -> bytes:
    """A zip of the parts. The same parts give the same bytes on any day."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, data in parts.items():
            archive.writestr(part_info(name), data, compresslevel=level)
    return buffer.getvalue()


@dataclass(frozen=True)
class Packed:
    """A part as it lies in a zip: the checksum and length of its bytes, and the deflated bytes."""

    name: str
    crc: int
    size: int
    deflated: bytes


def packed(name: str, data: bytes, level: int = 6) -> Packed:
    return Packed(name, zlib.crc32(data), len(data), deflated(data, level) + DEFLATED_END)


def deflated(data: bytes, level: int) -> bytes:
    """Deflated bytes that end at a whole byte and refer to nothing before them: several in a row and `DEFLATED_END` are the
    deflated form of all their data."""
    packer = zlib.compressobj(level, zlib.DEFLATED, -zlib.MAX_WBITS)
    return packer.compress(data) + packer.flush(zlib.Z_SYNC_FLUSH)


DEFLATED_END = b"\x03\x00"
"""A last block with nothing in it."""
_DOS_DATE = (_DATE[0] - 1980) << 9 | _DATE[1] << 5 | _DATE[2]
_MADE_BY_UNIX, _NEEDS = 3 << 8 | 20, 20
_LOCAL, _LISTED, _LAST = struct.Struct("<4s5H3L2H"), struct.Struct("<4s6H3L5H2L"), struct.Struct("<4s4H2LH")


def zip_of(parts: Iterable[Packed]) -> bytes:
    """A zip of parts that are deflated already, which zipfile does not take. Their names are in ASCII."""
    out: list[bytes] = []
    directory: list[bytes] = []
    at = 0
    for part in parts:
        name = part.name.encode("ascii")
        known = 0, zlib.DEFLATED, 0, _DOS_DATE, part.crc, len(part.deflated), part.size, len(name), 0
        out += [_LOCAL.pack(b"PK\x03\x04", _NEEDS, *known), name, part.deflated]
        directory += [_LISTED.pack(b"PK\x01\x02", _MADE_BY_UNIX, _NEEDS, *known, 0, 0, 0, 0o600 << 16, at), name]
        at += _LOCAL.size + len(name) + len(part.deflated)
    count, length = len(directory) // 2, sum(map(len, directory))
    return b"".join([*out, *directory, _LAST.pack(b"PK\x05\x06", 0, 0, count, count, length, at, 0)])


def part_info(name: str) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name, _DATE)
    info.compress_type = zipfile.ZIP_DEFLATED
    info.external_attr = 0o600 << 16
    return info


TEMPORARY = ".barfuncs-"
PART = ".part"
"""How the name of a file begins and ends that is being written and has not got its own name yet."""


class Staged:
    """A file's content, in one piece or in several, beside its place, all of it written: what is left to do is to give it its
    name."""

    def __init__(self, path: str | Path, data: bytes | Iterable[bytes], replace: bool = False,
                 beginning: str = TEMPORARY) -> None:
        self.path = Path(path).resolve() if replace else Path(path)
        self.replace = replace
        if replace and is_read_only(self.path):
            raise PermissionError(errno.EACCES, "the file is read-only", str(self.path))
        handle, self.temporary = tempfile.mkstemp(dir=self.path.parent, prefix=beginning, suffix=PART)
        try:
            with os.fdopen(handle, "wb") as file:
                file.writelines([data] if isinstance(data, bytes) else data)
            os.chmod(self.temporary, _mode(self.path) if replace else usual_mode())
        except BaseException:
            self.drop()
            raise

    def place(self) -> None:
        """Give the file its name. Raises FileExistsError where that is taken and must not be replaced."""
        if self.replace:
            os.replace(self.temporary, self.path)
        else:
            _place_new(self.temporary, self.path)

    def drop(self) -> None:
        """Take the file away unless it has its name."""
        Path(self.temporary).unlink(missing_ok=True)


def write_whole(path: str | Path, data: bytes | Iterable[bytes], replace: bool = False, beginning: str = TEMPORARY) -> None:
    """Write a file, given in one piece or in several, whole or not at all; refuse to overwrite unless `replace`.

    A replaced file keeps its mode; where the path is a link, the file behind it is replaced.

    Raises FileExistsError where the file is there already, PermissionError where it is to be replaced and is read-only.
    """
    staged = Staged(path, data, replace, beginning)
    try:
        staged.place()
    finally:
        staged.drop()


def is_read_only(path: Path) -> bool:
    """Whether the file is there and marked read-only, or this user may not write it."""
    try:
        return not path.stat().st_mode & 0o222 or not os.access(path, os.W_OK)
    except OSError:
        return False


def _mode(path: Path) -> int:
    """Mode of the file that is there, or of a new one."""
    try:
        return stat.S_IMODE(path.stat().st_mode)
    except OSError:
        return usual_mode()


def _place_new(temporary: str, path: Path) -> None:
    """Rename without overwriting: a hard link fails where the name is taken, a rename would not."""
    try:
        os.link(temporary, path)
    except FileExistsError:
        raise FileExistsError(f"{path} exists already") from None
    except OSError:  # a file system without hard links
        if path.exists():
            raise FileExistsError(f"{path} exists already") from None
        os.replace(temporary, path)
        return
    os.unlink(temporary)


def usual_mode() -> int:
    """The mode that this user's new files have."""
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask
