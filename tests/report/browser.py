"""Headless Chromium driven over its debugging pipe (Chrome DevTools Protocol), with the standard library alone."""

from __future__ import annotations

import base64
import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update", "--hide-scrollbars", "--remote-debugging-pipe",
)  # fmt: skip


#: The protocol's pipe is file descriptors 3 (to the browser) and 4 (from it).
_LAUNCH = """
import fcntl, os, sys
reading, writing = (fcntl.fcntl(int(word), fcntl.F_DUPFD, 20) for word in sys.argv[1:3])
os.dup2(reading, 3); os.dup2(writing, 4)
os.execv(sys.argv[3], sys.argv[3:])
"""


def chromium() -> str | None:
    """Return the path of a Chromium, or None."""
    return next((path for name in NAMES if (path := shutil.which(name))), None)


class Browser:
    """One page in one browser; `events` holds everything the browser told besides answers."""

    def __init__(self) -> None:
        self._profile = tempfile.mkdtemp(prefix="traceanalyze-browser-")
        to_browser, self._write = os.pipe()
        self._read, from_browser = os.pipe()
        program = chromium()
        assert program is not None
        self._process = subprocess.Popen(
            [sys.executable, "-c", _LAUNCH, str(to_browser), str(from_browser), program, *FLAGS,
             f"--user-data-dir={self._profile}", "about:blank"],
            pass_fds=(to_browser, from_browser),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )  # fmt: skip
        os.close(to_browser)
        os.close(from_browser)
        self._number = 0
        self._rest = b""
        self._session: str | None = None
        self.events: list[dict[str, Any]] = []
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        self._session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Network", "Log"):
            self.call(f"{domain}.enable")

    def call(self, method: str, **params: Any) -> dict[str, Any]:
        """Send one command and return its answer."""
        self._number += 1
        message: dict[str, Any] = {"id": self._number, "method": method, "params": params}
        if self._session:
            message["sessionId"] = self._session
        os.write(self._write, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._receive()
            if answer.get("id") == self._number:
                assert "error" not in answer, answer
                return answer["result"]
            self.events.append(answer)

    def _receive(self) -> dict[str, Any]:
        while b"\0" not in self._rest:
            piece = os.read(self._read, 1 << 16)
            assert piece, "the browser went away"
            self._rest += piece
        message, self._rest = self._rest.split(b"\0", 1)
        return json.loads(message)

    def open(
        self, path: Path, *, width: int = 1200, height: int = 900, scripts: bool = True, dark: bool = False
    ) -> None:
        """Load a page from a file and wait until it is there."""
        self.call("Emulation.setScriptExecutionDisabled", value=not scripts)
        features = [{"name": "prefers-color-scheme", "value": "dark" if dark else "light"}]
        self.call("Emulation.setEmulatedMedia", features=features)
        self.call(
            "Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=width < 600
        )
        self.events.clear()
        self.call("Page.navigate", url=path.resolve().as_uri())
        while not any(event.get("method") == "Page.loadEventFired" for event in self.events):
            self.events.append(self._receive())

    def value(self, expression: str) -> Any:
        """Return what a script expression gives."""
        answer = self.call("Runtime.evaluate", expression=expression, returnByValue=True)
        assert "exceptionDetails" not in answer, answer
        return answer["result"].get("value")

    def key(self, name: str) -> None:
        """Press and release a key."""
        for kind in ("keyDown", "keyUp"):
            self.call("Input.dispatchKeyEvent", type=kind, key=name, code=name)

    def pointer(self, x: float, y: float) -> None:
        """Move the pointer."""
        self.call("Input.dispatchMouseEvent", type="mouseMoved", x=x, y=y)

    def screenshot(self) -> bytes:
        """Return the whole page as PNG."""
        return base64.b64decode(self.call("Page.captureScreenshot", captureBeyondViewport=True)["data"])

    def pdf(self, *, width_in: float, height_in: float) -> bytes:
        """Return the page as it prints."""
        answer = self.call("Page.printToPDF", paperWidth=width_in, paperHeight=height_in, preferCSSPageSize=False)
        return base64.b64decode(answer["data"])

    def complaints(self) -> list[str]:
        """Return every console message, exception and log entry so far."""
        wanted = ("Runtime.consoleAPICalled", "Runtime.exceptionThrown", "Log.entryAdded")
        return [json.dumps(event["params"]) for event in self.events if event.get("method") in wanted]

    def requests(self) -> list[str]:
        """Return the address of every request so far."""
        sent = [event["params"] for event in self.events if event.get("method") == "Network.requestWillBeSent"]
        return [params["request"]["url"] for params in sent]

    def close(self) -> None:
        """End the browser and remove its profile."""
        self._process.kill()
        self._process.wait()
        os.close(self._write)
        os.close(self._read)
        shutil.rmtree(self._profile, ignore_errors=True)
