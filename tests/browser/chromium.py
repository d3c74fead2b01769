"""How the tests start Debian's Chromium."""

CHROMIUM = "/usr/bin/chromium"
ARGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
