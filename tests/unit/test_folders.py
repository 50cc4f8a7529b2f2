"""The temporary folder after a kill: what a killed run of the tests left is removed by the next."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests.folders import own_folder
from tests.processes import unmeasured

ROOT = Path(__file__).resolve().parents[2]
HOLDS = """
import sys
from pathlib import Path
from tests.folders import own_folder

with own_folder(Path(sys.argv[1])) as folder:
    (folder / "ideas.book").write_text("x")
    print(folder.name, flush=True)
    sys.stdin.read()
"""


def holder(where: Path) -> tuple[subprocess.Popen[str], Path]:
    """A process that has a folder of its own until its input ends, and the folder."""
    command = [sys.executable, "-c", HOLDS, str(where)]
    process = subprocess.Popen(
        command, cwd=ROOT, env=unmeasured(), text=True, stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    assert process.stdout is not None
    return process, where / process.stdout.readline().strip()


@pytest.mark.skipif(sys.platform == "win32", reason="no locks tell there who is alive")
def test_folders_of_killed_processes_go(tmp_path: Path) -> None:
    """The folder of a killed process is removed when another is made; that of a living one stays until its end."""
    killed, left = holder(tmp_path)
    alive, kept = holder(tmp_path)
    with killed, alive:
        assert sorted(tmp_path.iterdir()) == sorted((left, kept))
        killed.kill()
        killed.wait()
        assert left.is_dir()
        with own_folder(tmp_path) as own:
            assert sorted(tmp_path.iterdir()) == sorted((kept, own))
        alive.communicate()
    assert list(tmp_path.iterdir()) == []
