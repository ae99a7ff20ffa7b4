"""Reads a page back: a strict walk over its tags, and the columns that its script would unpack."""

import base64
import json
import re
import zlib
from html.parser import HTMLParser
from typing import Any

import numpy as np
from numpy.typing import NDArray

VOID = {"meta", "br", "img", "input", "link", "hr"}
SHAPES = {"rect", "line", "path", "circle"}  # may close themselves inside an svg


class Page(HTMLParser):
    """All elements with their attributes and the text in them; a tag that does not close as it opened is an error."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.texts: dict[str, list[str]] = {}
        self.said: list[str] = []  # what people read
        self.feed(html)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = [name for name, _ in attrs]
        assert len(names) == len(set(names)), f"{tag} has an attribute twice"
        self.elements.append((tag, {name: value or "" for name, value in attrs}))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert tag in SHAPES, f"{tag} closes itself"
        assert "svg" in self.open
        self.elements.append((tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"{tag} closes, but nothing is open"
        assert self.open[-1] == tag, f"{tag} closes while {self.open[-1]} is open"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        if self.open:
            self.texts.setdefault(self.open[-1], []).append(data)
        if not {"script", "style"} & set(self.open):
            self.said.append(data)

    @property
    def text(self) -> str:
        """Everything people read, on one line."""
        return " ".join("".join(self.said).split())

    def all(self, tag: str, **wanted: str) -> list[dict[str, str]]:
        """The attributes of all elements ``tag`` that have those wanted; a class is one of several."""
        return [
            attributes
            for found, attributes in self.elements
            if found == tag
            and all(value in attributes.get(name.rstrip("_"), "").split() for name, value in wanted.items())
        ]


def data_of(html: str, number: int = 1) -> Any:
    """What the page carries for the rows of run ``number``."""
    found = re.search(rf'<script type="application/json" id="data-{number}">\n(.*?)\n</script>', html, re.DOTALL)
    assert found
    return json.loads(found[1])


def unpacked(packed: dict[str, Any]) -> NDArray[Any]:
    """A column, the way the script reads it."""
    kind = {"u8": "<u1", "u16": "<u2", "u32": "<u4", "f64": "<f8"}[packed["kind"]]
    laid = np.frombuffer(zlib.decompress(base64.b64decode(packed["bytes"])), np.uint8)
    size = np.dtype(kind).itemsize
    values = np.frombuffer(laid.reshape(size, packed["count"]).T.tobytes(), kind)
    if packed["kind"] == "f64":
        return values
    whole = values.astype(np.int64)
    for index, value in packed["far"]:
        whole[index] = value
    return np.cumsum(whole) if packed["ascending"] else whole
