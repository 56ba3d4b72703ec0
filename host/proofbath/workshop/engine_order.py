"""An order as it was given: a temperature, or what an engine shall run at."""

from __future__ import annotations

from proofbath.errors import InputError
from proofbath.proof.ordered import REGULATING_LIFT_MM, Ordered
from proofbath.store.kinds import Batch, TypeVersion
from proofbath.workshop.entry import made
from proofbath.workshop.service import choose_target
from proofbath.workshop.shop import Shop


def ordered_from(
    shop: Shop,
    batch_name: str,
    *,
    wanted_c: float | None,
    engine_c: float | None,
    lift_mm: float | None = None,
    tolerance_k: float = 2.0,
    text: str = "",
    cap_kpa: float = 0.0,
) -> Ordered:
    """Return an order of a temperature, or for an engine; one of them is given.

    The lift is the usual regulating one where none is named. Raises InputError.
    """
    called = f"order of {batch_name}"
    if (wanted_c is None) == (engine_c is None):
        raise InputError(f"{called}: give either a temperature, or what the engine shall run at")
    if engine_c is not None:
        return order_for_engine(
            shop,
            batch_name,
            engine_c,
            tolerance_k=tolerance_k,
            lift_mm=lift_mm,
            text=text,
            cap_kpa=cap_kpa,
        )
    at_mm = REGULATING_LIFT_MM if lift_mm is None else lift_mm
    said = {"wanted_c": wanted_c, "lift_mm": at_mm, "tolerance_k": tolerance_k}
    return made(Ordered, called, text=text.strip(), **said)


def order_for_engine(
    shop: Shop,
    batch_name: str,
    engine_c: float,
    *,
    tolerance_k: float = 2.0,
    lift_mm: float | None = None,
    text: str = "",
    cap_kpa: float = 0.0,
) -> Ordered:
    """Return what to order so that an engine runs at a temperature; raises InputError.

    Where the type has logs from engines, that is a start-to-open: the temperature less the usual
    offset. Where it has none, or a lift is named, an engine is taken to run where its thermostat
    stands at that lift (1 to 4 mm: common practice, no source). `cap_kpa` is the pressure cap of
    the engine's cooling system: a temperature too near to where its water boils is refused.
    """
    batch = shop.records.find(Batch, name=batch_name).entry
    version = shop.records.one(TypeVersion, batch.type_version_id).entry
    called = f"order of {batch_name}"
    said = [text.strip()] if text.strip() else []
    learnt = choose_target(shop, version.name, engine_c, cap_kpa).offset
    if lift_mm is None and learnt.seen:
        offset = learnt.offset
        less = f"{offset.mean_k:.1f} ± {2 * offset.u_next_k:.1f} K"
        how = (
            f"{engine_c:g} °C in the engine less {less}, learnt from {len(learnt.seen)} logged"
            f" units of {version.name}"
        )
        return made(
            Ordered,
            called,
            wanted_c=round(engine_c - offset.mean_k, 1),
            tolerance_k=tolerance_k,
            lift_mm=version.unit_type.threshold_mm,
            engine_c=engine_c,
            text="; ".join([*said, how])[:200],
        )
    at_mm = REGULATING_LIFT_MM if lift_mm is None else lift_mm
    how = f"an engine is taken to run where {at_mm:g} mm are open (common practice, no source)"
    return made(
        Ordered,
        called,
        wanted_c=engine_c,
        tolerance_k=tolerance_k,
        lift_mm=at_mm,
        engine_c=engine_c,
        text="; ".join([*said, how])[:200],
    )
