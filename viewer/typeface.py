"""The typeface of the pages, within the page itself: that of our pictures and PDF.

No reader's system changes it, and drawings keep the room that their words were measured with. The letters
that pages need stand ready beside the fonts, under a name of their own as the fonts' license asks; `python -m
viewer.typeface` makes them anew.
"""

from __future__ import annotations

import base64
from functools import cache
from io import BytesIO

from viewer import style
from viewer.picture.labels import FONTS

FAMILY = "Eavewright Letters"
FACES = {"Regular": "400", "Semibold": "600 700"}
# Latin with its accents, Greek, and the signs of formulas; what else a name may hold is the system's.
LETTERS = (
    *range(0x20, 0x7F), *range(0xA0, 0x180), *range(0x391, 0x3CA), *range(0x2010, 0x2027),
    *range(0x2070, 0x2095), *map(ord, "€′″←↑→↓−√∑≈≠≤≥✓×\u202f\u200b"),
)  # fmt: skip


@cache
def page_css() -> str:
    """Palette, sizes and typeface as rules for a page that stands alone."""
    faces = "".join(
        f'@font-face {{ font-family: "{FAMILY}"; font-weight: {weight}; '
        f"src: url(data:font/woff;base64,{_text(name)}) format('woff'); }}\n"
        for name, weight in FACES.items()
    )
    font = f':root {{ --font: "{FAMILY}", {style.FONT_STACK}; }}\nsvg {{ font-family: var(--font); }}\n'
    return style.css_variables() + faces + font


def _text(face: str) -> str:
    return base64.b64encode((FONTS / f"letters-{face.lower()}.woff").read_bytes()).decode("ascii")


def letters(face: str) -> bytes:
    """The letters that pages need of one face, packed."""
    from fontTools import subset
    from fontTools.ttLib import TTFont

    options = subset.Options(flavor="woff", hinting=False, layout_features=["tnum", "lnum"])
    options.drop_tables += ["GPOS", "GDEF"]  # kerning takes longest and is worth least
    chosen = subset.Subsetter(options)
    chosen.populate(unicodes=LETTERS)
    packed = BytesIO()
    with TTFont(FONTS / f"SourceSansPro-{face}.ttf", recalcTimestamp=False) as font:
        chosen.subset(font)
        for record in font["name"].names:
            if record.nameID in (1, 3, 4, 6, 16):
                record.string = FAMILY.replace(" ", "") if record.nameID == 6 else FAMILY
        font.flavor = "woff"
        font.save(packed)
    return packed.getvalue()


if __name__ == "__main__":
    for face in FACES:
        (FONTS / f"letters-{face.lower()}.woff").write_bytes(letters(face))
