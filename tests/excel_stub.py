"""The Windows part of xlwings on any system, so that tests go the way that Excel goes.

Nothing of xlwings is replaced: its decorators, its generated VBA and its argument conversion are the installed files.
Replaced are pywin32 and three names of ctypes, both only inside `with excel() as host:`; importing this module does
nothing. Outside the block all modules are as they were.
"""

import asyncio
import atexit
import contextlib
import ctypes
import datetime as dt
import importlib
import sys
import types
import warnings
from collections.abc import Iterator
from typing import Any
from unittest.mock import MagicMock

import barfuncs.surfaces

MODULE = "barfuncs.surfaces.excel"
MISSING = -2147352572
"""What pywin32 makes of an argument that was left out."""
ERRORS = {"#NULL!": -2146826288, "#DIV/0!": -2146826281, "#VALUE!": -2146826273, "#REF!": -2146826265,
          "#NAME?": -2146826259, "#NUM!": -2146826252, "#N/A": -2146826246, "#SPILL!": -2146826243,
          "#CALC!": -2146826238}
"""What pywin32 makes of an error cell."""

_RANGE_ID = "{00020846-0000-0000-C000-000000000046}"
_PYWIN32 = ("pywintypes", "pythoncom", "win32api", "win32con", "win32gui", "win32event", "win32process",
            "win32timezone", "win32com", "win32com.client", "win32com.server", "win32com.server.util",
            "win32com.server.dispatcher", "win32com.server.policy")


class ComError(Exception):
    pass


class Dispatch:
    """Base of whatever comes from Excel."""


class Cells(Dispatch):
    """A range as Excel hands it over: its `Value` is a scalar for one cell, otherwise a tuple of rows."""

    def __init__(self, value: Any = None) -> None:
        space = types.SimpleNamespace
        kind = space(iid=_RANGE_ID)
        self._oleobj_ = space(GetTypeInfo=lambda: space(GetTypeAttr=lambda: kind))
        rows = value if isinstance(value, tuple) else ((value,),)
        application = space(Hwnd=1, Version="16.0")
        self.Value, self.Address, self.Row, self.Column, self.CLSID = value, "$A$1", 1, 1, _RANGE_ID
        self.Rows, self.Columns = space(Count=len(rows)), space(Count=len(rows[0]))
        self.Count = len(rows) * len(rows[0])
        self.Application = application
        self.Worksheet = space(Name="Sheet1", Application=application,
                               Parent=space(Name="Book1.xlsx", Application=application))


class Workbook:
    """Enough of a workbook for xlwings to import functions into: keeps the VBA text and the wizard's texts."""

    def __init__(self, name: str) -> None:
        self.Name = name
        self.Worksheets: list[Any] = []
        self.vba = ""
        self.wizard: dict[str, dict[str, Any]] = {}
        self.Application = types.SimpleNamespace(
            Version="16.0", MacroOptions=lambda macro, **texts: self.wizard.__setitem__(macro.split("!")[1], texts))
        self.VBProject = types.SimpleNamespace(VBComponents=self._Components(self))

    class _Components:
        def __init__(self, book: "Workbook") -> None:
            self.book = book

        def __call__(self, name: str) -> Any:
            raise ComError(name)  # not there yet

        def Remove(self, component: Any) -> None:  # noqa: N802
            pass

        def Import(self, path: str) -> None:  # noqa: N802
            with open(path) as file:
                self.book.vba = file.read()


class Host:
    """Excel as the tests see it."""

    def __init__(self, xlwings: Any, module: types.ModuleType) -> None:
        self.xlwings = xlwings
        self.module = module
        self._call = xlwings.com_server.XLPython().CallUDF

    def call(self, function: str, *args: Any) -> Any:
        """What the generated VBA function does; the result is checked as pywin32 would."""
        result = self._call(MODULE, function, args, None, Cells())
        check_variant(result)
        return result

    def import_functions(self, name: str = "Book1.xlsm") -> Workbook:
        """What the button Import Functions does."""
        book = Workbook(name)
        with contextlib.redirect_stdout(None):
            self.xlwings.udfs.import_udfs(MODULE, book)
        return book


def check_variant(value: Any, depth: int = 0) -> None:
    if isinstance(value, (list, tuple)):
        assert value, "an empty array"
        assert depth < 2, "an array of more than two dimensions"
        for item in value:
            check_variant(item, depth + 1)
        return
    assert type(value) in (str, bool, int, float), f"{type(value).__name__} has no VARIANT"
    assert value == value, "NaN"
    assert value not in (float("inf"), float("-inf")), "infinity"
    assert type(value) is not int or -2**31 <= value < 2**31, "more than 32 bits"


def _ours(name: str) -> bool:
    return name == MODULE or name.split(".")[0] in ("xlwings", *_PYWIN32)


@contextlib.contextmanager
def excel() -> Iterator[Host]:
    """The generated functions as xlwings serves them on Windows."""
    before = {name: sys.modules.pop(name) for name in list(sys.modules) if _ours(name)}
    surface = barfuncs.surfaces.__dict__.pop("excel", None)
    names = {name: ctypes.__dict__.get(name) for name in ("windll", "oledll", "PyDLL")}
    platform = sys.platform
    _install()
    ctypes.windll = ctypes.oledll = ctypes.PyDLL = MagicMock()  # type: ignore[attr-defined,misc,assignment]
    sys.platform = "win32"
    loop: asyncio.AbstractEventLoop | None = None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # xlwings' own, at import
            xlwings = importlib.import_module("xlwings")
            server = importlib.import_module("xlwings.com_server")
        loop = server.loop
        atexit.unregister(xlwings._xlwindows.cleanup)  # would run taskkill
        sys.platform = platform
        _restore(names)
        yield Host(xlwings, importlib.import_module(MODULE))
    finally:
        sys.platform = platform
        _restore(names)
        if loop is not None:
            loop.close()
        for name in [name for name in sys.modules if _ours(name)]:
            del sys.modules[name]
        sys.modules.update(before)
        barfuncs.surfaces.__dict__.pop("excel", None)
        if surface is not None:
            barfuncs.surfaces.excel = surface


def _restore(names: dict[str, Any]) -> None:
    for name, value in names.items():
        if value is None:
            ctypes.__dict__.pop(name, None)
        else:
            setattr(ctypes, name, value)


def _install() -> None:
    for name in _PYWIN32:
        module = types.ModuleType(name)
        module.__path__ = []
        module.__getattr__ = MagicMock()  # type: ignore[method-assign]
        sys.modules[name] = module
        parent, _, leaf = name.rpartition(".")
        if parent:
            setattr(sys.modules[parent], leaf, module)

    def unwrap(value: Any) -> Any:
        raise ValueError("not one of the server's objects")

    def fill(name: str, **values: Any) -> None:
        sys.modules[name].__dict__.update(values)

    fill("pywintypes", com_error=ComError, error=ComError, TimeType=dt.datetime, IID=lambda text: text)
    fill("pythoncom", __file__="pythoncom311.dll", com_error=ComError, ole_error=ComError, IID_IDispatch="IDispatch",
         TypeIIDs={"IDispatch": type("PyIDispatch", (), {})}, CoInitialize=lambda: None)
    fill("win32process", GetWindowThreadProcessId=lambda window: (0, 1))
    fill("win32timezone", TimeZoneInfo=types.SimpleNamespace(utc=lambda: dt.UTC))
    fill("win32com.client", CDispatch=Dispatch, DispatchBaseClass=type("DispatchBaseClass", (), {}),
         CoClassBaseClass=type("CoClassBaseClass", (), {}), Dispatch=lambda value, *_, **__: value,
         DispatchEx=lambda value, *_, **__: value)
    fill("win32com.server.util", unwrap=unwrap, wrap=lambda value, *_, **__: value)
