from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from nozzlewright.judging.wording import percent


@given(st.floats(0.0, 1.0))
def test_a_probability_is_never_rounded_to_certainty(probability):
    text = str(percent(probability))

    assert text.endswith(" %")
    told = float(text.removesuffix(" %").removeprefix("over ").removeprefix("under "))
    assert 0.0 < told < 100.0
    # No more than half of the last place is lost, and a bound lies on the right side.
    if text.startswith("over"):
        assert 100.0 * probability > told
    elif text.startswith("under"):
        assert 100.0 * probability < told
    else:
        assert abs(100.0 * probability - told) <= 0.5 + 1e-9
