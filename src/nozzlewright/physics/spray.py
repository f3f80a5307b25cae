"""Published correlations for the spray: an indication, never a verdict.

All were fitted to engine sprays into dense gas. In open air (1.2 kg/m3) they differ by a factor
of two between themselves, and at hand-pump rates the jet is partly throttled at the seat.

Never put a hand near a spray: a jet pierces skin from some ten bar, which is a surgical
emergency even if it does not hurt; the mist burns.
"""

from __future__ import annotations

import numpy as np

from nozzlewright.physics._arguments import (
    F,
    number_or_array,
    require_not_negative,
    require_positive,
)

HIROYASU_ARAI = (28.65, 0.39, 2.95)
"""Break-up time, first and second branch of Hiroyasu and Arai's penetration, [1]."""


def hiroyasu_arai_breakup_time(
    hole_diameter_m: F,
    pressure_drop_pa: float,
    liquid_density_kg_m3: float,
    gas_density_kg_m3: float,
) -> F:
    r"""Time after which the jet has broken up.

    .. math:: t_b = 28.65\frac{\rho_l D}{\sqrt{\rho_a\Delta p}}

    Parameters
    ----------
    hole_diameter_m : float or ndarray
        Hole diameter :math:`D`, [m]
    pressure_drop_pa : float
        Pressure over the hole, [Pa]
    liquid_density_kg_m3, gas_density_kg_m3 : float
        Density of fluid and of the gas it enters, [kg/m^3]

    Returns
    -------
    float or ndarray
        Time, [s]

    Raises
    ------
    ValueError
        If an argument is not positive.

    References
    ----------
    .. [1] H. Hiroyasu and M. Arai, SAE 900475 (constants from memory; they meet at t_b).
    """
    _require_spray(hole_diameter_m, pressure_drop_pa, liquid_density_kg_m3, gas_density_kg_m3)
    breakup: F = (
        HIROYASU_ARAI[0]
        * liquid_density_kg_m3
        / np.sqrt(gas_density_kg_m3 * pressure_drop_pa)
        * hole_diameter_m
    )
    return breakup


def hiroyasu_arai_penetration(
    time_s: F,
    hole_diameter_m: float,
    pressure_drop_pa: float,
    liquid_density_kg_m3: float,
    gas_density_kg_m3: float,
) -> F:
    r"""Tip penetration of the spray.

    .. math:: S = 0.39\sqrt{2\Delta p/\rho_l}\;t \quad (t < t_b), \qquad
              S = 2.95(\Delta p/\rho_a)^{1/4}\sqrt{D t} \quad (t \ge t_b)

    Parameters
    ----------
    time_s : float or ndarray
        Time since the start of injection, [s]
    hole_diameter_m : float
        Hole diameter, [m]
    pressure_drop_pa : float
        Pressure over the hole, [Pa]
    liquid_density_kg_m3, gas_density_kg_m3 : float
        Density of fluid and of the gas it enters, [kg/m^3]

    Returns
    -------
    float or ndarray
        Penetration, [m]

    Raises
    ------
    ValueError
        If an argument is not positive, or the time is negative.

    Notes
    -----
    Fitted at engine gas density; an indication only on an open bench.

    References
    ----------
    .. [1] H. Hiroyasu and M. Arai, SAE 900475 (constants from memory; they meet at t_b).
    """
    require_not_negative(time_s=time_s)
    breakup = hiroyasu_arai_breakup_time(
        hole_diameter_m, pressure_drop_pa, liquid_density_kg_m3, gas_density_kg_m3
    )
    early = HIROYASU_ARAI[1] * np.sqrt(2.0 * pressure_drop_pa / liquid_density_kg_m3) * time_s
    late = (
        HIROYASU_ARAI[2]
        * (pressure_drop_pa / gas_density_kg_m3) ** 0.25
        * np.sqrt(hole_diameter_m * time_s)
    )
    result: F = number_or_array(np.where(time_s < breakup, early, late))
    return result


def naber_siebers_time(penetration: F) -> F:
    r"""Dimensionless time for a dimensionless penetration, exact form.

    .. math:: \tilde t = \frac{\tilde S}{2} + \frac{\tilde S}{4}\sqrt{1 + 16\tilde S^2}
              + \frac{1}{16}\ln\left(4\tilde S + \sqrt{1 + 16\tilde S^2}\right)

    Parameters
    ----------
    penetration : float or ndarray
        Dimensionless penetration, [1]

    Returns
    -------
    float or ndarray
        Dimensionless time, [1]

    References
    ----------
    .. [1] J. D. Naber and D. L. Siebers, SAE 960034 (from memory; equals the momentum integral).
    """
    root = np.sqrt(1.0 + 16.0 * penetration**2)
    result: F = penetration / 2.0 + penetration / 4.0 * root + np.arcsinh(4.0 * penetration) / 16.0
    return result


def naber_siebers_explicit(time: F) -> F:
    r"""Dimensionless penetration for a dimensionless time, approximate explicit form.

    .. math:: \tilde S = \frac{\tilde t}{(1 + \tilde t^{\,n/2})^{1/n}}, \quad n = 2.2

    Parameters
    ----------
    time : float or ndarray
        Dimensionless time, [1]

    Returns
    -------
    float or ndarray
        Dimensionless penetration, 3 % below to 7 % above the exact form, [1]

    References
    ----------
    .. [1] J. D. Naber and D. L. Siebers, SAE 960034 (from memory).
    """
    penetration: F = time / (1.0 + time**1.1) ** (1.0 / 2.2)
    return penetration


def naber_siebers_angle(
    liquid_density_kg_m3: float, gas_density_kg_m3: F, constant: float = 0.26
) -> F:
    r"""Full spreading angle of the spray.

    .. math:: \tan\frac{\theta}{2} = c\left[\left(\frac{\rho_a}{\rho_f}\right)^{0.19}
              - 0.0043\sqrt{\frac{\rho_f}{\rho_a}}\right]

    Parameters
    ----------
    liquid_density_kg_m3 : float
        Density of the fluid, [kg/m^3]
    gas_density_kg_m3 : float or ndarray
        Density of the gas, [kg/m^3]
    constant : float
        Depends on the hole; 0.26 for one of the original nozzles, [1]

    Returns
    -------
    float or ndarray
        Full angle, [rad]

    Raises
    ------
    ValueError
        If a density is not positive.

    References
    ----------
    .. [1] J. D. Naber and D. L. Siebers, SAE 960034 (from memory).
    """
    require_positive(liquid_density_kg_m3=liquid_density_kg_m3, gas_density_kg_m3=gas_density_kg_m3)
    ratio = gas_density_kg_m3 / liquid_density_kg_m3
    angle: F = 2.0 * np.arctan(constant * (ratio**0.19 - 0.0043 / np.sqrt(ratio)))
    return angle


def naber_siebers_penetration(
    time_s: F,
    hole_diameter_m: float,
    pressure_drop_pa: float,
    liquid_density_kg_m3: float,
    gas_density_kg_m3: float,
    spray_angle_rad: float,
    *,
    area_coefficient: float = 0.8,
    velocity_coefficient: float = 0.95,
) -> F:
    r"""Tip penetration of the spray, from the momentum of the jet.

    .. math:: x^+ = \frac{\sqrt{C_a} D\sqrt{\rho_f/\rho_a}}{0.66\tan(\theta/2)}, \quad
              t^+ = \frac{x^+}{C_v\sqrt{2\Delta p/\rho_f}}, \quad S = x^+\tilde S(t/t^+)

    Parameters
    ----------
    time_s : float or ndarray
        Time since the start of injection, [s]
    hole_diameter_m : float
        Hole diameter, [m]
    pressure_drop_pa : float
        Pressure over the hole, [Pa]
    liquid_density_kg_m3, gas_density_kg_m3 : float
        Density of fluid and of the gas it enters, [kg/m^3]
    spray_angle_rad : float
        Full spreading angle, [rad]
    area_coefficient, velocity_coefficient : float
        Coefficients of the hole, [1]

    Returns
    -------
    float or ndarray
        Penetration, [m]

    Raises
    ------
    ValueError
        If an argument is not positive, or the time is negative.

    Notes
    -----
    Fitted at gas densities of 3 to 200 kg/m3; an indication only on an open bench.

    References
    ----------
    .. [1] J. D. Naber and D. L. Siebers, SAE 960034 (from memory).
    """
    require_not_negative(time_s=time_s)
    require_positive(spray_angle_rad=spray_angle_rad, area_coefficient=area_coefficient,
                     velocity_coefficient=velocity_coefficient)  # fmt: skip
    _require_spray(hole_diameter_m, pressure_drop_pa, liquid_density_kg_m3, gas_density_kg_m3)
    length = (
        np.sqrt(area_coefficient * liquid_density_kg_m3 / gas_density_kg_m3)
        * hole_diameter_m
        / (0.66 * np.tan(0.5 * spray_angle_rad))
    )
    velocity = velocity_coefficient * np.sqrt(2.0 * pressure_drop_pa / liquid_density_kg_m3)
    penetration: F = length * naber_siebers_explicit(time_s * (velocity / length))
    return penetration


def hiroyasu_sauter_diameters(
    hole_diameter_m: float,
    velocity_m_s: F,
    liquid_density_kg_m3: float,
    gas_density_kg_m3: float,
    liquid_viscosity_pa_s: float,
    gas_viscosity_pa_s: float,
    surface_tension_n_m: float,
) -> tuple[F, F]:
    r"""Sauter mean diameter for an incomplete and for a complete spray; the larger one counts.

    .. math:: D\,4.12\,Re^{0.12}We^{-0.75}(\mu_l/\mu_a)^{0.54}(\rho_l/\rho_a)^{0.18}, \quad
              D\,0.38\,Re^{0.25}We^{-0.32}(\mu_l/\mu_a)^{0.37}(\rho_l/\rho_a)^{-0.47}

    Parameters
    ----------
    hole_diameter_m : float
        Hole diameter, [m]
    velocity_m_s : float or ndarray
        Velocity of the jet, [m/s]
    liquid_density_kg_m3, gas_density_kg_m3 : float
        Density of fluid and gas, [kg/m^3]
    liquid_viscosity_pa_s, gas_viscosity_pa_s : float
        Dynamic viscosity of fluid and gas, [Pa s]
    surface_tension_n_m : float
        Surface tension of the fluid, [N/m]

    Returns
    -------
    incomplete, complete : float or ndarray
        Sauter mean diameters, [m]

    Raises
    ------
    ValueError
        If an argument is not positive.

    References
    ----------
    .. [1] H. Hiroyasu, M. Arai and M. Tabata, SAE 890464 (1989; from memory).
    """
    require_positive(hole_diameter_m=hole_diameter_m, velocity_m_s=velocity_m_s,
                     liquid_density_kg_m3=liquid_density_kg_m3,
                     gas_density_kg_m3=gas_density_kg_m3,
                     liquid_viscosity_pa_s=liquid_viscosity_pa_s,
                     gas_viscosity_pa_s=gas_viscosity_pa_s,
                     surface_tension_n_m=surface_tension_n_m)  # fmt: skip
    reynolds = liquid_density_kg_m3 * hole_diameter_m / liquid_viscosity_pa_s * velocity_m_s
    weber = liquid_density_kg_m3 * hole_diameter_m / surface_tension_n_m * velocity_m_s**2
    thick = liquid_viscosity_pa_s / gas_viscosity_pa_s
    dense = liquid_density_kg_m3 / gas_density_kg_m3
    incomplete = hole_diameter_m * 4.12 * thick**0.54 * dense**0.18 * reynolds**0.12 * weber**-0.75
    complete = hole_diameter_m * 0.38 * thick**0.37 * dense**-0.47 * reynolds**0.25 * weber**-0.32
    return incomplete, complete


def elkotb_sauter_diameter(
    pressure_drop_pa: F,
    viscosity_m2_s: float,
    surface_tension_n_m: float,
    liquid_density_kg_m3: float,
    gas_density_kg_m3: float,
) -> F:
    r"""Sauter mean diameter after Elkotb.

    .. math:: 3.08\cdot10^6\,\nu^{0.385}\sigma^{0.737}\rho_l^{0.737}\rho_a^{0.06}\Delta p^{-0.54}
              \quad(\mu\mathrm m)

    Parameters
    ----------
    pressure_drop_pa : float or ndarray
        Pressure over the hole, [Pa]
    viscosity_m2_s : float
        Kinematic viscosity of the fluid, [m^2/s]
    surface_tension_n_m : float
        Surface tension, [N/m]
    liquid_density_kg_m3, gas_density_kg_m3 : float
        Density of fluid and gas, [kg/m^3]

    Returns
    -------
    float or ndarray
        Sauter mean diameter, [m]

    Raises
    ------
    ValueError
        If an argument is not positive.

    References
    ----------
    .. [1] M. M. Elkotb, Progress in Energy and Combustion Science 8 (1982) 61 (from memory).
    """
    require_positive(pressure_drop_pa=pressure_drop_pa, viscosity_m2_s=viscosity_m2_s,
                     surface_tension_n_m=surface_tension_n_m,
                     liquid_density_kg_m3=liquid_density_kg_m3,
                     gas_density_kg_m3=gas_density_kg_m3)  # fmt: skip
    at_one_pascal_um = (
        3.08e6
        * viscosity_m2_s**0.385
        * (surface_tension_n_m * liquid_density_kg_m3) ** 0.737
        * gas_density_kg_m3**0.06
    )
    diameter: F = pressure_drop_pa**-0.54 * (at_one_pascal_um * 1e-6)
    return diameter


def hiroyasu_cone_angle(
    hole_length_ratio: float,
    hole_sac_ratio: float,
    liquid_density_kg_m3: float,
    gas_density_kg_m3: F,
) -> F:
    r"""Full cone angle of the spray from the proportions of hole and sac.

    .. math:: \theta = 83.5(L/D)^{-0.22}(D/D_{sac})^{0.15}(\rho_a/\rho_l)^{0.26}\quad(\deg)

    Parameters
    ----------
    hole_length_ratio : float
        Length over diameter of the hole, [1]
    hole_sac_ratio : float
        Diameter of the hole over that of the sac, [1]
    liquid_density_kg_m3 : float
        Density of the fluid, [kg/m^3]
    gas_density_kg_m3 : float or ndarray
        Density of the gas, [kg/m^3]

    Returns
    -------
    float or ndarray
        Full angle, [rad]

    Raises
    ------
    ValueError
        If an argument is not positive.

    References
    ----------
    .. [1] H. Hiroyasu and M. Arai, SAE 900475 (from memory).
    """
    require_positive(hole_length_ratio=hole_length_ratio, hole_sac_ratio=hole_sac_ratio,
                     liquid_density_kg_m3=liquid_density_kg_m3,
                     gas_density_kg_m3=gas_density_kg_m3)  # fmt: skip
    shape = 83.5 * hole_length_ratio**-0.22 * hole_sac_ratio**0.15
    ratio = gas_density_kg_m3 / liquid_density_kg_m3
    angle: F = ratio**0.26 * (shape * np.pi / 180.0)
    return angle


def reitz_bracco_cone_angle(
    hole_length_ratio: float, liquid_density_kg_m3: float, gas_density_kg_m3: F
) -> F:
    r"""Full cone angle of the spray from jet instability.

    .. math:: \tan\frac{\theta}{2} = \frac{4\pi}{3 + 0.28 L/D}
              \sqrt{\frac{\rho_a}{\rho_l}}\,\frac{\sqrt 3}{6}

    Parameters
    ----------
    hole_length_ratio : float
        Length over diameter of the hole, [1]
    liquid_density_kg_m3 : float
        Density of the fluid, [kg/m^3]
    gas_density_kg_m3 : float or ndarray
        Density of the gas, [kg/m^3]

    Returns
    -------
    float or ndarray
        Full angle, [rad]

    Raises
    ------
    ValueError
        If an argument is not positive.

    References
    ----------
    .. [1] R. D. Reitz and F. V. Bracco, SAE 790494 (from memory).
    """
    require_positive(hole_length_ratio=hole_length_ratio,
                     liquid_density_kg_m3=liquid_density_kg_m3,
                     gas_density_kg_m3=gas_density_kg_m3)  # fmt: skip
    slope = 4.0 * np.pi / (3.0 + 0.28 * hole_length_ratio) * np.sqrt(3.0) / 6.0
    angle: F = 2.0 * np.arctan(slope * np.sqrt(gas_density_kg_m3 / liquid_density_kg_m3))
    return angle


def _require_spray(
    hole_diameter_m: float | np.ndarray, dp: float, rho_l: float, rho_a: float
) -> None:
    require_positive(hole_diameter_m=hole_diameter_m, pressure_drop_pa=dp,
                     liquid_density_kg_m3=rho_l, gas_density_kg_m3=rho_a)  # fmt: skip
