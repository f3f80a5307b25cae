"""The acts of a workshop on its record: book in, take in hand, test, set, hand over.

Every act takes an id made by the client, so that a repeated tap is the same act; each is checked
against the rules of the trade on the story as it stands, and is safe on disk when it returns.
"""

from __future__ import annotations

import uuid
from collections import OrderedDict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from threading import Lock
from typing import Any

from nozzlewright.advice import (
    Advice,
    SettingChange,
    SettingKnowledge,
    SettingMeans,
    change_to,
    learn,
    reading_after,
)
from nozzlewright.advice.setting import effect_per_length
from nozzlewright.advice.setting_spring import after_other_spring, rate_of
from nozzlewright.bench import (
    BenchConditions,
    Condition,
    EngineSet,
    GaugeFindings,
    Hold,
    OpeningBand,
    ReadingStudies,
    RigReadings,
    SetInjector,
    SettingSheet,
    ShelfSpring,
    ShimDrawer,
    Step,
    StepKind,
    StepPlan,
    TestSitting,
    steps_of,
)
from nozzlewright.capture import HandReadings, Recording
from nozzlewright.errors import Fault, IdTaken, InputFault, NotAllowed, StoryMoved
from nozzlewright.judging import InjectorVerdict, RigVerdict
from nozzlewright.judging.rig import check_too_old
from nozzlewright.measurement import Measured, NotMeasured, Quantity
from nozzlewright.records import (
    AS_FOUND,
    AS_LEFT,
    SHOP,
    Draft,
    Entry,
    EntryKind,
    InjectorStory,
    JobStory,
    Standing,
    admit,
    drawer_from,
    findings_from,
    findings_text,
    shelf_from,
    told,
)
from nozzlewright.records.drawer import CHANGED, WHOLE
from nozzlewright.records.story import spring_in
from nozzlewright.said import as_data, say
from nozzlewright.workflow.causes import CauseFinder
from nozzlewright.workflow.judge_set import JudgedSet, asked_by, judge_tested_set
from nozzlewright.workflow.ports import (
    Clock,
    DayOf,
    EvidenceFolder,
    InjectorRow,
    JobRow,
    NewId,
    Readers,
    Records,
    utc_day,
)
from nozzlewright.workflow.read_gauge import RigLeaks, read_gauge
from nozzlewright.workflow.rig_day import CARRIES, RigDays, is_digest, read_by
from nozzlewright.workflow.setting_record import (
    SettingsSeen,
    change_in,
    measured_spring,
    opening_data,
    opening_from,
    settings_of,
)
from nozzlewright.workflow.sitting import TestPart, observed, together, watched
from nozzlewright.workflow.studies import Studies, studies_in

PRACTICE_STORY = "practice"
OF_DRAWER = "drawer"
"""What names the entry of the drawer that goes with a change of a shim."""
OF_SHELF_OUT = "spring off the shelf"
OF_SHELF_IN = "spring onto the shelf"
"""What names the entries of the shelf that go with an assembly."""
SAME_SPRING_M = 30e-6
"""Lengths of a spring that differ by no more are the same spring measured twice, [m]."""
DONE = "done"
"""What names the entry that a step is done, made by the same act as another."""
_SAY_WHICH_SHEET = frozenset({EntryKind.BOOKED_IN, EntryKind.SHEET_CHOSEN, EntryKind.WITHDRAWN})
MOST_SPRINGS = 1000
"""Statements of springs on the shelf that are looked at, the newest first."""
LONGEST_SPRING_UM, HARDEST_N = 500_000, 20_000.0
"""Longest spring of a holder [um], and largest test load [N]."""
THICKEST_UM, MOST_OF_A_SIZE = 10_000, 9999
"""Shims of the drawer: thickest [um], and most of one size."""
_TRIES = 20
_KEPT_STORIES = 32
_KEPT_FINDINGS = 64
_KEPT_RIGS = 32
_KEPT_JUDGED = 4
"""More jobs than are on the bench in a day; a story is told anew in milliseconds, and what is kept
beyond need is walked through by the collector of garbage in the middle of an answer."""


@dataclass(frozen=True)
class SheetRow:
    """One setting sheet that the workshop has."""

    digest: str
    title: str
    injector: str
    source: str
    invented: bool


@dataclass(frozen=True)
class RigState:
    """What is known of a rig on the day."""

    id: str
    """Id of the entry that says so: each test names it."""
    rig: str
    at: datetime
    who: str
    temperature_c: float | None
    conditions: str
    """Digest of the bench conditions."""
    blank: str
    """Digest of the recording with the blank plug; or empty."""
    body: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class NewTest:
    """A test that is to be written down."""

    step: str
    recording: str = ""
    """Digest of the gauge recording; or empty."""
    card: str = ""
    """Digest of the card of hand readings; or empty."""
    seen: Mapping[str, Any] = field(default_factory=dict)
    """What eye and ear noticed: ``spray``, ``chatter``, ``seat``, ``drop_test`` ..."""
    shim_mm: float | None = None


class Workshop:
    """Acts and queries of one workshop."""

    def __init__(
        self,
        records: Records,
        evidence: EvidenceFolder,
        readers: Readers,
        clock: Clock,
        new_id: NewId,
        day_of: DayOf = utc_day,
    ) -> None:
        self.records, self.evidence, self.readers = records, evidence, readers
        self.clock, self.new_id, self.day_of = clock, new_id, day_of
        self.studies = Studies(records, clock)
        self.causes = CauseFinder(self)
        self._stories: OrderedDict[str, JobStory] = OrderedDict()
        self._findings: OrderedDict[str, GaugeFindings] = OrderedDict()
        self._judged: OrderedDict[str, tuple[int, date, SettingMeans | None, JudgedSet]] = (
            OrderedDict()
        )
        self._of_the_shop: dict[EntryKind, list[Entry]] = {}
        self._drawer: tuple[int, ShimDrawer] | None = None
        self._rigs: OrderedDict[str, RigState] = OrderedDict()
        self._settings = SettingsSeen(records)
        self._known: OrderedDict[str, tuple[int, SettingKnowledge]] = OrderedDict()
        self._settings_lock = Lock()
        self._leaks = RigLeaks()
        self.rig_days = RigDays(readers, self._leaks, self.rig_checks, day_of)
        self._lock = Lock()

    def this_day(self) -> date:
        """Return the day by the shop's calendar."""
        return self.day_of(self.clock())

    # --- what there is ------------------------------------------------------------------------

    def story(self, job: str) -> JobStory:
        """Return a job as it stands.

        Raises
        ------
        KeyError
            If there is no such job.
        """
        with self._lock:
            known = self._stories.get(job)
        fresh = self.records.story(job, after=known.last_number if known else 0)
        if known is None or fresh:
            entries = [*(known.entries if known else ()), *fresh]
            if not entries or entries[0].kind is not EntryKind.BOOKED_IN:
                raise KeyError(job)
            known = self._told(job, entries)
        with self._lock:  # another thread may have put it out meanwhile, or told more of it
            kept = self._stories.get(job)
            if kept is None or kept.last_number < known.last_number:
                self._stories[job] = known
            self._stories.move_to_end(job)
            while len(self._stories) > _KEPT_STORIES:
                self._stories.popitem(last=False)
        return known

    def _told(self, job: str, entries: Sequence[Entry]) -> JobStory:
        # The order of steps depends on the sheet: what says which is told first, by itself.
        says_which = [entry for entry in entries if entry.kind in _SAY_WHICH_SHEET]
        return told(job, entries, self.plan(told(job, says_which)))

    def sheet(self, story: JobStory) -> SettingSheet | None:
        """Return the setting sheet of a job; None where none is chosen yet."""
        return self.readers.sheet(story.sheet) if story.sheet else None

    def plan(self, story: JobStory) -> StepPlan:
        """Return what the sheet of a job changes in the order of the trade."""
        sheet = self.sheet(story)
        return sheet.steps if sheet is not None else StepPlan()

    def steps(self, story: JobStory) -> tuple[Step, ...]:
        """Return the steps of a job at each injector."""
        return steps_of(self.plan(story))

    def _last_of(self, kind: EntryKind, last: int) -> Sequence[Entry]:
        """Return the workshop's last entries of a kind, newest first; read anew if one is new."""
        newest = self.records.of_kind(kind, story=SHOP, last=1)
        known = self._of_the_shop.get(kind, [])
        if newest != known[:1]:
            known = self.records.of_kind(kind, story=SHOP, last=last)
            self._of_the_shop[kind] = known
        return known

    def people(self) -> list[str]:
        """Return the names of those who work here, in the order of the alphabet."""
        names = {str(entry.body["name"]) for entry in self._last_of(EntryKind.PERSON, 500)}
        return sorted(names, key=str.casefold)

    def sheets(self) -> list[SheetRow]:
        """Return the setting sheets that the workshop has, the last one added first."""
        rows: dict[str, SheetRow] = {}
        for entry in self._last_of(EntryKind.SHEET, 500):
            body = entry.body
            rows.setdefault(
                str(body["sheet"]),
                SheetRow(
                    digest=str(body["sheet"]),
                    title=str(body["title"]),
                    injector=str(body["injector"]),
                    source=str(body["source"]),
                    invented=bool(body["invented"]),
                ),
            )
        return list(rows.values())

    def rigs(self) -> list[RigState]:
        """Return the latest state of each rig, the last one checked first."""
        states: dict[str, RigState] = {}
        for state in self.rig_checks():
            states.setdefault(state.rig, state)
        return list(states.values())

    def rig_checks(self, last: int = 200) -> list[RigState]:
        """Return what the last checks said, of whichever rig, newest first."""
        return [_rig_state(entry) for entry in self._last_of(EntryKind.RIG_CHECK, 200)[:last]]

    def rig(self) -> RigState | None:
        """Return the rig that was checked last; None where none was."""
        last = self.records.of_kind(EntryKind.RIG_CHECK, story=SHOP, last=1)
        return _rig_state(last[0]) if last else None

    def rig_verdict(self, entry_id: str) -> RigVerdict | None:
        """Return whether the rig of a day was fit; None where an entry names none that is known."""
        state = self.rig_of(entry_id)
        return self.rig_days.verdict(state) if state is not None else None

    def rig_of(self, entry_id: str) -> RigState | None:
        """Return the state that an entry names as its rig of the day."""
        with self._lock:
            known = self._rigs.get(entry_id)
        if known is not None:
            return known
        entry = self.records.entry(entry_id) if entry_id else None
        if entry is None or entry.kind is not EntryKind.RIG_CHECK:
            return None
        known = _rig_state(entry)
        with self._lock:  # an entry stays as it is, so that what it says can be kept
            self._rigs[entry_id] = known
            while len(self._rigs) > _KEPT_RIGS:
                self._rigs.popitem(last=False)
        return known

    def drawer(self) -> ShimDrawer | None:
        """Return the shims that the workshop has; None where nobody has ever counted them."""
        newest = self.records.of_kind(EntryKind.DRAWER, story=SHOP, last=1)
        if not newest:
            return None
        with self._lock:
            known = self._drawer
        if known is not None and known[0] == newest[0].number:
            return known[1]
        last, found = 64, None
        while found is None:
            entries = self.records.of_kind(EntryKind.DRAWER, story=SHOP, last=last)
            found = drawer_from(entries)
            if len(entries) < last:
                break
            last *= 8
        if found is not None:
            with self._lock:
                self._drawer = (newest[0].number, found)
        return found

    # --- acts of the workshop -----------------------------------------------------------------

    def put_drawer(
        self,
        id: str,  # noqa: A002
        who: str,
        counts: Mapping[int, int | None],
    ) -> Entry:
        """State what is in the shim drawer: number by thickness [um], None for endless.

        Raises
        ------
        InputFault
            If a thickness or a number is none.
        """
        body = {WHOLE: _counted(counts)}
        return self._take(id, SHOP, EntryKind.DRAWER, who, body)

    def change_drawer(
        self,
        id: str,  # noqa: A002
        who: str,
        changed: Mapping[int, int],
        why: str = "",
    ) -> Entry:
        """Note shims taken out of the drawer or put in: number by thickness [um], signed."""
        body = {CHANGED: {str(size): by for size, by in sorted(changed.items()) if by}}
        return self._take(id, SHOP, EntryKind.DRAWER, who, body | ({"why": why} if why else {}))

    def spring_shelf(self, injector: str | None = None) -> tuple[ShelfSpring, ...]:
        """Return the springs on the shelf; only those for one kind of injector, where it is named.

        Parameters
        ----------
        injector : str, optional
            Description of the injector, as its sheets have it
        """
        return shelf_from(self._last_of(EntryKind.SPRINGS, MOST_SPRINGS), injector)

    def put_spring(
        self,
        id: str,  # noqa: A002
        who: str,
        spring: ShelfSpring,
    ) -> Entry:
        """State how many springs of one length are on the shelf; 0 takes the length off it.

        Raises
        ------
        InputFault
            If the length, the load or the number is none.
        """
        count, length, load = spring.count, spring.length_um, spring.load_n
        faults = []
        if not 0 < length <= LONGEST_SPRING_UM:
            faults.append(
                Fault(
                    say("{size} is no length of a spring", size=f"{length / 1e3:g} mm"),
                    say("length"),
                    say("Give it in millimetres, up to {most}", most=LONGEST_SPRING_UM // 1000),
                )
            )
        if not 0.0 <= load <= HARDEST_N:
            faults.append(
                Fault(
                    say("{load} is no test load of a spring", load=f"{load:g} N"),
                    say("load"),
                    say(
                        "Give the load under which it was measured in newtons, up to {most}; 0 if "
                        "it was measured free",
                        most=f"{HARDEST_N:g}",
                    ),
                )
            )
        if count is not None and not 0 <= count <= MOST_OF_A_SIZE:
            faults.append(
                Fault(
                    say("{count} is no number of springs", count=count),
                    say("number"),
                    say("Count them: from 0 to {most}", most=MOST_OF_A_SIZE),
                )
            )
        if faults:
            raise InputFault(faults)
        body = {
            "injector": spring.injector,
            "length_um": length,
            "load_n": spring.load_n,
            "off_um": spring.off_um,
            "count": count,
        }
        return self._take(id, SHOP, EntryKind.SPRINGS, who, body)

    def _move_spring(
        self,
        id: str,  # noqa: A002
        who: str,
        moved: Mapping[str, Any],
        by: int,
        why: str,
    ) -> None:
        """Note a spring that left the shelf or came onto it."""
        self._take(id, SHOP, EntryKind.SPRINGS, who, {**moved, CHANGED: by, "why": why})

    def add_person(self, id: str, who: str, name: str) -> Entry:  # noqa: A002 - the record's word
        """Note a person who works here."""
        return self._take(id, SHOP, EntryKind.PERSON, who, {"name": name.strip()})

    def add_sheet(self, id: str, who: str, text: bytes) -> str:  # noqa: A002
        """Keep a setting sheet; return its digest.

        Raises
        ------
        SheetFault
            If it cannot be used: nothing is noted then.
        """
        digest = self.evidence.keep(text, "toml")
        sheet = self.readers.sheet(digest)
        body = {
            "sheet": digest,
            "title": sheet.title,
            "injector": sheet.injector,
            "source": sheet.source,
            "invented": sheet.invented,
        }
        self._take(id, SHOP, EntryKind.SHEET, who, body, evidence=(digest,))
        return digest

    def check_rig(
        self,
        id: str,  # noqa: A002
        who: str,
        conditions: bytes,
        *,
        blank: str = "",
        remarks: str = "",
        papers: Sequence[str] = (),
        carries: str = "",
    ) -> RigState:
        """Note the rig's state of the day.

        Parameters
        ----------
        id, who : str
            Identity of the act; the person
        conditions : bytes
            Bench conditions as TOML, with today's oil temperature
        blank : str
            Digest of the recording of a hold with the blank plug; or empty
        remarks : str
            What else was noticed
        papers : sequence of str
            Digests of what the card rests on, such as the table of a certificate
        carries : str
            Id of the check whose readings the card takes along, where it was only changed: they
            were made once; empty for a check of its own, be it equal to another in every value

        Raises
        ------
        ConditionsFault
            If the conditions cannot be used: nothing is noted then.
        """
        digest = self.evidence.keep(conditions, "toml")
        known = self.readers.conditions(digest)
        temperature = known.oil_temperature
        body: dict[str, Any] = {
            "rig": known.rig.identity or str(say("the rig")),
            "gauge": known.gauge.identity,
            "conditions": digest,
            "blank": blank,
            "remarks": remarks,
            "temperature_c": temperature.value - 273.15 if temperature is not None else None,
        }
        studies = self.studies.of_the_day(
            RigState(id, str(body["rig"]), self.clock(), who, None, digest, blank, body),
            known.rig.limits.study_days,
        )
        read = self.rig_of(carries)
        check = self.rig_days.made(
            known,
            blank,
            self.this_day().isoformat(),
            who=who if read is None else self._reader_of(read),
            studies=studies,
        )
        body |= self.rig_days.as_body(check, known, str(body["rig"]), carries)
        readings = known.readings or RigReadings()
        named = (digest, blank, readings.recording, readings.zero_recording, *papers)
        evidence = tuple(dict.fromkeys(one for one in named if is_digest(one)))
        return _rig_state(self._take(id, SHOP, EntryKind.RIG_CHECK, who, body, evidence=evidence))

    def book_in(
        self,
        id: str,  # noqa: A002
        who: str,
        booked: Mapping[str, Any],
        photos: Sequence[str] = (),
    ) -> str:
        """Book a set in; return the job's number.

        Parameters
        ----------
        id, who : str
            Identity of the act; the person
        booked : mapping
            ``title``, ``engine``, ``customer``, ``cylinders``, ``condition`` (``new`` or
            ``used``), ``symptoms`` by cylinder, ``hours``, ``markings``, ``pieces`` counted,
            ``sheet`` (digest or empty), ``note``, ``invented``
        photos : sequence of str
            Digests

        Raises
        ------
        InputFault
            If the booking lacks what the rest needs.
        """
        known = self.records.entry(id)
        if known is not None:
            return known.draft.story
        body = _booking(booked)
        evidence = [*photos, *([body["sheet"]] if body["sheet"] else [])]
        year = self.this_day().year
        number = self._last_job_of(year)
        for _ in range(_TRIES):
            number += 1
            job = f"{year}-{number:04d}"
            draft = Draft(
                id, job, EntryKind.BOOKED_IN, who, self.clock(), body, evidence=tuple(evidence)
            )
            try:
                self._write(JobStory(job), [draft])
            except StoryMoved:
                continue
            except IdTaken:
                # The same tap, taken in a moment ago under the number before.
                known = self.records.entry(id)
                if known is None or known.kind is not EntryKind.BOOKED_IN or known.body != body:
                    raise
                return known.draft.story
            return job
        raise StoryMoved("the number of the new job is being taken by others; try again")

    def put_booking_right(
        self,
        id: str,  # noqa: A002
        who: str,
        job: str,
        booked: Mapping[str, Any],
        why: str = "",
    ) -> Entry:
        """Put the particulars of a booking right, and judge anew what hangs on them.

        Sheet and photos stay: they have acts of their own.

        Parameters
        ----------
        id, who, job : str
            Identity of the act; the person; the job's number
        booked : mapping
            As for :meth:`book_in`; what is left out stays as it is
        why : str
            Why it is put right

        Raises
        ------
        InputFault
            If the booking would lack what the rest needs.
        NotAllowed
            If an injector would have no cylinder, or if it was handed over and what was judged
            would change.
        KeyError
            If there is no such job.
        """
        known = self.records.entry(id)
        if known is not None:
            return known
        story = self.story(job)
        was = next(one for one in story.standing.values() if one.kind is EntryKind.BOOKED_IN)
        stays = {name: was.body.get(name) or "" for name in ("sheet", "invented")}
        body = _booking({**was.body, **booked, **stays})
        if why:
            body["why"] = why
        _check_booking(story, body)
        draft = self._draft(
            id, job, EntryKind.BOOKED_IN, who, body, evidence=was.evidence, corrects=was.id
        )
        entry = self._add(job, [draft])[0]
        for one in story.in_order():
            if one.verdicts:
                self._judge_again(f"{id} {one.injector}", who, job, one.injector)
        return entry

    def _last_job_of(self, year: int) -> int:
        """Return the number of the last job of a year; a booking put right later is no new one."""
        last = 1
        while True:
            found = self.records.of_kind(EntryKind.BOOKED_IN, last=last)
            booked = next((entry for entry in found if not entry.draft.corrects), None)
            if booked is not None or len(found) < last:
                break
            last *= 8
        if booked is None or not booked.draft.story.startswith(f"{year}-"):
            return 0
        return int(booked.draft.story.partition("-")[2])

    # --- acts of a job ------------------------------------------------------------------------

    def note(
        self,
        id: str,  # noqa: A002
        who: str,
        job: str,
        kind: EntryKind,
        body: Mapping[str, Any] | None = None,
        *,
        injector: str = "",
        evidence: Sequence[str] = (),
        corrects: str = "",
        done: str = "",
    ) -> Entry:
        """Write one entry into a job's story.

        Parameters
        ----------
        id, who, job : str
            Identity of the act; the person; the job's number
        kind : EntryKind
            What is said
        body : mapping, optional
            In particular
        injector : str
            The injector that it is about; or empty
        evidence : sequence of str
            Digests of what it rests on
        corrects : str
            Id of the entry that it puts right; or empty
        done : str
            Step that is done with it; or empty

        Raises
        ------
        NotAllowed
            If the rules of the trade forbid it.
        KeyError
            If there is no such job.
        """
        draft = self._draft(id, job, kind, who, body or {}, injector, evidence, corrects)
        drafts = [draft]
        if done:
            drafts.append(self._following(draft, EntryKind.STEP_DONE, {"step": done}, DONE))
        entry = self._add(job, drafts)[0]
        if kind is EntryKind.FINDING:
            self._judge_again(id, who, job, injector)
        return entry

    def tag(
        self,
        id: str,  # noqa: A002
        who: str,
        job: str,
        cylinder: int,
        serial: str,
        *,
        injector: str = "",
        pair: str = "",
        markings: str = "",
        shim_mm: float | None = None,
    ) -> Entry:
        """Tag an injector with its cylinder; one that is known keeps its identity and its pair.

        Raises
        ------
        NotAllowed
            If the cylinder is taken, or injector or pair are elsewhere.
        """
        injector = injector or str(uuid.uuid5(uuid.NAMESPACE_OID, f"injector {id}"))
        for row in self.records.injectors(injector, limit=5):
            if row.injector == injector:
                pair, serial = pair or row.pair, serial or row.serial
                if row.story and row.story != job and self.story(row.story).handed_over is None:
                    raise NotAllowed(
                        say("injector {serial} is in job {job}", serial=serial, job=row.story),
                        say("Lay it on the shelf there first"),
                    )
        if pair:
            for row in self.records.injectors(pair, limit=5):
                if row.pair == pair and row.injector != injector:
                    raise NotAllowed(
                        say(
                            "the pair {pair} belongs to injector {serial}",
                            pair=pair,
                            serial=row.serial or row.injector,
                        ),
                        say("Needle and nozzle stay together: check the tags"),
                    )
        body = {
            "cylinder": cylinder,
            "serial": serial.strip(),
            "pair": pair or f"{job}/{cylinder}",
            "markings": markings.strip(),
            "shim_mm": shim_mm,
        }
        return self.note(id, who, job, EntryKind.TAGGED, body, injector=injector)

    def withdraw(self, id: str, who: str, job: str, entry: str, why: str) -> Entry:  # noqa: A002
        """Take an entry back: it stays in the record, and no longer counts.

        The step that was done by the same act is taken back with it.

        Raises
        ------
        NotAllowed
            If it is locked, was taken back already, or is none of this job.
        """
        aim = self.records.entry(entry)
        injector = aim.draft.injector if aim is not None and aim.draft.story == job else ""
        drafts = [
            self._draft(id, job, EntryKind.WITHDRAWN, who, {"why": why}, injector, corrects=entry)
        ]
        step = _follower(DONE, entry)
        if step in self.story(job).standing:
            drafts.append(replace(drafts[0], id=_follower(DONE, id), corrects=step))
        written = self._add(job, drafts)[0]
        if aim is not None and aim.kind in {EntryKind.TEST, EntryKind.SEEN, EntryKind.FINDING}:
            self._judge_again(id, who, job, injector)
        taken = self.records.entry(_follower(OF_DRAWER, entry))
        if taken is not None and CHANGED in taken.body:
            back = {int(size): -int(by) for size, by in taken.body[CHANGED].items()}
            self.change_drawer(_follower(OF_DRAWER, id), who, back, why)
        for name in (OF_SHELF_OUT, OF_SHELF_IN):
            moved = self.records.entry(_follower(name, entry))
            if moved is not None:
                self._move_spring(
                    _follower(name, id), who, moved.body, -int(moved.body[CHANGED]), why
                )
        return written

    def step_done_with(self, story: JobStory, entry: str) -> str:
        """Return the step that was done by the same act as an entry; empty where none was."""
        done = story.standing.get(_follower(DONE, entry))
        return str(done.body["step"]) if done is not None else ""

    def see(
        self,
        id: str,  # noqa: A002
        who: str,
        job: str,
        injector: str,
        seen: Mapping[str, Any],
        *,
        done: str = "",
        corrects: str = "",
    ) -> Entry:
        """Note what eye and ear noticed, and judge the injector anew."""
        one = self._injector(job, injector)
        body = {"sitting": one.sitting, **seen}
        entry = self.note(
            id, who, job, EntryKind.SEEN, body, injector=injector, done=done, corrects=corrects
        )
        self._judge_again(id, who, job, injector)
        return entry

    def test(
        self,
        id: str,  # noqa: A002
        who: str,
        job: str,
        injector: str,
        new: NewTest,
        *,
        done: str = "",
    ) -> Entry:
        """Write a test down with what it showed, and judge the injector anew.

        Raises
        ------
        NotAllowed
            If the injector is not in hand, lies apart, or its as-found readings are locked.
        InputFault
            If the evidence cannot be read.
        """
        known = self.records.entry(id)
        if known is not None:
            return known
        story = self.story(job)
        one = self._injector(job, injector)
        rig = self.rig()
        studies = self.studies.of_the_day(rig, self._study_days(rig))
        findings = self.read(story, new, one.sitting, who=who, studies=studies)
        kept = self.evidence.keep(findings_text(findings).encode(), "json")
        evidence = [d for d in (new.recording, new.card, kept, rig.conditions if rig else "") if d]
        body = {
            "sitting": one.sitting,
            "step": new.step,
            "by_hand": findings.by_hand,
            "recording": new.recording,
            "card": new.card,
            "findings": kept,
            "conditions": rig.conditions if rig else "",
            "blank": rig.blank if rig else "",
            "seen": {key: value for key, value in new.seen.items() if value not in (None, "")},
            "shim_mm": new.shim_mm if new.shim_mm is not None else one.shim_mm,
            "summary": summary(findings),
        }
        if used := studies_in(findings, studies):
            body["studies"] = used
        entry = self.note(
            id, who, job, EntryKind.TEST, body, injector=injector, evidence=evidence, done=done
        )
        self._judge_again(id, who, job, injector)
        return entry

    def read(
        self,
        story: JobStory,
        new: NewTest,
        sitting: str,
        *,
        who: str = "",
        studies: ReadingStudies | None = None,
    ) -> GaugeFindings:
        """Return what the evidence of a test shows, under the rig's conditions of the day.

        Parameters
        ----------
        story, new, sitting : JobStory, NewTest, str
            The job; the test; as found or as left
        who : str
            Who read, where the card of readings does not say it
        studies : ReadingStudies, optional
            Studies of fitters that stand for readings by hand
        """
        evidence: Recording | HandReadings
        if new.recording:
            evidence = self.readers.recording(new.recording)
        else:
            card = self.readers.hand_card(new.card)
            evidence = replace(card, fitter=card.fitter or who)
        return self.shown_by(story, evidence, sitting, new.seen, studies)

    def shown_by(
        self,
        story: JobStory,
        evidence: Recording | HandReadings,
        sitting: str,
        seen: Mapping[str, Any] | None = None,
        studies: ReadingStudies | None = None,
    ) -> GaugeFindings:
        """Return what evidence that need not be in the record yet shows, like :meth:`read`."""
        conditions, blank = self.conditions_now(story, sitting, seen)
        if studies is not None:
            conditions = replace(conditions, studies=studies)
        leak = self._leaks.of(self.readers.recording(blank), conditions) if blank else None
        return read_gauge(evidence, conditions, leak)

    def studies_now(self) -> ReadingStudies:
        """Return the studies of fitters that stand for readings by hand at the rig of the day."""
        rig = self.rig()
        return self.studies.of_the_day(rig, self._study_days(rig))

    def _study_days(self, rig: RigState | None) -> float | None:
        """Return how old a study may be by the rig's card; None where it does not say."""
        if rig is None or not rig.conditions:
            return None
        return self.readers.conditions(rig.conditions).rig.limits.study_days

    def conditions_now(
        self, story: JobStory, sitting: str, seen: Mapping[str, Any] | None = None
    ) -> tuple[BenchConditions, str]:
        """Return the bench conditions as the sheet has them, and the digest of the blank hold."""
        rig = self.rig()
        conditions = self._asked(story, rig.conditions if rig else "", sitting)
        if rig is not None:
            conditions = read_by(conditions, self._reader_of(rig))
        return watched(conditions, seen or {}), rig.blank if rig else ""

    def _reader_of(self, rig: RigState) -> str:
        """Return who read in a check: of a card that was changed, in the one that it carries on."""
        known: set[str] = set()
        while rig.id not in known:
            known.add(rig.id)
            rig = self.rig_of(str(rig.body.get(CARRIES) or "")) or rig
        return rig.who

    def conditions_tested(self, story: JobStory) -> BenchConditions:
        """Return the bench conditions of the job's last test; those of now where none was made."""
        tests = [test for one in story.injectors.values() for test in one.tests]
        last = max(tests, key=lambda test: test.entry.number, default=None)
        if last is None:
            return self.conditions_now(story, AS_LEFT)[0]
        return self._asked(story, str(last.body["conditions"]), AS_LEFT)

    def _rig_tested(self, story: JobStory) -> RigVerdict | None:
        """Return the verdict on the rig of the job's last test; None where none was made."""
        tests = [test for one in story.injectors.values() for test in one.tests]
        last = max(tests, key=lambda test: test.entry.number, default=None)
        return None if last is None else self.rig_verdict(last.entry.draft.rig)

    def _asked(self, story: JobStory, conditions: str, sitting: str) -> BenchConditions:
        """Return bench conditions by their digest, or none, as the sheet of a job has them."""
        known = self.readers.conditions(conditions) if conditions else BenchConditions()
        sheet = self.sheet(story)
        if sheet is None:
            return known
        return asked_by(sheet, known, _condition(story, sitting))

    # --- judging ------------------------------------------------------------------------------

    def findings(self, digest: str) -> GaugeFindings:
        """Return the findings that an entry names."""
        with self._lock:
            known = self._findings.get(digest)
        if known is None:
            known = findings_from(self.evidence.read(digest))
            with self._lock:
                self._findings[digest] = known
                while len(self._findings) > _KEPT_FINDINGS:
                    self._findings.popitem(last=False)
        return known

    def sitting(self, one: InjectorStory, which: str) -> TestSitting | None:
        """Return one sitting of an injector; None where there is none yet.

        What was put together or set anew is as left, even before it is tested.
        """
        tests, seen = one.tests_of(which), one.seen_of(which)
        if which == AS_LEFT and one.apart:
            return None
        if not tests and not seen and not (which == AS_LEFT and one.changed):
            return None
        tested_at = max((test.entry.number for test in tests), default=0)
        parts = [
            TestPart(
                self.findings(str(test.body["findings"])),
                opening_is_stale=which == AS_LEFT and one.opening_is_stale(test),
            )
            for test in tests
        ]
        noticed = sorted(
            [(t.entry.number, t.body["seen"]) for t in tests]
            + [(s.entry.number, _still_so(s, tested_at)) for s in seen],
            key=lambda row: row[0],
        )
        shims = [t.body.get("shim_mm") for t in tests if t.body.get("shim_mm") is not None]
        # What was found before the parts went together again was mended or renewed then.
        since = one.assembled_at if which == AS_LEFT else 0
        findings = [found.body for found in one.findings if found.entry.number > since]
        gauge = together(parts)
        return TestSitting(
            gauge=gauge,
            seen=observed((body for _, body in noticed), findings),
            shim_mm=shims[-1] if shims else one.shim_mm,
            rig_objections=self._rig_objections(tests, parts, gauge),
        )

    def _rig_objections(
        self, tests: Sequence[Standing], parts: Sequence[TestPart], gauge: GaugeFindings | None
    ) -> tuple[str, ...]:
        """Return what speaks against the rig on which the fall was tested, by its own check."""
        if gauge is None:
            return ()
        # The last test whose fall it is; the last of all where there is none.
        at = [n for n, part in enumerate(parts) if part.findings.hold is gauge.hold]
        draft = tests[at[-1] if at else -1].entry.draft
        state, verdict = self.rig_of(draft.rig), self.rig_verdict(draft.rig)
        if state is None or verdict is None:
            return ()
        made_on, on = map(self.day_of, (state.at, draft.at))
        most = self.readers.conditions(state.conditions).rig.limits.check_days
        return (*verdict.objections, *check_too_old(made_on, on, most))

    def engine_set(self, story: JobStory) -> EngineSet:
        """Return the set as judging sees it."""
        booked = story.booked
        symptoms = "; ".join(
            f"{cylinder}: {text}" for cylinder, text in booked["symptoms"].items() if text
        )
        return EngineSet(
            title=booked["title"],
            engine=booked["engine"],
            customer=booked["customer"],
            workshop=booked.get("workshop", ""),
            fitter=", ".join(_fitters(story)),
            date=story.entries[0].draft.at.date().isoformat(),
            condition=Condition(booked["condition"]),
            invented=bool(booked.get("invented")),
            symptoms=symptoms,
            injectors=tuple(
                SetInjector(
                    cylinder=one.cylinder,
                    identity=one.serial or one.injector,
                    as_found=self.sitting(one, AS_FOUND),
                    as_left=self.sitting(one, AS_LEFT),
                )
                for one in story.in_order()
            ),
        )

    def judged(self, story: JobStory) -> JudgedSet | None:
        """Return the set with verdicts, next actions and report; None without sheet or tests."""
        sheet = self.sheet(story)
        if sheet is None or not story.injectors:
            return None
        now = story.last_number, self.this_day(), self.setting_means(story)
        with self._lock:
            known = self._judged.get(story.job)
        if known is not None and known[:3] == now:
            return known[3]
        conditions = self.conditions_tested(story)
        engine_set = self.engine_set(story)
        judged = judge_tested_set(
            engine_set, sheet, conditions, now[1], now[2], self._rig_tested(story)
        )
        with self._lock:
            self._judged[story.job] = (*now, judged)
            while len(self._judged) > _KEPT_JUDGED:
                self._judged.popitem(last=False)
        return judged

    # --- setting ------------------------------------------------------------------------------

    def setting_known(self, story: JobStory) -> SettingKnowledge | None:
        """Return what is known of the setting of a job's kind of injector; None without a sheet.

        Learned from the newest changes of this kind on record, closed jobs included: those under
        the same sheet, or under a sheet for an injector of the same description.
        """
        sheet = self.sheet(story)
        if sheet is None:
            return None
        with self._settings_lock:
            version = self._settings.follow()
            known = self._known.get(story.sheet)
            if known is None or known[0] != version:
                same = {row.digest for row in self.sheets() if row.injector == sheet.injector}
                same = same | {story.sheet} if sheet.injector else {story.sheet}
                seen = self._settings.of_kind(same.__contains__)
                knowledge = learn(
                    sheet,
                    [change for job in seen for change in job.changes],
                    lock_nuts=[shift for job in seen for shift in job.lock_nuts],
                    settlings=[shift for job in seen for shift in job.settlings],
                )
                known = self._known[story.sheet] = (version, knowledge)
                while len(self._known) > _KEPT_JUDGED:
                    self._known.popitem(last=False)
        own = settings_of(story.job, story.entries).new_springs
        return replace(known[1], new_springs=frozenset(own)) if own else known[1]

    def setting_means(self, story: JobStory) -> SettingMeans | None:
        """Return what a job's settings can be changed by, and what is known of it."""
        knowledge = self.setting_known(story)
        if knowledge is None:
            return None
        known_as = {one.serial: one.injector for one in story.injectors.values() if one.serial}
        return SettingMeans(knowledge, self.drawer(), known_as)

    def setting_proposed(
        self, story: JobStory, one: InjectorStory, target_pa: float | None = None
    ) -> SettingChange | NotMeasured:
        """Return the change that has the best prospect at an injector as it stands.

        Parameters
        ----------
        story, one : JobStory, InjectorStory
            The job; the injector
        target_pa : float, optional
            Opening pressure wanted; None: the target of the sheet's band for the job's parts
        """
        sheet, means = self.sheet(story), self.setting_means(story)
        if sheet is None or means is None:
            return NotMeasured(
                say("no setting sheet is chosen yet"), say("choose the sheet of this injector")
            )
        band = self.setting_band(story)
        if band is None:
            return NotMeasured(
                say("the setting sheet has no band for the opening pressure"),
                say("write the band into the sheet"),
            )
        opening = self.opening_expected(story, one)
        if isinstance(opening, NotMeasured):
            return opening
        return change_to(
            band.target_pa if target_pa is None else target_pa,
            opening,
            band,
            sheet,
            means.knowledge,
            drawer=means.drawer,
            shim_now_m=None if one.shim_mm is None else one.shim_mm * 1e-3,
            identity=one.injector,
            spring=measured_spring(one.spring),
        )

    def setting_band(self, story: JobStory) -> OpeningBand | None:
        """Return the band in which the injectors of a job are to be left."""
        sheet = self.sheet(story)
        if sheet is None:
            return None
        return sheet.opening_band(_condition(story, AS_LEFT)) or sheet.opening_band(Condition.USED)

    def opening_now(self, one: InjectorStory) -> Measured:
        """Return the opening pressure of an injector as it stands; not one of an older setting."""
        for test in reversed(one.tests):
            if test.entry.number < one.set_at:
                return NotMeasured(
                    say("the setting was changed after it was read last"),
                    say("make three slow strokes and read it again"),
                )
            opening = opening_from(test)
            if opening is not None:
                return opening
        return NotMeasured(
            say("its opening pressure has not been read"), say("make three slow strokes")
        )

    def opening_expected(self, story: JobStory, one: InjectorStory) -> Measured:
        """Return the opening pressure of an injector as it stands, its spring included.

        Where another spring went in since it was read, and both were measured, it is reckoned
        from the reading and the lengths.
        """
        opening = self.opening_now(one)
        was, now = measured_spring(one.spring_before), measured_spring(one.spring)
        if isinstance(opening, NotMeasured) or not self.read_with_other_spring(one):
            return opening
        sheet, knowledge = self.sheet(story), self.setting_known(story)
        if was is None or now is None or sheet is None or knowledge is None:
            return opening
        effect = effect_per_length(knowledge.effect_of(one.injector), sheet)
        if effect is None:
            return opening
        rate = rate_of(sheet)
        found = after_other_spring(
            opening, effect, was, now, rate.value if isinstance(rate, Quantity) else None
        )
        return opening if isinstance(found, NotMeasured) else found

    def read_with_other_spring(self, one: InjectorStory) -> bool:
        """Return whether an injector's last reading was made with another spring in it."""
        read = [test for test in one.tests if opening_from(test) is not None]
        return bool(read) and read[-1].entry.number < one.spring_changed_at

    def change_setting(
        self,
        id: str,  # noqa: A002
        who: str,
        job: str,
        injector: str,
        body: Mapping[str, Any],
        *,
        shims_um: Sequence[int] = (),
        done: str = "",
        kept: bool = True,
    ) -> Entry:
        """Note that shim or screw was changed, with what was foretold of it.

        Where the workshop counts its shims, those that went in are taken out of the drawer and
        the old one is put back, in an entry of its own, which follows from what is noted here.

        Parameters
        ----------
        id, who, job, injector : str
            Identity of the act; the person; the job's number; the injector
        body : mapping
            ``shim_from_mm``, ``shim_to_mm``, or ``screw_turns`` inwards, ``slack_pa`` ...
        shims_um : sequence of int
            What lies under the spring now, where it is a stack, [um]
        done : str
            Step that is done with it; or empty
        kept : bool
            Whether the old shim goes back into the drawer
        """
        known = self.records.entry(id)
        if known is not None:
            return self._restocked(known)
        story = self.story(job)
        one = self._injector(job, injector)
        body = {**body, "sheet": story.sheet}
        foretold = self._foretold(story, one, body)
        if foretold:
            body["foretold"] = foretold
        if len(shims_um) > 1:
            body["shims_um"] = list(shims_um)
        moved = _moved(body, shims_um, self.drawer(), kept=kept)
        if moved:
            body |= {"drawer": moved, "at": f"{job} {one.cylinder}"}
        entry = self.note(
            id, who, job, EntryKind.SETTING_CHANGED, body, injector=injector, done=done
        )
        return self._restocked(entry)

    def assemble(
        self,
        id: str,  # noqa: A002
        who: str,
        job: str,
        injector: str,
        body: Mapping[str, Any],
        *,
        kept: bool = True,
        spring_kept: bool = False,
    ) -> Entry:
        """Note that an injector was put together, with what that takes of shims and springs.

        A shim other than that which it had comes out of the drawer; a measured spring that goes
        in comes off the shelf, where one of its length lies there. Each is an entry of its own.

        Parameters
        ----------
        id, who, job, injector : str
            Identity of the act; the person; the job's number; the injector
        body : mapping
            ``pair``, ``renewed``, ``shim_mm`` ...
        kept : bool
            Whether the old shim goes back into the drawer
        spring_kept : bool
            Whether the old spring goes onto the shelf, if it was measured
        """
        known = self.records.entry(id)
        if known is not None:
            return self._restocked(known)
        one, sheet = self._injector(job, injector), self.sheet(self.story(job))
        body, at = dict(body), f"{job} {one.cylinder}"
        shims = {"shim_from_mm": one.shim_mm, "shim_to_mm": body.get("shim_mm")}
        if shims["shim_from_mm"] != shims["shim_to_mm"]:
            moved = _moved(shims, (), self.drawer(), kept=kept)
            if moved:
                body |= {"drawer": moved, "at": at}
        if sheet is not None and (one.spring_to_go_in is not None or spring_in(body)):
            springs = {
                OF_SHELF_OUT: self._of_shelf(sheet, one.spring_to_go_in, there=True),
                OF_SHELF_IN: self._of_shelf(sheet, one.spring) if spring_kept else None,
            }
            springs = {name: moved for name, moved in springs.items() if moved is not None}
            if springs:
                body |= {"shelf": springs, "at": at}
        return self._restocked(
            self.note(id, who, job, EntryKind.ASSEMBLED, body, injector=injector)
        )

    def _of_shelf(
        self, sheet: SettingSheet, noted: Standing | None, *, there: bool = False
    ) -> dict[str, Any] | None:
        """Return a measured spring as an entry of the shelf has it; None where it is none of it.

        One of the same length as some on the shelf, as near as it can be measured, is one of
        those; with `there`, only such a one counts.
        """
        measured = measured_spring(noted)
        if measured is None:
            return None
        length = measured.length.value
        rows = [
            row
            for row in self.spring_shelf(sheet.injector)
            if row.load_n == measured.load_n and abs(row.length_um * 1e-6 - length) <= SAME_SPRING_M
        ]
        if rows:
            row = min(rows, key=lambda row: abs(row.length_um * 1e-6 - length))
            if row.count is None:
                return None
        elif there or not sheet.injector:
            return None
        else:
            off_um = round(1.959963984540054 * measured.length.standard_uncertainty * 1e6, 3)
            row = ShelfSpring(sheet.injector, measured.load_n, round(length * 1e6), off_um, 0)
        return {
            "injector": row.injector,
            "length_um": row.length_um,
            "load_n": row.load_n,
            "off_um": row.off_um,
            "count": (row.count or 0) - row.owed,
        }

    def _restocked(self, entry: Entry) -> Entry:
        """Take off the counts what an entry says went in, and put back what came out; return it.

        What it says is kept with it, so that a tap that was cut short is made good when it is
        repeated, and none counts twice.
        """
        who, at = entry.draft.who, str(entry.body.get("at", ""))
        if entry.body.get("drawer"):
            moved = {int(size): int(by) for size, by in entry.body["drawer"].items()}
            self.change_drawer(_follower(OF_DRAWER, entry.id), who, moved, at)
        for name, spring in entry.body.get("shelf", {}).items():
            by = 1 if name == OF_SHELF_IN else -1
            self._move_spring(_follower(name, entry.id), who, spring, by, at)
        return entry

    def _foretold(
        self, story: JobStory, one: InjectorStory, body: Mapping[str, Any]
    ) -> dict[str, Any]:
        """Return what is to be expected of a change, as an entry keeps it; empty where unknown."""
        knowledge, step = self.setting_known(story), change_in(body)
        opening = self.opening_expected(story, one)
        if knowledge is None or step is None or not isinstance(opening, Quantity):
            return {}
        if step[1] is not knowledge.by_screw:
            return {}
        shown = reading_after(opening, step[0], knowledge, one.injector)
        effect = knowledge.effect_of(one.injector)
        return {
            "opening_pa": [shown.value, shown.standard_uncertainty],
            "effect": [effect.value, effect.standard_uncertainty],
        }

    def _judge_again(self, act: str, who: str, job: str, injector: str) -> None:
        """Write down what the injector's tests come to now."""
        story = self.story(job)
        one = story.injectors.get(injector)
        judged = self.judged(story)
        if one is None or judged is None or story.handed_over is not None:
            return
        verdict = next(
            (v for v in judged.verdict.injectors if v.injector.cylinder == one.cylinder), None
        )
        advice = next((a for a in judged.advice if a.cylinder == one.cylinder), None)
        if verdict is None or (verdict.as_left and not one.tested_as_left):
            return
        body = verdict_data(verdict, advice)
        said_before = one.verdicts.get(str(body["sitting"]))
        if said_before is not None and dict(said_before.body) == body:
            return
        name = _follower("verdict", act)
        self._add(job, [self._draft(name, job, EntryKind.VERDICT, who, body, injector)])

    # --- inside -------------------------------------------------------------------------------

    def _injector(self, job: str, injector: str) -> InjectorStory:
        one = self.story(job).injectors.get(injector)
        if one is None:
            raise NotAllowed(
                say("this injector is not tagged in this job"),
                say("Tag it with its cylinder first"),
            )
        return one

    def _draft(
        self,
        id: str,  # noqa: A002
        job: str,
        kind: EntryKind,
        who: str,
        body: Mapping[str, Any],
        injector: str = "",
        evidence: Sequence[str] = (),
        corrects: str = "",
    ) -> Draft:
        """Return an entry of a job as it is now, with the rig of the day."""
        rig = self.rig()
        return Draft(
            id,
            job,
            kind,
            who,
            self.clock(),
            dict(body),
            injector=injector,
            rig=rig.id if rig else "",
            evidence=tuple(evidence),
            corrects=corrects,
        )

    def _following(
        self, draft: Draft, kind: EntryKind, body: Mapping[str, Any], name: str
    ) -> Draft:
        """Return a draft that goes with another, its id made from the other's."""
        return Draft(
            _follower(name, draft.id),
            draft.story,
            kind,
            draft.who,
            draft.at,
            body,
            injector=draft.injector,
            rig=draft.rig,
        )

    def _take(
        self,
        id: str,  # noqa: A002
        story: str,
        kind: EntryKind,
        who: str,
        body: Mapping[str, Any],
        evidence: Sequence[str] = (),
    ) -> Entry:
        """Write an entry that belongs to no job."""
        known = self.records.entry(id)
        if known is not None:
            return known
        draft = Draft(id, story, kind, who, self.clock(), body, evidence=tuple(evidence))
        return self.records.take_in([draft])[0]

    def keep_score(self, id: str, who: str, body: Mapping[str, Any]) -> Entry:  # noqa: A002
        """Write down how a practice went."""
        return self._take(id, PRACTICE_STORY, EntryKind.PRACTICE, who, body)

    def scores(self, last: int = 100) -> list[Entry]:
        """Return how practices went, the last one first."""
        return self.records.of_kind(EntryKind.PRACTICE, story=PRACTICE_STORY, last=last)

    def _add(self, job: str, drafts: Sequence[Draft]) -> list[Entry]:
        """Check drafts against the story as it stands, and write them down."""
        for _ in range(_TRIES):
            known = self.records.entry(drafts[0].id)
            if known is not None:
                if known.draft.story != job or known.kind is not drafts[0].kind:
                    raise IdTaken(f"the id {drafts[0].id} belongs to another entry")
                return [known]
            try:
                return self._write(self.story(job), drafts)
            except StoryMoved:
                continue
        raise StoryMoved("others are writing in this job; try again")

    def _write(self, story: JobStory, drafts: Sequence[Draft]) -> list[Entry]:
        """Admit drafts one after the other, and write them with the rows that follow."""
        expect, job = story.last_number, story.job
        for draft in drafts:
            admit(story, draft, self.plan(story))
            next_one = Entry(story.last_number + 1, draft, "", "")
            story = self._told(job, [*story.entries, next_one])
        try:
            return self.records.take_in(drafts, expect=expect, rows=self.rows(story))
        except IdTaken:
            # The same tap, taken in a moment ago with another time of day.
            known = self.records.entry(drafts[0].id)
            if known is None or known.draft.story != job or known.body != drafts[0].body:
                raise
            return [known]

    def rows(self, story: JobStory) -> list[JobRow | InjectorRow]:
        """Return what lists and searches show of a job."""
        return list(rows_of(story, self.steps(story)))


def _follower(name: str, act: str) -> str:
    """Return the id of an entry that goes with the act of another."""
    return str(uuid.uuid5(uuid.NAMESPACE_OID, f"{name} {act}"))


def rows_of(story: JobStory, steps: Sequence[Step]) -> Iterator[JobRow | InjectorRow]:
    """Yield what lists and searches show of a job and its injectors."""
    booked = story.booked
    marks: list[dict[str, Any]] = []
    for one in story.in_order():
        step = one.next_step(steps)
        verdict = one.verdict
        marks.append(
            {
                "cylinder": one.cylinder,
                "injector": one.injector,
                "serial": one.serial,
                "step": step.key if step else "",
                "done": sum(step.key in one.done for step in steps),
                "of": len(steps),
                "outcome": str(verdict.body["outcome"]) if verdict else "",
                "in_hand": story.in_hand == one.injector,
            }
        )
    marks += [{"cylinder": c, "injector": "", "serial": ""} for c in story.untagged()]
    marks.sort(key=lambda mark: mark["cylinder"])
    yield JobRow(
        job=story.job,
        title=str(booked["title"]),
        engine=str(booked["engine"]),
        customer=str(booked["customer"]),
        booked_at=story.entries[0].draft.at,
        touched_at=story.entries[-1].draft.at,
        state="handed over" if story.handed_over else "open",
        waits_for=waits_for(story, steps),
        marks=marks,
    )
    for one in story.injectors.values():
        yield InjectorRow(one.injector, one.serial, one.pair, story.job, one.cylinder)
    for one in story.shelved.values():
        yield InjectorRow(one.injector, one.serial, one.pair, "", None)


def waits_for(story: JobStory, steps: Sequence[Step]) -> str:
    """Return what a job waits for: a key, of which the screen makes words."""
    if story.handed_over is not None:
        return "" if story.running_checks else "running check"
    if not story.sheet:
        return "setting sheet"
    if story.untagged():
        return "tags"
    if story.in_hand:
        return "fitter at the bench"
    of_the_set = {StepKind.MATCH, StepKind.SECOND}
    left = [one.next_step(steps) for one in story.in_order()]
    if any(step is not None and step.kind not in of_the_set for step in left):
        return "fitter"
    second = any(step.kind is StepKind.SECOND for step in steps)
    if second and not any(one.agreed() for one in story.injectors.values()):
        return "second person"
    return "hand-over"


def summary(findings: GaugeFindings) -> dict[str, Any]:
    """Return the few values that lists show beside a test, SI units in the names."""
    hold = findings.hold if isinstance(findings.hold, Hold) else None
    shown: dict[str, Any] = {}
    rows: list[tuple[str, Measured | None]] = [
        ("opening_pa", findings.opening_pressure),
        ("closing_pa", findings.closing_pressure),
        ("drop_as_shown_s", hold.drop_time_as_shown if hold else None),
        ("drop_at_reference_s", hold.drop_time_at_reference if hold else None),
    ]
    for name, value in rows:
        if isinstance(value, Quantity):
            shown[name] = [value.value, value.standard_uncertainty]
    if isinstance(findings.opening_pressure, Quantity):
        shown["opening_causes"] = opening_data(findings.opening_pressure)
    return shown


def verdict_data(verdict: InjectorVerdict, advice: Advice | None) -> dict[str, Any]:
    """Return a verdict with its reasons and next actions as plain data, messages as such."""
    return {
        "sitting": AS_LEFT if verdict.as_left else AS_FOUND,
        "outcome": verdict.outcome.value,
        "reasons": [as_data(reason) for reason in verdict.reasons],
        "tests": [
            {
                "test": one.test.value,
                "outcome": one.outcome.value,
                "limit": as_data(one.limit),
                "reasons": [as_data(reason) for reason in one.reasons],
            }
            for one in verdict.verdicts
        ],
        "next": [
            {
                "kind": action.kind.value,
                "do": as_data(action.do),
                "why": as_data(action.why),
                "caution": as_data(action.caution),
                "shim_change_mm": (
                    None if action.shim_change_m is None else action.shim_change_m * 1e3
                ),
                "screw_turns": action.screw_turns,
            }
            for action in (advice.actions if advice is not None else ())
        ],
        "next_test": as_data(advice.next_test) if advice is not None else "",
    }


def _moved(
    body: Mapping[str, Any],
    shims_um: Sequence[int],
    drawer: ShimDrawer | None,
    *,
    kept: bool,
) -> dict[str, int]:
    """Return what a change of shim moves in the drawer: number by thickness [um], signed.

    The old shim goes back only where it is of a size that the drawer has a place for: a stack is
    written down as its sum.
    """
    old, new = body.get("shim_from_mm"), body.get("shim_to_mm")
    if drawer is None or new is None:
        return {}
    moved: dict[int, int] = {}
    for size in shims_um or (round(float(new) * 1e3),):
        if size in drawer.counts:
            moved[size] = moved.get(size, 0) - 1
    back = None if old is None else round(float(old) * 1e3)
    if kept and back is not None and back in drawer.counts:
        moved[back] = moved.get(back, 0) + 1
    return {str(size): by for size, by in moved.items() if by}


def _counted(counts: Mapping[int, int | None]) -> dict[str, int | None]:
    """Return the counts of a drawer as an entry keeps them.

    Raises
    ------
    InputFault
        If a thickness or a number is none.
    """
    faults = []
    for size, count in counts.items():
        if not 0 < size <= THICKEST_UM:
            faults.append(
                Fault(
                    say("{size} is no thickness of a shim", size=f"{size / 1e3:g} mm"),
                    say("thickness"),
                    say("Give it in millimetres, from 0.001 to {most}", most=THICKEST_UM // 1000),
                )
            )
        if count is not None and not 0 <= count <= MOST_OF_A_SIZE:
            faults.append(
                Fault(
                    say("{count} is no number of shims", count=count),
                    say("number"),
                    say("Count them: from 0 to {most}", most=MOST_OF_A_SIZE),
                )
            )
    if faults:
        raise InputFault(faults)
    return {str(size): count for size, count in sorted(counts.items())}


def _still_so(seen: Standing, tested_at: int) -> Mapping[str, Any]:
    """Return what was noticed; that there is no result is over once a test gave one."""
    if seen.entry.number > tested_at:
        return seen.body
    return {key: value for key, value in seen.body.items() if key != "no_result"}


def _condition(story: JobStory, sitting: str) -> Condition:
    return Condition(story.booked["condition"]) if sitting == AS_LEFT else Condition.USED


def _fitters(story: JobStory) -> list[str]:
    return sorted({e.draft.who for e in story.entries if e.kind is EntryKind.TEST and e.draft.who})


def _rig_state(entry: Entry) -> RigState:
    body = entry.body
    return RigState(
        id=entry.id,
        rig=str(body["rig"]),
        at=entry.draft.at,
        who=entry.draft.who,
        temperature_c=body.get("temperature_c"),
        conditions=str(body["conditions"]),
        blank=str(body.get("blank", "")),
        body=body,
    )


def _check_booking(story: JobStory, body: Mapping[str, Any]) -> None:
    """Refuse a correction of the booking that what was done since does not bear."""
    most = max((one.cylinder for one in story.injectors.values()), default=0)
    if most > int(body["cylinders"]):
        raise NotAllowed(
            say("injector {cylinder} is tagged: it would have no cylinder", cylinder=most),
            say("Put its tag right first"),
        )
    if story.handed_over is not None and any(
        body[name] != story.booked[name] for name in ("cylinders", "condition")
    ):
        raise NotAllowed(
            say("the job was handed over: what it was judged by stays as it is"),
            say("Take the hand-over back first"),
        )


def _booking(booked: Mapping[str, Any]) -> dict[str, Any]:
    """Return a booking with every field in place.

    Raises
    ------
    InputFault
        If it lacks what the rest needs.
    """
    faults = []
    cylinders = booked.get("cylinders")
    if not isinstance(cylinders, int) or not 1 <= cylinders <= 24:
        faults.append(
            Fault(
                say("the number of cylinders is not known"),
                say("number of cylinders"),
                say("Give a whole number from 1 to 24"),
            )
        )
    engine = str(booked.get("engine", "")).strip()
    if not engine:
        faults.append(
            Fault(
                say("the engine is not named"),
                say("engine"),
                say("Write what it is, in your own words"),
            )
        )
    condition = booked.get("condition", Condition.USED.value)
    if condition not in {one.value for one in Condition}:
        faults.append(
            Fault(
                say("'{word}' is no condition of the parts", word=str(condition)),
                say("condition"),
                say("Choose new or used"),
            )
        )
    if faults:
        raise InputFault(faults)
    return {
        "title": str(booked.get("title", "")).strip() or engine,
        "engine": engine,
        "customer": str(booked.get("customer", "")).strip(),
        "workshop": str(booked.get("workshop", "")).strip(),
        "cylinders": cylinders,
        "condition": condition,
        "symptoms": {str(k): str(v) for k, v in dict(booked.get("symptoms", {})).items()},
        "hours": booked.get("hours"),
        "markings": str(booked.get("markings", "")).strip(),
        "pieces": dict(booked.get("pieces", {})),
        "sheet": str(booked.get("sheet", "")),
        "note": str(booked.get("note", "")).strip(),
        "invented": bool(booked.get("invented", False)),
    }
