"""How far the tool is from the asked path, across it and along it."""

from .error import AskedPath, PathError, asked_path, path_error

__all__ = ["AskedPath", "PathError", "asked_path", "path_error"]
