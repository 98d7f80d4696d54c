"""A page in a headless Chromium that is driven through a pipe: keys, scripts, downloads, print."""

from __future__ import annotations

import base64
import json
import os
import select
import subprocess
import time
from pathlib import Path
from types import TracebackType
from typing import Self

LONGEST_S = 60.0
"""How long an answer is waited for."""
KEYS = {"Tab": ("Tab", 9, ""), "Enter": ("Enter", 13, "\r"), "Backspace": ("Backspace", 8, "")}


class DrivenPage:
    """Opens a file; commands go in and answers come out as JSON, each ended by a zero byte.

    The commands are those of the Chrome DevTools Protocol (its published reference).
    """

    def __init__(self, chromium: str, page: Path, folder: Path) -> None:
        self.downloads = folder / "downloads"
        self.downloads.mkdir()
        into, self._write = os.pipe()
        self._read, out = os.pipe()
        command = [chromium, "--headless", "--no-sandbox", "--disable-gpu"]
        command += ["--remote-debugging-pipe", f"--user-data-dir={folder / 'driven'}"]
        command += ["--window-size=1200,900", "about:blank"]
        # The browser reads from descriptor 3 and writes to 4.
        shell = ["bash", "-c", f'exec "$@" 3<&{into} 4>&{out}', "bash", *command]
        self._run = subprocess.Popen(
            shell, pass_fds=(into, out), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        os.close(into)
        os.close(out)
        self._number, self._rest, self._session = 0, b"", None
        self.told: list[dict] = []
        targets = self.ask("Target.getTargets")["targetInfos"]
        target = next(one["targetId"] for one in targets if one["type"] == "page")
        attached = self.ask("Target.attachToTarget", targetId=target, flatten=True)
        self._session = attached["sessionId"]
        self.ask("Page.enable")
        self.ask(
            "Browser.setDownloadBehavior",
            behavior="allow",
            downloadPath=str(self.downloads),
            eventsEnabled=True,
        )
        self.ask("Page.navigate", url=page.as_uri())
        self.wait_for("Page.loadEventFired")

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._run.terminate()
        self._run.wait(10)
        os.close(self._read)
        os.close(self._write)

    def ask(self, method: str, **params: object) -> dict:
        """Send a command and return its answer."""
        self._number += 1
        sent = {"id": self._number, "method": method, "params": params}
        if self._session is not None:
            sent["sessionId"] = self._session
        os.write(self._write, json.dumps(sent).encode() + b"\0")
        while True:
            told = self._next()
            if told.get("id") == self._number:
                assert "error" not in told, told
                return told["result"]
            self.told.append(told)

    def wait_for(self, method: str, **params: object) -> dict:
        """Wait until the browser tells something of this name with these parameters."""
        while True:
            for told in self.told:
                given = told.get("params", {})
                if told.get("method") == method and params.items() <= given.items():
                    self.told.remove(told)
                    return given
            self.told.append(self._next())

    def run(self, script: str) -> object:
        """Return the value of an expression in the page."""
        told = self.ask("Runtime.evaluate", expression=script, returnByValue=True)
        assert "exceptionDetails" not in told, told["exceptionDetails"]
        return told["result"].get("value")

    def press(self, key: str) -> None:
        """Press and let go one key."""
        name, number, text = KEYS.get(key, (key, ord(key[0].upper()), key))
        event = {"key": name, "code": name, "windowsVirtualKeyCode": number}
        kind = "keyDown" if text else "rawKeyDown"
        self.ask("Input.dispatchKeyEvent", type=kind, text=text, **event)
        self.ask("Input.dispatchKeyEvent", type="keyUp", **event)

    def tab_to(self, wanted: str, most: int) -> None:
        """Press the tabulator until the element that has the focus fits a selector."""
        for _ in range(most):
            self.press("Tab")
            if self.run(f"document.activeElement.matches({json.dumps(wanted)})"):
                return
        raise AssertionError(f"{wanted} is not reached with {most} tabulators")

    def write(self, text: str) -> None:
        """Write into what has the focus."""
        self.ask("Input.insertText", text=text)

    def downloaded(self) -> Path:
        """Wait for the next download to be done and return its file."""
        name = self.wait_for("Browser.downloadWillBegin")["suggestedFilename"]
        self.wait_for("Browser.downloadProgress", state="completed")
        return self.downloads / name

    def print_to(self, path: Path) -> Path:
        """Print the page as it stands now."""
        told = self.ask("Page.printToPDF", preferCSSPageSize=True)
        path.write_bytes(base64.b64decode(told["data"]))
        return path

    def _next(self) -> dict:
        until_s = time.monotonic() + LONGEST_S
        while b"\0" not in self._rest:
            left_s = until_s - time.monotonic()
            ready, _, _ = select.select([self._read], [], [], max(left_s, 0.0))
            assert ready, "the browser does not answer"
            more = os.read(self._read, 1 << 20)
            assert more, "the browser has ended"
            self._rest += more
        told, _, self._rest = self._rest.partition(b"\0")
        return json.loads(told)
