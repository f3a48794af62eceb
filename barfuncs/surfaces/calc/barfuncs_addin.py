"""The add-in's UNO component. LibreOffice loads this file; nothing else imports it.

Two things live here: the functions for cells, and a job that runs after a workbook is loaded.
"""

import re
import sys

import uno
import unohelper
from com.sun.star.lang import Locale, XLocalizable, XServiceInfo, XServiceName
from com.sun.star.task import XJob

if sys.version_info < (3, 10):  # noqa: UP036 - LibreOffice may bring an older one
    raise ImportError("barfuncs needs Python 3.10 or newer; this LibreOffice brings " + sys.version.split()[0])

from barfuncs.catalogue.entry import CATALOGUE
from barfuncs.surfaces import cells

SERVICE = "BARFUNCS"
ADDIN = "org.barfuncs.calc.AddIn"
JOB = "org.barfuncs.calc.NamesJob"

CALLS = {entry.cell_name: cells.CellCall(entry, cells.CALC) for entry in CATALOGUE.values()}


def _table(result):
    return result if result.__class__ is tuple else ((result,),)


def _method(call):
    def method(self, *args):
        result = call(*args)
        return result if result.__class__ is tuple else ((result,),)

    return method


class _Service(unohelper.Base, XServiceInfo):
    names = ()

    def __init__(self, context, *args):
        self.locale = Locale("en", "US", "")

    def getImplementationName(self):  # noqa: N802 - the names are LibreOffice's
        return self.names[0]

    def supportsService(self, name):  # noqa: N802
        return name in self.names[1:]

    def getSupportedServiceNames(self):  # noqa: N802
        return self.names[1:]


class _Functions(_Service, uno.getClass("org.barfuncs.calc.XFunctions"), XLocalizable, XServiceName):
    names = (ADDIN, SERVICE)

    def getServiceName(self):  # noqa: N802
        return SERVICE

    def setLocale(self, locale):  # noqa: N802
        self.locale = locale

    def getLocale(self):  # noqa: N802
        return self.locale

    def WHY(self, function_name, arguments):  # noqa: N802
        outcome = cells.why(cells.CALC, function_name, *arguments)
        return _table((outcome.words or outcome.code) if isinstance(outcome, cells.Problem) else outcome)


AddIn = type("AddIn", (_Functions,), {name: _method(call) for name, call in CALLS.items()})


# --- names in workbooks from other programs ------------------------------------------------------------------------

# A name that was not found when the workbook was loaded, or when it was saved without the add-in, stands in lower case in
# the formula. One that the workbook has as a LAMBDA name of its own, which LibreOffice can't calculate, stands in upper case.
_NAMES = "|".join([*CALLS, "WHY"])
_UNBOUND = re.compile(rf'("[^"]*"|\'[^\']*\')|(?<![A-Za-z0-9_.])(?:{SERVICE}\.)?({_NAMES})\(', re.IGNORECASE)
_ANY_RESULT = 7  # com.sun.star.sheet.FormulaResult: VALUE, STRING and ERROR


def _bound(formula):
    """The formula with the service before each of our names that stands alone."""
    return _UNBOUND.sub(lambda m: m[1] or f"{SERVICE}.{m[2].upper()}(", formula)


def bind_names(document):
    """Enter every formula again whose function was not known while the workbook was read, or was one of its own names.

    Gives their number. LibreOffice 7.4 reads PARTS_PER_BAR(...) in an xlsx before it asks the add-ins, later versions
    after.
    """
    todo = []
    for sheet in document.Sheets:
        for block in sheet.queryFormulaCells(_ANY_RESULT):
            for row, formulas in enumerate(block.getFormulaArray()):
                for column, formula in enumerate(formulas):
                    bound = _bound(formula)
                    if bound != formula:
                        todo.append((sheet, block.getCellByPosition(column, row), bound))
    if not todo:
        return 0
    changed = document.isModified()
    document.lockControllers()
    document.addActionLock()
    try:
        for sheet, cell, formula in todo:
            if formula.startswith("{"):
                cursor = sheet.createCursorByRange(cell)
                cursor.collapseToCurrentArray()
                cursor.setArrayFormula(formula[1:-1])
            else:
                cell.setFormula(formula)
    finally:
        document.removeActionLock()
        document.unlockControllers()
    document.calculate()
    if not changed:
        document.setModified(False)
    return len(todo)


class NamesJob(_Service, XJob):
    names = (JOB, JOB)

    def execute(self, arguments):
        given = {a.Name: a.Value for a in arguments}
        environment = {a.Name: a.Value for a in given.get("Environment", ())}
        document = environment.get("Model")
        if document is not None and document.supportsService("com.sun.star.sheet.SpreadsheetDocument"):
            bind_names(document)


g_ImplementationHelper = unohelper.ImplementationHelper()  # noqa: N816 - the loader's name for it
g_ImplementationHelper.addImplementation(AddIn, ADDIN, (SERVICE,))
g_ImplementationHelper.addImplementation(NamesJob, JOB, (JOB,))
