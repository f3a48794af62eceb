"""The template quote against plain Python, in the headless engine and in LibreOffice; prices, what-ifs, bad inputs."""

import random
from functools import cache

import pytest
from job_generator import good_quote
from reference_quote import quote as reference

import barfuncs as bf
from barfuncs.workbooks import quote
from barfuncs.workbooks.fill import Filled, filler, read_inputs
from barfuncs.workbooks.sheetxml import CellError


@cache
def quotes(count: int, seed: int = 3) -> list[Filled]:
    """Generated quotes, filled."""
    rng, found = random.Random(seed), []
    while len(found) < count:
        inputs = read_inputs(good_quote(rng), "quote")
        if whole_part_fits(inputs):
            found.append(filler("quote").fill(inputs))
    return found


def whole_part_fits(inputs: dict) -> bool:
    return bf.parts_per_bar(inputs["bar_length"], inputs["part_length"], inputs["cutoff_width"],
                            inputs["grip_length"] + inputs["standoff"], inputs["facing"], inputs["end_trim"]) > 0


def scale(name: str, want: float, answers: dict) -> float:
    """What the error of an answer is judged by. A difference of large numbers is judged by what it is made of."""
    if name.startswith(("change_share", "margin")):
        return 1
    if name.startswith("change_"):
        return max(abs(want), answers["price_if_now"])
    if name == "remnant":
        return answers["bar_weight"] and max(abs(want), answers["first_stickout"] * answers["parts_per_bar"])
    return abs(want)


def disagreements(inputs: dict, answers: dict) -> list[str]:
    wanted, found = reference(dict(inputs)), []
    for name, want in wanted.items():
        got = answers[name]
        if want is None:
            same = isinstance(got, CellError)
        elif isinstance(want, str):
            same = (got or "") == want
        else:
            same = isinstance(got, float) and abs(got - want) <= 1e-9 * scale(name, want, answers)
        if not same:
            found.append(f"{name}: sheet {got!r}, Python {want!r}, for {inputs}")
    return found


def test_every_named_answer_agrees_with_python_in_the_engine():
    for filled in quotes(300):
        assert disagreements(filled.inputs, filled.answers) == []
