"""Splices that part in a cascade: against frames solved anew, the event solver, and equilibrium."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from fea.failure.assembled import ALONE, OPENS, PARTS, SpliceLoads
from fea.failure.cascade import COLLAPSED, COMPLETE, cascade
from fea.failure.condense import clamp_forces, condense
from fea.failure.jobs import _counts
from fea.failure.roof_case import _covers
from fea.failure.splices import BENDING_Y, PULL, SHEAR, can_part, link_forces, loose_splices, part_row
from fea.failure.study import RoofCase, Scatter, SpliceCase, dimensions, drawn, explained
from fea.sampling.variables import make_inputs
from fea.solvers.events import follow_links
from fea.solvers.laws import slip
from fea.solvers.links import link_form
from roofmodel.errors import InputError
from tests.failure.parted import loads_on_pieces
from tests.frame.rails import CONTINUOUS, HINGE, SLIDING, make_clamp, make_layout, make_loads, plain_rail

CLAMP = make_clamp([2e6, 3e6, 5e6, 800.0, 900.0, 300.0], 0.06)
RAIL = plain_rail(4e3)
PULLS = [
    (0, 0.0, 3.1, (0.0, -900.0, 0.0, 0.0)),
    (0, 3.1, 6.05, (0.0, -1500.0, -200.0, 0.0)),
    (0, 6.05, 9.0, (0.0, -1200.0, 20.0, 3.0)),
    (1, 0.0, 4.5, (0.0, -1000.0, -100.0, 0.0)),
    (1, 4.5, 9.0, (0.0, -1100.0, -100.0, 0.0)),
]


class Rows:
    """Two rows with three splices in all, condensed, and their loads."""

    def __init__(self, kind, clamp=CLAMP):
        clamps = list(np.linspace(0.4, 8.6, 12))
        self.layout = make_layout(
            [
                {"length": 9.0, "clamps": clamps, "splices": [(3.1, kind), (6.05, kind)]},
                {"length": 9.0, "clamps": clamps, "splices": [(4.5, kind)], "start": (0.0, 3.0)},
            ]
        )
        self.loads = make_loads(PULLS)
        self.clamp = clamp
        lands = np.zeros((5, 24))  # of three pieces below and two above: each onto what is below it, unevenly
        lands[3, :6] = np.arange(1.0, 7.0) / 21.0
        lands[4, 6:12] = np.arange(6.0, 0.0, -1.0) / 21.0
        self.lands = lands
        self.roof = condense(self.layout, RAIL, clamp, lands=lands, splices=True)
        self.splices = self.roof.splices
        self.force = link_forces(self.layout, RAIL, clamp, self.loads, self.splices)[0]

    def held(self, capacity, takes=PARTS, residual=0.0, parted=None):
        k, own = len(self.splices.of), self.force[24:]
        full = np.broadcast_to(capacity, k)
        rest = np.broadcast_to(residual, k) * np.where(np.isfinite(full), full, 1.0)
        return SpliceLoads(0.0 * own, own, full, rest, np.full(k, takes), parted)

    def run(self, strength, splices, residual=0.0, **more):
        clamps = self.force[:24]
        return cascade(self.roof, 0.0 * clamps, clamps, strength, residual, splices=splices, **more)

    def anew(self, splice, loads=None):
        """Clamp forces of the frame with that splice cut, solved from the start."""
        row, s = int(self.layout.splice_row[splice]), float(self.layout.splice_s[splice])
        apart = part_row(self.layout, splice)
        return clamp_forces(apart, RAIL, self.clamp, loads_on_pieces(loads or self.loads, row, s))[0]


@pytest.fixture(scope="module", params=[HINGE, CONTINUOUS, SLIDING], ids=str)
def rows(request):
    return Rows(request.param)


@pytest.fixture(scope="module")
def hinged():
    return Rows(HINGE)


@pytest.fixture(scope="module")
def whole():
    return Rows(CONTINUOUS)


def test_a_parted_splice_is_the_frame_solved_with_it_cut(rows):
    """Every clamp to 1e-9, and each piece in equilibrium with the pull on it by itself."""
    parts = {HINGE: 4, CONTINUOUS: 6, SLIDING: 3}[rows.layout.splice_kind[0]]
    assert len(rows.splices.of) == 3 * parts
    for g in range(3):
        found = rows.run(1e9, rows.held(np.inf, parted=np.arange(3) == g))
        assert found.force[0] == pytest.approx(rows.anew(g), rel=1e-9, abs=1e-9 * 1500.0)
        own = rows.splices.of == g
        assert np.abs(found.splice_force[0, own]).max() < 1e-9 * 1500.0
        assert found.splice_at[0].tolist() == [-1.0 if h == g else np.inf for h in range(3)]
        assert found.splice_order.max() == -1
        left = np.arange(24) < rows.splices.place[g]
        left &= rows.layout.clamp_row == rows.splices.row[g]
        pull = sum(
            -load[3][1] * (load[2] - load[1])
            for load in PULLS
            if load[0] == rows.splices.row[g] and load[2] <= rows.layout.splice_s[g] + 1e-9
        )
        assert abs(found.force[0, left].sum()) == pytest.approx(pull, rel=1e-9)


def test_a_splice_parts_where_its_shear_reaches_its_strength(rows):
    """Elastic until then, so at strength / shear; after that the frame with it cut."""
    shear = (rows.splices.of == 1) & (rows.splices.part == SHEAR)
    own = float(np.abs(rows.force[24:][shear][0]))
    capacity = np.full(len(rows.splices.of), np.inf)
    capacity[shear] = 0.7 * own
    found = rows.run(1e9, rows.held(capacity))
    assert found.splice_at[0, 1] == pytest.approx(0.7, rel=1e-9)
    assert found.splice_order[0].tolist() == [-1, 0, -1]
    assert found.splice_state[0].tolist() == [0, 2, 0]
    assert found.events[0] == 1
    assert found.first[0] == pytest.approx(0.7, rel=1e-9)
    assert found.steps(0) == [("splice", 1)]
    assert found.force[0] == pytest.approx(rows.anew(1), rel=1e-9, abs=1e-9 * 1500.0)


def test_a_splice_that_opens_is_a_hinge(whole, hinged):
    """Moments past their limit are gone, shear goes on: the frame whose splice is a hinge."""
    bending = (whole.splices.of == 2) & whole.splices.bends
    capacity = np.full(len(whole.splices.of), np.inf)
    capacity[bending] = 0.5 * np.abs(whole.force[24:][bending])
    takes = np.where(whole.splices.bends, OPENS, PARTS)
    found = whole.run(1e9, whole.held(capacity, takes))
    assert found.splice_state[0].tolist() == [0, 0, 1]
    assert found.splice_at[0, 2] == pytest.approx(0.5, rel=1e-9)
    second = whole.layout.clamp_row == 1
    assert found.force[0, second] == pytest.approx(hinged.force[:24][second], rel=1e-9)


@pytest.mark.parametrize(("residual", "target"), [(0.0, 0.87), (0.6, 0.915), (1.0, 0.95)])
def test_parts_that_slip_or_yield_go_the_way_of_the_event_solver(whole, residual, target):
    """Each part of a splice as one link, clamps breaking beside it: events and forces to 1e-9."""
    own, c = whole.splices, 24
    shown = np.isin(own.part, (SHEAR, BENDING_Y + 1))
    force = np.abs(whole.force[c:])
    limit = np.where(shown, np.maximum(0.6 * force, 30.0), 1e12)
    strength = np.random.default_rng(4).uniform(1050.0, 1500.0, c)
    kept = strength * np.where(np.arange(c) % 3, 0.8, 0.0)
    Z = np.block([[whole.roof.Z, own.Z[:, :c].T], [own.Z]])
    capacity = np.concatenate([strength, limit])
    rest = np.concatenate([kept, residual * limit])
    exact = follow_links(
        link_form(Z, np.concatenate([whole.roof.own, own.own])),
        slip(np.concatenate([whole.roof.own, own.own]), capacity, rest),
        whole.force[None],
        targets=np.array([target]),
    )
    found = whole.run(strength, whole.held(limit, ALONE, residual), kept, target=target)
    assert exact.outcome == "complete"
    assert found.outcome[0] == COMPLETE
    first: dict[int, float] = {}
    for factor, link, before in zip(exact.events.factor, exact.events.link, exact.events.before, strict=True):
        if before == 0:
            first.setdefault(int(link), float(factor))
    clamps = {k: f for k, f in first.items() if k < c}
    assert len(first) >= 3
    assert [found.at[0, k] for k in clamps] == pytest.approx(list(clamps.values()), rel=1e-9)
    for g in range(3):
        own_first = [f for k, f in first.items() if k >= c and own.of[k - c] == g]
        assert found.splice_at[0, g] == pytest.approx(min(own_first, default=np.inf), rel=1e-9)
    both = np.concatenate([found.force[0], found.splice_force[0]])
    assert both == pytest.approx(exact.force, rel=1e-9, abs=1e-6)


def test_a_piece_lets_go_by_itself_and_lands(hinged):
    """The right piece of the upper row is weak: it goes, its snow comes down, the left one stands on."""
    strength = np.full(24, 1e9)
    right = np.arange(24) >= hinged.splices.place[2]
    strength[right] = 300.0
    parted = np.array([False, False, True])
    found = hinged.run(strength, hinged.held(np.inf, parted=parted))
    assert found.outcome[0] == COMPLETE
    assert np.isfinite(found.let_go[0]).tolist() == [False, True]
    assert (found.state[0, right] == 7).all()
    left = (hinged.layout.clamp_row == 1) & ~right
    assert found.force[0, left] == pytest.approx(hinged.anew(2)[left], rel=1e-9)
    came = hinged.force[:24][right].sum()
    assert found.force[0, :12].sum() == pytest.approx(hinged.force[:12].sum() + came, rel=1e-9)


def test_a_weak_piece_loads_what_is_below_it_as_a_row_of_its_own(hinged):
    """Against two upper rows in place of its pieces: the same forces and end of the lower row."""
    parted = np.array([False, False, True])
    apart = part_row(hinged.layout, 2)
    rows = condense(apart, RAIL, CLAMP, lands=hinged.lands[[0, 3, 4]])
    weak = np.arange(24) >= hinged.splices.place[2]
    held = np.where(
        weak, hinged.force[:24], hinged.anew(2)
    )  # a piece held what its clamps did in the whole row
    hard = 1.0 + np.arange(24.0) / 24.0
    ends = []
    for low in (1e9, 2600.0):
        strength = np.where(weak, 300.0, np.where(hinged.layout.clamp_row == 0, low, 1e9))
        own = cascade(rows, np.zeros(24), held, strength, 0.0, impact=hard * np.ones((3, 1)))
        found = hinged.run(strength, hinged.held(np.inf, parted=parted), impact=hard * np.ones((5, 1)))
        assert np.isfinite(own.let_go[0]).tolist() == [low < 1e9, False, True]
        assert np.isfinite(found.let_go[0]).tolist() == [low < 1e9, True]
        ends.append((own, found))
    own, found = ends[0]
    assert found.force[0] == pytest.approx(own.force[0], rel=1e-9, abs=1e-6)
    came = found.force[0, :12] - hinged.force[:12]
    assert came[6:].max() > 4.0 * np.abs(came[:6]).max()
    own, found = ends[1]
    assert found.at[0, :12].min() == pytest.approx(own.at[0, :12].min(), rel=1e-9)
    # What of the row is spread along the whole row below would not break it.
    even = replace(hinged.roof, lands=np.repeat([[1.0 / 12.0]], 5, axis=0) * (np.arange(24) < 12))
    even = replace(even, lands=np.where(np.arange(5)[:, None] >= 3, even.lands, 0.0))
    loads = hinged.held(np.inf, parted=parted)
    told = cascade(
        even, np.zeros(24), hinged.force[:24], strength, 0.0, impact=hard * np.ones((5, 1)), splices=loads
    )
    assert np.isfinite(told.let_go[0]).tolist() == [False, True]


def test_a_piece_that_swings_about_its_hinge_has_torn_off():
    """An end piece without clamps is held by nothing but its hinge; the rest is the frame without it."""
    hinged = Rows(HINGE, make_clamp([2e6, 3e6, 5e6, 800.0, 900.0, 0.0], 0.06))
    strength = np.full(24, 1e9)
    right = np.arange(24) >= hinged.splices.place[2]
    strength[right] = 300.0
    found = hinged.run(strength, hinged.held(np.inf))
    assert found.splice_state[0].tolist() == [0, 0, 2]
    assert found.splice_order[0, 2] == found.events[0] - 1 == right.sum()
    assert np.isfinite(found.let_go[0]).tolist() == [False, True]
    left = (hinged.layout.clamp_row == 1) & ~right
    assert found.force[0, left] == pytest.approx(hinged.anew(2)[left], rel=1e-9)
    every = hinged.run(np.where(hinged.layout.clamp_row == 1, 300.0, 1e9), hinged.held(np.inf))
    assert (every.state[0, 12:] == 7).all()


def test_a_case_that_loads_splices_more_is_no_part_of_one_that_loads_clamps_more(hinged):
    """Even snow hardly loads a splice; the same snow on one side of it does, though on no clamp more."""
    even = make_loads([(r, 0.0, 9.0, (0.0, -1000.0, 0.0, 0.0)) for r in (0, 1)])
    side = make_loads([(0, 0.0, 9.0, (0.0, -1000.0, 0.0, 0.0)), (1, 4.5, 9.0, (0.0, -1000.0, 0.0, 0.0))])
    found = [link_forces(hinged.layout, RAIL, CLAMP, one, hinged.splices)[0] for one in (even, side)]

    def pulled(force):
        snow = np.stack([np.abs(force), 0.0 * force])[None]
        return SimpleNamespace(
            held=np.zeros(24), capacity=np.full(24, 1e5), snow=snow[..., :24],
            splice_snow=np.stack([force, 0.0 * force])[None][..., 24:],
        )  # fmt: skip

    shear = 24 + np.flatnonzero((hinged.splices.of == 2) & (hinged.splices.part == SHEAR))
    assert abs(found[1][shear]) > 5.0 * abs(found[0][shear])
    assert not _covers(pulled(found[0]), pulled(found[1]))
    assert _covers(pulled(found[0]), pulled(0.5 * found[0]))


def test_splices_that_hold_on_are_not_counted_as_parted(whole):
    """A weak row lets go; its splices that yield gave way, and none of them parted."""
    strength = np.where(whole.layout.clamp_row == 1, 900.0, 1e9)
    counts = []
    for takes in (PARTS, ALONE):
        shear = whole.splices.part == SHEAR
        held = whole.held(np.where(shear, 60.0, 1e12), takes, 1.0 * (takes == ALONE))
        found = whole.run(strength, held)
        assert found.failed.all()
        assert (found.splice_order >= 0).any()
        counts.append(sum(_counts([found])["parted"]))
    assert counts[0] > 0
    assert counts[1] == 0


def test_scatter_of_splices_alone_is_scatter_and_has_its_share(hinged):
    """Their weakest one is an input of the reserve, and each input has a name."""
    own, k = hinged.force[24:], len(hinged.splices.of)
    snow = np.stack([hinged.force, 0.0 * hinged.force])[None]
    splices = SpliceCase(
        0.0 * own, snow[..., 24:], np.full(k, 1e3), np.zeros(k), np.full(k, PARTS), 0.0 * own, 0.3
    )
    case = RoofCase(
        hinged.roof, np.zeros(24), snow[..., :24], np.zeros(1), 0.0, np.full(24, 1e4), np.zeros(24),
        splices=splices,
    )  # fmt: skip
    scatter = Scatter(make_inputs([]))
    assert explained(scatter, case) == ("strength of the weakest splice",)
    normal = np.random.default_rng(1).standard_normal((50, dimensions(case, scatter)))
    samples = drawn(case, scatter, normal)
    least = (samples.splices.capacity / 1e3).min(axis=1)
    assert samples.inputs[:, 0] == pytest.approx(least)
    assert explained(scatter, replace(case, splices=replace(splices, scatter=0.0))) == ()


def test_a_weak_splice_stops_what_a_strong_one_passes_on(hinged):
    """The right third of the lower row is lost: a strong splice drags the rest along, a weak one does not."""
    strength = np.full(24, 1400.0)
    strength[hinged.splices.place[1] : 12] = 500.0
    strength[12:] = 1e9
    ends = [hinged.run(strength, hinged.held(v), release=2.0).at[0, :12] for v in (1e9, 400.0)]
    assert np.isfinite(ends[0]).sum() > np.isfinite(ends[1]).sum() >= 4


def test_splices_that_never_part_change_nothing(hinged):
    strength = np.random.default_rng(2).uniform(850.0, 1700.0, (40, 24))
    plain = cascade(
        replace(hinged.roof, splices=None), np.zeros(24), hinged.force[:24], strength, 0.0, release=1.5
    )
    found = hinged.run(strength, hinged.held(np.inf), release=1.5)
    stands = plain.outcome == COMPLETE
    assert stands.sum() > 5
    assert found.force[stands] == pytest.approx(plain.force[stands], rel=1e-8, abs=1e-6)
    assert (found.order[stands] == plain.order[stands]).all()
    assert (plain.outcome == COLLAPSED).any() or (~stands).sum() == 0


def test_pieces_that_cannot_stand_have_no_splice_that_parts():
    """One clamp without stiffness against turning leaves its piece loose; so does none."""
    loose = make_clamp([2e6, 3e6, 5e6, 0.0, 0.0, 0.0], 0.06)
    row = {"length": 6.0, "clamps": [0.5, 1.5, 2.5, 3.5, 4.5, 5.5]}
    layout = make_layout([{**row, "splices": [(1.0, CONTINUOUS), (3.0, CONTINUOUS), (5.8, CONTINUOUS)]}])
    firm = make_clamp([2e6, 3e6, 5e6, 800.0, 900.0, 300.0], 0.06)
    assert can_part(layout, RAIL, firm).tolist() == [0, 1]
    splices = condense(layout, RAIL, firm, splices=True).splices
    assert loose_splices(layout, splices) == (f"splice at {layout.clamp_name[5]}",)
    assert len(loose_splices(layout, None)) == 3
    assert can_part(layout, RAIL, loose).tolist() in ([], [1])


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"capacity": 0.0}, "capacity positive"),
        ({"residual": 2e9, "capacity": 1e9}, "residual of a splice"),
        ({"load": np.zeros(3)}, "splices must be"),
    ],
)
def test_bad_splices_are_named(hinged, change, words):
    good = vars(hinged.held(1e3))
    with pytest.raises(InputError, match=words):
        hinged.run(1e9, SpliceLoads(**(good | change)))
    with pytest.raises(InputError, match="none that can part"):
        cascade(
            replace(hinged.roof, splices=None), np.zeros(24), np.ones(24), 1.0, 0.0, splices=hinged.held(1.0)
        )


def test_pull_along_the_rail_counts_where_it_is_given(hinged):
    """A force along the rail on its right end runs through the hinge: half a splice's pull parts it."""
    loads = make_loads([(0, 6.05, 9.0, (800.0, 0.0, 0.0, 0.0))])
    force = link_forces(hinged.layout, RAIL, CLAMP, loads, hinged.splices)[0]
    pull = (hinged.splices.part == PULL) & (hinged.splices.of == 1)
    capacity = np.where(pull, 0.5 * np.abs(force[24:]), np.inf)
    own = SpliceLoads(0.0 * force[24:], force[24:], capacity, 0.0, np.full(len(pull), PARTS))
    found = cascade(hinged.roof, np.zeros(24), force[:24], 1e9, 0.0, splices=own)
    assert found.splice_at[0] == pytest.approx([np.inf, 0.5, np.inf])
