"""How far the tool is from the asked path, across it and along it."""

from .error import PathError
from .whole import path_error

__all__ = ["PathError", "path_error"]
