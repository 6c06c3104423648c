#include "tidemark/assessment/trust.h"

#include <algorithm>
#include <array>

namespace tidemark::assessment {
namespace {

constexpr std::array<std::string_view, 17> kUntrusted{
    // Perhaps not this hip, or not this implant.
    "patient_differs", "side_contradicts_header", "implant_differs", "head_differs", "bone_differs",
    "implant_uncertain", "head_off_neck", "head_in_doubt",
    // Perhaps not this scale.
    "scales_disagree",
    // Perhaps a view by which the uncertainty does not go.
    "taken_from_behind", "view_contradicts_header", "view_turned",
    // Perhaps not this alignment of the bone.
    "axes_disagree", "bone_alignment_ambiguous", "landmarks_disagree", "motion_implausible",
    "stem_rises"};

}  // namespace

std::span<const std::string_view> untrusted_flags() { return kUntrusted; }

std::vector<std::string> untrusted_flags_of(const ComparisonEvidence& pair) {
  std::vector<std::string> out;
  for (const Flag& flag : pair.flags) {
    const bool listed =
        std::find(kUntrusted.begin(), kUntrusted.end(), flag.id) != kUntrusted.end();
    if (listed && std::find(out.begin(), out.end(), flag.id) == out.end()) out.push_back(flag.id);
  }
  return out;
}

std::string in_one_text(const std::vector<std::string>& ids) {
  std::string out;
  for (const std::string& id : ids) out += (out.empty() ? "" : ", ") + id;
  return out;
}

}  // namespace tidemark::assessment
