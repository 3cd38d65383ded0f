"""chrome.py: a headless Chromium driven through its DevTools protocol over two pipes, with nothing
but Python's own library. Every launch has a profile of its own, which is removed at the end."""
import json
import os
import select
import shutil
import subprocess
import tempfile
import time

FLAGS = [
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--disable-default-apps", "--disable-dev-shm-usage", "--mute-audio", "--hide-scrollbars",
    "--no-default-browser-check", "--remote-debugging-pipe",
]


def find():
    for name in ("chromium", "chromium-browser"):
        path = shutil.which(name)
        if path:
            return path
    return None


class Chrome:
    """One browser with one page."""

    def __init__(self, program, timeout=120):
        self.timeout = timeout
        self.profile = tempfile.mkdtemp(prefix="dw-browser-")
        to_read, self.to = os.pipe()
        self.back, from_write = os.pipe()

        def pipes():  # the browser reads commands from 3 and answers on 4
            a, b = os.dup(to_read), os.dup(from_write)
            os.dup2(a, 3)
            os.dup2(b, 4)

        self.process = subprocess.Popen(
            [program, *FLAGS, "--user-data-dir=" + self.profile, "about:blank"],
            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
            close_fds=False, preexec_fn=pipes)
        os.close(to_read)
        os.close(from_write)
        self.number, self.pending, self.events, self.session = 0, b"", [], None
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        self.session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Network", "Log"):
            self.call(domain + ".enable")

    def _message(self, until):
        while b"\0" not in self.pending:
            left = until - time.monotonic()
            if left <= 0 or not select.select([self.back], [], [], left)[0]:
                raise TimeoutError("the browser did not answer in time")
            data = os.read(self.back, 1 << 20)
            if not data:
                raise EOFError("the browser ended")
            self.pending += data
        raw, self.pending = self.pending.split(b"\0", 1)
        return json.loads(raw)

    def call(self, method, **params):
        self.number += 1
        message = {"id": self.number, "method": method, "params": params}
        if self.session:
            message["sessionId"] = self.session
        data = json.dumps(message).encode() + b"\0"
        while data:
            data = data[os.write(self.to, data):]
        until = time.monotonic() + self.timeout
        while True:
            answer = self._message(until)
            if answer.get("id") == self.number:
                if "error" in answer:
                    raise RuntimeError("%s: %s" % (method, answer["error"]["message"]))
                return answer["result"]
            self.events.append(answer)

    def wait(self, method):
        """The next event of that name, those that came before included."""
        until = time.monotonic() + self.timeout
        while True:
            for i, event in enumerate(self.events):
                if event.get("method") == method:
                    return self.events.pop(i)["params"]
            self.events.append(self._message(until))

    def evaluate(self, expression):
        result = self.call("Runtime.evaluate", expression=expression, returnByValue=True,
                           awaitPromise=True)
        if "exceptionDetails" in result:
            raise RuntimeError(json.dumps(result["exceptionDetails"])[:500])
        return result["result"].get("value")

    def screen(self, width, height, dark):
        self.call("Emulation.setDeviceMetricsOverride", width=width, height=height,
                  deviceScaleFactor=1, mobile=width < 600)
        self.call("Emulation.setEmulatedMedia", media="screen", features=[
            {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}])

    def open(self, path):
        self.events.clear()
        self.call("Page.navigate", url="file://" + os.path.abspath(path))
        self.wait("Page.loadEventFired")

    def picture(self, path, whole=True):
        import base64
        data = self.call("Page.captureScreenshot", format="png", captureBeyondViewport=whole)
        with open(path, "wb") as out:
            out.write(base64.b64decode(data["data"]))

    def close(self):
        try:
            self.session = None
            self.call("Browser.close")
            self.process.wait(20)
        except Exception:  # it ends one way or the other
            self.process.kill()
            self.process.wait()
        os.close(self.to)
        os.close(self.back)
        shutil.rmtree(self.profile, ignore_errors=True)
