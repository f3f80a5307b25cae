"""Balance of the differential needle: when it lifts and when it falls back.

Pressure lifts the closed needle on the guide area less the seat area; once it is off the seat,
on the whole guide area. So it closes below the pressure at which it opened.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from nozzlewright.physics._arguments import F, require_not_negative, require_positive


def circle_area(diameter_m: F) -> F:
    r"""Area of a circle, :math:`\pi d^2/4`.

    Parameters
    ----------
    diameter_m : float or ndarray
        Diameter, [m]

    Returns
    -------
    float or ndarray
        Area, [m^2]

    References
    ----------
    .. [1] Geometry.
    """
    return diameter_m**2 * (0.25 * np.pi)


def lifting_area(guide_diameter_m: float, seat_diameter_m: float) -> float:
    r"""Area on which pressure lifts the closed needle.

    .. math:: A_g - A_s = \tfrac{\pi}{4}(d_g^2 - d_s^2)

    Parameters
    ----------
    guide_diameter_m : float
        Diameter of the needle in its guide, [m]
    seat_diameter_m : float
        Diameter at which the closed seat seals, [m]

    Returns
    -------
    float
        Area, [m^2]

    Raises
    ------
    ValueError
        If the guide is not wider than the seat, or a diameter is not positive.

    References
    ----------
    .. [1] Geometry.
    """
    require_positive(guide_diameter_m=guide_diameter_m, seat_diameter_m=seat_diameter_m)
    if not np.all(np.asarray(guide_diameter_m) > seat_diameter_m):
        raise ValueError(
            f"the guide ({guide_diameter_m} m) must be wider than the seat ({seat_diameter_m} m)"
        )
    return 0.25 * np.pi * (guide_diameter_m - seat_diameter_m) * (guide_diameter_m
                                                                  + seat_diameter_m)  # fmt: skip


def opening_pressure(
    spring_force_n: F,
    guide_diameter_m: float,
    seat_diameter_m: float,
    *,
    back_pressure_pa: float = 0.0,
    cylinder_pressure_pa: float = 0.0,
    friction_n: float = 0.0,
) -> F:
    r"""Pressure at which the needle lifts off its seat.

    .. math:: p_o = \frac{F + F_r + p_b A_g - p_c A_s}{A_g - A_s}

    Parameters
    ----------
    spring_force_n : float or ndarray
        Load of the closed spring :math:`F`, [N]
    guide_diameter_m : float
        Diameter of the needle in its guide, [m]
    seat_diameter_m : float
        Diameter at which the closed seat seals, [m]
    back_pressure_pa : float
        Pressure in the spring chamber :math:`p_b`, [Pa]
    cylinder_pressure_pa : float
        Pressure outside the holes :math:`p_c`; 0 on the bench, [Pa]
    friction_n : float
        Friction that holds the needle down :math:`F_r`, [N]

    Returns
    -------
    float or ndarray
        Gauge pressure, [Pa]

    Raises
    ------
    ValueError
        As :func:`lifting_area`, or if the friction is negative.

    Notes
    -----
    Static. The opening on the engine lies below that on the bench by the cylinder's share.

    References
    ----------
    .. [1] Balance of forces (derived).

    Examples
    --------
    >>> f"{opening_pressure(401.888, 6e-3, 2.6e-3) / 1e5:.2f} bar"
    '175.00 bar'
    """
    require_not_negative(friction_n=friction_n)
    return (
        spring_force_n
        + friction_n
        + back_pressure_pa * circle_area(guide_diameter_m)
        - cylinder_pressure_pa * circle_area(seat_diameter_m)
    ) / lifting_area(guide_diameter_m, seat_diameter_m)


def closing_pressure(
    spring_force_n: F,
    guide_diameter_m: float,
    *,
    back_pressure_pa: float = 0.0,
    friction_n: float = 0.0,
) -> F:
    r"""Pressure at which the needle reaches its seat again.

    .. math:: p_{cl} = \frac{F - F_r + p_b A_g}{A_g}

    Parameters
    ----------
    spring_force_n : float or ndarray
        Load of the closed spring :math:`F`, [N]
    guide_diameter_m : float
        Diameter of the needle in its guide, [m]
    back_pressure_pa : float
        Pressure in the spring chamber :math:`p_b`, [Pa]
    friction_n : float
        Friction that holds the needle up :math:`F_r`, [N]

    Returns
    -------
    float or ndarray
        Gauge pressure, [Pa]

    Raises
    ------
    ValueError
        If the diameter is not positive or the friction is negative.

    Notes
    -----
    Static. The pressure seen at closing lies lower, as the line empties while the needle falls;
    by how much depends on the volume of the rig.

    References
    ----------
    .. [1] Balance of forces (derived).
    """
    require_positive(guide_diameter_m=guide_diameter_m)
    require_not_negative(friction_n=friction_n)
    return (spring_force_n - friction_n) / circle_area(guide_diameter_m) + back_pressure_pa


def spring_force_for_opening(
    opening_pressure_pa: F,
    guide_diameter_m: float,
    seat_diameter_m: float,
    *,
    back_pressure_pa: float = 0.0,
    cylinder_pressure_pa: float = 0.0,
    friction_n: float = 0.0,
) -> F:
    r"""Spring load that an opening pressure needs.

    .. math:: F = p_o(A_g - A_s) - F_r - p_b A_g + p_c A_s

    Parameters
    ----------
    opening_pressure_pa : float or ndarray
        Gauge pressure at which the needle is to lift, [Pa]
    guide_diameter_m : float
        Diameter of the needle in its guide, [m]
    seat_diameter_m : float
        Diameter at which the closed seat seals, [m]
    back_pressure_pa : float
        Pressure in the spring chamber, [Pa]
    cylinder_pressure_pa : float
        Pressure outside the holes, [Pa]
    friction_n : float
        Friction that holds the needle down, [N]

    Returns
    -------
    float or ndarray
        Load of the closed spring, [N]

    Raises
    ------
    ValueError
        As :func:`opening_pressure`.

    References
    ----------
    .. [1] Inverse of :func:`opening_pressure`.
    """
    require_not_negative(friction_n=friction_n)
    return (
        opening_pressure_pa * lifting_area(guide_diameter_m, seat_diameter_m)
        - friction_n
        - back_pressure_pa * circle_area(guide_diameter_m)
        + cylinder_pressure_pa * circle_area(seat_diameter_m)
    )


def closing_ratio(guide_diameter_m: F, seat_diameter_m: F) -> F:
    r"""Ratio of closing to opening pressure, static, without friction or back pressure.

    .. math:: p_{cl}/p_o = 1 - (d_s/d_g)^2

    Parameters
    ----------
    guide_diameter_m : float or ndarray
        Diameter of the needle in its guide, [m]
    seat_diameter_m : float or ndarray
        Diameter at which the closed seat seals, [m]

    Returns
    -------
    float or ndarray
        Ratio, [1]

    References
    ----------
    .. [1] :func:`closing_pressure` over :func:`opening_pressure`.
    """
    return 1.0 - (seat_diameter_m / guide_diameter_m) ** 2


def seat_diameter_from_pressures(
    opening_pressure_pa: F, closing_pressure_pa: F, guide_diameter_m: float
) -> F:
    r"""Diameter at which the seat seals, from opening and closing pressure.

    .. math:: d_s = d_g\sqrt{1 - p_{cl}/p_o}

    Parameters
    ----------
    opening_pressure_pa, closing_pressure_pa : float or ndarray
        Static opening and closing pressure, [Pa]
    guide_diameter_m : float
        Diameter of the needle in its guide, [m]

    Returns
    -------
    float or ndarray
        Effective sealing diameter, [m]

    Raises
    ------
    ValueError
        If the closing pressure is not between zero and the opening pressure.

    Notes
    -----
    Friction and the emptying of the line lower the closing pressure and make the seat look wider
    than it is: use it to compare one nozzle with itself, not as a dimension.

    References
    ----------
    .. [1] Inverse of :func:`closing_ratio`.
    """
    ratio = np.asarray(closing_pressure_pa / opening_pressure_pa)
    if not np.all((ratio >= 0.0) & (ratio <= 1.0)):
        raise ValueError("the closing pressure must lie between zero and the opening pressure")
    result: F = guide_diameter_m * np.sqrt(1.0 - closing_pressure_pa / opening_pressure_pa)
    return result


def pressure_per_shim(spring_rate_n_per_m: F, guide_diameter_m: float, seat_diameter_m: float) -> F:
    r"""Change of opening pressure for each thickness of shim added.

    .. math:: \frac{dp_o}{dx} = \frac{k}{A_g - A_s}

    Parameters
    ----------
    spring_rate_n_per_m : float or ndarray
        Rate of the spring, with the give of the holder in series, :math:`k`, [N/m]
    guide_diameter_m : float
        Diameter of the needle in its guide, [m]
    seat_diameter_m : float
        Diameter at which the closed seat seals, [m]

    Returns
    -------
    float or ndarray
        Effect; 1 bar/mm is 1e8 Pa/m, [Pa/m]

    Raises
    ------
    ValueError
        As :func:`lifting_area`.

    References
    ----------
    .. [1] Balance of forces (derived).

    Examples
    --------
    >>> f"{pressure_per_shim(200e3, 6e-3, 2.6e-3) * 0.1e-3 / 1e5:.3f} bar for 0.1 mm"
    '8.709 bar for 0.1 mm'
    """
    return spring_rate_n_per_m / lifting_area(guide_diameter_m, seat_diameter_m)


def pressure_per_turn(
    spring_rate_n_per_m: F, screw_pitch_m: float, guide_diameter_m: float, seat_diameter_m: float
) -> F:
    r"""Change of opening pressure for each turn of the adjusting screw.

    .. math:: \Delta p_o = \frac{k s}{A_g - A_s}

    Parameters
    ----------
    spring_rate_n_per_m : float or ndarray
        Rate of the spring, [N/m]
    screw_pitch_m : float
        Pitch of the adjusting screw, [m]
    guide_diameter_m : float
        Diameter of the needle in its guide, [m]
    seat_diameter_m : float
        Diameter at which the closed seat seals, [m]

    Returns
    -------
    float or ndarray
        Pressure for one turn in, [Pa]

    Raises
    ------
    ValueError
        As :func:`lifting_area`.

    References
    ----------
    .. [1] Balance of forces (derived).
    """
    return screw_pitch_m * pressure_per_shim(spring_rate_n_per_m, guide_diameter_m, seat_diameter_m)


def spring_rate_from_shim_effect(
    pressure_per_shim_pa_per_m: F, guide_diameter_m: float, seat_diameter_m: float
) -> F:
    r"""Effective spring rate from a known effect of shims.

    .. math:: k = \frac{dp_o}{dx}(A_g - A_s)

    Parameters
    ----------
    pressure_per_shim_pa_per_m : float or ndarray
        Effect of shims on the opening pressure, [Pa/m]
    guide_diameter_m : float
        Diameter of the needle in its guide, [m]
    seat_diameter_m : float
        Diameter at which the closed seat seals, [m]

    Returns
    -------
    float or ndarray
        Rate of spring and holder together, [N/m]

    Raises
    ------
    ValueError
        As :func:`lifting_area`.

    References
    ----------
    .. [1] Inverse of :func:`pressure_per_shim`.
    """
    return pressure_per_shim_pa_per_m * lifting_area(guide_diameter_m, seat_diameter_m)


def curtain_area(
    lift_m: F,
    seat_edge_diameter_m: float,
    seat_cone_angle_rad: float,
    edge_on: Literal["needle", "seat"] = "needle",
) -> F:
    r"""Least flow area between the lifted needle and the seat cone.

    .. math:: A = \pi h\sin b\,(d \pm h\sin b\cos b), \quad b = a/2

    Parameters
    ----------
    lift_m : float or ndarray
        Needle lift :math:`h`, [m]
    seat_edge_diameter_m : float
        Diameter of the sealing edge :math:`d`, [m]
    seat_cone_angle_rad : float
        Full angle of the seat cone :math:`a`, [rad]
    edge_on : {"needle", "seat"}
        Part that carries the edge: plus for the needle, minus for the seat, [choice]

    Returns
    -------
    float or ndarray
        Area of the frustum between edge and cone, [m^2]

    Raises
    ------
    ValueError
        If the angle is not between 0 and pi, the edge is on neither part, or lift or diameter
        is out of range.

    Notes
    -----
    For small lifts; at large lift the holes or the sac govern.

    References
    ----------
    .. [1] Lateral area of a cone frustum (derived).
    """
    require_not_negative(lift_m=lift_m)
    require_positive(seat_edge_diameter_m=seat_edge_diameter_m)
    if not 0.0 < seat_cone_angle_rad < np.pi:
        raise ValueError(f"a seat cone angle lies between 0 and pi, not at {seat_cone_angle_rad}")
    if edge_on not in ("needle", "seat"):
        raise ValueError(f"the edge is on the 'needle' or on the 'seat', not on {edge_on!r}")
    sign = 1.0 if edge_on == "needle" else -1.0
    sine, cosine = np.sin(0.5 * seat_cone_angle_rad), np.cos(0.5 * seat_cone_angle_rad)
    area: F = np.pi * lift_m * sine * (seat_edge_diameter_m + sign * lift_m * sine * cosine)
    return area


def needle_lift(shoulder_depth_m: F, stop_height_m: F) -> F:
    r"""Lift of the needle until its shoulder meets the stop.

    .. math:: h = a - b

    Parameters
    ----------
    shoulder_depth_m : float or ndarray
        From the pressure face of the body down to the shoulder of the seated needle
        :math:`a`, [m]
    stop_height_m : float or ndarray
        How far the stop stands out of its own face :math:`b`; negative where it lies below it,
        [m]

    Returns
    -------
    float or ndarray
        Lift; nothing or less means that the needle is held down, [m]

    Notes
    -----
    Taken from one setting of one gauge, the zero of the gauge drops out of the difference of two
    readings. Both faces must be clean and lapped.

    References
    ----------
    .. [1] Geometry.
    """
    return shoulder_depth_m - stop_height_m
