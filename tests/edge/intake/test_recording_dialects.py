"""One session, written in every hand that loggers have, reads back as the same session."""

from __future__ import annotations

import datetime as dt
import gzip
import itertools
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from nozzlewright.capture import Recording
from nozzlewright.edge.intake import read_recording
from nozzlewright.errors import RecordingFault

# NIST SP 811:2008, appendix B.8 (psi from the exact pound, inch and standard gravity)
PA_FOR_ONE = {
    "bar": 1e5,
    "mbar": 100.0,
    "Pa": 1.0,
    "kPa": 1e3,
    "MPa": 1e6,
    "psi": 6894.757293168,
    "kgf/cm2": 98066.5,
    "at": 98066.5,
    "atm": 101325.0,
}
SECONDS_FOR_ONE = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "min": 60.0}
HEADINGS = ["{n}_{u}", "{n} [{u}]", "{n} ({u})", "{n}/{u}", "{n} {u}", "{N} in {u}"]

COUNT = 240
TIME_S = np.arange(COUNT) / 1000.0
PRESSURE_BAR = 150.0 + 25.0 * np.sin(TIME_S * 40.0)


def write(path: Path, text: str, encoding: str = "utf-8") -> Path:
    path.write_bytes(text.encode(encoding))
    return path


def table(
    heading: list[str] | None,
    columns: list[list[str]],
    *,
    separator: str = ",",
    line_end: str = "\n",
    above: list[str] | None = None,
) -> str:
    lines = list(above or [])
    if heading is not None:
        lines.append(separator.join(heading))
    lines += [separator.join(cells) for cells in zip(*columns, strict=True)]
    return line_end.join(lines) + line_end


def times(form: str = ".3f", factor: float = 1.0) -> list[str]:
    return [format(value * factor, form) for value in TIME_S]


def pressures(form: str = ".4f", factor: float = 1.0) -> list[str]:
    return [format(value * factor, form) for value in PRESSURE_BAR]


def assert_same(recording: Recording, *, digits: float = 1e-4, clock: float = 1e-9) -> None:
    assert len(recording) == COUNT
    np.testing.assert_allclose(recording.time_s, TIME_S, rtol=0, atol=clock)
    np.testing.assert_allclose(recording.pressure_pa / 1e5, PRESSURE_BAR, rtol=0, atol=digits)


@pytest.mark.parametrize(
    ("separator", "decimal"),
    [
        (separator, decimal)
        for separator in (",", ";", "\t", "|", " ", "    ", ", ")
        for decimal in ".,"
        if decimal not in separator  # a comma cannot be both; see the faults
    ],
)
@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-be", "cp1252"])
@pytest.mark.parametrize("packed", [False, True])
def test_separator_decimal_mark_line_end_encoding_and_packing(
    tmp_path: Path, separator: str, decimal: str, line_end: str, encoding: str, packed: bool
) -> None:
    rows = [times(), pressures()]
    rows = [[cell.replace(".", decimal) for cell in column] for column in rows]
    text = table(["time_s", "pressure_bar"], rows, separator=separator, line_end=line_end)
    raw = text.encode(encoding)
    path = tmp_path / "session.csv"
    path.write_bytes(gzip.compress(raw) if packed else raw)
    assert_same(read_recording(path))


@pytest.mark.parametrize("heading", HEADINGS)
@pytest.mark.parametrize("unit", PA_FOR_ONE)
@pytest.mark.parametrize("time_unit", SECONDS_FOR_ONE)
def test_units_in_the_heading(tmp_path: Path, heading: str, unit: str, time_unit: str) -> None:
    text = table(
        [
            heading.format(n="time", N="Time", u=time_unit),
            heading.format(n="pressure", N="Pressure", u=unit),
        ],
        [
            times(".9g", 1.0 / SECONDS_FOR_ONE[time_unit]),
            pressures(".12g", 1e5 / PA_FOR_ONE[unit]),
        ],
    )
    recording = read_recording(write(tmp_path / "session.csv", text))
    assert_same(recording, digits=1e-6, clock=1e-6)
    assert any(f"in {time_unit}; pressure" in line for line in recording.history)


@pytest.mark.parametrize(
    ("heading", "unit"),
    [
        ("Druck/bar", "bar"),
        ("p [kPa]", "kPa"),
        ("Pressure (MPa)", "MPa"),
        ("P1_bar", "bar"),
        ("bar", "bar"),
        ("pressure_kgf_cm2", "kgf/cm2"),
        ("Line pressure, kg/cm²", "kgf/cm2"),
        ("pressureKPa", "kPa"),
        ("pression (bars)", "bar"),
        ("Pressure [bar(g)]", "bar"),
        ("давление, МПа", "MPa"),
        ("ch0 [psig]", "psi"),
    ],
)
def test_a_pressure_heading_in_any_usual_writing(tmp_path: Path, heading: str, unit: str) -> None:
    text = table(
        ["Zeit / s", heading],
        [times(), pressures(".12g", 1e5 / PA_FOR_ONE[unit])],
        separator=";",
    )
    assert_same(read_recording(write(tmp_path / "session.csv", text)), digits=1e-6)


def test_a_units_row_under_the_heading(tmp_path: Path) -> None:
    text = table(
        ["time", "pressure"], [["ms", *times(".0f", 1e3)], ["kPa", *pressures(".2f", 1e2)]]
    )
    assert_same(read_recording(write(tmp_path / "session.csv", text)))


def test_comments_preamble_and_further_columns(tmp_path: Path) -> None:
    above = [
        "# bench log",
        "% second kind",
        "// third kind",
        "; fourth kind",
        "Logger: a box",
        "Gauge: G-7",
        "",
    ]
    text = table(
        ["no", "time_s", "oil_temp_c", "pressure_bar", "set_pressure_bar", "remark"],
        [
            [str(i) for i in range(COUNT)],
            times(),
            ["23.5"] * COUNT,
            pressures(),
            ["175.0"] * COUNT,
            ["ok"] * COUNT,
        ],
        above=above,
    )
    recording = read_recording(write(tmp_path / "session.csv", text))
    assert_same(recording)
    assert recording.instrument == "G-7"


def test_a_comment_between_the_readings_is_passed_over(tmp_path: Path) -> None:
    lines = table(["time_s", "pressure_bar"], [times(), pressures()]).splitlines()
    lines[100:100] = ["# lever changed", "", "// go on"]
    recording = read_recording(write(tmp_path / "session.csv", "\n".join(lines) + "\n"))
    assert_same(recording)
    assert any("2 comment lines" in line for line in recording.history)


def test_a_heading_inside_a_comment(tmp_path: Path) -> None:
    text = table(["# time [s]", "pressure [bar]"], [times(), pressures()], separator="\t")
    assert_same(read_recording(write(tmp_path / "session.csv", text)))


def test_no_heading_is_read_as_seconds_and_bar_only_with_a_caution(tmp_path: Path) -> None:
    recording = read_recording(write(tmp_path / "session.csv", table(None, [times(), pressures()])))
    assert_same(recording)
    assert {caution.name for caution in recording.cautions} == {"assumed columns", "assumed unit"}


def test_quotes_round_every_cell(tmp_path: Path) -> None:
    columns = [[f'"{cell}"' for cell in column] for column in (times(), pressures())]
    text = table(['"time_s"', '"pressure_bar"'], columns)
    assert_same(read_recording(write(tmp_path / "session.csv", text)))
    commas = [[cell.replace(".", ",") for cell in column] for column in columns]
    text = table(['"time_s"', '"pressure_bar"'], commas)
    assert_same(read_recording(write(tmp_path / "session.csv", text)))


def test_marks_between_thousands(tmp_path: Path) -> None:
    text = table(["time_s", "pressure_kPa"], [times(), pressures(",.2f", 1e2)], separator=";")
    assert_same(read_recording(write(tmp_path / "session.csv", text)))
    german = text.translate(str.maketrans(".,", ",."))
    assert_same(read_recording(write(tmp_path / "session.csv", german)))


START = dt.datetime(2026, 3, 2, 10, 0, 0, tzinfo=dt.UTC)


@pytest.mark.parametrize(
    "form",
    [
        "%Y-%m-%dT%H:%M:%S.%f",
        "%Y-%m-%d %H:%M:%S.%f",
        "%Y-%m-%dT%H:%M:%S.%fZ",
        "%Y-%m-%dT%H:%M:%S.%f+02:00",
        "%H:%M:%S.%f",
        "%d.%m.%Y %H:%M:%S.%f",
        "%I:%M:%S.%f %p",
    ],
)
def test_time_stamps(tmp_path: Path, form: str) -> None:
    stamps = [(START + dt.timedelta(milliseconds=i)).strftime(form) for i in range(COUNT)]
    text = table(["timestamp", "pressure_bar"], [stamps, pressures()])
    recording = read_recording(write(tmp_path / "session.csv", text))
    assert_same(recording)
    assert any(stamps[0] in line for line in recording.history)


def test_a_clock_that_passes_midnight(tmp_path: Path) -> None:
    start = dt.datetime(2026, 3, 2, 23, 59, 59, 900_000, tzinfo=dt.UTC)
    stamps = [(start + dt.timedelta(milliseconds=i)).strftime("%H:%M:%S.%f") for i in range(COUNT)]
    text = table(["time", "pressure_bar"], [stamps, pressures()])
    assert_same(read_recording(write(tmp_path / "session.csv", text)))


@pytest.mark.parametrize(("per_s", "form"), [(1, ".3f"), (1e3, ".0f"), (1e6, ".0f"), (1e9, ".0f")])
def test_counts_since_1970(tmp_path: Path, per_s: float, form: str) -> None:
    epoch = START.timestamp()
    stamps = [format((epoch + i / 1000.0) * per_s, form) for i in range(COUNT)]
    text = table(["timestamp", "pressure_bar"], [stamps, pressures()])
    assert_same(read_recording(write(tmp_path / "session.csv", text)), clock=1.1e-6)


@pytest.mark.parametrize(
    "said",
    [
        "# sample rate: 1000 Hz",
        "# Sampling frequency = 1 kHz",
        "# sampled at 1000 samples/s",
        "sample_rate_hz: 1000",
        "# Abtastrate: 1000 Hz",
        "# sample interval: 1 ms",
        "# 1 kHz sample rate",
        "fs = 1000 Hz",
    ],
)
def test_a_stated_sample_rate_stands_for_a_time_column(tmp_path: Path, said: str) -> None:
    text = table(["pressure_bar"], [pressures()], above=[said])
    recording = read_recording(write(tmp_path / "session.csv", text))
    assert_same(recording)
    assert any("1000 readings per second" in line for line in recording.history)


@pytest.mark.parametrize("said", ["# mains_freq_hz: 50", "# filter frequency: 100 Hz"])
def test_hertz_that_are_not_of_the_sampling_are_left_alone(tmp_path: Path, said: str) -> None:
    text = table(["pressure_bar"], [pressures()], above=[said])
    with pytest.raises(RecordingFault, match="no sample rate"):
        read_recording(write(tmp_path / "a.csv", text))
    text = table(["time_s", "pressure_bar"], [times(), pressures()], above=[said])
    assert read_recording(write(tmp_path / "b.csv", text)).cautions == ()


def test_times_and_a_stated_rate_that_disagree_are_named(tmp_path: Path) -> None:
    above = ["# sample rate: 500 Hz"]
    text = table(["time_s", "pressure_bar"], [times(), pressures()], above=above)
    recording = read_recording(write(tmp_path / "session.csv", text))
    assert_same(recording)
    assert [caution.name for caution in recording.cautions] == ["sample rate"]


def test_a_separator_line_and_closing_lines_of_other_programs(tmp_path: Path) -> None:
    text = table(["time_s", "pressure_bar"], [times(), pressures()], separator=";", above=["sep=;"])
    text += "\nEnd of log\nThe logger; says; goodbye\n*****\n"
    recording = read_recording(write(tmp_path / "session.csv", text))
    assert_same(recording)
    assert recording.cautions == ()
    assert any("Closing lines" in line and "End of log" in line for line in recording.history)


def test_what_the_person_states_is_used(tmp_path: Path) -> None:
    path = write(tmp_path / "a.csv", table(["time", "pressure"], [times(".0f", 1e3), pressures()]))
    with pytest.raises(RecordingFault, match="in which unit the pressure column"):
        read_recording(path)
    assert_same(read_recording(path, pressure_unit="bar", time_unit="ms"))
    assert_same(read_recording(path, pressure_unit="bar", sample_rate_hz=1000))
    path = write(
        tmp_path / "b.csv",
        table(["time_s", "p1_bar", "p2_bar"], [times(), ["0.0"] * COUNT, pressures()]),
    )
    assert_same(read_recording(path, pressure_column="p2_bar"))
    assert_same(read_recording(path, pressure_column=3))
    assert_same(read_recording(path, pressure_column="3"))
    with pytest.raises(RecordingFault, match="'p1_bar', 'p2_bar'"):
        read_recording(path, pressure_column="p3_bar")


def test_an_absolute_pressure_is_made_a_gauge_pressure_with_a_caution(tmp_path: Path) -> None:
    text = table(
        ["time_s", "pressure [bar abs]"], [times(), [f"{p + 1.01325:.5f}" for p in PRESSURE_BAR]]
    )
    recording = read_recording(write(tmp_path / "session.csv", text))
    assert_same(recording)
    assert "absolute pressure" in {caution.name for caution in recording.cautions}


def test_a_bare_atmosphere_is_taken_as_standard_and_said_so(tmp_path: Path) -> None:
    text = table(["time_s", "pressure_atm"], [times(), pressures(".8f", 1e5 / 101325.0)])
    recording = read_recording(write(tmp_path / "session.csv", text))
    assert_same(recording)
    assert any("standard atmosphere" in str(caution) for caution in recording.cautions)


@pytest.mark.parametrize(
    ("names", "field_unit", "file_unit"),
    [
        (("time_s", "pressure_bar"), None, None),
        (("time", "pressure"), ("s", "bar"), None),
        (("t [s]", "pressure"), None, {"pressure unit": "bar"}),
    ],
)
def test_parquet_with_its_units_in_names_or_metadata(
    tmp_path: Path,
    names: tuple[str, str],
    field_unit: tuple[str, str] | None,
    file_unit: dict[str, str] | None,
) -> None:
    fields = [
        pa.field(name, pa.float64(), metadata={"unit": unit} if unit else None)
        for name, unit in zip(names, field_unit or ("", ""), strict=True)
    ]
    made = pa.table(
        [pa.array(TIME_S), pa.array(PRESSURE_BAR)], schema=pa.schema(fields, metadata=file_unit)
    )
    pq.write_table(made, tmp_path / "session.parquet")
    assert_same(read_recording(tmp_path / "session.parquet"))


def test_parquet_with_time_stamps_whole_numbers_or_a_stated_rate(tmp_path: Path) -> None:
    stamps = pa.array([START + dt.timedelta(milliseconds=i) for i in range(COUNT)])
    path = tmp_path / "session.parquet"
    pq.write_table(pa.table({"when": stamps, "pressure_bar": PRESSURE_BAR}), path)
    assert_same(read_recording(path))
    thousandths = pa.array(np.round(PRESSURE_BAR * 1e3).astype(np.int64), pa.int64())
    pq.write_table(
        pa.table({"time_ms": pa.array(range(COUNT)), "pressure [mbar]": thousandths}), path
    )
    assert_same(read_recording(path), digits=1e-3)
    made = pa.table({"pressure_bar": pa.array(PRESSURE_BAR.astype(np.float32))})
    pq.write_table(made.replace_schema_metadata({"sample_rate_hz": "1000"}), path)
    assert_same(read_recording(path))


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    separator=st.sampled_from([",", ";", "\t", " ", "|"]),
    decimal=st.sampled_from([".", ","]),
    unit=st.sampled_from(sorted(PA_FOR_ONE)),
    time_unit=st.sampled_from(sorted(SECONDS_FOR_ONE)),
    heading=st.sampled_from(HEADINGS[:4]),
    steps=st.lists(st.integers(1, 40), min_size=8, max_size=60),
    levels=st.data(),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
)
def test_whatever_is_written_reads_back_equal(
    tmp_path: Path,
    separator: str,
    decimal: str,
    unit: str,
    time_unit: str,
    heading: str,
    steps: list[int],
    levels: st.DataObject,
    encoding: str,
) -> None:
    if decimal == separator or (separator == " " and " " in heading):
        separator = ";"
    time_s = np.cumsum(steps) / 1000.0
    # Never all nines, which would be an overflow mark.
    level = st.floats(0.0, 400.0).map(lambda value: round(value, 3) + 0.0001234)
    bars = levels.draw(st.lists(level, min_size=len(steps), max_size=len(steps)))
    columns = [
        [f"{t / SECONDS_FOR_ONE[time_unit]:.9f}" for t in time_s],
        [f"{p * 1e5 / PA_FOR_ONE[unit]:.9f}" for p in bars],
    ]
    text = table(
        [heading.format(n="time", N="Time", u=time_unit), heading.format(n="p", N="p", u=unit)],
        [[cell.replace(".", decimal) for cell in column] for column in columns],
        separator=separator,
    )
    recording = read_recording(write(tmp_path / "session.csv", text, encoding))
    np.testing.assert_allclose(recording.time_s, time_s, rtol=1e-9, atol=6e-8)
    np.testing.assert_allclose(recording.pressure_pa, np.array(bars) * 1e5, rtol=1e-9, atol=1e-3)


def test_the_same_session_is_the_same_however_it_is_packed(tmp_path: Path) -> None:
    text = table(["time_s", "pressure_bar"], [times(), pressures()]).encode()
    (tmp_path / "a.csv").write_bytes(text)
    (tmp_path / "b.csv.gz").write_bytes(gzip.compress(text))
    (tmp_path / "c.gz").write_bytes(gzip.compress(text[:500]) + gzip.compress(text[500:]))
    made = [read_recording(tmp_path / name) for name in ("a.csv", "b.csv.gz", "c.gz")]
    for one, other in itertools.pairwise(made):
        np.testing.assert_array_equal(one.pressure_pa, other.pressure_pa)
        assert one.digest != other.digest  # the digest is that of the raw bytes
