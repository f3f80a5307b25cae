"""Reads a setting sheet: TOML in, :class:`~nozzlewright.bench.SettingSheet` out.

All faults are reported together, each with its key, what is wrong and how to mend it. Values that
a document prints in two units are held against each other, and against the keys that repeat them.
There are no built-in limits: what the sheet leaves out is not judged.

The format is described in ``docs/how-to/write-a-setting-sheet.md``.
"""

from __future__ import annotations

import copy
import math
import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    model_validator,
)

from nozzlewright.bench import (
    TRADE_ORDER,
    AddedStep,
    Adjustment,
    AsPrinted,
    BackLeakageDemand,
    ChatterDemand,
    DecisionRule,
    DropWindow,
    HolderSpring,
    LeakOffDemand,
    NozzleGeometry,
    OpeningBand,
    SeatDemand,
    SettingSheet,
    SprayDemand,
    StepPlan,
    Torque,
    steps_of,
)
from nozzlewright.edge.intake.printed import (
    Digits,
    Kind,
    Printed,
    contains,
    converted,
    cross_check,
    one_value,
)
from nozzlewright.edge.intake.sheet_spring import rates_apart, spring_objections
from nozzlewright.edge.intake.toml_schema import (
    Count,
    Flag,
    Location,
    Objection,
    Positive,
    Text,
    TomlDocument,
    checked,
    is_pressure_key,
    read_toml,
    shown,
    spellings,
)
from nozzlewright.errors import Fault, SheetFault
from nozzlewright.measurement import Cause, Quantity, exact
from nozzlewright.measurement.units import BAR
from nozzlewright.said import say

MOST_SHIMS = 400
"""Sizes of shim on one sheet; more are a slip in the step."""
MOST_FAULTY_KEYS = 8
"""Rounds in which faulty keys of a section are dropped before it is given up."""


def read_sheet(path: Path) -> SettingSheet:
    """Read a setting sheet.

    Parameters
    ----------
    path : Path
        TOML file

    Returns
    -------
    SettingSheet
        In SI, with what was printed kept beside each limit

    Raises
    ------
    SheetFault
        If the file cannot be read or anything in it cannot be used; with every fault found.
    """
    document = read_toml(path, SheetFault)
    return sheet_of(document)


def sheet_of(document: TomlDocument) -> SettingSheet:
    """Return the setting sheet in a TOML document that was read.

    Raises
    ------
    SheetFault
        With every fault found.
    """
    whole, faults = checked(SheetTable, document, document.data)
    builder = _Builder(document, document.data.get("atmosphere"))
    sections: dict[str, Any] = {}
    for name, model in SECTIONS.items():
        if (data := document.data.get(name)) is not None:
            sections[name], sound = _sound_part(model, data)
            if not sound:
                builder.mended.add(name)
    torques = document.data.get("torque")
    rows = [
        (index, _sound_part(TorqueTable, row)[0])
        for index, row in enumerate(torques if isinstance(torques, list) else [])
    ]
    built = _Built(
        opening=builder.section(_opening, sections, "opening") or (None, None),
        seat=builder.section(_seat, sections, "seat"),
        back_leakage=builder.section(_back_leakage, sections, "back_leakage"),
        leak_off=builder.section(_leak_off, sections, "leak_off"),
        chatter=builder.section(_chatter, sections, "chatter"),
        spray=builder.section(_spray, sections, "spray"),
        spread=builder.section(_spread, sections, "set") or (None, None),
        adjustment=builder.section(_adjustment, sections, "adjustment") or Adjustment(),
        geometry=builder.section(_geometry, sections, "nozzle") or NozzleGeometry(),
        spring=builder.section(_spring, sections, "spring"),
        torques=tuple(
            torque
            for index, row in rows
            if row is not None and (torque := _torque(builder, row, ("torque", index))) is not None
        ),
    )
    plan = builder.section(_steps, sections, "steps") or StepPlan()
    _across(builder, built, sections)
    faults += builder.faults
    if whole is None or faults:
        raise SheetFault(sorted(dict.fromkeys(faults), key=_line))
    return SettingSheet(
        title=whole.title,
        injector=whole.injector,
        source=whole.source,
        invented=whole.invented,
        opening_new=built.opening[0],
        opening_used=built.opening[1],
        seat=built.seat,
        back_leakage=built.back_leakage,
        chatter=built.chatter,
        spray=built.spray,
        spread_pa=built.spread[0],
        adjustment=built.adjustment,
        geometry=built.geometry,
        torques=built.torques,
        washer=whole.washer,
        rule=DecisionRule(whole.rule),
        digest=document.digest,
        leak_off=built.leak_off,
        spread_printed=built.spread[1],
        steps=plan,
        spring=built.spring,
    )


def _line(fault: Fault) -> int:
    line = re.search(r", line (\d+)", fault.where)
    return int(line[1]) if line else 0


def _sound_part(model: type[BaseModel], data: object) -> tuple[Any, bool]:
    """Return a section without the keys that cannot be used, and whether it is whole.

    So what is wrong with the others shows in the same report.
    """
    kept = copy.deepcopy(data)
    for attempt in range(MOST_FAULTY_KEYS):
        try:
            return model.model_validate(kept), attempt == 0
        except ValidationError as error:
            dropped = [_dropped(kept, detail["loc"]) for detail in error.errors(include_url=False)]
            if not any(dropped):
                return None, False
        except RecursionError:
            return None, False
    return None, False


def _dropped(data: object, location: Location) -> bool:
    """Drop the innermost key of a location that was written; return whether there was one."""
    for depth, key in enumerate(location):
        if not isinstance(data, dict) or not isinstance(key, str):
            return False
        names = (key, *spellings(key)) if is_pressure_key(key) else (key,)
        inner = data.get(key)
        if depth < len(location) - 1 and isinstance(inner, dict):
            data = inner
            continue
        found = [data.pop(name) for name in names if name in data]
        return bool(found)
    return False


# --- schema ------------------------------------------------------------------------------------


def _written(value: object) -> object:
    if isinstance(value, str):
        return value
    if isinstance(value, _Twice):
        raise Objection(f"one value is written twice ({value})", "Keep one of them")
    if isinstance(value, int | float) and not isinstance(value, bool):
        raise Objection(
            f"{shown(value)} has no unit", 'Write it in quotes with its unit, as in "20 bar"'
        )
    raise Objection(
        f"{shown(value)} stands where a value with its unit belongs", 'Write it as in "20 bar"'
    )


Written = Annotated[str, BeforeValidator(_written), Field(max_length=200)]
"""A value with its unit, as printed."""


class _SheetTable(BaseModel):
    """Base of the tables: unknown keys are faults; ``lower_bar = 175`` is ``lower = "175 bar"``."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    @model_validator(mode="before")
    @classmethod
    def _unit_in_the_key(cls, data: object) -> object:
        if not isinstance(data, Mapping):
            return data
        kept = dict(data)
        for field in filter(is_pressure_key, cls.model_fields):
            given = [key for key in (field, *spellings(field)) if key in data]
            values = [_with_unit_of_key(key, field, kept.pop(key)) for key in given]
            if len(given) > 1:
                kept[field] = _Twice(given)
            elif given:
                kept[field] = values[0]
        return kept


class _Twice:
    """One pressure under two keys."""

    def __init__(self, keys: list[str]) -> None:
        self.keys = keys

    def __str__(self) -> str:
        return " and ".join(self.keys)


def _with_unit_of_key(key: str, field: str, value: object) -> object:
    stem = field.removesuffix("_bar")
    if key == stem or isinstance(value, bool) or not isinstance(value, int | float):
        return value
    unit = {"kgf_cm2": "kgf/cm2", "kg_cm2": "kgf/cm2", "technical_atm": "technical atm",
            "standard_atm": "standard atm"}  # fmt: skip
    suffix = key.removeprefix(f"{stem}_")
    text = repr(value)
    return f"{text[:-2] if text.endswith('.0') else text} {unit.get(suffix, suffix)}"


class BandTable(_SheetTable):
    """A band: its two ends, or nominal and tolerance."""

    lower_bar: Written | None = None
    upper_bar: Written | None = None
    nominal_bar: Written | None = None
    tolerance_bar: Written | None = None
    target_bar: Written | None = None
    printed: Text = ""
    page: Text = ""


class OpeningTable(BandTable):
    """Opening pressure: one band for all parts, or one for new and one for used."""

    new: BandTable | None = None
    used: BandTable | None = None


class SeatTable(_SheetTable):
    """Seat hold."""

    margin_below_opening_bar: Written | None = None
    pressure_bar: Written | None = None
    tolerance_bar: Written | None = None
    seconds: Positive
    damp_allowed: Flag
    printed: Text = ""
    page: Text = ""


class BackLeakageTable(_SheetTable):
    """Drop time."""

    from_bar: Written
    to_bar: Written
    at_least_s: Positive | None = None
    at_most_s: Positive | None = None
    reference_temperature: Written | None = None
    reference_viscosity: Written | None = None
    reference_compliance: Written | None = None
    printed: Text = ""
    page: Text = ""


class LeakOffTable(_SheetTable):
    """Drops counted at the leak-off."""

    pressure_bar: Written
    tolerance_bar: Written | None = None
    seconds: Positive
    at_least_drops: Count | None = None
    at_most_drops: Count | None = None
    printed: Text = ""
    page: Text = ""


class ChatterTable(_SheetTable):
    """Chatter."""

    weak_allowed: Flag
    minimum_openings_per_stroke: Positive | None = None
    printed: Text = ""
    page: Text = ""


class SprayTable(_SheetTable):
    """Spray."""

    printed: Annotated[Text, Field(min_length=1)]
    page: Text = ""


class SpreadTable(_SheetTable):
    """What is asked of the set as a whole."""

    spread_bar: Written
    printed: Text = ""
    page: Text = ""


class ShimRangeTable(_SheetTable):
    """Shims in even steps."""

    thinnest: Written
    thickest: Written
    step: Written


class AdjustmentTable(_SheetTable):
    """How the opening pressure is set."""

    shim_effect: Written | None = None
    shim_effect_uncertainty: Written | None = None
    shim_sizes: Annotated[list[Written], Field(max_length=MOST_SHIMS)] | None = None
    shim_range: ShimRangeTable | None = None
    stack_allowed: Flag = False
    screw_effect: Written | None = None
    screw_effect_uncertainty: Written | None = None
    screw_pitch: Written | None = None
    reassembly_bar: Written | None = None
    printed: Text = ""
    page: Text = ""


class NozzleTable(_SheetTable):
    """Dimensions that are known."""

    guide_diameter: Written | None = None
    seat_diameter: Written | None = None
    guide_length: Written | None = None
    body_diameter: Written | None = None
    spring_rate: Written | None = None
    two_spring: Flag = False


class SpringTable(_SheetTable):
    """The holder's spring."""

    free_length: Written | None = None
    least_free_length: Written | None = None
    wire_diameter: Written | None = None
    mean_diameter: Written | None = None
    outer_diameter: Written | None = None
    active_coils: Positive | None = None
    total_coils: Positive | None = None
    solid_length: Written | None = None
    load: Written | None = None
    loaded_length: Written | None = None
    needle_lift: Written | None = None
    printed: Text = ""
    page: Text = ""


class TorqueTable(_SheetTable):
    """One torque."""

    part: Annotated[Text, Field(min_length=1)]
    value: Written
    printed: Text = ""
    page: Text = ""


class AddedStepTable(_SheetTable):
    """A step that the document asks for beside those of the trade."""

    key: Annotated[Text, Field(pattern=r"^[a-z][a-z0-9-]{0,30}$")]
    title: Annotated[Text, Field(min_length=1, max_length=80)]
    after: Annotated[Text, Field(min_length=1)]
    text: Text = ""


class StepsTable(_SheetTable):
    """What the document changes in the order of the trade."""

    leave_out: Annotated[list[Text], Field(max_length=30)] = []
    add: Annotated[list[AddedStepTable], Field(max_length=30)] = []


class SheetTable(_SheetTable):
    """The whole sheet."""

    title: Annotated[Text, Field(min_length=1)]
    injector: Annotated[Text, Field(min_length=1)]
    source: Annotated[Text, Field(min_length=1)]
    invented: Flag = False
    rule: Literal["guarded", "simple"] = "guarded"
    atmosphere: Literal["technical", "standard"] | None = None
    washer: Text = ""
    opening: OpeningTable | None = None
    seat: SeatTable | None = None
    back_leakage: BackLeakageTable | None = None
    leak_off: LeakOffTable | None = None
    chatter: ChatterTable | None = None
    spray: SprayTable | None = None
    set: SpreadTable | None = None
    adjustment: AdjustmentTable | None = None
    nozzle: NozzleTable | None = None
    spring: SpringTable | None = None
    torque: Annotated[list[TorqueTable], Field(max_length=100)] = []
    steps: StepsTable | None = None


SECTIONS: Mapping[str, type[BaseModel]] = {
    "opening": OpeningTable,
    "seat": SeatTable,
    "back_leakage": BackLeakageTable,
    "leak_off": LeakOffTable,
    "chatter": ChatterTable,
    "spray": SprayTable,
    "set": SpreadTable,
    "adjustment": AdjustmentTable,
    "nozzle": NozzleTable,
    "spring": SpringTable,
    "steps": StepsTable,
}


# --- building ----------------------------------------------------------------------------------

Section = TypeVar("Section")


class _Built:
    """The parts of a sheet, as far as they could be built."""

    def __init__(
        self,
        *,
        opening: tuple[OpeningBand | None, OpeningBand | None],
        seat: SeatDemand | None,
        back_leakage: BackLeakageDemand | None,
        leak_off: LeakOffDemand | None,
        chatter: ChatterDemand | None,
        spray: SprayDemand | None,
        spread: tuple[float | None, AsPrinted | None],
        adjustment: Adjustment,
        geometry: NozzleGeometry,
        spring: HolderSpring | None,
        torques: tuple[Torque, ...],
    ) -> None:
        self.opening, self.seat, self.back_leakage = opening, seat, back_leakage
        self.leak_off, self.chatter, self.spray = leak_off, chatter, spray
        self.spread, self.adjustment, self.geometry = spread, adjustment, geometry
        self.spring = spring
        self.torques = torques


class _Builder:
    """Turns what is written into SI and gathers what is wrong with it."""

    def __init__(self, document: TomlDocument, atmosphere: object) -> None:
        self.document = document
        self.atmosphere = atmosphere if atmosphere in ("technical", "standard") else None
        self.faults: list[Fault] = []
        self.mended: set[Any] = set()
        """Sections from which a faulty key was dropped."""

    def section(
        self,
        build: Callable[[_Builder, Any, Location], Section],
        sections: Mapping[str, Any],
        name: str,
    ) -> Section | None:
        """Return a section built, or None where there is none or its shape is wrong."""
        table = sections.get(name)
        return None if table is None else build(self, table, (name,))

    def object_to(self, at: Location, what: str, remedy: str) -> None:
        """Note a fault."""
        self.faults.append(Fault(what, self.document.where(self.as_written(at)), remedy))

    def miss(self, at: Location, what: str, remedy: str) -> None:
        """Note that keys are missing, unless a faulty one was dropped, which may be the one."""
        if at[0] not in self.mended:
            self.object_to(at, what, remedy)

    def as_written(self, at: Location) -> Location:
        """Return a location with the pressure key that the person wrote."""
        if not at or not isinstance(at[-1], str) or not is_pressure_key(at[-1]):
            return at
        for key in (at[-1], *spellings(at[-1])):
            if (*at[:-1], key) in self.document.lines:
                return (*at[:-1], key)
        return (*at[:-1], at[-1].removesuffix("_bar"))

    def value(
        self, text: str | None, kind: Kind, at: Location, *, span: bool = False
    ) -> Printed | None:
        """Return a value, or None where there is none or it cannot be read."""
        if text is None:
            return None
        try:
            value = one_value(text, kind, self.atmosphere, span=span)
        except Objection as objection:
            self.object_to(at, objection.what, objection.remedy)
            return None
        if value.first[0].value <= 0.0:
            self.object_to(at, f"{shown(text)} must be more than nothing", "Check it")
            return None
        return value

    def number(self, text: str | None, kind: Kind, at: Location) -> Digits | None:
        """Return a single number in SI with its rounding."""
        value = self.value(text, kind, at)
        return None if value is None else value.first[0]

    def printed(
        self,
        table: Any,
        at: Location,
        fallback: str,
        kind: Kind,
        keys: Mapping[str, Digits | None],
    ) -> AsPrinted:
        """Return the text as printed, cross-checked in itself and against the keys.

        Parameters
        ----------
        table : model
            Has ``printed`` and ``page``
        at : tuple
            Location of the table
        fallback : str
            Text where nothing is given as printed
        kind : Kind
            Sort of value that the keys repeat
        keys : mapping
            Value of each key that must stand in the text, where any of that sort does
        """
        if table.printed:
            place = (*at, "printed")
            found, objections = cross_check(table.printed, self.atmosphere)
            for objection in objections:
                self.object_to(place, objection.what, objection.remedy)
            for key, value in keys.items():
                if value is not None and not contains(found, kind, value):
                    told = ", ".join(f"'{one.text}'" for one in found if one.unit.kind is kind)
                    self.object_to(
                        place,
                        f"{key} is {converted(kind, value.value)}, but as printed there stands "
                        f"{told}",
                        "One of the two is wrong: compare with the document",
                    )
        return AsPrinted(table.printed or fallback, table.page)


def _band(builder: _Builder, table: BandTable, at: Location) -> OpeningBand | None:
    written = {
        key: getattr(table, f"{key}_bar")
        for key in ("lower", "upper", "nominal", "tolerance", "target")
    }
    ends, middle = {"lower", "upper"}, {"nominal", "tolerance"}
    given = {key for key, text in written.items() if text is not None} - {"target"}
    if given not in (ends, middle):
        builder.miss(
            at,
            "the band is not told: found " + (", ".join(sorted(given)) or "neither end"),
            "Give lower and upper, or nominal and tolerance",
        )
    before = len(builder.faults)
    number = {
        key: builder.number(text, Kind.PRESSURE, (*at, f"{key}_bar"))
        for key, text in written.items()
    }
    if given == middle:
        nominal, tolerance = number["nominal"], number["tolerance"]
        if nominal is None or tolerance is None:
            return None
        lower, upper = nominal.value - tolerance.value, nominal.value + tolerance.value
        repeated = {"nominal": nominal, "tolerance": tolerance}
        default = nominal.value
        fallback = f"{written['nominal']} ± {written['tolerance']}"
    elif given == ends and number["lower"] is not None and number["upper"] is not None:
        lower, upper = number["lower"].value, number["upper"].value
        repeated = {"lower": number["lower"], "upper": number["upper"]}
        default = 0.5 * (lower + upper)
        fallback = f"{written['lower']} to {written['upper']}"
    else:
        return None
    target = number["target"]
    printed = builder.printed(table, at, fallback, Kind.PRESSURE, repeated)
    if not 0.0 < lower < upper:
        builder.object_to(
            at,
            f"the band runs from {lower / BAR:.4g} bar to {upper / BAR:.4g} bar",
            "The lower end must lie below the upper one, and above nothing",
        )
        return None
    aim = default if target is None else target.value
    slack = 0.0 if target is None else target.half
    if not lower - slack <= aim <= upper + slack:
        builder.object_to(
            (*at, "target_bar"),
            f"the target of {aim / BAR:.4g} bar lies outside the band of {lower / BAR:.4g} to "
            f"{upper / BAR:.4g} bar",
            "Compare both with the document",
        )
    if len(builder.faults) > before:
        return None
    return OpeningBand(lower, upper, min(max(aim, lower), upper), printed)


def _opening(
    builder: _Builder, table: OpeningTable, at: Location
) -> tuple[OpeningBand | None, OpeningBand | None]:
    common = any(
        getattr(table, f"{key}_bar") is not None
        for key in ("lower", "upper", "nominal", "tolerance", "target")
    )
    if common and (table.new is not None or table.used is not None):
        builder.object_to(
            at,
            "the opening pressure is given for all parts and once more for new or used ones",
            "Keep [opening] alone, or [opening.new] and [opening.used]",
        )
        return None, None
    if common or (table.new is None and table.used is None):
        band = _band(builder, table, at)
        return band, band
    new = None if table.new is None else _band(builder, table.new, (*at, "new"))
    used = None if table.used is None else _band(builder, table.used, (*at, "used"))
    return new, used


def _seat(builder: _Builder, table: SeatTable, at: Location) -> SeatDemand | None:
    margin = builder.number(
        table.margin_below_opening_bar, Kind.PRESSURE, (*at, "margin_below_opening_bar")
    )
    fixed = builder.number(table.pressure_bar, Kind.PRESSURE, (*at, "pressure_bar"))
    tolerance = builder.number(table.tolerance_bar, Kind.PRESSURE, (*at, "tolerance_bar"))
    if (table.margin_below_opening_bar is None) == (table.pressure_bar is None):
        builder.miss(
            at,
            "the pressure of the hold is not told once",
            "Give margin_below_opening, or pressure where the document names a fixed one",
        )
        return None
    held = margin or fixed
    fallback = (
        f"{table.margin_below_opening_bar} below the opening pressure"
        if table.margin_below_opening_bar is not None
        else f"{table.pressure_bar}"
    )
    damp = "damp allowed" if table.damp_allowed else "dry"
    printed = builder.printed(
        table, at, f"{fallback}, {table.seconds:g} s, {damp}", Kind.PRESSURE,
        {"margin_below_opening" if margin is not None else "pressure": held},
    )  # fmt: skip
    if held is None:
        return None
    return SeatDemand(
        seconds=table.seconds,
        damp_allowed=table.damp_allowed,
        printed=printed,
        margin_pa=None if margin is None else margin.value,
        fixed_pa=None if fixed is None else fixed.value,
        # What the printed digits leave open is the least that a person can be held to.
        tolerance_pa=held.half if tolerance is None else tolerance.value,
    )


def _back_leakage(
    builder: _Builder, table: BackLeakageTable, at: Location
) -> BackLeakageDemand | None:
    start = builder.number(table.from_bar, Kind.PRESSURE, (*at, "from_bar"))
    end = builder.number(table.to_bar, Kind.PRESSURE, (*at, "to_bar"))
    viscosity = builder.number(
        table.reference_viscosity, Kind.VISCOSITY, (*at, "reference_viscosity")
    )
    compliance = builder.number(
        table.reference_compliance, Kind.COMPLIANCE, (*at, "reference_compliance")
    )
    temperature = _temperature(builder, table.reference_temperature, (*at, "reference_temperature"))
    for key, text in (
        ("reference_viscosity", table.reference_viscosity),
        ("reference_compliance", table.reference_compliance),
    ):
        if text is not None and table.reference_temperature is None:
            builder.object_to(
                (*at, key),
                f"{key} is given without reference_temperature",
                "Say at which temperature it holds",
            )
    if table.at_least_s is None and table.at_most_s is None:
        builder.miss(at, "there is no limit", "Give at_least_s, at_most_s or both")
    elif (
        table.at_least_s is not None
        and table.at_most_s is not None
        and not table.at_least_s < table.at_most_s
    ):
        builder.object_to(
            at,
            f"at_least_s = {table.at_least_s:g} is not less than at_most_s = {table.at_most_s:g}",
            "at_least_s limits a fast fall, at_most_s a slow one",
        )
    limits = [
        f"not {side} {time:g} s"
        for side, time in (("under", table.at_least_s), ("over", table.at_most_s))
        if time is not None
    ]
    fallback = f"{table.from_bar} to {table.to_bar}, {' and '.join(limits)}"
    printed = builder.printed(table, at, fallback, Kind.PRESSURE, {"from": start, "to": end})
    if start is None or end is None:
        return None
    if not start.value > end.value:
        builder.object_to(
            (*at, "to_bar"),
            f"the drop runs from {start.value / BAR:.4g} bar to {end.value / BAR:.4g} bar",
            "The pressure falls: from must be the higher one",
        )
        return None
    window = DropWindow(
        start.value,
        end.value,
        temperature,
        None
        if compliance is None
        else exact(compliance.value, "m^3/Pa", "reference of the setting sheet"),
    )
    return BackLeakageDemand(
        window=window,
        printed=printed,
        at_least_s=table.at_least_s,
        at_most_s=table.at_most_s,
        reference_viscosity_m2_per_s=None if viscosity is None else viscosity.value,
    )


_TEMPERATURE = re.compile(r"\s*([+-]?\d+(?:\.\d+)?)\s*(?:°\s*|deg\s*)?([CFK])\s*")


def _temperature(builder: _Builder, text: str | None, at: Location) -> float | None:
    if text is None:
        return None
    match = _TEMPERATURE.fullmatch(text)
    if match is None:
        builder.object_to(
            at, f"{shown(text)} is not a temperature", 'Write a number and its unit: "40 °C"'
        )
        return None
    value = float(match[1])
    kelvin = {"C": value + 273.15, "F": (value + 459.67) / 1.8, "K": value}[match[2]]
    if not 233.15 <= kelvin <= 423.15:
        builder.object_to(
            at, f"{shown(text)} is no temperature for a test bench", "Check value and unit"
        )
        return None
    return kelvin


def _leak_off(builder: _Builder, table: LeakOffTable, at: Location) -> LeakOffDemand | None:
    pressure = builder.number(table.pressure_bar, Kind.PRESSURE, (*at, "pressure_bar"))
    tolerance = builder.number(table.tolerance_bar, Kind.PRESSURE, (*at, "tolerance_bar"))
    least, most = table.at_least_drops, table.at_most_drops
    if least is None and most is None:
        builder.miss(at, "there is no limit", "Give at_least_drops, at_most_drops or both")
    elif least is not None and most is not None and least > most:
        builder.object_to(
            at,
            f"at_least_drops = {least} is more than at_most_drops = {most}",
            "Compare both with the document",
        )
    bounds = [
        f"{side} {drops}" for side, drops in (("at least", least), ("at most", most))
        if drops is not None
    ]  # fmt: skip
    fallback = f"{' and '.join(bounds)} drops in {table.seconds:g} s at {table.pressure_bar}"
    printed = builder.printed(table, at, fallback, Kind.PRESSURE, {"pressure": pressure})
    if pressure is None:
        return None
    return LeakOffDemand(
        pressure_pa=pressure.value,
        seconds=table.seconds,
        printed=printed,
        at_least_drops=least,
        at_most_drops=most,
        tolerance_pa=pressure.half if tolerance is None else tolerance.value,
    )


def _chatter(builder: _Builder, table: ChatterTable, at: Location) -> ChatterDemand:
    fallback = "any chatter" if table.weak_allowed else "clear chatter"
    printed = builder.printed(table, at, fallback, Kind.PRESSURE, {})
    return ChatterDemand(table.weak_allowed, table.minimum_openings_per_stroke, printed)


def _spray(builder: _Builder, table: SprayTable, at: Location) -> SprayDemand:
    return SprayDemand(builder.printed(table, at, "", Kind.PRESSURE, {}))


def _spread(
    builder: _Builder, table: SpreadTable, at: Location
) -> tuple[float | None, AsPrinted | None]:
    spread = builder.number(table.spread_bar, Kind.PRESSURE, (*at, "spread_bar"))
    printed = builder.printed(table, at, table.spread_bar, Kind.PRESSURE, {"spread": spread})
    return None if spread is None else spread.value, printed


def _adjustment(builder: _Builder, table: AdjustmentTable, at: Location) -> Adjustment:
    by_shim = builder.number(table.shim_effect, Kind.EFFECT, (*at, "shim_effect"))
    by_screw = builder.number(table.screw_effect, Kind.TURN, (*at, "screw_effect"))
    shim = _effect(builder, by_shim, table.shim_effect_uncertainty, Kind.EFFECT, at)
    screw = _effect(builder, by_screw, table.screw_effect_uncertainty, Kind.TURN, at)
    pitch = builder.number(table.screw_pitch, Kind.LENGTH, (*at, "screw_pitch"))
    again = builder.number(table.reassembly_bar, Kind.PRESSURE, (*at, "reassembly_bar"))
    sizes = _shim_sizes(builder, table, at)
    effects = "; ".join(text for text in (table.shim_effect, table.screw_effect) if text)
    printed = builder.printed(table, at, effects, Kind.EFFECT, {"shim_effect": by_shim})
    return Adjustment(
        shim_effect_pa_per_m=shim,
        shim_sizes_m=sizes,
        shim_stack_allowed=table.stack_allowed,
        screw_pa_per_turn=screw,
        screw_pitch_m=None if pitch is None else pitch.value,
        reassembly_pa=None if again is None else again.value,
        printed=printed if printed.text else None,
    )


def _effect(
    builder: _Builder, value: Digits | None, doubt: str | None, kind: Kind, at: Location
) -> Quantity | None:
    key = "shim_effect" if kind is Kind.EFFECT else "screw_effect"
    place = (*at, f"{key}_uncertainty")
    if value is None:
        if doubt is not None and not builder.faults:
            builder.object_to(place, f"there is no {key} to which it belongs", f"Give {key}")
        return None
    if doubt is None:
        # Only the rounding of the printed digits is known: rectangular (JCGM 100:2008, 4.3.7).
        part = value.half / math.sqrt(3.0)
        method = say("from the sheet, doubt from its rounding alone")
    else:
        share = re.fullmatch(r"\s*(\d{1,3}(?:\.\d+)?)\s*%\s*", doubt)
        stated = None if share else builder.number(doubt, kind, place)
        if share is None and stated is None:
            return None
        part = value.value * float(share[1]) / 100.0 if share else stated.value if stated else 0.0
        method = say("from the sheet")
    if not part < value.value:
        builder.object_to(place, f"{shown(doubt)} is as large as {key} itself", "Check both")
        return None
    unit = "Pa/m" if kind is Kind.EFFECT else "Pa"
    return Quantity(value.value, unit, {Cause(key.replace("_", " "), "sheet"): part}, method)


def _shim_sizes(builder: _Builder, table: AdjustmentTable, at: Location) -> tuple[float, ...]:
    if table.shim_sizes is not None and table.shim_range is not None:
        builder.object_to(
            (*at, "shim_range"), "the shims are told twice", "Keep shim_sizes or shim_range"
        )
        return ()
    if table.shim_sizes is not None:
        sizes = [
            builder.number(text, Kind.LENGTH, (*at, "shim_sizes")) for text in table.shim_sizes
        ]
        return tuple(sorted({round(one.value, 9) for one in sizes if one is not None}))
    if table.shim_range is None:
        return ()
    place = (*at, "shim_range")
    thin, thick, step = (
        builder.number(getattr(table.shim_range, key), Kind.LENGTH, (*place, key))
        for key in ("thinnest", "thickest", "step")
    )
    if thin is None or thick is None or step is None:
        return ()
    count = (thick.value - thin.value) / step.value
    if count < 0.0 or count > MOST_SHIMS or abs(count - round(count)) > 1e-6:
        builder.object_to(
            place,
            f"steps of {step.value * 1e3:g} mm do not lead from {thin.value * 1e3:g} to "
            f"{thick.value * 1e3:g} mm",
            f"Give thinnest, thickest and a step that divides the way between them (at most "
            f"{MOST_SHIMS} sizes)",
        )
        return ()
    return tuple(round(thin.value + index * step.value, 9) for index in range(round(count) + 1))


def _geometry(builder: _Builder, table: NozzleTable, at: Location) -> NozzleGeometry:
    length = {
        key: builder.number(getattr(table, key), Kind.LENGTH, (*at, key))
        for key in ("guide_diameter", "seat_diameter", "guide_length", "body_diameter")
    }
    rate = builder.number(table.spring_rate, Kind.RATE, (*at, "spring_rate"))
    for smaller, larger in (
        ("seat_diameter", "guide_diameter"),
        ("guide_diameter", "body_diameter"),
    ):
        a, b = length[smaller], length[larger]
        if a is not None and b is not None and not a.value < b.value:
            builder.object_to(
                (*at, smaller),
                f"{smaller} of {a.value * 1e3:g} mm is not less than {larger} of "
                f"{b.value * 1e3:g} mm",
                "Compare both with the drawing",
            )
    for key, one in length.items():
        if one is not None and not 1e-4 <= one.value <= 0.5:
            builder.object_to(
                (*at, key), f"{one.value * 1e3:g} mm is no {key} of a nozzle", "Check the unit"
            )
    return NozzleGeometry(
        guide_diameter_m=_or_none(length["guide_diameter"]),
        seat_diameter_m=_or_none(length["seat_diameter"]),
        guide_length_m=_or_none(length["guide_length"]),
        body_diameter_m=_or_none(length["body_diameter"]),
        spring_rate_n_per_m=_or_none(rate),
        two_spring=table.two_spring,
    )


_SPRING_LENGTHS = (
    "least_free_length", "wire_diameter", "mean_diameter", "outer_diameter", "solid_length",
    "loaded_length", "needle_lift",
)  # fmt: skip


def _spring(builder: _Builder, table: SpringTable, at: Location) -> HolderSpring:
    free = builder.value(table.free_length, Kind.LENGTH, (*at, "free_length"), span=True)
    length = {
        key: builder.number(getattr(table, key), Kind.LENGTH, (*at, key)) for key in _SPRING_LENGTHS
    }
    load = builder.number(table.load, Kind.FORCE, (*at, "load"))
    repeated = {"free_length": None if free is None else free.first[0], **length}
    printed = builder.printed(table, at, "", Kind.LENGTH, repeated)
    if (load is None) != (length["loaded_length"] is None):
        builder.miss(
            at,
            "a load belongs to a loaded_length, and the other way round",
            "Give both, or neither",
        )
    low, high = (None, None) if free is None else free.band
    if low is not None and high is not None and not low.value <= high.value:
        builder.object_to(
            (*at, "free_length"), f"{shown(table.free_length)} is not from low to high", "Check it"
        )
    middle = None if low is None or high is None else 0.5 * (low.value + high.value)
    half = 0.0
    if low is not None and high is not None:
        half = 0.5 * (high.value - low.value) or low.half
    spring = HolderSpring(
        free_length_m=middle,
        free_length_half_m=half,
        least_free_length_m=_or_none(length["least_free_length"]),
        wire_diameter_m=_or_none(length["wire_diameter"]),
        coil_diameter_m=_coil_diameter(builder, length, at),
        active_coils=table.active_coils,
        total_coils=table.total_coils,
        solid_length_m=_or_none(length["solid_length"]),
        load_n=_or_none(load),
        loaded_length_m=_or_none(length["loaded_length"]),
        needle_lift_m=_or_none(length["needle_lift"]),
        printed=printed if table.printed else None,
    )
    for key, what, remedy in spring_objections(spring):
        builder.object_to((*at, key), what, remedy)
    return spring


def _coil_diameter(
    builder: _Builder, length: Mapping[str, Digits | None], at: Location
) -> float | None:
    """Return the mean diameter of the coils: as printed, else the outer one less the wire."""
    mean, outer, wire = (length[f"{key}_diameter"] for key in ("mean", "outer", "wire"))
    if outer is not None and wire is not None:
        follows = Digits(outer.value - wire.value, outer.half + wire.half)
        if mean is None:
            if follows.value <= 0.0:
                builder.object_to(
                    (*at, "outer_diameter"), "the wire is as thick as the spring", "Check both"
                )
                return None
            return follows.value
        if not mean.agrees_with(follows):
            builder.object_to(
                (*at, "mean_diameter"),
                f"the mean diameter of {mean.value * 1e3:g} mm is not the outer one less the "
                f"wire, {follows.value * 1e3:g} mm",
                "Compare the three with the drawing, and keep two of them",
            )
    elif outer is not None and mean is None:
        builder.miss(
            (*at, "outer_diameter"),
            "the outer diameter is of no use without that of the wire",
            "Give wire_diameter, or mean_diameter",
        )
    return _or_none(mean)


def _or_none(number: Digits | None) -> float | None:
    return None if number is None else number.value


def _torque(builder: _Builder, table: TorqueTable, at: Location) -> Torque | None:
    value = builder.value(table.value, Kind.TORQUE, (*at, "value"), span=True)
    keys: dict[str, Digits | None] = {}
    if value is not None:
        keys = {"value": value.first[0]}
    printed = builder.printed(table, at, table.value, Kind.TORQUE, keys)
    if value is None:
        return None
    low, high = value.band
    if not 0.0 < low.value <= high.value:
        builder.object_to(
            (*at, "value"), f"{shown(table.value)} is not from low to high", "Check it"
        )
        return None
    return Torque(table.part, low.value, high.value, printed)


def _steps(builder: _Builder, table: StepsTable, at: Location) -> StepPlan:
    plan = StepPlan(
        frozenset(table.leave_out),
        tuple(AddedStep(one.key, one.title, one.after, one.text) for one in table.add),
    )
    try:
        steps_of(plan)
    except ValueError as fault:
        known = ", ".join(step.key for step in TRADE_ORDER)
        builder.object_to(at, str(fault), f"The steps of the trade are: {known}")
        return StepPlan()
    return plan


def _across(builder: _Builder, built: _Built, sections: Mapping[str, Any]) -> None:
    """Check what only several sections together can tell."""
    if built.spring is not None:
        stated = built.geometry.spring_rate_n_per_m
        for what, remedy in rates_apart(built.spring, stated):
            builder.object_to(("spring",), what, remedy)
    bands = [band for band in built.opening if band is not None]
    seat = built.seat
    if seat is not None and seat.margin_pa is not None:
        if "opening" in sections and sections["opening"] is not None:
            for band in bands:
                if seat.margin_pa >= band.lower_pa:
                    builder.object_to(
                        ("seat", "margin_below_opening_bar"),
                        f"a margin of {seat.margin_pa / BAR:.4g} bar below an opening pressure of "
                        f"{band.lower_pa / BAR:.4g} bar leaves nothing",
                        "Check the units of both; a fixed pressure is given as pressure",
                    )
                    break
    elif seat is not None and seat.fixed_pa is not None:
        for band in bands:
            if seat.fixed_pa >= band.upper_pa:
                builder.object_to(
                    ("seat", "pressure_bar"),
                    f"a hold at {seat.fixed_pa / BAR:.4g} bar lies above the opening pressure of "
                    f"{band.upper_pa / BAR:.4g} bar",
                    "Check the units of both; a margin is given as margin_below_opening",
                )
                break
