"""What the risk models assume before they have seen a record.

None of these values has a published source for throttle sensors. They are judgements, set wide on
purpose, and every one of them is a keyword of the function that uses it. Records outweigh them: the
curve by about the tenth defect, a share by about the fifth test followed up.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class BetaPrior:
    """A share, 0 to 1, as a Beta distribution: so many imagined hits and misses."""

    hits: float
    misses: float

    @property
    def mean(self) -> float:
        """Mean share."""
        return self.hits / (self.hits + self.misses)

    @property
    def sd(self) -> float:
        """Standard deviation of the share."""
        return float((self.mean * (1 - self.mean) / (self.hits + self.misses + 1)) ** 0.5)

    def after(self, hits: float, misses: float) -> BetaPrior:
        """The same share after counts of hits and misses (conjugate update)."""
        return BetaPrior(self.hits + hits, self.misses + misses)


@dataclass(frozen=True)
class GammaPrior:
    """A rate per km as a Gamma distribution: so many imagined events in so many km."""

    events: float
    km: float

    @property
    def mean(self) -> float:
        """Mean rate per km."""
        return self.events / self.km

    def after(self, events: float, km: float) -> GammaPrior:
        """The same rate after events seen in some km (conjugate update)."""
        return GammaPrior(self.events + events, self.km + km)


#: Weibull curve of defect over sensor age, assumed: 10 in 100 defective by about 33,000 km, half by
#: about 117,000 km. Shape above 1 because a wiper wears its track.
CURVE_SHAPE = 1.5
CURVE_SCALE_KM = 150_000.0

#: Standard deviations of the departure from that curve, on the scale of log hazard. 1.5 in level
#: lets the true hazard lie twelve times lower or higher (90 %).
LEVEL_SD = 1.5
SLOPE_SD = 1.0
#: Spread of part numbers and of duties about their common mean (log hazard), assumed: most groups
#: lie within a factor of 2.3 of it.
GROUP_SD = 0.5
#: Spread of the effect of a life begun by cleaning (log hazard), assumed.
REPAIRED_SD = 1.0
#: Size of the second differences of the spline (log hazard), assumed: bends, not wiggles.
BEND_SD = 0.7

#: Below this many defects the result says that it rests largely on the assumed curve; the spread
#: between bikes is likewise trusted half at this many.
FEW_DEFECTS = 10

#: Share of defective sensors in which a bench test finds the defect, assumed: mean 0.9.
TEST_SENSITIVITY = BetaPrior(18.0, 2.0)

#: Share of sound sensors that a bench test condemns, assumed: mean 0.02, worth fifty tests.
FALSE_ALARM = BetaPrior(1.0, 49.0)

#: Rate at which a defect leads to a complaint or a road failure that the shop hears of, assumed:
#: once in 5,000 km, worth two such events (a 90 % range of mean delays from 2,100 to 28,000 km).
DELAY_RATE = GammaPrior(2.0, 10_000.0)
#: Below this many road failures the records do not move that rate.
FEWEST_ROAD_FAILURES = 30

#: Chance that a private bike is not seen again after a contact, assumed: about 1 in 20.
LOST_AT_CONTACT = BetaPrior(1.0, 20.0)

#: Distance between two tests of one sensor where the records show no such distance, assumed.
TEST_SPACING_KM = 6_000.0

#: The sign of a test that shows another sign, and whose sweep by itself shows a worn band.
WORN_BAND = "worn_band"
#: Share of tests with a sign in which the sensor later proves defective, assumed, and worth only
#: two to five tests each.
SIGN_PRIORS = {
    WORN_BAND: BetaPrior(4.0, 1.0),
    "fail": BetaPrior(3.0, 1.0),
    "suspect": BetaPrior(1.0, 1.0),
    "dropouts_seen": BetaPrior(4.0, 1.0),
}

#: Age at first sight of a sensor of unknown age where no sensor's age is known, assumed.
ENTRY_AGES_KM = (2_000.0, 6_000.0, 12_000.0, 20_000.0, 30_000.0, 45_000.0, 65_000.0)

#: Spread of the effect of a standard deviation of log km a day, and of each earlier repair of plug,
#: lead or other cause (log hazard), assumed.
RIDING_SD = 0.3
EARLIER_SD = 0.3
#: Spread of the effect of the coldest time of the year against the year's mean (log hazard),
#: assumed: at one standard deviation a km in mid January wears 1.8 times as much as one in mid
#: July, or so much less.
SEASON_SD = 0.3
#: Lives without a defect that the hazard is fitted to at most; more are drawn from and weighed up.
MOST_SURVIVORS = 20_000

#: A sensor rough enough to fail adds complaints at a rate of, on average, one in so many km before
#: the records speak (exponential prior, drawn towards none), assumed.
ROUGH_COMPLAINTS_KM = 10_000.0
