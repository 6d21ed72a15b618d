//! Notebooks that try to make their page run, load, hang or end the program.

mod browser;

use std::path::{Path, PathBuf};

use browser::dangers;
use serde_json::{Value, json};
use slewbook_reader::{Notebook, export};

fn notebook(cells: &Value) -> Result<Notebook, String> {
    at(Path::new("a.ipynb"), cells)
}

fn at(path: &Path, cells: &Value) -> Result<Notebook, String> {
    let json = json!({"nbformat": 4, "nbformat_minor": 5, "metadata": {}, "cells": cells});
    Notebook::parse(path, &json.to_string())
}

fn text_cell(source: &str) -> Value {
    json!({"cell_type": "markdown", "id": "a", "metadata": {}, "source": source})
}

fn output_cell(data: &Value) -> Value {
    json!({
        "cell_type": "code", "id": "b", "metadata": {}, "execution_count": 1, "source": "x",
        "outputs": [{"output_type": "display_data", "metadata": {}, "data": data}],
    })
}

fn page_of(cells: &Value) -> Result<String, String> {
    export::page(&notebook(cells)?, "none")
}

/// The page of one text, harmless.
fn page(source: &str) -> String {
    let page = page_of(&json!([text_cell(source)])).unwrap();
    assert_eq!(dangers(&page), Vec::<String>::new(), "{source}");
    page
}

/// The page of one result, harmless.
fn shown(thing: &str, data: &Value) -> String {
    let mime = format!("application/vnd.slewbook.{thing}.v1+json");
    let page = page_of(&json!([output_cell(
        &json!({mime: data, "text/plain": "plain"})
    )]))
    .unwrap();
    assert_eq!(dangers(&page), Vec::<String>::new(), "{data}");
    page
}

#[test]
fn the_watch_sees_what_it_is_for() {
    for bad in [
        "<script>a()</script>",
        "<h2 onfocus=a() autofocus tabindex=1>x</h2>",
        "<h2 style=\"background-image:url(http://127.0.0.1)\">x</h2>",
        "<a href=\"java\tscript:a()\">x</a>",
        "<img src=http://127.0.0.1/x>",
        "<svg><use href=\"#a\"/></svg>",
        "<meta http-equiv=refresh content=0>",
    ] {
        assert!(dangers(bad).len() > 1, "{bad}");
    }
}

#[test]
fn headings_have_a_name_and_no_other_attribute() {
    let page = page(
        "## x {onfocus=\"a()\" autofocus tabindex=1}\n\n## y {style=\"background-image:url(http://127.0.0.1/)\"}\n\n## z {#z .wide}",
    );
    assert!(page.contains("<h2 id=\"z\">z</h2>"));
}

#[test]
fn links_open_pages_and_letters_only() {
    let page = page(
        "[a](javascript:a()) [b](JaVaScript:a()) [c](vbscript:a) [d](data:text/html,x) [e](file:///etc/passwd) \
         [f](&#106;avascript:a()) <javascript:a()> [g](https://example.org/a:b) [h](other.html#x) [i](mailto:a@b)\n\n\
         [j]: javascript:a()\n\n[j]",
    );
    assert_eq!(page.matches("<a href").count(), 3, "{page}");
}

#[test]
fn html_in_text_is_shown_and_not_obeyed() {
    let page = page(
        "<script>a()</script>\n\na <img src=x onerror=a()> <details><summary>more</summary></details>",
    );
    assert!(page.contains("&lt;script&gt;") && page.contains("<details>"));
}

#[test]
fn stored_markup_is_cleaned() {
    let math = "<math><mi>L</mi><mtext><img src=x onerror=a()></mtext></math><script>a()</script>";
    let page = shown(
        "equation",
        &json!({"name": "L", "text": "L = 1", "mathml": math}),
    );
    // No markup at all: the formula as text.
    assert!(page.contains("<code>L = 1</code>"));
    let page = shown(
        "equation",
        &json!({"name": "L", "mathml": "<math><mi href=\"javascript:a()\" onclick=\"a()\">L</mi></math>"}),
    );
    assert!(page.contains("<mi>L</mi>"));
    shown(
        "derivation",
        &json!({"question": "<script>", "lines": [{"words": "<script>", "mathml": "<script>a()</script>",
            "numbers_mathml": "<img src=x onerror=a()>", "result_text": "<script>"}],
            "conditions": [{"words": "<script>"}], "reasons": ["<script>"]}),
    );
    let page = shown(
        "figure",
        &json!({"id": "x\" onload=\"a()", "title": "<script>", "svg": "<svg onload=\"a()\"><script>a()</script>\
            <image href=\"http://127.0.0.1/\"/><line x1=\"1\"/></svg>"}),
    );
    assert!(page.contains("<line x1=\"1\">"));
    shown(
        "table",
        &json!({"caption": "<script>", "columns": ["<script>"], "rows": [["<script>"]]}),
    );
    shown("check", &json!({"ok": true, "text": "<script>"}));
    shown(
        "text",
        &json!({"markdown": "[a](javascript:a()) <script> ## x {onclick=\"a()\"}"}),
    );
    shown(
        "document",
        &json!({"items": [{"thing": "equation", "data": {"mathml": "<script>"}}]}),
    );
    shown("unheard-of", &json!({"text": "<script>"}));
}

#[test]
fn a_figure_is_drawn_from_its_data_and_not_from_what_is_stored_as_drawing() {
    let data = json!({
        "id": "f", "title": "t", "x_label": "x", "y_label": "y", "alternative": "rising",
        "series": [{"name": "a", "points": [[0.0, 1.0], [1.0, null], [2.0, 3.0]]}],
        "svg": "<svg><text>999 A</text></svg>",
    });
    let page = shown("figure", &data);
    assert!(
        !page.contains("999 A") && page.contains("<polyline"),
        "{page}"
    );
    for extreme in [1e308, -1e308, 5e-324] {
        shown(
            "figure",
            &json!({
                "id": "f", "title": "t", "x_label": "x", "y_label": "y", "alternative": "",
                "series": [{"name": "a", "points": [[extreme, extreme], [-extreme, 0.0]]}],
            }),
        );
    }
}

#[test]
fn images_hold_nothing_but_their_digits() {
    let page = page_of(&json!([output_cell(
        &json!({"image/png": "AAAA\" onerror=\"a()"})
    )]))
    .unwrap();
    assert_eq!(dangers(&page), Vec::<String>::new());
    assert!(page.contains("left out"));
    let page = page_of(&json!([output_cell(&json!({"image/png": "AAAA\nAAA="}))])).unwrap();
    assert!(page.contains("data:image/png;base64,AAAAAAA="));
}

#[test]
fn foreign_html_is_left_out_and_said_so() {
    let page = page_of(&json!([output_cell(
        &json!({"text/html": "<script>a()</script>", "text/plain": "plain"})
    )]))
    .unwrap();
    assert_eq!(dangers(&page), Vec::<String>::new());
    assert!(
        page.contains("left out of this page (text/html)") && page.contains("<pre>plain</pre>")
    );
    let page = page_of(&json!([output_cell(
        &json!({"image/svg+xml": "<svg xmlns=\"http://www.w3.org/2000/svg\" onload=\"a()\"><line x1=\"1\"/></svg>"})
    )]))
    .unwrap();
    assert!(page.contains("<line x1=\"1\">") && dangers(&page).is_empty());
}

#[test]
fn images_come_from_the_notebooks_folder() {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("images");
    let _ = std::fs::remove_dir_all(&folder);
    let inside = folder.join("inside");
    std::fs::create_dir_all(&inside).unwrap();
    std::fs::write(folder.join("outside.png"), "secret").unwrap();
    std::fs::write(inside.join("own.png"), "own").unwrap();
    let show = |name: &str| {
        let cells = json!([text_cell(&format!("![x]({name})"))]);
        export::page(&at(&inside.join("a.ipynb"), &cells).unwrap(), "none")
    };
    assert!(
        show("own.png")
            .unwrap()
            .contains("data:image/png;base64,b3du")
    );
    let refused = |name: &str, words: &str| {
        let error = show(name).unwrap_err();
        assert!(error.contains(words), "{name}: {error}");
    };
    refused("../outside.png", "outside the notebook's folder");
    refused("https://example.org/x.png", "network");
    refused("//example.org/x.png", "network");
    refused("data:text/html;base64,AAAA", "unknown kind");
    refused("data:image/png;base64,AA\"onerror=a()", "unknown kind");
    refused("own.txt", "unknown kind");
    refused("nothing.png", "No such file");
    std::fs::create_dir(inside.join("folder.png")).unwrap();
    refused("folder.png", "no regular file");
    #[cfg(unix)]
    {
        let link =
            |from: &Path, name: &str| std::os::unix::fs::symlink(from, inside.join(name)).unwrap();
        link(&folder.join("outside.png"), "link.png");
        refused("link.png", "outside the notebook's folder");
        link(Path::new("/dev/zero"), "endless.png");
        refused("endless.png", "outside the notebook's folder");
        let made = std::process::Command::new("mkfifo")
            .arg(inside.join("pipe.png"))
            .status();
        if made.is_ok_and(|status| status.success()) {
            refused("pipe.png", "no regular file");
        }
    }
}

#[test]
fn nesting_ends_in_words() {
    let nested = |open: &str, close: &str, depth: usize| {
        format!("{}x{}", open.repeat(depth), close.repeat(depth))
    };
    for formula in [
        nested("\\frac{", "}{y}", 3000),
        nested("\\frac{", "}{y}", 200),
        nested("{", "}", 4000),
        nested("\\left(", "\\right)", 700),
        nested("a_{", "}", 60),
        format!("{}x", "\\sqrt".repeat(1900)),
    ] {
        let outcome = page_of(&json!([text_cell(&format!("$${formula}$$"))]));
        assert!(outcome.is_err(), "{}", &formula[..10]);
    }
    // Without their ends they are text, or no mathematics: neither ends the program.
    for formula in [
        "\\frac{".repeat(3000),
        "{".repeat(9000),
        "x^".repeat(4900),
        "\\left(".repeat(1600),
    ] {
        let outcome = page_of(&json!([text_cell(&format!("$${formula}$$"))]));
        assert!(
            outcome.is_ok_and(|page| dangers(&page).is_empty())
                || formula.starts_with('x')
                || formula.starts_with("\\left")
        );
    }
    for text in [
        ">".repeat(100_000),
        "- ".repeat(20_000),
        "[".repeat(50_000),
        "*a ".repeat(20_000),
        "<details>".repeat(20_000),
        "| a ".repeat(20_000),
        "![".repeat(20_000),
    ] {
        let page = page_of(&json!([text_cell(&text)]));
        assert!(page.is_ok_and(|page| dangers(&page).is_empty()));
    }
    let deep = format!(
        "<math>{}{}</math>",
        "<mrow>".repeat(100_000),
        "</mrow>".repeat(100_000)
    );
    shown("equation", &json!({"mathml": deep, "text": "deep"}));
}

#[test]
fn what_is_no_notebook_is_refused_in_words() {
    let parse = |text: &str| Notebook::parse(Path::new("a.ipynb"), text);
    for text in [
        "",
        "[]",
        "{}",
        "null",
        "{\"nbformat\": 4}",
        "{\"nbformat\": 4, \"cells\": 5}",
        "{\"nbformat\": 3, \"cells\": []}",
        "{\"nbformat\": 4, \"cells\": [1, null, []]}",
        &"[".repeat(100_000),
        "{\"nbformat\": 4, \"cells\": [{\"id\": 5}]}",
    ] {
        assert!(
            parse(text).is_err(),
            "{}",
            text.chars().take(40).collect::<String>()
        );
    }
    let twins = json!([text_cell("x"), text_cell("y")]);
    assert!(
        notebook(&twins)
            .unwrap_err()
            .contains("cells 1 and 2 have the same id \"a\"")
    );
    let mut cell = text_cell("x");
    cell["metadata"]["tags"] = json!(["worked-anser"]);
    let error = notebook(&json!([cell])).unwrap_err();
    assert!(
        error.contains("unknown tag \"worked-anser\"; the nearest is \"worked-answer\""),
        "{error}"
    );
}

#[test]
fn odd_cells_are_no_reason_to_stop() {
    let cells = json!([
        {"cell_type": "code", "id": "1", "outputs": 5, "source": {}, "metadata": []},
        {"cell_type": "code", "id": "2", "outputs": [1, null, [], {}, {"output_type": []}], "source": ["a", 5]},
        {"cell_type": "code", "id": "3", "outputs": [{"output_type": "error", "traceback": 5}]},
        {"cell_type": "code", "id": "4", "outputs": [{"output_type": "stream", "text": [[]]}]},
        {"cell_type": [], "id": "5"},
        {"id": "6"},
    ]);
    assert!(page_of(&cells).is_ok_and(|page| dangers(&page).is_empty()));
}

#[test]
fn a_source_that_is_hidden_in_jupyter_is_left_out() {
    let cell = |metadata: Value| {
        let cell = json!({"cell_type": "code", "metadata": metadata, "source": "let secret = 1;", "outputs": []});
        page_of(&json!([cell]))
    };
    for (metadata, shown) in [
        (json!({}), true),
        (json!({"jupyter": {"source_hidden": true}}), false),
        (json!({"jupyter": {"source_hidden": false}}), true),
        (json!({"jupyter": {"source_hidden": "true"}}), true),
        (json!({"jupyter": [true]}), true),
    ] {
        assert_eq!(cell(metadata).unwrap().contains("secret"), shown);
    }
    // Another tag than ours.
    assert!(cell(json!({"tags": ["hide-input"]})).is_err());
}

#[test]
fn nothing_is_hidden_from_a_reader() {
    let page = page("a\u{202e}b\u{1b}[2J\u{200b}");
    assert!(page.contains("\\u{202e}") && page.contains("\\u{1b}") && page.contains("\\u{200b}"));
    let page = page_of(&json!([{
        "cell_type": "code", "id": "b", "metadata": {}, "source": "x\u{202e}",
        "outputs": [{"output_type": "stream", "name": "stdout", "text": "\u{1b}[31m"},
            {"output_type": "error", "ename": "\u{2066}", "traceback": ["\u{1b}[0m"]}],
    }]))
    .unwrap();
    assert!(!page.contains(['\u{1b}', '\u{202e}', '\u{2066}']));
}
