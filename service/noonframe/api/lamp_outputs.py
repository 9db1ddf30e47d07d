"""What answers say of lamps, and of what lies on the sheet."""

from pydantic import BaseModel, Field


class LampBasis(BaseModel):
    """What an answer under a lamp rests on."""

    lamp: str = Field(description="the lamp and how its light is known")
    kind: str
    way: str = Field(description="reading, print or power")
    uva_w_m2: float = Field(description="315-400 nm at the sheet's middle, warm, before the stack")
    violet_w_m2: float = Field(description="400-480 nm, likewise")
    effective_w_m2: float = Field(description="behind the stack, weighed by the sensitizer, warm")
    age_share: float = Field(description="what age has left of the light")
    start_share: float = Field(description="of full light when switched on cold")
    time_constant_s: float
    lit_before_s: float = Field(description="how long the lamp has burned when the exposure begins")
    spread_stops: float = Field(description="one standard deviation of the light")
    corner_stops: float | None = Field(description="corner of the sheet against its middle, where known")
    time_zone: str | None = Field(description="null: times have the offset that the start was given with")
    spot: str = "under a lamp"
    stack: list[str]
    sensitizer: str
    light_model: str
    notes: list[str] = Field(default_factory=list)


class LampLightAnswer(BaseModel):
    """Light under a lamp in the middle of the sheet, before any stack but for `effective`."""

    time: list[str]
    output_share: list[float] = Field(description="of the warm lamp's light")
    uva_w_m2: list[float]
    blue_w_m2: list[float]
    effective_w_m2: list[float] = Field(description="behind the stack, weighed by the sensitizer")
    wavelength_nm: list[float] = Field(description="centres of the 5 nm boxes")
    spectral_w_m2_nm: list[float] = Field(description="of the warm lamp")
    basis: LampBasis


class ObjectItem(BaseModel):
    """Something that lies on a part of the sheet, and what its part gets."""

    id: str
    label: str
    stops_less: float | None = Field(description="than the sheet beside it; null: no light at all")
    stops_less_low: float | None
    stops_less_high: float | None
    says: str
    provenance: str


class LampKindItem(BaseModel):
    """A kind of lamp."""

    id: str
    label: str
    family: str
    peak_nm: float
    uva_share: float = Field(description="of its light between 315 and 400 nm")
    effective_share: float = Field(description="of its light that works on a bare classic coat")
    efficiency: float = Field(description="UV and violet radiated per electrical watt")
    efficiency_spread_stops: float
    start_share: float
    time_constant_s: float
    loss_per_1000_h: float
    how_known: str
    provenance: str
    wavelength_nm: list[float]
    relative_per_nm: list[float] = Field(description="spectral power over all its power")


class LampKindsAnswer(BaseModel):
    """The kinds of lamps that can be named."""

    kinds: list[LampKindItem]
