//! What a cell gave, as a notebook's file stores it.

use serde_json::{Map, Value, json};
use slewbook_reader::notebook::{is_json, lines};

use super::failure::Failure;
use super::session::{Bundle, Outcome};

/// A bundle as the `data` of an output.
pub fn data(bundle: &Bundle) -> Value {
    let entry = |(mime, content): &(String, String)| {
        let value = if is_json(mime) {
            serde_json::from_str(content).unwrap_or_else(|_| json!(content))
        } else {
            json!(content)
        };
        (mime.clone(), value)
    };
    Value::Object(bundle.iter().map(entry).collect::<Map<_, _>>())
}

/// A failure as an output of type `error`.
pub fn error(failure: &Failure) -> Value {
    json!({
        "ename": failure.kind.name(),
        "evalue": failure.message,
        "traceback": failure.report,
    })
}

/// A cell's outputs as the file stores them.
pub fn outputs(outcome: &Outcome, count: u64) -> Vec<Value> {
    let stream = |name: &str, text: &str| {
        (!text.is_empty())
            .then(|| json!({"name": name, "output_type": "stream", "text": lines(text)}))
    };
    let mut list: Vec<Value> = stream("stdout", &outcome.stdout)
        .into_iter()
        .chain(stream("stderr", &outcome.stderr))
        .collect();
    let last = outcome.bundles.len();
    for (index, bundle) in outcome.bundles.iter().enumerate() {
        let mut stored = data(bundle);
        for (mime, value) in stored.as_object_mut().into_iter().flatten() {
            if !is_json(mime)
                && let Some(text) = value.as_str()
            {
                *value = lines(text);
            }
        }
        list.push(if index + 1 == last {
            json!({
                "data": stored,
                "execution_count": count,
                "metadata": {},
                "output_type": "execute_result",
            })
        } else {
            json!({"data": stored, "metadata": {}, "output_type": "display_data"})
        });
    }
    if let Some(failure) = &outcome.failure {
        let mut error = error(failure);
        error["output_type"] = json!("error");
        list.push(error);
    }
    list
}
