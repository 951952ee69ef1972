"""What vibetrend may say when something is wrong, read off its source: one `Site` for each place.

Nothing is run. A text is followed from the place where an error is made through local names,
constants, conditional expressions, helpers that build a text, and what a helper is called with.
What changes from case to case (a path, a number) is a hole.
"""

import ast
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from itertools import product
from pathlib import Path

HOLE = "\0"
_MOST = 300  # texts of one place; beyond, what is put together is a hole
_DEEPEST = 8  # helpers within helpers
_FEW = 6  # calls of a public helper that are followed
_USAGE = {"UsageError", "BadParameter", "BadOptionUsage", "BadArgumentUsage", "FileError"}
_CLICK = {*_USAGE, "ClickException", "MissingParameter", "NoSuchOption"}
_FAULTS = "ContradictionError"  # of engine files: made of pairs, a key and a sentence
_WORDS_OF = {("engine/faults.py", "_plainly")}  # what is wrong with one value of an engine file
# Who tells what is wrong in a logbook, as lines and not as errors.
_FAULTS_OF = {
    ("logbook/chain.py", "faults"),
    ("logbook/checking.py", "check"),
    ("logbook/checking.py", "_of_rows"),
    ("logbook/checking.py", "_of_values"),
    ("checkup/corrected.py", "not_as_entered"),
}
Texts = frozenset[str]
_OPEN = frozenset({HOLE})


@dataclass(frozen=True)
class Site:
    """One place in the source that tells a person what is wrong."""

    file: str
    line: int
    function: str
    kind: str
    texts: Texts
    passes_on: bool  # another error's text is in it

    @property
    def key(self) -> str:
        return f"{self.file} {self.function}"

    @property
    def is_prefix(self) -> bool:
        """Say whether it only puts a place before another error, which has an entry itself."""
        return self.passes_on and all(_letters(text) < 12 for text in self.texts)

    @property
    def open_texts(self) -> list[str]:
        """The texts of which hardly anything is known."""
        return [text for text in self.texts if _letters(text) < 6]


def _letters(text: str) -> int:
    return sum(map(str.isalpha, text))


@dataclass(eq=False)
class Module:
    """One parsed file, with what its names stand for."""

    file: str
    tree: ast.Module
    nodes: list[ast.AST] = field(default_factory=list)
    parents: dict[ast.AST, ast.AST] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.nodes.append(self.tree)
        for node in self.nodes:  # it grows meanwhile
            for child in ast.iter_child_nodes(node):
                self.parents[child] = node
                self.nodes.append(child)

    @cached_property
    def calls(self) -> dict[str, list[ast.Call]]:
        found: dict[str, list[ast.Call]] = {}
        for node in self.nodes:
            if isinstance(node, ast.Call):
                found.setdefault(_last(node.func), []).append(node)
        return found

    @cached_property
    def stored(self) -> dict[tuple[ast.AST, str], list[ast.Name]]:
        """Each name that is set within a function."""
        found: dict[tuple[ast.AST, str], list[ast.Name]] = {}
        for node in self.nodes:
            if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
                for function in self.around(node):
                    found.setdefault((function, node.id), []).append(node)
        return found

    @cached_property
    def functions(self) -> dict[str, list[ast.FunctionDef]]:
        found: dict[str, list[ast.FunctionDef]] = {}
        for node in self.nodes:
            if isinstance(node, ast.FunctionDef):
                found.setdefault(node.name, []).append(node)
        return found

    @cached_property
    def constants(self) -> dict[str, ast.expr]:
        found: dict[str, ast.expr] = {}
        for node in self.tree.body:
            if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
                found[node.targets[0].id] = node.value
            elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
                found |= {node.target.id: node.value} if node.value else {}
        return found

    @cached_property
    def imported(self) -> dict[str, tuple[str, str]]:
        """Name here -> dotted module and name there ("" for a module)."""
        found: dict[str, tuple[str, str]] = {}
        for node in self.nodes:
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("vibetrend"):
                for each in node.names:
                    found[each.asname or each.name] = (node.module or "", each.name)
        return found

    def around(self, node: ast.AST) -> list[ast.FunctionDef]:
        """Return the functions a node stands in, the innermost first."""
        found = []
        while node := self.parents.get(node):  # type: ignore[assignment]
            if isinstance(node, ast.FunctionDef):
                found.append(node)
        return found

    def caught(self, node: ast.AST) -> set[str]:
        """Return the names of the errors that are being handled around a node."""
        found = set()
        while node := self.parents.get(node):  # type: ignore[assignment]
            if isinstance(node, ast.ExceptHandler) and node.name:
                found.add(node.name)
        return found


class House:
    """Every module of a package."""

    def __init__(self, package: Path) -> None:
        self.modules = {
            ".".join(["vibetrend", *path.relative_to(package).with_suffix("").parts]).removesuffix(
                ".__init__"
            ): Module(
                path.relative_to(package).as_posix(), ast.parse(path.read_text(encoding="utf-8"))
            )
            for path in sorted(package.rglob("*.py"))
        }
        self.kinds = self._kinds()

    def _kinds(self) -> set[str]:
        """Return the names of the errors meant for a person."""
        kinds = {"VibetrendError"}
        classes = [
            (node.name, {_last(base) for base in node.bases})
            for module in self.modules.values()
            for node in module.nodes
            if isinstance(node, ast.ClassDef)
        ]
        while more := {name for name, bases in classes if bases & kinds} - kinds:
            kinds |= more
        return kinds

    def sites(self) -> list[Site]:
        """Return every place, in the order of files and lines."""
        return [site for module in self.modules.values() for site in self._in(module)]

    def notes(self) -> list[Site]:
        """Return every doubt about a recording, as it is printed: ``(clipped): 25 % of ...``."""
        found = []
        for module in self.modules.values():
            for node in module.nodes:
                if isinstance(node, ast.Call) and _last(node.func) == "Note" and node.args:
                    reader = Reader(self, module)
                    code, message = reader.texts(node.args[0]), reader.texts(node.args[2])
                    inside = module.around(node)
                    found.append(
                        Site(
                            file=module.file,
                            line=node.lineno,
                            function=inside[0].name if inside else "",
                            kind="Note",
                            texts=_joined([frozenset("("), code, frozenset({"): "}), message]),
                            passes_on=False,
                        )
                    )
        return found

    def faults(self) -> list[Site]:
        """Return every fault of a logbook that `logbook check` or `status` tells."""
        found = []
        for module in self.modules.values():
            for node in module.nodes:
                match node:
                    case ast.Yield(value=ast.JoinedStr() as said):
                        pass
                    case ast.Return(value=ast.JoinedStr() as said):
                        pass
                    case ast.Call(
                        func=ast.Attribute(value=ast.Name(id="faults"), attr="append"),
                        args=[ast.JoinedStr() as said],
                    ):
                        pass
                    case _:
                        continue
                inside = module.around(node)
                function = inside[0].name if inside else ""
                if (module.file, function) in _FAULTS_OF:
                    texts = Reader(self, module).texts(said)
                    found.append(Site(module.file, said.lineno, function, "fault", texts, False))
        return found

    def _in(self, module: Module) -> Iterator[Site]:
        for node in module.nodes:
            for kind, said in self._said(module, node):
                inside = module.around(node)
                texts = Reader(self, module).texts(said)
                within = {each.id for each in ast.walk(said) if isinstance(each, ast.Name)}
                yield Site(
                    file=module.file,
                    line=node.lineno,  # type: ignore[attr-defined]
                    function=inside[0].name if inside else "",
                    kind=kind,
                    texts=frozenset(re.sub(f"{HOLE}+", HOLE, text) for text in texts),
                    passes_on=bool(within & module.caught(node)),
                )

    def _said(self, module: Module, node: ast.AST) -> Iterator[tuple[str, ast.expr]]:
        """Give what a node tells a person, with the kind of error."""
        if isinstance(node, ast.Tuple) and _FAULTS in _names(module) and _is_fault(node):
            yield _FAULTS, node.elts[1]
        elif isinstance(node, ast.Return) and node.value is not None:
            inside = module.around(node)[0].name
            if (module.file, inside) in _WORDS_OF:
                yield "engine file", node.value
        elif isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call):
            call = node.exc
            name = _last(call.func)
            if name == "ValueError":
                yield name, call.args[0] if call.args else ast.Constant("")
            elif name not in self.kinds | _CLICK and self._makes_errors(module, call):
                yield name, call
        elif isinstance(node, ast.Call):
            name = _last(node.func)
            told = name == "tell" and _is_parameter(module, node, "tell")
            retyped = isinstance(node.func, ast.Call) and _last(node.func.func) == "type"
            if name in self.kinds | _CLICK | {"fail", "complain"} or told or retyped:
                if module.file == "cli/terminal.py":
                    return
                yield name or "type", node.args[0] if node.args else ast.Constant("")

    def _makes_errors(self, module: Module, call: ast.Call) -> bool:
        found = self.function(module, call)
        return found is not None and any(
            isinstance(node, ast.Call) and _last(node.func) in self.kinds
            for node in ast.walk(found[1])
        )

    def function(self, module: Module, call: ast.Call) -> "tuple[Module, ast.FunctionDef] | None":
        """Return the function of ours that a call means."""
        name = _last(call.func)
        if isinstance(call.func, ast.Attribute):
            owner = call.func.value
            if isinstance(owner, ast.Name) and owner.id in module.imported:
                where, what = module.imported[owner.id]
                return self._function_of(f"{where}.{what}", name)
            if not (isinstance(owner, ast.Name) and owner.id in ("self", "cls")):
                return None
        if name in module.functions:
            return module, module.functions[name][0]
        if name in module.imported:
            where, what = module.imported[name]
            return self._function_of(where, what)
        return None

    def _function_of(self, where: str, name: str) -> "tuple[Module, ast.FunctionDef] | None":
        module = self.modules.get(where)
        if module is None:
            return None
        if name in module.functions:
            return module, module.functions[name][0]
        if name in module.imported and module.imported[name][0] != where:
            return self._function_of(*module.imported[name])
        return None


@dataclass(frozen=True)
class Reader:
    """Says what an expression may be as text; `bound` is what the parameters were called with."""

    house: House
    module: Module
    bound: Mapping[str, Texts] = field(default_factory=dict)
    depth: int = 0

    def texts(self, node: ast.expr | None) -> Texts:
        if self.depth > _DEEPEST:
            return _OPEN
        match node:
            case ast.Constant(value=str() as value):
                return frozenset({value})
            case ast.JoinedStr():
                return _joined([self.texts(part) for part in node.values])
            case ast.FormattedValue() if node.conversion in (-1, 115) and not node.format_spec:
                return self.texts(node.value)
            case ast.BinOp(op=ast.Add()):
                return _joined([self.texts(node.left), self.texts(node.right)])
            case ast.IfExp():
                return self.texts(node.body) | self.texts(node.orelse)
            case ast.BoolOp():
                return frozenset().union(*map(self.texts, node.values))
            case ast.NamedExpr():
                return self.texts(node.value)
            case ast.Name():
                return self._named(node)
            case ast.Attribute(value=ast.Name(id=owner)) if owner in self.module.imported:
                where, what = self.module.imported[owner]
                return self._constant(f"{where}.{what}", node.attr)
            case ast.Subscript(value=ast.Name() as table):
                found = self.module.constants.get(table.id)
                if isinstance(found, ast.Dict):
                    return frozenset().union(*map(self.texts, found.values))
            case ast.Call(
                func=ast.Attribute(value=ast.Constant(value=str() as between), attr="join")
            ):
                return frozenset({f"{HOLE}{between}{HOLE}"})
            case ast.Call(func=ast.Attribute(value=form, attr="format")):
                return frozenset(re.sub(r"\{[^{}]*\}", HOLE, text) for text in self.texts(form))
            case ast.Call(func=ast.Attribute(value=ast.Name(id=table), attr="get")):
                found = self.module.constants.get(table)
                if isinstance(found, ast.Dict):
                    return frozenset().union(*map(self.texts, found.values))
            case ast.Call():
                return self._called(node)
        return _OPEN

    def _named(self, node: ast.Name) -> Texts:
        for function in self.module.around(node):
            found = self._assigned(function, node.id)
            if found is not None:
                return found
            if node.id in _parameters(function):
                return self._parameter(function, node.id)
        if node.id in self.module.caught(node):
            return _OPEN
        if node.id in self.module.constants:
            return self._deeper().texts(self.module.constants[node.id])
        if node.id in self.module.imported:
            return self._constant(*self.module.imported[node.id])
        return _OPEN

    def _assigned(self, function: ast.FunctionDef, name: str) -> Texts | None:
        """Return what a name is set to within a function; None if it is not."""
        found: Texts = frozenset()
        for stored in self.module.stored.get((function, name), ()):
            match parent := self.module.parents[stored]:
                case ast.Assign(value=value) | ast.NamedExpr(value=value):
                    found |= self._deeper().texts(value)
                case ast.AnnAssign(value=value) if value is not None:
                    found |= self._deeper().texts(value)
                case ast.Tuple() if isinstance(
                    whole := self.module.parents[parent], ast.Assign
                ) and isinstance(whole.value, ast.Tuple):
                    value = whole.value.elts[parent.elts.index(stored)]
                    found |= self._deeper().texts(value)
                case _:
                    found |= _OPEN
        return found or None

    def _parameter(self, function: ast.FunctionDef, name: str) -> Texts:
        """Return what a parameter may be: bound, or what its function is called with."""
        if name in self.bound:
            return self.bound[name]
        if self.depth > 2:
            return _OPEN
        found: Texts = frozenset()
        for module, call in self._calls(function):
            given = _arguments(call, function).get(name)
            reader = Reader(self.house, module, {}, self.depth + 1)
            found |= reader.texts(given) if given is not None else _OPEN
        return found if 0 < len(found) <= _MOST else _OPEN

    def _calls(self, function: ast.FunctionDef) -> list[tuple[Module, ast.Call]]:
        """Return the calls of a private helper; of a public one too, where they are few."""
        if function.name.startswith("_") or self.module.around(function):
            return [(self.module, call) for call in self.module.calls.get(function.name, ())]
        found = [
            (module, call)
            for module in self.house.modules.values()
            for call in module.calls.get(function.name, ())
        ]
        return [
            (module, call)
            for module, call in (found if len(found) <= _FEW else [])
            if self.house.function(module, call) == (self.module, function)
        ]

    def _constant(self, where: str, name: str) -> Texts:
        module = self.house.modules.get(where)
        if module is None or name not in module.constants:
            return _OPEN
        return Reader(self.house, module, depth=self.depth + 1).texts(module.constants[name])

    def _called(self, call: ast.Call) -> Texts:
        name = _last(call.func)
        if name == "str" or name in self.house.kinds:
            return self.texts(call.args[0]) if call.args else _OPEN
        meant = self.house.function(self.module, call)
        if meant is None:
            return _OPEN
        module, function = meant
        given = {
            each: self._deeper().texts(value) for each, value in _arguments(call, function).items()
        }
        bound = {each: given.get(each, _OPEN) for each in _parameters(function)}
        inside = Reader(self.house, module, bound, self.depth + 1)
        returned = [
            node.value
            for node in ast.walk(function)
            if isinstance(node, ast.Return) and module.around(node)[:1] == [function]
        ]
        found: Texts = frozenset().union(*map(inside.texts, returned))
        return found if 0 < len(found) <= _MOST else _OPEN

    def _deeper(self) -> "Reader":
        return Reader(self.house, self.module, self.bound, self.depth + 1)


def _joined(parts: list[Texts]) -> Texts:
    number = 1
    for part in parts:
        number *= len(part)
    if number > _MOST:  # the longest list is what matters least
        longest = max(parts, key=len)
        return _joined([_OPEN if part is longest else part for part in parts])
    return frozenset("".join(each) for each in product(*parts))


def _last(node: ast.expr) -> str:
    """Return the last part of a dotted name, "" of what is none."""
    if isinstance(node, ast.Attribute):
        return node.attr
    return node.id if isinstance(node, ast.Name) else ""


def _names(module: Module) -> set[str]:
    local = {node.name for node in module.tree.body if isinstance(node, ast.ClassDef)}
    faults = {"Fault"} & set(module.constants)  # pairs that `description` raises
    return {*module.imported, *local, *({_FAULTS} if faults else ())}


def _is_fault(node: ast.Tuple) -> bool:
    """Say whether a tuple is a key of an engine file and what is wrong with it."""
    if len(node.elts) != 2 or not isinstance(node.elts[0], ast.Tuple | ast.Name):
        return False
    said = node.elts[1]
    return isinstance(said, ast.JoinedStr) or (
        isinstance(said, ast.Constant) and isinstance(said.value, str) and " " in said.value
    )


def _parameters(function: ast.FunctionDef) -> list[str]:
    given = function.args
    return [each.arg for each in (*given.posonlyargs, *given.args, *given.kwonlyargs)]


def _is_parameter(module: Module, node: ast.AST, name: str) -> bool:
    return any(name in _parameters(function) for function in module.around(node))


def _arguments(call: ast.Call, function: ast.FunctionDef) -> dict[str, ast.expr]:
    """Return what each parameter is called with."""
    names = [each for each in _parameters(function) if each not in ("self", "cls")]
    found = dict(zip(names, call.args, strict=False))
    return found | {each.arg: each.value for each in call.keywords if each.arg}
