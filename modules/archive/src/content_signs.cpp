#include <utility>

#include "build.h"
#include "content.h"
#include "tidemark/assessment/assess.h"

namespace tidemark::archive {
namespace {

using assessment::SignFinding;
using followup::Result;

Item sign_group(const Result& result, const SignFinding& sign, std::size_t film,
                const Tracking& tracking) {
  Item out = group({"sign " + sign.id, code::femoral_stem(), {}, film}, result, tracking);
  add_text(out, "SIGN", "Sign of fixation or loosening", sign.title);
  out.children.push_back(code_item(
      Relation::kContains, own("SIGN-PRESENT", "Whether the sign is present"), coded(sign.answer)));
  add_text(out, "SIGN-BASIS", "What the answer rests on", assessment::code_of(sign.basis));
  add_text(out, "FINDING-TEXT", "What the verdict means", sign.text);
  add_text(out, "SIGN-FROM", "Source of the sign",
           sign.citation + (sign.doi ? ", doi:" + *sign.doi : "") + " (" +
               assessment::phrase_of(sign.certainty) + ")");
  return out;
}

}  // namespace

std::vector<Item> sign_groups(const Result& result, const Tracking& tracking) {
  std::vector<Item> out;
  if (!result.assessment) return out;
  for (const auto& report : result.assessment->signs.reports) {
    const std::size_t film = result.comparisons[report.comparison].follow_up;
    for (const SignFinding& sign : report.signs) {
      out.push_back(sign_group(result, sign, film, tracking));
    }
  }
  return out;
}

}  // namespace tidemark::archive
