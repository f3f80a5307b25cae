"""The fault table of the trade as a causal model: every row with its source.

A source says that a cause shows so (``printed``); how often it does is an estimate in every row,
made for this table (from memory, by the judgement of the bench), and is what closed jobs correct.
Rows marked ``practice`` are common practice, no source. Manuals were read page by page; pages may
differ by edition.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from types import MappingProxyType

from nozzlewright.advice.causes.model import (
    Background,
    Cause,
    CauseModel,
    Confidence,
    Link,
    Needs,
    Observation,
    Place,
    Sort,
)
from nozzlewright.said import say

SOURCES: Mapping[str, str] = MappingProxyType(
    {
        "A": "TM 9-4310-397-14, leakage test (7), p. 275",
        "B": "TM 5-3820-233-35/1, paragraph 40 c",
        "C": "TM 55-1930-209-14&P-9-4, pp. N.10 and N.13",
        "D": "TM 5-3820-256-24-5, section 6, pp. 78-79, 374, 386",
        "E": "TM 5-6115-545-34, p. 352, and TM 5-6115-545-12, p. 232",
        "F": "TM 10-4320-315-24, paragraph 4-3",
        "G": "TM 10-3930-671-24, injectors, p. 414",
        "H": "NAVEDTRA 14076, Engineman 2, chapter 3: misfiring; leakage of fuel oil",
        "I": "NAVEDTRA 14329, maintaining injection equipment, p. 207",
        "J": "US Army transportation text TR0656, paragraph 2.11 and p. 93",
        "K": "NAVEDTRA 14264, exhaust smoke and injector misfire check, p. 209",
        "L": "Navy training manual Engineman 3, volume 2, smoke, p. 106",
        "M": "TM 5-3895-383-24, problem 5, p. 285",
        "N": "TM 5-3810-303-24, fuel pump, p. 499; compression",
        "O": "public pages for ship's engineers on what leaking injectors cause",
        "Q": "NAVEDTRA 14075, Engineman 1 & C, compression and firing pressures",
        "R": "TM 55-1930-209-14&P-21, inspection, p. 264",
        "S": "study notes for ships' engineers on five common injector defects",
        "T": "club page for old tractors, Germany: faults of the diesel engine",
        "U": "questions and answers for marine engineers' examinations, question 453",
        "V": "TM 5-3895-348-14P-2, section 15.2, troubleshooting",
        "W": "leaflet of a farm research group on faults of diesel engines, steps 4 and 5",
    }
)
"""Where rows of the table were read."""

_I, _E, _B = Place.INJECTOR, Place.ENGINE, Place.BENCH
CAUSES: tuple[Cause, ...] = (
    Cause("spring_relaxed", say("spring relaxed"), _I, 0.14,
          say("Measure the spring, renew it if short, set the opening pressure")),
    Cause("spring_broken", say("spring broken"), _I, 0.02, say("Renew the spring and set")),
    Cause("shim_thin", say("shim too thin"), _I, 0.035, say("Fit the right shim")),
    Cause("shim_thick", say("shim too thick"), _I, 0.035, say("Fit the right shim")),
    Cause("adjuster_slipped", say("adjuster or lock nut slipped"), _I, 0.02,
          say("Set anew, lock, read again after locking")),
    Cause("seat_dirty", say("seat dirty or carboned"), _I, 0.13,
          say("Clean and flush, test again")),
    Cause("seat_worn", say("seat worn, pitted or pounded"), _I, 0.10, say("Renew the pair")),
    Cause("guide_worn", say("guide worn"), _I, 0.08, say("Renew the pair")),
    Cause("needle_sticky", say("needle sticky: scored or lacquered"), _I, 0.08,
          say("Clean the pair, slide test; renew it if it still hangs")),
    Cause("needle_shut", say("needle stuck shut"), _I, 0.015, say("Condemn the pair")),
    Cause("needle_open", say("needle stuck open"), _I, 0.015, say("Strip, clean, look for dirt")),
    Cause("mixed_pair", say("needle and body of two pairs"), _I, 0.012,
          say("Find the partner, else renew the pair")),
    Cause("face_leak", say("pressure face leaks"), _I, 0.06,
          say("Lap or renew the faces; never tighten harder")),
    Cause("holes_choked", say("holes choked"), _I, 0.12, say("Decarbonise, clear the holes")),
    Cause("holes_worn", say("holes worn or oval"), _I, 0.07, say("Renew the nozzle")),
    Cause("tip_overheated", say("tip overheated or cracked"), _I, 0.03,
          say("Renew the nozzle, look at washer and bore")),
    Cause("off_axis", say("nozzle off its axis: dowel lost or sheared"), _I, 0.015,
          say("Renew the dowels, fit the nozzle true")),
    Cause("lift_wrong", say("needle lift wrong"), _I, 0.01, say("Fit the right stop or piece")),
    Cause("nut_overtight", say("nozzle nut over-tightened"), _I, 0.02,
          say("Loosen, look at the nut, tighten to torque")),
    Cause("filter_choked", say("inlet filter choked"), _I, 0.02, say("Renew the filter")),
    Cause("leak_off_blocked", say("leak-off blocked or its washers leak"), _I, 0.02,
          say("Clear the way back, new washers")),
    Cause("washer", say("seat washer missing, doubled or blown"), _I, 0.05,
          say("Clean the bore, one new washer")),
    Cause("compression", say("compression low: rings, valves, gasket"), _E, 0.07,
          say("Compression test of all cylinders")),
    Cause("air_in_fuel", say("air in the fuel"), _E, 0.05, say("Find the leak, bleed")),
    Cause("fuel_supply", say("too little fuel: filter or lift pump"), _E, 0.05,
          say("Change filters, measure the supply pressure")),
    Cause("pump_element", say("pump element or delivery valve"), _E, 0.05,
          say("Injection pump to its shop")),
    Cause("timing", say("injection timing wrong"), _E, 0.04, say("Time the pump")),
    Cause("air_filter", say("too little air: filter or turbocharger"), _E, 0.05,
          say("Change the air filter, look at the turbocharger")),
    Cause("governor", say("governor"), _E, 0.02, say("Look at linkage and idle setting")),
    Cause("coolant", say("coolant in the cylinder"), _E, 0.02, say("Pressure-test the coolant")),
    Cause("oil_burning", say("lubricating oil burns"), _E, 0.04,
          say("Look at rings, guides, turbocharger seals")),
    Cause("pipe_choked", say("injection pipe choked at its end"), _E, 0.015,
          say("Renew the pipe, tighten its nuts to torque")),
    Cause("rig_leak", say("the rig leaks"), _B, 0.05,
          say("Hold with the blank plug, mend the rig")),
    Cause("cold_oil", say("oil at the bench too cold"), _B, 0.05,
          say("Warm the oil, or state its temperature and judge at the reference")),
    Cause("gauge_off", say("gauge off"), _B, 0.04, say("Compare it with a master")),
)  # fmt: skip
"""What may be wrong, with its probability at an injector brought to the bench (estimate)."""

_ASK = say("Ask who runs the engine")
NO_YES = (("no", say("no")), ("yes", say("yes")))
MENTIONED, NOTED = 0.5, 0.25
"""Share of what is there that is told unasked, by a customer who writes anything: of what is plain
to whoever runs the engine, and of what somebody must look at to know; estimates, common practice,
no source."""


def _yes(
    key: str,
    name: str,
    leak: float,
    minutes: float = 2.0,
    how: str = "",
    sort: Sort = Sort.SYMPTOM,
    needs: Needs = Needs.NOTHING,
    mentioned: float = 0.0,
) -> Observation:
    return Observation(
        key, name, sort, NO_YES, (1.0 - leak, leak), minutes, how, needs is Needs.MOUNTED,
        mentioned=MENTIONED if how == _ASK else mentioned, needs=needs,
    )  # fmt: skip


def _part(
    key: str, name: str, bad: str, leak: float = 0.03, needs: Needs = Needs.APART
) -> Observation:
    states = (("sound", say("sound")), ("bad", bad))
    return Observation(
        key, name, Sort.PARTS, states, (1.0 - leak, leak), 3.0, say("Look at it, wiped clean"),
        step="inspect", needs=needs,
    )  # fmt: skip


OBSERVATIONS: tuple[Observation, ...] = (
    _yes("knock", say("knock"), 0.04, 2, _ASK),
    _yes("misfire", say("misses"), 0.05, 2, _ASK),
    _yes("dead_cylinder", say("a dead cylinder"), 0.01, 2, _ASK),
    _yes("rough", say("runs roughly"), 0.08, 2, _ASK),
    _yes("black_smoke", say("black smoke"), 0.05, 2, _ASK),
    _yes("white_smoke", say("white smoke"), 0.03, 2, _ASK),
    _yes("blue_smoke", say("blue smoke"), 0.015, 2, _ASK),
    _yes("low_power", say("low power"), 0.05, 2, _ASK),
    _yes("hard_start", say("starts badly"), 0.05, 2, _ASK),
    _yes("hard_start_hot", say("starts badly when hot"), 0.02, 2, _ASK),
    _yes("hunting", say("hunts (its speed swings to and fro)"), 0.02, 2, _ASK),
    _yes("stalls", say("stalls at idle"), 0.02, 2, _ASK),
    _yes("runs_on", say("runs on when stopped"), 0.01, 2, _ASK),
    _yes("oil_diluted", say("fuel in the engine oil"), 0.015, 5,
         say("Look at the dipstick: level up, oil thin?"), mentioned=NOTED),
    _yes("exhaust_hot", say("exhaust of one cylinder too hot"), 0.03, 10,
         say("Read the exhaust temperatures at the same load"), needs=Needs.RUNNING,
         mentioned=NOTED),
    _yes("fuel_use", say("uses more fuel"), 0.05, 2, _ASK),
    _yes("coolant_loss", say("loses coolant, or its exhaust smells sweet"), 0.02, 5,
         say("Look at the coolant level and at the exhaust"), mentioned=NOTED),
    _yes("oil_use", say("uses oil"), 0.05, 2, _ASK),
    _yes("blow_by", say("gas blows past the injector"), 0.01, 5,
         say("Listen and look for soot at the injector's flange"), mentioned=NOTED),
    _yes("bubbles", say("bubbles in the fuel return"), 0.02, 10,
         say("Watch the return in a clear hose, under load"), needs=Needs.RUNNING,
         mentioned=NOTED),
    _yes("piston_burnt", say("piston crown burnt"), 0.01, 60, say("Look at the piston")),
    Observation("scope", say("which cylinders"), Sort.SYMPTOM,
                (("one", say("one or a few")), ("all", say("all alike"))), (0.93, 0.07), 10,
                say("Slacken one pipe union after the other at fast idle"), needs=Needs.RUNNING),
    Observation("swap", say("what the trouble follows"), Sort.SYMPTOM,
                (("unclear", say("nothing clear")), ("cylinder", say("stays with the cylinder")),
                 ("line", say("goes with pipe and pump element")),
                 ("injector", say("goes with the injector"))),
                (0.97, 0.01, 0.01, 0.01), 30,
                say("Swap the injector with another cylinder's and run the engine"),
                needs=Needs.RUNNING),
    Observation("compression_test", say("compression"), Sort.SYMPTOM,
                (("even", say("even")), ("low", say("low at a cylinder"))), (0.97, 0.03), 40,
                say("Measure the compression of all cylinders")),
    _yes("still_bad", say("no better with injectors that passed"), 0.06, 20,
         say("Run the engine with the tested set"), needs=Needs.RUNNING),
    _yes("supply_low", say("fuel supply pressure low"), 0.03, 15,
         say("Measure the supply pressure before the injection pump, at full load"),
         needs=Needs.RUNNING),
    _yes("air_short", say("too little air (filter blocked or boost low)"), 0.03, 10,
         say("Look at the air filter, measure the boost")),
    _yes("timing_off", say("injection timing off its mark"), 0.02, 40,
         say("Check the timing at the pump")),
    _yes("linkage", say("governor linkage sticks or idle set wrong"), 0.02, 10,
         say("Move the linkage by hand, check the idle stop")),
    Observation("looked_over", say("the engine, before the injectors came out"), Sort.SYMPTOM,
                (("done", say("looked over (air, filters, compression, timing)")),
                 ("not_done", say("nothing was looked at"))), (0.98, 0.02), 2, _ASK),
    _yes("since_overhaul", say("began after the last overhaul"), 0.03, 1, _ASK),
    _yes("dirty_fuel", say("dirt or water in the fuel"), 0.03, 5,
         say("Drain a glass of fuel from the filter and look"), mentioned=NOTED),
    Observation("opening", say("opening pressure"), Sort.BENCH,
                (("in_band", say("in its band")), ("high", say("high")), ("low", say("low"))),
                (0.97, 0.01, 0.02), 4, say("Bleed, make five slow pops"), True, "as-found",
                needs=Needs.MOUNTED),
    _yes("unsteady", say("opening pressure wanders from pop to pop"), 0.04, 3,
         say("Make ten slow pops and compare"), Sort.BENCH, Needs.MOUNTED),
    _yes("weeps", say("weeps at its opening and does not pop"), 0.03, 3,
         say("Three slow strokes: does the pressure fall at once when it opens?"), Sort.BENCH,
         Needs.MOUNTED),
    _yes("closing_low", say("closing pressure lower than the set's"), 0.04, 3,
         say("Record slow pops of the set on one rig"), Sort.BENCH, Needs.MOUNTED),
    Observation("seat", say("tip while held under its opening pressure"), Sort.BENCH,
                (("dry", say("dry")), ("damp", say("damp")), ("drop", say("drop"))),
                (0.88, 0.09, 0.03), 2, say("Wipe the tip dry, hold, watch"), True, "seat",
                needs=Needs.MOUNTED),
    Observation("drop", say("fall of pressure"), Sort.BENCH,
                (("within", say("within its limits")), ("slow", say("too slow")),
                 ("fast", say("too fast"))), (0.95, 0.02, 0.03), 2,
                say("Pump up, shut off, time the fall"), True, "back-leakage", needs=Needs.MOUNTED),
    Observation("outside_leak", say("oil outside while it is held"), Sort.BENCH,
                (("none", say("none")), ("top", say("at cap or leak-off")),
                 ("nut", say("at the nozzle nut"))), (0.96, 0.02, 0.02), 1.5,
                say("Wipe nut, cap and unions dry, hold, watch them"), True, "back-leakage",
                mentioned=MENTIONED, needs=Needs.MOUNTED),
    Observation("return_drops", say("drops at the leak-off while it is held"), Sort.BENCH,
                (("few", say("few")), ("many", say("many"))), (0.96, 0.04), 2,
                say("Hold, count drops at the leak-off with the nut wiped dry"), True,
                "back-leakage", needs=Needs.MOUNTED),
    Observation("chatter", say("chatter"), Sort.BENCH,
                (("clear", say("clear")), ("weak", say("weak")), ("none", say("none"))),
                (0.93, 0.05, 0.02), 1, say("Ten quick even strokes, gauge isolated"), True,
                "chatter", needs=Needs.MOUNTED),
    Observation("spray", say("spray"), Sort.BENCH,
                (("good", say("good")), ("streaky", say("coarse or streaky")),
                 ("dribble", say("dribbles")), ("one_sided", say("one-sided or deflected")),
                 ("solid_jet", say("one long solid jet")),
                 ("jet_missing", say("a jet is missing"))),
                (0.92, 0.04, 0.01, 0.015, 0.005, 0.01), 1,
                say("Brisk strokes into a clear cup, gauge isolated; look at each jet"), True,
                "spray", needs=Needs.MOUNTED),
    Observation("flow", say("flow at full pressure of the rig"), Sort.BENCH,
                (("opens", say("it opens")), ("no_build_up", say("no pressure builds up")),
                 ("none", say("nothing comes"))), (0.985, 0.01, 0.005), 3,
                say("Bleed and pump, never past the gauge's span"), True, "as-found",
                needs=Needs.MOUNTED),
    Observation("blank", say("hold with the blank plug"), Sort.BENCH,
                (("holds", say("holds")), ("falls", say("falls"))), (0.98, 0.02), 3,
                say("Put the blank plug in the injector's place, pump up, shut off, watch"),
                jet=True, needs=Needs.RIG),
    Observation("oil", say("oil at the bench"), Sort.BENCH,
                (("usual", say("as the test asks")), ("cold", say("colder"))), (0.97, 0.03), 1,
                say("Read the oil's temperature"), needs=Needs.RIG),
    Observation("master", say("known-good injector on this bench"), Sort.BENCH,
                (("right", say("opens where it should")), ("off", say("reads off"))),
                (0.97, 0.03), 5, say("Test the master injector"), jet=True, needs=Needs.RIG),
    Observation("slide", say("needle slides by its own weight"), Sort.PARTS,
                (("free", say("freely")), ("sticks", say("it hangs"))), (0.96, 0.04), 3,
                say("Wet with clean oil, lift a third, let it fall, at several angles"), False,
                "slide", needs=Needs.APART),
    _part("f_spring", say("spring"), say("cracked, broken, short or rubbed"), 0.04),
    _part("f_shim", say("shim"), say("wrong, burred or stacked"), 0.03),
    _part("f_adjuster", say("adjuster and lock nut"), say("thread pulled or loose"), 0.02),
    Observation("f_seat", say("seat"), Sort.PARTS,
                (("sound", say("sound")), ("carbon", say("carbon or dirt")),
                 ("worn", say("worn, pitted or pounded"))), (0.9, 0.07, 0.03), 3,
                say("Look at it under the glass, wiped clean"), False, "inspect",
                needs=Needs.APART),
    _part("f_guide", say("guide bore"), say("scored or loose")),
    Observation("f_needle", say("needle"), Sort.PARTS,
                (("sound", say("sound")), ("lacquer", say("lacquered")),
                 ("scuffed", say("scuffed, bent or seized"))), (0.93, 0.04, 0.03), 3,
                say("Look at it, wiped clean"), False, "inspect", needs=Needs.APART),
    Observation("f_pair", say("marks of needle and body"), Sort.PARTS,
                (("sound", say("of one pair")), ("bad", say("of two pairs"))), (0.99, 0.01), 3,
                say("Look at it, wiped clean"), False, "inspect", needs=Needs.APART),
    _part("f_face", say("pressure faces"), say("dented or scratched"), 0.05),
    Observation("f_holes", say("holes"), Sort.PARTS,
                (("sound", say("sound")), ("blocked", say("blocked")),
                 ("enlarged", say("enlarged or oval"))), (0.94, 0.03, 0.03), 5,
                say("Gauge the holes against the light"), False, "inspect", needs=Needs.APART),
    _part("f_tip", say("tip"), say("cracked, blued or corroded")),
    _part("f_dowel", say("dowels"), say("loose, bent or sheared"), 0.02),
    _part("f_lift", say("stop or distance piece"), say("worn or of another thickness"), 0.02),
    _part("f_filter", say("inlet filter"), say("blocked or torn"), 0.03),
    _part("f_leak_off", say("leak-off"), say("blocked or leaking"), 0.03),
    _part("f_washer", say("seat washer"), say("missing, doubled or blown"), 0.03, Needs.OUT),
    _part("f_nut", say("nozzle nut"), say("stretched or blued"), 0.02),
    Observation("shim_odd", say("shim against the others of the set"), Sort.SET,
                (("usual", say("alike")), ("thin", say("thinner")), ("thick", say("thicker"))),
                (0.9, 0.05, 0.05), 5, say("Measure the shim"), needs=Needs.APART),
    _yes("torque_high", say("nut tighter than the sheet says"), 0.02, 2,
         say("Note the torque"), Sort.SET, Needs.OUT),
    _yes("others_alike", say("others of the set show the same"), 0.12, 15,
         say("Test the others the same way"), Sort.SET, Needs.OUT),
)  # fmt: skip
"""What can be observed, with what is seen where nothing of the table is wrong (estimate)."""

_ROWS = """
spring_relaxed   opening      low=.88                 D,B   printed
spring_relaxed   knock        yes=.40                 -     practice
spring_relaxed   black_smoke  yes=.30                 -     practice
spring_relaxed   f_spring     bad=.55                 D     printed
spring_relaxed   rough        yes=.20                 -     practice
spring_relaxed   fuel_use     yes=.20                 G     printed
spring_relaxed   exhaust_hot  yes=.15                 O     printed
spring_relaxed   hard_start   yes=.08                 -     practice
spring_relaxed   swap         injector=.80            -     practice
spring_relaxed   others_alike yes=.45                 -     practice
spring_broken    opening      low=.93                 B     printed
spring_broken    knock        yes=.60                 -     practice
spring_broken    misfire      yes=.30                 -     practice
spring_broken    unsteady     yes=.60                 -     practice
spring_broken    spray        streaky=.3,dribble=.3   -     practice
spring_broken    seat         damp=.2,drop=.4         -     practice
spring_broken    flow         no_build_up=.25         -     practice
spring_broken    f_spring     bad=.97                 B     printed
spring_broken    weeps        yes=.20                 -     practice
spring_broken    rough        yes=.30                 -     practice
spring_broken    swap         injector=.85            -     practice
spring_broken    chatter      weak=.3,none=.3         -     practice
shim_thin        opening      low=.90                 F     printed
shim_thin        knock        yes=.40                 -     practice
shim_thin        shim_odd     thin=.75                -     practice
shim_thin        f_shim       bad=.40                 -     practice
shim_thin        rough        yes=.25                 -     practice
shim_thin        black_smoke  yes=.20                 -     practice
shim_thin        hard_start   yes=.08                 -     practice
shim_thin        swap         injector=.75            -     practice
shim_thick       opening      high=.92                F     printed
shim_thick       low_power    yes=.35                 -     practice
shim_thick       hard_start   yes=.15                 -     practice
shim_thick       rough        yes=.25                 -     practice
shim_thick       shim_odd     thick=.75               -     practice
shim_thick       f_shim       bad=.40                 -     practice
shim_thick       swap         injector=.75            -     practice
adjuster_slipped opening      high=.10,low=.80        J     printed
adjuster_slipped unsteady     yes=.45                 -     practice
adjuster_slipped knock        yes=.35                 -     practice
adjuster_slipped f_adjuster   bad=.75                 -     practice
adjuster_slipped rough        yes=.25                 -     practice
adjuster_slipped outside_leak top=.15                 J     printed
adjuster_slipped hard_start   yes=.10                 T     printed
adjuster_slipped swap         injector=.75            -     practice
seat_dirty       seat         damp=.20,drop=.70       A,C   printed
seat_dirty       knock        yes=.35                 J,I   printed
seat_dirty       misfire      yes=.35                 I     printed
seat_dirty       black_smoke  yes=.50                 I,H   printed
seat_dirty       white_smoke  yes=.20                 K     printed
seat_dirty       blue_smoke   yes=.08                 L     printed
seat_dirty       runs_on      yes=.12                 H     printed
seat_dirty       oil_diluted  yes=.12                 H     printed
seat_dirty       low_power    yes=.20                 H     printed
seat_dirty       fuel_use     yes=.25                 G     printed
seat_dirty       exhaust_hot  yes=.30                 O     printed
seat_dirty       spray        streaky=.15,dribble=.45 D     printed
seat_dirty       chatter      weak=.40,none=.15       -     practice
seat_dirty       f_seat       carbon=.85              H     printed
seat_dirty       drop         fast=.20                -     practice
seat_dirty       closing_low  yes=.15                 -     practice
seat_dirty       weeps        yes=.20                 -     practice
seat_dirty       hard_start   yes=.12                 T,V   printed
seat_dirty       rough        yes=.20                 S,V   printed
seat_dirty       stalls       yes=.06                 M,V   printed
seat_dirty       swap         injector=.80            -     practice
seat_dirty       others_alike yes=.25                 -     practice
seat_worn        seat         damp=.25,drop=.65       A,C   printed
seat_worn        knock        yes=.35                 J     printed
seat_worn        misfire      yes=.30                 I     printed
seat_worn        black_smoke  yes=.45                 H,I   printed
seat_worn        white_smoke  yes=.18                 K     printed
seat_worn        blue_smoke   yes=.08                 L     printed
seat_worn        runs_on      yes=.12                 H     printed
seat_worn        oil_diluted  yes=.12                 H     printed
seat_worn        low_power    yes=.20                 H     printed
seat_worn        fuel_use     yes=.25                 G     printed
seat_worn        exhaust_hot  yes=.30                 O     printed
seat_worn        spray        streaky=.20,dribble=.40 D     printed
seat_worn        chatter      weak=.40,none=.35       -     practice
seat_worn        f_seat       worn=.88                I     printed
seat_worn        drop         fast=.20                -     practice
seat_worn        closing_low  yes=.20                 -     practice
seat_worn        opening      low=.12                 -     practice
seat_worn        weeps        yes=.40                 -     practice
seat_worn        hard_start   yes=.15                 T,V   printed
seat_worn        rough        yes=.20                 S,V   printed
seat_worn        stalls       yes=.06                 M,V   printed
seat_worn        swap         injector=.80            -     practice
seat_worn        others_alike yes=.30                 -     practice
guide_worn       drop         fast=.90                A,C   printed
guide_worn       return_drops many=.88                A     printed
guide_worn       hard_start_hot yes=.45               -     practice
guide_worn       hard_start   yes=.12                 T     printed
guide_worn       low_power    yes=.25                 -     practice
guide_worn       chatter      weak=.15                -     practice
guide_worn       f_guide      bad=.55                 -     practice
guide_worn       f_needle     scuffed=.20             -     practice
guide_worn       swap         injector=.70            -     practice
guide_worn       others_alike yes=.40                 -     practice
needle_sticky    slide        sticks=.90              F     printed
needle_sticky    chatter      weak=.40,none=.45       -     practice
needle_sticky    drop         slow=.30                A     printed
needle_sticky    knock        yes=.35                 J     printed
needle_sticky    black_smoke  yes=.45                 J     printed
needle_sticky    white_smoke  yes=.15                 -     practice
needle_sticky    hunting      yes=.20                 -     practice
needle_sticky    stalls       yes=.10                 M,V   printed
needle_sticky    misfire      yes=.30                 -     practice
needle_sticky    unsteady     yes=.45                 -     practice
needle_sticky    opening      high=.15                -     practice
needle_sticky    closing_low  yes=.55                 -     practice
needle_sticky    seat         damp=.10,drop=.20       O     printed
needle_sticky    spray        streaky=.35,dribble=.15 -     practice
needle_sticky    f_needle     lacquer=.45,scuffed=.40 -     practice
needle_sticky    weeps        yes=.15                 -     practice
needle_sticky    hard_start   yes=.15                 T     printed
needle_sticky    rough        yes=.30                 S     printed
needle_sticky    low_power    yes=.25                 S     printed
needle_sticky    fuel_use     yes=.20                 S     printed
needle_sticky    swap         injector=.80            -     practice
needle_shut      flow         none=.95                -     practice
needle_shut      dead_cylinder yes=.90                -     practice
needle_shut      misfire      yes=.50                 -     practice
needle_shut      low_power    yes=.60                 -     practice
needle_shut      slide        sticks=.95              F     printed
needle_shut      f_needle     scuffed=.80             -     practice
needle_shut      rough        yes=.50                 -     practice
needle_shut      swap         injector=.90            -     practice
needle_shut      opening      high=.50                -     practice
needle_open      flow         no_build_up=.75         -     practice
needle_open      seat         drop=.70                O     printed
needle_open      spray        dribble=.75             D     printed
needle_open      knock        yes=.50                 I,J   printed
needle_open      black_smoke  yes=.60                 I,J   printed
needle_open      misfire      yes=.40                 I     printed
needle_open      runs_on      yes=.30                 H     printed
needle_open      oil_diluted  yes=.30                 H     printed
needle_open      chatter      none=.85                -     practice
needle_open      slide        sticks=.85              O     printed
needle_open      drop         fast=.60                -     practice
needle_open      exhaust_hot  yes=.40                 O     printed
needle_open      f_needle     scuffed=.60             -     practice
needle_open      rough        yes=.35                 S     printed
needle_open      low_power    yes=.25                 S     printed
needle_open      fuel_use     yes=.30                 S     printed
needle_open      hard_start   yes=.15                 T     printed
needle_open      swap         injector=.90            -     practice
mixed_pair       slide        sticks=.55              F     printed
mixed_pair       drop         slow=.60,fast=.20       A     printed
mixed_pair       chatter      weak=.35,none=.35       -     practice
mixed_pair       rough        yes=.50                 -     practice
mixed_pair       seat         damp=.15,drop=.20       -     practice
mixed_pair       swap         injector=.75            -     practice
mixed_pair       f_pair       bad=.75                 -     practice
face_leak        outside_leak nut=.65                 B,C   printed
face_leak        drop         fast=.80                B     printed
face_leak        return_drops many=.25                -     practice
face_leak        f_face       bad=.75                 F     printed
face_leak        oil_diluted  yes=.30                 N,R   printed
face_leak        fuel_use     yes=.20                 R     printed
face_leak        bubbles      yes=.15                 -     practice
face_leak        hard_start   yes=.20                 T     printed
face_leak        low_power    yes=.15                 -     practice
face_leak        swap         injector=.60            -     practice
holes_choked     spray        streaky=.15,one_sided=.35,jet_missing=.40  C,E  printed
holes_choked     low_power    yes=.45                 I     printed
holes_choked     misfire      yes=.35                 I     printed
holes_choked     black_smoke  yes=.25                 G     printed
holes_choked     white_smoke  yes=.25                 K     printed
holes_choked     opening      high=.08                -     practice
holes_choked     rough        yes=.25                 S     printed
holes_choked     f_holes      blocked=.88             E     printed
holes_choked     chatter      weak=.15                -     practice
holes_choked     hard_start   yes=.12                 W     printed
holes_choked     fuel_use     yes=.15                 S     printed
holes_choked     swap         injector=.80            -     practice
holes_choked     others_alike yes=.30                 -     practice
holes_choked     piston_burnt yes=.05                 -     practice
holes_worn       spray        streaky=.45,one_sided=.15,solid_jet=.30  C,E  printed
holes_worn       black_smoke  yes=.55                 K     printed
holes_worn       white_smoke  yes=.12                 K     printed
holes_worn       fuel_use     yes=.35                 G     printed
holes_worn       exhaust_hot  yes=.20                 O     printed
holes_worn       low_power    yes=.15                 S     printed
holes_worn       f_holes      enlarged=.85            E     printed
holes_worn       piston_burnt yes=.15                 -     practice
holes_worn       rough        yes=.20                 S     printed
holes_worn       hard_start   yes=.12                 W     printed
holes_worn       knock        yes=.12                 H     printed
holes_worn       swap         injector=.75            -     practice
holes_worn       others_alike yes=.50                 -     practice
tip_overheated   f_tip        bad=.92                 -     practice
tip_overheated   spray        streaky=.20,dribble=.30 -     practice
tip_overheated   seat         damp=.10,drop=.40       -     practice
tip_overheated   slide        sticks=.40              -     practice
tip_overheated   black_smoke  yes=.40                 -     practice
tip_overheated   knock        yes=.25                 -     practice
tip_overheated   chatter      weak=.30,none=.20       -     practice
tip_overheated   f_washer     bad=.30                 -     practice
tip_overheated   swap         injector=.75            -     practice
off_axis         spray        one_sided=.80           B     printed
off_axis         f_dowel      bad=.80                 B     printed
off_axis         black_smoke  yes=.40                 -     practice
off_axis         white_smoke  yes=.25                 -     practice
off_axis         piston_burnt yes=.30                 -     practice
off_axis         outside_leak nut=.20                 -     practice
off_axis         swap         injector=.80            -     practice
lift_wrong       low_power    yes=.60                 -     practice
lift_wrong       spray        streaky=.55             -     practice
lift_wrong       f_lift       bad=.85                 -     practice
lift_wrong       closing_low  yes=.35                 -     practice
lift_wrong       rough        yes=.30                 -     practice
lift_wrong       swap         injector=.80            -     practice
nut_overtight    torque_high  yes=.80                 -     practice
nut_overtight    drop         slow=.40                -     practice
nut_overtight    chatter      weak=.45,none=.30       -     practice
nut_overtight    slide        sticks=.20              -     practice
nut_overtight    f_nut        bad=.50                 -     practice
nut_overtight    hunting      yes=.20                 -     practice
nut_overtight    unsteady     yes=.30                 -     practice
nut_overtight    swap         injector=.75            -     practice
filter_choked    low_power    yes=.55                 -     practice
filter_choked    misfire      yes=.30                 -     practice
filter_choked    f_filter     bad=.92                 -     practice
filter_choked    spray        streaky=.30             -     practice
filter_choked    rough        yes=.20                 -     practice
filter_choked    swap         injector=.75            -     practice
leak_off_blocked outside_leak top=.60                 J     printed
leak_off_blocked opening      high=.30                -     practice
leak_off_blocked unsteady     yes=.30                 -     practice
leak_off_blocked f_leak_off   bad=.88                 -     practice
leak_off_blocked oil_diluted  yes=.20                 N     printed
leak_off_blocked low_power    yes=.20                 -     practice
leak_off_blocked swap         injector=.50            -     practice
washer           blow_by      yes=.80                 E     printed
washer           f_washer     bad=.85                 E     printed
washer           bubbles      yes=.40                 -     practice
washer           hard_start   yes=.30                 -     practice
washer           f_tip        bad=.30                 -     practice
washer           misfire      yes=.15                 -     practice
washer           low_power    yes=.15                 -     practice
washer           swap         cylinder=.30            -     practice
compression      compression_test low=.92             H,Q   printed
compression      misfire      yes=.50                 H     printed
compression      white_smoke  yes=.40                 K     printed
compression      blue_smoke   yes=.20                 K     printed
compression      hard_start   yes=.50                 V     printed
compression      low_power    yes=.40                 H     printed
compression      black_smoke  yes=.20                 L     printed
compression      rough        yes=.30                 V     printed
compression      stalls       yes=.12                 V     printed
compression      exhaust_hot  yes=.25                 U     printed
compression      swap         cylinder=.88            -     practice
compression      still_bad    yes=.90                 -     practice
compression      scope        all=.15                 -     practice
compression      oil_use      yes=.30                 -     practice
air_in_fuel      hard_start   yes=.75                 I     printed
air_in_fuel      misfire      yes=.45                 I     printed
air_in_fuel      stalls       yes=.60                 M     printed
air_in_fuel      hunting      yes=.30                 -     practice
air_in_fuel      low_power    yes=.25                 -     practice
air_in_fuel      bubbles      yes=.75                 I     printed
air_in_fuel      white_smoke  yes=.15                 -     practice
air_in_fuel      scope        all=.85                 I     printed
air_in_fuel      rough        yes=.30                 -     practice
air_in_fuel      still_bad    yes=.90                 -     practice
fuel_supply      supply_low   yes=.85                 M     printed
fuel_supply      stalls       yes=.50                 M,N   printed
fuel_supply      hunting      yes=.20                 -     practice
fuel_supply      low_power    yes=.70                 N     printed
fuel_supply      hard_start   yes=.35                 -     practice
fuel_supply      rough        yes=.40                 N     printed
fuel_supply      misfire      yes=.35                 H     printed
fuel_supply      scope        all=.93                 N     printed
fuel_supply      still_bad    yes=.90                 -     practice
fuel_supply      white_smoke  yes=.15                 -     practice
pump_element     low_power    yes=.55                 I     printed
pump_element     misfire      yes=.50                 I     printed
pump_element     rough        yes=.35                 -     practice
pump_element     black_smoke  yes=.15                 K     printed
pump_element     dead_cylinder yes=.20                -     practice
pump_element     white_smoke  yes=.15                 W     printed
pump_element     swap         line=.88                -     practice
pump_element     still_bad    yes=.90                 -     practice
pump_element     hard_start   yes=.20                 T,W   printed
timing           timing_off   yes=.90                 K     printed
timing           knock        yes=.55                 -     practice
timing           white_smoke  yes=.35                 -     practice
timing           black_smoke  yes=.40                 K,L   printed
timing           low_power    yes=.35                 -     practice
timing           hard_start   yes=.30                 T     printed
timing           exhaust_hot  yes=.10                 -     practice
timing           scope        all=.95                 -     practice
timing           still_bad    yes=.93                 -     practice
air_filter       air_short    yes=.90                 L     printed
air_filter       black_smoke  yes=.85                 K,L   printed
air_filter       low_power    yes=.60                 -     practice
air_filter       misfire      yes=.15                 H     printed
air_filter       fuel_use     yes=.40                 -     practice
air_filter       scope        all=.95                 L     printed
air_filter       hard_start   yes=.15                 V     printed
air_filter       stalls       yes=.12                 V     printed
air_filter       rough        yes=.12                 V     printed
air_filter       still_bad    yes=.93                 -     practice
governor         hunting      yes=.80                 -     practice
governor         stalls       yes=.35                 M     printed
governor         linkage      yes=.70                 M     printed
governor         low_power    yes=.25                 -     practice
governor         scope        all=.93                 -     practice
governor         still_bad    yes=.93                 -     practice
governor         runs_on      yes=.12                 J     printed
coolant          white_smoke  yes=.75                 K     printed
coolant          coolant_loss yes=.88                 K     printed
coolant          hard_start   yes=.20                 -     practice
coolant          misfire      yes=.20                 -     practice
coolant          swap         cylinder=.70            -     practice
coolant          still_bad    yes=.90                 -     practice
coolant          compression_test low=.30             -     practice
oil_burning      blue_smoke   yes=.85                 K,L   printed
oil_burning      oil_use      yes=.85                 K     printed
oil_burning      runs_on      yes=.12                 H,J   printed
oil_burning      knock        yes=.08                 J     printed
oil_burning      still_bad    yes=.85                 -     practice
oil_burning      scope        all=.30                 -     practice
pipe_choked      low_power    yes=.60                 D     printed
pipe_choked      misfire      yes=.40                 -     practice
pipe_choked      dead_cylinder yes=.15                -     practice
pipe_choked      swap         line=.85                D     printed
pipe_choked      still_bad    yes=.85                 -     practice
rig_leak         drop         fast=.75                -     practice
rig_leak         blank        falls=.95               -     practice
rig_leak         others_alike yes=.92                 -     practice
cold_oil         drop         slow=.60                A     printed
cold_oil         oil          cold=.90                A     printed
cold_oil         others_alike yes=.90                 -     practice
cold_oil         chatter      weak=.10                -     practice
gauge_off        opening      high=.40,low=.40        Q     printed
gauge_off        master       off=.93                 -     practice
gauge_off        others_alike yes=.93                 -     practice
"""
"""Cause, observation, chance of each unusual state when only the cause is at work, sources."""

_BEFORE: tuple[Background, ...] = (
    Background("usual", say("hours of service"), 0.76),
    Background(
        "dirt",
        say("dirt or water in the fuel"),
        0.10,
        {
            "seat_dirty": 2.5, "seat_worn": 2.0, "guide_worn": 3.0, "needle_sticky": 2.5,
            "needle_shut": 5.0, "needle_open": 3.0, "filter_choked": 6.0, "holes_worn": 2.0,
            "pump_element": 3.0, "fuel_supply": 3.0,
        },
        {"dirty_fuel": {"yes": 0.75}, "others_alike": {"yes": 0.55}},
    ),
    Background(
        "overhauled",
        say("work done just before"),
        0.14,
        {
            "mixed_pair": 8.0, "shim_thin": 3.0, "shim_thick": 4.0, "adjuster_slipped": 4.0,
            "washer": 2.5, "off_axis": 5.0, "lift_wrong": 10.0, "nut_overtight": 6.0,
            "face_leak": 2.0, "air_in_fuel": 3.0, "spring_relaxed": 0.3, "holes_choked": 0.4,
            "seat_worn": 0.5, "guide_worn": 0.5, "holes_worn": 0.5,
        },
        {"since_overhaul": {"yes": 0.9}, "others_alike": {"yes": 0.15}},
    ),
)  # fmt: skip
"""What went before (estimates; common practice, no source)."""

UNEXAMINED, UNEXAMINED_ODDS = 0.25, 2.0
"""Share of injectors that come in with a complaint of the engine of which nothing was looked at
first, and by how much that raises the odds of each cause at the engine and lowers those of each in
the injector. A fault table in an engine's handbook is read at that point: it begins with the air
filter, where a bench begins with the seat (estimates; common practice, no source)."""


def _backgrounds() -> tuple[Background, ...]:
    """Return what went before, each with the engine looked over first and not."""
    factor = {Place.ENGINE: UNEXAMINED_ODDS, Place.INJECTOR: 1.0 / UNEXAMINED_ODDS}
    found = []
    for one in _BEFORE:
        odds = {c.key: one.odds.get(c.key, 1.0) * factor.get(c.place, 1.0) for c in CAUSES}
        leak = {**one.leak, "looked_over": {"not_done": 0.95}}
        found += [
            replace(one, prior=one.prior * (1.0 - UNEXAMINED)),
            Background(f"{one.key}, unexamined", one.name, one.prior * UNEXAMINED, odds, leak),
        ]
    return tuple(found)


BACKGROUNDS: tuple[Background, ...] = _backgrounds()
"""What stands behind several causes at once."""


def links(rows: str = _ROWS) -> tuple[Link, ...]:
    """Return the rows of a table.

    >>> links("guide_worn drop fast=.9 A,C printed")[0].chances
    {'fast': 0.9}
    """
    found = []
    for row in rows.split("\n"):
        if not row.strip():
            continue
        cause, observation, chances, sources, confidence = row.split()
        pairs = [pair.split("=") for pair in chances.split(",")]
        found.append(
            Link(
                cause,
                observation,
                {state: float(number) for state, number in pairs},
                () if sources == "-" else tuple(sources.split(",")),
                Confidence.PRINTED if confidence == "printed" else Confidence.PRACTICE,
            )
        )
    return tuple(found)


@cache
def published() -> CauseModel:
    """Return the model as published with the program: version 0, nothing learned yet."""
    return CauseModel(CAUSES, OBSERVATIONS, links(), BACKGROUNDS, SOURCES)
