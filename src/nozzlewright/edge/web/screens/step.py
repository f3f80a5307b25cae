"""One injector, one step at a time: what to do, what good looks like, one answer, and go on."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from nozzlewright.advice import ActionKind
from nozzlewright.bench import (
    ChatterGrade,
    NoResult,
    SettingSheet,
    Severity,
    SprayGrade,
    Step,
    StepKind,
    TipGrade,
    Torque,
)
from nozzlewright.edge.web import (
    entry_words,
    page,
    setting_shown,
    show,
    states,
    steps_shown,
)
from nozzlewright.edge.web.at_job import injector_of, shop_of, story_of, who
from nozzlewright.edge.web.findings_shown import ALWAYS_NEW
from nozzlewright.edge.web.own_words import in_words
from nozzlewright.edge.web.screens.bench import THICKEST_MM, marks_of, open_other
from nozzlewright.edge.web.texts import N_, _
from nozzlewright.measurement import NotMeasured, Quantity
from nozzlewright.records import (
    AS_FOUND,
    AS_LEFT,
    Entry,
    EntryKind,
    InjectorStory,
    JobStory,
    Standing,
)
from nozzlewright.said import from_data
from nozzlewright.workflow import Workshop

router = APIRouter()

NO_RESULTS = tuple(reason.value for reason in NoResult)
"""Why an injector may give no result as found."""

GRADES: Mapping[str, tuple[str, ...]] = {
    "spray": tuple(grade.value for grade in SprayGrade),
    "chatter": tuple(grade.value for grade in ChatterGrade),
    "seat": tuple(grade.value for grade in TipGrade),
}
"""What eye and ear may say, by the step that asks for it."""

CAN_BE_TAKEN_BACK = frozenset(EntryKind) - {
    EntryKind.VERDICT,
    EntryKind.TAKEN_IN_HAND,
    EntryKind.LAID_DOWN,
    EntryKind.BOOKED_IN,
    EntryKind.WITHDRAWN,
}
"""Entries that somebody made, and that do not follow from others."""

HIGHEST_NM, MOST_TURNS = 2000.0, 50.0


@dataclass(frozen=True)
class Saved:
    """An entry that was made just now."""

    id: str
    words: str
    gone: bool
    """Whether it was taken back."""
    can_go: bool
    remark: str = ""


@dataclass(frozen=True)
class VerdictShown:
    """The latest verdict on an injector."""

    sitting: str
    state: str
    word: str
    reasons: tuple[str, ...]
    tests: tuple[tuple[str, str, str, tuple[str, ...]], ...]
    """Test, shape, word, and its reasons."""
    measured: tuple[tuple[str, Quantity | None, Quantity | None, str], ...]
    """What was measured: name, as shown, corrected, and the filter that prints it."""
    next: tuple[Mapping[str, str], ...]
    """Actions: what to do, why, the caution, where to go for it, and the name of that place."""
    next_test: str


@dataclass
class Act:
    """One answer at a step."""

    request: Request
    form: page.Form
    story: JobStory
    one: InjectorStory
    step: Step
    who: str

    @property
    def shop(self) -> Workshop:
        """The workshop."""
        return shop_of(self.request)

    @property
    def job(self) -> str:
        """Number of the job."""
        return self.story.job

    def note(self, kind: EntryKind, body: Mapping[str, Any], *, done: bool = True) -> Entry:
        """Write an entry that says what was done at this step."""
        body = {key: value for key, value in body.items() if value not in (None, "")}
        return self.shop.note(
            self.form.id,
            self.who,
            self.job,
            kind,
            body,
            injector=self.one.injector,
            done=self.step.key if done else "",
        )

    def see(self, seen: Mapping[str, Any], *, done: bool) -> Entry:
        """Write down what eye and ear noticed."""
        seen = {key: value for key, value in seen.items() if value not in (None, "")}
        key = self.step.key if done else ""
        return self.shop.see(self.form.id, self.who, self.job, self.one.injector, seen, done=key)

    def number(self, name: str, *, highest: float, lowest: float = 0.0) -> float | None:
        """Return a number that may be left out."""
        if not self.form.text(name):
            return None
        return self.form.number(name, lowest=lowest, highest=highest)

    def remark(self) -> str:
        """Return what else was written down."""
        return self.form.text("note", longest=1000)


# -- show ----------------------------------------------------------------------------------------


@router.get("/job/{job}/injector/{injector}")
def show_next(request: Request, job: str, injector: str, saved: str = "") -> Response:
    """Show the first step that is not done."""
    story = story_of(request, job)
    one = injector_of(story, injector)
    steps = shop_of(request).steps(story)
    return _show(request, story, one, one.next_step(steps), saved)


@router.get("/job/{job}/injector/{injector}/step/{key}")
def show_step(
    request: Request, job: str, injector: str, key: str, saved: str = "", choice: int = -1
) -> Response:
    """Show one step; at that of the setting, `choice` takes the next best change.

    Without it what the chosen match plans comes first, where it plans anything.
    """
    story = story_of(request, job)
    one = injector_of(story, injector)
    return _show(request, story, one, _step_of(request, story, key), saved, choice)


def _step_of(request: Request, story: JobStory, key: str) -> Step:
    step = next((step for step in shop_of(request).steps(story) if step.key == key), None)
    if step is None:
        raise HTTPException(404)
    return step


def _show(
    request: Request,
    story: JobStory,
    one: InjectorStory,
    step: Step | None,
    saved: str,
    choice: int = -1,
) -> Response:
    away = page.needs_person(request)
    if away is not None:
        return away
    shop = shop_of(request)
    steps, sheet = shop.steps(story), shop.sheet(story)
    kinds = steps_shown.nozzle_types(sheet.injector if sheet else "")
    shown = steps_shown.shown(step) if step else None
    return page.render(
        request,
        "step.html",
        story=story,
        one=one,
        marks=marks_of(story, steps),
        other=open_other(story, one.injector),
        in_hand=story.in_hand == one.injector and story.handed_over is None,
        steps=[(each, steps_shown.title(each), each.key in one.done) for each in steps],
        step=step,
        title=steps_shown.title(step) if step else _("All steps are done"),
        place=steps.index(step) + 1 if step else len(steps),
        shown=shown,
        do=[_(line) for line in shown.do] if step is not None and shown is not None else [],
        good=_good(shown, kinds) if shown else [],
        looks=_looks(shown, kinds) if shown else [],
        cautions=steps_shown.cautions(step) if step else (),
        saved=_taught(shop, story, one, saved_of(story, saved)),
        verdict=_verdict(story, one, steps) if _shows_verdict(step) else None,
        noted=_noted(one, step) if step else [],
        sheet=sheet,
        **(_asked(request, story, one, step, sheet, choice) if step else {}),
    )


def _good(shown: steps_shown.Shown, kinds: tuple[str, ...]) -> list[tuple[str, str]]:
    """Return what good looks like: for which nozzle, and the sentence."""
    lines = [("", _(shown.good))] if shown.good else []
    named = len(kinds) > 1
    for kind in kinds:
        if kind in shown.good_by_type:
            head = _(steps_shown.NOZZLE_TYPES[kind]) if named else ""
            lines.append((head, _(shown.good_by_type[kind])))
    return lines


def _looks(shown: steps_shown.Shown, kinds: tuple[str, ...]) -> list[steps_shown.Drawn]:
    drawn_as_pintle = {steps_shown.DELAY, steps_shown.SIDE_HOLE}
    wanted = {steps_shown.PINTLE if kind in drawn_as_pintle else kind for kind in kinds}
    fitting = [look for look in shown.looks if not look.kind or look.kind in wanted]
    return fitting if any(look.kind for look in fitting) else list(shown.looks)


def _shows_verdict(step: Step | None) -> bool:
    return step is None or step.kind not in {StepKind.LOOK, StepKind.SECOND}


def saved_of(story: JobStory, entry_id: str) -> Saved | None:
    """Return an entry as the page shows it just after it was made; None where there is none."""
    entry = next((one for one in story.entries if one.id == entry_id), None) if entry_id else None
    if entry is None:
        return None
    standing = story.standing.get(entry.id)
    body = standing.body if standing else entry.body
    told = entry_words.words(entry.kind, body) or entry_words.kind_words(entry.kind)
    if entry.kind is EntryKind.ASSEMBLED or entry.kind is EntryKind.STRIPPED:
        told = f"{entry_words.kind_words(entry.kind)}: {told}"
    return Saved(
        entry.id,
        told,
        gone=entry.id in story.withdrawn,
        can_go=standing is not None and entry.kind in CAN_BE_TAKEN_BACK,
        remark=_remark(body) if standing else "",
    )


def _remark(body: Mapping[str, Any]) -> str:
    """Return what is worth a second look in what was saved."""
    if "low_nm" in body:
        side = _outside(body["torque_nm"], body["low_nm"], body["high_nm"])
        if side:
            return _("That lies %(side)s the sheet's band of %(band)s.") % {
                "side": side,
                "band": _band(body["low_nm"], body["high_nm"]),
            }
    if body.get("needle_slide") is False:
        return _("Clean the pair and test it again; if it still sticks, the pair is to be renewed.")
    if body.get("not_renewed"):
        parts = ", ".join(in_words(part) for part in body["not_renewed"])
        return _("On the list to renew, and not renewed: %(parts)s") % {"parts": parts}
    return ""


def _outside(value: float, low: float, high: float) -> str:
    if value < low:
        return _("below")
    return _("above") if value > high else ""


def _band(low: float, high: float) -> str:
    if low == high:
        return entry_words.newton_metres(low)
    return _("%(low)s to %(high)s") % {
        "low": f"{low:.4g}",
        "high": entry_words.newton_metres(high),
    }


def _noted(one: InjectorStory, step: Step) -> list[tuple[Standing, str]]:
    """Return what stands in the record of this injector at a step, with its words."""
    of_step: list[Standing] = []
    match step.key:
        case "spray" | "chatter" | "seat":
            of_step = [seen for seen in one.seen_of(one.sitting) if step.key in seen.body]
        case "as-found":
            of_step = one.seen_of(AS_FOUND)
        case "slide":
            of_step = [seen for seen in one.seen if "needle_slide" in seen.body]
        case "torque":
            of_step = [torque for torque in one.torques if torque.entry.number > one.assembled_at]
        case "set":
            of_step = one.settings
        case "second":
            of_step = one.second
    of_step = [*of_step, *(test for test in one.tests if test.body.get("step") == step.key)]
    of_step.sort(key=lambda standing: standing.entry.number)
    return [(each, entry_words.words(each.kind, each.body)) for each in of_step]


# -- what each step asks -------------------------------------------------------------------------


def _asked(
    request: Request,
    story: JobStory,
    one: InjectorStory,
    step: Step,
    sheet: SettingSheet | None,
    choice: int,
) -> dict[str, Any]:
    """Return what the form of a step needs."""
    match step.kind:
        case StepKind.TORQUE:
            torques = _torques(sheet)
            return {
                "torques": [(t.part, in_words(t.part), t.printed.text) for t in torques],
                "wrench": _last_wrench(story),
                "outside": _torque_outside(one),
            }
        case StepKind.MATCH:
            return {"planned_match": setting_shown.planned_match(story)}
        case StepKind.SETTING:
            return {"setting": _setting(shop_of(request), story, one, sheet, choice)}
        case StepKind.SECOND:
            return {
                "others": _others(request, one),
                "checked": [(o.cylinder, s) for o in story.in_order() for s in o.second],
            }
        case StepKind.TEST:
            grades = (
                GRADES
                if step.key == "as-found"
                else {key: words for key, words in GRADES.items() if key == step.key}
            )
            tested = one.tests_of(one.sitting) or one.seen_of(one.sitting)
            return {
                "grades": grades,
                "words": entry_words.GRADES,
                "no_results": NO_RESULTS,
                "may_go": bool(tested),
            }
        case StepKind.DO if step.key == "strip":
            screw = sheet is not None and _by_screw(sheet)
            return {"screw": screw or sheet is None}
        case StepKind.DO if step.key == "assemble":
            return {
                "pairs": [(o.pair, o.cylinder) for o in story.in_order()],
                "to_renew": renewals(one),
                "old_spring": entry_words.spring_length(one.spring.body) if one.spring else "",
            }
    return {}


def renewals(one: InjectorStory) -> list[str]:
    """Return the parts that are to be renewed, and those that always are."""
    found = [
        str(finding.body["part"])
        for finding in one.findings
        if finding.body["severity"] == Severity.RENEW.value
        and finding.entry.number > one.assembled_at
    ]
    return list(dict.fromkeys((*found, *ALWAYS_NEW)))


def _torques(sheet: SettingSheet | None) -> list[Torque]:
    """Return the sheet's torques, that of the nozzle nut first."""
    torques = sheet.torques if sheet else ()
    return sorted(torques, key=lambda torque: "nozzle" not in torque.part.lower())


def _last_wrench(story: JobStory) -> str:
    wrenches = [
        str(standing.body["wrench"])
        for standing in story.standing.values()
        if standing.kind is EntryKind.TORQUED and standing.body.get("wrench")
    ]
    return wrenches[-1] if wrenches else ""


def _torque_outside(one: InjectorStory) -> bool:
    """Return whether the last torque since the injector was assembled lies outside its band."""
    last = next((t for t in reversed(one.torques) if t.entry.number > one.assembled_at), None)
    if last is None or "low_nm" not in last.body:
        return False
    return bool(_outside(last.body["torque_nm"], last.body["low_nm"], last.body["high_nm"]))


def _by_screw(sheet: SettingSheet) -> bool:
    return sheet.adjustment.screw_pa_per_turn is not None or (
        sheet.adjustment.screw_pitch_m is not None
    )


def _by_shim(sheet: SettingSheet) -> bool:
    return sheet.adjustment.shim_effect_pa_per_m is not None or bool(sheet.adjustment.shim_sizes_m)


def _taught(
    shop: Workshop, story: JobStory, one: InjectorStory, saved: Saved | None
) -> Saved | None:
    """Return what was saved; after a change of the setting, with what the reading taught."""
    test = next((each for each in one.tests if saved and each.id == saved.id), None)
    if saved is None or saved.remark or test is None or test.entry.number < one.set_at:
        return saved
    learned = setting_shown.learned_of(shop.setting_known(story), one)
    if learned is None:
        return saved
    words = _("Foretold %(foretold)s, read %(got)s. On this injector: %(effect)s.")
    return replace(saved, remark=words % vars(learned))


def _proposed(
    shop: Workshop, story: JobStory, one: InjectorStory, sheet: SettingSheet | None
) -> setting_shown.Proposal | NotMeasured:
    """Return the change that has the best prospect, or why there is none."""
    change, opening = shop.setting_proposed(story, one), shop.opening_expected(story, one)
    knowledge, band = shop.setting_known(story), shop.setting_band(story)
    if isinstance(change, NotMeasured):
        return change
    if isinstance(opening, NotMeasured) or knowledge is None or band is None or sheet is None:
        return NotMeasured("")
    return setting_shown.proposal_of(change, opening, band, knowledge, shop.drawer(), one.shim_mm)


def _setting(
    shop: Workshop,
    story: JobStory,
    one: InjectorStory,
    sheet: SettingSheet | None,
    choice: int,
) -> dict[str, Any]:
    """Return what the setting step offers: how it is set, and the change to be made."""
    change_mm, turns, advised = None, None, ""
    proposal = _proposed(shop, story, one, sheet)
    verdict = one.verdict
    if verdict is not None and verdict.entry.number > one.set_at:
        for action in verdict.body.get("next", ()):
            if action.get("shim_change_mm") is not None:
                change_mm = float(action["shim_change_mm"])
            elif action.get("screw_turns") is not None:
                turns = float(action["screw_turns"])
            else:
                continue
            advised = from_data(action["do"])
            break
    planned, match = _planned_here(shop, story, one, sheet)
    by_plan = planned is not None and planned.open and choice < 0
    choice = max(choice, 0)
    before = one.shim_mm
    after = round(before + change_mm, 3) if before is not None and change_mm is not None else None
    chosen = None
    if isinstance(proposal, setting_shown.Proposal):
        choices = (proposal.best, *proposal.others)
        chosen = choices[choice] if 0 <= choice < len(choices) else proposal.best
        if advised and (choice or _is_advised(chosen, after, turns)):
            advised = ""  # it is what the proposal says
    if by_plan:
        advised = ""  # what was chosen for the whole set goes first
    return {
        "planned": planned,
        "match": match,
        "by_plan": by_plan,
        "reckoned": shop.read_with_other_spring(one),
        "springs": _springs_known(sheet, one),
        "proposal": None if isinstance(proposal, NotMeasured) else proposal,
        "unread": isinstance(shop.opening_now(one), NotMeasured),
        "missing": (
            setting_shown.missing_words(proposal) if isinstance(proposal, NotMeasured) else None
        ),
        "chosen": chosen,
        "choice": choice,
        "learned": setting_shown.learned_of(shop.setting_known(story), one),
        "counted": shop.drawer() is not None,
        "by_shim": sheet is None or _by_shim(sheet) or not _by_screw(sheet),
        "by_screw": sheet is None or _by_screw(sheet),
        "before": _plain(before),
        **(
            _by_plan(planned)
            if by_plan and planned is not None
            else _entered(chosen if not advised else None, after, change_mm, turns)
        ),
        "advised": advised,
        "from_sitting": str(verdict.body["sitting"]) if verdict is not None else "",
        "sizes": [f"{size * 1e3:g}" for size in sheet.adjustment.shim_sizes_m] if sheet else [],
    }


def _planned_here(
    shop: Workshop, story: JobStory, one: InjectorStory, sheet: SettingSheet | None
) -> tuple[setting_shown.PlannedShown | None, setting_shown.MatchShown | None]:
    """Return what the chosen match plans at an injector, and the match."""
    knowledge = shop.setting_known(story) if story.match is not None else None
    effect = knowledge.effect_of(one.injector) if knowledge is not None else None
    return setting_shown.planned_at(story, one, sheet, effect) or (None, None)


def _springs_known(sheet: SettingSheet | None, one: InjectorStory) -> bool:
    """Return whether the sheet has a length of the spring, and nobody has measured it yet."""
    spring = sheet.spring if sheet is not None else None
    return spring is not None and spring.free_length_m is not None and one.spring is None


def _by_plan(planned: setting_shown.PlannedShown) -> dict[str, str]:
    """Return what stands in the form where the chosen match plans a change."""
    return {
        "after": planned.shim_mm,
        "change": planned.by if planned.shim_mm else "",
        "turns": planned.turns,
        "sense": planned.sense,
    }


def _entered(
    chosen: setting_shown.ChoiceShown | None,
    after: float | None,
    change_mm: float | None,
    turns: float | None,
) -> dict[str, str]:
    """Return what stands in the form: the change chosen, else the one that was advised."""
    if chosen is not None:
        return {
            "after": "" if chosen.stays else chosen.shim_mm,
            "change": chosen.by if chosen.shim_mm and not chosen.stays else "",
            "turns": chosen.turns,
            "sense": chosen.sense,
        }
    return {
        "after": _plain(after),
        "change": _signed_mm(change_mm),
        "turns": _plain(abs(turns)) if turns is not None else "",
        "sense": "out" if turns is not None and turns < 0 else "in",
    }


def _is_advised(
    chosen: setting_shown.ChoiceShown, after: float | None, turns: float | None
) -> bool:
    """Return whether a choice is the change that the verdict advised."""
    if turns is not None:
        same = chosen.turns == show.localised(f"{abs(turns):.3g}")
        return same and chosen.sense == ("out" if turns < 0 else "in")
    return after is not None and chosen.shim_mm == _plain(after)


def _plain(value: float | None) -> str:
    return "" if value is None else show.localised(f"{value:g}")


def _signed_mm(value: float | None) -> str:
    if value is None:
        return ""
    return ("+" if value > 0 else "−") + entry_words.millimetres(abs(value))


def _others(request: Request, one: InjectorStory) -> list[str]:
    """Return who may check an injector: those who did not work on it."""
    fitters = {entry.entry.draft.who.casefold() for entry in (*one.tests, *one.settings)}
    return [name for name in page.people(request) if name.casefold() not in fitters]


# -- answers -------------------------------------------------------------------------------------


@router.post("/job/{job}/injector/{injector}/step/{key}")
def answer(request: Request, job: str, injector: str, key: str, form: page.Sent) -> Response:
    """Save the answer at a step, and go on to the next."""
    story = story_of(request, job)
    step = _step_of(request, story, key)
    act = Act(request, form, story, injector_of(story, injector), step, who(request))
    match form.text("act"):
        case "leave out":
            entry = _leave_out(act)
        case "go on":
            note = form.text("outside_note", longest=400) or act.remark()
            entry = act.note(EntryKind.STEP_DONE, {"step": key, "note": note}, done=False)
        case "no result":
            entry = _no_result(act)
        case _:
            entry = (_BY_KEY.get(key) or _BY_KIND.get(step.kind, _done))(act)
    one = story_of(request, job).injectors[injector]
    here = f"/job/{job}/injector/{injector}"
    where = here if key in one.done else f"{here}/step/{key}"
    return page.back_to(request, f"{where}?saved={entry.id}")


def _leave_out(act: Act) -> Entry:
    why = act.form.text("why", needed=_("why is this step left out?"), longest=400)
    act.form.check()
    body = {"step": act.step.key, "left_out": why}
    return act.note(EntryKind.STEP_DONE, body, done=False)


def _done(act: Act) -> Entry:
    act.form.check()
    body = {"step": act.step.key, "note": act.remark()}
    return act.note(EntryKind.STEP_DONE, body, done=False)


def _stripped(act: Act) -> Entry:
    body = {
        "pair": act.one.pair,
        "shim_mm": act.number("shim_mm", highest=THICKEST_MM),
        "screw_turns_out": act.number("screw_turns_out", highest=MOST_TURNS),
        "note": act.remark(),
    }
    act.form.check()
    return act.note(EntryKind.STRIPPED, body, done=False)


def _assembled(act: Act) -> Entry:
    form = act.form
    tag, chosen = form.text("pair_tag", longest=400), form.text("pair", longest=80)
    new_pair = chosen == "new"
    pair = _read_tag(act.story, tag) or ("" if new_pair else chosen)
    if not pair:
        remedy = (
            _("Scan it, type it, or tap the one that its tag shows")
            if not new_pair
            else _("Scan or type the number of the new pair")
        )
        form.fault(_("the pair is not named"), "pair_tag", remedy)
    renewed = form.chosen("renewed", renewals(act.one))
    shim_mm = act.number("shim_mm", highest=THICKEST_MM)
    form.check()
    body = {
        "pair": pair,
        "new_pair": (new_pair and pair != act.one.pair) or None,
        "renewed": list(renewed),
        "not_renewed": [part for part in renewals(act.one) if part not in renewed] or None,
        "shim_mm": shim_mm,
        "note": act.remark(),
    }
    return act.shop.assemble(
        form.id,
        act.who,
        act.job,
        act.one.injector,
        {key: value for key, value in body.items() if value not in (None, "")},
        kept=not form.text("shim_gone", longest=10),
        spring_kept=bool(form.text("spring_kept", longest=10)),
    )


def _read_tag(story: JobStory, tag: str) -> str:
    """Return the pair that a tag names; the code on a label leads to its injector."""
    found = re.search(r"/injector/([0-9A-Za-z-]+)/?$", tag)
    if found and found[1] in story.injectors:
        return story.injectors[found[1]].pair
    return tag[:80]


def _slid(act: Act) -> Entry:
    slides = act.form.choice("slides", ("yes", "no"))
    angle = act.form.text("angle", longest=80)
    act.form.check()
    seen = {"needle_slide": slides == "yes", "note": act.remark()}
    if slides == "no":
        seen["angle"] = angle
    return act.see(seen, done=slides == "yes")


def _torqued(act: Act) -> Entry:
    torque_nm = act.form.number("torque_nm", highest=HIGHEST_NM)
    torques = {t.part: t for t in _torques(act.shop.sheet(act.story))}
    part = act.form.choice("part", torques) if torques else ""
    wrench = act.form.text("wrench", longest=80)
    act.form.check()
    body: dict[str, Any] = {"part": part, "torque_nm": torque_nm, "wrench": wrench}
    asked = torques.get(part)
    within = True
    if asked is not None:
        body |= {"low_nm": asked.low_nm, "high_nm": asked.high_nm}
        within = not _outside(torque_nm, asked.low_nm, asked.high_nm)
    return act.note(EntryKind.TORQUED, {**body, "note": act.remark()}, done=within)


def _set(act: Act) -> Entry:
    form = act.form
    before = act.number("shim_from_mm", highest=THICKEST_MM)
    after = act.number("shim_to_mm", highest=THICKEST_MM)
    turns = act.number("screw_turns", highest=MOST_TURNS)
    if after is None and turns is None:
        name = "shim_to_mm" if "shim_to_mm" in form.values else "screw_turns"
        form.fault(
            _("no change has been entered"),
            name,
            _("Enter the new shim or the turns; or tap “no change needed”"),
        )
    if turns is not None and form.choice("sense", ("in", "out"), default="in") == "out":
        turns = -turns
    slack_pa = form.pressure_pa("slack") if form.text("slack") else None
    form.check()
    body = {
        "shim_from_mm": before if after is not None else None,
        "shim_to_mm": after,
        "screw_turns": turns,
        "slack_pa": slack_pa,
        "note": act.remark(),
    }
    return act.shop.change_setting(
        form.id,
        act.who,
        act.job,
        act.one.injector,
        {key: value for key, value in body.items() if value not in (None, "")},
        shims_um=_stack(form.text("shims_um", longest=40), after),
        done=act.step.key,
        kept=not form.text("shim_gone", longest=10),
    )


def _stack(text: str, total_mm: float | None) -> tuple[int, ...]:
    """Return the shims of a stack, [um]; none where they do not make the thickness entered."""
    shims = tuple(int(part) for part in text.split("+") if part.isascii() and part.isdigit())
    if total_mm is None or abs(sum(shims) - total_mm * 1e3) > 1.0:
        return ()
    return shims


def _graded(act: Act) -> Entry:
    asked = GRADES if act.step.key == "as-found" else {act.step.key: GRADES.get(act.step.key, ())}
    seen: dict[str, Any] = {}
    for key, grades in asked.items():
        if grades and act.form.text(key):
            seen[key] = act.form.choice(key, grades)
    if not seen:
        act.form.fault(
            _("nothing has been chosen"), next(iter(asked)), _("Choose what you saw or heard")
        )
    note = act.remark()
    if "spray" in seen and note:
        seen["spray_note"] = note
    elif note:
        seen["note"] = note
    act.form.check()
    return act.see(seen, done=act.step.key != "as-found")


def _no_result(act: Act) -> Entry:
    reason = act.form.choice("no_result", (*NO_RESULTS, "other"))
    if reason == "other":
        needed = _("why does it give no result?")
        reason = act.form.text("no_result_other", needed=needed, longest=200)
    act.form.check()
    return act.see({"no_result": reason}, done=True)


def _checked(act: Act) -> Entry:
    form = act.form
    agrees = form.choice("agrees", ("yes", "no"))
    name = form.text("other_name", longest=60) or form.text("checker", longest=60)
    if not name:
        form.fault(_("who has checked it?"), "checker", _("Choose a name, or type it"))
    form.check()
    act.who = name
    body = {"agrees": agrees == "yes", "note": act.remark()}
    return act.note(EntryKind.SECOND_PERSON, body, done=False)


_BY_KIND: Mapping[StepKind, Callable[[Act], Entry]] = {
    StepKind.SLIDE: _slid,
    StepKind.TORQUE: _torqued,
    StepKind.SETTING: _set,
    StepKind.TEST: _graded,
    StepKind.SECOND: _checked,
}
_BY_KEY: Mapping[str, Callable[[Act], Entry]] = {"strip": _stripped, "assemble": _assembled}


# -- take back -----------------------------------------------------------------------------------


@router.post("/job/{job}/injector/{injector}/take-back")
def take_back(request: Request, job: str, injector: str, form: page.Sent) -> Response:
    """Take back what was saved just now: a correction, with its reason."""
    story = story_of(request, job)
    injector_of(story, injector)
    entry = form.text("entry", longest=80)
    withdraw(request, story, form, entry, str(N_("a slip at the screen")))
    back = form.text("then", longest=400)
    here = f"/job/{job}/injector/{injector}"
    if not back.startswith(here):
        step = shop_of(request).step_done_with(story, entry)
        back = f"{here}/step/{step}" if step else here
    return page.back_to(request, f"{back}?saved={entry}")


def withdraw(request: Request, story: JobStory, form: page.Form, entry: str, why: str) -> None:
    """Take an entry back, and with it the step that was done by it."""
    shop_of(request).withdraw(form.id, who(request), story.job, entry, why)


# -- verdict -------------------------------------------------------------------------------------


def _verdict(story: JobStory, one: InjectorStory, steps: tuple[Step, ...]) -> VerdictShown | None:
    """Return the latest verdict as the page shows it; None where there is none."""
    latest = max(one.verdicts.values(), key=lambda each: each.entry.number, default=None)
    if one.waits_as_left:
        return _not_tested_yet(one)
    if latest is None:
        return None
    body = latest.body
    state, word = states.outcome(str(body["outcome"]))
    here = f"/job/{story.job}/injector/{one.injector}"
    keys = {step.key for step in steps}
    return VerdictShown(
        sitting=_(entry_words.SITTINGS[str(body["sitting"])]),
        state=state,
        word=word,
        reasons=tuple(map(from_data, body["reasons"])),
        tests=tuple(
            (
                test["test"],
                *states.test_outcome(str(test["outcome"])),
                tuple(map(from_data, test["reasons"])),
            )
            for test in body["tests"]
        ),
        measured=_values(one, str(body["sitting"])),
        next=tuple(
            {
                "do": from_data(action["do"]),
                "why": from_data(action["why"]),
                "caution": from_data(action["caution"]),
                **_way(str(action["kind"]), one, here, keys),
            }
            for action in body["next"]
        ),
        next_test=from_data(body["next_test"]),
    )


def _not_tested_yet(one: InjectorStory) -> VerdictShown:
    """Return what the page shows before the first test as left."""
    found = one.verdicts.get(AS_FOUND)
    reasons: tuple[str, ...] = ()
    if found is not None:
        word = states.outcome(str(found.body["outcome"]))[1]
        reasons = (_("As found it was: %(word)s.") % {"word": word},)
    return VerdictShown(
        sitting=_(entry_words.SITTINGS[AS_LEFT]),
        state="not-done",
        word=_("not tested yet"),
        reasons=reasons,
        tests=(),
        measured=(),
        next=(),
        next_test="",
    )


def _values(
    one: InjectorStory, sitting: str
) -> tuple[tuple[str, Quantity | None, Quantity | None, str], ...]:
    """Return what was measured in a sitting: name, as shown, corrected, how it is printed."""
    noted: dict[str, Any] = {}
    for test in one.tests_of(sitting):
        noted |= test.body.get("summary") or {}
    rows = (
        (_("Opening pressure"), None, entry_words.measured(noted.get("opening_pa"), "Pa"), "Pa"),
        (_("Closing pressure"), None, entry_words.measured(noted.get("closing_pa"), "Pa"), "Pa"),
        (
            _("Drop time"),
            entry_words.measured(noted.get("drop_as_shown_s"), "s"),
            entry_words.measured(noted.get("drop_at_reference_s"), "s"),
            "s",
        ),
    )
    return tuple(row for row in rows if row[1] is not None or row[2] is not None)


_WAYS: Mapping[str, str] = {
    ActionKind.CHANGE_SHIM.value: "set",
    ActionKind.TURN_SCREW.value: "set",
    ActionKind.CLEAN_AND_RETEST.value: "clean",
    ActionKind.CHECK_FACES.value: "inspect",
    ActionKind.RENEW_PAIR.value: "inspect",
    ActionKind.RENEW_PART.value: "inspect",
    ActionKind.RETEST_BETTER_GAUGE.value: "re-read",
}
"""Step at which an action is done."""


def _way(kind: str, one: InjectorStory, here: str, keys: set[str]) -> dict[str, str]:
    """Return where an action is done, and its name; empty where no page here is for it."""
    if kind == ActionKind.CHECK_RIG.value:
        return {"path": f"/rig?{urlencode({'back': here})}", "place": _("To the rig")}
    key = _WAYS.get(kind, "")
    if key in {"clean", "inspect"} and not one.apart:
        key = "strip"  # its parts must lie open first
    if kind == ActionKind.RETEST_BETTER_GAUGE.value and not one.changed:
        key = "as-found"
    if key not in keys:
        return {"path": "", "place": ""}
    place = _("To the step: %(step)s") % {"step": steps_shown.title_of(key)}
    return {"path": f"{here}/step/{key}", "place": place}
