"""What a folder of workbooks knows of itself: which list made which workbook, from what, in which run.

The record grows by a line before a file is written, so that a run that was killed leaves no file that it says nothing of.
Which line holds for a file, the file's own bytes say.
"""

import hashlib
import itertools
import json
import os
import sys
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, field, fields, replace
from pathlib import Path
from typing import Any, TypeVar

from barfuncs.xlsx.package import write_whole
from barfuncs.xlsx.sheetxml import Value

RECORD = ".barfuncs-record.jsonl"
RUN = ".barfuncs-run-"
"""How the names of files begin that a run over a list has not finished; none of them outlives the next run."""
RESULT_FILES = ("results.csv", "results.xlsx")
REQUOTE_FILES = ("requote.csv", "requote.xlsx")
FOR_CUSTOMER = "for_customer"
"""The folder within that has what is sent."""
MOST_BYTES = 400_000_000
_LONGEST_LINE = 1_000_000


class Line(Mapping[str, Value]):
    """What a workbook shows in its line of the results; thousands of them take little memory, since they share their heads."""

    __slots__ = ("_heads", "_values")
    _known: dict[tuple[str, ...], tuple[str, ...]] = {}  # noqa: RUF012 - shared on purpose

    def __init__(self, values: Mapping[str, Value]) -> None:
        heads = tuple(values)
        if len(self._known) > _MOST_HEADS:
            self._known.clear()
        self._heads = self._known.setdefault(heads, heads)
        self._values = tuple(sys.intern(value) if type(value) is str else value for value in values.values())

    @property
    def heads(self) -> tuple[str, ...]:
        return self._heads

    def plain(self) -> dict[str, Value]:
        return dict(zip(self._heads, self._values, strict=True))

    def __getitem__(self, name: str) -> Value:
        try:
            return self._values[self._heads.index(name)]
        except ValueError:
            raise KeyError(name) from None

    def __iter__(self) -> Iterator[str]:
        return iter(self._heads)

    def __len__(self) -> int:
        return len(self._heads)

    def __repr__(self) -> str:
        return f"Line({dict(self)!r})"


_MOST_HEADS = 1_000


@dataclass(frozen=True, slots=True)
class Entry:
    """A workbook that a list made.

    `made_from` tells what was filled in, `but_name` the same without the job's name, `digest` and `copy_digest` the bytes
    of the workbook and of the customer's copy; `values` is its line in the results, `note` what is to be known of it.
    `said` tells what its row said before anybody read it, `as_inch` whether bare numbers of it were taken as inch.
    `number` is that of the quotation which it is a line of, `quoted` what it says there, `sent` the file of that quotation. `compared`
    is its part of the table of old and new prices, as JSON, where it is a quote made anew.
    """

    file: str
    template: str
    list: str
    row: int
    run: str
    made_from: str
    but_name: str
    digest: str
    values: Line
    copy: str = ""
    copy_digest: str = ""
    note: str = ""
    said: str = ""
    as_inch: bool = False
    number: str = ""
    quoted: str = ""
    sent: str = ""
    compared: str = ""

    def told(self) -> dict[str, Any] | None:
        """How its prices compare, where it is a quote made anew."""
        try:
            told = json.loads(self.compared) if self.compared else None
        except (ValueError, RecursionError):
            return None
        return told if isinstance(told, dict) and isinstance(told.get("lines"), list) else None


@dataclass(frozen=True, slots=True)
class Sent:
    """A file of a quotation in the folder for customers: its number, its bytes, what it is made from."""

    sent: str
    number: str
    digest: str
    made_from: str


@dataclass(frozen=True, slots=True)
class Lack:
    """A row that a quotation waits for: the workbook that it has not got, and the row's list."""

    lacks: str
    number: str
    list: str
    row: int


_KINDS = {f.name: {"row": int, "values": dict, "as_inch": bool}.get(f.name, str) for f in fields(Entry)}
_LATER = {"said": "", "as_inch": False, "number": "", "quoted": "", "sent": "", "compared": ""}
"""What the records of earlier versions do not tell."""


def _as_line(entry: Entry) -> dict[str, Any]:
    return {name: getattr(entry, name) for name in _KINDS} | {"values": entry.values.plain()}


def digest_of(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def digest_at(path: Path) -> str:
    """The digest of a file, or an empty text where there is none."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except FileNotFoundError:
        return ""


@dataclass
class Record:
    """The record of one folder."""

    folder: Path
    entries: dict[str, Entry] = field(default_factory=dict)
    """By file name in small letters, the entries whose workbook is there."""
    results: dict[str, set[str]] = field(default_factory=dict)
    """The digests that each file of results may have without a hand in it."""
    sent: dict[str, list[Sent]] = field(default_factory=dict)
    """By number in small letters what is known of quotations, of files that were replaced since too."""
    digests: dict[str, set[str]] = field(default_factory=dict)
    """By file name in small letters the digests that a file of a quotation may have without a hand in it."""
    lacks: dict[str, Lack] = field(default_factory=dict)
    """By the file name of their workbook in small letters, the rows that quotations wait for."""
    found: dict[str, str] = field(default_factory=dict)
    """By file name in small letters, the digests that the workbooks had when the record was read."""

    @classmethod
    def read(cls, folder: Path) -> "Record":
        """The record as it stands. A line that can't be read is left out, and its workbook is then an unknown one."""
        record = cls(folder)
        told: dict[str, list[Entry]] = {}
        for line in _lines(folder / RECORD):
            if isinstance(line.get("results"), str) and isinstance(line.get("digest"), str):
                record.results.setdefault(line["results"], set()).add(line["digest"])
            if (sent := _of_kind(Sent, line)) and _is_plain(sent.sent, (".xlsx", ".pdf")):
                record._know(sent)
            if lack := _of_kind(Lack, line):
                record.lacks[lack.lacks.casefold()] = lack
            entry = _entry(line)
            if entry is not None:
                told.setdefault(entry.file.casefold(), []).append(entry)
        for key, versions in told.items():
            digest = record.found[key] = digest_at(folder / versions[0].file)
            fitting = [e for e in versions if e.digest == digest]
            if fitting:
                record.entries[key] = fitting[-1]
            elif digest:  # changed by hand; where a run was killed, nothing tells from which of several
                record.entries[key] = versions[0] if len(versions) == 1 else _unsure(versions[-1])
        return record

    def find(self, file: str) -> Entry | None:
        return self.entries.get(file.casefold())

    def announce(self, entry: Entry) -> None:
        """Put down what a workbook will be, before it is written."""
        self._append(_as_line(entry))

    def announce_results(self, name: str, digest: str) -> None:
        self._append({"results": name, "digest": digest})
        self.results.setdefault(name, set()).add(digest)

    def announce_sent(self, sent: Sent) -> None:
        self._append(asdict(sent))
        self._know(sent)

    def _know(self, sent: Sent) -> None:
        self.sent.setdefault(sent.number.casefold(), []).append(sent)
        self.digests.setdefault(sent.sent.casefold(), set()).add(sent.digest)

    def _append(self, line: Mapping[str, Any]) -> None:
        # The line end comes first too: a run that was killed may have left half a line.
        data = f"\n{json.dumps(line)}\n".encode()
        handle = os.open(self.folder / RECORD, os.O_WRONLY | os.O_APPEND | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o666)
        with os.fdopen(handle, "wb") as file:
            file.write(data)

    def set(self, entry: Entry) -> None:
        self.entries[entry.file.casefold()] = entry

    def drop(self, entry: Entry) -> None:
        self.entries.pop(entry.file.casefold(), None)

    def save(self) -> None:
        """Write the record anew with what holds now; none is left where there is nothing to tell."""
        results = [{"results": name, "digest": digest} for name in (*RESULT_FILES, *REQUOTE_FILES) if (digest := digest_at(self.folder / name))
                   in self.results.get(name, ())]
        sent = {s.sent: asdict(s) for s in itertools.chain.from_iterable(self.sent.values()) if digest_at(self.folder / FOR_CUSTOMER / s.sent) == s.digest}
        path = self.folder / RECORD
        if not self.entries and not results and not sent:
            path.unlink(missing_ok=True)
            return
        lines = itertools.chain(map(_as_line, self.in_order()), results, sent.values(), map(asdict, self.lacks.values()))
        write_whole(path, (json.dumps(line).encode() + b"\n" for line in lines), replace=True, beginning=RUN)

    def in_order(self) -> list[Entry]:
        return sorted(self.entries.values(), key=lambda e: (e.list, e.row, e.file))


def _unsure(entry: Entry) -> Entry:
    return replace(entry, made_from="", but_name="", said="")


def _lines(path: Path) -> Iterator[dict[str, Any]]:
    try:
        if path.stat().st_size > MOST_BYTES:
            return
        with path.open("rb") as file:
            while line := file.readline(_LONGEST_LINE):
                try:
                    found = json.loads(line.decode("utf-8", "replace")) if line.strip() else None
                except (ValueError, RecursionError):
                    continue
                if isinstance(found, dict):
                    yield found
    except OSError:
        return


def _entry(line: Mapping[str, Any]) -> Entry | None:
    """The entry of a line, unless it is not one or its files lie elsewhere."""
    line = {**_LATER, **line}
    if set(line) != set(_KINDS) or not all(type(line[name]) is kind for name, kind in _KINDS.items()):
        return None
    if not _is_plain(line["file"]) or (line["copy"] and not _is_plain(line["copy"])):
        return None
    if not all(value is None or isinstance(value, (str, int, float)) for value in line["values"].values()):
        return None
    return Entry(**line | {"values": Line(line["values"])})


_Told = TypeVar("_Told", Sent, Lack)


def _of_kind(kind: type[_Told], line: Mapping[str, Any]) -> _Told | None:
    """What a line of the record tells of a quotation, unless it is another line."""
    wanted = {f.name: int if f.name == "row" else str for f in fields(kind)}
    return kind(**line) if set(line) == set(wanted) and all(type(line[name]) is wanted[name] for name in wanted) else None


def _is_plain(name: str, ends: tuple[str, ...] = (".xlsx",)) -> bool:
    return name.endswith(ends) and not set(name) & set("/\\:\0")
