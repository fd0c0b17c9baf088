"""The plan of the invented day."""

import datetime as dt

from config.plan import Plan

STATIONS = ("aft", "forward", "bridge")


def example_plan() -> Plan:
    """Four weights, six people, tanks, moorings, a schedule and a limiting condition."""
    weights = [
        {
            "name": str(n + 1),
            "mass_t": 2.5 + 0.01 * n,
            "mass_u95_kg": 3.0,
            "certificate": f"weighbridge slip {401 + n}",
            "start": "starboard" if n % 2 == 0 else "port",
            "port_m": (20.0 + 2 * n, -4.2, 6.0),
            "starboard_m": (20.0 + 2 * n, 4.2, 6.0),
            "position_u95_m": 0.01,
        }
        for n in range(4)
    ]
    people = [("Ada North", "coordinator"), ("Bo Lindqvist", "technician"), ("Cleo Marsh", "forward lines")]
    people += [("Dov Aster", "aft lines"), ("Eli Brand", "crane"), ("Fay Quill", "witness")]
    return Plan.model_validate(
        {
            "test": {
                "name": "Merrowby",
                "date": dt.date(2030, 5, 14),
                "place": "Outfitting quay, berth 2",
                "purpose": "after conversion",
                "coordinator": "Ada North",
                "technician": "Bo Lindqvist",
                "witness": "Fay Quill",
                "approving_body": "the flag administration",
                "utc_offset_h": 2.0,
            },
            "vessel": {
                "name": "Merrowby",
                "type": "offshore",
                "length_m": 48.0,
                "breadth_m": 11.0,
                "depth_m": 5.0,
                "displacement_t": 1150.0,
                "estimated_gm_m": 1.2,
                "estimated_period_s": 8.3,
            },
            "stations": [
                {
                    "name": s,
                    "position_m": (6.0 + 15 * i, 0.0, 6.5),
                    "dialect": "nmea",
                    "source": {"type": "tcp", "host": "localhost", "port": 4001 + i},
                    "calibration": {
                        "scale_u95_percent": 0.2,
                        "certificate": f"bench {17 + i}",
                        "made_on": dt.date(2030, 4, 2),
                    },
                }
                for i, s in enumerate(STATIONS)
            ]
            + [{"name": "pendulum", "kind": "pendulum", "length_m": 4.5, "position_m": (24.0, 0.0, 4.0)}],
            "weights": weights,
            "sequence": {"standard": "four_weights_eight_movements"},
            "muster_stations": [
                {"name": "wheelhouse", "position_m": (30.0, 0.0, 9.0)},
                {"name": "aft deck", "position_m": (8.0, 0.0, 6.0)},
            ],
            "people": [
                {"name": n, "duty": d, "muster_station": "wheelhouse" if i % 2 else "aft deck", "mass_kg": 78.0}
                for i, (n, d) in enumerate(people)
            ],
            "moorings": [
                {"name": "forward breast", "kind": "breast", "side": "port", "tended_by": "Cleo Marsh"},
                {"name": "aft breast", "kind": "breast", "side": "port", "tended_by": "Dov Aster"},
            ],
            "tanks": [
                {
                    "name": "fuel day tank",
                    "contents": "fuel oil",
                    "density_kg_m3": 845,
                    "state": "slack",
                    "sounding_m": 0.85,
                },
                {"name": "fore peak", "contents": "water", "state": "empty"},
                {
                    "name": "double bottom 3",
                    "contents": "fresh water",
                    "state": "full",
                    "mass_t": 42.0,
                    "part_of": "to_stay",
                },
            ],
            "services": [
                {"name": "fresh water", "stands_in": "bottled water ashore and aboard"},
                {"name": "galley", "stands_in": "food van on the quay"},
                {"name": "toilets", "stands_in": "yard toilets, hut 4"},
            ],
            "schedule": [
                {"at": dt.time(7, 0), "what": "walk-through of every space", "who": "coordinator, witness"},
                {"at": dt.time(8, 30), "what": "draughts, freeboards, density", "who": "from the boat"},
                {"at": dt.time(9, 30), "what": "gangway out; zero", "who": "all"},
                {"at": dt.time(12, 0), "what": "gangway back; break ashore", "who": "all"},
            ],
            "limits": {
                "conditions": [
                    {"name": "departure, full deck cargo", "mass_t": 450, "vcg_m": 4.1, "allowable_kg_m": 4.95},
                ]
            },
        }
    )
