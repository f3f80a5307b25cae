"""What is likely wrong with an injector, why, and what to look at next; the table behind it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cache

from fastapi import APIRouter, Request
from starlette.responses import Response

from nozzlewright.advice.causes import (
    NO_YES,
    SOURCES,
    CauseModel,
    Confidence,
    Likelihood,
    Next,
    Place,
    RankedCause,
    Ranking,
    ReadText,
    Reason,
    Sort,
    model_priors,
    published,
    seen_words,
    times_words,
)
from nozzlewright.edge.web import page, show
from nozzlewright.edge.web.at_job import injector_of, shop_of, story_of, who
from nozzlewright.edge.web.screens.bench import marks_of
from nozzlewright.edge.web.texts import HERE, N_, _, said
from nozzlewright.errors import InputFault
from nozzlewright.records import InjectorStory, JobStory, Standing
from nozzlewright.workflow import Workshop
from nozzlewright.workflow.cause_evidence import Origin, Piece
from nozzlewright.workflow.causes import Version

router = APIRouter()

SHOWN, OPEN_AT_FIRST, NEXT_SHOWN = 8, 3, 4
"""Causes shown before the rest, those whose reasons are open, and observations after the first."""
PLACES: Mapping[Place, str] = {
    Place.INJECTOR: N_("in the injector"),
    Place.ENGINE: N_("at the engine"),
    Place.BENCH: N_("at the bench"),
}
LIKELY: Mapping[Likelihood, tuple[str, str]] = {
    Likelihood.VERY_LIKELY: ("fail", N_("very likely")),
    Likelihood.LIKELY: ("now", N_("likely")),
    Likelihood.POSSIBLE: ("unclear", N_("possible")),
    Likelihood.UNLIKELY: ("open", N_("unlikely")),
}
"""Shape and word of a probability."""
ORIGINS: Mapping[Origin, str] = {
    Origin.TEXT: N_("from what was written"),
    Origin.TEST: N_("from the tests"),
    Origin.FINDING: N_("from the findings"),
    Origin.SET: N_("from the set"),
    Origin.NOTED: N_("noted here"),
}
SORTS: Mapping[Sort, str] = {
    Sort.SYMPTOM: N_("At the engine"),
    Sort.BENCH: N_("On the bench"),
    Sort.PARTS: N_("On the parts"),
    Sort.SET: N_("In the set"),
}
CONFIDENCE: Mapping[Confidence, str] = {
    Confidence.PRINTED: N_("printed there"),
    Confidence.PRACTICE: N_("common practice, no source"),
}
TELLS: tuple[tuple[float, str], ...] = (
    (0.5, N_("tells a lot")),
    (0.2, N_("tells a good deal")),
    (0.05, N_("tells something")),
    (0.0, N_("tells little")),
)
"""Information from which an observation is called so, [bit]; one yes or no between two causes that
are equally likely is 1 bit."""
ENGINE_IN_DOUBT = 0.05
"""Probability of a cause at the engine from which it is asked whether that was looked at first."""
ENGINE = "engine"
"""What a cause is settled of, where it is not the injector."""


@dataclass(frozen=True)
class ShownReason:
    """A reason as the page shows it."""

    words: str
    times: str


@dataclass(frozen=True)
class ShownCause:
    """A ranked cause as the page shows it."""

    key: str
    name: str
    place: str
    share: float
    percent: str
    state: str
    likely: str
    speaks_for: tuple[ShownReason, ...]
    speaks_against: tuple[ShownReason, ...]
    remedy: str


@dataclass(frozen=True)
class ShownNext:
    """An observation that could be made next."""

    key: str
    name: str
    how: str
    minutes: str
    bits: str
    tells: str
    """The same in a word."""
    caution: str
    jet: bool
    path: str
    """Where it is noted; empty: on this page."""
    states: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class ShownPiece:
    """A piece of evidence."""

    key: str
    words: str
    origin: str
    source: str


def percent(share: float) -> str:
    """Return a probability in words and figures.

    >>> percent(0.004), percent(0.257).replace("\N{NO-BREAK SPACE}", " ")
    ('under 1\N{NO-BREAK SPACE}%', '26 %')
    """
    if share < 0.01:
        return _("under %(share)s") % {"share": "1\N{NO-BREAK SPACE}%"}
    if share > 0.99:
        return _("over %(share)s") % {"share": "99\N{NO-BREAK SPACE}%"}
    return f"{share * 100:.0f}\N{NO-BREAK SPACE}%"


@router.get("/job/{job}/injector/{injector}/causes")
def show_causes(request: Request, job: str, injector: str) -> Response:
    """Show the ranked causes of an injector, with reasons and the next observation."""
    story = story_of(request, job)
    one = injector_of(story, injector)
    shop = shop_of(request)
    finder = shop.causes
    problem = ""
    finding = None
    try:
        finding = finder.find(story, injector)
        gathered = finding.gathered
    except InputFault as fault:
        problem = "; ".join(f"{said(one.what)}. {said(one.remedy)}" for one in fault.faults)
        gathered = finder.gathered(story, injector)
    ranking = finding.ranking if finding else None
    model = finder.model()
    causes = [_cause(ranked) for ranked in ranking.causes] if ranking else []
    left_out = [cause for cause in causes if cause.key in gathered.ruled_out]
    causes = [cause for cause in causes if cause.key not in gathered.ruled_out]
    coming = ranking.next[: NEXT_SHOWN + 1] if ranking else ()
    seen = {piece.observation for piece in gathered.pieces}
    return page.render(
        request,
        "causes.html",
        story=story,
        one=one,
        marks=marks_of(story, shop.steps(story)),
        problem=problem,
        first=causes[:OPEN_AT_FIRST],
        more=causes[OPEN_AT_FIRST:SHOWN],
        rest=causes[SHOWN:],
        anything=bool(gathered.pieces),
        alike=[said(group.words) for group in ranking.alike] if ranking else [],
        backgrounds=[(said(n), percent(share)) for n, share in ranking.backgrounds]
        if ranking
        else [],
        places=[(_capital(_(PLACES[place])), percent(share)) for place, share in ranking.places]
        if ranking
        else [],
        coming=[_next(step, story, one, shop) for step in coming],
        texts=[_read(text) for text in gathered.texts],
        asked=_asked(model, seen, ranking),
        pieces=[_piece(piece) for piece in gathered.pieces],
        left_out=[cause.name for cause in left_out],
        silent=[said(model.by_observation[key].name) for key in gathered.silent],
        taken_out=[
            (key, said(model.by_observation[key].name))
            for key in gathered.taken_out
            if key not in seen
        ],
        observations=_observations(),
        settled=[_settled(standing) for standing in shop.causes.settled_in(story, injector)],
        to_settle=[(c.key, c.name, c.percent) for c in causes[:SHOWN]],
        others=[(c.key, c.name) for c in (*causes[SHOWN:], *left_out)],
        version=ranking.version if ranking else model.version,
        digest=model.digest[:12],
    )


def _asked(model: CauseModel, seen: set[str], ranking: Ranking | None) -> bool:
    """Return whether to ask what was looked at first: the engine complains and may be at fault."""
    complaint = any(model.by_observation[key].named for key in seen)
    return (
        complaint
        and "looked_over" not in seen
        and ranking is not None
        and any(
            one.cause.place is Place.ENGINE and one.probability >= ENGINE_IN_DOUBT
            for one in ranking.causes
        )
    )


def _cause(ranked: RankedCause) -> ShownCause:
    state, likely = LIKELY[ranked.likelihood]
    return ShownCause(
        ranked.cause.key,
        said(ranked.cause.name),
        _(PLACES[ranked.cause.place]),
        ranked.probability,
        percent(ranked.probability),
        state,
        _(likely),
        tuple(_reason(reason) for reason in ranked.speaks_for),
        tuple(_reason(reason) for reason in ranked.speaks_against),
        said(ranked.cause.remedy),
    )


def _reason(reason: Reason) -> ShownReason:
    return ShownReason(_capital(said(reason.seen)), said(times_words(reason.factor)))


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _next(step: Next, story: JobStory, one: InjectorStory, shop: Workshop) -> ShownNext:
    observation = step.observation
    known = {each.key for each in shop.steps(story)}
    path = ""
    if observation.step in known and story.handed_over is None:
        path = f"/job/{story.job}/injector/{one.injector}/step/{observation.step}"
        if observation.step == "inspect":
            path = f"/job/{story.job}/injector/{one.injector}/findings"
    name = _capital(said(observation.name))
    return ShownNext(
        observation.key,
        f"{name}?" if observation.states == NO_YES else name,
        said(observation.how),
        show.localised(f"{step.minutes:g}"),
        show.localised(f"{step.gain_bit:.2f}"),
        next(_(words) for least, words in TELLS if step.gain_bit >= least),
        said(step.caution) if step.caution else "",
        observation.jet,
        path,
        tuple((key, said(words)) for key, words in observation.states),
    )


def _read(text: ReadText) -> tuple[str, list[tuple[str, str, str]], list[str]]:
    """Return a text, what was understood of it (key, meaning, words), and what was not."""
    model = published()
    understood = []
    for one in text.understood:
        observation = model.by_observation[one.observation]
        weights = [float(key == one.state) for key, _words in observation.states]
        understood.append(
            (one.observation, _capital(said(seen_words(observation, weights))), one.words)
        )
    return text.text, understood, list(text.left)


def _piece(piece: Piece) -> ShownPiece:
    observation = published().by_observation[piece.observation]
    return ShownPiece(
        piece.observation,
        _capital(said(seen_words(observation, piece.weights))),
        _(ORIGINS[piece.origin]),
        said(piece.words) if piece.words else "",
    )


def _observations() -> list[tuple[str, list[tuple[str, str]]]]:
    """Return all that can be noted: groups of (observation=state, words)."""
    return _observations_in(HERE.get().language)


@cache
def _observations_in(_language: str) -> list[tuple[str, list[tuple[str, str]]]]:
    groups: dict[Sort, list[tuple[str, str]]] = {sort: [] for sort in Sort}
    for one in published().observations:
        for place, (key, _words) in enumerate(one.states):
            weights = [float(index == place) for index in range(len(one.states))]
            words = _capital(said(seen_words(one, weights)))
            groups[one.sort].append((f"{one.key}={key}", words))
    return [(_(SORTS[sort]), rows) for sort, rows in groups.items()]


def _settled(standing: Standing) -> tuple[str, str, str, datetime]:
    names = [_name(str(key)) for key in standing.body["settled"]]
    note = str(standing.body.get("note", ""))
    return ", ".join(names), note, standing.entry.draft.who, standing.entry.draft.at


def _name(key: str) -> str:
    cause = published().by_cause.get(key)
    return said(cause.name) if cause is not None else key


@router.post("/job/{job}/injector/{injector}/causes")
def observe(request: Request, job: str, injector: str, form: page.Sent) -> Response:
    """Note an observation, put one right, or take one out."""
    story = story_of(request, job)
    injector_of(story, injector)
    name = who(request)
    offered = {value for _group, rows in _observations() for value, _words in rows}
    offered |= {f"{one.key}=" for one in published().observations}
    chosen = form.choice("observed", offered)
    note = form.text("note", longest=400)
    form.check()
    observation, _equals, state = chosen.partition("=")
    shop_of(request).causes.observe(form.id, name, job, injector, observation, state, note)
    flash = _("Noted") if state else _("Taken out: it is not weighed any more")
    return page.back_to(request, f"/job/{job}/injector/{injector}/causes", flash=flash)


@router.post("/job/{job}/injector/{injector}/causes/settle")
def settle(request: Request, job: str, injector: str, form: page.Sent) -> Response:
    """Write down what it turned out to be."""
    story = story_of(request, job)
    injector_of(story, injector)
    name = who(request)
    keys = list(published().by_cause)
    ticked = form.chosen("cause", keys)
    other = form.choice("other", ["", *keys], default="")
    of = form.choice("settled_of", ("injector", ENGINE), default="injector")
    note = form.text("how", longest=1000)
    if not ticked and not other:
        form.fault(_("no cause is named"), "cause", _("Choose what it turned out to be"))
    form.check()
    shop_of(request).causes.settle(
        form.id,
        name,
        job,
        injector,
        [*ticked, *([other] if other else [])],
        note,
        engine=of == ENGINE,
    )
    path = f"/job/{job}/injector/{injector}/causes"
    return page.back_to(request, path, flash=_("Saved: the cause is settled"))


# --- the table and its versions -----------------------------------------------------------------


@router.get("/causes")
def show_table(request: Request, before: str = "", after: str = "") -> Response:
    """Show the table with its sources, the versions, and two of them compared where asked for."""
    finder = shop_of(request).causes
    versions = finder.versions()
    in_use = finder.in_use()
    numbers = {str(version.number): version for version in versions}
    closed = finder.closed()
    compared = None
    if before in numbers and after in numbers:
        changes = finder.compared(int(before), int(after))
        names = {one.case.name: one for one in closed}
        compared = {
            "before": before,
            "after": after,
            "rows": [
                {
                    "job": names[change.case.name].job if change.case.name in names else "",
                    "what": ", ".join(sorted(_name(key) for key in change.case.causes)),
                    "before": change.before,
                    "after": change.after,
                    "moved": change.after - change.before,
                    "score_before": show.localised(f"{change.score_before:.2f}"),
                    "score_after": show.localised(f"{change.score_after:.2f}"),
                }
                for change in changes
            ],
            "score_before": _mean(change.score_before for change in changes),
            "score_after": _mean(change.score_after for change in changes),
            "in_sample": int(after) > 0,
        }
    model = finder.model(in_use)
    table = published()
    brought = model_priors(model)
    rows = [
        {
            "key": cause.key,
            "name": _capital(said(cause.name)),
            "place": _(PLACES[cause.place]),
            "prior": percent(brought[cause.key]),
            "links": [
                {
                    "what": said(table.by_observation[link.observation].name),
                    "states": [
                        (said(words), percent(now.chances[key]), percent(link.chances[key]))
                        for key, words in table.by_observation[link.observation].states
                        if key in link.chances
                    ],
                    "learned": dict(now.chances) != dict(link.chances),
                    "sources": [SOURCES[key] for key in link.sources],
                    "confidence": _(CONFIDENCE[link.confidence]),
                }
                for link in table.links
                if link.cause == cause.key
                for now in (model.links_of[link.observation][cause.key],)
            ],
        }
        for cause in table.causes
    ]
    return page.render(
        request,
        "causes_table.html",
        rows=rows,
        sources=list(SOURCES.values()),
        versions=[_version(version) for version in versions],
        in_use=in_use.number,
        closed=[
            (one.job, one.injector, _names(one.case.causes), one.cylinder) for one in closed[:50]
        ],
        cases=len(closed),
        compared=compared,
        digest=model.digest[:12],
    )


def _names(causes: frozenset[str]) -> str:
    return ", ".join(sorted(_name(key) for key in causes))


def _mean(scores: Iterable[float]) -> str:
    numbers = list(scores)
    return show.localised(f"{sum(numbers) / len(numbers):.2f}") if numbers else ""


def _version(version: Version) -> dict[str, object]:
    return {
        "number": version.number,
        "parent": version.parent,
        "cases": version.counts.cases,
        "note": version.note,
        "who": version.entry.draft.who if version.entry else "",
        "at": version.entry.draft.at if version.entry else None,
    }


@router.post("/causes/learn")
def learn(request: Request, form: page.Sent) -> Response:
    """Make a version of what the closed jobs teach."""
    name = who(request)
    note = form.text("note", longest=400)
    form.check()
    finder = shop_of(request).causes
    parent = finder.in_use().number
    entry = finder.learn(form.id, name, note)
    number = entry.body["version"]
    return page.back_to(
        request,
        f"/causes?before={parent}&after={number}#compared",
        flash=_("Version %(number)s is made; it is not in use yet") % {"number": number},
    )


@router.post("/causes/use")
def use(request: Request, form: page.Sent) -> Response:
    """Say which version is in use."""
    name = who(request)
    finder = shop_of(request).causes
    number = form.choice("version", [str(version.number) for version in finder.versions()])
    form.check()
    finder.use(form.id, name, int(number))
    return page.back_to(
        request, "/causes#versions", flash=_("Version %(number)s is in use") % {"number": number}
    )
