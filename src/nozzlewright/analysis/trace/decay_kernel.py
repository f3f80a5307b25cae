"""The arithmetic of a decay's fit, plain Python on floats and arrays.

:func:`compiled` gives the same functions compiled; nothing in them is specific to the compiler.
What the numbers mean is told in :mod:`nozzlewright.analysis.trace.decay_fit`.

Parameters of a fit, in this order: Theta at the start, rate, growth, air, settling, deviation of
the heat share, logarithm of the cooling time. A fit uses the first four (nothing settles), six
(a given cooling time) or seven of them.
"""

from __future__ import annotations

import functools
import math
import types
from typing import Any

import numpy as np

LEAST_FACTOR = 0.05
"""Floor of the leak factor and of the relative compliance while a fit tries what cannot be, [1]."""
ROUNDS = 3
"""How often the pressure is put back into the heat it drives."""
DERIVATIVE_STEP = 1e-5
"""Step of the forward differences, in scaled parameters."""
NO_HEAT, GIVEN_TIME, FREE_TIME = 4, 6, 7
"""Numbers of parameters."""


def theta_table(
    growth: float,
    air: float,
    pressure: Any,
    log_pressure: Any,
    leak: Any,
    leak_middle: Any,
    solid: Any,
    gas: Any,
    theta: Any,
    pace: Any,
    per_flow: Any,
) -> None:
    """Fill Theta, -dTheta/d ln p and Q(p_m)/(Q(p) p_m) along the table of pressures."""
    middle = leak_middle[0] + growth * (
        leak_middle[1] + growth * (leak_middle[2] + growth * leak_middle[3])
    )
    middle = max(middle, LEAST_FACTOR)
    theta[0] = 0.0
    for i in range(pressure.size):
        factor = leak[0, i] + growth * (leak[1, i] + growth * (leak[2, i] + growth * leak[3, i]))
        per_flow[i] = middle / (pressure[i] * max(factor, LEAST_FACTOR))
        pace[i] = max(solid[i] + air * gas[i], LEAST_FACTOR) * per_flow[i] * pressure[i]
        if i > 0:
            step = log_pressure[i - 1] - log_pressure[i]
            theta[i] = theta[i - 1] + 0.5 * (pace[i] + pace[i - 1]) * step


def place_of(value: float, table: Any, place: int) -> int:
    """Return the cell of an increasing table in which a value lies, searched from a guess."""
    last = table.size - 2
    while place > 0 and value < table[place]:
        place -= 1
    while place < last and value >= table[place + 1]:
        place += 1
    return place


def pressure_of(theta_value: float, place: int, theta: Any, pace: Any, log_pressure: Any) -> float:
    """Return the pressure at a Theta: Hermite's cubic in its cell, straight beyond the table."""
    width = theta[place + 1] - theta[place]
    s = (theta_value - theta[place]) / width
    inside = min(max(s, 0.0), 1.0)
    slope0, slope1 = -width / pace[place], -width / pace[place + 1]
    start = log_pressure[place]
    rise = log_pressure[place + 1] - start
    bend = inside * (1.0 - inside)
    log_p = start + inside * rise
    log_p += bend * ((1.0 - inside) * (slope0 - rise) - inside * (slope1 - rise))
    log_p += min(s, 0.0) * slope0 + max(s - 1.0, 0.0) * slope1
    lowest, highest = log_pressure[log_pressure.size - 1] - 20.0, log_pressure[0] + 5.0
    return math.exp(min(max(log_p, lowest), highest))


def curve(
    x: Any,
    count: int,
    cooling_s: float,
    heat_share: float,
    when: Any,
    grid: Any,
    pressure: Any,
    log_pressure: Any,
    leak: Any,
    leak_middle: Any,
    solid: Any,
    gas: Any,
    out: Any,
) -> None:
    """Fill `out` with the pressure at the increasing times `when` since the start.

    Parameters
    ----------
    x : ndarray
        The parameters, unscaled
    count : int
        How many of them count
    cooling_s : float
        Cooling time where it is not fitted, [s]
    heat_share : float
        1 - B_T/B_S times the oil's share of the compliance, [1]
    when, grid : ndarray
        Times at which the pressure is wanted, and those at which heat is followed, [s]
    pressure, log_pressure, leak, leak_middle, solid, gas : ndarray
        The law along a falling table of pressures
    out : ndarray
        As long as `when`
    """
    size = pressure.size
    theta, pace, per_flow = np.empty(size), np.empty(size), np.empty(size)
    theta_table(
        x[2], x[3], pressure, log_pressure, leak, leak_middle, solid, gas, theta, pace, per_flow
    )
    if count == NO_HEAT:
        place = 0
        for i in range(when.size):
            value = x[0] + x[1] * when[i]
            place = place_of(value, theta, place)
            out[i] = pressure_of(value, place, theta, pace, log_pressure)
        return
    tau = math.exp(x[6]) if count == FREE_TIME else cooling_s
    points = grid.size
    step = grid[1] - grid[0]
    keep = math.exp(-step / tau)
    drive = heat_share * (1.0 + x[5]) * (1.0 - keep) * tau / step
    extra, inverse, shown = np.zeros(points), np.empty(points), np.empty(points)
    for _ in range(ROUNDS):
        place = 0
        for j in range(points):
            value = x[0] + x[1] * grid[j] + extra[j]
            place = place_of(value, theta, place)
            shown[j] = pressure_of(value, place, theta, pace, log_pressure)
            s = (value - theta[place]) / (theta[place + 1] - theta[place])
            s = min(max(s, 0.0), 1.0)
            inverse[j] = per_flow[place] + s * (per_flow[place + 1] - per_flow[place])
        left = x[4]
        extra[0] = 0.0
        for j in range(1, points):
            following = keep * left + drive * (shown[j] - shown[j - 1])
            extra[j] = extra[j - 1] - (following - left) * 0.5 * (inverse[j] + inverse[j - 1])
            left = following
    place = 0
    cell = 0
    for i in range(when.size):
        while cell < points - 2 and when[i] >= grid[cell + 1]:
            cell += 1
        s = (when[i] - grid[cell]) / step
        value = x[0] + x[1] * when[i] + extra[cell] + s * (extra[cell + 1] - extra[cell])
        place = place_of(value, theta, place)
        out[i] = pressure_of(value, place, theta, pace, log_pressure)


def solution(matrix: Any, right: Any) -> Any:
    """Return the solution of a symmetric positive definite system, by Cholesky's method."""
    count = right.size
    for a in range(count):
        for b in range(a + 1):
            total = matrix[a, b]
            for k in range(b):
                total -= matrix[a, k] * matrix[b, k]
            if a == b:
                matrix[a, a] = math.sqrt(max(total, 1e-300))
            else:
                matrix[a, b] = total / matrix[b, b]
    out = right.copy()
    for a in range(count):
        for k in range(a):
            out[a] -= matrix[a, k] * out[k]
        out[a] /= matrix[a, a]
    for a in range(count - 1, -1, -1):
        for k in range(a + 1, count):
            out[a] -= matrix[k, a] * out[k]
        out[a] /= matrix[a, a]
    return out


def weighed(
    z: Any, shown: Any, measured: Any, sigma: Any, prior_mean: Any, prior_sd: Any, out: Any
) -> float:
    """Fill the residuals of the bins, then of the priors; return the sum of their squares."""
    bins = shown.size
    cost = 0.0
    for i in range(bins):
        out[i] = (shown[i] - measured[i]) / sigma[i]
        cost += out[i] * out[i]
    for k in range(z.size):
        out[bins + k] = (z[k] - prior_mean[k]) / prior_sd[k]
        cost += out[bins + k] * out[bins + k]
    return cost


def descend(
    start: Any,
    scale: Any,
    low: Any,
    high: Any,
    prior_mean: Any,
    prior_sd: Any,
    cooling_s: float,
    heat_share: float,
    when: Any,
    measured: Any,
    sigma: Any,
    grid: Any,
    pressure: Any,
    log_pressure: Any,
    leak: Any,
    leak_middle: Any,
    solid: Any,
    gas: Any,
    tolerance: float,
    most_steps: int,
) -> Any:
    """Return the least-squares parameters by Levenberg and Marquardt's method within bounds.

    Parameters
    ----------
    start, scale, low, high : ndarray of shape (P,)
        Where to start, and bounds, in scaled parameters; x = scaled * scale
    prior_mean, prior_sd : ndarray of shape (P,)
        Of the scaled parameters before the decay is seen; an infinite sd: nothing known
    measured, sigma : ndarray of shape (B,)
        Pressure of each bin and its noise, [Pa]
    tolerance : float
        Relative gain of chi-squared below which the descent stops
    most_steps : int
        Steps at most

    Returns
    -------
    scaled : ndarray of shape (P,)
    residual : ndarray of shape (B + P,)
        Of the bins, then of the priors (zero where nothing was known)
    jacobian : ndarray of shape (B + P, P)
        Of the residuals with respect to the scaled parameters
    steps : int
    """
    count, bins = start.size, when.size
    rows = bins + count
    z = np.minimum(np.maximum(start, low), high)
    residual, trial = np.empty(rows), np.empty(rows)
    jacobian = np.zeros((rows, count))
    shown = np.empty(bins)
    damping, growth = 1e-3, 2.0
    steps = 0
    fresh = True
    gradient = np.zeros(count)
    normal = np.zeros((count, count))
    curve(z * scale, count, cooling_s, heat_share, when, grid, pressure,
          log_pressure, leak, leak_middle, solid, gas, shown)  # fmt: skip
    cost = weighed(z, shown, measured, sigma, prior_mean, prior_sd, residual)
    while steps < most_steps:
        if fresh:
            for k in range(count):
                moved = z.copy()
                forward = DERIVATIVE_STEP if z[k] + DERIVATIVE_STEP <= high[k] else -DERIVATIVE_STEP
                moved[k] += forward
                curve(moved * scale, count, cooling_s, heat_share, when, grid, pressure,
                      log_pressure, leak, leak_middle, solid, gas, shown)  # fmt: skip
                for i in range(bins):
                    new = (shown[i] - measured[i]) / sigma[i]
                    jacobian[i, k] = (new - residual[i]) / forward
                jacobian[bins + k, k] = 1.0 / prior_sd[k]
            for a in range(count):
                total = 0.0
                for i in range(rows):
                    total += jacobian[i, a] * residual[i]
                gradient[a] = total
                for b in range(a + 1):
                    total = 0.0
                    for i in range(rows):
                        total += jacobian[i, a] * jacobian[i, b]
                    normal[a, b] = total
                    normal[b, a] = total
            fresh = False
        steps += 1
        matrix = normal.copy()
        right = -gradient
        for k in range(count):
            matrix[k, k] += damping * max(normal[k, k], 1e-12)
            # A parameter that its bound holds back stays there.
            held = (z[k] <= low[k] and gradient[k] > 0.0) or (z[k] >= high[k] and gradient[k] < 0.0)
            if held:
                matrix[k, :] = 0.0
                matrix[:, k] = 0.0
                matrix[k, k] = 1.0
                right[k] = 0.0
        move = solution(matrix, right)
        candidate = np.minimum(np.maximum(z + move, low), high)
        curve(candidate * scale, count, cooling_s, heat_share, when, grid, pressure,
              log_pressure, leak, leak_middle, solid, gas, shown)  # fmt: skip
        new_cost = weighed(candidate, shown, measured, sigma, prior_mean, prior_sd, trial)
        if new_cost < cost:
            gain = (cost - new_cost) / max(cost, 1e-30)
            z = candidate
            cost = new_cost
            for i in range(rows):
                residual[i] = trial[i]
            damping = max(damping / 5.0, 1e-12)
            growth = 2.0
            fresh = True
            if gain < tolerance:
                break
        else:
            damping *= growth
            growth *= 2.0
            if damping > 1e12:
                break
    return z, residual, jacobian, steps


_INSIDE = (theta_table, place_of, pressure_of, solution, weighed)


@functools.cache
def compiled() -> types.SimpleNamespace:
    """Return :func:`curve` and :func:`descend` compiled; the machine code is kept where it can be.

    The compiler is imported at the first call, which takes seconds on a machine that has never
    done it.
    """
    import numba

    scope: dict[str, Any] = dict(globals())

    def bound(function: Any) -> Any:
        copy = types.FunctionType(function.__code__, scope, function.__name__)
        copy.__module__ = function.__module__
        copy.__qualname__ = function.__qualname__
        return copy

    function: Any
    for function in _INSIDE:
        scope[function.__name__] = numba.njit(error_model="numpy")(bound(function))
    for function in (curve, descend):
        try:
            scope[function.__name__] = numba.njit(cache=True, error_model="numpy")(bound(function))
        except (RuntimeError, UnicodeError):  # no place to keep machine code in
            scope[function.__name__] = numba.njit(error_model="numpy")(bound(function))
    return types.SimpleNamespace(curve=scope["curve"], descend=scope["descend"])
