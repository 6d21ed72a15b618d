"""The project's stated check figures, worked out again; prints every difference."""

from scipy.integrate import quad

from stage import Node, Ode, Quadrature, Spec, State, steady_state
from scipy.optimize import brentq

LAW = {"zero_bias": "900 pF", "built_in": "0.8 V", "grading": 0.5, "floor": "60 pF"}


def spec(law):
    part = LAW if law else {"constant": "300 pF"}
    return Spec("check", {
        "title": "check", "input": {"voltage": "36 V"}, "output": {"voltage": "6 V", "current": "6 A"},
        "stage": {"levels": 3, "switching_frequency": "140 kHz", "inductance": {"nominal": "0.68 uH"},
                  "node_capacitance": "50 pF" if law else "0 pF"},
        "clamp": {"resistance": "12 mohm"}, "trip": {"delay": "35 ns", "margin": 1.2},
        "timing": {"dead_time": "25 ns"},
        "transistors": {"high": {"output_capacitance": part}, "low": {"output_capacitance": part}}})


NAMES = ("peak_current", "current_after_fall", "clamp_on_current", "hold_end_current", "remaining_current",
         "rise_time", "on_time", "fall_time", "release_time", "partial_time", "hold_time")
CELLS = [
    (30, 6, False, "15.073412864 15.074729890 0.62591110062 0.61933599158 0.55866491051 "
                   "9.0153705261 1181.0903207 0.5970082391 1776.4693875 5.8323208496 598.42416358"),
    (36, 6, False, "15.885909245 15.888908290 0.62591110062 0.6176274622 0.50438562483 "
                   "12.426703287 928.78337596 0.67971945457 1868.7429396 5.8323208496 754.96351229"),
    (44, 6, False, "16.588602286 16.594452189 0.62591110062 0.61630294958 0.39236076858 "
                   "17.788620251 721.69092981 0.79548396618 1948.7045814 5.8323208496 876.61663516"),
    (44, 6, True, "16.587253616 16.594448844 0.63770507994 0.62795326025 0.33001156902 "
                  "21.727360199 718.98377037 0.97838464225 1948.7042023 7.7912088246 873.24364513"),
    (44, 30, True, "17.918326026 17.922322883 0.66273007385 0.6502523566 0.44762377176 "
                   "17.330998068 892.06041875 0.90582221962 1574.397445 9.6563655402 1077.0775218"),
]


def report(name, text, found):
    """Distance in units of the last stated digit: the figure is confirmed below about 0.5."""
    unit = 10.0 ** -len(text.split(".")[1])
    off = (found - float(text)) / unit
    print(f"  {name:<34} stated {text:<16} found {found:<18.12g} {off:+7.2f} units"
          + ("" if abs(off) <= 0.55 else "   <-- differs"))
    return abs(off)


def main():
    ode, sums, worst = Ode(), Quadrature(), []
    for v_in, v_out, law, row in CELLS:
        s = spec(law)
        node = Node(s, v_in, v_out)
        print(f"cell {v_in} V -> {v_out} V, {'law' if law else 'const'}, by ODE")
        both = [dict(**c, **t) for c, t in (steady_state(e, s, node, 680.0, 0.6, 6.0) for e in (ode, sums))]
        worst += [report(n, text, both[0][n]) for n, text in zip(NAMES, row.split())]
        print(f"  largest relative difference, ODE against quadrature: "
              f"{max(abs(both[0][n] / both[1][n] - 1) for n in NAMES):.1e}")

    print("floors and inductance at 600 pF")
    for v_in, floor, L in ((30, "0.2673398366", "1.0257256821"), (36, "0.3564531155", "1.1237174275"),
                           (44, "0.4752708206", "1.2033794428")):
        s = spec(False)
        node = Node(s, v_in, 6.0)
        i_min = ode.floor_by_shooting(node, 680.0)
        worst.append(report(f"floor, {v_in} V, by shooting", floor, i_min))
        worst.append(report("  the same by reversed time", floor, ode.floor(node, 680.0)))
        found = s.T * node.a * node.b / ((node.a + node.b) * 2 * (6 + i_min))
        worst.append(report(f"inductance in uH, {v_in} V", L, found / 1e3))

    print("44 V -> 6 V, law")
    node = Node(spec(True), 44.0, 6.0)
    i_min = ode.floor(node, 680.0)
    worst.append(report("floor, reversed time", "0.5342449451", i_min))
    worst.append(report("floor, shooting", "0.5342449451", ode.floor_by_shooting(node, 680.0)))
    worst.append(report("rise in ns from 1.1 floor", "24.399208533", ode.rise(node, 680.0, 1.1 * i_min)[1]))
    worst.append(report("rise in ns from 1.001 floor", "32.872608564", ode.rise(node, 680.0, 1.001 * i_min)[1]))
    stop = ode.march(node, 680.0, 6.0, 22.0, -0.999 * i_min)
    worst.append(report("node stops at, from 0.999 floor", "21.990186673", stop[1]))
    for v0, text in ((6.0, "84.8479"), (0.0, "178.5849")):
        energy = quad(lambda u: (22.0 - u) * node.c(u), v0, 22.0, epsabs=0, epsrel=1e-13)[0]
        worst.append(report(f"turn-on energy in nJ from {v0} V", text, energy))
    ring = -quad(lambda u: node.c(u) * (u - 6.0), 0.0, 6.0, epsabs=0, epsrel=1e-13)[0]
    damped = quad(lambda u: (22.0 - u) * node.c(u), 6.0, 22.0)[0]
    print(f"  ring energy on top of the damped turn-on energy: {100 * ring / damped:.2f} % (stated 14 %)")
    print(f"largest distance: {max(worst):.2f} units of the last stated digit over {len(worst)} figures")


if __name__ == "__main__":
    main()
