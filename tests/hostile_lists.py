"""Lists made to hang or fill a machine, at their real sizes: how long the command line takes, and how much memory.

    python tests/hostile_lists.py [WORD ...]

Each file goes through `barfuncs plan`. Every one must be refused with one plain sentence, or read, within 5 s, with at
most 500 MB in the command and at most 500 MB in any process that it starts. Ends with the status 1 where one is not.
"""

import os
import subprocess
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

MOST_SECONDS, MOST_MB = 5.0, 500
HEADS = "job,units,material,shape,size,part_length,cutoff_width,face_to_cutoff,grip_length,bar_length,quantity"
JOB = "J1,in,303,round,1,2,.125,.2,2,144,100"
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
LINK = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
STYLES = (f'<styleSheet xmlns="{MAIN}"><fonts count="1"><font/></fonts><fills count="1"><fill/></fills><borders count="1"><border/>'
          '</borders><cellStyleXfs count="1"><xf/></cellStyleXfs><cellXfs count="2"><xf numFmtId="0"/><xf numFmtId="14"/></cellXfs></styleSheet>')
ROW = "".join(f'<c t="inlineStr"><is><t>{text}</t></is></c>' for text in HEADS.split(","))
CELLS = "".join(f'<c t="inlineStr"><is><t>{text}</t></is></c>' for text in JOB.split(","))
GOOD = f'<row r="1">{ROW}</row><row r="2">{CELLS}</row>'


def write_xlsx(path: Path, sheet: bytes | str = GOOD, *, texts: bytes = b"", names: bytes = b"", extra: dict[str, bytes] | None = None,
               before: bytes = b"", after: bytes = b"", method: int = zipfile.ZIP_DEFLATED) -> None:
    """A workbook whose one sheet has these rows; `before` and `after` stand around the rows."""
    rows = sheet.encode() if isinstance(sheet, str) else sheet
    kinds = {"worksheet": "worksheets/sheet1.xml", "sharedStrings": "sharedStrings.xml", "styles": "styles.xml"}
    links = "".join(f'<Relationship Id="r{n}" Type="{LINK}/{kind}" Target="{target}"/>' for n, (kind, target) in enumerate(kinds.items()))
    parts = {
        "[Content_Types].xml": b'<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"/>',
        "xl/_rels/workbook.xml.rels": ('<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
                                       f"{links}</Relationships>").encode(),
        "xl/workbook.xml": (f'<workbook xmlns="{MAIN}" xmlns:r="{LINK}"><sheets><sheet name="Jobs" sheetId="1" r:id="r0"/></sheets>'
                            "<definedNames>").encode() + names + b"</definedNames></workbook>",
        "xl/styles.xml": STYLES.encode(),
        "xl/sharedStrings.xml": f'<sst xmlns="{MAIN}">'.encode() + texts + b"</sst>",
        "xl/worksheets/sheet1.xml": before + f'<worksheet xmlns="{MAIN}">'.encode() + after + b"<sheetData>" + rows + b"</sheetData></worksheet>",
    } | (extra or {})
    with zipfile.ZipFile(path, "w", method) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)


def rows_of(number: int, row: Callable[[int], str]) -> bytes:
    return GOOD.encode() + "".join(row(n) for n in range(3, number)).encode()


def letters(number: int) -> str:
    text = ""
    while number:
        number, rest = divmod(number - 1, 26)
        text = chr(65 + rest) + text
    return text


def full_rows(columns: int, rows: int, cell: str) -> bytes:
    names = [letters(n) for n in range(1, columns + 1)]
    return GOOD.encode() + b"".join(
        (f'<row r="{row}">' + "".join(cell.format(f"{name}{row}") for name in names) + "</row>").encode() for row in range(3, rows + 3))


def csv(make: Callable[[], bytes | str]) -> Callable[[Path], None]:
    def write(path: Path) -> None:
        data = make()
        path.with_suffix(".csv").write_bytes(data.encode() if isinstance(data, str) else data)

    return write


def xlsx(make: Callable[[], dict[str, object]]) -> Callable[[Path], None]:
    return lambda path: write_xlsx(path.with_suffix(".xlsx"), **make())  # type: ignore[arg-type]


def many_entries(path: Path) -> None:
    with zipfile.ZipFile(path.with_suffix(".xlsx"), "w") as archive:
        for n in range(300_000):
            archive.writestr(f"{n}", b"")


def formulas(*texts: str, names: int = 0) -> Callable[[Path], None]:
    """A list as another program writes it, with formulas without values below its job."""
    def write(path: Path) -> None:
        import openpyxl
        from openpyxl.workbook.defined_name import DefinedName

        book = openpyxl.Workbook()
        for row in (HEADS.split(","), JOB.split(",")):
            book.active.append(row)
        for n, text in enumerate(texts):
            book.active.cell(3 + n // 10, 1 + n % 10).value = text
        for n in range(names):
            book.defined_names[f"name_{n}"] = DefinedName(f"name_{n}", attr_text=f"Sheet!$A${n % 1000 + 1}")
        book.save(path.with_suffix(".xlsx"))

    return write


def names(number: int) -> bytes:
    return b"".join(b'<definedName name="name_%d">Jobs!$A$%d</definedName>' % (n, n % 1000 + 1) for n in range(number))


def of_number(text: str) -> Callable[[], dict[str, object]]:
    return lambda: {"sheet": GOOD.replace("<row r=\"2\">", '<row r="2">', 1).replace(
        '<c t="inlineStr"><is><t>100</t></is></c>', f"<c><v>{text}</v></c>")}


MB = 1_000_000
LISTS: dict[str, Callable[[Path], None]] = {
    "xlsx: zip bomb, 190 MB of blanks in the sheet": xlsx(lambda: {"sheet": GOOD.encode() + b" " * (190 * MB)}),
    "xlsx: zip bomb, 99 MB of blanks in the sheet": xlsx(lambda: {"sheet": GOOD.encode() + b" " * (99 * MB)}),
    "xlsx: zip bomb, 1 GB in another part": xlsx(lambda: {"extra": {"xl/media/picture.png": b"\0" * (1000 * MB)}}),
    "xlsx: 300,000 parts": many_entries,
    "xlsx: 0.9 MB, rows of 16,384 columns, filled": xlsx(lambda: {"sheet": full_rows(16_384, 60, '<c r="{0}"><v>1</v></c>')}),
    "xlsx: rows of 16,384 columns, blank": xlsx(lambda: {"sheet": full_rows(16_384, 100, '<c r="{0}" s="1"/>')}),
    "xlsx: rows of 500 columns, filled": xlsx(lambda: {"sheet": full_rows(500, 2_000, '<c r="{0}"><v>1</v></c>')}),
    "xlsx: states a million rows and all columns": xlsx(lambda: {"after": b'<dimension ref="A1:XFD1048576"/>'}),
    "xlsx: one cell in the last row and column": xlsx(lambda: {"sheet": GOOD + '<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'}),
    "xlsx: a million blank rows": xlsx(lambda: {"sheet": rows_of(1_000_000, lambda n: f'<row r="{n}" s="1" ht="15"/>')}),
    "xlsx: a million rows with a blank cell": xlsx(lambda: {"sheet": rows_of(1_000_000, lambda n: f'<row r="{n}"><c r="A{n}" s="1"/></row>')}),
    "xlsx: a million jobs": xlsx(lambda: {"sheet": rows_of(1_000_000, lambda n: f'<row r="{n}"><c r="A{n}"><v>1</v></c></row>')}),
    "xlsx: 4 million different texts": xlsx(lambda: {"texts": b"".join(b"<si><t>%d</t></si>" % n for n in range(4 * MB))}),
    "xlsx: one text of 90 MB": xlsx(lambda: {"texts": b"<si><t>" + b"x" * (90 * MB) + b"</t></si>"}),
    "xlsx: one cell of 90 MB": xlsx(lambda: {"sheet": b'<row r="1"><c r="A1" t="str"><v>' + b"x" * (90 * MB) + b"</v></c></row>"}),
    "xlsx: one tag of 90 MB": xlsx(lambda: {"sheet": b'<row r="1" x="' + b"x" * (90 * MB) + b'"/>'}),
    "xlsx: 90 MB of attributes": xlsx(lambda: {"sheet": (b"<row " + b" ".join(b"a%d='1'" % n for n in range(80_000)) + b"/>") * 98}),
    "xlsx: 60,000 defined names": xlsx(lambda: {"names": names(60_000)}),
    "xlsx: 60,000 defined names and a formula": formulas("=1+1", names=60_000),
    "xlsx: XML 100,000 deep": xlsx(lambda: {"sheet": b"<a>" * 100_000 + b"</a>" * 100_000}),
    "xlsx: cells within cells": xlsx(lambda: {"sheet": b'<row r="1">' + b'<c r="A1">' * 100_000 + b"</c>" * 100_000 + b"</row>"}),
    "xlsx: entities that double": xlsx(lambda: {"before": b'<!DOCTYPE x [<!ENTITY a0 "aaaaaaaaaa">' + b"".join(
        b'<!ENTITY a%d "&a%d;&a%d;">' % (n, n - 1, n - 1) for n in range(1, 30)) + b"]>", "sheet": '<row r="1"><c r="A1" t="str"><v>&a29;</v></c></row>'}),
    "xlsx: entity from a file": xlsx(lambda: {"before": b'<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]>', "sheet": "&a;"}),
    "xlsx: a number of 9 million digits": xlsx(of_number("9" * 9_000_000)),
    "xlsx: 1E999999999": xlsx(of_number("1E999999999")),
    "xlsx: 1E300 as a quantity": xlsx(of_number("1E300")),
    "xlsx: a formula that refers back to itself": formulas("=A3+1"),
    "xlsx: a formula over all cells": formulas("=SUMPRODUCT(A:XFD*A:XFD)"),
    "xlsx: a formula of powers": formulas("=" + "1^" * 4000 + "1"),
    "xlsx: a formula that repeats a text": formulas('=LEN(REPT(REPT(REPT("x",32000),32000),32000))'),
    "xlsx: 100,000 formulas that add up all above": formulas(*(f"=SUM($A$1:$J${2 + n // 10})" for n in range(100_000))),
    "xlsx: packed with another method": xlsx(lambda: {"method": zipfile.ZIP_LZMA}),
    "csv: 49 MB of line ends": csv(lambda: b"\n" * (49 * MB)),
    "csv: 49 MB of line ends below a job": csv(lambda: f"{HEADS}\n{JOB}\n".encode() + b"\n" * (49 * MB)),
    "csv: 49 MB in one line": csv(lambda: b"a" * (49 * MB)),
    "csv: 49 MB of commas": csv(lambda: b"," * (49 * MB)),
    "csv: 49 MB of blank cells": csv(lambda: f"{HEADS}\n".encode() + (b"," * 499 + b"\n") * 98_000),
    "csv: 49 MB of cells": csv(lambda: f"{HEADS}\n".encode() + b"1,1,1,1,1,1,1,1,1,1\n" * (49 * MB // 20)),
    "csv: 100,000 columns": csv(lambda: ",".join(f"c{n}" for n in range(100_000)) + "\n1\n"),
    "csv: 16,384 headings": csv(lambda: ",".join(f"heading {n}" for n in range(16_384)) + "\n1\n"),
    "csv: 500 headings that are nearly inputs": csv(lambda: ",".join(f"part lenght {n}" for n in range(500)) + "\n1\n"),
    "csv: 90 headings of 10,000 characters": csv(lambda: ",".join("x " * 5_000 for _ in range(90)) + "\n1\n"),
    "csv: a quotation mark never closed": csv(lambda: f'{HEADS}\n"'.encode() + b"x\n" * (24 * MB)),
    "csv: quotation marks around line ends": csv(lambda: f"{HEADS}\n".encode() + b'"\n",' * (12 * MB)),
    "csv: NUL bytes": csv(lambda: f"{HEADS}\n{JOB}\n".encode() + b"\0" * (40 * MB)),
    "csv: a NUL byte in a cell": csv(lambda: f"{HEADS}\n{JOB}".replace("J1", "J\0001")),
    "csv: 49 MB of emoji": csv(lambda: f"{HEADS}\n".encode() + ("\U0001f600" * 1000 + "\n").encode() * (49 * MB // 4001)),
    "csv: UTF-16 that ends within a character": csv(lambda: f"{HEADS}\n{JOB}".encode("utf-16") + b"\n"),
    "csv: UTF-16 with halves of pairs": csv(lambda: f"{HEADS}\n".encode("utf-16") + b"\x00\xd8" * (20 * MB)),
    "csv: UTF-16 without its mark": csv(lambda: f"{HEADS}\n{JOB}\n".encode("utf-16-le")),
    "csv: UTF-32": csv(lambda: f"{HEADS}\n{JOB}\n".encode("utf-32")),
    "csv: a number of 9 million digits": csv(lambda: f"{HEADS}\n{JOB[:-3]}".encode() + b"9" * (9 * MB)),
    "csv: 1E99999999 as a size": csv(lambda: f"{HEADS}\n{JOB}".replace(",1,", ",1E99999999,")),
    "csv: a fraction of 30,000 digits": csv(lambda: f"{HEADS}\n{JOB}".replace(",1,", f",{'9' * 15_000}/{'7' * 15_000},")),
    "csv: U+FFFF in a text": csv(lambda: f"{HEADS}\n{JOB}".replace("J1", "J\uffff")),
    "csv: terminal controls in a text": csv(lambda: f"{HEADS}\n{JOB}".replace("J1", "J\x1b]0;x\x07\x1b[2J")),
    "csv: direction controls in a heading": csv(lambda: f"{HEADS},a\u202eb\n{JOB},1\n".replace("size", "si\u202eze")),
}

# Runs the command line and writes the peak of this process and of those it started, in kB.
_MEASURED = """
import atexit, resource, sys
def tell(path=sys.argv.pop(1)):
    with open(path, "w") as file:
        for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN):
            used = resource.getrusage(who)
            print(used.ru_maxrss, used.ru_utime + used.ru_stime, file=file)
atexit.register(tell)
from barfuncs.cli.main import main
main(prog_name="barfuncs")
"""


def measure(path: Path, folder: Path) -> tuple[float, float, float, float, int, str]:
    """Seconds, seconds that a processor worked, MB of the command and of its largest process, exit status, what it said."""
    peaks = folder / "peaks.txt"
    began = time.monotonic()
    done = subprocess.run([sys.executable, "-c", _MEASURED, str(peaks), "plan", str(path), "--out", str(folder / "out"), "--replace"],
                          capture_output=True, text=True, errors="replace", timeout=120, stdin=subprocess.DEVNULL)
    seconds = time.monotonic() - began
    (own, worked), (apart, apart_worked) = [map(float, line.split()) for line in peaks.read_text().splitlines()]
    unit = 1e6 if sys.platform == "darwin" else 1e3
    return seconds, worked + apart_worked, own / unit, apart / unit, done.returncode, (done.stderr or done.stdout).strip()


def main() -> None:
    wanted = [word.casefold() for word in sys.argv[1:]]
    bad = 0
    if wanted[:1] == ["--make"]:
        LISTS[sys.argv[2]](Path(sys.argv[3]))
        return
    print(f"{'list':<52} {'size':>8} {'s':>5} {'CPU s':>5} {'MB':>4} {'MB apart':>8}  status, message")
    for name in LISTS:
        if wanted and not any(word in name.casefold() for word in wanted):
            continue
        with tempfile.TemporaryDirectory(prefix="barfuncs-hostile-") as made:
            folder = Path(made)
            # In a process of its own: one that is started by a large one is counted as large.
            subprocess.run([sys.executable, __file__, "--make", name, str(folder / "list")], check=True)
            path = next(folder.glob("list.*"))
            seconds, worked, own, apart, status, said = measure(path, folder)
            size = f"{os.path.getsize(path) / MB:.2f} MB"
        plain = "Traceback" not in said and status in (0, 1)
        fine = plain and seconds <= MOST_SECONDS and max(own, apart) <= MOST_MB
        bad += not fine
        message = " / ".join(line.strip() for line in said.splitlines() if line.strip())
        print(f"{name:<52} {size:>8} {seconds:5.2f} {worked:5.2f} {own:4.0f} {apart:8.0f}  {'' if fine else 'BAD '}{status}: {message[:170]}", flush=True)
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
