"""What a job's record says about causes: gathered from symptoms, tests, findings and the set.

What was not done, or is too close to tell, is no state: it is left out, or given with the
probability that the verdict itself states (virtual evidence).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from statistics import median
from typing import Any

from nozzlewright.advice.causes import (
    CauseModel,
    ReadText,
    Sort,
    Standing,
    known,
    read_spray,
    read_symptoms,
)
from nozzlewright.bench import (
    BenchConditions,
    ChatterGrade,
    SettingSheet,
    SprayGrade,
    TestSitting,
    TipGrade,
)
from nozzlewright.judging import BenchTest, Direction, InjectorVerdict, Outcome, Verdict
from nozzlewright.judging.evidence import mentions, outside_leak, tip_grades
from nozzlewright.measurement import Caution, Quantity
from nozzlewright.records import AS_FOUND, AS_LEFT, InjectorStory, JobStory
from nozzlewright.said import Said, figure, say

CERTAIN = 0.995
"""Probability of conformity from which, or under whose complement, a state counts as certain."""
SHIM_APART_MM, CLOSING_APART, COLDER_K = 0.15, 0.08, 5.0
"""From where a shim, the ratio of closing to opening pressure, or the oil is another than usual;
common practice, no source."""
UNSTEADY = ("drift", "unsteady readings")
"""Cautions that say that the opening pressure wanders from pop to pop."""
POPS = 4
"""Recorded openings from which it would have been said."""
AFTER_CLEANING = (1.0, 0.5)
"""A needle that slides freely once it was cleaned may have hung before; an estimate."""


class Origin(StrEnum):
    """Where a piece of evidence comes from."""

    TEXT = "the booking's words"
    TEST = "the tests"
    FINDING = "the findings"
    SET = "the set"
    NOTED = "noted here"


@dataclass(frozen=True)
class Piece:
    """One piece of evidence."""

    observation: str
    weights: tuple[float, ...]
    """Likelihood of each state of the observation."""
    origin: Origin
    words: str = ""
    """What it was taken from, in somebody's words or in figures."""


@dataclass(frozen=True)
class Gathered:
    """All that the record says about one injector."""

    pieces: tuple[Piece, ...]
    """One for each observation."""
    texts: tuple[ReadText, ...]
    """What was written, with what was understood of it and what was not."""
    taken_out: tuple[str, ...]
    """Observations that a person has taken out, or put right."""
    standing: Standing
    sitting: str
    ruled_out: tuple[str, ...] = ()
    """Causes that cannot be with this holder."""
    silent: tuple[str, ...] = ()
    """What nothing was said of, by a customer or fitter who would have said it."""

    @property
    def evidence(self) -> dict[str, tuple[float, ...]]:
        """Return what is weighed."""
        return {piece.observation: piece.weights for piece in self.pieces}


@dataclass(frozen=True)
class JobSeen:
    """A job as the gathering needs it."""

    story: JobStory
    sheet: SettingSheet | None
    verdicts: Mapping[tuple[int, str], InjectorVerdict]
    """By cylinder and sitting."""
    sittings: Mapping[tuple[str, str], TestSitting | None]
    """By injector and sitting."""
    conditions: BenchConditions | None


def gather(model: CauseModel, job: JobSeen, one: InjectorStory) -> Gathered:
    """Return all that the record says about an injector.

    Parameters
    ----------
    model : CauseModel
        Whose observations are looked for
    job : JobSeen
        The job
    one : InjectorStory
        The injector

    Returns
    -------
    Gathered
        Of several sources for one observation the one that is nearest to the injector: a person's
        correction, findings, tests, the set, the customer's words
    """
    story = job.story
    which = sitting_of(story, one, job)
    found: dict[str, Piece] = {}
    text = str(dict(story.booked.get("symptoms", {})).get(str(one.cylinder), ""))
    texts = [read_symptoms(text)] if text.strip() else []
    pieces = [
        *_from_texts(model, texts, story, one),
        *_from_set(model, job, one, which),
        *_from_tests(model, job, one, which),
        *_slide(one),
        *_from_findings(model, one),
    ]
    for piece in pieces:
        found[piece.observation] = piece
    taken_out = []
    for body in noted(story, one.injector):
        for key, state in body["observed"].items():
            if key not in model.by_observation:
                continue
            taken_out.append(key)
            found.pop(key, None)
            if state and any(state == name for name, _ in model.by_observation[key].states):
                words = str(body.get("note", ""))
                found[key] = Piece(key, known(model, key, state), Origin.NOTED, words)
    away = story.handed_over is not None
    standing = Standing.AWAY if away else Standing.APART if one.apart else Standing.WHOLE
    order = {observation.key: place for place, observation in enumerate(model.observations)}
    return Gathered(
        tuple(sorted(found.values(), key=lambda piece: order[piece.observation])),
        tuple(texts),
        tuple(dict.fromkeys(taken_out)),
        standing,
        which,
        _ruled_out(job.sheet, found),
        _silent(model, texts, found, taken_out, job.sittings.get((one.injector, which))),
    )


def _ruled_out(sheet: SettingSheet | None, found: Mapping[str, Piece]) -> tuple[str, ...]:
    """Return the causes that a holder set by shims, or by a screw, cannot have.

    A finding on the part outdoes the sheet: what somebody has seen is there.
    """
    if sheet is None:
        return ()
    how = sheet.adjustment
    shims = how.shim_effect_pa_per_m is not None or bool(how.shim_sizes_m)
    screw = how.screw_pa_per_turn is not None or how.screw_pitch_m is not None
    if shims and not screw and "f_adjuster" not in found:
        return ("adjuster_slipped",)
    if screw and not shims and not {"f_shim", "shim_odd"} & found.keys():
        return ("shim_thin", "shim_thick")
    return ()


def _silent(
    model: CauseModel,
    texts: Sequence[ReadText],
    found: Mapping[str, Piece],
    taken_out: Sequence[str],
    sitting: TestSitting | None,
) -> tuple[str, ...]:
    """Return what would have been told, had it been there.

    Symptoms by a customer who named others; oil outside by a fitter who held the injector.
    """
    told = any(text.understood for text in texts)
    held = sitting is not None and bool(tip_grades(sitting))
    return tuple(
        one.key
        for one in model.observations
        if one.mentioned
        and (told if one.sort is Sort.SYMPTOM else held)
        and one.key not in found
        and one.key not in taken_out
    )


def noted(story: JobStory, injector: str) -> list[Mapping[str, Any]]:
    """Return the bodies of entries in which a person noted an observation, oldest first."""
    return [
        standing.body
        for standing in story.causes
        if standing.injector in ("", injector) and isinstance(standing.body.get("observed"), dict)
    ]


def sitting_of(story: JobStory, one: InjectorStory, job: JobSeen) -> str:
    """Return the sitting that tells what is wrong: as found, unless the engine is no better."""
    again = bool(story.running_checks) and story.running_checks[-1].body.get("well") is False
    if again and job.sittings.get((one.injector, AS_LEFT)) is not None:
        return AS_LEFT
    if job.sittings.get((one.injector, AS_FOUND)) is not None:
        return AS_FOUND
    return AS_LEFT


# --- symptoms ---------------------------------------------------------------------------------


def _from_texts(
    model: CauseModel, texts: Sequence[ReadText], story: JobStory, one: InjectorStory
) -> Iterator[Piece]:
    mine = set()
    for text in texts:
        for understood in text.understood:
            mine.add((understood.observation, understood.state))
            yield Piece(
                understood.observation,
                known(model, understood.observation, understood.state),
                Origin.TEXT,
                understood.words,
            )
    if mine and not any(key == "scope" for key, _ in mine):
        yield from _scope(model, story, one, mine)
    if story.running_checks:
        well = story.running_checks[-1].body.get("well")
        if well is not None:
            words = say("the engine runs well") if well else say("the engine does not run well")
            yield Piece(
                "still_bad", known(model, "still_bad", "no" if well else "yes"), Origin.TEXT, words
            )


def _scope(
    model: CauseModel, story: JobStory, one: InjectorStory, mine: set[tuple[str, str]]
) -> Iterator[Piece]:
    cylinders = int(story.booked.get("cylinders", 0))
    others = [
        {(u.observation, u.state) for u in read_symptoms(str(text)).understood}
        for cylinder, text in dict(story.booked.get("symptoms", {})).items()
        if str(cylinder) != str(one.cylinder) and str(text).strip()
    ]
    if cylinders < 2:
        return
    alike = sum(bool(mine & theirs) for theirs in others)
    if alike == cylinders - 1:
        words = say("the same is said of every cylinder")
        yield Piece("scope", known(model, "scope", "all"), Origin.TEXT, words)
    elif cylinders >= 3 and (alike + 1) * 2 <= cylinders:
        words = say("said of {few} of {all} cylinders", few=alike + 1, all=cylinders)
        yield Piece("scope", known(model, "scope", "one"), Origin.TEXT, words)


# --- tests ------------------------------------------------------------------------------------


def _from_tests(model: CauseModel, job: JobSeen, one: InjectorStory, which: str) -> Iterator[Piece]:
    sitting = job.sittings.get((one.injector, which))
    if sitting is None:
        return
    yield from of_sitting(model, sitting, job.verdicts.get((one.cylinder, which)), job.sheet)


def _slide(one: InjectorStory) -> Iterator[Piece]:
    slides = [
        bool(seen.body["needle_slide"])
        for seen in one.seen
        if seen.body.get("needle_slide") is not None
    ]
    if slides:
        cleaned = "clean" in one.done and all(slides)
        weights = AFTER_CLEANING if cleaned else (1.0, 0.0) if all(slides) else (0.0, 1.0)
        words = say("once it was cleaned: it may have hung before") if cleaned else ""
        yield Piece("slide", weights, Origin.TEST, words)


def of_sitting(
    model: CauseModel,
    sitting: TestSitting,
    verdict: InjectorVerdict | None,
    sheet: SettingSheet | None,
) -> Iterator[Piece]:
    """Yield what the bench tests of one sitting say.

    Parameters
    ----------
    model : CauseModel
        Whose observations are looked for
    sitting : TestSitting
        What was found and seen
    verdict : InjectorVerdict or None
        The same, judged; None without a sheet
    sheet : SettingSheet or None
        What was asked
    """
    if verdict is not None:
        yield from _opening(verdict.of(BenchTest.OPENING))
        yield from _drop(model, sitting, verdict.of(BenchTest.BACK_LEAKAGE), sheet)
    seen = sitting.seen
    grades = tip_grades(sitting)
    if grades and (grades[0] is not TipGrade.DRY or _held_as_asked(verdict)):
        yield _test(model, "seat", grades[0].value)
    leak = outside_leak(sitting)
    if leak:
        top = re.search(r"\b(cap|top|leak-?off|kappe|oben|banjo)", leak, re.IGNORECASE)
        where = "top" if top else "nut"
        yield Piece("outside_leak", known(model, "outside_leak", where), Origin.TEST, leak)
    chatter = _chatter(sitting, verdict)
    if chatter is not None:
        yield Piece("chatter", chatter, Origin.TEST)
    if seen.spray is SprayGrade.GOOD:
        yield _test(model, "spray", "good")
    elif seen.spray is SprayGrade.POOR:
        form = read_spray(seen.spray_note)
        weights = known(model, "spray", form) if form else (0.0, 1.0, 1.0, 1.0, 1.0, 1.0)
        yield Piece("spray", weights, Origin.TEST, seen.spray_note)
    if re.search(r"seiz|stuck|fest|klemmt", seen.no_result, re.IGNORECASE):
        yield Piece("flow", known(model, "flow", "none"), Origin.TEST, seen.no_result)
    elif sitting.gauge is not None and isinstance(sitting.gauge.opening_pressure, Quantity):
        yield _test(model, "flow", "opens")
    if sitting.gauge is not None:
        wanders = [one for one in sitting.gauge.cautions if _wanders(one)]
        if wanders:
            yield Piece("unsteady", known(model, "unsteady", "yes"), Origin.TEST, wanders[0].text)
        elif len(sitting.gauge.openings) >= POPS:
            yield _test(model, "unsteady", "no")
        if mentions(sitting.gauge.cautions, "weep"):
            yield _test(model, "weeps", "yes")
        elif isinstance(sitting.gauge.opening_pressure, Quantity):
            yield _test(model, "weeps", "no")


def _wanders(caution: Caution) -> bool:
    """Return whether a caution says that the opening pressure wanders from pop to pop."""
    return caution.name in UNSTEADY or (
        caution.name == "sticking needle" and caution.text.startswith("lift-off scatters")
    )


def _held_as_asked(verdict: InjectorVerdict | None) -> bool:
    """Return whether a dry tip says that the seat is tight: it was held as the sheet asks."""
    if verdict is None:
        return True
    return verdict.of(BenchTest.SEAT).outcome not in (Outcome.TOO_CLOSE, Outcome.NOT_DONE)


def _test(model: CauseModel, observation: str, state: str) -> Piece:
    return Piece(observation, known(model, observation, state), Origin.TEST)


def _opening(verdict: Verdict) -> Iterator[Piece]:
    weights = _by_probability(verdict, low=2, high=1)
    if weights is not None:
        yield Piece("opening", weights, Origin.TEST)


def _by_probability(verdict: Verdict, low: int, high: int) -> tuple[float, ...] | None:
    """Return the weights of (usual, ...) from the probability that a verdict states."""
    if not isinstance(verdict.measured, Quantity) or verdict.outcome in (
        Outcome.NOT_DONE,
        Outcome.NOT_ASKED,
    ):
        return None
    usual = verdict.probability_of_conformity
    if usual is None:
        if verdict.outcome is Outcome.TOO_CLOSE:
            return None
        usual = 1.0 if verdict.outcome is Outcome.PASS else 0.0
    usual = 1.0 if usual >= CERTAIN else 0.0 if usual <= 1.0 - CERTAIN else usual
    weights = [usual, 0.0, 0.0]
    if verdict.direction is Direction.WITHIN:
        middle = (verdict.lower, verdict.upper)
        value = verdict.measured.value
        sides = [low, high]
        if None not in middle and usual < 1.0:
            centre = sum(edge for edge in middle if edge is not None) / 2.0
            sides = [low if value < centre else high]
        for side in sides:
            weights[side] += (1.0 - usual) / len(sides)
    else:
        weights[low if verdict.direction is Direction.LOW else high] = 1.0 - usual
    return tuple(weights)


def _drop(
    model: CauseModel, sitting: TestSitting, verdict: Verdict, sheet: SettingSheet | None
) -> Iterator[Piece]:
    drops = sheet.leak_off if sheet is not None and sheet.back_leakage is None else None
    if drops is not None:  # drops at the leak-off are counted: many come past the guide alone
        weights = _by_probability(verdict, low=1, high=2)
        if weights is not None:
            yield Piece("return_drops", (weights[0] + weights[1], weights[2]), Origin.TEST)
            if weights[1] > 0.0:  # fewer than are asked: a close fit
                yield Piece("drop", (weights[0], weights[1], 0.0), Origin.TEST)
    else:
        weights = _by_probability(verdict, low=2, high=1)
        if weights is not None:
            yield Piece("drop", weights, Origin.TEST)
    hold = getattr(sitting.gauge, "hold", None)
    if hold is not None and getattr(hold, "rig_leak_taken_off", False):
        words = say("the rig's own leak was measured and taken off")
        yield Piece("blank", known(model, "blank", "holds"), Origin.TEST, words)


def _chatter(sitting: TestSitting, verdict: InjectorVerdict | None) -> tuple[float, ...] | None:
    heard = sitting.seen.chatter
    if heard is not None:
        order = (ChatterGrade.CLEAR, ChatterGrade.WEAK, ChatterGrade.NONE)
        return tuple(float(heard is grade) for grade in order)
    if verdict is None:
        return None
    outcome = verdict.of(BenchTest.CHATTER).outcome
    if outcome is Outcome.PASS:
        return (1.0, 0.0, 0.0)
    return (0.0, 1.0, 1.0) if outcome is Outcome.FAIL else None


# --- findings ---------------------------------------------------------------------------------

_SOUND_PARTS: Mapping[str, tuple[tuple[str, str], ...]] = {
    "spring": (("f_spring", "sound"),),
    "shim": (("f_shim", "sound"),),
    "adjusting screw": (("f_adjuster", "sound"),),
    "lock nut": (("f_adjuster", "sound"),),
    "inlet filter": (("f_filter", "sound"),),
    "leak-off union": (("f_leak_off", "sound"),),
    "distance piece": (("f_lift", "sound"),),
    "dowels": (("f_dowel", "sound"),),
    "needle": (("f_needle", "sound"),),
    "nozzle body": (("f_seat", "sound"), ("f_guide", "sound"), ("f_tip", "sound"),
                    ("f_holes", "sound")),
    "nozzle nut": (("f_nut", "sound"),),
    "seat washer": (("f_washer", "sound"),),
    "pressure face": (("f_face", "sound"),),
}  # fmt: skip
"""What it says where a part is sound."""

_SEEN: tuple[tuple[str, str, str, str], ...] = (
    # part, what is seen of it, observation, state
    ("", "pair", "f_pair", "bad"),
    ("spring seat", "", "", ""),
    ("spring", "^length measured$", "", ""),
    ("spring", "", "f_spring", "bad"),
    ("shim", "", "f_shim", "bad"),
    ("adjusting screw", "", "f_adjuster", "bad"),
    ("lock nut", "", "f_adjuster", "bad"),
    ("inlet filter", "magnetic|dust", "dirty_fuel", "yes"),
    ("inlet filter", "", "f_filter", "bad"),
    ("leak-off", "", "f_leak_off", "bad"),
    ("cap", "leak|used before|dented", "outside_leak", "top"),
    ("dowel", "", "f_dowel", "bad"),
    ("nozzle nut", "stretch|blued", "f_nut", "bad"),
    ("washer", "two|missing|doubled|blown|soot", "f_washer", "bad"),
    ("", "pressure face|face dented|face scratched", "f_face", "bad"),
    ("pressure face", "", "f_face", "bad"),
    ("distance piece", "stop|thickness|lift", "f_lift", "bad"),
    ("distance piece", "", "f_face", "bad"),
    ("needle", "lacquer", "f_needle", "lacquer"),
    ("needle", "seat cone", "f_seat", "worn"),
    ("needle", "pintle worn", "f_holes", "enlarged"),
    ("needle", "carbon", "f_holes", "blocked"),
    ("needle", "", "f_needle", "scuffed"),
    ("nozzle body|tip", "guide", "f_guide", "bad"),
    ("nozzle body|tip", "hole\\w* (?:blocked|choked|carbon)|blocked", "f_holes", "blocked"),
    ("nozzle body|tip", "hole|oval|enlarged", "f_holes", "enlarged"),
    ("nozzle body|tip|seat", "carbon|dirt", "f_seat", "carbon"),
    ("nozzle body|seat", "seat|pit|pound|wide", "f_seat", "worn"),
    ("nozzle body|tip", "tip|blued|crack|corroded", "f_tip", "bad"),
    ("guide", "", "f_guide", "bad"),
    ("hole", "enlarged|oval|worn", "f_holes", "enlarged"),
    ("hole", "", "f_holes", "blocked"),
)
"""What a finding says: the first row that fits."""


def _from_findings(model: CauseModel, one: InjectorStory) -> Iterator[Piece]:
    sound: list[Piece] = []
    unusual: list[Piece] = []
    for finding in one.findings:
        part, seen = str(finding.body.get("part", "")), str(finding.body.get("seen", ""))
        words = f"{part}: {seen}"
        if seen == "sound":
            for key, state in _SOUND_PARTS.get(part.lower(), ()):
                sound.append(Piece(key, known(model, key, state), Origin.FINDING, words))
            continue
        if seen == "always new":
            continue
        for of_part, of_seen, key, state in _SEEN:
            if re.search(of_part, part, re.IGNORECASE) and re.search(of_seen, seen, re.IGNORECASE):
                if key:
                    unusual.append(Piece(key, known(model, key, state), Origin.FINDING, words))
                break
    # What is unusual outdoes what was called sound on the same part.
    yield from sound
    yield from unusual


# --- the set ----------------------------------------------------------------------------------


def _from_set(model: CauseModel, job: JobSeen, one: InjectorStory, which: str) -> Iterator[Piece]:
    yield from _others(model, job, one, which)
    yield from _shim(model, job, one, which)
    yield from _closing(model, job, one, which)
    yield from _torque(model, job, one)
    yield from _oil(model, job, one, which)


def _failing(verdict: InjectorVerdict) -> set[tuple[BenchTest, Direction]]:
    return {
        (one.test, one.direction)
        for one in verdict.verdicts
        if one.outcome is Outcome.FAIL and one.test is not BenchTest.INSPECTION
    }


def _others(model: CauseModel, job: JobSeen, one: InjectorStory, which: str) -> Iterator[Piece]:
    mine = job.verdicts.get((one.cylinder, which))
    if mine is None or not _failing(mine):
        return
    others = [
        verdict
        for other in job.story.in_order()
        if other.injector != one.injector
        and (verdict := job.verdicts.get((other.cylinder, which))) is not None
        and any(v.outcome in (Outcome.PASS, Outcome.FAIL) for v in verdict.verdicts)
    ]
    if len(others) < 2:
        return
    alike = sum(bool(_failing(mine) & _failing(other)) for other in others)
    state = "yes" if alike * 2 >= len(others) else "no"
    words = say("{alike} of {others} others fail alike", alike=alike, others=len(others))
    yield Piece("others_alike", known(model, "others_alike", state), Origin.SET, words)


def _shim(model: CauseModel, job: JobSeen, one: InjectorStory, which: str) -> Iterator[Piece]:
    shims = {
        injector: sitting.shim_mm
        for (injector, name), sitting in job.sittings.items()
        if name == which and sitting is not None and sitting.shim_mm is not None
    }
    mine = shims.pop(one.injector, None)
    if mine is None or len(shims) < 2:
        return
    apart = mine - median(shims.values())
    state = "usual"
    if abs(apart) >= SHIM_APART_MM - 1e-9:
        state = "thick" if apart > 0 else "thin"
    words = say("{apart} mm from the others' median", apart=figure(apart, "+.2f"))
    yield Piece("shim_odd", known(model, "shim_odd", state), Origin.SET, words)


def _closing(model: CauseModel, job: JobSeen, one: InjectorStory, which: str) -> Iterator[Piece]:
    ratios = {
        injector: gauge.closing_pressure.value / gauge.opening_pressure.value
        for (injector, name), sitting in job.sittings.items()
        if name == which
        and sitting is not None
        and (gauge := sitting.gauge) is not None
        and isinstance(gauge.closing_pressure, Quantity)
        and isinstance(gauge.opening_pressure, Quantity)
        and gauge.opening_pressure.value > 0.0
    }
    mine = ratios.pop(one.injector, None)
    if mine is None or len(ratios) < 2:
        return
    usual = median(ratios.values())
    state = "yes" if mine < usual - CLOSING_APART else "no"
    words = say(
        "{mine} of the opening pressure; the others {usual}",
        mine=figure(mine, ".0%"),
        usual=figure(usual, ".0%"),
    )
    yield Piece("closing_low", known(model, "closing_low", state), Origin.SET, words)


def _torque(model: CauseModel, job: JobSeen, one: InjectorStory) -> Iterator[Piece]:
    if job.sheet is None or not one.torques:
        return
    body = one.torques[-1].body
    part, torque = str(body.get("part", "")), body.get("torque_nm")
    asked = [t for t in job.sheet.torques if not part or t.part == part]
    if len(asked) != 1 or torque is None:
        return
    state = "yes" if float(torque) > asked[0].high_nm else "no"
    words = say("{torque} Nm", torque=figure(float(torque), ".4g"))
    yield Piece("torque_high", known(model, "torque_high", state), Origin.SET, words)


def _oil(model: CauseModel, job: JobSeen, one: InjectorStory, which: str) -> Iterator[Piece]:
    sheet, conditions = job.sheet, job.conditions
    if sheet is None or conditions is None or conditions.oil_temperature is None:
        return
    if sheet.back_leakage is None or sheet.back_leakage.window.reference_temperature_k is None:
        return
    sitting = job.sittings.get((one.injector, which))
    hold = getattr(sitting.gauge, "hold", None) if sitting is not None else None
    if hold is None:
        return
    apart = conditions.oil_temperature.value - sheet.back_leakage.window.reference_temperature_k
    corrected = isinstance(getattr(hold, "drop_time_at_reference", None), Quantity)
    state = "cold" if apart < -COLDER_K and not corrected else "usual"
    words: Said = say("{apart} K from the sheet's reference", apart=figure(apart, "+.0f"))
    if corrected:
        words = say("the drop time was taken to the sheet's reference")
    yield Piece("oil", known(model, "oil", state), Origin.SET, words)


SEAT_GRADES = tuple(grade.value for grade in TipGrade)
"""States of the seat are the grades of the tip."""
