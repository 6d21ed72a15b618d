"""Independent reference results: specification files in, sorted JSON out.

    python reference.py specs/*.toml > independent.json      (see README.md)

The worst points over the box are searched by a dense grid and repeated zooming
with the quick engine; the values written are worked out again at those points
by marching the differential equations.  The two must agree to 1e-9.
"""

import json
import sys
from pathlib import Path

import numpy as np
from scipy.optimize import brentq

from stage import Ode, Quadrature, Spec, State, slack, steady_state

ODE, QUICK = Ode(), Quadrature()
SI_TIME, SI_L = 1e-9, 1e-9
AGREE = 1e-9


# ---- the box -----------------------------------------------------------------

def axis(low, high, count):
    return np.linspace(low, high, count) if high > low else np.array([low])


def largest(function, spec, count=25):
    """Point of the box where `function(node)` is largest: grid, then zoom on the two best peaks."""
    def probe(x, y):
        try:
            return function(spec.node(x, y))
        except State as state:
            state.at = at(x, y)
            raise

    vin, vout = axis(spec.vin[0], spec.vin[2], count), axis(spec.vout[0], spec.vout[2], count)
    grid = np.array([[probe(x, y) for y in vout] for x in vin])
    padded = np.pad(grid, 1, constant_values=-np.inf)
    around = np.max([padded[1 + i:padded.shape[0] - 1 + i, 1 + j:padded.shape[1] - 1 + j]
                     for i in (-1, 0, 1) for j in (-1, 0, 1)], axis=0)
    peaks = sorted(zip(*np.where(grid >= around)), key=lambda p: -grid[p])[:2]
    steps = [(s[2] - s[0]) / (count - 1) for s in (spec.vin, spec.vout)]
    return max((zoom(probe, spec, vin[i], vout[j], *steps) for i, j in peaks), key=lambda found: found[0])


def zoom(probe, spec, x, y, dx, dy):
    value = probe(x, y)
    while max(dx, dy) > 1e-8:
        for u in {float(np.clip(x + k * dx, spec.vin[0], spec.vin[2])) for k in np.linspace(-1, 1, 7)}:
            for v in {float(np.clip(y + k * dy, spec.vout[0], spec.vout[2])) for k in np.linspace(-1, 1, 7)}:
                trial = probe(u, v)
                if trial > value:
                    value, x, y = trial, u, v
        dx, dy = 0.4 * dx, 0.4 * dy
    return value, x, y


# ---- quantities at one point -----------------------------------------------------

def boundary(spec, node, extra=0.0):
    """Inductance whose current runs between -extra and 2 I_out + extra with no freewheel."""
    return spec.T * node.a * node.b / ((node.a + node.b) * 2 * (spec.iout[2] + extra))


def ceiling(engine, spec, node):
    top = boundary(spec, node)
    return brentq(lambda L: L - boundary(spec, node, engine.floor(node, L)), 0.02 * top, top,
                  xtol=1e-9, rtol=1e-12)


def clamp_on(engine, spec, node):
    """Current at clamp-on that leaves margin x floor after a hold of a whole cell."""
    return engine.decay(spec, spec.L, spec.margin * engine.floor(node, spec.L), -spec.T)


def release(engine, spec, node):
    return engine.partial_backwards(node, spec.L, clamp_on(engine, spec, node))


def trip_unclipped(engine, spec, node):
    return release(engine, spec, node) - node.b / spec.L * spec.delay + spec.offset


def release_in_force(spec, node, L, trip):
    return trip - spec.offset + node.b / L * spec.delay


def ceiling_operating(engine, spec, node, trip):
    """Largest L whose exact steady state has a hold time of zero, the trip kept as set."""
    def rest(L):
        return slack(engine, spec, node, L, release_in_force(spec, node, L, trip), spec.iout[2])
    high = boundary(spec, node)
    if engine is QUICK:
        low = high * 0.93
        while rest(low) < 0:
            high, low = low, low * 0.93
            if low < 0.02 * boundary(spec, node):
                raise State("no hold time left at any inductance")
    else:
        guess = ceiling_operating(QUICK, spec, node, trip)
        low, high = 0.98 * guess, 1.02 * guess
    return brentq(rest, low, high, xtol=1e-9, rtol=1e-12)


# ---- results -----------------------------------------------------------------------

def digits(value, count=12):
    return float(f"{value:.{count}g}")


def at(x, y, current=None):
    place = {"input_voltage": digits(x, 8), "output_voltage": digits(y, 8)}
    return place | ({"output_current": digits(current, 8)} if current is not None else {})


def agree(what, marched, quick):
    if abs(marched - quick) > AGREE * max(abs(marched), 1e-3):
        raise SystemExit(f"{what}: marched {marched!r}, quick {quick!r}")
    return marched


def extreme(spec, name, function, scale, current=None, least=False, clip=False):
    """Worst point of `function(engine, spec, node)`: searched quickly, marched at the point."""
    sign = -1 if least else 1
    try:
        value, x, y = largest(lambda node: sign * function(QUICK, spec, node), spec)
    except State as state:
        return {"value": None, "state": str(state), "at": state.at}
    value = agree(f"{spec.name} {name}", function(ODE, spec, spec.node(x, y)), sign * value)
    entry = {"value": digits(max(value, 0.0) * scale), "at": at(x, y, current)}
    return entry | ({"clipped": True} if clip and value <= 0 else {})


def nominal_line(spec):
    for v_in in spec.vin:
        yield v_in, spec.node(v_in, spec.vout[1])


def windows(spec):
    """Dead-time window at margin x floor, at the three input voltages."""
    found = {"dead_time_earliest": [], "dead_time_best": [], "dead_time_latest": []}
    for v_in, node in nominal_line(spec):
        ends = []
        for engine in (ODE, QUICK):
            i_h = spec.margin * engine.floor(node, spec.L)
            i_r, rise, _ = engine.rise(node, spec.L, i_h)
            ends.append((rise, rise + spec.L * i_r / node.a))
        early, late = (agree(f"{spec.name} dead time", *pair) for pair in zip(*ends))
        for name, value in zip(found, (early, (early + late) / 2, late)):
            found[name].append({"value": digits(value * SI_TIME), "at": at(v_in, spec.vout[1])})
    return found


def demagnetisation(spec, worst):
    if spec.vc == 0:
        return {"demagnetisation_time": None, "demagnetisation_time_local": None}
    found = {"demagnetisation_time": [], "demagnetisation_time_local": []}
    for v_in, node in nominal_line(spec):
        for name, current in zip(found, (worst, clamp_on(ODE, spec, node))):
            time = agree(name, ODE.demagnetise(spec, spec.L, current),
                         QUICK.demagnetise(spec, spec.L, current))
            found[name].append({"value": digits(time * SI_TIME), "at": at(v_in, spec.vout[1])})
    return found


def operate(engine, spec, node, trip, i_out):
    return steady_state(engine, spec, node, spec.L, release_in_force(spec, node, spec.L, trip), i_out)


def peak_current(spec, trip):
    i_out = spec.iout[2]

    def little(node):
        return -slack(QUICK, spec, node, spec.L, release_in_force(spec, node, spec.L, trip), i_out)

    def peak(engine, node):
        return operate(engine, spec, node, trip, i_out)[0]["peak_current"]

    try:
        lack, x, y = largest(little, spec)
        if lack > 0:
            return {"value": None, "state": "no hold time left", "at": at(x, y, i_out)}
    except State as state:
        return {"value": None, "state": str(state), "at": state.at}
    return extreme(spec, "peak_current", lambda e, s, node: peak(e, node), 1.0, i_out)


def nominal_cell(spec, trip, i_out):
    """The whole cell at nominal voltages, or the state that stands in its place."""
    node = spec.node(spec.vin[1], spec.vout[1])
    place = {"at": at(spec.vin[1], spec.vout[1], i_out)}
    try:
        quick = operate(QUICK, spec, node, trip, i_out)
    except State as state:
        return place | {"state": str(state), "values": None}
    marched = operate(ODE, spec, node, trip, i_out)
    values = {}
    for scale, ours, theirs in zip((1.0, SI_TIME), marched, quick):
        for name in ours:
            values[name] = digits(agree(f"{spec.name} {name}", ours[name], theirs[name]) * scale)
    gate = marched[1]["on_time"] - (spec.dead_time - marched[1]["rise_time"])
    values["gate_on_time"] = digits(gate * SI_TIME)
    late = marched[1]["rise_time"] + spec.L * marched[0]["remaining_current"] / node.a
    place["dead_time_inside_window"] = bool(marched[1]["rise_time"] <= spec.dead_time <= late)
    return place | {"state": "six intervals", "values": values}


def results(spec):
    i_out = spec.iout[2]
    found = {
        "inductance_boundary": extreme(spec, "boundary", lambda e, s, node: boundary(s, node), SI_L,
                                       i_out, least=True),
        "inductance_ceiling": extreme(spec, "ceiling", ceiling, SI_L, i_out, least=True),
        "freewheel_floor": extreme(spec, "floor", lambda e, s, node: e.floor(node, s.L), 1.0),
        "clamp_on_current": extreme(spec, "clamp_on", clamp_on, 1.0),
        "release_current": extreme(spec, "release", release, 1.0, clip=True),
        "trip_current": extreme(spec, "trip", trip_unclipped, 1.0, clip=True),
    }
    place = found["freewheel_floor"]["at"]
    node = spec.node(place["input_voltage"], place["output_voltage"])
    agree(f"{spec.name} shooting", ODE.floor_by_shooting(node, spec.L), ODE.floor(node, spec.L))
    derived = spec.threshold is None
    trip = found["trip_current"]["value"] if derived else spec.threshold
    found["trip_in_force"] = {"value": digits(trip), "derived": derived}
    found["inductance_ceiling_operating"] = extreme(
        spec, "ceiling_operating", lambda e, s, node: ceiling_operating(e, s, node, trip), SI_L,
        i_out, least=True)
    found |= windows(spec) | demagnetisation(spec, found["clamp_on_current"]["value"])
    found["peak_current"] = peak_current(spec, trip)
    found["cell_at_largest_current"] = nominal_cell(spec, trip, i_out)
    found["cell_at_least_current"] = nominal_cell(spec, trip, spec.iout[0])
    return {"title": spec.title, "results": found}


def main(paths):
    table = {}
    for path in sorted(map(Path, paths)):
        print(path.stem, file=sys.stderr)
        table[path.stem] = results(Spec.read(path))
    json.dump(table, sys.stdout, indent=1, sort_keys=True, allow_nan=False)
    print()


if __name__ == "__main__":
    main(sys.argv[1:])
