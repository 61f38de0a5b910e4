"""The page about one clamp on its seam: one HTML file that stands alone."""

from __future__ import annotations

import base64
import math
from datetime import date
from pathlib import Path

import numpy as np

from fea.analysis import Analysis
from fea.clamp_detail import ClampDetail
from fea.panel.model import LAYERS
from fea.panel.screening import NUMBERS
from fea.panel.study import WIDER, WINDOW, study_number
from roofmodel.hardware import Bearing
from roofmodel.units import UnitSystem
from viewer.combining import combination
from viewer.files import write_text
from viewer.quantities import brief, column, percent, quantity, significant, system
from viewer.report.inputs import input_tables
from viewer.report.page import page_environment
from viewer.report.tables import Table
from viewer.seam.diagrams import seam_svg
from viewer.seam.findings import (
    MOTIONS,
    SeamLine,
    clamp_label,
    force_columns,
    force_words,
    mesh_words,
    number_kind,
    path_lines,
    place_words,
    seam_detail,
    seam_lines,
    seam_verdict,
    share_text,
    shares,
    stiffness_rows,
    up,
    worst_study,
)
from viewer.summary import CAUTIONS, EXCEEDED, NOT_LOADED, NOT_VERIFIED
from viewer.typeface import page_css
from viewer.version import version

_LETTERS = "ABCDEFGH"  # of states; there are no more than numbers with a limit
_MARK = {EXCEEDED: "exceeded", NOT_VERIFIED: "open"}


def write_seam_page(
    analysis: Analysis,
    detail: ClampDetail,
    path: Path,
    picture: Path | None,
    picture_reason: str,
    substitutions: tuple[str, ...],
) -> None:
    """Write the page, whole or not at all."""
    write_text(path, seam_html(analysis, detail, picture, picture_reason, substitutions))


def seam_html(
    analysis: Analysis,
    detail: ClampDetail,
    picture: Path | None = None,
    picture_reason: str = "",
    substitutions: tuple[str, ...] = (),
    *,
    today: date | None = None,
) -> str:
    """Text of the page."""
    from markupsafe import Markup

    units = system(analysis.project.table.project.units)
    image = "" if picture is None else base64.b64encode(picture.read_bytes()).decode("ascii")
    return (
        page_environment()
        .get_template("seam.html.j2")
        .render(
            css=page_css(),
            name=f"Seam at clamp {clamp_label(analysis, detail)}",
            title=_title_block(analysis, detail, today or date.today()),
            verdict=seam_verdict(analysis, detail, units),
            picture=f"data:image/png;base64,{image}" if image else "",
            picture_reason=picture_reason or "none was drawn",
            limits=_limits_table(detail, units),
            states=_states_table(detail, units),
            action=_action_table(analysis, detail, units),
            path=_path_table(detail, units),
            clips=_clips_table(detail, units),
            diagrams=Markup(seam_svg(analysis, detail)),
            stiffness=_stiffness_table(analysis, detail, units),
            matrices=_matrices(detail),
            model=_model_words(analysis, detail, units),
            judgments=_judgments(analysis, units),
            mesh=_mesh_table(detail, units),
            proofs=_proof_table(detail),
            substitutions=substitutions,
            inputs=[t for t in input_tables(analysis.project.table, units) if _shown(t.caption)],
            cautions=CAUTIONS,
        )
    )


def _shown(caption: str) -> bool:
    return any(word in caption for word in ("[panel", "[seam", "[clamp", "[site", "[design"))


def _title_block(analysis: Analysis, detail: ClampDetail, today: date) -> tuple[tuple[str, str], ...]:
    project = analysis.project
    about = project.table.project
    return (
        ("Project", about.name),
        ("Revision", about.revision or "–"),
        ("Engineer", about.engineer or "not named"),
        ("Date", today.isoformat()),
        ("Case", analysis.snow.cases[detail.shown_source.case].name),
        ("Combination", combination(analysis, detail.shown_source.case)),
        ("Input", project.source),
        ("Eavewright", version()),
        ("Input SHA-256", project.digest),
    )


def _limits_table(detail: ClampDetail, units: UnitSystem) -> Table:
    rows, marks = [], []
    letters = {source.words: name for name, source in zip(_LETTERS, detail.source, strict=False)}
    for line in seam_lines(detail):
        idle = line.status == NOT_LOADED
        rows.append(
            (
                line.name,
                "–" if idle else place_words(line, units),
                "none" if idle else _demand(line, units),
                "–" if idle else mesh_words(line.change),
                quantity(line.resistance, line.kind, units),
                "not known" if line.status == NOT_VERIFIED else percent(line.utilization),
                line.status,
                "–" if idle else letters.get(line.worst, "check"),
                _basis(line),
            )
        )
        marks.append(_MARK.get(line.status, ""))
    heads = ("Limit", "Worst", "Demand", "Mesh", "Resistance", "Used", "Status", "State", "Basis")
    note = (
        "Mesh: change of the demand from elements twice as large; it says what the number is worth, not an "
        "error bound. Limits without a strength never pass. State: see below; check: what all clamps of the "
        "strip, own weight, friction and warmth bring to its fixed point in the worst case of `check`."
    )
    return Table("Limits of the panel, worst first", heads, "ttnnnnttt", tuple(rows), tuple(marks), note)


def _demand(line: SeamLine, units: UnitSystem) -> str:
    if math.isnan(line.demand):
        return "not studied"
    return quantity(line.demand, line.kind, units)


def _basis(line: SeamLine) -> str:
    basis, _, worst = line.limit.basis.partition("; worst in: ")
    if line.status == NOT_VERIFIED and not math.isnan(line.of_yield):
        basis += f"; information: {line.of_yield:.2f} of the nominal yield strength"
    return f"{basis}; {worst}" if line.name == "panel anchorage" and worst else basis


def _states_table(detail: ClampDetail, units: UnitSystem) -> Table:
    """Every number that has a limit, in every state that is worst for one."""
    kinds = [number_kind(name) for name in NUMBERS]
    columns = [
        column([study_number(study, name) for study in detail.states.study], kind, units)
        for name, kind in zip(NUMBERS, kinds, strict=True)
    ]
    rows = tuple(
        (
            f"{_LETTERS[i]}: {source.words}{' (shown)' if i == detail.shown else ''}",
            *(
                f"{text}{' *' if detail.states.worst[name] == i else ''}"
                for name, text in zip(NUMBERS, row, strict=True)
            ),
        )
        for i, (source, row) in enumerate(zip(detail.source, zip(*columns, strict=True), strict=True))
    )
    heads = (
        "State",
        *(
            f"{name[:1].upper()}{name[1:]}, {units.label(kind)}"
            for name, kind in zip(NUMBERS, kinds, strict=True)
        ),
    )
    note = (
        f"Of {detail.tried} different actions (snow cases, sliding force at the rail's axis and top, snow on "
        "the pan and none), compared on elements twice as large, these are worst for something (*). What "
        "follows is of the state that is shown. Snow that pulls may lie above the row while the pan around "
        "the clamp is bare: common practice, no source (judgment); the sheet then weighs its least. The "
        "limit of the anchorage takes more where several clamps hang on the strip or friction and warmth do."
    )
    return Table("States that govern", heads, "t" + "n" * len(NUMBERS), rows, note=note)


def _action_table(analysis: Analysis, detail: ClampDetail, units: UnitSystem) -> Table:
    grip, action = detail.study.action.grip, detail.study.action
    words = ("down the slope", "to the right", "away from the roof")
    rows = [
        (f"Force {MOTIONS[i]}, {words[i]} positive", force_words(grip[:3], detail, units)[i])
        for i in range(3)
    ]
    rows += [
        (f"Moment, {MOTIONS[i]}", brief(float(grip[i]), "grip moment", units) if grip[i] else "0")
        for i in (3, 4, 5)
    ]
    pan = "none: the pan is taken to be bare (judgment)"
    rows.append(
        (
            "Snow on the pan, square to the roof, factored",
            pan if detail.shown_source.bare else quantity(action.pressure, "pressure", units),
        )
    )
    factor = float(np.linalg.norm(action.weight))
    rows.append(("Factor on the sheet's own weight", significant(factor)))
    rows.append(
        ("Sliding force of the snow acts at the rail's", "top" if detail.shown_source.at_top else "axis")
    )
    caption = f"What acts at the grip of {clamp_label(analysis, detail)} and on the pan"
    return Table(caption, ("Action", "Value"), "tn", tuple(rows))


def _path_table(detail: ClampDetail, units: UnitSystem) -> Table:
    lines = [(line.name, line.force) for line in path_lines(detail)]
    grip = detail.study.action.grip[:3]
    lines += [("all together", np.sum([force for _, force in lines], axis=0)), ("clamp", grip)]
    text, unit = force_columns(np.array([force for _, force in lines]), detail, units)
    rows = []
    for (name, force), (along, across, pull) in zip(lines, text, strict=True):
        parts = ("–", "–") if name == "clamp" else tuple(share_text(s) for s in shares(force, detail))
        rows.append((name, along, parts[0], across, pull, parts[1]))
    heads = ("Part", f"Along, {unit}", "% of along", f"Across, {unit}", f"Pull, {unit}", "% of pull")
    note = (
        "Forces on the panel beyond those of snow and own weight alone. The reactions balance the clamp. A "
        "dash: the clamp's force that way is too small to share out; pull and push are then the couple "
        "that holds the overturning moment."
    )
    return Table("Who takes the clamp's force", heads, "tnnnnn", tuple(rows), note=note)


def _clips_table(detail: ClampDetail, units: UnitSystem) -> Table:
    path, middle = detail.study.path, detail.study.field.strips // 2
    uplift = np.maximum(-path.clip_total[..., 2:], 0.0)
    text, unit = force_columns(np.concatenate([path.clip, uplift], axis=2).reshape(-1, 4), detail, units)
    strips = [
        "own" if strip == middle else f"{abs(strip - middle)} to the {'right' if strip > middle else 'left'}"
        for strip in range(len(path.fixed))
    ]
    places = [up(-float(x), units) for x in path.clip_x]
    where = [(strip, place) for strip in strips for place in places]
    rows = tuple((*at, *forces) for at, forces in zip(where, text.tolist(), strict=True))
    heads = (
        "Seam",
        "Up the seam",
        *(f"{name}, {unit}" for name in ("Along", "Across", "Pull", "Uplift in all")),
    )
    return Table("Clips: the clamp's part, and uplift in all", heads, "tnnnnn", rows)


def _stiffness_table(analysis: Analysis, detail: ClampDetail, units: UnitSystem) -> Table:
    rows = []
    for name, kind, panel, clamp, both in stiffness_rows(analysis, detail):
        change = detail.study.change.get(f"stiffness {name}")
        rows.append(
            (
                name,
                quantity(panel, kind, units),
                "–" if change is None else mesh_words(change),
                quantity(clamp, kind, units) if clamp else "free",
                quantity(both, kind, units) if clamp else "free",
            )
        )
    heads = ("Motion", "Panel", "Mesh", "Clamp", "Clamp on panel")
    note = (
        "Each with the other motions held; bearing and clips as they are under the action. Clamp on panel: "
        "one behind the other, as the rail finds them."
    )
    return Table("Stiffness at the grip", heads, "tnnnn", tuple(rows), note=note)


def _matrices(detail: ClampDetail) -> tuple[Table, ...]:
    study = detail.study
    out = []
    for caption, K in (
        ("Bearing and clips as under the action", study.stiffness),
        ("All bearing and clips closed", study.stiffness_closed),
    ):
        size = np.sqrt(np.outer(np.diag(K), np.diag(K)))
        rows = tuple(
            (
                name,
                *(
                    f"{value:.4g}".replace("-", "−") if abs(value) > 1e-9 * top else "0"
                    for value, top in zip(K[i], size[i], strict=True)
                ),
            )
            for i, name in enumerate(MOTIONS)
        )
        out.append(Table(f"{caption}, SI: N/m, N, N·m/rad", ("", *MOTIONS), "tnnnnnn", rows))
    return tuple(out)


def _mesh_table(detail: ClampDetail, units: UnitSystem) -> Table:
    study = detail.study
    values = {
        **{f"stiffness {name}": (study.stiffness[i, i], "stiffness") for i, name in enumerate(MOTIONS[:3])},
        **{name: (study_number(worst_study(detail, name), name), number_kind(name)) for name in NUMBERS},
        "fold sliding": (study.fold.peak_sliding, "line_load"),
        "seam pull": (study.fold.peak_pull, "line_load"),
    }
    rows = tuple(
        (
            name,
            quantity(abs(float(values[name][0])), values[name][1], units),
            mesh_words(worst_study(detail, name).change[name]),
            mesh_words(worst_study(detail, name).window[name]),
        )
        for name in values
    )
    heads = ("Number", "Value", "Elements half as large", f"{WIDER:g} × as much seam")
    note = (
        f"{len(study.field.model.xyz):,} nodes; all numbers of this page are those of the finer mesh. "
        "Numbers with a limit are those of the state that is worst for them, the others of the shown state."
    )
    return Table("What mesh and window are worth", heads, "tnnn", rows, note=note)


def _proof_table(detail: ClampDetail) -> Table:
    rows = tuple(
        (p.name, f"{p.error:.1e}", f"{p.bar:.0e}", "met" if p.met else "NOT MET") for p in detail.proofs
    )
    marks = tuple("" if p.met else "exceeded" for p in detail.proofs)
    total = sum(line.force for line in path_lines(detail)) + detail.study.action.grip[:3]
    gap = float(np.linalg.norm(total)) / max(float(np.linalg.norm(detail.study.action.grip[:3])), 1e-300)
    note = f"Load path and clamp's force differ by {gap:.0e} of it."
    return Table("Self-audit", ("Check", "Error", "Bar", "Result"), "tnnt", rows, marks, note)


def _model_words(analysis: Analysis, detail: ClampDetail, units: UnitSystem) -> tuple[str, ...]:
    seam, panel, study = seam_detail(analysis), analysis.project.panel, detail.study
    field = study.field
    size, stiff = "size", "line_stiffness"
    sheet = quantity(panel.thickness, size, units)
    window = f"{up(-float(field.mesh.x[-1]), units)} to {up(-float(field.mesh.x[0]), units)}"
    lock = ", ".join(quantity(float(k), stiff, units) for k in seam.lock_stiffness)
    shells = sum(len(group.node) for group in field.model.shells)
    strips = f"{field.strips} {'strip' if field.strips == 1 else 'strips'}"
    fold = quantity(seam.fold_height, size, units)
    uplift = quantity(float(seam.clip_stiffness[2]), "stiffness", units)
    gap = f"after a gap of {quantity(seam.clip_gap, size, units)}" if seam.clip_gap else "without a gap"
    fixed = quantity(seam.fixed_stiffness, "stiffness", units)
    words = [
        f"The sheet, {sheet} thick, is a mesh of {shells:,} four-cornered shells over {strips} of one seam "
        f"each, {window} up the seam; {WINDOW:g} clip spacings to each side of the clamp, or to the end.",
        f"Two legs stand back to back. The {seam.lock}: {fold} of fold with {LAYERS[seam.lock]:g} layers of "
        f"sheet; springs between the legs (along, across, vertical: {lock}) hold it together.",
        f"Clips every {quantity(seam.clip_spacing, 'length', units)} hold the fold over "
        f"{quantity(seam.clip_length, size, units)}: "
        f"{'along and across' if seam.clip_stiffness[0] else 'across, sliding along'}, and against uplift "
        f"{uplift} {gap}.",
        _bearing_words(analysis, units),
        f"The fixed point is at the {seam.fixed_at}, {fixed} a strip; the sheet between it and the window "
        "acts as bars along the seam.",
        "The clamp is rigid over its grip; the rail's force acts at the grip point. The strips are taken to "
        "follow each other over and over, each clamp pulled alike.",
        "Displacements are small and the sheet elastic: no yielding, no buckling, no slip of the clamp on "
        f"the seam. {study.rounds} linear solutions found which bearing and clips are closed.",
    ]
    if len(seam.through_fixings):
        places = ", ".join(up(float(x), units) for x in seam.through_fixings)
        words.append(f"Screws through the pan hold it at {places} up the seam; they restrain its movement.")
    return tuple(word for word in words if word)


def _bearing_words(analysis: Analysis, units: UnitSystem) -> str:
    seam = seam_detail(analysis)
    if seam.bearing is Bearing.DECK:
        stiff = quantity(seam.bearing_stiffness, "bed_stiffness", units)
        return f"The pan bears one way on a deck of {stiff}, without friction."
    if seam.bearing is Bearing.PURLINS:
        stiff = quantity(seam.bearing_stiffness, "line_stiffness", units)
        spacing = quantity(seam.purlin_spacing, "length", units)
        return f"The pan bears one way on purlins every {spacing}, {stiff} each, without friction."
    return "The panel bears on nothing but its clips."


def _judgments(analysis: Analysis, units: UnitSystem) -> tuple[str, ...]:
    """What nobody entered and the study takes: defaults of [seam] with the number that was used."""
    table, seam = analysis.project.table.seam, seam_detail(analysis)
    assert table is not None
    given = table.model_fields_set
    used: dict[str, tuple[float, str]] = {
        "fold_height": (seam.fold_height, "size"),
        "E": (seam.sheet.E, "modulus"),
        "clip_first": (seam.clip_first, "length"),
        "clip_length": (seam.clip_length, "size"),
        "clip_gap": (seam.clip_gap, "size"),
        "fixed_stiffness": (seam.fixed_stiffness, "stiffness"),
    }
    words = [
        f"{name}: {quantity(value, kind, units)} (default). {type(table).model_fields[name].description}"
        for name, (value, kind) in used.items()
        if name not in given
    ]
    if "lock_stiffness" not in given:
        lock = ", ".join(quantity(float(k), "line_stiffness", units) for k in seam.lock_stiffness)
        words.append(
            f"lock_stiffness: {lock} along, across, vertical (judgment); tests of this seam would be better."
        )
    bed = "bearing_stiffness" if seam.bearing is Bearing.DECK else "purlin_stiffness"
    if seam.bearing is not Bearing.NONE and bed not in given:
        kind = "bed_stiffness" if seam.bearing is Bearing.DECK else "line_stiffness"
        words.append(f"{bed}: {quantity(seam.bearing_stiffness, kind, units)} (judgment).")
    for name, text in (("fixed_at", str(seam.fixed_at)), ("fixed_clips", "no"), ("through_fixings", "none")):
        if name not in given:
            words.append(f"{name}: {text} (default). {type(table).model_fields[name].description}")
    if not math.isfinite(seam.clip_strength) or not math.isfinite(seam.opening_strength):
        words.append("Strengths that are not given are not assumed; see the limits.")
    words.append(
        "Fold: its layers act as one plate of the sheet's thickness with that many times its modulus."
    )
    words.append("Fold forces are compared as means over the grip length (judgment).")
    return tuple(words)
