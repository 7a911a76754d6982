"""The compiled core, an option of the build: `BUSIM_COMPILED=1 pip install .` (a build hook of hatchling).

mypyc translates the modules that `pyproject.toml` lists into C, and the machine's C compiler makes one library of them.
The wheel then holds that library, a small entry for each module, and the same Python files as ever: Python imports the
entry first, and tracebacks still show lines. Without the variable, and in every editable install, nothing here runs.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

# No configuration and no installed packages: the same C comes out of an isolated build, where numpy is missing, and of
# a developer's environment. `mypy` itself checks the types.
_TYPES = ("--config-file=", "--no-site-packages", "--ignore-missing-imports", "--follow-imports=silent")


class CompiledCore(BuildHookInterface[Any]):
    """Adds the compiled modules to the wheel.

    Of the hook's table it reads `modules` and `without` (patterns of files) and `requires` (what compiling needs).
    BUSIM_OPTIMISATION is the level for the C compiler, 0 to 3.
    """

    _folder: TemporaryDirectory[str] | None = None

    def dependencies(self) -> list[str]:
        """What pip fetches for this build beside hatchling."""
        return list(self.config["requires"]) if _wanted() else []

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Compile, and tell hatchling which files to add under which names."""
        if version == "editable" or not _wanted():
            return
        self._folder = TemporaryDirectory(prefix="busim-compiled-")
        place = Path(self._folder.name)
        for built in compiled(Path(self.root), self.config, place):
            build_data["force_include"][str(built)] = str(built.relative_to(place / "lib"))
        build_data["pure_python"] = False
        build_data["infer_tag"] = True

    def finalize(self, version: str, build_data: dict[str, Any], artifact_path: str) -> None:
        """Remove what the compiler made; the wheel has it."""
        if self._folder is not None:
            self._folder.cleanup()


def _wanted() -> bool:
    chosen = os.environ.get("BUSIM_COMPILED", "")
    if chosen not in ("", "0", "1"):
        sys.exit(f"BUSIM_COMPILED is {chosen!r}; expected 1 (compiled core), or 0 or nothing (pure Python)")
    return chosen == "1"


def sources(root: Path, config: dict[str, Any]) -> list[str]:
    """The files to compile, relative to `root`."""
    left_out = {path for pattern in config["without"] for path in root.glob(pattern)}
    found = {path for pattern in config["modules"] for path in root.glob(pattern)}
    return sorted(str(path.relative_to(root)) for path in found - left_out)


def compiled(root: Path, config: dict[str, Any], place: Path) -> list[Path]:
    """Compile into the empty folder `place`. Returns the libraries, which lie in `place/lib` as in the wheel."""
    from setuptools import Distribution
    from setuptools.command.build_ext import build_ext

    # isort: split
    from mypyc.build import mypycify  # after setuptools, for which it looks

    came_from = Path.cwd()
    os.chdir(root)  # mypyc names modules by their paths from here
    try:
        extensions = mypycify(
            [*_TYPES, *sources(root, config)],
            opt_level=os.environ.get("BUSIM_OPTIMISATION", "3"), debug_level="0",
            multi_file=True,  # so that each processor has files of its own to compile
            target_dir=str(place / "c"), group_name="busim",
        )  # fmt: skip
        if os.name == "posix":  # no function is called from outside, so none needs a look at each call
            for extension in extensions:
                extension.extra_compile_args.append("-fvisibility=hidden")
        command = build_ext(Distribution({"name": "busim", "ext_modules": extensions}))
        command.build_lib, command.build_temp = str(place / "lib"), str(place / "temp")
        command.ensure_finalized()
        plain = command.build_extensions
        command.build_extensions = lambda: _side_by_side(command, plain)
        command.run()
    finally:
        os.chdir(came_from)
    return sorted(path for path in (place / "lib").rglob("*") if path.is_file())


def _side_by_side(command: Any, build: Callable[[], None]) -> None:
    """Build with as many files at once as there are processors: setuptools compiles those of one library in turn."""
    one_by_one = command.compiler.compile

    def compile(files: list[str], **how: Any) -> list[str]:
        with ThreadPoolExecutor(os.cpu_count()) as pool:
            return [made for each in pool.map(lambda file: one_by_one([file], **how), files) for made in each]

    command.compiler.compile = compile
    build()
