"""A gauge's calibration certificate: taken from a file or typed, looked at, put on a rig's card."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import date
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from markupsafe import Markup
from starlette.responses import RedirectResponse, Response

from nozzlewright.analysis.certificate import CRITERION_GAIN, FEWEST_TO_CHOOSE, Drift
from nozzlewright.bench import BenchConditions
from nozzlewright.edge.paper.certificate_figure import certificate_figure
from nozzlewright.edge.web import page, show
from nozzlewright.edge.web.at_job import shop_of, who
from nozzlewright.edge.web.guard import MIB, takes_uploads
from nozzlewright.edge.web.here import PRESSURE_UNITS
from nozzlewright.edge.web.screens.jobs import conditions_of
from nozzlewright.edge.web.texts import HERE, N_, _
from nozzlewright.edge.wiring.certificate import (
    Certificate,
    CertificateRow,
    CertificateView,
    PlacedRow,
    card_with_certificate,
    certificate_of_gauge,
    certificate_text,
    checked_rows,
    read_certificate,
    view_of,
)
from nozzlewright.edge.wiring.rig_card import RecordedHold, TimedHold, card_of_today
from nozzlewright.edge.wiring.rig_slips import not_yet
from nozzlewright.errors import Fault, InputFault, RecordFault
from nozzlewright.measurement.units import PRESSURE_UNITS as UNITS_PA
from nozzlewright.workflow import Workshop
from nozzlewright.workflow.workshop import RigState

router = APIRouter()

WIDE, NARROW = (460.0, 300.0), (200.0, 250.0)
"""Sizes of the picture, for a wide and for a narrow screen, [pt]."""
TYPED_ROWS = 16
UPLOAD_LIMIT = 1 * MIB
LONGEST_NAME = 80
_DIGEST = re.compile(r"[0-9a-f]{64}")

FIGURE_WORDS = (N_("error"), N_("left over"), N_("shown"), N_("Errors of the gauge"))
"""Words that the picture uses."""
CURVES = (N_("one shift for all pressures"), N_("a line"), N_("a parabola"))
"""What a curve of degree 0, 1 and 2 is called."""


@dataclass(frozen=True)
class ShownRow:
    """A row of a certificate, with what the curve makes of it."""

    row: CertificateRow
    error_pa: float
    left_over_pa: float


@router.get("/certificate")
def show_certificate(request: Request, rig: str = "", table: str = "") -> Response:
    """Show a table that was sent, else the certificate that the rig has; and the two forms."""
    shop = shop_of(request)
    states = shop.rigs()
    state = next((one for one in states if one.rig == rig), states[0] if states else None)
    conditions = conditions_of(shop, state) if state else None
    content = _kept(shop, table)
    view = None
    if content is not None:
        view = view_of(content, conditions.gauge if conditions else None)
    elif conditions is not None and conditions.gauge.certificate:
        on_card = certificate_of_gauge(conditions.gauge)
        view = view_of(certificate_text(on_card).encode(), conditions.gauge)
    unit = HERE.get().pressure_unit
    return page.render(
        request,
        "certificate.html",
        states=states,
        state=state,
        gauge=conditions.gauge if conditions else None,
        table=table if content is not None else "",
        lost=bool(table) and content is None,
        view=view,
        rows=_rows(view) if view else [],
        figures=_figures(view) if view else [],
        rule=_rule(view) if view else "",
        tried=_tried(view) if view else [],
        strange=_strange(view, conditions) if view and content is not None else "",
        drift=view.drift if view and isinstance(view.drift, Drift) else None,
        typed_rows=range(1, TYPED_ROWS + 1),
        units=list(PRESSURE_UNITS.items()),
        unit=unit,
        places=show.DECIMALS[unit] + 1,
    )


def _kept(shop: Workshop, table: str) -> bytes | None:
    """Return a table that was kept; None where there is none under that digest."""
    if _DIGEST.fullmatch(table) is None:
        return None
    try:
        content = shop.evidence.read(table)
        view_of(content, None)
    except (RecordFault, InputFault, ValueError):
        return None
    return content


def _figures(view: CertificateView) -> list[Markup]:
    unit = HERE.get().pressure_unit
    return [
        # Made of numbers and of our own words; the drawing escapes its texts.
        Markup(  # noqa: S704
            certificate_figure(
                view.fit,
                size,
                None,
                unit=unit,
                printed=PRESSURE_UNITS[unit],
                words=_,
                numbers=show.localised,
            )
        )
        for size in (WIDE, NARROW)
    ]


def _rows(view: CertificateView) -> list[ShownRow]:
    fit = view.fit
    left = dict(zip(fit.shown_pa.tolist(), fit.residuals_pa.tolist(), strict=True))
    return [
        ShownRow(row, row.indicated_pa - row.reference_pa, left.get(row.indicated_pa, 0.0))
        for row in view.certificate.rows
    ]


def _rule(view: CertificateView) -> str:
    """Return why the curve is what it is."""
    words = _(CURVES[view.fit.degree])
    if len(view.fit.points) < FEWEST_TO_CHOOSE:
        return _(
            "Its errors are described by %(curve)s: fewer than %(count)s points cannot choose."
        ) % {"curve": words, "count": FEWEST_TO_CHOOSE}
    return _(
        "Its errors are described by %(curve)s: a higher one is taken only where the corrected "
        "Akaike criterion falls by %(gain)s or more."
    ) % {"curve": words, "gain": f"{CRITERION_GAIN:g}"}


def _tried(view: CertificateView) -> list[tuple[str, float, str, bool]]:
    """Return what was tried: name, scatter, criterion, whether it was taken."""
    if len(view.fit.candidates) < 2:
        return []
    return [
        (
            _(CURVES[one.degree]),
            one.scatter_pa,
            show.localised(f"{one.criterion:.1f}"),
            one.degree == view.fit.degree,
        )
        for one in view.fit.candidates
    ]


def _strange(view: CertificateView, conditions: BenchConditions | None) -> str:
    """Return that the certificate is of another gauge than that on the card; or empty."""
    named = view.certificate.gauge
    at_rig = conditions.gauge.identity if conditions else ""
    if not named or not at_rig or named.casefold() == at_rig.casefold():
        return ""
    return _("The certificate is of gauge “%(one)s”; the card of the rig has “%(other)s”.") % {
        "one": named,
        "other": at_rig,
    }


# -- what is sent ----------------------------------------------------------------------------------


@router.post("/certificate/file")
@takes_uploads(UPLOAD_LIMIT)
def take_file(request: Request, form: page.Sent) -> RedirectResponse:
    """Read a table from a file and keep it."""
    shop = shop_of(request)
    sent = form.files.get("table_file", ())
    if not sent:
        form.fault(_("no file has been chosen"), "table_file", _("Choose the table of points"))
    facts = _facts(form, "file_", shop.this_day())
    form.check()
    content, name = sent[0].file.read(), sent[0].filename or ""
    try:
        read = read_certificate(content, name[:60] or _("the file"))
    except InputFault as fault:
        raise InputFault(Fault(one.what, one.where, one.remedy) for one in fault.faults) from None
    digest = shop.evidence.keep(content, "csv")
    remark = f"from file {name[:60]}, SHA-256 {digest}"
    certificate = replace(
        read,
        number=facts.number or read.number,
        gauge=facts.gauge or read.gauge,
        laboratory=facts.laboratory or read.laboratory,
        calibrated_on=facts.calibrated_on or read.calibrated_on,
        remarks=(*read.remarks, remark),
    )
    return _show_kept(request, shop, form, certificate)


@router.post("/certificate/typed")
def take_typed(request: Request, form: page.Sent) -> RedirectResponse:
    """Keep a table that was typed."""
    unit = form.choice("dial_unit", PRESSURE_UNITS)
    facts = _facts(form, "", shop_of(request).this_day())
    form.check()
    factor = UNITS_PA[unit]
    k = form.number("coverage_k", lowest=1.0, highest=5.0) if form.text("coverage_k") else 2.0
    k = k or 1.0  # a fault is noted: the rest is looked through all the same
    common = _pressure(form, "doubt_all", factor) if form.text("doubt_all") else None
    rows = []
    for number in range(1, TYPED_ROWS + 1):
        names = [f"{kind}_{number}" for kind in ("reference", "up", "down", "doubt")]
        if not any(form.text(name, longest=20) for name in names[:3]):
            continue
        row = _typed_row(form, names, factor, common, k)
        if row is not None:
            words = _("row %(number)s") % {"number": number}
            rows.append(PlacedRow(row, names[0], words))
    faults: list[Fault] = []
    if not form.faults:
        ordered, _remarks = checked_rows(rows, faults)
        form.faults += [
            replace(one, where=one.where if page.is_field_name(one.where) else "reference_1")
            for one in faults
        ]
    form.check()
    return _show_kept(request, shop_of(request), form, replace(facts, rows=ordered))


def _typed_row(
    form: page.Form, names: list[str], factor: float, common: float | None, k: float
) -> CertificateRow | None:
    reference, up, down, doubt = names
    found = len(form.faults)
    value = _pressure(form, reference, factor)
    shown = [
        _pressure(form, name, factor, below=True) if form.text(name) else None
        for name in (up, down)
    ]
    if shown == [None, None] and len(form.faults) == found:
        form.fault(_("nothing says what the gauge showed"), up, _("Type it, up or down"))
    expanded = _pressure(form, doubt, factor) if form.text(doubt) else common
    if expanded is None:
        form.fault(_("the uncertainty is missing"), doubt, _("Type it here, or once for all rows"))
    elif expanded <= 0.0 and len(form.faults) == found:
        form.fault(_("the uncertainty is zero"), doubt, _("Type what the certificate states"))
    if len(form.faults) > found or expanded is None:
        return None
    return CertificateRow(value, expanded / k, *shown)


def _pressure(form: page.Form, name: str, factor: float, *, below: bool = False) -> float:
    """Return a pressure, [Pa]; a gauge may show a little less than nothing."""
    highest = show.HIGHEST_PA / factor
    return form.number(name, lowest=-0.1 * highest if below else 0.0, highest=highest) * factor


def _facts(form: page.Form, prefix: str, today: date) -> Certificate:
    """Return what names a certificate, without its rows."""
    return Certificate(
        (),
        number=form.text(f"{prefix}number", longest=LONGEST_NAME),
        gauge=form.text(f"{prefix}gauge", longest=LONGEST_NAME),
        laboratory=form.text(f"{prefix}laboratory", longest=LONGEST_NAME),
        calibrated_on=past_day(form, f"{prefix}calibrated_on", today),
    )


def typed_day(form: page.Form, name: str) -> str:
    """Return a date that was typed, ISO 8601; empty where none was."""
    text = form.text(name, longest=20)
    if not text:
        return ""
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        form.fault(
            _("“%(text)s” is not a date") % {"text": text}, name, _("Write it as 2026-01-05")
        )
        return ""


def past_day(form: page.Form, name: str, today: date) -> str:
    """Return a date that was typed and does not lie ahead, ISO 8601; empty where none was."""
    day = typed_day(form, name)
    fault = not_yet(day, name, today)
    if fault is not None:
        form.fault(fault.what, fault.where, fault.remedy)
    return day


def _show_kept(
    request: Request, shop: Workshop, form: page.Form, certificate: Certificate
) -> RedirectResponse:
    digest = shop.evidence.keep(certificate_text(certificate).encode(), "csv")
    query = urlencode({"rig": form.text("rig"), "table": digest})
    return page.back_to(request, f"/certificate?{query}#found")


@router.post("/certificate/take")
def take_in(request: Request, form: page.Sent) -> RedirectResponse:
    """Put a certificate on the card of a rig."""
    shop, name = shop_of(request), who(request)
    state = next((one for one in shop.rigs() if one.rig == form.text("rig")), None)
    content = _kept(shop, form.text("table"))
    following = typed_day(form, "next_calibration_on")
    if state is None:
        form.fault(_("no rig has been chosen"), "rig", _("Check the rig first"))
    if content is None:
        form.fault(
            _("the table is not there any more"), "table", _("Send the certificate once more")
        )
    form.check()
    assert state is not None  # noqa: S101 - a fault otherwise
    assert content is not None  # noqa: S101 - a fault otherwise
    if shop.records.entry(form.id) is None:
        conditions = shop.readers.conditions(state.conditions)
        view = view_of(content, conditions.gauge)
        made = view.certificate.calibrated_on
        if following and made and following <= made:
            form.fault(
                _("%(due)s does not come after %(done)s") % {"due": following, "done": made},
                "next_calibration_on",
                _("Check both days, and their years"),
            )
            form.check()
        card = card_with_certificate(
            shop.evidence.read(state.conditions),
            view.certificate,
            drift=view.drift if isinstance(view.drift, Drift) else None,
            next_calibration_on=following,
            today=shop.this_day().isoformat(),
        )
        card = dated_card(shop, state, conditions, card, name)
        words = _("certificate %(number)s taken into the card (table %(digest)s)") % {
            "number": view.certificate.number or "–",
            "digest": form.text("table"),
        }
        shop.check_rig(
            form.id,
            name,
            card,
            blank=state.blank,
            remarks=words,
            papers=_papers(content, form),
            carries=carried(shop, state),
        )
    query = urlencode({"rig": state.rig})
    return page.back_to(
        request, f"/rig?{query}", flash=_("Saved: the certificate is on the card of the rig")
    )


_NAMED = re.compile(r"SHA-256 ([0-9a-f]{64})")


def _papers(content: bytes, form: page.Form) -> tuple[str, ...]:
    """Return the digests of a table and of what it names: the file sent, a tester's set-up."""
    named = _NAMED.findall(content.decode("utf-8", errors="replace"))
    return (form.text("table"), *named)


def carried(shop: Workshop, state: RigState) -> str:
    """Return the id of the check whose readings a changed card takes along: one made today."""
    return state.id if shop.day_of(state.at) == shop.this_day() else ""


def dated_card(
    shop: Workshop,
    state: RigState,
    conditions: BenchConditions,
    card: bytes,
    name: str,
) -> bytes:
    """Return the card as it is where the rig was checked today; else one of today.

    An oil temperature of another day is not that of today: it is left out, and the page of the rig
    says so. A hold stays, as it does when a check keeps it.
    """
    today = shop.this_day()
    if carried(shop, state):
        return card
    plug = conditions.blank_plug
    hold: RecordedHold | TimedHold | None = None
    if state.blank:
        hold = RecordedHold(state.blank)
    elif plug and plug.drop_from_pa and plug.drop_to_pa and plug.drop_time_s:
        hold = TimedHold(plug.drop_from_pa, plug.drop_to_pa, plug.drop_time_s)
    return card_of_today(
        card,
        date=today.isoformat(),
        who=name,
        temperature_c=None,
        temperature_u_c=None,
        hold=hold,
        kept_hold=hold is not None,
    )
