//! Every mechanism's loss, from the course of a cell.

use super::Model;
use super::turn_off::NodeCharge;
use crate::cycle::Course;
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

    /// Turn-offs under current, hard turn-ons that take a current over, recovery.
    fn switching(&self, course: &Course, point: OperatingPoint, losses: &mut Losses) {
        let cell = course.cell_time.coherent();
        let node = NodeCharge::new(&self.circuit, point);
        let step = node.upper - node.lower;
        let peak = course.peak_current.coherent();
        // What a transistor carries forward when it turns off: else its diode takes over.
        let high = (self.high, Place::High, peak, [node.upper, node.lower]);
        let released = -course.release.end_current.coherent();
        let low = (self.low, Place::Low, released, [node.lower, node.upper]);
        let held = course.hold.map_or(0.0, |hold| -hold.end_current.coherent());
        let clamp = (self.clamp, Place::Clamp, held, [node.output, node.upper]);
        for (switch, place, current, [from, to]) in [high, low, clamp] {
            let time = switch.turn_off_time;
            let whole = (to - from).abs() * current.max(0.0) * time / 2.0;
            let spared = whole - node.turn_off(current, time, from, to);
            losses.add(Mechanism::TurnOff, place, whole / cell);
            losses.turn_off_spared += spared / cell;
        }
        // A turn-on that takes over a current from the low side's diode, which holds the
        // node at the lower level: the whole step is left. A node that rings has none there.
        let taken = course.energise.start_current.coherent();
        let held = course.ring.is_none() && course.turn_on.voltage.coherent() > 0.999 * step;
        if taken > 0.0 && held {
            let overlap = step * taken * self.high.turn_off_time / 2.0;
            losses.add(Mechanism::TurnOn, Place::High, overlap / cell);
            let charge = self.recovered(step);
            losses.add(Mechanism::Recovery, Place::High, charge * step / cell);
        }
    }

    /// The recovery charge that is not already counted as output charge.
    fn recovered(&self, step: f64) -> f64 {
        let low = &self.circuit.low;
        if !self.low.recovery_includes_output {
            return self.low.recovery;
        }
        let output = low.scale * low.output_capacitance.charge(Voltage::from_coherent(step));
        (self.low.recovery - output.coherent()).max(0.0)
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
