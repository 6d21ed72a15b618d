#!/bin/sh
# The kernel, the runner and the notebooks, driven as a person drives them.
#
#   sh notebooks/all.sh            build, test, run and verify every notebook
#
# Needs cargo, Python 3 with venv, and the sources of Rust's standard library
# (`slewbook-notebook check-setup` says which it finds). The Python packages of
# the tests are kept in target/python. A missing tool is a printed skip, and a
# failure when CI=true.
set -eu
cd "$(dirname "$0")/.."
target="${CARGO_TARGET_DIR:-target}"
mkdir -p "$target"
target="$(cd "$target" && pwd)"
export SLEWBOOK_CACHE="${SLEWBOOK_CACHE:-$target/cache}"
program="$target/kernel/slewbook-notebook"
python="$target/python/bin/python"
began=$(date +%s)

stage() {
    now=$(date +%s)
    printf '== %s (%s s so far)\n' "$1" "$((now - began))"
}

stage "build the kernel"
# A crate of the engine reads CI: with and without it are two long builds.
env -u CI cargo build --quiet --locked --profile kernel --package slewbook-kernel
stage "lints of what needs no engine"
cargo clippy --quiet --locked --package slewbook-reader --all-targets -- --deny warnings
stage "unit tests"
env -u CI cargo test --quiet --locked --profile kernel --package slewbook-kernel --package slewbook-reader

if ! "$program" check-setup | grep -q '^ok  *standard library sources'; then
    "$program" check-setup || true
    echo "skipped: without the standard library's sources no notebook runs"
    if [ "${CI:-}" = true ]; then exit 1; fi
    exit 0
fi

stage "environment for the tests"
[ -x "$python" ] || python3 -m venv "$target/python"
"$python" -m pip install --quiet --requirement notebooks/kernel/tests/requirements.txt

stage "build folder of notebooks"
"$program" install --into "$target/python/share/jupyter"

# Beside each other: each session mostly uses one core.
beside() {
    name="$1"
    shift
    "$python" "notebooks/kernel/tests/$name.py" "$program" >"$target/$name.log" 2>&1 &
    process=$!
    for other in "$@"; do
        "$python" "notebooks/kernel/tests/$other.py" "$program"
    done
    wait "$process" || { cat "$target/$name.log"; exit 1; }
    tail -n 3 "$target/$name.log"
}
stage "a Jupyter client, beside it the outcomes of failing notebooks"
beside client outcomes
stage "an installed kernel, beside it hostile notebooks"
beside installed hostile

stage "every notebook, run and verified"
"$program" verify notebooks/*.ipynb
stage "every notebook as a page"
for notebook in notebooks/*.ipynb; do
    "$program" export "$notebook" -o "$target/$(basename "$notebook" .ipynb).html"
done
stage "done"
