"""A headless Chromium, driven over W3C WebDriver with the standard library alone."""

from __future__ import annotations

import json
import shutil
import socket
import subprocess
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

START_S = 20.0
LOADED = "return [location.href, document.readyState]"
ELEMENT = "element-6066-11e4-a52e-4f735466cecf"
"""Name of the element reference in answers (W3C WebDriver, section 12)."""
ARGUMENTS = [
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--autoplay-policy=no-user-gesture-required",
    "--mute-audio",
]


class Browser:
    """One session of a browser."""

    def __init__(self, address: str, profile: Path) -> None:
        self.address = address
        options = {"args": [*ARGUMENTS, f"--user-data-dir={profile}"]}
        wanted = {
            "browserName": "chrome",
            "goog:chromeOptions": options,
            "goog:loggingPrefs": {"browser": "ALL", "performance": "ALL"},
        }
        answer = self._call("POST", "/session", {"capabilities": {"alwaysMatch": wanted}})
        self.session = f"/session/{answer['sessionId']}"

    def _call(self, method: str, path: str, body: Any = None) -> Any:
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(self.address + path, data, method=method)  # noqa: S310
        request.add_header("Content-Type", "application/json")
        try:
            with urllib.request.urlopen(request, timeout=60) as answer:  # noqa: S310
                return json.load(answer)["value"]
        except urllib.error.HTTPError as error:
            raise AssertionError(json.load(error)["value"]["message"]) from error

    def open(self, path: Path) -> None:
        """Open a page from a file and wait for all of it, with earlier pages' logs dropped."""
        self._log("browser")
        self._log("performance")
        self._call("POST", f"{self.session}/url", {"url": path.as_uri()})
        # A new session on a busy machine answers before the page that it leaves is gone.
        _until(lambda: self.run(LOADED) == [path.as_uri(), "complete"])

    def size(self, width: int, height: int) -> None:
        """Set the size of the page in CSS pixels, as narrow as a telephone's."""
        metrics = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False}
        command = {"cmd": "Emulation.setDeviceMetricsOverride", "params": metrics}
        self._call("POST", f"{self.session}/goog/cdp/execute", command)

    def scripts(self, *, allowed: bool) -> None:
        """Let pages that are opened from now on run their own scripts, or not."""
        command = {"cmd": "Emulation.setScriptExecutionDisabled", "params": {"value": not allowed}}
        self._call("POST", f"{self.session}/goog/cdp/execute", command)

    def run(self, script: str, *args: Any) -> Any:
        """Run script text in the page and return what it returns; promises are awaited."""
        return self._call("POST", f"{self.session}/execute/sync", {"script": script, "args": args})

    def text(self, selector: str) -> str:
        """Return the text of the first element that a selector finds."""
        return str(self.run("return document.querySelector(arguments[0]).innerText", selector))

    def click(self, selector: str) -> None:
        """Click the first element that a selector finds, as a mouse does."""
        self._call("POST", f"{self.session}/element/{self._find(selector)}/click", {})

    def _find(self, selector: str) -> str:
        wanted = {"using": "css selector", "value": selector}
        return str(self._call("POST", f"{self.session}/element", wanted)[ELEMENT])

    def shown(self, selector: str) -> bool:
        """Return whether the first element that a selector finds can be seen."""
        found = self._find(selector)
        return bool(self._call("GET", f"{self.session}/element/{found}/displayed"))

    def press(self, keys: str) -> None:
        """Press keys one after the other on whatever has the focus."""
        steps = [{"type": kind, "value": k} for k in keys for kind in ("keyDown", "keyUp")]
        actions = [{"type": "key", "id": "keys", "actions": steps}]
        self._call("POST", f"{self.session}/actions", {"actions": actions})

    def _log(self, kind: str) -> list[dict[str, Any]]:
        return list(self._call("POST", f"{self.session}/se/log", {"type": kind}))

    def complaints(self) -> list[str]:
        """Return what the page wrote to the console since it was opened."""
        return [entry["message"] for entry in self._log("browser")]

    def requests(self) -> list[str]:
        """Return the addresses that were asked for since the page was opened."""
        events = [json.loads(entry["message"])["message"] for entry in self._log("performance")]
        return [
            event["params"]["request"]["url"]
            for event in events
            if event["method"] == "Network.requestWillBeSent"
        ]

    def close(self) -> None:
        """End the session."""
        self._call("DELETE", self.session)


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture(scope="session")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """Return a headless Chromium, or skip where there is none."""
    if not (shutil.which("chromium") or shutil.which("google-chrome")):
        pytest.skip("no Chromium on this machine: install Debian's package chromium")
    driver = shutil.which("chromedriver")
    if not driver:
        pytest.skip("no chromedriver on this machine: install Debian's package chromium-driver")
    port = _free_port()
    quiet = subprocess.DEVNULL
    with subprocess.Popen([driver, f"--port={port}"], stdout=quiet, stderr=quiet) as process:
        address = f"http://127.0.0.1:{port}"
        try:
            _until(lambda: _answers(f"{address}/status"))
            session = Browser(address, tmp_path_factory.mktemp("profile"))
            yield session
            session.close()
        finally:
            process.terminate()


def _answers(address: str) -> bool:
    try:
        with urllib.request.urlopen(address, timeout=1):  # noqa: S310
            return True
    except OSError:
        return False


def _until(done: Callable[[], bool]) -> None:
    limit = time.monotonic() + START_S
    while not done():
        if time.monotonic() > limit:
            pytest.fail(f"the browser was not ready within {START_S:g} s")
        time.sleep(0.05)


@pytest.fixture(scope="session")
def axe() -> str:
    """Return the source of axe-core, or skip where it is not installed."""
    path = Path(__file__).parent / "node_modules" / "axe-core" / "axe.min.js"
    if not path.exists():
        pytest.skip("axe-core is not installed: run npm ci --prefix tests/browser")
    return path.read_text("utf-8")
