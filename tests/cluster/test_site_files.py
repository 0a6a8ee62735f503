# SPDX-License-Identifier: MIT
"""Site files: how they are read, and the messages for invalid ones."""

import re

import pytest
from plain_tube import ROOT

from annelid.cases.cluster.site import Site, read_site
from annelid.geometry.errors import InputError

PAGE = (ROOT / "cases" / "cluster" / "README.md").read_text()


@pytest.fixture
def site(tmp_path):
    def read(text):
        (tmp_path / "site.toml").write_text(text)
        return read_site(tmp_path / "site.toml")

    return read


def test_units_and_defaults(site):
    read = site('time = "1.5 h"\nmemory = "3 GB"\npartition = "short,long"')
    assert (read.time, read.memory, read.partition) == (5400.0, 3000.0, "short,long")
    assert (read.requeue, read.more.time, read.more.memory) == (True, 2.0, 1.5)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("time = 20", "time: 20 has no unit; write a time at least 1 s"),
        ('time = "3 GB"', "time"),
        ('memory = "10 MB"', "memory: .* is out of range; it must be an amount of memory at least 50"),
        (
            'partiton = "x"',
            "partiton: unknown key .did you mean .partition.*; allowed here: account, at_a_time",
        ),
        ('partition = "a b"', "partition: 'a b' is not allowed here; it must consist of letters"),
        ('partition = "--wrap=x"', "partition: '--wrap=x' is not allowed here"),
        ('modules = ["gcc; rm"]', r"modules\[#1\]: 'gcc; rm' .* like \"gcc/13.2\""),
        ('directives = ["-p x"]', r"directives\[#1\]: .* it must be like \"--constraint=skylake\""),
        (
            'directives = ["--array=1"]',
            "--array is set by the program; use the keys time, memory",
        ),
        ('environment = { "A B" = "x" }', "a name has letters, digits and _"),
        ('environment = { A = "x\\ny" }', "environment.A: .* a value is one line"),
        ('more = { time = "1" }', "more.time: .* above 1"),
        ('ranks = "ssh"', "ranks: 'ssh': must be 'mpiexec' or 'srun'"),
        ("at_a_time = 0", "at_a_time: 0: must be greater than or equal to 1"),
        ("container = {}", "container.image: missing"),
        (
            'container = { image = "x", imag = "y" }',
            "container.imag: unknown key.*allowed here: command, image",
        ),
        ('ranks = "srun"\ncontainer = { image = "x" }', "cannot be called inside an image"),
        ('python = "x"\ncontainer = { image = "x" }', "use container.python"),
        ('template = "none.sh"', "none.sh is not a file"),
        ("= 3", "is not valid TOML"),
    ],
)
def test_errors_are_reported(site, text, message):
    with pytest.raises(InputError, match=message):
        site(text)


def test_a_missing_file_is_reported(tmp_path, monkeypatch):
    with pytest.raises(InputError, match=r"none\.toml: cannot be read \(No such file"):
        read_site(tmp_path / "none.toml")
    monkeypatch.setenv("ANNELID_SITE", str(tmp_path / "other.toml"))
    with pytest.raises(InputError, match=r"other\.toml"):
        read_site(None)
    monkeypatch.delenv("ANNELID_SITE")
    assert read_site(None) == Site()


def test_every_key_is_explained_and_the_example_is_read(site):
    schema = Site.model_json_schema()
    keys = {key for table in [schema, *schema["$defs"].values()] for key in table["properties"]}
    code = " ".join(re.findall(r"`([^`]+)`", PAGE.replace("```", "")))
    assert len(keys) > 15
    assert keys - set(re.findall(r"[a-z]\w*", code)) == set()
    example = site(re.search(r"```toml\n(.*?)```", PAGE, re.DOTALL)[1])
    assert example.environment == {"ANNELID_CACHE": "/scratch/forms"}
