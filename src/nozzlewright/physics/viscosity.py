"""Viscosity of the test fluid against temperature and pressure."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from nozzlewright.physics._arguments import Array, F, require_not_negative, require_positive

_MM2_S = 1e-6

D341_Z = (-1.47, -1.84, -0.51)
"""Exponent of Z = nu + 0.7 + exp(c0 + c1 nu + c2 nu^2), nu in mm2/s (ASTM D341)."""
D341_INVERSE = (-0.7487, -3.295, 0.6119, -0.3193)
"""Exponent of nu = (Z - 0.7) - exp(...), powers of Z - 0.7 (ASTM D341)."""
D341_LEAST_M2_S = 0.21e-6
"""Least kinematic viscosity for which ASTM D341 stands, [m^2/s]."""
D341_GREATEST_DOUBLE_LOG = 0.8634
"""log log Z at the greatest viscosity for which ASTM D341 stands, 2e7 mm2/s, [1]."""

ROELANDS_PRESSURE_PA = 1.962e8
"""Pressure scale of Roelands' formula, [Pa]."""
ROELANDS_LOG_VISCOSITY = 9.67
"""Minus the natural logarithm of the viscosity (Pa s) at Roelands' pole, [1]."""


class D341Fit(NamedTuple):
    """Line fitted to more than two viscosity points."""

    A: float
    """Intercept, [1]."""
    B: float
    """Slope, [1]."""
    relative_misfit: float
    """Standard deviation of the points about the line, relative to viscosity, [1]."""


def d341_constants(
    T1_k: float, nu1_m2_s: float, T2_k: float, nu2_m2_s: float
) -> tuple[float, float]:
    r"""Constants of the viscosity-temperature line through two known points.

    .. math:: \log_{10}\log_{10} Z = A - B \log_{10} T, \quad
              Z = \nu + 0.7 + \exp(-1.47 - 1.84\nu - 0.51\nu^2)

    with :math:`\nu` in mm2/s and :math:`T` in K.

    Parameters
    ----------
    T1_k, T2_k : float
        The two temperatures, [K]
    nu1_m2_s, nu2_m2_s : float
        Kinematic viscosity at each of them, [m^2/s]

    Returns
    -------
    A, B : float
        Constants for :func:`d341_viscosity`, [1]

    Raises
    ------
    ValueError
        If the temperatures are equal or a viscosity is below 0.21 mm2/s.

    Notes
    -----
    For petroleum liquids between about their cloud point and the start of boiling. Between the
    two points a line is good to about 0.1 % (n-dodecane); beyond them the error grows.

    References
    ----------
    .. [1] ASTM D341, Standard practice for viscosity-temperature equations and charts.

    Examples
    --------
    >>> A, B = d341_constants(293.15, 4.0e-6, 313.15, 2.6e-6)
    >>> f"{A:.4f} {B:.4f} {d341_viscosity(298.15, A, B) * 1e6:.3f}"
    '9.5250 3.9308 3.555'
    """
    require_positive(T1_k=T1_k, T2_k=T2_k)
    _require_in_d341_range(nu1_m2_s, nu2_m2_s)
    if T1_k == T2_k:
        raise ValueError(f"two viscosity points need two temperatures, not {T1_k} K twice")
    log_T1, log_T2 = np.log10(T1_k), np.log10(T2_k)
    w1, w2 = _double_log(nu1_m2_s), _double_log(nu2_m2_s)
    B = float((w1 - w2) / (log_T2 - log_T1))
    return float(w1 + B * log_T1), B


def d341_constants_from_slope(T_k: float, nu_m2_s: float, B: float) -> tuple[float, float]:
    r"""Constants of the viscosity-temperature line through one point with an assumed slope.

    .. math:: A = \log_{10}\log_{10} Z(\nu) + B \log_{10} T

    Parameters
    ----------
    T_k : float
        Temperature of the known point, [K]
    nu_m2_s : float
        Kinematic viscosity there, [m^2/s]
    B : float
        Slope; see :data:`nozzlewright.physics.fluid.GAS_OIL_D341_SLOPE`, [1]

    Returns
    -------
    A, B : float
        Constants for :func:`d341_viscosity`, [1]

    Raises
    ------
    ValueError
        If the viscosity is below 0.21 mm2/s or the slope is not positive.

    References
    ----------
    .. [1] ASTM D341, as in :func:`d341_constants`.
    """
    require_positive(T_k=T_k, B=B)
    _require_in_d341_range(nu_m2_s)
    return float(_double_log(nu_m2_s) + B * np.log10(T_k)), float(B)


def fit_d341(temperatures_k: ArrayLike, viscosities_m2_s: ArrayLike) -> D341Fit:
    r"""Fit the viscosity-temperature line to two or more points by least squares.

    Parameters
    ----------
    temperatures_k : array_like of shape (N,)
        Temperatures, [K]
    viscosities_m2_s : array_like of shape (N,)
        Kinematic viscosities, [m^2/s]

    Returns
    -------
    D341Fit
        A, B and the relative misfit (zero for two points), [1]

    Raises
    ------
    ValueError
        If there are fewer than two different temperatures, the lengths differ, or a viscosity
        is below 0.21 mm2/s.

    Notes
    -----
    The points are weighted so that relative deviations of viscosity count alike: the double
    logarithm alone would favour the thick end.

    References
    ----------
    .. [1] ASTM D341, as in :func:`d341_constants`.
    """
    T = np.asarray(temperatures_k, dtype=np.float64)
    nu = np.asarray(viscosities_m2_s, dtype=np.float64)
    if T.ndim != 1 or T.shape != nu.shape:
        raise ValueError(f"need as many temperatures as viscosities: {T.shape} and {nu.shape}")
    require_positive(temperatures_k=T)
    _require_in_d341_range(nu)
    if np.unique(T).size < 2:
        raise ValueError("a viscosity line needs points at two temperatures or more")
    w = _double_log(nu)
    Z, slope = _Z(nu / _MM2_S)
    per_relative = (nu / _MM2_S) * slope / (Z * np.log(Z) * np.log(10.0))  # dw / d ln nu
    design = np.column_stack([np.ones_like(T), -np.log10(T)]) / per_relative[:, None]
    (A, B), *_ = np.linalg.lstsq(design, w / per_relative, rcond=None)
    left = w / per_relative - design @ np.array([A, B])
    free = T.size - 2
    misfit = float(np.sqrt(left @ left / free)) if free else 0.0
    return D341Fit(float(A), float(B), misfit)


def d341_viscosity(T_k: F, A: float, B: float) -> F:
    r"""Kinematic viscosity at a temperature from the constants of its line.

    .. math:: \log_{10}\log_{10} Z = A - B \log_{10} T, \quad
              \nu \approx y - \exp(-0.7487 - 3.295y + 0.6119y^2 - 0.3193y^3), \; y = Z - 0.7

    Parameters
    ----------
    T_k : float or ndarray
        Temperature, [K]
    A, B : float
        Constants from :func:`d341_constants` or :func:`fit_d341`, [1]

    Returns
    -------
    float or ndarray
        Kinematic viscosity, [m^2/s]

    Raises
    ------
    ValueError
        If the line leads below 0.21 or above 2e7 mm2/s at that temperature.

    Notes
    -----
    The standard's own inverse is an approximation (off by up to 0.02 %). It is refined here by
    two Newton steps, so that the known points come back exactly.

    References
    ----------
    .. [1] ASTM D341, as in :func:`d341_constants`.
    """
    require_positive(T_k=T_k)
    double_log = A - B * np.log10(T_k)
    if np.any(np.asarray(double_log) > D341_GREATEST_DOUBLE_LOG):
        raise ValueError(f"this viscosity line leads above 2e7 mm2/s at {np.min(T_k):.4g} K")
    Z = 10.0 ** (10.0**double_log)
    y = Z - 0.7
    c0, c1, c2, c3 = D341_INVERSE
    nu = y - np.exp(c0 + c1 * y + c2 * y**2 + c3 * y**3)
    for _ in range(2):
        there, slope = _Z(nu)
        nu = nu - (there - Z) / slope
    result: F = nu * _MM2_S
    _require_in_d341_range(result)
    return result


def dynamic_viscosity(nu_m2_s: F, density_kg_m3: float) -> F:
    r"""Dynamic viscosity, :math:`\mu = \nu\rho`.

    Parameters
    ----------
    nu_m2_s : float or ndarray
        Kinematic viscosity, [m^2/s]
    density_kg_m3 : float
        Density at the same temperature and pressure, [kg/m^3]

    Returns
    -------
    float or ndarray
        Dynamic viscosity, [Pa s]

    References
    ----------
    .. [1] Definition of kinematic viscosity.
    """
    return nu_m2_s * density_kg_m3


def barus_factor(pressure_pa: F, alpha_per_pa: float) -> F:
    r"""How many times thicker the fluid is under pressure, by Barus.

    .. math:: \mu(p)/\mu_0 = e^{\alpha p}

    Parameters
    ----------
    pressure_pa : float or ndarray
        Gauge pressure, [Pa]
    alpha_per_pa : float
        Pressure-viscosity coefficient, [1/Pa]

    Returns
    -------
    float or ndarray
        Viscosity over viscosity at zero gauge pressure, [1]

    Notes
    -----
    Within 0.3 % of Roelands up to 150 bar; it overstates the thickening above some 1000 bar.

    References
    ----------
    .. [1] C. Barus, American Journal of Science 45 (1893) 87 (from memory).

    Examples
    --------
    >>> f"{barus_factor(150e5, 12e-9):.4f}"
    '1.1972'
    """
    result: F = np.exp(alpha_per_pa * pressure_pa)
    return result


def roelands_index(viscosity_at_zero_pa_s: float, alpha_per_pa: float) -> float:
    r"""Roelands' pressure index that has a given slope at zero pressure.

    .. math:: z = \frac{\alpha\, p_R}{\ln\mu_0 + 9.67}, \quad p_R = 1.962\cdot10^8\,\mathrm{Pa}

    Parameters
    ----------
    viscosity_at_zero_pa_s : float
        Dynamic viscosity at zero gauge pressure, [Pa s]
    alpha_per_pa : float
        Pressure-viscosity coefficient at zero pressure, [1/Pa]

    Returns
    -------
    float
        Index z, [1]

    Raises
    ------
    ValueError
        If the viscosity is not above the pole at exp(-9.67) = 63 uPa s.

    Notes
    -----
    About 0.5 to 0.7 for test fluid; from 1 upwards the fluid would thicken faster than by Barus,
    which no oil does.

    References
    ----------
    .. [1] C. J. A. Roelands, doctoral thesis, Delft, 1966 (from memory).
    """
    scale = np.log(viscosity_at_zero_pa_s) + ROELANDS_LOG_VISCOSITY
    if not np.all(scale > 0.0):
        raise ValueError(
            f"Roelands needs a viscosity above 63 uPa s, not {viscosity_at_zero_pa_s} Pa s"
        )
    result: float = alpha_per_pa * ROELANDS_PRESSURE_PA / scale
    return result


def roelands_factor(pressure_pa: F, viscosity_at_zero_pa_s: float, alpha_per_pa: float) -> F:
    r"""How many times thicker the fluid is under pressure, by Roelands.

    .. math:: \ln\frac{\mu}{\mu_0} = (\ln\mu_0 + 9.67)\left[(1 + p/p_R)^z - 1\right]

    Parameters
    ----------
    pressure_pa : float or ndarray
        Gauge pressure, [Pa]
    viscosity_at_zero_pa_s : float
        Dynamic viscosity at zero gauge pressure, [Pa s]
    alpha_per_pa : float
        Pressure-viscosity coefficient at zero pressure, [1/Pa]

    Returns
    -------
    float or ndarray
        Viscosity over viscosity at zero gauge pressure, [1]

    Raises
    ------
    ValueError
        As :func:`roelands_index`.

    References
    ----------
    .. [1] C. J. A. Roelands, doctoral thesis, Delft, 1966 (from memory).

    Examples
    --------
    >>> f"{roelands_factor(150e5, 3.1e-3, 12e-9):.4f}"
    '1.1941'
    """
    z = roelands_index(viscosity_at_zero_pa_s, alpha_per_pa)
    scale = np.log(viscosity_at_zero_pa_s) + ROELANDS_LOG_VISCOSITY
    result: F = np.exp(scale * np.expm1(z * np.log1p(pressure_pa / ROELANDS_PRESSURE_PA)))
    return result


def _Z(nu_mm2_s: Array) -> tuple[Array, Array]:  # noqa: N802
    """Return Z and dZ/dnu."""
    c0, c1, c2 = D341_Z
    bump = np.exp(c0 + c1 * nu_mm2_s + c2 * nu_mm2_s**2)
    return nu_mm2_s + 0.7 + bump, 1.0 + (c1 + 2.0 * c2 * nu_mm2_s) * bump


def _double_log(nu_m2_s: ArrayLike) -> Array:
    Z, _ = _Z(np.asarray(nu_m2_s, dtype=np.float64) / _MM2_S)
    result: Array = np.log10(np.log10(Z))
    return result


def _require_in_d341_range(*viscosities_m2_s: ArrayLike) -> None:
    require_not_negative(viscosity_m2_s=np.concatenate([np.ravel(v) for v in viscosities_m2_s]))
    for nu in viscosities_m2_s:
        if np.any(np.asarray(nu) < D341_LEAST_M2_S):
            least = float(np.min(np.asarray(nu))) / _MM2_S
            raise ValueError(f"ASTM D341 stands from 0.21 mm2/s upwards, not at {least:.3g} mm2/s")
