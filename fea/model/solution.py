"""Solution of a system for all its load cases, with what ties carry and how far it can be trusted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.model.assembly import System
from fea.solvers.direct import Factor, Solver, factorize_upper

Array = NDArray[np.float64]


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
        Estimate from below of the condition of the matrix with a unit diagonal; NaN when not asked for.
    solver : str
    """

    displacement: Array
    reaction: Array
    tie_force: Array
    residual: Array
    condition: float
    solver: str


def factorize_system(system: System, solver: Solver = Solver.AUTO) -> Factor:
    """Factorize the equations of a model once, for any number of calls of `solve_model`."""
    return factorize_upper(system.upper, solver)


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
    SingularError
        The structure floats or is a mechanism.
    """
    factor = factorize_system(system, solver) if factor is None else factor
    right = system.gather(F)
    q = factor(right)
    u = system.expand(q)
    reaction, tie_force = system.tie_forces(u, F)
    return Solution(u, reaction, tie_force, factor.residual(q, right), float("nan"), factor.name)
