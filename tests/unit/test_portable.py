"""The product keeps to what Python has on every system; nobody has tried macOS and Windows, so this is what is held.

Text is written and read as UTF-8, whatever is usual on a system; no module asks at its import for what one kind of
system has alone; and who calls such a thing asks first which system it is.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
MODULES = [path for room in ("api", "scheduler") for path in sorted((ROOT / room).rglob("*.py"))]
# What the documentation of the standard library calls available on Unix, or on Windows, alone; from memory.
ALONE = {"fcntl", "grp", "msvcrt", "posix", "pty", "pwd", "resource", "syslog", "termios", "winreg"}
OF_UNIX = {
    "chown", "fchmod", "fchown", "fork", "getegid", "geteuid", "getgid", "getgroups", "getloadavg", "getpgid", "getuid",
    "killpg", "lchown", "mkfifo", "nice", "sched_getaffinity", "setgid", "setsid", "setuid", "statvfs", "uname",
    "SIGALRM", "SIGCHLD", "SIGHUP", "SIGKILL", "SIGUSR1", "SIGUSR2",
}  # fmt: skip


def named(call: ast.Call) -> str:
    return call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")


def as_text(call: ast.Call) -> bool:
    """Say whether a call opens or reads a file as text and leaves its encoding to the system."""
    called, words = named(call), [one.value for one in call.args if isinstance(one, ast.Constant)]
    if any(one.arg in ("encoding", None) for one in call.keywords) or {"utf-8", "utf-8-sig"} & {*words}:
        return False
    if called in ("read_text", "write_text"):
        return isinstance(call.func, ast.Attribute)
    of = getattr(getattr(call.func, "value", None), "id", "")
    if called != "fdopen" and (called != "open" or of in ("os", "packed", "Image")):  # these are no text
        return False
    return "b" not in next((word for word in words if isinstance(word, str) and set(word) <= set("rwaxbt+")), "r")


def asks(tree: ast.AST, found: ast.AST) -> bool:
    """Say whether what stands around `found` asks which system this is."""
    around = [
        node
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.If) and found in set(ast.walk(node))
    ]
    return any(isinstance(one, ast.Attribute) and one.attr == "platform" for node in around for one in ast.walk(node))


def faults(tree: ast.Module) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and as_text(node):
            yield f"line {node.lineno}: {named(node)} names no encoding"
        names = {one.name for one in node.names} if isinstance(node, ast.Import) else set[str]()
        names |= {node.module or ""} if isinstance(node, ast.ImportFrom) else set()
        names |= (
            {node.attr} if isinstance(node, ast.Attribute) and ast.unparse(node.value) in ("os", "signal") else set()
        )
        for name in names & (ALONE | OF_UNIX):
            if not asks(tree, node):
                yield f"line {node.lineno}: {name} is not on every system"  # type: ignore[attr-defined]


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_a_module_keeps_to_what_every_system_has(path: Path) -> None:
    assert list(faults(ast.parse(path.read_bytes()))) == []


@pytest.mark.parametrize(
    "code",
    [
        "path.read_text()",
        "path.write_text(words)",
        "open(path)",
        "path.open('w')",
        "os.fdopen(handle, 'w')",
        "import fcntl",
        "def lock():\n    import fcntl",
        "def sweep():\n    return os.getuid()",
        "os.kill(1, signal.SIGKILL)",
    ],
)
def test_what_is_not_portable_is_found(code: str) -> None:
    assert len(list(faults(ast.parse(code)))) == 1


def test_who_asks_first_may() -> None:
    code = "def lock():\n    if sys.platform == 'win32':\n        import msvcrt\n    else:\n        import fcntl"
    assert list(faults(ast.parse(code))) == []
    assert list(faults(ast.parse("path.read_text('utf-8'); path.open('rb'); os.open(path, os.O_RDWR)"))) == []
