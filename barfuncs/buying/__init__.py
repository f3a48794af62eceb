"""Buying and sawing for many jobs: what to take from the rack, what to buy, how to saw it, and how far from the best that is.

Nothing is imported before it is used.
"""

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from barfuncs.buying.apart import plan_buying

__all__ = ["plan_buying"]


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"{__name__}.apart"), name)
