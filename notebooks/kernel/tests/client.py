"""The kernel as a real Jupyter client sees it.

Usage: python client.py PROGRAM   (needs jupyter_client; see ../../all.sh)
"""

import os
import queue
import subprocess
import sys
import tempfile
import time
import unittest
from pathlib import Path

from jupyter_client.kernelspec import KernelSpecManager
from jupyter_client.manager import KernelManager

PROGRAM = Path(sys.argv.pop(1)).resolve()
DATA = tempfile.mkdtemp()


def setUpModule():
    subprocess.run([PROGRAM, "install", "--into", DATA], check=True)


class Kernel:
    """A running kernel and its client."""

    def __init__(self, **environment):
        specs = KernelSpecManager(kernel_dirs=[os.path.join(DATA, "kernels")])
        self.manager = KernelManager(kernel_name="slewbook", kernel_spec_manager=specs)
        began = time.monotonic()
        self.manager.start_kernel(env={**os.environ, **environment})
        self.client = self.manager.client()
        self.client.start_channels()
        try:
            self.client.wait_for_ready(timeout=60)
        except RuntimeError:
            self.close()
            raise
        self.ready = time.monotonic() - began

    def close(self):
        self.client.stop_channels()
        self.manager.shutdown_kernel(now=False)

    def run(self, source, timeout=200):
        """The reply and every message that the cell caused."""
        messages = []
        reply = self.client.execute_interactive(source, timeout=timeout, output_hook=messages.append, stop_on_error=True)
        return reply["content"], [(m["msg_type"], m["content"]) for m in messages]


class Client(unittest.TestCase):
    def kernel(self, **environment):
        kernel = Kernel(**environment)
        self.addCleanup(kernel.close)
        return kernel

    def test_equation_failures_and_the_cells_after(self):
        kernel = self.kernel()
        began = time.monotonic()
        reply, messages = kernel.run('Term::input("L", "inductance", 0.68 * uH).sqrt_of_nothing()')
        self.assertEqual(reply["status"], "error")
        self.assertEqual(reply["execution_count"], 1)
        print(f"\nready {kernel.ready:.1f} s, first answer {time.monotonic() - began:.1f} s")
        reply, messages = kernel.run('let a = Term::input("a", "step", 12.0 * volt); let Z = Term::input("Z", "impedance", 33.0 * ohm);')
        self.assertEqual(reply["status"], "ok", messages)
        reply, messages = kernel.run('(a / Z).named("I_min", "floor")')
        data = dict(messages)["execute_result"]["data"]
        self.assertIn("$$", data["text/latex"])
        self.assertIn("application/vnd.slewbook.equation.v1+json", data)
        self.assertNotIn("application/json", data)
        reply, messages = kernel.run('panic!("on purpose");')
        self.assertEqual((reply["status"], reply["ename"], reply["evalue"]), ("error", "panic", "on purpose"))
        self.assertIn("error", dict(messages))
        reply, _ = kernel.run('let x: f64 = "abc".parse()?;')
        self.assertEqual((reply["status"], reply["evalue"]), ("error", "invalid float literal"))
        reply, messages = kernel.run("a.value()?")
        self.assertEqual(dict(messages)["execute_result"]["data"]["text/plain"], "12 V")
        # Cells that were waiting when one failed are not run.
        first = kernel.client.execute('panic!("stop");', stop_on_error=True)
        second = kernel.client.execute("1 + 1", stop_on_error=True)
        status = {}
        while len(status) < 2:
            message = kernel.client.get_shell_msg(timeout=60)
            status[message["parent_header"]["msg_id"]] = message["content"]["status"]
        self.assertEqual((status[first], status[second]), ("error", "aborted"))

    def test_interrupt_and_restart(self):
        kernel = self.kernel()
        self.assertEqual(kernel.run("let kept = 1.0;")[0]["status"], "ok")
        kernel.client.execute("loop {}")
        time.sleep(3)
        kernel.manager.interrupt_kernel()
        message = kernel.client.get_shell_msg(timeout=30)
        self.assertEqual(message["content"]["status"], "error")
        self.assertIn("all variables are lost", message["content"]["evalue"])
        kernel.manager.restart_kernel(now=False)
        kernel.client.wait_for_ready(timeout=60)
        reply, messages = kernel.run("36.0 * volt")
        self.assertEqual(dict(messages)["execute_result"]["data"]["text/plain"], "36 V")
        self.assertEqual(reply["execution_count"], 1)

    def test_two_kernels_at_once(self):
        one, two = self.kernel(), self.kernel()
        for kernel, number in ((one, 1), (two, 2)):
            kernel.run(f"let x = {number}.0 * volt;")
        for kernel, number in ((one, 1), (two, 2)):
            _, messages = kernel.run("x")
            self.assertEqual(dict(messages)["execute_result"]["data"]["text/plain"], f"{number} V")

    def test_broken_prelude(self):
        broken = Path(tempfile.mkdtemp()) / "prelude.rs"
        broken.write_text("use nothing::here;\n")
        kernel = self.kernel(SLEWBOOK_PRELUDE=str(broken))
        reply, _ = kernel.run("1 + 1")
        self.assertEqual((reply["status"], reply["ename"]), ("error", "start"))
        self.assertIn("prelude", reply["evalue"])


if __name__ == "__main__":
    unittest.main(verbosity=2)
