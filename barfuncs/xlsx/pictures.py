"""Pictures that go into a workbook: what they are and how large, as their first bytes say."""

import struct

_PNG = b"\x89PNG\r\n\x1a\n"
_WITHOUT_LENGTH = (0x01, *range(0xD0, 0xD8))
_FRAMES = (0xC0, 0xC1, 0xC2)
"""Frames of a JPEG that every program shows: baseline, extended, progressive."""


def is_png(data: bytes) -> bool:
    return data.startswith(_PNG)


def size_of(data: bytes) -> tuple[int, int] | None:
    """Width and height of a PNG or JPEG in pixels; None for anything else.

    >>> size_of(b"\\x89PNG\\r\\n\\x1a\\n" + b"\\0\\0\\0\\rIHDR" + b"\\0\\0\\0\\x02" + b"\\0\\0\\0\\x03"), size_of(b"GIF89a")
    ((2, 3), None)
    """
    if is_png(data):
        return struct.unpack(">II", data[16:24]) if data[12:16] == b"IHDR" and len(data) >= 24 else None
    if not data.startswith(b"\xff\xd8"):
        return None
    at = 2
    while at + 9 <= len(data):
        if data[at] != 0xFF:
            return None
        kind = data[at + 1]
        if kind == 0xFF:  # padding
            at += 1
        elif kind in _WITHOUT_LENGTH:
            at += 2
        elif kind in _FRAMES:
            height, width = struct.unpack(">HH", data[at + 5:at + 9])
            return width, height
        else:
            at += 2 + struct.unpack(">H", data[at + 2:at + 4])[0]
    return None
