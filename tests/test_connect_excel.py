"""`barfuncs connect excel`: xlwings' settings, other settings kept, and what is missing named."""

import codecs
import locale
import platform
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from barfuncs.cli import connect
from barfuncs.cli.main import main
from barfuncs.errors import BarfuncsError

PYTHON = r"C:\Users\Ann\venv\Scripts\python.exe"


@pytest.fixture
def windows(monkeypatch):
    monkeypatch.setattr(platform, "system", lambda: "Windows")
    monkeypatch.setattr(sys, "executable", PYTHON)
    monkeypatch.setattr(connect, "_installed", lambda module: True)
    monkeypatch.setattr(locale, "getencoding", lambda: "cp1252")


def config(home: Path) -> Path:
    return home / ".xlwings" / "xlwings.conf"


def write(home: Path, data: bytes) -> None:
    config(home).parent.mkdir()
    config(home).write_bytes(data)


def install_add_in(home: Path) -> None:
    folder = home / "AppData" / "Roaming" / "Microsoft" / "Excel" / "XLSTART"
    folder.mkdir(parents=True)
    (folder / "xlwings.xlam").write_bytes(b"")


OURS = f'"UDF MODULES","barfuncs.surfaces.excel"\r\n"INTERPRETER_WIN","{PYTHON}"\r\n'.encode()


@pytest.mark.usefixtures("windows")
def test_writes_new_settings(tmp_path):
    text = "\n".join(connect.excel(tmp_path))
    assert config(tmp_path).read_bytes() == OURS
    assert [p.name for p in config(tmp_path).parent.iterdir()] == ["xlwings.conf"]
    for word in ("xlwings addin install", "Trust access to the VBA project object model", ".xlsm", "Alt+F11",
                 "Import Functions", "=PARTS_PER_BAR(144, 2.25, 0.125, 3)  shows 59", PYTHON):
        assert word in text


@pytest.mark.usefixtures("windows")
def test_xlwings_reads_what_is_written(tmp_path, monkeypatch):
    xlwings = pytest.importorskip("xlwings")
    monkeypatch.setattr(xlwings, "USER_CONFIG_FILE", str(config(tmp_path)))
    write(tmp_path, b'"UDF MODULES","shop"\r\n"SHOW CONSOLE","True"\r\n')
    connect.excel(tmp_path)
    assert xlwings.utils.read_user_config() == {
        "udf modules": "shop;barfuncs.surfaces.excel", "show console": "True", "interpreter_win": PYTHON}


@pytest.mark.usefixtures("windows")
def test_keeps_other_settings_byte_for_byte(tmp_path):
    write(tmp_path, b'"PYTHONPATH","C:\\D\xe4ten, neu;\x81"\r\n"UDF MODULES","shop; tools;"\r\n\r\nodd line\r\n'
                    b'"INTERPRETER_WIN","C:\\old\\python.exe"\r\n"INTERPRETER","pythonw"\n"UDF MODULES","shadowed"\r\n'
                    b'"LICENSE_KEY","abc"')
    text = "\n".join(connect.excel(tmp_path))
    assert config(tmp_path).read_bytes() == (
        b'"PYTHONPATH","C:\\D\xe4ten, neu;\x81"\r\n"UDF MODULES","shop;tools;barfuncs.surfaces.excel"\r\n\r\n'
        b'odd line\r\n'
        b'"INTERPRETER_WIN","' + PYTHON.encode() + b'"\r\n"INTERPRETER","pythonw"\n"LICENSE_KEY","abc"\r\n')
    assert "Still imported beside it: shop, tools" in text
    assert "Before, Python was: C:\\old\\python.exe; what shop, tools needs" in text


@pytest.mark.usefixtures("windows")
@pytest.mark.parametrize("key", ["UDF MODULES", "udf modules"])
def test_a_second_run_changes_nothing(tmp_path, key):
    write(tmp_path, OURS.replace(b"UDF MODULES", key.encode()))
    before = config(tmp_path).read_bytes(), config(tmp_path).stat().st_ino
    if key.isupper():
        assert "is set already" in connect.excel(tmp_path)[0]
        assert (config(tmp_path).read_bytes(), config(tmp_path).stat().st_ino) == before
    else:
        connect.excel(tmp_path)
        assert config(tmp_path).read_bytes() == OURS


@pytest.mark.usefixtures("windows")
def test_a_failed_write_leaves_the_old_file(tmp_path, monkeypatch):
    write(tmp_path, b'"UDF MODULES","shop"\r\n')

    def fail(*_):
        raise PermissionError("in use")

    monkeypatch.setattr("os.replace", fail)
    with pytest.raises(PermissionError):
        connect.excel(tmp_path)
    assert [p.name for p in config(tmp_path).parent.iterdir()] == ["xlwings.conf"]
    assert config(tmp_path).read_bytes() == b'"UDF MODULES","shop"\r\n'


@pytest.mark.usefixtures("windows")
@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-16-be"])
def test_settings_that_an_editor_saved_in_another_encoding_are_read_and_not_doubled(tmp_path, encoding):
    kept = '"UDF MODULES","shop"\r\n"SHOW CONSOLE","False"\r\n'
    config(tmp_path).parent.mkdir(parents=True)
    mark = codecs.BOM_UTF16_BE if encoding == "utf-16-be" else b""
    config(tmp_path).write_bytes(mark + kept.encode(encoding))
    connect.excel(tmp_path)
    assert config(tmp_path).read_bytes().splitlines() == [
        b'"UDF MODULES","shop;barfuncs.surfaces.excel"', b'"SHOW CONSOLE","False"', f'"INTERPRETER_WIN","{PYTHON}"'.encode()]
    before = config(tmp_path).read_bytes()
    connect.excel(tmp_path)
    assert config(tmp_path).read_bytes() == before


@pytest.mark.usefixtures("windows")
def test_settings_that_are_no_text_are_refused(tmp_path):
    config(tmp_path).parent.mkdir(parents=True)
    config(tmp_path).write_bytes(codecs.BOM_UTF16_LE + b"\x00")
    with pytest.raises(connect.ConnectError, match="save it anew as plain text"):
        connect.excel(tmp_path)


@pytest.mark.usefixtures("windows")
def test_a_path_that_the_settings_cannot_carry(tmp_path, monkeypatch):
    monkeypatch.setattr(sys, "executable", "C:\\Ωmega\\python.exe")
    with pytest.raises(connect.ConnectError, match="plain name"):
        connect.excel(tmp_path)
    assert not config(tmp_path).exists()


@pytest.mark.usefixtures("windows")
def test_without_xlwings_nothing_is_written(tmp_path, monkeypatch):
    monkeypatch.setattr(connect, "_installed", lambda module: False)
    with pytest.raises(BarfuncsError, match=r"pip install \"barfuncs\[excel\]\""):
        connect.excel(tmp_path)
    assert not config(tmp_path).exists()


@pytest.mark.usefixtures("windows")
def test_check_when_all_is_there(tmp_path):
    connect.excel(tmp_path)
    install_add_in(tmp_path)
    lines = connect.excel(tmp_path, check=True)
    assert [line.split()[0] for line in lines[:-1]] == ["ok"] * 5


@pytest.mark.usefixtures("windows")
@pytest.mark.parametrize(("missing", "words"), [
    ("config", "does not name the functions; run: barfuncs connect excel"),
    ("module", "does not name the functions"),
    ("python", "names C:\\other.exe, not this one"),
    ("add-in", "close Excel and run: xlwings addin install"),
    ("xlwings", "xlwings is missing"),
    ("pythoncom", "pywin32 is missing"),
])
def test_check_names_what_is_missing(tmp_path, monkeypatch, missing, words):
    if missing != "config":
        connect.excel(tmp_path)
    if missing != "add-in":
        install_add_in(tmp_path)
    if missing == "module":
        config(tmp_path).write_bytes(OURS.replace(b"surfaces.excel", b"surfaces.excels"))
    if missing == "python":
        config(tmp_path).write_bytes(OURS.replace(PYTHON.encode(), rb"C:\other.exe"))
    monkeypatch.setattr(connect, "_installed", lambda module: module != missing)
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(connect.ConnectError) as raised:
        connect.excel(tmp_path, check=True)
    assert words in str(raised.value)
    assert str(raised.value).count("MISSING") == (2 if missing == "config" else 1)
    assert sorted(tmp_path.rglob("*")) == before


@pytest.mark.usefixtures("windows")
def test_add_in_for_all_users_counts(tmp_path, monkeypatch):
    monkeypatch.setattr(Path, "home", lambda: tmp_path)
    monkeypatch.delenv("APPDATA", raising=False)
    monkeypatch.setenv("ProgramFiles", str(tmp_path / "programs"))
    folder = tmp_path / "programs" / "Microsoft Office" / "root" / "Office16" / "XLSTART"
    folder.mkdir(parents=True)
    (folder / "xlwings.xlam").write_bytes(b"")
    connect.excel()
    assert any(str(folder) in line for line in connect.excel(check=True))


@pytest.mark.usefixtures("windows")
def test_command(tmp_path, monkeypatch):
    monkeypatch.setattr(Path, "home", lambda: tmp_path)
    monkeypatch.setenv("APPDATA", str(tmp_path / "AppData" / "Roaming"))
    run = CliRunner().invoke
    done = run(main, ["connect", "excel"])
    assert done.exit_code == 0
    assert "Import Functions" in done.stdout
    missing = run(main, ["connect", "excel", "--check"])
    assert missing.exit_code == 1
    assert missing.stderr.startswith("barfuncs: not all is in place\nok       xlwings is installed\n")
    assert "MISSING  the add-in xlwings.xlam" in missing.stderr
    install_add_in(tmp_path)
    assert run(main, ["connect", "excel", "--check"]).exit_code == 0


@pytest.mark.parametrize("options", [[], ["--check"]])
@pytest.mark.parametrize("system", ["Linux", "Darwin"])
def test_elsewhere_than_windows(tmp_path, monkeypatch, options, system):
    monkeypatch.setattr(platform, "system", lambda: system)
    monkeypatch.setattr(Path, "home", lambda: tmp_path)
    done = CliRunner().invoke(main, ["connect", "excel", *options])
    assert done.exit_code == 1
    assert done.stdout == ""
    for words in ("only on Windows", "LibreOffice add-in", "names in the workbook"):
        assert words in done.stderr
    assert list(tmp_path.iterdir()) == []
