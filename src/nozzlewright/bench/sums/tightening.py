"""Torque with an extension on the wrench."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any

from nozzlewright.bench.sums.form import Example, Input, Output, Sum, Taken, Values
from nozzlewright.bench.sums.groups import SET
from nozzlewright.errors import Fault
from nozzlewright.measurement import Kind
from nozzlewright.physics import torque_delivered, wrench_setting
from nozzlewright.said import say


def _compute(v: Values) -> Mapping[str, Any]:
    arm = (v["wrench"], v["extension"], v["angle"])
    found = {}
    if "wanted" in v:
        found["setting"] = wrench_setting(v["wanted"], *arm)
    if "set" in v:
        found["delivered"] = torque_delivered(v["set"], *arm)
    found["factor"] = wrench_setting(1.0, *arm)
    return found


def _objections(v: Values) -> Iterable[Fault]:
    if "wanted" not in v and "set" not in v:
        yield Fault(
            say("no torque is given"),
            "wanted",
            say("Give the torque that is wanted, or the setting that the wrench has"),
        )
    if v["wrench"] + v["extension"] * math.cos(v["angle"]) <= 0.0:
        yield Fault(
            say("the extension reaches back to the hand"),
            "extension",
            say("Measure it from the drive to the nut; it is shorter than the wrench"),
        )


def _remarks(v: Values, results: Mapping[str, float]) -> Iterable[str]:
    if abs(v["extension"]) > 0.5 * v["wrench"]:
        yield say(
            "The extension is longer than half of the wrench: small errors of length count. "
            "(Common practice, no source.)"
        )
    if abs(math.cos(v["angle"])) < 0.05:
        yield say("Square to the wrench an extension changes nothing: set the torque itself.")
    elif results["factor"] > 1.0:
        yield say("The extension points back to the hand: the wrench is set higher than the nut.")


WRENCH = Sum(
    key="torque",
    group=SET,
    title=say("Torque with an extension"),
    purpose=say("What to set the wrench to, so that the nut gets its torque."),
    inputs=(
        Input("wanted", say("Torque wanted at the nut"), Kind.TORQUE, 0.1, 2000.0,
              say("As the setting sheet or the engine maker's manual has it."), needed=False),
        Input("wrench", say("Length of the wrench"), Kind.LENGTH, 0.02, 3.0,
              say("From the middle of the handle to the middle of the square drive.")),
        Input("extension", say("Length of the extension"), Kind.LENGTH, -2.0, 2.0,
              say("From the middle of the drive to the middle of the nut; with a minus where it "
                  "points back to the hand.")),
        Input("angle", say("Angle of the extension to the wrench"), Kind.ANGLE, -math.pi, math.pi,
              say("0 in line with the wrench, 90 square to it."), needed=False,
              taken=Taken(0.0, "deg", say("in line with the wrench"))),
        Input("set", say("Setting that the wrench has"), Kind.TORQUE, 0.1, 2000.0,
              say("Where it was tightened already: tells what the nut got."), needed=False),
    ),
    outputs=(
        Output("setting", say("Set the wrench to"), Kind.TORQUE, like="wanted"),
        Output("delivered", say("The nut gets"), Kind.TORQUE, like="set"),
        Output("factor", say("Setting over torque"), Kind.NUMBER),
    ),
    formula=say("setting = torque × L / (L + E cos a), L wrench, E extension, a its angle"),
    compute=_compute,
    source=say("Lever arm; NAVEDTRA 14315 and TM 9-254 give the same, the latter with the angle "
               "too."),
    validity=(
        say("For a pull at the middle of the handle, square to the wrench."),
        say("A socket extension along the axis of the nut changes nothing."),
    ),
    drawing="wrench",
    caution=say("Pull, do not push, and stand so that a slip cannot hurt. More torque than the "
                "sheet says bends the nozzle body and makes the needle stick. The engine maker's "
                "manual comes first."),
    remarks=_remarks,
    objections=_objections,
    examples=(
        Example("NAVEDTRA 14315",
                {"wanted": "100 lbf ft", "wrench": "12 in", "extension": "6 in"},
                {"setting": "66.7 lbf ft"}),
        Example("TM 9-254",
                {"set": "60 lbf in", "wrench": "12 in", "extension": "2 in"},
                {"delivered": "70 lbf in"}),
        Example("FAA AC 43.13-1B, torque with an extension",
                {"wanted": "135 lbf in", "wrench": "10 in", "extension": "1.5 in"},
                {"setting": "117.39 lbf in"}),
        Example("FAA AC 43.13-1B, extension towards the hand",
                {"wanted": "135 lbf in", "wrench": "10 in", "extension": "-1.5 in"},
                {"setting": "158.82 lbf in"}),
        Example("Instruction sheet of a torque wrench, L 16, E 2",
                {"wanted": "50 lbf ft", "wrench": "16 in", "extension": "2 in"},
                {"setting": "44.44 lbf ft"}),
        Example("Published table of angled extensions, L 18, E 3: 45° off the wrench",
                {"wanted": "100 lbf ft", "wrench": "18 in", "extension": "3 in", "angle": "45 deg"},
                {"setting": "89.46 lbf ft"}),
        Example("Published table of angled extensions, E a quarter of L: 75° instead of 90° gives "
                "the nut 6.5 % more",
                {"set": "100 Nm", "wrench": "400 mm", "extension": "100 mm", "angle": "75 deg"},
                {"delivered": "106.5 Nm"}),
        Example("Published table of angled extensions, E a quarter of L: 100° instead of 90° gives "
                "the nut 4.3 % less",
                {"set": "100 Nm", "wrench": "400 mm", "extension": "100 mm", "angle": "100 deg"},
                {"delivered": "95.7 Nm"}),
    ),
)  # fmt: skip
