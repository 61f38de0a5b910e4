"""A few words of SVG, so that drawings stay readable code."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import numpy as np
from numpy.typing import NDArray

from viewer import style

Array = NDArray[np.float64]


def number(value: float) -> str:
    """Coordinate with two digits at most."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def element(name: str, content: str = "", **attributes: str | float) -> str:
    """An element; underscores in attribute names become hyphens."""
    words = [
        f'{key.rstrip("_").replace("_", "-")}="{escape(value if isinstance(value, str) else number(value))}"'
        for key, value in attributes.items()
    ]
    head = " ".join([name, *words])
    return f"<{head}>{content}</{name}>" if content else f"<{head}/>"


def path(points: Array, *, closed: bool = False) -> str:
    """Path data through points (k, 2)."""
    if not len(points):
        return ""
    body = "L".join(f"{number(x)} {number(y)}" for x, y in points.tolist())
    return f"M{body}{'Z' if closed else ''}"


def line(points: Array, color: str, width: float, *, dash: str = "none") -> str:
    """A line through points (k, 2) with round ends."""
    return element(
        "path",
        d=path(points),
        fill="none",
        stroke=color,
        stroke_width=width,
        stroke_linecap="round",
        stroke_dasharray=dash,
    )


def text(
    words: str,
    x: float,
    y: float,
    size: float,
    *,
    color: str = style.INK,
    anchor: str = "start",
    bold: bool = False,
    halo: bool = False,
    **more: str | float,
) -> str:
    """A line of text on its baseline; a halo of paper keeps lines behind it away."""
    if bold:
        more["font_weight"] = "600"
    body = escape(words, quote=False)
    placed: dict[str, str | float] = {"x": x, "y": y, "font_size": size, "text_anchor": anchor, **more}
    front = element("text", body, fill=color, **placed)
    if not halo:
        return front
    # Twice, because not every reader of SVG knows paint-order.
    edge: dict[str, str | float] = {
        "stroke": style.PAPER,
        "stroke_width": 0.24 * size,
        "stroke_linejoin": "round",
        "aria_hidden": "true",
    }
    return element("text", body, fill=style.PAPER, **(placed | edge)) + front


def document(width: float, height: float, title: str, parts: Sequence[str]) -> str:
    """A whole drawing; the page that holds it may scale it (max-width: 100%; height: auto)."""
    return element(
        "svg",
        element("title", escape(title, quote=False)) + "".join(parts),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {number(width)} {number(height)}",
        width=width,
        height=height,
        role="img",
        font_family=style.FONT_STACK,
    )
