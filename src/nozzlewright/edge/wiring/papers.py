"""The papers of a job: its report, made from the record and its evidence."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time
from typing import Literal

from nozzlewright.capture import Recording
from nozzlewright.edge.paper import Trace, Voice, report_html, report_pdf
from nozzlewright.errors import NotAllowed
from nozzlewright.records import AS_FOUND, AS_LEFT, JobStory
from nozzlewright.report import FittingSheet, SetReport
from nozzlewright.report.set_report import Fact
from nozzlewright.said import say
from nozzlewright.workflow import Workshop
from nozzlewright.workflow.judge_set import JudgedSet

Traces = dict[tuple[int, str], Trace]


def report_of(shop: Workshop, story: JobStory) -> SetReport:
    """Return what the report of a job says, with its place in the record.

    Raises
    ------
    NotAllowed
        If there is no setting sheet, or nothing was tested.
    """
    judged = _judged(shop, story)
    last = story.entries[-1]
    place = say(
        "job {job}, {count} entries; the last one is number {number} of the record, its digest "
        "begins with {digest}",
        job=story.job,
        count=len(story.entries),
        number=last.number,
        digest=last.digest[:16],
    )
    return replace(judged.report, facts=(*judged.report.facts, Fact(say("Record"), place)))


def fitting_of(shop: Workshop, story: JobStory) -> FittingSheet:
    """Return the part of the report for whoever fits the set.

    Raises
    ------
    NotAllowed
        If there is no setting sheet, or nothing was tested.
    """
    return _judged(shop, story).fitting


def _judged(shop: Workshop, story: JobStory) -> JudgedSet:
    judged = shop.judged(story)
    if judged is None or not any(one.tests or one.seen for one in story.injectors.values()):
        raise NotAllowed(
            say("there is nothing to report yet"), say("Choose a setting sheet and test the set")
        )
    return judged


def traces_of(shop: Workshop, story: JobStory) -> Traces:
    """Return recording and findings of the last recorded test of each sitting."""
    traces: Traces = {}
    for one in story.in_order():
        for sitting in (AS_FOUND, AS_LEFT):
            recorded = [test for test in one.tests_of(sitting) if test.body.get("recording")]
            if recorded:
                body = recorded[-1].body
                recording: Recording = shop.readers.recording(str(body["recording"]))
                findings = shop.findings(str(body["findings"]))
                traces[one.cylinder, sitting] = Trace(recording, findings)
    return traces


def pdf_of(
    shop: Workshop,
    story: JobStory,
    paper: Literal["a4", "us-letter"],
    voice: Voice | None = None,
) -> bytes:
    """Return the report of a job as PDF, in language and unit of whoever asks for it.

    Raises
    ------
    NotAllowed
        If there is nothing to report yet.
    """
    report = report_of(shop, story)
    made = datetime.combine(datetime.fromisoformat(report.made_on).date(), time(12), tzinfo=UTC)
    return report_pdf(report, traces_of(shop, story), paper=paper, created=made, voice=voice)


def html_of(shop: Workshop, story: JobStory, voice: Voice | None = None) -> str:
    """Return the report of a job as one HTML file, in language and unit of whoever asks for it.

    Raises
    ------
    NotAllowed
        If there is nothing to report yet.
    """
    return report_html(report_of(shop, story), traces_of(shop, story), voice=voice)
