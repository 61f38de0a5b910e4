"""Brackets on screws under the layer: the worse of bracket and screws counts, for rows and for stops."""

import numpy as np
import pytest

from fea.blanket.study import study_blanket
from tests.blanket import blanket_projects
from tests.blanket.blanket_projects import LOW, SHED, STOPS, shed
from tests.checks.test_screws import SCREWS


@pytest.mark.parametrize("held", [LOW, STOPS], ids=["row", "stops"])
def test_the_layer_loads_the_screws_too(tmp_path, monkeypatch, held):
    """Weak screws are used more than their brackets; strong ones change nothing."""
    found = {}
    for name, thickness in (("none", None), ("weak", "1.0 mm"), ("strong", "8 mm")):
        text = SHED.replace("grip_length", 'grip_height = "25 mm"\ngrip_length')
        if thickness is not None:
            table = SCREWS.replace('"1.5 mm"', f'"{thickness}"').replace('"14 mm"', '"30 mm"')
            text = text.replace("[blanket]", f"{table}\n[blanket]")
        monkeypatch.setattr(blanket_projects, "SHED", text)
        (tmp_path / name).mkdir()
        found[name] = study_blanket(shed(tmp_path / name, held))
    use = {name: (one.worst_use if held == LOW else one.worst_stop) for name, one in found.items()}
    assert (use["weak"] > use["none"]).all()
    np.testing.assert_allclose(use["strong"], use["none"], rtol=1e-12)
    assert any("Screws of brackets" in note for note in found["weak"].notes)
    if held == LOW:
        analysis = found["weak"].analysis
        named = [one.utilization for one in analysis.limits if one.target == "clamp"]
        q = found["weak"].setting.q
        np.testing.assert_allclose(found["weak"].check_use, np.max(named, axis=0)[q], rtol=1e-12)
