//! What the program says of itself.

/// Each command with its help.
const COMMANDS: [(&str, &str); 14] = [
    (
        "rationale",
        "  slewbook rationale [SPEC] [-o DIR] [--bounds] [--require-met]
                                           the rationale of a specification, as DIR/rationale.html
",
    ),
    (
        "brief",
        "  slewbook brief SPEC [--json] [--require-met]
                                           what to set and within which limits, and the smallest
                                           change of one value that mends a requirement not met
",
    ),
    (
        "derive",
        "  slewbook derive SPEC [--json | --latex] [--bounds] [--require-met]
                                           the derivations with their results, as text, JSON or LaTeX
",
    ),
    (
        "cycle",
        "  slewbook cycle SPEC [--input-voltage 44V] [--output-voltage 6V] [--output-current 6A]
                 [--scheme NAME] [--ripple] [--json] [-o FIGURE.svg] [--phase-plane FIGURE.svg]
                 [--width 88mm|180mm] [--require-met]
                                           one cell in steady state at a point; its waveforms and its
                                           edges in the phase plane as figures; with --ripple, the
                                           flying capacitors' ripple in it
",
    ),
    (
        "timeline",
        "  slewbook timeline SPEC [--until 2ms] [--load-step '1 A, 6 A, 1 ms'] [--input-step '36 V, 44 V, 1 ms']
                    [--start-up '0 V'] [--disturb '1, -2 V, 1 ms'] [--duty 18%] [--spacing 50ns]
                    [--input-voltage 44V] [--output-voltage 6V] [--output-current 6A]
                    [--scheme NAME] [--json] -o WAVES.csv
                                           the stage with its control, from event to event: waveforms with
                                           gates and events, and a summary; --start-up with that
                                           output voltage and empty flying capacitors, --disturb changes
                                           the voltage of one of them, --duty leaves out the voltage loop
",
    ),
    (
        "map",
        "  slewbook map SPEC [--x input-voltage] [--x-range '30 V, 44 V'] [--y output-current]
               [--y-range '0.3 A, 6 A'] [--grid 200x200] [--scheme NAME] [--input-voltage 44V]
               [--output-voltage 6V] [--output-current 6A]
               [--samples 1000 --seed 1 | --corners] -o MAP.csv [--figure MAP.svg [--width 88mm|180mm]]
                                           where zero-voltage switching holds, and for which share of
                                           units within tolerance; -o MAP.parquet where built with frames
",
    ),
    (
        "compare",
        "  slewbook compare SPEC [--input-voltage 44V] [--output-voltage 6V] [--output-current 6A]
                   [--json] [-o DIR]       schemes side by side: losses, efficiencies, where the clamp
                                           pays; where -o is given, figures as DIR/*.svg and losses as
                                           DIR/*.csv, and as DIR/*.parquet where built with frames
",
    ),
    (
        "changes",
        "  slewbook changes OLD NEW [--json] [-o PAGE.html]
                                           what differs between two specifications: inputs, verdicts,
                                           results with the significance of their difference; -o as HTML
",
    ),
    (
        "verify",
        "  slewbook verify FILE [--json]            computes a document again from the specification in it, and
                                           names what differs; FILE as `rationale` or `derive --json` wrote
                                           it, `-` standard input
",
    ),
    (
        "recording",
        "  slewbook recording FILE [--json] [--separator comma|semicolon|tab|space] [--decimal point|comma]
                     [--first-line 12] [--channels 2] [--interval 4ns] [--start=-1ms]
                                           what is understood of a record of an oscilloscope or logger:
                                           how it is written, columns, units, sample interval, length,
                                           gaps, clipping, steps; what is not found can be stated:
                                           --channels in turn in one column, --start of index zero
",
    ),
    (
        "core-loss",
        "  slewbook core-loss TABLE.csv [--triangles] [--peak-to-peak] [--json]
                                           Steinmetz's constants from measured losses, with their
                                           uncertainties: columns of frequency, flux density and loss
                                           density, known by their units; amplitudes of sinusoids
                                           unless said otherwise
",
    ),
    (
        "example",
        "  slewbook example [parts]                 the demonstration's specification, to start from; with
                                           `parts`, invented parts for it
",
    ),
    (
        "version",
        "  slewbook version                         version, commit, Cargo.lock, compiler and machine
",
    ),
    (
        "help",
        "  slewbook help [COMMAND]                  this help, or that of one command; COMMAND --help too
",
    ),
];

const HEAD: &str = "\
slewbook: design rationale of soft-switched DC-DC converters, computed from its equations

  slewbook                                 the rationale of the built-in, invented demonstration
";

/// What holds for every command.
const COMMON: &str = "
  SPEC is a TOML file, `-` standard input; DIR is `rationale` unless given. --output is -o.
  --version is `version`.

  --set 'stage.inductance=0.81 uH', wherever a SPEC is read and as often as needed, gives a key
  of it another value.
  --input-voltage, --output-voltage, --output-current: the point; nominal voltages and maximum
  current unless given.
  --bounds computes guaranteed bounds of every result over the ranges and tolerances, which takes
  half a minute; without it only those of formulas that need no iteration.
  --require-met: exit code 3 unless every requirement is met.

  Exit codes: 0 done (a verdict `not met` too), 2 wrong command line, input or file,
  1 failed otherwise, 3 done, and a requirement is other than met though --require-met asks for it,
  or a document differs from what is computed again.
";

/// The names of the commands, as an enumeration.
pub fn names() -> String {
    let [names @ .., last] = &COMMANDS.map(|(name, _)| name);
    format!("{} and {last}", names.join(", "))
}

/// The help of the program.
pub fn all() -> String {
    let commands: String = COMMANDS.iter().map(|(_, text)| *text).collect();
    format!("{HEAD}{commands}{COMMON}")
}

/// The help of a command; none where there is no such command.
pub fn of(command: Option<&str>) -> Option<String> {
    let (_, text) = COMMANDS.iter().find(|(name, _)| Some(*name) == command)?;
    Some(format!("{text}{COMMON}"))
}
