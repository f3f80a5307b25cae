"""What a change at the nozzle does to start and quantity of the injection on the engine.

A jerk pump with a pipe, as textbooks take it: the plunger first presses the trapped oil up to the
opening pressure, and only then delivers. Waves in the pipe, the delivery valve and the nozzle's
own throttling are left out, so that all this is an indication.
"""

from __future__ import annotations

from nozzlewright.physics._arguments import F, require_not_negative, require_positive


def compression_volume(pressure_rise_pa: F, trapped_volume_m3: F, modulus_pa: F) -> F:
    r"""Volume by which trapped oil gives when it is pressed.

    .. math:: \Delta V = \frac{V\,\Delta p}{B}

    Parameters
    ----------
    pressure_rise_pa : float or ndarray
        Rise of pressure :math:`\Delta p`; a fall is negative, [Pa]
    trapped_volume_m3 : float or ndarray
        Oil in barrel, pipe and holder :math:`V`, [m^3]
    modulus_pa : float or ndarray
        Mean bulk modulus :math:`B`; one over it is the compressibility, [Pa]

    Returns
    -------
    float or ndarray
        Volume, [m^3]

    Raises
    ------
    ValueError
        If volume or modulus is not positive.

    Notes
    -----
    Walls are taken as stiff; a steel pipe of 6 by 2 mm gives some 2 % more.

    References
    ----------
    .. [1] Definition of the bulk modulus; the textbook problem of the plunger's displacement
       (trapped volume, compressibility, delivered quantity) is the same.

    Examples
    --------
    >>> f"{compression_volume(149e5, 10.945e-6, 1 / 75e-11) * 1e9:.1f} mm3"
    '122.3 mm3'
    """
    require_positive(trapped_volume_m3=trapped_volume_m3, modulus_pa=modulus_pa)
    return pressure_rise_pa * trapped_volume_m3 / modulus_pa


def start_shift(
    opening_change_pa: F, trapped_volume_m3: F, modulus_pa: F, pump_rate_m3_per_rad: F
) -> F:
    r"""Crank angle by which the injection starts later after a rise of the opening pressure.

    .. math:: \Delta\varphi = \frac{V\,\Delta p_o}{B\,q}

    Parameters
    ----------
    opening_change_pa : float or ndarray
        Change of the opening pressure :math:`\Delta p_o`, [Pa]
    trapped_volume_m3 : float or ndarray
        Oil in barrel, pipe and holder :math:`V`, [m^3]
    modulus_pa : float or ndarray
        Mean bulk modulus :math:`B`, [Pa]
    pump_rate_m3_per_rad : float or ndarray
        What the plunger displaces for each radian of the crank :math:`q`, [m^3/rad]

    Returns
    -------
    float or ndarray
        Angle of the crank; negative for an earlier start, [rad]

    Raises
    ------
    ValueError
        If volume, modulus or pump rate is not positive.

    Notes
    -----
    The plunger moves evenly meanwhile. The delay of the pressure wave
    (:func:`sound_delay`) does not depend on the opening pressure and drops out.

    References
    ----------
    .. [1] :func:`compression_volume` over the pump's rate (derived).
    """
    require_positive(pump_rate_m3_per_rad=pump_rate_m3_per_rad)
    return compression_volume(opening_change_pa, trapped_volume_m3, modulus_pa) / (
        pump_rate_m3_per_rad
    )


def sound_delay(pipe_length_m: F, sound_speed_m_s: F) -> F:
    r"""Time that a pressure wave takes from the pump to the nozzle.

    .. math:: t = L/c

    Parameters
    ----------
    pipe_length_m : float or ndarray
        Length of pipe and holder :math:`L`, [m]
    sound_speed_m_s : float or ndarray
        Speed of sound in the oil :math:`c`, [m/s]

    Returns
    -------
    float or ndarray
        Time, [s]

    Raises
    ------
    ValueError
        If the speed is not positive or the length negative.

    References
    ----------
    .. [1] Definition.
    """
    require_not_negative(pipe_length_m=pipe_length_m)
    require_positive(sound_speed_m_s=sound_speed_m_s)
    return pipe_length_m / sound_speed_m_s


def crank_angle(time_s: F, speed_rad_s: F) -> F:
    r"""Crank angle that passes in a time.

    .. math:: \varphi = \omega t

    Parameters
    ----------
    time_s : float or ndarray
        Time, [s]
    speed_rad_s : float or ndarray
        Speed of the crankshaft :math:`\omega`, [rad/s]

    Returns
    -------
    float or ndarray
        Angle, [rad]

    References
    ----------
    .. [1] Definition.

    Examples
    --------
    At 1500 rev/min, 1 ms is 9 degrees:

    >>> f"{crank_angle(1e-3, 1500 * 2 * 3.141592653589793 / 60):.4f} rad"
    '0.1571 rad'
    """
    return time_s * speed_rad_s


def leak_per_stroke(
    leak_m3_s: F, leak_pressure_pa: F, injection_pressure_pa: F, injection_time_s: F
) -> F:
    r"""Oil that leaks off in one injection, from a leak seen at another pressure.

    .. math:: \Delta V = Q\,\frac{\bar p}{p_Q}\,t

    Parameters
    ----------
    leak_m3_s : float or ndarray
        Leak :math:`Q`, [m^3/s]
    leak_pressure_pa : float or ndarray
        Pressure at which it was seen :math:`p_Q`, [Pa]
    injection_pressure_pa : float or ndarray
        Mean pressure while the pump delivers :math:`\bar p`, [Pa]
    injection_time_s : float or ndarray
        Time for which the pressure stands :math:`t`, [s]

    Returns
    -------
    float or ndarray
        Volume, [m^3]

    Raises
    ------
    ValueError
        If a pressure is not positive or the time negative.

    Notes
    -----
    A laminar gap leaks in proportion to pressure; that it widens and that the oil thickens under
    pressure are left out. Hot fuel on the engine is thinner than bench oil and leaks more.

    References
    ----------
    .. [1] Proportion (derived); see :func:`nozzlewright.physics.thin_gap_leakage`.
    """
    require_positive(leak_pressure_pa=leak_pressure_pa, injection_pressure_pa=injection_pressure_pa)
    require_not_negative(injection_time_s=injection_time_s)
    return leak_m3_s * injection_time_s * (injection_pressure_pa / leak_pressure_pa)
