"""README's example runs, stays short, and its commands exist."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text()


def example():
    return re.search(r"```python\n(.*?)```", README, re.DOTALL).group(1)


def test_python_example_runs(tmp_path, monkeypatch, capsys):
    code = example().replace("models/", f"{ROOT}/models/")
    assert len([line for line in example().splitlines() if line.strip()]) < 15
    monkeypatch.chdir(tmp_path)
    exec(compile(code, "README.md", "exec"), {})
    assert (tmp_path / "report.html").stat().st_size > 10_000
    assert "-" in capsys.readouterr().out


@pytest.mark.parametrize("path", sorted(set(re.findall(r"\]\(([^)#]+)\)", README))))
def test_links_lead_somewhere(path):
    assert (ROOT / path).exists()


def test_set_up_is_two_commands():
    block = re.search(r"## Set up.*?```sh\n(.*?)```", README, re.DOTALL).group(1)
    lines = [line.split("#")[0].split() for line in block.splitlines()]
    assert [line[0] for line in lines] == ["bash", "bash"]
    assert all((ROOT / line[1]).exists() for line in lines)
