//! Every mechanism's loss, from the course of a cell.

use super::Model;
use crate::cycle::Course;
use crate::equation::Curve;
use crate::loss::budget::{Losses, Mechanism, Place};
use crate::loss::numbers;
use crate::loss::triangle::Flux;
use crate::quantity::{Current, Dimensioned, Resistance, Voltage};
use crate::stage::{Circuit, OperatingPoint};

impl Model {
    pub(super) fn losses(
        &self,
        course: &Course,
        circuit: &Circuit,
        point: OperatingPoint,
        alternating: f64,
    ) -> Losses {
        use Mechanism as M;
        let pairs = f64::from(circuit.pairs);
        let cell = course.cell_time.coherent();
        let mut losses = Losses::new(course.output_power.coherent());
        let d = &course.dissipation;
        losses.add(M::Channels, Place::High, d.high.coherent());
        losses.add(M::Channels, Place::Low, d.low.coherent());
        losses.add(M::Clamp, Place::Clamp, d.clamp.coherent());
        losses.add(M::Winding, Place::Inductor, d.winding.coherent());
        let diode = |average: Current, drop: Voltage| pairs * (average * drop).coherent().abs();
        losses.add(
            M::Diodes,
            Place::High,
            diode(course.paths.high_diode.average, circuit.high.diode_drop),
        );
        losses.add(
            M::Diodes,
            Place::Low,
            diode(course.paths.low_diode.average, circuit.low.diode_drop),
        );
        // Where the node rings, a moment more or less of the cell decides the instant.
        let turn_on = course.ring.map_or(course.turn_on, |[_, _, mean]| mean);
        losses.add(M::TurnOn, Place::High, turn_on.energy.coherent() / cell);
        losses.ring = course
            .ring
            .map(|[best, worst, _]| [best, worst].map(|turn_on| turn_on.energy.coherent() / cell));
        losses.add(
            M::TurnOn,
            Place::Low,
            course.low_turn_on.energy.coherent() / cell,
        );
        self.switching(course, point, &mut losses);
        self.core(course, &mut losses);
        losses.add(M::WindingAlternating, Place::Inductor, alternating);
        self.capacitors(course, &mut losses);
        losses.add(M::Gate, Place::Drivers, self.gate_energy() / cell);
        let control = self.control.map_or(0.0, Dimensioned::coherent);
        losses.add(M::Control, Place::Control, control);
        losses
    }

    /// The gates' energy in one cell.
    fn gate_energy(&self) -> f64 {
        self.high.gate_energy + self.low.gate_energy + self.clamp_gates * self.clamp.gate_energy
    }

    fn switching(&self, course: &Course, point: OperatingPoint, losses: &mut Losses) {
        let cell = course.cell_time.coherent();
        let pairs = f64::from(self.circuit.pairs);
        let step = point.input_voltage.coherent() / pairs;
        let peak = course.peak_current.coherent();
        let time = self.high.turn_off_time;
        let whole = step * peak.max(0.0) * time / 2.0;
        let equivalent = self.swing_charge(step) / step;
        let least = numbers::overlap_limited(step, peak, time, equivalent);
        losses.add(Mechanism::TurnOff, Place::High, whole / cell);
        losses.turn_off_spared = (whole - least) / cell;
        // A turn-on that takes over a current from the low side's diode, which holds the
        // node at the lower level: the whole step is left. A node that rings has none there.
        let taken = course.energise.start_current.coherent();
        let held = course.ring.is_none() && course.turn_on.voltage.coherent() > 0.999 * step;
        if taken > 0.0 && held {
            losses.add(
                Mechanism::TurnOn,
                Place::High,
                step * taken * time / 2.0 / cell,
            );
            losses.add(
                Mechanism::Recovery,
                Place::High,
                self.low.recovery * step / cell,
            );
        }
    }

    /// The charge of the node over its whole swing.
    fn swing_charge(&self, step: f64) -> f64 {
        let c = &self.circuit;
        let volts = Voltage::from_coherent;
        let of = |curve: &Curve, scale: f64| scale * curve.charge(volts(step)).coherent();
        let clamp = c.clamp_capacitance.map_or(0.0, |curve| {
            // Half the step on either side of the output is near enough for a bound.
            2.0 * c.clamp_scale * curve.charge(volts(step / 2.0)).coherent()
        });
        of(c.high.output_capacitance, c.high.scale)
            + of(c.low.output_capacitance, c.low.scale)
            + clamp
            + c.node_capacitance.coherent() * step
    }

    fn core(&self, course: &Course, losses: &mut Losses) {
        let cell = course.cell_time.coherent();
        if let Some(core) = self.core {
            let least = course
                .energise
                .start_current
                .coherent()
                .min(course.release.end_current.coherent());
            let swing = self.circuit.inductance.coherent()
                * (course.peak_current.coherent() - least)
                / core.linkage;
            let flanks = [
                course.energise.duration.coherent(),
                course.release.duration.coherent(),
            ];
            if swing > 0.0 && flanks.iter().all(|t| *t > 0.0) {
                let density =
                    numbers::triangular(core.constant, core.alpha, core.beta, swing, flanks, cell);
                losses.add(Mechanism::Core, Place::Inductor, density * core.volume);
                losses.flux = Some(Flux {
                    rise: course.energise.duration,
                    fall: course.release.duration,
                });
            }
        }
    }

    /// What the alternating current adds in the winding, in watt.
    pub(super) fn alternating(&self, course: &Course) -> f64 {
        let Some(factors) = &self.factors else {
            return 0.0;
        };
        let mut squares = [0.0; super::HARMONICS];
        numbers::harmonics(course, &mut squares);
        let extra: f64 = squares.iter().zip(factors).map(|(i2, f)| i2 * f).sum();
        self.circuit.inductor_resistance.coherent() * extra
    }

    fn capacitors(&self, course: &Course, losses: &mut Losses) {
        let ohms = |r: Option<Resistance>| r.map_or(0.0, Dimensioned::coherent);
        let square = |rms: Current| rms.coherent() * rms.coherent();
        let (p, paths) = (&self.parts, &course.paths);
        let flying = paths.flying.map_or(0.0, |path| {
            f64::from(self.circuit.pairs - 1)
                * square(path.rms)
                * ohms(p.flying_capacitor_resistance)
        });
        let output = square(paths.output.rms) * ohms(p.output_capacitor_resistance);
        // The input's current is that of the uppermost high side.
        let input = course.input_current.coherent();
        let input =
            (square(paths.high.rms) - input * input).max(0.0) * ohms(p.input_capacitor_resistance);
        losses.add(
            Mechanism::Capacitors,
            Place::Capacitors,
            flying + output + input,
        );
    }
}
