"""The set-up files: one command each, everything pinned, no registry's address anywhere."""

from __future__ import annotations

import itertools
import os
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SHELLS = [shell for shell in ("dash", "sh", "bash") if shutil.which(shell)]


def pins():
    lines = (ROOT / "constraints.txt").read_text().splitlines()
    return dict(line.split("==") for line in lines if line and not line.startswith("#"))


def normal(name):
    """Write a package's name as registries compare it (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def run(*words, cwd=ROOT):
    return subprocess.run(
        ["sh", str(ROOT / "run"), *words], capture_output=True, text=True, timeout=60, cwd=cwd, check=False
    )


def test_every_dependency_is_pinned_to_one_version():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    wanted = [*project["dependencies"], *itertools.chain(*project["optional-dependencies"].values())]
    names = {normal(re.match(r"[\w.-]+", requirement)[0]) for requirement in wanted} - {"curvometer"}
    pinned = {normal(name): version for name, version in pins().items()}
    assert names <= set(pinned)
    assert "setuptools" in pinned, "the build is pinned, too"
    assert all(re.fullmatch(r"[\w.+]+", version) for version in pinned.values())


@pytest.mark.parametrize("name", ["constraints.txt", "run", ".ci/run", "pyproject.toml"])
def test_no_address_or_path_of_a_registry_stands_in_a_file(name):
    text = (ROOT / name).read_text()
    assert "://" not in text
    assert not re.search(r"index-url|find-links|\bfile:", text)


@pytest.mark.skipif(not SHELLS, reason="needs a shell")
@pytest.mark.parametrize("shell", SHELLS)
def test_run_is_plain_shell(shell):
    assert subprocess.run([shell, "-n", str(ROOT / "run")], check=False).returncode == 0


@pytest.mark.skipif(os.name == "nt", reason="needs a shell")
@pytest.mark.parametrize("words", [[], ["deploy"]])
def test_an_unknown_command_is_one_line_and_sets_nothing_up(words, tmp_path):
    done = run(*words, cwd=tmp_path)
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert "./run demo" in done.stderr


@pytest.mark.skipif(os.name == "nt", reason="needs a shell")
def test_without_python_apt_or_sudo_run_names_what_is_missing(tmp_path):
    """On a machine that can install nothing itself, one sentence names the packages."""
    for tool in ("sh", "dirname", "cat", "cksum", "rm", "env"):
        (tmp_path / tool).symlink_to(shutil.which(tool))
    (tmp_path / "id").write_text("#!/bin/sh\necho 1000\n")
    (tmp_path / "id").chmod(0o755)
    tree = tmp_path / "tree"
    tree.mkdir()
    for name in ("run", "pyproject.toml", "constraints.txt"):
        shutil.copy(ROOT / name, tree / name)
    done = subprocess.run(
        [str(tmp_path / "sh"), str(tree / "run"), "demo"],
        capture_output=True, text=True, check=False, env={"PATH": str(tmp_path)},
    )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "install python3 and python3-venv" in done.stderr
    assert not (tree / ".venv").exists()


def fake_tree(tmp_path, *, tools=(), missing=()):
    """A tree whose ./run finds a set-up environment, programs that only tell how they were called, and no apt.

    `missing` are the libraries that its Python does not find.
    """
    programs = tmp_path / "programs"
    programs.mkdir()
    for tool in ("sh", "dirname", "cat", "cksum", "uname", "env"):
        (programs / tool).symlink_to(shutil.which(tool))
    (programs / "id").write_text("#!/bin/sh\necho 1000\n")
    for tool in tools:
        (programs / tool).write_text(f'#!/bin/sh\necho "{tool} $*"\n')
    tree = tmp_path / "tree"
    (tree / ".venv" / "bin").mkdir(parents=True)
    for name in ("run", "pyproject.toml", "constraints.txt"):
        shutil.copy(ROOT / name, tree / name)
    python = tree / ".venv" / "bin" / "python"
    answer = "".join(f" {name}" for name in missing)
    python.write_text(
        f'#!/bin/sh\ncase "$*" in *CDLL*) printf "%s" "{answer}" ;; -c*) ;; *) echo "python $*" ;; esac\n'
    )
    (tree / ".venv" / "bin" / "curvometer").write_text('#!/bin/sh\necho "curvometer $* in $PWD"\n')
    for path in [*programs.iterdir(), *python.parent.iterdir()]:
        if not path.is_symlink():
            path.chmod(0o755)
    now = subprocess.run(
        "printf '%s' \"$PWD $(cat pyproject.toml constraints.txt | cksum)\"",
        shell=True, capture_output=True, text=True, check=True, cwd=tree,
    ).stdout  # fmt: skip
    for extra in ("base", "test", "viewer"):
        (tree / ".venv" / f".set-up-{extra}").write_text(now)
    return lambda *words, cwd=tree: subprocess.run(
        [str(programs / "sh"), str(tree / "run"), *words],
        capture_output=True, text=True, check=False, cwd=cwd, env={"PATH": str(programs)},
    )  # fmt: skip


on_linux = pytest.mark.skipif(
    not sys.platform.startswith("linux"), reason="system packages are named on Linux only"
)
CORE = "python -m pytest -n 2 -q"
VIEWER = "xvfb-run -a -s -screen 0 1600x1200x24 .venv/bin/python -m pytest -c tests/plugins/pytest.ini -q"


@on_linux
@pytest.mark.parametrize(
    ("words", "runs"),
    [
        ([], [CORE, f"{VIEWER} tests/plugins"]),
        (["-x"], [f"{CORE} -x", f"{VIEWER} tests/plugins"]),
        (["tests/test_cli.py"], [f"{CORE} tests/test_cli.py"]),
        (["-x", "tests/plugins/test_app.py"], [f"{VIEWER} -x tests/plugins/test_app.py"]),
    ],
)
def test_run_test_runs_two_suites_or_the_one_that_a_path_names(words, runs, tmp_path):
    done = fake_tree(tmp_path, tools=("xvfb-run", "xauth"))("test", *words)
    assert done.stdout.splitlines() == [" ".join(line.split()) for line in runs]
    assert done.returncode == 0


@on_linux
def test_run_app_starts_the_viewer_where_it_was_called(tmp_path):
    done = fake_tree(tmp_path)("app", "tooth.dcm", cwd=tmp_path)
    assert (done.returncode, done.stdout) == (0, f"curvometer app tooth.dcm in {tmp_path}\n"), done.stderr


@on_linux
@pytest.mark.parametrize(
    ("command", "missing", "named"),
    [("app", ("libegl1", "libxcb-cursor0"), "libegl1 libxcb-cursor0"), ("test", (), "xvfb xauth")],
)
def test_without_apt_one_sentence_names_the_system_packages(command, missing, named, tmp_path):
    done = fake_tree(tmp_path, missing=missing)(command)
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert f"needs the system packages {named}: install them" in done.stderr


def test_ci_runs_the_command_of_the_readme():
    assert "\n./run test\n" in (ROOT / ".ci" / "run").read_text()
    for script in (ROOT / "run", ROOT / ".ci" / "run"):
        assert os.access(script, os.X_OK)
