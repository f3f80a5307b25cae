"""Studies of fitters: planned, read one at a time in an order drawn by lot, told at the end.

A study is an entry that plans it and one entry for each reading, all in the workshop's own story.
A reading is never altered: one that corrects it names it. The result is computed from the entries
whenever it is asked for.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from enum import StrEnum
from functools import cached_property
from threading import Lock
from typing import Any, Protocol

from nozzlewright.analysis.agreement import GradeReading, GradeStudy, grade_study
from nozzlewright.analysis.fitter_share import FITTER, INTERACTION, OF_ALL, REPEATABILITY
from nozzlewright.analysis.gauge_study import (
    GaugeStudy,
    StudyReading,
    fitter_uncertainty,
    gauge_study,
    reading_study,
)
from nozzlewright.bench import GaugeFindings, Hold, ReadingStudies, ReadingStudy, TipGrade
from nozzlewright.bench.findings import ChatterGrade, SprayGrade
from nozzlewright.errors import Fault, IdTaken, InputFault, NotAllowed
from nozzlewright.measurement import Cause, Measured, NotMeasured, Quantity
from nozzlewright.records import SHOP, Draft, Entry, EntryKind
from nozzlewright.said import figure, joined, say
from nozzlewright.workflow.ports import Clock, Records

MOST_PARTS, MOST_FITTERS, MOST_REPEATS = 30, 12, 10
MOST_READINGS = 600
"""More than anybody reads in a week."""
HIGHEST_PA, LONGEST_S = 1e9, 7 * 24 * 3600.0
LONGEST_NAME = 60
USUAL_STUDY_DAYS = 365.0
"""How long a study stands for readings where the rig's card does not say, [d]; common practice, no
source."""
LOOKED_THROUGH = 500
"""Tests that are looked through for those that rest on a study."""
_EVERY = 1_000_000
"""Entries that are asked for where all are meant."""


class StudyOf(StrEnum):
    """What is read in a study."""

    OPENING = "opening pressure"
    DROP = "drop time"
    SEAT = "seat"
    SPRAY = "spray"
    CHATTER = "chatter"


GRADES_OF: Mapping[StudyOf, tuple[str, ...]] = {
    StudyOf.SEAT: tuple(grade.value for grade in TipGrade),
    StudyOf.SPRAY: tuple(grade.value for grade in SprayGrade),
    StudyOf.CHATTER: tuple(grade.value for grade in ChatterGrade),
}
"""Grades in their order, the best first."""
UNIT_OF: Mapping[StudyOf, str] = {StudyOf.OPENING: "Pa", StudyOf.DROP: "s"}


@dataclass(frozen=True)
class StudyPlan:
    """What is to be read, by whom, how often, and the start of the lot that draws the order."""

    title: str
    of: StudyOf
    parts: tuple[str, ...]
    fitters: tuple[str, ...]
    repeats: int
    seed: int
    tolerance: float | None = None
    """Width of the band that is allowed, [Pa] or [s]; None for grades, or where none is known."""
    invented: bool = False

    @property
    def number(self) -> int:
        """Readings that it takes."""
        return len(self.parts) * len(self.fitters) * self.repeats

    @cached_property
    def order(self) -> tuple[Place, ...]:
        """Places in the order in which they are read.

        Round by round; in a round each fitter in turn, in an order drawn by lot, reads all parts
        in an order drawn anew, so that nobody knows his last reading of a part from where it
        stood. The lot is the order of the SHA-256 of seed and place: the same on every machine
        and in every version.
        """
        order: list[Place] = []
        for repeat in range(self.repeats):
            fitters = sorted(range(len(self.fitters)), key=lambda f: self._lot(repeat, f, -1))
            for fitter in fitters:
                parts = sorted(range(len(self.parts)), key=lambda p: self._lot(repeat, fitter, p))
                if order and order[-1].part == parts[0] and len(parts) > 1:
                    parts.append(parts.pop(0))  # never the same part twice running
                order += [Place(part, fitter, repeat) for part in parts]
        return tuple(order)

    def _lot(self, *place: int) -> str:
        named = " ".join(map(str, (self.seed, *place)))
        return hashlib.sha256(named.encode()).hexdigest()


@dataclass(frozen=True, order=True)
class Place:
    """One reading of a plan: which part, which fitter, which round; each from 0."""

    part: int
    fitter: int
    repeat: int


@dataclass(frozen=True)
class TakenReading:
    """One reading as it stands."""

    entry: str
    """Id of the entry that stands for it."""
    at: datetime
    value: float | None
    """[Pa] or [s]; None for a grade."""
    grade: str
    corrected: int
    """How often it was put right."""


@dataclass(frozen=True)
class Study:
    """A study as it stands."""

    id: str
    plan: StudyPlan
    who: str
    at: datetime
    rig: str = ""
    """Id of the entry with the rig's state of the day on which it was planned; or empty."""
    taken: Mapping[Place, TakenReading] = field(default_factory=dict)
    last: str = ""
    """Id of the last entry that belongs to it."""

    @property
    def next(self) -> Place | None:
        """The next place in the order; None where all is read."""
        return next((place for place in self.plan.order if place not in self.taken), None)

    @property
    def done(self) -> bool:
        """Whether every reading is taken."""
        return len(self.taken) == self.plan.number

    def of_entry(self, entry: str) -> tuple[Place, TakenReading] | None:
        """Return the reading for which an entry stands; None where it stands for none."""
        return next((one for one in self.taken.items() if one[1].entry == entry), None)

    @property
    def finished_at(self) -> datetime:
        """When its last reading was taken; when it was planned, where there is none."""
        return max((taken.at for taken in self.taken.values()), default=self.at)

    @property
    def latest(self) -> tuple[Place, TakenReading] | None:
        """The reading taken last; None where there is none."""
        for place in reversed(self.plan.order):
            if place in self.taken:
                return place, self.taken[place]
        return None


class DaysRig(Protocol):
    """State of a rig, as the workshop has it."""

    @property
    def body(self) -> Mapping[str, Any]:
        """What its entry says: names of ``rig`` and ``gauge``."""


def _place_of(body: Mapping[str, Any]) -> tuple[str, str]:
    return str(body.get("rig", "")), str(body.get("gauge", ""))


_FROM_STUDY = frozenset({FITTER, INTERACTION, OF_ALL, REPEATABILITY})


def studies_in(findings: GaugeFindings, studies: ReadingStudies) -> dict[str, str]:
    """Return the ids of the studies on which the doubt of findings rests, by what they are of."""
    hold = findings.hold
    values: tuple[tuple[StudyOf, ReadingStudy | NotMeasured | None, Measured | None], ...] = (
        (StudyOf.OPENING, studies.opening, findings.opening_pressure),
        (StudyOf.DROP, studies.drop, hold.decay_rate if isinstance(hold, Hold) else None),
    )
    return {
        of.value: study.identity
        for of, study, measured in values
        if isinstance(study, ReadingStudy)
        and isinstance(measured, Quantity)
        and any(cause.name in _FROM_STUDY for cause in measured.contributions)
    }


class Studies:
    """Acts and queries on the studies of one workshop."""

    def __init__(self, records: Records, clock: Clock) -> None:
        self.records, self.clock = records, clock
        self._known: dict[str, Study] = {}
        self._number = 0
        self._results: dict[str, tuple[str, GaugeStudy | GradeStudy | NotMeasured]] = {}
        self._lock = Lock()

    # --- queries ------------------------------------------------------------------------------

    def all(self) -> list[Study]:
        """Return all studies, the last planned first."""
        with self._lock:
            self._catch_up()
            return list(reversed(self._known.values()))

    def study(self, study: str) -> Study:
        """Return a study as it stands.

        Raises
        ------
        KeyError
            If there is none of this id.
        """
        with self._lock:
            self._catch_up()
            return self._known[study]

    def result(self, study: str) -> GaugeStudy | GradeStudy | NotMeasured:
        """Return what a study says so far; where readings are missing, which.

        Raises
        ------
        KeyError
            If there is none of this id.
        """
        known = self.study(study)
        kept = self._results.get(study)
        if kept is not None and kept[0] == known.last:
            return kept[1]
        found = result_of(known)
        self._results[study] = known.last, found
        return found

    def fitter_uncertainty(
        self,
        of: StudyOf,
        *,
        rig: str = "",
        readings: int = 1,
        repeatability_known: bool = False,
    ) -> tuple[Cause, float] | NotMeasured:
        """Return what a reading owes to the fitter, by the newest study that can tell.

        Parameters
        ----------
        of : StudyOf
            What is read: opening pressure or drop time
        rig : str
            Name of the rig on which it was studied; empty: whichever
        readings : int
            Readings of one fitter of which the value is the mean
        repeatability_known : bool
            Whether the budget has the scatter of the repeats already

        Returns
        -------
        tuple of Cause and float, or NotMeasured
            Cause ``fitter`` and standard uncertainty, [Pa] or [s]
        """
        for study in self.all():
            if study.plan.of is not of or not study.done or (rig and self._rig_of(study) != rig):
                continue
            found = self.result(study.id)
            if isinstance(found, GaugeStudy):
                return fitter_uncertainty(
                    found, readings=readings, repeatability_known=repeatability_known, rig=rig
                )
        return NotMeasured(
            say("no study of fitters has been finished for it"),
            say("let two fitters or more read some injectors in a study"),
        )

    def of_the_day(self, rig: DaysRig | None, days: float | None = None) -> ReadingStudies:
        """Return the studies that stand for readings by hand now, at the rig of the day.

        For each kind the newest one that is finished, was made at this rig with the gauge that is
        on it now, and is not too old.

        Parameters
        ----------
        rig : RigState, optional
            State of the rig; None where none was ever checked
        days : float, optional
            Greatest age, [d]; None: :data:`USUAL_STUDY_DAYS`
        """
        most = USUAL_STUDY_DAYS if days is None else days
        now = _place_of(rig.body) if rig is not None else ("", "")
        return ReadingStudies(
            self._standing(StudyOf.OPENING, now, most), self._standing(StudyOf.DROP, now, most)
        )

    def _standing(
        self, of: StudyOf, now: tuple[str, str], most: float
    ) -> ReadingStudy | NotMeasured:
        """Return the study of a kind that stands; else why there is none."""
        why = None
        for study in self.all():
            if study.plan.of is not of or not study.done:
                continue
            entry = self.records.entry(study.rig) if study.rig else None
            place = _place_of(entry.body) if entry is not None else ("", "")
            day = study.finished_at
            age = (self.clock() - day).total_seconds() / 86400.0
            if place[0] != now[0]:
                why = why or say("the last study of fitters was made at another rig")
            elif place[1] != now[1]:
                why = why or say("the gauge has been changed since the last study of fitters")
            elif age > most:
                why = why or say(
                    "the last study of fitters is of {day}, more than {days} days ago",
                    day=day.date().isoformat(),
                    days=figure(most, "g"),
                )
            else:
                found = self.result(study.id)
                if isinstance(found, GaugeStudy):
                    title = study.plan.title or str(study.plan.of)
                    name = say("{title}, {day}", title=title, day=day.date().isoformat())
                    return reading_study(found, identity=study.id, name=name)
        return NotMeasured(
            why or say("no study of fitters has been finished for it"),
            say("let two fitters or more read some injectors in a study"),
        )

    def used_by(self, study: str) -> list[Entry]:
        """Return the tests by hand whose doubt rests on a study, the newest first.

        Of the last :data:`LOOKED_THROUGH` tests.
        """
        tests = self.records.of_kind(EntryKind.TEST, last=LOOKED_THROUGH)
        return [test for test in tests if study in (test.body.get("studies") or {}).values()]

    def _rig_of(self, study: Study) -> str:
        entry = self.records.entry(study.rig) if study.rig else None
        return str(entry.body.get("rig", "")) if entry is not None else ""

    def _catch_up(self) -> None:
        """Tell the entries that are new since the last time."""
        newest = self.records.of_kind(EntryKind.STUDY, story=SHOP, last=1)
        if not newest or newest[0].number <= self._number:
            return
        if self._number:
            fresh = [
                entry
                for entry in self.records.story(SHOP, after=self._number)
                if entry.kind is EntryKind.STUDY
            ]
        else:
            fresh = self.records.of_kind(EntryKind.STUDY, story=SHOP, last=_EVERY)[::-1]
        for entry in fresh:
            self._tell(entry)
            self._number = entry.number

    def _tell(self, entry: Entry) -> None:
        body = entry.body
        if "plan" in body:
            plan = plan_from(body["plan"])
            self._known[entry.id] = Study(
                entry.id, plan, entry.draft.who, entry.draft.at, entry.draft.rig, last=entry.id
            )
            return
        study = self._known.get(str(body.get("study", "")))
        if study is None:
            return
        place = Place(int(body["part"]), int(body["fitter"]), int(body["repeat"]))
        stands = study.taken.get(place)
        corrects = entry.draft.corrects
        if (stands.entry if stands else "") != corrects:
            return  # two hands at once: the first one stands
        value = body.get("pressure_pa", body.get("time_s"))
        taken = TakenReading(
            entry.id,
            entry.draft.at,
            None if value is None else float(value),
            str(body.get("grade", "")),
            stands.corrected + 1 if stands else 0,
        )
        self._known[study.id] = replace(study, taken={**study.taken, place: taken}, last=entry.id)

    # --- acts ---------------------------------------------------------------------------------

    def begin(self, id: str, who: str, plan: StudyPlan) -> Study:  # noqa: A002 - the record's word
        """Plan a study.

        Raises
        ------
        InputFault
            If the plan cannot be carried out, or could tell nothing.
        """
        known = self.records.entry(id)
        if known is None:
            checked = checked_plan(plan)
            known = self._write(id, who, {"plan": plan_body(checked)})
        if known.kind is not EntryKind.STUDY or "plan" not in known.body:
            raise IdTaken(f"the id {id} belongs to another entry")
        return self.study(id)

    def take(
        self,
        id: str,  # noqa: A002
        who: str,
        study: str,
        place: Place,
        *,
        value: float | None = None,
        grade: str = "",
        corrects: str = "",
    ) -> Study:
        """Write a reading down.

        Parameters
        ----------
        id, who, study : str
            Identity of the act; the person at the screen; id of the study
        place : Place
            Which reading it is
        value : float, optional
            Opening pressure [Pa] or drop time [s]
        grade : str
            In place of it, where a grade is studied
        corrects : str
            Id of the entry that it puts right; or empty

        Raises
        ------
        InputFault
            If it is no reading of what is studied.
        NotAllowed
            If the place is not in the plan, is read already, or another correction came before.
        KeyError
            If there is no such study.
        """
        plan = self.study(study).plan
        body = self._body(plan, study, place, value, grade)
        with self._lock:
            known = self.records.entry(id)
            if known is None:
                self._catch_up()
                self._admit(self._known[study], place, corrects)
                self._write(id, who, body, corrects)
            elif known.kind is not EntryKind.STUDY or known.body.get("study") != study:
                raise IdTaken(f"the id {id} belongs to another entry")
            self._catch_up()
            return self._known[study]

    def _write(
        self,
        id: str,  # noqa: A002
        who: str,
        body: Mapping[str, Any],
        corrects: str = "",
    ) -> Entry:
        """Append an entry, with the rig of the day."""
        rig = self.records.of_kind(EntryKind.RIG_CHECK, story=SHOP, last=1)
        draft = Draft(
            id,
            SHOP,
            EntryKind.STUDY,
            who,
            self.clock(),
            body,
            rig=rig[0].id if rig else "",
            corrects=corrects,
        )
        return self.records.take_in([draft])[0]

    def _admit(self, study: Study, place: Place, corrects: str) -> None:
        stands = study.taken.get(place)
        if stands is None and corrects:
            raise NotAllowed(
                say("there is no such reading to be put right"), say("Take the reading itself")
            )
        if stands is not None and not corrects:
            raise NotAllowed(
                say("this reading is taken already"),
                say("Go on with the next one, or enter this one again as a correction"),
            )
        if stands is not None and stands.entry != corrects:
            raise NotAllowed(
                say("this reading was put right already"),
                say("Look at the study again, and correct what stands there now"),
            )

    @staticmethod
    def _body(
        plan: StudyPlan, study: str, place: Place, value: float | None, grade: str
    ) -> dict[str, Any]:
        if place not in plan.order:
            raise NotAllowed(
                say("the reading is not in the plan"), say("Take the one that the study asks for")
            )
        body: dict[str, Any] = {
            "study": study,
            "part": place.part,
            "fitter": place.fitter,
            "repeat": place.repeat,
            "part_name": plan.parts[place.part],
            "fitter_name": plan.fitters[place.fitter],
            "of": plan.of.value,
        }
        grades = GRADES_OF.get(plan.of)
        if grades is not None:
            if grade not in grades:
                raise InputFault(
                    Fault(
                        say("nothing has been chosen"),
                        "grade",
                        say("Choose one of: {grades}", grades=joined(", ", grades)),
                    )
                )
            return {**body, "grade": grade}
        highest, name = (
            (HIGHEST_PA, "pressure_pa") if plan.of is StudyOf.OPENING else (LONGEST_S, "time_s")
        )
        if value is None or not math.isfinite(value) or not 0.0 < value <= highest:
            raise InputFault(
                Fault(say("it is no reading above zero"), "value", say("Type the number once more"))
            )
        return {**body, name: float(value)}


def result_of(study: Study) -> GaugeStudy | GradeStudy | NotMeasured:
    """Return what a study says."""
    plan = study.plan
    rows = [
        (plan.parts[place.part], plan.fitters[place.fitter], study.taken[place])
        for place in sorted(study.taken, key=lambda place: place.repeat)
    ]
    missing = plan.number - len(rows)
    if missing:
        return NotMeasured(
            say("{missing} of {number} readings are missing", missing=missing, number=plan.number),
            say("take the missing readings: the shares can be told only from a full table"),
        )
    if plan.of in GRADES_OF:
        grades = [GradeReading(part, fitter, taken.grade) for part, fitter, taken in rows]
        return grade_study(grades, GRADES_OF[plan.of])
    readings = [
        StudyReading(part, fitter, taken.value)
        for part, fitter, taken in rows
        if taken.value is not None
    ]
    return gauge_study(readings, UNIT_OF[plan.of], tolerance=plan.tolerance)


# -- plans -----------------------------------------------------------------------------------------


def checked_plan(plan: StudyPlan) -> StudyPlan:
    """Return a plan with its names trimmed.

    Raises
    ------
    InputFault
        If it cannot be carried out, or could tell nothing; all faults together.
    """
    faults: list[Fault] = []
    parts = _names(plan.parts, "parts", MOST_PARTS, faults)
    fitters = _names(plan.fitters, "fitters", MOST_FITTERS, faults)
    graded = plan.of in GRADES_OF
    least = 1 if graded else 2
    if len(parts) < 2:
        faults.append(
            Fault(
                say("from one injector it cannot be told what lies between injectors"),
                "parts",
                say("Take two at least, better five to ten that differ"),
            )
        )
    if len(fitters) < 2:
        faults.append(
            Fault(
                say("from one fitter it cannot be told what lies between fitters"),
                "fitters",
                say("Name two at least, better three"),
            )
        )
    if not least <= plan.repeats <= MOST_REPEATS:
        faults.append(
            Fault(
                say("a fitter's own scatter cannot be told from {times} readings",
                    times=plan.repeats),
                "repeats",
                say("Choose from {least} to {most}", least=least, most=MOST_REPEATS),
            )
        )  # fmt: skip
    if len(parts) * len(fitters) * plan.repeats > MOST_READINGS:
        faults.append(
            Fault(
                say("that makes more than {most} readings", most=MOST_READINGS),
                "repeats",
                say("Take fewer repeats, or fewer injectors"),
            )
        )
    width = plan.tolerance
    if width is not None and (graded or not math.isfinite(width) or width <= 0.0):
        faults.append(
            Fault(
                say("a band that is allowed is wider than zero"),
                "tolerance",
                say("Type its width, or leave it empty"),
            )
        )
    if faults:
        raise InputFault(faults)
    title = " ".join(plan.title.split())[:LONGEST_NAME]
    return replace(plan, title=title, parts=parts, fitters=fitters)


def _names(names: Sequence[str], where: str, most: int, faults: list[Fault]) -> tuple[str, ...]:
    kept = tuple(" ".join(name.split()) for name in names if name.strip())
    if len(set(kept)) < len(kept):
        twice = next(name for name in kept if kept.count(name) > 1)
        faults.append(
            Fault(
                say("'{name}' stands there twice", name=twice[:LONGEST_NAME]),
                where,
                say("Give each a name of its own"),
            )
        )
    if any(len(name) > LONGEST_NAME for name in kept):
        faults.append(
            Fault(
                say("a name has more than {most} signs", most=LONGEST_NAME),
                where,
                say("Shorten it"),
            )
        )
    if len(kept) > most:
        faults.append(
            Fault(
                say("{number} are more than a study takes", number=len(kept)),
                where,
                say("Name {most} at most", most=most),
            )
        )
    return kept


def plan_body(plan: StudyPlan) -> dict[str, Any]:
    """Return a plan as it stands in the record."""
    body: dict[str, Any] = {
        "title": plan.title,
        "of": plan.of.value,
        "parts": list(plan.parts),
        "fitters": list(plan.fitters),
        "repeats": plan.repeats,
        "seed": plan.seed,
    }
    if plan.tolerance is not None:
        name = "tolerance_pa" if plan.of is StudyOf.OPENING else "tolerance_s"
        body[name] = plan.tolerance
    if plan.invented:
        body["invented"] = True
    return body


def plan_from(body: Mapping[str, Any]) -> StudyPlan:
    """Return the plan that :func:`plan_body` wrote."""
    return StudyPlan(
        title=str(body["title"]),
        of=StudyOf(body["of"]),
        parts=tuple(body["parts"]),
        fitters=tuple(body["fitters"]),
        repeats=int(body["repeats"]),
        seed=int(body["seed"]),
        tolerance=body.get("tolerance_pa", body.get("tolerance_s")),
        invented=bool(body.get("invented", False)),
    )
