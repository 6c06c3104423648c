#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/registry/cohort.h"
#include "tidemark/registry/estimates.h"
#include "tidemark/registry/migration_course.h"
#include "tidemark/registry/survival.h"

namespace tidemark::registry {

/// A criterion that hips of the cohort were held against.
struct CohortCriterion {
  std::string id, quantity, unit;
  double threshold = 0.0;
};

/// By id. Values without a limit (typical ones) are none.
[[nodiscard]] std::vector<CohortCriterion> criteria_of(const Cohort& cohort);

/// Whether the criterion holds a change since the reference film against its limit, so that what a
/// stem moved before that film is missing; else one from three months after surgery on.
[[nodiscard]] bool counts_from_reference(const CohortCriterion& criterion);

/// How many hips lie beyond a criterion. No hip is counted where its films do not say: the share is
/// a range. If every hip of which nothing can be told were within, it would be `least.share`; if
/// all were beyond, `most.share`. Their outer ends bound it with 95 %.
///
/// Hips of Entry::kTooLate take no part in a criterion that counts from the reference film, beyond
/// it or not: of them `judge` tells events and no others (assessment/judge.h), so that they would
/// come in by their outcome. Those of Entry::kHides stay in: each is beyond or open, which bounds.
struct CriterionShare {
  std::string criterion, group;
  std::optional<std::size_t> visit;  ///< absent: over the whole follow-up
  std::size_t exceeds = 0;
  std::size_t within = 0;
  std::size_t cannot_tell = 0;
  std::size_t late_reference = 0;  ///< hips left out for their reference film
  /// Hips that the criterion does not apply to, or without a judged film; at a visit only hips that
  /// have a film there.
  std::size_t not_judged = 0;
  std::optional<Share> least, most;  ///< of exceeds + within + cannot_tell; absent when these are 0
  std::optional<double> expected;    ///< mean probability of lying beyond; flat prior (JCGM 106)
};

/// Over the whole follow-up a hip exceeds when it ever did; else its last judgement counts. At a
/// visit the film nearest to the milestone counts.
[[nodiscard]] std::vector<CriterionShare> criterion_shares(const Cohort& cohort);

/// How `cannot tell` enters the time to first `exceeds`. Hips are left out for their reference film
/// as in the shares; with kJudged those of Entry::kHides too, which could give nothing but events.
enum class Counting {
  kJudged,    ///< not at all: a hip is followed to its last `within`
  kAsWithin,  ///< as within: the most favourable reading
  kAsBeyond,  ///< as beyond: the least favourable reading
};
[[nodiscard]] std::string name_of(Counting counting);

/// The time, in years, at which a film of this day counts: the milestone of its visit (house
/// choice), in whole months from three months on; its own day where it belongs to none.
[[nodiscard]] double years_of_visit(int days);

/// Time from the origin of the hip's days to the visit of the first `exceeds`, by group: events and
/// ends of follow-up stand at the milestones, where events come first. A hip judged at a visit is
/// at risk there, whatever the day of its film. When all hips of a group come to all visits until
/// they come to none, the curve after a visit is the maximum-likelihood estimate for times that are
/// known to lie between two of them (derived; Turnbull, J R Stat Soc B 38 (1976) 290, with
/// intervals that do not overlap). A hip that missed a visit counts at the one that showed it:
/// late.
struct CriterionSurvival {
  std::string criterion;
  Counting counting = Counting::kJudged;
  std::vector<std::string> groups;             ///< all: one of which no hip was judged stays told
  std::vector<std::vector<TimeToEvent>> hips;  ///< years, by group
  std::vector<SurvivalCurve> curves;           ///< by group; no hips and no steps where none is in
  /// Day of the visit of the first judgement that counts, by group: before it no hip was looked at.
  std::vector<std::optional<int>> first_judged;
  std::vector<std::size_t> late_reference;  ///< hips left out for their reference film, by group
  std::vector<std::size_t> left_out;        ///< others without any judgement that counts
  Expected<LogRank> log_rank = tl::unexpected(Error{});
};

/// For each criterion and way of counting with at least one hip in any group.
[[nodiscard]] std::vector<CriterionSurvival> criterion_survival(const Cohort& cohort);

}  // namespace tidemark::registry
