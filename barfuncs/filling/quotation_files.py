"""The files that a quotation is sent as."""

import dataclasses
import itertools

from barfuncs.filling import logo
from barfuncs.filling.quotation_data import Quotation
from barfuncs.filling.quotation_xlsx import workbook

ENDS = (".xlsx", ".pdf")


def files_of(quotation: Quotation) -> dict[str, bytes]:
    """By the end of its name the content of each file.

    Raises InputError where the PDF can't show what the quotation says.
    """
    from barfuncs.filling.quotation_pdf import pdf  # here, since its library takes a moment to load

    if quotation.logo is not None:
        quotation = dataclasses.replace(quotation, logo=logo.plain(quotation.logo))
    return {".xlsx": workbook(quotation), ".pdf": pdf(quotation)}


def free_stem(name: str, taken: set[str]) -> str:
    """How the files of a quotation are called, with a number behind where that is taken; what is taken are stems in small letters.

    >>> taken = set()
    >>> free_stem("Q-1", taken), free_stem("q-1", taken)
    ('Quotation Q-1', 'Quotation q-1 (2)')
    """
    stem = f"Quotation {name}".strip()
    numbered = (stem if n == 1 else f"{stem} ({n})" for n in itertools.count(1))
    stem = next(text for text in numbered if text.casefold() not in taken)
    taken.add(stem.casefold())
    return stem
