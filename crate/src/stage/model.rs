//! The stage as symbols: every input is created here, once, and every
//! derivation takes it from here.

use super::specification::Specification;
use super::uncertain::UncertainInput;
use crate::equation::{Curve, Point, Span, Symbol, Term};
use crate::quantity::{
    Capacitance, Current, Dimensioned, Energy, Frequency, Inductance, Ratio, Resistance, Time,
    Voltage,
};
use crate::uncertainty::{Uncertainties, UncertaintyError};

/// The power stage: its specification as symbols, and the terms that every
/// derivation shares.
///
/// ```
/// use slewbook::quantity::print;
/// use slewbook::stage::{DEMONSTRATION, Specification, Stage};
/// let specification = Specification::read(DEMONSTRATION).unwrap();
/// let inductance = specification.inductance.unwrap();
/// let stage = Stage::new(specification, inductance, "specification");
/// assert_eq!(stage.V_lo.text(), "V_lo = m·V_in/n");
/// assert_eq!(print(stage.a.value().unwrap()), "12 V");
/// ```
#[derive(Debug)]
#[expect(non_snake_case, reason = "the fields are the symbols of the equations")]
pub struct Stage {
    /// What the stage was built from.
    pub specification: Specification,
    /// The symbols that operating points set.
    pub axes: Axes,
    /// Number of switch pairs, one less than the levels.
    pub n: Term<Ratio>,
    /// Band: the number of steps below the output voltage.
    pub m: Term<Ratio>,
    /// Switching frequency of each pair.
    pub f_sw: Term<Frequency>,
    /// Input voltage.
    pub V_in: Term<Voltage>,
    /// Output voltage.
    pub V_out: Term<Voltage>,
    /// Output current.
    pub I_out: Term<Current>,
    /// Inductance.
    pub L: Term<Inductance>,
    /// Resistance of the clamp's path.
    pub R_c: Term<Resistance>,
    /// Resistance of the freewheel loop: the clamp's path and the inductor's winding.
    pub R_f: Term<Resistance>,
    /// Drop of the clamp's path, where it has one.
    pub V_c: Option<Term<Voltage>>,
    /// Trip delay.
    pub t_d: Term<Time>,
    /// Comparator offset as a current, where it has one.
    pub I_off: Option<Term<Current>>,
    /// Freewheel current over its floor.
    pub k: Term<Ratio>,
    /// Constant part of the node's capacitance.
    pub C_par: Term<Capacitance>,
    /// Factor on the low-side capacitance curve, where that is uncertain.
    pub s_L: Option<Term<Ratio>>,
    /// Factor on the high-side capacitance curve, where that is uncertain.
    pub s_H: Option<Term<Ratio>>,
    /// Factor on the clamp's capacitance curve, where that is uncertain.
    pub s_cl: Option<Term<Ratio>>,
    /// Duration of a cell.
    pub T: Term<Time>,
    /// The node's lower level.
    pub V_lo: Term<Voltage>,
    /// The node's upper level.
    pub V_hi: Term<Voltage>,
    /// Step from the output up to the upper level.
    pub a: Term<Voltage>,
    /// Step from the output down to the lower level.
    pub b: Term<Voltage>,
}

/// The symbols of a stage that operating points set.
#[derive(Clone, Copy, Debug)]
pub struct Axes {
    /// Input voltage.
    pub input_voltage: &'static Symbol,
    /// Output voltage.
    pub output_voltage: &'static Symbol,
    /// Output current.
    pub output_current: &'static Symbol,
    /// Inductance.
    pub inductance: &'static Symbol,
}

impl Stage {
    /// The stage of a specification with an inductance and its origin in words.
    #[must_use]
    #[expect(non_snake_case, reason = "the names are the symbols of the equations")]
    pub fn new(specification: Specification, inductance: Inductance, origin: &str) -> Self {
        let s = &specification;
        let pairs = f64::from(s.levels - 1);
        let n = Term::input_from(
            "n",
            "number of switch pairs",
            pairs.into(),
            "[stage] levels",
        );
        let m = Term::input_from(
            "m",
            "band: whole steps below the output voltage",
            f64::from(s.band()).into(),
            "input and output voltage",
        );
        let f_sw = Term::input_from(
            "f_sw",
            "switching frequency of each pair",
            s.switching_frequency,
            "[stage] switching_frequency",
        );
        let (V_in, input_voltage_axis) = Term::with_symbol(
            "V_in",
            "input voltage",
            s.input_voltage.nominal,
            "[input] voltage",
        );
        let (V_out, output_voltage_axis) = Term::with_symbol(
            "V_out",
            "output voltage",
            s.output_voltage.nominal,
            "[output] voltage",
        );
        let (I_out, output_current_axis) = Term::with_symbol(
            "I_out",
            "output current",
            s.output_current.max,
            "[output] current",
        );
        let (L, inductance_axis) =
            Term::with_symbol("L", UncertainInput::Inductance.words(), inductance, origin);
        let R_c = Term::input_from(
            "R_c",
            UncertainInput::ClampResistance.words(),
            s.clamp.resistance,
            "[clamp] resistance",
        );
        let R_f = freewheel_loop(R_c, s);
        let V_c = (s.clamp.drop.coherent() > 0.0).then(|| {
            Term::input_from(
                "V_c",
                "drop of the clamp's path",
                s.clamp.drop,
                "[clamp] drop",
            )
        });
        let t_d = Term::input_from(
            "t_d",
            UncertainInput::TripDelay.words(),
            s.trip.delay,
            "[trip] delay",
        );
        let I_off = (s.trip.offset.coherent() != 0.0).then(|| {
            Term::input_from(
                "I_off",
                "comparator offset as a current",
                s.trip.offset,
                "[trip] offset",
            )
        });
        let k = Term::input_from(
            "k",
            "freewheel current over its floor",
            s.trip.margin,
            "[trip] margin",
        );
        let C_par = Term::input_from(
            "C_par",
            UncertainInput::NodeCapacitance.words(),
            s.node_capacitance,
            "[stage] node_capacitance",
        );
        let s_L = factor("s_L", UncertainInput::LowScale, s);
        let s_H = factor("s_H", UncertainInput::HighScale, s);
        let s_cl = factor("s_cl", UncertainInput::ClampScale, s);
        let T = (1.0 / (n * f_sw)).named("T", "duration of a cell");
        let V_lo = (m * V_in / n).named("V_lo", "lower level of the node");
        let V_hi = ((m + 1.0) * V_in / n).named("V_hi", "upper level of the node");
        let a = (V_hi - V_out).named("a", "step up from the output to the upper level");
        let b = (V_out - V_lo).named("b", "step down from the output to the lower level");
        let axes = Axes {
            input_voltage: input_voltage_axis,
            output_voltage: output_voltage_axis,
            output_current: output_current_axis,
            inductance: inductance_axis,
        };
        Self {
            specification,
            axes,
            n,
            m,
            f_sw,
            V_in,
            V_out,
            I_out,
            L,
            R_c,
            R_f,
            V_c,
            t_d,
            I_off,
            k,
            C_par,
            s_L,
            s_H,
            s_cl,
            T,
            V_lo,
            V_hi,
            a,
            b,
        }
    }

    /// The node's capacitance at node voltage `u` while a pair commutes.
    #[must_use]
    pub fn capacitance(&self, u: Term<Voltage>) -> Term<Capacitance> {
        let scaled = |factor: Option<Term<Ratio>>, curve: Term<Capacitance>| match factor {
            Some(factor) => factor * curve,
            None => curve,
        };
        let s = &self.specification;
        let low = (u - self.V_lo).capacitance(s.low.output_capacitance);
        let high = (self.V_hi - u).capacitance(s.high.output_capacitance);
        let mut sum = scaled(self.s_L, low) + scaled(self.s_H, high);
        if let Some(clamp) = s.clamp.output_capacitance {
            sum = sum + scaled(self.s_cl, (u - self.V_out).abs().capacitance(clamp));
        }
        (sum + self.C_par).function("C", "capacitance of the node", &[u.expression()])
    }

    /// The energy that charging the node from `from` to `to` takes from the
    /// inductor against the output voltage, the integral of `C(v) (v - V_out)`.
    #[must_use]
    pub fn work(&self, from: Term<Voltage>, to: Term<Voltage>) -> Term<Energy> {
        // Not u: that is the node voltage up to which an edge has come.
        Term::integral("v", from, to, |v| self.capacitance(v) * (v - self.V_out)).function(
            "W",
            "energy taken from the inductor by charging the node",
            &[from.expression(), to.expression()],
        )
    }

    /// The freewheel current whose energy just carries the node from the output
    /// to its upper level, for an inductance.
    #[must_use]
    pub fn floor(&self, inductance: Term<Inductance>) -> Term<Current> {
        (2.0 * self.work(self.V_out, self.V_hi) / inductance)
            .sqrt()
            .named("I_min", "minimum freewheel current for a complete rise")
    }

    /// An operating point.
    #[must_use]
    pub fn point(&self, input: Voltage, output: Voltage, current: Current) -> Point {
        Point::own()
            .with(self.axes.input_voltage, input.coherent())
            .with(self.axes.output_voltage, output.coherent())
            .with(self.axes.output_current, current.coherent())
    }

    /// The nominal point at the largest output current.
    #[must_use]
    pub fn nominal(&self) -> Point {
        let s = &self.specification;
        self.point(
            s.input_voltage.nominal,
            s.output_voltage.nominal,
            s.output_current.max,
        )
    }

    /// The ranges of input and output voltage.
    #[must_use]
    pub fn spans(&self) -> [Span; 2] {
        let s = &self.specification;
        let span = |symbol, range: &super::Range<Voltage>| Span {
            symbol,
            low: range.min.coherent(),
            high: range.max.coherent(),
        };
        [
            span(self.axes.input_voltage, &s.input_voltage),
            span(self.axes.output_voltage, &s.output_voltage),
        ]
    }

    /// The range of the output current.
    #[must_use]
    pub fn load_span(&self) -> Span {
        let range = &self.specification.output_current;
        Span {
            symbol: self.axes.output_current,
            low: range.min.coherent(),
            high: range.max.coherent(),
        }
    }

    /// The uncertainties that the specification states for the stage's symbols,
    /// and for that of the trip threshold, where one is given, with their
    /// correlations.
    ///
    /// # Errors
    /// A threshold that is no current; the stage's own distributions have the
    /// dimension of their symbols.
    pub fn uncertainties(
        &self,
        threshold: Option<&'static Symbol>,
    ) -> Result<Uncertainties, UncertaintyError> {
        let symbol = |input: UncertainInput| input.symbol(self, threshold);
        let s = &self.specification;
        let mut list = Uncertainties::none();
        for (input, distribution) in s.spreads.iter() {
            if let Some(symbol) = symbol(input) {
                list = list.with(symbol, distribution)?;
            }
        }
        for correlation in &s.correlations {
            if let [Some(one), Some(other)] = correlation.between.map(symbol) {
                list = list.correlated(one, other, correlation.coefficient)?;
            }
        }
        Ok(list)
    }

    /// The number of switch pairs.
    #[must_use]
    pub fn pairs(&self) -> f64 {
        f64::from(self.specification.levels - 1)
    }

    /// The capacitance curves with what each belongs to.
    #[must_use]
    pub fn curves(&self) -> Vec<(&'static Curve, &'static str)> {
        self.specification.curves()
    }
}

/// The resistance of the freewheel loop: the clamp's path, and the winding where it is
/// given.
fn freewheel_loop(clamp: Term<Resistance>, specification: &Specification) -> Term<Resistance> {
    let Some(winding) = specification.parts.inductor_resistance else {
        return clamp;
    };
    let winding = Term::input_from(
        "R_w",
        "resistance of the inductor's winding to direct current",
        winding,
        "[inductor] resistance",
    );
    (clamp + winding).named("R_f", "resistance of the freewheel loop: clamp and winding")
}

/// A factor on a capacitance curve, where it is uncertain or not one.
fn factor(name: &str, input: UncertainInput, specification: &Specification) -> Option<Term<Ratio>> {
    let scale = input.estimate(specification);
    let stated = specification.spreads.get(input).is_some();
    #[expect(clippy::float_cmp, reason = "one unless it was moved")]
    let moved = scale != 1.0;
    // "[clamp] output_capacitance, scale"
    let (curve, own) = input.key().rsplit_once('.')?;
    let (section, curve) = curve.rsplit_once('.')?;
    let origin = format!("[{section}] {curve}, {own}");
    (stated || moved).then(|| Term::input_from(name, input.words(), scale.into(), &origin))
}
