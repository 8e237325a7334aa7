"""Attributes of page elements whose names Python cannot spell: ``aria-…`` and ``data-…``."""

from __future__ import annotations

from typing import Any


def aria(**words: str) -> dict[str, Any]:
    """Return ``aria-`` attributes, for people who hear the page.

    Examples
    --------
    >>> aria(label="Pages")
    {'aria-label': 'Pages'}
    """
    return {f"aria-{name}": value for name, value in words.items()}


def data(**words: str) -> dict[str, Any]:
    """Return ``data-`` attributes, which the browser's functions look for.

    Examples
    --------
    >>> data(day_label="yes")
    {'data-day-label': 'yes'}
    """
    return {f"data-{name.replace('_', '-')}": value for name, value in words.items()}
