"""Uncertain snow, bond and clamps of a roof: how often a row lets go, and what that hangs on.

A sample is one vector of independent standard normal numbers, so that plain, stratified and subset sampling
all draw from the same roof. Every batch has random numbers of its own: the same seed gives the same digits
on any number of cores.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from fea.failure.assembled import Assembly, SpliceLoads
from fea.failure.cascade import UNKNOWN, FailureSamples, cascade
from fea.sampling.chance import Chance, counted
from fea.sampling.streams import batches, normal_batch
from fea.sampling.variables import Inputs

Array = NDArray[np.float64]

SNOW = ("depth", "density", "drift", "friction", "bond")  # uncertain inputs of the load
TOP = 10.0  # times its own load up to which a sample is followed where its reserve is asked for
LEAST_SHARE = 0.05  # of a clamp's own stretch of rail that an error of its place can leave it


@dataclass(frozen=True)
class Scatter:
    """What differs from clamp to clamp and from roof to roof.

    Attributes
    ----------
    load : Inputs
        Named after `SNOW`; what is not there keeps the value of the case.
    strength : float
        Coefficient of variation of a clamp's strength about its mean (lognormal). [-]
    together : float
        Correlation of the logarithms of two clamps' strengths, such as by one batch. [-]
    missing, loose : float
        Chance that a clamp is not there, or is loose. [-]
    loose_strength : float
        Share of its strength that a loose clamp has, above 0. [-]
    place : float
        Standard deviation of a clamp's place along its rail. [m]
    """

    load: Inputs
    strength: float = 0.0
    together: float = 0.0
    missing: float = 0.0
    loose: float = 0.0
    loose_strength: float = 0.5
    place: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what is no scatter.

        Raises
        ------
        ValueError
        """
        for name, value, low, high in (
            ("strength", self.strength, 0.0, 2.0),
            ("together", self.together, 0.0, 1.0),
            ("missing", self.missing, 0.0, 1.0),
            ("loose", self.loose, 0.0, 1.0),
            ("loose_strength", self.loose_strength, 1e-9, 1.0),
            ("place", self.place, 0.0, 1.0),
        ):
            if not low <= value <= high:
                message = f"{name} = {value:g} must lie between {low:g} and {high:g}"
                raise ValueError(message)
        unknown = next((v.name for v in self.load.variables if v.name not in SNOW), None)
        if unknown is not None:
            message = f'there is no uncertain input "{unknown}"; there are {", ".join(SNOW)}'
            raise ValueError(message)


@dataclass(frozen=True)
class SpliceCase:
    """The k parts of the splices that can part, under one snow case.

    Attributes
    ----------
    held : (k,) float
        Before the snow, nothing parted. [N, N m]
    snow : (m, 2, k) float
        Of the snow of the case, as `RoofCase.snow`. [N, N m]
    capacity, residual : (k,) float
        Mean strength, infinite without a limit, and what is left of it. [N, N m]
    takes : (k,) int
        As `fea.failure.assembled.SpliceLoads`.
    ends : (k,) float
        Part of the snow without drift that comes from beyond row ends and from beside boxes. [N, N m]
    scatter : float
        Coefficient of variation from splice to splice. [-]
    """

    held: Array
    snow: Array
    capacity: Array
    residual: Array
    takes: NDArray[np.int64]
    ends: Array
    scatter: float = 0.0


@dataclass(frozen=True)
class RoofCase:
    """One roof and one snow case.

    Attributes
    ----------
    roof : Assembly
    held : (c,) float
        Clamp forces down the slope that are there before the snow, every clamp holding. [N]
    snow : (m, 2, c) float
        Of the snow of the case: what lies without drift, and the drift, at each friction coefficient. [N]
    friction : (m,) float
        Ascending; one for friction that does not scatter. [-]
    usual : float
        Friction coefficient where it does not scatter. [-]
    capacity, residual : (c,) float
        Mean strength, and what is left of it. [N]
    stretch : (3, c) float
        Growth of each clamp's stretch of rail by moves of the clamp before it, itself and the next one along
        the rail. [1/m]
    release : float
    impact : float or (r, c) float
        As `cascade`.
    ends : (c,) float
        Part of the snow without drift that comes from beyond row ends and from beside boxes. [N]
    weight : (2, r) float
        Snow that feeds each row: without drift, and the drift. [N]
    splices : SpliceCase, optional
        Of `roof.splices`, where these can part.
    """

    roof: Assembly
    held: Array
    snow: Array
    friction: Array
    usual: float
    capacity: Array
    residual: Array
    stretch: Array = field(default_factory=lambda: np.zeros((3, 1)))
    release: float = 2.0
    impact: float | Array = 2.0
    ends: Array = field(default_factory=lambda: np.zeros(1))
    weight: Array = field(default_factory=lambda: np.zeros((2, 1)))
    splices: SpliceCase | None = None

    @property
    def usual_place(self) -> int:
        """Place of the usual friction coefficient."""
        return int(np.argmin(np.abs(self.friction - self.usual)))

    @property
    def usual_snow(self) -> Array:
        """Snow without drift and the drift, at the usual friction, (2, c). [N]."""
        return self.snow[self.usual_place]

    def mean_splices(self, times: float = 1.0) -> SpliceLoads | None:
        """Splices at their mean strength under the case, its snow so many times."""
        own = self.splices
        if own is None:
            return None
        load = times * own.snow[self.usual_place].sum(axis=0)
        return SpliceLoads(own.held, load, own.capacity, own.residual, own.takes)

    @property
    def clamps(self) -> int:
        """Number of clamps."""
        return len(self.held)


@dataclass(frozen=True)
class Drawn:
    """Samples as they are calculated.

    Attributes
    ----------
    inputs : (n, k) float
        What their scatter can be explained by, after `explained`.
    load : (n, c) float
        Clamp forces of the snow. [N]
    share : (n, c) float
        Strength over its mean.
    missing : (n, c) bool
    bond : (n,) float
        Share of the pull that the bond holds, which `load` leaves out.
    splices : SpliceLoads, optional
        Where the roof has splices that can part.
    """

    inputs: Array
    load: Array
    share: Array
    missing: NDArray[np.bool_]
    bond: Array
    splices: SpliceLoads | None = None


def dimensions(case: RoofCase, scatter: Scatter) -> int:
    """Length of the normal vector of one sample."""
    splices = 0 if case.roof.splices is None else len(case.roof.splices.origin)
    return scatter.load.count + 1 + 3 * case.clamps + splices


def explained(scatter: Scatter, case: RoofCase) -> tuple[str, ...]:
    """Names of what a sample's result can hang on: inputs that scatter."""
    names = [variable.name for variable in scatter.load.variables]
    more = (
        ("strength of all clamps", scatter.strength > 0.0 and scatter.together > 0.0),
        ("strength of the weakest clamp", scatter.strength > 0.0 or scatter.loose > 0.0),
        ("clamps missing", scatter.missing > 0.0),
        ("clamps loose", scatter.loose > 0.0),
        ("clamps out of place", scatter.place > 0.0),
        ("strength of the weakest splice", _splices_scatter(case)),
    )
    return (*names, *(name for name, there in more if there))


def _splices_scatter(case: RoofCase) -> bool:
    return case.splices is not None and case.roof.splices is not None and case.splices.scatter > 0.0


def drawn(case: RoofCase, scatter: Scatter, normal: Array) -> Drawn:
    """Samples from standard normal numbers (n, `dimensions`)."""
    n, c, d = len(normal), case.clamps, scatter.load.count
    value = scatter.load.values(normal[:, :d])
    names = [variable.name for variable in scatter.load.variables]

    def of(name: str, otherwise: float) -> Array:
        return value[:, names.index(name)] if name in names else np.full(n, otherwise)

    shared, own, there, place, joints = (
        normal[:, d : d + 1],
        normal[:, d + 1 : d + 1 + c],
        normal[:, d + 1 + c : d + 1 + 2 * c],
        normal[:, d + 1 + 2 * c : d + 1 + 3 * c],
        normal[:, d + 1 + 3 * c :],
    )
    share = strength_shares(scatter.strength, scatter.together, shared, own)
    missing = loose = np.zeros((n, c), dtype=bool)
    if scatter.missing > 0.0 or scatter.loose > 0.0:
        chance = ndtr(there)
        missing = chance < scatter.missing
        loose = ~missing & (chance < scatter.missing + (1.0 - scatter.missing) * scatter.loose)
        share = np.where(loose, scatter.loose_strength, 1.0) * share
    mass = np.maximum(of("depth", 1.0), 0.0) * np.maximum(of("density", 1.0), 0.0)
    bond, friction = np.clip(of("bond", 0.0), 0.0, 1.0), of("friction", case.usual)
    drifted = np.maximum(of("drift", 1.0), 0.0)[:, None]

    def pull(snow: Array) -> Array:
        still, drift = _at_friction(snow, case.friction, friction)
        return np.asarray((1.0 - bond)[:, None] * (mass[:, None] * (still + drifted * drift)))

    load = pull(case.snow)
    moved = np.zeros((n, c))
    if scatter.place > 0.0:
        way = scatter.place * place
        before, after = np.roll(way, 1, axis=1), np.roll(way, -1, axis=1)
        moved = case.stretch[0] * before + case.stretch[1] * way + case.stretch[2] * after
        load = np.maximum(1.0 + moved, LEAST_SHARE) * load
    columns = [value[:, k] for k in range(d)]
    if scatter.strength > 0.0 and scatter.together > 0.0:
        columns.append(shared[:, 0])
    if scatter.strength > 0.0 or scatter.loose > 0.0:
        columns.append(share.min(axis=1))
    columns += [missing.sum(axis=1)] if scatter.missing > 0.0 else []
    columns += [loose.sum(axis=1)] if scatter.loose > 0.0 else []
    columns += [moved.max(axis=1)] if scatter.place > 0.0 else []
    if _splices_scatter(case) and case.splices is not None:
        shares = strength_shares(case.splices.scatter, 0.0, np.zeros((n, 1)), joints)
        columns.append(shares.min(axis=1))
    inputs = np.stack(columns, axis=1) if columns else np.zeros((n, 0))
    return Drawn(inputs, load, share, missing, bond, _splices(case, pull, joints))


def _splices(case: RoofCase, pull: Callable[[Array], Array], normal: Array) -> SpliceLoads | None:
    """Splices of all samples, their strengths by normal numbers (n, s)."""
    own, links = case.splices, case.roof.splices
    if own is None or links is None:
        return None
    share = strength_shares(own.scatter, 0.0, np.zeros((len(normal), 1)), normal)[:, links.of]
    return SpliceLoads(own.held, pull(own.snow), share * own.capacity, share * own.residual, own.takes)


def strength_shares(scatter: float, together: float, shared: Array, own: Array) -> Array:
    """Strengths over their mean (n, c), lognormal, from normal numbers of roof (n, 1) and clamps."""
    spread = np.sqrt(np.log1p(scatter**2))
    normal = np.sqrt(together) * shared + np.sqrt(1.0 - together) * own
    return np.asarray(np.exp(spread * normal - 0.5 * spread**2))


def _at_friction(snow: Array, grid: Array, friction: Array) -> tuple[Array, Array]:
    """Forces without drift and of the drift (n, c), between the coefficients that were calculated."""
    if len(grid) == 1:
        return snow[0, 0], snow[0, 1]
    at = np.clip(friction, grid[0], grid[-1])
    k = np.clip(np.searchsorted(grid, at, side="right") - 1, 0, len(grid) - 2)
    t = ((at - grid[k]) / (grid[k + 1] - grid[k]))[:, None, None]
    found = (1.0 - t) * snow[k] + t * snow[k + 1]
    return found[:, 0], found[:, 1]


def followed(case: RoofCase, samples: Drawn, target: float = 1.0) -> FailureSamples:
    """Samples, each grown to `target` times its own load."""
    return cascade(
        case.roof,
        case.held,
        samples.load,
        samples.share * case.capacity,
        samples.share * case.residual,
        target=target,
        missing=samples.missing,
        release=case.release,
        impact=case.impact,
        bond=samples.bond,
        splices=samples.splices,
    )


def reserve(found: FailureSamples) -> Array:
    """Times its own load at which each sample's first row lets go, `TOP` at most; 0 without an answer."""
    return np.where(found.outcome == UNKNOWN, 0.0, np.minimum(found.first_row, TOP))


def margin(case: RoofCase, scatter: Scatter, normal: Array) -> Array:
    """Reserve less one, (n,), for samplers: 0 or below where a row lets go."""
    return reserve(followed(case, drawn(case, scatter, normal), TOP)) - 1.0


def sample_batch(
    case: RoofCase, scatter: Scatter, seed: int, batch: int, size: int, target: float = 1.0
) -> FailureSamples:
    """One batch of plain samples, grown to `target` times each sample's own load."""
    normal = normal_batch(seed, batch, size, dimensions(case, scatter))
    return followed(case, drawn(case, scatter, normal), target)


def chance_of_failure(
    case: RoofCase,
    scatter: Scatter,
    count: int,
    seed: int = 1,
    target: float = 1.0,
    threads: int | None = None,
) -> Chance:
    """Chance that a row lets go, by Monte Carlo, with its 95 % interval.

    Samples without an answer count as failed.
    """

    def failed(one: tuple[int, int]) -> int:
        return int(sample_batch(case, scatter, seed, *one, target).failed.sum())

    with ThreadPoolExecutor(threads or os.cpu_count() or 1) as pool:
        return counted(sum(pool.map(failed, batches(count))), count)
