#include <cmath>
#include <set>

#include "tidemark/registry/cohort_study.h"

namespace tidemark::registry {
namespace {

using Row = std::vector<Cell>;

/// One row under construction: cells in the order of the columns.
class Cells {
 public:
  Cells& text(const std::string& value) {
    row_.emplace_back(value.empty() ? Cell{} : Cell{value});
    return *this;
  }
  Cells& number(double value) {
    row_.emplace_back(std::isfinite(value) ? Cell{value} : Cell{});
    return *this;
  }
  Cells& number(const std::optional<double>& value) {
    if (value) return number(*value);
    return absent(1);
  }
  Cells& count(std::size_t value) {
    row_.emplace_back(static_cast<std::int64_t>(value));
    return *this;
  }
  Cells& whole(const std::optional<int>& value) {
    row_.emplace_back(value ? Cell{std::int64_t{*value}} : Cell{});
    return *this;
  }
  Cells& ends(const std::optional<Interval>& interval) {
    if (!interval) return absent(2);
    return number(interval->low).number(interval->high);
  }
  Cells& absent(std::size_t cells) {
    row_.insert(row_.end(), cells, Cell{});
    return *this;
  }
  [[nodiscard]] Row done() { return std::move(row_); }

 private:
  Row row_;
};

constexpr const char* kUnit = "unit of the quantity";

Row group_row(const Cohort& cohort, const std::string& group) {
  std::size_t hips = 0, comparisons = 0, measured = 0, dated = 0, doubles = 0, without_scale = 0;
  std::vector<double> last;
  for (const CohortHip& hip : cohort.hips) {
    if (hip.group != group) continue;
    ++hips;
    without_scale += hip.has_scale ? 0U : 1U;
    std::optional<int> day;
    for (const CohortComparison& c : hip.comparisons) {
      ++comparisons;
      measured += c.measured ? 1U : 0U;
      dated += c.measured && c.days ? 1U : 0U;
      doubles += c.examination > 1 ? 1U : 0U;
      if (c.measured && c.days) day = std::max(day.value_or(*c.days), *c.days);
    }
    if (day) last.push_back(*day);
  }
  const auto location = location_of(last);
  const auto found = cohort.left_out.find(group);
  const LeftOut left_out = found == cohort.left_out.end() ? LeftOut{} : found->second;
  Cells cells;
  cells.text(group).count(hips).count(comparisons).count(measured).count(dated).count(doubles);
  cells.number(location ? std::optional(location->median) : std::nullopt);
  return cells.count(left_out.refused).count(left_out.failed).count(without_scale).done();
}

StudyTable hips_table(const CohortStudy& study) {
  StudyTable out{"groups",
                 "The hips that everything else is made from.",
                 {{"group", "", "value of the group; empty when hips are not grouped"},
                  {"hips", "", "measured, at least in part"},
                  {"comparisons", "", "follow-up films against their reference film"},
                  {"measured", "", "of these"},
                  {"dated", "", "of the measured ones, with a known day"},
                  {"double_examinations", "", "further films of the same visit"},
                  {"last_day_median", "d", "median over hips of the last measured film's day"},
                  {"refused", "",
                   "further hips of the group, of which nothing could be measured; those without a "
                   "group are in cohort.json only"},
                  {"failed", "", "further hips of the group whose worker crashed or hung"},
                  {"without_scale", "", "of `hips`, with lengths in pixels: only the tilt counts"}},
                 {}};
  std::set<std::string> groups(study.cohort.groups.begin(), study.cohort.groups.end());
  for (const auto& [group, counts] : study.cohort.left_out) groups.insert(group);
  for (const std::string& group : groups) out.rows.push_back(group_row(study.cohort, group));
  return out;
}

StudyTable curves_table(const CohortStudy& study) {
  StudyTable out{"curves",
                 "Individual courses: one row a measured follow-up film (first examination).",
                 {{"hip", "", "name of the hip in the database"},
                  {"group", "", "its group"},
                  {"days", "d", "since surgery, else since the reference film"},
                  {"days_from", "", "surgery or reference_film"}},
                 {}};
  for (const Quantity quantity : kQuantities) {
    const std::string unit = unit_of(quantity);
    const std::string name = name_of(quantity);
    const std::string stem = name.substr(0, name.rfind('_'));
    out.columns.push_back({name, unit, "against the reference film"});
    out.columns.push_back(
        {std::string(stem).append("_u_").append(unit), unit, "standard uncertainty"});
    out.columns.push_back(
        {std::string(stem).append("_u95_").append(unit), unit, "half-width of the 95 % interval"});
  }
  for (const CohortHip& hip : study.cohort.hips) {
    for (const CohortComparison& c : hip.comparisons) {
      if (!c.measured || c.examination != 1) continue;
      Cells cells;
      cells.text(hip.hip).text(hip.group).whole(c.days);
      cells.text(hip.days_from_reference ? "reference_film" : "surgery");
      for (const Quantity quantity : kQuantities) {
        const auto& value = value_of(c, quantity);
        if (!value) {
          cells.absent(3);
          continue;
        }
        cells.number(value->value).number(value->u).number(value->u95);
      }
      out.rows.push_back(cells.done());
    }
  }
  return out;
}

StudyTable visits_table(const CohortStudy& study) {
  StudyTable out{
      "migration_by_visit",
      "Migration at the usual visits, one film a hip: the one nearest to the milestone.",
      {{"group", "", "group"},
       {"visit", "", "milestone"},
       {"visit_days", "d", "its day; films half-way to the next milestones belong to it"},
       {"quantity", "", "subsidence_mm, medial_mm or tilt_change_deg"},
       {"n", "", "hips with a value; 0: no film of this visit gave one"},
       {"not_measured", "", "further hips with a film at this visit that could not be measured"},
       {"without_scale", "",
        "further hips whose film was measured, but without a scale: no length"},
       {"late_reference", "",
        "hips with a film at this visit, left out: their reference film is later than three months "
        "after surgery"},
       {"hidden_settling", "",
        "hips with a film at this visit, left out: their reference film is later than two weeks "
        "after surgery, or how much later than surgery it is is not known"},
       {"mean", kUnit, ""},
       {"mean_low", kUnit, "95 % interval, Student's t"},
       {"mean_high", kUnit, ""},
       {"sd", kUnit, "between hips; holds the error of measurement"},
       {"median", kUnit, ""},
       {"median_low", kUnit, "95 % interval, order statistics"},
       {"median_high", kUnit, ""},
       {"lower_quartile", kUnit, ""},
       {"upper_quartile", kUnit, ""},
       {"u", kUnit, "root mean square of the films' standard uncertainties"}},
      {}};
  for (const CourseAtVisit& row : study.course) {
    const Visit& visit = visits()[row.visit];
    Cells cells;
    cells.text(row.group).text(visit.name).whole(visit.days).text(name_of(row.quantity));
    cells.count(row.location ? row.location->n : 0);
    cells.count(row.not_measured).count(row.without_scale).count(row.late_reference);
    cells.count(row.hidden_settling);
    if (!row.location) {
      out.rows.push_back(cells.absent(10).done());
      continue;
    }
    const Location& l = *row.location;
    cells.number(l.mean).ends(l.mean_interval).number(l.sd);
    cells.number(l.median).ends(l.median_interval);
    cells.number(l.lower_quartile).number(l.upper_quartile).number(row.mean_u);
    out.rows.push_back(cells.done());
  }
  return out;
}

/// Why a term of the model has no value.
constexpr const char* kUntold = "the films do not tell it";

void estimate_row(StudyTable& out, const std::string& quantity, const std::string& group,
                  const std::string& term, std::size_t hips,
                  const std::optional<ModelEstimate>& e) {
  Cells cells;
  cells.text(quantity).text(group).text(term).count(hips);
  if (e) {
    cells.number(e->value).number(e->standard_error).ends(e->interval).absent(1);
  } else {
    cells.absent(4).text(kUntold);
  }
  out.rows.push_back(cells.done());
}

StudyTable model_table(const CohortStudy& study) {
  StudyTable out{
      "migration_model",
      "Linear mixed model by REML: settling in the first weeks, a rate from three months "
      "on, both varying between hips; the measurement's own uncertainty is known.",
      {{"quantity", "", "subsidence_mm, medial_mm or tilt_change_deg"},
       {"group", "", "group; empty for what is common to all"},
       {"term", "",
        "settling, later_rate (per year), their differences from the first "
        "group; settling_sd, later_rate_sd, correlation between hips; "
        "residual_sd; restricted_log_likelihood"},
       {"hips", "",
        "that the term rests on; of a later rate those with films from three months on"},
       {"value", "unit of the quantity, or that per year", ""},
       {"standard_error", "as value", ""},
       {"low", "as value", "95 % interval"},
       {"high", "as value", ""},
       {"reason", "", "why there is no value"}},
      {}};
  for (const auto& [quantity, model] : study.models) {
    const std::string name = name_of(quantity);
    if (!model) {
      out.rows.push_back(
          Cells().text(name).absent(1).text("model").absent(5).text(model.error().wrong).done());
      continue;
    }
    for (const GroupModel& g : model->groups) {
      estimate_row(out, name, g.group, "settling", g.hips, g.settling);
      estimate_row(out, name, g.group, "later_rate", g.late_hips, g.later_rate);
      if (&g == &model->groups.front()) continue;
      estimate_row(out, name, g.group, "settling_difference", g.hips, g.settling_difference);
      estimate_row(out, name, g.group, "later_rate_difference", g.late_hips,
                   g.later_rate_difference);
    }
    const std::size_t hips = model->hips;  // clang 14 lets no lambda capture a structured binding
    const auto common = [&](const std::string& term, std::optional<double> value) {
      Cells cells;
      cells.text(name).absent(1).text(term).count(hips).number(value).absent(3);
      if (value) {
        cells.absent(1);
      } else {
        cells.text(kUntold);
      }
      out.rows.push_back(cells.done());
    };
    common("settling_sd", model->settling_sd);
    common("later_rate_sd", model->later_rate_sd);
    common("correlation", model->correlation);
    common("residual_sd", model->residual_sd);
    common("restricted_log_likelihood", model->restricted_log_likelihood);
  }
  return out;
}

StudyTable model_curve_table(const CohortStudy& study) {
  StudyTable out{"migration_model_curve",
                 "Mean course of each group by the model.",
                 {{"quantity", "", "subsidence_mm, medial_mm or tilt_change_deg"},
                  {"group", "", "group"},
                  {"days", "d", "since surgery"},
                  {"mean", kUnit, ""},
                  {"low", kUnit, "95 % interval of the mean"},
                  {"high", kUnit, ""}},
                 {}};
  for (const auto& [quantity, model] : study.models) {
    if (!model) continue;
    for (const GroupModel& g : model->groups) {
      for (const auto& [days, estimate] : g.curve) {
        out.rows.push_back(Cells()
                               .text(name_of(quantity))
                               .text(g.group)
                               .number(days)
                               .number(estimate.value)
                               .ends(estimate.interval)
                               .done());
      }
    }
  }
  return out;
}

StudyTable shares_table(const CohortStudy& study) {
  StudyTable out{
      "criteria",
      "Hips beyond each criterion. Where films cannot tell, the share is a range.",
      {{"criterion", "", "id (tidemark criteria)"},
       {"group", "", "group"},
       {"visit", "", "milestone; whole_follow_up: ever"},
       {"exceeds", "", "hips"},
       {"within", "", "hips"},
       {"cannot_tell", "", "hips"},
       {"late_reference", "",
        "hips left out, beyond or not: their reference film is later than three months "
        "after surgery and hides what came before"},
       {"not_judged", "",
        "other hips that it does not apply to, or without a judged film; at a visit only "
        "hips that have a film there"},
       {"least", "", "share beyond if every open hip were within"},
       {"most", "", "share beyond if every open hip were beyond"},
       {"low", "", "lower end of the exact 95 % interval of `least`"},
       {"high", "", "upper end of the exact 95 % interval of `most`"},
       {"expected", "", "mean probability of lying beyond"}},
      {}};
  for (const CriterionShare& s : study.shares) {
    Cells cells;
    cells.text(s.criterion).text(s.group);
    cells.text(s.visit ? visits()[*s.visit].name : "whole_follow_up");
    cells.count(s.exceeds).count(s.within).count(s.cannot_tell);
    cells.count(s.late_reference).count(s.not_judged);
    if (s.least && s.most) {
      cells.number(s.least->share).number(s.most->share);
      cells.number(s.least->interval.low).number(s.most->interval.high);
    } else {
      cells.absent(4);
    }
    out.rows.push_back(cells.number(s.expected).done());
  }
  return out;
}

StudyTable survival_table(const CohortStudy& study) {
  StudyTable out{
      "survival",
      "Kaplan-Meier: share of hips not yet seen beyond the criterion.",
      {{"criterion", "", "id"},
       {"counting", "", "judged_only; cannot_tell_as_within; cannot_tell_as_beyond"},
       {"group", "", "group"},
       {"years", "a", "milestone of the visit, since surgery, else since the reference film"},
       {"at_risk", "", "hips just before"},
       {"events", "", "hips first seen beyond it"},
       {"censored", "", "hips followed no longer"},
       {"survival", "", "share"},
       {"standard_error", "", "Greenwood"},
       {"plain_low", "", "95 % interval, normal; empty without an event so far"},
       {"plain_high", "", ""},
       {"log_log_low", "", "95 % interval on the log-log scale"},
       {"log_log_high", "", ""},
       {"exact_low", "",
        "without an event so far: exact 95 % interval of none of the hips at risk"},
       {"exact_high", "", ""},
       {"cumulative_hazard", "", "Nelson-Aalen"}},
      {}};
  for (const CriterionSurvival& s : study.survival) {
    for (std::size_t g = 0; g < s.groups.size(); ++g) {
      for (const SurvivalStep& step : s.curves[g].steps) {
        out.rows.push_back(Cells()
                               .text(s.criterion)
                               .text(name_of(s.counting))
                               .text(s.groups[g])
                               .number(step.time)
                               .count(step.at_risk)
                               .count(step.events)
                               .count(step.censored)
                               .number(step.survival)
                               .number(step.standard_error)
                               .ends(step.plain)
                               .ends(step.log_log)
                               .ends(step.exact)
                               .number(step.cumulative_hazard)
                               .done());
      }
    }
  }
  return out;
}

StudyTable survival_summary_table(const CohortStudy& study) {
  StudyTable out{
      "survival_summary",
      "Hips, events and median of each curve, and the log-rank test between groups.",
      {{"criterion", "", "id"},
       {"counting", "", "as in survival"},
       {"group", "", "group"},
       {"hips", "", "in the curve"},
       {"late_reference", "",
        "hips left out, beyond or not, for their reference film: later than three months "
        "after surgery; in judged_only later than two weeks or without a date"},
       {"left_out", "", "other hips without a judgement that counts"},
       {"first_judged_years", "a",
        "visit of the first judgement that counts: until then nobody looked"},
       {"events", "", "hips first seen beyond"},
       {"expected_events", "", "if all groups had one hazard"},
       {"median_years", "a", "empty: the curve does not come down to one half"},
       {"median_low", "a", "95 % interval, log-log"},
       {"median_high", "a", ""},
       {"log_rank_chi_square", "", "of all groups"},
       {"log_rank_df", "", "degrees of freedom"},
       {"log_rank_p", "", ""},
       {"log_rank_reason", "", "why there is no test"}},
      {}};
  for (const CriterionSurvival& s : study.survival) {
    for (std::size_t g = 0; g < s.groups.size(); ++g) {
      const SurvivalCurve& curve = s.curves[g];
      Cells cells;
      cells.text(s.criterion).text(name_of(s.counting)).text(s.groups[g]);
      cells.count(curve.hips).count(s.late_reference[g]).count(s.left_out[g]);
      const auto& first = s.first_judged[g];
      cells.number(first ? std::optional(years_of_visit(*first)) : std::nullopt);
      cells.count(curve.events);
      cells.number(s.log_rank ? std::optional(s.log_rank->expected[g]) : std::nullopt);
      cells.number(curve.median).number(curve.median_low).number(curve.median_high);
      if (s.log_rank) {
        cells.number(s.log_rank->chi_square).whole(s.log_rank->degrees_of_freedom);
        cells.number(s.log_rank->p).absent(1);
      } else {
        cells.absent(3).text(s.log_rank.error().wrong);
      }
      out.rows.push_back(cells.done());
    }
  }
  return out;
}

StudyTable lucency_table(const CohortStudy& study) {
  StudyTable out{
      "lucency",
      "Radiolucent lines by zone and time. Open zones are neither with nor without.",
      {{"group", "", "group"},
       {"interface", "", "stem_bone, stem_cement or cement_bone"},
       {"zone", "", "1 to 7 on AP films, 8 to 14 on lateral ones"},
       {"visit", "", "milestone, or reference_film: of zones 8 to 14 the first lateral film"},
       {"present", "", "hips with a line"},
       {"absent", "", "hips without"},
       {"cannot_tell", "", "hips whose zone is seen but not clear"},
       {"not_seen", "", "hips whose zone is not seen"},
       {"share", "", "present of present and absent"},
       {"share_low", "", "exact 95 % interval"},
       {"share_high", "", ""},
       {"least", "", "share of all, if no open zone had a line"},
       {"most", "", "share of all, if every open zone had one"},
       {"newly", "",
        "hips with a line that had none on the reference film, and that the pair of films tells"},
       {"at_start", "",
        "hips judged now that had none on the reference film, and of which the pair tells what "
        "became of it"},
       {"not_compared", "",
        "hips judged now that had none on the reference film, of which the pair does not tell; "
        "all of zones 8 to 14, whose pairs are not stored"},
       {"incidence", "", "newly of at_start"},
       {"incidence_low", "", "exact 95 % interval"},
       {"incidence_high", "", ""}},
      {}};
  for (const ZoneIncidence& z : study.lucency) {
    Cells cells;
    cells.text(z.group).text(z.interface).whole(z.zone);
    cells.text(z.visit ? visits()[*z.visit].name : "reference_film");
    cells.count(z.present).count(z.absent).count(z.cannot_tell).count(z.not_seen);
    const auto share = [&](const std::optional<Share>& s) {
      if (s) {
        cells.number(s->share).ends(s->interval);
      } else {
        cells.absent(3);
      }
    };
    share(z.share);
    cells.number(z.least).number(z.most);
    if (z.visit) {
      cells.count(z.newly).count(z.at_start).count(z.not_compared);
    } else {
      cells.absent(3);
    }
    share(z.incidence);
    out.rows.push_back(cells.done());
  }
  return out;
}

StudyTable precision_table(const CohortStudy& study) {
  StudyTable out{
      "precision",
      "Double examinations: two films of one hip and day.",
      {{"quantity", "", "subsidence_mm, medial_mm or tilt_change_deg"},
       {"hips", "", "with a double examination"},
       {"pairs", "", "double examinations"},
       {"mean_difference", kUnit, "second less first"},
       {"mean_low", kUnit, "95 % interval"},
       {"mean_high", kUnit, ""},
       {"rms", kUnit, "scatter of the differences about zero"},
       {"rms_low", kUnit, "95 % interval, chi-square"},
       {"rms_high", kUnit, ""},
       {"precision95", kUnit, "t(0.975, pairs) rms"},
       {"limit_low", kUnit, "limits of agreement, mean -+ 1.96 sd"},
       {"limit_low_low", kUnit, "its 95 % interval"},
       {"limit_low_high", kUnit, ""},
       {"limit_high", kUnit, ""},
       {"limit_high_low", kUnit, "its 95 % interval"},
       {"limit_high_high", kUnit, ""},
       {"repeatability_sd", kUnit, "s_r of ISO 5725-2"},
       {"repeatability_sd_low", kUnit, "95 % interval, chi-square"},
       {"repeatability_sd_high", kUnit, ""},
       {"smallest_detectable_change", kUnit, "1.96 sqrt(2) s_r"},
       {"observed_over_promised", "", "scatter over that promised by u; 1 when u is right"},
       {"observed_over_promised_low", "", "95 % interval"},
       {"observed_over_promised_high", "", ""},
       {"reason", "", "why there are no values"}},
      {}};
  for (const auto& [quantity, p] : study.precision) {
    Cells cells;
    cells.text(name_of(quantity));
    if (!p) {
      out.rows.push_back(cells.absent(22).text(p.error().wrong).done());
      continue;
    }
    const DoubleExaminations& d = p->about_zero;
    cells.count(p->hips).count(d.pairs).number(d.mean_difference).ends(d.mean_interval);
    cells.number(d.rms).ends(d.rms_interval).number(d.precision95);
    cells.number(p->limits.low).ends(p->limits.low_interval);
    cells.number(p->limits.high).ends(p->limits.high_interval);
    cells.number(p->repeatability.sd).ends(p->repeatability.sd_interval);
    cells.number(p->repeatability.smallest_detectable_change);
    cells.number(p->observed_over_promised).ends(p->observed_over_promised_interval);
    out.rows.push_back(cells.absent(1).done());
  }
  return out;
}

StudyTable pairs_table(const CohortStudy& study) {
  StudyTable out{"precision_pairs",
                 "The double examinations one by one.",
                 {{"quantity", "", "subsidence_mm, medial_mm or tilt_change_deg"},
                  {"hip", "", "name of the hip in the database"},
                  {"days", "d", "of the visit"},
                  {"first", kUnit, "0 when it is the reference film itself"},
                  {"second", kUnit, ""},
                  {"difference", kUnit, "second less first"},
                  {"promised_u", kUnit, "standard uncertainty of the difference by the films' u"}},
                 {}};
  for (const auto& [quantity, p] : study.precision) {
    if (!p) continue;
    for (const ExaminationPair& pair : p->pairs) {
      out.rows.push_back(Cells()
                             .text(name_of(quantity))
                             .text(pair.hip)
                             .whole(pair.days)
                             .number(pair.first)
                             .number(pair.second)
                             .number(pair.difference)
                             .number(pair.promised_u)
                             .done());
    }
  }
  return out;
}

StudyTable agreement_table(const CohortStudy& study) {
  StudyTable out{"reader_agreement",
                 "The program against another reader of the same films.",
                 {{"reader", "", "as its sheet names it"},
                  {"quantity", "", "subsidence_mm, medial_mm or tilt_change_deg"},
                  {"films", "", "read by both"},
                  {"hips", "", "of these films"},
                  {"mean_difference", kUnit, "program less reader"},
                  {"mean_low", kUnit, "95 % interval"},
                  {"mean_high", kUnit, ""},
                  {"sd", kUnit, "of one difference, between and within hips"},
                  {"limit_low", kUnit, "limits of agreement, mean -+ 1.96 sd"},
                  {"limit_low_low", kUnit, "its 95 % interval"},
                  {"limit_low_high", kUnit, ""},
                  {"limit_high", kUnit, ""},
                  {"limit_high_low", kUnit, "its 95 % interval"},
                  {"limit_high_high", kUnit, ""}},
                 {}};
  for (const char* form : {"icc_1_1", "icc_2_1", "icc_3_1", "icc_1_k", "icc_2_k", "icc_3_k"}) {
    out.columns.push_back({form, "", "Shrout and Fleiss, last common film of each hip"});
    out.columns.push_back({std::string(form) + "_low", "", "95 % interval"});
    out.columns.push_back({std::string(form) + "_high", "", ""});
  }
  out.columns.push_back(
      {"measurement_sd", kUnit, "of one value of either reader: readers and residual"});
  out.columns.push_back({"icc_reason", "", "why there is no intraclass correlation"});
  if (!study.agreement) return out;
  for (const QuantityAgreement& q : study.agreement->quantities) {
    const LimitsOfAgreement& l = q.limits;
    Cells cells;
    cells.text(q.reader).text(name_of(q.quantity)).count(l.differences).count(l.hips);
    cells.number(l.mean).ends(l.mean_interval).number(l.sd);
    cells.number(l.low).ends(l.low_interval).number(l.high).ends(l.high_interval);
    if (q.icc) {
      for (const Icc& icc :
           {q.icc->one_way_single, q.icc->absolute_single, q.icc->consistency_single,
            q.icc->one_way_mean, q.icc->absolute_mean, q.icc->consistency_mean}) {
        cells.number(icc.value).ends(icc.interval);
      }
      cells.number(q.icc->measurement_sd).absent(1);
    } else {
      cells.absent(19).text(q.icc_reason);
    }
    out.rows.push_back(cells.done());
  }
  return out;
}

StudyTable kappa_table(const CohortStudy& study) {
  StudyTable out{"reader_kappa",
                 "The program against another reader: radiolucent lines by zone.",
                 {{"reader", "", "as its sheet names it"},
                  {"table", "",
                   "judged: present or absent by both; ordered: absent, cannot_tell, "
                   "present with linear weights"},
                  {"zones", "", "of films, that both looked at"},
                  {"hips", "", "of these zones"},
                  {"patients", "", "of these hips; a hip whose patient is not known counts as one"},
                  {"agree", "", "share, weighted"},
                  {"by_chance", "", "share expected by chance"},
                  {"kappa", "", ""},
                  {"low", "", "95 % interval, Student's t with patients less one"},
                  {"high", "", ""},
                  {"standard_error", "", "jackknife: one patient after the other left out"},
                  {"reason", "", "why there is no kappa, or no interval"}},
                 {}};
  if (!study.agreement) return out;
  for (const ZoneAgreement& z : study.agreement->zones) {
    const auto row = [&](const char* table, std::size_t zones, std::size_t hips,
                         const std::optional<ClusteredKappa>& k) {
      Cells cells;
      cells.text(z.reader).text(table).count(zones).count(hips);
      if (k) {
        cells.count(k->clusters).number(k->observed).number(k->expected).number(k->value);
        cells.ends(k->interval).number(k->standard_error).text(k->reason);
      } else {
        cells.absent(7).text(z.reason.empty() ? "chance alone agrees always" : z.reason);
      }
      out.rows.push_back(cells.done());
    };
    row("judged", z.both_judged, z.hips_judged, z.judged);
    row("ordered", z.both_looked, z.hips_looked, z.weighted);
  }
  return out;
}

}  // namespace

std::vector<StudyTable> tables_of(const CohortStudy& study) {
  return {hips_table(study),        curves_table(study),
          visits_table(study),      model_table(study),
          model_curve_table(study), shares_table(study),
          survival_table(study),    survival_summary_table(study),
          lucency_table(study),     precision_table(study),
          pairs_table(study),       agreement_table(study),
          kappa_table(study)};
}

}  // namespace tidemark::registry
