"""A record that was put back is told by the note of its end, which lies beside the database."""

from __future__ import annotations

import pytest
import sqlalchemy as sa

from nozzlewright.edge.store import open_store, verify
from nozzlewright.edge.store.end import EndNote
from nozzlewright.errors import RecordFault

LAST = 12


@pytest.fixture
def filled(store, made):
    for _ in range(LAST):
        store.records.take_in([made.draft()])
    return store


@pytest.fixture
def again(filled, place):
    """Opens the same store once more, as the program does when it is started."""
    opened = []

    def open_again(**how):
        opened.append(open_store(filled.folder, place if "://" in place else None, **how))
        return opened[-1]

    yield open_again
    for one in opened:
        one.close()


def found(store, known=None):
    return [str(one) for one in verify(store.records, store.evidence, lambda _: None, known)]


def put_back(store, made, to):
    """Put the record back to an earlier end, with all that is in the database made to fit."""
    with store.records.engine.connect() as connection:
        wanted = sa.text("SELECT digest FROM entry WHERE number = :number")
        digest = connection.execute(wanted, {"number": to}).scalar() or "0" * 64
    made.tamper(
        store.records,
        "DELETE FROM entry WHERE number > :number",
        "UPDATE head SET number = :number, digest = :digest",
        number=to,
        digest=digest,
    )


@pytest.mark.parametrize(
    ("to", "told"), [(11, "Entry 12 is missing"), (3, "Entries 4 to 12 are missing"),
                     (0, "Entries 1 to 12 are missing")],
)  # fmt: skip
def test_entries_lost_from_the_end_are_found_without_a_backup(filled, made, again, to, told):
    put_back(filled, made, to)

    (only,) = found(again(shortened=True))
    assert only.startswith(told)


def test_a_record_that_was_put_back_is_not_added_to_until_somebody_says_so(filled, made, again):
    put_back(filled, made, 9)

    with pytest.raises(RecordFault, match=r"ends with entry 9, but entry 12 .*record\.end"):
        again()
    (filled.folder / "record.end").unlink()
    (taken,) = again().records.take_in([made.draft()])
    assert taken.number == 10
    assert found(again()) == []


def test_a_record_with_another_entry_in_place_of_its_last_is_refused(filled, made, again):
    put_back(filled, made, 11)
    filled.records.end = None  # a program that knows nothing of the note
    filled.records.take_in([made.draft()])
    filled.records.take_in([made.draft()])

    with pytest.raises(RecordFault, match="Entry 12 of the record is another than was taken in"):
        again()
    (only,) = found(again(shortened=True))
    assert only.startswith("Entry 12 has another digest than was noted elsewhere")


def test_a_note_that_is_behind_is_no_break(filled, made, again):
    before = (filled.folder / "record.end").read_bytes()
    filled.records.take_in([made.draft()])
    (filled.folder / "record.end").write_bytes(before)

    assert found(again()) == []
    again().records.take_in([made.draft()])
    assert EndNote(filled.folder / "record.end").read()[0] == LAST + 2


@pytest.mark.parametrize("text", [b"", b"12", b"\0" * 86, b"x" * 86, b"\xff", b"0" * 20 + b" \n"])
def test_a_note_that_cannot_be_read_tells_nothing_and_stops_nothing(filled, made, again, text):
    (filled.folder / "record.end").write_bytes(text)

    assert found(again()) == []
    again().records.take_in([made.draft()])
    assert EndNote(filled.folder / "record.end").read() == filled.records.head()


def test_a_repeated_tap_does_not_move_the_note(filled, made):
    draft = made.draft()
    filled.records.take_in([draft])
    filled.records.take_in([made.draft()])
    end = EndNote(filled.folder / "record.end").read()
    filled.records.take_in([draft])

    assert EndNote(filled.folder / "record.end").read() == end == filled.records.head()


def test_a_digest_noted_further_on_still_counts(filled):
    (only,) = found(filled, known={15: "0" * 64})

    assert only.startswith("Entries 13 to 15 are missing")


def test_a_record_that_can_be_added_to_is_not_moved_by_being_asked(filled):
    before = filled.records.head()
    filled.records.demand_writable()

    assert filled.records.head() == before
    assert found(filled) == []
