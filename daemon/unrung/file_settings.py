"""The ``[files]`` table of ``venue.toml``."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field


class Files(BaseModel):
    """Where files go, how the issued ones are written, and who may read them."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    folder: str = Field(
        "issued", description="Where daily and monthly files go; relative to the config folder."
    )
    readable_by: Literal["owner", "group", "everyone"] = Field(
        "owner", description="Who else on this PC may read what is issued: 'group' is the folder's group "
        "(POSIX; on Windows the folder's own permissions decide). Store, archive, backups stay private."
    )
    archive: str = Field("archive", description="Taken-in exports, by day.")
    aside: str = Field("set_aside", description="Exports that could not be taken in, with their reasons.")
    store: str = Field("unrung.sqlite", description="The database file; local disk only.")
    window_minutes: int = Field(60, gt=0, le=1440, description="Length of the windows in windows-D.csv.")
    csv_delimiter: Literal[",", ";"] = Field(",", description="Of issued CSV files.")
    csv_decimal: Literal["", ".", ","] = Field(
        "", description="Decimal mark in issued CSV files; empty: the comma with ';', else the point."
    )
    csv_bom: bool = Field(
        True, description="Start issued CSV files with the UTF-8 mark that spreadsheets look for."
    )
