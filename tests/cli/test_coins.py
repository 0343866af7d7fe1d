"""`annulet coins`."""

import json
from collections.abc import Callable

import pytest

from vision.trade.coins import coins


@pytest.mark.parametrize("columns", [40, 80, 200])
def test_every_coin_is_listed_and_refusals_say_why(
    run: Callable, monkeypatch: pytest.MonkeyPatch, columns: int
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    ended = run("coins")
    assert ended.exit_code == 0
    serving, _, refused = ended.stdout.partition("coins that cannot")
    for coin in coins():
        part = serving if coin.serves else refused
        assert f"\n{coin.name} " in part
    words = " ".join(refused.split())
    assert all(coin.refused in words for coin in coins() if coin.refused)
    if columns >= 80:
        assert max(map(len, ended.stdout.splitlines())) <= columns


def test_coins_as_json(run: Callable) -> None:
    record = json.loads(run("coins", "--json").stdout)
    assert (record["format"], record["version"]) == ("annulet-coins", 1)
    rows = {row["name"]: row for row in record["coins"]}
    assert rows["eur-1"]["diameter_mm"] == 23.25
    assert rows["eur-1"]["serves"] is True
    assert rows["gbp-1"]["serves"] is False
    assert rows["jpy-5"]["hole_mm"] == 5.0
