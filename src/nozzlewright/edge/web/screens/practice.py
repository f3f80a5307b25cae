"""Practice: a pretend bench with a hidden fault, worked from the screen, read by the live gauge."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import wraps
from typing import Any, Literal

from fastapi import APIRouter, HTTPException, Request
from pydantic import BaseModel
from starlette.responses import JSONResponse, Response

from nozzlewright.advice.cautions import JET
from nozzlewright.bench import Condition, SettingSheet
from nozzlewright.edge.web import live_socket, page, show
from nozzlewright.edge.web.screens.gauge import (
    LOOKS,
    PICTURES,
    cautions_of,
    reading_rows,
    screen_unit,
)
from nozzlewright.edge.web.texts import N_, _, said
from nozzlewright.edge.wiring.practice import (
    DECISIONS,
    FAULTS,
    LEVELS,
    Fate,
    PracticePlace,
    PracticeRoom,
    Seen,
)
from nozzlewright.errors import NotAllowed
from nozzlewright.records import Entry, EntryKind
from nozzlewright.said import from_data
from nozzlewright.workflow import Workshop

router = APIRouter()

LEVEL_WORDS: Mapping[int, tuple[str, str]] = {
    1: (N_("First cases"), N_("Settings that are off, a seat that drips, or nothing at all.")),
    2: (N_("Harder to tell"), N_("Wear, lacquer, carbon: look, listen and hold.")),
    3: (N_("The bench deceives"), N_("Oil, rig or air may lie; or the injector is to blame.")),
}

DECISION_WORDS: Mapping[str, tuple[str, str]] = {
    "fit": (N_("Fit it"), N_("it goes back as it is")),
    "adjust": (N_("Adjust it"), N_("another shim")),
    "rework": (N_("Rework it"), N_("strip, clean, test again")),
    "exchange": (N_("Exchange the pair"), N_("needle and body are done")),
}

FAULT_WORDS: Mapping[str, str] = {
    "no fault": N_("no fault"),
    "low opening pressure": N_("low opening pressure"),
    "high opening pressure": N_("high opening pressure"),
    "leaking seat": N_("leaking seat"),
    "worn seat": N_("worn seat"),
    "worn guide": N_("worn guide"),
    "sticking needle": N_("sticking needle"),
    "blocked hole": N_("blocked hole"),
    "leaking rig": N_("leaking rig"),
    "air in the rig": N_("air in the rig"),
}

PART_WORDS: Mapping[str, str] = {
    "decision": N_("decision"),
    "fault": N_("fault"),
    "opening pressure": N_("opening pressure"),
    "order of work": N_("order of work"),
}

FATE_WORDS: Mapping[Fate, str] = {
    Fate.ENDED: N_("It was decided, or broken off. What was decided stands among the scores."),
    Fate.LEFT_ALONE: N_(
        "Nobody gave a sign at it for ten minutes, and its place was needed. What was recorded at "
        "it is gone."
    ),
    Fate.UNKNOWN: N_(
        "The program on the bench PC was started anew, and the pretend bench went with it. What "
        "was recorded at it is gone."
    ),
}

LAST_SHOWN = 20
THINNEST_MM, THICKEST_MM = 0.1, 5.0
"""Of a shim that is put in; common practice, no source."""


def room_of(request: Request) -> PracticeRoom:
    """Return the room of the pretend benches, made when somebody first practises."""
    state = request.app.state
    if getattr(state, "practice", None) is None:
        state.practice = PracticeRoom(_workshop(request).clock)
    room: PracticeRoom = state.practice
    return room


def _workshop(request: Request) -> Workshop:
    workshop: Workshop = request.app.state.workshop
    return workshop


class PracticeOver(NotAllowed):
    """Nobody practises at this bench any more."""

    def __init__(self) -> None:
        super().__init__(
            _("this practice is over"), _("Begin another; scores are kept on the practice page")
        )


def _place(request: Request, key: str) -> PracticePlace:
    place = room_of(request).at(key)
    if place is None:
        raise PracticeOver
    return place


def _or_say_it_is_over(act: Callable[..., Response]) -> Callable[..., Response]:
    """Lead a person who acts at a practice that is over to the page that says so."""

    @wraps(act)
    def answer(request: Request, key: str, **sent: Any) -> Response:
        try:
            return act(request, key, **sent)
        except PracticeOver:
            if page.wants_data(request):
                raise
            return page.back_to(request, bench_path(key))

    return answer


def _say_it_is_over(request: Request, key: str) -> Response:
    """Say what became of a practice, and offer another."""
    begun = re.match(r"practice-(\d)-", key)
    level = int(begun[1]) if begun and int(begun[1]) in LEVELS else 0
    words = _(FATE_WORDS[room_of(request).fate(key)])
    return page.render(request, "practice_over.html", status=409, level=level, words=words)


def bench_path(key: str, act: str = "") -> str:
    """Return the address of a practice bench, or of an act at it."""
    return f"/practice/bench/{key}{act}"


# -- begin, and the scores so far -----------------------------------------------------------------


@dataclass(frozen=True)
class ScoreRow:
    """One score in the list and the picture."""

    entry: Entry
    points: int
    most: int
    level: int
    fault: str
    named: str

    @property
    def height(self) -> int:
        """Height of its bar, of 100."""
        return round(100.0 * self.points / max(self.most, 1))


@router.get("/practice")
def show_levels(request: Request) -> Response:
    """Show the levels, and how practices went."""
    rows = [_score_row(entry) for entry in _workshop(request).scores()]
    mine = [row for row in rows if row.entry.draft.who == page.here(request).who]
    return page.render(
        request,
        "practice.html",
        levels=[(level, *map(_, LEVEL_WORDS[level])) for level in LEVELS],
        rows=rows[:LAST_SHOWN],
        mine=mine[:LAST_SHOWN][::-1],
        fault_words=FAULT_WORDS,
    )


def _score_row(entry: Entry) -> ScoreRow:
    body = entry.body
    return ScoreRow(
        entry,
        int(body["points"]),
        int(body["most"]),
        int(body["truth"]["level"]),
        str(body["truth"]["fault"]),
        str(body["named_fault"]),
    )


@router.post("/practice/begin")
def begin(request: Request, form: page.Sent) -> Response:
    """Draw a case and go to its bench."""
    if (to_settings := page.needs_person(request)) is not None:
        return to_settings
    level = form.choice("level", map(str, LEVELS))
    form.check()
    return page.back_to(request, bench_path(room_of(request).begin(int(level)).key))


# -- at the bench ---------------------------------------------------------------------------------


@router.get("/practice/bench/{key}")
def show_bench(request: Request, key: str) -> Response:
    """Show a pretend bench."""
    if (to_settings := page.needs_person(request)) is not None:
        return to_settings
    place = room_of(request).at(key)
    if place is None:
        return _say_it_is_over(request, key)
    at_hand = place.at_hand()
    recording = place.live.status().recording_id is not None
    return page.render(
        request,
        "practice_bench.html",
        place=place,
        act=bench_path(key),
        at_hand=at_hand,
        stage="recording" if recording else "ready",
        unit=screen_unit(),
        caution=JET,
        limits=_limits(place.case.sheet),
        shim=show.localised(f"{place.shim_m * 1e3:.2f}"),
        temperature=place.conditions.oil_temperature,
        tests=[
            (test, reading_rows(test.findings), cautions_of(test.findings))
            if test.findings is not None
            else (test, [], [])
            for test in reversed(place.tests)
        ],
        pictures=PICTURES,
        decisions=[(key, _(word), _(small)) for key, (word, small) in DECISION_WORDS.items()],
        faults=[(key, _(FAULT_WORDS[key])) for key in FAULTS],
    )


def _limits(sheet: SettingSheet) -> list[tuple[str, str]]:
    """Return what the sheet asks, as printed."""
    band = sheet.opening_band(Condition.USED)
    asked: Sequence[tuple[str, Any]] = (
        (_("Opening pressure, used parts"), band),
        (_("Seat"), sheet.seat),
        (_("Drop"), sheet.back_leakage),
        (_("Chatter"), sheet.chatter),
        (_("Spray"), sheet.spray),
    )
    return [(name, one.printed.text) for name, one in asked if one is not None]


@router.post("/practice/bench/{key}/start", responses=page.gives("application/json"))
@_or_say_it_is_over
def start(request: Request, key: str) -> Response:
    """Begin to record."""
    _place(request, key).start()
    return _gone_on(request, key)


@router.post("/practice/bench/{key}/stop", responses=page.gives("application/json"))
@_or_say_it_is_over
def stop(request: Request, key: str) -> Response:
    """Stop recording, and read it."""
    place = _place(request, key)
    place.hand({"key": ""})
    place.stop()
    return _gone_on(request, key)


def _gone_on(request: Request, key: str, part: str = "") -> Response:
    if page.wants_data(request):
        return page.data({"go": bench_path(key)})
    return page.back_to(request, bench_path(key) + part)


@router.post("/practice/bench/{key}/mount", responses=page.gives("application/json"))
@_or_say_it_is_over
def mount(request: Request, key: str, form: page.Sent) -> Response:
    """Mount the blank plug or the injector."""
    what = form.choice("what", ("plug", "injector"))
    form.check()
    _place(request, key).mount(what)
    return _gone_on(request, key)


@router.post("/practice/bench/{key}/strip", responses=page.gives("application/json"))
@_or_say_it_is_over
def strip(request: Request, key: str) -> Response:
    """Strip the injector and look at its parts."""
    _place(request, key).strip()
    return _gone_on(request, key)


@router.post("/practice/bench/{key}/clean")
@_or_say_it_is_over
def clean(request: Request, key: str) -> Response:
    """Strip, clean and assemble the injector."""
    _place(request, key).clean()
    return page.back_to(request, bench_path(key), flash=_("Cleaned, assembled, mounted again"))


@router.post("/practice/bench/{key}/shim")
@_or_say_it_is_over
def shim(request: Request, key: str, form: page.Sent) -> Response:
    """Change the shim."""
    place = _place(request, key)
    thickness = form.number("shim", lowest=THINNEST_MM, highest=THICKEST_MM)
    form.check()
    place.change_shim(thickness / 1e3, "shim")
    flash = _("The shim is %(thickness)s thick now; the injector is mounted again")
    return page.back_to(
        request, bench_path(key), flash=flash % {"thickness": show.localised(f"{thickness:.2f} mm")}
    )


@router.post("/practice/bench/{key}/mend")
@_or_say_it_is_over
def mend(request: Request, key: str) -> Response:
    """Make the rig tight."""
    _place(request, key).mend_rig()
    return page.back_to(request, bench_path(key), flash=_("The rig's joints are tight now"))


class Look(BaseModel):
    """Where the apprentice looks."""

    at: Literal["tip", "spray", "chatter", "outside"]


@router.post("/live/{bench}/look", response_class=JSONResponse)
def look(request: Request, bench: str, where: Look) -> Response:
    """Return what is seen there now at a pretend bench: a drawing and words."""
    known = live_socket.found(request.app, bench)
    if known is None or known[1] is None:
        raise PracticeOver
    seen = known[1].look()
    picture, words = LOOKS[where.at][_found(seen, where.at)]
    text = _(words)
    if where.at == "outside" and seen.outside_leak:
        text = text % {"where": said(seen.outside_leak)}
    return page.data({"picture": picture, "words": text})


def _found(seen: Seen, at: str) -> str:
    if at == "outside":
        return "wet" if seen.outside_leak else ""
    found = {"tip": seen.tip, "spray": seen.spray, "chatter": seen.chatter}[at]
    return found.value if found is not None else ""


# -- the end --------------------------------------------------------------------------------------


@router.post("/practice/bench/{key}/decide")
@_or_say_it_is_over
def decide(request: Request, key: str, form: page.Sent) -> Response:
    """Take the decision, and show the truth beside it."""
    workshop = _workshop(request)
    if workshop.records.entry(form.id) is None:
        place = _place(request, key)
        decided = form.choice("decision", DECISIONS)
        fault = form.choice("fault", FAULTS)
        opening = form.pressure_pa("opening") if form.text("opening") else None
        form.check()
        score = place.score(decided, fault, opening)
        workshop.keep_score(form.id, page.here(request).who, score.as_data())
        room_of(request).end(key)
    return page.back_to(request, f"/practice/score/{form.id}")


@router.post("/practice/bench/{key}/end")
def end(request: Request, key: str) -> Response:
    """End a practice without a decision."""
    room_of(request).end(key)
    return page.back_to(request, "/practice")


@router.get("/practice/score/{entry}")
def show_score(request: Request, entry: str) -> Response:
    """Show the truth beside what was decided, with the points and why."""
    known = _workshop(request).records.entry(entry)
    if known is None or known.kind is not EntryKind.PRACTICE:
        raise HTTPException(404)
    body = known.body
    truth, values = body["truth"], body["truth"]["values"]
    return page.render(
        request,
        "practice_score.html",
        entry=known,
        body=body,
        what_it_is=from_data(truth["what_it_is"]),
        why=from_data(truth["why"]),
        parts=[
            (_(PART_WORDS[str(part["name"])]), part, from_data(part["reason"]))
            for part in body["parts"]
        ],
        beside=[
            (
                _("Decision"),
                _(DECISION_WORDS[str(body["decided"])][0]),
                _(DECISION_WORDS[str(truth["decision_due"])][0]),
            ),
            (
                _("Fault"),
                _(FAULT_WORDS[str(body["named_fault"])]),
                _(FAULT_WORDS[str(truth["fault"])]),
            ),
            (
                _("Opening pressure"),
                show.pressure(body["opening_said_pa"]),
                show.pressure(float(values["opening_pressure_pa"])),
            ),
        ],
        hidden=[
            (
                _("Drop from %(high)s to %(low)s, as the gauge would show it")
                % {
                    "high": show.pressure(float(values["drop_from_pa"]), decimals=0),
                    "low": show.pressure(float(values["drop_to_pa"]), decimals=0),
                },
                show.seconds(float(values["drop_as_shown_s"])),
            ),
            (
                _("The same at the sheet's reference, the injector alone"),
                show.seconds(float(values["drop_at_reference_s"])),
            ),
            (_("Oil"), show.localised(f"{float(values['oil_temperature_k']) - 273.15:.1f} °C")),
            (
                _("The rig's own leak, against the injector's"),
                show.localised(f"{100.0 * float(values['rig_leak_share']):.0f} %"),
            ),
            (
                _("Air in the oil"),
                show.localised(f"{100.0 * float(values['air_share']):.1f} %"),
            ),
        ],
        level=int(truth["level"]),
    )
