"""Tiny weeks planned, and each compared with the cheapest of all plans: python tests/attack_buying.py [COUNT] [FIRST SEED]

Prints how many plans cost the same, how many are proved, and each whose cost or bound is wrong.
"""

import math
import random
import sys
import time
from collections import Counter
from datetime import timedelta
from fractions import Fraction
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from exhaustion import least_cost
from weeks import CUSTOMERS, TODAY, Week, limit_processor_time

from barfuncs.buying.plan import plan_here as plan_buying
from barfuncs.buying.records import OWN, BarStock, BuyingError, BuyingPlan, Demand, Offer, RackBar, Terms

CENT = 0.005


def tiny_week(seed: int, seconds: float = 1) -> Week:
    """One to three jobs of a few parts, one to three offers, up to three kinds of rack bars; everything that records can say comes up."""
    draw = random.Random(f"tiny {seed}")
    units = draw.choice(["in", "mm"])
    one = 1.0 if units == "in" else 20.0
    stock = BarStock("Brass C36000", "round", 0.75)
    stocks = [stock, BarStock("Brass C36000", "round", 0.875)][:draw.choice([1, 1, 2])]
    offers = []
    for length in draw.sample([30, 36, 40, 44, 48], draw.choice([1, 1, 2, 2, 3])):
        price = draw.choice([10, 12, 15.5, 20.25])
        starts = draw.choice([(0,), (0,), (0, 20), (0, 30), (0, 20, 40)])
        prices = tuple((float(start), round(price * share, 2)) for start, share in zip(starts, (1, draw.choice([0.9, 0.6]), 0.5), strict=False))
        offers.append(Offer(draw.choice(stocks), length * one, prices, draw.choice([7.5, 10.0]), draw.choice(["none", "2.1", "3.1", "3.1"]),
                            draw.choice([0.0, 0.0, 6.5]), draw.choice([1, 1, 1, 1, 2, 3]), draw.choice([0.0, 0.0, 25.0]),
                            draw.choice([None, None, None, 2, 4]), draw.choice([0, 0, 5]), supplier=str(len(offers))))
    demands = []
    for n in range(draw.choice([1, 2, 2, 3])):
        own = draw.choice([offer.stock for offer in offers])
        certificates = [offer.certificate for offer in offers if offer.stock == own]
        common = {"certificate": draw.choice(["none", "none", *certificates]), "customer": draw.choice(["", *CUSTOMERS[:2]]),
                  "mixed_heats": draw.random() < 0.4, "larger_up_to": draw.choice([None, 0.875, 1.0]),
                  "need_by": draw.choice([None, None, TODAY + timedelta(days=5), TODAY + timedelta(days=3)])}
        if draw.random() < 0.35:
            demands.append(Demand(f"J-{n}", own, draw.choice([1, 2, 3]), piece_length=draw.choice([8.25, 9, 10, 12.5, 15, 20, 24]) * one, **common))
            continue
        step, extra = draw.choice([5, 6, 6.25, 8, 11]) * one, draw.choice([0, 2, 4.5]) * one
        shortest = draw.choice([0, 0, 12, 15, 16.5]) * one
        feed = draw.choice([1, 1, 1, 2])
        least = max(shortest, feed * step + extra)
        longest = draw.choice([None, least, least + step, least + 4 * one, least + 2.5 * step])
        demands.append(Demand(f"J-{n}", own, draw.choice([1, 2, 3, 4, 5]), bar_per_part=step, blank_extra=extra, shortest_blank=shortest,
                              longest_blank=longest, parts_per_feed=feed, **common))
    rack = []
    for n in range(draw.choice([0, 0, 1, 2, 3])):
        heat = draw.choice(["", "H1", "h1", "H2"])
        owner = draw.choice([OWN, OWN, OWN, CUSTOMERS[0], CUSTOMERS[0].upper()])
        rack.append(RackBar(f"R-{n}", draw.choice(stocks), draw.choice([9, 13, 16.5, 20, 25, 33, 40]) * one, heat,
                            draw.choice(["2.1", "3.1"]) if heat else draw.choice(["none", "2.1"]), owner,
                            draw.choice([0.0, 1.5, 4.0, 9.0]) if owner == OWN else 0.0, count=draw.choice([1, 1, 2])))
    return Week(demands, offers, rack, Terms(
        units, draw.choice([0, 0, 0.5, 0.125]) * one, draw.choice([0, 0, 0.5]) * one, draw.choice([0.0, 0.0, 0.75, 2.0]),
        draw.choice([0, 4, 10]) * one, draw.choice([0.0, 0.5, 1.0]), draw.random() < 0.7, draw.choice(["group", "group", "order"]),
        draw.choice([0.0, 0.0, 0.0, 7.0]), TODAY, seconds))


def verdict(week: Week) -> tuple[str, str]:
    """One word for how the plan compares with the cheapest of all, and the figures."""
    least = least_cost(week)
    try:
        plan = plan_buying(week.demands, week.offers, week.rack, week.terms)
    except BuyingError as error:
        return ("refused", "") if least is None else ("WRONGLY REFUSED", f"{error}; a plan costs {float(least):.4f}")
    except AssertionError as error:
        return "BROKEN", str(error)
    return compared(plan, least)


def compared(plan: BuyingPlan, least: Fraction | None) -> tuple[str, str]:
    proved = plan.proof == "proved best"
    figures = f"cost {plan.cost:.4f}, bound {plan.bound:.4f}, cheapest {math.nan if least is None else float(least):.4f}"
    if least is None or plan.cost < least - CENT:
        return "TOO CHEAP", figures
    if plan.bound > least + CENT:
        return "FALSE BOUND", figures
    if plan.cost > least + CENT:
        return ("FALSELY PROVED", figures) if proved else ("dearer", figures)
    return "same, proved" if proved else "same, not proved", figures


WRONG = ("WRONGLY REFUSED", "BROKEN", "TOO CHEAP", "FALSE BOUND", "FALSELY PROVED")


def main(count: int, first: int) -> None:
    words, times = Counter[str](), [0.0, 0.0]
    for seed in range(first, first + count):
        week = tiny_week(seed)
        before = time.process_time()
        word, figures = verdict(week)
        times[0] += time.process_time() - before
        words[word] += 1
        if word in WRONG or word == "dearer":
            print(f"seed {seed}: {word}: {figures}", flush=True)
    print(f"{count} tiny weeks from seed {first}, {times[0]:.0f} s of processor time:")
    for word, number in words.most_common():
        print(f"  {word:<20}{number:>6}")


if __name__ == "__main__":
    limit_processor_time()
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000, int(sys.argv[2]) if len(sys.argv) > 2 else 0)
