"""Coverage where a standard uncertainty itself rests on few readings."""

from __future__ import annotations

import math
from collections.abc import Mapping

from nozzlewright.measurement.quantity import Cause, Quantity


def effective_degrees_of_freedom(quantity: Quantity, known: Mapping[Cause, float]) -> float:
    r"""Return the degrees of freedom of a combined standard uncertainty.

    .. math:: \nu_{eff} = \frac{u_c^4}{\sum_i u_i^4/\nu_i}

    Parameters
    ----------
    quantity : Quantity
        Value with its uncertainty split by cause
    known : Mapping[Cause, float]
        Degrees of freedom of the causes that rest on readings, beside those that causes carry
        themselves; the others count as infinite

    Returns
    -------
    float
        Effective degrees of freedom; infinite where no cause in `known` contributes

    Raises
    ------
    ValueError
        If a number of degrees of freedom is not positive.

    Notes
    -----
    Welch and Satterthwaite; JCGM 100:2008, G.4.1. Not for causes correlated with each other.
    """
    own = quantity.degrees_of_freedom
    below = quantity.standard_uncertainty**4 / own if math.isfinite(own) else 0.0
    for cause, part in quantity.contributions.items():
        if cause not in known:
            continue
        freedom = known[cause]
        if not freedom > 0.0:
            raise ValueError(f"{cause} needs more than zero degrees of freedom, not {freedom}")
        below += part**4 / freedom
    return quantity.standard_uncertainty**4 / below if below > 0.0 else math.inf


def coverage_factor(degrees_of_freedom: float = math.inf, probability: float = 0.95) -> float:
    """Return the factor from standard to expanded uncertainty.

    Parameters
    ----------
    degrees_of_freedom : float
        Truncated to a whole number first (JCGM 100:2008, G.4.1 note 1); infinite for a normal law
    probability : float
        Coverage probability, between 0 and 1, both tails together

    Returns
    -------
    float
        Quantile of Student's distribution (JCGM 100:2008, table G.2)

    Raises
    ------
    ValueError
        If there is less than one degree of freedom, or the probability is not between 0 and 1.

    Examples
    --------
    >>> f"{coverage_factor():.2f} {coverage_factor(5):.2f}"
    '1.96 2.57'
    """
    from scipy.special import ndtri, stdtrit  # slow to import, seldom needed

    if not 0.0 < probability < 1.0:
        raise ValueError(f"a probability lies between 0 and 1, not at {probability}")
    if not degrees_of_freedom >= 1.0:
        raise ValueError(f"need at least one degree of freedom, not {degrees_of_freedom}")
    tail = 0.5 * (1.0 + probability)
    if math.isinf(degrees_of_freedom):
        return float(ndtri(tail))
    return float(stdtrit(math.floor(degrees_of_freedom), tail))
