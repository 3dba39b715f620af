"""The whole wiring of one probe from a few figures: conductor, fuse, supply, parked days."""

from dataclasses import dataclass

from gaugewright.wiring.conductors import AtHead, Kind, Run, at_head, ohm_per_km, smallest_conductor
from gaugewright.wiring.fuses import FuseChoice, choose_fuse
from gaugewright.wiring.gauges import Size
from gaugewright.wiring.supply import (
    Device,
    Fed,
    SupplyPicture,
    System,
    look_at_supply,
    supply_range_v,
)


@dataclass(frozen=True, slots=True)
class Loom:
    """How one probe is fed."""

    conductor: AtHead
    fuse: FuseChoice
    supply: SupplyPicture


def plan_loom(
    device: Device,
    *,
    run_m: float,
    system: System,
    code: str,
    fed: Fed,
    battery_ah: float,
    size: Size | None = None,
    hottest_c: float = 85.0,
    kind: Kind = "plain",
    others_standing_a: float = 0.0,
) -> Loom:
    """Choose conductor and fuse for the lowest supply and the hottest cable.

    With ``size`` that conductor is judged, enough or not; without it the smallest that
    is enough is taken.  Raises `InputError` where none is, or where no fuse fits.

    >>> device = Device("head", least_v=9, most_v=60, running_a=0.1, standing_a=0.01)
    >>> loom = plan_loom(device, run_m=12, system="24 V", code="E", fed="permanent",
    ...     battery_ah=180)
    >>> loom.conductor.area_mm2, loom.fuse.rating_a, round(loom.supply.days_parked)
    (0.5, 1.0, 75)
    """
    low, _ = supply_range_v(system, code)
    if size is None:
        conductor = smallest_conductor(
            run_m, device.running_a, lowest_supply_v=low, head_least_v=device.least_v,
            hottest_c=hottest_c, kind=kind,
        )  # fmt: skip
    else:
        conductor = at_head(
            run_m, size, device.running_a, lowest_supply_v=low, head_least_v=device.least_v,
            hottest_c=hottest_c, kind=kind,
        )  # fmt: skip
    run = Run(run_m, ohm_per_km(conductor.size, hottest_c, kind=kind))
    fuse = choose_fuse(
        load_a=device.running_a, area_mm2=conductor.area_mm2, run=run, lowest_supply_v=low
    )
    supply = look_at_supply(
        system, code, fed, device,
        battery_ah=battery_ah, drop_v=conductor.drop_v, others_standing_a=others_standing_a,
    )  # fmt: skip
    return Loom(conductor, fuse, supply)
