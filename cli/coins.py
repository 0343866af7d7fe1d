"""`annulet coins`: which coins can set the scale."""

import json
from dataclasses import asdict

import typer

from cli.hints import print_next
from cli.options import AsJson


def coins(as_json: AsJson = False) -> None:
    """List the coins: which can set the scale, and why others cannot."""
    from cli.show.coins import coins_text
    from cli.show.terminal import print_text, terminal_width
    from vision.trade.coins import coins as all_coins

    if as_json:
        record = {
            "format": "annulet-coins",
            "version": 1,
            "coins": [asdict(coin) | {"serves": coin.serves} for coin in all_coins()],
        }
        typer.echo(json.dumps(record, ensure_ascii=False, allow_nan=False, indent=2).encode())
        return
    print_text(coins_text(all_coins(), width=terminal_width()))
    print_next("lay one beside the rings, take a photo, then: annulet measure PHOTO --coin NAME")
