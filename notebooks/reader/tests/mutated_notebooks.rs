//! Thousands of random changes to sound notebooks, most of them what an attacker
//! would try: reading, comparing and writing the page end with a result or a
//! reason, quickly, and the page runs and loads nothing. The seed is fixed: every
//! run is the same.

mod browser;

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use browser::dangers;
use serde_json::{Map, Value, json};
use slewbook_reader::{Comparison, Notebook, export};

/// How many notebooks the suite changes.
const NOTEBOOKS: u64 = 10_000;

/// No notebook of a few cells takes longer, on a machine that does other work too.
const LONGEST: Duration = Duration::from_secs(20);

/// What is put in place of a text, or into one.
const TEXTS: [&str; 44] = [
    "<script>a()</script>",
    "<img src=x onerror=a()>",
    "\" onload=\"a()",
    "' onload='a()",
    "</style><script>",
    "</title><script>",
    "]]><script>",
    "<!--",
    "<svg onload=a()>",
    "<svg><script>a()</script></svg>",
    "<svg xmlns=\"http://www.w3.org/2000/svg\"><a href=\"javascript:a()\"><text>x</text></a></svg>",
    "<svg><style>*{background:url(http://127.0.0.1/)}</style></svg>",
    "<math><mi href=\"javascript:a()\">x</mi></math>",
    "<math><annotation-xml encoding=\"text/html\"><script>a()</script></annotation-xml></math>",
    "<math><mtext><style><img src=x onerror=a()></style></mtext></math>",
    "<!DOCTYPE a [<!ENTITY b \"c\">]><svg>&b;</svg>",
    "[x](javascript:a())",
    "[x](java\tscript:a())",
    "[x](data:text/html,a)",
    "![x](http://127.0.0.1/x.png)",
    "![x](../../../../etc/passwd)",
    "![x](/dev/zero)",
    "![x](data:image/svg+xml;base64,PHN2Zz4=)",
    "![x\" onerror=\"a()](data:image/png;base64,AAAA)",
    "## x {onclick=\"a()\" style=\"background:url(//b)\"}",
    "[^1]: <script>",
    "[@si-brochure]",
    "[](#eq:nowhere)",
    "$\\frac{a}{b}$",
    "$\\href{javascript:a()}{x}$",
    "$\\class{a\" onload=\"b}{x}$",
    "$\\text{<script>a()</script>}$",
    "$\\unicode{x3c}$",
    "$$\\begin{matrix}a&b\\\\c&d\\end{matrix}$$",
    "\u{202e}\u{1b}[2J\u{0}\u{feff}",
    "{{ body }}{% include 'x' %}",
    "&#60;script&#62;",
    "%3Cscript%3E",
    "1e999",
    "-0",
    "999 A",
    "",
    "\n\n\n",
    "text/html",
];

/// What stands before and after a piece of markdown.
const AROUND: [(&str, &str); 22] = [
    ("> ", "\n"),
    ("- ", "\n  "),
    ("1. ", "\n"),
    ("**", "**"),
    ("_", "_"),
    ("[", "](#a)"),
    ("[a](", ")"),
    ("![", "](a.png)"),
    ("![a](", ")"),
    ("<", ">"),
    ("`", "`"),
    ("```html\n", "\n```\n"),
    ("    ", "\n"),
    ("| a | b |\n| --- | --- |\n| ", " | c |\n"),
    ("# ", "\n"),
    ("$", "$"),
    ("$$\\frac{", "}{2}$$"),
    ("$\\sqrt{\\text{", "}}$"),
    ("[a]: ", "\n"),
    ("[^1]: ", "\n\n[^1]"),
    ("<!-- ", " -->"),
    ("\n\n", "\n\n"),
];

/// Where markup is stored: what an attacker goes for.
const MARKUP: [&str; 6] = [
    "mathml",
    "numbers_mathml",
    "svg",
    "markdown",
    "data",
    "outputs",
];

/// What is put in place of any value.
fn values() -> Vec<Value> {
    let mut deep = json!(1);
    for _ in 0..60 {
        deep = json!([deep]);
    }
    vec![
        json!(null),
        json!(true),
        json!(false),
        json!(0),
        json!(-1),
        json!(1e308),
        json!(5e-324),
        json!(u64::MAX),
        json!(i64::MIN),
        json!([]),
        json!({}),
        json!([[], {}]),
        deep,
        json!({"application/vnd.slewbook.figure.v1+json": {"svg": "<svg onload=\"a()\"/>"}}),
        json!({"image/png": "AA\" onerror=\"a()"}),
        json!({"text/html": "<script>"}),
    ]
}

/// A generator of random numbers (xorshift, G. Marsaglia).
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    fn below(&mut self, limit: usize) -> usize {
        usize::try_from(self.next() % (limit.max(1) as u64)).unwrap()
    }

    fn pick<'a, T>(&mut self, list: &'a [T]) -> &'a T {
        &list[self.below(list.len())]
    }
}

/// The cells of every notebook of the project.
fn cells() -> Vec<Value> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|end| end == "ipynb"))
        .collect();
    files.sort();
    let read = |file: &PathBuf| -> Value {
        serde_json::from_str(&std::fs::read_to_string(file).unwrap()).unwrap()
    };
    let all = files
        .iter()
        .flat_map(|file| read(file)["cells"].as_array().unwrap().clone());
    // Large drawings take most of the time and are all alike.
    all.filter(|cell| cell.to_string().len() < 30_000).collect()
}

/// A notebook of a few of the cells, sound.
fn sound(random: &mut Random, cells: &[Value]) -> Value {
    let mut own: Vec<Value> = (0..=random.below(3))
        .map(|_| random.pick(cells).clone())
        .collect();
    for (index, cell) in own.iter_mut().enumerate() {
        cell["id"] = json!(format!("c{index}"));
    }
    json!({"nbformat": 4, "nbformat_minor": 5, "metadata": {}, "cells": own})
}

/// Changes one thing somewhere.
fn change(random: &mut Random, value: &mut Value) {
    let deeper = random.below(8) > 0;
    match value {
        Value::Object(map) if deeper && !map.is_empty() => {
            let keys: Vec<String> = map.keys().cloned().collect();
            let markup = keys.iter().find(|key| MARKUP.contains(&key.as_str()));
            let key = match markup {
                Some(key) if random.below(2) == 0 => key.clone(),
                _ => random.pick(&keys).clone(),
            };
            if random.below(12) == 0 {
                change_keys(random, map, &key);
            } else {
                change(random, &mut map[&key]);
            }
        }
        Value::Array(list) if deeper && !list.is_empty() => {
            let at = random.below(list.len());
            match random.below(12) {
                0 => {
                    list.remove(at);
                }
                1 => {
                    let again = list[at].clone();
                    list.insert(at, again);
                }
                2 => list.reverse(),
                _ => change(random, &mut list[at]),
            }
        }
        Value::String(text) if random.below(3) > 0 => {
            let mut at = random.below(text.len() + 1);
            while !text.is_char_boundary(at) {
                at -= 1;
            }
            // By itself or within what stands there.
            let piece = *random.pick::<&str>(&TEXTS);
            match random.below(3) {
                0 => text.insert_str(at, piece),
                1 => text.insert_str(at, &format!("\n\n{piece}\n\n")),
                _ => piece.clone_into(text),
            }
        }
        other => {
            *other = match random.below(2) {
                0 => json!(random.pick::<&str>(&TEXTS)),
                _ => random.pick(&values()).clone(),
            };
        }
    }
}

fn change_keys(random: &mut Random, map: &mut Map<String, Value>, key: &str) {
    let value = map.remove(key).unwrap_or_default();
    if random.below(2) == 0 {
        map.insert((*random.pick::<&str>(&TEXTS)).to_owned(), value);
    }
}

/// Changes a letter of the file, or cuts it.
fn change_file(random: &mut Random, text: &str) -> String {
    let mut bytes = text.as_bytes().to_vec();
    let at = random.below(bytes.len());
    match random.below(4) {
        0 => bytes.truncate(at),
        1 => bytes[at] = u8::try_from(random.below(128)).unwrap(),
        2 => bytes.insert(at, *random.pick(b"\"{}[],:\\<&")),
        _ => {
            bytes.remove(at);
        }
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

/// What is made of one notebook: `true` where a page was.
fn tried(random: &mut Random, cells: &[Value]) -> Result<bool, String> {
    let good = sound(random, cells);
    let mut bad = good.clone();
    for _ in 0..=random.below(4) {
        change(random, &mut bad);
    }
    let mut text = bad.to_string();
    if random.below(8) == 0 {
        text = change_file(random, &text);
    }
    harmless(&text, || {
        let good = Notebook::parse(Path::new("a.ipynb"), &good.to_string())?;
        let bad = Notebook::parse(Path::new("a.ipynb"), &text)?;
        let _ = Comparison::of(&bad, &good);
        let _ = Comparison::of(&good, &bad);
        let _ = bad.text();
        export::page(&bad, "none")
    })
}

/// What one text of markdown becomes: pieces of it nested in and beside each other.
fn written(random: &mut Random) -> Result<bool, String> {
    let mut source = String::new();
    for _ in 0..=random.below(12) {
        let piece = *random.pick::<&str>(&TEXTS);
        let (before, after) = *random.pick(&AROUND);
        match random.below(4) {
            0 => source.push_str(piece),
            1 => source.push_str(&format!("{before}{piece}{after}")),
            2 => source = format!("{before}{source}{after}"),
            _ => source = format!("{before}{source}{piece}"),
        }
        // A piece that nests doubles what is there.
        source.truncate(source.floor_char_boundary(20_000));
    }
    let cells = json!([{"cell_type": "markdown", "id": "a", "metadata": {}, "source": source}]);
    let text = json!({"nbformat": 4, "nbformat_minor": 5, "metadata": {}, "cells": cells});
    harmless(&source, || {
        let notebook = Notebook::parse(Path::new("a.ipynb"), &text.to_string())?;
        export::page(&notebook, "none")
    })
}

/// What is made of a text: `true` where a page was.
fn harmless(text: &str, page: impl FnOnce() -> Result<String, String>) -> Result<bool, String> {
    let begun = Instant::now();
    let outcome = catch_unwind(AssertUnwindSafe(page));
    let outcome = outcome.map_err(|_| format!("a panic: {text}"))?;
    if begun.elapsed() > LONGEST {
        return Err(format!("{:?}: {text}", begun.elapsed()));
    }
    match outcome {
        Err(reason) if reason.contains("a fault of this program") => {
            Err(format!("a panic in the page: {text}"))
        }
        Err(_) => Ok(false),
        Ok(page) => {
            let dangers = dangers(&page);
            if dangers.is_empty() {
                Ok(true)
            } else {
                Err(format!("{dangers:?}: {text}"))
            }
        }
    }
}

#[test]
fn a_changed_notebook_is_read_compared_and_written_without_harm() {
    let cells = cells();
    let pages = without_harm(NOTEBOOKS, |random| tried(random, &cells));
    // The changes are to reach the writer, not only the reader.
    assert!(pages > NOTEBOOKS / 4, "{pages} pages");
}

#[test]
fn markdown_of_any_nesting_is_written_without_harm() {
    let pages = without_harm(NOTEBOOKS, written);
    assert!(pages > NOTEBOOKS / 4, "{pages} pages");
}

/// How many pages there are from a number of seeds.
fn without_harm(count: u64, work: impl Fn(&mut Random) -> Result<bool, String>) -> u64 {
    let mut pages = 0;
    for seed in 1..=count {
        let mut random = Random(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15));
        match work(&mut random) {
            Ok(page) => pages += u64::from(page),
            Err(problem) => panic!("seed {seed}: {problem}"),
        }
    }
    pages
}

/// ```sh
/// FUZZ_SECONDS=600 FUZZ_SEED=1 cargo test -p slewbook-reader search_for -- --ignored --nocapture
/// ```
#[test]
#[ignore = "runs for as long as FUZZ_SECONDS says"]
fn search_for_notebooks_that_do_harm() {
    let cells = cells();
    search("notebooks", |random| tried(random, &cells));
}

#[test]
#[ignore = "runs for as long as FUZZ_SECONDS says"]
fn search_for_markdown_that_does_harm() {
    search("texts of markdown", written);
}

fn search(what: &str, work: impl Fn(&mut Random) -> Result<bool, String>) {
    let asked = |name: &str, otherwise: u64| {
        std::env::var(name).map_or(otherwise, |text| text.parse().expect("a whole number"))
    };
    let end = Instant::now() + Duration::from_secs(asked("FUZZ_SECONDS", 60));
    let mut random = Random(asked("FUZZ_SEED", 1).max(1));
    let (mut inputs, mut pages) = (0_u64, 0_u64);
    while Instant::now() < end {
        match work(&mut random) {
            Ok(page) => pages += u64::from(page),
            Err(problem) => panic!("number {inputs}: {problem}"),
        }
        inputs += 1;
    }
    println!("{inputs} {what}, {pages} pages");
}
