"""The pages of the bench sums, as plain pages without a script."""

from __future__ import annotations

import re
from html import unescape
from urllib.parse import urlencode

import numpy as np
import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st

from nozzlewright.bench.sums import SUMS, Given, Input, work_out
from nozzlewright.edge.intake.typed import read_sum, read_value
from nozzlewright.edge.web.here import Here
from nozzlewright.edge.web.sum_pictures import picture
from nozzlewright.errors import InputFault
from nozzlewright.measurement import UNITS_OF, Cause, Quantity

EXAMPLES = [
    pytest.param(one, each, id=f"{one.key}: {each.source}")
    for one in SUMS.values()
    for each in one.examples
]


@pytest.fixture(scope="module")
def front_of(helper):
    return helper("edge/web/front_shop.py").front


@pytest.fixture
def front(front_of, tmp_path, web_settings, serve, browser):
    one = front_of(tmp_path, web_settings, serve, browser)
    yield one
    one.shop.close()


def text_of(html):
    html = re.sub(r"<(script|style|svg)\b.*?</\1>", " ", html, flags=re.DOTALL)
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


def result_of(html):
    """Return the main result as it stands on the page: number, ± and unit."""
    value = re.search(r'class="sum-value">([^<]+)<', html)
    unit = re.search(r'class="sum-unit">([^<]+)<', html)
    return unescape(value[1]), unescape(unit[1]) if unit else ""


def test_every_sum_has_a_card_and_a_page_with_all_its_inputs(front):
    cards = front.get("/sums")
    for key, one in SUMS.items():
        assert f'href="/sums/{key}"' in cards
        html = front.get(f"/sums/{key}")
        for each in one.inputs:
            assert f'name="{each.key}"' in html, (key, each.key)
        text = text_of(html)
        assert all(str(words) in text for words in (one.title, one.purpose, *one.validity))
        assert " ".join(str(one.source).split()) in text
        assert ("As an indication, not a promise." in text) is one.indication
        assert bool(one.caution) is ('class="caution"' in html)
    assert 'href="/sums" aria-current="page"' in cards


def shown_on(html):
    """Return value with unit by the name of each result that stands on the page."""
    name = re.search(r'id="result">([^<]+)<', html)
    shown = {unescape(name[1]): " ".join(result_of(html))}
    for term, value in re.findall(r"<dt>([^<]+)</dt><dd><strong>([^<]+)</strong>", html):
        shown[unescape(term)] = unescape(value)
    return shown


@pytest.mark.parametrize(("one", "example"), EXAMPLES)
def test_the_page_gives_what_the_source_prints(one, example, front):
    shown = shown_on(front.get(f"/sums/{one.key}?{urlencode(example.typed)}"))
    for key, printed in example.expected.items():
        output = next(each for each in one.outputs if each.key == key)
        asked = Input(key, key, output.kind, -1e99, 1e99, "")
        theirs, ours = read_value(printed, asked), read_value(shown[output.name], asked)
        reach = theirs.half_digit + 1.96 * theirs.quantity.standard_uncertainty + ours.half_digit

        assert ours.quantity.value == pytest.approx(theirs.quantity.value, abs=reach, rel=0.0)
        assert ours.quantity.value == pytest.approx(theirs.quantity.value, rel=0.06)


def test_examples_are_told_in_the_units_of_the_page(front):
    for key, one in SUMS.items():
        told = text_of(front.get(f"/sums/{key}")).partition("Checked against")[2]
        assert told
        assert not re.search(r"mm[23]\b|in2\b|cm2\b|deg[CF]?\b|\b\du(m|in)\b", told), one.title


def test_the_address_holds_the_sum(front):
    html = front.get("/sums/torque?wanted=60&wanted_unit=Nm&wrench=300&wrench_unit=mm"
                     "&extension=50&extension_unit=mm&wanted_pm=7")  # fmt: skip
    assert result_of(html) == ("51.4", "Nm")
    assert "± 6.0" in text_of(html)
    assert re.search(r'id="wanted" name="wanted" value="60"', html)
    assert re.search(r'name="wanted_pm" value="7"', html)
    assert re.search(r'<option value="Nm" selected>', html)


def test_a_unit_in_the_address_is_chosen_in_the_field(front):
    html = front.get("/sums/torque?wanted=100+lbf+ft&wrench=12+in&extension=6+in")

    assert '<option value="lbf ft" selected>' in html
    assert 'name="wrench" value="12"' in html


def test_what_is_missing_stands_beside_its_field_and_what_was_typed_stays(front):
    answer = front.browser.get("/sums/torque?wanted=60&wanted_unit=Nm&wrench=x")
    html = answer.text

    assert answer.status_code == 422
    assert 'id="fault-wrench-1"' in html
    assert 'name="wanted" value="60"' in html
    assert "Still to do" in html
    assert 'class="sum-value"' not in html


def test_an_empty_page_finds_no_fault_with_anybody(front):
    for key in SUMS:
        html = front.get(f"/sums/{key}")
        assert 'class="faults"' not in html
        assert "aria-invalid" not in html


@pytest.mark.parametrize(
    ("printed", "value", "sure"),
    [("45 Nm", "45", ""), ("59 to 78 Nm", "68.5", "9.5"), ("40 ± 5 Nm", "40", "5"),
     ("33 lbf ft (45 Nm)", "33", ""), ("see page 7", "", ""), ("175 bar", "", "")],
)  # fmt: skip
def test_a_torque_comes_over_from_the_sheet_as_printed(front, printed, value, sure):
    html = front.get(f"/sums/torque?{urlencode({'printed': printed})}")

    assert f'name="wanted" value="{value}"' in html
    assert f'name="wanted_pm" value="{sure}"' in html
    assert 'class="faults"' not in html


def test_causes_that_do_not_matter_are_not_named(front):
    """What the two pressures share drops out: the cylinder's alone is left, by its 5 bar."""
    shown = text_of(front.get("/sums/droplets?old=160+bar&new=180+bar"))
    comes_from = shown.partition("Its ± comes from:")[2].partition(".")[0]

    assert comes_from.split() == ["Pressure", "in", "the", "cylinder", "100", "%"]


def test_pressures_are_offered_in_the_readers_unit(front):
    front.be(Here(who="R", pressure_unit="psi"))
    html = front.get("/sums/opening?guide=6mm&seat=2.6mm&force=401.888N")

    assert result_of(html) == ("2538", "psi")  # 175 bar, NIST SP 811


def test_a_german_reads_and_types_a_decimal_comma(front):
    front.be(Here(who="R", language="de"))
    html = front.get("/sums/torque?wanted=60,5&wanted_unit=Nm&wrench=300mm&extension=50mm")

    assert result_of(html) == ("51,86", "Nm")
    assert 'name="wanted" value="60,5"' in html


def test_a_sum_that_is_not_there_is_said_so(front):
    assert front.browser.get("/sums/horoscope").status_code == 404


@pytest.mark.parametrize(
    "query",
    ["wanted=%00", "wanted=1e400", "wanted=nan&wrench=inf", "wanted=" + "9" * 3000, "wanted_unit=x",
     "printed=%E2%80%AE", "wanted=60&wanted_unit=furlong", "wanted_pm=x&wanted=60Nm", "nothing=1"],
)  # fmt: skip
def test_odd_addresses_are_no_fault_of_the_program(front, query):
    for key in ("torque", "units", "misprint", "bands"):
        assert front.browser.get(f"/sums/{key}?{query}").status_code in (200, 422)


# -- drawings -----------------------------------------------------------------------------------


@st.composite
def anything(draw):
    """Draw a sum with some of its inputs, each anywhere between its bounds."""
    one = draw(st.sampled_from([each for each in SUMS.values() if not each.inputs[0].free]))
    given = {}
    for each in one.inputs:
        if not each.needed and draw(st.booleans()):
            continue
        if each.choices:
            given[each.key] = draw(st.sampled_from(sorted(each.choices)))
            continue
        unit = UNITS_OF[each.kind][0]
        value = each.low + (each.high - each.low) * 10.0 ** draw(st.floats(-6.0, 0.0))
        spread = draw(st.sampled_from([0.0, 0.01, 0.3])) * abs(value)
        quantity = Quantity(value, each.kind.value, {Cause(each.name): spread})
        given[each.key] = Given(quantity, unit, 0.0, "1")
    return one, given


def worked_or_faults(one, given_values):
    try:
        return work_out(one, given_values), ()
    except InputFault as fault:
        return None, fault.faults


@settings(max_examples=300)
@given(anything())
def test_whatever_is_given_there_is_a_result_with_its_drawing_or_a_clear_fault(drawn):
    one, given_values = drawn
    done, faults = worked_or_faults(one, given_values)
    event(f"{one.key}: {'worked out' if done else 'refused'}")
    if done is None:
        assert {each.where for each in faults} <= {each.key for each in one.inputs}
        return
    svg = str(picture(one, done))
    numbers = re.findall(r'(?:d|x|y|cx|cy|r)="([^"]*)"', svg)

    assert done.results
    assert not re.search(r"nan|inf", " ".join(numbers))
    assert "aria-label" in svg


def test_the_bands_bend_by_what_was_counted():
    """The middle of a band lies as many spacings off its ends as were given."""
    for bands in (0.0, 1.0, 3.0):
        given_values, _ = read_sum(
            SUMS["bands"], [("bands", str(bands), "", ""), ("lamp", "helium", "", "")]
        )
        svg = str(picture(SUMS["bands"], work_out(SUMS["bands"], given_values)))
        paths = [
            [tuple(map(float, point.split())) for point in path.split("L")]
            for path in re.findall(r'stroke-width="5" d="M([^"]+)"', svg)
        ]
        # every path is part of a parabola with the same bend over the radius of 84
        for path in (one for one in paths if len(one) > 20):
            xs, ys = np.array(path).T
            slope = np.polyfit((xs - 120.0) ** 2, ys, 1)[0]
            assert slope * 84.0**2 / 22.0 == pytest.approx(bands, abs=0.02)


@pytest.mark.parametrize(("old", "new"), [("175", "200"), ("200", "175"), ("175", "176")])
def test_two_pressures_that_lie_close_are_named_apart(old, new):
    typed = SUMS["start"].examples[1].typed | {"old": f"{old} bar", "new": f"{new} bar"}
    given_values, _ = read_sum(SUMS["start"], [(k, text, "", "") for k, text in typed.items()])
    svg = str(picture(SUMS["start"], work_out(SUMS["start"], given_values)))
    heights = [float(y) for y in re.findall(r'<text[^>]* x="40\.0" y="([\d.]+)"', svg)]

    assert len(heights) == 2
    assert abs(heights[0] - heights[1]) >= 14.0


def test_the_wrench_is_drawn_to_scale():
    given_values, _ = read_sum(
        SUMS["torque"],
        [("wanted", "60 Nm", "", ""), ("wrench", "300 mm", "", ""), ("extension", "100 mm", "", ""),
         ("angle", "90 deg", "", "")],
    )  # fmt: skip
    svg = str(picture(SUMS["torque"], work_out(SUMS["torque"], given_values)))
    arms = re.findall(r'stroke-width="8" d="M([\d.]+) ([\d.]+)L([\d.]+) ([\d.]+)"', svg)
    (x1, y1, x2, y2), (x3, y3, x4, y4) = (tuple(map(float, arm)) for arm in arms)

    assert np.hypot(x4 - x3, y4 - y3) / np.hypot(x2 - x1, y2 - y1) == pytest.approx(1 / 3, rel=0.01)
    assert (x2 - x1) * (x4 - x3) + (y2 - y1) * (y4 - y3) == pytest.approx(0.0, abs=1.0)


# -- from the bench ------------------------------------------------------------------------------


@pytest.fixture
def bench(helper, tmp_path, web_settings, serve, browser):
    shop = helper("workflow/in_memory.py").workshop_in_memory(tmp_path)
    bench_shop = helper("edge/web/bench_shop.py")
    return bench_shop.at_the_bench(shop, web_settings, serve, browser)


def links_of(html):
    return [unescape(link) for link in re.findall(r'href="(/sums/[^"]+)"', html)]


def test_the_torque_step_leads_to_the_wrench_with_the_sheets_torque(bench):
    bench.assembled()
    (link,) = links_of(bench.get(bench.step("torque")))
    html = bench.get(link)

    assert 'name="wanted" value="65"' in html
    assert 'name="wanted_pm" value="5"' in html
    assert "From the sheet: 60 to 70 Nm" in text_of(html)


def test_steps_and_findings_lead_to_the_sums_that_belong_to_them(bench):
    bench.stripped()
    findings = bench.path(more="/findings")
    assert {"/sums/needle-lift", "/sums/washer"} <= set(links_of(bench.get(bench.step("assemble"))))
    assert links_of(bench.get(f"{findings}?part=spring")) == ["/sums/spring", "/sums/squareness"]
    assert "/sums/bands" in links_of(bench.get(f"{findings}?part=nozzle-body"))
    assert "/sums/bands" in links_of(bench.get(f"{findings}?part=distance-piece"))
    assert links_of(bench.get(f"{findings}?part=cap")) == []


def test_setting_and_leak_steps_lead_to_their_sums(bench):
    bench.assembled()
    assert {"/sums/opening", "/sums/spring", "/sums/two-spring"} <= set(
        links_of(bench.get(bench.step("set")))
    )
    fitting = links_of(bench.get(bench.path(more="").rpartition("/injector")[0] + "/fitting"))
    assert fitting == ["/sums/washer", "/sums/torque"]
    assert links_of(bench.get(bench.step("back-leakage"))) == ["/sums/drops"]
    assert links_of(bench.get(bench.step("seat"))) == []


# -- in a browser --------------------------------------------------------------------------------


def _at(chromium, front, width, *, javascript=True):
    context = chromium.new_context(
        viewport={"width": width, "height": 800}, java_script_enabled=javascript,
        reduced_motion="reduce",
    )  # fmt: skip
    here = next(c.value for c in front.browser.client.cookies.jar if c.name == "here")
    context.add_cookies([{"name": "here", "value": here, "url": front.browser.address}])
    return context.new_page()


@pytest.mark.slow
@pytest.mark.parametrize("width", [360, 1280])
def test_by_keyboard_alone_the_result_comes_as_one_types(chromium, front, width):
    page = _at(chromium, front, width)
    told = []
    page.on("console", lambda m: told.append(m.text) if m.type in {"error", "warning"} else None)
    page.on("pageerror", lambda fault: told.append(str(fault)))
    page.goto(f"{front.browser.address}/sums/torque")
    page.locator("#wanted").focus()
    for text in ("60", "300", "50"):
        page.keyboard.type(text)
        page.keyboard.press("Tab")  # the unit
        page.keyboard.press("Tab")
    page.locator(".sum-value", has_text="51.43").wait_for()
    assert "wanted=60" in page.url
    assert "angle" not in page.url
    assert "51.43" in page.locator("#heard").inner_text()
    assert [one for one in told if "422" not in one] == []

    page.reload()
    assert page.locator(".sum-value").inner_text() == "51.43"
    page.locator("#wanted").fill("")
    page.locator("#outcome h2", has_text="Still to do").wait_for()


@pytest.mark.slow
def test_without_a_script_the_button_works_it_out(chromium, front):
    page = _at(chromium, front, 360, javascript=False)
    page.goto(f"{front.browser.address}/sums/misprint")
    page.locator("#first").fill("125 kgf/cm2")
    page.locator("#second").fill("1978 psi")
    page.keyboard.press("Enter")
    page.locator(".sum-value").wait_for()

    assert "1978 should read 1778 psi" in page.locator("#outcome").inner_text()


@pytest.mark.slow
@pytest.mark.parametrize(("scheme", "width"), [("light", 360), ("dark", 1920)])
def test_every_sum_is_accessible_and_fits_phone_and_desktop(
    chromium, axe, sticks_out, front, scheme, width
):
    page = _at(chromium, front, width)
    page.emulate_media(color_scheme=scheme)
    faults = []
    paths = ["/sums", *(f"/sums/{key}?{urlencode(one.examples[0].typed)}"
                        for key, one in SUMS.items())]  # fmt: skip
    for path in paths:
        page.goto(front.browser.address + path)
        for details in page.locator("main details").all():
            details.evaluate("one => { one.open = true; }")
        faults += [(path, one["id"], one["nodes"][0]["html"]) for one in axe(page)["violations"]]
        if over := sticks_out(page):
            faults.append((path, "wider than the screen", over))
        small = page.evaluate(
            """() => [...document.querySelectorAll(
                 "main :is(a[href], button, input:not([type=radio]), select, summary)")]
               .filter((one) => { const box = one.getBoundingClientRect();
                 return box.width > 0 && (box.width < 47.5 || box.height < 47.5); })
               .map((one) => one.outerHTML.slice(0, 120))"""
        )
        faults += [(path, "too small", one) for one in small]
    assert faults == []
