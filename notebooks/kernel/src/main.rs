//! slewbook-notebook: notebooks of slewbook, in Jupyter and without it.

mod explain;
mod failure;
mod jupyter;
mod notebook;
mod prelude;
mod relay;
mod session;
mod slot;

fn main() {
    relay::hook();
    evcxr::runtime_hook();
    let arg = std::env::args().nth(1).unwrap_or_default();
    if arg == slot::MAKE_SEED {
        let folder = std::env::args().nth(2).unwrap();
        if let Err(e) = slot::make_seed(std::path::Path::new(&folder)) { eprintln!("{e}"); std::process::exit(1) }
        return;
    }
    if arg == "--control_file" { jupyter::serve(&std::env::args().nth(2).unwrap()).unwrap(); return; }
    let t = std::time::Instant::now();
    let slot = slot::Slot::take().unwrap();
    slot.enter();
    eprintln!("slot {:?}", t.elapsed());
    let mut s = session::Session::start().unwrap();
    eprintln!("start {:?}", t.elapsed());
    eprintln!("{:?}", s.load(&slot::dependency(), &prelude::text()));
    eprintln!("load {:?}", t.elapsed());
    for line in std::io::stdin().lines() {
        let line = line.unwrap();
        let t = std::time::Instant::now();
        let o = s.run(&line.replace("\\n", "\n"));
        eprintln!("{:?} {o:#?}", t.elapsed());
        eprintln!("{:?}", s.variables());
    }
}
