//! Any circuit at any point gives a steady state without a gap, or a clear error:
//! never a panic, a number that is none, or an endless loop.

use slewbook::cycle::{Solver, State};
use slewbook::quantity::{Dimensioned, Frequency, Inductance, Resistance, Time};
use slewbook::scheme::Scheme;

use crate::steady_stage::{Case, amperes, volts};
use crate::support::{Random, is_number_word};

/// A value that is extreme now and then.
fn wild(random: &mut Random, usual: f64) -> f64 {
    match random.below(12) {
        0 => 0.0,
        1 => usual * random.decades(1e-9, 1e9),
        2 => usual * random.decades(1e-3, 1e3),
        3 if random.below(50) == 0 => *random.pick(&[f64::NAN, f64::INFINITY, -1.0, 1e300, 1e-300]),
        _ => usual * random.between(0.2, 3.0),
    }
}

fn distort(case: &mut Case, random: &mut Random) {
    let c = &mut case.circuit;
    macro_rules! change {
        ($($value:expr),+) => {
            $(if random.below(4) == 0 {
                $value = Dimensioned::from_coherent(wild(random, $value.coherent()));
            })+
        };
    }
    change!(
        c.inductance,
        c.switching_frequency,
        c.node_capacitance,
        c.trip_threshold,
        c.trip_offset,
        c.trip_delay,
        c.high.on_resistance,
        c.low.on_resistance,
        c.high.diode_drop,
        c.low.diode_drop,
        c.minimum_on_time,
        case.at.input_voltage,
        case.at.output_voltage,
        case.at.output_current
    );
    if random.below(10) == 0 {
        c.minimum_on_time = Time::from_coherent(random.decades(1e-9, 1e-5));
    }
    if let Some(path) = &mut c.freewheel {
        change!(path.resistance, path.drop);
    }
    if let Some(time) = &mut c.dead_time {
        change!(*time);
    }
    if random.below(3) == 0 {
        let usual = random.decades(1e-10, 1e-6);
        c.low_dead_time = Some(Time::from_coherent(wild(random, usual)));
    }
    for scale in [&mut c.high.scale, &mut c.low.scale, &mut c.clamp_scale] {
        if random.below(6) == 0 {
            *scale = wild(random, 1.0);
        }
    }
}

/// Every number in what is shown of a value.
fn sound(text: &str) -> bool {
    text.split([' ', ',', '(', ')', '{', '}', '['])
        .all(|word| !is_number_word(word))
}

fn run(points: usize, seed: u64) {
    let mut random = Random(seed);
    let mut counts = [0; 7];
    let mut errors = 0;
    let mut done = 0;
    while done < points {
        let scheme = *random.pick(&Scheme::ALL);
        let case = Case::new(&mut random, scheme);
        // The curves are leaked: each set of them serves a number of points.
        for _ in 0..100 {
            done += 1;
            let mut case = case.clone();
            if random.below(4) > 0 {
                distort(&mut case, &mut random);
            }
            let solved = Solver::new(&case.circuit).and_then(|mut s| s.solve(case.at));
            match solved {
                Err(error) => {
                    errors += 1;
                    assert!(sound(&error.to_string()), "{error}");
                }
                Ok(steady) => {
                    counts[State::ALL.iter().position(|s| *s == steady.state).unwrap()] += 1;
                    assert!(sound(&format!("{steady:?}")), "{steady:?} of {case:?}");
                    if let Some(course) = steady.course {
                        let sum = course.rise.duration
                            + course.energise.duration
                            + course.fall.duration
                            + course.release.duration;
                        let rest = [course.partial_rise, course.hold];
                        let sum = rest.iter().flatten().fold(sum, |sum, i| sum + i.duration);
                        let part = sum.coherent() / course.cell_time.coherent();
                        assert!((part - 1.0).abs() < 1e-6, "{part}: {steady:?} of {case:?}");
                    }
                }
            }
        }
    }
    println!("states {counts:?}, errors {errors}");
    assert!(counts.iter().all(|count| *count > 0), "{counts:?}");
}

#[test]
fn a_hundred_thousand_random_points() {
    run(100_000, 7);
}

#[test]
#[ignore = "ten million points: some minutes, on demand"]
fn ten_million_random_points() {
    run(10_000_000, 11);
}

/// What is left out of the distortions above: all at once beyond any sense.
#[test]
fn nothing_but_extremes() {
    let mut random = Random(3);
    for _ in 0..2000 {
        let mut case = {
            let scheme = *random.pick(&Scheme::ALL);
            Case::new(&mut random, scheme)
        };
        let extreme = |random: &mut Random| random.decades(1e-12, 1e12);
        let c = &mut case.circuit;
        c.inductance = Inductance::from_coherent(extreme(&mut random));
        c.switching_frequency = Frequency::from_coherent(extreme(&mut random));
        c.high.on_resistance = Resistance::from_coherent(extreme(&mut random));
        c.low.on_resistance = Resistance::from_coherent(extreme(&mut random));
        c.trip_threshold = amperes(extreme(&mut random));
        c.trip_delay = Time::from_coherent(extreme(&mut random));
        let input = extreme(&mut random);
        let band = f64::from(c.band) + random.unit();
        case.at.input_voltage = volts(input);
        case.at.output_voltage = volts(input / f64::from(c.pairs) * band);
        case.at.output_current = amperes(extreme(&mut random));
        let solved = Solver::new(&case.circuit).and_then(|mut s| s.solve(case.at));
        if let Ok(steady) = solved {
            assert!(sound(&format!("{steady:?}")), "{steady:?} of {case:?}");
        }
    }
}
