"""Reads every formula back from its LaTeX and computes it with SymPy.

    python read_formulas.py formulas.json       (DEVELOPERS.md has the commands)

Replaced before parsing, and nothing else: each symbol's LaTeX, longest first, by x_{1}, x_{2}, ... and the product
token by \\cdot; the thin space before a differential stays. The second route, for what the parser lacks: the application of
a curve, and of a function whose argument it does not end at the parenthesis, becomes one symbol whose argument is parsed on its
own; integrals are computed here by panels of Gauss-Legendre nodes with the curve as a function. The values of a line's symbols are those of the library, so that each line stands for itself. A function defined for one variable is read for the other too.
"""

import json
import re
import sys
from functools import cache

import numpy as np
from sympy import Abs, Float, Integral, Symbol, asin, cos, exp, lambdify, log, sin
from sympy.parsing.latex.lark import parse_latex_lark

CLOSED, INTEGRAL, RESIDUAL = 1e-12, 1e-9, 1e-9
DIGITS = 30
# The parser takes one digit after the letter; letters it reads as constants or differentials are left out.
NAMES = [f"{letter}_{{{digit}}}" for letter in "xyzwvpqrst" for digit in "123456789"]
# Functions whose argument the parser does not end at the closing parenthesis (exp(x) y is ambiguous to it).
UNREAD = [r"\exp", r"\ln", r"\arcsin", r"\sin", r"\cos"]
VARIABLES = {Symbol("u"), Symbol("v")}
NODES, WEIGHTS = np.polynomial.legendre.leggauss(60)


@cache
def parse(text):
    tree = parse_latex_lark(text)
    if not hasattr(tree, "free_symbols"):
        raise ValueError(f"ambiguous: {text}: {tree}")
    return tree


def closing(text, start):
    """The index after the \\right) that closes the \\left( at `start`."""
    depth = 0
    for match in re.compile(r"\\left|\\right").finditer(text, start):
        depth += 1 if match.group() == r"\left" else -1
        if depth == 0:
            return match.end() + 1
    raise ValueError(f"no closing parenthesis: {text}")


def curve(entry):
    """C(v) from the specification's own numbers."""
    farad = lambda text: float(text.split()[0]) * {"pF": 1e-12, "nF": 1e-9}[text.split()[1]]
    volt = lambda text: float(text.split()[0])
    if "constant" in entry:
        return (lambda v: farad(entry["constant"]) + 0.0 * v), []
    if "table" in entry:
        v, c = [volt(row[0]) for row in entry["table"]], [farad(row[1]) for row in entry["table"]]
        return (lambda x: np.interp(x, v, c)), v
    zero, built, grade, floor = farad(entry["zero_bias"]), volt(entry["built_in"]), entry["grading"], farad(entry["floor"])
    return (lambda v: zero / (1.0 + np.maximum(v, 0.0) / built) ** grade + floor), [0.0]


def forms(head, body):
    """The definition as it stands, and a function of one variable for the other variable too."""
    definitions = {head: body}
    for own, other in ["uv", "vu"]:
        if head.endswith(rf"\left({own}\right)"):
            letter = re.compile(rf"(?<![A-Za-z\\]){own}(?![A-Za-z])")
            definitions[letter.sub(other, head)] = letter.sub(other, body)
    return definitions


class Reader:
    """The symbols of one formula at one point."""

    def __init__(self, entry):
        self.values = {latex: float(value) for latex, value in entry["inputs"]}
        self.bodies = {}
        self.curves = {latex: curve(law) for latex, law in entry["curves"].items()}
        self.calls = {}
        for line in entry["lines"]:
            if line["unknown"]:
                self.values[line["unknown"]] = float(line["value"])
                continue
            head, body = line["latex"].split(" = ", 1)
            if line["value"] is None:
                self.bodies |= forms(head, body)
            else:
                self.values[head] = float(line["value"])

    def expression(self, latex):
        """The parsed expression, and what each of its symbols stands for."""
        meaning = {}
        heads = sorted([*self.values, *self.bodies], key=len, reverse=True)

        def name(what):
            for own, known in meaning.items():
                if known == what:
                    return own
            meaning[NAMES[len(meaning)]] = what
            return NAMES[len(meaning) - 1]

        out, at = [], 0
        while at < len(latex):
            rest = latex[at:]
            head = next((h for h in heads if rest.startswith(h)), None)
            function = next((f for f in [*self.curves, *UNREAD] if rest.startswith(f + r"\left(")), None)
            if head:
                out.append(name(("value" if head in self.values else "body", head)))
                at += len(head)
            elif function:
                start = at + len(function)
                end = closing(latex, start)
                argument = latex[start + len(r"\left("):end - len(r"\right)")]
                out.append(name(("call", function, argument)))
                at = end
            elif rest.startswith(r"\,") and not rest.startswith(r"\,\mathrm{d}"):
                out.append(r" \cdot ")
                at += 2
            else:
                word = re.match(r"\\[A-Za-z]+(\{d\})?|.", rest).group()
                out.append(word)
                at += len(word)
        return parse("".join(out)), {Symbol(own): what for own, what in meaning.items()}

    # -- closed forms: SymPy at 30 digits ---------------------------------------------------------------------------

    def closed(self, latex):
        expression, meaning = self.expression(latex)
        return self.substituted(expression, meaning).evalf(DIGITS)

    def substituted(self, expression, meaning):
        unread = dict(zip(UNREAD, [exp, log, asin, sin, cos]))
        numbers = {}
        for symbol, what in meaning.items():
            if what[0] == "value":
                numbers[symbol] = Float(self.values[what[1]], DIGITS)
            else:
                numbers[symbol] = unread[what[1]](self.closed(what[2]))
        return expression.xreplace(numbers)

    # -- integrals: panels of Gauss-Legendre nodes, the curve as a function -----------------------------------------

    def number(self, latex, u=None):
        return self.evaluate(*self.expression(latex), u)

    def evaluate(self, expression, meaning, u):
        if isinstance(expression, Integral):
            return self.integral(expression, meaning, u)
        integrals = list(expression.atoms(Integral))
        places = {integral: Symbol(f"integral_{k}") for k, integral in enumerate(integrals)}
        flat = expression.xreplace(places)
        arguments = sorted(flat.free_symbols, key=str)
        found = {place: self.integral(integral, meaning, u) for integral, place in places.items()}
        values = [found[s] if s in found else self.meant(s, meaning, u) for s in arguments]
        return lambdify(arguments, flat, "numpy")(*values)

    def meant(self, symbol, meaning, u):
        if symbol in VARIABLES:
            return u
        what = meaning[symbol]
        if what[0] == "value":
            return self.values[what[1]]
        if what[0] == "body":
            return self.number(self.bodies[what[1]], u)
        functions = {r"\exp": np.exp, r"\ln": np.log, r"\arcsin": np.arcsin, r"\sin": np.sin, r"\cos": np.cos}
        function = functions.get(what[1]) or self.curves[what[1]][0]
        return function(self.number(what[2], u))

    def breaks(self):
        """Node voltages at which some curve has a kink: its argument is a line, or the magnitude of one."""
        found = set()
        for latex in self.bodies.values():
            _, meaning = self.expression(latex)
            for what in meaning.values():
                if what[0] == "call" and what[1] in self.curves:
                    inner, own = self.expression(what[2])
                    signs = [1.0]
                    if isinstance(inner, Abs):
                        inner, signs = inner.args[0], [1.0, -1.0]
                    start = self.evaluate(inner, own, 0.0)
                    slope = self.evaluate(inner, own, 1.0) - start
                    found |= {(s * v - start) / slope for v in self.curves[what[1]][1] for s in signs}
        return sorted(found)

    def integral(self, integral, meaning, u):
        body, (variable, lower, upper) = integral.args[0], integral.args[1]
        assert variable in VARIABLES
        lower, upper = (np.asarray(self.evaluate(limit, meaning, u), float) for limit in (lower, upper))
        lower, upper = np.broadcast_arrays(lower, upper)
        low, high = np.minimum(lower, upper), np.maximum(lower, upper)
        ends = [low, *(np.clip(b, low, high) for b in self.breaks()), high]
        nodes, weights = [], []
        for start, end in zip(ends, ends[1:]):
            half = (end - start)[..., None] / 2
            # Crowded towards both ends, where junction capacitances change fastest.
            nodes.append(start[..., None] + half * (1 + NODES * (3 - NODES ** 2) / 2))
            weights.append(half * 1.5 * (1 - NODES ** 2) * WEIGHTS)
        nodes, weights = np.concatenate(nodes, -1), np.concatenate(weights, -1)
        total = np.sum(self.evaluate(body, meaning, nodes) * weights, -1)
        return np.where(upper < lower, -total, total)


def check(entry, seen, done):
    """The worst deviation of each kind over the lines of one formula at one point."""
    reader, worst = Reader(entry), {}

    def note(kind, deviation, limit, line):
        seen.add((kind, line["latex"]))
        worst[kind] = max(worst.get(kind, 0.0), float(deviation))
        if not deviation <= limit:
            sys.exit(f"{entry['name']} ({entry['specification']}): {line['latex']}\n  {kind}: off by {float(deviation):.2e}")

    for line in entry["lines"]:
        # The same line of the same stage with the same value, reached through another formula, is read once.
        key = (entry["specification"], line["latex"], line["value"])
        if key in done:
            continue
        done.add(key)
        if line["unknown"]:
            left, right = (reader.closed(side) for side in line["latex"].split(" = ", 1))
            note("solved", abs(left / right - 1), RESIDUAL, line)
            continue
        head, body = line["latex"].split(" = ", 1)
        if line["value"] is None:
            # Of an integral's variable: read here, computed inside its integral.
            reader.expression(body)
            seen.add(("inside an integral", line["latex"]))
            continue
        integral = r"\int" in body
        found = reader.number(body) if integral else reader.closed(body)
        value = float(line["value"])
        deviation = abs(found - value) / abs(value) if value else abs(found)
        note("integral" if integral else "closed", deviation, INTEGRAL if integral else CLOSED, line)
    return worst


def main(path):
    entries = json.load(open(path, encoding="utf-8"))
    seen, done, worst, names, lines = set(), set(), {}, set(), 0
    for entry in entries:
        names.add(entry["name"])
        lines += len(entry["lines"])
        for kind, deviation in check(entry, seen, done).items():
            if deviation >= worst.get(kind, (-1.0, ""))[0]:
                worst[kind] = (deviation, entry["name"])
    print(f"read {len(names)} formulas in {len(entries)} cases: {lines} lines, none skipped")
    for kind in ("closed", "integral", "solved", "inside an integral"):
        count = sum(1 for own, _ in seen if own == kind)
        off = f", worst {worst[kind][0]:.1e} in {worst[kind][1]}" if kind in worst else ""
        print(f"  {count} distinct lines {kind}{off}")


if __name__ == "__main__":
    main(sys.argv[1])
