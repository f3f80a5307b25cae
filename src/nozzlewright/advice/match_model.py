r"""The matching of a set as an integer programme, solved to proof.

Every injector i of the set has some *ways* o (leave it, fit another shim, turn its screw, put a
spare in its place), each with the opening pressure :math:`p_{io}` that it leads to, the work
:math:`w_{io}` that it is (injectors touched), what it takes from the drawer less what it gives
back, :math:`n_{ior}`, and whether it ends outside the band, :math:`b_{io}`. With
:math:`x_{io} \in \{0, 1\}`, for each k the least work allowed,

.. math::

    \min\ U - L \quad\text{with}\quad
    \sum_o x_{io} = 1,\quad
    L \le \sum_o p_{io} x_{io} \le U,\quad
    \sum_{io} n_{ior} x_{io} \le N_r,\quad
    \sum_{io} w_{io} x_{io} \le k,\quad
    \sum_{io} b_{io} x_{io} \le b_k

where :math:`b_k` is the least number outside the band that work k can reach: first all in band,
then evenness. Among plans of equal spread the one nearest to the target (sum of the distances) is
taken. The front is the list of those k at which more work gives a better set.

Written with U and L as variables the programme is weak: fractions of ways reach any pressure, so
that its relaxation says "spread nought" almost to the end. But the least pressure of a plan is
one of finitely many numbers. For each of them a lower bound of U follows at once if the drawer is
taken as endless, since then every injector chooses by itself: a choice among (work, outside)
pairs of 0 and 1, decided by counting. Windows [L, U] are looked at in the order of that bound; the
search ends when the bound reaches the best plan found, and that is the proof.

Only where the choices made one by one ask more of the drawer than is in it, is the programme of
one window solved by HiGHS (``scipy.optimize.milp``): there the ways are few and its relaxation is
nearly that of a transport problem, hence tight. Where each injector has one shim, whether a window
holds any plan is an assignment of injectors to single shims, and is asked as such first
(``scipy.optimize.linear_sum_assignment``): many windows are seen to be empty in far less time.

Pressures are whole pascals, so that equal ones are equal.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from scipy.sparse import csr_array

NEVER = np.iinfo(np.int64).max // 4
"""A pressure that is never reached, [Pa]."""
EQUAL_PA = 2
"""Spreads that differ by no more are equal: two pressures rounded to whole pascals, [Pa]."""
MOST_PROGRAMMES = 4000
"""Windows given to HiGHS before a search is broken off (and says so); sets of 24 with 40 sizes in
short supply take some hundreds."""

Thing = tuple[str, int | str]
"""What can run short: ``("shim", 1300)``, ``("spring", 31200)``, ``("spare", "D-107")``."""


@dataclass(frozen=True)
class Way:
    """One thing that can be done at one place of the set."""

    place: int
    """Index of the place, from 0."""
    pressure_pa: int
    """Opening pressure that it leads to, in whole pascals; of a screw, that of the target."""
    work: int = 0
    """How many injectors are touched."""
    outside: bool = False
    """Whether it ends outside the band."""
    takes: Mapping[Thing, int] = field(default_factory=dict)
    """Number of each thing taken from stock less the number given back."""
    any_in_band: bool = False
    """Whether any pressure inside the band can be had: a screw, or a shim not yet measured."""


@dataclass(frozen=True)
class SetModel:
    """What may be done at each place, and what there is to do it with."""

    places: int
    ways: tuple[Way, ...]
    """At least one without work for each place, or the set cannot stay as it is."""
    stock: Mapping[Thing, int]
    """Number of each thing that is not endless."""
    lower_pa: int
    upper_pa: int
    target_pa: int


@dataclass(frozen=True)
class Found:
    """The best plan for an amount of work."""

    work: int
    outside: int
    """Injectors outside the band."""
    spread_pa: int
    ways: tuple[int, ...]
    """Index of the way of each place."""
    pressures_pa: tuple[int, ...]
    proven: bool = True
    gap_pa: int = 0
    """By how much the least spread may lie below this one, where it is not proven."""


Aim = Literal["any", "distance", "outside"]


class Search:
    """The search for the best plans of one model.

    Parameters
    ----------
    model : SetModel
        The set
    most_programmes : int
        Windows that may be given to HiGHS
    by_assignment : bool
        Whether a window is asked as an assignment first, where it is one; else HiGHS alone answers
    within_pa : int
        What is not worth the search: a spread is found that might be less by no more, [Pa]
    """

    def __init__(
        self,
        model: SetModel,
        most_programmes: int = MOST_PROGRAMMES,
        *,
        by_assignment: bool = True,
        within_pa: int = 0,
    ) -> None:
        self.model = model
        self.programmes = 0
        """How many windows were given to HiGHS."""
        self.most_programmes = most_programmes
        self.within_pa = within_pa
        ways = model.ways
        self._place = np.array([way.place for way in ways], dtype=np.int64)
        self._pressure = np.array([way.pressure_pa for way in ways], dtype=np.int64)
        self._work = np.array([way.work for way in ways], dtype=np.int64)
        self._outside = np.array([way.outside for way in ways], dtype=bool)
        self._free = np.array([way.any_in_band for way in ways], dtype=bool)
        self._kind = 2 * (self._work > 0) + self._outside
        self._plain = bool((self._work <= 1).all())
        pressures = set(self._pressure[~self._free].tolist())
        if self._free.any():
            pressures |= {model.lower_pa, model.upper_pa, model.target_pa}
        self.values = np.array(sorted(pressures), dtype=np.int64)
        self._next = [self._next_of(kind) for kind in range(4)]
        self._bounds: dict[tuple[int, int], NDArray[np.int64]] = {}
        self.things, self._take, self._have = self._scarce()
        self._fewest: dict[int, int] = {}
        """Fewest outside the band by work, as far as it was asked."""
        self._units, self._exact = self._as_assignments() if by_assignment else ([], False)

    # --- what is asked ------------------------------------------------------------------------

    def front(self) -> list[Found]:
        """Return the best plan of each amount of work that gives a better set than less work."""
        return [self.placed(found) for found in self.steps()]

    def advised(self, limit_pa: float | None) -> Found:
        """Return the plan with the least work that meets band and limit; else the most even one.

        Ways and pressures are left open: see :meth:`placed`.
        """
        last = self.last
        wanted = NEVER - 1 if limit_pa is None else max(int(limit_pa), last.spread_pa) + EQUAL_PA
        low, high = 0, self.most_work
        while low < high:
            middle = (low + high) // 2
            if self.reaches(wanted, middle, last.outside):
                high = middle
            else:
                low = middle + 1
        return self.best(low, below=last)

    def reaches(self, spread_pa: int, work: int, outside: int) -> bool:
        """Return whether so little spread, so few outside the band can be had for some work."""
        if self.least_outside(work) > outside:
            return False
        if spread_pa >= NEVER - 1:
            return True
        return self.least_spread(work, outside, spread_pa + 1)[0] <= spread_pa

    def steps(self) -> Iterator[Found]:
        """Yield the plans of the front, ways and pressures left open."""
        known: Found | None = None
        for work in range(self.most_work + 1):
            one = self.last if work == self.most_work else self.best(work, known, self.last)
            if known is None or (one.outside, one.spread_pa) < (
                known.outside,
                known.spread_pa - EQUAL_PA,
            ):
                yield one
                known = one
            if (known.outside, known.spread_pa) <= (
                self.last.outside,
                self.last.spread_pa + EQUAL_PA,
            ):
                return

    @cached_property
    def last(self) -> Found:
        """What all work there is can reach."""
        return self.best(self.most_work)

    @cached_property
    def most_work(self) -> int:
        """Work if all is done at every place."""
        most = np.zeros(self.model.places, dtype=np.int64)
        np.maximum.at(most, self._place, self._work)
        return int(most.sum())

    def best(self, work: int, above: Found | None = None, below: Found | None = None) -> Found:
        """Return fewest outside and least spread for some work; ways and pressures left open.

        Parameters
        ----------
        work : int
            Injectors that may be touched
        above, below : Found, optional
            Known for less and for more work
        """
        at_least = below.outside if below is not None else 0
        outside = (
            above.outside
            if above is not None and above.outside <= at_least
            else self.least_outside(work)
        )
        known = above.spread_pa if above is not None and above.outside == outside else NEVER
        floor = 0
        if below is not None and below.outside == outside:
            floor = below.spread_pa - below.gap_pa
        spread, gap = self.least_spread(work, outside, known, floor)
        return Found(work, outside, spread, (), (), proven=gap <= self.within_pa, gap_pa=gap)

    def least_outside(self, work: int) -> int:
        """Return the least number of injectors outside the band for some work."""
        low, high = self._all
        known = self._fewest.get(work)
        if known is not None:
            return known
        least, most = self._outside_if_endless(work), self.model.places
        for touched, outside in self._fewest.items():
            if touched <= work:
                most = min(most, outside)
            else:
                least = max(least, outside)
        if least < most and self._independent(low, high, work, least) is not None:
            most = least
        while least < most and (answer := self._may_hold(low, high, work, least)) is not None:
            if answer:
                most = least
            else:
                least += 1
        if least < most:
            chosen = self._programme(low, high, work, most, "outside")
            if chosen is None:
                raise ValueError("some place of the set has no way at all")
            most = int(self._outside[chosen].sum())
        self._fewest[work] = most
        return most

    def least_spread(
        self, work: int, outside: int, known: int = NEVER, floor: int = 0
    ) -> tuple[int, int]:
        """Return the least spread, and by how much it might be less, where that is not proven.

        Parameters
        ----------
        work, outside : int
            At most this work, at most so many outside the band
        known : int
            A spread that can be had, [Pa]
        floor : int
            No spread is less, [Pa]
        """
        values, tops = self.values, self.tops(work, outside)
        bound = np.where(
            tops < len(values), values[np.minimum(tops, len(values) - 1)] - values, NEVER
        )
        best, sure, half = known, NEVER, self.within_pa // 2
        over = np.zeros(len(values), dtype=bool)
        for start in np.argsort(bound, kind="stable").tolist():
            least, low = int(bound[start]), int(values[start])
            if least + self.within_pa >= best or best <= floor + self.within_pa:
                sure = min(sure, least)
                break
            if over[start]:
                continue
            if self.programmes >= self.most_programmes and best < NEVER:
                sure = min(sure, least)
                break
            best, at_least = self._narrowed(start, int(tops[start]), best, work, outside)
            if at_least == best == least:
                sure = least  # the windows that follow have no lower bound
                break
            # A window that begins so much higher is narrower by no more than that.
            reach = low + at_least - best + 2 * half
            over[start : int(np.searchsorted(values, reach, side="right"))] = True
            sure = min(sure, best - 2 * half)
        return best, max(0, best - max(sure, floor))

    def _narrowed(
        self, start: int, top: int, best: int, work: int, outside: int
    ) -> tuple[int, int]:
        """Return the best spread known after a look at one low end, and the least that it allows.

        The two are apart by half of what is worth the search at most.
        """
        values, low, half = self.values, int(self.values[start]), self.within_pa // 2
        if not half:
            had = self._spread(low, int(values[top]), work, outside)
            if had is not None:
                return (least := int(values[top]) - low), least
            top += 1
        last = int(np.searchsorted(values, low + best - half, side="left")) - 1
        if last < top:
            return best, best - half
        had = self._spread(low, int(values[last]), work, outside)
        if had is None:
            return best, best - half
        while (last := int(np.searchsorted(values, low + had))) > top and had > (
            half + int(values[top]) - low
        ):
            middle = (top + last) // 2
            closer = self._spread(low, int(values[middle]), work, outside)
            if closer is None:
                top = middle + 1
            else:
                had = min(closer, int(values[middle]) - low)
        return had, min(had, int(values[top]) - low)

    def placed(self, found: Found) -> Found:
        """Return a plan with its ways: of all with that spread the one nearest to the target."""
        values, tops = self.values, self.tops(found.work, found.outside)
        reach = found.spread_pa + EQUAL_PA
        windows: list[tuple[float, int]] = []
        for start in np.flatnonzero(tops < len(values)).tolist():
            low = int(values[start])
            if int(values[tops[start]]) - low > reach:
                continue
            least = 0.0
            if self._plain:
                alone = self._independent(low, low + reach, found.work, found.outside, stock=False)
                if alone is None:
                    continue
                least = self._distance(alone, low, low + reach)
            windows.append((least, start))
        windows.sort()
        chosen: NDArray[np.int64] | None = None
        at, nearest = (0, 0), np.inf
        for bound, start in windows:
            if bound >= nearest:
                break
            low = int(values[start])
            high = low + reach
            one = self._independent(low, high, found.work, found.outside) if self._plain else None
            if one is None and self._may_hold(low, high, found.work, found.outside) is not False:
                one = self._programme(low, high, found.work, found.outside, "distance")
            if one is not None and self._distance(one, low, high) < nearest:
                chosen, at, nearest = one, (low, high), self._distance(one, low, high)
        if chosen is None:
            raise ValueError("a spread was found that no window has")
        pressures = self._at(*at)[chosen]
        return Found(
            work=int(self._work[chosen].sum()),
            outside=int(self._outside[chosen].sum()),
            spread_pa=int(np.ptp(pressures)),
            ways=tuple(chosen.tolist()),
            pressures_pa=tuple(pressures.tolist()),
            proven=found.proven,
            gap_pa=found.gap_pa,
        )

    # --- the drawer taken as endless ------------------------------------------------------------

    def tops(self, work: int, outside: int) -> NDArray[np.int64]:
        """Return, for each low end, the index of the least high end if nothing is short.

        That there is none is said by the number of values.
        """
        known = self._bounds.get((work, outside))
        if known is not None:
            return known
        count = len(self.values)
        first, last = np.arange(count), np.full(count, count)
        while (left := np.flatnonzero(first < last)).size:
            middle = (first[left] + last[left]) // 2
            fits = self._counted(left, self.values[middle], work, outside)
            last[left[fits]] = middle[fits]
            first[left[~fits]] = middle[~fits] + 1
        self._bounds[work, outside] = first
        return first

    def _counted(
        self, starts: NDArray[np.int64], highs: NDArray[np.int64], work: int, outside: int
    ) -> NDArray[np.bool_]:
        """Return for each window whether the places, each by itself, bear work and outside."""
        idle_in, idle_out, work_in, work_out = (one[:, starts] <= highs for one in self._next)
        idle = idle_in | idle_out
        none = ~(idle | work_in | work_out)
        needed = (~idle).sum(axis=0)
        beside = (idle_out & ~idle_in).sum(axis=0) + (~idle & ~work_in).sum(axis=0)
        mendable = (idle_out & ~idle_in & work_in).sum(axis=0)
        to_mend = np.maximum(beside - outside, 0)
        fits = ~none.any(axis=0) & (to_mend <= mendable) & (needed + to_mend <= work)
        return np.asarray(fits, dtype=np.bool_)

    def _outside_if_endless(self, work: int) -> int:
        starts, highs = np.array([0]), np.array([self._all[1]])
        return next(
            outside
            for outside in range(self.model.places + 1)
            if self._counted(starts, highs, work, outside)[0] or outside == self.model.places
        )

    def _next_of(self, kind: int) -> NDArray[np.int64]:
        """Return the least pressure of a kind of way not below each value; (places, values)."""
        model = self.model
        least = np.full((model.places, len(self.values)), NEVER)
        own = self._kind == kind
        for place in range(model.places):
            there = np.sort(self._pressure[own & ~self._free & (self._place == place)])
            there = np.append(there, NEVER)
            least[place] = there[np.searchsorted(there, self.values, side="left")]
        for place in self._place[own & self._free].tolist():
            turned = np.maximum(self.values, model.lower_pa)
            turned[turned > model.upper_pa] = NEVER
            least[place] = np.minimum(least[place], turned)
        return least

    def _independent(
        self, low: int, high: int, work: int, outside: int, *, stock: bool = True
    ) -> NDArray[np.int64] | None:
        """Return what the places choose, each by itself, nearest to the target; None if none.

        With `stock`, also None where the drawer does not bear it.
        """
        there = np.flatnonzero(self._inside(low, high))
        distance = np.abs(self._at(low, high)[there] - self.model.target_pa)
        there = there[np.lexsort((distance, self._work[there]))]
        kinds: list[dict[int, int]] = [{} for _ in range(self.model.places)]
        for way in there.tolist():
            kinds[self._place[way]].setdefault(int(self._kind[way]), way)
        at = self._at(low, high)
        chosen: list[int] = []
        spare_work, beside = work, 0
        mends: list[tuple[float, int, int, bool]] = []
        for place, of in enumerate(kinds):
            idle = of.get(0, of.get(1))
            busy = of.get(2, of.get(3))
            if idle is None:
                if busy is None:
                    return None
                chosen.append(busy)
                spare_work -= int(self._work[busy])
                beside += int(self._outside[busy])
                continue
            chosen.append(idle)
            beside += int(self._outside[idle])
            if 2 in of:
                gain = abs(at[idle] - self.model.target_pa) - abs(at[of[2]] - self.model.target_pa)
                mends.append((float(gain), place, of[2], bool(self._outside[idle])))
        mends.sort(key=lambda one: (-one[0], one[1]))
        needed = [one for one in mends if one[3]][: max(beside - outside, 0)]
        if beside - len(needed) > outside:
            return None
        others = [one for one in mends if one not in needed and one[0] > 0.0]
        for one in needed:
            chosen[one[1]] = one[2]
            spare_work -= int(self._work[one[2]])
        if spare_work < 0:
            return None
        for _, place, way, _ in others:
            if self._work[way] <= spare_work:
                chosen[place] = way
                spare_work -= int(self._work[way])
        picked = np.array(chosen, dtype=np.int64)
        return picked if not stock or self._stocked(picked) else None

    # --- the drawer as it is ----------------------------------------------------------------------

    def _scarce(self) -> tuple[list[Thing], NDArray[np.int64], NDArray[np.int64]]:
        """Return the things that could run short, what each way takes of them, and the stock."""
        model = self.model
        row_of = {thing: row for row, thing in enumerate(model.stock)}
        take = np.zeros((len(row_of), len(model.ways)), dtype=np.int64)
        for index, way in enumerate(model.ways):
            for thing, number in way.takes.items():
                if thing in row_of:
                    take[row_of[thing], index] = number
        most = np.zeros((model.places, len(row_of)), dtype=np.int64)
        np.maximum.at(most, self._place, take.T)
        have = np.array(list(model.stock.values()), dtype=np.int64)
        short = np.flatnonzero(most.sum(axis=0) > have)
        things = list(model.stock)
        return [things[row] for row in short.tolist()], take[short], have[short]

    def _stocked(self, chosen: NDArray[np.int64]) -> bool:
        return bool((self._take[:, chosen].sum(axis=1) <= self._have).all())

    def _spread(self, low: int, high: int, work: int, outside: int) -> int | None:
        """Return a spread that some plan in a window has, or that of the window; None: no plan."""
        chosen = self._independent(low, high, work, outside)
        if chosen is None:
            if not len(self._have) and self._plain:
                return None
            answer = self._may_hold(low, high, work, outside)
            if answer is not None:
                return high - low if answer else None
            chosen = self._programme(low, high, work, outside, "any")
        return None if chosen is None else int(np.ptp(self._at(low, high)[chosen]))

    def _may_hold(self, low: int, high: int, work: int, outside: int) -> bool | None:
        """Return whether some plan lies in a window, as far as assignments can tell."""
        inside = self._inside(low, high)
        answer: bool | None = None
        for units in self._units:
            answer = units.possible(inside, self._work, self._outside, work, outside)
            if answer is False:
                return False
        return answer if self._exact else None

    def _as_assignments(self) -> tuple[list[_Units], bool]:
        """Return the set as an assignment to single things, and whether that is all there is to it.

        Where a way needs things of two sorts at once, a shim and a spring, it is one for each
        sort by itself: what one of them forbids cannot be, what both allow may be.
        """
        whole = _Units.of(self._place, self._take, self._have, self.model.places)
        if whole is not None:
            return [whole], True
        sorts = np.array([thing[0] for thing in self.things], dtype=str)
        each = [
            _Units.of(self._place, self._take[own], self._have[own], self.model.places)
            for own in (sorts == sort for sort in dict.fromkeys(sorts.tolist()))
        ]
        return [units for units in each if units is not None], False

    def _programme(
        self, low: int, high: int, work: int, outside: int, aim: Aim
    ) -> NDArray[np.int64] | None:
        """Return the best plan in a window, by HiGHS; None where there is none."""
        from scipy.optimize import Bounds, LinearConstraint, milp

        self.programmes += 1
        there = np.flatnonzero(self._inside(low, high))
        if outside == 0:
            there = there[~self._outside[there]]
        if len(set(self._place[there].tolist())) < self.model.places:
            return None
        cost = np.zeros(len(there))
        if aim == "distance":
            cost = np.abs(self._at(low, high)[there] - self.model.target_pa) / 1e5
        elif aim == "outside":
            cost = self._outside[there].astype(float)
        rows, least, most = self._constraints(there, work, outside)
        solved = milp(
            cost,
            constraints=LinearConstraint(rows, least, most),
            integrality=np.ones(len(there), dtype=np.int64),
            bounds=Bounds(0.0, 1.0),
            options={"mip_rel_gap": 0.0},
        )
        if solved.status == 2:  # there is no such plan
            return None
        if solved.status != 0:
            raise ArithmeticError(f"HiGHS gave up on the set: {solved.message}")
        picked = there[np.flatnonzero(solved.x > 0.5)]
        return np.asarray(picked[np.argsort(self._place[picked])], dtype=np.int64)

    def _constraints(
        self, there: NDArray[np.int64], work: int, outside: int
    ) -> tuple[csr_array, NDArray[np.float64], NDArray[np.float64]]:
        from scipy.sparse import csr_array

        places = self.model.places
        one_each = np.zeros((places, len(there)))
        one_each[self._place[there], np.arange(len(there))] = 1.0
        rows = [one_each, self._take[:, there], self._work[there][np.newaxis, :]]
        least = [np.ones(places), np.full(len(self._have) + 1, -np.inf)]
        most = [np.ones(places), self._have.astype(float), np.array([float(work)])]
        if 0 < outside < places:
            rows.append(self._outside[there][np.newaxis, :])
            least.append(np.array([-np.inf]))
            most.append(np.array([float(outside)]))
        return csr_array(np.vstack(rows)), np.concatenate(least), np.concatenate(most)

    # --- pressures --------------------------------------------------------------------------------

    @cached_property
    def _all(self) -> tuple[int, int]:
        return int(self.values[0]), int(self.values[-1])

    def _inside(self, low: int, high: int) -> NDArray[np.bool_]:
        at = self._at(low, high)
        inside = (at >= low) & (at <= high)
        if max(low, self.model.lower_pa) > min(high, self.model.upper_pa):
            inside &= ~self._free
        return np.asarray(inside, dtype=np.bool_)

    def _at(self, low: int, high: int) -> NDArray[np.int64]:
        """Return the pressure of each way in a window: what can be turned goes to the target."""
        if not self._free.any():
            return self._pressure
        model = self.model
        turned = min(max(model.target_pa, low, model.lower_pa), high, model.upper_pa)
        return np.where(self._free, turned, self._pressure)

    def _distance(self, chosen: NDArray[np.int64], low: int, high: int) -> float:
        return float(np.abs(self._at(low, high)[chosen] - self.model.target_pa).sum())


@dataclass(frozen=True)
class _Units:
    """Scarce things one by one, each a column that one place may have.

    The first columns are what a place has to itself: ways that need nothing scarce. What is
    fitted now is a column too: who leaves it as it is has it, who changes it gives it free.
    """

    way: NDArray[np.int64]
    place: NDArray[np.int64]
    column: NDArray[np.int64]
    """Each entry: with this way this place may have this column."""
    shape: tuple[int, int]

    @staticmethod
    def of(
        place: NDArray[np.int64], take: NDArray[np.int64], have: NDArray[np.int64], places: int
    ) -> _Units | None:
        """Return the columns; None where a way needs more than one of them at once."""
        if not len(have) or (np.abs(take) > 1).any() or ((take > 0).sum(axis=0) > 1).any():
            return None
        own: dict[int, int] = {}  # by place: the scarce thing that it has now
        for thing, way in zip(*np.nonzero(take < 0), strict=True):
            if own.setdefault(int(place[way]), int(thing)) != thing:
                return None
        columns: list[list[int]] = [[] for _ in have]
        count, mine = places, {}
        for thing, number in enumerate(have.tolist()):
            columns[thing] = list(range(count, count + min(number, places)))
            count += len(columns[thing])
        for one, thing in own.items():
            mine[one] = count
            columns[thing].append(count)
            count += 1
        entries: list[tuple[int, int, int]] = []
        for way, at in enumerate(place.tolist()):
            wants, gives = np.flatnonzero(take[:, way] > 0), bool((take[:, way] < 0).any())
            if at in own and len(wants) and not gives:
                return None  # it would have two at once
            if len(wants):
                found = [one for one in columns[int(wants[0])] if one != mine.get(at)]
            else:
                found = [mine[at] if at in own and not gives else at]
            entries += [(way, at, one) for one in found]
        ways, rows, held = (np.array(one, dtype=np.int64) for one in zip(*entries, strict=True))
        return _Units(ways, rows, held, (places, count))

    def possible(
        self,
        inside: NDArray[np.bool_],
        work_of: NDArray[np.int64],
        outside_of: NDArray[np.bool_],
        work: int,
        outside: int,
    ) -> bool | None:
        """Return whether some plan of the ways inside needs no more than that; None: not known.

        Of all plans' pairs (work, outside) the corners of the lower convex hull are assignments.
        They are followed to the two on either side of what is asked. Below the line through these
        there is none; and of what parts the two plans, each round of changes can be made alone.
        """
        there = inside if outside else inside & ~outside_of
        kept = there[self.way]
        ways = self.way[kept], self.place[kept], self.column[kept]
        scale = int(work_of.max()) * self.shape[0] + self.shape[0] + 1

        def cheapest(of_work: int, of_outside: int) -> _Assigned | None:
            return self._assigned(ways, of_work * work_of + of_outside * outside_of, scale**3)

        def pair(one: _Assigned) -> tuple[int, int]:
            return int(work_of[one.ways].sum()), int(outside_of[one.ways].sum())

        least, inner = cheapest(scale, 1), cheapest(1, scale)
        if least is None or inner is None:
            return False
        while True:
            (done, beside), (most, fewest) = pair(least), pair(inner)
            if done > work or fewest > outside:
                return False
            if beside <= outside or most <= work:
                return True
            of_work, of_outside = beside - fewest, most - done
            corner = cheapest(of_work, of_outside)
            if corner is None:
                return False
            its_work, its_outside = pair(corner)
            on_the_line = of_work * done + of_outside * beside
            reached = of_work * its_work + of_outside * its_outside
            if reached > of_work * work + of_outside * outside:
                return False
            if reached == on_the_line:
                break
            if its_work > work:
                inner = corner
            else:
                least = corner
        pairs = {pair(least)}
        for places in least.rounds(inner):
            before, after = least.ways[places], inner.ways[places]
            by = int(work_of[after].sum() - work_of[before].sum())
            aside = int(outside_of[after].sum()) - int(outside_of[before].sum())
            pairs |= {(one + by, other + aside) for one, other in pairs}
        return True if any(one <= work and other <= outside for one, other in pairs) else None

    def _assigned(
        self,
        ways: tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]],
        cost_of: NDArray[np.int64],
        never: int,
    ) -> _Assigned | None:
        """Return the plan of least cost; None where there is none at all."""
        from scipy.optimize import linear_sum_assignment

        way, place, column = ways
        each = cost_of[way].astype(np.float64)
        dear_first = np.argsort(-each, kind="stable")  # of two ways to a column the last stays
        cost = np.full(self.shape, float(never))
        cost[place[dear_first], column[dear_first]] = each[dear_first]
        rows, columns = linear_sum_assignment(cost)
        if float(cost[rows, columns].max()) >= never:
            return None
        chosen = np.full(self.shape, -1)
        chosen[place[dear_first], column[dear_first]] = way[dear_first]
        return _Assigned(chosen[rows, columns], columns)


@dataclass(frozen=True)
class _Assigned:
    """A plan as an assignment; each of shape (places,)."""

    ways: NDArray[np.int64]
    columns: NDArray[np.int64]

    def rounds(self, other: _Assigned) -> list[list[int]]:
        """Return the places that must change together on the way to another plan."""
        who_has = {column: place for place, column in enumerate(self.columns.tolist())}
        group = list(range(len(self.ways)))

        def head(place: int) -> int:
            while group[place] != place:
                place = group[place]
            return place

        for place, column in enumerate(other.columns.tolist()):
            owner = who_has.get(column)
            if owner is not None:
                group[head(owner)] = head(place)
        found: dict[int, list[int]] = {}
        for place in range(len(group)):
            if self.ways[place] != other.ways[place] or self.columns[place] != other.columns[place]:
                found.setdefault(head(place), []).append(place)
        return list(found.values())
