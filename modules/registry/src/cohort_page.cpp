#include <algorithm>
#include <cmath>

#include "figures.h"
#include "page_style.h"
#include "tidemark/core/number_text.h"

namespace tidemark::registry {
namespace {

using Texts = std::vector<std::string>;

/// A table of texts; the first `left` columns are words.
std::string html_table(const std::string& caption, const Texts& head,
                       const std::vector<Texts>& rows, std::size_t left) {
  if (rows.empty()) return "";
  const auto line = [left](const Texts& cells, const std::string& tag) {
    std::string out = "<tr>";
    for (std::size_t i = 0; i < cells.size(); ++i) {
      out.append("<").append(tag).append(i < left ? " class=\"left\">" : ">");
      out.append(escaped_markup(cells[i])).append("</").append(tag).append(">");
    }
    return out + "</tr>\n";
  };
  std::string out = "<div class=\"scroll\"><table><caption>" + escaped_markup(caption) +
                    "</caption><thead>" + line(head, "th") + "</thead><tbody>\n";
  for (const Texts& row : rows) out += line(row, "td");
  return out + "</tbody></table></div>\n";
}

std::string between(const Interval& interval, int decimals) {
  return fixed_text(interval.low, decimals) + " to " + fixed_text(interval.high, decimals);
}

std::string maybe(const std::optional<Interval>& interval, int decimals) {
  return interval ? between(*interval, decimals) : "–";
}

std::string p_text(double p) { return p < 0.001 ? "< 0.001" : fixed_text(p, 3); }

std::string figures_named(const std::vector<Figure>& figures, const std::string& prefix) {
  std::string out;
  for (const Figure& figure : figures) {
    if (!figure.name.starts_with(prefix)) continue;
    // One document holds many pictures: each needs a pattern of its own name.
    std::string svg = figure.svg;
    for (const std::string mark : {"id=\"hatch", "url(#hatch"}) {
      for (std::size_t at = svg.find(mark); at != std::string::npos; at = svg.find(mark, at + 1)) {
        svg.insert(at + mark.size(), "-" + figure.name);
      }
    }
    out += "<figure>" + svg + "<figcaption><b>" + escaped_markup(figure.title) + ".</b> " +
           escaped_markup(figure.caption) + "</figcaption></figure>\n";
  }
  return out;
}

std::string head_of(const CohortStudy& study) {
  std::size_t measured = 0;
  for (const CohortHip& hip : study.cohort.hips) {
    for (const CohortComparison& c : hip.comparisons) measured += c.measured ? 1U : 0U;
  }
  std::string out = "<h1>What the films of " + std::to_string(study.cohort.hips.size()) +
                    (study.cohort.hips.size() == 1 ? " hip show" : " hips show") +
                    "</h1>\n<p class=\"about\">" + std::to_string(measured) +
                    " measured follow-up films; ";
  out += study.cohort.group_name.empty() ? "not grouped"
                                         : "grouped by " + escaped_markup(study.cohort.group_name);
  out += "; distal, medial and varus are positive; intervals are 95 %. Tidemark " +
         escaped_markup(study.tool_version) + ".</p>\n";
  out += "<section class=\"first\"><h2>Read first</h2><ul>\n";
  for (const std::string& caution : study.cautions) {
    out += "<li>" + escaped_markup(caution) + "</li>\n";
  }
  return out + "</ul></section>\n";
}

std::string visits_table(const CohortStudy& study, Quantity quantity) {
  std::vector<Texts> rows;
  for (const CourseAtVisit& row : study.course) {
    if (row.quantity != quantity) continue;
    Texts cells{group_label(row.group),
                visits()[row.visit].name,
                std::to_string(row.location ? row.location->n : 0),
                std::to_string(row.not_measured + row.without_scale),
                std::to_string(row.late_reference),
                std::to_string(row.hidden_settling)};
    if (row.location) {
      const Location& l = *row.location;
      cells.insert(cells.end(), {signed_text(l.mean, 2), maybe(l.mean_interval, 2),
                                 l.sd ? fixed_text(*l.sd, 2) : "–", signed_text(l.median, 2),
                                 maybe(l.median_interval, 2), fixed_text(row.mean_u, 2)});
    } else {
      cells.resize(cells.size() + 6, "–");
    }
    rows.push_back(std::move(cells));
  }
  std::string caption = quantity_label(quantity);
  caption.front() = static_cast<char>(std::toupper(static_cast<unsigned char>(caption.front())));
  return html_table(caption + ", at the usual visits",
                    {"group", "visit", "hips", "no value", "late reference", "settling hidden",
                     "mean", "95 %", "SD", "median", "95 %", "u of a film"},
                    rows, 2);
}

std::string estimate_text(const std::optional<ModelEstimate>& e) {
  return e ? signed_text(e->value, 2) + " (" + between(e->interval, 2) + ")" : "not told";
}

std::string model_part(const CohortStudy& study) {
  std::string out;
  for (const auto& [quantity, model] : study.models) {
    const std::string word = quantity_word(quantity);
    if (!model) {
      out += "<p class=\"open\">No model of " + word + ": " + escaped_markup(model.error().wrong) +
             ".</p>\n";
      continue;
    }
    std::vector<Texts> rows;
    for (const GroupModel& g : model->groups) {
      rows.push_back({group_label(g.group), std::to_string(g.hips), estimate_text(g.settling),
                      estimate_text(g.later_rate)});
    }
    for (const GroupModel& g : model->groups) {
      if (&g == &model->groups.front()) continue;
      rows.push_back({group_label(g.group) + " less " + group_label(model->groups.front().group),
                      "", estimate_text(g.settling_difference),
                      estimate_text(g.later_rate_difference)});
    }
    rows.push_back({"SD between hips", std::to_string(model->hips),
                    fixed_text(model->settling_sd, 2),
                    model->later_rate_sd ? fixed_text(*model->later_rate_sd, 2) : "not told"});
    rows.push_back({"residual SD beyond u", "", fixed_text(model->residual_sd, 2), ""});
    const std::string unit = unit_of(quantity);
    out += html_table("Mixed model of " + word,
                      {"", "hips", "settling, " + unit, "later rate, " + unit + "/year"}, rows, 1);
  }
  return out;
}

std::string migration_section(const CohortStudy& study, const std::vector<Figure>& figures) {
  std::string out = "<h2>Migration over time</h2>\n";
  if (study.course.empty()) {
    return out + "<p class=\"open\">No dated comparison was measured.</p>\n";
  }
  out += figures_named(figures, "course-");
  out +=
      "<p>The model: settling that is reached with a time constant of 30 days, and a steady rate "
      "from three months on; both vary from hip to hip. The uncertainty of each film is known to "
      "the model, so that the spread between hips is free of it.</p>\n";
  out += model_part(study);
  for (const Quantity quantity : kQuantities) out += visits_table(study, quantity);
  return out;
}

std::string criteria_section(const CohortStudy& study, const std::vector<Figure>& figures) {
  std::string out = "<h2>Beyond published criteria</h2>\n";
  std::vector<Texts> rows;
  for (const CriterionShare& s : study.shares) {
    if (s.visit || !s.least) continue;
    rows.push_back({s.criterion, group_label(s.group), std::to_string(s.exceeds),
                    std::to_string(s.cannot_tell), std::to_string(s.within),
                    std::to_string(s.late_reference), std::to_string(s.not_judged),
                    share_text(s.least->share) + " to " + share_text(s.most->share),
                    share_text(s.least->interval.low) + " to " + share_text(s.most->interval.high),
                    s.expected ? share_text(*s.expected) : "–"});
  }
  if (rows.empty()) return out + "<p class=\"open\">No criterion applies to these hips.</p>\n";
  out +=
      "<p>A hip of which the films cannot tell is counted neither as within nor as beyond: the "
      "share of hips beyond is a range.</p>\n" +
      figures_named(figures, "criteria");
  return out +
         html_table("Hips beyond each criterion, whole follow-up",
                    {"criterion", "group", "beyond", "cannot tell", "within", "late reference",
                     "not judged", "share beyond", "95 % ends", "mean probability"},
                    rows, 2);
}

/// Where a curve ends, and its interval there.
Texts last_value(const SurvivalCurve& curve) {
  if (curve.steps.empty()) return {"–", "–"};
  const SurvivalStep& end = curve.steps.back();
  const std::optional<Interval>& told = end.log_log ? end.log_log : end.exact;
  return {share_text(end.survival) + " at " + fixed_text(end.time, 1) + " y",
          told ? share_text(told->low) + " to " + share_text(told->high) : "–"};
}

std::string survival_section(const CohortStudy& study, const std::vector<Figure>& figures) {
  std::string out = "<h2>Time to first beyond a criterion</h2>\n";
  std::vector<Texts> rows;
  for (const CriterionSurvival& s : study.survival) {
    if (s.counting != Counting::kJudged) continue;
    for (std::size_t g = 0; g < s.groups.size(); ++g) {
      const SurvivalCurve& c = s.curves[g];
      Texts cells{s.criterion,
                  group_label(s.groups[g]),
                  std::to_string(c.hips),
                  std::to_string(s.late_reference[g]),
                  std::to_string(s.left_out[g]),
                  std::to_string(c.events)};
      for (std::string& text : last_value(c)) cells.push_back(std::move(text));
      cells.push_back(s.log_rank ? p_text(s.log_rank->p) : "–");
      rows.push_back(std::move(cells));
    }
  }
  if (rows.empty()) return out + "<p class=\"open\">No hip was judged either way.</p>\n";
  out += figures_named(figures, "survival-");
  return out + html_table("Hips not seen beyond",
                          {"criterion", "group", "hips", "late reference", "left out", "events",
                           "last value", "95 %", "log-rank p"},
                          rows, 2);
}

std::string lucency_section(const CohortStudy& study, const std::vector<Figure>& figures) {
  if (study.lucency.empty()) return "";
  return "<h2>Radiolucent lines by zone</h2>\n" + figures_named(figures, "lucency-");
}

std::string precision_section(const CohortStudy& study, const std::vector<Figure>& figures) {
  std::vector<Texts> rows;
  std::string open;
  for (const auto& [quantity, p] : study.precision) {
    if (!p) {
      open = p.error().wrong;
      continue;
    }
    rows.push_back(
        {quantity_word(quantity) + ", " + unit_of(quantity), std::to_string(p->hips),
         std::to_string(p->pairs.size()), signed_text(p->about_zero.mean_difference, 2),
         fixed_text(p->repeatability.sd, 2) + " (" + between(p->repeatability.sd_interval, 2) + ")",
         fixed_text(p->about_zero.precision95, 2),
         signed_text(p->limits.low, 2) + " to " + signed_text(p->limits.high, 2),
         fixed_text(p->repeatability.smallest_detectable_change, 2),
         p->observed_over_promised ? fixed_text(*p->observed_over_promised, 2) + " (" +
                                         maybe(p->observed_over_promised_interval, 2) + ")"
                                   : "–"});
  }
  std::string out = "<h2>Precision from double examinations</h2>\n";
  if (rows.empty()) return out + "<p class=\"open\">None: " + escaped_markup(open) + ".</p>\n";
  out +=
      "<p>Two films of one hip and day: nothing moved, so the difference is error. This is "
      "repeatability within a visit, the best case; films taken years apart in other rooms differ "
      "by more.</p>\n" +
      figures_named(figures, "precision-");
  return out +
         html_table("Two films of one visit",
                    {"", "hips", "pairs", "mean", "s_r (95 %)", "precision 95 %",
                     "limits of agreement", "smallest detectable change", "scatter / promised u"},
                    rows, 1);
}

std::string agreement_tables(const ReaderAgreement& agreement) {
  std::vector<Texts> rows;
  const auto icc_text = [](const Icc& icc) {
    return fixed_text(icc.value, 2) + " (" + between(icc.interval, 2) + ")";
  };
  for (const QuantityAgreement& q : agreement.quantities) {
    rows.push_back({q.reader.empty() ? "other reader" : q.reader,
                    quantity_word(q.quantity) + ", " + unit_of(q.quantity),
                    std::to_string(q.limits.differences), std::to_string(q.limits.hips),
                    signed_text(q.limits.mean, 2) + " (" + between(q.limits.mean_interval, 2) + ")",
                    signed_text(q.limits.low, 2) + " to " + signed_text(q.limits.high, 2),
                    q.icc ? icc_text(q.icc->absolute_single) : q.icc_reason,
                    q.icc ? icc_text(q.icc->consistency_single) : ""});
  }
  std::string out =
      html_table("Program less reader",
                 {"reader", "quantity", "films", "hips", "mean (95 %)", "limits of agreement",
                  "ICC(2,1), absolute", "ICC(3,1), consistency"},
                 rows, 2);
  rows.clear();
  for (const ZoneAgreement& z : agreement.zones) {
    const auto kappa_text = [](const std::optional<ClusteredKappa>& k) {
      if (!k) return std::string("–");
      return fixed_text(k->value, 2) + " (" +
             (k->interval ? between(*k->interval, 2) : "no interval: " + k->reason) + ")";
    };
    rows.push_back({z.reader.empty() ? "other reader" : z.reader, std::to_string(z.hips_looked),
                    std::to_string(z.both_judged), kappa_text(z.judged),
                    std::to_string(z.both_looked), kappa_text(z.weighted)});
  }
  return out + html_table("Radiolucent lines by zone",
                          {"reader", "hips", "zones judged by both", "kappa",
                           "zones looked at by both", "weighted kappa, cannot tell between"},
                          rows, 1);
}

std::string agreement_section(const CohortStudy& study, const std::vector<Figure>& figures) {
  if (!study.agreement) return "";
  std::string out = "<h2>Agreement with another reader</h2>\n<p>" +
                    std::to_string(study.agreement->readings) + " readings; " +
                    std::to_string(study.agreement->without_film) +
                    " of them are of films that are not among the measured hips.</p>\n";
  return out + figures_named(figures, "agreement-") + agreement_tables(*study.agreement);
}

}  // namespace

std::string page_of(const CohortStudy& study, const std::vector<Figure>& figures) {
  return std::string(
             "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta "
             "name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>Tidemark: "
             "cohort</title>\n<style>\n") +
         page_style() + "</style>\n</head>\n<body>\n" + head_of(study) +
         migration_section(study, figures) + criteria_section(study, figures) +
         survival_section(study, figures) + lucency_section(study, figures) +
         precision_section(study, figures) + agreement_section(study, figures) +
         "</body>\n</html>\n";
}

}  // namespace tidemark::registry
