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

/// How many hips lie beyond a criterion. No hip is counted where its films do not say: the share is
/// a range. If every hip of which nothing can be told were within, it would be `least.share`; if
/// all were beyond, `most.share`. Their outer ends bound it with 95 %.
struct CriterionShare {
  std::string criterion, group;
  std::optional<std::size_t> visit;  ///< absent: over the whole follow-up
  std::size_t exceeds = 0;
  std::size_t within = 0;
  std::size_t cannot_tell = 0;
  std::size_t not_judged =
      0;  ///< hips that the criterion does not apply to, or without a film for it
  std::optional<Share> least, most;  ///< of exceeds + within + cannot_tell; absent when these are 0
  std::optional<double> expected;    ///< mean probability of lying beyond; flat prior (JCGM 106)
};

/// Over the whole follow-up a hip exceeds when it ever did; else its last judgement counts. At a
/// visit the film nearest to the milestone counts.
[[nodiscard]] std::vector<CriterionShare> criterion_shares(const Cohort& cohort);

/// How `cannot tell` enters the time to first `exceeds`.
enum class Counting {
  kJudged,    ///< not at all: a hip is followed to its last `within`
  kAsWithin,  ///< as within: the most favourable reading
  kAsBeyond,  ///< as beyond: the least favourable reading
};
[[nodiscard]] std::string name_of(Counting counting);

/// Years from the origin of the hip's days to the first `exceeds`, by group.
struct CriterionSurvival {
  std::string criterion;
  Counting counting = Counting::kJudged;
  std::vector<std::string> groups;             ///< that have a hip
  std::vector<std::vector<TimeToEvent>> hips;  ///< years, by group
  std::vector<SurvivalCurve> curves;           ///< by group
  std::vector<std::size_t> left_out;           ///< hips without any judgement that counts, by group
  Expected<LogRank> log_rank = tl::unexpected(Error{});
};

/// For each criterion and way of counting with at least one hip.
[[nodiscard]] std::vector<CriterionSurvival> criterion_survival(const Cohort& cohort);

}  // namespace tidemark::registry
