"""The helical compression spring of the holder."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from nozzlewright.physics._arguments import F, require_not_negative, require_positive

STEEL_SHEAR_MODULUS_PA = 79.5e9
"""Shear modulus of spring steel wire, [Pa]; 78.5 to 81.5 GPa in use, from memory."""
SQUARENESS_GRADES: Mapping[int, tuple[float, float]] = MappingProxyType({
    1: (0.03, 0.015),
    2: (0.05, 0.03),
    3: (0.08, 0.06),
})  # fmt: skip
"""Permissible lean over the free length, and permissible tilt of the ends over the outer diameter,
by quality grade (EN 15800, before it DIN 2095; from memory), [1]."""


def spring_rate(
    shear_modulus_pa: float, wire_diameter_m: F, coil_diameter_m: float, active_coils: float
) -> F:
    r"""Rate of a helical spring of round wire.

    .. math:: k = \frac{G d^4}{8 D^3 n}

    Parameters
    ----------
    shear_modulus_pa : float
        Shear modulus of the wire :math:`G`, [Pa]
    wire_diameter_m : float or ndarray
        Wire diameter :math:`d`, [m]
    coil_diameter_m : float
        Mean coil diameter :math:`D`, [m]
    active_coils : float
        Number of active coils :math:`n`, [1]

    Returns
    -------
    float or ndarray
        Spring rate, [N/m]

    Raises
    ------
    ValueError
        If an argument is not positive.

    Notes
    -----
    Standards allow some 5 % either way in the rate of a bought spring (common practice, no
    source): the effect of shims is better learnt on the holder itself.

    References
    ----------
    .. [1] EN 13906-1, Cylindrical helical springs made from round wire: compression springs.
    """
    require_positive(shear_modulus_pa=shear_modulus_pa, wire_diameter_m=wire_diameter_m,
                     coil_diameter_m=coil_diameter_m, active_coils=active_coils)  # fmt: skip
    return shear_modulus_pa / (8.0 * coil_diameter_m**3 * active_coils) * wire_diameter_m**4


def active_coils_for_rate(
    spring_rate_n_per_m: F,
    shear_modulus_pa: float,
    wire_diameter_m: float,
    coil_diameter_m: float,
) -> F:
    r"""Active coils that give a rate.

    .. math:: n = \frac{G d^4}{8 D^3 k}

    Parameters
    ----------
    spring_rate_n_per_m : float or ndarray
        Spring rate :math:`k`, [N/m]
    shear_modulus_pa : float
        Shear modulus of the wire, [Pa]
    wire_diameter_m : float
        Wire diameter, [m]
    coil_diameter_m : float
        Mean coil diameter, [m]

    Returns
    -------
    float or ndarray
        Active coils, [1]

    Raises
    ------
    ValueError
        If an argument is not positive.

    References
    ----------
    .. [1] Inverse of :func:`spring_rate`.
    """
    require_positive(spring_rate_n_per_m=spring_rate_n_per_m)
    return spring_rate(shear_modulus_pa, wire_diameter_m, coil_diameter_m, 1.0) / (
        spring_rate_n_per_m
    )


def spring_index(coil_diameter_m: F, wire_diameter_m: float) -> F:
    r"""Spring index, :math:`C = D/d`.

    Parameters
    ----------
    coil_diameter_m : float or ndarray
        Mean coil diameter, [m]
    wire_diameter_m : float
        Wire diameter, [m]

    Returns
    -------
    float or ndarray
        Index, usually 4 to 20, [1]

    References
    ----------
    .. [1] EN 13906-1, which writes it w.
    """
    return coil_diameter_m / wire_diameter_m


def wahl_factor(index: F) -> F:
    r"""Wahl's correction of the shear stress for curvature and direct shear.

    .. math:: K_W = \frac{4C - 1}{4C - 4} + \frac{0.615}{C}

    Parameters
    ----------
    index : float or ndarray
        Spring index :math:`C`, above 1, [1]

    Returns
    -------
    float or ndarray
        Factor, [1]

    References
    ----------
    .. [1] A. M. Wahl, Mechanical Springs (from memory).
    """
    return (4.0 * index - 1.0) / (4.0 * index - 4.0) + 0.615 / index


def bergstraesser_factor(index: F) -> F:
    r"""Correction of the shear stress used by EN 13906-1, after Bergstraesser.

    .. math:: k = \frac{w + 0.5}{w - 0.75} = \frac{4C + 2}{4C - 3}

    Parameters
    ----------
    index : float or ndarray
        Spring index :math:`w = C`, above 0.75, [1]

    Returns
    -------
    float or ndarray
        Factor, [1]

    References
    ----------
    .. [1] EN 13906-1.
    """
    return (index + 0.5) / (index - 0.75)


def spring_shear_stress(
    spring_force_n: F, wire_diameter_m: float, coil_diameter_m: float, correction: float = 1.0
) -> F:
    r"""Greatest shear stress in the wire.

    .. math:: \tau = k\frac{8 D F}{\pi d^3}

    Parameters
    ----------
    spring_force_n : float or ndarray
        Load :math:`F`, [N]
    wire_diameter_m : float
        Wire diameter :math:`d`, [m]
    coil_diameter_m : float
        Mean coil diameter :math:`D`, [m]
    correction : float
        :func:`bergstraesser_factor` or :func:`wahl_factor`; 1 for static sizing, [1]

    Returns
    -------
    float or ndarray
        Shear stress, [Pa]

    Raises
    ------
    ValueError
        If a diameter is not positive.

    References
    ----------
    .. [1] EN 13906-1.
    """
    require_positive(wire_diameter_m=wire_diameter_m, coil_diameter_m=coil_diameter_m)
    per_newton = correction * 8.0 * coil_diameter_m / (3.141592653589793 * wire_diameter_m**3)
    return spring_force_n * per_newton


def spring_force(spring_rate_n_per_m: float, free_length_m: float, length_m: F) -> F:
    r"""Load of a spring pressed to a length.

    .. math:: F = k(L_0 - L)

    Parameters
    ----------
    spring_rate_n_per_m : float
        Spring rate, [N/m]
    free_length_m : float
        Length without load :math:`L_0`, [m]
    length_m : float or ndarray
        Length under load :math:`L`, [m]

    Returns
    -------
    float or ndarray
        Load; negative where the spring is slack, [N]

    References
    ----------
    .. [1] EN 13906-1.
    """
    return spring_rate_n_per_m * (free_length_m - length_m)


def spring_length(spring_rate_n_per_m: float, free_length_m: float, spring_force_n: F) -> F:
    r"""Length of a spring under a load.

    .. math:: L = L_0 - F/k

    Parameters
    ----------
    spring_rate_n_per_m : float
        Spring rate, [N/m]
    free_length_m : float
        Length without load, [m]
    spring_force_n : float or ndarray
        Load, [N]

    Returns
    -------
    float or ndarray
        Length, [m]

    Raises
    ------
    ValueError
        If the rate is not positive.

    References
    ----------
    .. [1] Inverse of :func:`spring_force`.
    """
    require_positive(spring_rate_n_per_m=spring_rate_n_per_m)
    return free_length_m - spring_force_n / spring_rate_n_per_m


def solid_length(wire_diameter_m: float, total_coils: F) -> F:
    r"""Length at which a spring with ground ends is solid.

    .. math:: L_c = n_t d

    Parameters
    ----------
    wire_diameter_m : float
        Wire diameter, [m]
    total_coils : float or ndarray
        Active and dead coils together, [1]

    Returns
    -------
    float or ndarray
        Solid length, [m]

    References
    ----------
    .. [1] EN 13906-1, ends squared and ground.
    """
    return wire_diameter_m * total_coils


def least_coil_gap(wire_diameter_m: F, coil_diameter_m: float, active_coils: float) -> F:
    r"""Sum of the gaps that must stay open between the coils at the longest static load.

    .. math:: S_a = n\left(0.0015\frac{D^2}{d} + 0.1 d\right) \quad\text{(mm)}

    Parameters
    ----------
    wire_diameter_m : float or ndarray
        Wire diameter, [m]
    coil_diameter_m : float
        Mean coil diameter, [m]
    active_coils : float
        Number of active coils, [1]

    Returns
    -------
    float or ndarray
        Sum of gaps; half as much again for a spring that works, [m]

    References
    ----------
    .. [1] EN 13906-1, cold-formed springs (formula is free of units).
    """
    return active_coils * (0.0015 * coil_diameter_m**2 / wire_diameter_m + 0.1 * wire_diameter_m)


def spring_lean_angle(lean_m: F, free_length_m: F) -> F:
    r"""Angle by which a spring that stands on a plate leans.

    .. math:: \varphi = \arctan(e_1/L_0)

    Parameters
    ----------
    lean_m : float or ndarray
        Widest gap between a square and the spring at its top :math:`e_1`, the spring turned
        round once, [m]
    free_length_m : float or ndarray
        Length without load :math:`L_0`, [m]

    Returns
    -------
    float or ndarray
        Angle, [rad]

    Raises
    ------
    ValueError
        If the length is not positive or the lean negative.

    References
    ----------
    .. [1] Geometry; :math:`e_1` as in EN 15800 (from memory), where 0.03, 0.05 and
       0.08 of the length are given as 1.7, 2.9 and 4.6 degrees.

    Examples
    --------
    >>> [f"{np.degrees(spring_lean_angle(lean, 1.0)):.1f}" for lean in (0.03, 0.05, 0.08)]
    ['1.7', '2.9', '4.6']
    """
    require_positive(free_length_m=free_length_m)
    require_not_negative(lean_m=lean_m)
    angle: F = np.arctan(lean_m / free_length_m)
    return angle


def squareness_grade(lean_ratio: float, tilt_ratio: float = 0.0) -> int:
    """Best quality grade that a spring's squareness still meets.

    Parameters
    ----------
    lean_ratio : float
        Lean over the free length, [1]
    tilt_ratio : float
        Difference of length round the ends over the outer diameter, [1]

    Returns
    -------
    int
        Grade 1 to 3; 0 where it meets none, [1]

    Raises
    ------
    ValueError
        If a ratio is negative.

    References
    ----------
    .. [1] EN 15800 (from memory), see :data:`SQUARENESS_GRADES`.

    Examples
    --------
    >>> squareness_grade(0.02), squareness_grade(0.05), squareness_grade(0.02, 0.05)
    (1, 2, 3)
    """
    require_not_negative(lean_ratio=lean_ratio, tilt_ratio=tilt_ratio)
    for grade, (lean, tilt) in SQUARENESS_GRADES.items():
        if lean_ratio <= lean * (1.0 + 1e-12) and tilt_ratio <= tilt * (1.0 + 1e-12):
            return grade
    return 0
