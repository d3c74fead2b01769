"""Reading and writing the files that a command names; `-` stands for standard input and output."""

from __future__ import annotations

import io
import os
import shutil
import stat
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO, TypeVar

from scheduler.errors import BadInput

T = TypeVar("T")
STANDARD = Path("-")
MOST_YAML = 20_000_000  # characters of a file that somebody at a terminal names: a large week has some millions


def read_document(path: Path, read: Callable[[bytes], T]) -> T:
    """Return the document in the file; raises `BadInput` that begins with the file's name."""
    if path == STANDARD and getattr(sys, "stdin", None) is None:
        raise BadInput("-", "cannot be read: standard input is closed")
    try:
        raw = sys.stdin.buffer.read() if path == STANDARD else path.read_bytes()
    except OSError as fault:
        raise BadInput(str(path), f"cannot be read: {_reason(fault)}") from None
    try:
        return read(raw)
    except BadInput as fault:
        raise BadInput(str(path), str(fault)) from None


def read_structured(path: Path, read: Callable[[bytes], T]) -> T:
    """Return the document of a JSON file, or of a YAML file that holds the same; raises `BadInput` as `read_document`.

    A file is YAML if its name ends in .yaml or .yml, standard input if it does not begin as JSON does.
    """

    def either(raw: bytes) -> T:
        named = path.suffix.lower() in (".yaml", ".yml")
        as_json = raw.removeprefix(b"\xef\xbb\xbf").lstrip()[:1] in (b"{", b"[", b"")
        return read(_json_of(raw) if named or (path == STANDARD and not as_json) else raw)

    return read_document(path, either)


def _json_of(raw: bytes) -> bytes:
    import json

    from api.fields.files.yaml_text import plain_yaml

    value = plain_yaml(text_of(raw), MOST_YAML)
    try:
        return json.dumps(value).encode()
    except (TypeError, ValueError) as fault:
        raise BadInput("", f"holds something that is no value of JSON: {fault}") from None


def text_of(raw: bytes) -> str:
    """Return the text of a file; raises `BadInput` where it is none in UTF-8."""
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BadInput("", "is not UTF-8 text; save it as UTF-8") from None


@contextmanager
def on_disk(path: Path) -> Iterator[Path]:
    """Give the file, or a copy of standard input while it is needed: for what reads here and there in a file.

    What is wrong with the copy is told of `-`, which is how people called it.
    """
    if path != STANDARD:
        yield path
        return
    with tempfile.TemporaryDirectory(prefix="eave-input-") as made:
        copy = Path(made) / "standard-input"
        copy.write_bytes(read_document(path, bytes))
        try:
            yield copy
        except BadInput as fault:
            where, problem = (words.replace(str(copy), str(path)) for words in (fault.where, fault.problem))
            raise BadInput(where, problem) from None


def check_writable(path: Path) -> None:
    """Raise `BadInput` where `path` can surely not be written: better before an hour of work than after it."""
    if path == STANDARD:
        if getattr(sys.stdout, "name", "") == os.devnull:
            raise BadInput("-", "cannot be written: standard output is closed")
        return
    folder = path.resolve().parent
    if path.is_dir():
        raise BadInput(str(path), "is a folder; name a file in it")
    if not folder.is_dir():
        raise BadInput(str(path), f"cannot be written: there is no folder {folder}")
    if takes_a_stream(path):
        if not os.access(path, os.W_OK):
            raise BadInput(str(path), "cannot be written: no permission")
        return
    try:  # what rights and disks allow is known by trying alone
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".part", dir=folder)
    except OSError as fault:
        raise BadInput(str(path), f"cannot be written: no file can be made in {folder}: {fault.strerror}") from None
    os.close(handle)
    os.unlink(name)


def takes_a_stream(path: Path) -> bool:
    """Say whether `path` is standard output, a device or a pipe: what is written to and never replaced."""
    return path == STANDARD or (path.exists() and not path.is_file())


def refuse_standard(path: Path) -> None:
    """Raise `BadInput` where `-` is said for what no stream can be, lest a folder gets that name."""
    if path == STANDARD:
        raise BadInput("-", "is never a folder, a road extract or road tiles; name one")


def make_folder(path: Path) -> None:
    """Make a folder, with those above it, where it is not there yet; raises `BadInput` where that cannot be."""
    refuse_standard(path)
    try:
        path.mkdir(parents=True, exist_ok=True)
    except FileExistsError:
        raise BadInput(str(path), "is a file, and a folder is asked for") from None
    except OSError as fault:
        raise BadInput(str(path), f"the folder cannot be made: {_reason(fault)}") from None


def write_document(path: Path, data: bytes) -> None:
    """Write `data` whole or not at all: beside the target first, then put in its place in one step.

    Raises `BadInput` where that cannot be.
    """
    if takes_a_stream(path):
        write_stream(path, io.BytesIO(data))
        return
    target = path.resolve()
    try:
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", suffix=".part", dir=target.parent)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            os.chmod(name, _mode(target))
            os.replace(name, target)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as fault:
        raise BadInput(str(path), f"cannot be written: {_reason(fault)}") from None


def write_stream(path: Path, data: BinaryIO) -> None:
    """Write all of `data` to what `takes_a_stream`; raises `BadInput` where a device or a pipe cannot be written."""
    if path == STANDARD:
        shutil.copyfileobj(data, sys.stdout.buffer)
        sys.stdout.buffer.flush()
        return
    try:
        with path.open("wb") as target:
            shutil.copyfileobj(data, target)
    except OSError as fault:
        raise BadInput(str(path), f"cannot be written: {_reason(fault)}") from None


def _mode(target: Path) -> int:
    """The rights of the file that is replaced, or those of any new file."""
    if target.exists():
        return stat.S_IMODE(target.stat().st_mode)
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def _reason(fault: OSError) -> str:
    text = fault.strerror or str(fault)
    return {"No such file or directory": "there is no such file", "Is a directory": "it is a folder"}.get(
        text, text[:1].lower() + text[1:]
    )
