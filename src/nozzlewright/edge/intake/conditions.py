"""Bench conditions from ``bench.toml``: what a recording cannot know.

Every table and every key may be missing; a missing piece costs only the values that need it.
Where the file states a value without its uncertainty, the constants below stand in, and the
value's method says so.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, model_validator

from nozzlewright.bench import (
    BenchConditions,
    BlankPlug,
    CertificatePoint,
    DropWindow,
    Fluid,
    Gauge,
    NozzleGeometry,
    Rig,
    TipGrade,
    TipWatch,
)
from nozzlewright.edge.intake.toml_schema import (
    Count,
    Flag,
    IsoDate,
    NonNegative,
    NonNegativePressure,
    Objection,
    Positive,
    PositivePressure,
    Pressure,
    Table,
    Text,
    pressure_stem,
    read_toml,
    validated,
)
from nozzlewright.errors import ConditionsFault
from nozzlewright.measurement import Cause, Quantity, kelvin
from nozzlewright.measurement.units import BAR
from nozzlewright.said import say

# Standard uncertainties where the file is silent: common practice, no source.
DEFAULT_TEMPERATURE_U_K = 1.0
"""Oil temperature read from a thermometer in the tank, not in the trapped oil, [K]."""
DEFAULT_VISCOSITY_RATIO_RELATIVE_U = 0.02
"""Ratio of the viscosity at two temperatures, from a fluid's data sheet, [1]."""
DEFAULT_DENSITY_U_KG_M3 = 2.0
"""Density at 15 °C from a fluid's data sheet, [kg/m^3]."""
DEFAULT_BULK_MODULUS_RELATIVE_U = 0.05
DEFAULT_PRESSURE_VISCOSITY_RELATIVE_U = 0.15
DEFAULT_VOLUME_RELATIVE_U = 0.05
"""Trapped volume, reckoned from bores and lengths, [1]."""
DEFAULT_WALL_COMPLIANCE_RELATIVE_U = 0.20
DEFAULT_COMPLIANCE_RELATIVE_U = 0.03
"""Rig compliance measured with a syringe or a plunger of known area, [1]."""
DEFAULT_COMPLIANCE_RATIO_RELATIVE_U = 0.03

STATED = say("stated with its uncertainty")
ASSUMED = say("stated; its uncertainty is assumed")
"""Method of a value whose uncertainty is one of the above."""

CM3 = 1e-6
MM3_PER_BAR = 1e-9 / BAR
MM = 1e-3
MM2_PER_S = 1e-6

Temperature = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-60.0, le=200.0)]
"""A temperature at the bench, [°C]; kelvins and slips of the pen fall outside."""


class _ViscosityPoint(Table):
    temperature_c: Temperature
    mm2_s: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0.3, le=2e4)]


class _CertificateLine(Table):
    reference_bar: Pressure
    indicated_bar: Pressure
    expanded_uncertainty_bar: PositivePressure


def _from_row(*names: str) -> BeforeValidator:
    """Accept a table row written as a short list in the order of the names."""

    def named(value: object) -> object:
        if isinstance(value, list):
            if len(value) != len(names):
                raise Objection(
                    f"a row of {len(value)} stands where {len(names)} values belong",
                    f"Write [{', '.join(names)}]",
                )
            return dict(zip(names, value, strict=True))
        return value

    return BeforeValidator(named)


ViscosityPoint = Annotated[_ViscosityPoint, _from_row("temperature_c", "mm2_s")]
CertificateLine = Annotated[
    _CertificateLine, _from_row("reference_bar", "indicated_bar", "expanded_uncertainty_bar")
]


def falling(from_bar: float, to_bar: float) -> None:
    """Object to a window of which the first pressure is not the higher one."""
    if from_bar <= to_bar:
        raise Objection(
            f"the pressure does not fall from {from_bar:g} to {to_bar:g} bar",
            "Write the higher pressure as from, the lower as to",
        )


def _needs_value(table: Table, name: str, value: str, extra: str) -> None:
    if getattr(table, extra) is not None and getattr(table, value) is None:
        raise Objection(f"{extra} is stated, the {name} itself is not", f"Add {value} = ..")


class SittingTable(Table):
    """One sitting at one rig: errors of gauge level and temperature are common to it."""

    id: Text = ""
    fitter: Text = ""
    date: IsoDate = ""


class FluidTable(Table):
    """Test fluid and its temperature on the day."""

    name: Text = ""
    temperature_c: Temperature | None = None
    temperature_u_c: NonNegative | None = None
    viscosity: tuple[ViscosityPoint, ...] = ()
    viscosity_ratio_u_percent: NonNegative | None = None
    density_15c_kg_m3: Annotated[float, Field(strict=True, ge=500.0, le=1500.0)] | None = None
    density_15c_u_kg_m3: NonNegative | None = None
    bulk_modulus_gpa: Annotated[float, Field(strict=True, ge=0.1, le=10.0)] | None = None
    bulk_modulus_u_gpa: NonNegative | None = None
    pressure_viscosity_per_gpa: Annotated[float, Field(strict=True, ge=0.0, le=100.0)] | None = None
    pressure_viscosity_u_per_gpa: NonNegative | None = None

    @model_validator(mode="after")
    def _thins_as_it_warms(self) -> FluidTable:
        points = sorted(self.viscosity, key=lambda point: point.temperature_c)
        for cold, warm in pairwise(points):
            if cold.temperature_c == warm.temperature_c:
                raise Objection(
                    f"two viscosities stand at {cold.temperature_c:g} °C", "Keep one of them"
                )
            if cold.mm2_s <= warm.mm2_s:
                raise Objection(
                    f"the viscosity does not fall from {cold.temperature_c:g} °C "
                    f"({cold.mm2_s:g} mm2/s) to {warm.temperature_c:g} °C ({warm.mm2_s:g} mm2/s)",
                    "Every oil thins as it warms; write each row as [temperature_c, mm2_s]",
                )
        _needs_value(self, "temperature", "temperature_c", "temperature_u_c")
        _needs_value(self, "density", "density_15c_kg_m3", "density_15c_u_kg_m3")
        _needs_value(self, "bulk modulus", "bulk_modulus_gpa", "bulk_modulus_u_gpa")
        _needs_value(
            self,
            "pressure-viscosity coefficient",
            "pressure_viscosity_per_gpa",
            "pressure_viscosity_u_per_gpa",
        )
        return self


class GaugeTable(Table):
    """Pressure gauge or transmitter."""

    id: Text = ""
    range_bar: PositivePressure | None = None
    accuracy_class: (
        Annotated[float, Field(strict=True, allow_inf_nan=False, gt=0.0, le=10.0)] | None
    ) = Field(default=None, alias="class")
    certificate: tuple[CertificateLine, ...] = ()
    certificate_k: Positive = 2.0
    resolution_bar: NonNegativePressure | None = None
    time_constant_ms: NonNegative | None = None
    calibrated_on: IsoDate = ""

    @model_validator(mode="after")
    def _certificate_is_a_curve(self) -> GaugeTable:
        references = [line.reference_bar for line in self.certificate]
        if len(set(references)) < len(references):
            raise Objection(
                "the certificate gives one reference pressure twice",
                "Write one line for each pressure: the mean of up and down, with the larger U",
            )
        if (
            self.range_bar is not None
            and self.resolution_bar is not None
            and self.resolution_bar >= self.range_bar
        ):
            raise Objection(
                f"the resolution ({self.resolution_bar:g} bar) is not less than the range "
                f"({self.range_bar:g} bar)",
                "The resolution is the smallest step that can be read",
            )
        return self


class RigTable(Table):
    """Hand-lever test apparatus: what is trapped behind the valve."""

    id: Text = ""
    volume_cm3: Positive | None = None
    volume_u_cm3: NonNegative | None = None
    wall_compliance_mm3_per_bar: NonNegative | None = None
    wall_compliance_u_mm3_per_bar: NonNegative | None = None
    compliance_mm3_per_bar: Positive | None = None
    compliance_u_mm3_per_bar: NonNegative | None = None
    at_bar: NonNegativePressure | None = None
    at_c: Temperature | None = None

    @model_validator(mode="after")
    def _values_stand_with_their_uncertainty(self) -> RigTable:
        _needs_value(self, "volume", "volume_cm3", "volume_u_cm3")
        _needs_value(
            self,
            "wall compliance",
            "wall_compliance_mm3_per_bar",
            "wall_compliance_u_mm3_per_bar",
        )
        for extra in ("compliance_u_mm3_per_bar", "at_bar", "at_c"):
            _needs_value(self, "compliance", "compliance_mm3_per_bar", extra)
        return self


class DropTable(Table):
    """A fall of pressure timed with a stopwatch."""

    from_bar: PositivePressure
    to_bar: PositivePressure
    seconds: Positive

    @model_validator(mode="after")
    def _falls(self) -> DropTable:
        falling(self.from_bar, self.to_bar)
        return self


class BlankPlugTable(Table):
    """The rig closed by a plug in the injector's place."""

    recording: Text = ""
    drop: DropTable | None = None
    compliance_ratio: Positive | None = None
    compliance_ratio_u: NonNegative | None = None
    volume_cm3: Positive | None = None
    volume_u_cm3: NonNegative | None = None
    temperature_c: Temperature | None = None

    @model_validator(mode="after")
    def _one_source(self) -> BlankPlugTable:
        if bool(self.recording) == (self.drop is not None):
            raise Objection(
                "the blank plug needs either a recording or a timed drop"
                + (", not both" if self.drop else ""),
                'Write recording = "blank.csv" or drop = { from_bar = .., to_bar = .., '
                "seconds = .. }",
            )
        _needs_value(self, "compliance ratio", "compliance_ratio", "compliance_ratio_u")
        _needs_value(self, "volume", "volume_cm3", "volume_u_cm3")
        return self


class WindowTable(Table):
    """The two pressures between which the drop is timed."""

    from_bar: PositivePressure
    to_bar: PositivePressure
    reference_c: Temperature | None = None
    reference_compliance_mm3_per_bar: Positive | None = None

    @model_validator(mode="after")
    def _falls(self) -> WindowTable:
        falling(self.from_bar, self.to_bar)
        return self


class NozzleTable(Table):
    """Dimensions of the nozzle that are known."""

    guide_diameter_mm: Positive | None = None
    guide_length_mm: Positive | None = None
    seat_diameter_mm: Positive | None = None
    body_diameter_mm: Positive | None = None
    spring_rate_n_per_mm: Positive | None = None
    two_spring: Flag = False

    @model_validator(mode="after")
    def _fits_together(self) -> NozzleTable:
        guide = self.guide_diameter_mm
        if guide is not None:
            if self.seat_diameter_mm is not None and self.seat_diameter_mm >= guide:
                raise Objection(
                    f"the seat ({self.seat_diameter_mm:g} mm) is not smaller than the guide "
                    f"({guide:g} mm)",
                    "Pressure lifts the needle on the ring between guide and seat; check both",
                )
            if self.body_diameter_mm is not None and self.body_diameter_mm <= guide:
                raise Objection(
                    f"the body ({self.body_diameter_mm:g} mm) is not larger than the guide "
                    f"({guide:g} mm)",
                    "The body's outer diameter is meant",
                )
        return self


class SeatTable(Table):
    """How the seat is tested."""

    margin_bar: PositivePressure | None = None
    seconds: Positive | None = None
    opening_bar: PositivePressure | None = None


class TipTable(Table):
    """What the fitter saw at the tip and at the leak-off."""

    seat: TipGrade | None = None
    drop_test: TipGrade | None = None
    leak_off_drops: Count | None = None
    leak_off_seconds: Positive | None = None
    outside_leak: Text = ""

    @model_validator(mode="after")
    def _drops_in_a_time(self) -> TipTable:
        if self.leak_off_drops is not None and self.leak_off_seconds is None:
            raise Objection(
                "drops at the leak-off are counted without a time", "Add leak_off_seconds = .."
            )
        return self


class ConditionsTable(Table):
    """The whole of ``bench.toml``."""

    sitting: SittingTable = SittingTable()
    fluid: FluidTable | None = None
    gauge: GaugeTable = GaugeTable()
    rig: RigTable = RigTable()
    blank_plug: BlankPlugTable | None = None
    window: WindowTable | None = None
    nozzle: NozzleTable = NozzleTable()
    seat: SeatTable = SeatTable()
    tip: TipTable = TipTable()


def read_conditions(path: Path) -> BenchConditions:
    """Read bench conditions.

    Parameters
    ----------
    path : Path
        A ``bench.toml``

    Raises
    ------
    ConditionsFault
        If the file cannot be read, is not TOML, or breaks the schema: every fault together.
    """
    document = read_toml(path, ConditionsFault)
    return conditions_from(validated(ConditionsTable, document, ConditionsFault))


def blank_recording_path(conditions: BenchConditions, toml_path: Path) -> Path | None:
    """Return the file of the blank-plug recording, or None where there is none.

    Its name in ``bench.toml`` is relative to the folder of that file.
    """
    if conditions.blank_plug is None or not conditions.blank_plug.recording:
        return None
    return toml_path.parent / conditions.blank_plug.recording


def conditions_from(table: ConditionsTable) -> BenchConditions:
    """Return the checked table in SI."""
    sitting = table.sitting.id or " ".join(
        part for part in (table.sitting.date, table.rig.id, table.sitting.fitter) if part
    )
    geometry = table.nozzle
    return BenchConditions(
        sitting=sitting,
        fluid=None if table.fluid is None else _fluid(table.fluid),
        oil_temperature=None if table.fluid is None else oil_temperature(table.fluid, sitting),
        gauge=_gauge(table.gauge),
        rig=_rig(table.rig),
        blank_plug=None if table.blank_plug is None else _blank(table.blank_plug, table.rig.id),
        geometry=NozzleGeometry(
            guide_diameter_m=_scaled(geometry.guide_diameter_mm, MM),
            seat_diameter_m=_scaled(geometry.seat_diameter_mm, MM),
            guide_length_m=_scaled(geometry.guide_length_mm, MM),
            body_diameter_m=_scaled(geometry.body_diameter_mm, MM),
            spring_rate_n_per_m=_scaled(geometry.spring_rate_n_per_mm, 1e3),
            two_spring=geometry.two_spring,
        ),
        window=None if table.window is None else _window(table.window),
        opening_target_pa=_scaled(table.seat.opening_bar, BAR),
        seat_margin_pa=_scaled(table.seat.margin_bar, BAR),
        seat_hold_s=table.seat.seconds,
        seat_watch=TipWatch(grade=table.tip.seat, outside_leak=table.tip.outside_leak),
        drop_watch=TipWatch(
            grade=table.tip.drop_test,
            leak_off_drops=table.tip.leak_off_drops,
            leak_off_seconds=table.tip.leak_off_seconds,
            outside_leak=table.tip.outside_leak,
        ),
    )


def oil_temperature(fluid: FluidTable, sitting: str) -> Quantity | None:
    """Return the oil temperature of one sitting, [K]."""
    if fluid.temperature_c is None:
        return None
    return _stated(
        kelvin(fluid.temperature_c),
        fluid.temperature_u_c,
        DEFAULT_TEMPERATURE_U_K,
        unit="K",
        cause=Cause(say("temperature"), sitting),
    )


def _fluid(table: FluidTable) -> Fluid:
    ratio_u = table.viscosity_ratio_u_percent
    return Fluid(
        name=table.name,
        viscosity_points=tuple(
            sorted((kelvin(p.temperature_c), p.mm2_s * MM2_PER_S) for p in table.viscosity)
        ),
        viscosity_relative_uncertainty=(
            DEFAULT_VISCOSITY_RATIO_RELATIVE_U if ratio_u is None else ratio_u / 100.0
        ),
        density_15c=_maybe_stated(
            table.density_15c_kg_m3,
            table.density_15c_u_kg_m3,
            unit="kg/m^3",
            cause=Cause(say("fluid density"), table.name),
            default_u=DEFAULT_DENSITY_U_KG_M3,
        ),
        bulk_modulus_20c=_maybe_stated(
            table.bulk_modulus_gpa,
            table.bulk_modulus_u_gpa,
            unit="Pa",
            cause=Cause(say("fluid stiffness"), table.name),
            default_relative_u=DEFAULT_BULK_MODULUS_RELATIVE_U,
            factor=1e9,
        ),
        pressure_viscosity=_maybe_stated(
            table.pressure_viscosity_per_gpa,
            table.pressure_viscosity_u_per_gpa,
            unit="1/Pa",
            cause=Cause(say("fluid pressure-viscosity"), table.name),
            default_relative_u=DEFAULT_PRESSURE_VISCOSITY_RELATIVE_U,
            factor=1e-9,
        ),
    )


def _gauge(table: GaugeTable) -> Gauge:
    return Gauge(
        identity=table.id,
        range_pa=_scaled(table.range_bar, BAR),
        accuracy_class=table.accuracy_class,
        certificate=tuple(
            sorted(
                (
                    CertificatePoint(
                        reference_pa=line.reference_bar * BAR,
                        indicated_pa=line.indicated_bar * BAR,
                        standard_uncertainty_pa=line.expanded_uncertainty_bar
                        * BAR
                        / table.certificate_k,
                    )
                    for line in table.certificate
                ),
                key=lambda point: point.reference_pa,
            )
        ),
        resolution_pa=_scaled(table.resolution_bar, BAR),
        time_constant_s=_scaled(table.time_constant_ms, 1e-3),
        calibrated_on=table.calibrated_on,
    )


def _rig(table: RigTable) -> Rig:
    return Rig(
        identity=table.id,
        volume_m3=_maybe_stated(
            table.volume_cm3,
            table.volume_u_cm3,
            unit="m^3",
            cause=Cause(say("rig volume"), table.id),
            default_relative_u=DEFAULT_VOLUME_RELATIVE_U,
            factor=CM3,
        ),
        wall_compliance=_maybe_stated(
            table.wall_compliance_mm3_per_bar,
            table.wall_compliance_u_mm3_per_bar,
            unit="m^3/Pa",
            cause=Cause(say("wall compliance"), table.id),
            default_relative_u=DEFAULT_WALL_COMPLIANCE_RELATIVE_U,
            factor=MM3_PER_BAR,
        ),
        compliance=_maybe_stated(
            table.compliance_mm3_per_bar,
            table.compliance_u_mm3_per_bar,
            unit="m^3/Pa",
            cause=Cause(say("rig compliance"), table.id),
            default_relative_u=DEFAULT_COMPLIANCE_RELATIVE_U,
            factor=MM3_PER_BAR,
        ),
        compliance_pressure_pa=_scaled(table.at_bar, BAR),
        compliance_temperature_k=None if table.at_c is None else kelvin(table.at_c),
    )


def _blank(table: BlankPlugTable, rig: str) -> BlankPlug:
    drop = table.drop
    return BlankPlug(
        recording=table.recording,
        drop_time_s=None if drop is None else drop.seconds,
        drop_from_pa=None if drop is None else drop.from_bar * BAR,
        drop_to_pa=None if drop is None else drop.to_bar * BAR,
        compliance_ratio=_maybe_stated(
            table.compliance_ratio,
            table.compliance_ratio_u,
            unit="1",
            cause=Cause(say("blank-plug compliance ratio"), rig),
            default_relative_u=DEFAULT_COMPLIANCE_RATIO_RELATIVE_U,
        ),
        volume_m3=_maybe_stated(
            table.volume_cm3,
            table.volume_u_cm3,
            unit="m^3",
            cause=Cause(say("blank-plug volume"), rig),
            default_relative_u=DEFAULT_VOLUME_RELATIVE_U,
            factor=CM3,
        ),
        temperature_k=None if table.temperature_c is None else kelvin(table.temperature_c),
    )


def _window(table: WindowTable) -> DropWindow:
    compliance = table.reference_compliance_mm3_per_bar
    return DropWindow(
        from_pa=table.from_bar * BAR,
        to_pa=table.to_bar * BAR,
        reference_temperature_k=None if table.reference_c is None else kelvin(table.reference_c),
        # A reference is a convention: it has no uncertainty of its own.
        reference_compliance=(
            None
            if compliance is None
            else Quantity(compliance * MM3_PER_BAR, "m^3/Pa", method=say("reference as stated"))
        ),
    )


def _scaled(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor


def _maybe_stated(
    value: float | None,
    uncertainty: float | None,
    *,
    unit: str,
    cause: Cause,
    default_relative_u: float = 0.0,
    default_u: float | None = None,
    factor: float = 1.0,
) -> Quantity | None:
    if value is None:
        return None
    default = default_relative_u * value if default_u is None else default_u
    return _stated(
        value * factor,
        None if uncertainty is None else uncertainty * factor,
        default * factor,
        unit=unit,
        cause=cause,
    )


def _stated(
    value: float, uncertainty: float | None, default: float, *, unit: str, cause: Cause
) -> Quantity:
    known = uncertainty is not None
    return Quantity(
        value,
        unit,
        {cause: default if uncertainty is None else uncertainty},
        method=STATED if known else ASSUMED,
    )


def override(table: Mapping[str, Any], changes: Mapping[str, Any]) -> dict[str, Any]:
    """Return a raw conditions table with the keys of `changes` laid over it, table by table.

    A pressure takes the place of the same pressure in another unit.
    """
    stems = {pressure_stem(key) for key in changes}
    merged = {key: value for key, value in table.items() if pressure_stem(key) not in stems}
    for key, value in changes.items():
        under = table.get(key)
        merged[key] = (
            override(under, value)
            if isinstance(under, Mapping) and isinstance(value, Mapping)
            else value
        )
    return merged
