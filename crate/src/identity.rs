//! What computed a document: the program's version and what it was built from.

use serde::{Deserialize, Serialize};

use crate::VERSION;

/// What a program is built from, in words.
const BUILT_FROM: [&str; 4] = ["Commit", "Cargo.lock, SHA-256", "Compiler", "Built for"];

/// What stands for what is not known.
const NOT_RECORDED: &str = "not recorded";

/// A program that writes documents. Documents and data carry it as `program`.
///
/// What is not known is absent: commit and compiler unless the build was told them by the
/// variables `SLEWBOOK_COMMIT` and `SLEWBOOK_COMPILER`, and all three in the library as
/// notebooks load it, where asking for a variable makes every session compile it again.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Program {
    /// Its name.
    pub name: String,
    /// Its version.
    pub version: String,
    /// The commit that it was built from, as the build was told.
    pub commit: Option<String>,
    /// SHA-256 of the `Cargo.lock` beside the sources, in hexadecimal.
    pub cargo_lock_sha256: Option<String>,
    /// The compiler with its version.
    pub compiler: Option<String>,
    /// The machine that it was built for.
    pub target: Option<String>,
}

impl Program {
    /// This program.
    ///
    /// ```
    /// use slewbook::identity::Program;
    /// let own = Program::own();
    /// assert_eq!(own.version, slewbook::VERSION);
    /// assert!(own.to_string().starts_with("slewbook "));
    /// ```
    #[must_use]
    pub fn own() -> Self {
        #[cfg(feature = "program")]
        let [commit, compiler, lock] = [
            option_env!("SLEWBOOK_COMMIT").map(str::to_owned),
            option_env!("SLEWBOOK_COMPILER").map(str::to_owned),
            Some(crate::hash::sha256(include_str!("../../Cargo.lock"))),
        ];
        #[cfg(not(feature = "program"))]
        let [commit, compiler, lock] = [const { None }; 3];
        Self {
            name: "slewbook".to_owned(),
            version: VERSION.to_owned(),
            commit,
            cargo_lock_sha256: lock,
            compiler,
            target: Some(format!(
                "{}-{}",
                std::env::consts::ARCH,
                std::env::consts::OS
            )),
        }
    }

    /// What it was built from, each with what it is.
    #[must_use]
    pub fn built_from(&self) -> [(&'static str, &str); 4] {
        let told = [
            &self.commit,
            &self.cargo_lock_sha256,
            &self.compiler,
            &self.target,
        ];
        std::array::from_fn(|k| (BUILT_FROM[k], told[k].as_deref().unwrap_or(NOT_RECORDED)))
    }

    /// All of it as lines of text.
    #[must_use]
    pub fn text(&self) -> String {
        let rows = self.built_from();
        let rows: Vec<String> = rows.map(|(what, own)| format!("  {what}: {own}\n")).into();
        format!("{self}\n{}", rows.concat())
    }

    /// The program that a document says computed it: its first line and what it was built
    /// from, as [`Self::built_from`] gives it; none where they are no such thing.
    #[must_use]
    pub fn told(line: &str, built_from: [&str; 4]) -> Option<Self> {
        let (name, version) = line.split_once(' ')?;
        let told = |own: &str| (own != NOT_RECORDED).then(|| own.to_owned());
        let [commit, cargo_lock_sha256, compiler, target] = built_from.map(told);
        Some(Self {
            name: name.to_owned(),
            version: version.to_owned(),
            commit,
            cargo_lock_sha256,
            compiler,
            target,
        })
    }
}

impl std::fmt::Display for Program {
    /// Name and version.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} {}", self.name, self.version)
    }
}
