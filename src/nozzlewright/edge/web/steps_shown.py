"""What the screen says at each step: what to do, what good looks like, what can hurt.

Common practice of the trade, in own words; the limits are always those of the setting sheet.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from nozzlewright.advice.cautions import JET, STRIP, STRIP_AND_JET
from nozzlewright.bench import Step
from nozzlewright.edge.web.page import STATIC
from nozzlewright.edge.web.texts import N_, _, said

PINTLE, DELAY, HOLES, TWO_SPRING, SIDE_HOLE = (
    "pintle",
    "delay pintle",
    "multi-hole",
    "two-spring",
    "side-hole pintle",
)
NOZZLE_TYPES: Mapping[str, str] = MappingProxyType(
    {
        HOLES: N_("Multi-hole nozzle"),
        PINTLE: N_("Pintle nozzle"),
        DELAY: N_("Delay pintle nozzle"),
        SIDE_HOLE: N_("Pintle nozzle with a side hole"),
        TWO_SPRING: N_("Two-spring holder"),
    }
)
"""Kinds of nozzle and holder that behave differently on the bench."""

_TYPE_WORDS = (
    (TWO_SPRING, ("two-spring", "two spring", "two-stage")),
    (DELAY, ("delay", "throttling")),
    (SIDE_HOLE, ("side hole", "side-hole", "auxiliary")),
    (PINTLE, ("pintle",)),
    (HOLES, ("hole",)),
)


def nozzle_types(description: str) -> tuple[str, ...]:
    """Return the kinds that a sheet's description of the injector names; all if it names none.

    >>> nozzle_types("clamped holder, multi-hole nozzle with four holes, one spring")
    ('multi-hole',)
    >>> len(nozzle_types("injector"))
    5
    """
    text = description.lower()
    for kind, words in _TYPE_WORDS:
        if any(word in text for word in words):
            return (kind,)
    return tuple(NOZZLE_TYPES)


@dataclass(frozen=True)
class Drawn:
    """One of our drawings with its sentence."""

    name: str
    words: str
    kind: str = ""
    """Kind of nozzle for which it stands; or empty: for all."""


@dataclass(frozen=True)
class Shown:
    """What the screen says at one step."""

    title: str
    do: tuple[str, ...]
    good: str = ""
    good_by_type: Mapping[str, str] = field(default_factory=dict)
    drawing: str = ""
    """Drawing of the work."""
    looks: tuple[Drawn, ...] = ()
    """Drawings of what good, and what bad, looks like."""
    caution: str = ""
    """What can hurt beside the jet and the spring."""


_FLUIDS = N_(
    "Cleaning fluids burn skin and eyes, and their vapour burns: gloves, goggles, extraction on, "
    "no flame. No fluid with a low flash point in a heated or ultrasonic tank; lid on, no "
    "fingers in it. The fluid's data sheet and local codes come first."
)
_SOLVENT_JET = N_(
    "Goggles on: rinsing throws drops. Never blow a tip clean with compressed air towards yourself "
    "or anybody. The fluid's data sheet and local codes come first."
)

STEPS_SHOWN: Mapping[str, Shown] = MappingProxyType(
    {
        "as-found": Shown(
            N_("As-found test"),
            (
                N_("Clean nothing yet: carbon is part of what was found."),
                N_(
                    "Make three slow strokes, then a hold with the tip watched, then quick strokes."
                ),
                N_("Write down what it gives. If it gives nothing, say why."),
            ),
            good=N_("Whatever it shows is the answer. It locks as soon as the injector is opened."),
            drawing="jig",
        ),
        "wash": Shown(
            N_("Wash outside"),
            (
                N_("Cap inlet and leak-off."),
                N_("Wash and brush the outside only, then wipe it dry."),
            ),
            good=N_("No grit left that could fall in when it is opened. Markings can be read."),
            drawing="step-wash",
            caution=_FLUIDS,
        ),
        "strip": Shown(
            N_("Strip from the top"),
            (
                N_("Hold it by its flats or in its fixture, never by the nozzle."),
                N_(
                    "With an adjusting screw: slacken the lock nut and back the screw off until "
                    "the spring is free, before the nozzle nut is touched."
                ),
                N_(
                    "Take it apart from the top and lay the parts in their order into its own "
                    "tray. Measure the shim."
                ),
            ),
            good=N_("All parts of this injector lie in one tray, and none of another."),
            drawing="step-strip",
        ),
        "clean": Shown(
            N_("Clean with brass"),
            (
                N_("Soak the carbon soft, an hour or more, and wash it off."),
                N_("Brass or hardwood only. Never steel on a lapped face."),
                N_("Clear a hole only with a wire gauged thinner than it, where the maker allows."),
                N_("Needle and nozzle stay side by side, each pair for itself. Rinse, dry, oil."),
            ),
            good=N_("Bare metal without carbon; lapped faces bright; every hole open."),
            drawing="step-clean",
            caution=_FLUIDS,
        ),
        "inspect": Shown(
            N_("Inspect the parts"),
            (
                N_("Look at each part under good light with a lens, wiped clean and oiled."),
                N_("Tap the part on the drawing, choose what you see, take a photo."),
            ),
            good=N_("Seat cone with one narrow, even, bright ring. No step, groove or blue."),
            drawing="step-inspect",
        ),
        "slide": Shown(
            N_("Slide test"),
            (
                N_("Wet the needle with clean test oil and hold the nozzle upright."),
                N_(
                    "Draw the needle out by a third of its guide, let go. Turn it, and do it again."
                ),
            ),
            good=N_("It falls to its seat by its own weight, freely, however it is turned."),
            drawing="step-slide",
        ),
        "flush": Shown(
            N_("Flush"),
            (
                N_("Flush passages and parts with clean, filtered test oil."),
                N_("From here on parts stay wet with oil and are wiped with nothing."),
            ),
            good=N_("The oil runs off as clean as it came."),
            drawing="step-flush",
            caution=_SOLVENT_JET,
        ),
        "assemble": Shown(
            N_("Assemble"),
            (
                N_("Read the tag of the pair: this needle with this nozzle, no other."),
                N_("Wet with test oil, dowels engaged by hand, nozzle nut run up by the fingers."),
            ),
            good=N_("Parts go together by hand to the last turn. Seals and washers are new."),
            drawing="step-assemble",
        ),
        "torque": Shown(
            N_("Tighten to torque"),
            (
                N_("Tighten in one smooth pull to the sheet's torque, held by the flats."),
                N_("Never tighten further to cure a leak: lap or renew the face."),
            ),
            good=N_("Within the sheet's band. More makes the needle sluggish."),
            drawing="step-torque",
        ),
        "bleed": Shown(
            N_("Bleed"),
            (
                N_("Mount it, tip into the cup. Shut off the gauge."),
                N_("Quick strokes until the oil comes without bubbles. Nip the union up."),
            ),
            good=N_("The lever is hard from the first part of its way."),
            drawing="step-bleed",
        ),
        "set": Shown(
            N_("Set the opening pressure"),
            (
                N_("Read the opening pressure, then change shim or screw as advised."),
                N_("New or overhauled parts: towards the upper limit, for the spring will settle."),
                N_("Lock it, and read it again."),
            ),
            good=N_("One change that lands in the band. Shim before and after are written down."),
            drawing="step-set",
        ),
        "re-read": Shown(
            N_("Read again after locking"),
            (
                N_("Lock nut tight, cap on. A few quick strokes let the needle settle."),
                N_("Then three slow strokes or more, gauge open."),
            ),
            good=N_("The readings lie close together, inside the sheet's band."),
            drawing="jig",
        ),
        "seat": Shown(
            N_("Seat tightness"),
            (
                N_("Wipe the tip dry. Pump up to the sheet's margin below opening, and hold."),
                N_("Watch the tip for the sheet's time. Do not touch it."),
            ),
            good=N_("Dry to the end of the hold; damp only where the sheet allows it."),
            good_by_type=MappingProxyType(
                {
                    DELAY: N_(
                        "Oil that streams or drips at opening, at a slow lever, is no seat leakage."
                    )
                }
            ),
            drawing="step-seat",
            looks=(
                Drawn("tip-dry", N_("dry")),
                Drawn("tip-damp", N_("damp")),
                Drawn("tip-drop", N_("drop")),
            ),
        ),
        "back-leakage": Shown(
            N_("Back-leakage"),
            (
                N_("Pump up above the window, shut the pump off, and let the pressure fall."),
                N_("The time from the window's upper to its lower pressure counts."),
                N_("The tip must stay dry meanwhile: else it is not the guide that leaks."),
            ),
            good=N_("Within the sheet's times, at the sheet's oil temperature."),
            drawing="step-drop",
        ),
        "spray": Shown(
            N_("Spray"),
            (
                N_("Shut off the gauge. Brisk strokes into the cup, against a dark card."),
                N_("Look at each jet: form, length, mist, how it ends."),
            ),
            good_by_type=MappingProxyType(
                {
                    HOLES: N_(
                        "As many jets as holes, alike in length, angle and mist; all end at once, "
                        "without a drop afterwards. One long solid jet: hole enlarged. One "
                        "missing: hole choked."
                    ),
                    PINTLE: N_("One straight, fine cone along the axis, cut off cleanly."),
                    DELAY: N_("A compact core that opens out as the strokes get quicker."),
                    SIDE_HOLE: N_(
                        "At low speed the side jet comes first: that is no deflected spray."
                    ),
                    TWO_SPRING: N_("Weak in the first stage, full after the pre-lift."),
                }
            ),
            drawing="step-spray",
            looks=(
                Drawn("spray-holes-good", N_("good"), HOLES),
                Drawn("spray-pintle-good", N_("good"), PINTLE),
                Drawn("spray-holes-stream", N_("poor: one solid jet"), HOLES),
                Drawn("spray-holes-choked", N_("poor: a hole is choked"), HOLES),
                Drawn("spray-pintle-poor", N_("poor: torn, one-sided, streaks"), PINTLE),
                Drawn("spray-dribble", N_("poor: dribbles")),
            ),
        ),
        "chatter": Shown(
            N_("Chatter"),
            (
                N_("Gauge shut off. Strokes that get quicker, and listen."),
                N_("Chatter tells of a free needle and a sound seat. It is no measurement."),
            ),
            good_by_type=MappingProxyType(
                {
                    HOLES: N_("A creak at slow strokes; weak where the seat is worn."),
                    PINTLE: N_("A clear, low buzz."),
                    DELAY: N_("Often at quicker strokes only; a hiss or squeal at speed will do."),
                    SIDE_HOLE: N_("As with any pintle: a clear buzz."),
                    TWO_SPRING: N_("Soft."),
                }
            ),
            drawing="step-chatter",
        ),
        "match": Shown(
            N_("Match the set"),
            (
                N_("Look at the set as a whole: the spread counts, not each one in its band."),
                N_("Pull the odd one out towards the others with the shims at hand."),
            ),
            good=N_("The set lies within the sheet's spread, every injector at its own cylinder."),
            drawing="step-match",
        ),
        "second": Shown(
            N_("Second person"),
            (
                N_("Another person tests one injector of the set, chosen at random."),
                N_("They say for themselves whether they agree."),
            ),
            good=N_("Two people come to the same answer without having asked each other."),
            drawing="step-second",
        ),
    }
)


def shown(step: Step) -> Shown:
    """Return what the screen says at a step; for one that the sheet added, the sheet's words."""
    known = STEPS_SHOWN.get(step.key)
    if known is not None:
        return known
    drawing = f"step-{step.key}"
    found = (STATIC / "drawings" / f"{drawing}.svg").is_file()
    return Shown(step.title, (step.text,) if step.text else (), drawing=drawing if found else "")


def title(step: Step) -> str:
    """Return a step's title in the language of this screen; a sheet's own words as they are."""
    known = STEPS_SHOWN.get(step.key)
    return _(known.title) if known is not None else step.title


def title_of(key: str) -> str:
    """Return the title of the step with a key; the key itself where a sheet added it."""
    known = STEPS_SHOWN.get(key)
    return _(known.title) if known is not None else key


def cautions(step: Step) -> tuple[tuple[str, bool], ...]:
    """Return what can hurt at a step, each with whether it is a jet under pressure."""
    spoken = []
    if step.under_pressure and step.opens:
        spoken.append((said(STRIP_AND_JET), True))
    elif step.under_pressure:
        spoken.append((said(JET), True))
    elif step.opens:
        spoken.append((said(STRIP), False))
    own = shown(step).caution
    if own:
        spoken.append((_(own), False))
    return tuple(spoken)
