"""The pretend bench written a second time, on scipy's integrators, to check the first.

Same physics, another hand: leaks by quadrature instead of polynomials, phases cut by
`solve_ivp`'s events, the seat's contact integrated for a fixed time after the needle's first
touch instead of ended by an energy rule.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp

P0 = 101325.0
AFTER_TOUCH_S = 1.0e-3


@dataclass
class Openings:
    time_s: list[float]
    lift_off_pa: list[float]
    closing_pa: list[float]
    minimum_pa: list[float]
    lift_m: list[float]
    end_pa: float
    calls: int


class SecondBench:
    def __init__(self, setup, injector, flow: Callable[[float], float]):
        self.flow = flow
        self.inj, self.rig, self.oil = injector, setup.rig, setup.oil
        T = setup.temperature_k
        self.rho = self.oil.density_15c * math.exp(-self.oil.expansion * (T - 288.15))
        self.rise = T * self.oil.expansion / (self.rho * self.oil.heat_capacity)
        if not self.rig.compression_heat:
            self.rise = 0.0
        self.B0 = self.oil.bulk_modulus_20c + self.oil.bulk_modulus_per_kelvin * (T - 293.15)
        self.Ag = math.pi * injector.guide_diameter_m**2 / 4
        self.As = math.pi * injector.seat_diameter_m**2 / 4
        self.F0 = injector.opening_pressure_pa * (self.Ag - self.As)
        self.face = math.pi * injector.seat_diameter_m * injector.seat_width_m / 2
        self.v0 = max(1e-3, injector.friction_n * (1 + 4 * injector.friction_scatter)
                      / (injector.moving_mass_kg * 5e5))  # fmt: skip
        self.nodes, self.weights = np.polynomial.legendre.leggauss(8)
        self.mu = self.oil.dynamic_viscosity(T)
        self.mu_ref = self.oil.dynamic_viscosity(setup.reference_temperature_k)
        end = self.rig.nozzle_end_share * self.rig.volume_m3
        self.Vn, self.Vg = end + injector.volume_m3, self.rig.volume_m3 - end
        self.Wn, self.Wg = 0.3 * self.rig.wall_compliance, 0.7 * self.rig.wall_compliance
        self.air = max(self.rig.air_share, self.rig.air_residual)
        self.calls = 0
        if self.rig.line_inertance > 0:
            po = injector.opening_pressure_pa
            s = 1 / (self.B0 + self.oil.bulk_modulus_per_pascal * po)
            s -= self.rise * self.oil.expansion
            cn, cg = self.Vn * s + self.Wn, self.Vg * s + self.Wg
            w = math.sqrt((1 / cn + 1 / cg) / self.rig.line_inertance)
            self.R = 2 * self.rig.line_damping * w * self.rig.line_inertance

    def guide_and_seat(self, p):
        a = self.oil.pressure_viscosity
        s = p * (self.nodes + 1) / 2
        gap = self.inj.diametral_clearance_m / 2 + self.inj.gap_growth * s
        integral = float(np.sum(self.weights * gap**3 * np.exp(-a * s))) * p / 2
        ecc = 1 + 1.5 * self.inj.eccentricity**2
        guide = math.pi * self.inj.guide_diameter_m * ecc * integral
        guide /= 12 * self.mu * self.inj.guide_length_m
        seat = self.inj.seat_leak_conductance * self.mu_ref / self.mu
        return guide + seat * (1 - math.exp(-a * p)) / a

    def rig_leak(self, p):
        a = self.oil.pressure_viscosity
        g = self.rig.leak_conductance * self.mu_ref / self.mu
        return g * (1 - math.exp(-a * p)) / a

    def softness(self, p):
        s = 1 / (self.B0 + self.oil.bulk_modulus_per_pascal * p) - self.rise * self.oil.expansion
        return s + self.air * P0 / (p + P0) ** 2

    def needle(self, p, x, v):
        """Acceleration, nozzle flow."""
        inj = self.inj
        b = inj.seat_angle_rad / 2
        h = max(x, 0.0)
        curtain = math.pi * h * math.sin(b) * (
            inj.seat_diameter_m + h * math.sin(b) * math.cos(b)
        )  # fmt: skip
        ac = inj.seat_discharge * curtain
        ah = inj.holes_discharge * inj.holes_area_m2
        sac, q = 0.0, 0.0
        if ac > 0:
            series = 1 / math.sqrt(1 / ac**2 + 1 / ah**2)
            q = series * math.sqrt(2 * p / self.rho)
            sac = (series / ah) ** 2
        face = self.face * h / (h + inj.seat_snap_lift_m)
        force = p * (self.Ag - self.As + face) + p * sac * (self.As - face)
        force -= self.F0 + inj.spring_rate * x + inj.needle_damping * v
        if inj.second_opening_lift_m is not None and x > inj.second_opening_lift_m:
            over = x - inj.second_opening_lift_m
            force -= inj.second_preload_n * min(over / 2e-6, 1) + inj.second_spring_rate * over
        force -= inj.friction_n * v / math.hypot(v, self.v0)
        if x < 0:
            force += 1e8 * -x * max(0.0, 1 - 5 * v)
        if x > inj.lift_m:
            force -= 1e8 * (x - inj.lift_m) * max(0.0, 1 + 5 * v)
        return force / inj.moving_mass_kg, q

    def rhs(self, t, y, lifted):
        self.calls += 1
        pn, pg, qline, heat = y[:4]
        acc = q = sweep = 0.0
        if lifted:
            acc, q = self.needle(pn, y[4], y[5])
            sweep = self.Ag * y[5]
        pump = self.flow(t)
        V = self.Vn + self.Vg
        cool = self.oil.expansion * heat / self.rig.thermal_time_s if self.rise else 0.0
        out = q + sweep + self.guide_and_seat(pn)
        if self.rig.line_inertance > 0:
            dpn = (qline - out - self.Vn * cool) / (self.Vn * self.softness(pn) + self.Wn)
            dpg = pump - self.rig_leak(pg) - qline - self.Vg * cool
            dpg /= self.Vg * self.softness(pg) + self.Wg
            dq = (pg - pn - self.R * qline) / self.rig.line_inertance
        else:
            c = V * self.softness(pn) + self.Wn + self.Wg
            dpn = dpg = (pump - out - self.rig_leak(pn) - V * cool) / c
            dq = 0.0
        dheat = 0.0
        if self.rise:
            dheat = self.rise * (self.Vn * dpn + self.Vg * dpg) / V
            dheat += -heat / self.rig.thermal_time_s + pump / V * (self.rise * pg - heat)
        if lifted:
            return [dpn, dpg, dq, dheat, y[5], acc]
        return [dpn, dpg, dq, dheat]

    def run(self, start_pa, end_s, *, method="LSODA", rtol=1e-8, first_heat=0.0) -> Openings:
        """Integrate from rest at a pressure, from time zero."""
        seated = np.array([start_pa, start_pa, 0.0, first_heat])
        small = np.array([1e8, 1e8, 1e-5, 10.0, 1e-2, 10.0]) * rtol * 1e-2
        t = 0.0
        found = Openings([], [], [], [], [], start_pa, 0)

        def reaches_opening(_t, y, *_):
            return y[0] * (self.Ag - self.As) - self.F0 - self.inj.friction_n

        def touches(_t, y, *_):
            return y[4]

        reaches_opening.terminal, reaches_opening.direction = True, 1
        touches.terminal, touches.direction = True, -1
        while t < end_s:
            s = solve_ivp(self.rhs, (t, end_s), seated, method, rtol=rtol, atol=small[:4],
                          events=reaches_opening, args=(False,), max_step=5e-3)  # fmt: skip
            t, seated = float(s.t[-1]), s.y[:, -1]
            if s.status != 1:
                break
            found.time_s.append(t)
            found.lift_off_pa.append(float(seated[1]))
            lifted = np.concatenate([seated, [0.0, 0.0]])
            s = solve_ivp(self.rhs, (t, t + 0.05), lifted, method, rtol=rtol, atol=small,
                          events=touches, args=(True,))  # fmt: skip
            t, lifted = float(s.t[-1]), s.y[:, -1]
            found.closing_pa.append(float(lifted[1]))
            lowest = float(s.y[1].min())
            found.lift_m.append(float(s.y[4].max()))
            s = solve_ivp(self.rhs, (t, t + AFTER_TOUCH_S), lifted, method, rtol=rtol, atol=small,
                          args=(True,), max_step=2e-5)  # fmt: skip
            found.minimum_pa.append(min(lowest, float(s.y[1].min())))
            t, seated = float(s.t[-1]), s.y[:4, -1].copy()
            # From its indented rest to zero lift, the needle gives way by that volume.
            c = (self.Vn + self.Vg) * self.softness(seated[0]) + self.Wn + self.Wg
            seated[:2] += self.Ag * s.y[4, -1] / c
        found.end_pa, found.calls = float(seated[1]), self.calls
        return found
