"""Best seconds of three formulas over a million points with NumPy.

The same formulas, points and order as crate/benches/columns.rs; one number a line.
"""

import time

import numpy as np

POINTS = 1_000_000
STEPS, BAND, SWITCHING = 2.0, 0.0, 140e3
INDUCTANCE, CAPACITANCE = 0.68e-6, 600e-12


def spread(low, high, stride):
    return low + (high - low) * ((np.arange(POINTS) * stride) % POINTS) / POINTS


def steps(v_in, v_out):
    v_lo = BAND * v_in / STEPS
    v_hi = (BAND + 1.0) * v_in / STEPS
    return v_hi - v_out, v_out - v_lo


def boundary(v_in, v_out, i_out):
    a, b = steps(v_in, v_out)
    return a * b / (a + b) / (2.0 * STEPS * SWITCHING * i_out)


def peak(v_in, v_out, i_out):
    a, b = steps(v_in, v_out)
    return np.sqrt(i_out * i_out + 2.0 * a * b / (a + b) * i_out / (STEPS * SWITCHING * INDUCTANCE))


def swing(v_in, v_out, i_out):
    a, b = steps(v_in, v_out)
    z = (INDUCTANCE / CAPACITANCE) ** 0.5
    return np.arcsin(b / (a + i_out * z)) * z * CAPACITANCE


columns = spread(30.0, 44.0, 1), spread(5.0, 7.0, 7), spread(1.0, 10.0, 13)
for formula in boundary, peak, swing:
    best = float("inf")
    for _ in range(20):
        start = time.perf_counter()
        formula(*columns)
        best = min(best, time.perf_counter() - start)
    print(best)
