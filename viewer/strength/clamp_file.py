"""clamp.toml: what the tests justify as the table [clamp] of a project or span file, to paste."""

from __future__ import annotations

import json
import math
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from fea.strength_tests.notes import HEIGHT_OPEN, LARGER
from fea.strength_tests.results import CampaignResult
from roofmodel.project.tested import sheet_text
from roofmodel.units import UnitSystem
from viewer.files import write_text
from viewer.quantities import system
from viewer.strength.export import campaign_data
from viewer.version import version

DIRECTIONS = ("along", "across", "pull", "push")
# Notes that hold no reservation, or one that a line of the table takes up.
BEHIND = ("What more", "AISI S100 K2.1.1 with", "Strengths are those of one clamp", HEIGHT_OPEN)
# Notes on strengths of format EN alone, left out where ASD or LRFD take theirs.
OF_EN = ("The design strength straight from the tests", "The lowest test,")
OF_AISI = (
    "AISI S100 is a standard of",
)  # and those on strengths of ASD and LRFD, left out where EN takes its
_NUMBER = re.compile(r"(?<![\w.])\d+(?:\.\d+)?")  # none of a name such as T2 or D7.3
MOST = 12  # ways to fail, and tests that do not count, that a data sheet has room for
TAKEN = {"peak": "largest force", "slip": "force at first slip", "proof": "proof load"}
THREE = 3  # more tests, about what a maker adds to a campaign
UNITS = {
    "SI": {"force": (1e3, "kN"), "stiffness": (1e6, "kN/mm"), "moment": (1.0, "N*m")},
    "US": {
        "force": (4.4482216152605, "lbf"),
        "stiffness": (4448.2216152605 / 0.0254, "kip/in"),
        "moment": (4.4482216152605 * 0.0254, "lbf*in"),
    },
}


def clamp_text(found: CampaignResult, joined: Sequence[dict[str, Any]] = ()) -> str:
    """The tables [clamp] and [clamp.tested], strengths rounded down, with where each number is from."""
    all_, held = [campaign_data(found), *joined], found.campaign.table.method.format
    if held != "EN":  # nor do strengths of EN of another direction go in
        all_ = [one | {"notes": [note.replace(LARGER, "") for note in one["notes"]]} for one in all_]
    some = {one["specimen"]["direction"]: one for one in all_}
    some = {name: some[name] for name in DIRECTIONS if name in some}
    specimen, units = all_[0]["specimen"], system(found.campaign.table.campaign.units)
    methods = {(one["method"]["partial_factor"], one["method"]["conversion"]) for one in all_}
    missing = [name for name in DIRECTIONS if name not in some]
    lines = [
        f"# {_line(specimen['clamp'])}: what load tests justify, by eavewright {version()}. A licensed "
        "engineer must review it;",
        "# the local code governs. It holds for the clamp, seam, sheet and tightening below, no other.",
    ]
    for name, one in some.items():
        lines.append(
            f"# {name}: {one['justified']['count']} tests, {_line(one['input']['file'])}, "
            f"SHA-256 {one['input']['sha256'][:12]}"
        )
        lines += [f"#   {_line(note)}" for note in one["notes"] if not note.startswith("What more")]
    lines += [
        "",
        "[clamp]",
        "# height =                      # yours: of the rail's axis above the grip",
        "# grip_length =                 # yours: along the seam",
    ]
    height = some["along"]["specimen"]["load_height"] if "along" in some else None
    if height is not None:
        lines.append(f"test_height = {_quoted(sheet_text(height, units))}")
    elif "along" in some:
        lines.append(
            "# test_height =                 # yours: of the load above the grip in the tests; else 0"
        )
    lines += _stiffness(some, units)
    one_factor = len(methods) == 1 and next(iter(methods))[1] == 1.0
    factor = f", factor = {next(iter(methods))[0]!r}" if one_factor else ""
    of_en = ("characteristic", "characteristic") if one_factor else ("design", "design")
    kinds = {"EN": of_en, "ASD": ("asd", "allowable"), "LRFD": ("lrfd", "design")}
    what, kind = kinds[held]
    lines += [f"strength = {_strengths(some, what, units)}", f'strength_kind = "{kind}"']
    if held == "EN" and one_factor:
        lines.append(f"factor = {next(iter(methods))[0]!r}  # gamma_M of EN")
    elif held != "EN":
        lines.append(f"# of format {held}, by AISI S100 K2 (method.format); it takes no factor")
    for form, (key, ready) in kinds.items():
        if form == held:
            continue
        how = "no factor, by AISI S100 K2" if form != "EN" else (factor.strip(", ") or "no factor")
        lines.append(f'# for design.format = "{form}" instead: strength_kind = "{ready}", {how}:')
        lines.append(f"#   strength = {_strengths(some, key, units)}")
    if missing:
        lines.append(
            f"# NOT TESTED: {', '.join(missing)}. Such a force counts as a quarter of the least tested"
        )
        lines.append(
            "# strength at most, and more than a tenth of that on one is NOT VERIFIED: have it tested."
        )
    basis = "; ".join(dict.fromkeys(f"{_line(one['campaign'])}" for one in all_))
    reports = "; ".join(dict.fromkeys(_line(one["report"]) for one in all_ if one["report"].strip()))
    lines.append(f"test_basis = {_quoted('; '.join(x for x in (basis, reports) if x))}")
    lines += [
        "",
        "[clamp.tested]",
        f"seam_height = {_quoted(sheet_text(specimen['seam_height'], units))}",
        f"metal = {_quoted(specimen['metal'])}",
        f"thickness = {_quoted(sheet_text(specimen['thickness'], units))}",
        f"lock = {_quoted(specimen['seam'])}",
        f"substrate = {_quoted(specimen['substrate'])}",
        f"screw_torque = {_quoted(_amount(specimen['screw_torque'], 'moment', units))}",
        *([] if height is None else [f"load_height = {_quoted(sheet_text(height, units))}"]),
        f"directions = [{', '.join(_quoted(name) for name in some)}]",
        f"tests = {min(one['justified']['count'] for one in all_)}",
        *_open_notes(some),
        *_series(some, units),
        *_three_more(some),
    ]
    return "\n".join(lines) + "\n"


def _open_notes(some: dict[str, dict[str, Any]]) -> list[str]:
    """What the tests leave open, each note once with its directions, to go where the strengths go."""
    of: dict[str, list[str]] = {}
    for name, one in some.items():
        for note in one["notes"]:
            if not note.startswith(BEHIND):
                of.setdefault(_line(note), []).append(name)
    of = _merged(of)
    ends = {note: ", format EN" for note in of if note.startswith(OF_EN)}
    ends |= {note: ", formats ASD and LRFD" for note in of if note.startswith(OF_AISI)}
    lines = [f"    {_quoted(', '.join(on) + ends.get(note, '') + ': ' + note)}," for note, on in of.items()]
    return ["notes = [", *lines, "]"] if lines else []


def _merged(of: dict[str, list[str]]) -> dict[str, list[str]]:
    """Notes of several directions that differ in numbers alone as one, the numbers in their order."""
    alike: dict[str, list[str]] = {}
    for note in of:
        alike.setdefault(_NUMBER.sub("#", note), []).append(note)
    found: dict[str, list[str]] = {}
    for notes in alike.values():
        on = [name for note in notes for name in of[note]]
        if len(notes) == 1 or len(on) > len(set(on)):
            found |= {note: of[note] for note in notes}
            continue
        # One number for each direction, also where some agree to the last digit.
        each = [_NUMBER.findall(note) for note in notes for _ in of[note]]
        columns = zip(*each, strict=True)
        texts = [one[0] if len(set(one)) == 1 else " / ".join(one) for one in columns]
        parts = [*_NUMBER.split(notes[0]), ""]
        words = "".join(part + text for part, text in zip(parts, [*texts, ""], strict=False))
        found[f"{words} (Numbers in the order of the directions.)"] = on
    return found


def _series(some: dict[str, dict[str, Any]], units: UnitSystem) -> list[str]:
    """The tests of each direction: how many, mean and scatter, how they failed, which do not count."""
    lines = []
    for name, one in some.items():
        ways = Counter(
            _line(test["failure"]).rstrip(".")
            for test in one["tests"]
            if test["counts"] and test["failure"].strip()
        )
        out = [f"{test['name']}: {test['excluded']}" for test in one["tests"] if not test["counts"]]
        lines += [
            "",
            "[[clamp.tested.series]]",
            f"direction = {_quoted(name)}",
            f"tests = {one['justified']['count']}",
            f"mean = {_quoted(_amount(one['justified']['mean'], 'force', units))}",
            f"scatter = {one['justified']['scatter']:.4f}",
            *_measured(one, units),
        ]
        own, method = one["justified"], one["method"]
        if method["known_scatter"] is not None and own["scatter"] == method["known_scatter"]:
            lines.append("known_scatter = true")
        gives = {key: own[key] for key in ("characteristic", "asd", "lrfd")}
        gives["design"] = max(own["design"], own["design_direct"])
        lines += [
            f"{key} = {_quoted(_amount(gives[key], 'force', units, down=True))}"
            for key in ("characteristic", "design", "asd", "lrfd")
            if gives[key]
        ]
        told = ways.most_common(MOST)
        listed = [f"{way} ({n})" for way, n in told]
        if len(ways) > MOST:
            rest = ways.total() - sum(n for _, n in told)
            listed.append(f"and {len(ways) - MOST} more ways ({rest})")
        out = [*out[:MOST], f"and {len(out) - MOST} more tests"] if len(out) > MOST else out
        lines += [f"failures = {_list(listed)}"] if ways else []
        lines += [f"excluded = {_list(out)}"] if out else []
    return lines


def _measured(one: dict[str, Any], units: UnitSystem) -> list[str]:
    """What ties the strengths of a direction to the report of its laboratory."""
    counted = [test for test in one["tests"] if test["counts"]]
    measured, nominal = (np.array([test[key] for test in counted]) for key in ("strength", "at_nominal"))
    peaks = [t["strength"] / one["share"] if t["curve"] is None else t["curve"]["peak"] for t in one["tests"]]
    factors = [
        f"{end:.4f}" for end in dict.fromkeys(((nominal / measured).min(), (nominal / measured).max()))
    ]
    ends = [_quoted(_amount(float(end), "force", units)) for end in (min(peaks), max(peaks))]
    words = TAKEN[one["method"]["take"]]
    if one["method"]["take"] == "proof":
        words += f" at {sheet_text(one['method']['offset'], units)}"
    if any(test["curve"] is None for test in counted) and one["method"]["take"] != "peak":
        words += ", as given where there is no curve"
    if one["share"] != 1.0:
        words += f", {one['share']:.3f} of the force on the rig"
    lines = [
        f"take = {_quoted(words)}",
        f"as_measured = {_quoted(_amount(float(measured.mean()), 'force', units))}",
        f"to_nominal = [{', '.join(dict.fromkeys(factors))}]",
        f"largest = [{', '.join(dict.fromkeys(ends))}]",
    ]
    if (known := _known_stiffness(one)) is not None:
        both = dict.fromkeys(_amount(end, "stiffness", units) for end in known)
        lines.append(f"stiffness = {_list(both)}")
    return lines


def _known_stiffness(one: dict[str, Any]) -> Sequence[float] | None:
    """Both ends of the stiffness that curves of a direction gave; None where no rig fits."""
    rig = one["rig"]
    if rig is None or not rig["fits"] or rig["stiffness"]["value"] is None:
        return None
    return list(rig["between"])


def _three_more(some: dict[str, dict[str, Any]]) -> list[str]:
    """What three more tests of each direction would make of the strengths, where that can be relied on."""
    known = {name: more for name, one in some.items() if (more := one["more_tests"])["relied_on"]}
    open_ = [name for name in some if name not in known]
    if not known:
        return []
    lines = [
        "",
        "[clamp.tested.three_more]",
        "# Strengths over today's after three more tests of each direction: its own median, which half of",
        "# its campaigns exceed (all directions together less often); low: one campaign in ten ends below.",
    ]
    of_format = {
        "en": {name: (more["added"], more["median"]) for name, more in known.items()},
        "en_low": {name: (more["added"], more["low"]) for name, more in known.items()},
        "asd_lrfd": {name: (more["added"], more["factored"]["median"]) for name, more in known.items()},
        "asd_lrfd_low": {name: (more["added"], more["factored"]["low"]) for name, more in known.items()},
    }
    for field, columns in of_format.items():
        after = {name: dict(zip(*both, strict=False)).get(THREE) for name, both in columns.items()}
        shares = ", ".join(
            f"{name} = {math.floor(1e4 * share) / 1e4:.4f}" for name, share in after.items() if share
        )
        lines.append(f"{field} = {{ {shares} }}")
    if open_:
        lines.append(
            f"# not of {', '.join(open_)}: a suspect, an odd distribution or a second way to fail comes first"
        )
    return lines


def write_clamp(found: CampaignResult, joined: Sequence[dict[str, Any]], path: Path) -> None:
    """Write clamp.toml, whole or not at all."""
    write_text(path, clamp_text(found, joined))


def _stiffness(some: dict[str, dict[str, Any]], units: UnitSystem) -> list[str]:
    """Means of clamps in rigs that fit, and what is wanting; push stands in where nothing was pulled."""
    known = {name: ends for name, one in some.items() if (ends := _known_stiffness(one)) is not None}
    if "pull" not in known and "push" in known:
        known["pull"] = known["push"]
    names = [name for name in DIRECTIONS[:3] if name in known]
    text = ", ".join(f'{name} = "{_between(known[name], units)}"' for name in names)
    lines = [f"stiffness = {{ {text} }}  # means of the tests"] if text else []
    if any(known[name][0] < known[name][1] for name in names):
        lines += [
            "# A range: the curve is no straight line (one end by all of it, one from 10 to 40 % of its",
            "# peak). Stiff clamps share less and peak more, soft ones let the rail move more. `span` takes",
            "# the worse end; a project takes one number: check it with both.",
        ]
    wanting = [name for name in DIRECTIONS[:3] if name not in known]
    if wanting:
        lines.append(f"# stiffness: {', '.join(wanting)} is wanting; curves and a [rig] that fits give it,")
        lines.append("# or tests of their own: the page on stiffness from tests says how they are measured")
    return lines


def _strengths(some: dict[str, dict[str, Any]], what: str, units: UnitSystem) -> str:
    given = {name: one["justified"][what] for name, one in some.items()}
    parts = [
        f'{name} = "{_amount(value, "force", units, down=True)}"'
        for name, value in given.items()
        if value is not None and value > 0.0
    ]
    return f"{{ {', '.join(parts)} }}"


def _between(ends: Sequence[float], units: UnitSystem) -> str:
    """One stiffness, or a range rounded outward, with a unit that is read again."""
    low, high = ends
    if not low < high:
        return _amount(low, "stiffness", units)
    number = _amount(low, "stiffness", units, down=True).split()[0]
    return f"{number} to {_amount(high * 1.0005, 'stiffness', units)}"


def _amount(value: float, kind: str, units: UnitSystem, *, down: bool = False) -> str:
    """Four significant digits with a unit that is read again; strengths never rounded up."""
    factor, unit = UNITS[units.name][kind]
    number = value / factor
    places = 3 - math.floor(math.log10(number))
    scaled = number * 10.0**places
    whole = math.floor(scaled * (1.0 + 1e-12)) if down else round(scaled)
    return f"{np.format_float_positional(whole / 10.0**places, trim='-')} {unit}"


def _line(text: str) -> str:
    return " ".join(str(text).split())


def _list(texts: Iterable[str]) -> str:
    return f"[{', '.join(map(_quoted, texts))}]"


def _quoted(text: str) -> str:
    return json.dumps(_line(text), ensure_ascii=False)
