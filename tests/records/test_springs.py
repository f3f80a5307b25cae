"""Springs on the shelf and springs that were measured, as the entries tell them."""

from __future__ import annotations

from datetime import UTC, datetime
from itertools import count

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nozzlewright.records import FIRST, SHOP, Draft, EntryKind, chained, shelf_from, told

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
KIND = "invented holder"


def entries(*said, story=SHOP):
    """Return entries of a chain: kind, body, injector."""
    made, previous = [], FIRST
    for number, (kind, body, *injector) in enumerate(said, 1):
        draft = Draft(f"id-{number}", story, kind, "A. N. Other", NOON, body, *injector[:1])
        entry, _ = chained(number, draft, previous)
        made.append(entry)
        previous = entry.digest
    return made


def statement(length_um, number, *, load=0.0, kind=KIND):
    body = {"injector": kind, "length_um": length_um, "load_n": load, "off_um": 50.0,
            "count": number}  # fmt: skip
    return EntryKind.SPRINGS, body


def test_the_last_statement_of_a_length_counts_and_nought_takes_it_away():
    said = entries(
        statement(50000, 2), statement(49800, 1), statement(50000, 1), statement(49800, 0)
    )
    shelf = shelf_from(reversed(said))

    assert [(one.length_um, one.count) for one in shelf] == [(50000, 1)]


def test_kinds_and_loads_are_kept_apart():
    said = entries(
        statement(50000, 2), statement(50000, 3, load=460.0), statement(50000, None, kind="other")
    )

    assert [one.count for one in shelf_from(reversed(said), KIND)] == [2, 3]
    assert [one.count for one in shelf_from(reversed(said), "other")] == [None]


@given(st.lists(st.tuples(st.integers(49000, 49005), st.integers(0, 3) | st.none()), max_size=20))
def test_the_shelf_is_that_of_a_plain_dictionary(said):
    shelf = shelf_from(reversed(entries(*(statement(*one) for one in said))))

    assert {one.length_um: one.count for one in shelf} == {
        length: many for length, many in dict(said).items() if many != 0
    }


def change(length_um, by, before):
    kind, body = statement(length_um, before)
    return kind, {**body, "changed": by}


@given(
    st.lists(
        st.tuples(st.integers(49000, 49002), st.booleans(), st.integers(0, 3) | st.none()),
        max_size=20,
    ),
    st.integers(0, 20),
)
def test_what_goes_in_and_comes_out_is_that_of_a_plain_sum(said, seen):
    """However few of the entries are looked at, if the oldest are those that are left out."""
    sums, told_of = {}, []
    for length, states, number in said:
        if states:
            sums[length] = number
            told_of.append(statement(length, number))
        else:
            by = 1 if (number or 0) > 1 else -1
            before = sums.get(length, 0)
            told_of.append(change(length, by, before))
            sums[length] = None if before is None else before + by
    there = entries(*told_of)
    looked_at = there[-seen:] if seen else []
    shelf = {one.length_um: one for one in shelf_from(reversed(looked_at))}

    lengths = {entry.body["length_um"] for entry in looked_at}
    for length in lengths:
        count, one = sums[length], shelf.get(length)
        if count is None:
            assert one.count is None
        elif count == 0:
            assert one is None
        else:
            assert (one.count, one.owed) == (max(0, count), max(0, -count))
    assert set(shelf) <= lengths


# --- the spring that is in an injector ------------------------------------------------------------

NUMBERS = count(1)
BOOKED = (EntryKind.BOOKED_IN, {"title": "t", "engine": "e", "customer": "", "cylinders": 1,
                                "condition": "used", "symptoms": {}})  # fmt: skip
TAG = (EntryKind.TAGGED, {"cylinder": 1, "serial": "s", "pair": "p"}, "inj")


def found(length_mm, **more):
    body = {"part": "spring", "seen": "length measured", "severity": "note",
            "length_mm": length_mm, **more}  # fmt: skip
    return EntryKind.FINDING, body, "inj"


def assembled(*renewed):
    return EntryKind.ASSEMBLED, {"pair": "p", "renewed": list(renewed)}, "inj"


STRIPPED = (EntryKind.STRIPPED, {"pair": "p"}, "inj")


def after(*said):
    one = told("job", entries(BOOKED, TAG, *said, story="job")).injectors["inj"]
    lengths = [each and each.body["length_mm"] for each in (one.spring, one.spring_before)]
    return (*lengths, one.spring_changed_at)


@pytest.mark.parametrize(
    ("said", "fitted", "before", "changed_at"),
    [
        ([], None, None, 0),
        ([found(49.9)], 49.9, None, 0),
        ([found(49.9), found(49.8)], 49.8, None, 0),
        ([found(49.9), STRIPPED, assembled("seals")], 49.9, None, 0),
        ([found(49.9), STRIPPED, assembled("spring")], None, 49.9, 5),
        ([STRIPPED, found(49.4), found(50.1, goes_in=True)], 49.4, None, 0),
        ([STRIPPED, found(49.4), found(50.1, goes_in=True), assembled("spring")], 50.1, 49.4, 6),
        ([STRIPPED, found(50.1, goes_in=True), assembled()], 50.1, None, 5),
    ],
)
def test_which_spring_is_in_an_injector_follows_from_its_entries(said, fitted, before, changed_at):
    assert after(*said) == (fitted, before, changed_at)


def test_a_finding_of_old_says_nothing_of_a_length():
    body = {"part": "spring", "seen": "cracked", "severity": "renew"}

    assert after((EntryKind.FINDING, body, "inj"), found(49.9)) == (49.9, None, 0)
