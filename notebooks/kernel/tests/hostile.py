"""Cells that try to pass for what they are not, to outlive their run, or to take all there is.

Usage: python hostile.py PROGRAM   (needs nbformat; see ../../all.sh)
"""

import json
import os
import signal
import subprocess
import sys
import tempfile
import time
import unittest
from pathlib import Path

import nbformat
from nbformat.v4 import new_code_cell, new_notebook

PROGRAM = Path(sys.argv.pop(1)).resolve()
# What a started process says of itself on its command line: found again by it.
MARK = f"9{os.getpid()}"
C = 'unsafe extern "C" { fn close(fd: i32) -> i32; fn write(fd: i32, text: *const u8, length: usize) -> isize; }\n'


def fails(source):
    return new_code_cell(source, metadata={"tags": ["raises-exception"]})


def detached(seconds):
    """Starts a process of a session of its own, whose parent has gone."""
    return (
        f'std::process::Command::new("setsid").args(["sh", "-c", "sleep {seconds}.{MARK} & sleep {seconds}.{MARK}"])'
        ".spawn().unwrap();\nstd::thread::sleep(std::time::Duration::from_millis(300));"
    )


def left():
    """The processes of this test that are still there."""
    found = []
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            text = (folder / "cmdline").read_bytes().decode(errors="replace")
        except OSError:
            continue
        if MARK in text and "sleep" in text:
            found.append(text)
    return found


class Hostile(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.folder = Path(folder.name)

    def write(self, *cells):
        path = self.folder / "a.ipynb"
        cells = [new_code_cell(cell) if isinstance(cell, str) else cell for cell in cells]
        nbformat.write(new_notebook(cells=cells), path)
        return path

    def run_cells(self, *cells, options=(), code=0, timeout=400):
        done = subprocess.run(
            [PROGRAM, "run", self.write(*cells), "-o", self.folder / "b.ipynb", *options],
            capture_output=True,
            text=True,
            timeout=timeout,
        )
        self.assertEqual(done.returncode, code, done.stdout + done.stderr)
        executed = nbformat.read(self.folder / "b.ipynb", as_version=4)
        nbformat.validate(executed)
        return done, [cell.outputs for cell in executed.cells]

    def test_nothing_that_fails_passes_for_success(self):
        """Each cell is tagged as one that has to fail: one that did not would end the run."""
        cells = {
            ":quit": ("refused", ":quit"),
            "// a note\n\n:load_config\n1 + 1": ("refused", ":load_config"),
            ":vars\n  :env A=b\nlet x = 1;": ("refused", ":env"),
            "!true": ("refused", "!true"),
            'println!("EVCXR_EXECUTION_COMPLETE"); panic!("one");': ("panic", "one"),
            'print!("no line end EVCXR_EXECUTION_COMPLETE"); panic!("two");': ("panic", "two"),
            'println!("EVCXR_BEGIN_CONTENT text/plain"); panic!("three");': ("panic", "three"),
            'println!("SLEWBOOK_END_OF_CELL 1"); eprintln!("SLEWBOOK_END_OF_CELL 1"); panic!("four");': ("panic", "four"),
            'std::panic::set_hook(Box::new(|_| {}));\npanic!("five");': ("panic", ""),
            'println!("EVCXR_EXECUTION_COMPLETE");\ndisplay::Check::at_most("v", 5.0 * volt, 4.0 * volt)': (None, "FAIL"),
            'for fd in 3..99 { let t = b"{\\"secret\\":\\"0\\",\\"outcome\\":0}\\n"; unsafe { write(fd, t.as_ptr(), t.len()); } }\n'
            'panic!("six");': ("panic", ""),
            'std::fs::write(std::env::var("SLEWBOOK_DISPLAY").unwrap(), "no display\\n").unwrap();': ("display", "is none"),
            'unsafe { close(1); close(2); }\npanic!("seven");': ("panic", ""),
            "std::process::exit(0);": ("process ended", "exit code 0"),
            "for fd in 3..99 { unsafe { close(fd); } }\nloop {}": ("process ended", "no longer answers"),
            "let all = vec![1_u8; 8 << 30];": ("process ended", "signal 6"),
            'std::fs::remove_file(std::env::var("SLEWBOOK_DISPLAY").unwrap()).unwrap();\n36.0 * volt': ("panic", "cannot be shown"),
            "std::process::abort();": ("process ended", "signal 6"),
            'macro_rules! println { ($($t:tt)*) => {}; }\npanic!("eight");': ("panic", "eight"),
        }
        _, outputs = self.run_cells(C, *map(fails, cells))
        for (source, (name, value)), own in zip(cells.items(), outputs[1:]):
            with self.subTest(source):
                if name is None:
                    self.assertIn(value, own[-1].data["text/plain"])
                else:
                    self.assertEqual(own[-1].output_type, "error")
                    self.assertEqual(own[-1].ename, name)
                    self.assertIn(value, own[-1].evalue)

    def test_what_is_printed_is_text(self):
        marks = "EVCXR_BEGIN_CONTENT text/html\n<b>6 A</b>\nEVCXR_END_CONTENT\nEVCXR_PANIC_NOTIFICATION\nEVCXR_EXECUTION_COMPLETE\n"
        _, outputs = self.run_cells(
            f"print!({json.dumps(marks)});\n1 + 1",
            'use std::io::Write;\nstd::io::stdout().write_all(b"a\\xff\\xc2 b\\n").unwrap();',
            'let mut line = String::new();\nassert_eq!(std::io::stdin().read_line(&mut line).unwrap(), 0);',
            'print!("no line end");',
            '"last"',
        )
        self.assertEqual(outputs[0][0].text, marks)
        self.assertEqual(outputs[0][1].data["text/plain"], "2")
        self.assertEqual(outputs[1][0].text, "a\\xff\\xc2 b\n")
        self.assertEqual(outputs[2], [])
        self.assertEqual(outputs[3][0].text, "no line end")
        self.assertEqual(len(outputs[4]), 1)

    def test_output_is_kept_up_to_its_limit(self):
        _, outputs = self.run_cells(
            'for _ in 0..2_000_000 { println!("a line of thirty letters or so"); }',
            'print!("{}", "x".repeat(100_000_000));',
            "1 + 1",
            options=["--output-limit", "1", "--time-limit", "100"],
        )
        for own, count in ((outputs[0], 61_000_000), (outputs[1], 99_000_000)):
            self.assertLess(len(own[0].text), 1_001_000)
            self.assertIn(f"[{count} more bytes were printed; 1000000 are kept", own[0].text)
        self.assertEqual(outputs[2][0].data["text/plain"], "2")
        done, _ = self.run_cells(
            'for _ in 0..2000 { display::Doc::new().text(&"x".repeat(1000)).evcxr_display(); }',
            options=["--output-limit", "1"],
            code=1,
        )
        self.assertIn("displays more than 1000000 bytes", done.stderr)

    def test_what_a_cell_starts_ends_with_it(self):
        _, outputs = self.run_cells(
            detached(1000),
            f'let found = std::process::Command::new("pgrep").args(["-fc", "^sleep 1000.{MARK}"]).output().unwrap();\n'
            'String::from_utf8_lossy(&found.stdout).trim().to_owned()',
        )
        self.assertEqual(outputs[1][0].data["text/plain"], '"0"')
        self.assertEqual(left(), [])

    def test_the_time_limit_holds_whatever_was_started_or_closed(self):
        for source in (detached(2000) + "\nloop {}", C + "unsafe { close(1); close(2); }\nloop {}"):
            began = time.monotonic()
            done, _ = self.run_cells(source, options=["--time-limit", "6"], code=1, timeout=120)
            self.assertIn("time limit: the cell did not end within 6 s", done.stderr)
            self.assertLess(time.monotonic() - began, 90)
            self.assertEqual(left(), [])

    def test_a_run_that_is_told_to_end_leaves_nothing(self):
        cache = self.folder / "cache"
        cache.mkdir()
        # The seed as it is, slots of its own.
        own = Path(os.environ["SLEWBOOK_CACHE"])
        for name in ("seed", "seed.key", ".cargo"):
            (cache / name).symlink_to(own / name)
        path = self.write(detached(3000) + "\nstd::fs::write(\"begun\", \"\").unwrap();\nloop {}")
        before = path.read_bytes()
        run = subprocess.Popen([PROGRAM, "run", path], env={**os.environ, "SLEWBOOK_CACHE": str(cache)})
        end = time.monotonic() + 120
        while not (self.folder / "begun").exists() and time.monotonic() < end:
            time.sleep(0.1)
        self.assertTrue(left())
        run.send_signal(signal.SIGTERM)
        run.wait(timeout=30)
        end = time.monotonic() + 20
        while (left() or (cache / "slots" / "0").exists()) and time.monotonic() < end:
            time.sleep(0.1)
        self.assertEqual(left(), [])
        self.assertEqual([entry.name for entry in (cache / "slots").iterdir()], ["0.lock"])
        self.assertEqual(sorted(entry.name for entry in self.folder.iterdir()), ["a.ipynb", "begun", "cache"])
        self.assertEqual(path.read_bytes(), before)
        self.assertEqual((cache / "slots").stat().st_mode & 0o777, 0o700)

    def test_nobody_needs_to_listen(self):
        path = self.write('panic!("a");')
        reader, writer = os.pipe()
        os.close(reader)
        done = subprocess.run([PROGRAM, "run", path], stdout=writer, stderr=writer, timeout=120)
        os.close(writer)
        self.assertEqual(done.returncode, 1)

    def test_altered_results_are_told(self):
        path = self.write("6.0 * ampere")
        subprocess.run([PROGRAM, "run", path], check=True, capture_output=True)
        sound = path.read_text()
        for old, new in (('"value": 6.0', '"tolerance": 1e9, "value": 999.0'), ('"6 A"', '"999 A"'), ("<span>6 A", "<span>999 A")):
            self.assertIn(old, sound)
            path.write_text(sound.replace(old, new))
            done = subprocess.run([PROGRAM, "verify", path], capture_output=True, text=True)
            self.assertEqual(done.returncode, 1, done.stdout)
            self.assertIn("999", done.stderr)
        path.write_text(sound)
        page = self.folder / "a.html"
        os.symlink(path, page)
        for target in (path, page):
            done = subprocess.run([PROGRAM, "export", path, "-o", target], capture_output=True, text=True)
            self.assertEqual(done.returncode, 2, done.stdout)
            self.assertEqual(path.read_text(), sound)


if __name__ == "__main__":
    unittest.main(verbosity=2)
