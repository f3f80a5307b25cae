"""The rig of the day: its card, the oil's temperature, the hold with the blank plug."""

from __future__ import annotations

import re
from collections import OrderedDict
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from typing import TypeVar

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from nozzlewright.advice.cautions import JET
from nozzlewright.bench import BenchConditions
from nozzlewright.edge.web import page
from nozzlewright.edge.web.at_job import shop_of, who
from nozzlewright.edge.web.guard import MIB, takes_uploads
from nozzlewright.edge.web.screens.jobs import ShownRig, conditions_of, rigs_today, shown_rig
from nozzlewright.edge.web.show import localised, pressure
from nozzlewright.edge.web.texts import _, said
from nozzlewright.edge.wiring.rig_card import (
    Hold,
    Outline,
    RecordedHold,
    TimedHold,
    card_of_today,
    checked_card,
    kept_recording,
    new_card,
    outline,
    own_loss,
    thickness,
)
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
_DIGEST = re.compile(r"[0-9a-f]{64}")


# -- what is shown ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class Check:
    """One check in the history."""

    rig: ShownRig
    picture: Outline | None
    remarks: str


@router.get("/rig")
def show(request: Request, rig: str = "", blank: str = "", new: str = "") -> Response:
    """Show the rigs, the form of today's check, and the last checks."""
    shop = shop_of(request)
    states = shop.rigs()
    latest = states[0] if states else None
    state = None if new else next((one for one in states if one.rig == rig), latest)
    conditions = conditions_of(shop, state) if state else None
    recorded = blank if _picture(shop, blank) else ""
    kept_at = _hold_made_at(shop, state, conditions) if state and conditions else None
    oil = conditions.oil_temperature if conditions else None
    return page.render(
        request,
        "rig.html",
        today=rigs_today(request),
        states=states,
        state=state,
        facts=list(_facts(conditions)) if conditions else [],
        uncertainty=localised(f"{oil.standard_uncertainty:.2g}") if oil else localised("0.5"),
        meaning=_meaning(shop, state, conditions) if state and conditions else [],
        recorded=recorded,
        picture=_picture(shop, recorded),
        kept_at=kept_at,
        checks=[_check(shop, one) for one in shop.rig_checks(SHOWN_CHECKS)],
        caution=JET,
    )


def _check(shop: Workshop, state: RigState) -> Check:
    return Check(
        shown_rig(shop, state), _picture(shop, state.blank), str(state.body.get("remarks", ""))
    )


def _facts(conditions: BenchConditions) -> Iterator[tuple[str, str]]:
    """Yield what a card says of rig, gauge and fluid, as far as it does."""
    rig, gauge, fluid = conditions.rig, conditions.gauge, conditions.fluid
    if gauge.identity:
        yield _("Gauge"), gauge.identity
    if gauge.range_pa is not None:
        yield _("Range"), _("up to %(pressure)s") % {"pressure": pressure(gauge.range_pa)}
    if gauge.accuracy_class is not None:
        yield _("Accuracy class"), localised(f"{gauge.accuracy_class:g}")
    if gauge.certificate:
        yield _("Certificate"), _("%(count)s points") % {"count": len(gauge.certificate)}
    if gauge.calibrated_on:
        yield _("Calibrated on"), gauge.calibrated_on
    if rig.volume_m3 is not None:
        yield _("Trapped volume"), localised(f"{rig.volume_m3.value * 1e6:.3g} cm³")
    if fluid is not None and fluid.name:
        yield _("Test fluid"), fluid.name
    if fluid is not None and fluid.viscosity_points:
        shown = (
            f"{value * 1e6:.3g} mm²/s ({celsius(at):.3g} °C)"
            for at, value in fluid.viscosity_points
        )
        yield _("Viscosity"), localised(", ".join(shown))


def _meaning(shop: Workshop, state: RigState, conditions: BenchConditions) -> list[str]:
    """Return in plain words what a check says."""
    key = (state.conditions, state.blank)
    known = _losses.get(key)
    if known is None:
        try:
            known = own_loss(shop.readers, conditions, state.blank)
        except (InputFault, RecordFault):
            return [said(thickness(conditions)), _("The recording of the hold cannot be read")]
        _keep(_losses, key, known)
    return [said(thickness(conditions)), said(known)]


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
    form.check()
    zone = request.app.state.settings.zone
    conditions = card_of_today(
        card,
        date=shop.clock().astimezone(zone).date().isoformat(),
        who=name,
        temperature_c=temperature,
        temperature_u_c=uncertainty,
        hold=hold,
        kept_hold=kept_hold,
        earlier=_earlier(shop, state),
    )
    digest = hold.digest if isinstance(hold, RecordedHold) else ""
    checked = shop.check_rig(form.id, name, conditions, blank=digest, remarks=remarks)
    return page.back_to(
        request, "/rig", flash=_("Saved: %(rig)s is checked for today") % {"rig": checked.rig}
    )


def _degrees(form: page.Form, name: str, lowest: float, highest: float) -> float | None:
    if not form.text(name):
        return None
    return form.number(name, lowest=lowest, highest=highest)


def _card(shop: Workshop, form: page.Form, state: RigState | None) -> bytes:
    """Return the card to begin with: one that was sent, the rig's last one, or a new one."""
    sent = form.files.get("card", ())
    if sent:
        content = sent[0].file.read()
        checked_card(content, "card")
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
    form.check()
    return new_card(rig, gauge, span, grade, fluid)


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
