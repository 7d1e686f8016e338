"""What all interactive charts share."""

from typing import Any

Chart = dict[str, Any]


def axis(title: str, **more: Any) -> dict[str, Any]:
    """An axis with a title, a light grid and ticks outside."""
    return {
        "title": {"text": title},
        "gridcolor": "#dddddd",
        "zeroline": False,
        "ticks": "outside",
    } | more
