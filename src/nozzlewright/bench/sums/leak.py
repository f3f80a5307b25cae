"""Drops of a leak-off to flow."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any

from nozzlewright.bench.sums.form import Example, Hidden, Input, Output, Sum, Taken, Values
from nozzlewright.bench.sums.groups import PARTS
from nozzlewright.errors import Fault
from nozzlewright.measurement import Kind
from nozzlewright.physics import GAS_OIL_DENSITY_15C, drop_volume, flow_from_drops
from nozzlewright.said import say


def _drops(v: Values) -> Mapping[str, Any]:
    if "volume" in v:
        volume = v["volume"]
    else:
        volume = v["shape"] * drop_volume(v["tip"] / 2.0, v["tension"], v["density"])
    drops = v["drops"] + v["miscount"]
    return {
        "flow": flow_from_drops(drops, v["time"], volume),
        "rate": drops / v["time"],
        "volume": volume,
    }


def _objections(v: Values) -> Iterable[Fault]:
    if "volume" not in v and "tip" not in v:
        yield Fault(
            say("the size of a drop is not known"),
            "volume",
            say("Let a hundred drops fall into a small measuring glass and divide; or give the "
                "outer diameter of the tip"),
        )  # fmt: skip
    elif "volume" not in v:
        try:
            drop_volume(v["tip"] / 2.0, v["tension"], v["density"])
        except ValueError:
            yield Fault(
                say("no drop is known for a tip so narrow or wide"),
                "tip",
                say("The drop table holds for tips of some 1.5 to 9 mm with oil: measure the "
                    "volume of a drop instead"),
            )  # fmt: skip


def _remarks(v: Values, results: Mapping[str, float]) -> Iterable[str]:
    if "volume" not in v:
        yield say(
            "The drop was computed for a clean, level tip, wet with oil to its outer rim. "
            "A measured drop is better."
        )
    if results["rate"] > 1.5:
        yield say(
            "Drops that fall faster than about one a second grow larger: collect the oil and time "
            "it instead. (Common practice, no source.)"
        )
    if v["drops"] < 5.0:
        yield say("So few drops say little: count longer.")


DROPS = Sum(
    key="drops",
    group=PARTS,
    title=say("Leak-off drops to flow"),
    purpose=say("What flow a count of drops means, with what the counting leaves open."),
    inputs=(
        Input("drops", say("Drops counted"), Kind.NUMBER, 1.0, 10_000.0,
              say("Start the watch at a drop, and do not count that one.")),
        Input("time", say("Time"), Kind.TIME, 1.0, 24 * 3600.0,
              say("From the first drop to the end of counting.")),
        Input("volume", say("Volume of one drop, measured"), Kind.VOLUME, 1e-9, 500e-9,
              say("Volume of a hundred drops over a hundred."), needed=False),
        Input("tip", say("Outer diameter of the tip"), Kind.LENGTH, 0.2e-3, 30e-3,
              say("Where no drop was measured: the leak-off pipe where the drop hangs."),
              needed=False),
        Input("tension", say("Surface tension"), Kind.SURFACE_TENSION, 5e-3, 0.1,
              say("Of the oil."), needed=False,
              taken=Taken(28e-3, "mN/m", say("gas oil, 26 to 30 mN/m, from memory"), 1e-3,
                          instead="volume")),
        Input("density", say("Density"), Kind.DENSITY, 500.0, 1500.0,
              say("Of the oil, as its sheet has it."), needed=False,
              taken=Taken(GAS_OIL_DENSITY_15C.value, "kg/m3",
                          say("ISO 4113 calibration fluid at 15 °C"),
                          GAS_OIL_DENSITY_15C.standard_uncertainty, instead="volume")),
    ),
    outputs=(
        Output("flow", say("Flow"), Kind.FLOW),
        Output("rate", say("Drops in a minute"), Kind.DROP_RATE, unit="drops/min"),
        Output("volume", say("One drop"), Kind.VOLUME),
    ),
    formula=say("flow = drops × drop / time; drop = 2π r γ f / (ρ g), f by Harkins and Brown"),
    compute=_drops,
    source=say("Tate's law with the table of Harkins and Brown (1919), fit of Lee, Chan and "
               "Pogaku (2008); from memory, two fits and the table agree within 1.3 %."),
    validity=(
        say("Slow drops from a clean tip; oil wets the outer rim."),
        say("Measured drops of water were 5 to 8 % larger than computed ones (Eschbaum 1895)."),
        say("The count is taken as good to one drop either way; a computed drop to 5 % "
            "(common practice, no source)."),
    ),
    drawing="drops",
    caution=say("Pressure stands on the nozzle meanwhile: guard up, hands and eyes away from the "
                "tip, never feel for a leak."),
    remarks=_remarks,
    objections=_objections,
    hidden=(
        Hidden("miscount", say("counting whole drops"), 0.0, 1.0 / math.sqrt(3.0), True),
        Hidden("shape", say("drop computed, not measured"), 1.0, 0.05),
    ),
    examples=(
        Example("United States Pharmacopeia 32, chapter 1101: a drop of water from a tip of 3 mm "
                "outside weighs 45 to 55 mg",
                {"drops": "20", "time": "60 s", "tip": "3.0 mm", "tension": "72.75 mN/m",
                 "density": "998.2 kg/m3"},
                {"volume": "50 ± 5 mm3"}),
        Example("Definition: 10 drops of 26 mm³ in 30 s",
                {"drops": "10", "time": "30 s", "volume": "26 mm3"},
                {"flow": "8.67 mm3/s", "rate": "20 drops/min"}, printed=False),
    ),
)  # fmt: skip
