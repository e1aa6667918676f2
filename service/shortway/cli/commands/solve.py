"""``shortway solve``: the path of least cost through a chart."""

from typing import Any

import click

from shortway.cli.errors import pointer_prefix, report_errors
from shortway.cli.input import request_from_arguments
from shortway.cli.options import (
    chart_options,
    command,
    output_options,
    path_options,
    setting_options,
)


@command("solve")
@click.argument("chart")
@chart_options
@setting_options
@path_options
@click.option("--alternatives", default=0, metavar="N", help="Number of further paths.")
@click.option("--differs-in", default=1, metavar="N", help="Steps in which alternatives differ.")
@click.option("--choices-at", type=int, metavar="STEP", help="List the candidates of a step.")
@click.option("--limit", default=100, metavar="N", help="Number of choices.")
@click.option(
    "--level", type=click.Choice(["full", "brief"]), default="full", help="Steps of the JSON."
)
@click.option("--with-least-motion", is_flag=True, help="Tell the least motion possible.")
@output_options
def solve_command(output: str, level: str, **given: Any) -> None:
    """Solve CHART: its text, a file, or - for standard input.

    A chart is text such as "| Dm7 | G7 | Cmaj7 | % |", the JSON form of the service, or a lead
    sheet (MusicXML or .mxl).
    """
    with report_errors(given):
        from shortway.cli.brief import brief_path
        from shortway.cli.table import format_path, print_answer
        from shortway.services.read_chart import read_chart
        from shortway.services.solve_path import solve_path
        from shortway.wire.serializers.paths import path_json

        request = request_from_arguments(given)
        with pointer_prefix("/chart"):
            chart = read_chart(request["chart"]).chart
        path = solve_path({**request, "chart": chart})
    answer = path_json(path, level if output == "json" else "full")
    parts = [chart.title or "Chart", f"key {chart.key}" if chart.key else ""]
    heading = ", ".join(part for part in (*parts, "{}/{}".format(*chart.meter)) if part)
    print_answer(answer, output, format_path(answer, heading), brief_path(answer))
