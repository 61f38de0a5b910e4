"""What many samples of a roof's attachments do when snow grows or its bond drops, event after event.

All rows of a roof are one system, f = q - Z p, in which only links of one row feel one another. Every sample
is followed from its first failure to the load asked for, or until all rows have let go. A law of each link by
two numbers, capacity and residual: brittle (0 left), slip (something left), ductile (all left); links that
hold both ways turn elastic again when they turn back. Beyond that, each of them an assumption:

- release factor: a link that fails at once lets its neighbors swing past where they come to rest, by up to
  2 for an undamped sudden loss and 1 for a slow one. A link whose swing from before the cascade reaches
  its capacity fails too (textbook bound for one mass on a spring; which factor applies is judgment);
- impact factor: what a row held when it lets go, and what its bond held, comes onto the row it lands on as so
  many times its static force, and stays there (2 for a load put on at once without fall or rebound;
  `fea.failure.runs` estimates it from how far the snow runs; judgment);
- relief: the snow that pressed on a clamp which breaks leaves through the gap at once, by this share (0 keeps
  all of it on the row, the safe reading; it takes the clamp's force without failures for its snow);
- unzip: a seam that opens at one clamp takes this share of the strength from its other clamps (judgment);
- splices, where they are given: each of their forces has a limit of its own. One that parts makes two rails
  of one, and a piece lets go by itself; one that opens goes on as a hinge; one that slips or yields holds on.
  A piece that swings free about a hinge has torn off there (judgment). What a piece held is that of its
  clamps with everything holding.

Rules of the path and their check: `fea.solvers.walk`, one row by itself, gives the same to rounding.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fea.failure.assembled import Assembly, SpliceLoads
from fea.failure.joining import first_of, join_links
from roofmodel.errors import InputError

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

COMPLETE, COLLAPSED, UNKNOWN, STOPPED = range(4)
LEAST_FREE = 1e-6  # share of the pull that the bond leaves; where it leaves none no row lets go [-]
GONE = 7  # state of the links of a row that let go; others as `fea.solvers.laws.LinkState`


@dataclass(frozen=True)
class FailureSamples:
    """What happened in n samples of c clamps in r rows.

    Attributes
    ----------
    at : (n, c) float
        Factor on the growing load at which each clamp first gave way; infinite where it held, -1 where it
        was missing from the start. [-]
    order : (n, c) int
        Its place among the events, from 0; -1 without one.
    let_go : (n, r) float
        Factor at which each row let go; infinite where it held. [-]
    outcome : (n,) int
        `COMPLETE` where every row holds, `COLLAPSED` where all have let go, `UNKNOWN` without an answer,
        `STOPPED` where more clamps had given way than were asked for.
    events : (n,) int
        Clamps and splices that gave way.
    last : (n,) float
        Factor at the end. [-]
    state : (n, c) int
        At the end: `fea.solvers.laws.LinkState`, or `GONE`.
    force, jump : (n, c) float
        At the end, down the slope. [N, m]
    splice_at : (n, s) float
        As `at`, of the splices: the first of their parts to give way.
    splice_order : (n, s) int
        As `order`.
    splice_state : (n, s) int
        At the end: 0 whole or yielding, 1 opened to a hinge, 2 parted.
    splice_force : (n, k) float
        Of their parts at the end. [N, N m]
    """

    at: Array
    order: NDArray[np.int16]
    let_go: Array
    outcome: NDArray[np.int8]
    events: NDArray[np.int32]
    last: Array
    state: NDArray[np.int8]
    force: Array
    jump: Array
    splice_at: Array
    splice_order: NDArray[np.int16]
    splice_state: NDArray[np.int8]
    splice_force: Array

    def __len__(self) -> int:
        return len(self.at)

    @property
    def first(self) -> Array:
        """Factor at the first event, (n,); infinite without one, 0 where the held load made it."""
        clamps = np.where(self.order >= 0, self.at, np.inf).min(axis=1, initial=np.inf)
        splices = np.where(self.splice_order >= 0, self.splice_at, np.inf).min(axis=1, initial=np.inf)
        return np.minimum(clamps, splices)

    @property
    def first_row(self) -> Array:
        """Factor at which the first row let go, (n,); infinite where all hold."""
        return self.let_go.min(axis=1, initial=np.inf)

    @property
    def failed(self) -> NDArray[np.bool_]:
        """Samples in which a row let go, (n,); one without an answer counts as failed, the safe reading."""
        return np.isfinite(self.let_go).any(axis=1) | (self.outcome == UNKNOWN)

    def sequence(self, sample: int) -> IntArray:
        """Clamps of one sample in the order in which they gave way."""
        return in_order(self.order[sample])

    def steps(self, sample: int) -> list[tuple[str, int]]:
        """Clamps and splices of one sample in the order in which they gave way, each with what it is."""
        order = np.concatenate([self.order[sample], self.splice_order[sample]])
        c = self.order.shape[1]
        return [("clamp", k) if k < c else ("splice", k - c) for k in in_order(order).tolist()]


def in_order(order: NDArray[Any]) -> IntArray:
    """Those with a place among the events, first ones first."""
    found = np.flatnonzero(order >= 0)
    return found[np.argsort(order[found], kind="stable")]


def cascade(
    roof: Assembly,
    held: ArrayLike,
    load: ArrayLike,
    capacity: ArrayLike,
    residual: ArrayLike,
    *,
    target: float = 1.0,
    missing: ArrayLike | None = None,
    release: ArrayLike = 1.0,
    impact: ArrayLike = 1.0,
    relief: ArrayLike = 0.0,
    path: ArrayLike | None = None,
    bond: ArrayLike = 0.0,
    lies: bool = False,
    splices: SpliceLoads | None = None,
    most: int | None = None,
) -> FailureSamples:
    """Follow all samples.

    Parameters
    ----------
    roof : Assembly
    held, load : (c,) or (n, c) float
        Clamp forces down the slope with every clamp holding: of what is there first (dead load, temperature),
        then of what grows from nothing to `target` times. [N]
    capacity, residual : (c,) or (n, c) float
        Force at which a clamp gives way, and what it holds then; 0 breaks it. [N]
    target : float
    missing : (c,) or (n, c) bool, optional
        Clamps that hold nothing down the slope from the start.
    release : float or (n,) float
        Factor of sudden loss, 1 or more; see the module. [-]
    impact : float or (p, c) float
        Factor of snow that lands, 0 or more; of each piece's snow on each clamp, or one for all.
    relief : float or (n,) float
        Share of a broken clamp's snow that leaves with it, 0 to 1. [-]
    path : (k, c) float, optional
        Parts of `load` that come one after another, such as of planes whose bond goes; all of it together by
        default. Factors then count on: between i and i + 1 while part i comes, the last up to `target`.
    bond : float, (n,) or (n, r) float
        Share of the pull of each row's snow that bond holds and `load` leaves out, from 0 to 1: snow of a
        row that lets go slides without it.
    lies : bool
        Whether the snow lies still and `load` comes on as its bond falls: a row that lets go then hands on at
        once what its bond would have given up later.
    splices : SpliceLoads, optional
        Where the roof has splices that can part.
    most : int, optional
        A sample in which more clamps than this have given way is followed no further.

    Returns
    -------
    FailureSamples

    Raises
    ------
    InputError
        Sizes that do not fit, numbers out of range.
    """
    c, rows = len(roof.row), roof.rows
    gone = np.zeros(c, dtype=bool) if missing is None else np.asarray(missing, dtype=bool)
    given = [np.asarray(a, dtype=float) for a in (held, load, capacity, residual)]
    n = max((len(a) for a in (*given, gone) if a.ndim == 2), default=1)
    try:
        held, load, capacity, residual = (np.ascontiguousarray(np.broadcast_to(a, (n, c))) for a in given)
        gone = np.ascontiguousarray(np.broadcast_to(gone, (n, c)))
    except ValueError:
        shapes = ", ".join(str(a.shape) for a in given)
        message = f"cascade: samples must be ({n}, {c}) or ({c},), not {shapes}."
        raise InputError(message) from None
    _check(held, load, capacity, residual, gone)
    parts = np.ones((1, c)) if path is None else np.ascontiguousarray(path, dtype=float)
    if parts.ndim != 2 or parts.shape[1] != c or not len(parts) or not np.isfinite(parts).all():
        message = f"cascade: path must be (parts, {c}), finite, not {parts.shape}."
        raise InputError(message)
    hard = np.ascontiguousarray(np.broadcast_to(np.asarray(impact, dtype=float), roof.lands.shape))
    shaken, leaves = _each(release, n, "release"), _each(relief, n, "relief")
    for name, values, least in (
        ("target", np.array([target]), 0.0),
        ("release", shaken, 1.0),
        ("impact", hard, 0.0),
    ):
        bad = ~(np.isfinite(values) & (values >= least))
        if bad.any():
            message = f"cascade: {name} = {values[bad][0]:g} must be a number of {least:g} or more."
            raise InputError(message)
    free = _freed(bond, n, rows)
    bad = ~((leaves >= 0.0) & (leaves <= 1.0))
    if bad.any():
        message = f"cascade: relief = {leaves[bad][0]:g} must be from 0 to 1."
        raise InputError(message)
    links = join_links(roof, n, (held, load, capacity, residual, gone), parts, hard, splices)
    size = links.place.shape[0]
    at, order, let_go = np.zeros((n, size)), np.zeros((n, size), dtype=np.int16), np.zeros((n, rows))
    outcome, events, last = np.zeros(n, dtype=np.int8), np.zeros(n, dtype=np.int32), np.zeros(n)
    state, level = np.zeros((n, size), dtype=np.int8), np.zeros((n, len(links.bends)), dtype=np.int8)
    force, jump = np.zeros((n, size)), np.zeros((n, size))
    walk_all(
        links.Z, links.first, links.row, links.own, roof.floor, *links.loads, links.path, float(target),
        *links.holds, links.gone, shaken, links.impact, links.lands, links.piece, links.seam, links.unzip,
        leaves, free, lies, links.splice, links.takes, links.bends, np.int64(size if most is None else most),
        at, order, let_go, outcome, events, last, state, force, jump, level,
    )  # fmt: skip
    clamps, of = links.place[:c], links.place[c:]
    return FailureSamples(
        at=at[:, clamps],
        order=order[:, clamps],
        let_go=let_go,
        outcome=outcome,
        events=events,
        last=last,
        state=state[:, clamps],
        force=force[:, clamps],
        jump=jump[:, clamps],
        splice_at=np.minimum.reduceat(at[:, of], links.begins, axis=1) if len(of) else np.zeros((n, 0)),
        splice_order=first_of(order[:, of], links.begins),
        splice_state=level,
        splice_force=force[:, of],
    )


def walk_all(*given: Any) -> None:
    """The compiled walk, for arrays made alike: for each other kind of array it is compiled anew (10 s)."""
    from fea.failure import kernel

    alike = (np.require(a, requirements=["C", "W"]) if isinstance(a, np.ndarray) else a for a in given)
    kernel.walk_all(*alike)


def _freed(bond: ArrayLike, n: int, rows: int) -> Array:
    """Pull of snow without bond over that with it, (n, r)."""
    share = np.asarray(bond, dtype=float)
    share = share[:, None] if share.ndim == 1 else share
    if share.shape not in {(), (n, 1), (n, rows)} or not ((share >= 0.0) & (share <= 1.0)).all():
        message = f"cascade: bond must be from 0 to 1, one number, ({n},) or ({n}, {rows})."
        raise InputError(message)
    return np.ascontiguousarray(np.broadcast_to(1.0 / np.maximum(1.0 - share, LEAST_FREE), (n, rows)))


def _each(value: ArrayLike, n: int, name: str) -> Array:
    """A number for all samples, or one for each, (n,)."""
    given = np.asarray(value, dtype=float)
    if given.shape not in {(), (n,)}:
        message = f"cascade: {name} must be one number or ({n},), not {given.shape}."
        raise InputError(message)
    return np.ascontiguousarray(np.broadcast_to(given, (n,)))


def _check(held: Array, load: Array, capacity: Array, residual: Array, gone: NDArray[np.bool_]) -> None:
    for name, good, right in (
        ("held", np.isfinite(held), "must be a number"),
        ("load", np.isfinite(load), "must be a number"),
        ("capacity", gone | (capacity > 0.0), "must be positive where the clamp is there"),
        (
            "residual",
            gone | ((residual >= 0.0) & (residual <= capacity)),
            "must lie between 0 and the capacity",
        ),
    ):
        if not good.all():
            at = np.unravel_index(int(np.argmin(good)), good.shape)
            message = f"cascade: {name} of sample {at[0]}, clamp {at[1]} {right}."
            raise InputError(message)
