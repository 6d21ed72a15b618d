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
cargo build --quiet --locked --profile kernel --package slewbook-kernel
stage "unit tests"
cargo test --quiet --locked --profile kernel --package slewbook-kernel

if ! "$program" check-setup | grep -q '^ok  *standard library sources'; then
    "$program" check-setup || true
    echo "skipped: without the standard library's sources no notebook runs"
    if [ "${CI:-}" = true ]; then exit 1; fi
    exit 0
fi

stage "environment for the tests"
if [ ! -x "$python" ]; then
    python3 -m venv "$target/python"
    "$python" -m pip install --quiet jupyter_client nbformat
fi

stage "build folder of notebooks"
"$program" install --into "$target/python/share/jupyter"

stage "outcomes of failing notebooks"
"$python" notebooks/kernel/tests/outcomes.py "$program"
stage "a Jupyter client"
"$python" notebooks/kernel/tests/client.py "$program"
stage "every notebook, run and verified"
"$program" verify notebooks/*.ipynb
stage "every notebook as a page"
for notebook in notebooks/*.ipynb; do
    "$program" export "$notebook" -o "$target/$(basename "$notebook" .ipynb).html"
done
stage "done"
