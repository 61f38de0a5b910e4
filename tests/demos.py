"""Checks of the demo models, made once in a process; nothing changes them."""

from __future__ import annotations

import functools

from fea.analysis import Analysis, analyze
from roofmodel.project.load import load_project
from viewer.package.sway import SwayFindings, sway_findings


@functools.cache
def demo(model: str) -> Analysis:
    return analyze(load_project(f"models/{model}/project.toml"))


@functools.cache
def demo_sway(model: str) -> SwayFindings | None:
    return sway_findings(demo(model))
