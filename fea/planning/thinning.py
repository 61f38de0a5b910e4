"""Single pieces of rows that a plan does without, where its levels hold rows on many pieces at once."""

from __future__ import annotations

from collections.abc import Sequence

from fea.moving import Prepared
from fea.planning.apart import too_far
from fea.planning.checking import checked, path_rows
from fea.planning.ladder import SLACK, Ladder, Path, Place
from roofmodel.errors import InputError
from roofmodel.project.load import with_rows

MOST_TRIES = 20


def thinned(
    prepared: Prepared, choices: Sequence[Ladder], every: Sequence[int], paths: Sequence[Path]
) -> tuple[dict[int, int | None], int]:
    """Pieces to leave out, and pieces that pass with fewer clamps: the longest first, each by a full check.

    Lowest rows all stay, and pieces without which rows stand farther apart than `plan.most_spacing`. Only
    ladders whose rows leave gaps are looked at: on others, the search has.

    Parameters
    ----------
    prepared : Prepared
    choices : sequence of Ladder
    every : sequence of int
        Clamp spacings.
    paths : sequence of Path
        That pass.

    Returns
    -------
    dict of int to (int or None)
        As `fea.planning.checking.path_rows` takes it.
    int
        Full checks.
    """
    changes: dict[int, int | None] = {}
    tries = 0
    measured = prepared.project.table.plan.most_spacing is not None

    def apart(more: dict[int, int | None]) -> float:
        rows, _ = path_rows(prepared.project, choices, every, paths, changes | more)
        return too_far(prepared.project, with_rows(prepared.project, rows).layout)

    def passes(more: dict[int, int | None]) -> bool:
        nonlocal tries
        tries += 1
        try:
            found = checked(prepared, choices, every, paths, changes | more)
        except InputError:  # a rail that so few clamps do not hold
            return False
        return all(one.worst <= 1.0 + SLACK for one in found)

    for ladder, path in zip(choices, paths, strict=True):
        if not ladder.open:
            continue
        above = {a: list(ladder.places[a]) for a, _ in path[1:]}
        for place in sorted((p for level in above.values() for p in level), key=_length, reverse=True):
            level = above[place.level]
            if len(level) <= 1 or tries >= MOST_TRIES:
                continue
            if measured and apart({id(place): None}) > apart({}) + SLACK:
                continue
            if passes({id(place): None}):
                changes[id(place)] = None
                level.remove(place)
        option = dict(path)
        left = [place for a in option for place in above.get(a, ladder.places[a])]
        for place in sorted(left, key=_length, reverse=True):
            own = int(ladder.spacings[option[place.level], ladder.planes.index(place.plane)])
            wider = [n for n in range(len(every)) if every[n] > every[own]]
            for n in sorted(wider, key=lambda n: every[n], reverse=True):
                if tries < MOST_TRIES and passes({id(place): n}):
                    changes[id(place)] = n
                    break
    return changes, tries


def _length(place: Place) -> float:
    start, end = place.row.start or 0.0, place.row.end
    return float("inf") if end is None else end - start
