"""Colours of figures by the names of the stylesheet's tokens."""

from typing import Any

Figure = dict[str, Any]
Band = tuple[float, float]

INK, SOFT, GRID, SHEET = "var(--ink)", "var(--ink-soft)", "var(--grid)", "var(--sheet)"
FOUND, LEFT = "var(--found)", "var(--left)"
TARGET, WASH = "var(--band-target)", "var(--band-accept)"
EXPECTED = "var(--band-expected)"
