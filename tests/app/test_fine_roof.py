"""A roof of 200,000 faces turns smoothly: few triangles and calls, and nothing sent to the card meanwhile."""

from __future__ import annotations

import pytest
from open_app import fine_roof
from real_browser import CHROMIUM, GL, Opened, running

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")

COUNTED = """
  globalThis.sent = 0;
  for (const name of ["bufferData", "bufferSubData", "texImage2D"]) {
    const own = WebGL2RenderingContext.prototype[name];
    WebGL2RenderingContext.prototype[name] = function (...given) {
      globalThis.sent += 1;
      return own.apply(this, given);
    };
  }
"""
TURN = """async () => {
  const { view } = app, { controls, camera } = view, drawn = [];
  for (let i = 0; i < 12; i++) {
    const off = camera.position.clone().sub(controls.target);
    camera.position.copy(controls.target).add(off.applyAxisAngle(camera.up, 0.05));
    view.draw();
    await new Promise((done) => view.addEventListener("drawn", done, { once: true }));
    drawn.push({ ...view.renderer.info.render });
  }
  return drawn;
}"""


@pytest.mark.slow
def test_turning_a_fine_mesh_draws_little_and_sends_nothing(tmp_path):
    path = fine_roof(tmp_path, 200_000)
    with playwright.sync_playwright() as driver, running(path) as link:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=GL)
        page = browser.new_page(viewport={"width": 1200, "height": 800})
        page.set_default_timeout(90_000)
        page.add_init_script(COUNTED)
        sizes = {}
        page.on(
            "response", lambda r: sizes.__setitem__(r.url.split("/")[-1], r.headers.get("content-length"))
        )
        opened = Opened(path, page, link)
        page.wait_for_timeout(500)
        assert page.evaluate("sent") > 0
        page.evaluate("sent = 0")
        drawn = page.evaluate(TURN)
        assert opened.errors == []
        assert page.evaluate("sent") == 0
        assert max(frame["calls"] for frame in drawn) <= 12
        assert 1_000 < max(frame["triangles"] for frame in drawn) <= 60_000
        assert len({frame["frame"] for frame in drawn}) == 12
        assert int(sizes["surface?case=0"]) <= 2_500_000
        assert int(sizes["roof"]) <= 1_000_000
        browser.close()
