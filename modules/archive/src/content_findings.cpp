#include <algorithm>
#include <utility>

#include "build.h"
#include "content.h"
#include "tidemark/assessment/assess.h"
#include "tidemark/assessment/probability.h"

namespace tidemark::archive {
namespace {

using assessment::Assessment;
using assessment::Finding;
using assessment::Verdict;
using followup::ComparisonResult;
using followup::Result;

Code coded(Verdict verdict) {
  switch (verdict) {
    case Verdict::kExceeds:
      return own("EXCEEDS", "Above the limit");
    case Verdict::kWithin:
      return own("WITHIN", "Within the limit");
    case Verdict::kNotApplicable:
      return own("NOT-APPLIED", "Not applied");
    case Verdict::kCannotTell:
      break;
  }
  return own("CANNOT-TELL", "Cannot tell");
}

Code coded(assessment::Pattern pattern) {
  using assessment::Pattern;
  switch (pattern) {
    case Pattern::kSettled:
      return own("SETTLED", "Moved early, then stood still");
    case Pattern::kContinuous:
      return own("CONTINUOUS", "Moved early and goes on");
    case Pattern::kLate:
      return own("LATE", "Stood still at first, then began to move");
    case Pattern::kStable:
      return own("STABLE", "No motion beyond the limit of relevance");
    case Pattern::kCannotTell:
      break;
  }
  return own("CANNOT-TELL", "Cannot tell");
}

Code unit_code(assessment::Quantity quantity) {
  const std::string unit = assessment::unit_of(quantity);
  if (unit == "deg") return unit::degrees();
  return unit == "mm" ? unit::millimetres() : unit::millimetres_per_year();
}

Item modifier(const char* value, const char* meaning, std::string text) {
  return text_item(Relation::kHasConceptModifier, own(value, meaning), std::move(text));
}

const assessment::Criterion* criterion_of(const Assessment& assessed, const std::string& id) {
  const auto& all = assessed.criteria.criteria;
  const auto found =
      std::find_if(all.begin(), all.end(), [&](const auto& one) { return one.id == id; });
  return found == all.end() ? nullptr : &*found;
}

/// What the judged value was read from: the stem's reference point, or the axes, on both films.
void add_places(const Result& result, const ComparisonResult& pair, const Sources& sources,
                assessment::Quantity quantity, Item& item) {
  for (const std::size_t film : {pair.reference, pair.follow_up}) {
    if (quantity == assessment::Quantity::kTiltChange) {
      add_axes(result.films[film], sources[film], item);
    } else if (result.films[film].stem && sources[film]) {
      item.children.push_back(place(own("REFERENCE-POINT", "Reference point of the stem"),
                                    {Shape::kPoint, {result.films[film].stem->reference_px}},
                                    sources[film]->image));
    }
  }
}

/// The value, the limit and the probability of lying above it.
void add_numbers(const Result& result, const Finding& finding, const Sources& sources,
                 Item& group) {
  const Code unit = unit_code(finding.quantity);
  const std::string quantity = assessment::code_of(finding.quantity);
  if (finding.measured) {
    const auto& m = *finding.measured;
    Item item =
        measurement(own("JUDGED", "Value held against a criterion"), {m.value, m.u, m.u95, unit});
    item.children.push_back(modifier("QUANTITY", "Quantity", quantity));
    add_places(result, result.comparisons[finding.comparison], sources, finding.quantity, item);
    group.children.push_back(std::move(item));
  }
  constexpr int kDecimals = 2;
  if (finding.threshold) {
    Item item = measurement(own("LIMIT", "Limit of the criterion"),
                            {*finding.threshold, {}, {}, unit, kDecimals});
    item.children.push_back(modifier("QUANTITY", "Quantity", quantity));
    group.children.push_back(std::move(item));
  }
  if (finding.probability_exceeds) {
    // As in result.json: 0.9496 is no 0.95, and nothing is certain.
    constexpr int kDecimalsOfProbability = 4;
    group.children.push_back(
        measurement(own("PROBABILITY", "Probability that the true value lies above the limit"),
                    {assessment::told_probability(*finding.probability_exceeds),
                     {},
                     {},
                     unit::one(),
                     kDecimalsOfProbability}));
  }
}

Item finding_group(const Result& result, const Finding& finding, const Sources& sources,
                   const Tracking& tracking) {
  const ComparisonResult& pair = result.comparisons[finding.comparison];
  Item out = group({"criterion " + finding.criterion, code::femoral_stem(), {}, pair.follow_up},
                   result, tracking);
  add_numbers(result, finding, sources, out);
  out.children.push_back(code_item(Relation::kContains, own("VERDICT", "Verdict on the criterion"),
                                   coded(finding.verdict)));
  add_text(out, "FINDING-TEXT", "What the verdict means", finding.text);
  for (const std::string& doubt : finding.doubts) {
    add_text(out, "DOUBT", "Doubt about the verdict", doubt);
  }
  if (const auto* criterion = criterion_of(*result.assessment, finding.criterion)) {
    add_text(out, "CRITERION-FROM", "Source of the criterion",
             criterion->citation + (criterion->doi ? ", doi:" + *criterion->doi : "") + " (" +
                 assessment::phrase_of(criterion->certainty) + ")");
  }
  return out;
}

/// What the stem sank after the settling window. Where it counts from a late film only, the number
/// can be called more than a limit, never less.
Item late_change_item(const assessment::LateChange& late) {
  const auto& change = late.change;
  Item out =
      measurement(own("LATE-CHANGE", "Subsidence after the settling window"),
                  {change.value.value, change.u.value, change.u95.value, unit::millimetres()});
  if (late.starts_late) {
    out.children.push_back(
        code_item(Relation::kHasConceptModifier, own("BOUND", "Which bound the number is"),
                  own("AT-LEAST", "At least this much: what it sank before is not in it")));
  }
  return out;
}

/// The course of all follow-ups, at the time point of the last one.
Item course_group(const Result& result, const Tracking& tracking) {
  const assessment::Course& course = result.assessment->course;
  const std::size_t last = result.comparisons[course.points.back().comparison].follow_up;
  Item out =
      group({"course of the stem over time", code::femoral_stem(), {}, last}, result, tracking);
  if (course.late_rate) {
    const auto& rate = course.late_rate->rate;
    out.children.push_back(measurement(
        own("LATE-RATE", "Rate of subsidence after the settling window"),
        {rate.value.value, rate.u.value, rate.u95.value, unit::millimetres_per_year()}));
  }
  if (course.late_change) out.children.push_back(late_change_item(*course.late_change));
  out.children.push_back(code_item(Relation::kContains,
                                   own("PATTERN", "Pattern of the course over time"),
                                   coded(course.pattern)));
  add_text(out, "FINDING-TEXT", "What the verdict means", course.text);
  return out;
}

}  // namespace

std::vector<Item> finding_groups(const Result& result, const Sources& sources,
                                 const Tracking& tracking) {
  std::vector<Item> out;
  if (!result.assessment) return out;
  for (const Finding& finding : result.assessment->findings) {
    out.push_back(finding_group(result, finding, sources, tracking));
  }
  if (!result.assessment->course.points.empty()) out.push_back(course_group(result, tracking));
  return out;
}

std::vector<Item> headline_items(const Result& result) {
  std::vector<Item> out;
  if (!result.assessment) return out;
  const Assessment& assessed = *result.assessment;
  const auto add = [&](const char* value, const char* meaning, const std::string& text) {
    out.push_back(text_item(Relation::kContains, own(value, meaning), text));
  };
  out.push_back(code_item(Relation::kContains, own("HEADLINE", "Verdict of the whole"),
                          coded(assessed.headline.verdict)));
  add("HEADLINE-TEXT", "Verdict in one sentence", assessed.headline.sentence);
  add("DOUBT", "Doubt about the verdict", assessed.headline.doubt);
  add("CRITERIA", "Set of criteria and SHA-256 of its file",
      assessed.criteria.id + "; " + assessed.criteria.sha256);
  for (const std::string& caution : assessed.cautions) add("CAUTION", "Caution", caution);
  return out;
}

}  // namespace tidemark::archive
