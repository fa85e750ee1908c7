"""Which beer each tap pours, how much an item takes, which outlets belong together."""

from __future__ import annotations

import random
from fractions import Fraction

import pytest

from unrung.records import KegEvent
from unrung.setup.evidence import Evidence
from unrung.setup.groups import groups_of
from unrung.setup.kegs import fill_kegs
from unrung.setup.meet import PourFact, RingFact, learn_hill, lifted, quarter_shift, serves_only
from unrung.setup.proposal import Key, KnownNames, Place, ProductLine, Tables
from unrung.setup.propose import propose
from unrung.setup.relate import FileRows, relation
from unrung.setup.sizes import Named, taken_apart

HOUR_MS, MINUTE_MS = 3_600_000, 60_000
US, METRIC, BRITISH = Place(False, False), Place(True, False), Place(False, True)
PINT, HALF = 568_261, 284_131


class Trade:
    """Evenings of a small bar: sales, each with its pours and its ring."""

    def __init__(self, seed: int = 1) -> None:
        self.rng, self.rings, self.pours = random.Random(seed), list[RingFact](), list[PourFact]()
        self.sales: list[tuple[RingFact, list[PourFact]]] = []

    def sell(
        self, times: int, item: str, tap: str = "", ul: float = 0, *, size: str = "", outlet: str = "",
        also: tuple[tuple[str, float], ...] = (), rung_in: str | None = None,
    ) -> Trade:
        """``times`` of an item, poured at ``tap`` (and at those of ``also``)."""
        flows = ((tap, ul), *also) if tap else also
        for _ in range(times):
            pours = [
                PourFact(where, number * 15_000, amount * self.rng.gauss(1, 0.01))
                for number, (where, amount) in enumerate(flows)
            ]
            lag, place = self.rng.randrange(20, 80) * 1000, outlet if rung_in is None else rung_in
            self.sales.append((RingFact(lag, place, item, size, 1.0, ""), pours))
        return self

    def open(self) -> Trade:
        """Let it happen: the sales in any order, a few minutes apart."""
        now_ms = 1_790_000_000_000
        for ring, pours in self.rng.sample(self.sales, len(self.sales)):
            now_ms += self.rng.randrange(100, 400) * 1000
            self.rings.append(ring._replace(at_ms=now_ms + ring.at_ms))
            self.pours += [pour._replace(end_ms=now_ms + pour.end_ms) for pour in pours]
        return self

    def tables(self, place: Place = US, known: KnownNames | None = None) -> Tables:
        if not self.rings:
            self.open()
        return propose(Evidence(self.rings, self.pours, {}, known or KnownNames()), place)


def taps(tables: Tables) -> dict[str, str]:
    return {line.tap: line.product for line in tables.taps}


def menu(tables: Tables) -> dict[str, list[tuple[str, str, str]]]:
    """Item with size to (product, portion, unit)."""
    found: dict[str, list[tuple[str, str, str]]] = {}
    for row in tables.menu:
        found.setdefault(str(Key(row.item, row.size)), []).append((row.product, row.portion, row.unit))
    return found


OZ = 29_573.53


def us_bar() -> Trade:
    trade = Trade()
    for tap, beer in (("1", "Weir Bitter"), ("2", "Otter Stout"), ("3", "Reed Pale")):
        trade.sell(40, beer, tap, 16 * OZ, size="Pint").sell(15, beer, tap, 10 * OZ, size="Small")
    return trade.sell(60, "Burger").sell(40, "Lemonade").sell(12, "Weir Bitter Bottle")


def test_each_tap_gets_the_beer_whose_rings_go_with_its_pours() -> None:
    assert taps(us_bar().tables()) == {"1": "Weir Bitter", "2": "Otter Stout", "3": "Reed Pale"}


def test_a_word_for_a_size_takes_what_its_pours_show_and_pints_are_of_the_size_poured() -> None:
    rows = menu(us_bar().tables())
    assert rows["Otter Stout Pint"] == [("Otter Stout", "16", "us_fl_oz")]
    assert rows["Otter Stout Small"] == [("Otter Stout", "10", "us_fl_oz")]


def test_a_bottle_and_food_are_no_draught_beer() -> None:
    rows = menu(us_bar().tables())
    assert rows["Weir Bitter Bottle"] == [("", "", "")]
    assert "Burger" not in rows and "Lemonade" not in rows


def test_an_item_of_the_beer_s_name_that_no_pour_goes_with_is_not_draught() -> None:
    rows = menu(us_bar().sell(25, "Weir Bitter Toast").tables(known=KnownNames(("Weir Bitter",))))
    assert rows["Weir Bitter Toast"] == [("", "", "")]


@pytest.mark.parametrize(
    ("place", "ul", "expected"),
    [
        (BRITISH, PINT, ("1", "imp_pt")), (US, 473_176, ("16", "us_fl_oz")),
        (US, PINT, ("1", "imp_pt")),  # the pours decide, not the country
    ],
)
def test_a_pint_is_the_one_that_is_poured(place: Place, ul: float, expected: tuple[str, str]) -> None:
    trade = Trade().sell(60, "Pint of Weir Bitter", "1", ul).sell(30, "Half of Weir Bitter", "1", ul / 2)
    rows = menu(trade.sell(60, "Crisps").tables(place))
    assert rows["Pint of Weir Bitter"] == [("Weir Bitter", *expected)]


def test_a_flight_is_made_of_the_beers_that_go_with_it() -> None:
    trade = us_bar().sell(8, "Flight", also=(("1", 5 * OZ), ("2", 5 * OZ), ("3", 5 * OZ)))
    trade.sell(8, "Half and Half", also=(("1", 8 * OZ), ("2", 8 * OZ)))
    rows = menu(trade.tables())
    assert rows["Flight"] == [
        ("Otter Stout", "5", "us_fl_oz"), ("Reed Pale", "5", "us_fl_oz"), ("Weir Bitter", "5", "us_fl_oz")]
    assert rows["Half and Half"] == [("Otter Stout", "8", "us_fl_oz"), ("Weir Bitter", "8", "us_fl_oz")]


def test_a_size_seldom_sold_is_lent_by_other_beers_or_left_open_and_said() -> None:
    trade = us_bar().sell(9, "Weir Bitter", "1", 60 * OZ, size="Pitcher")
    trade.sell(9, "Otter Stout", "2", 60 * OZ, size="Pitcher")
    trade.sell(1, "Reed Pale", "3", 60 * OZ, size="Pitcher")
    tables = trade.sell(1, "Reed Pale", "3", 7 * OZ, size="Goblet").tables()
    assert menu(tables)["Reed Pale Pitcher"] == [("Reed Pale", "60", "us_fl_oz")]
    assert "Reed Pale Goblet" not in menu(tables)
    assert any("Reed Pale Goblet was sold too seldom" in text for text in tables.remarks)


def test_small_glasses_are_seen_where_most_of_the_beer_goes_into_pitchers() -> None:
    trade = Trade().sell(60, "Reed Pale", "3", 60 * OZ, size="Pitcher")
    trade.sell(60, "Reed Pale", "3", 16 * OZ, size="16oz").sell(60, "Reed Pale", "3", 10 * OZ, size="10oz")
    found = menu(trade.open().tables())
    assert {name: rows[0][1] for name, rows in found.items()} == {
        "Reed Pale Pitcher": "60", "Reed Pale 16oz": "16", "Reed Pale 10oz": "10"}


@pytest.mark.parametrize("seed", [1, 2])
def test_a_size_that_is_sold_seldom_is_not_lost_among_the_usual_ones(seed: int) -> None:
    """No name tells a size, sales are 40 seconds apart, and the till writes minutes."""
    rng, now_ms, rings, pours = random.Random(seed), 1_790_000_000_000, list[RingFact](), list[PourFact]()
    sold = [("Weizen", "Large", "2"), ("Mill Stout", "Large", "1"), ("Mill Stout", "Small", "1")]
    for _ in range(1500):
        now_ms += int(rng.expovariate(1 / 40) * 1000)
        beer, size, tap = rng.choices(sold, [1, 1, 0.1])[0]
        pours.append(PourFact(tap, now_ms, (522_500 if size == "Large" else 313_500) * rng.gauss(1, 0.03)))
        rung_ms = now_ms + int(rng.gauss(-20, 40) * 1000)
        rings.append(RingFact(rung_ms // MINUTE_MS * MINUTE_MS, "", beer, size, 1.0, ""))
    rings.sort(key=lambda ring: ring.at_ms)
    prices = {Key(beer, size): "7.10" if size == "Large" else "4.30" for beer, size, _ in sold}
    found = menu(propose(Evidence(rings, pours, prices, KnownNames()), METRIC))
    assert abs(float(found["Mill Stout Small"][0][1]) / 313.5 - 1) < 0.05
    assert abs(float(found["Mill Stout Large"][0][1]) / 522.5 - 1) < 0.05


def test_a_pitcher_is_as_much_over_as_the_glasses_of_its_beer() -> None:
    """62.4 oz is nearer to 64 than to 60, but the glasses of known size are 4 % over as well."""
    trade = Trade().sell(60, "Reed Pale", "3", 62.4 * OZ, size="Pitcher")
    tables = trade.sell(60, "Reed Pale", "3", 16.64 * OZ, size="16oz").open().tables()
    assert menu(tables)["Reed Pale Pitcher"] == [("Reed Pale", "60", "us_fl_oz")]
    (remark,) = [row.remark for row in tables.menu if row.size == "Pitcher"]
    assert remark.endswith(", taken to be 4% over as its other sizes are")


def test_a_tap_that_nothing_goes_with_is_left_out_and_said() -> None:
    trade = us_bar().open()
    last = trade.rings[-1].at_ms
    trade.pours += [PourFact("9", last - n * 977_000, 16 * OZ) for n in range(25)]
    tables = trade.tables()
    assert "9" not in taps(tables) and any("Tap 9 is left out" in text for text in tables.remarks)
    whole = sum(pour.amount for pour in trade.pours)
    assert tables.found <= 1 - 25 * 16 * OZ / whole


def test_a_tap_that_bears_a_beer_s_name_is_of_it_where_rings_tell_nothing() -> None:
    """The till writes when a check was closed, half an hour or two after its pours."""
    trade = Trade().sell(60, "Ale", "Ale tap", 16 * OZ, size="Pint")
    trade = trade.sell(60, "Stout", "Stout tap", 16 * OZ, size="Pint").sell(40, "Burger").open()
    closed = [ring._replace(at_ms=ring.at_ms + trade.rng.randrange(30, 120) * MINUTE_MS)
              for ring in trade.rings]
    tables = propose(Evidence(sorted(closed), trade.pours, {}, KnownNames()), US)
    assert taps(tables) == {"Ale tap": "Ale", "Stout tap": "Stout"}
    assert menu(tables) == {f"{beer} Pint": [(beer, "16", "us_fl_oz")] for beer in ("Ale", "Stout")}
    assert sum("by its name alone" in text for text in tables.remarks) == 2


def test_the_number_of_a_tap_is_not_the_name_of_a_beer() -> None:
    trade = us_bar().sell(30, "Ale No. 7").open()
    last = trade.rings[-1].at_ms
    trade.pours += [PourFact("7", last - n * 977_000, 16 * OZ) for n in range(25)]
    assert "7" not in taps(trade.tables())


def test_drips_of_a_leak_do_not_hide_a_tap_s_beer() -> None:
    trade = us_bar().open()
    lo, hi = trade.pours[0].end_ms, trade.rings[-1].at_ms
    trade.pours += [PourFact("2", at, 0.3 * OZ) for at in range(lo, hi, 45_000)]
    assert taps(trade.tables())["2"] == "Otter Stout"
    assert len(serves_only(trade.pours)) == 165


def test_exports_that_have_little_in_common_are_said_to_be() -> None:
    trade = us_bar().open()
    assert trade.tables().found > 0.9
    for item in ("Weir Bitter", "Otter Stout"):
        trade.rings = [ring for ring in trade.rings if ring.item != item or trade.rng.random() < 0.4]
    tables = trade.tables()
    assert tables.found < 0.7
    strangers = [pour._replace(end_ms=pour.end_ms + 977_000, tap="1") for pour in trade.pours]
    trade.pours += strangers
    assert "finds a ring this way" in " ".join(trade.tables().remarks)


def test_names_from_the_cellar_bind_and_a_change_of_beer_is_dated() -> None:
    known = KnownNames(
        ("Weir Bitter", "Otter Stout", "Reed Pale"),
        of_tap={"3": (("", "Reed Pale"), ("2026-09-21T18:05", "Weir Bitter"))}, unmetered={"7": "Reed Pale"},
    )
    tables = us_bar().tables(known=known)
    dated = [(line.product, line.since, line.until) for line in tables.taps if line.tap == "3"]
    assert dated == [("Reed Pale", "", "2026-09-21T18:05"), ("Weir Bitter", "2026-09-21T18:05", "")]
    assert [line.metered for line in tables.taps if line.tap == "7"] == [False]


def test_a_tap_of_the_cellar_is_the_meter_of_the_same_beer_that_the_cellar_never_names() -> None:
    known = KnownNames(
        ("Weir Bitter", "Otter Stout", "Reed Pale"),
        of_tap={"1": (("", "Weir Bitter"),), "2": (("", "Otter Stout"),)}, unmetered={"T3": "Reed Pale"},
    )
    line = next(line for line in us_bar().tables(known=known).taps if line.product == "Reed Pale")
    assert (line.tap, line.meter, line.metered) == ("T3", "3", True)


def two_outlets(borrowed: int) -> Trade:
    trade = Trade(2)
    for outlet, tap in (("Hall", "1"), ("Yard", "2")):
        other = "Yard" if outlet == "Hall" else "Hall"
        trade.sell(60, "Weir Bitter 16oz", tap, 16 * OZ, outlet=outlet)
        trade.sell(borrowed, "Weir Bitter 16oz", tap, 16 * OZ, outlet=outlet, rung_in=other)
    return trade


@pytest.mark.parametrize(("borrowed", "pools"), [(0, []), (25, [("Hall", "Yard")])])
def test_outlets_that_ring_for_each_other_are_seen(borrowed: int, pools: list[tuple[str, str]]) -> None:
    assert [pool[:2] for pool in two_outlets(borrowed).tables().pools] == pools


# --- the lags ----------------------------------------------------------------------------------------


def test_without_anything_in_common_no_lag_is_made_up() -> None:
    rng = random.Random(3)
    rings, pours = (sorted(rng.randrange(10 * HOUR_MS) for _ in range(600)) for _ in range(2))
    assert learn_hill(rings, pours) is None


@pytest.mark.parametrize(("together", "expected"), [(0.0, 0.0), (0.5, 0.5), (1.0, 1.0)])
def test_a_share_is_what_remains_when_chance_is_taken_off(together: float, expected: float) -> None:
    """Pours so dense that a third of all moments have one near by anyhow."""
    rng = random.Random(5)
    ats = sorted(rng.randrange(100 * HOUR_MS) for _ in range(800))
    ends = [rng.randrange(100 * HOUR_MS) for _ in range(1200)]
    ends = sorted([*ends, *(at - 30_000 for at in ats if rng.random() < together)])
    share = lifted(ats, ends, -60_000, 0)
    assert abs(share.lift - expected) < 0.08 and share.least <= share.lift <= share.most


@pytest.mark.parametrize("quarters", [-16, 4, 0, 23])
def test_clocks_a_zone_apart_are_told_by_the_quarter_hour(quarters: int) -> None:
    trade = us_bar().open()
    rings = [ring.at_ms + quarters * 15 * MINUTE_MS for ring in trade.rings]
    assert quarter_shift(rings, sorted(pour.end_ms for pour in trade.pours)) == quarters


# --- names -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("item", "size", "named"),
    [
        ("Weir Bitter", "Pint", Named("Weir Bitter", None, Fraction(1), "pint")),
        ("1/2 Weir Bitter", "", Named("Weir Bitter", None, Fraction(1, 2), "1 2")),
        ("16 oz. Weir Bitter", "", Named("Weir Bitter", 473_176, None, "16 oz")),
        ("Helles 0,5 l", "", Named("Helles", 500_000, None, "0 5 l")),
        ("Helles (50cl)", "", Named("Helles", 500_000, None, "50cl")),
        ("Half-and-Half", "", Named("Half-and-Half")),
        ("Schooner of Weir Bitter", "", Named("Weir Bitter", None, None, "schooner")),
        ("hawaiian", "M", Named("hawaiian", None, None, "m")),
    ],
)
def test_sizes_are_read_only_where_they_mean_one_thing(item: str, size: str, named: Named) -> None:
    assert taken_apart(item, size) == named


def test_a_word_that_belongs_to_the_name_stays_in_it() -> None:
    keys = [Key("Small Batch Pale", ""), Key("Amber", ""), Key("Large Amber", ""), Key("Small Amber", "")]
    assert sorted(group.name for group in groups_of(keys, ())) == ["Amber", "Small Batch Pale"]


# --- how files relate --------------------------------------------------------------------------------


def rows(*hours: int, ids: bool = False, changed: int = -1) -> tuple[tuple[int, str, str], ...]:
    return tuple(
        (hour * HOUR_MS, f"r{hour}" if ids else "", f"{hour}{'!' if hour == changed else ''}")
        for hour in hours
    )


@pytest.mark.parametrize("ids", [False, True])
@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [
        (range(10), range(10, 20), "append"), (range(10), range(5, 20), "overlap"),
        (range(20), [*range(8), *range(12, 24)], "span"), (range(10), range(10), "overlap"),
    ],
)
def test_files_say_how_they_relate(ids: bool, first: range, second: range, expected: str) -> None:
    files = [FileRows("a", "1", rows(*first, ids=ids)), FileRows("b", "2", rows(*second, ids=ids))]
    assert relation(files).value == expected


def test_a_row_that_changed_under_its_id_is_still_an_overlap() -> None:
    later = FileRows("b", "2", rows(*range(5, 12), ids=True, changed=6))
    files = [FileRows("a", "1", rows(*range(9), ids=True)), later]
    assert relation(files).value == "overlap"


def test_a_copy_of_a_file_says_nothing_and_one_file_without_ids_is_asked() -> None:
    same = FileRows("a", "1", rows(*range(9)))
    assert relation([same, FileRows("a (copy)", "1", same.rows)]).doubt is not None
    assert relation([FileRows("a", "1", rows(*range(9), ids=True))]).doubt is None


def test_kegs_are_as_the_cellar_has_them() -> None:
    def event(kind: str, **more: object) -> KegEvent:
        fields = {"line": 1, "at_ms": 1, "at_text": "", "kind": kind, "product": "Amber", **more}
        return KegEvent.model_validate(fields)

    line = ProductLine("Amber")
    fill_kegs([line], [event("on", size_ul=50_000_000), event("delivery", cost_minor=12_050)], 2)
    assert (line.keg_size, line.keg_cost) == ("50 l", "120.50")
