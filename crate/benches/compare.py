"""The points of crate/benches/compare.rs with NumPy: a grid of input voltage and load
under three schemes, each cell solved and its losses and temperatures settled.

    python compare.py SIDE [FILE]

prints the seconds of the best of three runs; FILE gets the losses (doubles, scheme by
scheme). Written for the demonstration's data in the lowest band, output voltage below
half a step: the same model, every step over whole columns, as many threads as cores.
Where the library searches until it has its digits, a fixed number of steps is taken.
"""

import os
import sys
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np

POINTS = 4096  # of a block: its arrays stay in the cache
STEPS = (5, 2, 3)  # of the search, by round of the temperatures
V_OUT, PAIRS, PERIOD = 6.0, 2.0, 1 / (2 * 140e3)
DEAD, TRIP, DELAY = 25e-9, 0.4, 35e-9
DROP, TURN_OFF, RECOVERY = 0.8, 3e-9, 14e-9
GATE, CLAMP_GATE, CONTROL = 2 * 9e-9 * 5, 2 * 5.5e-9 * 5, 0.12
AMBIENT, THERMAL = 40.0, {"high": 38.0, "low": 38.0, "clamp": 60.0, "coil": 22.0}
R_OUT, R_FLY = 1.5e-3, 3e-3
LINKAGE, VOLUME, ALPHA, BETA = 4 * 58e-6, 1900e-9, 1.46, 2.75
K_I = 3.2 / ((2 * np.pi) ** (ALPHA - 1) * 2 ** (BETA - ALPHA))
TURN = (np.arange(200_000) + 0.5) * 2 * np.pi / 200_000
K_I /= np.mean(np.abs(np.cos(TURN)) ** ALPHA) * 2 * np.pi
SKIN = np.sqrt(1e-6 / 58 * PERIOD / (np.pi * np.arange(1, 41) * 1.25663706127e-6))
X = 0.1e-3 / SKIN
DOWELL = (np.sinh(2 * X) + np.sin(2 * X)) / (np.cosh(2 * X) - np.cos(2 * X))
DOWELL += 2 * (4**2 - 1) / 3 * (np.sinh(X) - np.sin(X)) / (np.cosh(X) + np.cos(X))
FACTORS = X * DOWELL - 1

# A Gauss rule on the variable from 0 to 1, and the Legendre polynomials at its points.
NODES, WEIGHTS = np.polynomial.legendre.leggauss(24)
LEGENDRE = np.polynomial.legendre.legvander(NODES, 23)
NODES, WEIGHTS = (NODES + 1) / 2, WEIGHTS / 2


def junction(v, zero, floor, built_in=0.8):
    """Capacitance of an abrupt junction, its charge and its energy from 0 V."""
    root = np.sqrt(1 + v / built_in)
    charge = 2 * zero * built_in * (root - 1)
    energy = zero * built_in**2 * ((root**3 - 1) / 1.5 - 2 * (root - 1))
    return zero / root + floor, charge + floor * v, energy + floor * v * v / 2


class Node:
    """The switch node, its voltage w from the output between -b and a."""

    def __init__(self, a, b, inductance, clamp):
        self.a, self.b, self.clamp, self.factor = a, b, clamp, 2 / inductance
        _, self.charge_out, self.energy_out = junction(a, 900e-12, 60e-12)
        self.top, self.bottom = self.at(a)[1:], self.at(-b)[1:]
        self.need = {s: self.factor * m[1] for s, m in ((1, self.top), (-1, self.bottom))}
        self.kept = {}

    def at(self, w):
        """Capacitance; charge and work from the output voltage."""
        a = self.a.reshape(self.a.shape + (1,) * (np.ndim(w) - 1))
        charge_out, energy_out = (
            x.reshape(a.shape) for x in (self.charge_out, self.energy_out)
        )
        c, q, e = junction(a - w, 900e-12, 60e-12)
        dq = charge_out - q
        c, q, work = c + 350e-12, dq + 350e-12 * w, a * dq - (energy_out - e) + 175e-12 * w * w
        if self.clamp:
            more, charge, energy = junction(np.abs(w), 600e-12, 40e-12)
            c, q, work = c + more, q + np.copysign(charge, w), work + energy
        return c, q, work

    def turning(self, side, k):
        """How far a current of the square k comes, at most the level."""
        span = self.a if side > 0 else self.b + 0 * self.a
        need = self.need[side]
        d = span * np.sqrt(np.minimum(k / need, 1))
        for _ in range(6 if np.any(k < need) else 0):
            c, _, work = self.at(side * d)
            d = np.clip(d - (self.factor * work - k) / (self.factor * c * d), 1e-9, span)
        return np.where(k < need, d, span)

    def travel(self, side, k, name=None):
        """Samples along a travel that starts with the square k: time and squared
        current at the rule's points, weighted; those of a `name` are kept."""
        if name is None or name not in self.kept:
            end = self.turning(side, k)
            d = end[:, None] * (1 - (1 - NODES**2) ** 2)
            c, q, work = self.at(side * d)
            weight = c * 4 * end[:, None] * (1 - NODES**2) * NODES * WEIGHTS
            self.kept[name] = end, weight, q, work
        end, weight, q, work = self.kept[name]
        current = np.sqrt(np.maximum(k[:, None] - self.factor * work, 1e-10 * k[:, None]))
        return end, weight / current, weight * current, (q, work)

    def place(self, side, k, elapsed, name=None):
        """Voltage, current and squared current a time after the output voltage."""
        end, times, squares, _ = self.travel(side, k, name)
        whole = times.sum(1)
        inside = np.clip(elapsed, 0, whole)
        times, squares = times @ LEGENDRE, squares @ LEGENDRE
        x = 2 * np.sqrt(inside / whole) - 1
        for _ in range(5):
            t, slope, square = partial(times, squares, x)
            x = np.clip(x - (t - inside) / np.maximum(slope, 1e-30), -1, 1)
        y = (x + 1) / 2
        d = end * (1 - (1 - y * y) ** 2)
        current = np.sqrt(np.maximum(k - self.factor * self.at(side * d)[2], 0))
        return side * d, current, square, whole


def partial(times, squares, x):
    """Sums of Legendre polynomials, integrated from -1 to x, and the slope of one."""
    before, value = np.ones_like(x), x
    t, s, slope = times[:, 0] * (x + 1), squares[:, 0] * (x + 1), times[:, 0].copy()
    for n in range(1, times.shape[1]):
        after = ((2 * n + 1) * x * value - n * before) / (n + 1)
        t += times[:, n] * (after - before)
        s += squares[:, n] * (after - before)
        slope += (2 * n + 1) * times[:, n] * value
        before, value = value, after
    return t / 2, slope / 2, s / 2


def ramp(start, end, drive, resistance, inductance):
    """Time, charge and squared current of a ramp."""
    step = end - start
    t = inductance / resistance * np.log1p(resistance * step / (drive - resistance * end))
    charge = (drive * t - inductance * step) / resistance
    return t, charge, (drive * charge - inductance * step * (start + end) / 2) / resistance


def later(start, elapsed, drive, resistance, inductance):
    end = drive / resistance
    return end + (start - end) * np.exp(-resistance * elapsed / inductance)


class Cell:
    """A block of points under one scheme."""

    def __init__(self, scheme, v_in, load):
        self.scheme, self.load, self.v_in = scheme, load, v_in
        self.soft, self.ring = scheme == "soft", scheme == "ring"
        self.inductance = 4.7e-6 if scheme == "continuous" else 0.68e-6
        self.coil = 4e-3 if scheme == "continuous" else 1.1e-3
        self.a, self.b = v_in / PAIRS - V_OUT, V_OUT
        self.node = Node(self.a, self.b, self.inductance, self.soft)
        self.x = None

    def resistances(self, warm):
        self.high = 4e-3 + 2.2e-5 * (warm["high"] - 25)
        self.low = 4e-3 + 2.2e-5 * (warm["low"] - 25)
        self.path = 12e-3 + 6e-5 * (warm["clamp"] - 25)
        self.winding = self.coil * (1 + 3.93e-3 * (warm["coil"] - 20))
        inductance, b = self.inductance, self.b
        up, down = self.high + self.low + self.winding, 2 * self.low + self.winding
        self.up = self.a, up, inductance
        self.down = -b, down, inductance
        self.high_diode = self.a + DROP, up - self.high, inductance
        self.low_diode = -(b + DROP), down - self.low, inductance
        self.release = 0 * self.a
        if self.soft:
            self.release = np.maximum(-later(-TRIP, DELAY, *self.down), 0)
            self.k = self.release**2 + self.node.need[-1]
            _, times, squares, _ = self.node.travel(-1, self.k, "partial")
            self.rest, self.rest_square = times.sum(1), squares.sum(1)

    def guess(self):
        ripple = self.a * self.b / (self.a + self.b) / self.inductance
        if self.scheme == "continuous":
            self.x = ripple * PERIOD / 2 - self.load
            return (self.load + ripple * PERIOD / 2) ** 2
        z = 2 * self.load * PERIOD * ripple
        on = self.inductance * np.sqrt(z) * (1 / self.a + 1 / self.b)
        self.x = np.maximum(PERIOD - on, 0.02 * PERIOD)
        return z

    def rise(self):
        """The node's way to the turn-on: voltage, current, squared current, the diodes'
        ramps, duration and the time before it that is not waited."""
        node, none = self.node, 0 * self.a
        nothing = none, none, none
        if self.ring:
            k = node.need[-1]
            down = node.travel(-1, k, "down")[1:3]
            up = node.travel(1, k, "up")[1:3]
            down, up = ([x.sum(1) for x in side] for side in (down, up))
            half = down[0] + up[0]
            rounds, phase = np.divmod(self.x, 2 * half)
            back = phase > half
            phase = np.where(back, 2 * half - phase, phase)
            above = phase > down[0]
            w, i, square, _ = node.place(1, k, phase - down[0], "up")
            w_low, i_low, square_low, _ = node.place(-1, k, down[0] - phase, "down")
            part = np.where(above, down[1] + square, down[1] - square_low)
            whole = 2 * (down[1] + up[1])
            square = rounds * whole + np.where(back, whole - part, part)
            i = np.where(above, i, i_low)
            w = np.where(above, w, w_low)
            return w, np.where(back, i, -i), square, nothing, nothing, self.x, self.x
        held = nothing
        if self.soft:
            left = np.sqrt(self.k) * np.exp(-self.path * self.x / self.inductance)
            k, before, square = left * left, none, none
        else:
            valley = -self.x
            k = np.minimum(valley, 0) ** 2 + node.need[-1]
            _, times, squares, _ = node.travel(-1, k, "approach")
            before, square = times.sum(1), squares.sum(1)
        w, i, more, whole = node.place(1, k, DEAD - before)
        arrived = DEAD - before >= whole
        reached = np.sqrt(np.maximum(k - node.need[1], 0))
        wait = np.where(arrived, np.maximum(DEAD - before - whole, 0), 0)
        last = np.minimum(later(-reached, wait, *self.high_diode), 0)
        diode = [np.where(arrived, x, 0) for x in ramp(-reached, last, *self.high_diode)]
        current = np.where(arrived, last, -i)
        w = np.where(arrived, self.a, w)
        square = square + more
        if not self.soft:
            w_low, i_low, part, _ = node.place(-1, k, before - DEAD, "approach")
            below = before > DEAD
            w, current = np.where(below, w_low, w), np.where(below, -i_low, current)
            square = np.where(below, square - more - part, square)
            conducting = valley > 0
            last = np.maximum(later(valley, DEAD, *self.low_diode), 0)
            held = [np.where(conducting, x, 0) for x in ramp(valley, last, *self.low_diode)]
            w = np.where(conducting, -self.b, w)
            current = np.where(conducting, last, current)
            square = np.where(conducting, 0, square)
            diode = [np.where(conducting, 0, x) for x in diode]
            wait = np.where(conducting, 0, wait)
        return w, current, square, diode, held, DEAD - wait, DEAD + none

    def stroke(self, z):
        node, peak = self.node, np.sqrt(z)
        k = z + node.need[1]
        fall = [node.travel(side, k, name) for side, name in ((1, "top"), (-1, "fall"))]
        self.fall = sum(f[1].sum(1) for f in fall)
        self.fall_square = sum(f[2].sum(1) for f in fall)
        after = np.sqrt(k - node.need[-1])
        left = np.maximum(DEAD - self.fall, 0)
        self.held = later(after, left, *self.low_diode)
        self.hold = ramp(after, self.held, *self.low_diode)
        end = self.x * -1 if self.scheme == "continuous" else -self.release
        self.off = ramp(self.held, end, *self.down)
        self.w, self.current, self.square, self.diode, self.diode_low, self.rose, dead = self.rise()
        self.on = ramp(self.current, peak, *self.up)
        arrived = self.w >= self.a
        self.completed = np.where(arrived, 0, node.top[0] - node.at(self.w)[1])
        self.end, self.peak, self.dead, self.after = end, peak, dead, after
        charge = self.on[1] + self.diode[1] + self.diode_low[1] + self.completed
        charge = charge + self.hold[1] + self.off[1]
        spent = dead + self.on[0] + self.fall + self.hold[0] + self.off[0]
        if self.soft:
            spent = spent + self.rest + self.x
        up = self.inductance / (self.a - self.up[1] * peak)
        down = self.inductance / (self.b + self.down[1] * self.held)
        by_charge = up / 2 + (self.hold[0] + down * self.held) / (2 * after)
        by_time = up / (2 * peak) + down / (2 * after)
        return charge - self.load * PERIOD, spent - PERIOD, by_charge, by_time

    def solve(self, steps):
        z = self.guess() if self.x is None else self.z
        ripple = 2 * self.inductance * (1 / self.a + 1 / self.b)
        slope = ripple if self.scheme == "continuous" else np.ones_like(z)
        before = None
        for step in range(steps + 1):
            open_charge, open_time, by_charge, by_time = self.stroke(z)
            if step == steps:
                break
            dz = np.clip(open_charge / by_charge, -0.5 * z, 0.9 * z)
            over = open_time - dz * by_time
            if before is not None and not self.soft:
                found = (over - before[1]) / np.where(self.x == before[0], 1, self.x - before[0])
                slope = np.where((found > 0.3 * slope) & (found < 3 * slope), found, slope)
            before = self.x, over
            x = self.x - over / slope
            if self.scheme == "continuous":
                self.x, peak = x, np.sqrt(z - dz) + (x - self.x)
                z = peak**2
            else:
                self.x, z = np.clip(x, 0, PERIOD), z - dz
        self.z = z

    def losses(self):
        node, step = self.node, self.v_in / PAIRS
        on, off, hold = self.on, self.off, self.hold
        low = [x + y for x, y in zip(hold, self.diode_low)]
        ramps = on[2] + off[2] + self.diode[2] + low[2]
        edges = self.square + self.fall_square + (self.rest_square if self.soft else 0)
        kept, clamp = 0.0, 0.0
        if self.soft:
            part = 2 * self.path / self.inductance
            kept = self.k * -np.expm1(-part * self.x) / part
            clamp = self.path * kept / PERIOD
        squares = {
            "high": on[2] / (2 * PERIOD),
            "low": (on[2] + self.diode[2] + low[2] + 2 * off[2]) / (2 * PERIOD),
            "clamp": kept / PERIOD,
            "coil": (ramps + edges + kept) / PERIOD,
        }
        if self.ring:
            k = node.need[-1]
            sums = [node.travel(side, k, name) for side, name in ((1, "up"), (-1, "down"))]
            energy = [
                (t * self.left(q, work)).sum(1) / PERIOD for _, t, _, (q, work) in sums
            ]
            turn_on = sum(energy) / sum(t.sum(1) for _, t, _, _ in sums)
        else:
            q, work = node.at(self.w)[1:]
            turn_on = self.left(q[:, None], work[:, None])[:, 0] / PERIOD
            turn_on = np.where(self.w >= self.a, 0, turn_on)
        taken = (self.current > 0) & (self.w < 0.001 * step - self.b) & (not self.ring)
        turn_on = turn_on + taken * step * self.current * TURN_OFF / 2 / PERIOD
        high = 2 * self.high * squares["high"] + np.abs(self.diode[1]) * DROP / PERIOD + turn_on
        high += step * self.peak * TURN_OFF / 2 / PERIOD + taken * RECOVERY * step / PERIOD
        low_side = 2 * self.low * squares["low"] + np.abs(low[1]) * DROP / PERIOD
        start = self.current if self.ring else np.where(self.rose < self.dead, self.arrival(), self.current)
        on_time = on[0] + (0 if self.ring else self.dead - self.rose)
        swing = self.inductance * (self.peak - np.minimum(start, self.end)) / LINKAGE
        flanks = on_time ** (1 - ALPHA) + (hold[0] + off[0]) ** (1 - ALPHA)
        core = K_I * swing**BETA * flanks / PERIOD * VOLUME
        coil = self.winding * ramps / PERIOD + core + self.coil * self.alternating(start, on_time)
        flying = R_FLY * (on[2] + self.diode[2]) / PERIOD
        output = R_OUT * np.maximum((ramps + edges) / PERIOD - self.load**2, 0)
        gate = (GATE + (CLAMP_GATE if self.soft else 0)) / PERIOD
        places = {"high": high / 2, "low": low_side / 2, "clamp": clamp, "coil": coil}
        return high + low_side + clamp + coil + flying + output + gate + CONTROL, places, squares

    def left(self, q, work):
        a, (charge, energy) = self.a[:, None], self.node.top
        return np.maximum(a * (charge[:, None] - q) - (energy[:, None] - work), 0)

    def arrival(self):
        """The current with which the node arrived: before the diode's ramp."""
        return later(self.current, self.rose - self.dead, *self.high_diode)

    def alternating(self, start, on_time):
        first = 0 * self.x if self.ring else (-self.x if not self.soft else None)
        parts = [self.rose, on_time, self.fall, self.hold[0] + self.off[0]]
        if self.soft:
            opened = np.sqrt(self.k)
            first = -opened * np.exp(-self.path * self.x / self.inductance)
            parts += [self.rest, self.x]
            last = [self.end, -opened]
        else:
            last = []
        currents = np.stack([first, start, self.peak, self.after, *last])
        parts = np.stack(parts)
        times = np.cumsum(parts, 0)
        slopes = (np.roll(currents, -1, 0) - currents) / parts
        jumps = slopes - np.roll(slopes, 1, 0)
        turn = np.exp(2j * np.pi * (times - parts) / times[-1])
        total, pulse = 0, jumps.astype(complex)
        for n, factor in enumerate(FACTORS, 1):
            pulse = pulse * turn
            omega = 2 * np.pi * n / times[-1]
            total += factor * 2 * np.abs(pulse.sum(0) / (times[-1] * omega**2)) ** 2
        return total


def settled(scheme, v_in, load):
    cell = Cell(scheme, v_in, load)
    warm = {place: AMBIENT + 0 * load for place in THERMAL}
    for steps in STEPS:
        cell.resistances(warm)
        cell.solve(steps)
        total, places, squares = cell.losses()
        slopes = {"high": 2.2e-5, "low": 2.2e-5, "clamp": 6e-5, "coil": cell.coil * 3.93e-3}
        now = {"high": cell.high, "low": cell.low, "clamp": cell.path, "coil": cell.winding}
        for place, thermal in THERMAL.items():
            cold = now[place] + slopes[place] * (AMBIENT - warm[place])
            fixed = places[place] - squares[place] * now[place]
            rise = thermal * (fixed + squares[place] * cold)
            warm[place] = AMBIENT + rise / (1 - thermal * squares[place] * slopes[place])
    return total


def main():
    side = int(sys.argv[1])
    part = np.arange(side) / (side - 1)
    v_in = np.repeat(30.0 + 14.0 * part, side)
    load = np.tile(0.3 + 5.7 * part, side)
    blocks = [slice(at, at + POINTS) for at in range(0, side * side, POINTS)]
    best = np.inf
    with ThreadPoolExecutor(len(os.sched_getaffinity(0))) as pool:
        for _ in range(3):
            begin = time.perf_counter()
            found = [
                np.concatenate(list(pool.map(lambda at: settled(s, v_in[at], load[at]), blocks)))
                for s in ("soft", "ring", "continuous")
            ]
            best = min(best, time.perf_counter() - begin)
    print(best)
    if len(sys.argv) > 2:
        np.concatenate(found).tofile(sys.argv[2])


if __name__ == "__main__":
    main()
