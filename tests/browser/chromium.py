"""How the tests start Debian's Chromium: its shell without a screen takes little more than half the processor."""

CHROMIUM = "/usr/bin/chromium-headless-shell"
ARGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
