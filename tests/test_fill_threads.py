"""Filling from several threads: every thread gets its own job's numbers and file."""

import random
import sys
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest
from job_generator import good_job, good_quote

import barfuncs as bf
from barfuncs.filling import filler as fill_module
from barfuncs.filling.filler import MOST_FILLERS, Filled, fill, filler
from barfuncs.tables import speeds_feeds
from barfuncs.templates import shop, template

THREADS = 8


def filled(template: str, values: dict) -> Filled | str:
    """What comes of a job: the workbook, or what is said against it."""
    try:
        return fill(template, values)
    except bf.InputError as error:
        return str(error)


@pytest.fixture
def hasty_switches():
    before = sys.getswitchinterval()
    sys.setswitchinterval(1e-5)
    yield
    sys.setswitchinterval(before)


@pytest.mark.slow
def test_threads_get_their_own_job(hasty_switches):
    rng = random.Random(8)
    jobs = [("quote", good_quote(rng)) if n % 4 == 0 else ("job_plan", good_job(rng)) for n in range(2_000)]
    with ThreadPoolExecutor(THREADS) as pool:
        together = list(pool.map(lambda job: filled(*job), jobs))
    alone = [filled(*job) for job in jobs]
    assert sum(isinstance(result, Filled) for result in alone) > 1_500
    assert [n for n, (a, b) in enumerate(zip(together, alone, strict=True)) if a != b] == []


def test_threads_that_start_together_share_one_filler(monkeypatch):
    fill_module._filler.cache_clear()
    made, gate = [], threading.Barrier(THREADS)

    class Counted(fill_module.Filler):
        def __init__(self, *arguments):
            made.append(arguments)
            super().__init__(*arguments)

    def start(_: int) -> fill_module.Filler:
        gate.wait()
        return filler("job_plan")

    monkeypatch.setattr(fill_module, "Filler", Counted)
    with ThreadPoolExecutor(THREADS) as pool:
        found = set(pool.map(start, range(THREADS)))
    fill_module._filler.cache_clear()
    assert (len(found), len(made)) == (1, 1)


def test_few_shops_are_kept(monkeypatch):
    made = []
    monkeypatch.setattr(fill_module, "Filler", lambda *arguments: made.append(arguments))
    fill_module._filler.cache_clear()
    shops = [shop.Shop("in", shop.Rates(tooling=float(n)), (), (), speeds_feeds.builtin()) for n in range(MOST_FILLERS + 2)]
    for one in (*shops, shops[-MOST_FILLERS], shops[0]):  # of the last two the first is kept and the second made anew
        filler("job_plan", one)
    kept = fill_module._filler.cache_info().currsize
    fill_module._filler.cache_clear()
    assert (kept, made) == (MOST_FILLERS, [("job_plan", one) for one in (*shops, shops[0])])
    assert template._built.cache_parameters()["maxsize"] <= 2 * MOST_FILLERS
