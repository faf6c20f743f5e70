"""Each public function that takes or gives an array says what shape it has."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import cuelane

SOURCE = Path(cuelane.__file__).parent
SHAPE = re.compile(r"\bshape\b|\((?:n\w*|\d+), ?[^)]*\)", re.IGNORECASE)
Trees = dict[str, ast.Module]


def parsed() -> Trees:
    """Return the tree of each module by its name."""
    return {
        ".".join(("cuelane", *path.relative_to(SOURCE).with_suffix("").parts)): ast.parse(
            path.read_text(encoding="utf-8")
        )
        for path in SOURCE.rglob("*.py")
    }


def aliases(tree: ast.Module) -> set[str]:
    """Return the names that a module gives to kinds of arrays."""
    return {
        node.targets[0].id
        for node in tree.body
        if isinstance(node, ast.Assign)
        and isinstance(node.targets[0], ast.Name)
        and "NDArray" in ast.unparse(node.value)
    }


def on_arrays(module: str, trees: Trees) -> Iterator[tuple[str, str]]:
    """Yield (name, docstring) of each public function and method of a module that has to do with arrays."""
    tree = trees[module]
    names = {"NDArray", "ndarray", *aliases(tree)}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module in trees:
            names |= {alias.name for alias in node.names} & aliases(trees[node.module])
    array = re.compile(rf"\b(?:{'|'.join(sorted(names))})\b")
    public = [(None, tree.body)]
    public += [(n.name, n.body) for n in tree.body if isinstance(n, ast.ClassDef) and n.name[0] != "_"]
    for owner, body in public:
        for node in body:
            if not isinstance(node, ast.FunctionDef) or node.name.startswith("_"):
                continue
            every = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
            told = [one.annotation for one in every if one.annotation] + [node.returns or ast.Constant(None)]
            if any(array.search(ast.unparse(one)) for one in told):
                yield f"{owner}.{node.name}" if owner else node.name, ast.get_docstring(node) or ""


def test_each_public_function_on_arrays_gives_a_shape() -> None:
    """In every package."""
    trees = parsed()
    found = {f"{module} {name}": text for module in trees for name, text in on_arrays(module, trees)}
    assert len(found) > 100
    assert [name for name, text in found.items() if not SHAPE.search(text)] == []
