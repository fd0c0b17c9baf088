"""What the brief says to every vessel: preparations by date, and the cautions. Common practice; sources at the end."""

from __future__ import annotations

WHY = (
    "Known weights are moved across the deck and the small heel is measured: it tells how stable she is. For a few "
    "minutes at a time she must float entirely free, with nobody and nothing moving. One taut line, one person walking "
    "or one tank valve left open can spoil the day."
)
MONTH_BEFORE = (
    "Agree date and berth: sheltered, little current, no passing wash, no outfall; enough water under the keel at the "
    "lowest tide, sounded around the hull",
    "Notice to the authority, in writing and in its own time limit; ask who attends",
    "Finish work that adds or moves weight; start the list of what is still to come on, come off or be moved",
    "Order extra-long mooring lines: slack, they must hang to the water at every tide and at the largest heel",
    "Order fenders that sit at the waterline, or a tug or boat to draw her off the quay",
    "Bring aboard: general arrangement, hydrostatics, capacity plan, sounding tables, draught-mark positions",
    "Crane, slings and weights: certificates in date; room on deck at both sides; deck strong enough",
)
WEEK_BEFORE = (
    "Land all deadweight that is not part of the vessel. It hides in boatswain's stores and chain locker, engine-room "
    "spares and tools, paint, rope and wire, provisions, drums and bottles, contractors' gear, under floor plates, on "
    "top of wheelhouses",
    "Tanks: dry and clean, or pressed up to the very top; slack only where agreed. Close every cross-connection",
    "A key to every space and locker. Cabins: agree with each person; opened by two people, in their presence if they "
    "wish, only to look for heavy things; nothing noted but its mass",
    "Settle who stays aboard: as few as it takes. Everybody else ashore before the first reading",
    "Arrange what stands in for services that go off (table overleaf): water, food, toilets ashore",
)
DAY_BEFORE = (
    "Walk through every space with the surveyors; one person of the ship with all keys",
    "Bilges, decks and scuppers dry; snow and ice off; swimming pools and troughs empty",
    "Sound every tank; test the air before any is entered",
    "Lash or land everything that swings or rolls; boats, davits and doors secured",
    "Test weights aboard, numbered, weighed, in their starting places; paths of each move clear",
    "Long lines rigged and tended once for practice; everyone walks to the muster station once",
)
ON_THE_DAY = (
    "Draughts, freeboards and water density from a boat, just before or just after",
    "Shore power, hoses and ramps off, then the gangway out. It stays out until the coordinator ends the test or calls "
    "the break",
    "Propulsion, thrusters, pumps and stabilisers stopped; no valve, no tank, no ballast touched",
    "Before each reading, called and answered: lines slack and drooping, fenders or tug clear, crane stowed, all "
    "mustered, decks quiet",
    "Then nobody moves until the coordinator calls that the reading is made",
    "Whoever sees a line come taut, wash coming or someone moving says so at once: a repeated reading costs minutes",
)
CAUTIONS = (
    "Loads overhead: one person directs the crane; nobody under, or between a hanging weight and bulwark or hatch; tag "
    "lines; hands off until it is landed and chocked.",
    "Slack lines can come taut without warning: keep out of bights and of the snap-back zone, step over nothing, tend "
    "from behind bitts.",
    "She lies adrift on slack lines with the gangway out: handlers stay at the lines, means to heave her in are ready, "
    "and everybody knows how a casualty gets ashore and how long the gangway takes.",
    "Tanks and closed spaces: ventilated, air tested, permit, someone standing by at the entrance; nobody inside while "
    "weights move or she is heeled.",
    "Man overboard: lifejackets on open deck, lifebuoys and a manned boat or ladder ready on the water side; mind the "
    "gap at the quay.",
    "Fire pump, emergency lighting, alarms and radio stay available although services are off.",
    "Stop and put the weights back where they started if she heels more than expected or goes on heeling, if a line "
    "cannot be slackened, if wind, wash or ice get up, or if anyone calls stop.",
)
CALLS = (
    ("Lines?", "handlers forward and aft", "slack and drooping, or: wait"),
    ("Fenders, tug?", "handlers, boat", "clear of her side"),
    ("Crane?", "crane or winch", "load down, hook off, stowed"),
    ("Muster?", "each muster station", "all here and still"),
    ("Decks?", "bridge or engine room", "quiet: nothing running, nothing pumped"),
    ("Window open", "nobody", "nobody moves or calls, except to stop it"),
    ("Window closed", "all", "stand easy; next movement on the coordinator's word only"),
)
SOURCES = (
    "Common practice, with 2008 IS Code Part B, 8.2 (berth, tanks, people, deadweight) and its Annex 1 (parts of it "
    "from memory). The ship's safety management system, the yard's and the port's rules come first."
)
