"""CSV as spreadsheet programs write it: encoding, separator and rows, or a sentence that says what is wrong."""

import csv
import io
import re

SAVE_AS = "save it as CSV UTF-8"


def read_csv(data: bytes) -> list[list[str]]:
    """All rows in order, blank ones too, so that row n is row n as a spreadsheet counts it.

    Read are UTF-8, and UTF-16 that begins with its mark; the separator is a comma, a semicolon or a tab, or what a first
    line `sep=;` says, which is no row.

    Raises ValueError with the reason, without the file's name.

    >>> read_csv(b'sep=;' + bytes([10]) + b'name;note' + bytes([10]) + b'A;"1,5"')
    [['name', 'note'], ['A', '1,5']]
    """
    text = _decoded(data)
    stated = re.match(r"sep=([,;\t|])?\r?\n?", text, re.IGNORECASE)
    if stated:
        text, separator = text[stated.end():], stated[1] or ","
    else:
        first = next((line for line in re.split(r"[\r\n]+", text) if line.strip()), "")
        separator = max(",;\t", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    rows: list[list[str]] = []
    try:
        rows.extend(reader)
    except csv.Error as error:
        raise ValueError(f"can't be read from row {len(rows) + 1} on ({error}): a cell that begins with a quotation mark "
                         "must end with one, and one within it is written twice") from None
    return rows


def _decoded(data: bytes) -> str:
    encoding = "utf-16" if data.startswith((b"\xff\xfe", b"\xfe\xff")) else "utf-8-sig"
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise ValueError(f"is not a CSV text in UTF-8 (line {line} has other bytes); {SAVE_AS}") from None
    if "\0" in text:
        raise ValueError(f"is not a CSV text; {SAVE_AS}")
    return text
