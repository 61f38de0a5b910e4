"""The rig of a test campaign: rail, supports, loads and gauge of every specimen, as fields and in SI."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, model_validator

from roofmodel.errors import InputError
from roofmodel.hardware import DesignFormat, Rail
from roofmodel.project.base import Table
from roofmodel.project.field_types import Length0, Rotational, Stiffness
from roofmodel.project.hardware_tables import make_rail
from roofmodel.project.schema import RailTable

Array = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


class RigSupport(Table):
    """What holds the rail in the rig."""

    at: Length0 = Field(description="Place along the rail.")
    held: Literal["clamp", "pinned", "fixed"] = Field(
        "clamp",
        description="A clamp under test, or a bearing of the rig without or with restraint of turning.",
    )


class RigLoad(Table):
    """A point load of the rig."""

    at: Length0 = Field(description="Place along the rail.")
    share: float = Field(1.0, gt=0.0, le=1.0, description="Share of the measured force.")


class RigTable(Table):
    """How the specimens were loaded; without a rail the load stands straight on one clamp."""

    rail: RailTable | None = Field(None, description="Rail of the rig, as in a project.")
    support: list[RigSupport] = Field(
        default_factory=list, max_length=30, description="Supports of the rail."
    )
    load: list[RigLoad] = Field(default_factory=list, max_length=30, description="Loads on the rail.")
    gauge: Length0 | None = Field(
        None, description="Place of the displacement that was measured; at the loads' center by default."
    )
    frame_stiffness: Stiffness | None = Field(
        None, description="Of the loading frame, where displacement was measured at its head."
    )
    turning_stiffness: Rotational | None = Field(
        None, description="Of a clamp against the rail's turning in the plane of the load; none by default."
    )

    @model_validator(mode="after")
    def _whole(self) -> RigTable:
        if self.rail is None:
            if len(self.support) > 1 or len(self.load) > 1 or self.gauge is not None:
                msg = "several supports or loads, or a gauge, need a rail: give rig.rail"
                raise ValueError(msg)
            return self
        if not self.load or not any(one.held == "clamp" for one in self.support):
            msg = 'a rail needs a [[rig.load]] and a [[rig.support]] with held = "clamp"'
            raise ValueError(msg)
        total = sum(one.share for one in self.load)
        if abs(total - 1.0) > 1e-6:
            msg = f"the shares of the loads add up to {total:g}; they must add up to 1"
            raise ValueError(msg)
        places = [one.at for one in self.support]
        if len(set(places)) < len(places):
            msg = "two supports stand at one place"
            raise ValueError(msg)
        return self


@dataclass(frozen=True)
class Rig:
    """A rig, SI.

    Attributes
    ----------
    rail : Rail or None
        None where the load stands straight on one clamp.
    support : (s,) float
        Places along the rail. [m]
    clamp : (s,) bool
        Supports that are clamps under test; others are bearings of the rig.
    turns : (s,) bool
        Whether the rail may turn on a support; clamps by `turning`.
    load, share : (p,) float
        [m], adding up to 1
    gauge : float
        [m]
    frame : float
        Stiffness of the loading frame, infinite for none. [N/m]
    turning : float
        Of a clamp. [N m/rad]
    """

    rail: Rail | None
    support: Array
    clamp: BoolArray
    turns: BoolArray
    load: Array
    share: Array
    gauge: float
    frame: float
    turning: float


def make_rig(table: RigTable, direction: str, folder: Path, digest: Any) -> Rig:
    """A rig from its table.

    Raises
    ------
    InputError
        A rail that can move freely, or a direction that a rail says nothing about.
    """
    if table.rail is not None and direction == "across":
        message = (
            'rig.rail: specimen.direction = "across" loads the rail along its axis; leave rig.rail out and '
            "load one clamp"
        )
        raise InputError(message)
    rail = None if table.rail is None else make_rail(table.rail, DesignFormat.EN, folder, digest)
    supports = table.support or [RigSupport.model_construct(at=0.0, held="clamp")]
    loads = table.load or [RigLoad.model_construct(at=supports[0].at, share=1.0)]
    held = [one.held for one in supports]
    load, share = np.array([one.at for one in loads]), np.array([one.share for one in loads])
    turning = 0.0 if table.turning_stiffness is None else table.turning_stiffness
    firm = len(supports) > 1 or "fixed" in held or turning > 0.0
    if rail is None:
        load = np.array([supports[0].at])
    elif not firm:
        message = (
            "rig.support: one support on which the rail may turn does not hold it; give a second one, "
            'held = "fixed" or rig.turning_stiffness'
        )
        raise InputError(message)
    return Rig(
        rail=rail,
        support=np.array([one.at for one in supports]),
        clamp=np.array([name == "clamp" for name in held]),
        turns=np.array([name != "fixed" for name in held]),
        load=load,
        share=share,
        gauge=float((load * share).sum()) if table.gauge is None else table.gauge,
        frame=np.inf if table.frame_stiffness is None else table.frame_stiffness,
        turning=turning,
    )
