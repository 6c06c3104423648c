#include "tidemark/assessment/assess.h"

#include "headline.h"

namespace tidemark::assessment {
namespace {

std::vector<std::string> cautions_of(const CriteriaSet& criteria) {
  std::vector<std::string> out{
      "The limits come from groups of some dozen to a few hundred hips, partly with implants no "
      "longer in use and measured by other methods; to pass one calls for a closer look and closer "
      "follow-up, and says nothing certain of this hip.",
      "Pain, fever, the wound and blood tests outrank the film."};
  if (!criteria.note.empty()) out.insert(out.begin(), criteria.note);
  return out;
}

}  // namespace

Assessment assess(const HipEvidence& hip, const CriteriaSet& criteria) {
  return assess(hip, criteria, default_signs(hip.stem));
}

Assessment assess(const HipEvidence& hip, const CriteriaSet& criteria, const SignTable* signs) {
  Assessment out;
  out.criteria = criteria;
  out.course = follow(hip);
  for (std::size_t i = 0; i < hip.comparisons.size(); ++i) {
    for (const Criterion& criterion : criteria.criteria) {
      out.findings.push_back(judge(hip, i, criterion, out.course));
    }
  }
  out.signs = read_table(hip, out.course, signs);
  out.headline = headline_of(hip, out);
  out.cautions = cautions_of(criteria);
  return out;
}

}  // namespace tidemark::assessment
