//! How results show themselves in a notebook.
//!
//! The last expression of a cell is shown through its method `evcxr_display`,
//! which prints the same result in several MIME types: the front end takes the
//! richest it trusts. Mathematics goes out as LaTeX and figures as images with
//! a text alternative, since MathML and inline SVG do not survive the
//! sanitising of notebooks from elsewhere. Each bundle also carries the result
//! as data, `application/vnd.slewbook.<thing>.v1+json`: reports are made from
//! it, and a stored notebook is verified against it.

mod base64;
mod check;
mod derivation;
mod doc;
mod figure;
mod table;

pub use base64::base64;
pub use check::Check;
pub use doc::Doc;
pub use table::Table;

use std::fmt::Write as _;
use std::fs::File;
use std::io::Write as _;

use serde_json::{Value, json};

use crate::equation::{Derivation, Record, Term};
use crate::figure::LineFigure;
use crate::quantity::system::{Dimension, Quantity};
use crate::quantity::{BaseUnits, DIGITS, Dimensioned, Exponents, print_value};
use crate::visible::{escaped, visible, visible_json};

/// The names that a notebook needs in scope to write down the types of quantities.
///
/// Only those: all of typenum would take names that people give to variables.
pub mod names {
    pub use crate::quantity::system::{Dimension, Q, Quantity, Units};
    pub use uom::Kind;
    pub use uom::typenum::{B0, B1, NInt, PInt, UInt, UTerm, Z0};
}

/// One result in several MIME types.
#[derive(Clone, Debug, PartialEq)]
pub struct Bundle {
    /// What it is: the `<thing>` of its data's MIME type.
    pub thing: &'static str,
    /// As data.
    pub data: Value,
    /// As plain text.
    pub plain: String,
    /// As markdown, for documents that hold it among others.
    pub markdown: String,
    /// As one more type, such as `text/latex`, where that is what front ends show best.
    pub special: Option<(&'static str, String)>,
}

/// The lines by which the engine finds what a cell displays.
const BEGIN: &str = "EVCXR_BEGIN_CONTENT";
const END: &str = "EVCXR_END_CONTENT";

/// The variable that names our own kernel's channel for displays: a pipe that
/// takes one JSON object a line.
const CHANNEL: &str = "SLEWBOOK_DISPLAY";

impl Bundle {
    /// The bundle as the engine reads it from standard output.
    ///
    /// ```
    /// use slewbook::display::Show;
    /// use slewbook::quantity::unit::volt;
    /// let text = (36.0 * volt).bundle().protocol();
    /// assert!(text.contains("EVCXR_BEGIN_CONTENT text/plain\n36 V\nEVCXR_END_CONTENT\n"));
    /// ```
    #[must_use]
    pub fn protocol(&self) -> String {
        let mut text = String::new();
        for (mime, content) in self.contents() {
            // A line that looks like the end must not be one.
            let content = content.replace(END, "EVCXR END CONTENT");
            let _ = write!(text, "{BEGIN} {mime}\n{content}\n{END}\n");
        }
        text
    }

    /// The content of each MIME type, with nothing in it hidden.
    fn contents(&self) -> [(String, String); 3] {
        let (mime, content) = match &self.special {
            Some((mime, content)) => (*mime, content),
            None => ("text/markdown", &self.markdown),
        };
        [
            (
                format!("application/vnd.slewbook.{}.v1+json", self.thing),
                visible_json(&self.data.to_string()).into_owned(),
            ),
            (
                "text/plain".to_owned(),
                visible(self.plain.trim_end()).into_owned(),
            ),
            (mime.to_owned(), visible(content.trim_end()).into_owned()),
        ]
    }

    /// Shows the bundle in the notebook whose cell is running: by the channel of
    /// our own kernel, or on standard output, where other kernels look for it.
    fn print(&self) {
        let Some(channel) = std::env::var_os(CHANNEL) else {
            print!("{}", self.protocol());
            return;
        };
        let frame = format!("{}\n", json!({ "display": self.contents() }));
        let sent = File::options()
            .write(true)
            .open(channel)
            .and_then(|mut channel| channel.write_all(frame.as_bytes()));
        // A result that nobody sees is no result.
        if let Err(error) = sent {
            panic!("the result cannot be shown: {error}");
        }
    }
}

/// A result that a notebook can show.
pub trait Show {
    /// The result in several MIME types.
    fn bundle(&self) -> Bundle;
}

macro_rules! displayed {
    ($([$($generics:tt)*] $type:ty;)+) => {
        $(
            impl<$($generics)*> $type {
                /// Shows the value in a notebook: called by the engine for the last
                /// expression of a cell.
                pub fn evcxr_display(&self) {
                    self.bundle().print();
                }
            }
        )+
    };
}

displayed! {
    [Q: Dimensioned] Term<Q>;
    [Q: Dimensioned] Derivation<Q>;
    [] Record;
    [] Check;
    [] LineFigure;
    [] Table;
    [] Doc;
}

impl<D: Dimension + ?Sized> Quantity<D, BaseUnits, f64>
where
    Self: Dimensioned,
{
    /// Shows the value in a notebook: called by the engine for the last
    /// expression of a cell.
    pub fn evcxr_display(&self) {
        self.bundle().print();
    }
}

/// A value as data: number, coherent unit, and as printed.
fn value_data(value: f64, exponents: Exponents, text: &str) -> Value {
    json!({"value": value, "unit": exponents.to_string(), "text": text})
}

// What is generic is compiled again in every cell that shows it: it hands over
// to a function that is not.

impl<D: Dimension + ?Sized> Show for Quantity<D, BaseUnits, f64>
where
    Self: Dimensioned,
{
    fn bundle(&self) -> Bundle {
        quantity(self.coherent(), Self::EXPONENTS)
    }
}

fn quantity(value: f64, exponents: Exponents) -> Bundle {
    let plain = print_value(value, exponents, DIGITS);
    Bundle {
        thing: "quantity",
        data: value_data(value, exponents, &plain),
        markdown: plain.clone(),
        special: Some(("text/html", format!("<span>{}</span>", escaped(&plain)))),
        plain,
    }
}

impl<Q: Dimensioned> Show for Term<Q> {
    /// The equation; its value, where it has one, is part of the data.
    fn bundle(&self) -> Bundle {
        let value = self.value().ok().map(Dimensioned::coherent);
        equation(
            &self.text(),
            &self.latex(),
            &self.mathml(),
            value,
            Q::EXPONENTS,
        )
    }
}

fn equation(
    text: &str,
    latex: &str,
    mathml: &str,
    value: Option<f64>,
    exponents: Exponents,
) -> Bundle {
    let mut data = json!({
        "name": text.split(" = ").next().unwrap_or_default(),
        "text": text,
        "latex": latex,
        "mathml": mathml,
    });
    if let Some(value) = value {
        data["result"] = value_data(value, exponents, &print_value(value, exponents, DIGITS));
    }
    let display = format!("$${latex}$$");
    Bundle {
        thing: "equation",
        data,
        plain: text.to_owned(),
        markdown: display.clone(),
        special: Some(("text/latex", display)),
    }
}

impl<Q: Dimensioned> Show for Derivation<Q> {
    fn bundle(&self) -> Bundle {
        Record::bundle(self)
    }
}
