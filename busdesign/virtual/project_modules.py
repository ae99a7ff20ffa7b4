"""Python files of a project as modules: under a private package for each root, always read from their source."""

import re
import sys
from collections.abc import Sequence
from hashlib import sha256
from importlib import import_module
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, SourceFileLoader
from importlib.util import spec_from_file_location
from pathlib import Path
from types import ModuleType

_PREFIX = "_busdesign_project_"
_DOT = "\uff0e"  # in a module's name, for the dot in the name of a file or folder


def is_of_project(module: str) -> bool:
    """Whether a module of this name is a project's own."""
    return module.startswith(_PREFIX)


def without_package(text: str) -> str:
    """``text`` with module names as the project's author knows them."""
    return re.sub(rf"{_PREFIX}[0-9a-f]+\.", "", text).replace(_DOT, ".")


class ProjectModules:
    """The modules below ``root``, forgotten and read anew by each object of this class.

    Imports inside the project are relative, or name nothing of the project: ``import gear`` finds an installed package.
    """

    def __init__(self, root: Path) -> None:
        self._root = root.resolve()
        self._package = _PREFIX + sha256(str(self._root).encode()).hexdigest()[:12]
        for known in [name for name in sys.modules if name.partition(".")[0] == self._package]:
            del sys.modules[known]
        package = ModuleType(self._package)
        package.__path__ = [str(self._root)]
        sys.modules[self._package] = package
        if not any(isinstance(finder, _Finder) for finder in sys.meta_path):
            sys.meta_path.insert(0, _Finder())

    def load(self, file: Path) -> ModuleType:
        """The module in ``file``, which lies below the root. Whatever its code raises comes through."""
        relative = file.resolve().relative_to(self._root)
        parts = (*relative.parent.parts, relative.stem)
        return import_module(".".join([self._package, *(part.replace(".", _DOT) for part in parts)]))


class _FromSource(SourceFileLoader):
    """Never from compiled code kept on disk: an edit within the same second would be missed."""

    def path_stats(self, path: object) -> dict[str, object]:
        raise OSError("no stats, so no compiled code")


class _Finder(MetaPathFinder):
    """Finds what a private package's ``__path__`` leads to."""

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        if not is_of_project(fullname) or not path:
            return None
        for folder in map(Path, path):
            place = folder / fullname.rpartition(".")[2].replace(_DOT, ".")
            for file, inside in ((place / "__init__.py", [str(place)]), (place.with_name(place.name + ".py"), None)):
                if file.is_file():
                    loader = _FromSource(fullname, str(file))
                    return spec_from_file_location(fullname, file, loader=loader, submodule_search_locations=inside)
            if place.is_dir():
                folder_of_modules = ModuleSpec(fullname, None, is_package=True)
                folder_of_modules.submodule_search_locations = [str(place)]
                return folder_of_modules
        return None
