"""Numbers of a clamp that its own tests, its rail or common sense speak against: refused or doubted."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from roofmodel.errors import InputError
from roofmodel.hardware import Rail
from roofmodel.project.clamp_schema import ClampTable, SeriesTable
from roofmodel.project.low_axis import low_axis_words, sunk
from roofmodel.units import UnitSystem

SAME = 1.005  # numbers that are rounded to three digits agree so far
CHARACTERISTIC, DESIGN = 1.645, 3.09  # fractiles of 5 % and 0.1 % of a normal distribution
LEAST_FACTOR = 1.25  # gamma_M of connections (EN 1993-1-3 table 8.2 and EN 1999-1-1 table 8.1, from memory)
OMEGA_PHI = 1.6  # Omega times phi (AISI S100 Eq. K2.1.2-1, from memory)
OVER_TOP = 1.5  # times the height of the rail's top, beyond which no test is loaded (judgment)
A_LITTLE = 0.03  # and by so much at least: rigs have heads and bolts (judgment) [m]
# Times the rail's top, and a height [m], beyond both of which it is a slip (judgment).
FAR_OVER, FAR = 3.0, 0.15
# What a metal clamp gives way by at 40 % of what it holds (judgment). [m]
FIRM = (0.005e-3, 5e-3)
SHARE = 0.4
# Of the least tested strength, what a force that was not tested counts as at most (judgment): of seam clamps
# the directions differ by two or three. [-]
UNTESTED = 0.25
LONG = 0.25  # no grip on a seam is longer (judgment) [m]
NEAR = 1.05  # of a fractile from mean and scatter that were told with four digits, and of logarithms
DIRECTIONS = ("along", "across", "pull", "push", "roll", "twist")
READY = ("allowable", "design")  # kinds of strength without a factor
LEAST_TESTS = 3  # fewer give no statistics (AISI S100 K2.1.1; EN 1990 Table D1, from memory)
LEAST_SCATTER = 0.03  # of strengths, below which few tests agree by luck (judgment) [-]
FORCES = 4  # of them; the others are moments


def check_strengths(clamp: ClampTable, units: UnitSystem) -> None:
    """Refuse a strength above the mean of the tests that it is said to come from.

    Raises
    ------
    InputError
    """
    for one, given in _pairs(clamp):
        if one.mean is None or given <= SAME * one.mean:
            continue
        own, mean = units.text(given, "force"), units.text(one.mean, "force")
        message = (
            f"clamp.strength.{one.direction}: {own} is more than the mean of its own tests, {mean} "
            "([[clamp.tested.series]]); no strength is above that: check its unit and digits, or paste the "
            "strengths that `eavewright tests` wrote"
        )
        raise InputError(message)


def strength_doubts(clamp: ClampTable, form: str, units: UnitSystem) -> dict[str, str]:
    """Strengths higher than the scatter of their own tests leaves room for, by field.

    Of n lognormal tests with mean m and scatter V the most that statistics of known scatter give (EN 1990 D7)
    is m exp(-k s - s^2 / 2), s^2 = ln(1 + V^2), k = z sqrt(1 + 1 / n): z 1.645 for a characteristic strength,
    3.09 straight for the design level. A design strength may lie at the characteristic one over a factor too,
    and an allowable one is 1 / 1.6 of it. Tests of unknown scatter give less.
    """
    found = {}
    for one, given in _pairs(clamp):
        words = (
            _too_high(one, given, clamp, form, units)
            or given_doubt(one, given, clamp, form, units)
            or _too_few(one)
        )
        if words:
            found[f"clamp.strength.{one.direction}"] = words
    return found


def _too_high(one: SeriesTable, given: float, clamp: ClampTable, form: str, units: UnitSystem) -> str:
    """A strength above what its tests' mean and scatter leave room for; empty for none, or without a mean."""
    if one.mean is None:
        return ""
    held, direct = (one.mean * _share(one, z) for z in (CHARACTERISTIC, DESIGN))
    ready = clamp.strength_kind in READY
    if form == "EN" and not ready:
        most, what = held, "a 5 % fractile"
        number = given
    else:
        most = max(held / LEAST_FACTOR, direct) / (OMEGA_PHI if form == "ASD" else 1.0)
        what = _usable_words(form)
        number = _usable(given, clamp, form)
    if number <= SAME * most:
        return ""
    own, mean, text = (units.text(value, "force") for value in (number, one.mean, most))
    pasted = " Is it the characteristic strength, without its factor?" if ready else ""
    return (
        f"clamp.strength.{one.direction}, {own} as {what}, is TOO HIGH for its own tests: {one.tests} "
        f"with mean {mean} and scatter {100.0 * _scatter(one):.1f} % ([[clamp.tested.series]]) give {text} "
        f"at most.{pasted} Take the lines of clamp.toml for format {form} (`eavewright tests`)"
    )


def _too_few(one: SeriesTable) -> str:
    """That no strength comes from so few tests; empty for enough."""
    if one.tests >= LEAST_TESTS:
        return ""
    return (
        f"clamp.strength.{one.direction} rests on {_count(one)} ([[clamp.tested.series]]), too few to say "
        f"anything about scatter: {LEAST_TESTS} are wanted at least"
    )


def _count(one: SeriesTable) -> str:
    return "1 test" if one.tests == 1 else f"{one.tests} tests"


def given_doubt(one: SeriesTable, strength: float, clamp: ClampTable, form: str, units: UnitSystem) -> str:
    """A strength above what its own tests give by their own method; empty for none, or where none is told.

    What counts in design, with its factor, is held against the number of the format, and in format EN a
    strength before its factor against the characteristic one too. Where that is not told, it is held against
    the 5 % fractile of unknown scatter: k = t(0.95, n - 1) sqrt(1 + 1 / n) (EN 1990 Table D1).
    """
    usable, ready = _usable(strength, clamp, form), clamp.strength_kind in READY
    told = {"EN": one.design, "ASD": one.asd, "LRFD": one.lrfd}[form]
    held = [] if told is None else [(usable, told, SAME, _usable_words(form))]
    if form == "EN" and one.characteristic is not None:  # no design strength is above it either
        what = _usable_words(form) if ready else "a characteristic strength"
        held.append((strength, one.characteristic, SAME, what))
    elif form == "EN" and not ready and one.mean is not None and one.tests > 1 and not one.known_scatter:
        from scipy.special import stdtrit

        most = one.mean * _share(one, float(stdtrit(one.tests - 1, 0.95)))
        held.append((strength, most, NEAR, "a characteristic strength"))
    over = [(number, most, what) for number, most, near, what in held if number > near * most]
    if not over:
        return ""
    number, most, what = over[-1]
    own, text = units.text(number, "force"), units.text(most, "force")
    factor = "" if ready or what != _usable_words(form) else " (with clamp.factor)"
    mean = "" if one.mean is None else f" with mean {units.text(one.mean, 'force')}"
    link = " and" if mean else " with"
    scatter = "" if one.scatter is None else f"{link} scatter {100.0 * one.scatter:.1f} %"
    return (
        f"clamp.strength.{one.direction}, {own} as {what}{factor}, is MORE THAN ITS OWN TESTS GIVE, {text}: "
        f"{_count(one)}{mean}{scatter} ([[clamp.tested.series]]). Paste the strengths for format {form} of "
        "clamp.toml again; more tests want `eavewright tests` run again"
    )


def _usable(strength: float, clamp: ClampTable, form: str) -> float:
    """What of a strength counts in design, with its factor where it has one. [N]."""
    if clamp.strength_kind in READY:
        return strength
    factor = clamp.factor or 1.0
    return strength * factor if form == "LRFD" else strength / factor


def _usable_words(form: str) -> str:
    return "an allowable strength" if form == "ASD" else "a design strength"


def grip_doubts(clamp: ClampTable, rails: Iterable[Rail], units: UnitSystem) -> dict[str, str]:
    """A grip longer than any on a seam, and a rail that would lie in the seams that it crosses."""
    found, some = {}, {f"rail {i + 1}": one for i, one in enumerate(rails)}
    if clamp.grip_length > LONG:
        found["clamp.grip_length"] = (
            f"clamp.grip_length, {units.text(clamp.grip_length, 'size')}, is longer than clamps on seams are "
            f"({units.text(LONG, 'size')} at most, judgment): UNSAFE if it is wrong, as a long grip makes "
            "little pull and push of what tips the clamp. Check its unit"
        )
    if sunk(clamp.height, some.values()):
        some = {"the rail": some["rail 1"]} if len(some) == 1 else some
        (words,) = low_axis_words(clamp.height, some, units)
        found["clamp.height"] = words.rstrip(".")
    return found


def load_height_doubts(clamp: ClampTable, rails: Iterable[Rail], units: UnitSystem) -> dict[str, str]:
    """A height of the load in the tests far above the rail, which would hide that the clamp tips.

    Raises
    ------
    InputError
        It is so high that its unit or a digit is wrong.
    """
    tops = [clamp.height + rail.section.highest_top for rail in rails]
    given, top = clamp.test_height, max(tops, default=math.inf)
    if given <= max(OVER_TOP * top, top + A_LITTLE):
        return {}
    own, high = units.text(given, "size"), units.text(top, "size")
    if given > FAR and given > FAR_OVER * top:
        message = (
            f"clamp.test_height: {own} is far above the rail, whose top lies {high} above the grip: the "
            "clamp would count as tested for a moment that no test of this rail has; check its unit, and "
            "give the height of the load above the grip in the tests"
        )
        raise InputError(message)
    words = (
        f"clamp.test_height, {own}, is far above the rail, whose top lies {high} above the grip: UNSAFE if "
        "it is wrong, as the clamp counts as tested for so much tipping. Give the height of the load above "
        "the grip, from the drawing of the rig"
    )
    return {"clamp.test_height": words}


def soft_doubts(clamp: ClampTable, units: UnitSystem) -> dict[str, str]:
    """A clamp that would give way by more than any at a part of its strength."""
    way = _way(clamp)
    if not way > FIRM[1]:
        return {}
    words = (
        f"clamp.stiffness.along, {_stiff(clamp, units)}, lets the clamp give way "
        f"by {units.text(way, 'size')} at 40 % of its strength, where clamps on metal seams give way by "
        f"{units.text(FIRM[1], 'size')} at most: UNSAFE if it is wrong, as soft clamps share more. Check its "
        "unit (N/mm for kN/mm)"
    )
    return {"clamp.stiffness.along": words}


def stiff_notes(clamp: ClampTable, units: UnitSystem) -> tuple[str, ...]:
    """A clamp stiffer than any: safe for itself, and still a slip."""
    way = _way(clamp)
    if not way < FIRM[0]:
        return ()
    return (
        f"CHECK clamp.stiffness.along, {_stiff(clamp, units)}: at 40 % of its "
        "strength the clamp would give way by less than 0.005 mm; clamps on metal seams are softer. Is its "
        "unit right?",
    )


def clamp_doubts(clamp: ClampTable, form: str, rails: Sequence[Rail], units: UnitSystem) -> dict[str, str]:
    """All that keeps a clamp's numbers from being relied on, by field, one clause each; empty for nothing.

    Raises
    ------
    InputError
        `load_height_doubts`.
    """
    return {
        **strength_doubts(clamp, form, units),
        **load_height_doubts(clamp, rails, units),
        **soft_doubts(clamp, units),
        **grip_doubts(clamp, rails, units),
    }


def counted_strengths(clamp: ClampTable) -> dict[str, float | None]:
    """Strengths by direction as they count: of what was not tested no more than a share of the least force.

    Given or not: a bold guess is worth no more than a cautious one, and no number is no reason to give no
    load where hardly anything hangs on it. A moment counts as that force on the grip's length at most.
    Without tests of others, along the seam, and of moments nothing is filled in.
    """
    given: dict[str, float | None] = clamp.strength.model_dump()
    least = least_of_tests(clamp)
    if clamp.tested is None or least is None:
        return given
    for i, name in enumerate(DIRECTIONS):
        own, most = given[name], UNTESTED * least * (1.0 if i < FORCES else clamp.grip_length)
        if name not in clamp.tested.directions and (own is not None or 0 < i < FORCES):
            given[name] = most if own is None else min(own, most)
    return given


def least_of_tests(clamp: ClampTable) -> float | None:
    """Least strength given of the forces that were tested; None where none of them has one. [N]."""
    tested = [] if clamp.tested is None else clamp.tested.directions
    given = clamp.strength.model_dump()
    known = [value for name in DIRECTIONS[:FORCES] if name in tested and (value := given[name]) is not None]
    return min(known, default=None)


def untested(clamp: ClampTable) -> tuple[int, ...]:
    """Directions that count with a strength, while the tests that are told of are of others."""
    if clamp.tested is None:
        return ()
    given = counted_strengths(clamp)
    return tuple(
        i for i, n in enumerate(DIRECTIONS) if given[n] is not None and n not in clamp.tested.directions
    )


def least_tested(clamp: ClampTable, strength: Sequence[float]) -> float:
    """Least strength for design of the forces that were tested, by which untested ones are judged. [N].

    A strength that nobody tested is no measure of itself. Where no tested force has one, the least force that
    was given: a bold guess beside others does not count, and all of them are guesses. 0 without any.
    """
    directions = [] if clamp.tested is None else clamp.tested.directions
    forces = {n: float(v) for n, v in zip(DIRECTIONS[:FORCES], strength, strict=False) if not math.isnan(v)}
    known = [value for name, value in forces.items() if name in directions]
    return min(known or forces.values(), default=0.0)


def untested_words(direction: int, demand: float, units: UnitSystem) -> str:
    """That more hangs on a direction without tests than a guess may hold."""
    name, kind = DIRECTIONS[direction], "force" if direction < FORCES else "moment"
    return (
        f"clamp.strength.{name} was not tested (clamp.tested.directions), and a load of "
        f"{units.text(demand, kind)} on a clamp hangs on it: test it (the page on strengths says how), or "
        "name it in directions where tests of it are at hand"
    )


def _pairs(clamp: ClampTable) -> list[tuple[SeriesTable, float]]:
    """Series of tests with the strength of their direction, of forces."""
    given = clamp.strength.model_dump()
    some = [] if clamp.tested is None else clamp.tested.series
    return [(one, given[one.direction]) for one in some if given[one.direction] is not None]


def _share(one: SeriesTable, z: float) -> float:
    """Share of the mean at which so many normal deviations lie, with the number of tests accounted for."""
    s = math.sqrt(math.log1p(_scatter(one) ** 2))
    return math.exp(-z * math.sqrt(1.0 + 1.0 / one.tests) * s - 0.5 * s**2)


def _scatter(one: SeriesTable) -> float:
    """The scatter of a series, never less than the least that is trusted."""
    return max(one.scatter or 0.0, LEAST_SCATTER)


def _stiff(clamp: ClampTable, units: UnitSystem) -> str:
    return f"{units.convert(clamp.stiffness.along, 'stiffness'):.3g} {units.label('stiffness')}"


def _way(clamp: ClampTable) -> float:
    """What the clamp gives way by along the seam at a share of its strength; NaN without one. [m]."""
    if clamp.strength.along is None:
        return math.nan
    means = [one.mean for one, _ in _pairs(clamp) if one.direction == "along" and one.mean is not None]
    return SHARE * (means[0] if means else clamp.strength.along) / clamp.stiffness.along
