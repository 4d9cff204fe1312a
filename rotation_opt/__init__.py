"""Crop rotations of three to five years that wear down creeping perennial weeds without herbicides.

The public functions are imported when they are first used, so that the command line starts quickly.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rotation_opt.api import (
        PlanSet,
        example_farm,
        list_practices,
        plan,
        read_farm,
        season_response,
    )

    __version__: str

__all__ = [
    "PlanSet",
    "__version__",
    "example_farm",
    "list_practices",
    "plan",
    "read_farm",
    "season_response",
]


if not TYPE_CHECKING:  # a type checker must see real names, not "anything goes"

    def __getattr__(name: str) -> Any:
        if name == "__version__":
            return _version()
        if name in __all__:
            from rotation_opt import api

            return getattr(api, name)
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})


def _version() -> str:
    from importlib import metadata

    try:
        return metadata.version("rotation-opt")
    except metadata.PackageNotFoundError:  # a checkout that was never installed
        return "not installed"
