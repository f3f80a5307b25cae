/* The stepping kernel of nozzlewright.simulator.kernel in C, as a yardstick for its speed.
 *
 * Slots and constants come from the header that the script writes out of the Python module, so
 * that the two cannot drift apart unseen; the script also compares the results.
 */
#include <math.h>
#include "slots.h"

static double max2(double a, double b) { return a > b ? a : b; }
static double min2(double a, double b) { return a < b ? a : b; }

static double lever_flow(const double *seg, double t)
{
    if (seg[SEG_VOLUME] <= 0.0 || t <= seg[SEG_START] || t >= seg[SEG_END]) return 0.0;
    double length = seg[SEG_END] - seg[SEG_START];
    double u = (t - seg[SEG_START]) / length;
    double ramp = seg[SEG_RAMP];
    double shape = 1.0;
    if (u < ramp) shape = 0.5 - 0.5 * cos(M_PI * u / ramp);
    else if (u > 1.0 - ramp) shape = 0.5 - 0.5 * cos(M_PI * (1.0 - u) / ramp);
    double angle = seg[SEG_TREMOR_RATE] * (t - seg[SEG_START]) + seg[SEG_TREMOR_PHASE];
    double flow = seg[SEG_VOLUME] / (length * (1.0 - ramp)) * shape;
    return flow * (1.0 + seg[SEG_TREMOR] * sin(angle));
}

static double jet_speed(double p, double density)
{
    return sqrt(2.0 / density) * p / sqrt(sqrt(p * p + ROUND_OFF_PA * ROUND_OFF_PA));
}

static double passage(const double *par, double p, double x, double preload, double *sac)
{
    double lift = max2(x, 0.0);
    double seat = lift * (par[CURTAIN_1] + par[CURTAIN_2] * lift);
    if (par[WEEP_AREA] > 0.0) {
        double begin = preload / (par[AREA_GUIDE] - par[AREA_SEAT]) - par[WEEP_MARGIN];
        seat += par[WEEP_AREA] * min2(max2((p - begin) / par[WEEP_MARGIN], 0.0), 1.0);
    }
    if (seat <= 0.0) { *sac = 0.0; return 0.0; }
    double share = seat * seat / (seat * seat + par[HOLES] * par[HOLES]);
    *sac = share;
    return par[HOLES] * sqrt(share);
}

static double lifted_area(const double *par, double x, double sac)
{
    double lift = max2(x, 0.0);
    double face = 0.0;
    if (par[SNAP_AREA] > 0.0) face = par[SNAP_AREA] * lift / (lift + par[SNAP_LIFT]);
    return par[AREA_GUIDE] - par[AREA_SEAT] + face + sac * (par[AREA_SEAT] - face);
}

static double lifting_force(const double *par, double p, double preload, double friction)
{
    double sac;
    passage(par, p, 0.0, preload, &sac);
    return p * lifted_area(par, 0.0, sac) - preload - friction;
}

static double leak(const double *par, int first, double p)
{
    double g = par[first + 5];
    for (int k = 4; k >= 0; k--) g = g * p + par[first + k];
    return g * p;
}

static double softness(const double *par, double p, double air)
{
    double oil = 1.0 / (par[STIFFNESS_0] + par[STIFFNESS_SLOPE] * p) - par[HEAT_SOFTENING];
    double absolute = p + ATMOSPHERE_PA;
    return oil + air * ATMOSPHERE_PA / (absolute * absolute);
}

static double needle_force(const double *par, double x, double v, double preload, double friction)
{
    double force = -preload - par[SPRING_RATE] * x - par[NEEDLE_DAMPING] * v;
    double beyond = x - par[PRELIFT];
    if (beyond > 0.0) {
        double taken_up = min2(beyond / SECOND_SPRING_TAKE_UP_M, 1.0);
        force -= taken_up * par[SECOND_PRELOAD] + par[SECOND_RATE] * beyond;
    }
    force -= friction * v / sqrt(v * v + par[FRICTION_SPEED] * par[FRICTION_SPEED]);
    if (x < 0.0)
        force -= par[CONTACT_STIFFNESS] * x * max2(0.0, 1.0 - par[CONTACT_DAMPING] * v);
    beyond = x - par[LIFT_STOP];
    if (beyond > 0.0)
        force -= par[CONTACT_STIFFNESS] * beyond * max2(0.0, 1.0 + par[CONTACT_DAMPING] * v);
    return force;
}

typedef struct { double d[11]; } rates_t;

static rates_t rates(const double *par, const double *seg, double t, double pn, double pg, double q,
                     double x, double v, double heat, double air, double preload, double friction,
                     int lifted, int delivering, int filling)
{
    double swept = lever_flow(seg, t);
    double q_in = delivering ? swept : 0.0;
    if (filling) return (rates_t){{0, 0, 0, 0, 0, 0, 0, swept, q_in, 0, 0}};

    double sac;
    double area = passage(par, pn, x, preload, &sac);
    double q_out = area > 0.0 ? area * jet_speed(pn, par[DENSITY]) : 0.0;
    double q_injector = leak(par, LEAK_INJECTOR, pn);
    double q_rig = leak(par, LEAK_RIG, pg);
    if (seg[SEG_SHUT] == 0.0 && !delivering) q_rig += leak(par, LEAK_CHECK, pg);
    if (seg[SEG_VALVE] > 0.0) {
        double opened = 1.0;
        if (seg[SEG_VALVE_RAMP] > 0.0)
            opened = min2((t - seg[SEG_START]) / seg[SEG_VALVE_RAMP], 1.0);
        q_rig += opened * seg[SEG_VALVE] * jet_speed(pg, par[DENSITY]);
    }

    double dx = 0.0, dv = 0.0, q_needle = 0.0;
    if (lifted) {
        dx = v;
        double push = pn * lifted_area(par, x, sac);
        dv = (push + needle_force(par, x, v, preload, friction)) / par[MASS];
        q_needle = par[AREA_GUIDE] * v;
    }

    double shrink = par[EXPANSION] * par[COOLING_RATE] * heat;
    double volume_g = par[VOLUME_G] + (delivering ? par[VOLUME_CHAMBER] : 0.0);
    double dpn, dpg, dq;
    if (par[INERTANCE] > 0.0) {
        double c_n = par[VOLUME_N] * softness(par, pn, air) + par[WALL_N];
        double c_g = volume_g * softness(par, pg, air) + par[WALL_G];
        dpn = (q - q_out - q_injector - q_needle - par[VOLUME_N] * shrink) / c_n;
        dpg = (q_in - q_rig - q - volume_g * shrink) / c_g;
        dq = (pg - pn - par[LINE_RESISTANCE] * q) / par[INERTANCE];
    } else {
        double c = (par[VOLUME_N] + volume_g) * softness(par, pn, air) + par[WALL_N] + par[WALL_G];
        dpn = q_in - q_out - q_injector - q_rig - q_needle;
        dpn = (dpn - (par[VOLUME_N] + volume_g) * shrink) / c;
        dpg = dpn;
        dq = 0.0;
    }
    double volume = par[VOLUME_N] + par[VOLUME_G];
    double mean = (par[VOLUME_N] * dpn + par[VOLUME_G] * dpg) / volume;
    double dheat = par[HEAT_RISE] * mean - par[COOLING_RATE] * heat;
    dheat += q_in / volume * (par[HEAT_RISE] * pg - heat);
    double dair = 0.0;
    if (air > par[AIR_RESIDUAL]) {
        double gone = q_out + (seg[SEG_VALVE] > 0.0 ? q_rig : 0.0);
        dair = -par[AIR_FLUSHING] * (air - par[AIR_RESIDUAL]) * gone / volume;
    }
    return (rates_t){{dpn, dpg, dq, dx, dv, dheat, dair, swept, q_in, q_out, q_injector + q_rig}};
}

static void runge_kutta(const double *par, const double *seg, const double *old, double *new,
                        double h, double preload, double friction)
{
    int lifted = old[LIFTED] > 0.0, delivering = old[DELIVERING] > 0.0, filling = old[VOID] > 0.0;
    double t = old[TIME], half = 0.5 * h, sixth = h / 6.0;
    double pn = old[P_N], pg = old[P_G], q = old[FLOW];
    double x = old[LIFT], v = old[SPEED], heat = old[HEAT], air = old[AIR];
    rates_t a = rates(par, seg, t, pn, pg, q, x, v, heat, air, preload, friction, lifted,
                      delivering, filling);
    rates_t b = rates(par, seg, t + half, pn + half * a.d[0], pg + half * a.d[1],
                      q + half * a.d[2], x + half * a.d[3], v + half * a.d[4],
                      heat + half * a.d[5], air + half * a.d[6], preload, friction, lifted,
                      delivering, filling);
    rates_t c = rates(par, seg, t + half, pn + half * b.d[0], pg + half * b.d[1],
                      q + half * b.d[2], x + half * b.d[3], v + half * b.d[4],
                      heat + half * b.d[5], air + half * b.d[6], preload, friction, lifted,
                      delivering, filling);
    rates_t d = rates(par, seg, t + h, pn + h * c.d[0], pg + h * c.d[1], q + h * c.d[2],
                      x + h * c.d[3], v + h * c.d[4], heat + h * c.d[5], air + h * c.d[6],
                      preload, friction, lifted, delivering, filling);
    new[TIME] = t + h;
    for (int k = 0; k < 7; k++)
        new[P_N + k] = old[P_N + k] + sixth * (a.d[k] + 2.0 * (b.d[k] + c.d[k]) + d.d[k]);
    for (int k = 7; k < 11; k++)
        new[SWEPT + k - 7] =
            old[SWEPT + k - 7] + sixth * (a.d[k] + 2.0 * (b.d[k] + c.d[k]) + d.d[k]);
    double delivered = sixth * (a.d[8] + 2.0 * (b.d[8] + c.d[8]) + d.d[8]);
    new[VOID] = filling ? old[VOID] - delivered : 0.0;
}

static void settle(const double *par, double *state)
{
    double grown = -par[AREA_GUIDE] * state[LIFT];
    double c = par[VOLUME_N] * softness(par, state[P_N], state[AIR]) + par[WALL_N];
    if (par[INERTANCE] > 0.0) {
        state[P_N] -= grown / c;
    } else {
        double volume = par[VOLUME_G] + (state[DELIVERING] > 0.0 ? par[VOLUME_CHAMBER] : 0.0);
        c += volume * softness(par, state[P_N], state[AIR]) + par[WALL_G];
        state[P_N] -= grown / c;
        state[P_G] = state[P_N];
    }
    state[LIFTED] = 0.0;
    state[LIFT] = 0.0;
    state[SPEED] = 0.0;
}

static double dead_travel(const double *par, double pg)
{
    double stiffness = par[STIFFNESS_0] + 0.5 * par[STIFFNESS_SLOPE] * pg;
    return par[VOLUME_CHAMBER] * pg * (1.0 / stiffness - par[HEAT_SOFTENING]);
}

static double overrun(const double *par, const double *seg, const double *state, double preload,
                      double friction)
{
    double area = par[AREA_GUIDE] - par[AREA_SEAT];
    double past = -INFINITY;
    if (area > 0.0) past = lifting_force(par, state[P_N], preload, friction) / area;
    past = max2(past, state[P_G] - seg[SEG_STOP]);
    if (seg[SEG_VOLUME] > 0.0 && state[DELIVERING] == 0.0) {
        double ahead = state[SWEPT] - dead_travel(par, state[P_G]);
        past = max2(past, ahead * par[STIFFNESS_0] / par[VOLUME_CHAMBER]);
    }
    return past;
}

int advance(const double *par, const double *seg, double *state, const double *preloads,
            const double *frictions, long n_preloads, const double *sample_times, double *shown,
            double *true_, long n_samples, double *events, long n_events)
{
    double end = seg[SEG_END];
    long n = (long)state[NEXT_SAMPLE], count = (long)state[OPENINGS], last = n_preloads - 1;
    long current = state[LIFTED] > 0.0 ? count - 1 : count;
    double preload = preloads[current < last ? current : last];
    double friction = frictions[current < last ? current : last];
    state[SWEPT] = 0.0;
    state[DELIVERING] = 0.0;
    if (seg[SEG_VOLUME] > 0.0 && par[VOLUME_CHAMBER] <= 0.0) state[DELIVERING] = 1.0;
    double trial[N_STATE];
    for (int k = 0; k < N_STATE; k++) trial[k] = state[k];
    int result = RAN_OUT;
    double watch_until = -1.0;
    if (count > 0 && count <= n_events)
        watch_until = events[(count - 1) * N_EVENT + EV_REST_TIME] + MINIMUM_WATCH_S;

    while (state[TIME] < end) {
        double goal = end;
        if (n < n_samples && sample_times[n] < end) goal = sample_times[n];
        double h = goal - state[TIME];
        int seated = state[LIFTED] == 0.0;
        double step = par[STEP_SEATED];
        if (!seated) {
            step = par[STEP_LIFTED];
        } else if (par[INERTANCE] > 0.0) {
            double drive = state[P_G] - state[P_N] - par[LINE_RESISTANCE] * state[FLOW];
            if (fabs(drive) > RINGING_PA) step = par[STEP_RINGING];
        }
        int landed = h <= step;
        if (!landed) h = step;
        if (h > 0.0) {
            runge_kutta(par, seg, state, trial, h, preload, friction);
            if (trial[VOID] < 0.0) {
                double spare = -trial[VOID];
                trial[VOID] = 0.0;
                double c = (par[VOLUME_N] + par[VOLUME_G]) * softness(par, 0.0, state[AIR]);
                trial[P_N] = spare / (c + par[WALL_N] + par[WALL_G]);
                trial[P_G] = trial[P_N];
            }
            int lift_off = 0;
            if (seated && overrun(par, seg, trial, preload, friction) > 0.0) {
                double low = 0.0, high = h;
                if (overrun(par, seg, state, preload, friction) > 0.0) high = 0.0;
                while (high - low > EVENT_TOLERANCE_S) {
                    double middle = 0.5 * (low + high);
                    runge_kutta(par, seg, state, trial, middle, preload, friction);
                    if (overrun(par, seg, trial, preload, friction) > 0.0) high = middle;
                    else low = middle;
                }
                if (high < h) landed = 0;
                h = high;
                runge_kutta(par, seg, state, trial, h, preload, friction);
                int pushed = seg[SEG_VOLUME] > 0.0 && state[DELIVERING] == 0.0;
                if (pushed && trial[SWEPT] >= dead_travel(par, trial[P_G])) {
                    state[DELIVERING] = 1.0;
                    trial[DELIVERING] = 1.0;
                }
                if (trial[P_G] >= seg[SEG_STOP]) result = HAND_STOPPED;
                double area = par[AREA_GUIDE] - par[AREA_SEAT];
                lift_off = area > 0.0 && lifting_force(par, trial[P_N], preload, friction) > 0.0;
            }
            double x_before = state[LIFT], p_before = state[P_G], lag = par[SENSOR_LAG];
            if (lag <= 0.0) {
                state[LAGGED] = trial[P_G];
            } else if (h > 0.0) {
                double slope = (trial[P_G] - state[P_G]) / h;
                double away = state[LAGGED] - state[P_G] + slope * lag;
                state[LAGGED] = trial[P_G] - slope * lag + away * exp(-h / lag);
            }
            for (int k = 0; k < LAGGED; k++) state[k] = trial[k];
            if (landed) state[TIME] = goal;

            if (lift_off) {
                state[LIFTED] = 1.0;
                state[TOUCHED] = 0.0;
                state[LIFT] = 0.0;
                state[SPEED] = 0.0;
                if (count < n_events) {
                    double *row = events + count * N_EVENT;
                    row[EV_TIME] = state[TIME];
                    row[EV_LIFT_OFF] = state[P_N];
                    row[EV_GAUGE] = state[P_G];
                    row[EV_PEAK] = state[P_G];
                    row[EV_MINIMUM] = state[P_G];
                    row[EV_LIFT] = 0.0;
                }
                count++;
            } else if (!seated) {
                double x = state[LIFT];
                int recorded = count <= n_events;
                double *row = events + (count - 1) * N_EVENT;
                if (recorded) {
                    row[EV_PEAK] = max2(row[EV_PEAK], state[P_G]);
                    row[EV_MINIMUM] = min2(row[EV_MINIMUM], state[P_G]);
                    row[EV_LIFT] = max2(row[EV_LIFT], x);
                }
                if (x <= 0.0) {
                    if (state[TOUCHED] == 0.0) {
                        state[TOUCHED] = 1.0;
                        if (recorded) {
                            double back = x_before > x ? x / (x_before - x) : 0.0;
                            row[EV_CLOSE_TIME] = state[TIME] + back * h;
                            row[EV_CLOSING] = state[P_G] + back * (state[P_G] - p_before);
                        }
                    }
                    double press = -lifting_force(par, state[P_N], preload, 0.0);
                    double energy = 0.5 * par[MASS] * state[SPEED] * state[SPEED];
                    energy += (0.5 * par[CONTACT_STIFFNESS] * x + press) * x;
                    if (press > 0.0 && energy < 0.5 * par[MASS] * REST_SPEED * REST_SPEED) {
                        settle(par, state);
                        if (recorded) {
                            row[EV_REST_TIME] = state[TIME];
                            watch_until = state[TIME] + MINIMUM_WATCH_S;
                        }
                        preload = preloads[count < last ? count : last];
                        friction = frictions[count < last ? count : last];
                    }
                }
            } else if (state[TIME] < watch_until) {
                double *row = events + (count - 1) * N_EVENT;
                row[EV_MINIMUM] = min2(row[EV_MINIMUM], state[P_G]);
            }
        } else {
            state[TIME] = goal;
        }
        if (n < n_samples && state[TIME] >= sample_times[n]) {
            shown[n] = state[LAGGED];
            true_[n] = state[P_G];
            n++;
        }
        if (result == HAND_STOPPED) break;
    }
    state[NEXT_SAMPLE] = (double)n;
    state[OPENINGS] = (double)count;
    return result;
}
