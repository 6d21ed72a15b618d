"""How long a person waits for a notebook, and what a running kernel needs.

Usage: target/python/bin/python notebooks/times.py [--first] [--stock EVCXR_JUPYTER]

Run `sh notebooks/all.sh` before: it builds the program and the environment.
--first   also measures an installation into an empty cache and the first start after it
--stock   also measures the plain way: the stock Rust kernel (`cargo install evcxr_jupyter`),
          the library and uom with its `si` feature by `:dep` in the first cell

Times depend on the machine and on what else it does; nothing here is a test.
"""

import argparse
import json
import os
import re
import statistics
import subprocess
import sys
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path

from jupyter_client.kernelspec import KernelSpecManager
from jupyter_client.manager import KernelManager

ROOT = Path(__file__).resolve().parent.parent
TARGET = Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target")).resolve()
PROGRAM = TARGET / "kernel" / "slewbook-notebook"
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))

EQUATION = """\
let a = Term::input("a", "step", 16.0 * volt);
let Z = Term::input("Z", "characteristic impedance", 33.7 * ohm);
let floor = (a / Z).named("I_min", "freewheel floor");
floor"""

STOCK_FIRST = f"""\
:dep uom = {{ version = "0.38" }}
:dep slewbook = {{ path = "{ROOT}", default-features = false, features = ["uom-si"] }}
use slewbook::equation::*; use slewbook::quantity::*; use slewbook::quantity::unit::*;
use slewbook::display::names::*;"""
STOCK_EQUATION = EQUATION.rsplit("\n", 1)[0] + '\nprintln!("{}", floor.latex());'


def main():
    options = argparse.ArgumentParser()
    options.add_argument("--first", action="store_true")
    options.add_argument("--stock", type=Path)
    options = options.parse_args()
    cache = os.environ.setdefault("SLEWBOOK_CACHE", str(TARGET / "cache"))
    data = tempfile.mkdtemp()
    subprocess.run([PROGRAM, "install", "--into", data], check=True, stdout=subprocess.DEVNULL)
    if options.first:
        with tempfile.TemporaryDirectory() as empty:
            os.environ["SLEWBOOK_CACHE"] = empty
            began = time.monotonic()
            command = [PROGRAM, "install", "--into", data]
            subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
            line("installation into an empty cache", time.monotonic() - began)
            seconds, _ = first_equation(data, "slewbook", [EQUATION])
            line("first start after it, to the first equation", seconds)
            os.environ["SLEWBOOK_CACHE"] = cache
    warm = [first_equation(data, "slewbook", [EQUATION]) for _ in range(3)]
    line("kernel start to the first equation (median of 3)", statistics.median(s for s, _ in warm))
    print(f"{'memory of the kernel and its processes':55} {max(m for _, m in warm):8.0f} MB")
    whole = sum(run(notebook) for notebook in NOTEBOOKS)
    line(f"the {len(NOTEBOOKS)} notebooks without a front end, one by one", whole)
    cells = [seconds for notebook in NOTEBOOKS for seconds in cell_times(data, notebook)]
    line(f"median of their {len(cells)} cells", statistics.median(cells))
    line("slowest of them", max(cells))
    if options.stock:
        measure_stock(options.stock.resolve())


def line(words, seconds):
    print(f"{words:55} {seconds:8.2f} s", flush=True)


@contextmanager
def kernel(data, name, cwd=None):
    """The client of a kernel that has been started and not waited for."""
    specs = KernelSpecManager(kernel_dirs=[os.path.join(data, "kernels")])
    manager = KernelManager(kernel_name=name, kernel_spec_manager=specs)
    manager.start_kernel(stderr=subprocess.DEVNULL, cwd=cwd)
    client = manager.client()
    client.start_channels()
    client.process = manager.provisioner.process.pid
    try:
        client.wait_for_ready(timeout=600)
        yield client
    finally:
        client.stop_channels()
        manager.shutdown_kernel(now=True)


def execute(client, source, fails=False):
    reply = client.execute_interactive(source, timeout=900, output_hook=lambda message: None)["content"]
    if (reply["status"] != "ok") != fails:
        sys.exit(f"a cell ended otherwise than it should: {reply}")


def first_equation(data, name, cells):
    """Seconds from the start of a kernel to the last cell's result, and megabytes."""
    began = time.monotonic()
    with kernel(data, name) as client:
        for source in cells:
            execute(client, source)
        return time.monotonic() - began, megabytes(client.process)


def megabytes(root):
    """Resident memory of a process and all below it (Linux)."""
    parents, sizes = {}, {}
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            text = (folder / "status").read_text()
        except OSError:
            continue
        pid = int(folder.name)
        parents[pid] = int(re.search(r"PPid:\s+(\d+)", text)[1])
        found = re.search(r"VmRSS:\s+(\d+)", text)
        sizes[pid] = int(found[1]) / 1024 if found else 0
    family, size = {root}, len(parents)
    for _ in range(size):
        more = {pid for pid, parent in parents.items() if parent in family} - family
        if not more:
            break
        family |= more
    return sum(sizes.get(pid, 0) for pid in family)


def run(notebook):
    """Seconds for a notebook run without a front end, from nothing."""
    with tempfile.TemporaryDirectory() as folder:
        began = time.monotonic()
        command = [PROGRAM, "run", notebook, "-o", Path(folder) / "executed.ipynb"]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        return time.monotonic() - began


def cell_times(data, notebook):
    """Seconds for each cell, from its sending to its answer in a client."""
    times = []
    with kernel(data, "slewbook", cwd=notebook.parent) as client:
        execute(client, "0")
        for cell in json.loads(notebook.read_text())["cells"]:
            if cell["cell_type"] == "code":
                began = time.monotonic()
                fails = "raises-exception" in cell["metadata"].get("tags", [])
                execute(client, "".join(cell["source"]), fails)
                times.append(time.monotonic() - began)
    return times


def measure_stock(program):
    with tempfile.TemporaryDirectory() as home:
        os.environ.update(EVCXR_CONFIG_DIR=home, JUPYTER_DATA_DIR=home, JUPYTER_PATH=home)
        subprocess.run([program, "--install"], check=True, stdout=subprocess.DEVNULL)
        for turn in ("first start", "a later start"):
            seconds, _ = first_equation(home, "rust", [STOCK_FIRST, STOCK_EQUATION])
            line(f"stock kernel, {turn}, to the equation's LaTeX", seconds)


if __name__ == "__main__":
    main()
