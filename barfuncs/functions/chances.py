"""Chances: what scrap takes and what bars of random length give, worked out exactly and not by an approximation."""

import functools
import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

CLOSE = 1e-12
"""A chance that is short of the confidence by less is taken as reached: it is how exact the chances here are."""

_NEGLIGIBLE = 34.0
"""Of two parts of a sum the smaller is left out where it is smaller by exp(-34), which is 1.7e-15."""

_WIDE = 200
_FEW = {1: 5000, 2: 2000, 3: 400, 4: 400, 5: 100, 6: 100, 7: 10}
"""Where the longest bar gives more than `_WIDE` parts more than the shortest, so few bars are better reckoned one by one, as
long as the variance of the scrap is below that."""


def z_of(chance: float) -> float:
    """How many standard deviations above the mean a normal figure stays below with this chance."""
    from statistics import NormalDist  # here, since it takes longer to import than most calls take to run

    return NormalDist().inv_cdf(chance)


# --- scrap ---------------------------------------------------------------------------------------------------------


def parts_for_confidence(quantity: int, scrap_rate: float, confidence: float) -> int:
    """Fewest parts of which at least `quantity` are good with at least this chance.

    Each part is scrapped with the chance `scrap_rate`, whatever becomes of the others.

    >>> parts_for_confidence(1000, 0.03, 0.95)
    1040
    """
    if quantity == 0 or scrap_rate == 0:
        return quantity
    scrapped = _likely_scrap(quantity, scrap_rate, confidence)
    short, last = chance_of_more_scrap(quantity, scrapped, scrap_rate)
    allowed = 1 - confidence + CLOSE
    # `last` is the chance that the order is filled by the last part and not before.
    while short > allowed:
        scrapped += 1
        last *= (quantity + scrapped - 1) / scrapped * scrap_rate
        short -= last
    while scrapped and short + last <= allowed:
        short += last
        last *= scrapped / (quantity + scrapped - 1) / scrap_rate
        scrapped -= 1
    return quantity + scrapped


def _likely_scrap(quantity: int, scrap_rate: float, confidence: float) -> int:
    """About how many are scrapped at most with this chance: the normal distribution, made skew."""
    z, spread = z_of(confidence), math.sqrt(quantity * scrap_rate)
    return max(0, round((spread * spread + z * spread + (1 + scrap_rate) * (z * z - 1) / 6) / (1 - scrap_rate) - 0.5))


def chance_of_more_scrap(quantity: int, scrapped: int, scrap_rate: float) -> tuple[float, float]:
    """Chance that of quantity + scrapped parts more are scrapped than that, and that the last one fills the order."""
    parts, odds = quantity + scrapped, scrap_rate / (1 - scrap_rate)
    exactly = _chance_of_exactly(scrapped, parts, scrap_rate)
    term, more = exactly, 0.0
    for count in range(scrapped, parts):
        term *= (parts - count) / (count + 1) * odds
        more += term
        if term < more * 1e-18:
            break
    return more, exactly * quantity / parts


def _chance_of_exactly(scrapped: int, parts: int, scrap_rate: float) -> float:
    """Binomial chance. Written as a deviation from the likeliest count, since the powers of large counts lose digits."""
    good = parts - scrapped
    if scrapped == 0:
        return math.exp(parts * math.log1p(-scrap_rate))
    exponent = (_stirling_error(parts) - _stirling_error(scrapped) - _stirling_error(good)
                - _deviance(scrapped, parts * scrap_rate) - _deviance(good, parts * (1 - scrap_rate)))
    return math.exp(exponent) * math.sqrt(parts / (2 * math.pi * scrapped * good))


def _stirling_error(n: int) -> float:
    """log(n!) less Stirling's formula for it."""
    if n < 20:
        return math.log(math.factorial(n)) - (n + 0.5) * math.log(n) + n - 0.5 * math.log(2 * math.pi)
    s = 1 / (n * n)
    return (1 / 12 - s * (1 / 360 - s * (1 / 1260 - s * (1 / 1680 - s * (1 / 1188 - s * 691 / 360360))))) / n


def _deviance(count: int, mean: float) -> float:
    """count * log(count / mean) + mean - count, without loss of digits where the two are close."""
    away = (count - mean) / mean
    if abs(away) > 0.1:
        return mean * ((1 + away) * math.log1p(away) - away)
    total, power = 0.0, away * away
    for n in range(2, 30):  # sum of (-away)^n / (n (n - 1))
        total += power / (n * (n - 1))
        power *= -away
        if abs(power) < 1e-18 * total:
            break
    return mean * total


# --- samples -------------------------------------------------------------------------------------------------------


def binomial_up_to(most: int, parts: int, share: float) -> float:
    """Chance that of so many parts at most `most` are bad, where each is with the chance `share`, which is neither 0 nor 1.

    >>> round(binomial_up_to(2, 80, 0.01), 9)
    0.953446814
    """
    if most >= parts:
        return 1.0
    if most + 1 <= parts * share:  # the smaller tail is added up, from its largest term on
        return _added(_binomial(most, parts, share), lambda k: k / (parts - k + 1) * (1 - share) / share, most, -1)
    upper = _added(_binomial(most + 1, parts, share), lambda k: (parts - k) / (k + 1) * share / (1 - share), most + 1, 1)
    return max(0.0, 1 - upper)


def _binomial(count: int, parts: int, share: float) -> float:
    """Binomial chance of exactly so many, also of none and of all."""
    return _all_of(parts, share) if count == parts else _chance_of_exactly(count, parts, share)


def _all_of(parts: int, share: float) -> float:
    return math.exp(parts * math.log(share)) if share else float(parts == 0)


def hypergeometric_up_to(most: int, sample: int, bad: int, lot: int) -> float:
    """Chance that a sample holds at most `most` of the lot's bad parts.

    >>> round(hypergeometric_up_to(0, 2, 1, 4), 14)
    0.5
    """
    low, high = max(0, sample + bad - lot), min(sample, bad)
    if most >= high:
        return 1.0
    if most < low:
        return 0.0

    def exactly(k: int) -> float:
        share = sample / lot  # any would do, since it is cancelled out
        return _binomial(k, bad, share) * _binomial(sample - k, lot - bad, share) / _binomial(sample, lot, share)

    if most + 1 <= sample * bad / lot:
        return _added(exactly(most), lambda k: k * (lot - bad - sample + k) / ((bad - k + 1) * (sample - k + 1)), most, -1)
    upper = _added(exactly(most + 1), lambda k: (bad - k) * (sample - k) / ((k + 1) * (lot - bad - sample + k + 1)), most + 1, 1)
    return max(0.0, 1 - upper)


def _added(term: float, ratio: Callable[[int], float], at: int, step: int) -> float:
    """The sum of terms that get smaller from the first on; `ratio` tells the next from the count of the one before."""
    total = term
    while term > total * 1e-18:
        term *= ratio(at)
        total += term
        at += step
    return total


# --- bars of random length -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class PartsOfABar:
    """Parts from one bar of random length: `low` to `high`, each count between these two with the same chance.

    All lengths of a lot are equally likely, so only the counts at the two ends have a chance of their own.
    """

    low: int
    high: int
    at_low: Fraction
    at_high: Fraction

    @property
    def inner(self) -> int:
        """How many counts lie between the two ends."""
        return max(0, self.high - self.low - 1)

    @functools.cached_property
    def between(self) -> Fraction:
        """Chance of all counts between the two ends together."""
        return 1 - self.at_low - self.at_high

    @functools.cached_property
    def mean(self) -> Fraction:
        width = self.high - self.low
        return self.low + self.between * (self.inner + 1) / 2 + self.at_high * width

    @functools.cached_property
    def variance(self) -> Fraction:
        width, n = self.high - self.low, self.inner
        squares = self.between * (n + 1) * (2 * n + 1) / 6 + self.at_high * width**2
        return squares - (self.mean - self.low) ** 2


def parts_of_a_bar(low: int, high: int, shortest: float, longest: float, bar_per_part: float,
                   lost: Fraction) -> PartsOfABar:
    """Chances of the parts from one bar, which gives `low` parts at its shortest and `high` at its longest.

    They are exact fractions: the chance of many bars rests on sums in which a rounding would grow with the bars.
    """
    first, last, feed = Fraction(shortest), Fraction(longest), Fraction(bar_per_part)
    if last <= lost + high * feed:  # only a bar of exactly the longest length would give the last part
        high = max(low, high - 1)
    if low == high:
        return PartsOfABar(low, low, Fraction(1), Fraction(0))
    span = last - first
    at_low = min(max((lost + (low + 1) * feed - first) / span, Fraction(0)), Fraction(1))
    return PartsOfABar(low, high, at_low, 1 - at_low - (high - low - 1) * feed / span)


def bars_for(parts: PartsOfABar, quantity: int, scrap_rate: float, setup_parts: int, confidence: float) -> int:
    """Fewest bars that give `setup_parts` and `quantity` good parts with at least this chance."""
    if quantity + setup_parts == 0:
        return 0
    if parts.low == parts.high:
        return -(-(parts_for_confidence(quantity, scrap_rate, confidence) + setup_parts) // parts.low)
    supply = Supply(parts, quantity, scrap_rate, setup_parts)
    z, enough = z_of(confidence), None
    fails = -(-(quantity + setup_parts) // parts.high) - 1  # with so few there is no chance at all
    bars = max(fails + 1, supply.likely_bars(z))
    for tries in itertools.count():
        chance = supply.chance(bars)
        if chance >= confidence - CLOSE:
            enough = bars
        else:
            fails = bars
        if enough is not None and enough - fails == 1:
            return enough
        lacking = (z - z_of(min(max(chance, 1e-9), 1 - 1e-9))) * supply.spread(bars) / supply.mean
        likely = bars + math.ceil(lacking)
        if enough is None:
            bars = max(likely, fails + 2**tries)
        else:
            bars = min(max(likely, fails + 1), enough - 1) if tries < 4 else (fails + enough) // 2
    raise AssertionError("unreachable")


class Supply:
    """The chance that a number of bars gives an order.

    Parts from the bars less parts needed is a whole number. Its chance not to be negative is a sum over the
    characteristic function, exact where the figure lies within +-`half` for certain. The parts needed are the good ones
    and those scrapped until then (negative binomial), whatever the bars are, so both have a closed description. All is
    taken about the means, which are exact fractions, so that no digit is lost however many bars there are.
    """

    def __init__(self, parts: PartsOfABar, quantity: int, scrap_rate: float, setup_parts: int) -> None:
        self.parts, self.quantity, self.scrap_rate = parts, quantity, scrap_rate
        rate = Fraction(scrap_rate)
        self.setup_parts, self.needed = setup_parts, quantity / (1 - rate) + setup_parts
        self.odds = scrap_rate / (1 - scrap_rate)
        self.no_scrap_log = quantity * math.log1p(-scrap_rate)
        self.exact_mean = parts.mean
        self.mean, self.variance = float(parts.mean), float(parts.variance)
        self.scrap_variance = float(quantity * rate / (1 - rate) ** 2)
        # Of one bar: chances, and where the counts lie about the mean.
        self.ends = ((float(parts.at_low), float(parts.low - parts.mean)), (float(parts.at_high), float(parts.high - parts.mean)))
        self.between = float(parts.between)
        self.center = float(parts.low + Fraction(parts.inner + 1, 2) - parts.mean)
        each = parts.between / parts.inner if parts.inner else Fraction(0)
        neighbors = ((parts.at_low + parts.at_high) * each + max(parts.inner - 1, 0) * each**2 if parts.inner
                     else parts.at_low * parts.at_high)
        self.neighbors = float(4 * neighbors)
        self.often_useless = parts.low == 0 and parts.at_low > 2 * each  # the other counts are no likelier than one length step
        self.others: Supply | None = None
        self.half = 0
        self.rows: list[tuple[float, ...]] = []

    def spread(self, bars: int) -> float:
        return math.sqrt(bars * self.variance + self.scrap_variance)

    def surplus(self, bars: int) -> float:
        """Parts from the bars less parts needed, on average."""
        return float(bars * self.exact_mean - self.needed)

    def likely_bars(self, z: float) -> int:
        needed = float(self.needed)
        bars = needed / self.mean
        for _ in range(4):
            bars = max(0.0, (needed - 0.5 + z * math.sqrt(bars * self.variance + self.scrap_variance)) / self.mean)
        return math.ceil(bars)

    def chance(self, bars: int) -> float:
        """Chance that so many bars, 1 or more, are enough."""
        if self.parts.high - self.parts.low > _WIDE:
            if self.scrap_variance < _FEW.get(bars, 0) and self.no_scrap_log > -600:
                return self._chance_of_a_few(bars)
            if self.often_useless and bars * math.log(self.ends[0][0]) > -_NEGLIGIBLE:
                return self._chance_without_the_useless(bars)
        return self._chance_by_the_sum(bars)

    def _chance_of_a_few(self, bars: int) -> float:
        """Count by count of those scrapped: for the few bars with whose lengths the sum would be long."""
        good, setup, total, scrapped = self.quantity, self.setup_parts, 0.0, 0
        chance = math.exp(self.no_scrap_log)
        while scrapped * (1 - self.scrap_rate) < good * self.scrap_rate + 1 or chance > 1e-18:
            total += chance * self._chance_of_parts(bars, good + setup + scrapped)
            scrapped += 1
            chance *= (good + scrapped - 1) / scrapped * self.scrap_rate
        return total

    def _chance_of_parts(self, bars: int, needed: int) -> float:
        """Chance that the bars give so many parts: over the bars at either end, and the lengths of the rest."""
        low, width, n = self.parts.low, self.parts.high - self.parts.low, self.parts.inner
        (at_low, _), (at_high, _) = self.ends
        total = 0.0
        for high in range(bars + 1):
            for inner in range(bars - high + 1):
                short = needed - bars * low - high * width - inner - 1  # of what the inner ones may give and not be enough
                ways = n**inner
                if short >= 0:
                    ways -= sum((-1) ** over * math.comb(inner, over) * math.comb(short - over * n + inner, inner)
                                for over in range(inner + 1) if short >= over * n)
                weight = math.comb(bars, high) * math.comb(bars - high, inner)
                total += (weight * at_high**high * self.between**inner * at_low ** (bars - high - inner)
                          * (max(ways, 0) / n**inner))
        return total

    def _chance_without_the_useless(self, bars: int) -> float:
        """By how many bars give no part, where many do: the sum over the others is short."""
        p, total = self.parts, 0.0
        if self.others is None:
            useful = 1 - p.at_low
            above = PartsOfABar(1, p.high, p.between / p.inner / useful, p.at_high / useful)
            self.others = Supply(above, self.quantity, self.scrap_rate, self.setup_parts)
        for others in range(bars, 0, -1):  # the widest sum first: its rows serve the rest
            weight = _chance_of_exactly(bars - others, bars, self.ends[0][0])
            if weight > 1e-18:
                total += weight * self.others.chance(others)
        return total

    def _chance_by_the_sum(self, bars: int) -> float:
        """The sum over the characteristic function. Its rows serve any number of bars that the window is wide enough for."""
        half = self._window(bars)
        if half > self.half:
            self.half = half + half // 4 & ~1  # even, so that no row stands alone at pi
            self.rows = []
        surplus, total = self.surplus(bars) + 0.5, 0.0
        for n in range(self.half // 2):
            if n == len(self.rows):
                self.rows.append(self._row(math.pi * (2 * n + 1) / self.half))
            angle, sine, bars_log, bars_angle, scrap_log, scrap_angle, limit = self.rows[n]
            if bars * limit + scrap_log < -_NEGLIGIBLE:
                break
            size = bars * bars_log + scrap_log
            if size > -2 * _NEGLIGIBLE:
                total += math.exp(size) * math.sin(bars * bars_angle - scrap_angle + angle * surplus) / sine
        return 0.5 + total / self.half

    def _row(self, angle: float) -> tuple[float, ...]:
        """What the sum needs at one angle: logarithm and angle of the two characteristic functions about their means,
        and a logarithm above which that of one bar never is again."""
        sine = math.sin(angle / 2)
        real = imaginary = 0.0
        for chance, place in self.ends:
            real -= chance * 2 * math.sin(place * angle / 2) ** 2
            imaginary += chance * _sine_excess(place * angle)
        least = 1.0  # of the counts between the ends: never above this again
        if self.parts.inner:
            n, place = self.parts.inner, self.center * angle
            off = (_sine_excess(n * angle / 2) - n * _sine_excess(angle / 2)) / (n * sine)  # less 1
            real += self.between * (off * math.cos(place) - 2 * math.sin(place / 2) ** 2)
            imaginary += self.between * (off * math.sin(place) + _sine_excess(place))
            least = 1 + off if n * angle < math.pi else min(1.0, 1 / (n * sine))
        size = 2 * real + real * real + imaginary * imaginary  # squared, less 1
        bars_log = 0.5 * math.log1p(size) if size > -0.9 else 0.5 * math.log(max((1 + real) ** 2 + imaginary**2, 1e-300))
        limit = min(0.5 * math.log1p(max(-self.neighbors * sine * sine, -1 + 1e-16)),
                    math.log(max(1 - self.between * (1 - least), 1e-300)))
        odds = self.odds
        scrap_log = -0.5 * self.quantity * math.log1p(4 * odds * (1 + odds) * sine * sine)
        below = 1 + 2 * odds * sine * sine
        slope = odds * math.sin(angle) / below
        scrap_angle = self.quantity * (_arctangent_excess(slope)
                                       + odds * (_sine_excess(angle) - 2 * odds * sine * sine * angle) / below)
        return angle, sine, bars_log, math.atan2(imaginary, 1 + real), scrap_log, scrap_angle, limit

    def _window(self, bars: int) -> int:
        """Half the width about 0 outside of which the surplus lies with a chance below exp(-36) (Chernoff, Bennett)."""
        surplus, spread, k, odds = self.surplus(bars), self.spread(bars), self.quantity, self.odds
        (_, down), (_, up) = self.ends
        below = above = math.inf
        steepest = min(8.5 / spread, 40.0)
        if k and self.scrap_rate:
            steepest = min(steepest, -0.95 * math.log(self.scrap_rate))
        for share in (1.0, 0.75, 0.55, 0.4, 0.3, 0.2):
            slope = steepest * share
            scrap = -k * (math.log1p(-odds * math.expm1(slope)) + odds * slope) if k else 0.0
            below = min(below, (36 - slope * surplus + scrap + bars * self._bennett(slope, -down)) / slope)
            scrap = -k * (math.log1p(-odds * math.expm1(-slope)) - odds * slope)
            above = min(above, (36 + slope * surplus + scrap + bars * self._bennett(slope, up)) / slope)
        most = bars * self.parts.high - k - self.setup_parts  # the surplus without any scrap
        above = min(above, most)
        if self.scrap_rate == 0:
            below = min(below, k + self.setup_parts - bars * self.parts.low)
        return max(math.ceil(max(below, above)) + 2, 4)

    def _bennett(self, slope: float, farthest: float) -> float:
        """Upper limit of the logarithm of E exp(slope * deviation), from variance and farthest deviation alone."""
        reach = slope * farthest
        return reach if reach > 700 else math.log1p(self.variance / farthest**2 * (math.expm1(reach) - reach))


def _sine_excess(x: float) -> float:
    """sin(x) - x without loss of digits."""
    if abs(x) > 1:
        return math.sin(x) - x
    s = x * x
    return -x * s / 6 * (1 - s / 20 * (1 - s / 42 * (1 - s / 72 * (1 - s / 110 * (1 - s / 156 * (1 - s / 210))))))


def _arctangent_excess(x: float) -> float:
    """atan(x) - x without loss of digits."""
    if abs(x) > 0.25:
        return math.atan(x) - x
    s, total, power = x * x, 0.0, -x
    for n in range(3, 31, 2):
        power *= s
        total += power / n
        power = -power
    return total
