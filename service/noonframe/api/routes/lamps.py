"""/v1/lamps and /v1/lamp-kinds: artificial UV in place of the sun."""

from pathlib import Path
from typing import TYPE_CHECKING

from fastapi import APIRouter, Depends, Request

from noonframe.api.document_routes import document_kind
from noonframe.api.lamp_examples import LAMP, LAMP_CHANGE
from noonframe.api.lamp_outputs import LampKindItem, LampKindsAnswer
from noonframe.api.lamp_shelf import LampAnswer, LampsAnswer, LampSaveBody, check_lamp
from noonframe.api.reading import no_query
from noonframe.api.routes.common import settings_of
from noonframe.api.shelf_routes import Said, add_shelf
from noonframe.lamp.kinds import LampKind, lamp_catalogue
from noonframe.lamp.lamp import effective_per_watt
from noonframe.stack.curves import UVA_BAND_NM
from noonframe.stack.grid import WAVELENGTH_NM
from noonframe.stack.sensitizers import DEFAULT_SENSITIZER, find_sensitizer
from noonframe.stack.sheets import Stack

if TYPE_CHECKING:
    from noonframe.store.documents import DocumentFields
    from noonframe.store.versioned import Shelf

router = APIRouter(tags=["lamps"])


def _lamps() -> "Shelf[DocumentFields]":
    from noonframe.store.lamps import LAMPS

    return LAMPS


LAMP_KIND = document_kind(
    "lamp",
    "/v1/lamps",
    _lamps,
    body=LampSaveBody,
    body_example=LAMP,
    change_example=LAMP_CHANGE,
    answer=LampAnswer,
    many=LampsAnswer,
    check=check_lamp,
    says={"create": Said("Save a lamp, and how its light at the sheet is known.")},
)
add_shelf(router, LAMP_KIND)


@router.get("/v1/lamp-kinds", operation_id="lamp_kinds", dependencies=[Depends(no_query)])
def get_lamp_kinds(request: Request) -> LampKindsAnswer:
    """Kinds of lamps with their spectra, what is usual for them, and where that comes from."""
    return answer_lamp_kinds(settings_of(request).spectra_dir)


def answer_lamp_kinds(spectra_dir: Path | None) -> LampKindsAnswer:
    """The whole catalogue, the user's own spectra included."""
    return LampKindsAnswer(kinds=[_item(kind) for kind in lamp_catalogue(spectra_dir).values()])


def _item(kind: LampKind) -> LampKindItem:
    coat = find_sensitizer(DEFAULT_SENSITIZER)
    return LampKindItem(
        id=kind.id,
        label=kind.label,
        family=kind.family,
        peak_nm=kind.peak_nm,
        uva_share=round(kind.share_in(*UVA_BAND_NM), 4),
        effective_share=round(effective_per_watt(kind.boxes, Stack(), coat, is_diffuse=False), 4),
        efficiency=kind.efficiency,
        efficiency_spread_stops=kind.efficiency_spread_stops,
        start_share=kind.warm_up.start_share,
        time_constant_s=kind.warm_up.time_constant_s,
        loss_per_1000_h=kind.loss_per_1000_h,
        how_known=kind.how_known,
        provenance=kind.provenance,
        wavelength_nm=WAVELENGTH_NM.tolist(),
        relative_per_nm=kind.boxes.round(8).tolist(),
    )
