"""Specification reading and two unlike engines for one cell of the stage.

Internal units: V, A, ns, nH, nF, ohm (so nF V/ns = A and nH A/ns = V need no
factors).  `Ode` integrates the node and inductor equations in time with event
detection; `Quadrature` uses the energy balance and Gauss-Legendre panels and
only serves to search the box quickly.  The two share no formula for an edge.
"""

import math
import tomllib
from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

UNITS = {
    "V": 1.0, "mV": 1e-3, "A": 1.0, "mA": 1e-3, "ohm": 1.0, "mohm": 1e-3, "%": 1e-2,
    "ns": 1.0, "us": 1e3, "nH": 1.0, "uH": 1e3, "pF": 1e-3, "nF": 1.0, "uF": 1e3,
    "Hz": 1e-9, "kHz": 1e-6, "MHz": 1e-3,
}
RTOL, ATOL = 1e-13, 1e-15


class State(Exception):
    """The cell is not the six-interval one; the text names what it is instead."""


def quantity(text):
    number, unit = text.split()
    return float(number) * UNITS[unit]


def span(entry):
    if isinstance(entry, str):
        value = quantity(entry)
        return value, value, value
    low, high = quantity(entry["min"]), quantity(entry["max"])
    return low, quantity(entry["nominal"]) if "nominal" in entry else (low + high) / 2, high


class Capacitance:
    """C(v) of one device: `scalar` for the ODE, `array` for the panels, `kinks` in v."""

    def __init__(self, entry):
        self.kinks = []
        if entry is None or "constant" in entry:
            level = 0.0 if entry is None else quantity(entry["constant"])
            self.scalar = lambda v: level
            self.array = lambda v: np.full_like(v, level)
        elif "table" in entry:
            points = [(quantity(v), quantity(c)) for v, c in entry["table"]]
            v_list, c_list = (np.array(column) for column in zip(*points))
            self.kinks = list(v_list)
            self.scalar = lambda v: float(np.interp(v, v_list, c_list))
            self.array = lambda v: np.interp(v, v_list, c_list)
        else:
            c_j, v_j = quantity(entry["zero_bias"]), quantity(entry["built_in"])
            grade, floor = entry["grading"], quantity(entry["floor"])
            self.scalar = lambda v: c_j * (1 + max(v, 0.0) / v_j) ** -grade + floor
            self.array = lambda v: c_j * (1 + np.maximum(v, 0.0) / v_j) ** -grade + floor


@dataclass
class Spec:
    name: str
    data: dict

    def __post_init__(self):
        d = self.data
        self.title = d["title"]
        self.vin = span(d["input"]["voltage"])
        self.vout = span(d["output"]["voltage"])
        self.iout = span(d["output"]["current"])
        self.n = d["stage"]["levels"] - 1
        self.T = 1 / (self.n * quantity(d["stage"]["switching_frequency"]))
        self.L = quantity(d["stage"]["inductance"]["nominal"])
        self.rc = quantity(d["clamp"]["resistance"])
        self.vc = quantity(d["clamp"].get("drop", "0 V"))
        trip = d["trip"]
        self.delay, self.margin = quantity(trip["delay"]), trip["margin"]
        self.offset = quantity(trip.get("offset", "0 A"))
        self.threshold = quantity(trip["threshold"]) if "threshold" in trip else None
        self.dead_time = quantity(d["timing"]["dead_time"])
        self.c_high = Capacitance(d["transistors"]["high"]["output_capacitance"])
        self.c_low = Capacitance(d["transistors"]["low"]["output_capacitance"])
        self.c_clamp = Capacitance(d["clamp"].get("output_capacitance"))
        self.has_clamp_c = "output_capacitance" in d["clamp"]
        self.c_par = quantity(d["stage"].get("node_capacitance", "0 pF"))

    @classmethod
    def read(cls, path):
        with open(path, "rb") as file:
            return cls(path.stem, tomllib.load(file))

    def node(self, v_in, v_out):
        return Node(self, v_in, v_out)


class Node:
    """The switch node at one pair of input and output voltages."""

    def __init__(self, spec, v_in, v_out):
        step = v_in / spec.n
        self.v_out, self.m = v_out, math.floor(v_out * spec.n / v_in)
        self.lo, self.hi = self.m * step, (self.m + 1) * step
        self.a, self.b = self.hi - v_out, v_out - self.lo
        low, high, clamp, par = spec.c_low, spec.c_high, spec.c_clamp, spec.c_par
        self.c = lambda u: (low.scalar(u - self.lo) + high.scalar(self.hi - u)
                            + clamp.scalar(abs(u - v_out)) + par)
        self.c_array = lambda u: (low.array(u - self.lo) + high.array(self.hi - u)
                                  + clamp.array(np.abs(u - v_out)) + par)
        kinks = [self.lo + v for v in low.kinks] + [self.hi - v for v in high.kinks]
        kinks += [v_out + s * v for v in clamp.kinks for s in (-1, 1)]
        self.kinks = sorted({k for k in kinks + [v_out] * spec.has_clamp_c if self.lo < k < self.hi})

    def path(self, x, y, extra=()):
        """x, every kink strictly between, y: in the order of travel."""
        low, high = min(x, y), max(x, y)
        inside = sorted(k for k in {*self.kinks, *extra} if low + 1e-9 < k < high - 1e-9)
        return [x, *(inside if y > x else inside[::-1]), y]


class Ode:
    """C du/dt = -i, L di/dt = u - V_out, dq/dt = i, marched in time to an event."""

    def march(self, node, L, x, y, i, watch_zero=True):
        """From node voltage x with current i to y: (reached, u, i, time, charge)."""
        c, v_out, t, q = node.c, node.v_out, 0.0, 0.0

        def slope(_, s):
            return (-s[1] / c(s[0]), (s[0] - v_out) / L, s[1])

        route = node.path(x, y)
        for start, target in zip(route, route[1:]):
            arrive = lambda _, s: s[0] - target
            arrive.terminal, arrive.direction = True, 1 if target > start else -1
            stop = lambda _, s: s[1]
            # The current that moves the node dies: upwards while rising, downwards while falling.
            stop.terminal, stop.direction = True, 1 if y > x else -1
            run = solve_ivp(slope, (0, 1e6), (start, i, q), "DOP853", rtol=RTOL, atol=ATOL,
                            events=[arrive, stop] if watch_zero else [arrive])
            if len(run.t_events[0]) == 0:
                return False, run.y[0, -1], 0.0, t + run.t[-1], run.y[2, -1]
            # Integrate again to the instant itself: no interpolation enters the result.
            instant = run.t_events[0][0]
            end = solve_ivp(slope, (0, instant), (start, i, q), "DOP853", rtol=RTOL, atol=ATOL).y[:, -1]
            du, di, dq = slope(0, end)
            rest = (target - end[0]) / du if abs(du) > 1e-6 else 0.0
            i, q, t = end[1] + di * rest, end[2] + dq * rest, t + instant + rest
        return True, y, i, t, q

    def floor(self, node, L):
        """Least rising current: start at rest at V_hi and let the node fall back to V_out."""
        return self.march(node, L, node.hi, node.v_out, 0.0, watch_zero=False)[2]

    def floor_by_shooting(self, node, L):
        def excess(i_h):
            reached, u, i, _, _ = self.march(node, L, node.v_out, node.hi, -i_h)
            return i * i if reached else u - node.hi
        return brentq(excess, 1e-3, 20.0, xtol=1e-13, rtol=1e-12)

    def rise(self, node, L, i_h):
        reached, u, i, t, q = self.march(node, L, node.v_out, node.hi, -i_h)
        if not reached:
            raise State("rising edge incomplete")
        return -i, t, q

    def partial(self, node, L, i_s):
        _, _, i, t, q = self.march(node, L, node.lo, node.v_out, -i_s, watch_zero=False)
        return -i, t, q

    def partial_backwards(self, node, L, i_c):
        """Release current whose partial rise ends with i_c: run time backwards from V_out."""
        # Reversed time is the same system with the current's sign changed.
        reached, _, i, _, _ = self.march(node, L, node.v_out, node.lo, i_c)
        return i if reached else 0.0

    def decay(self, spec, L, i, t):
        """Current after a time t (negative: before) across the conducting clamp."""
        if t == 0:
            return i
        done = lambda _, s: s[0]
        done.terminal = True
        run = solve_ivp(lambda _, s: (-(spec.rc * s[0] + spec.vc) / L,), (0, t), (i,), "DOP853",
                        rtol=RTOL, atol=ATOL, events=[done] if t > 0 else None)
        return run.y[0, -1] if run.status == 0 else 0.0

    def demagnetise(self, spec, L, i):
        done = lambda _, s: s[0]
        done.terminal = True
        run = solve_ivp(lambda _, s: (-(spec.rc * s[0] + spec.vc) / L,), (0, 1e7), (i,), "DOP853",
                        rtol=RTOL, atol=ATOL, events=[done])
        return run.t_events[0][0]

    def peak(self, node, L, i_r, i_s, q_rise, q_partial, charge):
        """Peak current for which intervals 1-5 deliver the charge, the falling edge marched."""
        def surplus(i_pk):
            _, _, after, _, q_fall = self.march(node, L, node.hi, node.lo, i_pk)
            ramps = L / 2 * ((i_pk**2 - i_r**2) / node.a + (after**2 - i_s**2) / node.b)
            return ramps + q_rise + q_fall + q_partial - charge
        i_pk = brentq(surplus, 1e-3, 1000.0, xtol=1e-12, rtol=1e-12)
        reached, _, after, t, _ = self.march(node, L, node.hi, node.lo, i_pk)
        return i_pk, after, t, reached


NODES, WEIGHTS = (0.5 * (part + shift) for part, shift in
                  zip(np.polynomial.legendre.leggauss(20), (1.0, 0.0)))


class Quadrature:
    """Energy balance L i di = -C (u - V_out) du with Gauss-Legendre panels graded at the ends."""

    def panels(self, node, x, y):
        extra = [p + s * d for p in (node.lo, node.hi, node.v_out) for s in (-1, 1)
                 for d in (0.05, 0.3, 1.0, 4.0, 15.0)]
        return np.array(node.path(x, y, extra))

    def works(self, node, route):
        """Integral of C(u)(u - V_out) over each panel of the route."""
        u = route[:-1, None] + np.diff(route)[:, None] * NODES
        return np.diff(route) * (node.c_array(u) * (u - node.v_out) @ WEIGHTS)

    def work(self, node, x, y):
        return float(self.works(node, self.panels(node, x, y)).sum())

    def edge_time(self, node, L, x, y, i, end):
        """Time from x to y; `end` is the end where the current may vanish."""
        route = self.panels(node, x, y)
        before = np.concatenate(([0.0], np.cumsum(self.works(node, route))[:-1]))
        # u = end +- s^2 takes away the square-root singularity of a vanishing current.
        root = np.sqrt(np.abs(route - end))
        s = root[:-1, None] + np.diff(root)[:, None] * NODES
        u = end + math.copysign(1.0, (x + y) / 2 - end) * s * s
        begun = u - route[:-1, None]
        inner = route[:-1, None, None] + begun[..., None] * NODES
        spent = before[:, None] + begun * (node.c_array(inner) * (inner - node.v_out) @ WEIGHTS)
        current = np.sqrt(np.maximum(i * i - 2 / L * spent, 1e-300))
        return float(np.abs(np.diff(root)) @ (node.c_array(u) * 2 * s / current @ WEIGHTS))

    def floor(self, node, L):
        return math.sqrt(2 * self.work(node, node.v_out, node.hi) / L)

    def rise(self, node, L, i_h):
        square = i_h**2 - 2 / L * self.work(node, node.v_out, node.hi)
        if square < -1e-13:
            raise State("rising edge incomplete")
        return math.sqrt(max(square, 0.0)), self.edge_time(node, L, node.v_out, node.hi, i_h, node.hi), 0.0

    def partial(self, node, L, i_s):
        i_c = math.sqrt(i_s**2 - 2 / L * self.work(node, node.lo, node.v_out))
        return i_c, self.edge_time(node, L, node.lo, node.v_out, i_s, node.lo), 0.0

    def partial_backwards(self, node, L, i_c):
        return math.sqrt(max(i_c**2 + 2 / L * self.work(node, node.lo, node.v_out), 0.0))

    def decay(self, spec, L, i, t):
        if spec.rc == 0:
            return max(i - spec.vc * t / L, 0.0)
        drop = spec.vc / spec.rc
        return max((i + drop) * math.exp(-spec.rc * t / L) - drop, 0.0)

    def demagnetise(self, spec, L, i):
        return L / spec.rc * math.log1p(i * spec.rc / spec.vc)

    def peak(self, node, L, i_r, i_s, _q_rise, _q_partial, charge):
        gain = 2 / L * self.work(node, node.lo, node.hi)
        square = ((2 * charge / L + i_r**2 / node.a + (i_s**2 - gain) / node.b)
                  / (1 / node.a + 1 / node.b))
        if square <= 0 or square + gain < 0:
            # The node never reaches V_lo; a release from zero current stands in while searching.
            square = node.a * (2 * charge / L + i_r**2 / node.a + i_s**2 / node.b)
            return math.sqrt(square), 0.0, 0.0, False
        i_pk, after = math.sqrt(square), math.sqrt(square + gain)
        return i_pk, after, self.edge_time(node, L, node.hi, node.lo, i_pk, node.lo), True


def cell(engine, spec, node, L, i_s, hold, i_out, clamp_on=None, searching=False):
    """Currents and times of all six intervals for a stated hold time, and the sum of the times."""
    i_c, t_partial, q_partial = clamp_on or engine.partial(node, L, i_s)
    i_h = engine.decay(spec, L, i_c, hold)
    if i_h == 0:
        raise State("clamp demagnetised")
    i_r, t_rise, q_rise = engine.rise(node, L, i_h)
    i_pk, after, t_fall, complete = engine.peak(node, L, i_r, i_s, q_rise, q_partial, i_out * spec.T)
    if not (complete or searching):
        raise State("falling edge incomplete")
    times = {
        "rise_time": t_rise, "on_time": L * (i_pk + i_r) / node.a, "fall_time": t_fall,
        "release_time": L * (after + i_s) / node.b, "partial_time": t_partial, "hold_time": hold,
    }
    currents = {"peak_current": i_pk, "current_after_fall": after, "release_current": i_s,
                "clamp_on_current": i_c, "hold_end_current": i_h, "remaining_current": i_r}
    return currents, times, sum(times.values())


def slack(engine, spec, node, L, i_s, i_out):
    """What a hold of zero leaves of the cell; negative: no hold time is left."""
    return spec.T - cell(engine, spec, node, L, i_s, 0.0, i_out)[2]


def steady_state(engine, spec, node, L, i_s, i_out):
    """The cell whose hold time makes the six intervals add up to T."""
    i_c, t_partial, q_partial = clamp_on = engine.partial(node, L, i_s)
    least = engine.floor(node, L)
    if i_c < least:
        raise State("rising edge incomplete")
    # The longest hold from which the rising edge still completes (a hair inside it).
    longest = spec.T
    if engine.decay(spec, L, i_c, spec.T) < least:
        longest = brentq(lambda t: engine.decay(spec, L, i_c, t) - least, 0, spec.T, xtol=1e-12)
        longest -= 1e-6 * spec.T

    def rest(hold):
        return spec.T - cell(engine, spec, node, L, i_s, hold, i_out, clamp_on, searching=True)[2]

    if rest(0.0) < 0:
        raise State("no hold time left")
    shortfall = rest(longest)
    if shortfall > 0:
        # The hold goes on beyond the point where the rising edge is lost.
        gone = engine.decay(spec, L, i_c, longest + shortfall) == 0
        raise State("clamp demagnetised" if gone else "rising edge incomplete")
    hold = brentq(rest, 0.0, longest, xtol=1e-10, rtol=1e-13)
    currents, times, _ = cell(engine, spec, node, L, i_s, hold, i_out, clamp_on)
    return currents, times
