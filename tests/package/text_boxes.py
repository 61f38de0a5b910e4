"""Boxes of the texts of a drawing, and which of them cover one another or are cut."""

from __future__ import annotations

import re
from xml.etree import ElementTree as ET

import numpy as np
import shapely

from viewer.picture.labels import text_width

MOVE = re.compile(r"translate\(([-\d.]+)[ ,]([-\d.]+)\)")
TURN = re.compile(r"rotate\(([-\d.]+)\)")
SHARE = 0.06  # of the smaller of two texts that the other may touch: rounding and descenders


def texts(svg):
    """Words and boxes of all texts of an SVG drawing; from the baseline to the top of the capitals."""
    found = []
    for one in ET.fromstring(svg).iter("{http://www.w3.org/2000/svg}text"):
        if one.get("aria-hidden") == "true":  # the halo of the one that follows
            continue
        words = "".join(one.itertext())
        if not words.strip():
            continue
        size, bold = float(one.get("font-size")), one.get("font-weight") == "600"
        wide = text_width(words, 10.0 * size, bold=bold) / 10.0
        left = {"start": 0.0, "middle": -0.5 * wide, "end": -wide}[one.get("text-anchor", "start")]
        box = np.array([[left, -0.68 * size], [left + wide, -0.68 * size], [left + wide, 0.0], [left, 0.0]])
        box += np.array([float(one.get("x", 0.0)), float(one.get("y", 0.0))])
        way = one.get("transform", "")
        turn = np.radians(float(TURN.search(way)[1])) if "rotate" in way else 0.0
        box = box @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
        if "translate" in way:
            box = box + np.array(MOVE.search(way).groups(), dtype=float)
        found.append((words, shapely.Polygon(box)))
    return found


def crossing(found):
    """Pairs of words whose boxes cover one another."""
    boxes = np.array([box for _, box in found], dtype=object)
    tree = shapely.STRtree(boxes)
    pairs = []
    for a, b in tree.query(boxes, predicate="intersects").T.tolist():
        if a < b:
            both = boxes[a].intersection(boxes[b]).area
            if both > SHARE * min(boxes[a].area, boxes[b].area):
                pairs.append((found[a][0], found[b][0]))
    return pairs


def cut(svg, found):
    """Words that the edge of the drawing cuts."""
    _, _, wide, high = map(float, ET.fromstring(svg).get("viewBox").split())
    sheet = shapely.box(-0.5, -0.5, wide + 0.5, high + 0.5)
    return [words for words, box in found if not sheet.covers(box)]


def faults(svg):
    """What is wrong with the texts of a drawing, in words."""
    found = texts(svg)
    return [f"{a!r} on {b!r}" for a, b in crossing(found)] + [f"{w!r} is cut" for w in cut(svg, found)]
