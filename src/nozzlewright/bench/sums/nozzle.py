"""Needle, washer, pressure faces, opening pressure, two springs."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from nozzlewright.bench.sums.form import Example, Input, Output, Sum, Taken, Values
from nozzlewright.bench.sums.groups import PARTS, SET
from nozzlewright.bench.sums.springs import SPRING_CAUTION
from nozzlewright.errors import Fault
from nozzlewright.measurement import Kind
from nozzlewright.physics import (
    LAMP_WAVELENGTHS_M,
    bands_from_bend,
    circle_area,
    closing_pressure,
    curtain_area,
    flatness_from_bands,
    lifting_area,
    needle_lift,
    opening_pressure,
    pressure_per_shim,
    protrusion_with_washer,
    second_opening_pressure,
    washer_for_protrusion,
)
from nozzlewright.said import figure, say

_GUIDE = Input(
    "guide", say("Needle diameter in the guide"), Kind.LENGTH, 1e-3, 40e-3,
    say("Micrometer over the lapped part of the needle."),
)  # fmt: skip
_SEAT = Input(
    "seat", say("Seat diameter"), Kind.LENGTH, 0.3e-3, 30e-3,
    say("The bright line on the cone of the needle, under a measuring glass."),
)  # fmt: skip


def _wider(v: Values) -> Iterable[Fault]:
    if v["guide"] <= v["seat"]:
        yield Fault(
            say("the guide is no wider than the seat"),
            "guide",
            say("The needle is always wider in its guide than at its seat: exchange the two?"),
        )


# -- needle lift --------------------------------------------------------------------------------


def _lift(v: Values) -> Mapping[str, Any]:
    found: dict[str, Any] = {}
    if "depth" in v:
        found["lift"] = needle_lift(v["depth"], v["stop"])
    if "open" in v:
        found["dial"] = needle_lift(v["open"], v["closed"])
    lift: Any = found.get("lift", found.get("dial"))
    if "seat" in v and "cone" in v:
        curtain = curtain_area(lift, v["seat"], v["cone"])
        found["curtain"] = np.minimum(curtain, circle_area(v["seat"]))
        if "holes" in v and "hole" in v:
            found["share"] = found["curtain"] / (v["holes"] * circle_area(v["hole"]))
    return found


def _lift_objections(v: Values) -> Iterable[Fault]:
    if not {"depth", "stop", "open", "closed"} & set(v):
        yield Fault(
            say("no reading is given"),
            "depth",
            say("Give the depth of the shoulder, or the dial closed and open"),
        )
    if ("open" in v) != ("closed" in v):
        missing = "closed" if "open" in v else "open"
        yield Fault(
            say("one of two readings of the dial is missing"), missing, say("Give both, or neither")
        )
    elif "open" in v and v["open"] < v["closed"]:
        yield Fault(
            say("the dial reads less with the needle open than closed"),
            "open",
            say("Exchange the two, or reverse the sign of the gauge"),
        )
    if ("depth" in v) != ("stop" in v):
        missing = "stop" if "depth" in v else "depth"
        yield Fault(
            say("one of the two depths is missing"),
            missing,
            say("Give both; the stop of a plain face has the height 0"),
        )
    elif "depth" in v and v["depth"] <= v["stop"]:
        yield Fault(
            say("the stop reaches the shoulder: the needle could not lift"),
            "depth",
            say("Look which face each depth was taken from"),
        )
    if "cone" in v and not 0.2 < v["cone"] < 3.0:
        yield Fault(
            say("that is no angle of a seat"), "cone", say("The full angle, usually 60 degrees")
        )


def _lift_remarks(v: Values, results: Mapping[str, float]) -> Iterable[str]:
    if "lift" in results and "dial" in results:
        apart = abs(results["lift"] - results["dial"])
        yield say(
            "Depths and dial differ by {apart} mm: a worn stop, dirt on a face, or a needle that "
            "was not seated.",
            apart=figure(apart * 1e3, ".3f"),
        )
    if "curtain" in results and results["curtain"] >= circle_area(v["seat"]):
        yield say("So large a lift opens the whole bore of the seat: more of it passes no more.")
    if "share" in results and results["share"] < 1.0:
        yield say("The seat passes less than the holes: it throttles, and the spray is weak.")
    lift = results.get("lift", results.get("dial", 0.0))
    if not 0.05e-3 <= lift <= 1.5e-3:
        yield say("Lifts of such nozzles are usually 0.1 to 0.6 mm (common practice, no source).")


LIFT = Sum(
    key="needle-lift",
    group=PARTS,
    title=say("Needle lift"),
    purpose=say("From two depths, or from a dial closed and open, to the lift."),
    inputs=(
        Input("depth", say("Depth of the needle's shoulder"), Kind.LENGTH, 0.0, 0.1,
              say("Depth gauge on the pressure face of the body, needle on its seat."),
              needed=False),
        Input("stop", say("Height of the stop"), Kind.LENGTH, -0.1, 0.1,
              say("How far the stop stands out of the face of the holder or distance piece; 0 for "
                  "a plain face, with a minus where it lies below."), needed=False),
        Input("closed", say("Dial, needle closed"), Kind.LENGTH, -0.1, 0.1,
              say("Dial gauge on the needle's stem, needle on its seat."), needed=False),
        Input("open", say("Dial, needle open"), Kind.LENGTH, -0.1, 0.1,
              say("The same setting of the dial, needle at its stop."), needed=False),
        Input("seat", say("Seat diameter"), Kind.LENGTH, 0.3e-3, 30e-3,
              say("For the area: the bright line on the cone of the needle."), needed=False),
        Input("cone", say("Seat angle"), Kind.ANGLE, 0.0, math.pi,
              say("For the area: full angle of the seat cone, usually 60°."), needed=False),
        Input("holes", say("Number of holes"), Kind.NUMBER, 1.0, 30.0,
              say("To hold the seat against the holes."), needed=False),
        Input("hole", say("Hole diameter"), Kind.LENGTH, 0.05e-3, 5e-3,
              say("By gauge wire, or as marked."), needed=False),
    ),
    outputs=(
        Output("lift", say("Lift, from the depths"), Kind.LENGTH),
        Output("dial", say("Lift, from the dial"), Kind.LENGTH),
        Output("curtain", say("Area between needle and seat"), Kind.AREA),
        Output("share", say("Seat area over that of the holes"), Kind.NUMBER, digits=3),
    ),
    formula=say("lift = depth of the shoulder − height of the stop; "
                "A = π h sin b (d + h sin b cos b), b half the seat angle"),
    compute=_lift,
    source=say("Difference of two depths, as workshop manuals work out a shim; area of a cone's "
               "frustum, as textbooks give it for engine valves (J. B. Heywood, Internal "
               "Combustion Engine Fundamentals, 1988, eq. 6.7, from memory)."),
    validity=(
        say("Faces clean and lapped. The zero of the gauge drops out where both readings come "
            "from one setting of it: then give ± for the reading alone."),
        say("The area holds for a sharp edge on the needle, up to the lift at which it is that of "
            "the bore."),
    ),
    drawing="lift",
    remarks=_lift_remarks,
    objections=_lift_objections,
    examples=(
        Example("Workshop manual of a small vehicle, shim of a shaft: 75.01 mm deep, 4.48 + 15.0 "
                "+ 55 mm stand in it",
                {"depth": "75.01 mm", "stop": "74.48 mm"}, {"lift": "0.53 mm"}),
        Example("Workshop manual of an outboard engine, shim of a pinion: 11.70 mm less 11.30 mm, "
                "and 0.03 mm for its mark",
                {"depth": "11.70 mm", "stop": "11.27 mm"}, {"lift": "0.43 mm"}),
        Example("Documentation of a simulation program for hydraulics, poppet on a conical seat "
                "(formula π h sin b (d + h sin 2b / 2) read, worked by hand): d 10, h 1 mm, 90°",
                {"depth": "4.5 mm", "stop": "3.5 mm", "seat": "10 mm", "cone": "90 deg"},
                {"curtain": "23.325 mm2"}),
        Example("The same documentation: from the lift d (√(1 + cos b) − 1) / sin 2b on the area "
                "is that of the bore; d 2 mm, 60°: 0.8453 mm",
                {"depth": "1.5953 mm", "stop": "0.75 mm", "seat": "2 mm", "cone": "60 deg"},
                {"lift": "0.8453 mm", "curtain": "3.1416 mm2"}),
        Example("Derived: difference of two depths, and the frustum found numerically between "
                "needle edge and seat cone (d 2, h 0.2 mm, 60°)",
                {"depth": "0.85 mm", "stop": "0.65 mm", "seat": "2 mm", "cone": "60 deg"},
                {"lift": "0.200 mm", "curtain": "0.65553 mm2"}, printed=False),
        Example("Derived: the same lift read on a dial",
                {"closed": "1.235 mm", "open": "1.435 mm"}, {"dial": "0.200 mm"}, printed=False),
    ),
)  # fmt: skip


# -- washer -------------------------------------------------------------------------------------


def _washer(v: Values) -> Mapping[str, Any]:
    found = {}
    if "new" in v:
        found["protrusion"] = protrusion_with_washer(
            v["measured"], v["fitted"], v["new"] - v["crush"]
        )
    if "wanted" in v:
        crushed = washer_for_protrusion(v["measured"], v["fitted"], v["wanted"])
        found["thickness"] = crushed + v["crush"]
    if "wanted" in v and "new" in v:
        found["off"] = found["protrusion"] - v["wanted"]
    return found


def _washer_objections(v: Values) -> Iterable[Fault]:
    if "new" not in v and "wanted" not in v:
        yield Fault(
            say("neither new washer nor wanted protrusion is given"),
            "new",
            say("Give the thickness of the new washer, or the protrusion that is wanted"),
        )
    if "wanted" in v and v["measured"] + v["fitted"] <= v["wanted"]:
        yield Fault(
            say("no washer is thin enough for that protrusion"),
            "wanted",
            say("Look whether the nozzle is the right one, and the seat of the head not set back"),
        )
    if "new" in v and v["new"] <= v["crush"]:
        yield Fault(
            say("the washer would be crushed to nothing"), "crush", say("Give what it loses")
        )


def _washer_remarks(v: Values, results: Mapping[str, float]) -> Iterable[str]:
    if v["crush"] == 0.0:
        yield say(
            "A new washer loses thickness when it is first tightened, and the nozzle then stands "
            "out further by as much: measure it again then."
        )
    if results.get("protrusion", 0.0) < 0.0:
        yield say("The nozzle stands back from the face of the head.")
    yield say("One new washer, never two; look that the old one is out of the bore.")


WASHER = Sum(
    key="washer",
    group=SET,
    title=say("Washer and protrusion"),
    purpose=say("How far the nozzle stands out with another washer, or which washer it needs."),
    inputs=(
        Input("measured", say("Protrusion measured"), Kind.LENGTH, -0.02, 0.05,
              say("Depth gauge from the face of the head to the nozzle's tip, old washer "
                  "fitted.")),
        Input("fitted", say("Fitted washer, crushed"), Kind.LENGTH, 0.0, 0.02,
              say("Micrometer over the washer that came out.")),
        Input("new", say("New washer"), Kind.LENGTH, 0.05e-3, 0.02,
              say("Micrometer over the new one, before it is fitted."), needed=False),
        Input("wanted", say("Protrusion wanted"), Kind.LENGTH, -0.02, 0.05,
              say("As the engine maker's manual has it."), needed=False),
        Input("crush", say("What a new washer loses"), Kind.LENGTH, 0.0, 5e-3,
              say("New less crushed, from one that was measured before and after."),
              needed=False, taken=Taken(0.0, "mm", say("nothing"))),
    ),
    outputs=(
        Output("protrusion", say("Protrusion with the new washer"), Kind.LENGTH),
        Output("thickness", say("Washer wanted, new"), Kind.LENGTH),
        Output("off", say("Off the wanted protrusion"), Kind.LENGTH),
    ),
    formula=say("new protrusion = old protrusion + old washer − new washer (both crushed)"),
    compute=_washer,
    source=say("Geometry: what a washer adds is missing in front, as with the shims of valve "
               "clearances in workshop manuals. No printed example of a nozzle was found."),
    validity=(say("The bore's seat clean, and the injector pulled down to its torque."),),
    drawing="washer",
    caution=say("A washer too thick puts the spray into the head, one too thin can let the piston "
                "touch the nozzle. The engine maker's manual comes first."),
    remarks=_washer_remarks,
    objections=_washer_objections,
    examples=(
        Example("Workshop manual of a diesel engine, the same sum for a valve: clearance 0.45 mm, "
                "0.25 wanted, shim 2.80 mm",
                {"measured": "0.45 mm", "fitted": "2.80 mm", "wanted": "0.25 mm"},
                {"thickness": "3.00 mm"}),
        Example("Workshop manual of a marine engine, the same sum for a valve: clearance 0.30 mm "
                "(0.012 in), 0.40 (0.016) wanted, shim 3.80 mm (0.150)",
                {"measured": "0.012 in", "fitted": "0.150 in", "wanted": "0.016 in"},
                {"thickness": "0.146 in"}),
        Example("Workshop manual of a car, protrusion of a cylinder liner: 0.10 mm without a seal, "
                "0.23 wanted, seal of 0.13 mm. A seal lifts the liner, so both count with a minus",
                {"measured": "-0.10 mm", "fitted": "0 mm", "wanted": "-0.23 mm"},
                {"thickness": "0.13 mm"}),
        Example("Service manual of a marine diesel engine, protrusion of a cylinder liner: 0.14 mm "
                "below the block without a shim, 0.01 mm above it with one of 0.15",
                {"measured": "0.14 mm", "fitted": "0 mm", "new": "0.15 mm"},
                {"protrusion": "-0.01 mm"}),
        Example("Published notes on the gasket of a spark plug: 2.0 mm new, 1.45 to 1.65 mm at "
                "its torque, 1.55 in the middle. Here in place of one that was never crushed",
                {"measured": "0 mm", "fitted": "2.0 mm", "new": "2.0 mm",
                 "crush": "0.45 mm"},
                {"protrusion": "0.45 mm"}),
        Example("Derived: 2.6 mm with a washer of 1.5 mm; 2.1 mm are left with 2.0 mm",
                {"measured": "2.6 mm", "fitted": "1.5 mm", "new": "2.0 mm", "wanted": "2.6 mm"},
                {"protrusion": "2.10 mm", "thickness": "1.50 mm", "off": "-0.50 mm"},
                printed=False),
    ),
)  # fmt: skip


# -- pressure faces -----------------------------------------------------------------------------

LAMPS = {
    "helium": say("helium"),
    "sodium": say("sodium"),
    "mercury": say("mercury, green"),
    "laser": say("red laser (helium-neon)"),
}
_WAVES = {
    "helium": LAMP_WAVELENGTHS_M["helium"],
    "sodium": LAMP_WAVELENGTHS_M["sodium"],
    "mercury": LAMP_WAVELENGTHS_M["mercury green"],
    "laser": LAMP_WAVELENGTHS_M["helium-neon laser"],
}


def _bands(v: Values) -> Mapping[str, Any]:
    counted = v["bands"] if "bands" in v else bands_from_bend(v["bend"], v["spacing"])
    flatness = flatness_from_bands(counted, _WAVES[v["lamp"]])
    return {
        "flatness": flatness,
        "inches": flatness,
        "counted": counted,
        "band": _WAVES[v["lamp"]] / 2.0,
    }


def _bands_objections(v: Values) -> Iterable[Fault]:
    if "bands" not in v and not ("bend" in v and "spacing" in v):
        yield Fault(
            say("no bend is given"),
            "bands",
            say("Give the bend in bands, or bend and spacing as measured on a photograph"),
        )


def _bands_remarks(_v: Values, results: Mapping[str, float]) -> Iterable[str]:
    if results["counted"] > 10.0:
        yield say("So many bands cannot be counted safely: use a dial gauge or blue.")
    yield say(
        "Press the rim of the flat: bands that move away from the finger bend round a hill, bands "
        "that move towards it round a hollow. (Common practice, no source.)"
    )


BANDS = Sum(
    key="bands",
    group=PARTS,
    title=say("Flatness by optical flat"),
    purpose=say("How far from flat a lapped face is, from the bend of the bands."),
    inputs=(
        Input("bands", say("Bend of a band"), Kind.NUMBER, 0.0, 100.0,
              say("In spacings between bands: lay a straight edge over the ends of one band, and "
                  "count how many it crosses. Not the number of bands."), needed=False),
        Input("lamp", say("Lamp"), Kind.NUMBER, 0.0, 0.0,
              say("As marked on the lamp; a band is half of its wavelength."), choices=LAMPS),
        Input("bend", say("Bend on a photograph"), Kind.LENGTH, 0.0, 1.0,
              say("Or measured: middle of the band off the line through its ends."),
              needed=False),
        Input("spacing", say("Spacing on the photograph"), Kind.LENGTH, 1e-6, 1.0,
              say("From one band to the next, in the same picture."), needed=False),
    ),
    outputs=(
        Output("flatness", say("Off flat by"), Kind.LENGTH, unit="um", digits=3),
        Output("inches", say("Off flat by, in microinches"), Kind.LENGTH, unit="uin", digits=3),
        Output("counted", say("Bend in bands"), Kind.NUMBER, digits=3),
        Output("band", say("One band stands for"), Kind.LENGTH, unit="um", digits=4),
    ),
    formula=say("off flat = bend in bands × λ / 2"),
    compute=_bands,
    source=say("Interference at an air wedge; US Army course MM 0478 works the same sum."),
    validity=(
        say("A clean, lapped face that reflects, looked at squarely from above."),
        say("Count the bend, not the bands: their number only says how the flat is tilted."),
    ),
    drawing="bands",
    remarks=_bands_remarks,
    objections=_bands_objections,
    examples=(
        Example("Published notes on mechanical seals: three helium bands are a little less than "
                "1 µm, a band 0.0000116 in",
                {"bands": "3", "lamp": "helium"}, {"flatness": "0.88 um", "inches": "35 uin"}),
        Example("Wavelength of the helium line 587.6 nm: a band is 0.2938 µm, 11.57 µin",
                {"bands": "1", "lamp": "helium"}, {"band": "0.2938 um", "inches": "11.57 uin"}),
    ),
)  # fmt: skip


# -- opening pressure ---------------------------------------------------------------------------

_RELIEF_VALVE = (
    "A. Esposito, Fluid Power with Applications, example 8-1 (data and steps read in a public "
    "companion): relief valve of 0.75 in², here the ring between two circles; spring 2500 lbf/in"
)
_POPPET = {"guide": "1.09768 in", "seat": "0.5 in", "rate": "2500 lbf/in"}


def _opening(v: Values) -> Mapping[str, Any]:
    force = v["force"] if "force" in v else v["rate"] * v["preload"]
    sides = {"back_pressure_pa": v["back"], "friction_n": v["friction"]}
    found = {
        "opening": opening_pressure(force, v["guide"], v["seat"], **sides),
        "closing": closing_pressure(force, v["guide"], **sides),
        "area": lifting_area(v["guide"], v["seat"]),
        "spring": force,
    }
    if "rate" in v:
        found["shim"] = pressure_per_shim(v["rate"], v["guide"], v["seat"])
    if "cylinder" in v:
        found["engine"] = opening_pressure(
            force, v["guide"], v["seat"], cylinder_pressure_pa=v["cylinder"], **sides
        )
    return found


def _opening_objections(v: Values) -> Iterable[Fault]:
    yield from _wider(v)
    if "force" not in v and not ("rate" in v and "preload" in v):
        yield Fault(
            say("no spring force is given"),
            "force",
            say("Give the force, or rate and preload of the spring"),
        )
    elif "force" not in v and v["preload"] <= 0.0:
        yield Fault(
            say("a spring that is not pressed holds no needle shut"),
            "preload",
            say("Give by how much it is shorter as set than free"),
        )


def _opening_remarks(v: Values, results: Mapping[str, float]) -> Iterable[str]:
    if "force" in v and "rate" in v and "preload" in v:
        yield say("Force and preload are both given: the force was used.")
    if results.get("engine", math.inf) <= v.get("cylinder", 0.0):
        yield say(
            "On the engine it would open below the pressure in the cylinder: the gas would blow "
            "back into the nozzle."
        )
    if results["closing"] / results["opening"] < 0.5:
        yield say("The seat is very wide for the guide: a worn seat, or a slip of the measuring.")
    yield say(
        "The pressure read on the rig is this with the friction of needle and spindle; the rig "
        "sets it, not the sum."
    )


OPENING = Sum(
    key="opening",
    group=SET,
    title=say("Opening pressure from the spring"),
    purpose=say("From spring force and the two diameters to opening and closing pressure."),
    inputs=(
        _GUIDE,
        _SEAT,
        Input("force", say("Spring force, needle closed"), Kind.FORCE, 0.1, 1e5,
              say("From the sum of the spring, or a spring tester."), needed=False),
        Input("rate", say("Spring rate"), Kind.SPRING_RATE, 100.0, 1e7,
              say("From the sum of the spring; with it the effect of a shim is told."),
              needed=False),
        Input("preload", say("Spring pressed by"), Kind.LENGTH, 0.0, 0.1,
              say("Free length less length as set; instead of the force."), needed=False),
        Input("cylinder", say("Pressure in the cylinder"), Kind.PRESSURE, 0.0, 300e5,
              say("At the start of injection: tells the opening pressure on the engine."),
              needed=False),
        Input("back", say("Pressure in the spring chamber"), Kind.PRESSURE, 0.0, 100e5,
              say("Leak-off pressure; nothing on the rig."), needed=False,
              taken=Taken(0.0, "bar", say("open leak-off"))),
        Input("friction", say("Friction of the needle"), Kind.FORCE, 0.0, 1e4,
              say("Nothing for a needle that falls by itself."), needed=False,
              taken=Taken(0.0, "N", say("a free needle"))),
    ),
    outputs=(
        Output("opening", say("Opening pressure"), Kind.PRESSURE),
        Output("closing", say("Closing pressure, at rest"), Kind.PRESSURE),
        Output("shim", say("Effect of a shim"), Kind.SHIM_EFFECT),
        Output("engine", say("Opening pressure on the engine"), Kind.PRESSURE),
        Output("area", say("Area that lifts the closed needle"), Kind.AREA),
        Output("spring", say("Spring force"), Kind.FORCE),
    ),
    formula=say("p = (F + friction + p back A guide − p cylinder A seat) / (A guide − A seat)"),
    compute=_opening,
    source=say("Balance of forces, as textbooks of hydraulics work it on a relief valve (A. "
               "Esposito, Fluid Power with Applications, example 8-1). No printed example of a "
               "needle was found."),
    validity=(
        say("At rest: the pressure seen at closing lies lower, as the line empties meanwhile."),
        say("The holder gives too, so that a shim does less than the spring alone says."),
    ),
    drawing="areas",
    caution=say("Never try an opening pressure without the guard: the jet goes through skin."),
    remarks=_opening_remarks,
    objections=_opening_objections,
    examples=(
        Example(f"{_RELIEF_VALVE}, pressed by 0.20 in: it begins to open at 667 psi",
                _POPPET | {"preload": "0.20 in"}, {"opening": "667 psi", "area": "0.75 in2"}),
        Example(f"{_RELIEF_VALVE}, pressed by 0.10 in more: wide open at 1000 psi",
                _POPPET | {"preload": "0.30 in"}, {"opening": "1000 psi"}),
        Example("Derived: balance of forces at 6 and 2.6 mm for 175 bar; a lumped model of needle "
                "and line opens and closes there",
                {"guide": "6 mm", "seat": "2.6 mm", "force": "401.888 N", "rate": "200 N/mm",
                 "cylinder": "60 bar"},
                {"opening": "175.00 bar", "shim": "87.09 bar/mm", "engine": "161.13 bar",
                 "closing": "142.1 bar"}, printed=False),
    ),
)  # fmt: skip


# -- two springs --------------------------------------------------------------------------------


def _two(v: Values) -> Mapping[str, Any]:
    def second(share: float, pre_lift: Any) -> Any:
        return second_opening_pressure(
            v["first"], v["rate"], pre_lift, v["second"], v["guide"], v["seat"], share
        )

    low, high = second(1.0, v["pre_lift"]), second(0.0, v["pre_lift"])
    step = 0.01e-3
    return {
        "low": low,
        "high": high,
        "effect": (second(1.0, v["pre_lift"] + step) - low) / step,
    }


def _two_remarks(v: Values, results: Mapping[str, float]) -> Iterable[str]:
    if results["high"] <= v["first"]:
        yield say("The second pressure is below the first: the needle would go straight through.")
    elif results["low"] <= v["first"]:
        yield say("Both pressures lie so close that the stages may not be told apart.")
    yield say("A hand pump often cannot reach the second pressure: the gauge then shows the first.")


TWO_SPRING = Sum(
    key="two-spring",
    group=SET,
    title=say("Two-spring holder"),
    purpose=say("The second opening pressure, from the first, the pre-lift and both springs."),
    inputs=(
        Input("first", say("First opening pressure"), Kind.PRESSURE, 1e5, 1000e5,
              say("As read on the rig.")),
        Input("rate", say("Rate of the first spring"), Kind.SPRING_RATE, 100.0, 1e7,
              say("From the sum of the spring.")),
        Input("pre_lift", say("Pre-lift"), Kind.LENGTH, 0.0, 1e-3,
              say("Lift until the needle meets the second spring; dial gauge.")),
        Input("second", say("Preload of the second spring"), Kind.FORCE, 0.0, 1e5,
              say("From its rate and how far it is pressed.")),
        _GUIDE,
        _SEAT,
    ),
    outputs=(
        Output("low", say("Second pressure, at least"), Kind.PRESSURE),
        Output("high", say("Second pressure, at most"), Kind.PRESSURE),
        Output("effect", say("Effect of pre-lift"), Kind.SHIM_EFFECT),
    ),
    formula=say("p₂ = (p₁ (A guide − A seat) + R₁ × pre-lift + F₂) / A, with A the area of the "
                "guide (at least) or that without the seat (at most)"),
    compute=_two,
    source=say("Balance of forces, as textbooks work it on two springs of which the second joins "
               "after a gap (V. B. Bhandari, Design of Machine Elements, example 10.19). No "
               "printed example of a holder was found."),
    validity=(
        say("At rest, without friction. How much pressure stands under the seat at pre-lift is "
            "not known: the two results are its ends."),
    ),
    drawing="two-spring",
    caution=SPRING_CAUTION,
    remarks=_two_remarks,
    objections=_wider,
    examples=(
        Example("V. B. Bhandari, Design of Machine Elements, example 10.19 (data and steps read in "
                "a public companion, worked by hand): the inner spring joins after 15 mm, and both "
                "carry 1000 N at 24.99 mm, 706.0 and 294.0 N. Here on 1000 mm², the outer at 24 mm "
                "taken as the first stage",
                {"first": "6.7808 bar", "rate": "28.2535 N/mm", "pre_lift": "0.98884 mm",
                 "second": "293.98 N", "guide": "35.6825 mm", "seat": "0.3 mm"},
                {"low": "10.00 bar", "high": "10.00 bar"}),
        Example("Strength of materials in a public companion, problem 8.8: the inner spring joins "
                "after 10 mm, and both carry 100 N at 20 mm, 60 and 40 N. Here on 100 mm², the "
                "outer at 19 mm taken as the first stage",
                {"first": "5.70 bar", "rate": "3 N/mm", "pre_lift": "1 mm",
                 "second": "40 N", "guide": "11.2838 mm", "seat": "0.3 mm"},
                {"low": "10.0 bar", "high": "10.0 bar"}),
        Example("Derived: a needle pushed up step by step over both springs",
                {"first": "180 bar", "rate": "110 N/mm", "pre_lift": "0.05 mm",
                 "second": "180 N", "guide": "6 mm", "seat": "2.6 mm"},
                {"low": "211.8 bar", "high": "260.8 bar"}, printed=False),
    ),
)  # fmt: skip
