"""Studies of fitters: planned, read one at a time in an order drawn by lot, told with pictures."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from nozzlewright.advice.cautions import JET
from nozzlewright.analysis.agreement import GradeStudy
from nozzlewright.analysis.gauge_study import GaugeStudy
from nozzlewright.bench import ReadingStudy
from nozzlewright.edge.web import here as here_cookie
from nozzlewright.edge.web import page
from nozzlewright.edge.web.at_job import shop_of, who
from nozzlewright.edge.web.entry_words import GRADES, STUDY_OF
from nozzlewright.edge.web.show import localised, pressure, seconds
from nozzlewright.edge.web.study_pictures import readings_picture, shares_picture
from nozzlewright.edge.web.texts import HERE, N_, _
from nozzlewright.measurement import NotMeasured, pressure_from_pa
from nozzlewright.records import Entry
from nozzlewright.report.fitter_study import (
    grade_words,
    share_rows,
    study_words,
)
from nozzlewright.report.wording import printable
from nozzlewright.said import say
from nozzlewright.workflow.studies import (
    GRADES_OF,
    LONGEST_NAME,
    MOST_PARTS,
    UNIT_OF,
    Place,
    Study,
    StudyOf,
    StudyPlan,
    TakenReading,
)

router = APIRouter()

WIDE, NARROW = (620.0, 240.0), (260.0, 220.0)
"""Sizes of the picture of the readings, for a wide and for a narrow screen, [pt]."""
SHOWN = 60
REPEATS = ("1", "2", "3", "4", "5")
ASKS: Mapping[StudyOf, str] = {
    StudyOf.OPENING: N_("Opening pressure"),
    StudyOf.DROP: N_("Drop time"),
    StudyOf.SEAT: N_("What does the tip look like?"),
    StudyOf.SPRAY: N_("How is the spray?"),
    StudyOf.CHATTER: N_("How does it chatter?"),
}
DRAWN: Mapping[str, str] = {"dry": "tip-dry", "damp": "tip-damp", "drop": "tip-drop"}
"""Drawings of grades, where there is one for any nozzle."""
SOURCES: Mapping[str, str] = {
    "part": N_("injector"),
    "fitter": N_("fitter"),
    "interaction": N_("fitter with injector"),
    "repeats": N_("repeats"),
    "total": N_("all together"),
}


@dataclass(frozen=True)
class TakenShown:
    """One reading in the table of all."""

    text: str
    path: str
    """Where it is entered again."""
    corrected: bool


# -- which studies there are -----------------------------------------------------------------------


@router.get("/study")
def studies(request: Request) -> Response:
    """Show the studies, the last planned first."""
    return page.render(
        request, "study.html", studies=shop_of(request).studies.all()[:SHOWN], of=_of_words()
    )


def _of_words() -> dict[StudyOf, str]:
    return {of: _(STUDY_OF[of]) for of in StudyOf}


@router.get("/study/new")
def new(request: Request) -> Response:
    """Show the form of a new study."""
    return page.needs_person(request) or page.render(
        request,
        "study_new.html",
        of=[(of.value, words) for of, words in _of_words().items()],
        people=page.people(request),
        repeats=REPEATS,
    )


@router.post("/study")
def plan(request: Request, form: page.Sent) -> Response:
    """Plan a study."""
    name = who(request)
    of = StudyOf(form.choice("of", [one.value for one in StudyOf], default=StudyOf.OPENING.value))
    chosen = form.chosen("people", page.people(request))
    others = _lines(form.text("fitters"))
    fitters = tuple(dict.fromkeys([*chosen, *others]))
    parts = _lines(form.text("parts"))
    if not parts:
        number = round(form.number("number", lowest=1, highest=MOST_PARTS))
        parts = [str(place + 1) for place in range(number)]
    repeats = int(form.choice("repeats", REPEATS, default="2"))
    tolerance = None
    if form.text("tolerance") and of not in GRADES_OF:
        tolerance = (
            form.pressure_pa("tolerance") if of is StudyOf.OPENING else form.seconds("tolerance")
        )
    title = printable(form.text("title", longest=LONGEST_NAME))
    form.check()
    wanted = StudyPlan(
        title, of, tuple(parts), fitters, repeats, secrets.randbelow(2**31), tolerance
    )
    study = shop_of(request).studies.begin(form.id, name, wanted)
    return page.back_to(request, f"/study/{study.id}")


def _lines(text: str) -> list[str]:
    return [printable(line) for line in text.splitlines() if line.strip()]


# -- one reading at a time -------------------------------------------------------------------------


@router.get("/study/{study}")
def ask(request: Request, study: str, again: str = "") -> Response:
    """Ask for the next reading; or, again, for one that an entry stands for."""
    known = _study(request, study)
    if (to_settings := page.needs_person(request)) is not None:
        return to_settings
    latest = known.latest
    place, corrects = known.next, ""
    wrong = known.of_entry(again) if again else None
    if wrong is not None:
        place, corrects = wrong[0], wrong[1].entry
    if place is None:
        return page.back_to(request, f"/study/{known.id}/result")
    of = known.plan.of
    return page.render(
        request,
        "study_ask.html",
        study=known,
        of=_(STUDY_OF[of]),
        asks=_(ASKS[of]),
        place=place,
        field=_field(place),
        corrects=corrects,
        latest=latest[1].entry if latest is not None else "",
        grades=[(grade, _(GRADES[grade]), DRAWN.get(grade, "")) for grade in GRADES_OF.get(of, ())],
        unit=here_cookie.PRESSURE_UNITS[HERE.get().pressure_unit]
        if of is StudyOf.OPENING
        else _("s"),
        caution=JET,
    )


def _field(place: Place) -> str:
    """Return the name of the input: of each reading its own, so that none is filled in twice."""
    return f"reading_{place.part}_{place.fitter}_{place.repeat}"


@router.post("/study/{study}")
def take(request: Request, study: str, form: page.Sent) -> Response:
    """Write a reading down."""
    known, name = _study(request, study), who(request)
    place = Place(*(_whole(form.text(key)) for key in ("part", "fitter", "repeat")))
    of = known.plan.of
    value, grade = None, ""
    if of in GRADES_OF:
        grade = form.choice("grade", GRADES_OF[of])
    elif of is StudyOf.OPENING:
        value = form.pressure_pa(_field(place))
    else:
        value = form.seconds(_field(place))
    if value == 0.0 and not form.faults:
        form.fault(_("it is no reading above zero"), _field(place), _("Type the number once more"))
    form.check()
    after = shop_of(request).studies.take(
        form.id, name, known.id, place, value=value, grade=grade, corrects=form.text("corrects")
    )
    if after.done and not known.done:
        flash = _("That was the last reading")
        return page.back_to(request, f"/study/{known.id}/result", flash=flash)
    where = f"/study/{known.id}/result" if known.done else f"/study/{known.id}"
    return page.back_to(request, where, flash=_("Put right") if form.text("corrects") else "")


def _whole(text: str) -> int:
    """Return a whole number; -1, which is no place, for anything else."""
    return int(text) if text.isascii() and text.isdigit() and len(text) < 6 else -1


def _study(request: Request, study: str) -> Study:
    try:
        return shop_of(request).studies.study(study)
    except KeyError:
        raise HTTPException(404) from None


# -- what it says ----------------------------------------------------------------------------------


@router.get("/study/{study}/result")
def result(request: Request, study: str) -> Response:
    """Show what a study says."""
    known = _study(request, study)
    found = shop_of(request).studies.result(known.id)
    rig = shop_of(request).rig_of(known.rig)
    shown: dict[str, Any] = {
        "study": known,
        "of": _(STUDY_OF[known.plan.of]),
        "rig": rig.rig if rig is not None else "",
        "corrected": sum(one.corrected for one in known.taken.values()),
        "missing": found if isinstance(found, NotMeasured) else None,
        "words": (),
        "figures": (),
        "bars": (),
        "rows": (),
        "squares": (),
        "readings": _taken(known),
        "alike": {},
        "stands": False,
        "stands_not": "",
        "tests": [],
    }
    if isinstance(found, GaugeStudy):
        shown |= _readings_shown(found, known) | _use_of(request, known)
    elif isinstance(found, GradeStudy):
        shown |= {
            "words": grade_words(found),
            "alike": {part: part not in found.split for part in found.parts},
        }
    return page.render(request, "study_result.html", **shown)


def _use_of(request: Request, known: Study) -> dict[str, Any]:
    """Return whether a study stands for readings by hand now, and which ones rest on it."""
    shop = shop_of(request)
    now = shop.studies_now()
    standing = now.opening if known.plan.of is StudyOf.OPENING else now.drop
    stands = isinstance(standing, ReadingStudy) and standing.identity == known.id
    why = ""
    if isinstance(standing, NotMeasured):
        why = standing.reason
    elif not stands:
        why = say("a newer study stands for readings now")
    tests = [(_budgets_of(test), test) for test in shop.studies.used_by(known.id)[:SHOWN]]
    return {"stands": stands, "stands_not": why, "tests": tests}


def _budgets_of(test: Entry) -> str:
    """Return the path of the budgets of a test."""
    at = f"/job/{quote(test.draft.story)}/injector/{quote(test.draft.injector)}"
    return f"{at}/budget?{urlencode({'test': test.id})}"


def _readings_shown(found: GaugeStudy, known: Study) -> dict[str, Any]:
    """Return words, pictures and tables of a study of readings."""
    unit = HERE.get().pressure_unit
    opening = UNIT_OF[known.plan.of] == "Pa"

    def shown(value: float) -> float:
        return pressure_from_pa(value, unit) if opening else value

    printed = here_cookie.PRESSURE_UNITS[unit] if opening else _("s")
    rows = share_rows(found)
    summed = [row for row in (rows[5], rows[0], rows[1], rows[2]) if row.variance is not None]
    return {
        "words": study_words(found),
        "figures": tuple(readings_picture(found, size, shown, printed) for size in (WIDE, NARROW)),
        "bars": tuple(shares_picture(summed, width) for width in (WIDE[0], NARROW[0])),
        "rows": rows,
        "squares": [
            (
                _(SOURCES[row.source]),
                row.degrees,
                *(
                    localised(f"{value * shown(1.0) ** 2:.4g}")
                    for value in (row.sum_of_squares, row.mean_square)
                ),
                "" if row.ratio is None else localised(f"{row.ratio:.3g}"),
                "" if row.p is None else localised(f"{row.p:.3f}"),
            )
            for row in found.table
        ],
        "square_unit": printed,
        "fitters": found.fitters,
    }


def _taken(known: Study) -> list[tuple[str, list[list[TakenShown]]]]:
    """Return the table of readings: each injector, with the rounds of each fitter in the plan."""
    plan = known.plan
    return [
        (
            name,
            [
                [
                    _shown(known, known.taken[place])
                    for repeat in range(plan.repeats)
                    if (place := Place(part, fitter, repeat)) in known.taken
                ]
                for fitter in range(len(plan.fitters))
            ],
        )
        for part, name in enumerate(plan.parts)
    ]


def _shown(known: Study, taken: TakenReading) -> TakenShown:
    if taken.value is None:
        text = _(GRADES[taken.grade])
    elif known.plan.of is StudyOf.OPENING:
        text = pressure(taken.value)
    else:
        text = seconds(taken.value)
    return TakenShown(text, f"/study/{known.id}?again={taken.entry}", taken.corrected > 0)
