"""A structure as its degrees of freedom that are kept see it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.model.assembly import System
from fea.model.ties import dof_words
from fea.solvers.condensation import Schur, condense_matrix
from fea.solvers.direct import SingularError, Solver
from roofmodel.errors import InputError

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Condensed:
    """A model condensed onto some degrees of freedom.

    Attributes
    ----------
    system : System
    dof : (k,) int
        Degrees of freedom of the model that are kept.
    schur : Schur
    """

    system: System
    dof: IntArray
    schur: Schur

    @property
    def stiffness(self) -> Array:
        """Stiffness (k, k) of the degrees of freedom kept. [N/m, N, N m]."""
        return self.schur.stiffness

    def load(self, F: Array) -> Array:
        """Loads (k, q) that loads (d, q) and prescribed displacements are worth. [N, N m]."""
        return self.schur.load(self.system.gather(F))

    def recover(self, u: Array, F: Array) -> Array:
        """All displacements (d, q) for those kept (k, q) under loads (d, q). [m, rad]."""
        return self.system.expand(self.schur.recover(u, self.system.gather(F)))


def condense(system: System, dof: IntArray, solver: Solver = Solver.AUTO) -> Condensed:
    """Condense a model onto some of its degrees of freedom.

    Parameters
    ----------
    system : System
    dof : (k,) int
        Degrees of freedom to keep, in the order wanted; none of them fixed or tied.
    solver : Solver

    Returns
    -------
    Condensed

    Raises
    ------
    InputError
        A degree of freedom that is fixed or tied or named twice.
    SingularError
        Something inside floats even when everything kept is held.
    """
    dof = np.asarray(dof, dtype=np.int64)
    number = system.ties.number[dof]
    if (number < 0).any():
        words = dof_words(system.model, int(dof[np.argmin(number)]))
        message = f"condensation: {words} is fixed or tied and cannot be kept; keep the one it follows."
        raise InputError(message)
    if len(np.unique(dof)) < len(dof):
        message = "condensation: a degree of freedom is named twice."
        raise InputError(message)
    try:
        return Condensed(system, dof, condense_matrix(system.upper, number, solver, system.order))
    except SingularError as error:
        message = "the inside floats or is a mechanism even when everything kept is held"
        raise SingularError(message) from error
