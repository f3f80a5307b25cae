"""A plan of matching in words: steps in the order of the bench, the choice, the purchase.

Where the shim of one cylinder goes into another one, the giver comes first, so that one injector
is open at a time. Only where shims go round in a ring must several lie open together; it is said.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from nozzlewright.advice.cautions import JET, STRIP_AND_JET
from nozzlewright.advice.match_model import EQUAL_PA
from nozzlewright.advice.matching import Act, MatchPlan, MatchStep, Purchase
from nozzlewright.advice.setting import shim_thickness
from nozzlewright.judging.wording import bar, listed, percent, stated
from nozzlewright.measurement import Quantity
from nozzlewright.said import Said, figure, in_bar, joined, say


@dataclass(frozen=True)
class BenchStep:
    """What is done at one cylinder."""

    cylinder: int
    do: str
    caution: str
    predicted: Quantity
    """[Pa]."""
    together: tuple[int, ...] = ()
    """Cylinders whose injectors must lie open together with this one; usually none."""


def bench_steps(plan: MatchPlan) -> tuple[BenchStep, ...]:
    """Return the steps of a plan in an order in which every shim is there when it is needed."""
    moves = _Moves(plan)
    steps = []
    for step in moves.order:
        ring = moves.rings.get(step.cylinder, ())
        words = [_what(step), *moves.of(step)]
        if ring:
            words.append(
                say(
                    "Cylinders {cylinders} change shims in a ring: take all their shims out "
                    "before one is closed, each injector in its own tray.",
                    cylinders=listed([str(one) for one in ring]),
                )
            )
        opens = step.act is not Act.SPARE or step.opened
        steps.append(
            BenchStep(
                step.cylinder,
                joined(" ", words),
                STRIP_AND_JET if opens else JET,
                step.predicted,
                ring,
            )
        )
    return tuple(steps)


def _what(step: MatchStep) -> Said:
    cylinder, expected = step.cylinder, stated(step.predicted)
    if step.act is Act.SPARE:
        if step.opened:
            return say(
                "Cylinder {cylinder}: the spare {spare} goes in as a whole, its shim {was} → "
                "{new} mm, expect {expected}.",
                cylinder=cylinder,
                spare=step.spare,
                was=thickness(step.shims_were_um),
                new=thickness(step.shims_um),
                expected=expected,
            )
        return say(
            "Cylinder {cylinder}: the spare {spare} goes in as a whole, as it was tested; expect "
            "{expected}.",
            cylinder=cylinder,
            spare=step.spare,
            expected=expected,
        )
    if step.turns is not None:
        return say(
            "Cylinder {cylinder}: slacken the lock nut, turn the screw {turns} turn ({degrees}°) "
            "{way}, tighten the lock nut, expect {expected}.",
            cylinder=cylinder,
            turns=figure(abs(step.turns), ".2f"),
            degrees=figure(abs(step.turns) * 360.0, ".0f"),
            way=say("in (clockwise)") if step.turns >= 0.0 else say("out (anticlockwise)"),
            expected=expected,
        )
    if step.thicker_m is not None:
        by = shim_thickness(abs(step.thicker_m))
        how = (
            say("{thickness} mm thicker", thickness=by)
            if step.thicker_m >= 0.0
            else say("{thickness} mm thinner", thickness=by)
        )
        return say(
            "Cylinder {cylinder}: measure its shim, fit one {by}, expect {expected}.",
            cylinder=cylinder,
            by=how,
            expected=expected,
        )
    if step.shims_um == step.shims_were_um:
        return say(
            "Cylinder {cylinder}: another spring, expect {expected}.",
            cylinder=cylinder,
            expected=expected,
        )
    return say(
        "Cylinder {cylinder}: {was} → {new} mm, expect {expected}.",
        cylinder=cylinder,
        was=thickness(step.shims_were_um),
        new=thickness(step.shims_um),
        expected=expected,
    )


def thickness(shims_um: Sequence[int]) -> Said:
    """Return shims as they are marked, [mm].

    >>> thickness((1300, 50))
    '1.30 + 0.05'
    """
    return joined(" + ", [shim_thickness(one * 1e-6) for one in shims_um])


class _Moves:
    """Which shim comes from where and goes to where, and the order that this asks for."""

    def __init__(self, plan: MatchPlan) -> None:
        self.plan = plan
        self.steps = {step.cylinder: step for step in plan.acts}
        self.needs = {c: _shims(step, taken=True) for c, step in self.steps.items()}
        self.frees = {c: _shims(step, taken=False) for c, step in self.steps.items()}
        self.goes: dict[int, list[tuple[int, int]]] = {c: [] for c in self.steps}
        """By giver: size and the cylinder that it goes to."""
        self.comes: dict[int, list[tuple[int, int]]] = {c: [] for c in self.steps}
        self._share_out(plan.case.drawer.counts)
        self.rings: dict[int, tuple[int, ...]] = {}
        self.order = [self.steps[c] for c in self._ordered()]

    def _share_out(self, counts: Mapping[int, int | None]) -> None:
        """Let the drawer give first; what it lacks comes out of other injectors."""
        left = dict(counts)
        free = [(size, giver) for giver in self.frees for size in self.frees[giver].elements()]
        for cylinder, needed in self.needs.items():
            for size in needed.elements():
                there = left.get(size, 0)
                if there is None:
                    continue
                if there > 0:
                    left[size] = there - 1
                    continue
                giver = next(one for one in free if one[0] == size and one[1] != cylinder)
                free.remove(giver)
                self.goes[giver[1]].append((size, cylinder))
                self.comes[cylinder].append((size, giver[1]))

    def _ordered(self) -> list[int]:
        """Return the cylinders, givers before takers; rings are noted and broken."""
        order: list[int] = []
        waiting = dict.fromkeys(self.steps)
        while waiting:
            ready = [c for c in waiting if all(giver not in waiting for _, giver in self.comes[c])]
            if not ready:
                ring = self._ring(next(iter(waiting)))
                self.rings.update(dict.fromkeys(ring, tuple(sorted(ring))))
                ready = ring
            for cylinder in ready:
                order.append(cylinder)
                del waiting[cylinder]
        return order

    def _ring(self, start: int) -> list[int]:
        """Follow the givers from a cylinder that waits until one comes again."""
        path = [start]
        while True:
            giver = next(giver for _, giver in self.comes[path[-1]] if giver in self.steps)
            if giver in path:
                return path[path.index(giver) :]
            path.append(giver)

    def of(self, step: MatchStep) -> list[Said]:
        """Return where the shims of a step come from and go to."""
        cylinder = step.cylinder
        words = [
            say(
                "The {size} mm comes out of cylinder {other}.",
                size=thickness((size,)),
                other=giver,
            )
            for size, giver in self.comes[cylinder]
        ]
        kept = Counter(self.frees[cylinder])
        for size, taker in self.goes[cylinder]:
            kept[size] -= 1
            words.append(
                say("The {size} mm goes to cylinder {other}.", size=thickness((size,)), other=taker)
            )
        back = sorted(kept.elements(), reverse=True)
        if back:
            words.append(say("The {sizes} mm goes back to the drawer.", sizes=thickness(back)))
        if step.spring_um is not None and step.spring_was_um is not None:
            new, was = thickness((step.spring_um,)), thickness((step.spring_was_um,))
            springs = self.plan.case.springs
            if springs is not None and springs.load_n == 0.0:
                words.append(
                    say(
                        "Fit the spring of {new} mm in place of that of {was} mm, free length.",
                        new=new,
                        was=was,
                    )
                )
            else:
                words.append(
                    say(
                        "Fit the spring of {new} mm in place of that of {was} mm, measured under "
                        "the test load.",
                        new=new,
                        was=was,
                    )
                )
        return words


def _shims(step: MatchStep, *, taken: bool) -> Counter[int]:
    new, was = Counter(step.shims_um), Counter(step.shims_were_um)
    return new - was if taken else was - new


def choice_words(plan: MatchPlan) -> Said:
    """Return what a plan comes to, in one sentence."""
    spread = in_bar(plan.spread_pa)
    if plan.outside:
        return say(
            "Spread {spread}; outside the band: cylinder {cylinders}.",
            spread=spread,
            cylinders=listed([str(one) for one in plan.outside]),
        )
    limit = plan.case.spread_limit_pa
    if limit is not None and plan.within_limit:
        return say(
            "All in band, spread {spread}: within the {limit} of the sheet.",
            spread=spread,
            limit=bar(limit),
        )
    if limit is not None:
        return say(
            "All in band, spread {spread}: more than the {limit} of the sheet.",
            spread=spread,
            limit=bar(limit),
        )
    return say("All in band, spread {spread}.", spread=spread)


def work_words(plan: MatchPlan) -> Said:
    """Return what a plan asks of the fitter, in few words."""
    openings, exchanges = plan.openings, plan.exchanges
    parts: list[Said] = []
    if openings == 1:
        parts.append(say("1 injector opened"))
    elif openings:
        parts.append(say("{count} injectors opened", count=openings))
    if plan.anyway:
        parts.append(
            say(
                "cylinder {cylinders} anyway",
                cylinders=listed([str(one) for one in sorted(plan.anyway)]),
            )
        )
    if exchanges == 1:
        parts.append(say("1 spare fitted"))
    elif exchanges:
        parts.append(say("{count} spares fitted", count=exchanges))
    return joined(", ", parts) if parts else say("as it is")


def chance_words(plan: MatchPlan) -> Said:
    """Return what is to be expected of a plan, its doubts included."""
    chances = plan.chances
    low, high = chances.spread_pa
    first = say(
        "Readings, effect and new assembly are uncertain: all will truly be in band with a chance "
        "of {in_band}, and the true spread lies between {low} and {high} (95 %).",
        in_band=percent(chances.in_band),
        low=in_bar(low),
        high=in_bar(high),
    )
    limit = limit_chance_words(plan)
    return joined(" ", [first, limit]) if limit else first


def limit_chance_words(plan: MatchPlan) -> str:
    """Return how surely the spread is within the sheet's limit; empty where it has none."""
    chance = plan.chances.in_limit
    if chance is None:
        return ""
    return say(
        "The true spread is within the sheet's limit with a chance of {chance}.",
        chance=percent(chance),
    )


def proof_words(plan: MatchPlan) -> Said:
    """Return whether it is proved that no plan with this work is better."""
    if plan.proven and plan.gap_pa > EQUAL_PA:
        return say(
            "It is proved that none with as little work is more even by more than {gap}.",
            gap=bar(plan.gap_pa),
        )
    if plan.proven:
        return say("It is proved that none with as little work is more even.")
    return say(
        "The search was broken off: the spread might be {gap} less at most.", gap=bar(plan.gap_pa)
    )


def purchase_words(bought: Purchase | None) -> Said:
    """Return what one more shim would gain."""
    if bought is None:
        return say("No single shim that could be bought would make the set better.")
    before, after = bought.instead_of, bought.plan
    size, spread = thickness((bought.size_um,)), in_bar(after.spread_pa)
    if len(after.outside) < len(before.outside):
        return say(
            "One shim of {size} mm would leave {after} outside the band instead of {before}.",
            size=size,
            after=len(after.outside),
            before=len(before.outside),
        )
    if bought.less_work > 0:
        if bought.less_spread_pa < 0.0:
            return say(
                "One shim of {size} mm would save {count} of the reopenings; the spread would be "
                "{after} instead of {before}.",
                size=size,
                count=bought.less_work,
                after=spread,
                before=in_bar(before.spread_pa),
            )
        return say(
            "One shim of {size} mm would bring the spread from {before} to {after}, with fewer "
            "reopenings: {fewer} instead of {work}.",
            size=size,
            before=in_bar(before.spread_pa),
            after=spread,
            fewer=after.work,
            work=before.work,
        )
    if bought.less_work < 0:
        return say(
            "One shim of {size} mm would bring the spread from {before} to {after}, with more "
            "reopenings: {more} instead of {work}.",
            size=size,
            before=in_bar(before.spread_pa),
            after=spread,
            more=after.work,
            work=before.work,
        )
    return say(
        "One shim of {size} mm would bring the spread from {before} to {after}.",
        size=size,
        before=in_bar(before.spread_pa),
        after=spread,
    )
