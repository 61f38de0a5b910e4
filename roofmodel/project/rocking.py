"""Stiffness of a clamp against tipping down the slope, and what its stiffness along the seam says of it.

`clamp.stiffness.along` comes from a load at height h (`clamp.test_height`) above the grip. What moves there
is the grip's own slip, F / k_grip, and the clamp's turning, F h / k_rocking times h. So

    1 / k_along = 1 / k_grip + h^2 / k_rocking,   and   k_rocking >= k_along h^2,

equal only if the grip itself did not move at all. This holds for linear springs on a rigid body and a gauge
at the load's height; where the gauge was at the grip, tipping is not in it and there is no bound.
"""

from __future__ import annotations

from roofmodel.errors import InputError
from roofmodel.hardware import Clamp, as_tested, upright
from roofmodel.units import UnitSystem

ROUNDING = 1e-3  # share of the bound by which given numbers may miss it, as they are rounded
FAR_BELOW = 0.01  # share of the bound below which a number has another unit, such as N mm for N m (judgment)
BOUND = "clamp.stiffness.along x clamp.test_height^2"


def default_rocking(along: float, pull: float, grip_length: float, test_height: float) -> float:
    """Soft end of what nobody measured: grip spread evenly on its seam, and no softer than along allows.

    Parameters
    ----------
    along, pull : float
        [N/m]
    grip_length, test_height : float
        [m]

    Returns
    -------
    float
        [N m/rad]
    """
    return max(pull * grip_length**2 / 12.0, along * test_height**2)


def default_words(clamp: Clamp) -> str:
    """Which part of `default_rocking` counts."""
    own = float(clamp.stiffness[2, 2]) * clamp.grip_length**2 / 12.0
    return "clamp.stiffness.pull x grip_length^2 / 12" if own >= least_rocking(clamp) else BOUND


def least_rocking(clamp: Clamp) -> float:
    """Stiffness against tipping below which its stiffness along the seam cannot be as given. [N m/rad]."""
    return as_tested(clamp) * clamp.test_height**2


def contradicts(clamp: Clamp) -> bool:
    """Whether the clamp would move more by tipping alone than it moved in all."""
    return float(clamp.stiffness[4, 4]) < (1.0 - ROUNDING) * least_rocking(clamp)


def stiffest(clamp: Clamp, *, given: bool) -> Clamp | None:
    """The clamp at the stiff end of what it may be against tipping; None where that is settled.

    Parameters
    ----------
    clamp : Clamp
    given : bool
        Whether somebody gave `clamp.stiffness.rocking`. One that contradicts the stiffness along the seam is
        worth no more than none: that says how stiff the clamp is at least, and nothing how stiff at most.
    """
    return None if given and not contradicts(clamp) else upright(clamp)


def check_rocking(clamp: Clamp, units: UnitSystem) -> None:
    """Refuse a given stiffness against tipping so far below its bound that its unit must be wrong.

    Raises
    ------
    InputError
    """
    least, given = least_rocking(clamp), float(clamp.stiffness[4, 4])
    if given < FAR_BELOW * least:
        message = (
            f"clamp.stiffness.rocking: it is {least / given:,.0f} times less than {BOUND}, "
            f"{units.text(least, 'rotation stiffness')}, which a clamp that was loaded at that height cannot "
            "fall below; check its unit, or leave it out where nobody measured it"
        )
        raise InputError(message)


def rocking_words(clamp: Clamp, units: UnitSystem) -> str:
    """That a given stiffness against tipping contradicts the one along the seam; "" where it does not."""
    if not contradicts(clamp):
        return ""
    own, bound = (
        units.text(k, "rotation stiffness") for k in (float(clamp.stiffness[4, 4]), least_rocking(clamp))
    )
    return (
        f"clamp.stiffness.rocking, {own}, CONTRADICTS clamp.stiffness.along: a load at clamp.test_height "
        f"moves by tipping too, so that rocking is at least {BOUND} = {bound}."
    )
