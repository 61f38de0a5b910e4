"""The typeface of the pages, within the page itself: that of our pictures and PDF.

No reader's system changes it, and drawings keep the room that their words were measured with.
"""

from __future__ import annotations

import base64
from functools import cache
from io import BytesIO

from viewer import style
from viewer.picture.labels import FONTS

FAMILY = "Source Sans Pro"
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
        f"src: url(data:font/woff;base64,{_letters(name)}) format('woff'); }}\n"
        for name, weight in (("Regular", "400"), ("Semibold", "600 700"))
    )
    font = f':root {{ --font: "{FAMILY}", {style.FONT_STACK}; }}\nsvg {{ font-family: var(--font); }}\n'
    return style.css_variables() + faces + font


def _letters(weight: str) -> str:
    """Our letters of one weight, packed, as text."""
    from fontTools import subset
    from fontTools.ttLib import TTFont

    options = subset.Options(flavor="woff", hinting=False, layout_features=["tnum", "lnum"])
    options.drop_tables += ["GPOS", "GDEF"]  # kerning takes longest and is worth least
    chosen = subset.Subsetter(options)
    chosen.populate(unicodes=LETTERS)
    packed = BytesIO()
    with TTFont(FONTS / f"SourceSansPro-{weight}.ttf", recalcTimestamp=False) as font:
        chosen.subset(font)
        font.flavor = "woff"
        font.save(packed)
    return base64.b64encode(packed.getvalue()).decode("ascii")
