"""An outlet gets another name in taps.csv, and the till goes on to write the old one."""

from __future__ import annotations

from pathlib import Path

from venue_folder import VenueFolder, make_venue, pour, ring


def busy_day(venue: VenueFolder, day: str) -> None:
    """Sixty pints from each tap, each rung in outlet "Bar" within a minute."""
    rings, pours = [], []
    for n in range(60):
        for tap, item in ((1, "Pint of Amber"), (2, "Pint of Stout")):
            at = 43_200 + 600 * n + 60 * tap
            pours.append(pour(f"{day} {tap} {n}", _clock(day, at), tap=str(tap)))
            rings.append(ring(_clock(day, at + 40), item, check="Bar"))
    venue.rings(f"{day}.csv", rings, f"{day} 23:59:00")
    venue.pours(f"{day}.json", pours, f"{day} 23:59:00")


def _clock(day: str, second: int) -> str:
    return f"{day} {second // 3600}:{second // 60 % 60:02d}:{second % 60:02d}"


def test_days_are_issued_and_nothing_of_them_is_called_a_loss(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "v")
    venue.edit("venue.toml", 'outlet = {const = "Bar"}', 'outlet = "Check"')
    for day in range(10, 13):
        busy_day(venue, f"06-{day}")
        venue.catch_up(f"06-{day + 1} 12:00:00")
    for meter in ("M1", "M2"):
        venue.edit("taps.csv", f"{meter},Bar", f"{meter},Saloon")
    for day in range(13, 16):
        busy_day(venue, f"06-{day}")
        done = venue.catch_up(f"06-{day + 1} 12:00:00")
        assert f"2025-06-{day}" in [str(one.day) for one in done.issued]
    leaves = venue.query("SELECT outlet, sum(poured_not_rung) AS alone, sum(poured_not_compared) AS open "
                         "FROM leaves WHERE day = '2025-06-15' AND poured_not_compared GROUP BY outlet")
    assert [(row["outlet"], row["alone"]) for row in leaves] == [("Saloon", 0)]
