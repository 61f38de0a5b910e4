"""Sliding on vaults, domes and cones against integrals over the smooth surface, under refinement.

With vertical load p per plan area and slope theta, each meter of an eave receives the integral of
p sin(theta) over the plan above it (EN 1991-1-3 6.4 for a plane, summed over the curve; statics):

- vault of radius R, sin(theta) = x / R: p x_e^2 / (2 R);
- dome, sin(theta) = r / R, sectors narrow toward the crown: p r_e^2 / (3 R);
- cone, one slope: p r_e sin(theta) / 2.
"""

from __future__ import annotations

import numpy as np
import pytest
from curves import P, at_eaves, built, exact
from roofs import rows, uniform

from roofmodel.shape.recognition import recognize
from roofmodel.sliding.thrust import slide
from tests.geometry.curved_meshes import ROUND, VAULT, circle_of, curved_mesh


@pytest.mark.parametrize("kind", ["vault", "dome", "cone"])
def test_facets_converge_to_the_closed_form(kind):
    """At least first order in the size of the facets; 48 facets are within 2 percent."""
    error = [abs(at_eaves(built(kind, n)) / exact(kind) - 1.0) for n in (12, 24, 48)]
    assert error[-1] < 0.02
    assert error[1] < 0.55 * error[0]
    assert error[2] < 0.55 * error[1]


@pytest.mark.parametrize("kind", ["vault", "dome", "cone"])
@pytest.mark.parametrize("noise", [0.0, 0.03])
def test_smooth_meshes_slide_as_the_smooth_roof(kind, noise):
    """Imported as thousands of triangles, with and without the noise of a survey: 2 percent."""
    roof = recognize(*curved_mesh(kind, 10.0, noise, 2))
    layout = rows(roof, {"plane": roof.planes.name[int(np.argmax(roof.planes.true_area))], "up": "0.5 m"})
    force = slide(roof, (uniform(roof, P),), layout)[1]
    if kind == "vault":
        half = 0.5 * VAULT["span"]
        wanted = VAULT["length"] * P * half**2 / circle_of(VAULT["span"], VAULT["rise"])
    elif kind == "dome":
        radius = circle_of(2.0 * ROUND["radius"], ROUND["rise"])
        wanted = 2.0 * np.pi * P * ROUND["radius"] ** 3 / (3.0 * radius)
    else:
        wanted = np.pi * P * ROUND["radius"] ** 2 * np.sin(ROUND["pitch"])
    assert force.balance.driving[0] == pytest.approx(wanted, rel=0.02)
    assert force.balance.error.max() < 1e-12
