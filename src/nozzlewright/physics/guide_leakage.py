"""Laminar leakage through the gap between needle and guide.

"Clearance" in the trade is diametral, twice the radial gap; here each name says which. A
clearance got from a leak is an *effective hydraulic* one, never a dimension: eccentricity and
form error are in it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from nozzlewright.physics._arguments import (
    GAUSS_NODES,
    GAUSS_WEIGHTS,
    Array,
    F,
    number_or_array,
    require_not_negative,
    require_positive,
)
from nozzlewright.physics._elastic import (
    STEEL_POISSON_RATIO,
    STEEL_YOUNGS_MODULUS_PA,
    bore_growth_per_pa,
)


def eccentricity_factor(eccentricity: F) -> F:
    r"""How many times more an eccentric thin gap leaks than a concentric one.

    .. math:: 1 + \tfrac{3}{2} e^2

    Parameters
    ----------
    eccentricity : float or ndarray
        Offset of the needle over the radial gap; 0 concentric, 1 touching, [1]

    Returns
    -------
    float or ndarray
        Factor, 1 to 2.5, [1]

    Raises
    ------
    ValueError
        If the eccentricity is not between 0 and 1.

    References
    ----------
    .. [1] Integral of (1 + e cos phi)^3 over the circumference (derived); agrees with the exact
       bipolar series in F. M. White, Viscous Fluid Flow, ch. 3, to 0.1 % for thin gaps.
    """
    if not np.all((np.asarray(eccentricity) >= 0.0) & (np.asarray(eccentricity) <= 1.0)):
        raise ValueError(f"an eccentricity lies between 0 and 1, not at {eccentricity}")
    return 1.0 + 1.5 * eccentricity**2


def guide_conductance(
    radial_gap_m: F,
    diameter_m: float,
    length_m: float,
    viscosity_pa_s: float,
    eccentricity: float = 0.0,
) -> F:
    r"""Leak through the guide for each Pa, in the limit of low pressure.

    .. math:: G_0 = \frac{\pi d h^3}{12 \mu L}\left(1 + \tfrac{3}{2} e^2\right)

    Parameters
    ----------
    radial_gap_m : float or ndarray
        Radial gap, half the diametral clearance, [m]
    diameter_m : float
        Mean diameter of the gap, [m]
    length_m : float
        Sealing length, [m]
    viscosity_pa_s : float
        Dynamic viscosity at zero gauge pressure, [Pa s]
    eccentricity : float
        Offset of the needle over the radial gap, 0 to 1, [1]

    Returns
    -------
    float or ndarray
        Conductance, [m^3/(s Pa)]

    Raises
    ------
    ValueError
        If a dimension or the viscosity is not positive, or the eccentricity not in 0..1.

    Notes
    -----
    Thin gap (gap/diameter under 1e-2), laminar; Re is about 0.04 at 3 um diametral.

    References
    ----------
    .. [1] Reynolds' thin-film equation; e.g. F. M. White, Viscous Fluid Flow, ch. 3.

    Examples
    --------
    >>> f"{guide_conductance(2e-6, 6e-3, 20e-3, 3.1e-3):.5e}"
    '2.02683e-16'
    """
    require_not_negative(radial_gap_m=radial_gap_m)
    return _per_cubed_gap(diameter_m, length_m, viscosity_pa_s, eccentricity) * radial_gap_m**3


def thin_gap_leakage(
    pressure_pa: F,
    radial_gap_m: float,
    diameter_m: float,
    length_m: float,
    viscosity_pa_s: float,
    eccentricity: float = 0.0,
) -> F:
    r"""Leakage through a rigid thin gap at constant viscosity.

    .. math:: Q = \frac{\pi d h^3 p}{12 \mu L}\left(1 + \tfrac{3}{2} e^2\right)

    Parameters
    ----------
    pressure_pa : float or ndarray
        Pressure over the length of the guide, [Pa]
    radial_gap_m : float
        Radial gap, half the diametral clearance, [m]
    diameter_m : float
        Mean diameter of the gap, [m]
    length_m : float
        Sealing length, [m]
    viscosity_pa_s : float
        Dynamic viscosity, [Pa s]
    eccentricity : float
        Offset of the needle over the radial gap, 0 to 1, [1]

    Returns
    -------
    float or ndarray
        Leakage, [m^3/s]

    Raises
    ------
    ValueError
        As :func:`guide_conductance`.

    References
    ----------
    .. [1] As :func:`guide_conductance`.
    """
    return pressure_pa * guide_conductance(
        radial_gap_m, diameter_m, length_m, viscosity_pa_s, eccentricity
    )


def concentric_annulus_leakage(
    pressure_pa: F,
    radial_gap_m: float,
    needle_diameter_m: float,
    length_m: float,
    viscosity_pa_s: float,
) -> F:
    r"""Leakage through a concentric annulus of any width, exact.

    .. math:: Q = \frac{\pi p}{8\mu L}\left[r_o^4 - r_i^4
              - \frac{(r_o^2 - r_i^2)^2}{\ln(r_o/r_i)}\right]

    Parameters
    ----------
    pressure_pa : float or ndarray
        Pressure over the length, [Pa]
    radial_gap_m : float
        Radial gap :math:`r_o - r_i`, [m]
    needle_diameter_m : float
        Inner diameter :math:`2 r_i`, [m]
    length_m : float
        Length, [m]
    viscosity_pa_s : float
        Dynamic viscosity, [Pa s]

    Returns
    -------
    float or ndarray
        Leakage, [m^3/s]

    Raises
    ------
    ValueError
        If a dimension or the viscosity is not positive.

    Notes
    -----
    As printed, the bracket loses all its digits in a gap of a few micrometres. With
    :math:`x = \ln(r_o/r_i)` it is :math:`4 r_i^4 e^{2x}\sinh x\,(\cosh x - \sinh x/x)`, and the
    last bracket is summed as :math:`\sum 2n x^{2n}/(2n+1)!`, which cancels nothing.

    References
    ----------
    .. [1] R. B. Bird, W. E. Stewart, E. N. Lightfoot, Transport Phenomena, eq. 2.4-17.
    """
    require_positive(radial_gap_m=radial_gap_m, needle_diameter_m=needle_diameter_m,
                     length_m=length_m, viscosity_pa_s=viscosity_pa_s)  # fmt: skip
    radius = 0.5 * needle_diameter_m
    x = np.log1p(radial_gap_m / radius)
    term = x**2 / 6.0  # x^(2n)/(2n+1)! at n = 1
    bracket = 2.0 * term
    for n in range(2, 30):
        term = term * x**2 / (2 * n * (2 * n + 1))
        bracket = bracket + 2 * n * term
    area = 4.0 * radius**4 * np.exp(2.0 * x) * np.sinh(x) * bracket
    result: F = np.pi * pressure_pa / (8.0 * viscosity_pa_s * length_m) * area
    return result


def gap_growth_per_pa(
    guide_diameter_m: float,
    body_outer_diameter_m: float,
    youngs_modulus_pa: float = STEEL_YOUNGS_MODULUS_PA,
    poisson_ratio: float = STEEL_POISSON_RATIO,
) -> float:
    r"""Growth of the radial gap with the pressure in it: the bore swells, the needle shrinks.

    .. math:: k = \frac{r}{E}\left(\frac{r_o^2 + r^2}{r_o^2 - r^2} + \nu\right)
              + \frac{r}{E}(1 - \nu)

    Parameters
    ----------
    guide_diameter_m : float
        Diameter of the guide bore :math:`2r`, [m]
    body_outer_diameter_m : float
        Outer diameter of the nozzle body round the guide :math:`2r_o`, [m]
    youngs_modulus_pa : float
        Young's modulus of body and needle; steel by default, [Pa]
    poisson_ratio : float
        Poisson's ratio of body and needle, [1]

    Returns
    -------
    float
        Growth of the radial gap for each Pa of local pressure, [m/Pa]

    Raises
    ------
    ValueError
        If the body is not wider than its bore.

    Notes
    -----
    Open ends, and the pressure at each place acts as if it reached far along the guide; the
    nozzle nut round the body is left out, so the true growth is somewhat smaller.

    References
    ----------
    .. [1] Lame's thick cylinder; any textbook of strength of materials.

    Examples
    --------
    >>> f"{gap_growth_per_pa(6e-3, 14e-3) * 200e5 * 1e6:.3f} um at 200 bar"
    '0.700 um at 200 bar'
    """
    bore = bore_growth_per_pa(
        guide_diameter_m, body_outer_diameter_m, youngs_modulus_pa, poisson_ratio
    )
    needle = 0.5 * guide_diameter_m / youngs_modulus_pa * (1.0 - poisson_ratio)
    return bore + needle


def elastic_gap_leakage(
    pressure_pa: F,
    radial_gap_m: float,
    growth_m_per_pa: float,
    diameter_m: float,
    length_m: float,
    viscosity_pa_s: float,
    eccentricity: float = 0.0,
) -> F:
    r"""Leakage through a gap that grows with its local pressure, constant viscosity.

    .. math:: Q = \frac{\pi d\left[(h_0 + kp)^4 - h_0^4\right]}{48\mu L k}
              \left(1 + \tfrac{3}{2} e^2\right)

    Parameters
    ----------
    pressure_pa : float or ndarray
        Pressure over the length of the guide, [Pa]
    radial_gap_m : float
        Radial gap without pressure :math:`h_0`, [m]
    growth_m_per_pa : float
        Growth of the radial gap :math:`k`, see :func:`gap_growth_per_pa`; may be 0, [m/Pa]
    diameter_m : float
        Mean diameter of the gap, [m]
    length_m : float
        Sealing length, [m]
    viscosity_pa_s : float
        Dynamic viscosity, [Pa s]
    eccentricity : float
        Offset of the needle over the radial gap, 0 to 1; taken as the same along the gap, [1]

    Returns
    -------
    float or ndarray
        Leakage, [m^3/s]

    Raises
    ------
    ValueError
        As :func:`guide_conductance`, or if the growth is negative.

    References
    ----------
    .. [1] Integral of (h_0 + k p)^3 dp along the gap (derived).
    """
    require_not_negative(radial_gap_m=radial_gap_m, growth_m_per_pa=growth_m_per_pa)
    h, s = radial_gap_m, growth_m_per_pa * pressure_pa
    # The quotient written out, so that a rigid gap (k = 0) is no special case.
    mean_cube = h**3 + 1.5 * h**2 * s + h * s**2 + 0.25 * s**3
    return (
        _per_cubed_gap(diameter_m, length_m, viscosity_pa_s, eccentricity) * pressure_pa * mean_cube
    )


def guide_leakage(
    pressure_pa: F,
    radial_gap_m: float,
    diameter_m: float,
    length_m: float,
    viscosity_pa_s: float,
    *,
    eccentricity: float = 0.0,
    growth_m_per_pa: float = 0.0,
    alpha_per_pa: float = 0.0,
) -> F:
    r"""Leakage through a gap that grows with pressure, of a fluid that thickens with it.

    .. math:: Q = \frac{\pi d}{12 L}\left(1 + \tfrac{3}{2} e^2\right)
              \int_0^p \frac{(h_0 + kp')^3}{\mu_0 e^{\alpha p'}}\,dp'

    Parameters
    ----------
    pressure_pa : float or ndarray
        Pressure over the length of the guide, [Pa]
    radial_gap_m : float
        Radial gap without pressure :math:`h_0`, [m]
    diameter_m : float
        Mean diameter of the gap, [m]
    length_m : float
        Sealing length, [m]
    viscosity_pa_s : float
        Dynamic viscosity at zero gauge pressure :math:`\mu_0`, [Pa s]
    eccentricity : float
        Offset of the needle over the radial gap, 0 to 1, [1]
    growth_m_per_pa : float
        Growth of the radial gap :math:`k`, see :func:`gap_growth_per_pa`, [m/Pa]
    alpha_per_pa : float
        Barus coefficient :math:`\alpha`, [1/Pa]

    Returns
    -------
    float or ndarray
        Leakage, measured at zero gauge pressure, [m^3/s]

    Raises
    ------
    ValueError
        As :func:`elastic_gap_leakage`.

    Notes
    -----
    Gauss-Legendre quadrature with 12 nodes; exact to rounding for alpha p up to about 10.

    References
    ----------
    .. [1] Reynolds' thin-film equation in one dimension with Barus' viscosity (derived).
    """
    require_not_negative(radial_gap_m=radial_gap_m, growth_m_per_pa=growth_m_per_pa,
                         alpha_per_pa=alpha_per_pa)  # fmt: skip
    mean_cube = _mean_over_pressure(pressure_pa, radial_gap_m, growth_m_per_pa, alpha_per_pa)
    per_cube = _per_cubed_gap(diameter_m, length_m, viscosity_pa_s, eccentricity)
    leakage: F = number_or_array(per_cube * pressure_pa * mean_cube)
    return leakage


def leak_factor(pressure_pa: F, alpha_per_pa: float, relative_growth_per_pa: float = 0.0) -> F:
    r"""Leak at a pressure over the leak that low-pressure conductance alone would give.

    .. math:: \lambda(p) = \frac{Q(p)}{G_0 p} = \frac{1}{p}\int_0^p (1 + gp')^3 e^{-\alpha p'}\,dp'

    Parameters
    ----------
    pressure_pa : float or ndarray
        Gauge pressure, [Pa]
    alpha_per_pa : float
        Barus coefficient, [1/Pa]
    relative_growth_per_pa : float
        Growth of the radial gap for each Pa over the gap without pressure, :math:`g = k/h_0`,
        [1/Pa]

    Returns
    -------
    float or ndarray
        Factor; 1 at zero pressure, [1]

    Raises
    ------
    ValueError
        If a coefficient is negative.

    References
    ----------
    .. [1] As :func:`guide_leakage`.
    """
    require_not_negative(alpha_per_pa=alpha_per_pa, relative_growth_per_pa=relative_growth_per_pa)
    mean_cube = _mean_over_pressure(pressure_pa, 1.0, relative_growth_per_pa, alpha_per_pa)
    factor: F = number_or_array(mean_cube)
    return factor


def clearance_from_conductance(
    conductance_m3_s_pa: F,
    diameter_m: float,
    length_m: float,
    viscosity_pa_s: float,
    eccentricity: float = 0.0,
) -> F:
    r"""Effective hydraulic clearance, diametral, from the conductance at low pressure.

    .. math:: 2h = 2\left[\frac{12\mu L G_0}{\pi d (1 + \tfrac{3}{2} e^2)}\right]^{1/3}

    Parameters
    ----------
    conductance_m3_s_pa : float or ndarray
        Conductance in the limit of low pressure :math:`G_0`, [m^3/(s Pa)]
    diameter_m : float
        Mean diameter of the gap, [m]
    length_m : float
        Sealing length, [m]
    viscosity_pa_s : float
        Dynamic viscosity at zero gauge pressure, [Pa s]
    eccentricity : float
        Offset of the needle over the radial gap, 0 to 1; usually unknown, so give the interval
        from 1 to 0, [1]

    Returns
    -------
    float or ndarray
        Diametral clearance, [m]

    Raises
    ------
    ValueError
        As :func:`guide_conductance`, or if the conductance is negative.

    References
    ----------
    .. [1] As :func:`guide_conductance`, solved for the gap.
    """
    require_not_negative(conductance_m3_s_pa=conductance_m3_s_pa)
    cubed = conductance_m3_s_pa / _per_cubed_gap(diameter_m, length_m, viscosity_pa_s, eccentricity)
    result: F = 2.0 * np.cbrt(cubed)
    return result


def clearance_from_leakage(
    leakage_m3_s: F,
    pressure_pa: F,
    diameter_m: float,
    length_m: float,
    viscosity_pa_s: float,
    *,
    eccentricity: float = 0.0,
    growth_m_per_pa: float = 0.0,
    alpha_per_pa: float = 0.0,
) -> F:
    r"""Effective hydraulic clearance without pressure, diametral, from a leak at a pressure.

    Parameters
    ----------
    leakage_m3_s : float or ndarray
        Leakage at that pressure, measured at zero gauge pressure, [m^3/s]
    pressure_pa : float or ndarray
        Pressure over the length of the guide, [Pa]
    diameter_m : float
        Mean diameter of the gap, [m]
    length_m : float
        Sealing length, [m]
    viscosity_pa_s : float
        Dynamic viscosity at zero gauge pressure, [Pa s]
    eccentricity : float
        Offset of the needle over the radial gap, 0 to 1, [1]
    growth_m_per_pa : float
        Growth of the radial gap, see :func:`gap_growth_per_pa`, [m/Pa]
    alpha_per_pa : float
        Barus coefficient, [1/Pa]

    Returns
    -------
    float or ndarray
        Diametral clearance, [m]. Zero where the elastic growth alone would leak as much or
        more: then the pair is tight, or the growth is overrated.

    Raises
    ------
    ValueError
        If pressure, a dimension or the viscosity is not positive, or the leakage is negative.

    Notes
    -----
    :func:`guide_leakage` solved for the gap. It is a cubic in the gap with coefficients that are
    not negative, so that Newton's method started above the root cannot miss it.

    References
    ----------
    .. [1] As :func:`guide_leakage`.
    """
    require_positive(pressure_pa=pressure_pa)
    require_not_negative(leakage_m3_s=leakage_m3_s, growth_m_per_pa=growth_m_per_pa,
                         alpha_per_pa=alpha_per_pa)  # fmt: skip
    per_cube = _per_cubed_gap(diameter_m, length_m, viscosity_pa_s, eccentricity)
    target = np.asarray(leakage_m3_s / (per_cube * pressure_pa), dtype=np.float64)
    local = np.asarray(pressure_pa, dtype=np.float64)[..., None] * GAUSS_NODES
    weight = GAUSS_WEIGHTS * np.exp(-np.asarray(alpha_per_pa)[..., None] * local)
    grown = np.asarray(growth_m_per_pa)[..., None] * local
    # Mean of weight (h + grown)^3 = c0 + c1 h + c2 h^2 + c3 h^3.
    c0 = np.sum(weight * grown**3, axis=-1)
    c1 = 3.0 * np.sum(weight * grown**2, axis=-1)
    c2 = 3.0 * np.sum(weight * grown, axis=-1)
    c3 = np.sum(weight, axis=-1)
    gap = np.cbrt(target / c3)
    for _ in range(60):
        excess = c0 - target + gap * (c1 + gap * (c2 + gap * c3))
        slope = c1 + gap * (2.0 * c2 + 3.0 * gap * c3)
        step = np.divide(excess, slope, out=np.zeros_like(gap), where=slope > 0.0)
        gap = np.maximum(gap - step, 0.0)
        if np.all(np.abs(step) <= 1e-14 * gap):
            break
    clearance: F = number_or_array(2.0 * gap)
    return clearance


def gap_reynolds_number(
    leakage_m3_s: F, diameter_m: float, density_kg_m3: float, viscosity_pa_s: float
) -> F:
    r"""Reynolds number of the flow in the gap, on the hydraulic diameter 2h.

    .. math:: Re = \frac{\rho U\,2h}{\mu} = \frac{2\rho Q}{\pi d\mu}

    Parameters
    ----------
    leakage_m3_s : float or ndarray
        Leakage, [m^3/s]
    diameter_m : float
        Mean diameter of the gap, [m]
    density_kg_m3 : float
        Density, [kg/m^3]
    viscosity_pa_s : float
        Dynamic viscosity, [Pa s]

    Returns
    -------
    float or ndarray
        Reynolds number; the formulas here need it well under 2000, [1]

    Raises
    ------
    ValueError
        If diameter or viscosity is not positive.

    References
    ----------
    .. [1] Definition of the Reynolds number; the gap cancels.
    """
    require_positive(diameter_m=diameter_m, viscosity_pa_s=viscosity_pa_s)
    return leakage_m3_s * (2.0 * density_kg_m3 / (np.pi * diameter_m * viscosity_pa_s))


def _per_cubed_gap(
    diameter_m: float, length_m: float, viscosity_pa_s: float, eccentricity: float
) -> float:
    require_positive(diameter_m=diameter_m, length_m=length_m, viscosity_pa_s=viscosity_pa_s)
    return (
        np.pi * diameter_m / (12.0 * viscosity_pa_s * length_m) * eccentricity_factor(eccentricity)
    )


def _mean_over_pressure(pressure: ArrayLike, gap: ArrayLike, growth: ArrayLike,
                        alpha: ArrayLike) -> Array:  # fmt: skip
    """Return the mean of (gap + growth p)^3 exp(-alpha p) over 0..pressure."""
    local = np.asarray(pressure, dtype=np.float64)[..., None] * GAUSS_NODES
    gap, growth, alpha = (np.asarray(a, dtype=np.float64)[..., None] for a in (gap, growth, alpha))
    result: Array = ((gap + growth * local) ** 3 * np.exp(-alpha * local)) @ GAUSS_WEIGHTS
    return result
