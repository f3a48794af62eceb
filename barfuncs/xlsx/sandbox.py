"""Work on a file from outside in a process of its own, within limits of time and memory.

A file can be written so that any reader or engine runs for days, fills the memory or crashes. What happens in the other
process ends with it, and it ends with the one that started it.
"""

import contextlib
import faulthandler
import importlib
import json
import math
import os
import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from barfuncs.errors import WorkbookError
from barfuncs.xlsx.sheetxml import CellError, Value

if TYPE_CHECKING:
    from barfuncs.xlsx.typed_formulas import Doubt

MOST_SECONDS = 120
MOST_MEMORY = 4_000_000_000
_PATIENCE = 3 if os.name == "nt" else 10
"""Times the seconds it may work, a process may last: on a busy machine it waits more than it works. On Windows, where the
work itself is not measured, less."""
_START = "import json, sys; sys.path[:] = json.loads(sys.argv[1]); from barfuncs.xlsx.sandbox import _begin; _begin()"


@dataclass(frozen=True)
class Work:
    """What is done in the other process: "module:function" of barfuncs, its limits, and what messages call it.

    The function is called with a file to write its answer into, and with the arguments, which are texts.
    """

    function: str
    verb: str
    participle: str
    who: str
    seconds: float
    memory: int


@contextlib.contextmanager
def answer(work: Work, label: str, *arguments: str) -> Iterator[BinaryIO]:
    """What the other process writes when it is done, as a file to read.

    Raises WorkbookError where it does not get done within the limits.
    """
    # Files without a name, and a folder for what the work writes beside them: nothing is left when it is ended.
    with (tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as said,
          tempfile.TemporaryDirectory(prefix="barfuncs-") as folder):
        with start(work, arguments, out, said, folder) as process:
            try:
                status = process.wait(work.seconds * _PATIENCE)
            except subprocess.TimeoutExpired:
                status = _OUT_OF_TIME
            finally:
                process.kill()
        if status == _OUT_OF_TIME:
            raise WorkbookError(f"{label} takes longer than {work.seconds:g} s to {work.verb}; it was given up")
        if status:
            raise WorkbookError(f"{label} can't be {work.participle}: {work.who} {why_it_ended(said, status)}")
        out.seek(0)
        yield out


def start(work: Work, arguments: Sequence[str], out: BinaryIO | int, said: BinaryIO, folder: str) -> "subprocess.Popen[bytes]":
    """The other process, at work: its answer goes to `out`, what it says when it crashes to `said`, its own files into `folder`."""
    # -P: nothing is imported from the folder that somebody stands in.
    command = [sys.executable, "-P", "-c", _START, json.dumps(sys.path), str(os.getpid()), str(work.seconds),
               str(work.memory), work.function, *arguments]
    # The pipe stays open until this process ends, see `_end_with`.
    return subprocess.Popen(command, stdin=subprocess.PIPE, stdout=out, stderr=said,
                            env=os.environ | dict.fromkeys(("TMPDIR", "TEMP", "TMP"), folder))


def why_it_ended(said: BinaryIO, status: int) -> str:
    """What ended the other process before it was done, from what it said last."""
    said.seek(0, os.SEEK_END)
    said.seek(max(0, said.tell() - _MOST_SAID))
    last = said.read()
    no_memory = any(words in last for words in (b"MemoryError", b"memory allocation", b"bad_alloc"))
    return f"{'ran out of memory' if no_memory else 'gave up'} (status {status})"


_OUT_OF_TIME = -getattr(signal, "SIGXCPU", 24)
_MOST_SAID = 65_536


def _begin() -> None:
    """In the other process."""
    parent, seconds, memory, function, *arguments = sys.argv[2:]
    with os.fdopen(os.dup(1), "wb") as out:
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # an engine may print to it
        _end_with(int(parent))
        _limit(float(seconds), int(memory))
        module, _, name = function.partition(":")
        getattr(importlib.import_module(module), name)(out, *arguments)


def _end_with(parent: int) -> None:
    """End this process when the one that started it ends, however that ends."""
    def wait() -> None:
        os.read(0, 1)  # the other end of the pipe is closed by the system
        os._exit(1)

    threading.Thread(target=wait, daemon=True).start()
    if sys.platform == "linux":  # the thread above gets no turn while the engine works
        import ctypes

        with contextlib.suppress(OSError, AttributeError):
            ctypes.CDLL(None).prctl(1, signal.SIGKILL)  # PR_SET_PDEATHSIG
            if os.getppid() != parent:
                os._exit(1)


def _limit(seconds: float, memory: int) -> None:
    """Limit time, and memory where the system can: not on Windows, and macOS does not count all of it."""
    # From a thread of its own, whatever the engine does. On a system without the next limit it is the only one.
    faulthandler.dump_traceback_later(seconds * _PATIENCE + 1, exit=True, file=open(os.devnull, "w"))  # noqa: SIM115
    try:
        import resource
    except ImportError:
        return
    for what, wanted in ((resource.RLIMIT_AS, memory), (resource.RLIMIT_CPU, math.ceil(seconds)), (resource.RLIMIT_CORE, 0)):
        with contextlib.suppress(OSError, ValueError):
            _, most = resource.getrlimit(what)
            limit = wanted if most == resource.RLIM_INFINITY else min(wanted, most)
            resource.setrlimit(what, (limit, most))


@dataclass(frozen=True)
class Calculated:
    """What came of a workbook: its named results, its error cells, and the file with the values in it."""

    formulas: int
    results: Mapping[str, Any]
    errors: list[tuple[str, str]]
    data: bytes


def calculate(path: str | Path, seconds: float = MOST_SECONDS, memory: int = MOST_MEMORY) -> Calculated:
    """Calculate the workbook at `path`. The file itself is not changed.

    Raises WorkbookError where it can't be read or calculated within the limits.
    """
    work = Work("barfuncs.xlsx.sandbox:_calculate", "calculate", "calculated", "the engine", seconds, memory)
    with answer(work, Path(path).name, str(Path(path).absolute())) as file:
        told = json.loads(file.readline())
        if "refused" in told:
            raise WorkbookError(told["refused"])
        return Calculated(told["formulas"], told["results"], [(cell, error) for cell, error in told["errors"]], file.read())


@dataclass(frozen=True)
class Cells:
    """Values of cells by name, of the names there are, and those that the file has stored; of the names that should be formulas those that
    are none; what each name of the workbook stands for; the cells with formulas, by sheet; formulas that may be worked out otherwise
    elsewhere; and whether days are counted from 1904."""

    values: Mapping[str, Value]
    stored: Mapping[str, Value]
    typed: tuple[str, ...]
    targets: Mapping[str, str]
    formulas: Mapping[str, frozenset[str]]
    doubts: tuple["Doubt", ...]
    from_1904: bool


def cells(path: str | Path, names: Collection[str], formulas: Collection[str], filled_in: Collection[str], seconds: float, memory: int) -> Cells:
    """Calculate the workbook at `path` anew and give the values of its named cells; name[3] is the third of a named column. A name
    of `formulas` that the workbook has must be a formula; those of `filled_in` stand for cells that people type into.

    Raises WorkbookError where it can't be read or calculated within the limits.
    """
    work = Work("barfuncs.xlsx.sandbox:_cells", "calculate", "calculated", "the engine", seconds, memory)
    # In a file: Windows takes no command line of that length.
    with tempfile.TemporaryDirectory(prefix="barfuncs-") as folder:
        wanted = Path(folder) / "names.json"
        wanted.write_text(json.dumps([sorted(names), sorted(formulas), sorted(filled_in)]))
        with answer(work, Path(path).name, str(Path(path).absolute()), str(wanted)) as file:
            told = json.load(file)
    if "refused" in told:
        raise WorkbookError(told["refused"])
    from barfuncs.xlsx.typed_formulas import Doubt

    values, stored = ({name: _value(value) for name, value in told[what].items()} for what in ("values", "stored"))
    doubts = (Doubt(**doubt | {what: _value(doubt[what]) for what in ("stored", "worked_out")}) for doubt in told["doubts"])
    return Cells(values, stored, tuple(told["typed"]), told["targets"], {sheet: frozenset(refs) for sheet, refs in told["formulas"].items()},
                 tuple(doubts), told["from_1904"])


def _value(told: Any) -> Value:
    value: Value = CellError(told["error"]) if isinstance(told, dict) else told
    return value


def _told(value: Value) -> Any:
    return {"error": str(value)} if isinstance(value, CellError) else value


def _cells(out: BinaryIO, path: str, wanted: str) -> None:
    from barfuncs.xlsx.engine import Workbook
    from barfuncs.xlsx.typed_formulas import Stored, doubts

    told: dict[str, Any]
    try:
        book, stored = Workbook(path, direct=True, every_cell=True), Stored(path)
        book.calculate()
        names, formulas, filled_in = json.loads(Path(wanted).read_bytes())
        at = {name: book.address(name) for name in names if book.has_name(name.partition("[")[0])}
        told = {
            "values": {name: _told(book.value_at(address)) for name, address in at.items()},
            "stored": {name: _told(stored.at(book.sheets[address[0]], book.shown(address).rpartition("!")[2])[1]) for name, address in at.items()},
            "typed": [name for name in formulas if book.has_name(name.partition("[")[0]) and not book.is_formula(name)],
            "targets": book.targets, "formulas": book.formulas_by_sheet(), "from_1904": book.from_1904,
            "doubts": [vars(doubt) | {"stored": _told(doubt.stored), "worked_out": _told(doubt.worked_out)} for doubt in doubts(book, stored, filled_in)],
        }
    except WorkbookError as error:
        told = {"refused": str(error)}
    out.write(json.dumps(told).encode())


def _calculate(out: BinaryIO, path: str) -> None:
    """Write what is told of the workbook as a line of JSON, and after it the file."""
    from barfuncs.xlsx.engine import Workbook

    data = b""
    try:
        book = Workbook(path)
        book.calculate()
        book.check_supported()
        formulas = {address for address, _ in book.formulas()}
        results = {name: book.value_at(address) for name, address in sorted(book.names.items()) if address in formulas}
        told: dict[str, Any] = {"formulas": len(formulas), "results": results,
                                "errors": [(book.shown(address), error) for address, error in book.errors()]}
        data = book.to_bytes()
    except WorkbookError as error:
        told = {"refused": str(error)}
    out.write(json.dumps(told).encode() + b"\n" + data)
