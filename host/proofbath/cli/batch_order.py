"""`proofbath batch order`: what the customer ordered of a batch or a unit, beside its marking."""

from __future__ import annotations

from pathlib import Path

import click

from proofbath.bench.clock import utc_text
from proofbath.cli.options import json_option
from proofbath.cli.output import console, print_json
from proofbath.cli.shop_options import by_option, shop_option
from proofbath.proof.cautions import RETARGETING
from proofbath.proof.ordered import REGULATING_LIFT_MM
from proofbath.store.kinds import Batch, Order, TypeVersion
from proofbath.workshop.engine_order import ordered_from
from proofbath.workshop.orders import changes_by, put_order
from proofbath.workshop.shop import open_shop


@click.command()
@click.argument("name")
@click.option("--at", "wanted_c", type=float, help="Bath temperature wanted, in °C.")
@click.option(
    "--lift",
    "lift_mm",
    type=float,
    help=f"Lift that is to be open there, in mm; {REGULATING_LIFT_MM:g} when left out. The type's"
    " threshold orders a start-to-open.",
)
@click.option("--engine", "engine_c", type=float, help="Instead: what the engine shall run at, °C.")
@click.option(
    "--cap-kpa",
    type=click.FloatRange(min=0),
    default=0.0,
    show_default=True,
    help="With --engine: pressure cap of its cooling system, above the air's.",
)
@click.option("--tolerance", "tolerance_k", type=float, default=2.0, show_default=True, help="K.")
@click.option("--serial", help="Ordered of this unit alone.")
@click.option("--text", default="", help="Who ordered it and where that stands.")
@click.option("--correct", "reason", default="", help="Corrects the order on record: say why.")
@by_option
@shop_option
@json_option
def order(
    name: str,
    wanted_c: float | None,
    lift_mm: float | None,
    engine_c: float | None,
    cap_kpa: float,
    tolerance_k: float,
    serial: str | None,
    text: str,
    reason: str,
    by: str,
    shop_file: Path,
    as_json: bool,
) -> None:
    """Put on record what was ordered of batch NAME, or of one unit of it, apart from its marking.

    Units are judged, advised, planned and certified by it from then on; the certificate prints
    both. --engine works the temperature out from the type's engine logs, or takes the engine to run
    where --lift is open. The newest order holds.

    Example:  proofbath batch order "ferry 12" --at 78 --text "order 4711" --by "Ada Quay"
    """
    with open_shop(shop_file) as shop:
        ordered = ordered_from(
            shop,
            name,
            wanted_c=wanted_c,
            engine_c=engine_c,
            lift_mm=lift_mm,
            tolerance_k=tolerance_k,
            text=text,
            cap_kpa=cap_kpa,
        )
        stamp = shop.stamp(by, utc_text())
        number = put_order(shop, name, ordered, serial=serial, stamp=stamp, reason=reason)
        batch = shop.records.find(Batch, name=name).entry
        version = shop.records.one(TypeVersion, batch.type_version_id).entry
        lines = changes_by(version, shop.records.one(Order, number))
    if as_json:
        print_json({"order": number, "serial": serial, **ordered.model_dump(mode="json")})
        return
    for line in lines:
        console().print(f"{serial or name}: {line}", markup=False, soft_wrap=True)
    console().print(RETARGETING, markup=False, soft_wrap=True)
