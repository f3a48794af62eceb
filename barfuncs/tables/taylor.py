"""Usual constants of Taylor's tool life equation, v T^n = C: where to start as long as the shop has counted nothing itself."""

from dataclasses import dataclass

from barfuncs.catalogue.kinds import TOOLS, WORKS

SOURCE = ("from memory: M. P. Groover, Fundamentals of Modern Manufacturing, table of representative values of n and C, for turning at "
          "0.25 mm (0.010 in) a turn and 2.5 mm (0.1 in) deep; not seen again")


@dataclass(frozen=True)
class Taylor:
    """n and C for a tool and the work that it cuts; C as that table has it in m/min and in ft/min, which it rounds each by itself."""

    tool: str
    work: str
    exponent: float
    m_min: float
    ft_min: float
    source: str = SOURCE


_CARBIDE, _HIGH_SPEED_STEEL = TOOLS
_STEEL, _EASY = WORKS
TAYLOR = (
    Taylor(_CARBIDE, _STEEL, 0.25, 500, 1500),
    Taylor(_CARBIDE, _EASY, 0.25, 900, 2700),
    Taylor(_HIGH_SPEED_STEEL, _STEEL, 0.125, 70, 200),
    Taylor(_HIGH_SPEED_STEEL, _EASY, 0.125, 120, 350),
)
WORK_OF_GROUP = {"free-machining steel": _STEEL, "carbon steel": _STEEL, "brass": _EASY, "aluminum": _EASY}
"""The groups of the materials table that such constants are known for; none for the others."""
