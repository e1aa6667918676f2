"""``shortway serve`` and ``shortway token``: the HTTP service and its access tokens."""

import os

import click

from shortway.cli.errors import exit_with_error

_PROXY = (
    "Open to everybody: a proxy belongs in front. docker/nginx.conf in the source configures nginx;"
    " see Operations in the manual."
)


@click.command("serve")
@click.option("--host", help="Address to listen on: SHORTWAY_HOST, or 127.0.0.1.")
@click.option("--port", type=click.IntRange(1, 65535), help="SHORTWAY_PORT, or 8000.")
@click.option("--workers", type=click.IntRange(1, 256), help="Processes; default: one per CPU.")
@click.option("--open", "is_open", is_flag=True, help="Listen beyond this machine without tokens.")
@click.option("--show-settings", is_flag=True, help="Print all settings and exit.")
def serve_command(
    host: str | None, port: int | None, workers: int | None, is_open: bool, show_settings: bool
) -> None:
    """Run the HTTP service.

    All its settings are environment variables; --show-settings lists them.
    """
    from shortway import config

    try:
        given = config.load_config(
            os.environ, host=host, port=port, workers=workers, open=is_open or None
        )
        if show_settings:
            for line in config.describe_config(given):
                click.echo(line)
            return
        if given.open:
            click.echo(_PROXY, err=True)
        from shortway.serving.serve import run_server

        run_server(given)
    except config.ConfigurationError as error:
        exit_with_error(str(error))


@click.command("token")
@click.argument("name")
def token_command(name: str) -> None:
    """Generate an access token for NAME.

    Standard output gets the line for the file named by SHORTWAY_TOKENS_FILE. Standard error gets
    the token itself, once; it is not stored. A running service reads the new line as soon as it is
    in the file.
    """
    from shortway.api.middleware import token_store

    if not token_store.NAME.fullmatch(name):
        exit_with_error("a name is 1 to 64 letters, digits, dots, dashes, underscores")
    made = token_store.generate_token()
    click.echo(made, err=True)
    click.echo(token_store.token_line(name, made))
