"""Templates filled from Python, one by one or by the list.

Nothing is imported before it is used, so that a name from here costs no more than it needs.
"""

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from barfuncs.filling.filler import Filled, fill
    from barfuncs.filling.lists import Interrupted, Job, Outcome, plan_jobs, read_jobs
    from barfuncs.filling.requoting import requote

__all__ = ["Filled", "Interrupted", "Job", "Outcome", "fill", "plan_jobs", "read_jobs", "requote"]

_WHERE = {"Filled": "filler", "fill": "filler", "Interrupted": "lists", "Job": "lists", "Outcome": "lists", "plan_jobs": "lists",
          "read_jobs": "lists", "requote": "requoting"}


def __getattr__(name: str) -> Any:
    if name not in _WHERE:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"{__name__}.{_WHERE[name]}"), name)
