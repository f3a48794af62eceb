"""The functions in Excel, through xlwings: what its setting UDF MODULES names. Run `barfuncs connect excel` once.

Generated from the catalogue. xlwings makes a worksheet function of every decorated name it finds here, so nothing but
the functions is public. Without xlwings, or on another system than Windows, the module imports and the functions are
plain Python.

A problem comes back as text that starts with "#", since this way into Excel carries no error values: SUM skips it, so
guard a total with =IF(COUNT(range)=ROWS(range),SUM(range),NA()).
"""

import inspect as _inspect
from collections.abc import Callable as _Callable
from collections.abc import Iterable as _Iterable
from typing import Any as _Any

from barfuncs.catalogue.entry import CATALOGUE as _CATALOGUE
from barfuncs.catalogue.entry import Argument as _Argument
from barfuncs.catalogue.entry import Entry as _Entry
from barfuncs.surfaces import cells as _cells

try:
    import xlwings as _xlwings
except ImportError:  # an optional extra
    _xlwings = None  # type: ignore[assignment]


def _help(argument: _Argument) -> str:
    text = argument.help_with_unit()
    if not argument.required:
        default = argument.default
        text += "; may be left out" if default is None else f"; {default} where left out"
    if argument.kind.reader == "table":
        text += "; a range"
    return text[:255]


def _describe(entry: _Entry) -> str:
    unit = entry.result.unit(None)
    return (entry.summary + (f" [{unit}]" if unit else ""))[:255]


def _decorate(body: _Callable[..., _Any], name: str, group: str, text: str,
              arguments: _Iterable[tuple[str, str, bool]]) -> _Callable[..., _Any]:
    """Make `body` the worksheet function `name`; arguments as (name, help, required)."""
    arguments = list(arguments)
    body.__name__ = body.__qualname__ = name
    body.__module__ = __name__
    body.__doc__ = text
    parameter = _inspect.Parameter
    # Read by xlwings. No annotations: it would convert by them and trip over a blank cell.
    body.__signature__ = _inspect.Signature([  # type: ignore[attr-defined]
        parameter(argument, parameter.POSITIONAL_OR_KEYWORD, default=parameter.empty if required else None)
        for argument, _, required in arguments])
    if _xlwings is None:
        return body
    for argument, argument_help, _ in arguments:
        # "raw": values as Excel sends them. All reading is in `cells`, the same for every spreadsheet program.
        body = _xlwings.arg(argument, "raw", doc=argument_help)(body)
    return _xlwings.func(category=f"Barfuncs {group}")(body)


def _function(entry: _Entry) -> _Callable[..., _Any]:
    call = _cells.CellCall(entry, _cells.EXCEL)

    def body(*args):  # type: ignore[no-untyped-def]
        return call(*args)

    return _decorate(body, entry.cell_name, entry.group, _describe(entry),
                     [(a.name, _help(a), a.required) for a in entry.arguments])


def _why() -> _Callable[..., _Any]:
    def body(*args):  # type: ignore[no-untyped-def]
        outcome = _cells.why(_cells.EXCEL, *args)
        return str(outcome) if isinstance(outcome, _cells.Problem) else outcome

    return _decorate(
        body, "WHY", "Help", _cells.WHY_HELP,
        [(*_cells.WHY_NAME, True)]
        + [(f"argument_{n}", f"argument {n} of that function, as you gave it there", False)
           for n in range(1, _cells.MOST_ARGUMENTS + 1)])


_WRAPPERS = [*map(_function, _CATALOGUE.values()), _why()]
# Put in as a whole: a loop variable left behind would become one more worksheet function.
globals().update({wrapper.__name__: wrapper for wrapper in _WRAPPERS})
__all__ = [wrapper.__name__ for wrapper in _WRAPPERS]
