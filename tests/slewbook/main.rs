//! Tests of the library and the program, one module per subject.
#![allow(non_snake_case, reason = "tests bind the symbols of the equations")]
#![allow(
    clippy::format_collect,
    clippy::struct_field_names,
    clippy::type_complexity,
    clippy::case_sensitive_file_extension_comparisons,
    clippy::duration_suboptimal_units,
    clippy::needless_for_each,
    reason = "tests favour a table that reads like one"
)]

mod answers;
mod bounds;
mod brief;
mod catalogue;
mod cautions;
mod changes;
mod check_figures;
mod columns;
mod commands;
mod comparison;
mod compile_fail;
mod core_loss;
mod correlations;
mod document;
mod figures;
mod fits;
mod formula_index;
#[cfg(feature = "frames")]
mod frames;
mod gradient_numbers;
mod guarantees;
mod hostile;
mod in_force;
mod independent;
mod input_hash;
mod interval_numbers;
mod latex;
mod laws;
mod loss;
mod loss_formulas;
mod loss_marched;
mod loss_model;
mod malformed;
mod mutated_tables;
mod mutations;
mod numbers;
mod outputs;
mod points;
mod program;
mod published;
mod quantities;
mod quick_cell;
mod reading;
mod recordings;
mod references;
mod rendering;
mod ripple;
mod ripple_balance;
mod running_cell;
mod searches;
mod settings;
mod spread;
mod steady_commands;
mod steady_laws;
mod steady_limits;
mod steady_map;
mod steady_paths;
mod steady_random;
mod steady_reference;
mod steady_stage;
mod support;
mod tables;
mod timeline;
mod timeline_commands;
mod uncertain_inputs;
mod uncertainty;
mod uncertainty_numbers;
mod unseen;
mod verdicts;
mod verify;
mod window;
