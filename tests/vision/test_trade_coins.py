"""Coins against the sizes that mints and central banks publish."""

import pytest

from vision.errors import CoinError
from vision.trade.coins import coins, find_coin, lookup, serving_coins

# Diameter and thickness, mm. United States Mint, "Coin Specifications"; Council Regulation (EU)
# 729/2014, Annex I (diameters); Swiss National Bank, "Coins"; Reserve Bank of New Zealand, coin
# specifications; Japan Mint (diameters; thickness as an encyclopaedia gives it).
PUBLISHED = {
    "usd-0.01": (19.05, 1.52),
    "usd-0.25": (24.26, 1.75),
    "usd-1": (26.49, 2.00),
    "eur-0.01": (16.25, 1.67),
    "eur-0.50": (24.25, 2.38),
    "eur-1": (23.25, 2.33),
    "eur-2": (25.75, 2.20),
    "chf-0.05": (17.15, 1.25),
    "chf-5": (31.45, 2.35),
    "nzd-0.10": (20.50, 1.58),
    "nzd-0.50": (24.75, 1.70),
    "jpy-5": (22.0, 1.5),
    "jpy-500": (26.5, 1.8),
}

# Outlines that are no circle: Royal Mint (1 pound: 23.43 corner to corner), Royal Canadian Mint,
# Council Regulation (EU) 729/2014 (20 cent), Reserve Bank of New Zealand (20 cents).
NO_CIRCLE = {
    "gbp-0.20": "7 sides",
    "gbp-0.50": "7 sides",
    "gbp-1": "12 sides",
    "cad-1": "11 sides",
    "eur-0.20": "7 notches",
    "nzd-0.20": "7 notches",
    "aud-0.50": "12 sides",
    "inr-20": "12 sides",
}


@pytest.mark.parametrize("name", PUBLISHED)
def test_a_coin_has_the_published_size(name: str) -> None:
    coin = lookup(name)
    assert (coin.diameter_mm, coin.thickness_mm) == PUBLISHED[name]


def test_the_inch_sizes_of_the_us_coins_agree() -> None:
    # United States Mint: 0.750, 0.835, 0.705, 0.955, 1.205, 1.043 in.
    inches = {"0.01": 0.750, "0.05": 0.835, "0.10": 0.705, "0.25": 0.955, "0.50": 1.205, "1": 1.043}
    for value, size in inches.items():
        assert lookup(f"usd-{value}").diameter_mm == pytest.approx(size * 25.4, abs=0.0051)


@pytest.mark.parametrize("name", NO_CIRCLE)
def test_a_coin_that_is_no_circle_is_refused_with_the_reason(name: str) -> None:
    with pytest.raises(CoinError, match=NO_CIRCLE[name]) as caught:
        lookup(name)
    assert "sheet" in caught.value.hint
    assert not find_coin(name).serves


@pytest.mark.parametrize("name", ["aud-1", "inr-5"])
def test_a_coin_of_unknown_thickness_is_refused_with_the_reason(name: str) -> None:
    with pytest.raises(CoinError, match="thickness"):
        lookup(name)


def test_holed_coins_know_their_holes() -> None:
    # Japan Mint: 5 yen 5 mm (a newspaper has 4), 50 yen 4 mm.
    holes = {coin.name: coin.hole_mm for coin in coins() if coin.hole_mm is not None}
    assert holes == {"jpy-5": 5.0, "jpy-50": 4.0}


@pytest.mark.parametrize("typed", ["EUR-1", "eur 1", "eur1", " eur-1.00 ", "Eur-1,0"])
def test_ways_of_writing_a_name(typed: str) -> None:
    assert lookup(typed).name == "eur-1"


def test_cents_may_drop_the_zero() -> None:
    assert lookup("usd-.25").name == "usd-0.25"
    assert lookup("gbp-0.1").name == "gbp-0.10"


@pytest.mark.parametrize(
    ("typed", "offered"), [("us-0.25", "usd-0.25"), ("euro-1", "eur-1"), ("eur-3", "eur-2")]
)
def test_a_mistyped_name_brings_up_the_nearest(typed: str, offered: str) -> None:
    with pytest.raises(CoinError, match=f"no coin is called '{typed}'") as caught:
        lookup(typed)
    assert offered in caught.value.hint


@pytest.mark.parametrize("typed", ["", "-", "eur-nan", "eur-1e9", "x" * 5000, "eur-\u00b2", "\x1b"])
def test_nonsense_is_an_unknown_coin_and_nothing_worse(typed: str) -> None:
    with pytest.raises(CoinError, match="no coin is called"):
        lookup(typed)


def test_every_serving_coin_can_set_the_scale() -> None:
    for coin in serving_coins():
        assert coin.thickness_mm is not None
        assert 15.0 < coin.diameter_mm < 35.0
        assert 1.0 < coin.thickness_mm < 3.5
        # 0.05 mm half-width, rectangular (JCGM 100, 4.3.7: half-width over root 3), at least.
        assert 0.0288 < coin.u_diameter_mm < 0.05
        assert 0.0 < coin.u_thickness_mm <= 0.1


def test_names_are_unique_and_every_refusal_says_why() -> None:
    names = [coin.name for coin in coins()]
    assert len(names) == len(set(names)) > 50
    assert all(coin.refused for coin in coins() if not coin.serves)
