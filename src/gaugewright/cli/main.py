"""The one program.  Commands load what they need when they run, so that help is quick."""

import os
from typing import Annotated

import typer

from gaugewright import __version__
from gaugewright.cli import (
    arrives,
    calibrate,
    carry,
    certificate,
    compare,
    demo,
    export,
    plan,
    recheck,
    recipe,
    refine,
    rig,
    tank,
    thin,
    verify,
    watch,
    wiring,
)
from gaugewright.cli import open as workbench
from gaugewright.cli.output import show
from gaugewright.cli.program import Program

app = typer.Typer(
    cls=Program,
    name="gaugewright",
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Example: gaugewright calibrate pours.csv --tank tank.toml --out table.csv",
)

app.command("demo", epilog=demo.EXAMPLE)(demo.demo)
app.command("open", epilog=workbench.EXAMPLE)(workbench.open_)
app.command("tank", epilog=tank.EXAMPLE)(tank.tank)
app.command("plan", epilog=plan.EXAMPLE)(plan.plan)
app.command("calibrate", epilog=calibrate.EXAMPLE)(calibrate.calibrate)
app.command("thin", epilog=thin.EXAMPLE)(thin.thin)
app.command("compare", epilog=compare.EXAMPLE)(compare.compare)
app.command("export", epilog=export.EXAMPLE)(export.export)
app.command("recipe", epilog=recipe.EXAMPLE)(recipe.recipe)
app.command("arrives", epilog=arrives.EXAMPLE)(arrives.arrives)
app.command("certificate", epilog=certificate.EXAMPLE)(certificate.certificate)
app.command("recheck", epilog=recheck.EXAMPLE)(recheck.recheck)
app.command("carry", epilog=carry.EXAMPLE)(carry.carry)
app.command("verify", epilog=verify.EXAMPLE)(verify.verify)
app.command("watch", epilog=watch.EXAMPLE)(watch.watch)
app.command("refine", epilog=refine.EXAMPLE)(refine.refine)
app.command("rig", epilog=rig.EXAMPLE)(rig.rig)
app.command("wiring", epilog=wiring.EXAMPLE)(wiring.wiring)


@app.callback(invoke_without_command=True)
def program(
    context: typer.Context,
    version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    """From a bare tank and metered pours to litres that can be trusted."""
    if version:
        show(f"gaugewright {__version__}")
    elif context.invoked_subcommand is None:
        show(context.get_help())


def main() -> None:
    """Run the command line.

    The matrices here are small: threads of the linear algebra cost more than they gain, four
    times over where another program is busy too.  Whoever sets them otherwise is heard.
    """
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    app()
