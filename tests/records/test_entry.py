"""An entry's digest holds all of it in place."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nozzlewright.records import FIRST, Draft, EntryKind, chained, from_payload, payload

DRAFT = Draft("id-1", "2026-0001", EntryKind.SEEN, "A. N. Other", datetime(2026, 3, 2, tzinfo=UTC))
json_values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.text()
    | st.floats(allow_nan=False, allow_infinity=False),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=8,
)


@given(body=st.dictionaries(st.text(), json_values, max_size=4), who=st.text())
def test_an_entry_comes_back_from_its_text(body, who):
    entry, text = chained(7, replace(DRAFT, body=body, who=who), FIRST)
    again = from_payload(text)
    assert again.digest == entry.digest
    assert (again.number, again.previous) == (7, FIRST)
    assert again.draft.body == json.loads(json.dumps(body))
    assert payload(7, again.draft, FIRST) == text


@pytest.mark.parametrize(
    "changed",
    [
        {"who": "somebody else"},
        {"body": {"spray": "good"}},
        {"at": datetime(2026, 3, 2, 1, tzinfo=UTC)},
        {"injector": "another"},
        {"story": "2026-0002"},
        {"evidence": ("ab",)},
        {"corrects": "id-0"},
        {"rig": "another"},
        {"kind": EntryKind.FINDING},
    ],
    ids=lambda changed: next(iter(changed)),
)
def test_whatever_is_altered_alters_the_digest(changed):
    entry, _ = chained(1, DRAFT, FIRST)
    assert chained(1, replace(DRAFT, **changed), FIRST)[0].digest != entry.digest
    assert chained(2, DRAFT, FIRST)[0].digest != entry.digest
    assert chained(1, DRAFT, "f" * 64)[0].digest != entry.digest


def test_the_same_moment_in_another_zone_is_the_same_entry():
    there = DRAFT.at.astimezone(timezone(timedelta(hours=5)))
    assert payload(1, replace(DRAFT, at=there), FIRST) == payload(1, DRAFT, FIRST)


def test_a_time_without_zone_and_a_number_that_is_none_are_refused():
    with pytest.raises(ValueError, match="zone"):
        payload(1, replace(DRAFT, at=datetime(2026, 3, 2)), FIRST)  # noqa: DTZ001
    with pytest.raises(ValueError, match="not JSON compliant"):
        payload(1, replace(DRAFT, body={"bar": float("nan")}), FIRST)


@pytest.mark.parametrize("text", ["", "{}", "[1]", '{"number": 1}', "null"])
def test_what_is_no_entry_is_refused(text):
    with pytest.raises(ValueError, match="no entry"):
        from_payload(text)
