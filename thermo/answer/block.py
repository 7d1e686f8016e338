"""What every part of an answer is."""

from pydantic import BaseModel, ConfigDict


class Block(BaseModel):
    """A part of an answer: frozen, no other keys, finite numbers."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)
