"""Other solvers on the same weeks: every way to saw every bar listed, and one integer program over all of them.

`judged` runs a solver in a process of its own and gives the cost that it found and what it says none costs less than. The program is
written from the records (`exhaustion` lists the ways to saw); nothing of the planner is used. By hand, for so many weeks:
python tests/buying_judges.py COUNT [FIRST SEED]
"""

import dataclasses
import importlib.util
import math
import pickle
import random
import subprocess
import sys
from collections import Counter, defaultdict
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from exhaustion import exact, may_be_bought, may_be_taken, most_bought, ways_to_saw
from weeks import CUSTOMERS, STOCKS, TODAY, Week, limit_processor_time

from barfuncs.buying.records import CERTIFICATES, OWN, Demand, Offer, RackBar, Terms

FINE = 10**6
"""Whole units of money for a solver that knows only whole numbers."""
SOLVERS = ("milp", "cpsat")


@dataclasses.dataclass
class Program:
    """Whole numbers from 0, each with its most and its money; rows of (coefficients, least, most)."""

    most: list[int]
    money: list[Fraction]
    rows: list[tuple[dict[int, Fraction], Fraction | None, Fraction | None]]

    def variable(self, most: int, money: Fraction | int = 0) -> int:
        self.most.append(most)
        self.money.append(Fraction(money))
        return len(self.most) - 1

    def row(self, coefficients: dict[int, Fraction | int], least: Fraction | int | None = None, most: Fraction | int | None = None) -> None:
        self.rows.append(({v: Fraction(c) for v, c in coefficients.items()}, None if least is None else Fraction(least),
                          None if most is None else Fraction(most)))


def program_of(week: Week) -> Program:
    demands, offers, rack, terms = week.demands, week.offers, week.rack, week.terms
    longest_bar = max(exact(bar.length) for bar in [*offers, *rack])
    needed = sum(d.quantity for d in demands)
    cut, share = exact(terms.cut_cost), exact(terms.left_share)
    program = Program([], [], [])
    made: dict[tuple[int, object], dict[int, int]] = defaultdict(dict)

    def sawn(able: list[int], length: float, most: int, heat: object, each: Fraction, value: Fraction) -> list[int]:
        """A variable for each way to saw a bar."""
        found = []
        for way in ways_to_saw(length, demands, able, terms, longest_bar):
            column = program.variable(most, each + way.cuts * cut - way.back * value)
            found.append(column)
            for job in way.jobs:
                made[job, heat][column] = way.made[job]
        return found

    for n, bar in enumerate(rack):
        able = [job for job, d in enumerate(demands) if may_be_taken(d, bar)]
        value = exact(bar.value) if terms.rack_has_value and bar.owner == OWN else Fraction(0)
        columns = sawn(able, bar.length, min(bar.count, needed), bar.heat.casefold() or ("bar", n), value, value / exact(bar.length))
        program.row(dict.fromkeys(columns, 1), None, bar.count)
    ordered = program.variable(1, exact(terms.freight))
    scopes: dict[object, list[int]] = defaultdict(list)
    for n, offer in enumerate(offers):
        scopes["order" if terms.brackets_over == "order" else offer.stock].append(n)
    for numbers in scopes.values():
        starts = sorted({start for n in numbers for start, _ in offers[n].prices})
        holds = [program.variable(1) for _ in starts]
        program.row(dict.fromkeys(holds, 1), 1, 1)
        weights: dict[int, Fraction] = {}
        for n in numbers:
            offer = offers[n]
            most = most_bought(offer, needed, starts[-1])
            able = [job for job, d in enumerate(demands) if may_be_bought(d, offer, terms)]
            wanted = any(demands[job].certificate != CERTIFICATES[0] for job in able)
            line = program.variable(1, exact(offer.certificate_fee) if wanted else 0)
            program.row({line: 1, ordered: -1}, None, 0)
            # In millionths, as whole numbers: what the line costs.
            dearest = max(exact(price) for _, price in offer.prices)
            money = program.variable(math.ceil(max(most * dearest, exact(offer.line_minimum)) * FINE), Fraction(1, FINE))
            program.row({money: Fraction(1, FINE), line: -exact(offer.line_minimum)}, 0)
            paid: dict[int, Fraction | int] = {money: Fraction(1, FINE)}
            bought: dict[int, Fraction | int] = {}
            for hold, start in zip(holds, starts, strict=True):
                price = [exact(p) for first, p in offer.prices if first <= start][-1]
                usable = exact(offer.length) - 2 * exact(terms.trim)
                spare = share * price * usable / exact(offer.length) if usable >= exact(terms.least_left) else Fraction(0)
                bundles = program.variable(most // offer.bundle, -offer.bundle * spare)
                columns = sawn(able, offer.length, needed, ("offer", n), spare, share * price / exact(offer.length))
                program.row({**dict.fromkeys(columns, 1), bundles: -offer.bundle}, None, 0)
                program.row({bundles: offer.bundle, hold: -most}, None, 0)
                bought[bundles] = offer.bundle
                paid[bundles] = -price * offer.bundle
                weights[bundles] = exact(offer.weight) * offer.bundle
            program.row(paid, 0)
            program.row({**bought, line: -most}, None, 0)
            if offer.available is not None:
                program.row(bought, None, offer.available)
        program.row({**weights, **{hold: -exact(start) for hold, start in zip(holds, starts, strict=True)}}, 0)
        ends = [exact(start) - Fraction(1, 1000) for start in starts[1:]] + [Fraction(10**7)]
        program.row({**weights, **{hold: -end for hold, end in zip(holds, ends, strict=True)}}, None, 0)
    for job, demand in enumerate(demands):
        of_heat = {heat: columns for (j, heat), columns in made.items() if j == job}
        if demand.mixed_heats:
            program.row({c: n for columns in of_heat.values() for c, n in columns.items()}, demand.quantity)
            continue
        chosen = []
        for columns in of_heat.values():
            heat = program.variable(1)
            chosen.append(heat)
            program.row({**columns, heat: -demand.quantity}, 0)
            program.row({**dict.fromkeys(columns, 1), heat: -needed}, None, 0)
        program.row(dict.fromkeys(chosen, 1), 1, 1)
    return program


def _milp(program: Program, seconds: float) -> tuple[float, float]:
    import numpy as np
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    values, at, of = [], [], []
    for number, (coefficients, _, _) in enumerate(program.rows):
        for column, value in coefficients.items():
            values.append(float(value))
            at.append(number)
            of.append(column)
    matrix = csr_array((values, (at, of)), shape=(len(program.rows), len(program.most)))
    least = [-np.inf if low is None else float(low) for _, low, _ in program.rows]
    most = [np.inf if high is None else float(high) for _, _, high in program.rows]
    # Millionths of money need not be whole for a solver that knows fractions.
    whole = np.array([limit < 10**5 for limit in program.most], dtype=int)
    result = milp([float(m) for m in program.money], integrality=whole, bounds=Bounds(0, program.most), constraints=LinearConstraint(matrix, least, most),
                  options={"time_limit": seconds, "mip_rel_gap": 1e-9})
    if result.status == 2:
        return math.inf, math.inf
    return (math.inf if result.x is None else float(result.fun)), float(-math.inf if result.mip_dual_bound is None else result.mip_dual_bound)


def _cpsat(program: Program, seconds: float) -> tuple[float, float]:
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    columns = [model.new_int_var(0, most, f"x{n}") for n, most in enumerate(program.most)]
    for coefficients, least, most in program.rows:
        scale = math.lcm(*(c.denominator for c in coefficients.values()), *(side.denominator for side in (least, most) if side is not None))
        total = sum(int(c * scale) * columns[v] for v, c in coefficients.items())
        if least is not None:
            model.add(total >= int(least * scale))
        if most is not None:
            model.add(total <= int(most * scale))
    model.minimize(sum(round(m * FINE) * column for m, column in zip(program.money, columns, strict=True) if m))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    status = solver.solve(model)
    if status == cp_model.INFEASIBLE:
        return math.inf, math.inf
    assert status != cp_model.MODEL_INVALID, model.validate()
    found = status in (cp_model.OPTIMAL, cp_model.FEASIBLE)
    return (solver.objective_value / FINE if found else math.inf), solver.best_objective_bound / FINE


def judged(solver: str, week: Week, seconds: float = 10) -> tuple[float, float]:
    """Cost of the best plan that another solver finds, and its bound; infinity where it finds none, or knows that there is none."""
    done = subprocess.run([sys.executable, __file__, solver, str(seconds)], input=pickle.dumps(week), capture_output=True, timeout=seconds + 120,
                          check=False)
    assert done.returncode == 0, done.stderr.decode()
    return tuple(float(word) for word in done.stdout.split())  # type: ignore[return-value]


def middle_week(seed: int, seconds: float = 10) -> Week:
    """Some jobs of one or two kinds of bar with few ways to saw a bar, so that all can be listed, but hundreds of parts."""
    draw = random.Random(f"middle {seed}")
    base = draw.choice(STOCKS)
    stocks = [base, dataclasses.replace(base, size=base.size + 0.125)][:draw.choice([1, 2])]
    offers = []
    for stock in stocks:
        for length in draw.sample([60.0, 72.0, 84.0], draw.choice([1, 2, 2])):
            price = length * draw.uniform(0.3, 0.5)
            starts = draw.choice([(0,), (0, 50), (0, 50, 150)])
            offers.append(Offer(stock, length, tuple((float(s), round(price * f, 2)) for s, f in zip(starts, (1, 0.92, 0.8), strict=False)), 5.0,
                                "3.1", draw.choice([0.0, 15.0]), draw.choice([1, 1, 3]), draw.choice([0.0, 60.0])))
    demands = []
    for n in range(draw.randint(3, 5)):
        common = {"certificate": draw.choice(["none", "3.1"]), "customer": draw.choice(CUSTOMERS[:2]), "mixed_heats": draw.random() < 0.5,
                  "larger_up_to": draw.choice([None, base.size + 0.125])}
        stock = draw.choice(stocks)
        if draw.random() < 0.5:
            demands.append(Demand(f"J-{n}", stock, draw.randint(3, 60), piece_length=round(draw.uniform(11, 40), 2), **common))
            continue
        step, extra, shortest = round(draw.uniform(1.5, 6), 3), round(draw.uniform(2, 4), 3), draw.choice([14.0, 18.0])
        longest = max(shortest, extra + step) + round(step * draw.uniform(1.1, 2), 3)
        demands.append(Demand(f"J-{n}", stock, draw.randint(10, 200), bar_per_part=step, blank_extra=extra, shortest_blank=shortest,
                              longest_blank=longest, **common))
    rack = []
    for n in range(draw.choice([0, 3, 6])):
        heat = draw.choice(["", "H1", "H2"])
        owner = draw.choice([OWN, OWN, CUSTOMERS[0]])
        rack.append(RackBar(f"R-{n}", draw.choice(stocks), round(draw.uniform(14, 84), 2), heat, "3.1" if heat else "none", owner,
                            round(draw.uniform(0, 15), 2) if owner == OWN else 0.0, count=draw.choice([1, 1, 3])))
    return Week(demands, offers, rack, Terms("in", 0.1, draw.choice([0.0, 0.25]), draw.choice([0.0, 1.0]), draw.choice([0.0, 12.0]),
                                             draw.choice([0.0, 0.5]), True, draw.choice(["group", "order"]), draw.choice([0.0, 30.0]), TODAY, seconds))


def against(week: Week, plan_cost: float, bound: float, cost: float, other_bound: float) -> list[str]:
    """What two answers say against each other; nothing where they agree. A ten-thousandth for solvers that reckon in floats."""
    slack = 0.005 + 1e-6 * abs(plan_cost)
    found = []
    if cost < bound - slack:
        found.append(f"a plan of {cost:.4f} is below the bound of {bound:.4f}")
    if other_bound > plan_cost + slack:
        found.append(f"the plan of {plan_cost:.4f} is below another solver's bound of {other_bound:.4f}")
    return found


def main(count: int, first: int) -> None:
    from barfuncs.buying.plan import plan_here
    from barfuncs.buying.records import BuyingError

    words: dict[str, Counter[str]] = {solver: Counter() for solver in SOLVERS}
    there = [s for s in SOLVERS if s != "cpsat" or importlib.util.find_spec("ortools")]
    if len(there) < len(SOLVERS):
        print("ortools is not installed: judged without CP-SAT")
    proved = 0
    for seed in range(first, first + count):
        week = middle_week(seed)
        try:
            plan = plan_here(week.demands, week.offers, week.rack, week.terms)
            ours, bound = plan.cost, plan.bound
        except BuyingError as error:
            print(f"seed {seed}: refused: {error}")
            ours = bound = math.inf
        proved += ours - bound < 0.005
        for solver in there:
            cost, other = judged(solver, week, 30)
            for complaint in against(week, ours, bound, cost, other):
                print(f"seed {seed}: {solver}: {complaint}", flush=True)
            word = "same" if abs(cost - ours) < 0.01 else "ours cheaper" if ours < cost else "OURS DEARER"
            if cost == math.inf:
                word = "none found" if ours < math.inf else "none either"
            words[solver][word + (", both proved" if ours - bound < 0.005 and cost - other < 0.01 else "")] += 1
            if word == "OURS DEARER":
                print(f"seed {seed}: {solver}: ours {ours:.2f} with bound {bound:.2f}, theirs {cost:.2f}", flush=True)
    print(f"{count} weeks from seed {first}, {proved} proved by us")
    for solver in there:
        for word, number in words[solver].most_common():
            print(f"  {solver:<8}{word:<28}{number:>6}")


if __name__ == "__main__":
    if sys.argv[1] in SOLVERS:
        run: Callable[[Program, float], tuple[float, float]] = {"milp": _milp, "cpsat": _cpsat}[sys.argv[1]]
        print(*run(program_of(pickle.loads(sys.stdin.buffer.read())), float(sys.argv[2])))
    else:
        limit_processor_time()
        main(int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 0)
