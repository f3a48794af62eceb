"""Inspection: samples of a lot by attributes (ISO 2859-1), how many parts are looked at, and what that costs."""

from collections.abc import Iterable

from barfuncs.catalogue.counting import count_down
from barfuncs.catalogue.entry import COMMON_PRACTICE
from barfuncs.catalogue.function import cell_function
from barfuncs.catalogue.kinds import (
    Aql,
    Count,
    Hours,
    InspectionLevel,
    Money,
    PositiveCount,
    Seconds,
    Share,
    Text,
)
from barfuncs.functions import chances
from barfuncs.tables import sampling

_STANDARD = ("ISO 2859-1, single sampling, normal inspection; code letters as in table I of MIL-STD-105E, AQL 0.65 to 6.5 at level II as "
             "reproduced at nibs.org, both read in excerpts; the rest from memory, as the rows of the tables say")

# The cells speak the tables in another way, which tests compare with them: the letters of a level stand in a row, one for each size of
# lot; they are numbered from A = 1 to R = 16 without I and O, AQLs from 0.065 = 1 to 6.5 = 11. All plans whose two numbers have the
# same sum have the same acceptance number, and an arrow leads to the plan of the same AQL whose sum stands in _PLANS.
# CHOOSE alone would make an error of its own out of a lot size that is an error (Gnumeric), so the lot size stands beside it.
_LETTERS = {"I": "AABCCDEFGHJKLMN", "II": "ABCDEFGHJKLMNPQ", "III": "BCDEFGHJKLMNPQR",
            "S-1": "AAAABBBBCCCCDDD", "S-2": "AAABBBCCCDDDEEE", "S-3": "AABBCCDDEEFFGGH", "S-4": "AABCCDEEFGGHJJK"}
_LOT = "1+" + "+".join(f"(lot_size>={lot})" for lot in (9, 16, 26, 51, 91, 151, 281, 501, 1201, 3201, 10001, 35001, 150001, 500001))
_ROWS = "".join(f'IF(inspection_level="{level}","{row}",' for level, row in _LETTERS.items()) + "NA()" + ")" * len(_LETTERS)
_LETTER = f"MID({_ROWS},{_LOT},1)"
_AQL = "1+" + "+".join(f"(aql*1.000000001>={float(aql):g})" for aql in sampling.AQLS[1:])
_SUM = f'FIND({_LETTER},"ABCDEFGHJKLMNPQR")+{_AQL}'
_PLANS = [12 if letter_and_aql < 14 else min(max(letter_and_aql, 15), 22) for letter_and_aql in range(2, 28)]
_ACCEPTED = {12: 0, 15: 1, 16: 2, 17: 3, 18: 5, 19: 7, 20: 10, 21: 14, 22: 21}
_SIZES = "2,3,5,8,13,20,32,50,80,125,200,315,500,800,1250,2000"


def _chosen(numbers: Iterable[int]) -> str:
    """Cell expression: one of these numbers by the sum of letter and AQL."""
    return f"CHOOSE({_SUM}-1,{','.join(map(str, numbers))})"


@cell_function(group="Inspection", source=_STANDARD, formula=_LETTER)
def sample_code(lot_size: PositiveCount, inspection_level: InspectionLevel = "II") -> Text:
    """Code letter of a lot's sample, by the inspection level: general I to III, or special S-1 to S-4 for small samples.

    Examples
    --------
    >>> sample_code(1000), sample_code(1000, "I"), sample_code(1000, "S-3")
    ('J', 'G', 'E')
    """
    return sampling.code_of(lot_size, inspection_level)


@cell_function(group="Inspection", source=_STANDARD, formula=f"MIN(lot_size,CHOOSE({_chosen(_PLANS)}-({_AQL}),{_SIZES}))")
def sample_size(lot_size: PositiveCount, aql: Aql, inspection_level: InspectionLevel = "II") -> Count:
    """How many parts of a lot are inspected: the whole lot where the plan's sample is as large.

    Notes
    -----
    An arrow of the table leads to the next plan that there is, with that plan's own sample. An AQL between two of the standard
    (0.065, 0.10, 0.15, 0.25, 0.40, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5) counts as the lower one, which is the stricter.

    Examples
    --------
    >>> sample_size(1000, 1.0), sample_size(5000, 1.0), sample_size(10, 1.0)
    (80, 200, 10)
    """
    return min(int(lot_size), sampling.plan_of(sampling.code_of(lot_size, inspection_level), aql)[0])


@cell_function(group="Inspection", source=_STANDARD, formula=f"0*lot_size+{_chosen(_ACCEPTED[n] for n in _PLANS)}")
def acceptance_number(lot_size: PositiveCount, aql: Aql, inspection_level: InspectionLevel = "II") -> Count:
    """Most nonconforming parts in the sample with which the lot is accepted.

    Examples
    --------
    >>> acceptance_number(1000, 1.0), acceptance_number(200, 0.65)
    (2, 0)
    """
    return sampling.plan_of(sampling.code_of(lot_size, inspection_level), aql)[1]


@cell_function(group="Inspection", source=_STANDARD, formula="ACCEPTANCE_NUMBER(lot_size,aql,inspection_level)+1")
def rejection_number(lot_size: PositiveCount, aql: Aql, inspection_level: InspectionLevel = "II") -> Count:
    """Fewest nonconforming parts in the sample with which the lot is rejected.

    Examples
    --------
    >>> rejection_number(1000, 1.0), rejection_number(5000, 1.0)
    (3, 6)
    """
    return int(acceptance_number.core(lot_size, aql, inspection_level)) + 1


@cell_function(
    group="Inspection",
    source="binomial distribution; with a lot size the hypergeometric one",
    no_formula="of a lot, older spreadsheet programs give no such sum; where the lot is large, their BINOMDIST is good to 1e-11",
    rules=(("sample_size", "OR(lot_size=0,sample_size<=lot_size)", "a sample must not be larger than its lot"),),
)
def acceptance_chance(sample_size: PositiveCount, acceptance_number: Count, bad_share: Share,
                      lot_size: PositiveCount | None = None) -> Share:
    """Chance that a lot is accepted, by the share of bad parts in it.

    Notes
    -----
    Without a lot size each part of the sample is bad with the same chance, as in a large lot or a running process. With one the
    lot holds a whole number of bad parts, the nearest to that share.

    Examples
    --------
    >>> round(acceptance_chance(80, 2, 0.01), 6), round(acceptance_chance(80, 2, 0.01, 1000), 6)
    (0.953447, 0.960752)
    """
    most = min(acceptance_number, sample_size)
    if not lot_size:
        if bad_share in (0, 1):
            return 1.0 if bad_share == 0 or most == sample_size else 0.0
        return chances.binomial_up_to(most, sample_size, bad_share)
    return chances.hypergeometric_up_to(most, sample_size, count_down(bad_share * lot_size + 0.5), int(lot_size))


@cell_function(
    group="Inspection",
    source=COMMON_PRACTICE,
    formula="MIN(parts,first_off+IF(every=0,0,INT(MAX(0,parts-first_off)/MAX(1,every)+1E-9))+sample)",
)
def parts_inspected(parts: Count, first_off: Count = 0, every: Count = 0, sample: Count = 0) -> Count:
    """Parts that are inspected: the first ones, one of each so many after them, and the sample of the lot; never more than all.

    Examples
    --------
    >>> parts_inspected(1036, 2, 50, 80), parts_inspected(5, 3, 1)
    (102, 5)
    """
    return int(min(parts, first_off + (max(0, parts - first_off) // every if every else 0) + sample))


@cell_function(group="Inspection", source=COMMON_PRACTICE, formula="parts_inspected*inspection_time/3600")
def inspection_hours(parts_inspected: Count, inspection_time: Seconds) -> Hours:
    """Hours that the inspection takes.

    Examples
    --------
    >>> inspection_hours(102, 90)
    2.55
    """
    return parts_inspected * inspection_time / 3600


@cell_function(group="Inspection", source=COMMON_PRACTICE, formula="INSPECTION_HOURS(parts_inspected,inspection_time)*inspection_rate")
def inspection_cost(parts_inspected: Count, inspection_time: Seconds, inspection_rate: Money) -> Money:
    """Cost of the inspection: the hours of `inspection_hours` at the rate of who inspects.

    Examples
    --------
    >>> inspection_cost(102, 90, 60)
    153.0
    """
    return float(inspection_hours.core(parts_inspected, inspection_time) * inspection_rate)
