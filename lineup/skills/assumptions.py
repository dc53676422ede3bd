"""What estimation believes before it sees a grade; each default says what it means and gives way to the data."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Assumptions:
    """Starting beliefs and the few dials of estimation. No published source: common practice, and open to change.

    Shares are of the time itself: on the log scale 0.10 is about 10 %. On the plain scale (tasks that may begin
    early) they are shares of the task's nominal seconds, at least of `least_unit_s`.

    Attributes
    ----------
    half_life_days : a grade this old counts half as much as one of today. On the demo season held-out grades are
        predicted best with 90 to 120 days, though the difference to 60 or 240 is small.
    typical_between : spread of the athletes of one pool, until several pools have shown theirs.
    between_evidence : how many athletes' worth of evidence that typical spread is.
    typical_spread : spread from stop to stop, until grades have shown it.
    typical_unevenness : by how much (in ln variance, as an sd) athletes differ in consistency.
    least_spread : no one is believed more consistent than this; grades are taken to a hundredth of a second.
    least_unit_s : smallest unit of the plain scale.
    nominal_sd : how far a pool without grades may lie from the choreography's nominal seconds.
    effect_sd : how far practice, tryout or another tire may move times.
    effect_differs_sd : by how much such an effect differs from split to split.
    newcomer_slower : what athletes in training and candidates are expected to lose.
    trait_sd : how far that, or what sets leads or developing athletes and candidates apart from regulars (nothing,
        before grades), may lie from what is expected.
    newcomer_variance : their levels scatter that many times more (in variance) than those of cleared athletes.
    correlation, correlation_other : of an athlete's effects between splits of a position, between positions.
    loss_sd : how far the cost of a miss may lie from misses.csv, as a share of it.
    loss_varies : how much that cost varies from one miss to the next, as a share of it.
    pace_sd : how far an athlete's pace after a miss lies from everyone's; small, so that it is pooled hard.
    pace_common_sd : how far everyone's pace after a miss may lie from no change.
    miss_rate, penalty_rate : misses per execution, where nothing was graded; of misses without and with a penalty.
    miss_positions_sd, penalty_positions_sd : by how much (in ln rate) positions differ in the same miss.
    penalty_half_lives : grades tell of penalties that many times longer, since they are rare.
    miss_shape, penalty_shape : how alike athletes are in a miss (1 / squared coefficient of variation); the higher,
        the harder rates are pooled. Misses with a penalty are rare and dear: pooled hard.
    miss_trait_sd : how far (in ln rate) being new to a position, a lead, developing or a candidate may go with slips.
    pull_in : a grade further off than this many spreads counts as the edge.
    """

    half_life_days: float = 90.0
    typical_between: float = 0.07
    between_evidence: float = 2.0
    typical_spread: float = 0.10
    typical_unevenness: float = 0.4
    least_spread: float = 0.005
    least_unit_s: float = 0.5
    nominal_sd: float = 0.25
    effect_sd: float = 0.10
    effect_differs_sd: float = 0.02
    newcomer_slower: float = 0.03
    trait_sd: float = 0.06
    newcomer_variance: float = 2.0
    correlation: float = 0.3
    correlation_other: float = 0.15
    loss_sd: float = 0.5
    loss_varies: float = 0.3
    pace_sd: float = 0.02
    pace_common_sd: float = 0.05
    miss_rate: float = 0.05
    penalty_rate: float = 0.003
    miss_positions_sd: float = 0.7
    penalty_positions_sd: float = 0.3
    penalty_half_lives: float = 4.0
    miss_shape: float = 4.0
    penalty_shape: float = 16.0
    miss_trait_sd: float = 0.3
    pull_in: float = 4.0
