"""Every command is in the README, and --help says what every option does."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from oralquiz.cli import COMMANDS, main

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")


def commands() -> Iterator[tuple[str, click.Command]]:
    """Every command with its subcommands, as it is typed."""
    context = click.Context(main)
    for name in COMMANDS:
        command = main.get_command(context, name)
        assert command is not None, f"{name} is listed but not there"
        yield name, command
        if isinstance(command, click.Group):
            for sub, subcommand in command.commands.items():
                yield f"{name} {sub}", subcommand


EVERY = list(commands())


@pytest.mark.parametrize("name", [name for name, _ in EVERY])
def test_every_command_is_in_the_readme(name: str) -> None:
    assert f"oralquiz {name}" in README


@pytest.mark.parametrize(("name", "command"), EVERY, ids=[name for name, _ in EVERY])
def test_every_option_says_what_it_does(name: str, command: click.Command) -> None:
    shown = CliRunner().invoke(main, [*name.split(), "--help"]).output
    assert command.help
    for parameter in command.params:
        if isinstance(parameter, click.Option):
            assert parameter.help, f"{name} {parameter.opts[0]} has no help"
            for spelling in parameter.opts + parameter.secondary_opts:
                assert spelling in shown


def test_the_overview_lists_every_command_with_its_purpose() -> None:
    shown = CliRunner().invoke(main, ["--help"]).output
    for name, (_, purpose) in COMMANDS.items():
        assert name in shown
        assert " ".join(purpose.split()) in " ".join(shown.split())


def test_every_command_in_the_readme_exists() -> None:
    known = {name.split()[0] for name, _ in EVERY}
    named = set(re.findall(r"oralquiz ([a-z]+)", README)) - {"demo_sessions"}
    assert named - known == set()
    groups = {name for name, command in EVERY if isinstance(command, click.Group)}
    for group in groups:
        for sub in re.findall(rf"oralquiz {group} ([a-z-]+)", README):
            assert f"{group} {sub}" in dict(EVERY), f"{group} {sub}"


def test_every_command_line_in_the_readme_is_understood(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its arguments and options are there and take what is given; nothing is carried out."""
    monkeypatch.chdir(tmp_path)
    Path("FILE").touch()
    ran: list[str] = []
    monkeypatch.setattr(click.Command, "invoke", lambda _, context: ran.append(context.info_name))
    blocks = re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
    lines = re.findall(r"^(?:.*&& )?oralquiz (.+)$", "".join(blocks), re.MULTILINE)
    for line in lines:
        done = CliRunner().invoke(main, shlex.split(line, comments=True))
        assert done.exit_code == 0, (line, done.output)
    assert len(ran) >= len(lines) > 10


def test_every_link_in_the_readme_leads_somewhere() -> None:
    root = Path(__file__).parents[2]
    links = re.findall(r"\]\(([^)#:]+)\)", README)
    assert links
    assert [link for link in links if not (root / link).exists()] == []
