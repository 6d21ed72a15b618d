"""Writes elementary.csv: for random arguments the doubles next below and next
above the exact result, from exact fractions and from mpmath at 60 digits.

    python3 tests/data/elementary.py > tests/data/elementary.csv
"""
import math
import random
from fractions import Fraction

import mpmath

mpmath.mp.dps = 60
random.seed(20260101)


def around(exact):
    """The greatest double not above and the least not below `exact`."""
    value = float(exact)
    other = Fraction(value) if isinstance(exact, Fraction) else mpmath.mpf(value)
    low = value if other <= exact else math.nextafter(value, -math.inf)
    high = value if other >= exact else math.nextafter(value, math.inf)
    return low, high


def row(name, x, y, exact):
    low, high = around(exact)
    print(f"{name},{x!r},{y!r},{low!r},{high!r}")


def wide():
    return random.choice([-1, 1]) * 10 ** random.uniform(-15, 15)


print("function,x,y,below,above")
for _ in range(40):
    x, y = wide(), wide()
    row("add", x, y, Fraction(x) + Fraction(y))
    row("subtract", x, y, Fraction(x) - Fraction(y))
    row("multiply", x, y, Fraction(x) * Fraction(y))
    row("divide", x, y, Fraction(x) / Fraction(y))
    near = x * (1 + random.choice([1, 3, -7]) * 2.0**-52)
    row("subtract", x, near, Fraction(x) - Fraction(near))
    row("sqrt", abs(x), 0.0, mpmath.sqrt(mpmath.mpf(abs(x))))
    e = random.choice([1, -1]) * 10 ** random.uniform(-9, 2.8)
    row("exp", e, 0.0, mpmath.exp(mpmath.mpf(e)))
    row("ln", abs(x), 0.0, mpmath.log(mpmath.mpf(abs(x))))
    one = 1 + random.choice([1, -1]) * 10 ** random.uniform(-14, -1)
    row("ln", one, 0.0, mpmath.log(mpmath.mpf(one)))
    angle = random.choice([1, -1]) * 10 ** random.uniform(-6, 4)
    row("sin", angle, 0.0, mpmath.sin(mpmath.mpf(angle)))
    row("cos", angle, 0.0, mpmath.cos(mpmath.mpf(angle)))
    ratio = random.choice([random.uniform(-1, 1), 1 - 10 ** random.uniform(-15, -1)])
    row("asin", ratio, 0.0, mpmath.asin(mpmath.mpf(ratio)))
    row("acos", ratio, 0.0, mpmath.acos(mpmath.mpf(ratio)))
    base, power = 10 ** random.uniform(-3, 3), random.uniform(-3, 3)
    row("powf", base, power, mpmath.mpf(base) ** mpmath.mpf(power))
    whole = random.randint(-5, 7)
    signed = random.choice([-1, 1]) * base
    row("power", signed, float(whole), Fraction(signed) ** whole)
for x in (0.5, 2.0, math.e, math.pi, 1e-300, 5e-324, 1e300):
    row("ln", x, 0.0, mpmath.log(mpmath.mpf(x)))
for x in (math.pi, -math.pi, math.pi / 2, 1e5):
    row("sin", x, 0.0, mpmath.sin(mpmath.mpf(x)))
    row("cos", x, 0.0, mpmath.cos(mpmath.mpf(x)))
