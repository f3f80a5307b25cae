"""The demo workshop: an invented shop with sets in all states, told day by day."""

from __future__ import annotations

import tempfile
import uuid
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from nozzlewright.advice import MatchCase, matched
from nozzlewright.edge.store import DEMO_MARK
from nozzlewright.edge.wiring.demo_studies import make_studies
from nozzlewright.edge.wiring.files import Tell
from nozzlewright.edge.wiring.pretend import write_demo_set
from nozzlewright.edge.wiring.shop import Shop, now, open_shop
from nozzlewright.errors import RecordFault
from nozzlewright.records import EntryKind, InjectorStory
from nozzlewright.said import say
from nozzlewright.workflow import NewTest
from nozzlewright.workflow.match import case_of_job
from nozzlewright.workflow.match_chosen import choose

FITTER, CHECKER, RECEPTION = "A. N. Other", "S. O. Else", "N. E. Body"
GOOD = {"spray": "good", "chatter": "clear", "seat": "dry", "drop_test": "dry"}
DRIPPING = {
    "spray": "poor",
    "spray_note": "one jet hangs over and drips",
    "chatter": "weak",
    "seat": "drop",
    "drop_test": "drop",
}
EARLIER_DAYS = 27
"""Days before the story on which the rig was first checked with its reference nozzle."""
EARLIER_CHECKS = 13
REFERENCE_BAR, DRIFT_BAR_PER_DAY = 181.0, 0.045
"""Opening pressure of the demo's reference nozzle, and what its spring loses in a day."""
RIG_OF_THE_DEMO = """
[filter]
kind = "invented paper filter"
changed_on = "{since}"

[probe]
id = "invented probe D-T1"
u_c = 0.3
calibrated_on = "{since}"
next_calibration_on = "{next_year}"

[reference]
id = "invented reference nozzle D-N0"
since = "{since}"
opening_bar = 181.0
opening_u_bar = 0.2
opening_tolerance_bar = 4.0
drop_s = 21.0
drop_u_s = 0.3
drop_tolerance_s = 4.0
from_bar = 150.0
to_bar = 100.0
at_c = 40.0

[limits]
blank_fall_bar = 5.0
blank_fall_s = 60.0
blank_fall_from_bar = 150.0
zero_bar = 1.0
temperature_from_c = 10.0
temperature_to_c = 30.0
filter_days = 180.0
remind_days = 40.0
baseline = 6
"""
SHIMS: Mapping[int, int | None] = {
    1000: 2, 1050: 0, 1100: 3, 1150: 4, 1200: 6, 1250: 5, 1300: 8, 1350: 6, 1400: 4, 1425: 2,
    1450: 3, 1500: 5, 1550: 1, 1600: 2, 1650: 0, 1700: 2, 1800: 1,
}  # fmt: skip
"""What lies in the invented shop's drawer on the first day: number by thickness [um]."""
SEEDS = (1, 2, 3)
"""Starts of chance of the three demo sets that the recordings come from."""


class _Teller:
    """Tells the shop's story: an invented clock, ids in order, a short word for each act."""

    def __init__(self, shop: Shop, sets: Mapping[int, Path], clock: list[datetime]) -> None:
        self.shop, self.workshop, self.sets, self.clock = shop, shop.workshop, sets, clock
        self.since = (clock[0] - timedelta(days=EARLIER_DAYS)).date()

    def id(self) -> str:
        return str(uuid.uuid4())

    def later(self, minutes: float) -> None:
        self.clock[0] += timedelta(minutes=minutes)

    def keep(self, name: str, seed: int = 1) -> str:
        path = self.sets[seed] / name
        return self.shop.store.evidence.keep(path.read_bytes(), path.suffix[1:])

    def rig(self, celsius: float, seed: int = 1) -> None:
        blank = self.keep("recordings/blank-plug.csv", seed)
        self.workshop.check_rig(self.id(), FITTER, self.card(celsius, seed), blank=blank)
        self.later(20)

    def card(self, celsius: float, seed: int = 1, hold: str = "") -> bytes:
        """Return the rig's card of a day, with what was read in the check."""
        text = (self.sets[seed] / "bench.toml").read_text("utf-8")
        text = text.replace("temperature_c = 14.0", f"temperature_c = {celsius}", 1)
        text = text.replace(
            'calibrated_on = "2026-01-05"',
            f'calibrated_on = "{self.since - timedelta(days=40)}"\n'
            f'next_calibration_on = "{self.since + timedelta(days=325)}"\n'
            'certificate_number = "invented 0815"\ncertificate_c = 20.0',
        )
        if hold:
            text = text.replace('recording = "recordings/blank-plug.csv"', hold)
        return (text + self.belongings() + self.readings(celsius)).encode()

    def belongings(self) -> str:
        return RIG_OF_THE_DEMO.format(since=self.since, next_year=self.since + timedelta(days=360))

    def readings(self, celsius: float) -> str:
        """Return what the reference nozzle and the zero show on a day, with a slow drift."""
        day = (self.clock[0].date() - self.since).days
        wobble = (0.3, -0.2, 0.1, -0.3, 0.2, 0.0, -0.1)[day % 7]
        opening = REFERENCE_BAR - DRIFT_BAR_PER_DAY * day + 0.5 * wobble
        pops = ", ".join(f"{opening + off:.1f}" for off in (-0.2, 0.0, 0.2))
        # Cold oil is thicker: some 3 in a hundred for each degree.
        seconds = 21.0 * (1.0 + 0.032 * (40.0 - celsius)) * (1.0 + 0.02 * wobble)
        return (
            f"\n[check]\nzero_bar = {0.3 + 0.2 * wobble:.2f}\nopening_bar = [{pops}]\n"
            f"drop = {{ from_bar = 150.0, to_bar = 100.0, seconds = {seconds:.1f} }}\n"
        )

    def earlier_check(self, celsius: float, fall_bar: float) -> None:
        """Check the rig on an earlier day, the hold with the plug by stopwatch."""
        hold = f"drop = {{ from_bar = 150.0, to_bar = {150.0 - fall_bar}, seconds = 60.0 }}"
        self.workshop.check_rig(self.id(), FITTER, self.card(celsius, hold=hold))

    def book(self, title: str, sheet: str, cylinders: int, **more: Any) -> str:
        booked = {
            "title": title,
            "engine": title,
            "customer": "invented customer",
            "workshop": "invented workshop",
            "cylinders": cylinders,
            "condition": "used",
            "sheet": sheet,
            "invented": True,
            **more,
        }
        job = self.workshop.book_in(self.id(), RECEPTION, booked)
        self.later(10)
        return job

    def tag(self, job: str, cylinder: int, serial: str, shim_mm: float) -> None:
        self.workshop.tag(self.id(), RECEPTION, job, cylinder, serial, shim_mm=shim_mm)
        self.later(1)

    def one(self, job: str, cylinder: int) -> InjectorStory:
        one = self.workshop.story(job).at_cylinder(cylinder)
        if one is None:
            raise KeyError(cylinder)
        return one

    def note(
        self,
        job: str,
        cylinder: int,
        kind: EntryKind,
        *,
        who: str = FITTER,
        done: str = "",
        **body: Any,
    ) -> None:
        injector = self.one(job, cylinder).injector
        self.workshop.note(self.id(), who, job, kind, body, injector=injector, done=done)
        self.later(3)

    def reshim(self, job: str, cylinder: int, before_mm: float, after_mm: float) -> None:
        injector = self.one(job, cylinder).injector
        shims = {"shim_from_mm": before_mm, "shim_to_mm": after_mm}
        self.workshop.change_setting(self.id(), FITTER, job, injector, shims, done="set")
        self.later(3)

    def choose_match(self, job: str) -> None:
        """Carry out the most even of the choices that the match of a set gives."""
        story = self.workshop.story(job)
        case = case_of_job(self.workshop, story)
        if isinstance(case, MatchCase):
            choose(self.workshop, self.id(), FITTER, story, matched(case).choices[-1])
        self.later(5)

    def take(self, job: str, cylinder: int) -> None:
        self.note(job, cylinder, EntryKind.TAKEN_IN_HAND)

    def lay_down(self, job: str, cylinder: int, **body: Any) -> None:
        self.note(job, cylinder, EntryKind.LAID_DOWN, **body)

    def test(
        self,
        job: str,
        cylinder: int,
        step: str,
        evidence: str,
        seen: Mapping[str, str],
        *,
        seed: int = 1,
    ) -> None:
        kept = self.keep(evidence, seed)
        new = (
            NewTest(step, card=kept, seen=seen)
            if evidence.endswith(".toml")
            else NewTest(step, recording=kept, seen=seen)
        )
        injector = self.one(job, cylinder).injector
        self.workshop.test(self.id(), FITTER, job, injector, new, done=step)
        self.later(6)

    def see(self, job: str, cylinder: int, *, done: str = "", **seen: Any) -> None:
        injector = self.one(job, cylinder).injector
        self.workshop.see(self.id(), FITTER, job, injector, seen, done=done)
        self.later(2)

    def do(self, job: str, cylinder: int, *steps: str) -> None:
        for step in steps:
            self.note(job, cylinder, EntryKind.STEP_DONE, step=step)

    def strip(self, job: str, cylinder: int) -> None:
        self.do(job, cylinder, "wash")
        one = self.one(job, cylinder)
        self.note(
            job, cylinder, EntryKind.STRIPPED, done="strip", pair=one.pair, shim_mm=one.shim_mm
        )

    def clean_and_assemble(self, job: str, cylinder: int) -> None:
        self.do(job, cylinder, "clean", "inspect")
        self.see(job, cylinder, done="slide", needle_slide=True)
        self.do(job, cylinder, "flush")
        pair = self.one(job, cylinder).pair
        self.note(job, cylinder, EntryKind.ASSEMBLED, done="assemble", pair=pair)
        self.note(job, cylinder, EntryKind.TORQUED, done="torque", torque_nm=60, wrench="W-1")
        self.do(job, cylinder, "bleed")

    def finish_tests(self, job: str, cylinder: int, evidence: str, *, seed: int = 1) -> None:
        self.test(job, cylinder, "re-read", evidence, GOOD, seed=seed)
        self.do(job, cylinder, "seat", "back-leakage", "spray", "chatter")


def make_demo_shop(folder: Path, tell: Tell) -> None:
    """Make the demo workshop in a folder; one that is there already stays as it is.

    Raises
    ------
    RecordFault
        If the folder holds something else, or cannot be written.
    """
    if (folder / DEMO_MARK).is_file():
        return
    if folder.exists() and not (folder.is_dir() and next(folder.iterdir(), None) is None):
        raise RecordFault(
            say(
                "{folder}: this is not an empty folder. Name a new one for the demo workshop",
                folder=str(folder),
            )
        )
    # The last day of the story ends an hour ago, so that its rig counts as checked today.
    clock = [now().replace(second=0, microsecond=0) - timedelta(days=11, hours=6)]
    shop = open_shop(folder, clock=lambda: clock[0], zone=UTC)
    try:
        with tempfile.TemporaryDirectory(prefix="nozzlewright-") as passing:
            sets = {seed: Path(passing) / str(seed) for seed in SEEDS}
            for seed, place in sets.items():
                tell(say("playing set {seed} at the pretend bench", seed=seed))
                write_demo_set(place, seed)
            _tell_story(_Teller(shop, sets, clock), tell)
    finally:
        shop.close()
    (folder / DEMO_MARK).write_text("Invented: nothing here belongs to any engine.\n")


def _tell_story(t: _Teller, tell: Tell) -> None:
    for name in (FITTER, CHECKER, RECEPTION):
        t.workshop.add_person(t.id(), name, name)
    sheet = t.workshop.add_sheet(t.id(), FITTER, (t.sets[1] / "sheet.toml").read_bytes())
    t.workshop.put_drawer(t.id(), FITTER, SHIMS)
    start = t.clock[0]

    tell(say("telling of the earlier checks of the rig"))
    for number in range(EARLIER_CHECKS):
        t.clock[0] = start - timedelta(days=EARLIER_DAYS - 2 * number)
        t.earlier_check(14.0 + (0.0, 1.5, 0.5, 2.0)[number % 4], 1.45 + 0.1 * (number % 3))
    t.clock[0] = start

    tell(say("telling the story of the set that came back running"))
    t.rig(15.5, 2)
    _handed_over(t, sheet)

    t.clock[0] = start + timedelta(days=8)
    tell(say("telling the studies of fitters"))
    make_studies(t.workshop, FITTER, (FITTER, CHECKER, RECEPTION), t.id, t.later)

    t.clock[0] = start + timedelta(days=10)
    tell(say("telling the story of the set that waits to be handed over"))
    t.rig(14.0)
    _ready(t, sheet)

    t.clock[0] = start + timedelta(days=11)
    tell(say("telling the story of the set on the bench"))
    t.rig(14.0, 3)
    _on_the_bench(t, sheet)

    t.clock[0] = start + timedelta(days=11, hours=4, minutes=30)
    tell(say("booking in what came today"))
    t.book(
        "Three injectors of an invented pump engine",
        "",
        3,
        symptoms={"1": "white smoke when cold", "3": "knocks"},
        hours=4150,
        pieces={"injectors": 3, "washers": 2, "leak-off unions": 3},
        note="one washer missing; cap of number 2 bent",
    )
    t.book(
        "Four injectors of an invented crane engine",
        sheet,
        4,
        symptoms={"2": "misses at idle"},
        hours=7800,
        pieces={"injectors": 4, "washers": 4},
    )


def _handed_over(t: _Teller, sheet: str) -> None:
    """Two injectors that only had to be set, handed over and running well."""
    job = t.book(
        "Two injectors of an invented tractor engine",
        sheet,
        2,
        symptoms={"1": "smokes under load", "2": "smokes under load"},
        hours=2900,
        pieces={"injectors": 2, "washers": 2},
    )
    for cylinder, name in ((1, "1-found.csv.gz"), (2, "2-found.parquet")):
        t.tag(job, cylinder, f"D-20{cylinder}", 1.30 if cylinder == 1 else 1.25)
        t.take(job, cylinder)
        t.test(job, cylinder, "as-found", f"recordings/{name}", GOOD, seed=2)
        t.strip(job, cylinder)
        t.clean_and_assemble(job, cylinder)
        if cylinder == 2:
            t.reshim(job, 2, 1.25, 1.40)
        else:
            t.do(job, 1, "set")
        again = "recordings/2-left.parquet" if cylinder == 2 else "recordings/1-found.csv.gz"
        t.finish_tests(job, cylinder, again, seed=2 if cylinder == 2 else 3)
        t.do(job, cylinder, "match")
        t.lay_down(job, cylinder)
    t.note(job, 2, EntryKind.SECOND_PERSON, who=CHECKER, agrees=True, note="")
    t.later(60)
    packed = {"caps": True, "bags": True, "washers": True, "tags": True, "old parts": True}
    t.workshop.note(
        t.id(), RECEPTION, job, EntryKind.HANDED_OVER, {"to": "invented customer", "packed": packed}
    )
    t.later(60 * 24 * 3)
    t.workshop.note(
        t.id(),
        RECEPTION,
        job,
        EntryKind.RUNNING_CHECK,
        {"well": True, "note": "runs clean, no smoke"},
    )
    t.later(5)
    t.workshop.causes.settle(
        t.id(),
        FITTER,
        job,
        t.one(job, 2).injector,
        ["spring_relaxed"],
        "spring 0.4 mm shorter than that of number 1; runs clean since it was set",
    )


def _ready(t: _Teller, sheet: str) -> None:
    """Six injectors, each with another fault; one shelved and replaced by a spare."""
    job = t.book(
        "Six injectors of an invented engine",
        sheet,
        6,
        engine="invented six-in-line generator engine",
        symptoms={"4": "smoke and a knock at idle when cold", "3": "hard to start when hot"},
        hours=5200,
        pieces={"injectors": 6, "washers": 6, "leak-off unions": 6},
    )
    found = {
        1: ("1-found.csv.gz", GOOD),
        2: ("2-found.parquet", GOOD | {"note": "spring looks settled"}),
        3: ("3-found.csv.gz", GOOD),
        4: ("4-found.tsv.gz", DRIPPING),
        5: (
            "5-found.csv.gz",
            {"spray": "poor", "spray_note": "hoarse, ends late", "chatter": "weak", "seat": "dry"},
        ),
        6: ("6-found.csv.gz", GOOD),
    }
    shims = {1: 1.30, 2: 1.25, 3: 1.30, 4: 1.30, 5: 1.35, 6: 1.30}
    for cylinder, (name, seen) in found.items():
        t.tag(job, cylinder, f"D-10{cylinder}", shims[cylinder])
        t.take(job, cylinder)
        t.test(job, cylinder, "as-found", f"recordings/{name}", seen)
        t.strip(job, cylinder)
        if cylinder == 5:
            t.note(
                job, 5, EntryKind.FINDING, part="needle", seen="lacquer at the guide",
                severity="rework",
            )  # fmt: skip
        if cylinder == 3:
            t.note(
                job, 3, EntryKind.FINDING, part="nozzle body", seen="guide worn: back-leakage",
                severity="renew", renew_pair=True,
            )  # fmt: skip
            t.do(job, 3, "clean", "inspect")
            t.see(job, 3, done="slide", needle_slide=True)
            t.do(job, 3, "flush")
            t.note(
                job, 3, EntryKind.ASSEMBLED, done="assemble", pair="N-881", new_pair=True,
                renewed=["needle", "nozzle body"],
            )  # fmt: skip
            t.note(job, 3, EntryKind.TORQUED, done="torque", torque_nm=60, wrench="W-1")
            t.do(job, 3, "bleed")
        else:
            t.clean_and_assemble(job, cylinder)
        if cylinder == 2:
            t.reshim(job, 2, 1.25, 1.40)
        else:
            t.do(job, cylinder, "set")
        left, seed = {
            2: ("recordings/2-left.parquet", 1),
            4: ("cards/4-left.toml", 1),
            6: ("recordings/1-found.csv.gz", 1),
        }.get(cylinder, ("recordings/1-found.csv.gz", 2 if cylinder == 3 else 3))
        t.finish_tests(job, cylinder, left, seed=seed)
        t.do(job, cylinder, "match")
        t.lay_down(job, cylinder)
    t.note(job, 4, EntryKind.SECOND_PERSON, who=CHECKER, agrees=True, note="")


def _on_the_bench(t: _Teller, sheet: str) -> None:
    """Four injectors: one done, one stripped and in hand, one tested, one untouched."""
    job = t.book(
        "Four injectors of an invented boat engine",
        sheet,
        4,
        symptoms={"2": "misses when hot", "3": "smokes at idle"},
        hours=3300,
        pieces={"injectors": 4, "washers": 4},
    )
    for cylinder in (1, 2, 3, 4):
        t.tag(job, cylinder, f"D-30{cylinder}", 1.25 if cylinder == 1 else 1.30)
    t.take(job, 1)
    t.test(job, 1, "as-found", "recordings/2-found.parquet", GOOD, seed=3)
    t.strip(job, 1)
    t.clean_and_assemble(job, 1)
    t.reshim(job, 1, 1.25, 1.40)
    t.finish_tests(job, 1, "recordings/2-left.parquet", seed=3)
    t.lay_down(job, 1)
    t.take(job, 2)
    t.test(job, 2, "as-found", "recordings/3-found.csv.gz", GOOD, seed=3)
    t.workshop.causes.observe(
        t.id(), FITTER, job, t.one(job, 2).injector, "hard_start_hot", "yes", "asked the owner"
    )
    t.later(2)
    t.lay_down(job, 2)
    t.take(job, 3)
    t.test(job, 3, "as-found", "recordings/4-found.tsv.gz", DRIPPING, seed=3)
    t.strip(job, 3)
    t.do(job, 3, "clean")
    t.note(
        job, 3, EntryKind.FINDING, part="nozzle body", seen="seat pitted lightly", severity="rework"
    )
    t.choose_match(job)
