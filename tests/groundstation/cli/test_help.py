import re
import shlex
from pathlib import Path

import pytest

from groundstation.cli import COMMANDS, build_parser, main
from groundstation.cli.command import Command
from groundstation.simulator.faults import FAULTS

README = Path(__file__).parents[3] / "README.md"
PLACES = {"FILE": "file", "LINK": "tcp://127.0.0.1:1", "…": "my-vehicle.toml"}


def each_command(test: object) -> object:
    return pytest.mark.parametrize("command", COMMANDS, ids=[c.name for c in COMMANDS])(test)


def parses(line: str) -> None:
    words = [PLACES.get(word, word) for word in shlex.split(line)]
    assert words[0].endswith("groundstation")
    build_parser().parse_args(words[1:])


@each_command
def test_help_teaches_what_it_does_with_examples_and_what_it_never_does(
    command: Command, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        main([command.name, "--help"])
    assert ended.value.code == 0
    shown = capsys.readouterr().out
    assert command.paragraph in shown
    assert len(command.paragraph) > 150
    assert all(line in shown and what in shown for line, what in command.examples)
    assert "nothing is ever sent to" in shown.replace("Nothing", "nothing")


@each_command
def test_examples_of_the_help_parse(command: Command) -> None:
    assert command.examples
    for line, _ in command.examples:
        parses(line)


@each_command
def test_readme_lists_the_command(command: Command) -> None:
    assert f"| `{command.name}` |" in README.read_text(encoding="utf-8")


@each_command
def test_every_option_says_what_it_is_for(command: Command) -> None:
    parser = build_parser()
    choices = next(a for a in parser._actions if a.dest == "run" or a.choices).choices
    assert isinstance(choices, dict)
    for action in choices[command.name]._actions:
        assert action.help, action.dest


def test_readme_lists_no_command_that_is_not_there() -> None:
    listed = re.findall(r"^\| `([a-z]+)` \|", README.read_text(encoding="utf-8"), re.MULTILINE)
    assert listed == [command.name for command in COMMANDS]


def test_commands_in_the_readme_parse() -> None:
    text = README.read_text(encoding="utf-8")
    blocks = "\n".join(re.findall(r"```sh\n(.*?)```", text, re.DOTALL))
    lines = re.findall(r"(?:^|&& )\s*((?:\.venv/bin/)?groundstation [^&\n]+)", blocks, re.MULTILINE)
    lines += [line for line in re.findall(r"`(groundstation [^`]+)`", text) if "--help" not in line]
    assert len(lines) >= 8
    for line in lines:
        parses(line)


def test_the_whole_help_lists_every_command_and_the_exit_codes(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["--help"])
    assert ended.value.code == 0
    shown = capsys.readouterr().out
    assert all(f"{c.name} " in shown and c.summary in shown for c in COMMANDS)
    assert "exit codes" in shown
    assert "The range safety officer decides" in shown


@pytest.mark.parametrize("name", ["simulate", "demo"])
def test_help_explains_every_fault(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main([name, "--help"])
    shown = capsys.readouterr().out
    assert all(fault.name in shown and fault.text in shown for fault in FAULTS.values())
