"""Stiffness and slip of a clamp from curves measured in a rig, and how well the rig's model then meets them.

Each curve is fitted by itself (least squares on force, from a tenth of its largest force to its first sudden
loss), so that the scatter between specimens gives the interval of the mean: Student's t on logarithms. The
model is then judged on every curve by the mean of the *other* specimens, which it has not seen.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, stats

from fea.strength_tests.curves import (
    SLIP_DROP,
    STIFF_RANGE,
    CurveReading,
    first_fall,
    is_sudden,
    noise_of,
)
from fea.strength_tests.rig import (
    RigModel,
    clamp_shares,
    flexibility,
    force_at,
    largest_moment,
    rig_curve,
    slips_at_once,
)

Array = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

SOFTEST, STIFFEST = 1e3, 1e11  # of a clamp [N/m]
MISFIT = (
    0.05  # root mean square of the misses of a fit, over the slip force, beyond which it is none (judgment)
)
# Early stiffness over that of the fit beyond which no clamp is the cause: F = k u / (1 + u / a), the softest
# curve that is usual, loaded to 3 a has 2.1 (judgment).
STIFFENS, SOFTENS = 0.7, 2.2
CURVED = 1.1  # ratio of a clamp's early stiffness and that of the fit, either way, beyond which it is a range
KNEE = 3  # points beyond the knee that make a plateau
OVER = 0.3  # share of the slip force below which a specimen is taken to be gone
FAR = 20.0  # times the slip force to start from, beyond which a fit does not look
TOLD = 2.0  # deviations by noise that a fall at the end must exceed (judgment)
SETTLED = 0.005  # share of the slip force that it must exceed (judgment)
RESTS = 0.01  # share of the slip force that a specimen at rest loses at most (judgment)
LEVEL = 0.95  # of intervals


@dataclass(frozen=True)
class CurveFit:
    """One curve, fitted.

    Attributes
    ----------
    stiffness, slip : float
        Of one clamp; stiffness NaN where the curve is stiffer than the rig with rigid clamps. [N/m, N]
    toe : float
        Displacement where the fit begins; before that of the curve for a clamp that softens. [m]
    seating : float
        Displacement without force, taken off, as `CurveReading` has it. [m]
    plateau : bool
        Whether the curve bends over before its first loss; without that the slip force is what was reached.
    rms : float
        Root mean square of the misses over the largest force of the fit. [-]
    noise : float
        Of the record itself, from its second differences, over the same. [-]
    kept : float
        Least force after the first loss, until the specimen is unloaded or leaves its last rest before it is
        gone, over the slip force; at most 1, 0 where it never came to rest, NaN without a loss. [-]
    sudden, falling : bool
        Whether that loss comes at once, and whether the record ends before the force has settled.
    early : float
        Stiffness of the curve between 10 and 40 % of its peak over that of the fit. [-]
    early_stiffness : float
        Of one clamp, between 10 and 40 % of the peak; NaN where the curve is then stiffer than the rig with
        rigid clamps. [N/m]
    moved, force : (m,) float
        The part of the curve that was fitted, toe taken off. [m, N]
    """

    stiffness: float
    slip: float
    toe: float
    seating: float
    plateau: bool
    rms: float
    noise: float
    kept: float
    sudden: bool
    falling: bool
    early: float
    early_stiffness: float
    moved: Array
    force: Array

    @property
    def bend(self) -> float:
        """Early stiffness of the clamp over that of the fit; NaN where either is not known. [-]."""
        return self.early_stiffness / self.stiffness

    @property
    def curved(self) -> bool:
        """Whether it is no straight line up to its first loss; not where that is not known."""
        return max(self.bend, 1.0 / self.bend) > CURVED


@dataclass(frozen=True)
class Mean:
    """Mean of specimens (geometric), its interval, and the range of single clamps; NaN below two curves."""

    value: float
    low: float
    high: float
    range_low: float
    range_high: float


@dataclass(frozen=True)
class Calibration:
    """What curves say of a clamp, and how well the model of the rig meets them.

    Attributes
    ----------
    test : (n,) int
        Tests of the campaign that have curves and count.
    fit : tuple of CurveFit, (n,)
    stiffness, slip, early : Mean
        By the fit of the whole curve; `early` is stiffness between 10 and 40 % of the peak.
    kept : float
        Least `CurveFit.kept` of all curves; NaN where none had a loss. [-]
    curve : ((t,) float, (t,) float)
        Displacement and force of the model with mean values. [m, N]
    rms, bias : (n,) float
        Misses of the model by the mean of the other specimens, over the specimen's largest force: root mean
        square, and mean (positive where the model holds more). [-]
    slip_ratio, stiffness_ratio : (n,) float
        Model over measured, and over what was fitted to the specimen. [-]
    flags : tuple of str
        Why the model must not be trusted; none where it may.
    """

    test: NDArray[np.int64]
    fit: tuple[CurveFit, ...]
    stiffness: Mean
    slip: Mean
    early: Mean
    kept: float
    curve: tuple[Array, Array]
    rms: Array
    bias: Array
    slip_ratio: Array
    stiffness_ratio: Array
    flags: tuple[str, ...]

    @property
    def fits(self) -> bool:
        """Whether nothing speaks against the model."""
        return not self.flags

    @property
    def between(self) -> tuple[float, float]:
        """Stiffness of a clamp at its softest and stiffest; alike where its curves are straight. [N/m].

        By the means; where these hide single curves that are not straight, to the ends of these.
        """
        ends = [self.stiffness.value]
        if self.curved:
            ends.append(self.early.value)
        else:
            ends += [v for fit in self.fit if fit.curved for v in (fit.stiffness, fit.early_stiffness)]
        return min(ends), max(ends)

    @property
    def curved(self) -> bool:
        """Whether the mean curve is no straight line; NaN counts as straight: flags say why."""
        ratio = self.early.value / self.stiffness.value
        return max(ratio, 1.0 / ratio) > CURVED

    @property
    def softens(self) -> bool:
        """Whether stiffness falls as the clamp is loaded, by the means or in any single curve."""
        return self.early.value > CURVED * self.stiffness.value or any(fit.bend > CURVED for fit in self.fit)


def fit_curve(model: RigModel, moved: Array, force: Array, reading: CurveReading) -> CurveFit:
    """Stiffness and slip force of one clamp from one curve.

    Parameters
    ----------
    model : RigModel
    moved, force : (m,) float
        As measured. [m, N]
    reading : CurveReading
        Where to start from.
    """
    noise, fall = noise_of(force), first_fall(force)
    end = len(force) - 1 if fall < 0 else max(fall - 1, 1)
    first = int(np.argmax(force >= STIFF_RANGE[0] * float(force[: end + 1].max())))
    u, f = moved[first : end + 1], force[first : end + 1]
    top = float(f.max())
    at_once = slips_at_once(model, clamp_shares(model, 1e6))
    if at_once:
        toe, k, slip, plateau = _fit_knee(model, u, f, reading)
    else:
        toe, k, slip, plateau = _fit_events(model, u, f, reading)
    rigid = np.isnan(k)
    curve = rig_curve(model, STIFFEST if rigid else k, slip)
    miss = force_at(curve, u - toe) - f
    kept, falling = _kept(moved, force, end)
    return CurveFit(
        stiffness=k,
        slip=slip,
        toe=toe,
        seating=reading.seating,
        plateau=plateau,
        rms=float(np.sqrt((miss**2).mean())) / top,
        noise=noise / top,
        kept=kept,
        sudden=fall >= 0 and is_sudden(moved, force, fall),
        falling=falling,
        early=np.nan if rigid else reading.stiffness * flexibility(model, k),
        early_stiffness=stiffness_of(model, 1.0 / reading.stiffness),
        moved=u - toe,
        force=f,
    )


def _kept(moved: Array, force: Array, end: int) -> tuple[float, bool]:
    """Least force after the loss at `end`, over the largest before it, and whether it falls to the end."""
    held = float(force[: end + 1].max())
    far = int(np.argmax(moved)) + 1  # beyond it the specimen is unloaded
    after = force[end + 1 : max(far, end + 2)]
    fallen = np.flatnonzero(after < (1.0 - SLIP_DROP) * force[end])
    if not len(fallen):
        return np.nan, False
    after = after[fallen[0] :]
    gone = np.flatnonzero(after < OVER * held)
    if len(gone):
        rested = after[: _rest(after[: gone[0]], held, noise_of(force))]
        return float(min(rested.min(initial=held) / held, 1.0)) if len(rested) else 0.0, False
    k = len(after) // 4
    drop, spread = _drops(after[-k:], noise_of(force), k) if k > 1 else (np.zeros(1), 0.0)
    falling = bool(drop[0] > max(TOLD * spread, SETTLED * held))
    return float(min(after.min() / held, 1.0)), falling


def _rest(after: Array, held: float, noise: float) -> int:
    """Points before a specimen is gone until it last came to rest; 0 where it slid down without one.

    A rest counts where the force stays for a fifth of them; what lies after the last one leads to no force.
    """
    k = max(len(after) // 5, 2)
    if len(after) < k:
        return 0
    drop, spread = _drops(after, noise, k)
    still = np.flatnonzero(drop <= max(spread, RESTS * held))
    still = still[still >= np.argmax(after[:k])]  # the round of a noisy peak is no rest
    return int(still[-1]) + k - k // 4 if len(still) else 0  # without the first points of what comes after


def _drops(force: Array, noise: float, k: int) -> tuple[Array, float]:
    """Loss along every k points by the line through them, (m - k + 1,), and its deviation by noise. [N]."""
    x = np.linspace(-0.5, 0.5, k)
    size = float(x @ x)
    return -np.convolve(force, x[::-1], mode="valid") / size, noise / float(np.sqrt(size))


def _fit_knee(model: RigModel, u: Array, f: Array, reading: CurveReading) -> tuple[float, float, float, bool]:
    """Toe, stiffness, slip force, plateau of a rig whose clamps slip together: a line and a plateau."""
    length, top = 1.0 / reading.stiffness, float(f.max())

    def miss(x: Array) -> Array:
        return np.asarray(np.minimum((u / (top * length) - x[0]) / x[1], x[2]) - f / top)

    start = np.array([reading.toe / (top * length), 1.0, 1.0])
    found = optimize.least_squares(miss, start, bounds=([-np.inf, 1e-3, 0.05], [np.inf, 1e3, 3.0]))
    toe, flexible, peak = (float(x) for x in found.x)
    beyond = u / (top * length) > toe + flexible * peak
    plateau = int(beyond.sum()) >= KNEE
    if not plateau:
        slope, start_force = np.polyfit(u, f, 1)
        if not slope > 0.0:
            slope, start_force = reading.stiffness, -reading.toe * reading.stiffness
        toe = -float(start_force / slope) / (top * length)
        flexible, peak = 1.0 / float(slope * length), 1.0
    k = stiffness_of(model, float(flexible) * length)
    share = float(np.abs(clamp_shares(model, STIFFEST if np.isnan(k) else k)).max())
    return float(toe) * top * length, k, float(peak) * top * share, plateau


def stiffness_of(model: RigModel, flexible: float) -> float:
    """Stiffness of a clamp that gives the rig this flexibility; NaN where even rigid ones are too soft."""

    def gap(x: float) -> float:
        return flexibility(model, float(np.exp(x))) - flexible

    low, high = np.log(SOFTEST), np.log(STIFFEST)
    if gap(high) >= 0.0 or gap(low) <= 0.0:
        return np.nan
    return float(np.exp(optimize.brentq(gap, low, high, xtol=1e-12)))


def _fit_events(
    model: RigModel, u: Array, f: Array, reading: CurveReading
) -> tuple[float, float, float, bool]:
    """The same for a rig whose clamps slip one after another."""
    k = stiffness_of(model, 1.0 / reading.stiffness)
    known = not np.isnan(k)
    k = k if known else STIFFEST
    top = float(f.max())
    slip = top * float(np.abs(clamp_shares(model, k)).max())
    size = float(np.ptp(u))

    def miss(x: Array) -> Array:
        curve = rig_curve(model, float(np.exp(x[1])), float(np.exp(x[2])))
        return np.asarray((force_at(curve, u - x[0] * size) - f) / top)

    start = np.array([reading.toe / size, np.log(k), np.log(slip)])
    # A rig that is not the one of the test has no best fit: without bounds the slip force runs away to none.
    limits = (
        [-np.inf, np.log(SOFTEST), np.log(slip / FAR)],
        [np.inf, np.log(STIFFEST) + 1e-9, np.log(slip * FAR)],
    )
    found = optimize.least_squares(miss, start, bounds=limits, diff_step=[1e-5] * 3, max_nfev=60)
    toe, log_k, log_slip = found.x
    k, slip = float(np.exp(log_k)), float(np.exp(log_slip))
    curve = rig_curve(model, k, slip)
    plateau = bool((u - toe * size > curve[0][1]).sum() >= KNEE)
    if not plateau:
        slip = top * float(np.abs(clamp_shares(model, k)).max())
    return float(toe) * size, k if known and log_k < np.log(STIFFEST) - 1.0 else np.nan, slip, plateau


def mean_of(values: Array) -> Mean:
    """Geometric mean with its interval, and the range of 90 % of single clamps (t on logarithms)."""
    known = values[np.isfinite(values)]
    n = len(known)
    if not n:
        return Mean(*np.full(5, np.nan))
    logs = np.log(known)
    center = float(logs.mean())
    if n < 2:
        return Mean(float(np.exp(center)), *np.full(4, np.nan))
    s = float(logs.std(ddof=1))
    half = float(stats.t.ppf(0.5 + 0.5 * LEVEL, n - 1)) * s / np.sqrt(n)
    wide = float(stats.t.ppf(LEVEL, n - 1)) * s * np.sqrt(1.0 + 1.0 / n)
    value, low, high, below, above = np.exp(center + np.array([0.0, -half, half, -wide, wide]))
    return Mean(float(value), float(low), float(high), float(below), float(above))


def calibrate(
    model: RigModel,
    curves: list[tuple[Array, Array]],
    readings: list[CurveReading],
    test: NDArray[np.int64],
    names: list[str],
    yield_moment: float = np.inf,
) -> Calibration:
    """Fit all curves and judge the model on each by the others.

    Parameters
    ----------
    model : RigModel
    curves : list of ((m,) float, (m,) float)
        Displacement and force. [m, N]
    readings : list of CurveReading
    test : (n,) int
        Their numbers in the campaign.
    names : list of str
    yield_moment : float
        Of the rig's rail. [N m]
    """
    fits = tuple(fit_curve(model, *curve, one) for curve, one in zip(curves, readings, strict=True))
    k, slip = np.array([fit.stiffness for fit in fits]), np.array([fit.slip for fit in fits])
    stiffness, slips = mean_of(k), mean_of(slip)
    early = mean_of(np.array([fit.early_stiffness for fit in fits]))
    n = len(fits)
    out = np.full((4, n), np.nan)
    for i, fit in enumerate(fits):
        others = np.arange(n) != i
        seen = others & np.isfinite(k)
        if not seen.any():
            continue
        mean_k, mean_slip = (float(np.exp(np.log(v[seen]).mean())) for v in (k, slip))
        curve = rig_curve(model, mean_k, mean_slip)
        own = float(fit.force.max())
        miss = (force_at(curve, fit.moved) - fit.force) / own
        measured = flexibility(model, fit.stiffness) if np.isfinite(fit.stiffness) else np.nan
        out[:, i] = (
            np.sqrt((miss**2).mean()), miss.mean(), curve[1][-1] / own, measured / flexibility(model, mean_k),
        )  # fmt: skip
    kept = np.array([fit.kept for fit in fits])
    known = np.isfinite(stiffness.value)
    return Calibration(
        test=test,
        fit=fits,
        stiffness=stiffness,
        slip=slips,
        early=early,
        kept=float(np.nanmin(kept)) if np.isfinite(kept).any() else np.nan,
        curve=rig_curve(model, stiffness.value, slips.value) if known else (np.zeros(1), np.zeros(1)),
        rms=out[0],
        bias=out[1],
        slip_ratio=out[2],
        stiffness_ratio=out[3],
        flags=_flags(model, fits, names, yield_moment),
    )


def _flags(
    model: RigModel,
    fits: tuple[CurveFit, ...],
    names: list[str],
    yield_moment: float,
) -> tuple[str, ...]:
    """What speaks against the model."""
    flags = []
    stiff = [
        name
        for name, fit in zip(names, fits, strict=True)
        if np.isnan(fit.stiffness) or (np.isnan(fit.early_stiffness) and fit.early > CURVED)
    ]
    if stiff:
        flags.append(
            f"{', '.join(stiff)}: stiffer than the rig would be with rigid clamps; rail, supports, gauge or "
            "frame_stiffness of the rig are not those of the test."
        )
    off = [
        f"{name} ({100.0 * fit.rms:.1f} %)"
        for name, fit in zip(names, fits, strict=True)
        if fit.rms > max(MISFIT, 3.0 * fit.noise)
    ]
    if off:
        flags.append(
            f"{', '.join(off)}: the model misses the curve by more than {100.0 * MISFIT:.0f} % of its force "
            "(root mean square); the clamp is not a spring that slips, or the rig is another one."
        )
    curved = [
        f"{name} ({fit.early:.2f} times)"
        for name, fit in zip(names, fits, strict=True)
        if np.isfinite(fit.early) and not STIFFENS < fit.early < SOFTENS
    ]
    if curved:
        flags.append(
            f"{', '.join(curved)}: stiffness between 10 and 40 % of the peak over that of the whole fit, "
            f"more than a clamp softens ({SOFTENS:g}) or stiffens ({STIFFENS:g}) as it is loaded; look at "
            "seating, gauge and rig."
        )
    bent = [
        name
        for name, fit in zip(names, fits, strict=True)
        if np.isfinite(fit.stiffness)
        and largest_moment(model, fit.stiffness, float(fit.force.max())) > yield_moment
    ]
    if bent:
        flags.append(f"{', '.join(bent)}: the rig's rail yields before the clamp slips; use a stronger one.")
    return tuple(flags)
