"""A notebook in JupyterLab and as an exported page, in a headless Chromium.

Usage: python browser.py PROGRAM PAGE.html OUTPUT_FOLDER   (needs playwright and
Debian's chromium; see ../../browser.sh)

The pictures and the PDF are left in OUTPUT_FOLDER, to be looked at.
"""

import os
import signal
import subprocess
import sys
import time
import unittest
import urllib.request
from pathlib import Path

from playwright.sync_api import sync_playwright

OUTPUT = Path(sys.argv.pop(3)).resolve()
PAGE = Path(sys.argv.pop(2)).resolve()
PROGRAM = Path(sys.argv.pop(1)).resolve()
NOTEBOOKS = Path(__file__).resolve().parents[2]
NOTEBOOK = "01-inductance-limit.ipynb"
PORT = 18888
ADDRESS = f"http://127.0.0.1:{PORT}"
# Without the network: Chromium's own errands fail at once instead of slowly.
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


class Browser(unittest.TestCase):
    def setUp(self):
        playwright = sync_playwright().start()
        self.addCleanup(playwright.stop)
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=ARGUMENTS)
        self.addCleanup(browser.close)
        self.context = browser.new_context(viewport={"width": 1280, "height": 1600})
        self.page = self.context.new_page()
        self.errors = []
        self.page.on("console", lambda m: self.errors.append(m.text) if m.type == "error" else None)
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.failed = []
        self.page.on("requestfailed", lambda request: self.failed.append(request.url))

    def test_notebook_in_jupyterlab(self):
        # The front end saves by itself what the test clears.
        stored = (NOTEBOOKS / NOTEBOOK).read_bytes()
        self.addCleanup((NOTEBOOKS / NOTEBOOK).write_bytes, stored)
        server = subprocess.Popen(
            [
                PROGRAM,
                "open",
                "--",
                "--no-browser",
                "--allow-root",
                f"--ServerApp.port={PORT}",
                "--IdentityProvider.token=",
            ],
            # A group of its own, so that JupyterLab ends with the program.
            start_new_session=True,
        )
        self.addCleanup(server.wait)
        self.addCleanup(os.killpg, server.pid, signal.SIGTERM)
        self.wait_for_server(server)
        page = self.page
        page.goto(f"{ADDRESS}/lab/tree/{NOTEBOOK}?reset", timeout=120_000)
        page.wait_for_selector(".jp-Notebook .jp-CodeCell", timeout=120_000)
        # Asked to run before its kernel is known, a front end asks for one.
        page.locator("#jp-main-statusbar", has_text="slewbook (Rust) | Idle").wait_for(timeout=120_000)
        # Nothing stored may pass for a result.
        self.command("Edit", "Clear Outputs of All Cells")
        self.assertEqual(page.locator(".jp-OutputArea-output").count(), 0)
        began = time.monotonic()
        self.command("Run", "Run All Cells")
        page.wait_for_function(
            """() => {
                const prompts = [...document.querySelectorAll('.jp-CodeCell .jp-InputArea-prompt')]
                    .map(p => p.textContent.trim());
                return prompts.length > 0 && prompts.every(p => /^\\[\\d+\\]:$/.test(p));
            }""",
            timeout=180_000,
        )
        print(f"\nall cells after {time.monotonic() - began:.1f} s")
        # The last typesetting comes after the last answer.
        page.wait_for_selector(".jp-OutputArea-output mjx-container", timeout=60_000)
        page.wait_for_timeout(2000)
        self.assertGreater(page.locator(".jp-OutputArea-output mjx-container").count(), 5)
        self.assertEqual(page.locator("mjx-merror, .MathJax_Error").count(), 0)
        # No mathematics is left as its source.
        for text in page.locator(".jp-RenderedMarkdown").all_inner_texts():
            self.assertNotIn("$$", text)
        picture = page.locator(".jp-OutputArea-output img").first
        picture.scroll_into_view_if_needed()
        self.assertGreater(len(picture.get_attribute("alt")), 40)
        self.assertGreater(picture.evaluate("image => image.naturalWidth"), 100)
        self.assertEqual(page.locator(".jp-OutputArea-output[data-mime-type='application/vnd.jupyter.stderr']").count(), 0)
        page.screenshot(path=OUTPUT / "jupyterlab-figure.png")
        page.locator(".jp-OutputArea-output mjx-container").first.scroll_into_view_if_needed()
        page.wait_for_timeout(500)
        page.screenshot(path=OUTPUT / "jupyterlab.png")
        self.assertEqual(self.errors, [])

    def wait_for_server(self, server):
        # The first time makes the environment, and fetches JupyterLab.
        for _ in range(1200):
            self.assertIsNone(server.poll(), "JupyterLab ended")
            try:
                urllib.request.urlopen(f"{ADDRESS}/api", timeout=2).read()
                return
            except OSError:
                time.sleep(0.5)
        self.fail("JupyterLab does not answer")

    def command(self, menu, entry):
        self.page.locator(".lm-MenuBar-item", has_text=menu).first.click()
        self.page.locator(".lm-Menu-item", has_text=entry).first.click()

    def test_page_without_network(self):
        self.context.set_offline(True)
        page = self.page
        page.goto(PAGE.as_uri())
        equations = page.locator("math")
        self.assertGreater(equations.count(), 5)
        for equation in equations.all():
            box = equation.bounding_box()
            self.assertTrue(box and box["width"] > 2 and box["height"] > 5, equation.inner_html())
        # Laid out as mathematics: a fraction is taller than its line.
        tallest = max(fraction.bounding_box()["height"] for fraction in page.locator("mfrac").all())
        self.assertGreater(tallest, 25)
        self.assertGreater(page.locator("svg[role=img]").count(), 0)
        self.assertEqual(page.locator("script").count(), 0)
        for link in page.locator("a[href^='#']").all():
            target = link.get_attribute("href")[1:]
            self.assertEqual(page.locator(f"[id='{target}']").count(), 1, target)
        page.screenshot(path=OUTPUT / "page.png", full_page=True)
        page.pdf(path=OUTPUT / "page.pdf", prefer_css_page_size=True)
        self.assertEqual((self.errors, self.failed), ([], []))


if __name__ == "__main__":
    unittest.main(verbosity=2)
