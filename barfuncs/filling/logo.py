"""The shop's logo: a picture from outside, read with care and made plain."""

import io
import warnings
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from PIL.Image import Image

MOST_BYTES = 5_000_000
MOST_PIXELS = 25_000_000
SHARPEST = (1200, 600)
"""More pixels than that no letterhead shows."""


def read(data: bytes) -> "Image":
    """A PNG or JPEG picture as it looks on white paper, turned as the camera says, no larger than `SHARPEST`.

    Raises ValueError with the reason, without the file's name.
    """
    from PIL import Image, ImageOps

    if len(data) > MOST_BYTES:
        raise ValueError(f"has more than {MOST_BYTES:,} bytes; save it smaller")
    if not data.startswith((b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff")):
        raise ValueError("is neither a PNG nor a JPEG picture")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of the size, which is looked at here
            picture: Image.Image = Image.open(io.BytesIO(data), formats=("PNG", "JPEG"))
            wide, high = picture.size
            if wide * high <= MOST_PIXELS:
                picture.load()
                if picture.mode.startswith("I"):  # 16 bits of grey
                    picture = picture.point(lambda grey: grey * (1 / 256)).convert("L")
                seen = ImageOps.exif_transpose(picture).convert("RGBA")
                seen.thumbnail(SHARPEST)
    except Image.DecompressionBombError:
        wide, high = MOST_PIXELS, 2
    except Exception:  # Pillow raises many kinds for what is broken
        raise ValueError("can't be read: the picture is broken, or of a rare kind; save it anew") from None
    if wide * high > MOST_PIXELS:
        raise ValueError(f"has more than {MOST_PIXELS:,} pixels; save it smaller")
    paper = Image.new("RGB", seen.size, "white")
    paper.paste(seen, mask=seen.getchannel("A"))
    return paper


def plain(data: bytes) -> bytes:
    """The picture alone, as a PNG: without the words, places and small pictures that a file may carry along. What can't be read stays,
    for others to refuse."""
    try:
        picture = read(data)
    except ValueError:
        return data
    buffer = io.BytesIO()
    picture.save(buffer, "PNG")
    return buffer.getvalue()
