"""What goes wrong with an input, said once and in words."""

from collections.abc import Iterable


class BarfuncsError(ValueError):
    """Any input that barfuncs refuses. A subclass of ValueError."""


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
