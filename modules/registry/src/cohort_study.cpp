#include "tidemark/registry/cohort_study.h"

#include <algorithm>
#include <map>
#include <set>

namespace tidemark::registry {
namespace {

std::string counted(std::size_t n, const std::string& one, const std::string& many) {
  return n == 1 ? "One " + one : std::to_string(n) + " " + many;
}

/// A caution that begins with how many there are of something; none where there are none.
void add(std::vector<std::string>& out, std::size_t n, const char* one, const char* many,
         const std::string& rest) {
  if (n > 0) out.push_back(counted(n, one, many) + rest);
}

/// Patients with more than one hip in the cohort; one may be in several of these.
struct Patients {
  std::size_t both_sides = 0;    ///< a right and a left hip
  std::size_t one_side = 0;      ///< two hips of one side: perhaps one hip, listed twice
  std::size_t unknown_side = 0;  ///< a hip of unknown side among several
};

Patients patients_of(const Cohort& cohort) {
  std::map<std::string, std::map<std::string, std::size_t>> hips;  // by patient and side
  for (const CohortHip& hip : cohort.hips) {
    if (hip.patient) ++hips[*hip.patient][hip.side];
  }
  Patients out;
  for (auto& [patient, sides] : hips) {
    const std::size_t right = sides["R"], left = sides["L"], unknown = sides[""];
    if (right + left + unknown < 2) continue;
    out.both_sides += right > 0 && left > 0 ? 1U : 0U;
    out.one_side += right > 1 || left > 1 ? 1U : 0U;
    out.unknown_side += unknown > 0 ? 1U : 0U;
  }
  return out;
}

struct Counts {
  std::size_t undated = 0, too_late = 0, not_measured = 0, zones = 0;
  // Of Entry::kHides, each hip in one of these.
  std::size_t from_reference = 0, undated_reference = 0, late = 0;
  std::size_t before = 0;  ///< films that are not later than their reference film
};

Counts counts_of(const Cohort& cohort) {
  Counts out;
  for (const CohortHip& hip : cohort.hips) {
    const Entry entry = entry_of(hip);
    out.too_late += entry == Entry::kTooLate ? 1U : 0U;
    if (entry == Entry::kHides) {
      ++(hip.days_from_reference ? out.from_reference
         : start_day(hip)        ? out.late
                                 : out.undated_reference);
    }
    out.zones += hip.zones.size();
    for (const CohortComparison& c : hip.comparisons) {
      out.undated += c.days ? 0U : 1U;
      out.before += c.examination == 1 && !is_after_reference(hip, c) ? 1U : 0U;
      out.not_measured += c.measured ? 0U : 1U;
    }
  }
  return out;
}

std::string hips_text(std::size_t n) { return std::to_string(n) + (n == 1 ? " hip" : " hips"); }

/// What Entry::kHides bars a hip from.
const std::string kHidden =
    "They are left out of the means at visits and of the curves of judged films; in the other "
    "curves, and in the shares, each is beyond or cannot be told.";

/// Reference films that are late or of unknown day, and what they bar a hip from.
void caution_of_references(const Counts& counts, std::vector<std::string>& out) {
  if (counts.from_reference > 0) {
    out.push_back("Of " + hips_text(counts.from_reference) +
                  " the date of surgery is not known: their time counts from the reference film, "
                  "and how much settling came before it cannot be told. " +
                  kHidden + " They have no part in the mixed model.");
  }
  if (counts.undated_reference > 0) {
    out.push_back("The reference film of " + hips_text(counts.undated_reference) +
                  " has no date: early settling may be hidden there. " + kHidden +
                  " They have no part in the mixed model.");
  }
  if (counts.late > 0) {
    out.push_back("The reference film of " + hips_text(counts.late) +
                  " is later than two weeks after surgery: early settling is hidden there. " +
                  kHidden);
  }
  if (counts.too_late > 0) {
    out.push_back(
        "The reference film of " + hips_text(counts.too_late) +
        " is later than three months after surgery. They are left out of the means at "
        "visits and, beyond or not, wherever a criterion counts from the reference film; "
        "the rest speaks for hips with an early one. The mixed model takes them from that "
        "film on.");
  }
  add(out, counts.before, "follow-up film is", "follow-up films are",
      " not later than the reference film: such films take part in no mean, share, "
      "survival curve or model.");
}

/// Numbers of several programs or options are not of one kind.
void caution_of_making(const Cohort& cohort, std::vector<std::string>& out) {
  const std::size_t versions = cohort.tool_versions.size();
  const std::size_t options = cohort.option_sets.size();
  if (versions < 2 && options < 2) return;
  std::string text = "The hips were measured ";
  if (versions > 1) text += "by " + std::to_string(versions) + " versions of the program";
  if (versions > 1 && options > 1) text += " and ";
  if (options > 1) text += "with " + std::to_string(options) + " sets of options";
  out.push_back(text +
                ": what differs between hips or groups may come from that. Start tidemark batch on "
                "the same input again to measure all of them alike.");
}

/// Hips that are not independent of one another, or perhaps one and the same.
void caution_of_patients(const Cohort& cohort, std::vector<std::string>& out) {
  const Patients patients = patients_of(cohort);
  add(out, patients.both_sides, "patient has", "patients have",
      " both hips in the cohort. They are counted as independent, so the intervals are "
      "a little too narrow.");
  add(out, patients.one_side, "patient stands", "patients stand",
      " in the cohort with several hips of one side: two stems, one after the other, "
      "or one hip that the sheet lists twice. Each of its rows counts as a hip.");
  add(out, patients.unknown_side, "patient has", "patients have",
      " several hips in the cohort of which a side is not known: two hips, or one that "
      "the sheet lists twice. Each of its rows counts as a hip.");
  const auto shared = std::count_if(cohort.hips.begin(), cohort.hips.end(),
                                    [](const CohortHip& hip) { return hip.shares_films; });
  add(out, static_cast<std::size_t>(shared), "hip shares", "hips share",
      " a film, byte for byte, with another hip of the cohort: one hip may be counted "
      "as several (docs/cohort.md says how to find them).");
}

void caution_of_hips(const Cohort& cohort, std::vector<std::string>& out) {
  add(out, cohort.refused, "hip", "hips",
      " could not be measured at all and appear in nothing below. If they are not like "
      "the others, all shares are off.");
  add(out, cohort.failed, "hip", "hips",
      " ended in a fault of the program and appear in nothing below.");
  add(out, cohort.without_group, "measured hip has", "measured hips have",
      " no " + cohort.group_name + " and are left out.");
  add(out, cohort.lengths_in_pixels, "hip has", "hips have", " no scale: only the tilt counts.");
  const Counts counts = counts_of(cohort);
  add(out, counts.not_measured, "follow-up film", "follow-up films",
      " of measured hips could not be measured.");
  add(out, counts.undated, "comparison has", "comparisons have",
      " no date and take part in nothing over time.");
  caution_of_references(counts, out);
  caution_of_patients(cohort, out);
}

std::vector<std::string> cautions_of(const CohortStudy& study) {
  std::vector<std::string> out{
      "Decision support, not a diagnosis. These are figures of a group; they say nothing certain "
      "of "
      "one patient.",
      "To pass a limit of migration calls for closer follow-up. It is no finding about fixation, "
      "and no end of the implant's life."};
  caution_of_making(study.cohort, out);
  caution_of_hips(study.cohort, out);
  if (study.cohort.groups.size() > 1) {
    out.emplace_back(
        "Groups are compared as they are. Nothing is adjusted for age, sex, bone, "
        "surgeon or length of follow-up.");
  }
  if (!study.survival.empty()) {
    out.emplace_back(
        "Time to a limit is known only to the visits: the true time lies between the "
        "last film within and the first beyond it. A curve says how many were beyond when a "
        "visit was over, and nothing of the time between two; a hip that missed visits counts "
        "late. Hips that are "
        "not seen any more are taken to do as the others. Where fewer than ten are at "
        "risk, a curve says little.");
  }
  if (study.cohort.criteria_sets.size() > 1) {
    out.emplace_back(
        "Hips were judged by several sets of criteria: a criterion that one set lacks "
        "counts its hips as not judged.");
  }
  const auto& hips = study.cohort.hips;
  if (std::any_of(hips.begin(), hips.end(), [](const auto& hip) { return !hip.marks.empty(); })) {
    out.emplace_back(
        "Marks of the review window were made with the program's answer in sight: their agreement "
        "is higher than that of a reader who does not know it.");
  }
  if (study.agreement && study.agreement->doubled > 0) {
    out.push_back(counted(study.agreement->doubled, "value or zone was", "values and zones were") +
                  " given twice by one reader for one film: the first counts.");
  }
  if (counts_of(study.cohort).zones > 0) {
    out.emplace_back(
        "Radiolucent lines by zone are not validated yet: they were mostly right on films of one "
        "simulator; on those of another many were left open, and lines were told where none is, "
        "above all on lateral films. An incidence of lines is therefore no evidence.");
  }
  return out;
}

}  // namespace

CohortStudy study(Cohort cohort, const std::vector<Reading>& readings, std::string tool_version) {
  CohortStudy out;
  out.cohort = std::move(cohort);
  out.tool_version = std::move(tool_version);
  out.course = course_of(out.cohort);
  for (const Quantity quantity : kQuantities) {
    out.models.emplace_back(quantity, model_of(out.cohort, quantity));
    out.precision.emplace_back(quantity, precision_study(out.cohort, quantity));
  }
  out.shares = criterion_shares(out.cohort);
  out.survival = criterion_survival(out.cohort);
  out.lucency = lucency_map(out.cohort);
  std::vector<Reading> all = readings;
  for (Reading& mark : marks_of(out.cohort)) all.push_back(std::move(mark));
  if (!all.empty()) out.agreement = reader_agreement(out.cohort, all);
  out.cautions = cautions_of(out);
  return out;
}

}  // namespace tidemark::registry
