"""Practice at the pretend bench: a hidden fault to find, and what the finding is worth.

Everything is invented: customers, injectors, setting sheets. The bench is that of the demo set.
What an outcome is due for follows the trade's order: less is tried before more, so a dirty seat is
cleaned and a setting is adjusted; only a worn guide is exchanged as found.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

import numpy as np
from scipy.optimize import brentq

from nozzlewright.bench import (
    Adjustment,
    AsPrinted,
    BackLeakageDemand,
    BenchConditions,
    ChatterDemand,
    DropWindow,
    InspectionFinding,
    OpeningBand,
    SeatDemand,
    SettingSheet,
    Severity,
    SprayDemand,
)
from nozzlewright.errors import Fault, InputFault
from nozzlewright.measurement import Cause, Quantity
from nozzlewright.said import Said, as_data, figure, in_bar, joined, say
from nozzlewright.simulator import truth as exact
from nozzlewright.simulator.demo import (
    OIL,
    REFERENCE_COMPLIANCE,
    REFERENCE_K,
    RIG,
    SENSOR,
    SOUND,
    WINDOW_PA,
    demo_conditions,
)
from nozzlewright.simulator.models import BenchSetup, InjectorModel, RigModel
from nozzlewright.simulator.worked import INTO_SKIN_PA, Looks, WorkedBench

BAR = 1e5

FIT, ADJUST, REWORK, EXCHANGE = "fit", "adjust", "rework", "exchange"
DECISIONS = (FIT, ADJUST, REWORK, EXCHANGE)
"""What can be decided, in the words of a verdict's outcome."""


class HiddenFault(StrEnum):
    """What can be wrong, or not."""

    NONE = "no fault"
    LOW_OPENING = "low opening pressure"
    HIGH_OPENING = "high opening pressure"
    LEAKING_SEAT = "leaking seat"
    WORN_SEAT = "worn seat"
    WORN_GUIDE = "worn guide"
    STICKING_NEEDLE = "sticking needle"
    BLOCKED_HOLE = "blocked hole"
    LEAKING_RIG = "leaking rig"
    AIR_IN_RIG = "air in the rig"


FAULTS: dict[str, Said] = {
    HiddenFault.NONE: say("the injector is sound, and so is the rig"),
    HiddenFault.LOW_OPENING: say("the spring has settled, or the shim is too thin"),
    HiddenFault.HIGH_OPENING: say("the shim is too thick"),
    HiddenFault.LEAKING_SEAT: say(
        "dirt in the seat: a drop gathers at the tip while pressure is held"
    ),
    HiddenFault.WORN_SEAT: say(
        "the seat is pounded wide: it weeps at the opening and does not pop"
    ),
    HiddenFault.WORN_GUIDE: say("oil runs back past the needle, and the pressure falls too fast"),
    HiddenFault.STICKING_NEEDLE: say(
        "lacquer on the needle: it lifts late, each time at another pressure"
    ),
    HiddenFault.BLOCKED_HOLE: say("carbon shuts a hole: a jet is missing"),
    HiddenFault.LEAKING_RIG: say("the pump's valve leaks, the injector does not"),
    HiddenFault.AIR_IN_RIG: say("the lever is soft and the fall is slow until the air is bled"),
}
"""What can be named as the fault, and what it is."""

LEAST_DROP_S, MOST_DROP_S = 8.0, 60.0
BAND_PA = 5e5
"""Half the width of the invented sheets' opening band, [Pa]."""
SEAT_MARGIN_PA, SEAT_S = 20e5, 10.0


class Part(StrEnum):
    """What points are given for."""

    DECISION = "decision"
    FAULT = "fault"
    OPENING = "opening pressure"
    ORDER = "order of work"


SHARES = {Part.DECISION: 40, Part.FAULT: 25, Part.OPENING: 15, Part.ORDER: 20}
"""Points to be had; common practice, no source."""
CLOSE_PA, NEAR_PA = 3e5, 6e5
"""Errors of the stated opening pressure for all and for half of its points, [Pa]: a dial of class
0.5 over 400 bar may be 2 bar off, and half a division is 1 bar more."""
PLUG_HOLD_S, PLUG_HOLD_PA = 10.0, 50e5
"""Shortest hold, and least pressure, with the blank plug that tells anything of the rig; common
practice, no source."""

AS_FOUND_OPENINGS = 3
"""Openings that make a reading as found; common practice, no source."""


@dataclass(frozen=True)
class PracticeCase:
    """One injector on the bench, with what is hidden."""

    name: str
    """One of :data:`CASES`; part of what is hidden."""
    level: int
    story: str
    """What the customer says."""
    sheet: SettingSheet
    """Invented setting sheet."""
    conditions: BenchConditions
    """What is known of the bench, each a little off the truth."""
    bench: WorkedBench
    """Worked by whoever practises; knows the truth."""
    fault: str
    """One of :data:`FAULTS`."""
    decision_due: str
    """One of :data:`DECISIONS`."""
    why: str
    """Why that is due, for afterwards."""
    values: dict[str, float]
    """True values, SI units named in the keys."""

    def truth(self) -> dict[str, Any]:
        """Return all that was hidden, fit for JSON; texts as in :meth:`PracticeScore.as_data`."""
        return {
            "case": self.name,
            "level": self.level,
            "fault": str(self.fault),
            "what_it_is": as_data(FAULTS[self.fault]),
            "decision_due": self.decision_due,
            "why": as_data(self.why),
            "values": dict(self.values),
        }


@dataclass(frozen=True)
class ScorePart:
    """Points for one part, with the reason in plain words."""

    name: Part
    points: int
    most: int
    reason: str


@dataclass(frozen=True)
class PracticeScore:
    """What was decided, beside what was true."""

    parts: tuple[ScorePart, ...]
    minutes: float
    """How long it took; noted, never scored: a hurried test is a wrong one."""
    decided: str
    named_fault: str
    opening_said_pa: float | None
    truth: dict[str, Any]

    @property
    def points(self) -> int:
        """Points in all, of :attr:`most`."""
        return sum(part.points for part in self.parts)

    @property
    def most(self) -> int:
        """Points that were to be had."""
        return sum(part.most for part in self.parts)

    def as_data(self) -> dict[str, Any]:
        """Return it as plain data, fit for JSON.

        Texts are those of :func:`nozzlewright.said.as_data`, so that they can be said again in
        another language.
        """
        return {
            "points": self.points,
            "most": self.most,
            "minutes": self.minutes,
            "decided": self.decided,
            "named_fault": self.named_fault,
            "opening_said_pa": self.opening_said_pa,
            "parts": [
                {
                    "name": str(part.name),
                    "points": part.points,
                    "most": part.most,
                    "reason": as_data(part.reason),
                }
                for part in self.parts
            ],
            "truth": self.truth,
        }


@dataclass(frozen=True)
class _Hidden:
    """What a case puts on the bench."""

    story: str
    fault: str
    decision: str
    why: str
    opening_off_pa: float
    """Opening pressure seen, friction included, less the sheet's target."""
    reference_s: float
    """Drop of a tight seat at the sheet's reference conditions."""
    celsius: float
    drop_forms_in_s: float | None = None
    """Time in which a drop gathers at the tip while the seat is held; None: tight."""
    friction_n: float = 1.0
    friction_scatter: float = 0.1
    weeps: float = 0.0
    """Flow that a worn seat passes before it lifts, over that of a slow stroke."""
    rig_share: float = 0.0
    """The rig's leak over the injector's."""
    air: float = 0.0
    looks: Looks = Looks()  # noqa: RUF009 - frozen
    cured: bool = True
    """Whether strip and cleaning cure it."""


def _sound(rng: np.random.Generator) -> dict[str, Any]:
    return {
        "opening_off_pa": float(rng.uniform(-1.5e5, 1.5e5)),
        "reference_s": float(rng.uniform(13.0, 22.0)),
        "celsius": float(rng.uniform(13.0, 21.0)),
    }


def _found(part: str, seen: str, severity: Severity) -> Looks:
    return Looks(parts=(InspectionFinding(part, seen, severity),))


def _good_injector(rng: np.random.Generator) -> _Hidden:
    return _Hidden(
        story=say("Taken out with its sisters at the yearly service. The engine ran well."),
        fault=HiddenFault.NONE,
        decision=FIT,
        why=say("Every test is inside the sheet. A sound injector is left alone."),
        **_sound(rng),
    )


def _low_opening(rng: np.random.Generator) -> _Hidden:
    known = _sound(rng) | {"opening_off_pa": -float(rng.uniform(11e5, 22e5))}
    return _Hidden(
        story=say("One cylinder knocks, and its exhaust is grey when the engine is cold."),
        fault=HiddenFault.LOW_OPENING,
        decision=ADJUST,
        why=say("It opens too early and is sound otherwise: a thicker shim brings it back."),
        looks=_found(say("spring"), say("a little shorter than a new one"), Severity.NOTE),
        **known,
    )


def _high_opening(rng: np.random.Generator) -> _Hidden:
    known = _sound(rng) | {"opening_off_pa": float(rng.uniform(11e5, 20e5))}
    return _Hidden(
        story=say(
            "Put together by somebody else last month. Since then the engine pulls unevenly."
        ),
        fault=HiddenFault.HIGH_OPENING,
        decision=ADJUST,
        why=say("It opens too late and is sound otherwise: a thinner shim brings it back."),
        **known,
    )


def _leaking_seat(rng: np.random.Generator) -> _Hidden:
    return _Hidden(
        story=say("Smokes at idle and starts badly. The tip was wet when it came out."),
        fault=HiddenFault.LEAKING_SEAT,
        decision=REWORK,
        why=say(
            "A drop forms at the tip while it is held below the opening: clean it and test again."
        ),
        drop_forms_in_s=float(rng.uniform(3.0, 5.5)),
        looks=_found(say("needle"), say("carbon on the seat cone"), Severity.NOTE),
        **_sound(rng),
    )


def _worn_seat(rng: np.random.Generator) -> _Hidden:
    return _Hidden(
        story=say("Black smoke under load, and it uses more fuel than it did."),
        fault=HiddenFault.WORN_SEAT,
        decision=REWORK,
        why=say(
            "It weeps at the opening without a pop and does not chatter, so it sprays badly: clean "
            "and test again. If it stays so, the pair is due."
        ),
        weeps=float(rng.uniform(2.5, 4.0)),
        looks=_found(say("nozzle body"), say("seat pounded wide"), Severity.REWORK),
        cured=False,
        **_sound(rng),
    )


def _worn_guide(rng: np.random.Generator) -> _Hidden:
    known = _sound(rng)
    known |= {"reference_s": float(rng.uniform(3.0, 5.0)), "celsius": float(rng.uniform(27, 35))}
    return _Hidden(
        story=say("Hard to start when hot, and much oil comes from the leak-off."),
        fault=HiddenFault.WORN_GUIDE,
        decision=EXCHANGE,
        why=say(
            "Tip and joints are dry and the rig is tight, so the oil runs back past the needle. No "
            "cleaning mends a worn guide: needle and body are exchanged as a pair."
        ),
        looks=_found(say("needle"), say("bright streaks along the guide"), Severity.NOTE),
        cured=False,
        **known,
    )


def _sticking_needle(rng: np.random.Generator) -> _Hidden:
    return _Hidden(
        story=say("The engine hunts at idle with blue-white smoke. It stood for two winters."),
        fault=HiddenFault.STICKING_NEEDLE,
        decision=REWORK,
        why=say(
            "Each opening is at another pressure and the chatter is weak: lacquer on the needle. "
            "Clean it and test again before anything is set."
        ),
        friction_n=float(rng.uniform(16.0, 22.0)),
        friction_scatter=0.4,
        looks=_found(say("needle"), say("brown lacquer on the guide"), Severity.NOTE),
        **_sound(rng),
    )


def _blocked_hole(rng: np.random.Generator) -> _Hidden:
    parts = (InspectionFinding(say("nozzle tip"), say("one hole full of carbon"), Severity.NOTE),)
    return _Hidden(
        story=say("Low power, one exhaust is cooler than the others."),
        fault=HiddenFault.BLOCKED_HOLE,
        decision=REWORK,
        why=say("One jet of four is missing: clear the hole and test again."),
        looks=Looks(blocked_holes=1, parts=parts),
        **_sound(rng),
    )


def _cold_oil(rng: np.random.Generator) -> _Hidden:
    known = _sound(rng)
    known |= {"reference_s": float(rng.uniform(5.2, 6.0)), "celsius": float(rng.uniform(8, 12))}
    return _Hidden(
        story=say("Hard to start when hot. It was tested elsewhere on a cold morning, and passed."),
        fault=HiddenFault.WORN_GUIDE,
        decision=EXCHANGE,
        why=say(
            "As shown the fall takes long enough, but the oil is cold and thick. At the sheet's "
            "40 °C it is too quick: the guide is worn, and the pair is exchanged."
        ),
        cured=False,
        **known,
    )


def _leaking_rig(rng: np.random.Generator) -> _Hidden:
    known = _sound(rng)
    known |= {"reference_s": float(rng.uniform(18.0, 24.0))}
    return _Hidden(
        story=say("Sent in with five others; the shop before condemned the guide of every one."),
        fault=HiddenFault.LEAKING_RIG,
        decision=FIT,
        why=say(
            "The pressure falls too fast with the blank plug as well. With the rig made tight, or "
            "its own leak taken off, the injector is sound."
        ),
        rig_share=float(rng.uniform(2.0, 3.0)),
        cured=False,
        **known,
    )


def _air_in_the_rig(rng: np.random.Generator) -> _Hidden:
    return _Hidden(
        story=say("From a set that was tested with no result: the figures would not repeat."),
        fault=HiddenFault.AIR_IN_RIG,
        decision=FIT,
        why=say(
            "Air made the lever soft and the fall slow. Bled with strokes through the open release "
            "valve, every test is inside the sheet."
        ),
        air=float(rng.uniform(0.12, 0.18)),
        cured=False,
        **_sound(rng),
    )


_DRAWN: dict[str, tuple[int, Callable[[np.random.Generator], _Hidden]]] = {
    "good injector": (1, _good_injector),
    "low opening": (1, _low_opening),
    "high opening": (1, _high_opening),
    "leaking seat": (1, _leaking_seat),
    "worn guide": (2, _worn_guide),
    "sticking needle": (2, _sticking_needle),
    "blocked hole": (2, _blocked_hole),
    "worn seat": (2, _worn_seat),
    "cold oil flatters a worn guide": (3, _cold_oil),
    "leaking rig": (3, _leaking_rig),
    "air in the rig": (3, _air_in_the_rig),
}

CASES = {name: level for name, (level, _) in _DRAWN.items()}
"""Every case with the level at which it is new."""
LEVELS = (1, 2, 3)


def draw_case(rng: np.random.Generator, level: int, name: str | None = None) -> PracticeCase:
    """Draw an injector with its story and its hidden fault.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of all chance: the same one gives the same case
    level : int
        1 to 3. Draws among the cases that are new at this level and, so that nobody knows that
        something must be wrong, the good injector.
    name : str, optional
        One of :data:`CASES`; None draws one

    Raises
    ------
    InputFault
        If there is no such level or case.
    """
    if level not in LEVELS:
        raise InputFault(Fault(f"level {level}", "practice", "Give 1, 2 or 3."))
    if name is None:
        name = str(
            rng.choice([n for n, at in CASES.items() if at == level or n == "good injector"])
        )
    if name not in _DRAWN:
        known = ", ".join(_DRAWN)
        raise InputFault(Fault(f"unknown case {name!r}", "practice", f"Give one of {known}."))
    hidden = _DRAWN[name][1](rng)
    target = float(rng.choice([190e5, 200e5, 210e5]))
    setup, injector, sound = _on_the_bench(hidden, target)
    bench = WorkedBench(
        setup,
        injector,
        SENSOR,
        rng.spawn(1)[0],
        looks=hidden.looks,
        cleaned=(sound, Looks()) if hidden.cured else None,
        shim_m=round(float(rng.uniform(1.2e-3, 1.6e-3)) / 5e-5) * 5e-5,
    )
    return PracticeCase(
        name=name,
        level=level,
        story=hidden.story,
        sheet=practice_sheet(target),
        conditions=_known(setup, rng),
        bench=bench,
        fault=hidden.fault,
        decision_due=hidden.decision,
        why=hidden.why,
        values=_true_values(setup, injector),
    )


def _on_the_bench(
    hidden: _Hidden, target_pa: float
) -> tuple[BenchSetup, InjectorModel, InjectorModel]:
    """Return the bench, the injector as it is, and as it is once cleaning has cured it."""
    rig: RigModel = replace(RIG)
    if hidden.air:
        rig = replace(rig, air_share=hidden.air, air_residual=0.8 * hidden.air)
    setup = BenchSetup(rig, OIL, 273.15 + hidden.celsius, REFERENCE_K, REFERENCE_COMPLIANCE)
    area = SOUND.guide_area - SOUND.seat_area
    seen = target_pa + hidden.opening_off_pa
    sound = replace(SOUND, opening_pressure_pa=seen - SOUND.friction_n / area)
    sound = _with_drop(setup, sound, hidden.reference_s)
    injector = replace(
        sound,
        opening_pressure_pa=seen - hidden.friction_n / area,
        friction_n=hidden.friction_n,
        friction_scatter=hidden.friction_scatter,
        holes_area_m2=sound.holes_area_m2 * (1.0 - hidden.looks.blocked_holes / 4),
    )
    if hidden.drop_forms_in_s is not None:
        # A drop that falls is some 15 mm3; the leak is stated at the reference viscosity.
        flow = 15e-9 / hidden.drop_forms_in_s / (seen - SEAT_MARGIN_PA)
        leak = flow / exact.viscosity_ratio(setup, setup.temperature_k)
        injector = replace(injector, seat_leak_conductance=leak)
    if hidden.weeps:
        # The pressure is in the seat's face already, so nothing is left to snap with.
        speed = math.sqrt(2.0 * seen / OIL.density(setup.temperature_k))
        injector = replace(
            injector,
            seat_width_m=0.0,
            weep_area_m2=hidden.weeps * 0.3e-6 / speed,
            weep_margin_pa=4e5,
        )
    if hidden.rig_share:
        warm = setup.temperature_k
        leak = exact.injector_conductance(setup, injector, WINDOW_PA[0], warm)
        leak *= hidden.rig_share / exact.viscosity_ratio(setup, warm)
        setup = replace(setup, rig=replace(rig, leak_conductance=leak))
    return setup, injector, sound


def _with_drop(setup: BenchSetup, injector: InjectorModel, seconds: float) -> InjectorModel:
    """Give the guide the clearance with which the drop at reference takes so long."""

    def too_slow_by(clearance_m: float) -> float:
        trial = replace(injector, diametral_clearance_m=clearance_m)
        return _drop_at_reference(setup, trial) - seconds

    return replace(injector, diametral_clearance_m=float(brentq(too_slow_by, 1e-6, 15e-6)))


def _drop_at_reference(setup: BenchSetup, injector: InjectorModel) -> float:
    return exact.drop_time(
        setup,
        injector,
        *WINDOW_PA,
        setup.reference_temperature_k,
        reference_compliance=setup.reference_compliance,
    )


def _true_values(setup: BenchSetup, injector: InjectorModel) -> dict[str, float]:
    area = injector.guide_area - injector.seat_area
    at_bench = setup.temperature_k
    return {
        "opening_pressure_pa": injector.opening_pressure_pa + injector.friction_n / area,
        "drop_from_pa": WINDOW_PA[0],
        "drop_to_pa": WINDOW_PA[1],
        "drop_at_reference_s": _drop_at_reference(setup, injector),
        "drop_as_shown_s": exact.drop_time(
            setup, injector, *WINDOW_PA, at_bench, with_rig_leak=True
        ),
        "oil_temperature_k": at_bench,
        "rig_leak_share": exact.rig_conductance(
            setup, setup.rig.leak_conductance, WINDOW_PA[0], at_bench
        )
        / exact.injector_conductance(setup, injector, WINDOW_PA[0], at_bench),
        "air_share": max(setup.rig.air_share, setup.rig.air_residual),
    }


def _known(setup: BenchSetup, rng: np.random.Generator) -> BenchConditions:
    """Return what the practice bench's own sheet says of it: the thermometer reads a little off."""
    conditions = demo_conditions()
    read = round(setup.temperature_k + float(rng.uniform(-0.3, 0.3)) - 273.15, 1) + 273.15
    plug = conditions.blank_plug
    return replace(
        conditions,
        oil_temperature=Quantity(
            read, "K", {Cause("temperature", conditions.sitting): 0.3}, "thermometer in the oil"
        ),
        blank_plug=plug and replace(plug, temperature_k=read),
        opening_target_pa=None,
    )


def practice_sheet(target_pa: float) -> SettingSheet:
    """Return the invented setting sheet for an opening pressure, [Pa]."""

    def band(low: float, high: float, target: float) -> OpeningBand:
        text = f"{low / BAR:.0f} to {high / BAR:.0f} bar"
        return OpeningBand(low, high, target, AsPrinted(text))

    new = target_pa + 8e5
    return SettingSheet(
        title=f"Practice sheet: four holes, {target_pa / BAR:.0f} bar",
        injector="invented holder with one spring, four-hole nozzle, set by shims",
        source="invented for practice; belongs to no engine",
        invented=True,
        opening_new=band(new - 4e5, new + 4e5, new),
        opening_used=band(target_pa - BAND_PA, target_pa + BAND_PA, target_pa),
        seat=SeatDemand(
            seconds=SEAT_S,
            damp_allowed=True,
            printed=AsPrinted(
                f"{SEAT_MARGIN_PA / BAR:.0f} bar below opening for {SEAT_S:.0f} s, damp allowed, "
                "no drop"
            ),
            margin_pa=SEAT_MARGIN_PA,
            tolerance_pa=4e5,
        ),
        back_leakage=BackLeakageDemand(
            window=DropWindow(
                *WINDOW_PA,
                reference_temperature_k=REFERENCE_K,
                reference_compliance=Quantity(REFERENCE_COMPLIANCE, "m^3/Pa", method="reference"),
            ),
            printed=AsPrinted("150 to 100 bar in not less than 8 and not more than 60 s at 40 °C"),
            at_least_s=LEAST_DROP_S,
            at_most_s=MOST_DROP_S,
        ),
        chatter=ChatterDemand(
            weak_allowed=False,
            minimum_openings_per_stroke=None,
            printed=AsPrinted("clear chatter at brisk strokes"),
        ),
        spray=SprayDemand(AsPrinted("four even jets, fine, ending together, no drop after")),
        spread_pa=5e5,
        adjustment=Adjustment(
            shim_effect_pa_per_m=Quantity(
                SOUND.spring_rate / (SOUND.guide_area - SOUND.seat_area),
                "Pa/m",
                method="spring rate over lifting area",
            ),
            shim_sizes_m=tuple(round(1.0e-3 + 5e-5 * step, 6) for step in range(21)),
        ),
        geometry=demo_conditions().geometry,
        torques=(),
        washer="one new copper washer",
    )


def score(
    case: PracticeCase,
    decided: str,
    named_fault: str,
    opening_said_pa: float | None,
    minutes: float,
) -> PracticeScore:
    """Return what was found beside what is true, and what it is worth.

    Parameters
    ----------
    case : PracticeCase
        With its bench as it was worked
    decided : str
        One of :data:`DECISIONS`
    named_fault : str
        One of :data:`FAULTS`
    opening_said_pa : float or None
        Opening pressure that was read as found, [Pa]; None where it was not read
    minutes : float
        How long it took

    Raises
    ------
    InputFault
        If decision or fault is not one of those.
    """
    faults = [
        Fault(f"unknown {what} {said!r}", "practice", f"Give one of {', '.join(known)}.")
        for what, said, known in (
            ("decision", decided, DECISIONS),
            ("fault", named_fault, tuple(FAULTS)),
        )
        if said not in known
    ]
    if faults:
        raise InputFault(faults)
    return PracticeScore(
        parts=(
            _of_decision(case, decided),
            _of_fault(case, named_fault),
            _of_opening(case, opening_said_pa),
            _of_order(case),
        ),
        minutes=minutes,
        decided=decided,
        named_fault=named_fault,
        opening_said_pa=opening_said_pa,
        truth=case.truth(),
    )


def _of_decision(case: PracticeCase, decided: str) -> ScorePart:
    most, due = SHARES[Part.DECISION], case.decision_due
    if decided == due:
        reason = say("{decision:capital} is right. {why}", decision=Said(due), why=case.why)
        return ScorePart(Part.DECISION, most, most, reason)
    told = {"decided": Said(decided), "due": Said(due), "why": case.why}
    if decided != FIT and due != FIT:
        # Work that was not needed costs money; a bad injector on the engine costs more.
        reason = say(
            "You decided: {decided}; due was: {due}. That something must be done was right. {why}",
            **told,
        )
        return ScorePart(Part.DECISION, most // 4, most, reason)
    reason = say("You decided: {decided}; due was: {due}. {why}", **told)
    return ScorePart(Part.DECISION, 0, most, reason)


def _of_fault(case: PracticeCase, named: str) -> ScorePart:
    most = SHARES[Part.FAULT]
    told = {"fault": Said(case.fault), "what": FAULTS[case.fault]}
    if named == case.fault:
        reason = say("You found it: {fault}; {what}.", **told)
        return ScorePart(Part.FAULT, most, most, reason)
    reason = say("You named: {named}. It was: {fault}; {what}.", named=Said(named), **told)
    return ScorePart(Part.FAULT, 0, most, reason)


def _of_opening(case: PracticeCase, said: float | None) -> ScorePart:
    most, true = SHARES[Part.OPENING], case.values["opening_pressure_pa"]
    if said is None and case.fault == HiddenFault.WORN_SEAT:
        reason = say("You read no opening pressure, and there is none: it weeps and does not pop.")
        return ScorePart(Part.OPENING, most, most, reason)
    if said is None:
        reason = say("You read no opening pressure as found; it is {true}.", true=in_bar(true))
        return ScorePart(Part.OPENING, 0, most, reason)
    off = abs(said - true)
    # Of a sticking needle there is no one opening pressure.
    sticks = case.fault == HiddenFault.STICKING_NEEDLE
    close, near = (2.0 * CLOSE_PA, 2.0 * NEAR_PA) if sticks else (CLOSE_PA, NEAR_PA)
    points = most if off <= close else most // 2 if off <= near else 0
    reason = say(
        "You read {said}; true is {true}. That is {off} off; within {close} is good.",
        said=in_bar(said),
        true=in_bar(true),
        off=in_bar(off),
        close=in_bar(close, ".0f"),
    )
    if sticks:
        note = say("A sticking needle opens anywhere around it, so twice the tolerance holds.")
        reason = joined(" ", (reason, note))
    return ScorePart(Part.OPENING, points, most, reason)


def _of_order(case: PracticeCase) -> ScorePart:
    acts = case.bench.acts()
    most = SHARES[Part.ORDER]
    checked = any(
        one.act == "held"
        and not one.mounted
        and one.seconds >= PLUG_HOLD_S
        and one.pressure_pa >= PLUG_HOLD_PA
        for one in acts
    )
    undone_at = max((one.pressure_pa for one in acts if one.act == "undone"), default=0.0)
    safe = undone_at <= INTO_SKIN_PA
    within = not any(one.act == "beyond the gauge" for one in acts)
    as_found = case.bench.openings_as_found >= AS_FOUND_OPENINGS
    told = (
        say("You checked the rig with the blank plug before you judged a leak.")
        if checked
        else say(
            "You judged leakage without a check of the rig: blank plug in, {time} held.",
            time=say("{value} {unit}", value=figure(PLUG_HOLD_S, ".0f"), unit="s"),
        ),
        say("The pressure was off whenever you undid the line.")
        if safe
        else say(
            "You undid the line under {pressure}: a jet enters the skin. Let the pressure off "
            "first.",
            pressure=in_bar(undone_at, ".0f"),
        ),
        say("The gauge stayed in its range.")
        if within
        else say("You drove the gauge beyond its range."),
        say("You tested it as found before anything was changed.")
        if as_found
        else say("You changed it, or decided, before it had opened a few times as found."),
    )
    points = most // len(told) * sum((checked, safe, within, as_found))
    return ScorePart(Part.ORDER, points, most, joined(" ", told))
