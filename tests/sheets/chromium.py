"""A page opened in a real browser: what it measures there, and what it looks like."""

import json
import re
import shutil
import subprocess
import tempfile
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


def measure(html: str, script: str) -> object:
    """The JSON value of a script's ``return`` in the page, after layout."""
    assert BROWSER, "chromium is missing: .ci/run installs it"
    probe = (
        "<script>window.onload = () => { const value = (() => {" + script + "})();"
        "const out = document.createElement('pre'); out.id = 'measured';"
        "out.textContent = JSON.stringify(value); document.body.appendChild(out); };</script></body>"
    )
    with tempfile.TemporaryDirectory() as folder:
        page = Path(folder) / "page.html"
        page.write_text(html.replace("</body>", probe), encoding="utf-8")
        done = subprocess.run(
            [BROWSER, *FLAGS, f"--user-data-dir={folder}/profile", "--dump-dom", page.as_uri()],
            capture_output=True,
            text=True,
            timeout=120,
            check=True,
        )
    found = re.search(r'<pre id="measured">(.*?)</pre>', done.stdout, re.DOTALL)
    assert found, done.stdout[-500:] + done.stderr[-500:]
    text = found[1].replace("&quot;", '"').replace("&amp;", "&").replace("&lt;", "<").replace("&gt;", ">")
    return json.loads(text)


def picture(html: str, target: Path, width: int = 820, height: int = 1200) -> None:
    """A screenshot of the page's top."""
    assert BROWSER, "chromium is missing: .ci/run installs it"
    with tempfile.TemporaryDirectory() as folder:
        page = Path(folder) / "page.html"
        page.write_text(html, encoding="utf-8")
        size = f"--window-size={width},{height}"
        subprocess.run(
            [BROWSER, *FLAGS, f"--user-data-dir={folder}/profile", size, f"--screenshot={target}", page.as_uri()],
            capture_output=True,
            timeout=120,
            check=True,
        )
