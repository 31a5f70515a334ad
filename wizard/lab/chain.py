"""Deeds chained by hashes: whoever changes, removes or moves one breaks every hash that follows."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from typing import Any

from wizard.lab.deeds import Line


def link(before: str, content: Any) -> str:
    """The hash (SHA-256, hex) of some content after what came before it; the content is anything that JSON holds."""
    text = json.dumps(content, sort_keys=True, ensure_ascii=True, separators=(",", ":"))
    return hashlib.sha256(f"{before}\n{text}".encode()).hexdigest()


def links(head: Any, lines: Iterable[Line]) -> list[str]:
    """The hash of the head and of each line after it, in order."""
    hashes = [link("", head)]
    for line in lines:
        hashes.append(link(hashes[-1], line.model_dump(mode="json")))
    return hashes


def closing(hashes: list[str]) -> str:
    """The hash that ends a chain, so that lines can't be cut off its end."""
    return link(hashes[-1], {"closed-after": len(hashes)})
