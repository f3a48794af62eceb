"""An xlsx file as a zip of parts: read within limits, written whole or not at all."""

import errno
import io
import os
import posixpath
import stat
import tempfile
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
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


def read_parts(source: str | Path | bytes) -> dict[str, bytes]:
    """All parts of an xlsx file, in order; their XML has been read through once.

    Raises WorkbookError for a file that is not an xlsx, is damaged, protected by a password or larger than the limits.
    """
    name = "workbook" if isinstance(source, bytes) else Path(source).name
    try:
        if not isinstance(source, bytes):
            path = Path(source)
            if path.exists() and not path.is_file():
                raise WorkbookError(f"{name} is not a file")
            if path.stat().st_size > LARGEST_FILE:
                raise WorkbookError(f"{name} is larger than {LARGEST_FILE // 1_000_000} MB")
            source = path.read_bytes()
    except FileNotFoundError:
        raise WorkbookError(f"{name}: there is no such file") from None
    except OSError as error:
        raise WorkbookError(f"{name} can't be read ({error.strerror})") from None
    if source.startswith(OLD_FILE):
        raise WorkbookError(f"{name} is an old .xls file or protected by a password; save it as .xlsx without one")
    try:
        parts = _unpacked(name, source)
    except WorkbookError:
        raise
    except Exception as error:  # zipfile lets through whatever zlib, struct and codecs raise on damaged bytes
        raise WorkbookError(f"{name} is not an xlsx workbook, or is damaged ({error})") from None
    if "content.xml" in parts:
        raise WorkbookError(f"{name} is an OpenDocument file; save it as .xlsx")
    if "xl/workbook.bin" in parts:
        raise WorkbookError(f"{name} is a binary workbook (.xlsb); save it as .xlsx")
    missing = [part for part in _NEEDED if part not in parts]
    if missing:
        raise WorkbookError(f"{name} is not an xlsx workbook, or is damaged ({', '.join(missing)} missing)")
    for part, data in parts.items():
        if part.endswith((".xml", ".rels")):
            reason = xml_problem(data)
            if reason:
                raise WorkbookError(f"{name} is damaged: its part {part} {reason}")
    return parts


def _unpacked(name: str, data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        infos = archive.infolist()
        if len(infos) > MOST_PARTS or sum(i.file_size for i in infos) > MOST_BYTES:
            raise WorkbookError(f"{name} unpacks to more than {MOST_BYTES // 1_000_000} MB")
        parts: dict[str, bytes] = {}
        left = MOST_BYTES
        for info in infos:
            with archive.open(info) as part:
                piece = part.read(left + 1)  # the size in the directory may lie
            left -= len(piece)
            if left < 0:
                raise WorkbookError(f"{name} unpacks to more than {MOST_BYTES // 1_000_000} MB")
            parts[info.filename] = piece
    return parts


def xml_problem(data: bytes) -> str | None:
    """What is wrong with an XML text, or None.

    >>> xml_problem(b"<a><b></a>"), xml_problem(b"<!DOCTYPE a><a/>"), xml_problem(b"<a/>")
    ('is no good XML (mismatched tag: line 1, column 8)', 'has a document type declaration, which is not allowed', None)
    """
    # With namespaces, so that a prefix that stands for nothing is an error.
    parser, depth, problems = expat.ParserCreate(namespace_separator=" "), 0, []

    def stop(problem: str) -> None:
        problems.append(problem)
        raise _Stop

    def start(*_: object) -> None:
        nonlocal depth
        depth += 1
        if depth > DEEPEST_XML:
            stop(f"is nested more than {DEEPEST_XML} deep")

    def end(*_: object) -> None:
        nonlocal depth
        depth -= 1

    parser.StartElementHandler, parser.EndElementHandler = start, end
    # It could hold entities, which fill the memory.
    parser.StartDoctypeDeclHandler = lambda *_: stop("has a document type declaration, which is not allowed")
    try:
        parser.Parse(data, True)
    except _Stop:
        pass
    except (expat.ExpatError, ValueError, LookupError) as error:
        problems.append(f"is no good XML ({error})")
    return problems[0] if problems else None


class _Stop(Exception):  # noqa: N818 - not an error: it leaves the parser
    pass


@dataclass(frozen=True)
class Sheet:
    """A worksheet of a file: its name, whether it is shown, and its part."""

    name: str
    visible: bool
    part: str


def worksheets(label: str, parts: Mapping[str, bytes]) -> list[Sheet]:
    """The worksheets in their order; sheets that only hold a chart are left out.

    Raises WorkbookError where one of them is missing from the file.
    """
    from defusedxml import ElementTree

    links = {link.get("Id"): link for link in ElementTree.fromstring(parts["xl/_rels/workbook.xml.rels"])}
    sheets = []
    for element in ElementTree.fromstring(parts["xl/workbook.xml"]).iter():
        if element.tag.rpartition("}")[2] != "sheet":
            continue
        name = element.get("name", "")
        link = links.get(next((v for k, v in element.attrib.items() if k.rpartition("}")[2] == "id"), ""))
        if link is not None and not link.get("Type", "").endswith("/worksheet"):
            continue
        part = posixpath.normpath(posixpath.join("/xl", link.get("Target", "") if link is not None else "")).lstrip("/")
        if part not in parts:
            raise WorkbookError(f"{label}: sheet {name} is missing from the file")
        sheets.append(Sheet(name, element.get("state", "visible") == "visible", part))
    return sheets


def pack(parts: Mapping[str, bytes], level: int = 6) -> bytes:
    """A zip of the parts. The same parts give the same bytes on any day."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, data in parts.items():
            archive.writestr(part_info(name), data, compresslevel=level)
    return buffer.getvalue()


def part_info(name: str) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name, _DATE)
    info.compress_type = zipfile.ZIP_DEFLATED
    info.external_attr = 0o600 << 16
    return info


TEMPORARY = ".barfuncs-"
PART = ".part"
"""How the name of a file begins and ends that is being written and has not got its own name yet."""


class Staged:
    """A file's content beside its place, all of it written: what is left to do is to give it its name."""

    def __init__(self, path: str | Path, data: bytes, replace: bool = False, beginning: str = TEMPORARY) -> None:
        self.path = Path(path).resolve() if replace else Path(path)
        self.replace = replace
        if replace and is_read_only(self.path):
            raise PermissionError(errno.EACCES, "the file is read-only", str(self.path))
        handle, self.temporary = tempfile.mkstemp(dir=self.path.parent, prefix=beginning, suffix=PART)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
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


def write_whole(path: str | Path, data: bytes, replace: bool = False, beginning: str = TEMPORARY) -> None:
    """Write a file whole or not at all; refuse to overwrite unless `replace`.

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
