"""What the record tells of settings: each change with the readings before and after it."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from nozzlewright.advice import SeenChange, SeenShift
from nozzlewright.advice.setting_spring import SPRING_LENGTH
from nozzlewright.bench import EngineSet, MeasuredSpring, TestSitting
from nozzlewright.measurement import Cause, Quantity
from nozzlewright.records import (
    Entry,
    EntryKind,
    Standing,
    from_payload,
    resolved,
)
from nozzlewright.records.story import spring_in
from nozzlewright.said import as_data, from_data, say
from nozzlewright.workflow.ports import Records

NO_CHANGE_M = 1e-6
"""Thicknesses that differ by less are the same, [m]."""
MOST_REMEMBERED = 1500
"""Changes of a setting whose job is known, the newest first."""
MOST_LEARNED_FROM = 150
"""Changes of one kind that are learned from, the newest first: what comes on top of these moves
the effect of the kind by less than it differs from one injector to the next."""
FAR_BEHIND = 3000
"""Entries after which the record is looked through anew, not entry by entry."""
READ_ONCE_PA = 0.5e5
"""Standard uncertainty of a pressure read once, by eye, beside the gauge's level, [Pa]; common
practice, no source."""
CALIPER_U_M = 0.05e-3 / 1.959963984540054
"""Standard uncertainty of a length where nobody stated any: a caliper's 0.05 mm in 19 of 20
cases, [m]; common practice, no source."""


@dataclass
class SettingsOfJob:
    """What one job shows of shim or screw, by sheet."""

    sheet: str = ""
    """Digest of its setting sheet."""
    changes: list[SeenChange] = field(default_factory=list)
    lock_nuts: list[SeenShift] = field(default_factory=list)
    settlings: list[SeenShift] = field(default_factory=list)
    new_springs: set[str] = field(default_factory=set)
    """Injectors with a new spring that nothing shows to have settled."""
    not_read: int = 0
    """Changes without a reading before or after them."""


def changes_of_set(engine_set: EngineSet) -> list[SeenChange]:
    """Return the changes of shim that a set shows between as found and as left."""
    seen = []
    for one in engine_set.injectors:
        before, after = _opening(one.as_found), _opening(one.as_left)
        if before is None or after is None or one.as_found is None or one.as_left is None:
            continue
        if one.as_found.shim_mm is None or one.as_left.shim_mm is None:
            continue
        amount = round((one.as_left.shim_mm - one.as_found.shim_mm) * 1e-3, 9)
        if abs(amount) >= NO_CHANGE_M:
            name = one.identity or say("cylinder {number}", number=one.cylinder)
            seen.append(SeenChange(name, amount, before, after, name))
    return seen


def _opening(sitting: TestSitting | None) -> Quantity | None:
    gauge = sitting.gauge if sitting is not None else None
    opening = gauge.opening_pressure if gauge is not None else None
    return opening if isinstance(opening, Quantity) else None


def opening_data(opening: Quantity) -> list[list[Any]]:
    """Return the causes of an opening pressure's doubt as an entry keeps them.

    Name, scope, whether it is rectangular, its part [Pa], and its degrees of freedom if they are
    few.
    """
    return [
        [as_data(cause.name), cause.scope, cause.rectangular, part]
        + ([] if cause.degrees is None else [cause.degrees])
        for cause, part in opening.contributions.items()
    ]


def opening_from(test: Standing) -> Quantity | None:
    """Return the opening pressure that a test notes; None where it notes none.

    A test of old, which does not say what its doubt stems from, counts as read on a gauge of its
    own: nothing of it cancels.
    """
    noted = test.body.get("summary") or {}
    value = noted.get("opening_pa")
    if not isinstance(value, Sequence) or len(value) != 2:
        return None
    causes = noted.get("opening_causes")
    if causes is None:
        parts = {Cause(say("as noted"), test.id): float(value[1])}
    else:
        parts = {
            Cause(from_data(name), str(scope), bool(boxed), *degrees): float(part)
            for name, scope, boxed, part, *degrees in causes
        }
    return Quantity(float(value[0]), "Pa", parts)


def settings_of(job: str, entries: Iterable[Entry]) -> SettingsOfJob:
    """Return what the entries of one job show of shim or screw.

    A change counts with the last reading before it and the last one after it, before the next
    change. Where spring or pair were renewed in between, the reading before says nothing.
    """
    told = SettingsOfJob()
    by_injector: dict[str, list[Standing]] = {}
    cylinders: dict[str, object] = {}
    for standing in resolved(entries)[0]:
        match standing.kind:
            case EntryKind.BOOKED_IN | EntryKind.SHEET_CHOSEN:
                told.sheet = str(standing.body.get("sheet", "")) or told.sheet
            case EntryKind.TAGGED:
                cylinders[standing.injector] = standing.body.get("cylinder", "")
            case (
                EntryKind.TEST | EntryKind.SETTING_CHANGED | EntryKind.ASSEMBLED | EntryKind.FINDING
            ):
                by_injector.setdefault(standing.injector, []).append(standing)
    for injector, standings in by_injector.items():
        name = say("job {job}, cylinder {cylinder}", job=job, cylinder=str(cylinders.get(injector)))
        _of_injector(told, injector, str(name), standings)
    return told


def _of_injector(
    told: SettingsOfJob, injector: str, name: str, standings: Sequence[Standing]
) -> None:
    before: Quantity | None = None
    after: Quantity | None = None
    slack: Quantity | None = None
    amount, changed, by_screw = 0.0, False, False
    first_of_spring: Quantity | None = None
    another_goes_in = False  # a used spring, which has settled, from elsewhere

    def close() -> None:
        nonlocal before, after, slack, amount, changed
        if changed:
            if before is not None and after is not None:
                told.changes.append(SeenChange(injector, amount, before, after, name, by_screw))
            else:
                told.not_read += 1
            if slack is not None and after is not None:
                told.lock_nuts.append(SeenShift(injector, slack, after))
        if after is not None or changed:
            before = after
        after, slack, amount, changed = None, None, 0.0, False

    for standing in standings:
        body = standing.body
        match standing.kind:
            case EntryKind.TEST:
                reading = opening_from(standing)
                if reading is None:
                    continue
                if changed:
                    after = reading
                else:
                    before = reading
                if injector in told.new_springs:
                    if first_of_spring is None:
                        first_of_spring = reading
                    else:
                        told.settlings.append(SeenShift(injector, first_of_spring, reading))
                        told.new_springs.discard(injector)
            case EntryKind.FINDING:
                another_goes_in = another_goes_in or bool(body.get("goes_in"))
            case EntryKind.ASSEMBLED:
                if changed and after is not None:
                    close()
                if body.get("new_pair") or spring_in(body) or another_goes_in:
                    if changed:
                        close()
                    before = None
                another_goes_in = False
                if spring_in(body):
                    told.new_springs.add(injector)
                    first_of_spring = None
            case EntryKind.SETTING_CHANGED:
                if changed and after is not None:
                    close()
                step = change_in(body)
                if step is None:
                    continue
                if changed and by_screw is not step[1]:
                    close()
                amount, changed, by_screw = amount + step[0], True, step[1]
                slack = _slack_in(standing)
                first_of_spring = None
    close()


def change_in(body: Mapping[str, Any]) -> tuple[float, bool] | None:
    """Return the change that an entry notes, and whether it is of a screw; None where unknown.

    Thickness added, [m]; or turns inwards, [1].
    """
    turns = body.get("screw_turns")
    if turns is not None:
        return float(turns), True
    old, new = body.get("shim_from_mm"), body.get("shim_to_mm")
    if old is None or new is None:
        return None
    return round((float(new) - float(old)) * 1e-3, 9), False


def measured_spring(noted: Standing | None) -> MeasuredSpring | None:
    """Return the spring that a finding measured; None where there is none.

    Its doubt is noted as half of the 95 % interval.
    """
    if noted is None or noted.body.get("length_mm") is None:
        return None
    body = noted.body
    off = body.get("length_off_mm")
    u_m = CALIPER_U_M if off is None else float(off) * 1e-3 / 1.959963984540054
    length = Quantity(
        float(body["length_mm"]) * 1e-3,
        "m",
        {Cause(SPRING_LENGTH, noted.id): u_m},
        say("measured on the bench"),
    )
    return MeasuredSpring(length, float(body.get("load_n") or 0.0))


def _slack_in(standing: Standing) -> Quantity | None:
    """Return the pressure noted with the lock nut slack; a dial read once."""
    noted = standing.body.get("slack_pa")
    if noted is None:
        return None
    return Quantity(float(noted), "Pa", {Cause(say("read once"), standing.id): READ_ONCE_PA})


class SettingsSeen:
    """The changes of all jobs, read from the record when they are asked for and then kept.

    What is kept follows the record's head: only jobs that were written to since are read anew.
    """

    def __init__(self, records: Records) -> None:
        self._records = records
        self._head = 0
        self._jobs: OrderedDict[str, str] = OrderedDict()
        """Jobs with a change, that with the newest last, each with its sheet or empty."""
        self._read: dict[str, SettingsOfJob] = {}
        self.version = 0
        """Goes up with each change of what is kept."""

    def follow(self) -> int:
        """Take in what was written since; return the version."""
        head = self._records.head()[0]
        if head == self._head:
            return self.version
        if self._head == 0 or head - self._head > FAR_BEHIND:
            self._jobs.clear()
            self._read.clear()
            kind = EntryKind.SETTING_CHANGED
            for entry in reversed(self._records.of_kind(kind, last=MOST_REMEMBERED)):
                self._note(entry)
            for kind in (EntryKind.SHEET_CHOSEN, EntryKind.WITHDRAWN):
                for entry in reversed(self._records.of_kind(kind, last=MOST_REMEMBERED)):
                    self._read_anew(entry)
        else:
            for _, text, _ in self._records.payloads(after=self._head):
                entry = from_payload(text)
                if entry.kind is EntryKind.SETTING_CHANGED:
                    self._note(entry)
                elif entry.kind in _MATTERS:
                    self._read_anew(entry)
        self._head = head
        return self.version

    def _note(self, entry: Entry) -> None:
        job = entry.draft.story
        self._jobs[job] = str(entry.body.get("sheet", "")) or self._jobs.get(job, "")
        self._jobs.move_to_end(job)
        self._read.pop(job, None)
        self.version += 1
        while len(self._jobs) > MOST_REMEMBERED:
            self._read.pop(self._jobs.popitem(last=False)[0], None)

    def _read_anew(self, entry: Entry) -> None:
        """Forget what a job shows, and its sheet where that may be another one now."""
        job = entry.draft.story
        if job not in self._jobs:
            return
        if entry.kind is EntryKind.SHEET_CHOSEN:
            self._jobs[job] = str(entry.body.get("sheet", ""))
        elif entry.kind in {EntryKind.WITHDRAWN, EntryKind.BOOKED_IN}:
            self._jobs[job] = ""
        self._read.pop(job, None)
        self.version += 1

    def of_kind(self, is_of_kind: Callable[[str], bool]) -> list[SettingsOfJob]:
        """Return what the jobs of one kind show, the newest first.

        Parameters
        ----------
        is_of_kind : callable
            Tells of a sheet's digest whether it is of the kind
        """
        found: list[SettingsOfJob] = []
        count = 0
        for job in reversed(self._jobs):
            sheet = self._jobs[job]
            if sheet and not is_of_kind(sheet):
                continue
            told = self._read.get(job)
            if told is None:
                told = self._read[job] = settings_of(job, self._records.story(job))
                self._jobs[job] = told.sheet or sheet
            if not is_of_kind(told.sheet):
                continue
            found.append(told)
            count += len(told.changes)
            if count >= MOST_LEARNED_FROM:
                break
        return found


_MATTERS = frozenset(
    {
        EntryKind.TEST,
        EntryKind.ASSEMBLED,
        EntryKind.FINDING,
        EntryKind.WITHDRAWN,
        EntryKind.SHEET_CHOSEN,
        EntryKind.BOOKED_IN,
        EntryKind.TAGGED,
    }
)
"""Kinds of entries that may alter what a job shows of its settings."""
