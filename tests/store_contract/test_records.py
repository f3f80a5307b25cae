"""What every store of records keeps to, on SQLite and on PostgreSQL alike."""

from __future__ import annotations

import itertools
import subprocess
import sys
import threading
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from nozzlewright.edge.store import open_records
from nozzlewright.errors import IdTaken, RecordFault, StoryMoved
from nozzlewright.records import FIRST, SHOP, EntryKind
from nozzlewright.said import say

ANOTHER = "'x', story, kind, injector, who, at, payload, digest FROM entry WHERE number = 1"
WRITER = Path(__file__).parent / "writer.py"


# -- taking in -------------------------------------------------------------------------------


def test_an_empty_record_has_no_head(records):
    assert records.head() == (0, FIRST)
    assert records.story("J-1") == []
    assert records.entry("nothing") is None


def test_an_entry_is_given_back_as_it_was_taken_in(records, made):
    draft = made.draft(
        body={"opening_bar": [174.5, 1e-7, -0.0], "seen": "brauner Belag – ‘trüb’", "spare": None},
        injector="I-7",
        rig="rig-entry",
        evidence=("ab" * 32,),
        corrects="earlier",
    )
    (taken,) = records.take_in([draft])

    assert taken.draft == draft
    assert records.entry(draft.id) == taken
    assert records.story("J-1") == [taken]


def test_each_entry_names_the_digest_of_the_one_before(records, made):
    first, second = records.take_in([made.draft(), made.draft()])
    (third,) = records.take_in([made.draft("J-2")])

    assert [one.number for one in (first, second, third)] == [1, 2, 3]
    assert (first.previous, second.previous, third.previous) == (FIRST, first.digest, second.digest)
    assert records.head() == (3, third.digest)
    assert made.chain_faults(records) == []


def test_a_repeated_tap_is_the_same_entry(records, made):
    draft = made.draft()
    first = records.take_in([draft])
    again = records.take_in([replace(draft, at=draft.at + timedelta(seconds=3))])

    assert again == first
    assert records.head()[0] == 1


def test_a_repeated_tap_within_one_go_is_the_same_entry(records, made):
    draft = made.draft()

    assert len({one.number for one in records.take_in([draft, draft])}) == 1
    with pytest.raises(IdTaken):
        records.take_in([other := made.draft(), replace(other, who="somebody else")])
    assert records.head()[0] == 1


@pytest.mark.parametrize(
    "other",
    [{"body": {"n": 2}}, {"who": "B"}, {"story": "J-2"}, {"kind": EntryKind.SEEN}, {"rig": "r"}],
    ids=str,
)
def test_an_id_with_another_content_is_refused(records, made, other):
    draft = made.draft()
    records.take_in([draft])

    with pytest.raises(IdTaken, match="entry 1"):
        records.take_in([made.draft(), replace(draft, **other)])
    assert records.head()[0] == 1


def test_a_story_that_has_moved_on_takes_nothing(records, made):
    records.take_in([made.draft()], expect=0)
    records.take_in([made.draft("J-2")], expect=0)
    records.take_in([made.draft()], expect=1)

    with pytest.raises(StoryMoved, match="J-1"):
        records.take_in([made.draft()], expect=1, rows=[made.job_row()])
    assert records.head()[0] == 3
    assert records.jobs() == []


def test_a_repeated_tap_asks_nothing_of_the_story_and_alters_no_list(records, made):
    draft = made.draft()
    first = records.take_in([draft], expect=0, rows=[made.job_row(title="then")])
    records.take_in([made.draft()], rows=[made.job_row(title="now")])

    assert records.take_in([draft], expect=0, rows=[made.job_row(title="then")]) == first
    assert records.jobs()[0].title == "now"


def test_entries_of_one_go_are_taken_in_together_or_not_at_all(records, made):
    with pytest.raises(RecordFault):
        records.take_in([made.draft(), made.draft(body={"bad": float("nan")})])
    with pytest.raises(RecordFault):  # found by the database, after the entries were written
        records.take_in([made.draft()], rows=[made.injector_row(story=None)])

    assert records.head() == (0, FIRST)
    assert made.chain_faults(records) == []


@pytest.mark.parametrize(
    ("spoilt", "what"),
    [
        ({"id": ""}, "id"),
        ({"id": "x" * 65}, "id"),
        ({"story": ""}, "job"),
        ({"who": "NUL \0 inside"}, "NUL"),
        ({"body": {"note": ["deep \0 inside"]}}, "NUL"),
        ({"body": {"note": "half a \ud800 pair"}}, "surrogates"),
        ({"body": {"bar": float("inf")}}, "Out of range"),
        ({"body": {"tool": object()}}, "serializable"),
        ({"at": datetime(2026, 3, 2)}, "zone"),  # noqa: DTZ001
        ({"evidence": ("../../etc/passwd",)}, "SHA-256"),
    ],
)
def test_what_could_not_be_read_back_is_refused(records, made, spoilt, what):
    with pytest.raises(RecordFault, match=what):
        records.take_in([made.draft(**spoilt)])
    assert records.head()[0] == 0


def test_a_backslash_before_zeros_is_no_nul(records, made):
    draft = made.draft(body={"path": r"C:\u0000", "more": "\\\\u0000"})
    records.take_in([draft])

    assert records.entry(draft.id).draft == draft


def test_the_time_is_kept_in_utc_to_the_millisecond(records, made):
    at = datetime(2026, 3, 2, 10, 0, 0, 123_456, tzinfo=timezone(timedelta(hours=1)))
    (taken,) = records.take_in([made.draft(at=at)])

    assert taken.draft.at == datetime(2026, 3, 2, 9, 0, 0, 123_000, tzinfo=UTC)
    assert taken.draft.at.utcoffset() == timedelta(0)


json_values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=8,
)
bodies = st.dictionaries(st.text(), json_values, max_size=4)
texts = st.text(max_size=20)


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(taps=st.lists(st.tuples(bodies, texts, texts), min_size=1, max_size=3))
@example(taps=[({"\u2028": "\r\n\x1f"}, "\ufeff", "ΐ")])
def test_whatever_is_taken_in_is_given_back(records, made, taps):
    drafts = [
        made.draft("J-any", body=body, who=who, injector=injector) for body, who, injector in taps
    ]
    before = records.head()
    try:
        taken = records.take_in(drafts)
    except RecordFault:
        assert any("\0" in repr(tap) or "\\x00" in repr(tap) for tap in taps)
        assert records.head() == before
        return
    assert [one.draft for one in taken] == drafts
    assert records.story("J-any", after=before[0]) == taken
    for one in taken:
        assert records.entry(one.id) == one
        if one.draft.injector:
            assert one in records.of_injector(one.draft.injector)
    assert records.head() == (taken[-1].number, taken[-1].digest)


# -- reading entries -------------------------------------------------------------------------


def test_entries_are_found_by_story_injector_and_kind(records, made):
    kinds = itertools.cycle([EntryKind.TEST, EntryKind.FINDING, EntryKind.VERDICT])
    stories = itertools.cycle(["J-1", "J-2", SHOP, "J-2"])
    drafts = [
        made.draft(next(stories), next(kinds), injector=f"I-{n % 5}" if n % 5 else "")
        for n in range(60)
    ]
    taken = records.take_in(drafts)

    def where(test):
        return [one for one in taken if test(one.draft)]

    assert records.story("J-2") == where(lambda draft: draft.story == "J-2")
    assert records.story("J-2", after=20) == [
        one for one in records.story("J-2") if one.number > 20
    ]
    assert records.of_injector("I-3") == where(lambda draft: draft.injector == "I-3")
    assert records.of_injector("") == []
    tests = where(lambda draft: draft.kind is EntryKind.TEST)
    assert records.of_kind(EntryKind.TEST) == tests[::-1]
    assert records.of_kind(EntryKind.TEST, last=3) == tests[:-4:-1]
    shop = where(lambda draft: draft.kind is EntryKind.TEST and draft.story == SHOP)
    assert records.of_kind(EntryKind.TEST, story=SHOP) == shop[::-1]
    both = {EntryKind.TEST, EntryKind.FINDING}
    wanted = where(lambda draft: draft.kind in both and draft.story in {"J-1", "J-2"})
    assert records.of_stories(["J-1", "J-2", "J-9", "\ud800"], both) == wanted
    assert records.of_stories([], both) == records.of_stories(["J-1"], set()) == []
    assert [number for number, _, _ in records.payloads(after=57)] == [58, 59, 60]


def test_stories_come_with_the_newest_last(records, made):
    records.take_in([made.draft(story) for story in ("J-1", "J-3", "J-2", "J-1", SHOP)])

    assert records.stories() == ["J-3", "J-2", "J-1", SHOP]


@pytest.mark.parametrize("asked", ["\0", "\ud800", "'; DROP TABLE entry; --", "x" * 10_000, "%"])
def test_what_cannot_be_there_is_not_found(records, made, asked):
    records.take_in([made.draft()], rows=[made.job_row(), made.injector_row()])

    assert records.story(asked) == []
    assert records.entry(asked) is None
    assert records.of_injector(asked) == []
    assert records.of_kind(EntryKind.TEST, story=asked) == []
    assert records.jobs(after=asked) == []
    assert records.jobs(state=asked) == []
    assert records.story("J-1", after=10**30) == []
    assert len(records.story("J-1", after=-(10**30))) == 1
    assert records.jobs(limit=-1) == []
    assert len(records.jobs(limit=10**30)) == 1


# -- lists -----------------------------------------------------------------------------------


def test_rows_are_given_back_as_they_were_written(records, made):
    waits = say("waits for {who}", who="the second person")
    job = made.job_row(waits_for=waits, state="waiting", marks=())
    injector = made.injector_row(cylinder=None)
    records.take_in([made.draft()], rows=[job, injector])

    assert records.jobs() == [job]
    assert records.jobs()[0].waits_for.template == waits.template  # can be said in another tongue
    assert records.injectors("") == [injector]


def test_a_row_written_again_takes_the_place_of_the_one_before(records, made):
    records.take_in([made.draft()])
    records.put_rows([made.job_row(customer="old name"), made.injector_row(serial="OLD 111")])
    records.put_rows(
        [
            made.job_row(customer="older name"),
            made.job_row(customer="new name", minutes=5),
            made.injector_row(serial="NEW 222"),
        ]
    )

    assert [row.customer for row in records.jobs()] == ["new name"]
    assert records.jobs(search="old") == records.jobs(search="older") == []
    assert records.injectors("111") == []
    assert [row.serial for row in records.injectors("222")] == ["NEW 222"]


def test_jobs_come_in_pages_with_the_last_touched_first(records, made):
    touched = ["J-é", "J-e", "J-B", "j-a", "J-A", "J-1", "J-10", "J-B", "J-9", "J-é", "J-1"]
    for n, name in enumerate(touched):
        state = "open" if name in ("J-e", "J-B", "J-1") else "waiting"
        records.take_in([made.draft(name)], rows=[made.job_row(name, n, state=state)])
    # What was touched last comes first, each once.
    newest_first = list(dict.fromkeys(reversed(touched)))
    of_state = {
        None: newest_first,
        "open": ["J-1", "J-B", "J-e"],
        "waiting": ["J-é", "J-9", "J-10", "J-A", "j-a"],
        "wait": [],
    }

    for (state, expected), search in itertools.product(of_state.items(), ("", "invented")):
        shown, after = [], ""
        while page := records.jobs(state=state, search=search, after=after, limit=2):
            shown += [row.job for row in page]
            after = shown[-1]
        assert shown == expected
    assert records.jobs(after="no such job") == []


def test_a_list_made_anew_keeps_its_order(records, made):
    for name in ("J-1", "J-2", "J-3", "J-1"):
        records.take_in([made.draft(name)], rows=[made.job_row(name)])
    records.put_rows([made.job_row(name, customer="anew") for name in ("J-1", "J-3", "J-2")])

    for search in ("", "anew"):
        assert [row.job for row in records.jobs(search=search)] == ["J-1", "J-3", "J-2"]


def test_a_job_without_entries_is_in_no_list(records, made):
    with pytest.raises(RecordFault, match="J-9 has no entries"):
        records.take_in([made.draft("J-1")], rows=[made.job_row("J-9")])
    assert records.head()[0] == 0


@pytest.mark.parametrize(
    ("search", "found"),
    [
        ("", ["0042", "0043", "0107"]),
        ("müll", ["0042"]),
        ("MULLER", ["0042"]),
        ("harvest mull", ["0042"]),
        ("mull harvest", ["0042"]),
        ("004", ["0042", "0043"]),
        ("strasse", ["0043"]),
        ("straße-7", ["0043"]),
        ("4.2", ["0107"]),
        ("1e5", ["0107"]),
        ("mill harvest", []),
        ("uller", []),
        ("''':*|&!()", ["0042", "0043", "0107"]),
        ('harvest" OR "x', []),
        ("насос", ["0107"]),
        ("\0 müll", ["0042"]),
        ("\ud800", ["0042", "0043", "0107"]),
    ],
)
def test_jobs_are_found_by_the_beginnings_of_their_words(records, made, search, found):
    records.take_in([made.draft(job) for job in ("0107", "0043", "0042")])
    records.put_rows(
        [
            made.job_row("0042", 3, title="Harvester", customer="Müller & Sons", engine="six"),
            made.job_row("0043", 2, title="Tug", customer="Straße 7", engine="V8-2x"),
            made.job_row("0107", 1, title="НАСОС", customer="1e5 -3.4 a@b.c", engine="4.2 litre"),
        ]
    )

    assert [row.job for row in records.jobs(search=search)] == found
    assert [row.job for row in records.jobs(search=search, state="open", limit=1)] == found[:1]


@pytest.mark.parametrize("search", ["ab 12-345", "AB12345", "12345", "345", "i-77", "p-9", "ab"])
def test_an_injector_is_found_by_its_serial_its_last_digits_identity_or_pair(records, made, search):
    records.put_rows(
        [
            made.injector_row("I-77", serial="AB 12-345", pair="P-9"),
            made.injector_row("I-78", serial="XY 88-678", pair="P-8"),
        ]
    )

    assert [row.injector for row in records.injectors(search)] == ["I-77"]


def test_injectors_come_with_the_newest_first(records, made):
    records.put_rows([made.injector_row(f"I-{n}", serial=f"S{n % 3}") for n in range(9)])
    records.put_rows([made.injector_row("I-2", serial="S2", story="J-9")])

    assert [row.injector for row in records.injectors("s2")] == ["I-8", "I-5", "I-2"]
    assert [row.injector for row in records.injectors("", limit=2)] == ["I-8", "I-7"]


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(title=st.text(max_size=30), part=st.integers(0, 30))
def test_a_job_is_found_by_its_own_title(records, made, title, part):
    title = title.replace("\0", "").encode("utf-8", "ignore").decode()
    records.take_in([made.draft("J-1")], rows=[made.job_row("J-1", title=title)])

    for search in (title, title[:part], title.upper()):
        assert [row.job for row in records.jobs(search=search)] == ["J-1"]


# -- many at once ----------------------------------------------------------------------------


def test_threads_that_write_at_once_keep_one_chain(records, made):
    faults = []

    def write(name: str) -> None:
        try:
            for n in range(20):
                records.take_in([made.draft(name), made.draft(SHOP)], rows=[made.job_row(name, n)])
        except Exception as fault:  # noqa: BLE001 - told by the test
            faults.append(fault)

    threads = [threading.Thread(target=write, args=(f"J-{n}",)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert faults == []
    assert records.head()[0] == 160
    assert made.chain_faults(records) == []
    assert [len(records.story(f"J-{n}")) for n in range(4)] == [20] * 4


def test_processes_that_write_at_once_keep_one_chain(place, made):
    # They make its tables at once, too.
    writers = [
        subprocess.Popen(
            [sys.executable, WRITER, place, f"J-{n}", "25"],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for n in range(3)
    ]
    ended = [(*writer.communicate(timeout=120), writer.returncode) for writer in writers]
    assert [(fault, code) for _, fault, code in ended] == [("", 0)] * 3
    printed = " ".join(output for output, _, _ in ended).split()

    records = open_records(place)
    assert len(set(printed)) == 75
    assert all(records.entry(one) for one in printed)
    assert made.chain_faults(records) == []
    records.close()


def test_of_two_that_saw_the_same_story_only_one_may_add_to_it(place, records, made):
    others = [open_records(place) for _ in range(3)]
    outcomes = []
    start = threading.Barrier(len(others))

    def add(to) -> None:
        start.wait()
        try:
            outcomes.append(to.take_in([made.draft()], expect=0)[0].number)
        except StoryMoved:
            outcomes.append(None)

    threads = [threading.Thread(target=add, args=(one,)) for one in others]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    for one in others:
        one.close()

    assert sorted(outcomes, key=str) == [1, None, None]
    assert records.head()[0] == 1


def test_what_is_read_at_one_moment_does_not_move(records, made):
    records.take_in([made.draft()])
    with records.at_one_moment() as moment:
        assert moment.head()[0] == 1
        records.take_in([made.draft()])
        assert len(list(moment.entries())) == 1
        assert moment.head()[0] == 1
    assert records.head()[0] == 2


# -- what the database itself refuses ----------------------------------------------------------


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE entry SET who = 'somebody' WHERE number = 1",
        "DELETE FROM entry WHERE number = 2",
        f"INSERT INTO entry SELECT 4, {ANOTHER}",
        f"INSERT INTO entry SELECT 2, {ANOTHER}",
        "UPDATE head SET number = 1",
        "DELETE FROM head",
    ],
)
def test_the_database_itself_refuses_to_alter_what_was_taken_in(records, made, statement):
    records.take_in([made.draft(), made.draft()])

    with (
        pytest.raises(sa.exc.DBAPIError, match=r"never altered|never removed|end only|moves on"),
        records.engine.begin() as connection,
    ):
        connection.exec_driver_sql(statement)
    assert made.chain_faults(records) == []


def test_putting_a_row_in_place_of_another_is_refused_by_sqlite(tmp_path, made):
    records = open_records(tmp_path / "record.sqlite")
    records.take_in([made.draft(), made.draft()])

    with (
        pytest.raises(sa.exc.DBAPIError, match="end only"),
        records.engine.begin() as connection,
    ):
        connection.exec_driver_sql(
            "INSERT OR REPLACE INTO entry "
            "SELECT 2, 'x', story, kind, injector, who, at, payload, digest FROM entry LIMIT 1"
        )
    records.close()


def test_emptying_the_table_is_refused_by_postgresql(postgresql, made):
    records = open_records(postgresql())
    records.take_in([made.draft()])

    for table in ("entry", "head"):
        with (
            pytest.raises(sa.exc.DBAPIError, match=r"never removed|moves on"),
            records.engine.begin() as connection,
        ):
            connection.exec_driver_sql(f"TRUNCATE {table}")
    records.close()
