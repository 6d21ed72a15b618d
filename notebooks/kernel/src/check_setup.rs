//! What a notebook needs on this machine, and what to do where it is missing.

use std::process::Command;

use super::{kernelspec, slot, standard_library, terminal};

/// Prints one line per need; whether all are met.
pub fn check_setup() -> bool {
    let lines = [
        program("cargo", "install Rust by rustup: https://rustup.rs"),
        program("rustc", "install Rust by rustup: https://rustup.rs"),
        (
            "standard library sources",
            standard_library::find()
                .map(|folder| folder.display().to_string())
                .ok_or_else(|| standard_library::REMEDY.to_owned()),
        ),
        program(
            "cc",
            "install a C compiler: it links what Rust compiles (Debian: apt-get install gcc)",
        ),
        ("library", library()),
        ("build folders", write_access()),
        ("kernel in Jupyter", installed()),
    ];
    for (what, state) in &lines {
        match state {
            Ok(found) => terminal::say(format!("ok       {what}: {found}")),
            Err(remedy) => terminal::say(format!("MISSING  {what}: {remedy}")),
        }
    }
    lines.iter().all(|(_, state)| state.is_ok())
}

type Line = (&'static str, Result<String, String>);

fn program(name: &'static str, remedy: &str) -> Line {
    let state = match Command::new(name).arg("--version").output() {
        Ok(output) if output.status.success() => {
            let text = String::from_utf8_lossy(&output.stdout);
            Ok(text.lines().next().unwrap_or_default().to_owned())
        }
        Ok(output) => Err(format!("it does not run ({}); {remedy}", output.status)),
        Err(error) => Err(format!("{error}; {remedy}")),
    };
    (name, state)
}

fn library() -> Result<String, String> {
    let folder = slot::library();
    if folder.join("crate/src/lib.rs").is_file() {
        Ok(folder.display().to_string())
    } else {
        Err(format!(
            "no slewbook sources in {}; build this program in its workspace, or set SLEWBOOK_SOURCE",
            folder.display()
        ))
    }
}

fn write_access() -> Result<String, String> {
    let remedy =
        |error: std::io::Error| format!("{error}; set SLEWBOOK_CACHE to a folder you may write to");
    let folder = slot::cache().map_err(remedy)?;
    let probe = folder.join("write-access");
    slot::make_private(&folder)
        .and_then(|()| std::fs::write(&probe, ""))
        .and_then(|()| std::fs::remove_file(&probe))
        .map_err(remedy)?;
    Ok(folder.display().to_string())
}

fn installed() -> Result<String, String> {
    let file = kernelspec::users_folder().map(|folder| kernelspec::file(&folder));
    match file {
        Some(file) if file.is_file() => Ok(file.display().to_string()),
        _ => Err(
            "not in your own Jupyter folder; `install` puts it there, `open` needs no installation"
                .to_owned(),
        ),
    }
}
