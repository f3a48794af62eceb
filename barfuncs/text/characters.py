"""Texts of cells on one line, and characters that can't be seen: how they are shown, and those that no workbook can hold."""

_UNSEEN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})


def escaped(text: str) -> str:
    """A text from outside as it may go to a terminal: control, direction and other unseen characters as escapes.

    >>> escaped("A" + chr(0x202E) + "B" + chr(27) + "[2J")
    'A\\\\u202eB\\\\x1b[2J'
    """
    if text.isprintable():
        return text
    from unicodedata import category

    return "".join(_escape(ord(c)) if category(c) in _UNSEEN else c for c in text)


def _escape(code: int) -> str:
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


def unfit(text: str) -> str:
    """The first character, by its number, that a workbook can't hold or that controls a terminal; "" where there is none.

    Line breaks and tabs are fit.

    >>> unfit("bar" + chr(0xFFFF)), unfit("two" + chr(10) + "lines")
    ('U+FFFF', '')
    """
    if text.isprintable():
        return ""
    return next((f"U+{ord(c):04X}" for c in text if c not in "\t\n\r" and _is_unfit(ord(c))), "")


def _is_unfit(code: int) -> bool:
    control = code < 0x20 or 0x7F <= code < 0xA0
    return control or 0xD800 <= code <= 0xDFFF or is_noncharacter(code)


def is_noncharacter(code: int) -> bool:
    """Whether the number stands for no character and never will."""
    return code & 0xFFFE == 0xFFFE or 0xFDD0 <= code <= 0xFDEF


def in_words(value: object) -> str:
    """What a cell holds as a text on one line; a number as it is typed, nothing for a blank.

    >>> in_words(12.0), in_words("  two  words "), in_words(None)
    ('12', 'two words', '')
    """
    return "" if value is None else f"{value:.15g}" if isinstance(value, float) else " ".join(str(value).split())
