fn main() {
    let start = std::time::Instant::now();
    let path = std::env::args().nth(1);
    let source = path.map_or(slewbook::stage::DEMONSTRATION.to_owned(), |p| {
        std::fs::read_to_string(p).unwrap()
    });
    match slewbook::design::Design::derive(&source) {
        Ok(d) => {
            for f in &d.findings {
                println!(
                    "{:34} {:>14}  {:?} {} {:?}",
                    f.name(),
                    f.shown(),
                    f.value(),
                    f.place(),
                    f.notes
                );
            }
            for p in &d.proposals {
                println!("{p:?}");
            }
            for r in &d.requirements {
                println!(
                    "{:?} {:?} {} {:?}",
                    r.verdict(),
                    r.comparison(),
                    r.words,
                    r.margin()
                );
            }
        }
        Err(e) => println!("{e}"),
    }
    eprintln!("{:?}", start.elapsed());
}
