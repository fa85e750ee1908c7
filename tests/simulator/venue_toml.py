"""``venue.toml`` of a simulated month."""

from __future__ import annotations

from datetime import timedelta

from simulator.month import SimMonth
from simulator.rates import RATES
from simulator.trade import HOUR_MS
from simulator.venues import ZONE

_TILL = """
[[feed]]
name = "till"
carries = "rings"
adapter = "csv"
folder = "exports/till"
pattern = "till_*.csv"
export = "append"

[feed.fields]
id = "Line"
at = "Rung"
check = "Check"
terminal = "Terminal"
outlet = "Bar"
item = "Item"
size = "Size"
units = "Qty"
amount = "Total"
kind = "State"
voided_at = "Voided"

[feed.formats]
time = "%Y-%m-%d %H:%M:%S"
order = "time"

[feed.formats.kinds]
void = ["Void"]
refund = ["Refund"]
comp = ["Comp"]
training = ["Practice"]
"""
_METERS = """
[[feed]]
name = "meters"
carries = "pours"
adapter = "{shape}"
folder = "exports/meters"
pattern = "meters_*.{shape}"
export = "append"

[feed.fields]
id = "{slash}Id"
tap = "{slash}Tap"
start = "{slash}From"
end = "{slash}To"
{amount}

[feed.formats]
time = "iso"
{formats}
"""
_KEGS = """
[[feed]]
name = "kegs"
carries = "kegs"
adapter = "csv"
folder = "exports/kegs"
pattern = "kegs_*.csv"
export = "append"

[feed.fields]
id = "Id"
at = "When"
kind = "What"
tap = "Tap"
product = "Beer"
outlet = "Bar"
keg = "Keg"
size = "Litres"
units = "Kegs"
part = "Left"
cost = "Cost"

[feed.formats]
time = "iso"
volume_unit = "l"

[feed.formats.kinds]
on = ["on"]
off = ["off"]
delivery = ["delivery"]
count = ["count"]
"""
_LOG = """
[[feed]]
name = "log"
carries = "log"
adapter = "csv"
folder = "exports/log"
pattern = "log_*.csv"
export = "append"

[feed.fields]
id = "Id"
at = "When"
end = "Until"
day = "Day"
reason = "Why"
tap = "Tap"
product = "Beer"
outlet = "Bar"
volume = "Ounces"

[feed.formats]
time = "iso"
order = "none"
volume_unit = "us_fl_oz"

[feed.formats.kinds]
comp = ["comp"]
staff = ["staff"]
waste = ["waste"]
cleaning = ["cleaning"]
"""


def venue_toml(month: SimMonth, meters: str, pulses: bool) -> str:
    """The text of ``venue.toml``."""
    slash = "/" if meters == "json" else ""
    formats = 'rows = "/pours"' if meters == "json" else ""
    amount = f'pulses = "{slash}Pulses"' if pulses else f'volume = "{slash}mL"'
    if not pulses:
        formats += '\nvolume_unit = "ml"'
    feed = _METERS.format(shape=meters, slash=slash, amount=amount, formats=formats)
    return _head(month) + _TILL + feed + _KEGS + _LOG


def _head(month: SimMonth) -> str:
    day = month.days[0]
    opens, closes = day.opens_ms - day.start_ms, day.closes_ms - day.start_ms
    lines = [
        "[venue]", f'name = "{month.title}"', f'timezone = "{ZONE}"', 'day_starts = "04:00"',
        f'opens = "{_clock(opens)}"', f'closes = "{_clock(closes)}"', 'volume_unit = "us_fl_oz"',
        'currency = "USD"', "",
    ]
    for pool in month.pools:
        outlets = sorted(outlet for outlet, name in month.place.items() if name == pool)
        if len(outlets) > 1:
            named = ", ".join(f'"{outlet}"' for outlet in outlets)
            lines += ["[[pool]]", f'name = "{pool}"', f"outlets = [{named}]", ""]
    lines += ["[matching]", f"keg_change_allowance = {RATES['kegs']['allowance_oz']}", ""]
    return "\n".join(lines)


def _clock(after_ms: int) -> str:
    minutes = int(timedelta(hours=4, milliseconds=after_ms).total_seconds() // 60) % (24 * 60)
    assert after_ms < 30 * HOUR_MS
    return f"{minutes // 60:02d}:{minutes % 60:02d}"
