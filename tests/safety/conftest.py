"""Tests marked `full` are long forms: they run only when the marker is asked for (`-m full`)."""

import pytest


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if "full" in (config.getoption("markexpr") or ""):
        return
    long_ones = [item for item in items if item.get_closest_marker("full")]
    if long_ones:
        config.hook.pytest_deselected(items=long_ones)
        items[:] = [item for item in items if item not in long_ones]
