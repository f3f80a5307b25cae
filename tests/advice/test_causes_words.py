"""What a customer wrote, understood: every phrase says back what it was taken from."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nozzlewright.advice.causes import published, read_spray, read_symptoms


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("white smoke when cold", {"white_smoke": "yes"}),
        ("knocks", {"knock": "yes"}),
        ("misses at idle", {"misfire": "yes"}),
        ("hard to start when hot", {"hard_start_hot": "yes"}),
        ("hard to start", {"hard_start": "yes"}),
        ("does not start", {"hard_start": "yes"}),
        ("smokes under load", {"black_smoke": "yes"}),
        ("no smoke", {"black_smoke": "no"}),
        ("blue smoke, uses oil", {"blue_smoke": "yes", "oil_use": "yes"}),
        ("runs rough since the last overhaul", {"rough": "yes", "since_overhaul": "yes"}),
        ("hunts and stalls; all cylinders", {"hunting": "yes", "stalls": "yes", "scope": "all"}),
        ("low power, high consumption", {"low_power": "yes", "fuel_use": "yes"}),
        ("runs on when switched off", {"runs_on": "yes"}),
        ("loses coolant, white smoke", {"coolant_loss": "yes", "white_smoke": "yes"}),
        ("fault followed the injector", {"swap": "injector"}),
        ("compression is low", {"compression_test": "low"}),
        ("springt schlecht an", {"hard_start": "yes"}),
        ("springt warm schlecht an", {"hard_start_hot": "yes"}),
        ("qualmt schwarz", {"black_smoke": "yes"}),
        ("weißer Rauch beim Kaltstart", {"white_smoke": "yes", "hard_start": "yes"}),
        ("Blaurauch, Ölverbrauch", {"blue_smoke": "yes", "oil_use": "yes"}),
        ("nagelt, setzt aus", {"knock": "yes", "misfire": "yes"}),
        ("klopft nicht mehr, kein Klopfen", {"knock": "no"}),
        ("raucht nicht", {"black_smoke": "no"}),
        ("raucht nicht nur schwarz, klopft", {"black_smoke": "yes", "knock": "yes"}),
        ("doesn't smoke", {"black_smoke": "no"}),
        ("doesn’t start when cold", {"hard_start": "yes"}),
        ("not only knocks but misses", {"knock": "yes", "misfire": "yes"}),
        ("zieht nicht, springt nicht an", {"low_power": "yes", "hard_start": "yes"}),
        ("läuft unrund seit der Überholung", {"rough": "yes", "since_overhaul": "yes"}),
        ("keine Leistung, zieht nicht", {"low_power": "yes"}),
        ("Wasser im Diesel", {"dirty_fuel": "yes"}),
        ("washer missing", {}),
        ("", {}),
    ],
)
def test_symptoms_are_understood(text, expected):
    read = read_symptoms(text)
    assert {one.observation: one.state for one in read.understood} == expected


def test_the_words_that_were_understood_are_said_back():
    read = read_symptoms("White SMOKE when cold, belt squeals")
    (one,) = read.understood
    assert one.words == "White SMOKE"
    assert read.left == ("cold", "belt squeals")


def test_everything_understood_is_an_observation_of_the_table():
    model = published()
    from nozzlewright.advice.causes.words import _patterns

    for observation, state, _pattern in _patterns():
        model.by_observation[observation].state(state)


@given(st.text(max_size=200))
def test_any_text_is_read(text):
    read = read_symptoms(text)
    for one in read.understood:
        assert one.words
        published().by_observation[one.observation].state(one.state)


@pytest.mark.parametrize(
    ("note", "state"),
    [
        ("one jet hangs over and drips", "dribble"),
        ("streaky", "streaky"),
        ("one-sided, wet", "one_sided"),
        ("a jet is missing", "jet_missing"),
        ("hoarse, ends late", "streaky"),
        ("einseitig", "one_sided"),
        ("tropft nach", "dribble"),
        ("ugly", ""),
    ],
)
def test_the_form_of_a_spray_is_read_from_its_note(note, state):
    assert read_spray(note) == state
