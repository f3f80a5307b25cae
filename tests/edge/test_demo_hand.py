"""The pretend bench of the demo workshop holds the injector in hand, as far as it got."""

from __future__ import annotations

from datetime import UTC, datetime
from itertools import count

import numpy as np
import pytest

from nozzlewright.edge.intake.live.pretend import PretendInstrument
from nozzlewright.edge.wiring.demo_hand import injector_in_hand
from nozzlewright.edge.wiring.practice import PretendBench
from nozzlewright.records import AS_FOUND, EntryKind
from nozzlewright.simulator import WorkedBench, demo_bench, demo_injector

FITTER = "A. N. Other"
BAR = 1e5


@pytest.fixture
def shop(tmp_path, helper):
    return helper("workflow/in_memory.py").workshop_in_memory(tmp_path)


@pytest.fixture
def note(shop):
    numbers = count(1)
    booked = {"title": "invented set", "engine": "invented engine", "cylinders": 6}
    job = shop.book_in("booking", FITTER, {**booked, "condition": "used"})
    for cylinder in range(1, 7):
        shop.tag(f"tag {cylinder}", FITTER, job, cylinder, f"D-{cylinder}", shim_mm=1.3)

    def write(cylinder, *entries):
        one = shop.story(job).at_cylinder(cylinder)
        acts = (
            (EntryKind.TAKEN_IN_HAND, {}),
            *entries,
            (EntryKind.LAID_DOWN, {}),
        )
        for kind, body in acts:
            shop.note(f"act {next(numbers)}", FITTER, job, kind, body, injector=one.injector)
        story = shop.story(job)
        return injector_in_hand(story, story.at_cylinder(cylinder))

    return write


def apart(pair, **assembled):
    seized = {"sitting": AS_FOUND, "no_result": "needle seized"}
    return (
        (EntryKind.SEEN, seized),
        (EntryKind.STRIPPED, {"pair": pair}),
        (EntryKind.ASSEMBLED, {"pair": pair, **assembled}),
    )


def test_as_found_each_cylinder_has_the_fault_of_its_story(note):
    opening = {cylinder: note(cylinder).opening_pressure_pa / BAR for cylinder in (1, 2, 5)}
    assert opening == {1: pytest.approx(200.6), 2: pytest.approx(186.8), 5: pytest.approx(193.0)}
    assert note(4).seat_leak_conductance > 0.0
    assert note(5).friction_n > 10.0
    worn, sound = note(3), note(1)
    assert worn.diametral_clearance_m > 1.2 * sound.diametral_clearance_m


def test_what_was_done_to_it_shows_at_the_bench(shop, note):
    pairs = {one.cylinder: one.pair for one in shop.story(shop.records.jobs()[0].job).in_order()}
    dripped, stuck = note(4, *apart(pairs[4])), note(5, *apart(pairs[5]))
    assert dripped.seat_leak_conductance == 0.0
    assert stuck.friction_n == pytest.approx(1.0)
    change = {"shim_from_mm": 1.30, "shim_to_mm": 1.45}
    raised = note(2, *apart(pairs[2]), (EntryKind.SETTING_CHANGED, change))
    # Spring rate over the needle's area between guide and seat, 230 N/mm on 22.97 mm2: 100 bar/mm.
    area_mm2 = np.pi / 4.0 * (6.0**2 - 2.6**2)
    assert raised.opening_pressure_pa / BAR == pytest.approx(186.8 + 0.15 * 230.0 / area_mm2 * 10.0)
    renewed = note(3, *apart(f"{pairs[3]}-new", new_pair=True))
    assert renewed.diametral_clearance_m == pytest.approx(note(1).diametral_clearance_m)


def test_the_bench_takes_the_injector_up_once_and_never_while_it_records(tmp_path):
    setup, first, sensor = demo_bench()
    worked = WorkedBench(setup, first, sensor, np.random.default_rng(1))
    bench = PretendBench(
        "pretend", lambda: PretendInstrument(worked), tmp_path, lambda: datetime.now(UTC)
    )
    weak = demo_injector(2)
    bench.hold(weak)
    assert worked.injector == weak
    worked.set_opening_pressure(150 * BAR)
    bench.hold(weak)  # it is there already: what was done to it at the bench stays
    assert worked.injector.opening_pressure_pa == 150 * BAR
    worked.mount_plug()
    bench.hold(first)
    assert worked.injector == first
    assert not worked.mounted
