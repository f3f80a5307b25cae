from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nozzlewright.bench import StrokeKind
from nozzlewright.capture import Recording
from nozzlewright.edge.paper import scale_figure, set_figure, trace_figure, write_plot
from nozzlewright.edge.paper.figures import _opening_zoom, spread_apart
from nozzlewright.edge.paper.svg import (
    DARK,
    LIGHT,
    decimated,
    nice_ticks,
    text_width,
    tick_text,
)
from nozzlewright.errors import InputFault

SVG = "{http://www.w3.org/2000/svg}"


def _words(svg: str) -> list[str]:
    root = ElementTree.fromstring(svg)  # noqa: S314 - our own drawing
    return [node.text or "" for node in root.iter(f"{SVG}text")]


def _boxes(svg: str) -> list[tuple[str, float, float, float, float]]:
    """Words with their left, right, top and base line, by the drawing's own reckoning."""
    boxes = []
    for node in ElementTree.fromstring(svg).iter(f"{SVG}text"):  # noqa: S314
        size = float(node.get("font-size", "0"))
        # The family's letters are narrower than the room that is kept for them.
        width = 0.85 * text_width(node.text or "", size)
        x, y = float(node.get("x", "0")), float(node.get("y", "0"))
        anchor = node.get("text-anchor", "start")
        left = {"start": x, "middle": x - width / 2.0, "end": x - width}[anchor]
        boxes.append((node.text or "", left, left + width, y - 0.68 * size, y))
    return boxes


def _assert_nothing_overlaps(svg: str, size: tuple[float, float]) -> None:
    boxes = _boxes(svg)
    for index, (words, left, right, top, base) in enumerate(boxes):
        assert left >= -0.5, words
        assert right <= size[0] + 0.5, words
        assert top >= 0.0, words
        assert base <= size[1], words
        for other, other_left, other_right, other_top, other_base in boxes[index + 1 :]:
            apart = (
                right <= other_left or other_right <= left or base <= other_top
                or other_base <= top
            )  # fmt: skip
            assert apart, (words, other)


@pytest.mark.parametrize(
    "size", [(760.0, 430.0), (505.0, 190.0), (505.0, 100.0), (240.0, 400.0), (340.0, 480.0)]
)
def test_the_trace_bears_its_strokes_openings_hold_and_fit_by_name(invented, size):
    svg = trace_figure(invented.invented_recording(), invented.invented_findings(), size)

    words = _words(svg)
    for name in ("3 fill", "5 slow", "5 fast", "timed hold", "seat hold", "fit to decay",
                 "opening (lift-off)", "closing", "window", "bar", "time, s"):  # fmt: skip
        assert name in words
    assert "9.40\N{NO-BREAK SPACE}±\N{NO-BREAK SPACE}0.13\N{NO-BREAK SPACE}s" in words
    _assert_nothing_overlaps(svg, size)


def test_strokes_close_together_get_names_that_do_not_lie_on_each_other(invented):
    first = invented.invented_strokes()[0]
    kinds = [StrokeKind.FILL, StrokeKind.SLOW, StrokeKind.FAST] * 3
    strokes = tuple(
        replace(first, index=index, start_s=1.0 + index, end_s=1.5 + index, kind=kind)
        for index, kind in enumerate(kinds)
    )
    findings = replace(invented.invented_findings(), strokes=strokes, openings=())

    svg = trace_figure(invented.invented_recording(), findings, (505.0, 190.0))

    assert {"1 fill", "1 slow", "1 fast"} <= set(_words(svg))
    _assert_nothing_overlaps(svg, (505.0, 190.0))


def test_strokes_on_both_sides_of_a_hold_are_not_one_group(invented):
    """Pumping up to the seat hold and to the timed hold are two things."""
    findings = invented.invented_findings()
    first = invented.invented_strokes()[0]
    before = min(findings.seat_hold.start_s, findings.hold.start_s)
    after = max(findings.seat_hold.start_s, findings.hold.start_s)
    strokes = (
        replace(first, index=0, kind=StrokeKind.FILL, start_s=before - 1.0, end_s=before - 0.5),
        replace(first, index=1, kind=StrokeKind.FILL, start_s=after - 1.0, end_s=after - 0.5),
    )
    findings = replace(findings, strokes=strokes, openings=())

    words = _words(trace_figure(invented.invented_recording(), findings, (760.0, 430.0)))

    assert words.count("1 fill") == 2
    assert "2 fill" not in words


@pytest.mark.parametrize("size", [(760.0, 430.0), (505.0, 190.0), (505.0, 100.0), (505.0, 130.0)])
def test_the_time_of_the_fall_is_crossed_by_no_line(invented, size):
    """Not even where the hold ends just below the window, as most do."""
    findings = invented.invented_findings()
    lowest = 0.97 * findings.hold.window_to_pa
    findings = replace(findings, hold=replace(findings.hold, end_pa=lowest))
    svg = trace_figure(invented.invented_recording(), findings, size)
    (box,) = (box for box in _boxes(svg) if box[0].startswith("9.40"))
    _, left, right, top, base = box

    straight = re.findall(r'd="M([\d.]+) ([\d.]+)L([\d.]+) ([\d.]+)"', svg)
    level = [tuple(map(float, ends)) for ends in straight if ends[1] == ends[3]]
    assert len(level) > 5
    for x1, y, x2, _ in level:
        assert not (top < y < base and min(x1, x2) < right and max(x1, x2) > left), y


def test_openings_in_quick_succession_stay_apart_in_the_zoom(invented):
    """As many as a fast stroke makes in a quarter of a second would lie on each other's words."""
    opening = invented.invented_openings(175.0)[0]
    quick = tuple(replace(opening, time_s=10.0 + 0.02 * index, stroke=99) for index in range(12))
    findings = replace(invented.invented_findings(), openings=quick)

    zoom = _opening_zoom(invented.invented_recording(), findings, quick[5], "One opening")

    inside = [one for one in quick if zoom.from_t <= one.time_s <= zoom.to_t]
    assert quick[5] in inside
    assert len(inside) <= 3


def test_a_trace_without_findings_is_still_drawn(invented):
    findings = replace(
        invented.hand_findings(), by_hand=False, source="idle.csv"
    )  # nothing but reasons in it

    svg = trace_figure(invented.invented_recording(), findings)

    assert "timed hold" not in _words(svg)
    assert "gauge pressure" in _words(svg)


@pytest.mark.parametrize(
    ("time_s", "pressure_pa"),
    [
        ([0.0], [1e5]),
        ([0.0, 1.0], [0.0, 0.0]),
        ([0.0, 1.0, 2.0], [-3e5, 2e5, -1e5]),
        ([1e6, 1e6 + 1e-3], [150e5, 151e5]),
    ],
)
def test_odd_recordings_are_drawn_without_a_number_that_is_none(invented, time_s, pressure_pa):
    recording = Recording(np.array(time_s), np.array(pressure_pa), "odd.csv", "00")

    svg = trace_figure(recording, replace(invented.hand_findings(), by_hand=False))

    ElementTree.fromstring(svg)  # noqa: S314
    assert "nan" not in svg.lower().replace("nanum", "")
    assert "inf" not in re.sub(r"<title>.*?</title>", "", svg)


def test_a_long_recording_makes_a_small_figure_that_keeps_every_peak():
    time_s = np.arange(3_000_000) / 5000.0
    pressure_pa = np.full(time_s.size, 50e5)
    pressure_pa[1_234_567] = 180e5

    times, pressures = decimated(time_s, pressure_pa, 500)

    assert times.size <= 2000
    assert pressures.max() == 180e5
    assert times[np.argmax(pressures)] == time_s[1_234_567]


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=400),
    st.integers(1, 40),
)
def test_thinning_keeps_ends_order_and_extremes(pressures, columns):
    p = np.array(pressures)
    t = np.cumsum(np.linspace(0.1, 1.0, p.size))

    thin_t, thin_p = decimated(t, p, columns)

    assert thin_t.size <= max(4 * columns, 1)
    assert (np.diff(thin_t) > 0.0).all()
    assert thin_t[0] == t[0]
    assert thin_t[-1] == t[-1]
    assert thin_p.min() == p.min()
    assert thin_p.max() == p.max()


@given(st.floats(-1e5, 1e5), st.floats(1e-3, 1e5), st.integers(2, 12))
def test_ticks_lie_within_the_axis_at_even_steps_and_read_differently(low, span, wanted):
    high = low + span

    ticks = nice_ticks(low, high, wanted)

    assert all(low - 1e-6 * span <= tick <= high + 1e-6 * span for tick in ticks)
    assert 2 <= len(ticks) <= wanted + 3
    steps = np.diff(ticks)
    assert np.allclose(steps, steps[0], rtol=1e-6)
    assert len({tick_text(tick, ticks) for tick in ticks}) == len(ticks)


@given(st.lists(st.floats(0.0, 100.0), min_size=1, max_size=8))
def test_labels_at_the_margin_keep_their_order_and_distance(wanted):
    places = spread_apart(sorted(wanted), 9.0, 0.0, 100.0)

    assert all(b - a >= 9.0 - 1e-9 for a, b in pairwise(places))


@pytest.mark.parametrize("size", [(505.0, 118.0), (240.0, 170.0), (520.0, 140.0)])
def test_the_set_is_drawn_against_its_band_with_as_found_and_as_left(invented, size):
    svg = set_figure(invented.invented_report().scale, size)

    words = _words(svg)
    for name in ("upper 180", "target 175", "lower 170", "mean 174.5", "as found", "as left",
                 "95 % interval", "allowed", "odd one", *"123456"):  # fmt: skip
        assert name in words
    _assert_nothing_overlaps(svg, size)


def test_a_set_of_twelve_and_a_set_of_nothing_are_drawn(invented):
    scale = invented.invented_report().scale
    twelve = tuple(replace(scale.points[index % 6], cylinder=index + 1) for index in range(12))
    nothing = replace(scale, points=(), lower_limit=None, upper_limit=None, target=None, mean=None)

    svg = set_figure(replace(scale, points=twelve, odd_one_out=None))

    assert "12" in _words(svg)
    _assert_nothing_overlaps(svg, (505.0, 150.0))
    assert "no opening pressure was measured" in _words(set_figure(nothing))


def test_a_value_is_drawn_with_its_limits_and_a_title_that_says_it_all(invented):
    scale = invented.judged_report().injectors[2].tests[0].latest.scale

    svg = scale_figure(scale)

    assert _words(svg) == ["170", "180 bar"]
    assert "too close to tell" in svg
    _assert_nothing_overlaps(svg, (190.0, 30.0))


def test_a_value_far_beyond_a_limit_stays_on_its_scale(invented):
    scale = invented.judged_report().injectors[2].tests[0].latest.scale

    far = replace(scale, value=900.0, low=890.0, high=float("inf"))

    ElementTree.fromstring(scale_figure(far))  # noqa: S314
    _assert_nothing_overlaps(scale_figure(far), (190.0, 30.0))


def test_state_is_told_by_shape_and_word_so_colours_may_go(invented):
    light = trace_figure(invented.invented_recording(), invented.invented_findings(), theme=LIGHT)
    dark = trace_figure(invented.invented_recording(), invented.invented_findings(), theme=DARK)

    def without_style(svg):
        return re.sub(r"<style>.*?</style>", "", svg)

    assert without_style(light) == without_style(dark)
    assert "#" not in without_style(light)


def test_a_plot_is_written_as_svg_and_as_png(invented, tmp_path):
    recording, findings = invented.invented_recording(), invented.invented_findings()

    write_plot(recording, findings, tmp_path / "a.svg")
    write_plot(recording, findings, tmp_path / "a.PNG", size=(400.0, 300.0))

    assert (tmp_path / "a.svg").read_text(encoding="utf-8").startswith("<svg")
    picture = (tmp_path / "a.PNG").read_bytes()
    assert picture.startswith(b"\x89PNG")
    # Width and height stand in the header, 144 pixels an inch (PNG specification, 11.2.2).
    assert int.from_bytes(picture[16:20], "big") == 800
    assert int.from_bytes(picture[20:24], "big") == 600


def test_a_plot_with_another_ending_or_in_no_folder_is_refused_with_a_remedy(invented, tmp_path):
    recording, findings = invented.invented_recording(), invented.invented_findings()

    with pytest.raises(InputFault, match=r"ends in \.svg or \.png"):
        write_plot(recording, findings, tmp_path / "a.gif")
    with pytest.raises(InputFault, match="folder that exists"):
        write_plot(recording, findings, tmp_path / "none" / "a.svg")


def test_a_hostile_file_name_stays_text_in_the_figure(invented):
    findings = replace(invented.invented_findings(), source='</title><script>alert("x")</script>')

    svg = trace_figure(invented.invented_recording(), findings)

    assert "<script" not in svg
    ElementTree.fromstring(svg)  # noqa: S314
