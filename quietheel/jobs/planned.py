"""Write the plan that a synthetic day's people would have had: what they know of the truth, with round intervals."""

from __future__ import annotations

import json

from logger.records import Quantity
from sim.day import SimulatedDay
from sim.devices import Anemometer, LoadCell, Pendulum, Tilt


def plan_text(day: SimulatedDay) -> str:
    """Return a plan.toml for a synthetic day: displacement, BM and KM as they are, usual intervals of calibration."""
    scenario, truth = day.scenario, day.truth
    lines = [
        "# Plan of a synthetic day, written by `quietheel simulate`; truth.json beside it says what is true.",
        "",
        "[test]",
        f"name = {json.dumps(scenario.name)}",
        f"date = {scenario.schedule.start.date().isoformat()}",
        "",
        "[vessel]",
        f"name = {json.dumps(scenario.name)}",
        f"length_m = {scenario.vessel.length_m}",
        f"breadth_m = {scenario.vessel.breadth_m}",
        f"displacement_t = {truth.displacement_t:.3f}",
        f"displacement_u95_t = {0.002 * truth.displacement_t:.3f}",
        f"estimated_gm_m = {max(round(truth.gm_m, 1), 0.1)}",
        "",
        "[hydrostatics]",
        f"bm_m = {truth.bm_m:.4f}",
        f"km_m = {truth.km_m:.4f}",
        "km_u95_percent = 0.2",
        "",
    ]
    for weight in scenario.weights:
        lines += [
            "[[weights]]",
            f"name = {json.dumps(weight.name)}",
            f"mass_t = {weight.mass_t:.3f}",
            "mass_u95_kg = 5.0",
            f'start = "{weight.start}"',
            f"port_m = {list(weight.port_m)}",
            f"starboard_m = {list(weight.starboard_m)}",
            "position_u95_m = 0.01",
            "",
        ]
    if scenario.weights:
        lines += ["[sequence]", f'standard = "{scenario.sequence.standard}"', ""]
    for movement in scenario.movements if scenario.sequence.standard == "own" else ():
        lines += [
            "[[movements]]",
            f"label = {json.dumps(movement.label)}",
            f"to_port = {json.dumps(list(movement.to_port))}",
            f"to_starboard = {json.dumps(list(movement.to_starboard))}",
            "",
        ]
    for place in dict.fromkeys(person.muster_station for person in scenario.people if person.muster_station):
        at = next(person.at_m for person in scenario.people if person.muster_station == place)
        lines += ["[[muster_stations]]", f"name = {json.dumps(place)}", f"position_m = {list(at)}", ""]
    for person in scenario.people:
        if person.muster_station:
            lines += [
                "[[people]]",
                f"name = {json.dumps(person.name)}",
                f"mass_kg = {person.mass_kg}",
                f"muster_station = {json.dumps(person.muster_station)}",
                "",
            ]
    for device in scenario.devices:
        lines += _station(day, device)
    return "\n".join(lines)


def _station(day: SimulatedDay, device: Tilt | Anemometer | LoadCell | Pendulum) -> list[str]:
    quantities = [signal.quantity for signal in day.signals if signal.station == device.name]
    kind = {"tilt": "inclinometer", "anemometer": "anemometer", "load_cell": "load_cell", "pendulum": "pendulum"}
    channels = ", ".join(f'{{ quantity = "{quantity}" }}' for quantity in quantities or [Quantity.HEEL])
    lines = [
        "[[stations]]",
        f"name = {json.dumps(device.name)}",
        f'kind = "{kind[device.type]}"',
        f"channels = [{channels}]",
    ]
    if isinstance(device, (Tilt, Pendulum)):
        lines.append(f"position_m = {list(device.at_m)}")
    if isinstance(device, Pendulum):
        lines += [f"length_m = {device.length_m}", "reading_u95_mm = 1.5"]
    if isinstance(device, LoadCell):
        lines.append(f"mooring_line = {json.dumps(device.line)}")
    if isinstance(device, (Tilt, Pendulum)):
        lines += ["  [stations.calibration]", "  scale_u95_percent = 0.1"]
    return [*lines, ""]
