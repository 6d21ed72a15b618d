//! The program that the engine makes of a cell, and what is changed in it.
//!
//! The engine tells a panic, an error that left a cell through `?` and the display
//! of a plain value by lines on the cell's standard output, which the cell may
//! write as well, or close. Cargo calls the compiler through this program, so that
//! these lines can be something else before they are compiled: an outcome that the
//! process that runs the cells asks for ([`OUTCOME`]), and frames on the channel
//! for displays. No line is added before the cell's own, so that places in errors
//! stay right.

use std::fs;
use std::os::unix::process::CommandExt;
use std::path::Path;
use std::process::Command;

/// The function by which a compiled cell says how it ended, as one of [`PANIC`],
/// [`QUESTION_MARK`], [`CHANGED_TYPE`], or 0 where it came to its end.
pub const OUTCOME: &str = "slewbook_outcome";
/// The cell panicked.
pub const PANIC: u8 = 1;
/// An error left the cell through `?`.
pub const QUESTION_MARK: u8 = 2;
/// A variable has become another type, and is lost.
pub const CHANGED_TYPE: u8 = 3;

/// The variable that makes this program a wrapper of the compiler.
pub const ROLE: &str = "SLEWBOOK_COMPILER";
/// The variable that names the channel for displays.
pub const CHANNEL: &str = "SLEWBOOK_DISPLAY";

/// The crate that the engine compiles a cell as.
const CRATE: &str = "ctx";

// What evcxr generates (version 0.22).
const PANICKED: &str = "    println!(\"EVCXR_PANIC_NOTIFICATION\");\n";
const ERROR_OCCURRED: &str = "println!(\"{}\", evcxr_internal_runtime::USER_ERROR_OCCURRED);";
const TYPE_CHANGED: &str = "println!(\"{VARIABLE_CHANGED_TYPE}{name}\");";
const PLAIN_VALUE: &str = "evcxr_send_text_plain(&format!(";
/// The end of a program that runs nothing.
const NOTHING: &str = "mut x: *mut std::os::raw::c_void) -> *mut std::os::raw::c_void {x}\n";

/// Calls the compiler, if this process was started for that; otherwise returns. A
/// cell's source is changed before; one that cannot be is not compiled as it is.
pub fn hook() {
    if std::env::var_os(ROLE).is_none() {
        return;
    }
    let mut arguments = std::env::args_os().skip(1);
    let called = prepare().and_then(|()| {
        let compiler = arguments.next().ok_or("the compiler is not named")?;
        // It takes this process's place.
        Err(Command::new(compiler)
            .args(arguments)
            .env_remove(ROLE)
            .exec()
            .to_string())
    });
    let Err::<(), _>(error) = called else {
        return;
    };
    super::terminal::complain(error);
    std::process::exit(1);
}

/// Changes the source of a cell, if it is to be compiled.
fn prepare() -> Result<(), String> {
    let arguments: Vec<_> = std::env::args_os()
        .map(|argument| argument.to_string_lossy().into_owned())
        .collect();
    let is_cell = arguments
        .windows(2)
        .any(|pair| pair[0] == "--crate-name" && pair[1] == CRATE);
    let checks_only = arguments
        .iter()
        .any(|argument| argument.starts_with("--emit") && !argument.contains("link"));
    if !is_cell || checks_only {
        return Ok(());
    }
    let file = Path::new("src/lib.rs");
    let fail = |error: std::io::Error| format!("{}: {error}", file.display());
    let source = fs::read_to_string(file).map_err(fail)?;
    if source.ends_with(APPENDED) {
        // Compiled again as it was.
        return Ok(());
    }
    fs::write(file, changed(&source)).map_err(fail)
}

/// The program with its marks replaced. One that is not of the form expected stays as
/// it is, and without the function that tells its outcome it does not run: the engine
/// compiles such for the errors in it.
fn changed(source: &str) -> String {
    let store = |outcome: u8| {
        format!("SLEWBOOK_OUTCOME.store({outcome}, ::std::sync::atomic::Ordering::SeqCst);")
    };
    let mut program = source.to_owned();
    // The engine's own is the last; one before it is the cell's text.
    match program.rfind(PANICKED) {
        Some(place) => {
            let line = format!("    {}\n", store(PANIC));
            program.replace_range(place..place + PANICKED.len(), &line);
        }
        None if program.ends_with(NOTHING) => {}
        None => return program,
    }
    program
        .replace(ERROR_OCCURRED, &store(QUESTION_MARK))
        .replace(TYPE_CHANGED, "super::slewbook_changed(name);")
        .replace(PLAIN_VALUE, "slewbook_show(&format!(")
        + APPENDED
}

/// What the replaced lines call. A frame that cannot be sent ends the process: what
/// nobody hears must not look like success.
const APPENDED: &str = r#"
static SLEWBOOK_OUTCOME: ::std::sync::atomic::AtomicU8 = ::std::sync::atomic::AtomicU8::new(0);
#[unsafe(no_mangle)]
pub extern "C" fn slewbook_outcome() -> u8 {
    // What was printed without a line end is still held back.
    let _ = ::std::io::Write::flush(&mut ::std::io::stdout());
    SLEWBOOK_OUTCOME.load(::std::sync::atomic::Ordering::SeqCst)
}
#[allow(dead_code)]
fn slewbook_changed(name: &str) {
    SLEWBOOK_OUTCOME.store(3, ::std::sync::atomic::Ordering::SeqCst);
    slewbook_send("changed", name);
}
#[allow(dead_code)]
fn slewbook_show(text: &str) {
    slewbook_send("plain", text);
}
#[allow(dead_code)]
fn slewbook_send(what: &str, text: &str) {
    let mut frame = ::std::string::String::new();
    for letter in text.chars() {
        match letter {
            '"' | '\\' => frame.extend(['\\', letter]),
            '\n' => frame.push_str("\\n"),
            letter if (letter as u32) < 0x20 => {
                frame.push_str(&::std::format!("\\u{:04x}", letter as u32));
            }
            letter => frame.push(letter),
        }
    }
    let frame = ::std::format!("{{\"{what}\":\"{frame}\"}}\n");
    let sent = ::std::env::var_os("SLEWBOOK_DISPLAY")
        .ok_or(::std::io::Error::from(::std::io::ErrorKind::NotFound))
        .and_then(|path| ::std::fs::File::options().write(true).open(path))
        .and_then(|mut channel| ::std::io::Write::write_all(&mut channel, frame.as_bytes()));
    if sent.is_err() {
        ::std::process::abort();
    }
}
"#;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_engines_mark_is_replaced_and_the_cells_is_text() {
        let source = format!("fn f() {{\n{PANICKED}}}\n// generated\n{PANICKED}}}}}\n");
        let program = changed(&source);
        assert_eq!(program.matches(PANICKED).count(), 1);
        assert!(program.find(PANICKED) < program.find("SLEWBOOK_OUTCOME.store(1"));
        // Every line of the cell stays where it was.
        assert!(program.lines().count() > source.lines().count());
        assert_eq!(program.lines().nth(3), source.lines().nth(3));
    }

    #[test]
    fn a_cell_that_looks_as_if_it_were_changed_is_changed() {
        let source = format!("fn f() {{ slewbook_outcome() }}\n{APPENDED}\n{PANICKED}}}}}\n");
        assert!(changed(&source).ends_with(APPENDED));
        assert_eq!(changed(&source).matches(APPENDED).count(), 2);
    }

    #[test]
    fn a_program_of_another_form_cannot_tell_its_outcome() {
        assert!(!changed("fn f() {}").contains(OUTCOME));
        assert!(changed(&format!("fn f(\n{NOTHING}")).contains(OUTCOME));
    }
}
