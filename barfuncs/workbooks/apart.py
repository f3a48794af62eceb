"""Calculate a workbook from outside in a process of its own, within limits of time and memory.

Formulas can be written so that any engine runs for days, fills the memory or crashes. What happens in the other process
ends with it.
"""

import json
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from barfuncs.errors import WorkbookError

MOST_SECONDS = 120
MOST_MEMORY = 4_000_000_000
_START = "import json, sys; sys.path[:] = json.loads(sys.argv[1]); from barfuncs.workbooks.apart import _work; _work()"


@dataclass(frozen=True)
class Calculated:
    """What came of a workbook: its named results, its error cells, and the file with the values in it."""

    formulas: int
    results: Mapping[str, Any]
    errors: list[tuple[str, str]]
    data: bytes


def calculate(path: str | Path, seconds: float = MOST_SECONDS) -> Calculated:
    """Calculate the workbook at `path`. The file itself is not changed.

    Raises WorkbookError where it can't be read or calculated within the limits.
    """
    label = Path(path).name
    with tempfile.TemporaryDirectory(prefix="barfuncs-") as folder:
        answer, book = Path(folder) / "answer.json", Path(folder) / "book.xlsx"
        command = [sys.executable, "-c", _START, json.dumps(sys.path), str(Path(path).absolute()), str(answer), str(book)]
        try:
            done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, timeout=seconds, check=False)
        except subprocess.TimeoutExpired:
            raise WorkbookError(f"{label} takes longer than {seconds:g} s to calculate; it was given up") from None
        if not answer.is_file():
            why = "ran out of memory" if b"MemoryError" in done.stderr or b"memory allocation" in done.stderr else "gave up"
            raise WorkbookError(f"{label} can't be calculated: the engine {why} (status {done.returncode})")
        told = json.loads(answer.read_text("utf-8"))
        if "refused" in told:
            raise WorkbookError(told["refused"])
        return Calculated(told["formulas"], told["results"], [(cell, error) for cell, error in told["errors"]],
                          book.read_bytes())


def _limit_memory() -> None:
    """Where the system can; on Windows, and for what macOS does not count, the limit of time is the only one."""
    try:
        import resource
    except ImportError:
        return
    try:
        _, most = resource.getrlimit(resource.RLIMIT_AS)
        limit = MOST_MEMORY if most == resource.RLIM_INFINITY else min(MOST_MEMORY, most)
        resource.setrlimit(resource.RLIMIT_AS, (limit, most))
        resource.setrlimit(resource.RLIMIT_CORE, (0, resource.getrlimit(resource.RLIMIT_CORE)[1]))
    except (OSError, ValueError):
        pass


def _work() -> None:
    """In the other process."""
    path, answer, out = sys.argv[2:]
    _limit_memory()
    from barfuncs.workbooks.engine import Workbook

    try:
        book = Workbook(path)
        book.calculate()
        book.check_supported()
        formulas = {address for address, _ in book.formulas()}
        results = {name: book.value_at(address) for name, address in sorted(book.names.items()) if address in formulas}
        told: dict[str, Any] = {"formulas": len(formulas), "results": results,
                                "errors": [(book.shown(address), error) for address, error in book.errors()]}
        Path(out).write_bytes(book.to_bytes())
    except WorkbookError as error:
        told = {"refused": str(error)}
    Path(answer).write_text(json.dumps(told), "utf-8")
