//! What is written in figures: nothing over anything else, the size on paper, and
//! the edge of zero voltage where the cell has it.

use slewbook::cycle::{Solver, State};
use slewbook::figure::{self, Width};
use slewbook::map::{self, Axis, Field, Map, Span};
use slewbook::quantity::Dimensioned as _;
use slewbook::scheme::Scheme;
use slewbook::stage::Specification;

use crate::steady_stage::{demonstration, point};
use crate::support::specification_with;

/// A text with its place: left, top, right, bottom, in the units of the drawing.
type Written = (String, [f64; 4]);

/// The upright texts of a figure. A letter is counted half as wide as the type is
/// high, which no sans-serif face undercuts on a whole word by much.
fn written(svg: &str) -> Vec<Written> {
    let document = roxmltree::Document::parse(svg).unwrap();
    let texts = document.descendants().filter(|n| n.has_tag_name("text"));
    texts
        .filter(|node| node.attribute("transform").is_none())
        .map(|node| {
            let number = |name: &str| node.attribute(name).unwrap().parse::<f64>().unwrap();
            let text = node.text().unwrap().trim().to_owned();
            let letters = f64::from(u32::try_from(text.chars().count()).unwrap());
            let (size, x, y) = (number("font-size"), number("x"), number("y"));
            let width = 0.5 * size * letters;
            let left = match node.attribute("text-anchor") {
                Some("end") => x - width,
                Some("middle") => x - width / 2.0,
                _ => x,
            };
            // The drawing library places text by its base line or by its middle.
            let dy = node.attribute("dy").map_or(0.0, |dy| {
                let part = dy.trim_end_matches("em").trim_end_matches("ex");
                part.parse::<f64>().unwrap_or(0.0) * size
            });
            let base = y + dy;
            (text, [left, base - 0.7 * size, left + width, base])
        })
        .collect()
}

fn apart(svg: &str, what: &str) {
    let texts = written(svg);
    for (k, (one, a)) in texts.iter().enumerate() {
        for (other, b) in &texts[k + 1..] {
            let free = a[2] <= b[0] || b[2] <= a[0] || a[3] <= b[1] || b[3] <= a[1];
            assert!(free, "{what}: \"{one}\" {a:?} on \"{other}\" {b:?}");
        }
    }
}

#[test]
fn no_text_of_the_waveforms_covers_another() {
    for scheme in Scheme::ALL {
        let mut solver = Solver::new(&demonstration(scheme)).unwrap();
        for (input, current) in [(44.0, 0.3), (36.0, 6.0), (30.0, 2.0), (44.0, 1.0)] {
            let (steady, waveform) = solver.waveform(point(input, 6.0, current)).unwrap();
            let Some(waveform) = waveform else { continue };
            for width in [Width::Column, Width::Page] {
                let drawn = figure::waveforms("w", &steady, &waveform, width).unwrap();
                let what = format!("{scheme} {input} V {current} A {width:?}");
                let svg = drawn.svg().unwrap();
                apart(&svg, &what);
                let texts = written(&svg);
                let names = |name: &str| texts.iter().any(|(text, _)| text == name);
                assert!(names("energise") && names("release"), "{what}");
                assert_eq!(names("ring"), scheme == Scheme::Discontinuous, "{what}");
                assert_eq!(names("fall"), width == Width::Page, "{what}");
            }
        }
    }
}

#[test]
fn figures_have_their_size_on_paper() {
    let mut solver = Solver::new(&demonstration(Scheme::FreewheelTransistors)).unwrap();
    let (steady, waveform) = solver.waveform(point(36.0, 6.0, 6.0)).unwrap();
    let waveform = waveform.unwrap();
    for (width, across, pixels) in [
        (Width::Column, "88mm", 372.0),
        (Width::Page, "180mm", 760.0),
    ] {
        let plane = figure::phase_plane("p", &steady, &waveform, 2, 0).unwrap();
        let waves = figure::waveforms("w", &steady, &waveform, width).unwrap();
        for svg in [waves.svg().unwrap(), plane.svg_of(width).unwrap()] {
            let document = roxmltree::Document::parse(&svg).unwrap();
            let root = document.root_element();
            assert_eq!(root.attribute("width"), Some(across));
            let tall = root
                .attribute("height")
                .unwrap()
                .strip_suffix("mm")
                .unwrap();
            let tall: f64 = tall.parse().unwrap();
            let view: Vec<f64> = root
                .attribute("viewBox")
                .unwrap()
                .split(' ')
                .map(|part| part.parse().unwrap())
                .collect();
            assert_eq!(view[2], 8.0 * pixels);
            let wide = f64::from(width.millimetres());
            assert!(
                (view[3] / view[2] - tall / wide).abs() < 1e-3,
                "{view:?} {tall}"
            );
        }
        assert_eq!(across.parse::<Width>().unwrap(), width);
    }
    let error = "90mm".parse::<Width>().unwrap_err().to_string();
    assert!(
        error.contains("no figure is 90mm wide; expected 88mm"),
        "{error}"
    );
}

fn plan(points: usize) -> Map {
    let mut circuit = demonstration(Scheme::FreewheelTransistors);
    circuit.trip_threshold = crate::steady_stage::amperes(0.12);
    let span = |axis, low, high| Span {
        axis,
        low,
        high,
        points,
    };
    Map {
        circuit,
        at: point(36.0, 6.0, 6.0),
        x: span(Axis::TripThreshold, 0.05, 0.6),
        y: span(Axis::DeadTime, 10e-9, 60e-9),
        units: vec![],
        random: false,
    }
}

/// On either side of the line, a thousandth of the way between points from it, the
/// cell itself does and does not hold zero voltage; and a coarse map has the same line.
#[test]
fn the_edge_of_zero_voltage_is_where_the_cell_has_it() {
    let map = plan(3);
    let field = Field::new(&map).unwrap();
    let alone = &field.alone;
    let mut solver = Solver::new(&map.circuit).unwrap();
    let mut holds = |column: f64, row: f64| {
        let along = |span: &Span, place: f64, points: usize| {
            let last = f64::from(u32::try_from(points - 1).unwrap());
            span.low + (span.high - span.low) * place / last
        };
        let (mut circuit, mut at) = (map.circuit, map.at);
        let x = along(&map.x, column, alone.across);
        let y = along(&map.y, row, alone.down);
        map.x.axis.set(&mut circuit, &mut at, x);
        map.y.axis.set(&mut circuit, &mut at, y);
        solver.change(&circuit).unwrap();
        solver.solve(at).unwrap().state == State::ZeroVoltage
    };
    let mut seen = 0;
    for (k, part) in alone.to_right.iter().enumerate() {
        let Some(part) = part else { continue };
        let place = |k: usize| f64::from(u32::try_from(k).unwrap());
        let (column, row) = (place(k % alone.across) + part, place(k / alone.across));
        assert_ne!(holds(column - 1e-3, row), holds(column + 1e-3, row), "{k}");
        seen += 1;
    }
    assert!(seen > 30, "{seen}");
    let drawn = |field| figure::map("m", field, Width::Page).svg().unwrap();
    let finer = Field::new(&plan(41)).unwrap();
    assert_eq!(drawn(&field), drawn(&finer));
    let svg = drawn(&field);
    apart(&svg, "map");
    for text in [
        "zero voltage up to here",
        "freewheel clamp of two transistors; input voltage 36 V, output voltage 6 V, output current 6 A",
        "0 to 2",
    ] {
        assert!(written(&svg).iter().any(|(own, _)| own == text), "{text}");
    }
}

#[test]
fn a_map_with_units_shows_their_share() {
    let text = specification_with(&[
        (
            "trip.threshold",
            "{ nominal = \"0.2 A\", tolerance = \"30 %\" }",
        ),
        (
            "clamp.resistance",
            "{ nominal = \"12 mohm\", tolerance = \"20 %\" }",
        ),
    ]);
    let specification = Specification::read(&text).unwrap();
    let mut map = plan(12);
    let share = |map: &Map| {
        let mut field = Field::new(map).unwrap();
        map.write_csv(None, std::io::sink(), |table| field.take(table))
            .unwrap();
        [Width::Column, Width::Page].map(|width| {
            let figure = figure::map("m", &field, width);
            let svg = figure.svg().unwrap();
            apart(&svg, "map with units");
            (svg, figure.title(), figure.alternative())
        })
    };
    map.units = map::drawn(&specification, 100, 1).unwrap();
    map.random = true;
    for (svg, title, alternative) in share(&map) {
        assert!(svg.contains("95 to 100 %"));
        assert!(title.contains("share of units"), "{title}");
        for told in [
            "100 random units",
            "at 95 % confidence",
            "input voltage 36 V",
        ] {
            assert!(alternative.contains(told), "{alternative}");
        }
    }
    map.units = map::corners(&specification);
    map.random = false;
    for (_, _, alternative) in share(&map) {
        assert!(
            alternative.contains("every corner of the tolerances"),
            "{alternative}"
        );
    }
}

/// What has no voltage to shade is named by its state, and only what occurs.
#[test]
fn a_map_names_the_states_that_occur() {
    let mut map = plan(3);
    let span = |axis, low, high| Span {
        axis,
        low,
        high,
        points: 3,
    };
    map.x = span(Axis::Inductance, 0.3e-6, 1.6e-6);
    map.y = span(Axis::OutputCurrent, 0.3, 8.0);
    map.circuit.dead_time = None;
    let field = Field::new(&map).unwrap();
    let figure = figure::map("m", &field, Width::Page);
    let texts = written(&figure.svg().unwrap());
    let legend: String = texts.iter().map(|(text, _)| text.as_str()).collect();
    assert!(legend.contains("no hold time"), "{legend}");
    assert!(!legend.contains("incomplete fall") && !legend.contains("no cell"));
    assert!(
        figure.alternative().contains("Grey: no hold time"),
        "{}",
        figure.alternative()
    );
}

/// Every turn of the ring is round: with sixty points to the turn a chord of the
/// phase plane's circle is a tenth of the radius.
#[test]
fn a_long_ring_has_enough_points() {
    let mut solver = Solver::new(&demonstration(Scheme::Discontinuous)).unwrap();
    let (steady, waveform) = solver.waveform(point(44.0, 6.0, 0.3)).unwrap();
    let waveform = waveform.unwrap();
    let node = waveform.table.column("node_voltage").unwrap().values();
    let end = steady.course.unwrap().dead_time.coherent();
    let time = waveform.table.column("time").unwrap().values();
    let ring = time.iter().take_while(|time| **time < end).count();
    let swing = node[..ring].iter().copied().fold(0.0, f64::max);
    let largest = node[..ring]
        .windows(2)
        .map(|pair| (pair[1] - pair[0]).abs())
        .fold(0.0, f64::max);
    assert!(largest < 0.06 * swing, "{largest} of {swing}");
}
