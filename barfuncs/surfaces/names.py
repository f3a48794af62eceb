"""Functions as names in the workbook: LAMBDA definitions that need no add-in.

They work in a current Excel on Windows, Mac and the web. A workbook keeps them when it is sent on. The materials table
comes along as a sheet of its own.
"""

import re
from collections.abc import Mapping, Sequence
from xml.sax.saxutils import escape, quoteattr

from barfuncs.catalogue import materials
from barfuncs.catalogue.entry import CATALOGUE, Entry
from barfuncs.catalogue.formula import cell_formula, cell_tests, values_in_cell
from barfuncs.errors import InputError, WorkbookError
from barfuncs.xlsx.package import read_parts
from barfuncs.xlsx.sheetxml import Cell, cell_xml

SHEET = "barfuncs materials"
_CHANGED = ("xl/workbook.xml", "xl/_rels/workbook.xml.rels", "[Content_Types].xml")
_OFTEN = 8
"""An optional argument that a function needs more often gets a name for its value as used: a definition has a longest length."""
_LIST = 30
"""Functions that one of the helpers of WHY chooses among."""
_LEFT_OUT = "OR(_xlfn.ISOMITTED({x}),ISBLANK({x}))"


def named_functions() -> list[Entry]:
    """The functions that can be a name: those that have a cell formula."""
    return [entry for entry in CATALOGUE.values() if entry.formula is not None]


def definition(entry: Entry) -> str:
    """The function as a LAMBDA, in the spelling of an xlsx file.

    In the file a parameter is declared as _xlpm.name, an optional one as _xlop.name, and both are used as _xlpm.name.

    >>> definition(CATALOGUE["price_at_margin"])[:52]
    '_xlfn.LAMBDA(_xlpm.cost,_xlpm.margin,IF(AND(ISNUMBER'
    """
    refs = _refs(entry)
    names, values, text = "", values_in_cell(entry, refs, _LEFT_OUT), cell_formula(entry, refs, left_out=_LEFT_OUT)
    for argument, value in values.items():
        if value != refs[argument] and text.count(value) > _OFTEN:
            text = text.replace(value, f"_xlpm.used_{argument}")
            names += f"_xlpm.used_{argument},{value},"
    return f"_xlfn.LAMBDA({_declared(entry)},{f'_xlfn.LET({names}{text})' if names else text})"


def _refs(entry: Entry) -> dict[str, str]:
    # A parameter called like a function (parts_per_bar) gets a mark: not every program lets it hide the function.
    return {a.name: f"_xlpm.{a.name}{'_' if a.name in CATALOGUE else ''}" for a in entry.arguments}


def _declared(entry: Entry) -> str:
    return ",".join(ref if a.required else ref.replace("_xlpm.", "_xlop.")
                    for a, ref in zip(entry.arguments, _refs(entry).values(), strict=True))


def definitions() -> dict[str, str]:
    """Every name that a workbook gets, and its LAMBDA: the functions, WHY, and the helpers of WHY (see `is_hidden`)."""
    named = named_functions()
    return ({e.cell_name: definition(e) for e in named} | _why(list(CATALOGUE.values())) | {"WHY_TELL": _TELL}
            | {f"WHY_{e.cell_name}": _why_function(e) for e in named})


def is_hidden(name: str) -> bool:
    """Whether a name is a helper that a list of names doesn't show."""
    return name.startswith("WHY_")


_TELL = ('_xlfn.LAMBDA(_xlpm.fine,_xlpm.name,_xlpm.value,_xlpm.allowed,IF(_xlpm.fine,"",_xlpm.name&": "'
         '&IFERROR(IF(_xlpm.value&""="","is missing",_xlpm.value&" given"),"the cell shows an error")'
         '&"; allowed is "&_xlpm.allowed&"; "))')
"""Words about one argument, or nothing where it is fine."""


def _text(words: str) -> str:
    return '"' + words.replace('"', '""') + '"'


def _why_function(entry: Entry) -> str:
    """WHY for one function: the arguments first, then the rules between them, then whether there is a result at all."""
    refs = _refs(entry)
    tests, rules = cell_tests(entry, refs, _LEFT_OUT)
    told = []
    for a, test in zip(entry.arguments, tests, strict=True):
        if a.kind.reader == "material":
            units = refs.get("units")
            system = f',IF(IFERROR({units}="mm",FALSE),"mm","in")' if units else ""
            test = f"AND({test},ISNUMBER(MATERIAL_DENSITY({refs[a.name]}{system})))"
        told.append(f"WHY_TELL(IFERROR({test},FALSE),{_text(a.name)},{refs[a.name]},{_text(a.kind.allowed(None))})")
    broken = "&".join(f'IF(IFERROR({test},FALSE),"",{_text(f"{rule.argument}: {rule.message}; ")})'
                      for rule, test in zip(entry.rules, rules, strict=True)) or '""'
    result = f"{entry.cell_name}({','.join(refs.values())})"
    return (f"_xlfn.LAMBDA({_declared(entry)},_xlfn.LET(_xlpm.bad,{'&'.join(told)},"
            f'_xlpm.words,IF(_xlpm.bad="",{broken},_xlpm.bad),'
            'IF(_xlpm.words<>"",LEFT(_xlpm.words,LEN(_xlpm.words)-2),'
            f'IF(ISERROR({result}),"the numbers are too large or too small to work with","ok"))))')


def _why(entries: Sequence[Entry]) -> dict[str, str]:
    """WHY, which finds the helper of the function that is asked for, and lists of helpers: in one text they would be too long."""
    most = max(len(e.arguments) for e in entries if e.formula)
    given = [f"_xlpm.given_{n}" for n in range(1, most + 1)]
    maybe = ",".join(x.replace("_xlpm.", "_xlop.") for x in given)
    count = ",".join(f"IF({_LEFT_OUT.replace('{x}', x)},0,{n})" for n, x in enumerate(given, start=1))
    listed = ",".join(_text(e.cell_name) for e in entries)
    takes = ",".join(str(len(e.arguments)) if e.formula else "99" for e in entries)
    calls = [f"WHY_{e.cell_name}({','.join(given[:len(e.arguments)])})" if e.formula
             else _text(f"{e.cell_name} needs an add-in: {e.no_formula}") for e in entries]
    lists = {f"WHY_LIST_{n // _LIST}": f"_xlfn.LAMBDA(_xlpm.number,{maybe},CHOOSE(_xlpm.number,{','.join(calls[n:n + _LIST])}))"
             for n in range(0, len(calls), _LIST)}
    shown = ",".join(f"{helper}(_xlpm.found-{n * _LIST},{','.join(given)})" for n, helper in enumerate(lists))
    name = "_xlpm.function_name"
    # MATCH takes * and ? for wildcards.
    found = f'IF(ISNUMBER(FIND("*",{name})+0),0,IF(ISNUMBER(FIND("?",{name})+0),0,MATCH({name},{{{listed}}},0)))'
    return lists | {"WHY": (
        f"_xlfn.LAMBDA({name},{maybe},_xlfn.LET(_xlpm.found,IFERROR({found},0),_xlpm.count,MAX({count}),"
        f"_xlpm.takes,IF(_xlpm.found=0,99,CHOOSE(_xlpm.found,{takes})),"
        f'IF(_xlpm.found=0,{name}&" is not a function of barfuncs",'
        f'IF(_xlpm.count>_xlpm.takes,UPPER({name})&" takes "&_xlpm.takes&" arguments, "&_xlpm.count&" were given",'
        f"CHOOSE(INT((_xlpm.found-1)/{_LIST})+1,{shown})))))")}


def materials_rows() -> list[list[str | float | None]]:
    """Rows of the materials sheet: heading, rows for the user's own, the built-in table; beside them what people write."""
    rows: list[list[str | float | None]] = [["Name", "Density g/cm3", "Designations", None, None, None, "Spelling", "Row"]]
    rows += [[] for _ in range(materials.OWN_ROWS)]
    for item in materials.builtin().rows:
        rows.append([item.name, item.density, *item.designations])
    for n, spelling in enumerate(materials.builtin().spelling_rows(), start=1):
        if n == len(rows):
            rows.append([])
        rows[n] = [*rows[n], *[None] * (6 - len(rows[n])), *spelling]
    return rows


def table_names() -> dict[str, str]:
    """Names of the materials table, and where they point."""
    first, last = materials.OWN_ROWS + 2, materials.OWN_ROWS + 1 + len(materials.builtin())
    own = (2, materials.OWN_ROWS + 1)
    columns = {"material_names": ("A", first, last), "material_densities": ("B", first, last),
               "own_material_names": ("A", *own), "own_material_densities": ("B", *own)}
    spellings = 1 + len(materials.builtin().spelling_rows())
    columns |= {"material_spellings": ("G", 2, spellings), "material_spelling_rows": ("H", 2, spellings)}
    return {name: f"'{SHEET}'!${c}${top}:${c}${bottom}" for name, (c, top, bottom) in columns.items()}


def add_names(source: "str | bytes | Mapping[str, bytes]") -> dict[str, bytes]:
    """The parts of a workbook with the functions as names, and the materials sheet, added; all else stays as it is.

    Names that the functions gave before are renewed. Raises InputError where a name of the workbook's own is in the way,
    WorkbookError where the file can't be read.
    """
    parts = dict(source) if isinstance(source, Mapping) else read_parts(source)
    for part in _CHANGED:
        try:
            parts[part].decode("utf-8")
        except UnicodeDecodeError:
            raise WorkbookError(f"the workbook's part {part} is not in UTF-8; save it anew as .xlsx first") from None
    book = parts["xl/workbook.xml"].decode("utf-8")
    ours = definitions()
    present = dict(re.findall(r'<definedName\b[^>]*?\bname="([^"]+)"[^>]*>([^<]*)', book))
    upper = {name.upper(): (name, text) for name, text in present.items()}
    taken = [upper[name][0] for name in ours if name in upper and "LAMBDA" not in upper[name][1].upper()]
    if taken:
        raise InputError("names", [(name, "is a name of this workbook already, for something else") for name in taken])
    new = dict(ours)
    if not {"MATERIAL_NAMES", "OWN_MATERIAL_NAMES"} <= set(upper):
        new |= table_names()
        _add_sheet(parts)
        book = parts["xl/workbook.xml"].decode("utf-8")
    elif "MATERIAL_SPELLINGS" not in upper:
        raise InputError("names", [("material_names", "is a materials table of an earlier version: start from a new file, "
                                                      "or delete that sheet and its names first")])
    for name, text in ours.items():
        if name in upper:
            # No backslash stands in a definition, so that none can be read as a group's number.
            there = rf'(<definedName\b[^>]*?\bname="{name}"[^>]*>)[^<]*'
            book = re.sub(there, rf"\g<1>{escape(text)}", book, flags=re.IGNORECASE)
            del new[name]
    made = "".join(f"<definedName name={quoteattr(n)}{' hidden=' + quoteattr('1') if is_hidden(n) else ''}>{escape(t)}"
                   "</definedName>" for n, t in sorted(new.items()))
    parts["xl/workbook.xml"] = _with_names(book, made).encode("utf-8")
    return parts


def _with_names(book: str, made: str) -> str:
    """Definitions go into `definedNames`, which stands behind `sheets` (and groups, references) in the file."""
    if "</definedNames>" in book:
        return book.replace("</definedNames>", made + "</definedNames>", 1)
    book = re.sub(r"<definedNames\s*/>", "", book)
    for before in ("</externalReferences>", "</functionGroups>", "</sheets>"):
        if before in book:
            return book.replace(before, f"{before}<definedNames>{made}</definedNames>", 1)
    raise WorkbookError("the workbook has no list of sheets in a form that can be added to")


def _add_sheet(parts: dict[str, bytes]) -> None:
    book = parts["xl/workbook.xml"].decode("utf-8")
    links = parts["xl/_rels/workbook.xml.rels"].decode("utf-8")
    types = parts["[Content_Types].xml"].decode("utf-8")
    if f'name="{SHEET}"' in book:
        raise InputError("names", [(SHEET, "is a sheet of this workbook already, without the names of its table")])
    part = "xl/worksheets/barfuncs_materials.xml"
    number = max((int(n) for n in re.findall(r'\bsheetId="(\d+)"', book)), default=0) + 1
    if "</sheets>" not in book or "</Relationships>" not in links or "</Types>" not in types:
        raise WorkbookError("the workbook has a form that a sheet can't be added to; save it anew as .xlsx first")
    link = "rIdBarfuncsMaterials"
    namespace = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    book = book.replace("</sheets>", f'<sheet xmlns:r="{namespace}" name="{SHEET}" sheetId="{number}" '
                                     f'state="visible" r:id="{link}"/></sheets>', 1)
    links = links.replace("</Relationships>", f'<Relationship Id="{link}" Type="{namespace}/worksheet" '
                          'Target="/' + part + '"/></Relationships>', 1)
    types = types.replace("</Types>", f'<Override PartName="/{part}" ContentType="application/vnd.openxmlformats-'
                          'officedocument.spreadsheetml.worksheet+xml"/></Types>', 1)
    parts["xl/workbook.xml"], parts["xl/_rels/workbook.xml.rels"] = book.encode(), links.encode()
    parts["[Content_Types].xml"] = types.encode()
    parts[part] = _sheet_xml()


def _sheet_xml() -> bytes:
    rows = []
    for number, row in enumerate(materials_rows(), start=1):
        cells = b"".join(cell_xml(Cell(f"{column}{number}", None, 0, 0, None, "c"), value)
                         for column, value in zip("ABCDEFGH", row, strict=False) if value is not None)
        rows.append(f'<row r="{number}">{cells.decode()}</row>')
    return ('<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n<worksheet xmlns="http://schemas.openxmlformats.org/'
            'spreadsheetml/2006/main"><sheetViews><sheetView workbookViewId="0"><pane ySplit="1" topLeftCell="A2" '
            'activePane="bottomLeft" state="frozen"/></sheetView></sheetViews><cols><col min="1" max="1" width="34" '
            'customWidth="1"/><col min="2" max="6" width="15" customWidth="1"/><col min="7" max="7" width="30" customWidth="1"/></cols><sheetData>'
            + "".join(rows) + "</sheetData></worksheet>").encode()
