"""The [store] table: how long samples are kept."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from monitor.base.quantities import QuantityBytes, QuantitySeconds
from monitor.base.tables.strict import Above, Strict


class StoreTable(Strict):
    """Retention of samples; findings, alarms and marks are kept for good.

    keep_s       age at which the samples of a closed day are deleted
    most_bytes   samples of the oldest days go when journal and archive together are larger
    spare_bytes  free space of the disk below which no day is archived and samples are thinned: the first, the lowest
                 and highest volts and amps, and the last of each second stay; what was taken away is counted
    """

    keep_s: Annotated[QuantitySeconds, Above] = Field(
        default=400 * 86400.0, validation_alias="keep", json_schema_extra={"default": "400 d"}
    )
    most_bytes: Annotated[QuantityBytes, Above] = Field(
        default=8e9, validation_alias="most", json_schema_extra={"default": "8 GB"}
    )
    spare_bytes: Annotated[QuantityBytes, Above] = Field(
        default=2e8, validation_alias="spare", json_schema_extra={"default": "200 MB"}
    )
