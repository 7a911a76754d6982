"""Files that busim writes: complete or absent, private while written, and never over a file of another kind."""

from __future__ import annotations

import contextlib
import os
import shutil
import stat
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from busim.foundation.errors import UserError
from busim.foundation.output import check_target, whole_file


def write(path: Path, text: str, **options: object) -> None:
    with whole_file(path, "note", **options) as file:  # type: ignore[arg-type]
        file.write(text.encode())


def known(text: str) -> bool:
    return text.startswith("note:")


def test_a_file_is_private_until_it_is_whole_and_then_has_the_rights_of_the_old_one(tmp_path: Path) -> None:
    path = tmp_path / "note"
    path.write_text("note: old")
    path.chmod(0o640)
    with whole_file(path, "note", known=known) as file:
        (beside,) = tmp_path.glob(".note.*.part")
        assert stat.S_IMODE(beside.stat().st_mode) == 0o600
        file.write(b"note: new")
        assert path.read_text() == "note: old"
    assert (path.read_text(), stat.S_IMODE(path.stat().st_mode)) == ("note: new", 0o640)
    assert os.listdir(tmp_path) == ["note"]


def test_a_new_file_has_the_rights_that_the_user_gives_new_files(tmp_path: Path) -> None:
    mask = os.umask(0o027)
    try:
        write(tmp_path / "note", "note: new")
    finally:
        os.umask(mask)
    assert stat.S_IMODE((tmp_path / "note").stat().st_mode) == 0o640


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root gives files away")
def test_a_file_that_is_replaced_keeps_its_owner(tmp_path: Path) -> None:
    path = tmp_path / "note"
    path.write_text("note: old")
    os.chown(path, 1234, 2345)
    write(path, "note: new", known=known)
    assert (path.stat().st_uid, path.stat().st_gid) == (1234, 2345)


def test_a_block_that_fails_leaves_all_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "note"
    path.write_text("note: old")

    def fail() -> None:
        with whole_file(path, "note", overwrite=True) as file:
            file.write(b"half")
            raise KeyError

    with pytest.raises(KeyError):
        fail()
    assert (path.read_text(), os.listdir(tmp_path)) == ("note: old", ["note"])


def test_what_a_killed_program_left_is_removed_and_what_another_writes_is_not(tmp_path: Path) -> None:
    program = (
        "import os, sys\n"
        "from busim.foundation.output import whole_file\n"
        "with whole_file(sys.argv[1], 'note') as file:\n"
        "    file.write(b'half')\n"
        "    file.flush()\n"
        "    print('writing', flush=True)\n"
        "    sys.stdin.read()\n"
    )
    path = tmp_path / "note"
    with subprocess.Popen(
        [sys.executable, "-c", program, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == b"writing\n"
        (left,) = tmp_path.glob(".note.*.part")
        write(path, "note: mine")
        assert left.exists()
        process.kill()
    write(path, "note: again", overwrite=True)
    assert (path.read_text(), os.listdir(tmp_path)) == ("note: again", ["note"])


def test_one_of_its_inputs_is_never_replaced_whatever_its_name(tmp_path: Path) -> None:
    plan = tmp_path / "plan.yaml"
    plan.write_text("note: plan")
    (tmp_path / "hard").hardlink_to(plan)
    (tmp_path / "soft").symlink_to(plan)
    for name in ("plan.yaml", "hard", "soft", "../" + tmp_path.name + "/plan.yaml"):
        with pytest.raises(UserError, match="the file it is made from"):
            check_target(str(tmp_path / name), "note", overwrite=True, known=known, inputs=[plan])


@pytest.mark.timeout(10)
def test_a_pipe_is_refused_before_anybody_waits_for_it(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(UserError, match="pipe"):
        write(tmp_path / "pipe", "note: new", overwrite=True)


def test_a_device_is_written_to_as_it_is() -> None:
    write(Path("/dev/null"), "note: new")
    assert stat.S_ISCHR(os.stat("/dev/null").st_mode)


class Folder(RuleBasedStateMachine):
    """Files of both kinds, links and folders, and writes that succeed, fail and are refused, beside a small model."""

    names = st.sampled_from(["a", "b", "link", "folder/c"])

    @initialize()
    def begin(self) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="output-"))
        (self.folder / "folder").mkdir()
        (self.folder / "link").symlink_to("b")
        self.model: dict[str, str] = {}

    def real(self, name: str) -> str:
        return "b" if name == "link" else name

    @rule(name=names, text=st.sampled_from(["mine", "note: theirs", ""]))
    def somebody_writes(self, name: str, text: str) -> None:
        (self.folder / name).write_text(text)
        self.model[self.real(name)] = text

    @rule(name=names, overwrite=st.booleans(), knows=st.booleans(), fails=st.booleans(), new=st.booleans())
    def busim_writes(self, name: str, overwrite: bool, knows: bool, fails: bool, new: bool) -> None:
        there = self.model.get(self.real(name))
        free = not there or overwrite or (knows and known(there))
        if new:
            free = there is None and name != "link"
        done = False
        with contextlib.suppress(UserError, FileExistsError, KeyError):
            with whole_file(
                self.folder / name, "note", overwrite=overwrite, known=known if knows else None, new=new
            ) as file:
                file.write(b"note: new")
                if fails:
                    raise KeyError
            done = True
        assert done == (free and not fails)
        if done:
            self.model[self.real(name)] = "note: new"

    @invariant()
    def the_files_are_those_of_the_model(self) -> None:
        files = [path for path in self.folder.rglob("*") if path.is_file() and not path.is_symlink()]
        assert {str(path.relative_to(self.folder)): path.read_text() for path in files} == self.model
        assert (self.folder / "link").is_symlink()

    def teardown(self) -> None:
        shutil.rmtree(self.folder)


Folder.TestCase.settings = settings(max_examples=40, stateful_step_count=20, deadline=None)
TestFolder = Folder.TestCase
