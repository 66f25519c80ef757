"""The house keeps its own rules: locks, import rule, docs that name what is there, nothing of the builder's machine."""

import ast
import os
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest
import typer.main
from packaging.requirements import Requirement
from packaging.version import Version

from evenhand.cli import app

ROOT = Path(__file__).resolve().parent.parent
LOCKS = ("requirements.lock", "requirements-dev.lock", "requirements-uv.lock")
PYPROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
GROUPS: dict[str, list[str]] = PYPROJECT["dependency-groups"]
MADE_FOLDERS = {"out", "build", "dist", "__pycache__"}


def our_files(*suffixes: str) -> Iterator[Path]:
    """Yield every file of the project that a person wrote: no environment, no cache, no output."""
    for folder, names, files in os.walk(ROOT):
        names[:] = sorted(
            n for n in names if n == ".ci" or not (n.startswith(".") or n in MADE_FOLDERS or n.endswith(".egg-info"))
        )
        for file in sorted(files):
            path = Path(folder, file)
            if not suffixes or path.suffix in suffixes:
                yield path


def named(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


SOURCES = sorted((ROOT / "src").rglob("*.py"))
CODE = [path for path in our_files(".py") if path.read_text(encoding="utf-8").strip()]
PAGES = sorted((ROOT / "docs").rglob("*.md"))
README = (ROOT / "README.md").read_text(encoding="utf-8")


def lock_entries(lock: str) -> dict[str, str]:
    """Return the text of each package's entry in a lock, by name and marker."""
    text = re.sub(r"^\s*#.*\n?", "", (ROOT / lock).read_text(encoding="utf-8"), flags=re.M)
    return {entry.split(" \\\n")[0]: entry for entry in re.split(r"\n(?=\S)", text.strip())}


def locked_versions(*locks: str) -> dict[str, set[Version]]:
    versions: dict[str, set[Version]] = {}
    for lock in locks:
        for head in lock_entries(lock):
            found = re.match(r"([A-Za-z0-9._-]+)==([^ ;]+)", head)
            assert found, f"{lock}: {head!r} is no pinned package"
            versions.setdefault(found[1].lower().replace("_", "-"), set()).add(Version(found[2]))
    return versions


class TestLocks:
    @pytest.mark.parametrize("lock", LOCKS)
    def test_names_no_address(self, lock: str) -> None:
        text = (ROOT / lock).read_text(encoding="utf-8")
        assert "://" not in text
        assert "index-url" not in text

    @pytest.mark.parametrize("lock", LOCKS)
    def test_every_package_is_pinned_and_hashed(self, lock: str) -> None:
        entries = lock_entries(lock)
        assert entries
        for head, entry in entries.items():
            assert re.search(r"--hash=sha256:[0-9a-f]{64}(?![0-9a-f])", entry), f"{lock}: {head} has no hash"

    @pytest.mark.parametrize(
        ("wanted", "locks"),
        [
            (PYPROJECT["project"]["dependencies"], ("requirements.lock",)),
            (PYPROJECT["build-system"]["requires"], ("requirements.lock",)),
            (GROUPS["build"] + GROUPS["test"], ("requirements.lock",)),
            (GROUPS["lint"] + GROUPS["browser"], ("requirements-dev.lock",)),
            (GROUPS["tools"], ("requirements-uv.lock",)),
        ],
        ids=["run", "build-system", "build and test", "lint and browser", "tools"],
    )
    def test_every_dependency_is_locked_at_a_version_it_allows(self, wanted: list[str], locks: tuple[str, ...]) -> None:
        versions = locked_versions(*locks)
        for line in wanted:
            requirement = Requirement(line)
            pinned = versions.get(requirement.name.lower().replace("_", "-"), set())
            assert pinned, f"{requirement.name} is in no lock: run make lock"
            assert all(version in requirement.specifier for version in pinned), f"{line}: locked at {pinned}"

    def test_locks_agree_where_both_name_a_package(self) -> None:
        base, dev = locked_versions("requirements.lock"), locked_versions("requirements-dev.lock")
        assert {name: dev[name] for name in base.keys() & dev.keys()} == {
            name: base[name] for name in base.keys() & dev.keys()
        }


class TestCode:
    def test_every_dependency_is_imported_somewhere(self) -> None:
        imported = {
            name.split(".")[0]
            for path in SOURCES
            for node in ast.walk(ast.parse(path.read_text("utf-8")))
            for name in (
                [alias.name for alias in node.names]
                if isinstance(node, ast.Import)
                else [node.module or ""]
                if isinstance(node, ast.ImportFrom)
                else []
            )
        }
        # Named in Django's settings instead: Django imports them by that name.
        settings = (ROOT / "src/evenhand/bench/settings.py").read_text("utf-8")
        imported |= {name for name in ("django_htmx", "whitenoise") if f'"{name}.' in settings}
        if "people.hashing.BoundedArgon2" in settings:
            imported.add("argon2")  # by Django's own hasher, which ours derives from
        brought = {
            re.sub(r"[-_.]+", "-", distribution).lower()
            for module, distributions in packages_distributions().items()
            if module in imported
            for distribution in distributions
        }
        wanted = {Requirement(line).name.lower() for line in PYPROJECT["project"]["dependencies"]}
        assert wanted <= brought, f"nothing imports {wanted - brought}"

    def test_every_module_opens_with_a_docstring(self) -> None:
        bare = [named(path) for path in CODE if not ast.get_docstring(ast.parse(path.read_text("utf-8")))]
        assert bare == []

    def test_no_source_file_grows_past_600_lines(self) -> None:
        lengths = {named(path): len(path.read_text("utf-8").splitlines()) for path in SOURCES}
        assert lengths
        assert {name: length for name, length in lengths.items() if length > 600} == {}

    def test_floors_import_only_downwards(self) -> None:
        run = subprocess.run(
            [Path(sys.executable).with_name("lint-imports"), "--no-cache"],
            cwd=ROOT,
            capture_output=True,
            text=True,
        )
        assert run.returncode == 0, run.stdout + run.stderr

    def test_every_package_is_on_a_floor(self) -> None:
        layers = next(c for c in PYPROJECT["tool"]["importlinter"]["contracts"] if c["type"] == "layers")["layers"]
        on_floors = {floor.removeprefix("evenhand.") for floor in layers}
        rooms = {path.stem for path in (ROOT / "src" / "evenhand").iterdir() if path.suffix in ("", ".py")}
        assert rooms - {"__init__", "__pycache__", "__main__", "py"} <= on_floors

    def test_command_starts_without_the_heavy_libraries(self) -> None:
        """A command that answers at once imports neither the science nor the readers until they are needed."""
        heavy = ("scipy", "numpy", "pydantic", "typst", "python_calamine")
        code = f"import evenhand.cli, sys; print(*[m for m in {heavy!r} if m in sys.modules])"
        run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
        assert run.stdout.split() == []


class TestDocs:
    def test_readme_names_every_make_target(self) -> None:
        targets = re.findall(r"^([a-z]+):.*?## ", (ROOT / "Makefile").read_text(encoding="utf-8"), flags=re.M)
        assert len(targets) > 5
        assert [target for target in targets if f"make {target}" not in README] == []

    def test_every_command_and_option_is_told(self) -> None:
        """README names each command, docs/commands.md has a section for it with each option; judge is whole in both."""
        page = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
        sections = dict(re.findall(r"^## `evenhand (\w+)[^\n]*\n(.*?)(?=^## |\Z)", page, flags=re.S | re.M))
        commands = typer.main.get_command(app).commands  # type: ignore[attr-defined]
        assert sorted(sections) == sorted(commands)
        for name, command in commands.items():
            assert f"evenhand {name}" in README
            options = [option for parameter in command.params for option in parameter.opts if option.startswith("--")]
            for text in [sections[name], README] if name == "judge" else [sections[name]]:
                assert [option for option in options if not re.search(rf"{option}\b(?!-)", text)] == []

    def test_every_page_is_linked_from_the_index(self) -> None:
        index = (ROOT / "docs" / "index.md").read_text(encoding="utf-8")
        linked = {(ROOT / "docs" / target).resolve() for target in re.findall(r"\]\(([^)#\s]+)", index)}
        assert [named(page) for page in PAGES if page.name != "index.md" and page not in linked] == []

    def test_links_between_our_pages_lead_somewhere(self) -> None:
        broken = [
            f"{named(page)}: {target}"
            for page in [*PAGES, ROOT / "README.md", ROOT / "CHANGELOG.md"]
            for target in re.findall(r"\]\(([^)#\s]+)", page.read_text(encoding="utf-8"))
            if "://" not in target and not (page.parent / target).exists()
        ]
        assert broken == []

    def test_readme_folder_can_be_judged_as_it_stands(self, tmp_path: Path) -> None:
        """The worked example in README is typed into files, then judged by the command README gives."""
        folder = tmp_path / "first"
        folder.mkdir()
        tables = re.findall(r"\*\*(\w+\.csv)\*\*[^\n]*\n+```csv\n(.*?)```", README, flags=re.S)
        assert len(tables) >= 9
        for name, text in tables:
            (folder / name).write_text(text, encoding="utf-8")
        command = [Path(sys.executable).with_name("evenhand"), "judge", "first", "--json", "first.json"]
        run = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True)
        assert run.returncode == 0, run.stdout + run.stderr
        assert (tmp_path / "first.json").stat().st_size > 100

    def test_readme_shows_the_python_door(self) -> None:
        assert "```python\n" in README

    @pytest.mark.parametrize("page", [ROOT / "README.md", *PAGES], ids=named)
    def test_python_on_a_page_runs(self, page: Path) -> None:
        """The blocks of one page are run in order as one program, from the project's folder."""
        blocks = re.findall(r"^```python\n(.*?)^```", page.read_text(encoding="utf-8"), flags=re.S | re.M)
        run = subprocess.run([sys.executable, "-c", "\n".join(blocks)], cwd=ROOT, capture_output=True, text=True)
        assert run.returncode == 0, run.stderr


class TestLeavingOut:
    """What tests/conftest.py promises about tests that are left out, tried on a run of its own."""

    SAMPLE = """
import pytest

def test_passes(): pass

def test_left_out(): pytest.skip("no browser here")

@pytest.mark.xfail
def test_known_defect(): assert False
"""

    def run(self, folder: Path, *words: str, forbid: str) -> subprocess.CompletedProcess[str]:
        (folder / "conftest.py").write_text((ROOT / "tests" / "conftest.py").read_text(encoding="utf-8"))
        (folder / "test_sample.py").write_text(self.SAMPLE)
        return subprocess.run(
            [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", "--rootdir", folder, folder, *words],
            cwd=folder,
            env=os.environ | {"EVENHAND_FORBID_SKIPS": forbid},
            capture_output=True,
            text=True,
        )

    def test_is_told_and_passes_by_default(self, tmp_path: Path) -> None:
        run = self.run(tmp_path, forbid="")
        assert run.returncode == 0, run.stdout
        assert "left out: 1 test(s) or file(s): no browser here" in run.stdout
        assert "left out in all: 1" in run.stdout
        assert "1 passed, 1 skipped, 1 xfailed" in run.stdout

    def test_is_a_failure_where_forbidden(self, tmp_path: Path) -> None:
        run = self.run(tmp_path, forbid="1")
        assert run.returncode == 1, run.stdout
        assert "1 failed, 1 passed, 1 xfailed" in run.stdout

    def test_by_selection_is_a_failure_where_forbidden(self, tmp_path: Path) -> None:
        assert self.run(tmp_path, "-k", "passes", forbid="").returncode == 0
        run = self.run(tmp_path, "-k", "passes", forbid="1")
        assert run.returncode == 1, run.stdout
        assert "left out: 2 test(s), by selection" in run.stdout

    def test_of_a_whole_file_is_a_failure_where_forbidden(self, tmp_path: Path) -> None:
        whole = tmp_path / "test_whole.py"
        whole.write_text('import pytest\npytest.importorskip("no_such_module_here")\ndef test_a(): pass\n')
        assert self.run(tmp_path, forbid="").returncode == 0
        assert self.run(tmp_path, str(whole), forbid="1").returncode != 0


class TestNothingOfTheBuilder:
    def test_no_path_of_a_machine_and_no_registry_host(self) -> None:
        """Written in pieces, so that this file does not hold what it looks for."""
        folders = "|".join(("wor" + "k", "ro" + "ot", "ho" + "me", "Us" + "ers", "t" + "mp"))
        hosts = "|".join(("py" + r"pi\.org", "python" + r"hosted\.org", "npm" + r"js\.", r"deb\.deb" + "ian"))
        pattern = re.compile(rf"(?<![\w.~}}])/(?:{folders})/\w|{hosts}|\.\./sha" + "red")
        found = []
        for path in our_files():
            try:
                text = path.read_text(encoding="utf-8")
            except UnicodeDecodeError:
                continue
            found += [f"{named(path)}: {hit}" for hit in pattern.findall(text)]
        assert found == []

    def test_the_check_above_can_fail(self) -> None:
        assert any(path.name == "test_house.py" for path in our_files())
        assert any(path.name == "run" and path.parent.name == ".ci" for path in our_files())
