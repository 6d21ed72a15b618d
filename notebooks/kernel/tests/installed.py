"""The kernel as an installed one is started: directly, in a clean environment, with the default cache.

Usage: python installed.py PROGRAM   (needs jupyter_client; see ../../all.sh)

The cache lies beside the toolchain, below one home, as it does for a person: a search path
that is relative to the cache then means other folders than where they share nothing.
"""

import os
import shutil
import subprocess
import sys
import tempfile
import unittest
from pathlib import Path

from jupyter_client.kernelspec import KernelSpecManager
from jupyter_client.manager import KernelManager

PROGRAM = Path(sys.argv.pop(1)).resolve()
CACHE = Path(os.environ["SLEWBOOK_CACHE"])
TOUR = Path(__file__).resolve().parents[2] / "00-tour.ipynb"


def asked(*command):
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout.strip()


class Installed(unittest.TestCase):
    def setUp(self):
        toolchain = Path(asked("rustc", "--print", "sysroot"))
        users = Path(os.environ.get("HOME", "/"))
        near = users if toolchain.is_relative_to(users) else toolchain.parent
        self.home = Path(tempfile.mkdtemp(prefix="slewbook-home-", dir=near))
        self.addCleanup(shutil.rmtree, self.home)
        cache = self.home / ".cache" / "slewbook"
        cache.mkdir(parents=True)
        # The seed is the one made already; what is built from it is built here.
        for name in ("seed", "seed.key", ".cargo"):
            (cache / name).symlink_to(CACHE / name)
        self.clean = {"HOME": str(self.home), "PATH": os.environ["PATH"]}
        # Another home would hide the tools.
        self.clean["CARGO_HOME"] = os.environ.get("CARGO_HOME", str(users / ".cargo"))
        self.clean["RUSTUP_HOME"] = os.environ.get("RUSTUP_HOME", str(users / ".rustup"))

    def test_called_directly(self):
        done = subprocess.run(
            [PROGRAM, "run", TOUR, "-o", self.home / "tour.ipynb"], env=self.clean, capture_output=True, text=True
        )
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertIn("ok: ", done.stdout)

    def test_as_an_installed_kernel(self):
        subprocess.run([PROGRAM, "install"], env=self.clean, check=True, capture_output=True)
        folder = self.home / ".local/share/jupyter/kernels"
        specs = KernelSpecManager(kernel_dirs=[str(folder)])
        manager = KernelManager(kernel_name="slewbook", kernel_spec_manager=specs)
        manager.start_kernel(env=self.clean, cwd=self.home)
        client = manager.client()
        client.start_channels()
        try:
            client.wait_for_ready(timeout=60)
            messages = []
            reply = client.execute_interactive("36.0 * volt", timeout=200, output_hook=messages.append)
            self.assertEqual(reply["content"]["status"], "ok", reply)
            data = [m["content"]["data"] for m in messages if m["msg_type"] == "execute_result"]
            self.assertEqual(data[0]["text/plain"], "36 V")
        finally:
            client.stop_channels()
            manager.shutdown_kernel(now=False)


if __name__ == "__main__":
    unittest.main(verbosity=2)
