"""`evenhand study` as a user runs it: figures with their errors, bars, and a file for programs."""

import json

from typer.testing import CliRunner

from evenhand.cli import app


def run(*arguments):
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


def test_two_seasons_of_the_own_world(tmp_path):
    result = run("study", "--world", "own", "--seasons", 2, "--json", tmp_path / "study.json")
    assert result.exit_code == 0, result.output
    found = json.loads((tmp_path / "study.json").read_text())
    assert [one["world"] for one in found] == ["own"]
    assert 0.8 < found[0]["coverage"]["value"] < 0.98
    assert found[0]["cost"]["value"] < found[0]["naive_cost"]["value"]
    assert "bars met." in result.output
    assert "±" in result.output


def test_an_unknown_world_is_one_sentence_and_status_2():
    result = run("study", "--world", "nowhere")
    assert result.exit_code == 2
    assert "There is no world nowhere; choose among own" in result.output.replace("\n", " ")


def test_a_worlds_figures_do_not_hang_on_the_worlds_beside_it(tmp_path):
    def figures(*worlds):
        file = tmp_path / "study.json"
        asked = [word for world in worlds for word in ("--world", world)]
        assert run("study", *asked, "--seasons", 2, "--json", file).exit_code == 0
        return {one["world"]: one for one in json.loads(file.read_text())}

    assert figures("own")["own"] == figures("loose", "own", "own")["own"]
