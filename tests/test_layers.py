"""Imports between the rooms of barfuncs point down only, those within functions too."""

import ast
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest

import barfuncs

PACKAGE = Path(barfuncs.__file__).parent
ROOMS = (("errors", "text"), ("catalogue",), ("tables", "functions"), ("xlsx",), ("templates",), ("filling",), ("rack",), ("buying",), ("surfaces",), ("cli",))
"""From the bottom up. Rooms beside each other may use each other."""
FLOOR = {room: floor for floor, rooms in enumerate(ROOMS) for room in rooms}
FLOOR[""] = FLOOR["functions"]
"""The package itself hands out the functions, and is there wherever something of it is."""
FLOOR["__main__"] = FLOOR["cli"]


def sources() -> dict[str, str]:
    """The text of every module by its name. The add-in of Calc has none: it is run by LibreOffice, outside of the package."""
    return {".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts): path.read_text("utf-8")
            for path in sorted(PACKAGE.rglob("*.py")) if path.name != "barfuncs_addin.py"}


def imported(module: str, text: str, modules: Mapping[str, str]) -> Iterator[tuple[int, str]]:
    """Line and module of everything of barfuncs that a module imports, wherever in it that is."""
    package = module.removesuffix(".__init__") if module.endswith(".__init__") else module.rpartition(".")[0]
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            found = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            above = ".".join(package.split(".")[:len(package.split(".")) + 1 - node.level]) if node.level else ""
            start = ".".join(part for part in (above, node.module) if part)
            found = [name if (name := f"{start}.{alias.name}") in modules or f"{name}.__init__" in modules else start for alias in node.names]
        else:
            continue
        yield from ((node.lineno, name) for name in found if name.split(".")[0] == "barfuncs")


def room(module: str) -> str:
    """The folder that a module is in, or its own name beside them; blank for the package."""
    return (module.removesuffix(".__init__").split(".") + [""])[1]


def going_up(modules: Mapping[str, str]) -> list[str]:
    return [f"{module}:{line} imports {target}" for module, text in modules.items() for line, target in imported(module, text, modules)
            if FLOOR[room(target)] > FLOOR[room(module)]]


def test_imports_point_down():
    assert going_up(sources()) == []


def test_every_room_has_its_floor():
    rooms = {room(module) for module in sources()}
    assert rooms == set(FLOOR)


@pytest.mark.parametrize("line", [
    "import barfuncs.surfaces.names", "from barfuncs.surfaces import names", "from barfuncs.surfaces.names import call_of",
    "from barfuncs import surfaces", "from ..surfaces import names", "def late():\n    from barfuncs.surfaces import cells",
])
def test_an_import_that_points_up_is_found(line):
    modules = sources()
    module = "barfuncs.xlsx.engine"
    found = going_up({**modules, module: f"{modules[module]}\n\n{line}\n"})
    assert [text.split(":")[0] for text in found] == [module]
    assert "barfuncs.surfaces" in found[0]
