"""What is raised where copper does not fit: the key that decides, the rule with its numbers, and a way out."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class NoRoomError(Exception):
    """Something does not fit: the key that decides, the rule with its numbers, and a way out."""

    key: str
    rule: str
    value: str
    remedy: str
