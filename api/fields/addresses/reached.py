"""Addresses that the service's settings name: networks, a cluster, map tiles, a database.

Each reader returns an empty text for an empty one, and raises `BadInput` for the setting `name`.
"""

from __future__ import annotations

import importlib.util
import ipaddress
import re

from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError

from scheduler.errors import BadInput


def read_networks(name: str, text: str) -> str:
    """Return addresses or networks without blanks, commas between them; raises `BadInput` for what is none."""
    for one in filter(None, text.split(",")):
        try:
            ipaddress.ip_network(one.strip(), strict=False)
        except ValueError:
            problem = f'must be addresses like 127.0.0.1 or 10.0.0.0/24 with commas between, is "{text}"'
            raise BadInput(name, problem) from None
    return text.replace(" ", "")


def read_cluster(name: str, address: str) -> str:
    """Return a scheduler's address; raises `BadInput` for what is none, or without the package that it takes."""
    if not address:
        return ""
    fitting = re.fullmatch(r"(tcp|tls)://([A-Za-z0-9.\-]+|\[[0-9A-Fa-f:]+\]):([0-9]{1,5})", address)
    if not fitting or not 0 < int(fitting[3]) < 65536:
        raise BadInput(name, f'must be like tcp://10.0.0.5:8786 or tls://…, is "{address}"')
    if importlib.util.find_spec("distributed") is None:
        raise BadInput(name, "a cluster needs one package more: pip install 'eaveboard[cluster]'")
    return address


def read_tiles(name: str, text: str) -> str:
    """Return the address of map tiles; it stands in the policy for contents, so nothing but a plain address will do."""
    if not text:
        return ""
    fitting = re.fullmatch(r"https?://[A-Za-z0-9.\-]+(:[0-9]+)?/[A-Za-z0-9._~/{}?=&%\-]*", text)
    if not fitting or not all(text.count(part) == 1 for part in ("{z}", "{x}", "{y}")):
        problem = f'must be like https://tiles.example/{{z}}/{{x}}/{{y}}.png, is "{text}"'
        raise BadInput(name, problem)
    if re.search(r"[{}]", re.sub(r"{[xyz]}", "", text)):
        raise BadInput(name, f'knows only {{z}}, {{x}} and {{y}}, is "{text}"')
    return text


def read_database(name: str, address: str) -> str:
    """Return the address of a database as SQLAlchemy reads it; raises `BadInput` for what will not do."""
    if not address:
        return ""
    try:
        url = make_url(address)
    except ArgumentError:
        problem = "is no database address; write sqlite:///FILE or postgresql+psycopg://user@host/name"
        raise BadInput(name, problem) from None
    if url.drivername == "postgresql":
        url = url.set(drivername="postgresql+psycopg")
    if url.drivername not in ("sqlite", "postgresql+psycopg"):
        problem = f'must begin with sqlite:/// or postgresql+psycopg://, begins with "{url.drivername}"'
        raise BadInput(name, problem)
    if url.drivername != "sqlite" and importlib.util.find_spec("psycopg") is None:
        raise BadInput(name, "PostgreSQL needs one package more: pip install 'eaveboard[postgresql]'")
    return url.render_as_string(hide_password=False)
