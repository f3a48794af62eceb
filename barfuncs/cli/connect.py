"""Connect a spreadsheet program with the functions: `barfuncs connect excel`."""

import codecs
import importlib.util
import locale
import os
import platform
import re
import sys
from pathlib import Path

import click

from barfuncs.errors import BarfuncsError

MODULE = "barfuncs.surfaces.excel"
_MODULES_KEY = "UDF MODULES"
# xlwings looks at INTERPRETER only where INTERPRETER_WIN is missing, and its ribbon shows and sets the latter.
_PYTHON_KEY = "INTERPRETER_WIN"
_LINE = re.compile(rb'\s*"?([^",\r\n]*)"?\s*,\s*"?([^"\r\n]*)"?\s*')
_ADD_IN = "xlwings.xlam"

_ELSEWHERE = (
    "Excel reaches Python only on Windows, and this is not Windows. Two other ways work here: the LibreOffice add-in, "
    "and the functions as names in the workbook, which need no add-in"
)
_CLICKS = """
What is left to do, once:
  1. Close Excel and run:  xlwings addin install
  2. In Excel: File > Options > Trust Center > Trust Center Settings > Macro Settings:
     tick "Trust access to the VBA project object model".
And in each workbook that is to use the functions:
  3. Save it as a macro-enabled workbook (.xlsm).
  4. Press Alt+F11, then Tools > References: tick xlwings. Close that window.
  5. On the xlwings tab, click Import Functions.
  6. Try it in a cell:  =PARTS_PER_BAR(144, 2.25, 0.125, 3)  shows 59.
After an update of barfuncs, click Import Functions again.
""".strip("\n").split("\n")


class ConnectError(BarfuncsError):
    """Something is missing between a spreadsheet program and the functions; the message says what and how to get it."""


def excel(home: Path | None = None, check: bool = False) -> list[str]:
    """Set xlwings up for the functions, or only look; gives the lines to show.

    Parameters
    ----------
    home : Path, optional
        The user's folder, in which xlwings keeps `.xlwings/xlwings.conf`.
    check : bool, default False
        Change nothing, tell what is there.

    Raises
    ------
    ConnectError
        Not Windows, xlwings missing, or with `check` anything missing.
    """
    if platform.system() != "Windows":
        raise ConnectError(_ELSEWHERE)
    folder = Path.home() if home is None else home
    config = folder / ".xlwings" / "xlwings.conf"
    if check:
        return _check(config, _startup_folders(folder, home is None))
    if not _installed("xlwings"):
        raise ConnectError(f'xlwings is missing; install it with: "{sys.executable}" -m pip install "barfuncs[excel]"')
    return [*_configure(config), "", *_CLICKS]


def _installed(module: str) -> bool:
    return importlib.util.find_spec(module) is not None


def _startup_folders(folder: Path, own: bool) -> list[Path]:
    """Folders from which Excel loads add-ins at its start: the user's, and those of the installed Excel."""
    roaming = os.environ.get("APPDATA") if own else None
    folders = [(Path(roaming) if roaming else folder / "AppData" / "Roaming") / "Microsoft" / "Excel" / "XLSTART"]
    for variable in ("ProgramFiles", "ProgramFiles(x86)") if own else ():
        if programs := os.environ.get(variable):
            folders += sorted((Path(programs) / "Microsoft Office").glob("**/XLSTART"))
    return folders


# --- xlwings' settings: lines of "KEY","value" in the encoding of the system ---------------------------------------


_MARKS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))


def _read_lines(config: Path) -> list[bytes]:
    """The lines in the encoding of the system, which is all that xlwings reads: an editor may have saved them in another.

    Raises ConnectError where they hold characters that it can't carry.
    """
    data = config.read_bytes() if config.exists() else b""
    encoding = next((name for mark, name in _MARKS if data.startswith(mark)), "")
    if encoding:
        try:
            data = data.decode(encoding).encode(locale.getencoding())
        except UnicodeError:
            raise ConnectError(f"{config} can't be read as a text that the system's encoding ({locale.getencoding()}) can carry; "
                               "save it anew as plain text") from None
    return data.splitlines(keepends=True)


def _key(line: bytes) -> str | None:
    match = _LINE.fullmatch(line)
    return match[1].decode("latin-1").strip().upper() if match else None


def _setting(lines: list[bytes], key: str) -> str | None:
    """A setting's value; the first line counts, as for xlwings."""
    for line in lines:
        match = _LINE.fullmatch(line)
        if match and _key(line) == key:
            return match[2].decode(locale.getencoding(), "replace").strip()
    return None


def _with_setting(lines: list[bytes], key: str, value: str) -> list[bytes]:
    """The lines with one setting changed or added, every other line as it was."""
    try:
        new = f'"{key}","{value}"\r\n'.encode(locale.getencoding())
    except UnicodeEncodeError:
        raise ConnectError(f"{value} holds characters that xlwings' settings can't carry on this system; install "
                           "Python in a folder with a plain name") from None
    kept, placed = [], False
    for line in lines:
        if _key(line) != key:
            kept.append(line if line.endswith((b"\n", b"\r")) else line + b"\r\n")
        elif not placed:
            kept.append(new)
            placed = True
    return kept if placed else [*kept, new]


def _modules(setting: str | None) -> list[str]:
    return [name.strip() for name in (setting or "").split(";") if name.strip()]


def _configure(config: Path) -> list[str]:
    from barfuncs.xlsx.package import write_whole

    config = config.resolve()
    lines = _read_lines(config)
    modules, python = _modules(_setting(lines, _MODULES_KEY)), _setting(lines, _PYTHON_KEY)
    others = [name for name in modules if name != MODULE]
    new = _with_setting(lines, _MODULES_KEY, ";".join(modules if MODULE in modules else [*modules, MODULE]))
    new = _with_setting(new, _PYTHON_KEY, sys.executable)
    said = [f"Functions: {MODULE}", f"Python: {sys.executable}"]
    if new == lines:
        return [f"{config} is set already.", *said]
    config.parent.mkdir(parents=True, exist_ok=True)
    write_whole(config, b"".join(new), replace=True)
    said.insert(0, f"{config} is written; its other settings are as they were.")
    if others:
        said.append(f"Still imported beside it: {', '.join(others)}")
    if python and python != sys.executable:
        said.append(f"Before, Python was: {python}" + (
            f"; what {', '.join(others)} needs must be installed in the new one too" if others else ""))
    if not modules:
        said.append("A workbook with functions of its own: add its module's name in the xlwings tab, UDF Modules, "
                    "after a semicolon.")
    return said


def _check(config: Path, startup: list[Path]) -> list[str]:
    lines = _read_lines(config)
    python = _setting(lines, _PYTHON_KEY) or _setting(lines, "INTERPRETER")
    add_in = next((folder / _ADD_IN for folder in startup if (folder / _ADD_IN).is_file()), None)
    found = [
        (_installed("xlwings"), "xlwings is installed",
         f'xlwings is missing; install it with: "{sys.executable}" -m pip install "barfuncs[excel]"'),
        (_installed("pythoncom"), "pywin32 is installed",
         f'pywin32 is missing; install it with: "{sys.executable}" -m pip install pywin32'),
        (MODULE in _modules(_setting(lines, _MODULES_KEY)), f"{config} names the functions",
         f"{config} does not name the functions; run: barfuncs connect excel"),
        (python == sys.executable, f"it names this Python, {python}",
         f"it names {python or 'no Python'}, not this one, {sys.executable}; run: barfuncs connect excel"),
        (add_in is not None, f"the add-in is installed, {add_in}",
         f"the add-in {_ADD_IN} is not in {startup[0]}; close Excel and run: xlwings addin install"),
    ]
    report = [f"ok       {good}" if there else f"MISSING  {bad}" for there, good, bad in found]
    report.append("Only Excel shows the rest: macro settings, the reference to xlwings, imported functions.")
    if not all(there for there, _, _ in found):
        raise ConnectError("not all is in place\n" + "\n".join(report))
    return report


# --- command line --------------------------------------------------------------------------------------------------


@click.group()
def connect() -> None:
    """Connect a spreadsheet program with the functions."""


@connect.command("excel")
@click.option("--check", is_flag=True, help="Change nothing; tell what is missing.")
def excel_command(check: bool) -> None:
    """Set up Excel (Windows, with xlwings) and say which clicks are left."""
    try:
        lines = excel(None, check)
    except (BarfuncsError, OSError) as error:
        click.echo(f"barfuncs: {error}", err=True)
        sys.exit(1)
    for line in lines:
        click.echo(line)
