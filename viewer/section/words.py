"""Numbers of a profile for people and for programs."""

from __future__ import annotations

import numpy as np

from fea.checks.rail_section import yield_moments
from fea.sections.lost_walls import account_words, lost_words
from viewer.quantities import quantity
from viewer.report.tables import Table
from viewer.section.read import Seen

KINDS = ("compression", "bending away from the roof", "", "bending down the slope", "")
CAUTIONS = (
    "Results need review by a licensed engineer; local code governs; the clauses are from memory.",
    "Strengths of clamps must come from tests by the maker. Falling snow and work at height kill.",
)


def section_table(seen: Seen) -> Table:
    """Properties of the whole section."""
    p, s, counts = seen.profile, seen.profile.section, counted(seen)
    entries: list[tuple[str, float, str]] = [
        ("Area", s.area, "section area"),
        ("Centroid up the slope, in the outline as built in", float(p.origin[0]), "size"),
        ("Centroid away from the roof, in the outline as built in", float(p.origin[1]), "size"),
        ("Size along the slope", s.depth_y, "size"),
        ("Size away from the roof", s.depth_z, "size"),
        ("Second moment, bending away from the roof", s.I_y, "second moment"),
        ("Second moment, bending down the slope", s.I_z, "second moment"),
        ("Product of inertia", s.I_yz, "second moment"),
        ("Larger principal second moment", float(p.principal[0]), "second moment"),
        ("Smaller principal second moment", float(p.principal[1]), "second moment"),
        ("Axis of the larger one, from up the slope", p.angle, "angle"),
        ("Elastic modulus, bending away from the roof", s.W_y, "section modulus"),
        ("Elastic modulus, bending down the slope", s.W_z, "section modulus"),
        ("Plastic modulus, bending away from the roof", float(p.plastic[0]), "section modulus"),
        ("Plastic modulus, bending down the slope", float(p.plastic[1]), "section modulus"),
        ("Torsion constant", s.J, "second moment"),
        ("Torsion modulus", s.W_t, "section modulus"),
        ("Warping constant", s.I_w, "warping constant"),
        ("Shear center up the slope from the centroid", s.center_y, "size"),
        ("Shear center away from the roof from the centroid", s.center_z, "size"),
        ("Shear area along the slope", s.shear_y, "section area"),
        ("Shear area away from the roof", s.shear_z, "section area"),
    ]
    if s.I_yz != 0.0:
        entries += [
            ("Modulus of the worst corner, bending away from the roof", float(p.alone[0]), "section modulus"),
            ("Modulus of the worst corner, bending down the slope", float(p.alone[1]), "section modulus"),
            ("MODULUS THAT COUNTS, bending away from the roof", float(counts[0]), "section modulus"),
            ("MODULUS THAT COUNTS, bending down the slope", float(counts[1]), "section modulus"),
        ]
    if p.net is not None:
        entries += [
            ("Net area at holes", p.net.area, "section area"),
            ("Net modulus, bending away from the roof", p.net.W_y, "section modulus"),
            ("Net modulus, bending down the slope", p.net.W_z, "section modulus"),
        ]
    rows = tuple((name, quantity(value, kind, seen.units)) for name, value, kind in entries)
    return Table(f"{s.label}, {seen.metal.name}", ("Property", "Value"), "tn", rows)


def effective_table(seen: Seen) -> Table:
    """What local buckling leaves at first yield."""
    s, share, alone = seen.profile.section, shares(seen), counted(seen)
    rows = tuple(
        (
            name,
            "not known" if np.isnan(part) else f"{100.0 * part:.1f} %",
            quantity(full * part, kind, seen.units),
            "not known" if np.isnan(part) else quantity(full * part * seen.design, holds, seen.units),
        )
        for name, part, full, kind, holds in (
            ("compression", share[0], s.area, "section area", "force"),
            ("bending away from the roof", share[1], float(alone[0]), "section modulus", "moment"),
            ("bending down the slope", share[2], float(alone[1]), "section modulus", "moment"),
        )
    )
    caption = f"Left by local buckling at {quantity(seen.metal.yield_strength, 'stress', seen.units)}"
    heads = ("Kind of stress", "Share", "Effective", "Design strength")
    return Table(f"{caption}: {seen.left.basis}", heads, "tnnn", rows)


def _strength_words(seen: Seen) -> tuple[str, ...]:
    """What the design strengths are and leave out."""
    plain = (
        f"Design strength: at first yield, format {seen.form}, design stress "
        f"{quantity(seen.design, 'stress', seen.units)} ({seen.clause}); each alone, without buckling from "
        "clamp to clamp, holes and welds."
    )
    askew = (
        "With a product of inertia a moment about one axis alone bends the rail askew. Design strengths are "
        "by the modulus that counts in `check` and `span`: both parts of the stress at the corner of the box "
        "around the section, as if metal stood there (safe), so that it is less than that of the worst "
        "corner. The elastic modulus (I / c) is no strength; nor is the plastic one, whose neutral axis is "
        "kept from turning."
    )
    return (plain, askew) if seen.profile.section.I_yz != 0.0 else (plain,)


def counted(seen: Seen) -> np.ndarray:
    """Moduli (2,) of moments about y and z, each alone, that count in `check` and `span`. [m^3]."""
    return yield_moments(1.0, seen.profile.section)


def shares(seen: Seen) -> np.ndarray:
    """Share of yield in compression and in both bendings, the worse way round, (3,)."""
    share = seen.left.share
    return np.array([share[0], share[1:3].min(), share[3:5].min()])


def notes(seen: Seen) -> tuple[str, ...]:
    """What a reader must know beside the numbers."""
    found = [] if not np.isnan(seen.left.share).any() else [
        "Some walls were not recognized: local buckling is not known, and check does not verify this rail.",
        *lost_words(seen.profile, seen.units),
    ]  # fmt: skip
    return (
        *(f"NOT VERIFIED: {one}." for one in seen.doubts),
        *found,
        *(note for note in seen.notes if note.startswith("CHECK")),
        *_strength_words(seen),
        *account_words(seen.profile),
        *(note for note in seen.notes if not note.startswith("CHECK")),
        f"Torsion, warping and shear by {seen.profile.elements} finite elements. The torsion modulus is that "
        "of the walls: peaks of shear in inner corners are left out (common practice, load at rest).",
        *CAUTIONS,
    )
