"""Regular expressions that are compiled when they are first used. Compiling all of them would be a quarter of the time that
importing barfuncs takes.
"""

import re
from typing import Any, cast


class _Pattern:
    """Stands for a compiled pattern: whatever is asked of it is from then on that pattern's own."""

    def __init__(self, text: str, flags: int) -> None:
        self._text, self._flags = text, flags

    def __getattr__(self, name: str) -> Any:
        found = getattr(re.compile(self._text, self._flags), name)
        setattr(self, name, found)
        return found


def pattern(text: str, flags: int = 0) -> re.Pattern[str]:
    """A regular expression, not compiled yet.

    >>> word = pattern("[a-z]+")
    >>> word.fullmatch("bar") is not None, word.fullmatch("12 ft")
    (True, None)
    """
    return cast("re.Pattern[str]", _Pattern(text, flags))
