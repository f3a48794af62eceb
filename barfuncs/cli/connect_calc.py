"""`barfuncs connect calc`: build the add-in for LibreOffice Calc and install it."""

import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import click

from barfuncs.cli.connect import ConnectError
from barfuncs.errors import BarfuncsError

_USUAL_PLACES = (
    "C:/Program Files/LibreOffice/program/soffice.exe",
    "C:/Program Files (x86)/LibreOffice/program/soffice.exe",
    "/Applications/LibreOffice.app/Contents/MacOS/soffice",
    "/usr/lib/libreoffice/program/soffice",
    "/opt/libreoffice/program/soffice",
)
_OLDEST_PYTHON = (3, 10)


def find_unopkg() -> Path:
    """LibreOffice's extension installer, which lies next to soffice. Raises ConnectError where there is none."""
    found = [shutil.which(name) for name in ("soffice", "libreoffice")]
    for place in [*found, *_USUAL_PLACES]:
        if not place or not Path(place).exists():
            continue
        for folder in (Path(place).resolve().parent, Path(place).parent):
            for name in ("unopkg.com", "unopkg.exe", "unopkg"):
                if (folder / name).is_file():
                    return folder / name
    raise ConnectError("LibreOffice was not found: install LibreOffice (Calc, with Python), or put the folder that "
                       "holds soffice on the PATH; 'barfuncs connect calc --build FOLDER' writes the add-in's file alone")


def _check_python(program: Path) -> None:
    """LibreOffice may bring a Python of its own, in a folder named after its version."""
    for folder in program.parent.glob("python-core-*"):
        match = re.match(r"python-core-(\d+)\.(\d+)", folder.name)
        if match and (int(match[1]), int(match[2])) < _OLDEST_PYTHON:
            raise ConnectError(f"this LibreOffice brings Python {match[1]}.{match[2]}; barfuncs needs 3.10 or newer: "
                               "install a newer LibreOffice")


def connect_calc(build_dir: Path | None) -> list[str]:
    """Write the add-in into a folder, or without one build and install it. Gives lines that tell what was done."""
    from barfuncs.surfaces.calc.build import write

    if build_dir is not None:
        return [f"{write(build_dir)} written; install it with a double click or from Tools > Extensions in LibreOffice"]
    unopkg = find_unopkg()
    _check_python(unopkg)
    with tempfile.TemporaryDirectory(prefix="barfuncs-") as folder:
        path = write(Path(folder))
        try:
            done = subprocess.run([unopkg, "add", "--force", path], capture_output=True, text=True, timeout=300,
                                  stdin=subprocess.DEVNULL, check=False)
        except (OSError, subprocess.TimeoutExpired) as error:
            raise ConnectError(f"{unopkg} failed: {error}") from None
    if done.returncode:
        said = " ".join(f"{done.stderr} {done.stdout}".split())
        raise ConnectError(f"LibreOffice refused the add-in: {said or 'no reason given'} (close LibreOffice and try again)")
    return ["The add-in is installed in LibreOffice. Start Calc again and type =PARTS_PER_BAR(144;2.25;0.125;3)"]


@click.command()
@click.option("--build", "build_dir", type=click.Path(file_okay=False, path_type=Path),
              help="Only write the add-in's file (.oxt) into this folder.")
def calc(build_dir: Path | None) -> None:
    """Install the functions in LibreOffice Calc, as an add-in."""
    try:
        for line in connect_calc(build_dir):
            click.echo(line)
    except (BarfuncsError, OSError) as error:
        click.echo(f"barfuncs: {error}", err=True)
        sys.exit(1)
