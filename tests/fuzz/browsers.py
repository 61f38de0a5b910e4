"""What a hostile or broken browser may say to the app's server: random messages after a good hello.

OMP_NUM_THREADS=1 PYTHONPATH=. python tests/fuzz/browsers.py --minutes 5 [--seed 1]

Every message gets an answer in time: a new state, what was asked for, or one line of refusal. The project
file changes by saving only, and nothing is written outside its folder.
"""

from __future__ import annotations

import argparse
import collections
import json
import logging
import random
import sys
import tempfile
import time
import unicodedata
from pathlib import Path
from typing import Any

import harness
import mutations
import seeds

from tests.app import open_app

LAST = 2**52 + 5  # number of the message whose answer ends the wait
KINDS: tuple[dict[str, Any], ...] = (
    {"type": "set", "table": "clamp", "field": ["strength", "along"], "value": "5 kN"},
    {"type": "set", "table": "site", "field": ["ground_snow"], "value": "2 kN/m^2"},
    {"type": "set", "table": "panel", "field": ["seam_spacing"], "value": "400 mm"},
    {"type": "row", "row": "R1", "fields": {"up": "0.8 m"}},
    {"type": "row", "row": "R2", "fields": {"every": 2, "first": 1}},
    {"type": "add", "row": "R3", "plane": "N1", "up": "1 m"},
    {"type": "remove", "row": "R2"},
    {"type": "split", "row": "R1", "after": "R1-05"},
    {"type": "splices", "row": "R1", "splices": [{"at": "2.1 m", "kind": "hinge"}]},
    {
        "type": "put",
        "table": "obstruction",
        "fields": {"name": "chimney", "plane": "S1", "right": "2 m", "up": "1 m"},
    },
    {"type": "thing", "table": "solar", "name": "a", "fields": {"up": "1 m"}},
    {"type": "take", "table": "solar", "name": "a"},
    {"type": "plan"},
    {"type": "takeplan"},
    {"type": "undo"},
    {"type": "redo"},
    {"type": "save"},
    {"type": "reload"},
    {"type": "again"},
    {"type": "pick", "kind": "clamp", "index": 3, "case": 0},
    {"type": "pick", "kind": "panel strip", "index": 2},
    {"type": "export", "folder": "out", "parts": ["snow"]},
    {"type": "cancel"},
)


def said(rng: random.Random, number: int, revision: int) -> str:
    """One message: good, nearly good, or nothing like one."""
    table: dict[str, Any] = {"id": number, **rng.choice(KINDS)}
    if table["type"] not in ("pick", "cancel"):
        table["revision"] = revision
    if table["type"] == "save":
        return json.dumps(table)
    for _ in range(rng.choice([0, 1, 1, 2])):
        table, _told = mutations.changed(rng, table, None)
        if not table:
            break
    text = json.dumps(table, default=str)
    if rng.random() < 0.1:
        text, _told = mutations.scratched(rng, text)
    if rng.random() < 0.02:
        text = "[" * 30_000
    return text[: 2**17]


class Ear(logging.Handler):
    """Hears what the server logs as an exception."""

    def __init__(self) -> None:
        super().__init__()
        self.heard: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        if record.exc_info:
            self.heard.append(self.format(record))


def session(rng: random.Random, count: int, answers: collections.Counter[str]) -> list[str]:
    """Talk to a server for so many messages; what went wrong."""
    faults: list[str] = []
    ear = Ear()
    logging.getLogger().addHandler(ear)
    with tempfile.TemporaryDirectory() as work:
        folder = Path(work) / "house"
        folder.mkdir()
        path = folder / "project.toml"
        path.write_text(seeds.SMALL, encoding="utf-8")
        with open_app.served(path) as client, open_app.browser(client) as one:
            for number in range(10**6, 10**6 + count):
                text = said(rng, number, one.state["revision"] if rng.random() < 0.97 else 0)
                before = path.read_bytes()
                began = time.process_time()
                one.socket.send_text(text)
                one.socket.send_text(
                    json.dumps({"id": LAST, "type": "undo", "revision": 10**9})
                )  # its answer ends the wait
                got: list[dict[str, Any]] = []
                while not got or not (got[-1].get("id") == LAST and got[-1]["type"] == "error"):
                    got.append(one.socket.receive_json())
                    if got[-1]["type"] == "state":
                        one.state = got[-1]
                spent = time.process_time() - began
                kinds = [m["type"] for m in got[:-1] if m["type"] != "progress"]
                answers["/".join(kinds) or "none"] += 1
                if spent > harness.CPU:
                    faults.append(f"slow: {spent:.0f} s: {text[:300]}")
                if path.read_bytes() != before and '"save"' not in text:
                    faults.append(f"the file changed: {text[:300]}")
                for message in got:
                    line = message.get("message") or ""
                    if "defect" in line or "\n" in line or any(unicodedata.category(c) == "Cc" for c in line):
                        faults.append(f"{line!r}: {text[:400]}")
            while client.app.state.desk.export is not None and not client.app.state.desk.export.done():
                time.sleep(0.1)
        outside = [str(p) for p in Path(work).rglob("*") if folder not in (p, *p.parents)]
        if outside:
            faults.append(f"written outside: {outside[:3]}")
    logging.getLogger().removeHandler(ear)
    return [*dict.fromkeys(faults), *dict.fromkeys(ear.heard)]


def main() -> int:
    """Talk until the time is over; 1 where anything was found."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=1.0)
    parser.add_argument("--cases", type=int, default=10**9)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    end, number, bad = time.monotonic() + 60.0 * asked.minutes, 0, 0
    answers: collections.Counter[str] = collections.Counter()
    while time.monotonic() < end and number < asked.cases:
        count = min(40, asked.cases - number)
        for fault in session(random.Random(f"{asked.seed}/{number}"), count, answers):
            bad += 1
            print(f"{asked.seed}/{number}: {fault}", flush=True)
        number += count
    print(f"{number} messages, {bad} faults; {dict(answers.most_common(20))}")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
