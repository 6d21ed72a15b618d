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
stage "unit tests"
env -u CI cargo test --quiet --locked --profile kernel --package slewbook-kernel

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
stage "a Jupyter client, beside it the outcomes of failing notebooks"
"$python" notebooks/kernel/tests/client.py "$program" >"$target/client.log" 2>&1 &
client=$!
"$python" notebooks/kernel/tests/outcomes.py "$program"
wait "$client" || { cat "$target/client.log"; exit 1; }
tail -n 3 "$target/client.log"

stage "every notebook, run and verified"
"$program" verify notebooks/*.ipynb
stage "every notebook as a page"
for notebook in notebooks/*.ipynb; do
    "$program" export "$notebook" -o "$target/$(basename "$notebook" .ipynb).html"
done
stage "done"
