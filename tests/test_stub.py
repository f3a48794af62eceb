"""The stub for editors and type checkers: what would be generated now, and what mypy makes of good and bad calls."""

import ast
import inspect
import re
import sys
from pathlib import Path

import pytest
from mypy import api

import barfuncs as bf
from barfuncs.catalogue.entry import CATALOGUE
from barfuncs.surfaces import stub

GOOD = '''\
from typing import Any
import numpy as np
import pint
import barfuncs as bf

a: int = bf.parts_per_bar(144, 2.25, 0.125, 3)
b: int = bf.parts_per_bar("12 ft", "2 1/4 in", 0.125, min_remnant=3, facing=None, units="in")
c: float = bf.bar_weight("303", "round", 1, 144, units="mm")
d: pint.Quantity[Any] = bf.bar_per_part(pint.Quantity(57, "mm"), "3 mm")
e: list[int] = bf.parts_per_bar(144, [2.25, "3 in"], 0.125, 3)
f: list[float] = bf.bar_weight(("303", "6061"), ["round", "hexagon"], 1, 144)
g = bf.parts_per_bar(144, np.array([1.0, 2.0]), 0.125, 3)
g.shape
h: list[tuple[object, ...]] = bf.price_breaks([100, 250], 59, 34.8, 45, 30, 1.5, 80, margin="20%")
i: str = bf.why("parts_per_bar", 144)
j: float = bf.rounded_price(2.675, "up to next 0.05")
k: float = bf.length_in("12 ft", "in")
l: str = bf.CATALOGUE["bar_weight"].summary
m: list[int] = bf.parts_to_make([100, 200], scrap_rate=["3%", None])
n: int = bf.parts_per_bar(pint.Quantity(12, "foot"), 2.25, 0.125, 3)
'''

BAD = {
    'bf.parts_per_bar(144, 2.25, 0.125)': "call-overload",
    'bf.parts_per_bar(144, 2.25, 0.125, 3, feed=1)': "call-overload",
    'bf.parts_per_bar(144, 2.25, 0.125, 3, 0, 0, "in")': "call-overload",
    'bf.parts_per_bar(None, 2.25, 0.125, 3)': "call-overload",
    'bf.parts_per_bar(object(), 2.25, 0.125, 3)': "call-overload",
    'bf.parts_per_bar(144, {"length": 2.25}, 0.125, 3)': "call-overload",
    'bf.bar_weight("303", 7, 1, 144)': "call-overload",
    'bf.bar_weight("303", "round", 1, 144, units=25.4)': "call-overload",
    'bf.bar_per_part(2, 1, units="cm")': "call-overload",
    'bf.parts_to_make(100, units="mm")': "call-overload",
    'bf.rounded_price(2.5, 0.05)': "call-overload",
    's: str = bf.parts_per_bar(144, 2.25, 0.125, 3)': "assignment",
    'w: int = bf.bar_weight("303", "round", 1, 144)': "assignment",
    't: list[str] = bf.parts_per_bar(144, [2.25], 0.125, 3)': "assignment",
    'bf.price_breaks([100], 59, [34.8], 45, 30, 1.5, 80)': "arg-type",
    'bf.parts_pr_bar(144, 2.25, 0.125, 3)': "attr-defined",
}


def test_the_file_is_what_would_be_generated_now():
    assert stub.FILE.read_text("utf-8") == stub.page(), "write it anew: python -m barfuncs.surfaces.stub"


def mypy_on(path: Path, text: str) -> str:
    path.write_text(text, "utf-8")
    out, errors, _ = api.run([str(path), "--strict", "--no-error-summary", "--config-file=", "--cache-dir", str(path.parent / "cache"),
                              "--follow-imports=silent", f"--python-executable={sys.executable}"])
    assert not errors, errors
    return out


@pytest.fixture
def from_here(monkeypatch):
    monkeypatch.setenv("MYPYPATH", str(Path(bf.__file__).parents[1]))


@pytest.mark.slow
def test_mypy_takes_good_calls_and_refuses_bad_ones(tmp_path, from_here):
    assert mypy_on(tmp_path / "good.py", GOOD) == ""
    lines = ["import barfuncs as bf", *BAD]
    told = dict(re.findall(r"bad\.py:(\d+): error: .*\[([a-z-]+)\]", mypy_on(tmp_path / "bad.py", "\n".join(lines) + "\n")))
    assert {line: told.get(str(n)) for n, line in enumerate(lines, start=1)} == {"import barfuncs as bf": None, **BAD}


def test_what_mypy_takes_works(tmp_path):
    exec(compile(GOOD, "good.py", "exec"), {})


@pytest.mark.parametrize("name", list(CATALOGUE))
def test_every_signature_in_the_stub_is_the_function_s_own(name):
    found = [node for node in ast.parse(stub.page()).body if isinstance(node, ast.FunctionDef) and node.name == name]
    signature = inspect.signature(getattr(bf, name))
    assert found
    for node in found:
        assert [a.arg for a in (*node.args.args, *node.args.kwonlyargs)] == list(signature.parameters)
        defaults = [ast.literal_eval(d) for d in (*node.args.defaults, *(d for d in node.args.kw_defaults if d))]
        assert defaults == [p.default for p in signature.parameters.values() if p.default is not p.empty]


def test_everything_public_is_in_the_stub():
    tree = ast.parse(stub.page())
    names = {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}
    names |= {alias.asname for node in tree.body if isinstance(node, ast.ImportFrom) for alias in node.names if alias.asname}
    names |= {node.target.id for node in tree.body if isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name)}
    assert set(bf.__all__) <= names
