"""The headless runner on notebooks that fail, each with its exact outcome.

Usage: python outcomes.py PROGRAM   (needs nbformat; see ../../all.sh)
"""

import json
import os
import subprocess
import sys
import tempfile
import unittest
from pathlib import Path

import nbformat
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

PROGRAM = Path(sys.argv.pop(1)).resolve()


def cell(source, *tags):
    return new_code_cell(source, metadata={"tags": list(tags)} if tags else {})


class Outcomes(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.folder = Path(folder.name)

    def write(self, *cells, metadata=None):
        path = self.folder / "a.ipynb"
        nbformat.write(new_notebook(cells=list(cells), metadata=metadata or {}), path)
        return path

    def call(self, *arguments, **environment):
        return subprocess.run(
            [PROGRAM, *map(str, arguments)],
            capture_output=True,
            text=True,
            timeout=400,
            env={**os.environ, **environment},
        )

    def run_cells(self, *cells, options=(), code=None, metadata=None):
        """Runs the cells to a file; gives the process and the executed notebook."""
        path = self.write(*cells, metadata=metadata)
        done = self.call("run", path, "-o", self.folder / "b.ipynb", *options)
        if code is not None:
            self.assertEqual(done.returncode, code, done.stderr)
        executed = None
        if (self.folder / "b.ipynb").exists():
            executed = nbformat.read(self.folder / "b.ipynb", as_version=4)
            nbformat.validate(executed)
        return done, executed

    def test_panic_and_what_follows(self):
        done, executed = self.run_cells(
            cell("let x: Vec<f64> = vec![1.0];\nlet y = x[5];"), cell("1 + 1"), code=1
        )
        self.assertIn("cell 1, line 2: panic: index out of bounds", done.stderr)
        self.assertEqual(executed.cells[0].outputs[-1].ename, "panic")
        self.assertEqual(executed.cells[1].outputs, [], "the run stops at the first failure")

    def test_question_mark(self):
        done, _ = self.run_cells(cell('let a = 1.0;\nlet b: f64 = "abc".parse()?;'), code=1)
        self.assertIn("cell 1, line 2: error: invalid float literal", done.stderr)

    def test_does_not_compile_with_letters_beyond_ascii(self):
        done, _ = self.run_cells(
            cell("let ω = 2.0;"), cell('let t = "5 µs into 3 Ω";\nlet b: f64 = t;'), code=1
        )
        self.assertIn("cell 2, line 2: does not compile: mismatched types", done.stderr)
        self.assertIn("let b: f64 = t;", done.stderr)

    def test_unlike_quantities_are_named(self):
        done, _ = self.run_cells(cell("36.0 * volt + 6.0 * ampere"), code=1)
        self.assertIn("cell 1, line 1: does not compile", done.stderr)
        self.assertIn("only like quantities can be added", done.stderr)

    def test_unlike_quantities_given_to_a_function_are_named(self):
        done, _ = self.run_cells(
            cell("fn both(a: Voltage, b: Voltage) -> Voltage { a + b }"),
            cell("both(1.0 * volt, 1.0 * ampere)"),
            code=1,
        )
        self.assertIn("cell 2, line 1: does not compile: mismatched types", done.stderr)
        self.assertIn("different quantities", done.stderr)

    def test_two_equations_in_one_cell(self):
        _, executed = self.run_cells(
            cell(
                'let L = Term::input("L", "inductance", 0.68 * uH);\n'
                'let C = Term::input("C", "capacitance", 600.0 * pF);\n'
                'let Z = (L / C).sqrt().named("Z", "impedance");\n'
                'let T = (L * C).sqrt().named("T", "time");'
            ),
            cell("Z.evcxr_display();\nT"),
            code=0,
        )
        outputs = executed.cells[1].outputs
        self.assertEqual(len(outputs), 2)
        self.assertIn("Z =", outputs[0].data["text/latex"])
        self.assertIn("T =", outputs[1].data["text/latex"])

    def test_never_ends(self):
        done, _ = self.run_cells(cell("loop {}"), options=["--time-limit", "3"], code=1)
        self.assertIn("time limit: the cell did not end within 3 s", done.stderr)

    def test_prints_before_its_result(self):
        _, executed = self.run_cells(cell('print!("half a line ");\n36.0 * volt'), code=0)
        stream, result = executed.cells[0].outputs
        self.assertEqual(stream.text, "half a line ")
        self.assertEqual(result.data["text/plain"], "36 V")

    def test_standard_error_needs_permission(self):
        done, _ = self.run_cells(cell('eprintln!("note");'), code=1)
        self.assertIn('cell 1: standard error: note\n(tag the cell "allow-stderr" if this is right)', done.stderr)
        self.run_cells(cell('eprintln!("note");', "allow-stderr"), code=0)

    def test_failed_check(self):
        done, _ = self.run_cells(cell('display::Check::at_most("v", 5.0 * volt, 4.0 * volt)'), code=1)
        self.assertIn("failed check: FAIL: v: 5 V is above 4 V", done.stderr)

    def test_cell_meant_to_fail(self):
        self.run_cells(cell('panic!("on purpose");', "raises-exception"), cell("1 + 1"), code=0)
        done, _ = self.run_cells(cell("1 + 1", "raises-exception"), code=1)
        self.assertIn("did not fail", done.stderr)

    def test_process_ends(self):
        done, _ = self.run_cells(cell("std::process::exit(3);"), code=1)
        self.assertIn(
            "cell 1: process ended: the cell's process ended with exit code 3; "
            "all variables are lost: run the cells above again",
            done.stderr,
        )
        done, _ = self.run_cells(cell("std::process::abort();"), code=1)
        self.assertIn("cell 1: process ended: the cell's process ended by signal 6; all variables", done.stderr)

    def test_inputs(self):
        cells = [
            cell("let v_in = 36.0 * volt;\nlet n: usize = 3;", "inputs"),
            cell("v_in / (n as f64)"),
        ]
        _, executed = self.run_cells(*cells, options=["--set", "v_in=48V"], code=0)
        self.assertEqual(executed.cells[2].outputs[0].data["text/plain"], "16 V")
        self.assertEqual(executed.cells[1].metadata.tags, ["applied-inputs"])
        done, _ = self.run_cells(*cells, options=["--set", "i_in=48 V"], code=2)
        self.assertIn('unknown input "i_in"; this notebook\'s inputs are v_in, n', done.stderr)
        done, _ = self.run_cells(*cells, options=["--set", "v_in=48 A"], code=2)
        self.assertIn('"A" is a unit of another quantity', done.stderr)

    def test_verify_names_what_changed(self):
        path = self.write(cell('Term::input("L", "inductance", 0.68 * uH)'), cell("6.0 * ampere"))
        self.assertEqual(self.call("run", path).returncode, 0)
        done = self.call("verify", path)
        self.assertEqual(done.returncode, 0, done.stderr)
        notebook = json.loads(path.read_text())
        data = notebook["cells"][1]["outputs"][0]["data"]
        data["application/vnd.slewbook.quantity.v1+json"]["value"] = 6.1
        path.write_text(json.dumps(notebook))
        done = self.call("verify", path)
        self.assertEqual(done.returncode, 1)
        self.assertIn("cell 2", done.stderr)
        self.assertIn("quantity, value: stored 6.1, now 6.0", done.stderr)

    def test_foreign_notebook_is_not_touched(self):
        path = self.folder / "a.ipynb"
        notebook = new_notebook(
            cells=[new_markdown_cell("µ"), cell("1 + 1")],
            metadata={"kernelspec": {"name": "x", "language": "rust", "display_name": "x"}, "other": {"a": [1, 2.5]}},
        )
        notebook.cells[0].metadata["unknown"] = {"z": 1, "a": None}
        nbformat.write(notebook, path)
        before = json.loads(path.read_text())
        self.assertEqual(self.call("run", path).returncode, 0)
        after = json.loads(path.read_text())
        self.assertEqual(after["metadata"], before["metadata"])
        self.assertEqual(after["cells"][0], before["cells"][0])
        self.assertEqual(after["cells"][1]["id"], before["cells"][1]["id"])
        first = path.read_bytes()
        self.assertEqual(self.call("run", path).returncode, 0)
        self.assertEqual(path.read_bytes(), first, "the same notebook gives the same file")

    def test_another_language_is_refused(self):
        done, _ = self.run_cells(
            cell("1"), metadata={"kernelspec": {"name": "p", "language": "python", "display_name": "p"}}, code=2
        )
        self.assertIn("a notebook in python", done.stderr)


if __name__ == "__main__":
    unittest.main(verbosity=2)
