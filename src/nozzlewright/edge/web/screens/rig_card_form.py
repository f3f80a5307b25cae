"""The particulars on a rig's card, as a form: gauge, fluid, filter, probe, reference, limits."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from itertools import pairwise
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request
from starlette.responses import RedirectResponse, Response

from nozzlewright.edge.web import page
from nozzlewright.edge.web.at_job import shop_of, who
from nozzlewright.edge.web.screens.certificate import carried, dated_card, typed_day
from nozzlewright.edge.web.show import HIGHEST_PA, localised, parse_number, parse_pressure
from nozzlewright.edge.web.texts import HERE, N_, _
from nozzlewright.edge.wiring.rig_particulars import (
    Rows,
    Value,
    card_with_particulars,
    particulars,
)
from nozzlewright.edge.wiring.rig_slips import not_yet
from nozzlewright.errors import InputFault, RecordFault
from nozzlewright.measurement.units import BAR, pressure_from_pa
from nozzlewright.workflow import Workshop
from nozzlewright.workflow.workshop import RigState

router = APIRouter()

FEWEST_ROWS, MOST_ROWS = 3, 12
LONGEST_NAME = 80
LEAST = 0.001
"""Smallest number that a form takes where the card asks for more than zero."""
MOST = 1e6
COLDEST_C, WARMEST_C = -60.0, 200.0
THINNEST_MM2_S, THICKEST_MM2_S = 0.3, 2e4
POINTS = "fluid.viscosity"
_DIGEST = re.compile(r"[0-9a-f]{64}")


# -- what stands in the form -----------------------------------------------------------------------


class Kind(StrEnum):
    """How a particular is typed."""

    PRESSURE = "pressure"
    NUMBER = "number"
    COUNT = "count"
    TEXT = "text"
    DAY = "day"
    POINTS = "points"


@dataclass(frozen=True)
class Particular:
    """One thing that a card may state."""

    key: str
    """``table.key`` of the card."""
    label: str
    kind: Kind = Kind.NUMBER
    unit: str = ""
    lowest: float = LEAST
    highest: float = MOST
    hint: str = ""

    @property
    def name(self) -> str:
        """Name of its field."""
        return self.key.replace(".", "_")


@dataclass(frozen=True)
class Line:
    """Particulars that stand side by side, with the words over them."""

    parts: tuple[Particular, ...]
    title: str = ""


@dataclass(frozen=True)
class Group:
    """Particulars that are folded together."""

    name: str
    title: str
    lines: tuple[Line, ...]

    def parts(self) -> Iterator[Particular]:
        """Yield all of them."""
        for line in self.lines:
            yield from line.parts


_KNOWN_TO = N_("Known to (one standard uncertainty)")
_DAY_HINT = N_("Such as 2026-01-05.")
_TEMPERATURE = (COLDEST_C, WARMEST_C)


def _line(*parts: Particular, title: str = "") -> Line:
    return Line(parts, title)


def _group(name: str, title: str, *lines: Line) -> Group:
    return Group(name, title, lines)


def _day(key: str, label: str) -> Particular:
    return Particular(key, label, Kind.DAY)


def _text(key: str, label: str) -> Particular:
    return Particular(key, label, Kind.TEXT)


def _pressure(key: str, label: str, lowest: float = LEAST) -> Particular:
    return Particular(key, label, Kind.PRESSURE, lowest=lowest)


def _number(key: str, label: str, unit: str, lowest: float = LEAST) -> Particular:
    return Particular(key, label, Kind.NUMBER, unit, lowest)


def _degrees(key: str, label: str) -> Particular:
    return Particular(key, label, Kind.NUMBER, "°C", *_TEMPERATURE)


GROUPS: tuple[Group, ...] = (
    _group("gauge", N_("Gauge"),
        _line(
            _pressure("gauge.range_bar", N_("Range of the gauge, up to")),
            Particular("gauge.class", N_("Accuracy class"), lowest=0.01, highest=10.0),
            _pressure("gauge.resolution_bar", N_("Smallest step that can be read"), 0.0),
        ),
        _line(
            _day("gauge.calibrated_on", N_("Calibrated on")),
            _day("gauge.next_calibration_on", N_("Calibration due")),
        ),
    ),
    _group("fluid", N_("Test fluid"),
        _line(_text("fluid.name", N_("Test fluid")), _text("fluid.batch", N_("Batch"))),
        _line(
            _day("fluid.filled_on", N_("Filled in on")),
            _number("fluid.hours_used", N_("In use for"), "h", 0.0),
        ),
        _line(Particular(POINTS, N_("Viscosity"), Kind.POINTS)),
        _line(
            Particular(
                "fluid.density_15c_kg_m3", N_("Density at 15 °C"), Kind.NUMBER, "kg/m³",
                500.0, 1500.0,
            ),
            _number("fluid.density_15c_u_kg_m3", _KNOWN_TO, "kg/m³", 0.0),
        ),
    ),
    _group("filter", N_("Filter"),
        _line(_text("filter.kind", N_("Kind")), _day("filter.changed_on", N_("Filter changed on"))),
    ),
    _group("probe", N_("Temperature probe"),
        _line(_text("probe.id", N_("Name or number")), _number("probe.u_c", _KNOWN_TO, "°C", 0.0)),
        _line(
            _day("probe.calibrated_on", N_("Calibrated on")),
            _day("probe.next_calibration_on", N_("Calibration due")),
        ),
    ),
    _group("reference", N_("Reference nozzle"),
        _line(
            _text("reference.id", N_("Name or number")),
            _day("reference.since", N_("Its values hold since")),
        ),
        _line(
            _pressure("reference.opening_bar", N_("It should open at")),
            _pressure("reference.opening_u_bar", _KNOWN_TO, 0.0),
        ),
        _line(
            _pressure("reference.from_bar", N_("From")),
            _pressure("reference.to_bar", N_("to")),
            _number("reference.drop_s", N_("in"), "s"),
            _number("reference.drop_u_s", _KNOWN_TO, "s", 0.0),
            _degrees("reference.at_c", N_("Oil temperature")),
            title=N_("Drop time"),
        ),
    ),
    _group("limits", N_("Limits"),
        _line(
            _pressure("limits.blank_fall_bar", N_("Falls by")),
            _number("limits.blank_fall_s", N_("in"), "s"),
            _pressure("limits.blank_fall_from_bar", N_("From")),
            title=N_("Hold with the blank plug"),
        ),
        _line(
            _pressure("limits.zero_bar", N_("Zero of the gauge")),
            _pressure("reference.opening_tolerance_bar", N_("Opening pressure")),
            _number("reference.drop_tolerance_s", N_("Drop time"), "s"),
            Particular(
                "limits.compliance_percent", N_("Compliance"), Kind.NUMBER, "%", LEAST, 1000.0
            ),
            title=N_("To either side, at most"),
        ),
        _line(
            _degrees("limits.temperature_from_c", N_("From")),
            _degrees("limits.temperature_to_c", N_("to")),
            title=N_("Oil temperature"),
        ),
        _line(
            _number("limits.oil_days", N_("Age of the oil"), "d"),
            _number("limits.oil_hours", N_("Use of the oil"), "h"),
            _number("limits.filter_days", N_("Age of the filter"), "d"),
            title=N_("At most"),
        ),
        _line(
            _number("limits.check_days", N_("Age of the check at a test"), "d", 0.0),
            _number(
                "limits.calibration_grace_days", N_("Use after a calibration ran out"), "d", 0.0
            ),
            _number("limits.study_days", N_("Age of a study of fitters"), "d"),
        ),
        _line(
            _number("limits.remind_days", N_("Remind before a date"), "d", 0.0),
            Particular(
                "limits.baseline", N_("Checks from which a chart's limits come"), Kind.COUNT,
                "", 3, 1000,
            ),
        ),
    ),
    _group("rig", N_("Trapped volume"),
        _line(
            _number("rig.volume_cm3", N_("Trapped volume"), "cm³"),
            _number("rig.volume_u_cm3", _KNOWN_TO, "cm³", 0.0),
        ),
        _line(
            _number("rig.wall_compliance_mm3_per_bar", N_("Give of the walls"), "mm³/bar", 0.0),
            _number("rig.wall_compliance_u_mm3_per_bar", _KNOWN_TO, "mm³/bar", 0.0),
        ),
    ),
)  # fmt: skip
PARTS = {part.key: part for group in GROUPS for part in group.parts()}

BELONGS = {
    "fluid.density_15c_u_kg_m3": ("fluid.density_15c_kg_m3",),
    "reference.opening_u_bar": ("reference.opening_bar",),
    "reference.opening_tolerance_bar": ("reference.opening_bar",),
    "reference.from_bar": ("reference.to_bar",),
    "reference.to_bar": ("reference.from_bar",),
    "reference.drop_s": ("reference.from_bar", "reference.to_bar"),
    "reference.drop_u_s": ("reference.drop_s",),
    "reference.drop_tolerance_s": ("reference.drop_s",),
    "limits.blank_fall_bar": ("limits.blank_fall_s", "limits.blank_fall_from_bar"),
    "limits.blank_fall_s": ("limits.blank_fall_bar", "limits.blank_fall_from_bar"),
    "limits.blank_fall_from_bar": ("limits.blank_fall_bar", "limits.blank_fall_s"),
    "rig.volume_u_cm3": ("rig.volume_cm3",),
    "rig.wall_compliance_u_mm3_per_bar": ("rig.wall_compliance_mm3_per_bar",),
}
"""What a particular cannot stand without."""
HIGHER = (
    ("gauge.range_bar", "gauge.resolution_bar"),
    ("reference.from_bar", "reference.to_bar"),
    ("limits.blank_fall_from_bar", "limits.blank_fall_bar"),
    ("limits.temperature_to_c", "limits.temperature_from_c"),
)
"""Pairs of which the first must be more than the second."""
HAPPENED = (
    "gauge.calibrated_on", "probe.calibrated_on", "fluid.filled_on", "filter.changed_on",
    "reference.since",
)  # fmt: skip
"""Days that cannot lie ahead."""
LATER = (
    ("gauge.next_calibration_on", "gauge.calibrated_on"),
    ("probe.next_calibration_on", "probe.calibrated_on"),
)
"""Pairs of days of which the first comes after the second."""


# -- what is shown ---------------------------------------------------------------------------------


@router.get("/rig/card")
def show_card(
    request: Request, rig: str = "", opened: Annotated[str, Query(alias="open")] = ""
) -> Response:
    """Show what the rig's last card states, to be changed; one group of it open."""
    if (to_settings := page.needs_person(request)) is not None:
        return to_settings
    shop = shop_of(request)
    states = shop.rigs()
    state = next((one for one in states if one.rig == rig), states[0] if states else None)
    if state is None:
        return page.back_to(
            request, "/rig", flash=_("A rig has a card once it was checked: check it here first")
        )
    stated = particulars(shop.evidence.read(state.conditions))
    rows = _rows(stated[POINTS])
    return page.render(
        request,
        "rig_card.html",
        states=states,
        state=state,
        groups=GROUPS,
        stated={part.name: _shown(part, stated[key]) for key, part in PARTS.items()},
        counts={
            group.name: sum(stated[part.key] is not None for part in group.parts())
            for group in GROUPS
        },
        points=[
            tuple(_number_text(one) for one in rows[at]) if at < len(rows) else ("", "")
            for at in range(max(FEWEST_ROWS, len(rows) + 1))
        ],
        day_hint=_DAY_HINT,
        opened=opened,
    )


def _rows(value: Value) -> Rows:
    return value if isinstance(value, tuple) else ()


def _number_text(value: float) -> str:
    return localised(f"{value:.12f}".rstrip("0").rstrip("."))


def _shown(part: Particular, value: Value) -> str:
    """Return a particular as it stands in its field."""
    if value is None or isinstance(value, tuple):
        return ""
    if isinstance(value, str):
        return " ".join(value.split())
    if part.kind is Kind.PRESSURE:
        value = float(f"{pressure_from_pa(value * BAR, HERE.get().pressure_unit):.7g}")
    return _number_text(value)


# -- what is sent ----------------------------------------------------------------------------------


@router.post("/rig/card")
def save_card(request: Request, form: page.Sent) -> RedirectResponse:
    """Write a card with what was changed."""
    shop, name = shop_of(request), who(request)
    state = next((one for one in shop.rigs() if one.rig == form.text("rig")), None)
    if state is None:
        form.fault(_("no rig has been chosen"), "rig", _("Check the rig first"))
        form.check()
    assert state is not None  # noqa: S101 - a fault otherwise
    back = f"/rig?{urlencode({'rig': state.rig})}"
    if shop.records.entry(form.id) is not None:
        return page.back_to(request, back)
    card = shop.evidence.read(state.conditions)
    now = particulars(card)
    seen = _seen(shop, state, form.text("card_seen")) or now
    typed = _typed(form, seen)
    changes = {key: value for key, value in typed.items() if value != now[key]}
    _check_together(form, now | changes, typed)
    today = shop.this_day()
    _check_days(form, now | changes, typed, today)
    form.check()
    if not changes:
        return page.back_to(request, back, flash=_("Nothing was changed on the card"))
    conditions = shop.readers.conditions(state.conditions)
    new = dated_card(shop, state, conditions, card_with_particulars(card, changes), name)
    words = _("particulars changed: %(names)s") % {
        "names": ", ".join(_full_label(key) for key in PARTS if key in changes)
    }
    shop.check_rig(
        form.id,
        name,
        new,
        blank=state.blank,
        remarks=words,
        carries=carried(shop, state),
    )
    return page.back_to(request, back, flash=_("Saved: the card of %(rig)s") % {"rig": state.rig})


def _full_label(key: str) -> str:
    part = PARTS[key]
    group = next(one for one in GROUPS if part in one.parts())
    line = next(one for one in group.lines if part in one.parts)
    words = [_(group.title), *([_(line.title)] if line.title else []), _(part.label)]
    return " – ".join(dict.fromkeys(words))


def _seen(shop: Workshop, state: RigState, digest: str) -> dict[str, Value] | None:
    """Return what stood in the form when it was opened, where another card has come since."""
    if digest == state.conditions or _DIGEST.fullmatch(digest) is None:
        return None
    try:
        return particulars(shop.evidence.read(digest))
    except (InputFault, RecordFault):
        return None


def _typed(form: page.Form, seen: dict[str, Value]) -> dict[str, Value]:
    """Return what differs from the card that was seen, in the card's units."""
    changed: dict[str, Value] = {}
    for key, part in PARTS.items():
        before = seen[key]
        if part.kind is Kind.POINTS:
            value: Value = _typed_points(form, before)
        elif part.name not in form.values:
            continue  # a form that does not ask for it says nothing of it
        else:
            value = _typed_part(form, part, before)
        if value != before:
            changed[key] = value
    return changed


def _typed_part(form: page.Form, part: Particular, before: Value) -> Value:
    shown = _shown(part, before)
    text = " ".join(form.text(part.name).split())
    if text == shown:
        return before
    if not text:
        return None
    if part.kind is Kind.TEXT:
        return form.text(part.name, longest=LONGEST_NAME)
    if part.kind is Kind.DAY:
        return typed_day(form, part.name)
    found = len(form.faults)
    if part.kind is Kind.PRESSURE:
        pressure_pa = form.pressure_pa(part.name)
        if len(form.faults) == found and shown:
            same = parse_pressure(shown, form.unit, part.name) == pressure_pa
            if same:
                return before
        if len(form.faults) == found and pressure_pa < part.lowest * BAR:
            _out_of_bounds(form, part)
        return float(f"{pressure_pa / BAR:.9g}")
    number = form.number(part.name, lowest=part.lowest, highest=part.highest)
    if len(form.faults) > found:
        return before
    if shown and before is not None and number == _parsed(shown):
        return before
    if part.kind is Kind.COUNT:
        if number != int(number):
            form.fault(
                _("“%(text)s” is not a whole number") % {"text": text[:40]},
                part.name,
                _("Type a number from %(lowest)s to %(highest)s")
                % {"lowest": f"{part.lowest:g}", "highest": f"{part.highest:g}"},
            )
        return int(number)
    return number


def _parsed(shown: str) -> float:
    return parse_number(shown, "", lowest=-MOST, highest=float("1e12"))


def _out_of_bounds(form: page.Form, part: Particular) -> None:
    bounds = (
        localised(f"{pressure_from_pa(value, form.unit):.4g}")
        for value in (part.lowest * BAR, HIGHEST_PA)
    )
    form.fault(
        _("%(text)s is out of bounds") % {"text": form.text(part.name)[:40]},
        part.name,
        _("Type a number from %(lowest)s to %(highest)s")
        % dict(zip(("lowest", "highest"), bounds, strict=True)),
    )


def _typed_points(form: page.Form, before: Value) -> Value:
    """Return the points of the viscosity, [°C] and [mm²/s]; None where none is typed."""
    if "fluid_viscosity_c_1" not in form.values:
        return before
    old, found = _rows(before), len(form.faults)
    new: dict[str, tuple[float, float]] = {}
    for number in range(1, max(MOST_ROWS, len(old) + 1) + 1):
        names = f"fluid_viscosity_c_{number}", f"fluid_viscosity_{number}"
        texts = tuple(form.text(name, longest=20) for name in names)
        if number <= len(old) and texts == tuple(map(_number_text, old[number - 1])):
            new[names[1]] = old[number - 1]
        elif any(texts):
            new[names[1]] = (
                form.number(names[0], lowest=COLDEST_C, highest=WARMEST_C),
                form.number(names[1], lowest=THINNEST_MM2_S, highest=THICKEST_MM2_S),
            )
    by_temperature = sorted(new.items(), key=lambda one: one[1])
    for (_name, (cold, thick)), (name, (warm, thin)) in pairwise(by_temperature):
        if len(form.faults) == found and (cold == warm or thick <= thin):
            form.fault(
                _("the viscosity does not fall as the temperature rises"),
                name,
                _("Every oil thins as it warms: check both numbers"),
            )
    return tuple(new.values()) or None


def _check_together(form: page.Form, stated: dict[str, Value], typed: dict[str, Value]) -> None:
    """Note what cannot stand together, each at the field that mends it."""
    at_fault = {fault.where for fault in form.faults}
    missing: dict[str, None] = {}
    for key, needed in BELONGS.items():
        if stated[key] is not None:
            missing |= dict.fromkeys(one for one in needed if stated[one] is None)
    for key in missing:
        part = PARTS[key]
        if part.name not in at_fault:
            form.fault(
                f"{_full_label(key)}: {_('nothing has been entered')}",
                part.name,
                _("What stands beside it says nothing without it: fill it in, or empty both"),
            )
    for more, less in HIGHER:
        high, low = stated[more], stated[less]
        if not isinstance(high, int | float) or not isinstance(low, int | float) or high > low:
            continue
        at = more if more in typed and less not in typed else less
        if not at_fault & {PARTS[more].name, PARTS[less].name}:
            form.fault(
                _("%(less)s is not less than %(more)s")
                % {"less": _shown(PARTS[less], low), "more": _shown(PARTS[more], high)},
                PARTS[at].name,
                _("Check both numbers"),
            )


def _check_days(
    form: page.Form, stated: dict[str, Value], typed: dict[str, Value], today: date
) -> None:
    """Note days that were typed and cannot be, each at its field."""
    for key in HAPPENED:
        day = stated[key]
        fault = not_yet(day, PARTS[key].name, today) if isinstance(day, str) else None
        if key in typed and fault is not None:
            form.fault(fault.what, fault.where, fault.remedy)
    for later, sooner in LATER:
        due, done = stated[later], stated[sooner]
        if not isinstance(due, str) or not isinstance(done, str):
            continue
        if due <= done and (later in typed or sooner in typed):
            form.fault(
                _("%(due)s does not come after %(done)s") % {"due": due, "done": done},
                PARTS[later if later in typed else sooner].name,
                _("Check both days, and their years"),
            )
