"""Frequencies to expect when a nozzle chatters.

While the pump delivers less than the nozzle can pass, the assembly swings between closing and
opening pressure: a saw-tooth of some 5 to 100 Hz, with ringing of needle and pipe on top.
"""

from __future__ import annotations

import numpy as np

from nozzlewright.physics._arguments import F, require_positive


def open_time(
    compliance_m3_per_pa: float,
    opening_pressure_pa: float,
    closing_pressure_pa: float,
    pump_flow_m3_s: F,
    nozzle_flow_m3_s: float,
) -> F:
    r"""Time for which the needle is open at each pop.

    .. math:: t_o = \frac{C(p_o - p_c)}{Q_n - Q_p}

    Parameters
    ----------
    compliance_m3_per_pa : float
        Compliance of the rig, [m^3/Pa]
    opening_pressure_pa, closing_pressure_pa : float
        Pressures between which it swings, [Pa]
    pump_flow_m3_s : float or ndarray
        Flow from the pump :math:`Q_p`, [m^3/s]
    nozzle_flow_m3_s : float
        Flow of the open nozzle :math:`Q_n`, above that of the pump, [m^3/s]

    Returns
    -------
    float or ndarray
        Time, [s]

    Raises
    ------
    ValueError
        If the nozzle does not pass more than the pump delivers, or the pressures do not fall.

    References
    ----------
    .. [1] Lumped line, needle without mass (derived).
    """
    require_positive(compliance_m3_per_pa=compliance_m3_per_pa,
                     swing_pa=opening_pressure_pa - closing_pressure_pa,
                     pump_flow_m3_s=pump_flow_m3_s,
                     nozzle_less_pump_flow_m3_s=nozzle_flow_m3_s - pump_flow_m3_s)  # fmt: skip
    swept = compliance_m3_per_pa * (opening_pressure_pa - closing_pressure_pa)
    return swept / (nozzle_flow_m3_s - pump_flow_m3_s)


def chatter_frequency(
    compliance_m3_per_pa: float,
    opening_pressure_pa: float,
    closing_pressure_pa: float,
    pump_flow_m3_s: F,
    nozzle_flow_m3_s: float,
) -> F:
    r"""Pops in each second at a steady lever rate.

    .. math:: \frac{1}{f} = C(p_o - p_c)\left[\frac{1}{Q_p} + \frac{1}{Q_n - Q_p}\right]

    Parameters
    ----------
    compliance_m3_per_pa : float
        Compliance of the rig, [m^3/Pa]
    opening_pressure_pa, closing_pressure_pa : float
        Pressures between which it swings, [Pa]
    pump_flow_m3_s : float or ndarray
        Flow from the pump, [m^3/s]
    nozzle_flow_m3_s : float
        Flow of the open nozzle, above that of the pump, [m^3/s]

    Returns
    -------
    float or ndarray
        Frequency, [Hz]

    Raises
    ------
    ValueError
        As :func:`open_time`.

    Notes
    -----
    An estimate: waves in the pipe make the swings at the nozzle smaller and faster.

    References
    ----------
    .. [1] Lumped line, needle without mass (derived).
    """
    opened = open_time(
        compliance_m3_per_pa,
        opening_pressure_pa,
        closing_pressure_pa,
        pump_flow_m3_s,
        nozzle_flow_m3_s,
    )
    swept = compliance_m3_per_pa * (opening_pressure_pa - closing_pressure_pa)
    return 1.0 / (swept / pump_flow_m3_s + opened)


def needle_spring_frequency(spring_rate_n_per_m: F, moving_mass_kg: float) -> F:
    r"""Natural frequency of needle, spindle and spring.

    .. math:: f = \frac{1}{2\pi}\sqrt{k/m}

    Parameters
    ----------
    spring_rate_n_per_m : float or ndarray
        Spring rate, [N/m]
    moving_mass_kg : float
        Needle, spindle, spring seat and a third of the spring, [kg]

    Returns
    -------
    float or ndarray
        Frequency, [Hz]

    Raises
    ------
    ValueError
        If an argument is not positive.

    References
    ----------
    .. [1] Harmonic oscillator.
    """
    require_positive(spring_rate_n_per_m=spring_rate_n_per_m, moving_mass_kg=moving_mass_kg)
    frequency: F = np.sqrt(spring_rate_n_per_m / moving_mass_kg) / (2.0 * np.pi)
    return frequency


def quarter_wave_frequency(sound_speed_m_s: float, pipe_length_m: F) -> F:
    r"""Ringing of a pipe that is open to a volume at one end and shut at the other.

    .. math:: f = c/(4L)

    Parameters
    ----------
    sound_speed_m_s : float
        Speed of sound in the pipe, [m/s]
    pipe_length_m : float or ndarray
        Length of the pipe, [m]

    Returns
    -------
    float or ndarray
        Frequency, [Hz]

    Raises
    ------
    ValueError
        If an argument is not positive.

    References
    ----------
    .. [1] Standing wave; any textbook of acoustics.
    """
    require_positive(sound_speed_m_s=sound_speed_m_s, pipe_length_m=pipe_length_m)
    return 0.25 * sound_speed_m_s / pipe_length_m
