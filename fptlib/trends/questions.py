"""What the files still leave open, all of it at once.

A sentence that stops the reading says what to state and where, as ``job.toml`` takes it. Here the
answers are read out of it, the first of them is taken for the time being, and the reading goes on
to the next stop: so a file asks everything together, and its rows can be shown as they would be
read.
"""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fptlib.errors import IntakeError
from fptlib.trends.columns import columns_in
from fptlib.trends.grid import Grid
from fptlib.trends.mapping import PointMap, files_of, forms_of
from fptlib.trends.reading import read_trends
from fptlib.trends.samples import parts_of

_VALUE = r'\[[^\]]*\]|"(?:[^"\\]|\\.)*"|-?\d+(?:\.\d+)?'
_ANSWER = re.compile(rf"(?P<key>[a-z_]+) = (?P<value>{_VALUE})")
_FREE = re.compile(r"state ([a-z_]+)(?: and ([a-z_]+))?(?: \(|,| under| \[)|(on_above) = the value")
_PLACE = re.compile(r'under \[(?P<table>files|points)\.(?:"(?P<file>[^"]+)"|(?P<point>\w+))\]')
_ALSO = re.compile(r"and under \[(points)\.(\w+)\]")
_WORDS = re.compile(r"with each of (.*?) in one of them")
_UNITS = re.compile(r"under \[points\.\w+\], one of: ([^;]*)")
# A file that asks more is another kind of file.
_MOST = 20


@dataclass(frozen=True)
class Question:
    """One stop of the reading.

    Attributes:
        text: the sentence.
        place: table and name in ``job.toml``, ``("files", "a.csv")``; empty where only another
            export helps.
        options: the answers that it offers, each complete.
        free: further keys that it asks for.
        offered: words or units that a free answer is made of.
        also: further places that take the same answer.
    """

    text: str
    place: tuple[str, ...] = ()
    options: tuple[Mapping[str, Any], ...] = ()
    free: tuple[str, ...] = ()
    offered: tuple[str, ...] = ()
    also: tuple[tuple[str, ...], ...] = ()

    @classmethod
    def of(cls, text: str) -> Question:
        """The question that a sentence asks."""
        found = _PLACE.search(text)
        if found is None:
            return cls(text)
        options, free, before = list[dict[str, Any]](), list[str](), 0
        for answer in _ANSWER.finditer(text):
            between = text[before : answer.start()]
            if "..." in answer["value"] or between.rstrip().endswith("for example"):
                free.append(answer["key"])
            elif options and between == " and ":
                options[-1].update(tomllib.loads(answer[0]))
            else:
                options.append(tomllib.loads(answer[0]))
            before = answer.end()
        named = [key for each in _FREE.finditer(text) for key in each.groups() if key]
        known = {key for option in options for key in option}
        free = [key for key in dict.fromkeys([*free, *named]) if key not in known]
        words, units = _WORDS.search(text), _UNITS.search(text)
        offered = re.findall(r'"([^"]+)"', words[1]) if words else (
            units[1].split(", ") if units else [])
        return cls(text, (found["table"], found["file"] or found["point"]), tuple(options),
                   tuple(free), tuple(offered), tuple(_ALSO.findall(text)))

    @property
    def provisional(self) -> Mapping[str, Any]:
        """What is taken for the time being; nothing where the file cannot be read on."""
        if self.options:
            return self.options[0]
        if "unit" in self.free and self.offered:
            return {"unit": self.offered[0]}
        if "on" in self.free and len(self.offered) > 1:
            return {"on": list(self.offered[:1]), "off": list(self.offered[1:])}
        if "year" in self.free:
            # A leap year has every date.
            return {"year": 2024}
        return {}


@dataclass(frozen=True)
class Asked:
    """What one file asks, and the answers with what was taken for the time being."""

    file: str
    questions: tuple[Question, ...]
    answers: Mapping[str, Any]


def asked_by(folder: Path, answers: Mapping[str, Any], file: str) -> Asked:
    """Everything that a file leaves open, with the points that are mapped to it.

    Args:
        folder: the job's ``trends/``.
        answers: the job's; UTC stands for a site's zone that is not answered yet.
        file: its name.
    """
    told = _of_file(answers, file)
    questions: list[Question] = []
    for _ in range(_MOST):
        try:
            (_, form), = forms_of(told, [file])
            if len(parts_of(folder / file, form)) == 1:
                columns_in(folder / file, form)
            if told["points"]:
                read_trends(folder, PointMap.from_answers(told), alone=True)
            break
        except IntakeError as error:
            questions.append(Question.of(str(error)))
        last = questions[-1]
        if not last.place or not last.provisional:
            break
        for table, name in (last.place, *last.also):
            told.setdefault(table, {}).setdefault(name, {}).update(last.provisional)
    return Asked(file, tuple(questions), told)


def preview(folder: Path, asked: Asked) -> Grid | None:
    """A file's points as they would be read; None where they cannot be."""
    try:
        return read_trends(folder, PointMap.from_answers(asked.answers), alone=True)
    except IntakeError:
        return None


def _of_file(answers: Mapping[str, Any], file: str) -> dict[str, Any]:
    """The answers that the reading of one file rests on."""
    points = {name: {**table, "file": file} for name, table in answers.get("points", {}).items()
              if file in files_of(table)}
    site = {"time_zone": "UTC", **answers.get("site", {})}
    return copy.deepcopy({"site": site, "files": dict(answers.get("files", {})), "points": points})
