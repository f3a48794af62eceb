"""For the whole test run: what needs a spreadsheet program that is missing is skipped, and counted where everybody sees it.

With BARFUNCS_ALL_PROGRAMS=1 in the environment a missing program is an error, but for data that lie beside the project.
"""

import functools
import importlib.util
import os
import shutil
import signal
from collections import Counter
from collections.abc import Callable

import public_instances
import pytest
from calc_office import python_with_uno

# Started in the background of a shell, or to outlive it, a run would hand down that Ctrl-C or the end of the terminal is
# ignored, and the tests of them would wait in vain.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)
if hasattr(signal, "SIGHUP") and signal.getsignal(signal.SIGHUP) is signal.SIG_IGN:
    signal.signal(signal.SIGHUP, signal.SIG_DFL)


def _libreoffice() -> bool:
    program = shutil.which("soffice") or shutil.which("libreoffice")
    return program is not None and python_with_uno(program) is not None


PROGRAMS: dict[str, tuple[str, Callable[[], bool]]] = {
    "libreoffice": ("LibreOffice (soffice, and a Python with uno)", functools.cache(_libreoffice)),
    "gnumeric": ("Gnumeric (ssconvert)", functools.cache(lambda: shutil.which("ssconvert") is not None)),
    "ortools": ("the Python package ortools", functools.cache(lambda: importlib.util.find_spec("ortools") is not None)),
    "instances": ("public instances (../shared/instances)", lambda: bool(public_instances.instances())),
    "distributed": ("the Python package distributed", functools.cache(lambda: importlib.util.find_spec("distributed") is not None)),
}
"""By the marker of a test: what it needs, and whether that is there."""
BESIDE = {"instances"}
"""What nothing installs: it is not part of the project, and may be missing."""


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item: pytest.Item) -> None:
    for marker, (program, is_there) in PROGRAMS.items():
        if item.get_closest_marker(marker) and not is_there():
            if os.environ.get("BARFUNCS_ALL_PROGRAMS") == "1" and marker not in BESIDE:
                pytest.fail(f"{program} not found, and BARFUNCS_ALL_PROGRAMS=1 asks for it", pytrace=False)
            pytest.skip(f"{program} not found")


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    reasons = Counter(report.longrepr[2] for report in terminalreporter.stats.get("skipped", ()) if isinstance(report.longrepr, (tuple, list)))
    missing = {program: reasons[f"Skipped: {program} not found"] for program, _ in PROGRAMS.values()}
    if any(missing.values()):
        terminalreporter.section("NOT TESTED HERE", "!", red=True, bold=True)
        for program, count in missing.items():
            if count:
                terminalreporter.line(f"{count} test{'s' * (count > 1)} skipped: {program} not found", red=True, bold=True)
        terminalreporter.line("On Debian .ci/run installs what is missing and runs every test.")
