from __future__ import annotations

from pathlib import Path

import pytest

from nozzlewright.capture import HandReadings, TimedDrop, WatchedHold
from nozzlewright.edge.intake import read_hand_card
from nozzlewright.errors import RecordingFault

CARD = """
fitter = "A. N. Other"
date = 2026-03-02
smallest_division_bar = 5
fraction_read = 0.2
reaction_time_s = 0.15
opening_bar = [175, 174, 175.5]
closing_bar = [140, 142]
openings_per_stroke = [4, 5, 4]

[[drop]]
from_bar = 150
to_bar = 100
seconds = 17.4

[[drop]]
from = "150 technical atm"
to = "100 technical atm"
seconds = 17.0

[seat_hold]
start_bar = 155
end_bar = 153
seconds = 10
"""


def read(tmp_path: Path, text: str) -> HandReadings:
    path = tmp_path / "card.toml"
    path.write_text(text)
    return read_hand_card(path)


def test_a_card_arrives_in_si_with_its_own_uncertainty(tmp_path: Path) -> None:
    card = read(tmp_path, CARD)
    assert card.opening_pa == (175e5, 174e5, 175.5e5)
    assert card.closing_pa == (140e5, 142e5)
    assert card.openings_per_stroke == (4, 5, 4)
    assert card.drops[0] == TimedDrop(150e5, 100e5, 17.4)
    assert card.drops[1].from_pa == pytest.approx(150 * 98066.5)
    assert card.seat_hold == WatchedHold(155e5, 153e5, 10)
    # A fifth of a division of 5 bar is 1 bar: half a bar to either side.
    assert card.reading_resolution_pa == pytest.approx(0.5e5)
    assert card.reaction_time_s == 0.15
    assert len(card.digest) == 64


def test_readings_may_stand_in_the_unit_of_the_dial(tmp_path: Path) -> None:
    card = read(tmp_path, "smallest_division_at = 5\nopening_at = [175, 176]\n")
    assert card.opening_pa == pytest.approx((175 * 98066.5, 176 * 98066.5))
    assert card.reading_resolution_pa == pytest.approx(5 * 98066.5 * 0.5 / 2)
    card = read(tmp_path, "smallest_division = '50 psi'\nopening = ['2500 psi', '2550 psi']\n")
    assert card.opening_pa == pytest.approx((2500 * 6894.757293168, 2550 * 6894.757293168))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "no readings are on the card"),
        ("opening_bar = [175]", "smallest division is not stated"),
        ("smallest_division_bar = 5\nopening = [175, 176]", "175 has no unit"),
        ("smallest_division_bar = 5\nopening = ['175 atm']", "may mean two units"),
        ("smallest_division_bar = 5\nopening_bar = [175, -1]", "opening_bar[2]: -1"),
        ("smallest_division_bar = 5\nopening_bar = 175", "a list belongs"),
        ("smallest_division_bar = 5\nopening_bar = [100]\nclosing_bar = [120]", "are not below"),
        ("smallest_division_bar = 5\n[[drop]]\nfrom_bar = 1\nto_bar = 2\nseconds = 3", "not fall"),
        (
            "smallest_division_bar = 5\n[seat_hold]\nstart_bar = 1\nend_bar = 2\nseconds = 3",
            "rises",
        ),
        ("openings_per_stroke = [1.5]", "a whole number"),
        ("fraction_read = 2\nopenings_per_stroke = [1]", "must not be more than 1"),
        ("opennings_per_stroke = [1]", "Did you mean 'openings_per_stroke'?"),
    ],
)
def test_a_slip_on_the_card_is_named(tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(RecordingFault) as caught:
        read(tmp_path, text)
    found = [str(fault) for fault in caught.value.faults]
    assert any(says in fault for fault in found), found
