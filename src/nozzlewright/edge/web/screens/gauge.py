"""The gauge at a step of the job: recorded live, or read by eye and typed.

What a page shows follows from what is there: a recording that grows, one that was cut short, one
that waits to be saved, or none. So it can be opened again, on another device too, at any moment.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any
from urllib.parse import quote, urlencode

from fastapi import APIRouter, HTTPException, Request
from starlette.responses import Response

from nozzlewright.advice.cautions import JET
from nozzlewright.bench import (
    BenchConditions,
    GaugeFindings,
    Hold,
    SeatHold,
    Step,
    StepKind,
    StrokeKind,
)
from nozzlewright.capture import CountedDrops, HandReadings, Recording, TimedDrop, WatchedHold
from nozzlewright.edge.web import live_socket, page, show, states, steps_shown
from nozzlewright.edge.web.guard import MIB, takes_uploads
from nozzlewright.edge.web.here import PEDALS, PRESSURE_UNITS
from nozzlewright.edge.web.screens.jobs import rigs_today
from nozzlewright.edge.web.screens.settings import PEDAL_WORDS
from nozzlewright.edge.web.texts import HERE, N_, _, said
from nozzlewright.edge.wiring.demo_hand import injector_in_hand
from nozzlewright.edge.wiring.inbox import LARGEST
from nozzlewright.edge.wiring.live import (
    Inbox,
    LiveBench,
    OpenRecording,
    content_of,
    finish_open,
    forget,
    hand_card,
    lay_aside,
    open_recording,
    open_recordings,
    read_open,
)
from nozzlewright.edge.wiring.practice import Hand, PretendBench
from nozzlewright.errors import EvidenceFault, Fault, InputFault, NotAllowed
from nozzlewright.measurement import Measured, NotMeasured, Quantity
from nozzlewright.measurement.units import pressure_from_pa
from nozzlewright.records import EntryKind, InjectorStory, JobStory
from nozzlewright.said import from_data
from nozzlewright.workflow import NewTest, Workshop

router = APIRouter()
router.include_router(live_socket.router)

MOST_OFFERS = 40
"""Recordings of the drop folders that are listed, the newest."""
BLANK, REFERENCE, ZERO = "blank--", "reference--", "zero--"
"""What the names of recordings with the blank plug begin with."""

FILE_LIMIT = LARGEST + 4 * MIB
"""Of a request that brings a recording: a file that is too large is still told beside its field."""

READ_AT = (StepKind.TEST, StepKind.SETTING, StepKind.SECOND)
"""Kinds of step at which the gauge is used."""

SEEN_AT: Mapping[str, tuple[str, ...]] = {
    "as-found": ("seat", "drop_test", "spray", "chatter", "outside_leak"),
    "re-read": (),
    "seat": ("seat", "outside_leak"),
    "back-leakage": ("drop_test", "outside_leak"),
    "spray": ("spray",),
    "chatter": ("chatter",),
}
"""What eye and ear are asked for at a step."""

TYPED_AT: Mapping[str, tuple[str, ...]] = {
    "as-found": ("opening", "openings", "seat", "drop", "leak_off"),
    "re-read": ("opening",),
    "seat": ("opening", "seat"),
    "back-leakage": ("drop", "leak_off"),
    "spray": ("opening",),
    "chatter": ("opening", "openings"),
}
"""What can be typed at a step."""

GOOD_AT: Mapping[str, tuple[str, str]] = {
    "seat": ("tip-dry", N_("A dry tip all through the hold.")),
    "spray": ("spray-holes-good", N_("Even jets, fine and straight, that end together.")),
}
"""What good looks like at a step: a drawing, and its words."""

LOOKS: Mapping[str, Mapping[str, tuple[str, str]]] = {
    "tip": {
        "dry": ("tip-dry", N_("The tip is dry.")),
        "damp": ("tip-damp", N_("The tip is damp: a film, nothing falls.")),
        "drop": ("tip-drop", N_("A drop hangs at the tip.")),
        "": ("", N_("Nothing to see yet: watch it for a moment while pressure is held.")),
    },
    "spray": {
        "good": ("spray-holes-good", N_("Even jets, fine, that end together.")),
        "streaky": ("spray-holes-stream", N_("The jets are streaky and uneven.")),
        "one-sided": ("spray-holes-choked", N_("The spray leans to one side.")),
        "dribble": ("spray-dribble", N_("It dribbles.")),
        "missing jet": ("spray-holes-choked", N_("A jet is missing.")),
        "": ("", N_("No oil came out in the last stroke.")),
    },
    "chatter": {
        "clear": ("chatter-clear", N_("A crisp creak all through the stroke.")),
        "weak": ("chatter-weak", N_("Now and then a creak, uneven.")),
        "none": ("chatter-none", N_("A hiss, no chatter.")),
        "": ("", N_("Nothing to hear: no oil came out in the last stroke.")),
    },
    "outside": {
        "wet": ("", N_("Oil shows at the %(where)s.")),
        "": ("", N_("All joints look dry.")),
    },
}
"""What a look can find: the drawing and the words."""

PICTURES = sorted(
    {picture for look in LOOKS.values() for picture, _words in look.values() if picture}
)
"""Drawings that a look can show."""


# -- what stands on a gauge page ------------------------------------------------------------------


@dataclass(frozen=True)
class ScreenUnit:
    """The screen's unit of pressure, for the script."""

    name: str
    printed: str
    factor: float
    """Of the unit in one Pa."""
    decimals: int


def screen_unit() -> ScreenUnit:
    """Return the unit of pressure of this screen."""
    name = HERE.get().pressure_unit
    return ScreenUnit(name, PRESSURE_UNITS[name], pressure_from_pa(1.0, name), show.DECIMALS[name])


def pedal_words() -> str:
    """Return the name of the foot switch's key."""
    pedal = HERE.get().pedal
    return _(PEDAL_WORDS[pedal]) if pedal in PEDALS else pedal


@dataclass(frozen=True)
class Row:
    """One reading: as the gauge showed it, and corrected."""

    name: str
    shown: str
    corrected: str
    measured: bool
    remedy: str = ""


def reading_rows(findings: GaugeFindings, card: HandReadings | None = None) -> list[Row]:
    """Return what a test showed, raw beside corrected.

    Parameters
    ----------
    findings : GaugeFindings
        What it showed
    card : HandReadings, optional
        What was read by eye, where that is what they were read from
    """
    rows = [
        _row(_("Opening pressure"), _opening_shown(findings, card), findings.opening_pressure),
    ]
    if isinstance(findings.closing_pressure, Quantity):
        rows.append(_row(_("Closing pressure"), "", findings.closing_pressure))
    hold, seat = findings.hold, findings.seat_hold
    if isinstance(seat, SeatHold):
        rows.append(_row(_("Seat held below the opening by"), "", seat.margin_below_opening))
        rows.append(_row(_("Seat held for"), "", seat.duration))
    if isinstance(hold, Hold):
        shown = _measured(hold.drop_time_as_shown) if _is(hold.drop_time_as_shown) else ""
        if card is not None:
            shown = ", ".join(show.seconds(drop.seconds) for drop in card.drops)
        rows.append(_row(_drop_name(hold), shown, hold.drop_time_at_reference))
    else:
        rows.append(_row(_("Drop"), "", hold))
    return rows


def _drop_name(hold: Hold) -> str:
    if hold.window_from_pa is None or hold.window_to_pa is None:
        return _("Drop")
    return _("Drop from %(high)s to %(low)s") % {
        "high": show.pressure(hold.window_from_pa),
        "low": show.pressure(hold.window_to_pa),
    }


def _is(measured: Measured) -> bool:
    return isinstance(measured, Quantity)


def _measured(measured: Measured) -> str:
    if isinstance(measured, Quantity) and measured.unit == "s":
        return show.seconds(measured)
    return show.pressure(measured)


def _row(name: str, shown: str, measured: Measured) -> Row:
    remedy = said(measured.remedy) if isinstance(measured, NotMeasured) else ""
    return Row(name, shown, _measured(measured), _is(measured), remedy)


def _opening_shown(findings: GaugeFindings, card: HandReadings | None) -> str:
    """Return the raw opening pressures: the lowest and the highest that the gauge showed."""
    slow = {stroke.index for stroke in findings.strokes if stroke.kind is StrokeKind.SLOW}
    raw = [one.lift_off_pa for one in findings.openings if one.stroke in slow]
    if card is not None:
        raw = list(card.opening_pa)
    if not raw:
        return ""
    low, high = min(raw), max(raw)
    if len(raw) == 1:
        return show.pressure(low)
    return _("%(low)s to %(high)s, %(count)s pops") % {
        "low": show.pressure_number(low),
        "high": show.pressure(high),
        "count": len(raw),
    }


def cautions_of(findings: GaugeFindings) -> list[str]:
    """Return the remarks on the readings, each once."""
    all_of = [*findings.cautions]
    if isinstance(findings.hold, Hold):
        all_of += findings.hold.cautions
    if isinstance(findings.seat_hold, SeatHold):
        all_of += findings.seat_hold.cautions
    return list(dict.fromkeys(caution.sentence for caution in all_of))


# -- the step of a job ----------------------------------------------------------------------------


@dataclass(frozen=True)
class AtStep:
    """The step at which the gauge is used."""

    request: Request
    story: JobStory
    one: InjectorStory
    step: Step
    next_step: Step | None
    """The step that comes after it."""

    @property
    def workshop(self) -> Workshop:
        """Acts and queries."""
        return workshop_of(self.request)

    @property
    def at_injector(self) -> str:
        """Address of the injector's page."""
        return f"/job/{quote(self.story.job)}/injector/{quote(self.one.injector)}"

    @property
    def act_path(self) -> str:
        """What the addresses of this page's acts begin with."""
        return f"{self.at_injector}/gauge"

    def path(self, **more: str) -> str:
        """Return the address of this page."""
        return f"{self.act_path}?{urlencode({'step': self.step.key, **more})}"

    @property
    def about(self) -> str:
        """What the names of its recordings begin with."""
        return "--".join((*map(_plain, (self.story.job, self.one.injector, self.step.key)), ""))

    def conditions(self) -> tuple[BenchConditions, Recording | None]:
        """Return the bench's conditions, and the hold with the blank plug."""
        conditions, blank = self.workshop.conditions_now(self.story, self.one.sitting)
        return conditions, self.workshop.readers.recording(blank) if blank else None


def _plain(text: str) -> str:
    return re.sub(r"[^A-Za-z0-9-]", "_", text)[:40]


def workshop_of(request: Request) -> Workshop:
    """Return the workshop's acts and queries."""
    workshop: Workshop = request.app.state.workshop
    return workshop


def benches_of(request: Request) -> dict[str, LiveBench]:
    """Return the benches with an instrument, by name."""
    benches: dict[str, LiveBench] = getattr(request.app.state, "benches", {})
    return benches


def inbox_of(request: Request) -> Inbox | None:
    """Return what takes in recordings that are files; None where nothing does."""
    inbox: Inbox | None = getattr(request.app.state, "inbox", None)
    return inbox


def at_step(request: Request, job: str, injector: str, key: str) -> AtStep:
    """Return the step at which the gauge is used.

    Raises
    ------
    HTTPException
        404 where job, injector or step are not known.
    """
    workshop = workshop_of(request)
    try:
        story = workshop.story(job)
        one = story.injectors[injector]
    except KeyError:
        raise HTTPException(404) from None
    steps = workshop.steps(story)
    tests = [step for step in steps if step.kind in READ_AT]
    if not key:
        left = one.next_step(tests) or (tests[-1] if tests else None)
        key = left.key if left is not None else ""
    step = next((step for step in tests if step.key == key), None)
    if step is None:
        raise HTTPException(404)
    after = steps[steps.index(step) + 1 :]
    return AtStep(request, story, one, step, next(iter(after), None))


def bench_named(request: Request, name: str) -> tuple[str, LiveBench | None]:
    """Return a bench by its name, or the first one; None where there is none."""
    benches = benches_of(request)
    if name not in benches:
        name = next(iter(benches), "")
    return name, benches.get(name)


def _bench_in(request: Request, form: page.Form) -> LiveBench:
    name = form.text("bench")
    bench = benches_of(request).get(name)
    if bench is None:
        raise NotAllowed(
            _("there is no bench “%(name)s”") % {"name": name[:40]},
            _("Open the page anew and choose a bench"),
        )
    return bench


def _place_in(request: Request, form: page.Form) -> LiveBench | Inbox:
    """Return where the recording lies that a form is about."""
    inbox = inbox_of(request)
    if inbox is not None and form.text("bench") == inbox.name:
        return inbox
    return _bench_in(request, form)


@router.get("/job/{job}/injector/{injector}/gauge")
def show_gauge(
    request: Request,
    job: str,
    injector: str,
    step: str = "",
    how: str = "",
    bench: str = "",
    saved: str = "",
) -> Response:
    """Show the gauge at a step of the job."""
    at = at_step(request, job, injector, step)
    if (to_settings := page.needs_person(request)) is not None:
        return to_settings
    conditions, _blank = at.conditions()
    name, live = bench_named(request, bench)
    inbox = inbox_of(request)
    context: dict[str, Any] = {
        "story": at.story,
        "one": at.one,
        "step": at.step,
        "title": steps_shown.title(at.step),
        "at_injector": at.at_injector,
        "act_path": at.act_path,
        "here_path": at.path(),
        "hindrance": _hindrance(at),
        "way": "recorded",
        "files": inbox is not None,
        "rigs": rigs_today(request),
        "saved": "",
        "bench": name,
        "benches": list(benches_of(request)),
        "prefix": at.about,
        "unit": screen_unit(),
        "pedal": pedal_words(),
        "hand": None,
        "pictures": PICTURES,
        "caution": JET,
        "conditions": conditions,
        "asked": SEEN_AT.get(at.step.key, ()),
        "next_title": steps_shown.title(at.next_step) if at.next_step is not None else "",
    }
    if saved:
        return page.render(request, "gauge.html", **context | _saved(at, saved))
    waiting = [
        one
        for place in (live, inbox)
        if place is not None
        for one in open_recordings(place, at.about)
    ]
    going = live.status().recording_id if live is not None else None
    by_eye = how == "hand" or (not how and live is None and not waiting)
    if by_eye:
        context |= {"stage": "ready", "way": "hand", **_to_type(at, conditions)}
    elif going is not None and going.startswith(at.about):
        context |= {"stage": "recording", **_to_do(at, conditions)}
    elif waiting and not waiting[0].finished:
        context |= {"stage": "cut short", "waiting": waiting[0]}
    elif waiting:
        context |= {"stage": "kept", **_kept(at, waiting[0])}
    elif how == "file" and inbox is not None:
        context |= {"stage": "ready", "way": "file", **_to_take(inbox)}
    else:
        context |= {"stage": "ready", **_to_do(at, conditions)}
    if context["stage"] in {"ready", "recording"} and context["way"] == "recorded":
        _hold(live, at)
        context["hand"] = _hand_at(live)
    return page.render(request, "gauge.html", **context)


def _hand_at(bench: LiveBench | None) -> Hand | None:
    """Return what works a bench from the screen; None where it is worked at the bench itself."""
    return bench.hand if isinstance(bench, PretendBench) else None


def _hold(bench: LiveBench | None, at: AtStep) -> None:
    """Have a pretend bench hold the injector in hand: nobody carries it there."""
    if isinstance(bench, PretendBench) and not _hindrance(at):
        bench.hold(injector_in_hand(at.story, at.one))


def _hindrance(at: AtStep) -> str:
    """Return why a test could not be saved now; or empty."""
    story, one = at.story, at.one
    if story.handed_over is not None:
        return _("This job was handed over: nothing more is noted in it.")
    if story.in_hand != one.injector:
        if story.in_hand:
            other = story.injectors[story.in_hand].cylinder
            return _("Injector %(number)s is open on the bench. Close it first.") % {
                "number": other
            }
        return _("This injector is not in hand. Take it in hand before it is tested.")
    if at.step.key == "as-found" and one.changed:
        return _("This injector was opened or set: its as-found readings are locked.")
    if one.apart:
        return _("This injector lies apart. Assemble it and tighten it to torque first.")
    return ""


def _to_do(at: AtStep, conditions: BenchConditions) -> dict[str, Any]:
    """Return what the fitter is told at a step."""
    opening = _("Make three to five slow strokes, a breath between them: the needle pops.")
    good = GOOD_AT.get(at.step.key)
    lines = {
        "as-found": (
            _("Let some strokes through until the line is free of air."),
            opening,
            _("Then a few brisk strokes: watch the spray, listen to the chatter."),
            *_seat_lines(conditions),
            *_drop_lines(conditions),
        ),
        "set": (_("Let some strokes through until the line is free of air."), opening),
        "re-read": (opening, _("It is read after the lock nut is tight.")),
        "seat": (
            opening,
            _("Wipe the tip dry."),
            *_seat_lines(conditions),
        ),
        "back-leakage": _drop_lines(conditions),
        "spray": (_("Make brisk strokes, the tip over the cup. Watch the form of the spray."),),
        "chatter": (_("Make strokes slowly at first, then brisker. Listen."),),
    }.get(at.step.key, ())
    return {
        "todo": (*lines, _("Stop the recording, and note what you saw.")),
        "good": (good[0], _(good[1])) if good else None,
        "good_open": False,
    }


def _seat_lines(conditions: BenchConditions) -> tuple[str, ...]:
    margin, seconds = conditions.seat_margin_pa, conditions.seat_hold_s
    if margin is None:
        return ()
    line = _("Pump up to %(margin)s below the opening pressure and shut the pump off.") % {
        "margin": show.pressure(margin)
    }
    if seconds is None:
        return (line, _("Watch the tip."))
    return (line, _("Watch the tip for %(seconds)s.") % {"seconds": show.seconds(seconds, 0)})


def _drop_lines(conditions: BenchConditions) -> tuple[str, ...]:
    window = conditions.window
    if window is None:
        return (_("Pump up below the opening pressure, shut the pump off and let it fall."),)
    return (
        _(
            "Pump up above %(high)s, below the opening pressure, shut the pump off and let it fall "
            "to %(low)s. The watch runs by itself."
        )
        % {"high": show.pressure(window.from_pa), "low": show.pressure(window.to_pa)},
        _("Look at the tip meanwhile: it tells a leaking seat from a leaking guide."),
    )


def _kept(at: AtStep, waiting: OpenRecording) -> dict[str, Any]:
    """Return what is shown of a recording that waits to be saved."""
    try:
        recording = read_open(waiting)
        findings = at.workshop.shown_by(at.story, recording, at.one.sitting)
        seconds = recording.duration_s
    except (InputFault, EvidenceFault) as fault:
        first = fault.faults[0].what if isinstance(fault, InputFault) else str(fault)
        rows, cautions, unread, seconds = [], [], first, 0.0
    else:
        rows, cautions, unread = reading_rows(findings), cautions_of(findings), ""
    known = replace(waiting, seconds=seconds)
    return {"waiting": known, "rows": rows, "cautions": cautions, "unread": unread}


def _saved(at: AtStep, entry_id: str) -> dict[str, Any]:
    """Return what is shown of a test that was saved.

    Raises
    ------
    HTTPException
        404 where there is no such test.
    """
    test = next((test for test in at.one.tests if test.id == entry_id), None)
    if test is None:
        raise HTTPException(404)
    findings = at.workshop.findings(str(test.body["findings"]))
    card = str(test.body.get("card", ""))
    read_by_eye = at.workshop.readers.hand_card(card) if card else None
    verdict = at.one.verdicts.get(str(test.body["sitting"]))
    return {
        "stage": "kept",
        "saved": entry_id,
        "rows": reading_rows(findings, read_by_eye),
        "cautions": cautions_of(findings),
        "verdict": _verdict(verdict.body) if verdict is not None else None,
    }


def _verdict(body: Mapping[str, Any]) -> dict[str, Any]:
    state, word = states.outcome(str(body["outcome"]))
    return {
        "state": state,
        "word": word,
        "reasons": [from_data(reason) for reason in body["reasons"]],
        "tests": [
            {
                "name": said(str(test["test"])),
                **dict(
                    zip(("state", "word"), states.test_outcome(str(test["outcome"])), strict=True)
                ),
                "limit": from_data(test["limit"]),
                "reasons": [from_data(reason) for reason in test["reasons"]],
            }
            for test in body["tests"]
        ],
        "next": _said_once(
            [
                {
                    "kind": str(action["kind"]),
                    **{key: from_data(action[key] or "") for key in ("do", "why", "caution")},
                }
                for action in body["next"]
            ]
        ),
        "next_test": from_data(body.get("next_test") or ""),
    }


def _said_once(actions: list[dict[str, str]]) -> list[dict[str, str]]:
    """Return actions without the cautions that stand in that of an earlier one."""
    told = ""
    for action in actions:
        if action["caution"] and action["caution"] in told:
            action["caution"] = ""
        told += f"{action['caution']}\n"
    return actions


# -- acts of a recording --------------------------------------------------------------------------


@router.post("/job/{job}/injector/{injector}/gauge/start", responses=page.gives("application/json"))
def start(request: Request, job: str, injector: str, form: page.Sent) -> Response:
    """Begin to record."""
    at = at_step(request, job, injector, form.text("step"))
    conditions, blank = at.conditions()
    bench = _bench_in(request, form)
    going = bench.status().recording_id
    _hold(bench, at)
    if going is None or not going.startswith(at.about):
        bench.start_recording(f"{at.about}{secrets.token_hex(4)}", conditions, blank)
    return _gone_on(request, at.path(bench=bench.name))


@router.post("/job/{job}/injector/{injector}/gauge/stop", responses=page.gives("application/json"))
def stop(request: Request, job: str, injector: str, form: page.Sent) -> Response:
    """Stop recording; what was recorded waits to be saved."""
    at = at_step(request, job, injector, form.text("step"))
    bench = _bench_in(request, form)
    going = bench.status().recording_id
    if going is not None and going.startswith(at.about):
        bench.stop_recording(going)
    return _gone_on(request, at.path(bench=bench.name))


@router.post("/job/{job}/injector/{injector}/gauge/mount")
def mount(request: Request, job: str, injector: str, form: page.Sent) -> Response:
    """Mount the blank plug or the injector at a pretend bench."""
    at = at_step(request, job, injector, form.text("step"))
    return page.back_to(request, at.path(bench=_mounted(request, form)))


def _mounted(request: Request, form: page.Form) -> str:
    """Mount what was chosen; return the bench's name.

    Raises
    ------
    NotAllowed
        If it is no pretend bench, or while it is recording.
    """
    bench = _bench_in(request, form)
    what = form.choice("what", ("plug", "injector"))
    form.check()
    if not isinstance(bench, PretendBench):
        raise NotAllowed(
            _("this bench is no pretend one"), _("Mount it at the bench with a spanner")
        )
    bench.mount(what)
    return bench.name


def _gone_on(request: Request, path: str) -> Response:
    if page.wants_data(request):
        return page.data({"go": path})
    return page.back_to(request, path)


@router.post("/job/{job}/injector/{injector}/gauge/finish")
def finish(request: Request, job: str, injector: str, form: page.Sent) -> Response:
    """Use a recording that was cut short, as far as it goes."""
    at = at_step(request, job, injector, form.text("step"))
    bench = _bench_in(request, form)
    waiting = open_recording(bench, at.about, form.text("recording"))
    if not waiting.finished:
        finish_open(waiting, *at.conditions())
    return page.back_to(request, at.path(bench=bench.name))


@router.post("/job/{job}/injector/{injector}/gauge/drop")
def drop(request: Request, job: str, injector: str, form: page.Sent) -> Response:
    """Leave a recording aside; it stays on disk."""
    at = at_step(request, job, injector, form.text("step"))
    place = _place_in(request, form)
    lay_aside(open_recording(place, at.about, form.text("recording")))
    back = at.path(how="file") if isinstance(place, Inbox) else at.path(bench=place.name)
    return page.back_to(request, back, flash=_("Left aside"))


@router.post("/job/{job}/injector/{injector}/gauge/save")
def save(request: Request, job: str, injector: str, form: page.Sent) -> Response:
    """Write the test down with its recording."""
    at = at_step(request, job, injector, form.text("step"))
    if (to_settings := page.needs_person(request)) is not None:
        return to_settings
    if at.workshop.records.entry(form.id) is None:
        waiting = open_recording(_place_in(request, form), at.about, form.text("recording"))
        seen = _seen(form, at.step)
        form.check()
        digest = at.workshop.evidence.keep(content_of(waiting), waiting.kind)
        _test(at, form, NewTest(at.step.key, recording=digest, seen=seen))
        forget(waiting)
    return page.back_to(request, at.path(saved=form.id))


def _test(at: AtStep, form: page.Form, new: NewTest) -> None:
    """Write a test down; where reading is all of the step, the step is done with it."""
    done = at.step.key if at.step.kind is StepKind.TEST else ""
    who = page.here(at.request).who
    at.workshop.test(form.id, who, at.story.job, at.one.injector, new, done=done)


_GRADES = {
    "seat": ("dry", "damp", "drop"),
    "drop_test": ("dry", "damp", "drop"),
    "spray": ("good", "poor"),
    "chatter": ("clear", "weak", "none"),
}


def _seen(form: page.Form, step: Step) -> dict[str, Any]:
    """Return what eye and ear noticed; what was not looked at is not there."""
    seen: dict[str, Any] = {}
    for name in SEEN_AT.get(step.key, ()):
        if name in _GRADES:
            seen[name] = form.choice(name, _GRADES[name], default="")
        else:
            seen[name] = form.text(name, longest=200)
    if "spray" in seen:
        seen["spray_note"] = form.text("spray_note", longest=200)
    return {name: value for name, value in seen.items() if value}


# -- recordings that are files --------------------------------------------------------------------


def _to_take(inbox: Inbox) -> dict[str, Any]:
    """Return what a list of the recordings in the drop folders needs."""
    return {
        "offers": inbox.offers()[:MOST_OFFERS],
        "drop_folders": inbox.drop_folders,
    }


@router.post("/job/{job}/injector/{injector}/gauge/take")
def take(request: Request, job: str, injector: str, form: page.Sent) -> Response:
    """Take a recording from the drop folder for this test; it waits to be saved."""
    at = at_step(request, job, injector, form.text("step"))
    _inbox_in(request).take(at.about, form.text("digest"))
    return page.back_to(request, at.path())


@router.post("/job/{job}/injector/{injector}/gauge/file")
@takes_uploads(FILE_LIMIT)
def take_file(request: Request, job: str, injector: str, form: page.Sent) -> Response:
    """Take a recording that is sent for this test; it waits to be saved."""
    at = at_step(request, job, injector, form.text("step"))
    sent = form.files.get("file", ())
    if not sent:
        form.fault(_("no file has been chosen"), "file", _("Choose the recording"))
    form.check()
    file = sent[0]
    _inbox_in(request).put(at.about, file.filename or "", file.file.read(), "file")
    return page.back_to(request, at.path())


def _inbox_in(request: Request) -> Inbox:
    inbox = inbox_of(request)
    if inbox is None:
        raise HTTPException(404)
    return inbox


SLIP = 5.0
"""Pops of one test that differ by more than so many times are a slip in typing."""
BEYOND = 1.05
"""How far above its range a pointer may stand."""
MOST_DROPS, MOST_OPENINGS = 9999, 200
"""Most that anybody counts at the leak-off, and in one stroke; more is a slip of the finger."""


# -- by hand --------------------------------------------------------------------------------------


def _to_type(at: AtStep, conditions: BenchConditions) -> dict[str, Any]:
    """Return what the page of typed readings needs."""
    unit = HERE.get().pressure_unit
    window, margin = conditions.window, conditions.seat_margin_pa
    sheet = at.workshop.sheet(at.story)
    leak_off = sheet.leak_off if sheet is not None else None
    seat = " ".join(_seat_lines(conditions))
    margins = (
        {} if margin is None else {unit: pressure_from_pa(margin, unit) for unit in PRESSURE_UNITS}
    )
    target, opening = "", conditions.opening_target_pa
    if margin is not None and opening is not None:
        target = show.pressure_number(opening - margin)
    return {
        "typed": TYPED_AT.get(at.step.key, ("opening",)),
        "draft_key": f"{at.one.injector}.{at.step.key}",
        "draft_done": " ".join(
            entry.id
            for entry in at.story.entries  # also one that was taken back: its form is spent
            if entry.kind is EntryKind.TEST and entry.draft.injector == at.one.injector
        ),
        "dial_units": list(PRESSURE_UNITS.items()),
        "dial_unit": unit,
        "seat_line": seat,
        "seat_margins": margins,
        "seat_value": "",
        "seat_hint": target,
        "drop_from": show.pressure_number(window.from_pa) if window else "",
        "drop_to": show.pressure_number(window.to_pa) if window else "",
        "leak_off": leak_off,
        "leak_off_at": show.pressure_number(leak_off.pressure_pa) if leak_off else "",
        "leak_off_for": show.localised(f"{leak_off.seconds:g}") if leak_off else "",
        "openings_asked": sheet.chatter.minimum_openings_per_stroke
        if sheet is not None and sheet.chatter is not None
        else None,
    }


@router.post("/job/{job}/injector/{injector}/gauge/hand")
def by_hand(request: Request, job: str, injector: str, form: page.Sent) -> Response:
    """Write the test down with a card of the readings that were typed."""
    at = at_step(request, job, injector, form.text("step"))
    if (to_settings := page.needs_person(request)) is not None:
        return to_settings
    if at.workshop.records.entry(form.id) is None:
        card, counted = _card(form, page.here(request).who, at.conditions()[0].gauge.range_pa)
        seen = _seen(form, at.step) | counted
        form.check()
        digest = at.workshop.evidence.keep(card, "toml")
        _test(at, form, NewTest(at.step.key, card=digest, seen=seen))
    return page.back_to(request, at.path(saved=form.id))


def _card(form: page.Form, fitter: str, range_pa: float | None) -> tuple[bytes, dict[str, Any]]:
    """Return the card of what was typed, and what was counted at the leak-off.

    A pressure beyond the gauge's range, or a pop of a multiple of another, is a slip of the decimal
    sign or the unit: taken for a reading it would spoil every verdict and every shim after it. It
    bears the name of its act: two tests that show the same are two, and share no scatter.

    Raises
    ------
    InputFault
        If something is missing or wrong, all of it.
    """
    unit = form.choice("dial_unit", PRESSURE_UNITS)
    if not unit:
        form.check()

    def typed(*names: str) -> list[str]:
        return [name for name in names if form.text(name, longest=40)]

    division = form.pressure_pa("division", unit=unit)
    opening, closing = (
        tuple(form.pressure_pa(one, unit=unit) for one in typed(*(f"{kind}_{n}" for n in numbers)))
        for kind, numbers in (("opening", range(1, 7)), ("closing", range(1, 4)))
    )
    drops: list[TimedDrop] = []
    if times := typed(*(f"drop_seconds_{n}" for n in range(1, 4))):
        ends = form.pressure_pa("drop_from", unit=unit), form.pressure_pa("drop_to", unit=unit)
        if not form.faults and ends[0] <= ends[1]:
            form.fault(_("the pressure does not fall"), "drop_to", _("Type the lower pressure"))
        drops = [TimedDrop(*ends, form.seconds(name)) for name in times]
    seat = None
    if typed("seat_from", "seat_to", "seat_seconds"):
        end = form.pressure_pa("seat_to", unit=unit) if typed("seat_to") else None
        seat = WatchedHold(
            form.pressure_pa("seat_from", unit=unit), end, form.seconds("seat_seconds")
        )
        if end is not None and end > seat.start_pa:
            form.fault(
                _("the pressure rises in the hold"), "seat_to", _("Type what it had fallen to")
            )
    leak_off = None
    if typed("leak_off_drops"):
        leak_off = CountedDrops(
            form.pressure_pa("leak_off_at", unit=unit),
            _count(form, "leak_off_drops", MOST_DROPS),
            form.seconds("leak_off_seconds"),
        )
        if not form.faults and leak_off.seconds <= 0.0:
            form.fault(
                _("the time is zero"), "leak_off_seconds", _("Type for how long you counted")
            )
    counts = tuple(
        _count(form, name, MOST_OPENINGS) for name in typed(*(f"count_{n}" for n in range(1, 7)))
    )
    if not form.faults and division <= 0.0:
        form.fault(_("the division is zero"), "division", _("Type the step between two lines"))
    if range_pa is not None:
        _within_range(form, unit, range_pa)
    if opening and not form.faults and max(opening) > SLIP * min(opening):
        form.fault(
            _("the pops lie too far apart for one injector"),
            typed(*(f"opening_{n}" for n in range(1, 7)))[opening.index(max(opening))],
            _("Look for a decimal sign that is missing, or a unit that is not the dial's"),
        )
    if opening and closing and not form.faults and min(closing) >= max(opening):
        form.fault(
            _("it does not close below where it opens"),
            "closing_1",
            _("Type where the pointer came to rest after the pop"),
        )
    if not (opening or closing or drops or seat or leak_off or counts):
        asked = ("opening_1", "seat_from", "drop_seconds_1")
        where = next((name for name in asked if name in form.values), asked[0])
        form.fault(_("no reading has been typed"), where, _("Type at least one"))
    form.check()
    counted = (
        {}
        if leak_off is None
        else {
            "leak_off_drops": leak_off.drops,
            "leak_off_seconds": leak_off.seconds,
            "leak_off_pa": leak_off.pressure_pa,
        }
    )
    card = hand_card(
        division_pa=division,
        opening_pa=opening,
        closing_pa=closing,
        drops=tuple(drops),
        seat_hold=seat,
        leak_off=leak_off,
        openings_per_stroke=counts,
        note=f"typed at the screen, dial in {unit}; act {form.id}",
        fitter=fitter,
    )
    return card, counted


def _within_range(form: page.Form, unit: str, range_pa: float) -> None:
    """Note each pressure that the gauge on the rig's card cannot show."""
    names = (
        *(f"opening_{n}" for n in range(1, 7)),
        *(f"closing_{n}" for n in range(1, 4)),
        *("seat_from", "seat_to", "drop_from", "drop_to", "leak_off_at"),
    )
    wrong = {fault.where for fault in form.faults}
    for name in names:
        if name in wrong or not form.text(name, longest=40):
            continue
        pressure = form.pressure_pa(name, unit=unit)
        if pressure > BEYOND * range_pa:
            form.fault(
                _("%(pressure)s is more than the rig's gauge can show: it goes up to %(range)s")
                % {
                    "pressure": show.pressure(pressure, unit),
                    "range": show.pressure(range_pa, unit),
                },
                name,
                _(
                    "Look at the decimal sign and the unit; where another gauge is on the rig, put "
                    "its card right first"
                ),
            )


def _count(form: page.Form, name: str, most: int) -> int:
    """Return a whole number that was counted; 0 with a fault where there is none."""
    number = form.number(name, highest=most)
    if number != int(number):
        form.fault(_("it is no whole number"), name, _("Type how many you counted"))
    return int(number)


# -- the check of the rig --------------------------------------------------------------------------


class RigTest(StrEnum):
    """What is recorded for the check of the rig."""

    BLANK = "blank"
    """The hold with the blank plug."""
    REFERENCE = "reference"
    """The reference nozzle: slow strokes, then a fall."""
    ZERO = "zero"
    """The gauge at rest, without pressure."""

    @property
    def prefix(self) -> str:
        """With which the names of its recordings begin."""
        return {RigTest.BLANK: BLANK, RigTest.REFERENCE: REFERENCE, RigTest.ZERO: ZERO}[self]


@router.get("/rig/{what}")
def show_rig_test(request: Request, what: RigTest, bench: str = "") -> Response:
    """Show the gauge for a part of the check of the rig."""
    if (to_settings := page.needs_person(request)) is not None:
        return to_settings
    name, live = bench_named(request, bench)
    inbox = inbox_of(request)
    going = live.status().recording_id if live is not None else None
    waiting = open_recordings(live, what.prefix) if live is not None else []
    stage = "recording" if going is not None and going.startswith(what.prefix) else "ready"
    if stage == "ready" and waiting:
        stage = "kept" if waiting[0].finished else "cut short"
    return page.render(
        request,
        "gauge_blank.html",
        bench=name,
        benches=list(benches_of(request)),
        stage=stage,
        waiting=waiting[0] if waiting else None,
        prefix=what.prefix,
        what=what.value,
        unit=screen_unit(),
        pedal=pedal_words(),
        hand=_hand_at(live) if stage in {"ready", "recording"} else None,
        pictures=PICTURES,
        caution=JET,
        here_path=f"/rig/{what.value}?",
        **(_to_take(inbox) if inbox is not None else {"drop_folders": ()}),
    )


@router.post("/rig/{what}/start", responses=page.gives("application/json"))
def start_rig_test(request: Request, what: RigTest, form: page.Sent) -> Response:
    """Begin to record it."""
    bench = _bench_in(request, form)
    going = bench.status().recording_id
    if going is None or not going.startswith(what.prefix):
        bench.start_recording(f"{what.prefix}{secrets.token_hex(4)}", _rig_conditions(request))
    return _gone_on(request, f"/rig/{what.value}?{urlencode({'bench': bench.name})}")


@router.post("/rig/{what}/stop", responses=page.gives("application/json"))
def stop_rig_test(request: Request, what: RigTest, form: page.Sent) -> Response:
    """Stop recording, and take what was recorded to the rig's page."""
    bench = _bench_in(request, form)
    going = bench.status().recording_id
    if going is not None and going.startswith(what.prefix):
        bench.stop_recording(going)
    waiting = open_recordings(bench, what.prefix)
    if not waiting:
        return _gone_on(request, f"/rig/{what.value}?{urlencode({'bench': bench.name})}")
    return _gone_on(request, _take_rig_test(request, what, waiting[0]))


@router.post("/rig/{what}/mount")
def mount_rig_test(request: Request, what: RigTest, form: page.Sent) -> Response:
    """Mount the blank plug or the injector at a pretend bench."""
    bench = _mounted(request, form)
    return page.back_to(request, f"/rig/{what.value}?{urlencode({'bench': bench})}")


@router.post("/rig/{what}/use")
def use_rig_test(request: Request, what: RigTest, form: page.Sent) -> Response:
    """Take a recording that was left open to the rig's page."""
    bench = _bench_in(request, form)
    waiting = open_recording(bench, what.prefix, form.text("recording"))
    if not waiting.finished:
        finish_open(waiting, _rig_conditions(request), None)
        waiting = open_recording(bench, what.prefix, waiting.recording_id)
    return page.back_to(request, _take_rig_test(request, what, waiting))


@router.post("/rig/{what}/drop")
def drop_rig_test(request: Request, what: RigTest, form: page.Sent) -> Response:
    """Leave a recording of the check aside; it stays on disk."""
    bench = _bench_in(request, form)
    lay_aside(open_recording(bench, what.prefix, form.text("recording")))
    return page.back_to(request, f"/rig/{what.value}?{urlencode({'bench': bench.name})}")


def _take_rig_test(request: Request, what: RigTest, waiting: OpenRecording) -> str:
    """Keep a recording as evidence; return the address of the rig's page with it.

    Raises
    ------
    InputFault
        If nothing can be read from it.
    """
    path = _rig_path(request, what, content_of(waiting), waiting.kind)
    forget(waiting)
    return path


def _rig_path(request: Request, what: RigTest, content: bytes, kind: str) -> str:
    workshop = workshop_of(request)
    digest = workshop.evidence.keep(content, kind)
    if len(workshop.readers.recording(digest)) < 2:
        raise InputFault(
            Fault(_("there is nothing in the recording"), "", _("Hold the pressure and record it"))
        )
    return f"/rig?{what.value}={digest}"


@router.post("/rig/{what}/take")
def take_rig_test(request: Request, what: RigTest, form: page.Sent) -> Response:
    """Take a recording from the drop folder to the rig's page."""
    content, kind = _inbox_in(request).content(form.text("digest"))
    return page.back_to(request, _rig_path(request, what, content, kind))


def _rig_conditions(request: Request) -> BenchConditions:
    workshop = workshop_of(request)
    rig = workshop.rig()
    return workshop.readers.conditions(rig.conditions) if rig is not None else BenchConditions()
