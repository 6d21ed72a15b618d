#!/bin/sh
# A notebook in JupyterLab and as an exported page, in a headless Chromium: on
# demand, because it fetches JupyterLab. Run `sh notebooks/all.sh` before.
#
#   sh notebooks/browser.sh        leaves pictures and a PDF in target/browser
#
# Needs Debian's package chromium (/usr/bin/chromium) and Python 3.
set -eu
cd "$(dirname "$0")/.."
target="${CARGO_TARGET_DIR:-target}"
target="$(cd "$target" && pwd)"
export SLEWBOOK_CACHE="${SLEWBOOK_CACHE:-$target/cache}"
program="$target/kernel/slewbook-notebook"
python="$target/python/bin/python"
if ! [ -x /usr/bin/chromium ]; then
    echo "/usr/bin/chromium is missing: apt-get install chromium" >&2
    exit 1
fi
"$python" -m pip install --quiet "playwright>=1.50,<2"
mkdir -p "$target/browser"
"$program" export notebooks/01-inductance-limit.ipynb -o "$target/browser/page.html"
"$python" notebooks/kernel/tests/browser.py "$program" "$target/browser/page.html" "$target/browser"
