"""A page in headless Chromium, driven over the DevTools pipe: no driver, no port and no package needed."""

from __future__ import annotations

import base64
import fcntl
import json
import os
import select
import shutil
import signal
import time
from pathlib import Path
from typing import Any, Self

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
FLAGS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--mute-audio",
    "--autoplay-policy=no-user-gesture-required",
    "--remote-debugging-pipe",
)
PATIENCE_S = 180
"""A test waits for conditions; only what never comes true takes so long, on a busy machine too."""


def find_chromium() -> str | None:
    """Return a Chromium's path: ``CUELANE_CHROMIUM`` if set, else the first on the path."""
    named = os.environ.get("CUELANE_CHROMIUM")
    return named or next((found for name in NAMES if (found := shutil.which(name))), None)


def _high_pipe() -> tuple[int, int]:
    """Return a pipe whose ends are out of the way of descriptors 3 and 4."""
    ends = os.pipe()
    high = tuple(fcntl.fcntl(end, fcntl.F_DUPFD_CLOEXEC, 10) for end in ends)
    for end in ends:
        os.close(end)
    return high[0], high[1]


class Browser:
    """One Chromium, its profile in `folder`; :meth:`page` opens a tab in a context of its own."""

    def __init__(self, program: str, folder: Path, *flags: str) -> None:
        to_read, self._to = _high_pipe()
        self._from, to_write = _high_pipe()
        command = [program, *FLAGS, *flags, f"--user-data-dir={folder}", "about:blank"]
        # The browser reads commands on descriptor 3 and answers on 4.
        actions = [
            (os.POSIX_SPAWN_OPEN, 1, os.devnull, os.O_WRONLY, 0),
            (os.POSIX_SPAWN_OPEN, 2, os.devnull, os.O_WRONLY, 0),
            (os.POSIX_SPAWN_DUP2, to_read, 3),
            (os.POSIX_SPAWN_DUP2, to_write, 4),
        ]
        self._process = os.posix_spawn(program, command, os.environ, file_actions=actions)
        os.close(to_read)
        os.close(to_write)
        self._buffer = b""
        self._last_id = 0
        self._events: list[dict[str, Any]] = []

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        try:
            self.call("Browser.close")
        except (OSError, TimeoutError):
            os.kill(self._process, signal.SIGKILL)
        os.waitpid(self._process, 0)
        os.close(self._to)
        os.close(self._from)

    def call(self, method: str, session: str | None = None, /, **parameters: Any) -> dict[str, Any]:
        """Send one command and return its result; events that come meanwhile are kept."""
        self._last_id += 1
        message: dict[str, Any] = {"id": self._last_id, "method": method, "params": parameters}
        if session:
            message["sessionId"] = session
        data = json.dumps(message).encode() + b"\0"
        while data:
            data = data[os.write(self._to, data) :]
        end = time.monotonic() + PATIENCE_S
        while True:
            answer = self._next(end)
            if answer is None:
                raise TimeoutError(f"no answer to {method} in {PATIENCE_S} s")
            if answer.get("id") == self._last_id:
                if "error" in answer:
                    raise RuntimeError(f"{method}: {answer['error']['message']}")
                return dict(answer.get("result", {}))
            self._events.append(answer)

    def _next(self, end: float) -> dict[str, Any] | None:
        while b"\0" not in self._buffer:
            ready, _, _ = select.select([self._from], [], [], max(0.0, end - time.monotonic()))
            if not ready:
                return None
            data = os.read(self._from, 1 << 20)
            if not data:
                raise OSError("the browser went away")
            self._buffer += data
        raw, self._buffer = self._buffer.split(b"\0", 1)
        return dict(json.loads(raw))

    def events(self, session: str) -> list[dict[str, Any]]:
        """Return the events of a tab so far."""
        self.call("Browser.getVersion")
        return [event for event in self._events if event.get("sessionId") == session]

    def page(
        self,
        width: int = 1440,
        height: int = 900,
        *,
        scheme: str = "light",
        script: bool = True,
        context: str = "",
    ) -> Page:
        """Open an empty tab of this size and colour scheme, with or without JavaScript.

        It has a context of its own, unless it is to share the cookies of another's.
        """
        context = context or self.call("Target.createBrowserContext")["browserContextId"]
        target = self.call("Target.createTarget", url="about:blank", browserContextId=context)["targetId"]
        session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        tab = Page(self, session, target)
        for domain in ("Page", "Runtime", "Log", "Network"):
            tab.call(f"{domain}.enable")
        tab.call(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=1,
            mobile=False,
        )
        tab.media(scheme)
        if not script:
            tab.call("Emulation.setScriptExecutionDisabled", value=True)
        return tab


class Page:
    """A tab."""

    def __init__(self, browser: Browser, session: str, target: str) -> None:
        self._browser = browser
        self._session = session
        self._target = target

    def close(self) -> None:
        """Close the tab. One that is left open goes on with what it does, a microphone with it."""
        self._browser.call("Target.closeTarget", targetId=self._target)

    def call(self, method: str, **parameters: Any) -> dict[str, Any]:
        return self._browser.call(method, self._session, **parameters)

    def media(self, scheme: str, *, medium: str = "", motion: str = "no-preference") -> None:
        """Set the preferred colour scheme, the medium and the wish for less motion."""
        features = [
            {"name": "prefers-color-scheme", "value": scheme},
            {"name": "prefers-reduced-motion", "value": motion},
        ]
        self.call("Emulation.setEmulatedMedia", media=medium, features=features)

    def open(self, path: Path, fragment: str = "") -> None:
        """Open a file and wait until it has loaded."""
        self.call("Page.navigate", url=path.as_uri() + fragment)
        self.wait("document.readyState === 'complete' && location.protocol === 'file:'")

    def run(self, expression: str) -> Any:
        """Return the value of a JavaScript expression; a promise is awaited."""
        answer = self.call("Runtime.evaluate", expression=expression, awaitPromise=True, returnByValue=True)
        if "exceptionDetails" in answer:
            raise RuntimeError(f"{expression[:80]}: {answer['exceptionDetails']}")
        return answer["result"].get("value")

    def wait(self, expression: str) -> None:
        """Wait until a JavaScript expression is true."""
        end = time.monotonic() + PATIENCE_S
        while not self.run(expression):
            if time.monotonic() > end:
                raise TimeoutError(f"never came true: {expression}")
            time.sleep(0.02)

    def press(self, key: str, *, code: str = "", text: str = "", held: str = "") -> None:
        """Press and release a key, as a keyboard would; `held` is ``Shift`` or ``Control`` meanwhile."""
        typed = text or (key if len(key) == 1 else "\r" if key == "Enter" else "")
        names = {" ": "Space", "/": "Slash"}
        fields = {"key": key, "code": code or names.get(key, key), "windowsVirtualKeyCode": _KEYS.get(key, 0)}
        fields["modifiers"] = {"": 0, "Control": 2, "Shift": 8}[held]
        # What the keys do in a text field is told by the system, of which a page without a screen has none.
        fields["commands"] = ["selectAll"] if (held, key) == ("Control", "a") else []
        typed = "" if held == "Control" else typed
        self.call("Input.dispatchKeyEvent", type="keyDown", text=typed, **fields)
        self.call("Input.dispatchKeyEvent", type="keyUp", **fields | {"commands": []})

    def click(self, selector: str, across: float = 0.5) -> None:
        """Click an element, at a part of its width, after bringing it into view."""
        box = self.run(
            f"(() => {{ const e = document.querySelector({json.dumps(selector)});"
            " e.scrollIntoView({block: 'center'}); const b = e.getBoundingClientRect();"
            " return [b.left, b.top, b.width, b.height]; })()"
        )
        place = {"x": box[0] + box[2] * across, "y": box[1] + box[3] / 2, "button": "left", "clickCount": 1}
        for kind in ("mousePressed", "mouseReleased"):
            self.call("Input.dispatchMouseEvent", type=kind, **place)

    def pdf(self, width_in: float, height_in: float) -> bytes:
        """Return the page printed as a browser does unless told otherwise: no background graphics."""
        answer = self.call(
            "Page.printToPDF", paperWidth=width_in, paperHeight=height_in, printBackground=False
        )
        return base64.b64decode(answer["data"])

    def violations(self, axe: Path) -> list[Any]:
        """Return what axe-core, the script at `axe`, finds against WCAG 2.2 A and AA or best practices."""
        self.call("Page.setBypassCSP", enabled=True)
        self.run(axe.read_text(encoding="utf-8"))
        return self.run(
            f"axe.run(document, {{runOnly: {json.dumps(_AXE_RULES)}}})"
            ".then(r => r.violations.map(v => [v.id, v.nodes.map(n => n.html)]))"
        )

    def complaints_of_console(self) -> list[str]:
        """Return all that the console and the log said, without the requests."""
        return [row for row in self.complaints() if not row.startswith("request:")]

    def complaints(self) -> list[str]:
        """Return all that the console and the log said, and every request that left the file's folder."""
        found = []
        for event in self._browser.events(self._session):
            parameters = event["params"]
            if event["method"] == "Runtime.consoleAPICalled":
                found.append(f"console: {[arg.get('value') for arg in parameters['args']]}")
            elif event["method"] == "Runtime.exceptionThrown":
                found.append(f"exception: {parameters['exceptionDetails']}")
            elif event["method"] == "Log.entryAdded":
                found.append(f"log: {parameters['entry']['text']}")
            elif event["method"] == "Network.requestWillBeSent":
                url = parameters["request"]["url"]
                if not url.startswith(("file:", "data:", "about:")):
                    found.append(f"request: {url}")
        return found


_AXE_RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
_KEYS = {
    "Enter": 13,
    "Escape": 27,
    " ": 32,
    "PageUp": 33,
    "PageDown": 34,
    "End": 35,
    "Home": 36,
    "ArrowLeft": 37,
    "ArrowUp": 38,
    "ArrowRight": 39,
    "ArrowDown": 40,
    "Tab": 9,
}
