"""A gauge's calibration certificate, as it was written."""

from __future__ import annotations

from dataclasses import dataclass

from nozzlewright.bench.apparatus import CertificatePoint


@dataclass(frozen=True)
class CertificateRow:
    """One pressure at which a gauge was calibrated."""

    reference_pa: float
    standard_uncertainty_pa: float
    """As the certificate states it, its coverage factor taken off, [Pa]."""
    up_pa: float | None = None
    """What the gauge showed with the pressure rising, [Pa]."""
    down_pa: float | None = None
    """What it showed with the pressure falling, [Pa]."""

    def __post_init__(self) -> None:
        if self.up_pa is None and self.down_pa is None:
            raise ValueError("a row of a certificate needs what the gauge showed, up or down")

    @property
    def indicated_pa(self) -> float:
        """Mean of what was shown up and down; that of one way where there is no other, [Pa]."""
        shown = [one for one in (self.up_pa, self.down_pa) if one is not None]
        return round(sum(shown) / len(shown), 3)

    @property
    def hysteresis_pa(self) -> float:
        """What was shown on the way down less that on the way up; 0 where one is missing, [Pa]."""
        if self.up_pa is None or self.down_pa is None:
            return 0.0
        return round(self.down_pa - self.up_pa, 3)

    @property
    def point(self) -> CertificatePoint:
        """The row as a reading is corrected by it."""
        return CertificatePoint(
            self.reference_pa, self.indicated_pa, self.standard_uncertainty_pa, self.hysteresis_pa
        )


@dataclass(frozen=True)
class Certificate:
    """The table of a calibration, with what names it.

    >>> row = CertificateRow(100e5, 0.1e5, up_pa=100.2e5, down_pa=100.6e5)
    >>> round(row.indicated_pa / 1e5, 2), round(row.hysteresis_pa / 1e5, 2)
    (100.4, 0.4)
    """

    rows: tuple[CertificateRow, ...]
    """In the order of the reference pressure."""
    number: str = ""
    gauge: str = ""
    """Identity of the gauge."""
    laboratory: str = ""
    """Who calibrated."""
    calibrated_on: str = ""
    """ISO 8601."""
    remarks: tuple[str, ...] = ()

    @property
    def points(self) -> tuple[CertificatePoint, ...]:
        """The rows as a reading is corrected by them."""
        return tuple(row.point for row in self.rows)

    @property
    def range_pa(self) -> tuple[float, float]:
        """Least and greatest pressure shown: between them it says something, [Pa]."""
        shown = [row.indicated_pa for row in self.rows]
        return min(shown), max(shown)
