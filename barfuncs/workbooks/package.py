"""An xlsx file as a zip of parts: read within limits, written whole or not at all."""

import io
import os
import tempfile
import zipfile
from collections.abc import Mapping
from pathlib import Path

from barfuncs.errors import WorkbookError

MOST_PARTS = 5_000
MOST_BYTES = 200_000_000
LARGEST_FILE = 50_000_000
_DATE = (2026, 1, 1, 0, 0, 0)


def read_parts(source: str | Path | bytes) -> dict[str, bytes]:
    """All parts of an xlsx file, in order.

    Raises WorkbookError for a file that is not an xlsx, is damaged, protected by a password or larger than the limits.
    """
    name = "workbook" if isinstance(source, bytes) else Path(source).name
    try:
        if not isinstance(source, bytes):
            path = Path(source)
            if path.stat().st_size > LARGEST_FILE:
                raise WorkbookError(f"{name} is larger than {LARGEST_FILE // 1_000_000} MB")
            source = path.read_bytes()
        if source[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
            raise WorkbookError(f"{name} is an old .xls file or protected by a password; save it as .xlsx without one")
        with zipfile.ZipFile(io.BytesIO(source)) as archive:
            infos = archive.infolist()
            if len(infos) > MOST_PARTS or sum(i.file_size for i in infos) > MOST_BYTES:
                raise WorkbookError(f"{name} unpacks to more than {MOST_BYTES // 1_000_000} MB")
            parts: dict[str, bytes] = {}
            left = MOST_BYTES
            for info in infos:
                with archive.open(info) as part:
                    data = part.read(left + 1)  # the size in the directory may lie
                left -= len(data)
                if left < 0:
                    raise WorkbookError(f"{name} unpacks to more than {MOST_BYTES // 1_000_000} MB")
                parts[info.filename] = data
    except FileNotFoundError:
        raise WorkbookError(f"{name}: there is no such file") from None
    except (zipfile.BadZipFile, RuntimeError, NotImplementedError, EOFError, ValueError) as error:
        if isinstance(error, WorkbookError):
            raise
        raise WorkbookError(f"{name} is not an xlsx workbook, or is damaged ({error})") from None
    except OSError as error:
        raise WorkbookError(f"{name} can't be read ({error.strerror})") from None
    if "xl/workbook.xml" not in parts:
        raise WorkbookError(f"{name} is not an xlsx workbook")
    return parts


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


def write_whole(path: str | Path, data: bytes, replace: bool = False) -> None:
    """Write a file whole or not at all; refuse to overwrite unless `replace`.

    Raises FileExistsError where the file is there already.
    """
    path = Path(path)
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=".barfuncs-", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        os.chmod(temporary, 0o666 & ~_umask())
        if replace:
            os.replace(temporary, path)
        else:
            _place_new(temporary, path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise


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


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
