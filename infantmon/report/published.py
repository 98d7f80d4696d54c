"""Published figures to read a review beside, each with its population and source.

They describe groups of infants. None of them says what is right for one infant, and none is about
when to start, change or stop anything.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Published:
    """One figure in words, whom it was seen in, and where it was published."""

    kind: str
    figure: str
    population: str
    source: str


PUBLISHED = (
    Published(
        "any event",
        "about 8 % of 14,131 recorded events were real; 23 % were false, 69 % movement or a loose "
        "lead",
        "83 infants on home monitors",
        "Weese-Mayer et al., J Pediatr 1989;115:702",
    ),
    Published(
        "any event",
        "43 % of the healthy term infants had an apnea of 20 s or more or a slow heart by the "
        "study's limits; over all infants 6,993 such events in 718,358 h, one in about 103 h",
        "1,079 infants, healthy term and groups thought to be at risk, at home",
        "Ramanathan et al., JAMA 2001;285:2199-2207; the rate an hour is computed from it",
    ),
    Published(
        "apnea",
        "98 % had a pause of 4 s or more, 5 % one of more than 15 s",
        "215 healthy term newborns in quiet sleep",
        "Bohnhorst et al., Acta Paediatr 2019;108:231-238",
    ),
    Published(
        "apnea",
        "no pause of 15 s or more in 287 recordings",
        "123 healthy term infants in their first year",
        "Kelly et al., Pediatr Pulmonol 1985;1:215-219",
    ),
    Published(
        "low heart rate",
        "30 % fell below 80 a minute at some time; the median rate was 112 a minute (3rd to 97th "
        "centile 87 to 133)",
        "215 healthy term newborns in quiet sleep",
        "Bohnhorst et al., Acta Paediatr 2019;108:231-238",
    ),
    Published(
        "low heart rate",
        "10 % of apneas of 10 to 14 s, 34 % of 15 to 20 s and 75 % of more than 20 s went with a "
        "slow heart",
        "1,520 apneas of 10 s and more in 28 preterm infants",
        "Henderson-Smart et al., Arch Dis Child 1986;61:227-232",
    ),
    Published(
        "high heart rate",
        "the median rate was 143 a minute at 0 to 3 months (1st to 99th centile 107 to 181), awake "
        "and asleep together",
        "healthy children of 69 studies",
        "Fleming et al., Lancet 2011;377:1011-1018",
    ),
    Published(
        "periodic breathing",
        "less than 1 % of sleep on average; seen in 78 % at 0 to 2 weeks and "
        "29 % at 39 to 52 weeks",
        "123 healthy term infants",
        "Kelly et al., Pediatr Pulmonol 1985;1:215-219",
    ),
    Published(
        "periodic breathing",
        "less than 6 % of the time on average",
        "1,211 infants born before 35 weeks",
        "Pediatr Res 2016, PMC4929034",
    ),
    Published(
        "alarms",
        "for each 10 h of use 0.7 alarms for apnea or a slow heart, and 0.6 for a loose lead",
        "67 infants on home monitors",
        "Silvestri et al., J Pediatr 1995;127:384-388",
    ),
    Published(
        "use",
        "the median use was 15.5 h a day; 75 % of the families used it more than 10.5 h, 25 % more "
        "than 21 h",
        "67 infants on home monitors",
        "Silvestri et al., J Pediatr 1995;127:384-388",
    ),
    Published(
        "use",
        "used on 94 % of the prescribed days; 36 % had significant events, and 87 % of the first "
        "ones came in the first month",
        "147 infants on home monitors",
        "Cote et al., J Pediatr 1998;132:783-789",
    ),
)
"""In the order of the kinds of condition; use and alarms as a whole at the end."""


def published_for(kinds: tuple[str, ...]) -> tuple[Published, ...]:
    """Return the figures about the kinds that are watched, and those about events as a whole."""
    return tuple(one for one in PUBLISHED if one.kind in ("any event", *kinds))
