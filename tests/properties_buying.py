"""Small weeks, each rule and sum of their plans, and laws between them: python tests/properties_buying.py [COUNT] [FIRST SEED] [SECONDS A PLAN]

More on the rack never costs more, and more kerf never less. Plans that are not proved may; then no bound may be above the other's cost.
"""

import dataclasses
import random
import sys
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from plan_rules import broken
from weeks import Week, limit_processor_time, small_week

from barfuncs.buying.plan import plan_here
from barfuncs.buying.records import BuyingError, BuyingPlan

CENT = 0.005


def less_rack(week: Week, draw: random.Random) -> Week:
    """Without some of its bars: one at least."""
    gone = draw.randrange(len(week.rack))
    return dataclasses.replace(week, rack=[bar for n, bar in enumerate(week.rack) if n != gone and draw.random() < 0.7])


def more_kerf(week: Week, draw: random.Random) -> Week:
    scale, digits = (1, 3) if week.terms.units == "in" else (25.4, 2)
    return week.with_terms(kerf=round(week.terms.kerf + draw.uniform(0.02, 0.2) * scale, digits))


def planned(week: Week) -> BuyingPlan | str:
    """The plan, or why there is none."""
    try:
        return plan_here(week.demands, week.offers, week.rack, week.terms)
    except BuyingError as error:
        return "out of time" if "no plan found in" in str(error) else "none"


def compared(cheap: BuyingPlan | str, dear: BuyingPlan | str, allowed: float = 0) -> str:
    """What the plan of a week says against that of a week which can't cost less, but for so much."""
    if "out of time" in (cheap, dear):
        return "no plan in time"
    if isinstance(dear, str):
        return "only the easier one has a plan" if isinstance(cheap, BuyingPlan) else "neither has a plan"
    if isinstance(cheap, str):
        return "ONLY THE HARDER ONE HAS A PLAN"
    slack = CENT + 1e-9 * abs(dear.cost) + allowed
    if cheap.bound > dear.cost + slack:
        return "A FALSE BOUND"
    proved = cheap.proof == dear.proof == "proved best"
    if cheap.cost > dear.cost + slack:
        return "PROVED, AND YET IT COSTS MORE" if proved else "not proved, costs more"
    return "as it should, both proved" if proved else "as it should"


def laws(seed: int, seconds: float) -> list[tuple[str, str, str]]:
    """Kind, word, and what is wrong of one week and a variation of it."""
    week = small_week(seed, seconds=seconds)
    draw = random.Random(seed)
    plan = planned(week)
    faults = broken(week, plan) if isinstance(plan, BuyingPlan) else []
    word = f"refused, {plan}" if isinstance(plan, str) else "BROKEN" if faults else "keeps every rule" + (", proved" if plan.proof == "proved best" else "")
    found = [("plan", word, "; ".join(faults))]
    if week.rack and seed % 2:
        harder = less_rack(week, draw)
        other = planned(harder)
        word = compared(plan, other)
        found.append(("more rack", word, ""))
    else:
        harder = more_kerf(week, draw)
        other = planned(harder)
        # A bar that was just filled up leaves a sliver now, and that takes a cut more.
        bars = sum(row.bars for row in other.sawing) if isinstance(other, BuyingPlan) else 0
        word = compared(plan, other, bars * week.terms.cut_cost)
        found.append(("less kerf", word, ""))
    if isinstance(other, BuyingPlan) and (faults := broken(harder, other)):
        found.append(("plan", "BROKEN", "; ".join(faults)))
    return found


def main(count: int, first: int, seconds: float) -> None:
    started = time.process_time()
    words = Counter[tuple[str, str]]()
    for done, seed in enumerate(range(first, first + count), 1):
        try:
            found = laws(seed, seconds)
        except AssertionError as error:
            found = [("plan", "ITS OWN CHECK FAILS", str(error))]
        for kind, word, fault in found:
            words[kind, word] += 1
            if word.upper() == word:
                print(f"seed {seed}: {kind}: {word} {fault[:300]}", flush=True)
        if done % 500 == 0 or done == count:
            print(f"{done} weeks from seed {first}, {seconds} s a plan, {time.process_time() - started:.0f} s of processor time:")
            for (kind, word), number in sorted(words.items()):
                print(f"  {kind:<12}{word:<36}{number:>7}", flush=True)


if __name__ == "__main__":
    limit_processor_time()
    numbers = [float(word) for word in sys.argv[1:]]
    main(int(numbers[0]) if numbers else 10_000, int(numbers[1]) if len(numbers) > 1 else 0, numbers[2] if len(numbers) > 2 else 0.1)
