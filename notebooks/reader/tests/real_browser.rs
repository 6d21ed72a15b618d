//! A hostile notebook's page in a headless Chromium, with a listener on this
//! machine: nothing runs and nothing is fetched. Skipped where there is none.

use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use serde_json::json;
use slewbook_reader::{Notebook, export};

const NAMES: [&str; 4] = ["chromium", "chromium-browser", "google-chrome", "chrome"];

/// What a script of the page would leave in the document.
const RAN: &str = "a-script-ran";

fn chromium() -> Option<&'static str> {
    let there = |name: &&str| Command::new(name).arg("--version").output().is_ok();
    NAMES.into_iter().find(there)
}

/// What the browser makes of a page. Its profile is new, and its own errands are off: without
/// a network it would wait for them.
fn document(browser: &str, page: &Path) -> String {
    let profile = page.with_extension("profile");
    let _ = std::fs::remove_dir_all(&profile);
    let output = Command::new(browser)
        .args([
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
        ])
        .arg(format!("--user-data-dir={}", profile.display()))
        .args(["--virtual-time-budget=3000", "--dump-dom"])
        .arg(format!("file://{}", page.display()))
        .output()
        .unwrap();
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// Counts who connects, and hangs up: a browser waits for an answer for ever.
fn count_connections(listener: TcpListener) -> Arc<AtomicUsize> {
    let count = Arc::new(AtomicUsize::new(0));
    let counted = Arc::clone(&count);
    std::thread::spawn(move || {
        for stream in listener.incoming() {
            counted.fetch_add(1, Ordering::SeqCst);
            drop(stream);
        }
    });
    count
}

#[test]
fn a_browser_runs_and_fetches_nothing() {
    let Some(browser) = chromium() else {
        println!("skipped: no Chromium on this machine");
        return;
    };
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = format!("http://{}", listener.local_addr().unwrap());
    let connections = count_connections(listener);
    let run = format!("document.title='{RAN}'");
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("browser");
    std::fs::create_dir_all(&folder).unwrap();

    // The watch sees what it is for.
    let bad = folder.join("bad.html");
    let text = format!(
        "<title>x</title><img src=\"{address}/a\" onerror=\"{run}\"><script>{run}</script>"
    );
    std::fs::write(&bad, text).unwrap();
    assert!(document(browser, &bad).contains(RAN));
    assert!(connections.swap(0, Ordering::SeqCst) > 0);

    let data = |thing: &str, data: serde_json::Value| {
        json!({"output_type": "display_data", "metadata": {},
            "data": {format!("application/vnd.slewbook.{thing}.v1+json"): data}})
    };
    let svg = format!(
        "<svg onload=\"{run}\"><script>{run}</script><image href=\"{address}/b\"/><style>@import '{address}/c';\
         </style><rect fill=\"url({address}/d)\"/><foreignObject><img src=\"{address}/e\" onerror=\"{run}\"/>\
         </foreignObject></svg>"
    );
    let math = format!(
        "<math><mtext><img src=\"{address}/f\" onerror=\"{run}\"/></mtext><mi onclick=\"{run}\">L</mi></math>"
    );
    let source = format!(
        "## x {{onfocus=\"{run}\" autofocus tabindex=1}}\n\n## y {{style=\"background-image:url({address}/g)\"}}\n\n\
         <script>{run}</script> <img src=\"{address}/h\" onerror=\"{run}\"> [z](javascript:{run})"
    );
    let cells = json!([
        {"cell_type": "markdown", "id": "a", "metadata": {}, "source": source},
        {"cell_type": "code", "id": "b", "metadata": {}, "source": "x", "outputs": [
            data("figure", json!({"svg": svg, "title": svg})),
            data("equation", json!({"mathml": math, "text": svg})),
            data("table", json!({"caption": svg, "columns": [svg], "rows": [[svg]]})),
            data("text", json!({"markdown": source})),
            {"output_type": "display_data", "metadata": {}, "data": {
                "text/html": format!("<script>{run}</script><img src=\"{address}/i\">")}},
            {"output_type": "display_data", "metadata": {}, "data": {"image/svg+xml": svg}},
            {"output_type": "display_data", "metadata": {}, "data": {
                "image/png": format!("AAAA\" onerror=\"{run}\" src=\"{address}/j")}},
            {"output_type": "stream", "name": "stdout", "text": format!("<script>{run}</script>")},
        ]},
    ]);
    let json = json!({"nbformat": 4, "nbformat_minor": 5, "metadata": {}, "cells": cells});
    let notebook = Notebook::parse(Path::new("hostile.ipynb"), &json.to_string()).unwrap();
    let good = folder.join("good.html");
    std::fs::write(&good, export::page(&notebook, "none").unwrap()).unwrap();
    let seen = document(browser, &good);
    assert!(seen.contains("<main>"), "{seen}");
    assert!(!seen.contains(&format!("<title>{RAN}")), "a script ran");
    let fetched = connections.load(Ordering::SeqCst);
    assert_eq!(fetched, 0, "the page fetched something");
}
