"""The set-up files: one command each, everything pinned, no registry's address anywhere."""

from __future__ import annotations

import itertools
import os
import re
import shutil
import subprocess
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
    names = {normal(re.match(r"[\w.-]+", requirement)[0]) for requirement in wanted}
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
@pytest.mark.parametrize("words", [[], ["deploy"], ["app"]])
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


def test_ci_runs_the_command_of_the_readme():
    assert "\n./run test\n" in (ROOT / ".ci" / "run").read_text()
    for script in (ROOT / "run", ROOT / ".ci" / "run"):
        assert os.access(script, os.X_OK)
