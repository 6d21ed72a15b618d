//! Several results in one.

use serde_json::{Value, json};

use super::{Bundle, Show};

/// Several results shown by one cell, in order.
///
/// ```
/// use slewbook::display::{Check, Doc, Show};
/// use slewbook::quantity::unit::volt;
/// let doc = Doc::new()
///     .text("The rating:")
///     .show(&Check::at_most("clamp voltage", 32.0 * volt, 40.0 * volt));
/// assert!(doc.bundle().plain.ends_with("PASS: clamp voltage: 32 V is at most 40 V"));
/// ```
#[derive(Clone, Debug, Default)]
pub struct Doc {
    items: Vec<Bundle>,
}

impl Doc {
    /// Nothing yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// The same with a paragraph (markdown) added.
    #[must_use]
    pub fn text(mut self, text: &str) -> Self {
        self.items.push(Bundle {
            thing: "text",
            data: json!({"markdown": text}),
            plain: text.to_owned(),
            markdown: text.to_owned(),
            special: None,
        });
        self
    }

    /// The same with a result added.
    #[must_use]
    pub fn show(mut self, item: &impl Show) -> Self {
        self.items.push(item.bundle());
        self
    }
}

impl Show for Doc {
    fn bundle(&self) -> Bundle {
        let join = |part: fn(&Bundle) -> &str| -> String {
            let parts: Vec<&str> = self
                .items
                .iter()
                .map(|item| part(item).trim_end())
                .collect();
            parts.join("\n\n")
        };
        let items: Vec<Value> = self
            .items
            .iter()
            .map(|item| json!({"thing": item.thing, "data": item.data}))
            .collect();
        Bundle {
            thing: "document",
            data: json!({"items": items}),
            plain: join(|item| &item.plain),
            markdown: join(|item| &item.markdown),
            special: None,
        }
    }
}
