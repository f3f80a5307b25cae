"""Tightening torques."""

from __future__ import annotations

import numpy as np

from nozzlewright.physics._arguments import F, require_positive


def wrench_setting(
    torque_n_m: F, wrench_length_m: float, extension_m: float, angle_rad: float = 0.0
) -> F:
    r"""Wrench setting when it carries an extension.

    .. math:: S = \frac{T L}{L + E\cos a}

    Parameters
    ----------
    torque_n_m : float or ndarray
        Torque wanted at the fastener, [N m]
    wrench_length_m : float
        From the middle of the handle to the middle of the drive :math:`L`, [m]
    extension_m : float
        From the middle of the drive to the middle of the fastener :math:`E`; positive away from
        the hand, [m]
    angle_rad : float
        Angle of the extension to the wrench; 0 in line, pi/2 square to it, [rad]

    Returns
    -------
    float or ndarray
        Setting, [N m]

    Raises
    ------
    ValueError
        If the wrench has no length or the extension reaches back to the hand.

    References
    ----------
    .. [1] Lever arm (derived); NAVEDTRA 14315 and FAA AC 43.13-1B give the same.
    """
    require_positive(wrench_length_m=wrench_length_m)
    reach = wrench_length_m + extension_m * np.cos(angle_rad)
    if not np.all(reach > 0.0):
        raise ValueError(f"the extension must not reach back to the hand: {reach} m are left")
    setting: F = torque_n_m * (wrench_length_m / reach)
    return setting


def torque_delivered(
    setting_n_m: F, wrench_length_m: float, extension_m: float, angle_rad: float = 0.0
) -> F:
    r"""Torque at the fastener for a setting of a wrench that carries an extension.

    .. math:: T = S\frac{L + E\cos a}{L}

    Parameters
    ----------
    setting_n_m : float or ndarray
        Setting of the wrench, [N m]
    wrench_length_m : float
        From the middle of the handle to the middle of the drive, [m]
    extension_m : float
        From the middle of the drive to the middle of the fastener, [m]
    angle_rad : float
        Angle of the extension to the wrench, [rad]

    Returns
    -------
    float or ndarray
        Torque, [N m]

    Raises
    ------
    ValueError
        As :func:`wrench_setting`.

    References
    ----------
    .. [1] Inverse of :func:`wrench_setting`.
    """
    return setting_n_m / wrench_setting(1.0, wrench_length_m, extension_m, angle_rad)


def tightening_torque(nut_factor: float, preload_n: F, thread_diameter_m: float) -> F:
    r"""Torque that a preload needs.

    .. math:: T = K F d

    Parameters
    ----------
    nut_factor : float
        :math:`K`, about 0.2 dry with a scatter of 30 % (common practice, no source), [1]
    preload_n : float or ndarray
        Preload :math:`F`, [N]
    thread_diameter_m : float
        Nominal diameter of the thread :math:`d`, [m]

    Returns
    -------
    float or ndarray
        Torque, [N m]

    Raises
    ------
    ValueError
        If factor or diameter is not positive.

    References
    ----------
    .. [1] Shigley's Mechanical Engineering Design, ch. 8 (from memory).
    """
    require_positive(nut_factor=nut_factor, thread_diameter_m=thread_diameter_m)
    return nut_factor * thread_diameter_m * preload_n


def preload_from_torque(nut_factor: float, torque_n_m: F, thread_diameter_m: float) -> F:
    r"""Preload that a torque gives.

    .. math:: F = \frac{T}{K d}

    Parameters
    ----------
    nut_factor : float
        :math:`K`, about 0.2 dry with a scatter of 30 % (common practice, no source), [1]
    torque_n_m : float or ndarray
        Torque :math:`T`, [N m]
    thread_diameter_m : float
        Nominal diameter of the thread :math:`d`, [m]

    Returns
    -------
    float or ndarray
        Preload, [N]

    Raises
    ------
    ValueError
        If factor or diameter is not positive.

    References
    ----------
    .. [1] Inverse of :func:`tightening_torque`.
    """
    require_positive(nut_factor=nut_factor, thread_diameter_m=thread_diameter_m)
    return torque_n_m / (nut_factor * thread_diameter_m)
