#[test]
fn timing_probe() {
    use slewbook::design::Design;
    use slewbook::uncertainty::{self, Draw};
    let d = Design::derive(slewbook::stage::DEMONSTRATION).unwrap();
    for f in &d.findings {
        let u = d.uncertainties.clone();
        let t = std::time::Instant::now();
        let b = uncertainty::of(&f.record, &f.point, &u, None);
        let t1 = t.elapsed();
        let t = std::time::Instant::now();
        let s = Draw { samples: 200, seed: 1, threads: Some(1) }.record(&f.record, &f.point, &u);
        let t2 = t.elapsed();
        match b {
            Ok(Some(b)) => eprintln!("{:34} {:>10} u={:.3e} near={} so={:?} {:?} | MC200 u={:?} bad={} {:?}", f.name(), f.shown(), b.propagated, b.near_linear, b.second_order.standard_uncertainty, t1, s.as_ref().unwrap().standard_uncertainty(), s.as_ref().unwrap().without_value(), t2),
            Ok(None) => eprintln!("{:34} none {t1:?} {t2:?}", f.name()),
            Err(e) => eprintln!("{:34} {e}", f.name()),
        }
    }
}
