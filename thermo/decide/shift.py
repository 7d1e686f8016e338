"""What the fine mesh makes of a coarse value, from the case as it is on both.

Of a temperature a change counts by the share of the rises on both meshes above the warmest sink:
what halves the coarse rise halves the fine one.  To any other value the difference is added.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from thermo.answer.outcome import Judged, Outcome
from thermo.answer.temperature import ZERO_C
from thermo.decide.trial import by_name


@dataclass(frozen=True)
class Shift:
    """Lines of the case as it is, by name, on the fine and on the coarse mesh.

    warmest : of the sinks, degC: no lower does a temperature get without the beam
    """

    fine: Mapping[str, Judged]
    coarse: Mapping[str, Judged]
    warmest: float

    def share(self, name: str) -> float:
        """Fine rise over coarse rise of a temperature, 1 of anything else."""
        fine, coarse = self.fine.get(name), self.coarse.get(name)
        if fine is None or coarse is None or fine.value is None or coarse.value is None:
            return 1.0
        if fine.unit != "degC" or coarse.value <= self.warmest:
            return 1.0
        return (fine.value - self.warmest) / (coarse.value - self.warmest)

    def value(self, line: Judged) -> float | None:
        """Value of a changed case on the fine mesh, from its coarse line."""
        fine, coarse = self.fine.get(line.name), self.coarse.get(line.name)
        if line.value is None or fine is None or coarse is None:
            return line.value
        if fine.value is None or coarse.value is None:
            return line.value
        return fine.value + self.share(line.name) * (line.value - coarse.value)

    def over(self, line: Judged) -> float | None:
        """How far that value lies above its limit, which may differ between the meshes too."""
        value, fine, coarse = self.value(line), self.fine.get(line.name), self.coarse.get(line.name)
        moved = 0.0 if fine is None or coarse is None else fine.limit - coarse.limit
        return None if value is None else value - line.limit - moved


def shift_of(fine: Outcome, coarse: Outcome) -> Shift:
    """From the same case on both meshes."""
    warmest = max(film.sink for film in fine.state.films) - ZERO_C
    return Shift(by_name(fine.judged), by_name(coarse.judged), warmest)
