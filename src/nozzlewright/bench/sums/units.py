"""One value in every unit; and whether two printed values can be the same."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from nozzlewright.bench.sums.form import Example, Given, Input, Output, Sum, Values
from nozzlewright.bench.sums.groups import UNITS
from nozzlewright.errors import Fault
from nozzlewright.measurement import UNITS_OF, Kind, UnitInUse
from nozzlewright.measurement.units import STANDARD_ATMOSPHERE, TECHNICAL_ATMOSPHERE
from nozzlewright.said import in_bar, say

_RATIO = STANDARD_ATMOSPHERE / TECHNICAL_ATMOSPHERE
_ANY = 1e15
_MEANT = say(
    "On an old sheet atm, ata or kg nearly always means the technical atmosphere, 1 kgf/cm². "
    "(Common practice, no source.) Ask, or look for a second unit beside it."
)
_FROM_VACUUM = say(
    "ata counts from vacuum, and a gauge shows about 1 bar less; atü is what a gauge shows. (From "
    "memory.)"
)


def _given(v: Values, key: str) -> Given:
    found: Given = v["given"][key]
    return found


def _in_all(v: Values) -> Mapping[str, Any]:
    given = _given(v, "value")
    found = {f"{given.unit.kind}:{unit.name}": v["value"] for unit in UNITS_OF[given.unit.kind]}
    if given.unit.ask:
        found["as-technical"] = v["value"]
        found["as-standard"] = v["value"] * _RATIO
    return found


def _atmospheres(v: Values, results: Mapping[str, float]) -> Iterable[str]:
    given = _given(v, "value")
    if given.unit.ask:
        apart = results["as-standard"] - results["as-technical"]
        yield say(
            "It does not say which atmosphere it means: the two are {apart} apart here. The list "
            "takes it as technical.",
            apart=in_bar(abs(apart)),
        )
        yield _MEANT
        yield _FROM_VACUUM
    elif given.unit.kind is Kind.PRESSURE:
        yield say(
            "at is the technical atmosphere (1 kgf/cm² = 98 066.5 Pa), atm the standard one "
            "(101 325 Pa): 3.3 per cent apart."
        )
        yield _MEANT


def _too_cold(v: Values) -> Iterable[Fault]:
    for key, given in v["given"].items():
        if given.unit.kind is Kind.TEMPERATURE and given.quantity.value < 0.0:
            yield Fault(
                say("nothing is colder than −273.15 °C"),
                key,
                say("Look at the number, its sign and its unit"),
            )


def _every_unit() -> Iterator[Output]:
    yield Output("as-technical", say("If technical atmospheres are meant"), Kind.PRESSURE,
                 unit="bar", digits=6)  # fmt: skip
    yield Output("as-standard", say("If standard atmospheres are meant"), Kind.PRESSURE,
                 unit="bar", digits=6)  # fmt: skip
    for kind, units in UNITS_OF.items():
        for unit in units:
            yield Output(f"{kind}:{unit.name}", unit.printed, kind, unit=unit.name, digits=6)


CONVERTER = Sum(
    key="units",
    group=UNITS,
    title=say("Unit converter"),
    purpose=say("One value in every unit of the trade, both atmospheres among them."),
    inputs=(
        Input("value", say("Value with its unit"), Kind.PRESSURE, -_ANY, _ANY,
              say("Such as 175 atm, 45 Nm, 0.05 mm or 68 °F."), free=True),
    ),
    outputs=tuple(_every_unit()),
    formula=say("value × unit in SI / other unit in SI"),
    compute=_in_all,
    source=say("NIST SP 811:2008, appendix B; factors follow from exact definitions."),
    validity=(
        say("Pressures are gauge pressures, and stay so."),
        say("Temperatures are readings: a difference of 10 °C is one of 18 °F."),
    ),
    drawing="units",
    remarks=_atmospheres,
    objections=_too_cold,
    examples=(
        Example("NIST SP 811, technical atmosphere 98 066.5 Pa",
                {"value": "175 at"},
                {"pressure:bar": "171.616 bar", "pressure:psi": "2489.09 psi"}),
        Example("NIST SP 811, standard atmosphere 101 325 Pa",
                {"value": "175 standard atm"},
                {"pressure:bar": "177.319 bar", "pressure:kgf/cm2": "180.815 kgf/cm2"}),
        Example("ASTM D5275: 3000 psi printed beside 20.7 MPa",
                {"value": "3000 psi"}, {"pressure:MPa": "20.7 MPa"}),
        Example("NIST SP 811, foot pound-force 1.355 818 Nm",
                {"value": "1 lbf ft"}, {"torque:Nm": "1.35582 Nm"}),
        Example("NIST SP 811, inch 25.4 mm", {"value": "1 in"}, {"length:mm": "25.4 mm"}),
        Example("NIST SP 811, pound-force per inch 175.1268 N/m",
                {"value": "1 lbf/in"}, {"spring rate:N/mm": "0.175127 N/mm"}),
        Example("Definition: 68 °F is 20 °C",
                {"value": "68 degF"}, {"temperature:degC": "20.0 degC"}),
    ),
)  # fmt: skip


# -- two printed values -------------------------------------------------------------------------


def _both(v: Values) -> Mapping[str, Any]:
    kind = _given(v, "second").unit.kind
    apart = v["second"] - v["first"]
    found = {f"first {kind}": v["first"], f"second {kind}": v["second"]}
    if kind is not Kind.TEMPERATURE and abs(_given(v, "first").quantity.value) > 0.0:
        found["apart"] = apart / v["first"]
    return found


def _same_kind(v: Values) -> Iterable[Fault]:
    first, second = _given(v, "first").unit, _given(v, "second").unit
    if first.kind is not second.kind:
        yield Fault(
            say("the first is a {one}, the second a {other}", one=first.kind, other=second.kind),
            "second",
            say("Give the two values that stand beside each other for one thing"),
        )
    yield from _too_cold(v)


def _readings(given: Given) -> list[tuple[str, float]]:
    """Return what a printed value may mean, with the words for it."""
    value = given.quantity.value
    if not given.unit.ask:
        return [("", value)]
    return [(say("technical"), value), (say("standard"), value * _RATIO)]


def _agree(one: Given, value: float, other: Given, other_value: float) -> bool:
    reach = one.half_digit + other.half_digit
    return abs(value - other_value) <= reach * (1.0 + 1e-9)


def _as_printed(value: float, unit: UnitInUse, like: str) -> str:
    """Return a value with as many decimals as a printed one."""
    decimals = len(like.partition(".")[2])
    return f"{unit.of_si(value):.{decimals}f}"


def _slip(printed: str, right: str) -> str:
    """Return in what a printed number differs from the right one, if it is a usual slip.

    >>> _slip("1978", "1778"), _slip("2489", "2498"), _slip("14.2", "1.42"), _slip("5", "7123")
    ('one digit is wrong', 'two digits are exchanged', 'the decimal point is misplaced', '')
    """
    bare = [text.replace(".", "").strip("0") for text in (printed, right)]
    if bare[0] == bare[1] and bare[0]:
        return say("the decimal point is misplaced")
    if len(printed) == len(right):
        wrong = [i for i, (a, b) in enumerate(zip(printed, right, strict=True)) if a != b]
        if len(wrong) == 1 and len(right.replace(".", "")) > 1:
            return say("one digit is wrong")
        if (
            len(wrong) == 2
            and wrong[1] == wrong[0] + 1
            and printed[wrong[0]] == right[wrong[1]]
            and printed[wrong[1]] == right[wrong[0]]
        ):
            return say("two digits are exchanged")
    return ""


def _verdict(v: Values, _results: Mapping[str, float]) -> Iterable[str]:
    first, second = _given(v, "first"), _given(v, "second")
    pairs = [
        (a_word or b_word, a, b)
        for a_word, a in _readings(first)
        for b_word, b in _readings(second)
        if not (a_word and b_word and a_word != b_word)
    ]
    fits = [word for word, a, b in pairs if _agree(first, a, second, b)]
    if fits:
        if len(pairs) > 1 and len(fits) == 1:
            yield say(
                "They agree if the {which} atmosphere is meant, and only then.", which=fits[0]
            )
        else:
            yield say("They agree within the rounding of what is printed.")
        return
    yield say("They do not agree: one of the two is a misprint.")
    _word, a, b = pairs[0]
    for given, right in ((second, a), (first, b)):
        if given.unit.ask:
            continue
        should = _as_printed(right, given.unit, given.text)
        slip = _slip(given.text, should)
        if slip:
            yield say(
                "If the other is right, {printed} should read {should} {unit}: {slip}.",
                printed=given.text,
                should=should,
                unit=given.unit.printed,
                slip=slip,
            )
        else:
            yield say(
                "If the other is right, {printed} should read {should} {unit}.",
                printed=given.text,
                should=should,
                unit=given.unit.printed,
            )
    yield say("Look in another edition, on the next page, or ask the maker, before it is used.")


PRINTED = Sum(
    key="misprint",
    group=UNITS,
    title=say("Two printed values"),
    purpose=say("Whether two values beside each other can be the same, or one is a misprint."),
    inputs=(
        Input("first", say("First value with its unit"), Kind.PRESSURE, -_ANY, _ANY,
              say("As printed, such as 125 kgf/cm²."), free=True),
        Input("second", say("Second value with its unit"), Kind.PRESSURE, -_ANY, _ANY,
              say("As printed beside it, such as 1978 psi."), free=True),
    ),
    outputs=(
        *(Output(f"first {kind}", say("First, in the unit of the second"), kind, like="second",
                 digits=5) for kind in Kind),
        *(Output(f"second {kind}", say("Second, in the unit of the first"), kind, like="first",
                 digits=5) for kind in Kind),
        Output("apart", say("Second less first, of the first"), Kind.SHARE, unit="%", digits=3),
    ),
    formula=say("both in SI; they agree if no further apart than the rounding of their digits"),
    compute=_both,
    source=say("NIST SP 811:2008, appendix B."),
    validity=(
        say("Final zeros of a whole number may only fill the place: up to half a per cent is "
            "allowed for them (common practice, no source)."),
    ),
    drawing="misprint",
    remarks=_verdict,
    objections=_same_kind,
    examples=(
        Example("A workshop manual prints 125 kgf/cm² beside 1978 psi; 1778 is right",
                {"first": "125 kgf/cm2", "second": "1978 psi"},
                {"first pressure": "1778 psi", "second pressure": "139.1 kgf/cm2"}),
        Example("A workshop manual prints 40 Nm beside 33 lbf ft, which is 44.7 Nm",
                {"first": "40 Nm", "second": "33 lbf ft"}, {"second torque": "44.7 Nm"}),
        Example("A workshop manual prints 1.87 MPa beside 19 kgf/cm² for 0.1 mm of shim",
                {"first": "1.87 MPa", "second": "19 kgf/cm2"}, {"first pressure": "19.1 kgf/cm2"}),
    ),
)  # fmt: skip
