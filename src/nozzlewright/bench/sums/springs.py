"""The holder's spring: rate, lengths, forces; and whether it stands square."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any

from nozzlewright.bench.sums.form import SPREAD, Example, Input, Output, Sum, Taken, Values
from nozzlewright.bench.sums.groups import PARTS
from nozzlewright.errors import Fault
from nozzlewright.measurement import Kind
from nozzlewright.physics import (
    SQUARENESS_GRADES,
    STEEL_SHEAR_MODULUS_PA,
    bergstraesser_factor,
    least_coil_gap,
    solid_length,
    spring_force,
    spring_index,
    spring_lean_angle,
    spring_length,
    spring_rate,
    spring_shear_stress,
    squareness_grade,
)
from nozzlewright.said import figure, say

SPRING_CAUTION = say(
    "A pressed spring flies: let it out under a press or a screw, never free-hand, with the eyes "
    "protected."
)


def _compute(v: Values) -> Mapping[str, Any]:
    d = v["wire"]
    D = v["outer"] - d
    rate = spring_rate(v["modulus"], d, D, v["coils"])
    index = spring_index(D, d)
    found = {"rate": rate, "index": index}
    if "free" in v and "fitted" in v:
        found["force"] = spring_force(rate, v["free"], v["fitted"])
        found["stress"] = spring_shear_stress(
            found["force"], d, D, correction=bergstraesser_factor(index)
        )
    if "load" in v:
        found["travel"] = v["load"] / rate
        if "free" in v:
            found["length"] = spring_length(rate, v["free"], v["load"])
    if "total" in v:
        found["solid"] = solid_length(d, v["total"])
        found["shortest"] = found["solid"] + least_coil_gap(d, D, v["coils"])
    return found


def _objections(v: Values) -> Iterable[Fault]:
    if v["outer"] <= 2.0 * v["wire"]:
        yield Fault(
            say("the coil is no wider than two wires"),
            "outer",
            say("Measure the outer diameter over the coils, and the wire by itself"),
        )
    if "fitted" in v and "free" not in v:
        yield Fault(
            say("the free length is not given"), "free", say("Measure it standing, unloaded")
        )
    if "fitted" in v and "free" in v and v["fitted"] > v["free"]:
        yield Fault(
            say("the fitted length is above the free length: the spring would be loose"),
            "fitted",
            say("Exchange the two, or measure again"),
        )
    if "total" in v and v["total"] < v["coils"]:
        yield Fault(
            say("fewer coils in all than active ones"),
            "total",
            say("Count the dead coils at both ends too: usually two more"),
        )


def _remarks(v: Values, results: Mapping[str, float]) -> Iterable[str]:
    if not 4.0 <= results["index"] <= 20.0:
        yield say(
            "Outer diameter and wire give an index of {index}, outside 4 to 20 of EN 13906-1.",
            index=figure(results["index"], ".1f"),
        )
    if v["coils"] < 2.0:
        yield say("EN 13906-1 holds from 2 active coils.")
    if "shortest" in results:
        at = [v["fitted"]] if "fitted" in v else []
        at += [results["length"]] if "length" in results else []
        if any(length < results["solid"] for length in at):
            yield say("The spring would be solid before that: the coils touch.")
        elif any(length < results["shortest"] for length in at):
            yield say("Less is left between the coils than EN 13906-1 asks for.")


SPRING = Sum(
    key="spring",
    group=PARTS,
    title=say("Spring rate and force"),
    purpose=say("From wire, coil and length to the rate, and to the force as it is set."),
    inputs=(
        Input("wire", say("Wire diameter"), Kind.LENGTH, 0.1e-3, 20e-3,
              say("Micrometer over the wire; it counts to the fourth power.")),
        Input("outer", say("Outer diameter of the coil"), Kind.LENGTH, 0.5e-3, 0.2,
              say("Calliper over the coils.")),
        Input("coils", say("Active coils"), Kind.NUMBER, 0.5, 100.0,
              say("All coils less the dead ones at the ends, usually two.")),
        Input("free", say("Free length"), Kind.LENGTH, 1e-3, 1.0,
              say("Standing on a plate, unloaded."), needed=False),
        Input("fitted", say("Length as fitted and set"), Kind.LENGTH, 1e-3, 1.0,
              say("Depth of the spring chamber less shims and spring plates."), needed=False),
        Input("load", say("Force at which the length is wanted"), Kind.FORCE, 0.0, 1e5,
              say("As printed on a spring drawing, or from the opening pressure."), needed=False),
        Input("total", say("Coils in all"), Kind.NUMBER, 1.0, 120.0,
              say("Tip to tip of the wire: for the solid length."), needed=False),
        Input("modulus", say("Shear modulus"), Kind.STRESS, 20e9, 120e9,
              say("Of the wire's standard; 81 500 N/mm² for EN 10270-1, 79 500 for EN 10270-2."),
              needed=False, unit="GPa",
              taken=Taken(STEEL_SHEAR_MODULUS_PA, "GPa",
                          say("spring steel, 78.5 to 81.5 GPa, from memory"), 0.9e9)),
    ),
    outputs=(
        Output("rate", say("Spring rate"), Kind.SPRING_RATE),
        Output("force", say("Force as fitted"), Kind.FORCE),
        Output("stress", say("Shear stress as fitted"), Kind.STRESS, unit="N/mm2"),
        Output("travel", say("Travel at that force"), Kind.LENGTH),
        Output("length", say("Length at that force"), Kind.LENGTH),
        Output("solid", say("Solid length"), Kind.LENGTH),
        Output("shortest", say("Shortest length at work"), Kind.LENGTH),
        Output("index", say("Spring index"), Kind.NUMBER),
    ),
    formula=say("R = G d⁴ / (8 D³ n); F = R (L0 − L); D = outer diameter − d"),
    compute=_compute,
    source=say("EN 13906-1, cylindrical helical springs of round wire, compression springs."),
    validity=(
        say("Cold-coiled round wire, ends squared and ground."),
        say("A bought spring may be some 5 per cent off in its rate (common practice, no source): "
            "the effect of a shim is better learnt on the holder."),
    ),
    drawing="spring",
    caution=SPRING_CAUTION,
    remarks=_remarks,
    objections=_objections,
    examples=(
        Example("Spring calculator's printed verification of EN 13906-1: d 5, De 39.6, n 9.5",
                {"wire": "5 mm", "outer": "39.6 mm", "coils": "9.5", "free": "105.8 mm",
                 "load": "280 N", "modulus": "81.5 GPa"},
                {"rate": "16.181 N/mm", "index": "6.92", "travel": "17.3 mm", "length": "88.5 mm"}),
        Example("Shigley's Mechanical Engineering Design, example 10-1 (from memory)",
                {"wire": "0.037 in", "outer": "0.437 in", "coils": "10.5",
                 "modulus": "11.85 Mpsi"},
                {"rate": "4.13 lbf/in"}),
        Example("Shigley's Mechanical Engineering Design, example 10-2, wire 0.080 in "
                "(from memory)",
                {"wire": "0.080 in", "outer": "0.923 in", "coils": "10.04", "total": "12.04",
                 "modulus": "11.75 Mpsi"},
                {"rate": "10.0 lbf/in", "solid": "0.963 in"}),
    ),
)  # fmt: skip


def _square(v: Values) -> Mapping[str, Any]:
    found = {
        "angle": spring_lean_angle(v["lean"], v["free"]),
        "ratio": v["lean"] / v["free"],
    }
    if "longest" in v and "outer" in v:
        found["tilt"] = (v["longest"] - v["shortest"]) / v["outer"]
    return found


def _square_objections(v: Values) -> Iterable[Fault]:
    ends = [key for key in ("longest", "shortest", "outer") if key in v]
    if ends and len(ends) < 3:
        for key in ("longest", "shortest", "outer"):
            if key not in v:
                yield Fault(
                    say("for the tilt of the ends all three are needed"),
                    key,
                    say("Give it too, or leave out all three"),
                )
    elif ends and v["longest"] < v["shortest"]:
        yield Fault(say("the longest is below the shortest"), "longest", say("Exchange the two"))


def _square_remarks(v: Values, results: Mapping[str, float]) -> Iterable[str]:
    tilt = max(results.get("tilt", 0.0), 0.0)
    grade = squareness_grade(results["ratio"], tilt)
    reach = SPREAD * math.hypot(_relative(v, "lean"), _relative(v, "free")) * results["ratio"]
    best, worst = (
        squareness_grade(max(results["ratio"] + side * reach, 0.0), tilt) for side in (-1.0, 1.0)
    )
    if best != worst:
        yield say(
            "The ± reaches over the limit of a grade: too close to tell. Measure again, finer."
        )
    elif grade:
        yield say("It meets grade {grade} of EN 15800 (1 is the best of 3).", grade=grade)
    else:
        yield say(
            "It meets no grade of EN 15800: a spring so far out of square pushes the spindle "
            "sideways. Renew it."
        )
    if "tilt" not in results:
        yield say("The tilt of the ends was not measured.")


def _relative(v: Values, key: str) -> float:
    """Return the relative standard uncertainty with which a length was given."""
    given = v["given"][key]
    return float(given.quantity.standard_uncertainty / v[key]) if v[key] else 0.0


SQUARE = Sum(
    key="squareness",
    group=PARTS,
    title=say("Spring out of square"),
    purpose=say("How far a spring leans that stands on a plate, and what grade that meets."),
    inputs=(
        Input("lean", say("Gap at the top"), Kind.LENGTH, 0.0, 0.1,
              say("Stand it on a plate against a square and turn it round: the widest gap at the "
                  "top, by feeler gauge.")),
        Input("free", say("Free length"), Kind.LENGTH, 1e-3, 1.0,
              say("Standing on the plate, unloaded.")),
        Input("longest", say("Longest, round the ends"), Kind.LENGTH, 1e-3, 1.0,
              say("Micrometer over the ends at four places: the largest."), needed=False),
        Input("shortest", say("Shortest, round the ends"), Kind.LENGTH, 1e-3, 1.0,
              say("The smallest of the four."), needed=False),
        Input("outer", say("Outer diameter of the coil"), Kind.LENGTH, 0.5e-3, 0.2,
              say("Calliper over the coils."), needed=False),
    ),
    outputs=(
        Output("angle", say("It leans by"), Kind.ANGLE, unit="deg", digits=3),
        Output("ratio", say("Gap over free length"), Kind.SHARE, unit="%", digits=3),
        Output("tilt", say("Tilt of the ends over the diameter"), Kind.SHARE, unit="%", digits=3),
    ),
    formula=say("angle = arctan(gap / free length)"),
    compute=_square,
    source=say(
        "EN 15800 (before it DIN 2095), from memory: gap up to {one}, {two}, {three} of the free "
        "length for grades 1, 2, 3.",
        one=figure(SQUARENESS_GRADES[1][0], ".0%"),
        two=figure(SQUARENESS_GRADES[2][0], ".0%"),
        three=figure(SQUARENESS_GRADES[3][0], ".0%"),
    ),
    validity=(
        say("Ends squared and ground; unloaded."),
        say("The engine maker's limit, where there is one, comes first."),
    ),
    drawing="square",
    caution=SPRING_CAUTION,
    remarks=_square_remarks,
    objections=_square_objections,
    examples=(
        Example("EN 15800, grade 2: 0.05 of the length is 2.9° (from memory)",
                {"lean": "2 mm", "free": "40 mm"}, {"angle": "2.9 deg", "ratio": "5.0 %"}),
        Example("EN 15800, grade 1: 0.03 of the length is 1.7° (from memory)",
                {"lean": "1.2 mm", "free": "40 mm"}, {"angle": "1.7 deg", "ratio": "3.0 %"}),
    ),
)  # fmt: skip
