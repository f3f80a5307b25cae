"""The setting sheet: what is asked of an injector, and who says so.

Every limit of a verdict comes from here. There are no built-in limits; what the sheet leaves
out is not judged.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from nozzlewright.bench.conditions import DropWindow, NozzleGeometry
from nozzlewright.bench.steps import StepPlan
from nozzlewright.measurement import Quantity


class Condition(StrEnum):
    """Which of the sheet's opening bands applies."""

    NEW = "new"
    """New or overhauled parts: the spring has yet to settle."""
    USED = "used"


class DecisionRule(StrEnum):
    """How a measured value is held against a limit."""

    GUARDED = "guarded"
    """ISO 14253-1: pass where conformity is proved at 95 %, fail where it is disproved."""
    SIMPLE = "simple"
    """Simple acceptance (JCGM 106:2012, 8.2): the measured value decides."""


@dataclass(frozen=True)
class AsPrinted:
    """A limit as the document prints it, kept for the report."""

    text: str
    """Value and unit as printed: ``175-183 at``."""
    where: str = ""
    """Page or line, where it differs from the sheet's own source."""


@dataclass(frozen=True)
class OpeningBand:
    """Band for the opening pressure."""

    lower_pa: float
    upper_pa: float
    target_pa: float
    """What to set to, inside the band."""
    printed: AsPrinted


@dataclass(frozen=True)
class SeatDemand:
    """Seat tightness: a pressure held below the opening pressure, tip watched."""

    seconds: float
    damp_allowed: bool
    printed: AsPrinted
    margin_pa: float | None = None
    """How far below the opening pressure found; or None for a fixed pressure."""
    fixed_pa: float | None = None
    """A fixed pressure; or None for a margin."""
    tolerance_pa: float = 0.0
    """How far margin or pressure of a hold may be off and still count as this demand's."""


@dataclass(frozen=True)
class BackLeakageDemand:
    """Leakage past the needle guide, as the time of a fall of pressure."""

    window: DropWindow
    printed: AsPrinted
    at_least_s: float | None = None
    """The drop must not take less (a limit on leakage)."""
    at_most_s: float | None = None
    """The drop must not take more (a *minimum* leakage)."""
    reference_viscosity_m2_per_s: float | None = None
    """Kinematic viscosity of the fluid for which the limit holds; None: the fluid on the bench."""


@dataclass(frozen=True)
class LeakOffDemand:
    """Leakage past the needle guide, as drops counted at the leak-off."""

    pressure_pa: float
    """Pressure held while they are counted."""
    seconds: float
    printed: AsPrinted
    at_least_drops: int | None = None
    """Not fewer (a *minimum* leakage)."""
    at_most_drops: int | None = None
    """Not more."""
    tolerance_pa: float = 0.0
    """How far the pressure held may be off and still count as this demand's."""


@dataclass(frozen=True)
class ChatterDemand:
    """What the sheet asks of chatter; None where it is silent."""

    weak_allowed: bool
    """Whether any chatter will do."""
    minimum_openings_per_stroke: float | None
    printed: AsPrinted


@dataclass(frozen=True)
class SprayDemand:
    """What a good spray is, in the sheet's words."""

    printed: AsPrinted


@dataclass(frozen=True)
class Adjustment:
    """How the opening pressure is set, as far as it is known."""

    shim_effect_pa_per_m: Quantity | None = None
    """Rise of opening pressure for shim thickness added, [Pa/m]."""
    shim_sizes_m: tuple[float, ...] = ()
    """Thicknesses to be had, [m]."""
    shim_stack_allowed: bool = False
    screw_pa_per_turn: Quantity | None = None
    """Rise of opening pressure for one turn of the adjusting screw inwards, [Pa]."""
    screw_pitch_m: float | None = None
    reassembly_pa: float | None = None
    """Standard uncertainty of the opening pressure from one assembly to the next (lock nut,
    spring settling); None where nobody has stated it."""
    printed: AsPrinted | None = None


@dataclass(frozen=True)
class HolderSpring:
    """Particulars of the holder's spring, each None where the sheet leaves it out."""

    free_length_m: float | None = None
    """Length without load, [m]."""
    free_length_half_m: float = 0.0
    """How far it may be off: the tolerance printed, else the rounding of the digits, [m]."""
    least_free_length_m: float | None = None
    """A spring that is shorter than this is renewed, [m]."""
    wire_diameter_m: float | None = None
    coil_diameter_m: float | None = None
    """Mean diameter of the coils, [m]."""
    active_coils: float | None = None
    total_coils: float | None = None
    """Active and dead coils together."""
    solid_length_m: float | None = None
    """Length with all coils shut, as printed, [m]."""
    load_n: float | None = None
    """Test load, [N]."""
    loaded_length_m: float | None = None
    """Length under the test load, [m]."""
    needle_lift_m: float | None = None
    """How far the needle lifts, and so how much further the spring is pressed then, [m]."""
    printed: AsPrinted | None = None


@dataclass(frozen=True)
class Torque:
    """A tightening torque."""

    part: str
    low_nm: float
    high_nm: float
    printed: AsPrinted


@dataclass(frozen=True)
class SettingSheet:
    """What is asked of one kind of injector."""

    title: str
    injector: str
    """Description of the injector."""
    source: str
    """Document, edition and page."""
    invented: bool
    """True for an example that belongs to no engine."""
    opening_new: OpeningBand | None
    opening_used: OpeningBand | None
    seat: SeatDemand | None
    back_leakage: BackLeakageDemand | None
    chatter: ChatterDemand | None
    spray: SprayDemand | None
    spread_pa: float | None
    """Largest opening pressure of a set less the smallest."""
    adjustment: Adjustment
    geometry: NozzleGeometry
    torques: tuple[Torque, ...]
    washer: str
    rule: DecisionRule = DecisionRule.GUARDED
    digest: str = ""
    leak_off: LeakOffDemand | None = None
    spread_printed: AsPrinted | None = None
    steps: StepPlan = field(default_factory=StepPlan)
    """Steps that it leaves out or adds."""
    spring: HolderSpring | None = None
    """Particulars of the holder's spring; of a two-spring holder none."""

    def opening_band(self, condition: Condition) -> OpeningBand | None:
        """Return the band for new or for used parts."""
        return self.opening_new if condition is Condition.NEW else self.opening_used
