"""Firefox by WebDriver BiDi (W3C), which it speaks itself: no driver beside it.

<https://www.w3.org/TR/webdriver-bidi/>
"""

from __future__ import annotations

import base64
import json
import re
import subprocess
import time
from pathlib import Path
from typing import IO, Any, cast

import websocket

_LISTENING = re.compile(r"WebDriver BiDi listening on (ws://\S+)")
_PREFERENCES = """
user_pref("media.autoplay.default", 0);
user_pref("media.volume_scale", "0.0");
user_pref("app.normandy.enabled", false);
user_pref("datareporting.policy.dataSubmissionEnabled", false);
"""


class Firefox:
    """One browser with one page; what its console says is kept."""

    def __init__(self, binary: str, profile: Path) -> None:
        (profile / "user.js").write_text(_PREFERENCES)
        self._process = subprocess.Popen(
            [binary, "--headless", "--no-remote", "--profile", str(profile),
             "--remote-debugging-port", "0"],
            stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        address = _address(cast("IO[str]", self._process.stderr))
        self._socket = websocket.create_connection(
            f"{address}/session", suppress_origin=True, timeout=60
        )
        self._asked = 0
        self.complaints: list[str] = []
        self.call("session.new", capabilities={})
        self.call("session.subscribe", events=["log.entryAdded"])
        self._page = self.call("browsingContext.getTree")["contexts"][0]["context"]

    def call(self, method: str, **params: Any) -> dict[str, Any]:
        """The result of a command. Raises RuntimeError where the browser refuses it."""
        self._asked += 1
        self._socket.send(json.dumps({"id": self._asked, "method": method, "params": params}))
        while True:
            said = json.loads(self._socket.recv())
            if said.get("method") == "log.entryAdded" and said["params"]["level"] == "error":
                self.complaints.append(str(said["params"]["text"]))
            if said.get("id") != self._asked:
                continue
            if said["type"] == "error":
                raise RuntimeError(said["message"])
            return dict(said["result"])

    def open(self, address: str, width: int = 1440, height: int = 900) -> None:
        """Go to an address, on a screen of this size."""
        size = {"width": width, "height": height}
        self.call("browsingContext.setViewport", context=self._page, viewport=size)
        self.call("browsingContext.navigate", context=self._page, url=address, wait="complete")

    def value(self, expression: str) -> Any:
        """The value of a script's expression, of text, numbers and truth values."""
        said = self.call(
            "script.evaluate", expression=expression, target={"context": self._page},
            awaitPromise=True, userActivation=True,
        )  # fmt: skip
        assert said["type"] == "success", said
        return said["result"].get("value")

    def until(self, expression: str, patience: float = 20) -> None:
        """Wait until a script's expression is true."""
        end = time.monotonic() + patience
        while not self.value(expression):
            assert time.monotonic() < end, expression
            time.sleep(0.05)

    def keys(self, *pressed: str) -> None:
        """Press keys wherever the focus is."""
        strokes = [{"type": kind, "value": key} for key in pressed for kind in ("keyDown", "keyUp")]
        source = {"type": "key", "id": "keyboard", "actions": strokes}
        self.call("input.performActions", context=self._page, actions=[source])

    def click(self, css: str) -> None:
        """Click the middle of an element."""
        place = self.value(
            f"(() => {{ const one = document.querySelector({json.dumps(css)});"
            "one.scrollIntoView({ block: 'nearest' });"
            "const box = one.getBoundingClientRect();"
            "return `${box.left + box.width / 2} ${box.top + box.height / 2}`; })()"
        )
        x, y = (round(float(number)) for number in str(place).split())
        moves = [
            {"type": "pointerMove", "x": x, "y": y},
            {"type": "pointerDown", "button": 0},
            {"type": "pointerUp", "button": 0},
        ]
        source = {"type": "pointer", "id": "mouse", "actions": moves}
        self.call("input.performActions", context=self._page, actions=[source])

    def screenshot(self) -> bytes:
        shot = self.call("browsingContext.captureScreenshot", context=self._page)
        return base64.b64decode(shot["data"])

    def close(self) -> None:
        """End the browser."""
        self._socket.close()
        self._process.terminate()
        self._process.communicate(timeout=30)


def _address(lines: IO[str]) -> str:
    for line in lines:
        if found := _LISTENING.search(line):
            return found[1]
    raise RuntimeError("Firefox ended before it listened")
