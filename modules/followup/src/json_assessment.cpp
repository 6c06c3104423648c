#include "json_assessment.h"

#include <algorithm>

#include "tidemark/assessment/probability.h"
#include "tidemark/lucency/codes.h"

namespace tidemark::followup {
namespace {

using assessment::Assessment;
using assessment::Course;
using assessment::Criterion;
using assessment::Finding;

const Criterion* criterion_of(const Assessment& assessment, const Finding& finding) {
  const auto& all = assessment.criteria.criteria;
  const auto found = std::find_if(
      all.begin(), all.end(), [&](const Criterion& one) { return one.id == finding.criterion; });
  return found == all.end() ? nullptr : &*found;
}

double probability(double value) { return rounded(assessment::told_probability(value)); }

Json finding_json(const Assessment& assessment, const Finding& finding) {
  Json out{{"criterion", finding.criterion},
           {"comparison", finding.comparison},
           {"quantity", code_of(finding.quantity)},
           {"unit", unit_of(finding.quantity)}};
  if (finding.point != assessment::Point::kReference) out["at"] = code_of(finding.point);
  if (finding.measured) out["measured"] = measured_json(*finding.measured);
  if (finding.threshold) out["threshold"] = rounded(*finding.threshold);
  if (finding.typical) out["typical"] = rounded(*finding.typical);
  if (finding.days) out["days"] = *finding.days;
  out["verdict"] = code_of(finding.verdict);
  out["because"] = code_of(finding.because);
  if (finding.probability_exceeds) {
    out["probability_exceeds"] = probability(*finding.probability_exceeds);
  }
  if (const Criterion* criterion = criterion_of(assessment, finding)) {
    out["citation"] = criterion->citation;
    if (criterion->doi) out["doi"] = *criterion->doi;
    out["certainty"] = code_of(criterion->certainty);
  }
  out["text"] = finding.text;
  if (!finding.doubts.empty()) out["doubts"] = finding.doubts;
  return out;
}

Json late_change_json(const assessment::LateChange& late) {
  Json out;
  if (late.from) out["from"] = *late.from;
  out["to"] = late.to;
  out["days"] = late.days;
  out["change_mm"] = measured_json(late.change);
  if (late.starts_late) out["starts_late"] = true;
  return out;
}

Json course_json(const Course& course) {
  Json out{{"text", course.text},
           {"days_from", course.from_surgery ? "surgery" : "reference_film"}};
  if (course.probabilities) {
    for (std::size_t i = 0; i < course.probabilities->size(); ++i) {
      out["probabilities"][code_of(static_cast<assessment::Pattern>(i))] =
          probability(course.probabilities->at(i));
    }
  }
  if (!course.points.empty()) {
    out["reference_film_u_mm"] = rounded(course.reference_share.value);
  }
  if (course.late_change) {
    out["late_change"] = late_change_json(*course.late_change);
  }
  if (course.late_rate) {
    out["late_rate"] = {{"films", course.late_rate->films},
                        {"days", course.late_rate->days},
                        {"rate_mm_per_year", measured_json(course.late_rate->rate)},
                        {"chi2", rounded(course.late_rate->chi2)},
                        {"degrees_of_freedom", course.late_rate->degrees_of_freedom}};
  }
  for (const assessment::CourseBand& at : course.fitted) {
    out["curve"].push_back(
        Json::array({at.days, rounded(at.low.value, 100.0), rounded(at.median.value, 100.0),
                     rounded(at.high.value, 100.0)}));
  }
  return out;
}

template <class Cited>
void add_source(Json& out, const Cited& one) {
  out["citation"] = one.citation;
  if (one.doi) out["doi"] = *one.doi;
  out["certainty"] = code_of(one.certainty);
}

Json sign_json(const assessment::SignFinding& sign) {
  Json out{{"id", sign.id},
           {"title", sign.title},
           {"part", sign.part},
           {"answer", code_of(sign.answer)},
           {"basis", code_of(sign.basis)}};
  if (sign.points) out["points"] = rounded(*sign.points);
  out["text"] = sign.text;
  add_source(out, sign);
  return out;
}

Json explanation_json(const assessment::Explanation& one) {
  Json out{{"id", one.id},
           {"title", one.title},
           {"answer", code_of(one.answer)},
           {"basis", code_of(one.basis)},
           {"clauses", Json::array()}};
  for (const assessment::ClauseFinding& clause : one.clauses) {
    out["clauses"].push_back({{"text", clause.text}, {"answer", code_of(clause.answer)}});
  }
  out["next"] = one.next;
  add_source(out, one);
  return out;
}

Json sign_report_json(const assessment::SignReport& report) {
  Json out{{"comparison", report.comparison}, {"signs", Json::array()}};
  for (const auto& sign : report.signs) out["signs"].push_back(sign_json(sign));
  if (report.score) {
    const assessment::SignSum& sum = *report.score;
    Json score;
    if (sum.total) score["total"] = rounded(*sum.total);
    score["low"] = rounded(sum.low);
    score["high"] = rounded(sum.high);
    score["told"] = sum.told;
    score["signs"] = sum.signs;
    score["text"] = sum.text;
    out["score"] = std::move(score);
  }
  out["explanations"] = Json::array();
  for (const auto& one : report.explanations) out["explanations"].push_back(explanation_json(one));
  if (!report.doubts.empty()) out["doubts"] = report.doubts;
  return out;
}

Json signs_json(const assessment::SignAssessment& signs) {
  if (signs.table.empty()) return {{"reason", signs.reason}};
  Json out{{"table", signs.table}, {"title", signs.title}, {"sha256", signs.sha256}};
  if (!signs.note.empty()) out["note"] = signs.note;
  out["switches"] = Json::array();
  for (const assessment::SwitchSetting& one : signs.switches) {
    out["switches"].push_back(
        {{"id", one.id}, {"chosen", one.chosen}, {"text", one.text}, {"others", one.others}});
  }
  out["reports"] = Json::array();
  for (const auto& report : signs.reports) out["reports"].push_back(sign_report_json(report));
  return out;
}

std::string joined(const std::vector<std::string>& sentences) {
  std::string out;
  for (const std::string& one : sentences) out += (out.empty() ? "" : " ") + one;
  return out;
}

}  // namespace

Json assessment_json(const Assessment& assessment) {
  const auto& criteria = assessment.criteria;
  Json out{{"criteria_set", criteria.id},
           {"criteria_title", criteria.title},
           {"criteria_sha256", criteria.sha256}};
  Json headline{{"verdict", code_of(assessment.headline.verdict)}};
  if (assessment.headline.comparison) headline["comparison"] = *assessment.headline.comparison;
  if (!assessment.headline.unmeasured_since.empty()) {
    headline["unmeasured_since"] = assessment.headline.unmeasured_since;
  }
  headline["sentence"] = assessment.headline.sentence;
  headline["doubt"] = assessment.headline.doubt;
  out["headline"] = std::move(headline);
  out["findings"] = Json::array();
  for (const Finding& finding : assessment.findings) {
    out["findings"].push_back(finding_json(assessment, finding));
  }
  out["pattern"] = code_of(assessment.course.pattern);
  out["course"] = course_json(assessment.course);
  out["signs"] = signs_json(assessment.signs);
  out["caution"] = joined(assessment.cautions);
  return out;
}

}  // namespace tidemark::followup
