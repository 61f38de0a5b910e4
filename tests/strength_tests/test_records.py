"""Odd records never raise a strength in silence, and honest ones are left alone."""

import json
import tomllib

import numpy as np
import pytest
from click.testing import CliRunner

from fea.strength_tests.campaign import judge
from fea.strength_tests.record_notes import doubts
from fea.strength_tests.records import read_record
from roofmodel.errors import InputError
from roofmodel.project.campaigns import load_campaign
from tests.strength_tests.test_campaign import HEAD
from tests.strength_tests.test_rig import BENDING
from viewer.cli import commands
from viewer.strength.words import answer

PEAKS = (4.2e3, 4.6e3, 4.7e3, 4.4e3, 4.3e3, 4.5e3, 3.1e3)  # the last one is the weakest
STIFF = 3e6  # of a clamp at its start [N/m]


def softening(peak, k=STIFF, points=120, end=8e-3, slack=0.2e-3, noise=0.003, rng=None):
    """A clamp that softens up to its peak and loses three quarters soon after. [m, N]."""
    u = np.linspace(0.0, end, points)
    x, top = np.maximum(u - slack, 0.0), 4.0 * peak / k
    f = peak * (1.0 - np.exp(-k * x / peak)) / (1.0 - np.exp(-4.0))
    f = np.where(x > top, peak * (0.25 + 0.75 * np.exp(-(x - top) / 0.25e-3)), f)
    return u, f if rng is None else f + noise * peak * rng.normal(size=points) * (x > 0.0)


def curves():
    rng = np.random.default_rng(11)
    return [softening(peak, rng=rng) for peak in PEAKS]


def written(folder, some, method="", specimen="", extra="", rig=""):
    folder.mkdir(exist_ok=True)
    text = HEAD if not specimen else HEAD.replace('metal = "steel"', specimen)
    text += f"{rig}[method]\n{method}\n"
    for i, (u, f) in enumerate(some, 1):
        rows = "\n".join(f"{1e3 * a:.6f},{1e-3 * b:.6f}" for a, b in zip(u, f, strict=True))
        (folder / f"c{i}.csv").write_text(f"displacement [mm],force [kN]\n{rows}")
        text += f'[[test]]\nname = "T{i}"\ncurve = "c{i}.csv"\n{extra if i == len(some) else ""}\n'
    (folder / "c.toml").write_text(text)
    return folder / "c.toml"


def ran(path, *more):
    out = path.parent / "o"
    done = CliRunner().invoke(commands, ["tests", str(path), "--out", str(out), *more])
    return done, " ".join(done.output.split()), out


def with_fault(name):
    """The campaign whose weakest record has the fault."""
    some = curves()
    u, f = some[-1]
    u, f, at = u.copy(), f.copy(), int(0.7 * np.argmax(f))
    if name == "spike":
        f[at] = 4.4e3
    elif name == "jump":
        f[at:] += 1.2e3
    elif name == "start":
        f += 0.9e3
    elif name == "below":
        f -= 0.6e3
    elif name == "gauge":
        u[at:] += 1.5e-3
    elif name == "lasting spike":
        f[at : at + 3] = 4.4e3
    elif name == "filtered jump":
        f[at:] += 1.2e3 * np.minimum(np.arange(1, len(f) - at + 1) / 3.0, 1.0)
    elif name == "last reading":
        u, f = u[: np.argmax(f) + 1], f[: np.argmax(f) + 1].copy()
        f[-1] = 4.4e3
    return [*some[:-1], (u, f)]


def test_a_lone_spike_is_no_peak(tmp_path):
    honest = judge(load_campaign(written(tmp_path / "a", curves())))
    found = judge(load_campaign(written(tmp_path / "b", with_fault("spike"))))
    np.testing.assert_allclose(found.measured, honest.measured, rtol=1e-9)
    assert found.justified.characteristic == pytest.approx(honest.justified.characteristic)
    note = next(n for n in found.notes if n.startswith("CHECK THE RECORD of T7: one reading of 4.4"))
    assert "stands alone" in note
    assert not any("CHECK" in n for n in honest.notes)
    done, _, out = ran(tmp_path / "b" / "c.toml")
    assert done.exit_code == 0
    notes = tomllib.loads((out / "clamp.toml").read_text())["clamp"]["tested"]["notes"]
    assert any("CHECK THE RECORD of T7" in n for n in notes)


@pytest.mark.parametrize("take", ["peak", "slip", "proof"])
@pytest.mark.parametrize("name", ["spike", "jump", "start", "lasting spike", "filtered jump", "last reading"])
def test_no_fault_raises_a_strength_unless_the_result_says_so(tmp_path, name, take):
    method = f'take = "{take}"'
    honest = judge(load_campaign(written(tmp_path / "a", curves(), method)))
    found = judge(load_campaign(written(tmp_path / "b", with_fault(name), method)))
    higher = found.measured[-1] > 1.03 * honest.measured[-1]
    assert not higher or doubts(found)
    if doubts(found):
        assert answer(found).startswith("DO NOT RELY ON THESE STRENGTHS")
        assert any(n.startswith("CHECK THE") and "T7" in n for n in found.notes)


@pytest.mark.parametrize(("name", "words"), [
    ("jump", "CHECK THE RECORD of T7: its force jumps up by 1.2"),
    ("start", "CHECK THE ZERO of T7: the record starts at 0.90 kN"),
])  # fmt: skip
def test_where_it_may_be_too_high_there_is_no_clamp_file(tmp_path, name, words):
    done, said, out = ran(written(tmp_path / "a", with_fault(name)))
    assert done.exit_code == 1
    assert said.index("DO NOT RELY ON THESE STRENGTHS") < said.index("characteristic strength")
    assert words in said
    assert "NO clamp.toml is written: odd record of T7" in said
    assert not (out / "clamp.toml").exists()
    assert json.loads((out / "tests.json").read_text())["doubts"]
    other = written(tmp_path / "b", curves())
    other.write_text(other.read_text().replace('direction = "pull"', 'direction = "across"'))
    done, _, _ = ran(other, "--join", str(out / "tests.json"))
    assert isinstance(done.exception, InputError)
    assert "tests.json: doubts: odd record of T7" in str(done.exception)


def test_every_zero_that_was_not_set_is_named(tmp_path):
    found = judge(load_campaign(written(tmp_path / "a", [(u, f + 0.9e3) for u, f in curves()])))
    assert any(n.startswith("CHECK THE ZERO of T1, T2, T3, T4, T5, T6, T7:") for n in found.notes)
    assert doubts(found)


def test_what_can_only_lower_a_strength_is_told_and_no_more(tmp_path):
    found = judge(load_campaign(written(tmp_path / "a", with_fault("below"))))
    assert any(n.startswith("CHECK THE ZERO of T7") and "too low" in n for n in found.notes)
    assert not doubts(found)


def test_a_gauge_that_jumps_is_doubted_where_strengths_hang_on_it(tmp_path):
    for take in ("peak", "proof"):
        found = judge(load_campaign(written(tmp_path / take, with_fault("gauge"), f'take = "{take}"')))
        assert any(n.startswith("CHECK THE GAUGE of T7: the displacement jumps by 1.5") for n in found.notes)
        assert bool(doubts(found)) == (take == "proof")


def honest_curve(rng):
    """A clamp of any kind as any rig may read it: play, slips and regrips, noise, counts, few readings."""
    peak, k = rng.uniform(1.5e3, 9e3), rng.uniform(1e6, 1e7)
    kind = rng.choice(["softens", "bends", "breaks", "seats", "slides"])
    slack, way = rng.choice([0.0, 0.3e-3, 1.5e-3]), {"softens": 4.0, "breaks": 1.0}.get(kind, 2.0) * peak / k
    end = (slack + way) * rng.choice([1.2, 1.6, 2.5])
    fine = np.linspace(0.0, end, 20_001)
    x, top = np.maximum(fine - slack, 0.0), slack + way
    f = {
        "softens": peak * (1.0 - np.exp(-k * x / peak)) / (1.0 - np.exp(-4.0)),
        "bends": np.interp(x, [0.0, 0.4 * way, way], [0.0, 0.75 * peak, peak]),
        "breaks": k * x,
        "seats": np.minimum(peak * (x / way) ** 1.6, peak),
        "slides": np.minimum(k * x, peak),
    }[kind]
    left = rng.choice([0.0, 0.2, 0.6, 0.85])
    after = np.clip((fine - top) / rng.choice([1e-6, 0.2e-3, 1e-3]), 0.0, 700.0)
    f = np.where(fine > top, peak * (left + (1.0 - left) * np.exp(-after)), f)
    if rng.random() < 0.45:  # it grips again no stiffer than it began
        for at in rng.uniform(slack + 0.15 * way, slack + 0.95 * way, size=rng.integers(1, 3)):
            on = fine >= at
            loss = rng.uniform(0.03, 0.35) * f[np.argmax(on)]
            back = max(rng.choice([0.02, 0.1, 0.3]) * way, loss / k)
            f = f - on * loss * np.exp(-np.maximum(fine - at, 0.0) / back)
    n = int(rng.choice([14, 20, 30, 60, 120, 300, 1000]))
    inner = rng.uniform(0.0, end, n - 2) if rng.random() < 0.3 else np.linspace(0.0, end, n)[1:-1]
    u = np.concatenate([[0.0], np.sort(inner), [end]])
    read = np.interp(u, fine, f)
    read = read + rng.choice([0.0, 0.002, 0.005, 0.01, 0.02]) * peak * rng.normal(size=n)
    if rng.random() < 0.3:
        count = rng.choice([0.002, 0.01]) * peak
        read = np.round(read / count) * count
    if rng.random() < 0.25:
        count = rng.choice([1e-6, 1e-5, 5e-5])
        u = np.round(u / count) * count
    return u, read


def test_honest_records_are_left_alone():
    """None of 500 records of all kinds."""
    rng, odd = np.random.default_rng(4), 0
    for _ in range(500):
        u, f = honest_curve(rng)
        _, one = read_record(u, f)
        odd += len(one.spikes) > 0 or one.jump is not None
        assert one.start is None
        assert one.gauge is None
    assert odd == 0


@pytest.mark.parametrize(("points", "share"), [(60, 0.6), (300, 0.9)])
def test_jumps_of_a_third_are_found_in_records_of_all_kinds(points, share):
    rng, found, tried = np.random.default_rng(5), 0, 0
    while tried < 100:
        u, f = honest_curve(rng)
        top = int(np.argmax(f))
        if len(u) < points or top < 20:
            continue
        jumped = f + 0.35 * f.max() * (np.arange(len(f)) >= rng.integers(top // 2, top))
        tried, found = tried + 1, found + (read_record(u, jumped)[1].jump is not None)
    assert found >= share * tried


def test_the_weakest_test_is_not_left_out_in_silence(tmp_path):
    path = written(tmp_path / "a", curves(), extra='excluded = "another mode"')
    found = judge(load_campaign(path))
    gain = 100.0 * (found.justified.characteristic / found.all_tests.characteristic - 1.0)
    words = f"The excluded test T7 was the weakest (3.1{str(found.nominal[6])[2]} kN): leaving it out raises"
    note = next(n for n in found.notes if n.startswith(words[:40]))
    assert f"by {gain:.0f} %; a weaker way to fail has to be judged by itself" in note
    done, _, out = ran(path)
    assert done.exit_code == 0
    notes = tomllib.loads((out / "clamp.toml").read_text())["clamp"]["tested"]["notes"]
    assert any("The excluded test T7 was the weakest" in n for n in notes)
    some = curves()
    strong = judge(load_campaign(written(tmp_path / "b", [some[-1], *some[:-1]], extra='excluded = "bolt"')))
    assert not any("was the weakest" in n for n in strong.notes)


def test_the_furthest_test_is_named(tmp_path):
    found = judge(load_campaign(written(tmp_path / "a", curves())))
    off = 1.0 - found.nominal[6] / found.nominal.mean()
    assert any(n.startswith(f"Test T7 is {100.0 * off:.0f} % off the mean") for n in found.notes)


def hyperbolas(over):
    """F = k u / (1 + u / a) to so many times a, and gone."""
    x = np.linspace(0.0, over, 120)
    rise = [peak * x / (1.0 + x) * (1.0 + over) / over for peak in PEAKS]
    return [(np.append(x, 1.01 * over) * 1e-3, np.append(f, 0.1 * f[-1])) for f in rise]


@pytest.mark.parametrize("over", [1.0, 2.0, 3.0])
def test_a_clamp_that_softens_has_two_stiffnesses(tmp_path, over):
    """Slope from 10 to 40 % of the peak by hand, on F = k u / (1 + u / a): within the range of clamp.toml."""
    done, said, out = ran(written(tmp_path / "b", hyperbolas(over), rig="[rig]\n"))
    assert done.exit_code == 0
    text = tomllib.loads((out / "clamp.toml").read_text())["clamp"]["stiffness"]["pull"]
    low, high = (float(one) for one in text.removesuffix(" kN/mm").split(" to "))
    peaks = 1e-3 * np.array(PEAKS)  # [kN]
    shares = np.array([0.1, 0.4]) * over / (1.0 + over)
    x = shares / (1.0 - shares)  # at those shares of the peak, over a = 1 mm
    early = np.exp(np.log(peaks).mean()) * 0.3 / np.ptp(x)
    whole = np.exp(np.log(peaks).mean()) / over
    assert high == pytest.approx(early, rel=0.04)  # a line through all points, not through its ends
    assert whole < low < high / 1.1
    assert ("CHECK THE CURVES of T1" in said) == (over > 1.0)


def test_strengths_stand_where_the_model_of_single_clamps_does_not_fit(tmp_path):
    plain = ran(written(tmp_path / "a", hyperbolas(8.0)))[2]
    done, said, out = ran(written(tmp_path / "b", hyperbolas(8.0), rig="[rig]\n"))
    assert done.exit_code == 1
    assert "THE MODEL DOES NOT FIT" in said
    assert "leave out [rig] and they are the same" in said
    texts = [tomllib.loads((folder / "clamp.toml").read_text())["clamp"] for folder in (plain, out)]
    assert texts[0]["strength"] == texts[1]["strength"]
    assert "stiffness" not in texts[1]


def test_with_a_rail_the_rig_is_not_to_be_left_out(tmp_path):
    done, said, out = ran(written(tmp_path / "a", curves(), rig=BENDING.format(I=0.05)))
    assert done.exit_code == 1
    assert "THE MODEL DOES NOT FIT" in said
    assert "Do not leave it out" in said
    assert not (out / "clamp.toml").exists()


def test_a_test_that_never_failed_is_a_lower_bound(tmp_path):
    some, rng = curves(), np.random.default_rng(2)
    u, f = softening(4.6e3, rng=rng)
    some[2] = u[: np.argmax(f)], f[: np.argmax(f)]
    u = np.linspace(0.0, 8e-3, 120)
    some[3] = u, np.minimum(STIFF * u, 4.5e3) + 5.0 * rng.normal(size=120)  # slides at a constant force
    found = judge(load_campaign(written(tmp_path / "a", some)))
    assert any(n.startswith("T3 did not fail:") and "its strength is a lower bound" in n for n in found.notes)


@pytest.mark.parametrize("metal", ["aluminum", "steel"])
def test_a_standard_of_steel_is_not_one_of_aluminum(tmp_path, metal):
    found = judge(load_campaign(written(tmp_path / "a", curves(), specimen=f'metal = "{metal}"')))
    told = [n for n in found.notes if n.startswith("AISI S100 is a standard of cold-formed steel")]
    assert len(told) == (metal == "aluminum")


def test_a_sharp_peak_on_few_readings_is_no_spike():
    """Nothing leads to it, but no more could: the clamp broke by the reading after its slack."""
    u = 0.2e-3 * np.arange(14)
    f = np.array([0.0] * 4 + [4e3] + [0.5e3] * 9)
    force, one = read_record(u, f)
    assert force.max() == 4e3
    assert one.jump is None
    f[4:7] = 2e3, 4e3, 0.5e3
    assert read_record(u, f)[0].max() == 4e3


def test_a_steep_regrip_up_to_the_failure_is_no_jump():
    """It grips again 2.3 times as stiff as it began, and goes a tenth beyond what it had held."""
    k, step = 3e6, 65e-6
    rise, again = k * step * np.arange(1, 19), 2190.0 + 2.3 * k * step * np.arange(5)
    f = np.concatenate([np.zeros(2), rise, again, np.full(12, 300.0)])
    assert f.max() > 1.1 * rise[-1]
    _, one = read_record(step * np.arange(len(f)), f)
    assert one.jump is None
    assert not len(one.spikes)


def test_a_curve_of_few_readings_that_bends_sharply_has_no_spike():
    """Its last step up is as steep as those before it, whatever the force does then."""
    u = 0.3e-3 * np.arange(16)
    f = np.minimum(3e6 * u, 9.9e3)
    f[12:] = 200.0
    force, one = read_record(u, f)
    np.testing.assert_array_equal(force, f)
    assert one.jump is None
