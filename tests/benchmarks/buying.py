"""Buying, in processor time, on problems of every size: python tests/benchmarks/buying.py [PART ...]

Parts: public, bars, rack, week, hand, growth; all of them where none is named. Nothing here passes or fails; the figures are for reading.
"""

import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))
from careful_buyer import by_hand
from public_instances import instances
from weeks import Week, bar_problem, limit_processor_time, rack_problem, shop_week

from barfuncs.buying.plan import plan_here
from barfuncs.buying.records import BuyingPlan


def timed(week: Week) -> tuple[BuyingPlan, float]:
    started = time.process_time()
    plan = plan_here(week.demands, week.offers, week.rack, week.terms)
    return plan, time.process_time() - started


def line(name: str, *figures: str) -> None:
    print(f"  {name:<46}" + "".join(f"{figure:>12}" for figure in figures), flush=True)


def results(name: str, weeks: list[Week]) -> None:
    """Each week's gap and time in a line for all of them."""
    found = [timed(week) for week in weeks]
    gaps, times = [plan.gap for plan, _ in found], [took for _, took in found]
    proved = sum(plan.proof == "proved best" for plan, _ in found)
    line(name, f"{min(gaps):.3%}", f"{statistics.median(gaps):.3%}", f"{max(gaps):.3%}", f"{statistics.median(times):.2f} s", f"{max(times):.2f} s",
         f"{proved} of {len(found)}")


def heads(title: str) -> None:
    print(title)
    line("", "gap, least", "median", "most", "time", "longest", "proved")


def public() -> None:
    print("Public instances, one length, limit 20 s")
    found = instances()
    if not found:
        print("  not there: they lie beside the project")
        return
    line("", "bars", "best known", "proved", "time", "longest")
    for group in sorted({instance.name.partition("_")[0] for instance in found}):
        mine = [instance for instance in found if instance.name.partition("_")[0] == group]
        done = [timed(instance.week(20)) for instance in mine]
        times = [took for _, took in done]
        line(f"{group}, {len(mine)} instances, {mine[0].pieces.total()} pieces", f"{sum(plan.cost for plan, _ in done):.0f}",
             f"{sum(instance.best_known for instance in mine)}", f"{sum(plan.proof == 'proved best' for plan, _ in done)}",
             f"{statistics.median(times):.2f} s", f"{max(times):.2f} s")


def bars(seeds: range = range(5)) -> None:
    heads("Three lengths, 20 part numbers, quantities to 5,000, limit 2 s")
    results("fixed pieces", [bar_problem(seed, pieces=True) for seed in seeds])
    results("blanks of parts", [bar_problem(seed) for seed in seeds])


def rack(seeds: range = range(5)) -> None:
    heads("Six lengths, 20 part numbers, 200 bars of the rack, limit 10 s")
    results("fixed pieces", [rack_problem(seed, pieces=True) for seed in seeds])
    results("blanks of parts", [rack_problem(seed) for seed in seeds])


def week(seeds: range = range(5)) -> None:
    heads("A shop's week: 30 jobs, 12 sizes, 60 bars of the rack, brackets, certificates, limit 10 s")
    results("one heat a job", [shop_week(seed) for seed in seeds])
    results("mixed heats", [shop_week(seed, mixed_heats=True) for seed in seeds])
    results("one heat a job, no brackets", [shop_week(seed, brackets=False) for seed in seeds])
    results("one heat a job, 30 s", [shop_week(seed, seconds=30) for seed in seeds])


def hand(seeds: range = range(5)) -> None:
    print("A shop's week against a careful buyer by hand (tests/careful_buyer.py says how he goes about it); 10 s a plan")
    line("", "by hand", "planned", "hand/planned", "bound", "hand/bound")
    for name, change in (("", lambda w: w), (", empty rack", Week.without_rack)):
        ratios = []
        for mixed in (False, True):
            for seed in seeds:
                one = change(shop_week(seed, mixed_heats=mixed))
                own, (plan, _) = by_hand(one), timed(one)
                ratios.append(own.cost / plan.cost)
                line(f"week {seed}, {'mixed heats' if mixed else 'one heat a job'}{name}", f"{own.cost:,.0f}", f"{plan.cost:,.0f}",
                     f"{own.cost / plan.cost:.3f}", f"{plan.bound:,.0f}", f"{own.cost / plan.bound:.3f}")
        line(f"mean{name}", "", "", f"{statistics.mean(ratios):.3f}")


def growth(seconds: float = 10, seeds: range = range(2)) -> None:
    print(f"How time and gap grow: blanks of parts, limit {seconds:g} s, mean of {len(seeds)} problems each")
    line("", "time", "gap", "proved")

    def row(name: str, problem: Callable[[int], Week]) -> None:
        done = [timed(problem(seed).with_terms(seconds=seconds)) for seed in seeds]
        line(name, f"{statistics.mean(took for _, took in done):.2f} s", f"{statistics.mean(plan.gap for plan, _ in done):.3%}",
             f"{sum(plan.proof == 'proved best' for plan, _ in done)} of {len(done)}")

    for parts in (1, 5, 10, 20, 40, 80):
        row(f"{parts} part numbers, 3 lengths", lambda seed, parts=parts: bar_problem(seed, parts))
    for there in (0, 25, 50, 100, 200, 400):
        row(f"{there} bars on the rack, 20 parts, 6 lengths", lambda seed, there=there: rack_problem(seed, 20, there))
    for most in (50, 500, 5_000, 50_000, 500_000):
        row(f"quantities to {most:,}, 20 parts, 3 lengths", lambda seed, most=most: bar_problem(seed, 20, most))
    for jobs, sizes, there in ((5, 3, 10), (15, 6, 30), (30, 12, 60), (60, 12, 120)):
        row(f"week of {jobs} jobs, {sizes} sizes, {there} rack bars", lambda seed, of=(jobs, sizes, there): shop_week(seed, *of))


PARTS: dict[str, Callable[[], None]] = {"public": public, "bars": bars, "rack": rack, "week": week, "hand": hand, "growth": growth}


if __name__ == "__main__":
    limit_processor_time()
    for name in sys.argv[1:] or PARTS:
        PARTS[name]()
