"""How well the cause finder's probabilities are calibrated, on simulated cases.

Cases are drawn from the model with every number wrong (logits of all chances shifted at random),
so that the model that ranks is not the model that made them. For each probability that the finder
gives, the share of cases is counted in which the cause was present.

Run: python benchmarks/causes.py            prints the table
     python benchmarks/causes.py --picture  also writes docs/images/causes-calibration.svg
"""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from nozzlewright.advice.causes import CauseModel, Sort, infer, known, published

PICTURE = Path(__file__).parents[1] / "docs" / "images" / "causes-calibration.svg"
BINS = (0.0, 0.02, 0.05, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 1.0)
MENTION = 4 / 3
"""How much more often than the finder reckons a customer mentions a symptom that is there."""
LOOKED = 1 / 4
"""Share of cases in which somebody has looked at what no customer mentions unasked."""
SHIFT = 0.5
"""Standard deviation of the shift of a logit: a chance of 50 % becomes 38 % to 62 %."""


def shifted(model: CauseModel, rng: np.random.Generator, shift: float) -> CauseModel:
    """Return a model whose every chance is another: logits moved by normal noise."""

    def moved(chances: Sequence[float]) -> list[float]:
        given = np.array(chances)
        odds = given / (1.0 - given.sum()) * np.exp(rng.normal(0.0, shift, len(given)))
        return [float(p) for p in odds / (1.0 + odds.sum())]

    links = tuple(
        replace(
            link,
            chances=dict(zip(link.chances, moved(list(link.chances.values())), strict=True)),
        )
        for link in model.links
    )
    causes = tuple(replace(cause, prior=moved([cause.prior])[0]) for cause in model.causes)
    observations = []
    for one in model.observations:
        leak = moved(list(one.leak[1:]))
        observations.append(replace(one, leak=(1.0 - sum(leak), *leak)))
    return replace(model, links=links, causes=causes, observations=tuple(observations))


@dataclass(frozen=True)
class Drawn:
    """A simulated case: what was seen, and what was present."""

    evidence: dict[str, tuple[float, ...]]
    causes: frozenset[str]
    silent: frozenset[str]
    """Symptoms of which nothing was said, where others were."""


def draw(
    model: CauseModel, rng: np.random.Generator, mention: float = MENTION, severity: float = 0.0
) -> Drawn:
    """Return a case as an injector comes to the bench: something is wrong with it.

    Customers name two in three of the symptoms that are plain, one in three of those that must be
    looked for, and none that there are not; at the rest of the engine somebody looks in one case of
    four, whatever there is to be seen; most bench tests are made; parts are looked at in one case
    of three.

    With a severity a cause that is bad shows in everything more often, one that is slight in
    everything less: the logits of all that it shows are moved together, by normal noise. The finder
    takes its observations as independent, given the causes.
    """
    background = rng.choice(len(model.backgrounds), p=[b.prior for b in model.backgrounds])
    while True:
        present = rng.random(len(model.causes)) < model.priors[background]
        if present.any():
            break
    moved = rng.normal(0.0, severity, len(model.causes)) if severity else None
    stripped = rng.random() < 1 / 3
    evidence = {}
    for one in model.observations:
        upto = np.cumsum(model.leaks(one.key)[background])
        for place, proposed in model.proposals(one.key).items():
            if present[place]:
                if moved is not None:
                    odds = proposed[1:] / proposed[0] * np.exp(moved[place])
                    proposed = np.append(1.0, odds) / (1.0 + odds.sum())
                upto = upto * np.cumsum(proposed)
        state = int(np.searchsorted(upto, rng.random() * upto[-1]))
        made = {
            Sort.SYMPTOM: (
                state > 0 and rng.random() < mention * one.mentioned
                if one.mentioned
                else one.minutes <= 10 and rng.random() < LOOKED
            ),
            Sort.BENCH: rng.random() < (0.85 if one.step else 0.3),
            Sort.PARTS: stripped and rng.random() < 0.6,
            Sort.SET: rng.random() < 0.4,
        }[one.sort]
        if made:
            evidence[one.key] = known(model, one.key, one.states[state][0])
    there = frozenset(c.key for c, is_there in zip(model.causes, present, strict=True) if is_there)
    told = {one.key for one in model.observations if one.sort is Sort.SYMPTOM and one.mentioned}
    silent = frozenset(told - set(evidence)) if told & set(evidence) else frozenset()
    return Drawn(evidence, there, silent)


@dataclass(frozen=True)
class Calibration:
    """Reliability table and scores."""

    rows: tuple[tuple[float, float, int], ...]
    """Mean probability given, share in which it was so, number: by bins."""
    brier: float
    """Mean squared error of the probabilities (Brier 1950), [1]."""
    brier_of_priors: float
    """The same where nothing but the prior is given."""
    log_score: float
    """Mean of -log2 of the probability given to what was so, by cause, [bit]."""
    first_two: float
    """Share of cases in which a present cause is among the first two."""
    expected_error: float
    """Mean distance of the two columns of the table, weighted by the number."""
    cases: int


def calibration(model: CauseModel, cases: Sequence[Drawn]) -> Calibration:
    """Return how the probabilities of a model fare on cases."""
    shares = np.empty((len(cases), len(model.causes)))
    truth = np.zeros_like(shares)
    hits = 0
    for row, case in enumerate(cases):
        found = infer(model, case.evidence, case.silent).causes
        shares[row] = list(found.values())
        truth[row] = [cause.key in case.causes for cause in model.causes]
        first = sorted(found, key=lambda key: (-found[key], key))[:2]
        hits += bool(case.causes & set(first))
    which = np.clip(np.digitize(shares, BINS) - 1, 0, len(BINS) - 2)
    rows = []
    for index in range(len(BINS) - 1):
        here = which == index
        if here.any():
            rows.append((float(shares[here].mean()), float(truth[here].mean()), int(here.sum())))
    some = truth.any(axis=1)
    priors = np.array([b.prior for b in model.backgrounds]) @ model.priors
    given = np.clip(np.where(truth > 0, shares, 1.0 - shares), 1e-9, 1.0)
    return Calibration(
        tuple(rows),
        float(((shares - truth) ** 2).mean()),
        float(((priors - truth) ** 2).mean()),
        float(-np.log2(given).mean()),
        hits / max(int(some.sum()), 1),
        float(sum(n * abs(p - q) for p, q, n in rows) / shares.size),
        len(cases),
    )


def simulated(
    cases: int, models: int, shift: float = SHIFT, start: int = 1
) -> tuple[CauseModel, list[Drawn]]:
    """Return the published model, and cases from several models with every number wrong."""
    rng = np.random.default_rng(start)
    drawn = []
    for _ in range(models):
        wrong = shifted(published(), rng, shift)
        drawn += [draw(wrong, rng) for _ in range(cases // models)]
    return published(), drawn


def report(found: Calibration) -> list[str]:
    """Return the table in words."""
    lines = ["given    so      number"]
    lines += [f"{p:6.1%}  {q:6.1%}  {n:7d}" for p, q, n in found.rows]
    lines += [
        f"cases {found.cases}; a present cause among the first two: {found.first_two:.1%}",
        f"Brier score {found.brier:.4f} (priors alone {found.brier_of_priors:.4f})",
        f"log score {found.log_score:.4f} bit",
        f"expected calibration error {found.expected_error:.2%}",
    ]
    return lines


def picture(found: Calibration, right: Calibration) -> str:
    """Return the calibration curve as SVG: wrong numbers, and right ones beside them."""
    size, left, top = 360, 64, 20

    def x(value: float) -> float:
        return round(left + value * size, 1)

    def y(value: float) -> float:
        return round(top + (1.0 - value) * size, 1)

    parts = [
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size + 100} {size + 90}" '
            'font-family="sans-serif" font-size="13" role="img">'
        ),
        "<title>Calibration of the cause finder on simulated cases</title>",
        f'<rect x="0" y="0" width="{size + 100}" height="{size + 90}" fill="#ffffff"/>',
        f'<path d="M{x(0)} {y(0)}L{x(1)} {y(1)}" stroke="#74818d" stroke-dasharray="5 4"/>',
        f'<path d="M{x(0)} {y(1)}V{y(0)}H{x(1)}" stroke="#16212b" fill="none"/>',
    ]
    for tick in (0.0, 0.25, 0.5, 0.75, 1.0):
        words = f"{tick * 100:.0f} %"
        parts.append(f'<text x="{x(tick)}" y="{y(0) + 20}" text-anchor="middle">{words}</text>')
        parts.append(f'<text x="{x(0) - 8}" y="{y(tick) + 4}" text-anchor="end">{words}</text>')
    for rows, colour, mark in ((right.rows, "#74818d", "square"), (found.rows, "#0b6079", "dot")):
        line = "L".join(f"{x(p)} {y(q)}" for p, q, _ in rows)
        parts.append(f'<path d="M{line}" stroke="{colour}" fill="none"/>')
        for p, q, n in rows:
            spread = 1.96 * (max(q * (1 - q), 1e-4) / n) ** 0.5
            low, high = y(max(q - spread, 0.0)), y(min(q + spread, 1.0))
            parts.append(f'<path d="M{x(p)} {low}V{high}" stroke="{colour}"/>')
            if mark == "dot":
                parts.append(f'<circle cx="{x(p)}" cy="{y(q)}" r="4" fill="{colour}"/>')
            else:
                parts.append(
                    f'<rect x="{x(p) - 3.5}" y="{y(q) - 3.5}" width="7" height="7" '
                    f'fill="#ffffff" stroke="{colour}"/>'
                )
    below = top + size
    parts += [
        f'<text x="{x(0.5)}" y="{below + 42}" text-anchor="middle">probability given</text>',
        (
            f'<text x="16" y="{y(0.5)}" text-anchor="middle" '
            f'transform="rotate(-90 16 {y(0.5)})">share in which it was so</text>'
        ),
        f'<circle cx="{x(0.02)}" cy="{below + 60}" r="4" fill="#0b6079"/>',
        f'<text x="{x(0.05)}" y="{below + 64}">every number of the model wrong</text>',
        (
            f'<rect x="{x(0.66)}" y="{below + 56}" width="7" height="7" fill="#ffffff" '
            'stroke="#74818d"/>'
        ),
        f'<text x="{x(0.7)}" y="{below + 64}">every number right</text>',
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


def main() -> None:
    """Print the table; write the picture where it is asked for."""
    begun = time.perf_counter()
    model, cases = simulated(4000, 20)
    wrong = calibration(model, cases)
    model, cases = simulated(4000, 1, shift=0.0, start=2)
    right = calibration(model, cases)
    print("Every number of the model wrong:", *report(wrong), sep="\n")
    print("\nEvery number right:", *report(right), sep="\n")
    each = (time.perf_counter() - begun) / 8000
    print(f"\n{each * 1e3:.1f} ms for each case, drawn and weighed")
    if "--picture" in sys.argv:
        PICTURE.write_text(picture(wrong, right), encoding="utf-8")
        print(f"written: {PICTURE.name}")


if __name__ == "__main__":
    main()
