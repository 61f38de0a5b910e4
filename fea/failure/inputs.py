"""What the table [uncertainty] means for the sampling of a roof."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fea.failure.roof_case import Laws
from fea.failure.splice_laws import splice_words, strength_of
from fea.failure.study import SNOW, Scatter
from fea.sampling.variables import Inputs, Shape, Variable, make_inputs
from fea.strength_tests.campaign import judge
from roofmodel.errors import InputError
from roofmodel.project.campaigns import load_campaign
from roofmodel.project.evidence import clamps_named
from roofmodel.project.load import Project
from roofmodel.project.screw_tables import need_along
from roofmodel.project.uncertainty_schema import Distribution, UncertaintyTable
from roofmodel.units import UnitSystem

FAR = 3.7  # standard normal numbers that bound what friction is calculated for


@dataclass(frozen=True)
class Uncertain:
    """The scatter of a project.

    Attributes
    ----------
    table : UncertaintyTable
    scatter : Scatter
    mean_strength : float
        Mean over nominal strength along the seam. [-]
    frictions : tuple of float
        Least and largest friction coefficient; empty where it does not scatter.
    digest : str
        SHA-256 of the files read besides the project; empty for none.
    notes : tuple of str
    """

    table: UncertaintyTable
    scatter: Scatter
    mean_strength: float
    frictions: tuple[float, ...]
    digest: str
    notes: tuple[str, ...]


def read_uncertainty(project: Project) -> Uncertain:
    """The table [uncertainty] of a project, with the tests it names.

    Raises
    ------
    InputError
        No table, nothing that scatters, correlations that contradict each other, tests of another direction.
    """
    table, name = project.table.uncertainty, project.path.name
    if table is None:
        right = "[uncertainty] with depth, density or strength, such as strength = { scatter = 0.12 }"
        message = f"{name}: uncertainty is missing; add the table {right}"
        raise InputError(message)
    need_along(project.table.clamp, "a chance of failure", name)
    mean, scatter, digest, notes = _strength(project, table)
    given = {key: getattr(table, key) for key in SNOW if getattr(table, key) is not None}
    try:
        load = make_inputs(
            [_variable(key, one) for key, one in given.items()],
            {(pair.of[0], pair.of[1]): pair.value for pair in table.correlation},
        )
    except ValueError as error:
        message = f"{name}: uncertainty.correlation: {error}"
        raise InputError(message) from None
    found = Scatter(
        load=load,
        strength=scatter,
        together=0.0 if table.strength is None else table.strength.together,
        missing=table.missing,
        loose=table.loose,
        loose_strength=table.loose_strength,
        place=table.spacing_error,
    )
    splices = 0.0 if table.splice is None else table.splice.scatter
    if not given and not (scatter or table.missing or table.loose or table.spacing_error or splices):
        message = (
            f"{name}: uncertainty: nothing scatters; give depth, density, drift, strength, missing or loose"
        )
        raise InputError(message)
    return Uncertain(table, found, mean, _frictions(load), digest, notes)


def laws_of(project: Project, mean_strength: float, frictions: tuple[float, ...] = ()) -> Laws:
    """What clamps, friction and sudden losses are taken for, by the project's table [uncertainty].

    Raises
    ------
    InputError
        A law for clamps that the project does not have.
    """
    table = project.table.uncertainty
    if table is None:
        return Laws(mean_strength=mean_strength, frictions=frictions, impact=None)
    layout, name = project.layout, project.path.name
    residual = np.full(len(layout.clamp_name), np.nan)
    unzip = np.full(len(layout.clamp_name), table.unzip)
    for number, law in enumerate(table.law, 1):
        at = clamps_named(layout, law.clamps, f"{name}: uncertainty.law {number}.clamps")
        residual[at] = {"brittle": 0.0, "slip": law.residual, "ductile": 1.0}[law.kind]
        unzip[at] = table.unzip if law.unzip is None else law.unzip
    return Laws(
        mean_strength=mean_strength,
        frictions=frictions,
        release=table.release,
        impact=table.impact,
        unzip=unzip,
        stopping=table.stopping,
        residual=residual if table.law else None,
        splices=None if table.splice is None else strength_of(table.splice, layout, name),
    )


def law_words(table: UncertaintyTable, units: UnitSystem) -> tuple[str, ...]:
    """What clamps and splices do past their strength, as the table says it; empty where it says nothing."""
    acts = {
        "brittle": "come off once their strength is reached",
        "slip": "slip then and hold {share} of it",
        "ductile": "yield then and go on holding it",
    }
    found = []
    for law in table.law:
        words = acts[law.kind].format(share=f"{100.0 * (law.residual or 0.0):g} %")
        if law.unzip:
            words += f", and other clamps of the seam lose {100.0 * law.unzip:g} % of theirs"
        found.append(f"{law.clamps}: {words}{f' ({law.reason})' if law.reason else ''}")
    lines = [f"Laws of the clamps as the project gives them: {'; '.join(found)}."] if found else []
    if table.unzip > 0.0:
        lines.append(
            f"Where one clamp breaks, others of its seam lose {100.0 * table.unzip:g} % of their strength "
            "(uncertainty.unzip)."
        )
    if table.splice is not None:
        lines.append(splice_words(table.splice, units))
    return tuple(lines)


def _variable(key: str, one: Distribution) -> Variable:
    if one.shape == "uniform":
        assert one.low is not None
        assert one.high is not None
        return Variable(key, Shape.UNIFORM, one.low, one.high)
    assert one.mean is not None
    assert one.deviation is not None
    return Variable(key, Shape(one.shape), one.mean, one.deviation)


def _frictions(load: Inputs) -> tuple[float, ...]:
    """Range of friction coefficients worth calculating."""
    import numpy as np

    names = [variable.name for variable in load.variables]
    if "friction" not in names:
        return ()
    at = np.zeros((2, load.count))
    at[:, names.index("friction")] = (-FAR, FAR)
    alone = Inputs(load.variables, np.eye(load.count))
    return tuple(alone.values(at)[:, names.index("friction")].tolist())


def _strength(project: Project, table: UncertaintyTable) -> tuple[float, float, str, tuple[str, ...]]:
    """Mean over nominal, scatter, digest of the tests, notes."""
    given, clamp = table.strength, project.clamp
    if given is None:
        return 1.0, 0.0, "", ("Clamp strengths do not scatter: their nominal values count as certain.",)
    if given.tests is None:
        assert given.scatter is not None
        note = (
            "The mean strength is taken as the nominal one (uncertainty.strength.mean is not given)."
            if given.mean is None
            else f"Mean strength is {given.mean:g} times the nominal one, as given."
        )
        return given.mean or 1.0, given.scatter, "", (note,)
    campaign = load_campaign(project.path.parent / given.tests)
    if campaign.table.specimen.direction != "along":
        message = (
            f"{project.path.name}: uncertainty.strength.tests: {given.tests} was tested "
            f'"{campaign.table.specimen.direction}" the seam; a campaign with direction "along" is needed'
        )
        raise InputError(message)
    sample = judge(campaign).justified.sample
    mean = sample.mean / float(clamp.nominal[0])
    wider = float(np.sqrt((sample.count - 1) / max(sample.count - 3, 0.5) * (1.0 + 1.0 / sample.count)))
    note = (
        f"Clamp strength by {sample.count} tests of {given.tests}: mean {mean:.3g} times the nominal one, "
        f"scatter {sample.scatter:.3g}, taken {wider:.2f} times as wide for so few tests (deviation of the "
        "next value, Student's t)."
    )
    return mean, wider * sample.scatter, campaign.digest, (note,)
