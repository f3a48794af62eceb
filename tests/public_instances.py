"""Public one-dimensional packing instances (OR-Library, Falkenauer's uniform class), read from beside the project where they are there."""

import os
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from weeks import Week

from barfuncs.buying.records import BarStock, Demand, Offer, Terms

FOLDER = Path(os.environ.get("BARFUNCS_INSTANCES") or Path(__file__).parents[2] / "shared" / "instances")
STOCK = BarStock("Steel 12L14", "round", 1.0)


@dataclass(frozen=True)
class Instance:
    name: str
    bar: int
    pieces: Counter[int]
    best_known: int

    def week(self, seconds: float) -> Week:
        """Every bar costs 1, so the cost of a plan is its number of bars."""
        demands = [Demand(str(length), STOCK, count, piece_length=length, mixed_heats=True) for length, count in self.pieces.items()]
        return Week(demands, [Offer(STOCK, self.bar, ((0, 1.0),))], [], Terms(left_share=0, seconds=seconds))


def instances() -> list[Instance]:
    """All instances of the folder, by name: a number of instances, then of each a name, bar, pieces, best known bars, and a length a line."""
    found = []
    for path in sorted(FOLDER.glob("binpack*.txt")):
        words = path.read_text().split()
        count, at = int(words[0]), 1
        for _ in range(count):
            name, (bar, pieces, best) = words[at], map(int, words[at + 1:at + 4])
            found.append(Instance(name, bar, Counter(map(int, words[at + 4:at + 4 + pieces])), best))
            at += 4 + pieces
    return found
