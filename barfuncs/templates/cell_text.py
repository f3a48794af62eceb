"""Cell expressions that put numbers and units into words, the same in every spreadsheet program."""

from barfuncs.catalogue.kinds import UNIT_TEXT

UNIT_SUFFIX = 'IF(units="mm"," mm"," in")'
WEIGHT_SUFFIX = 'IF(units="mm"," kg"," lb")'

_MORE_UNITS = {"per_weight": ("per lb", "per kg")}
_WORDS = {"price_per": '=IFERROR("per "&use_price_per,"")', "per_hour": "per h", "per_hour_parts": "parts/h", "order": "the order",
          "bracket_unit": '=IFERROR(IF(OR(use_price_per="bar",use_price_per="blank"),use_price_per&"s",IF(OR(use_price_per="ft",use_price_per="m"),'
                          'use_price_per,IF(OR(use_price_per="kg",use_price_per="100 kg",use_price_per="tonne"),"kg","lb"))),"")'}


def unit_text(key: str, units: str = "units") -> str:
    """What stands beside a value: a word, or a formula that follows the cell with the units.

    >>> unit_text("seconds"), unit_text("length"), unit_text("bars")
    ('s', '=IF(units="mm","mm","in")', 'bars')
    """
    inch, metric = UNIT_TEXT.get(key) or _MORE_UNITS.get(key) or (key, key)
    return _WORDS.get(key, inch) if inch == metric else f'=IF({units}="mm","{metric}","{inch}")'


HAIR = "*(1+1E-12)"
"""Behind a number that is rounded: what is half a step but for the last bits goes up in every program."""


def fixed_text(x: str, digits: int | str) -> str:
    """Cell expression: a number as text with so many decimals and with commas, the same in every program.

    FIXED and not TEXT, whose format means something else where a decimal comma is usual.

    >>> fixed_text("quote_total_1", 2)
    'FIXED(quote_total_1*(1+1E-12),2)'
    """
    return f"FIXED({_with_a_hair(x)},{digits})"


def number_text(x: str, digits: int) -> str:
    """Cell expression: a number as text with at most so many decimals, without zeros at its end, the same in every program.

    A number that is joined to a text as it is shows up to 20 digits, in each program others.

    >>> number_text("size", 1)
    'FIXED(size*(1+1E-12),0+(ROUND(size*(1+1E-12)*10,0)<>10*ROUND(size*(1+1E-12),0)),TRUE)'
    """
    shown = _with_a_hair(x)
    steps = [f"ROUND({shown}{f'*{10**n}' if n else ''},0)" for n in range(digits + 1)]
    decimals = "".join(f"+({steps[digits]}<>{10**(digits - n)}*{steps[n]})" for n in range(digits))
    return f"FIXED({shown},0{decimals},TRUE)"


def part_weight_text(x: str) -> str:
    """Cell expression: the weight of one part as text, with at least three digits of one that weighs 5 mg."""
    return f"FIXED({_with_a_hair(x)},IF({x}<0.0001,8,IF({x}<0.01,6,4)),TRUE)"


def _with_a_hair(x: str) -> str:
    return f"{x if x.isidentifier() else f'({x})'}{HAIR}"


def length_text(x: str) -> str:
    """Cell expression: a length with its unit."""
    return f"{number_text(x, 3)}&{UNIT_SUFFIX}"
