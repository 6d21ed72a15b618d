//! How formulas are written: plain text, LaTeX, MathML.
//!
//! Text and LaTeX stand here beside each formula; the MathML of all of them is
//! in `tests/data/rendering.txt`, written anew with `SNAPSHOTS=overwrite`.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use slewbook::equation::{Curve, Term, Unknown};
use slewbook::quantity::unit::{ampere, nH, ns, ohm, pF, uH, volt};
use slewbook::quantity::{Current, Frequency, Ratio, Resistance, Time, Voltage};

/// A formula: the operations of the expression graph that it shows, and how it
/// is written.
struct Case {
    shows: &'static [&'static str],
    text: [String; 2],
    mathml: String,
    expected: [&'static str; 2],
}

fn case<Q>(
    shows: &'static [&'static str],
    term: Term<Q>,
    text: &'static str,
    latex: &'static str,
) -> Case {
    Case {
        shows,
        text: [term.text(), term.latex()],
        mathml: term.mathml(),
        expected: [text, latex],
    }
}

struct Symbols {
    V: Term<Voltage>,
    U: Term<Voltage>,
    I: Term<Current>,
    R: Term<Resistance>,
    x: Term<Ratio>,
    y: Term<Ratio>,
}

fn symbols() -> Symbols {
    Symbols {
        V: Term::input("V_in", "input voltage", 36.0 * volt),
        U: Term::input("U_0", "another voltage", 6.0 * volt),
        I: Term::input("I", "current", 2.0 * ampere),
        R: Term::input("R", "resistance", 3.0 * ohm),
        x: Term::input("x", "a number", 0.5.into()),
        y: Term::input("eta", "an efficiency", 0.9.into()),
    }
}

fn sums_and_products() -> Vec<Case> {
    let Symbols { V, U, I, R, x, y } = symbols();
    let number = Term::<Ratio>::from;
    vec![
        case(
            &["Symbol", "Add"],
            V + U,
            "V_in + U_0",
            r"V_{\mathrm{in}} + U_{0}",
        ),
        case(
            &["Subtract"],
            V - (U - V),
            "V_in − (U_0 − V_in)",
            r"V_{\mathrm{in}} - \left(U_{0} - V_{\mathrm{in}}\right)",
        ),
        case(
            &[],
            (V - U) - V,
            "V_in − U_0 − V_in",
            r"V_{\mathrm{in}} - U_{0} - V_{\mathrm{in}}",
        ),
        case(&["Negate"], -V, "−V_in", r"-V_{\mathrm{in}}"),
        case(
            &[],
            -(V - U),
            "−(V_in − U_0)",
            r"-\left(V_{\mathrm{in}} - U_{0}\right)",
        ),
        case(
            &[],
            U - (-V),
            "U_0 − (−V_in)",
            r"U_{0} - \left(-V_{\mathrm{in}}\right)",
        ),
        case(&["Multiply"], R * I, "R·I", r"R\,I"),
        case(
            &[],
            (V + U) * I,
            "(V_in + U_0)·I",
            r"\left(V_{\mathrm{in}} + U_{0}\right)\,I",
        ),
        case(&["Constant"], 2.0 * V, "2·V_in", r"2\,V_{\mathrm{in}}"),
        case(
            &[],
            -1.5 * V,
            "(−1.5)·V_in",
            r"\left(-1.5\right)\,V_{\mathrm{in}}",
        ),
        case(&[], x * (-y), "x·(−η)", r"x\,\left(-\eta\right)"),
        case(&["Divide"], V / R, "V_in/R", r"\frac{V_{\mathrm{in}}}{R}"),
        case(
            &[],
            V / (R * I),
            "V_in/(R·I)",
            r"\frac{V_{\mathrm{in}}}{R\,I}",
        ),
        case(
            &[],
            (V + U) / R,
            "(V_in + U_0)/R",
            r"\frac{V_{\mathrm{in}} + U_{0}}{R}",
        ),
        case(&[], x / (y / x), "x/(η/x)", r"\frac{x}{\frac{\eta}{x}}"),
        case(&[], (x / y) / x, "x/η/x", r"\frac{\frac{x}{\eta}}{x}"),
        case(&[], x * (y / x), "x·η/x", r"x\,\frac{\eta}{x}"),
        case(
            &[],
            1.0 / (1.0 / x + 1.0 / y),
            "1/(1/x + 1/η)",
            r"\frac{1}{\frac{1}{x} + \frac{1}{\eta}}",
        ),
        case(&[], x / -2.0, "x/(−2)", r"\frac{x}{-2}"),
        case(
            &[],
            x / 2.5e-7,
            "x/(2.5×10⁻⁷)",
            r"\frac{x}{2.5 \times 10^{-7}}",
        ),
        case(&[], x + 1e9, "x + 1×10⁹", r"x + 1 \times 10^{9}"),
        case(
            &[],
            number(2e7).squared(),
            "(2×10⁷)²",
            r"\left(2 \times 10^{7}\right)^{2}",
        ),
        case(&[], x - number(-3.0), "x − (−3)", r"x - \left(-3\right)"),
    ]
}

fn powers_and_functions() -> Vec<Case> {
    let Symbols { V, U, I, x, y, .. } = symbols();
    vec![
        case(&["Power"], V.squared(), "V_in²", r"V_{\mathrm{in}}^{2}"),
        case(
            &[],
            (x / y).squared(),
            "(x/η)²",
            r"\left(\frac{x}{\eta}\right)^{2}",
        ),
        case(&[], (-x).squared(), "(−x)²", r"\left(-x\right)^{2}"),
        case(&[], -x.squared(), "−x²", r"-x^{2}"),
        case(
            &[],
            x.squared().squared(),
            "(x²)²",
            r"\left(x^{2}\right)^{2}",
        ),
        case(
            &[],
            x.exp().squared(),
            "(exp(x))²",
            r"\left(\exp\left(x\right)\right)^{2}",
        ),
        case(&[], x.power(y - 1.0), "x^(η − 1)", r"x^{\eta - 1}"),
        case(
            &[],
            (1.0 + x).power((-0.5).into()),
            "(1 + x)^(−0.5)",
            r"\left(1 + x\right)^{-0.5}",
        ),
        case(
            &["Sqrt"],
            (V * V / x).sqrt(),
            "√(V_in·V_in/x)",
            r"\sqrt{\frac{V_{\mathrm{in}}\,V_{\mathrm{in}}}{x}}",
        ),
        case(
            &[],
            (x.sqrt() + y).sqrt(),
            "√(√(x) + η)",
            r"\sqrt{\sqrt{x} + \eta}",
        ),
        case(
            &[],
            2.0 * (x + y).sqrt(),
            "2·√(x + η)",
            r"2\,\sqrt{x + \eta}",
        ),
        case(
            &["Exp"],
            (-x / y).exp(),
            "exp((−x)/η)",
            r"\exp\left(\frac{-x}{\eta}\right)",
        ),
        case(
            &["Ln"],
            (1.0 - x).ln(),
            "ln(1 − x)",
            r"\ln\left(1 - x\right)",
        ),
        case(&["Sin"], x.sin(), "sin(x)", r"\sin\left(x\right)"),
        case(&["Cos"], x.cos(), "cos(x)", r"\cos\left(x\right)"),
        case(&["Asin"], x.asin(), "arcsin(x)", r"\arcsin\left(x\right)"),
        case(&["Acos"], x.acos(), "arccos(x)", r"\arccos\left(x\right)"),
        case(
            &["Floor"],
            (x * y).floor(),
            "floor(x·η)",
            r"\left\lfloor x\,\eta\right\rfloor",
        ),
        case(
            &["Abs"],
            (V - U).abs(),
            "|V_in − U_0|",
            r"\left|V_{\mathrm{in}} - U_{0}\right|",
        ),
        case(
            &["Min"],
            V.min(U),
            "min(V_in, U_0)",
            r"\min\left(V_{\mathrm{in}}, U_{0}\right)",
        ),
        case(
            &["Max"],
            Term::constant(0.0 * ampere).max(-I),
            "max(0, −I)",
            r"\max\left(0, -I\right)",
        ),
    ]
}

fn named_and_composed() -> Vec<Case> {
    let Symbols { V, U, I, R, x, y } = symbols();
    let curve = Curve::constant("C_oss", 300.0 * pF).unwrap().shared();
    let charge = Term::integral("u", U, V, |u| (u - U).capacitance(curve));
    let square = Term::integral("u", Term::constant(0.0 * volt), V, |u| u + U);
    let choice = Term::choose(x.above(y), x, 1.0 - y);
    let root = Term::<Ratio>::solve("z", "solution", 0.0.into(), 2.0.into(), |z| (z * z, x + y));
    let period: Term<Time> = 1.0 / Term::<Frequency>::input("f_sw", "frequency", 1.0 / (7.0 * ns));
    let law = |u: Term<Voltage>| (u * I).function("P", "power", &[u.expression()]);
    vec![
        case(
            &["Named"],
            (V / R).named("I_out", "current"),
            "I_out = V_in/R",
            r"I_{\mathrm{out}} = \frac{V_{\mathrm{in}}}{R}",
        ),
        case(
            &[],
            2.0 * (V / R).named("I_out", "current"),
            "2·I_out",
            r"2\,I_{\mathrm{out}}",
        ),
        case(
            &[],
            law(V),
            "P(V_in) = V_in·I",
            r"P\left(V_{\mathrm{in}}\right) = V_{\mathrm{in}}\,I",
        ),
        case(
            &[],
            period.named("Delta t", "period"),
            "Δt = 1/f_sw",
            r"\Delta t = \frac{1}{f_{\mathrm{sw}}}",
        ),
        case(
            &["Curve"],
            (V - U).capacitance(curve),
            "C_oss(V_in − U_0)",
            r"C_{\mathrm{oss}}\left(V_{\mathrm{in}} - U_{0}\right)",
        ),
        case(
            &["Integral", "Variable"],
            charge,
            "∫[U_0 to V_in] C_oss(u − U_0) du",
            r"\int_{U_{0}}^{V_{\mathrm{in}}} C_{\mathrm{oss}}\left(u - U_{0}\right)\,\mathrm{d}u",
        ),
        case(
            &[],
            2.0 * square,
            "2·(∫[0 to V_in] (u + U_0) du)",
            r"2\,\left(\int_{0}^{V_{\mathrm{in}}} \left(u + U_{0}\right)\,\mathrm{d}u\right)",
        ),
        case(
            &["Select"],
            choice,
            "x if x > η, else 1 − η",
            r"\begin{cases}x & x > \eta\\1 - \eta & \text{otherwise}\end{cases}",
        ),
        case(
            &[],
            choice + x,
            "(x if x > η, else 1 − η) + x",
            r"\left(\begin{cases}x & x > \eta\\1 - \eta & \text{otherwise}\end{cases}\right) + x",
        ),
        case(
            &[],
            Term::choose(x.at_most(y), x, y),
            "x if x ≤ η, else η",
            r"\begin{cases}x & x \le \eta\\\eta & \text{otherwise}\end{cases}",
        ),
        case(
            &[],
            Term::choose(x.at_least(y), x, y),
            "x if x ≥ η, else η",
            r"\begin{cases}x & x \ge \eta\\\eta & \text{otherwise}\end{cases}",
        ),
        case(
            &[],
            Term::choose(x.below(y), x, y),
            "x if x < η, else η",
            r"\begin{cases}x & x < \eta\\\eta & \text{otherwise}\end{cases}",
        ),
        case(&["Unknown"], root, "z·z = x + η", r"z\,z = x + \eta"),
        case(&[], 2.0 * root, "2·z", r"2\,z"),
        case(
            &[],
            Unknown::<Ratio>::new("w", "not yet fixed").term(),
            "w",
            "w",
        ),
    ]
}

fn quantities() -> Vec<Case> {
    let Symbols { V, R, .. } = symbols();
    let L = Term::constant(680.0 * nH);
    let inductance = Term::input("L", "inductance", 1.0 * uH);
    vec![
        case(
            &[],
            V + Term::constant(12.5 * volt),
            "V_in + 12.5 V",
            r"V_{\mathrm{in}} + 12.5\,\mathrm{V}",
        ),
        case(
            &[],
            V - Term::constant(-12.5 * volt),
            "V_in − (−12.5 V)",
            r"V_{\mathrm{in}} - \left(-12.5\,\mathrm{V}\right)",
        ),
        case(
            &[],
            L / inductance,
            "680 nH/L",
            r"\frac{680\,\mathrm{nH}}{L}",
        ),
        case(
            &[],
            inductance / L,
            "L/(680 nH)",
            r"\frac{L}{680\,\mathrm{nH}}",
        ),
        case(
            &[],
            R + Term::constant(12e-6 * ohm),
            "R + 12 µΩ",
            r"R + 12\,\mathrm{\mu{}\Omega}",
        ),
        case(
            &[],
            Term::constant(3.0 * volt).squared(),
            "(3 V)²",
            r"\left(3\,\mathrm{V}\right)^{2}",
        ),
        case(
            &[],
            Term::constant(2.0 * volt / ns),
            "2 GV/s",
            r"2\,\mathrm{GV/s}",
        ),
    ]
}

fn all() -> Vec<Case> {
    [
        sums_and_products(),
        powers_and_functions(),
        named_and_composed(),
        quantities(),
    ]
    .into_iter()
    .flatten()
    .collect()
}

#[test]
fn formulas_are_written_as_expected_in_text_and_latex() {
    for case in all() {
        assert_eq!(case.text, case.expected.map(str::to_owned));
    }
}

#[test]
fn braces_and_delimiters_of_latex_pair_up() {
    for case in all() {
        let [_, latex] = case.text;
        crate::latex::assert_paired(&latex);
        // A second exponent on one base does not compile.
        assert!(!latex.contains("}^{2}^{"), "{latex}");
    }
}

#[test]
fn mathml_is_well_formed_and_as_expected() {
    let mut written = String::new();
    for case in all() {
        let document = roxmltree::Document::parse(&case.mathml)
            .unwrap_or_else(|error| panic!("{error}: {}", case.mathml));
        let root = document.root_element();
        assert_eq!(
            root.tag_name().namespace(),
            Some("http://www.w3.org/1998/Math/MathML")
        );
        assert_eq!(root.attribute("alttext"), Some(case.text[0].as_str()));
        for element in document.descendants().filter(roxmltree::Node::is_element) {
            // MathML Core: these take exactly so many children.
            let children = element
                .children()
                .filter(roxmltree::Node::is_element)
                .count();
            match element.tag_name().name() {
                "mfrac" | "msup" | "msub" => assert_eq!(children, 2, "{}", case.mathml),
                "msubsup" => assert_eq!(children, 3, "{}", case.mathml),
                "mi" | "mn" | "mo" | "mtext" | "mspace" => assert_eq!(children, 0),
                "math" | "mrow" | "msqrt" | "mtable" | "mtr" | "mtd" => assert!(children > 0),
                other => panic!("<{other}> is not expected here: {}", case.mathml),
            }
        }
        let inner = case.mathml.split_once("\">").unwrap().1;
        let _ = writeln!(written, "{}\n    {inner}\n", case.text[0]);
    }
    crate::support::assert_snapshot("tests/data/rendering.txt", &written);
}

/// The variants of an enumeration of the library's expression graph.
fn variants(name: &str) -> BTreeSet<&'static str> {
    let source = include_str!("../../crate/src/equation/node.rs");
    let body = source.split_once(&format!("enum {name} {{\n")).unwrap().1;
    let body = body.split_once("\n}\n").unwrap().0;
    body.lines()
        .filter(|line| line.starts_with("    ") && !line.starts_with("     "))
        .map(|line| line.trim().split(['(', ',', ' ', '{']).next().unwrap())
        .filter(|word| word.starts_with(char::is_uppercase))
        .collect()
}

#[test]
fn every_operation_of_the_graph_has_a_case() {
    let mut needed = variants("Op");
    // These two stand for the operations that they hold.
    assert!(needed.remove("Unary") && needed.remove("Binary"));
    needed.extend(variants("Unary"));
    needed.extend(variants("Binary"));
    let shown: BTreeSet<_> = all().iter().flat_map(|case| case.shows).copied().collect();
    assert_eq!(shown, needed);
    assert!(needed.len() > 20);
}
