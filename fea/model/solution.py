"""Solution of a system for all its load cases, with what ties carry and how far it can be trusted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.model.assembly import System
from fea.model.diagnosis import condition, refuse
from fea.solvers.direct import Factor, SingularError, Solver, factorize_upper
from roofmodel.errors import InputError

Array = NDArray[np.float64]

WORST = 4e13  # condition beyond which two digits of an answer may be wrong
LOST = 1e-10  # backward error beyond which the equations count as not solved


@dataclass(frozen=True)
class Solution:
    """Response to q load cases.

    Attributes
    ----------
    displacement : (d, q) float
        [m, rad]
    reaction : (d, q) float
        Forces of the supports on the structure, also those that reach a fixed degree of freedom through
        links and equations; 0 elsewhere. [N, N m]
    tie_force : (d, q) float
        Forces of links and equations on the structure. [N, N m]
    residual : (q,) float
        Largest |K u - f| over the largest |f| of each case. [-]
    condition : float
        Estimate from below of the condition of the matrix scaled to a unit diagonal. [-]
    solver : str
    """

    displacement: Array
    reaction: Array
    tie_force: Array
    residual: Array
    condition: float
    solver: str


def factorize_system(system: System, solver: Solver = Solver.AUTO) -> Factor:
    """Factorize the equations of a model once, for any number of calls of `solve_model`.

    Raises
    ------
    FloatingError
        A part of the model is not held, or it is a mechanism; one line says which and how it moves.
    """
    try:
        return factorize_upper(system.upper, solver, system.order)
    except SingularError as error:
        raise refuse(system, str(error)) from error


def solve_model(
    system: System, F: Array, solver: Solver = Solver.AUTO, factor: Factor | None = None
) -> Solution:
    """Solve for all load cases with one factorization.

    Parameters
    ----------
    system : System
    F : (d, q) float
        Loads on all degrees of freedom. [N, N m]
    solver : Solver
    factor : Factor, optional
        From `factorize_system`, to use it again.

    Returns
    -------
    Solution

    Raises
    ------
    FloatingError
        A part of the model is not held, or it is a mechanism, or stiffnesses are too uneven for an answer.
    InputError
        Loads of another shape or not finite.
    """
    if F.ndim != 2 or len(F) != system.model.dof_count:
        message = f"loads: the array has shape {F.shape}; it must be ({system.model.dof_count}, cases)."
        raise InputError(message)
    if not np.isfinite(F).all():
        message = "loads: a value is not a number."
        raise InputError(message)
    factor = factorize_system(system, solver) if factor is None else factor
    stiffness = condition(factor)
    if not stiffness < WORST:
        raise refuse(system, f"condition {stiffness:.0e}")
    right = system.gather(F)
    try:
        q = factor(right)
    except SingularError as error:
        raise refuse(system, str(error)) from error
    residual = factor.residual(q, right)
    if (factor.backward_error(q, right, residual) > LOST).any():
        raise refuse(system, f"residual {residual.max():.0e}")
    u = system.expand(q)
    reaction, tie_force = system.tie_forces(u, F)
    return Solution(u, reaction, tie_force, residual, stiffness, factor.name)
