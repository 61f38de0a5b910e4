"""Browsers for the tests of this folder."""

from __future__ import annotations

import pytest
from open_app import copied
from real_browser import CHROMIUM, GL, Opened, running


@pytest.fixture(scope="module")
def chromium():
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=GL)
        yield browser
        browser.close()


@pytest.fixture
def opened(tmp_path, chromium, request):
    """A running program with the model that the test asks for, and a page that shows it."""
    path = copied(tmp_path, getattr(request, "param", "cedar-hollow"))
    context = chromium.new_context(viewport={"width": 1440, "height": 900}, offline=False)
    context.set_default_timeout(30_000)
    with running(path) as link:
        app = Opened(path, context.new_page(), link)
        yield app
        assert app.outside == []
        assert app.errors == []
        context.close()
