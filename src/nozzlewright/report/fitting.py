"""The fitting sheet: what the engine fitter does with the injectors that come back."""

from __future__ import annotations

from dataclasses import dataclass

from nozzlewright.advice.next_action import ActionKind, Advice
from nozzlewright.bench import EngineSet, SettingSheet
from nozzlewright.judging.verdict import InjectorOutcome, SetVerdict
from nozzlewright.report.wording import plain_number, printable, with_unit
from nozzlewright.said import say, word


@dataclass(frozen=True)
class FittingStep:
    """One step, ticked off when it is done."""

    title: str
    text: str


@dataclass(frozen=True)
class TorqueText:
    """A tightening torque as the sheet gives it."""

    part: str
    torque: str
    printed: str
    """As the document prints it."""


@dataclass(frozen=True)
class FittingPlace:
    """One cylinder on the fitting sheet."""

    cylinder: int
    identity: str
    fit: bool
    """Whether the verdict allows it to be fitted."""
    match_first: bool
    """Whether it is fit by itself, but is to be matched to the others before it is fitted."""
    said: str
    """What to do with it: ``fit``, or ``do not fit: to adjust``."""


@dataclass(frozen=True)
class FittingSheet:
    """All that the fitting sheet says."""

    places: tuple[FittingPlace, ...]
    steps: tuple[FittingStep, ...]
    torques: tuple[TorqueText, ...]
    torque_note: str
    """Said where the sheet gives no torque."""
    washer: str
    checks: tuple[str, ...]
    """What is written down for each cylinder in the running check."""
    safety: tuple[str, ...]


_HOT = say(
    "Engine off and cool. A seized injector can pull its sleeve and let out hot coolant under "
    "pressure."
)
_JET = say(
    "Fuel under pressure pierces skin: a surgical emergency even if it is painless. Never feel "
    "for leaks, use a card. Never bleed on to a hot manifold: mist burns."
)
FITTING_SAFETY = (
    _HOT,
    _JET,
    say("The engine maker's manual and local codes come before this sheet."),
)
"""The usual cautions on the engine, with the order of precedence."""

_SETTING = (ActionKind.CHANGE_SHIM, ActionKind.TURN_SCREW)
RUNNING_CHECKS = (
    say("runs evenly"),
    say("no blow-by"),
    say("leak-off dry outside"),
    say("smoke"),
    say("exhaust °C"),
)
"""Columns of the running check (common practice, no source)."""


def fitting_sheet(
    engine_set: EngineSet,
    sheet: SettingSheet,
    verdict: SetVerdict,
    advice: tuple[Advice, ...] = (),
) -> FittingSheet:
    """Return the fitting sheet of a set; torques and washer come from the setting sheet alone.

    Parameters
    ----------
    engine_set : EngineSet
        The set, for cylinder order and identities
    sheet : SettingSheet
        Torques and washer
    verdict : SetVerdict
        Which injectors may be fitted
    advice : tuple of Advice
        Next actions: one that is fit by itself may still have to be matched to the others
    """
    outcomes = {item.injector.cylinder: item.outcome for item in verdict.injectors}
    to_set = {
        action.cylinder for item in advice for action in item.actions if action.kind in _SETTING
    }
    washer = printable(sheet.washer)
    return FittingSheet(
        places=tuple(
            _place(
                injector.cylinder,
                injector.identity,
                outcomes.get(injector.cylinder),
                to_match=injector.cylinder in to_set,
            )
            for injector in engine_set.injectors
        ),
        steps=_steps(washer, torques_known=bool(sheet.torques)),
        torques=tuple(
            TorqueText(
                printable(torque.part),
                _torque_range(torque.low_nm, torque.high_nm),
                printable(torque.printed.text),
            )
            for torque in sheet.torques
        ),
        torque_note=""
        if sheet.torques
        else say("The setting sheet gives no torque: take it from the engine maker's manual."),
        washer=washer
        or say("not named on the setting sheet: take it from the engine maker's manual"),
        checks=RUNNING_CHECKS,
        safety=FITTING_SAFETY,
    )


def _place(
    cylinder: int, identity: str, outcome: InjectorOutcome | None, *, to_match: bool
) -> FittingPlace:
    passed = outcome is InjectorOutcome.FIT
    if passed and not to_match:
        said = word(InjectorOutcome.FIT)
    else:
        why = say("not tested") if outcome is None else word(outcome)
        said = say("do not fit: {why}", why=say("match it first") if passed else why)
    return FittingPlace(
        cylinder,
        printable(identity),
        fit=passed and not to_match,
        match_first=passed and to_match,
        said=said,
    )


def _torque_range(low_nm: float, high_nm: float) -> str:
    if low_nm == high_nm:
        return with_unit(plain_number(low_nm), "N·m")
    torque = say("{lower} to {upper}", lower=plain_number(low_nm), upper=plain_number(high_nm))
    return with_unit(torque, "N·m")


def _steps(washer: str, *, torques_known: bool) -> tuple[FittingStep, ...]:
    """Return the steps in order (common practice, no source, where no step names one)."""
    tighten = (
        say(
            "By turns, a little at a time, to the torque for its clamp, flange or gland below. "
            "Leave the nozzle nut as it left the bench."
        )
        if torques_known
        else say("By turns, a little at a time, to the torque in the engine maker's manual.")
    )
    one_only = (
        say("Right thickness, right way up, one only ({washer}). Never two.", washer=washer)
        if washer
        else say("Right thickness, right way up, one only. Never two.")
    )
    return (
        FittingStep(say("Old washer out"), say("Count the old washers out, one for each bore.")),
        FittingStep(
            say("Clean bore"),
            say("Clean seat and bore, vacuum the well. No carbon left on the seat."),
        ),
        FittingStep(say("One new washer"), one_only),
        FittingStep(
            say("Injector in its own cylinder"),
            say("Keep the cylinder order. Caps off last; never strike the tip."),
        ),
        FittingStep(say("Tighten evenly"), tighten),
        FittingStep(
            say("Line nuts"),
            say(
                "Start by hand; pipes must not be sprung. Do not over-tighten: it chokes the pipe "
                "end."
            ),
        ),
        FittingStep(
            say("Bleed"), say("Unions slack until the fuel runs free of air, then nip up.")
        ),
        FittingStep(
            say("Running check"),
            say("At idle: leak-off, blow-by, smoke. Stop, cool, re-nip, fill in the table."),
        ),
    )
