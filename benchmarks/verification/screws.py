"""Screws of brackets: strengths by the clauses, their sums, and how a group shares forces."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from benchmarks.verification.findings import Finding
from fea.checks.screw_strength import ScrewRule, ScrewStrength, screw_strength
from fea.checks.screws import screw_forces
from fea.sections.screws import edge_shear, shear_and_pull
from roofmodel.screws import Screws

INCH, KSI, KIP = 0.0254, 6.894757293e6, 4448.2216
AISI = "AISI S100-16 J4 (from memory), worked by hand"
EN = "EN 1993-1-3:2006 table 8.2 (from memory), worked by hand"
GROUP = "elastic group of fasteners, textbook"
NEAR = 5e-4  # worked by hand to four digits


def screws_of(
    sheets: tuple[float, float],
    strengths: tuple[float, float],
    diameter: float,
    head: float,
    place: tuple[tuple[float, float], ...] = ((0.0, 0.0),),
) -> Screws:
    """Screws through base and support. [m, Pa]."""
    none = np.full(3, np.nan)
    return Screws(
        place=np.array(place), base=np.full(2, np.nan), diameter=diameter, head=head, thread_pitch=np.nan,
        base_thickness=sheets[0], support_thickness=sheets[1], base_ultimate=strengths[0],
        support_ultimate=strengths[1], own=np.full(2, np.nan), tested=none, tested_nominal=none,
        tested_factor=1.0,
    )  # fmt: skip


def _inch(t1: float, t2: float) -> Screws:
    """A quarter-inch screw with half an inch of head in sheets of 65 ksi. [in]."""
    return screws_of((t1 * INCH, t2 * INCH), (65.0 * KSI, 65.0 * KSI), 0.25 * INCH, 0.5 * INCH)


def _use(screws: Screws, rule: ScrewRule, which: int) -> float:
    """Use of one of the sums by 0.4 kip of shear and 0.2 kip of pull."""
    pair = screw_strength(screws, rule).pairs[which]
    return float(shear_and_pull(0.4 * KIP, 0.2 * KIP, (pair.shear, pair.pull), pair.weight, pair.bound))


def _aisi() -> list[Finding]:
    """Sheets of 0.0478 in on 0.0598 in, of 0.040 in on 0.110 in for shear and pull-over."""
    screws, thin = _inch(0.0478, 0.0598), _inch(0.040, 0.110)
    found = screw_strength(screws, ScrewRule.ASD)
    torn = edge_shear(screws.base_thickness, 0.375 * INCH, screws.diameter, screws.base_ultimate)
    lines = [
        ("shear between tilting and bearing, J4.3.1", "kip", found.shear[0].nominal / KIP, 2.0130),
        ("pull-out, J4.4.1", "kip", found.out[0].nominal / KIP, 0.82599),
        ("pull-over, J4.4.2", "kip", found.over[0].nominal / KIP, 2.3302),
        ("tear-out of an edge 3/8 in away, J6.1", "kip", float(torn) / KIP, 0.93210),
        ("0.4 kip shear, 0.2 kip pull-out, J4.5.2, LRFD", "", _use(screws, ScrewRule.LRFD, 1), 0.64134),
        ("0.4 kip shear, 0.2 kip pull-over, J4.5.1, ASD", "", _use(thin, ScrewRule.ASD, 0), 0.79806),
    ]
    return [Finding(f"Screw, {what}", AISI, "–", unit, value, ref, NEAR) for what, unit, value, ref in lines]


def _en() -> list[Finding]:
    """A screw of 5.5 mm with a head of 14 mm in sheets of 360 and 390 MPa."""

    def of(t1: float, t2: float, Fu2: float = 390e6, pitch: float = np.nan) -> ScrewStrength:
        screws = screws_of((t1, t2), (360e6, Fu2), 5.5e-3, 14e-3)
        return screw_strength(replace(screws, thread_pitch=pitch), ScrewRule.EN)

    lines = [
        ("bearing of 1.0 mm on 1.75 mm", of(1e-3, 1.75e-3, 360e6).shear[0].nominal, 3429.8),
        ("pull-out of 1.5 mm", of(2.5e-3, 1.5e-3).out[0].nominal, 1447.9),
        ("pull-out of 2.0 mm, threads 1.8 mm apart", of(2.5e-3, 2e-3, pitch=1.8e-3).out[0].nominal, 2788.5),
        ("pull-through of 2.5 mm, of which 1.5 mm count", of(2.5e-3, 1.5e-3).over[0].nominal, 7560.0),
    ]
    return [Finding(f"Screw, {what}", EN, "–", "N", value, want, NEAR) for what, value, want in lines]


def _group() -> list[Finding]:
    """Four screws 60 x 40 mm, pulled 50 mm off their center; two screws 60 mm apart; a line on its edge."""
    corners = ((-0.03, 0.03), (0.03, 0.03), (-0.03, 0.07), (0.03, 0.07))
    sizes = ((1e-3, 1e-3), (4e8, 4e8), 5e-3, 1e-2)
    four, two = (screws_of(*sizes, place=place) for place in (corners, ((-0.03, 0.0), (0.03, 0.0))))
    two = replace(two, base=np.array([0.1, 0.06]))
    shear, _ = screw_forces(np.array([1000.0, 0.0, 0.0, 0.0, 0.0, 0.0]), four, 0.0)
    _, tipped = screw_forces(np.array([0.0, 0.0, 0.0, 0.0, 60.0, 0.0]), two, 0.0)
    _, rolled = screw_forces(np.array([0.0, 0.0, 0.0, 12.0, 0.0, 0.0]), two, 0.0)
    values = (
        ("largest shear of four screws off center", float(np.hypot(*shear.T).max()), 528.07, NEAR),
        ("pull of a couple of screws", float(tipped.max()), 1000.0, 1e-9),
        ("pull of a line that leans on its base's edge", float(rolled.max()), 300.0, 1e-9),
    )
    return [
        Finding(f"Screws, {what}", GROUP, "–", "N", value, want, bar) for what, value, want, bar in values
    ]


def screw_findings() -> list[Finding]:
    """Values of screws."""
    return [*_aisi(), *_en(), *_group()]
