"""Processor time of whole commands, of the demonstration and of three specifications.

    cargo build --release
    python3 crate/benches/commands.py [target/release/slewbook] [--runs 3]

Prints for each the least of some runs: time in the program itself, all threads added up.
The clock on the wall is not looked at, so that other work on the machine matters less.
"""

import argparse
import pathlib
import resource
import subprocess
import sys
import tempfile

ROOT = pathlib.Path(__file__).resolve().parents[2]
SPECIFICATIONS = [
    ROOT / "crate/src/stage/demonstration.toml",
    ROOT / "tests/data/specifications/eight-levels.toml",
    ROOT / "tests/data/specifications/high-voltage-tables.toml",
    ROOT / "tests/data/specifications/six-uncertain.toml",
]
COMMANDS = {
    "cycle": ["cycle", "{spec}"],
    "timeline --until 20us": ["timeline", "{spec}", "--until", "20us", "-o", "{folder}/waves.csv"],
    "map --grid 2x2": ["map", "{spec}", "--grid", "2x2", "-o", "{folder}/map.csv"],
    "map --grid 200x200": ["map", "{spec}", "--grid", "200x200", "-o", "{folder}/map.csv"],
    "derive": ["derive", "{spec}"],
    "rationale": ["rationale", "{spec}", "-o", "{folder}/rationale"],
    "derive --bounds": ["derive", "{spec}", "--bounds"],
}


def user_seconds(command):
    """Processor time of one run; a run that fails ends the script with its message."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime
    done = subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    if done.returncode != 0:
        sys.exit(f"{' '.join(command)}: exit code {done.returncode}\n{done.stderr}")
    return resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime - before


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("program", nargs="?", default=str(ROOT / "target/release/slewbook"))
    parser.add_argument("--runs", type=int, default=3, help="runs of each; 3 unless given")
    arguments = parser.parse_args()
    if not pathlib.Path(arguments.program).is_file():
        sys.exit(f"{arguments.program}: no such program; build it with `cargo build --release`")
    if arguments.runs < 1:
        sys.exit(f"--runs {arguments.runs}: expected one run or more")
    print("processor seconds, the least of", arguments.runs)
    print(f"{'':24}" + "".join(f"{path.stem:>22}" for path in SPECIFICATIONS))
    with tempfile.TemporaryDirectory() as folder:
        for name, template in COMMANDS.items():
            print(f"{name:24}", end="", flush=True)
            for specification in SPECIFICATIONS:
                filled = [part.format(spec=specification, folder=folder) for part in template]
                command = [arguments.program, *filled]
                # Bounds take long enough for one run to tell.
                runs = 1 if "--bounds" in template else arguments.runs
                least = min(user_seconds(command) for _ in range(runs))
                print(f"{least:22.3f}", end="", flush=True)
            print()


if __name__ == "__main__":
    main()
