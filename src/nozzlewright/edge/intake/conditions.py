"""Bench conditions from ``bench.toml``: what a recording cannot know.

Every table and every key may be missing; a missing piece costs only the values that need it.
Where the file states a value without its uncertainty, the constants below stand in, and the
value's method says so.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, model_validator

from nozzlewright.bench import (
    BenchConditions,
    BlankPlug,
    BledVolume,
    CertificatePoint,
    DropWindow,
    Fluid,
    Gauge,
    LeverStrokes,
    NozzleGeometry,
    OilFilter,
    ReferenceNozzle,
    Rig,
    RigLimits,
    RigReadings,
    TemperatureProbe,
    TipGrade,
    TipWatch,
)
from nozzlewright.edge.intake.toml_schema import (
    Count,
    Flag,
    IsoDate,
    IsoDay,
    NonNegative,
    NonNegativePressure,
    NonNegativePressures,
    Objection,
    Positive,
    PositivePressure,
    Pressure,
    Pressures,
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
DEFAULT_REFERENCE_OPENING_U_PA = 1.0 * BAR
"""Expected opening pressure of a reference nozzle: how well its friction repeats, [Pa]."""
DEFAULT_REFERENCE_DROP_RELATIVE_U = 0.05

STATED = say("stated with its uncertainty")
ASSUMED = say("stated; its uncertainty is assumed")
"""Method of a value whose uncertainty is one of the above."""

CM3 = 1e-6
MM3_PER_BAR = 1e-9 / BAR
MM = 1e-3
MM2 = 1e-6
MM2_PER_S = 1e-6
PERCENT = 1e-2

Temperature = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-60.0, le=200.0)]
"""A temperature at the bench, [°C]; kelvins and slips of the pen fall outside."""


class _ViscosityPoint(Table):
    temperature_c: Temperature
    mm2_s: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0.3, le=2e4)]


class _DensityPoint(Table):
    temperature_c: Temperature
    kg_m3: Annotated[float, Field(strict=True, ge=500.0, le=1500.0)]


class _Bled(Table):
    from_bar: PositivePressure
    to_bar: NonNegativePressure
    cm3: Positive

    @model_validator(mode="after")
    def _falls(self) -> _Bled:
        falling(self.from_bar, self.to_bar)
        return self


class _CertificateLine(Table):
    reference_bar: Pressure
    indicated_bar: Pressure
    expanded_uncertainty_bar: PositivePressure
    hysteresis_bar: Pressure = 0.0


def _from_row(*names: str, last_may_lack: bool = False) -> BeforeValidator:
    """Accept a table row written as a short list in the order of the names."""
    fewest = len(names) - last_may_lack

    def named(value: object) -> object:
        if isinstance(value, list):
            if not fewest <= len(value) <= len(names):
                raise Objection(
                    f"a row of {len(value)} stands where {fewest} values belong",
                    f"Write [{', '.join(names[:fewest])}]",
                )
            return dict(zip(names, value, strict=False))
        return value

    return BeforeValidator(named)


ViscosityPoint = Annotated[_ViscosityPoint, _from_row("temperature_c", "mm2_s")]
DensityPoint = Annotated[_DensityPoint, _from_row("temperature_c", "kg_m3")]
Bled = Annotated[_Bled, _from_row("from_bar", "to_bar", "cm3")]
CertificateLine = Annotated[
    _CertificateLine,
    _from_row(
        "reference_bar",
        "indicated_bar",
        "expanded_uncertainty_bar",
        "hysteresis_bar",
        last_may_lack=True,
    ),
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
    density: tuple[DensityPoint, ...] = ()
    batch: Text = ""
    filled_on: IsoDay = ""
    hours_used: NonNegative | None = None
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
        for cold_point, warm_point in pairwise(
            sorted(self.density, key=lambda point: point.temperature_c)
        ):
            if cold_point.temperature_c == warm_point.temperature_c:
                raise Objection(
                    f"two densities stand at {cold_point.temperature_c:g} °C", "Keep one of them"
                )
            if cold_point.kg_m3 <= warm_point.kg_m3:
                raise Objection(
                    f"the density does not fall from {cold_point.temperature_c:g} °C to "
                    f"{warm_point.temperature_c:g} °C",
                    "Every oil grows lighter as it warms; write each row as [temperature_c, kg_m3]",
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
    drift_bar_per_year: NonNegative | None = None
    resolution_bar: NonNegativePressure | None = None
    time_constant_ms: NonNegative | None = None
    calibrated_on: IsoDay = ""
    next_calibration_on: IsoDay = ""
    certificate_number: Text = ""
    certificate_c: Temperature | None = None

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


class FilterTable(Table):
    """Filter of the test fluid."""

    kind: Text = ""
    changed_on: IsoDay = ""


class ProbeTable(Table):
    """What the oil's temperature is read from."""

    id: Text = ""
    u_c: NonNegative | None = None
    calibrated_on: IsoDay = ""
    next_calibration_on: IsoDay = ""


class ReferenceTable(Table):
    """The reference nozzle, and what it should show."""

    id: Text = ""
    since: IsoDay = ""
    opening_bar: PositivePressure | None = None
    opening_u_bar: NonNegativePressure | None = None
    opening_tolerance_bar: PositivePressure | None = None
    drop_s: Positive | None = None
    drop_u_s: NonNegative | None = None
    drop_tolerance_s: Positive | None = None
    from_bar: PositivePressure | None = None
    to_bar: PositivePressure | None = None
    at_c: Temperature | None = None

    @model_validator(mode="after")
    def _values_stand_with_theirs(self) -> ReferenceTable:
        for extra in ("opening_u_bar", "opening_tolerance_bar"):
            _needs_value(self, "opening pressure", "opening_bar", extra)
        for extra in ("drop_u_s", "drop_tolerance_s"):
            _needs_value(self, "drop time", "drop_s", extra)
        if (self.from_bar is None) != (self.to_bar is None):
            raise Objection(
                "one of the two pressures of the drop is missing", "Add from_bar and to_bar"
            )
        if self.drop_s is not None and self.from_bar is None:
            raise Objection(
                "the drop time stands without its two pressures", "Add from_bar and to_bar"
            )
        if self.from_bar is not None and self.to_bar is not None:
            falling(self.from_bar, self.to_bar)
        return self


class LimitsTable(Table):
    """What the workshop demands of its rig; what is left out is not judged."""

    blank_fall_bar: PositivePressure | None = None
    blank_fall_s: Positive | None = None
    blank_fall_from_bar: PositivePressure | None = None
    zero_bar: PositivePressure | None = None
    compliance_percent: Positive | None = None
    temperature_from_c: Temperature | None = None
    temperature_to_c: Temperature | None = None
    oil_days: Positive | None = None
    oil_hours: Positive | None = None
    filter_days: Positive | None = None
    remind_days: NonNegative | None = None
    baseline: Annotated[int, Field(strict=True, ge=3, le=1000)] | None = None
    study_days: Positive | None = None
    calibration_grace_days: NonNegative | None = None
    check_days: NonNegative | None = None

    @model_validator(mode="after")
    def _whole(self) -> LimitsTable:
        fall = (self.blank_fall_bar, self.blank_fall_s, self.blank_fall_from_bar)
        if any(one is None for one in fall) and any(one is not None for one in fall):
            raise Objection(
                "the fall with the blank plug is not wholly stated",
                "Add blank_fall_bar (at most), blank_fall_s (in this time) and "
                "blank_fall_from_bar (from this pressure)",
            )
        if fall[0] is not None and fall[2] is not None and fall[0] >= fall[2]:
            raise Objection(
                f"the rig cannot fall by {fall[0]:g} bar from {fall[2]:g} bar",
                "blank_fall_bar is the greatest fall, blank_fall_from_bar where it begins",
            )
        low, high = self.temperature_from_c, self.temperature_to_c
        if low is not None and high is not None and low >= high:
            raise Objection(
                f"no temperature lies from {low:g} to {high:g} °C",
                "Write the colder one as temperature_from_c",
            )
        return self


class CheckTable(Table):
    """What was read in the check of the rig; the hold with the blank plug has its own table."""

    zero_bar: Pressure | None = None
    zero_recording: Text = ""
    opening_bar: Pressures = ()
    drop: DropTable | None = None
    recording: Text = ""
    bled: tuple[Bled, ...] = ()
    graduation_cm3: Positive | None = None
    cylinder_percent: NonNegative | None = None
    strokes_bar: NonNegativePressures | None = None
    piston_area_mm2: Positive | None = None
    piston_area_u_mm2: NonNegative | None = None
    travel_mm: Positive | None = None
    travel_u_mm: NonNegative | None = None
    stroke_s: Positive | None = None

    @model_validator(mode="after")
    def _whole(self) -> CheckTable:
        if self.zero_bar is not None and self.zero_recording:
            raise Objection(
                "the zero is stated and recorded", "Keep zero_bar or zero_recording, not both"
            )
        if self.recording and (self.opening_bar or self.drop is not None):
            raise Objection(
                "the reference nozzle is recorded and read by eye",
                "Keep recording, or opening_bar and drop",
            )
        strokes = (self.strokes_bar, self.piston_area_mm2, self.travel_mm)
        if any(one is None for one in strokes) and any(one is not None for one in strokes):
            raise Objection(
                "the strokes are not wholly stated",
                "Add strokes_bar (at first, then after each), piston_area_mm2 and travel_mm",
            )
        if self.strokes_bar is not None and len(self.strokes_bar) < 3:
            raise Objection(
                "fewer than two strokes say nothing",
                "Write the pressure before the first stroke and after each of some five",
            )
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
    filter: FilterTable | None = None
    probe: ProbeTable | None = None
    reference: ReferenceTable | None = None
    limits: LimitsTable = LimitsTable()
    check: CheckTable | None = None


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


def check_recording_paths(
    conditions: BenchConditions, toml_path: Path
) -> tuple[Path | None, Path | None]:
    """Return the files of the check's recordings: reference nozzle, gauge at rest.

    Their names in ``bench.toml`` are relative to the folder of that file.
    """
    readings = conditions.readings
    if readings is None:
        return None, None
    named = (readings.recording, readings.zero_recording)
    reference, zero = (toml_path.parent / name if name else None for name in named)
    return reference, zero


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
        gauge=_gauge(table.gauge, table.sitting.date),
        rig=replace(
            _rig(table.rig),
            filter=None
            if table.filter is None
            else OilFilter(table.filter.kind, table.filter.changed_on),
            probe=None
            if table.probe is None
            else TemperatureProbe(
                table.probe.id,
                table.probe.u_c,
                table.probe.calibrated_on,
                table.probe.next_calibration_on,
            ),
            reference=None if table.reference is None else _reference(table.reference),
            limits=_limits(table.limits),
        ),
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
        readings=None if table.check is None else _readings(table.check),
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
            _density_15c(table) if table.density_15c_kg_m3 is None else table.density_15c_kg_m3,
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
        density_points=tuple(sorted((kelvin(p.temperature_c), p.kg_m3) for p in table.density)),
        batch=table.batch,
        filled_on=table.filled_on,
        hours_used=table.hours_used,
    )


def _density_15c(table: FluidTable) -> float | None:
    """Return the density at 15 °C on the line between the points beside it; None without such."""
    points = sorted((point.temperature_c, point.kg_m3) for point in table.density)
    for (cold, dense), (warm, light) in pairwise(points):
        if cold <= 15.0 <= warm:
            return dense + (light - dense) * (15.0 - cold) / (warm - cold)
    return next((density for at, density in points if at == 15.0), None)


def _gauge(table: GaugeTable, date: str) -> Gauge:
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
                        hysteresis_pa=line.hysteresis_bar * BAR,
                    )
                    for line in table.certificate
                ),
                key=lambda point: point.reference_pa,
            )
        ),
        resolution_pa=_scaled(table.resolution_bar, BAR),
        time_constant_s=_scaled(table.time_constant_ms, 1e-3),
        calibrated_on=table.calibrated_on,
        drift_pa_per_year=_scaled(table.drift_bar_per_year, BAR),
        used_on="" if table.drift_bar_per_year is None else date,
        next_calibration_on=table.next_calibration_on,
        certificate_number=table.certificate_number,
        certificate_temperature_k=(
            None if table.certificate_c is None else kelvin(table.certificate_c)
        ),
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


def _reference(table: ReferenceTable) -> ReferenceNozzle:
    return ReferenceNozzle(
        identity=table.id,
        since=table.since,
        opening=_maybe_stated(
            table.opening_bar,
            table.opening_u_bar,
            unit="Pa",
            cause=Cause(say("reference nozzle"), table.id),
            default_u=DEFAULT_REFERENCE_OPENING_U_PA / BAR,
            factor=BAR,
        ),
        opening_tolerance_pa=_scaled(table.opening_tolerance_bar, BAR),
        drop_time=_maybe_stated(
            table.drop_s,
            table.drop_u_s,
            unit="s",
            cause=Cause(say("reference nozzle"), table.id),
            default_relative_u=DEFAULT_REFERENCE_DROP_RELATIVE_U,
        ),
        drop_tolerance_s=table.drop_tolerance_s,
        drop_from_pa=_scaled(table.from_bar, BAR),
        drop_to_pa=_scaled(table.to_bar, BAR),
        reference_temperature_k=None if table.at_c is None else kelvin(table.at_c),
    )


def _limits(table: LimitsTable) -> RigLimits:
    low, high = table.temperature_from_c, table.temperature_to_c
    return RigLimits(
        blank_fall_pa=_scaled(table.blank_fall_bar, BAR),
        blank_fall_s=table.blank_fall_s,
        blank_fall_from_pa=_scaled(table.blank_fall_from_bar, BAR),
        zero_pa=_scaled(table.zero_bar, BAR),
        compliance_relative=_scaled(table.compliance_percent, PERCENT),
        temperature_from_k=None if low is None else kelvin(low),
        temperature_to_k=None if high is None else kelvin(high),
        oil_days=table.oil_days,
        oil_hours=table.oil_hours,
        filter_days=table.filter_days,
        remind_days=table.remind_days,
        baseline=table.baseline,
        study_days=table.study_days,
        calibration_grace_days=table.calibration_grace_days,
        check_days=table.check_days,
    )


def _readings(table: CheckTable) -> RigReadings:
    strokes = None
    if table.strokes_bar and table.piston_area_mm2 and table.travel_mm:
        strokes = LeverStrokes(
            pressures_pa=tuple(pressure * BAR for pressure in table.strokes_bar),
            piston_area_m2=table.piston_area_mm2 * MM2,
            travel_m=table.travel_mm * MM,
            piston_area_u_m2=_scaled(table.piston_area_u_mm2, MM2),
            travel_u_m=_scaled(table.travel_u_mm, MM),
            between_s=table.stroke_s,
        )
    drop = table.drop
    return RigReadings(
        zero_pa=_scaled(table.zero_bar, BAR),
        zero_recording=table.zero_recording,
        opening_pa=tuple(pressure * BAR for pressure in table.opening_bar),
        drop_from_pa=None if drop is None else drop.from_bar * BAR,
        drop_to_pa=None if drop is None else drop.to_bar * BAR,
        drop_s=None if drop is None else drop.seconds,
        recording=table.recording,
        bled=tuple(
            BledVolume(one.from_bar * BAR, one.to_bar * BAR, one.cm3 * CM3) for one in table.bled
        ),
        graduation_m3=_scaled(table.graduation_cm3, CM3),
        cylinder_relative_error=_scaled(table.cylinder_percent, PERCENT),
        strokes=strokes,
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
