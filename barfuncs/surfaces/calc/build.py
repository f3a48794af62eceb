"""Write the add-in for LibreOffice Calc: one .oxt file, made from the catalogue, the same bytes every time."""

import ast
import io
import zipfile
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

import barfuncs
from barfuncs.catalogue.entry import CATALOGUE, Argument
from barfuncs.surfaces import cells

FILE_NAME = "barfuncs.oxt"
IDENTIFIER = "org.barfuncs.calc"
SERVICE = "BARFUNCS"
"""What stands before a function in a file: BARFUNCS.PARTS_PER_BAR(...). Shown in a cell is PARTS_PER_BAR(...)."""

_PACKAGE = Path(barfuncs.__file__).parent
_ROOTS = ("barfuncs", "barfuncs.surfaces.cells")
_XML = '<?xml version="1.0" encoding="UTF-8"?>\n'
_TABLE = "sequence< sequence< any > >"
_DATE = (1980, 1, 1, 0, 0, 0)


def build() -> bytes:
    """The .oxt file."""
    buffer = io.BytesIO()
    # Stored, not deflated: what a compressor writes depends on its version.
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_STORED) as package:
        for name, data in sorted(files().items()):
            entry = zipfile.ZipInfo(name, _DATE)
            entry.create_system = 3
            entry.external_attr = 0o644 << 16
            package.writestr(entry, data)
    return buffer.getvalue()


def write(folder: Path) -> Path:
    """Write the .oxt into a folder, which is made if need be."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / FILE_NAME
    path.write_bytes(build())
    return path


def files() -> dict[str, bytes]:
    """Every file of the .oxt by its name in it."""
    texts = {
        "META-INF/manifest.xml": _manifest(),
        "description.xml": _description(),
        "CalcAddIns.xcu": _calc_addins(),
        "Jobs.xcu": _jobs(),
        "XFunctions.idl": _idl(),
        "barfuncs.components": _components(),
    }
    packed = {name: text.encode() for name, text in texts.items()}
    packed["barfuncs_addin.py"] = Path(__file__).with_name("barfuncs_addin.py").read_bytes()
    for path in core_files():
        packed[f"pythonpath/barfuncs/{path.relative_to(_PACKAGE).as_posix()}"] = path.read_bytes()
    return packed


def core_files() -> list[Path]:
    """What the functions need at run time: every module of barfuncs that they import, and the tables beside them."""
    found: dict[str, Path] = {}
    todo = list(_ROOTS)
    while todo:
        name = todo.pop()
        path = _module_file(name)
        if name in found or path is None:
            continue
        found[name] = path
        if "." in name:
            todo.append(name.rpartition(".")[0])
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Import):
                todo += [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                todo += [node.module, *(f"{node.module}.{alias.name}" for alias in node.names)]
    tables = [path for module in found.values() for path in module.parent.glob("*.csv")]
    return sorted({*found.values(), *tables})


def _module_file(name: str) -> Path | None:
    first, *rest = name.split(".")
    if first != "barfuncs":
        return None
    base = _PACKAGE.joinpath(*rest)
    candidates = (base / "__init__.py", base.with_suffix(".py"))
    return next((path for path in candidates if path.is_file()), None)


# --- the generated files -------------------------------------------------------------------------------------------


def _idl() -> str:
    """The interface.

    Arguments are `any`: a range arrives whole, a text as it is, what is left out as nothing. Results are tables, since
    only a declared table can come back as one; a table of one cell does as a single value everywhere in Calc.
    """
    lines = []
    for entry in CATALOGUE.values():
        arguments = ", ".join(f"[in] any {_idl_name(a.name)}" for a in entry.arguments)
        lines.append(f"    {_TABLE} {entry.cell_name}({arguments});")
    lines.append(f"    {_TABLE} WHY([in] any {_idl_name(cells.WHY_NAME[0])}, [in] sequence< any > arguments);")
    return ("// Generated from the catalogue of barfuncs.\nmodule org { module barfuncs { module calc {\n\n"
            "interface XFunctions\n{\n" + "\n".join(lines) + "\n};\n\n}; }; };\n")


def _idl_name(name: str) -> str:
    """The interface's grammar allows `barLength` and `BAR_LENGTH`, but not `bar_length`."""
    first, *rest = name.split("_")
    return first + "".join(word.title() for word in rest)


def _prop(name: str, text: str, language: bool = True) -> str:
    attribute = ' xml:lang="en-US"' if language else ""
    return f'<prop oor:name="{name}"><value{attribute}>{escape(text)}</value></prop>'


def _function(name: str, summary: str, arguments: dict[str, str]) -> str:
    parts = [
        f'    <node oor:name="{name}" oor:op="replace">',
        "     " + _prop("DisplayName", name),
        "     " + _prop("Description", summary),
        "     " + _prop("Category", "Add-In", language=False),
        "     " + _prop("CompatibilityName", name),
        '     <node oor:name="Parameters">',
    ]
    for argument, text in arguments.items():
        parts.append(f'      <node oor:name="{_idl_name(argument)}" oor:op="replace">{_prop("DisplayName", argument)}'
                     f'{_prop("Description", text)}</node>')
    return "\n".join([*parts, "     </node>", "    </node>"])


def _calc_addins() -> str:
    functions = []
    for entry in CATALOGUE.values():
        arguments = {a.name: _help(a) for a in entry.arguments}
        functions.append(_function(entry.cell_name, entry.summary, arguments))
    functions.append(_function("WHY", cells.WHY_HELP, dict([cells.WHY_NAME]) | {"arguments": "its arguments, in their order"}))
    return _registry("CalcAddIns", [
        ' <node oor:name="AddInInfo">', f'  <node oor:name="{SERVICE}" oor:op="replace">',
        '   <node oor:name="AddInFunctions">', *functions, "   </node>", "  </node>", " </node>"])


def _help(argument: Argument) -> str:
    """What the function wizard says of an argument. It takes all of an add-in's for optional, so the words tell which are needed."""
    text = argument.help_with_unit()
    if not argument.required:
        return f"{text}; left out: {_default(argument.default)}"
    return f"needed: {text}" + ("; a real 0 is written -0" if cells.zero_is_unclear(argument) else "")


def _default(value: object) -> str:
    return "none" if value is None else f"{value:g}" if isinstance(value, (int, float)) else str(value)


def _jobs() -> str:
    return _registry("Jobs", [
        ' <node oor:name="Jobs">', f'  <node oor:name="{IDENTIFIER}.Names" oor:op="replace">',
        f'   <prop oor:name="Service"><value>{IDENTIFIER}.NamesJob</value></prop>', "  </node>", " </node>",
        ' <node oor:name="Events">', '  <node oor:name="OnLoadFinished" oor:op="fuse">', '   <node oor:name="JobList">',
        f'    <node oor:name="{IDENTIFIER}.Names" oor:op="replace"/>', "   </node>", "  </node>", " </node>"])


def _registry(name: str, lines: list[str]) -> str:
    return (f'{_XML}<oor:component-data xmlns:oor="http://openoffice.org/2001/registry" '
            f'xmlns:xs="http://www.w3.org/2001/XMLSchema" oor:name="{name}" oor:package="org.openoffice.Office">\n'
            + "\n".join(lines) + "\n</oor:component-data>\n")


def _components() -> str:
    def implementation(name: str, service: str) -> str:
        return (f'  <implementation name="{IDENTIFIER}.{name}"><service name="{service}"/></implementation>\n')

    return (f'{_XML}<components xmlns="http://openoffice.org/2010/uno-components">\n'
            ' <component loader="com.sun.star.loader.Python" uri="barfuncs_addin.py">\n'
            + implementation("AddIn", SERVICE) + implementation("NamesJob", f"{IDENTIFIER}.NamesJob")
            + " </component>\n</components>\n")


def _manifest() -> str:
    kinds = {
        "XFunctions.idl": "application/vnd.sun.star.uno-typelibrary;type=RDB",
        "barfuncs.components": "application/vnd.sun.star.uno-components",
        "CalcAddIns.xcu": "application/vnd.sun.star.configuration-data",
        "Jobs.xcu": "application/vnd.sun.star.configuration-data",
    }
    entries = "".join(f' <manifest:file-entry manifest:full-path="{name}" manifest:media-type="{kind}"/>\n'
                      for name, kind in kinds.items())
    return f'{_XML}<manifest:manifest xmlns:manifest="http://openoffice.org/2001/manifest">\n{entries}</manifest:manifest>\n'


def _description() -> str:
    return (f'{_XML}<description xmlns="http://openoffice.org/extensions/description/2006">\n'
            f' <identifier value={quoteattr(IDENTIFIER)}/>\n <version value={quoteattr(barfuncs.__version__)}/>\n'
            ' <display-name><name lang="en">barfuncs: functions for parts turned from bar</name></display-name>\n'
            "</description>\n")
