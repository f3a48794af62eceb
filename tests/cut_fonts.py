"""Cuts the fonts of the PDFs out of whole ones, which it takes from a folder: python tests/cut_fonts.py /usr/share/fonts/truetype/dejavu

What is kept: letters that need no shaping and run from left to right, and signs of money, measures and drawings.
"""

import sys
from pathlib import Path

from fontTools import subset
from fontTools.ttLib import TTFont

import barfuncs

FONTS = Path(barfuncs.__file__).parent / "filling" / "fonts"
KEPT = (
    (0x20, 0x7E), (0xA0, 0x17F), (0x18F, 0x18F), (0x192, 0x192), (0x1A0, 0x1A1), (0x1AF, 0x1B0), (0x1CD, 0x1DC), (0x1E6, 0x1E7), (0x1F0, 0x1F0),
    (0x1FA, 0x1FF), (0x218, 0x21B), (0x237, 0x237), (0x259, 0x259), (0x2C6, 0x2C7), (0x2C9, 0x2C9), (0x2D8, 0x2DD),
    (0x370, 0x3FF), (0x400, 0x482), (0x48A, 0x4FF), (0x1E00, 0x1EFF), (0x1F00, 0x1FFF),
    (0x2000, 0x200A), (0x2010, 0x2027), (0x202F, 0x203A), (0x203C, 0x203E), (0x2044, 0x2044), (0x205F, 0x205F), (0x2070, 0x209F),
    (0x20A0, 0x20BF), (0x2100, 0x214F), (0x2150, 0x218F), (0x2190, 0x21FF), (0x2200, 0x22FF), (0x2300, 0x2300), (0x2302, 0x2302), (0x2308, 0x230B),
    (0x2312, 0x2313), (0x232D, 0x232F), (0x23E5, 0x23E5), (0x25A0, 0x25FF), (0x2605, 0x2606), (0x2610, 0x2612), (0x2713, 0x2718), (0x2B21, 0x2B21),
    (0xFB00, 0xFB04), (0xFFFD, 0xFFFD),
)


def cut(whole: Path, to: Path) -> None:
    options = subset.Options()
    options.hinting = options.legacy_kern = options.glyph_names = False
    options.notdef_outline = True
    options.layout_features = []
    options.name_IDs = ["*"]
    options.drop_tables += ["GPOS", "GSUB", "GDEF", "kern", "FFTM"]
    font = TTFont(whole, recalcTimestamp=False)
    subsetter = subset.Subsetter(options)
    subsetter.populate(unicodes=[number for first, last in KEPT for number in range(first, last + 1)])
    subsetter.subset(font)
    font.save(to)


if __name__ == "__main__":
    for name in ("DejaVuSansCondensed.ttf", "DejaVuSansCondensed-Bold.ttf"):
        cut(Path(sys.argv[1]) / name, FONTS / name)
        print(name, (FONTS / name).stat().st_size, "bytes")
