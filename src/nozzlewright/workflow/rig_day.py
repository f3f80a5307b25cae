"""The check of the rig as the record keeps it, and what it means for the tests of its day."""

from __future__ import annotations

import re
from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from threading import Lock
from typing import Any, Protocol

from nozzlewright.analysis.rig_check import check_rig
from nozzlewright.bench import BenchConditions, ReadingStudies, RigCheck, RigReadings
from nozzlewright.bench.rig_check import NO_TEMPERATURE
from nozzlewright.capture import Recording
from nozzlewright.errors import InputFault, RecordFault
from nozzlewright.judging import PastCheck, RigVerdict, judge_rig
from nozzlewright.judging.rig import marks_of
from nozzlewright.records.plain import rig_check_data, rig_check_from
from nozzlewright.workflow.ports import DayOf, Readers
from nozzlewright.workflow.read_gauge import RigLeaks, of_the_rig

CARRIES = "carries"
"""What names, in an entry of a check, the one whose readings it takes along."""
_KEPT = 256
"""Checks that are kept understood: more than a year's."""


def read_by(
    conditions: BenchConditions, who: str, studies: ReadingStudies | None = None
) -> BenchConditions:
    """Return the conditions with who read in the check of the rig, and the studies of the day."""
    readings, plug = conditions.readings, conditions.blank_plug
    return replace(
        conditions,
        readings=None if readings is None else replace(readings, fitter=who),
        blank_plug=None if plug is None else replace(plug, fitter=who),
        studies=studies or conditions.studies,
    )


def is_digest(name: str) -> bool:
    """Return whether the name of a recording is a digest, not that of a file."""
    return re.fullmatch(r"[0-9a-f]{64}", name) is not None


class CheckEntry(Protocol):
    """An entry of a check, as the workshop has it."""

    @property
    def id(self) -> str:
        """Id of the entry."""

    @property
    def rig(self) -> str:
        """Name of the rig."""

    @property
    def at(self) -> datetime:
        """When it was made."""

    @property
    def conditions(self) -> str:
        """Digest of the card."""

    @property
    def body(self) -> Mapping[str, Any]:
        """What the entry says."""


class RigDays:
    """Checks of the rigs, understood once; each is judged by its own card and what was before."""

    def __init__(
        self,
        readers: Readers,
        leaks: RigLeaks,
        checks: Callable[[], Sequence[CheckEntry]],
        day_of: DayOf,
    ) -> None:
        """Take what reads evidence, what gives all checks, the newest first, and the calendar."""
        self._readers, self._leaks, self._checks = readers, leaks, checks
        self._day_of = day_of
        self._found: OrderedDict[str, RigCheck] = OrderedDict()
        self._verdicts: OrderedDict[str, RigVerdict | None] = OrderedDict()
        self._lock = Lock()

    def made(
        self,
        conditions: BenchConditions,
        blank: str,
        made_on: str,
        *,
        who: str = "",
        studies: ReadingStudies | None = None,
    ) -> RigCheck:
        """Return what a new check shows.

        Parameters
        ----------
        conditions : BenchConditions
            The card with the readings; recordings are named by their digests
        blank : str
            Digest of the hold with the blank plug; or empty
        made_on : str
            Day, ISO 8601
        who : str
            Who read dial and watch; empty where nobody knows
        studies : ReadingStudies, optional
            Studies of fitters that stand for readings by hand

        Raises
        ------
        InputFault
            If a recording cannot be read.
        """
        conditions = read_by(conditions, who, studies)
        readings = conditions.readings or RigReadings()
        plug = self._readers.recording(blank) if blank else None
        return check_rig(
            conditions,
            made_on,
            blank=plug,
            reference=self._recording(readings.recording),
            zero=self._recording(readings.zero_recording),
            leak=self._leaks.of(plug, conditions),
        )

    def _recording(self, digest: str) -> Recording | None:
        # A card from elsewhere may name a file; here recordings are known by their digests alone.
        return self._readers.recording(digest) if is_digest(digest) else None

    def as_body(
        self, check: RigCheck, conditions: BenchConditions, rig: str, carries: str = ""
    ) -> dict[str, Any]:
        """Return what the entry keeps of a check: what it showed, and what it came to."""
        before = [one for one in self._checks() if one.rig == rig]
        kept = rig_check_from(rig_check_data(check))
        verdict = judge_rig(check, conditions, self._past(before, kept, {CARRIES: carries}))
        return {
            CARRIES: carries,
            "check": rig_check_data(check),
            "marks": marks_of(conditions),
            "state": verdict.fitness.value,
        }

    def check(self, state: CheckEntry) -> RigCheck:
        """Return what a check showed; of one from before checks were kept, its temperature."""
        with self._lock:
            known = self._found.get(state.id)
        if known is None:
            data = state.body.get("check")
            known = rig_check_from(data) if isinstance(data, Mapping) else self._bare(state)
            self._keep(self._found, state.id, known)
        return known

    def _bare(self, state: CheckEntry) -> RigCheck:
        oil = self._readers.conditions(state.conditions).oil_temperature
        made_on = self._day_of(state.at).isoformat()
        return RigCheck(made_on, oil_temperature=oil or NO_TEMPERATURE)

    def verdict(self, state: CheckEntry) -> RigVerdict | None:
        """Return whether a rig was fit for use; None where the evidence of its check is gone."""
        with self._lock:
            if state.id in self._verdicts:
                return self._verdicts[state.id]
        try:
            verdict = judge_rig(
                self.check(state), self._readers.conditions(state.conditions), self._before(state)
            )
        except (InputFault, RecordFault):
            return None
        self._keep(self._verdicts, state.id, verdict)
        return verdict

    def _before(self, state: CheckEntry) -> list[PastCheck]:
        """Return the checks of the same rig before one, the oldest first."""
        same = [one for one in self._checks() if one.rig == state.rig]
        ids = [one.id for one in same]
        earlier = same[ids.index(state.id) + 1 :] if state.id in ids else []
        return self._past(earlier, self.check(state), state.body)

    def _past(
        self, earlier: Sequence[CheckEntry], newer: RigCheck, body: Mapping[str, Any]
    ) -> list[PastCheck]:
        """Return checks, given the newest first, the oldest first.

        A card that was changed on the day of its check is written with the same readings: they
        were made once and count once, with the newest card. Its entry names the one whose readings
        it takes along; two checks that were made count twice, be they equal in every value. An
        entry of old does not say it: there equal readings count once, as they did then.
        """
        past: list[PastCheck] = []
        carried = {body.get(CARRIES)}
        for one in earlier:
            if "check" not in one.body:
                continue
            check = self.check(one)
            again = one.id in carried if CARRIES in body else check == newer
            if not again:
                past.append(PastCheck(check, dict(one.body.get("marks", {}))))
            newer, body = check, one.body
            carried.add(body.get(CARRIES))
        return past[::-1]

    def _keep(self, kept: OrderedDict[str, Any], key: str, value: object) -> None:
        with self._lock:
            kept[key] = value
            while len(kept) > _KEPT:
                kept.popitem(last=False)


class FolderChecks:
    """The check that the card of a folder states, made once for all tests that share it."""

    def __init__(self, leaks: RigLeaks) -> None:
        self._leaks = leaks
        self._found: list[tuple[BenchConditions, tuple[Recording | None, ...], RigVerdict]] = []

    def of(
        self,
        conditions: BenchConditions,
        made_on: str,
        blank: Recording | None = None,
        reference: Recording | None = None,
        zero: Recording | None = None,
    ) -> RigVerdict:
        """Return whether the rig of these conditions is fit for use."""
        rig, recordings = of_the_rig(conditions), (blank, reference, zero)
        for known, evidence, verdict in self._found:
            if known == rig and all(a is b for a, b in zip(evidence, recordings, strict=True)):
                return verdict
        leak = self._leaks.of(blank, conditions)
        check = check_rig(conditions, made_on, blank, reference, zero, leak)
        verdict = judge_rig(check, conditions)
        self._found.append((rig, recordings, verdict))
        return verdict
