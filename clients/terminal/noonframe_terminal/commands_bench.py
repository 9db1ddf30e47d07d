"""The commands of the bench, put under the others."""

import typer

from noonframe_terminal.commands_coat import COAT_EXAMPLES, coat
from noonframe_terminal.commands_curve import CURVE_EXAMPLES, curve
from noonframe_terminal.commands_prints import prints_app
from noonframe_terminal.commands_recipe import recipe_app
from noonframe_terminal.commands_shelf import place_app, spot_app
from noonframe_terminal.commands_strip import judge, strip_app
from noonframe_terminal.common import examples
from noonframe_terminal.lamp_commands import lamp_app

_JUDGE = (
    "noonframe judge 'kelp on cotton' right --run last",
    "noonframe judge 'kelp on cotton' 'a little pale' --dose 21000 \\\n    --name 'kelp fronds'",
)


def add_bench(app: typer.Typer) -> None:
    """Give `app` the commands of the bench."""
    for group in (recipe_app, strip_app, prints_app, spot_app, place_app, lamp_app):
        app.add_typer(group)
    # a print that is too pale by stops begins like an option
    lenient = {"ignore_unknown_options": True}
    app.command(epilog=examples(*_JUDGE), context_settings=lenient)(judge)
    app.command(epilog=examples(*COAT_EXAMPLES))(coat)
    app.command(epilog=examples(*CURVE_EXAMPLES), context_settings=lenient)(curve)
