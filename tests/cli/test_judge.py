"""`evenhand judge` as a user runs it: verdicts, files, exit status, and nothing half written."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from evenhand.cli import app

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "demo" / "season"


def run(*arguments):
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


@pytest.fixture(scope="module")
def judged(tmp_path_factory):
    """Judge the demo once, with all three files."""
    out = tmp_path_factory.mktemp("out")
    files = [out / name for name in ("verdicts.json", "page.html", "paper.pdf")]
    result = run("judge", DEMO, "--json", files[0], "--html", files[1], "--pdf", files[2], "--paper", "us-letter")
    assert result.exit_code == 0, result.output
    return result, json.loads(files[0].read_text()), files


def test_every_batch_gets_a_verdict_on_screen_and_in_the_file(judged):
    result, verdicts, files = judged
    assert len(verdicts["batches"]) == 90
    for one in verdicts["batches"]:
        assert one["batch"] in result.output
        assert one["decision"] in ("release", "taste_again", "hold")
        assert one["decision"] == min(one["expected_cost"], key=one["expected_cost"].get)
    for path in files:
        assert f"Written: {path}" in result.output.replace("\n", "")
        assert path.stat().st_size > 10_000


def test_verdicts_agree_with_the_known_truth(judged):
    """Every batch with a fault is caught; of the good ones few are held; where it releases a bad one it had said so."""
    _, verdicts, _ = judged
    truth = {one["batch"]: one for one in json.loads((ROOT / "demo" / "truth.json").read_text())["batches"]}
    decisions = {one["batch"]: one["decision"] for one in verdicts["batches"]}
    for batch, known in truth.items():
        if known["faults"]:
            assert decisions[batch] != "release", batch
    good = [batch for batch, known in truth.items() if known["good"]]
    assert sum(decisions[batch] == "hold" for batch in good) <= 3
    assert sum(decisions[batch] == "release" for batch in good) >= 45
    stated = sum(1 - one["p_good"] for one in verdicts["batches"] if one["decision"] == "release")
    missed = sum(decisions[batch] == "release" for batch, known in truth.items() if not known["good"])
    assert missed <= stated + 3 * stated**0.5


def test_intervals_hold_the_known_truth(judged):
    _, verdicts, _ = judged
    truth = {one["batch"]: one for one in json.loads((ROOT / "demo" / "truth.json").read_text())["batches"]}
    held = [
        one["lower90"] <= truth[batch["batch"]]["profile"][one["service"]][one["attribute"]] <= one["upper90"]
        for batch in verdicts["batches"]
        for one in batch["profile"]
    ]
    assert 0.85 <= sum(held) / len(held) <= 0.95


def test_the_long_slow_shot_on_a_good_roast_is_not_held_against_it(judged):
    _, verdicts, _ = judged
    one = next(one for one in verdicts["batches"] if one["batch"] == "Q26-012")
    assert one["decision"] == "release"


def test_one_batch_is_shown_in_full_and_judged_as_before(judged, tmp_path):
    _, verdicts, _ = judged
    result = run("judge", DEMO, "--batch", "Q26-012", "--json", tmp_path / "one.json")
    assert result.exit_code == 0
    one = json.loads((tmp_path / "one.json").read_text())["batches"]
    assert one == [each for each in verdicts["batches"] if each["batch"] == "Q26-012"]
    assert "Q26-013" not in result.output


def test_an_unknown_batch_is_one_sentence_and_status_2():
    result = run("judge", DEMO, "--batch", "Q99")
    assert result.exit_code == 2
    assert "There is no batch Q99" in result.output


def test_the_command_and_python_give_the_same(judged):
    import evenhand
    from evenhand.output.judgement_file import to_json

    _, verdicts, _ = judged
    assert json.loads(to_json(evenhand.judge(DEMO))) == verdicts


@pytest.fixture
def folder(tmp_path):
    """A copy of the demo to break."""
    copy = tmp_path / "week"
    shutil.copytree(DEMO, copy)
    return copy


def test_all_errors_of_a_folder_come_together_and_nothing_is_written(folder, tmp_path):
    pulls = (folder / "pulls.csv").read_text().splitlines()
    pulls[3] = pulls[3].replace(pulls[3].split(",")[3], "0", 1)
    (folder / "pulls.csv").write_text("\n".join(pulls) + "\n")
    (folder / "attributes.csv").unlink()
    sheets = (folder / "sheets.csv").read_text().splitlines()
    sheets[7] = ",".join([*sheets[7].split(",")[:3], "much"])
    (folder / "sheets.csv").write_text("\n".join(sheets) + "\n")
    result = run("judge", folder, "--json", tmp_path / "out.json", "--html", tmp_path / "out.html")
    assert result.exit_code == 2
    assert "attributes.csv" in result.output
    assert "pulls.csv, row 4, dose_g" in result.output
    assert "sheets.csv, row 8, score" in result.output
    assert "Traceback" not in result.output
    assert not (tmp_path / "out.json").exists()
    assert not (tmp_path / "out.html").exists()


def test_a_folder_that_is_not_there(tmp_path):
    result = run("judge", tmp_path / "nowhere")
    assert result.exit_code == 2
    assert "nowhere" in result.output
    assert "Traceback" not in result.output


def test_outputs_that_cannot_be_written_are_refused_before_the_work(tmp_path):
    result = run("judge", DEMO, "--json", tmp_path / "no" / "such" / "out.json", "--html", tmp_path)
    assert result.exit_code == 2
    assert "out.json" in result.output
    assert str(tmp_path) in result.output.replace("\n", "")


def test_two_outputs_may_not_share_a_file(tmp_path):
    result = run("judge", DEMO, "--json", tmp_path / "out", "--html", tmp_path / "out")
    assert result.exit_code == 2
    assert "file of its own" in result.output.replace("\n", " ")
    assert not (tmp_path / "out").exists()


def test_as_a_process_the_status_reaches_the_shell(tmp_path):
    command = [sys.executable, "-c", "from evenhand.cli import main; main()", "judge", str(tmp_path / "nowhere")]
    done = subprocess.run(command, capture_output=True, text=True, env={**os.environ, "NO_COLOR": "1"}, check=False)
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1


def test_help_and_version():
    assert "Judge every batch of a folder" in run("judge", "--help").output
    assert run("--version").output.startswith("evenhand ")
