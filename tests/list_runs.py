"""What runs over a list leave, compared."""

import contextlib
import csv
import hashlib
import io
from pathlib import Path

import openpyxl

from barfuncs.filling.record import RECORD, RESULT_FILES


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def lines(out: Path) -> tuple[list[dict[str, str]], list[tuple[object, ...]]]:
    """The lines of both files of results, without the time of the run."""
    text = (out / "results.csv").read_text("utf-8-sig")
    of_csv = [{**row, "run": ""} for row in csv.DictReader(io.StringIO(text, newline=""), strict=True)]
    with contextlib.closing(openpyxl.load_workbook(out / "results.xlsx", read_only=True)) as book:
        heads, *rows = book.active.iter_rows(values_only=True)
    at = heads.index("run")
    return of_csv, [row[:at] + row[at + 1:] for row in rows]


def same_folders(one: Path, other: Path) -> list[str]:
    """In what two folders differ that should be the same but for the times of their runs."""
    files = [{p.relative_to(out).as_posix() for p in out.rglob("*") if p.is_file()} for out in (one, other)]
    differing = [f"only in one of them: {name}" for name in sorted(files[0] ^ files[1])]
    differing += [f"differs: {name}" for name in sorted(files[0] & files[1] - {RECORD, *RESULT_FILES}) if digest(one / name) != digest(other / name)]
    if not differing and lines(one) != lines(other):
        differing.append("the results differ")
    return differing
