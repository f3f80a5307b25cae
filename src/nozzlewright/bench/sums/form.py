"""What a bench sum is made of, and how one is worked out with its uncertainty.

A sum is plain data: its inputs, the function that computes, what comes out, and the words that
belong to it. The pages, the command and the reference page are all drawn from it, so that none of
them can drift from the others.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

import numpy as np

from nozzlewright.errors import Fault, InputFault
from nozzlewright.measurement import (
    UNITS_OF,
    Cause,
    Kind,
    Quantity,
    UnitInUse,
    family_of,
    named_unit,
    propagate,
    propagate_by_draws,
)
from nozzlewright.said import figure, joined, say

BENDS = 0.05
"""Part of a half-width by which a result may bend before its spread is drawn, not computed."""
SPREAD = 1.959963984540054
"""Standard uncertainties in half of a 95 % interval of a normal spread."""

Values = Mapping[str, Any]
"""Inputs by key, in SI (numbers or arrays of draws) or as the word that was chosen."""


@dataclass(frozen=True)
class Taken:
    """What an input is taken as when nobody has said."""

    value: float
    """In SI."""
    unit: str
    """Name of the unit in which it is told."""
    why: str
    spread: float = 0.0
    """Standard uncertainty, in SI."""
    beside: str = ""
    """Input that must be given for it to matter; empty: it always does."""
    instead: str = ""
    """Input that makes it needless where it is given."""


@dataclass(frozen=True)
class Input:
    """One value that a sum asks for."""

    key: str
    """Its name in an address and on the command line."""
    name: str
    kind: Kind
    low: float
    high: float
    """Bounds in SI; beyond them it is a slip of the finger or the unit."""
    hint: str
    """Where it is read off."""
    needed: bool = True
    taken: Taken | None = None
    """What it is taken as where it may be left out and the sum still needs it."""
    choices: Mapping[str, str] | None = None
    """Words to choose from instead of a number."""
    unit: str = ""
    """Unit that is offered first; empty: the usual one of its kind."""
    free: bool = False
    """Whether a value of any kind will do (the converter)."""


@dataclass(frozen=True)
class Output:
    """One thing that a sum tells."""

    key: str
    name: str
    kind: Kind
    unit: str = ""
    """Unit in which it is always told; empty: as the inputs of its kind were given."""
    like: str = ""
    """Input whose unit it takes, where more than one of its kind is asked for."""
    digits: int = 4
    """Digits that count, where it has no uncertainty."""


@dataclass(frozen=True)
class Hidden:
    """A doubt that nobody types: a count, a correlation."""

    key: str
    cause: str
    value: float
    spread: float
    """Standard uncertainty."""
    rectangular: bool = False


@dataclass(frozen=True)
class Example:
    """Somebody else's numbers: what goes in and what must come out, as printed."""

    source: str
    typed: Mapping[str, str]
    expected: Mapping[str, str]
    printed: bool = True
    """False where no printed example was found and it was derived in another way."""


def _nothing(_values: Values, _results: Mapping[str, float]) -> Iterable[str]:
    return ()


def _no_objection(_values: Values) -> Iterable[Fault]:
    return ()


@dataclass(frozen=True)
class Sum:
    """A bench sum."""

    key: str
    """Its name in addresses and on the command line."""
    group: str
    title: str
    purpose: str
    """What it is for, in a line."""
    inputs: tuple[Input, ...]
    outputs: tuple[Output, ...]
    formula: str
    """In words and signs."""
    compute: Callable[[Values], Mapping[str, Any]]
    """From values to outputs by key; what was not asked for is left out. Takes arrays."""
    source: str
    validity: tuple[str, ...]
    drawing: str
    examples: tuple[Example, ...]
    remarks: Callable[[Values, Mapping[str, float]], Iterable[str]] = _nothing
    """What to know about these very results."""
    objections: Callable[[Values], Iterable[Fault]] = _no_objection
    """Why values do not go together."""
    hidden: tuple[Hidden, ...] = ()
    caution: str = ""
    indication: bool = False
    """Whether it only gives an indication of what happens on the engine."""

    def input(self, key: str) -> Input | None:
        """Return the input of a name."""
        return next((one for one in self.inputs if one.key == key), None)


@dataclass(frozen=True)
class Given:
    """A value that was handed in."""

    quantity: Quantity
    """In SI, with its standard uncertainty."""
    unit: UnitInUse
    """As it was written."""
    half_digit: float = 0.0
    """Half of the last place that was written, in SI."""
    text: str = ""
    """The number as it was written, with a decimal point."""


@dataclass(frozen=True)
class Result:
    """One thing that came out."""

    output: Output
    quantity: Quantity
    unit: UnitInUse

    @property
    def others(self) -> tuple[UnitInUse, ...]:
        """Further units of its kind, where it does not belong to one alone."""
        if self.output.unit:
            return ()
        return tuple(one for one in UNITS_OF[self.output.kind] if one != self.unit)


@dataclass(frozen=True)
class Worked:
    """A sum that was worked out."""

    sum: Sum
    given: Mapping[str, Given | str]
    results: tuple[Result, ...]
    remarks: tuple[str, ...]
    taken: tuple[tuple[Input, Taken], ...]
    """What was taken for want of a value."""
    values: Mapping[str, Any] = field(default_factory=dict)
    """All inputs in SI, those that were taken among them."""

    def result(self, key: str) -> Result | None:
        """Return one result by its key."""
        return next((one for one in self.results if one.output.key == key), None)


def work_out(
    one: Sum,
    given: Mapping[str, Given | str],
    *,
    prefer: Mapping[Kind, str] = MappingProxyType({}),
) -> Worked:
    """Work a sum out.

    Parameters
    ----------
    one : Sum
        Which one
    given : mapping
        What was handed in, by key of the input; a word where the input is a choice
    prefer : mapping, optional
        Unit in which a kind is told where no input of it was given

    Raises
    ------
    InputFault
        If a value is missing, out of bounds, or does not go with another: all faults together.

    Notes
    -----
    First-order propagation (JCGM 100:2008, 5.1.2); where a result bends by more than 5 % of its
    half-width over the spread of an input, its distribution is drawn instead (JCGM 101:2008),
    from a fixed start, so that the same sum always gives the same answer.
    """
    faults = list(_faults(one, given))
    if faults:
        raise InputFault(faults)
    taken = tuple((each, each.taken) for each in one.inputs if each.taken and each.key not in given)
    told = tuple((each, assumed) for each, assumed in taken if _matters(assumed, given))
    quantities = _quantities(one, given, taken)
    words = {key: value for key, value in given.items() if isinstance(value, str)}
    fixed: dict[str, Any] = {**words, "given": given}
    plain = {key: quantity.value for key, quantity in quantities.items()}
    faults = list(one.objections(fixed | plain))
    if faults:
        raise InputFault(faults)
    try:
        computed = one.compute(fixed | plain)
        results = tuple(
            Result(output, _with_spread(one, output, fixed, quantities), unit)
            for output in one.outputs
            if output.key in computed
            for unit in [_unit_of(one, output, given, prefer)]
        )
    except (ValueError, FloatingPointError, OverflowError, ZeroDivisionError) as fault:
        raise InputFault(_together(one, given, str(fault))) from fault
    values = {output.output.key: output.quantity.value for output in results}
    remarks = tuple(one.remarks(fixed | plain, values))
    return Worked(one, dict(given), results, remarks, told, fixed | plain)


def _matters(assumed: Taken, given: Mapping[str, Given | str]) -> bool:
    beside = not assumed.beside or assumed.beside in given
    return beside and (not assumed.instead or assumed.instead not in given)


def _together(one: Sum, given: Mapping[str, Given | str], said: str) -> Fault:
    uncertain = any(isinstance(v, Given) and v.quantity.contributions for v in given.values())
    what = say("these values do not go together")
    remedy = say("Look at each of them, and at its unit ({reason})", reason=said)
    if uncertain:
        remedy = say("Look at each of them, its unit and its ± ({reason})", reason=said)
    where = next((each.key for each in one.inputs if each.key in given), one.inputs[0].key)
    return Fault(what, where, remedy)


def _faults(one: Sum, given: Mapping[str, Given | str]) -> Iterable[Fault]:
    for each in one.inputs:
        value = given.get(each.key)
        if value is None:
            if each.needed:
                yield Fault(
                    say("{name} is not given", name=each.name),
                    each.key,
                    each.hint,
                )
        elif isinstance(value, str):
            if each.choices is None or value not in each.choices:
                known = joined(", ", list(each.choices or ()))
                yield Fault(
                    say("“{value}” is not known here", value=value[:40]),
                    each.key,
                    say("Choose one of: {known}", known=known),
                )
        elif not each.low <= value.quantity.value <= each.high:
            yield _out_of_bounds(each, value)


def _out_of_bounds(one: Input, given: Given) -> Fault:
    unit = given.unit
    value, low, high = (
        figure(unit.of_si(each), digits)
        for each, digits in ((given.quantity.value, ".6g"), (one.low, ".4g"), (one.high, ".4g"))
    )
    if not unit.printed:
        return Fault(
            say("{name} is out of bounds at {value}", name=one.name, value=value),
            one.key,
            say("From {low} to {high} is taken: look at the number", low=low, high=high),
        )
    return Fault(
        say(
            "{name} is out of bounds at {value} {unit}",
            name=one.name,
            value=value,
            unit=unit.printed,
        ),
        one.key,
        say(
            "From {low} to {high} {unit} is taken: look at the number and its unit",
            low=low,
            high=high,
            unit=unit.printed,
        ),
    )


def _quantities(
    one: Sum,
    given: Mapping[str, Given | str],
    taken: Sequence[tuple[Input, Taken]],
) -> dict[str, Quantity]:
    found = {key: value.quantity for key, value in given.items() if isinstance(value, Given)}
    for each, assumed in taken:
        spread = {Cause(each.name): assumed.spread} if assumed.spread else {}
        found[each.key] = Quantity(assumed.value, "", spread, assumed.why)
    for doubt in one.hidden:
        cause = Cause(doubt.cause, rectangular=doubt.rectangular)
        found[doubt.key] = Quantity(doubt.value, "", {cause: doubt.spread})
    return found


def _with_spread(
    one: Sum, output: Output, fixed: dict[str, Any], quantities: Mapping[str, Quantity]
) -> Quantity:
    """Return one result with the uncertainty that the inputs bring into it."""
    uncertain = [key for key, quantity in quantities.items() if quantity.contributions]
    steady = fixed | {key: quantity.value for key, quantity in quantities.items()}
    unit = output.kind.value
    if not uncertain:
        return Quantity(float(one.compute(steady)[output.key]), unit, method=one.formula)
    inputs = [quantities[key] for key in uncertain]

    def model(*values: Any) -> Any:
        return one.compute(steady | dict(zip(uncertain, values, strict=True)))[output.key]

    def number(*values: float) -> float:
        return float(model(*values))

    linear = propagate(number, *inputs, unit=unit, method=one.formula)
    if not _bends(number, inputs, linear.value):
        return linear
    bounds = {each.key: (each.low, each.high) for each in one.inputs}

    def within(*values: Any) -> Any:
        inside = [
            np.clip(value, *bounds[key]) if key in bounds else value
            for key, value in zip(uncertain, values, strict=True)
        ]
        return np.asarray(model(*inside), dtype=np.float64)

    return propagate_by_draws(
        within, *inputs, unit=unit, method=one.formula, draws=4000, rng=np.random.default_rng(1)
    )


def _bends(model: Callable[..., float], inputs: Sequence[Quantity], middle: float) -> bool:
    """Tell whether a straight line is too far off over the spread of an input."""
    values = [quantity.value for quantity in inputs]
    bend, half = 0.0, 0.0
    for index, quantity in enumerate(inputs):
        reach = SPREAD * quantity.standard_uncertainty
        above, below = list(values), list(values)
        above[index] += reach
        below[index] -= reach
        try:
            up, down = model(*above), model(*below)
        except ValueError:
            return True  # the straight line leaves what is possible
        bend += abs(up + down - 2.0 * middle) / 2.0
        half = float(np.hypot(half, (up - down) / 2.0))
    return bend > BENDS * half and bend > 1e-9 * abs(middle)


def _unit_of(
    one: Sum, output: Output, given: Mapping[str, Given | str], prefer: Mapping[Kind, str]
) -> UnitInUse:
    """Return the unit in which a result is told: as its kind was given, if it was."""
    if output.unit:
        unit = named_unit(output.unit, output.kind)
        assert unit is not None, output.unit  # noqa: S101  (a slip in the list of sums)
        return unit
    keys = [output.like] if output.like else []
    for key in (*keys, *(each.key for each in one.inputs)):
        value = given.get(key)
        if isinstance(value, Given) and value.unit.kind is output.kind and not value.unit.ask:
            return value.unit
    families = [family_of(value.unit) for value in given.values() if isinstance(value, Given)]
    family = next((each for each in families if each), "")
    of_family = [unit for unit in UNITS_OF[output.kind] if family and family_of(unit) == family]
    preferred = named_unit(prefer.get(output.kind, ""), output.kind)
    return (of_family or ([preferred] if preferred else UNITS_OF[output.kind]))[0]
