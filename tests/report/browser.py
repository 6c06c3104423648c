"""A written report in a real browser: headless Chromium, spoken to over its debugging pipe.

usage: browser.py OUT PICTURES [unittest arguments]

OUT holds what `tidemark measure FOLDER --out OUT` wrote; pictures of the page, to be looked at, go to PICTURES. Ends
with 77 (skipped) where there is no chromium. Rules: WCAG 2.1, success criteria 1.1.1, 1.4.1, 1.4.3, 1.4.10, 2.1.1,
2.3.3, 2.4.3, 2.4.7, 4.1.2, as the browser itself sees the page.
"""
import base64
import fcntl
import json
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile
import unittest

BROWSER = shutil.which("chromium")
if not BROWSER:
    print("skipped: there is no chromium; scripts/setup installs it")
    sys.exit(77)
OUT, PICTURES = pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2])
del sys.argv[1:3]
PICTURES.mkdir(parents=True, exist_ok=True)
# 0.2126 ... as WCAG 2.1 defines relative luminance; backgrounds are those of the nearest ancestor that has one.
CONTRAST = """(() => {
  const parts = (c) => c.match(/[\\d.]+/g).map(Number);
  const light = (c) => { const [r, g, b] = parts(c).map((v) => v / 255)
      .map((v) => v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
  const ground = (e) => { for (; e; e = e.parentElement) { const c = getComputedStyle(e).backgroundColor;
      const p = parts(c); if (p.length < 4 || p[3] > 0) return c; } return "rgb(255, 255, 255)"; };
  const out = [];
  for (const e of document.querySelectorAll("body *")) {
    if (![...e.childNodes].some((n) => n.nodeType === 3 && n.data.trim()) || e.closest("svg, script")) continue;
    const [a, b] = [light(getComputedStyle(e).color), light(ground(e))].sort((x, y) => y - x);
    out.push([(a + 0.05) / (b + 0.05), e.tagName + " " + e.textContent.trim().slice(0, 40)]);
  }
  return out; })()"""


class Browser:
    """One page. Messages are JSON with a zero byte after each (--remote-debugging-pipe: file numbers 3 and 4)."""

    def __init__(self):
        self.profile = tempfile.TemporaryDirectory()
        to_read, self.write = os.pipe()
        self.read, to_write = os.pipe()

        def hand_over():
            # Away from 3 and 4 first, where one may stand in the other's place.
            first, second = fcntl.fcntl(to_read, fcntl.F_DUPFD, 10), fcntl.fcntl(to_write, fcntl.F_DUPFD, 10)
            os.dup2(first, 3)
            os.dup2(second, 4)
        self.process = subprocess.Popen(
            [BROWSER, "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run",
             f"--user-data-dir={self.profile.name}", "--remote-debugging-pipe", "about:blank"],
            preexec_fn=hand_over, close_fds=False, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        os.close(to_read)
        os.close(to_write)
        self.number, self.rest, self.session, self.events = 0, b"", None, []
        targets = self.ask("Target.getTargets")["targetInfos"]
        page = next(t for t in targets if t["type"] == "page")
        self.session = self.ask("Target.attachToTarget", targetId=page["targetId"], flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Network", "Log", "DOM", "Accessibility"):
            self.ask(f"{domain}.enable")

    def message(self):
        while b"\0" not in self.rest:
            more = os.read(self.read, 1 << 20)
            if not more:
                raise RuntimeError("the browser is gone")
            self.rest += more
        one, _, self.rest = self.rest.partition(b"\0")
        return json.loads(one)

    def ask(self, method, **parameters):
        self.number += 1
        asked = {"id": self.number, "method": method, "params": parameters}
        if self.session:
            asked["sessionId"] = self.session
        os.write(self.write, json.dumps(asked).encode() + b"\0")
        while True:
            got = self.message()
            if got.get("id") == self.number:
                if "error" in got:
                    raise RuntimeError(f"{method}: {got['error']['message']}")
                return got["result"]
            self.events.append(got)

    def value(self, expression):
        got = self.ask("Runtime.evaluate", expression=expression, returnByValue=True)
        if "exceptionDetails" in got:
            raise RuntimeError(got["exceptionDetails"]["exception"]["description"])
        return got["result"].get("value")

    def open(self, width, height=900, script=True):
        self.events.clear()
        self.ask("Emulation.setScriptExecutionDisabled", value=not script)
        self.ask("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1,
                 mobile=False)
        self.ask("Page.navigate", url=(OUT / "report.html").resolve().as_uri())
        while not any(e.get("method") == "Page.loadEventFired" for e in self.events):
            self.events.append(self.message())

    def picture(self, name):
        size = self.ask("Page.getLayoutMetrics")["cssContentSize"]
        got = self.ask("Page.captureScreenshot", format="png", captureBeyondViewport=True,
                       clip={"x": 0, "y": 0, "width": size["width"], "height": size["height"], "scale": 1})
        png = base64.b64decode(got["data"])
        (PICTURES / f"{name}.png").write_bytes(png)
        return png

    def press(self, key, code=None, text=None):
        for kind in ("keyDown", "keyUp"):
            more = {"text": text} if text and kind == "keyDown" else {}
            self.ask("Input.dispatchKeyEvent", type=kind, key=key, code=code or key,
                     windowsVirtualKeyCode={"Tab": 9, "ArrowRight": 39, " ": 32}[key], **more)

    def close(self):
        self.session = None
        try:
            self.ask("Browser.close")
            self.process.wait(20)
        except (RuntimeError, OSError, subprocess.TimeoutExpired):
            self.process.kill()
            self.process.wait()
        os.close(self.read)
        os.close(self.write)
        self.profile.cleanup()


class Rendered(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.browser = Browser()

    @classmethod
    def tearDownClass(cls):
        cls.browser.close()

    def test_nothing_is_wrong_and_nothing_is_fetched(self):
        self.browser.open(900)
        said = [e for e in self.browser.events if e.get("method") in ("Log.entryAdded", "Runtime.exceptionThrown")]
        self.assertEqual([], said)
        asked = [e["params"]["request"]["url"] for e in self.browser.events
                 if e.get("method") == "Network.requestWillBeSent"]
        self.assertEqual(1, len([u for u in asked if not u.startswith("data:")]), [u[:60] for u in asked])

    def test_fits_wide_and_narrow(self):
        for width in (1200, 900, 380, 320):  # 320: WCAG 1.4.10
            self.browser.open(width)
            self.assertLessEqual(self.browser.value("document.documentElement.scrollWidth"), width)
            png = self.browser.picture(f"page-{width}")
            self.assertGreater(len(png), 50_000)  # an empty page has a tenth

    def test_without_script(self):
        self.browser.open(900)
        whole = self.browser.value("document.body.innerText.length")
        self.browser.open(900, script=False)
        # The debugger may still ask; the page's own script has not run.
        self.assertTrue(self.browser.value("document.querySelector('.controls').hidden"))
        self.assertGreater(self.browser.value("document.body.innerText.length"), 0.9 * whole)
        shown = self.browser.value("[...document.querySelectorAll('.pair .plate svg')].map("
                                   "(e) => [getComputedStyle(e).visibility, e.getBoundingClientRect().width])")
        self.assertGreaterEqual(len(shown), 2)
        for visibility, width in shown:
            self.assertEqual("visible", visibility)
            self.assertGreater(width, 150)
        self.browser.picture("page-900-without-script")

    def test_everything_has_a_name(self):
        self.browser.open(900)
        nodes = self.browser.ask("Accessibility.getFullAXTree")["nodes"]
        roles = {}
        for node in nodes:
            role = node.get("role", {}).get("value")
            if node.get("ignored") or not role:
                continue
            roles.setdefault(role, []).append(node.get("name", {}).get("value", "").strip())
        for role in ("image", "img", "button", "radio", "checkbox", "slider", "region", "table", "heading"):
            self.assertNotIn("", roles.get(role, []), role)
        self.assertGreaterEqual(len(roles.get("image", []) + roles.get("img", [])), 6)
        # The button belongs to another way of showing the pair.
        wanted = {"main", "banner", "contentinfo", "radio", "slider", "checkbox", "columnheader", "rowheader"}
        self.assertEqual(set(), wanted - roles.keys())

    def test_contrast_of_every_text(self):
        for media in ("screen", "print"):
            self.browser.open(900)
            self.browser.ask("Emulation.setEmulatedMedia", media=media)
            found = self.browser.value(CONTRAST)
            self.assertGreater(len(found), 100)
            for ratio, what in found:
                self.assertGreaterEqual(ratio, 4.5, what)
        self.browser.ask("Emulation.setEmulatedMedia", media="")

    def test_by_keyboard_in_the_order_of_the_page(self):
        self.browser.open(900)
        order, seen = [], None
        for _ in range(60):
            self.browser.press("Tab")
            at = self.browser.value("""(() => { const e = document.activeElement;
                if (e === document.body) return null;
                const all = [...document.querySelectorAll("*")], s = getComputedStyle(e);
                return [all.indexOf(e), e.tagName + (e.type || ""), parseFloat(s.outlineWidth)]; })()""")
            if at is None or at == seen:
                break
            seen = at
            order.append(at)
        self.assertGreater(len(order), 8)
        places = [at[0] for at in order]
        self.assertEqual(sorted(places), places)
        kinds = {at[1] for at in order}
        self.assertLessEqual({"INPUTradio", "INPUTrange", "INPUTcheckbox", "DIV"}, kinds)
        for _, what, outline in order:
            self.assertGreaterEqual(outline, 1, what)  # 2.4.7: what has the focus shows it

    def test_pair_by_keyboard(self):
        self.browser.open(900)
        self.browser.value("document.querySelector('.pair input[type=range]').focus()")
        before = self.browser.value("document.querySelector('.stage').style.getPropertyValue('--at')")
        self.browser.press("ArrowRight")
        after = self.browser.value("document.querySelector('.stage').style.getPropertyValue('--at')")
        self.assertEqual(("50%", "51%"), (before, after))
        self.browser.value("document.querySelector('.pair input[value=flip]').click()")
        self.browser.value("document.querySelector('.pair button').focus()")
        self.browser.press(" ", "Space", " ")
        self.assertTrue(self.browser.value("document.querySelector('.pair').classList.contains('other')"))
        self.assertTrue(self.browser.value("document.querySelector('.pair .shown').textContent"))

    def test_nothing_moves_by_itself(self):
        self.browser.open(900)
        self.browser.ask("Emulation.setEmulatedMedia", features=[{"name": "prefers-reduced-motion",
                                                                  "value": "reduce"}])
        moving = self.browser.value("document.getAnimations().length + [...document.querySelectorAll('*')]"
                                    ".filter((e) => { const s = getComputedStyle(e); return s.animationName !== 'none'"
                                    " || parseFloat(s.transitionDuration) > 0 || s.scrollBehavior === 'smooth'; }).length")
        self.assertEqual(0, moving)
        self.browser.ask("Emulation.setEmulatedMedia", features=[])

    def test_pictures_for_the_eye(self):
        """Grey as on a printer without colour, and as with the commonest colour blindness: to be looked at."""
        for deficiency in ("achromatopsia", "deuteranopia"):
            self.browser.open(900)
            self.browser.ask("Emulation.setEmulatedVisionDeficiency", type=deficiency)
            self.assertGreater(len(self.browser.picture(f"page-900-{deficiency}")), 50_000)
        self.browser.ask("Emulation.setEmulatedVisionDeficiency", type="none")


if __name__ == "__main__":
    unittest.main()
