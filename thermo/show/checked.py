"""A checked case as text: the stack, what was assumed, and what a run would take."""

import json

from thermo.answer.size import RunSize
from thermo.answer.temperature import ZERO_C
from thermo.case import Case, Filter, GasPath
from thermo.case.stack import Layer, build_stack
from thermo.show.words import duration


def checked_text(case: Case, size: RunSize) -> str:
    """Stack, assumptions and size."""
    rows = [f"{case.title}: the case is complete and consistent", "", "  from the beam down"]
    rows += [_on_the_way(part) for part in case.beam.filters]
    rows += [_layer(layer) for layer in build_stack(case).layers]
    if case.assumed:
        rows += ["", "  not given, taken from the tables (value, range, source)"]
        rows += [
            f"  {a.key:<36} {_span(a.value, a.low, a.high, a.unit)}  {a.source}"
            for a in case.assumed
        ]
    rows += [
        "",
        f"  mesh {size.unknowns} unknowns; a run takes about {size.memory_MB:.0f} MB and "
        f"{duration(size.seconds)} on one core",
    ]
    if not size.fits:
        rows.append(
            f"  more than this machine's {(size.machine_MB or 0) / 1e3:.2g} GB: it would be "
            "refused; lower --refine, or take a larger machine"
        )
    return "\n".join(rows) + "\n"


def checked_json(case: Case, size: RunSize) -> str:
    """The same as data."""
    stack = [
        {"layer": la.name, "material": la.material.name, "thickness_um": 1e6 * la.thickness}
        for la in build_stack(case).layers
    ]
    assumed = [a.__dict__ for a in case.assumed]
    data = {"title": case.title, "stack": stack, "assumed": assumed, "size": size.__dict__}
    return json.dumps(data, indent=1) + "\n"


def _on_the_way(part: Filter | GasPath) -> str:
    if isinstance(part, Filter):
        return f"    {'filter':<12} {part.material:<16} {_thick(part.thickness.value)}"
    return f"    {'gas':<12} {part.gas:<16} {_thick(part.length.value)}  at {part.pressure}"


def _layer(layer: Layer) -> str:
    contact = f" + {layer.resistance:.2g} m2 K/W contact" if layer.resistance else ""
    stuff = "contact" if layer.is_contact else layer.material.name
    thick = "" if stuff == "contact" else _thick(layer.thickness)
    return f"    {layer.name:<12} {stuff:<16} {thick:<12} {layer.outline}{contact}"


def _thick(t: float) -> str:
    return f"{1e3 * t:8.4g} mm" if t >= 1e-3 else f"{1e6 * t:8.4g} um"


def _span(value: float | str, low: float | str, high: float | str, unit: str) -> str:
    if isinstance(value, str):
        return f"{value} ({low} or {high})"
    if unit == "K":
        value, low, high, unit = value - ZERO_C, float(low) - ZERO_C, float(high) - ZERO_C, "degC"
    return f"{value:.3g} ({low:.3g} .. {high:.3g}) {unit}"
