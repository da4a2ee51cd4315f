"""One tightening question answered whole: value, stages, pattern, wrench setting, remarks."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from driveout.workshop.pattern import circle_order, head_order
from driveout.workshop.threads import read_thread, unit_odds
from driveout.workshop.tightening import specification
from driveout.workshop.wrench import wrench_error_percent, wrench_remarks, wrench_setting


def torque_answer(
    value: str,
    *,
    origin: str = "recalled",
    other: str = "",
    document: str = "",
    page: str = "",
    second_look: str = "",
    size: str = "",
    property_class: str = "",
    special: str = "",
    angle_deg: float = 0.0,
    stages_percent: Sequence[float] = (100.0,),
    bolts: int = 0,
    head_columns: int = 0,
    lever_mm: float = 0.0,
    extension_mm: float = 0.0,
    extension_angle_deg: float = 0.0,
    wrench_top_nm: float = 0.0,
    wrench_lowest_nm: float | None = None,
) -> dict[str, Any]:
    """Answer one tightening question in JSON shape.

    Parameters
    ----------
    value
        Value and unit, as for `specification`.
    origin
        Where it comes from.
    other
        The same value in the other unit.
    document
        Document it was copied from.
    page
        Page in it.
    second_look
        The value as read a second time.
    size
        Thread.
    property_class
        Class on the head.
    special
        Kind of fastener outside the band of steel bolts.
    angle_deg
        Further turn. [deg]
    stages_percent
        Stages in percent.
    bolts
        Fasteners round a circle; 0 for none.
    head_columns
        Columns of a cylinder head with two rows; 0 for none.
    lever_mm
        Square drive to the middle of the grip; 0 for no wrench question. [mm]
    extension_mm
        Square drive to the fastener. [mm]
    extension_angle_deg
        Angle between extension and wrench. [deg]
    wrench_top_nm
        Top of the wrench's scale; 0 when not asked. [N·m]
    wrench_lowest_nm
        Lowest mark on it, when known. [N·m]

    Returns
    -------
    dict
        Value in both units, warning, remarks, stages, pattern, setting.

    Raises
    ------
    BadEntry
        As for `specification`; also if the wrench cannot do it.
    """
    checked = specification(
        value,
        origin=origin,
        other=other,
        document=document,
        page=page,
        second_look=second_look,
        size=size,
        property_class=property_class,
        special=special,
        angle_deg=angle_deg,
        stages_percent=stages_percent,
    )
    nm = checked.torque.nm
    remarks = list(checked.remarks)
    answer: dict[str, Any] = {
        "nm": nm,
        "lbfft": checked.torque.lbfft,
        "text": checked.text(),
        "warning": checked.warning,
        "stages": [stage.text for stage in checked.stages()],
    }
    if size and property_class and not special:
        answer["unit_odds_if_unit_were_missing"] = unit_odds(
            checked.torque.value, read_thread(size), property_class
        )
    if bolts:
        answer["order"] = list(circle_order(bolts))
    if head_columns:
        answer["head_order"] = list(head_order(head_columns))
    setting = nm
    if lever_mm:
        setting = wrench_setting(nm, lever_mm, extension_mm, extension_angle_deg)
        answer["set_nm"] = setting
    if wrench_top_nm:
        remarks += wrench_remarks(setting, wrench_top_nm, wrench_lowest_nm)
        answer["wrench_error_percent"] = wrench_error_percent(wrench_top_nm)
    return {**answer, "remarks": remarks}
