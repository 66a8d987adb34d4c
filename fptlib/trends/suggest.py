"""Proposes the point map: every column of every file with the point it most likely is, or none.

What a header says (``names.py``) makes candidates, its unit and its values weigh them, all columns
are assigned at once, each point and each column once, and ``agreement.py`` holds the result against
physics. A proposal is never used unasked. What is not sure of its unit, its rival or its number
says so and is not ticked.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from fptlib import points, units
from fptlib.trends import agreement
from fptlib.trends.candidates import BARE, candidates_of
from fptlib.trends.cells import no_plain_unit
from fptlib.trends.columns import Column, read_columns
from fptlib.trends.in_units import Candidate
from fptlib.trends.safe import MODELS

# What is less sure is no proposal; what is at least so sure is ticked.
LEAST, SURE = 0.4, 0.75
# A doubted proposal is at most so sure.
DOUBTED = 0.6

@dataclass(frozen=True, slots=True)
class Suggestion:
    """A column for a point; ``confidence`` 0 to 1, ``why`` in a few words, ``doubt`` what speaks
    against it."""

    point: str
    file: str
    column: str
    unit: str
    why: str
    confidence: float
    doubt: str = ""

    @property
    def ticked(self) -> bool:
        """Whether it is accepted unless somebody says otherwise."""
        return self.confidence >= SURE


@dataclass(frozen=True)
class Proposal:
    """Every column of every file, what is proposed for it, and which files could not be read."""

    columns: tuple[Column, ...]
    chosen: Mapping[tuple[str, str], Suggestion] = field(default_factory=dict)
    unread: Mapping[str, str] = field(default_factory=dict)

    def of(self, column: Column) -> Suggestion | None:
        """What is proposed for a column."""
        return self.chosen.get((column.file, column.name))


def propose(folder: Path, answers: Mapping[str, Any], model: Path | None = None) -> Proposal:
    """The likely point map of the files in ``folder``, each point and each column once.

    Args:
        folder: the job's ``trends/``; a model of the site in it is used.
        answers: the job's answers; ``[files]``, ``[site]`` and the plant's counts are used.
        model: a further model, which comes first.
    """
    files = read_columns(Path(folder), answers)
    columns, unread = list(files.columns), dict(files.unread)
    if models := [*([model] if model else []), *sorted(
            path for path in Path(folder).iterdir() if path.suffix.lower() in MODELS)]:
        from fptlib.trends.model import named

        columns = named(columns, models, unread)
    candidates = candidates_of(columns, answers)
    chosen = _assigned(candidates)
    suggestions = _judged(chosen, candidates, answers)
    return Proposal(tuple(columns), {(s.file, s.column): s for s in suggestions}, unread)


# -- all columns at once --------------------------------------------------------------------------

def _assigned(candidates: Sequence[Candidate]) -> dict[str, Candidate]:
    """Each point one column and each column one point, the sum of all scores as high as can be."""
    names = sorted({one.point for one in candidates})
    places = sorted({(one.column.file, one.column.name) for one in candidates})
    scores = np.zeros((len(names), len(places) + len(names)))
    at: dict[tuple[int, int], Candidate] = {}
    for one in candidates:
        where = (names.index(one.point), places.index((one.column.file, one.column.name)))
        if one.score > scores[where]:
            scores[where], at[where] = one.score, one
    return {names[row]: at[row, column] for row, column in enumerate(assignment(scores))
            if (row, column) in at}


def assignment(scores: np.ndarray) -> list[int]:
    """The column of each row for which the sum of ``scores`` is highest, no column twice.

    Args:
        scores: shape (rows, columns), at least as many columns as rows.

    Source: the Hungarian method by shortest augmenting paths (Kuhn 1955; Jonker and Volgenant
    1987), from memory; tests hold it against SciPy's.
    """
    rows, columns = scores.shape
    of_row, of_column = np.zeros(rows + 1), np.zeros(columns + 1)
    owner = np.full(columns + 1, -1)
    for row in range(rows):
        # The last column is where a row stands that has none yet.
        owner[columns], here = row, columns
        reach, before = np.full(columns, np.inf), np.full(columns, columns)
        done = np.zeros(columns + 1, bool)
        while owner[here] >= 0:
            done[here] = True
            cost = -scores[owner[here]] - of_row[owner[here]] - of_column[:columns]
            nearer = ~done[:columns] & (cost < reach)
            reach[nearer], before[nearer] = cost[nearer], here
            following = int(np.argmin(np.where(done[:columns], np.inf, reach)))
            step = reach[following]
            of_row[owner[done]] += step
            of_column[done] -= step
            reach[~done[:columns]] -= step
            here = following
        while here != columns:
            owner[here], here = owner[before[here]], before[here]
    return [int(np.flatnonzero(owner[:columns] == row)[0]) for row in range(rows)]


def _judged(chosen: Mapping[str, Candidate], candidates: Sequence[Candidate],
            answers: Mapping[str, Any]) -> list[Suggestion]:
    """The assigned candidates with their confidence, after physics and rivals were looked at."""
    said = agreement.look({name: agreement.Reading(one.column, one.unit, one.stated)
                           for name, one in chosen.items()}, answers)
    found = []
    for name, one in chosen.items():
        seen = said[name]
        partner = chosen[seen.swap] if seen.swap else one
        against = ""
        if one.column.model or partner.column.model:
            partner, against = one, _against_model(one, seen)
        doubt = "; ".join(text for text in (
            one.doubt if seen.unit == one.unit else "", seen.doubt, against,
            no_plain_unit(one.column.name),
            _rival(one, candidates, chosen)) if text)
        sure = 0.3 + 0.5 * one.strength + (0.06 if one.stated else 0.0)
        sure += 0.0 if one.fit is None else 0.08 * (one.fit - 0.5)
        sure += 0.09 if seen.agrees else 0.0
        if one.fit is not None and one.fit < 0.3 and not seen.agrees:
            sure = min(sure, DOUBTED)
        sure = min(sure, DOUBTED if doubt else 0.99, 0.5 if seen.swap else 0.99,
                   LEAST if seen.wrong else 0.99)
        if sure >= LEAST and (one.strength > BARE or seen.agrees):
            found.append(Suggestion(name, partner.column.file, partner.column.name, seen.unit,
                                    _why(one, seen), round(sure, 2), doubt))
    return found


def _rival(one: Candidate, candidates: Sequence[Candidate], chosen: Mapping[str, Candidate]) -> str:
    """Another column that would do for the point as well, and is left without one."""
    taken = {(c.column.file, c.column.name) for c in chosen.values()}
    for other in candidates:
        if (other.point == one.point and (other.column.file, other.column.name) not in taken
                and other.score > 0.93 * one.score):
            return f"'{other.column.name}' would do as well"
    return ""


def _against_model(one: Candidate, seen: agreement.Seen) -> str:
    """What speaks against a model's word for a column; it stays, and is not ticked."""
    if seen.swap:
        return seen.agrees.pop(0).partition(",")[0].removeprefix("but ") + ", against the model"
    if one.fit is not None and one.fit < 0.3 and not seen.agrees and not seen.doubt:
        return f"only {100 * one.fit:.0f} % of its values lie where this point usually does"
    stated = one.column.model and units.alias(one.column.model.unit, points.point(one.point).unit)
    if stated and stated != seen.unit != "fraction":
        return f"the model says {units.symbol(stated)}, the file {units.symbol(seen.unit)}"
    return ""


def _why(one: Candidate, seen: agreement.Seen) -> str:
    why = [f"the model: '{one.column.model}'" if one.column.model else
           f"the header '{one.column.said}'"]
    if points.point(one.point).kind in (points.STATUS, points.ALARM):
        why.append("on and off")
    elif one.stated:
        why.append(f"its unit {one.column.unit}")
    if one.fit is not None:
        why.append(f"{100 * one.fit:.0f} % of its values where this point usually lies as "
                   f"{units.symbol(one.unit)}")
    return "; ".join([*why, *seen.agrees])
