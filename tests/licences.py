"""Licences of every package in Cargo.lock, without a network.

The lock file says where each package comes from and its checksum; the packages' own
manifests, which cargo has at hand after a build, say under which licence it may be used.
Each alternative of a licence expression is tried: one whose parts are all on the list is
enough. A package that is withdrawn, no longer maintained or has an advisory cannot be known
offline, and is not looked for.
"""

import json
import re
import subprocess
import sys
import tomllib
from pathlib import Path

REGISTRY = "registry+https://github.com/rust-lang/crates.io-index"

# Permissive: use, change and distribution, with the notice kept.
PERMISSIVE = {
    "0BSD", "Apache-2.0", "Apache-2.0 WITH LLVM-exception", "BSD-2-Clause", "BSD-3-Clause",
    "BSL-1.0", "CC0-1.0", "ISC", "MIT", "MIT-0", "Unicode-3.0", "Unlicense", "Zlib",
}

# Licences that ask for more, package by package, with what they ask.
KNOWN = {
    ("option-ext", "MPL-2.0"): "changes to its own files are published; the package is unchanged",
}


def parts(expression):
    """Words of an SPDX expression; a slash is the older way to write OR."""
    expression = re.sub(r"\s*/\s*", " OR ", expression)
    return re.findall(r"[()]|AND|OR|[\w.+-]+(?:\s+WITH\s+[\w.+-]+)?", expression)


def allowed(words, accept):
    """Whether an expression can be met; reads `words` from the front."""
    def term():
        word = words.pop(0)
        if word != "(":
            return accept(word)
        met = alternatives()
        words.pop(0)
        return met

    def conjunction():
        met = term()
        while words and words[0] == "AND":
            words.pop(0)
            met = term() and met
        return met

    def alternatives():
        met = conjunction()
        while words and words[0] == "OR":
            words.pop(0)
            met = conjunction() or met
        return met

    return alternatives()


def problems_of(package):
    name, licence = package["name"], package["license"]
    if not licence:
        return ["states no licence"]
    if not allowed(parts(licence), lambda own: own in PERMISSIVE or (name, own) in KNOWN):
        return [f"has the licence {licence}, which is not on the list in tests/licences.py"]
    return []


def main():
    root = Path(__file__).resolve().parent.parent
    command = ["cargo", "metadata", "--format-version", "1", "--locked", "--all-features"]
    answer = subprocess.run(command + ["--offline"], cwd=root, capture_output=True)
    if answer.returncode:
        # A package that no build has needed yet, such as one for another system.
        answer = subprocess.run(command, cwd=root, capture_output=True)
    if answer.returncode:
        print(answer.stderr.decode(errors="replace"), file=sys.stderr)
        return 1
    found = {(p["name"], p["version"]): p for p in json.loads(answer.stdout)["packages"]}
    wrong, outside = [], 0
    for own in tomllib.loads((root / "Cargo.lock").read_text())["package"]:
        name = f"{own['name']} {own['version']}"
        package = found.get((own["name"], own["version"]))
        if package is None:
            wrong.append(f"{name}: cargo does not know it")
            continue
        wrong += [f"{name}: {problem}" for problem in problems_of(package)]
        if "source" not in own:
            continue
        outside += 1
        if own["source"] != REGISTRY:
            wrong.append(f"{name}: comes from {own['source']}, not from the registry")
        if "checksum" not in own:
            wrong.append(f"{name}: has no checksum")
    for line in wrong:
        print(line, file=sys.stderr)
    print(
        f"{outside} packages of Cargo.lock: source, checksum and licence looked at, {len(wrong)} "
        "problems; not looked at, since no data for it are here: withdrawn or unmaintained "
        "packages, advisories"
    )
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
