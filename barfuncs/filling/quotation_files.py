"""The files that a quotation is sent as."""

import importlib.util
import itertools

from barfuncs.filling.quotation_data import Quotation
from barfuncs.filling.quotation_xlsx import workbook


def pdf_of(quotation: Quotation) -> bytes | None:
    """The quotation as a PDF."""
    try:
        module = importlib.import_module("barfuncs.filling.quotation_pdf")
    except ModuleNotFoundError:
        return None
    data: bytes = module.pdf(quotation)
    return data


ENDS = (".xlsx", ".pdf") if importlib.util.find_spec("barfuncs.filling.quotation_pdf") else (".xlsx",)


def files_of(quotation: Quotation) -> dict[str, bytes]:
    """By the end of its name the content of each file."""
    pdf = pdf_of(quotation)
    return {".xlsx": workbook(quotation)} | ({} if pdf is None else {".pdf": pdf})


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
