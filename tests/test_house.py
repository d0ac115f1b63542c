"""The house rules: where things lie, who may import whom, and what a dependency owes its reader.

The import rules are an own test rather than a linter's contracts: they also see imports inside functions, need no
package, and say which line to mend.
"""

from __future__ import annotations

import ast
import importlib.metadata
import json
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "keycore", "app", "specs", "assets", "tests",
}  # fmt: skip
BUILT = {"build", "dist", "__pycache__", "valleygauge-demo"}

# What each part may import of the others. Longest matching name decides.
MAY_IMPORT = {
    "keycore": ["keycore"],
    "app.picture": ["app.picture", "keycore"],
    "app.paper": ["app.paper", "app.picture.values", "keycore"],
    "app.bench": ["app.bench", "app.folders", "app.sealing", "app.picture", "app.paper", "keycore"],
    "app.commands": [
        "app.commands",
        "app.bench",
        "app.folders",
        "app.sealing",
        "app.picture",
        "app.paper",
        "app.window",
        "keycore",
    ],
    "app.window": ["app.window", "app.bench", "app.folders", "app.picture.values", "app.picture.load", "keycore"],
    "app.__main__": ["app.commands"],
    "app.sealing": ["app.sealing", "keycore"],
    "app": [],
    "tests.generator": ["tests.generator", "keycore"],
}
KEYCORE_LIBRARIES = {"numpy", "scipy", "networkx", "pydantic", "pydantic_core", "annotated_types"}


def _sources(*folders: str) -> list[Path]:
    return sorted(path for folder in folders for path in (ROOT / folder).rglob("*.py"))


def _module(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


@cache
def _imports(path: Path) -> list[tuple[int, str]]:
    """Line and full name of all that a file imports; ``from a import b`` counts as a.b, since b may be a module."""
    return list(_walk_imports(path))


def _walk_imports(path: Path) -> Iterator[tuple[int, str]]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield node.lineno, alias.name
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}:{node.lineno}: write imports in full, not relative"
            for alias in node.names:
                yield node.lineno, f"{node.module}.{alias.name}"


def _is_in(name: str, package: str) -> bool:
    return name == package or name.startswith(package + ".")


def _is_of(name: str, part: str) -> bool:
    """Whether a module belongs to a part: the part itself, below it, or beside it as part_something."""
    return _is_in(name, part) or name.startswith(part + "_")


def _rule_for(module: str) -> str | None:
    return max((part for part in MAY_IMPORT if _is_of(module, part)), key=len, default=None)


def _import_faults(path: Path) -> Iterator[str]:
    module = _module(path)
    rule = _rule_for(module)
    if rule is None:
        return
    for line, name in _imports(path):
        where = f"{path.relative_to(ROOT)}:{line}"
        top = name.split(".")[0]
        if top in ("keycore", "app", "tests") and not any(_is_of(name, part) for part in MAY_IMPORT[rule]):
            yield f"{where}: {rule} may not import {name}, only {', '.join(MAY_IMPORT[rule]) or 'nothing of ours'}"
        if top in ("PySide6", "shiboken6") and not _is_in(module, "app.window"):
            yield f"{where}: Qt belongs in app.window only"
        if top == "cv2" and _is_in(module, "app") and module != "app.picture.opencv":
            yield f"{where}: OpenCV comes in through app.picture.opencv only (it mends what cv2 does to Qt)"
        if rule == "keycore" and top not in sys.stdlib_module_names | KEYCORE_LIBRARIES | {"keycore"}:
            allowed = ", ".join(sorted(KEYCORE_LIBRARIES))
            yield f"{where}: keycore may not import {top}, only {allowed} and what ships with Python"


def test_imports_run_one_way() -> None:
    """window -> bench -> picture -> keycore; commands -> bench; paper -> keycore; Qt only in the window."""
    faults = [fault for path in _sources("keycore", "app", "tests/generator") for fault in _import_faults(path)]
    assert not faults, "\n".join(faults)


@pytest.mark.parametrize(
    ("module", "line"),
    [
        ("keycore/planted.py", "import cv2"),
        ("keycore/planted.py", "def f():\n    import app.picture.values"),
        ("app/picture/planted.py", "from app.bench import Bench"),
        ("app/picture/planted.py", "from app import window"),
        ("app/bench.py", "from PySide6.QtCore import QObject"),
        ("app/window/planted.py", "from app.picture.read import read_picture"),
        ("app/window/planted.py", "import cv2"),
        ("app/paper/planted.py", "from app.picture.read import read_picture"),
        ("tests/generator/planted.py", "from app.picture.values import Straight"),
    ],
)
def test_the_import_rule_sees_each_kind_of_breach(
    module: str, line: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A planted breach is found, so the rule above cannot pass by blindness."""
    monkeypatch.setattr(sys.modules[__name__], "ROOT", tmp_path)
    planted = tmp_path / module
    planted.parent.mkdir(parents=True)
    planted.write_text(line, encoding="utf-8")
    assert len(list(_import_faults(planted))) >= 1


def test_top_level_is_the_design() -> None:
    """Nothing lies at the top but what the design names, dotfiles and built folders apart."""
    found = {
        path.name
        for path in ROOT.iterdir()
        if not path.name.startswith(".") and path.name not in BUILT and path.suffix != ".egg-info"
    }
    assert found == TOP_LEVEL


def test_packages_are_mirrored_by_tests() -> None:
    """tests/ has a folder for each package and one for checks from outside."""
    for folder in ("keycore", "app", "outside", "bench", "generator"):
        assert any((ROOT / "tests" / folder).rglob("*.py")), f"tests/{folder} holds no test or tool"


def test_modules_are_small() -> None:
    """A module that passes 24 kB has gathered a second noun."""
    sizes = {str(path.relative_to(ROOT)): path.stat().st_size for path in _sources("keycore", "app", "tests")}
    assert not [f"split {name}, it has {size} bytes" for name, size in sizes.items() if size > 24_000]


def _text_files() -> list[Path]:
    suffixes = {".py", ".md", ".toml", ".sh", ".json", ".svg", ".yaml", ".yml", ".cfg", ".txt", ".jsonl", ".csv", ""}
    ours = [path for path in ROOT.rglob("*") if path.suffix in suffixes and path.is_file()]
    return [path for path in ours if not _is_made(path.relative_to(ROOT))]


def _is_made(path: Path) -> bool:
    """Whether a tool made the file (caches, builds, the private environment)."""
    if path.parts[0] in BUILT or "__pycache__" in path.parts:
        return True
    return path.parts[0].startswith(".") and path.parts[0] not in {".ci", ".gitignore", ".pre-commit-config.yaml"}


def test_no_file_names_a_place_on_one_machine() -> None:
    """No absolute path of somebody's machine in any text file."""
    place = re.compile(r"(?<![\w.])/(?:work|tmp|root|home|Users|opt)/\w|[A-Z]:\\Users")
    found = [
        f"{path.relative_to(ROOT)}:{number}: {line.strip()[:100]}"
        for path in _text_files()
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if place.search(line)
    ]
    assert not found, "\n".join(found)


def _pyproject() -> dict[str, dict[str, object]]:
    return tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def _declared() -> list[str]:
    project = _pyproject()["project"]
    extras = project["optional-dependencies"]
    assert isinstance(extras, dict)
    return [*project["dependencies"], *(one for extra in extras.values() for one in extra)]  # type: ignore[misc]


@cache
def _homes() -> Mapping[str, list[str]]:
    """Which distributions bring each top-level module."""
    return importlib.metadata.packages_distributions()


def _distribution(requirement: str) -> str:
    return re.sub(r"[-_.]+", "-", re.split(r"[<>=!~\[; ]", requirement)[0]).lower()


def test_every_dependency_says_why() -> None:
    """Each requirement in pyproject.toml has a comment with the reason, on its line or on the line above."""
    lines = (ROOT / "pyproject.toml").read_text(encoding="utf-8").splitlines()
    for requirement in _declared():
        (number,) = [number for number, line in enumerate(lines) if f'"{requirement}"' in line]
        above = lines[number - 1].strip()
        reason = lines[number].partition("#")[2] or (above if above.startswith("# ") else "")
        assert len(reason.split()) >= 3, f"{requirement}: say in a comment why it is needed"


def test_every_imported_library_is_declared() -> None:
    """No library is there by the luck that another one brings it (tests may use tifffile, which scikit-image needs)."""
    declared = {_distribution(one) for one in _declared()}
    ours = {"keycore", "app", "tests"}
    undeclared = {
        f"{path.relative_to(ROOT)}: {top}"
        for path in _sources("keycore", "app", "tests")
        for _, name in _imports(path)
        if (top := name.split(".")[0]) not in sys.stdlib_module_names | ours
        and not declared & {_distribution(home) for home in _homes().get(top, [top])}
        and not (top == "tifffile" and path.is_relative_to(ROOT / "tests"))
    }
    assert not undeclared, "declare these in pyproject.toml: " + ", ".join(sorted(undeclared))


def test_every_declared_library_is_imported() -> None:
    """No dependency stays behind when its last use goes (tools that are run, not imported, apart)."""
    run_not_imported = {"ruff", "mypy", "pytest-qt", "pytest-timeout"}
    used = {name.split(".")[0] for path in _sources("keycore", "app", "tests") for _, name in _imports(path)}
    used_distributions = {_distribution(home) for top in used for home in _homes().get(top, [])}
    assert {_distribution(one) for one in _declared()} - used_distributions - run_not_imported == set()


def test_data_folders_go_into_the_wheel() -> None:
    """specs/ and assets/ are packed where an installed copy looks for them."""
    tool = _pyproject()["tool"]
    wheel = json.loads(json.dumps(tool))["hatch"]["build"]["targets"]["wheel"]
    assert wheel["force-include"] == {"specs": "keycore/_specs", "assets": "app/_assets"}
    assert wheel["packages"] == ["keycore", "app"]


def test_the_command_line_starts_without_qt_or_opencv() -> None:
    """``--help`` must be quick and need no display: importing the commands loads no Qt, OpenCV or scikit-image."""
    code = "import app.commands, sys; print([m for m in ('PySide6', 'cv2', 'skimage') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, timeout=60)
    assert (done.stdout.strip(), done.stderr) == ("[]", "")
