"""Which lines of a package an input reached, for the first time.

As its modules are imported, each statement of a function gets a mark before it that it sets when
it is reached. That costs nothing where other packages run.
"""

import ast
import builtins
import sys
from collections.abc import Sequence
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, PathFinder, SourceFileLoader
from pathlib import Path
from types import CodeType, ModuleType
from typing import Any

Line = tuple[str, int]
"""A file and a line."""

_MARKS = "__reached__"
_MOST = 100_000  # statements of a package


class Reached(MetaPathFinder):
    """Follows a package that is not imported yet."""

    def __init__(self, package: str) -> None:
        """Follow every module of `package` from its import on."""
        self._package = package
        self._marks = bytearray(_MOST)
        self._lines: list[Line] = []
        self._seen: set[int] = set()
        setattr(builtins, _MARKS, self._marks)
        sys.meta_path.insert(0, self)

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        """Find a module of the package, to be marked as it is loaded."""
        if fullname.partition(".")[0] != self._package:
            return None
        spec = PathFinder.find_spec(fullname, path, target)
        if spec is not None and isinstance(spec.loader, SourceFileLoader):
            spec.loader = _Loader(fullname, spec.loader.path, self._lines)
        return spec

    def forget(self) -> None:
        """Take every line for new again."""
        self._seen.clear()

    def begin(self) -> None:
        """Follow from now on."""
        self._marks[:] = bytes(_MOST)

    def end(self) -> tuple[Line, ...]:
        """Return the lines that are new."""
        new, at = [], self._marks.find(1)
        while at >= 0:
            if at not in self._seen:
                new.append(at)
            at = self._marks.find(1, at + 1)
        self._seen.update(new)
        return tuple(self._lines[number] for number in new)


class _Loader(SourceFileLoader):
    """Loads a module from its source with marks in it, and keeps nothing of that on disk."""

    def __init__(self, name: str, path: str, lines: list[Line]) -> None:
        super().__init__(name, path)
        self._lines = lines

    def path_stats(self, path: str) -> Any:
        raise OSError(f"{path}: what was compiled without marks is of no use")

    def source_to_code(self, data: Any, path: Any, *, _optimize: int = -1) -> CodeType:
        tree = _Marking(Path(path).name, self._lines).visit(ast.parse(data, path))
        return compile(ast.fix_missing_locations(tree), path, "exec", dont_inherit=True)


class _Marking(ast.NodeTransformer):
    """Puts a mark before each statement within functions."""

    def __init__(self, file: str, lines: list[Line]) -> None:
        self._file, self._lines = file, lines
        self._inside = 0

    def generic_visit(self, node: ast.AST) -> ast.AST:
        inside = isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        self._inside += inside
        super().generic_visit(node)
        self._inside -= inside
        return node

    def visit(self, node: ast.AST) -> Any:
        new = super().visit(node)
        if not self._inside or not isinstance(node, ast.stmt) or _is_text(node):
            return new
        number = ast.Constant(len(self._lines))
        self._lines.append((self._file, node.lineno))
        place = ast.Subscript(ast.Name(_MARKS, ast.Load()), number, ast.Store())
        return [ast.copy_location(ast.Assign([place], ast.Constant(1)), node), new]


def _is_text(node: ast.stmt) -> bool:
    """Say whether a statement is a docstring, which has to stay the first."""
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
