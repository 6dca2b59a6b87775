"""`oralquiz models`: the recognition models of this computer, and whether they work."""

from __future__ import annotations

import click

from oralquiz.cli.common import FAILED, OK, echo, json_option, print_json


@click.command()
@click.option("--model", metavar="NAME|PATH", help="Only this model, or the one in this folder.")
@click.option(
    "--language", metavar="CODE", help="The model's language, if its folder does not say."
)
@json_option
@click.pass_context
def models(ctx: click.Context, model: str | None, language: str | None, as_json: bool) -> None:
    """The recognition models on this computer: language, numbers they hear, a test of each.

    The test loads the model in a separate process and has it hear the clips that come with it.
    """
    from rich.table import Table

    from oralquiz.cli.console import console_for
    from oralquiz.listen import check_models, model_folders

    found = check_models(model, language)
    code = OK if found and all(check.error is None for check in found) else FAILED
    if as_json:
        print_json(
            {
                "folders": [str(folder) for folder in model_folders()],
                "models": [check.as_json() for check in found],
            }
        )
        ctx.exit(code)
    table = Table("model", "language", "numbers", "size", "loads in", "self-test")
    for check in found:
        table.add_row(*check.as_row())
    console_for().print(table)
    for check in found:
        if check.error is not None:
            echo(check.error)
    for folder in model_folders():
        echo(f"looked in {folder}")
    ctx.exit(code)
