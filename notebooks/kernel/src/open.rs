//! From nothing to an open notebook.

use std::path::Path;
use std::process::Command;

use super::{kernelspec, seed, slot, standard_library, terminal};

/// The front end, from the Python package index.
const FRONT_END: &str = "jupyterlab>=4,<5";

/// Settings of the environment made here: nothing is fetched or asked at the start.
const SETTINGS: &str = r#"{
  "@jupyterlab/apputils-extension:notification": {
    "checkForUpdates": false,
    "fetchNews": "false"
  }
}
"#;

/// Makes an environment with JupyterLab in `target/`, puts the kernel into it
/// and opens it on the notebooks.
///
/// # Errors
/// No Python, no network for the first installation, a front end that fails.
pub fn open(arguments: &[std::ffi::OsString]) -> Result<(), String> {
    let workspace = slot::library();
    let environment = workspace.join("target/jupyter");
    let programs = environment.join(if cfg!(windows) { "Scripts" } else { "bin" });
    let jupyter = programs.join("jupyter-lab");
    if !jupyter.is_file() {
        terminal::complain(format!(
            "Making an environment for Jupyter in {} (once).",
            environment.display()
        ));
        let python = if cfg!(windows) { "python" } else { "python3" };
        call(
            Command::new(python).args(["-m", "venv"]).arg(&environment),
            "install Python 3 with its venv module",
        )?;
        call(
            Command::new(programs.join("python"))
                .args(["-m", "pip", "install", "--quiet", FRONT_END]),
            "the first time needs the Python package index",
        )?;
    }
    let settings = environment.join("share/jupyter/lab/settings");
    std::fs::create_dir_all(&settings)
        .and_then(|()| std::fs::write(settings.join("overrides.json"), SETTINGS))
        .map_err(|error| format!("{}: {error}", settings.display()))?;
    kernelspec::install(&environment.join("share/jupyter"))?;
    seed::ready(standard_library::named().as_deref()).map_err(|error| error.to_string())?;
    call(
        Command::new(&jupyter)
            .arg(Path::new("notebooks"))
            .args(arguments)
            .current_dir(&workspace),
        "JupyterLab ended with an error",
    )
}

fn call(command: &mut Command, remedy: &str) -> Result<(), String> {
    let name = command.get_program().to_string_lossy().into_owned();
    match command.status() {
        Ok(status) if status.success() => Ok(()),
        Ok(status) => Err(format!("{name}: {status}; {remedy}")),
        Err(error) => Err(format!("{name}: {error}; {remedy}")),
    }
}
