"""The rig of the day: its card, the oil's temperature, the hold with the blank plug."""

from __future__ import annotations

import re
from collections import OrderedDict
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import TypeVar
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from nozzlewright.advice.cautions import JET
from nozzlewright.bench import BenchConditions, BledVolume, LeverStrokes, RigReadings
from nozzlewright.edge.web import page
from nozzlewright.edge.web.at_job import shop_of, who
from nozzlewright.edge.web.guard import MIB, takes_uploads
from nozzlewright.edge.web.rig_shown import (
    MEANING,
    fitness,
    oil_text,
    shown_acts,
    shown_charts,
    shown_due,
    shown_items,
)
from nozzlewright.edge.web.screens.gauge import benches_of, inbox_of
from nozzlewright.edge.web.screens.jobs import ShownRig, conditions_of, rigs_today, shown_rig
from nozzlewright.edge.web.show import (
    day_text,
    localised,
    parse_pressure,
    pressure,
    pressure_number,
)
from nozzlewright.edge.web.texts import _, ngettext, said
from nozzlewright.edge.wiring.rig_card import (
    Hold,
    Outline,
    RecordedHold,
    TimedHold,
    card_of_today,
    checked_card,
    kept_loss,
    kept_recording,
    new_card,
    outline,
    own_loss,
    thickness,
)
from nozzlewright.edge.wiring.rig_slips import date_slips, reading_slips
from nozzlewright.errors import InputFault, RecordFault
from nozzlewright.measurement import celsius
from nozzlewright.workflow import Workshop
from nozzlewright.workflow.workshop import RigState

router = APIRouter()

SHOWN_CHECKS = 8
CHECKS_BACK = 60
"""Checks that are looked through for when a hold was made, and for what earlier cards said."""
CARDS_BACK = 6
UPLOAD_LIMIT = 28 * MIB
COLDEST_C, WARMEST_C = -20.0, 120.0
LONGEST_NAME = 80
RECORDED, UPLOADED, TIMED, KEPT, NONE = "recorded", "uploaded", "timed", "kept", "none"
READ = "read"
BLED, STROKES = "bled", "strokes"
FIELD_OF = {
    "blank": "drop_from",
    "bled": "bled",
    "drop": "reference_from",
    "opening": "openings",
    "strokes": "strokes",
    "zero": "zero",
}
"""Field in which a sort of reading is typed."""
MOST_READINGS = 40
_DIGEST = re.compile(r"[0-9a-f]{64}")


# -- what is shown ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class Check:
    """One check in the history."""

    rig: ShownRig
    picture: Outline | None
    remarks: str
    fitness: tuple[str, str] | None
    """Shape and word; None where it was not judged."""
    oil: str
    """Its temperature with its interval; empty where it was not taken."""


@router.get("/rig")
def show(
    request: Request,
    rig: str = "",
    blank: str = "",
    reference: str = "",
    zero: str = "",
    new: str = "",
    back: str = "",
) -> Response:
    """Show the rigs, the form of today's check, and the last checks.

    `back` is the page from which somebody came who needs a rig that is fit.
    """
    shop = shop_of(request)
    states = shop.rigs()
    latest = states[0] if states else None
    state = None if new else next((one for one in states if one.rig == rig), latest)
    conditions = conditions_of(shop, state) if state else None
    recorded = blank if _picture(shop, blank) else ""
    of_reference = reference if _picture(shop, reference) else ""
    at_rest = zero if _picture(shop, zero) else ""
    verdict = shop.rig_days.verdict(state) if state else None
    kept_at = _hold_made_at(shop, state, conditions) if state and conditions else None
    oil = conditions.oil_temperature if conditions else None
    today = rigs_today(request)
    day = shop.this_day()
    return page.render(
        request,
        "rig.html",
        today=today,
        of_today=state is not None and any(one.state.id == state.id for one in today),
        others=[one for one in today if state is None or one.state.rig != state.rig],
        shown=shown_rig(shop, state) if state else None,
        oil=oil_text(conditions),
        back=back if page.is_local(back) else "",
        live=_recordable(request),
        states=states,
        state=state,
        facts=list(_facts(conditions)) if conditions else [],
        uncertainty=localised(f"{oil.standard_uncertainty:.2g}") if oil else localised("0.5"),
        meaning=[*_meaning(shop, state, conditions), *_unsaid(conditions)]
        if state and conditions
        else [],
        recorded=recorded,
        picture=_picture(shop, recorded),
        recorded_zero=at_rest,
        zero_picture=_picture(shop, at_rest),
        reference=of_reference,
        reference_picture=_picture(shop, of_reference),
        nozzle=conditions.rig.reference if conditions else None,
        before=_before(conditions),
        verdict=verdict,
        verdict_chip=fitness(verdict.fitness.value) if verdict else None,
        verdict_means=_(MEANING[verdict.fitness]) if verdict else "",
        acts=shown_acts(verdict, state.rig) if verdict and state else [],
        due=shown_due(verdict, day) if verdict else [],
        items=shown_items(verdict) if verdict else [],
        charts=shown_charts(verdict) if verdict else [],
        kept_at=kept_at,
        checks=[_check(shop, one) for one in shop.rig_checks(SHOWN_CHECKS)],
        caution=JET,
    )


def to_understand(shop: Workshop) -> Iterator[Callable[[], object]]:
    """Yield what the page would first have to understand: each can be done beforehand."""
    for state in shop.rigs():
        yield partial(shop.rig_days.verdict, state)
    for state in shop.rig_checks(SHOWN_CHECKS):
        yield partial(_picture, shop, state.blank)


def _recordable(request: Request) -> bool:
    """Return whether a reading can be recorded here, or taken from a drop folder."""
    inbox = inbox_of(request)
    return bool(benches_of(request)) or (inbox is not None and bool(inbox.drop_folders))


def _check(shop: Workshop, state: RigState) -> Check:
    judged = state.body.get("state")
    return Check(
        shown_rig(shop, state),
        _picture(shop, state.blank),
        str(state.body.get("remarks", "")),
        fitness(str(judged)) if judged else None,
        oil_text(conditions_of(shop, state)),
    )


def _before(conditions: BenchConditions | None) -> dict[str, str]:
    """Return what a form need not ask for again: the cylinder, the plunger, the window."""
    readings = (conditions.readings if conditions else None) or RigReadings()
    nozzle = conditions.rig.reference if conditions else None
    strokes = readings.strokes
    known = {
        "graduation": readings.graduation_m3 and readings.graduation_m3 * 1e6,
        "piston_area": strokes and strokes.piston_area_m2 * 1e6,
        "travel": strokes and strokes.travel_m * 1e3,
    }
    shown = {name: localised(f"{value:.6g}") for name, value in known.items() if value}
    if nozzle is not None and nozzle.drop_from_pa and nozzle.drop_to_pa:
        shown["from"] = pressure_number(nozzle.drop_from_pa)
        shown["to"] = pressure_number(nozzle.drop_to_pa)
    return shown


def _facts(conditions: BenchConditions) -> Iterator[tuple[str, str]]:
    """Yield what a card says of rig, gauge and fluid, as far as it does."""
    rig, gauge, fluid = conditions.rig, conditions.gauge, conditions.fluid
    if gauge.identity:
        yield _("Gauge"), gauge.identity
    if gauge.range_pa is not None:
        yield (
            _("Range"),
            _("up to %(pressure)s") % {"pressure": pressure(gauge.range_pa, decimals=0)},
        )
    if gauge.accuracy_class is not None:
        yield _("Accuracy class"), localised(f"{gauge.accuracy_class:g}")
    if gauge.certificate:
        count = len(gauge.certificate)
        yield _("Certificate"), ngettext("%(num)s point", "%(num)s points", count) % {"num": count}
    if gauge.certificate_number:
        yield _("Number of the certificate"), gauge.certificate_number
    if gauge.calibrated_on:
        yield _("Calibrated on"), day_text(gauge.calibrated_on)
    if gauge.next_calibration_on:
        yield _("Calibration due"), day_text(gauge.next_calibration_on)
    if rig.probe is not None:
        yield _("Temperature probe"), rig.probe.identity or _("not named")
        if rig.probe.next_calibration_on:
            yield _("Probe due"), day_text(rig.probe.next_calibration_on)
    if rig.reference is not None:
        yield _("Reference nozzle"), rig.reference.identity or _("not named")
        if rig.reference.opening is not None:
            yield _("It should open at"), pressure(rig.reference.opening)
    if rig.volume_m3 is not None:
        yield (
            _("Trapped volume"),
            localised(
                f"{rig.volume_m3.value * 1e6:.3g} ± "
                f"{1.96 * rig.volume_m3.standard_uncertainty * 1e6:.2g} cm³"
            ),
        )
    if fluid is not None and fluid.name:
        yield _("Test fluid"), fluid.name
    if fluid is not None and fluid.filled_on:
        yield _("Filled in on"), day_text(fluid.filled_on)
    if rig.filter is not None and rig.filter.changed_on:
        yield _("Filter changed on"), day_text(rig.filter.changed_on)
    if fluid is not None and fluid.viscosity_points:
        shown = (
            f"{value * 1e6:.3g} mm²/s ({celsius(at):.3g} °C)"
            for at, value in fluid.viscosity_points
        )
        yield _("Viscosity"), localised(", ".join(shown))


def _meaning(shop: Workshop, state: RigState, conditions: BenchConditions) -> list[str]:
    """Return in plain words what a check says."""
    kept = kept_loss(shop.rig_days.check(state)) if "check" in state.body else ""
    if kept:
        return [said(thickness(conditions)), said(kept)]
    key = (state.conditions, state.blank)
    known = _losses.get(key)
    if known is None:
        try:
            known = own_loss(shop.readers, conditions, state.blank)
        except (InputFault, RecordFault):
            return [said(thickness(conditions)), _("The recording of the hold cannot be read")]
        _keep(_losses, key, known)
    return [said(thickness(conditions)), said(known)]


def _unsaid(conditions: BenchConditions) -> Iterator[str]:
    """Yield what the card leaves open that every ± on the page would need."""
    if conditions.gauge.resolution_pa is None:
        yield _(
            "The card does not say how finely the gauge can be read: each ± here leaves that out"
        )


def _hold_made_at(shop: Workshop, state: RigState, conditions: BenchConditions) -> datetime | None:
    """Return when the hold of a check was made; None where it has none.

    A hold that was kept from an earlier day counts from that day.
    """
    plug = conditions.blank_plug
    if not state.blank and (plug is None or plug.drop_time_s is None):
        return None
    made = state.at
    for known in shop.rig_checks(CHECKS_BACK):
        if known.rig != state.rig:
            continue
        before = conditions_of(shop, known)
        same = known.blank == state.blank
        if not same or before is None or (not state.blank and before.blank_plug != plug):
            break
        made = known.at
    return made


_KEPT_VIEWS = 256
_pictures: OrderedDict[str, Outline] = OrderedDict()
"""Small pictures by the digest of their recording, which never changes."""
_losses: OrderedDict[tuple[str, str], str] = OrderedDict()
"""What a rig loses by itself, by the digests of its card and of the recorded hold."""

Key = TypeVar("Key")
Kept = TypeVar("Kept")


def _keep(views: OrderedDict[Key, Kept], key: Key, view: Kept) -> None:
    """Keep a view so that the next page need not make it again."""
    views[key] = view
    while len(views) > _KEPT_VIEWS:
        with suppress(KeyError):  # another page may just have done so
            views.popitem(last=False)


def _picture(shop: Workshop, digest: str) -> Outline | None:
    """Return the small picture of a recording; None where it is none."""
    if _DIGEST.fullmatch(digest) is None:
        return None
    known = _pictures.get(digest)
    if known is None:
        try:
            known = outline(shop.readers.recording(digest))
        except (InputFault, RecordFault):
            return None
        _keep(_pictures, digest, known)
    return known


# -- what is sent ----------------------------------------------------------------------------------


@router.post("/rig")
@takes_uploads(UPLOAD_LIMIT)
def check(request: Request, form: page.Sent) -> RedirectResponse:
    """Write down the rig's state of the day."""
    shop, name = shop_of(request), who(request)
    state = next((one for one in shop.rigs() if one.rig == form.text("rig")), None)
    temperature = _degrees(form, "temperature", COLDEST_C, WARMEST_C)
    uncertainty = _degrees(form, "uncertainty", 0.0, 20.0)
    remarks = form.text("remarks")
    card = _card(shop, form, state)
    hold, kept_hold = _hold(shop, form, state)
    readings = _readings(shop, form)
    form.check()
    conditions = card_of_today(
        card,
        date=shop.this_day().isoformat(),
        who=name,
        temperature_c=temperature,
        temperature_u_c=uncertainty,
        hold=hold,
        kept_hold=kept_hold,
        earlier=_earlier(shop, state),
        readings=readings,
    )
    digest = hold.digest if isinstance(hold, RecordedHold) else ""
    for fault in reading_slips(checked_card(conditions, "card")):
        if fault.where != "blank" or not kept_hold:
            form.fault(fault.what, FIELD_OF[fault.where], fault.remedy)
    form.check()
    checked = shop.check_rig(form.id, name, conditions, blank=digest, remarks=remarks)
    back = form.text("back", longest=400)
    query = {"rig": checked.rig, **({"back": back} if page.is_local(back) else {})}
    return page.back_to(
        request,
        f"/rig?{urlencode(query)}",
        flash=_("Saved: %(rig)s is checked for today") % {"rig": checked.rig},
    )


def _readings(shop: Workshop, form: page.Form) -> RigReadings:
    """Return what was read beside temperature and hold."""
    zero = _zero(form)
    at_rest = form.text("recorded_zero") if zero is None and not form.text("zero") else ""
    if at_rest and not _picture(shop, at_rest):
        form.fault(_("the recording is not there any more"), "zero", _("Record it once more"))
    high = low = seconds = None
    opening: tuple[float, ...] = ()
    recording = ""
    kind = form.choice("reference", (RECORDED, UPLOADED, READ, NONE), default=NONE)
    if kind == RECORDED:
        recording = form.text("recorded_reference")
        if not _picture(shop, recording):
            form.fault(
                _("the recording is not there any more"), "reference", _("Record it once more")
            )
    elif kind == UPLOADED:
        sent = form.files.get("reference_recording", ())
        if sent:
            file = sent[0]
            recording = kept_recording(
                shop.evidence, file.filename or "", file.file.read(), "reference_recording"
            )
        else:
            form.fault(
                _("no file has been chosen"), "reference_recording", _("Choose the recording")
            )
    elif kind == READ:
        opening = _pressures(form, "openings")
        if any(one <= 0.0 for one in opening) and not form.faults:
            form.fault(
                _("no nozzle opens at nothing"), "openings", _("Leave out strokes without a pop")
            )
        if form.text("reference_seconds"):
            high, low = form.pressure_pa("reference_from"), form.pressure_pa("reference_to")
            seconds = form.seconds("reference_seconds")
            if not form.faults and not (high > low > 0.0 and seconds > 0.0):
                form.fault(
                    _("the pressure does not fall from the first to the second"),
                    "reference_to",
                    _("Write the higher pressure first, and the seconds between the two"),
                )
        if not opening and seconds is None and not form.faults:
            form.fault(
                _("nothing was read of the reference nozzle"),
                "openings",
                _("Write its opening pressures, its drop time, or choose none"),
            )
    bled, graduation, strokes = _volumes(form)
    return RigReadings(
        zero_pa=zero,
        zero_recording=at_rest,
        opening_pa=opening,
        drop_from_pa=high,
        drop_to_pa=low,
        drop_s=seconds,
        recording=recording,
        bled=bled,
        graduation_m3=graduation,
        strokes=strokes,
    )


def _zero(form: page.Form) -> float | None:
    """Return what the gauge shows without pressure, which may stand below nothing."""
    typed = form.text("zero", longest=20).replace("\N{MINUS SIGN}", "-")
    if not typed:
        return None
    if typed.startswith("-"):
        return -_one_pressure(form, typed[1:], "zero")
    return form.pressure_pa("zero")


def _one_pressure(form: page.Form, typed: str, name: str) -> float:
    try:
        return parse_pressure(typed, form.unit, name)
    except InputFault as fault:
        form.faults.extend(fault.faults)
        return 0.0


def _pressures(form: page.Form, name: str) -> tuple[float, ...]:
    """Return pressures that stand with spaces, semicolons or lines between them."""
    parts = re.split(r"[\s;]+", form.text(name, longest=1000).strip("; "))
    typed = [part for part in parts if part][:MOST_READINGS]
    return tuple(_one_pressure(form, part, name) for part in typed)


def _volumes(
    form: page.Form,
) -> tuple[tuple[BledVolume, ...], float | None, LeverStrokes | None]:
    """Return known volumes let out or in: the bled ones, the cylinder's division, the strokes."""
    kind = form.choice("volumes", (BLED, STROKES, NONE), default=NONE)
    if kind == BLED:
        division = None
        if form.text("graduation"):
            division = form.number("graduation", lowest=1e-4, highest=100.0) * 1e-6
        found = [_bled(form, line) for line in _lines_of(form, "bled")]
        if not found:
            form.fault(
                _("no volume was let out"), "bled", _("Write a line for each: from, to, cm³")
            )
        return tuple(one for one in found if one is not None), division, None
    if kind == STROKES:
        pressures = _pressures(form, "strokes")
        area = form.number("piston_area", lowest=0.1, highest=1e4) * 1e-6
        travel = form.number("travel", lowest=0.01, highest=1e3) * 1e-3
        between = form.seconds("stroke_seconds") if form.text("stroke_seconds") else None
        if len(pressures) < 3:
            form.fault(
                _("fewer than two strokes say nothing"),
                "strokes",
                _("Write the pressure before the first stroke and after each of some five"),
            )
        if form.faults:
            return (), None, None
        return (), None, LeverStrokes(pressures, area, travel, between_s=between or None)
    return (), None, None


def _lines_of(form: page.Form, name: str) -> list[list[str]]:
    lines = form.text(name, longest=2000).splitlines()[:MOST_READINGS]
    return [line.replace(";", " ").split() for line in lines if line.strip()]


def _bled(form: page.Form, parts: list[str]) -> BledVolume | None:
    """Return one volume: from, to in the screen's unit, and cm3."""
    remedy = _("Write a line for each: from, to, cm³")
    if len(parts) != 3:
        form.fault(_("'%(line)s' is not three numbers") % {"line": " ".join(parts)}, "bled", remedy)
        return None
    high, low = (_one_pressure(form, part, "bled") for part in parts[:2])
    try:
        volume = float(parts[2].replace(",", "."))
    except ValueError:
        volume = 0.0
    if not (high > low >= 0.0 and 0.0 < volume < 1000.0):
        what = _("in '%(line)s' the pressure does not fall, or nothing came out")
        form.fault(what % {"line": " ".join(parts)}, "bled", remedy)
        return None
    return BledVolume(high, low, volume * 1e-6)


def _degrees(form: page.Form, name: str, lowest: float, highest: float) -> float | None:
    if not form.text(name):
        return None
    return form.number(name, lowest=lowest, highest=highest)


def _card(shop: Workshop, form: page.Form, state: RigState | None) -> bytes:
    """Return the card to begin with: one that was sent, the rig's last one, or a new one."""
    sent = form.files.get("card", ())
    if sent:
        content = sent[0].file.read()
        today = shop.this_day()
        for fault in date_slips(checked_card(content, "card"), today):
            what = _("%(where)s: %(what)s") % {"where": fault.where, "what": said(fault.what)}
            form.fault(what, "card", fault.remedy)
        return content
    if state is not None:
        return shop.evidence.read(state.conditions)
    rig = form.text("rig_name", needed=_("the rig has no name"), longest=LONGEST_NAME)
    gauge = form.text("gauge_name", longest=LONGEST_NAME)
    fluid = form.text("fluid_name", longest=LONGEST_NAME)
    span = form.pressure_pa("gauge_range") if form.text("gauge_range") else None
    grade = (
        form.number("gauge_class", lowest=0.01, highest=10.0) if form.text("gauge_class") else None
    )
    step = form.pressure_pa("gauge_step") if form.text("gauge_step") else None
    if span is not None and step is not None and step >= span:
        form.fault(
            _("the smallest step is not less than the range"), "gauge_step", _("Check both numbers")
        )
    form.check()
    return new_card(rig, gauge, span, grade, fluid, step)


def _hold(shop: Workshop, form: page.Form, state: RigState | None) -> tuple[Hold, bool]:
    """Return the hold with the blank plug, and whether it is that of an earlier day."""
    kind = form.choice("hold", (RECORDED, UPLOADED, TIMED, KEPT, NONE), default=NONE)
    if kind == RECORDED:
        digest = form.text("recorded")
        if _picture(shop, digest):
            return RecordedHold(digest), False
        form.fault(_("the recording is not there any more"), "hold", _("Record the hold once more"))
    elif kind == UPLOADED:
        sent = form.files.get("recording", ())
        if not sent:
            form.fault(_("no file has been chosen"), "recording", _("Choose the recording"))
            return None, False
        file = sent[0]
        digest = kept_recording(shop.evidence, file.filename or "", file.file.read(), "recording")
        return RecordedHold(digest), False
    elif kind == TIMED:
        start, end = form.pressure_pa("drop_from"), form.pressure_pa("drop_to")
        seconds = form.seconds("drop_seconds")
        if not form.faults and not (start > end > 0.0 and seconds > 0.0):
            form.fault(
                _("the pressure does not fall from the first to the second"),
                "drop_to",
                _("Write the higher pressure first, and the seconds between the two"),
            )
        return TimedHold(start, end, seconds), False
    elif kind == KEPT and state is not None:
        return _kept(shop, form, state), True
    return None, False


def _kept(shop: Workshop, form: page.Form, state: RigState) -> Hold:
    if state.blank:
        return RecordedHold(state.blank)
    conditions = conditions_of(shop, state)
    plug = conditions.blank_plug if conditions else None
    if plug and plug.drop_from_pa and plug.drop_to_pa and plug.drop_time_s:
        return TimedHold(plug.drop_from_pa, plug.drop_to_pa, plug.drop_time_s)
    form.fault(_("the last check had no hold"), "hold", _("Make one today, or choose none"))
    return None


def _earlier(shop: Workshop, state: RigState | None) -> Iterator[bytes]:
    """Yield earlier cards of the same rig, the last one first."""
    if state is None:
        return
    checks = shop.rig_checks(CHECKS_BACK)
    digests = [check.conditions for check in checks if check.rig == state.rig]
    for digest in list(dict.fromkeys(digests))[:CARDS_BACK]:
        try:
            yield shop.evidence.read(digest)
        except RecordFault:
            continue
