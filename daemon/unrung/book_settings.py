"""Tables of ``venue.toml`` for the accountant: periods, stock, cost and accounts."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from unrung.periods import PeriodKind


class _Table(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Periods(_Table):
    """How the venue's books cut the year (see ``unrung.periods``), and what in a period's row asks for
    attention. The limits are common practice, no source."""

    kind: PeriodKind = Field(
        "calendar", description="Calendar months, twelve periods of 4, 4 and 5 weeks, or thirteen of 4."
    )
    start: date | None = Field(
        None, description="First day of any one year of weeks; the others start on the same weekday, "
        "nearest to the same date."
    )

    note_variance_pct: Decimal = Field(
        Decimal(2), ge=0, description="From this variance on, up or down, a month's row asks for a look."
    )
    act_variance_pct: Decimal = Field(Decimal(5), ge=0, description="From this on, it asks to act.")
    note_yield_pct: Decimal = Field(
        Decimal(95), ge=0, description="Below this yield (rung of the kegs' contents used) a month's row "
        "asks for a look."
    )
    act_yield_pct: Decimal = Field(Decimal(90), ge=0, description="Below this, it asks to act.")

    @model_validator(mode="after")
    def _weeks_need_a_start(self) -> Self:
        if self.kind != "calendar" and self.start is None:
            raise ValueError(
                f"kind {self.kind!r} needs a start, the first day of any one year: start = 2026-09-28"
            )
        return self


class Stock(_Table):
    """How counts of the cellar are read. Defaults are common practice, no source."""

    kg_per_litre: Decimal = Field(
        Decimal("1.010"), gt=Decimal("0.9"), lt=Decimal("1.2"),
        description="Density of beer, for kegs that are weighed."
    )
    meter_tolerance: Decimal = Field(
        Decimal("0.02"), ge=0, lt=1,
        description="Greatest error of the meters, as a share, as their maker states it."
    )
    count_within_hours: float = Field(
        48, gt=0, description="A count this near to the end of a period is its closing count; it is "
        "rolled to the end by what was poured, delivered and moved in between."
    )


class Cost(_Table):
    """How beer is valued."""

    method: Literal["weighted_average", "fifo"] = Field(
        "weighted_average", description="How used and remaining beer is valued: at the average cost of "
        "what was there and what came in, or the oldest beer first."
    )


class Accounts(_Table):
    """Account codes of the month's journal. Without the first three there is none."""

    variance: str = Field("", description="Charged with the cost of beer poured and not rung.")
    stock: str = Field("", description="Credited with the cost of all beer used.")
    usage: str = Field("", description="Charged with the cost of the other beer used.")
    write_off: str = Field("", description="Charged with beer written off; empty: usage.")
    transfers: str = Field(
        "", description="Clears beer moved between outlets; empty: moves are not posted."
    )
