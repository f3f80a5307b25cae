"""The cause finder at work on the record: rank, settle, learn and compare versions.

Nothing is learned by itself. A person makes a version (an entry of the workshop with its counts,
number, parent and the closed cases it rests on) and a person says which version is in use.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from threading import Lock
from typing import Any, Protocol

from nozzlewright.advice.causes import (
    CauseModel,
    Change,
    Counts,
    Ranking,
    compare,
    count,
    counts_from,
    held_out,
    published,
    rank,
    with_counts,
)
from nozzlewright.bench import BenchConditions, SettingSheet, TestSitting
from nozzlewright.errors import Fault, InputFault, NotAllowed
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
)
from nozzlewright.said import say
from nozzlewright.workflow.cause_evidence import Gathered, JobSeen, gather
from nozzlewright.workflow.closed_cases import CasesSeen, Settled
from nozzlewright.workflow.judge_set import JudgedSet
from nozzlewright.workflow.ports import Clock, Records

_KEPT = 64
_MOST_VERSIONS = 200


class Shop(Protocol):
    """What the cause finder needs of the workshop."""

    records: Records
    clock: Clock

    def story(self, job: str) -> JobStory:
        """Return a job as it stands."""

    def judged(self, story: JobStory) -> JudgedSet | None:
        """Return the set with its verdicts."""

    def sheet(self, story: JobStory) -> SettingSheet | None:
        """Return the setting sheet of a job."""

    def sitting(self, one: InjectorStory, which: str) -> TestSitting | None:
        """Return one sitting of an injector."""

    def conditions_tested(self, story: JobStory) -> BenchConditions:
        """Return the bench conditions of the job's last test."""

    def note(
        self,
        id: str,  # noqa: A002 - the record's word
        who: str,
        job: str,
        kind: EntryKind,
        body: Mapping[str, Any] | None = None,
        *,
        injector: str = "",
    ) -> Entry:
        """Write one entry into a job's story."""


@dataclass(frozen=True)
class Version:
    """What closed jobs taught, as a person made it an entry."""

    number: int
    parent: int
    counts: Counts
    entry: Entry | None = None
    """None for the table as published."""
    note: str = ""
    cases: tuple[str, ...] = ()
    """Ids of the entries that settled the causes it learned from."""


PUBLISHED = Version(0, 0, Counts())


@dataclass(frozen=True)
class Finding:
    """What it most likely is at one injector, with all that it rests on."""

    gathered: Gathered
    ranking: Ranking
    settled: tuple[Standing, ...]
    """Entries that settled what it was, oldest first."""


@dataclass
class CauseFinder:
    """Ranks causes from the record of a workshop, and learns when it is told to."""

    shop: Shop
    _found: OrderedDict[tuple[str, str, int, str], Finding] = field(default_factory=OrderedDict)
    _models: dict[int, CauseModel] = field(default_factory=dict)
    _lock: Lock = field(default_factory=Lock)
    _cases: CasesSeen = field(init=False)

    def __post_init__(self) -> None:
        self._cases = CasesSeen(self.shop.records)

    # --- versions -----------------------------------------------------------------------------

    def versions(self) -> list[Version]:
        """Return the versions, the newest first; the last one is the table as published."""
        made = []
        for entry in self._learned():
            if "counts" not in entry.body:
                continue
            body = entry.body
            made.append(
                Version(
                    int(body["version"]),
                    int(body.get("parent", 0)),
                    counts_from(body["counts"]),
                    entry,
                    str(body.get("note", "")),
                    tuple(str(case) for case in body.get("cases", ())),
                )
            )
        made.sort(key=lambda version: -version.number)
        return [*made, PUBLISHED]

    def in_use(self) -> Version:
        """Return the version by which causes are ranked now: that which a person chose last."""
        for entry in self._learned():
            if "use" in entry.body:
                chosen = int(entry.body["use"])
                return next((v for v in self.versions() if v.number == chosen), PUBLISHED)
        return PUBLISHED

    def model(self, version: Version | None = None) -> CauseModel:
        """Return the model of a version; of that in use where none is named."""
        version = version or self.in_use()
        if version.number == 0:
            return published()
        with self._lock:
            known = self._models.get(version.number)
        if known is None:
            known = with_counts(published(), version.counts, version.number)
            with self._lock:
                self._models[version.number] = known
        return known

    def _learned(self) -> Sequence[Entry]:
        return self.shop.records.of_kind(EntryKind.LEARNED, story=SHOP, last=_MOST_VERSIONS)

    # --- what it is ---------------------------------------------------------------------------

    def find(self, story: JobStory, injector: str) -> Finding:
        """Return what it most likely is at an injector; kept until the job or the model changes.

        Parameters
        ----------
        story : JobStory
            The job
        injector : str
            Its own identity

        Raises
        ------
        KeyError
            If the injector is not of this job.
        InputFault
            If what was noted cannot be, as the model has it.
        """
        model = self.model()
        key = (story.job, injector, story.last_number, model.digest)
        with self._lock:
            known = self._found.get(key)
        if known is None:
            gathered = self.gathered(story, injector, model)
            ranking = rank(
                model,
                gathered.evidence,
                gathered.standing,
                gathered.silent,
                gathered.ruled_out,
            )
            known = Finding(gathered, ranking, self.settled_in(story, injector))
            with self._lock:
                self._found[key] = known
                while len(self._found) > _KEPT:
                    self._found.popitem(last=False)
        return known

    def gathered(self, story: JobStory, injector: str, model: CauseModel | None = None) -> Gathered:
        """Return all that the record says about an injector, as a model (that in use) has it."""
        return gather(model or self.model(), self._seen(story), story.injectors[injector])

    @staticmethod
    def settled_in(story: JobStory, injector: str) -> tuple[Standing, ...]:
        """Return the entries that settled what it was, at an injector or at the whole engine."""
        return tuple(
            standing
            for standing in story.causes
            if standing.injector in ("", injector) and standing.body.get("settled")
        )

    def _seen(self, story: JobStory) -> JobSeen:
        judged = self.shop.judged(story)
        verdicts = {}
        sittings = {}
        if judged is None:
            sittings = {
                (one.injector, which): self.shop.sitting(one, which)
                for one in story.in_order()
                for which in (AS_FOUND, AS_LEFT)
            }
        else:
            for one, tested in zip(story.in_order(), judged.engine_set.injectors, strict=True):
                sittings[one.injector, AS_FOUND] = tested.as_found
                sittings[one.injector, AS_LEFT] = tested.as_left
            for verdict in (*judged.verdict.injectors, *judged.verdict.as_found):
                sitting = AS_LEFT if verdict.as_left else AS_FOUND
                verdicts[verdict.injector.cylinder, sitting] = verdict
        return JobSeen(
            story,
            self.shop.sheet(story),
            verdicts,
            sittings,
            self.shop.conditions_tested(story) if judged is not None else None,
        )

    # --- acts ---------------------------------------------------------------------------------

    def observe(
        self,
        id: str,  # noqa: A002
        who: str,
        job: str,
        injector: str,
        observation: str,
        state: str,
        note: str = "",
    ) -> Entry:
        """Note an observation at an injector, put one right, or take one out (an empty state).

        Raises
        ------
        InputFault
            If the model has no such observation or state.
        """
        one = published().by_observation.get(observation)
        if one is None or (state and state not in {name for name, _ in one.states}):
            raise InputFault(
                Fault(
                    say("there is no such observation"),
                    say("observation"),
                    say("Choose one of the list"),
                )
            )
        body: dict[str, Any] = {"observed": {observation: state}}
        if note:
            body["note"] = note
        return self.shop.note(id, who, job, EntryKind.CAUSE, body, injector=injector)

    def settle(
        self,
        id: str,  # noqa: A002
        who: str,
        job: str,
        injector: str,
        causes: Sequence[str],
        note: str = "",
        *,
        engine: bool = False,
    ) -> Entry:
        """Write down what it turned out to be, with the ranking as it stood and what it rests on.

        Parameters
        ----------
        id, who, job, injector : str
            Identity of the act; the person; the job; the injector
        causes : sequence of str
            Keys of all causes that were present
        note : str
            How it is known
        engine : bool
            Whether this is said of the whole engine; what speaks for it is the injector's still

        Raises
        ------
        InputFault
            If no cause is named, or one that there is not.
        """
        known = list(dict.fromkeys(causes))
        if not known or any(cause not in published().by_cause for cause in known):
            raise InputFault(
                Fault(
                    say("no cause is named"), say("cause"), say("Choose what it turned out to be")
                )
            )
        finding = self.find(self.shop.story(job), injector)
        ranking = finding.ranking
        body: dict[str, Any] = {
            "settled": known,
            "evidence": {key: list(w) for key, w in finding.gathered.evidence.items()},
            "silent": list(finding.gathered.silent),
            "ranking": [[one.cause.key, round(one.probability, 4)] for one in ranking.causes[:8]],
            "version": ranking.version,
            "model": ranking.digest,
        }
        if note:
            body["note"] = note
        return self.shop.note(
            id, who, job, EntryKind.CAUSE, body, injector="" if engine else injector
        )

    def closed(self) -> list[Settled]:
        """Return the cases that were settled and still stand, newest first.

        An injector that was settled twice counts once, as it was settled last.
        """
        return self._cases.cases()

    def proposal(self) -> tuple[Counts, list[Settled]]:
        """Return what the closed cases would teach now, and the cases."""
        cases = self.closed()
        return count(published(), [settled.case for settled in cases]), cases

    def learn(self, id: str, who: str, note: str = "") -> Entry:  # noqa: A002
        """Make a version of what the closed cases teach; it is not in use before a person says so.

        Raises
        ------
        NotAllowed
            If there is no closed case.
        """
        known = self.shop.records.entry(id)
        if known is not None:
            return known
        counts, cases = self.proposal()
        if not cases:
            raise NotAllowed(
                say("no job's cause has been settled yet"),
                say("Settle the cause of a closed job first"),
            )
        versions = self.versions()
        body = {
            "version": versions[0].number + 1,
            "parent": self.in_use().number,
            "counts": counts.as_data(),
            "cases": sorted(settled.case.name for settled in cases),
            "model": with_counts(published(), counts, versions[0].number + 1).digest,
            "note": note,
        }
        return self._take(id, who, body)

    def use(self, id: str, who: str, number: int, note: str = "") -> Entry:  # noqa: A002
        """Say which version is in use from now on; 0 is the table as published.

        Raises
        ------
        InputFault
            If there is no such version.
        """
        if number not in {version.number for version in self.versions()}:
            raise InputFault(
                Fault(
                    say("there is no version {number}", number=number),
                    say("version"),
                    say("Choose one of the list"),
                )
            )
        return self._take(id, who, {"use": number, "note": note})

    def _take(self, id: str, who: str, body: Mapping[str, Any]) -> Entry:  # noqa: A002
        known = self.shop.records.entry(id)
        if known is not None:
            return known
        draft = Draft(id, SHOP, EntryKind.LEARNED, who, self.shop.clock(), dict(body))
        return self.shop.records.take_in([draft])[0]

    def compared(self, before: int, after: int) -> tuple[Change, ...]:
        """Return how two versions rank the closed cases.

        Raises
        ------
        KeyError
            If there is no such version.
        """
        versions = {version.number: version for version in self.versions()}
        return compare(
            self.model(versions[before]),
            self.model(versions[after]),
            [settled.case for settled in self.closed()],
        )

    def held_out(self) -> tuple[Change, ...]:
        """Return how the table and what the other closed cases teach rank each closed case."""
        return held_out(published(), [settled.case for settled in self.closed()])
