"""Setting sheets: which there are, what one asks, writing one, and choosing one for a job."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from pydantic import BaseModel, StringConstraints
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, RedirectResponse, Response

from nozzlewright.bench import TRADE_ORDER, AsPrinted, HolderSpring, OpeningBand, SettingSheet
from nozzlewright.edge.web import page, steps_shown
from nozzlewright.edge.web.at_job import shop_of, story_of, who
from nozzlewright.edge.web.guard import MIB, takes_uploads
from nozzlewright.edge.web.own_words import in_words
from nozzlewright.edge.web.show import localised, pressure
from nozzlewright.edge.web.texts import HERE, N_, _, said
from nozzlewright.edge.wiring.sheets import (
    checked_sheet,
    printed_check,
    sheet_text,
    sheet_values,
)
from nozzlewright.measurement import Quantity, celsius
from nozzlewright.records import EntryKind
from nozzlewright.said import converted
from nozzlewright.workflow.workshop import SheetRow

router = APIRouter()

TORQUE_ROWS, STEP_ROWS = 8, 4
"""Rows of the form; a copy has as many as it needs, and two more."""
LARGEST_SHEET = 4 * MIB
_SECTIONS = {
    "used": N_("Used parts, as printed"),
    "new": N_("New or overhauled parts, as printed"),
    "seat": N_("Seat tightness"),
    "fall": N_("Back-leakage: the time of a fall"),
    "drops": N_("Back-leakage: drops at the leak-off"),
    "spray": N_("A good spray, in the document's words"),
    "chatter": N_("Chatter"),
    "spread": N_("The set as a whole"),
    "adjust": N_("Setting it: shims or screw"),
    "spring": N_("The spring"),
}
"""Where on the form each field for a page of the document stands."""
LONGEST_PRINTED = 300
KEPT_COOKIE = "sheet"
_DIGEST = re.compile(r"[0-9a-f]{64}")


@router.get("/sheets")
def sheets(request: Request, job: str = "", search: str = "") -> Response:
    """Show the sheets that the workshop has."""
    return _list(request, job, search)


@router.get("/job/{job}/sheet")
def ask_for_sheet(request: Request, job: str, search: str = "") -> Response:
    """Show the sheets, to choose one for a job."""
    if way := page.needs_person(request):
        return way
    return _list(request, job, search)


def _list(request: Request, job: str, search: str) -> Response:
    story = story_of(request, job) if job else None
    words = search.casefold().split()
    rows = [
        row
        for row in shop_of(request).sheets()
        if all(word in f"{row.title} {row.injector} {row.source}".casefold() for word in words)
    ]
    return page.render(
        request, "sheets.html", sheets=rows, story=story, search=search.strip()[:200]
    )


@router.get("/sheets/new")
def ask(request: Request, copy: str = "", job: str = "", booking: str = "") -> Response:
    """Show the form in which a sheet is written, empty or with what another one says."""
    if way := page.needs_person(request):
        return way
    typed: dict[str, str] = {}
    if copy:
        row = _row(request, copy)
        typed = sheet_values(shop_of(request).evidence.read(row.digest))
    story = story_of(request, job) if job else None
    return page.render(
        request,
        "sheets_new.html",
        typed=_Typed(typed),
        copied=typed.get("title", ""),
        copied_from=copy if typed else "",
        story=story,
        booking=bool(booking),
        fault_places={f"{name}_page": _(words) for name, words in _SECTIONS.items()},
        torques=_rows(typed, "torque", TORQUE_ROWS),
        added=_rows(typed, "step", STEP_ROWS),
        steps=[(step.key, steps_shown.title(step)) for step in TRADE_ORDER],
        left_out=typed.get("left_out", "").split(),
        kept_id=request.cookies.get(KEPT_COOKIE, ""),
    )


class _Typed:
    """What stands in the fields of a copy, empty where there is nothing."""

    def __init__(self, typed: Mapping[str, str]) -> None:
        self._typed = typed

    def __getitem__(self, name: str) -> str:
        return self._typed.get(name, "")


def _rows(typed: Mapping[str, str], kind: str, least: int) -> range:
    used = [int(name.split("_")[1]) for name in typed if name.startswith(f"{kind}_")]
    return range(1, max([least - 2, *used]) + 3)


@router.post("/sheets")
@takes_uploads(LARGEST_SHEET)
def add(request: Request, form: page.Sent) -> Response:
    """Keep a sheet: one that was written in the form, or one that is a file."""
    name = who(request)
    job = form.text("job", longest=40)
    sent = form.files.get("file", ())
    if form.text("upload") and not sent:
        form.fault(_("no file has been chosen"), "file", _("Choose a sheet that ends in .toml"))
    form.check()
    raw = sent[0].file.read() if sent else sheet_text(_typed(form), _copied(request, form))
    if sent:
        checked_sheet(raw, "file")
    digest = shop_of(request).add_sheet(form.id, name, raw)
    asked = {"job": job} if job else {"booking": "yes"} if form.text("booking") else {}
    path = f"/sheets/{digest}" + (f"?{urlencode(asked)}" if asked else "")
    done = _("Saved. Read it once more against the document")
    response = page.back_to(request, path, flash=done)
    # Tells the form that the draft kept on this device has become a sheet.
    response.set_cookie(KEPT_COOKIE, form.id, max_age=7 * 24 * 3600, httponly=True, samesite="lax")
    return response


def _copied(request: Request, form: page.Form) -> bytes:
    """Return the sheet with which the form began; empty where it began with nothing."""
    digest = form.text("copied_from", longest=64)
    known = {row.digest for row in shop_of(request).sheets()}
    return shop_of(request).evidence.read(digest) if digest in known else b""


def _typed(form: page.Form) -> dict[str, str]:
    """Return what stands in each field; ticked boxes as one text."""
    typed = {name: form.text(name) for name in form.values}
    form.check()
    typed["left_out"] = " ".join(form.values.get("left_out", ()))
    return typed


@router.get("/sheets/{digest}")
def show(request: Request, digest: str, job: str = "", booking: str = "") -> Response:
    """Show what a sheet asks: as printed, and in this screen's unit."""
    row = _row(request, digest)
    sheet = shop_of(request).readers.sheet(row.digest)
    return page.render(
        request,
        "sheet.html",
        sheet=sheet,
        limits=list(limits_of(sheet)),
        left_out=[
            steps_shown.title(step) for step in TRADE_ORDER if step.key in sheet.steps.left_out
        ],
        added=[(step, steps_shown.title_of(step.after)) for step in sheet.steps.added],
        story=story_of(request, job) if job else None,
        booking=bool(booking),
    )


@router.get(
    "/sheets/{digest}/sheet.toml",
    response_class=Response,
    responses=page.gives("application/toml"),
)
def as_file(request: Request, digest: str) -> Response:
    """Return a sheet as it is kept."""
    content = shop_of(request).evidence.read(_row(request, digest).digest)
    headers = {"Content-Disposition": 'attachment; filename="sheet.toml"'}
    return Response(content, media_type="application/toml", headers=headers)


def _row(request: Request, digest: str) -> SheetRow:
    """Return one of the workshop's sheets.

    Raises
    ------
    HTTPException
        404 where there is none.
    """
    if _DIGEST.fullmatch(digest):
        for row in shop_of(request).sheets():
            if row.digest == digest:
                return row
    raise HTTPException(404)


@router.post("/job/{job}/sheet")
def choose(request: Request, job: str, form: page.Sent) -> RedirectResponse:
    """Choose the sheet of a job."""
    story_of(request, job)
    name = who(request)
    digest = form.choice("sheet", [row.digest for row in shop_of(request).sheets()])
    form.check()
    shop_of(request).note(
        form.id, name, job, EntryKind.SHEET_CHOSEN, {"sheet": digest}, evidence=(digest,)
    )
    return page.back_to(request, f"/job/{job}", flash=_("The setting sheet is chosen"))


# -- the two-unit check, while typing --------------------------------------------------------------


class Printed(BaseModel):
    """A text as printed."""

    text: Annotated[str, StringConstraints(max_length=LONGEST_PRINTED)]
    atmosphere: Annotated[str, StringConstraints(pattern="^(technical|standard)?$")] = ""


@router.post("/api/cross-check", response_class=JSONResponse)
def cross_check(printed: Printed) -> dict[str, Any]:
    """Return what a text as printed says, and by how much its units disagree."""
    check = printed_check(printed.text, printed.atmosphere)
    return {
        "values": [said(value) for value in check.values],
        "faults": [
            {"what": said(fault.what), "remedy": said(fault.remedy)} for fault in check.faults
        ],
    }


# -- a sheet as a person reads it ------------------------------------------------------------------


@dataclass(frozen=True)
class Limit:
    """One thing that a sheet asks."""

    name: str
    printed: str
    page: str
    means: str
    """The same in this screen's unit, or what it says of the work."""


def limits_of(sheet: SettingSheet) -> Iterator[Limit]:
    """Yield what a sheet asks, in the order of the work."""
    for name, band in ((_("Opening pressure, new parts"), sheet.opening_new),
                       (_("Opening pressure, used parts"), sheet.opening_used)):  # fmt: skip
        if band is not None:
            yield _limit(name, band.printed, _band(band))
    if (seat := sheet.seat) is not None:
        held = (
            _("%(pressure)s below the opening pressure found")
            % {"pressure": pressure(seat.margin_pa)}
            if seat.margin_pa is not None
            else _("at %(pressure)s") % {"pressure": pressure(seat.fixed_pa)}
        )
        damp = _("a damp tip is good enough") if seat.damp_allowed else _("the tip stays dry")
        give = _("± %(pressure)s") % {"pressure": pressure(seat.tolerance_pa)}
        means = f"{held} ({give}), {_number(seat.seconds)} s; {damp}"
        yield _limit(_("Seat tightness"), seat.printed, means)
    if (fall := sheet.back_leakage) is not None:
        window = fall.window
        parts = [
            _("%(first)s to %(second)s")
            % {"first": pressure(window.from_pa), "second": pressure(window.to_pa)},
            _within(fall.at_least_s, fall.at_most_s, "s"),
        ]
        if window.reference_temperature_k is not None:
            degrees = _number(celsius(window.reference_temperature_k))
            parts.append(_("at %(degrees)s °C") % {"degrees": degrees})
        yield _limit(_("Back-leakage, time of the fall"), fall.printed, ", ".join(parts))
    if (drops := sheet.leak_off) is not None:
        means = _("%(count)s in %(seconds)s s at %(pressure)s") % {
            "count": _within(drops.at_least_drops, drops.at_most_drops, _("drops")),
            "seconds": _number(drops.seconds),
            "pressure": pressure(drops.pressure_pa),
        }
        yield _limit(_("Back-leakage, drops at the leak-off"), drops.printed, means)
    if (spray := sheet.spray) is not None:
        yield _limit(_("Spray"), spray.printed, "")
    if (chatter := sheet.chatter) is not None:
        words = _("weak chatter will do") if chatter.weak_allowed else _("it chatters clearly")
        openings = chatter.minimum_openings_per_stroke
        if openings is not None:
            words += "; " + _("at least %(count)s openings in a quick stroke") % {
                "count": _number(openings)
            }
        yield _limit(_("Chatter"), chatter.printed, words)
    if sheet.spread_pa is not None:
        words = _("largest less smallest: at most %(pressure)s") % {
            "pressure": pressure(sheet.spread_pa)
        }
        yield _limit(_("Spread of the set"), sheet.spread_printed, words)
    yield from _adjusting(sheet)
    for torque in sheet.torques:
        same = torque.low_nm == torque.high_nm
        span = (
            _number(torque.low_nm)
            if same
            else f"{_number(torque.low_nm)} – {_number(torque.high_nm)}"
        )
        name = _("Torque: %(part)s") % {"part": in_words(torque.part)}
        yield _limit(name, torque.printed, f"{span} Nm")
    if sheet.washer:
        yield Limit(_("Seat washer"), sheet.washer, "", "")


def _adjusting(sheet: SettingSheet) -> Iterator[Limit]:
    how = sheet.adjustment
    rows = [(_("Shim"), how.shim_effect_pa_per_m, 1e-8, "bar/mm"),
            (_("Screw"), how.screw_pa_per_turn, 1e-5, "bar")]  # fmt: skip
    printed = how.printed
    for name, effect, to_trade, unit in rows:
        if effect is None:
            continue
        yield _limit(name, printed, _effect(effect, to_trade, unit))
        printed = None
    if sizes := how.shim_sizes_m:
        alike = max(_decimals(size * 1e3) for size in sizes)
        millimetres = [localised(f"{size * 1e3:.{alike}f}") for size in sizes]
        shown = ", ".join(millimetres[:6])
        if len(sizes) > 6:
            shown += f" … {millimetres[-1]}"
        stack = _("may be stacked") if how.shim_stack_allowed else _("one at a time")
        yield Limit(_("Shims to be had"), "", "", f"{shown} mm; {stack}")
    if sheet.spring is not None:
        words = ", ".join(spring_words(sheet.spring))
        yield _limit(_("The spring"), sheet.spring.printed, words)


def spring_words(spring: HolderSpring) -> list[str]:
    """Return what a sheet says of the spring, in millimetres and newtons, its lengths first."""

    def mm(length_m: float | None) -> str:
        return "" if length_m is None else f"{_number(round(length_m * 1e3, 4))} mm"

    parts = []
    if spring.free_length_m is not None:
        off = mm(spring.free_length_half_m)
        parts.append(
            _("free length %(length)s ± %(off)s") % {"length": mm(spring.free_length_m), "off": off}
        )
    if spring.loaded_length_m is not None and spring.load_n is not None:
        under = {"length": mm(spring.loaded_length_m), "load": f"{_number(spring.load_n)} N"}
        parts.append(_("%(length)s under %(load)s") % under)
    for words, length in (
        (_("renewed under %(length)s"), spring.least_free_length_m),
        (_("wire %(length)s"), spring.wire_diameter_m),
        (_("mean diameter of the coils %(length)s"), spring.coil_diameter_m),
        (_("solid at %(length)s"), spring.solid_length_m),
        (_("needle lift %(length)s"), spring.needle_lift_m),
    ):
        if length is not None:
            parts.append(words % {"length": mm(length)})
    for words, count in (
        (_("%(count)s active coils"), spring.active_coils),
        (_("%(count)s coils in all"), spring.total_coils),
    ):
        if count is not None:
            parts.append(words % {"count": _number(count)})
    return parts


def _effect(effect: Quantity, to_trade: float, unit: str) -> str:
    here = HERE.get().pressure_unit
    value = converted(effect.value * to_trade, unit, here)
    doubt = converted(effect.standard_uncertainty * to_trade, unit, here)
    name = unit.replace("bar", {"kgf/cm2": "kgf/cm²"}.get(here, here))
    if unit == "bar":
        name = _("%(unit)s a turn") % {"unit": name}
    text = f"{value:.4g} {name}"
    if doubt:
        text += " (" + _("standard uncertainty %(value)s") % {"value": f"{doubt:.2g}"} + ")"
    return localised(text)


def _limit(name: str, printed: AsPrinted | None, means: str) -> Limit:
    return Limit(name, printed.text if printed else "", printed.where if printed else "", means)


def _band(band: OpeningBand) -> str:
    return _("%(low)s to %(high)s, set to %(target)s") % {
        "low": pressure(band.lower_pa),
        "high": pressure(band.upper_pa),
        "target": pressure(band.target_pa),
    }


def _within(least: float | None, most: float | None, unit: str) -> str:
    limits = []
    if least is not None:
        limits.append(_("at least %(limit)s") % {"limit": f"{_number(least)} {unit}"})
    if most is not None:
        limits.append(_("at most %(limit)s") % {"limit": f"{_number(most)} {unit}"})
    return " · ".join(limits)


def _decimals(value: float) -> int:
    """Return how many decimals a size needs, two at least: so are shims marked."""
    return max(2, len(f"{value:.4f}".rstrip("0").partition(".")[2]))


def _number(value: float) -> str:
    return localised(f"{value:.6g}")
