"""A page opened in a real browser: what it measures there, and what it looks like."""

import html
import json
import re
import shutil
import subprocess
import tempfile
from collections.abc import Sequence
from pathlib import Path

BROWSER = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
]


def measure(page: str, script: str) -> object:
    """The JSON value of a script's ``return`` in the page, after layout."""
    return _opened(page.replace("</body>", _probe("(() => {" + script + "})()") + "</body>"))


def measure_each(pages: Sequence[str], script: str) -> list[object]:
    """The same of several pages at one start of the browser: each in a frame of its own window's usual size."""
    frames = "".join(
        f'<iframe width="800" height="600" srcdoc="{html.escape(page, quote=True)}"></iframe>' for page in pages
    )
    every = f"[...document.querySelectorAll('iframe')].map(f => f.contentWindow.Function({json.dumps(script)})())"
    found = _opened(f"<!doctype html><body>{frames}{_probe(every)}</body>")
    assert isinstance(found, list) and len(found) == len(pages)
    return found


def _probe(value: str) -> str:
    return (
        "<script>window.onload = () => { const value = " + value + ";"
        "const out = document.createElement('pre'); out.id = 'measured';"
        "out.textContent = JSON.stringify(value); document.body.appendChild(out); };</script>"
    )


def _opened(page: str) -> object:
    assert BROWSER, "chromium is missing: .ci/run installs it"
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "page.html"
        file.write_text(page, encoding="utf-8")
        done = subprocess.run(
            [BROWSER, *FLAGS, f"--user-data-dir={folder}/profile", "--dump-dom", file.as_uri()],
            capture_output=True,
            text=True,
            timeout=120,
            check=True,
        )
    found = re.search(r'<pre id="measured">(.*?)</pre>', done.stdout, re.DOTALL)
    assert found, done.stdout[-500:] + done.stderr[-500:]
    text = found[1].replace("&quot;", '"').replace("&amp;", "&").replace("&lt;", "<").replace("&gt;", ">")
    return json.loads(text)


def picture(page: str, target: Path, width: int = 820, height: int = 1200) -> None:
    """A screenshot of the page's top."""
    assert BROWSER, "chromium is missing: .ci/run installs it"
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "page.html"
        file.write_text(page, encoding="utf-8")
        size = f"--window-size={width},{height}"
        subprocess.run(
            [BROWSER, *FLAGS, f"--user-data-dir={folder}/profile", size, f"--screenshot={target}", file.as_uri()],
            capture_output=True,
            timeout=120,
            check=True,
        )
