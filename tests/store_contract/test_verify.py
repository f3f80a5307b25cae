"""Whatever is done to the record behind the program's back is found, and said in plain words."""

from __future__ import annotations

import json

import pytest

from nozzlewright.edge.store import verify
from nozzlewright.edge.store.verify import MOST_BREAKS
from nozzlewright.records import FIRST, chained, digest_of, from_payload

LAST = 12


@pytest.fixture
def filled(store, made):
    """A store with twelve entries of three jobs, two of which rest on evidence."""
    store.records.take_in([made.draft(f"J-{n % 3}", body={"n": n}) for n in range(8)])
    photo = store.evidence.keep(b"a photo", "jpg")
    trace = store.evidence.keep(b"a trace", "parquet")
    store.records.take_in([made.draft("J-1", evidence=(photo, trace)), made.draft("J-2")])
    store.records.take_in([made.draft("J-1", evidence=(photo,)), made.draft("J-2")])
    store.records.end = None  # what the record itself can tell; see `test_end.py`
    return store


def found(store, **known) -> list[str]:
    return [str(one) for one in verify(store.records, store.evidence, lambda _: None, **known)]


def row(store, number):
    return list(store.records.payloads())[number - 1]


def test_an_empty_record_is_sound(store):
    assert found(store) == []


def test_an_untouched_record_is_sound(filled):
    told = []

    assert verify(filled.records, filled.evidence, told.append) == []
    assert told[-1] == "12 entries and 2 files verified"


@pytest.mark.parametrize("number", [1, 5, LAST])
def test_an_altered_text_is_found(filled, made, number):
    _, text, _ = row(filled, number)
    made.tamper(
        filled.records,
        "UPDATE entry SET payload = :text WHERE number = :number",
        text=text.replace("A. N. Other", "Somebody"),
        number=number,
    )
    whole, filed, *more = found(filled)

    assert whole.startswith(f"Entry {number} is not what its digest says")
    assert filed.startswith(f"Entry {number} is filed under another who")
    assert more == []


@pytest.mark.parametrize("number", [1, 5, LAST])
def test_a_text_altered_with_its_digest_is_found_by_what_follows(filled, made, number):
    _, text, _ = row(filled, number)
    text = text.replace('"n":', '"m":')
    made.tamper(
        filled.records,
        "UPDATE entry SET payload = :text, digest = :digest WHERE number = :number",
        text=text,
        digest=digest_of(text),
        number=number,
    )
    (only,) = found(filled)

    if number == LAST:
        assert only.startswith("The record ends with another entry 12 than it says")
    else:
        assert only.startswith(f"Entry {number + 1} does not follow on")


def test_an_altered_digest_is_found_once(filled, made):
    made.tamper(
        filled.records,
        "UPDATE entry SET digest = :digest WHERE number = 4",
        digest="f" * 64,
    )

    (only,) = found(filled)
    assert only.startswith("Entry 4 is not what its digest says")


@pytest.mark.parametrize("column", ["id", "story", "kind", "injector", "who", "at"])
def test_an_entry_filed_under_something_else_is_found(filled, made, column):
    change = f"UPDATE entry SET {column} = 'other' WHERE number = 6"  # noqa: S608
    made.tamper(filled.records, change)

    (only,) = found(filled)
    assert only.startswith(f"Entry 6 is filed under another {column} than it says itself")


@pytest.mark.parametrize(
    ("first", "last", "told"),
    [
        (1, 1, "Entry 1 is missing"),
        (5, 5, "Entry 5 is missing"),
        (1, 3, "Entries 1 to 3 are missing"),
        (4, 9, "Entries 4 to 9 are missing"),
        (12, 12, "Entry 12 is missing"),
        (10, 12, "Entries 10 to 12 are missing"),
        (1, 12, "Entries 1 to 12 are missing"),
    ],
)
def test_removed_entries_are_found_the_last_ones_too(filled, made, first, last, told):
    made.tamper(
        filled.records,
        "DELETE FROM entry WHERE number BETWEEN :first AND :last",
        first=first,
        last=last,
    )

    (only,) = found(filled)
    assert only.startswith(told)


def test_removed_last_entries_are_found_where_the_head_was_set_back_but_its_digest_was_noted(
    filled, made
):
    number, _, digest = row(filled, LAST)
    _, _, before = row(filled, LAST - 1)
    made.tamper(
        filled.records,
        "DELETE FROM entry WHERE number = 12",
        "UPDATE head SET number = 11, digest = :digest",
        digest=before,
    )

    assert found(filled) == []  # nothing within the record itself could tell
    (only,) = found(filled, known={number: digest})
    assert only.startswith("Entry 12 is missing")


def test_a_removed_entry_is_found_though_the_rest_moved_up(filled, made):
    made.tamper(
        filled.records,
        "DELETE FROM entry WHERE number = 5",
        "UPDATE entry SET number = number - 100 WHERE number > 5",
        "UPDATE entry SET number = number + 99 WHERE number < 0",
    )
    told = found(filled)

    assert told[0].startswith("Entry 5 was taken in as number 6")
    assert any(one.startswith("Entry 5 does not follow on") for one in told)
    assert any(one.startswith("Entry 12 is missing") for one in told)


def test_exchanged_entries_are_found(filled, made):
    made.tamper(
        filled.records,
        "UPDATE entry SET number = 100 WHERE number = 3",
        "UPDATE entry SET number = 3 WHERE number = 7",
        "UPDATE entry SET number = 7 WHERE number = 100",
    )
    told = found(filled)

    assert any(one.startswith("Entry 3 was taken in as number 7") for one in told)
    assert any(one.startswith("Entry 7 was taken in as number 3") for one in told)


def _inserted(made, number, draft, previous):
    taken, text = chained(number, draft, previous)
    statement = (
        "INSERT INTO entry VALUES (:number, :id, :story, :kind, :injector, :who, "
        "'2026-03-02T09:30:00.000+00:00', :text, :digest)"
    )
    values = {
        "number": number,
        "id": taken.id,
        "story": draft.story,
        "kind": draft.kind.value,
        "injector": draft.injector,
        "who": draft.who,
        "text": text,
        "digest": taken.digest,
    }
    return statement, values


def test_an_entry_slipped_in_between_is_found(filled, made):
    _, _, before = row(filled, 5)
    statement, values = _inserted(made, 6, made.draft(), before)
    made.tamper(
        filled.records,
        "UPDATE entry SET number = -number WHERE number > 5",
        "UPDATE entry SET number = -number + 1 WHERE number < 0",
        statement,
        **values,
    )
    told = found(filled)

    assert told[0].startswith("Entry 7 was taken in as number 6")
    assert told[1].startswith("Entry 7 does not follow on")
    assert told[-1].startswith("The record goes on after entry 12")


def test_an_entry_added_at_the_end_past_the_program_is_found(filled, made):
    statement, values = _inserted(made, 13, made.draft(), filled.records.head()[1])
    made.tamper(filled.records, statement, **values)

    (only,) = found(filled)
    assert only.startswith("The record goes on after entry 12, its end")


def test_a_lost_head_is_found(filled, made):
    made.tamper(filled.records, "DELETE FROM head")

    (only,) = found(filled)
    assert only.startswith("The record does not say where it ends")


def test_a_record_written_anew_is_found_by_a_digest_noted_elsewhere(filled, made):
    noted = {8: row(filled, 8)[2], 3: row(filled, 3)[2]}
    previous = FIRST
    for number, text, _ in list(filled.records.payloads()):
        draft = from_payload(text).draft
        if number == 5:
            draft = made.draft(id=draft.id, body={"n": 99}, story=draft.story)
        taken, text = chained(number, draft, previous)
        made.tamper(
            filled.records,
            "UPDATE entry SET payload = :text, digest = :digest WHERE number = :number",
            "UPDATE head SET digest = :digest",
            text=text,
            digest=taken.digest,
            number=number,
        )
        previous = taken.digest

    assert found(filled) == []
    (only,) = found(filled, known=noted)
    assert only.startswith("Entry 8 has another digest than was noted elsewhere")


@pytest.mark.parametrize("text", ["", "no JSON", "[]", '{"number": 4}'])
def test_a_text_that_is_no_entry_is_found(filled, made, text):
    made.tamper(
        filled.records,
        "UPDATE entry SET payload = :text, digest = :digest WHERE number = 4",
        text=text,
        digest=digest_of(text),
    )
    told = found(filled)

    assert told[0].startswith("Entry 4 cannot be read")
    assert told[1].startswith("Entry 5 does not follow on")


def test_a_text_that_a_newer_version_wrote_is_no_break_but_said(filled, made):
    _, text, _ = row(filled, LAST)
    data = json.loads(text) | {"kind": "of a later kind"}
    made.tamper(
        filled.records,
        "UPDATE entry SET payload = :text WHERE number = 12",
        text=json.dumps(data),
    )

    assert any("newer version" in one for one in found(filled))


def test_a_missing_file_of_evidence_is_found_once(filled):
    photo = filled.records.entry(filled.records.story("J-1")[-1].id).draft.evidence[0]
    next(filled.evidence.folder.glob(f"{photo[:2]}/{photo[2:]}.*")).unlink()

    (only,) = found(filled)
    assert only.startswith("Entry 9 rests on a file that is missing or was altered")
    assert "is missing" in only


def test_an_altered_file_of_evidence_is_found(filled):
    photo = filled.records.story("J-1")[-1].draft.evidence[0]
    place = next(filled.evidence.folder.glob(f"{photo[:2]}/{photo[2:]}.*"))
    place.write_bytes(b"another photo")

    (only,) = found(filled)
    assert "no longer what it was" in only


def test_evidence_that_no_entry_names_is_no_break(filled):
    filled.evidence.keep(b"kept, but its entry was never taken in", "jpg")

    assert found(filled) == []


def test_of_very_many_breaks_the_first_are_told(store, made):
    store.records.take_in([made.draft() for _ in range(MOST_BREAKS + 5)])
    made.tamper(store.records, "UPDATE entry SET who = 'other'")
    told = found(store)

    assert len(told) == MOST_BREAKS + 1
    assert told[-1].startswith(f"More than {MOST_BREAKS} breaks were found")


def test_a_break_can_be_said_in_another_language(filled, made):
    made.tamper(filled.records, "DELETE FROM entry WHERE number = 12")
    (only,) = verify(filled.records, filled.evidence, lambda _: None)

    assert only.what.template == "Entry {number} is missing"
    assert only.number == 12
