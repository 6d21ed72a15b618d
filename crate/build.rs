//! Tells the program what it was built from: commit, compiler and target.
//!
//! It never fails: what cannot be told is left out. Only a release build of the program is
//! told its commit. In a debug build every commit would compile the whole library again, and
//! what notebooks load does not depend on the commit at all.

use std::path::Path;
use std::process::Command;

fn main() {
    println!("cargo:rerun-if-changed=crate/build.rs");
    if std::env::var_os("CARGO_FEATURE_PROGRAM").is_none() {
        return;
    }
    if let Ok(target) = std::env::var("TARGET") {
        println!("cargo:rustc-env=SLEWBOOK_TARGET={target}");
    }
    let compiler = std::env::var_os("RUSTC").unwrap_or_else(|| "rustc".into());
    if let Some(version) = answer(Command::new(compiler).arg("--version")) {
        println!("cargo:rustc-env=SLEWBOOK_COMPILER={version}");
    }
    let released = std::env::var("PROFILE").is_ok_and(|own| own == "release");
    if released && let Some(commit) = commit() {
        println!("cargo:rustc-env=SLEWBOOK_COMMIT={commit}");
    }
}

/// What a build depends on beside the files that git keeps for itself.
const SOURCES: [&str; 4] = ["Cargo.toml", "Cargo.lock", "crate", "references"];

/// The commit of a checkout, and whether the sources differ from it.
fn commit() -> Option<String> {
    // Without it, this is a copy, which may lie in a checkout of something else.
    if !Path::new(".git").exists() {
        return None;
    }
    let commit = git(&["rev-parse", "HEAD"])?;
    let mut watched: Vec<String> = SOURCES.map(str::to_owned).into();
    let branch = git(&["symbolic-ref", "--quiet", "HEAD"]);
    let places = ["HEAD", "logs/HEAD"].into_iter().chain(branch.as_deref());
    watched.extend(places.filter_map(|name| git(&["rev-parse", "--git-path", name])));
    // What is not there would make every build run this again.
    for path in watched.iter().filter(|own| Path::new(own).exists()) {
        println!("cargo:rerun-if-changed={path}");
    }
    let status = ["status", "--porcelain", "--"];
    let changes = git(&[&status[..], &SOURCES].concat());
    let changed = changes.is_none_or(|own| !own.is_empty());
    Some(commit + if changed { " with changes" } else { "" })
}

fn git(arguments: &[&str]) -> Option<String> {
    // Asking is no reason to write to the checkout.
    answer(
        Command::new("git")
            .arg("--no-optional-locks")
            .args(arguments),
    )
}

/// What a program says where it ends well.
fn answer(command: &mut Command) -> Option<String> {
    let output = command.output().ok().filter(|own| own.status.success())?;
    Some(String::from_utf8(output.stdout).ok()?.trim().to_owned())
}
