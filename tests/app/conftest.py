"""Browsers for the tests of this folder."""

from __future__ import annotations

import contextlib

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


@contextlib.contextmanager
def page_of(path, link, chromium):
    """A page that shows a running program; nothing from outside is asked for and nothing fails in it."""
    context = chromium.new_context(viewport={"width": 1440, "height": 900}, offline=False)
    context.set_default_timeout(30_000)
    app = Opened(path, context.new_page(), link)
    yield app
    assert app.outside == []
    assert app.errors == []
    context.close()


@pytest.fixture
def opened(tmp_path, chromium, request):
    """A running program with the model that the test asks for, and a page that shows it."""
    path = copied(tmp_path, getattr(request, "param", "cedar-hollow"))
    with running(path) as link, page_of(path, link, chromium) as app:
        yield app


@pytest.fixture(scope="module")
def programs(tmp_path_factory):
    """Path and link of the one program of the module that has a model open."""
    known = {}
    with contextlib.ExitStack() as stack:

        def program(model):
            if model not in known:
                path = copied(tmp_path_factory.mktemp(model), model)
                known[model] = path, stack.enter_context(running(path))
            return known[model]

        yield program


@pytest.fixture
def looked(programs, chromium, request):
    """As `opened`, for tests that change nothing: they share a program and have a page of their own."""
    path, link = programs(getattr(request, "param", "cedar-hollow"))
    with page_of(path, link, chromium) as app:
        yield app
