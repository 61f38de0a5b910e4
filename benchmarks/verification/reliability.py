"""Samplers, failures in order and evidence, against chances and strengths that are known."""

from __future__ import annotations

import numpy as np
from scipy import stats

from benchmarks.verification.findings import Finding
from fea.failure.cascade import cascade
from fea.sampling.chance import counted, crude, importance, latin, subset
from tests.failure.chains import one_row, rigid_row
from tests.sampling.known_chances import RARE, curved, curved_chance, four_branches, plane

SEEDS = 40


def chance_findings(quick: bool) -> list[Finding]:
    """Chances known in closed form; the mean of many seeds shows bias, the share of intervals their truth."""
    found = []
    seeds = 4 if quick else SEEDS
    for name, (margin, inputs, exact) in RARE.items():
        many = [subset(margin, inputs, seed=seed) for seed in range(seeds)]
        inside = sum(one.low <= exact <= one.high for one in many)
        mean = float(np.mean([one.value for one in many]))
        words = f"subset sampling, {name}"
        found.append(Finding(f"{words}, mean chance", "closed form", f"{seeds} seeds", "", mean, exact, 0.15))
        found.append(
            Finding(
                f"{words}, seeds whose 95 % interval holds it",
                "bar: 35 of 40",
                f"{seeds} seeds",
                "",
                inside,
                seeds,
                0.5 if quick else 0.125,
            )
        )
    published = "Waarts 2000; Schueremans and Van Gemert 2005 (from memory)"
    for method in (crude, latin):
        value = method(four_branches, 2, 200_000).value
        found.append(
            Finding(
                f"{method.__name__} sampling, four branches",
                published,
                "200,000 samples",
                "",
                value,
                2.22e-3,
                0.15,
            )
        )
    many = [importance(curved(4.0, 0.2), 2, 20_000, seed).value for seed in range(20)]
    found.append(
        Finding(
            "importance sampling, parabola",
            "one integral (Breitung 1984)",
            "20 seeds",
            "",
            float(np.mean(many)),
            curved_chance(4.0, 0.2),
            0.03,
        )
    )
    value = latin(plane(1.0, 1), 1, 10_000, 3).value
    found.append(
        Finding(
            "Latin hypercube, one input",
            "normal distribution",
            "10,000 samples",
            "",
            value,
            float(stats.norm.sf(1.0)),
            0.007,
        )
    )
    high = counted(0, 1000).high
    exact = 1.0 - 0.025 ** (1.0 / 1000.0)
    found.append(
        Finding(
            "upper bound after no failure in 1,000",
            "Clopper and Pearson 1934",
            "exact",
            "",
            high,
            exact,
            1e-9,
        )
    )
    return found


def cascade_findings(quick: bool) -> list[Finding]:
    """Bundles of brittle links under a bar that stays level."""
    n, samples = 100, 100 if quick else 2000
    Z, H = rigid_row(n)
    strength = np.random.default_rng(7).uniform(0.0, 1.0, (samples, n)) + 1e-9
    path = cascade(one_row(Z), np.zeros(n), H @ np.ones(n), strength, 0.0, target=2.0)
    exact = (np.sort(strength, axis=1) * np.arange(n, 0, -1)).max(axis=1) / n
    # Mean of a finite bundle: n max x (1 - F) + 0.996 n^(1/3) (x^4 f^2 / (2 f + x f'))^(1/3).
    mean = 0.25 + 0.996 * n ** (-2.0 / 3.0) * (0.5**4 * 1.0 / 2.0) ** (1.0 / 3.0)
    worst = int(np.argmax(np.abs(path.last / exact - 1.0)))
    return [
        Finding(
            "bundle of 100 brittle links, worst sample",
            "largest of x_(j) (n - j + 1), exact",
            f"{samples} samples",
            "",
            float(path.last[worst]),
            float(exact[worst]),
            1e-9,
        ),
        Finding(
            "the same, mean strength of a link",
            "Daniels 1945 with the correction of Smith 1982 (from memory)",
            f"{samples} samples",
            "",
            float(path.last.mean()),
            mean,
            0.01,
        ),
        Finding(
            "the same, deviation times the root of n",
            "Daniels 1945, x sqrt(F (1 - F)) (from memory)",
            f"{samples} samples",
            "",
            float(path.last.std() * np.sqrt(n)),
            0.25,
            0.25,
        ),
    ]
