"""What the entries of a job add up to, and what may be added next.

A correction takes the place of the entry that it names; a withdrawal takes it away. Both stay in
the record as entries of their own.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from nozzlewright.bench import Step, StepKind, StepPlan, steps_of
from nozzlewright.errors import NotAllowed
from nozzlewright.records.entry import Draft, Entry, EntryKind
from nozzlewright.said import say

AS_FOUND, AS_LEFT = "as found", "as left"
AS_FOUND_STEP = "as-found"
"""Step whose readings lock when the injector is opened or its setting touched."""

SECOND_STEP = "second"
"""Step at which another person tests the injector."""

AT_THE_INJECTOR = frozenset(
    {
        EntryKind.STEP_DONE,
        EntryKind.SEEN,
        EntryKind.TEST,
        EntryKind.STRIPPED,
        EntryKind.FINDING,
        EntryKind.ASSEMBLED,
        EntryKind.TORQUED,
        EntryKind.SETTING_CHANGED,
    }
)
"""What can be noted only of the injector in hand."""

SPRING = "spring"
"""Part whose length can be measured, and whose renewal makes what was read before of no use."""

AFTER_HAND_OVER = frozenset({EntryKind.RUNNING_CHECK, EntryKind.PHOTO, EntryKind.CAUSE})
"""What can still be noted of a job that was handed over."""

CHANGES = frozenset({EntryKind.STRIPPED, EntryKind.SETTING_CHANGED, EntryKind.ASSEMBLED})
"""After these an injector is no longer as it was found."""


@dataclass(frozen=True)
class Standing:
    """An entry with what it says after all corrections."""

    entry: Entry
    body: Mapping[str, Any]
    evidence: Sequence[str]
    corrected_by: str = ""
    """Id of the correction that stands for it; or empty."""

    @property
    def id(self) -> str:
        """Identity of the entry as first written."""
        return self.entry.id

    @property
    def kind(self) -> EntryKind:
        """What it says."""
        return self.entry.kind

    @property
    def injector(self) -> str:
        """Injector that it is about."""
        return self.entry.draft.injector


_AT_THE_RIG = frozenset({"spray", "chatter", "seat", "drop_test", "no_result"})
"""What can be noticed of an injector only under pressure."""


@dataclass
class InjectorStory:
    """What the entries say of one injector in one job."""

    injector: str
    """Its own identity."""
    cylinder: int
    serial: str
    pair: str
    """Identity of its mated needle and nozzle."""
    markings: str = ""
    done: dict[str, str] = field(default_factory=dict)
    """Steps that are done, each with the id of the entry that says so."""
    apart: bool = False
    """Whether it lies stripped."""
    changed: bool = False
    """Whether it is no longer as found: its as-found readings are locked."""
    shim_mm: float | None = None
    tests: list[Standing] = field(default_factory=list)
    seen: list[Standing] = field(default_factory=list)
    findings: list[Standing] = field(default_factory=list)
    settings: list[Standing] = field(default_factory=list)
    torques: list[Standing] = field(default_factory=list)
    photos: list[Standing] = field(default_factory=list)
    verdicts: dict[str, Standing] = field(default_factory=dict)
    """Latest verdict of each sitting, as it was said then."""
    second: list[Standing] = field(default_factory=list)
    pair_condemned: bool = False
    """Whether a finding asks for a new pair."""
    stripped_at: int = 0
    """Number of the entry that took it apart last; 0: never."""
    assembled_at: int = 0
    """Number of the entry that put it together last; 0: never stripped."""
    set_at: int = 0
    """Number of the entry that changed its setting last; 0: never."""
    spring: Standing | None = None
    """Finding that measured the spring which is in it; None where nobody has."""
    spring_to_go_in: Standing | None = None
    """Finding that measured a spring which is to go in at the next assembly."""
    spring_before: Standing | None = None
    """Finding that measured the spring which was in it before the present one."""
    spring_changed_at: int = 0
    """Number of the entry that put another spring in last; 0: never."""

    @property
    def sitting(self) -> str:
        """Sitting to which a test belongs that is made now."""
        return AS_LEFT if self.changed else AS_FOUND

    @property
    def verdict(self) -> Standing | None:
        """The verdict that counts: as left where there is one, else as found."""
        return self.verdicts.get(AS_LEFT) or self.verdicts.get(AS_FOUND)

    @property
    def waits_as_left(self) -> bool:
        """Whether it was put together or set anew, and no bench test was made since."""
        return self.changed and not self.apart and not self.tested_as_left

    @property
    def tested_as_left(self) -> bool:
        """Whether eye, ear or gauge were at a bench test after it was put together last."""
        return bool(self.tests_of(AS_LEFT)) or any(
            _AT_THE_RIG & seen.body.keys()
            for seen in self.seen_of(AS_LEFT)
            if seen.entry.number > self.assembled_at
        )

    def tests_of(self, sitting: str) -> list[Standing]:
        """Return the tests that count for a sitting, in order.

        As left, only what was tested after the injector was last put together counts.
        """
        return [
            test
            for test in self.tests
            if test.body.get("sitting") == sitting
            and (sitting == AS_FOUND or test.entry.number > self.assembled_at)
        ]

    def seen_of(self, sitting: str) -> list[Standing]:
        """Return what eye and ear noticed in a sitting, in order.

        As left, what was noticed while it lay apart last (the slide test) counts too.
        """
        return [
            seen
            for seen in self.seen
            if seen.body.get("sitting") == sitting
            and (sitting == AS_FOUND or seen.entry.number > self.stripped_at)
        ]

    def agreed(self) -> bool:
        """Return whether the second person who looked at it last found it as the tests say."""
        return bool(self.second) and bool(self.second[-1].body.get("agrees", True))

    def opening_is_stale(self, test: Standing) -> bool:
        """Return whether the setting was changed after a test as left."""
        return self.changed and test.entry.number < self.set_at

    def next_step(self, steps: Sequence[Step]) -> Step | None:
        """Return the first step that is not done; None where all are."""
        return next((step for step in steps if step.key not in self.done), None)


@dataclass
class JobStory:
    """What the entries of one job add up to."""

    job: str
    booked: Mapping[str, Any] = field(default_factory=dict)
    """What was booked in; empty: there is no such job yet."""
    sheet: str = ""
    """Digest of the setting sheet; empty: none chosen yet."""
    injectors: dict[str, InjectorStory] = field(default_factory=dict)
    """Those that belong to the engine, by their identity."""
    shelved: dict[str, InjectorStory] = field(default_factory=dict)
    """Those that were taken out of the set: they lie on the shelf."""
    in_hand: str = ""
    """Injector that is open on the bench; or empty."""
    handed_over: Standing | None = None
    running_checks: list[Standing] = field(default_factory=list)
    causes: list[Standing] = field(default_factory=list)
    """What was observed or settled about causes, of an injector or of the engine."""
    matches: list[Standing] = field(default_factory=list)
    """Choices of a match, the one that counts last."""
    photos: list[Standing] = field(default_factory=list)
    standing: dict[str, Standing] = field(default_factory=dict)
    """Every entry that counts, by id."""
    entries: list[Entry] = field(default_factory=list)
    """Every entry, corrections and what they put right included."""
    withdrawn: dict[str, str] = field(default_factory=dict)
    """Ids that were taken back, each with the id of the entry that did so."""
    last_number: int = 0

    @property
    def match(self) -> Standing | None:
        """The match that was chosen last and not taken back; None where none was."""
        return self.matches[-1] if self.matches else None

    def in_order(self) -> list[InjectorStory]:
        """Return the injectors by cylinder."""
        return sorted(self.injectors.values(), key=lambda injector: injector.cylinder)

    def at_cylinder(self, cylinder: int) -> InjectorStory | None:
        """Return the injector of a cylinder; None where none was tagged."""
        return next((one for one in self.injectors.values() if one.cylinder == cylinder), None)

    def untagged(self) -> list[int]:
        """Return the cylinders that have no injector yet."""
        taken = {one.cylinder for one in self.injectors.values()}
        return [c for c in range(1, int(self.booked.get("cylinders", 0)) + 1) if c not in taken]

    def apart(self) -> InjectorStory | None:
        """Return the injector whose parts lie open, a condemned pair aside; None if none does."""
        return next(
            (one for one in self.injectors.values() if one.apart and not one.pair_condemned), None
        )


def resolved(entries: Iterable[Entry]) -> tuple[list[Standing], dict[str, str]]:
    """Return the entries that count, with their corrected content, and those taken back.

    Returns
    -------
    standing : list of Standing
        In the order of the entries as first written
    withdrawn : dict
        Ids taken back, each with the id of the entry that did so
    """
    standing: dict[str, Standing] = {}
    stands_for: dict[str, str] = {}
    withdrawn: dict[str, str] = {}
    for entry in entries:
        aim = entry.draft.corrects
        if not aim:
            standing[entry.id] = Standing(entry, entry.body, entry.draft.evidence)
            continue
        first = stands_for.get(aim, aim)
        stands_for[entry.id] = first
        if entry.kind is EntryKind.WITHDRAWN:
            if standing.pop(first, None) is not None:
                withdrawn[first] = entry.id
        elif first in standing:
            old = standing[first]
            standing[first] = Standing(old.entry, entry.body, entry.draft.evidence, entry.id)
    return list(standing.values()), withdrawn


def told(job: str, entries: Sequence[Entry], plan: StepPlan | None = None) -> JobStory:
    """Return what the entries of a job add up to.

    Parameters
    ----------
    job : str
        Its number
    entries : sequence of Entry
        All entries of the story, in order
    plan : StepPlan, optional
        Steps that the sheet leaves out or adds
    """
    story = JobStory(job, entries=list(entries))
    counted, story.withdrawn = resolved(entries)
    story.last_number = entries[-1].number if entries else 0
    order = [step.key for step in steps_of(plan or StepPlan())]
    for standing in counted:
        story.standing[standing.id] = standing
        _TELL[standing.kind](story, standing, order)
    return story


def _job(story: JobStory, standing: Standing, _: Sequence[str]) -> None:
    body = standing.body
    match standing.kind:
        case EntryKind.BOOKED_IN:
            story.booked = body
            story.sheet = str(body.get("sheet", "")) or story.sheet
        case EntryKind.SHEET_CHOSEN:
            story.sheet = str(body["sheet"])
        case EntryKind.HANDED_OVER:
            story.handed_over = standing
        case EntryKind.RUNNING_CHECK:
            story.running_checks.append(standing)
        case EntryKind.CAUSE:
            story.causes.append(standing)
        case EntryKind.MATCH:
            story.matches.append(standing)
        case EntryKind.TAKEN_IN_HAND:
            story.in_hand = standing.injector
        case EntryKind.LAID_DOWN:
            if story.in_hand == standing.injector:
                story.in_hand = ""
        case EntryKind.SHELVED:
            one = story.injectors.pop(standing.injector, None)
            if one is not None:
                story.shelved[standing.injector] = one
        case EntryKind.TAGGED:
            story.shelved.pop(standing.injector, None)
            story.injectors[standing.injector] = InjectorStory(
                injector=standing.injector,
                cylinder=int(body["cylinder"]),
                serial=str(body.get("serial", "")),
                pair=str(body["pair"]),
                markings=str(body.get("markings", "")),
                shim_mm=body.get("shim_mm"),
            )


def _photo(story: JobStory, standing: Standing, _: Sequence[str]) -> None:
    one = story.injectors.get(standing.injector)
    (one.photos if one else story.photos).append(standing)


def _injector(story: JobStory, standing: Standing, order: Sequence[str]) -> None:
    one = story.injectors.get(standing.injector)
    if one is None:
        return
    body = standing.body
    match standing.kind:
        case EntryKind.STEP_DONE:
            one.done[str(body["step"])] = standing.id
        case EntryKind.SEEN:
            one.seen.append(standing)
        case EntryKind.TEST:
            one.tests.append(standing)
            if body.get("shim_mm") is not None:
                one.shim_mm = body["shim_mm"]
        case EntryKind.STRIPPED:
            one.apart = one.changed = True
            one.stripped_at = standing.entry.number
            _forget_after(one, "strip", order)
            one.done["strip"] = standing.id
            if body.get("shim_mm") is not None:
                one.shim_mm = body["shim_mm"]
        case EntryKind.FINDING:
            one.findings.append(standing)
            if body.get("renew_pair"):
                one.pair_condemned = True
            if body.get("length_mm") is not None:
                if body.get("goes_in"):
                    one.spring_to_go_in = standing
                else:
                    one.spring = standing
        case EntryKind.ASSEMBLED:
            one.apart, one.changed = False, True
            one.assembled_at = standing.entry.number
            _forget_after(one, "assemble", order)
            one.done["assemble"] = standing.id
            if one.spring_to_go_in is not None or spring_in(body):
                one.spring_before = one.spring
                one.spring, one.spring_to_go_in = one.spring_to_go_in, None
                one.spring_changed_at = standing.entry.number
            if str(body["pair"]) != one.pair:
                one.pair, one.pair_condemned = str(body["pair"]), False
            if body.get("shim_mm") is not None:
                one.shim_mm = body["shim_mm"]
        case EntryKind.TORQUED:
            one.torques.append(standing)
        case EntryKind.SETTING_CHANGED:
            one.settings.append(standing)
            one.changed = True
            one.set_at = standing.entry.number
            _forget_after(one, "set", order)
            if body.get("shim_to_mm") is not None:
                one.shim_mm = body["shim_to_mm"]
        case EntryKind.VERDICT:
            one.verdicts[str(body["sitting"])] = standing
        case EntryKind.SECOND_PERSON:
            one.second.append(standing)
            if one.agreed():
                one.done[SECOND_STEP] = standing.id
            else:
                one.done.pop(SECOND_STEP, None)


def spring_in(body: Mapping[str, Any]) -> bool:
    """Return whether an assembly put a new spring in."""
    return any(SPRING in str(part).lower() for part in body.get("renewed") or ())


def _forget_after(one: InjectorStory, step: str, order: Sequence[str]) -> None:
    """Take what follows a step as not done: the step has been done anew."""
    after = order[order.index(step) + 1 :] if step in order else ()
    for key in after:
        one.done.pop(key, None)


def _nothing(*_: object) -> None:
    """Entries of the workshop say nothing about a job."""


OF_THE_SHOP = frozenset(
    {
        EntryKind.PERSON,
        EntryKind.SHEET,
        EntryKind.RIG_CHECK,
        EntryKind.PRACTICE,
        EntryKind.DRAWER,
        EntryKind.SPRINGS,
        EntryKind.STUDY,
        EntryKind.LEARNED,
    }
)
"""Entries of the workshop itself."""

_TELL = {
    kind: (
        _injector
        if kind in AT_THE_INJECTOR or kind in {EntryKind.VERDICT, EntryKind.SECOND_PERSON}
        else _photo
        if kind is EntryKind.PHOTO
        else _nothing
        if kind in OF_THE_SHOP
        else _job
    )
    for kind in EntryKind
}


# --- what may be added ------------------------------------------------------------------------


def admit(story: JobStory, draft: Draft, plan: StepPlan | None = None) -> None:
    """Refuse an entry that the rules of the trade forbid.

    Parameters
    ----------
    story : JobStory
        The job as it stands
    draft : Draft
        What is to be added
    plan : StepPlan, optional
        Steps that the sheet leaves out or adds

    Raises
    ------
    NotAllowed
        With the reason and what to do instead.
    """
    kind = draft.kind
    if kind is EntryKind.BOOKED_IN and not draft.corrects:
        if story.booked:
            raise NotAllowed(
                say("job {job} is booked in already", job=story.job), say("Open it instead")
            )
        return
    if not story.booked:
        raise NotAllowed(say("there is no job {job}", job=story.job), say("Book the set in first"))
    if draft.corrects:
        _admit_correction(story, draft)
        return
    if story.handed_over is not None and kind not in AFTER_HAND_OVER:
        raise NotAllowed(
            say("job {job} was handed over", job=story.job),
            say("Take the hand-over back first, or book the set in anew"),
        )
    rule = _RULES.get(kind)
    steps = steps_of(plan or StepPlan())
    if kind in AT_THE_INJECTOR and not _is_of_the_set(draft, steps):
        _admit_in_hand(story, draft)
    if rule is not None:
        rule(story, draft, steps)


def _is_of_the_set(draft: Draft, steps: Sequence[Step]) -> bool:
    """Return whether a step is done that needs no injector open: matching, second person."""
    return draft.kind is EntryKind.STEP_DONE and any(
        step.key == draft.body.get("step") and step.kind in {StepKind.MATCH, StepKind.SECOND}
        for step in steps
    )


def _one(story: JobStory, draft: Draft) -> InjectorStory:
    one = story.injectors.get(draft.injector)
    if one is None:
        raise NotAllowed(
            say("this injector is not tagged in this job"), say("Tag it with its cylinder first")
        )
    return one


def _admit_in_hand(story: JobStory, draft: Draft) -> None:
    one = _one(story, draft)
    if story.in_hand == draft.injector:
        return
    if story.in_hand:
        other = story.injectors[story.in_hand]
        raise NotAllowed(
            say(
                "injector {other} is open on the bench, not {cylinder}",
                other=other.cylinder,
                cylinder=one.cylinder,
            ),
            say("Close injector {other} first: one injector open at a time", other=other.cylinder),
        )
    raise NotAllowed(
        say("injector {cylinder} is not in hand", cylinder=one.cylinder),
        say("Take it in hand first"),
    )


def _admit_correction(story: JobStory, draft: Draft) -> None:
    aim = story.standing.get(draft.corrects) or next(
        (one for one in story.standing.values() if one.corrected_by == draft.corrects), None
    )
    if aim is None:
        gone = draft.corrects in story.withdrawn
        raise NotAllowed(
            say("the entry was taken back already")
            if gone
            else say("there is no such entry in this job"),
            say("Look at the story of the job and choose the entry there"),
        )
    if draft.kind not in {EntryKind.WITHDRAWN, aim.kind}:
        raise NotAllowed(
            say(
                "an entry '{kind}' cannot be put right by one that says '{new}'",
                kind=aim.kind,
                new=draft.kind,
            ),
            say("Take it back and write a new one"),
        )
    if aim.kind in {EntryKind.VERDICT, EntryKind.TAKEN_IN_HAND, EntryKind.LAID_DOWN}:
        raise NotAllowed(
            say("an entry '{kind}' follows from others", kind=aim.kind),
            say("Put the test or finding right instead"),
        )
    if aim.kind is EntryKind.BOOKED_IN and draft.kind is EntryKind.WITHDRAWN:
        raise NotAllowed(
            say("a booking cannot be taken back"), say("Put its particulars right instead")
        )
    one = story.injectors.get(aim.injector)
    if one is None:
        return
    if aim.kind is EntryKind.TAGGED and draft.kind is EntryKind.WITHDRAWN and len(one.done):
        raise NotAllowed(
            say("injector {cylinder} has been worked on", cylinder=one.cylinder),
            say("Put the tag right instead"),
        )
    as_found = aim.body.get("sitting") == AS_FOUND or aim.body.get("step") == AS_FOUND_STEP
    if one.changed and as_found and aim.kind in {EntryKind.TEST, EntryKind.SEEN}:
        raise NotAllowed(
            say(
                "the as-found readings of injector {cylinder} are locked: it was opened or set",
                cylinder=one.cylinder,
            ),
            say(
                "They stay as they are; add a photo or a finding that says what was wrong with them"
            ),
        )
    if draft.kind is aim.kind is EntryKind.ASSEMBLED:
        _admit_pair(story, one, draft)
    if draft.kind is aim.kind is EntryKind.TAGGED:
        _admit_tag(story, draft)


def _admit_tag(story: JobStory, draft: Draft, _: Sequence[Step] = ()) -> None:
    body = draft.body
    cylinder, cylinders = int(body["cylinder"]), int(story.booked["cylinders"])
    if not 1 <= cylinder <= cylinders:
        raise NotAllowed(
            say("the engine has no cylinder {cylinder}", cylinder=cylinder),
            say("Give a cylinder from 1 to {cylinders}", cylinders=cylinders),
        )
    for other in story.injectors.values():
        if other.injector == draft.injector:
            if not draft.corrects:
                raise NotAllowed(
                    say("this injector is tagged as number {other} already", other=other.cylinder),
                    say("Put that tag right instead"),
                )
            continue
        if other.cylinder == cylinder:
            raise NotAllowed(
                say(
                    "cylinder {cylinder} has its injector already ({serial})",
                    cylinder=cylinder,
                    serial=other.serial,
                ),
                say("Choose the cylinder that the tag on the injector shows"),
            )
        if other.pair == body["pair"]:
            raise NotAllowed(
                say(
                    "the pair {pair} belongs to injector {other}",
                    pair=body["pair"],
                    other=other.cylinder,
                ),
                say("Needle and nozzle are lapped together and stay together: check the tags"),
            )


def _admit_taking(story: JobStory, draft: Draft, _: Sequence[Step]) -> None:
    one = _one(story, draft)
    if story.in_hand == draft.injector:
        raise NotAllowed(
            say("injector {cylinder} is in hand already", cylinder=one.cylinder),
            say("Go on with it"),
        )
    if story.in_hand:
        other = story.injectors[story.in_hand]
        raise NotAllowed(
            say("injector {other} is open on the bench", other=other.cylinder),
            say("Close injector {other} first: one injector open at a time", other=other.cylinder),
        )


def _admit_laying(story: JobStory, draft: Draft, _: Sequence[Step]) -> None:
    one = _one(story, draft)
    if story.in_hand != draft.injector:
        raise NotAllowed(
            say("injector {cylinder} is not in hand", cylinder=one.cylinder),
            say("There is nothing to close"),
        )
    if one.apart and not str(draft.body.get("tray", "")).strip():
        raise NotAllowed(
            say("injector {cylinder} lies apart", cylinder=one.cylinder),
            say("Put it together first, or name the tray that holds its parts, and only its parts"),
        )


def _admit_stripping(story: JobStory, draft: Draft, steps: Sequence[Step]) -> None:
    one = _one(story, draft)
    if one.apart:
        raise NotAllowed(
            say("injector {cylinder} is stripped already", cylinder=one.cylinder),
            say("Go on with it"),
        )
    other = story.apart()
    if other is not None:
        raise NotAllowed(
            say("injector {other} lies apart", other=other.cylinder),
            say(
                "Put injector {other} together first: parts of two must never lie open",
                other=other.cylinder,
            ),
        )
    tested = one.tests_of(AS_FOUND) or one.seen_of(AS_FOUND)
    if any(step.key == AS_FOUND_STEP for step in steps) and not tested and not one.changed:
        raise NotAllowed(
            say("injector {cylinder} was not tested as found", cylinder=one.cylinder),
            say("Test it first, or write down why it gives no result (needle seized ...)"),
        )


def _admit_assembling(story: JobStory, draft: Draft, _: Sequence[Step]) -> None:
    one = _one(story, draft)
    if not one.apart:
        raise NotAllowed(
            say("injector {cylinder} is not apart", cylinder=one.cylinder),
            say("Go on with the next step"),
        )
    _admit_pair(story, one, draft)


def _admit_pair(story: JobStory, one: InjectorStory, draft: Draft) -> None:
    pair = str(draft.body["pair"])
    for other in story.injectors.values():
        if other.injector != one.injector and other.pair == pair:
            raise NotAllowed(
                say("the pair {pair} belongs to injector {other}", pair=pair, other=other.cylinder),
                say("Look for pair {own}: needle and nozzle are never mixed", own=one.pair),
            )
    if pair != one.pair and not draft.body.get("new_pair"):
        raise NotAllowed(
            say(
                "the pair {pair} is not that of injector {cylinder} ({own})",
                pair=pair,
                cylinder=one.cylinder,
                own=one.pair,
            ),
            say("Fit pair {own}, or say that a new pair is fitted", own=one.pair),
        )


def _admit_shelving(story: JobStory, draft: Draft, _: Sequence[Step]) -> None:
    one = _one(story, draft)
    if story.in_hand == draft.injector:
        raise NotAllowed(
            say("injector {cylinder} is open on the bench", cylinder=one.cylinder),
            say("Close it first"),
        )


def _admit_only_whole(story: JobStory, draft: Draft, _: Sequence[Step]) -> None:
    one = _one(story, draft)
    if one.apart:
        raise NotAllowed(
            say("injector {cylinder} lies apart", cylinder=one.cylinder),
            say("Assemble it and tighten it to torque first"),
        )


def _admit_test(story: JobStory, draft: Draft, steps: Sequence[Step]) -> None:
    _admit_only_whole(story, draft, steps)
    one = _one(story, draft)
    if draft.body.get("sitting") != one.sitting:
        locked = (
            say("its as-found readings are locked") if one.changed else say("it is still as found")
        )
        raise NotAllowed(
            say(
                "a test '{sitting}' of injector {cylinder} comes at the wrong time: {why}",
                sitting=say(str(draft.body.get("sitting"))),
                cylinder=one.cylinder,
                why=locked,
            ),
            say("Open the injector's page again and test it from there"),
        )


def _admit_second(story: JobStory, draft: Draft, _: Sequence[Step]) -> None:
    one = _one(story, draft)
    # What somebody tests at this very step is the check itself.
    worked = [test for test in one.tests if test.body.get("step") != SECOND_STEP] + one.settings
    fitters = {entry.entry.draft.who.casefold() for entry in worked}
    if draft.who.casefold() in fitters:
        raise NotAllowed(
            say("{who} worked on injector {cylinder}", who=draft.who, cylinder=one.cylinder),
            say("Let another person check it"),
        )


def _admit_hand_over(story: JobStory, _: Draft, steps: Sequence[Step]) -> None:
    if story.in_hand:
        cylinder = story.injectors[story.in_hand].cylinder
        raise NotAllowed(
            say("injector {cylinder} is open on the bench", cylinder=cylinder),
            say("Close it first"),
        )
    apart = story.apart()
    if apart is not None:
        raise NotAllowed(
            say("injector {cylinder} lies apart", cylinder=apart.cylinder),
            say("Put it together first"),
        )
    missing = [str(one.cylinder) for one in story.in_order() if one.verdict is None]
    if missing or not story.injectors:
        raise NotAllowed(
            say(
                "without a verdict: injector {missing}",
                missing=", ".join(missing) or say("(none tagged)"),
            ),
            say("Test them, or write down why they give no result"),
        )
    second = any(step.kind is StepKind.SECOND for step in steps)
    if second and not any(one.agreed() for one in story.injectors.values()):
        raise NotAllowed(
            say("no second person has checked an injector of the set"),
            say("Let another person test one at random"),
        )


def _admit_cause(story: JobStory, draft: Draft, _: Sequence[Step]) -> None:
    if draft.injector and draft.injector not in story.shelved:
        _one(story, draft)


def _admit_match(story: JobStory, draft: Draft, _: Sequence[Step]) -> None:
    for step in draft.body.get("steps", ()):
        if str(step.get("injector", "")) not in story.injectors:
            raise NotAllowed(
                say("the set has changed since the match was worked out"),
                say("Work it out anew, and choose again"),
            )


_RULES = {
    EntryKind.MATCH: _admit_match,
    EntryKind.CAUSE: _admit_cause,
    EntryKind.TAGGED: _admit_tag,
    EntryKind.TAKEN_IN_HAND: _admit_taking,
    EntryKind.LAID_DOWN: _admit_laying,
    EntryKind.SHELVED: _admit_shelving,
    EntryKind.STRIPPED: _admit_stripping,
    EntryKind.ASSEMBLED: _admit_assembling,
    EntryKind.TORQUED: _admit_only_whole,
    EntryKind.TEST: _admit_test,
    EntryKind.SECOND_PERSON: _admit_second,
    EntryKind.HANDED_OVER: _admit_hand_over,
}
