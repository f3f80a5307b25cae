"""Fall of the trapped pressure while the pump is shut off.

C(p) dp/dt = -Q(p). With a constant compliance C and conductance G = Q/p the pressure falls
exponentially with the time constant C/G; the forms below let the viscosity and the stiffness
depend on pressure.
"""

from __future__ import annotations

from typing import cast

import numpy as np
from numpy.typing import ArrayLike

from nozzlewright.physics._arguments import (
    GAUSS_NODES,
    GAUSS_WEIGHTS,
    Array,
    F,
    OfPressure,
    number_or_array,
    require_not_negative,
    require_positive,
)
from nozzlewright.physics.guide_leakage import leak_factor

_HOLD_PANELS = 800
_MOST_E_FOLDS = 200.0
"""A pressure has run to nothing when it is exp(-200) of what it was."""
_HOLD_NODES, _HOLD_WEIGHTS = np.polynomial.legendre.leggauss(4)
_HOLD_NODES, _HOLD_WEIGHTS = 0.5 * (_HOLD_NODES + 1.0), 0.5 * _HOLD_WEIGHTS  # on 0..1
_PANELS = 8
"""Panels of 12 Gauss nodes for one drop; a smooth integrand is exact to rounding with one."""


def drop_time_constant(pressure_from_pa: F, pressure_to_pa: F, time_constant_s: float) -> F:
    r"""Time of a drop at constant viscosity and stiffness.

    .. math:: t = \tau\ln(p_1/p_2)

    Parameters
    ----------
    pressure_from_pa, pressure_to_pa : float or ndarray
        Gauge pressure at start and end, [Pa]
    time_constant_s : float
        Compliance over conductance, [s]

    Returns
    -------
    float or ndarray
        Time, [s]

    Raises
    ------
    ValueError
        If a pressure or the time constant is not positive.

    References
    ----------
    .. [1] Linear decay (derived).
    """
    require_positive(pressure_from_pa=pressure_from_pa, pressure_to_pa=pressure_to_pa,
                     time_constant_s=time_constant_s)  # fmt: skip
    result: F = time_constant_s * np.log(pressure_from_pa / pressure_to_pa)
    return result


def drop_time_barus(
    pressure_from_pa: F, pressure_to_pa: F, time_constant_s: float, alpha_per_pa: float
) -> F:
    r"""Time of a drop when the fluid in the gap thickens with pressure.

    .. math:: t = \tau\ln\frac{e^{\alpha p_1} - 1}{e^{\alpha p_2} - 1}

    Parameters
    ----------
    pressure_from_pa, pressure_to_pa : float or ndarray
        Gauge pressure at start and end, [Pa]
    time_constant_s : float
        Compliance over conductance at low pressure, [s]
    alpha_per_pa : float
        Barus coefficient; 0 gives :func:`drop_time_constant`, [1/Pa]

    Returns
    -------
    float or ndarray
        Time, [s]

    Raises
    ------
    ValueError
        If a pressure or the time constant is not positive, or the coefficient is negative.

    References
    ----------
    .. [1] Q = G_0 (1 - exp(-alpha p))/alpha at constant compliance (derived).
    """
    require_positive(pressure_from_pa=pressure_from_pa, pressure_to_pa=pressure_to_pa,
                     time_constant_s=time_constant_s)  # fmt: skip
    require_not_negative(alpha_per_pa=alpha_per_pa)
    result: F = time_constant_s * (
        np.log(pressure_from_pa / pressure_to_pa)
        + np.log(
            _expm1_ratio(alpha_per_pa * pressure_from_pa)
            / _expm1_ratio(alpha_per_pa * pressure_to_pa)
        )
    )
    return result


def drop_time_stiffening(
    pressure_from_pa: F,
    pressure_to_pa: F,
    time_constant_s: float,
    modulus_at_zero_pa: float,
    pressure_slope: float,
) -> F:
    r"""Time of a drop when the oil is stiffer at higher pressure, constant viscosity.

    .. math:: t = \tau_0\ln\frac{p_1(B_0 + B'p_2)}{p_2(B_0 + B'p_1)}

    Parameters
    ----------
    pressure_from_pa, pressure_to_pa : float or ndarray
        Gauge pressure at start and end, [Pa]
    time_constant_s : float
        Compliance over conductance at zero pressure :math:`V/(G B_0)`, [s]
    modulus_at_zero_pa : float
        Isothermal bulk modulus at zero gauge pressure, [Pa]
    pressure_slope : float
        Increase of the modulus with pressure, [1]

    Returns
    -------
    float or ndarray
        Time, [s]

    Raises
    ------
    ValueError
        If a pressure, the time constant or the modulus is not positive.

    References
    ----------
    .. [1] C = V/(B_0 + B' p), rigid walls (derived).
    """
    require_positive(pressure_from_pa=pressure_from_pa, pressure_to_pa=pressure_to_pa,
                     time_constant_s=time_constant_s,
                     modulus_at_zero_pa=modulus_at_zero_pa)  # fmt: skip
    stiffer = (modulus_at_zero_pa + pressure_slope * pressure_to_pa) / (
        modulus_at_zero_pa + pressure_slope * pressure_from_pa
    )
    result: F = time_constant_s * np.log(pressure_from_pa / pressure_to_pa * stiffer)
    return result


def pressure_barus(
    time_s: F, pressure_from_pa: float, time_constant_s: float, alpha_per_pa: float
) -> F:
    r"""Pressure some time after shut-off when the fluid in the gap thickens with pressure.

    .. math:: e^{\alpha p} - 1 = \left(e^{\alpha p_1} - 1\right) e^{-t/\tau}

    Parameters
    ----------
    time_s : float or ndarray
        Time since the pressure was at its start, [s]
    pressure_from_pa : float
        Gauge pressure at time zero, [Pa]
    time_constant_s : float
        Compliance over conductance at low pressure, [s]
    alpha_per_pa : float
        Barus coefficient; 0 gives the exponential decay, [1/Pa]

    Returns
    -------
    float or ndarray
        Gauge pressure, [Pa]

    Raises
    ------
    ValueError
        If the pressure or the time constant is not positive, or the coefficient is negative.

    References
    ----------
    .. [1] Inverse of :func:`drop_time_barus`.
    """
    require_positive(pressure_from_pa=pressure_from_pa, time_constant_s=time_constant_s)
    require_not_negative(alpha_per_pa=alpha_per_pa)
    steepness, fall = np.broadcast_arrays(
        alpha_per_pa * np.asarray(pressure_from_pa, dtype=np.float64),
        np.exp(-np.asarray(time_s, dtype=np.float64) / time_constant_s),
    )
    # Where alpha p is next to nothing, the decay is the plain exponential.
    share = np.divide(
        np.log1p(np.expm1(steepness) * fall), steepness, out=fall.copy(), where=steepness > 1e-12
    )
    pressure: F = number_or_array(pressure_from_pa * share)
    return pressure


def time_between(
    pressure_from_pa: F,
    pressure_to_pa: F,
    leakage_of_pressure: OfPressure,
    compliance_of_pressure: OfPressure,
) -> F:
    r"""Time of a drop for any leak and any compliance that depend on pressure alone.

    .. math:: t = \int_{p_2}^{p_1}\frac{C(p)}{Q(p)}\,dp

    Parameters
    ----------
    pressure_from_pa, pressure_to_pa : float or ndarray
        Gauge pressure at start and end, [Pa]
    leakage_of_pressure : callable
        Takes an array of gauge pressures, returns the leakage at each, [m^3/s]
    compliance_of_pressure : callable
        Takes an array of gauge pressures, returns the compliance at each, [m^3/Pa]

    Returns
    -------
    float or ndarray
        Time; negative if the end lies above the start, [s]

    Raises
    ------
    ValueError
        If a pressure, or a leakage or compliance between them, is not positive.

    Notes
    -----
    Gauss-Legendre quadrature over ln p, 8 panels of 12 nodes: relative error under 1e-12 for
    smooth laws over any window met on a bench.

    References
    ----------
    .. [1] Mass balance of the trapped volume (derived).
    """
    require_positive(pressure_from_pa=pressure_from_pa, pressure_to_pa=pressure_to_pa)
    log_to, log_from = np.broadcast_arrays(
        np.log(np.asarray(pressure_to_pa, dtype=np.float64)),
        np.log(np.asarray(pressure_from_pa, dtype=np.float64)),
    )
    places = ((np.arange(_PANELS)[:, None] + GAUSS_NODES) / _PANELS).ravel()
    weights = np.tile(GAUSS_WEIGHTS / _PANELS, _PANELS)
    width = log_from - log_to
    log_p = log_to[..., None] + width[..., None] * places
    pace = _seconds_per_log(log_p, leakage_of_pressure, compliance_of_pressure)
    total = width * (pace @ weights)
    seconds: F = number_or_array(total)
    return seconds


def drop_time(
    pressure_from_pa: F,
    pressure_to_pa: F,
    conductance_at_zero_m3_s_pa: float,
    compliance_of_pressure: OfPressure,
    alpha_per_pa: float = 0.0,
    relative_growth_per_pa: float = 0.0,
) -> F:
    r"""Time of a drop through a guide, viscosity, gap and stiffness depending on pressure.

    .. math:: t = \int_{p_2}^{p_1}\frac{C(p)}{G_0\,\lambda(p)\,p}\,dp

    Parameters
    ----------
    pressure_from_pa, pressure_to_pa : float or ndarray
        Gauge pressure at start and end, [Pa]
    conductance_at_zero_m3_s_pa : float
        Conductance in the limit of low pressure :math:`G_0`, [m^3/(s Pa)]
    compliance_of_pressure : callable
        Takes an array of gauge pressures, returns the compliance at each, [m^3/Pa]
    alpha_per_pa : float
        Barus coefficient, [1/Pa]
    relative_growth_per_pa : float
        Growth of the radial gap for each Pa over the gap without pressure, [1/Pa]

    Returns
    -------
    float or ndarray
        Time, [s]

    Raises
    ------
    ValueError
        As :func:`time_between`, or if the conductance is not positive.

    Notes
    -----
    :math:`\lambda` is :func:`nozzlewright.physics.leak_factor`.

    References
    ----------
    .. [1] As :func:`time_between`.

    Examples
    --------
    >>> volume = 20e-6
    >>> seconds = drop_time(150 * 98066.5, 100 * 98066.5, 2.02683e-16,
    ...                     lambda p: volume / (1.3e9 + 10.8 * p))
    >>> f"{seconds:.3f}"
    '27.970'
    """
    require_positive(conductance_at_zero_m3_s_pa=conductance_at_zero_m3_s_pa)
    seconds: F = time_between(
        pressure_from_pa,
        pressure_to_pa,
        lambda p: p * leak_factor(p, alpha_per_pa, relative_growth_per_pa),
        compliance_of_pressure,
    )
    return seconds / conductance_at_zero_m3_s_pa


def pressure_during_hold(
    time_s: ArrayLike,
    pressure_from_pa: float,
    leakage_of_pressure: OfPressure,
    compliance_of_pressure: OfPressure,
) -> Array:
    r"""Pressure during a hold for any leak and any compliance that depend on pressure alone.

    .. math:: C(p)\,\frac{dp}{dt} = -Q(p)

    Parameters
    ----------
    time_s : array_like of shape (N,)
        Times since the pressure was at its start, none negative, [s]
    pressure_from_pa : float
        Gauge pressure at time zero, [Pa]
    leakage_of_pressure : callable
        Takes an array of gauge pressures, returns the leakage at each, [m^3/s]
    compliance_of_pressure : callable
        Takes an array of gauge pressures, returns the compliance at each, [m^3/Pa]

    Returns
    -------
    ndarray of shape (N,)
        Gauge pressure at each time, [Pa]

    Raises
    ------
    ValueError
        If the pressure is not positive, a time is negative, or a leakage or compliance is not
        positive on the way down.

    Notes
    -----
    The time for each of 800 steps of ln p is integrated by Gauss-Legendre quadrature and the
    curve turned round by cubic interpolation with the known slope: relative error under 1e-9.

    References
    ----------
    .. [1] Mass balance of the trapped volume (derived).
    """
    times = np.asarray(time_s, dtype=np.float64)
    require_positive(pressure_from_pa=pressure_from_pa)
    require_not_negative(time_s=times)
    last = float(np.max(times, initial=0.0))
    if last == 0.0:
        return np.full(times.shape, float(pressure_from_pa))

    top = float(np.log(pressure_from_pa))
    pace = _seconds_per_log(np.array([top]), leakage_of_pressure, compliance_of_pressure)
    lowest = top - _MOST_E_FOLDS
    bottom = max(top - 1.001 * last / float(pace[0]), lowest)
    while True:
        edges = np.linspace(top, bottom, _HOLD_PANELS + 1)
        width = edges[1:] - edges[:-1]
        log_p = edges[:-1, None] + width[:, None] * _HOLD_NODES
        pace = _seconds_per_log(log_p, leakage_of_pressure, compliance_of_pressure)
        passed = np.concatenate([[0.0], np.cumsum(-width * (pace @ _HOLD_WEIGHTS))])
        if passed[-1] < last:
            if bottom <= lowest:
                raise ValueError(f"the pressure runs to nothing before {last:g} s are over")
            step = 1.05 * (last - float(passed[-1])) / float(pace[-1, -1]) + 1e-6
            bottom = max(bottom - step, lowest)
            continue
        needed = int(np.searchsorted(passed, last)) + 4
        if needed > _HOLD_PANELS // 2:
            break
        bottom = float(edges[needed])  # far too low: the panels are wanted higher up
    slope = -1.0 / _seconds_per_log(edges, leakage_of_pressure, compliance_of_pressure)
    return cast("Array", np.exp(_hermite(times, passed, edges, slope)))


def injector_conductance(
    compliance_with_injector_m3_per_pa: F,
    time_constant_with_injector_s: F,
    compliance_with_plug_m3_per_pa: F,
    time_constant_with_plug_s: F,
) -> F:
    r"""Leak of the injector alone, the leak of the rig taken off.

    .. math:: G_{inj} = \frac{C_1}{\tau_1} - \frac{C_0}{\tau_0}

    Parameters
    ----------
    compliance_with_injector_m3_per_pa, compliance_with_plug_m3_per_pa : float or ndarray
        Compliance of the rig with the injector fitted and with the blank plug, [m^3/Pa]
    time_constant_with_injector_s, time_constant_with_plug_s : float or ndarray
        Time constant of the decay with each; infinite for a rig that does not leak, [s]

    Returns
    -------
    float or ndarray
        Conductance; negative where the rig seems to leak more than rig and injector, [m^3/(s Pa)]

    Raises
    ------
    ValueError
        If a compliance or a time constant is not positive.

    Notes
    -----
    Less oil is trapped with the plug than with the holder. Taking 1/tau from 1/tau without the
    compliances is over 20 % off on a leaky rig.

    References
    ----------
    .. [1] Parallel leaks on one compliance (derived).
    """
    require_positive(compliance_with_injector=compliance_with_injector_m3_per_pa,
                     compliance_with_plug=compliance_with_plug_m3_per_pa)  # fmt: skip
    for seconds in (time_constant_with_injector_s, time_constant_with_plug_s):
        if not np.all(np.asarray(seconds) > 0.0):
            raise ValueError(f"a time constant must be positive, not {seconds} s")
    return (
        compliance_with_injector_m3_per_pa / time_constant_with_injector_s
        - compliance_with_plug_m3_per_pa / time_constant_with_plug_s
    )


def conductance_at_viscosity(
    conductance_m3_s_pa: F, viscosity_pa_s: float, other_viscosity_pa_s: float
) -> F:
    r"""Conductance of the same gap for a fluid of another viscosity.

    .. math:: G_2 = G_1\,\mu_1/\mu_2

    Parameters
    ----------
    conductance_m3_s_pa : float or ndarray
        Conductance found, [m^3/(s Pa)]
    viscosity_pa_s : float
        Dynamic viscosity at which it was found, [Pa s]
    other_viscosity_pa_s : float
        Dynamic viscosity asked for, [Pa s]

    Returns
    -------
    float or ndarray
        Conductance at the other viscosity, [m^3/(s Pa)]

    Raises
    ------
    ValueError
        If a viscosity is not positive.

    References
    ----------
    .. [1] Laminar flow (derived).
    """
    require_positive(viscosity_pa_s=viscosity_pa_s, other_viscosity_pa_s=other_viscosity_pa_s)
    return conductance_m3_s_pa * (viscosity_pa_s / other_viscosity_pa_s)


def _expm1_ratio(x: ArrayLike) -> Array:
    """Return (exp(x) - 1)/x, which is 1 at 0."""
    x = np.asarray(x, dtype=np.float64)
    ratio: Array = np.divide(np.expm1(x), x, out=np.ones_like(x), where=x != 0.0)
    return ratio


def _seconds_per_log(log_p: Array, leakage: OfPressure, compliance: OfPressure) -> Array:
    """Return C p/Q at each place: seconds for each unit of ln p."""
    p = np.exp(log_p)
    flat = p.ravel()
    Q, C = np.asarray(leakage(flat)), np.asarray(compliance(flat))
    require_positive(leakage_m3_s=Q, compliance_m3_per_pa=C)
    pace: Array = np.broadcast_to(C * flat / Q, flat.shape).reshape(p.shape)
    return pace


def _hermite(x: Array, knots: Array, values: Array, slopes: Array) -> Array:
    """Return the piecewise cubic with given values and slopes at the knots."""
    i = np.clip(np.searchsorted(knots, x, side="right") - 1, 0, knots.size - 2)
    h = knots[i + 1] - knots[i]
    u = (x - knots[i]) / h
    result: Array = (
        (1.0 + 2.0 * u) * (1.0 - u) ** 2 * values[i]
        + u * (1.0 - u) ** 2 * h * slopes[i]
        + u**2 * (3.0 - 2.0 * u) * values[i + 1]
        - u**2 * (1.0 - u) * h * slopes[i + 1]
    )
    return result
