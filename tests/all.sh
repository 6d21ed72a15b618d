#!/bin/sh
# Every check of the project, stage by stage, each with its time.
#
# A missing tool is a printed skip, and a failure where CI=true.
set -eu
cd "$(dirname "$0")/.."
export CARGO_TERM_COLOR=never
# The random tests take the same cases every time; another seed takes others.
export PROPTEST_RNG_SEED="${PROPTEST_RNG_SEED:-20261125}"

stage() {
    name=$1
    shift
    printf '== %s\n' "$name"
    start=$(date +%s)
    "$@" || { printf '== %s FAILED\n' "$name"; exit 1; }
    printf '== %s: %s s\n' "$name" "$(($(date +%s) - start))"
}

# skip NAME WHY: a stage that a missing tool keeps from running.
skip() {
    printf '== %s SKIPPED: %s\n' "$1" "$2"
    if [ "${CI:-}" = true ]; then exit 1; fi
}

documentation() {
    RUSTDOCFLAGS="-D warnings" cargo doc --quiet --locked --no-deps
}

if cargo fmt --version >/dev/null 2>&1; then
    stage format cargo fmt --all --check
else
    skip format "rustfmt is not installed (rustup component add rustfmt)"
fi
if cargo clippy --version >/dev/null 2>&1; then
    # Another user of uom may switch on single precision: the library compiles with it.
    stage lints cargo clippy --quiet --locked --all-targets --features uom-si,uom/f32 -- -D warnings
else
    skip lints "clippy is not installed (rustup component add clippy)"
fi
stage documentation documentation
# With the optional feature that is quick to build; the stage above builds without it.
stage "library and program" cargo test --quiet --locked --features uom-si
# The independent reading of every formula, from the JSON that the library's tests wrote.
reading() {
    [ -x target/sympy/bin/python ] || python3 -m venv target/sympy
    target/sympy/bin/pip install --quiet --requirement tests/requirements.txt
    target/sympy/bin/python tests/sympy/read_formulas.py "${CARGO_TARGET_DIR:-target}/tmp/formulas.json"
}

if command -v python3 >/dev/null 2>&1; then
    stage "formulas read by SymPy" reading
    stage licences python3 tests/licences.py
else
    skip "formulas read by SymPy" "python3 is not installed"
    skip licences "python3 is not installed"
fi
# The notebook kernel is a large build: without Python its tests cannot drive it either.
if command -v python3 >/dev/null 2>&1; then
    stage notebooks sh notebooks/all.sh
else
    skip notebooks "python3 is not installed"
fi

printf 'all stages passed\n'
