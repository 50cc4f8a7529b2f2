"""Three browser engines behind one thin protocol: Chromium, Firefox and WebKit, each driven from Python by an open standard.

Chromium is driven by playwright, Firefox by WebDriver BiDi (W3C) over its own socket, WebKit by WebDriver (W3C) through the
driver that Debian has. What is clicked is found in the page by role and accessible name, and then pressed with the engine's
own mouse and keys, so that one test holds for all three. Sound goes to a PulseAudio sink that nobody hears: without a sound
device Firefox never begins to play.
"""

from __future__ import annotations

import base64
import contextlib
import http.client
import itertools
import json
import os
import re
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator, Mapping, Sequence
from importlib import import_module
from pathlib import Path
from typing import Any, Protocol

from tests.browser.conftest import PATIENCE, not_here

ENGINES = ("chromium", "firefox", "webkit")
WIDTH, HEIGHT = 1200, 900
_SECONDS = PATIENCE / 1000
_PULSE = 0.05
_INSTALL = "bash .ci/system"

Target = str | tuple[str, str]
"""What is meant on a page: a CSS selector, or a role and a name (`("button", "Play idea 1")`); a name may be the begin of one."""

FINDER = """((target) => {
  const roles = {
    button: "button, summary, [role=button]", textbox: "textarea, input:not([type]), input[type=text], input[type=search]",
    combobox: "select", checkbox: "input[type=checkbox], [role=checkbox]", link: "a[href]", slider: "input[type=range]",
  };
  const plain = (text) => (text ?? "").replace(/\\s+/g, " ").trim();
  const named = (each) => plain(
    each.getAttribute("aria-label")
    || (each.getAttribute("aria-labelledby") ?? "").split(" ").map((id) => document.getElementById(id)?.textContent ?? "").join(" ").trim()
    || [...(each.labels ?? [])].map((label) => label.textContent).join(" ")
    || each.textContent || each.title);
  const seen = (each) => each.checkVisibility({ visibilityProperty: true });
  if (typeof target === "string") return [...document.querySelectorAll(target)].find(seen) ?? null;
  const [role, name] = target;
  const found = [...document.querySelectorAll(roles[role] ?? `[role=${role}]`)].filter(seen);
  return found.find((each) => named(each) === name) ?? found.find((each) => named(each).startsWith(name)) ?? null;
})"""
"""A JavaScript function that gives the element of a target, null while there is none to be seen."""
MIDDLE = """(async (find) => {
  const middle = () => {
    const { left, top, width, height } = find().getBoundingClientRect();
    return [left + width / 2, top + height / 2];
  };
  find().scrollIntoView({ block: "center", inline: "center", behavior: "instant" });
  let before = [NaN, NaN];
  for (let now = middle(); now.join() !== before.join(); now = middle()) {
    before = now;
    await new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)));
  }
  return before;
})"""
"""The middle of an element in the window, once it has come to rest there."""


class Engine(Protocol):
    """What an engine must do: open an address, evaluate, and move a mouse and keys as a person does."""

    name: str

    def goto(self, address: str) -> None:
        """Open an address and wait until it has loaded."""

    def evaluate(self, expression: str) -> Any:
        """The value of a JavaScript expression as JSON has it; a promise is waited for."""

    def press_at(self, x: float, y: float) -> None:
        """Press the mouse's first button at a place in the window."""

    def keys(self, *keys: str) -> None:
        """Press keys one after another; longer names than one sign are those of `KEYS`."""

    def pdf(self) -> bytes | None:
        """The page printed; None where the engine's driver can't."""

    def forget(self) -> None:
        """Leave nothing of a page for the next test."""


KEYS = {"Enter": "\ue007", "Tab": "\ue004", "Escape": "\ue00c", "Backspace": "\ue003", "ArrowRight": "\ue014"}
"""Keys without a sign, as the table of WebDriver (W3C, 17.4.2) has them."""


class Tab:
    """A page that is open in an engine."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self._answers = itertools.count()

    def open(self, address: str) -> None:
        self.engine.goto(address)

    def reload(self) -> None:
        """Leave the page and open its address again, as it is by now."""
        address = self.evaluate("location.href")
        self.engine.goto("about:blank")
        self.engine.goto(address)

    def evaluate(self, expression: str) -> Any:
        return self.engine.evaluate(expression)

    def wait(self, condition: str) -> None:
        """Until a JavaScript expression holds."""
        ends = time.monotonic() + _SECONDS
        while time.monotonic() < ends:
            if self.evaluate(f"Boolean({condition})"):
                return
            time.sleep(_PULSE)
        raise AssertionError(f"never came true in {self.engine.name}: {condition}")

    def shown(self, target: Target) -> str:
        """A JavaScript expression: the element of a target, null while it isn't there."""
        return f"{FINDER}({json.dumps(target)})"

    def text(self, target: Target) -> str:
        """The text of an element as it is read."""
        self.wait(self.shown(target))
        return str(self.evaluate(f"{self.shown(target)}.innerText"))

    def click(self, target: Target) -> None:
        """Press something that can be seen."""
        self.wait(self.shown(target))
        x, y = self.evaluate(f"{MIDDLE}(() => {self.shown(target)})")
        self.engine.press_at(x, y)

    def fill(self, target: Target, text: str) -> None:
        """Type a text key by key in place of what a field holds."""
        self.click(target)
        self.evaluate(f"{self.shown(target)}.select()")
        self.engine.keys(*text)

    def choose(self, target: Target, label: str) -> None:
        """Choose from a list by the begin of a label. Lists open outside of the page, where no driver reaches."""
        self.wait(self.shown(target))
        self.evaluate(
            f"((list) => {{ list.value = [...list.options].find((each) => each.label.startsWith({json.dumps(label)})).value;"
            " for (const name of ['input', 'change']) list.dispatchEvent(new Event(name, { bubbles: true })); })"
            f"({self.shown(target)})"
        )

    def press(self, key: str) -> None:
        self.engine.keys(key)

    def watch_files(self) -> None:
        """Note what the page gives to keep from now on."""
        self.evaluate(
            "(window.given ??= ((make) => { const given = [];"
            " URL.createObjectURL = (blob) => { given.push(blob); return make.call(URL, blob); }; return given; })"
            "(URL.createObjectURL)).length"
        )

    def file(self, number: int = -1) -> bytes:
        """The content of a file that the page gave."""
        self.wait("given.length")
        read = (
            f"given.at({number}).arrayBuffer().then((all) => [...new Uint8Array(all)]"
            ".map((byte) => String.fromCharCode(byte)).join('')).then(btoa)"
        )
        return base64.b64decode(self.evaluate(read))


# Chromium


class Chromium:
    """By playwright."""

    name = "chromium"

    def __init__(self, page: Any) -> None:
        self.page = page

    def goto(self, address: str) -> None:
        self.page.goto(address)

    def evaluate(self, expression: str) -> Any:
        return self.page.evaluate(f"async () => ({expression})")

    def press_at(self, x: float, y: float) -> None:
        self.page.mouse.click(x, y)

    def keys(self, *keys: str) -> None:
        for key in keys:
            self.page.keyboard.press(
                {" ": "Space"}.get(key, key)
            ) if key in KEYS else self.page.keyboard.type(key)

    def pdf(self) -> bytes | None:
        made: bytes = self.page.pdf()
        return made

    def forget(self) -> None:
        self.page.evaluate("localStorage.clear()")
        self.page.goto("about:blank")


@contextlib.contextmanager
def in_chromium(browser: Any) -> Iterator[Engine]:
    """A tab in a browser that playwright runs; it needs no sound device."""
    context = browser.new_context(viewport={"width": WIDTH, "height": HEIGHT})
    yield Chromium(context.new_page())
    context.close()


# Firefox

_PREFERENCES = {
    "browser.download.dir": "",
    "browser.download.folderList": 2,
    "browser.shell.checkDefaultBrowser": False,
    "app.update.enabled": False,
    "datareporting.policy.dataSubmissionEnabled": False,
    "network.captive-portal-service.enabled": False,
    "network.connectivity-service.enabled": False,
    "services.settings.server": "data:,",
}
"""Of a profile for tests: nothing is asked of anybody, and files are kept without a question."""


class Firefox:
    """By WebDriver BiDi, which the browser speaks itself."""

    name = "firefox"

    def __init__(self, link: Any) -> None:
        self._link = link
        self._numbers = itertools.count(1)
        self.do("session.new", capabilities={})
        self._context = self.do("browsingContext.getTree")["contexts"][0]["context"]
        self.do(
            "browsingContext.setViewport", context=self._context, viewport={"width": WIDTH, "height": HEIGHT}
        )

    def do(self, method: str, **settings: Any) -> Any:
        """The result of a command."""
        number = next(self._numbers)
        self._link.send(json.dumps({"id": number, "method": method, "params": settings}))
        while (answer := json.loads(self._link.recv())).get("id") != number:
            pass
        if answer["type"] != "success":
            raise AssertionError(f"{method}: {answer.get('error')}: {answer.get('message')}")
        return answer["result"]

    def goto(self, address: str) -> None:
        self.do("browsingContext.navigate", context=self._context, url=address, wait="complete")

    def evaluate(self, expression: str) -> Any:
        answer = self.do(
            "script.evaluate",
            expression=f"(async () => JSON.stringify(await ({expression})) ?? null)()",
            target={"context": self._context},
            awaitPromise=True,
            userActivation=False,
        )
        if answer["type"] != "success":
            raise AssertionError(f"{expression}: {answer['exceptionDetails']['text']}")
        value = answer["result"].get("value")
        return None if value is None else json.loads(value)

    def press_at(self, x: float, y: float) -> None:
        self._act("pointer", _presses(x, y))

    def keys(self, *keys: str) -> None:
        self._act("key", _strokes(keys))

    def _act(self, kind: str, actions: Sequence[Mapping[str, Any]]) -> None:
        self.do(
            "input.performActions",
            context=self._context,
            actions=[{"type": kind, "id": kind, "actions": actions}],
        )

    def pdf(self) -> bytes | None:
        return base64.b64decode(self.do("browsingContext.print", context=self._context)["data"])

    def forget(self) -> None:
        self.evaluate("localStorage.clear()")
        self.goto("about:blank")


def _presses(x: float, y: float) -> list[dict[str, Any]]:
    """A press of the mouse, as the actions of WebDriver (W3C, 17.3) have it."""
    return [
        {"type": "pointerMove", "x": round(x), "y": round(y), "duration": 0},
        {"type": "pointerDown", "button": 0},
        {"type": "pointerUp", "button": 0},
    ]


def _strokes(keys: Sequence[str]) -> list[dict[str, Any]]:
    """Keys pressed and let go, one after another."""
    signs = [KEYS.get(key, key) for key in keys]
    return [{"type": kind, "value": sign} for sign in signs for kind in ("keyDown", "keyUp")]


@contextlib.contextmanager
def in_firefox(folder: Path) -> Iterator[Engine]:
    """A tab in a Firefox of its own, with a folder for its profile."""
    path = os.environ.get("FIREFOX") or shutil.which("firefox-esr") or shutil.which("firefox")
    if not path:
        not_here("there is no firefox on the path", f"{_INSTALL} (or: apt-get install firefox-esr)")
    profile = folder / "profile"
    profile.mkdir()
    chosen = {**_PREFERENCES, "browser.download.dir": str(folder)}
    lines = [f"user_pref({json.dumps(name)}, {json.dumps(value)});" for name, value in chosen.items()]
    (profile / "user.js").write_text("\n".join(lines), encoding="utf-8")
    command = [path, "--headless", "--no-remote", "--profile", str(profile), "--remote-debugging-port=0"]
    command.append("about:blank")
    said = folder / "said.txt"  # a file, as a pipe that nobody reads on would stop it once it is full
    with (
        silent_sound(folder) as surroundings,
        said.open("w") as kept,
        _running(command, surroundings, stderr=kept) as process,
    ):
        ends = time.monotonic() + _SECONDS
        while not (found := re.search(r"BiDi listening on (ws://\S+)\s", said.read_text(errors="replace"))):
            assert process.poll() is None, "firefox ended"
            assert time.monotonic() < ends, "firefox did not begin"
            time.sleep(_PULSE)
        address = found[1]
        connect = import_module("websocket").create_connection
        link = connect(f"{address}/session", suppress_origin=True, timeout=_SECONDS)
        try:
            yield Firefox(link)
        finally:
            link.close()


# WebKit


class WebKit:
    """By WebDriver: each command is a request with JSON."""

    name = "webkit"

    def __init__(self, port: int, browser: str) -> None:
        self._port = port
        options = {"binary": browser, "args": ["--automation"]}
        wanted = {"browserName": "MiniBrowser", "webkitgtk:browserOptions": options}
        begun = self.do("POST", "/session", {"capabilities": {"alwaysMatch": wanted}})
        self._session = f"/session/{begun['sessionId']}"
        self._ask("window/rect", {"x": 0, "y": 0, "width": WIDTH, "height": HEIGHT})

    def do(self, method: str, path: str, document: Any = None) -> Any:
        """The value that answers a command."""
        link = http.client.HTTPConnection("127.0.0.1", self._port, timeout=2 * _SECONDS)
        try:
            link.request(method, path, None if document is None else json.dumps(document))
            came = link.getresponse()
            value = json.loads(came.read())["value"]
        finally:
            link.close()
        if came.status != 200:
            raise AssertionError(f"{path}: {value['error']}: {value['message']}")
        return value

    def _ask(self, what: str, document: Any) -> Any:
        return self.do("POST", f"{self._session}/{what}", document)

    def goto(self, address: str) -> None:
        self._ask("url", {"url": address})

    def evaluate(self, expression: str) -> Any:
        script = (
            "const done = arguments[0];"
            f"(async () => ({expression}))().then((value) => done([value ?? null]), (error) => done(String(error)));"
        )
        answer = self._ask("execute/async", {"script": script, "args": []})
        if isinstance(answer, str):
            raise AssertionError(f"{expression}: {answer}")
        return answer[0]

    def press_at(self, x: float, y: float) -> None:
        self._act("pointer", _presses(x, y))

    def keys(self, *keys: str) -> None:
        self._act("key", _strokes(keys))

    def _act(self, kind: str, actions: Sequence[Mapping[str, Any]]) -> None:
        self._ask("actions", {"actions": [{"type": kind, "id": kind, "actions": actions}]})

    def pdf(self) -> bytes | None:
        return None

    def forget(self) -> None:
        self.evaluate("localStorage.clear()")
        self.goto("about:blank")

    def end(self) -> None:
        """Close the browser."""
        self.do("DELETE", self._session)


@contextlib.contextmanager
def in_webkit(folder: Path) -> Iterator[Engine]:
    """A tab in a WebKit of its own, on a screen that nobody sees."""
    path = os.environ.get("WEBKIT_DRIVER") or shutil.which("WebKitWebDriver")
    browsers = sorted(Path("/usr/lib").glob("*/webkit2gtk-4.*/MiniBrowser"))
    if not path or not browsers or not shutil.which("Xvfb"):
        not_here(
            "there is no WebKit with its driver, or no Xvfb",
            f"{_INSTALL} (or: apt-get install webkit2gtk-driver xvfb)",
        )
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [path, f"--port={port}", "--host=127.0.0.1"]
    with contextlib.ExitStack() as stack:
        surroundings = stack.enter_context(silent_sound(folder))
        display = stack.enter_context(_screen())
        process = stack.enter_context(_running(command, {**surroundings, "DISPLAY": display}))
        _until_open(port, process)
        made = WebKit(port, str(browsers[-1]))
        stack.callback(made.end)
        yield made


@contextlib.contextmanager
def _screen() -> Iterator[str]:
    """A screen that nobody sees, of a free number."""
    told, tell = os.pipe()
    command = ["Xvfb", "-screen", "0", "1400x1000x24", "-nolisten", "tcp", "-displayfd", str(tell)]
    with _running(command, os.environ, pass_fds=[tell]), os.fdopen(told) as number:
        os.close(tell)
        yield f":{number.readline().strip()}"


# What all of them need


@contextlib.contextmanager
def _running(
    command: Sequence[str], surroundings: Mapping[str, str], **more: Any
) -> Iterator[subprocess.Popen[Any]]:
    """A process that runs as long as the block; what it says is dropped unless it is asked for."""
    quiet = {"stdin": subprocess.DEVNULL, "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    process = subprocess.Popen(command, env=dict(surroundings), **{**quiet, **more})
    try:
        yield process
    finally:
        process.terminate()
        try:
            process.wait(10)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def _until_open(port: int, process: subprocess.Popen[Any]) -> None:
    """Until a process takes connections at a port."""
    ends = time.monotonic() + _SECONDS
    while time.monotonic() < ends and process.poll() is None:
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
            return
        time.sleep(_PULSE)
    raise AssertionError("the driver did not begin")


@contextlib.contextmanager
def silent_sound(folder: Path) -> Iterator[dict[str, str]]:
    """A sound device that nobody hears; the environment in which programs find it."""
    if not shutil.which("pulseaudio"):
        not_here("there is no pulseaudio", f"{_INSTALL} (or: apt-get install pulseaudio)")
    place = folder / "sound.socket"
    command = [
        "pulseaudio",
        "-n",
        "--daemonize=no",
        "--exit-idle-time=-1",
        "--use-pid-file=no",
        "--disable-shm=yes",
    ]
    loads = ("module-null-sink", f"module-native-protocol-unix auth-anonymous=1 socket={place}")
    surroundings = {**os.environ, "XDG_RUNTIME_DIR": str(folder), "HOME": str(folder)}
    with _running([*command, *(f"--load={each}" for each in loads)], surroundings) as process:
        ends = time.monotonic() + _SECONDS
        while not place.exists():
            assert process.poll() is None, "pulseaudio ended"
            assert time.monotonic() < ends, "pulseaudio did not begin"
            time.sleep(_PULSE)
        yield {**surroundings, "PULSE_SERVER": f"unix:{place}"}
