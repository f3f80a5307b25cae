"""A gauge's certificate and the card of its rig: taken in, and what it says held against it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import tomlkit

from nozzlewright.analysis.certificate import (
    CertificateFit,
    Drift,
    doubts,
    drift_between,
    fit_certificate,
)
from nozzlewright.bench import (
    BenchConditions,
    Certificate,
    CertificatePoint,
    CertificateRow,
    Gauge,
)
from nozzlewright.edge.intake.certificate import (
    PlacedRow,
    certificate_of_gauge,
    certificate_text,
    checked_rows,
    read_certificate,
)
from nozzlewright.edge.intake.conditions_text import conditions_text
from nozzlewright.edge.wiring.rig_card import checked_card
from nozzlewright.measurement import NotMeasured
from nozzlewright.measurement.units import BAR

__all__ = [
    "Certificate",
    "CertificateRow",
    "CertificateView",
    "PlacedRow",
    "card_with_certificate",
    "certificate_of_gauge",
    "certificate_text",
    "checked_rows",
    "kept_certificate",
    "read_certificate",
    "view_of",
]

SCOPE = "certificate"
CERTIFICATE_K = 2.0
"""Coverage factor with which a card holds a certificate."""


@dataclass(frozen=True)
class CertificateView:
    """A certificate with all that is shown of it."""

    certificate: Certificate
    fit: CertificateFit
    doubts: tuple[str, ...]
    drift: Drift | NotMeasured | None
    """Against the certificate on the card; None where it has none, or has this one already."""


@lru_cache(maxsize=32)
def kept_certificate(content: bytes) -> tuple[Certificate, CertificateFit]:
    """Return a table that was kept, with the curve through it."""
    certificate = read_certificate(content)
    return certificate, fit_certificate(certificate.points, SCOPE)


def view_of(content: bytes, gauge: Gauge | None) -> CertificateView:
    """Return what a kept table says of a gauge.

    Parameters
    ----------
    content : bytes
        The table, CSV
    gauge : Gauge, optional
        That of the rig for which it is meant, as on its card
    """
    certificate, fit = kept_certificate(content)
    found = doubts(fit, gauge.range_pa, gauge.accuracy_class) if gauge else doubts(fit)
    drift = None
    if gauge is not None and gauge.certificate and not _same(gauge, certificate):
        drift = drift_between(
            fit_certificate(gauge.certificate, SCOPE),
            gauge.calibrated_on,
            fit,
            certificate.calibrated_on,
        )
    return CertificateView(certificate, fit, found, drift)


def _same(gauge: Gauge, certificate: Certificate) -> bool:
    """Tell whether a card holds these points already, the last digits apart."""

    def rounded(points: Iterable[CertificatePoint]) -> list[tuple[int, int, int]]:
        return [
            (round(p.reference_pa), round(p.indicated_pa), round(p.hysteresis_pa)) for p in points
        ]

    return rounded(gauge.certificate) == rounded(certificate.points)


def card_with_certificate(
    card: bytes,
    certificate: Certificate,
    *,
    drift: Drift | None = None,
    next_calibration_on: str = "",
    today: str = "",
) -> bytes:
    """Return a rig's card with a certificate of its gauge; all else, comments too, stays.

    Parameters
    ----------
    card : bytes
        The card as it was
    certificate : Certificate
        What takes the place of the one that was on it
    drift : Drift, optional
        Between the two; without it a drift stated before goes, as it was told by older ones
    next_calibration_on : str
        ISO 8601, or empty: the date on the card belonged to the certificate before, and goes
    today : str
        ISO 8601; noted as the day of the sitting where a drift needs one and the card has none

    Raises
    ------
    ConditionsFault
        If the card cannot be changed.
    """
    checked_card(card, "card")
    text = card.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
    document = tomlkit.parse(text)
    if "gauge" not in document:
        document.add("gauge", tomlkit.table())
    table: Any = document["gauge"]
    rows = tomlkit.array().multiline(True)
    for row in _rows_of(certificate):
        rows.append(row)
    table["certificate"] = rows
    per_year = None if drift is None else float(f"{drift.per_year_pa / BAR:.4g}")
    written = {
        "certificate_k": CERTIFICATE_K,
        "certificate_number": certificate.number or None,
        "calibrated_on": certificate.calibrated_on or None,
        "next_calibration_on": next_calibration_on or None,
        "certificate_c": None,
        "drift_bar_per_year": per_year,
    }
    for key, value in written.items():
        if value is None:
            table.pop(key, None)
        else:
            table[key] = value
    if drift is not None and today and "date" not in document.get("sitting", {}):
        if "sitting" not in document:
            document.add("sitting", tomlkit.table())
        sitting: Any = document["sitting"]
        sitting["date"] = today
    changed = tomlkit.dumps(document).encode()
    checked_card(changed, "card")
    return changed


def _rows_of(certificate: Certificate) -> list[list[float]]:
    """Return the rows as a card writes them, so that the reader gives back the very points."""
    text = conditions_text(BenchConditions(gauge=Gauge(certificate=certificate.points)))
    rows: list[list[float]] = tomlkit.parse(text).unwrap()["gauge"]["certificate"]
    return rows
