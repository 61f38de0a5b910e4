"""Every command, given good inputs after random changes: a result or one line of refusal, nothing else."""

from __future__ import annotations

import math
import os
import random
import subprocess
import sys
from pathlib import Path

import pytest
from mutations import near

HERE = Path(__file__).parent
SEED = str(os.getpid()) if os.environ.get("EAVEWRIGHT_FUZZ") else "1"  # new cases on request


def fuzzed(script: str, *arguments: str) -> str:
    """Run a script of this folder; it tells what broke the rules, and with which seed to see it again."""
    command = [sys.executable, str(HERE / script), "--seed", SEED, *arguments]
    room = {**os.environ, "OMP_NUM_THREADS": "1", "PYTHONPATH": str(HERE.parents[1])}
    done = subprocess.run(command, capture_output=True, text=True, check=False, env=room)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.mark.parametrize("value", [math.nan, math.inf, 10**400], ids=["none", "infinite", "huge"])
def test_numbers_beyond_all_can_be_changed_again(value: float) -> None:
    """Once the campaign itself broke off where a change met what an earlier one had left."""
    assert isinstance(near(random.Random(1), value), int | float | str)


@pytest.mark.slow
def test_files_made_to_harm() -> None:
    told = fuzzed("campaign.py", "--traps")
    assert "block in itself: 2" in told


def test_commands() -> None:
    told = fuzzed("campaign.py", "--cases", "24", "--minutes", "30")  # the first of those for minutes
    assert told.startswith("24 cases, 0 with faults")
    assert "projects 2" in told


def test_browsers() -> None:
    told = fuzzed("browsers.py", "--cases", "40", "--minutes", "30")
    assert told.startswith("40 messages, 0 faults")
    assert "'state'" in told


@pytest.mark.slow
def test_commands_for_minutes() -> None:
    fuzzed("campaign.py", "--cases", "3000")


@pytest.mark.slow
def test_browsers_for_minutes() -> None:
    fuzzed("browsers.py", "--cases", "2000")
