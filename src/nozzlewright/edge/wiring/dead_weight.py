"""A calibration of one's own with a dead-weight tester: what was set up, and what it gives."""

from __future__ import annotations

import json
import math
from dataclasses import asdict, dataclass, fields
from typing import Any

from nozzlewright.analysis.dead_weight import (
    DeadWeightTester,
    local_gravity,
    reference_pressure,
)
from nozzlewright.bench import Certificate, CertificateRow
from nozzlewright.errors import Fault, UploadFault
from nozzlewright.measurement import Cause, Quantity, kelvin
from nozzlewright.said import say

__all__ = [
    "Reference",
    "Session",
    "certificate_from",
    "references",
    "session_bytes",
    "session_from",
]

KIND = "dead-weight calibration"
MM2 = 1e-6
MOST_MASSES = 24


@dataclass(frozen=True)
class Session:
    """A dead-weight tester as it was set up, in the units in which it was typed."""

    masses_kg: tuple[float, ...]
    """Weights on the piston, the piston apart."""
    area_mm2: float
    area_u_percent: float
    piston_kg: float = 0.0
    """Piston and weight carrier."""
    weights_u_percent: float = 0.0
    gravity: float | None = None
    """[m/s^2]; None: from latitude and height."""
    gravity_u: float = 0.0
    latitude: float | None = None
    height_m: float = 0.0
    distortion_per_gpa: float = 0.0
    expansion_ppm_per_k: float = 0.0
    temperature_c: float | None = None
    temperature_u_c: float = 1.0
    head_mm: float = 0.0
    head_u_mm: float = 0.0
    fluid_density: float = 0.0
    resolution_pa: float = 0.0
    """Step to which the gauge is read."""
    tester: str = ""
    """Its number."""
    gauge: str = ""
    day: str = ""
    """ISO 8601."""
    who: str = ""


@dataclass(frozen=True)
class Reference:
    """A weight and the pressure that it makes."""

    mass_kg: float
    """Piston included."""
    pressure: Quantity


def session_bytes(session: Session) -> bytes:
    """Return a session as a file to be kept."""
    return json.dumps({"kind": KIND, **asdict(session)}, indent=1, sort_keys=True).encode()


def session_from(content: bytes) -> Session:
    """Return the session that :func:`session_bytes` made a file of.

    Raises
    ------
    UploadFault
        If it is none.
    """
    try:
        data: dict[str, Any] = json.loads(content)
        if data.pop("kind") != KIND:
            raise ValueError(KIND)
        known = {one.name for one in fields(Session)}
        data["masses_kg"] = tuple(float(mass) for mass in data["masses_kg"])
        return Session(**{key: value for key, value in data.items() if key in known})
    except (ValueError, KeyError, TypeError, AttributeError):
        raise UploadFault(
            Fault(
                say("it is not the set-up of a dead-weight tester"),
                say("the set-up"),
                say("Begin the calibration anew"),
            )
        ) from None


def tester_of(session: Session) -> DeadWeightTester:
    """Return the tester in SI, each input with its uncertainty."""
    scope = session.tester or say("the tester")

    def known(value: float, u: float, unit: str, cause: str) -> Quantity:
        return Quantity(value, unit, {Cause(cause, scope): u})

    area = session.area_mm2 * MM2
    if session.gravity is not None:
        gravity = known(session.gravity, session.gravity_u, "m/s^2", say("local gravity"))
    else:
        gravity = local_gravity(session.latitude or 0.0, session.height_m)
    temperature = None
    if session.temperature_c is not None:
        temperature = known(
            kelvin(session.temperature_c),
            session.temperature_u_c,
            "K",
            say("temperature of the piston"),
        )
    head = None
    if session.head_mm or session.head_u_mm:
        head = known(session.head_mm * 1e-3, session.head_u_mm * 1e-3, "m", say("head of oil"))
    distortion = session.distortion_per_gpa * 1e-9
    return DeadWeightTester(
        area=known(area, area * session.area_u_percent / 100.0, "m^2", say("area of the piston")),
        gravity=gravity,
        weights_relative_u=session.weights_u_percent / 100.0,
        # A stated coefficient is good to a tenth of itself: common practice, no source.
        distortion=(
            known(distortion, 0.1 * distortion, "1/Pa", say("growth of the piston's area"))
            if distortion
            else None
        ),
        expansion_per_k=session.expansion_ppm_per_k * 1e-6,
        temperature=temperature,
        head=head,
        fluid_density=session.fluid_density,
        identity=session.tester,
    )


def references(session: Session) -> tuple[Reference, ...]:
    """Return the pressure of each weight, with its budget, in the order of the masses."""
    tester = tester_of(session)
    masses = sorted({round(mass + session.piston_kg, 9) for mass in session.masses_kg})
    return tuple(Reference(mass, reference_pressure(tester, mass)) for mass in masses if mass > 0.0)


def certificate_from(
    session: Session, rows: tuple[tuple[Reference, float | None, float | None], ...], digest: str
) -> Certificate:
    """Return the certificate that a session gives.

    Parameters
    ----------
    session : Session
        How the tester was set up
    rows : tuple
        Each weight with what the gauge showed going up and going down, [Pa]
    digest : str
        Of the session's file
    """
    eye = session.resolution_pa / math.sqrt(12.0)
    return Certificate(
        tuple(
            CertificateRow(
                reference.pressure.value,
                math.hypot(reference.pressure.standard_uncertainty, eye),
                up,
                down,
            )
            for reference, up, down in rows
        ),
        number=say("own, {day}", day=session.day) if session.day else say("own"),
        gauge=session.gauge,
        laboratory=session.who,
        calibrated_on=session.day,
        remarks=(
            say(
                "dead-weight tester {tester}; set-up SHA-256 {digest}",
                tester=session.tester or "–",
                digest=digest,
            ),
        ),
    )
