"""Propagation by drawing, for models that bend (JCGM 101:2008)."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from nozzlewright.measurement.quantity import Cause, Quantity, propagate
from nozzlewright.said import say


def draws_of(
    inputs: tuple[Quantity, ...], draws: int, rng: np.random.Generator
) -> list[NDArray[np.float64]]:
    """Return normal draws of each input, correlated through the causes they share.

    A cause that rests on few readings is widened by Student's factor. What no other input shares is
    drawn as one: the sum of independent normal errors is a normal error.

    Returns
    -------
    list of ndarray of shape (draws,)
        One array for each input, in its unit
    """
    widened = [quantity.widened for quantity in inputs]
    count = Counter(cause for quantity in widened for cause in quantity.contributions)
    shared = {
        cause: rng.standard_normal(draws)
        for cause in sorted(cause for cause, inputs_with in count.items() if inputs_with > 1)
    }
    drawn = []
    for quantity in widened:
        own = [part for cause, part in quantity.contributions.items() if cause not in shared]
        values = np.full(draws, quantity.value)
        if own:
            values += math.hypot(*own) * rng.standard_normal(draws)
        for cause, part in quantity.contributions.items():
            if cause in shared:
                values += part * shared[cause]
        drawn.append(values)
    return drawn


def propagate_by_draws(
    function: Callable[..., NDArray[np.float64]],
    *inputs: Quantity,
    unit: str,
    method: str,
    draws: int = 20_000,
    rng: np.random.Generator,
) -> Quantity:
    """Return function(values) with the 95 % interval of its drawn distribution.

    Parameters
    ----------
    function : callable
        Model on arrays of shape (draws,), one argument for each input; also called once with
        plain floats for the value and the split by causes
    draws : int
        Number of trials (JCGM 101:2008, 7.2.2 advises 1e4 / (1 - p) for tails; 2e4 gives the
        95 % bounds to about 2 % of their width)
    rng : numpy.random.Generator
        Source of randomness, so that the same call gives the same answer

    Notes
    -----
    The value stays the model at the inputs' best estimates. Contributions are the first-order
    ones scaled to the drawn standard deviation, so that the split by causes is kept and the sum
    is right. The interval is probabilistically symmetric (JCGM 101:2008, 7.7.2).
    """
    first_order = propagate(lambda *v: float(function(*v)), *inputs, unit=unit, method=method)
    outcome = np.asarray(function(*draws_of(inputs, draws, rng)), dtype=np.float64)
    outcome = outcome[np.isfinite(outcome)]
    if outcome.size < 0.99 * draws:
        raise ValueError("the model is not finite over the spread of its inputs")
    spread = float(np.std(outcome))
    low, high = (float(bound) for bound in np.quantile(outcome, [0.025, 0.975]))
    known = first_order.standard_uncertainty
    parts: dict[Cause, float] = dict(first_order.contributions)
    if known > 0.0:
        parts = {cause: part * spread / known for cause, part in parts.items()}
    elif spread > 0.0:  # at an extremum: first order sees nothing to split
        parts = {Cause(say("curvature of the model"), method): spread}
    return Quantity(
        value=first_order.value,
        unit=unit,
        contributions=parts,
        method=method,
        cautions=first_order.cautions,
        interval=(low, high),
    )
