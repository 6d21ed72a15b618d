//! Telling Jupyter about the kernel.

use std::fs;
use std::path::{Path, PathBuf};

use serde_json::json;

/// The kernel's folder in Jupyter's path; the stock Rust kernel's is another.
const NAME: &str = "slewbook";

/// The user's own folder of Jupyter data.
pub fn users_folder() -> Option<PathBuf> {
    let variable = |name: &str| {
        std::env::var_os(name)
            .filter(|value| !value.is_empty())
            .map(PathBuf::from)
    };
    variable("JUPYTER_DATA_DIR").or_else(|| {
        if cfg!(windows) {
            variable("APPDATA").map(|folder| folder.join("jupyter"))
        } else if cfg!(target_os = "macos") {
            variable("HOME").map(|folder| folder.join("Library/Jupyter"))
        } else {
            variable("XDG_DATA_HOME")
                .or_else(|| variable("HOME").map(|folder| folder.join(".local/share")))
                .map(|folder| folder.join("jupyter"))
        }
    })
}

/// The file that describes the kernel, in a folder of Jupyter data.
pub fn file(folder: &Path) -> PathBuf {
    folder.join("kernels").join(NAME).join("kernel.json")
}

/// Writes the kernel's description into a folder of Jupyter data.
///
/// # Errors
/// No write access.
pub fn install(folder: &Path) -> Result<PathBuf, String> {
    let file = file(folder);
    let program = std::env::current_exe().map_err(|error| error.to_string())?;
    let mut environment = serde_json::Map::new();
    // A front end started from a desktop has its own search path, and would use
    // other build folders than the ones prepared here.
    for name in [
        "PATH",
        "SLEWBOOK_CACHE",
        "SLEWBOOK_SOURCE",
        super::standard_library::VARIABLE,
    ] {
        if let Ok(value) = std::env::var(name) {
            environment.insert(name.to_owned(), json!(value));
        }
    }
    let description = json!({
        "argv": [program, "--control_file", "{connection_file}"],
        "display_name": "slewbook (Rust)",
        "language": "rust",
        "interrupt_mode": "message",
        "env": environment,
        "metadata": {"debugger": false},
    });
    let fail = |error: std::io::Error| format!("{}: {error}", file.display());
    fs::create_dir_all(file.parent().unwrap_or(folder)).map_err(fail)?;
    fs::write(&file, format!("{description:#}\n")).map_err(fail)?;
    Ok(file)
}
