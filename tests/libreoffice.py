"""Headless LibreOffice for the tests. A missing program is a failure, never a skip."""

import os
import shutil
import subprocess
import tempfile
from collections.abc import Sequence
from pathlib import Path


def convert(paths: Path | Sequence[Path], out_dir: Path, to: str = "xlsx", timeout: float = 900,
            reading: str = "") -> list[Path]:
    """Load files in LibreOffice, which calculates what has no stored value, and save them in another format.

    `reading` is the filter, with its options, that the files are read with.
    """
    sources = [paths] if isinstance(paths, (str, os.PathLike)) else list(paths)
    program = shutil.which("soffice") or shutil.which("libreoffice")
    assert program, "LibreOffice (soffice) is not on the PATH; the tests marked libreoffice need it"
    with tempfile.TemporaryDirectory(prefix="barfuncs-lo-") as profile:
        done = subprocess.run(
            [program, f"-env:UserInstallation=file://{profile}", "--headless", "--norestore",
             *([f"--infilter={reading}"] if reading else []), "--convert-to", to,
             "--outdir", str(out_dir), *map(str, sources)],
            capture_output=True, text=True, timeout=timeout, check=False)
    results = [Path(out_dir) / f"{Path(s).stem}.{to.split(':')[0]}" for s in sources]
    missing = [r.name for r in results if not r.is_file()]
    assert not missing, f"LibreOffice did not write {missing}: {done.stdout}\n{done.stderr}"
    return results
