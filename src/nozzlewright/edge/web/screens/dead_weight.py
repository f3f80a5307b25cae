"""A calibration of one's own with a dead-weight tester: weights to pressures, then the gauge."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from markupsafe import Markup
from starlette.responses import RedirectResponse, Response

from nozzlewright.advice.cautions import JET
from nozzlewright.edge.paper.budget_figure import budget_figure
from nozzlewright.edge.web import page, show
from nozzlewright.edge.web.at_job import shop_of, who
from nozzlewright.edge.web.here import PRESSURE_UNITS
from nozzlewright.edge.web.screens.certificate import past_day
from nozzlewright.edge.web.screens.jobs import conditions_of
from nozzlewright.edge.web.texts import HERE, _, said
from nozzlewright.edge.wiring.certificate import PlacedRow, certificate_text, checked_rows
from nozzlewright.edge.wiring.dead_weight import (
    MOST_MASSES,
    Reference,
    Session,
    certificate_from,
    references,
    session_bytes,
    session_from,
)
from nozzlewright.errors import Fault, InputFault, RecordFault
from nozzlewright.measurement.units import PRESSURE_UNITS as UNITS_PA
from nozzlewright.report.budget import Budget, budget_of
from nozzlewright.said import say
from nozzlewright.workflow import Workshop

router = APIRouter()

WIDE, NARROW = 460.0, 200.0
LONGEST_NAME = 80
HEAVIEST_KG = 2000.0
_DIGEST = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True)
class Shown:
    """A weight with its pressure, as the page shows it."""

    number: int
    reference: Reference
    expanded_pa: float


@router.get("/dead-weight")
def show_tester(request: Request, rig: str = "", session: str = "") -> Response:
    """Ask how the tester is set up; with a session, show its pressures and ask for the readings."""
    shop = shop_of(request)
    states = shop.rigs()
    state = next((one for one in states if one.rig == rig), states[0] if states else None)
    conditions = conditions_of(shop, state) if state else None
    known = _kept(shop, session)
    budget = _budget(known) if known else None
    return page.render(
        request,
        "dead_weight.html",
        state=state,
        gauge=conditions.gauge if conditions else None,
        session=session if known else "",
        known=known,
        lost=bool(session) and known is None,
        shown=_shown(known) if known else [],
        budget=budget,
        figures=_figures(budget) if budget else [],
        masses=range(1, MOST_MASSES + 1),
        units=list(PRESSURE_UNITS.items()),
        unit=HERE.get().pressure_unit,
        today=shop.this_day().isoformat(),
        caution=JET,
        places=show.DECIMALS[HERE.get().pressure_unit] + 2,
    )


def _kept(shop: Workshop, digest: str) -> Session | None:
    if _DIGEST.fullmatch(digest) is None:
        return None
    try:
        known = session_from(shop.evidence.read(digest))
        return known if references(known) else None
    except (RecordFault, InputFault, ValueError):
        return None


def _shown(session: Session) -> list[Shown]:
    return [
        Shown(number, one, _expanded(one))
        for number, one in enumerate(references(session), start=1)
    ]


def _expanded(one: Reference) -> float:
    return 2.0 * one.pressure.standard_uncertainty


def _budget(session: Session) -> Budget:
    """Return the budget of the highest pressure."""
    highest = references(session)[-1]
    return budget_of(highest.pressure, name=say("Pressure of the heaviest weight"))


def _figures(budget: Budget) -> list[Markup]:
    return [
        # Made of numbers and of our own words; the drawing escapes its texts.
        Markup(budget_figure(budget, width, None, words=said))  # noqa: S704
        for width in (WIDE, NARROW)
    ]


# -- what is sent ----------------------------------------------------------------------------------


@router.post("/dead-weight")
def set_up(request: Request, form: page.Sent) -> RedirectResponse:
    """Reckon the pressures of the weights, and keep how the tester was set up."""
    shop, name = shop_of(request), who(request)
    today = shop.this_day()
    session = _session(form, name, today)
    form.check()
    try:
        found = references(session)
    except ValueError as why:
        raise InputFault(Fault(str(why), "area", _("Check the area and the weights"))) from None
    if found and found[-1].pressure.value > show.HIGHEST_PA:
        form.fault(
            _("the heaviest weight would make %(pressure)s")
            % {"pressure": show.pressure(found[-1].pressure.value)},
            "area",
            _("Check the area: it is in square millimetres"),
        )
    form.check()
    digest = shop.evidence.keep(session_bytes(session), "json")
    query = urlencode({"rig": form.text("rig"), "session": digest})
    return page.back_to(request, f"/dead-weight?{query}#readings")


def _session(form: page.Form, name: str, today: date) -> Session:
    """Return the set-up that was typed; what is wrong is noted in the form."""

    def maybe(field: str, highest: float, lowest: float = 0.0, default: float = 0.0) -> float:
        if not form.text(field, longest=20):
            return default
        return form.number(field, lowest=lowest, highest=highest)

    masses = tuple(
        form.number(f"mass_{number}", lowest=0.0, highest=HEAVIEST_KG)
        for number in range(1, MOST_MASSES + 1)
        if form.text(f"mass_{number}", longest=20)
    )
    area = form.number("area", lowest=1e-3, highest=1e5)
    piston = maybe("piston", HEAVIEST_KG)
    if len({mass for mass in masses if mass + piston > 0.0}) < 2 and not form.faults:
        form.fault(
            _("two weights are the least"), "mass_1", _("Type the masses that will be put on")
        )
    gravity: float | None = None
    latitude: float | None = None
    if form.text("gravity"):
        gravity = form.number("gravity", lowest=9.7, highest=9.9)
    elif form.text("latitude"):
        latitude = form.number("latitude", lowest=-90.0, highest=90.0)
    else:
        form.fault(
            _("neither gravity nor latitude is stated"),
            "latitude",
            _("Type the latitude of the workshop: gravity is half a hundredth more at the pole"),
        )
    unit = form.choice("dial_unit", PRESSURE_UNITS, default=HERE.get().pressure_unit)
    step = form.pressure_pa("division", unit=unit) if form.text("division") else 0.0
    return Session(
        masses_kg=masses,
        area_mm2=area,
        area_u_percent=maybe("area_u", 10.0) / 2.0,
        piston_kg=piston,
        weights_u_percent=maybe("weights_u", 10.0) / 2.0,
        gravity=gravity,
        gravity_u=maybe("gravity_u", 0.1),
        latitude=latitude,
        height_m=maybe("height", 9000.0, -500.0),
        distortion_per_gpa=maybe("distortion", 100.0),
        expansion_ppm_per_k=maybe("expansion", 100.0),
        temperature_c=maybe("temperature", 60.0, -20.0) if form.text("temperature") else None,
        temperature_u_c=maybe("temperature_u", 20.0, default=1.0),
        head_mm=maybe("head", 5000.0, -5000.0),
        head_u_mm=maybe("head_u", 1000.0),
        fluid_density=maybe("fluid_density", 2000.0),
        resolution_pa=step,
        tester=form.text("tester", longest=LONGEST_NAME),
        gauge=form.text("gauge", longest=LONGEST_NAME),
        day=past_day(form, "day", today),
        who=name,
    )


@router.post("/dead-weight/readings")
def readings(request: Request, form: page.Sent) -> RedirectResponse:
    """Make a certificate of what the gauge showed under each weight."""
    shop = shop_of(request)
    who(request)
    digest = form.text("session")
    session = _kept(shop, digest)
    if session is None:
        form.fault(
            _("the set-up is not there any more"), "session", _("Set the tester up once more")
        )
    unit = form.choice("dial_unit", PRESSURE_UNITS)
    form.check()
    assert session is not None  # noqa: S101 - a fault otherwise
    rows = tuple(_read(form, session, UNITS_PA[unit]))
    if len(rows) < 2 and not form.faults:
        form.fault(_("two weights are the least"), "up_1", _("Type what the gauge showed"))
    form.check()
    certificate = certificate_from(session, rows, digest)
    faults: list[Fault] = []
    placed = [
        PlacedRow(row, f"up_{number}", _("weight %(number)s") % {"number": number})
        for number, row in enumerate(certificate.rows, start=1)
    ]
    checked_rows(placed, faults)
    form.faults += faults
    if any(row.standard_uncertainty_pa <= 0.0 for row in certificate.rows):
        form.fault(
            _("the pressures have no uncertainty"), "up_1",
            _("State that of the area and of the weights"),
        )  # fmt: skip
    form.check()
    table = shop.evidence.keep(certificate_text(certificate).encode(), "csv")
    query = urlencode({"rig": form.text("rig"), "table": table})
    return page.back_to(request, f"/certificate?{query}#found")


def _read(
    form: page.Form, session: Session, factor: float
) -> list[tuple[Reference, float | None, float | None]]:
    highest = show.HIGHEST_PA / factor

    def shown(name: str) -> float | None:
        if not form.text(name, longest=20):
            return None
        return form.number(name, lowest=-0.1 * highest, highest=highest) * factor

    rows = [
        (one, shown(f"up_{number}"), shown(f"down_{number}"))
        for number, one in enumerate(references(session), start=1)
    ]
    return [row for row in rows if row[1:] != (None, None)]
