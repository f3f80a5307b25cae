"""The two-spring holder: a soft spring to the pre-lift, both springs after it."""

from __future__ import annotations

import numpy as np

from nozzlewright.physics._arguments import F, require_not_negative
from nozzlewright.physics.needle import circle_area, lifting_area


def second_opening_pressure(
    first_opening_pa: F,
    first_rate_n_per_m: F,
    pre_lift_m: F,
    second_force_n: F,
    guide_diameter_m: float,
    seat_diameter_m: float,
    seat_share: float = 1.0,
) -> F:
    r"""Pressure at which the needle leaves the pre-lift stop.

    .. math:: p_2 = \frac{p_1(A_g - A_s) + k_1 h_1 + F_2}{A_g - A_s(1 - s)}

    Parameters
    ----------
    first_opening_pa : float or ndarray
        First opening pressure :math:`p_1`, [Pa]
    first_rate_n_per_m : float or ndarray
        Rate of the first spring :math:`k_1`, [N/m]
    pre_lift_m : float or ndarray
        Lift at which the needle meets the second spring :math:`h_1`, [m]
    second_force_n : float or ndarray
        Preload of the second spring :math:`F_2`, [N]
    guide_diameter_m : float
        Diameter of the needle in its guide, [m]
    seat_diameter_m : float
        Diameter at which the closed seat seals, [m]
    seat_share : float
        How much of the pressure stands under the seat :math:`s`, from 0 (all of it lost in the
        narrow seat) to 1 (none), [1]

    Returns
    -------
    float or ndarray
        Gauge pressure, [Pa]

    Raises
    ------
    ValueError
        As :func:`nozzlewright.physics.lifting_area`, or if the share is not in 0..1, or pre-lift
        or preload is negative.

    Notes
    -----
    Static, without friction. At pre-lift the seat throttles, so the truth lies between the two
    ends of `seat_share`; a hand pump often cannot reach it, and the gauge then shows the first
    pressure alone.

    References
    ----------
    .. [1] Balance of forces (derived).
    """
    require_not_negative(pre_lift_m=pre_lift_m, second_force_n=second_force_n)
    closed, area = _areas(guide_diameter_m, seat_diameter_m, seat_share)
    force = first_opening_pa * closed + first_rate_n_per_m * pre_lift_m + second_force_n
    return force / area


def second_spring_preload(
    second_opening_pa: F,
    first_opening_pa: F,
    first_rate_n_per_m: F,
    pre_lift_m: F,
    guide_diameter_m: float,
    seat_diameter_m: float,
    seat_share: float = 1.0,
) -> F:
    r"""Preload of the second spring that a second opening pressure needs.

    .. math:: F_2 = p_2\left[A_g - A_s(1 - s)\right] - p_1(A_g - A_s) - k_1 h_1

    Parameters
    ----------
    second_opening_pa, first_opening_pa : float or ndarray
        Second and first opening pressure, [Pa]
    first_rate_n_per_m : float or ndarray
        Rate of the first spring, [N/m]
    pre_lift_m : float or ndarray
        Lift at which the needle meets the second spring, [m]
    guide_diameter_m : float
        Diameter of the needle in its guide, [m]
    seat_diameter_m : float
        Diameter at which the closed seat seals, [m]
    seat_share : float
        How much of the pressure stands under the seat, 0 to 1, [1]

    Returns
    -------
    float or ndarray
        Preload; negative where the first spring alone already holds more, [N]

    Raises
    ------
    ValueError
        As :func:`second_opening_pressure`.

    References
    ----------
    .. [1] Inverse of :func:`second_opening_pressure`.
    """
    closed, area = _areas(guide_diameter_m, seat_diameter_m, seat_share)
    return second_opening_pa * area - first_opening_pa * closed - first_rate_n_per_m * pre_lift_m


def _areas(guide_m: float, seat_m: float, seat_share: float) -> tuple[float, float]:
    """Return the area that lifts the closed needle, and that which lifts it at pre-lift."""
    if not np.all((np.asarray(seat_share) >= 0.0) & (np.asarray(seat_share) <= 1.0)):
        raise ValueError(f"the share of pressure under the seat lies in 0..1, not at {seat_share}")
    closed = lifting_area(guide_m, seat_m)
    return closed, closed + seat_share * circle_area(seat_m)
