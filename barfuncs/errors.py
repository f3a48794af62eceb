"""What goes wrong with an input, said once and in words."""

from collections.abc import Iterable


class BarfuncsError(ValueError):
    """Any input that barfuncs refuses. A subclass of ValueError."""


def shown(value: object, longest: int = 60) -> str:
    """A value as a message shows it: as in Python, cut where it is long, whatever it is.

    >>> shown("12,5"), shown(10**9999), len(shown("x" * 100))
    ("'12,5'", 'a number of 10000 digits', 60)
    """
    try:
        text = repr(value)
    except Exception:  # Python refuses to write out a whole number of more than 4300 digits
        if isinstance(value, int):
            return f"a number of {int(value.bit_length() * 0.30102999566) + 1} digits"
        return f"a value of the type {type(value).__name__}"
    return text if len(text) <= longest else text[: longest - 3] + "..."


class InputError(BarfuncsError):
    """One or more arguments are missing, misread or out of their limits.

    The message names every bad argument at once, what was given and what is allowed.

    Attributes
    ----------
    where : str
        The function or template the arguments were meant for.
    problems : tuple of (argument, reason)
        One pair for each bad argument.
    """

    def __init__(self, where: str, problems: Iterable[tuple[str, str]]) -> None:
        self.where = where
        self.problems = tuple(problems)
        super().__init__(f"{where}: " + "; ".join(f"{name}: {reason}" for name, reason in self.problems))


class WorkbookError(BarfuncsError):
    """A workbook can't be read, calculated or written."""
