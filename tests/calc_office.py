"""LibreOffice with the add-in, driven from a test. A missing program is a failure, never a skip."""

import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import zipfile
from pathlib import Path
from typing import Any

from barfuncs.surfaces.calc.build import write

HERE = Path(__file__).parent
LONGEST = 300.0


def _soffice() -> str:
    program = shutil.which("soffice") or shutil.which("libreoffice")
    assert program, "LibreOffice (soffice) is not on the PATH; the tests marked libreoffice need it"
    return program


def python_with_uno(program: str) -> str | None:
    """A Python that can talk to LibreOffice, or None."""
    folder = Path(program).resolve().parent
    for candidate in (folder / "python", folder / "python.exe", "/usr/bin/python3", shutil.which("python3"), sys.executable):
        if candidate and Path(candidate).exists():
            done = subprocess.run([str(candidate), "-c", "import uno"], capture_output=True, check=False)
            if done.returncode == 0:
                return str(candidate)
    return None


class Office:
    """One headless LibreOffice with a profile of its own; the add-in is taken from an unzipped folder."""

    def __init__(self) -> None:
        program = _soffice()
        python = python_with_uno(program)
        assert python, "no Python with LibreOffice's uno module was found (package python3-uno)"
        self.folder = Path(tempfile.mkdtemp(prefix="barfuncs-calc-"))
        with zipfile.ZipFile(write(self.folder)) as package:
            package.extractall(self.folder / "bundled" / "barfuncs")
        pipe = f"barfuncs{os.getpid()}"
        self.program = subprocess.Popen(
            [program, f"-env:UserInstallation={(self.folder / 'profile').as_uri()}",
             f"-env:BUNDLED_EXTENSIONS={(self.folder / 'bundled').as_uri()}", "--headless", "--norestore", "--nologo",
             f"--accept=pipe,name={pipe};urp;"],
            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True)
        self.driver = subprocess.Popen([python, str(HERE / "calc_driver.py"), pipe], stdin=subprocess.PIPE,
                                       stdout=subprocess.PIPE, text=True)
        try:
            self._answer()
        except BaseException:
            self._end()
            raise

    def _answer(self) -> Any:
        assert self.driver.stdout is not None
        watchdog = threading.Timer(LONGEST, self.driver.kill)
        watchdog.start()
        line = self.driver.stdout.readline()
        watchdog.cancel()
        assert line, "the LibreOffice driver has ended, or was stopped since it took too long"
        answer = json.loads(line)
        assert "problem" not in answer, answer["problem"]
        return answer["result"]

    def do(self, action: str, **arguments: Any) -> Any:
        """Have the driver do something: see the methods of `calc_driver.Driver`."""
        assert self.driver.stdin is not None
        self.driver.stdin.write(json.dumps({"do": action, "with": arguments}) + "\n")
        self.driver.stdin.flush()
        return self._answer()

    def __enter__(self) -> "Office":
        return self

    def __exit__(self, *_: object) -> None:
        try:
            self.do("stop")
            self.program.wait(30)
        finally:
            self._end()

    def _end(self) -> None:
        if self.driver.poll() is None:
            self.driver.terminate()
        if self.program.poll() is None:  # soffice is a script around the program: end both
            os.killpg(self.program.pid, signal.SIGKILL)
        for process in (self.driver, self.program):
            process.wait(30)
        for stream in (self.driver.stdin, self.driver.stdout):
            if stream:
                stream.close()
        shutil.rmtree(self.folder, ignore_errors=True)
