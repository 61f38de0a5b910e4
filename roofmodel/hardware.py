"""Rail, clamp and panel as data, SI.

Directions at a clamp are those of its seam: along (down the slope positive), across (level, to the right
looking up the slope), pull (away from the roof). A strength of NaN means that nobody gave one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from roofmodel.profiles.data import Profile, Section
from roofmodel.screws import Screws

Array = NDArray[np.float64]


class DesignFormat(StrEnum):
    """How demand and resistance are compared."""

    ASD = "ASD"  # allowable strength
    LRFD = "LRFD"  # load and resistance factor
    EN = "EN"  # partial factors


@dataclass(frozen=True)
class Material:
    """Linear elastic metal: E, G [Pa], alpha [1/K], density [kg/m^3], yield strength [Pa].

    `buckling_class` "A" or "B" counts for the walls of aluminum in format EN (EN 1999-1-1 table 3.2).
    """

    name: str
    E: float
    G: float
    alpha: float
    density: float
    yield_strength: float
    buckling_class: str = "B"


class SpliceTorsion(StrEnum):
    """Whether hinged and sliding splices pass the rail's torsion on."""

    PASSED = "passed"  # screwed or keyed to both pieces, or of a shape that cannot turn
    FREE = "free"  # the pieces can turn against each other, as round tubes on a loose sleeve
    UNKNOWN = "unknown"  # either may be: both are solved and the worse counts


@dataclass(frozen=True)
class Rail:
    """A rail: section, metal and what is asked of it.

    `deflection_ratio` n asks for deflection <= span / n; NaN for not given. `thermal` is the change of
    temperature from installation [K], its effect always held while snow is scaled. `resistance_factor`
    divides (ASD Omega, EN gamma_M) or multiplies (LRFD phi) the yield strength, by the format. `profile` is
    what the section comes from, where an outline or shape was given that way; with it come `moment`, the
    design moments about y and z given by the user [N m], `ultimate_strength` and the yield strength at welds
    [Pa], and length [m] or design strength [N] of the bearing on a clamp; NaN for not given.
    `splice_torsion` is that of splices that are not continuous.
    """

    section: Section
    material: Material
    deflection_ratio: float
    thermal: float
    resistance_factor: float
    resistance_clause: str
    profile: Profile | None = None
    moment: tuple[float, float] = (np.nan, np.nan)
    ultimate_strength: float = np.nan
    weld_strength: float = np.nan
    bearing_length: float = np.nan
    bearing_strength: float = np.nan
    splice_torsion: SpliceTorsion = SpliceTorsion.UNKNOWN

    @property
    def welded(self) -> bool:
        """Whether a strength at welds is given."""
        return not np.isnan(self.weld_strength)


class Interaction(StrEnum):
    """How along-seam, across-seam and pull utilizations combine."""

    LINEAR = "linear"  # sum <= 1
    CIRCULAR = "circular"  # square root of the sum of squares <= 1
    SEPARATE = "separate"  # each on its own, only if tests show it


@dataclass(frozen=True)
class Clamp:
    """A seam clamp.

    Attributes
    ----------
    stiffness : (6, 6) float
        At the grip point, seam axes (along, across, pull, and rotations about the same axes).
        [N/m, N, N m/rad]
    strength : (6,) float
        Design resistance along, across, pull, push, and moments about the seam (roll) and about the axis
        square to the roof (twist), already divided or multiplied by the factor of the format. NaN where
        not given. [N, N m]
    nominal : (6,) float
        The strengths as given. [N, N m]
    factor : float
        The factor between the two, as the format uses it.
    strength_kind : str
        What the given numbers are, in the user's words.
    height : float
        Height of the rail's axis, the line of centroids, above the grip point. [m]
    grip_height : float
        Height of the grip point above the pan. [m]
    grip_length : float
        Length along the seam that turns an overturning moment into pull and push. [m]
    test_height : float
        Height above the grip at which the along-seam strength was tested; eccentricity up to here is in
        the tested strength already. [m]
    interaction : Interaction
    test_basis : str
        Where the strengths come from; empty for unknown.
    residual : float
        Share of its strength along the seam that a clamp keeps once it slips; 0 where it breaks. [-]
    screws : Screws or None
        What holds it through an exposed-fastened panel; None on a seam.
    along : float
        Stiffness along the seam as tests measured it at `test_height`, tipping and all; NaN where
        `stiffness` is all that is known. [N/m]
    """

    stiffness: Array
    strength: Array
    nominal: Array
    factor: float
    strength_kind: str
    height: float
    grip_height: float
    grip_length: float
    test_height: float
    interaction: Interaction
    test_basis: str
    residual: float = 0.0
    screws: Screws | None = None
    along: float = np.nan


FAST = 1e9  # along the seam, a grip that does not move: far beyond any rail's bending over a span [N/m]
UPRIGHT = 1e8  # rocking of a clamp that does not tip: far beyond any rail's torsion over a span [N m/rad]


def tipping_as(clamp: Clamp, rocking: float) -> Clamp:
    """The same clamp with another stiffness against tipping [N m/rad], moving as much in its test along."""
    stiffness = clamp.stiffness.copy()
    stiffness[4, 4] = rocking
    if not np.isnan(clamp.along):
        stiffness[0, 0] = grip_stiffness(clamp.along, rocking, clamp.test_height)
    return replace(clamp, stiffness=stiffness)


def grip_stiffness(along: float, rocking: float, test_height: float) -> float:
    """Stiffness of the grip itself along the seam [N/m], of what a test at a height above it measured.

    1 / along = 1 / grip + test_height^2 / rocking; `FAST` where tipping makes all of it.
    """
    rest = 1.0 / along - test_height**2 / rocking
    return min(1.0 / rest, FAST) if rest > 1.0 / FAST else FAST


def as_tested(clamp: Clamp) -> float:
    """Stiffness along the seam as a test measures it at `test_height`, tipping and all. [N/m]."""
    return float(clamp.stiffness[0, 0]) if np.isnan(clamp.along) else clamp.along


def upright(clamp: Clamp) -> Clamp:
    """The same clamp if it did not tip down the slope, the stiff end of what it may be."""
    return tipping_as(clamp, max(UPRIGHT, float(clamp.stiffness[4, 4])))


@dataclass(frozen=True)
class Panel:
    """Standing-seam panel: seam spacing and height, sheet, clips, and what its fixed point holds.

    `anchorage` is the design resistance of one panel strip's fixed point [N], NaN for not given; `weight` is
    that of the sheet with its seams, per roof area [Pa].
    """

    seam_spacing: float
    seam_height: float
    thickness: float
    metal: str
    clip_spacing: float
    anchorage: float
    anchorage_nominal: float
    anchorage_factor: float
    weight: float = 0.0


class SeamLock(StrEnum):
    """How the legs of two sheets are folded together at the top of the seam."""

    SINGLE = "single lock"  # one fold, three layers of sheet
    DOUBLE = "double lock"  # folded over again, five layers


class FixedPoint(StrEnum):
    """Where along its seam a panel strip is fixed against sliding; elsewhere its clips let it move."""

    RIDGE = "ridge"
    EAVE = "eave"
    MIDDLE = "middle"


class Bearing(StrEnum):
    """What the pan lies on."""

    DECK = "deck"  # all over
    PURLINS = "purlins"  # on lines across the slope
    NONE = "none"  # it hangs from its clips


@dataclass(frozen=True)
class SeamDetail:
    """What a shell model of seam, pan, clips and fixed point needs beyond `Panel`.

    Attributes
    ----------
    sheet : Material
    sheet_strength : float
        Design resistance of the sheet against yield, NaN for none. [Pa]
    sheet_clause : str
    lock : SeamLock
    fold_height : float
        Height of the folded top of the seam, within the seam height. [m]
    lock_stiffness : (3,) float
        Of the fold between its two legs, per length of seam: sliding along, opening across, vertical
        shear. [N/m^2]
    opening_strength : float
        Design resistance of the fold against opening per length, NaN for not given. [N/m]
    pan_ribs : int
        Number of stiffening ribs in the pan, evenly spread.
    pan_rib_height, pan_rib_width : float
        Of one rib, a triangle in section. [m]
    clip_spacing, clip_first : float
        Along the seam; the first clip from the eave end of the seam. [m]
    clip_length : float
        Length of seam that one clip grips. [m]
    clip_stiffness : (3,) float
        Of one clip between seam and structure: along (0 where the seam slides in it), across, square to
        the roof. [N/m]
    clip_gap : float
        Uplift before a clip takes hold. [m]
    clip_strength : float
        Design resistance of one clip against uplift, NaN for not given. [N]
    clamps_pin_clips : bool
        Whether a clamp that stands over a sliding clip stops the seam from sliding there.
    fixed_at : FixedPoint
    fixed_stiffness : float
        Of the fixed point of one strip along the seam. [N/m]
    bearing : Bearing
    bearing_stiffness : float
        Of a deck per area [N/m^3], of purlins per length of line [N/m^2].
    purlin_spacing : float
        NaN unless on purlins. [m]
    through_fixings : (k,) float
        Screws through the sheet, distance up the seam from its eave end. [m]
    thermal : float
        Change of the sheet's temperature from installation. [K]
    """

    sheet: Material
    sheet_strength: float
    sheet_clause: str
    lock: SeamLock
    fold_height: float
    lock_stiffness: Array
    opening_strength: float
    pan_ribs: int
    pan_rib_height: float
    pan_rib_width: float
    clip_spacing: float
    clip_first: float
    clip_length: float
    clip_stiffness: Array
    clip_gap: float
    clip_strength: float
    clamps_pin_clips: bool
    fixed_at: FixedPoint
    fixed_stiffness: float
    bearing: Bearing
    bearing_stiffness: float
    purlin_spacing: float
    through_fixings: Array
    thermal: float
